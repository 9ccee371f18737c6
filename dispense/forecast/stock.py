"""Stock day by day: lots first-expired first-out, write-offs, orders, and how often it runs short.

`StockWalk` carries lots, containers at stations and hoses through the shifts by the rules of the
shift model, in whole nanolitres; for every lot

    opening + received = used + expired + closing.

*Use* has one meaning everywhere (`shift_use`): what goes on good parts, expected scrap, start and end of
shift, purges, mixers, check shots, the first filling of hoses, and what stays in containers: the rest of
those that are changed between parts and the heel, each at its mean share. What expires is apart. The
lots themselves lose their heel container by container.

`orders` proposes orders on the walk of each component; `service` plays many futures of one at once.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from ..plan.records import Plan
from ..plan.rows import Component, Station
from ..plan.standing import latest_rows, lot_rows, material_of
from ..plan.tables import STANDING_CONTAINER
from ..shift.start import connected, connected_lot, filled_hoses
from ..shift.store import Lot, Mounted, first_expired, has_container, hose_volume, mount, nanolitres
from .horizon import Horizon
from .response import CAUSES, Occurrence

Key = tuple[str, str]  # material, component
ALL_CAUSES = (*CAUSES, "rest", "hoses", "heel", "expired")
USE_CAUSES = (*CAUSES, "rest", "hoses", "heel")
CAUSE_WORDS = {
    "parts": "on good parts",
    "scrap": "expected scrap",
    "start": "start-up loss",
    "end": "shut-down loss",
    "purge": "purges",
    "mixers": "lost in mixers",
    "checks": "check shots",
    "hoses": "filling hoses",
    "rest": "rest in containers",
    "heel": "heel in containers",
    "expired": "expired",
}
_CAUSE_KEYS = {"start": "Start of shift", "end": "End of shift", "mixers": "Mixers"}

#: words over a column whose name stays, since it is a key of `records()` and of the JSON
PRINTED = {
    "Closing": "Left at end",
    "Cycles drawn": "Cycles simulated",
    **{key: CAUSE_WORDS[cause].capitalize() for cause, key in _CAUSE_KEYS.items()},
}


def cause_column(cause: str) -> str:
    """The name of the column of a cause."""
    return _CAUSE_KEYS.get(cause) or CAUSE_WORDS[cause].capitalize()


def shift_use(component: Component, used: Mapping[str, int], hose: int = 0) -> dict[str, int]:
    """Use of a component in a shift by cause [nL]: as drawn, hoses that are filled, heel at its mean.

    Of each container the share `heel` stays behind, so that drawing V takes V/(1 − heel) from store.
    """
    drawn = sum(used.values()) + hose
    heel = round(drawn * component.heel / (1.0 - component.heel))
    return {**used, "hoses": hose, "heel": heel}


class Drawing(Protocol):
    """What a shift draws, by component and cause [nL]: a `Response`, or the play of a shift."""

    @property
    def used(self) -> Mapping[str, Mapping[str, int]]: ...


def uses(
    plan: Plan, shifts: Sequence[Occurrence], answers: Sequence[Drawing]
) -> Iterator[tuple[Occurrence, Key, dict[str, int]]]:
    """Planned use of each shift and component by cause [nL].

    Hoses are filled in a station's first shift and where it changes to another material.
    """
    known: dict[tuple[int, str], dict[str, int]] = {}
    hoses = filled_hoses(plan, latest_rows(plan))
    filled: dict[str, str] = {}  # the material in the hoses of each station
    for item in shifts:
        station = plan.on(item.date).station(item.station)
        components = plan.components_of(station.material)
        is_first = filled.get(item.station) != station.material
        filled[item.station] = station.material
        for letter, used in answers[item.key].used.items():
            key = (station.material, letter)
            full = hose_volume(station, letter) if is_first else 0
            # what stood in them at first counts once, and not where another material comes into them
            hose = max(full - hoses.pop((item.station, letter), 0), 0)
            if hose:
                yield item, key, shift_use(components[letter], used, hose)
                continue
            if (item.key, letter) not in known:
                known[item.key, letter] = shift_use(components[letter], used)
            yield item, key, known[item.key, letter]


@dataclass(slots=True)
class LotLedger(Lot):
    """One lot and what became of it; nanolitres. `left` is what is on the shelf."""

    opening: int = 0
    received: int = 0
    used: int = 0
    expired: int = 0
    standing: int = 0  # in containers at stations
    expired_on: datetime.date | None = None

    @property
    def closing(self) -> int:
        """What is left at the end: on the shelf and in containers at stations."""
        return self.left + self.standing

    @property
    def balance(self) -> int:
        """opening + received − used − expired − closing; 0 by construction, and by test."""
        return self.opening + self.received - self.used - self.expired - self.closing

    def write_off(self, volume: int, date: datetime.date) -> None:
        """Book what is too old to be used."""
        self.expired += volume
        self.expired_on = self.expired_on or date


@dataclass(frozen=True, slots=True)
class Order:
    """An order to place: whole containers of one component.

    `number` counts the orders of its component; those of a kit stand for one order of all.
    """

    material: str
    component: str
    order_by: datetime.date
    arrival: datetime.date
    containers: int
    volume: int
    expiry: datetime.date
    cost: float
    late_days: int = 0
    note: str = ""
    short_from: datetime.date | None = None  # where it comes too late
    number: int = 1
    kit: str = ""
    with_kit: bool = False  # it is late since another component of its kit is low
    why: str = ""  # why it has not the containers that the reorder rule says

    @property
    def key(self) -> Key:
        """Material and component."""
        return (self.material, self.component)

    def lot(self) -> LotLedger:
        """The lot that it brings."""
        name = f"order {self.number}"
        return LotLedger(*self.key, name, self.volume, self.expiry, arrival=self.arrival)


@dataclass(slots=True)
class ComponentWalk:
    """One component's lots and the containers at its stations, carried through what is drawn.

    Where nothing is left in store a missing container is put on, as the sheets do, and makes way on the day
    on which something comes; or, where it `goes_without`, what is lacking is not drawn, so that each day is
    short until something comes.
    """

    component: Component
    lots: list[LotLedger] = field(default_factory=list)
    containers: dict[str, Mounted[LotLedger]] = field(default_factory=dict)  # by station
    missing: LotLedger | None = None
    runs_out: datetime.date | None = None
    shorts: dict[str, tuple[datetime.date, str]] = field(default_factory=dict)  # of each station the first
    opened: int = 0  # containers put on
    heel: int = 0  # nL, left behind in containers that were changed
    expired: int = 0  # nL
    lacking: int = 0  # nL of containers that were missing, or of what went without
    thrown: int = 0  # nL that could still have been drawn from containers that were open too long
    goes_without: bool = False
    today: datetime.date = datetime.date.min  # what was too old by then is not lost in these weeks
    stale: dict[str, Mounted[LotLedger]] = field(default_factory=dict)  # by station: open too long by today

    def copy(self) -> ComponentWalk:
        """The same state apart, without the lots of which nothing is left."""
        lots = {id(lot): replace(lot) for lot in self.lots if lot.left or lot.standing}
        missing = None if self.missing is None else replace(self.missing)
        twins = {**lots, id(self.missing): missing}
        containers = {
            station: replace(each, lot=twins[id(each.lot)] or each.lot)
            for station, each in self.containers.items()
            if each.standing
        }
        return ComponentWalk(
            self.component,
            list(lots.values()),
            containers,
            missing,
            goes_without=self.goes_without,
            today=self.today,
        )

    def begin(self, first: datetime.date, today: datetime.date) -> None:
        """Sort the lots into those that are here and those to come."""
        self.today = today
        for lot in self.lots:
            if lot.arrival is None or lot.arrival < first:
                lot.opening = lot.left + lot.standing
        for station, container in list(self.containers.items()):
            if container.last_day < today and not self.was_too_old(container.lot):
                self._throw_away(station, container, today)
                self.stale[station] = container

    def _throw_away(self, station: str, container: Mounted[LotLedger], date: datetime.date) -> None:
        """Take off a container that may no longer be used."""
        container.lot.standing -= container.standing
        self.thrown += container.usable
        container.lot.write_off(container.standing, date)
        self.expired += container.standing
        del self.containers[station]

    def open_day(self, date: datetime.date) -> None:
        """Take in what arrives and write off what may no longer be used."""
        open_life = self.component.open_life
        for lot in self.lots:
            if not lot.left:
                continue
            if lot.arrival == date and not lot.opening:
                lot.received = lot.left
            if (lot.opening or lot.received) and lot.is_expired(open_life, date):
                lot.write_off(lot.left, date)
                self.expired += lot.left
                lot.left = 0

    def was_too_old(self, lot: LotLedger) -> bool:
        """Whether a lot that is here was past its last day before today."""
        return lot.opening > 0 and lot.last_day(self.component.open_life) < self.today

    @property
    def grown_old(self) -> int:
        """What has grown too old from today on [nL]: no lot or open container that was so before."""
        return self.expired - sum(lot.expired for lot in self.lots if self.was_too_old(lot)) - self._stale

    @property
    def usable_opening(self) -> int:
        """What is here as the days begin and may be used [nL]."""
        return sum(lot.opening for lot in self.lots if not self.was_too_old(lot)) - self._stale

    @property
    def _stale(self) -> int:
        return sum(each.standing for each in self.stale.values())

    def draw(self, date: datetime.date, station: str, volume: int, shift: str = "") -> None:
        """Draw so much at a station, from container after container [nL]."""
        container = self.containers.get(station)
        if container is not None and container.last_day < date:
            self._throw_away(station, container, date)
            container = None
        if (
            container is not None
            and container.lot is self.missing
            and has_container(self.lots, self.component, date)
        ):
            self._give_back(container)
            del self.containers[station]
            container = None
        while volume > 0:
            if container is None or container.usable <= 0:
                if self.goes_without and not self._has(date):
                    self.lacking += volume
                    return
                container = self._change(station, container, date, shift)
            part = min(volume, container.usable)
            container.usable -= part
            container.lot.used += part
            container.lot.standing -= part
            volume -= part

    def _has(self, date: datetime.date) -> bool:
        """Whether a container is in store of which something can be drawn; the first day without is noted."""
        if has_container(self.lots, self.component, date):
            return True
        self.runs_out = self.runs_out or date
        return False

    def _give_back(self, container: Mounted[LotLedger]) -> None:
        """What is left in a container that never came is lacking no more."""
        container.lot.standing -= container.standing
        container.lot.received -= container.standing
        self.lacking -= container.standing

    def _change(
        self, station: str, old: Mounted[LotLedger] | None, date: datetime.date, shift: str
    ) -> Mounted[LotLedger]:
        if old is not None:
            self._lose_heel(old.lot, old.heel)
        while True:
            lot, content = self._next(station, date, shift)
            lot.standing += content
            self.opened += 1
            new = mount(lot, content, self.component, date)
            if new is not None:
                break
            self._lose_heel(lot, content)
        self.containers[station] = new
        return new

    def _lose_heel(self, lot: LotLedger, volume: int) -> None:
        lot.used += volume
        lot.standing -= volume
        self.heel += volume

    def _next(self, station: str, date: datetime.date, shift: str) -> tuple[LotLedger, int]:
        """The next container from the store, or a missing one.

        Of a shift only its date is known here: what a night shift takes after midnight is taken on the
        day it began, where `Player` looks at the clock.
        """
        lot = first_expired(self.lots, self.component.open_life, date)
        if lot is not None:
            return lot, lot.take(self.component)
        self.runs_out = self.runs_out or date
        self.shorts.setdefault(station, (date, shift))
        if self.missing is None:
            self.missing = LotLedger.missing(self.component)
        content = nanolitres(self.component.container)
        self.missing.received += content
        self.lacking += content
        return self.missing, content

    def on_hand(self) -> int:
        """What is here: on the shelf and in containers at stations, heels included [nL]."""
        return sum(lot.closing for lot in self.lots if lot.opening or lot.received)

    def on_hand_or_to_come(self) -> int:
        """What is here, and what is still to come [nL]."""
        return self.on_hand() + sum(lot.left for lot in self.lots if not (lot.opening or lot.received))

    def usable_after(self, date: datetime.date) -> int:
        """What may still be used on the day after: on the shelf, and in containers without their heels.

        What was missing and has come all the same is no stock.
        """
        open_life = self.component.open_life
        shelf = sum(
            lot.left
            for lot in self.lots
            if lot.left and (lot.opening or lot.received) and lot.last_day(open_life) > date
        )
        return shelf + sum(
            each.usable
            for each in self.containers.values()
            if each.last_day > date and each.lot is not self.missing
        )


@dataclass(slots=True)
class StockWalk:
    """The stock of all components carried through the shifts."""

    plan: Plan
    of_component: dict[Key, ComponentWalk] = field(default_factory=dict)
    hoses: dict[Key, int] = field(default_factory=dict)  # by station and component
    ran: dict[str, str] = field(default_factory=dict)  # the material that each station ran last
    drawn: dict[Key, dict[str, int]] = field(default_factory=dict)  # by cause [nL]

    @classmethod
    def of(cls, plan: Plan, orders: Iterable[Order] = ()) -> StockWalk:
        """The stock of a plan, with orders that are to arrive."""
        walk = cls(plan)
        for component in plan.components:
            key = (component.material, component.component)
            walk.of_component[key] = ComponentWalk(component)
            walk.drawn[key] = dict.fromkeys(USE_CAUSES, 0)
        for row in lot_rows(plan):
            walk.of_component[row.material, row.component].lots.append(LotLedger.of(row))
        walk._connect()
        for order in orders:
            walk.of_component[order.key].lots.append(order.lot())
        for each in walk.of_component.values():
            each.lots.sort(key=lambda lot: lot.lot)
        return walk

    def _connect(self) -> None:
        """Put on what stands at the stations as it begins, and fill the hoses that are full."""
        rows = latest_rows(self.plan)
        for row in rows:
            if row.what == STANDING_CONTAINER:
                each = self.of_component[material_of(self.plan, row), row.component]
                plain = connected_lot(self.plan, row)
                lot = next((lot for lot in each.lots if lot.lot == plain.lot), None)
                if lot is None:
                    lot = LotLedger(plain.material, plain.component, plain.lot, 0, plain.expiry)
                    each.lots.append(lot)
                container = connected(self.plan, row, lot)
                lot.standing += container.standing
                each.containers[row.station] = container
        self.hoses.update(filled_hoses(self.plan, rows))

    @property
    def lots(self) -> dict[Key, list[LotLedger]]:
        """The lots of each component."""
        return {key: each.lots for key, each in self.of_component.items()}

    @property
    def missing(self) -> dict[Key, LotLedger]:
        """What no lot held, of the components that run short."""
        return {key: each.missing for key, each in self.of_component.items() if each.missing is not None}

    @property
    def runs_out(self) -> dict[Key, datetime.date]:
        """The day on which a component first runs short."""
        return {key: each.runs_out for key, each in self.of_component.items() if each.runs_out is not None}

    @property
    def causes(self) -> dict[Key, dict[str, int]]:
        """What each component goes to, by cause [nL]."""
        return {
            key: {**self.drawn[key], "heel": each.heel, "expired": each.expired}
            for key, each in self.of_component.items()
        }

    def begin(self, first: datetime.date, today: datetime.date) -> None:
        """Sort the lots into those that are here and those to come."""
        for each in self.of_component.values():
            each.begin(first, today)

    def open_day(self, date: datetime.date) -> None:
        """Take in what arrives and write off what may no longer be used."""
        for each in self.of_component.values():
            each.open_day(date)

    def shift(
        self, date: datetime.date, station: Station, used: Mapping[str, Mapping[str, int]], name: str = ""
    ) -> None:
        """What a station drew in a shift of that name, by component and cause."""
        if self.ran.setdefault(station.station, station.material) != station.material:
            self.ran[station.station] = station.material
            self.hoses = {place: full for place, full in self.hoses.items() if place[0] != station.station}
        for letter in self.plan.components_of(station.material):
            key, place = (station.material, letter), (station.station, letter)
            drawn = self.drawn[key]
            hose = hose_volume(station, letter)
            fill = max(hose - self.hoses.get(place, 0), 0)
            self.hoses[place] = max(hose, self.hoses.get(place, 0))
            drawn["hoses"] += fill
            for cause, volume in used[letter].items():
                drawn[cause] += volume
            volume = fill + sum(used[letter].values())
            self.of_component[key].draw(date, station.station, volume, name)

    def on_hand(self, key: Key) -> int:
        """What is here of a component: on the shelf and in containers at stations, heels included [nL]."""
        return self.of_component[key].on_hand()


def walk_stock(
    plan: Plan,
    horizon: Horizon,
    shifts: Sequence[Occurrence],
    answers: Sequence[Drawing],
    orders: Sequence[Order] = (),
) -> tuple[StockWalk, dict[Key, list[int]]]:
    """Lots through every shift, and the stock at the end of each day."""
    walk = StockWalk.of(plan, orders)
    walk.begin(horizon.first, horizon.as_of)
    by_day: dict[datetime.date, list[Occurrence]] = defaultdict(list)
    for item in shifts:
        by_day[item.date].append(item)
    levels: dict[Key, list[int]] = {key: [] for key in walk.lots}
    for place in range(horizon.days):
        date = horizon.date(place)
        walk.open_day(date)
        for item in by_day.get(date, ()):
            walk.shift(date, plan.on(date).station(item.station), answers[item.key].used, item.shift)
        for key, series in levels.items():
            series.append(walk.on_hand(key))
    return walk, levels
