"""Formulas read into short programs that `evaluate` can run.

The tokens (see `xlsx.formula_text`) become reverse Polish code, so that long formulas need no
recursion. Precedence is the spreadsheet's: `-2^2` is 4 and `2^3^2` is 64.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

from openpyxl.formula.tokenizer import Token
from openpyxl.utils import column_index_from_string

from ..base.fields import CellError
from ..xlsx.formula_text import Unevaluable, split_sheet, table_part, tokens
from ..xlsx.package import MAX_COLUMN, MAX_ROW

MAX_NESTING = 64  # functions inside functions, the limit of the file format


class Corner(NamedTuple):
    """One end of a reference; None where the reference is a whole row or column."""

    row: int | None
    row_fixed: bool
    column: int | None
    column_fixed: bool


class CellsAt(NamedTuple):
    """A written cell or range, before it is moved to the cell that uses it."""

    sheet: str | None
    first: Corner
    last: Corner


@dataclass(frozen=True)
class Program:
    """A formula as reverse Polish code; `functions` are the names that it calls, as written."""

    code: tuple[tuple[Any, ...], ...]
    functions: frozenset[str] = frozenset()


PRECEDENCE = {
    ":": 9,
    "intersect": 8,
    "union": 7,
    "negative": 6,
    "positive": 6,
    "^": 4,
    "*": 3,
    "/": 3,
    "+": 2,
    "-": 2,
    "&": 1,
    "=": 0,
    "<>": 0,
    "<": 0,
    ">": 0,
    "<=": 0,
    ">=": 0,
}
PERCENT = 5
NUMBER = re.compile(r"^(\d+\.?\d*|\.\d+)([Ee][+-]?\d+)?$")
CELL = re.compile(r"^(\$?)([A-Za-z]{1,3})(\$?)([0-9]{1,7})$")
COLUMN = re.compile(r"^(\$?)([A-Za-z]{1,3})$")
ROW = re.compile(r"^(\$?)([0-9]{1,7})$")
NAME = re.compile(r"^[^\W\d][\w.?\\]*$|^\\[\w.?\\]*$")


@dataclass
class _Frame:
    """The part of a formula between a bracket and its partner."""

    kind: str  # "top", "paren", "function", "array"
    name: str = ""
    code: list[tuple[Any, ...]] = field(default_factory=list)
    operators: list[str] = field(default_factory=list)
    done: list[Any] = field(default_factory=list)  # arguments, or the constants of an array row
    rows: list[list[Any]] = field(default_factory=list)
    has_value: bool = False  # the last thing read was the end of an operand
    gap: bool = False  # whitespace since then
    is_empty: bool = True  # nothing between this separator and the one before


class _Parser:
    def __init__(self, formula: str):
        self.formula = formula
        self.frames = [_Frame("top")]
        self.functions: set[str] = set()

    def parse(self) -> Program:
        for token in tokens(self.formula):
            self.take(token)
        frame = self.frames[-1]
        if frame.kind != "top":
            raise self.wrong("a bracket is not closed")
        self.finish(frame)
        return Program(tuple(frame.code), frozenset(self.functions))

    def wrong(self, why: str) -> Unevaluable:
        return Unevaluable(f"the formula cannot be read: {why}")

    def take(self, token: Token) -> None:
        frame = self.frames[-1]
        value = token.value
        if token.type == Token.WSPACE or not value.strip():
            frame.gap = True
        elif token.type == Token.OPERAND:
            self.operand(value.strip(), token.subtype)
        elif token.type in (Token.FUNC, Token.PAREN, Token.ARRAY):
            if token.subtype == Token.OPEN:
                self.open(token)
            else:
                self.close()
        elif token.type == Token.SEP:
            self.separator(value)
        elif token.type == Token.OP_POST:
            self.percent(frame)
        elif token.type in (Token.OP_PRE, Token.OP_IN):
            self.operator(frame, value)
        else:
            raise self.wrong(f"{value!r} is not known")

    def operator(self, frame: _Frame, value: str) -> None:
        frame.gap = False
        if not frame.has_value:
            if value not in ("+", "-"):
                raise self.wrong(f"a value is missing before {value}")
            frame.operators.append("negative" if value == "-" else "positive")
            frame.is_empty = False
            return
        self.infix(frame, "union" if value == "," else value)

    def infix(self, frame: _Frame, name: str) -> None:
        while frame.operators and PRECEDENCE[frame.operators[-1]] >= PRECEDENCE[name]:
            frame.code.append((frame.operators.pop(),))
        frame.operators.append(name)
        frame.has_value = False

    def percent(self, frame: _Frame) -> None:
        if not frame.has_value:
            raise self.wrong("a value is missing before %")
        while frame.operators and PRECEDENCE[frame.operators[-1]] >= PERCENT:
            frame.code.append((frame.operators.pop(),))
        frame.code.append(("percent",))

    def before_value(self, frame: _Frame) -> None:
        """Two references with a space between intersect; anything else side by side is wrong."""
        if frame.has_value:
            if not frame.gap:
                raise self.wrong("two values stand side by side")
            self.infix(frame, "intersect")
        frame.gap = False
        frame.is_empty = False

    def operand(self, text: str, subtype: str) -> None:
        frame = self.frames[-1]
        if subtype == Token.RANGE and text.startswith(":") and frame.has_value:
            self.infix(frame, ":")
            text = text[1:]
        self.before_value(frame)
        frame.code.extend(_operand(text, subtype))
        frame.has_value = True

    def open(self, token: Token) -> None:
        frame = self.frames[-1]
        name = token.value[:-1].strip()
        if token.type == Token.FUNC and ":" in name and "!" not in name.rpartition(":")[2]:
            before, _, name = name.rpartition(":")
            if before:
                self.operand(before, Token.RANGE)
            self.infix(frame, ":")
        self.before_value(frame)
        kind = {Token.FUNC: "function", Token.PAREN: "paren", Token.ARRAY: "array"}[token.type]
        if kind == "function":
            if not name:
                raise self.wrong("a function has no name")
            self.functions.add(name)
            if sum(each.kind == "function" for each in self.frames) >= MAX_NESTING:
                raise self.wrong(f"functions are nested more than {MAX_NESTING} deep")
        self.frames.append(_Frame(kind, name))

    def finish(self, frame: _Frame) -> None:
        if not frame.has_value:
            raise self.wrong("a value is missing")
        while frame.operators:
            frame.code.append((frame.operators.pop(),))

    def argument(self, frame: _Frame) -> None:
        if frame.is_empty:
            frame.done.append((("missing",),))
        else:
            self.finish(frame)
            frame.done.append(tuple(frame.code))
        frame.code, frame.operators = [], []
        frame.has_value = frame.gap = False
        frame.is_empty = True

    def separator(self, value: str) -> None:
        frame = self.frames[-1]
        if frame.kind == "array":
            self.constant(frame)
            if value == ";":
                frame.rows.append(frame.done)
                frame.done = []
        elif frame.kind == "function" and value == ",":
            self.argument(frame)
        else:
            raise self.wrong(f"{value!r} stands outside a function")

    def constant(self, frame: _Frame) -> None:
        """One element of an array constant."""
        self.finish(frame)
        code = frame.code
        if len(code) == 1 and code[0][0] == "value":
            frame.done.append(code[0][1])
        elif [step[0] for step in code] in (["value", "negative"], ["value", "positive"]) and type(
            code[0][1]
        ) is float:
            frame.done.append(-code[0][1] if code[1][0] == "negative" else code[0][1])
        else:
            raise self.wrong("an array constant holds something else than constants")
        frame.code, frame.operators = [], []
        frame.has_value = frame.gap = False

    def close(self) -> None:
        frame = self.frames.pop()
        if not self.frames:
            raise self.wrong("a bracket is closed that was not opened")
        parent = self.frames[-1]
        if frame.kind == "paren":
            self.finish(frame)
            parent.code.extend(frame.code)
        elif frame.kind == "array":
            self.constant(frame)
            rows = [*frame.rows, frame.done]
            if len({len(row) for row in rows}) > 1:
                raise self.wrong("the rows of an array constant differ in length")
            parent.code.append(("array", tuple(map(tuple, rows))))
        else:
            if frame.done or not frame.is_empty:
                self.argument(frame)
            parent.code.append(("call", frame.name, tuple(frame.done)))
        parent.has_value = True


def _operand(text: str, subtype: str) -> list[tuple[Any, ...]]:
    """The code of a constant, a reference or a name."""
    if subtype == Token.TEXT:
        return [("value", text[1:-1].replace('""', '"'))]
    if subtype == Token.ERROR:
        return [("value", CellError(text))]
    if NUMBER.match(text):
        return [("value", float(text))]
    if text.upper() in ("TRUE", "FALSE"):
        return [("value", text.upper() == "TRUE")]
    parts = _split_range(text)
    if len(parts) == 2 and (whole := _whole_range(parts)) is not None:
        return [whole]
    code: list[tuple[Any, ...]] = []
    for number, part in enumerate(parts):
        code.append(_reference(part, text))
        if number:
            code.append((":",))
    return code


def _split_range(text: str) -> list[str]:
    """Cut at the colons that are outside quotes and brackets."""
    parts, depth, quoted, start = [], 0, False, 0
    position = 0
    while position < len(text):
        character = text[position]
        if depth and character == "'":
            position += 1
        elif character == "'":
            quoted = not quoted
        elif not quoted and character == "[":
            depth += 1
        elif not quoted and character == "]":
            depth -= 1
        elif character == ":" and not quoted and not depth:
            parts.append(text[start:position])
            start = position + 1
        position += 1
    return [*parts, text[start:]]


def _check_sheet(sheet: str | None, text: str) -> None:
    if sheet is None:
        return
    if "[" in sheet or not sheet:
        raise Unevaluable(f"{text} refers to another workbook")
    if ":" in sheet:
        raise Unevaluable(f"{text} refers to several sheets at once")


def _corner(text: str) -> Corner | None:
    match = CELL.match(text)
    if not match:
        return None
    column, row = column_index_or_none(match[2]), int(match[4])
    if column is None or not 1 <= row <= MAX_ROW:
        return None
    return Corner(row, bool(match[3]), column, bool(match[1]))


def column_index_or_none(letters: str) -> int | None:
    """The number of a column, None past the last one."""
    try:
        column = column_index_from_string(letters)
    except ValueError:
        return None
    return column if column <= MAX_COLUMN else None


def _whole_range(parts: list[str]) -> tuple[Any, ...] | None:
    """`A1:B2`, `A:B` or `1:2` as one reference, None for any other kind of range."""
    sheet, head = split_sheet(parts[0])
    again, tail = split_sheet(parts[1])
    if again is not None and (sheet is None or again.lower() != sheet.lower()):
        if sheet is None:
            raise Unevaluable(f"{':'.join(parts)} refers to several sheets at once")
        return None
    first, last = _corner(head), _corner(tail)
    if first is None or last is None:
        if (a := COLUMN.match(head)) and (b := COLUMN.match(tail)):
            left, right = column_index_or_none(a[2]), column_index_or_none(b[2])
            if left is None or right is None:
                return None
            first = Corner(None, True, left, bool(a[1]))
            last = Corner(None, True, right, bool(b[1]))
        elif (a := ROW.match(head)) and (b := ROW.match(tail)):
            if not (1 <= int(a[2]) <= MAX_ROW and 1 <= int(b[2]) <= MAX_ROW):
                return None
            first = Corner(int(a[2]), bool(a[1]), None, True)
            last = Corner(int(b[2]), bool(b[1]), None, True)
        else:
            return None
    _check_sheet(sheet, ":".join(parts))
    return ("cells", CellsAt(sheet, first, last))


def _reference(part: str, whole: str) -> tuple[Any, ...]:
    """A cell, a structured reference or a name."""
    sheet, rest = split_sheet(part)
    _check_sheet(sheet, whole)
    if rest.startswith("#"):
        return ("value", CellError(rest))
    corner = _corner(rest)
    if corner is not None:
        return ("cells", CellsAt(sheet, corner, corner))
    if rest.endswith("]"):
        if re.match(r"^\[\d+\]", rest):
            raise Unevaluable(f"{whole} refers to another workbook")
        name, _, inside = rest.partition("[")
        return ("table", table_part(name.strip() or None, inside[:-1]))
    if rest.startswith("["):
        raise Unevaluable(f"{whole} refers to another workbook")
    if not NAME.match(rest):
        raise Unevaluable(f"the reference {whole} cannot be read")
    return ("name", sheet, rest)


@lru_cache(maxsize=8192)
def parse(formula: str) -> Program:
    """The program of a formula (with or without `=`), remembered by its text."""
    return _Parser(formula).parse()
