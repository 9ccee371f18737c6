"""SUMIF, COUNTIFS and other functions with a condition such as `">=5"` or `"a*"`."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable
from ..xlsx.package import MAX_COLUMN, MAX_ROW
from .choosing import ERROR_NUMBERS, is_error
from .counting import is_number, total
from .declare import Call, whole
from .numbertext import read_number
from .values import DIV0, MISSING, VALUE, Area, Fault, compare, given_or_none, lift, rank

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
    sign, value = "=", given_or_none(wanted)
    if isinstance(value, CellError):
        return lambda v: is_error(v, value)
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
    kind = rank(value)

    def test(v: Any) -> bool:
        if v is None or isinstance(v, CellError) or rank(v) != kind:
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
        return lambda v: is_error(v, value) == (sign == "=")
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
