"""Figures that hold for a time: the rows of table Validity as they are meant, and where they contradict.

Outside its days the figure of Stations, Components or Shifts holds. Two rows of one figure may not hold on
one day; a gap between two is told, since the figure of the plan comes back in it.
"""

from __future__ import annotations

import datetime
import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from ..base.errors import NA, InputError, Problem
from ..base.fields import Field
from ..base.findings import NOTE, QUALITY, Finding
from ..base.naming import fold
from .choices import value_of
from .records import Dated, Plan, key_of
from .rows import Component, Row, Shift, Station, ValidValue
from .tables import DATED_AT_STATION, DATED_OF_COMPONENT, DATED_OF_SHIFT
from .weeks import NO_DAY, weekdays

EVER, FOR_GOOD = datetime.date.min, datetime.date.max
DAY = datetime.timedelta(days=1)
TOPIC, CHANGE_OVER = "validity", "change-over"
CLEAN = "empty hoses and mixer, clean what touches both"

_AT_STATION = {item.heading.lower(): item for item in DATED_AT_STATION}
_OF_COMPONENT = {item.heading.lower(): item for item in DATED_OF_COMPONENT}
_OF_SHIFT = {item.heading.lower(): item for item in DATED_OF_SHIFT}


def dated_values(plan: Plan) -> tuple[list[Dated], list[Problem]]:
    """The rows of Validity as they are meant, and what is wrong with them, each with its cell."""
    found: list[Dated] = []
    problems: list[Problem] = []
    for row in plan.validity:
        try:
            of, column = _target(plan, row)
            if of is None:  # a name that no table has is told where all names are checked
                continue
            value = value_of(plan, row, column)
            first, last = row.valid_from or EVER, row.valid_until or FOR_GOOD
            if last < first:
                raise InputError(
                    Problem(
                        plan.cell(row, "valid_until"),
                        "valid until",
                        last,
                        f"{first} or later, the day from which it is valid",
                    )
                )
            if column.name == "days" and weekdays(str(value)) is None:
                raise InputError(
                    Problem(
                        plan.cell(row, "value"),
                        "days",
                        row.value,
                        f"days of the week such as Mon-Fri or Mon Tue Sat, or {NO_DAY}",
                    )
                )
        except InputError as error:
            problems += error.problems
        else:
            found.append(Dated(of.TABLE, key_of(of), column.name, value, first, last, row))
    return found, [*problems, *_overlaps(plan, found)]


def _target(plan: Plan, row: ValidValue) -> tuple[Row | None, Field]:
    """The row of the plan whose figure is meant, None where there is none of its name, and its column."""
    if row.what in _AT_STATION and not (row.shift or row.material or row.component):
        return _named(plan, row, "station", plan.stations), _AT_STATION[row.what]
    if row.what in _OF_SHIFT and not (row.station or row.material or row.component):
        return _named(plan, row, "shift", plan.shifts), _OF_SHIFT[row.what]
    if row.what in _OF_COMPONENT and not (row.station or row.shift):
        return _component(plan, row), _OF_COMPONENT[row.what]
    owner = (
        "a station" if row.what in _AT_STATION else "a shift" if row.what in _OF_SHIFT else "a material alone"
    )
    raise InputError(
        Problem(
            plan.cell(row, "what"),
            message=f"{row.what} is that of {owner}",
            fix="name it, and leave the other names of the row blank",
        )
    )


def _named(plan: Plan, row: ValidValue, column: str, rows: Sequence[Station] | Sequence[Shift]) -> Row | None:
    name = fold(str(getattr(row, column)))
    if not name:
        raise InputError(Problem(plan.cell(row, column), column, None, f"that of which {row.what} is told"))
    return next((one for one in rows if fold(str(getattr(one, column))) == name), None)


def _component(plan: Plan, row: ValidValue) -> Component | None:
    if not row.material:
        raise InputError(
            Problem(plan.cell(row, "material"), "material", None, f"that of which {row.what} is told")
        )
    known = [one for one in plan.components if fold(one.material) == fold(row.material)]
    letters = [one.component for one in known]
    letter = row.component or (letters[0] if len(letters) == 1 else "")
    if letters and letter not in letters:
        allowed = " or ".join(item.upper() for item in letters)
        raise InputError(Problem(plan.cell(row, "component"), "component", row.component, allowed, code=NA))
    return known[letters.index(letter)] if letters else None


# --------------------------------------------------------------------------------- contradictions


def _by_figure(dated: list[Dated]) -> Iterator[list[Dated]]:
    """The dated values of each figure, in order of time."""
    groups: dict[tuple[str, tuple[str, ...], str], list[Dated]] = defaultdict(list)
    for item in dated:
        groups[item.table, item.key, item.column].append(item)
    for group in groups.values():
        yield sorted(group, key=lambda item: (item.first, item.last, item.row.at))


def _overlaps(plan: Plan, dated: list[Dated]) -> Iterator[Problem]:
    """Two values of one figure that both hold on a day."""
    for group in _by_figure(dated):
        before = group[0]
        for item in group[1:]:
            if item.first <= before.last:
                day = max(item.first, before.first)
                since = "ever since" if day == EVER else f"from {day} on"
                yield Problem(
                    plan.cell(item.row, "valid_from"),
                    message=f"{_words(item)} holds twice {since}: as {item.row.value} here, and as "
                    f"{before.row.value} in {plan.cell(before.row, 'value')}",
                    fix="end one on the day before the other begins",
                )
            before = max(before, item, key=lambda one: one.last)


def validity_findings(plan: Plan) -> Iterator[Finding]:
    """Gaps between two values of one figure, in which that of the plan comes back."""
    built = sorted({row.date for row in plan.builds})
    for group in _by_figure(plan.dated):
        for before, item in itertools.pairwise(group):
            if item.first - before.last <= DAY:
                continue
            first, last = before.last + DAY, item.first - DAY
            is_built = any(first <= day <= last for day in built)
            yield Finding(
                QUALITY if is_built else NOTE,
                f"{_words(item)} has no row for {first} to {last}, between "
                f"{plan.cell(before.row, 'valid_until')} and {plan.cell(item.row, 'valid_from')}: the value "
                f"in {item.table} holds then",
                "let the one end on the day before the other begins, if it is not meant so",
                topic=TOPIC,
                station=item.key[0] if item.table == Station.TABLE else "",
                material=item.key[0] if item.table == Component.TABLE else "",
                shift=item.key[0] if item.table == Shift.TABLE else "",
                day=first,
                cell=plan.cell(item.row, "valid_from"),
            )


@dataclass(frozen=True, slots=True)
class CardPeriod:
    """Days on which a setup card of a station holds: from the first on, until the last where one follows."""

    plan: Plan
    since: datetime.date | None  # None: the first card
    until: datetime.date | None  # None: the last card
    findings: tuple[Finding, ...] = ()

    def holds_on(self, days: Iterable[datetime.date]) -> bool:
        """Whether it holds on one of the days."""
        return any((self.since or EVER) <= day <= (self.until or FOR_GOOD) for day in days)


def card_periods(plan: Plan, station: str) -> list[CardPeriod]:
    """The setup cards of a station one after the other over the days that are built."""
    begun: list[tuple[datetime.date, Plan]] = []
    for date in sorted({row.date for row in plan.builds}) if plan.dated else ():
        held = plan.on(date)
        if not begun or held.station(station) != begun[-1][1].station(station):
            begun.append((date, held))
    if not begun:
        return [CardPeriod(plan, None, None)]
    found = []
    for place, (date, held) in enumerate(begun):
        since = date if place else None
        until = begun[place + 1][0] - DAY if place + 1 < len(begun) else None
        told = []
        if place:
            before, now = begun[place - 1][1].station(station).material, held.station(station).material
            is_other = before != now
            told.append(
                _of_card(
                    f"this card of {station} holds from {since}" + (f": {now} after {before}" * is_other),
                    CLEAN if is_other else "set up anew by it",
                    date,
                )
            )
        if until:
            told.append(
                _of_card(f"this card of {station} holds until {until}", "then take the next one", until)
            )
        found.append(CardPeriod(held, since, until, tuple(told)))
    return found


def _of_card(text: str, fix: str, day: datetime.date) -> Finding:
    return Finding(NOTE, text, fix, topic=CHANGE_OVER, day=day)


def change_overs(plan: Plan) -> Iterator[Finding]:
    """Stations that change to another material while the plan is built."""
    built = sorted({row.date for row in plan.builds})
    for row in plan.stations if plan.dated else ():
        before = ""
        for date in built:
            material = plan.on(date).station(row.station).material
            if before and material != before:
                yield Finding(
                    NOTE,
                    f"{row.station} changes from {before} to {material}",
                    "empty hoses and mixer, clean what touches both, set up by the card of that day",
                    topic=CHANGE_OVER,
                    station=row.station,
                    material=material,
                    day=date,
                )
            before = material


def _words(item: Dated) -> str:
    """A figure in words: scrap of Hem robot, price of Bond 60 A."""
    letter = f" {item.key[1].upper()}" if len(item.key) > 1 else ""
    return f"{item.row.what} of {item.key[0]}{letter}"


def variants_built(plan: Plan) -> list[tuple[datetime.date, Plan]]:
    """The plans that hold on days that are built, each with its first day, without the plan as it stands."""
    found: dict[int, tuple[datetime.date, Plan]] = {}
    for date in sorted({row.date for row in plan.builds}) if plan.dated else ():
        held = plan.on(date)
        if held is not plan:
            found.setdefault(id(held), (date, held))
    return list(found.values())


def variant_problems(plan: Plan, problems: list[Problem], held: Plan) -> list[Problem]:
    """What is wrong with a plan that holds for a time and not with the plan, told of the cell of Validity."""
    cells = {}
    for item in plan.dated:
        for row in (*plan.stations, *plan.components, *plan.shifts):
            if item.is_of(row) and row not in held.rows(type(row)):
                cells[plan.cell(row, item.column)] = plan.cell(item.row, "value")
    return [
        Problem(
            cells.get(one.where, one.where),
            one.argument,
            one.value,
            one.allowed,
            one.fix,
            one.code,
            one.message,
        )
        for one in problems
    ]


__all__ = ["change_overs", "dated_values", "validity_findings", "variant_problems", "variants_built"]
