"""IF, IFERROR, AND, ISNUMBER and other functions that choose and ask."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable
from .counting import is_number
from .declare import Call, elementwise, lazy, whole
from .values import MISSING, NA, VALUE, Area, Areas, Fault, compare, lift, to_flag, to_number


def run_branch(call: Call, code: Any) -> Any:
    """The value of the branch that was chosen; one that was left empty is 0."""
    value = call.run(code)
    return 0.0 if value is MISSING else value


@lazy("IF", 2, 3)
def _if(call: Call, test: Any, then: Any, otherwise: Any = None) -> Any:
    condition = call.scalar(call.run(test))
    if isinstance(condition, list):
        yes = call.scalar(run_branch(call, then))
        no = False if otherwise is None else call.scalar(run_branch(call, otherwise))
        return lift(lambda c, a, b: a if to_flag(c) else b, [condition, yes, no])
    if to_flag(condition):
        return run_branch(call, then)
    return False if otherwise is None else run_branch(call, otherwise)


@lazy("IFS", 2)
def _ifs(call: Call, *codes: Any) -> Any:
    if len(codes) % 2:
        return VALUE
    for test, then in zip(codes[::2], codes[1::2], strict=True):
        condition = call.scalar(call.run(test))
        if isinstance(condition, list):
            raise Unevaluable("IFS over an array is not computed here")
        if to_flag(condition):
            return run_branch(call, then)
    return NA


@lazy("SWITCH", 3)
def _switch(call: Call, subject: Any, *codes: Any) -> Any:
    value = call.scalar(call.run(subject))
    if isinstance(value, list):
        raise Unevaluable("SWITCH over an array is not computed here")
    for i in range(0, len(codes) - 1, 2):
        if compare(value, call.scalar(call.run(codes[i]))) == 0:
            return run_branch(call, codes[i + 1])
    return run_branch(call, codes[-1]) if len(codes) % 2 else NA


def replace_bad(call: Call, value: Any, code: Any, is_bad: Callable[[Any], bool]) -> Any:
    """A value, with `code` evaluated in the places where it is bad, and only then."""
    if isinstance(value, list):
        if not any(is_bad(v) for row in value for v in row):
            return value
        other = call.scalar(run_branch(call, code))
        return lift(lambda v, o: o if is_bad(v) else v, [value, other])
    return run_branch(call, code) if is_bad(value) else value


@lazy("IFERROR", 2, 2)
def _if_error(call: Call, first: Any, other: Any) -> Any:
    value = call.scalar(run_branch(call, first))
    return replace_bad(call, value, other, lambda v: isinstance(v, CellError))


@lazy("IFNA", 2, 2)
def _if_na(call: Call, first: Any, other: Any) -> Any:
    return replace_bad(call, call.scalar(run_branch(call, first)), other, lambda v: is_error(v, NA))


def is_error(value: Any, error: CellError) -> bool:
    """Whether a value is this error."""
    return isinstance(value, CellError) and str(value) == str(error)


@lazy("CHOOSE", 2)
def _choose(call: Call, index: Any, *codes: Any) -> Any:
    number = call.scalar(call.run(index))
    if isinstance(number, list):
        raise Unevaluable("CHOOSE over an array of places is not computed here")
    place = int(to_number(number))
    if not 1 <= place <= len(codes):
        return VALUE
    return run_branch(call, codes[place - 1])


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


elementwise("NOT", "b")(lambda flag: not flag)


for _names, _test in {
    "ISERROR": lambda v: isinstance(v, CellError),
    "ISNA": lambda v: is_error(v, NA),
    "ISNUMBER": is_number,
    "ISTEXT": lambda v: isinstance(v, str) and not isinstance(v, CellError),
    "ISBLANK": lambda v: v is None,
}.items():
    elementwise(_names, "x")(_test)


ERROR_NUMBERS = ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A")
