"""Weeks of builds turned into consumption, stock, orders, cost, and how sure all that is.

`forecast(plan, weeks)` plays every shift of the builds with the shift model (each distinct shift
once, see `response`), carries lots through them (`stock`), draws many futures (`simulate`) and
proposes orders. The result is a `Forecast`: tables that answer one question each, printed as text,
JSON, CSV or a workbook.

What is settled here:
- weeks are calendar weeks from Monday; the first is that of the first build;
- builds are taken as given and not repeated: where they end early the forecast ends with them;
- beyond the last build orders count on the mean daily use going on, as a reorder point does.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import math
import os
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from .answers import answer
from .errors import FileError, InputError, Problem
from .findings import DANGER, SHORTAGE, STOP, Finding, gravest_first
from .materials import mix_shares
from .paper import paper_code
from .plan_findings import plan_findings
from .response import CAUSES, Occurrence, Response, ShiftKey, occurrences, responses
from .shift import NANO, nanolitres
from .simulate import DRIVERS, Drawn, Futures, draw_material
from .stock import (
    ALL_CAUSES,
    Key,
    Order,
    StockRule,
    StockWalk,
    draw_stock,
    plan_orders,
    project,
    simulate_service,
    stock_rule,
)
from .units import DAY, volume_text

ML = 1e6  # nanolitres in a millilitre
LAST_DAY = datetime.date(9999, 1, 1)
MOST_WEEKS = 520
MOST_DRAWS = 100_000
BEYOND = 180  # days after the builds that are looked at for orders and cover
CAUSE_WORDS = {
    "parts": "on good parts", "scrap": "scrapped parts", "start": "start of shift",
    "end": "end of shift", "purge": "purges", "mixers": "mixers", "checks": "check shots",
    "hoses": "filling hoses", "heel": "heel in containers", "expired": "expired",
}  # fmt: skip
WASTE = tuple(cause for cause in ALL_CAUSES if cause not in {"parts", "hoses"})
SHOWN = 6  # lines of a chart that can still be told apart
OUTPUTS = (".xlsx", ".csv", ".json")


@dataclass(frozen=True, slots=True)
class Horizon:
    """The days that are looked at: from the Monday before the first build to a Sunday."""

    first: datetime.date
    end: datetime.date  # the day after the last
    first_build: datetime.date
    last_build: datetime.date
    asked: int

    @property
    def days(self) -> int:
        """Number of days."""
        return (self.end - self.first).days

    @property
    def weeks(self) -> int:
        """Number of calendar weeks."""
        return self.days // 7

    def date(self, place: int) -> datetime.date:
        """The date of a day by number."""
        return self.first + datetime.timedelta(days=place)

    def place(self, date: datetime.date) -> int:
        """The number of a date."""
        return (date - self.first).days

    def week_name(self, week: int) -> str:
        """2026-W10: the ISO week."""
        year, number, _ = self.date(7 * week).isocalendar()
        return f"{year}-W{number:02d}"


@dataclass(slots=True)
class Table:
    """One question and its answer: columns with units, rows."""

    name: str
    question: str
    columns: tuple[tuple[str, str, str], ...]  # name, unit, kind: text, date, number, whole, share
    rows: list[list[Any]] = field(default_factory=list)
    note: str = ""
    total: tuple[str, ...] | bool = False  # columns that may be added up; True: all numbers

    def headers(self) -> list[str]:
        """Names with units."""
        return [f"{name} [{unit}]" if unit else name for name, unit, _ in self.columns]

    def records(self) -> list[dict[str, Any]]:
        """Rows as dictionaries by header."""
        return [dict(zip(self.headers(), row, strict=True)) for row in self.rows]


@dataclass(slots=True)
class ComponentView:
    """What is known of one component over the horizon; volumes in m³."""

    key: Key
    component: Any
    share: float
    day_use: list[int]  # nL, heel and write-off apart
    rule: StockRule
    two_part: bool
    runs_out: datetime.date | None = None
    runs_out_early: datetime.date | None = None  # in one of ten futures
    empty_after: datetime.date | None = None  # at the mean use, beyond the builds
    weeks_p50: np.ndarray = field(default_factory=lambda: np.zeros(0))
    weeks_p90: np.ndarray = field(default_factory=lambda: np.zeros(0))
    total_p50: float = 0.0
    total_p90: float = 0.0
    service: float = math.nan  # share of order cycles without a shortage, simulated
    cycles: int = 0
    orders: list[Order] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Ternhem 21 A."""
        return f"{self.key[0]} {self.key[1].upper()}" if self.two_part else self.key[0]


@dataclass(slots=True)
class Forecast:
    """Everything a forecast found out; the tables are what is printed."""

    plan: Any
    horizon: Horizon
    draws: int
    seed: int
    keys: list[ShiftKey]
    shifts: list[Occurrence]
    responses: list[Response]
    walk: StockWalk
    ordered: StockWalk
    levels: dict[Key, list[int]]  # stock at the end of each day without orders [nL]
    levels_ordered: dict[Key, list[int]]
    components: dict[Key, ComponentView]
    drivers: dict[str, Drawn]
    material_weeks: dict[str, np.ndarray]  # P50 and P90 of the mixed volume by week [nL]
    what_if: Any = None
    tables: dict[str, Table] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    written: str = ""

    @property
    def currency(self) -> str:
        """What prices are counted in."""
        return self.plan.settings.get("currency", "")

    def price(self, key: Key) -> float:
        """Price of a nanolitre."""
        component = self.components[key].component
        return component.price / (component.container * NANO)

    @property
    def first_out(self) -> ComponentView | None:
        """The component that runs out first."""
        out = [view for view in self.components.values() if view.runs_out is not None]
        return min(out, key=lambda view: (view.runs_out or LAST_DAY, view.key), default=None)

    @property
    def next_order(self) -> Order | None:
        """The order that must be placed first."""
        orders = [order for view in self.components.values() for order in view.orders]

        def urgency(order: Order) -> tuple:
            runs_out = self.components[order.key].runs_out or LAST_DAY
            return (order.order_by, runs_out, order.arrival, order.key)

        return min(orders, key=urgency, default=None)

    @property
    def answers(self) -> dict[str, str]:
        """What each table says, in a line; "" where it has no rows."""
        return {name: answer(self.tables, name, self.currency) for name in self.tables}

    def headline(self) -> list[str]:
        """The answer in a few lines."""
        lines = []
        first = self.first_out
        if first is None:
            after = [view for view in self.components.values() if view.empty_after is not None]
            words = ""
            if after:
                view = min(after, key=lambda view: (view.empty_after or LAST_DAY, view.key))
                words = (f" If the mean use goes on, {view.name} is empty on {view.empty_after:%a} "
                         f"{view.empty_after}.")  # fmt: skip
            lines.append(f"Nothing runs out by {self.horizon.last_build}, the last build.{words}")
        else:
            day, early = first.runs_out or LAST_DAY, first.runs_out_early
            words = f" (in one of ten futures by {early})" if early and early < day else ""
            lines.append(f"First to run out: {first.name} on {day:%a} {day}{words}.")
        order = self.next_order
        if order is None:
            lines.append("No order is needed.")
        else:
            view = self.components[order.key]
            late = f"; {order.note}" if order.note else ""
            others = sum(each.order_by == order.order_by for every in self.components.values()
                         for each in every.orders) - 1  # fmt: skip
            more = f" {others} more by the same day." if others else ""
            lines.append(f"Next order: {order.containers} × {volume_text(view.component.container)} "
                         f"{view.name} by {order.order_by:%a} {order.order_by}{late}.{more}")  # fmt: skip
        return lines

    def frame(self):
        """What is drawn as planned, for pandas: a row for each shift, station, component and cause."""
        import pandas as pd

        stations = {row.station: row for row in self.plan.stations}
        rows = [
            (item.date, self.horizon.week_name(self.horizon.place(item.date) // 7), item.shift,
             item.station, stations[item.station].material, letter.upper(), cause, volume / ML)
            for item in self.shifts
            for letter, used in self.responses[item.key].used.items()
            for cause, volume in used.items() if volume
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=["date", "week", "shift", "station", "material", "component",
                                           "cause", "volume [mL]"])  # fmt: skip

    # -- output ------------------------------------------------------------------------------

    def as_json(self) -> dict[str, Any]:
        """Plain values for systems: dates as ISO texts, units in the names."""
        horizon = self.horizon
        first, order = self.first_out, self.next_order
        return {
            "from": horizon.first_build.isoformat(), "to": horizon.last_build.isoformat(),
            "weeks": horizon.weeks, "weeks_asked": horizon.asked, "draws": self.draws,
            "seed": self.seed, "currency": self.currency,
            "first_to_run_out": None if first is None else {
                "component": first.name, "date": _json(first.runs_out)},
            "next_order": None if order is None else {
                "component": self.components[order.key].name, "containers": order.containers,
                "order_by": order.order_by.isoformat(), "arrival": order.arrival.isoformat()},
            "tables": {
                table.name: [{key: _json(value) for key, value in row.items()}
                             for row in table.records()]
                for table in self.tables.values()
            },
            "answers": self.answers,
            "notes": list(self.notes),
            "findings": [finding.as_json() for finding in self.findings],
            "written": self.written,
        }  # fmt: skip

    def as_text(self) -> str:
        """A short report."""
        from .terminal import emphasise, findings_text, table

        horizon = self.horizon
        lines = [
            emphasise(f"Forecast {horizon.first_build} to {horizon.last_build}: "
                      f"{len(self.shifts)} station shifts, {len(self.keys)} of them distinct, "
                      f"{self.draws} futures"),
            *self.headline(), "",
        ]  # fmt: skip
        for name in ("components", "orders", "causes"):
            found = self.tables.get(name)
            if found is None or not found.rows:
                continue
            if name == "causes":
                found = _cause_summary(self)
            kinds = [column[2] for column in found.columns]
            rows = [[_shown(value, kind) for value, kind in zip(row, kinds, strict=True)]
                    for row in found.rows]  # fmt: skip
            lines += [emphasise(found.question), table(found.headers(), rows), ""]
        lines += self.notes
        if self.findings:
            lines += ["", findings_text(self.findings, notes=False)]
        if self.written:
            lines.append(f"wrote {self.written}")
        return "\n".join(lines).rstrip()

    def as_csv(self) -> str:
        """Every table one under another in long form: table, row, column, unit, value."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["table", "row", "column", "unit", "value"])
        for found in self.tables.values():
            for number, row in enumerate(found.rows, 1):
                for (name, unit, _), value in zip(found.columns, row, strict=True):
                    if value is not None:
                        writer.writerow([found.name, number, _safe(name), unit, _safe(_json(value))])
        return out.getvalue()


def _safe(value: Any) -> Any:
    """A text that a spreadsheet does not take for a formula."""
    if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return "'" + value
    return value


def _json(value: Any) -> Any:
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value


def _shown(value: Any, kind: str) -> Any:
    if value is None or value == "":
        return ""
    if isinstance(value, float) and not math.isfinite(value):
        return ""
    if kind == "share":
        return f"{100 * value:.0f} %"
    if kind == "whole":
        return f"{value:.0f}"
    if kind == "number":
        return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return value


# ---------------------------------------------------------------------------------------- running


def forecast_file(plan: str | os.PathLike[str], *, weeks: int = 4,
                  out: str | os.PathLike[str] | None = None,
                  builds: str | os.PathLike[str] | None = None, draws: int = 500, seed: int = 1,
                  what_if: bool = True, processes: int = 1, paper: str = "A4") -> Forecast:  # fmt: skip
    """Forecast a plan workbook and write the result: .xlsx, .csv or .json by the ending of `out`.

    `paper` is what the workbook is printed on, A4 or Letter.
    """
    from .builds import by_row, raw_builds
    from .plan import read_plan
    from .workbook.read_plan import load_plan, read_tables

    paper_code(paper, "forecast")
    if out is not None:
        _ending(out)
    if builds is None:
        records = load_plan(plan)
    else:
        tables = read_tables(plan)
        tables["Builds"] = raw_builds(builds)
        records, problems = read_plan(tables)
        if problems:
            raise InputError(by_row(problems, tables["Builds"].sheet))
    found = forecast(records, weeks, draws=draws, seed=seed, processes=processes)
    if what_if:
        from .whatif import what_if_table

        what_if_table(found)
    if out is not None:
        write_forecast(found, out, paper=paper,
                       forbid=[plan] + ([builds] if builds is not None else []))
    return found


def _ending(out: str | os.PathLike[str]) -> str:
    """The ending of a file that can be written."""
    ending = Path(out).suffix.lower()
    if ending not in OUTPUTS:
        raise FileError(Problem(str(out), message="is not a kind of file that is written",
                                fix="one ending in " + ", ".join(OUTPUTS)))  # fmt: skip
    return ending


def write_forecast(found: Forecast, out: str | os.PathLike[str], forbid: Sequence = (),
                   paper: str = "A4") -> Path:  # fmt: skip
    """Write a forecast in the form that the file's ending asks for."""
    from .workbook.write import atomic_write

    target = Path(out)
    ending = _ending(target)
    if ending == ".xlsx":
        from .workbook.forecast_book import book_bytes

        content = book_bytes(found, paper)
    elif ending == ".csv":
        content = found.as_csv().encode("utf-8-sig")
    else:
        content = (json.dumps(found.as_json(), ensure_ascii=False, indent=2, allow_nan=False)
                   + "\n").encode()  # fmt: skip
    atomic_write(target, content, forbid=forbid)
    found.written = str(target)
    return target


def forecast(plan, weeks: int = 4, *, builds=None, draws: int = 500, seed: int = 1,
             processes: int = 1) -> Forecast:  # fmt: skip
    """Forecast a plan over calendar weeks from its first build.

    `builds` replaces the plan's: a CSV, Parquet or SQLite file, or a pandas data frame. The same
    seed gives the same figures, whatever the order of rows and the number of processes.
    """
    _check_numbers(weeks=weeks, draws=draws, seed=seed, processes=processes)
    if builds is not None:
        from .builds import with_builds

        plan = with_builds(plan, builds)
    horizon = horizon_of(plan, weeks)
    keys, shifts = occurrences(plan, horizon.end)
    answers = responses(plan, keys, processes=processes)
    walk, levels = walk_stock(plan, horizon, shifts, answers)
    views = _components(plan, horizon, shifts, answers)
    drivers, material_weeks = _draw(plan, horizon, shifts, answers, views, walk, draws, seed)
    orders = [order for view in views.values() for order in view.orders]
    orders.sort(key=lambda order: (order.order_by, order.arrival, order.key))
    ordered, levels_ordered = walk_stock(plan, horizon, shifts, answers, orders)
    found = Forecast(plan, horizon, draws, seed, keys, shifts, answers, walk, ordered, levels,
                     levels_ordered, views, drivers, material_weeks)  # fmt: skip
    _notes(found)
    _tables(found)
    found.findings = _findings(found)
    return found


_RANGES = {
    "weeks": (1, MOST_WEEKS),
    "draws": (10, MOST_DRAWS),
    "seed": (0, 2**63 - 1),
    "processes": (1, 61),
}


def _check_numbers(**given: int) -> None:
    problems = []
    for name, value in given.items():
        low, high = _RANGES[name]
        if not (isinstance(value, int) and low <= value <= high):
            problems.append(Problem("forecast", name, value, f"a whole number from {low} to {high}"))
    if problems:
        raise InputError(problems)


def horizon_of(plan, weeks: int) -> Horizon:
    """The calendar weeks from the first build, ending with the builds where those end earlier."""
    days = [date for date, _ in plan.days()]
    if not days:
        raise InputError(Problem("Builds", message="no builds", fix="fill in table Builds"))
    monday = days[0] - datetime.timedelta(days=days[0].weekday())
    end = monday + datetime.timedelta(days=7 * weeks)
    inside = [date for date in days if date < end]
    last = inside[-1]
    sunday = last + datetime.timedelta(days=7 - last.weekday())
    return Horizon(monday, min(end, sunday), days[0], last, weeks)


def walk_stock(plan, horizon: Horizon, shifts: Sequence[Occurrence], answers: Sequence[Any],
               orders: Sequence[Order] = ()) -> tuple[StockWalk, dict[Key, list[int]]]:  # fmt: skip
    """Lots through every shift, and the stock at the end of each day.

    `answers` have what a shift draws in `used`, as a `Response` has.
    """
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


def _components(plan, horizon, shifts, answers) -> dict[Key, ComponentView]:
    views: dict[Key, ComponentView] = {}
    for row in sorted(plan.components, key=lambda row: (row.material, row.component)):
        parts = plan.components_of(row.material)
        share = mix_shares(plan.material(row.material), parts)[row.component]
        key = (row.material, row.component)
        rule = stock_rule(row, 0.0, 0.0, plan.settings)
        views[key] = ComponentView(key, row, share, [0] * horizon.days, rule, len(parts) > 1)
    material_of = {row.station: row.material for row in plan.stations}
    filled: set[str] = set()
    stations = {row.station: row for row in plan.stations}
    for item in shifts:
        for letter, used in answers[item.key].used.items():
            view = views[material_of[item.station], letter]
            volume = sum(used.values())
            if item.station not in filled:
                volume += nanolitres(getattr(stations[item.station], f"hose_{letter}"))
            view.day_use[horizon.place(item.date)] += volume
        filled.add(item.station)
    return views


def _draw(
    plan, horizon, shifts, answers, views, walk, draws, seed
) -> tuple[dict[str, Drawn], dict[str, np.ndarray]]:
    """Futures, one material after another; each component's quantiles, rule, orders and service."""
    futures = Futures.draw(plan.settings, seed, draws, horizon.days)
    place_of = {item.date: horizon.place(item.date) for item in shifts}
    by_material: dict[str, list[str]] = defaultdict(list)
    for row in sorted(plan.stations, key=lambda row: row.station):
        by_material[row.material].append(row.station)
    drivers: dict[str, Drawn] = {}
    weeks: dict[str, np.ndarray] = {}
    for material in sorted({key[0] for key in views}):
        drawn = draw_material(plan, by_material.get(material, ()), shifts, answers, place_of, futures)
        for key, view in views.items():
            if key[0] == material:
                _component(plan, horizon, view, walk, drawn, seed)
        by_week = drawn.days.reshape(draws, horizon.weeks, 7).sum(axis=2)
        weeks[material] = np.quantile(by_week, [0.5, 0.9], axis=0)
        drivers[material] = Drawn(np.empty((0, 0)), drawn.shares, drawn.together, drawn.volume_sd)
    return drivers, weeks


def _component(plan, horizon: Horizon, view: ComponentView, walk: StockWalk, drawn: Drawn,
               seed: int) -> None:  # fmt: skip
    component = view.component
    loss = 1.0 / (1.0 - component.heel)  # heel at its mean: a share of each container
    need = drawn.days * (view.share * loss / NANO)
    weeks = need.reshape(len(need), horizon.weeks, 7).sum(axis=2)
    view.weeks_p50, view.weeks_p90 = np.quantile(weeks, [0.5, 0.9], axis=0)
    total = weeks.sum(axis=1)
    view.total_p50, view.total_p90 = map(float, np.quantile(total, [0.5, 0.9]))
    planned = np.array(view.day_use) * (loss / NANO)
    daily = float(total.mean()) / horizon.days
    calm = max(float(total.var()) - (drawn.volume_sd * float(total.mean())) ** 2, 0.0) / horizon.days
    lead = max(component.lead_time / DAY, 1.0)
    view.rule = stock_rule(component, daily, math.sqrt(calm + lead * (drawn.volume_sd * daily) ** 2),
                           plan.settings)  # fmt: skip
    lots = pool(plan, horizon, view)
    ahead = horizon.days + math.ceil(lead) + BEYOND
    beyond = np.concatenate([planned, np.full(ahead - horizon.days, daily)])
    view.orders = plan_orders(component, view.rule, lots, beyond, horizon.first, horizon.days - 1,
                              earliest=horizon.place(horizon.first_build))  # fmt: skip
    _run_out(horizon, view, walk, project(lots, beyond), beyond)
    _futures_of_stock(horizon, view, need, lots, beyond, seed)


def pool(plan, horizon: Horizon, view: ComponentView) -> list[tuple[float, int, int]]:
    """A component's lots as (volume [m³], first day, last day by number)."""
    from .stock import LotLedger

    found = []
    for row in sorted(plan.stock, key=lambda row: row.lot):
        if (row.material, row.component) == view.key:
            lot = LotLedger(row.material, row.component, row.lot, row.expiry, row.opened, row.arrival)
            arrives = 0 if row.arrival is None else max(horizon.place(row.arrival), 0)
            found.append((row.quantity, arrives,
                          horizon.place(lot.last_day(view.component.open_life))))  # fmt: skip
    return found


def _run_out(horizon, view, walk, stock: np.ndarray, need: np.ndarray) -> None:
    view.runs_out = walk.runs_out.get(view.key)
    empty = np.nonzero((stock <= 1e-12) & (need > 0.0))[0]
    after = [place for place in empty if place >= horizon.days]
    if view.runs_out is None and after:
        view.empty_after = horizon.date(int(after[0]))


def _futures_of_stock(horizon, view: ComponentView, need: np.ndarray, lots, planned: np.ndarray,
                      seed: int) -> None:  # fmt: skip
    """How early it may run out without orders, and how often it runs short when ordered by rule."""
    _, short = draw_stock(lots, need)
    is_short = short > 1e-12
    ever = is_short.any(axis=1)
    first = np.where(ever, is_short.argmax(axis=1), horizon.days)
    early = int(np.quantile(first, 0.1, method="lower"))
    if early < horizon.days:
        view.runs_out_early = horizon.date(early)
    if view.rule.daily_use <= 0.0:
        return
    rng = np.random.default_rng([seed, 4, *map(ord, "".join(view.key))])
    view.service, view.cycles = simulate_service(
        lots, need, planned, view.rule, view.rule.order * view.component.container, rng
    )


# ----------------------------------------------------------------------------------------- tables


def _notes(found: Forecast) -> None:
    horizon, plan = found.horizon, found.plan
    if horizon.weeks < horizon.asked:
        found.notes.append(
            f"Builds end on {horizon.last_build}: the forecast covers {horizon.weeks} of the "
            f"{horizon.asked} weeks asked for."
        )
    found.notes.append(
        "Orders count on the mean daily use going on after the last build; dates by which to order "
        "fall on working days."
    )
    short = sorted({item.station for item in found.shifts if found.responses[item.key].is_short})
    if short:
        found.notes.append("Not all parts fit into their shifts at: " + ", ".join(short) + ".")
    if not plan.settings["demand_spread"]:
        found.notes.append("Demand spread is 0 in Settings: P90 holds only if builds come as planned.")
    unpriced = [view.name for view in found.components.values() if not view.component.price]
    if unpriced:
        found.notes.append("No price: " + ", ".join(unpriced) + ".")


def _findings(found: Forecast) -> list[Finding]:
    """What a planner must act on: dangers of the plan, stock that ends, shifts that are too short."""
    findings = [item for item in plan_findings(found.plan) if item.kind == DANGER]
    for key, view in found.components.items():
        late = found.ordered.runs_out.get(key)
        orders = [order.order_by for order in view.orders]
        act = f"order by {min(orders)}" if orders else "order"
        if late is not None:
            findings.append(Finding(
                STOP, f"{view.name} runs out on {late}, before an order can arrive",
                f"{act}, and find stock elsewhere or move builds", SHORTAGE, material=key[0], day=late,
            ))  # fmt: skip
        elif view.runs_out is not None:
            findings.append(Finding(
                STOP, f"{view.name} runs out on {view.runs_out} without an order", act, "order",
                material=key[0], day=view.runs_out,
            ))  # fmt: skip
    for item in found.shifts:
        if found.responses[item.key].is_short:
            findings.append(Finding(
                STOP, "not all parts fit into their shift", "longer hours, fewer parts, or another station",
                "output", item.station, day=item.date, shift=item.shift,
            ))  # fmt: skip
    return gravest_first(findings)


def _tables(found: Forecast) -> None:
    for make in _MAKERS:
        table = make(found)
        found.tables[table.name] = table


def _volume(nanos: int | float) -> float:
    return nanos / ML


def _component_table(found: Forecast) -> Table:
    table = Table(
        "components", "When does each component run out?",
        (("Component", "", "text"), ("In stock", "mL", "number"), ("Due in", "mL", "number"),
         ("Use planned", "mL", "number"), ("Use P50", "mL", "number"), ("Use P90", "mL", "number"),
         ("P90 of stock", "", "share"), ("Runs out", "", "date"), ("One in ten by", "", "date"),
         ("After builds", "", "date"), ("Order by", "", "date")),
        note="Due in: lots of the plan that arrive in these weeks. Planned use is what the shift "
        "model draws, hoses and heel included. Runs out: without new orders. One in ten by: the day "
        "by which one of ten futures has run out. After builds: the day it would be empty if the "
        "mean use went on.",
    )  # fmt: skip
    for key, view in found.components.items():
        here = sum(lot.opening for lot in found.walk.lots[key])
        causes = found.walk.causes[key]
        planned = sum(volume for cause, volume in causes.items() if cause != "expired")
        order = min((order.order_by for order in view.orders), default=None)
        due = sum(lot.received for lot in found.walk.lots[key])
        table.rows.append([view.name, _volume(here), _volume(due), _volume(planned),
                           view.total_p50 * 1e6, view.total_p90 * 1e6,
                           view.total_p90 * NANO / (here + due) if here + due else None,
                           view.runs_out, view.runs_out_early, view.empty_after, order])  # fmt: skip
    return table


def _order_table(found: Forecast) -> Table:
    table = Table(
        "orders", "What is to be ordered, and by when?",
        (("Order by", "", "date"), ("Arrives", "", "date"), ("Component", "", "text"),
         ("Containers", "", "whole"), ("Volume", "mL", "number"), ("Usable until", "", "date"),
         ("Cost", found.currency, "number"), ("Note", "", "text")),
        note="Whole containers, at least the minimum order; arrival one lead time after the order.",
        total=("Cost",),
    )  # fmt: skip
    orders = [(order, view) for view in found.components.values() for order in view.orders]
    for order, view in sorted(orders, key=lambda pair: (pair[0].order_by, pair[0].arrival, pair[0].key)):
        until = None if order.expiry == datetime.date.max else order.expiry
        table.rows.append([order.order_by, order.arrival, view.name, order.containers,
                           _volume(order.volume), until, order.cost, order.note])  # fmt: skip
    return table


def _week_table(found: Forecast) -> Table:
    table = Table(
        "weeks", "How much goes each week?",
        (("Week", "", "text"), ("From", "", "date"), ("Component", "", "text"),
         ("Planned", "mL", "number"), ("P50", "mL", "number"), ("P90", "mL", "number"),
         ("P90 in containers", "", "number")),
        note="Planned: the shift model on the builds as they stand, heel at its mean, hoses "
        "filled where they are empty, what expires apart. P50 and P90: half and nine of ten futures "
        "draw no more. The P90 of single weeks do not add up to that of all weeks.",
    )  # fmt: skip
    for week in range(found.horizon.weeks):
        for view in found.components.values():
            planned = sum(view.day_use[7 * week : 7 * week + 7]) / (1.0 - view.component.heel)
            p50, p90 = float(view.weeks_p50[week]), float(view.weeks_p90[week])
            table.rows.append([found.horizon.week_name(week), found.horizon.date(7 * week), view.name,
                               _volume(planned), p50 * 1e6, p90 * 1e6,
                               p90 / view.component.container])  # fmt: skip
    return table


def _material_table(found: Forecast) -> Table:
    table = Table(
        "materials", "How much of each material goes each week?",
        (("Week", "", "text"), ("From", "", "date"), ("Material", "", "text"),
         ("Planned", "mL", "number"), ("P50", "mL", "number"), ("P90", "mL", "number")),
        note="Mixed material, A and B together; heel and hoses apart.",
    )  # fmt: skip
    planned: dict[tuple[str, int], int] = defaultdict(int)
    material_of = {row.station: row.material for row in found.plan.stations}
    for item in found.shifts:
        week = found.horizon.place(item.date) // 7
        used = found.responses[item.key].used
        planned[material_of[item.station], week] += sum(sum(each.values()) for each in used.values())
    for week in range(found.horizon.weeks):
        for material, (p50, p90) in found.material_weeks.items():
            table.rows.append([found.horizon.week_name(week), found.horizon.date(7 * week), material,
                               _volume(planned[material, week]), float(p50[week]) / ML,
                               float(p90[week]) / ML])  # fmt: skip
    return table


def _station_week_table(found: Forecast) -> Table:
    horizon = found.horizon
    table = Table(
        "station_weeks", "How much does each station draw each week?",
        (("Station", "", "text"), ("Component", "", "text"),
         *((horizon.week_name(week), "mL", "number") for week in range(horizon.weeks))),
        note="As planned; heel and hoses apart.",
    )  # fmt: skip
    totals: dict[tuple[str, str], list[int]] = {}
    for item in found.shifts:
        week = horizon.place(item.date) // 7
        for letter, used in found.responses[item.key].used.items():
            totals.setdefault((item.station, letter), [0] * horizon.weeks)[week] += sum(used.values())
    for (station, letter), weeks in sorted(totals.items()):
        view = found.components[found.plan.station(station).material, letter]
        table.rows.append([station, view.name, *map(_volume, weeks)])
    return table


def _day_table(found: Forecast) -> Table:
    views = list(found.components.values())
    prices = [found.price(view.key) for view in views]
    table = Table(
        "days", "How much goes each day?",
        (("Day", "", "date"), *((view.name, "mL", "number") for view in views),
         ("Cost", found.currency, "number")),
        note="As planned, hoses included, heel apart.", total=True,
    )  # fmt: skip
    for place in range(found.horizon.days):
        volumes = [_volume(view.day_use[place]) for view in views]
        if any(volumes):
            cost = math.fsum(view.day_use[place] * price for view, price in zip(views, prices, strict=True))
            table.rows.append([found.horizon.date(place), *volumes, cost])
    return table


def _stock_table(found: Forecast) -> Table:
    views = list(found.components.items())
    table = Table(
        "stock", "How much is in stock at the end of each day?",
        (("Day", "", "date"), *((view.name, "mL", "number") for _, view in views)),
        note="As planned, with the proposed orders that arrive: on the shelf and in containers at "
        "stations.",
    )  # fmt: skip
    for place in range(found.horizon.days):
        table.rows.append([found.horizon.date(place),
                           *(_volume(found.levels_ordered[key][place]) for key, _ in views)])  # fmt: skip
    return table


def _cover_table(found: Forecast) -> Table:
    """The components that run out first, in days of mean use."""
    used = [(key, view) for key, view in found.components.items() if view.rule.daily_use > 0.0]

    def lasts(pair) -> tuple:
        key, view = pair
        return (found.levels[key][-1] / view.rule.daily_use, key)

    chosen = sorted(used, key=lasts)[:SHOWN]
    table = Table(
        "cover", "How many days does the stock last?",
        (("Day", "", "date"), *((view.name, "d", "number") for _, view in chosen)),
        note="Stock at the end of each day without new orders, over the mean use of a calendar day. "
        f"The {SHOWN} components that last least." if len(used) > SHOWN else
        "Stock at the end of each day without new orders, over the mean use of a calendar day.",
    )  # fmt: skip
    for place in range(found.horizon.days):
        table.rows.append([found.horizon.date(place), *(
            found.levels[key][place] / NANO / view.rule.daily_use for key, view in chosen)])  # fmt: skip
    return table


def _station_table(found: Forecast) -> Table:
    table = Table(
        "stations", "Where does it go?",
        (("Station", "", "text"), ("Component", "", "text"),
         *((CAUSE_WORDS[cause].capitalize(), "mL", "number") for cause in CAUSES),
         ("All", "mL", "number"), ("Waste", "", "share")),
        note="Heel, hoses and what expires belong to the component, not to a station.",
    )  # fmt: skip
    totals: dict[tuple[str, str], dict[str, int]] = {}
    for item in found.shifts:
        for letter, used in found.responses[item.key].used.items():
            row = totals.setdefault((item.station, letter), dict.fromkeys(CAUSES, 0))
            for cause, volume in used.items():
                row[cause] += volume
    for (station, letter), causes in sorted(totals.items()):
        view = found.components[found.plan.station(station).material, letter]
        whole = sum(causes.values())
        table.rows.append([station, view.name, *(_volume(causes[cause]) for cause in CAUSES),
                           _volume(whole), 1.0 - causes["parts"] / whole if whole else 0.0])  # fmt: skip
    return table


def _lot_table(found: Forecast) -> Table:
    table = Table(
        "lots", "What becomes of each lot?",
        (("Component", "", "text"), ("Lot", "", "text"), ("Last day", "", "date"),
         ("Opening", "mL", "number"), ("Received", "mL", "number"), ("Used", "mL", "number"),
         ("Expired", "mL", "number"), ("Closing", "mL", "number"), ("Balance", "mL", "number"),
         ("Expires on", "", "date"), ("Store at", "", "text")),
        note="First-expired first-out, proposed orders included. Opening + received = used + expired "
        "+ closing, to the nanolitre; heels and filled hoses count as used, open containers at "
        "stations as closing. Missing: what the builds need and no lot holds.",
    )  # fmt: skip
    walk = found.ordered
    for key, view in found.components.items():
        component = view.component
        lots = [lot for lot in walk.lots[key] if lot.opening or lot.received]
        if key in walk.missing:
            lots.append(walk.missing[key])
        for lot in sorted(lots, key=lambda lot: (lot.last_day(component.open_life), lot.lot)):
            last = lot.last_day(component.open_life)
            is_missing = lot.lot == "no stock"
            table.rows.append([
                view.name, "missing" if is_missing else lot.lot,
                None if last == datetime.date.max else last, _volume(lot.opening),
                _volume(lot.received), _volume(lot.used), _volume(lot.expired), _volume(lot.closing),
                _volume(lot.balance), lot.expired_on, _storage(component),
            ])  # fmt: skip
    return table


def _storage(component) -> str:
    low, high = component.storage_low, component.storage_high
    if low is None and high is None:
        return ""
    ends = [f"{kelvin - 273.15:.0f}" if kelvin is not None else "" for kelvin in (low, high)]
    if not ends[0]:
        return f"at most {ends[1]} °C"
    return f"{ends[0]} to {ends[1]} °C" if ends[1] else f"at least {ends[0]} °C"


def _reorder_table(found: Forecast) -> Table:
    table = Table(
        "reorder", "At what stock is it ordered again?",
        (("Component", "", "text"), ("Daily use", "mL", "number"), ("Spread a day", "mL", "number"),
         ("Lead time", "d", "number"), ("Its spread", "d", "number"), ("Service level", "", "share"),
         ("Safety stock", "mL", "number"), ("Reorder point", "mL", "number"),
         ("Economic order", "mL", "number"), ("Order", "containers", "whole"),
         ("Short in a cycle", "mL", "number"), ("Simulated service", "", "share"),
         ("Cycles drawn", "", "whole")),
        note="Safety stock z·√(L·σ² + d²·σL²), reorder point d·L + safety stock, shortage of a cycle "
        "σ·G(z): Silver, Pyke & Peterson, Inventory Management and Production Planning and "
        "Scheduling. Economic order √(2DK/h): F. W. Harris (1913). Days are calendar days. The "
        "spread of a day holds errors of volume that last, so that √L days of it are the spread of "
        "a lead time. Simulated service: share of order cycles without a shortage where each future "
        "orders by this rule; it is blank where no order arrives within these weeks.",
    )  # fmt: skip
    for view in found.components.values():
        rule = view.rule
        table.rows.append([
            view.name, rule.daily_use * 1e6, rule.daily_sd * 1e6, rule.lead_time, rule.lead_spread,
            rule.service, rule.safety_stock * 1e6, rule.reorder_point * 1e6,
            None if math.isnan(rule.economic_order) else rule.economic_order * 1e6, rule.order,
            rule.shortage * 1e6, None if math.isnan(view.service) else view.service,
            view.cycles or None,
        ])  # fmt: skip
    return table


def _cause_table(found: Forecast) -> Table:
    table = Table(
        "causes", "What does it cost, and what is waste?",
        (("Component", "", "text"),
         *((CAUSE_WORDS[cause].capitalize(), found.currency, "number") for cause in ALL_CAUSES),
         ("All", found.currency, "number"), ("Waste", "", "share")),
        note="At the price of a full container. Waste is everything but what is on good parts and "
        "stays in hoses.", total=True,
    )  # fmt: skip
    for key, view in found.components.items():
        price, causes = found.price(key), found.ordered.causes[key]
        costs = [causes[cause] * price for cause in ALL_CAUSES]
        whole = sum(causes.values())
        waste = sum(causes[cause] for cause in WASTE)
        table.rows.append([view.name, *costs, math.fsum(costs), waste / whole if whole else 0.0])
    return table


def _cause_summary(found: Forecast) -> Table:
    """Cost by cause over all components, for the printed report."""
    columns = (("Cause", "", "text"), ("Cost", found.currency, "number"), ("Share", "", "share"))
    table = Table("causes", "What does it cost, and what is waste?", columns)
    rows = found.tables["causes"].rows
    sums = [math.fsum(row[place] for row in rows) for place in range(1, len(ALL_CAUSES) + 1)]
    whole = math.fsum(sums)
    for cause, cost in zip(ALL_CAUSES, sums, strict=True):
        if cost:
            table.rows.append([CAUSE_WORDS[cause], cost, cost / whole if whole else 0.0])
    table.rows.append(["all", whole, 1.0 if whole else 0.0])
    return table


def _driver_table(found: Forecast) -> Table:
    table = Table(
        "drivers", "What drives the spread?",
        (("Material", "", "text"), *((driver.capitalize(), "", "share") for driver in DRIVERS),
         ("Together", "", "share"), ("P90 above P50", "", "share")),
        note="Share of the variance of the whole use that each input brings about alone (covariance "
        "of the total with the input's own effect); together: what they bring about only in company. "
        "The five add up to 1. Small negative shares are sampling error.",
    )  # fmt: skip
    for material, drawn in found.drivers.items():
        view = next(view for key, view in found.components.items() if key[0] == material)
        above = view.total_p90 / view.total_p50 - 1.0 if view.total_p50 else 0.0
        table.rows.append([material, *(drawn.shares[driver] for driver in DRIVERS), drawn.together,
                           above])  # fmt: skip
    return table


_MAKERS = (_component_table, _order_table, _week_table, _material_table, _day_table, _stock_table,
           _cover_table, _station_table, _station_week_table, _lot_table,
           _reorder_table, _cause_table, _driver_table)  # fmt: skip


__all__ = ["Forecast", "Horizon", "Table", "forecast", "forecast_file", "write_forecast"]
