"""A plan workbook with some of its figures changed in place, and each change in its table Changes.

The cells are edited as XML: formats, notes, drawings and sheets of the plant stay as they are. The workbook
that comes of it is read again as a plan, so that a changed figure stands by the limits of a typed one.
"""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..base.errors import FileError, InputError, Problem
from ..base.fields import Field, by_header
from ..base.naming import field_name
from ..base.units import read_header, unit_factor
from ..handbook.in_formulas import formula_values
from ..journal.learned import Target
from ..plan.read import GUIDES, load_plan, read_tables
from ..plan.records import RECORDS, Plan, RawTable
from ..plan.rows import Row
from ..plan.tables import BY_NAME, CHANGES, SETTINGS, TABLES
from ..xlsx.amend import HEADER_ROW, add_row, add_table_sheet, formula_at, put_cell
from ..xlsx.package import Package, read_file
from ..xlsx.stored import ask_for_calculation, store_values
from ..xlsx.write import atomic_write, scratch

SIGNIFICANT = 12  # figures of a number that is written: what units add beyond is noise
LINE, REASON_WIDTH = 13.5, 44  # points of a line of text, characters in a line of the reason
_CLOSE = 1e-9  # of a figure that is read back
_WIDTHS = (11, 13, 24, 20, 10, 10, 9, 60, 12, 14)  # of the columns of Changes
_LOCKS = (".~lock.{}#", "~${}")  # what a spreadsheet leaves beside a file that it has open


@dataclass(frozen=True, slots=True)
class Wanted:
    """A figure to put into a plan: where, its value in `unit`, and why."""

    target: Target
    value: float
    unit: str
    reason: str
    bookings: str
    by: str = ""


@dataclass(frozen=True, slots=True)
class Changed:
    """What was changed: the cell, the figures before and since in the unit of its column."""

    cell: str
    table: str
    row: str
    column: str
    old: float | None
    new: float
    unit: str
    reason: str
    bookings: str
    by: str

    @property
    def words(self) -> str:
        """For a terminal."""
        was = "blank" if self.old is None else f"{self.old:.6g}"
        unit = f" {self.unit}" if self.unit else ""
        name = f"{self.column} of {self.row}" if self.row else self.column
        return f"{self.cell}, {name}: {was} -> {self.new:.6g}{unit}"


@dataclass(frozen=True, slots=True)
class _Place:
    """The cell of a figure: its field, the unit of its column, what it holds in SI units."""

    sheet: str
    address: str
    item: Field
    unit: str
    held: float | None


# ------------------------------------------------------------------------------------------- cells


def _place(plan: Plan, tables: Mapping[str, RawTable], target: Target) -> _Place:
    if target.table == "Settings":
        return _setting(plan, tables, target.column)
    item = BY_NAME[target.table].column(target.column)
    record = _record(plan, target)
    raw = tables[target.table]
    known = by_header(BY_NAME[target.table].columns)
    for header in raw.headers:
        name, unit = read_header(str(header or ""))
        if known.get(field_name(name)) is item:
            sheet, _, address = plan.cell(record, target.column).rpartition("!")
            return _Place(
                sheet, address, item, item.unit if unit is None else unit, getattr(record, target.column)
            )
    raise InputError(
        Problem(
            raw.head(0),
            message=f'the table {target.table} has no column "{item.title}"',
            fix="add the column",
        )
    )


def _record(plan: Plan, target: Target) -> Row:
    table = BY_NAME[target.table]
    for record in plan.rows(RECORDS[target.table]):
        if tuple(getattr(record, name) for name in table.key) == target.key:
            return record
    raise InputError(Problem(target.table, message=f"has no row {' / '.join(target.key)}"))


def _setting(plan: Plan, tables: Mapping[str, RawTable], name: str) -> _Place:
    known = by_header(SETTINGS)
    item = next(each for each in SETTINGS if each.name == name)
    raw = tables.get("Settings")
    names = [field_name(str(header)) for header in raw.headers] if raw else []
    if raw is not None and "setting" in names and "value" in names:
        for row, label in enumerate(raw.columns[names.index("setting")]):
            words, unit = read_header(str(label or ""))
            if known.get(field_name(words)) is item:
                sheet, _, address = raw.cell(row, names.index("value")).rpartition("!")
                held: float = plan.settings[name]  # type: ignore[literal-required]
                return _Place(sheet, address, item, item.unit if unit is None else unit, held)
    raise InputError(
        Problem("Settings", message=f'has no row "{item.title}"', fix="add the row, with a value or blank")
    )


def _in_unit(value: float, unit: str, item: Field) -> float:
    factor, offset = unit_factor(unit, item.unit)
    return float(f"{(value - offset) / factor:.{SIGNIFICANT}g}")


def _change(package: Package, place: _Place, wanted: Wanted) -> Changed:
    """Put one figure into its cell."""
    if formula_at(package, place.sheet, place.address):
        raise InputError(
            Problem(
                f"{place.sheet}!{place.address}",
                message="holds a formula and is not written over",
                fix="change what it is computed from, or type a number",
            )
        )
    factor, offset = unit_factor(wanted.unit, place.item.unit)
    new = _in_unit(wanted.value * factor + offset, place.unit, place.item)
    put_cell(package, place.sheet, place.address, new)
    return Changed(
        f"{place.sheet}!{place.address}",
        wanted.target.table,
        " / ".join(wanted.target.key),
        place.item.heading,
        None if place.held is None else _in_unit(place.held, place.unit, place.item),
        new,
        place.unit,
        wanted.reason,
        wanted.bookings,
        wanted.by,
    )


# ----------------------------------------------------------------------------------------- the list


def _list(package: Package, raw: RawTable | None, changes: Sequence[Changed], day: datetime.date) -> None:
    """Add the changes to the table Changes, which is made where the plan has none."""
    titles = [item.title for item in CHANGES.columns]
    if raw is None or not raw.headers:
        if package.sheet(CHANGES.name) is not None:
            raise InputError(
                Problem(f"{CHANGES.name}!A1", message="holds no table of changes", fix="rename that sheet")
            )
        add_table_sheet(package, CHANGES.name, titles, _WIDTHS)
        raw = RawTable(CHANGES.name, titles, [[] for _ in titles], header_row=HEADER_ROW, sheet=CHANGES.name)
    known = by_header(CHANGES.columns)
    found = [known.get(field_name(read_header(str(header or ""))[0])) for header in raw.headers]
    letters = {item.name: raw.letter(place) for place, item in enumerate(found) if item is not None}
    last = raw.numbers[-1] if len(raw.numbers) else raw.header_row
    for place, change in enumerate(changes, 1):
        cells: dict[str, Any] = {item.name: getattr(change, item.name, day) for item in CHANGES.columns}
        height = LINE * math.ceil(len(change.reason) / REASON_WIDTH) + 2.0 if change.reason else None
        values = {letters[name]: cells[name] for name in letters}
        add_row(package, raw.sheet, last + place, values, height)


# -------------------------------------------------------------------------------------------- file


def change_plan(
    path: str | os.PathLike[str], wanted: Sequence[Wanted], day: datetime.date
) -> tuple[list[Changed], Path, list[str]]:
    """Change figures of a plan in its own file; gives the changes, the copy of the old one, and notes.

    All or nothing: the new file takes the place of the old one in one step, after it was read again and all
    but what was asked for found as it was, and after the old one was copied beside it.
    """
    source = Path(path)
    for form in _LOCKS:
        if (lock := source.with_name(form.format(source.name))).exists():
            raise FileError(
                Problem(
                    str(source), message=f"is open in a spreadsheet ({lock.name})", fix="save and close it"
                )
            )
    data = read_file(source)
    plan, tables = load_plan(source), read_tables(source)
    places = [_place(plan, tables, item.target) for item in wanted]
    package = Package.open(data, name=os.fspath(source))
    before = formula_values(package)
    changes = [_change(package, place, item) for place, item in zip(places, wanted, strict=True)]
    _list(package, tables.get(CHANGES.name), changes, day)
    notes = _follow(package, before.values)
    content = package.to_bytes()
    with scratch() as folder:
        trial = folder / source.name
        trial.write_bytes(content)
        _check(
            plan,
            load_plan(trial),
            wanted,
            changes,
            may_follow=any(name not in GUIDES for name, _ in before.values),
        )
    if read_file(source) != data:
        raise FileError(Problem(str(source), message="was changed by another meanwhile", fix="try again"))
    kept = _keep(source, data, day)
    atomic_write(source, content)
    return changes, kept, notes


def _follow(package: Package, before: Mapping[tuple[str, str], Any]) -> list[str]:
    """Store the new values of formulas that follow from what was changed."""
    after = formula_values(package)
    moved = {key: value for key, value in after.values.items() if before.get(key) != value}
    store_values(package, moved)
    if after.problems:
        ask_for_calculation(package)
        return ["some formulas are computed when a spreadsheet opens the plan"]
    return [f"{name}!{cell} follows by its formula" for name, cell in moved if name not in GUIDES]


def _keep(source: Path, data: bytes, day: datetime.date) -> Path:
    """A copy of the plan as it was, beside it."""
    number = 1
    while (found := source.with_name(f"{source.stem}_before_{day}_{number}{source.suffix}")).exists():
        number += 1
    return atomic_write(found, data, new=True)


def _check(
    old: Plan, new: Plan, wanted: Sequence[Wanted], changes: Sequence[Changed], may_follow: bool
) -> None:
    """The new plan holds what was asked for, and all other rows of the old one."""

    def rows(plan: Plan) -> dict[str, list[Any]]:
        return {table.name: list(plan.rows(RECORDS[table.name])) for table in TABLES}

    was, now = rows(old), rows(new)
    touched = {item.target.table for item in wanted} | {CHANGES.name}
    is_whole = len(now[CHANGES.name]) == len(was[CHANGES.name]) + len(changes)
    for item in wanted:
        held = (
            new.settings[item.target.column]  # type: ignore[literal-required]
            if item.target.table == "Settings"
            else getattr(_record(new, item.target), item.target.column)
        )
        field = (
            next(each for each in SETTINGS if each.name == item.target.column)
            if item.target.table == "Settings"
            else BY_NAME[item.target.table].column(item.target.column)
        )
        factor, offset = unit_factor(item.unit, field.unit)
        meant = item.value * factor + offset
        is_whole = is_whole and abs(held - meant) <= _CLOSE * max(abs(meant), 1e-12)
    others = all(was[name] == now[name] for name in was if name not in touched)
    if not is_whole or not (others or may_follow):
        raise InputError(
            Problem(
                changes[0].cell,
                message="this workbook cannot be changed safely",
                fix="type the figure in, and its row in Changes",
            )
        )


__all__ = ["Changed", "Wanted", "change_plan"]
