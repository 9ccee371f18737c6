"""The tables of a golden plan as records: mm, mL, g, s, °C, bar; imports nothing of the planner.

Headers carry units; every factor used is written here with its source. What a table leaves blank takes
the default that `docs/plan_tables.md` prints for the column.
"""

from __future__ import annotations

import datetime
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

# inch: 25.4 mm exactly (international yard and pound agreement, 1959); °F: t = (F − 32)/1.8
FACTORS = {
    "mm": 1.0,
    "in": 25.4,
    "in/s": 25.4,
    "mm/s": 1.0,
    "mL": 1.0,
    "mL/s": 1.0,
    "g": 1.0,
    "g/mL": 1.0,
    "s": 1.0,
    "min": 60.0,
    "h": 3600.0,
    "d": 86400.0,
    "bar": 1.0,
    "Pa·sⁿ": 1.0,
    "mPa·s": 1e-3,
    "Pa": 1.0,
    "kJ/mol": 1.0,
    "1/min": 1.0,
    "J/g": 1.0,
    "J/(g·K)": 1.0,
    "W/(m·K)": 1.0,
    "K": 1.0,
    "deg": 1.0,
    "%": 0.01,
    "1/h": 1.0,
    "mm/√h": 1.0,
    "J/cm²": 1.0,
    "mW/cm²": 1.0,
    "N": 1.0,
    "K/W": 1.0,
    "K·mm²/W": 1.0,
    "W/(m²·K)": 1.0,
    "N/mm": 1.0,
}

DEFAULTS: dict[str, dict[str, Any]] = {
    "Settings": {},
    "Materials": {
        "kind": "two-part",
        "ratio_a": 1.0,
        "ratio_basis": "volume",
        "index": 1.0,
        "yield_stress": 0.0,
        "viscosity_temperature": 23.0,
        "pot_life_temperature": 23.0,
        "halving_step": 10.0,
        "cure": "room",
        "cure_temperature": 23.0,
        "shrinkage": 0.0,
        "moisture_humidity": 0.5,
        "description": "",
        "pot_life_source": "",
        "surface_treatment": "",
        "cautions": "",
    },
    "Components": {"heel": 0.0},
    "Beads": {
        "width_tolerance": 0.0,
        "height_tolerance": 0.0,
        "length_tolerance": 0.0,
        "path": "",
        "closed": False,
        "count": 1,
    },
    "Paths": {"z": 0.0, "motion": "line"},
    "Pots": {
        "length_tolerance": 0.0,
        "width_tolerance": 0.0,
        "draft": 0.0,
        "level_tolerance": 0.0,
        "cells": 0,
        "cell_diameter_tolerance": 0.0,
        "cell_base": 0.0,
        "unfilled": 0.0,
        "extra": 0.0,
        "count": 1,
    },
    "Inserts": {"shape": "box", "base": 0.0, "count": 1},
    "Shots": {"wait": 0.0},
    "Joints": {
        "gap_tolerance": 0.0,
        "coverage": 1.0,
        "extra": 0.0,
        "dots": 1,
        "contact_resistance": 0.0,
        "count": 1,
    },
    "Stations": {
        "meter": "",
        "meter_tolerance": 0.0,
        "start_time": 0.0,
        "handling_time": 0.0,
        "mixer_volume": 0.0,
        "rule": "purge",
        "purge_share": 0.5,
        "purge_volume": 0.0,
        "purge_time": 0.0,
        "mixer_time": 0.0,
        "container_time": 0.0,
        "start_volume": 0.0,
        "end_volume": 0.0,
        "hose_a": 0.0,
        "hose_b": 0.0,
        "checks": 0.0,
        "scrap": 0.0,
        "uptime": 1.0,
        "shop_temperature": 23.0,
        "record": "",
        "humidity": 0.5,
        "treatment_lead": 0.0,
        "mating_delay": 0.0,
        "batch": 10,
        "refill": "between parts",
        "after_run": "throw away",
        "idle": "cheaper",
        "nozzles": 1,
    },
    "Ovens": {"lag_fast": 0.0, "lag_slow": 0.0, "start_temperature": 23.0},
}

OPTIONAL: dict[str, tuple[str, ...]] = {
    "Materials": (
        "ratio_b",
        "consistency",
        "viscosity_energy",
        "pot_life",
        "pot_life_mass",
        "pot_life_2",
        "pot_life_temperature_2",
        "activation_energy",
        "open_time",
        "surface_window",
        "move_time",
        "join_time",
        "test_time",
        "rate_1",
        "energy_1",
        "rate_2",
        "energy_2",
        "order_m",
        "order_n",
        "heat",
        "specific_heat",
        "conductivity",
        "moisture_coefficient",
        "moisture_energy",
        "dose",
        "dose_limit",
    ),
    "Components": ("open_life", "price"),
    "Beads": (
        "height",
        "contact_angle",
        "length",
        "run",
        "gap",
        "bond_line",
        "flange_width",
        "press_force",
        "open_edges",
    ),
    "Pots": ("width", "cell_diameter", "cell_height", "limit", "film", "cell"),
    "Inserts": ("width",),
    "Joints": ("force", "press_time", "start_gap", "resistance_limit"),
    "Stations": (
        "flow",
        "flow_limit",
        "speed",
        "nozzle_bore",
        "nozzle_length",
        "mixer_bore",
        "mixer_length",
        "pressure_limit",
        "check_volume",
        "takt",
        "irradiance",
        "exposure_time",
        "lit_length",
    ),
    "Stock": ("opened", "arrival"),
    "Temperatures": ("humidity",),
    "Ovens": ("hold",),
    "Routes": ("wait", "room"),
    "Builds": ("start", "end"),
}


def _value(cell: Any, unit: str) -> Any:
    if unit and isinstance(cell, str):
        cell = float(Fraction(cell))  # 1/4 under a header in inches
    if unit in {"°C", "°F"}:
        return float(cell) if unit == "°C" else (cell - 32.0) / 1.8
    return cell * FACTORS[unit] if unit else cell


def clock(text: str) -> float:
    """25:30 in seconds after midnight."""
    hours, minutes = text.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0


def records(name: str, table: tuple[list[str], list[list[Any]]]) -> list[SimpleNamespace]:
    """The rows of one table."""
    heads, rows = table
    found = []
    for row in rows:
        item: dict[str, Any] = dict.fromkeys(OPTIONAL.get(name, ()))
        item |= DEFAULTS.get(name, {})
        for head, cell in zip(heads, row, strict=True):
            if cell is None:
                continue
            label, _, unit = head.partition(" [")
            key = label.lower().replace(" ", "_")
            item[key] = _value(cell, unit.rstrip("]"))
        found.append(SimpleNamespace(**item))
    return found


class Plant:
    """Records of a golden plan by table, and a few look-ups."""

    def __init__(self, tables: dict[str, tuple[list[str], list[list[Any]]]]):
        self.settings = {row[0]: row[1] for row in tables["Settings"][1]}
        for name in (
            "Materials",
            "Components",
            "Parts",
            "Assemblies",
            "Beads",
            "Paths",
            "Pots",
            "Inserts",
            "Shots",
            "Joints",
            "Stations",
            "Temperatures",
            "Profiles",
            "Ovens",
            "Routes",
            "Shifts",
            "Breaks",
            "Builds",
            "Stock",
        ):
            setattr(self, name.lower(), records(name, tables[name]) if name in tables else [])

    materials: list[Any]
    components: list[Any]
    parts: list[Any]
    assemblies: list[Any]
    beads: list[Any]
    paths: list[Any]
    pots: list[Any]
    inserts: list[Any]
    shots: list[Any]
    joints: list[Any]
    stations: list[Any]
    temperatures: list[Any]
    profiles: list[Any]
    ovens: list[Any]
    routes: list[Any]
    shifts: list[Any]
    breaks: list[Any]
    builds: list[Any]
    stock: list[Any]

    def material(self, name: str) -> Any:
        """The material of a name."""
        return next(row for row in self.materials if row.material == name)

    def parts_of(self, material: str) -> dict[str, Any]:
        """Components of a material by letter."""
        return {row.component: row for row in self.components if row.material == material}

    def builds_of(self, day: datetime.date, shift: str) -> dict[str, int]:
        """Good parts of a shift, packs taken apart."""
        found: dict[str, int] = {}

        def add(name: str, count: int) -> None:
            inside = [row for row in self.assemblies if row.assembly == name]
            for row in inside:
                add(row.part, count * row.count)
            if not inside:
                found[name] = found.get(name, 0) + count

        for row in self.builds:
            if (row.date, row.shift) == (day, shift):
                add(row.part, row.quantity)
        return found

    def days(self) -> list[tuple[datetime.date, str]]:
        """Dates and shifts with builds, in order of time."""
        starts = {row.shift: clock(row.start) for row in self.shifts}
        return sorted(
            {(row.date, row.shift) for row in self.builds}, key=lambda key: (key[0], starts[key[1]])
        )
