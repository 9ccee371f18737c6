"""What is remembered of a plan that is open in a spreadsheet, and its findings as lines and marks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter

from ..base.errors import DispenseError, InputError, Problem
from ..base.findings import KINDS, MARKS, Finding, tally
from ..base.language import (
    ENGLISH,
    Language,
    languages,
    printed_in,
    read_language,
    said_problem,
    shipped_language,
    translated,
)
from ..plan.read import check_shown
from ..plan.records import Plan
from ..sheets.pieces import said
from ..xlsx.snapshot import snapshot
from ..xlsx.write import scratch
from .document import Grid, Host, Line, Mark, Question, answers

__all__ = [
    "Answers",
    "Desk",
    "asked",
    "findings_lines",
    "language_of",
    "marks_of",
    "on_disk",
    "spoken_in",
    "tally_words",
    "worked_out",
]

UNSAVED = "plan.xlsx"  # what a workbook is called that was never saved
Answers = Mapping[str, str]


@dataclass(slots=True)
class Desk:
    """What is remembered of one open workbook between commands."""

    host: Host
    grids: Sequence[Grid] = ()
    plan: Plan | None = None
    problems: list[Problem] = field(default_factory=list)
    findings: list[Finding] | None = None  # of `plan`; None where not worked out yet
    is_checking: bool = False  # whether marks follow each edit
    waiting: Sequence[str] = ()  # stations whose findings are not among `findings` yet
    lasted: dict[str, float] = field(default_factory=dict)  # s that findings of a station took at most

    def look(self) -> bool:
        """Read what is on the screen; whether it differs from what was read before."""
        grids = list(self.host.read())
        if self.plan is not None and grids == self.grids:
            return False
        plan, self.problems = check_shown(grids, name_of(self.host))
        self.grids, self.plan, self.findings, self.waiting = grids, plan, None, ()
        return True

    def sound_plan(self) -> Plan:
        """The plan on the screen; raises InputError with all its problems."""
        self.look()
        if self.problems or self.plan is None:
            raise InputError(self.problems)
        return self.plan

    def seek(self) -> Iterator[None]:
        """Work out what is found where it is not known, station by station."""
        if self.findings is not None and not self.waiting:
            return
        if self.problems or self.plan is None:
            self.findings, self.waiting = [], ()
            return
        for found, waiting in worked_out(self.plan, self.lasted):
            self.findings, self.waiting = found, waiting
            yield


def language_of(host: Host) -> Language | None:
    """The language of the program's windows; None where it does not come with the planner."""
    code = host.language().replace("_", "-").partition("-")[0].lower()
    return shipped_language(code) if code in languages() else None


def spoken_in(desk: Desk) -> AbstractContextManager[Language]:
    """Print in the language of the program's windows, so that the pane speaks as the menu does.

    Windows in a language that does not come with the planner speak that of the plan's Settings, which may
    be a plant's own word list, else English.
    """
    spoken = language_of(desk.host)
    if spoken is not None:
        return printed_in(spoken)
    place = desk.host.place()
    try:
        stated = "" if desk.plan is None else str(desk.plan.settings["language"] or "")
        return printed_in(read_language(stated, place.parent if place else None))
    except DispenseError:  # of a list that cannot be read the sheets tell
        return printed_in(ENGLISH)


def asked(desk: Desk, title: str, questions: Sequence[Question], given: Answers) -> dict[str, str] | None:
    """The answers to questions, asked in the language of the windows; see `document.answers`."""
    with spoken_in(desk):
        return answers(desk.host, title, questions, given)


def name_of(host: Host) -> str:
    """What the open workbook is called as a file of the plan."""
    place = host.place()
    return place.with_suffix(".xlsx").name if place else UNSAVED


def worked_out(plan: Plan, lasted: dict[str, float]) -> Iterator[tuple[list[Finding], list[str]]]:
    """Findings of a plan so far and the stations still to come, station by station, the quickest first.

    `lasted` is what each took at most, and is kept up; the last answer is that of `plan_findings`.
    """
    from ..reports.findings import plan_findings

    poured = {row.station for row in plan.pots}  # what is not known yet: heat of pots takes longest
    names = [row.station for row in plan.stations]
    waiting = sorted(names, key=lambda name: (lasted.get(name, 0.0), name in poured))
    done: list[str] = []
    while waiting:
        done.append(waiting.pop(0))
        begun = perf_counter()
        found = plan_findings(plan, done)
        lasted[done[-1]] = max(lasted.get(done[-1], 0.0), perf_counter() - begun)
        yield found, list(waiting)
    if not done:
        yield plan_findings(plan), []


@contextmanager
def on_disk(host: Host, grids: Sequence[Grid]) -> Iterator[Path]:
    """The open tables as a workbook of the plan's name in a folder that goes again."""
    with scratch() as folder:
        path = folder / name_of(host)
        path.write_bytes(snapshot(grids))
        yield path


def cell_of(plan: Plan, finding: Finding) -> str:
    """The cell that a finding is about: its own, else that of its part, station or material."""
    if finding.cell:
        return finding.cell if "!" in finding.cell else ""
    for name, record, known in (
        (finding.part, "part", plan.parts),
        (finding.station, "station", plan.stations),
        (finding.material, "material", plan.materials),
    ):
        for row in known if name else ():
            if getattr(row, record) == name:
                return plan.cell(row, record)
    return ""


def tally_words(findings: Iterable[Finding]) -> str:
    """How many there are of each kind, in the language that is printed."""
    return ", ".join(map(translated, tally(findings).split(", ")))


def findings_lines(plan: Plan, findings: Iterable[Finding]) -> list[Line]:
    """Findings as lines of the pane, in the language that is printed, each leading to its cell."""
    noted = {str(problem): problem for problem in plan.warnings}
    found = []
    for item in findings:
        words = said_problem(noted[item.text]) if item.text in noted else said(item)
        station = f"{item.station}: " if item.station else ""
        text = f"{translated(MARKS[item.kind])}: {station}{words}"
        found.append(Line(text, cell_of(plan, item), kind=item.kind))
    return found


def marks_of(lines: Iterable[Line]) -> list[Mark]:
    """One mark for each cell that lines lead to, as grave as the gravest; notes mark none."""
    rank = list(KINDS)
    of_cell: dict[str, list[Line]] = defaultdict(list)
    for line in lines:
        if line.cell and line.kind != rank[-1]:
            of_cell[line.cell].append(line)
    return [
        Mark(cell, min((item.kind for item in items), key=rank.index), "\n".join(item.text for item in items))
        for cell, items in of_cell.items()
    ]
