"""Exotherm of the pots of a plan: how hot a pour gets, where, when, and how deep is safe.

A pot is poured at the hottest hour into surroundings of that temperature. One whose cells stand in a known
pattern is reckoned between them, corner and depth (`handbook/pack`), and the skin of its cells is
judged. Any other is a wide slab as deep as its level, with an insulated base and a film at its free face,
judged without its cells; what they take up is told beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import pairwise

import numpy as np

from ..base.errors import DispenseError, InputError
from ..base.findings import DANGER, NOTE, QUALITY, WAIT, Finding, WithFindings, gravest_first
from ..base.memory import remembered
from ..base.units import celsius_text, duration_text, from_si
from ..handbook.heat import (
    RUNS_AWAY,
    Pour,
    Runaway,
    Sink,
    adiabatic_rise,
    depth_or_reason,
    time_to_maximum_rate,
)
from ..handbook.kinetics import first_energy
from ..handbook.pack import CUT_WORDS, Pack, PackHeat, pack_heat
from ..handbook.pots import cavity_volume
from ..handbook.pours import (
    Compound,
    PouredShot,
    biot_number,
    hottest,
    pour_chain,
    pour_peak,
    runaway_with_film,
    slab_peak,
)
from ..plan.amounts import applications, cell_dimensions, free_volume, in_one_go
from ..plan.materials import kinetics_of, mixed_density
from ..plan.packs import has_pack, lacks_for_pack, pack_margins, pack_of
from ..plan.records import Plan
from ..plan.rows import Material, Pot
from ..plan.weather import shop_record
from .shot_plan import ShotMap, shot_map

STILL_AIR = 10.0  # W/(m²·K), where the pot states no film
HEAT_CLOSED = 1e-6  # of the heat of cure: what a balance is said to close to, where it is not worse
NEAR_LIMIT = 5.0  # K below a limit: kinetics are seldom known closer (common practice, no source)
ABOVE_ADIABATIC = 0.5  # K above the adiabatic figure from which a word says why (more than a grid is off)
CHART_POINTS = 80
AFTER = 2.5  # times the time of the peak that a pour is followed for its chart
KEPT_POURS = 64  # pours whose course is kept between plans that are alike
SHORTEST = 1800.0  # s that a pour is followed at least

CELLS_NOTE = (
    "cells as heat sinks count with {density:g} g/mL and {heat:g} J/(g·K) (common practice, no source, "
    "where the plan states nothing else) at the compound's temperature"
)
WAIT_NOT_KEPT = "was it shorter, or is it not known: stop and ask, do not pour"
OVER_LIMIT = "pour limit"  # topic of a pour that passes the limit of its cells
CAUTION = (
    "a runaway pour can burn, smoke and vent cells: prove the depth by a trial with "
    "thermocouples away from cells, heed the safety data sheet and the maker's largest mass "
    "in one pour"
)


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
class PlannedPour(WithFindings):
    """A pot as the plan pours it, without charts: what its findings rest on; SI units."""

    pot: Pot
    material: Material
    start: float  # of the compound
    room: float  # surroundings
    depth: float
    constants: Compound
    peak: float  # all in one shot
    peak_time: float
    peak_height: float
    shots: list[PouredShot]  # number, depth, wait; empty where it is one pour
    shots_peak: float | None
    shots_time: float | None
    runaway: Runaway | None
    maximum_rate: float | None
    pack: PackHeat | None = None
    findings: list[Finding] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Part and pot."""
        return f"{self.pot.part} / {self.pot.pot}"

    @property
    def film(self) -> float:
        """The film at the free face that is counted with."""
        return self.constants.film

    @property
    def limit(self) -> float | None:
        """The highest temperature that the cells may see."""
        return self.pot.limit

    @property
    def planned_peak(self) -> float:
        """The peak that is judged: of the cells' skin where it is known how they stand, else of the slab,
        as the plan pours it: in its shots, or in one."""
        if self.pack is not None:
            return self.pack.skin.value
        return self.peak if self.shots_peak is None else self.shots_peak

    @property
    def safe_label(self) -> str:
        """What is told of a pour under the limit."""
        return "deepest safe pour" if self.pack is None else "quickest safe pour of the waits tried"

    @property
    def planned_words(self) -> str:
        """That peak, with what it is of where it is not the slab's."""
        shown = celsius_text(self.planned_peak, 1)
        if self.pack is None:
            return shown
        return f"{shown} ± {self.pack.skin.plus_minus:.1f} K at the cells' skin"

    @property
    def shots_text(self) -> str:
        """The shots in words: 20.0 mm, then 15.0 mm after 10 min."""
        return ", then ".join(
            f"{from_si(depth, 'mm'):.1f} mm" + (f" after {duration_text(wait)}" if wait else "")
            for _, depth, wait in self.shots
        )

    def find(self, kind: str, text: str, fix: str = "", *, topic: str, **numbers: float) -> None:
        """Add a finding of this pot."""
        self.findings.append(pot_finding(self.pot, self.material, kind, text, fix, topic, numbers))


def pot_finding(
    pot: Pot, material: Material, kind: str, text: str, fix: str, topic: str, numbers: dict[str, float]
) -> Finding:
    """A finding of a row of Pots, part and pot before the text."""
    return Finding(
        kind,
        f"{pot.part} / {pot.pot}: {text}",
        fix,
        topic,
        pot.station,
        material.material,
        pot.part,
        cell=pot.at,
        numbers=numbers,
    )


@dataclass(slots=True, kw_only=True)
class PourReport(PlannedPour):
    """A planned pour with its course, how deep it may be, and its cells; SI units."""

    adiabatic: float  # temperature without loss of heat
    trace: PourTrace  # all in one shot
    safe_depth: float | None = None
    safe_words: str = ""
    shots_trace: PourTrace | None = None
    cell_share: float = 0.0
    cells_peak: float | None = None
    shot_map: ShotMap | None = None


def cell_share(pot: Pot) -> float:
    """Share of the filled volume that cells take."""
    if not pot.cells:
        return 0.0
    diameter, height = cell_dimensions(pot)
    immersed = min(max(pot.level - pot.cell_base, 0.0), height)
    cells = pot.cells * math.pi * diameter**2 / 4.0 * immersed
    return cells / float(cavity_volume(pot.shape, pot.level, pot.length, pot.width, pot.draft))


@remembered(KEPT_POURS)
def _chain_peak(
    shots: Sequence[PouredShot], start: float, compound: Compound, room: float
) -> tuple[float, float, float]:
    """Peak of shots one on the other: temperature, time since the first shot, height."""
    return pour_peak(shots, start, room, compound)


@remembered(KEPT_POURS)
def _runaway(depth: float, start: float, compound: Compound) -> Runaway:
    """The runaway criterion with the film at the free face."""
    return runaway_with_film(depth, start, compound)


def _trace(poured: list[Pour], shots: Sequence[PouredShot], peak_time: float) -> PourTrace:
    """The chain for charts: some moments of each stage, and profiles of the last one."""
    columns: list[list[float]] = [[], [], [], [], []]
    begin = 0.0
    for place, stage in enumerate(poured):
        begin += shots[place][2] if place else 0.0
        count = max(8, CHART_POINTS // len(poured))
        for moment in np.linspace(0.0, stage.times[-1], count):
            heat, degree = stage.at(float(moment))
            row = (
                begin + float(moment),
                heat[0],
                np.interp(stage.depth / 2.0, stage.heights, heat),
                heat[-1],
                degree @ stage.widths / stage.depth,
            )
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
    return PourTrace(
        times,
        base,
        middle,
        top,
        degrees,
        [begin + moment for moment in kept],
        heights[keep],
        [profile[keep] for profile in profiles],
    )


def planned_pour(plan: Plan, pot: Pot) -> PlannedPour | None:
    """A pot as it is poured, and what was found; None where kinetics or heat are not known.

    Worked out once for a plan.
    """
    known = plan.kept("planned pours")
    key = pot.part, pot.pot
    if key not in known:
        try:
            known[key] = _planned(plan, pot)
        except DispenseError as error:  # kept too: a runaway takes long to fail
            known[key] = error
    if isinstance(known[key], DispenseError):
        raise known[key]
    return known[key]


def _planned(plan: Plan, pot: Pot) -> PlannedPour | None:
    station = plan.station(pot.station)
    material = plan.material(station.material)
    kinetics = kinetics_of(plan, material)
    heat, specific_heat, conductivity = material.heat, material.specific_heat, material.conductivity
    if kinetics is None or heat is None or specific_heat is None or conductivity is None:
        return None
    room = max(shop_record(plan, station)[1])
    start = room if pot.pour_temperature is None else pot.pour_temperature
    film = STILL_AIR if pot.film is None else pot.film
    density = mixed_density(material, plan.components_of(material.material))
    constants = Compound(kinetics, heat, density, specific_heat, conductivity, film)
    one = [(1, pot.level, 0.0)]
    peak, when, height = _chain_peak(one, start, constants, room)
    shots, is_rising = _shots(plan, pot)
    shots_peak = shots_time = None
    if shots:
        shots_peak, shots_time, _ = _chain_peak(shots, start, constants, room)
    runaway = maximum = None
    if heat > 0.0 and first_energy(kinetics) > 0.0:
        runaway = _runaway(pot.level, start, constants)
        # 0: it never quickens
        maximum = time_to_maximum_rate(start, kinetics, heat, specific_heat) or None
    planned = PlannedPour(
        pot,
        material,
        start,
        room,
        pot.level,
        constants,
        _peak(pot.level, start, room, constants, peak),
        when,
        height,
        shots,
        shots_peak,
        shots_time,
        runaway,
        maximum,
        pack_heat(_pack(planned_shots(pot, shots), pot, constants, room)) if has_pack(pot) else None,
    )
    if not is_rising:
        planned.find(NOTE, "the shots do not rise one over the other: judged as one pour", topic="shots")
    _judge(planned)
    return planned


def planned_shots(pot: Pot, shots: Sequence[PouredShot]) -> Sequence[PouredShot]:
    """The shots of a pot, or the one that fills it."""
    return shots or [(1, pot.level, 0.0)]


def _pack(shots: Sequence[PouredShot], pot: Pot, constants: Compound, room: float) -> Pack:
    """The pack of a pot whose cells stand in a known pattern, as it is planned."""
    levels = np.cumsum([depth for _, depth, _ in shots])
    waits = [wait for _, _, wait in shots]
    return pack_of(pot, *constants, room, list(zip(levels.tolist(), waits, strict=True)))


def _shots(plan: Plan, pot: Pot) -> tuple[list[PouredShot], bool]:
    """Number, depth and wait of the shots of a pot poured in several, and whether each rises.

    A shot that waits for nothing is poured with the one before.
    """
    mine = [item for item in applications(plan, pot.part) if item.kind == "pot" and item.name == pot.pot]
    if len(mine) < 2:
        return [], True
    levels = [min(item.height or 0.0, pot.level) for item in mine]
    is_rising = all(above > below for below, above in pairwise([0.0, *levels]))
    shots: list[PouredShot] = []
    below = 0.0
    for group in in_one_go(mine):
        level = min(group[-1].height or 0.0, pot.level)
        shots.append((group[0].shot, level - below, group[0].wait))
        below = level
    return (shots if is_rising and len(shots) > 1 else []), is_rising


def pour_report(plan: Plan, pot: Pot) -> PourReport | None:
    """The exotherm of one pot; None where kinetics or heat of its material are not known."""
    planned = planned_pour(plan, pot)
    if planned is None:
        return None
    constants = planned.constants
    one = [(1, planned.depth, 0.0)]
    # followed again for its chart, which goes on after the peak: the findings of each fill need no more than
    # the peak, and that on a finer grid
    last = max(AFTER * planned.peak_time, SHORTEST)
    followed = pour_chain(one, planned.start, constants, planned.room, duration=last)
    report = PourReport(
        **{item.name: getattr(planned, item.name) for item in fields(planned)},
        adiabatic=planned.start + float(adiabatic_rise(constants.heat, constants.specific_heat)),
        trace=_trace(followed, one, planned.peak_time),
    )
    report.findings = list(planned.findings)
    if report.peak > report.adiabatic + ABOVE_ADIABATIC:
        report.find(
            NOTE,
            f"as a slab it comes to {celsius_text(report.peak, 1)}, above the "
            f"{celsius_text(report.adiabatic, 1)} that all of it would reach without loss of heat: the "
            "reaction runs as a front into an end that heat has warmed before it, and its own rise comes on "
            "top",
            topic="peak above adiabatic",
        )
    if planned.pack is None:
        _safe(report)
        _with_cells(plan, report)
    else:
        _propose(plan, report)
    _trace_shots(report)
    report.findings = gravest_first(report.findings)
    return report


@remembered(KEPT_POURS)
def _peak(depth: float, start: float, room: float, constants: Compound, followed: float) -> float:
    """The peak on the grid that it needs, or that of the layers followed where no grid is fine enough."""
    try:
        return slab_peak(depth, start, room, constants)
    except InputError:
        return followed


def _safe(report: PourReport) -> None:
    """The deepest pour under the cell limit."""
    limit = report.limit
    if limit is None:
        report.safe_words = "no limit is stated for this pot"
        return
    if limit <= max(report.start, report.room):
        report.safe_words = "the limit is not above the temperature it is poured at"
        return
    # below the rise without loss of heat, too: a reaction front that meets a face goes beyond it
    report.safe_depth, report.safe_words = depth_or_reason(
        limit, report.start, report.room, *report.constants
    )
    if report.safe_depth is not None:
        report.safe_words = f"{from_si(report.safe_depth, 'mm'):.1f} mm in one shot"


def _propose(plan: Plan, report: PourReport) -> None:
    """In how many shots to pour, and how long to wait, for the cells to stay under their limit."""
    limit, pot = report.limit, report.pot
    if limit is None:
        report.safe_words = "no limit is stated for this pot"
        return
    if limit <= max(report.start, report.room):
        report.safe_words = "the limit is not above the temperature it is poured at"
        return
    pack = _pack(planned_shots(pot, report.shots), pot, report.constants, report.room)
    coolest = min(shop_record(plan, plan.station(pot.station))[1])
    report.shot_map = shot_map(pack, limit, coolest)
    report.safe_words = report.shot_map.words
    if report.shot_map.choice is not None:
        fix = f"pour in {report.safe_words} (--write-shots writes a plan with it); {CAUTION}"
        report.findings = [
            replace(item, fix=fix) if item.topic == OVER_LIMIT else item for item in report.findings
        ]


def _trace_shots(report: PourReport) -> None:
    """The course of a pot that is poured in several shots."""
    if report.shots_time is None:
        return
    begin = sum(wait for _, _, wait in report.shots)
    last = max(AFTER * (report.shots_time - begin), SHORTEST)
    followed = pour_chain(report.shots, report.start, report.constants, report.room, duration=last)
    report.shots_trace = _trace(followed, report.shots, report.shots_time)


def _with_cells(plan: Plan, report: PourReport) -> None:
    """The same with cells that take up heat, where it is not known how they stand."""
    share = report.cell_share = cell_share(report.pot)
    if not 0.0 < share < 1.0 or free_volume(plan, report.pot, report.depth) <= 0.0:
        return
    pot = report.pot
    shots = planned_shots(pot, report.shots)
    sink = Sink(share, pot.cell_density, pot.cell_heat)
    try:
        poured = pour_chain(shots, report.start, report.constants, report.room, sinks=sink)
    except InputError:
        return
    report.cells_peak = hottest(poured, shots)[0]
    words = CELLS_NOTE.format(density=pot.cell_density / 1e3, heat=pot.cell_heat / 1e3)
    report.find(NOTE, words, topic="cells")
    report.find(
        NOTE,
        "reckoned as a slab without cells, since the plan does not state how they stand",
        f"give {', '.join(lacks_for_pack(pot))} in Pots",
        topic="cells",
    )


def _judge(pour: PlannedPour) -> None:
    """What is found of a planned pour: limit, runaway, the wait, what it rests on."""
    _judge_limit(pour)
    if pour.runaway is not None and pour.runaway.runs_away:
        words = (
            f"runaway criterion for the whole depth: δ = {pour.runaway.delta:.2f} is above "
            f"{pour.runaway.critical:.2f}: heat is made faster than the slab can give it off"
        )
        delta, critical = pour.runaway.delta, pour.runaway.critical
        if pour.pack is not None:
            words += " without cells; what is reckoned between the cells decides"
            pour.find(NOTE, words, topic="runaway", delta=delta, critical=critical)
        elif pour.limit is not None:  # the peak was judged, with its fix; the criterion knows no using-up
            words += "; the peak counts that the compound is used up"
            pour.find(NOTE, words, topic="runaway", delta=delta, critical=critical)
        else:
            words += f"; the pour comes to {pour.planned_words}"
            pour.find(
                DANGER, words, f"pour shallower; {CAUTION}", topic="runaway", delta=delta, critical=critical
            )
    if pour.runaway is not None:
        biot = biot_number(pour.depth, pour.film, pour.constants.conductivity)
        pour.find(
            NOTE,
            f"critical δ {pour.runaway.critical:.2f} counts the film at the free face (Biot "
            f"number {biot:.2g}); 0.88 would need a face held at the temperature of the surroundings",
            topic="runaway criterion",
        )
    if pour.material.rate_2 is not None:
        pour.find(
            NOTE,
            "the runaway criterion counts the first reaction (k1) only; an autocatalytic "
            "compound can run away below it",
            topic="runaway criterion",
        )
    if pour.pack is not None:
        _note_pack(pour, pour.pack)
        return
    pour.find(
        NOTE,
        "poured at the hottest hour into surroundings of that temperature; base insulated, "
        f"{pour.film:g} W/(m²·K) at the free face, filled at once",
        topic="pour model",
    )


def _note_pack(pour: PlannedPour, pack: PackHeat) -> None:
    """What was reckoned between the cells, how well, and what it rests on."""
    figures = ", ".join(
        f"{name} {celsius_text(figure.value, 1)} ± {figure.plus_minus:.1f} K after "
        f"{duration_text(figure.peak.time)} ({CUT_WORDS[figure.cut]})"
        for name, figure in (
            ("hottest compound", pack.compound),
            ("skin of the cells", pack.skin),
            ("mean of a cell", pack.mean),
        )
    )
    along, across = (from_si(margin, "mm") for margin in pack_margins(pour.pot))
    pot = pour.pot
    pour.find(
        NOTE,
        f"reckoned between the cells: {figures}; the heat balance closes to "
        f"{max(pack.residual, HEAT_CLOSED):.0e}; as a slab without cells it would be "
        f"{celsius_text(pour.shots_peak or pour.peak, 1)}"
        + ("" if pour.limit is None else f"; limit of the cells {celsius_text(pour.limit)}"),
        topic="pour model",
    )
    pour.find(
        NOTE,
        f"that rests on margins of {along:.1f} and {across:.1f} mm, walls of {from_si(pot.wall, 'mm'):g} mm "
        f"and {pot.wall_conductivity:g} W/(m·K), cells of {pot.cell_conductivity:g} across and "
        f"{pot.cell_axial:g} W/(m·K) along, {pot.cell_density / 1e3:g} g/mL, {pot.cell_heat / 1e3:g} "
        f"J/(g·K), {pour.constants.film:g} W/(m²·K) outside; perfect contact, each shot filled at once, "
        "inserts and flow left out; poured at the hottest hour",
        topic="pour model",
    )
    if not pack.is_past:
        pour.find(
            QUALITY,
            "a day after the last shot a temperature between the cells still rises: it was not followed to "
            "its highest",
            "check the kinetics",
            topic="pour model",
        )


def _judge_limit(pour: PlannedPour) -> None:
    """The peak against the cell limit, and the wait between the shots on which it rests."""
    limit = pour.limit
    how = f" in {len(pour.shots)} shots" if pour.shots else ""
    if limit is None and pour.pot.cells:
        pour.find(
            QUALITY,
            f"its cells have no limit in the plan: nothing judges the {pour.planned_words} "
            f"that the pour reaches{how}",
            f"state the highest temperature that the cells may see; {CAUTION}",
            topic="no pour limit",
        )
    if limit is not None:
        shown, peak = f"limit {celsius_text(limit)}", pour.planned_words
        near = NEAR_LIMIT if pour.pack is None else max(NEAR_LIMIT, pour.pack.skin.plus_minus)
        numbers = {"peak_°C": from_si(pour.planned_peak, "°C"), "limit_°C": from_si(limit, "°C")}
        if pour.planned_peak > limit:
            pour.find(
                DANGER,
                f"the pour reaches {peak}{how}, {shown}",
                f"pour thinner shots, or wait longer between them; {CAUTION}",
                topic=OVER_LIMIT,
                **numbers,
            )
        elif pour.planned_peak > limit - near:
            pour.find(
                QUALITY,
                f"the pour comes to {peak}{how}, within {near:.3g} K of the {shown}; "
                "kinetics are seldom known that well",
                "prove it by a trial with thermocouples away from cells",
                topic="near the pour limit",
                **numbers,
            )
    one = None  # the peak in one shot, where that alone would pass the limit
    if pour.pack is None and limit is not None and pour.peak > limit >= pour.planned_peak:
        one = pour.peak
    pour.findings += wait_findings(pour.pot, pour.material, pour.shots, one)


def wait_findings(
    pot: Pot, material: Material, shots: Sequence[PouredShot], one: float | None = None
) -> list[Finding]:
    """The least wait before each later shot, what it protects, what to do where it was not kept.

    Alike waits are told together. `one` is the peak in one shot [K] where that would pass the limit.
    """
    later = [(before, number, wait) for (before, *_), (number, _, wait) in pairwise(shots)]
    waits = {wait for *_, wait in later}
    told: list[tuple[str, float]] = []
    if len(later) > 1 and len(waits) == 1:
        wait = waits.pop()
        told.append((f"wait at least {duration_text(wait)} after each shot before the next", wait))
    else:
        told += [
            (f"wait at least {duration_text(wait)} after shot {before} before shot {number}", wait)
            for before, number, wait in later
        ]
    why = fix = ""
    if pot.limit is not None:
        why = f"; it protects the cells, whose limit is {celsius_text(pot.limit)}"
        fix = WAIT_NOT_KEPT
        if one is not None:
            why += f", in one shot it would reach {celsius_text(one, 1)}"
    return [
        pot_finding(pot, material, NOTE, words + why, fix, WAIT, {"wait_min": wait / 60.0})
        for words, wait in told
    ]


def pour_findings(plan: Plan, station: str) -> list[Finding]:
    """What is found of the pots of a station; one that cannot be computed is told."""
    found: list[Finding] = []
    for pot in plan.pots:
        if pot.station != station:
            continue
        material = plan.material(plan.station(station).material)
        try:
            planned = planned_pour(plan, pot)
        except DispenseError as error:
            found += [not_computed(pot, material, str(problem)) for problem in error.problems]
            continue
        if planned is None:
            found += [_not_known(pot, material), *wait_findings(pot, material, _shots(plan, pot)[0])]
        else:
            found += planned.findings
    return found


def not_computed(pot: Pot, material: Material, why: str) -> Finding:
    """The finding of a pot without a figure: a danger where it runs away or has a limit to keep."""
    if RUNS_AWAY in why:
        return pot_finding(
            pot, material, DANGER, why, f"pour shallower, in shots or colder; {CAUTION}", "runaway", {}
        )
    text = f"exotherm not computed: {why}"
    fix = "check kinetics and their units"
    if pot.limit is None:
        return pot_finding(pot, material, QUALITY, text, fix, "exotherm not computed", {})
    text += f"; the limit of {celsius_text(pot.limit)} is not checked"
    return pot_finding(pot, material, DANGER, text, f"{fix}; {CAUTION}", "exotherm not computed", {})


def _not_known(pot: Pot, material: Material) -> Finding:
    """The finding of a pot whose material states no kinetics or heat."""
    text = "exotherm is not computed: the material needs kinetics, heat, specific heat and conductivity"
    if pot.limit is None:
        return pot_finding(pot, material, NOTE, text, "", "exotherm not known", {})
    text += f"; nothing checks the limit of {celsius_text(pot.limit)}"
    return pot_finding(pot, material, QUALITY, text, CAUTION, "exotherm not known", {})


def station_pours(plan: Plan, station: str, failed: list[Finding] | None = None) -> list[PourReport]:
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
            material = plan.material(plan.station(station).material)
            failed += [not_computed(pot, material, str(problem)) for problem in error.problems]
    return [report for report in found if report is not None]


__all__ = [
    "CAUTION",
    "PlannedPour",
    "PourReport",
    "PourTrace",
    "cell_share",
    "planned_pour",
    "pour_findings",
    "pour_report",
    "station_pours",
]
