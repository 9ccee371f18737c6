"""The look of every workbook the planner writes: colours, fonts, borders, print set-up.

Dark text, one accent, pale yellow cells for input, bold results with a rule below, warnings with a
mark. Colour never stands alone: an input has a border, a warning its mark.
"""

from __future__ import annotations

import datetime
import io
import math
import zipfile
from collections.abc import Collection
from copy import copy
from typing import Any, TypeAlias

import numpy as np
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from dispense.xlsx.shared import share_inline

__all__ = [
    "ACCENT",
    "ANSWER",
    "BODY",
    "BOLD",
    "BORDER",
    "CENTRE",
    "FAMILY",
    "FOOT",
    "GREY",
    "HEADER_FILL",
    "HEADER_FONT",
    "HEADER_LEFT",
    "HEADER_RIGHT",
    "HEADING",
    "INPUT_FILL",
    "LEFT",
    "LINK",
    "MIDDLE",
    "NARROW",
    "NOTE",
    "RESULT_BORDER",
    "RESULT_FILL",
    "RIGHT",
    "SECTION",
    "STAMP",
    "TITLE",
    "WARNING_FILL",
    "WARNING_MARK",
    "WRAP",
    "Live",
    "Look",
    "fixed_scale",
    "header",
    "input_cell",
    "look_of",
    "map_cell",
    "mark_warning",
    "page",
    "put",
    "put_text",
    "result_cell",
    "set_look",
    "set_width",
    "stable_bytes",
    "title",
    "warning_cell",
    "wrapped_lines",
]

ACCENT = "1F4E5F"  # deep teal
DARK = "1A1A1A"
GREY = "5A5A5A"
RULE = "BFBFBF"

#: fills of a map from cool to hot: each darker than the one before, so that they tell in grey; dark text
HEAT = ("FFF8E6", "FCE2AE", "F6C77E", "EBA75A")
TOO_HOT = "D0824A"  # beyond a limit

FAMILY = "Calibri"
BODY = Font(name=FAMILY, size=10, color=DARK)
BOLD = Font(name=FAMILY, size=10, bold=True, color=DARK)
NOTE = Font(name=FAMILY, size=10, italic=True, color=GREY)
TITLE = Font(name=FAMILY, size=16, bold=True, color=ACCENT)
HEADING = Font(name=FAMILY, size=13, bold=True, color=ACCENT)  # of a page that has an answer
ANSWER = Font(name=FAMILY, size=18, bold=True, color=DARK)  # what the reader came for
SECTION = Font(name=FAMILY, size=11, bold=True, color=ACCENT)
LINK = Font(name=FAMILY, size=10, underline="single", color=ACCENT)
HEADER_FONT = Font(name=FAMILY, size=10, bold=True, color="FFFFFF")

HEADER_FILL = PatternFill("solid", start_color=ACCENT)
INPUT_FILL = PatternFill("solid", start_color="FFF8DC")
RESULT_FILL = PatternFill("solid", start_color="F2F2F2")
WARNING_FILL = PatternFill("solid", start_color="FCE4D6")
HEAT_FILLS = tuple(PatternFill("solid", start_color=shade) for shade in HEAT)
TOO_HOT_FILL = PatternFill("solid", start_color=TOO_HOT)
WARNING_MARK = "▲ "

_THIN = Side(style="thin", color=RULE)
_EDGE = Side(style="thick", color=DARK)
BORDER = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
RESULT_BORDER = Border(bottom=Side(style="medium", color=ACCENT))

LEFT = Alignment(horizontal="left", vertical="top", indent=1)
RIGHT = Alignment(horizontal="right", vertical="top")
CENTRE = Alignment(horizontal="center", vertical="center")
WRAP = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
MIDDLE = Alignment(vertical="center", wrap_text=True)
FOOT = Alignment(vertical="bottom")
# at the top, clear of the filter button in the lower corner
HEADER_LEFT = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
HEADER_RIGHT = Alignment(horizontal="right", vertical="top", wrap_text=True)

PICTURE_ROW = 13.5  # points of a row in the room of a picture, at most
NARROW = 1.18  # characters that fit in a column's width, over the width; digits are wider than letters

STAMP = datetime.datetime(2000, 1, 1)  # of files that must come out the same on any day
_ZIP_STAMP = (1980, 1, 1, 0, 0, 0)


def title(cell) -> None:
    """The title of a sheet."""
    cell.font = TITLE


def header(cell, right: bool = False) -> None:
    """A column header; `right` over numbers."""
    cell.font, cell.fill, cell.border = HEADER_FONT, HEADER_FILL, BORDER
    cell.alignment = HEADER_RIGHT if right else HEADER_LEFT


def input_cell(cell) -> None:
    """A cell for the reader to fill in."""
    cell.font, cell.fill, cell.border = BODY, INPUT_FILL, BORDER


def result_cell(cell) -> None:
    """A computed figure."""
    cell.font, cell.fill, cell.border = BOLD, RESULT_FILL, RESULT_BORDER


def warning_cell(cell) -> None:
    """A warning; its text begins with the mark."""
    cell.font, cell.fill = BOLD, WARNING_FILL
    mark_warning(cell)


def mark_warning(cell) -> None:
    """The mark of a warning before the text of its cell."""
    if isinstance(cell.value, str) and not cell.value.startswith(WARNING_MARK):
        cell.value = WARNING_MARK + cell.value


#: font, fill, border, alignment and number format of a cell, as numbers of its workbook
Look: TypeAlias = StyleArray


def look_of(cell: Cell) -> Look:
    """The look of a cell, to be given to others of its workbook."""
    look = copy(cell._style)
    look.quotePrefix = 0  # goes with the text
    return look


def set_look(cell: Cell, look: Look) -> None:
    """Give a cell the look of another one of its workbook; what each style is need not be compared anew."""
    is_quoted, cell._style = cell.quotePrefix, copy(look)
    cell.quotePrefix = is_quoted


def put_text(cell, text: str) -> None:
    """A text that is never taken for a formula."""
    text = ILLEGAL_CHARACTERS_RE.sub("", text)
    cell.value = text
    cell.data_type = "s"
    cell.quotePrefix = text.startswith(("=", "+", "-", "@"))


def map_cell(cell: Cell, warmth: float, edges: Collection[str]) -> None:
    """A cell of a map of temperatures: `warmth` from 0, cool, to 1, the limit; hotter ones stand out.

    `edges` are the sides, such as "top", on which the region that keeps the limit ends.
    """
    cell.font = BOLD if warmth > 1.0 else BODY
    step = min(max(int(warmth * len(HEAT_FILLS)), 0), len(HEAT_FILLS) - 1) if math.isfinite(warmth) else 0
    cell.fill = TOO_HOT_FILL if warmth > 1.0 else HEAT_FILLS[step]
    sides = ("left", "right", "top", "bottom")
    cell.border = Border(**{side: _EDGE if side in edges else _THIN for side in sides})


class Live(str):
    """A formula of ours; any other text is written as text, whatever it begins with."""

    __slots__ = ()


def put(cell, value: Any) -> None:
    """A value or a `Live` formula; what is not finite stays blank."""
    if isinstance(value, Live):
        cell.value = str(value)
    elif isinstance(value, str):
        put_text(cell, value)
    elif value is not None and not (isinstance(value, float) and not math.isfinite(value)):
        cell.value = value.item() if isinstance(value, np.generic) else value


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


def set_width(sheet: Worksheet, column: int, width: float) -> None:
    """The width of a column in characters."""
    sheet.column_dimensions[get_column_letter(column)].width = width


def page(
    sheet: Worksheet, *, landscape: bool = True, header_row: int = 0, key_column: int = 0, pages_wide: int = 1
) -> None:
    """Print set-up: A4, fitted to the width, header row and key column repeated, page numbers."""
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.fitToWidth = pages_wide
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    margins = sheet.page_margins
    margins.left = margins.right = 0.4
    margins.top, margins.bottom, margins.header, margins.footer = 0.6, 0.6, 0.3, 0.3
    sheet.oddFooter.left.text, sheet.oddFooter.left.size = "&F", 8
    sheet.oddFooter.center.text, sheet.oddFooter.center.size = "&A", 8
    sheet.oddFooter.right.text, sheet.oddFooter.right.size = "page &P of &N", 8
    if header_row:
        sheet.print_title_rows = f"{header_row}:{header_row}"
    if key_column and pages_wide > 1:
        letter = get_column_letter(key_column)
        sheet.print_title_cols = f"{letter}:{letter}"


def fixed_scale(sheet: Worksheet, percent: int) -> None:
    """Print at a scale, where pages break at places of their own: a fit to the width would ignore these."""
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=False)
    sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = None
    sheet.page_setup.scale = min(100, percent)


def stable_bytes(book: Workbook, stamp: datetime.datetime = STAMP) -> bytes:
    """The workbook as bytes that depend on its content and `stamp` only, not on day or machine.

    Parts are stored unpacked, since packing differs between versions of zlib.
    """
    book.properties.created = stamp
    book.properties.creator = "dispense"
    for sheet in book.worksheets:
        for cell in sheet._cells.values():
            if cell.value == "":  # openpyxl would write an inline string without its <is>
                cell.value = None
    raw = io.BytesIO()
    book.save(raw)
    moment = stamp.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    out = io.BytesIO()
    with zipfile.ZipFile(raw) as source:
        parts = {name: source.read(name) for name in source.namelist()}
    share_inline(parts)
    with zipfile.ZipFile(out, "w") as target:
        for name, data in parts.items():
            if name == "docProps/core.xml":
                data = _with_modified(data, moment)
            info = zipfile.ZipInfo(name, _ZIP_STAMP)
            info.create_system = 3
            info.external_attr = 0o600 << 16
            target.writestr(info, data, zipfile.ZIP_STORED)
    return out.getvalue()


def _with_modified(core: bytes, moment: bytes) -> bytes:
    """Core properties with the time of saving replaced by the stamp."""
    start = core.index(b"<dcterms:modified")
    first = core.index(b">", start) + 1
    return core[:first] + moment + core[core.index(b"</dcterms:modified>", first) :]
