"""A shift from now on: what is done is done, what stands there stands there, a stop is a stop.

The part of the shift that is over is played first, so that it is known what stands in containers and
mixer; a count or a lot that someone read off replaces what was reckoned. Then the rest is played from
the clock time given, with the parts that are left.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..base.errors import InputError, Problem
from ..base.units import from_si
from ..plan.records import Plan
from ..plan.rows import Station
from .store import Store, nanolitres


@dataclass(frozen=True, slots=True, order=True)
class Stop:
    """A time in which the line stands [s of the shift's day]."""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Today:
    """What is known of a shift that is under way.

    `now` [s] is None where only stops are played; `done` parts are started and done by then, in the order
    of the plan. `left` is what containers still hold for use [m³] and `mounted` their lots, by component.
    """

    date: datetime.date
    shift: str
    now: float | None = None
    done: int = 0
    stops: tuple[Stop, ...] = ()
    left: Mapping[str, float] = field(default_factory=dict)
    mounted: Mapping[str, str] = field(default_factory=dict)

    def is_of(self, date: datetime.date, shift: str) -> bool:
        """Whether it is that shift."""
        return (self.date, self.shift) == (date, shift)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a shift that is played by itself: from and to [s], `skip` parts done, `most` to start."""

    start: float | None = None
    end: float | None = None
    skip: int = 0
    most: int | None = None
    stops: tuple[Stop, ...] = ()
    goes_on: bool = False  # the run has begun before it

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
    for option, clock in [("now", today.now), *(("stop", stop.start) for stop in today.stops)]:
        if clock is not None and not start <= clock < end:
            raise InputError(
                Problem(
                    "fill",
                    option,
                    f"{from_si(clock, 'h'):.2f} h",
                    f"within shift {today.shift}, {from_si(start, 'h'):g} to {from_si(end, 'h'):g} h",
                )
            )
    components = plan.components_of(station.material)
    for option, letters in (("left", today.left), ("connected", today.mounted)):
        for letter in letters:
            if letter not in components:
                raise InputError(
                    Problem(
                        "fill", option, letter, f"a component of {station.material}: {', '.join(components)}"
                    )
                )


def _check_lot(plan: Plan, station: Station, letter: str, lot: str) -> None:
    """A lot that is another component's, or nowhere in Stock, is not what is connected."""
    here = (station.material, letter)
    lots = [row.lot for row in plan.stock if (row.material, row.component) == here]
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


def set_standing(plan: Plan, today: Today, station: Station, store: Store) -> None:
    """What is read off at the station replaces what was reckoned."""
    components = plan.components_of(station.material)
    for letter in dict.fromkeys((*today.left, *today.mounted)):
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
        if letter in today.mounted:
            _check_lot(plan, station, letter, today.mounted[letter])
            container.lot = replace(container.lot, lot=today.mounted[letter], left=0)
        if letter in today.left:
            most = components[letter].container
            if not 0.0 <= today.left[letter] <= most:
                raise InputError(
                    Problem(
                        "fill",
                        "left",
                        f"{from_si(today.left[letter], 'mL'):g} mL",
                        f"0 to the {from_si(most, 'mL'):g} mL of a container of {letter.upper()}",
                    )
                )
            container.usable = max(nanolitres(today.left[letter]) - container.heel, 0)
            container.full = max(container.full, container.usable)


__all__ = ["Stop", "Stretch", "Today", "check_now", "set_standing"]
