"""Open orders whose day has passed, that stand twice, or that nobody delivers as they stand.

What is ordered and has not come is never in store. A delivery that is late as a plan begins is taken to
come on the first working day after that day (common practice, no source: the soonest that it may still come;
it is said aloud).
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from ..base.errors import InputError
from ..base.findings import QUALITY, Finding
from ..base.printed import counted, listed
from ..base.units import rounded_volume_text
from .records import Plan
from .rows import Component, OpenOrder, StockLot
from .workdays import work_days

LATE, TWICE, ODD = "late delivery", "order stated twice", "odd order"  # topics
WHOLE = 0.01  # of a container, within which a quantity is whole (common practice, no source)


def with_late_orders(plan: Plan, today: datetime.date) -> tuple[Plan, list[Finding]]:
    """The plan in which what was due before a day and has not come comes on the next working day.

    Lots that were counted or received are here and have no arrival any more.
    """
    orders = {row.at: row for row in plan.orders}
    late = [
        (row, orders[row.at])
        for row in plan.stock
        if row.arrival is not None and row.at in orders and row.arrival < today
    ]
    if not late:
        return plan, []
    comes = work_days(plan).after(today + datetime.timedelta(days=1))
    moved = {id(row): replace(row, arrival=comes) for row, _ in late}
    stock = [moved.get(id(row), row) for row in plan.stock]
    found = [_late(plan, row, order, today, comes) for row, order in late]
    return replace(plan, stock=stock), sorted(found, key=lambda each: (each.day or today, each.text))


def _late(plan: Plan, lot: StockLot, order: OpenOrder, today: datetime.date, comes: datetime.date) -> Finding:
    name = plan.component_words(lot.material, lot.component)
    due = (today - order.arrival).days
    words = (
        f"order {order.order} of {name} was due on {order.arrival} and is not received: it is not in store, "
        f"and is taken to come on {comes}"
    )
    if lot.quantity < order.quantity:
        words = (
            f"of order {order.order} of {name}, due on {order.arrival}, {rounded_volume_text(lot.quantity)} "
            f"are not received: they are not in store, and are taken to come on {comes}"
        )
    return Finding(
        QUALITY,
        words,
        "ask for its new day and state it in Orders; if it has come, book it as received with its number as "
        "Reference, or state its lot in Stock, and delete the order",
        topic=LATE,
        material=lot.material,
        day=order.arrival,
        cell=order.at,
        numbers={"overdue [d]": float(due), "quantity [mL]": lot.quantity * 1e6},
        component=lot.component,
    )


def late_deliveries(plan: Plan) -> list[tuple[OpenOrder, StockLot]]:
    """Orders that are late, with the lot as it is taken to come."""
    orders = {row.at: row for row in plan.orders}
    lots = [(orders[row.at], row) for row in plan.stock if row.at in orders and row.arrival is not None]
    return [(order, lot) for order, lot in lots if lot.arrival != order.arrival]


def _row_number(row: OpenOrder) -> str:
    return "".join(filter(str.isdigit, row.at.rpartition("!")[2]))


def twice_ordered(plan: Plan) -> Iterator[Finding]:
    """Rows of Orders that say the same: one order number, component, quantity and day."""
    alike: dict[Sequence[object], list[OpenOrder]] = defaultdict(list)
    for row in plan.orders:
        alike[row.order, row.material, row.component, row.quantity, row.arrival, row.lot].append(row)
    for rows in alike.values():
        if len(rows) > 1:
            first = rows[0]
            yield Finding(
                QUALITY,
                f"order {first.order} stands {len(rows)} times in Orders with the same quantity and day "
                f"(rows {listed(_row_number(row) for row in rows)}): each row is counted on",
                "delete the rows that are one delivery, or give each delivery a day or number of its own",
                topic=TWICE,
                material=first.material,
                day=first.arrival,
                cell=rows[1].at,
            )


def odd_orders(plan: Plan) -> Iterator[Finding]:
    """Open orders of parts of a container or pack, for a day on which nobody works, of a part of a kit."""
    try:
        work = work_days(plan)
    except InputError:  # a country that is not known is told with the builds
        work = None
    for row in plan.orders:
        component = plan.components_of(row.material)[row.component]
        name, pack = plan.component_words(row.material, row.component), component.pack_multiple
        count = row.quantity / component.container
        if abs(count - round(count)) > WHOLE:
            yield _odd(
                plan,
                row,
                "quantity",
                f"order {row.order} of {name} is {count:.3g} containers: no whole number",
                "correct the quantity, or what it is counted in",
            )
        elif round(count) % pack:
            yield _odd(
                plan,
                row,
                "quantity",
                f"order {row.order} of {name} is of {counted(round(count), 'container')}: sold in packs "
                f"of {pack}",
                "order whole packs, or correct Pack multiple of Components",
            )
        if work is not None and work.before(row.arrival) != row.arrival:
            yield _odd(
                plan,
                row,
                "arrival",
                f"order {row.order} of {name} is to come on {row.arrival:%a} {row.arrival}: no working day",
                "state the day on which somebody takes it in",
            )
    yield from _parts_of_kits(plan)


def _parts_of_kits(plan: Plan) -> Iterator[Finding]:
    """Orders of which a component of a kit has more packs than another of the same kit."""
    kits: dict[str, list[Component]] = defaultdict(list)
    for component in plan.components:
        if component.kit:
            kits[component.kit].append(component)
    for kit, components in kits.items():
        keys = {(one.material, one.component): one.container * one.pack_multiple for one in components}
        packs: dict[str, dict[tuple[str, str], float]] = {}
        first: dict[str, OpenOrder] = {}
        for row in plan.orders:
            key = (row.material, row.component)
            if key in keys:
                packs.setdefault(row.order, dict.fromkeys(keys, 0.0))[key] += row.quantity / keys[key]
                first.setdefault(row.order, row)
        for order, of_each in packs.items():
            least, most = (some(of_each, key=of_each.__getitem__) for some in (min, max))
            if of_each[most] - of_each[least] > WHOLE:
                yield _odd(
                    plan,
                    first[order],
                    "quantity",
                    f"order {order} has {of_each[most]:.3g} packs of {plan.component_words(*most)} and "
                    f"{of_each[least]:.3g} of {plan.component_words(*least)}: both are of kit {kit}",
                    "order the components of a kit together, as many packs of each",
                )


def _odd(plan: Plan, row: OpenOrder, column: str, text: str, fix: str) -> Finding:
    return Finding(
        QUALITY,
        text,
        fix,
        topic=ODD,
        material=row.material,
        day=row.arrival,
        cell=plan.cell(row, column),
        component=row.component,
    )


__all__ = ["LATE", "ODD", "TWICE", "late_deliveries", "odd_orders", "twice_ordered", "with_late_orders"]
