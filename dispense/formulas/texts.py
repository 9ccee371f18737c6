"""LEFT, SUBSTITUTE, TEXT and other functions of texts."""

from __future__ import annotations

import re
from typing import Any

from ..xlsx.formula_text import Unevaluable
from . import numbertext
from .conditions import Wildcard
from .declare import Call, elementwise, whole
from .number_forms import format_number
from .numbertext import read_number
from .values import VALUE, Fault, lift, to_flag, to_number, to_text


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


@elementwise("CHAR UNICHAR", "n")
def _char(number: float) -> str:
    code = int(number)
    if not 1 <= code <= 0x10FFFF:
        raise Fault(VALUE)
    if 127 < code < 256:
        raise Unevaluable("CHAR above 127 depends on the character set of the system")
    return chr(code)


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
    return format_number(value, code)


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
