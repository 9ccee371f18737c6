"""The workbook of a forecast, cell by cell, from the reckoning in `weeks`; own code.

`pages` gives for each sheet its headers and rows. A `Near` is a figure of many simulation runs: the runs of
the planner and those of `weeks` are drawn apart, so that they differ by what sampling explains.
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .weeks import CAUSES, NEVER, ONE, RUNS, Key, Lot, Order, Store, Weeks

SIGMAS = 5.0  # of sampling: one comparison in two million would fail by chance
SOON, FANS, LINE = 7, 3, 12
WORDS = {
    "parts": "on good parts",
    "scrap": "expected scrap",
    "start": "start-up loss",
    "end": "shut-down loss",
    "purge": "purges",
    "mixers": "lost in mixers",
    "checks": "check shots",
    "rest": "rest in containers",
    "hoses": "filling hoses",
    "heel": "heel in containers",
    "expired": "expired",
}
ALL = (*CAUSES, "expired")
CHANGES = {
    "takt -10 %": {},  # parts have the time of the whole shift: no volume goes with the takt
    "scrap +1 points": {"scrap": 0.01},
    "shop +5 K": {},  # no material has a pot life
    "containers × 2": {"larger": 2.0},
    "share of B +5 %": {"more_b": 1.05},
}


@dataclass(frozen=True)
class Near:
    """A figure of simulation runs, and how far another set of runs may lie from it."""

    value: float
    room: float


@dataclass(frozen=True)
class Between:
    """A figure of simulation runs that is not reckoned again: its least and its most."""

    least: Any
    most: Any
    may_be_blank: bool = False


@dataclass
class Page:
    """A sheet: headers, rows, sums below them, and figures that its sentences may name."""

    headers: list[str]
    rows: list[list[Any]]
    total: list[Any] | None = None
    facts: list[float] = field(default_factory=list)


class Forecasted:
    """All that is walked once: stock without and with the proposed orders, simulation runs."""

    def __init__(self, make: Any, runs: int) -> None:
        """`make` gives `Weeks` for changes of the plan."""
        self.weeks: Weeks = make()
        self.runs = runs
        self.variants = {name: make(**change) for name, change in CHANGES.items()}
        made: dict[str, float] = {}
        self.steps = []
        for change in CHANGES.values():
            made |= change
            self.steps.append(make(**made))
        weeks = self.weeks
        self.keys = list(weeks.rows)
        self.orders: dict[Key, list[Order]] = weeks.orders()
        self.plain: dict[Key, tuple[Store, list[float]]] = {key: weeks.walked(key, []) for key in self.keys}
        self.bought = {key: weeks.walked(key, self.orders[key]) for key in self.keys}
        self.futures = weeks.simulated()
        self.dates = [weeks.date(day) for day in range(weeks.days)]
        self.names = {key: weeks.name(key) for key in self.keys}

    def quantile(self, runs: np.ndarray, share: float) -> Near:
        """A quantile of runs; its sampling error is √(p(1 − p)/n) over the density, a normal one's."""
        value, spread = float(np.quantile(runs, share)), float(runs.std())
        density = 0.3989 if share == 0.5 else 0.1755  # φ(0), φ(1.2816)
        error = math.sqrt(share * (1 - share) * (1 / self.runs + 1 / RUNS)) / density * spread
        # counts of lost parts come in steps: a part of either side may be the quantile
        return Near(value, SIGMAS * error + self._step(runs) + 1e-3)

    @staticmethod
    def _step(runs: np.ndarray) -> float:
        """The widest step between neighbouring values near the middle of the runs."""
        middle = np.unique(np.round(np.quantile(runs, np.linspace(0.05, 0.97, 400)), 6))
        return float(np.diff(middle).max(initial=0.0))

    def runs_out(self, key: Key) -> datetime.date | None:
        """The first day on which a station finds no container, without new orders."""
        store, _ = self.weeks.walked(key, [], self.weeks.days + 180)
        return store.out


def pages(made: Forecasted) -> dict[str, Page]:
    """Every sheet of tables."""
    found: dict[str, Page] = {}
    for part in (_findings, _first, _stock, _use, _money, _lots):
        found |= part(made)
    return found


def weeks_of(weeks: Weeks) -> list[str]:
    """Names of the weeks, as ISO 8601 numbers them."""
    found = []
    for number in range(weeks.days // 7):
        year, week, _ = weeks.date(7 * number).isocalendar()
        found.append(f"{year}-W{week:02d}")
    return found


def volume(value: float) -> str:
    """Three figures, as a sentence tells them."""
    return f"{value:.3g} mL" if value < 1000 else f"{value / 1000:.3g} L"


def _findings(made: Forecasted) -> dict[str, Page]:
    """What is left of kits, and builds on the days of the table Holidays; nothing else is wrong."""
    rows = _kits(made)
    for day, name in sorted(made.weeks.holidays.items()):
        parts: dict[str, int] = {}
        for (date, _), built in made.weeks.builds.items():
            for part, count in built.items():
                if date == day:
                    parts[part] = parts.get(part, 0) + count
        if parts:
            built_words = ", ".join(f"{count} {part}" for part, count in parts.items())
            words = (
                f"{day:%a} {day} is no working day ({name}), and {built_words} are built on it: they are "
                "played as stated"
            )
            fix = "move the builds if nobody works; if the day is worked, all is right"
            rows.append(["spoils parts or figures", day, None, words, fix])
    return {"Findings": Page(["Kind", "Day", "Station", "Finding", "What to do"], rows, facts=[len(rows)])}


def _kits(made: Forecasted) -> list[list[Any]]:
    """Of each kit what is left over of a component when the other has been used up; more than 5 % is told."""
    weeks, rows = made.weeks, []
    for kit in sorted({row.kit for row in weeks.rows.values() if row.kit}):
        keys = [key for key in made.keys if weeks.rows[key].kit == kit]
        whole, days = {}, {}
        for key in keys:
            row, causes = weeks.rows[key], weeks.by_cause(key)
            whole[key] = row.pack_multiple * row.container * (1 - row.heel)
            days[key] = whole[key] / sum(volume for cause, volume in causes.items() if cause != "heel")
        first = min(keys, key=lambda key: days[key])
        count = sum(order.count for order in made.orders[first]) // weeks.rows[first].pack_multiple
        for key in keys:
            left = whole[key] * (1 - days[first] / days[key])
            if left / whole[key] > 0.05:
                cost = left * weeks.price(key, weeks.as_of)
                words = (
                    f"kit {kit}: {volume(left)} {made.names[key]} of each ({cost:.0f} crowns) are left over "
                    f"when {made.names[first]} is used up; {volume(left * count)} ({cost * count:.0f} "
                    f"crowns) of the {count} kits to order"
                )
                fix = f"ask for kits with less {made.names[key]}, or buy {made.names[first]} apart"
                rows.append(["spoils parts or figures", None, None, words, fix])
    return rows


def _first(made: Forecasted) -> dict[str, Page]:
    """Decisions, the grid of weeks, components, orders, what phases out."""
    weeks, found = made.weeks, {}
    rows: list[list[Any]] = []
    for key in made.keys:
        name = made.names[key]
        for order in made.orders[key]:
            words = f"arrives {order.arrival:%a} {order.arrival}"
            kit = weeks.rows[key].kit
            rows.append(
                ["next 7 days", order.by, "order", name, order.count, words + (f"; kit {kit}" if kit else "")]
            )
        for lot in made.plain[key][0].lots:
            if lot.arrival is not None:
                count = math.ceil((lot.received or lot.left) / weeks.rows[key].container - 1e-9)
                rows.append(["next 7 days", lot.arrival, "delivery", name, count, f"lot {lot.name}"])
        for lot in made.bought[key][0].lots:
            last = lot.last(weeks.rows[key].open_life)
            if lot.here and last < NEVER and (lot.left > 1e-6 or lot.expired > 1e-6):
                lost = f", {volume(lot.expired)} of it too old" if lot.expired > 1e-6 else ""
                rows.append(["next 7 days", last, "last day", name, None, f"lot {lot.name}{lost}"])
    soon = [row for row in rows if weeks.as_of <= row[1] < weeks.as_of + SOON * ONE]
    found["Decisions"] = Page(
        ["When", "Day", "What", "Component", "Containers", "Remark"],
        sorted(soon, key=lambda row: (row[1], row[2], row[3])),
        facts=[float(len(soon))],
    )
    grid: list[list[Any]] = []
    for key in made.keys:
        content, count = weeks.rows[key].container, weeks.days // 7
        asked, comes = [0.0] * count, [0.0] * count
        for order in made.orders[key]:
            asked[max((order.by - weeks.first).days // 7, 0)] += order.count
        for lot in made.bought[key][0].lots:
            if lot.arrival is not None and lot.received:
                comes[max((lot.arrival - weeks.first).days // 7, 0)] += lot.received / content
        use, left = weeks.day_use(key), made.bought[key][1]
        used = [sum(use[7 * week : 7 * week + 7]) / content for week in range(count)]
        ends = [left[7 * week + 6] / content for week in range(count)]
        for words, row in (("to order", asked), ("arrives", comes), ("used", used), ("left", ends)):
            grid.append([made.names[key], words, *(value or None for value in row)])
    found["Week grid"] = Page(["Component", "What", *weeks_of(weeks)], grid)
    rows = []
    for key in made.keys:
        store = made.plain[key][0]
        here = sum(lot.opening for lot in store.lots if not lot.was_old)
        due = sum(lot.received for lot in store.lots)
        total = made.futures[key].sum(axis=1)
        p50, p90 = made.quantile(total, 0.5), made.quantile(total, 0.9)
        out = made.runs_out(key)
        is_known = out is not None and out <= weeks.date(weeks.days - 1)
        of_stock = Near(p90.value / (here + due), p90.room / (here + due)) if here + due else None
        first = min((order.by for order in made.orders[key]), default=None)
        early = Between(out - 2 * ONE, out) if is_known else None  # no later than as planned
        planned = sum(weeks.day_use(key))
        rows.append(
            [
                made.names[key],
                here,
                due,
                planned,
                p50,
                p90,
                of_stock,
                out if is_known else None,
                early,
                None if is_known else out,
                first,
            ]
        )
    found["Components"] = Page(
        [
            "Component",
            "In stock [mL]",
            "Due in [mL]",
            "Use planned [mL]",
            "Use P50 [mL]",
            "Use P90 [mL]",
            "P90 of stock",
            "Runs out",
            "10 % risk by",
            "After builds",
            "Order by",
        ],
        rows,
        facts=[float(len(rows))],
    )
    every = sorted(
        (order for orders in made.orders.values() for order in orders),
        key=lambda order: (order.by, order.arrival, order.key),
    )
    found["Orders"] = Page(
        [
            "Order by",
            "Arrives",
            "Component",
            "Containers",
            "Volume [mL]",
            "Usable until",
            "Cost [crowns]",
            "Note",
            "Why this many",
        ],
        [
            [o.by, o.arrival, made.names[o.key], o.count, o.volume, o.expiry, o.cost, None, o.why or None]
            for o in every
        ],
        ["All", None, None, None, None, None, sum(order.cost for order in every), None, None],
        [float(len(every))],
    )
    found["Phase-out"] = _phase_out(made)
    return found


def _phase_out(made: Forecasted) -> Page:
    """Materials that no station runs in the end."""
    weeks, rows = made.weeks, []
    far = weeks.date(weeks.days + 200)
    for key in made.keys:
        if any(weeks.material_at(station, far) == key[0] for station in weeks.stations):
            continue
        last = max(date for date, _, of, _ in weeks.uses if of == key)
        orders = made.orders[key]
        store, levels = weeks.walked(key, orders, weeks.day(last) + 1)
        left = levels[-1] + sum(lot.left for lot in store.lots if not lot.here)
        order = max(orders, key=lambda each: each.by, default=None)
        rows.append(
            [
                made.names[key],
                last,
                order and order.by,
                order and order.count,
                left,
                left / weeks.rows[key].container,
                left * weeks.price(key, last),
            ]
        )
    return Page(
        [
            "Component",
            "Last used",
            "Last order by",
            "Containers",
            "Left over [mL]",
            "In containers",
            "Worth [crowns]",
        ],
        rows,
        ["All", *[None] * 5, sum(row[-1] for row in rows)],
        [float(len(rows))],
    )


def _stock(made: Forecasted) -> dict[str, Page]:
    """Stock day by day: fans, all components, days that it lasts."""
    weeks, found = made.weeks, {}

    def urgency(key: Key) -> tuple[datetime.date, datetime.date, str]:
        out = made.runs_out(key)
        out = out if out is not None and out <= weeks.date(weeks.days - 1) else NEVER
        return min((o.by for o in made.orders[key]), default=NEVER), out, made.names[key]

    for number, key in enumerate(sorted(made.keys, key=urgency)[:FANS], 1):
        levels, rule = made.bought[key][1], weeks.rule(key)
        runs = np.cumsum(made.futures[key], axis=1)
        planned = np.cumsum(weeks.day_use(key))
        comes = {lot.arrival for lot in made.bought[key][0].lots if lot.received}
        rows = []
        for day, date in enumerate(made.dates):
            low, high = made.quantile(runs[:, day], 0.9), made.quantile(runs[:, day], 0.1)
            top = levels[day] + planned[day] - high.value
            bottom = min(max(levels[day] + planned[day] - low.value, 0.0), levels[day])
            rows.append(
                [
                    date,
                    levels[day],
                    Near(max(top, levels[day]), high.room),
                    Near(bottom, low.room),
                    _mean(made, key, rule["point"], weeks.rows[key].lead_time),
                    levels[day] if date in comes else None,
                ]
            )
        heads = ["Planned [mL]", "High [mL]", "Low [mL]", "Reorder point [mL]", "Evening of a delivery [mL]"]
        found[f"Stock {number}"] = Page(["Day", *heads], rows)
    names = [made.names[key] for key in made.keys]
    found["Stock"] = Page(
        ["Day", *(f"{name} [mL]" for name in names)],
        [[date, *(made.bought[key][1][day] for key in made.keys)] for day, date in enumerate(made.dates)],
    )

    def lasts(key: Key, day: int) -> float:
        return round(made.plain[key][1][day], 6) / weeks.rule(key)["daily"]

    order = sorted(made.keys, key=lambda key: (lasts(key, -1), key))[:6]
    rows = []
    for day, date in enumerate(made.dates):
        row: list[Any] = [date]
        for key in order:
            error = _mean(made, key, 1.0, 0.0).room / weeks.rule(key)["daily"]
            row.append(Near(lasts(key, day), lasts(key, day) * error + 1e-5))
        rows.append(row)
    found["Cover"] = Page(["Day", *(f"{made.names[key]} [d]" for key in order)], rows)
    return found


def _mean(made: Forecasted, key: Key, value: float, times: float) -> Near:
    """A figure that goes with the mean daily use of the runs, and its error."""
    weeks = made.weeks
    error = weeks.spread(key) / math.sqrt(made.runs) / weeks.days
    safety = weeks.rule(key)["safety"] / math.sqrt(2 * made.runs)
    return Near(value, SIGMAS * (error * max(times, 1.0) + (safety if times else 0.0)) + 1e-6)


def _use(made: Forecasted) -> dict[str, Page]:
    """Weeks, materials, days, stations, stations by week."""
    weeks, found = made.weeks, {}
    count = weeks.days // 7
    names = weeks_of(weeks)
    rows, of_material = [], []
    by_material = {name: [key for key in made.keys if key[0] == name] for name in sorted(weeks.materials)}
    for week in range(count):
        span = slice(7 * week, 7 * week + 7)
        for key in made.keys:
            runs = made.futures[key][:, span].sum(axis=1)
            p50, p90 = made.quantile(runs, 0.5), made.quantile(runs, 0.9)
            content = weeks.rows[key].container
            planned = sum(weeks.day_use(key)[span])
            share = Near(p90.value / content, p90.room / content)
            rows.append([names[week], weeks.date(7 * week), made.names[key], planned, p50, p90, share])
        for name, keys in by_material.items():
            runs = sum(made.futures[key][:, span].sum(axis=1) for key in keys)
            planned = sum(sum(weeks.day_use(key)[span]) for key in keys)
            quantiles = [made.quantile(runs, 0.5), made.quantile(runs, 0.9)]
            of_material.append([names[week], weeks.date(7 * week), name, planned, *quantiles])
    heads = ["Planned [mL]", "P50 [mL]", "P90 [mL]"]
    found["Weeks"] = Page(["Week", "From", "Component", *heads, "P90 in containers"], rows)
    found["Materials"] = Page(["Week", "From", "Material", *heads], of_material)
    days: list[list[Any]] = []
    for day, date in enumerate(made.dates):
        used = [weeks.day_use(key)[day] for key in made.keys]
        if any(used):
            prices = [weeks.price(key, date) for key in made.keys]
            days.append([date, *used, sum(map(float.__mul__, used, prices))])
    found["Days"] = Page(
        ["Day", *(f"{made.names[key]} [mL]" for key in made.keys), "Cost [crowns]"],
        days,
        ["All", *(sum(row[place] for row in days) for place in range(1, len(made.keys) + 2))],
    )
    stations: list[list[Any]] = []
    by_week: list[list[Any]] = []
    for station in weeks.stations:
        for key in made.keys:
            causes = weeks.by_cause(key, station.station)
            whole = sum(causes.values())
            if not whole:
                continue
            lost = 1 - (causes["parts"] + causes["hoses"]) / whole
            stations.append([station.station, made.names[key], *(causes[c] for c in CAUSES), whole, lost])
            volumes = [0.0] * count
            for date, at, of, used in weeks.within():
                if (at, of) == (station.station, key):
                    volumes[weeks.day(date) // 7] += sum(used.values())
            by_week.append([station.station, made.names[key], *volumes])
    found["Stations"] = Page(
        ["Station", "Component", *(f"{WORDS[c].capitalize()} [mL]" for c in CAUSES), "All [mL]", "Waste"],
        stations,
    )
    found["Station weeks"] = Page(["Station", "Component", *(f"{name} [mL]" for name in names)], by_week)
    return found


def _money(made: Forecasted) -> dict[str, Page]:
    """Reorder points, cost by cause, what drives the spread, what if."""
    weeks, found = made.weeks, {}
    rows: list[list[Any]] = []
    for key in made.keys:
        rule, row = weeks.rule(key), weeks.rows[key]
        few = 1 / math.sqrt(2 * made.runs)  # relative error of a standard deviation, normal
        rows.append(
            [
                made.names[key],
                _mean(made, key, rule["daily"], 0.0),
                Near(rule["sd"], SIGMAS * few * rule["sd"]),
                row.lead_time,
                row.lead_time_spread,
                made.weeks.settings["Service level"],
                Near(rule["safety"], SIGMAS * few * rule["safety"]),
                _mean(made, key, rule["point"], row.lead_time),
                Near(rule["economic"], 2e-3 * rule["economic"]),
                rule["order"],
                Near(rule["shortage"], SIGMAS * few * rule["shortage"]),
                Between(0.0, 1.0, True),  # blank where no order of the rule arrives
                Between(1, made.runs * weeks.days, True),
            ]
        )
    found["Reorder"] = Page(
        [
            "Component",
            "Daily use [mL]",
            "Spread a day [mL]",
            "Lead time [d]",
            "Its spread [d]",
            "Service level",
            "Safety stock [mL]",
            "Reorder point [mL]",
            "Economic order [mL]",
            "Order [containers]",
            "Short in a cycle [mL]",
            "Simulated service",
            "Cycles simulated",
        ],
        rows,
        facts=[1.0, float(len(rows))],
    )
    costs: list[list[Any]] = []
    wasted = {}
    for key in made.keys:
        cost, use = weeks.cost(key), weeks.by_cause(key)
        old = sum(lot.expired for lot in made.bought[key][0].lots if not lot.was_old)
        cost["expired"] = old * weeks.price(key, weeks.date(weeks.days))
        whole = sum(use.values()) + old
        wasted[key] = 1 - (use["parts"] + use["hoses"]) / whole
        costs.append([made.names[key], *(cost[c] for c in ALL), sum(cost.values()), wasted[key]])
    sums = [sum(row[place] for row in costs) for place in range(1, len(ALL) + 2)]
    by = dict(zip(ALL, sums, strict=False))
    waste = 1 - (by["parts"] + by["hoses"]) / sums[-1]
    found["Cost and waste"] = Page(
        ["Component", *(f"{WORDS[c].capitalize()} [crowns]" for c in ALL), "All [crowns]", "Waste"],
        costs,
        ["All", *sums, waste],
    )
    rows = []
    for name in sorted(weeks.materials):
        key = next(key for key in made.keys if key[0] == name)
        total = made.futures[key].sum(axis=1)
        p50, p90 = made.quantile(total, 0.5), made.quantile(total, 0.9)
        above = Near(p90.value / p50.value - 1, (p90.room + p50.room) / p50.value)
        rows.append([name, 0.0, 1.0, 0.0, 0.0, 0.0, above])  # nothing but scrap has a spread
    found["Drivers"] = Page(
        ["Material", "Demand", "Scrap", "Temperature", "Volume", "Together", "P90 above P50"], rows
    )
    return found | _what_if(made)


def _outcome(weeks: Weeks) -> dict[Key, dict[str, tuple[float, float]]]:
    """Volume and cost of each component and cause without new orders."""
    found: dict[Key, dict[str, tuple[float, float]]] = defaultdict(dict)
    for key in weeks.rows:
        use, cost = weeks.by_cause(key), weeks.cost(key)
        for cause in CAUSES:
            found[key][cause] = (use[cause], cost[cause])
        old = sum(lot.expired for lot in weeks.walked(key, [])[0].lots if not lot.was_old)
        found[key]["expired"] = (old, old * weeks.price(key, weeks.date(weeks.days)))
    return found


def _what_if(made: Forecasted) -> dict[str, Page]:
    """Each change alone, and all of them one after another."""
    now = _outcome(made.weeks)
    alone = [_outcome(weeks) for weeks in made.variants.values()]
    steps = [_outcome(weeks) for weeks in made.steps]

    def use(outcome: Any, key: Key) -> float:
        return sum(volume for volume, _ in outcome[key].values())

    names, every = list(CHANGES), [now, *alone, steps[-1]]
    uses = [[made.names[key], *(use(each, key) for each in every)] for key in made.keys]
    attributed = [
        [
            made.names[key],
            use(now, key),
            *(use(b, key) - use(a, key) for a, b in zip([now, *steps[:-1]], steps, strict=True)),
            use(steps[-1], key),
        ]
        for key in made.keys
    ]
    causes, cost = [], []
    for cause in ALL:
        volumes = [sum(each[key][cause][0] for key in made.keys) for each in every]
        causes.append([WORDS[cause], *(volume - volumes[0] for volume in volumes[1:])])
        cost.append([WORDS[cause], *(sum(each[key][cause][1] for key in made.keys) for each in every)])

    def sums(rows: list[list[Any]]) -> list[Any]:
        return ["All", *(sum(row[place] for row in rows) for place in range(1, len(rows[0])))]

    volumes = ["Now [mL]", *(f"{name} [mL]" for name in names), "All together [mL]"]
    return {
        "What if": Page(["Component", *volumes], uses),
        "What if causes": Page(["Cause", *volumes[1:]], causes, sums(causes)),
        "What if cost": Page(
            ["Cause", "Now [crowns]", *(f"{name} [crowns]" for name in names), "All together [crowns]"],
            cost,
            sums(cost),
        ),
        "What if steps": Page(["Component", *volumes], attributed),
    }


def _lots(made: Forecasted) -> dict[str, Page]:
    """What becomes of each lot, and how long it may be used."""
    weeks = made.weeks
    rows: list[list[Any]] = []
    lines: list[list[Any]] = []
    expired = 0
    for key in made.keys:
        life = weeks.rows[key].open_life
        lots: list[Lot] = [lot for lot in made.bought[key][0].lots if lot.here]
        for lot in sorted(lots, key=lambda lot: (lot.last(life), lot.name)):
            closing = lot.left + lot.standing
            last = lot.last(life)
            figures = [lot.opening, lot.received, lot.used, lot.expired, closing]
            rows.append([made.names[key], lot.name, last, *figures, 0.0, lot.expired_on, None])
            expired += lot.expired > 1e-6
            begin = max(lot.arrival or weeks.first, weeks.first)
            wait, usable = (begin - weeks.first).days, (last - begin).days + 1
            name = f"{made.names[key]} {lot.name}"
            lines.append([name, begin, last, wait, usable, lot.used, lot.expired])
    return {
        "Lots": Page(
            [
                "Component",
                "Lot",
                "Last day",
                "Opening [mL]",
                "Received [mL]",
                "Used [mL]",
                "Expired [mL]",
                "Left at end [mL]",
                "Balance [mL]",
                "Expires on",
                "Store at",
            ],
            rows,
            facts=[float(expired)],
        ),
        "Lot time line": Page(
            [
                "Lot",
                "From",
                "Last day",
                "Days until it comes [d]",
                "Days it may be used [d]",
                "Used [mL]",
                "Too old [mL]",
            ],
            sorted(lines, key=lambda row: (row[2], row[0]))[:LINE],
        ),
    }
