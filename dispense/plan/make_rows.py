"""Writes `rows.py`: the class of each table's rows, as `tables.py` declares their columns.

`python -m dispense.plan.make_rows`; `python -m dispense.jobs.pages` does it too. Classes that are
written out can be read, looked up in an editor and checked by mypy; made when the program starts
they could not. A test fails when the file is stale.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from pathlib import Path

from ..base.fields import Field
from ..base.naming import capital
from ..base.units import si_symbol
from .tables import SETTINGS, TABLES, Table

ROWS = Path(__file__).with_name("rows.py")
WIDTH = 110

TYPES = {
    "number": "float",
    "whole": "int",
    "text": "str",
    "choice": "str",
    "flag": "bool",
    "date": "datetime.date",
    "clock": "float",
}

_HEAD = '''"""The rows of a plan's tables, in SI units.

Made from `tables.py` by `python -m dispense.jobs.pages`; do not edit.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, ClassVar, TypedDict


class Row:
    """One row of a table."""

    __slots__ = ()
    __dataclass_fields__: ClassVar[dict[str, Any]]
    TABLE: ClassVar[str]
    at: str
    """The row's first cell, for messages: Beads!A7."""
'''


def rows_source() -> str:
    """The whole module."""
    names = sorted([*(table.record for table in TABLES), "Row", "Settings"])
    offered = ["__all__ = [", *(f'    "{name}",' for name in names), "]"]
    return "\n".join([_HEAD, *map(_row_class, TABLES), _settings_class(), *offered, ""])


def _row_class(table: Table) -> str:
    lines = [
        "",
        "@dataclass(frozen=True, slots=True)",
        f"class {table.record}(Row):",
        *_docstring(f"A row of {table.name}: {table.help.removeprefix('one row for ')}."),
        "",
        f'    TABLE: ClassVar[str] = "{table.name}"',
        *_attributes(table.columns),
        "    at: str",
    ]
    return "\n".join([*lines, ""])


def _settings_class() -> str:
    lines = ["", "class Settings(TypedDict):"]
    lines += _docstring("What holds for the whole plan: each row of Settings by its name.")
    return "\n".join([*lines, "", *_attributes(SETTINGS), "", ""])


def _attributes(fields: Iterable[Field]) -> list[str]:
    lines = []
    for item in fields:
        blank = " | None" if item.default is None else ""
        lines += [f"    {item.name}: {TYPES[item.kind]}{blank}", *_docstring(_meaning(item))]
    return lines


def _meaning(item: Field) -> str:
    """What a value is, its unit in SI, and the names it may have."""
    words = capital(item.help)
    if item.kind == "choice":
        return f"{words}: {', '.join(item.choices)}."
    if item.kind == "clock":
        return f"{words} [s after midnight]."
    unit = si_symbol(item.unit)
    return f"{words} [{unit}]." if unit else f"{words}."


def _docstring(words: str) -> list[str]:
    quoted = f'"""{words}"""'
    return textwrap.wrap(quoted, WIDTH, initial_indent="    ", subsequent_indent="    ")


def main() -> None:
    """Write the module."""
    ROWS.write_text(rows_source(), encoding="utf-8")
    print(f"wrote {ROWS}")


if __name__ == "__main__":
    main()
