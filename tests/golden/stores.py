"""An invented plant whose weeks of builds are forecast: two stations on one store, kits, a change-over.

Nothing here is a product, a price or a place that exists. Demand and shop temperature have no spread and no
material has a pot life, so that every figure but the simulated ones follows by hand.
"""

from __future__ import annotations

import datetime
from typing import Any

from .plans import Table, _table

AS_OF = datetime.date(2026, 5, 8)  # a Friday: builds of the four days before are history
WEEKS = 6

#: builds a day, Monday to Friday for six weeks from 4 May: early frames, early lids, late lids
_FRAMES = (
    12,
    15,
    9,
    0,
    14,
    16,
    16,
    0,
    11,
    10,
    13,
    0,
    18,
    7,
    12,
    9,
    9,
    14,
    15,
    0,
    12,
    12,
    16,
    8,
    10,
    15,
    11,
    13,
    0,
    9,
)
_LIDS = (
    20,
    0,
    24,
    26,
    18,
    0,
    22,
    22,
    25,
    19,
    21,
    30,
    0,
    24,
    16,
    28,
    20,
    0,
    22,
    23,
    0,
    25,
    27,
    0,
    18,
    22,
    20,
    24,
    26,
    0,
)
_LATE = (0, 8, 0, 10, 0, 0, 9, 0, 12, 0, 7, 0, 0, 11, 0, 6, 0, 8, 0, 0, 10, 0, 0, 9, 0, 0, 8, 0, 11, 0)
_MONDAY = datetime.date(2026, 5, 4)


def _builds() -> list[list[Any]]:
    rows: list[list[Any]] = []
    for number, (frames, lids, late) in enumerate(zip(_FRAMES, _LIDS, _LATE, strict=True)):
        day = _MONDAY + datetime.timedelta(days=number // 5 * 7 + number % 5)
        for shift, part, count in (("early", "frame", frames), ("early", "lid", lids), ("late", "lid", late)):
            if count:
                rows.append([day, shift, part, count])
    return rows


_D = datetime.date

STORE: dict[str, Table] = {
    "Settings": _table(
        "Setting | Value",
        ["Plant", "Sluice works"],
        ["Line", "Gate drives"],
        ["Currency", "crowns"],
        ["Service level", 0.95],
        ["Order cost", 35],
        ["Holding rate", 0.25],
    ),
    "Materials": _table(
        "Material | Kind | Ratio A | Ratio B | Cure",
        ["twin mix", "two-part", 100, 40, "none"],
        ["brown paste", "one-part", 1, None, "none"],
        ["black paste", "one-part", 1, None, "none"],
    ),
    "Components": _table(
        "Material | Component | Density [g/mL] | Container [mL] | Heel [%] | Shelf life [d] | Open life [d] "
        "| Lead time [d] | Lead time spread [d] | Minimum order | Price | Pack multiple | Kit",
        ["twin mix", "a", 1.31, 900, 3, 120, 5, 8, 0, 2, 21, 2, "twin"],
        ["twin mix", "b", 1.02, 350, 2, 60, 9, 6, 0, 1, 14, 3, "twin"],
        ["brown paste", "a", 1.9, 310, 4, 90, 3, 4, 1.5, 1, 18, 1, None],
        ["black paste", "a", 1.7, 310, 4, 45, 3, 6, 0, 2, 23, 1, None],
    ),
    "Parts": _table("Part", ["frame"], ["lid"]),
    "Beads": _table(
        "Bead | Part | Station | Section | Width [mm] | Height [mm] | Length [mm]",
        ["rail", "frame", "long side", "rectangle", 9, 2, 1700],
        ["edge", "lid", "short side", "rectangle", 6, 2, 850],
        ["seat", "lid", "paste arm", "rectangle", 4, 1.5, 1150],
    ),
    "Stations": _table(
        "Station | Material | Speed [mm/s] | Mixer volume [mL] | Start volume [mL] | End volume [mL] | "
        "Hose A [mL] | Hose B [mL] | Scrap [%]",
        ["long side", "twin mix", 120, 0, 16, 9, 210, 120, 3],
        ["short side", "twin mix", 100, 0, 12, 6, 150, 90, 0],
        ["paste arm", "brown paste", 90, 0, 5, 0, 40, 0, 2],
    ),
    "Shifts": _table(
        "Shift | Start | End | Days",
        ["early", "06:00", "14:00", "Mon-Fri"],
        ["late", "14:00", "22:00", "Mon-Fri"],
    ),
    "Holidays": _table("Date | Name", [_D(2026, 5, 14), "Ascension"], [_D(2026, 5, 25), "Whit Monday"]),
    "Validity": _table(
        "Station | Shift | Material | Component | What | Value | Valid from | Valid until",
        ["paste arm", None, None, None, "material", "black paste", _D(2026, 5, 28), None],
        ["short side", None, None, None, "scrap", "5 %", _D(2026, 5, 18), _D(2026, 5, 22)],
        [None, None, "twin mix", "a", "price", "24", _D(2026, 5, 11), None],
    ),
    "Builds": _table("Date | Shift | Part | Quantity", *_builds()),
    "Stock": _table(
        "Material | Component | Lot | Quantity [mL] | Expiry | Opened | Arrival",
        ["twin mix", "a", "TA1", 1500, _D(2026, 5, 12), None, None],
        ["twin mix", "a", "TA2", 3600, _D(2026, 9, 30), None, None],
        ["twin mix", "a", "TA3", 1800, _D(2026, 10, 30), None, _D(2026, 5, 15)],
        ["twin mix", "b", "TB1", 260, _D(2026, 8, 1), _D(2026, 5, 2), None],
        ["twin mix", "b", "TB2", 2450, _D(2026, 5, 20), None, None],
        ["brown paste", "a", "P1", 1240, _D(2026, 5, 19), None, None],
        ["brown paste", "a", "P2", 930, _D(2026, 8, 19), None, None],
    ),
    "Orders": _table(
        "Order | Material | Component | Quantity [mL] | Arrival | Lot",
        ["7001", "brown paste", "a", 620, _D(2026, 5, 8), "P3"],
    ),
}
