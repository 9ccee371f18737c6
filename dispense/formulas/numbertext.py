"""Numbers as a spreadsheet writes them, and texts as it reads them."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_UP, Context, Decimal

from ..xlsx.formula_text import Unevaluable

FIRST_SURE_DAY = 61  # 1900-03-01; spreadsheets disagree on earlier days
LAST_DAY = 2_958_465  # 9999-12-31
WHOLE_SECOND = 1e-3  # seconds; a serial number holds a whole second no better
FIFTEEN = Context(prec=15, rounding=ROUND_HALF_UP)
EPOCH = date(1899, 12, 30)
MAX_TEXT = 32_767


def snap(number: float) -> float:
    """A number cut to 15 significant digits, as spreadsheets do before they cut to whole ones."""
    return float(f"{number:.15g}") if math.isfinite(number) else number


def general(value: float | int | str | bool | None) -> str:
    """A value joined to a text: the general number format with up to 15 digits."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, str):
        return value
    number = float(value)
    if number == 0:
        return "0"
    if not 1e-4 <= abs(number) < 1e15:
        raise Unevaluable(f"the number {number:g} as text differs between spreadsheets")
    plain = format(FIFTEEN.create_decimal(repr(number)), "f")
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


PLAIN_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
GROUPED = re.compile(r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$")
ISO_DATE = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})(?:[ T](.+))?$")
CLOCK = re.compile(r"^(\d{1,4}):(\d{1,2})(?::(\d{1,2}(?:\.\d+)?))?\s*([aApP][mM])?$")
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}"
LOCAL_FORM = re.compile(  # dates, money, fractions and digit groups as some languages write them
    rf"^\d{{1,4}}[-/.]\d{{1,2}}([-/. ]\d{{1,4}})?([ T].*)?$|^\d{{1,2}}[-/. ]?{_MONTH}\b"
    rf"|^{_MONTH}[-/. ]\d|^[+-]?\s*[$€£]|[\d.,]\s*[$€£]$|^\([\d.,]+\)$|^[+-]?\d+ \d+/\d+$"
    r"|^[+-]?\d+([.,']\d+)+$|^[+-] +[\d.]|^[\d.,]+[-+]$|^\d[\d.]* ?[ap]m?$",
    re.IGNORECASE,
)


def read_number(text: str) -> float | None:
    """A text as a number, None where it is not one; the reading of local forms is refused."""
    text = text.strip()
    if PLAIN_NUMBER.match(text):
        return float(text)
    if text.endswith("%") and PLAIN_NUMBER.match(text[:-1].strip()):
        return float(text[:-1]) / 100
    if GROUPED.match(text):
        return float(text.replace(",", ""))
    if match := ISO_DATE.match(text):
        try:
            day = date(int(match[1]), int(match[2]), int(match[3]))
        except ValueError:
            return None
        clock = 0.0 if match[4] is None else _clock(match[4])
        return None if clock is None else serial(day) + clock
    if CLOCK.match(text):
        return _clock(text)
    if LOCAL_FORM.search(text):
        raise Unevaluable(f'whether "{text}" is a number depends on the language of the program')
    return None


def _clock(text: str) -> float | None:
    match = CLOCK.match(text.strip())
    if not match:
        return None
    hour, minute, second = int(match[1]), int(match[2]), float(match[3] or 0)
    if minute > 59 or second >= 60:
        return None
    if match[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match[4].lower() == "pm" else 0)
    return (hour * 3600 + minute * 60 + second) / 86400


def serial(day: date) -> float:
    """A day as its serial number (day 1 is 1900-01-01, sure from 1900-03-01)."""
    number = (day - EPOCH).days
    if number < FIRST_SURE_DAY:
        raise Unevaluable("days before 1900-03-01 differ from one spreadsheet to the next")
    return float(number)


def day_of(number: float) -> date | None:
    """The day of a serial number, None where there is none."""
    whole = math.floor(snap(number))
    if whole < 0 or whole > LAST_DAY:
        return None
    if whole < FIRST_SURE_DAY:
        raise Unevaluable("days before 1900-03-01 differ from one spreadsheet to the next")
    return EPOCH + timedelta(days=whole)


def clock_of(number: float) -> tuple[int, int, int]:
    """Hour, minute and second of a serial number, rounded to the second.

    Where rounding turns the minute, spreadsheets disagree on hour and minute: refused.
    """
    exact = (number - math.floor(number)) * 86400
    seconds = math.floor(exact + 0.5)
    if seconds // 60 != math.floor(exact + WHOLE_SECOND) // 60:
        raise Unevaluable("a time within a second of the next minute differs between spreadsheets")
    seconds %= 86400
    return seconds // 3600, seconds // 60 % 60, seconds % 60


def round_half_away(number: float, digits: int) -> float:
    """ROUND: half away from zero on the 15 digits that a spreadsheet holds."""
    if not math.isfinite(number) or abs(digits) > 300:
        return number if digits > 0 else 0.0
    exact = Decimal(f"{number:.15g}")
    if exact.as_tuple().exponent >= -digits:  # type: ignore[operator]  # finite
        return float(exact) if digits >= 0 else float(number)
    step = Decimal(1).scaleb(-digits)
    return float((exact / step).quantize(Decimal(1), ROUND_HALF_UP) * step)


def moment_serial(moment: datetime | date) -> float:
    """A date or a date and time as a serial number."""
    if isinstance(moment, datetime):
        clock = moment - datetime.combine(moment.date(), datetime.min.time())
        return serial(moment.date()) + clock.total_seconds() / 86400
    return serial(moment)
