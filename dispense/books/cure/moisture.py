"""Depth cured by moisture against time and humidity, and what a station puts on."""

from __future__ import annotations

import math

import numpy as np
from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from ...base.clock import hhmm
from ...handbook.moisture import moisture_factor
from ...reports.cure import CureReport, MoistureReport, moisture_words, shop
from ...shift.cure_times import cure_basis
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page
from .closing import GAS, Answer, close_sheet, under_title


def moisture_sheet(book: Workbook, data: Data, report: CureReport, moisture: MoistureReport) -> list[Answer]:
    """Depth against time and humidity, and when each bead, pot and joint is cured."""
    page = Page(
        book,
        "Moisture cure",
        "Moisture cure: depth against time and humidity",
        (24, 11, *[11.5] * 8),
        under_title(report),
    )
    count = len(moisture.humidities)
    hours = np.linspace(0.0, moisture.hours[-1], 60)
    scale = moisture_factor(
        moisture.temperature,
        np.array(moisture.humidities),
        moisture.stated_temperature,
        moisture.stated_humidity,
        moisture.energy or 0.0,
    )
    depths = shop(moisture.coefficient, "mm/√h") * np.sqrt(hours)[:, None] * scale
    refs = data.block(
        "Moisture cure",
        [
            ("Time [h]", hours),
            *(
                (f"Depth at {humidity:.0%} [mm]", depths[:, place])
                for place, humidity in enumerate(moisture.humidities)
            ),
        ],
    )
    curves = [
        Curve(f"{humidity:.0%} relative humidity", refs[0], refs[place + 1], *LOOKS[place % len(LOOKS)])
        for place, humidity in enumerate(moisture.humidities)
    ]
    page.charts(
        [
            scatter(
                "Depth cured from the free face",
                "time [h]",
                "depth [mm]",
                curves,
                x_form="0",
                y_form="0",
                x_range=(0, 168),
                y_range=(0, None),
                x_step=24,
            )
        ]
    )
    if moisture.needed:
        last = max(moisture.needed, key=lambda need: need.time)
        which = f" ({last.name}, the last of {len(moisture.needed)})" if len(moisture.needed) > 1 else ""
        page.answer(moisture_words(last) + which, math.isfinite(last.time))
    page.section("Coefficient")
    cells = page.figures(
        [
            ("Coefficient", shop(moisture.coefficient, "mm/√h"), "mm/√h", "0.000", True),
            ("Relative humidity it was measured at", moisture.stated_humidity, "", "0%", True),
            ("Temperature it was measured at", shop(moisture.stated_temperature, "°C"), "°C", "0.0", True),
            ("Activation energy", shop(moisture.energy or 0.0, "kJ/mol"), "kJ/mol", "0.0", True),
            ("Temperature of the air", shop(moisture.temperature, "°C"), "°C", "0.0", True),
        ]
    )
    k, stated = cells["Coefficient"], cells["Relative humidity it was measured at"]
    at, air = cells["Temperature it was measured at"], cells["Temperature of the air"]
    warmth = (
        f"SQRT(EXP(17.62*{air}/(243.12+{air})-17.62*{at}/(243.12+{at}))*({at}+273.15)/({air}+273.15)"
        f"*EXP({cells['Activation energy']}*1000/{GAS}*(1/({at}+273.15)-1/({air}+273.15))))"
    )
    factor = page.figures(
        [("Coefficient there, at the stated humidity", style.Live(f"={k}*{warmth}"), "mm/√h", "0.000", False)]
    )
    k = factor["Coefficient there, at the stated humidity"]
    page.section("Depth [mm] after a time, at a relative humidity")
    head = page.row
    for place, humidity in enumerate(moisture.humidities):
        style.put(page.sheet.cell(head, place + 2), humidity)
    rows = [
        [
            hour,
            *(
                style.Live(
                    f"={k}*SQRT($A{head + 1 + number})*SQRT({get_column_letter(place + 2)}${head}/{stated})"
                )
                for place in range(count)
            ),
        ]
        for number, hour in enumerate(moisture.hours)
    ]
    page.table(["Time [h]", *("" for _ in range(count))], rows, ("0", *["0.0"] * count))
    for place, humidity in enumerate(moisture.humidities):
        cell = page.sheet.cell(head, place + 2)
        cell.value, cell.number_format = humidity, "0%"
        style.header(cell, right=True)
    page.section("What this station puts on, dispensed at the slowest of the shift hours")
    page.table(
        [
            "Bead, pot or joint",
            "Depth to cure [mm]",
            "Dispensed",
            "Depth cured [h]",
            "Data sheet [h]",
            "Full cure [h]",
        ],
        [
            [
                need.name,
                shop(need.depth, "mm"),
                hhmm(need.start),
                _hours(need.depth_time),
                _hours(need.stated_time),
                _hours(need.time),
            ]
            for need in moisture.needed
        ],
        ("@", "0.0", "@", "0.0", "0.0", "0.0"),
    )
    close_sheet(
        page,
        report,
        [
            "the depth grows as the root of time and of the water in the air, from a free face, "
            "along the temperature and humidity of the day; J. Comyn, Int. J. Adhesion & "
            "Adhesives 18 (1998) 247–253 (equation from memory)",
            "a pressed bead is reached from its open edges: half its greatest width counts, all of it where "
            "only one edge is open, no more than its flange",
            "full cure is the later of the depth and the time of the data sheet",
            cure_basis(report.material, report.temperatures),
        ],
    )
    return [
        (
            "When has moisture cured it?",
            f"{need.name}: {moisture_words(need)}",
            page.sheet.title,
            math.isfinite(need.time),
        )
        for need in moisture.needed
    ]


def _hours(seconds: float | None) -> float | None:
    return seconds / 3600.0 if seconds is not None and math.isfinite(seconds) else None
