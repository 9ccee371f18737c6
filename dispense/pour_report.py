"""Exotherm of the pots of a plan: how hot a pour gets, where, when, and how deep is safe.

A pot is a wide slab as deep as its level, with an insulated base and a film at its free face, poured
at the hottest hour into surroundings of that temperature. It is judged without its cells, which would
only cool it; what they take up is told beside it with an assumed heat capacity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .amounts import applications, cell_dimensions, free_volume
from .errors import DispenseError, InputError
from .heat import (
    Pour,
    Runaway,
    Sink,
    adiabatic_rise,
    depth_or_reason,
    frank_kamenetskii,
    peak_temperature,
    pour,
    time_to_maximum_rate,
)
from .materials import kinetics_of, mixed_density
from .pots import cavity_volume
from .shift import shop_record
from .units import celsius_text, from_si

STILL_AIR = 10.0  # W/(m²·K), where the pot states no film
CELL_DENSITY = 2600.0  # kg/m³ of a round cell: common practice, no source
CELL_HEAT = 900.0  # J/(kg·K) of a round cell: common practice, no source
LAYERS = 60
CHART_POINTS = 80
AFTER = 2.5  # times the time of the peak that a pour is followed for its chart
SHORTEST = 1800.0  # s that a pour is followed at least

CELLS_NOTE = (f"cells as heat sinks count with {CELL_DENSITY / 1e3:g} g/mL and {CELL_HEAT / 1e3:g} "
              "J/(g·K) (common practice, no source) at the compound's temperature")  # fmt: skip
CAUTION = ("a runaway pour can burn, smoke and vent cells: prove the depth by a trial with "
           "thermocouples away from cells, heed the safety data sheet and the maker's largest mass "
           "in one pour")  # fmt: skip


@dataclass(slots=True)
class PourTrace:
    """Temperatures and degrees of a pour against time for a chart, SI units; shots joined."""

    times: np.ndarray
    base: np.ndarray
    middle: np.ndarray
    top: np.ndarray
    degree: np.ndarray  # mean over the depth that is poured
    profile_times: list[float]
    heights: np.ndarray
    profiles: list[np.ndarray]  # temperatures through the depth at each profile time


@dataclass(slots=True)
class PourReport:
    """A pot's exotherm; SI units, None where not known or not needed."""

    pot: Any
    start: float
    film: float
    depth: float
    density: float
    adiabatic: float  # temperature without loss of heat
    peak: float  # all in one shot
    peak_time: float
    peak_height: float
    trace: PourTrace
    limit: float | None
    safe_depth: float | None
    safe_words: str
    runaway: Runaway | None
    maximum_rate: float | None
    shots: list[tuple[int, float, float]] = field(default_factory=list)  # number, depth, wait
    shots_peak: float | None = None
    shots_time: float | None = None
    shots_trace: PourTrace | None = None
    cell_share: float = 0.0
    cells_peak: float | None = None
    warnings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Part and pot."""
        return f"{self.pot.part} / {self.pot.pot}"

    @property
    def planned_peak(self) -> float:
        """The peak as the plan pours it: in its shots, or in one."""
        return self.peak if self.shots_peak is None else self.shots_peak


def cell_share(pot) -> float:
    """Share of the filled volume that cells take."""
    if not pot.cells:
        return 0.0
    diameter, height = cell_dimensions(pot)
    immersed = min(max(pot.level - pot.cell_base, 0.0), height)
    cells = pot.cells * math.pi * diameter**2 / 4.0 * immersed
    return cells / float(cavity_volume(pot.shape, pot.level, pot.length, pot.width, pot.draft))


def _chain(shots, start, material, cells=LAYERS, sinks=None, duration=None) -> list[Pour]:
    """Shots one on the other, each followed until the next one or, the last, to its end."""
    poured: list[Pour] = []
    for place, (_, depth, _) in enumerate(shots):
        last = place == len(shots) - 1
        wait = duration if last else shots[place + 1][2]
        layers = max(12, round(cells / len(shots)))
        kinetics, heat, density, specific_heat, conductivity, film = material
        poured.append(pour(depth, start, start, kinetics, heat, density, specific_heat, conductivity,
                           film, "insulated", duration=wait, cells=layers, sinks=sinks,
                           onto=poured[-1] if poured else None))  # fmt: skip
    return poured


def _hottest(poured: list[Pour], shots) -> tuple[float, float, float]:
    """Peak of a chain: temperature, time since the first shot, height."""
    begin, best = 0.0, (-math.inf, 0.0, 0.0)
    for place, stage in enumerate(poured):
        begin += shots[place][2] if place else 0.0
        if stage.peak_temperature > best[0]:
            best = (stage.peak_temperature, begin + stage.peak_time, stage.peak_height)
    return best


def _trace(poured: list[Pour], shots, peak_time: float) -> PourTrace:
    """The chain for charts: some moments of each stage, and profiles of the last one."""
    columns: list[list[float]] = [[], [], [], [], []]
    begin = 0.0
    for place, stage in enumerate(poured):
        begin += shots[place][2] if place else 0.0
        count = max(8, CHART_POINTS // len(poured))
        for moment in np.linspace(0.0, stage.times[-1], count):
            heat, degree = stage.at(float(moment))
            row = (begin + float(moment), heat[0], np.interp(stage.depth / 2.0, stage.heights, heat),
                   heat[-1], degree @ stage.widths / stage.depth)  # fmt: skip
            for column, value in zip(columns, row, strict=True):
                column.append(float(value))
    final = poured[-1]
    own = min(max(peak_time - begin, 0.0), float(final.times[-1]))
    moments = [0.25 * own, 0.5 * own, own, min(1.5 * own, float(final.times[-1]))]
    moments = [moment for moment in moments if moment > 0.0] or [float(final.times[-1])]
    kept = sorted(set(moments))
    heights = np.concatenate([[0.0], final.heights, [final.depth]])
    profiles = []
    for moment in kept:
        heat = final.at(moment)[0]
        profiles.append(np.concatenate([heat[:1], heat, heat[-1:]]))
    step = max(1, len(heights) // 40)
    keep = np.unique(np.append(np.arange(0, len(heights), step), len(heights) - 1))
    times, base, middle, top, degrees = (np.array(column) for column in columns)
    return PourTrace(times, base, middle, top, degrees, [begin + moment for moment in kept],
                     heights[keep], [profile[keep] for profile in profiles])  # fmt: skip


def pour_report(plan, pot) -> PourReport | None:
    """The exotherm of one pot; None where kinetics or heat of its material are not known."""
    station = plan.station(pot.station)
    material = plan.material(station.material)
    kinetics = kinetics_of(material)
    if kinetics is None or None in (material.heat, material.specific_heat, material.conductivity):
        return None
    start = max(shop_record(plan, station)[1])
    film = STILL_AIR if pot.film is None else pot.film
    density = mixed_density(material, plan.components_of(material.material))
    constants = (kinetics, material.heat, density, material.specific_heat, material.conductivity, film)
    depth = pot.level
    one = [(1, depth, 0.0)]
    first = _chain(one, start, constants)
    peak, when, height = _hottest(first, one)
    followed = _chain(one, start, constants, duration=max(AFTER * when, SHORTEST))
    runaway = maximum = None
    if material.heat > 0.0 and material.energy_1:
        runaway = frank_kamenetskii(depth, start, kinetics, material.heat, density,
                                    material.conductivity)  # fmt: skip
        maximum = time_to_maximum_rate(start, kinetics, material.heat, material.specific_heat)
    report = PourReport(
        pot, start, film, depth, density,
        start + float(adiabatic_rise(material.heat, material.specific_heat)),
        _peak(depth, start, constants, peak), when, height,
        _trace(followed, one, when), pot.limit, None, "", runaway, maximum,
    )  # fmt: skip
    _safe(report, constants)
    _in_shots(plan, report, constants)
    _with_cells(plan, report, constants)
    _warn(report, material)
    return report


def _peak(depth: float, start: float, constants, followed: float) -> float:
    """The peak on the grid that it needs, or that of the layers followed where no grid is fine enough."""
    try:
        return float(peak_temperature(depth, start, start, *constants, "insulated"))
    except InputError:
        return followed


def _safe(report: PourReport, constants) -> None:
    """The deepest pour under the cell limit."""
    limit = report.limit
    if limit is None:
        report.safe_words = "no limit is stated for this pot"
        return
    if limit <= report.start:
        report.safe_words = "the limit is not above the temperature it is poured at"
        return
    # below the rise without loss of heat, too: a reaction front that meets a face goes beyond it
    report.safe_depth, report.safe_words = depth_or_reason(limit, report.start, report.start, *constants)
    if report.safe_depth is not None:
        report.safe_words = f"{from_si(report.safe_depth, 'mm'):.1f} mm in one shot"


def _in_shots(plan, report: PourReport, constants) -> None:
    """The pot as the plan pours it, where that is in several shots."""
    pot = report.pot
    mine = [item for item in applications(plan, pot.part)
            if item.kind == "pot" and item.name == pot.pot]  # fmt: skip
    if len(mine) < 2:
        return
    below = 0.0
    for item in mine:
        level = min(item.height or 0.0, report.depth)
        report.shots.append((item.shot, level - below, item.wait))
        below = level
    if any(depth <= 0.0 for _, depth, _ in report.shots):
        report.notes.append("the shots do not rise one over the other: judged as one pour")
        report.shots = []
        return
    poured = _chain(report.shots, report.start, constants)
    report.shots_peak, report.shots_time, _ = _hottest(poured, report.shots)
    begin = sum(wait for _, _, wait in report.shots)
    last = max(AFTER * (report.shots_time - begin), SHORTEST)
    followed = _chain(report.shots, report.start, constants, duration=last)
    report.shots_trace = _trace(followed, report.shots, report.shots_time)


def _with_cells(plan, report: PourReport, constants) -> None:
    """The same with cells that take up heat."""
    share = report.cell_share = cell_share(report.pot)
    if not 0.0 < share < 1.0 or free_volume(plan, report.pot, report.depth) <= 0.0:
        return
    shots = report.shots or [(1, report.depth, 0.0)]
    try:
        poured = _chain(shots, report.start, constants, sinks=Sink(share, CELL_DENSITY, CELL_HEAT))
    except InputError:
        return
    report.cells_peak = _hottest(poured, shots)[0]
    report.notes.append(CELLS_NOTE)


def _warn(report: PourReport, material) -> None:
    limit = report.limit
    if limit is not None:
        shown = f"limit {celsius_text(limit)}"
        if report.planned_peak > limit:
            report.warnings.append(f"the pour reaches {celsius_text(report.planned_peak, 1)}, {shown}")
        elif report.planned_peak > limit - 5.0:
            report.warnings.append(
                f"the pour comes to {celsius_text(report.planned_peak, 1)}, within 5 K of the "
                f"{shown}; kinetics are seldom known that well"
            )
        if report.shots and report.peak > limit >= report.planned_peak:
            report.notes.append(f"in one shot it would reach {celsius_text(report.peak, 1)}: keep "
                                "the wait between the shots")  # fmt: skip
    if report.runaway is not None and report.runaway.runs_away:
        words = (
            f"runaway criterion for the whole depth: δ = {report.runaway.delta:.2f} is above "
            f"{report.runaway.critical:.2f}: heat is made faster than the slab can conduct it away"
        )
        if limit is not None and report.planned_peak <= limit:  # the criterion knows no using-up
            report.notes.append(words + "; the peak above counts that the compound is used up")
        else:
            report.warnings.append(words)
    if material.rate_2 is not None:
        report.notes.append("the runaway criterion counts the first reaction (k1) only; an "
                            "autocatalytic compound can run away below it")  # fmt: skip
    report.notes.append("poured at the hottest hour into surroundings of that temperature; base "
                        f"insulated, {report.film:g} W/(m²·K) at the free face, filled at once")  # fmt: skip


def station_pours(plan, station: str, failed: list[str] | None = None) -> list[PourReport]:
    """Every pot of a station whose material's kinetics and heat are known.

    With a list for `failed`, a pot that cannot be computed is told there and the others go on.
    """
    found = []
    for pot in plan.pots:
        if pot.station != station:
            continue
        try:
            found.append(pour_report(plan, pot))
        except DispenseError as error:
            if failed is None:
                raise
            failed += [f"{pot.part} / {pot.pot}: exotherm not computed: {problem}"
                       for problem in error.problems]  # fmt: skip
    return [report for report in found if report is not None]


__all__ = ["CAUTION", "PourReport", "PourTrace", "cell_share", "pour_report", "station_pours"]
