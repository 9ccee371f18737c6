"""Charts in the house style, and line charts over a number axis told apart by dash and mark.

Series refer to ranges of a sheet; axes carry titles with units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.chart.label import DataLabelList
from openpyxl.chart.legend import Legend
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText
from openpyxl.drawing.fill import ColorChoice, PatternFillProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, Font, Paragraph, ParagraphProperties

from . import style

__all__ = ["LOOKS", "Curve", "add_legend", "dress", "dress_axis", "label_values", "patterned", "scatter"]

HEIGHT = 8.0  # cm
#: fill of the first, second, … series of bars
PATTERNS = ("solid", "wdUpDiag", "solid", "ltUpDiag")
FILLS = (style.ACCENT, style.GREY, "C9D3D8", style.ACCENT)
#: dash, mark and ink of the first, second, … series
LOOKS = (
    ("solid", "none", style.ACCENT),
    ("dash", "none", style.DARK),
    ("sysDot", "none", style.GREY),
    ("dashDot", "none", style.ACCENT),
    ("lgDash", "none", style.GREY),
    ("lgDashDot", "none", style.DARK),
)


@dataclass(frozen=True, slots=True)
class Curve:
    """One series: its name, the cells of both values, and its look; `dash` None draws marks only."""

    name: str
    x: Reference
    y: Reference
    dash: str | None = "solid"
    mark: str = "none"
    ink: str = style.ACCENT
    width: float = 1.75  # points


def _look(size: int, bold: bool = False, ink: str = style.DARK) -> CharacterProperties:
    return CharacterProperties(sz=size, b=bold, solidFill=ink, latin=Font(typeface=style.FAMILY))


def _text() -> RichText:
    look = _look(900)
    return RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=look), endParaRPr=look)])


def _styled(title: Any, look: CharacterProperties) -> None:
    title.overlay = False
    for paragraph in title.tx.rich.p:
        paragraph.pPr = ParagraphProperties(defRPr=look)
        for run in paragraph.r or []:
            run.rPr = look


def dress_axis(axis: Any, words: str, form: str | None = None, ink: str = style.GREY) -> None:
    """An axis with its title, its figures in `form` below or beside the chart."""
    axis.title = words
    _styled(axis.title, _look(900))
    axis.delete = False
    axis.txPr = _text()
    axis.tickLblPos = "low"
    if form is not None:
        axis.number_format = form
    axis.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=ink))


def dress(
    chart: Any,
    title: str | None,
    x_title: str,
    y_title: str,
    *,
    x_form: str | None = None,
    y_form: str | None = None,
    ink: str = style.GREY,
) -> None:
    """Titles, axes in `ink` and light lines across, in the house style."""
    chart.title = title
    if title is not None:
        _styled(chart.title, _look(1100, True, style.ACCENT))
    dress_axis(chart.x_axis, x_title, x_form, ink)
    dress_axis(chart.y_axis, y_title, y_form, ink)
    chart.x_axis.majorGridlines = None
    chart.y_axis.majorGridlines.spPr = GraphicalProperties(ln=LineProperties(solidFill="E3E3E3"))


def add_legend(chart: Any) -> None:
    """A legend below the chart."""
    chart.legend = Legend()
    chart.legend.position = "b"
    chart.legend.txPr = _text()


def patterned(series: Any, order: int) -> None:
    """Bars solid for the first series, patterns for the others: told apart in grey too."""
    ink = FILLS[order % len(FILLS)]
    pattern = PATTERNS[order % len(PATTERNS)]
    line = LineProperties(solidFill=style.DARK, w=6350)
    if pattern == "solid":
        series.graphicalProperties = GraphicalProperties(solidFill=ink, ln=line)
    else:
        fill = PatternFillProperties(
            prst=pattern, fgClr=ColorChoice(srgbClr=ink), bgClr=ColorChoice(srgbClr="FFFFFF")
        )
        series.graphicalProperties = GraphicalProperties(pattFill=fill, ln=line)


def label_values(series: Any) -> None:
    """Each value beside its bar."""
    series.dLbls = DataLabelList()
    series.dLbls.showVal = True
    for other in ("showSerName", "showCatName", "showLegendKey", "showPercent"):
        setattr(series.dLbls, other, False)
    series.dLbls.txPr = _text()


def _series(curve: Curve) -> Series:
    series = Series(curve.y, curve.x, title=curve.name)
    series.smooth = False
    if curve.dash is None:
        line = LineProperties(noFill=True)
    else:
        line = LineProperties(solidFill=curve.ink, w=round(12700 * curve.width), prstDash=curve.dash)
    series.graphicalProperties = GraphicalProperties(ln=line)
    series.marker.symbol = curve.mark
    if curve.mark != "none":
        series.marker.size = 7
        series.marker.graphicalProperties = GraphicalProperties(
            solidFill=curve.ink, ln=LineProperties(solidFill=style.DARK)
        )
    return series


def scatter(
    title: str,
    x_title: str,
    y_title: str,
    curves: Sequence[Curve],
    *,
    x_form: str = "General",
    y_form: str = "General",
    x_range: tuple = (None, None),
    y_range: tuple = (None, None),
    x_step: float | None = None,
    x_log: bool = False,
) -> ScatterChart:
    """A chart of curves over a number axis."""
    chart = ScatterChart()
    chart.scatterStyle = "lineMarker"
    chart.style = None
    dress(chart, title, x_title, y_title, x_form=x_form, y_form=y_form)
    for axis, limits in ((chart.x_axis, x_range), (chart.y_axis, y_range)):
        axis.majorTickMark = "out"
        axis.scaling.min, axis.scaling.max = limits
    if x_log:
        chart.x_axis.scaling.logBase = 10
    if x_step:
        chart.x_axis.majorUnit = x_step
    chart.y_axis.crosses = "min"
    chart.x_axis.crosses = "min"
    for curve in curves:
        chart.series.append(_series(curve))
    add_legend(chart)
    chart.height = HEIGHT
    return chart
