"""Sheets of values written as a workbook: what stands on a screen, for whatever reads a file.

Values only: a text that begins with `=` is a text, an error its text, a date a cell with a date's format.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Protocol

from .content import clean_text
from .package import column_letters, split_range

ERRORS = frozenset({"#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A"})


class Shown(Protocol):
    """A sheet as it is shown: its name, its rows from A1 on, its tables by their range."""

    @property
    def name(self) -> str:
        """The sheet's name."""

    @property
    def rows(self) -> Sequence[Sequence[Any]]:
        """Values row by row."""

    @property
    def tables(self) -> Mapping[str, str]:
        """Ranges of named tables."""


def snapshot(sheets: Iterable[Shown]) -> bytes:
    """A workbook of these sheets.

    >>> from collections import namedtuple
    >>> sheet = namedtuple("Sheet", "name rows tables")("Parts", [["Part"], ["=lid"]], {})
    >>> from openpyxl import load_workbook
    >>> load_workbook(io.BytesIO(snapshot([sheet])))["Parts"]["A2"].data_type
    's'
    """
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that columns of tables are named by hand, as they are
        for sheet in sheets:
            page = book.create_sheet(sheet.name)
            for row in sheet.rows:
                page.append(list(_cells(page, row)))
            for name, ref in sheet.tables.items():
                page.add_table(_table(name, ref, sheet.rows))
        if not book.worksheets:
            book.create_sheet()
        book.save(stream)
    return stream.getvalue()


def _cells(page: Any, row: Iterable[Any]) -> Iterator[Any]:
    from openpyxl.cell import WriteOnlyCell

    for value in row:
        if isinstance(value, str):
            cell = WriteOnlyCell(page, clean_text(value))
            cell.data_type = "e" if value in ERRORS else "s"
            yield cell
        else:
            yield value


def _table(name: str, ref: str, rows: Sequence[Sequence[Any]]) -> Any:
    """A table whose columns are called as its first row says."""
    from openpyxl.worksheet.table import Table, TableColumn

    top, left, _, right = split_range(ref)
    header = rows[top - 1] if top <= len(rows) else ()
    columns = []
    for place in range(left, right + 1):
        value = header[place - 1] if place <= len(header) else None
        words = clean_text(str(value)) if value not in (None, "") else f"Column {column_letters(place)}"
        columns.append(TableColumn(id=place - left + 1, name=words))
    return Table(displayName=name, ref=ref, tableColumns=columns)


__all__ = ["snapshot"]
