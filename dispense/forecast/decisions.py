"""The tables that a planner decides by: what is overdue, what the next days ask for, weeks at a glance."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

import numpy as np

from ..base.printed import counted, listed
from ..base.units import rounded_volume_text
from ..plan.late import late_deliveries
from ..shift.store import NANO, nanolitres
from .results import ML, ComponentView, Forecast, Table

SOON = 7  # days that count as next
FANS = 3  # components whose stock is drawn
MOST_TOLD = 3  # orders in a remark
TIMELINE = 12  # lots whose days are drawn
OVERDUE, NEXT, NOTHING_TO_DO = "overdue", "next 7 days", "nothing"


def decision_table(found: Forecast) -> Table:
    """Overdue orders first, then what the next days ask for, day by day."""
    table = Table(
        "decisions",
        "What must be done now?",
        (
            ("When", "", "text"),
            ("Day", "", "date"),
            ("What", "", "text"),
            ("Component", "", "text"),
            ("Containers", "", "whole"),
            ("Remark", "", "text"),
        ),
        note=f"Overdue orders first, then the {SOON} days from {found.horizon.as_of} on: orders to place, "
        "deliveries, stock that runs short although it is ordered, lots on their last day, and materials "
        "that are used for the last time.",
    )
    today = found.horizon.as_of
    rows = [
        *_late(found),
        *_pulls(found),
        *_orders(found),
        *_deliveries(found),
        *_shorts(found),
        *_last_days(found),
        *_phase_outs(found),
    ]
    end = today + datetime.timedelta(days=SOON)
    kept = [row for row in rows if row[0].startswith(OVERDUE) or today <= row[1] < end]
    table.rows = sorted(kept, key=lambda row: (not row[0].startswith(OVERDUE), row[1], row[2], row[3]))
    if not table.rows:
        table.rows = [[NEXT, today, NOTHING_TO_DO, "", None, ""]]
    return table


def _orders(found: Forecast) -> Iterator[list[Any]]:
    for view in found.components.values():
        for order in view.orders:
            when = f"{OVERDUE} by {counted(order.late_days, 'day')}" if order.late_days else NEXT
            note = [f"arrives {order.arrival:%a} {order.arrival}", *([order.note] if order.note else [])]
            if order.kit:
                note.append(f"kit {order.kit}")
            yield [when, order.order_by, "order", view.name, order.containers, "; ".join(note)]


def _late(found: Forecast) -> Iterator[list[Any]]:
    """Deliveries that were due before today and have not come."""
    today = found.horizon.as_of
    for order, lot in late_deliveries(found.plan):
        view = found.components[lot.material, lot.component]
        days = (today - order.arrival).days
        if days > 0:
            count = -(-nanolitres(lot.quantity) // nanolitres(view.component.container))
            note = f"order {order.order}: ask for its new day; taken to come {lot.arrival:%a} {lot.arrival}"
            when = f"{OVERDUE} by {counted(days, 'day')}"
            yield [when, order.arrival, "delivery", view.name, count, note]


def _pulls(found: Forecast) -> Iterator[list[Any]]:
    """Open orders that serve in place of the next order to place where they come sooner."""
    for view in found.components.values():
        if not view.called.calls:
            continue
        first = min(view.orders, key=lambda order: order.arrival)
        when = f"{OVERDUE} by {counted(first.late_days, 'day')}" if first.late_days else NEXT
        left = [f"{order.containers} by {order.order_by:%a} {order.order_by}" for order in view.called.orders]
        then = f"to order then: {listed(left, MOST_TOLD)}" if left else "nothing is to be ordered then"
        for call in view.called.calls:
            comes = call.comes
            count = -(-nanolitres(call.lot.quantity) // nanolitres(view.component.container))
            note = (
                f"order {call.order} comes {comes:%a} {comes}: by {call.arrival:%a} {call.arrival}, "
                f"{call.sooner}, it serves in place of the order of "
                f"{first.containers}; {then}; once agreed, state its new day in Orders"
            )
            yield [when, first.order_by, "call sooner", view.name, count, note]


def _deliveries(found: Forecast) -> Iterator[list[Any]]:
    for key, view in found.components.items():
        content = nanolitres(view.component.container)
        for lot in found.walk.lots[key]:
            if lot.arrival is not None:
                volume = lot.received or lot.left
                yield [NEXT, lot.arrival, "delivery", view.name, -(-volume // content), f"lot {lot.lot}"]


def _shorts(found: Forecast) -> Iterator[list[Any]]:
    for key, walk in found.ordered.of_component.items():
        if walk.runs_out is not None and walk.missing is not None:
            until = found.horizon.last_build
            calls = "".join(f"; call {call.words()}" for call in found.calls(key))
            for station, day, shift in found.shorts(key):
                where = f"at {station}, {shift}" if shift else f"at {station}"
                note = f"{where}; {found.lacking(key)} lacking by {until}{calls}"
                yield [NEXT, day, "runs short", found.components[key].name, None, note]


def _last_days(found: Forecast) -> Iterator[list[Any]]:
    for key, view in found.components.items():
        for lot in found.ordered.lots[key]:
            last = lot.last_day(view.component.open_life)
            if last < datetime.date.max and (lot.opening or lot.received):
                lost = f", {rounded_volume_text(lot.expired / NANO)} of it too old" if lot.expired else ""
                if lot.left or lot.expired:
                    yield [NEXT, last, "last day", view.name, None, f"lot {lot.lot}{lost}"]


def _phase_outs(found: Forecast) -> Iterator[list[Any]]:
    for view in found.components.values():
        out = view.phase_out
        if out is not None and out.last_use is not None:
            left = rounded_volume_text(out.left / NANO)
            yield [NEXT, out.last_use, "phased out", view.name, None, f"{left} left over that evening"]


def week_grid_table(found: Forecast) -> Table:
    """Each component's weeks in a row: what is ordered, what arrives, what is left, in containers."""
    horizon = found.horizon
    table = Table(
        "grid",
        "What does each week ask for?",
        (
            ("Component", "", "text"),
            ("What", "", "text"),
            *((horizon.week_name(week), "", "number") for week in range(horizon.weeks)),
        ),
        note="In containers. To order: orders whose day lies in the week. Arrives: these and what is due. "
        "Used: as planned, heels included. Left: at the end of the week, with the proposed orders.",
    )
    for key, view in found.components.items():
        content = nanolitres(view.component.container)
        ordered, arrives = [0.0] * horizon.weeks, [0.0] * horizon.weeks
        for order in view.orders:
            _count(ordered, (order.order_by - horizon.first).days // 7, order.containers)
        for lot in found.ordered.lots[key]:
            if lot.arrival is not None and lot.received:
                _count(arrives, (lot.arrival - horizon.first).days // 7, lot.received / content)
        weeks = range(horizon.weeks)
        used = [sum(view.day_use[7 * week : 7 * week + 7]) / content for week in weeks]
        left = [found.levels_ordered[key][7 * week + 6] / content for week in weeks]
        for words, row in (("to order", ordered), ("arrives", arrives), ("used", used), ("left", left)):
            table.rows.append([view.name, words, *(value or None for value in row)])
    return table


def _count(row: list[float], week: int, value: float) -> None:
    """Add to a week; what lies before the first is asked for in the first."""
    if week < len(row):
        row[max(week, 0)] += value


def fan_tables(found: Forecast) -> list[Table]:
    """Stock day by day of the components that ask for a decision first."""
    far = datetime.date.max

    def urgency(view: ComponentView) -> tuple[datetime.date, datetime.date, str]:
        return (min((each.order_by for each in view.orders), default=far), view.runs_out or far, view.name)

    chosen = [view for view in sorted(found.components.values(), key=urgency) if view.rule.daily_use > 0.0]
    return [_fan(found, view, number) for number, view in enumerate(chosen[:FANS], 1)]


def _fan(found: Forecast, view: ComponentView, number: int) -> Table:
    table = Table(
        f"fan_{number}",
        f"How does the stock of {view.name} run?",
        (
            ("Day", "", "date"),
            ("Planned", "mL", "number"),
            ("High", "mL", "number"),
            ("Low", "mL", "number"),
            ("Reorder point", "mL", "number"),
            ("Evening of a delivery", "mL", "number"),
        ),
        note="Stock at the end of each day with the proposed orders. High and low: as planned, and where the "
        "use up to that day is that which one in ten simulation runs stays below, or goes beyond. Evening "
        "of a delivery: stock on the evening of a day on which something comes, whatever it is.",
    )
    levels = np.array(found.levels_ordered[view.key]) / ML
    planned = np.cumsum(view.day_use) / NANO
    high = np.maximum(levels + (planned - view.used_p10) * NANO / ML, levels)
    low = np.clip(levels + (planned - view.used_p90) * NANO / ML, 0.0, levels)
    arrivals = {lot.arrival for lot in found.ordered.lots[view.key] if lot.received}
    for day in range(found.horizon.days):
        date = found.horizon.date(day)
        table.rows.append(
            [
                date,
                float(levels[day]),
                float(high[day]),
                float(low[day]),
                view.rule.reorder_point * NANO / ML,
                float(levels[day]) if date in arrivals else None,
            ]
        )
    return table


def lot_line_table(found: Forecast) -> Table:
    """Lots that come first to their last day, from today or their arrival on."""
    first = found.horizon.first
    table = Table(
        "lot_line",
        "How long may each lot be used?",
        (
            ("Lot", "", "text"),
            ("From", "", "date"),
            ("Last day", "", "date"),
            ("Days until it comes", "d", "whole"),
            ("Days it may be used", "d", "whole"),
            ("Used", "mL", "number"),
            ("Too old", "mL", "number"),
        ),
        note=f"The {TIMELINE} lots that first come to their last day, proposed orders among them; days from "
        f"{first} on.",
    )
    rows = []
    for key, view in found.components.items():
        for lot in found.ordered.lots[key]:
            last = lot.last_day(view.component.open_life)
            if last == datetime.date.max or last < first or not (lot.opening or lot.received):
                continue
            begin = max(lot.arrival or first, first)
            rows.append(
                [
                    f"{view.name} {lot.lot}",
                    begin,
                    last,
                    (begin - first).days,
                    (last - begin).days + 1,
                    lot.used / ML,
                    lot.expired / ML,
                ]
            )
    table.rows = sorted(rows, key=lambda row: (row[2], row[0]))[:TIMELINE]
    return table


__all__ = ["NOTHING_TO_DO", "OVERDUE", "decision_table", "fan_tables", "lot_line_table", "week_grid_table"]
