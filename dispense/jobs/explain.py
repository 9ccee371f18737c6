"""`dispense explain`: planned and actual use week by week, what explains the difference, and its workbook."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..base.errors import InputError, Problem
from ..base.findings import NOTE, QUALITY, Finding, gravest_first
from ..base.paper import paper_code
from ..base.printed import counted, listed
from ..base.terminal import emphasise, findings_text, table
from ..base.tidy import TidyTable, table_of_rows
from ..base.units import from_si
from ..books.explain import explain_workbook
from ..journal.count_doubts import count_doubts
from ..journal.explained import CAUSE_HELP, CAUSES, NOT_KNOWN, Explained, explained
from ..journal.planned import Key, kept_shifts, used_shifts, volumes_not_as_kept
from ..journal.reading import content_of
from ..journal.store import journal_path, read_journal
from ..plan.read import load_plan
from ..plan.records import Plan
from ..shift.store import NANO
from ..xlsx.typed import save_signed
from .tables import finding_table, write_tables

TOPIC = "explain"
BY_TODAY = "by today's plan"
MOST_SHIFTS = 3  # that a finding names; common practice, no source


@dataclass(slots=True)
class ExplainReport:
    """Planned and actual use, the causes of their difference, and the workbook that was written."""

    plan: Plan
    rows: list[Explained]
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    out: Path | None = None
    tables: list[Path] = field(default_factory=list)

    @property
    def currency(self) -> str:
        """What money is counted in."""
        return self.plan.settings["currency"]

    @property
    def costs(self) -> dict[str, float]:
        """Of all rows of which the actual use is known, what each cause costs."""
        known = [row for row in self.rows if row.actual is not None]
        return {cause: sum(row.money(row.all_causes[cause]) for row in known) for cause in CAUSES}

    @property
    def answer(self) -> str:
        """What was used more or less than planned, and what explains most of it."""
        known = [row for row in self.rows if row.actual is not None]
        if not self.rows:
            return "Nothing is booked that tells what was used: dispense book PLAN FILE."
        if not known:
            return "What was used is not known: count the stock twice, or book containers that are opened."
        total = sum(row.money(row.difference or 0) for row in known)
        mass = sum(row.mass(row.difference or 0) for row in known)
        word = "more" if mass >= 0.0 else "less"
        money = f" ({total:+,.2f} {self.currency})".replace(" )", ")") if total else ""
        words = f"{abs(mass):.3g} kg {word} than planned was used{money}"
        masses = {cause: sum(row.mass(row.all_causes[cause]) for row in known) for cause in CAUSES}
        most = max(masses, key=lambda cause: abs(masses[cause]))
        return f"{words}; largest cause: {most}, {masses[most]:+.3g} kg." if masses[most] else f"{words}."

    def table(self) -> TidyTable:
        """A row for each component and period."""
        kg = [(cause.capitalize(), "kg", "number") for cause in CAUSES]
        money = [(f"{cause.capitalize()}, cost", self.currency, "number") for cause in CAUSES]
        mls = [(f"{cause.capitalize()}, volume", "mL", "number") for cause in CAUSES]
        columns = [
            ("Period", "", "text"),
            ("First day", "", "date"),
            ("Last day", "", "date"),
            ("Material", "", "text"),
            ("Component", "", "text"),
            ("Basis", "", "text"),
            ("Shifts", "", "whole"),
            ("Booked", "", "whole"),
            ("Kept", "", "whole"),
            ("Planned, volume", "mL", "number"),
            ("Actual, volume", "mL", "number"),
            ("Difference, volume", "mL", "number"),
            *mls,
            ("Planned", "kg", "number"),
            ("Actual", "kg", "number"),
            ("Difference", "kg", "number"),
            *kg,
            ("Difference, cost", self.currency, "number"),
            *money,
        ]
        title = "Planned and actual use, and what explains the difference"
        return table_of_rows("Explained", title, columns, [_values(row) for row in self.rows])

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "answer": self.answer,
            "rows": self.table().records(),
            "costs": self.costs,
            "currency": self.currency,
            "causes": dict(CAUSE_HELP),
            "findings": [item.as_json() for item in self.findings],
            "notes": list(self.notes),
            "out": str(self.out) if self.out else None,
            "table_files": [str(path) for path in self.tables],
        }

    def as_text(self) -> str:
        """For a terminal: the answer, then a line for each component and period."""
        lines = [emphasise(self.answer), ""]
        if self.rows:
            heads = ["period", "component", "planned", "actual", "difference", *CAUSES, "known by"]
            lines += table(heads, [_shown(row) for row in self.rows]).splitlines()
            lines += ["in kg; the causes add up to the difference", ""]
        if any(self.costs.values()):
            parts = [f"{cause} {cost:+,.2f}" for cause, cost in self.costs.items() if cost]
            total = sum(self.costs.values())
            words = f"cost{f' [{self.currency}]' if self.currency else ''}: {', '.join(parts)}"
            lines += [f"{words}; together {total:+,.2f}", ""]
        if self.findings:
            lines += [findings_text(self.findings), ""]
        lines += [f"note: {words}" for words in self.notes]
        if self.out:
            lines.append(f"wrote {self.out}")
        return "\n".join(lines).rstrip()


def _name(row: Explained) -> str:
    return f"{row.component.material} {row.component.component.upper()}"


def _values(row: Explained) -> list[Any]:
    """A row of the table: blank where the actual use is not known."""
    causes = [row.all_causes.get(cause) for cause in CAUSES]
    volumes = [row.planned, row.actual, row.difference, *causes]
    return [
        row.period,
        row.first,
        row.last,
        row.component.material,
        row.component.component.upper(),
        row.basis,
        row.shifts,
        row.booked,
        row.kept,
        *(None if volume is None else float(from_si(volume / NANO, "mL")) for volume in volumes),
        *(None if volume is None else row.mass(volume) for volume in volumes),
        *(None if volume is None else row.money(volume) for volume in volumes[2:]),
    ]


def _shown(row: Explained) -> list[str]:
    causes = [row.all_causes.get(cause) for cause in CAUSES]
    signed = ["" if volume is None else f"{row.mass(volume):+,.3f}" for volume in (row.difference, *causes)]
    actual = "" if row.actual is None else f"{row.mass(row.actual):,.3f}"
    known = (
        row.basis if row.booked == row.shifts else f"{row.basis}, {row.booked} of {row.shifts} shifts booked"
    )
    if row.kept < row.shifts:
        known += f", {row.shifts - row.kept} {BY_TODAY}"
    return [row.period, _name(row), f"{row.mass(row.planned):,.3f}", actual, *signed, known]


def explain_file(
    plan_path: str | os.PathLike[str],
    *,
    first: datetime.date | None = None,
    last: datetime.date | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    tables: str | os.PathLike[str] | None = None,
    table_form: str = "csv",
) -> ExplainReport:
    """Planned against actual use of a plan by the journal beside it; with `out` also their workbook.

    Periods that begin before `first` or end after `last` are left out. `tables` is a folder for the rows as
    a table, `table_form` "csv", "parquet" or "xlsx".
    """
    if out is not None and Path(out).suffix.lower() != ".xlsx":
        raise InputError(Problem("out", "file", str(out), "a name that ends in .xlsx"))
    paper_code(paper, "explain")
    plan, path = load_plan(plan_path), journal_path(plan_path)
    journal = read_journal(path)
    shifts = used_shifts(plan, kept_shifts(journal))
    rows = [
        row
        for row in explained(plan, journal.current().values(), shifts)
        if (first is None or row.first >= first) and (last is None or row.last <= last)
    ]
    report = ExplainReport(plan, rows)
    used = {(item.use.material, each) for item in shifts if item.use for each in item.use.components}
    strange = sorted(used - {(row.material, row.component) for row in plan.components})
    changed, gone = volumes_not_as_kept(plan, journal, content_of(plan_path))
    doubted = count_doubts(plan, [item.entry for item in journal.current().values()])
    report.findings = gravest_first([*doubted, *_findings(rows, changed, gone, strange)])
    if rows:
        report.notes += _notes(rows)
    if out is not None:
        report.out, kept = save_signed(
            out,
            explain_workbook(report.answer, rows, report.currency, report.findings, report.notes, paper),
            "explain",
            [plan_path, path],
        )
        if kept:
            report.notes.append(f"the old workbook had been filled in and is kept as {kept.name}")
    if tables is not None:
        found = [report.table(), finding_table(report.findings)]
        report.tables = write_tables(found, tables, table_form, [plan_path, path])
    return report


def _notes(rows: list[Explained]) -> list[str]:
    """By which plan it was planned."""
    kept, shifts = sum(row.kept for row in rows), sum(row.shifts for row in rows)
    words = [f"{BY_TODAY}: shifts that were not kept when booked are planned as the plan of today plays them"]
    if kept:
        words = ["planned is as it was kept when the shift was booked", *(words if kept < shifts else [])]
    return [*words, "a shift of which nothing is booked is taken as planned"]


def _shift_words(keys: list[Key]) -> str:
    """Which shifts of which stations, the first few by name."""
    return listed([f"{station} {day} {shift}" for day, shift, station in keys], MOST_SHIFTS)


def _findings(
    rows: list[Explained], changed: list[Key], gone: list[Key], strange: list[tuple[str, str]]
) -> list[Finding]:
    """What the reckoning leaves open."""
    found = []
    if changed:
        found.append(
            Finding(
                QUALITY,
                f"what was planned was not kept of {counted(len(changed), 'booked shift')}, and the plan has "
                f"changed since ({_shift_words(changed)}): planned is that of today, so a part of the "
                "difference may be the change",
                "book a shift before figures of the plan are changed",
                topic=TOPIC,
            )
        )
    if gone:
        found.append(
            Finding(
                QUALITY,
                f"what was planned was not kept of {counted(len(gone), 'booked shift')}, and the plan no "
                f"longer has them ({_shift_words(gone)}): left out",
                "book a shift before its builds are removed",
                topic=TOPIC,
            )
        )
    if strange:
        names = listed(f"{material} {letter.upper()}" for material, letter in strange)
        found.append(
            Finding(
                QUALITY,
                f"{names} was used by booked shifts and is no longer in Components: left out",
                "keep a material in the plan for as long as its weeks are explained",
                topic=TOPIC,
            )
        )
    found += _refused(rows)
    blank = sorted({_name(row) for row in rows if row.basis == NOT_KNOWN})
    if blank:
        found.append(
            Finding(
                NOTE,
                f"what was used of {listed(blank)} is not known in some weeks",
                "count its lots at the begin and the end of a week, or book each container that is opened",
                topic=TOPIC,
            )
        )
    return found


def _refused(rows: list[Explained]) -> Iterator[Finding]:
    """Where the use comes out below nothing."""
    for row in rows:
        if row.refused is None:
            continue
        mass = row.mass(row.refused)
        yield Finding(
            QUALITY,
            f"use of {_name(row)} from {row.first} to {row.last} comes out as {mass:.3f} kg by what was "
            "counted, received and opened, and nobody can use less than nothing: it is left out",
            "look at its counts and receipts of these days: a count is too high after or too low before, or "
            "a receipt was not booked",
            topic=TOPIC,
            material=row.component.material,
            day=row.first,
        )


__all__ = ["ExplainReport", "explain_file"]
