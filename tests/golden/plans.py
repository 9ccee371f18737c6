"""Two invented plants at awkward values, as tables of a plan workbook, written with openpyxl.

Nothing here is a product, a price or a place that exists. The first plant pours 48 V battery modules
of harbour tugs on a night shift; the second glues and pastes the motor-drive boxes, and its tables are
in inches and degrees Fahrenheit.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import openpyxl

Table = tuple[list[str], list[list[Any]]]  # headers with units, rows

_D = datetime.date




def _table(headers: str, *rows: list[Any]) -> Table:
    heads = [head.strip() for head in headers.split("|")]
    for row in rows:
        assert len(row) == len(heads), (heads, row)
    return heads, [list(row) for row in rows]


def _turned(*records: dict[str, Any]) -> Table:
    """A table from records whose keys are the headers as printed."""
    heads: list[str] = []
    for record in records:
        heads += [head for head in record if head not in heads]
    return heads, [[record.get(head) for head in heads] for record in records]


# ----------------------------------------------------------------------------- plan 1: tug battery

BATTERY: dict[str, Table] = {
    "Settings": _table(
        "Setting | Value",
        ["Plant", "Quay works, hall 4"], ["Line", "Tug battery 48 V"],
        ["Prepared by", "Planning desk"], ["Currency", "crowns"],
    ),
    "Materials": _turned(
        {
            "Material": "grey potting resin", "Description": "filled two-part resin for cell wells",
            "Kind": "two-part", "Ratio A": 100, "Ratio B": 45, "Ratio basis": "mass",
            "Consistency [mPa·s]": 2350, "Viscosity temperature [°C]": 25,
            "Viscosity energy [kJ/mol]": 42.5, "Pot life [min]": 47, "Pot life temperature [°C]": 25,
            "Pot life mass [g]": 100, "Pot life source": "cup of 100 g",
            "Pot life 2 [min]": 21.5, "Pot life temperature 2 [°C]": 40,
            "Cure": "room", "Cure temperature [°C]": 25, "Move time [h]": 6.5, "Join time [h]": 13,
            "Test time [h]": 73, "Rate 1 [1/min]": 41000, "Energy 1 [kJ/mol]": 47.5,
            "Rate 2 [1/min]": 1.9e6, "Energy 2 [kJ/mol]": 49.5, "Order m": 0.7, "Order n": 1.6,
            "Heat [J/g]": 212, "Specific heat [J/(g·K)]": 1.43, "Conductivity [W/(m·K)]": 0.31,
            "Shrinkage": 0.013, "Cautions": "hardener burns skin",
            "Source": "sheet of the mixing room, edition 3",
        },
        {
            "Material": "white sea sealant", "Description": "moisture-curing sealant",
            "Kind": "one-part", "Consistency [mPa·s]": 96000, "Index": 0.46, "Yield stress [Pa]": 155,
            "Viscosity temperature [°C]": 20, "Open time [min]": 23, "Pot life temperature [°C]": 24,
            "Halving step [K]": 11, "Surface treatment": "wiped with cleaner",
            "Surface window [min]": 64, "Cure": "moisture", "Cure temperature [°C]": 23,
            "Move time [h]": 1.25, "Join time [h]": 9.5, "Test time [h]": 61,
            "Moisture coefficient [mm/√h]": 0.57, "Moisture humidity [%]": 55,
        },
        {
            "Material": "clear light resin", "Description": "light-curing resin", "Kind": "one-part",
            "Consistency [mPa·s]": 1240, "Viscosity temperature [°C]": 23,
            "Viscosity energy [kJ/mol]": 38.0, "Cure": "light", "Move time [h]": 0.05,
            "Dose [J/cm²]": 3.4,
        },
    ),
    "Components": _turned(
        {"Material": "grey potting resin", "Component": "a", "Density [g/mL]": 1.463,
         "Container [mL]": 4800, "Heel": 0.035, "Open life [d]": 1.5},
        {"Material": "grey potting resin", "Component": "b", "Density [g/mL]": 1.087,
         "Container [mL]": 1950, "Heel": 0.06},
        {"Material": "white sea sealant", "Component": "a", "Density [g/mL]": 1.372,
         "Container [mL]": 587, "Heel": 0.045, "Open life [d]": 5},
        {"Material": "clear light resin", "Component": "a", "Density [g/mL]": 1.06,
         "Container [mL]": 29, "Heel": 0.08},
    ),
    "Parts": _table("Part | Description", ["module", "cell module 48 V"], ["junction", "cable junction"],
                    ["lid", "lid of the pack"], ["rim", "rim of the pack"], ["post", "earth post"]),
    "Assemblies": _table("Assembly | Part | Count",
                         ["pack", "module", 3], ["pack", "junction", 2], ["pack", "lid", 1],
                         ["hull kit", "rim", 1], ["hull kit", "post", 2]),
    "Beads": _turned(
        {"Bead": "lid cord", "Part": "lid", "Station": "seal rail", "Section": "round",
         "Width [mm]": 4.6, "Width tolerance [mm]": 0.22, "Length [mm]": 812,
         "Length tolerance [mm]": 6.5},
        {"Bead": "drip stitch", "Part": "lid", "Station": "lamp spot", "Section": "half-round",
         "Width [mm]": 2.9, "Width tolerance [mm]": 0.13, "Height [mm]": 1.7,
         "Height tolerance [mm]": 0.11, "Length [mm]": 377, "Length tolerance [mm]": 3,
         "Run [mm]": 23, "Gap [mm]": 14},
        {"Bead": "flange", "Part": "rim", "Station": "seal rail", "Section": "triangle",
         "Width [mm]": 6.3, "Width tolerance [mm]": 0.3, "Height [mm]": 7.2,
         "Height tolerance [mm]": 0.4, "Path": "rim outline", "Closed": True,
         "Length tolerance [mm]": 4, "Bond line [mm]": 2.6, "Flange width [mm]": 9},
        {"Bead": "foot", "Part": "post", "Station": "seal rail", "Section": "segment",
         "Width [mm]": 7.4, "Width tolerance [mm]": 0.35, "Contact angle [deg]": 71,
         "Length [mm]": 133, "Length tolerance [mm]": 2, "Count": 3},
    ),
    "Paths": _table(
        "Path | X [mm] | Y [mm] | Motion",
        ["rim outline", 0, 0, "line"], ["rim outline", 310, 0, "line"],
        ["rim outline", 335.35533906, 10.0, "arc"], ["rim outline", 345, 34, "line"],
        ["rim outline", 345, 171, "line"], ["rim outline", 325, 171, "travel"],
        ["rim outline", 0, 171, "line"],
    ),
    "Pots": _turned(
        {"Pot": "well", "Part": "module", "Station": "pot fill", "Shape": "tray", "Length [mm]": 186,
         "Length tolerance [mm]": 0.45, "Width [mm]": 121, "Width tolerance [mm]": 0.35,
         "Draft [deg]": 1.5, "Depth [mm]": 41, "Level [mm]": 33.5, "Level tolerance [mm]": 0.6,
         "Cells": 24, "Cell": "21700", "Cell diameter [mm]": 21.35,
         "Cell diameter tolerance [mm]": 0.05, "Cell base [mm]": 3.2,
         "Unfilled": 0.012, "Extra [mL]": 2.4, "Limit [°C]": 60, "Film [W/(m²·K)]": 8.5},
        {"Pot": "cable cup", "Part": "junction", "Station": "pot fill", "Shape": "cylinder",
         "Length [mm]": 37, "Length tolerance [mm]": 0.25, "Depth [mm]": 22, "Level [mm]": 16.5,
         "Level tolerance [mm]": 0.7, "Limit [°C]": 95, "Count": 2},
    ),
    "Inserts": _turned(
        {"Part": "module", "Pot": "well", "Insert": "bus bar", "Shape": "box", "Length [mm]": 40,
         "Width [mm]": 12, "Height [mm]": 14, "Base [mm]": 2, "Count": 2},
        {"Part": "module", "Pot": "well", "Insert": "stud", "Shape": "cylinder", "Length [mm]": 9,
         "Height [mm]": 44, "Base [mm]": 5, "Count": 3},
    ),
    "Shots": _table("Part | Pot | Shot | Portion | Wait [min]",
                    ["module", "well", 1, 0.42, 0], ["module", "well", 2, 0.58, 33]),
    "Stations": _turned(
        {
            "Station": "pot fill", "Material": "grey potting resin", "Meter": "piston pair",
            "Flow [mL/s]": 4.3, "Flow limit [mL/s]": 9, "Meter tolerance": 0.017, "Start time [s]": 1.3,
            "Handling time [s]": 21, "Nozzle bore [mm]": 2.1, "Nozzle length [mm]": 38,
            "Mixer bore [mm]": 8.5, "Mixer length [mm]": 190, "Mixer volume [mL]": 13.7,
            "Pressure limit [bar]": 9, "Rule": "purge", "Purge share": 0.45, "Purge volume [mL]": 19,
            "Purge time [s]": 14, "Mixer time [s]": 210, "Container time [s]": 130,
            "Start volume [mL]": 27, "End volume [mL]": 9, "Hose A [mL]": 61, "Hose B [mL]": 33,
            "Checks [1/h]": 0.7, "Check volume [mL]": 18, "Scrap": 0.06, "Takt [s]": 640,
            "Uptime": 0.9, "Record": "hall", "Humidity": 0.5, "Batch": 4,
        },
        {
            "Station": "seal rail", "Material": "white sea sealant", "Meter": "screw",
            "Flow limit [mL/s]": 2.4, "Meter tolerance": 0.028, "Speed [mm/s]": 62,
            "Start time [s]": 0.8, "Handling time [s]": 16, "Nozzle bore [mm]": 1.6,
            "Nozzle length [mm]": 31, "Pressure limit [bar]": 45, "Start volume [mL]": 6,
            "End volume [mL]": 2, "Hose A [mL]": 43, "Container time [s]": 75, "Checks [1/h]": 1.3,
            "Scrap": 0.03, "Record": "hall", "Humidity": 0.47, "Treatment lead [min]": 37,
            "Mating delay [min]": 9, "Batch": 5,
        },
        {
            "Station": "lamp spot", "Material": "clear light resin", "Meter": "syringe",
            "Meter tolerance": 0.045, "Speed [mm/s]": 35, "Start time [s]": 0.35,
            "Handling time [s]": 12, "Nozzle bore [mm]": 0.58, "Nozzle length [mm]": 12.7,
            "Pressure limit [bar]": 6, "Shop temperature [°C]": 21.5, "Checks [1/h]": 0.5,
            "Check volume [mL]": 0.3, "Takt [s]": 700, "Batch": 3,
        },
    ),
    "Temperatures": _table(
        "Record | Time | Temperature [°C]",
        ["hall", "00:30", 17.5], ["hall", "05:10", 15.5], ["hall", "09:00", 19.5],
        ["hall", "14:40", 31.0], ["hall", "19:15", 27.0],
    ),
    "Shifts": _table("Shift | Start | End", ["day", "06:00", "14:15"], ["night", "22:00", "30:00"]),
    "Breaks": _table("Shift | Start | End", ["day", "09:20", "09:40"], ["day", "12:00", "12:35"],
                     ["night", "25:30", "26:05"], ["night", "28:10", "28:25"]),
    "Builds": _table(
        "Date | Shift | Part | Quantity",
        [_D(2026, 3, 9), "day", "hull kit", 7], [_D(2026, 3, 9), "night", "pack", 6],
        [_D(2026, 3, 10), "night", "pack", 4], [_D(2026, 3, 10), "night", "hull kit", 3],
        [_D(2026, 3, 12), "night", "module", 37],
    ),
    "Stock": _turned(
        {"Material": "grey potting resin", "Component": "a", "Lot": "GA-late", "Quantity [mL]": 14400,
         "Expiry": _D(2026, 9, 30)},
        {"Material": "grey potting resin", "Component": "a", "Lot": "GA-soon", "Quantity [mL]": 6100,
         "Expiry": _D(2026, 3, 30)},
        {"Material": "grey potting resin", "Component": "b", "Lot": "GB-gone", "Quantity [mL]": 900,
         "Expiry": _D(2026, 3, 8)},
        {"Material": "grey potting resin", "Component": "b", "Lot": "GB-one", "Quantity [mL]": 3900,
         "Expiry": _D(2026, 5, 31)},
        {"Material": "grey potting resin", "Component": "b", "Lot": "GB-two", "Quantity [mL]": 1950,
         "Expiry": _D(2026, 4, 15), "Arrival": _D(2026, 3, 10)},
        {"Material": "white sea sealant", "Component": "a", "Lot": "SL-open", "Quantity [mL]": 244,
         "Expiry": _D(2026, 8, 31), "Opened": _D(2026, 3, 6)},
        {"Material": "white sea sealant", "Component": "a", "Lot": "SL-full", "Quantity [mL]": 2348,
         "Expiry": _D(2026, 7, 31)},
        {"Material": "clear light resin", "Component": "a", "Lot": "LR-two", "Quantity [mL]": 58,
         "Expiry": _D(2026, 12, 31)},
    ),
}

# ------------------------------------------------------------------------ plan 2: motor-drive boxes

DRIVE: dict[str, Table] = {
    "Settings": _table(
        "Setting | Value",
        ["Plant", "Quay works, hall 7"], ["Line", "Drive boxes"], ["Prepared by", "Line planning"],
    ),
    "Materials": _turned(
        {
            "Material": "blue structural bond", "Description": "two-part bond, oven cure",
            "Kind": "two-part", "Ratio A": 2, "Ratio B": 0.9, "Ratio basis": "volume",
            "Consistency [Pa·sⁿ]": 41, "Index": 0.68, "Yield stress [Pa]": 62,
            "Viscosity temperature [°F]": 77, "Pot life [h]": 0.55, "Pot life temperature [°F]": 77,
            "Pot life source": "bead of 10 g", "Activation energy [kJ/mol]": 58.5,
            "Open time [min]": 31, "Cure": "oven", "Cure temperature [°F]": 185,
            "Move time [min]": 17, "Join time [min]": 26, "Test time [min]": 55,
        },
        {
            "Material": "silver thermal paste", "Description": "one-part paste under the plate",
            "Kind": "one-part", "Consistency [Pa·sⁿ]": 185, "Viscosity temperature [°F]": 77,
            "Halving step [K]": 12, "Cure": "room", "Cure temperature [°F]": 77,
            "Move time [min]": 95, "Join time [min]": 410, "Test time [min]": 1650,
            "Conductivity [W/(m·K)]": 2.7,
        },
    ),
    "Components": _turned(
        {"Material": "blue structural bond", "Component": "a", "Density [g/mL]": 1.184,
         "Container [mL]": 400, "Heel": 0.05, "Open life [d]": 3},
        {"Material": "blue structural bond", "Component": "b", "Density [g/mL]": 1.029,
         "Container [mL]": 250, "Heel": 0.02},
        {"Material": "silver thermal paste", "Component": "a", "Density [g/mL]": 2.61,
         "Container [mL]": 310, "Heel": 0.07},
    ),
    "Parts": _table("Part | Description", ["housing", "drive housing"], ["cover", "cover of the box"],
                    ["cooler", "cold plate"]),
    "Beads": _turned(
        {"Bead": "hem", "Part": "housing", "Station": "hem arm", "Section": "rectangle",
         "Width [in]": 0.25, "Width tolerance [in]": 0.012, "Height [in]": 0.09,
         "Height tolerance [in]": 0.004, "Path": "hem path", "Run [in]": 1.6, "Gap [in]": 0.35,
         "Length tolerance [in]": 0.15},
        {"Bead": "corner", "Part": "housing", "Station": "corner arm", "Section": "fillet",
         "Width [in]": 0.21, "Width tolerance [in]": 0.011, "Length [in]": 7.3,
         "Length tolerance [in]": 0.1, "Count": 2},
        {"Bead": "edge", "Part": "cover", "Station": "hem arm", "Section": "ellipse",
         "Width [in]": 0.19, "Width tolerance [in]": 0.01, "Height [in]": 0.12,
         "Height tolerance [in]": 0.008, "Length [in]": 31.7, "Length tolerance [in]": 0.2},
    ),
    "Paths": _table(
        "Path | X [in] | Y [in] | Z [in] | Motion",
        ["hem path", 0, 0, 0, "line"], ["hem path", 9.5, 0, 0, "line"],
        ["hem path", 11.5, 2, 0, "arc"], ["hem path", 9.5, 4, 0, "line"],
        ["hem path", 9.5, 4, 1.2, "line"], ["hem path", 1.5, 4, 1.2, "line"],
    ),
    "Joints": _turned(
        {"Joint": "plate", "Part": "cooler", "Station": "paste press", "Length [in]": 3.1,
         "Width [in]": 2.3, "Gap [in]": 0.012, "Gap tolerance [in]": 0.0025, "Coverage": 0.93,
         "Extra": 0.04, "Force [N]": 260, "Press time [s]": 16, "Start gap [in]": 0.12, "Dots": 4,
         "Resistance limit [K/W]": 0.034, "Contact resistance [K·mm²/W]": 9},
    ),
    "Stations": _turned(
        {
            "Station": "hem arm", "Material": "blue structural bond", "Meter": "gear pair",
            "Flow limit [mL/s]": 1.1, "Meter tolerance": 0.021, "Speed [in/s]": 3.2,
            "Start time [s]": 0.45, "Handling time [s]": 26, "Nozzle bore [in]": 0.083,
            "Nozzle length [in]": 1.5, "Mixer bore [in]": 0.3, "Mixer length [in]": 6.4,
            "Mixer volume [mL]": 7.9, "Pressure limit [bar]": 60, "Rule": "change mixer",
            "Purge share": 0.62, "Mixer time [s]": 165, "Container time [s]": 85,
            "Start volume [mL]": 11, "End volume [mL]": 4, "Hose A [mL]": 23, "Hose B [mL]": 14,
            "Checks [1/h]": 0.9, "Scrap": 0.05, "Shop temperature [°F]": 81.5,
            "Mating delay [min]": 12, "Batch": 6,
        },
        {
            "Station": "corner arm", "Material": "blue structural bond", "Meter": "gear pair",
            "Meter tolerance": 0.03, "Flow [mL/s]": 0.62, "Start time [s]": 0.6,
            "Handling time [s]": 19, "Nozzle bore [in]": 0.063, "Nozzle length [in]": 1.1,
            "Mixer volume [mL]": 4.4, "Pressure limit [bar]": 60, "Rule": "purge", "Purge share": 0.5,
            "Purge volume [mL]": 6.5, "Purge time [s]": 11, "Mixer time [s]": 120,
            "Container time [s]": 60, "Start volume [mL]": 5, "Hose A [mL]": 12, "Hose B [mL]": 8,
            "Checks [1/h]": 0.5, "Takt [s]": 430, "Shop temperature [°F]": 81.5,
            "Mating delay [min]": 25, "Batch": 8,
        },
        {
            "Station": "paste press", "Material": "silver thermal paste", "Meter": "piston",
            "Meter tolerance": 0.04, "Flow [mL/s]": 1.9, "Start time [s]": 0.5,
            "Handling time [s]": 22, "Nozzle bore [in]": 0.1, "Nozzle length [in]": 1.25,
            "Pressure limit [bar]": 30, "Checks [1/h]": 0.6, "Scrap": 0.02,
            "Shop temperature [°F]": 63, "Batch": 7,
        },
    ),
    "Profiles": _table(
        "Profile | Time [min] | Temperature [°F]",
        ["slow belt", 0, 75], ["slow belt", 14, 214], ["slow belt", 71, 214], ["slow belt", 83, 110],
    ),
    "Ovens": _turned(
        {"Part": "housing", "Station": "hem arm", "Profile": "slow belt", "Lag fast [min]": 3,
         "Lag slow [min]": 11, "Start temperature [°F]": 75, "Hold [min]": 40},
        {"Part": "cover", "Station": "hem arm", "Profile": "slow belt", "Lag fast [min]": 2,
         "Lag slow [min]": 7.5, "Start temperature [°F]": 75, "Hold [min]": 40},
        {"Part": "housing", "Station": "corner arm", "Profile": "slow belt", "Lag fast [min]": 3,
         "Lag slow [min]": 11, "Start temperature [°F]": 75, "Hold [min]": 40},
    ),
    "Shifts": _table("Shift | Start | End", ["late", "14:00", "22:10"], ["night", "22:00", "30:00"]),
    "Breaks": _table("Shift | Start | End", ["late", "18:00", "18:35"], ["night", "26:00", "26:45"]),
    "Builds": _table(
        "Date | Shift | Part | Quantity",
        [_D(2026, 6, 17), "late", "housing", 41], [_D(2026, 6, 17), "late", "cooler", 52],
        [_D(2026, 6, 18), "night", "housing", 23], [_D(2026, 6, 18), "night", "cover", 29],
        [_D(2026, 6, 18), "night", "cooler", 31],
    ),
    "Stock": _turned(
        {"Material": "blue structural bond", "Component": "a", "Lot": "BA-1", "Quantity [mL]": 400,
         "Expiry": _D(2026, 8, 31)},
        {"Material": "blue structural bond", "Component": "a", "Lot": "BA-opened", "Quantity [mL]": 133,
         "Expiry": _D(2026, 8, 31), "Opened": _D(2026, 6, 16)},
        {"Material": "blue structural bond", "Component": "a", "Lot": "BA-0", "Quantity [mL]": 800,
         "Expiry": _D(2026, 6, 18)},
        {"Material": "blue structural bond", "Component": "b", "Lot": "BB-1", "Quantity [mL]": 750,
         "Expiry": _D(2026, 10, 31)},
        {"Material": "silver thermal paste", "Component": "a", "Lot": "SP-1", "Quantity [mL]": 180,
         "Expiry": _D(2026, 7, 31)},
        {"Material": "silver thermal paste", "Component": "a", "Lot": "SP-2", "Quantity [mL]": 620,
         "Expiry": _D(2027, 7, 31)},
    ),
}

PLANS = {"battery": BATTERY, "drive": DRIVE}


def write(tables: dict[str, Table], path: Path) -> Path:
    """The tables as a workbook, one sheet each, with nothing of the planner's own writer."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, (heads, rows) in tables.items():
        sheet = book.create_sheet(name)
        sheet.append(heads)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path
