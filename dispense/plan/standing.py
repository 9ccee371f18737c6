"""What stands at stations and in opened containers by the plan's table Standing, and what it cannot mean.

Of one thing the latest row counts that is not later than `plan.as_of`; without that nothing is taken from it.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator

from ..base.clock import WEEKDAYS
from ..base.numbers import EQUAL
from ..base.printed import listed
from ..base.units import volume_text
from .amounts import applied_at, in_one_go
from .records import Plan
from .routes import place_in_route, route_of
from .rows import Standing, StockLot
from .tables import (
    STANDING_BETWEEN,
    STANDING_CONTAINER,
    STANDING_HALF_DONE,
    STANDING_HOSE,
    STANDING_IN_STORE,
    STANDING_MIXER,
    STANDING_TO_MATE,
)

PARTS_IN_PROCESS = (STANDING_HALF_DONE, STANDING_TO_MATE, STANDING_BETWEEN)
OF_A_CONTAINER = (STANDING_CONTAINER, STANDING_HOSE, STANDING_IN_STORE)  # told of a component
NUMBERS = re.compile(r"\s*(\d+)(?:\s*[-\u2013\u2010]\s*(\d+))?\s*")
ORIGIN = re.compile(r"(\d{4}-\d\d-\d\d)\s+(\S.*)$")
ONE_DAY = datetime.timedelta(days=1)
MOST_NUMBERS = 100_000  # parts that one row tells of


def numbers_of(text: str) -> list[int]:
    """Numbers of parts from a text, the shift that began them left out; empty where it is none.

    >>> numbers_of("5\u20138, 12 of Mon 2026-03-02 Early")
    [5, 6, 7, 8, 12]
    """
    found: list[int] = []
    words = re.split(r"\s+[^\W\d]", f"{text} ", maxsplit=1)[0]
    for piece in filter(str.strip, words.split(",")):
        match = NUMBERS.fullmatch(piece)
        if match is None:
            return []
        first, last = int(match[1]), int(match[2] or match[1])
        if not 0 < last - first + 1 <= MOST_NUMBERS - len(found):
            return []
        found += range(first, last + 1)
    return found


def origin_of(text: str, row: Standing) -> str:
    """The shift that began parts, as a hand-over names it; the day of the row where none is named."""
    match = ORIGIN.search(text)
    if match is None:
        return f"{WEEKDAYS[row.date.weekday()]} {row.date}"
    day = datetime.date.fromisoformat(match[1])
    return f"{WEEKDAYS[day.weekday()]} {day} {match[2]}"


def material_of(plan: Plan, row: Standing) -> str:
    """The material of a row: as stated, or what its station ran then; "" where neither is."""
    return row.material or (held_at(plan, row).station(row.station).material if row.station else "")


def held_at(plan: Plan, row: Standing) -> Plan:
    """The plan by which what stands there came to stand: a change-over is made as the first shift begins."""
    is_before = row.time is None or row.time <= _first_start(plan)
    return plan.on(row.date - ONE_DAY if is_before else row.date)


def _first_start(plan: Plan) -> float:
    return min((shift.start for shift in plan.shifts), default=0.0)


def moment_of(plan: Plan, row: Standing) -> datetime.datetime:
    """When it stood there: the time stated, else before the first shift of the day."""
    clock = _first_start(plan) if row.time is None else row.time
    return datetime.datetime.combine(row.date, datetime.time()) + datetime.timedelta(seconds=clock)


def what_of(row: Standing) -> tuple[object, ...]:
    """What one thing is, of which the latest row counts."""
    if row.what == STANDING_MIXER:
        return row.what, row.station, row.nozzle
    if row.what == STANDING_IN_STORE:
        return row.what, row.material, row.component, row.lot, row.opened or row.date
    if row.what in OF_A_CONTAINER:
        return row.what, row.station, row.component
    return row.what, row.station, row.part, row.numbers, row.before, row.visits


def latest_rows(plan: Plan) -> list[Standing]:
    """What stands as playing begins: of each thing the latest row; nothing where `plan.as_of` is not set."""
    if plan.as_of is None:
        return []
    found: dict[tuple[object, ...], Standing] = {}
    known = [(moment_of(plan, row), row) for row in plan.standing]
    for moment, row in sorted(known, key=lambda item: item[0]):
        if moment <= plan.as_of and _is_of_station(plan, row):
            found[what_of(row)] = row
    return list(found.values())


def _is_of_station(plan: Plan, row: Standing) -> bool:
    """Whether its station still uses the material that stands there."""
    return not row.station or row.material in ("", *plan.materials_at(row.station))


def lot_rows(plan: Plan) -> list[StockLot]:
    """The plan's lots in store, with opened containers of which Standing tells."""
    return [
        *plan.stock,
        *(_in_store(plan, row) for row in latest_rows(plan) if row.what == STANDING_IN_STORE),
    ]


def _in_store(plan: Plan, row: Standing) -> StockLot:
    opened, last = row.opened or row.date, expiry_of(plan, row)
    return StockLot(row.material, row.component, row.lot, row.left or 0.0, last, opened, None, "", "", row.at)


def expiry_of(plan: Plan, row: Standing) -> datetime.date:
    """The last day of a lot: as stated, that of Stock, else without end."""
    name = material_of(plan, row)
    known = {
        lot.lot: lot.expiry for lot in plan.stock if (lot.material, lot.component) == (name, row.component)
    }
    return row.expiry or known.get(row.lot, datetime.date.max)


# ------------------------------------------------------------------------------------------- checks


def wrong_with(plan: Plan, row: Standing) -> Iterator[tuple[str, str]]:
    """Column and words of what a row cannot mean; its names are known to be of the plan."""
    name = material_of(plan, row)
    if row.what == STANDING_IN_STORE:
        if not row.material:
            yield "material", "an opened container in store needs its material"
    elif not row.station:
        yield "station", f"{row.what} needs its station"
        return
    elif row.material and row.material not in plan.materials_at(row.station):
        known = listed(plan.materials_at(row.station))
        yield "material", f"{row.station} uses {known}, not {row.material}"
        return
    if row.what in OF_A_CONTAINER and name:
        yield from _wrong_volume(plan, row, name)
    elif row.what == STANDING_MIXER:
        if row.nozzle > plan.station(row.station).nozzles:
            yield "nozzle", f"{row.station} has {plan.station(row.station).nozzles} nozzles"
        if plan.station(row.station).mixer_volume <= 0.0:
            yield "what", f"{row.station} has no mixer"
    elif row.what in PARTS_IN_PROCESS:
        yield from _wrong_parts(plan, row)


def _wrong_volume(plan: Plan, row: Standing, name: str) -> Iterator[tuple[str, str]]:
    component = plan.components_of(name).get(row.component)
    if component is None:
        yield "component", f"{name} has no component {row.component.upper()}"
        return
    if row.what == STANDING_HOSE:
        return
    if row.left is None:
        yield "left", "what is left in the container must be told"
    elif row.left > component.container * (1.0 + EQUAL):
        told, holds = volume_text(row.left), volume_text(component.container)
        yield "left", f"{told} is more than a container holds, {holds}"
    if not row.lot:
        yield "lot", "the lot of the container must be told"


def _wrong_parts(plan: Plan, row: Standing) -> Iterator[tuple[str, str]]:
    station = plan.station(row.station)
    mine = applied_at(plan, row.part, station) if row.part else []
    if not mine:
        yield "part", f"{row.part or 'a blank part'} has nothing to be done at {row.station}"
        return
    if not numbers_of(row.numbers):
        yield "numbers", "numbers of parts are meant, such as 5-8, 12"
    if row.what == STANDING_HALF_DONE and row.visits >= len(in_one_go(mine)):
        yield "visits", f"{row.part} has {len(in_one_go(mine))} visits at {row.station} in all"
    if row.what == STANDING_BETWEEN:
        place = place_in_route(plan, row.part, row.station)
        before = route_of(plan, row.part)[place - 1].station if place else ""
        if row.before != before:
            yield "before", f"{row.part} comes to {row.station} from {before or 'no other station'}"


__all__ = [
    "ORIGIN",
    "PARTS_IN_PROCESS",
    "expiry_of",
    "held_at",
    "latest_rows",
    "lot_rows",
    "material_of",
    "moment_of",
    "numbers_of",
    "origin_of",
    "what_of",
    "wrong_with",
]
