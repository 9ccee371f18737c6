"""Which lots are on which parts, and the reverse: from the journal, and as played where nothing was booked.

A part may hold every lot that was connected while it was made, and the one before for as long as hose and
mixer still hold it: what cannot be ruled out is named.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from ..plan.records import Plan
from ..plan.rows import StockLot
from ..shift.store import NO_STOCK
from .counted import counted_stock
from .dated import material_on
from .entries import COUNTED, EMPTIED, MADE, OPENED, RECEIVED, SCRAPPED, STAGED, Booking, Entry
from .history import BOOKED, MIXER, PLANNED, Times, changes, is_emptied, moment_at
from .lots import lots_of
from .planned import PlannedShift, all_shifts

OF_LOT = (RECEIVED, COUNTED, STAGED, OPENED, EMPTIED)


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot that may be on parts: its component, how it is known, and whether it is only what a hose held."""

    lot: str
    component: str
    source: str
    is_rest: bool = False


@dataclass(frozen=True, slots=True)
class Parts:
    """Parts of one batch at a station with the lots that may be on them.

    `numbers` and times are those of the played shift; `made` and `scrapped` what was booked of the part
    for the whole shift.
    """

    day: datetime.date
    shift: str
    station: str
    part: str
    batch: int
    numbers: str
    begun: datetime.datetime
    ended: datetime.datetime
    lots: tuple[Lot, ...]
    made: int | None = None
    scrapped: int | None = None
    count: int = 0
    kept: Booking | None = None  # the booking that kept the shift as planned; None: the plan of today


@dataclass(frozen=True, slots=True)
class Open:
    """A container that stands at a station, or is to be connected there."""

    station: str
    component: str
    lot: str
    since: datetime.datetime
    source: str


@dataclass(frozen=True, slots=True)
class Stored:
    """A row of Stock, as counted and received; `left` [m³] is what is left by bookings and plan.

    That is without the containers that were connected since it was counted, or since the plan begins.
    """

    row: StockLot
    left: float


@dataclass(slots=True)
class Trace:
    """What a question about a lot or a part found; what stands and is left is that of a moment, `at`."""

    parts: list[Parts] = field(default_factory=list)
    events: list[Entry] = field(default_factory=list)  # of the lot, as booked
    still_open: list[Open] = field(default_factory=list)
    in_stock: list[Stored] = field(default_factory=list)
    to_come: list[Open] = field(default_factory=list)  # containers of the lot that are connected later
    components: list[str] = field(default_factory=list)  # that the lot is known or connected as
    at: datetime.datetime = datetime.datetime.max

    @property
    def after(self) -> list[Parts]:
        """Parts of which some are made after the moment."""
        return [item for item in self.parts if item.ended > self.at]


def _counts(entries: Iterable[Entry]) -> dict[tuple[str, str, str, str, str], int]:
    """Parts made and scrapped as booked, by kind, day, shift, station and part."""
    found: dict[tuple[str, str, str, str, str], int] = {}
    for entry in entries:
        if entry.kind in (MADE, SCRAPPED):
            key = entry.kind, entry.day, entry.shift, entry.station, entry.part
            found[key] = found.get(key, 0) + (entry.count or 0)
    return found


def _lots(
    times: Times | None,
    letter: str,
    begun: datetime.datetime,
    ended: datetime.datetime,
    lag: datetime.timedelta,
) -> list[Lot]:
    """The lots of one component that may be on parts made in a span of time."""
    if times is None:
        return []
    found: dict[str, Lot] = {}
    rests: dict[str, Lot] = {}
    for at, off, lot, source in times.spans:
        if at > ended:
            continue
        if off > begun:
            found[lot] = Lot(lot, letter, source)
        elif begun - off < lag:
            rests[lot] = Lot(lot, letter, source, is_rest=True)
    found |= {lot: rest for lot, rest in rests.items() if lot not in found}
    return [item for item in found.values() if item.lot]


def _span_of(plan: Plan, entry: Entry) -> tuple[datetime.datetime, datetime.datetime] | None:
    """From when till when an entry may have happened: its time, else its shift, or its day."""
    if entry.moment is not None:
        return entry.moment, entry.moment
    if entry.date is None:
        return None
    if entry.shift in {row.shift for row in plan.shifts}:
        begin, end = plan.hours_of(entry.date, entry.shift)
        return moment_at(entry.date, begin), moment_at(entry.date, end)
    return moment_at(entry.date, 0.0), datetime.datetime.combine(entry.date, datetime.time(23, 59))


def _end_of(plan: Plan, entry: Entry) -> datetime.datetime | None:
    """When an entry is known to have happened."""
    span = _span_of(plan, entry)
    return span[1] if span else None


def _by_station(
    plan: Plan, entries: Iterable[Entry], shifts: Iterable[PlannedShift]
) -> dict[str, tuple[list[PlannedShift], dict[str, Times]]]:
    """The shifts of each station, and when its containers were changed, by component."""
    entries = list(entries)
    found: dict[str, list[PlannedShift]] = {}
    for item in shifts:
        found.setdefault(item.station, []).append(item)
    for entry in entries:
        if entry.kind == OPENED:
            found.setdefault(entry.station, [])
    histories = {station: changes(station, entries, items) for station, items in found.items()}
    for entry in entries:
        if entry.kind == OPENED and entry.moment is None and (span := _span_of(plan, entry)):
            times = histories[entry.station].setdefault(entry.component, Times())
            times.within.append((*span, entry.lot))
    return {
        station: (
            items,
            {
                letter: times
                for letter, times in histories[station].items()
                if letter != MIXER and (not items or letter in items[-1].lags)
            },
        )
        for station, items in found.items()
    }


def _parts(
    item: PlannedShift, history: dict[str, Times], counts: dict[tuple[str, str, str, str, str], int]
) -> list[Parts]:
    """The batches of a shift with the lots that may be on them."""
    found = []
    for batch in item.batches:
        begun, ended = (moment_at(item.date, clock) for clock in (batch.begun, batch.ended))
        lots = [
            lot
            for letter, lag in item.lags.items()
            for lot in _lots(history.get(letter), letter, begun, ended, datetime.timedelta(seconds=lag))
        ]
        key = *item.key, batch.part
        found.append(
            Parts(
                item.date,
                item.shift,
                item.station,
                batch.part,
                batch.number,
                batch.numbers,
                begun,
                ended,
                tuple(lots),
                counts.get((MADE, *key)),
                counts.get((SCRAPPED, *key)),
                batch.size,
                item.booking,
            )
        )
    return found


def _standing(
    station: str, history: dict[str, Times], entries: Iterable[Entry], at: datetime.datetime
) -> list[Open]:
    """The containers that stand at a station at a moment."""
    entries = [entry for entry in entries if entry.station == station]
    return [
        Open(station, letter, lot, since, source)
        for letter, times in history.items()
        for since, off, lot, source in times.spans
        if since <= at and (at < off or off == datetime.datetime.max)
        if lot and not is_emptied(entries, letter, lot, since, at)
    ]


def trace(
    plan: Plan,
    entries: Sequence[Entry],
    shifts: Sequence[PlannedShift] | None = None,
    at: datetime.datetime = datetime.datetime.max,
) -> tuple[list[Parts], list[Open]]:
    """All batches with the lots that may be on them, and the containers that stand at a moment.

    `shifts` are those of `all_shifts`, by default as the plan is played now; `at` is by default the end of
    all that is known.
    """
    shifts = all_shifts(plan, {}) if shifts is None else shifts
    counts = _counts(entries)
    parts: list[Parts] = []
    still: list[Open] = []
    for station, (items, history) in _by_station(plan, entries, shifts).items():
        for item in items:
            parts += _parts(item, history, counts)
        still += _standing(station, history, entries, at)
    return sorted(parts, key=lambda item: (item.begun, item.station)), still


def last_booked(plan: Plan, entries: Iterable[Entry]) -> datetime.datetime | None:
    """The last moment at a station of which something is booked."""
    ends = (_end_of(plan, entry) for entry in entries if entry.station)
    return max((end for end in ends if end is not None), default=None)


def _stored(
    plan: Plan, entries: Sequence[Entry], lot: str, connected: Iterable[Open], at: datetime.datetime
) -> list[Stored]:
    """What may be left of a lot in store: a container that was connected is there no more."""
    until = [entry for entry in entries if (_end_of(plan, entry) or at) <= at]
    opened = [item for item in connected if item.since <= at]
    found = []
    for row in counted_stock(plan, until).plan.stock:
        if row.lot != lot or not row.quantity > 0.0:
            continue
        key = row.material, row.component, row.lot
        counts = [
            _end_of(plan, entry) or at
            for entry in until
            if entry.kind == COUNTED and (entry.material, entry.component, entry.lot) == key
        ]
        since = max(counts, default=datetime.datetime.min)
        gone = sum(
            item.since > since
            and item.component == row.component
            and material_on(plan, item.station, item.since.date()) == row.material
            for item in opened
        )
        size = plan.components_of(row.material)[row.component].container
        found.append(Stored(row, max(row.quantity - gone * size, 0.0)))
    return found


def of_lot(
    plan: Plan,
    entries: Sequence[Entry],
    lot: str,
    component: str = "",
    *,
    shifts: Sequence[PlannedShift] | None = None,
    at: datetime.datetime = datetime.datetime.max,
) -> Trace:
    """Parts that may hold a lot, what was booked of it, and where a container of it stands at a moment.

    `component` keeps to what was connected as that one, such as a lot of B that was connected as A.
    """
    shifts = all_shifts(plan, {}) if shifts is None else shifts
    parts, still = trace(plan, entries, shifts, at)
    events = [entry for entry in entries if entry.kind in OF_LOT and lot in lots_of(entry)]
    connected = sorted(
        (
            Open(station, letter, lot, since, source)
            for station, (_, history) in _by_station(plan, entries, shifts).items()
            for letter, times in history.items()
            for since, _, name, source in times.spans
            if name == lot and not (source == PLANNED and since in times.late)  # one container, once
        ),
        key=lambda item: item.since,
    )
    rows = [row.component for row in plan.stock if row.lot == lot]
    letters = {*rows, *(item.component for item in connected), *(entry.component for entry in events)}
    return Trace(
        [
            item
            for item in parts
            if any(each.lot == lot and component in ("", each.component) for each in item.lots)
        ],
        sorted(events, key=lambda entry: entry.time or entry.day),
        [item for item in still if item.lot == lot and component in ("", item.component)],
        _stored(plan, entries, lot, connected, at),
        [item for item in connected if item.since > at and component in ("", item.component)],
        sorted(letters - {""}),
        at,
    )


def of_part(
    plan: Plan,
    entries: Sequence[Entry],
    part: str,
    day: datetime.date | None = None,
    *,
    shifts: Sequence[PlannedShift] | None = None,
) -> Trace:
    """The lots that may be on a part, of one day or of all."""
    parts, _ = trace(plan, entries, shifts)
    return Trace([item for item in parts if item.part == part and day in (None, item.day)])


def known_lots(plan: Plan, entries: Iterable[Entry], shifts: Iterable[PlannedShift] = ()) -> list[str]:
    """Every lot that the plan, the journal or a kept shift names."""
    return list(
        dict.fromkeys(
            [
                *(row.lot for row in plan.stock),
                *(lot for entry in entries for lot in lots_of(entry)),
                *(event.lot for item in shifts for event in item.events if event.lot not in ("", NO_STOCK)),
            ]
        )
    )


__all__ = [
    "BOOKED",
    "PLANNED",
    "Lot",
    "Open",
    "Parts",
    "Stored",
    "Trace",
    "known_lots",
    "last_booked",
    "of_lot",
    "of_part",
    "trace",
]
