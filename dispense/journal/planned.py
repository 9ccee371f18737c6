"""Shifts as planned: parts at what time, containers connected, volumes; kept once a shift is booked.

A plan changes and rolls on; what was printed for a past shift does not. With its first booking a shift is
kept in the journal as the plan was then, and later bookings leave that, unless what is to be built in the
shift is another by then. Earlier versions kept no volumes: `use` is None in what they kept.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple, cast

from ..plan.records import Plan
from ..shift.play import play_plan
from ..shift.results import Event, ShiftResult
from ..shift.store import nanolitres
from .entries import AS_PLANNED, Booking, Entry, fingerprint
from .history import played
from .planned_use import PlannedUse, as_kept, from_kept, planned_use
from .store import Journal

CONTAINER = "container"  # the event of a container that is connected
PIECE = 2000  # characters of an entry, all ASCII: well within what may be rescued
Key = tuple[str, str, str]  # day, shift, station
ShiftKey = tuple[datetime.date, str]


class PlannedBatch(NamedTuple):
    """Parts of one batch; clock times [s]."""

    part: str
    number: int
    numbers: str
    size: int
    begun: float
    ended: float


@dataclass(frozen=True, slots=True)
class PlannedShift:
    """A station's shift as it was planned: its batches, and the containers that are connected.

    `lags` [s] are how long hose and mixer hold what was before, by component; `builds` is the fingerprint of
    what is to be built; `booking` is the one that kept it, None where it is played now.
    `use` is what it uses, None where that was not kept.
    """

    date: datetime.date
    shift: str
    station: str
    builds: str
    batches: tuple[PlannedBatch, ...]
    events: tuple[Event, ...]
    lags: dict[str, float]
    booking: Booking | None = None
    use: PlannedUse | None = None

    @property
    def key(self) -> Key:
        """Day, shift and station."""
        return self.date.isoformat(), self.shift, self.station


def _lag(result: ShiftResult, letter: str) -> float:
    """How long hose and mixer hold what was before [s], at the mean use of the shift."""
    held = result.hoses.get(letter, 0) + nanolitres(result.station.mixer_volume * result.shares[letter])
    used = result.drawn(letter)
    seconds = held / used * result.calendar.available if used else result.calendar.available
    return float(min(seconds, result.calendar.available))


def _builds(plan: Plan, date: datetime.date, shift: str) -> str:
    """The fingerprint of what is to be built in a shift, and when."""
    return fingerprint(sorted(plan.builds_of(date, shift).items()), plan.hours_of(date, shift))


def planned_shift(plan: Plan, result: ShiftResult) -> PlannedShift:
    """What is kept of a played shift."""
    return PlannedShift(
        result.date,
        result.shift,
        result.station.station,
        _builds(plan, result.date, result.shift),
        tuple(
            PlannedBatch(item.part, item.number, item.numbers, len(item.serials), item.begun, item.ended)
            for item in result.batches
        ),
        tuple(replace(event, text="", volume=0) for event in result.events if event.kind == CONTAINER),
        {letter: _lag(result, letter) for letter in result.letters},
        use=planned_use(plan, result),
    )


# ------------------------------------------------------------------------------------------ kept


def _entries(item: PlannedShift) -> Iterator[Entry]:
    """A shift as entries of the journal, its text in pieces that a page can hold."""
    text = json.dumps(
        {
            "builds": item.builds,
            "batches": item.batches,
            "containers": [[event.clock, event.component, event.lot] for event in item.events],
            "lags": item.lags,
            "use": None if item.use is None else as_kept(item.use),
        }
    )
    pieces = [text[start : start + PIECE] for start in range(0, len(text), PIECE)]
    for place, piece in enumerate(pieces, 1):
        name = "|".join((AS_PLANNED, *item.key, str(place)))
        yield Entry(AS_PLANNED, name, "", *item.key[:2], "", item.station, count=len(pieces), text=piece)


def _read(key: Key, text: str, booking: Booking) -> PlannedShift:
    """A shift from its text."""
    found = json.loads(text)
    day, shift, station = key
    return PlannedShift(
        datetime.date.fromisoformat(day),
        shift,
        station,
        found["builds"],
        tuple(PlannedBatch(*item) for item in found["batches"]),
        tuple(Event(clock, CONTAINER, "", letter, lot) for clock, letter, lot in found["containers"]),
        found["lags"],
        booking,
        from_kept(found["use"]) if found.get("use") else None,
    )


def kept_shifts(journal: Journal) -> dict[Key, list[PlannedShift]]:
    """Shifts as they were planned when booked, each time that they were kept, the last last.

    A booking that was taken back keeps them too: it was the plan of then all the same.
    """
    found: dict[Key, list[PlannedShift]] = {}
    for booking in journal.bookings:
        pieces: dict[Key, list[Entry]] = {}
        for entry in journal.entries[booking.number]:
            if entry.kind == AS_PLANNED:
                pieces.setdefault((entry.day, entry.shift, entry.station), []).append(entry)
        for key, items in pieces.items():
            if len(items) == items[0].count:  # else a rescue has lost a piece of it
                text = "".join(item.text for item in items)
                found.setdefault(key, []).append(_read(key, text, booking))
    return found


def booked_shifts(plan: Plan, entries: Iterable[Entry]) -> set[ShiftKey]:
    """Shifts of the plan of which something that happened at a station is booked."""
    days = plan.days()
    found: set[ShiftKey] = set()
    for entry in entries:
        if entry.station and entry.date is not None:
            of_day = {key for key in days if key[0] == entry.date}
            found |= {key for key in of_day if key[1] == entry.shift} or of_day
    return found


def to_keep(plan: Plan, entries: Iterable[Entry], journal: Journal) -> list[Entry]:
    """What is to be kept with a booking of these entries: all stations of its shifts, as planned now.

    What is kept already stays, unless the builds of that shift have changed since.
    """
    shifts = booked_shifts(plan, entries)
    if not shifts:
        return []
    kept = {key: items[-1].builds for key, items in kept_shifts(journal).items()}
    until = max(shifts, key=plan.days().index)
    found: list[Entry] = []
    for result in play_plan(plan, until=until):
        if (result.date, result.shift) in shifts:
            item = planned_shift(plan, result)
            if kept.get(item.key) != item.builds:
                found += _entries(item)
    return found


def all_shifts(plan: Plan, kept: dict[Key, list[PlannedShift]]) -> list[PlannedShift]:
    """Every shift that is known, in order of time: as kept, and as played now where nothing is kept."""
    found = {item.key: item for item in (planned_shift(plan, result) for result in played(plan))}
    found |= {key: items[-1] for key, items in kept.items()}
    return sorted(found.values(), key=lambda item: (item.date, _begin(item)))


def used_shifts(plan: Plan, kept: dict[Key, list[PlannedShift]]) -> list[PlannedShift]:
    """Every shift whose volumes are known, in order of time: as kept, else as played now."""
    found = {item.key: item for item in (planned_shift(plan, result) for result in played(plan))}
    found |= {key: items[-1] for key, items in kept.items() if items[-1].use is not None}
    return sorted(found.values(), key=lambda item: (item.date, cast(PlannedUse, item.use).begins))


def _begin(item: PlannedShift) -> float:
    return min((batch.begun for batch in item.batches), default=0.0)


# ------------------------------------------------------------------------------ what does not hold


def not_as_kept(
    plan: Plan, journal: Journal, content: str, days: Collection[datetime.date] = ()
) -> tuple[list[Key], list[Key]]:
    """Booked shifts that are played by a plan that has changed since, and those that nothing knows of.

    `content` is the fingerprint of the plan of today, `days` those that are asked about (all by default).
    """
    kept = kept_shifts(journal)
    here = {(item.date.isoformat(), item.shift, item.station.station) for item in played(plan)}
    at_work = {(day, station) for day, _, station in [*here, *kept]}
    names = {row.shift for row in plan.shifts}
    changed: dict[Key, None] = {}
    gone: dict[Key, None] = {}
    for booking in journal.counting:
        for entry in journal.entries[booking.number]:
            key = entry.day, entry.shift, entry.station
            if entry.kind == AS_PLANNED or not entry.station or entry.date is None:
                continue
            if days and entry.date not in days:
                continue
            if key in kept:
                first = cast(Booking, kept[key][0].booking)
                if booking.number < first.number and booking.plan_content != first.plan_content:
                    changed[key] = None
            elif key in here:
                if booking.plan_content != content:
                    changed[key] = None
            elif entry.shift in names or (entry.day, entry.station) not in at_work:
                gone[key] = None
    return list(changed), list(gone)


def volumes_not_as_kept(plan: Plan, journal: Journal, content: str) -> tuple[list[Key], list[Key]]:
    """Booked shifts whose volumes are those of a plan that has changed since, and those without any.

    Beside those that were not kept, those that an earlier version kept without volumes.
    """
    changed, gone = not_as_kept(plan, journal, content)
    here = {(item.date.isoformat(), item.shift, item.station.station) for item in played(plan)}
    for key, items in kept_shifts(journal).items():
        if items[-1].use is None:
            if key not in here:
                gone.append(key)
            elif cast(Booking, items[-1].booking).plan_content != content:
                changed.append(key)
    return sorted(set(changed)), sorted(set(gone))


__all__ = [
    "Key",
    "PlannedBatch",
    "PlannedShift",
    "all_shifts",
    "booked_shifts",
    "not_as_kept",
    "kept_shifts",
    "planned_shift",
    "to_keep",
    "used_shifts",
    "volumes_not_as_kept",
]
