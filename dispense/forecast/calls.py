"""Open orders that serve in place of a new one where they come sooner: proposed, and played again.

What is to be ordered is planned anew with the open order on its sooner day, by the same walk; where that puts
off no order and saves none, calling it is of no use and not proposed.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from ..base.printed import counted
from ..plan.records import Plan
from ..plan.rows import StockLot
from ..plan.workdays import WorkDays
from .orders import Timing
from .stock import Key, Order

MOST_TRIED = 6  # open orders of a component that are tried (common practice, no source)


@dataclass(frozen=True, slots=True)
class Call:
    """An open order to call: its number, its lot as it is to come now, and the day to ask for."""

    order: str
    lot: StockLot
    arrival: datetime.date

    @property
    def key(self) -> Key:
        """Material and component."""
        return (self.lot.material, self.lot.component)

    @property
    def comes(self) -> datetime.date:
        """The day on which it is to come now."""
        return self.lot.arrival or self.arrival

    def words(self, name: str = "") -> str:
        """What to ask for: order PO-8 of seal N to come by Wed 2026-05-27, 2 days sooner."""
        of = f" of {name}" if name else ""
        return f"order {self.order}{of} to come by {self.arrival:%a} {self.arrival}, {self.sooner}"

    @property
    def sooner(self) -> str:
        """By how much it must come sooner, in words."""
        return f"{counted((self.comes - self.arrival).days, 'day')} sooner"


@dataclass(frozen=True, slots=True)
class Called:
    """Open orders that are called, and what is to be ordered once they come."""

    calls: tuple[Call, ...] = ()
    orders: tuple[Order, ...] = ()


def call_sooner(
    plan: Plan,
    keys: Collection[Key],
    orders: Sequence[Order],
    propose: Callable[[Plan], Sequence[Order]],
    timing: Timing,
) -> Called:
    """An open order of components that comes after the first of `orders`, called to its day.

    Where that comes too late it is called to the day on which the stock is short, from tomorrow on, and more
    are as long as it is short. `propose` gives the orders of a plan. Deliveries of one number and day, as
    of a kit, go together.
    """
    calls: list[Call] = []
    tried: set[tuple[str, datetime.date]] = set()
    while orders and len(tried) < MOST_TRIED and (not calls or _is_short(orders)):
        first = min(_wanted(order, timing) for order in orders)
        later = {day: rows for day, rows in _open(plan, keys, first).items() if day not in tried}
        if not later:
            break
        day = min(later, key=lambda pair: (pair[1], pair[0]))
        tried.add(day)
        moved = {id(row): replace(row, arrival=first) for row in later[day]}
        sooner = replace(plan, stock=[moved.get(id(row), row) for row in plan.stock])
        proposed = propose(sooner)
        if _saves(proposed, orders):
            calls += [Call(day[0], row, first) for row in later[day]]
            plan, orders = sooner, proposed
    return Called(tuple(calls), tuple(orders) if calls else ())


def _wanted(order: Order, timing: Timing) -> datetime.date:
    """The day by which something must come: that of an order, or on which the stock is short before."""
    if order.short_from is None:
        return order.arrival
    return min(_in_time(order.short_from, timing.today, timing.work), order.arrival)


def _in_time(short: datetime.date, today: datetime.date, work: WorkDays) -> datetime.date:
    """The last day on which something may come for a day on which the stock is short, from tomorrow on."""
    return max(work.before(short), work.after(today + datetime.timedelta(days=1)))


def calls_when_short(
    plan: Plan, key: Key, short: datetime.date, today: datetime.date, work: WorkDays
) -> list[Call]:
    """The next open order of a component that comes after the day it is short on, called to that day."""
    wanted = _in_time(short, today, work)
    later = _open(plan, {key}, wanted)
    if not later:
        return []
    number, day = min(later, key=lambda pair: (pair[1], pair[0]))
    return [Call(number, row, wanted) for row in later[number, day]]


def _open(
    plan: Plan, keys: Collection[Key], first: datetime.date
) -> dict[tuple[str, datetime.date], list[StockLot]]:
    """Lots on order that come after a day, by order number and day."""
    orders = {row.at: row.order for row in plan.orders}
    found: dict[tuple[str, datetime.date], list[StockLot]] = defaultdict(list)
    for row in plan.stock:
        if (row.material, row.component) in keys and row.at in orders and (row.arrival or first) > first:
            found[orders[row.at], row.arrival or first].append(row)
    return dict(found)


def _saves(proposed: Sequence[Order], before: Sequence[Order]) -> bool:
    """Whether orders are later or fewer than those before, or none is too late any more."""
    if not proposed or (_is_short(before) and not _is_short(proposed)):
        return True
    is_later = min(each.arrival for each in proposed) > min(each.arrival for each in before)
    return is_later or sum(each.volume for each in proposed) < sum(each.volume for each in before)


def _is_short(orders: Sequence[Order]) -> bool:
    return any(each.short_from is not None for each in orders)


__all__ = ["Call", "Called", "call_sooner", "calls_when_short"]
