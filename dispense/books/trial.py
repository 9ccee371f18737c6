"""The sheet on which a station is tried: what may be changed above, what follows below."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.worksheet.datavalidation import DataValidation

from . import style

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


def trial_workbook(chosen: Mapping[str, str], lists: Mapping[str, Sequence[str]], plan: str) -> bytes:
    """The workbook without its figures: lists to choose from, headers, cells to type into."""
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
    sheet.freeze_panes = f"A{CHOSEN_END + 1}"
    style.page(sheet, landscape=False)
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
