"""A workbook as the reader of a plan sees it: a file, or what stands on the screen of a program.

Both give rows of values and say where tables are named; the rules of reading are in `read`.
"""

from __future__ import annotations

import datetime
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import repeat
from typing import Any, Protocol, TypeAlias

from ..base.errors import FileError, Problem, show
from ..xlsx.content import clean_text
from ..xlsx.package import MAIN, MAX_ROW, Package, Sheet, split_range
from ..xlsx.package import Table as ExcelTable
from ..xlsx.snapshot import Shown
from ..xlsx.stream import SheetValues

Cells: TypeAlias = tuple[Any, ...]  # the values of a row

# atomic, and never past the next "<": one pass over the text, whatever it holds
_ROW = re.compile(rb"<row(?=[\s/>])(?>(?:[^<>]*?\sr=[\"']([^\"'<>]*)[\"'])?)[^<>]*+>")
_ROW_NUMBER = re.compile(r"[1-9][0-9]{0,6}\Z")
_FORMULA_MARKS = (b"<f>", b"<f ", b"<f/", b":f>", b":f ", b":f/")  # in the XML of a sheet


class PlanBook(Protocol):
    """What reading a plan asks of a workbook."""

    @property
    def name(self) -> str:
        """What the workbook is called in messages."""

    @property
    def date1904(self) -> bool:
        """Whether its days are counted from 1904."""

    @property
    def worksheets(self) -> Sequence[Sheet]:
        """Its sheets of cells."""

    @property
    def tables(self) -> Sequence[ExcelTable]:
        """Its named tables."""

    def cells(
        self, sheet: Sheet, first_row: int, last_row: int, first_column: int, last_column: int | None
    ) -> Iterator[Cells]:
        """Values row by row, blank rows between others too; a last column of None gives all there are."""

    def rows(self, sheet: Sheet) -> tuple[int, str]:
        """The number of a sheet's last row, and what is wrong with its row numbers, "" for nothing."""

    def without_value(self, sheet: Sheet) -> list[str]:
        """Addresses of cells that hold a formula and no value."""

    def close(self) -> None:
        """No more is asked."""


# ------------------------------------------------------------------------------------------ a file


class FileBook:
    """A workbook file, vetted as a zip of XML parts before its sheets are streamed."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self._package = Package.open(path)
        self._values = SheetValues(self._package)
        self.name = self._package.name
        self.date1904 = self._package.date1904
        self.worksheets = self._package.worksheets
        if not self.worksheets:
            raise FileError(Problem(os.fspath(path), message="has no worksheet"))

    @property
    def tables(self) -> Sequence[ExcelTable]:
        """Its named tables."""
        return self._package.tables

    def cells(
        self, sheet: Sheet, first_row: int, last_row: int, first_column: int, last_column: int | None
    ) -> Iterator[Cells]:
        """Values as they are stored."""
        count = first_row
        blank: Cells = () if last_column is None else (None,) * (last_column - first_column + 1)
        try:
            for number, values in self._values.rows(sheet, first_column, last_column):
                if number > last_row:
                    break
                if number >= first_row:
                    yield from repeat(blank, number - count)
                    yield tuple(values)
                    count = number + 1
        except (ValueError, IndexError, SyntaxError) as error:  # of numbers, places of texts, XML
            raise damaged(self.name, error) from error

    def rows(self, sheet: Sheet) -> tuple[int, str]:
        """The last row and what is wrong.

        What stands behind the rows (lists, formats) need not be read then, and no row is dropped without a
        word.
        """
        found: tuple[int, str] = self._package.remember(
            ("rows", sheet.part), lambda: self._row_numbers(sheet.part)
        )
        return found

    def _row_numbers(self, part: str) -> tuple[int, str]:
        data = self._package.read(part)
        if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"<!" in data or b":row" in data:
            texts = [row.get("r") or "" for row in self._package.tree(part).iter(f"{{{MAIN}}}row")]
        else:
            texts = [text.decode("latin-1") for text in _ROW.findall(data)]
        last = 0
        for text in texts:
            if text and not (_ROW_NUMBER.match(text) and int(text) <= MAX_ROW):
                return last, f"the file has a row with the number {show(text)}"
            number = int(text) if text else last + 1
            if number <= last:
                return last, f"the file has row {number} after row {last}"
            last = number
        return last, ""

    def without_value(self, sheet: Sheet) -> list[str]:
        """Those that are read as blank."""
        text = self._package.read(sheet.part)
        if not any(mark in text for mark in _FORMULA_MARKS):
            return []
        formula, value = f"{{{MAIN}}}f", f"{{{MAIN}}}v"
        addresses = []
        for cell in self._package.tree(sheet.part).iter(f"{{{MAIN}}}c"):
            if cell.find(formula) is None:
                continue
            held = cell.findtext(value)
            if not held and not (cell.get("t") == "str" and held is not None) and cell.get("r"):
                addresses.append(cell.get("r"))
        return addresses

    def close(self) -> None:
        """Nothing is held but memory."""


def damaged(path: str | os.PathLike[str], error: Exception) -> FileError:
    """What is said of a file that cannot be read."""
    reason = " ".join(str(error).split())[:120] or type(error).__name__
    return FileError(
        Problem(
            os.fspath(path),
            message=f"is damaged: {reason}",
            fix="open it in a spreadsheet and save it again as .xlsx",
        )
    )


# ---------------------------------------------------------------------------------------- a screen


class ShownBook:
    """Sheets as a program shows them: every formula has its value, days are dates.

    >>> from collections import namedtuple
    >>> shown = namedtuple("Shown", "name rows tables")("Parts", [["Part"], ["lid", None]], {"Own": "A1:A2"})
    >>> book = ShownBook([shown], "plan.xlsx")
    >>> list(book.cells(book.worksheets[0], 2, 9, 1, 3)), book.tables[0].name
    ([('lid', None, None)], 'Own')
    """

    date1904 = False

    def __init__(self, sheets: Iterable[Shown], name: str) -> None:
        self.name = name
        self.worksheets: list[Sheet] = []
        self.tables: list[ExcelTable] = []
        self._rows: list[Sequence[Sequence[Any]]] = []
        for place, sheet in enumerate(sheets):
            own = Sheet(sheet.name, "", place, "visible", "worksheet")
            self.worksheets.append(own)
            self._rows.append(sheet.rows)
            for table, block in sheet.tables.items():
                top, left, bottom, right = split_range(block)
                self.tables.append(ExcelTable(table, "", own, top, left, bottom, right, 1, 0, ()))

    def cells(
        self, sheet: Sheet, first_row: int, last_row: int, first_column: int, last_column: int | None
    ) -> Iterator[Cells]:
        """Values as a file of them would give them back."""
        for row in self._rows[sheet.index][first_row - 1 : last_row]:
            cells = tuple(map(_as_filed, row[first_column - 1 : last_column]))
            if last_column is not None:
                cells += (None,) * (last_column - first_column + 1 - len(cells))
            yield cells

    def rows(self, sheet: Sheet) -> tuple[int, str]:
        """As many as there are."""
        return len(self._rows[sheet.index]), ""

    def without_value(self, sheet: Sheet) -> list[str]:
        """What is shown has its value."""
        return []

    def close(self) -> None:
        """Nothing is held."""


def _as_filed(value: Any) -> Any:
    if type(value) is str:
        return clean_text(value)
    if type(value) is datetime.date:
        return datetime.datetime(value.year, value.month, value.day)
    return value


__all__ = ["Cells", "FileBook", "PlanBook", "ShownBook", "damaged"]
