"""DATE, WEEKDAY, EDATE and other functions of dates and times."""

from __future__ import annotations

import calendar
import math
from datetime import date, timedelta

from ..xlsx.formula_text import Unevaluable
from . import numbertext
from .declare import elementwise
from .values import NUM, Fault


def _day(number: float) -> date:
    day = numbertext.day_of(number)
    if day is None:
        raise Fault(NUM)
    return day


@elementwise("DATE", "nnn", dates=True)
def _date(year: float, month: float, day: float) -> float:
    y, m, d = math.floor(year), math.floor(month), math.floor(day)
    if 0 <= y < 1900:
        if y < 100:
            raise Unevaluable("a year below 100 differs between spreadsheets")
        y += 1900
    y, m = y + (m - 1) // 12, (m - 1) % 12 + 1
    if not 1900 <= y <= 9999:
        raise Fault(NUM)
    return numbertext.serial(date(y, m, 1) + timedelta(days=d - 1))


@elementwise("TIME", "nnn", dates=True)
def _time(hour: float, minute: float, second: float) -> float:
    seconds = int(hour) * 3600 + int(minute) * 60 + int(second)
    if seconds < 0:
        raise Fault(NUM)
    return seconds % 86400 / 86400


for _names, _part_of in {
    "YEAR": lambda n: float(_day(n).year),
    "MONTH": lambda n: float(_day(n).month),
    "DAY": lambda n: float(_day(n).day),
    "HOUR": lambda n: float(numbertext.clock_of(n)[0]),
    "MINUTE": lambda n: float(numbertext.clock_of(n)[1]),
    "SECOND": lambda n: float(numbertext.clock_of(n)[2]),
    "ISOWEEKNUM": lambda n: float(_day(n).isocalendar().week),
}.items():
    elementwise(_names, "n", dates=True)(_part_of)


@elementwise("WEEKDAY", "nn", 1, dates=True)
def _weekday(number: float, kind: float = 1) -> float:
    day = _day(number).weekday()  # Monday is 0
    how = int(kind)
    if how == 3:
        return float(day)
    first = {1: 6, 2: 0}.get(how, how - 11 if 11 <= how <= 17 else -1)
    if first < 0:
        raise Fault(NUM)
    return float((day - first) % 7 + 1)


@elementwise("WEEKNUM", "nn", 1, dates=True)
def _week_number(number: float, kind: float = 1) -> float:
    day, how = _day(number), int(kind)
    if how == 21:
        return float(day.isocalendar().week)
    first = {1: 6, 2: 0}.get(how, how - 11 if 11 <= how <= 17 else -1)
    if first < 0:
        raise Fault(NUM)
    lead = (date(day.year, 1, 1).weekday() - first) % 7
    return float((day.timetuple().tm_yday - 1 + lead) // 7 + 1)


def _add_months(day: date, months: int) -> date:
    index = day.year * 12 + day.month - 1 + months
    year, month = index // 12, index % 12 + 1
    if not 1900 <= year <= 9999:
        raise Fault(NUM)
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


@elementwise("EDATE", "nn", dates=True)
def _edate(start: float, months: float) -> float:
    return numbertext.serial(_add_months(_day(start), int(months)))


@elementwise("EOMONTH", "nn", dates=True)
def _end_of_month(start: float, months: float) -> float:
    day = _add_months(_day(start), int(months))
    return numbertext.serial(day.replace(day=calendar.monthrange(day.year, day.month)[1]))
