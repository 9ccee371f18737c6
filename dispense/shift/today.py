"""A shift from now on: what is done is done, what stands there stands there, a stop is a stop.

The part of the shift that is over is played first, so that it is known what stands in containers and
mixer and between the stations of a line; a count, a lot or the age of a mixer that someone read off
replaces what was reckoned. Then the rest is played from the clock time given, with the parts that are left.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from ..base.clock import hhmm
from ..base.errors import InputError, Problem
from ..base.units import from_si
from ..plan.records import Plan
from ..plan.rows import Station
from .mixer import Mixer, oldest_factor
from .store import KeptMixer, Lot, Store, nanolitres, use_by


class PastDay(NamedTuple):
    """What a part got from a container whose last day was over by then, in a shift over midnight.

    `clock` [s] is when it went on, at midnight where it was under way; `standing` what was in the container
    before [nL].
    """

    letter: str
    lot: str
    last_day: datetime.date
    standing: int
    clock: float
    on_part: str


@dataclass(frozen=True, slots=True)
class TooLong:
    """A visit in which material passes its limit; clock time [s]."""

    clock: float
    share: float  # of the pot life, of the last material


BatchKey = tuple[str, str, int]  # of a shift: part, the shift that began it where that is another, group


@dataclass(frozen=True, slots=True, order=True)
class Stop:
    """A time in which the line stands [s of the shift's day]."""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of one station.

    `done` parts are started and done by now, in the order of the plan or of each part; None: as played.
    `left` is what containers still hold for use [m³] and `mounted` their lots, by component; `mixers` are
    when those in use were put on [s], by nozzle from 0.
    """

    done: int | Mapping[str, int] | None = 0
    left: Mapping[str, float] = field(default_factory=dict)
    mounted: Mapping[str, str] = field(default_factory=dict)
    mixers: Mapping[int, float] = field(default_factory=dict)


AS_PLAYED = Told(None)


@dataclass(frozen=True, slots=True)
class Today:
    """What is known of a shift that is under way.

    `now` [s] is None where only stops are played; of stations that are not `told` all is as played.
    """

    date: datetime.date
    shift: str
    now: float | None = None
    told: Mapping[str, Told] = field(default_factory=dict)
    stops: tuple[Stop, ...] = ()

    def of(self, station: str) -> Told:
        """What is known of a station."""
        return self.told.get(station, AS_PLAYED)

    def is_of(self, date: datetime.date, shift: str) -> bool:
        """Whether it is that shift."""
        return (self.date, self.shift) == (date, shift)


@dataclass(frozen=True, slots=True)
class Before:
    """Parts of one sort that were begun before a stretch, and how many of them are or will be good."""

    begun: int
    good: int


@dataclass(frozen=True, slots=True)
class OverFull:
    """Parts that are told to be done by a clock time [s], and how many fit beside the breaks."""

    told: int
    fitting: int
    by: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a shift that is played by itself, from and to [s].

    Up to its end `done` parts are started, in all or of each part (None: as many as come by then); in the
    rest those that are `before` it are not started again.
    """

    start: float | None = None
    end: float | None = None
    done: int | Mapping[str, int] | None = None
    before: Mapping[str, Before] = field(default_factory=dict)
    stops: tuple[Stop, ...] = ()
    goes_on: bool = False  # the run has begun before it
    mixers: Mapping[int, float] = field(default_factory=dict)  # put on before its end, by nozzle [s]
    hurry: float = 0.0  # how parts came till its end: 0 as printed, 1 as fast as it can
    through_breaks: bool = False  # the crew worked through its breaks
    over: OverFull | None = None  # what was done before it and does not fit beside the breaks
    batches: Mapping[BatchKey, int] = field(default_factory=dict)  # numbers of those begun before it
    past_limit: tuple[TooLong, ...] = ()  # what went on parts before it, by the age of a mixer that was told
    past_day: tuple[PastDay, ...] = ()  # what went on parts before it from a container that was too old

    @property
    def is_whole(self) -> bool:
        """Whether it is the whole shift, with stops or without."""
        return self.start is None and self.end is None

    @property
    def is_last(self) -> bool:
        """Whether the shift ends with it."""
        return self.end is None


def check_now(plan: Plan, today: Today, station: Station) -> None:
    """A time outside the shift, or what its station does not have, is an error."""
    start, end = plan.hours_of(today.date, today.shift)
    told = today.of(station.station)
    for option, clock in [("now", today.now), *(("stop", stop.start) for stop in today.stops)]:
        if clock is not None and not start <= clock < end:
            raise InputError(
                Problem(
                    "fill",
                    option,
                    hhmm(clock, today.date),
                    f"within shift {today.shift}, {hhmm(start, today.date)} to {hhmm(end, today.date)}",
                )
            )
    components = plan.components_of(station.material)
    for option, letters in (("left", told.left), ("connected", told.mounted)):
        for letter in letters:
            if letter not in components:
                raise InputError(
                    Problem(
                        "fill", option, letter, f"a component of {station.material}: {', '.join(components)}"
                    )
                )

    for nozzle, clock in told.mixers.items():
        known = f"a nozzle of {station.station}: 1 to {station.nozzles}"
        if not 0 <= nozzle < station.nozzles:
            raise InputError(Problem("fill", "mixer", nozzle + 1, known))
        if station.mixer_volume <= 0.0:
            raise InputError(Problem("fill", "mixer", None, message=f"{station.station} has no mixer"))
        if today.now is not None and clock > today.now:
            raise InputError(
                Problem("fill", "mixer", hhmm(clock, today.date), f"not after {hhmm(today.now, today.date)}")
            )


def _connected(plan: Plan, station: Station, letter: str, lot: str) -> Lot:
    """The lot that is told; one of another component, or nowhere in Stock, is not what is connected."""
    here = (station.material, letter)
    lots = {row.lot: row for row in plan.stock if (row.material, row.component) == here}
    if lot not in lots:
        owner = next((f"{row.material} {row.component.upper()}" for row in plan.stock if row.lot == lot), "")
        known = ", ".join(lots) or "there is none"
        raise InputError(
            Problem(
                "fill",
                "connected",
                f"{letter.upper()}={lot}",
                f"a lot of {station.material} {letter.upper()} in Stock: {known}",
                fix=f"{lot} is {owner}: stop and look at the label" if owner else "add the lot to Stock",
            )
        )
    return replace(Lot.of(lots[lot]), left=0)


def set_standing(plan: Plan, today: Today, station: Station, store: Store) -> None:
    """What is read off at the station replaces what was reckoned."""
    material = plan.material(station.material)
    components, told = plan.components_of(station.material), today.of(station.station)
    for letter in dict.fromkeys((*told.left, *told.mounted)):
        container = store.mounted.get((station.station, letter))
        if container is None:
            raise InputError(
                Problem(
                    "fill",
                    letter,
                    None,
                    message=f"no container of {letter.upper()} stands at {station.station}",
                )
            )
        if letter in told.mounted and told.mounted[letter] != container.lot.lot:
            lot = _connected(plan, station, letter, told.mounted[letter])
            container.lot = lot  # with its own last day: opened today, where Stock states no other day
            container.last_day = use_by(lot.expiry, lot.opened or today.date, components[letter].open_life)
        if letter in told.left:
            most = components[letter].container
            if not 0.0 <= told.left[letter] <= most:
                raise InputError(
                    Problem(
                        "fill",
                        "left",
                        f"{from_si(told.left[letter], 'mL'):g} mL",
                        f"0 to the {from_si(most, 'mL'):g} mL of a container of {letter.upper()}",
                    )
                )
            container.usable = max(nanolitres(told.left[letter]) - container.heel, 0)
            container.full = max(container.full, container.usable)

    for nozzle, clock in told.mixers.items():
        if (station.station, nozzle) not in store.mixers:  # the run has not begun
            mixer = Mixer(nanolitres(station.mixer_volume), None, factor=oldest_factor(station, material))
            mixer.fill(clock)
            store.mixers[station.station, nozzle] = KeptMixer(today.date, tuple(mixer.contents))


__all__ = [
    "BatchKey",
    "Before",
    "OverFull",
    "PastDay",
    "Stop",
    "Stretch",
    "Today",
    "Told",
    "check_now",
    "set_standing",
]
