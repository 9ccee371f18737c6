"""What may be chosen, played side by side: each set through the plan's builds, ranked.

A set is played as `dispense fill` plays the plan, and judged by the findings of setup card, cure, pours and
shifts. A danger, a line that stops and a cure that is not reached rule it out; stock that must be ordered
does not. What is mixed counts in whole nanolitres, as in a shift.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeAlias

from ..base.errors import DispenseError, InputError, Problem
from ..base.findings import QUALITY, STOP, Finding, WithFindings, gravest_first, grouped, rules_out
from ..base.printed import counted
from ..base.processes import check_processes
from ..base.spread import spread
from ..base.terminal import findings_text, table
from ..base.units import from_si
from ..base.workers import begin_worker
from ..plan.cautions import cautions_text
from ..plan.checks import check_records
from ..plan.choices import ChoiceField, ChosenSet, choice_fields, chosen_sets
from ..plan.materials import mixed_density
from ..plan.records import Plan
from ..plan.routes import route_of
from ..plan.rows import Material, Station
from ..plan.weather import shop_weather
from ..shift.pace import OUTPUT
from ..shift.play import play_plan
from ..shift.results import CATEGORIES, UNMIXED, ShiftResult
from ..shift.setup import setup_card
from ..shift.store import NANO, nanolitre_price
from .findings import station_findings
from .pour import planned_pour
from .runs import run_findings, station_runs

Progress = Callable[[int, int], None]

FEW_SETS = 2  # fewer are played in one process
MOST_RULES = 30  # rows of what rules sets out in a terminal
RULED_OUT = "ruled out"
#: columns of a table of sets, behind what is chosen and its cost
FIGURES = (
    "waste [mL]",
    "of it in containers [mL]",
    "waste share",
    "pressure [bar]",
    "purges",
    "mixers",
    "stops",
    "cure positions",
    "hottest pour [°C]",
    "not made by the end",
    "to look at",
)
BY_COST, BY_WASTE = "cost", "waste"


@dataclass(slots=True)
class SetResult:
    """A set as played; volumes in nanolitres, all components together, the rest in SI units.

    `used` is by category of the shift's balance. What is not known is None.
    """

    names: tuple[str, ...]  # of what its stations use
    cells: tuple[str, ...]  # the same, short, by axis
    is_present: bool
    used: dict[str, int] = field(default_factory=lambda: dict.fromkeys(CATEGORIES, 0))
    left: int = 0  # in containers, hoses and mixers when the last shift ends
    asked: int = 0  # good parts, of a route those at its end
    made: int = 0
    passed_on: int = 0  # good parts of the stations that are chosen for
    cost: float | None = None  # of all that is used
    cost_on_parts: float | None = None
    unpriced: list[str] = field(default_factory=list)
    pressure: float | None = None
    pressure_limit: float | None = None
    purges: int = 0
    mixers: int = 0
    containers: int = 0
    positions: int | None = None
    hottest: float | None = None
    ruled_out: list[Finding] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    is_played: bool = True
    rank: int = 0

    @property
    def name(self) -> str:
        """What is chosen, in a line."""
        return ", ".join(self.names)

    @property
    def total(self) -> int:
        """All that is used."""
        return sum(self.used.values())

    @property
    def waste(self) -> int:
        """What is used and is not on good parts."""
        return self.total - self.used["parts"]

    @property
    def lost_in_containers(self) -> int:
        """What is thrown away with containers: heels, rests, what expired."""
        return sum(self.used[name] for name in UNMIXED)

    @property
    def stops(self) -> int:
        """Times that a nozzle stands for a purge, a mixer or a container, those of the start among them."""
        return self.purges + self.mixers + self.containers

    @property
    def not_made(self) -> int:
        """Good parts that are asked for and not made."""
        return max(self.asked - self.made, 0)

    @property
    def is_admissible(self) -> bool:
        """Whether nothing rules it out."""
        return not self.ruled_out

    @property
    def rules(self) -> list[Finding]:
        """What rules it out, the gravest first, the first finding of each sort."""
        return [group.first for group in grouped(self.ruled_out)]

    @property
    def waste_ml(self) -> float:
        """The waste in mL."""
        return _millilitres(self.waste)

    @property
    def to_look_at(self) -> int:
        """Sorts of findings that spoil parts or figures and do not rule it out."""
        return sum(group.first.kind == QUALITY for group in grouped(self.findings))

    @property
    def cost_of_waste(self) -> float | None:
        """What the waste costs."""
        if self.cost is None or self.cost_on_parts is None:
            return None
        return self.cost - self.cost_on_parts

    def a_part(self, ranked_by: str) -> float:
        """Cost or waste [nL] for each good part, by which it is ranked."""
        value = self.cost if ranked_by == BY_COST else self.waste
        return (
            math.inf if value is None or not self.passed_on or not self.is_played else value / self.passed_on
        )


@dataclass(slots=True)
class FieldResult:
    """Stations that are chosen for together, and their sets: the plan as it is, then in their order."""

    stations: tuple[str, ...]
    axes: tuple[str, ...]  # what may be chosen, in words
    sets: list[SetResult]
    ranked_by: str
    unpriced: list[str]
    cautions: list[str]  # of each material that may be used

    @property
    def heading(self) -> str:
        """The stations in a line."""
        return ", ".join(self.stations)

    @property
    def present(self) -> SetResult:
        """The plan as it is."""
        return self.sets[0]

    @property
    def best(self) -> SetResult:
        """The set that ranks first."""
        return min(self.sets, key=lambda item: item.rank)

    @property
    def ranking(self) -> str:
        """How the sets are ranked."""
        words = "Ranked: first what nothing rules out, then by "
        if self.ranked_by == BY_COST:
            words += "the cost of all that is used for each good part, at the price of a full container"
        else:
            words += "what is used and is not on good parts, for each good part"
        words += "; of equals first the one with fewer stops, then with less pressure"
        return words + (f". No price is stated for {', '.join(self.unpriced)}" if self.unpriced else "")


@dataclass(slots=True)
class Comparison(WithFindings):
    """What may be chosen, side by side; the findings are those of the plan as it is."""

    plan: Plan
    fields: list[FieldResult]
    first: datetime.date
    last: datetime.date
    findings: list[Finding] = field(default_factory=list)
    out: Path | None = None

    @property
    def currency(self) -> str:
        """What prices are counted in."""
        return self.plan.settings["currency"]

    @property
    def period(self) -> str:
        """The builds that are played."""
        return f"builds of {self.first}" + (f" to {self.last}" if self.last > self.first else "")

    def answer(self, item: FieldResult) -> str:
        """What a reader came for: which set ranks first, and by how much."""
        best, now = item.best, item.present
        if not best.is_admissible:
            return f"Each of {counted(len(item.sets), 'set')} is ruled out, the plan as it is among them"
        if best is now:
            return f"The plan as it is ranks first of {len(item.sets)}"
        out = sum(not one.is_admissible for one in item.sets)
        words = f"First of {len(item.sets)}{f' ({out} ruled out)' if out else ''}: {best.name}"
        if not now.is_admissible:
            return f"{words}; the plan itself is ruled out"
        return f"{words}; {self._gain(item.ranked_by, now, best)} than the plan as it is"

    def _gain(self, ranked_by: str, now: SetResult, best: SetResult) -> str:
        if ranked_by == BY_COST and now.cost is not None and best.cost is not None:
            return f"{now.cost - best.cost:,.2f} {self.currency}".strip() + " less"
        return f"{now.waste_ml - best.waste_ml:,.1f} mL less waste"

    def as_json(self) -> dict[str, Any]:
        """The comparison for a script: shop units, null where nothing is known."""
        return {
            "first": str(self.first),
            "last": str(self.last),
            "currency": self.currency,
            "units": {"volume": "mL", "pressure": "bar", "temperature": "°C"},
            "stations": [
                {
                    "stations": list(item.stations),
                    "ranked_by": item.ranked_by,
                    "ranking": item.ranking,
                    "answer": self.answer(item),
                    "cautions": item.cautions,
                    "sets": [_set_json(one) for one in item.sets],
                }
                for item in self.fields
            ],
            "findings": [finding.as_json() for finding in self.findings],
            "file": None if self.out is None else str(self.out),
        }

    def as_text(self) -> str:
        """The comparison for a terminal."""
        blocks = [f"Choices side by side, {self.period}"]
        for item in self.fields:
            headers, rows = set_table(item, self.currency)
            shown = [[_brief(value) for value in row] for row in rows]
            blocks.append(f"{item.heading}\n{self.answer(item)}\n{item.ranking}\n\n{table(headers, shown)}")
            out = [[one.rank, rule.text] for one in item.sets for rule in one.rules]
            if out:
                more = f"\nand {len(out) - MOST_RULES} more" if len(out) > MOST_RULES else ""
                blocks.append(table(["rank", "ruled out by"], out[:MOST_RULES]) + more)
        if self.warnings:
            told = findings_text(self.findings, notes=False)
            blocks.append(f"The plan as it is: {told}")
        cautions = dict.fromkeys(words for item in self.fields for words in item.cautions)
        blocks.append("\n".join(["Cautions", *cautions]))
        if self.out is not None:
            blocks.append(f"wrote {self.out}")
        return "\n\n".join(blocks)


# ----------------------------------------------------------------------------------------- playing


def compare(
    plan: Plan,
    station: str | None = None,
    *,
    first: datetime.date | None = None,
    last: datetime.date | None = None,
    processes: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Play every set of the plan's Choices; of one station and what is chosen with it, if named.

    The builds from `first` to `last` are counted; those before are played too, so that containers and
    mixers stand as they would. `processes` work side by side, or an `executor` does; the result is the same.
    """
    check_processes(processes)
    fields = choice_fields(plan, station)
    days = [day for day in plan.days() if (first or day[0]) <= day[0] <= (last or day[0])]
    if not days:
        span = f"{first or 'the first'} to {last or 'the last'}"
        raise InputError(Problem("compare", message=f"the plan has no builds from {span}"))
    played: list[FieldResult] = []
    total = sum(item.size for item in fields)
    results = _played(plan, fields, days, processes, executor)
    done = 0
    for item in fields:
        sets: list[SetResult] = []
        materials: dict[str, None] = {}
        for chosen in chosen_sets(plan, item):
            sets.append(next(results))
            materials |= dict.fromkeys(chosen.plan.station(name).material for name in item.stations)
            if progress is not None:
                progress(done + len(sets), total)
        done += item.size
        if progress is not None:
            progress(done, total)
        played.append(_ranked(item, sets, _cautions(plan, item.stations, materials)))
    found = [finding for item in played for finding in item.present.findings]
    return Comparison(plan, played, days[0][0], days[-1][0], gravest_first(found))


def _cautions(plan: Plan, stations: Collection[str], materials: Iterable[str]) -> list[str]:
    """The usual cautions of each material that may be used."""
    cells = any(pot.cells and pot.station in stations for pot in plan.pots)
    return [f"{name}: {cautions_text(plan.material(name), cells=cells)}" for name in materials]


def _ranked(choice_field: ChoiceField, results: Sequence[SetResult], cautions: list[str]) -> FieldResult:
    """Sets in their order, the plan as it is before them."""
    unpriced = list(dict.fromkeys(name for item in results for name in item.unpriced))
    ranked_by = BY_WASTE if unpriced else BY_COST
    order = sorted(
        results,
        key=lambda item: (
            not item.is_admissible,
            item.a_part(ranked_by),
            item.stops,
            item.pressure or 0.0,
            not item.is_present,
            item.name,
        ),
    )
    for place, item in enumerate(order, 1):
        item.rank = place
    now = next(item for item in results if item.is_present)
    return FieldResult(
        choice_field.stations,
        tuple(axis.heading for axis in choice_field.axes),
        [now, *(item for item in order if item is not now)],
        ranked_by,
        unpriced,
        cautions,
    )


Days = Sequence[tuple[datetime.date, str]]
_Benches: TypeAlias = "list[tuple[_Bench, list[ChosenSet]]]"
_worker: _Benches = []


def _start_worker(plan: Plan, station: str | None, days: Days) -> None:
    begin_worker()
    _worker[:] = _benches(plan, station, days)


def _benches(plan: Plan, station: str | None, days: Days) -> _Benches:
    return [(_Bench(item, days), list(chosen_sets(plan, item))) for item in choice_fields(plan, station)]


def _work(place: tuple[int, int]) -> SetResult:
    return _play_at(_worker, place)


def _play_at(benches: _Benches, place: tuple[int, int]) -> SetResult:
    """A set by the numbers of its field and of itself."""
    bench, sets = benches[place[0]]
    return bench.play(sets[place[1]])


def _played(
    plan: Plan, fields: Sequence[ChoiceField], days: Days, processes: int, executor: Executor | None
) -> Iterator[SetResult]:
    """Every set of every field played, in their order."""
    counts = [sum(1 for _ in chosen_sets(plan, item)) for item in fields]
    if (processes == 1 and executor is None) or sum(counts) < FEW_SETS:
        for item in fields:
            bench = _Bench(item, days)
            yield from map(bench.play, chosen_sets(plan, item))
        return
    places = [(number, one) for number, count in enumerate(counts) for one in range(count)]
    bare = replace(plan)  # without what was worked out of it
    named = fields[0].stations[0] if len(fields) == 1 else None
    if executor is not None:
        yield from spread(executor, _benches, (bare, named, days), _play_at, places)
        return
    with ProcessPoolExecutor(processes, initializer=_start_worker, initargs=(bare, named, days)) as pool:
        yield from pool.map(_work, places, chunksize=math.ceil(len(places) / processes))


class _Bench:
    """Plays the sets of some stations; a pour that no choice touches is worked out once."""

    def __init__(self, choice_field: ChoiceField, days: Days) -> None:
        self.stations = choice_field.stations
        self.days = days
        self.pours: dict[tuple[Any, ...], dict[Any, Any]] = {}

    def play(self, chosen: ChosenSet) -> SetResult:
        """A set through the builds, with what is found of it."""
        found = SetResult(
            tuple(option.name for option in chosen.in_use),
            tuple(option.short if option in chosen.in_use else "–" for option in chosen.options),
            chosen.is_present,
        )
        plan = chosen.plan
        problems = [] if chosen.is_present else check_records(plan)
        try:
            if problems:
                raise InputError(problems)
            for name in self.stations:
                self._station(plan, plan.station(name), found)
            self._shifts(plan, found)
        except DispenseError as error:
            found.is_played = False
            found.ruled_out += [
                Finding(STOP, str(problem), problem.fix, "plan check", cell=problem.where)
                for problem in error.problems
            ]
        _cost(plan, self.stations, found)
        found.findings = gravest_first(found.findings)
        found.ruled_out = gravest_first([*found.ruled_out, *filter(rules_out, found.findings)])
        return found

    def _station(self, plan: Plan, station: Station, found: SetResult) -> None:
        """Setup, cure and pours of a station."""
        material = plan.material(station.material)
        pours = self._lend_pours(plan, station, material)
        found.findings += station_findings(plan, station.station)
        for setting in setup_card(plan, station.station).settings:
            if setting.pressure is not None and setting.pressure > (found.pressure or 0.0):
                found.pressure, found.pressure_limit = setting.pressure, station.pressure_limit
        runs = station_runs(plan, station, material, failed=[], is_brief=True)
        found.ruled_out += [item for run in runs for item in run_findings(station, material, run)]
        positions = [run.positions for run in runs if run.positions is not None]
        if positions:
            found.positions = (found.positions or 0) + max(positions)
        peaks = []
        for pot in plan.pots:
            if pot.station == station.station:
                try:
                    pour = planned_pour(plan, pot)
                except DispenseError:  # it stands among the findings
                    continue
                peaks += [] if pour is None else [pour.planned_peak]
        if peaks:
            found.hottest = max([*peaks, *([] if found.hottest is None else [found.hottest])])
        mine = {(pot.part, pot.pot) for pot in plan.pots if pot.station == station.station}
        pours.update((key, pour) for key, pour in plan.kept("planned pours").items() if key in mine)

    def _lend_pours(self, plan: Plan, station: Station, material: Material) -> dict[Any, Any]:
        """Pours of the same material, density and temperatures, worked out for a set before."""
        weather = shop_weather(plan, station)
        density = mixed_density(material, plan.components_of(material.material))
        key = (station.station, material, density, *weather.times, *weather.temperatures)
        known = self.pours.setdefault(key, {})
        plan.kept("planned pours").update(known)
        return known

    def _shifts(self, plan: Plan, found: SetResult) -> None:
        """The builds, shift by shift."""
        counted_days, ends = set(self.days), {}
        for result in play_plan(plan, stations=self.stations, until=self.days[-1]):
            is_mine = result.station.station in self.stations
            if (result.date, result.shift) in counted_days:
                self._count_parts(plan, found, result)
            if is_mine and (result.date, result.shift) in counted_days:
                _add(found, result)
                ends[result.station.station] = result
        found.left = sum(sum(result.closing.values()) for result in ends.values())

    def _count_parts(self, plan: Plan, found: SetResult, result: ShiftResult) -> None:
        """Good parts that are asked for and made: of a route at its end, and what it is short of there.

        What a set does to a line shows where the line ends, whichever of its stations is chosen for.
        """
        name = result.station.station
        for job in result.jobs:
            route = [row.station for row in route_of(plan, job.part)] or [name]
            if name == route[-1] and not set(route).isdisjoint(self.stations):
                found.asked += job.quantity
                found.made += job.finished
                if name not in self.stations:
                    found.findings += [
                        item for item in result.findings if item.part == job.part and item.topic == OUTPUT
                    ]


def _add(found: SetResult, result: ShiftResult) -> None:
    """Count a shift of a station that is chosen for."""
    for used in result.used.values():
        for category, volume in used.items():
            found.used[category] += volume
    found.passed_on += sum(job.finished for job in result.jobs)
    found.purges += result.purges
    found.mixers += result.mixers
    found.containers += sum(result.containers.values())
    prices = {letter: nanolitre_price(component) for letter, component in result.components.items()}
    found.cost = (found.cost or 0.0) + math.fsum(
        result.drawn(letter) * price for letter, price in prices.items()
    )
    found.cost_on_parts = (found.cost_on_parts or 0.0) + math.fsum(
        result.used[letter]["parts"] * price for letter, price in prices.items()
    )
    found.findings += result.findings


def _cost(plan: Plan, stations: Iterable[str], found: SetResult) -> None:
    """No cost where a component has no price, or the builds could not be played to their end."""
    materials = dict.fromkeys(plan.station(name).material for name in stations)
    for material in materials:
        components = plan.components_of(material)
        for letter, component in components.items():
            if not component.price:
                found.unpriced.append(f"{material} {letter.upper()}" if len(components) > 1 else material)
    if found.unpriced or not found.is_played:
        found.cost = found.cost_on_parts = None


# ----------------------------------------------------------------------------------------- figures


def _millilitres(nanolitres: int) -> float:
    return nanolitres / NANO * 1e6


def set_table(item: FieldResult, currency: str) -> tuple[list[str], list[list[Any]]]:
    """The sets as a table: headers with units, and a row for each, None where nothing is known."""
    has_cost = item.ranked_by == BY_COST
    unit = f" [{currency}]" if currency else ""
    headers = [
        "rank",
        "plan",
        *item.axes,
        *([f"cost{unit}", f"cost of waste{unit}"] if has_cost else []),
        *FIGURES,
        RULED_OUT,
    ]
    rows = [
        [
            one.rank,
            "now" if one.is_present else "",
            *one.cells,
            *([one.cost, one.cost_of_waste] if has_cost else []),
            *_figures(one),
            "yes" if one.ruled_out else "",
        ]
        for one in item.sets
    ]
    return headers, rows


def _figures(one: SetResult) -> list[Any]:
    if not one.is_played:
        return [None] * len(FIGURES)
    return [
        one.waste_ml,
        _millilitres(one.lost_in_containers),
        one.waste / one.total if one.total else None,
        None if one.pressure is None else float(from_si(one.pressure, "bar")),
        one.purges,
        one.mixers,
        one.stops,
        one.positions,
        None if one.hottest is None else float(from_si(one.hottest, "°C")),
        one.not_made,
        one.to_look_at,
    ]


def _brief(value: Any) -> Any:
    return float(f"{value:.4g}") if isinstance(value, float) else value


def _set_json(one: SetResult) -> dict[str, Any]:
    is_played = one.is_played
    return {
        "rank": one.rank,
        "present": one.is_present,
        "choices": list(one.names),
        "admissible": one.is_admissible,
        "ruled_out": [finding.as_json() for finding in one.ruled_out],
        "cost": one.cost if is_played else None,
        "cost_of_waste": one.cost_of_waste if is_played else None,
        "used": {name: _millilitres(volume) for name, volume in one.used.items()} if is_played else None,
        "waste": one.waste_ml if is_played else None,
        "lost_in_containers": _millilitres(one.lost_in_containers) if is_played else None,
        "left_at_end": _millilitres(one.left) if is_played else None,
        "pressure": None if one.pressure is None else float(from_si(one.pressure, "bar")),
        "pressure_limit": None if one.pressure_limit is None else float(from_si(one.pressure_limit, "bar")),
        "purges": one.purges if is_played else None,
        "mixers": one.mixers if is_played else None,
        "containers": one.containers if is_played else None,
        "stops": one.stops if is_played else None,
        "cure_positions": one.positions,
        "hottest_pour": None if one.hottest is None else float(from_si(one.hottest, "°C")),
        "parts_asked": one.asked if is_played else None,
        "parts_made": one.made if is_played else None,
        "parts_not_made": one.not_made if is_played else None,
        "to_look_at": one.to_look_at if is_played else None,
    }


__all__ = ["Comparison", "FieldResult", "SetResult", "compare", "set_table"]
