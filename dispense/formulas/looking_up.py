"""INDEX, MATCH, VLOOKUP, XLOOKUP and other functions that find a place."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable
from ..xlsx.package import MAX_COLUMN, MAX_ROW, column_letters
from .choosing import is_error, replace_bad, run_branch
from .conditions import wildcard
from .declare import Call, elementwise, lazy, whole
from .values import MAX_BLOCK, MISSING, NA, REF, VALUE, Area, Fault, compare, lift, rank, to_flag, to_number


def _find_exact(wanted: Any, values: Sequence[Any], patterns: bool = True) -> int | None:
    """The first place of a value; texts may hold wildcards."""
    if isinstance(wanted, CellError):
        raise Fault(wanted)
    wanted = 0.0 if wanted is None or wanted is MISSING else wanted
    pattern = wildcard(wanted) if patterns and isinstance(wanted, str) else None
    for place, value in enumerate(values):
        if value is None or isinstance(value, CellError) or rank(value) != rank(wanted):
            continue
        if pattern.fullmatch(value) if pattern else compare(value, wanted) == 0:
            return place
    return None


def _find_sorted(wanted: Any, values: Sequence[Any], falling: bool = False) -> int | None:
    """The last place whose value is not past the wanted one, in sorted values of its kind."""
    if isinstance(wanted, CellError):
        raise Fault(wanted)
    wanted = 0.0 if wanted is None or wanted is MISSING else wanted
    same = [
        (i, v)
        for i, v in enumerate(values)
        if v is not None and not isinstance(v, CellError) and rank(v) == rank(wanted)
    ]
    sign = -1 if falling else 1
    if any(sign * compare(a[1], b[1]) > 0 for a, b in pairwise(same)):
        raise Unevaluable("the values to look up in are not sorted")
    found = None
    for place, value in same:
        order = sign * compare(value, wanted)
        if order > 0:
            break
        found = place
        if order == 0 and falling:
            break
    return found


def _nearest(wanted: Any, values: Sequence[Any], larger: bool) -> int | None:
    """The place of the nearest value below (or above) in any order."""
    best: int | None = None
    for place, value in enumerate(values):
        if value is None or isinstance(value, CellError) or rank(value) != rank(wanted):
            continue
        order = compare(value, wanted)
        if (order >= 0 if larger else order <= 0) and (
            best is None or compare(value, values[best]) == (-1 if larger else 1)
        ):
            best = place
    return best


def _part(call: Call, source: Any, row: int | None, column: int | None) -> Any:
    """A cell, row (column None) or column (row None) of a range or array; counted from 0."""
    if isinstance(source, Area):
        top = source.top + (row or 0)
        left = source.left + (column or 0)
        return Area(
            source.sheet,
            top,
            left,
            source.bottom if row is None else top,
            source.right if column is None else left,
        )
    block = call.block(source)
    rows = block if row is None else [block[row]]
    out = rows if column is None else [[line[column]] for line in rows]
    return out[0][0] if row is not None and column is not None else out


def _shape(call: Call, source: Any) -> tuple[int, int]:
    if isinstance(source, Area):
        return source.rows, source.columns
    block = call.block(source)
    return len(block), len(block[0])


def _value_at(call: Call, source: Any, row: int, column: int) -> Any:
    part = _part(call, source, row, column)
    return call.block(part)[0][0] if isinstance(part, Area) else part


def _table_lookup(call: Call, wanted: Any, table: Any, index: Any, close: Any, by_row: bool) -> Any:
    if isinstance(table, CellError):
        raise Fault(table)
    rows, columns = _shape(call, table)
    is_close = True if close is None else to_flag(call.scalar(close))
    keys = call.flat(_part(call, table, None, 0) if by_row else _part(call, table, 0, None))

    def find(value: Any, which: Any) -> Any:
        place_in = int(to_number(which))
        if place_in < 1:
            raise Fault(VALUE)
        if place_in > (columns if by_row else rows):
            raise Fault(REF)
        place = _find_sorted(value, keys) if is_close else _find_exact(value, keys)
        if place is None:
            raise Fault(NA)
        return _value_at(call, table, *((place, place_in - 1) if by_row else (place_in - 1, place)))

    return lift(find, [call.scalar(wanted), call.scalar(index)])


@whole("VLOOKUP", 3, 4)
def _vlookup(call: Call, wanted: Any, table: Any, index: Any, close: Any = None) -> Any:
    return _table_lookup(call, wanted, table, index, close, True)


@whole("HLOOKUP", 3, 4)
def _hlookup(call: Call, wanted: Any, table: Any, index: Any, close: Any = None) -> Any:
    return _table_lookup(call, wanted, table, index, close, False)


@whole("MATCH", 2, 3)
def _match(call: Call, wanted: Any, keys: Any, kind: Any = 1.0) -> Any:
    if isinstance(keys, CellError):
        raise Fault(keys)
    if 1 not in _shape(call, keys):
        raise Fault(NA)
    values = call.flat(keys)
    how = to_number(call.scalar(kind))

    def find(value: Any) -> float:
        place = _find_exact(value, values) if how == 0 else _find_sorted(value, values, how < 0)
        if place is None:
            raise Fault(NA)
        return float(place + 1)

    return lift(find, [call.scalar(wanted)])


@lazy("XLOOKUP", 3, 6)
def _xlookup(call: Call, wanted: Any, keys: Any, results: Any, *rest: Any) -> Any:
    options = [call.scalar(call.run(code)) if i else None for i, code in enumerate(rest)]
    mode = 0 if len(rest) < 2 else int(to_number(options[1]))
    search = 1 if len(rest) < 3 or options[2] is MISSING else int(to_number(options[2]))
    source, answers = call.run(keys, True), call.run(results, True)
    for value in (source, answers):
        if isinstance(value, CellError):
            raise Fault(value)
    if abs(search) not in (1, 2) or mode not in (-1, 0, 1, 2):
        raise Fault(VALUE)
    rows, columns = _shape(call, source)
    if 1 not in (rows, columns):
        raise Fault(VALUE)
    upright = columns == 1
    if (_shape(call, answers)[0] if upright else _shape(call, answers)[1]) != max(rows, columns):
        raise Fault(VALUE)
    values = call.flat(source)
    count = len(values)
    if search < 0:
        values = values[::-1]

    def place_of(value: Any) -> int | None:
        place = _find_exact(value, values, patterns=mode == 2)
        if place is None and mode in (-1, 1):
            place = _nearest(0.0 if value is None else value, values, mode == 1)
        return None if place is None else (count - 1 - place if search < 0 else place)

    subject = call.scalar(call.run(wanted))
    if isinstance(subject, list):

        def find(value: Any) -> Any:
            place = place_of(value)
            if place is None:
                return NA
            return _value_at(call, answers, *((place, 0) if upright else (0, place)))

        found = lift(find, [subject])
        return found if not rest else replace_bad(call, found, rest[0], lambda v: is_error(v, NA))
    place = place_of(subject)
    if place is not None:
        return _part(call, answers, *((place, None) if upright else (None, place)))
    if not rest or rest[0] == (("missing",),):
        return NA
    return run_branch(call, rest[0])


@whole("INDEX", 2, 3)
def _index(call: Call, source: Any, row: Any, column: Any = MISSING) -> Any:
    if isinstance(source, CellError):
        raise Fault(source)
    places = [call.scalar(row), call.scalar(column)]
    if any(isinstance(place, list) for place in places):
        raise Unevaluable("INDEX with an array of places is not computed here")
    rows, columns = _shape(call, source)
    r, c = int(to_number(places[0])), int(to_number(places[1]))
    if column is MISSING and rows == 1 and columns > 1:
        r, c = 1, r
    if r < 0 or c < 0:
        raise Fault(VALUE)
    if r > rows or c > columns:
        raise Fault(REF)
    if rows == 1:
        r = r or 1
    if columns == 1:
        c = c or 1
    return _part(call, source, r - 1 if r else None, c - 1 if c else None)


def _place(call: Call, reference: Any, along: str) -> Any:
    if reference is MISSING:
        return float(call.row if along == "row" else call.column)
    if not isinstance(reference, Area):
        raise Fault(reference if isinstance(reference, CellError) else VALUE)
    if along == "row":
        if reference.rows > MAX_BLOCK:
            raise Unevaluable("ROW of a whole column is too large")
        return _one([[float(r)] for r in range(reference.top, reference.bottom + 1)])
    return _one([[float(c) for c in range(reference.left, reference.right + 1)]])


def _one(block: list[list[Any]]) -> Any:
    return block[0][0] if len(block) == 1 and len(block[0]) == 1 else block


@whole("ROW", 0, 1)
def _row(call: Call, reference: Any = MISSING) -> Any:
    return _place(call, reference, "row")


@whole("COLUMN", 0, 1)
def _column(call: Call, reference: Any = MISSING) -> Any:
    return _place(call, reference, "column")


@elementwise("ADDRESS", "nnn", 2)
def _address(row: float, column: float, fixed: float = 1.0) -> str:
    down, across, kind = int(row), int(column), int(fixed)
    if not (1 <= down <= MAX_ROW and 1 <= across <= MAX_COLUMN and 1 <= kind <= 4):
        raise Fault(VALUE)
    return f"{'$' * (kind in (1, 3))}{column_letters(across)}{'$' * (kind in (1, 2))}{down}"


@whole("ROWS", 1, 1)
def _rows(call: Call, source: Any) -> float:
    if isinstance(source, CellError):
        raise Fault(source)
    return float(_shape(call, source)[0])


@whole("COLUMNS", 1, 1)
def _columns(call: Call, source: Any) -> float:
    if isinstance(source, CellError):
        raise Fault(source)
    return float(_shape(call, source)[1])


@whole("TRANSPOSE", 1, 1, array=True)
def _transpose(call: Call, source: Any) -> Any:
    return [list(row) for row in zip(*call.block(source), strict=True)]


@whole("SINGLE", 1, 1)
def _single(call: Call, value: Any) -> Any:
    if isinstance(value, list):
        return value[0][0]
    return intersect_cell(call, value)


def intersect_cell(call: Call, value: Any) -> Any:
    """The cell of a range in the formula's own row or column (implicit intersection)."""
    if not isinstance(value, Area):
        return value
    if value.rows == 1 and value.columns == 1:
        return call.block(value)[0][0]
    if value.columns == 1 and value.top <= call.row <= value.bottom:
        return call.block(value._replace(top=call.row, bottom=call.row))[0][0]
    if value.rows == 1 and value.left <= call.column <= value.right:
        return call.block(value._replace(left=call.column, right=call.column))[0][0]
    return VALUE
