"""Print set-up of a filled workbook: paper size, stamp in the footers, rows high enough for text."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping

from lxml import etree

from ..base.printed import Printed, digits_of
from ..xlsx.package import MAIN, Package, split_cell
from .style import NARROW, wrapped_lines

__all__ = ["fit_texts", "set_paper", "row_height", "set_scale", "stamp_footers", "text_lines"]

_CHART = "http://schemas.openxmlformats.org/drawingml/2006/chart"

_POINTS = 1.32  # height of a line of text over its font size
_SHORT = 5  # characters that fit on a line anywhere


def set_paper(package: Package, code: str) -> None:
    """Set the paper size of every sheet that has a print set-up."""
    for sheet in package.worksheets:
        setup = package.tree(sheet.part).find(f"{{{MAIN}}}pageSetup")
        if setup is not None and setup.get("paperSize") != code:
            package.edit(sheet.part).find(f"{{{MAIN}}}pageSetup").set("paperSize", code)


def stamp_footers(package: Package, mark: str, stamp: str) -> None:
    """Put the stamp where the footers have its mark."""
    words = stamp.replace("&", "&&")
    for sheet in package.worksheets:
        found = package.tree(sheet.part).find(f"{{{MAIN}}}headerFooter")
        if found is None or not any(mark in (item.text or "") for item in found):
            continue
        for item in package.edit(sheet.part).find(f"{{{MAIN}}}headerFooter"):
            if item.text:
                item.text = item.text.replace(mark, words)


def set_scale(package: Package, low: float, high: float) -> None:
    """Give the charts whose value axis has a fixed scale one that shows `low` and `high` well apart.

    Half the distance is left free above and below; the steps are round figures, and the labels of
    the axis have the decimals that tell them apart.
    """
    span = high - low or abs(low) / 20.0  # no limits: some room all the same
    if not span > 0.0:
        return
    step = _round_step(span / 3.0)
    least = math.floor((low - span / 2.0) / step) * step
    most = math.ceil((high + span / 2.0) / step) * step
    scale = {"min": least, "max": most, "majorUnit": step}
    for part in [part for sheet in package.worksheets for part in package.charts(sheet)]:
        for axis in package.edit(part).iter(f"{{{_CHART}}}valAx"):
            if axis.find(f"{{{_CHART}}}scaling/{{{_CHART}}}min") is None:
                continue
            for name, value in scale.items():
                for item in axis.iter(f"{{{_CHART}}}{name}"):
                    item.set("val", f"{value:.10g}")
            for item in axis.iterchildren(f"{{{_CHART}}}numFmt"):
                item.set("formatCode", Printed(step, digits_of(step)).form)
                item.set("sourceLinked", "0")


def _round_step(step: float) -> float:
    """The next of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(step))
    return next((figure * power for figure in (1.0, 2.0, 5.0) if figure * power >= step), 10.0 * power)


def fit_texts(package: Package) -> None:
    """Make the rows of changed sheets high enough for their wrapped texts; no row gets lower.

    A spreadsheet does so by itself, but not where cells are merged, and some not on opening.
    """
    styles = package.remember("wrapped", lambda: _wrapped(package))
    for sheet in package.worksheets:
        if styles and package.is_edited(sheet.part):
            _fit(package.edit(sheet.part), styles)


def _fit(root: etree._Element, styles: Mapping[str, tuple[float, float]]) -> None:
    widths = _widths(root)
    spans = {}
    for merged in root.iterfind(f"{{{MAIN}}}mergeCells/{{{MAIN}}}mergeCell"):
        first, _, last = merged.get("ref", "A1").partition(":")
        spans[first] = split_cell(last or first)[1]
    data = root.find(f"{{{MAIN}}}sheetData")
    for row in () if data is None else data:
        needed = 0.0
        for cell in row:
            if cell.get("t") != "inlineStr":
                continue
            look = styles.get(cell.get("s", "0"))
            text = "".join(cell.itertext()) if look else ""
            if look is None or len(text) < _SHORT:
                continue
            size, indent = look
            address = cell.get("r")
            column = split_cell(address)[1]
            last = spans.get(address, column)
            lines = text_lines(text, sum(widths(place) for place in range(column, last + 1)), size, indent)
            if lines > 1:
                needed = max(needed, row_height(lines, size))
        if needed > float(row.get("ht", "15")):
            row.set("ht", f"{needed:g}")
            row.set("customHeight", "1")


def _widths(root: etree._Element) -> Callable[[int], float]:
    standard = root.find(f"{{{MAIN}}}sheetFormatPr")
    default = float(standard.get("defaultColWidth", "8.43")) if standard is not None else 8.43
    listed = [
        (int(item.get("min", "1")), int(item.get("max", "1")), float(item.get("width", default)))
        for item in root.iterfind(f"{{{MAIN}}}cols/{{{MAIN}}}col")
    ]

    @functools.cache
    def width(column: int) -> float:
        return next((size for first, last, size in listed if first <= column <= last), default)

    return width


def _wrapped(package: Package) -> dict[str, tuple[float, float]]:
    """Font size and indent of each cell style that wraps its text."""
    found: dict[str, tuple[float, float]] = {}
    parts = package.related(package.workbook_part, "styles")
    if parts:
        root = package.tree(parts[0])
        sizes = [
            float(size.get("val", "11")) if (size := font.find(f"{{{MAIN}}}sz")) is not None else 11.0
            for font in root.iterfind(f"{{{MAIN}}}fonts/{{{MAIN}}}font")
        ]
        for place, item in enumerate(root.iterfind(f"{{{MAIN}}}cellXfs/{{{MAIN}}}xf")):
            alignment = item.find(f"{{{MAIN}}}alignment")
            if alignment is not None and alignment.get("wrapText") in ("1", "true"):
                size = sizes[int(item.get("fontId", "0"))]
                found[str(place)] = size, float(alignment.get("indent", "0"))
    return found


def text_lines(text: str, width: float, size: float, indent: float = 0.0) -> int:
    """Lines of a text in a cell of this width [characters], font size [pt] and indent."""
    return wrapped_lines(text, (width - 1.3 * indent - 0.8) * 10.0 / size * NARROW)


def row_height(lines: int, size: float) -> float:
    """The height of a row [pt] that holds so many lines."""
    return round(lines * size * _POINTS + 3.0, 1)
