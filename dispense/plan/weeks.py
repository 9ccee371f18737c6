"""The days that are worked: weekdays of the shifts, less the holidays; a week's builds split over them."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from functools import lru_cache

from .holidays import free_days
from .records import Plan
from .rows import Shift

NO_DAY = "none"  # in place of days: for the time being the shift is not worked
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_WEEK = re.compile(r"(\d{4})-?W(\d{1,2})", re.IGNORECASE)


@lru_cache
def weekdays(text: str) -> tuple[int, ...] | None:
    """The days of a text as numbers from Monday, 0; None where it is not understood.

    >>> weekdays("Mon-Fri"), weekdays("Sat, Sun"), weekdays("Fri-Mon"), weekdays("none"), weekdays("often")
    ((0, 1, 2, 3, 4), (5, 6), (0, 4, 5, 6), (), None)
    """
    if text.strip().casefold() == NO_DAY:
        return ()
    found: set[int] = set()
    for word in filter(None, re.split(r"[\s,;]+", text)):
        ends = [end[:3].casefold() for end in re.split("[-–]", word)]
        if len(ends) > 2 or not set(ends) <= set(DAYS):
            return None
        first, last = DAYS.index(ends[0]), DAYS.index(ends[-1])
        found |= {day % 7 for day in range(first, last + 1 if last >= first else last + 8)}
    return tuple(sorted(found)) or None


def week_of(text: str) -> datetime.date | None:
    """The Monday of a week such as 2026-W11, as ISO 8601 numbers them; None where it names none.

    >>> week_of("2026-W11"), week_of("2026W01"), week_of("2026-W54"), week_of("2026-03-09")
    (datetime.date(2026, 3, 9), datetime.date(2025, 12, 29), None, None)
    """
    match = _WEEK.fullmatch(text.strip())
    try:
        return datetime.date.fromisocalendar(int(match[1]), int(match[2]), 1) if match else None
    except ValueError:
        return None


def last_monday(text: str) -> datetime.date:
    """The Monday of the last week of the year of a week; 28 December lies in it (ISO 8601).

    >>> str(last_monday("2026-W54")), str(last_monday("2025-W53"))
    ('2026-12-28', '2025-12-22')
    """
    year = int(text.strip()[:4])
    return datetime.date.fromisocalendar(year, datetime.date(year, 12, 28).isocalendar().week, 1)


def is_like_week(text: str) -> bool:
    """Whether a text is written as a week, of which the year may have none of that number.

    >>> is_like_week("2026-W54"), is_like_week("2026-03-09")
    (True, False)
    """
    return _WEEK.fullmatch(text.strip()) is not None


def days_of(row: Shift) -> tuple[int, ...]:
    """The weekdays of a shift from Monday, 0; to Friday where they are not understood, which checks name."""
    found = weekdays(row.days)
    return tuple(range(5)) if found is None else found


def slots_of(plan: Plan, monday: datetime.date, shift: str = "") -> list[tuple[datetime.date, str, float]]:
    """Day, shift and working time [s] of each shift of a week, of one shift or of all, in order of time."""
    free = free_days(plan, {monday.year, (monday + datetime.timedelta(days=len(DAYS) - 1)).year})
    found = []
    for number in range(len(DAYS)):
        day = monday + datetime.timedelta(days=number)
        for row in () if day in free else plan.on(day).shifts:
            if (not shift or row.shift == shift) and number in days_of(row):
                rest = sum(end - start for start, end in plan.breaks_of(row.shift))
                found.append((day, row.start, row.shift, max(row.end - row.start - rest, 0.0)))
    return [(day, name, time) for day, _, name, time in sorted(found)]


def is_free(plan: Plan, day: datetime.date) -> bool:
    """Whether nobody works on a day: a holiday, or a day on which no shift is worked."""
    monday = day - datetime.timedelta(days=day.weekday())
    return all(when != day for when, _, _ in slots_of(plan, monday))


def split_whole(quantity: int, weights: Sequence[float]) -> list[int]:
    """Whole parts in proportion to the weights, as even as they can be; their sum is the quantity.

    >>> split_whole(11, [1, 1, 1]), split_whole(10, [7, 3])
    ([4, 3, 4], [7, 3])
    """
    total, so_far, given, parts = sum(weights), 0.0, 0, []
    for weight in weights:
        so_far += weight
        upto = round(quantity * so_far / total)
        parts.append(upto - given)
        given = upto
    return parts


__all__ = ["NO_DAY", "days_of", "is_free", "last_monday", "slots_of", "split_whole", "week_of", "weekdays"]
