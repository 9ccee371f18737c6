"""Tables for other programs: a name, columns that each know their unit, rows of plain values."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

#: the type of a column in a Table Schema by its kind here (Data Package standard, Table Schema: field types)
TYPES = {
    "text": "string",
    "choice": "string",
    "flag": "boolean",
    "date": "date",
    "moment": "datetime",
    "number": "number",
    "share": "number",
    "whole": "integer",
}


@dataclass(frozen=True, slots=True)
class TidyColumn:
    """A column: its header, its unit ("" for none) and the kind of its values."""

    name: str
    unit: str = ""
    kind: str = "text"

    @property
    def title(self) -> str:
        """The header with its unit, as records are keyed."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(slots=True)
class TidyTable:
    """One table: one row a thing, one column a figure."""

    name: str
    title: str
    columns: tuple[TidyColumn, ...]
    rows: list[Sequence[Any]] = field(default_factory=list)

    def records(self) -> list[dict[str, Any]]:
        """Rows for JSON, keyed by header and unit; blanks are None, dates ISO texts."""
        heads = [column.title for column in self.columns]
        return [
            {head: _json(plain(value)) for head, value in zip(heads, row, strict=True)} for row in self.rows
        ]


def plain(value: Any) -> Any:
    """A value as other programs know it: Python's own numbers, no NaN.

    >>> plain(float("nan")), plain(2.5), plain("")
    (None, 2.5, None)
    """
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return None if value == "" else value


def _json(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime.date) else value


def table_of_rows(
    name: str, title: str, columns: Iterable[tuple[str, str, str]], rows: Iterable[Sequence[Any]]
) -> TidyTable:
    """A table of columns given as name, unit and kind."""
    return TidyTable(name, title, tuple(TidyColumn(*each) for each in columns), list(rows))


__all__ = ["TYPES", "TidyColumn", "TidyTable", "plain", "table_of_rows"]
