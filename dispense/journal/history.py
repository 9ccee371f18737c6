"""When mixers and containers were changed: as booked, and as played where nothing was booked."""

from __future__ import annotations

import bisect
import datetime
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from ..base.units import HOUR
from ..plan.records import Plan
from ..shift.play import play_plan
from ..shift.results import Event, ShiftResult
from .entries import DONE, EMPTIED, OPENED, Entry

BOOKED, PLANNED = "booked", "planned"
MIXER, PURGE = "mixer", "purge"
MIXER_EVENTS = frozenset({MIXER, PURGE, "start"})  # after which the mixer holds fresh material
WATCHED = MIXER, PURGE  # what a purge rate counts: start and end of a shift are not its


class Planned(Protocol):
    """A shift of which is known what was to happen in it."""

    @property
    def date(self) -> datetime.date:
        """Its day."""

    @property
    def shift(self) -> str:
        """Its name."""

    @property
    def events(self) -> Sequence[Event]:
        """What was to happen."""


@dataclass(slots=True)
class Times:
    """Moments of one kind of event, booked and planned, in order of time.

    `late` are planned ones that the first booked one of the shift may be, made late: their moment, and its;
    `within` are booked ones without a time: from when till when each may have been, and what.
    """

    moments: list[tuple[datetime.datetime, str, str]] = field(default_factory=list)  # moment, what, source
    late: dict[datetime.datetime, datetime.datetime] = field(default_factory=dict)
    within: list[tuple[datetime.datetime, datetime.datetime, str]] = field(default_factory=list)

    def last(self, moment: datetime.datetime) -> tuple[float, str, str] | None:
        """Hours since the last one, what it was, and its source; None where none was before."""
        before = self.before(moment)
        if before is None:
            return None
        at, what, source = before
        return (moment - at).total_seconds() / HOUR, what, source

    def before(self, moment: datetime.datetime) -> tuple[datetime.datetime, str, str] | None:
        """The last one up to a moment."""
        place = bisect.bisect_right(self.moments, moment, key=lambda item: item[0])
        return self.moments[place - 1] if place else None

    @property
    def spans(self) -> Iterator[tuple[datetime.datetime, datetime.datetime, str, str]]:
        """From when till when each stands, what it is, its source: till the next, however late that came."""
        for place, (at, what, source) in enumerate(self.moments, 1):
            off = self.moments[place][0] if place < len(self.moments) else datetime.datetime.max
            yield at, self.late.get(off, off), what, source
        for since, until, what in self.within:
            after = (at for at, _, _ in self.moments if at >= until)
            yield since, next(after, datetime.datetime.max), what, BOOKED


def changes(station: str, entries: Iterable[Entry], shifts: Iterable[Planned]) -> dict[str, Times]:
    """When the mixer and the containers of each component (by letter) were changed at a station.

    A shift has those that were booked, and before the first of them those of the played shift, unless one
    that was booked before the shift still stands; a shift in which none was booked is as played.
    """
    entries = [entry for entry in entries if entry.station == station]
    booked: dict[str, list[tuple[datetime.datetime, str, str]]] = {}
    first: dict[tuple[str, str, str], tuple[datetime.datetime, str]] = {}
    emptied = [entry for entry in entries if entry.kind == EMPTIED]
    for entry in entries:
        moment = entry.moment
        if moment is None:
            continue
        if entry.kind == OPENED:
            key, what = entry.component, entry.lot
        elif entry.kind == DONE and entry.text in MIXER_EVENTS:
            key, what = MIXER, entry.text
        else:
            continue
        booked.setdefault(key, []).append((moment, what, BOOKED))
        slot = key, entry.day, entry.shift
        first[slot] = min(first.get(slot, (moment, what)), (moment, what))
    planned: dict[tuple[str, str, str], list[tuple[datetime.datetime, str, str]]] = {}
    for result in shifts:
        for event in result.events:
            if event.kind in MIXER_EVENTS or event.kind == "container":
                key = MIXER if event.kind in MIXER_EVENTS else event.component
                at = moment_at(result.date, event.clock)
                planned.setdefault((key, result.date.isoformat(), result.shift), []).append(
                    (at, event.lot, PLANNED)
                )
    found = {key: Times(sorted(moments)) for key, moments in booked.items()}
    for slot, moments in planned.items():
        times = found.setdefault(slot[0], Times())
        if slot in first:
            until, lot = first[slot]
            alike = [at for at, what, _ in moments if what == lot]
            nearest = min(alike, key=lambda at: abs(at - until), default=until)
            moments = [
                item for item in moments if item[0] < until and not _holds(times, slot[0], item[0], emptied)
            ]
            if nearest in [at for at, _, _ in moments]:
                times.late[nearest] = until
        times.moments = sorted([*times.moments, *moments])
    return found


def is_emptied(
    entries: Iterable[Entry], letter: str, lot: str, since: datetime.datetime, until: datetime.datetime
) -> bool:
    """Whether entries of a station have the container of a lot as emptied in a span of time."""
    return any(
        entry.moment is not None and since <= entry.moment <= until
        for entry in entries
        if (entry.kind, entry.component, entry.lot) == (EMPTIED, letter, lot)
    )


def _holds(times: Times, letter: str, at: datetime.datetime, emptied: Iterable[Entry]) -> bool:
    """Whether what stands at a moment was booked, and not as emptied."""
    before = times.before(at)
    if before is None or before[2] != BOOKED:
        return False
    since, lot, _ = before
    return not is_emptied(emptied, letter, lot, since, at)


def played(plan: Plan) -> list[ShiftResult]:
    """Every shift of the plan as played, kept with the plan."""
    kept: dict[str, list[ShiftResult]] = plan.kept("played shifts")
    if "all" not in kept:
        kept["all"] = list(play_plan(plan))
    return kept["all"]


def moment_at(day: datetime.date, clock: float) -> datetime.datetime:
    """Clock seconds of a day as date and time."""
    return datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(seconds=clock)


__all__ = [
    "BOOKED",
    "MIXER",
    "PLANNED",
    "PURGE",
    "WATCHED",
    "Times",
    "changes",
    "is_emptied",
    "moment_at",
    "played",
]
