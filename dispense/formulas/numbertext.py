"""Numbers as a spreadsheet writes them, and texts as it reads them."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_UP, Context, Decimal
from functools import lru_cache

from ..xlsx.formula_text import Unevaluable

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
FIRST_SURE_DAY = 61  # 1900-03-01; spreadsheets disagree on earlier days
LAST_DAY = 2_958_465  # 9999-12-31
WHOLE_SECOND = 1e-3  # seconds; a serial number holds a whole second no better
FIFTEEN = Context(prec=15, rounding=ROUND_HALF_UP)
WIDE = Context(prec=400)  # digits enough for any double written out
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


def is_date_format(code: str) -> bool:
    """Whether a number format writes a date or a time."""
    bare = re.sub(r'"[^"]*"|\\.|\[(?![hms]{1,9}\])[^\]]{0,255}\]|General', "", code, flags=re.IGNORECASE)
    return bool(re.search(r"[ymdhs]", bare, flags=re.IGNORECASE))


TOKEN = re.compile(
    r'"[^"]*"|\\.|_.|\*.|\[[^\]]{0,255}\]|AM/PM|A/P|General|[yY]+|[mM]+|[dD]+|[hH]+|[sS]+'
    r"|[eE][+-](?=[0#?])|[0#?]+|.",
    re.IGNORECASE | re.DOTALL,
)


@lru_cache(maxsize=512)
def _sections(code: str) -> tuple[tuple[str, ...], ...]:
    sections: list[list[str]] = [[]]
    for token in TOKEN.findall(code):
        if token == ";":
            sections.append([])
        else:
            sections[-1].append(token)
    return tuple(map(tuple, sections))


def format_number(value: float | int | str | bool | None, code: str) -> str:
    """TEXT(value, code): the common number, percent, exponent, date and time formats."""
    if isinstance(value, bool):
        return general(value)
    sections = _sections(code)
    if any(token.startswith("[") and re.match(r"\[[<>=]", token) for s in sections for token in s):
        raise Unevaluable(f'the number format "{code}" holds a condition')
    if isinstance(value, str):
        if len(sections) > 3:
            return "".join(value if t == "@" else _literal(t) for t in sections[3])
        if len(sections) == 1 and "@" in sections[0]:
            return "".join(value if t == "@" else _literal(t) for t in sections[0])
        return value
    number = 0.0 if value is None else float(value)
    if not code:
        return ""
    negative = number < 0
    if len(sections) > 1 and negative:
        section, number, negative = sections[1], -number, False
    elif len(sections) > 2 and number == 0:
        section = sections[2]
    else:
        section = sections[0]
    if is_date_format("".join(section)):
        if negative:
            raise Unevaluable("a negative number has no date")
        return _format_date(number, section)
    body = _format_plain(abs(number), section)
    return ("-" if negative and re.search(r"[1-9]", body) else "") + body


def _literal(token: str) -> str:
    if token.startswith('"'):
        return token[1:-1]
    if token.startswith("\\"):
        return token[1:]
    if token.startswith("_"):
        return " "
    if token.startswith(("*", "[")):
        return ""
    if token.isascii() and token.isalpha():
        raise Unevaluable(f'the number format holds the letter "{token}" without quotes')
    return token


def _format_plain(number: float, section: tuple[str, ...]) -> str:
    text = "".join(section)
    if "/" in section and any(set(t) <= set("0#?") for t in section):
        raise Unevaluable(f'the number format "{text}" writes a fraction')
    if any(t.lower() == "general" for t in section):
        return "".join(general(number) if t.lower() == "general" else _literal(t) for t in section)
    marks = [i for i, t in enumerate(section) if t and set(t) <= set("0#?")]
    if not marks:
        return "".join(general(number) if t == "@" else _literal(t) for t in section)
    if "?" in text:
        raise Unevaluable(f'the number format "{text}" pads with spaces')
    number *= 100 ** sum(t == "%" for t in section)
    exponents = [i for i, t in enumerate(section) if re.fullmatch(r"[eE][+-]", t)]
    point = next((i for i, t in enumerate(section) if t == "." and (not marks or i < marks[-1] + 2)), None)
    stop = exponents[0] if exponents else len(section)
    whole = [i for i in marks if i < (point if point is not None else stop)]
    decimals = [i for i in marks if point is not None and point < i < stop]
    power = [i for i in marks if i > stop]
    if not _adjoin(section, whole) or not _adjoin(section, decimals):
        raise Unevaluable(f'the number format "{text}" has text between its digits')
    commas = [i for i, t in enumerate(section) if t == "," and i < stop]
    last = (whole or marks)[-1]
    grouped = any(whole and whole[0] < i < whole[-1] for i in commas)
    tail = max([*whole, *decimals], default=last)
    scale = 0
    while tail + 1 + scale < len(section) and section[tail + 1 + scale] == ",":
        scale += 1
    number /= 1000**scale
    shape_whole = "".join(section[i] for i in whole)
    shape_decimals = "".join(section[i] for i in decimals)
    exponent = 0
    if exponents:
        if len(shape_whole) != 1:
            raise Unevaluable(f'the number format "{text}" is an engineering format')
        if number:
            exponent = int(f"{number:.{len(shape_decimals)}e}".partition("e")[2])
            number = float(Decimal(f"{number:.15g}").scaleb(-exponent))
    before, after = _digits(number, shape_whole, shape_decimals, grouped)
    out, written = [], False
    for i, token in enumerate(section):
        if i in whole:
            if not written:
                out.append(before)
                written = True
        elif i == point:
            if not written:
                out.append(before)
                written = True
            out.append(".")
        elif i in decimals:
            if i == decimals[0]:
                out.append(after)
        elif i in exponents:
            sign = "-" if exponent < 0 else ("+" if token[1] == "+" else "")
            out.append(token[0].upper() + sign)
        elif i in power:
            if i == power[0]:
                out.append(str(abs(exponent)).zfill(sum(section[j].count("0") for j in power)))
        elif token == ",":
            continue
        else:
            out.append(_literal(token))
    return "".join(out)


def _adjoin(section: tuple[str, ...], places: list[int]) -> bool:
    return not places or all(section[i] == "," or i in places for i in range(places[0], places[-1] + 1))


def _digits(number: float, whole: str, decimals: str, grouped: bool) -> tuple[str, str]:
    """The digits before and after the point for shapes such as `#,##0` and `0.0#`."""
    step = Decimal(1).scaleb(-len(decimals))
    exact = Decimal(f"{number:.15g}").quantize(step, ROUND_HALF_UP, WIDE)
    before, _, after = format(exact, "f").partition(".")
    before = before.lstrip("0").rjust(whole.count("0"), "0")
    optional = len(decimals) - len(decimals.rstrip("#"))
    kept = after.rstrip("0") if optional else after
    after = after[: max(len(kept), len(decimals) - optional)]
    if grouped:
        head = len(before) % 3
        parts = [before[:head]] if head else []
        parts += [before[i : i + 3] for i in range(head, len(before), 3)]
        before = ",".join(parts)
    return before, after


def _format_date(number: float, section: tuple[str, ...]) -> str:
    """A date or time; where rounding and cutting the seconds give two texts it is refused."""
    if number > LAST_DAY + 1:
        raise Unevaluable(f"the number {number:g} has no date")
    lowered = [token.lower() for token in section]
    needs_day = any(t[0] in "yd" for t in lowered)
    twelve = any(t in ("am/pm", "a/p") for t in lowered)
    decimals = next(
        (
            len(section[i + 1])
            for i, t in enumerate(lowered[:-1])
            if t == "." and set(section[i + 1]) == {"0"}
        ),
        0,
    )
    exact = number * 86400 * 10**decimals
    texts = {
        _date_text(math.floor(seconds) / 10**decimals, section, lowered, needs_day, twelve, decimals)
        for seconds in (exact + 0.5, exact + WHOLE_SECOND)
    }
    if len(texts) > 1:
        raise Unevaluable("a time between two seconds as text differs between spreadsheets")
    return texts.pop()


def _date_text(
    total: float, section: tuple[str, ...], lowered: list[str], needs_day: bool, twelve: bool, decimals: int
) -> str:
    """The date and time of a number of seconds written in a format."""
    day_number, seconds = divmod(total, 86400)
    hour, minute, second = int(seconds // 3600), int(seconds // 60) % 60, seconds % 60
    minutes_at = _minute_places(lowered)
    if any(t[0] == "m" and i not in minutes_at for i, t in enumerate(lowered)):
        needs_day = True
    day = day_of(day_number) if needs_day else None
    if needs_day and day is None:
        raise Unevaluable("the number has no date")
    out = []
    skip = False
    for i, token in enumerate(lowered):
        if skip:
            skip = False
            continue
        if token.startswith("[h"):
            out.append(str(int(total // 3600)).zfill(len(token) - 2))
        elif token.startswith("[m"):
            out.append(str(int(total // 60)).zfill(len(token) - 2))
        elif token.startswith("[s"):
            out.append(str(int(total)).zfill(len(token) - 2))
        elif token[0] == "y" and day is not None:
            out.append(f"{day.year:04d}" if len(token) > 2 else f"{day.year % 100:02d}")
        elif token[0] == "m" and i in minutes_at:
            out.append(str(minute).zfill(min(len(token), 2)))
        elif token[0] == "m" and day is not None:
            out.append(_month(day, len(token)))
        elif token[0] == "d" and day is not None:
            out.append(_day(day, len(token)))
        elif token[0] == "h":
            shown = (hour % 12 or 12) if twelve else hour
            out.append(str(shown).zfill(min(len(token), 2)))
        elif token[0] == "s":
            text = str(int(second)).zfill(min(len(token), 2))
            out.append(text)
        elif token == "." and decimals and set(lowered[i + 1]) == {"0"}:
            out.append("." + f"{second % 1:.{decimals}f}"[2:])
            skip = True
        elif token == "am/pm":
            out.append("AM" if hour < 12 else "PM")
        elif token == "a/p":
            out.append("A" if hour < 12 else "P")
        else:
            out.append(_literal(section[i]))
    return "".join(out)


def _minute_places(lowered: list[str]) -> set[int]:
    """Where m means minutes: after hours or before seconds."""
    clockwork = [i for i, t in enumerate(lowered) if t[0] in "ymdhs" or t[:2] in ("[h", "[m", "[s")]
    places = set()
    for position, i in enumerate(clockwork):
        if lowered[i][0] != "m" or len(lowered[i]) > 2:
            continue
        before = lowered[clockwork[position - 1]] if position else ""
        after = lowered[clockwork[position + 1]] if position + 1 < len(clockwork) else ""
        if before[:1] == "h" or before[:2] == "[h" or after[:1] == "s" or after[:2] == "[s":
            places.add(i)
    return places


def _month(day: date, length: int) -> str:
    if length >= 5:
        return MONTHS[day.month - 1][0]
    if length == 4:
        return MONTHS[day.month - 1]
    if length == 3:
        return MONTHS[day.month - 1][:3]
    return str(day.month).zfill(length)


def _day(day: date, length: int) -> str:
    if length >= 4:
        return DAYS[day.weekday()]
    if length == 3:
        return DAYS[day.weekday()][:3]
    return str(day.day).zfill(length)


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
