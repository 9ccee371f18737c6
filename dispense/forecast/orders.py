"""Orders so that no station finds an empty store and the stock keeps its safety stock.

They are planned on the walk that carries lots and containers through the shifts (`stock.ComponentWalk`):
what stands at each station, its open life, heels, hoses and shelf lives count as they do there. An order
is placed as late as it may be and is as small as it may be for the days up to the next; a kit is one order
of all its components. Order and arrival fall on working days.

Sources: safety stock, reorder point and loss function from Silver, Pyke & Peterson, Inventory
Management and Production Planning and Scheduling (from memory); order quantity from F. W. Harris
(1913).
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..base.numbers import EQUAL
from ..base.printed import counted
from ..base.units import DAY, rounded_volume_text
from ..handbook.line import normal_loss, order_quantity, reorder_point, safety_stock
from ..plan.rows import Component
from ..plan.workdays import WorkDays
from ..shift.store import NANO, nanolitres
from .stock import ComponentWalk, Key, LotLedger, Order

REVIEW_DAYS = 7  # an order covers at least this many days where no order cost is known
PACE_DAYS = 28  # days to come that an order's size looks at
EARLY_SHARE = 0.25  # of its shelf life that an order may come early (common practice, no source)
MOST_PACKS = 10**9  # of one order; more helps nobody

KitMember = tuple[Component, float]  # a component of a kit and its daily use [m³]
DayDraws = Sequence[Sequence[tuple[str, int]]]  # day by day: station and volume [nL], in their order


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
    order: int  # containers, in whole packs, of a kit as many as the other components need
    asked: int  # containers before that
    shortage: float  # expected in one cycle

    @property
    def key(self) -> Key:
        """Material and component."""
        return (self.material, self.component)


def days_of_use(use: Sequence[float], goes_on: bool, least: int) -> slice:
    """The days that a mean is taken over: from the first use to the last, or to the end where it goes on.

    A material may be phased in or out: days before and after are none of its use. Where it is used for a
    short time only the mean is over `least` days, such as a lead time, as far as there are so many.

    >>> days_of_use([0, 0, 5, 0, 5, 0, 0], goes_on=True, least=1)
    slice(2, 7, None)
    >>> days_of_use([0, 0, 5, 0, 5, 0, 0], goes_on=False, least=1)
    slice(2, 5, None)
    """
    used = np.flatnonzero(use)
    if not len(used):
        return slice(0, len(use))
    first, last = int(used[0]), int(used[-1]) + 1
    if goes_on:
        return slice(first, len(use))
    last = min(max(last, first + least), len(use))
    return slice(max(min(first, last - least), 0), last)


def opened_loss(component: Component, first: datetime.date, draws: DayDraws) -> float:
    """What opened containers lose to their open life as a share of the use, from a full store."""
    drawn = sum(volume for day in draws for _, volume in day)
    if component.open_life is None or not drawn:
        return 0.0
    name = (component.material, component.component)
    plenty = LotLedger(*name, "plenty", MOST_PACKS * nanolitres(component.container), datetime.date.max)
    plenty.opening = plenty.left
    walk = ComponentWalk(component, [plenty])
    for day, draws_of_day in enumerate(draws):
        for station, volume in draws_of_day:
            walk.draw(first + datetime.timedelta(days=day), station, volume)
    return walk.thrown / drawn


def economic_packs(members: Sequence[KitMember], settings: Mapping[str, Any]) -> float:
    """Packs of an order of least cost √(2·K·D/h) (Harris 1913); NaN where a cost is not known.

    Of a kit the order costs once, and holding a pack of it costs what all its components do.
    """
    holding = settings["holding_rate"] * math.fsum(row.price * row.pack_multiple for row, _ in members)
    yearly = 365.0 * max(daily / row.container / row.pack_multiple for row, daily in members)
    if min(settings["order_cost"], holding, yearly) <= 0.0:
        return math.nan
    return float(order_quantity(yearly, settings["order_cost"], holding))


def _kept_packs(members: Sequence[KitMember]) -> float:
    """Packs that are used up within the shelf life of each component."""
    return min(
        (
            daily * row.shelf_life / DAY / row.container / row.pack_multiple
            for row, daily in members
            if row.shelf_life is not None and daily > 0.0
        ),
        default=math.inf,
    )


def _asked(component: Component, daily_use: float, economic: float, keeps: float) -> int:
    """Containers of an order for a daily use [m³], before they are made whole packs."""
    containers = math.ceil(daily_use * REVIEW_DAYS / component.container - EQUAL)
    if not math.isnan(economic):
        containers = max(round(economic * component.pack_multiple), 1)
    if keeps < math.inf:
        containers = max(min(containers, math.floor(keeps * component.pack_multiple + EQUAL)), 1)
    return max(containers, component.minimum_order)


def stock_rule(
    component: Component,
    daily_use: float,
    daily_sd: float,
    settings: Mapping[str, Any],
    others: Sequence[KitMember] = (),
) -> StockRule:
    """Safety stock, reorder point and order quantity of a component by the standard formulas.

    `others` are the other components of its kit: they are ordered together.
    """
    service = settings["service_level"]
    lead, spread = component.lead_time, component.lead_time_spread
    safety = max(float(safety_stock(daily_sd, lead, daily_use, spread, service)), 0.0)
    point = float(reorder_point(daily_use, lead, daily_sd, spread, service))
    sigma = math.hypot(math.sqrt(lead / DAY) * daily_sd, daily_use * spread / DAY)
    normal = safety / sigma if sigma else 0.0
    shortage = sigma * float(normal_loss(normal)) if sigma else 0.0
    members = [(component, daily_use), *others]
    economic, keeps = economic_packs(members, settings), _kept_packs(members)
    asked = [_asked(row, daily, economic, keeps) for row, daily in members]
    packs = max(math.ceil(count / row.pack_multiple) for count, (row, _) in zip(asked, members, strict=True))
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
        economic * component.pack_multiple * component.container,
        packs * component.pack_multiple,
        asked[0],
        shortage,
    )


@dataclass(frozen=True, slots=True)
class Demand:
    """What one component is ordered for: its rule, its days of draws [nL] and of mean use [m³].

    `daily` is the planned use of a day of use [m³], the mean of `need` over the days of the rule.
    """

    rule: StockRule
    draws: DayDraws
    need: np.ndarray
    daily: float

    def safety(self, lead: int) -> list[float]:
        """Safety stock at the end of each day [nL]: that of the rule, at the pace of the days to come.

        It is never more than what will still be drawn: of a material that phases out nothing is kept. Nor is
        any before the first draw: of a material that phases in nothing is asked sooner than that needs it.
        """
        if self.daily <= 0.0:
            return [0.0] * len(self.need)
        pace = mean_ahead(self.need, 7 * math.ceil(max(lead, 1) / 7))
        drawn = np.array([sum(volume for _, volume in day) for day in self.draws], dtype=float)
        to_come = np.cumsum(drawn[::-1])[::-1] - drawn
        kept = np.minimum(self.rule.safety_stock * NANO * pace / self.daily, to_come)
        kept[np.cumsum(drawn) == 0.0] = 0.0
        series: list[float] = kept.tolist()
        return series

    def sizes(self) -> list[float]:
        """Containers that an order which arrives on each day is meant to have."""
        if self.daily <= 0.0:
            return [0.0] * len(self.need)
        pace = mean_ahead(self.need, PACE_DAYS) / self.daily
        pace = np.concatenate([pace[:1], pace[:-1]])
        share = pace if math.isnan(self.rule.economic_order) else np.sqrt(pace)
        series: list[float] = (self.rule.asked * share).tolist()
        return series


def mean_ahead(need: np.ndarray, days: int) -> np.ndarray:
    """Mean use of the days that follow each day, at most so many of them.

    >>> mean_ahead(np.array([9.0, 1.0, 3.0, 5.0]), 2)
    array([2., 4., 5., 5.])
    """
    sums = np.concatenate([[0.0], np.cumsum(need)])
    begin = np.minimum(np.arange(1, len(need) + 1), len(need) - 1)
    end = np.minimum(begin + days, len(need))
    mean: np.ndarray = np.maximum(sums[end] - sums[begin], 0.0) / (end - begin)
    return mean


def lead_days(component: Component) -> int:
    """Days from an order to its arrival."""
    return math.ceil(component.lead_time / DAY - EQUAL)


def latest_order(component: Component, day: datetime.date, work: WorkDays) -> datetime.date:
    """The last working day on which an order arrives by a day, on a working day itself."""
    return work.before(work.before(day) - datetime.timedelta(days=lead_days(component)))


@dataclass(frozen=True, slots=True)
class Timing:
    """When orders can be placed; days are counted from `first`.

    `today` is the first day on which an order can be placed, `last_order` the last that is looked at.
    """

    first: datetime.date
    today: datetime.date
    last_order: datetime.date
    work: WorkDays

    def date(self, day: int) -> datetime.date:
        """The date of a day."""
        return self.first + datetime.timedelta(days=day)

    def day(self, date: datetime.date) -> int:
        """The number of a date."""
        return (date - self.first).days


def stated_price(component: Component, date: datetime.date) -> float:
    """Price of a container, the same on every day."""
    return component.price


Morning = dict[Key, ComponentWalk]  # what is there before a day begins


@dataclass(slots=True)
class Purchase:
    """What is ordered together: one component, or the components of a kit, in whole packs."""

    components: Sequence[Component]
    demands: Sequence[Demand]
    timing: Timing
    kit: str = ""
    price_on: Callable[[Component, datetime.date], float] = stated_price  # on the day of the order
    mornings: dict[int, Morning] = field(default_factory=dict)
    safety: list[list[float]] = field(default_factory=list)
    sizes: list[list[float]] = field(default_factory=list)
    number: int = 0

    def __post_init__(self) -> None:
        self.safety = [each.safety(self.lead) for each in self.demands]
        self.sizes = [each.sizes() for each in self.demands]

    @property
    def lead(self) -> int:
        """Days from an order to its arrival: the longest of its components."""
        return max(map(lead_days, self.components))

    @property
    def days(self) -> int:
        """Days that are looked at."""
        return len(self.demands[0].draws)

    @property
    def least(self) -> int:
        """The fewest packs of an order."""
        return max(math.ceil(row.minimum_order / row.pack_multiple) for row in self.components)

    # ---------------------------------------------------------------------------------- the walk

    def _day(self, state: Morning, day: int) -> bool:
        """Play a day; whether a component runs short on it or ends below its safety stock."""
        date, is_low = self.timing.date(day), False
        for row, demand, safety in zip(self.components, self.demands, self.safety, strict=True):
            walk = state[row.material, row.component]
            before = walk.lacking
            walk.open_day(date)
            for station, volume in demand.draws[day]:
                walk.draw(date, station, volume)
            is_low = is_low or walk.lacking > before or walk.usable_after(date) < safety[day] - 1.0
        return is_low

    def _first_low(self, state: Morning, day: int, start: int, keep: bool = False) -> int:
        """The first low day from `start` on, played from `day`; the number of days where there is none."""
        while day < self.days:
            if keep:
                self.mornings[day] = _apart(state)
            if self._day(state, day) and day >= start:
                return day
            day += 1
        return self.days

    def _with(self, day: int, packs: int) -> Morning:
        """The morning of a day with so many packs that arrive."""
        state = _apart(self.mornings[day])
        for row, order in zip(self.components, self._orders(day, packs), strict=True):
            lot = order.lot()
            if day <= 0:
                lot.opening = lot.left
            state[row.material, row.component].lots.append(lot)
        return state

    def _low_after(self, day: int, packs: int) -> int:
        """The first low day where so many packs arrive on a day."""
        return self._first_low(self._with(day, packs), day, day)

    # ------------------------------------------------------------------------------------- orders

    def orders(self, start: Morning) -> list[Order]:
        """The orders to place, each as late and as small as it may be."""
        if all(demand.daily <= 0.0 for demand in self.demands):
            return []
        timing, work = self.timing, self.timing.work
        today = work.after(timing.today)
        soonest = max(timing.day(work.after(today + datetime.timedelta(days=self.lead))), 0)
        for walk in start.values():
            walk.goes_without = True
        late_days, lows = self._too_late(start, soonest)
        state, day, low_from = _apart(start), 0, soonest
        found: list[Order] = []
        while True:
            low = self._first_low(state, day, low_from, keep=True)
            arrival = self._arrival(low, soonest)
            order_by = work.before(arrival - datetime.timedelta(days=self.lead))
            if low >= self.days or order_by > timing.last_order:
                return found
            day = max(timing.day(arrival), 0)
            packs, lasts = self._size(day)
            if self._low_after(day, packs) <= low:  # no order helps: what comes is too old to be used
                state, day, low_from = _apart(self.mornings[low]), low, low + 1
                continue
            self.number += 1
            late = late_days if low == soonest else 0
            order_by = today if late else order_by
            whys = self._whys(day, packs, lasts)
            bought = self._orders(day, packs, order_by, late, lows)
            found += [replace(order, why=why) for order, why in zip(bought, whys, strict=True)]
            state, low_from = self._with(day, packs), low + 1

    def _too_late(self, start: Morning, soonest: int) -> tuple[int, dict[Key, datetime.date | None]]:
        """By how many days an order is late whatever is done, and what is low until it comes.

        Of each component that is low the first day on which it is short, None where only its safety stock is
        touched.
        """
        low = self._first_low(_apart(start), 0, 0)
        if low >= soonest:
            return 0, {}
        timing, work = self.timing, self.timing.work
        wanted = work.before(work.before(timing.date(low)) - datetime.timedelta(days=self.lead))
        state = _apart(start)
        lows: dict[Key, datetime.date | None] = {}
        for day in range(min(soonest, self.days)):
            self._day(state, day)
            for row, safety in zip(self.components, self.safety, strict=True):
                key = (row.material, row.component)
                walk = state[key]
                if walk.runs_out is not None or walk.usable_after(timing.date(day)) < safety[day] - 1.0:
                    lows[key] = walk.runs_out
        return max((timing.today - wanted).days, 0), lows

    def _arrival(self, low: int, soonest: int) -> datetime.date:
        """The working day on which an order comes for a day that is low.

        Where that day would run short it comes a working day before, if shelf life and lead time allow: what
        is due on the morning of its use stops the line when the lorry is late.
        """
        timing, work = self.timing, self.timing.work
        latest = work.before(timing.date(low))
        if low >= self.days or not self._is_short(low):
            return latest
        before = work.before(timing.date(low) - datetime.timedelta(days=1))
        lives = [row.shelf_life for row in self.components if row.shelf_life is not None]
        if lives and (timing.date(low) - before).days * DAY > EARLY_SHARE * min(lives):
            return latest
        return before if timing.day(before) >= soonest else latest

    def _is_short(self, day: int) -> bool:
        """Whether a station goes without on a day."""
        state = _apart(self.mornings[day])
        self._day(state, day)
        return any(walk.lacking > 0 for walk in state.values())

    def _following(self, day: int) -> int:
        """The day that an order must last until: the next comes a day before the one it serves."""
        timing, work = self.timing, self.timing.work
        comes = work.after(timing.date(day + 1))
        return timing.day(work.after(comes + datetime.timedelta(days=1)))

    def _meant(self, day: int) -> list[int]:
        """Packs of each component that the rule means of an order that comes on a day."""
        return [
            math.ceil(sizes[min(day, self.days - 1)] / row.pack_multiple - EQUAL)
            for row, sizes in zip(self.components, self.sizes, strict=True)
        ]

    def _size(self, day: int) -> tuple[int, int]:
        """The fewest packs of an order that last as long as the size the rule means, and until which day.

        At least until the next can come; where none does, as long as any number of packs.
        """
        following, meant = self._following(day), max(self._meant(day))
        most = max(meant, self.least, 1)
        lasts = self._low_after(day, most)
        while lasts < min(following, self.days) and most < MOST_PACKS:
            more = self._low_after(day, 4 * most)
            if more == lasts and most > self._all_packs(day):
                break
            most, lasts = 4 * most, more
        if most > meant:
            lasts = min(lasts, max(following, self._low_after(day, max(meant, self.least, 1))))
        fewest = max(self.least, 1) - 1
        while most - fewest > 1:
            middle = (fewest + most) // 2
            if self._low_after(day, middle) >= lasts:
                most = middle
            else:
                fewest = middle
        return most, lasts

    def _whys(self, day: int, packs: int, lasts: int) -> list[str]:
        """Why an order of each component has not the containers of the rule; blank where it has."""
        meant = self._meant(day)
        asked = max(*meant, self.least, 1)
        until = self.timing.date(min(lasts, self.days))
        found = []
        for row, demand, mine in zip(self.components, self.demands, meant, strict=True):
            usual = demand.rule.order
            why = []
            if mine * row.pack_multiple != usual:
                packs_of = f" in packs of {row.pack_multiple}" if row.pack_multiple > 1 else ""
                why.append(
                    f"the use of the {PACE_DAYS} days from its arrival on asks for "
                    f"{mine * row.pack_multiple}{packs_of}"
                )
            if self.least > max(meant):
                why.append(f"the minimum order is {self.least * row.pack_multiple}")
            elif max(meant) > mine:
                why.append(f"kit {self.kit} is ordered together")
            if packs > asked:
                following = self.timing.date(self._following(day))
                why.append(f"fewer do not last until the next can come, {following:%a} {following}")
            elif packs < asked and lasts < self.days:
                why.append(f"{asked * row.pack_multiple} would last no longer, until {until:%a} {until}")
            elif packs < asked:
                why.append("no more are needed, as far as the use is known")
            is_usual = packs * row.pack_multiple == usual
            found.append("" if is_usual else f"Reorder says {usual}: " + "; ".join(why))
        return found

    def _all_packs(self, day: int) -> float:
        """Packs that hold all that is needed from a day on, and the safety stock."""
        return max(
            (float(demand.need[day:].sum()) + max(safety) / NANO) / row.container / row.pack_multiple + 1.0
            for row, demand, safety in zip(self.components, self.demands, self.safety, strict=True)
        )

    def _orders(
        self,
        day: int,
        packs: int,
        order_by: datetime.date | None = None,
        late: int = 0,
        lows: Mapping[Key, datetime.date | None] | None = None,
    ) -> list[Order]:
        """The order of each component for so many packs that arrive on a day."""
        arrival = self.timing.work.before(self.timing.date(day)) if order_by else self.timing.date(day)
        lost = self._lost(day, packs) if order_by and packs == self.least else {}
        found = []
        for row in self.components:
            key, count = (row.material, row.component), packs * row.pack_multiple
            days = None if row.shelf_life is None else int(row.shelf_life // DAY)
            short_from = (lows or {}).get(key) if late else None
            with_kit = bool(late and lows) and key not in (lows or {})
            note = [_late_words(late, short_from, self.kit if with_kit else "")] if late else []
            if lost.get(key, 0):
                note.append(
                    f"{rounded_volume_text(lost[key] / NANO)} of its "
                    f"{rounded_volume_text(count * row.container)} would be past their last day before they "
                    "are used"
                )
            found.append(
                Order(
                    *key,
                    order_by or arrival,
                    arrival,
                    count,
                    count * nanolitres(row.container),
                    datetime.date.max if days is None else arrival + datetime.timedelta(days=days),
                    count * self.price_on(row, order_by or arrival),
                    late,
                    "; ".join(note),
                    short_from,
                    self.number if order_by else self.number + 1,
                    self.kit,
                    with_kit,
                )
            )
        return found

    def _lost(self, day: int, packs: int) -> dict[Key, int]:
        """What of an order grows too old on the shelf, where it is the last [nL]."""
        if all(row.shelf_life is None for row in self.components):
            return {}
        state = self._with(day, packs)
        lots: dict[Key, LotLedger] = {key: walk.lots[-1] for key, walk in state.items()}
        for later in range(day, self.days):
            self._day(state, later)
        return {key: lot.expired for key, lot in lots.items()}


def _apart(state: Morning) -> Morning:
    return {key: walk.copy() for key, walk in state.items()}


def _late_words(late: int, short_from: datetime.date | None, of_kit: str) -> str:
    """What a late order means: a shortage before it arrives and its day, or safety stock that is used.

    A component that comes with its kit, of which another is low, is late with that.
    """
    if of_kit:
        return f"{counted(late, 'day')} late with the rest of kit {of_kit}"
    if short_from is None:
        return f"safety stock is touched: {counted(late, 'day')} later than it should be"
    return f"{counted(late, 'day')} late, short from {short_from}: ask for a faster delivery"


__all__ = [
    "DayDraws",
    "Demand",
    "Order",
    "Purchase",
    "StockRule",
    "Timing",
    "latest_order",
    "lead_days",
    "mean_ahead",
    "stock_rule",
]
