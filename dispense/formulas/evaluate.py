"""A small, bounded evaluator of spreadsheet formulas.

Every formula the filler writes carries its computed value, so that a viewer, a phone or pandas sees
numbers. What cannot be computed for sure (volatile functions, other workbooks, unknown names,
circles, anything on which spreadsheets disagree) is not guessed: it is listed with the reason.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from openpyxl.utils import get_column_letter

from ..base.errors import Problem
from ..base.fields import CellError
from ..xlsx.formula_text import TablePart, Unevaluable
from ..xlsx.package import MAIN, MAX_COLUMN, MAX_ROW, Package, cell_value, formula_of, iter_cells, split_range
from .functions import DATE_FUNCTIONS, FUNCTIONS, REFUSED
from .looking_up import intersect_cell
from .number_forms import is_date_format
from .numbertext import moment_serial
from .own import NO_OWN, OwnFunctions, standard_name
from .parse import CellsAt, Corner, parse
from .values import (
    MAX_BLOCK,
    MISSING,
    MONADIC,
    NULL,
    OPERATORS,
    REF,
    VALUE,
    Area,
    Areas,
    Fault,
    element,
    lift,
)

MAX_VISITS = 50_000_000  # cells read in one evaluation, counted each time
MAX_NAMES_DEEP = 16

Key = tuple[str, int, int]
Value = float | int | str | bool | CellError


@dataclass(frozen=True, slots=True)
class Formula:
    """A cell's formula: its text, offset from the cell it was written for, array block."""

    text: str
    rows_down: int = 0
    columns_right: int = 0
    block: Area | None = None
    refused: str = ""


@dataclass(frozen=True, slots=True)
class TableRange:
    """A table: its whole range, headers and how many rows are headers and totals."""

    name: str
    area: Area
    headers: tuple[str, ...]
    header_rows: int = 1
    totals_rows: int = 0


class Sheets(Protocol):
    """A workbook as the evaluator sees it. Sheet names are given as `sheet_name` spells them."""

    date1904: bool

    def sheet_names(self) -> Sequence[str]:
        """All sheets with cells."""

    def values(self, sheet: str) -> Mapping[tuple[int, int], Any]:
        """The constants of a sheet by row and column."""

    def formulas(self, sheet: str) -> Mapping[tuple[int, int], Formula]:
        """The formulas of a sheet by row and column; each cell of an array formula has it."""

    def hidden_rows(self, sheet: str) -> frozenset[int]:
        """The hidden rows of a sheet."""

    def tables(self) -> Sequence[TableRange]:
        """All tables."""

    def name(self, name: str, sheet: str) -> str | None:
        """What a defined name refers to, seen from a sheet."""


@dataclass(slots=True)
class Evaluated:
    """The values of formula cells by sheet and address, and what could not be computed."""

    values: dict[tuple[str, str], Value] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def __getitem__(self, key: tuple[str, str]) -> Value:
        return self.values[key]


class _Needs(Exception):
    """Cells that must be computed first."""

    def __init__(self, cells: list[Key]):
        super().__init__()
        self.cells = cells


def address(row: int, column: int) -> str:
    """`7, 2` to `B7`."""
    return f"{get_column_letter(column)}{row}"


class _Engine:
    """Computes cells on demand, dependencies first, without recursion from cell to cell."""

    def __init__(self, sheets: Sheets, own: OwnFunctions, max_visits: int):
        self.sheets = sheets
        self.own = own
        self.max_visits = max_visits
        self.visits = 0
        self.names = {name.lower(): name for name in sheets.sheet_names()}
        self.constants = {name: sheets.values(name) for name in sheets.sheet_names()}
        self.formulas = {name: sheets.formulas(name) for name in sheets.sheet_names()}
        self.tables = {table.name.lower(): table for table in sheets.tables()}
        places = [key for cells in (*self.constants.values(), *self.formulas.values()) for key in cells]
        self.last_row = max((row for row, _ in places), default=1)
        self.last_column = max((column for _, column in places), default=1)
        self.results: dict[Key, Any] = {}
        self.failed: dict[Key, str] = {}
        self.blocks: dict[Area, list[list[Any]]] = {}
        self.block_cells = 0

    # reading

    def sheet(self, name: str) -> str | None:
        return self.names.get(name.lower())

    def clipped(self, area: Area) -> Area:
        """Whole rows and columns end where the workbook's cells end."""
        bottom, right = area.bottom, area.right
        if bottom == MAX_ROW:
            bottom = max(area.top, self.last_row)
        if right == MAX_COLUMN:
            right = max(area.left, self.last_column)
        return area._replace(bottom=bottom, right=right)

    def block(self, area: Area) -> list[list[Any]]:
        """The values of an area; raises _Needs when some are not computed yet."""
        area = self.clipped(area)
        self.visits += area.rows * area.columns
        if self.visits > self.max_visits:
            raise Unevaluable(f"more than {self.max_visits:,} cells would have to be read")
        known = self.blocks.get(area)
        if known is not None:
            return known
        constants, formulas = self.constants[area.sheet], self.formulas[area.sheet]
        sheet, results = area.sheet, self.results
        missing: list[Key] = []
        block = []
        for row in range(area.top, area.bottom + 1):
            line = []
            for column in range(area.left, area.right + 1):
                place = (row, column)
                if place in formulas:
                    key = (sheet, row, column)
                    if key in results:
                        line.append(results[key])
                    else:
                        missing.append(self.master(key))
                else:
                    line.append(constants.get(place))
            block.append(line)
        if missing:
            self.fail_on_failed(missing)
            raise _Needs(list(dict.fromkeys(missing)))
        if self.block_cells < 2_000_000 and area.rows * area.columns > 1:
            self.blocks[area] = block
            self.block_cells += area.rows * area.columns
        return block

    def fail_on_failed(self, cells: Iterable[Key]) -> None:
        for key in cells:
            if key in self.failed:
                reason = self.failed[key]
                if not reason.startswith("it reads "):
                    reason = f"it reads {key[0]}!{address(key[1], key[2])}: {reason}"
                raise Unevaluable(reason)

    def master(self, key: Key) -> Key:
        """The cell that computes a cell: itself, or the first of its array formula."""
        block = self.formulas[key[0]][key[1:]].block
        return key if block is None else (block.sheet, block.top, block.left)

    # computing

    def solve(self, wanted: Key) -> None:
        """Compute a cell and all that it needs, with a stack of our own."""
        stack = [self.master(wanted)]
        path: dict[Key, None] = {}  # started and waiting, outermost first
        while stack:
            key = stack[-1]
            if key in self.results or key in self.failed:
                stack.pop()
                path.pop(key, None)
                continue
            path[key] = None
            try:
                self.store(key, self.compute(key))
            except _Needs as needs:
                circle = [cell for cell in needs.cells if cell in path]
                if circle:
                    self.fail_circle(list(path), circle)
                else:
                    stack.extend(reversed(needs.cells))
            except Unevaluable as error:
                self.fail(key, str(error))
            except RecursionError:
                self.fail(key, "the formula is nested too deep")

    def compute(self, key: Key) -> Any:
        sheet, row, column = key
        formula = self.formulas[sheet][row, column]
        if formula.refused:
            raise Unevaluable(formula.refused)
        program = parse(formula.text)
        at = _At(
            self, sheet, row, column, formula.rows_down, formula.columns_right, formula.block is not None
        )
        return at.settle(at.run(program.code))

    def store(self, key: Key, value: Any) -> None:
        block = self.formulas[key[0]][key[1:]].block
        if block is None:
            self.results[key] = value
            return
        for row in range(block.rows):
            for column in range(block.columns):
                cell = element(value, row, column)
                place = (key[0], block.top + row, block.left + column)
                self.results[place] = 0.0 if cell is None else cell

    def fail(self, key: Key, reason: str) -> None:
        self.failed[key] = reason

    def fail_circle(self, path: list[Key], circle: list[Key]) -> None:
        start = min(path.index(cell) for cell in circle)
        members = path[start:]
        shown = [f"{key[0]}!{address(key[1], key[2])}" for key in members[:5]]
        chain = ", ".join(shown) + (" and more" if len(members) > 5 else "")
        for key in members:
            self.fail(key, f"the formula refers to itself in a circle: {chain}")


class _At:
    """An evaluation at one cell: what functions see as their `Call`."""

    __slots__ = ("array", "column", "columns_right", "depth", "engine", "row", "rows_down", "sheet")

    def __init__(
        self,
        engine: _Engine,
        sheet: str,
        row: int,
        column: int,
        rows_down: int,
        columns_right: int,
        array: bool,
        depth: int = 0,
    ):
        self.engine = engine
        self.sheet = sheet
        self.row = row
        self.column = column
        self.rows_down = rows_down
        self.columns_right = columns_right
        self.array = array
        self.depth = depth

    # what functions use

    def run(self, code: Sequence[tuple[Any, ...]], array: bool | None = None) -> Any:
        """Evaluate code; with `array` True ranges are not cut to the formula's row or column."""
        if array is not None and array != self.array:
            twin = _At(
                self.engine,
                self.sheet,
                self.row,
                self.column,
                self.rows_down,
                self.columns_right,
                array,
                self.depth,
            )
            return twin.run(code)
        stack: list[Any] = []
        for step in code:
            kind = step[0]
            if kind == "value":
                stack.append(step[1])
            elif kind == "cells":
                stack.append(self.area(step[1]))
            elif kind in OPERATORS:
                right, left = self.scalar(stack.pop()), self.scalar(stack.pop())
                stack.append(lift(OPERATORS[kind], [left, right]))
            elif kind == "call":
                stack.append(self.call(step[1], step[2]))
            elif kind in MONADIC:
                stack.append(lift(MONADIC[kind], [self.scalar(stack.pop())]))
            elif kind == "table":
                stack.append(self.table(step[1]))
            elif kind == "name":
                stack.append(self.named(step[1], step[2]))
            elif kind == "array":
                stack.append([list(row) for row in step[1]])
            elif kind == "missing":
                stack.append(MISSING)
            else:
                second, first = stack.pop(), stack.pop()
                stack.append(_join_areas(kind, first, second))
        return stack[0]

    def block(self, value: Any) -> list[list[Any]]:
        if isinstance(value, Area):
            return self.engine.block(value)
        if isinstance(value, list):
            return value
        if isinstance(value, Areas):
            raise Fault(VALUE)
        return [[None if value is MISSING else value]]

    def flat(self, value: Any) -> list[Any]:
        if isinstance(value, Areas):
            return [cell for area in value.parts for cell in self.flat(area)]
        return [cell for row in self.block(value) for cell in row]

    def scalar(self, value: Any) -> Any:
        if isinstance(value, Area):
            if not self.array:
                return intersect_cell(self, value)
            value = self.engine.block(value)
        elif isinstance(value, Areas):
            return VALUE
        if isinstance(value, list) and len(value) == 1 and len(value[0]) == 1:
            return value[0][0]
        return value

    def hidden_rows(self, sheet: str) -> frozenset[int]:
        return self.engine.sheets.hidden_rows(sheet)

    def has_subtotal(self, sheet: str, row: int, column: int) -> bool:
        formula = self.engine.formulas[sheet].get((row, column))
        return formula is not None and any(
            standard_name(name) == "SUBTOTAL" for name in parse(formula.text).functions
        )

    # references

    def settle(self, value: Any) -> Any:
        """The value of the whole formula: a block for an array formula, else one scalar."""
        value = self.scalar(value)
        if isinstance(value, list) and not self.array:
            value = value[0][0]
        if value is None or value is MISSING:
            return 0.0
        return value

    def area(self, cells: CellsAt) -> Any:
        sheet = self.sheet if cells.sheet is None else self.engine.sheet(cells.sheet)
        if sheet is None:
            return REF
        top, left = self.moved(cells.first, 1, 1)
        bottom, right = self.moved(cells.last, MAX_ROW, MAX_COLUMN)
        top, bottom = min(top, bottom), max(top, bottom)
        left, right = min(left, right), max(left, right)
        if top < 1 or left < 1 or bottom > MAX_ROW or right > MAX_COLUMN:
            return REF
        return Area(sheet, top, left, bottom, right)

    def moved(self, corner: Corner, row: int, column: int) -> tuple[int, int]:
        if corner.row is not None:
            row = corner.row if corner.row_fixed else corner.row + self.rows_down
        if corner.column is not None:
            column = corner.column if corner.column_fixed else corner.column + self.columns_right
        return row, column

    def named(self, sheet: str | None, name: str) -> Any:
        scope = self.sheet if sheet is None else self.engine.sheet(sheet)
        if scope is None:
            return REF
        text = self.engine.sheets.name(name, scope)
        if text is None:
            if name.lower() in self.engine.tables:
                return self.table(TablePart(name, frozenset(), None, None))
            raise Unevaluable(f"the name {name} is not defined")
        if self.depth >= MAX_NAMES_DEEP:
            raise Unevaluable(f"the name {name} refers to names more than {MAX_NAMES_DEEP} deep")
        inner = _At(
            self.engine,
            self.sheet,
            self.row,
            self.column,
            self.row - 1,
            self.column - 1,
            self.array,
            self.depth + 1,
        )
        return inner.run(parse(text).code)

    def table(self, part: TablePart) -> Any:
        table = self.find_table(part.table)
        area = table.area
        first, last = 0, area.columns - 1
        if part.first is not None and part.last is not None:
            first, last = _column(table, part.first), _column(table, part.last)
            first, last = min(first, last), max(first, last)
        top, bottom = area.top + table.header_rows, area.bottom - table.totals_rows
        items = part.items
        if items == {"#this row"}:
            if not top <= self.row <= bottom or self.sheet != area.sheet:
                return VALUE
            top = bottom = self.row
        elif items:
            rows = _table_rows(table, items, top, bottom)
            if rows is None:
                return REF
            top, bottom = rows
        return Area(area.sheet, top, area.left + first, bottom, area.left + last)

    def find_table(self, name: str | None) -> TableRange:
        if name is not None:
            table = self.engine.tables.get(name.lower())
            if table is None:
                raise Unevaluable(f"there is no table {name}")
            return table
        for table in self.engine.tables.values():
            area = table.area
            if (
                area.sheet == self.sheet
                and area.top <= self.row <= area.bottom
                and area.left <= self.column <= area.right
            ):
                return table
        raise Unevaluable("a table reference without a table's name stands outside a table")

    # functions

    def call(self, written: str, codes: Sequence[Any]) -> Any:
        own = self.engine.own.meaning(written)
        if own is not None:
            return self.call_own(own, codes)
        name = standard_name(written)
        if "!" in name:
            raise Unevaluable(f"{written} is a function of another workbook")
        function = FUNCTIONS.get(name)
        if function is None:
            if name in REFUSED:
                raise Unevaluable(f"{name} {REFUSED[name]}")
            raise Unevaluable(f"the function {name} is not known here")
        if not function.least <= len(codes) <= function.most:
            raise Unevaluable(f"{name} is given {len(codes)} arguments")
        if self.engine.sheets.date1904 and self.uses_dates(name, codes):
            raise Unevaluable("the workbook counts its dates from 1904")
        return function.run(self, codes)

    def uses_dates(self, name: str, codes: Sequence[Any]) -> bool:
        if name != "TEXT":
            return name in DATE_FUNCTIONS
        code = self.scalar(self.run(codes[1])) if len(codes) > 1 else ""
        return not isinstance(code, str) or is_date_format(code)

    def call_own(self, name: str, codes: Sequence[Any]) -> Any:
        """A function of an add-in; ranges and arrays are taken whole."""
        return self.engine.own.call(name, [self.argument(self.run(code, True)) for code in codes])

    def argument(self, value: Any) -> Any:
        if value is MISSING:
            return None
        if isinstance(value, Areas):
            return VALUE
        if isinstance(value, Area):
            value = self.engine.block(value)
        if isinstance(value, list):
            return value[0][0] if len(value) == 1 and len(value[0]) == 1 else value
        return value


def _join_areas(kind: str, first: Any, second: Any) -> Any:
    """The range, union or intersection of two references."""
    for value in (first, second):
        if isinstance(value, CellError):
            return value
        if not isinstance(value, Area | Areas):
            return VALUE
    if kind == "union":
        parts = [p for v in (first, second) for p in (v.parts if isinstance(v, Areas) else (v,))]
        return Areas(tuple(parts))
    if isinstance(first, Areas) or isinstance(second, Areas) or first.sheet != second.sheet:
        return VALUE
    if kind == ":":
        return Area(
            first.sheet,
            min(first.top, second.top),
            min(first.left, second.left),
            max(first.bottom, second.bottom),
            max(first.right, second.right),
        )
    both = Area(
        first.sheet,
        max(first.top, second.top),
        max(first.left, second.left),
        min(first.bottom, second.bottom),
        min(first.right, second.right),
    )
    return both if both.top <= both.bottom and both.left <= both.right else NULL


def _column(table: TableRange, name: str) -> int:
    wanted = " ".join(name.split()).lower()
    for place, header in enumerate(table.headers):
        if header.lower() == name.lower() or " ".join(header.split()).lower() == wanted:
            return place
    raise Unevaluable(f"the table {table.name} has no column {name}")


def _table_rows(table: TableRange, items: frozenset[str], top: int, bottom: int) -> tuple[int, int] | None:
    """First and last row of the special items of a table, None where they are not there."""
    area = table.area
    ranges = {
        "#all": (area.top, area.bottom),
        "#data": (top, bottom),
        "#headers": (area.top, top - 1) if table.header_rows else None,
        "#totals": (bottom + 1, area.bottom) if table.totals_rows else None,
    }
    unknown = [item for item in items if item not in ranges]
    if unknown:
        raise Unevaluable(f"the table part {unknown[0]} is not computed here")
    found = [rows for item in items if (rows := ranges[item]) is not None]
    if len(found) < len(items):
        return None
    return min(first for first, _ in found), max(last for _, last in found)


# -- sources ------------------------------------------------------------------------------------


class PackageSheets:
    """The sheets of a `Package`, read from its XML; stored values of formulas are not looked at."""

    def __init__(self, package: Package):
        self.package = package
        self.date1904 = package.date1904
        self._values: dict[str, dict[tuple[int, int], Any]] = {}
        self._formulas: dict[str, dict[tuple[int, int], Formula]] = {}
        self._hidden: dict[str, frozenset[int]] = {}
        for sheet in package.worksheets:
            self._read(sheet.name, package.read_once(sheet.part))
        self._names = {(n.name.lower(), n.scope): n.text for n in package.defined_names}

    def _read(self, name: str, root: Any) -> None:
        values: dict[tuple[int, int], Any] = {}
        formulas: dict[tuple[int, int], Formula] = {}
        shared: dict[str, tuple[int, int, str]] = {}
        blocks: list[tuple[Area, str]] = []
        for row, column, _, cell in iter_cells(root):
            if not len(cell):
                continue
            element = formula_of(cell)
            if element is None:
                value = _stored(cell, self.package)
                if value is not None:
                    values[row, column] = value
                continue
            text, kind = element.text or "", element.get("t", "normal")
            if kind == "shared":
                index = element.get("si", "")
                if text:
                    shared[index] = (row, column, text)
                if index in shared:
                    top, left, text = shared[index]
                    formulas[row, column] = Formula(text, row - top, column - left)
                else:
                    formulas[row, column] = Formula("", refused="its shared formula is missing")
            elif kind == "array":
                area = _block_area(name, element.get("ref", ""), row, column)
                blocks.append((area, text))
            elif kind == "dataTable":
                formulas[row, column] = Formula("", refused="data tables are not computed here")
            elif text:
                formulas[row, column] = Formula(text)
        for area, text in blocks:
            _spread(formulas, values, area, text)
        self._values[name], self._formulas[name] = values, formulas
        data = root.find(f"{{{MAIN}}}sheetData")
        self._hidden[name] = frozenset(
            int(row.get("r"))
            for row in (() if data is None else data.iterchildren(f"{{{MAIN}}}row"))
            if row.get("hidden") in ("1", "true") and row.get("r")
        )

    def sheet_names(self) -> Sequence[str]:
        """All sheets with cells."""
        return list(self._values)

    def values(self, sheet: str) -> Mapping[tuple[int, int], Any]:
        """The constants of a sheet by row and column."""
        return self._values[sheet]

    def formulas(self, sheet: str) -> Mapping[tuple[int, int], Formula]:
        """The formulas of a sheet by row and column."""
        return self._formulas[sheet]

    def hidden_rows(self, sheet: str) -> frozenset[int]:
        """The hidden rows of a sheet."""
        return self._hidden[sheet]

    def tables(self) -> Sequence[TableRange]:
        """All tables."""
        return [
            TableRange(
                table.name,
                Area(
                    table.sheet.name, table.first_row, table.first_column, table.last_row, table.last_column
                ),
                table.columns,
                table.header_rows,
                table.totals_rows,
            )
            for table in self.package.tables
        ]

    def name(self, name: str, sheet: str) -> str | None:
        """What a defined name refers to, seen from a sheet."""
        local = self._names.get((name.lower(), sheet))
        return self._names.get((name.lower(), None)) if local is None else local


def _stored(cell: Any, package: Package) -> Any:
    kind = cell.get("t", "n")
    value = cell_value(cell, package)
    if isinstance(value, str) and kind == "e":
        return CellError(value)
    if isinstance(value, str) and kind == "d":
        return moment_serial(dt.datetime.fromisoformat(value.rstrip("Z")))
    return value


def _block_area(sheet: str, ref: str, row: int, column: int) -> Area:
    try:
        top, left, bottom, right = split_range(ref)
    except ValueError:
        top, left, bottom, right = row, column, row, column
    if (top, left) != (row, column) or (bottom - top + 1) * (right - left + 1) > MAX_BLOCK:
        top, left, bottom, right = row, column, row, column
    return Area(sheet, top, left, bottom, right)


def _spread(
    formulas: dict[tuple[int, int], Formula], values: dict[tuple[int, int], Any], area: Area, text: str
) -> None:
    """Give every cell of an array formula's range the formula."""
    formula = Formula(text, block=area)
    for row in range(area.top, area.bottom + 1):
        for column in range(area.left, area.right + 1):
            formulas[row, column] = formula
            values.pop((row, column), None)


# -- entry --------------------------------------------------------------------------------------


def evaluate_package(package: Package, own: OwnFunctions = NO_OWN, max_visits: int = MAX_VISITS) -> Evaluated:
    """The values of the formula cells of a package by sheet and address, and why others have none.

    `own` are the functions of an add-in that formulas may call.
    """
    return evaluate_sheets(PackageSheets(package), own, max_visits)


def evaluate_sheets(sheets: Sheets, own: OwnFunctions = NO_OWN, max_visits: int = MAX_VISITS) -> Evaluated:
    """The same of sheets that lie in no package."""
    engine = _Engine(sheets, own, max_visits)
    evaluated = Evaluated()
    for sheet in sheets.sheet_names():
        for row, column in sheets.formulas(sheet):
            key = (sheet, row, column)
            if key not in engine.results:
                engine.solve(key)
            if key in engine.results:
                evaluated.values[sheet, address(row, column)] = engine.results[key]
            else:
                reason = engine.failed[engine.master(key)]
                place = f"{sheet}!{address(row, column)}"
                evaluated.problems.append(Problem(place, message=reason, code=""))
    return evaluated
