"""When mixers and containers were changed: as booked, and as played where nothing was booked."""

from __future__ import annotations

import bisect
import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from ..base.units import HOUR
from ..plan.records import Plan
from ..shift.play import play_plan
from ..shift.results import Event, ShiftResult
from .entries import DONE, OPENED, Entry

BOOKED, PLANNED = "booked", "planned"
MIXER = "mixer"
MIXER_EVENTS = frozenset({"mixer", "purge", "start"})  # after which the mixer holds fresh material
WATCHED = "mixer", "purge"  # what a purge rate counts: start and end of a shift are not its


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
    """Moments of one kind of event, booked and planned; those booked stand for their day and shift."""

    moments: list[tuple[datetime.datetime, str, str]] = field(default_factory=list)  # moment, what, source

    def last(self, moment: datetime.datetime) -> tuple[float, str, str] | None:
        """Hours since the last one, what it was, and its source; None where none was before."""
        place = bisect.bisect_right(self.moments, moment, key=lambda item: item[0])
        if not place:
            return None
        at, what, source = self.moments[place - 1]
        return (moment - at).total_seconds() / HOUR, what, source


def changes(station: str, entries: Iterable[Entry], shifts: Iterable[Planned]) -> dict[str, Times]:
    """When the mixer and the containers of each component (by letter) were changed at a station.

    A shift in which one of a kind was booked has those only, any other has those of the played shift.
    """
    booked: dict[str, list[tuple[datetime.datetime, str, str]]] = {}
    has: set[tuple[str, str, str]] = set()
    for entry in entries:
        moment = entry.moment
        if entry.station != station or moment is None:
            continue
        if entry.kind == OPENED:
            key = entry.component
            booked.setdefault(key, []).append((moment, entry.lot, BOOKED))
        elif entry.kind == DONE and entry.text in MIXER_EVENTS:
            key = MIXER
            booked.setdefault(key, []).append((moment, entry.text, BOOKED))
        else:
            continue
        has.add((key, entry.day, entry.shift))
    for result in shifts:
        for event in result.events:
            key = MIXER if event.kind in MIXER_EVENTS else event.component
            if event.kind not in MIXER_EVENTS and event.kind != "container":
                continue
            if (key, result.date.isoformat(), result.shift) in has:
                continue
            at = moment_at(result.date, event.clock)
            booked.setdefault(key, []).append((at, event.lot, PLANNED))
    return {key: Times(sorted(found)) for key, found in booked.items()}


def played(plan: Plan) -> list[ShiftResult]:
    """Every shift of the plan as played, kept with the plan."""
    kept: dict[str, list[ShiftResult]] = plan.kept("played shifts")
    if "all" not in kept:
        kept["all"] = list(play_plan(plan))
    return kept["all"]


def moment_at(day: datetime.date, clock: float) -> datetime.datetime:
    """Clock seconds of a day as date and time."""
    return datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(seconds=clock)


__all__ = ["BOOKED", "MIXER", "PLANNED", "WATCHED", "Times", "changes", "moment_at", "played"]
