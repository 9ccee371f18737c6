"""The values of a sheet row by row, read as they come: of a long sheet no more is held than a row."""

from __future__ import annotations

import contextlib
import functools
import io
from collections.abc import Iterator, Sequence
from typing import Any

from lxml import etree

from .content import clean_text
from .forms import date_styles, elapsed_styles, from_serial
from .package import (
    MAIN,
    MAX_COLUMN,
    Package,
    Sheet,
    column_letters,
    column_number,
    item_text,
    split_cell,
    unescape,
)

__all__ = ["SheetValues"]

_ROW, _CELL, _VALUE, _INLINE = (f"{{{MAIN}}}{name}" for name in ("row", "c", "v", "is"))
_NO_DATE = "#VALUE!"  # what a cell shows of a number that is no day


class SheetValues:
    """What the cells of a package's sheets show, formulas by the value stored with them."""

    def __init__(self, package: Package) -> None:
        self._package = package
        self._date1904 = package.date1904
        self._strings: list[str] | None = None
        self._dates: frozenset[str] | None = None
        self._elapsed: frozenset[str] = frozenset()

    def rows(
        self, sheet: Sheet, first_column: int, last_column: int | None
    ) -> Iterator[tuple[int, Sequence[Any]]]:
        """Number and values of each row that the file has, from its first column to the last one given.

        Without a last column to that of the row's last cell. Raises ValueError, IndexError or an error of the
        parser where the file is damaged.
        """
        number = 0
        width = 0 if last_column is None else last_column - first_column + 1
        for row in self._elements(sheet.part):
            number = int(row.get("r") or number + 1)
            values: list[Any] = [None] * width
            column = 0
            text = row.get("r")
            for cell in row:
                if cell.tag != _CELL:
                    continue
                address = cell.get("r")
                column = _column(address, text) if address else column + 1
                place = column - first_column
                if place < 0 or (last_column is not None and place >= width) or not len(cell):
                    continue
                if last_column is None and place >= len(values):
                    values.extend([None] * (place + 1 - len(values)))
                values[place] = self._value(cell)
            yield number, values

    def _elements(self, part: str) -> Iterator[etree._Element]:
        stream = io.BytesIO(self._package.read(part))
        # a text of any length is let in here, to be refused by the cell that holds it; parts are bounded
        for _, row in etree.iterparse(
            stream, tag=_ROW, resolve_entities=False, load_dtd=False, no_network=True, huge_tree=True
        ):
            yield row
            row.clear()
            before = row.getprevious()
            if before is not None:
                row.getparent().remove(before)

    def _value(self, cell: etree._Element) -> Any:
        kind = cell.get("t")
        text = None
        for child in cell:
            if child.tag == _VALUE:
                text = child.text
                break
            if child.tag == _INLINE and kind == "inlineStr":
                return clean_text(item_text(child))
        if not text or kind == "inlineStr":
            return None
        if kind is None or kind == "n":
            value = float(text) if "." in text or "e" in text or "E" in text else int(text)
            style = cell.get("s")
            return value if style is None or style not in self._date_styles() else self._date(value, style)
        if kind == "s":
            return self._shared(int(text))
        if kind == "b":
            return bool(int(text))
        if kind == "d":
            from openpyxl.utils.datetime import from_ISO8601

            return from_ISO8601(text)
        return clean_text(unescape(text)) if kind == "str" else text

    def _shared(self, place: int) -> str:
        if self._strings is None:
            self._strings = [clean_text(text) for text in self._package.shared_strings]
        if place < 0:
            raise IndexError("no shared text has a place below 0")
        return self._strings[place]

    def _date_styles(self) -> frozenset[str]:
        if self._dates is None:
            self._dates, self._elapsed = (
                frozenset(map(str, styles(self._package))) for styles in (date_styles, elapsed_styles)
            )
        return self._dates

    def _date(self, value: float, style: str) -> Any:
        try:
            return from_serial(value, self._date1904, style in self._elapsed)
        except (OverflowError, ValueError):
            return _NO_DATE


def _column(address: str, row: str | None) -> int:
    """The column of a cell, quickly where its address ends with the number of its row."""
    if row and address.endswith(row):
        letters = address[: -len(row)]
        if letters.isalpha() and letters.isascii():
            return _number(letters)
    return split_cell(address)[1]


@functools.cache
def _number(letters: str) -> int:
    """The column of some letters; one past the last of a sheet for any behind it."""
    with contextlib.suppress(ValueError):
        return column_number(letters)
    if len(letters) > len(column_letters(MAX_COLUMN)):
        raise ValueError(f"{letters!r} is not a column")
    return MAX_COLUMN + 1
