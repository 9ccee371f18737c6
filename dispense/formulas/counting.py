"""SUM, AVERAGE, SUBTOTAL and other functions of many cells."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable
from .declare import FUNCTIONS, Call, elementwise, whole
from .numbertext import read_number, snap
from .values import DIV0, NA, NUM, VALUE, Area, Areas, Fault, approx_add, lift, to_number


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


NORMAL = statistics.NormalDist()


@elementwise("NORM.S.INV NORMSINV", "n")
def _normal_inverse(share: float) -> float:
    if not 0 < share < 1:
        raise Fault(NUM)
    return NORMAL.inv_cdf(share)
