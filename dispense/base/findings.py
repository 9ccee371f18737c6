"""Findings: what a planner or operator must know before acting on a figure, each computed once.

A finding says of what kind it is, where it holds, what is the matter and what to do. Every output
(check, fill, cure, forecast, their JSON, results, cards, sheets, boards) shows those that concern
its reader, gravest first. Notes are what never changes (a rule of thumb, an extrapolation): they are
printed once and never counted as warnings.
"""

from __future__ import annotations

import datetime
from collections import Counter
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
GRAVE = (DANGER, STOP)  # told before anything else
READING, SLIP = "reading", "slip"  # topics of single cells of the plan: each is told, with its cell
SHORTAGE = "shortage"  # topic of findings that say that stock does not suffice
FAILED = "failed"  # topic of what could not be planned: its files were not written
WAIT = "wait between shots"  # topic of notes on the wait that a cell limit rests on
STIR = "settling"  # topic of what settles in a container that stands
#: topics whose notes say how a figure was reckoned: for the engineer, not for who works at the station
OF_ENGINEER = frozenset({"pour model", "runaway", "runaway criterion", "cells"})
MARKS = {DANGER: "DANGER", STOP: "STOP", QUALITY: "CHECK", NOTE: "note"}  # the word on a sheet
HEADINGS = {
    DANGER: "Dangers: do not run before this is settled",
    STOP: "Stops the line",
    QUALITY: "Quality: spoils parts or figures",
    NOTE: "Notes",
}

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
    component: str = ""  # of the material: a, b

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
    def is_of_a_cell(self) -> bool:
        """Whether it speaks of one cell of the plan, and so is never told together with another."""
        return self.topic.split(" ")[0] in (READING, SLIP)

    @property
    def rank(self) -> int:
        """0 for the gravest kind."""
        return list(KINDS).index(self.kind)

    def as_json(self) -> dict[str, Any]:
        """For a script: every field, blanks left out."""
        row: dict[str, Any] = {"kind": self.kind, "text": self.text}
        for name in ("fix", "topic", "station", "material", "component", "part", "shift", "cell"):
            if getattr(self, name):
                row[name] = getattr(self, name)
        if self.day is not None:
            row["day"] = self.day.isoformat()
        if self.numbers:
            row["numbers"] = dict(self.numbers)
        return row


class WithFindings:
    """What carries findings; texts of them for programs that want no more."""

    __slots__ = ()
    findings: list[Finding]

    @property
    def warnings(self) -> list[str]:
        """What is the matter, in words; notes left out."""
        return [finding.text for finding in self.findings if finding.is_warning]

    @property
    def notes(self) -> list[str]:
        """The notes in words."""
        return [str(finding) for finding in self.findings if not finding.is_warning]

    @property
    def passes(self) -> bool:
        """Whether nothing speaks against it."""
        return not any(finding.is_warning for finding in self.findings)


@dataclass(slots=True)
class Group:
    """Findings of one sort: the first of them stands for all."""

    first: Finding
    count: int = 0
    stations: dict[str, None] = field(default_factory=dict)

    def add(self, finding: Finding) -> None:
        """One more of the sort."""
        self.count += 1
        self.stations[finding.station] = None

    @property
    def where(self) -> str:
        """The station, or how many there are."""
        return next(iter(self.stations)) if len(self.stations) == 1 else f"{len(self.stations)} stations"


def grouped(findings: Iterable[Finding]) -> list[Group]:
    """The gravest kind first, the most frequent first among equals.

    Warnings of one topic, material and component at one station stand together, and each danger of a part by
    itself; notes of one wording stand together over all stations.

    >>> late = [Finding(STOP, f"{n} parts are late", topic="takt", station="hem") for n in (3, 5)]
    >>> [(group.first.text, group.count) for group in grouped([*late, Finding(DANGER, "too hot")])]
    [('too hot', 1), ('3 parts are late', 2)]
    """
    groups: dict[tuple[str, ...], Group] = {}
    for finding in gravest_first(findings):
        if finding.is_warning:
            part = finding.part if finding.kind == DANGER else ""
            of = finding.topic or finding.text, finding.material, finding.component
            key: tuple[str, ...] = (finding.kind, finding.station, part, *of)
        else:
            key = (finding.kind, finding.text)
        groups.setdefault(key, Group(finding)).add(finding)
    return sorted(groups.values(), key=lambda group: (group.first.rank, -group.count))


def tally(findings: Iterable[Finding]) -> str:
    """How many there are of each kind.

    >>> tally([Finding(DANGER, "too hot"), Finding(NOTE, "rule of thumb"), Finding(NOTE, "estimate")])
    '1 danger, 2 notes'
    """
    counts = Counter(finding.kind for finding in findings)
    words = {
        DANGER: f"danger{'s' if counts[DANGER] != 1 else ''}",
        STOP: f"stop{'s' if counts[STOP] == 1 else ''} the line",
        QUALITY: "quality",
        NOTE: f"note{'s' if counts[NOTE] != 1 else ''}",
    }
    return ", ".join(f"{counts[kind]} {words[kind]}" for kind in KINDS if counts[kind]) or "nothing found"


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    """Each finding once, the gravest first, else in the order in which they came."""
    seen: dict[tuple[Any, ...], Finding] = {}
    for finding in findings:
        key = (finding.kind, finding.text, finding.station, finding.part, finding.day, finding.shift)
        seen.setdefault(key, finding)
    return sorted(seen.values(), key=lambda finding: finding.rank)


def rules_out(finding: Finding) -> bool:
    """Whether a finding rules a plan out: it can hurt someone, or stops the line for more than stock.

    >>> rules_out(Finding(STOP, "49 parts miss the open time")), rules_out(Finding(STOP, "", topic=SHORTAGE))
    (True, False)
    """
    return finding.kind in GRAVE and (finding.kind == DANGER or finding.topic not in (SHORTAGE, FAILED))


def exit_code(findings: Iterable[Finding], *, not_written: bool = False) -> int:
    """The exit code that findings ask for; of several the lowest: danger or stop, shortage, not written.

    >>> exit_code([Finding(STOP, "2 containers short", topic=SHORTAGE), Finding(NOTE, "estimate")])
    4
    """
    findings = list(findings)
    if any(rules_out(finding) for finding in findings):
        return DANGEROUS
    if any(finding.topic == SHORTAGE and finding.is_warning for finding in findings):
        return SHORT
    return NOT_WRITTEN if not_written else DONE


__all__ = [
    "BAD_INPUT",
    "DANGER",
    "DANGEROUS",
    "DONE",
    "FAILED",
    "GRAVE",
    "HEADINGS",
    "KINDS",
    "MARKS",
    "NOTE",
    "NOT_WRITTEN",
    "OF_ENGINEER",
    "QUALITY",
    "READING",
    "SHORT",
    "SHORTAGE",
    "SLIP",
    "STIR",
    "STOP",
    "USAGE",
    "WAIT",
    "Finding",
    "Group",
    "WithFindings",
    "exit_code",
    "gravest_first",
    "grouped",
    "rules_out",
    "tally",
]
