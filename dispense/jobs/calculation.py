"""Calculation sheets with the values of a plan: pick a bead, a pot, a station or a material.

Its values stand in the inputs until something is typed over them. A sheet made anew takes the plan as it is
then, and what was picked and typed over with it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TypeAlias, TypeVar

from openpyxl import load_workbook

from ..base.errors import DispenseError, InputError, Problem
from ..base.language import translated
from ..base.units import from_si
from ..books import bench
from ..books.bench import Source
from ..handbook.beads import bead_area, bead_flow
from ..plan.amounts import bead_height, bead_length, cell_dimensions, deposited_length, insert_volume
from ..plan.materials import KINETICS_COLUMNS, mix_shares, mixed_density
from ..plan.records import Plan
from ..plan.rows import Bead, Insert, Material, Oven, Pot, Station
from ..plan.weather import shop_weather
from ..xlsx.typed import is_foreign, save_signed
from .desk import Answers, Desk, spoken_in
from .document import Pane, saved_place

KIND = "calculation"  # as the file is signed
FIGURES = 7  # digits that a value of the plan is handed on with
#: in SI units, by the key of an input; None where the plan does not say
Values: TypeAlias = dict[str, float | str | None]
_R = TypeVar("_R")

_KINETICS = {"a1": "A1", "e1": "E1", "a2": "A2", "e2": "E2", "m": "m", "n": "n"}  # input: constant


def of_bead(plan: Plan, bead: Bead) -> Values:
    """What the sheet of a bead asks for: as it is laid, interruptions taken off its length."""
    station = plan.station(bead.station)
    by_angle = bead.height is None and bead.contact_angle is not None
    return {
        "section": bead.section,
        "width": bead.width,
        "height": bead_height(bead) if by_angle else bead.height,
        "length": deposited_length(bead_length(plan, bead), bead),
        "count": bead.count,
        "speed": station.speed,
        "density": _density(plan, station),
        "gap": bead.bond_line,
        "flange": bead.flange_width,
    }


def of_pot(plan: Plan, pot: Pot) -> Values:
    """What the sheet of a pot asks for; its inserts as their volume below the level of the plan."""
    station = plan.station(pot.station)
    material = plan.material(station.material)
    components = plan.components_of(material.material)
    shares = mix_shares(material, components)
    diameter, height = cell_dimensions(pot)
    inserts = plan.group(Insert, "part", "pot").get((pot.part, pot.pot), ())
    return {
        "shape": pot.shape,
        "length": pot.length,
        "width": pot.width,
        "level": pot.level,
        "draft": pot.draft,
        "code": pot.cell or None,
        "cells": pot.cells,
        "diameter": diameter or None,
        "height": height or None,
        "base": pot.cell_base,
        "inserts": math.fsum(insert_volume(insert, pot.level) for insert in inserts),
        "extra": pot.extra,
        "unfilled": pot.unfilled,
        "shrinkage": material.shrinkage,
        "a": shares["a"],
        "b": shares.get("b", 0.0),
        "da": components["a"].density,
        "db": components["b"].density if "b" in components else components["a"].density,
    }


def of_nozzle(plan: Plan, station: Station) -> Values:
    """What the sheet of a nozzle asks for: the flow of the station, else that of its first bead."""
    material = plan.material(station.material)
    return {
        "flow": _flow(plan, station),
        "measured": station.nozzle_bore,
        "length": station.nozzle_length,
        "consistency": material.consistency,
        "at": material.viscosity_temperature,
        "index": material.index,
        "yield": material.yield_stress,
        "shop": shop_weather(plan, station).mean_temperature,
        "energy": material.viscosity_energy,
        "limit": station.pressure_limit,
    }


def of_life(plan: Plan, station: Station) -> Values:
    """What the sheet of a pot life asks for."""
    material = plan.material(station.material)
    return {
        "t1": material.pot_life_temperature,
        "t2": material.pot_life_temperature_2,
        "l1": material.pot_life,
        "l2": material.pot_life_2,
        "stated": material.activation_energy,
        "halving": material.halving_step,
        "shop": shop_weather(plan, station).mean_temperature,
        "mixer": station.mixer_volume,
        "flow": _flow(plan, station),
        "share": station.purge_share,
    }


def of_cure(plan: Plan, material: Material) -> Values:
    """What the sheet of a cure asks for; what slows the kinetics is not on it."""
    stations = {row.station for row in plan.stations if row.material == material.material}
    lags = [row.lag_slow for row in plan.rows(Oven) if row.station in stations]
    return {
        **{key: getattr(material, KINETICS_COLUMNS[name]) for key, name in _KINETICS.items()},
        "lag": max(lags, default=None),
        "tg0": material.glass_uncured,
        "tg1": material.glass_cured,
        "lam": material.glass_lambda,
        "goal": material.full_degree,
    }


def _density(plan: Plan, station: Station) -> float:
    material = plan.material(station.material)
    return mixed_density(material, plan.components_of(material.material))


def _flow(plan: Plan, station: Station) -> float | None:
    """The flow that a station states, else that of its first bead at its speed [m³/s]."""
    beads = [bead for bead in plan.beads if bead.station == station.station]
    if station.flow is not None or not beads or station.speed is None:
        return station.flow
    bead = beads[0]
    area = bead_area(bead.section, bead.width, bead.height, bead.contact_angle)
    return float(bead_flow(area, station.speed))


def sources(plan: Plan) -> dict[str, Source]:
    """What each calculation sheet may take of a plan; a sheet for which it has nothing is left out."""
    pots = [row for row in plan.pots if plan.components_of(plan.station(row.station).material)]
    lives = [row for row in plan.stations if plan.material(row.material).pot_life]
    cures = [row for row in plan.materials if row.rate_1 is not None and row.energy_1 is not None]
    found = {
        "Bead": _source(plan, "Bead", "Bead of the plan", plan.beads, of_bead, _named("part", "bead")),
        "Pot": _source(plan, "Pot", "Pot of the plan", pots, of_pot, _named("part", "pot")),
        "Nozzle": _source(
            plan, "Nozzle", "Station of the plan", plan.stations, of_nozzle, _named("station", "material")
        ),
        "Pot life": _source(
            plan, "Pot life", "Station of the plan", lives, of_life, _named("station", "material")
        ),
        "Cure": _source(plan, "Cure", "Material of the plan", cures, of_cure, _named("material")),
    }
    return {name: source for name, source in found.items() if source.records}


def _named(*columns: str) -> Callable[[object], str]:
    return lambda row: " / ".join(str(getattr(row, column)) for column in columns)


def _source(
    plan: Plan,
    sheet: str,
    what: str,
    rows: Iterable[_R],
    values: Callable[[Plan, _R], Values],
    name: Callable[[object], str],
) -> Source:
    """Records in the units of a sheet's inputs; one that cannot be worked out is left out."""
    units = {item.key: item.field.unit for item in bench.sheet_named(sheet).given}
    records = {}
    for row in rows:
        try:
            found = values(plan, row)
        except DispenseError:
            continue
        records[name(row)] = {
            key: float(f"{from_si(value, units[key]):.{FIGURES}g}") if isinstance(value, float) else value
            for key, value in found.items()
        }
    return Source(what, records)


def open_calculation(desk: Desk, given: Answers) -> None:
    """Calculation sheets with the values of the open plan, beside it."""
    plan = desk.sound_plan()
    place = saved_place(desk.host)
    found = sources(plan)
    if not found:
        raise InputError(Problem("Calculation sheets", message="the plan has no bead, pot or station"))
    out = place.with_name(f"{place.stem}_calc.xlsx")
    desk.host.release(out)
    kept = with_own(found, out)
    save_signed(out, bench.linked(kept, place.name), KIND, [place])
    names = ", ".join(kept)
    with spoken_in(desk):
        said = translated(f"what is typed there changes nothing in {place.name}")
        desk.host.show(Pane(f"{out.name}: {names}; {said}"))
    desk.host.open(out)


def with_own(found: Mapping[str, Source], out: Path) -> dict[str, Source]:
    """The sources with what was picked and typed over in the file that is made anew."""
    if not out.is_file() or is_foreign(out, KIND):
        return dict(found)
    book = load_workbook(out)
    before = bench.typed_over({sheet.title: sheet for sheet in book.worksheets})
    return {
        name: Source(source.what, source.records, *before.get(name, ("", {})))
        for name, source in found.items()
    }


__all__ = ["open_calculation", "sources", "with_own"]
