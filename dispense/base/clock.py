"""Clock times in words: 13:05, and the date where it is of another day.

A sheet tells minutes. One rule, on every page: what happens, and by when something must be done, is told by
the minute in which it falls (`hhmm`; a cell keeps the seconds and shows that minute); from when on something
may be done by the first minute that is not before it (`next_minute`, `earliest_text`). So nobody is late by
the sheet who keeps to it, and nobody is too early.
"""

from __future__ import annotations

import datetime
import math

from .units import MINUTE

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


FAR = 180  # days from which the year is told too
_SAME_MINUTE = 1e-6  # min; as near as this to a whole minute, a clock time is that minute


def hhmm(clock: float, day: datetime.date | None = None) -> str:
    """Clock seconds as 13:05; a time of another day with its date, or as 01:05 +1 d where no day is given.

    `day` is the day that the clock seconds and the sheet belong to.

    >>> hhmm(47100.0), hhmm(90000.0), hhmm(90000.0, datetime.date(2026, 3, 2))
    ('13:05', '01:00 +1 d', 'Tue 3 Mar 01:00')
    """
    minutes = math.floor(clock / MINUTE + _SAME_MINUTE)
    days, minutes = divmod(minutes, 1440)
    words = f"{minutes // 60:02d}:{minutes % 60:02d}"
    if not days:
        return words
    if day is None:
        return f"{words} {days:+d} d"
    date = day + datetime.timedelta(days=days)
    year = f" {date.year}" if abs(days) >= FAR else ""
    return f"{WEEKDAYS[date.weekday()]} {date.day} {MONTHS[date.month - 1]}{year} {words}"


def next_minute(clock: float) -> float:
    """The first whole minute that is not before a clock time [s]; inf stays inf.

    >>> next_minute(47100.0), next_minute(47100.5)
    (47100.0, 47160.0)
    """
    return MINUTE * math.ceil(clock / MINUTE - _SAME_MINUTE) if math.isfinite(clock) else clock


def last_second(clock: float) -> int:
    """The whole second in which a clock time falls [s]: what a cell keeps of it.

    >>> last_second(47099.9), hhmm(47099.9)
    (47099, '13:04')
    """
    return math.floor(clock + MINUTE * _SAME_MINUTE)


def earliest_text(clock: float, day: datetime.date | None = None) -> str:
    """From when on something may be done, as `hhmm` tells it: never a minute that is too early.

    >>> earliest_text(47100.5), hhmm(47100.5)
    ('13:06', '13:05')
    """
    return hhmm(next_minute(clock), day)


__all__ = ["MONTHS", "WEEKDAYS", "earliest_text", "hhmm", "last_second", "next_minute"]
