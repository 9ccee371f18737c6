"""What happens by itself while material stands: sag on a wall, bubbles, settling filler, hoses that run on.

And how old the oldest material in a mixer is. Each is looked at only where the plan states what it rests
on: the slope of a bead's face, the largest bubble of a pot, how its cells stand, the filler of a
component, the compliance of the hoses, the share of the oldest that counts. All in SI units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..base.errors import needed
from ..base.findings import NOTE, QUALITY, STIR, Finding
from ..base.numbers import EQUAL
from ..base.printed import DOWN, rounded
from ..base.units import DAY, HOUR, MINUTE, celsius_text, from_si
from ..handbook.fill import (
    CREEPING_REYNOLDS,
    GRAVITY,
    HELD_SPHERE,
    bubble_size,
    cell_fill_time,
    drip_volume,
    residence_share,
    sag_height,
    sag_speed,
    settling_speed,
    stir_time,
)
from ..handbook.flow import dwell_time
from ..plan.amounts import applications, bead_height, cell_dimensions
from ..plan.materials import mixed_density, working_life
from ..plan.packs import has_pack
from ..plan.records import Plan
from ..plan.rows import Bead, Component, Material, Pot, Station
from ..plan.tables import PURGE
from ..plan.weather import shop_record, viscosity_at
from ..shift.calendar import Calendar
from ..shift.mixer import oldest_factor, purges_in_a_row
from ..shift.setup import SetupCard, setup_card, station_parts

STEADY = 0.95  # share of the flow from which a bead counts as even (common practice, no source)
FAR_CARRIED = 25.0  # K from its reference over which one activation energy is trusted (common practice)


def _hottest(plan: Plan, station: Station) -> float:
    return max(shop_record(plan, station)[1])


def _percent(share: float) -> str:
    """Two digits of a share, such as 0.5%."""
    return f"{100.0 * share:.2g}%"


# ------------------------------------------------------------------------------------------- walls


def sag_findings(plan: Plan, station: Station) -> list[Finding]:
    """Beads on a slope that are higher than their yield stress holds."""
    material = plan.material(station.material)
    density = mixed_density(material, plan.components_of(material.material))
    told = []
    for bead in plan.beads:
        if bead.station == station.station and bead.face_angle:
            told += _sag(plan, station, material, density, bead)
    return told


def _sag(plan: Plan, station: Station, material: Material, density: float, bead: Bead) -> list[Finding]:
    angle = needed(bead.face_angle, bead.at, "face angle")
    height = bead_height(bead)
    holds = float(sag_height(material.yield_stress, density, angle))
    if height <= holds * (1.0 + EQUAL):
        return []
    numbers = {"height_mm": from_si(height, "mm"), "holds_mm": from_si(holds, "mm")}
    words = (
        f"{bead.part} / {bead.bead}: {from_si(height, 'mm'):.1f} mm high on a face of "
        f"{from_si(angle, 'deg'):.0f}°; its yield stress of {material.yield_stress:g} Pa holds "
        f"{rounded(from_si(holds, 'mm'), 1, DOWN):.1f} mm"
    )
    if material.consistency is not None:
        hottest = _hottest(plan, station)
        speed = float(
            sag_speed(
                height,
                density,
                viscosity_at(material, material.consistency, hottest),
                material.index,
                material.yield_stress,
                angle,
            )
        )
        words += (
            f", it runs down at some {from_si(speed, 'mm/s') * MINUTE:.2g} mm/min at {celsius_text(hottest)}"
        )
        numbers["runs_mm_min"] = from_si(speed, "mm/s") * MINUTE
    return [
        Finding(
            QUALITY,
            words,
            "a lower bead, a paste with more yield stress, or lay the face flat until it has set",
            "sag",
            station.station,
            material.material,
            bead.part,
            cell=plan.cell(bead, "face_angle"),
            numbers=numbers,
        )
    ]


# --------------------------------------------------------------------------------------- bubbles


def staying_bubble(plan: Plan, station: Station, pot: Pot) -> tuple[float, float] | None:
    """Largest bubble that stays in a pour, and the temperature at which it does.

    At the coldest and at the hottest hour, each with its viscosity and pot life; a face with a skin, which
    is the slower one; a yield stress holds what is smaller than it can. None where life or viscosity is
    not known.
    """
    material = plan.material(station.material)
    life = working_life(material)
    if life is None or material.consistency is None:
        return None
    density = mixed_density(material, plan.components_of(material.material))
    record = shop_record(plan, station)[1]
    held = material.yield_stress / (HELD_SPHERE * density * GRAVITY)
    found = []
    for temperature in (min(record), max(record)):
        thick = viscosity_at(material, material.consistency, temperature)
        size = float(bubble_size(pot.level, life.at(temperature), density, thick, "rigid"))
        found.append((max(size, held), temperature))
    return max(found)


def bubble_findings(plan: Plan, station: Station) -> list[Finding]:
    """Pours in which larger bubbles stay than the plan allows."""
    told = []
    for pot in plan.pots:
        if pot.station != station.station or pot.bubble_limit is None:
            continue
        found = staying_bubble(plan, station, pot)
        if found is None or found[0] <= pot.bubble_limit * (1.0 + EQUAL):
            continue
        size, temperature = (from_si(found[0], "mm"), celsius_text(found[1]))
        told.append(
            Finding(
                QUALITY,
                f"{pot.part} / {pot.pot}: air bubbles up to {size:.3g} mm do not come up from the bottom "
                f"within the pot life at {temperature}; limit {from_si(pot.bubble_limit, 'mm'):.3g} mm",
                "take the air out before the pour, pour from below or in lower shots, or pour warmer",
                "bubbles",
                station.station,
                station.material,
                pot.part,
                cell=plan.cell(pot, "bubble_limit"),
                numbers={"bubble_mm": size},
            )
        )
    return told


# ------------------------------------------------------------------------------- between the cells


def gap_time(plan: Plan, station: Station, pot: Pot) -> tuple[float, float] | None:
    """How long the compound runs down between the cells by its own weight, and the temperature then.

    That of the coldest or hottest hour which takes the larger share of the pot life; the viscosity at
    1/s. None where cells, viscosity or life are not known, or a yield stress may hold it.
    """
    material = plan.material(station.material)
    life = working_life(material)
    if not has_pack(pot) or material.consistency is None or life is None or material.yield_stress > 0.0:
        return None
    diameter, height = cell_dimensions(pot)
    density = mixed_density(material, plan.components_of(material.material))
    layout = "square" if pot.arrangement == "square" else "hexagonal"
    pitch, way = needed(pot.pitch, pot.at, "pitch"), min(pot.level - pot.cell_base, height)
    if way <= 0.0:
        return None
    record = shop_record(plan, station)[1]
    found = []
    for temperature in (min(record), max(record)):
        thick = viscosity_at(material, material.consistency, temperature)
        time = float(cell_fill_time(way, diameter, pitch, thick, density, layout))
        found.append((time / life.at(temperature), time, temperature))
    _, time, temperature = max(found)
    return time, temperature


def gap_findings(plan: Plan, station: Station) -> list[Finding]:
    """Pours that are over before the compound has run down between the cells."""
    told = []
    for pot in plan.pots:
        found = gap_time(plan, station, pot) if pot.station == station.station else None
        if found is None:
            continue
        time, temperature = found
        poured = sum(
            item.time or 0.0
            for item in applications(plan, pot.part)
            if item.station == station.station and item.name == pot.pot
        )
        life = needed(working_life(plan.material(station.material)), pot.at, "pot life").at(temperature)
        is_late = time > station.purge_share * life
        if not is_late and time <= poured:
            continue
        told.append(
            Finding(
                QUALITY if is_late else NOTE,
                f"{pot.part} / {pot.pot}: by its own weight the compound needs some {_minutes(time)} to "
                f"run down between the cells at {celsius_text(temperature)}"
                + (
                    f"; its share of the pot life is {_minutes(station.purge_share * life)}"
                    if is_late
                    else "; the level is judged after that"
                ),
                "a thinner compound, more room between the cells, a lower shot, or a trial under vacuum"
                if is_late
                else "",
                "between cells",
                station.station,
                station.material,
                pot.part,
                cell=plan.cell(pot, "pitch"),
                numbers={"fill_min": time / MINUTE},
            )
        )
    return told


def _minutes(time: float) -> str:
    """Two digits of a time, such as 2.1 min."""
    return f"{time / MINUTE:.2g} min" if time < HOUR else f"{time / HOUR:.2g} h"


# ------------------------------------------------------------------------- containers that stand


def _filler(part: Component) -> dict[str, float | None]:
    """What must be known of a component to tell how its filler moves."""
    return {
        "standing height": part.standing_height,
        "filler size": part.filler_size,
        "filler density": part.filler_density,
        "filler share": part.filler_share,
        "liquid viscosity": part.liquid_viscosity,
    }


@dataclass(frozen=True, slots=True)
class Standing:
    """Filler in a container that stands; SI units."""

    component: Component
    temperature: float
    speed: float  # downwards; negative where the spheres rise
    reynolds: float
    wait: float  # until the halves differ by the tolerance; infinite where they never do

    @property
    def stir_every(self) -> float | None:
        """How often it must be stirred, as printed; None where it keeps as long as it may stand."""
        if self.wait > (self.component.open_life or DAY):  # a night and a day where none is stated
            return None
        hours = self.wait / HOUR
        shown = rounded(hours, 1 if self.wait < DAY else 0, DOWN) or hours
        return shown * HOUR


def standing_of(plan: Plan, station: Station) -> list[Standing]:
    """How the filler of a station's components moves at its hottest hour, where it is described."""
    material = plan.material(station.material)
    hottest = _hottest(plan, station)
    found = []
    for part in plan.components_of(material.material).values():
        described = [value for value in _filler(part).values() if value is not None]
        if len(described) < len(_filler(part)):
            continue
        height, size, heavy, share, thick = described
        liquid = (part.density - share * heavy) / (1.0 - share)
        thin = viscosity_at(material, thick, hottest)
        speed = float(settling_speed(size, heavy, liquid, thin, share, part.liquid_yield))
        single = float(settling_speed(size, heavy, liquid, thin))
        wait = float(stir_time(height, speed, share, heavy, liquid, part.density_tolerance))
        if math.isnan(wait):
            wait = math.inf
        found.append(Standing(part, hottest, speed, liquid * abs(single) * size / thin, wait))
    return found


def stir_times(calendar: Calendar, every: float, until: float) -> list[float]:
    """Clock times [s] to stir what was stirred at the start of a shift; before a break that one falls into.

    >>> calendar = Calendar(0.0, 10.0, [(3.5, 5.0)])
    >>> stir_times(calendar, 4.0, 10.0)
    [3.5, 7.5]
    """
    times: list[float] = []
    last = calendar.start
    while (due := last + every) < until:
        for begin, end in calendar.breaks:
            if begin < due < end:
                due = begin if begin > last else end
        if due >= until:
            break
        times.append(due)
        last = due
    return times


def settling_findings(plan: Plan, station: Station) -> list[Finding]:
    """Containers that must be stirred, and filler that is not described in full."""
    material = plan.material(station.material)
    told = []
    for part in plan.components_of(material.material).values():
        unknown = [name for name, value in _filler(part).items() if value is None]
        if 0 < len(unknown) < len(_filler(part)):
            missing = ", ".join(unknown)
            told.append(
                Finding(
                    NOTE,
                    f"component {part.component.upper()}: whether its filler settles is not looked at, "
                    f"{missing} is not stated",
                    "",
                    STIR,
                    station.station,
                    material.material,
                    cell=part.at,
                )
            )
    for found in standing_of(plan, station):
        told += _settling(station, material, found)
    return told


def _settling(station: Station, material: Material, found: Standing) -> list[Finding]:
    part = found.component
    every = found.stir_every
    if every is None:
        return []
    way = "sink" if found.speed > 0.0 else "rise"
    pace = abs(from_si(found.speed, "mm/s")) * HOUR
    hours = every / HOUR
    words = (
        f"component {part.component.upper()}: its filler {way}s {pace:.2g} mm an hour at "
        f"{celsius_text(found.temperature)}; after {hours:g} h the lower and the upper half differ by "
        f"{_percent(part.density_tolerance)} of the density"
    )
    if found.reynolds > CREEPING_REYNOLDS:
        words += f" (Reynolds number {found.reynolds:.2g}: Stokes' law is too fast there)"
    return [
        Finding(
            QUALITY,
            words,
            f"stir it every {hours:g} h and before it is connected; a hose that stood so long is purged",
            STIR,
            station.station,
            material.material,
            cell=part.at,
            numbers={"wait_h": found.wait / HOUR, "speed_mm_h": from_si(found.speed, "mm/s") * HOUR},
        )
    ]


# ------------------------------------------------------------------------------------------- hoses


def hose_findings(plan: Plan, station: Station) -> list[Finding]:
    """What runs on after a stop, and how long a start takes, from the stretch of hoses and meter."""
    if station.hose_compliance is None:
        return []
    card = setup_card(plan, station.station)
    told = []
    for item in card.settings:
        if not item.pressure or not item.flow:
            continue
        drip = float(drip_volume(station.hose_compliance, item.pressure))
        # the throttle at this flow: τ = C·Δp/Q; exact for a Newtonian liquid, too long for one that thins
        start = -math.log1p(-STEADY) * drip / item.flow
        shot = item.application.amount.nominal
        allowed = station.meter_tolerance * shot
        is_too_much = drip > allowed > 0.0
        name = f"{item.application.part} / {item.application.name}"
        words = (
            f"{name}: under {from_si(item.pressure, 'bar'):.2g} bar hoses and meter stretch by "
            f"{from_si(drip, 'mL'):.2g} mL, which run on after a stop; the flow needs {start:.2g} s "
            f"to come to {STEADY:.0%}"
        )
        if is_too_much:
            words += f"; the meter's tolerance of a shot is {from_si(allowed, 'mL'):.2g} mL"
        told.append(
            Finding(
                QUALITY if is_too_much else NOTE,
                words,
                "a valve at the tip, a shorter or stiffer hose, less pressure, or draw back at the end"
                if is_too_much
                else "",
                "hose",
                station.station,
                card.material.material,
                item.application.part,
                cell=plan.cell(station, "hose_compliance"),
                numbers={"drip_mL": from_si(drip, "mL"), "start_s": start},
            )
        )
    return told


# ------------------------------------------------------------------------------ ages in the mixer


def age_findings(plan: Plan, station: Station) -> list[Finding]:
    """The oldest material of the mixer against its share of pot life, and what a purge renews of it."""
    share = station.oldest_share
    if share is None or station.mixer_volume <= 0.0:
        return []
    material = plan.material(station.material)
    factor = oldest_factor(station, material)
    cell = plan.cell(station, "oldest_share")
    where = station.station, material.material
    basis = "laminar flow in a tube; mixing elements narrow it, dead corners widen it"
    told = [
        Finding(
            NOTE,
            f"the oldest {_percent(share)} of the mix counts: {factor:.3g} times the mean age ({basis})",
            "",
            "oldest material",
            *where,
            cell=cell,
            numbers={"factor": factor},
        )
    ]
    needs = factor * station.mixer_volume
    if station.rule == PURGE and 0.0 < station.purge_volume < needs * (1.0 - EQUAL):
        count = purges_in_a_row(station, material)
        renewed = float(residence_share(station.purge_volume / station.mixer_volume, material.index))
        told.append(
            Finding(
                QUALITY,
                f"a purge of {from_si(station.purge_volume, 'mL'):.3g} mL leaves {_percent(1.0 - renewed)} "
                f"of old material in what comes next; down to {_percent(share)} takes "
                f"{from_si(needs, 'mL'):.3g} mL, and the shift is played with {count} "
                f"purges in a row ({basis})",
                "purge more, or show by trial that less renews the mixer",
                "purge",
                *where,
                cell=cell,
                numbers={"needed_mL": from_si(needs, "mL"), "old_share": 1.0 - renewed},
            )
        )
    return told + _slow_mixer(plan, station, setup_card(plan, station.station), factor)


def _slow_mixer(plan: Plan, station: Station, card: SetupCard, factor: float) -> list[Finding]:
    """Parts on whose takt the oldest material passes its share of the pot life without any stop."""
    if card.life_hot is None or not station.takt:
        return []
    told = []
    for part in station_parts(plan, station.station):
        volume = math.fsum(
            item.amount.nominal for item in applications(plan, part) if item.station == station.station
        )
        mean = float(dwell_time(station.mixer_volume, volume / station.takt))
        limit = card.station.purge_share * card.life_hot
        if mean <= limit < factor * mean:
            told.append(
                Finding(
                    QUALITY,
                    f"{part}: at the takt the mix is {mean / MINUTE:.2g} min old on the mean when it "
                    f"leaves, the oldest {_percent(station.oldest_share or 0.0)} of it "
                    f"{factor * mean / MINUTE:.2g} min; its share of the pot life is "
                    f"{rounded(limit / MINUTE, 1, DOWN):g} min",
                    "a smaller mixer, or purge and change it earlier",
                    "oldest material",
                    station.station,
                    card.material.material,
                    part,
                    cell=plan.cell(station, "mixer_volume"),
                    numbers={"mean_min": mean / MINUTE, "oldest_min": factor * mean / MINUTE},
                )
            )
    return told


# ------------------------------------------------------------------------------------ extrapolation


def carried_findings(plan: Plan, station: Station) -> list[Finding]:
    """A viscosity carried further from its reference than one activation energy is trusted."""
    material = plan.material(station.material)
    if material.consistency is None or material.viscosity_energy is None:
        return []
    record = shop_record(plan, station)[1]
    known = material.viscosity_temperature
    far = max((min(record), max(record)), key=lambda value: abs(value - known))
    if abs(far - known) <= FAR_CARRIED:
        return []
    return [
        Finding(
            QUALITY,
            f"the viscosity is carried from {celsius_text(known)} to {celsius_text(far)} by one activation "
            f"energy, more than {FAR_CARRIED:g} K: pressures and flows there are rough",
            "measure the viscosity near the shop's temperature",
            "viscosity",
            station.station,
            material.material,
            cell=plan.cell(material, "viscosity_temperature"),
            numbers={"carried_K": abs(far - known)},
        )
    ]


def standing_findings(plan: Plan, station: Station) -> list[Finding]:
    """All that this module finds of a station."""
    return [
        finding
        for look in (
            sag_findings,
            bubble_findings,
            gap_findings,
            settling_findings,
            hose_findings,
            age_findings,
            carried_findings,
        )
        for finding in look(plan, station)
    ]


__all__ = [
    "Standing",
    "age_findings",
    "bubble_findings",
    "carried_findings",
    "gap_findings",
    "gap_time",
    "hose_findings",
    "sag_findings",
    "settling_findings",
    "stir_times",
    "standing_findings",
    "standing_of",
    "staying_bubble",
]
