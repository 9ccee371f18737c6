"""A fit as a workbook: constants for the plan, measured against fitted, residuals."""

from __future__ import annotations

import numpy as np
from openpyxl import Workbook

from ..base.units import from_si
from ..reports.fit import ARRHENIUS, FitReport
from . import style
from .charts import LOOKS, Curve, scatter
from .finish import finished
from .page import Data, Page

__all__ = ["fit_workbook"]

_MARKS = ("circle", "square", "triangle", "diamond", "x", "star")


def fit_workbook(report: FitReport, paper: str = "A4") -> bytes:
    """The workbook of a fit; the same fit gives the same bytes."""
    book = Workbook()
    book.remove(book.active)
    page = Page(
        book,
        "Fit",
        f"Fit of {report.source}",
        (26, 14, 14, 14, 20, *[11] * 5),
        f"{report.form}, {len(report.times)} rows",
    )
    data = Data(book)
    page.answer(report.answer, not report.is_bent)
    page.section("Constants")
    page.table(
        ["Constant", "Value", "Unit", "Standard error", "95 % interval"],
        [[item.name, item.value, item.unit, item.error, item.interval] for item in report.constants],
        ("@", "0.0000", "@", "0.0000", "@"),
    )
    page.section("For the plan, table Materials")
    page.table(
        ["Column", "Value"], [[header, float(f"{value:.6g}")] for header, value in report.plan_columns]
    )
    page.charts([_fit_chart(data, report), _residual_chart(data, report)])
    page.section("Measured and fitted")
    name = "Time [min]" if report.form == ARRHENIUS else "Degree"
    head = page.row
    rows = []
    for number, (temperature, time, measured, fitted) in enumerate(
        zip(
            from_si(report.temperatures, "°C").tolist(),
            (report.times / 60.0).tolist(),
            report.shown(report.measured),
            report.shown(report.fitted),
            strict=True,
        )
    ):
        row = head + 1 + number
        residual = f"=LN($C{row})-LN($D{row})" if report.form == ARRHENIUS else f"=$C{row}-$D{row}"
        rows.append([temperature, time, measured, fitted, style.Live(residual)])
    page.table(
        ["Temperature [°C]", "Time [min]", f"{name}, measured", f"{name}, fitted", "Residual"],
        rows,
        ("0.0", "0.0", "0.000", "0.000", "0.0000"),
    )
    page.text(f"A residual is {report.residual_name}.", style.NOTE)
    page.row += 1
    page.texts("Warnings", report.warnings, warning=True)
    page.texts("Notes", report.notes)
    page.close()
    data.close()
    return finished(book, "fit.xlsx", paper)


def _groups(report: FitReport) -> list[tuple[str, np.ndarray]]:
    """Rows by temperature to the nearest kelvin, for marks."""
    kelvin = np.round(from_si(report.temperatures, "°C"))
    return [(f"{value:.0f} °C", kelvin == value) for value in np.unique(kelvin)]


def _fit_chart(data: Data, report: FitReport):
    measured, fitted = (np.array(report.shown(values)) for values in (report.measured, report.fitted))
    if report.form == ARRHENIUS:
        inverse = 1000.0 / report.temperatures
        order = np.argsort(inverse)
        refs = data.block(
            "Arrhenius",
            [
                ("1000/T [1/K]", inverse[order]),
                ("ln(time/min), measured", np.log(measured[order])),
                ("ln(time/min), fitted", np.log(fitted[order])),
            ],
            "0.0000",
        )
        return scatter(
            "ln time against 1/T",
            "1000/T [1/K]",
            "ln(time/min)",
            [
                Curve("measured", refs[0], refs[1], None, "diamond", style.DARK),
                Curve("fitted", refs[0], refs[2], *LOOKS[0]),
            ],
            x_form="0.00",
            y_form="0.0",
        )
    curves = []
    for place, (name, mine) in enumerate(_groups(report)):
        order = np.flatnonzero(mine)[np.argsort(report.times[mine], kind="stable")]
        refs = data.block(
            f"Degree at {name}",
            [
                ("Time [min]", report.times[order] / 60.0),
                ("Measured", measured[order]),
                ("Fitted", fitted[order]),
            ],
            "0.0000",
        )
        curves.append(
            Curve(f"measured, {name}", refs[0], refs[1], None, _MARKS[place % len(_MARKS)], style.DARK)
        )
        curves.append(Curve(f"fitted, {name}", refs[0], refs[2], *LOOKS[place % len(LOOKS)]))
    return scatter(
        "Degree of cure",
        "time [min]",
        "degree of cure",
        curves,
        x_form="0",
        y_form="0.0",
        x_range=(0, None),
        y_range=(0, 1),
    )


def _residual_chart(data: Data, report: FitReport):
    """Residuals about zero: a run of one sign says that the form does not fit."""
    by_temperature = report.form == ARRHENIUS
    across = from_si(report.temperatures, "°C") if by_temperature else report.times / 60.0
    x_title = "temperature [°C]" if by_temperature else "time [min]"
    curves = []
    for place, (name, mine) in enumerate(
        [("residual", np.full(across.size, True))] if by_temperature else _groups(report)
    ):
        refs = data.block(
            f"Residuals, {name}",
            [(x_title.capitalize(), across[mine]), ("Residual", report.residuals[mine])],
            "0.0000",
        )
        curves.append(Curve(name, refs[0], refs[1], None, _MARKS[place % len(_MARKS)], style.ACCENT))
    zero = data.block(
        "Zero", [(x_title.capitalize(), [float(across.min()), float(across.max())]), ("Residual", [0.0, 0.0])]
    )
    curves.append(Curve("zero", zero[0], zero[1], "sysDash", "none", style.GREY, 1.0))
    return scatter("Residuals", x_title, report.residual_name, curves, x_form="0", y_form="0.000")
