"""What Calc hands to the add-in and what it takes back.

Calc gives None for an argument left out, a float for a number (TRUE and FALSE are 1 and 0), a text,
or a tuple of rows for a range, in which a blank cell is an empty text. It takes rows of floats and
texts. An error is a float too: a NaN that carries Calc's error number in its low 32 bits.
"""

from __future__ import annotations

import struct
import warnings
from collections.abc import Callable, Sequence
from itertools import chain
from typing import Any

import numpy as np

from ...base.errors import VALUE
from ...base.fields import CellError
from ...handbook.catalogue import evaluate
from ...handbook.declare import Function
from ...handbook.evaluate import keep_fault, loud_scalar
from .dispense_errors import ERROR_NUMBERS

# the functions turn what is no number into an error cell; numpy need not tell it on a terminal too
warnings.filterwarnings("ignore", category=RuntimeWarning, module=r"dispense\.")

_BLOCK = 4096  # rows that are compared in one step
WHOLE_COLUMN = 1_048_576  # rows of a sheet: a range of that height is one of whole columns


def error_value(text: str) -> float:
    """The NaN that Calc shows as this error."""
    number = ERROR_NUMBERS.get(text, ERROR_NUMBERS[VALUE])
    return struct.unpack("<d", struct.pack("<Q", 0x7FF8_0000_0000_0000 | number))[0]


_ERRORS = {text: error_value(text) for text in ERROR_NUMBERS}
_VALUE = _ERRORS[VALUE]


def _cell(value: Any) -> float | str:
    if value is None:
        return ""
    if isinstance(value, CellError):
        return _ERRORS.get(value, _VALUE)
    if isinstance(value, str):
        return value
    try:
        return float(value)
    except (TypeError, ValueError):
        return str(value)


def _argument(value: Any) -> Any:
    """An argument as the registry takes it: None for blank, an array for a range of numbers."""
    if type(value) is not tuple:
        return None if value == "" else value
    if len(value) == WHOLE_COLUMN:
        value = value[: used_rows(value)]
    cells = list(chain.from_iterable(value))
    if set(map(type, cells)) == {float}:
        return np.array(cells).reshape(len(value), -1)
    return value


def used_rows(rows: Sequence[Sequence[Any]]) -> int:
    """How many rows there are down to the last that is not blank, at least one."""
    blank = ("",) * len(rows[0])
    count = len(rows)
    block = (blank,) * _BLOCK
    while (
        count > _BLOCK and rows[count - _BLOCK : count] == block
    ):  # many at once, as a whole column asks for
        count -= _BLOCK
    while count > 1 and rows[count - 1] == blank:
        count -= 1
    return count


def rows_of(function: Function, arguments: Sequence[Any]) -> tuple[tuple[float | str, ...], ...]:
    """The cells that a call fills, at least one."""
    try:
        evaluation = evaluate(function, [_argument(value) for value in arguments])
        if evaluation.codes is None and len(evaluation.values) == 1 and not function.table:
            found = np.asarray(evaluation.values[0])
            if found.dtype.kind == "f" and found.shape[1:] == (1,):  # the usual column, rows at once
                return tuple(zip(found.ravel().tolist()))
        table = evaluation.table()
        if evaluation.codes is None and len(table) > 1 and not function.table:
            return tuple(map(tuple, table))
        return tuple(tuple(map(_cell, row)) for row in table)
    except Exception as error:  # nothing may leave as text or silence; the reason is kept
        keep_fault(function, error)
        return ((_VALUE,),)


def method(function: Function) -> Callable[..., tuple]:
    """The add-in's method for a function; a single cell takes the registry's short way."""
    several = len(function.returns) > 1
    if not function.is_elementwise:
        return lambda self, *arguments: rows_of(function, arguments)

    def compute(self: Any, *arguments: Any) -> tuple:
        try:
            value = loud_scalar(function, arguments)
        except Exception:  # the long way comes upon it again and keeps the reason
            value = None
        if value is None:
            return rows_of(function, arguments)
        return (tuple(map(float, value)),) if several else ((float(value),),)

    return compute
