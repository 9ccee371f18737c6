"""What if the takt, the scrap, the shop, the containers or the ratio were different?

Each change is played on its own through the shift model and the stock, side by side with the plan as
it stands. The difference is explained twice, and both add up to the nanolitre: by cause (more
purges, less heel), and, for all changes together, step by step: each change is made after those
before it, in the order stated, and gets what it changes there (sequential attribution).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from ..base.errors import InputError, Problem, needed
from ..base.printed import counted
from ..base.progress import Progress, told
from ..plan.materials import sized
from ..plan.records import Plan
from ..plan.rows import Component, Station
from ..shift.store import price_on
from .horizon import Horizon, horizon_of, without_history
from .response import Occurrence, occurrences, play_lean, used_of, warmer
from .results import ML, Forecast, Table
from .stock import ALL_CAUSES, CAUSE_WORDS, Key, uses, walk_stock
from .tables import USE_WORDS

MOST_SHIFTS = 600  # distinct ones; above, the first weeks only
MOST_KELVIN = 100.0  # of a change of temperature; more is a slip
FEW_WEEKS = 4


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the plan, in words and as a function from plan to plan."""

    name: str
    apply: Callable[[Plan], Plan]


def change_takt(factor: float, station: str | None = None) -> Change:
    """Parts come faster (factor below 1) or slower.

    Where a station states no takt, its parts are spread over each shift: then the takt of each shift
    is so much shorter or longer, as the plan plays it.
    """
    _check("takt factor", factor, factor > 0.0, "above 0")

    def apply(plan: Plan) -> Plan:
        factors = dict(plan.takt_factors)
        for row in plan.stations:
            if station in (None, row.station):
                factors[row.station] = factors.get(row.station, 1.0) * factor
        stated = _stations(
            plan, station, lambda row: replace(row, takt=row.takt * factor) if row.takt else row
        )
        return replace(stated, takt_factors=factors)

    return Change(f"takt {_percent(factor)}" + _at(station), apply)


def change_scrap(points: float, station: str | None = None) -> Change:
    """So much more of the started parts is lost (0.01: one in a hundred more)."""
    _check("scrap change", points, -1.0 < points < 1.0, "between -1 and 1")

    def changed(row: Station) -> Station:
        return replace(row, scrap=min(max(row.scrap + points, 0.0), 0.99))

    return Change(
        f"scrap {100 * points:+g} points" + _at(station), lambda plan: _stations(plan, station, changed)
    )


def change_temperature(kelvin: float) -> Change:
    """The whole shop is so much warmer."""
    _check("temperature change", kelvin, abs(kelvin) < MOST_KELVIN, f"within {MOST_KELVIN:g} K")
    return Change(f"shop {kelvin:+g} K", lambda plan: warmer(plan, kelvin))


def change_container(factor: float, material: str | None = None) -> Change:
    """Containers of another size at the same price for the volume; the heel stays a share of it."""
    _check("container factor", factor, factor > 0.0, "above 0")

    def apply(plan: Plan) -> Plan:
        return plan.with_rows(
            Component,
            lambda row: sized(row, row.container * factor) if material in (None, row.material) else row,
        )

    return Change(f"containers × {factor:g}" + _of(material), apply)


def change_ratio(factor: float, material: str | None = None) -> Change:
    """More (or less) of component B for the same A."""
    _check("ratio factor", factor, factor > 0.0, "above 0")

    def apply(plan: Plan) -> Plan:
        rows = [
            replace(row, ratio_b=needed(row.ratio_b, row.at, "ratio B") * factor)
            if row.kind == "two-part" and material in (None, row.material)
            else row
            for row in plan.materials
        ]
        return replace(plan, materials=rows)

    return Change(f"share of B {_percent(factor)}" + _of(material), apply)


def standard_changes() -> list[Change]:
    """The changes of the forecast workbook."""
    return [
        change_takt(0.9),
        change_scrap(0.01),
        change_temperature(5.0),
        change_container(2.0),
        change_ratio(1.05),
    ]


def _check(name: str, value: float, good: bool, allowed: str) -> None:
    if not (math.isfinite(value) and good):
        raise InputError(Problem("what_if", name, value, allowed))


def _percent(factor: float) -> str:
    return f"{100 * (factor - 1):+.3g} %"


def _at(station: str | None) -> str:
    return f" at {station}" if station else ""


def _of(material: str | None) -> str:
    return f" of {material}" if material else ""


def _stations(plan: Plan, station: str | None, changed: Callable[[Station], Station]) -> Plan:
    return plan.with_rows(Station, lambda row: changed(row) if station in (None, row.station) else row)


# ---------------------------------------------------------------------------------------- playing


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a variant draws, nanolitres by component and cause, and what stays undone."""

    name: str
    causes: dict[Key, dict[str, int]]
    priced: dict[tuple[str, float], int]  # nL by cause and the price of a nanolitre, over all components
    unfinished: int

    def use(self, key: Key) -> int:
        """All that a component goes to."""
        return sum(self.causes[key].values())

    def cost(self, cause: str) -> float:
        """Cost of one cause over all components."""
        return math.fsum(volume * price for (of, price), volume in self.priced.items() if of == cause)


@dataclass(frozen=True, slots=True)
class _Played:
    used: dict[str, dict[str, int]]
    unfinished: int


def play_variant(plan: Plan, name: str, horizon: Horizon) -> Outcome:
    """A plan through its shifts and its stock, without new orders."""
    keys, shifts = occurrences(plan, horizon.end)
    answers = []
    for key in keys:
        result = play_lean(plan, key)
        answers.append(_Played(used_of(result), sum(job.quantity - job.finished for job in result.jobs)))
    walk, _ = walk_stock(plan, horizon, shifts, answers)
    causes = {
        key: dict.fromkeys(ALL_CAUSES, 0) | {"expired": each.grown_old}
        for key, each in walk.of_component.items()
    }
    priced: dict[tuple[str, float], int] = defaultdict(int)
    for item, component, used in uses(plan, shifts, answers):
        price = price_on(plan, *component, item.date)
        for cause, volume in used.items():
            causes[component][cause] += volume
            priced[cause, price] += volume
    for component, each in causes.items():
        priced["expired", price_on(plan, *component, horizon.end)] += each["expired"]
    return Outcome(name, causes, dict(priced), _unfinished(shifts, answers))


def _unfinished(shifts: Sequence[Occurrence], answers: Sequence[_Played]) -> int:
    return sum(answers[item.key].unfinished for item in shifts)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The plan as it stands, each change alone, and all of them added one after another."""

    now: Outcome
    alone: list[Outcome]
    steps: list[Outcome]  # steps[i] has the first i + 1 changes made
    horizon: Horizon

    def difference(self, variant: Outcome) -> dict[tuple[Key, str], int]:
        """Variant less the plan as it stands, by component and cause [nL]."""
        return {
            (key, cause): variant.causes[key][cause] - volume
            for key, causes in self.now.causes.items()
            for cause, volume in causes.items()
        }

    def attributed(self, key: Key) -> list[int]:
        """What each step changes for a component; the sum is the difference of all together [nL]."""
        before = [self.now, *self.steps[:-1]]
        return [step.use(key) - last.use(key) for last, step in zip(before, self.steps, strict=True)]


def what_if(
    plan: Plan,
    changes: Iterable[Change] | None = None,
    weeks: int = FEW_WEEKS,
    horizon: Horizon | None = None,
    progress: Progress | None = None,
) -> WhatIf:
    """Play the plan and its variants over the weeks of the builds."""
    chosen = standard_changes() if changes is None else list(changes)
    if not chosen:
        raise InputError(Problem("what_if", "changes", "none", "at least one change"))
    if horizon is None:
        plan, _ = without_history(plan, weeks)
        horizon = horizon_of(plan, weeks)
    now = play_variant(plan, "now", horizon)
    twice = 2 * len(chosen)  # each alone, then all one after another
    alone = [
        play_variant(change.apply(plan), change.name, horizon) for change in told(chosen, twice, progress)
    ]
    steps, made = [], plan
    for place, change in enumerate(chosen):
        if progress is not None:
            progress(len(chosen) + place, twice)
        made = change.apply(made)
        steps.append(alone[0] if place == 0 else play_variant(made, change.name, horizon))
    return WhatIf(now, alone, steps, horizon)


def what_if_table(
    found: Forecast, changes: Iterable[Change] | None = None, progress: Progress | None = None
) -> WhatIf:
    """Play the variants of a forecast's plan and add their tables to it."""
    horizon = found.horizon
    if len(found.keys) > MOST_SHIFTS:
        horizon = horizon_of(found.plan, min(FEW_WEEKS, horizon.weeks))
    result = what_if(found.plan, changes, horizon=horizon, progress=progress)
    found.what_if = result
    for table in _tables(found, result):
        found.tables[table.name] = table
    return result


def _tables(found: Forecast, result: WhatIf) -> list[Table]:
    span = f"Over {counted(result.horizon.weeks, 'week')}. "
    undone = [
        f"{each.name}: {each.unfinished - result.now.unfinished} more parts are not finished"
        for each in result.alone
        if each.unfinished > result.now.unfinished
    ]
    names = [each.name for each in result.alone]
    together = result.steps[-1]
    columns = ("Now", *names, "All together")
    variants = [result.now, *result.alone, together]
    use = Table(
        "what_if",
        "What if: how much of each component?",
        (("Component", "", "text"), *((name, "mL", "number") for name in columns)),
        note=span
        + "Each change alone, without new orders; what expires in these weeks is in it here. "
        + USE_WORDS
        + " "
        + ("; ".join(undone) + "." if undone else ""),
    )
    steps = Table(
        "what_if_steps",
        "What if: which change brings how much, all made together?",
        (
            ("Component", "", "text"),
            ("Now", "mL", "number"),
            *((name, "mL", "number") for name in names),
            ("All together", "mL", "number"),
        ),
        note=span + "Each change is made after those to its left and gets what it changes there. "
        "Now and the changes add up to all together.",
    )
    for key, view in found.components.items():
        use.rows.append([view.name, *(each.use(key) / ML for each in variants)])
        steps.rows.append(
            [
                view.name,
                result.now.use(key) / ML,
                *(volume / ML for volume in result.attributed(key)),
                together.use(key) / ML,
            ]
        )
    causes = Table(
        "what_if_causes",
        "What if: which cause makes the difference?",
        (("Cause", "", "text"), *((name, "mL", "number") for name in (*names, "All together"))),
        note=span + "Difference from now over all components, what expires included.",
        total=True,
    )
    cost = Table(
        "what_if_cost",
        "What if: what does it cost?",
        (("Cause", "", "text"), *((name, found.currency, "number") for name in columns)),
        note=span + "At the price of a full container, without new orders.",
        total=True,
    )
    differences = [result.difference(each) for each in (*result.alone, together)]
    for cause in ALL_CAUSES:
        words = CAUSE_WORDS[cause]
        causes.rows.append(
            [
                words,
                *(
                    sum(volume for (_, each), volume in difference.items() if each == cause) / ML
                    for difference in differences
                ),
            ]
        )
        cost.rows.append([words, *(each.cost(cause) for each in variants)])
    return [use, causes, cost, steps]


__all__ = [
    "Change",
    "Outcome",
    "WhatIf",
    "change_container",
    "change_ratio",
    "change_scrap",
    "change_takt",
    "change_temperature",
    "play_variant",
    "standard_changes",
    "what_if",
    "what_if_table",
]
