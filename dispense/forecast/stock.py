"""Stock day by day: lots first-expired first-out, write-offs, orders, and how often it runs short.

`StockWalk` carries lots, containers at stations and hoses through the shifts by the rules of the
shift model, in whole nanolitres; for every lot

    opening + received = used + expired + closing.

*Use* has one meaning everywhere (`shift_use`): what goes on good parts, expected scrap, start and end of
shift, purges, mixers, check shots, the first filling of hoses, and what stays in containers: the rest of
those that are changed between parts and the heel, each at its mean share. What expires is apart. The
lots themselves lose their heel container by container.

`plan_orders` proposes orders so that the projected stock keeps its safety stock; `draw_stock` plays
many futures of one component at once.

Sources: safety stock, reorder point and loss function from Silver, Pyke & Peterson, Inventory
Management and Production Planning and Scheduling (from memory); order quantity from F. W. Harris
(1913).
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from ..base.numbers import EQUAL
from ..base.printed import counted
from ..base.units import DAY
from ..handbook.line import normal_loss, order_quantity, reorder_point, safety_stock
from ..plan.records import Plan
from ..plan.rows import Component, Station
from ..shift.store import NANO, Lot, Mounted, first_expired, hose_volume, mount, nanolitres
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


REVIEW_DAYS = 7  # an order covers at least this many days where no order cost is known
NOTHING = 1.0 / NANO  # m³: what is less than the nanolitre that is counted is no stock and no shortage
FRIDAY = 4  # the last working day, as `weekday` counts
PACE_DAYS = 28  # days to come that an order's size looks at


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
    """Planned use of each shift and component by cause [nL]; hoses are filled in a station's first."""
    stations = {row.station: row for row in plan.stations}
    known: dict[tuple[int, str], dict[str, int]] = {}
    filled: set[str] = set()
    for item in shifts:
        station = stations[item.station]
        components = plan.components_of(station.material)
        is_first = item.station not in filled
        filled.add(item.station)
        for letter, used in answers[item.key].used.items():
            key = (station.material, letter)
            hose = hose_volume(station, letter) if is_first else 0
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


@dataclass(slots=True)
class StockWalk:
    """Lots, containers and hoses carried through the shifts."""

    plan: Plan
    lots: dict[Key, list[LotLedger]] = field(default_factory=dict)
    containers: dict[Key, Mounted[LotLedger]] = field(default_factory=dict)  # by station and component
    hoses: dict[Key, int] = field(default_factory=dict)
    missing: dict[Key, LotLedger] = field(default_factory=dict)
    runs_out: dict[Key, datetime.date] = field(default_factory=dict)
    short_at: dict[Key, str] = field(default_factory=dict)  # the station that runs out first
    causes: dict[Key, dict[str, int]] = field(default_factory=dict)
    opened: dict[Key, int] = field(default_factory=dict)  # containers put on

    @classmethod
    def of(cls, plan: Plan, orders: Iterable[Order] = ()) -> StockWalk:
        """The stock of a plan, with orders that are to arrive."""
        walk = cls(plan)
        for component in plan.components:
            key = (component.material, component.component)
            walk.lots[key] = []
            walk.causes[key] = dict.fromkeys(ALL_CAUSES, 0)
            walk.opened[key] = 0
        for row in plan.stock:
            walk.lots[row.material, row.component].append(LotLedger.of(row))
        for number, order in enumerate(orders, 1):
            walk.lots[order.key].append(
                LotLedger(*order.key, f"order {number}", order.volume, order.expiry, arrival=order.arrival)
            )
        for lots in walk.lots.values():
            lots.sort(key=lambda lot: lot.lot)
        return walk

    def begin(self, first: datetime.date) -> None:
        """Sort the lots into those that are here and those to come."""
        for lots in self.lots.values():
            for lot in lots:
                if lot.arrival is None or lot.arrival < first:
                    lot.opening = lot.left

    def open_day(self, date: datetime.date) -> None:
        """Take in what arrives and write off what may no longer be used."""
        for key, lots in self.lots.items():
            open_life = self.plan.components_of(key[0])[key[1]].open_life
            for lot in lots:
                if lot.arrival == date and not lot.opening:
                    lot.received = lot.left
                if (lot.opening or lot.received) and lot.is_expired(open_life, date):
                    lot.write_off(lot.left, date)
                    self.causes[key]["expired"] += lot.left
                    lot.left = 0

    def shift(self, date: datetime.date, station: Station, used: Mapping[str, Mapping[str, int]]) -> None:
        """What a station drew in a shift, by component and cause."""
        components = self.plan.components_of(station.material)
        for letter, component in components.items():
            key, place = (station.material, letter), (station.station, letter)
            causes = self.causes[key]
            container = self.containers.get(place)
            if container is not None and container.last_day < date:
                container.lot.standing -= container.standing
                container.lot.write_off(container.standing, date)
                causes["expired"] += container.standing
                del self.containers[place]
            hose = hose_volume(station, letter)
            fill = max(hose - self.hoses.get(place, 0), 0)
            self.hoses[place] = max(hose, self.hoses.get(place, 0))
            causes["hoses"] += fill
            for cause, volume in used[letter].items():
                causes[cause] += volume
            self._take(place, key, component, fill + sum(used[letter].values()), date)

    def _take(self, place: Key, key: Key, component: Component, volume: int, date: datetime.date) -> None:
        while volume > 0:
            container = self.containers.get(place)
            if container is None or container.usable <= 0:
                container = self._change(place, key, component, container, date)
            part = min(volume, container.usable)
            container.usable -= part
            container.lot.used += part
            container.lot.standing -= part
            volume -= part

    def _change(
        self, place: Key, key: Key, component: Component, old: Mounted[LotLedger] | None, date: datetime.date
    ) -> Mounted[LotLedger]:
        if old is not None:
            self._lose_heel(key, old.lot, old.heel)
        while True:
            lot, content = self._next(place[0], key, component, date)
            lot.standing += content
            self.opened[key] += 1
            new = mount(lot, content, component, date)
            if new is not None:
                break
            self._lose_heel(key, lot, content)
        self.containers[place] = new
        return new

    def _lose_heel(self, key: Key, lot: LotLedger, volume: int) -> None:
        lot.used += volume
        lot.standing -= volume
        self.causes[key]["heel"] += volume

    def _next(
        self, station: str, key: Key, component: Component, date: datetime.date
    ) -> tuple[LotLedger, int]:
        """The next container from the store, or a missing one.

        Of a shift only its date is known here: what a night shift takes after midnight is taken on the
        day it began, where `Player` looks at the clock.
        """
        lot = first_expired(self.lots[key], component.open_life, date)
        if lot is not None:
            return lot, lot.take(component)
        if self.runs_out.setdefault(key, date) == date:
            self.short_at.setdefault(key, station)
        lot = self.missing.setdefault(key, LotLedger.missing(component))
        content = nanolitres(component.container)
        lot.received += content
        return lot, content

    def on_hand(self, key: Key) -> int:
        """What may be used: on the shelf and in containers at stations, heels included [nL]."""
        return sum(lot.closing for lot in self.lots[key] if lot.opening or lot.received)


def walk_stock(
    plan: Plan,
    horizon: Horizon,
    shifts: Sequence[Occurrence],
    answers: Sequence[Drawing],
    orders: Sequence[Order] = (),
) -> tuple[StockWalk, dict[Key, list[int]]]:
    """Lots through every shift, and the stock at the end of each day."""
    walk = StockWalk.of(plan, orders)
    walk.begin(horizon.first)
    stations = {row.station: row for row in plan.stations}
    by_day: dict[datetime.date, list[Occurrence]] = defaultdict(list)
    for item in shifts:
        by_day[item.date].append(item)
    levels: dict[Key, list[int]] = {key: [] for key in walk.lots}
    for place in range(horizon.days):
        date = horizon.date(place)
        walk.open_day(date)
        for item in by_day.get(date, ()):
            walk.shift(date, stations[item.station], answers[item.key].used)
        for key, series in levels.items():
            series.append(walk.on_hand(key))
    return walk, levels


# ----------------------------------------------------------------------------------------- orders


@dataclass(frozen=True, slots=True)
class Order:
    """An order to place: whole containers of one component."""

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

    @property
    def key(self) -> Key:
        """Material and component."""
        return (self.material, self.component)


@dataclass(frozen=True, slots=True)
class StockRule:
    """What a component is ordered by; volumes in m³, times in days."""

    material: str
    component: str
    daily_use: float
    daily_sd: float
    lead_time: float
    lead_spread: float
    service: float
    safety_stock: float
    reorder_point: float
    economic_order: float  # NaN where no order or holding cost is known
    order: int  # containers
    shortage: float  # expected in one cycle

    @property
    def key(self) -> Key:
        """Material and component."""
        return (self.material, self.component)


def stock_rule(component: Component, daily_use: float, daily_sd: float, settings: Mapping) -> StockRule:
    """Safety stock, reorder point and order quantity of a component by the standard formulas."""
    service = settings["service_level"]
    lead, spread = component.lead_time, component.lead_time_spread
    safety = max(float(safety_stock(daily_sd, lead, daily_use, spread, service)), 0.0)
    point = float(reorder_point(daily_use, lead, daily_sd, spread, service))
    sigma = math.hypot(math.sqrt(lead / DAY) * daily_sd, daily_use * spread / DAY)
    normal = safety / sigma if sigma else 0.0
    shortage = sigma * float(normal_loss(normal)) if sigma else 0.0
    holding = settings["holding_rate"] * component.price  # for one container and year
    economic = math.nan
    containers = math.ceil(daily_use * REVIEW_DAYS / component.container)
    if settings["order_cost"] > 0.0 and holding > 0.0 and daily_use > 0.0:
        yearly = daily_use * 365.0 / component.container
        wanted = float(order_quantity(yearly, settings["order_cost"], holding))
        economic = wanted * component.container
        containers = max(round(wanted), 1)
    containers = max(containers, component.minimum_order)
    if component.shelf_life is not None and daily_use > 0.0:
        keeps = math.floor(daily_use * component.shelf_life / DAY / component.container)
        containers = max(min(containers, keeps), component.minimum_order, 1)
    return StockRule(
        component.material,
        component.component,
        daily_use,
        daily_sd,
        lead / DAY,
        spread / DAY,
        service,
        safety,
        point,
        economic,
        containers,
        shortage,
    )


def worked_before(day: datetime.date) -> datetime.date:
    """The day itself, or the Friday before a weekend."""
    return day - datetime.timedelta(days=max(day.weekday() - FRIDAY, 0))


def plan_orders(
    component: Component,
    rule: StockRule,
    lots: Sequence[tuple[float, int, int]],
    need: np.ndarray,
    first: datetime.date,
    last_order: int,
    earliest: int = 0,
) -> list[Order]:
    """Orders that keep the projected stock at or above its safety stock.

    `lots` are (volume [m³], first day, last day), days counted from `first`; `need` is the use day
    by day [m³], reaching a lead time beyond `last_order`, the last day on which orders are placed;
    `earliest` is the first.

    The demand is dated: safety stock and size of an order follow the use of the days to come, not the
    mean of all, and no order is larger than what all of those days would lack without it.
    """
    lead = math.ceil(component.lead_time / DAY)
    shelf = None if component.shelf_life is None else int(component.shelf_life // DAY)
    if rule.daily_use <= 0.0:
        return []
    safety = rule.safety_stock * _pace(need, 7 * math.ceil(max(lead, 1) / 7)) / rule.daily_use
    pace = _pace(need, PACE_DAYS) / rule.daily_use
    known = list(lots)
    orders: list[Order] = []
    start = 0
    for _ in range(1000):
        stock, missing = (each[0] for each in draw_stock(known, need[None, :]))
        is_low = (stock < safety - NOTHING) | (missing > NOTHING)
        below = np.nonzero(is_low[start:])[0]
        if not below.size:
            break
        wanted = start + int(below[0])
        arrive = worked_before(first + datetime.timedelta(days=wanted))
        order_by = worked_before(arrive - datetime.timedelta(days=lead))
        today = first + datetime.timedelta(days=earliest)
        late = max((today - order_by).days, 0)
        if late:
            order_by = today
            arrive = today + datetime.timedelta(days=lead)
            arrive += datetime.timedelta(days=(7 - arrive.weekday()) if arrive.weekday() > FRIDAY else 0)
        if (order_by - first).days > last_order or (arrive - first).days >= len(need):
            break
        day = max((arrive - first).days, 0)
        short = safety[day] + _demand(need, day, day + lead) - stock[day]
        faster = float(pace[max(day - 1, 0)])
        count = math.ceil(
            rule.order * (faster if math.isnan(rule.economic_order) else math.sqrt(faster)) - 1e-6
        )
        note, short_from = "", None
        if late:
            count = max(count, math.ceil(max(short, 0.0) / component.container - EQUAL))
            note, short_from = _late_words(missing[:day], late, first)
        lacking = float(missing[day:].sum() + safety[wanted]) / component.container
        count = max(min(count, math.ceil(lacking - EQUAL)), component.minimum_order, 1)
        expiry_day = 10**6 if shelf is None else day + shelf
        if shelf is not None:
            keeps = _demand(need, day, day + shelf) + rule.daily_use * max(day + shelf - len(need), 0)
            if not late:
                count = max(
                    min(count, math.floor(keeps / component.container + EQUAL)), component.minimum_order, 1
                )
            if count * component.container > keeps * (1.0 + EQUAL):
                note = (note + "; " if note else "") + (
                    f"{(count * component.container - keeps) * 1e3:.1f} L of it would expire"
                )
        expiry = datetime.date.max if shelf is None else arrive + datetime.timedelta(days=shelf)
        orders.append(
            Order(
                component.material,
                component.component,
                order_by,
                arrive,
                count,
                count * nanolitres(component.container),
                expiry,
                count * component.price,
                late,
                note,
                short_from,
            )
        )
        known.append((count * component.container, day, expiry_day))
        start = max(start, day, wanted if not late else day)
    return orders


def _pace(need: np.ndarray, days: int) -> np.ndarray:
    """Mean use of the days that follow each day, at most so many of them.

    >>> _pace(np.array([9.0, 1.0, 3.0, 5.0]), 2)
    array([2., 4., 5., 5.])
    """
    sums = np.concatenate([[0.0], np.cumsum(need)])
    begin = np.minimum(np.arange(1, len(need) + 1), len(need) - 1)
    end = np.minimum(begin + days, len(need))
    return np.maximum(sums[end] - sums[begin], 0.0) / (end - begin)


def _late_words(missing: np.ndarray, late: int, first: datetime.date) -> tuple[str, datetime.date | None]:
    """What a late order means: a shortage before it arrives and its day, or safety stock that is used."""
    short = np.nonzero(missing > NOTHING)[0]
    if not short.size:
        return f"safety stock is touched: {counted(late, 'day')} later than it should be", None
    day = first + datetime.timedelta(days=int(short[0]))
    return f"{counted(late, 'day')} late, short from {day}: ask for a faster delivery", day


def _demand(need: np.ndarray, start: int, end: int) -> float:
    return float(need[max(start, 0) : max(end, 0)].sum())


def project(lots: Sequence[tuple[float, int, int]], need: np.ndarray) -> np.ndarray:
    """Stock that may be used at the end of each day, taken first-expired first-out.

    >>> project([(5.0, 0, 1), (5.0, 0, 9)], np.array([2.0, 2.0, 2.0, 2.0, 2.0]))
    array([8., 5., 3., 1., 0.])
    """
    return draw_stock(lots, need[None, :])[0][0]


def draw_stock(lots: Sequence[tuple], need: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stock at the end of each day and the shortage of each day, for many futures at once.

    `lots` are (volume, first day, last day); the first day may be an array with one value a future.
    `need` has a row for each future and a column for each day.
    """
    futures, days = need.shape
    order = sorted(range(len(lots)), key=lambda place: (lots[place][2], place))
    left = [np.full(futures, float(lots[place][0])) for place in order]
    stock, short = np.zeros((futures, days)), np.zeros((futures, days))
    for day in range(days):
        wanted = need[:, day].copy()
        usable = np.zeros(futures)
        for place, rest in zip(order, left, strict=True):
            _, arrives, last = lots[place]
            if last < day:
                continue
            here = np.asarray(arrives) <= day
            if not here.any():
                continue
            taken = np.where(here, np.minimum(rest, wanted), 0.0)
            rest -= taken
            wanted -= taken
            if last > day:
                usable += np.where(here, rest, 0.0)
        stock[:, day], short[:, day] = usable, wanted
    return stock, short


def simulate_service(
    lots: Sequence[tuple],
    need: np.ndarray,
    planned: np.ndarray,
    rule: StockRule,
    order: float,
    rng: np.random.Generator,
) -> tuple[float, int]:
    """Order cycles without a shortage as a share, and the number of cycles, in many futures.

    In each future stock is looked at in the evening: where stock and open orders less the planned use
    of the lead time fall below the safety stock, `order` [m³] is ordered, and arrives after a lead
    time drawn from its normal distribution. A cycle ends with an arrival. Cycles whose order is late
    from the start are left out: no rule could have saved them. `planned` reaches a lead time beyond
    the days of `need`.
    """
    futures, days = need.shape
    lead = max(rule.lead_time, 0.0)
    ahead = math.ceil(lead)
    first = sorted(
        ((float(volume), int(arrives), int(last)) for volume, arrives, last in lots), key=lambda lot: lot[2]
    )
    left = [np.full(futures, volume) for volume, _, _ in first]
    bought = np.zeros(futures)
    due = np.zeros((futures, days))
    open_orders = np.zeros(futures)
    clean = np.ones(futures, dtype=bool)
    good = count = 0
    late_until = np.full(futures, -1)  # when an order that was late from the start arrives
    for day in range(days):
        arrived = due[:, day] > 0.0
        bought += due[:, day]
        open_orders -= due[:, day]
        cycles = arrived & (day > late_until)
        count += int(cycles.sum())
        good += int((cycles & clean).sum())
        clean |= arrived
        wanted = need[:, day].copy()
        usable = np.zeros(futures)
        for (_, arrives, last), rest in zip(first, left, strict=True):
            if arrives <= day <= last:
                taken = np.minimum(rest, wanted)
                rest -= taken
                wanted -= taken
                if last > day:
                    usable += rest
            elif day < arrives <= day + ahead:
                usable += rest  # an open order of the plan
        taken = np.minimum(bought, wanted)
        bought -= taken
        wanted -= taken
        clean &= wanted <= NOTHING
        position = usable + bought + open_orders - planned[day + 1 : day + 1 + ahead].sum()
        lacking = rule.safety_stock - position
        placing = lacking > 0.0
        if placing.any() and order > 0.0:
            times = np.where(placing, np.maximum(np.ceil(lacking / order), 1.0), 0.0)
            delay = np.ceil(np.maximum(lead + rule.lead_spread * rng.standard_normal(futures), 1.0))
            arrival = day + delay.astype(int)
            inside = placing & (arrival < days)
            due[inside, arrival[inside]] += times[inside] * order
            if day == 0:
                late_until = np.where(placing, arrival, late_until)
            open_orders += times * order
    return (good / count if count else math.nan), count
