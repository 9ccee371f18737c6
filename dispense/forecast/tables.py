"""The tables of a forecast: each answers one question."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict

from ..plan.rows import Component
from ..shift.store import NANO
from .decisions import decision_table, fan_tables, lot_line_table, week_grid_table
from .results import GOING_ON, ML, ComponentView, Forecast, Table
from .simulate import DRIVERS
from .stock import ALL_CAUSES, USE_CAUSES, Key, cause_column, uses

USE_WORDS = (
    "Use: on good parts, expected scrap (good parts × scrap/(1 − scrap), not rounded up to whole "
    "parts as the clock lists of the shifts must), start-up and shut-down loss, purges, lost in mixers, "
    "check shots, first filling of hoses, rest and heel of containers at their mean. What expires is apart."
)


WASTE = tuple(cause for cause in ALL_CAUSES if cause not in {"parts", "hoses"})
SHOWN = 6  # lines of a chart that can still be told apart


def _volume(nanos: int | float) -> float:
    return nanos / ML


def _component_table(found: Forecast) -> Table:
    table = Table(
        "components",
        "When does each component run out?",
        (
            ("Component", "", "text"),
            ("In stock", "mL", "number"),
            ("Due in", "mL", "number"),
            ("Use planned", "mL", "number"),
            ("Use P50", "mL", "number"),
            ("Use P90", "mL", "number"),
            ("P90 of stock", "", "share"),
            ("Runs out", "", "date"),
            ("10 % risk by", "", "date"),
            ("After builds", "", "date"),
            ("Order by", "", "date"),
        ),
        note="In stock: what may be used, nothing past its last day. Due in: lots of the plan "
        f"that arrive in these weeks. {USE_WORDS} Runs out: without new orders, for the first station that "
        "finds no container. 10 % risk by: the day by which one of ten simulation runs has run out, the "
        "plan's own course among them. After builds: the day it would be empty if the use of the last "
        f"{GOING_ON} days of builds went on.",
    )
    for key, view in found.components.items():
        here = found.walk.of_component[key].usable_opening
        planned = sum(view.day_use)
        order = min((order.order_by for order in view.orders), default=None)
        due = sum(lot.received for lot in found.walk.lots[key])
        table.rows.append(
            [
                view.name,
                _volume(here),
                _volume(due),
                _volume(planned),
                view.total_p50 * 1e6,
                view.total_p90 * 1e6,
                view.total_p90 * NANO / (here + due) if here + due else None,
                view.runs_out,
                view.runs_out_early,
                view.empty_after,
                order,
            ]
        )
    return table


def _order_table(found: Forecast) -> Table:
    table = Table(
        "orders",
        "What is to be ordered, and by when?",
        (
            ("Order by", "", "date"),
            ("Arrives", "", "date"),
            ("Component", "", "text"),
            ("Containers", "", "whole"),
            ("Volume", "mL", "number"),
            ("Usable until", "", "date"),
            ("Cost", found.currency, "number"),
            ("Note", "", "text"),
            ("Why this many", "", "text"),
        ),
        note="Whole containers, at least the minimum order; arrival one lead time after the order, on the "
        "working day before a shift would run short, where lead time and shelf life allow. Why this "
        "many: where it is not the quantity of sheet Reorder, which is for the mean use. Of all sizes that, "
        "with what is in store and on the way, last as long as is meant, the order is the smallest.",
        total=("Cost",),
    )
    orders = [(order, view) for view in found.components.values() for order in view.orders]
    for order, view in sorted(orders, key=lambda pair: (pair[0].order_by, pair[0].arrival, pair[0].key)):
        until = None if order.expiry == datetime.date.max else order.expiry
        table.rows.append(
            [
                order.order_by,
                order.arrival,
                view.name,
                order.containers,
                _volume(order.volume),
                until,
                order.cost,
                order.note,
                order.why,
            ]
        )
    return table


def _week_table(found: Forecast) -> Table:
    table = Table(
        "weeks",
        "How much goes each week?",
        (
            ("Week", "", "text"),
            ("From", "", "date"),
            ("Component", "", "text"),
            ("Planned", "mL", "number"),
            ("P50", "mL", "number"),
            ("P90", "mL", "number"),
            ("P90 in containers", "", "number"),
        ),
        note="Planned: the shift model on the builds as they stand. P50 and P90: half and nine of ten "
        "simulation runs use no more. The P90 of single weeks do not add up to that of all weeks. "
        + USE_WORDS,
    )
    for week in range(found.horizon.weeks):
        for view in found.components.values():
            planned = sum(view.day_use[7 * week : 7 * week + 7])
            p50, p90 = float(view.weeks_p50[week]), float(view.weeks_p90[week])
            table.rows.append(
                [
                    found.horizon.week_name(week),
                    found.horizon.date(7 * week),
                    view.name,
                    _volume(planned),
                    p50 * 1e6,
                    p90 * 1e6,
                    p90 / view.component.container,
                ]
            )
    return table


def _material_table(found: Forecast) -> Table:
    table = Table(
        "materials",
        "How much of each material goes each week?",
        (
            ("Week", "", "text"),
            ("From", "", "date"),
            ("Material", "", "text"),
            ("Planned", "mL", "number"),
            ("P50", "mL", "number"),
            ("P90", "mL", "number"),
        ),
        note="A and B together. " + USE_WORDS,
    )
    planned: dict[tuple[str, int], int] = defaultdict(int)
    for (material, _), view in found.components.items():
        for place, volume in enumerate(view.day_use):
            planned[material, place // 7] += volume
    for week in range(found.horizon.weeks):
        for material, (p50, p90) in found.material_weeks.items():
            table.rows.append(
                [
                    found.horizon.week_name(week),
                    found.horizon.date(7 * week),
                    material,
                    _volume(planned[material, week]),
                    float(p50[week]) / ML,
                    float(p90[week]) / ML,
                ]
            )
    return table


def _station_week_table(found: Forecast) -> Table:
    horizon = found.horizon
    table = Table(
        "station_weeks",
        "How much does each station use each week?",
        (
            ("Station", "", "text"),
            ("Component", "", "text"),
            *((horizon.week_name(week), "mL", "number") for week in range(horizon.weeks)),
        ),
        note="As planned. " + USE_WORDS,
    )
    totals: dict[tuple[str, Key], list[int]] = {}
    for item, key, used in uses(found.plan, found.shifts, found.responses):
        week = horizon.place(item.date) // 7
        totals.setdefault((item.station, key), [0] * horizon.weeks)[week] += sum(used.values())
    for (station, key), weeks in sorted(totals.items()):
        table.rows.append([station, found.components[key].name, *map(_volume, weeks)])
    return table


def _day_table(found: Forecast) -> Table:
    views = list(found.components.values())
    table = Table(
        "days",
        "How much goes each day?",
        (
            ("Day", "", "date"),
            *((view.name, "mL", "number") for view in views),
            ("Cost", found.currency, "number"),
        ),
        note="As planned. " + USE_WORDS,
        total=True,
    )
    for place in range(found.horizon.days):
        volumes = [_volume(view.day_use[place]) for view in views]
        if any(volumes):
            date = found.horizon.date(place)
            cost = math.fsum(view.day_use[place] * found.price(view.key, date) for view in views)
            table.rows.append([date, *volumes, cost])
    return table


def _stock_table(found: Forecast) -> Table:
    views = list(found.components.items())
    table = Table(
        "stock",
        "How much is in stock at the end of each day?",
        (("Day", "", "date"), *((view.name, "mL", "number") for _, view in views)),
        note="As planned, with the proposed orders that arrive: on the shelf and in containers at stations.",
    )
    for place in range(found.horizon.days):
        table.rows.append(
            [found.horizon.date(place), *(_volume(found.levels_ordered[key][place]) for key, _ in views)]
        )
    return table


def _cover_table(found: Forecast) -> Table:
    """The components that run out first, in days of mean use."""
    used = [(key, view) for key, view in found.components.items() if view.rule.daily_use > 0.0]

    def lasts(pair: tuple[Key, ComponentView]) -> tuple[float, Key]:
        key, view = pair
        return (found.levels[key][-1] / view.rule.daily_use, key)

    chosen = sorted(used, key=lasts)[:SHOWN]
    table = Table(
        "cover",
        "How many days does the stock last?",
        (("Day", "", "date"), *((view.name, "d", "number") for _, view in chosen)),
        note="Stock at the end of each day without new orders, over the daily use of sheet Reorder: with "
        "what opened containers lose to their open life."
        + (f" The {SHOWN} components that last least." if len(used) > SHOWN else ""),
    )
    for place in range(found.horizon.days):
        table.rows.append(
            [
                found.horizon.date(place),
                *(found.levels[key][place] / NANO / view.rule.daily_use for key, view in chosen),
            ]
        )
    return table


def _station_table(found: Forecast) -> Table:
    table = Table(
        "stations",
        "Where does it go?",
        (
            ("Station", "", "text"),
            ("Component", "", "text"),
            *((cause_column(cause), "mL", "number") for cause in USE_CAUSES),
            ("All", "mL", "number"),
            ("Waste", "", "share"),
        ),
        note="As planned. " + USE_WORDS + " Waste is everything but what is on good parts and stays in "
        "hoses.",
    )
    totals: dict[tuple[str, Key], dict[str, int]] = {}
    for item, key, used in uses(found.plan, found.shifts, found.responses):
        row = totals.setdefault((item.station, key), dict.fromkeys(USE_CAUSES, 0))
        for cause, volume in used.items():
            row[cause] += volume
    for (station, key), causes in sorted(totals.items()):
        whole = sum(causes.values())
        kept = causes["parts"] + causes["hoses"]
        table.rows.append(
            [
                station,
                found.components[key].name,
                *(_volume(causes[cause]) for cause in USE_CAUSES),
                _volume(whole),
                1.0 - kept / whole if whole else 0.0,
            ]
        )
    return table


def _lot_table(found: Forecast) -> Table:
    table = Table(
        "lots",
        "What becomes of each lot?",
        (
            ("Component", "", "text"),
            ("Lot", "", "text"),
            ("Last day", "", "date"),
            ("Opening", "mL", "number"),
            ("Received", "mL", "number"),
            ("Used", "mL", "number"),
            ("Expired", "mL", "number"),
            ("Closing", "mL", "number"),
            ("Balance", "mL", "number"),
            ("Expires on", "", "date"),
            ("Store at", "", "text"),
        ),
        note="First-expired first-out, proposed orders included. Opening + received = used + expired "
        "+ left at end, to the nanolitre. Used: with expected scrap and filled hoses, and each heel when its "
        "container is changed, so that it differs from the use of the other tables by the heels of "
        "containers that are still open; these count as left at end. Missing: what the builds need and no "
        "lot holds.",
    )
    walk = found.ordered
    for key, view in found.components.items():
        component = view.component
        lots = [lot for lot in walk.lots[key] if lot.opening or lot.received]
        if key in walk.missing:
            lots.append(walk.missing[key])
        for lot in sorted(lots, key=lambda lot: (lot.last_day(component.open_life), lot.lot)):
            last = lot.last_day(component.open_life)
            is_missing = lot is walk.missing.get(key)
            table.rows.append(
                [
                    view.name,
                    "missing" if is_missing else lot.lot,
                    None if last == datetime.date.max else last,
                    _volume(lot.opening),
                    _volume(lot.used if is_missing else lot.received),
                    _volume(lot.used),
                    _volume(lot.expired),
                    _volume(0 if is_missing else lot.closing),  # what never came leaves no rest
                    _volume(lot.balance),
                    lot.expired_on,
                    _storage(component),
                ]
            )
    return table


def _storage(component: Component) -> str:
    low, high = component.storage_low, component.storage_high
    if low is None and high is None:
        return ""
    ends = [f"{kelvin - 273.15:.0f}" if kelvin is not None else "" for kelvin in (low, high)]
    if not ends[0]:
        return f"at most {ends[1]} °C"
    return f"{ends[0]} to {ends[1]} °C" if ends[1] else f"at least {ends[0]} °C"


def _reorder_table(found: Forecast) -> Table:
    table = Table(
        "reorder",
        "At what stock is it ordered again?",
        (
            ("Component", "", "text"),
            ("Daily use", "mL", "number"),
            ("Spread a day", "mL", "number"),
            ("Lead time", "d", "number"),
            ("Its spread", "d", "number"),
            ("Service level", "", "share"),
            ("Safety stock", "mL", "number"),
            ("Reorder point", "mL", "number"),
            ("Economic order", "mL", "number"),
            ("Order", "containers", "whole"),
            ("Short in a cycle", "mL", "number"),
            ("Simulated service", "", "share"),
            ("Cycles drawn", "", "whole"),
        ),
        note="Safety stock z·√(L·σ² + d²·σL²), reorder point d·L + safety stock, shortage of a cycle "
        "σ·G(z): Silver, Pyke & Peterson, Inventory Management and Production Planning and "
        "Scheduling. Economic order √(2DK/h): F. W. Harris (1913). Days are calendar days. The "
        "spread of a day holds errors of volume that last, so that √L days of it are the spread of "
        "a lead time. Simulated service: share of order cycles without a shortage where each simulation "
        "run orders by this rule; it is blank where no order arrives within these weeks. Daily use: the mean "
        "of the days from first to last use, with what opened containers lose to their open life. Order is "
        "for that mean, in whole packs, of a kit one quantity for all its components; orders to place are "
        "sized day by day, and sheet Orders says of each why it differs.",
    )
    for view in found.components.values():
        rule = view.rule
        table.rows.append(
            [
                view.name,
                rule.daily_use * 1e6,
                rule.daily_sd * 1e6,
                rule.lead_time,
                rule.lead_spread,
                rule.service,
                rule.safety_stock * 1e6,
                rule.reorder_point * 1e6,
                None if math.isnan(rule.economic_order) else rule.economic_order * 1e6,
                rule.order,
                rule.shortage * 1e6,
                None if math.isnan(view.service) else view.service,
                view.cycles or None,
            ]
        )
    return table


def _cause_table(found: Forecast) -> Table:
    table = Table(
        "causes",
        "What does it cost, and what is waste?",
        (
            ("Component", "", "text"),
            *((cause_column(cause), found.currency, "number") for cause in ALL_CAUSES),
            ("All", found.currency, "number"),
            ("Waste", "", "share"),
        ),
        note="At the price of a full container. " + USE_WORDS + " Here it is the last cause, with the "
        "proposed orders. Waste is everything but what is on good parts and stays in hoses.",
        total=True,
    )
    for key, view in found.components.items():
        expired = found.ordered.of_component[key].grown_old
        causes = {**view.use, "expired": expired}
        priced = {**view.priced, ("expired", found.price(key, found.horizon.end)): expired}
        costs = [
            math.fsum(volume * price for (of, price), volume in priced.items() if of == cause)
            for cause in ALL_CAUSES
        ]
        whole = sum(causes.values())
        waste = sum(causes[cause] for cause in WASTE)
        table.rows.append([view.name, *costs, math.fsum(costs), waste / whole if whole else 0.0])
    return table


def _driver_table(found: Forecast) -> Table:
    table = Table(
        "drivers",
        "What drives the spread?",
        (
            ("Material", "", "text"),
            *((driver.capitalize(), "", "share") for driver in DRIVERS),
            ("Together", "", "share"),
            ("P90 above P50", "", "share"),
        ),
        note="Share of the variance of the whole use that each input brings about alone (covariance "
        "of the total with the input's own effect); together: what they bring about only in company. "
        "The five add up to 1. Small negative shares are sampling error.",
    )
    for material, drawn in found.drivers.items():
        view = next(view for key, view in found.components.items() if key[0] == material)
        above = view.total_p90 / view.total_p50 - 1.0 if view.total_p50 else 0.0
        table.rows.append([material, *(drawn.shares[driver] for driver in DRIVERS), drawn.together, above])
    return table


def _phase_out_tables(found: Forecast) -> list[Table]:
    """What is left of what phases out, where something does."""
    table = Table(
        "phase_out",
        "What is left of the materials that stations change away from?",
        (
            ("Component", "", "text"),
            ("Last used", "", "date"),
            ("Last order by", "", "date"),
            ("Containers", "", "whole"),
            ("Left over", "mL", "number"),
            ("In containers", "", "number"),
            ("Worth", found.currency, "number"),
        ),
        note="Left over: in store, in containers at stations with their heels, and still to come, on the "
        "evening of the last day on which a station uses it, with the proposed orders. Worth: at the price "
        "of a full container on that day. The last order is the smallest that the builds until then need.",
        total=("Worth",),
    )
    for view in found.components.values():
        out = view.phase_out
        if out is not None:
            order = out.last_order
            table.rows.append(
                [
                    view.name,
                    out.last_use,
                    None if order is None else order.order_by,
                    None if order is None else order.containers,
                    _volume(out.left),
                    out.left / NANO / view.component.container,
                    out.cost,
                ]
            )
    return [table] if table.rows else []


_MAKERS = (
    decision_table,
    week_grid_table,
    _component_table,
    _order_table,
    _week_table,
    _material_table,
    _day_table,
    _stock_table,
    _cover_table,
    _station_table,
    _station_week_table,
    _lot_table,
    lot_line_table,
    _reorder_table,
    _cause_table,
    _driver_table,
)


def make_tables(found: Forecast) -> dict[str, Table]:
    """All tables by name."""
    made = [*(make(found) for make in _MAKERS), *_phase_out_tables(found), *fan_tables(found)]
    return {table.name: table for table in made}
