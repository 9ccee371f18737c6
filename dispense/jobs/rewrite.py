"""One table of a plan workbook replaced in a copy; all else in it stays."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from ..base.errors import InputError, Problem
from ..base.fields import by_header
from ..base.naming import field_name
from ..base.units import read_header, unit_factor
from ..handbook.in_formulas import formula_values
from ..plan.read import read_tables
from ..plan.tables import BY_NAME
from ..xlsx.package import Package
from ..xlsx.stored import cache_values

Cell = str | int | float


def with_rows(
    path: Path, name: str, columns: Sequence[str], rows: Sequence[Sequence[Cell]], new: bool = False
) -> bytes:
    """The bytes of the workbook with these rows in its table `name`, numbers in shop units.

    A column whose header has another unit gets its numbers in that. With `new` the rows are put below
    those that are there.
    """
    from openpyxl import load_workbook
    from openpyxl.utils import get_column_letter

    table = read_tables(path).get(name)
    if table is None:
        raise InputError(
            Problem(name, message=f"the plan has no table {name}", fix="add the sheet of a new plan")
        )
    book = load_workbook(io.BytesIO(path.read_bytes()))
    sheet = book[table.sheet or table.name]
    known = by_header(BY_NAME[name].columns)
    read = [read_header(str(header or "")) for header in table.headers]
    found = [known.get(field_name(words)) for words, _ in read]
    places = {item.name: table.letter(number) for number, item in enumerate(found) if item is not None}
    missing = [known[column].title for column in columns if column not in places]
    if missing:
        raise InputError(
            Problem(
                table.head(0), message=f"the table {name} has no " + ", ".join(missing), fix="add the columns"
            )
        )
    factors = {
        item.name: unit_factor(item.unit, item.unit)[0] / unit_factor(unit, item.unit)[0]
        for item, (_, unit) in zip(found, read, strict=True)
        if item is not None and item.unit and unit and unit != item.unit
    }
    last = max([table.header_row, *table.numbers])
    first = last + 1 if new else table.header_row + 1
    end_row = first + max(1, len(rows)) - 1
    for number in range(first, max(last, end_row) + 1):
        place = number - first
        values = rows[place] if place < len(rows) else (None,) * len(columns)
        for column, value in zip(columns, values, strict=True):
            scaled = value * factors[column] if isinstance(value, float) and column in factors else value
            cell = sheet[f"{places[column]}{number}"]
            cell.value = scaled
            if isinstance(scaled, str):
                cell.data_type = "s"  # a name that begins with = is no formula
    for item in sheet.tables.values():
        start, _, end = item.ref.partition(":")
        right = end.rstrip("0123456789")
        if int(start.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")) == table.header_row:
            item.ref = f"{start}:{right or get_column_letter(1)}{end_row}"
    stream = io.BytesIO()
    book.save(stream)
    package = Package.open(stream.getvalue(), name=path.name)
    package.share_inline()
    cache_values(package, formula_values)
    return package.to_bytes()


__all__ = ["with_rows"]
