"""Fill a template workbook by defined names and table headers, and leave all else as it is.

A template is the user's own .xlsx or .xlsm: styled, with logos, charts, buttons and notes. It is
filled by editing the XML of its sheets, so that what a spreadsheet put into it survives. Values go
into the cells that defined names refer to; rows go into Excel tables, whose columns are found by
their header text in any order. A table grows and shrinks with real row insertion (see `rows`), and
its sample rows give the styles and the formulas of the rows that take their place.
"""

from __future__ import annotations

import copy
import datetime as dt
import numbers
import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from lxml import etree

from dispense.base.errors import DispenseError, Problem, TemplateError, show
from dispense.base.naming import fold
from dispense.xlsx.content import CELL, FORMULA, Content, encode, set_blank, set_content
from dispense.xlsx.forms import date_styles
from dispense.xlsx.package import (
    MAIN,
    MAX_ROW,
    DefinedName,
    Limits,
    Package,
    Sheet,
    Table,
    column_letters,
    compare,
    sound_xml,
    split_cell,
    split_range,
)
from dispense.xlsx.rows import (
    Band,
    Grid,
    LostRow,
    RowMap,
    RowShift,
    drop_calculation_chain,
    expand_shared,
    move_formula,
    renumber,
)
from dispense.xlsx.stored import Evaluate, cache_values, refresh_charts
from dispense.xlsx.template_units import HEADER, label_unit, names_column

__all__ = ["Filled", "Report", "Template", "compare", "fill_template"]

Value = str | int | float | bool | dt.date | dt.datetime | dt.time | dt.timedelta | None
Convert = Callable[[str, Any, str], Any]


_X14 = "http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"
_XM = "http://schemas.microsoft.com/office/excel/2006/main"
_Shape = tuple[Any, ...]  # what the room made in a template depends on
MOST_SHAPES = 64  # grown templates that are kept, of some 100 kB each: a run's sheets have fewer
_OWN_FORMATS = 164  # numbers of formats below are the file format's own


# --------------------------------------------------------------------------------------- report


@dataclass
class Report:
    """What a filling changed and what the reader should know about it."""

    parts: list[str] = field(default_factory=list)
    sheets: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def note(self, text: str) -> None:
        """Add a note once."""
        if text not in self.notes:
            self.notes.append(text)


@dataclass
class Filled:
    """A filled workbook, not yet saved, and the report on it."""

    package: Package
    report: Report

    def save(self, path: str | os.PathLike[str], forbid: Iterable[str | os.PathLike[str]] = ()) -> Path:
        """Write the workbook in one step, never over one of the `forbid` inputs."""
        return self.package.save(path, forbid)


class Template:
    """A template read once, to be filled any number of times."""

    def __init__(self, source: str | os.PathLike[str] | bytes | Package, limits: Limits | None = None):
        self.package = source if isinstance(source, Package) else Package.open(source, limits)
        with sound_xml(self.package):
            self._date_styles = date_styles(self.package)
        self._grown: dict[_Shape, _Grown] = {}  # the last used at the end

    def fill(
        self,
        values: Mapping[str, Value] | None = None,
        tables: Mapping[str, Sequence[Mapping[str, Value]]] | None = None,
        *,
        convert: Convert | None = None,
        required: Collection[str] = (),
        evaluate: Evaluate | None = None,
        charts_refresh: bool = True,
    ) -> Filled:
        """Fill the template; all that is wrong is raised at once, before anything is written.

        `values` are written by defined name (`Card!day` picks the name of one sheet), `tables` by
        table name, each row a mapping from column to value. `convert(column, value, unit)` turns a
        number into the unit that a header such as `Volume [mL]` states. `required` lists the names
        (`day`), tables (`Shots`) and columns (`Shots[Volume]`) the template must have. `evaluate`
        computes the formulas of the filled workbook; without it they are left for the spreadsheet.
        """
        with sound_xml(self.package):
            plan = _Plan(self.package, values or {}, tables or {}, convert, required)
            filling = self._fill(plan)
        report, package = filling.report, filling.package
        package.as_workbook()
        for note in cache_values(package, evaluate):
            report.note(note)
        if charts_refresh:
            for note in refresh_charts(package):
                report.note(note)
        if any(part.startswith("_xmlsignatures/") for part in package.parts):
            report.note("the template is signed; filling it makes the signature invalid")
        report.parts = list(package.changed)
        report.sheets = [sheet.name for sheet in package.sheets if sheet.part in report.parts]
        return Filled(package, report)

    def _fill(self, plan: _Plan) -> _Filling:
        filling = _Filling(plan, self._date_styles, self._room(plan))
        filling.run()
        return filling

    def _room(self, plan: _Plan) -> _Grown:
        """The template grown to the rows of a plan, made once for all that have as many.

        It is made again with blank rows kept as long as something needs a row that would go.
        """
        shape = plan.shape()
        grown = self._grown.pop(shape, None)
        floors: dict[tuple[str, int], int] = {}
        while grown is None:
            try:
                grown = _Growing(plan, floors).run()
            except LostRow as lost:
                _keep_row(plan, floors, lost)
        self._grown[shape] = grown
        if len(self._grown) > MOST_SHAPES:
            del self._grown[next(iter(self._grown))]
        return grown


def fill_template(
    template: Template | Package | str | os.PathLike[str] | bytes,
    values: Mapping[str, Value] | None = None,
    tables: Mapping[str, Sequence[Mapping[str, Value]]] | None = None,
    *,
    convert: Convert | None = None,
    required: Collection[str] = (),
    evaluate: Evaluate | None = None,
    charts_refresh: bool = True,
) -> Filled:
    """Fill a template once; see `Template.fill`."""
    if not isinstance(template, Template):
        template = Template(template)
    return template.fill(
        values, tables, convert=convert, required=required, evaluate=evaluate, charts_refresh=charts_refresh
    )


def _keep_row(plan: _Plan, floors: dict[tuple[str, int], int], lost: LostRow) -> None:
    """Something points at a row that would go: let its table keep blank rows down to there."""
    for sheet, bands in plan.bands.items():
        if sheet.lower() != lost.sheet.lower():
            continue
        for group in bands:
            key = (sheet, group.first)
            if group.first <= lost.row <= group.last and floors.get(key, 0) < (lost.row - group.first + 1):
                floors[key] = lost.row - group.first + 1
                return
    raise TemplateError(
        Problem(lost.where, message=f"points at row {lost.row} of {lost.sheet}, which would go")
    )


# ----------------------------------------------------------------------------------------- plan


class _Group(NamedTuple):
    """Tables side by side that share their data rows."""

    first: int
    last: int
    tables: tuple[Table, ...]


class _Target(NamedTuple):
    """A cell that a defined name refers to."""

    name: str
    sheet: Sheet
    row: int
    column: int


class _Plan:
    """What goes where in the template, checked as a whole before anything is touched."""

    def __init__(
        self,
        package: Package,
        values: Mapping[str, Value],
        tables: Mapping[str, Sequence[Mapping[str, Value]]],
        convert: Convert | None,
        required: Collection[str],
    ):
        self.package = package
        self.convert = convert
        self.required = {fold(name) for name in required}
        self.date1904 = package.date1904
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.cells: list[tuple[_Target, Content]] = []
        self.rows: dict[str, int] = {}  # rows given, by table name
        self.contents: dict[str, dict[int, list[Content]]] = {}  # by table name and column
        self.tables = self._find_tables(tables)
        self.bands = self._group_tables()
        self._place_values(values)
        self._check_required(required)
        if self.problems:
            raise TemplateError(self.problems)

    def _problem(self, where: str, message: str, fix: str = "") -> None:
        self.problems.append(Problem(f"{self.package.name}, {where}", message=message, fix=fix))

    def beside(self) -> dict[tuple[str, int], dict[int, bool]]:
        """Cells of names in the rows of filled tables by sheet and row, and whether they become blank."""
        found: dict[tuple[str, int], dict[int, bool]] = {}
        for target, content in self.cells:
            groups = self.bands.get(target.sheet.name, ())
            if any(group.first <= target.row <= group.last for group in groups):
                root = self.package.tree(target.sheet.part)
                row, column = _merged_corner(root, target.row, target.column)
                found.setdefault((target.sheet.name, row), {})[column] = content.kind == "blank"
        return found

    def shape(self) -> _Shape:
        """What the room depends on that these contents need: rows, columns given, and what is beside."""
        beside = tuple((place, *columns.items()) for place, columns in self.beside().items())
        return (*((name, count, *self.contents[name]) for name, count in self.rows.items()), beside)

    # names

    def _targets(self, key: str) -> Iterator[tuple[str, _Target | None]]:
        """Each cell a name refers to, with the name's text; None where it is no cell."""
        scope, bang, name = key.rpartition("!")
        scope = scope.strip("'")
        for item in self.package.remember("names folded", self._folded_names).get(fold(name), ()):
            if bang and (item.scope is None or item.scope.lower() != scope.lower()):
                continue
            title, cells = item.place or ("", "")
            sheet = self.package.sheet(title)
            if sheet is None or sheet.kind != "worksheet":
                yield item.text, None
                continue
            row, column = split_range(cells)[:2]
            yield item.text, _Target(item.name, sheet, row, column)

    def _folded_names(self) -> dict[str, list[DefinedName]]:
        found: dict[str, list[DefinedName]] = {}
        for item in self.package.defined_names:
            found.setdefault(fold(item.name), []).append(item)
        return found

    def _place_values(self, values: Mapping[str, Value]) -> None:
        for key, value in values.items():
            found = False
            for text, target in self._targets(key):
                found = True
                if target is None:
                    self._problem(f"name {key}", f"refers to {text}, which is not one cell")
                    continue
                self._place(key, target, value)
            if not found and fold(key) not in self.required:
                self.notes.append(f"the template has no name {key}; its value was left out")

    def _place(self, key: str, target: _Target, value: Value) -> None:
        address = f"{column_letters(target.column)}{target.row}"
        for group in self.bands.get(target.sheet.name, ()):
            for table in group.tables:
                inside = table.first_column <= target.column <= table.last_column
                if inside and table.first_row <= target.row <= table.last_data_row:
                    self._problem(
                        f"name {target.name}",
                        f"refers to {target.sheet.name}!{address}, inside the table {table.name}",
                        "let the name refer to a cell outside the table",
                    )
                    return
        label = self.package.remember(
            ("label", target.sheet.name, target.row, target.column),
            lambda: label_unit(self.package, target.sheet, target.row, target.column),
        )
        where = f"name {target.name}" + (f", {label[0]} in {label[1]}" if label else "")
        content = self._converted(where, key, value, label[2] if label else None)
        if content is not None:
            self.cells.append((target, content))

    def _encode(self, where: str, value: Any) -> Content | None:
        try:
            return encode(value, self.date1904)
        except ValueError as error:
            self._problem(where, f"is {show(value)}; it must be {error}")
            return None

    # tables

    def _find_tables(self, given: Mapping[str, Sequence[Mapping[str, Value]]]) -> dict[str, Table]:
        found: dict[str, Table] = {}
        for name, rows in given.items():
            table = self.package.table(name)
            if table is None:
                if fold(name) not in self.required:
                    self.notes.append(f"the template has no table {name}; its rows were left out")
                continue
            if table.name in found:
                self._problem(f"table {name}", "is given twice")
                continue
            if table.last_data_row < table.first_data_row:
                self._problem(f"table {name}", "has no sample row", "give it one row below its header")
                continue
            found[table.name] = table
            self.rows[table.name] = len(rows)
            self.contents[table.name] = self._match_columns(table, rows)
        return found

    def _match_columns(self, table: Table, rows: Sequence[Mapping[str, Value]]) -> dict[int, list[Content]]:
        keys = {fold(key): key for row in rows for key in row}
        used: set[str] = set()
        contents = {}
        for offset, header in enumerate(table.columns):
            key, unit = keys.get(fold(header)), None
            if key is None:
                split = HEADER.match(header)
                if split is None:
                    continue
                key, unit = keys.get(fold(split["base"])), split["unit"].strip()
            if key is None:
                continue
            used.add(key)
            contents[table.first_column + offset] = self._column(table, header, key, unit, rows)
        for key in keys.values():
            if key not in used and fold(f"{table.name}[{key}]") not in self.required:
                self.notes.append(f"the table {table.name} has no column {key}; it was left out")
        return contents

    def _column(
        self, table: Table, header: str, key: str, unit: str | None, rows: Sequence[Mapping[str, Value]]
    ) -> list[Content]:
        converted = (
            self._converted(f"table {table.name}, row {number}, {header}", key, row.get(key), unit)
            for number, row in enumerate(rows, 1)
        )
        return [content for content in converted if content is not None]

    def _converted(self, where: str, key: str, value: Any, unit: str | None) -> Content | None:
        """A value as a cell's content, a number in the unit that stands beside it."""
        convertible = isinstance(value, numbers.Number) and not isinstance(value, bool)
        if unit is not None and self.convert is not None and convertible:
            try:
                value = self.convert(key, value, unit)
            except DispenseError as error:
                for problem in error.problems:
                    self._problem(where, problem.message or str(problem), problem.fix)
                return None
            except (ValueError, TypeError) as error:
                self._problem(where, f"cannot be given in {unit}: {error}")
                return None
        return self._encode(where, value)

    def _group_tables(self) -> dict[str, list[_Group]]:
        """The filled tables of each sheet in groups that share their rows."""
        groups: dict[str, list[_Group]] = {}
        by_sheet: dict[str, list[Table]] = {}
        for table in self.tables.values():
            by_sheet.setdefault(table.sheet.name, []).append(table)
        for sheet, tables in by_sheet.items():
            for table in sorted(tables, key=lambda table: (table.first_row, table.first_column)):
                listed = groups.setdefault(sheet, [])
                if listed and _overlap(listed[-1].tables, table):
                    self._join(listed, table)
                else:
                    listed.append(_Group(table.first_data_row, table.last_data_row, (table,)))
        return groups

    def _join(self, listed: list[_Group], table: Table) -> None:
        group = listed[-1]
        if (group.first, group.last) != (table.first_data_row, table.last_data_row):
            other = group.tables[-1].name
            self._problem(
                f"sheet {table.sheet.name}",
                f"the tables {other} and {table.name} stand side by side but their data rows "
                f"are not the same ({group.first} to {group.last} and "
                f"{table.first_data_row} to {table.last_data_row})",
                "start and end both on the same row, or put one below the other",
            )
        listed[-1] = group._replace(tables=(*group.tables, table))

    def _check_required(self, required: Collection[str]) -> None:
        for problem in lacking(self.package, required):
            self.problems.append(problem)


def lacking(package: Package, required: Iterable[str], known: Collection[str] = ()) -> list[Problem]:
    """What a template must have and has not, each with where to put it back.

    `required` lists names (`day`), tables (`Shots`) and columns of tables (`Shots[Volume]`). `known`
    are headings that a template may have: a header that is none of them may be the missing one.
    """
    problems = []
    names = {fold(item.name) for item in package.defined_names}
    for wanted in required:
        table_name, bracket, column = wanted.partition("[")
        column = column.removesuffix("]")
        table = package.table(table_name)
        if bracket and table is None:
            problems.append(
                Problem(
                    f"{package.name}, table {table_name}",
                    message=f"is missing, and with it the column {column}",
                    fix="give the name back to the table",
                )
            )
        elif bracket and table is not None:
            if not any(names_column(header, column) for header in table.columns):
                problems.append(_missing_column(package, table, column, known))
        elif table is None and fold(wanted.rpartition("!")[2]) not in names:
            problems.append(
                Problem(
                    f"{package.name}, {wanted}",
                    message="no defined name or table is called so",
                    fix="give the name back to its cell or table",
                )
            )
    return problems


def _missing_column(package: Package, table: Table, column: str, known: Collection[str]) -> Problem:
    strange = [
        f"{column_letters(table.first_column + offset)}{table.first_row} ({header})"
        for offset, header in enumerate(table.columns)
        if known and not any(names_column(header, heading) for heading in known)
    ]
    first, last = (
        f"{column_letters(each)}{table.first_row}" for each in (table.first_column, table.last_column)
    )
    seen = f"; not known are {', '.join(strange)}" if strange else ""
    return Problem(
        f"{package.name}, {table.sheet.name}!{first}:{last}",
        message=f"table {table.name} has no column {column}, which it must have{seen}",
        fix=f"write the header {column} back in row {table.first_row}; columns may stand in any order and "
        "have another unit",
    )


def _overlap(tables: Iterable[Table], other: Table) -> bool:
    return any(table.first_row <= other.last_row and other.first_row <= table.last_row for table in tables)


# -------------------------------------------------------------------------------------- filling


class _Pattern(NamedTuple):
    """What the sample rows of a column say: a formula to fill down, and where it stood."""

    text: str
    row: int
    attributes: dict[str, str]
    cell_attributes: dict[str, str]


@dataclass(slots=True)
class _Grown:
    """A template with room for so many rows: rows moved and made, formulas filled down, samples cleared.

    What fills it are contents alone, so that sheets of as many rows share it.
    """

    package: Package
    maps: dict[str, RowMap]
    kept: dict[str, frozenset[int]]  # columns of each table whose formulas stay
    notes: list[str]
    corners: dict[_Target, tuple[int, int] | None] = field(default_factory=dict)

    def corner(self, target: _Target) -> tuple[int, int] | None:
        """Where the cell of a name stands now, that of a merged range its first; None where it went."""
        if target not in self.corners:
            rows = self.maps.get(target.sheet.name)
            row = target.row if rows is None else rows.point(target.row)
            root = self.package.tree(target.sheet.part)
            self.corners[target] = None if row is None else _merged_corner(root, row, target.column)
        return self.corners[target]


class _Filling:
    """One filling of a copy of a grown template."""

    def __init__(self, plan: _Plan, date_styles: frozenset[int], grown: _Grown):
        self.plan = plan
        self.package = grown.package.copy()
        self.date_styles = date_styles
        self.grown = grown
        self.report = Report(notes=list(plan.notes))
        self._grids: dict[str, Grid] = {}
        self._styles: dict[tuple[str, str], str] = {}  # with a number format, by style and format

    def grid(self, sheet: Sheet) -> Grid:
        """The cells of a sheet, to be edited."""
        if sheet.name not in self._grids:
            self._grids[sheet.name] = Grid(self.package.edit(sheet.part))
        return self._grids[sheet.name]

    def run(self) -> None:
        """Write the values by name and by table."""
        for target, content in self.plan.cells:
            self._write_named(target, content)
        for note in self.grown.notes:
            self.report.note(note)
        for sheet, groups in self.plan.bands.items():
            rows = self.grown.maps[sheet]
            for group, band in zip(groups, rows.bands, strict=True):
                for table in group.tables:
                    self._write_rows(table, rows.near(band.first))

    def _write_named(self, target: _Target, content: Content) -> None:
        corner = self.grown.corner(target)
        if corner is None:
            return
        cell = self.grid(target.sheet).cell(*corner)
        place = f"{target.sheet.name}!{column_letters(target.column)}{target.row}"
        if cell.find(FORMULA) is not None:
            self.report.note(f"name {target.name}: {place} holds a formula, which was kept")
            return
        self._put(cell, content)
        self._check_date(content, cell, f"name {target.name}: {place}")

    def _write_rows(self, table: Table, first: int) -> None:
        grid, kept = self.grid(table.sheet), self.grown.kept[table.name]
        for column, contents in self.plan.contents[table.name].items():
            for row, content in enumerate(() if column in kept else contents, first):
                if content.kind == "blank":
                    continue
                cell = grid.cell(row, column)
                self._put(cell, content)
                if content.is_date:
                    header = table.columns[column - table.first_column]
                    self._check_date(content, cell, f"{table.name}[{header}]")

    def _put(self, cell: etree._Element, content: Content) -> None:
        """A content into a cell, with the number format that it needs to be seen whole."""
        set_content(cell, content, self.package)
        if content.form:
            key = cell.get("s", "0"), content.form
            if key not in self._styles:
                self._styles[key] = style_with(self.package, *key)
            cell.set("s", self._styles[key])

    def _check_date(self, content: Content, cell: etree._Element, where: str) -> None:
        if content.is_date and int(cell.get("s", "0")) not in self.date_styles:
            self.report.note(f"{where} is a date or time in a cell that shows it as a number")


class _Growing:
    """Room made in a copy of the template for the rows of its tables."""

    def __init__(self, plan: _Plan, floors: Mapping[tuple[str, int], int]):
        self.plan = plan
        self.package = plan.package.copy()
        self.floors = floors
        self.report = Report()
        self._grids: dict[str, Grid] = {}
        self._formulas_gone = False
        self._named = plan.beside()

    def grid(self, sheet: Sheet) -> Grid:
        """The cells of a sheet, to be edited."""
        if sheet.name not in self._grids:
            self._grids[sheet.name] = Grid(self.package.edit(sheet.part))
        return self._grids[sheet.name]

    def run(self) -> _Grown:
        """Move the rows, make new ones, fill formulas down."""
        maps = {sheet: RowMap(self._bands(sheet)) for sheet in self.plan.bands}
        moving = {sheet: rows for sheet, rows in maps.items() if rows.moves}
        self._write_out_shared(moving)
        if moving:
            self._move_rows(moving)
        kept: dict[str, frozenset[int]] = {}
        for sheet, groups in self.plan.bands.items():
            for group, band in zip(groups, maps[sheet].bands, strict=True):
                kept.update(self._make_group(group, band, maps[sheet]))
        if self._formulas_gone:
            drop_calculation_chain(self.package)
        self.package.settle()
        return _Grown(self.package, maps, kept, self.report.notes)

    def _write_out_shared(self, moving: Collection[str]) -> None:
        """Give each cell its own formula where formulas that cells share will move or be copied."""
        for table in self.plan.tables.values():
            grid = self.grid(table.sheet)
            shared = table.sheet.name in moving or any(
                cell.find(FORMULA) is not None and cell.find(FORMULA).get("t") == "shared"
                for row in range(table.first_data_row, table.last_data_row + 1)
                for cell in grid.cells(row).values()
            )
            if shared:
                expand_shared(grid.root)

    # rows

    def _bands(self, sheet: str) -> list[Band]:
        return [self._band(sheet, group) for group in self.plan.bands[sheet]]

    def _band(self, sheet: str, group: _Group) -> Band:
        wanted = max(1, *(self.plan.rows[table.name] for table in group.tables))
        count = max(wanted, self.floors.get((sheet, group.first), 0))
        count = max(count, self._rows_beside(group, count))
        names = " and ".join(table.name for table in group.tables)
        if count > wanted:
            rows = "a blank row was" if count - wanted == 1 else f"{count - wanted} blank rows were"
            self.report.note(
                f"{sheet}: {rows} left in {names}, because something beside the table or a "
                "formula needs the place"
            )
        if group.first + count - 1 > MAX_ROW:
            raise TemplateError(Problem(sheet, message=f"{names} has more rows than a sheet"))
        return Band(group.first, group.last, count)

    def _rows_beside(self, group: _Group, count: int) -> int:
        """How many rows must stay because cells beside the tables hold something."""
        if group.first + count > group.last:
            return count
        grid = self.grid(group.tables[0].sheet)
        for row in range(group.last, group.first + count - 1, -1):
            held = {column for column, cell in grid.cells(row).items() if len(cell)}
            for column, is_blank in self._named.get((group.tables[0].sheet.name, row), {}).items():
                cell = grid.cells(row).get(column)
                if cell is None or cell.find(FORMULA) is None:
                    (held.discard if is_blank else held.add)(column)
            inside = {
                column
                for table in group.tables
                for column in range(table.first_column, table.last_column + 1)
            }
            if held - inside:
                return row - group.first + 1
        return count

    def _move_rows(self, maps: Mapping[str, RowMap]) -> None:
        for name, rows in maps.items():
            sheet = self.package.sheet(name)
            assert sheet is not None
            grid = self.grid(sheet)
            for band in rows.bands:
                for row in range(band.first + band.count, band.last + 1):
                    grid.remove(row)
            self._note_neighbours(sheet, rows)
        shift = RowShift(self.package, maps)
        shift.apply()
        if shift.problems:
            raise TemplateError(
                Problem(f"{self.package.name}, {problem.where}", message=problem.message, fix=problem.fix)
                for problem in shift.problems
            )
        for note in shift.notes:
            self.report.note(note)
        for name in maps:
            self._grids[name].reindex()

    def _note_neighbours(self, sheet: Sheet, rows: RowMap) -> None:
        for table in self.package.tables:
            if table.sheet.name != sheet.name or table.name in self.plan.tables:
                continue
            span = rows.span(table.first_row, table.last_row)
            if span and span[1] - span[0] > table.last_row - table.first_row:
                self.report.note(
                    f"{sheet.name}: the table {table.name} gained blank rows, because it stands "
                    "beside a table that grew"
                )

    # tables

    def _make_group(self, group: _Group, band: Band, rows: RowMap) -> dict[str, frozenset[int]]:
        """The rows of tables side by side; of each the columns whose formulas stay."""
        sheet = group.tables[0].sheet
        grid = self.grid(sheet)
        first = rows.near(band.first)
        kept = min(band.rows, band.count)
        patterns = {table.name: self._patterns(table, grid, first, kept) for table in group.tables}
        sources = [grid.rows.get(first + index) for index in range(kept)]
        self._show_rows(sources, group)
        for index in range(kept, band.count):
            self._new_row(grid, sources[index % kept], first + index)
        for table in group.tables:
            for index in range(band.count):
                self._make_row(table, grid, first + index, index, patterns[table.name])
        self._copy_sparklines(grid, group, first, kept, band.count)
        self._drop_links(grid, group, first, kept)
        return {name: frozenset(columns) for name, columns in patterns.items()}

    def _show_rows(self, rows: Iterable[etree._Element | None], group: _Group) -> None:
        """Sample rows that a filter hid would hide what is filled into them."""
        for row in rows:
            if row is not None and row.attrib.pop("hidden", None) in ("1", "true"):
                names = " and ".join(table.name for table in group.tables)
                self.report.note(f"hidden sample rows of {names} are shown; filter them again")

    @staticmethod
    def _drop_links(grid: Grid, group: _Group, first: int, kept: int) -> None:
        """The links of sample values go with the values."""
        links = grid.root.find(f"{{{MAIN}}}hyperlinks")
        for item in list(() if links is None else links):
            top, left, bottom, right = split_range(item.get("ref", "A1"))
            inside = any(t.first_column <= left and right <= t.last_column for t in group.tables)
            if inside and first <= top and bottom < first + kept:
                links.remove(item)
        if links is not None and not len(links):
            grid.root.remove(links)

    @staticmethod
    def _new_row(grid: Grid, source: etree._Element | None, number: int) -> None:
        """A row like a sample row, with its height and styles and nothing in it."""
        if source is None:
            return
        row = etree.Element(source.tag, dict(source.attrib))
        for key in ("hidden", "collapsed", "spans"):
            row.attrib.pop(key, None)
        for cell in source.iterchildren(CELL):
            twin = etree.SubElement(row, CELL, r=cell.get("r", "A1"))
            if cell.get("s"):
                twin.set("s", cell.get("s", "0"))
        renumber(row, number)
        grid.insert(number, row)

    def _patterns(self, table: Table, grid: Grid, first: int, kept: int) -> dict[int, _Pattern]:
        """The formula of each column that has one, from the last sample row that holds it."""
        patterns: dict[int, _Pattern] = {}
        for row in range(first, first + kept):
            for column, cell in grid.cells(row).items():
                formula = cell.find(FORMULA)
                inside = table.first_column <= column <= table.last_column
                if inside and formula is not None and formula.text:
                    patterns[column] = _Pattern(
                        formula.text,
                        row,
                        dict(formula.attrib),
                        {"cm": cell.get("cm", "")} if cell.get("cm") else {},
                    )
        for column, text in _column_formulas(self.package.tree(table.part)).items():
            patterns.setdefault(table.first_column + column, _Pattern(text, first, {}, {}))
        for column in sorted(set(patterns) & set(self.plan.contents[table.name])):
            header = table.columns[column - table.first_column]
            self.report.note(f"{table.name}[{header}] holds a formula, which was kept")
        return patterns

    def _make_row(
        self, table: Table, grid: Grid, row: int, index: int, patterns: Mapping[int, _Pattern]
    ) -> None:
        """One row of a table: its formulas, and nothing else."""
        given = index < self.plan.rows[table.name]
        cells = grid.cells(row)
        for column in range(table.first_column, table.last_column + 1):
            pattern, cell = patterns.get(column), cells.get(column)
            if pattern is not None and given:
                self._fill_formula(grid, row, column, pattern)
            elif cell is not None:
                self._formulas_gone = self._formulas_gone or cell.find(FORMULA) is not None
                set_blank(cell)

    @staticmethod
    def _fill_formula(grid: Grid, row: int, column: int, pattern: _Pattern) -> None:
        cell = grid.cell(row, column)
        held = cell.find(FORMULA)
        if held is not None and held.text:
            return
        set_blank(cell)
        formula = etree.SubElement(cell, FORMULA, dict(pattern.attributes))
        formula.text = move_formula(pattern.text, row - pattern.row)
        if "ref" in formula.attrib:
            formula.set("ref", cell.get("r", ""))
        for key, value in pattern.cell_attributes.items():
            cell.set(key, value)

    @staticmethod
    def _copy_sparklines(grid: Grid, group: _Group, first: int, kept: int, count: int) -> None:
        """Give new rows the sparklines of the sample rows."""
        for item in list(grid.root.iter(f"{{{_X14}}}sparkline")):
            place, source = item.find(f"{{{_XM}}}sqref"), item.find(f"{{{_XM}}}f")
            if place is None or not place.text or ":" in place.text:
                continue
            row, column = split_cell(place.text)
            inside = any(t.first_column <= column <= t.last_column for t in group.tables)
            if not inside or not first <= row < first + kept:
                continue
            for target in range(row + kept, first + count, kept):
                twin = copy.deepcopy(item)
                twin.find(f"{{{_XM}}}sqref").text = f"{column_letters(column)}{target}"
                if source is not None and source.text:
                    twin.find(f"{{{_XM}}}f").text = move_formula(source.text, target - row)
                item.getparent().append(twin)


def _column_formulas(table: etree._Element) -> dict[int, str]:
    """The formula of each calculated column, by its place in the table."""
    columns = table.find(f"{{{MAIN}}}tableColumns")
    found = {}
    for offset, column in enumerate(() if columns is None else columns):
        item = column.find(f"{{{MAIN}}}calculatedColumnFormula")
        if item is not None and item.text and not item.get("array"):
            found[offset] = item.text
    return found


def _merged_corner(root: etree._Element, row: int, column: int) -> tuple[int, int]:
    """The top left cell of the merged range a cell lies in, or the cell itself."""
    merged = root.find(f"{{{MAIN}}}mergeCells")
    for item in () if merged is None else merged:
        top, left, bottom, right = split_range(item.get("ref", "A1"))
        if top <= row <= bottom and left <= column <= right:
            return top, left
    return row, column


def style_with(package: Package, style: str, form: str) -> str:
    """The cell style that is as `style` but for its number format; added where there is none."""
    found = package.related(package.workbook_part, "styles")
    if not found:
        return style
    root = package.edit(found[0])
    formats = root.find(f"{{{MAIN}}}numFmts")
    if formats is None:
        formats = etree.Element(f"{{{MAIN}}}numFmts")
        root.insert(0, formats)
    codes = {item.get("formatCode"): item.get("numFmtId") for item in formats}
    if form not in codes:
        number = str(max([_OWN_FORMATS - 1, *(int(each) for each in codes.values())]) + 1)
        etree.SubElement(formats, f"{{{MAIN}}}numFmt", numFmtId=number, formatCode=form)
        formats.set("count", str(len(formats)))
        codes[form] = number
    styles = root.find(f"{{{MAIN}}}cellXfs")
    twin = copy.deepcopy(styles[int(style)])
    twin.set("numFmtId", codes[form])
    twin.set("applyNumberFormat", "1")
    wanted = etree.tostring(twin)
    for place, item in enumerate(styles):
        if etree.tostring(item) == wanted:
            return str(place)
    styles.append(twin)
    styles.set("count", str(len(styles)))
    return str(len(styles) - 1)


# --------------------------------------------------------------------------------------- charts
