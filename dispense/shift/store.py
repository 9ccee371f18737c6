"""Lots in store, and what stands at each station: containers, mixers, parts in process.

Volumes are whole nanolitres; lots leave first expired, first out.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from ..base.units import DAY
from ..plan.records import Plan
from ..plan.rows import Component

NANO = 10**12  # nanolitres in a cubic metre


NO_STOCK = "no stock"


def nanolitres(volume: float) -> int:
    """A volume [m³] in whole nanolitres."""
    return round(volume * NANO)


def use_by(expiry: datetime.date, opened: datetime.date | None, open_life: float | None) -> datetime.date:
    """The last day on which a lot may be used, opened or not; the life of an open container in s."""
    if opened is None or open_life is None:
        return expiry
    return min(expiry, opened + datetime.timedelta(days=int(open_life // DAY)))


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

    def last_day(self, open_life: float | None) -> datetime.date:
        """The last day on which it may be used."""
        return use_by(self.expiry, self.opened, open_life)


@dataclass(slots=True)
class Mounted:
    """A container at a station: its lot, what may still be drawn, and its heel; nanolitres.

    `full` is what could be drawn when it was put on.
    """

    lot: str
    usable: int
    heel: int
    mounted: datetime.date
    last_day: datetime.date
    full: int = 0


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
class Store:
    """Lots in store and what stands at each station; carried from shift to shift."""

    lots: dict[tuple[str, str], list[Lot]] = field(default_factory=dict)
    mounted: dict[tuple[str, str], Mounted] = field(default_factory=dict)  # (station, component)
    hoses: dict[tuple[str, str], int] = field(default_factory=dict)
    mixers: dict[tuple[str, int], KeptMixer] = field(default_factory=dict)  # (station, nozzle)
    half_done: dict[str, list[HalfDone]] = field(default_factory=dict)  # by station
    to_mate: dict[str, list[ToMate]] = field(default_factory=dict)

    @classmethod
    def of(cls, plan: Plan) -> Store:
        """The store as the plan's Stock table gives it."""
        lots: dict[tuple[str, str], list[Lot]] = {}
        for row in plan.stock:
            lots.setdefault((row.material, row.component), []).append(
                Lot(
                    row.material,
                    row.component,
                    row.lot,
                    nanolitres(row.quantity),
                    row.expiry,
                    row.opened,
                    row.arrival,
                )
            )
        return cls(lots)

    def take(self, component: Component, date: datetime.date) -> tuple[Lot | None, int]:
        """The next container: first-expired first-out; None where nothing usable is left."""
        best: Lot | None = None
        best_day = datetime.date.max
        for lot in self.lots.get((component.material, component.component), ()):
            if lot.left <= 0 or (lot.arrival is not None and lot.arrival > date):
                continue
            day = lot.last_day(component.open_life)
            if day < date:
                continue
            # an opened container goes first among equals
            if best is None or (day, lot.opened is None, lot.lot) < (best_day, best.opened is None, best.lot):
                best, best_day = lot, day
        if best is None:
            return None, 0
        content = min(best.left, nanolitres(component.container))
        best.left -= content
        return best, content

    def expired(self, component: Component, date: datetime.date) -> list[Lot]:
        """Lots that hold material but may no longer be used."""
        return [
            lot
            for lot in self.lots.get((component.material, component.component), ())
            if lot.left > 0 and lot.last_day(component.open_life) < date
        ]
