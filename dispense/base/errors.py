"""What can go wrong, said so that the reader can mend it.

Every error of the project is a `DispenseError`. It carries one or more `Problem` records, each with
the place (function or sheet and cell), the argument, the value given, what is allowed and the fix,
so that all problems of one input are reported together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

_T = TypeVar("_T")

VALUE = "#VALUE!"  # wrong type or unit
NUM = "#NUM!"  # impossible number, or no answer
NA = "#N/A"  # a name that is not in its list


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with an input, and what would mend it.

    `where` is a function name or `Sheet!A1`; `argument` the argument or column; `value` what was
    given; `allowed` what is allowed, worded to follow "it must be"; `fix` a further hint; `code`
    the spreadsheet error that stands for it.
    """

    where: str
    argument: str = ""
    value: Any = None
    allowed: str = ""
    fix: str = ""
    code: str = VALUE
    message: str = ""  # replaces the "argument is value; it must be allowed" sentence when given

    def __str__(self) -> str:
        if self.message:
            text = self.message
        else:
            text = f"{self.argument} is {show(self.value)}"
            if self.allowed:
                text += f"; it must be {self.allowed}"
        if self.where:
            text = f"{self.where}: {text}"
        if self.fix:
            text += f" ({self.fix})"
        return one_line(text)


def escaped(text: str) -> str:
    """A text without codes that a terminal obeys: they are shown, other blanks become plain ones.

    >>> escaped("Hem\\x9b2J \\u202elid\\u00a0A")
    'Hem\\\\x9b2J \\\\u202elid A'
    """
    if text.isprintable():
        return text
    return "".join(
        char if char.isprintable() else " " if char.isspace() else _escape(ord(char)) for char in text
    )


def _escape(code: int) -> str:
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def one_line(text: str) -> str:
    """A text on one line that a terminal prints as it is, whatever a cell of a plan holds."""
    return text if text.isprintable() else " ".join(escaped(text).split())


def show(value: Any) -> str:
    """A value as a person would write it, at most 60 characters."""
    if value is None:
        return "blank"
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        text = f"{value:.10g}"
    elif isinstance(value, str):
        text = f'"{value}"'
    else:
        text = str(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "..."


class DispenseError(Exception):
    """Base of every error the project raises; `problems` lists all that is wrong."""

    def __init__(self, problems: Problem | str | Iterable[Problem]):
        if isinstance(problems, str):
            problems = (Problem("", message=problems),)
        elif isinstance(problems, Problem):
            problems = (problems,)
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @property
    def code(self) -> str:
        """The spreadsheet error of the first problem."""
        return self.problems[0].code if self.problems else VALUE


class InputError(DispenseError):
    """An argument, a cell or a record is not what it must be."""


def needed(value: _T | None, where: str, name: str) -> _T:
    """A value that may be blank elsewhere and may not be here.

    Raises InputError where it is blank; the checks of a plan ask for it before anything is reckoned.
    """
    if value is None:
        raise InputError(Problem(where, name, None, "given"))
    return value


class UnitError(InputError):
    """A unit is unknown or of another dimension."""


class TemplateError(DispenseError):
    """A template lacks something it needs, or holds something that cannot be kept."""


class FileError(DispenseError):
    """A file cannot be read or written."""
