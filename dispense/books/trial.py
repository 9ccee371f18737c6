"""The sheet on which a station is tried: what may be changed, what follows, the shift beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from openpyxl import Workbook
from openpyxl.chart import Reference
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from . import style
from .charts import LOOKS, Curve, scatter

SHEET = "Station"
TITLE = "Try a station"
LISTS = "Lists"
MOST_INPUTS = 14  # takt, temperature, lots of two components, ten widths
MOST_FIGURES = 160
CHOSEN = {"station": "B4", "day": "B5", "shift": "B6"}
PLAN_CELL = "B7"
FIRST_INPUT = 10  # the row of the first thing to change
FIRST_FIGURE = FIRST_INPUT + MOST_INPUTS + 3
WIDTHS = (46, 18, 18, 14, 9)
#: curves of the picture of the shift: its name, and whether it is a line or marks (of which shape)
PICTURE = (
    ("here", "line"),
    ("in the plan", "line"),
    ("container", "square"),
    ("purge, mixer", "triangle"),
    ("check", "diamond"),
)
MOST_POINTS = 150  # of a curve
PICTURE_AT, PICTURE_COLUMN, PICTURE_WIDTH = "G3", 5, 14.0  # its corner, the first column of its figures, cm
Curves: TypeAlias = Mapping[str, Sequence[tuple[float, float]]]  # parts of a day, parts done
HOUR = 1.0 / 24.0  # on an axis of clock times
TITLE_HEIGHT = 24  # of the first row, in points

_WORDS = (
    "What is typed here changes nothing in the plan: the figures below follow, beside those of the plan. "
    "A yellow cell left blank is as in the plan."
)


def input_rows() -> range:
    """Rows of what may be changed."""
    return range(FIRST_INPUT, FIRST_INPUT + MOST_INPUTS)


def figure_rows() -> range:
    """Rows of what follows."""
    return range(FIRST_FIGURE, FIRST_FIGURE + MOST_FIGURES)


def trial_workbook(
    chosen: Mapping[str, str], lists: Mapping[str, Sequence[str]], plan: str, curves: Curves
) -> bytes:
    """The workbook without its figures: lists to choose from, headers, cells to type into, the picture.

    A picture has its figures from the start: LibreOffice takes clock times that come later for names.
    """
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = SHEET
    for column, width in enumerate(WIDTHS, 1):
        style.set_width(sheet, column, width)
    for cell, text, font in ((sheet["A1"], TITLE, style.TITLE), (sheet["A2"], _WORDS, style.NOTE)):
        style.put(cell, text)
        cell.font = font
    sheet.row_dimensions[1].height = TITLE_HEIGHT
    _choices(book, sheet, chosen, lists)
    style.put(sheet["A7"], "Plan")
    style.put(sheet[PLAN_CELL], plan)
    sheet["A7"].font = sheet[PLAN_CELL].font = style.NOTE
    _headers(sheet, FIRST_INPUT - 1, ("What you change", "Here", "In the plan", "", "Unit"))
    _headers(sheet, FIRST_FIGURE - 1, ("What follows", "Here", "In the plan", "Change", "Unit"))
    for row in input_rows():
        style.input_cell(sheet.cell(row, 2))
        for column in (1, 3, 5):
            sheet.cell(row, column).font = style.BODY
        _align(sheet, row)
    for row in figure_rows():
        for column in range(1, 6):
            cell = sheet.cell(row, column)
            cell.font = style.BOLD if column == 2 else style.BODY
        _align(sheet, row)
    _picture(book, sheet, curves)
    sheet.freeze_panes = f"A{CHOSEN_END + 1}"
    style.page(sheet)
    return style.stable_bytes(book)


CHOSEN_END = 7


def _choices(
    book: Workbook, sheet: Any, chosen: Mapping[str, str], lists: Mapping[str, Sequence[str]]
) -> None:
    """The cells to choose in, and a sheet with the lists that they offer."""
    page = book.create_sheet(LISTS)
    for column, (name, address) in enumerate(CHOSEN.items(), 1):
        cell = sheet[address]
        style.put(sheet.cell(cell.row, 1), name.capitalize())
        sheet.cell(cell.row, 1).font = style.BOLD
        style.input_cell(cell)
        style.put(cell, chosen[name])
        letter = page.cell(1, column).column_letter
        style.put(page.cell(1, column), name.capitalize())
        for row, text in enumerate(lists[name], 2):
            style.put(page.cell(row, column), text)
        last = max(2, len(lists[name]) + 1)
        rule = DataValidation("list", formula1=f"{LISTS}!${letter}$2:${letter}${last}", allow_blank=False)
        rule.add(address)
        sheet.add_data_validation(rule)
    page.sheet_state = "hidden"


def _picture(book: Workbook, sheet: Any, points: Curves) -> None:
    """Parts done against the clock, here and in the plan, and what was changed or checked when."""
    page = book[LISTS]
    curves = []
    for place, (name, kind) in enumerate(PICTURE):
        column = PICTURE_COLUMN + 2 * place
        style.put(page.cell(1, column), f"{name}: clock")
        style.put(page.cell(1, column + 1), f"{name}: parts")
        x, y = (
            Reference(page, min_col=each, min_row=2, max_row=MOST_POINTS + 1) for each in (column, column + 1)
        )
        if kind == "line":
            curves.append(Curve(name, x, y, *LOOKS[place]))
        else:
            curves.append(Curve(name, x, y, None, kind, style.GREY if kind == "diamond" else style.ACCENT))
    for cell, value in picture_cells(points).items():
        page[cell.partition("!")[2]].value = value
    chart = scatter("The shift", "Clock", "Parts done", curves, x_form="hh:mm", x_step=HOUR)
    chart.plot_visible_only = False  # its figures stand on a hidden sheet
    chart.display_blanks = "gap"
    chart.width = PICTURE_WIDTH
    sheet.add_chart(chart, PICTURE_AT)


def picture_cells(curves: Curves) -> dict[str, Any]:
    """The figures of the picture by cell: parts of a day and parts done of each curve, the rest blank."""
    cells: dict[str, Any] = {}
    for place, (name, _) in enumerate(PICTURE):
        points = curves.get(name, ())[:MOST_POINTS]
        for part, column in enumerate((PICTURE_COLUMN + 2 * place, PICTURE_COLUMN + 2 * place + 1)):
            letter = get_column_letter(column)
            for row in range(MOST_POINTS):
                cells[f"{LISTS}!{letter}{row + 2}"] = points[row][part] if row < len(points) else None
    return cells


def _align(sheet: Any, row: int) -> None:
    """Words and unit to the left, figures to the right; a long text is shown smaller."""
    for column in range(1, 6):
        figure = column in (2, 3, 4)
        sheet.cell(row, column).alignment = Alignment(
            horizontal="right" if figure else "left", vertical="top", indent=1, shrink_to_fit=figure
        )


def _headers(sheet: Any, row: int, words: Sequence[str]) -> None:
    for column, text in enumerate(words, 1):
        cell = sheet.cell(row, column)
        style.put(cell, text)
        style.header(cell, right=column in (2, 3, 4))


def cells_of(rows: range, lines: Sequence[Sequence[Any]], columns: str) -> Iterator[tuple[str, Any]]:
    """The cells of a block of the sheet that lines of values fill; the rest of it is blank."""
    for place, row in enumerate(rows):
        values = lines[place] if place < len(lines) else [None] * len(columns)
        for letter, value in zip(columns, values, strict=True):
            yield f"{SHEET}!{letter}{row}", value


__all__ = [
    "CHOSEN",
    "PICTURE",
    "picture_cells",
    "FIRST_INPUT",
    "MOST_FIGURES",
    "MOST_INPUTS",
    "PLAN_CELL",
    "SHEET",
    "TITLE",
    "cells_of",
    "figure_rows",
    "input_rows",
    "trial_workbook",
]
