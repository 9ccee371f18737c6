"""Volumes of a sheet in litres, where one of them comes to so much.

What is added up or compared on a sheet has one unit: the columns of a table whose rows balance, the sums of
another worksheet. So the decision is one for all that a sheet names in `bulk`; a shot stays in mL.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ..base.fields import Field
from ..base.units import LITRES_FROM, from_si, to_si
from .spec import Content, Row, SheetSpec, Value

PLAIN, LARGE = "mL", "L"


def in_litres(content: Content) -> Content:
    """The content with its bulk volumes in litres where one of them is told so, headers and figures together.

    The limit is that of sentences: 10 L (common practice, no source).
    """
    if not any(value >= LITRES_FROM for value in _volumes(content)):
        return content
    spec = spec_in_litres(content.spec)
    return replace(
        content,
        spec=spec,
        values=_turned(content.values, content.spec.names, spec.names),
        tables={
            name: [_turned(row, content.spec.columns(name), spec.columns(name)) for row in rows]
            for name, rows in content.tables.items()
        },
    )


def spec_in_litres(spec: SheetSpec) -> SheetSpec:
    """The kind of sheet whose bulk volumes have litres for their unit."""
    return replace(
        spec,
        names=_of_litres(spec, "", spec.names),
        tables={name: _of_litres(spec, name, columns) for name, columns in spec.tables.items()},
        computed={name: _of_litres(spec, name, columns) for name, columns in spec.computed.items()},
        in_litres=True,
    )


def _is_bulk(spec: SheetSpec, table: str, item: Field) -> bool:
    named = {table, f"{table}.{item.name}"} if table else {item.name}
    return item.unit == PLAIN and not named.isdisjoint(spec.bulk)


def _of_litres(spec: SheetSpec, table: str, items: Iterable[Field]) -> tuple[Field, ...]:
    return tuple(replace(item, unit=LARGE) if _is_bulk(spec, table, item) else item for item in items)


def _volumes(content: Content) -> Iterable[float]:
    spec = content.spec
    rows = [("", spec.names, content.values)]
    rows += [(name, spec.columns(name), row) for name, each in content.tables.items() for row in each]
    for table, items, row in rows:
        for item in items:
            value = row.get(item.name)
            if isinstance(value, float) and _is_bulk(spec, table, item):
                yield value


def _turned(row: Row, before: Iterable[Field], after: Iterable[Field]) -> Row:
    """A row with the volumes whose unit has changed in litres."""
    changed = {old.name for old, new in zip(before, after, strict=True) if old.unit != new.unit}
    return {name: _litres(value) if name in changed else value for name, value in row.items()}


def _litres(value: Value) -> Value:
    return from_si(value * to_si(PLAIN)[0], LARGE) if isinstance(value, float) else value
