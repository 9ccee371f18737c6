"""A few cells of a workbook that is somebody's own: values put in their place, a row added, a sheet added.

What is not touched stays as it is, byte for byte in every other part of the file.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import quoteattr

from lxml import etree

from ..base.errors import InputError, Problem
from .content import FORMULA, SHARED, encode, set_content
from .forms import date_styles
from .package import MAIN, PACKAGE_RELATIONS, RELATIONS, Package, Sheet, Table, column_letters, split_cell
from .rows import Grid
from .shared import DECLARED
from .templates import style_with

__all__ = ["add_row", "add_table_sheet", "formula_at", "put_cell"]

DATE_FORM = "yyyy-mm-dd"
HEADER_ROW = 3  # of a sheet that is added: below its title, as in a new plan
_SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
_TABLE = "application/vnd.openxmlformats-officedocument.spreadsheetml.table+xml"
_DECLARED = DECLARED.decode()


def _sheet(package: Package, name: str) -> Sheet:
    found = package.sheet(name)
    if found is None:
        raise InputError(Problem(name, message="the workbook has no such sheet"))
    return found


def formula_at(package: Package, sheet: str, address: str) -> bool:
    """Whether a cell holds a formula."""
    cell = (
        Grid(package.tree(_sheet(package, sheet).part))
        .cells(split_cell(address)[0])
        .get(split_cell(address)[1])
    )
    return cell is not None and cell.find(FORMULA) is not None


def put_cell(package: Package, sheet: str, address: str, value: Any, like: str | None = None) -> None:
    """Put a value into a cell, which keeps its style; a new one takes that of the cell `like`.

    A date is shown as one whatever the style.
    """
    grid = Grid(package.edit(_sheet(package, sheet).part))
    row, column = split_cell(address)
    is_new = column not in grid.cells(row)
    cell = grid.cell(row, column)
    if is_new and like is not None:
        model = grid.cells(split_cell(like)[0]).get(split_cell(like)[1])
        if model is not None and model.get("s"):
            cell.set("s", model.get("s", "0"))
    set_content(cell, encode(value, package.date1904), package)
    if isinstance(value, datetime.date) and not _shows_dates(package, cell.get("s", "0")):
        cell.set("s", style_with(package, cell.get("s", "0"), DATE_FORM))


def _shows_dates(package: Package, style: str) -> bool:
    return int(style) in date_styles(package)


def add_row(
    package: Package, sheet: str, row: int, values: Mapping[str, Any], height: float | None = None
) -> None:
    """Put values, by column letter, into a row that is free, and let the Excel table above it reach to it.

    `height` is that of the row in points, where it shall show more than a line.
    """
    place = _sheet(package, sheet)
    held = package.cell_values(place)
    taken = [f"{letter}{row}" for letter in values if held.get(f"{letter}{row}") not in (None, "")]
    table = _table_above(package, place, row, next(iter(values)))
    if taken or (table is not None and table.totals_rows and row > table.last_data_row):
        raise InputError(
            Problem(
                f"{sheet}!{next(iter(values))}{row}",
                message="the row below the table is not free",
                fix="insert a row at the end of the table",
            )
        )
    for letter, value in values.items():
        put_cell(package, sheet, f"{letter}{row}", value, like=f"{letter}{row - 1}")
    if height is not None:
        element = Grid(package.edit(place.part)).row(row)
        element.set("ht", f"{height:g}")
        element.set("customHeight", "1")
    if table is not None and row > table.last_row:
        _reach(package, table, row)


def _table_above(package: Package, sheet: Sheet, row: int, letter: str) -> Table | None:
    """The Excel table that a row belongs to, or that ends just above it."""
    column = split_cell(f"{letter}1")[1]
    for table in package.tables:
        across = table.first_column <= column <= table.last_column
        if table.sheet == sheet and across and table.first_row < row <= table.last_row + 1:
            return table
    return None


def _reach(package: Package, table: Table, row: int) -> None:
    """Let a table end with a row."""
    root = package.edit(table.part)
    for item in (root, root.find(f"{{{MAIN}}}autoFilter")):
        if item is not None:
            first = item.get("ref", "").partition(":")[0]
            item.set("ref", f"{first}:{column_letters(table.last_column)}{row}")


# ------------------------------------------------------------------------------------- a new sheet


def _free(package: Package, form: str) -> str:
    number = 1
    while package.find(form.format(number)) is not None:
        number += 1
    return form.format(number)


def add_table_sheet(package: Package, name: str, headers: Sequence[str], widths: Sequence[float]) -> None:
    """Add a sheet at the end with an Excel table of that name: its title, its headers, one blank row."""
    sheet, table = _free(package, "xl/worksheets/sheet{}.xml"), _free(package, "xl/tables/table{}.xml")
    right = column_letters(len(headers))
    area = f"A{HEADER_ROW}:{right}{HEADER_ROW + 1}"
    package.put(sheet, _sheet_xml(package, name, headers, widths).encode())
    number = 1 + max((int(package.tree(item.part).get("id", "0")) for item in package.tables), default=0)
    package.put(table, _table_xml(name, number, area, headers).encode())
    package.put(
        f"xl/worksheets/_rels/{sheet.rpartition('/')[2]}.rels",
        f'{_DECLARED}<Relationships xmlns="{PACKAGE_RELATIONS}"><Relationship Id="rId1" '
        f'Type="{RELATIONS}/table" Target="/{table}"/></Relationships>'.encode(),
    )
    package.declare(sheet, _SHEET)
    package.declare(table, _TABLE)
    book = package.workbook_part
    link = package.link(book, f"{RELATIONS}/worksheet", f"/{sheet}")
    listed = package.edit(book).find(f"{{{MAIN}}}sheets")
    assert listed is not None
    numbers = [int(item.get("sheetId", "0")) for item in listed]
    added = etree.SubElement(listed, f"{{{MAIN}}}sheet", name=name, sheetId=str(max(numbers, default=0) + 1))
    added.set(f"{{{RELATIONS}}}id", link)


def _sheet_xml(package: Package, name: str, headers: Sequence[str], widths: Sequence[float]) -> str:
    def text(address: str, words: str) -> str:
        return f'<c r="{address}" t="{SHARED}"><v>{package.share(words)}</v></c>'

    columns = "".join(
        f'<col min="{place}" max="{place}" width="{width:g}" customWidth="1"/>'
        for place, width in enumerate(widths, 1)
    )
    cells = "".join(
        text(f"{column_letters(place)}{HEADER_ROW}", words) for place, words in enumerate(headers, 1)
    )
    return (
        f'{_DECLARED}<worksheet xmlns="{MAIN}" xmlns:r="{RELATIONS}"><cols>{columns}</cols><sheetData>'
        f'<row r="1">{text("A1", name)}</row><row r="{HEADER_ROW}">{cells}</row></sheetData>'
        '<pageSetup orientation="landscape"/>'
        '<tableParts count="1"><tablePart r:id="rId1"/></tableParts></worksheet>'
    )


def _table_xml(name: str, number: int, area: str, headers: Sequence[str]) -> str:
    columns = "".join(
        f'<tableColumn id="{place}" name={quoteattr(words)}/>' for place, words in enumerate(headers, 1)
    )
    named = quoteattr(name)
    return (
        f'{_DECLARED}<table xmlns="{MAIN}" id="{number}" name={named} displayName={named} ref="{area}" '
        f'totalsRowShown="0"><autoFilter ref="{area}"/>'
        f'<tableColumns count="{len(headers)}">{columns}</tableColumns>'
        '<tableStyleInfo name="TableStyleLight1" showFirstColumn="0" showLastColumn="0" '
        'showRowStripes="1" showColumnStripes="0"/></table>'
    )
