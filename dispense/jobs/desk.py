"""What is remembered of a plan that is open in a spreadsheet, and its findings as lines and marks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from ..base.errors import InputError, Problem
from ..base.findings import KINDS, MARKS, Finding
from ..plan.read import check_plan
from ..plan.records import Plan
from ..xlsx.snapshot import snapshot
from ..xlsx.write import scratch
from .document import Grid, Host, Line, Mark

__all__ = ["Answers", "Desk", "findings_lines", "marks_of", "on_disk"]

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

    def look(self) -> bool:
        """Read what is on the screen; whether it differs from what was read before."""
        grids = list(self.host.read())
        if self.plan is not None and grids == self.grids:
            return False
        with on_disk(self.host, grids) as path:
            plan, self.problems = check_plan(path)
        self.grids, self.plan, self.findings = grids, plan, None
        return True

    def sound_plan(self) -> Plan:
        """The plan on the screen; raises InputError with all its problems."""
        self.look()
        if self.problems or self.plan is None:
            raise InputError(self.problems)
        return self.plan

    def all_findings(self) -> list[Finding]:
        """What is found of the plan that was read last; none where it has problems."""
        from ..reports.findings import plan_findings

        if self.findings is None:
            self.findings = [] if self.problems or self.plan is None else plan_findings(self.plan)
        return self.findings


@contextmanager
def on_disk(host: Host, grids: Sequence[Grid]) -> Iterator[Path]:
    """The open tables as a workbook of the plan's name in a folder that goes again."""
    place = host.place()
    with scratch() as folder:
        path = folder / (place.with_suffix(".xlsx").name if place else UNSAVED)
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


def findings_lines(plan: Plan, findings: Iterable[Finding]) -> list[Line]:
    """Findings as lines of the pane, each leading to its cell."""
    return [
        Line(
            f"{MARKS[item.kind]}: {f'{item.station}: ' if item.station else ''}{item}",
            cell_of(plan, item),
            kind=item.kind,
        )
        for item in findings
    ]


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
