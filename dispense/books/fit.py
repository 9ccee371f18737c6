"""A fit as a workbook: constants for the plan, measured against fitted, residuals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from openpyxl import Workbook
from openpyxl.chart import ScatterChart

from ..base.units import from_si
from ..handbook.fitting import runs_of
from ..reports.fit import ARRHENIUS, FitReport
from . import style
from .charts import LOOKS, Curve, scatter
from .finish import finished
from .page import Data, Page

__all__ = ["fit_workbook"]

LEVEL = 2.0  # K within which a run is level, as a furnace holds it (common practice, no source)
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
    if report.at_shop is not None:
        page.text(report.at_shop.words, style.NOTE)
    page.texts("Warnings", report.warnings, warning=True)  # before what is offered to be taken over
    page.section("For the plan, table Materials")
    page.table(
        ["Column", "Value"], [[header, float(f"{value:.6g}")] for header, value in report.plan_columns]
    )
    page.charts(_charts(data, report))
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
    page.texts("Notes", report.notes)
    page.close()
    data.close()
    return finished(book, "fit.xlsx", paper)


@dataclass(frozen=True, slots=True)
class _Group:
    """Rows that make one series of a chart: a ramp, or all level rows of one temperature."""

    name: str
    mine: np.ndarray
    is_ramp: bool


def _groups(report: FitReport) -> list[_Group]:
    """A series for each ramp, and one for each temperature of level runs, to the nearest kelvin."""
    celsius = from_si(report.temperatures, "°C")
    runs = runs_of(report.times, report.temperatures)
    is_level = np.zeros(runs.size, dtype=bool)
    ramps = []
    for run in np.unique(runs):
        mine = runs == run
        if np.ptp(celsius[mine]) < LEVEL:
            is_level |= mine
            continue
        minutes = report.times[mine] / 60.0
        rate = float(np.polyfit(minutes, celsius[mine], 1)[0])
        ramps.append((f"{rate:.3g} K/min", mine))
    named = Counter(name for name, _ in ramps)
    kelvin = np.round(celsius)
    level = [
        _Group(f"{value:.0f} °C", is_level & (kelvin == value), False)
        for value in np.unique(kelvin[is_level])
    ]
    return level + [
        _Group(name if named[name] == 1 else f"{name}, run {number + 1}", mine, True)
        for number, (name, mine) in enumerate(ramps)
    ]


def _across(report: FitReport, is_ramp: bool) -> tuple[str, np.ndarray]:
    """What a degree is drawn against: temperature along a ramp, time at a level one."""
    if is_ramp:
        return "temperature [°C]", from_si(report.temperatures, "°C")
    return "time [min]", report.times / 60.0


def _charts(data: Data, report: FitReport) -> list[ScatterChart]:
    """Measured against fitted, and residuals; ramps and level runs apart."""
    if report.form == ARRHENIUS:
        everything = _Group("residual", np.full(report.times.size, True), True)
        return [_line_chart(data, report), _residual_chart(data, report, [everything])]
    groups = _groups(report)
    found = []
    for is_ramp in (False, True):
        alike = [group for group in groups if group.is_ramp == is_ramp]
        if alike:
            found += [_degree_chart(data, report, alike), _residual_chart(data, report, alike)]
    return found


def _line_chart(data: Data, report: FitReport) -> ScatterChart:
    """ln t on 1/T: a straight line where one energy holds."""
    measured, fitted = (np.array(report.shown(values)) for values in (report.measured, report.fitted))
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


def _degree_chart(data: Data, report: FitReport, groups: Sequence[_Group]) -> ScatterChart:
    """Degree of cure, measured and fitted, one pair of series for each group."""
    measured, fitted = (np.array(report.shown(values)) for values in (report.measured, report.fitted))
    is_ramp = groups[0].is_ramp
    title, across = _across(report, is_ramp)
    curves = []
    for place, group in enumerate(groups):
        order = np.flatnonzero(group.mine)[np.argsort(report.times[group.mine], kind="stable")]
        refs = data.block(
            f"Degree at {group.name}",
            [(title.capitalize(), across[order]), ("Measured", measured[order]), ("Fitted", fitted[order])],
            "0.0000",
        )
        curves.append(
            Curve(f"measured, {group.name}", refs[0], refs[1], None, _MARKS[place % len(_MARKS)], style.DARK)
        )
        curves.append(Curve(f"fitted, {group.name}", refs[0], refs[2], *LOOKS[place % len(LOOKS)]))
    return scatter(
        "Degree of cure along the ramps" if is_ramp else "Degree of cure",
        title,
        "degree of cure",
        curves,
        x_form="0",
        y_form="0.0",
        x_range=(None if is_ramp else 0, None),
        y_range=(0, 1),
    )


def _residual_chart(data: Data, report: FitReport, groups: Sequence[_Group]) -> ScatterChart:
    """Residuals about zero: a run of one sign says that the form does not fit."""
    x_title, across = _across(report, groups[0].is_ramp)
    mine = np.any([group.mine for group in groups], axis=0)
    curves = []
    for place, group in enumerate(groups):
        refs = data.block(
            f"Residuals, {group.name}",
            [(x_title.capitalize(), across[group.mine]), ("Residual", report.residuals[group.mine])],
            "0.0000",
        )
        curves.append(Curve(group.name, refs[0], refs[1], None, _MARKS[place % len(_MARKS)], style.ACCENT))
    ends = [float(across[mine].min()), float(across[mine].max())]
    zero = data.block("Zero", [(x_title.capitalize(), ends), ("Residual", [0.0, 0.0])])
    curves.append(Curve("zero", zero[0], zero[1], "sysDash", "none", style.GREY, 1.0))
    return scatter("Residuals", x_title, report.residual_name, curves, x_form="0", y_form="0.000")
