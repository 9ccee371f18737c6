"""What to set the dispenser to: flows, speeds, pressures, shot masses, and whether they are allowed.

`setup_card` works out for one station what its setup card says. Pressures are for laminar
Herschel–Bulkley flow through mixer and nozzle at the coldest hour, where the material is thickest;
working life is for the hottest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from .amounts import Application, applications
from .beads import bead_area
from .flow import MIXER_FACTOR, dwell_time, nozzle_pressure, viscosity, wall_shear_rate
from .line import nozzles_needed
from .materials import WorkingLife, mix_shares, mixed_density, working_life
from .mixing import mass_ratio, volume_ratio
from .pressed import pressed_warnings
from .shift import shop_record
from .units import celsius_text, from_si
from .weighing import Weighing, weigh


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

    @property
    def pressure(self) -> float | None:
        """Pressure in front of the mixer [Pa]."""
        parts = [value for value in (self.nozzle_pressure, self.mixer_pressure) if value is not None]
        return math.fsum(parts) if parts else None


@dataclass(slots=True)
class SetupCard:
    """Everything the setup card of a station says; SI units."""

    station: Any
    material: Any
    shares: dict[str, float]
    density: float
    mass_ratio: float | None  # parts B per 100 A by mass
    volume_ratio: float | None
    settings: list[ShotSetting]
    coldest: float
    hottest: float
    life: WorkingLife | None
    life_hot: float | None
    warnings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def station_parts(plan, station: str) -> list[str]:
    """Parts that a station puts material on, in the order of Parts."""
    return [row.part for row in plan.parts
            if any(item.station == station for item in applications(plan, row.part))]  # fmt: skip


def setup_card(plan, station_name: str) -> SetupCard:
    """The setup of one station for every part it serves."""
    station = plan.station(station_name)
    material = plan.material(station.material)
    components = plan.components_of(material.material)
    shares = mix_shares(material, components)
    density = mixed_density(material, components)
    record = shop_record(plan, station)[1]
    coldest, hottest = min(record), max(record)
    life = working_life(material)
    consistency = material.consistency
    notes = []
    if consistency is not None and material.viscosity_energy is not None:
        consistency = float(viscosity(coldest, consistency, material.viscosity_temperature,
                                      material.viscosity_energy))  # fmt: skip
    elif consistency is not None and abs(coldest - material.viscosity_temperature) > 2.0:
        notes.append(
            f"viscosity is that at {celsius_text(material.viscosity_temperature)}: no "
            "activation energy of viscosity is known, and the coldest hour is "
            f"{celsius_text(coldest)}"
        )
    ratios: tuple[float | None, float | None] = (None, None)
    if material.kind == "two-part":
        a, b = components["a"].density, components["b"].density
        if material.ratio_basis == "mass":
            ratios = (100.0 * material.ratio_b / material.ratio_a,
                      float(volume_ratio(material.ratio_a, material.ratio_b, a, b)))  # fmt: skip
        else:
            ratios = (float(mass_ratio(material.ratio_a, material.ratio_b, a, b)),
                      100.0 * material.ratio_b / material.ratio_a)  # fmt: skip
    settings = [
        _setting(plan, station, material, item, shares, density, components, consistency)
        for part in station_parts(plan, station_name)
        for item in applications(plan, part) if item.station == station_name
    ]  # fmt: skip
    card = SetupCard(
        station, material, shares, density, *ratios, settings, coldest, hottest, life,
        life.at(hottest) if life else None, notes=notes,
    )  # fmt: skip
    if life is not None:
        card.notes.append(f"pot life: {life.basis}")
        card.notes.extend(f"pot life {mark}" for mark in life.marks(coldest, hottest))
    _warn(plan, card)
    card.warnings.extend(pressed_warnings(plan, station_name))
    return card


def _setting(plan, station, material, item, shares, density, components, consistency):
    flow, speed = station.flow, None
    if item.kind == "bead":
        bead = plan.index("beads", "part", "bead")[item.part, item.name]
        if station.speed is not None:
            area = float(bead_area(bead.section, bead.width, bead.height, bead.contact_angle))
            speed, flow = station.speed, area * station.speed
    nozzle = mixer = shear = None
    if flow and consistency is not None:
        if station.nozzle_bore and station.nozzle_length:
            nozzle = float(nozzle_pressure(flow, station.nozzle_bore, station.nozzle_length,
                                           consistency, material.index, material.yield_stress))  # fmt: skip
            shear = float(wall_shear_rate(flow, station.nozzle_bore, material.index))
        if station.mixer_bore and station.mixer_length:
            mixer = MIXER_FACTOR * float(
                nozzle_pressure(flow, station.mixer_bore, station.mixer_length, consistency,
                                material.index, material.yield_stress)
            )  # fmt: skip
    return ShotSetting(
        item, flow, speed, {letter: flow * share for letter, share in shares.items()} if flow else {},
        item.amount.nominal * density, weigh(station, item.amount, density),
        {letter: item.amount.nominal * share * components[letter].density
         for letter, share in shares.items()},
        nozzle, mixer, shear,
    )  # fmt: skip


def _warn(plan, card: SetupCard) -> None:
    station, warnings = card.station, card.warnings
    for item in card.settings:
        name = f"{item.application.part} / {item.application.name}"
        if item.flow and station.flow_limit and item.flow > station.flow_limit * (1.0 + 1e-9):
            warnings.append(f"{name}: flow {from_si(item.flow, 'mL/s'):.2f} mL/s is above the meter's "
                            f"limit of {from_si(station.flow_limit, 'mL/s'):.2f} mL/s")  # fmt: skip
        if item.pressure and station.pressure_limit and item.pressure > station.pressure_limit:
            warnings.append(f"{name}: {from_si(item.pressure, 'bar'):.0f} bar is needed, limit "
                            f"{from_si(station.pressure_limit, 'bar'):.0f} bar")  # fmt: skip
        if item.flow and card.life_hot and station.mixer_volume:
            dwell = float(dwell_time(station.mixer_volume, item.flow))
            if dwell > station.purge_share * card.life_hot:
                warnings.append(f"{name}: material stays {dwell:.0f} s in the mixer even without a "
                                "stop, longer than its share of the pot life")  # fmt: skip
    if station.takt:
        for part in station_parts(plan, station.station):
            mine = [item for item in applications(plan, part) if item.station == station.station]
            work = math.fsum(item.time for item in mine) + station.handling_time
            count = int(nozzles_needed(work, station.takt, station.uptime))
            if count > 1:
                warnings.append(f"{part}: {work:.0f} s of work at a takt of {station.takt:.0f} s needs "
                                f"{count} nozzles")  # fmt: skip
