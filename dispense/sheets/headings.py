"""What a workbook made from a template calls the columns of its tables.

A plant may word a column anew, move it and change its unit: it is found by a hidden name of its header,
by its label of today or before, or by the words of its name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..base.fields import Field
from ..base.language import translated
from ..base.naming import fold
from ..xlsx.package import Package, split_cell
from ..xlsx.template_units import HEADER
from .layout import KEY, column_key
from .spec import SheetSpec


class Heading(str):
    """A table header without its unit, or a defined name, which knows its field."""

    __slots__ = ("field",)
    field: Field

    @classmethod
    def of(cls, item: Field, words: str) -> Heading:
        """What a field is called."""
        heading = cls(words)
        heading.field = item
        return heading


Headings = Mapping[str, Mapping[str, Heading]]  # by table and name of the column


def headings_of(
    spec: SheetSpec,
    tables: Mapping[str, Iterable[str]],
    keyed: Mapping[str, str] | None = None,
    *,
    by_hand: bool = False,
) -> Headings:
    """What a template calls each column: what its hidden key says, or a label or the words of its name.

    `tables` are the headers of its tables, `keyed` those that a hidden name tells; where none of a
    column's words stands there it is today's. With `by_hand` the columns that people fill in are among them.
    """
    keyed = keyed or {}
    headers = {
        fold(name): {fold(split["base"] if (split := HEADER.match(title)) else title) for title in titles}
        for name, titles in tables.items()
    }
    called: dict[str, dict[str, Heading]] = {}
    for table in spec.tables:
        there = headers.get(fold(table), set())
        columns = (*spec.columns(table), *(spec.by_hand(table) if by_hand else ()))
        words = {item.name: (translated(item.heading), *item.headings) for item in columns}
        taken = {fold(each) for group in words.values() for each in group}
        called[table] = {}
        for item in columns:
            own = next((each for each in words[item.name] if fold(each) in there), None)
            key = keyed.get(column_key(table, item.name))
            # a header that is the word of a column is that column's, wherever it was moved to
            other = key if key is not None and fold(key) not in taken else None
            called[table][item.name] = Heading.of(item, own or other or item.heading)
    return called


def headers_of(package: Package) -> dict[str, list[str]]:
    """The headers of the tables of a template."""
    return {table.name: list(table.columns) for table in package.tables}


def keyed_headers(package: Package) -> dict[str, str]:
    """The headers, without units, that the hidden names of a template tell, by name."""
    found = {}
    for item in package.defined_names:
        if not item.name.startswith(KEY) or item.place is None or ":" in item.place[1]:
            continue
        sheet, cell = item.place
        table = package.table(item.name.removeprefix(KEY).partition(".")[0])
        row, column = split_cell(cell)
        if (
            table is not None
            and sheet == table.sheet.name
            and row == table.first_row
            and table.first_column <= column <= table.last_column
        ):
            title = table.columns[column - table.first_column]
            split = HEADER.match(title)
            found[item.name] = split["base"] if split else title
    return found


__all__ = ["Heading", "Headings", "headers_of", "headings_of", "keyed_headers"]
