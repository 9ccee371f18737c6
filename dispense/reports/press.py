"""Pressed joints: from a paste pattern or a bead to the bond line under a force, in its time.

How they close is `handbook.press`: paste spreads, then fills its face, and which of the two a figure belongs
to is said beside it. A plate is a rectangle, reckoned as the equal discs that take its force
(`handbook.spread.plate_discs`); a flange is a long strip. Where the plan states the pattern of a joint as a
path, its film is followed on a lattice (`handbook.pattern`) in place of the first stage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..base.errors import needed
from ..base.findings import NOTE, QUALITY, STOP, Finding, WithFindings
from ..base.numbers import EQUAL, Floats
from ..base.printed import Stated
from ..base.units import celsius_text, from_si
from ..handbook.beads import bead_area, spread_width, squeeze_out
from ..handbook.flow import interface_resistance, paste_gap
from ..handbook.line import nozzles_needed
from ..handbook.pattern import COVERED, FilmHistory, film_history, stretches
from ..handbook.press import THINNEST, Paste, PatternPress, Press
from ..handbook.spread import air_left, plate_discs
from ..plan.amounts import (
    Amount,
    applied_at,
    bead_depth,
    bead_height,
    bead_length,
    deposited_length,
    is_pressed,
    path_points,
    pressed_width,
    spread,
    station_work,
)
from ..plan.records import Plan
from ..plan.routes import started_at
from ..plan.rows import Bead, Joint, Material, Station
from ..plan.tables import BOTH_EDGES
from ..plan.weather import coldest_consistency
from ..shift.calendar import Calendar
from ..shift.pace import shift_takt
from ..shift.setup import VISCOSITY_HOLDS

_DEEPER = 0.4  # how far under the bond line a pattern is followed
_DRY = 1e-6  # share of a plate that is always counted as wetted, so that it conducts
THICK_FILM = 0.3  # gap over radius (or half width) from which a film law is rough
LONG_THICK = 0.1  # of the time to the bond line above `THICK_FILM` that is told (common practice, no source)
MOST_AIR = 0.01  # share of a plate that closed-in air may take, about what the lattice can tell

DOTS_MODEL = (
    "dots spread singly as drops of constant volume, each with its share of the force, "
    "until they cover the plate; then the full plate is pressed out at its rim, a rectangle "
    "(exact for a constant viscosity and for a yield stress, 2 % between)"
)
PATTERN_MODEL = (
    "the paste of the pattern is followed from gap to gap on a lattice: its film feeds the front, what "
    "crosses the rim is lost, air escapes unless it is closed in; then the full plate is pressed out at "
    "its rim"
)
BEAD_MODEL = (
    "the bead spreads as a long strip of constant cross-section until it fills the "
    "flange; then the flange is pressed out at its edges, ends left out"
)
PASTE_RULE = (
    "scaling rule for filled pastes (1.31e-4 m·(τ₀/p)^0.166): a third off and more is common, measure it"
)


def shortest_takt(plan: Plan, station: Station, part: str | None = None) -> float | None:
    """Time between parts at a station [s]: as stated, else that of its fullest shift.

    With a `part` only that one counts, for what comes after the station; None where nothing is built.
    """
    known: dict[tuple[str, str | None], float | None] = plan.kept("shortest takts")
    key = (station.station, part)
    if key not in known:
        known[key] = _shortest_takt(plan, station, part)
    return known[key]


def _shortest_takt(plan: Plan, station: Station, part: str | None) -> float | None:
    work = {row.part: bool(applied_at(plan, row.part, station)) for row in plan.parts}
    started: dict[tuple[str, int], int] = {}
    loads: set[tuple[str, int, int]] = set()  # shift, parts started of all and of those that count
    for _, name, builds in plan.shift_loads():
        mine = all_ = 0
        for item in builds.items():
            built, quantity = item
            if not work[built]:
                continue
            if item not in started:
                started[item] = started_at(plan, built, station, quantity)
            all_ += started[item]
            mine += started[item] if part in (None, built) else 0
        if mine:
            loads.add((name, all_, mine))
    takts = [
        shift_takt(plan, station, Calendar.of(plan, name), all_) * (all_ / mine) for name, all_, mine in loads
    ]
    return min(takts) if takts else (station.takt if part is None else None)


def _finding(
    row,
    report: JointReport | PressedBead,
    kind: str,
    text: str,
    fix: str,
    topic: str,
    numbers: dict[str, float],
) -> Finding:
    """A finding of a row of Joints or Beads, its name before the text."""
    return Finding(
        kind,
        f"{report.name}: {text}",
        fix,
        topic,
        row.station,
        report.material.material,
        row.part,
        cell=row.at,
        numbers=numbers,
    )


@dataclass(slots=True)
class JointReport(WithFindings):
    """What a pressed joint comes to; SI units, None where nothing is known or stated."""

    joint: Joint
    material: Material
    model: str
    volume: Amount  # of one joint
    area: float
    temperature: float
    press: Press | None = None
    pattern: FilmHistory | None = None
    stretches: Floats | None = None  # of the stated pattern, (k, 2, 2)
    touch_time: float | None = None  # until dots or lines meet
    cover_gap: float | None = None  # gap at which the share that is asked for is covered
    cover_time: float | None = None
    air: float | None = None  # closed-in air under the pressure of the press
    pressure: float | None = None
    gap_limit: float | None = None  # the paste goes no further
    gap_pressed: float | None = None  # what the force alone reaches in the press time
    time_needed: float | None = None  # to the bond line
    gap: float = 0.0
    gap_low: float = 0.0
    gap_high: float = 0.0
    coverage: float = 0.0
    coverage_low: float = 0.0
    squeeze_out: float = 0.0
    squeeze_out_high: float = 0.0
    resistance: Amount | None = None
    paste_gap: float | None = None
    takt: float | None = None
    work: float = 0.0
    findings: list[Finding] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Part and joint."""
        return f"{self.joint.part} / {self.joint.joint}"

    def find(self, kind: str, text: str, fix: str = "", *, topic: str, **numbers: float) -> None:
        """Add a finding of this joint."""
        self.findings.append(_finding(self.joint, self, kind, text, fix, topic, numbers))

    @property
    def asked(self) -> float:
        """Coverage that is asked for, as far as a lattice can tell where the pattern is followed on one."""
        return self.joint.coverage if self.pattern is None else min(self.joint.coverage, COVERED)

    def coverage_at(self, gap: float) -> float:
        """Share of the plate that is wetted at a gap."""
        even = min(1.0, self.volume.nominal / (self.area * gap))
        if self.pattern is None:
            return even
        return min(even, 1.0 - self.air_share(gap), self.pattern.at(gap, self.pattern.covered))

    def air_share(self, gap: float) -> float:
        """Share of the plate that closed-in air keeps, no more than where it was closed in."""
        if self.pattern is None or self.air is None:
            return 0.0
        return min(self.air / gap, self.pattern.trapped_area) / self.area

    def cover_curve(self) -> tuple[list[float], list[float]]:
        """Times [s] and covered shares under the press, for a chart."""
        if self.press is None:
            return [], []
        times, gaps = self.press.curve(min(self.gap, self.gap_pressed or self.gap), 60)
        return times, [self.coverage_at(gap) for gap in gaps]


def joint_pattern(plan: Plan, joint: Joint, volume: float) -> FilmHistory | None:
    """The pattern of a joint followed from its height to well under its bond line; None where none is stated.

    It starts as half-round beads, or as half balls, where no start gap is stated.
    """
    if not joint.pattern:
        return None
    lines = stretches(*path_points(plan, joint.pattern))
    run = float(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum())
    start = joint.start_gap
    if start is None and run > 0.0:
        start = math.sqrt(2.0 * volume / run / math.pi)
    elif start is None:
        start = (1.5 * volume / len(lines) / math.pi) ** (1.0 / 3.0)
    end = min(joint.gap, volume / (joint.length * joint.width)) * _DEEPER
    known = plan.kept("patterns")
    key = (joint.pattern, joint.length, joint.width, volume, start, end)
    if key not in known:
        known[key] = film_history(lines, joint.length, joint.width, volume, max(start, joint.gap), end)
    found: FilmHistory = known[key]
    return found


def joint_press(
    joint: Joint, paste: Paste, volume: float, history: FilmHistory | None = None
) -> Press | None:
    """The press of one joint; None without a force."""
    if joint.force is None:
        return None
    count, radius = (float(value) for value in plate_discs(joint.length, joint.width))
    if history is not None:
        return PatternPress(
            paste,
            True,
            history.gaps[0],
            volume / history.counts[0],
            joint.force,
            history.gaps[-1],
            radius,
            joint.force / count,
            history,
        )
    area = joint.length * joint.width
    dot = volume / joint.dots
    start = joint.start_gap or (1.5 * dot / math.pi) ** (1.0 / 3.0)  # a half ball
    return Press(
        paste, True, start, dot, joint.force / joint.dots, volume / area, radius, joint.force / count
    )


def joint_report(plan: Plan, joint: Joint) -> JointReport:
    """Gap, time, coverage, squeeze-out and thermal resistance of one row of Joints."""
    station = plan.station(joint.station)
    material = plan.material(station.material)
    item = next(
        row for row in applied_at(plan, joint.part, station) if (row.kind, row.name) == ("joint", joint.joint)
    )
    volume = item.amount.scaled(1.0 / joint.count)
    area = joint.length * joint.width
    consistency, coldest, carried = coldest_consistency(plan, station, material)
    report = JointReport(joint, material, DOTS_MODEL, volume, area, coldest)
    report.pattern = joint_pattern(plan, joint, volume.nominal)
    if report.pattern is not None:
        report.model = PATTERN_MODEL
        report.stretches = stretches(*path_points(plan, joint.pattern))
    if consistency is not None:
        paste = Paste(consistency, material.index, material.yield_stress)
        report.press = joint_press(joint, paste, volume.nominal, report.pattern)
        if not carried and abs(coldest - material.viscosity_temperature) > VISCOSITY_HOLDS:
            report.find(NOTE, _viscosity_note(material, coldest), topic="viscosity")
    _press_out(report)
    _spread_over(report, station)
    _pattern_out(report)
    _resist(report, station)
    report.takt = shortest_takt(plan, station)
    report.work = station_work(plan, joint.part, station)
    if report.takt is not None and nozzles_needed(report.work, report.takt, station.uptime) > 1:
        report.find(
            STOP,
            f"{report.work:.0f} s of work with the press do not fit into the takt of "
            f"{report.takt:.0f} s at {station.uptime:.0%} uptime",
            "press shorter, or use more presses",
            topic="takt",
            work_s=report.work,
            takt_s=report.takt,
        )
    return report


def _viscosity_note(material: Material, coldest: float) -> str:
    return (
        f"consistency is that at {celsius_text(material.viscosity_temperature)}; colder "
        f"paste (coldest hour {celsius_text(coldest)}) needs longer"
    )


def _mm(value: float) -> str:
    return f"{from_si(value, 'mm'):.2f} mm"


def _press_out(report: JointReport) -> None:
    """The gap that the force reaches, and when."""
    joint, press = report.joint, report.press
    report.gap = joint.gap
    if joint.force is not None:
        report.pressure = joint.force / report.area
        if report.material.yield_stress > 0.0:
            report.paste_gap = float(paste_gap(report.material.yield_stress, report.pressure))
            if report.paste_gap > joint.gap:
                report.find(
                    QUALITY,
                    f"a filled paste stays near {_mm(report.paste_gap)} at this pressure, "
                    f"above the bond line of {_mm(joint.gap)} ({PASTE_RULE})",
                    "press harder, or measure the bond line",
                    topic="bond line",
                )
    if press is None:
        report.find(
            NOTE,
            "no pressing force or no consistency is stated: the gap is the stated one",
            topic="bond line",
        )
        return
    report.gap_limit = press.limit
    needed = press.time_to(joint.gap)
    report.time_needed = needed if math.isfinite(needed) else None
    if report.time_needed is None:
        report.find(
            QUALITY,
            f"the force cannot reach {_mm(joint.gap)}: the yield stress stops the "
            f"paste at {_mm(press.limit)}",
            "press harder, or use a softer paste",
            topic="bond line",
        )
        report.gap = press.limit
    if joint.press_time is None:
        return
    report.gap_pressed = press.gap_after(joint.press_time)
    report.gap = max(joint.gap, report.gap_pressed)
    if report.time_needed is not None and report.time_needed > joint.press_time * (1.0 + EQUAL):
        report.find(
            QUALITY,
            f"{joint.press_time:.0f} s of pressing reach {_mm(report.gap_pressed)}; the "
            f"bond line of {_mm(joint.gap)} needs {report.time_needed:.0f} s",
            "press longer or harder",
            topic="press time",
            needed_s=report.time_needed,
            press_s=joint.press_time,
        )


def _spread_over(report: JointReport, station: Station) -> None:
    """Low and high of the gap over the plate, coverage, squeeze-out."""
    joint, volume, area = report.joint, report.volume, report.area
    report.gap_low = max(report.gap - joint.gap_tolerance, THINNEST)
    report.gap_high = report.gap + joint.gap_tolerance
    meter = 1.0 + station.meter_tolerance
    if report.pattern is not None:
        report.air = float(air_left(report.pattern.trapped, report.pressure or 0.0))
    report.coverage = report.coverage_at(report.gap)
    # at a gap at which nothing runs over, a lower volume covers in proportion less
    lower = volume.nominal * (2.0 - meter) / (area * report.gap_high)
    report.coverage_low = min(1.0, lower, report.coverage_at(report.gap_high))
    report.squeeze_out = max(0.0, volume.nominal - area * report.gap)
    report.squeeze_out_high = max(0.0, volume.nominal * meter - area * report.gap_low)
    last = ""
    if report.pattern is not None:
        film = report.pattern
        report.coverage_low = min(report.coverage_low, film.at(report.gap_high, film.covered) * (2.0 - meter))
        report.squeeze_out = max(report.squeeze_out, film.at(report.gap, film.lost))
        report.squeeze_out_high = max(report.squeeze_out_high, film.at(report.gap_low, film.lost))
        if film.is_covered() and not report.air_share(report.gap):
            last = f" ({_place(film.last)} fills last)"
    if report.coverage < report.asked * (1.0 - EQUAL):
        report.find(
            QUALITY,
            f"coverage is {_just_under(report.coverage, joint.coverage)}, {joint.coverage:.0%} is asked for"
            f"{last}",
            "more paste, or a thinner bond line",
            topic="coverage",
            coverage=report.coverage,
            asked=joint.coverage,
        )
    elif report.coverage_low < report.asked * (1.0 - EQUAL):
        report.find(
            QUALITY,
            f"where the gap is {_mm(report.gap_high)} everywhere and the meter low, coverage falls to "
            f"{_just_under(report.coverage_low, joint.coverage)}, {joint.coverage:.0%} is asked for",
            "more paste, or closer tolerances of gap and meter",
            topic="coverage",
            coverage=report.coverage_low,
            asked=joint.coverage,
        )


def _just_under(share: float, asked: float) -> str:
    """A share below what is asked for, with the digits that tell them apart."""
    return f"{share:.0%}" if round(share, 2) < round(asked, 2) else f"{share:.1%}"


def _place(spot: tuple[float, float]) -> str:
    return f"x {from_si(spot[0], 'mm'):.0f} mm, y {from_si(spot[1], 'mm'):.0f} mm"


def _pattern_out(report: JointReport) -> None:
    """When the pattern touches and covers the plate, and the air that it closes in."""
    film = report.pattern
    if film is None:
        return
    cover = film.gap_of(report.asked)
    if not math.isfinite(cover) or report.coverage_at(cover) < report.asked * (1.0 - EQUAL):
        cover = math.nan
    report.cover_gap = cover if math.isfinite(cover) else None
    if report.press is not None:
        for name, gap in (("touch_time", film.touch_gap), ("cover_time", cover)):
            if math.isfinite(gap):
                time = report.press.time_to(gap)
                setattr(report, name, time if math.isfinite(time) else None)
    air, share = report.air or 0.0, report.air_share(report.gap)
    if share > MOST_AIR:
        report.find(
            QUALITY,
            f"the pattern closes in {from_si(film.trapped, 'mL'):.2g} mL of air; under the press "
            f"{from_si(air, 'mL'):.2g} mL are left, on {share:.0%} of the plate",
            "a pattern that drives the air outwards: lines from the middle, open at the rim; or vent it",
            topic="closed-in air",
            air_mL=from_si(air, "mL"),
            share=share,
        )


def _resist(report: JointReport, station: Station) -> None:
    """Thermal resistance with its tolerance, through the wetted area only."""
    joint, conductivity = report.joint, report.material.conductivity
    if conductivity is None:
        return

    def resistance(gap, meter):
        gap = max(gap, THINNEST)
        wetted = min(report.area, report.volume.nominal * meter / gap)
        if report.pattern is not None:
            wetted = max(min(wetted, report.area * report.coverage_at(gap)), _DRY * report.area)
        return float(interface_resistance(gap, conductivity, wetted, joint.contact_resistance))

    report.resistance = spread(
        resistance,
        {"gap": report.gap, "meter": 1.0},
        {"gap": joint.gap_tolerance, "meter": station.meter_tolerance},
    )
    limit = joint.resistance_limit
    if limit is None:
        return
    found = report.resistance
    if found.nominal > limit:
        report.find(
            QUALITY,
            f"thermal resistance is {found.nominal:.4g} K/W, the limit is {limit:.4g} K/W",
            "a thinner bond line, or a paste that conducts better",
            topic="resistance",
            resistance_K_W=found.nominal,
            limit_K_W=limit,
        )
    elif found.high > limit:
        report.find(
            QUALITY,
            f"thermal resistance may be up to {found.high:.4g} K/W, the limit is {limit:.4g} K/W",
            "closer tolerances, or a thinner bond line",
            topic="resistance",
            resistance_K_W=found.high,
            limit_K_W=limit,
        )


@dataclass(slots=True)
class PressedBead(WithFindings):
    """What a bead becomes in its joint; SI units, None where nothing is known or stated."""

    bead: Bead
    material: Material
    model: str
    area: float
    width: float  # with square edges
    width_round: float | None  # with round edges
    width_low: float
    width_high: float
    squeeze_out: float
    squeeze_out_high: float
    temperature: float
    press: Press | None = None
    gap_limit: float | None = None
    time_needed: float | None = None
    findings: list[Finding] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Part and bead."""
        return f"{self.bead.part} / {self.bead.bead}"

    def find(self, kind: str, text: str, fix: str = "", *, topic: str, **numbers: float) -> None:
        """Add a finding of this bead."""
        self.findings.append(_finding(self.bead, self, kind, text, fix, topic, numbers))


def pressed_bead(plan: Plan, bead: Bead) -> PressedBead | None:
    """Width, squeeze-out and time of a bead that is pressed; None where no bond line is stated."""
    pressed = pressed_width(plan, bead)
    if bead.bond_line is None or pressed is None:
        return None
    station = plan.station(bead.station)
    material = plan.material(station.material)
    area = float(bead_area(bead.section, bead.width, bead.height, bead.contact_angle))
    gap, flange = bead.bond_line, bead.flange_width
    rounded = float(spread_width(area, gap, "round"))
    length = deposited_length(bead_length(plan, bead), bead) * bead.count
    out = [
        float(squeeze_out(length, wide * gap, gap, flange)) if flange else 0.0
        for wide in (pressed.nominal, pressed.high)
    ]
    consistency, coldest, carried = coldest_consistency(plan, station, material)
    report = PressedBead(
        bead,
        material,
        BEAD_MODEL,
        area,
        pressed.nominal,
        rounded if math.isfinite(rounded) else None,
        pressed.low,
        pressed.high,
        out[0],
        out[1],
        coldest,
    )
    if flange is not None and pressed.high > flange * (1.0 + EQUAL):
        words, widest = (
            ("is", pressed.nominal) if pressed.nominal > flange else ("may be up to", pressed.high)
        )
        report.find(
            QUALITY,
            f"the pressed bead {words} {_mm(widest)} wide on a flange of "
            f"{Stated(from_si(flange, 'mm')).text} mm: up "
            f"to {from_si(out[1], 'mL'):.2f} mL leave it",
            "a smaller bead, or a wider flange",
            topic="bead width",
            width_mm=from_si(widest, "mm"),
            flange_mm=from_si(flange, "mm"),
        )
    if not is_pressed(bead):
        report.find(
            QUALITY,
            f"the bead is {_mm(bead_height(bead))} high, the gap {_mm(gap)}: it does "
            "not reach the other face",
            "a higher bead, or a thinner bond line",
            topic="bead height",
        )
    elif bead.press_force is not None and consistency is not None:
        _press_bead(report, Paste(consistency, material.index, material.yield_stress))
        if not carried and abs(coldest - material.viscosity_temperature) > VISCOSITY_HOLDS:
            report.find(NOTE, _viscosity_note(material, coldest), topic="viscosity")
    return report


def _press_bead(report: PressedBead, paste: Paste) -> None:
    bead, area = report.bead, report.area
    force = needed(bead.press_force, bead.at, "press force")
    gap = needed(bead.bond_line, bead.at, "bond line")
    flange = bead.flange_width
    report.press = press = Press(
        paste,
        False,
        bead_height(bead),
        area,
        force,
        area / flange if flange else 0.0,
        flange / 2.0 if flange else 1.0,
        force,
    )
    report.gap_limit = press.limit
    time = press.time_to(gap)
    report.time_needed = time if math.isfinite(time) else None
    if report.time_needed is None:
        report.find(
            QUALITY,
            f"the force cannot close the joint to {_mm(gap)}: the yield "
            f"stress stops it at {_mm(press.limit)}",
            "press harder, or use a softer adhesive",
            topic="bond line",
        )


def station_joints(plan: Plan, station: str) -> list[JointReport]:
    """Every pressed joint of a station; worked out once for a plan."""
    known: dict[str, list[JointReport]] = plan.kept("joints")
    if station not in known:
        known[station] = [joint_report(plan, joint) for joint in plan.joints if joint.station == station]
    return known[station]


def station_beads(plan: Plan, station: str) -> list[PressedBead]:
    """Every bead of a station that has a bond line."""
    found = (pressed_bead(plan, bead) for bead in plan.beads if bead.station == station)
    return [item for item in found if item is not None]


def pressed_findings(plan: Plan, station: str) -> list[Finding]:
    """What was found of the pressed joints and beads of a station."""
    reports = [*station_joints(plan, station), *station_beads(plan, station)]
    return [finding for report in reports for finding in report.findings]


def press_findings(plan: Plan, station: str) -> list[Finding]:
    """Where the laws of a thin film leave their range at the pressed joints and beads of a station."""
    told = []
    for report in station_joints(plan, station):
        told += _film_findings(report, report.joint.gap, station, report.joint.part, "radius")
    for bead in station_beads(plan, station):
        gap = needed(bead.bead.bond_line, bead.bead.at, "bond line")
        told += _film_findings(bead, gap, station, bead.bead.part, "half width")
    return told


def edge_findings(plan: Plan, station: str) -> list[Finding]:
    """What is taken of the edges of pressed beads that cure with moisture, where the plan does not say."""
    material = plan.material(plan.station(station).material)
    if material.cure != "moisture" or material.moisture_coefficient is None:
        return []
    told = []
    for bead in plan.beads:
        if bead.station != station or not is_pressed(bead) or bead.open_edges is not None:
            continue
        depth = bead_depth(plan, bead)
        told.append(
            Finding(
                NOTE,
                f"{bead.part} / {bead.bead}: moist air is taken to meet both edges of the pressed bead, so "
                f"it cures {_mm(depth)} deep from each; from one edge alone it is {_mm(BOTH_EDGES * depth)}, "
                "four times as long",
                "state in column Open edges of Beads how many meet it: an edge to a closed box does not",
                topic="open edges",
                station=station,
                material=material.material,
                part=bead.part,
                cell=bead.at,
                numbers={"depth [mm]": from_si(depth, "mm")},
            )
        )
    return told


def _film_findings(
    report: JointReport | PressedBead, gap: float, station: str, part: str, what: str
) -> list[Finding]:
    """Gap against the reach of the film, where it ends and while it is pressed."""
    press = report.press
    if press is None:
        return []
    reach = press.full_size if gap < press.full_gap else float(press.size(gap))
    ratio = gap / reach
    where: dict[str, Any] = {
        "topic": "thick film",
        "station": station,
        "material": report.material.material,
        "part": part,
    }
    numbers = {f"gap/{what}": ratio}
    fix = "take force and time from a trial"
    if ratio > THICK_FILM:
        kind, words = (QUALITY, "above") if ratio > 1.0 else (NOTE, f"{ratio:.2f} of")
        return [
            Finding(
                kind,
                f"{report.name}: the gap of {_mm(gap)} is {words} the {what}, "
                f"{_mm(reach)}: not a thin film, its time is a rough one",
                fix,
                **where,
                numbers=numbers,
            )
        ]
    thick = (
        (press.amount / math.pi) ** (1.0 / 3.0) if press.is_disc else math.sqrt(press.amount / 2.0)
    )  # gap equal to radius or half width
    if report.time_needed and press.limit < thick < press.start_gap:
        share = press.time_to(thick) / report.time_needed
        if share > LONG_THICK:
            return [
                Finding(
                    QUALITY,
                    f"{report.name}: {share:.0%} of the time to the bond line passes while "
                    f"the gap is above the {what}, where it is no film yet",
                    fix,
                    **where,
                    numbers={**numbers, "share of time": share},
                )
            ]
    return []


__all__ = [
    "BEAD_MODEL",
    "DOTS_MODEL",
    "JointReport",
    "PATTERN_MODEL",
    "PressedBead",
    "edge_findings",
    "joint_pattern",
    "joint_press",
    "joint_report",
    "press_findings",
    "pressed_bead",
    "pressed_findings",
    "shortest_takt",
    "station_beads",
    "station_joints",
]
