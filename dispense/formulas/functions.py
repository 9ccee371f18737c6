"""The standard worksheet functions that `evaluate` knows.

Each is declared once, by `elementwise` (scalars in, a scalar out; arrays broadcast), `whole` (takes
ranges as they are) or `lazy` (gets its arguments unevaluated). Where Excel and LibreOffice Calc
disagree, the function refuses (`Unevaluable`) instead of choosing, with one exception: TRUE and
FALSE are a kind of their own, as the file format has them, and not the numbers 1 and 0 as in Calc.
"""

from __future__ import annotations

import calendar
import math
import re
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple, Protocol

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable
from ..xlsx.package import MAX_COLUMN, MAX_ROW
from . import numbertext
from .numbertext import general, read_number, round_half_away, snap

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


class Call(Protocol):
    """What a function may ask of the evaluation that calls it."""

    sheet: str
    row: int
    column: int
    array: bool

    def run(self, code: Any, array: bool | None = None) -> Any:
        """Evaluate an argument."""

    def block(self, value: Any) -> list[list[Any]]:
        """Any value as rows of scalars."""

    def flat(self, value: Any) -> list[Any]:
        """Any value as one list of scalars, row by row."""

    def scalar(self, value: Any) -> Any:
        """A value for a scalar argument: ranges intersect unless arrays are computed."""

    def hidden_rows(self, sheet: str) -> frozenset[int]:
        """The hidden rows of a sheet."""

    def has_subtotal(self, sheet: str, row: int, column: int) -> bool:
        """Whether the cell's formula calls SUBTOTAL."""

    def array_area(self, area: Area) -> Area | None:
        """The range of the array formula in a cell."""


@dataclass(frozen=True)
class Function:
    """A worksheet function: how to run it and how many arguments it takes."""

    run: Callable[[Call, Sequence[Any]], Any]
    least: int
    most: int


FUNCTIONS: dict[str, Function] = {}
DATE_FUNCTIONS: set[str] = set()

REFUSED = {
    **dict.fromkeys(
        ("NOW", "TODAY", "RAND", "RANDBETWEEN", "RANDARRAY", "OFFSET", "INDIRECT", "CELL", "INFO"),
        "is volatile: its value changes with each calculation",
    ),
    **dict.fromkeys(("LAMBDA", "LET", "MAP", "REDUCE", "SCAN"), "is not computed here"),
    **dict.fromkeys(("WEBSERVICE", "RTD", "DDE", "STOCKHISTORY"), "reads from the outside"),
}


# -- scalars ------------------------------------------------------------------------------------


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


def _raw(value: Any) -> Any:
    return None if value is MISSING else value


CONVERT = {"n": to_number, "t": to_text, "b": to_flag, "v": _plain, "x": _raw}


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


def _rank(value: Any) -> int:
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
    if _rank(a) != _rank(b):
        return -1 if _rank(a) < _rank(b) else 1
    if _rank(a) == 1:
        a, b = a.casefold(), b.casefold()
    elif _rank(a) == 0 and approx_equal(float(a), float(b)):
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


# -- declaring ----------------------------------------------------------------------------------


def elementwise(names: str, kinds: str, least: int | None = None, dates: bool = False) -> Callable[..., Any]:
    """Declare a function of scalars. Kinds: number, text, b(oolean), value, x (errors too)."""

    def declare(function: Callable[..., Any]) -> Callable[..., Any]:
        def each(*values: Any) -> Any:
            return function(*[CONVERT[kinds[i]](value) for i, value in enumerate(values)])

        def run(call: Call, codes: Sequence[Any]) -> Any:
            return lift(each, [call.scalar(call.run(code)) for code in codes])

        _declare(names, Function(run, len(kinds) if least is None else least, len(kinds)), dates)
        return function

    return declare


def whole(
    names: str, least: int, most: int = 255, array: bool | None = None, dates: bool = False
) -> Callable[..., Any]:
    """Declare a function that gets its arguments evaluated, ranges as areas."""

    def declare(function: Callable[..., Any]) -> Callable[..., Any]:
        def run(call: Call, codes: Sequence[Any]) -> Any:
            try:
                result = function(call, *[call.run(code, array) for code in codes])
            except Fault as fault:
                return fault.error
            except ZeroDivisionError:
                return DIV0
            except (OverflowError, ValueError, statistics.StatisticsError):
                return NUM
            return checked(result)

        _declare(names, Function(run, least, most), dates)
        return function

    return declare


def lazy(names: str, least: int, most: int = 255) -> Callable[..., Any]:
    """Declare a function that gets its arguments unevaluated."""

    def declare(function: Callable[..., Any]) -> Callable[..., Any]:
        def run(call: Call, codes: Sequence[Any]) -> Any:
            try:
                return function(call, *codes)
            except Fault as fault:
                return fault.error

        _declare(names, Function(run, least, most), False)
        return function

    return declare


def _declare(names: str, function: Function, dates: bool) -> None:
    for name in names.split():
        FUNCTIONS[name] = function
        if dates:
            DATE_FUNCTIONS.add(name)


# -- numbers of many cells ----------------------------------------------------------------------


def is_number(value: Any) -> bool:
    """Whether a cell's value is a number (TRUE and FALSE are not)."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def numbers(call: Call, arguments: Iterable[Any]) -> list[float]:
    """The numbers of all arguments: texts and flags in ranges are skipped, given ones converted."""
    found: list[float] = []
    for argument in arguments:
        if isinstance(argument, Area | Areas | list):
            for value in call.flat(argument):
                if isinstance(value, CellError):
                    raise Fault(value)
                if is_number(value):
                    found.append(float(value))
        else:
            found.append(to_number(argument))
    return found


def total(values: Sequence[float]) -> float:
    """A sum that is 0 where the last number cancels the others but for rounding."""
    if not values:
        return 0.0
    last = next((i for i in range(len(values) - 1, -1, -1) if values[i] != 0), 0)
    return approx_add(math.fsum(values[:last]), values[last])


def _need(values: list[float], least: int = 1, error: CellError = NUM) -> list[float]:
    if len(values) < least:
        raise Fault(error)
    return values


def _mean(values: list[float]) -> float:
    return total(_need(values, 1, DIV0)) / len(values)


def _squares(values: list[float]) -> float:
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values)


def _variance(values: list[float]) -> float:
    return _squares(_need(values, 2, DIV0)) / (len(values) - 1)


def _population_variance(values: list[float]) -> float:
    return _squares(_need(values, 1, DIV0)) / len(values)


def _mean_deviation(values: list[float]) -> float:
    mean = _mean(values)
    return math.fsum(abs(value - mean) for value in values) / len(values)


AGGREGATES: dict[str, Callable[[list[float]], float]] = {
    "SUM": total,
    "AVERAGE": _mean,
    "MIN": lambda values: min(values, default=0.0),
    "MAX": lambda values: max(values, default=0.0),
    "PRODUCT": lambda values: math.prod(values) if values else 0.0,
    "SUMSQ": lambda values: math.fsum(value * value for value in values),
    "MEDIAN": lambda values: statistics.median(_need(values)),
    "STDEV STDEV.S": lambda values: math.sqrt(_variance(values)),
    "STDEVP STDEV.P": lambda values: math.sqrt(_population_variance(values)),
    "VAR VAR.S": _variance,
    "VARP VAR.P": _population_variance,
    "DEVSQ": lambda values: _squares(_need(values)),
    "AVEDEV": lambda values: _mean_deviation(_need(values)),
    "GEOMEAN": lambda values: math.exp(math.fsum(math.log(v) for v in _need(values)) / len(values)),
    "HARMEAN": lambda values: (
        len(values) / math.fsum(1 / v for v in values) if min(_need(values)) > 0 else math.nan
    ),
}


def _declare_aggregate(names: str, compute: Callable[[list[float]], float]) -> None:
    @whole(names, 1)
    def aggregate(call: Call, *arguments: Any) -> float:
        return compute(numbers(call, arguments))


for _names, _compute in AGGREGATES.items():
    _declare_aggregate(_names, _compute)


@whole("COUNT", 1)
def _count(call: Call, *arguments: Any) -> float:
    found = 0
    for argument in arguments:
        if isinstance(argument, Area | Areas | list):
            found += sum(is_number(value) for value in call.flat(argument))
        elif not isinstance(argument, CellError):
            found += not isinstance(argument, str) or read_number(argument) is not None
    return float(found)


@whole("COUNTA", 1)
def _count_all(call: Call, *arguments: Any) -> float:
    return float(sum(value is not None for a in arguments for value in call.flat(a)))


@whole("COUNTBLANK", 1, 1)
def _count_blank(call: Call, area: Any) -> float:
    if not isinstance(area, Area):
        raise Fault(VALUE)
    filled = sum(value is not None and value != "" for value in call.flat(area))
    return float(area.rows * area.columns - filled)


@whole("SUMPRODUCT", 1, array=True)
def _sum_product(call: Call, *arguments: Any) -> float:
    blocks = [call.block(argument) for argument in arguments]
    if len({(len(block), len(block[0])) for block in blocks}) > 1:
        raise Fault(VALUE)
    columns = [[value for row in block for value in row] for block in blocks]
    for argument, column in zip(arguments, columns, strict=True):
        for value in column:
            if isinstance(value, CellError):
                raise Fault(value)
            if isinstance(value, bool) and not isinstance(argument, Area):
                raise Unevaluable(
                    "SUMPRODUCT of TRUE and FALSE differs between spreadsheets;"
                    " write --( ) round the comparison"
                )
    return total(
        [
            math.prod(float(value) if is_number(value) else 0.0 for value in values)
            for values in zip(*columns, strict=True)
        ]
    )


SUBTOTALS = ("AVERAGE", "COUNT", "COUNTA", "MAX", "MIN", "PRODUCT", "STDEV", "STDEVP", "SUM", "VAR", "VARP")


@whole("SUBTOTAL", 2)
def _subtotal(call: Call, code: Any, *arguments: Any) -> Any:
    kind = int(to_number(call.scalar(code)))
    skip_hidden = kind > 100
    if not 1 <= kind - 100 * skip_hidden <= 11:
        raise Fault(VALUE)
    values: list[Any] = []
    for argument in arguments:
        if not isinstance(argument, Area):
            raise Fault(VALUE)
        hidden = call.hidden_rows(argument.sheet)
        if not skip_hidden and any(argument.top <= row <= argument.bottom for row in hidden):
            raise Unevaluable("SUBTOTAL over hidden rows depends on whether a filter hid them")
        for r, row in enumerate(call.block(argument), argument.top):
            if r in hidden:
                continue
            values.extend(
                value
                for c, value in enumerate(row, argument.left)
                if not call.has_subtotal(argument.sheet, r, c)
            )
    name = SUBTOTALS[(kind - 1) % 100]
    if name == "COUNT":
        return float(sum(map(is_number, values)))
    if name == "COUNTA":
        return float(sum(value is not None for value in values))
    return FUNCTIONS[name].run(call, [(("array", (tuple(values),)),)])


def _declare_order(name: str, reverse: bool) -> None:
    @whole(name, 2, 2)
    def order(call: Call, values: Any, place: Any) -> Any:
        ordered = sorted(numbers(call, [values]), reverse=reverse)

        def at(k: Any) -> float:
            index = math.ceil(snap(to_number(k)))
            if not 1 <= index <= len(ordered):
                raise Fault(NUM)
            return ordered[index - 1]

        return lift(at, [call.scalar(place)])


_declare_order("LARGE", True)
_declare_order("SMALL", False)


def _percentile(ordered: list[float], share: float) -> float:
    if not 0 <= share <= 1:
        raise Fault(NUM)
    place = share * (len(_need(ordered)) - 1)
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])


@whole("PERCENTILE PERCENTILE.INC", 2, 2)
def _percentile_of(call: Call, values: Any, share: Any) -> Any:
    ordered = sorted(numbers(call, [values]))
    return lift(lambda k: _percentile(ordered, to_number(k)), [call.scalar(share)])


@whole("QUARTILE QUARTILE.INC", 2, 2)
def _quartile(call: Call, values: Any, quarter: Any) -> Any:
    ordered = sorted(numbers(call, [values]))
    return lift(lambda k: _percentile(ordered, math.floor(to_number(k)) / 4), [call.scalar(quarter)])


@whole("RANK RANK.EQ", 2, 3)
def _rank_of(call: Call, value: Any, area: Any, order: Any = 0.0) -> Any:
    values = numbers(call, [area])
    rising = to_number(call.scalar(order)) != 0

    def rank(number: Any) -> float:
        wanted = to_number(number)
        if not any(approx_equal(wanted, v) for v in values):
            raise Unevaluable("RANK of a value that is not listed differs between spreadsheets")
        before = sum((v < wanted if rising else v > wanted) and not approx_equal(v, wanted) for v in values)
        return float(before + 1)

    return lift(rank, [call.scalar(value)])


@whole("MODE MODE.SNGL", 1)
def _mode(call: Call, *arguments: Any) -> float:
    values = numbers(call, arguments)
    if len(set(values)) == len(values):
        raise Fault(NA)
    modes = statistics.multimode(values)
    if len(modes) > 1:
        raise Unevaluable("MODE of values that tie differs between spreadsheets")
    return modes[0]


@whole("FREQUENCY", 2, 2, array=True)
def _frequency(call: Call, data: Any, bins: Any) -> list[list[float]]:
    values = numbers(call, [data])
    limits = numbers(call, [bins])
    if limits != sorted(limits):
        raise Unevaluable("the bins of FREQUENCY are not in rising order")
    counts = [0] * (len(limits) + 1)
    for value in values:
        counts[next((i for i, limit in enumerate(limits) if value <= limit), len(limits))] += 1
    return [[float(count)] for count in counts]


def _pairs(call: Call, ys: Any, xs: Any) -> tuple[list[float], list[float]]:
    first, second = call.flat(ys), call.flat(xs)
    if len(first) != len(second):
        raise Fault(NA)
    for value in (*first, *second):
        if isinstance(value, CellError):
            raise Fault(value)
    kept = [(float(y), float(x)) for y, x in zip(first, second, strict=True) if is_number(y) and is_number(x)]
    if not kept:
        raise Fault(DIV0)
    return [y for y, _ in kept], [x for _, x in kept]


def _line(ys: list[float], xs: list[float]) -> tuple[float, float]:
    mean_y, mean_x = math.fsum(ys) / len(ys), math.fsum(xs) / len(xs)
    spread = _squares(xs)
    if spread == 0:
        raise Fault(DIV0)
    slope = math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    return slope, mean_y - slope * mean_x


@whole("SLOPE", 2, 2)
def _slope(call: Call, ys: Any, xs: Any) -> float:
    return _line(*_pairs(call, ys, xs))[0]


@whole("INTERCEPT", 2, 2)
def _intercept(call: Call, ys: Any, xs: Any) -> float:
    return _line(*_pairs(call, ys, xs))[1]


@whole("FORECAST FORECAST.LINEAR", 3, 3)
def _forecast(call: Call, at: Any, ys: Any, xs: Any) -> float:
    slope, intercept = _line(*_pairs(call, ys, xs))
    return intercept + slope * to_number(call.scalar(at))


def _correlation(call: Call, ys: Any, xs: Any) -> float:
    y, x = _pairs(call, ys, xs)
    spread = math.sqrt(_squares(y) * _squares(x))
    if spread == 0:
        raise Fault(DIV0)
    return _line(y, x)[0] * _squares(x) / spread


@whole("CORREL PEARSON", 2, 2)
def _correl(call: Call, ys: Any, xs: Any) -> float:
    return _correlation(call, ys, xs)


@whole("RSQ", 2, 2)
def _r_squared(call: Call, ys: Any, xs: Any) -> float:
    return _correlation(call, ys, xs) ** 2


NORMAL = statistics.NormalDist()


def _inverse_normal(share: float) -> float:
    if not 0 < share < 1:
        raise Fault(NUM)
    return NORMAL.inv_cdf(share)


@elementwise("NORM.S.INV NORMSINV", "n")
def _normal_inverse(share: float) -> float:
    return _inverse_normal(share)


@elementwise("NORM.INV NORMINV", "nnn")
def _normal_inverse_of(share: float, mean: float, deviation: float) -> float:
    if deviation <= 0:
        raise Fault(NUM)
    return mean + deviation * _inverse_normal(share)


@elementwise("NORMSDIST", "n")
def _normal_share(z: float) -> float:
    return math.erfc(-z / math.sqrt(2)) / 2


@elementwise("NORM.S.DIST", "nb")
def _normal_standard(z: float, cumulative: bool) -> float:
    return _normal_share(z) if cumulative else NORMAL.pdf(z)


@elementwise("NORM.DIST NORMDIST", "nnnb")
def _normal(x: float, mean: float, deviation: float, cumulative: bool) -> float:
    if deviation <= 0:
        raise Fault(NUM)
    z = (x - mean) / deviation
    return _normal_share(z) if cumulative else NORMAL.pdf(z) / deviation


# -- arithmetic ---------------------------------------------------------------------------------

for _names, _compute_one in {
    "ABS": abs,
    "SQRT": math.sqrt,
    "EXP": math.exp,
    "LN": math.log,
    "LOG10": math.log10,
    "SIN": math.sin,
    "COS": math.cos,
    "TAN": math.tan,
    "ASIN": math.asin,
    "ACOS": math.acos,
    "ATAN": math.atan,
    "SINH": math.sinh,
    "COSH": math.cosh,
    "TANH": math.tanh,
    "DEGREES": math.degrees,
    "RADIANS": math.radians,
    "SIGN": lambda x: float((x > 0) - (x < 0)),
    "INT": lambda x: float(math.floor(snap(x))),
    "EVEN": lambda x: math.copysign(2.0 * math.ceil(snap(abs(x) / 2)), x),
    "ODD": lambda x: math.copysign(max(2.0 * math.ceil(snap((abs(x) + 1) / 2)) - 1, 1.0), x),
    "FACT": lambda x: float(math.factorial(int(x))) if x < 171 else math.inf,
    "ISEVEN": lambda x: int(abs(x)) % 2 == 0,
    "ISODD": lambda x: int(abs(x)) % 2 == 1,
}.items():
    elementwise(_names, "n")(_compute_one)

elementwise("POWER", "nn")(power)
elementwise("PI", "")(lambda: math.pi)
elementwise("TRUE", "")(lambda: True)
elementwise("FALSE", "")(lambda: False)
elementwise("NA", "")(lambda: NA)


@elementwise("ATAN2", "nn")
def _atan2(x: float, y: float) -> float:
    if x == 0 and y == 0:
        raise Fault(DIV0)
    return math.atan2(y, x)


@elementwise("LOG", "nn", 1)
def _log(x: float, base: float = 10.0) -> float:
    if base == 1:
        raise Fault(DIV0)
    return math.log10(x) if base == 10 else math.log(x) / math.log(base)


@elementwise("ROUND", "nn")
def _round(x: float, digits: float) -> float:
    return round_half_away(x, int(digits))


def _towards_zero(x: float, digits: int) -> float:
    scale = 10.0 ** abs(digits)
    shifted = snap(x * scale if digits >= 0 else x / scale)
    cut = float(math.trunc(shifted))
    return cut / scale if digits >= 0 else cut * scale


@elementwise("ROUNDDOWN TRUNC", "nn", 1)
def _round_down(x: float, digits: float = 0) -> float:
    return _towards_zero(x, int(digits))


@elementwise("ROUNDUP", "nn")
def _round_up(x: float, digits: float) -> float:
    places = int(digits)
    scale = 10.0 ** abs(places)
    shifted = snap(abs(x) * scale if places >= 0 else abs(x) / scale)
    cut = math.copysign(float(math.ceil(shifted)), x)
    return cut / scale if places >= 0 else cut * scale


@elementwise("CEILING", "nn")
def _ceiling(x: float, step: float) -> float:
    if step == 0 or x == 0:
        return 0.0
    if x > 0 > step:
        raise Fault(NUM)
    return math.ceil(snap(x / step)) * step


@elementwise("FLOOR", "nn")
def _floor(x: float, step: float) -> float:
    if x == 0:
        return 0.0
    if step == 0:
        raise Fault(DIV0)
    if x > 0 > step:
        raise Fault(NUM)
    return math.floor(snap(x / step)) * step


@elementwise("CEILING.MATH", "nnn", 1)
def _ceiling_math(x: float, step: float = 1.0, mode: float = 0.0) -> float:
    step = abs(step)
    if step == 0:
        return 0.0
    rounded = math.floor if x < 0 and mode else math.ceil
    return rounded(snap(x / step)) * step


@elementwise("FLOOR.MATH", "nnn", 1)
def _floor_math(x: float, step: float = 1.0, mode: float = 0.0) -> float:
    step = abs(step)
    if step == 0:
        return 0.0
    rounded = math.ceil if x < 0 and mode else math.floor
    return rounded(snap(x / step)) * step


@elementwise("MROUND", "nn")
def _to_multiple(x: float, step: float) -> float:
    if step == 0 or x == 0:
        return 0.0
    if x * step < 0:
        raise Fault(NUM)
    return round_half_away(x / step, 0) * step


@elementwise("MOD", "nn")
def _mod(x: float, divisor: float) -> float:
    if divisor == 0:
        raise Fault(DIV0)
    return approx_add(x, -math.floor(snap(x / divisor)) * divisor)


@elementwise("QUOTIENT", "nn")
def _quotient(x: float, divisor: float) -> float:
    if divisor == 0:
        raise Fault(DIV0)
    return float(math.trunc(snap(x / divisor)))


# -- choosing -----------------------------------------------------------------------------------


def _branch(call: Call, code: Any) -> Any:
    value = call.run(code)
    return 0.0 if value is MISSING else value


@lazy("IF", 2, 3)
def _if(call: Call, test: Any, then: Any, otherwise: Any = None) -> Any:
    condition = call.scalar(call.run(test))
    if isinstance(condition, list):
        yes = call.scalar(_branch(call, then))
        no = False if otherwise is None else call.scalar(_branch(call, otherwise))
        return lift(lambda c, a, b: a if to_flag(c) else b, [condition, yes, no])
    if to_flag(condition):
        return _branch(call, then)
    return False if otherwise is None else _branch(call, otherwise)


@lazy("IFS", 2)
def _ifs(call: Call, *codes: Any) -> Any:
    if len(codes) % 2:
        return VALUE
    for test, then in zip(codes[::2], codes[1::2], strict=True):
        condition = call.scalar(call.run(test))
        if isinstance(condition, list):
            raise Unevaluable("IFS over an array is not computed here")
        if to_flag(condition):
            return _branch(call, then)
    return NA


@lazy("SWITCH", 3)
def _switch(call: Call, subject: Any, *codes: Any) -> Any:
    value = call.scalar(call.run(subject))
    if isinstance(value, list):
        raise Unevaluable("SWITCH over an array is not computed here")
    for i in range(0, len(codes) - 1, 2):
        if compare(value, call.scalar(call.run(codes[i]))) == 0:
            return _branch(call, codes[i + 1])
    return _branch(call, codes[-1]) if len(codes) % 2 else NA


def _instead(call: Call, value: Any, code: Any, is_bad: Callable[[Any], bool]) -> Any:
    if isinstance(value, list):
        if not any(is_bad(v) for row in value for v in row):
            return value
        other = call.scalar(_branch(call, code))
        return lift(lambda v, o: o if is_bad(v) else v, [value, other])
    return _branch(call, code) if is_bad(value) else value


@lazy("IFERROR", 2, 2)
def _if_error(call: Call, first: Any, other: Any) -> Any:
    value = call.scalar(_branch(call, first))
    return _instead(call, value, other, lambda v: isinstance(v, CellError))


@lazy("IFNA", 2, 2)
def _if_na(call: Call, first: Any, other: Any) -> Any:
    return _instead(call, call.scalar(_branch(call, first)), other, lambda v: _is_error(v, NA))


def _is_error(value: Any, error: CellError) -> bool:
    return isinstance(value, CellError) and str(value) == str(error)


@lazy("CHOOSE", 2)
def _choose(call: Call, index: Any, *codes: Any) -> Any:
    number = call.scalar(call.run(index))
    if isinstance(number, list):
        raise Unevaluable("CHOOSE over an array of places is not computed here")
    place = int(to_number(number))
    if not 1 <= place <= len(codes):
        return VALUE
    return _branch(call, codes[place - 1])


def _flags(call: Call, arguments: Iterable[Any]) -> list[bool]:
    found: list[bool] = []
    for argument in arguments:
        if isinstance(argument, Area | Areas | list):
            for value in call.flat(argument):
                if isinstance(value, CellError):
                    raise Fault(value)
                if value is not None and not isinstance(value, str):
                    found.append(bool(value))
        else:
            found.append(to_flag(argument))
    if not found:
        raise Fault(VALUE)
    return found


@whole("AND", 1)
def _and(call: Call, *arguments: Any) -> bool:
    return all(_flags(call, arguments))


@whole("OR", 1)
def _or(call: Call, *arguments: Any) -> bool:
    return any(_flags(call, arguments))


@whole("XOR", 1)
def _xor(call: Call, *arguments: Any) -> bool:
    return sum(_flags(call, arguments)) % 2 == 1


elementwise("NOT", "b")(lambda flag: not flag)


for _names, _test in {
    "ISERROR": lambda v: isinstance(v, CellError),
    "ISERR": lambda v: isinstance(v, CellError) and not _is_error(v, NA),
    "ISNA": lambda v: _is_error(v, NA),
    "ISNUMBER": is_number,
    "ISTEXT": lambda v: isinstance(v, str) and not isinstance(v, CellError),
    "ISNONTEXT": lambda v: not isinstance(v, str) or isinstance(v, CellError),
    "ISLOGICAL": lambda v: isinstance(v, bool),
    "ISBLANK": lambda v: v is None,
}.items():
    elementwise(_names, "x")(_test)


ERROR_NUMBERS = ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A")


@elementwise("ERROR.TYPE", "x")
def _error_type(value: Any) -> float:
    if isinstance(value, CellError) and str(value) in ERROR_NUMBERS:
        return float(ERROR_NUMBERS.index(str(value)) + 1)
    raise Fault(NA)


@elementwise("N", "v")
def _n(value: Any) -> float:
    return 0.0 if value is None or isinstance(value, str) else float(value)


@elementwise("T", "v")
def _t(value: Any) -> str:
    return value if isinstance(value, str) else ""


# -- conditions ---------------------------------------------------------------------------------

CRITERION = re.compile(r"^(<=|>=|<>|<|>|=)?(.*)$", re.DOTALL)


class Wildcard:
    """A text with `*`, `?` and `~`, matched piece by piece so that no pattern takes long."""

    def __init__(self, pattern: str):
        pieces: list[list[str]] = [[]]
        i = 0
        while i < len(pattern):
            character = pattern[i]
            if character == "~" and pattern[i + 1 : i + 2] in ("*", "?", "~"):
                i += 1
                pieces[-1].append(re.escape(pattern[i]))
            elif character == "*":
                pieces.append([])
            else:
                pieces[-1].append("." if character == "?" else re.escape(character))
            i += 1
        flags = re.IGNORECASE | re.DOTALL
        self.pieces = [re.compile("".join(piece), flags) for piece in pieces]
        self.sizes = [len(piece) for piece in pieces]

    def fullmatch(self, text: str) -> bool:
        """Whether the whole text fits."""
        if len(self.pieces) == 1:
            return self.pieces[0].fullmatch(text) is not None
        end = len(text) - self.sizes[-1]
        if end < self.sizes[0] or not self.pieces[0].match(text):
            return False
        at = self._walk(text, self.pieces[1:-1], self.sizes[0])
        return at is not None and at <= end and self.pieces[-1].match(text, end) is not None

    def search(self, text: str, start: int) -> int | None:
        """The first place at or after `start` where the pattern begins."""
        match = self.pieces[0].search(text, start)
        if match is None or self._walk(text, self.pieces[1:], match.end()) is None:
            return None
        return match.start()

    @staticmethod
    def _walk(text: str, pieces: Sequence[re.Pattern[str]], at: int) -> int | None:
        for piece in pieces:
            match = piece.search(text, at)
            if match is None:
                return None
            at = match.end()
        return at


@lru_cache(maxsize=1024)
def wildcard(pattern: str) -> Wildcard | None:
    """The matcher of a text with `*`, `?` or `~`, None where it has none."""
    return Wildcard(pattern) if any(mark in pattern for mark in "*?~") else None


def criterion(wanted: Any) -> Callable[[Any], bool]:
    """The test of a SUMIF condition such as `">=5"`, `"a*"` or 3."""
    sign, value = "=", _raw(wanted)
    if isinstance(value, CellError):
        return lambda v: _is_error(v, value)
    if value is None:
        value = 0.0
    elif isinstance(value, str):
        match = CRITERION.match(value)
        assert match is not None
        sign, text = match[1] or "=", match[2]
        if not text:
            if match[1] == "<>":
                return lambda v: v is not None and v != ""
            if match[1] == "=":
                return lambda v: v is None
            if match[1]:
                return lambda v: False
            return lambda v: v is None or v == ""
        value = _criterion_value(text)
    if isinstance(value, str):
        return _text_test(sign, value)
    orders = {"=": (0,), "<>": (-1, 1), "<": (-1,), ">": (1,), "<=": (-1, 0), ">=": (0, 1)}[sign]
    rank = _rank(value)

    def test(v: Any) -> bool:
        if v is None or isinstance(v, CellError) or _rank(v) != rank:
            return sign == "<>"
        return compare(v, value) in orders

    return test


def _criterion_value(text: str) -> Any:
    if text.upper() in ("TRUE", "FALSE"):
        return text.upper() == "TRUE"
    if text.upper() in ERROR_NUMBERS:
        return CellError(text.upper())
    number = read_number(text)
    return text if number is None else number


def _text_test(sign: str, value: str) -> Callable[[Any], bool]:
    if isinstance(value, CellError):
        return lambda v: _is_error(v, value) == (sign == "=")
    pattern = wildcard(value)
    folded = value.casefold()

    def is_text(v: Any) -> bool:
        return isinstance(v, str) and not isinstance(v, CellError)

    def same(v: Any) -> bool:
        return is_text(v) and bool(pattern.fullmatch(v) if pattern else v.casefold() == folded)

    if sign == "=":
        return same
    if sign == "<>":
        return lambda v: not same(v)
    return {
        "<": lambda v: is_text(v) and v.casefold() < folded,
        ">": lambda v: is_text(v) and v.casefold() > folded,
        "<=": lambda v: is_text(v) and v.casefold() <= folded,
        ">=": lambda v: is_text(v) and v.casefold() >= folded,
    }[sign]


def _area(value: Any) -> Area:
    if isinstance(value, CellError):
        raise Fault(value)
    if not isinstance(value, Area):
        raise Unevaluable("a condition over something that is not a range is not computed here")
    return value


def _same_shape(area: Area, model: Area) -> Area:
    return area._replace(
        bottom=min(area.top + model.rows - 1, MAX_ROW), right=min(area.left + model.columns - 1, MAX_COLUMN)
    )


def _chosen(call: Call, pairs: Sequence[tuple[Area, Any]], values: Area) -> list[Any]:
    """The values in the places where every condition holds."""
    keep: list[bool] | None = None
    for area, wanted in pairs:
        test = criterion(wanted)
        marks = [test(value) for value in call.flat(area)]
        keep = marks if keep is None else [a and b for a, b in zip(keep, marks, strict=True)]
    assert keep is not None
    return [value for value, kept in zip(call.flat(values), keep, strict=False) if kept]


def _sum_of(values: list[Any]) -> float:
    for value in values:
        if isinstance(value, CellError):
            raise Fault(value)
    return total([float(value) for value in values if is_number(value)])


def _mean_of(values: list[Any]) -> float:
    found = [value for value in values if is_number(value) or isinstance(value, CellError)]
    if not found:
        raise Fault(DIV0)
    return _sum_of(found) / len(found)


def _extreme(pick: Callable[..., float]) -> Callable[[list[Any]], float]:
    def extreme(values: list[Any]) -> float:
        for value in values:
            if isinstance(value, CellError):
                raise Fault(value)
        return pick([float(value) for value in values if is_number(value)], default=0.0)

    return extreme


def _declare_condition(name: str, compute: Callable[[list[Any]], float]) -> None:
    @whole(name, 2, 3)
    def conditional(call: Call, area: Any, wanted: Any, values: Any = MISSING) -> Any:
        area = _area(area)
        target = area if values is MISSING else _same_shape(_area(values), area)
        return lift(lambda w: compute(_chosen(call, [(area, w)], target)), [call.scalar(wanted)])


def _declare_conditions(name: str, compute: Callable[[list[Any]], float], counts: bool) -> None:
    @whole(name, 2 if counts else 3)
    def conditional(call: Call, *arguments: Any) -> Any:
        rest = arguments if counts else arguments[1:]
        if len(rest) % 2:
            raise Fault(VALUE)
        areas = [_area(area) for area in rest[::2]]
        target = areas[0] if counts else _area(arguments[0])
        if any((a.rows, a.columns) != (target.rows, target.columns) for a in areas):
            raise Fault(VALUE)
        wanted = [call.scalar(value) for value in rest[1::2]]
        return lift(lambda *w: compute(_chosen(call, list(zip(areas, w, strict=True)), target)), wanted)


_declare_condition("SUMIF", _sum_of)
_declare_condition("AVERAGEIF", _mean_of)
_declare_condition("COUNTIF", lambda values: float(len(values)))
_declare_conditions("SUMIFS", _sum_of, False)
_declare_conditions("AVERAGEIFS", _mean_of, False)
_declare_conditions("MAXIFS", _extreme(max), False)
_declare_conditions("MINIFS", _extreme(min), False)
_declare_conditions("COUNTIFS", lambda values: float(len(values)), True)


# -- looking up ---------------------------------------------------------------------------------


def _find_exact(wanted: Any, values: Sequence[Any], patterns: bool = True) -> int | None:
    """The first place of a value; texts may hold wildcards."""
    if isinstance(wanted, CellError):
        raise Fault(wanted)
    wanted = 0.0 if wanted is None or wanted is MISSING else wanted
    pattern = wildcard(wanted) if patterns and isinstance(wanted, str) else None
    for place, value in enumerate(values):
        if value is None or isinstance(value, CellError) or _rank(value) != _rank(wanted):
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
        if v is not None and not isinstance(v, CellError) and _rank(v) == _rank(wanted)
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
        if value is None or isinstance(value, CellError) or _rank(value) != _rank(wanted):
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


@whole("LOOKUP", 2, 3, array=True)
def _lookup(call: Call, wanted: Any, keys: Any, results: Any = MISSING) -> Any:
    rows, columns = _shape(call, keys)
    if results is MISSING:
        first = (0, None) if columns > rows else (None, 0)
        last = (rows - 1, None) if columns > rows else (None, columns - 1)
        results = _part(call, keys, *last)
        keys = _part(call, keys, *first)
    values, answers = call.flat(keys), call.flat(results)

    def find(value: Any) -> Any:
        place = _find_sorted(value, values)
        if place is None or place >= len(answers):
            raise Fault(NA)
        return answers[place]

    return lift(find, [call.scalar(wanted)])


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
        return found if not rest else _instead(call, found, rest[0], lambda v: _is_error(v, NA))
    place = place_of(subject)
    if place is not None:
        return _part(call, answers, *((place, None) if upright else (None, place)))
    if not rest or rest[0] == (("missing",),):
        return NA
    return _branch(call, rest[0])


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


@whole("MMULT", 2, 2, array=True)
def _matrix_product(call: Call, first: Any, second: Any) -> Any:
    a, b = call.block(first), call.block(second)
    if len(a[0]) != len(b):
        raise Fault(VALUE)
    for value in (v for block in (a, b) for row in block for v in row):
        if not is_number(value):
            raise Fault(value if isinstance(value, CellError) else VALUE)
    if len(a) * len(b[0]) * len(b) > MAX_BLOCK:
        raise Unevaluable("the product of matrices is too large")
    turned = list(zip(*b, strict=True))
    return [[math.fsum(x * y for x, y in zip(row, column, strict=True)) for column in turned] for row in a]


@whole("SEQUENCE", 1, 4)
def _sequence(call: Call, *arguments: Any) -> Any:
    given = [1.0 if a is MISSING else to_number(call.scalar(a)) for a in arguments]
    rows, columns, start, step = [*given, 1.0, 1.0, 1.0][:4]
    if rows < 1 or columns < 1:
        raise Fault(VALUE)
    if rows * columns > MAX_BLOCK:
        raise Unevaluable("the sequence is too large")
    width = int(columns)
    return [[start + step * (r * width + c) for c in range(width)] for r in range(int(rows))]


@whole("SINGLE", 1, 1)
def _single(call: Call, value: Any) -> Any:
    if isinstance(value, list):
        return value[0][0]
    return intersect_cell(call, value)


@whole("ANCHORARRAY", 1, 1)
def _anchor_array(call: Call, value: Any) -> Any:
    area = call.array_area(value) if isinstance(value, Area) else None
    if area is None:
        raise Fault(REF)
    return area


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


# -- texts --------------------------------------------------------------------------------------


def _count_of(number: float) -> int:
    if number < 0:
        raise Fault(VALUE)
    return int(number)


@elementwise("LEFT", "tn", 1)
def _left(text: str, count: float = 1) -> str:
    return text[: _count_of(count)]


@elementwise("RIGHT", "tn", 1)
def _right(text: str, count: float = 1) -> str:
    size = _count_of(count)
    return text[-size:] if size else ""


@elementwise("MID", "tnn")
def _mid(text: str, start: float, count: float) -> str:
    if start < 1:
        raise Fault(VALUE)
    return text[int(start) - 1 : int(start) - 1 + _count_of(count)]


@elementwise("LEN", "t")
def _len(text: str) -> float:
    return float(len(text))


@elementwise("TRIM", "t")
def _trim(text: str) -> str:
    return re.sub(" +", " ", text).strip(" ")


elementwise("UPPER", "t")(str.upper)
elementwise("LOWER", "t")(str.lower)
elementwise("EXACT", "tt")(lambda a, b: a == b)


@elementwise("PROPER", "t")
def _proper(text: str) -> str:
    return re.sub(r"[^\W\d_]+", lambda m: m[0][0].upper() + m[0][1:].lower(), text)


@elementwise("CLEAN", "t")
def _clean(text: str) -> str:
    return "".join(character for character in text if ord(character) >= 32)


@elementwise("CHAR UNICHAR", "n")
def _char(number: float) -> str:
    code = int(number)
    if not 1 <= code <= 0x10FFFF:
        raise Fault(VALUE)
    if 127 < code < 256:
        raise Unevaluable("CHAR above 127 depends on the character set of the system")
    return chr(code)


@elementwise("CODE UNICODE", "t")
def _code(text: str) -> float:
    if not text:
        raise Fault(VALUE)
    if ord(text[0]) > 127:
        raise Unevaluable("CODE above 127 depends on the character set of the system")
    return float(ord(text[0]))


@elementwise("REPT", "tn")
def _repeat(text: str, count: float) -> str:
    size = _count_of(count)
    if len(text) * size > numbertext.MAX_TEXT:
        raise Fault(VALUE)
    return text * size


@elementwise("SUBSTITUTE", "tttn", 3)
def _substitute(text: str, old: str, new: str, which: float | None = None) -> str:
    if which is not None and which < 1:
        raise Fault(VALUE)
    if not old:
        return text
    if which is None:
        return text.replace(old, new)
    place = -1
    for _ in range(int(which)):
        place = text.find(old, place + 1 if place < 0 else place + len(old))
        if place < 0:
            return text
    return text[:place] + new + text[place + len(old) :]


@elementwise("REPLACE", "tnnt")
def _replace(text: str, start: float, count: float, new: str) -> str:
    if start < 1:
        raise Fault(VALUE)
    at = int(start) - 1
    return text[:at] + new + text[at + _count_of(count) :]


@elementwise("FIND", "ttn", 2)
def _find(wanted: str, text: str, start: float = 1) -> float:
    if not 1 <= start <= len(text) + 1:
        raise Fault(VALUE)
    place = text.find(wanted, int(start) - 1)
    if place < 0:
        raise Fault(VALUE)
    return float(place + 1)


@elementwise("SEARCH", "ttn", 2)
def _search(wanted: str, text: str, start: float = 1) -> float:
    if not 1 <= start <= len(text) + 1:
        raise Fault(VALUE)
    place = Wildcard(wanted).search(text, int(start) - 1)
    if place is None:
        raise Fault(VALUE)
    return float(place + 1)


@elementwise("TEXT", "vt")
def _text(value: Any, code: str) -> str:
    if isinstance(value, str):
        number = read_number(value)
        value = value if number is None else number
    return numbertext.format_number(value, code)


@elementwise("FIXED", "nnb", 1)
def _fixed(number: float, digits: float = 2, plain: bool = False) -> str:
    places = int(digits)
    if places > 127:
        raise Fault(VALUE)
    rounded = round_half_away(number, places) + 0.0
    shown = max(places, 0)
    return f"{rounded:.{shown}f}" if plain else f"{rounded:,.{shown}f}"


@elementwise("VALUE", "v")
def _value(value: Any) -> float:
    if isinstance(value, bool):
        raise Fault(VALUE)
    return to_number(value)


@whole("CONCATENATE", 1)
def _concatenate(call: Call, *arguments: Any) -> Any:
    return lift(lambda *parts: "".join(map(to_text, parts)), [call.scalar(a) for a in arguments])


@whole("CONCAT", 1)
def _concat(call: Call, *arguments: Any) -> str:
    return "".join(to_text(value) for argument in arguments for value in call.flat(argument))


@whole("TEXTJOIN", 3)
def _text_join(call: Call, delimiter: Any, skip: Any, *arguments: Any) -> str:
    marks = [to_text(value) for value in call.flat(delimiter)] or [""]
    skip_blank = to_flag(call.scalar(skip))
    parts = [to_text(value) for argument in arguments for value in call.flat(argument)]
    if skip_blank:
        parts = [part for part in parts if part]
    out = []
    for i, part in enumerate(parts):
        out.append((marks[(i - 1) % len(marks)] if i else "") + part)
    return "".join(out)


@elementwise("HYPERLINK", "tv", 1)
def _hyperlink(target: str, shown: Any = None) -> Any:
    return target if shown is None else shown


# -- dates --------------------------------------------------------------------------------------


def _day(number: float) -> date:
    day = numbertext.day_of(number)
    if day is None:
        raise Fault(NUM)
    return day


@elementwise("DATE", "nnn", dates=True)
def _date(year: float, month: float, day: float) -> float:
    y, m, d = math.floor(year), math.floor(month), math.floor(day)
    if 0 <= y < 1900:
        if y < 100:
            raise Unevaluable("a year below 100 differs between spreadsheets")
        y += 1900
    y, m = y + (m - 1) // 12, (m - 1) % 12 + 1
    if not 1900 <= y <= 9999:
        raise Fault(NUM)
    return numbertext.serial(date(y, m, 1) + timedelta(days=d - 1))


@elementwise("TIME", "nnn", dates=True)
def _time(hour: float, minute: float, second: float) -> float:
    seconds = int(hour) * 3600 + int(minute) * 60 + int(second)
    if seconds < 0:
        raise Fault(NUM)
    return seconds % 86400 / 86400


for _names, _part_of in {
    "YEAR": lambda n: float(_day(n).year),
    "MONTH": lambda n: float(_day(n).month),
    "DAY": lambda n: float(_day(n).day),
    "HOUR": lambda n: float(numbertext.clock_of(n)[0]),
    "MINUTE": lambda n: float(numbertext.clock_of(n)[1]),
    "SECOND": lambda n: float(numbertext.clock_of(n)[2]),
    "ISOWEEKNUM": lambda n: float(_day(n).isocalendar().week),
}.items():
    elementwise(_names, "n", dates=True)(_part_of)


@elementwise("WEEKDAY", "nn", 1, dates=True)
def _weekday(number: float, kind: float = 1) -> float:
    day = _day(number).weekday()  # Monday is 0
    how = int(kind)
    if how == 3:
        return float(day)
    first = {1: 6, 2: 0}.get(how, how - 11 if 11 <= how <= 17 else -1)
    if first < 0:
        raise Fault(NUM)
    return float((day - first) % 7 + 1)


@elementwise("WEEKNUM", "nn", 1, dates=True)
def _week_number(number: float, kind: float = 1) -> float:
    day, how = _day(number), int(kind)
    if how == 21:
        return float(day.isocalendar().week)
    first = {1: 6, 2: 0}.get(how, how - 11 if 11 <= how <= 17 else -1)
    if first < 0:
        raise Fault(NUM)
    lead = (date(day.year, 1, 1).weekday() - first) % 7
    return float((day.timetuple().tm_yday - 1 + lead) // 7 + 1)


def _add_months(day: date, months: int) -> date:
    index = day.year * 12 + day.month - 1 + months
    year, month = index // 12, index % 12 + 1
    if not 1900 <= year <= 9999:
        raise Fault(NUM)
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


@elementwise("EDATE", "nn", dates=True)
def _edate(start: float, months: float) -> float:
    return numbertext.serial(_add_months(_day(start), int(months)))


@elementwise("EOMONTH", "nn", dates=True)
def _end_of_month(start: float, months: float) -> float:
    day = _add_months(_day(start), int(months))
    return numbertext.serial(day.replace(day=calendar.monthrange(day.year, day.month)[1]))


@elementwise("DAYS", "nn", dates=True)
def _days(end: float, start: float) -> float:
    if not (end.is_integer() and start.is_integer()):
        raise Unevaluable("DAYS of dates with a time of day differs between spreadsheets")
    return end - start


@elementwise("DATEVALUE", "t", dates=True)
def _date_value(text: str) -> float:
    if not numbertext.ISO_DATE.match(text.strip()):
        raise Unevaluable("DATEVALUE of a local date depends on the language of the program")
    return float(math.floor(to_number(text)))


@elementwise("TIMEVALUE", "t", dates=True)
def _time_value(text: str) -> float:
    return to_number(text) % 1


def _holidays(call: Call, value: Any) -> set[int]:
    return {int(number) for number in numbers(call, [value])} if value is not MISSING else set()


def _is_workday(day: int, holidays: set[int]) -> bool:
    return _day(float(day)).weekday() < 5 and day not in holidays


@whole("WORKDAY", 2, 3, dates=True)
def _workday(call: Call, start: Any, days: Any, holidays: Any = MISSING) -> Any:
    free = _holidays(call, holidays)

    def step(first: Any, count: Any) -> float:
        day, left = int(to_number(first)), int(to_number(count))
        if abs(left) > 100_000:
            raise Unevaluable("WORKDAY over more than 100,000 days is not computed here")
        move = 1 if left > 0 else -1
        while left:
            day += move
            left -= move * _is_workday(day, free)
        return float(day)

    return lift(step, [call.scalar(start), call.scalar(days)])


@whole("NETWORKDAYS", 2, 3, dates=True)
def _network_days(call: Call, start: Any, end: Any, holidays: Any = MISSING) -> Any:
    free = _holidays(call, holidays)

    def count(first: Any, last: Any) -> float:
        a, b = int(to_number(first)), int(to_number(last))
        if abs(b - a) > 200_000:
            raise Unevaluable("NETWORKDAYS over more than 200,000 days is not computed here")
        found = sum(_is_workday(day, free) for day in range(min(a, b), max(a, b) + 1))
        return float(found if a <= b else -found)

    return lift(count, [call.scalar(start), call.scalar(end)])
