"""How long the mix can stand: pressure against its age, pot life against mass."""

from __future__ import annotations

import math

import numpy as np
from openpyxl import Workbook
from openpyxl.chart import ScatterChart

from ...base.units import celsius_text
from ...reports.cure import CureReport, shop
from ...reports.pour import CAUTION
from ...reports.thickening import ThickeningReport
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page, sentence
from .closing import Answer, close_sheet, under_title, warnings_of


def thickening_sheet(book: Workbook, data: Data, report: CureReport, found: ThickeningReport) -> Answer:
    """How long a mix can stand: pressure, flow and life as it ages."""
    page = Page(book, "Thickening", "Thickening while it stands", (22, *[15] * 8), under_title(report))
    wrong = [finding for finding in found.findings if finding.is_warning]
    answer = _thickening_answer(found)
    page.answer(answer, not wrong)
    page.text(sentence(f"it thickens by {found.basis}"))
    page.row += 1
    charts = []
    if found.setting is not None:
        charts.append(_age_chart(data, found))
    if found.masses:
        charts.append(_mass_chart(data, found))
    if charts:
        page.charts(charts)
    page.section("Until the purge")
    page.table(
        [
            "Shop temperature [°C]",
            "Purge after [min]",
            "Viscosity doubled [min]",
            "Pressure at the purge [bar]",
            "Limit reached [min]",
            "Flow loss reached [min]",
            "Shot drift at constant pressure",
            "Tolerance kept [min]",
        ],
        [
            [
                shop(case.temperature, "°C"),
                *(
                    _figure(value, unit)
                    for value, unit in (
                        (case.purge_age, "min"),
                        (case.doubled, "min"),
                        (case.pressure, "bar"),
                        (case.pressure_life, "min"),
                        (case.flow_life, "min"),
                        (case.drift, ""),
                        (case.drift_life, "min"),
                    )
                ),
            ]
            for case in found.cases
        ],
        ("0.0", "0.0", "0.0", "0.00", "0.0", "0.0", "0%", "0.0"),
    )
    if found.masses:
        page.section("Pot life against mass")
        page.table(
            ["Mass [g]", "Pot life [min]", "Temperature at its end [°C]"],
            [
                [shop(item.mass, "g"), _figure(item.life, "min"), _figure(item.temperature, "°C")]
                for item in found.masses
            ],
            ("0", "0.0", "0.0"),
        )
    notes = [
        "pressure of laminar flow through nozzle and mixer, both full of material of one age; a static mixer "
        "holds younger material too"
    ]
    if found.masses:
        notes.append(
            "pot life of a mass: one mean temperature, a compact shape in still air; the end is the degree "
            "that the mass of the data sheet has come to at its pot life"
        )
    close_sheet(page, report, notes, warnings_of(found.findings), CAUTION if found.masses else "")
    return "How long can it stand?", sentence(answer), page.sheet.title, not wrong


def _thickening_answer(found: ThickeningReport) -> str:
    """The working life that means something at this station."""
    case = found.hottest
    at = f"at {celsius_text(case.temperature)}"
    if (
        found.flow_loss is not None
        and math.isfinite(case.flow_life)
        and not case.flow_life >= case.pressure_life
    ):
        words = f"flow down by {found.flow_loss:.0%} after {case.flow_life / 60.0:.0f} min {at}"
    elif math.isfinite(case.pressure_life) and found.limit is not None:
        words = f"pressure limit after {case.pressure_life / 60.0:.0f} min {at}"
    elif math.isfinite(case.doubled):
        words = f"viscosity doubles in {case.doubled / 60.0:.0f} min {at}"
    else:
        words = "it does not thicken to twice its viscosity"
    if math.isfinite(case.purge_age):
        words += f"; purged after {case.purge_age / 60.0:.0f} min"
    return words


def _figure(value: float, unit: str) -> float | None:
    """A figure in its shop unit, None where it is not known."""
    return shop(value, unit) if math.isfinite(value) else None


def _age_chart(data: Data, found: ThickeningReport) -> ScatterChart:
    """Pressure against age at the coldest and the hottest hour, the limit and the purges."""
    curves, highest, longest = [], 0.0, 0.0
    for number, case in enumerate(found.cases):
        known = np.isfinite(case.pressures)
        ages, pressures = case.ages[known] / 60.0, case.pressures[known] / 1e5
        if found.limit is not None:  # what is far above the limit says no more
            seen = pressures <= 2.0 * max(found.limit / 1e5, found.fresh / 1e5)
            ages, pressures = ages[seen], pressures[seen]
        if not ages.size:
            continue
        refs = data.block(
            f"Pressure at {shop(case.temperature, '°C'):.0f} °C",
            [("Age [min]", ages), ("Pressure [bar]", pressures)],
        )
        curves.append(
            Curve(f"{shop(case.temperature, '°C'):.0f} °C", refs[0], refs[1], *LOOKS[number % len(LOOKS)])
        )
        highest, longest = max(highest, float(pressures.max())), max(longest, float(ages.max()))
    marked_at = [
        (case.purge_age / 60.0, case.pressure / 1e5)
        for case in found.cases
        if math.isfinite(case.pressure) and math.isfinite(case.purge_age)
    ]
    if marked_at:
        refs = data.block(
            "At the purge",
            [("Age [min]", [row[0] for row in marked_at]), ("Pressure [bar]", [row[1] for row in marked_at])],
        )
        curves.append(Curve("purge", refs[0], refs[1], None, "diamond", style.DARK))
        longest = max(longest, *(row[0] for row in marked_at))
    if found.limit is not None:
        refs = data.block(
            "Pressure limit", [("Age [min]", [0.0, longest]), ("Pressure [bar]", [found.limit / 1e5] * 2)]
        )
        curves.append(Curve("limit", refs[0], refs[1], "sysDash", "none", style.GREY, 1.0))
    return scatter(
        "Pressure against age of the mix",
        "age [min]",
        "pressure [bar]",
        curves,
        x_form="0",
        y_form="0.0",
        x_range=(0, None),
        y_range=(0, None),
    )


def _mass_chart(data: Data, found: ThickeningReport) -> ScatterChart:
    """Pot life against mass."""
    known = [item for item in found.masses if math.isfinite(item.life)]
    refs = data.block(
        "Pot life against mass",
        [
            ("Mass [g]", [shop(item.mass, "g") for item in known]),
            ("Pot life [min]", [shop(item.life, "min") for item in known]),
        ],
    )
    return scatter(
        "Pot life against mass",
        "mass [g]",
        "pot life [min]",
        [Curve("pot life", refs[0], refs[1], "solid", "circle", style.ACCENT)],
        x_form="0",
        y_form="0",
        x_range=(0, None),
        y_range=(0, None),
    )
