"""Findings: what a planner or operator must know before acting on a figure, each computed once.

A finding says of what kind it is, where it holds, what is the matter and what to do. Every output
(check, fill, cure, forecast, their JSON, results, cards, sheets, boards) shows those that concern
its reader, gravest first. Notes are what never changes (a rule of thumb, an extrapolation): they are
printed once and never counted as warnings.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

DANGER, STOP, QUALITY, NOTE = "danger", "stop", "quality", "note"
KINDS = {
    DANGER: "can hurt someone",
    STOP: "stops the line",
    QUALITY: "spoils parts or figures",
    NOTE: "to know",
}
SHORTAGE = "shortage"  # topic of findings that say that stock does not suffice

# exit codes of the commands; the gravest decides
DONE, BAD_INPUT, USAGE, DANGEROUS, SHORT, NOT_WRITTEN = 0, 1, 2, 3, 4, 5


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to know: kind, what, what to do, where, and the figures it rests on.

    `topic` is a short fixed word for its sort, such as "pour limit" or "pressure": findings of one
    topic at one station differ in figures only. `numbers` are in shop units, named with the unit.

    >>> str(Finding(STOP, "needs 529 bar, limit 90 bar", "wider nozzle", topic="pressure"))
    'needs 529 bar, limit 90 bar: wider nozzle'
    """

    kind: str
    text: str
    fix: str = ""
    topic: str = ""
    station: str = ""
    material: str = ""
    part: str = ""
    day: datetime.date | None = None
    shift: str = ""
    cell: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind is {self.kind!r}; it must be one of {', '.join(KINDS)}")

    def __str__(self) -> str:
        return f"{self.text}: {self.fix}" if self.fix else self.text

    @property
    def is_warning(self) -> bool:
        """Whether it counts as a warning: all but notes do."""
        return self.kind != NOTE

    @property
    def rank(self) -> int:
        """0 for the gravest kind."""
        return list(KINDS).index(self.kind)

    def as_json(self) -> dict[str, Any]:
        """For a script: every field, blanks left out."""
        row: dict[str, Any] = {"kind": self.kind, "text": self.text}
        for name in ("fix", "topic", "station", "material", "part", "shift", "cell"):
            if getattr(self, name):
                row[name] = getattr(self, name)
        if self.day is not None:
            row["day"] = self.day.isoformat()
        if self.numbers:
            row["numbers"] = dict(self.numbers)
        return row


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    """Each finding once, the gravest first, else in the order in which they came."""
    seen: dict[tuple, Finding] = {}
    for finding in findings:
        key = (finding.kind, finding.text, finding.station, finding.part, finding.day, finding.shift)
        seen.setdefault(key, finding)
    return sorted(seen.values(), key=lambda finding: finding.rank)


def exit_code(findings: Iterable[Finding]) -> int:
    """The exit code that findings ask for: danger, shortage, or done."""
    findings = list(findings)
    if any(finding.kind == DANGER for finding in findings):
        return DANGEROUS
    if any(finding.topic == SHORTAGE and finding.is_warning for finding in findings):
        return SHORT
    return DONE


__all__ = ["BAD_INPUT", "DANGER", "DANGEROUS", "DONE", "KINDS", "NOTE", "NOT_WRITTEN", "QUALITY",
           "SHORT", "SHORTAGE", "STOP", "USAGE", "Finding", "exit_code", "gravest_first"]  # fmt: skip
