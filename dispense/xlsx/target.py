"""Where a filled workbook goes: a file, or a workbook that is open in Excel.

Both are a `Target`: values by defined name, rows by table name, and `save` at the end. What is
wrong is raised by `save`, all at once and before the first cell is written; what could not be
placed comes back as notes. `FileTarget` fills a template file (see `fill`). `OpenWorkbookTarget`
writes into an open workbook through xlwings, on Windows or macOS: whole ranges, one write for each
run of columns, never cell by cell. It leaves saving the file to the user, who may still undo by
closing without saving.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import numbers
import os
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any, Protocol

from dispense.base.errors import DispenseError, FileError, Problem, TemplateError, show
from dispense.base.fields import CellError
from dispense.base.naming import fold
from dispense.base.printed import Printed
from dispense.xlsx.content import clean_text, encode
from dispense.xlsx.package import Package
from dispense.xlsx.template_units import HEADER, names_column, stated_unit
from dispense.xlsx.templates import Convert, Evaluate, Report, Template, Value, fill_template

__all__ = ["FileTarget", "OpenWorkbookTarget", "Target", "live_value", "open_workbook", "table_headers"]

Rows = Sequence[Mapping[str, Value]]


class Target(Protocol):
    """A workbook that takes values by defined name and rows by table name."""

    def set_name(self, name: str, value: Value) -> None:
        """Give a value to the cell of a defined name; `Card!day` picks the name of one sheet."""

    def set_table(self, name: str, rows: Rows) -> None:
        """Give a table its rows, each a mapping from column to value."""

    def save(self) -> list[str]:
        """Write everything; gives notes on what had no place."""


class _Collected:
    """The values and rows until they are written."""

    def __init__(self) -> None:
        self.values: dict[str, Value] = {}
        self.tables: dict[str, Rows] = {}

    def set_name(self, name: str, value: Value) -> None:
        """Give a value to the cell of a defined name; `Card!day` picks the name of one sheet."""
        self.values[name] = value

    def set_table(self, name: str, rows: Rows) -> None:
        """Give a table its rows, each a mapping from column to value."""
        self.tables[name] = list(rows)


class FileTarget(_Collected):
    """A template filled into a file; the template itself is never written over."""

    def __init__(
        self,
        template: Template | Package | str | os.PathLike[str] | bytes,
        out: str | os.PathLike[str],
        *,
        convert: Convert | None = None,
        required: Collection[str] = (),
        evaluate: Evaluate | None = None,
        forbid: Iterable[str | os.PathLike[str]] = (),
    ):
        super().__init__()
        self.template, self.out = template, out
        self.convert, self.required, self.evaluate = convert, required, evaluate
        self.forbid = list(forbid)
        if isinstance(template, str | os.PathLike):
            self.forbid.append(template)
        self.report: Report | None = None

    def save(self) -> list[str]:
        """Fill the template and write the file in one step; gives the report's notes."""
        filled = fill_template(
            self.template,
            self.values,
            self.tables,
            convert=self.convert,
            required=self.required,
            evaluate=self.evaluate,
        )
        filled.save(self.out, self.forbid)
        self.report = filled.report
        return list(filled.report.notes)


# ------------------------------------------------------------------------------- an open workbook


def open_workbook(name: str | None = None) -> Any:
    """The workbook of that name (or the active one) that is open in Excel, as xlwings' Book."""
    try:
        import xlwings
    except ImportError:
        raise FileError(
            Problem("open workbook", message="xlwings is not installed", fix="pip install xlwings")
        ) from None
    try:
        books = list(xlwings.books)
        active = xlwings.books.active if books else None
    except Exception as error:  # no engine away from Windows and macOS, or no Excel running
        raise FileError(
            Problem(
                "open workbook",
                message=f"Excel was not reached: {error}",
                fix="open the workbook in Excel on Windows or macOS, or write a file with --out",
            )
        ) from error
    if name is None and active is not None:
        return active
    for book in books:
        if name is not None and fold(str(book.name)) == fold(os.path.basename(name)):
            return book
    listed = ", ".join(str(book.name) for book in books) or "none"
    raise FileError(
        Problem(
            "open workbook",
            message=f"{name or 'no workbook'} is not open in Excel",
            fix=f"open are: {listed}",
        )
    )


def live_value(value: Any) -> Any:
    """A value as Excel takes it from a program: a text stays a text, whatever it looks like.

    Excel reads a text that is put into a cell as if it were typed, so that "=1+1" would become a
    formula and "1/2" a date; a leading apostrophe, which Excel keeps apart, prevents that.

    >>> live_value("=1+1"), live_value(dt.time(6)), live_value(CellError("#N/A"))
    ("'=1+1", 0.25, '#N/A')
    """
    if isinstance(value, CellError):
        return str(value)
    if isinstance(value, str):
        text = clean_text(value)
        return f"'{text}" if text else None
    if isinstance(value, dt.time):
        seconds = value.hour * 3600 + value.minute * 60 + value.second + value.microsecond / 1e6
        return seconds / 86400.0
    if isinstance(value, dt.timedelta):
        return value.total_seconds() / 86400.0
    if isinstance(value, dt.datetime):
        return value.replace(tzinfo=None)
    if isinstance(value, bool) or value is None or isinstance(value, dt.date):
        return value
    if hasattr(value, "item"):
        return live_value(value.item())
    return float(value)  # encode has seen that it is a number


class _Block:
    """The rows of one table, matched to its columns."""

    def __init__(self, table: Any, headers: list[str], rows: int):
        self.table, self.headers, self.rows = table, headers, rows
        self.columns: dict[int, list[Any]] = {}  # by place in the table
        self.forms: dict[int, list[str]] = {}  # number formats of their cells, "" to leave them

    def formats(self) -> Iterator[tuple[int, int, int, str]]:
        """Place, first row, row behind the last and number format of cells that must show all digits."""
        for place, forms in self.forms.items():
            start = 0
            for end in range(1, len(forms) + 1):
                if end == len(forms) or forms[end] != forms[start]:
                    if forms[start]:
                        yield place, start, end, forms[start]
                    start = end

    def runs(self) -> Iterator[tuple[int, list[list[Any]]]]:
        """First column and rows of each run of columns that stand side by side."""
        places = sorted(self.columns)
        start = 0
        for end in range(1, len(places) + 1):
            if end == len(places) or places[end] != places[end - 1] + 1:
                part = [self.columns[place] for place in places[start:end]]
                yield places[start], [list(row) for row in zip(*part, strict=True)]
                start = end


class OpenWorkbookTarget(_Collected):
    """An open workbook, written through xlwings; `book` is its xlwings Book."""

    def __init__(self, book: Any, *, convert: Convert | None = None, required: Collection[str] = ()):
        super().__init__()
        self.book, self.convert, self.required = book, convert, required
        self.notes: list[str] = []
        self.problems: list[Problem] = []

    def save(self) -> list[str]:
        """Check everything, then write it into the open workbook; the file is left to the user."""
        self.notes, self.problems = [], []
        tables = {fold(str(table.name)): table for sheet in self.book.sheets for table in sheet.tables}
        blocks = [
            block
            for name, rows in self.tables.items()
            if (block := self._match(name, rows, tables)) is not None
        ]
        cells = list(self._cells(blocks))
        self._check_required(tables)
        if self.problems:
            raise TemplateError(self.problems)
        with self._quiet():
            for block in blocks:
                self._write_table(block)
            for cell, value, form in cells:
                cell.value = value
                if form:
                    cell.number_format = form
        return self.notes

    def _problem(self, where: str, message: str, fix: str = "") -> None:
        self.problems.append(Problem(f"{self.book.name}, {where}", message=message, fix=fix))

    def _checked(self, where: str, value: Any) -> Any:
        """The value as Excel takes it; a value that no cell can hold is a problem."""
        try:
            encode(value)
        except ValueError as error:
            self._problem(where, f"is {show(value)}; it must be {error}")
            return None
        return live_value(value)

    # names

    def _named(self) -> Iterator[tuple[str, str, Any]]:
        for item in self.book.names:
            scope, _, name = str(item.name).rpartition("!")
            yield scope.strip("'"), name, item

    def _cells(self, blocks: list[_Block]) -> Iterator[tuple[Any, Any, str]]:
        for key, value in self.values.items():
            scope, _, wanted = key.rpartition("!")
            scope = scope.strip("'")
            found = False
            for sheet, name, item in self._named():
                if fold(name) != fold(wanted) or (scope and fold(sheet) != fold(scope)):
                    continue
                found = True
                try:
                    cell = item.refers_to_range[0, 0]
                except Exception:  # xlwings passes on whatever Excel says of a name without a range
                    self._problem(f"name {key}", "refers to something that is not a cell")
                    continue
                inside = next((each.table.name for each in blocks if _holds(each.table, cell)), "")
                if inside:
                    self._problem(
                        f"name {key}",
                        f"refers to a cell inside the table {inside}",
                        "let the name refer to a cell outside the table",
                    )
                    continue
                shown = self._in_unit(f"name {key}", key, value, _label_unit(cell) if self.convert else None)
                yield cell, self._checked(f"name {key}", shown), _form(shown)
            if not found and key not in self.required:
                self.notes.append(f"the workbook has no name {key}; its value was left out")

    # tables

    def _match(self, name: str, rows: Rows, tables: Mapping[str, Any]) -> _Block | None:
        table = tables.get(fold(name))
        if table is None:
            if name not in self.required:
                self.notes.append(f"the workbook has no table {name}; its rows were left out")
            return None
        headers = table_headers(table)
        block = _Block(table, headers, len(rows))
        keys = {fold(key): key for row in rows for key in row}
        used = set()
        for place, header in enumerate(headers):
            key, unit = keys.get(fold(header)), None
            split = HEADER.match(header)
            if key is None and split is not None:
                key, unit = keys.get(fold(split["base"])), split["unit"].strip()
            if key is None:
                continue
            used.add(key)
            wheres = [f"table {name}, row {number}, {header}" for number in range(1, len(rows) + 1)]
            shown = [
                self._in_unit(where, key, row.get(key), unit) for where, row in zip(wheres, rows, strict=True)
            ]
            block.columns[place] = [self._checked(*pair) for pair in zip(wheres, shown, strict=True)]
            block.forms[place] = [_form(value) for value in shown]
        for key in keys.values():
            if key not in used:
                self.notes.append(f"the table {name} has no column {key}; it was left out")
        return block

    def _in_unit(self, where: str, key: str, value: Any, unit: str | None) -> Any:
        """A number in the unit that stands beside it; None where that cannot be, which is a problem."""
        is_number = isinstance(value, numbers.Number) and not isinstance(value, bool)
        if unit is not None and self.convert is not None and is_number:
            try:
                value = self.convert(key, value, unit)
            except DispenseError as error:
                self.problems.extend(
                    Problem(
                        f"{self.book.name}, {where}", message=problem.message or str(problem), fix=problem.fix
                    )
                    for problem in error.problems
                )
                return None
            except (ValueError, TypeError) as error:
                self._problem(where, f"cannot be given in {unit}: {error}")
                return None
        return value

    def _check_required(self, tables: Mapping[str, Any]) -> None:
        names = {fold(name) for _, name, _ in self._named()}
        for wanted in self.required:
            table_name, bracket, column = wanted.partition("[")
            table = tables.get(fold(table_name))
            if bracket:
                column = column.removesuffix("]")
                headers = [] if table is None else table_headers(table)
                if not any(names_column(header, column) for header in headers):
                    self._problem(
                        f"table {table_name}",
                        f"the column {column} is missing",
                        "put the header back; columns may stand in any order",
                    )
            elif table is None and fold(wanted.rpartition("!")[2]) not in names:
                self._problem(
                    wanted, "no defined name or table is called so", "give the name back to its cell or table"
                )

    def _write_table(self, block: _Block) -> None:
        """Make the table as long as its rows, then write each run of columns in one go."""
        table, count = block.table, max(block.rows, 1)  # a table keeps one row
        body = table.data_body_range
        if body is None:
            header = table.header_row_range
            table.resize(header.resize(count + 1, len(block.headers)))
            body = table.data_body_range
        height, width = body.shape
        if count > height:  # new rows go before the last one, which gives them their format
            gap = body[height - 1, 0].resize(count - height, width)
            gap.insert("down", copy_origin="format_from_right_or_below")
        elif count < height:
            body[count:height, :].delete("up")
        body = table.data_body_range
        for first, rows in block.runs():
            rows = rows or [[None] * self._width(block, first)]
            body[0 : len(rows), first : first + len(rows[0])].value = rows
        for place, top, end, form in block.formats():
            body[top:end, place].number_format = form

    def _width(self, block: _Block, first: int) -> int:
        width = 1
        while first + width in block.columns:
            width += 1
        return width

    @contextlib.contextmanager
    def _quiet(self) -> Iterator[None]:
        """No drawing and no computing in between; both are as before afterwards."""
        app = self.book.app
        drawing, computing = app.screen_updating, app.calculation
        app.screen_updating, app.calculation = False, "manual"
        try:
            yield
        finally:
            app.calculation, app.screen_updating = computing, drawing


def _form(value: Any) -> str:
    """The number format that a cell needs to show a value whole, "" where any will do."""
    return value.form if isinstance(value, Printed) else ""


def _label_unit(cell: Any) -> str | None:
    """The unit that the label of a cell states: the text above it, else the next one to its left."""
    row, column, sheet = cell.row, cell.column, cell.sheet
    above = sheet.range((row - 1, column)).value if row > 1 else None
    left = sheet.range((row, 1), (row, column - 1)).value if column > 1 else None
    beside = left if isinstance(left, list) else [left]
    return stated_unit(above) or stated_unit(next((each for each in reversed(beside) if each), None))


def table_headers(table: Any) -> list[str]:
    """The headers of a table of an open workbook."""
    values = table.header_row_range.value
    return [str(value) for value in (values if isinstance(values, list) else [values])]


def _holds(table: Any, cell: Any) -> bool:
    """Whether a cell lies in the header or the rows of a table."""
    area = table.range
    return (
        area.sheet.name == cell.sheet.name
        and area.row <= cell.row < area.row + area.shape[0]
        and area.column <= cell.column < area.column + area.shape[1]
    )
