"""The demo plant: an invented maker of 48 V battery modules and motor-drive boxes for harbour tugs.

Plain data in shop units, by field name, as `write_plan` takes it. Plant, products and materials are
invented; the materials' figures are of the order that such materials have, and of no real one.
"""

from __future__ import annotations

import datetime
from math import sqrt
from typing import Any

Row = dict[str, Any]

__all__ = ["DEMO", "FIRST_DAY"]

FIRST_DAY = datetime.date(2026, 3, 2)  # a Monday
INVENTED = "invented for the demo"

SETTINGS: list[Row] = [
    {
        "plant": "Tern & Oakum Works (invented)", "line": "Harbour line 1",
        "prepared_by": "Process engineering", "currency": "EUR", "service_level": 0.95,
        "order_cost": 45.0, "holding_rate": 0.2, "demand_spread": 0.08, "temperature_spread": 2.0,
    }
]  # fmt: skip

MATERIALS: list[Row] = [
    {
        "material": "Ternhem 21", "description": f"structural epoxy paste, {INVENTED}",
        "kind": "two-part", "ratio_a": 2.0, "ratio_b": 1.0, "ratio_basis": "volume",
        "consistency": 60.0, "index": 0.6, "yield_stress": 100.0, "viscosity_temperature": 23.0,
        "viscosity_energy": 45.0, "pot_life": 45.0, "pot_life_temperature": 23.0,
        "pot_life_mass": 100.0, "pot_life_source": "doubling of viscosity, 100 g",
        "pot_life_2": 22.0, "pot_life_temperature_2": 33.0, "open_time": 60.0,
        "surface_treatment": "degrease and wipe", "surface_window": 240.0, "cure": "room",
        "cure_temperature": 23.0, "move_time": 240.0, "join_time": 480.0, "test_time": 4320.0,
        "heat": 190.0, "specific_heat": 1.4, "conductivity": 0.3, "shrinkage": 0.02,
        "glass_uncured": -35.0, "glass_cured": 78.0, "glass_lambda": 0.42, "gel_degree": 0.6,
        "full_degree": 0.95,
        "cautions": "part B holds amines: burns and sensitizes skin; gloves and eye protection",
        "source": f"data sheet, edition 2, {INVENTED}",
    },
    {
        "material": "Terncover 4", "description": f"fast two-part sealant, {INVENTED}",
        "kind": "two-part", "ratio_a": 10.0, "ratio_b": 1.0, "ratio_basis": "volume",
        "consistency": 150.0, "index": 0.5, "yield_stress": 180.0, "viscosity_temperature": 23.0,
        "pot_life": 12.0, "pot_life_temperature": 23.0, "pot_life_mass": 50.0,
        "pot_life_source": "end of smooth thread, 50 g", "halving_step": 10.0, "open_time": 15.0,
        "surface_treatment": "dry wipe", "surface_window": 480.0, "cure": "room",
        "cure_temperature": 23.0, "move_time": 30.0, "join_time": 90.0, "test_time": 1440.0,
        "shrinkage": 0.03,
        "cautions": "part B holds isocyanates: sensitizes the lungs; extraction",
        "source": f"data sheet, edition 1, {INVENTED}",
    },
    {
        "material": "Terncool 30", "description": f"thermal paste that does not cure, {INVENTED}",
        "kind": "one-part", "consistency": 90.0, "index": 0.6, "yield_stress": 60.0,
        "viscosity_temperature": 23.0, "cure": "room", "specific_heat": 1.0, "conductivity": 3.0,
        "cautions": "keep off electrical contacts and skin",
        "source": f"data sheet, edition 3, {INVENTED}",
    },
    {
        "material": "Ternfloat 06",
        "description": f"potting compound with hollow spheres, {INVENTED}",
        "kind": "two-part", "ratio_a": 1.0, "ratio_b": 1.0, "ratio_basis": "volume",
        "consistency": 6.0, "index": 0.95, "yield_stress": 0.0, "viscosity_temperature": 23.0,
        "viscosity_energy": 35.0, "pot_life": 25.0, "pot_life_temperature": 23.0,
        "pot_life_mass": 100.0, "pot_life_source": "gel timer, 100 g", "activation_energy": 55.0,
        "cure": "room", "cure_temperature": 23.0, "move_time": 120.0, "join_time": 240.0,
        "test_time": 1440.0, "rate_1": 2.0e7, "energy_1": 55.0, "rate_2": 1.0e8,
        "energy_2": 55.0, "order_m": 0.6, "order_n": 1.4, "heat": 55.0, "specific_heat": 1.4,
        "conductivity": 0.15, "shrinkage": 0.015, "glass_uncured": -60.0, "glass_cured": -30.0,
        "glass_lambda": 0.5, "gel_degree": 0.65, "full_degree": 0.95,
        "cautions": "part B holds isocyanates: extraction; curing gives off heat: prove the shot "
                    "away from cells; do not pour on charged modules",
        "source": f"data sheet, edition 4, {INVENTED}",
    },
    {
        "material": "Ternbake 11", "description": f"heat-cured one-part epoxy, {INVENTED}",
        "kind": "one-part", "consistency": 45.0, "index": 0.7, "yield_stress": 40.0,
        "viscosity_temperature": 23.0, "activation_energy": 75.0, "cure": "oven",
        "cure_temperature": 150.0, "move_time": 12.0, "join_time": 15.0, "test_time": 20.0,
        "rate_1": 4.0e8, "energy_1": 75.0, "order_n": 1.2, "heat": 260.0, "specific_heat": 1.3,
        "conductivity": 0.4, "shrinkage": 0.02, "glass_uncured": -15.0, "glass_cured": 135.0,
        "glass_lambda": 0.4, "full_degree": 0.95,
        "cautions": "hot parts and oven burn; curing vapours need extraction",
        "source": f"data sheet, edition 2, {INVENTED}",
    },
    {
        "material": "Ternseal 7", "description": f"moisture-cured sealant, {INVENTED}",
        "kind": "one-part", "consistency": 210.0, "index": 0.45, "yield_stress": 300.0,
        "viscosity_temperature": 23.0, "pot_life_temperature": 23.0, "open_time": 20.0,
        "halving_step": 10.0, "surface_treatment": "plasma", "surface_window": 90.0,
        "cure": "moisture", "cure_temperature": 23.0, "move_time": 60.0, "join_time": 720.0,
        "shrinkage": 0.03, "moisture_coefficient": 0.6, "moisture_humidity": 0.5,
        "cautions": "gives off a little alcohol in cure; extraction in closed boxes",
        "source": f"data sheet, edition 5, {INVENTED}",
    },
    {
        "material": "Ternlite 2", "description": f"light-cured dot, {INVENTED}",
        "kind": "one-part", "consistency": 12.0, "index": 0.9, "yield_stress": 10.0,
        "viscosity_temperature": 23.0, "cure": "light", "shrinkage": 0.04, "dose": 3.0,
        "cautions": "lamp harms eyes and skin: shields closed; acrylates sensitize skin",
        "source": f"data sheet, edition 1, {INVENTED}",
    },
]  # fmt: skip


def _component(material: str, component: str, density: float, container: float, heel: float,
               shelf_life: float, open_life: float | None, lead_time: float, minimum: int,
               price: float, low: float = 5.0, high: float = 25.0) -> Row:  # fmt: skip
    return {
        "material": material, "component": component, "density": density, "container": container,
        "heel": heel, "shelf_life": shelf_life, "open_life": open_life, "storage_low": low,
        "storage_high": high, "lead_time": lead_time, "lead_time_spread": round(lead_time / 5, 1),
        "minimum_order": minimum, "price": price,
    }  # fmt: skip


COMPONENTS: list[Row] = [
    _component("Ternhem 21", "a", 1.25, 620.0, 0.03, 365.0, 30.0, 10.0, 6, 38.0),
    _component("Ternhem 21", "b", 1.12, 310.0, 0.03, 365.0, 30.0, 10.0, 6, 29.0),
    _component("Terncover 4", "a", 1.32, 20000.0, 0.02, 270.0, 90.0, 15.0, 1, 310.0),
    _component("Terncover 4", "b", 1.15, 2000.0, 0.03, 180.0, 30.0, 15.0, 1, 74.0),
    _component("Terncool 30", "a", 2.90, 10000.0, 0.04, 365.0, 180.0, 20.0, 1, 640.0),
    _component("Ternfloat 06", "a", 0.64, 200000.0, 0.02, 180.0, 60.0, 25.0, 1, 1150.0),
    _component("Ternfloat 06", "b", 0.60, 200000.0, 0.02, 150.0, 30.0, 25.0, 1, 1320.0),
    _component("Ternbake 11", "a", 1.40, 300.0, 0.03, 180.0, 14.0, 12.0, 10, 26.0, 2.0, 8.0),
    _component("Ternseal 7", "a", 1.45, 20000.0, 0.03, 270.0, 60.0, 14.0, 1, 265.0),
    _component("Ternlite 2", "a", 1.08, 30.0, 0.03, 365.0, 60.0, 10.0, 10, 19.0),
]

PARTS: list[Row] = [
    {"part": "Block", "description": "432 round cells in a tray", "drawing": "TO-4320 rev C"},
    {"part": "Module plate", "description": "cooling plate of a module", "drawing": "TO-4811 rev B"},
    {"part": "Module cover", "description": "cover of a module", "drawing": "TO-4812 rev B"},
    {"part": "Drive lid", "description": "hemmed lid of the motor-drive box",
     "drawing": "TO-7102 rev D"},
    {"part": "Drive housing", "description": "cast housing of the motor-drive box",
     "drawing": "TO-7101 rev F"},
    {"part": "Busbar carrier", "description": "carrier bonded before the oven",
     "drawing": "TO-7140 rev A"},
]  # fmt: skip

ASSEMBLIES: list[Row] = [
    {"assembly": assembly, "part": part, "count": count}
    for assembly, part, count in (
        ("Tug pack 9", "Module", 9),
        ("Tug pack 7", "Module", 7),
        ("Module", "Block", 2),
        ("Module", "Module plate", 1),
        ("Module", "Module cover", 1),
        ("Drive box", "Drive lid", 1),
        ("Drive box", "Drive housing", 1),
        ("Drive box", "Busbar carrier", 1),
    )
]


def _rounded_rectangle(path: str, length: float, width: float, radius: float) -> list[Row]:
    """A rectangle with rounded corners, counter-clockwise from the end of the first corner."""
    cut = radius * (1.0 - 1.0 / sqrt(2.0))  # from the sharp corner to the middle of the arc
    x, y, r = length, width, radius
    points = [
        (r, 0, "line"), (x - r, 0, "line"), (x - cut, cut, "arc"), (x, r, "line"),
        (x, y - r, "line"), (x - cut, y - cut, "arc"), (x - r, y, "line"), (r, y, "line"),
        (cut, y - cut, "arc"), (0, y - r, "line"), (0, r, "line"), (cut, cut, "arc"),
        (r, 0, "line"),
    ]  # fmt: skip
    return [
        {"path": path, "x": round(a, 4), "y": round(b, 4), "z": 0.0, "motion": motion}
        for a, b, motion in points
    ]


PATHS: list[Row] = [
    *_rounded_rectangle("Lid hem", 380.0, 280.0, 30.0),
    *_rounded_rectangle("Housing flange", 372.0, 272.0, 26.0),
]

BEADS: list[Row] = [
    {
        "bead": "Hem bead", "part": "Drive lid", "station": "Hem robot", "section": "round",
        "width": 2.0, "width_tolerance": 0.1, "path": "Lid hem", "length_tolerance": 5.0,
        "bond_line": 0.25, "flange_width": 15.0, "press_force": 12.0,
    },
    {
        "bead": "Cover seal", "part": "Module cover", "station": "Cover sealer",
        "section": "half-round", "width": 6.0, "width_tolerance": 0.4, "height": 4.0,
        "height_tolerance": 0.3, "length": 1560.0, "length_tolerance": 6.0, "run": 40.0,
        "gap": 20.0, "bond_line": 1.5, "flange_width": 18.0,
    },
    {
        "bead": "Flange gasket", "part": "Drive housing", "station": "Gasket robot",
        "section": "half-round", "width": 4.5, "width_tolerance": 0.3, "height": 3.0,
        "height_tolerance": 0.2, "path": "Housing flange", "length_tolerance": 4.0,
        "bond_line": 1.0, "flange_width": 12.0,
    },
    {
        "bead": "Carrier bead", "part": "Busbar carrier", "station": "Carrier bead",
        "section": "round", "width": 3.0, "width_tolerance": 0.15, "length": 220.0,
        "length_tolerance": 2.0, "count": 2, "bond_line": 0.6, "flange_width": 14.0,
    },
    {
        "bead": "Lead dot", "part": "Drive housing", "station": "Dot station",
        "section": "segment", "width": 5.0, "width_tolerance": 0.3, "height": 1.5,
        "height_tolerance": 0.2, "length": 6.0, "length_tolerance": 0.5, "count": 4,
    },
]  # fmt: skip

POTS: list[Row] = [
    {
        "pot": "Cell bed", "part": "Block", "station": "Block potting", "shape": "tray",
        "length": 470.0, "length_tolerance": 0.5, "width": 320.0, "width_tolerance": 0.5,
        "draft": 1.0, "depth": 70.0, "level": 30.0, "level_tolerance": 0.5, "cells": 432,
        "cell": "18650", "cell_diameter": 18.4, "cell_diameter_tolerance": 0.05,
        "cell_base": 2.0, "unfilled": 0.02, "extra": 5.0, "limit": 60.0, "film": 8.0,
    }
]  # fmt: skip

INSERTS: list[Row] = [
    {"part": "Block", "pot": "Cell bed", "insert": "Busbar post", "shape": "cylinder",
     "length": 12.0, "height": 62.0, "base": 0.0, "count": 4},
    {"part": "Block", "pot": "Cell bed", "insert": "Sensor bracket", "shape": "box",
     "length": 20.0, "width": 10.0, "height": 25.0, "base": 12.0, "count": 2},
]  # fmt: skip

SHOTS: list[Row] = [
    {"part": "Block", "pot": "Cell bed", "shot": 1, "portion": 0.5, "wait": 0.0},
    {"part": "Block", "pot": "Cell bed", "shot": 2, "portion": 0.5, "wait": 45.0},
]

JOINTS: list[Row] = [
    {
        "joint": "Module paste", "part": "Module plate", "station": "Plate paste",
        "length": 480.0, "width": 330.0, "gap": 0.5, "gap_tolerance": 0.1, "coverage": 0.95,
        "extra": 0.05, "force": 3000.0, "press_time": 40.0, "start_gap": 4.0, "dots": 30,
        "resistance_limit": 0.002, "contact_resistance": 12.0,
    },
    {
        "joint": "Bridge paste", "part": "Drive housing", "station": "Plate paste",
        "length": 140.0, "width": 90.0, "gap": 0.3, "gap_tolerance": 0.05, "coverage": 1.0,
        "extra": 0.05, "force": 900.0, "press_time": 20.0, "start_gap": 3.0, "dots": 8,
        "resistance_limit": 0.02, "contact_resistance": 12.0,
    },
]  # fmt: skip

STATIONS: list[Row] = [
    {
        "station": "Hem robot", "material": "Ternhem 21", "meter": "twin piston meter",
        "flow": 0.5, "flow_limit": 3.0, "meter_tolerance": 0.02, "speed": 150.0, "start_time": 0.4,
        "handling_time": 45.0, "nozzle_bore": 1.8, "nozzle_length": 25.0, "mixer_bore": 9.4,
        "mixer_length": 180.0, "mixer_volume": 9.0, "pressure_limit": 80.0,
        "rule": "change mixer", "purge_share": 0.5, "mixer_time": 120.0, "container_time": 180.0,
        "start_volume": 6.0, "end_volume": 0.0, "hose_a": 60.0, "hose_b": 30.0, "checks": 1.0,
        "scrap": 0.01, "uptime": 0.95, "record": "Hall", "humidity": 0.5, "treatment_lead": 30.0,
        "mating_delay": 4.0, "batch": 20,
    },
    {
        "station": "Cover sealer", "material": "Terncover 4", "meter": "gear meter",
        "flow": 1.5, "flow_limit": 6.0, "meter_tolerance": 0.03, "speed": 80.0, "start_time": 0.3,
        "handling_time": 60.0, "nozzle_bore": 3.0, "nozzle_length": 20.0, "mixer_bore": 10.0,
        "mixer_length": 200.0, "mixer_volume": 14.0, "pressure_limit": 120.0, "rule": "purge",
        "purge_share": 0.6, "purge_volume": 20.0, "purge_time": 20.0, "mixer_time": 150.0,
        "container_time": 300.0, "start_volume": 25.0, "end_volume": 10.0, "hose_a": 450.0,
        "hose_b": 80.0, "checks": 1.0, "takt": 240.0, "uptime": 0.95, "record": "Hall",
        "humidity": 0.5, "treatment_lead": 20.0, "mating_delay": 4.0, "batch": 9,
    },
    {
        "station": "Gasket robot", "material": "Ternseal 7", "meter": "single piston meter",
        "flow": 1.0, "flow_limit": 8.0, "meter_tolerance": 0.02, "speed": 90.0, "start_time": 0.3,
        "handling_time": 40.0, "nozzle_bore": 2.8, "nozzle_length": 25.0, "pressure_limit": 150.0,
        "container_time": 420.0, "start_volume": 15.0, "hose_a": 900.0, "checks": 1.0,
        "scrap": 0.01, "uptime": 0.95, "record": "Hall", "humidity": 0.45, "treatment_lead": 10.0,
        "mating_delay": 3.0, "batch": 20,
    },
    {
        "station": "Plate paste", "material": "Terncool 30", "meter": "single piston meter",
        "flow": 3.0, "flow_limit": 10.0, "meter_tolerance": 0.02, "start_time": 0.2,
        "handling_time": 35.0, "nozzle_bore": 3.2, "nozzle_length": 30.0, "pressure_limit": 120.0,
        "container_time": 420.0, "start_volume": 20.0, "hose_a": 600.0, "checks": 1.0,
        "check_volume": 10.0, "uptime": 0.95, "record": "Hall", "humidity": 0.5, "batch": 16,
    },
    {
        "station": "Block potting", "material": "Ternfloat 06", "meter": "gear meter",
        "flow": 15.0, "flow_limit": 30.0, "meter_tolerance": 0.01, "start_time": 1.0,
        "handling_time": 50.0, "nozzle_bore": 8.0, "nozzle_length": 60.0, "mixer_bore": 16.0,
        "mixer_length": 420.0, "mixer_volume": 95.0, "pressure_limit": 40.0, "rule": "purge",
        "purge_share": 0.6, "purge_volume": 110.0, "purge_time": 10.0, "mixer_time": 240.0,
        "container_time": 900.0, "start_volume": 150.0, "end_volume": 60.0, "hose_a": 1800.0,
        "hose_b": 1800.0, "checks": 1.0, "check_volume": 50.0, "scrap": 0.01, "takt": 690.0,
        "uptime": 0.95, "record": "Hall", "humidity": 0.5, "batch": 6,
    },
    {
        "station": "Carrier bead", "material": "Ternbake 11", "meter": "cartridge, servo plunger",
        "flow": 0.6, "flow_limit": 2.0, "meter_tolerance": 0.02, "speed": 80.0, "start_time": 0.4,
        "handling_time": 25.0, "nozzle_bore": 1.8, "nozzle_length": 20.0, "pressure_limit": 80.0,
        "container_time": 120.0, "start_volume": 3.0, "hose_a": 12.0, "checks": 1.0, "scrap": 0.01,
        "uptime": 0.95, "record": "Hall", "humidity": 0.5, "batch": 24,
    },
    {
        "station": "Dot station", "material": "Ternlite 2", "meter": "syringe, timed air",
        "flow": 0.05, "flow_limit": 0.5, "meter_tolerance": 0.05, "speed": 8.0, "start_time": 0.3,
        "handling_time": 20.0, "nozzle_bore": 0.84, "nozzle_length": 13.0, "pressure_limit": 6.0,
        "container_time": 60.0, "start_volume": 0.5, "hose_a": 0.5, "checks": 1.0, "scrap": 0.01,
        "uptime": 0.95, "record": "Hall", "humidity": 0.5, "batch": 40,
    },
]  # fmt: skip

TEMPERATURES: list[Row] = [
    {"record": "Hall", "time": time, "temperature": temperature}
    for time, temperature in (
        ("00:00", 20.0), ("06:00", 19.0), ("09:00", 21.5), ("12:00", 24.5), ("14:00", 28.0),
        ("16:00", 31.0), ("18:00", 28.5), ("20:00", 25.0), ("22:00", 22.5),
    )
]  # fmt: skip

PROFILES: list[Row] = [
    {"profile": "Belt 150", "time": time, "temperature": temperature}
    for time, temperature in ((0.0, 23.0), (6.0, 150.0), (38.0, 150.0), (46.0, 45.0))
]

OVENS: list[Row] = [
    {"part": "Busbar carrier", "station": "Carrier bead", "profile": "Belt 150", "lag_fast": 1.5,
     "lag_slow": 3.0, "start_temperature": 23.0, "pitch": 220.0, "hold": 20.0}
]  # fmt: skip

SHIFTS: list[Row] = [
    {"shift": "Early", "start": "06:00", "end": "14:00"},
    {"shift": "Late", "start": "14:00", "end": "22:00"},
]

BREAKS: list[Row] = [
    {"shift": "Early", "start": "08:00", "end": "08:10"},
    {"shift": "Early", "start": "10:30", "end": "11:00"},
    {"shift": "Late", "start": "16:00", "end": "16:10"},
    {"shift": "Late", "start": "18:00", "end": "18:30"},
]


def _builds() -> list[Row]:
    """Two weeks of five days: packs and drive boxes, fewer on Friday afternoon."""
    early = (118, 120, 122, 120, 116)
    late = (108, 110, 110, 108, 90)
    rows = []
    for day in range(10):
        week, weekday = divmod(day, 5)
        date = FIRST_DAY + datetime.timedelta(days=7 * week + weekday)
        rows += [
            {"date": date, "shift": "Early", "part": "Tug pack 9", "quantity": 1},
            {"date": date, "shift": "Early", "part": "Tug pack 7", "quantity": 1},
            {"date": date, "shift": "Early", "part": "Drive box", "quantity": early[weekday]},
            {"date": date, "shift": "Late", "part": "Tug pack 9", "quantity": 1},
            {"date": date, "shift": "Late", "part": "Drive box", "quantity": late[weekday]},
        ]
    return rows


BUILDS: list[Row] = _builds()


def _lot(material: str, component: str, lot: str, quantity: float, expiry: tuple[int, int, int],
         opened: tuple[int, int, int] | None = None,
         arrival: tuple[int, int, int] | None = None) -> Row:  # fmt: skip
    return {
        "material": material, "component": component, "lot": lot, "quantity": quantity,
        "expiry": datetime.date(*expiry),
        "opened": datetime.date(*opened) if opened else None,
        "arrival": datetime.date(*arrival) if arrival else None,
    }


STOCK: list[Row] = [
    _lot("Ternhem 21", "a", "HA-0911", 7440.0, (2026, 3, 10)),  # runs out in the second week
    _lot("Ternhem 21", "a", "HA-1204", 11160.0, (2026, 10, 31)),
    _lot("Ternhem 21", "b", "HB-0830", 3720.0, (2026, 8, 31)),
    _lot("Ternhem 21", "b", "HB-1115", 5580.0, (2026, 11, 30)),
    _lot("Terncover 4", "a", "CA-0702", 13000.0, (2026, 7, 31), opened=(2026, 2, 16)),
    _lot("Terncover 4", "a", "CA-0755", 20000.0, (2026, 9, 30)),
    _lot("Terncover 4", "b", "CB-0318", 4000.0, (2026, 6, 30)),
    _lot("Terncool 30", "a", "TP-2201", 20000.0, (2026, 12, 31)),
    _lot("Terncool 30", "a", "TP-2260", 30000.0, (2027, 2, 28), arrival=(2026, 3, 6)),
    _lot("Ternfloat 06", "a", "FA-0418", 200000.0, (2026, 5, 31)),
    _lot("Ternfloat 06", "a", "FA-0423", 400000.0, (2026, 7, 15)),
    _lot("Ternfloat 06", "b", "FB-0396", 200000.0, (2026, 4, 30)),
    _lot("Ternfloat 06", "b", "FB-0402", 400000.0, (2026, 6, 15)),
    _lot("Ternbake 11", "a", "BK-0551", 4500.0, (2026, 3, 31)),
    _lot("Ternbake 11", "a", "BK-0560", 6000.0, (2026, 6, 30)),
    _lot("Ternseal 7", "a", "SL-1010", 20000.0, (2026, 8, 31)),
    _lot("Ternseal 7", "a", "SL-1022", 40000.0, (2026, 11, 30)),
    _lot("Ternlite 2", "a", "UV-0077", 600.0, (2026, 12, 31)),
]

DEMO: dict[str, list[Row]] = {
    "Settings": SETTINGS, "Materials": MATERIALS, "Components": COMPONENTS, "Parts": PARTS,
    "Assemblies": ASSEMBLIES, "Beads": BEADS, "Paths": PATHS, "Pots": POTS, "Inserts": INSERTS,
    "Shots": SHOTS, "Joints": JOINTS, "Stations": STATIONS, "Temperatures": TEMPERATURES,
    "Profiles": PROFILES, "Ovens": OVENS, "Shifts": SHIFTS, "Breaks": BREAKS, "Builds": BUILDS,
    "Stock": STOCK,
}  # fmt: skip
