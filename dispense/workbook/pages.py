"""Print set-up of a filled workbook: paper size, stamp in the footers, rows high enough for text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from lxml import etree

from .package import MAIN, Package, split_cell, split_range

__all__ = ["fit_texts", "set_paper", "stamp_footers"]

_POINTS = 1.32  # height of a line of text over its font size
_NARROW = 1.12  # characters that fit in a column's width, over the width; digits are wider than letters


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


def fit_texts(package: Package, values: Mapping[str, Any]) -> None:
    """Make rows high enough for the wrapped texts of named cells; no row gets lower.

    A spreadsheet fits rows to text by itself, but not where cells are merged.
    """
    texts = {name.lower(): value for name, value in values.items() if isinstance(value, str)}
    wanted: dict[str, list[tuple[int, int, str]]] = {}
    for item in package.defined_names:
        text = texts.get(item.name.lower())
        sheet_name, bang, address = item.text.rpartition("!")
        if not text or len(text) < 12 or not bang or ":" in address:
            continue
        title = sheet_name.strip("'").replace("''", "'")
        try:
            row, column = split_cell(address)
        except ValueError:
            continue
        wanted.setdefault(title, []).append((row, column, text))
    for title, cells in wanted.items():
        sheet = package.sheet(title)
        if sheet is not None and sheet.kind == "worksheet":
            _fit(package, sheet.part, cells)


def _fit(package: Package, part: str, cells: list[tuple[int, int, str]]) -> None:
    root = package.tree(part)
    widths = _widths(root)
    spans = {}
    for merged in root.iterfind(f"{{{MAIN}}}mergeCells/{{{MAIN}}}mergeCell"):
        top, left, _, right = split_range(merged.get("ref", "A1"))
        spans[top, left] = right
    styles = _wrapped(package)
    rows = {int(row.get("r", "0")): row for row in root.iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row")}
    heights: dict[int, float] = {}
    for row, column, text in cells:
        element = rows.get(row)
        cell = None if element is None else _cell(element, column)
        size = styles.get(cell.get("s", "0")) if cell is not None else None
        if size is None:
            continue
        width = sum(widths(place) for place in range(column, spans.get((row, column), column) + 1))
        lines = wrapped_lines(text, width * 10.0 / size * _NARROW)
        heights[row] = max(heights.get(row, 0.0), round(lines * size * _POINTS + 4, 1))
    for row, height in heights.items():
        held = float(rows[row].get("ht", "15"))
        if height > held:
            if rows[row].getroottree() is not package.edit(part).getroottree():
                rows = {int(item.get("r", "0")): item
                        for item in package.edit(part).iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row")}  # fmt: skip
            rows[row].set("ht", f"{height:g}")
            rows[row].set("customHeight", "1")


def _cell(row: etree._Element, column: int) -> etree._Element | None:
    for cell in row:
        address = cell.get("r")
        if address and split_cell(address)[1] == column:
            return cell
    return None


def _widths(root: etree._Element):
    standard = root.find(f"{{{MAIN}}}sheetFormatPr")
    default = float(standard.get("defaultColWidth", "8.43")) if standard is not None else 8.43
    listed = [
        (int(item.get("min", "1")), int(item.get("max", "1")), float(item.get("width", default)))
        for item in root.iterfind(f"{{{MAIN}}}cols/{{{MAIN}}}col")
    ]  # fmt: skip

    def width(column: int) -> float:
        return next((size for first, last, size in listed if first <= column <= last), default)

    return width


def _wrapped(package: Package) -> dict[str, float]:
    """Font size of each cell style that wraps its text."""
    if "wrapped" in package._memo:
        return package._memo["wrapped"]
    found: dict[str, float] = {}
    parts = package.related(package.workbook_part, "styles")
    if parts:
        root = package.tree(parts[0])
        sizes = [float(size.get("val", "11")) if (size := font.find(f"{{{MAIN}}}sz")) is not None else 11.0
                 for font in root.iterfind(f"{{{MAIN}}}fonts/{{{MAIN}}}font")]  # fmt: skip
        for place, item in enumerate(root.iterfind(f"{{{MAIN}}}cellXfs/{{{MAIN}}}xf")):
            alignment = item.find(f"{{{MAIN}}}alignment")
            if alignment is not None and alignment.get("wrapText") in ("1", "true"):
                found[str(place)] = sizes[int(item.get("fontId", "0"))]
    package._memo["wrapped"] = found
    return found


def wrapped_lines(text: str, width: float) -> int:
    """Lines that a text takes when wrapped at words into so many characters.

    >>> wrapped_lines("one two three", 8)
    2
    """
    count = 0
    for line in text.split("\n"):
        used = 0.0
        count += 1
        for word in line.split():
            size = len(word)
            if used and used + 1 + size > width:
                count, used = count + 1, 0.0
            if size > width:
                count += math.ceil(size / max(width, 1.0)) - 1
            used += size + (1 if used else 0)
    return count


