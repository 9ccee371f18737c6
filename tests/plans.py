"""Small plans for tests, as raw tables."""

from __future__ import annotations

import copy
import datetime
from pathlib import Path
from typing import Any

import openpyxl

from dispense.plan.build import build_plan
from dispense.plan.records import Plan, raw_table
from dispense.plan.tables import TABLES

MONDAY = datetime.date(2026, 3, 2)

HAND = {
    "Materials": [
        dict(
            material="Bond 60",
            kind="two-part",
            ratio_a=1,
            ratio_b=1,
            pot_life=60,
            pot_life_temperature=23,
            open_time=30,
            move_time=240,
            test_time=1440,
        )
    ],
    "Components": [
        dict(material="Bond 60", component="a", density=1.2, container=100, heel=0.05),
        dict(material="Bond 60", component="b", density=1.0, container=60, heel=0.10),
    ],
    "Parts": [dict(part="frame")],
    "Beads": [
        dict(bead="hem", part="frame", station="hem", section="rectangle", width=10, height=1, length=1000)
    ],
    "Stations": [
        dict(
            station="hem",
            material="Bond 60",
            speed=100,
            mixer_volume=10,
            purge_share=0.6,
            purge_volume=15,
            start_volume=8,
            end_volume=6,
            checks=0.5,
            check_volume=4,
            takt=600,
        )
    ],
    "Shifts": [dict(shift="early", start="06:00", end="10:00")],
    "Breaks": [dict(shift="early", start="08:00", end="08:30")],
    "Builds": [dict(date=MONDAY, shift="early", part="frame", quantity=21)],
    "Stock": [
        dict(material="Bond 60", component="a", lot="A1", quantity=1000, expiry="2026-06-30"),
        dict(material="Bond 60", component="b", lot="B1", quantity=60, expiry="2026-03-31"),
        dict(material="Bond 60", component="b", lot="B2", quantity=600, expiry="2026-06-30"),
    ],
}


def light_plan(path: Path, rows=None, **extra) -> Path:
    """The plan worked by hand as a plain workbook that is quick to read."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in (rows or hand_rows()).items():
        sheet = book.create_sheet(name)
        columns = list(dict.fromkeys(key for row in table for key in row))
        titles = {item.name: item.title for item in next(t for t in TABLES if t.name == name).columns}
        sheet.append([titles[key] for key in columns])
        for row in table:
            sheet.append([None] * len(columns))
            for place, key in enumerate(columns, 1):
                cell = sheet.cell(sheet.max_row, place)
                cell.value = row.get(key)
                if isinstance(row.get(key), str):
                    cell.data_type = "s"  # a text, also where it begins with =
    book.save(path)
    return path


def hand_rows() -> dict[str, list[dict[str, Any]]]:
    """A copy of the plan worked by hand, to be changed by a test."""
    return copy.deepcopy(HAND)


def make(rows: dict[str, list[dict[str, Any]]]) -> Plan:
    """A plan from rows in shop units."""
    return build_plan({name: raw_table(name, table) for name, table in rows.items()})


def add_hot_pot(rows: dict[str, list[dict[str, Any]]], container: float, **material: Any) -> None:
    """A pot of 320 mL that the hem station pours, its compound with kinetics and heat, cells to 60 °C."""
    rows["Materials"][0] |= (
        dict(rate_1=1.2e7, energy_1=60, order_n=1.5, heat=300, specific_heat=1.8, conductivity=0.25)
        | material
    )
    rows["Components"] = [
        dict(material="Bond 60", component=letter, density=1.1, container=container) for letter in "ab"
    ]
    rows["Pots"] = [
        dict(
            pot="bed",
            part="frame",
            station="hem",
            shape="box",
            length=100,
            width=80,
            depth=60,
            level=40,
            limit=60,
            film=10,
        )
    ]
    rows["Stations"][0] |= dict(flow=5)


LINE_SPEED = 10.0  # mm/s: a bead of 400 mm takes 40 s


def line_rows(
    work: dict[str, list[float]],
    good: dict[str, int],
    waits: list[float],
    room: list[int | None],
    *,
    end: str = "06:10",
    **station: Any,
) -> dict[str, list[dict[str, Any]]]:
    """A line of stations s1, s2, …: `work` [s] of each part at each, waits [s] and room between them."""
    names = [f"s{place + 1}" for place in range(len(waits) + 1)]
    between = [*zip(waits, room, strict=True), (None, None)]
    return {
        "Materials": [dict(material="Seal", kind="one-part")],
        "Components": [dict(material="Seal", component="a", density=1.0, container=1e6)],
        "Parts": [dict(part=part) for part in work],
        "Beads": [
            dict(
                bead=name,
                part=part,
                station=name,
                section="rectangle",
                width=1,
                height=1,
                length=time * LINE_SPEED,
            )
            for part, times in work.items()
            for name, time in zip(names, times, strict=True)
        ],
        "Stations": [
            dict(station=name, material="Seal", speed=LINE_SPEED, batch=1, **station) for name in names
        ],
        "Shifts": [dict(shift="early", start="06:00", end=end)],
        "Builds": [
            dict(date=MONDAY, shift="early", part=part, quantity=count) for part, count in good.items()
        ],
        "Stock": [dict(material="Seal", component="a", lot="L1", quantity=1e9, expiry="2026-12-31")],
        "Routes": [
            dict(
                part=part,
                step=place + 1,
                station=name,
                wait=None if wait is None else wait / 60.0,
                room=places,
            )
            for part in work
            for place, (name, (wait, places)) in enumerate(zip(names, between, strict=True))
        ],
    }


def routed_rows() -> dict[str, list[dict[str, Any]]]:
    """Three days on a line with a cure of 20 h before its last station, and scrap at the second."""
    rows = line_rows({"box": [30, 40, 30]}, {"box": 50}, [600, 20 * 3600], [3, None], end="14:00")
    rows["Stations"][1]["scrap"] = 0.04
    rows["Builds"] += [
        dict(date=MONDAY + datetime.timedelta(days=day), shift="early", part="box", quantity=50)
        for day in (1, 2)
    ]
    return rows
