"""A station's material as it thickens: pressure and flow until the purge, and the life of a mass.

A material thickens by a law of its degree (gel point with exponents, or an exponential), or by a later
viscosity of its data sheet. Where the plan states neither, nothing is said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..base.findings import DANGER, NOTE, QUALITY, Finding
from ..base.numbers import EQUAL
from ..base.printed import Stated, lower_figure
from ..base.units import HOUR, MINUTE, celsius_text, from_si
from ..handbook.thickening import age_of_growth, degree_of_mass_life, flow_life, mass_pot_life, shot_drift
from ..plan.materials import Thickener, kinetics_of, mixed_density, thickener_of, working_life
from ..plan.records import Plan
from ..plan.rows import Material, Station
from ..shift.aging import LONGEST, age_at_limit, age_at_loss, needed_pressure
from ..shift.setup import SetupCard, ShotSetting, setup_card

AGES = 60  # places of a curve
#: kg: the amount of most data sheets (ISO 10364 asks for the mass; common practice, no source)
LEAST_MASS = 0.1
MASSES = 9
MOST_GROWTH = 20.0  # times the fresh viscosity to which curves are drawn
DOUBLED = 2.0
TIME_PRESSURE = "pressure"  # in the words of a meter: it doses by pressure and time


@dataclass(frozen=True, slots=True)
class AgedCase:
    """One shop temperature: the purge, and what the material has come to by then; SI units.

    NaN: not reached, or no limit stated. `pressure` is that of the setting which needs most.
    """

    temperature: float
    purge_age: float
    pressure: float
    pressure_life: float
    flow_life: float  # age at which the flow at constant pressure has fallen as far as is stated
    doubled: float  # age at which the viscosity has doubled
    drift: float  # share of a shot lost at constant pressure by the purge
    drift_life: float  # age at which it has lost the meter's tolerance
    ages: np.ndarray
    pressures: np.ndarray


@dataclass(frozen=True, slots=True)
class MassLife:
    """Pot life of a mass that stands together; SI units."""

    mass: float
    life: float
    temperature: float  # at its end


@dataclass(slots=True)
class ThickeningReport:
    """What a station's material does while it stands; SI units."""

    basis: str
    setting: ShotSetting | None
    fresh: float  # Pa of that setting at the coldest hour; NaN where unknown
    limit: float | None
    tolerance: float
    flow_loss: float | None
    share: float  # of the pot life at which the mixer is purged
    cases: list[AgedCase]
    masses: list[MassLife]
    own_mass: float  # kg of mix that stands at the station
    findings: list[Finding]

    @property
    def hottest(self) -> AgedCase:
        """The case in which the material ages fastest."""
        return self.cases[-1]


def _case(card: SetupCard, thickener: Thickener, setting: ShotSetting | None, heat: float) -> AgedCase:
    station, material = card.station, card.material
    life = working_life(material)
    age = math.nan if life is None else station.purge_share * life.at(heat)
    doubled = float(age_of_growth(DOUBLED, heat, thickener.kinetics, thickener.law))
    drift = drift_life = pressure = pressure_life = math.nan
    if math.isfinite(age):
        drift = float(shot_drift(age, heat, thickener.kinetics, thickener.law, material.index))
        drift = 1.0 if math.isnan(drift) else drift  # it has gelled
    if station.meter_tolerance > 0.0:
        drift_life = float(
            flow_life(station.meter_tolerance, heat, thickener.kinetics, thickener.law, material.index)
        )
    last = float(age_of_growth(MOST_GROWTH, heat, thickener.kinetics, thickener.law))
    if setting is not None:
        pressure_life = age_at_limit(station, material, thickener, setting.flow or 0.0, heat)
    # a curve shows the purge and the limit, and nothing that hardly flows any more
    loss_life = age_at_loss(station, material, thickener, heat)
    shown = [1.1 * value for value in (age, pressure_life, loss_life) if math.isfinite(value)]
    ages = np.linspace(0.0, min(last if math.isfinite(last) else LONGEST, max(shown, default=HOUR)), AGES)
    pressures = np.full(AGES, math.nan)
    if setting is not None:
        pressures = needed_pressure(station, material, thickener, setting.flow or 0.0, ages, heat)
        pressures = np.where(np.isfinite(pressures), pressures, math.nan)
        if math.isfinite(age):
            pressure = float(needed_pressure(station, material, thickener, setting.flow or 0.0, age, heat))
    return AgedCase(
        heat, age, pressure, pressure_life, loss_life, doubled, drift, drift_life, ages, pressures
    )


def _masses(
    plan: Plan, station: Station, material: Material, heat: float, own: float
) -> list[MassLife] | None:
    """Pot life against mass, from that of the data sheet to the amount at the station.

    None: by the kinetics that of the data sheet would be cured through, or not begun, at its pot life.
    """
    kinetics, life = kinetics_of(plan, material), working_life(material)
    released, specific, conducts = material.heat, material.specific_heat, material.conductivity
    if kinetics is None or life is None or released is None or specific is None or conducts is None:
        return []
    density = mixed_density(material, plan.components_of(material.material))
    stated = material.pot_life_mass or LEAST_MASS
    end = degree_at_pot_life(plan, material)
    if end is None:
        return None
    largest = max(own, 10.0 * stated)
    masses = np.unique(np.append(np.geomspace(min(stated, LEAST_MASS), largest, MASSES), [stated, own]))
    masses = masses[masses > 0.0]
    lives, ends = mass_pot_life(masses, heat, end, kinetics, released, specific, density, conducts)
    rows = zip(masses.tolist(), lives.tolist(), ends.tolist(), strict=True)
    return [MassLife(*row) for row in rows]


def degree_at_pot_life(plan: Plan, material: Material) -> float | None:
    """Degree that the mass of the data sheet has come to at the end of its pot life, worked out once.

    NaN where kinetics, heat or pot life are not stated; None where by them the mass is cured through, or not
    begun, by then.
    """
    known: dict[str, float | None] = plan.kept("degrees at pot life")
    if material.material not in known:
        kinetics, life = kinetics_of(plan, material), working_life(material)
        released, specific, conducts = material.heat, material.specific_heat, material.conductivity
        found: float | None = math.nan
        if (
            kinetics is not None
            and life is not None
            and released is not None
            and specific is not None
            and conducts is not None
        ):
            density = mixed_density(material, plan.components_of(material.material))
            mass = material.pot_life_mass or LEAST_MASS
            found = degree_of_mass_life(
                life.life, life.temperature, mass, kinetics, released, specific, density, conducts
            )
        known[material.material] = found
    return known[material.material]


def own_mass(plan: Plan, station: Station, material: Material) -> float:
    """Mixed material that stands together at a station [kg]: mixer and nozzle."""
    density = mixed_density(material, plan.components_of(material.material))
    return station.mixer_volume * density


def thickening_report(plan: Plan, station_name: str) -> ThickeningReport | None:
    """What the material of a station does while it stands; None where the plan says nothing of it."""
    stated = plan.station(station_name)
    material = plan.material(stated.material)
    thickener = thickener_of(plan, material)
    if thickener is None:
        return None
    card = setup_card(plan, station_name)
    station = card.station
    flowing = [item for item in card.settings if item.flow]
    piped = any(
        bore and length
        for bore, length in (
            (station.nozzle_bore, station.nozzle_length),
            (station.mixer_bore, station.mixer_length),
        )
    )
    setting = max(flowing, key=lambda item: item.flow or 0.0) if flowing and piped else None
    heats = sorted({card.coldest, card.hottest})
    fresh = math.nan
    if setting is not None:
        fresh = float(needed_pressure(station, material, thickener, setting.flow or 0.0, 0.0, card.coldest))
    own = own_mass(plan, station, material)
    masses = _masses(plan, station, material, card.hottest, own)
    report = ThickeningReport(
        thickener.basis,
        setting,
        fresh,
        station.pressure_limit,
        station.meter_tolerance,
        station.flow_loss,
        station.purge_share,
        [_case(card, thickener, setting, heat) for heat in heats],
        masses or [],
        own,
        [],
    )
    report.findings = [
        *_sooner_findings(card, stated, report),
        *_pressure_findings(card, report),
        *_loss_findings(card, report),
        *_drift_findings(card, report),
    ]
    report.findings += (
        _mass_findings(card, report) if masses is not None else [_no_masses(card.station, card.material)]
    )
    report.findings.append(
        Finding(
            NOTE,
            f"how it thickens: {thickener.basis}{_aged_text(report)}",
            topic="thickening",
            station=station.station,
            material=material.material,
        )
    )
    return report


def _aged_text(report: ThickeningReport) -> str:
    """What the setting that needs most comes to before a purge, for the one who reads the gauge."""
    aged = [case for case in report.cases if math.isfinite(case.pressure)]
    if report.setting is None or not aged or not math.isfinite(report.fresh):
        return ""
    worst = max(aged, key=lambda case: case.pressure)
    item = report.setting.application
    return (
        f"; {item.part} / {item.name} needs {from_si(report.fresh, 'bar'):.3g} bar fresh and up to "
        f"{from_si(worst.pressure, 'bar'):.3g} bar before a purge, after {worst.purge_age / 60.0:.0f} min at "
        f"{celsius_text(worst.temperature)}"
    )


def _sooner_findings(card: SetupCard, stated: Station, report: ThickeningReport) -> list[Finding]:
    """A purge that the pressure or the flow asks for before the stated share of the pot life."""
    limit, loss, share = stated.pressure_limit, stated.flow_loss, card.station.purge_share
    if not share < stated.purge_share:
        return []
    if loss is not None and any(case.flow_life <= case.purge_age * (1.0 + EQUAL) for case in report.cases):
        what, topic = f"has lost {loss:.0%} of its flow at constant pressure", "purge by flow"
        fix = "a meter that doses volumes, or state that share"
    else:
        shown = Stated(from_si(limit or 0.0, "bar")).text
        what, topic = f"comes to the limit of {shown} bar", "purge by pressure"
        fix = "a wider bore or a smaller mixer, or state that share; never run above the limit of hoses and "
        fix += "meter"
    return [
        Finding(
            QUALITY,
            f"the mix {what} at {lower_figure(100.0 * share)} % of its pot life, before the stated "
            f"{100.0 * stated.purge_share:.0f} %: the shift is played with purges by then",
            fix,
            topic,
            stated.station,
            card.material.material,
            numbers={"share": share, "stated share": stated.purge_share},
        )
    ]


def _pressure_findings(card: SetupCard, report: ThickeningReport) -> list[Finding]:
    """A purge that comes after the pressure has passed its limit."""
    station, limit, setting = card.station, report.limit, report.setting
    if limit is None or setting is None or not report.fresh <= limit:
        return []  # the setup card tells of a pressure that the fresh mix needs
    worst = [case for case in report.cases if case.pressure > limit]
    if not worst:
        return []
    case = max(worst, key=lambda item: item.purge_age - item.pressure_life)
    needed = from_si(case.pressure, "bar")
    told = f"{math.ceil(10.0 * needed) / 10.0:g} bar" if math.isfinite(needed) else "more than any pressure"
    item = setting.application
    share = report.share * case.pressure_life / case.purge_age
    return [
        Finding(
            DANGER,
            f"{item.part} / {item.name}: at {celsius_text(case.temperature)} the limit of "
            f"{Stated(from_si(limit, 'bar')).text} bar is reached after "
            f"{lower_figure(case.pressure_life / MINUTE)} min of standing, the purge comes after "
            f"{case.purge_age / 60.0:.0f} min and would need {told}",
            f"purge at a share of {lower_figure(100.0 * share)} % of the pot life or sooner, or a wider "
            "bore; never run above the limit of hoses and meter",
            "pressure at the purge",
            station.station,
            card.material.material,
            item.part,
            numbers={
                "pressure [bar]": needed,
                "limit [bar]": from_si(limit, "bar"),
                "life to the limit [min]": case.pressure_life / 60.0,
                "purge after [min]": case.purge_age / 60.0,
            },
        )
    ]


def _loss_findings(card: SetupCard, report: ThickeningReport) -> list[Finding]:
    """A purge that comes after the flow has fallen further than is stated."""
    station, loss = card.station, report.flow_loss
    late = [case for case in report.cases if case.flow_life < case.purge_age * (1.0 - EQUAL)]
    if loss is None or not late:
        return []
    case = max(late, key=lambda item: item.drift)
    return [
        Finding(
            QUALITY,
            f"at {celsius_text(case.temperature)} the flow at constant pressure has fallen by the stated "
            f"{loss:.0%} after {lower_figure(case.flow_life / MINUTE)} min, sooner than a purge and the way "
            f"through the mixer take; by the purge after {case.purge_age / 60.0:.0f} min it falls by "
            f"{case.drift:.0%}",
            "a smaller mixer, a quicker purge, or a meter that doses volumes",
            "flow at the purge",
            station.station,
            card.material.material,
            numbers={
                "loss [%]": 100.0 * case.drift,
                "stated [%]": 100.0 * loss,
                "reached after [min]": case.flow_life / 60.0,
                "purge after [min]": case.purge_age / 60.0,
            },
        )
    ]


def _drift_findings(card: SetupCard, report: ThickeningReport) -> list[Finding]:
    """Shots of constant pressure and time that drift out of the meter's tolerance before the purge."""
    station = card.station
    worst = max(report.cases, key=lambda case: case.drift if math.isfinite(case.drift) else -1.0)
    if not (report.tolerance > 0.0 and worst.drift > report.tolerance):
        return []
    by_pressure = TIME_PRESSURE in station.meter.lower()
    return [
        Finding(
            QUALITY if by_pressure else NOTE,
            f"at constant pressure and time a shot would fall by {worst.drift:.0%} where the mix "
            f"stood {worst.purge_age / MINUTE:.0f} min, the longest before a purge, at "
            f"{celsius_text(worst.temperature)}, the meter's tolerance is ±{report.tolerance:.1%}; it is "
            f"kept for {lower_figure(worst.drift_life / MINUTE)} min"
            + ("" if by_pressure else " (a meter that doses volumes keeps its shots, its pressure rises)"),
            "purge sooner, or dose by volume" if by_pressure else "",
            "shot drift",
            station.station,
            card.material.material,
            numbers={
                "drift [%]": 100.0 * worst.drift,
                "tolerance [%]": 100.0 * report.tolerance,
                "tolerance kept [min]": worst.drift_life / 60.0,
            },
        )
    ]


def _no_masses(station: Station, material: Material) -> Finding:
    """Kinetics and pot life that do not belong to one mass."""
    mass = material.pot_life_mass or LEAST_MASS
    return Finding(
        NOTE,
        f"by kinetics and heat {1e3 * mass:.0f} g are cured through, or have not begun, at the stated pot "
        "life: pot life against mass is left out",
        "look again at kinetics, pot life and its mass",
        "pot life against mass",
        station.station,
        material.material,
    )


def _mass_findings(card: SetupCard, report: ThickeningReport) -> list[Finding]:
    """A mass at the station that warms itself so much that it lives shorter than the rule allows."""
    own = next((item for item in report.masses if item.mass == report.own_mass), None)
    age = report.hottest.purge_age
    if own is None or not math.isfinite(own.life) or not own.life < age:
        return []
    return [
        Finding(
            QUALITY,
            f"the {1e3 * own.mass:.0f} g of mix that stand in mixer and nozzle warm themselves to "
            f"{celsius_text(own.temperature)} and live {lower_figure(own.life / MINUTE)} min; the purge "
            f"comes after {age / 60.0:.0f} min",
            "purge sooner, or a smaller mixer",
            "mass that warms itself",
            card.station.station,
            card.material.material,
            numbers={
                "mass [g]": 1e3 * own.mass,
                "life [min]": own.life / 60.0,
                "purge after [min]": age / 60.0,
            },
        )
    ]


def thickening_findings(plan: Plan, station: Station) -> list[Finding]:
    """What thickening decides at a station."""
    report = thickening_report(plan, station.station)
    if report is not None:
        return report.findings
    return life_findings(plan, station)


def life_findings(plan: Plan, station: Station) -> list[Finding]:
    """Pot life and kinetics that contradict each other, whether or not the plan says how the mix thickens."""
    material = plan.material(station.material)
    return [_no_masses(station, material)] if degree_at_pot_life(plan, material) is None else []


__all__ = [
    "AgedCase",
    "MassLife",
    "ThickeningReport",
    "life_findings",
    "own_mass",
    "thickening_findings",
    "thickening_report",
]
