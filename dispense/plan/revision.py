"""What of a plan decides how a station is set: its mark, and how two versions differ, in the plan's words.

What is built, what stands in store, prices, takts and shifts change from day to day and release nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from hashlib import sha256
from typing import Any

from ..base.errors import show
from ..base.fields import Field
from ..base.naming import fold
from ..base.units import AS_GIVEN, from_si
from .records import Plan
from .revised import Difference
from .rows import Row
from .tables import TABLES, Table

#: tables of how parts are dispensed and cured
PROCESS = (
    *("Materials", "Kinetics", "Components", "Parts", "Assemblies", "Beads", "Paths", "Pots", "Inserts"),
    *("Shots", "Joints", "Stations", "Profiles", "Ovens", "Routes"),
)
#: columns of theirs that buying and scheduling change
DAILY = frozenset(
    {
        *("lead_time", "lead_time_spread", "minimum_order", "price", "item_number", "supplier"),
        *("pack_multiple", "kit", "scrap", "uptime", "takt"),
    }
)
FIGURES = 6  # significant figures of a number that is told


def _tables() -> Iterator[tuple[Table, list[Field]]]:
    """The tables and columns that release something."""
    for table in TABLES:
        if table.name in PROCESS:
            yield table, [item for item in table.columns if item.name not in DAILY]


def process_mark(plan: Plan) -> str:
    """What tells a plan's process from another's: SHA-256 of its figures in SI, whatever their cells' units.

    >>> from .records import Plan
    >>> process_mark(Plan()) == process_mark(Plan()), len(process_mark(Plan()))
    (True, 64)
    """
    digest = sha256()
    for table, columns in _tables():
        digest.update(f"{table.name}\n".encode())
        for row in getattr(plan, table.attribute):
            digest.update(f"{[getattr(row, item.name) for item in columns]!r}\n".encode())
    return digest.hexdigest()


def differences(plan: Plan, before: Plan) -> list[Difference]:
    """What of the process is another than before, table by table; of points and constants row by row."""
    return [each for table, columns in _tables() for each in _of_table(plan, before, table, columns)]


def table_differences(plan: Plan, before: Plan, table: Table) -> list[Difference]:
    """What of a table is another than before, in all its columns."""
    return list(_of_table(plan, before, table, list(table.columns)))


def _of_table(plan: Plan, before: Plan, table: Table, columns: list[Field]) -> Iterator[Difference]:
    rows: list[Row] = getattr(plan, table.attribute)
    old = {_key(row, table, place): row for place, row in _counted(getattr(before, table.attribute), table)}
    for place, row in _counted(rows, table):
        was = old.pop(_key(row, table, place), None)
        name, words = _name(row, table, place), _words(row, columns)
        if was is None:
            yield Difference(table.name, name, "", "", "new", words)
            continue
        for item in columns:
            now, then = told(item, getattr(row, item.name)), told(item, getattr(was, item.name))
            if now != then:
                yield Difference(table.name, name, item.words, then, now, words | _words(was, columns))
    for key, row in old.items():
        yield Difference(table.name, _name(row, table, int(key[-1])), "", "", "gone", _words(row, columns))


def _counted(rows: list[Row], table: Table) -> Iterator[tuple[int, Row]]:
    """Rows with their place among those of their name; rows that have a key need none."""
    seen: dict[str, int] = {}
    for row in rows:
        owner = fold(str(getattr(row, table.columns[0].name)))
        seen[owner] = seen.get(owner, 0) + 1
        yield 0 if table.key else seen[owner], row


def _key(row: Row, table: Table, place: int) -> tuple[Any, ...]:
    return (*row_key(row, table.key or (table.columns[0].name,)), place)


def row_key(row: Row, names: Iterable[str]) -> tuple[Any, ...]:
    """What a row is told apart by, however its texts are written."""
    values = (getattr(row, name) for name in names)
    return tuple(fold(value) if isinstance(value, str) else value for value in values)


def _name(row: Row, table: Table, place: int) -> str:
    names = [show(getattr(row, name)).strip('"') for name in table.key or (table.columns[0].name,)]
    return " / ".join(names) + (f" row {place}" if place else "")


def _words(row: Row, columns: list[Field]) -> frozenset[str]:
    return frozenset(fold(value) for item in columns if isinstance(value := getattr(row, item.name), str))


def told(item: Field, value: Any) -> str:
    """A value of a plan in words, a number in the unit of its column."""
    if value is None:
        return ""
    if item.kind == "number":
        unit = "" if item.unit == AS_GIVEN else item.unit
        return f"{float(from_si(value, item.unit)):.{FIGURES}g} {unit}".strip()
    return str(value)


__all__ = ["differences", "process_mark", "row_key", "table_differences", "told"]
