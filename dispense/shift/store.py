"""Lots in store, and what stands at each station: containers, mixers, parts in process.

Volumes are whole nanolitres; lots leave first expired, first out.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Generic, Self, TypeVar

from ..base.units import DAY
from ..plan.records import Plan
from ..plan.rows import Component, Station, StockLot

NANO = 10**12  # nanolitres in a cubic metre


NO_STOCK = "no stock"


def nanolitres(volume: float) -> int:
    """A volume [m³] in whole nanolitres."""
    return round(volume * NANO)


def hose_volume(station: Station, letter: str) -> int:
    """What the hose of a component holds when it is full [nL]."""
    return nanolitres(station.hose_a if letter == "a" else station.hose_b)


def heel_volume(component: Component) -> int:
    """What stays behind in a container that is changed [nL]."""
    return nanolitres(component.heel * component.container)


def nanolitre_price(component: Component) -> float:
    """Price of a nanolitre, at that of a full container."""
    return component.price / (component.container * NANO)


def price_on(plan: Plan, material: str, letter: str, date: datetime.date) -> float:
    """Price of a nanolitre of a component on a day."""
    return nanolitre_price(plan.on(date).components_of(material)[letter])


def use_by(expiry: datetime.date, opened: datetime.date | None, open_life: float | None) -> datetime.date:
    """The last day on which a lot may be used, opened or not; the life of an open container in s."""
    if opened is None or open_life is None:
        return expiry
    return min(expiry, opened + datetime.timedelta(days=int(open_life // DAY)))


def day_over(last_day: datetime.date, day: datetime.date) -> float:
    """When a last day is over, by the clock of a day [s]; inf where there is none.

    >>> day_over(datetime.date(2026, 3, 2), datetime.date(2026, 3, 2))
    86400.0
    """
    return math.inf if last_day == datetime.date.max else ((last_day - day).days + 1) * DAY


@dataclass(slots=True)
class Lot:
    """A lot in store; volumes in nanolitres."""

    material: str
    component: str
    lot: str
    left: int
    expiry: datetime.date
    opened: datetime.date | None = None
    arrival: datetime.date | None = None

    @classmethod
    def of(cls, row: StockLot) -> Self:
        """The lot of a row of Stock."""
        return cls(
            row.material,
            row.component,
            row.lot,
            nanolitres(row.quantity),
            row.expiry,
            row.opened,
            row.arrival,
        )

    @classmethod
    def missing(cls, component: Component) -> Self:
        """The lot that stands for containers which no lot holds; it never expires."""
        return cls(component.material, component.component, NO_STOCK, 0, datetime.date.max)

    def last_day(self, open_life: float | None) -> datetime.date:
        """The last day on which it may be used."""
        return use_by(self.expiry, self.opened, open_life)

    def is_expired(self, open_life: float | None, date: datetime.date) -> bool:
        """Whether it holds material that may no longer be used."""
        return self.left > 0 and self.last_day(open_life) < date

    def take(self, component: Component) -> int:
        """Take a container, or what is left of one [nL]."""
        content = min(self.left, nanolitres(component.container))
        self.left -= content
        return content


AnyLot = TypeVar("AnyLot", bound=Lot)


def first_expired(lots: Iterable[AnyLot], open_life: float | None, date: datetime.date) -> AnyLot | None:
    """The lot to take from: first expired, first out; None where nothing usable is left.

    Among lots of one last day an opened container goes first, then the order of their names.
    """
    usable = (
        lot
        for lot in lots
        if lot.left > 0 and not lot.is_expired(open_life, date) and (lot.arrival or date) <= date
    )
    return min(usable, key=lambda lot: (lot.last_day(open_life), lot.opened is None, lot.lot), default=None)


def has_container(lots: Iterable[Lot], component: Component, date: datetime.date) -> bool:
    """Whether a container is in store of which something can be drawn: more than its heel is in it."""
    heel = heel_volume(component)
    return first_expired((lot for lot in lots if lot.left > heel), component.open_life, date) is not None


@dataclass(slots=True)
class Mounted(Generic[AnyLot]):
    """A container at a station: its lot, what may still be drawn, and its heel; nanolitres.

    `full` is what could be drawn when it was put on.
    """

    lot: AnyLot
    usable: int
    heel: int
    last_day: datetime.date
    full: int = 0

    @property
    def standing(self) -> int:
        """All that is in it."""
        return self.usable + self.heel

    def over(self, day: datetime.date) -> float:
        """When its last day is over, by the clock of a day [s]; inf where it has none."""
        return day_over(self.last_day, day)


@dataclass(frozen=True, slots=True)
class KeptMixer:
    """A mixer that is kept closed: volumes [nL] and when they went in [s after the start of a day]."""

    day: datetime.date
    contents: tuple[tuple[int, float], ...]

    def on(self, day: datetime.date) -> Iterable[tuple[int, float]]:
        """Its contents by the clock of another day."""
        gone = (day - self.day).days * DAY
        return ((volume, entered - gone) for volume, entered in self.contents)


@dataclass(frozen=True, slots=True)
class HalfDone:
    """A part that waits for its next visit; clock times [s] after the start of `day`.

    `origin` names the shift that began it, `turn` the visit that comes next, not before `due`.
    """

    day: datetime.date
    origin: str
    part: str
    serial: int
    is_scrap: bool
    turn: int
    begun: float
    ended: float
    due: float
    fate: int = 0  # place in its route at which it is lost

    def on(self, day: datetime.date) -> HalfDone:
        """The same by the clock of another day."""
        gone = (day - self.day).days * DAY
        return replace(self, day=day, begun=self.begun - gone, ended=self.ended - gone, due=self.due - gone)


@dataclass(frozen=True, slots=True)
class ToMate:
    """A finished part that waits to be mated; clock times [s] after the start of `day`."""

    day: datetime.date
    origin: str
    part: str
    serial: int
    latest: float
    planned: float

    def on(self, day: datetime.date) -> ToMate:
        """The same by the clock of another day."""
        gone = (day - self.day).days * DAY
        return replace(self, day=day, latest=self.latest - gone, planned=self.planned - gone)


@dataclass(slots=True)
class Between:
    """A part that a station of its route has finished, and the next (`station`) has not begun.

    Clock times [s] after the start of `day`: when it was finished, when it may go on (inf: never), and
    when it left the station before; None while it still stands in there, since there is no room.
    """

    day: datetime.date
    origin: str  # the shift that began its route
    part: str
    serial: int
    fate: int  # place in its route at which it is lost
    before: str
    station: str
    finished: float
    ready: float
    left: float | None = None

    def on(self, day: datetime.date) -> Between:
        """The same by the clock of another day."""
        gone = (day - self.day).days * DAY
        left = None if self.left is None else self.left - gone
        return replace(self, day=day, finished=self.finished - gone, ready=self.ready - gone, left=left)


def mount(lot: AnyLot, content: int, component: Component, date: datetime.date) -> Mounted[AnyLot] | None:
    """Put a container on, which opens it; None where no more is in it than its heel."""
    heel = heel_volume(component)
    if content <= heel:
        return None
    usable, last_day = content - heel, use_by(lot.expiry, lot.opened or date, component.open_life)
    if lot.lot == NO_STOCK:  # what never came does not age
        last_day = datetime.date.max
    return Mounted(lot, usable, heel, last_day, usable)


@dataclass(slots=True)
class Store:
    """Lots in store and what stands at each station; carried from shift to shift."""

    lots: dict[tuple[str, str], list[Lot]] = field(default_factory=dict)
    mounted: dict[tuple[str, str], Mounted[Lot]] = field(default_factory=dict)  # (station, component)
    hoses: dict[tuple[str, str], int] = field(default_factory=dict)
    mixers: dict[tuple[str, int], KeptMixer] = field(default_factory=dict)  # (station, nozzle)
    half_done: dict[str, list[HalfDone]] = field(default_factory=dict)  # by station
    to_mate: dict[str, list[ToMate]] = field(default_factory=dict)
    between: dict[str, list[Between]] = field(default_factory=dict)  # by the station that comes next
    ran: dict[str, str] = field(default_factory=dict)  # the material that each station ran last
    #: containers that a station took off when it changed to another material: closed, kept beside it
    set_aside: dict[tuple[str, str, str], Mounted[Lot]] = field(default_factory=dict)

    @classmethod
    def of(cls, plan: Plan) -> Store:
        """The store as the plan's Stock table gives it."""
        lots: dict[tuple[str, str], list[Lot]] = {}
        for row in plan.stock:
            lots.setdefault((row.material, row.component), []).append(Lot.of(row))
        return cls(lots)

    def take(self, component: Component, date: datetime.date) -> tuple[Lot | None, int]:
        """The next container: first-expired first-out; None where nothing usable is left."""
        lot = self.following(component, date)
        return (None, 0) if lot is None else (lot, lot.take(component))

    def following(self, component: Component, date: datetime.date) -> Lot | None:
        """The lot that the next container would be of."""
        return first_expired(self._of(component), component.open_life, date)

    def expired(self, component: Component, date: datetime.date) -> list[Lot]:
        """Lots that hold material but may no longer be used."""
        return [lot for lot in self._of(component) if lot.is_expired(component.open_life, date)]

    def change_over(self, station: str, material: str) -> list[Mounted[Lot]]:
        """Let a station run a material; what comes off where it ran another one.

        Containers are kept closed beside the station, and go on again where it changes back; hoses and
        mixers are empty. A container that never came is not kept.
        """
        before = self.ran.get(station, material)
        self.ran[station] = material
        if before == material:
            return []
        for held in (self.hoses, self.mixers):
            for key in [key for key in held if key[0] == station]:
                del held[key]  # type: ignore[arg-type]
        taken = {key: container for key, container in self.mounted.items() if key[0] == station}
        for (name, letter), container in taken.items():
            del self.mounted[name, letter]
            if container.lot.lot != NO_STOCK:
                self.set_aside[name, before, letter] = container
        for name, kept, letter in [key for key in self.set_aside if key[:2] == (station, material)]:
            self.mounted[name, letter] = self.set_aside.pop((name, kept, letter))
        return list(taken.values())

    def replace_missing(self, station: str, component: Component, date: datetime.date) -> None:
        """Take off a container that never came, where one is in store by now: a delivery is used at once."""
        key = (station, component.component)
        container = self.mounted.get(key)
        if container is None or container.lot.lot != NO_STOCK:
            return
        if has_container(self._of(component), component, date):
            del self.mounted[key]

    def _of(self, component: Component) -> list[Lot]:
        return self.lots.get((component.material, component.component), [])
