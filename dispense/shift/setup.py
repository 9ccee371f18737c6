"""What to set the dispenser to: flows, speeds, pressures, shot masses, and whether they are allowed.

`setup_card` works out for one station what its setup card says. Pressures are for laminar
Herschel–Bulkley flow through mixer and nozzle at the coldest hour, where the material is thickest;
pot life and open time are for the hours that are worked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..base.errors import needed
from ..base.findings import DANGER, NOTE, QUALITY, STOP, Finding, WithFindings
from ..base.numbers import EQUAL
from ..base.printed import Stated
from ..base.units import DAY, celsius_text, from_si
from ..handbook.beads import bead_area
from ..handbook.flow import LAMINAR_REYNOLDS, MIXER_REYNOLDS, dwell_time, reynolds_number, wall_shear_rate
from ..handbook.line import nozzles_needed
from ..handbook.mixing import mass_ratio, volume_ratio
from ..plan.amounts import Application, applications, station_work
from ..plan.materials import (
    WorkingLife,
    mix_shares,
    mixed_density,
    pot_life_findings,
    thickener_of,
    working_life,
)
from ..plan.records import Plan
from ..plan.rows import Bead, Component, Material, Station
from ..plan.weather import between, coldest_consistency, shop_record
from .aging import share_kept
from .cure_times import OpenTime, open_times
from .mixer import oldest_factor
from .pressure import MixAtWork, pressures, purge_findings
from .weighing import Weighing, weigh, weighing_findings

#: K about its temperature in which a viscosity without activation energy counts (common practice, no source)
VISCOSITY_HOLDS = 2.0


@dataclass(frozen=True, slots=True)
class ShotSetting:
    """One bead, shot or joint of a part: what to set and what to weigh; SI units."""

    application: Application
    flow: float | None
    speed: float | None
    component_flows: dict[str, float]
    mass: float
    weighing: Weighing
    component_masses: dict[str, float]
    nozzle_pressure: float | None
    mixer_pressure: float | None
    shear_rate: float | None
    nozzle_reynolds: float | None = None
    mixer_reynolds: float | None = None

    @property
    def dispense_time(self) -> float | None:
        """How long the meter delivers, all runs of the application together [s]: its volume over the flow.

        What a meter is set to by time; starts, press time and travel between runs are no part of it (they are
        of `application.time`, the time at the station).
        """
        return self.application.amount.nominal / self.flow if self.flow else None

    @property
    def pressure(self) -> float | None:
        """Pressure in front of the mixer [Pa]."""
        parts = [value for value in (self.nozzle_pressure, self.mixer_pressure) if value is not None]
        return math.fsum(parts) if parts else None


@dataclass(slots=True)
class SetupCard(WithFindings):
    """Everything the setup card of a station says; SI units."""

    station: Station
    material: Material
    shares: dict[str, float]
    density: float
    mass_ratio: float | None  # parts B per 100 A by mass
    volume_ratio: float | None
    settings: list[ShotSetting]
    coldest: float
    hottest: float
    life: WorkingLife | None
    life_hot: float | None
    worked: list[float] = field(default_factory=list)  # temperatures of the hours that are worked
    hours_known: bool = False  # whether those are of shifts with builds, else of the whole day
    open_times: tuple[OpenTime, ...] = ()  # shortest and longest of those hours, one where they are alike
    findings: list[Finding] = field(default_factory=list)

    def find(
        self,
        kind: str,
        text: str,
        fix: str = "",
        *,
        topic: str,
        part: str = "",
        cell: str = "",
        **numbers: float,
    ) -> None:
        """Add a finding of this station."""
        self.findings.append(
            Finding(
                kind,
                text,
                fix,
                topic,
                self.station.station,
                self.material.material,
                part,
                cell=cell,
                numbers=numbers,
            )
        )


def station_parts(plan: Plan, station: str) -> list[str]:
    """Parts that a station puts material on, in the order of Parts."""
    return [
        row.part
        for row in plan.parts
        if any(item.station == station for item in applications(plan, row.part))
    ]


def worked_hours(plan: Plan, station: str) -> list[tuple[float, float]]:
    """Starts and ends [s after midnight] of the shifts that build a part of a station, each once."""
    built: dict[tuple[float, float], set[str]] = plan.kept("parts of hours")
    if not built:
        for date, shift, parts in plan.shift_loads():
            built.setdefault(plan.hours_of(date, shift), set()).update(parts)
    own = set(station_parts(plan, station))
    return sorted(hours for hours, parts in built.items() if own & parts)


def as_run(plan: Plan, station: Station) -> Station:
    """A station that purges at its share of the pot life, or sooner where its pressure or its flow asks.

    A purge whose volume is not stated renews the mixer, where a share that may be older is stated but for
    that share.
    """
    known: dict[str, Station] = plan.kept("stations as run")
    if station.station not in known:
        material = plan.material(station.material)
        if station.oldest_share is not None and not station.purge_volume:
            renewal = max(1.0, oldest_factor(station, material)) * station.mixer_volume
            station = replace(station, purge_volume=renewal)
        known[station.station] = station
        is_limited = station.pressure_limit is not None or station.flow_loss is not None
        if is_limited and thickener_of(plan, material):
            record = shop_record(plan, station)[1]
            flows = [item.flow or 0.0 for item in _settings(plan, station)]
            share = share_kept(plan, station, flows, sorted({min(record), max(record)}))
            if share < station.purge_share:
                known[station.station] = replace(station, purge_share=share)
    return known[station.station]


def _settings(plan: Plan, station: Station) -> list[ShotSetting]:
    """What is set for every bead, shot and joint of a station."""
    material = plan.material(station.material)
    components = plan.components_of(material.material)
    shares, density = mix_shares(material, components), mixed_density(material, components)
    consistency, *_ = coldest_consistency(plan, station, material)
    return [
        _setting(plan, station, material, item, shares, density, components, consistency)
        for part in station_parts(plan, station.station)
        for item in applications(plan, part)
        if item.station == station.station
    ]


def part_flows(plan: Plan, station: Station) -> list[float]:
    """Flows at which a station puts material on its parts [m³/s], worked out once."""
    known: dict[str, list[float]] = plan.kept("flows of parts")
    if station.station not in known:
        known[station.station] = [item.flow for item in _settings(plan, station) if item.flow]
    return known[station.station]


def setup_card(plan: Plan, station_name: str) -> SetupCard:
    """The setup of one station for every part it serves."""
    station = as_run(plan, plan.station(station_name))
    material = plan.material(station.material)
    components = plan.components_of(material.material)
    shares = mix_shares(material, components)
    density = mixed_density(material, components)
    record = shop_record(plan, station)[1]
    coldest, hottest = min(record), max(record)
    life = working_life(material)
    consistency, _, is_carried = coldest_consistency(plan, station, material)
    viscosity_note = ""
    off = abs(coldest - material.viscosity_temperature)
    if consistency is not None and not is_carried and off > VISCOSITY_HOLDS:
        viscosity_note = (
            f"viscosity is that at {celsius_text(material.viscosity_temperature)}: no "
            "activation energy of viscosity is known, and the coldest hour is "
            f"{celsius_text(coldest)}"
        )
    ratios: tuple[float | None, float | None] = (None, None)
    if material.kind == "two-part":
        a, b = components["a"].density, components["b"].density
        ratio_b = needed(material.ratio_b, material.at, "ratio B")
        if material.ratio_basis == "mass":
            ratios = (
                100.0 * ratio_b / material.ratio_a,
                float(volume_ratio(material.ratio_a, ratio_b, a, b)),
            )
        else:
            ratios = (float(mass_ratio(material.ratio_a, ratio_b, a, b)), 100.0 * ratio_b / material.ratio_a)
    settings = _settings(plan, station)
    card = SetupCard(
        station,
        material,
        shares,
        density,
        *ratios,
        settings,
        coldest,
        hottest,
        life,
        life.at(hottest) if life else None,
    )
    hours = worked_hours(plan, station_name)
    card.hours_known = bool(hours)
    shop = shop_record(plan, station)
    card.worked = [heat for part in hours for heat in between(shop, *part)] or record
    card.open_times = open_times(plan, station, material, hours or [(0.0, DAY)])
    if viscosity_note:
        card.find(NOTE, viscosity_note, topic="viscosity")
    if life is not None:
        card.find(NOTE, f"pot life: {life.basis}", topic="pot life")
        for mark in life.marks(coldest, hottest):
            if not mark.startswith("rule of thumb"):  # the basis says so
                card.find(NOTE, f"pot life {mark}", topic="pot life")
    _warn(plan, card)
    card.findings += _flow_findings(card)
    if life is not None:
        mix = MixAtWork.of(plan, station, life, record)
        card.findings += purge_findings(mix, part_flows(plan, station))
    card.findings += pot_life_findings(material, hottest)
    items = [item.application for item in settings]
    card.findings += weighing_findings(station, items, density) if items else []
    return card


def _flow_findings(card: SetupCard) -> list[Finding]:
    """Where the laminar laws of nozzle and mixer leave their range."""
    told = []
    for item in card.settings:
        name = f"{item.application.part} / {item.application.name}"
        for place, reynolds, limit in (
            ("nozzle", item.nozzle_reynolds, LAMINAR_REYNOLDS),
            ("mixer", item.mixer_reynolds, MIXER_REYNOLDS),
        ):
            if reynolds is None or reynolds <= limit:
                continue
            words = "turbulent" if reynolds > LAMINAR_REYNOLDS else "no longer laminar"
            told.append(
                Finding(
                    QUALITY,
                    f"{name}: the flow in the {place} is {words} (Reynolds number {reynolds:,.0f}, "
                    f"limit {limit:,.0f}); the pressure shown is that of laminar flow, too low",
                    "a wider bore or less flow, and measure the pressure",
                    "turbulent flow",
                    card.station.station,
                    card.material.material,
                    item.application.part,
                    numbers={"Reynolds number": reynolds, "limit": limit},
                )
            )
    return told


def pressure_growth(plan: Plan, station_name: str, growth: float) -> float | None:
    """By what factor the pressure changes where the flow shall be `growth` times as much.

    p ∝ Qⁿ without a yield stress, whatever nozzle and mixer are. With one a part of the pressure moves
    nothing: the law of Herschel and Bulkley is then solved at both flows, at the least flow of the station,
    where that part is largest; None where nozzle, consistency or flow is not known.
    """
    station = plan.station(station_name)
    material = plan.material(station.material)
    if not material.yield_stress:
        return float(growth**material.index)
    consistency, _, _ = coldest_consistency(plan, station, material)
    flows = [item.flow for item in setup_card(plan, station_name).settings if item.flow]
    if consistency is None or not flows:
        return None
    before, after = (
        sum(part for part in pressures(station, material, flow, consistency) if part is not None)
        for flow in (min(flows), min(flows) * growth)
    )
    return after / before if before > 0.0 else None


def _setting(
    plan: Plan,
    station: Station,
    material: Material,
    item: Application,
    shares: Mapping[str, float],
    density: float,
    components: Mapping[str, Component],
    consistency: float | None,
) -> ShotSetting:
    flow, speed = station.flow, None
    if item.kind == "bead":
        bead = plan.index(Bead, "part", "bead")[item.part, item.name]
        if station.speed is not None:
            area = float(bead_area(bead.section, bead.width, bead.height, bead.contact_angle))
            speed, flow = station.speed, area * station.speed
    nozzle = mixer = shear = nozzle_reynolds = mixer_reynolds = None
    if flow and consistency is not None:
        nozzle, mixer = pressures(station, material, flow, consistency)
        law = density, consistency, material.index, material.yield_stress
        if nozzle is not None and station.nozzle_bore:
            shear = float(wall_shear_rate(flow, station.nozzle_bore, material.index))
            nozzle_reynolds = float(reynolds_number(flow, station.nozzle_bore, *law))
        if mixer is not None and station.mixer_bore:
            mixer_reynolds = float(reynolds_number(flow, station.mixer_bore, *law))
    return ShotSetting(
        item,
        flow,
        speed,
        {letter: flow * share for letter, share in shares.items()} if flow else {},
        item.amount.nominal * density,
        weigh(station, item.amount, density),
        {
            letter: item.amount.nominal * share * components[letter].density
            for letter, share in shares.items()
        },
        nozzle,
        mixer,
        shear,
        nozzle_reynolds,
        mixer_reynolds,
    )


def _warn(plan: Plan, card: SetupCard) -> None:
    station = card.station
    for item in card.settings:
        part, name = item.application.part, f"{item.application.part} / {item.application.name}"
        if item.flow and station.flow_limit and item.flow > station.flow_limit * (1.0 + EQUAL):
            flow, limit = from_si(item.flow, "mL/s"), from_si(station.flow_limit, "mL/s")
            card.find(
                STOP,
                f"{name}: flow {flow:.2f} mL/s is above the meter's limit of {Stated(limit).text} mL/s",
                "go slower, or fit a larger meter",
                topic="flow limit",
                part=part,
                cell=plan.cell(station, "flow_limit"),
                flow_mL_s=flow,
                limit_mL_s=limit,
            )
        if item.pressure and station.pressure_limit and item.pressure > station.pressure_limit:
            needed, limit = from_si(item.pressure, "bar"), from_si(station.pressure_limit, "bar")
            card.find(
                DANGER,
                f"{name}: {math.ceil(10.0 * needed) / 10.0:g} bar is needed, limit {Stated(limit).text} bar",
                "a wider or shorter nozzle or mixer, less flow, or warmer material; never run above "
                "the limit of hoses and meter",
                topic="pressure limit",
                part=part,
                cell=plan.cell(station, "pressure_limit"),
                pressure_bar=needed,
                limit_bar=limit,
            )
        if item.flow and card.life_hot and station.mixer_volume:
            dwell = oldest_factor(station, card.material) * float(dwell_time(station.mixer_volume, item.flow))
            share = station.oldest_share
            what = "material" if share is None else f"the oldest {100.0 * share:g} % of the mix"
            if dwell > station.purge_share * card.life_hot:
                card.find(
                    QUALITY,
                    f"{name}: {what} stays {dwell:.0f} s in the mixer even without a "
                    "stop, longer than its share of the pot life",
                    "a smaller mixer, or more flow",
                    topic="time in the mixer",
                    part=part,
                    cell=plan.cell(station, "mixer_volume"),
                    dwell_s=dwell,
                )
    if station.takt:
        for part in station_parts(plan, station.station):
            work = station_work(plan, part, station)
            count = int(nozzles_needed(work, station.takt, station.uptime))
            if count > station.nozzles:
                card.find(
                    STOP,
                    f"{part}: {work:.0f} s of work at a takt of {station.takt:.0f} s needs {count} nozzles",
                    "a longer takt, or more nozzles",
                    topic="takt",
                    part=part,
                    cell=plan.cell(station, "takt"),
                    work_s=work,
                    takt_s=station.takt,
                    nozzles=count,
                )
