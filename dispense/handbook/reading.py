"""Reading the arguments of a workbook function: plain values, columns and ranges as SI numbers and arrays.

`Short` reads an argument of the short ways (a plain value, or plain numbers of a column) and gives up
at anything else. `Column` is an argument that is iterated element by element, with its blanks, errors
and groups; `read_whole` reads a range that a kernel takes whole.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..base.errors import NA, NUM, InputError, Problem
from ..base.fields import ERROR_TEXTS, REQUIRED, CellError, Field
from ..base.units import coherent_factor, to_si

_MOST_PROBLEMS = 20  # per argument of one call; further ones are counted


BLANK = "blank"


NUMERIC = {"number", "whole", "vector", "matrix", "points"}


_TEXTUAL = {"choice", "flag", "text"}


class Short:
    """An argument as the short ways read it."""

    __slots__ = (
        "choices",
        "default",
        "factor",
        "high",
        "is_needed",
        "is_number",
        "is_plain",
        "is_whole",
        "kind",
        "low",
        "name",
        "offset",
    )

    def __init__(self, item: Field, system: tuple[str, ...]) -> None:
        self.name, self.kind, self.choices = item.name, item.kind, item.choices
        self.is_whole = item.kind == "whole"
        self.is_number = self.is_whole or item.kind == "number"
        self.is_needed = item.is_required
        in_si, self.offset = to_si(item.unit) if item.kind in NUMERIC else (1.0, 0.0)
        self.factor = coherent_factor(item.unit, system) if self.is_number else in_si
        self.is_plain = self.factor == 1.0 and not self.offset
        self.default = REQUIRED if item.is_required else item.default_si()
        if isinstance(self.default, float) and self.factor != in_si:
            self.default *= self.factor / in_si
        self.low, self.high = item.ends(self.factor)

    @property
    def quick(self) -> tuple[Any, ...]:
        """Name, limits between which a float is a good number (none where another is asked), unit, `read`."""
        low, high = (self.low, self.high) if self.is_number and not self.is_whole else (math.inf, -math.inf)
        return self.name, low, high, self.factor, self.offset, self.is_needed, self.read

    def read(self, value: Any) -> Any:
        """A plain value as the kernel takes it; REQUIRED where it is none or out of its limits."""
        kind = type(value)
        if kind is float or kind is int:
            if not self.is_number or not self.low <= value <= self.high:
                return REQUIRED
            if self.is_whole and value != math.floor(value):
                return REQUIRED
            return value * self.factor + self.offset
        if kind is str and self.kind == "choice" and value in self.choices:
            return value
        if kind is bool and self.kind == "flag":
            return value
        return REQUIRED

    def read_part(self, part: np.ndarray, place: np.ndarray) -> np.ndarray | None:
        """Numbers as the kernel takes them, left in `place`; None where one is out of its limits.

        Where a unit changes nothing, these are the caller's own numbers, to be read only.
        """
        if not _all_within(part, self.low, self.high, self.is_whole):
            return None
        if self.is_plain:
            part.flags.writeable = False
            return part
        result, place = part, place[: len(part)]
        if self.factor != 1.0:
            result = np.multiply(part, self.factor, place)
        if self.offset:
            result = np.add(result, self.offset, place)
        return result


def _bits(number: float) -> int:
    return int(np.float64(number).view(np.uint64))


def _largest_bits(array: np.ndarray) -> int:
    """The largest of some doubles by their bits, in one pass.

    From 0 up bits rise with the number; infinity, NaN and then every number below 0 come after.
    """
    return int(array.view(np.uint64).max(initial=0))


_INFINITY = _bits(math.inf)


@dataclass(slots=True)
class Column:
    """An argument that is iterated: values in SI, blanks, spreadsheet errors, groups."""

    item: Field
    values: Any  # float or object array (0-d for a scalar), or None when left out with default None
    blank: Any = None  # bool array where an optional argument without default is blank
    codes: Any = None  # object array of "", "blank" or an error
    groups: Any = None  # integer array where the kernel must be called group by group
    problems: list[Problem] = field(default_factory=list)

    @property
    def shape(self) -> tuple[int, ...]:
        return () if self.values is None else self.values.shape

    def plain(self) -> Any:
        """The values for a kernel when no grouping is needed."""
        if self.values is None:
            return None
        if self.values.ndim == 0:
            return self.values.item() if self.item.kind in _TEXTUAL else self.values[()]
        return self.values

    def scalar(self) -> Any:
        """The one value of a scalar or of a range of one cell."""
        value = self.plain()
        return value.ravel()[0] if isinstance(value, np.ndarray) and value.size == 1 else value

    def one(self, where: str) -> Any:
        """The one value; a range of several is refused, and so is a value that failed."""
        if self.problems:
            raise InputError(self.problems)
        if self.values is not None and self.values.size != 1:
            raise InputError(Problem(where, self.item.name, f"{self.values.size} cells", "a single cell"))
        if self.codes is not None:
            raise InputError(self.item.problem(where, None))
        return self.scalar()

    def filled(self) -> Any:
        """The values with NaN where blank."""
        return self.plain()

    def part(self, shape: tuple[Any, ...], chosen: np.ndarray) -> Any:
        """The values of the chosen elements; one plain text for a choice, None for blanks."""
        if self.values is None:
            return None
        if self.values.ndim == 0:
            return self.plain()
        values = np.broadcast_to(self.values, shape).ravel()[chosen]
        if self.item.kind in _TEXTUAL:
            return values[0]
        if self.blank is not None and np.broadcast_to(self.blank, shape).ravel()[chosen][0]:
            return None
        return values


def read_column(item: Field, raw: Any, where: str) -> Column:
    """One iterated argument, from a scalar, a list, nested lists, an array or a pandas object."""
    array = _as_array(raw)
    if array is None:
        value = item.read(raw, where)
        if value is None:
            return Column(item, None)
        kind = object if item.kind in _TEXTUAL else float
        return Column(item, np.array(value, dtype=kind))
    if array.ndim > 2:
        raise InputError(Problem(where, item.name, f"{array.ndim}-D array", "one or two-dimensional"))
    if array.size == 0:
        raise InputError(Problem(where, item.name, "an empty range", "a range of one cell or more"))
    if array.dtype.kind in "fiu" and item.kind in {"number", "whole"}:
        return _read_numbers(item, array.astype(float, copy=False), where)
    return _read_cells(item, array, where)


def _read_numbers(item: Field, array: np.ndarray, where: str) -> Column:
    factor, offset = to_si(item.unit)
    with np.errstate(over="ignore", invalid="ignore"):
        values = array * factor
        if offset:
            values += offset
    column = Column(item, values)
    low, high = item.ends(factor)
    if _all_within(array, low, high, item.kind == "whole"):
        return column
    good = (array >= low) & (array <= high)  # NaN is neither
    if item.kind == "whole":
        good &= array == np.floor(array)
    if not good.all():
        column.codes = np.where(good, "", NUM).astype(object)
        places = np.argwhere(~good)
        for place in places[:_MOST_PROBLEMS]:
            given = float(array[tuple(place)])
            column.problems.append(item.problem(_element(where, place), given, NUM))
        _count_rest(column, places, where, item)
    return column


def _all_within(array: np.ndarray, low: float, high: float, whole: bool) -> bool:
    """Whether every number is from low to high: its smallest and largest are (NaN never is)."""
    if low == 0.0:
        good = _largest_bits(array) <= _bits(high)
    else:
        good = low <= array.min() and array.max() <= high
    return bool(good and (not whole or np.array_equal(array, np.floor(array))))


def all_finite(array: np.ndarray) -> bool:
    """Whether every number is finite; a finite sum has only finite terms."""
    if _largest_bits(array) < _INFINITY:
        return True
    with np.errstate(all="ignore"):
        return bool(math.isfinite(array.sum()) or np.isfinite(array).all())


def _read_cells(item: Field, array: np.ndarray, where: str) -> Column:
    """Cell by cell, for ranges that hold texts, blanks or errors."""
    textual = item.kind in _TEXTUAL
    flat: list[Any] = []
    codes: list[str] = []
    problems: list[Problem] = []
    failed = 0
    blanks = False
    default = item.default_si()
    known: dict[str, Any] = {}  # texts read before; they often repeat
    for place, raw in enumerate(array.ravel().tolist()):
        if type(raw) is str and raw in known:
            flat.append(known[raw])
            codes.append("")
            continue
        code = ""
        value = default
        try:
            if _is_blank(raw):
                blanks = True
                if item.is_required:
                    code = BLANK
            elif type(raw) is str and raw in ERROR_TEXTS:
                raise InputError(item.problem(where, raw, raw, "mend the cell it reads"))
            else:
                value = item.read(raw, where)
        except InputError as error:
            code = error.code
            failed += 1
            if len(problems) < _MOST_PROBLEMS:
                index = np.unravel_index(place, array.shape)
                problem = error.problems[0]
                problems.append(
                    Problem(
                        _element(where, index),
                        problem.argument,
                        problem.value,
                        problem.allowed,
                        problem.fix,
                        problem.code,
                    )
                )
        codes.append(code)
        flat.append(value if not code else (default if textual else None))
        if not code and type(raw) is str and value is not default:
            known[raw] = value
    if textual:
        values = np.array(flat, dtype=object).reshape(array.shape)
        numbers: dict[str, int] = {}
        groups = np.array([numbers.setdefault(str(value), len(numbers)) for value in flat])
        column = Column(item, values, groups=groups.reshape(array.shape))
    else:
        values = np.array([math.nan if value is None else value for value in flat], dtype=float)
        column = Column(item, values.reshape(array.shape))
        if blanks and not item.is_required and default is None:
            column.blank = np.array([_is_blank(raw) for raw in array.ravel().tolist()]).reshape(array.shape)
            column.groups = column.blank.astype(int)
    if any(codes):
        column.codes = np.array(codes, dtype=object).reshape(array.shape)
    column.problems = problems
    if failed > len(problems):
        column.problems.append(
            Problem(where, message=f"{item.name} has {failed - len(problems)} more such cells")
        )
    return column


def _count_rest(column: Column, places: np.ndarray, where: str, item: Field) -> None:
    if len(places) > _MOST_PROBLEMS:
        column.problems.append(
            Problem(
                where, code=NUM, message=f"{item.name} has {len(places) - _MOST_PROBLEMS} more such cells"
            )
        )


def _element(where: str, place: Iterable[Any]) -> str:
    numbers = [int(index) + 1 for index in place]
    if len(numbers) == 1:
        return f"{where} (row {numbers[0]})"
    return f"{where} (row {numbers[0]}, column {numbers[1]})" if numbers else where


def _as_array(raw: Any) -> np.ndarray | None:
    """An array for a range (list, tuple, array, pandas), None for a scalar."""
    if raw is None or isinstance(raw, str | bytes | int | float):
        return None
    if isinstance(raw, np.ndarray):
        return None if raw.ndim == 0 and raw.dtype.kind in "fiub" else raw
    if hasattr(raw, "to_numpy"):
        numbers: np.ndarray | None = raw.to_numpy()
        return numbers
    if isinstance(raw, list | tuple):
        try:
            array = np.array(raw)
        except ValueError:
            array = None
        if array is not None and array.dtype.kind in "fiu":
            return array if not _holds_flags(raw) else np.array(raw, dtype=object)
        nested = bool(raw) and isinstance(raw[0], list | tuple)
        rows = [list(row) if isinstance(row, list | tuple) else [row] for row in raw]
        if nested:
            width = max(len(row) for row in rows)
            if any(len(row) != width for row in rows):
                raise InputError(Problem("range", message="the rows of a range differ in length"))
            block = np.empty((len(rows), width), dtype=object)
            for place, row in enumerate(rows):
                block[place, :] = row
            return block
        column = np.empty(len(raw), dtype=object)
        column[:] = raw
        return column
    return None


def _holds_flags(raw: Sequence[Any]) -> bool:
    for row in raw:
        for value in row if isinstance(row, list | tuple) else (row,):
            if value is True or value is False:
                return True
    return False


def read_whole(item: Field, raw: Any, where: str, shapes: dict[str, Any]) -> dict[str, Any]:
    """A range that is taken whole, in SI."""
    array = _as_array(raw)
    if array is None:
        if _is_blank(raw):
            if item.is_required:
                raise InputError(item.problem(where, None))
            return {item.name: None}
        if isinstance(raw, str) and raw in ERROR_TEXTS:
            raise InputError(item.problem(where, raw, raw, "mend the cell it reads"))
        array = np.array([raw], dtype=object)
    if array.size == 0:
        raise InputError(Problem(where, item.name, "an empty range", "a range of one cell or more"))
    shapes[item.name] = array.shape
    if array.ndim > 2:
        raise InputError(Problem(where, item.name, f"{array.ndim}-D array", "one or two-dimensional"))
    if item.kind == "record":
        if item.from_names is not None and array.ndim == 2 and array.shape[1] == 2:
            named = item.from_names(array.tolist(), where)
            if named is not None:
                return {item.name: named}
        return {item.name: _read_record(item, array, where)}
    if item.kind == "points":
        return _read_points(item, array, where)
    if item.kind == "vector" and array.ndim == 2 and 1 not in array.shape:
        raise InputError(
            Problem(where, item.name, "×".join(map(str, array.shape)) + " cells", "one row or one column")
        )
    values = _read_block(item, array, where)
    return {
        item.name: values.ravel()
        if item.kind == "vector"
        else np.atleast_2d(values)
        if values.ndim != 1
        else values[:, None]
    }


def _read_block(item: Field, array: np.ndarray, where: str) -> np.ndarray:
    """Numbers of a vector or block, each checked against the field's limits."""
    cell = Field(
        item.name,
        "number",
        item.unit,
        item.help,
        None if item.may_be_blank else REQUIRED,
        item.above,
        item.at_least,
        item.below,
        item.at_most,
    )
    if array.dtype.kind in "fiu":
        column = _read_numbers(cell, array.astype(float), where)
    else:
        column = _read_cells(cell, array, where)
    if column.problems:
        raise InputError(column.problems)
    if column.codes is not None:
        place = np.argwhere(column.codes != "")[0]
        raise InputError(item.problem(_element(where, place), None))
    values: np.ndarray = column.values
    return values


def _read_record(item: Field, array: np.ndarray, where: str) -> np.ndarray:
    cells = array.ravel().tolist()
    if len(cells) > len(item.columns):
        raise InputError(
            Problem(
                where,
                item.name,
                f"{len(cells)} cells",
                f"one row of {', '.join(part.title for part in item.columns)}",
            )
        )
    cells += [None] * (len(item.columns) - len(cells))
    values: list[float] = []
    problems: list[Problem] = []
    for part, cell in zip(item.columns, cells, strict=True):
        if isinstance(cell, float) and math.isnan(cell):
            cell = None
        if isinstance(cell, str) and cell in ERROR_TEXTS:
            cell = CellError(cell)
        try:
            value = part.read(cell, where)
            values.append(math.nan if value is None else value)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return np.array(values, dtype=float)


def _read_points(item: Field, array: np.ndarray, where: str) -> dict[str, Any]:
    if array.ndim != 2:
        raise InputError(Problem(where, item.name, "one column", "two or three numeric columns"))
    labels = None
    if item.choices:
        last = [value for value in array[:, -1].tolist()]
        texts = [isinstance(value, str) and value.strip().lower() in item.choices for value in last]
        blank = [_is_blank(value) for value in last]
        wordy = [isinstance(value, str) and value.strip()[:1].isalpha() for value in last]
        if array.shape[1] > 2 and (any(texts) or any(wordy) or all(blank)):
            labels = []
            for place, value in enumerate(last):
                label = item.choices[0] if blank[place] else str(value).strip().lower()
                if label not in item.choices:
                    code = value if isinstance(value, str) and value in ERROR_TEXTS else NA
                    raise InputError(
                        Problem(
                            _element(where, (place,)),
                            item.name,
                            value,
                            "one of " + ", ".join(item.choices),
                            code=code,
                        )
                    )
                labels.append(label)
            array = array[:, :-1]
    if array.shape[1] not in (2, 3):
        raise InputError(
            Problem(where, item.name, f"{array.shape[1]} columns", "two or three numeric columns")
        )
    if array.dtype.kind not in "fiu" and not _any_special(array):
        with suppress(TypeError, ValueError):
            array = array.astype(float)
    found: dict[str, Any] = {item.name: _read_block(item, array, where)}
    if item.choices:
        found["labels"] = labels
    return found


def _is_blank(raw: Any) -> bool:
    """Whether a cell is empty or holds nothing but spaces."""
    return raw is None or (isinstance(raw, str) and not raw.strip())


def _any_special(array: np.ndarray) -> bool:
    return any(value is None or isinstance(value, str | bool) for value in array.ravel().tolist())
