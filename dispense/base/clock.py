"""Clock times in words: 13:05, and the date where it is of another day."""

from __future__ import annotations

import datetime
import math

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


FAR = 180  # days from which the year is told too


def hhmm(clock: float, day: datetime.date | None = None) -> str:
    """Clock seconds as 13:05; a time of another day with its date, or as 01:05 +1 d where no day is given.

    `day` is the day that the clock seconds and the sheet belong to.

    >>> hhmm(47100.0), hhmm(90000.0), hhmm(90000.0, datetime.date(2026, 3, 2))
    ('13:05', '01:00 +1 d', 'Tue 3 Mar 01:00')
    """
    minutes = math.floor(clock / 60.0 + 1e-6)
    days, minutes = divmod(minutes, 1440)
    words = f"{minutes // 60:02d}:{minutes % 60:02d}"
    if not days:
        return words
    if day is None:
        return f"{words} {days:+d} d"
    date = day + datetime.timedelta(days=days)
    year = f" {date.year}" if abs(days) >= FAR else ""
    return f"{WEEKDAYS[date.weekday()]} {date.day} {MONTHS[date.month - 1]}{year} {words}"


__all__ = ["MONTHS", "WEEKDAYS", "hhmm"]
