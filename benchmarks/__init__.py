"""Speed beside a reference, measured in one run: `python -m benchmarks [NAME …]`.

Each module has `rows(quick)`, which yields a `Row` for each thing measured. Ours and the reference
take turns, so that a busy machine slows both; the median of the turns counts.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

# before numpy is loaded; waiting threads would be charged to whoever uses them
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

NAMES = (
    *("call", "fill", "imports", "read_plan", "check", "cure_heat", "forecast", "cluster"),
    *("shifts", "calc", "pack", "fit"),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: seconds of ours and of the reference, and what is asked.

    `limit` is the largest ours / reference, or, where `faster`, the smallest reference / ours;
    without a reference it is the longest time in seconds. None asks nothing.
    """

    what: str
    ours: float
    reference: float | None = None
    limit: float | None = None
    faster: bool = False
    beside: str = ""  # what the reference is
    note: str = ""
    asked: str = ""  # a limit that is no figure, and whether it is
    kept: bool | None = None

    @property
    def ratio(self) -> float | None:
        """Ours / reference, or reference / ours where `faster`; seconds without a reference."""
        if self.reference is None:
            return self.ours
        return self.reference / self.ours if self.faster else self.ours / self.reference

    @property
    def is_met(self) -> bool | None:
        """Whether the limit is kept; None where there is none."""
        if self.limit is None:
            return self.kept
        return self.ratio >= self.limit if self.faster else self.ratio <= self.limit

    def cells(self) -> list[str]:
        """The cells of the table."""
        met = {None: "–", True: "yes", False: "no"}[self.is_met]
        times = self.reference is not None
        ratio = "–" if not times else f"{self.ratio:.3g}× " + ("faster" if self.faster else "the time")
        if self.limit is None:
            limit = self.asked or "–"
        elif not times:
            limit = f"≤ {show(self.limit)}"
        else:
            limit = f"≥ {self.limit:g}× faster" if self.faster else f"≤ {self.limit:g}×"
        return [self.what, show(self.ours), self.beside, show(self.reference), ratio, limit, met, self.note]


def show(seconds: float | None) -> str:
    """A time with the unit that suits it, three figures."""
    if seconds is None:
        return "–"
    for factor, unit in ((1.0, "s"), (1e3, "ms"), (1e6, "µs")):
        if seconds * factor >= 1.0 or unit == "µs":
            return f"{seconds * factor:.3g} {unit}"
    raise AssertionError


def clock(work: Callable[[], Any], count: int = 1, timer: Callable[[], float] = time.perf_counter) -> float:
    """Seconds that one of `count` runs takes."""
    begin = timer()
    for _ in range(count):
        work()
    return (timer() - begin) / count


def take_turns(
    *works: Callable[[], Any], turns: int = 7, count: int = 1, timer: Callable[[], float] = time.perf_counter
) -> list[float]:
    """The median time of each work; they take turns, the first turn is not counted."""
    times = [[clock(work, count, timer) for work in works] for _ in range(turns + 1)]
    return [statistics.median(column) for column in zip(*times[1:], strict=True)]
