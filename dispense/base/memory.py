"""Answers of long calculations kept by what they were asked with, arrays by their content.

A plan that is edited asks most of its questions again with the very same numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import fields, is_dataclass
from functools import lru_cache, wraps
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np

from .errors import DispenseError

__all__ = ["forget_all", "remembered"]

_P = ParamSpec("_P")
_R = TypeVar("_R")


class _Call:
    """The arguments of a call, equal where their content is."""

    __slots__ = ("arguments", "content", "key")

    def __init__(self, arguments: tuple[Any, ...]) -> None:
        self.arguments = arguments
        self.content = _content(arguments)
        self.key = hash(self.content)

    def __hash__(self) -> int:
        return self.key

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Call) and self.content == other.content


def _content(value: Any) -> Hashable:
    """What a value is made of: type and content, so that 1, 1.0 and True are three."""
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, value.tobytes()
    if isinstance(value, tuple | list):
        return type(value), *map(_content, value)
    if is_dataclass(value):
        return type(value), *(_content(getattr(value, item.name)) for item in fields(value) if item.compare)
    kept: Hashable = value
    return type(value), kept


def remembered(most: int) -> Callable[[Callable[_P, _R]], Callable[_P, _R]]:
    """Keep the last `most` answers of a function whose arguments, by place, hold numbers, texts, arrays,
    and dataclasses, tuples or lists of them.

    Fields that are left out of the comparison of a dataclass are left out here too. The answer is handed
    out again and must not be changed.

    >>> asked = []
    >>> @remembered(8)
    ... def total(values):
    ...     asked.append(1)
    ...     return float(values.sum())
    >>> total(np.array([1.0, 2.0])), total(np.array([1.0, 2.0])), len(asked)
    (3.0, 3.0, 1)
    """

    def around(function: Callable[_P, _R]) -> Callable[_P, _R]:
        @lru_cache(maxsize=most)
        def answer(call: _Call) -> tuple[_R | None, DispenseError | None]:
            try:
                return function(*call.arguments), None  # type: ignore[call-arg]
            except DispenseError as error:  # kept too: that there is no answer may take long to find
                return None, error
            finally:
                call.arguments = ()  # the content is kept, and nothing that hangs on them

        @wraps(function)
        def ask(*arguments: _P.args, **named: _P.kwargs) -> _R:
            if named:
                return function(*arguments, **named)
            found, error = answer(_Call(arguments))
            if error is not None:
                raise error.with_traceback(None)
            return cast(_R, found)

        _KEPT.append(answer.cache_clear)
        return ask

    return around


_KEPT: list[Callable[[], None]] = []


def forget_all() -> None:
    """Begin anew, as a test of what is remembered must."""
    for forget in _KEPT:
        forget()
