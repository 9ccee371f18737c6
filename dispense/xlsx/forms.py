"""Number formats of cells, and the dates and times that numbers are under them."""

from __future__ import annotations

import datetime
import re

from .package import MAIN, Package

__all__ = ["date_styles", "elapsed_styles", "from_serial", "is_date_form", "style_formats"]

_DAY = 86_400_000  # ms
_EPOCHS = datetime.datetime(1899, 12, 30), datetime.datetime(1904, 1, 1)
_LEAP_DAY = 60  # the day 1900-02-29 that spreadsheets count and that was not

#: quoted words, and brackets that hold no hours, minutes or seconds
_NO_LETTERS = re.compile(r'"[^"]*+"|\[(?!hh?\]|mm?\]|ss?\])[^\[\]]*+\]')
_DATE_LETTER = re.compile(r"(?<![_\\])[dmhysDMHYS]")
_ELAPSED = re.compile(r"\[(?:hh?|mm?|ss?)\]", re.IGNORECASE)
_BUILT_IN_DATES = frozenset((*range(14, 23), *range(27, 37), *range(45, 59)))  # ECMA-376 part 1, 18.8.30
_BUILT_IN_ELAPSED = frozenset((46,))


def style_formats(package: Package) -> list[tuple[str, str | None]]:
    """For each cell style the number of its format, and the code where the file states one."""
    found = package.related(package.workbook_part, "styles")
    if not found:
        return []
    root = package.tree(found[0])
    formats = {
        item.get("numFmtId"): item.get("formatCode", "")
        for item in root.iterfind(f"{{{MAIN}}}numFmts/{{{MAIN}}}numFmt")
    }
    numbers = [item.get("numFmtId", "0") for item in root.iterfind(f"{{{MAIN}}}cellXfs/{{{MAIN}}}xf")]
    return [(number, formats.get(number)) for number in numbers]


def is_date_form(code: str) -> bool:
    """Whether a number format shows a date or a time; its part for positive numbers says.

    >>> [is_date_form(code) for code in ("yyyy-mm-dd", "[h]:mm", "0.00", '0 "days"', "[$-409]0", "[Red]0")]
    [True, True, False, False, False, False]
    """
    return _DATE_LETTER.search(_NO_LETTERS.sub("", code.split(";")[0])) is not None


def date_styles(package: Package) -> frozenset[int]:
    """The cell styles that show a number as a date or time."""
    return frozenset(
        index
        for index, (number, code) in enumerate(style_formats(package))
        if (is_date_form(code) if code is not None else number.isdigit() and int(number) in _BUILT_IN_DATES)
    )


def elapsed_styles(package: Package) -> frozenset[int]:
    """The cell styles that show a number of days as hours, minutes or seconds gone by."""
    return frozenset(
        index
        for index, (number, code) in enumerate(style_formats(package))
        if (
            _ELAPSED.search(code.split(";")[0])
            if code is not None
            else number.isdigit() and int(number) in _BUILT_IN_ELAPSED
        )
    )


def from_serial(
    value: float, date1904: bool = False, elapsed: bool = False
) -> datetime.datetime | datetime.time | datetime.timedelta:
    """The date, time of day or time gone by that a number of days is, to the millisecond.

    >>> from_serial(46083.25), from_serial(0.5)
    (datetime.datetime(2026, 3, 2, 6, 0), datetime.time(12, 0))
    """
    if elapsed:
        return datetime.timedelta(milliseconds=round(value * _DAY))
    day, fraction = divmod(value, 1)
    rest = datetime.timedelta(milliseconds=round(fraction * _DAY))
    if 0 <= value < 1 and not rest.days:
        return (datetime.datetime.min + rest).time()
    if 0 < value < _LEAP_DAY and not date1904:
        day += 1
    return _EPOCHS[date1904] + datetime.timedelta(days=day) + rest
