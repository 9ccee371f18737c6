"""TEXT: numbers, dates and times written as a sheet of a plant asks for them.

Written are digits (`0`, `000`, `0.00`, `0.0#`, `#,##0.0`, `0.0%`), dates and times (`d mmm yyyy`,
`ddd dd.mm.yy`, `hh:mm:ss`, `h:mm AM/PM`, `[h]:mm`), with spaces and quoted texts beside them. Any
other format (sections, conditions, powers of ten, fractions) is refused. Names are English.
"""

from __future__ import annotations

import math
import re
from datetime import date
from decimal import ROUND_HALF_UP, Context, Decimal

from ..xlsx.formula_text import Unevaluable
from .numbertext import LAST_DAY, WHOLE_SECOND, day_of, general

__all__ = ["TOKEN", "format_number", "is_date_format"]

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
WIDE = Context(prec=400)  # digits enough for any double written out

_BESIDE = r'((?: |"[^"]*+")*+)'
NUMBER = re.compile(rf"{_BESIDE}(#,##0|0++)(?:\.(0*+)(#*+))?( ?%)?{_BESIDE}")
TOKEN = re.compile(r'"[^"]*+"|\[h{1,2}\]|AM/PM|y++|m++|d++|h++|s++|.', re.IGNORECASE | re.DOTALL)
_BETWEEN = frozenset(" .,:/-")


def is_date_format(code: str) -> bool:
    """Whether a number format writes a date or a time."""
    bare = re.sub(r'"[^"]*"|\\.|\[(?![hms]{1,9}\])[^\]]{0,255}\]|General', "", code, flags=re.IGNORECASE)
    return bool(re.search(r"[ymdhs]", bare, flags=re.IGNORECASE))


def format_number(value: float | int | str | bool | None, code: str) -> str:
    """TEXT(value, code); a text stays as it is."""
    is_text = isinstance(value, bool | str)
    if is_text and not set(code) & set("@;"):
        return general(value)
    if is_text or "@" in code:
        raise Unevaluable(f'the number format "{code}" writes a text')
    number = float(value or 0.0)
    if not code:
        return ""
    if match := NUMBER.fullmatch(code):
        return _written_number(number, match)
    if is_date_format(code):
        return _written_date(number, code)
    raise Unevaluable(f'the number format "{code}" is not computed here')


def _written_number(number: float, form: re.Match[str]) -> str:
    before, whole, sure, optional, percent, after = (part or "" for part in form.groups())
    places = len(sure) + len(optional)
    exact = Decimal(f"{number:.15g}") * (100 if percent else 1)
    rounded = exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP, WIDE)
    digits, _, decimals = format(abs(rounded), ",f" if whole[0] == "#" else "f").partition(".")
    kept = decimals.rstrip("0") if optional else decimals
    shown = digits if whole[0] == "#" else digits.zfill(len(whole))
    if form[3] is not None:
        shown += "." + decimals[: max(len(kept), len(sure))]
    sign = "-" if rounded < 0 else ""
    return sign + _unquoted(before) + shown + percent + _unquoted(after)


def _unquoted(text: str) -> str:
    return text.replace('"', "")


def _written_date(number: float, code: str) -> str:
    """A date or time; where rounding and cutting the seconds give two texts it is refused."""
    if not 0 <= number <= LAST_DAY + 1:
        raise Unevaluable(f"the number {number:g} has no date")
    parts = _date_parts(code)
    texts = {_date_text(math.floor(number * 86400 + more), parts) for more in (0.5, WHOLE_SECOND)}
    if len(texts) > 1:
        raise Unevaluable("a time between two seconds as text differs between spreadsheets")
    return texts.pop()


def _date_parts(code: str) -> list[str]:
    """The pieces of a format in small letters, quoted texts as they are; minutes are `n` and `nn`."""
    parts = [part if part[0] == '"' else part.lower() for part in TOKEN.findall(code)]
    fields = [place for place, part in enumerate(parts) if part[0] in "ymdhs["]
    for at, place in enumerate(fields):
        before = parts[fields[at - 1]] if at else ""
        after = parts[fields[at + 1]] if at + 1 < len(fields) else ""
        if parts[place] in ("m", "mm") and (before.startswith(("h", "[h")) or after.startswith("s")):
            parts[place] = parts[place].replace("m", "n")
    return parts


def _date_text(seconds: int, parts: list[str]) -> str:
    """The date and time of a number of seconds in the pieces of a format."""
    days, clock = divmod(seconds, 86400)
    hour, minute, second = clock // 3600, clock // 60 % 60, clock % 60
    written = {"[h]": str(seconds // 3600), "[hh]": f"{seconds // 3600:02d}"}
    written |= {"n": str(minute), "nn": f"{minute:02d}", "s": str(second), "ss": f"{second:02d}"}
    shown = (hour % 12 or 12) if "am/pm" in parts else hour
    written |= {"h": str(shown), "hh": f"{shown:02d}", "am/pm": "AM" if hour < 12 else "PM"}
    if any(part[0] in "ymd" for part in parts):
        day = day_of(days)
        if day is None:
            raise Unevaluable("the number has no date")
        written |= _day_texts(day)
    out = []
    for part in parts:
        if part[0] == '"':
            out.append(part[1:-1])
        elif part in written or part in _BETWEEN:
            out.append(written.get(part, part))
        else:
            raise Unevaluable(f'the number format holds "{part}", which is not computed here')
    return "".join(out)


def _day_texts(day: date) -> dict[str, str]:
    month, weekday = MONTHS[day.month - 1], DAYS[day.weekday()]
    texts = {"yyyy": f"{day.year:04d}", "yy": f"{day.year % 100:02d}"}
    texts |= {"m": str(day.month), "mm": f"{day.month:02d}", "mmm": month[:3], "mmmm": month}
    return texts | {"d": str(day.day), "dd": f"{day.day:02d}", "ddd": weekday[:3], "dddd": weekday}
