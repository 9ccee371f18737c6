"""Evaluating a workbook function: for Python, for a cell, for columns, for ranges.

What the registry does, and a kernel therefore need not:
- binds arguments, fills defaults, reads texts with units, converts to SI and results back;
- checks limits of each field and each `requires` condition, element by element;
- broadcasts scalars, rows and columns; one call over 10,000 rows is one kernel call. A kernel gets
  each `choice` as one plain text and each blank optional argument (default None) as None: where a
  range mixes them, the rows are grouped and the kernel is called once per group;
- turns NaN or an infinite number in a result into `#NUM!` with the text `no_answer`: a kernel
  returns NaN where there is no answer; a kernel with a text argument that finds the text in no
  table raises InputError with code `#N/A`, which stays in the cells of that text;
- keeps the reasons for `LAST_PROBLEMS`;
- looks at each `validity` that a function declares and keeps a note for `LAST_NOTES` where an answer is
  outside of one. A kernel knows nothing of it.

`system` names shop units of length and time, such as `("mm", "h")`, in which a homogeneous closed
form (one without a constant in metres or seconds) gives the same answer as in SI. Plain numbers and
plain columns then reach it as they stand: 10 mm × 5 mm is 50 mm² to the last digit, and a column is
read once instead of three times. `tests/test_columns.py` checks every function that says so.

Functions over whole ranges (`vector`, `matrix`, `record`, `points` arguments): the kernel gets each
whole argument as one float array (vector 1-D, matrix 2-D, record 1-D with NaN for blanks, points an
(n, 2 or 3) array and, as a further keyword `labels`, the texts of its last column or None). With
`whole=True` the kernel sees every argument as it was given and returns an array of its own shape; a
1-D result is laid along the argument named by `along`. Without it the remaining arguments are
iterated element by element as usual.

Which way serves what; each gives the same figures, `tests/test_columns.py` and
`tests/test_registry.py` hold them together:

| way                 | serves                                          | what it gives up, and to whom     |
|---------------------|-------------------------------------------------|-----------------------------------|
| `scalar`            | one cell or call, plain numbers and texts       | anything else: `_at_length`       |
| `_columns`          | plain number arrays of one shape, all good      | texts, blanks, errors, several    |
|                     | (part by part, so that it stays in the cache)   | shapes: `_at_length`              |
| `_at_length`        | everything: reads each argument with its errors | -                                 |
|   `_elements`       | arguments iterated element by element, grouped  | -                                 |
|                     | by choices and blanks; errors stay in cells     |                                   |
|   `_whole`          | kernels that take their ranges whole            | -                                 |
|   (table)           | kernels that return rows as they are            | -                                 |
"""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..base.errors import NA, NUM, VALUE, DispenseError, InputError, Problem, show
from ..base.fields import REQUIRED, CellError
from ..base.units import to_si
from .declare import FUNCTIONS, Function, Requirement
from .reading import BLANK, Column, Short, all_finite, read_column, read_whole

_RECENT: deque[Problem] = deque(maxlen=200)
_NOTES: deque[Problem] = deque(maxlen=200)


@dataclass(slots=True)
class Evaluation:
    """What a call gave: results in shop units, spreadsheet errors element by element, reasons."""

    function: Function
    values: tuple[Any, ...]  # one float or array (NaN where there is none) per result; rows for a table
    codes: Any = None  # None, a text, or an object array of "" / "blank" / "#NUM!" …
    problems: tuple[Problem, ...] = ()

    def result(self) -> Any:
        """The value for Python: a float, an array, or a named tuple; raises where a value failed."""
        if self.problems:
            raise InputError(self.problems)
        if self.function.table:
            return self.values[0]
        if len(self.values) == 1:
            return self.values[0]
        return self.function.result_type(*self.values)

    def table(self) -> list[list[Any]]:
        """Rows of floats, texts, None for blank and CellError for errors, as a sheet shows them."""
        if isinstance(self.codes, str) and self.codes:
            return [[CellError(self.codes)]]
        if self.function.table:
            return [list(row) for row in self.values[0]]
        several = len(self.values) > 1
        arrays = [np.asarray(value) for value in self.values]
        if arrays[0].ndim == 0:
            return [[_plain(value) for value in arrays]]
        if arrays[0].ndim == 1:  # a 1-D array of Python is a column on a sheet
            arrays = [value[:, None] for value in arrays]
        codes = None if self.codes is None else np.asarray(self.codes, dtype=object)
        if codes is not None:
            codes = codes.reshape(arrays[0].shape)
        if several:
            rows, columns = arrays[0].shape
            if rows > 1 and columns > 1:
                return [[CellError(VALUE)]]
            axis = 0 if rows == 1 and columns > 1 else 1
            codes = None if codes is None else np.concatenate([codes] * len(arrays), axis)
            block = np.concatenate(arrays, axis)
        else:
            block = arrays[0]
        cells: list[list[Any]] = block.tolist()
        if codes is not None:
            for i, j in np.argwhere(codes != ""):
                code = codes[i, j]
                cells[i][j] = None if code == BLANK else CellError(code)
        return cells


def _plain(value: Any) -> Any:
    value = value.item() if hasattr(value, "item") else value
    return value


def lookup(name: str) -> Function:
    """The function of that name; a name that does not exist is an InputError with near names."""
    entry = FUNCTIONS.get(str(name).strip().upper())
    if entry is None:
        import difflib

        near = difflib.get_close_matches(str(name).upper(), FUNCTIONS, 3)
        hint = f"did you mean {' or '.join(near)}?" if near else "`dispense functions` lists them"
        raise InputError(Problem(str(name), code=NA, message="there is no function of that name", fix=hint))
    return entry


def call(name: str, *arguments: Any, **named: Any) -> Any:
    """Evaluate a workbook function in shop units; raises InputError with every problem at once.

    >>> from dispense import call  # the catalogue declares every function
    >>> call("BEAD_VOLUME", 1200, "half-round", 6)  # doctest: +ELLIPSIS
    16.9646...
    """
    entry = FUNCTIONS.get(name)
    if entry is None:
        entry = lookup(name)
    if named:
        arguments = _bind(entry, arguments, named)
    if entry.is_elementwise:
        value = scalar(entry, arguments)
        if value is not None:
            return value
    return evaluate(entry, arguments).result()


def evaluate(function: Function | str, arguments: Sequence[Any], place: str = "") -> Evaluation:
    """Evaluate without raising: errors stay in their cells and the reasons beside them.

    `place` is the cell that calls ("Line!B4"), or the cells of a column of which each takes a row
    ("Line!B4:B9"), for the reasons that are kept.
    """
    entry = lookup(function) if isinstance(function, str) else function
    try:
        result = _evaluate(entry, tuple(arguments))
    except DispenseError as error:
        result = Evaluation(entry, (math.nan,) * len(entry.returns), error.code, error.problems)
    _RECENT.extend(placed(problem, place) for problem in result.problems)
    return result


_ROW = re.compile(r"(.*) \(row (\d+)(?:, column 1)?\)")
_CELLS = re.compile(r"(.*!)([A-Z]+)(\d+):\2(\d+)")


def placed(problem: Problem, place: str) -> Problem:
    """A problem that names the cell that calls; of a column of cells the one that takes the row.

    >>> placed(Problem("BEAD_AREA (row 3)"), "Line!B4:B9").where
    'BEAD_AREA in Line!B6'
    """
    if not place:
        return problem
    where = problem.where
    row, cells = _ROW.fullmatch(where), _CELLS.fullmatch(place)
    if row is not None and cells is not None:
        first, last = int(cells[3]), int(cells[4])
        at = first + int(row[2]) - 1
        if at <= last:
            where, place = row[1], f"{cells[1]}{cells[2]}{at}"
    return replace(problem, where=f"{where} in {place}")


def keep_fault(function: Function, error: Exception, place: str = "") -> None:
    """Keep a fault of the program among the recent problems, for an add-in that shows an error cell."""
    reason = f"fault in the program: {type(error).__name__}: {error}"
    _RECENT.append(placed(Problem(function.name, message=reason), place))


def recent_notes(count: int) -> list[Problem]:
    """The latest answers outside of a range of validity, newest first."""
    return list(_NOTES)[::-1][:count]


def evaluate_noted(function: Function | str, arguments: Sequence[Any]) -> tuple[Evaluation, list[Problem]]:
    """An answer as `evaluate` gives it, and a note of each range of validity that it lies outside of.

    >>> _, notes = evaluate_noted("PLATE_SQUEEZE_TIME", (200, 60, 40, 30, 20, 50))
    >>> notes[0].message
    'gap above a tenth of the shorter side: no thin film, the figure is a guess'
    """
    before = list(_NOTES)
    _NOTES.clear()
    try:
        found = evaluate(function, arguments)
    finally:
        own = list(_NOTES)
        _NOTES.clear()
        _NOTES.extend([*(note for note in before if note not in own), *own])
    return found, own


def _note(entry: Function, values: dict[str, Any], results: Sequence[Any]) -> None:
    """Keep a note of each validity that an answer leaves; the newest of its kind stands last."""
    known = {**values, **{item.name: result for item, result in zip(entry.returns, results, strict=True)}}
    single = {item.name for item in entry.arguments if not item.is_whole_range}
    single |= {item.name for item in entry.returns}
    for item in entry.validity:
        parts = [known.get(name) for name in item.names]
        if any(part is None for part in parts):
            continue
        with np.errstate(all="ignore"):
            outside = ~np.atleast_1d(np.asarray(item.check(*parts), dtype=bool))
        for name, part in zip(item.names, parts, strict=True):
            if name in single and _is_plain(part):  # what has no answer, or is blank, has no note
                outside = outside & np.isfinite(np.asarray(part, dtype=float))
        if not outside.any():
            continue
        first = np.flatnonzero(outside)[0]
        name = next((name for name in item.names if name in single), item.names[0])
        value = np.broadcast_to(np.atleast_1d(known[name]), outside.shape).ravel()[first]
        note = Problem(entry.name, name, _in_shop_unit(entry, name, value), message=item.words)
        if note in _NOTES:
            _NOTES.remove(note)
        _NOTES.append(note)


def _plainly_valid(entry: Function, values: dict[str, Any], results: Sequence[Any]) -> bool:
    """Whether each validity holds of single numbers; where not plainly so, `_note` looks closely."""
    known = values
    if not entry.judges_arguments:
        known = {**values, **dict(zip(entry.result_names, results, strict=True))}
    for item in entry.validity:
        parts = [known[name] for name in item.names]
        try:
            if None in parts:  # a blank one is not looked at
                continue
            holds = item.check(*parts)
        except (TypeError, ValueError, ArithmeticError):
            return False
        if not (holds is True or (isinstance(holds, np.bool_) and holds)):
            return False
    return True


def _is_plain(value: Any) -> bool:
    return isinstance(value, int | float | np.floating | np.ndarray) and not isinstance(value, bool)


def _in_shop_unit(entry: Function, name: str, value: Any) -> Any:
    """A value of an argument or result as a sheet has it."""
    units = {item.name: item.unit for item in entry.arguments} | {
        item.name: item.unit for item in entry.returns
    }
    if not isinstance(value, int | float | np.floating):
        return value
    factor, offset = to_si(units[name])
    return float(f"{(float(value) - offset) / factor:.12g}")


def recent_problems(count: int) -> list[Problem]:
    """The latest problems of any call, newest first."""
    return list(_RECENT)[::-1][:count]


def _bind(entry: Function, arguments: tuple[Any, ...], named: dict[str, Any]) -> tuple[Any, ...]:
    names = [item.label for item in entry.arguments]
    named = {name.removesuffix("_"): value for name, value in named.items()}
    unknown = [name for name in named if name not in names]
    if unknown:
        raise InputError(
            Problem(
                entry.name, message=f"there is no argument {unknown[0]}", fix=f"the call is {entry.signature}"
            )
        )
    bound = list(arguments) + [None] * (len(names) - len(arguments))
    for name, value in named.items():
        place = names.index(name)
        if place < len(arguments):
            raise InputError(Problem(entry.name, message=f"{name} is given twice"))
        bound[place] = value
    return tuple(bound)


def scalar(entry: Function, arguments: tuple[Any, ...]) -> Any:
    """The short way of single cells: plain numbers and texts in, a float out; None: take the long way."""
    with np.errstate(all="ignore"):
        return loud_scalar(entry, arguments)


def loud_scalar(entry: Function, arguments: tuple[Any, ...]) -> Any:
    """The same where numpy may warn: for a program that has silenced it once for all calls."""
    quick = entry.quick
    if len(arguments) > len(quick):
        return None
    values = entry.defaults.copy()
    needed = entry.needed
    for argument, value in zip(quick, arguments):  # noqa: B905  (what is left out has its default)
        if value is None:
            continue
        name, low, high, factor, offset, is_needed, read = argument
        if type(value) is float and low <= value <= high:
            value = value * factor + offset
        else:
            value = read(value)
            if value is REQUIRED:
                return None
        values[name] = value
        needed -= is_needed
    if needed:
        return None
    for condition in entry.requires:
        given = [values[name] for name in condition.names]
        if None not in given and not condition.check(*given):
            return None
    try:
        results = entry.kernel(**values)
    except (ZeroDivisionError, OverflowError, ValueError):
        return None
    scale = entry.short_scale
    if entry.validity:
        named = (results,) if len(scale) == 1 else results
        if not _plainly_valid(entry, values, named):
            _note(entry, values, named)
    if len(scale) == 1:
        return _shown(results, *scale[0])
    shown = [_shown(result, *each) for result, each in zip(results, scale, strict=True)]
    return None if None in shown else entry.result_type(*shown)


def _shown(result: Any, factor: float, offset: float, kind: str) -> float | int | None:
    """A result in its shop unit; None where it is no number."""
    number = (float(result) - offset) / factor
    if not math.isfinite(number):
        return None
    return int(number) if kind == "whole" else number


_ROWS = 25_000  # computed at a time: their numbers stay in the processor's cache from unit to result


def _columns(entry: Function, arguments: tuple[Any, ...]) -> tuple[np.ndarray, ...] | None:
    """The short way of columns: plain numbers in arrays of one shape, all of them good.

    Limits, unit, kernel and result go part by part. None where the long way is needed: it says what
    is wrong with which element.
    """
    found = _short_arguments(entry, arguments)
    if found is None:
        return None
    given, values, shape = found
    size = math.prod(shape)
    step = min(size, _ROWS)
    if all(argument.is_plain for argument, _ in given):
        step = size  # no unit changes a number on its way in
    results = [np.empty(size) for _ in entry.returns] if step < size else []
    room = [np.empty(0 if argument.is_plain else step) for argument, _ in given]
    pieces: list[np.ndarray] = []
    try:
        with np.errstate(all="ignore"):
            for begin in range(0, size, step):
                end = begin + step
                for (argument, array), place in zip(given, room, strict=True):
                    part = argument.read_part(array[begin:end], place)
                    if part is None:
                        return None
                    values[argument.name] = part
                pieces = _compute_part(entry, values, [result[begin:end] for result in results])
                if not pieces:
                    return None
    except (ZeroDivisionError, OverflowError, ValueError):
        return None
    return tuple(result.reshape(shape) for result in results or [_own(p, size) for p in pieces])


def _own(piece: np.ndarray, size: int) -> np.ndarray:
    """The numbers in an array of that size that no other array shares."""
    if piece.shape == (size,) and piece.flags.owndata:
        return piece
    return np.array(np.broadcast_to(piece, size))


def _short_arguments(entry: Function, arguments: tuple[Any, ...]) -> tuple[Any, ...] | None:
    """Columns as flat arrays, single values as the kernel takes them, and the one shape."""
    plan = entry.plan
    if len(arguments) > len(plan):
        return None
    given: list[tuple[Short, np.ndarray]] = []
    fixed: dict[str, Any] = {}
    shape = None
    for place, argument in enumerate(plan):
        value: Any = arguments[place] if place < len(arguments) else None
        if type(value) is np.ndarray:
            if value.dtype.kind not in "fiu" or not argument.is_number:
                return None
            if not value.size or value.ndim > 2 or value.shape != (shape or value.shape):
                return None
            shape = value.shape
            given.append((argument, value.astype(float, copy=False).ravel()))
            continue
        value = argument.default if value is None else argument.read(value)
        if value is REQUIRED:
            return None
        fixed[argument.name] = value
    return None if shape is None else (given, fixed, shape)


def _compute_part(entry: Function, values: dict[str, Any], results: list[np.ndarray]) -> list[np.ndarray]:
    """Compute part of the rows, in shop units, in `results` where given; []: the long way is needed."""
    for condition in entry.requires:
        parts = [values[name] for name in condition.names]
        if not any(part is None for part in parts) and not np.all(condition.check(*parts)):
            return []
    found = entry.kernel(**values)
    pieces = []
    found = (found,) if len(entry.returns) == 1 else found
    for place, (piece, (factor, offset, _)) in enumerate(zip(found, entry.short_scale, strict=True)):
        result = results[place] if results else None
        if offset or factor != 1.0:
            piece = np.divide(piece - offset if offset else piece, factor, result)
        elif result is not None:
            result[...] = piece
            piece = result
        if not all_finite(piece):
            return []
        pieces.append(piece)
    if entry.validity:
        _note(entry, values, found)
    return pieces


def _evaluate(entry: Function, arguments: tuple[Any, ...]) -> Evaluation:
    if entry.is_elementwise:
        columns = _columns(entry, arguments)
        if columns is not None:
            return Evaluation(entry, columns)
    return _at_length(entry, arguments)


def _at_length(entry: Function, arguments: tuple[Any, ...]) -> Evaluation:
    if len(arguments) > len(entry.arguments):
        raise InputError(
            Problem(
                entry.name,
                message=f"{len(arguments)} arguments are given, at most {len(entry.arguments)} are allowed",
                fix=f"the call is {entry.signature}",
            )
        )
    given = arguments + (None,) * (len(entry.arguments) - len(arguments))
    problems: list[Problem] = []
    whole: dict[str, Any] = {}
    columns: dict[str, Column] = {}
    shapes: dict[str, tuple[int, ...]] = {}
    for item, raw in zip(entry.arguments, given, strict=True):
        try:
            if item.is_whole_range:
                whole.update(read_whole(item, raw, entry.name, shapes))
            else:
                columns[item.name] = read_column(item, raw, entry.name)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    if entry.table:
        values = {name: column.one(entry.name) for name, column in columns.items()}
        return Evaluation(entry, (entry.kernel(**values, **whole),))
    if entry.whole:
        return _whole(entry, whole, columns, shapes)
    return _elements(entry, whole, columns)


def _whole(
    entry: Function, whole: dict[str, Any], columns: dict[str, Any], shapes: dict[str, Any]
) -> Evaluation:
    bad = [problem for column in columns.values() for problem in column.problems]
    if bad:
        raise InputError(bad)
    values = {name: column.scalar() for name, column in columns.items()}
    _check_requirements(entry, {**whole, **values})
    with np.errstate(all="ignore"):
        results = entry.kernel(**whole, **values)
    if len(entry.returns) == 1 and not isinstance(results, tuple):
        results = (results,)
    if entry.validity:
        _note(entry, {**whole, **values}, results)
    shown = []
    codes: Any = None
    problems: list[Problem] = []
    for result, (factor, offset, _) in zip(results, entry.scale, strict=True):
        array = np.asarray(result, dtype=float)
        array = (array - offset) / factor if offset else array / factor
        if not np.isfinite(array).all():
            problems.append(Problem(entry.name, code=NUM, message=entry.no_answer))
            codes = np.where(np.isfinite(array), "", NUM).astype(object)
            if array.ndim == 0:
                codes = NUM
        if array.ndim == 1 and entry.along:
            shape = shapes.get(entry.along, ())
            if len(shape) == 2:
                array = array.reshape((1, -1) if shape[0] == 1 and shape[1] > 1 else (-1, 1))
                if isinstance(codes, np.ndarray):
                    codes = codes.reshape(array.shape)
        shown.append(float(array) if array.ndim == 0 else array)
    return Evaluation(entry, tuple(shown), codes, tuple(problems[:1]))


def _check_requirements(entry: Function, values: dict[str, Any]) -> None:
    problems = []
    for condition in entry.requires:
        parts = [values.get(name) for name in condition.names]
        if any(part is None for part in parts):
            continue
        if not np.all(condition.check(*parts)):
            problems.append(_requirement_problem(entry, condition, values.get(condition.argument)))
    if problems:
        raise InputError(problems)


def _requirement_problem(entry: Function, condition: Requirement, value: Any) -> Problem:
    item = next((item for item in entry.arguments if item.name == condition.argument), None)
    if isinstance(value, np.ndarray) and value.ndim:
        value = f"{value.shape[0]} values" if value.ndim == 1 else f"a {value.shape} block"
    elif value is not None and item is not None and item.kind in {"number", "whole"}:
        factor, offset = to_si(item.unit)
        value = round((float(value) - offset) / factor, 12)
    return Problem(entry.name, condition.argument, value, condition.allowed, code=NUM)


def _elements(entry: Function, whole: dict[str, Any], columns: dict[str, Column]) -> Evaluation:
    shape = _common_shape(entry, columns)
    codes = None
    problems: list[Problem] = []
    for column in columns.values():
        problems.extend(column.problems)
        if column.codes is not None:
            codes = _merge(codes, np.broadcast_to(column.codes, shape), shape)
    for condition in entry.requires:
        codes = _require(entry, condition, whole, columns, shape, codes, problems)
    results, codes = _run(entry, whole, columns, shape, codes, problems)
    if entry.validity:
        _note(entry, {**whole, **{name: column.filled() for name, column in columns.items()}}, results)
    shown = []
    for result, (factor, offset, kind) in zip(results, entry.scale, strict=True):
        with np.errstate(over="ignore"):
            result = (result - offset) / factor if offset else result / factor
        if not all_finite(result):
            finite = np.isfinite(result)
            lost = ~finite if codes is None else ~finite & (codes == "")
            if lost.any():
                problems.append(_no_answer(entry, columns, shape, lost))
                codes = _merge(codes, np.where(lost, NUM, "").astype(object), shape)
        if not shape:
            number = float(result)
            shown.append(int(number) if kind == "whole" and math.isfinite(number) else number)
        else:
            shown.append(result)
    if not shape and codes is not None:
        codes = codes.item()
    return Evaluation(entry, tuple(shown), codes, tuple(problems))


def _common_shape(entry: Function, columns: dict[str, Column]) -> tuple[int, ...]:
    """The shape of the answer: that of all ranges laid over one another."""
    try:
        return np.broadcast_shapes(*(column.shape for column in columns.values()))
    except ValueError:
        sizes = ", ".join(
            f"{name} {'×'.join(map(str, column.shape)) or '1'}" for name, column in columns.items()
        )
        raise InputError(
            Problem(
                entry.name,
                message=f"the sizes of the ranges do not fit: {sizes}",
                fix="give ranges of one size, or a row against a column",
            )
        ) from None


def _require(
    entry: Function,
    condition: Requirement,
    whole: dict[str, Any],
    columns: dict[str, Column],
    shape: tuple[int, ...],
    codes: Any,
    problems: list[Problem],
) -> Any:
    """A condition between arguments on the elements that are still good: their codes after it."""
    parts = [whole[name] if name in whole else columns[name].filled() for name in condition.names]
    if any(part is None for part in parts):
        return codes
    holds = np.broadcast_to(np.asarray(condition.check(*parts), dtype=bool), shape)
    for name in condition.names:
        blank = columns[name].blank if name in columns else None
        if blank is not None:
            holds = holds | np.broadcast_to(blank, shape)
    bad = ~holds if codes is None else ~holds & (codes == "")
    if not bad.any():
        return codes
    first = tuple(np.argwhere(bad)[0]) if shape else ()
    value = whole.get(condition.argument)
    if condition.argument in columns:
        value = np.broadcast_to(columns[condition.argument].filled(), shape)[first]
    problems.append(_requirement_problem(entry, condition, value))
    return _merge(codes, np.where(bad, NUM, "").astype(object), shape)


def _no_answer(entry: Function, columns: dict[str, Any], shape: tuple[Any, ...], lost: np.ndarray) -> Problem:
    first = tuple(np.argwhere(lost)[0]) if shape else ()
    words = []
    for item in entry.arguments:
        column = columns.get(item.name)
        if column is not None and column.values is not None:
            value = np.broadcast_to(column.filled(), shape)[first] if shape else column.scalar()
            if isinstance(value, float | np.floating):
                factor, offset = to_si(item.unit)
                value = float(f"{(value - offset) / factor:.12g}")
            if value is not None and not (isinstance(value, float) and math.isnan(value)):
                words.append(f"{item.name} {show(value)}")
    count = int(lost.sum())
    more = f" and {count - 1} more" if count > 1 else ""
    return Problem(entry.name, code=NUM, message=f"{entry.no_answer}: {', '.join(words)}{more}")


def _merge(codes: np.ndarray | None, new: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    if codes is None:
        return np.array(np.broadcast_to(new, shape), dtype=object)
    # an error given by the user's cell wins over a blank; the first error found stays
    return np.where((codes == "") | ((codes == BLANK) & (new != "")), new, codes)


def _run(
    entry: Function,
    whole: dict[str, Any],
    columns: dict[str, Any],
    shape: tuple[Any, ...],
    codes: Any,
    problems: list[Problem],
) -> tuple[list[np.ndarray], Any]:
    """Call the kernel once per group of choices and of blanks; scatter where elements failed.

    A group for which the kernel raises InputError (a name that is not in its table) keeps that
    error's code in its cells, and the other groups their results.
    """
    size = math.prod(shape)
    keys = None  # integer group of each element
    for column in columns.values():
        if column.groups is not None:
            group = np.broadcast_to(column.groups, shape)
            keys = group if keys is None else keys * (int(group.max()) + 1) + group
    count = len(entry.returns)
    if keys is None and codes is None:
        values = {name: column.plain() for name, column in columns.items()}
        with np.errstate(all="ignore"):
            results = entry.kernel(**whole, **values)
        results = (results,) if count == 1 else results
        return [np.broadcast_to(np.asarray(result, float), shape) for result in results], codes
    keys = np.zeros(shape, dtype=int) if keys is None else keys
    good = np.ones(shape, dtype=bool) if codes is None else codes == ""
    results = [np.full(size, math.nan) for _ in range(count)]
    flat_keys, flat_good = keys.ravel(), good.ravel()
    for key in np.unique(flat_keys[flat_good]):
        chosen = flat_good & (flat_keys == key)
        values = {name: column.part(shape, chosen) for name, column in columns.items()}
        try:
            with np.errstate(all="ignore"):
                part = entry.kernel(**whole, **values)
        except InputError as error:
            problems.extend(error.problems)
            failed = np.where(chosen.reshape(shape), error.code, "").astype(object)
            codes = _merge(codes, failed, shape)
            continue
        for result, piece in zip(results, (part,) if count == 1 else part, strict=True):
            result[chosen] = piece
    return [result.reshape(shape) for result in results], codes
