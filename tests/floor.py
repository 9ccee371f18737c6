"""Sheets filled in by hand for tests: values typed under a header, as a spreadsheet saves them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl

from dispense.xlsx.package import Package


def place_of(path: Path, table: str, header: str, row: int = 0) -> tuple[str, str]:
    """Sheet and address of a cell of a filled sheet's table, found by the header's words without unit."""
    found = Package.open(path).table(table)
    titles = [title.partition(" [")[0] for title in found.columns]
    column = openpyxl.utils.get_column_letter(found.first_column + titles.index(header))
    return found.sheet.name, f"{column}{found.first_data_row + row}"


def type_in(path: Path, table: str, header: str, values: list[Any]) -> list[str]:
    """Type values one under another from a table's first row on; None skips a row. The cells, as named."""
    sheet, first = place_of(path, table, header)
    book = openpyxl.load_workbook(path)
    cells = []
    for down, value in enumerate(values):
        cell = book[sheet][first].offset(row=down)
        if value is not None:
            cell.value = value
            cells.append(f"{path.name} {sheet}!{cell.coordinate}")
    book.save(path)
    return cells
