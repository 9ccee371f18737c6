"""The store with which playing begins: the plan's stock, and what stands at the stations by then.

What stands there is what the plan's table Standing says (`plan.as_of` tells of when); of one thing the
latest row counts. A part in process is told with when its first material went on, or until when it must be
mated: the one follows from the other along the shop temperature,

    latest = when the open time that began at `begun` is over,

and so for a mixer, whose limit is the station's share of the pot life.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from ..base.units import DAY
from ..plan.materials import working_life
from ..plan.records import Plan
from ..plan.routes import place_in_route, route_of
from ..plan.rows import Standing, Station
from ..plan.standing import (
    expiry_of,
    held_at,
    latest_rows,
    lot_rows,
    material_of,
    moment_of,
    numbers_of,
    origin_of,
)
from ..plan.tables import (
    STANDING_BETWEEN,
    STANDING_CONTAINER,
    STANDING_HALF_DONE,
    STANDING_HOSE,
    STANDING_MIXER,
    STANDING_TO_MATE,
)
from ..plan.weather import shop_record
from .cure_times import open_clock
from .mixer import oldest_factor
from .store import (
    AnyLot,
    Between,
    HalfDone,
    KeptMixer,
    Lot,
    Mounted,
    Store,
    ToMate,
    heel_volume,
    hose_volume,
    nanolitres,
    use_by,
)

EARLIEST = 400.0 * DAY  # before its limit that something may have been begun; longer than what is mixed lasts
HALVINGS = 60  # of that: to well below a microsecond


def begun_by(when: Callable[[float, float], float], latest: float, share: float) -> float:
    """When something was begun of which a share of its life is over at `latest`, all times in s.

    >>> begun_by(lambda start, share: start + 3600.0 * share, 7200.0, 0.5)
    5400.0
    """
    early, late = latest - EARLIEST, latest
    for _ in range(HALVINGS):
        middle = 0.5 * (early + late)
        early, late = (middle, late) if when(middle, share) < latest else (early, middle)
    return round(0.5 * (early + late), 6)


def connected_lot(plan: Plan, row: Standing) -> Lot:
    """The lot of a container that stands at a station, of which nothing is in store by that."""
    name, opened = material_of(plan, row), row.opened or row.date
    return Lot(name, row.component, row.lot, 0, expiry_of(plan, row), opened)


def connected(plan: Plan, row: Standing, lot: AnyLot) -> Mounted[AnyLot]:
    """A container as it stands at its station."""
    component = plan.components_of(material_of(plan, row))[row.component]
    heel, standing = heel_volume(component), nanolitres(row.left or 0.0)
    usable = max(standing - heel, 0)
    last_day = use_by(expiry_of(plan, row), row.opened or row.date, component.open_life)
    full = max(nanolitres(component.container) - heel, usable)
    return Mounted(lot, usable, standing - usable, last_day, full)


def filled_hoses(plan: Plan, rows: Iterable[Standing]) -> dict[tuple[str, str], int]:
    """What is in the hoses [nL], by station and component: full where a container is connected."""
    found: dict[tuple[str, str], int] = {}
    for row in rows:
        full = hose_volume(plan.station(row.station), row.component) if row.station else 0
        if row.what == STANDING_CONTAINER:
            found.setdefault((row.station, row.component), full)
        elif row.what == STANDING_HOSE:
            found[row.station, row.component] = full if row.left is None else min(nanolitres(row.left), full)
    return found


def opening_store(plan: Plan) -> Store:
    """The store and the stations as playing begins."""
    rows = latest_rows(plan)
    store = Store.of(replace(plan, stock=lot_rows(plan)) if rows else plan)
    for row in rows:
        if row.what in (STANDING_CONTAINER, STANDING_HOSE, STANDING_MIXER):
            store.ran[row.station] = material_of(plan, row)
        if row.what == STANDING_CONTAINER:
            store.mounted[row.station, row.component] = connected(plan, row, connected_lot(plan, row))
        elif row.what == STANDING_MIXER:
            held = held_at(plan, row)
            if held.station(row.station).mixer_volume > 0.0:
                store.mixers[row.station, row.nozzle - 1] = _mixer(held, row, held.station(row.station))
        elif row.what == STANDING_HALF_DONE:
            store.half_done.setdefault(row.station, []).extend(_half_done(plan, row))
        elif row.what == STANDING_TO_MATE:
            store.to_mate.setdefault(row.station, []).extend(_to_mate(plan, row))
        elif row.what == STANDING_BETWEEN:
            store.between.setdefault(row.station, []).extend(_between(plan, row))
    store.hoses.update(filled_hoses(plan, rows))
    return store


def _mixer(plan: Plan, row: Standing, station: Station) -> KeptMixer:
    """A mixer kept closed, as old as it was put on or as follows from its limit."""
    material = plan.material(station.material)
    life = working_life(material)
    begun = row.begun
    if begun is None and row.latest is not None and life is not None:
        begun = begun_by(life.clock(*shop_record(plan, station)).when, row.latest, station.purge_share)
    entered = _told_at(plan, row) if begun is None else begun
    volume = round(nanolitres(station.mixer_volume) * oldest_factor(station, material))
    return KeptMixer(row.date, ((volume, entered),))


def _told_at(plan: Plan, row: Standing) -> float:
    """The clock of the row's day at which it was told [s]."""
    return (moment_of(plan, row) - datetime.datetime.combine(row.date, datetime.time())).total_seconds()


def _begun(plan: Plan, row: Standing) -> tuple[float, float | None]:
    """When the first material went on, and until when it is open [s]; None: without end."""
    plan = held_at(plan, row)
    station = plan.station(row.station)
    clock = open_clock(plan, station, plan.material(station.material))
    begun, latest = row.begun, row.latest
    if begun is None and latest is not None and clock is not None:
        begun = begun_by(clock.when, latest, 1.0)
    if begun is None:
        begun = _told_at(plan, row)
    if latest is None and clock is not None:
        latest = clock.when(begun, 1.0)
    return begun, latest


def _fate(plan: Plan, row: Standing) -> int:
    """Parts that are told are good ones: they come to the end of their route."""
    return len(route_of(plan, row.part)) if place_in_route(plan, row.part, row.station) is not None else 0


def _half_done(plan: Plan, row: Standing) -> Iterator[HalfDone]:
    begun, _ = _begun(plan, row)
    origin, fate = origin_of(row.numbers, row), _fate(plan, row)
    due = begun if row.due is None else row.due
    for serial in numbers_of(row.numbers):
        yield HalfDone(row.date, origin, row.part, serial, False, row.visits, begun, begun, due, fate)


def _to_mate(plan: Plan, row: Standing) -> Iterator[ToMate]:
    _, latest = _begun(plan, row)
    origin = origin_of(row.numbers, row)
    planned = _told_at(plan, row) if row.due is None else row.due
    for serial in numbers_of(row.numbers):
        yield ToMate(row.date, origin, row.part, serial, planned if latest is None else latest, planned)


def _between(plan: Plan, row: Standing) -> Iterator[Between]:
    ready = _told_at(plan, row) if row.due is None else row.due
    origin, fate = origin_of(row.numbers, row), _fate(plan, row)
    for serial in numbers_of(row.numbers):
        yield Between(
            row.date, origin, row.part, serial, fate, row.before, row.station, ready, ready, left=ready
        )


__all__ = ["begun_by", "connected", "connected_lot", "filled_hoses", "opening_store"]
