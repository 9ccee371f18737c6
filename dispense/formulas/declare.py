"""How a standard function is declared, and what it may ask of the evaluation that calls it.

`elementwise`: scalars in, a scalar out; arrays broadcast. `whole`: takes ranges as they are. `lazy`:
gets its arguments unevaluated.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from .values import CONVERT, DIV0, NUM, Fault, checked, lift


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
