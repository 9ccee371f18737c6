"""What formulas reckon with: areas, error values, scalars and how they are converted and compared."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable
from . import numbertext
from .numbertext import general, read_number

DIV0, NA, NUM, REF, VALUE = map(CellError, ("#DIV/0!", "#N/A", "#NUM!", "#REF!", "#VALUE!"))
NULL = CellError("#NULL!")
MAX_BLOCK = 1_000_000  # cells of one computed array


class Area(NamedTuple):
    """A rectangle of cells on a sheet; rows and columns count from 1, ends included."""

    sheet: str
    top: int
    left: int
    bottom: int
    right: int

    @property
    def rows(self) -> int:
        """How many rows it has."""
        return self.bottom - self.top + 1

    @property
    def columns(self) -> int:
        """How many columns it has."""
        return self.right - self.left + 1


class Areas(NamedTuple):
    """Several areas, joined by the union operator."""

    parts: tuple[Area, ...]


class _Missing:
    """An argument that was left empty, as in `IF(A1,,2)`."""


MISSING = _Missing()


class Fault(Exception):
    """An error value met inside a function."""

    def __init__(self, error: CellError):
        super().__init__(str(error))
        self.error = error


def to_number(value: Any) -> float:
    """A scalar as a number, or the fault that a spreadsheet would show."""
    if isinstance(value, CellError):
        raise Fault(value)
    if isinstance(value, bool):
        return float(value)
    if isinstance(value, int | float):
        return float(value)
    if value is None or value is MISSING:
        return 0.0
    number = read_number(_text_only(value))
    if number is None:
        raise Fault(VALUE)
    return number


def _text_only(value: Any) -> str:
    """A scalar that can only be a text by now; an array is refused."""
    if not isinstance(value, str):
        raise Unevaluable("an array stands where one value belongs")
    return value


def to_text(value: Any) -> str:
    """A scalar as text."""
    if isinstance(value, CellError):
        raise Fault(value)
    if value is None or value is MISSING:
        return ""
    return general(value) if isinstance(value, int | float) else _text_only(value)


def to_flag(value: Any) -> bool:
    """A scalar as TRUE or FALSE."""
    if isinstance(value, CellError):
        raise Fault(value)
    if value is None or value is MISSING:
        return False
    if isinstance(value, str):
        if value.upper() in ("TRUE", "FALSE"):
            return value.upper() == "TRUE"
        raise Fault(VALUE)
    return bool(value) if isinstance(value, int | float) else bool(_text_only(value))


def _plain(value: Any) -> Any:
    if isinstance(value, CellError):
        raise Fault(value)
    return None if value is MISSING else value


def given_or_none(value: Any) -> Any:
    """A scalar as it is, errors too; None for an argument that was left empty."""
    return None if value is MISSING else value


CONVERT = {"n": to_number, "t": to_text, "b": to_flag, "v": _plain, "x": given_or_none}


def checked(value: Any) -> Any:
    """A result that a cell can hold."""
    if isinstance(value, float):
        return value + 0.0 if math.isfinite(value) else NUM  # a sheet has no negative zero
    if isinstance(value, str) and len(value) > numbertext.MAX_TEXT:
        return VALUE
    return value


def guarded(function: Callable[..., Any], *values: Any) -> Any:
    """The result of a function of scalars, faults as error values."""
    try:
        return checked(function(*values))
    except Fault as fault:
        return fault.error
    except ZeroDivisionError:
        return DIV0
    except (OverflowError, ValueError):
        return NUM


def lift(function: Callable[..., Any], values: Sequence[Any]) -> Any:
    """Apply a function of scalars; arrays (lists of rows) broadcast."""
    blocks = [value for value in values if isinstance(value, list)]
    if not blocks:
        return guarded(function, *values)
    rows = max(len(block) for block in blocks)
    columns = max(len(block[0]) for block in blocks)
    if rows * columns > MAX_BLOCK:
        raise Unevaluable(f"an array of {rows} by {columns} is too large")
    return [
        [guarded(function, *[element(value, r, c) for value in values]) for c in range(columns)]
        for r in range(rows)
    ]


def element(value: Any, row: int, column: int) -> Any:
    """An element of a value that is stretched over rows and columns, #N/A past its end."""
    if not isinstance(value, list):
        return value
    if len(value) == 1:
        row = 0
    if len(value[0]) == 1:
        column = 0
    return value[row][column] if row < len(value) and column < len(value[0]) else NA


def approx_equal(a: float, b: float) -> bool:
    """Equal within the rounding of a double, as spreadsheets compare."""
    if a == b:
        return True
    if a == 0 or b == 0:
        return False
    gap = abs(a - b)
    if not math.isfinite(gap):
        return False
    a, b = abs(a), abs(b)
    if gap > a * 2.0**-44 or gap > b * 2.0**-44:
        return False
    if gap.is_integer() and a.is_integer() and b.is_integer():
        return False
    return gap < a * 2.0**-48 and gap < b * 2.0**-48


def approx_add(a: float, b: float) -> float:
    """A sum that is 0 where two numbers cancel but for rounding."""
    if (a < 0) != (b < 0) and approx_equal(a, -b):
        return 0.0
    return a + b


def power(base: float, exponent: float) -> float:
    """`base^exponent`; cases on which spreadsheets disagree are refused."""
    if base == 0 and exponent == 0:
        raise Unevaluable("0^0 differs from one spreadsheet to the next")
    if base == 0 and exponent < 0:
        raise Fault(DIV0)
    if base < 0 and not exponent.is_integer():
        if round(1 / exponent) % 2:
            raise Unevaluable("an odd root of a negative number differs between spreadsheets")
        raise Fault(NUM)
    return base**exponent


def rank(value: Any) -> int:
    """The place of a scalar's kind in sorting: numbers, texts, TRUE and FALSE."""
    if isinstance(value, bool):
        return 2
    return 1 if isinstance(value, str) else 0


def compare(a: Any, b: Any) -> int:
    """-1, 0 or 1: numbers come before texts, texts before FALSE and TRUE; case is ignored."""
    if isinstance(a, CellError):
        raise Fault(a)
    if isinstance(b, CellError):
        raise Fault(b)
    if a is None or a is MISSING:
        a = _blank_like(b)
    if b is None or b is MISSING:
        b = _blank_like(a)
    for value in (a, b):
        if not isinstance(value, int | float):
            _text_only(value)
    if rank(a) != rank(b):
        return -1 if rank(a) < rank(b) else 1
    if rank(a) == 1:
        a, b = a.casefold(), b.casefold()
    elif rank(a) == 0 and approx_equal(float(a), float(b)):
        return 0
    return (a > b) - (a < b)


def _blank_like(other: Any) -> Any:
    if isinstance(other, bool):
        return False
    return "" if isinstance(other, str) else 0.0


def _join(a: Any, b: Any) -> str:
    return to_text(a) + to_text(b)


def _divide(a: Any, b: Any) -> float:
    top, bottom = to_number(a), to_number(b)
    if bottom == 0:
        raise Fault(DIV0)
    return top / bottom


OPERATORS: dict[str, Callable[[Any, Any], Any]] = {
    "+": lambda a, b: approx_add(to_number(a), to_number(b)),
    "-": lambda a, b: approx_add(to_number(a), -to_number(b)),
    "*": lambda a, b: to_number(a) * to_number(b),
    "/": _divide,
    "^": lambda a, b: power(to_number(a), to_number(b)),
    "&": _join,
    "=": lambda a, b: compare(a, b) == 0,
    "<>": lambda a, b: compare(a, b) != 0,
    "<": lambda a, b: compare(a, b) < 0,
    ">": lambda a, b: compare(a, b) > 0,
    "<=": lambda a, b: compare(a, b) <= 0,
    ">=": lambda a, b: compare(a, b) >= 0,
}
MONADIC: dict[str, Callable[[Any], Any]] = {
    "negative": lambda a: -to_number(a),
    "positive": lambda a: _plain(a),
    "percent": lambda a: to_number(a) / 100,
}
