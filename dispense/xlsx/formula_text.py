"""The text of a formula: its tokens, the sheet of a reference, the parts of a structured reference.

The lexer is openpyxl's; this module mends a few of its limits (escaped brackets in structured
references, whitespace kept as written). What a formula is worth is `dispense.formulas`' business.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from openpyxl.formula.tokenizer import Token, Tokenizer, TokenizerError

from ..base.errors import DispenseError

__all__ = ["MAX_FORMULA", "TablePart", "Unevaluable", "split_sheet", "table_part", "tokens"]

MAX_FORMULA = 8192  # characters, the limit of the file format


class Unevaluable(DispenseError):
    """A formula that cannot be read, or not be computed here; the message says why."""


class Lexer(Tokenizer):
    """openpyxl's tokenizer that renders every formula exactly as it was written."""

    SN_RE = re.compile(r"^(\d+\.?\d*|\.\d+)[Ee]$")
    TOKEN_ENDERS = Tokenizer.TOKEN_ENDERS + "\n"

    def _parse_whitespace(self) -> int:
        match = self.WSPACE_RE.match(self.formula[self.offset :])
        assert match is not None
        self.items.append(Token(match.group(), Token.WSPACE))
        return match.end()

    def _parse_string(self) -> int:
        if self.formula[self.offset] == '"' and self.token:
            raise TokenizerError(f"a text stands inside a reference in {self.formula}")
        return super()._parse_string()

    def _parse_brackets(self) -> int:
        depth, position = 0, self.offset
        while position < len(self.formula):
            character = self.formula[position]
            if character == "'" and depth:
                position += 1  # the next character is escaped
            elif character == "[":
                depth += 1
            elif character == "]":
                depth -= 1
                if depth == 0:
                    self.token.append(self.formula[self.offset : position + 1])
                    return position + 1 - self.offset
            position += 1
        raise TokenizerError(f"unmatched [ in {self.formula}")

    def _parse_closer(self) -> int:
        if not self.token_stack:
            raise TokenizerError(f"unmatched {self.formula[self.offset]} in {self.formula}")
        return super()._parse_closer()


def tokens(formula: str) -> list[Token]:
    """The tokens of a formula given with or without its `=`."""
    text = formula if formula.startswith("=") else "=" + formula
    if len(text) > MAX_FORMULA + 1:
        raise Unevaluable(f"the formula has {len(text)} characters, more than {MAX_FORMULA}")
    try:
        return Lexer(text).items
    except (TokenizerError, AssertionError, IndexError) as error:
        raise Unevaluable(f"the formula cannot be read: {error}") from None


class TablePart(NamedTuple):
    """A structured reference: table, special items (lower case) and first and last column."""

    table: str | None
    items: frozenset[str]
    first: str | None
    last: str | None


def split_sheet(text: str) -> tuple[str | None, str]:
    """The sheet name, unquoted, and the rest of a reference."""
    if text.startswith("'"):
        end = 1
        while end < len(text):
            if text[end] == "'":
                if text[end + 1 : end + 2] != "'":
                    break
                end += 1
            end += 1
        if text[end + 1 : end + 2] != "!":
            raise Unevaluable(f"the reference {text} cannot be read")
        return text[1:end].replace("''", "'"), text[end + 2 :]
    head, bang, tail = text.partition("!")
    if not bang or ("[" in head and "]" not in head):
        return None, text
    return head, tail


def table_part(table: str | None, inside: str) -> TablePart:
    """The text between the outer brackets of a structured reference, read."""
    text = inside.strip()
    items: set[str] = set()
    if text.startswith("@"):
        items.add("#this row")
        text = text[1:].strip()
        if text and not text.startswith("["):
            text = f"[{text}]"
    if not text.startswith("["):
        if text.startswith("#"):
            return TablePart(table, frozenset({*items, text.lower()}), None, None)
        column = _unescape(text) if text else None
        return TablePart(table, frozenset(items), column, column)
    columns: list[str] = []
    for piece in _bracketed(text):
        if piece.startswith("#"):
            items.add(" ".join(piece.lower().split()))
        else:
            columns.append(_unescape(piece))
    if len(columns) > 2:
        raise Unevaluable(f"the structured reference [{inside}] names more than two columns")
    first, last = (columns[0], columns[-1]) if columns else (None, None)
    return TablePart(table, frozenset(items), first, last)


def _bracketed(text: str) -> list[str]:
    """The pieces of `[#All],[A]:[B]`, still escaped."""
    pieces, position, start = [], 0, -1
    while position < len(text):
        character = text[position]
        if start >= 0 and character == "'":
            position += 1
        elif start < 0 and character == "[":
            start = position + 1
        elif start >= 0 and character == "]":
            pieces.append(text[start:position])
            start = -1
        elif start < 0 and character not in ",: \n":
            raise Unevaluable(f"the structured reference [{text}] cannot be read")
        position += 1
    return pieces


def _unescape(text: str) -> str:
    return re.sub(r"'(.)", r"\1", text, flags=re.DOTALL)
