"""A plan workbook read into raw tables, and from those into a plan.

A table is found by the name of its sheet or of its Excel table; its header row is the one that
holds most of the table's known headers, so a plant may put titles above, add columns of its own and
reorder columns and rows.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

from ..base.collector import without_collector
from ..base.errors import NA, NUM, DispenseError, FileError, InputError, Problem, show
from ..base.fields import by_header
from ..base.naming import field_name, fold, nearest
from ..base.units import read_header
from ..xlsx.package import MAX_COLUMN, MAX_ROW, Sheet, column_letters, split_cell
from ..xlsx.package import Table as ExcelTable
from ..xlsx.snapshot import Shown
from .build import read_plan as read_records
from .records import MISSING_VALUE, Plan, RawTable
from .tables import BY_NAME, TABLES
from .workbook import Cells, FileBook, PlanBook, ShownBook, damaged

__all__ = [
    "GUIDES",
    "check_plan",
    "check_shown",
    "check_tables",
    "load_plan",
    "read_one_table",
    "read_tables",
]

MOST_ROWS = 200_000  # of one table
MOST_COLUMNS = 200  # of one sheet
MOST_GONE = 5  # tables of a full plan that may have been lost; a plan that lacks more was made so
#: sheets of a new plan without a table: how to fill it, and its forms
GUIDES = ("Start", *(table.form for table in TABLES if table.form))
SEARCHED_ROWS = 100  # a header stands within the first rows of its sheet

#: of each table the names of its columns by what a header may call them, older words too
_HEADERS: dict[str, dict[str, str]] = {
    "Settings": {"setting": "setting", "value": "value"},
    **{
        table.name: {header: item.name for header, item in by_header(table.columns).items()}
        for table in TABLES
    },
}
#: known headers that a header row holds at least: one where a table needs one column only
_LEAST_HEADERS = {
    table.name: min(2, max(1, sum(item.is_required for item in table.columns))) for table in TABLES
}


def read_tables(path: str | os.PathLike[str]) -> dict[str, RawTable]:
    """The plan's tables as they stand in a workbook, by name; tables the file lacks are left out.

    Raises FileError for a file that is not a workbook, InputError for a sheet beyond bounds.
    """
    with without_collector():
        tables, _, problems, _ = _read(path)
    if problems:
        raise InputError(problems)
    return tables


def load_plan(path: str | os.PathLike[str]) -> Plan:
    """The plan in a workbook; raises InputError with every problem of it at once."""
    plan, problems = check_plan(path)
    if problems:
        raise InputError(problems)
    return plan


def check_plan(path: str | os.PathLike[str]) -> tuple[Plan, list[Problem]]:
    """The plan as far as it can be read, and everything wrong with it."""
    return check_tables(path, {})


def check_shown(sheets: Iterable[Shown], name: str) -> tuple[Plan, list[Problem]]:
    """The plan in sheets as a program shows them under that name, and everything wrong with it."""
    tables, unread, problems, notes = _read_book(ShownBook(sheets, name))
    plan, found = read_records(tables, unread)
    plan.warnings[:0] = notes
    return plan, [*problems, *found]


def check_tables(path: str | os.PathLike[str], others: Mapping[str, RawTable]) -> tuple[Plan, list[Problem]]:
    """The plan in a workbook, some tables in place of its own, and everything wrong with it.

    Tables given may hold headers only: a week without builds is no error.
    """
    with without_collector():
        tables, unread, problems, notes = _read(path)
        plan, found = read_records({**tables, **others}, unread - set(others), may_be_empty=others)
    plan.warnings[:0] = notes
    return plan, [*problems, *found]


def read_one_table(path: str | os.PathLike[str], name: str, sheet: str = "") -> RawTable:
    """A table of the plan from a workbook that holds it: on the sheet given, else on the sheet or in
    the Excel table of its name, else on the only sheet there is.

    Raises FileError where it is not there, InputError where it cannot be read.
    """
    book = FileBook(path)
    problems: list[Problem] = []
    try:
        places = _places(book, name)
        if sheet or not places:
            wanted = [one for one in book.worksheets if not sheet or fold(one.name) == fold(sheet)]
            places = [_Place(one) for one in wanted] if len(wanted) == 1 else []
        if not places:
            there = ", ".join(one.name for one in book.worksheets)
            raise FileError(
                Problem(
                    os.fspath(path),
                    message=f"has no sheet or table {sheet or name}; it has the sheets {there}",
                    fix=f"say which: {Path(path).name}::SHEET",
                )
            )
        raw = _read_places(book, name, _HEADERS[name], places, problems)
    finally:
        book.close()
    if problems:
        raise InputError([replace(item, where=f"{Path(path).name} {item.where}") for item in problems])
    if raw is None:
        raise FileError(Problem(os.fspath(path), message=f"table {name} cannot be read"))
    if not raw.letters:
        raw = replace(raw, letters=[column_letters(1)])
    return _from_1904(raw) if book.date1904 else raw


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a table lies: its sheet and the block of rows and columns to look at."""

    sheet: Sheet
    first_row: int = 1
    last_row: int | None = None
    first_column: int = 1
    last_column: int = MOST_COLUMNS
    header_row: int | None = None  # where an Excel table says it


_Found = tuple[dict[str, RawTable], set[str], list[Problem], list[Problem]]


def _read(path: str | os.PathLike[str]) -> _Found:
    """The tables that can be read, the names of those that are there and cannot, why, and notes."""
    return _read_book(FileBook(path))


def _read_book(book: PlanBook) -> _Found:
    tables: dict[str, RawTable] = {}
    unread: set[str] = set()
    problems: list[Problem] = []
    notes: list[Problem] = []
    try:
        for name, known in _HEADERS.items():
            before = len(problems)
            raw = _read_first(book, name, known, problems)
            if raw is not None:
                tables[name] = _from_1904(raw) if book.date1904 else raw
                if fold(raw.sheet) != fold(name):
                    notes.append(
                        Problem(f"{raw.sheet}!A{raw.header_row}", message=f"is read as table {name}")
                    )
            elif len(problems) > before:
                unread.add(name)
        absent = [name for name in _HEADERS if name not in tables and name not in unread]
        unread |= _name_sheets(book, absent, problems, notes)
        gone = [
            name
            for name in absent
            if name not in unread and not (name in BY_NAME and BY_NAME[name].is_seldom)
        ]
        if 0 < len(gone) <= MOST_GONE:
            notes.append(Problem(Path(book.name).name, message=f"has no table {', '.join(gone)}"))
    except DispenseError:
        raise
    except Exception as error:  # damaged XML gives errors of many kinds
        if _is_ours(error):
            raise
        raise damaged(book.name, error) from error
    finally:
        book.close()
    return tables, unread, problems, notes


def _name_sheets(
    book: PlanBook, absent: list[str], problems: list[Problem], notes: list[Problem]
) -> set[str]:
    """Say which sheets are not read; gives the absent tables that they resemble."""
    known = {fold(name) for name in (*_HEADERS, *GUIDES)}
    resembled: set[str] = set()
    own = []
    for sheet in book.worksheets:
        tables = [item.name for item in book.tables if item.sheet == sheet]
        if fold(sheet.name) in known or any(fold(name) in known for name in tables):
            continue
        rows = list(book.cells(sheet, 1, SEARCHED_ROWS, 1, MOST_COLUMNS))
        if not any(map(_filled, rows)):
            continue
        left = [name for name in absent if name not in resembled]
        names = [(f"table {name}", nearest(name, left)) for name in (sheet.name, *tables)]
        names.append((f"sheet {show(sheet.name)} has the columns of a table", _holds(rows, left)))
        what, near = next((pair for pair in names if pair[1]), ("", ""))
        if near:
            resembled.add(near)
            message = f"unknown {what}" if what.startswith("table") else what
            problems.append(
                Problem(f"{sheet.name}!A1", message=message, fix=f"did you mean {near}?", code=NA)
            )
        else:
            own.append(show(sheet.name))
    if own:
        notes.append(Problem(book.name, message=f"sheets not read: {', '.join(own)}"))
    return resembled


def _holds(rows: list[Cells], absent: Iterable[str]) -> str:
    """The absent table all of whose needed columns, at least two, stand in one row; "" for none."""
    needed = {
        name: {item.name for item in BY_NAME[name].columns if item.is_required}
        for name in absent
        if name in BY_NAME
    }
    for row in rows:
        headers = {_field_name(cell) for cell in row if isinstance(cell, str)}
        for name, wanted in needed.items():
            if len(wanted) > 1 and wanted <= {_HEADERS[name].get(header) for header in headers}:
                return name
    return ""


_DAYS_TO_1904 = 1462  # from the first day of the 1900 system to that of the 1904 system
_FIRST_DAY_1904 = datetime.datetime(1904, 1, 1)


def _from_1904(raw: RawTable) -> RawTable:
    """A table of a workbook that counts days from 1904: plain day numbers and times as from 1900."""
    fields = by_header(BY_NAME[raw.name].columns) if raw.name in BY_NAME else {}
    for place, header in enumerate(raw.headers):
        item = fields.get(_field_name(str(header)))
        kind = item.kind if item is not None else ""
        if kind == "date":
            raw.columns[place] = [
                cell + _DAYS_TO_1904 if type(cell) in (int, float) else cell for cell in raw.columns[place]
            ]
        elif kind == "clock":
            raw.columns[place] = [
                cell - _FIRST_DAY_1904 if isinstance(cell, datetime.datetime) else cell
                for cell in raw.columns[place]
            ]
    return raw


def _is_ours(error: Exception) -> bool:
    """Whether our own code raised it: a fault of the program, not of the file.

    A ValueError of ours tells of a reference in the file that no sheet has.
    """
    if isinstance(error, ValueError):
        return False
    place = error.__traceback__
    while place is not None and place.tb_next is not None:
        place = place.tb_next
    return place is not None and place.tb_frame.f_globals.get("__name__", "").startswith("dispense.")


def _places(book: PlanBook, name: str) -> list[_Place]:
    """Where a table may lie: first the sheet of its name, then an Excel table of its name elsewhere.

    Either is read to the end of its rows: those typed below an Excel table belong to it.
    """
    places = []
    wanted = fold(name)
    listed = book.tables
    named = [item for item in listed if fold(item.name) == wanted and item.header_rows]
    for sheet in book.worksheets:
        if fold(sheet.name) == wanted:
            own = [item for item in named if item.sheet == sheet]
            below = own[0] if own else None
            places.append(_on_its_sheet(sheet, below, listed))
    places.extend(
        replace(
            _on_its_sheet(item.sheet, item, listed),
            first_column=item.first_column,
            last_column=min(item.last_column, MOST_COLUMNS),
        )
        for item in named
    )
    return places


def _on_its_sheet(sheet: Sheet, table: ExcelTable | None, listed: Iterable[ExcelTable]) -> _Place:
    """A sheet read to its end: rows typed below an Excel table belong to it, totals do not."""
    if table is None:
        return _Place(sheet)
    last = table.last_data_row if table.totals_rows else None
    for other in listed:
        apart = other.last_column < table.first_column or other.first_column > table.last_column
        if other.sheet == sheet and other.first_row > table.last_row and not apart:
            last = min(last or other.first_row - 1, other.first_row - 1)
    return _Place(sheet, table.first_row, last, header_row=table.first_row)


def _read_first(book: PlanBook, name: str, known: dict[str, str], problems: list[Problem]) -> RawTable | None:
    """The table from the first place that has its header, or None where the file lacks it."""
    twins = [sheet for sheet in book.worksheets if fold(sheet.name) == fold(name)]
    if len(twins) > 1:
        names = " and ".join(show(sheet.name) for sheet in twins)
        problems.append(
            Problem(
                f"{twins[1].name}!A1",
                message=f"sheets {names} differ in blanks or capitals only",
                fix=f"rename the one that is not table {name}",
            )
        )
        return None
    return _read_places(book, name, known, _places(book, name), problems)


def _read_places(
    book: PlanBook, name: str, known: dict[str, str], places: Iterable[_Place], problems: list[Problem]
) -> RawTable | None:
    """The table from the first of these places that has its header."""
    headless = None
    for place in places:
        wrong = book.rows(place.sheet)[1]
        if wrong:
            problems.append(
                Problem(
                    f"{place.sheet.name}!A1",
                    message=wrong,
                    code=NUM,
                    fix="open the file in a spreadsheet and save it again",
                )
            )
            return None
        header_row, headers = _find_header(book, known, place, _LEAST_HEADERS.get(name, 2))
        if headers is not None:
            return _read_table(book, name, place, header_row, headers, problems)
        headless = headless or place
    if headless is None:
        return None
    place = headless
    cells = book.cells(place.sheet, 1, MOST_ROWS, 1, MOST_COLUMNS)
    if any(map(_filled, cells)):
        columns = [item.words for item in BY_NAME[name].columns] if name in BY_NAME else list(known)
        examples = ", ".join(sorted(columns)[:4])
        problems.append(
            Problem(
                f"{place.sheet.name}!A{place.first_row}",
                message=f"the header row of table {name} is not found",
                fix=f"it names columns such as {examples}",
                code=NUM,
            )
        )
        return None
    return RawTable(name, [], [], sheet=place.sheet.name)


def _read_table(
    book: PlanBook, name: str, place: _Place, header_row: int, headers: list[Any], problems: list[Problem]
) -> RawTable | None:
    """One table whose header row is known; None where it goes past the bounds."""
    if len(headers) > MOST_COLUMNS:  # the last header is a filled one
        last = column_letters(min(place.first_column + len(headers) - 1, MAX_COLUMN))
        problems.append(
            Problem(
                f"{place.sheet.name}!{last}{header_row}",
                message=f"the table reaches past column {MOST_COLUMNS}",
                fix="remove the columns that it does not need",
                code=NUM,
            )
        )
        return None
    letters = [column_letters(place.first_column + index) for index in range(len(headers))]
    missing = _missing_values(book, place, header_row, len(headers))
    needed = max((row for row, _ in missing), default=-1) + 1
    rows, full = _read_rows(book, place, header_row, len(headers), needed)
    if full:
        problems.append(
            Problem(
                f"{place.sheet.name}!A{header_row + MOST_ROWS + 1}",
                message=f"the table has more than {MOST_ROWS} rows",
                fix="remove the rows that it does not need",
                code=NUM,
            )
        )
        return None
    columns = [list(column) for column in zip(*rows, strict=True)] or [[] for _ in headers]
    for row, column in missing:
        columns[column][row] = MISSING_VALUE
    return RawTable(
        name,
        headers,
        columns,
        range(header_row + 1, header_row + 1 + len(rows)),
        letters,
        header_row,
        place.sheet.name,
    )


def _find_header(
    book: PlanBook, known: dict[str, str], place: _Place, least: int
) -> tuple[int, list[Any] | None]:
    """The header row and its cells: the first row with the most known headers."""
    first = place.header_row or place.first_row
    last = place.header_row or first + SEARCHED_ROWS - 1
    width = place.last_column if place.last_column != MOST_COLUMNS else None  # None: all there are
    best, best_row, cells = least - 1, first, None
    most = len(set(known.values()))
    for number, row in enumerate(book.cells(place.sheet, first, last, place.first_column, width), first):
        headers = {_field_name(cell) for cell in row if isinstance(cell, str)}
        count = len({known[header] for header in headers if header in known})
        if count > best:
            best, best_row, cells = count, number, row
            if count == most:  # no row can hold more
                break
    if cells is None:
        return best_row, None
    used = max(index for index, cell in enumerate(cells) if cell is not None)
    return best_row, list(cells[: used + 1])


def _field_name(header: str) -> str:
    return field_name(read_header(header)[0])


def _read_rows(
    book: PlanBook, place: _Place, header_row: int, width: int, needed: int
) -> tuple[list[Cells], bool]:
    """Rows below the header and whether there were too many; blank rows at the end are dropped
    down to the `needed` ones. Nothing is read past the sheet's last row.
    """
    end = book.rows(place.sheet)[0]
    last = min(end, place.last_row or end)
    found: Iterator[Cells] = book.cells(
        place.sheet,
        header_row + 1,
        place.last_row or MAX_ROW,
        place.first_column,
        place.first_column + width - 1,
    )
    found = islice(found, max(last - header_row, 0))
    rows = list(islice(found, MOST_ROWS))
    full = any(map(_filled, found))
    while len(rows) > needed and not _filled(rows[-1]):
        rows.pop()
    return rows, full


def _filled(row: Cells) -> bool:
    return row.count(None) < len(row) and any(cell is not None and cell != "" for cell in row)


def _missing_values(book: PlanBook, place: _Place, header_row: int, width: int) -> list[tuple[int, int]]:
    """Row and column in the table of each formula whose value the file does not hold."""
    cells = map(split_cell, book.without_value(place.sheet))
    last = min(place.last_row or header_row + MOST_ROWS, header_row + MOST_ROWS)
    return [
        (row - header_row - 1, column - place.first_column)
        for row, column in cells
        if header_row < row <= last and 0 <= column - place.first_column < width
    ]
