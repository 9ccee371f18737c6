"""What is said on a sheet of the plan it was filled from: its revision, and what differs from another."""

from __future__ import annotations

import datetime
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Revision:
    """What is said on a sheet of the plan it was filled from: released, and as what, or not."""

    name: str  # of the last that was released
    by: str
    day: datetime.date
    is_this: bool
    differences: tuple[Difference, ...] = ()  # to the one before, or to the last where this is not it

    @property
    def text(self) -> str:
        """What stands on the sheet."""
        if self.is_this:
            return f"revision {self.name}, released by {self.by} on {self.day}"
        return f"▲ not released: differs from revision {self.name}"


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure that is another, or a row that is new or gone; `words` are the row's names."""

    table: str
    row: str
    what: str
    before: str
    now: str
    words: frozenset[str]

    @property
    def text(self) -> str:
        """It in the plan's words."""
        if not self.what:
            return f"{self.table} {self.row}: {self.now or self.before}"
        return f"{self.table} {self.row}: {self.what} {self.before or 'blank'} → {self.now or 'blank'}"


__all__ = ["Difference", "Revision"]
