"""What a value is: its unit, help, default and limits, declared once.

A `Field` describes an argument of a workbook function or a column of a plan table. The worksheet
wizard, the docs, the checks and the conversions all read it from here.
"""

from __future__ import annotations

import datetime
import math
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from .errors import NA, NUM, VALUE, InputError, Problem, UnitError
from .naming import field_name
from .units import AS_GIVEN, describe_unit, read_quantity, to_si


class _Required:
    """Marks a field that has no default and may not be left out."""

    def __repr__(self) -> str:
        return "REQUIRED"

    def __reduce__(self) -> str:
        return "REQUIRED"


REQUIRED = _Required()


class CellError(str):
    """An error of a spreadsheet cell, such as `#NUM!`; not a text."""

    __slots__ = ()


_CAPITALS = {"a": "A", "b": "B", "uv": "UV"}
ERROR_TEXTS = frozenset(
    {"#VALUE!", "#NUM!", "#N/A", "#DIV/0!", "#REF!", "#NAME?", "#NULL!", "#SPILL!", "#CALC!"}
)


@cache
def _ends(
    above: float | None, at_least: float | None, below: float | None, at_most: float | None, factor: float
) -> tuple[float, float]:
    most = sys.float_info.max / max(factor, 1.0)
    lows, highs = [-most], [most]
    if above is not None:
        lows.append(math.nextafter(above, math.inf))
    if at_least is not None:
        lows.append(at_least)
    if below is not None:
        highs.append(math.nextafter(below, -math.inf))
    if at_most is not None:
        highs.append(at_most)
    return max(lows), min(highs)


@dataclass(frozen=True, slots=True)
class Field:
    """A named value: kind, unit, help, default and limits (limits in the shop unit).

    Kinds: `number`; `whole` (a whole number); `text`; `choice` (one of `choices`); `flag`
    (TRUE/FALSE); `vector` (a row or column of numbers, taken whole); `matrix` (a block of numbers,
    taken whole); `record` (one row of `columns`, taken whole); `points` (2 or 3 numeric columns and
    optional last text column, taken whole); `date`, `clock` (time of day), `moment` (date and time).
    `default` None means that the field may be blank and then is None. `labels` are its words on paper,
    today's first, then older ones that a plant's template may still have; without them the words are
    those of the name.
    """

    name: str
    kind: str
    unit: str = ""
    help: str = ""
    default: Any = REQUIRED
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None
    choices: tuple[str, ...] = ()
    columns: tuple[Field, ...] = ()
    may_be_blank: bool = False  # for vectors and matrices: single blanks become NaN
    refers: str = ""  # for texts: the plan table whose key it must name
    labels: tuple[str, ...] = ()  # words on paper, apart from the name: today's, then older ones
    topic: str = ""  # words over the columns of a wide table that it stands among
    from_names: Callable[..., Any] | None = None  # of a record: reads a table of names and values instead

    @property
    def is_required(self) -> bool:
        """Whether a value must be given."""
        return self.default is REQUIRED

    @property
    def is_whole_range(self) -> bool:
        """Whether a range given here is taken whole and not element by element."""
        return self.kind in {"vector", "matrix", "record", "points"}

    @property
    def label(self) -> str:
        """The name as shown: without the underscore that keeps it apart from a word of Python."""
        return self.name.removesuffix("_")

    @property
    def title(self) -> str:
        """The column header: "Bead width [mm]" for bead_width in mm."""
        return f"{self.heading} [{self.unit}]" if self.unit and self.unit != AS_GIVEN else self.heading

    @property
    def heading(self) -> str:
        """The column header without its unit: the label of today, else the words of the name."""
        return self.labels[0] if self.labels else self._named

    @property
    def headings(self) -> tuple[str, ...]:
        """All that a header may call it, without a unit: its labels, and the words of its name.

        >>> Field("mass_low", "number", "g", labels=("Lower limit", "Least mass")).headings
        ('Lower limit', 'Least mass', 'Mass low')
        """
        return tuple(dict.fromkeys((*self.labels, self._named)))

    @property
    def words(self) -> str:
        """What it is called within a sentence.

        >>> Field("move_time", "number", "min", labels=("Handling time",)).words
        'handling time'
        >>> Field("glass_cured", "number", "°C", labels=("Tg cured",)).words
        'Tg cured'
        """
        first = self.heading.split(" ")[0]
        is_symbol = len(first) < 3 or not first.isalpha()
        return self.heading if is_symbol else self.heading[:1].lower() + self.heading[1:]

    @property
    def _named(self) -> str:
        words = [_CAPITALS.get(word, word) for word in self.name.split("_")]
        name = " ".join(words)
        return name[:1].upper() + name[1:]

    def allowed(self) -> str:
        """What is allowed, worded to follow "it must be"."""
        if self.kind == "choice":
            return "one of " + ", ".join(self.choices)
        if self.kind == "flag":
            return "TRUE or FALSE"
        if self.kind == "text":
            return "a text"
        words = {"date": "a date", "clock": "a time of day such as 06:00", "moment": "a date and time"}.get(
            self.kind
        )
        if words:
            return words
        bounds = []
        if self.above is not None:
            bounds.append(f"above {self.above:g}")
        if self.at_least is not None and (self.above is None or self.above < self.at_least):
            bounds.append(f"{self.at_least:g} or more")
        if self.below is not None:
            bounds.append(f"below {self.below:g}")
        if self.at_most is not None:
            bounds.append(f"{self.at_most:g} or less")
        noun = "a whole number" if self.kind == "whole" else "a number"
        unit = f" {self.unit}" if self.unit and self.unit != AS_GIVEN else ""
        if not bounds:
            return f"{noun} in {self.unit}" if unit else noun
        text = " and ".join(bounds) + unit
        return f"{noun} {text}" if self.kind == "whole" else text

    def default_text(self) -> str:
        """The default as printed in help, "" where there is none."""
        if self.default is REQUIRED or self.default is None:
            return ""
        if isinstance(self.default, bool):
            return "TRUE" if self.default else "FALSE"
        return f"{self.default:g}" if isinstance(self.default, float) else str(self.default)

    def within(self, number: float) -> bool:
        """Whether a number in the shop unit is within the limits (NaN never is)."""
        low, high = self.ends()
        return low <= number <= high and (self.kind != "whole" or number == math.floor(number))

    def ends(self, factor: float = 1.0) -> tuple[float, float]:
        """The smallest and the largest number within the limits that times the factor is one too."""
        return _ends(self.above, self.at_least, self.below, self.at_most, factor)

    def problem(self, where: str, value: Any, code: str = VALUE, fix: str = "") -> Problem:
        """A problem record for a value that this field cannot take."""
        return Problem(where, self.label, value, self.allowed(), fix, code)

    def read(self, value: Any, where: str = "", unit: str | None = None) -> Any:
        """One scalar value read and checked: numbers in SI, choices and texts as text.

        `unit` is the unit of plain numbers where it is not the shop unit (a changed column header).
        Raises InputError with where, value, what is allowed, and the spreadsheet error code.
        """
        if value is None or (isinstance(value, str) and not value.strip()):
            if self.is_required:
                raise InputError(self.problem(where, None, VALUE))
            return self.default_si()
        if isinstance(value, CellError):
            raise InputError(self.problem(where, str(value), str(value), "mend the cell it reads"))
        if self.kind == "choice":
            text = " ".join(str(value).split()).lower()
            found = next((each for each in self.choices if each.lower() == text), None)
            if found is not None:
                return found
            raise InputError(self.problem(where, value, NA))
        if self.kind == "text":
            return text_of(value)
        if self.kind == "flag":
            return self._read_flag(value, where)
        if self.kind in {"number", "whole"}:
            return self._read_number(value, where, unit)
        if self.kind == "date":
            return self._read_date(value, where)
        if self.kind == "clock":
            return self._read_clock(value, where)
        raise InputError(self.problem(where, value))

    def default_si(self) -> Any:
        """The default with its unit converted."""
        if self.kind == "whole" and self.default is not REQUIRED:
            return self.default
        if isinstance(self.default, int | float) and not isinstance(self.default, bool):
            factor, offset = to_si(self.unit)
            return self.default * factor + offset
        return None if self.default is REQUIRED else self.default

    def _read_flag(self, value: Any, where: str) -> bool:
        if isinstance(value, bool):
            return value
        if isinstance(value, int | float) and value in (0, 1):
            return bool(value)
        text = str(value).strip().lower()
        if text in {"true", "yes", "y", "1", "x"}:
            return True
        if text in {"false", "no", "n", "0"}:
            return False
        raise InputError(self.problem(where, value))

    def _read_date(self, value: Any, where: str) -> datetime.date:
        """A date: a date cell, a serial number of the 1900 system, or an ISO text."""
        if isinstance(value, str) and value.strip() in ERROR_TEXTS:
            raise InputError(self.problem(where, value, value.strip(), "mend the cell it reads"))
        if isinstance(value, datetime.datetime):
            return value.date()
        if isinstance(value, datetime.date):
            return value
        if isinstance(value, int | float) and not isinstance(value, bool) and 1 <= value < 2958466:
            return datetime.date(1899, 12, 30) + datetime.timedelta(days=int(value))
        if isinstance(value, str):
            try:
                return datetime.date.fromisoformat(value.strip())
            except ValueError:
                pass
        raise InputError(self.problem(where, value, fix="write it as 2026-03-31"))

    def _read_clock(self, value: Any, where: str) -> float:
        """A time of day in seconds after midnight; past midnight it goes on: 30:00 is 6 next day."""
        seconds = math.nan
        if isinstance(value, str) and value.strip() in ERROR_TEXTS:
            raise InputError(self.problem(where, value, value.strip(), "mend the cell it reads"))
        if isinstance(value, datetime.datetime):
            # spreadsheets keep 30:00 as 1.25 days after their day 0
            days = (value.date() - datetime.date(1899, 12, 31)).days
            days = days if 0 <= days <= 2 else 0
            seconds = days * 86400.0 + value.hour * 3600 + value.minute * 60 + value.second
        elif isinstance(value, datetime.time):
            seconds = value.hour * 3600.0 + value.minute * 60 + value.second
        elif isinstance(value, datetime.timedelta):
            seconds = value.total_seconds()
        elif isinstance(value, int | float) and not isinstance(value, bool):
            seconds = round(value * 86400.0, 3) if 0 <= value <= 2 else math.nan
        elif isinstance(value, str):
            parts = value.strip().split(":")
            if len(parts) in (2, 3) and all(part.isdecimal() for part in parts):
                hours, minutes, rest = (*map(int, parts), 0)[:3]
                if minutes < 60 and rest < 60:
                    seconds = hours * 3600.0 + minutes * 60 + rest
        if not 0 <= seconds <= 172800.0:
            raise InputError(self.problem(where, value, fix="after midnight go on counting: 30:00 is 6:00"))
        return seconds

    def _read_number(self, value: Any, where: str, unit: str | None) -> float:
        plain = self.unit if unit is None else unit
        if isinstance(value, bool):
            raise InputError(self.problem(where, value, fix="TRUE and FALSE are not numbers"))
        if isinstance(value, str):
            if value.strip() in ERROR_TEXTS:
                raise InputError(self.problem(where, value.strip(), value.strip(), "mend the cell it reads"))
            try:
                si = read_quantity(value.strip(), self.unit, unit)
            except UnitError as error:
                raise InputError(self.problem(where, value, VALUE, f"{error.problems[0].allowed}")) from None
        else:
            try:
                number = float(value)
            except (TypeError, ValueError, OverflowError):
                raise InputError(self.problem(where, value)) from None
            if plain == self.unit:
                factor, offset = to_si(self.unit)
            else:
                from .units import unit_factor

                factor, offset = unit_factor(plain, self.unit)
            si = number * factor + offset
        factor, offset = to_si(self.unit)
        # the number as the limits know it; rounding of a conversion must not trip an exact limit
        number = (
            float(value)
            if plain == self.unit and not isinstance(value, str)
            else (round((si - offset) / factor, 12) if math.isfinite(si) else si)
        )
        if not (self.within(number) and math.isfinite(si)):
            raise InputError(self.problem(where, value, NUM))
        return si


def by_header(fields: Iterable[Field]) -> dict[str, Field]:
    """Fields by all that a header may call them, spelled as `naming.field_name` spells it.

    >>> list(by_header([Field("move_time", "number", labels=("Handling time",))]))
    ['handling_time', 'move_time']
    """
    return {field_name(words): item for item in fields for words in item.headings}


def text_of(value: Any) -> str:
    """A cell's value as text: a whole float loses its ".0" (a lot number typed as a number)."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip()


def number(name: str, unit: str, help: str, **limits: Any) -> Field:
    """A number with a unit."""
    return Field(name, "number", unit, help, **limits)


def whole(name: str, help: str, **limits: Any) -> Field:
    """A whole number."""
    return Field(name, "whole", "", help, **limits)


def text(name: str, help: str, **rest: Any) -> Field:
    """A text."""
    return Field(name, "text", "", help, **rest)


def choice(name: str, choices: tuple[str, ...], help: str, **rest: Any) -> Field:
    """One of a list of names."""
    return Field(name, "choice", "", help, choices=tuple(choices), **rest)


def date(name: str, help: str, **rest: Any) -> Field:
    """A date."""
    return Field(name, "date", "", help, **rest)


def clock(name: str, help: str, **rest: Any) -> Field:
    """A time of day."""
    return Field(name, "clock", "", help, **rest)


def flag(name: str, help: str, **rest: Any) -> Field:
    """TRUE or FALSE."""
    return Field(name, "flag", "", help, **rest)


def vector(name: str, unit: str, help: str, **limits: Any) -> Field:
    """A row or column of numbers, taken whole."""
    return Field(name, "vector", unit, help, **limits)


def matrix(name: str, unit: str, help: str, **limits: Any) -> Field:
    """A block of numbers, taken whole."""
    return Field(name, "matrix", unit, help, **limits)


def record(name: str, columns: tuple[Field, ...], help: str, **rest: Any) -> Field:
    """One row of several values with their own units, taken whole."""
    return Field(name, "record", "", help, columns=tuple(columns), **rest)


def points(name: str, unit: str, help: str, **rest: Any) -> Field:
    """Rows of coordinates (2 or 3 numbers) with an optional last text column, taken whole."""
    return Field(name, "points", unit, help, **rest)


__all__ = [
    "ERROR_TEXTS",
    "REQUIRED",
    "CellError",
    "Field",
    "by_header",
    "choice",
    "clock",
    "date",
    "describe_unit",
    "flag",
    "matrix",
    "number",
    "points",
    "record",
    "replace",
    "text",
    "text_of",
    "vector",
    "whole",
]
