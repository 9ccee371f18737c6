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
from ..shift.results import ShiftResult
from ..shift.store import nanolitres
from .entries import COUNTED, EMPTIED, MADE, OPENED, RECEIVED, SCRAPPED, STAGED, Entry
from .history import BOOKED, PLANNED, Times, changes, moment_at, played
from .lots import lots_of

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


@dataclass(frozen=True, slots=True)
class Open:
    """A container that stands at a station at the end of all that is known."""

    station: str
    component: str
    lot: str
    since: datetime.datetime
    source: str


@dataclass(slots=True)
class Trace:
    """What a question about a lot or a part found."""

    parts: list[Parts] = field(default_factory=list)
    events: list[Entry] = field(default_factory=list)  # of the lot, as booked
    still_open: list[Open] = field(default_factory=list)
    in_stock: list[StockLot] = field(default_factory=list)  # rows of the plan's Stock that hold the lot


def _counts(entries: Iterable[Entry]) -> dict[tuple[str, str, str, str, str], int]:
    """Parts made and scrapped as booked, by kind, day, shift, station and part."""
    found: dict[tuple[str, str, str, str, str], int] = {}
    for entry in entries:
        if entry.kind in (MADE, SCRAPPED):
            key = entry.kind, entry.day, entry.shift, entry.station, entry.part
            found[key] = found.get(key, 0) + (entry.count or 0)
    return found


def _lag(result: ShiftResult, letter: str) -> datetime.timedelta:
    """How long hose and mixer hold what was before, at the mean use of the shift."""
    held = result.hoses.get(letter, 0) + nanolitres(result.station.mixer_volume * result.shares[letter])
    used = result.drawn(letter)
    seconds = held / used * result.calendar.available if used else result.calendar.available
    return datetime.timedelta(seconds=min(seconds, result.calendar.available))


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
    before = [item for item in times.moments if item[0] <= begun]
    if before:
        _, lot, source = before[-1]
        found[lot] = Lot(lot, letter, source)
    for at, lot, source in times.moments:
        if begun < at <= ended:
            found[lot] = Lot(lot, letter, source)
    for place, (at, _, _) in enumerate(times.moments):
        if place and at <= ended and at + lag > begun:
            _, lot, source = times.moments[place - 1]
            found.setdefault(lot, Lot(lot, letter, source, is_rest=True))
    return [item for item in found.values() if item.lot]


def trace(plan: Plan, entries: Sequence[Entry]) -> tuple[list[Parts], list[Open]]:
    """All batches of the plan with the lots that may be on them, and the containers that still stand."""
    by_station: dict[str, list[ShiftResult]] = {}
    for result in played(plan):
        by_station.setdefault(result.station.station, []).append(result)
    counts = _counts(entries)
    parts: list[Parts] = []
    still: list[Open] = []
    emptied = {
        (entry.station, entry.component, entry.lot): entry.moment
        for entry in entries
        if entry.kind == EMPTIED
    }
    for station, results in by_station.items():
        history = changes(plan.station(station), entries, results)
        for result in results:
            for batch in result.batches:
                begun, ended = (moment_at(result.date, clock) for clock in (batch.begun, batch.ended))
                lots = [
                    lot
                    for letter in result.letters
                    for lot in _lots(history.get(letter), letter, begun, ended, _lag(result, letter))
                ]
                key = result.date.isoformat(), result.shift, station, batch.part
                parts.append(
                    Parts(
                        result.date,
                        result.shift,
                        station,
                        batch.part,
                        batch.number,
                        batch.numbers,
                        begun,
                        ended,
                        tuple(lots),
                        counts.get((MADE, *key)),
                        counts.get((SCRAPPED, *key)),
                    )
                )
        for letter, times in history.items():
            if letter not in results[-1].letters or not times.moments:
                continue
            at, lot, source = times.moments[-1]
            gone = emptied.get((station, letter, lot))
            if lot and not (gone is not None and gone >= at):
                still.append(Open(station, letter, lot, at, source))
    return sorted(parts, key=lambda item: (item.begun, item.station)), still


def of_lot(plan: Plan, entries: Sequence[Entry], lot: str, component: str = "") -> Trace:
    """Parts that may hold a lot, what was booked of it, and where a container of it still stands.

    `component` keeps to what was connected as that one, such as a lot of B that was connected as A.
    """
    parts, still = trace(plan, entries)
    events = [entry for entry in entries if entry.kind in OF_LOT and lot in lots_of(entry)]
    return Trace(
        [
            item
            for item in parts
            if any(each.lot == lot and component in ("", each.component) for each in item.lots)
        ],
        sorted(events, key=lambda entry: entry.time or entry.day),
        [item for item in still if item.lot == lot and component in ("", item.component)],
        [row for row in plan.stock if row.lot == lot and row.quantity > 0.0],
    )


def of_part(plan: Plan, entries: Sequence[Entry], part: str, day: datetime.date | None = None) -> Trace:
    """The lots that may be on a part, of one day or of all."""
    parts, _ = trace(plan, entries)
    return Trace([item for item in parts if item.part == part and day in (None, item.day)])


def known_lots(plan: Plan, entries: Iterable[Entry]) -> list[str]:
    """Every lot that the plan or the journal names."""
    return list(
        dict.fromkeys(
            [*(row.lot for row in plan.stock), *(lot for entry in entries for lot in lots_of(entry))]
        )
    )


__all__ = ["BOOKED", "PLANNED", "Lot", "Open", "Parts", "Trace", "known_lots", "of_lot", "of_part", "trace"]
