"""Weeks of builds turned into consumption, stock, orders, cost, and how sure all that is.

`forecast(plan, weeks)` plays every shift of the builds with the shift model (each distinct shift
once, see `response`), carries lots through them (`stock`), draws many futures (`simulate`) and
proposes orders. The result is a `Forecast`: tables that answer one question each, printed as text,
JSON, CSV or a workbook.

What is settled here:
- weeks are calendar weeks from Monday; the first is that of the first build;
- builds before `as_of`, and a few that lie long before all others, are history: named, never demand;
- builds are taken as given and not repeated: where they end early the forecast ends with them;
- orders count on the plan's builds beyond the weeks that are looked at, and after the last of them on
  the use of its last two weeks going on;
- every total of material counts the same use, with expected scrap: see `stock`.
"""

from __future__ import annotations

import csv
import datetime
import io
import itertools
import math
import textwrap
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..base.errors import InputError, Problem
from ..base.findings import KINDS, NOTE, QUALITY, SHORTAGE, STOP, Finding, gravest_first
from ..base.units import DAY, volume_text
from ..plan.materials import mix_shares
from ..plan.records import Plan
from ..plan.rows import Component
from ..shift.store import NANO, nanolitres
from .answers import answer
from .response import CAUSES, Occurrence, Response, ShiftKey, occurrences, play_lean, responses, used_of
from .simulate import DRIVERS, Drawn, Futures, draw_material
from .stock import (
    ALL_CAUSES,
    USE_CAUSES,
    Key,
    Order,
    StockRule,
    StockWalk,
    draw_stock,
    plan_orders,
    project,
    shift_use,
    simulate_service,
    stock_rule,
)

ML = 1e6  # nanolitres in a millilitre
LAST_DAY = datetime.date(9999, 1, 1)
MOST_WEEKS = 520
MOST_DRAWS = 100_000
BEYOND = 180  # days after the builds that are looked at for orders and cover
KNOWN_BEYOND = 28  # days beyond the weeks and the longest lead time of which builds count for orders
GOING_ON = 14  # the last days of builds whose use is taken to go on
LONG_GAP = 28  # days without builds that set what is before them apart
HALF_A_YEAR = 182
MANY = 5  # times as many builds after a long gap as before it make those before it history
LINE = 150  # characters of a printed line
USE_WORDS = (
    "Use: on good parts, expected scrap (good parts × scrap/(1 − scrap), not rounded up to whole "
    "parts as the clock lists of the shifts must), start and end of shift, purges, mixers, check "
    "shots, first filling of hoses, and rest and heel of containers at their mean. What expires is apart."
)
CAUSE_WORDS = {
    "parts": "on good parts",
    "scrap": "expected scrap",
    "start": "start of shift",
    "end": "end of shift",
    "purge": "purges",
    "mixers": "mixers",
    "checks": "check shots",
    "hoses": "filling hoses",
    "rest": "rest in containers",
    "heel": "heel in containers",
    "expired": "expired",
}
WASTE = tuple(cause for cause in ALL_CAUSES if cause not in {"parts", "hoses"})
SHOWN = 6  # lines of a chart that can still be told apart


@dataclass(frozen=True, slots=True)
class Horizon:
    """The days that are looked at: from the Monday before the first build to a Sunday."""

    first: datetime.date
    end: datetime.date  # the day after the last
    first_build: datetime.date
    last_build: datetime.date
    asked: int
    as_of: datetime.date  # today: orders can be placed from here on
    is_empty: bool = False  # nothing is built

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
    component: Component
    share: float
    day_use: list[int]  # nL
    later_use: list[int]  # nL, of builds after the horizon as far as they count for orders
    use: dict[str, int]  # nL by cause, over the horizon
    hoses: dict[int, int]  # nL filled by number of the day
    rule: StockRule
    two_part: bool
    stations: int = 0  # that use it
    going_on: float = 0.0  # m³ a day after the last build
    runs_out: datetime.date | None = None
    runs_out_early: datetime.date | None = None  # in one of ten futures
    empty_after: datetime.date | None = None  # at the mean use, beyond the builds
    weeks_p50: np.ndarray = field(default_factory=lambda: np.zeros(0))
    weeks_p90: np.ndarray = field(default_factory=lambda: np.zeros(0))
    total_p50: float = 0.0
    total_p90: float = 0.0
    total_mean: float = 0.0
    total_sd: float = 0.0
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

    plan: Plan
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
    findings: list[Finding] = field(default_factory=list)  # the gravest first
    written: str = ""

    @property
    def notes(self) -> list[str]:
        """Findings that are only to know, in words."""
        return [str(finding) for finding in self.findings if not finding.is_warning]

    @property
    def warnings(self) -> list[Finding]:
        """All other findings, the gravest first."""
        return [finding for finding in self.findings if finding.is_warning]

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
        tables = {"findings": self.findings_table(), **self.tables} if self.warnings else self.tables
        return {name: answer(tables, name, self.currency) for name in tables}

    def findings_table(self) -> Table:
        """All findings but notes as a table, the gravest first."""
        table = Table(
            "findings",
            "What must be known first?",
            (
                ("Kind", "", "text"),
                ("Day", "", "date"),
                ("Station", "", "text"),
                ("Finding", "", "text"),
                ("What to do", "", "text"),
            ),
        )
        table.rows = [
            [KINDS[each.kind], each.day, each.station, each.text, each.fix] for each in self.warnings
        ]
        return table

    def headline(self) -> list[str]:
        """The answer in a few lines."""
        lines = []
        first = self.first_out
        short = [finding for finding in self.warnings if finding.topic == SHORTAGE]
        if self.horizon.is_empty:
            return [f"Nothing is built from {self.horizon.first_build} on: nothing is used."]
        if short:
            more = f" {len(short) - 1} more shortages." if len(short) > 1 else ""
            lines.append(f"Short: {short[0].text}.{more.replace('1 more shortages', '1 more shortage')}")
        elif first is None:
            after = [view for view in self.components.values() if view.empty_after is not None]
            words = ""
            if after:
                view = min(after, key=lambda view: (view.empty_after or LAST_DAY, view.key))
                words = (
                    f" If the use goes on, {view.name} is empty on {view.empty_after:%a} {view.empty_after}."
                )
            lines.append(f"Nothing runs out by {self.horizon.last_build}, the last build.{words}")
        else:
            day, early = first.runs_out or LAST_DAY, first.runs_out_early
            words = f" (in one of ten futures by {early})" if early and early < day else ""
            lines.append(f"First to run out without new orders: {first.name} on {day:%a} {day}{words}.")
        order = self.next_order
        if order is None:
            lines.append("No order is needed.")
        else:
            view = self.components[order.key]
            late = f"; {order.note}" if order.note else ""
            others = (
                sum(
                    each.order_by == order.order_by
                    for every in self.components.values()
                    for each in every.orders
                )
                - 1
            )
            more = f" {others} more by the same day." if others else ""
            lines.append(
                f"Next order: {order.containers} × {volume_text(view.component.container)} "
                f"{view.name} by {order.order_by:%a} {order.order_by}{late}.{more}"
            )
        return lines

    def frame(self):
        """Planned use, for pandas: a row for each shift, station, component and cause."""
        import pandas as pd

        rows = [
            (
                item.date,
                self.horizon.week_name(self.horizon.place(item.date) // 7),
                item.shift,
                item.station,
                material,
                letter.upper(),
                cause,
                volume / ML,
            )
            for item, (material, letter), used in uses(self.plan, self.shifts, self.responses)
            for cause, volume in used.items()
            if volume
        ]
        return pd.DataFrame(
            rows,
            columns=["date", "week", "shift", "station", "material", "component", "cause", "volume [mL]"],
        )

    # -- output ------------------------------------------------------------------------------

    def as_json(self) -> dict[str, Any]:
        """Plain values for systems: dates as ISO texts, units in the names."""
        horizon = self.horizon
        first, order = self.first_out, self.next_order
        return {
            "from": horizon.first_build.isoformat(),
            "to": horizon.last_build.isoformat(),
            "as_of": horizon.as_of.isoformat(),
            "weeks": horizon.weeks,
            "weeks_asked": horizon.asked,
            "draws": self.draws,
            "seed": self.seed,
            "currency": self.currency,
            "first_to_run_out": None
            if first is None
            else {"component": first.name, "date": _json(first.runs_out)},
            "next_order": None
            if order is None
            else {
                "component": self.components[order.key].name,
                "containers": order.containers,
                "order_by": order.order_by.isoformat(),
                "arrival": order.arrival.isoformat(),
            },
            "tables": {
                table.name: [{key: _json(value) for key, value in row.items()} for row in table.records()]
                for table in self.tables.values()
            },
            "answers": self.answers,
            "findings": [finding.as_json() for finding in self.findings],
            "notes": self.notes,
            "written": self.written,
        }

    def as_text(self) -> str:
        """A short report."""
        from ..base.terminal import emphasise, findings_text, table

        horizon = self.horizon
        lines = [
            emphasise(
                f"Forecast {horizon.first_build} to {horizon.last_build}: "
                f"{len(self.shifts)} station shifts, {len(self.keys)} of them distinct, "
                f"{self.draws} futures"
            ),
            *self.headline(),
            "",
        ]
        told = self.warnings
        lines += [findings_text(told, notes=False)] if told else []
        lines += [""] if told else []
        for name in ("components", "orders", "causes"):
            found = self.tables.get(name)
            if found is None or not found.rows:
                continue
            if name == "causes":
                found = _cause_summary(self)
            kinds = [column[2] for column in found.columns]
            rows = [
                [_shown(value, kind) for value, kind in zip(row, kinds, strict=True)] for row in found.rows
            ]
            lines += [emphasise(found.question), table(found.headers(), rows), ""]
        lines += map(_folded, self.notes)
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


def _folded(text: str) -> str:
    return textwrap.fill(text, LINE, subsequent_indent="  ")


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


def forecast(
    plan: Plan,
    weeks: int = 4,
    *,
    builds=None,
    draws: int = 500,
    seed: int = 1,
    processes: int = 1,
    as_of: datetime.date | None = None,
) -> Forecast:
    """Forecast a plan over calendar weeks from its first build.

    `builds` replaces the plan's: a CSV, Parquet or SQLite file, or a pandas data frame. The same
    seed gives the same figures, whatever the order of rows and the number of processes. `as_of` is
    today: builds before it are history, and no order is placed earlier; without it, today is the day
    of the first build. Where nothing is built the tables hold zeros.
    """
    _check_numbers(weeks=weeks, draws=draws, seed=seed, processes=processes)
    if builds is not None:
        from ..plan.builds import with_builds

        plan = with_builds(plan, builds)
    plan, history = without_history(plan, weeks, as_of)
    horizon = horizon_of(plan, weeks, as_of)
    keys, shifts = occurrences(plan, horizon.end)
    answers = responses(plan, keys, processes=processes)
    walk, levels = walk_stock(plan, horizon, shifts, answers)
    views = _components(plan, horizon, shifts, answers)
    _look_beyond(plan, horizon, answers, views)
    drivers, material_weeks = _draw(plan, horizon, shifts, answers, views, walk, draws, seed)
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
    found.findings = gravest_first([*history, *forecast_findings(found)])
    _tables(found)
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


def horizon_of(plan: Plan, weeks: int, as_of: datetime.date | None = None) -> Horizon:
    """The calendar weeks from the first build, ending with the builds where those end earlier.

    Without any build, the weeks from `as_of` on, today where that is not given.
    """
    days = [date for date, _ in plan.days()]
    first = days[0] if days else as_of or datetime.date.today()
    monday = first - datetime.timedelta(days=first.weekday())
    end = monday + datetime.timedelta(days=7 * weeks)
    if not days:
        return Horizon(monday, end, first, first, weeks, first, is_empty=True)
    last = max(date for date in days if date < end)
    sunday = last + datetime.timedelta(days=7 - last.weekday())
    return Horizon(monday, min(end, sunday), first, last, weeks, as_of or first)


def without_history(plan: Plan, weeks: int, as_of: datetime.date | None = None) -> tuple[Any, list[Finding]]:
    """The plan with the builds that are to come, and what was left out as findings.

    With `as_of`, builds before it are history. Without it, builds are history where more than
    `LONG_GAP` days without any follow, and the asked weeks after those hold `MANY` times as many (or
    more, after half a year): most likely a date is mistyped.
    """
    days = sorted({row.date for row in plan.builds})
    begin = as_of
    if begin is None:
        begin = days[0] if days else datetime.date.min
        for before, after in itertools.pairwise(days):
            gap = (after - before).days
            if gap <= LONG_GAP:
                continue
            end = after + datetime.timedelta(days=7 * weeks)
            early = sum(row.date <= before for row in plan.builds)
            coming = sum(after <= row.date < end for row in plan.builds)
            if coming >= MANY * early or (gap > HALF_A_YEAR and coming > early):
                begin = after
    old = [row for row in plan.builds if row.date < begin]
    if not old:
        return plan, []
    plan = replace(plan, builds=[row for row in plan.builds if row.date >= begin])
    first, last = min(row.date for row in old), max(row.date for row in old)
    many = f"{len(old)} builds" if len(old) > 1 else "1 build"
    span = f"{first} to {last}" if first < last else f"{first}"
    numbers = {"builds": float(len(old))}
    if as_of is not None:
        return plan, [
            Finding(
                NOTE,
                f"{many} of {span} lie before {as_of} and count as history",
                topic="history",
                day=first,
                numbers=numbers,
            )
        ]
    words = f"{many} of {span} {'lie' if len(old) > 1 else 'lies'} {(begin - last).days} days before the "
    return plan, [
        Finding(
            QUALITY,
            words + "next and is left out" if len(old) == 1 else words + "next and are left out",
            "correct the date or delete the row; history is never demand",
            topic="history",
            part=old[0].part,
            day=first,
            cell=old[0].at,
            numbers=numbers,
        )
    ]


def uses(
    plan: Plan, shifts: Sequence[Occurrence], answers: Sequence[Any]
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
            hose = nanolitres(getattr(station, f"hose_{letter}")) if is_first else 0
            if hose:
                yield item, key, shift_use(components[letter], used, hose)
                continue
            if (item.key, letter) not in known:
                known[item.key, letter] = shift_use(components[letter], used)
            yield item, key, known[item.key, letter]


def walk_stock(
    plan: Plan,
    horizon: Horizon,
    shifts: Sequence[Occurrence],
    answers: Sequence[Any],
    orders: Sequence[Order] = (),
) -> tuple[StockWalk, dict[Key, list[int]]]:
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


def _components(plan: Plan, horizon, shifts, answers) -> dict[Key, ComponentView]:
    views: dict[Key, ComponentView] = {}
    for row in sorted(plan.components, key=lambda row: (row.material, row.component)):
        parts = plan.components_of(row.material)
        share = mix_shares(plan.material(row.material), parts)[row.component]
        key = (row.material, row.component)
        rule = stock_rule(row, 0.0, 0.0, plan.settings)
        views[key] = ComponentView(
            key, row, share, [0] * horizon.days, [], dict.fromkeys(USE_CAUSES, 0), {}, rule, len(parts) > 1
        )
    users: dict[Key, set[str]] = defaultdict(set)
    for item, key, used in uses(plan, shifts, answers):
        view, place = views[key], horizon.place(item.date)
        users[key].add(item.station)
        view.day_use[place] += sum(used.values())
        for cause, volume in used.items():
            view.use[cause] += volume
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
    """Use of the builds after the horizon, as far as orders placed within it must cover them.

    After the last build the use of the last `GOING_ON` days of builds goes on.
    """
    lead = max((math.ceil(view.component.lead_time / DAY) for view in views.values()), default=0)
    until = horizon.end + datetime.timedelta(days=lead + KNOWN_BEYOND)
    keys, shifts = occurrences(plan, until)  # begin with those of the horizon
    every = [*answers, *(_Drawn(used_of(play_lean(plan, key))) for key in keys[len(answers) :])]
    last = max((item.date for item in shifts), default=horizon.last_build)
    for view in views.values():
        view.later_use = [0] * max((last - horizon.end).days + 1, 0)
    for item, key, used in uses(plan, shifts, every):
        if item.date >= horizon.end:
            views[key].later_use[(item.date - horizon.end).days] += sum(used.values())
    weeks = -(-((last - horizon.first_build).days + 1) // 7)
    span = min(GOING_ON, 7 * weeks)
    end = (last - horizon.first).days + 1
    for view in views.values():
        known = [*view.day_use, *view.later_use]
        view.going_on = sum(known[max(end - span, 0) : end]) / NANO / span


def _draw(
    plan: Plan, horizon, shifts, answers, views, walk, draws, seed
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
        mixed = np.zeros((draws, horizon.days))
        for key, view in views.items():
            if key[0] == material:
                need = _need(view, drawn)
                mixed += need
                _component(plan, horizon, view, walk, need, drawn.volume_sd, seed)
        by_week = mixed.reshape(draws, horizon.weeks, 7).sum(axis=2) * NANO
        weeks[material] = np.quantile(by_week, [0.5, 0.9], axis=0)
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


def _component(
    plan: Plan,
    horizon: Horizon,
    view: ComponentView,
    walk: StockWalk,
    need: np.ndarray,
    volume_sd: float,
    seed: int,
) -> None:
    component = view.component
    weeks = need.reshape(len(need), horizon.weeks, 7).sum(axis=2)
    view.weeks_p50, view.weeks_p90 = np.quantile(weeks, [0.5, 0.9], axis=0)
    total = weeks.sum(axis=1)
    view.total_p50, view.total_p90 = map(float, np.quantile(total, [0.5, 0.9]))
    view.total_mean, view.total_sd = float(total.mean()), float(total.std())
    daily = view.total_mean / horizon.days
    calm = max(float(total.var()) - (volume_sd * view.total_mean) ** 2, 0.0) / horizon.days
    lead = max(component.lead_time / DAY, 1.0)
    spread = math.sqrt(calm + lead * (volume_sd * daily) ** 2)
    view.rule = stock_rule(component, daily, spread, plan.settings)
    lots = pool(plan, horizon, view)
    known = np.array([*view.day_use, *view.later_use]) / NANO
    ahead = max(horizon.days + math.ceil(lead) + BEYOND, len(known))
    beyond = np.concatenate([known, np.full(ahead - len(known), view.going_on)])
    by = view.rule if daily else stock_rule(component, float(known.mean()), 0.0, plan.settings)
    view.orders = plan_orders(
        component, by, lots, beyond, horizon.first, horizon.days - 1, earliest=horizon.place(horizon.as_of)
    )
    stock = project(lots, beyond)
    _run_out(horizon, view, walk, stock, beyond)
    _futures_of_stock(horizon, view, need, lots, stock, beyond, seed)


def pool(plan: Plan, horizon: Horizon, view: ComponentView) -> list[tuple[float, int, int]]:
    """A component's lots as (volume [m³], first day, last day by number)."""
    from .stock import LotLedger

    found = []
    for row in sorted(plan.stock, key=lambda row: row.lot):
        if (row.material, row.component) == view.key:
            lot = LotLedger(row.material, row.component, row.lot, row.expiry, row.opened, row.arrival)
            arrives = 0 if row.arrival is None else max(horizon.place(row.arrival), 0)
            found.append((row.quantity, arrives, horizon.place(lot.last_day(view.component.open_life))))
    return found


def _run_out(horizon, view, walk, stock: np.ndarray, need: np.ndarray) -> None:
    view.runs_out = walk.runs_out.get(view.key)
    empty = np.nonzero((stock <= 1e-12) & (need > 0.0))[0]
    after = [place for place in empty if place >= horizon.days]
    if view.runs_out is None and after:
        view.empty_after = horizon.date(int(after[0]))


def _futures_of_stock(
    horizon, view: ComponentView, need: np.ndarray, lots, stock: np.ndarray, planned: np.ndarray, seed: int
) -> None:
    """How early it may run out without orders, and how often it runs short when ordered by rule.

    Stock in an open container is of no use to another station. A future counts as out of stock on the
    first day that ends with no more than what the plan still held elsewhere when it ran out; where the
    plan does not run out, with half a container at each other station.
    """
    out = None if view.runs_out is None else horizon.place(view.runs_out)
    usable = view.component.container * (1.0 - view.component.heel)
    elsewhere = max(view.stations - 1, 0) * usable / 2.0 if out is None else float(stock[out])
    held, short = draw_stock(lots, need)
    is_short = (short > 1e-12) | ((held <= elsewhere * (1.0 + 1e-9)) & (need > 0.0) & (elsewhere > 0.0))
    ever = is_short.any(axis=1)
    first = np.where(ever, is_short.argmax(axis=1), horizon.days)
    early = int(np.quantile(first, 0.1, method="lower"))
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


# --------------------------------------------------------------------------------------- findings


def forecast_findings(found: Forecast) -> list[Finding]:
    """What must be known before acting on a forecast, the gravest first."""
    return gravest_first(
        [
            *_shortages(found),
            *_overdue(found),
            *_unfinished(found),
            *_gaps(found),
            *_uncovered(found),
            *_known(found),
        ]
    )


def _litres(volume: float) -> str:
    """A volume [m³] in words, to three figures."""
    return (
        f"{volume * 1e3:,.{2 if volume < 0.01 else 1 if volume < 0.1 else 0}f} L"
        if volume >= 1e-3
        else (f"{volume * 1e6:.3g} mL")
    )


def _days_text(days: int) -> str:
    return f"{days} day{'' if days == 1 else 's'}"


def _shortages(found: Forecast) -> list[Finding]:
    """What runs short although the proposed orders arrive."""
    told = []
    for key, day in sorted(found.ordered.runs_out.items(), key=lambda pair: (pair[1], pair[0])):
        view, station = found.components[key], found.ordered.short_at[key]
        lacking = found.ordered.missing[key].used / NANO
        latest = day - datetime.timedelta(days=math.ceil(view.component.lead_time / DAY))
        overdue = (found.horizon.as_of - latest).days
        if overdue > 0:
            fix = (
                f"an order by {latest:%a} {latest} would have helped, {_days_text(overdue)} ago: ask "
                "for a faster delivery or build less"
            )
        else:
            fix = f"order more, to arrive by {day:%a} {day} (order by {latest:%a} {latest})"
        told.append(
            Finding(
                STOP,
                f"{view.name} runs short on {day:%a} {day} at {station}, also with the proposed orders: "
                f"{_litres(lacking)} lacking by {found.horizon.last_build}",
                fix,
                SHORTAGE,
                station,
                key[0],
                day=day,
                numbers={"lacking [mL]": lacking * 1e6, "overdue [d]": float(max(overdue, 0))},
            )
        )
    return told


def _overdue(found: Forecast) -> list[Finding]:
    """Orders whose day has passed; a shortage where they come too late for the builds of the plan."""
    told = []
    for view in found.components.values():
        last_known = found.horizon.end + datetime.timedelta(days=len(view.later_use))
        for order in view.orders:
            if not order.late_days or (order.short_from and view.key in found.ordered.runs_out):
                continue
            short = order.short_from
            is_short = short is not None and short < last_known
            words = (
                f"order of {order.containers} × {volume_text(view.component.container)} {view.name} "
                f"is overdue by {_days_text(order.late_days)}"
            )
            if short is not None:
                assumed = "" if is_short else " if the use goes on"
                words += f", short from {short:%a} {short}{assumed}"
                fix = "order at once and ask for a faster delivery"
            else:
                words += ", safety stock is touched before it arrives"
                fix = f"order at once, it arrives on {order.arrival}"
            told.append(
                Finding(
                    STOP,
                    words,
                    fix,
                    SHORTAGE if is_short else "order overdue",
                    material=view.key[0],
                    day=short or order.order_by,
                    numbers={"overdue [d]": float(order.late_days)},
                )
            )
    return sorted(told, key=lambda finding: (finding.topic != SHORTAGE, finding.day or LAST_DAY))


def _unfinished(found: Forecast) -> list[Finding]:
    """Stations whose parts do not fit into their shifts."""
    short: dict[str, list[Occurrence]] = defaultdict(list)
    for item in found.shifts:
        if found.responses[item.key].is_short:
            short[item.station].append(item)
    return [
        Finding(
            STOP,
            f"not all parts fit into their shifts at {station}: {len(items)} of its shifts, first "
            f"on {items[0].date} {items[0].shift}",
            "move parts, or change takt or shift",
            "unfinished",
            station,
            day=items[0].date,
            shift=items[0].shift,
            numbers={"shifts": float(len(items))},
        )
        for station, items in sorted(short.items())
    ]


def _gaps(found: Forecast) -> list[Finding]:
    """Weeks that were asked for and are not covered."""
    horizon = found.horizon
    if horizon.is_empty:
        return [
            Finding(
                NOTE,
                f"No builds from {horizon.first_build} on: nothing is drawn, nothing is proposed",
                topic="no builds",
            )
        ]
    if horizon.weeks >= horizon.asked:
        return []
    words = (
        f"Builds end on {horizon.last_build}: the forecast covers {horizon.weeks} of the "
        f"{horizon.asked} weeks asked for"
    )
    coming = min((row.date for row in found.plan.builds if row.date >= horizon.end), default=None)
    if coming is None:
        return [Finding(NOTE, words, topic="horizon")]
    return [
        Finding(
            QUALITY,
            f"{words}; the next is on {coming}",
            "correct the dates, or ask for as many weeks as reach it",
            "horizon",
            day=coming,
        )
    ]


def _uncovered(found: Forecast) -> list[Finding]:
    """Where the planned use lies outside P50 to P90, and why; one finding for each reason."""
    alike: dict[tuple[str, str], list[str]] = defaultdict(list)
    for view in found.components.values():
        planned, near = sum(view.day_use) / NANO, 3.0 * view.total_sd / math.sqrt(found.draws)
        tiny = 1e-6 * planned
        if view.total_p50 - tiny <= planned <= view.total_p90 + tiny:
            continue
        is_above = planned > view.total_p90
        place = "above P90" if is_above else "below P50"
        if abs(view.total_mean - planned) > near + tiny:
            why = (
                "purges, mixer changes and short shifts answer in steps, so that the futures use "
                "another volume on average than the plan"
            )
        elif not is_above and view.total_p50 - planned < near:
            why = f"by no more than the sampling error of {found.draws} futures"
        else:
            why = "losses are rare and large: most futures have none, and the mean lies to one side"
        alike[place, why].append(view.name)
    return [
        Finding(NOTE, f"Planned use lies {place} for {', '.join(names)}: {why}", topic="planned and futures")
        for (place, why), names in alike.items()
    ]


def _known(found: Forecast) -> list[Finding]:
    """What the figures rest on."""
    plan, views = found.plan, list(found.components.values())
    told = []
    if not found.horizon.is_empty:
        told.append(
            Finding(
                NOTE,
                "Orders count on all builds of the plan that they must cover, and after "
                f"the last on the use of its last {GOING_ON} days going on; dates by which to "
                "order fall on working days",
                topic="orders",
            )
        )
    for view in views:
        daily = sum(view.day_use) / NANO / found.horizon.days
        if daily and not 0.5 * daily <= view.going_on <= 1.5 * daily:
            words = "phases out" if view.going_on < daily else "phases in"
            told.append(
                Finding(
                    NOTE,
                    f"{view.name} {words}: {_litres(view.going_on)} a day at the end of "
                    f"the builds, {_litres(daily)} on the mean of these weeks. Orders follow "
                    "the dated use; the reorder point is for the mean",
                    topic="phase",
                    material=view.key[0],
                )
            )
    if not plan.settings["demand_spread"]:
        told.append(
            Finding(
                NOTE,
                "Demand spread is 0 in Settings: P90 holds only if builds come as planned",
                topic="demand spread",
            )
        )
    unpriced = [view.name for view in views if not view.component.price]
    if unpriced:
        told.append(Finding(NOTE, "No price: " + ", ".join(unpriced), topic="price"))
    return told


# ----------------------------------------------------------------------------------------- tables


def _tables(found: Forecast) -> None:
    for make in _MAKERS:
        table = make(found)
        found.tables[table.name] = table


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
        note="Due in: lots of the plan that arrive in these weeks. " + USE_WORDS + " Runs out: without new "
        "orders, for the first station that finds no container. 10 % risk by: the day by which one of ten "
        "futures has run out, the plan's own course among them. After builds: the day it would be empty if "
        f"the use of the last {GOING_ON} days of builds went on.",
    )
    for key, view in found.components.items():
        here = sum(lot.opening for lot in found.walk.lots[key])
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
        ),
        note="Whole containers, at least the minimum order; arrival one lead time after the order.",
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
        "futures use no more. The P90 of single weeks do not add up to that of all weeks. " + USE_WORDS,
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
    prices = [found.price(view.key) for view in views]
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
            cost = math.fsum(view.day_use[place] * price for view, price in zip(views, prices, strict=True))
            table.rows.append([found.horizon.date(place), *volumes, cost])
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

    def lasts(pair) -> tuple:
        key, view = pair
        return (found.levels[key][-1] / view.rule.daily_use, key)

    chosen = sorted(used, key=lasts)[:SHOWN]
    table = Table(
        "cover",
        "How many days does the stock last?",
        (("Day", "", "date"), *((view.name, "d", "number") for _, view in chosen)),
        note="Stock at the end of each day without new orders, over the mean use of a calendar day. "
        f"The {SHOWN} components that last least."
        if len(used) > SHOWN
        else "Stock at the end of each day without new orders, over the mean use of a calendar day.",
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
            *((CAUSE_WORDS[cause].capitalize(), "mL", "number") for cause in USE_CAUSES),
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
        "+ closing, to the nanolitre. Used: with expected scrap and filled hoses, and each heel when its "
        "container is changed, so that it differs from the use of the other tables by the heels of "
        "containers that are still open; these count as closing. Missing: what the builds need and no lot "
        "holds.",
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
                    _volume(lot.received),
                    _volume(lot.used),
                    _volume(lot.expired),
                    _volume(lot.closing),
                    _volume(lot.balance),
                    lot.expired_on,
                    _storage(component),
                ]
            )
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
        "a lead time. Simulated service: share of order cycles without a shortage where each future "
        "orders by this rule; it is blank where no order arrives within these weeks.",
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
            *((CAUSE_WORDS[cause].capitalize(), found.currency, "number") for cause in ALL_CAUSES),
            ("All", found.currency, "number"),
            ("Waste", "", "share"),
        ),
        note="At the price of a full container. " + USE_WORDS + " Here it is the last cause, with the "
        "proposed orders. Waste is everything but what is on good parts and stays in hoses.",
        total=True,
    )
    for key, view in found.components.items():
        price = found.price(key)
        causes = {**view.use, "expired": found.ordered.causes[key]["expired"]}
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


_MAKERS = (
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
    _reorder_table,
    _cause_table,
    _driver_table,
)


__all__ = ["Forecast", "Horizon", "Table", "forecast"]
