"""Weeks of builds turned into consumption, stock, orders, cost, and how sure all that is.

`forecast(plan, weeks)` plays every shift of the builds with the shift model (each distinct shift
once, see `response`), carries lots through them (`stock`), runs many simulations (`simulate`) and
proposes orders. The result is a `Forecast`: tables that answer one question each, printed as text,
JSON, CSV or a workbook.

What is settled here (and in `horizon` for the days that are looked at):
- orders and the days on which stock runs out count on all builds of the plan, also beyond the weeks that
  are looked at, and after the last of them on its last two weeks going on;
- every total of material counts the same use, with expected scrap: see `stock`.
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ..base.errors import InputError, Problem
from ..base.findings import Finding, gravest_first
from ..base.numbers import EQUAL
from ..base.progress import Progress
from ..base.units import DAY
from ..plan.late import with_late_orders
from ..plan.materials import mix_shares, sized, usable_volume
from ..plan.records import Plan
from ..plan.rows import Component, StockLot
from ..plan.standing import lot_rows
from ..plan.workdays import work_days
from ..shift.store import NANO, nanolitres, price_on, use_by
from .calls import Called, call_sooner
from .findings import forecast_findings
from .horizon import WEEKS, Horizon, horizon_of, without_history
from .orders import (
    REVIEW_DAYS,
    DayDraws,
    Demand,
    KitMember,
    Order,
    Purchase,
    Timing,
    days_of_use,
    lead_days,
    opened_loss,
    stock_rule,
)
from .response import (
    CAUSES,
    Occurrence,
    Response,
    ShiftKey,
    holding_at,
    occurrences,
    play_lean,
    responses,
    used_of,
)
from .results import GOING_ON, ComponentView, Cut, Forecast, OtherDay, PhaseOut, SmallerPack
from .service import NOTHING, draw_stock, project, simulate_service
from .simulate import Drawn, Futures, draw_material
from .stock import USE_CAUSES, ComponentWalk, Drawing, Key, StockWalk, uses, walk_stock
from .tables import make_tables

Propose = Callable[[Plan], list[Order]]  # the orders to place, with the stock and components of a plan

MEDIAN, HIGH = 0.5, 0.9  # the P50 and P90 of the tables; one in ten lies beyond
MOST_WEEKS = 520
MOST_DRAWS = 100_000
SOONER = 14  # days at most that holidays bring an order forward (common practice, no source)
BEYOND = 180  # days after the builds that are looked at for orders and cover


def forecast(
    plan: Plan,
    weeks: int = WEEKS,
    *,
    builds=None,
    draws: int = 500,
    seed: int = 1,
    processes: int = 1,
    as_of: datetime.date | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Forecast:
    """Forecast a plan over calendar weeks from its first build.

    `builds` replaces the plan's: a CSV, Parquet or SQLite file, or a pandas data frame. The same
    seed gives the same figures, whatever the order of rows and the number of processes. `as_of` is
    today: builds before it are history, and no order is placed earlier; without it, today is the day
    of the first build. Where nothing is built the tables hold zeros. An `executor` plays the shifts in
    place of processes here.
    """
    _check_numbers(weeks=weeks, draws=draws, seed=seed, processes=processes)
    if builds is not None:
        from ..plan.builds import with_builds

        plan = with_builds(plan, builds)
    plan, history = without_history(plan, weeks, as_of)
    horizon = horizon_of(plan, weeks, as_of)
    late: list[Finding] = []
    if as_of is not None:  # where a start from today has not told it
        plan, late = with_late_orders(plan, as_of)
    keys, shifts = occurrences(plan, horizon.end)
    answers = responses(plan, keys, processes=processes, executor=executor, progress=progress)
    walk, levels = walk_stock(plan, horizon, shifts, answers)
    views = _components(plan, horizon, shifts, answers)
    _look_beyond(plan, horizon, answers, views)
    drivers, material_weeks = _draw(plan, horizon, keys, shifts, answers, views, draws, seed)
    _used_later(plan, horizon, views, draws, seed)
    _order(plan, horizon, views)
    orders = [order for view in views.values() for order in view.orders]
    orders.sort(key=lambda order: (order.order_by, order.arrival, order.key))
    ordered, levels_ordered = walk_stock(plan, horizon, shifts, answers, orders)
    found = Forecast(
        plan,
        horizon,
        draws,
        seed,
        keys,
        shifts,
        answers,
        walk,
        ordered,
        levels,
        levels_ordered,
        views,
        drivers,
        material_weeks,
    )
    found.findings = gravest_first([*history, *late, *forecast_findings(found)])
    found.tables = make_tables(found)
    return found


_RANGES = {"weeks": (1, MOST_WEEKS), "draws": (10, MOST_DRAWS), "seed": (0, 2**63 - 1), "processes": (1, 61)}


def _check_numbers(**given: int) -> None:
    problems = []
    for name, value in given.items():
        low, high = _RANGES[name]
        if not (isinstance(value, int) and low <= value <= high):
            problems.append(Problem("forecast", name, value, f"a whole number from {low} to {high}"))
    if problems:
        raise InputError(problems)


def _components(plan: Plan, horizon, shifts, answers) -> dict[Key, ComponentView]:
    views: dict[Key, ComponentView] = {}
    for row in sorted(plan.components, key=lambda row: (row.material, row.component)):
        parts = plan.components_of(row.material)
        share = mix_shares(plan.material(row.material), parts)[row.component]
        key = (row.material, row.component)
        rule = stock_rule(row, 0.0, 0.0, plan.settings)
        views[key] = ComponentView(
            key,
            row,
            share,
            [0] * horizon.days,
            [],
            dict.fromkeys(USE_CAUSES, 0),
            defaultdict(int),
            {},
            rule,
            len(parts) > 1,
        )
    users: dict[Key, set[str]] = defaultdict(set)
    for item, key, used in uses(plan, shifts, answers):
        view, place = views[key], horizon.place(item.date)
        users[key].add(item.station)
        view.day_use[place] += sum(used.values())
        price = price_on(plan, *key, item.date)
        for cause, volume in used.items():
            view.use[cause] += volume
            view.priced[cause, price] += volume
        if used["hoses"]:
            view.hoses[place] = view.hoses.get(place, 0) + used["hoses"]
    for key, names in users.items():
        views[key].stations = len(names)
    return views


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A shift that only orders look at."""

    used: dict[str, dict[str, int]]


def _look_beyond(
    plan: Plan, horizon: Horizon, answers: Sequence[Response], views: dict[Key, ComponentView]
) -> None:
    """Use and draws of all builds of the plan, also after the horizon, day by day.

    After the last build the last `GOING_ON` days of builds are taken to go on, each as the plan holds on
    its day.
    """
    keys, shifts = occurrences(plan)  # begin with those of the horizon
    last = max((item.date for item in shifts), default=horizon.last_build)
    end = (last - horizon.first).days + 1
    weeks = -(-((last - horizon.first_build).days + 1) // 7)
    span = min(GOING_ON, 7 * weeks)
    ahead = {key: max(horizon.days, end) + lead_days(view.component) + BEYOND for key, view in views.items()}
    if plan.dated:
        keys, shifts = _going_on(plan, keys, shifts, last, span, max(ahead.values(), default=0) - end)
    every: list[Drawing] = [
        *answers,
        *(_Drawn(used_of(play_lean(plan, key))) for key in keys[len(answers) :]),
    ]
    for view in views.values():
        view.later_use = [0] * max((last - horizon.end).days + 1, 0)
    known = max(ahead.values(), default=end) if plan.dated else end
    draws: dict[Key, list[list[tuple[str, int]]]] = {key: [[] for _ in range(known)] for key in views}
    beyond = {key: np.zeros(known - end) for key in views}
    hoses: list[tuple[Key, str, int, int, int]] = []  # of what fills a hose: day, place in it, how much
    for item, key, used in uses(plan, shifts, every):
        day = horizon.place(item.date)
        if item.date > last:
            beyond[key][day - end] += sum(used.values()) / NANO
        elif item.date >= horizon.end:
            views[key].later_use[(item.date - horizon.end).days] += sum(used.values())
        drawn = draws[key][day]
        if used["hoses"]:
            hoses.append((key, item.station, day, len(drawn), used["hoses"]))
        drawn.append((item.station, sum(used.values()) - used["hoses"] - used["heel"]))
    for key, view in views.items():
        used_before = [*view.day_use, *view.later_use]
        view.going_on = sum(used_before[max(end - span, 0) : end]) / NANO / span
        days = draws[key]
        if plan.dated:
            view.beyond = beyond[key][len(used_before) - end : ahead[key] - end]
            view.going_on = float(view.beyond.mean())
            del days[ahead[key] :]  # in place: hoses are filled in it below
        else:
            cycle = [days[day] if day >= 0 else [] for day in range(end - span, end)]
            days += [cycle[day % span] for day in range(ahead[key] - end)]
        view.draws = days
    for key, station, day, place, fill in hoses:
        days = draws[key]
        days[day] = list(days[day])
        days[day][place] = (station, days[day][place][1] + fill)
    for view in views.values():
        _days_of_use(horizon, view)


def _days_of_use(horizon: Horizon, view: ComponentView) -> None:
    """The days of its mean use, that use as planned, and what opened containers lose beside it."""
    view.opened_loss = opened_loss(view.component, horizon.first, view.draws)
    is_used = any(view.day_use)
    known = view.day_use if is_used else [*view.day_use, *view.later_use]
    known = [*known, *[0] * (-len(known) % 7)]
    goes_on = view.going_on > 0.0 or (is_used and any(view.later_use))
    days = days_of_use(known, goes_on, max(REVIEW_DAYS, lead_days(view.component)))
    view.days_of_use = days.stop - days.start
    view.planned_daily = (1.0 + view.opened_loss) * (
        sum(known) / NANO / view.days_of_use if any(known) else view.going_on
    )


def _going_on(
    plan: Plan, keys: list[ShiftKey], shifts: list[Occurrence], last: datetime.date, span: int, days: int
) -> tuple[list[ShiftKey], list[Occurrence]]:
    """The shifts of a plan, and for so many days more those of its last `span` days again and again."""
    places = {key: place for place, key in enumerate(keys)}
    cycle = [item for item in shifts if (last - item.date).days < span]
    later = []
    for turn in range(1, -(-days // span) + 1):
        for item in cycle:
            date = item.date + datetime.timedelta(days=turn * span)
            if (date - last).days <= days:
                key = replace(keys[item.key], holding=holding_at(plan, date, item.station))
                later.append(replace(item, date=date, key=places.setdefault(key, len(places))))
    return list(places), [*shifts, *later]


def _draw(
    plan: Plan, horizon, keys, shifts, answers, views, draws, seed
) -> tuple[dict[str, Drawn], dict[str, np.ndarray]]:
    """Futures, one material after another; each component's quantiles, rule, orders and service."""
    futures = Futures.draw(plan.settings, seed, draws, horizon.days)
    place_of = {item.date: horizon.place(item.date) for item in shifts}
    by_material: dict[str, list[Occurrence]] = defaultdict(list)
    for item in shifts:
        by_material[plan.on(item.date).station(item.station).material].append(item)
    drivers: dict[str, Drawn] = {}
    weeks: dict[str, np.ndarray] = {}
    for material in sorted({key[0] for key in views}):
        mine = by_material.get(material, [])
        stations = sorted({item.station for item in mine})
        scraps = [plan.variant(key.holding).station(key.station).scrap for key in keys]
        drawn = draw_material(stations, mine, scraps, answers, place_of, futures)
        mixed = np.zeros((draws, horizon.days))
        for key, view in views.items():
            if key[0] == material:
                need = _need(view, drawn)
                mixed += need
                _component(plan, horizon, view, need, drawn.volume_sd, _rest_of_kit(views, view), seed)
        by_week = mixed.reshape(draws, horizon.weeks, 7).sum(axis=2) * NANO
        weeks[material] = np.quantile(by_week, [MEDIAN, HIGH], axis=0)
        drivers[material] = Drawn(np.empty((0, 0)), drawn.shares, drawn.together, drawn.volume_sd)
    return drivers, weeks


def _need(view: ComponentView, drawn: Drawn) -> np.ndarray:
    """Use of a component in each future and day [m³]; hoses, rests and heel are in it."""
    mixed = sum(view.use[cause] for cause in CAUSES)
    rest = view.use["rest"] / mixed if mixed else 0.0
    need = drawn.days * (view.share / NANO * (1.0 + rest))
    for place, volume in view.hoses.items():
        need[:, place] += volume / NANO
    return need / (1.0 - view.component.heel)


def _rest_of_kit(views: dict[Key, ComponentView], view: ComponentView) -> list[KitMember]:
    """The other components of a kit and their daily use [m³]."""
    kit = view.component.kit
    return [
        (each.component, each.planned_daily)
        for each in views.values()
        if kit and each is not view and each.component.kit == kit
    ]


def _spread_of_days(total: np.ndarray, volume_sd: float, days: int, lead_time: float) -> float:
    """Standard deviation of the use of a day, of totals of many futures over so many days.

    Errors of volume last: they are in it so that √L days of it are the spread of a lead time L.
    """
    mean = float(total.mean())
    calm = max(float(total.var()) - (volume_sd * mean) ** 2, 0.0) / days
    return math.sqrt(calm + max(lead_time / DAY, 1.0) * (volume_sd * mean / days) ** 2)


def _component(
    plan: Plan,
    horizon: Horizon,
    view: ComponentView,
    need: np.ndarray,
    volume_sd: float,
    others: Sequence[KitMember],
    seed: int,
) -> None:
    component = view.component
    weeks = need.reshape(len(need), horizon.weeks, 7).sum(axis=2)
    view.weeks_p50, view.weeks_p90 = np.quantile(weeks, [MEDIAN, HIGH], axis=0)
    view.used_p10, view.used_p90 = np.quantile(np.cumsum(need, axis=1), [1.0 - HIGH, HIGH], axis=0)
    total = weeks.sum(axis=1)
    view.total_p50, view.total_p90 = map(float, np.quantile(total, [MEDIAN, HIGH]))
    view.total_mean, view.total_sd = float(total.mean()), float(total.std())
    days, asked = view.days_of_use, 1.0 + view.opened_loss
    spread = _spread_of_days(total, volume_sd, days, component.lead_time)
    view.rule = stock_rule(component, view.total_mean * asked / days, spread * asked, plan.settings, others)
    _run_out(plan, horizon, view)
    _futures_of_stock(horizon, view, need, pool(plan, horizon, view), seed)


def _used_later(plan: Plan, horizon: Horizon, views: dict[Key, ComponentView], draws: int, seed: int) -> None:
    """The rules of what only builds after these weeks use: how their use spreads is simulated on those."""
    mine = {key: view for key, view in views.items() if not any(view.day_use) and view.planned_daily}
    reach = {key[0] for key, view in mine.items() if _may_be_ordered(horizon, view)}
    keys, every = occurrences(plan) if reach else ([], [])
    spreads: dict[Key, float] = {}
    for material in sorted(reach):
        shifts = [item for item in every if plan.on(item.date).station(item.station).material == material]
        places = {number: place for place, number in enumerate(sorted({item.key for item in shifts}))}
        played = [keys[number] for number in places]
        place_of = {item.date: horizon.place(item.date) for item in shifts}
        drawn = draw_material(
            sorted({item.station for item in shifts}),
            [replace(item, key=places[item.key]) for item in shifts],
            [plan.variant(key.holding).station(key.station).scrap for key in played],
            responses(plan, played),
            place_of,
            Futures.draw(plan.settings, seed, draws, max(place_of.values(), default=0) + 1),
        )
        total = drawn.days.sum(axis=1)
        for key, view in mine.items():
            if key[0] == material:
                spread = _spread_of_days(total, drawn.volume_sd, view.days_of_use, view.component.lead_time)
                share = spread * view.days_of_use / float(total.mean())
                spreads[key] = share * view.planned_daily
    for key, view in mine.items():
        spread, others = spreads.get(key, 0.0), _rest_of_kit(views, view)
        view.rule = stock_rule(view.component, view.planned_daily, spread, plan.settings, others)


def _may_be_ordered(horizon: Horizon, view: ComponentView) -> bool:
    """Whether what a component is first used for may have to be ordered within these weeks."""
    first = next((day for day, volume in enumerate(view.later_use) if volume), math.inf)
    return first <= lead_days(view.component) + SOONER


def pool(plan: Plan, horizon: Horizon, view: ComponentView) -> list[tuple[float, int, int]]:
    """A component's lots as (volume [m³], first day, last day by number)."""
    found = []
    for row in sorted(lot_rows(plan), key=lambda row: row.lot):
        if (row.material, row.component) == view.key:
            arrives = 0 if row.arrival is None else max(horizon.place(row.arrival), 0)
            last = use_by(row.expiry, row.opened, view.component.open_life)
            found.append((row.quantity, arrives, horizon.place(last)))
    for container in StockWalk.of(plan).of_component[view.key].containers.values():
        found.append((container.standing / NANO, 0, horizon.place(container.last_day)))
    return found


def _days_ahead(view: ComponentView) -> np.ndarray:
    """Use day by day [m³]: of the plan's builds, then going on."""
    known = np.array([*view.day_use, *view.later_use]) / NANO
    if len(view.beyond):
        return np.concatenate([known, view.beyond])[: len(view.draws)]
    return np.concatenate([known, np.full(len(view.draws) - len(known), view.going_on)])


def _run_out(plan: Plan, horizon: Horizon, view: ComponentView) -> None:
    """The first day on which a station finds no container without new orders, however many weeks are seen."""
    walk = start_of(plan, horizon, view.key)
    known = len(view.day_use) + len(view.later_use)
    for day, draws in enumerate(view.draws):
        date = horizon.date(day)
        walk.open_day(date)
        for station, volume in draws:
            walk.draw(date, station, volume)
        if walk.runs_out is None:
            continue
        if day < known:
            view.runs_out = date
        else:
            view.empty_after = date
        return


def _order(plan: Plan, horizon: Horizon, views: dict[Key, ComponentView]) -> None:
    """Orders of each component, and of each kit at once."""
    timing = Timing(horizon.first, horizon.as_of, horizon.date(horizon.days - 1), work_days(plan))
    groups: dict[tuple[str, ...], list[ComponentView]] = defaultdict(list)
    for key, view in views.items():
        groups[(view.component.kit,) if view.component.kit else key].append(view)
    for group in groups.values():
        days = min(len(view.draws) for view in group)
        demands = []
        for view in group:
            need = _days_ahead(view)[:days] * (1.0 + view.opened_loss)
            demands.append(Demand(view.rule, view.draws[:days], need, view.planned_daily))
        propose = partial(_propose, horizon, group, demands, timing)
        proposed = propose(plan)
        called = call_sooner(plan, {view.key for view in group}, proposed, propose, timing)
        for view in group:
            view.orders = [order for order in proposed if order.key == view.key]
            view.called = Called(
                tuple(call for call in called.calls if call.key == view.key),
                tuple(order for order in called.orders if order.key == view.key),
            )
        for view in group:
            view.phase_out = _phase_out(plan, horizon, view, partial(_smaller_pack, horizon, group, propose))
            view.draws = ()  # a year of them is much, and nobody else asks for them


def _propose(
    horizon: Horizon, group: Sequence[ComponentView], demands: Sequence[Demand], timing: Timing, plan: Plan
) -> list[Order]:
    """The orders of a component, or of a kit, with the stock of a plan."""
    purchase = Purchase(
        [plan.components_of(view.key[0])[view.key[1]] for view in group],
        demands,
        timing,
        group[0].component.kit,
        partial(_container_price, plan),
    )
    return purchase.orders({view.key: start_of(plan, horizon, view.key) for view in group})


def _container_price(plan: Plan, component: Component, date: datetime.date) -> float:
    """Price of a container on a day."""
    return plan.on(date).components_of(component.material)[component.component].price


def _phase_out(
    plan: Plan, horizon: Horizon, view: ComponentView, smaller: Callable[[Plan, ComponentView], SmallerPack]
) -> PhaseOut | None:
    """What is left of a component that stations have changed away from; None where one still uses it."""
    material, letter = view.key
    ever = any(material in plan.materials_at(row.station) for row in plan.stations)
    at_the_end = plan.on(horizon.date(len(view.draws)))
    if not (plan.dated and ever) or any(row.material == material for row in at_the_end.stations):
        return None
    last = _last_use(view)
    left, date = _left_over(plan, horizon, view, view.orders), horizon.date(max(last, 0))
    order = max(view.orders, key=lambda each: (each.order_by, each.arrival), default=None)
    span = min(GOING_ON, 7 * -(-(last + 1) // 7))
    cycle = [view.draws[day] if day >= 0 else () for day in range(last + 1 - span, last + 1)]
    going_on = [*view.draws[: last + 1], *(cycle * (BEYOND // GOING_ON))]
    return PhaseOut(
        date if last >= 0 else None,
        left,
        left * price_on(plan, material, letter, date),
        order,
        None if order is None else smaller(plan, view),
        _lasting(
            plan, horizon, view, view.draws[: last + 1], [each for each in view.orders if each != order]
        ),
        _lasting(plan, horizon, view, going_on, view.orders),
        tuple(_cuts(plan, horizon, view, left)),
    )


def _last_use(view: ComponentView) -> int:
    """The number of the last day on which something is drawn; -1 where nothing is."""
    return max((day for day, draws in enumerate(view.draws) if draws), default=-1)


def _played(
    plan: Plan, horizon: Horizon, key: Key, draws: DayDraws, orders: Iterable[Order]
) -> Iterator[tuple[int, ComponentWalk]]:
    """A component's stock on the evening of each day, with orders."""
    walk = start_of(plan, horizon, key)
    walk.lots += [order.lot() for order in orders]
    for day, drawn in enumerate(draws):
        walk.open_day(horizon.date(day))
        for station, volume in drawn:
            walk.draw(horizon.date(day), station, volume)
        yield day, walk


def _left_over(plan: Plan, horizon: Horizon, view: ComponentView, orders: Sequence[Order]) -> int:
    """What is here and to come of a component after the last day on which it is used [nL]."""
    draws = view.draws[: max(_last_use(view) + 1, 1)]
    return [walk for _, walk in _played(plan, horizon, view.key, draws, orders)][-1].on_hand_or_to_come()


def _lasting(
    plan: Plan, horizon: Horizon, view: ComponentView, draws: DayDraws, orders: Sequence[Order]
) -> OtherDay | None:
    """The last day of use that the stock lasts for, and what is left then; None where it is not used up."""
    found = None
    for day, walk in _played(plan, horizon, view.key, draws, orders):
        if walk.runs_out is not None:
            return found
        if draws[day]:
            found = OtherDay(horizon.date(day), walk.on_hand_or_to_come())
    return None


def _cuts(plan: Plan, horizon: Horizon, view: ComponentView, left: int) -> Iterator[Cut]:
    """Whole packs of open orders that are not missed until the last day, the latest to come first."""
    names, draws = {row.at: row.order for row in plan.orders}, view.draws[: _last_use(view) + 1]
    content, pack = nanolitres(view.component.container), view.component.pack_multiple
    coming = [row for row in plan.stock if (row.material, row.component) == view.key and row.at in names]
    for row in sorted(coming, key=lambda row: row.arrival or horizon.first, reverse=True):
        fewest, most = 0, min(nanolitres(row.quantity), left) // content // pack
        while fewest < most:
            packs = (fewest + most + 1) // 2
            other = _without(plan, row, packs * pack * view.component.container)
            if any(walk.missing for _, walk in _played(other, horizon, view.key, draws, view.orders)):
                most = packs - 1
            else:
                fewest = packs
        if fewest:
            plan = _without(plan, row, fewest * pack * view.component.container)
            left -= fewest * pack * content
            yield Cut(names[row.at], fewest * pack)


def _without(plan: Plan, row: StockLot, volume: float) -> Plan:
    """The plan with so much less [m³] of a lot."""
    less = replace(row, quantity=row.quantity - volume)
    return replace(plan, stock=[less if each is row else each for each in plan.stock])


def _smaller_pack(
    horizon: Horizon, group: Sequence[ComponentView], propose: Propose, plan: Plan, view: ComponentView
) -> SmallerPack:
    """What were left over if a component and its kit came singly; where they do, in half the size."""
    rows = {each.key: each.component for each in group}
    is_single = all(row.pack_multiple == row.minimum_order == 1 for row in rows.values())
    for key, row in rows.items():
        rows[key] = (
            sized(row, row.container / 2.0) if is_single else replace(row, pack_multiple=1, minimum_order=1)
        )
    components = [rows.get((row.material, row.component), row) for row in plan.components]
    other = replace(plan, components=components)
    orders = [order for order in propose(other) if order.key == view.key]
    left = _left_over(other, horizon, view, orders)
    return SmallerPack(rows[view.key].container if is_single else None, left)


def start_of(plan: Plan, horizon: Horizon, key: Key) -> ComponentWalk:
    """A component's lots on the first morning."""
    walk = StockWalk.of(plan).of_component[key]
    walk.begin(horizon.first, horizon.as_of)
    return walk


def _futures_of_stock(
    horizon: Horizon, view: ComponentView, need: np.ndarray, lots: list[tuple[float, int, int]], seed: int
) -> None:
    """How early it may run out without orders, and how often it runs short when ordered by rule.

    Stock in an open container is of no use to another station. A future counts as out of stock on the
    first day that ends with no more than what the plan still held elsewhere when it ran out; where the
    plan does not run out, with half a container at each other station.
    """
    planned = _days_ahead(view)
    out = None if view.runs_out is None else horizon.place(view.runs_out)
    usable = usable_volume(view.component)
    elsewhere = (
        max(view.stations - 1, 0) * usable / 2.0
        if out is None or out >= horizon.days
        else (float(project(lots, planned[: out + 1])[out]))
    )
    held, short = draw_stock(lots, need)
    is_short = (short > NOTHING) | ((held <= elsewhere * (1.0 + EQUAL)) & (need > 0.0) & (elsewhere > 0.0))
    ever = is_short.any(axis=1)
    first = np.where(ever, is_short.argmax(axis=1), horizon.days)
    early = int(np.quantile(first, 1.0 - HIGH, method="lower"))
    if out is not None:
        early = min(early, out)  # the plan itself is one of the futures
    if early < horizon.days:
        view.runs_out_early = horizon.date(early)
    if view.rule.daily_use <= 0.0:
        return
    rng = np.random.default_rng([seed, 4, *map(ord, "".join(view.key))])
    view.service, view.cycles = simulate_service(
        lots, need, planned, view.rule, view.rule.order * view.component.container, rng
    )


# ----------------------------------------------------------------------------------------- tables


__all__ = ["Forecast", "forecast"]
