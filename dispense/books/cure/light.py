"""Light cure: time under the lamp and belt speed for the dose."""

from __future__ import annotations

import numpy as np
from openpyxl import Workbook

from ...reports.cure import CureReport, LightReport, shop
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page
from .closing import Answer, close_sheet, under_title


def light_sheet(book: Workbook, data: Data, report: CureReport, light: LightReport) -> Answer:
    """Time and belt speed for the dose."""
    page = Page(
        book,
        "Light cure",
        "Light cure: time and belt speed for the dose",
        (24, 14, *[14] * 6),
        under_title(report),
    )
    answer = (
        f"{shop(light.dose, 'J/cm²'):g} J/cm²: {light.times[1]:.0f} s at "
        f"{shop(light.irradiances[1], 'mW/cm²'):.0f} mW/cm²; measure the irradiance"
    )
    page.answer(answer)
    page.section("Dose")
    cells = page.figures(
        [("Dose", shop(light.dose, "J/cm²"), "J/cm²", "0.00", True), ("Takt", light.takt, "s", "0", False)]
    )
    grid = np.geomspace(30.0, 3000.0, 50)
    refs = data.block(
        "Light cure",
        [("Irradiance [mW/cm²]", grid), ("Time [s]", shop(light.dose, "J/cm²") / (grid / 1000.0))],
    )
    curves = [Curve("time for the dose", refs[0], refs[1], *LOOKS[0])]
    if light.takt is not None and light.takt < shop(light.dose, "J/cm²") / 0.03:
        line = data.block("Takt", [("Irradiance [mW/cm²]", [30.0, 3000.0]), ("Takt [s]", [light.takt] * 2)])
        curves.append(Curve("takt", line[0], line[1], "sysDash", "none", style.GREY, 1.0))
    page.charts(
        [
            scatter(
                "Time under the lamp",
                "irradiance at the part [mW/cm²]",
                "time [s]",
                curves,
                x_form="0",
                y_form="0",
                x_range=(10, 10000),
                y_range=(0, None),
                x_log=True,
            )
        ]
    )
    page.section("Time, and belt speed under a lit length")
    dose, head = cells["Dose"], page.row
    rows = [
        [
            shop(value, "mW/cm²"),
            style.Live(f"={dose}/($A{head + 1 + number}/1000)"),
            *(
                style.Live(f"=$A{head + 1 + number}/1000*{shop(length, 'mm'):g}/1000/{dose}*60")
                for length in light.windows
            ),
        ]
        for number, value in enumerate(light.irradiances)
    ]
    page.table(
        [
            "Irradiance at the part [mW/cm²]",
            "Time [s]",
            *(f"Belt, {shop(value, 'mm'):.0f} mm lit [m/min]" for value in light.windows),
        ],
        rows,
        ("0", "0.0", *["0.00"] * len(light.windows)),
    )
    close_sheet(
        page,
        report,
        [
            "dose = irradiance × time; a lamp ages, glass and distance take light: measure "
            "the irradiance at the part with a radiometer for the lamp's band",
            "shadows are not reached by light: give them another way to cure",
        ],
    )
    return "How long under the lamp?", answer, page.sheet.title, True
