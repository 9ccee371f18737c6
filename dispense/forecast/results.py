"""What a forecast found out, and how it is printed: a headline, text, JSON, CSV, a data frame."""

from __future__ import annotations

import csv
import datetime
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..base.findings import KINDS, SHORTAGE, Finding
from ..base.measures import measures
from ..base.printed import counted, csv_cell, listed
from ..base.units import LITRES_FROM, from_si, rounded_volume_text, to_si, volume_text
from ..plan.records import Plan
from ..plan.rows import Component
from ..plan.workdays import work_days
from ..shift.store import NANO, nanolitres, price_on
from .answers import answer
from .calls import Call, Called, calls_when_short
from .horizon import Horizon
from .orders import DayDraws, StockRule
from .response import Occurrence, Response, ShiftKey
from .simulate import Drawn
from .stock import ALL_CAUSES, CAUSE_WORDS, PRINTED, Key, Order, StockWalk, uses

ML = 1e6  # nanolitres in a millilitre
GOING_ON = 14  # the last days of builds whose use is taken to go on
LINE = 150  # characters of a printed line


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
        """What is printed over each column, with units."""
        return [_with_unit(PRINTED.get(name, name), unit) for name, unit, _ in self.columns]

    def records(self) -> list[dict[str, Any]]:
        """Rows as dictionaries by name and unit."""
        keys = [_with_unit(name, unit) for name, unit, _ in self.columns]
        return [dict(zip(keys, row, strict=True)) for row in self.rows]

    def as_told(self) -> Table:
        """The table as people read it: its volumes in litres where one of them is told so.

        All of them together, since they are compared in a row; programs are given mL throughout.
        """
        places = [place for place, (_, unit, _) in enumerate(self.columns) if unit == "mL"]
        volumes = [row[place] for row in self.rows for place in places if isinstance(row[place], int | float)]
        if not any(volume >= LITRES_FROM for volume in volumes):
            return self
        columns = tuple((name, "L" if unit == "mL" else unit, kind) for name, unit, kind in self.columns)
        factor, _ = to_si("mL")
        litres = [
            [
                from_si(value * factor, "L") if place in places and isinstance(value, int | float) else value
                for place, value in enumerate(row)
            ]
            for row in self.rows
        ]
        return replace(self, columns=columns, rows=litres)

    def measured(self) -> Table:
        """The table in the units that are printed at present."""
        chosen = measures()
        scales = {
            at: chosen.scale(unit) for at, (_, unit, _) in enumerate(self.columns) if unit in chosen.units
        }
        rows = [
            [
                value * scales[at][0] + scales[at][1]
                if at in scales and isinstance(value, int | float)
                else value
                for at, value in enumerate(row)
            ]
            for row in self.rows
        ]
        columns = tuple((name, chosen.unit(unit), kind) for name, unit, kind in self.columns)
        return replace(self, columns=columns, rows=rows)


def _with_unit(name: str, unit: str) -> str:
    return f"{name} [{unit}]" if unit else name


@dataclass(frozen=True, slots=True)
class SmallerPack:
    """What would be left over of orders in smaller packs [nL]: single containers, or of half the size."""

    container: float | None  # m³; None: single containers of the size that they have
    left: int


@dataclass(frozen=True, slots=True)
class OtherDay:
    """Another last day of a component that phases out, and what were left over that evening [nL]."""

    last_use: datetime.date
    left: int


@dataclass(frozen=True, slots=True)
class Cut:
    """So many containers of an open order that nobody would miss."""

    order: str
    containers: int


@dataclass(frozen=True, slots=True)
class PhaseOut:
    """A component that no station uses any more after a day, since all have changed to other materials.

    `left` is what lies in store and stands at stations then, or still comes, with the proposed orders [nL].
    """

    last_use: datetime.date | None  # None: of no build any more
    left: int
    cost: float
    last_order: Order | None = None
    smaller: SmallerPack | None = None  # where something is ordered
    earlier: OtherDay | None = None  # as long as it lasts without the last order
    later: OtherDay | None = None  # until it is used up, at the pace of the last days
    cuts: tuple[Cut, ...] = ()


@dataclass(slots=True)
class ComponentView:
    """What is known of one component over the horizon; volumes in m³."""

    key: Key
    component: Component
    share: float
    day_use: list[int]  # nL
    later_use: list[int]  # nL, of builds after the horizon
    use: dict[str, int]  # nL by cause, over the horizon
    priced: dict[tuple[str, float], int]  # of that, by cause and the price of a nanolitre on its day
    hoses: dict[int, int]  # nL filled by number of the day
    rule: StockRule
    two_part: bool
    stations: int = 0  # that use it
    draws: DayDraws = ()  # of all builds from the first day on
    going_on: float = 0.0  # m³ a day after the last build
    beyond: np.ndarray = field(default_factory=lambda: np.zeros(0))  # m³, day by day after the last build
    days_of_use: int = 1  # that its mean use is taken over
    opened_loss: float = 0.0  # what opened containers lose to their open life, as a share of the use
    planned_daily: float = 0.0  # m³ of a day of use, with that loss
    phase_out: PhaseOut | None = None
    runs_out: datetime.date | None = None
    runs_out_early: datetime.date | None = None  # in one of ten simulation runs
    empty_after: datetime.date | None = None  # at the mean use, beyond the builds
    weeks_p50: np.ndarray = field(default_factory=lambda: np.zeros(0))
    weeks_p90: np.ndarray = field(default_factory=lambda: np.zeros(0))
    used_p10: np.ndarray = field(default_factory=lambda: np.zeros(0))  # m³, by the end of each day
    used_p90: np.ndarray = field(default_factory=lambda: np.zeros(0))
    total_p50: float = 0.0
    total_p90: float = 0.0
    total_mean: float = 0.0
    total_sd: float = 0.0
    service: float = math.nan  # share of order cycles without a shortage, simulated
    cycles: int = 0
    orders: list[Order] = field(default_factory=list)
    called: Called = field(default_factory=Called)  # open orders that serve sooner

    @property
    def name(self) -> str:
        """hem epoxy A."""
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
    learned: str = ""  # figures of the journal that it counts on in place of the plan's
    stock_from: str = ""  # what the stock at the start rests on, where it is not the plan's table

    @property
    def notes(self) -> list[str]:
        """Findings that are only to know, in words; those of one wording once, with their stations."""
        told: dict[str, dict[str, None]] = {}
        for finding in self.findings:
            if not finding.is_warning:
                stations = told.setdefault(str(finding), {})
                if finding.station and finding.station not in str(finding):
                    stations[finding.station] = None
        return [f"{listed(stations)}: {words}" if stations else words for words, stations in told.items()]

    @property
    def warnings(self) -> list[Finding]:
        """All other findings, the gravest first."""
        return [finding for finding in self.findings if finding.is_warning]

    @property
    def currency(self) -> str:
        """What prices are counted in."""
        return self.plan.settings.get("currency", "")

    def price(self, key: Key, date: datetime.date) -> float:
        """Price of a nanolitre on a day."""
        return price_on(self.plan, *key, date)

    @property
    def first_out(self) -> ComponentView | None:
        """The component that runs out first."""
        out = [view for view in self.components.values() if view.runs_out is not None]
        return min(out, key=lambda view: (view.runs_out or datetime.date.max, view.key), default=None)

    @property
    def next_order(self) -> Order | None:
        """The order that must be placed first: of those overdue the one that is so by most days."""
        orders = [order for view in self.components.values() for order in view.orders]

        def urgency(order: Order) -> tuple[int, datetime.date, datetime.date, datetime.date, Key]:
            short = order.short_from or self.components[order.key].runs_out or datetime.date.max
            return (-order.late_days, order.order_by, short, order.arrival, order.key)

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
                view = min(after, key=lambda view: (view.empty_after or datetime.date.max, view.key))
                words = (
                    f" If the use goes on, {view.name} is empty on {view.empty_after:%a} {view.empty_after}."
                )
            lines.append(f"Nothing runs out by {self.horizon.last_build}, the last build.{words}")
        else:
            day, early = first.runs_out or datetime.date.max, first.runs_out_early
            words = f" (10 % risk by {early})" if early and early < day else ""
            lines.append(f"First to run out without new orders: {first.name} on {day:%a} {day}{words}.")
        order = self.next_order
        if order is None:
            lines.append(self._without_order() if short else "No order is needed.")
        else:
            view = self.components[order.key]
            late = f"; {order.note}" if order.note else ""
            every = [each for view in self.components.values() for each in view.orders]
            others = sum(each.order_by == order.order_by for each in every) - 1
            overdue = sum(each.late_days > 0 for each in every) - (order.late_days > 0)
            of_them = f", {overdue} of them overdue" if overdue else ""
            more = f" {others} more by the same day{of_them}." if others else ""
            what = f"{order.containers} × {volume_text(view.component.container)} {view.name}"
            lines.append(
                f"{'Overdue' if order.late_days else 'Next'} order: {what} by {order.order_by:%a} "
                f"{order.order_by}{late}.{more}"
            )
        return [*lines, *filter(None, (self.stock_from, self.learned))]

    def calls(self, key: Key) -> Sequence[Call]:
        """Open orders of a component to call: in place of a new order, or since it runs short before."""
        called, short = self.components[key].called.calls, self.ordered.runs_out.get(key)
        if called or short is None:
            return called
        return calls_when_short(self.plan, key, short, self.horizon.as_of, work_days(self.plan))

    def shorts(self, key: Key) -> list[tuple[str, datetime.date, str]]:
        """Each station that a component runs short at though it is ordered, with its first day and shift."""
        shorts = self.ordered.of_component[key].shorts
        return [(station, *shorts[station]) for station in shorts]

    def lacking(self, key: Key) -> str:
        """What a component lacks though it is ordered, and the containers that it would come from."""
        walk = self.ordered.of_component[key]
        volume = rounded_volume_text(self.ordered.missing[key].used / NANO)
        count = -(-walk.lacking // nanolitres(walk.component.container))
        return f"{volume} ({counted(count, 'container')})"

    def _without_order(self) -> str:
        """What to do where something is short and there is nothing to order."""
        every = [call for key in self.ordered.runs_out for call in self.calls(key)]
        if not every:
            return "No new order comes in time."
        call = min(every, key=lambda each: (each.arrival, each.order))
        return f"Call {call.words(self.components[call.key].name)}."

    def frame(self) -> Any:
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
            "stock_from": self.stock_from,
            "learned": self.learned,
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
                f"{self.draws} simulation runs"
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
            whys: list[str] = []
            if name == "causes":
                found = _cause_summary(self)
            elif name == "orders":
                found, whys = _short_orders(found)
            found = found.as_told().measured()
            kinds = [column[2] for column in found.columns]
            rows = [
                [_shown(value, kind) for value, kind in zip(row, kinds, strict=True)] for row in found.rows
            ]
            lines += [emphasise(found.question), table(found.headers(), rows), *whys, ""]
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
                        writer.writerow([found.name, number, csv_cell(name), unit, csv_cell(_json(value))])
        return out.getvalue()


def _folded(text: str) -> str:
    from ..base.terminal import folded, terminal_width

    return folded(text, terminal_width() or LINE)


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
        return f"{value:,.0f}"
    if kind == "number":
        return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return value


WHYS = 2  # components of which a short report says why their orders are so large


def _short_orders(orders: Table) -> tuple[Table, list[str]]:
    """The orders without the column that says why, and why the first of each component is so large."""
    names = [name for name, _, _ in orders.columns]
    component, why = names.index("Component"), names.index("Why this many")
    short = replace(
        orders, columns=orders.columns[:why], rows=[[*row[:why], *row[why + 1 :]] for row in orders.rows]
    )
    first: dict[str, str] = {}
    for row in orders.rows:
        if row[why]:
            first.setdefault(row[component], f"{row[component]}: {row[why]}")
    return short, [_folded(words) for words in list(first.values())[:WHYS]]


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
