"""The forms of a plan workbook: one row of a wide table down a page, by topic.

A form holds no figure of its own. One cell chooses the row; every other value is read from the cell of
the table, and beside it stands a link to that cell, which is where a value is typed. Formulas refer to
columns, so that they follow when columns are moved, and use no function that a spreadsheet might lack.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl import Workbook
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from ..base.fields import Field
from ..base.naming import capital
from ..base.units import AS_GIVEN
from ..plan.tables import COMPONENTS, COMPONENTS_TABLE, MATERIALS, STATIONS, Table
from ..xlsx.amend import HEADER_ROW
from . import style

__all__ = ["FORMS", "LIST_ROWS", "list_name", "write_form"]

LIST_ROWS = 500  # rows of a table that lists, checks and forms reach
FIELD, VALUE, CELL, _ALLOWED, BLANK, MEANING = range(1, 7)  # columns of a form
WIDTHS = (25, 19, 7, 21, 11, 40)
CHOICE, FOUND = "$B$3", "$B$4"  # the name that is chosen, the row in which it stands
TOP = 5  # row of the headers
LINE = 13.5  # points of a line of text
ACROSS, DOWN = 96, 690  # characters and points on an upright page at full size, on A4 and on Letter


@dataclass(frozen=True, slots=True)
class Block:
    """One row of a table on a form: which, by further keys beside the name that is chosen."""

    table: Table
    title: str = ""
    keys: tuple[tuple[str, str], ...] = ()  # column and value


@dataclass(frozen=True, slots=True)
class PlanForm:
    """A form: its sheet is named by the table of its first block."""

    blocks: tuple[Block, ...]

    @property
    def table(self) -> Table:
        """The table whose row is chosen."""
        return self.blocks[0].table


FORMS = (
    PlanForm(
        (
            Block(MATERIALS),
            *(
                Block(COMPONENTS_TABLE, f"Component {letter.upper()}", (("component", letter),))
                for letter in COMPONENTS
            ),
        )
    ),
    PlanForm((Block(STATIONS),)),
)


def list_name(table: str) -> str:
    """The defined name over the filled part of a table's first column."""
    return f"list_{table.lower()}"


def write_form(book: Workbook, form: PlanForm, rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    """Add the sheet of a form; `rows` are those of the plan, for the room that their texts need."""
    table = form.table
    sheet = book.create_sheet(table.form)
    key = table.columns[0]
    sheet["A1"] = table.form
    style.title(sheet["A1"])
    sheets = " and ".join(dict.fromkeys(block.table.name for block in form.blocks))
    words = (
        f"Choose a {key.words} in the yellow cell. To change a value, click its cell and type in {sheets}."
    )
    sheet["A2"] = words
    sheet["A2"].font = style.NOTE
    _write_choice(sheet, table, key)
    for column, head in enumerate(("Field", "Value", "Cell", "It must be", "If blank", "Meaning"), 1):
        style.header(sheet.cell(TOP, column, head))
    row, starts = TOP + 1, []
    for block in form.blocks:
        row, topics = _write_block(sheet, block, row, rows.get(block.table.name, ()))
        starts += topics
    for column, width in enumerate(WIDTHS, 1):
        style.set_width(sheet, column, width)
    sheet.row_dimensions[1].height = 24
    sheet.row_dimensions[TOP].height = LINE + 5
    sheet.freeze_panes = sheet.cell(TOP + 1, VALUE + 1)
    sheet.sheet_view.showGridLines = False
    style.page(sheet, landscape=False)
    sheet.print_title_rows = f"3:{TOP}"
    sheet.print_area = f"A1:{get_column_letter(MEANING)}{row - 1}"
    _break_between_topics(sheet, [*starts, row])


def _break_between_topics(sheet: Worksheet, starts: Sequence[int]) -> None:
    """Pages down, each of whole topics; `starts` are their first rows and the row below the last."""
    scale = math.floor(100.0 * ACROSS / sum(WIDTHS))
    style.fixed_scale(sheet, scale)
    heights = sheet.row_dimensions
    room = 100.0 * DOWN / scale - sum(heights[row].height or LINE for row in range(3, TOP + 1))
    used = heights[1].height + LINE
    for first, following in itertools.pairwise(starts):
        taken = sum(heights[row].height or LINE for row in range(first, following))
        if used + taken > room:
            sheet.row_breaks.append(Break(id=first - 1))
            used = 0.0
        used += taken


def _write_choice(sheet: Worksheet, table: Table, key: Field) -> None:
    """The cell that chooses, with the first name of the table until another is chosen, and its row."""
    names = _cells(table, key)
    sheet["A3"] = key.heading
    sheet["A4"] = f"Row in {table.name}"
    chosen, found = sheet[CHOICE.replace("$", "")], sheet[FOUND.replace("$", "")]
    style.put(chosen, style.Live(f'=IF(INDEX({names},1)="","",INDEX({names},1))'))
    style.put(found, style.Live("=" + _row_of(table, ())))
    style.input_cell(chosen)
    chosen.font, chosen.alignment = style.BOLD, style.LEFT
    found.number_format = '0;-0;"not there"'
    for cell in (sheet["A3"], sheet["A4"], found):
        cell.font, cell.alignment = (style.BOLD if cell.row == 3 else style.BODY), style.LEFT
    check = DataValidation(
        "list",
        formula1=list_name(table.name),
        allow_blank=True,
        errorStyle="stop",
        showErrorMessage=True,
        error=f"Choose a name of table {table.name}.",
    )
    check.add(chosen.coordinate)
    sheet.add_data_validation(check)


def _write_block(
    sheet: Worksheet, block: Block, row: int, rows: Sequence[Mapping[str, Any]]
) -> tuple[int, list[int]]:
    """One row of a table, topic by topic; gives the row below and the first rows of the topics."""
    found, starts = FOUND, []
    if block.title:
        starts.append(row)
        _write_topic(sheet, row, block.title, is_title=True)
        cell = sheet.cell(row, VALUE)
        style.put(cell, style.Live("=" + _row_of(block.table, block.keys)))
        cell.number_format = f'"row "0" of {block.table.name}";-0;"not there"'
        cell.font = style.BODY
        found = f"$B${row}"
        row += 1
    given = {block.table.columns[0].name, *(name for name, _ in block.keys)} if block.title else set()
    for number, (words, columns) in enumerate(block.table.topics):
        if number or not block.title:  # the first topic of a titled block stands under its title
            starts.append(row)
            _write_topic(sheet, row, words)
            row += 1
        for item in columns:
            if item.name in given:
                continue
            texts = [str(each[item.name]) for each in rows if each.get(item.name) is not None]
            _write_field(sheet, row, block.table, item, found, texts)
            row += 1
    return row, starts


def _write_topic(sheet: Worksheet, row: int, words: str, is_title: bool = False) -> None:
    sheet.cell(row, FIELD, words)
    for column in range(FIELD, MEANING + 1):
        cell = sheet.cell(row, column)
        cell.font, cell.border = (style.HEADING if is_title else style.SECTION), style.RESULT_BORDER
        cell.alignment = style.FOOT
    sheet.row_dimensions[row].height = LINE + 7


def _write_field(
    sheet: Worksheet, row: int, table: Table, item: Field, found: str, texts: Sequence[str]
) -> None:
    column = get_column_letter(table.columns.index(item) + 1)
    head = f"{table.name}!{column}${HEADER_ROW}"
    value = f"INDEX({table.name}!${column}$1:${column}${HEADER_ROW + LIST_ROWS},{found})"
    place = f"ADDRESS(IF({found}=0,{HEADER_ROW},{found}),COLUMN({head}),4)"
    numeric = item.kind in ("number", "whole")
    entries = (
        style.Live(f"={head}"),
        style.Live(f'=IF({found}=0,"",IF({value}="","",{value}))'),
        style.Live(f'=HYPERLINK("#{table.name}!"&{place},{place})'),
        f"a name in {item.refers}" if item.refers else item.allowed(),
        _if_blank(item),
        capital(item.help),
    )
    for number, entry in enumerate(entries, 1):
        cell = sheet.cell(row, number)
        style.put(cell, entry)
        cell.font, cell.border, cell.alignment = style.BODY, style.BORDER, style.WRAP
    sheet.cell(row, VALUE).font = style.BOLD
    if numeric:
        sheet.cell(row, VALUE).alignment = style.RIGHT
    sheet.cell(row, CELL).font = style.LINK
    longest = max(texts, key=len, default="")
    shown = (item.title, longest, "", str(entries[3]), str(entries[4]), str(entries[5]))
    lines = max(
        style.wrapped_lines(text, (width - 2) * (1.0 if place == VALUE else style.NARROW))
        for place, (text, width) in enumerate(zip(shown, WIDTHS, strict=True), 1)
    )
    sheet.row_dimensions[row].height = LINE * lines + 2


def _if_blank(item: Field) -> str:
    """What a blank cell stands for, in the words of a narrow column."""
    if item.is_required:
        return "needed"
    if item.default is None:
        return "not known"
    unit = f" {item.unit}" if item.unit and item.unit != AS_GIVEN else ""
    return f"{item.default_text()}{unit}" if item.default != "" else ""


def _cells(table: Table, item: Field) -> str:
    letter = get_column_letter(table.columns.index(item) + 1)
    return f"{table.name}!${letter}${HEADER_ROW + 1}:${letter}${HEADER_ROW + LIST_ROWS}"


def _row_of(table: Table, keys: Sequence[tuple[str, str]]) -> str:
    """A formula: the row of the sheet that has the chosen name and these keys, 0 for none."""
    names = _cells(table, table.columns[0])
    tests = [
        f"({names}={CHOICE})",
        *(f'({_cells(table, table.column(name))}="{value}")' for name, value in keys),
    ]
    return f'IF({CHOICE}="",0,SUMPRODUCT({"*".join(tests)}*ROW({names})))'
