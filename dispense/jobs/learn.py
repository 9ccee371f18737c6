"""`dispense learn`: figures of a plan as the journal has them, and on demand taken over into the plan."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from ..base.errors import NA, InputError, Problem
from ..base.naming import fold, nearest
from ..base.printed import counted, listed
from ..base.terminal import emphasise, table
from ..books.changes import Changed, Wanted, change_plan
from ..journal.learned import DIFFERS, Learned
from ..journal.lessons import learned_values
from ..journal.statistics import FALSE_ALARMS
from ..journal.store import journal_path, read_journal
from ..plan.sources import NO_SOURCES, Sources, load_plan_from


@dataclass(slots=True)
class LearnReport:
    """What was learned, and what of it was taken over."""

    plan: Path
    values: list[Learned]
    changes: list[Changed] = field(default_factory=list)
    kept: Path | None = None
    notes: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "plan": str(self.plan),
            "learned": [_json(item) for item in self.values],
            "changes": [asdict(item) for item in self.changes],
            "kept": str(self.kept) if self.kept else None,
            "notes": list(self.notes),
            "false_alarms": FALSE_ALARMS,
        }

    def as_text(self) -> str:
        """For a terminal: each figure in a sentence, then the table of them."""
        lines: list[str] = []
        for item in self.values:
            lines.append(f"{emphasise(f'{item.quantity}, {item.subject}')}: {item.sentence}")
            if item.caution:
                lines.append(f"  {item.caution}")
        if self.values:
            headers = ["figure", "of", "plan", "learned", "95 % interval", "from", "days"]
            lines += ["", *(line.rstrip() for line in table(headers, map(_row, self.values)).splitlines())]
        else:
            lines.append("nothing to learn from is booked: dispense book PLAN FILE")
        if self.changes:
            lines += ["", *(f"changed {item.words}" for item in self.changes)]
            lines.append(f"the plan as it was is kept as {self.kept.name}" if self.kept else "")
        lines += ["", *(f"note: {words}" for words in self.notes)]
        return "\n".join(lines).rstrip()


def _figure(value: float | None, item: Learned) -> str:
    return "" if value is None else f"{value:,.{item.digits}f}"


def _row(item: Learned) -> list[Any]:
    unit = f" {item.unit}" if item.unit else ""
    planned = "" if item.planned is None else f"{item.planned:.6g}{unit}"
    interval = "" if item.low is None else f"{_figure(item.low, item)} to {_figure(item.high, item)}"
    return [
        item.quantity,
        item.subject,
        planned,
        _figure(item.value, item) + (unit if item.value is not None else ""),
        interval,
        item.observed,
        item.days,
    ]


def _json(item: Learned) -> dict[str, Any]:
    found = asdict(item)
    found["probability"] = None if math.isnan(item.probability) else item.probability
    found["name"] = item.name
    found["may_be_taken"] = item.may_be_taken
    return found


def _chosen(values: Sequence[Learned], names: Sequence[str]) -> list[Learned]:
    """The learned values that are to be taken over; everything that speaks against one is said at once."""
    found: dict[str, Learned] = {}
    problems = []
    takeable = [item.name for item in values if item.may_be_taken]
    allowed = listed(takeable, 12) if takeable else "left out: nothing differs by more than noise"
    for given in names:
        item = next((each for each in values if fold(each.name) == fold(given)), None)
        if item is None:
            near = next((each for each in values if each.name == _near(given, values)), None)
            hint = f"did you mean {near.name}?" if near else ""
            if near is not None and not near.may_be_taken:
                hint += f" It is not taken over: {_why_not(near)}"
            names_of = allowed if near is None or near.may_be_taken else "a figure that differs"
            problems.append(Problem("learn", "take", given, names_of, hint, NA))
        elif not item.may_be_taken:
            problems.append(Problem("learn", "take", given, allowed, _why_not(item), NA))
        else:
            found[item.name] = item
    if problems:
        raise InputError(problems)
    return list(found.values())


def _near(given: str, values: Sequence[Learned]) -> str:
    return nearest(given, [each.name for each in values])


def _why_not(item: Learned) -> str:
    """Why a figure is not taken over."""
    why = item.sentence if item.verdict != DIFFERS else "it is told only"
    return why + (f" ({item.caution})" if item.caution else "")


def _reason(item: Learned, given: str) -> str:
    interval = f"{_figure(item.low, item)} to {_figure(item.high, item)}"
    unit = f" {item.unit}" if item.unit else ""
    words = (
        f"learned {_figure(item.value, item)}{unit} (95 %: {interval}) from {item.observed}, "
        f"{counted(item.days, 'day')}"
    )
    return f"{given}; {words}" if given else words


def _wanted(item: Learned, reason: str, by: str) -> Wanted:
    assert item.target is not None and item.value is not None
    return Wanted(
        item.target,
        round(item.value, item.digits),
        item.unit,
        _reason(item, reason),
        ", ".join(map(str, item.bookings)),
        by,
    )


def learn_file(
    plan_path: str | os.PathLike[str],
    *,
    take: Sequence[str] = (),
    reason: str = "",
    by: str = "",
    day: datetime.date | None = None,
    sources: Sources = NO_SOURCES,
) -> LearnReport:
    """What the journal beside a plan says of its figures; those of `take` are put into the plan.

    A value is taken over by its name (`density:hem epoxy/A`) where it differs from the plan's by more than
    noise and one cell states it. The change stands in the table Changes with its reason.
    `sources` are builds, stock and orders in place of the plan's.
    """
    plan = load_plan_from(plan_path, sources)
    journal = read_journal(journal_path(plan_path))
    report = LearnReport(Path(plan_path), learned_values(plan, journal.current().values()))
    if report.values:
        report.notes.append(
            f"where all figures of a plan hold, one of them is said to differ in {FALSE_ALARMS:.0%} of the "
            "looks at most; nothing is taken over by itself"
        )
    if take:
        chosen = [_wanted(item, reason, by) for item in _chosen(report.values, take)]
        when = day or datetime.date.today()
        report.changes, report.kept, notes = change_plan(plan_path, chosen, when)
        report.notes += notes
    return report


__all__ = ["LearnReport", "learn_file"]
