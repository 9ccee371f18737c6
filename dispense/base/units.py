"""Units: converted once, at the edge.

Shop units (`mm`, `mL`, `min`, `°C`, …) are the units of plain numbers in cells. Each has its factor
to SI in `SHOP_UNITS`, so that plain numbers never wait for pint. A text with a unit
(`"3/16 in"`, `"75 degF"`, `"3500 cP"`) is read by `read_quantity`; the unit part is looked up once
in pint and kept. A temperature (`°C`) and a temperature difference (`K`) are different kinds.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, TypeVar

from .errors import Problem, UnitError, show

if TYPE_CHECKING:
    import pint

    from .numbers import Floats, Number

_N = TypeVar("_N", float, "Floats", "Number")

CELSIUS_ZERO = 273.15  # K
# K; a smaller range is told as one temperature, since whole degrees are printed
ONE_TEMPERATURE = 0.5
LONGEST = 100 * 365.25 * 86400.0  # seconds; a time further off is not printed


@dataclass(frozen=True, slots=True)
class ShopUnit:
    """A unit of the worksheets: SI value = factor × number + offset."""

    symbol: str  # as printed
    si: str  # the SI unit, as printed
    factor: float
    pint: str  # how pint spells it
    offset: float = 0.0

    @property
    def is_temperature(self) -> bool:
        """Whether this is a temperature on a scale, not a difference."""
        return self.symbol == "°C"


MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
AS_GIVEN = "as given"  # a quantity in whatever unit its caller counts

# symbol, SI symbol, factor, pint spelling [, offset]; pint agrees with each row by test
SHOP_UNITS: dict[str, ShopUnit] = {
    unit.symbol: unit
    for unit in (
        ShopUnit("", "", 1.0, "dimensionless"),
        ShopUnit("%", "", 0.01, "percent"),
        ShopUnit("mm", "m", 1e-3, "millimeter"),
        ShopUnit("m", "m", 1.0, "meter"),
        ShopUnit("mm²", "m²", 1e-6, "millimeter**2"),
        ShopUnit("mL", "m³", 1e-6, "milliliter"),
        ShopUnit("L", "m³", 1e-3, "liter"),
        ShopUnit("g", "kg", 1e-3, "gram"),
        ShopUnit("kg", "kg", 1.0, "kilogram"),
        ShopUnit("g/mL", "kg/m³", 1e3, "gram/milliliter"),
        ShopUnit("g/m³", "kg/m³", 1e-3, "gram/meter**3"),
        ShopUnit("g/eq", "kg/mol", 1e-3, "gram/mole"),
        ShopUnit("deg", "rad", math.pi / 180.0, "degree"),
        ShopUnit("s", "s", 1.0, "second"),
        ShopUnit("min", "s", MINUTE, "minute"),
        ShopUnit("h", "s", HOUR, "hour"),
        ShopUnit("d", "s", DAY, "day"),
        ShopUnit("1/s", "1/s", 1.0, "1/second"),
        ShopUnit("1/min", "1/s", 1.0 / MINUTE, "1/minute"),
        ShopUnit("1/h", "1/s", 1.0 / HOUR, "1/hour"),
        ShopUnit("mm/s", "m/s", 1e-3, "millimeter/second"),
        ShopUnit("m/min", "m/s", 1.0 / MINUTE, "meter/minute"),
        ShopUnit("mL/s", "m³/s", 1e-6, "milliliter/second"),
        ShopUnit("mL/bar", "m³/Pa", 1e-11, "milliliter/bar"),
        ShopUnit("N", "N", 1.0, "newton"),
        ShopUnit("N/mm", "N/m", 1e3, "newton/millimeter"),
        ShopUnit("mN/m", "N/m", 1e-3, "millinewton/meter"),
        ShopUnit("Pa", "Pa", 1.0, "pascal"),
        ShopUnit("kPa", "Pa", 1e3, "kilopascal"),
        ShopUnit("bar", "Pa", 1e5, "bar"),
        ShopUnit("Pa·s", "Pa·s", 1.0, "pascal*second"),
        # the index n is not part of the unit text: a consistency is read as Pa·s at 1/s
        ShopUnit("Pa·sⁿ", "Pa·sⁿ", 1.0, "pascal*second"),
        ShopUnit("°C", "K", 1.0, "degC", CELSIUS_ZERO),
        ShopUnit("K", "K", 1.0, "delta_degC"),
        ShopUnit("1/K", "1/K", 1.0, "1/delta_degC"),
        ShopUnit("kJ/mol", "J/mol", 1e3, "kilojoule/mole"),
        ShopUnit("J/g", "J/kg", 1e3, "joule/gram"),
        ShopUnit("J/(g·K)", "J/(kg·K)", 1e3, "joule/gram/delta_degC"),
        ShopUnit("W/(m·K)", "W/(m·K)", 1.0, "watt/meter/delta_degC"),
        ShopUnit("W/(m²·K)", "W/(m²·K)", 1.0, "watt/meter**2/delta_degC"),
        ShopUnit("K/W", "K/W", 1.0, "delta_degC/watt"),
        ShopUnit("K·mm²/W", "K·m²/W", 1e-6, "delta_degC*millimeter**2/watt"),
        ShopUnit("W/m³", "W/m³", 1.0, "watt/meter**3"),
        ShopUnit("mm/√h", "m/√s", 1e-3 / 60.0, "millimeter/hour**0.5"),
        ShopUnit("mW/cm²", "W/m²", 10.0, "milliwatt/centimeter**2"),
        ShopUnit("J/cm²", "J/m²", 1e4, "joule/centimeter**2"),
    )
}


@cache
def registry() -> pint.UnitRegistry[Any]:
    """The one pint registry, built on first use."""
    import pint

    units: pint.UnitRegistry[Any] = pint.UnitRegistry(autoconvert_offset_to_baseunit=False, cache_folder=None)
    units.define("equivalent = mole = eq")
    return units


# Spellings of the shop that pint does not read, replaced in the unit text before pint sees it.
_SPELLINGS = (
    ("²", "**2"),
    ("³", "**3"),
    ("·", "*"),
    ("⋅", "*"),
    ("µ", "u"),
    ("μ", "u"),
    ("−", "-"),
    ("℃", "degC"),
    ("℉", "degF"),
    ("º", "°"),
    ("˚", "°"),
    ("°C", "degC"),
    ("°F", "degF"),
    ("°", "deg"),
    ("√h", "hour**0.5"),
    ("sⁿ", "s"),
    ("s^n", "s"),
    ("″", "inch"),
    ("”", "inch"),
    ("''", "inch"),
    ('"', "inch"),
)
# whole texts
_WORDS = {
    "deg C": "degC",
    "deg F": "degF",
    "C": "degC",
    "F": "degF",
    "%": "percent",
    "-": "dimensionless",
    "–": "dimensionless",
    "W/mK": "W/(m*K)",
    "W/m**2K": "W/(m**2*K)",
    "J/gK": "J/(g*K)",
    "J/kgK": "J/(kg*K)",
    "kJ/kgK": "kJ/(kg*K)",
}
# single names, within a text such as cc/min too
_NAMES = {
    "cP": "centipoise",
    "eq": "mole",
    "d": "day",
    "h": "hour",
    "%": "percent",
    "mPas": "millipascal*second",
    "Pas": "pascal*second",
    "kPas": "kilopascal*second",
}
# single names, in capitals too; a mil is a thousandth of an inch, a gallon and a fluid ounce are
# those of the US unless the text says imperial
_NAMES_OF_ANY_CASE = {
    "cc": "milliliter",
    "ccm": "milliliter",
    "ml": "milliliter",
    "gal": "gallon",
    "cst": "centistokes",
    "hr": "hour",
    "hrs": "hour",
    "sec": "second",
    "secs": "second",
    "mins": "minute",
    "days": "day",
    "lbs": "pound",
    "cps": "centipoise",
    "pct": "percent",
    "mil": "thou",
    "mils": "thou",
    "pcs": "dimensionless",
    "pc": "dimensionless",
    "ea": "dimensionless",
    "floz": "fluid_ounce",
}
_IMPERIAL, _OF_US = r"(?:imp(?:erial)?\b|uk\b)\.?", r"(?:us\b|u\.s\.)"
_GALLON, _FLUID_OUNCE = r"gal(?:lons?)?\b\.?", r"fl(?:uid)?\.?\s*(?:oz\b\.?|ounces?\b)"
_PHRASES = tuple(
    (re.compile(rf"{kind}\s*{name}|{name}\s*\(\s*{kind}\s*\)", re.IGNORECASE), word)
    for kind, name, word in (
        (_IMPERIAL, _GALLON, "imperial_gallon"),
        (_OF_US, _GALLON, "gallon"),
        (_IMPERIAL, _FLUID_OUNCE, "imperial_fluid_ounce"),
        (_OF_US, _FLUID_OUNCE, "fluid_ounce"),
    )
) + ((re.compile(rf"(?<![a-z_]){_FLUID_OUNCE}", re.IGNORECASE), "fluid_ounce"),)
_POWER_WRITTEN_AS_DIGIT = re.compile(r"(?<![A-Za-z])(mm|cm|dm|km|um|m|in|inch|ft)([23])(?!\w)")
_POINT_AS_TIMES = re.compile(r"(?<=[A-Za-z])\.(?=[A-Za-z])")
#: what a unit text may be made of: names, their powers (one digit), * and /, a leading 1, brackets
_UNIT_TOKEN = re.compile(
    r"\s*(?:(?P<power>(?:\*\*|\^)\s*(?:\(\s*[+-]?\d(?:\.\d{1,3})?\s*\)|[+-]?\d(?:\.\d{1,3})?(?![\d.])))"
    r"|(?P<name>[^\W\d]\w*|%)|(?P<one>1)(?![\w.])|(?P<times>[*/])|(?P<open>\()|(?P<close>\)))"
)
LONGEST_UNIT = 48  # characters
LONGEST_NUMBER = 400  # characters of a number with its unit
_MOST_BRACKETS = 3  # within one another
_RATIOS = frozenset({"dimensionless", "percent", "ppm", "permille"})
_PURE = {
    "": _RATIOS,
    "%": _RATIOS,
    "deg": frozenset({"degree", "radian", "turn", "gradian", "arcminute", "arcsecond", "milliradian"}),
}
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)\s*(?:(?P<whole>\d+)(?:\s+|-))?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)(?![\d.])"
    r"|(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"
    r"(?:\s*[×·xX*]\s*10\s*(?:\^|\*\*)\s*(?P<ten>[+-]?\d{1,3})(?!\d))?"
)
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_POWER_OF_TEN = re.compile(r"([×·xX*]\s*10)([⁺⁻]?[⁰¹²³⁴-⁹]{1,3})")
_WITH_COMMA = re.compile(r"(?P<whole>[+-]?\d+),(?P<part>\d+)(?![\d,.'])")


# SI units that are powers of the metre and of the second: those powers
_POWERS = {
    "m": (1, 0),
    "m²": (2, 0),
    "m³": (3, 0),
    "s": (0, 1),
    "1/s": (0, -1),
    "m/s": (1, -1),
    "m³/s": (3, -1),
    "m/√s": (1, -0.5),
}


@cache
def coherent_factor(symbol: str, system: tuple[str, ...]) -> float:
    """Factor of a shop unit to the units in which a coherent system of lengths and times counts.

    `system` names its length, its time or both. Units of other quantities keep their factor to SI.

    >>> coherent_factor("mL", ("mm",)), coherent_factor("mm/√h", ("mm", "h"))
    (1000.0, 1.0)
    """
    unit = SHOP_UNITS.get(symbol)
    if unit is None or unit.si not in _POWERS:
        return to_si(symbol)[0]
    scale = 1.0
    for name in system:
        base = SHOP_UNITS[name]
        scale *= base.factor ** _POWERS[unit.si]["ms".index(base.si)]
    return float(f"{unit.factor / scale:.15g}")


class _Unreadable(ValueError):
    """A unit text that cannot be read, and what it must be where that is not plain."""


def _spelled(text: str) -> str:
    """A unit text as pint reads it: bounded, made of names, powers, * and / only."""
    if len(text) > LONGEST_UNIT:
        raise _Unreadable(f"a unit of at most {LONGEST_UNIT} characters")
    text = text.strip()
    for pattern, word in _PHRASES:
        text = pattern.sub(word, text)
    text = _WORDS.get(text, text)
    for old, new in _SPELLINGS:
        text = text.replace(old, new)
    text = _POWER_WRITTEN_AS_DIGIT.sub(r"\1**\2", text.rstrip("."))
    text = _POINT_AS_TIMES.sub("*", _WORDS.get(text, text))
    pieces, depth, place, last = [], 0, 0, ""
    while place < len(text):
        found = _UNIT_TOKEN.match(text, place)
        if found is None:
            raise _Unreadable()
        kind, piece = found.lastgroup or "", found[0]
        depth += (kind == "open") - (kind == "close")
        if not 0 <= depth <= _MOST_BRACKETS or (kind == "power" and last not in ("name", "close")):
            raise _Unreadable()
        if kind == "name":
            name = piece.strip()
            known = _NAMES.get(name) or _NAMES_OF_ANY_CASE.get(name.lower())
            piece = f" ({known})" if known and "*" in known else f" {known or name}"
        pieces.append(piece)
        place, last = found.end(), kind
    if depth or not pieces:
        raise _Unreadable()
    return "".join(pieces)


@lru_cache(maxsize=1024)
def _unit(text: str) -> pint.Unit:
    """A unit text as pint's unit."""
    import pint

    try:
        return registry().Unit(_spelled(text))
    except _Unreadable:
        raise
    except (
        pint.errors.PintError,
        ValueError,
        TypeError,
        AttributeError,
        AssertionError,
        KeyError,
        SyntaxError,
        ArithmeticError,
        RecursionError,
    ):
        raise _Unreadable() from None
    except Exception as error:  # pint's parser lets tokenizer errors of other kinds through
        raise _Unreadable(f"a unit; {error}") from None


def is_unit(text: str) -> bool:
    """Whether a text is a unit that is known, of whatever quantity.

    >>> is_unit("mm"), is_unit("fl oz"), is_unit("nominal")
    (True, True, False)
    """
    text = text.strip()
    if text in SHOP_UNITS:
        return text != ""
    try:
        _unit(text)
    except _Unreadable:
        return False
    return True


def is_count(text: str) -> bool:
    """Whether a text stands for a plain number of pieces: pcs, ea, –."""
    return text.strip() != "%" and is_unit(text) and str(_unit(text)) == "dimensionless"


@lru_cache(maxsize=1024)
def unit_factor(text: str, target: str) -> tuple[float, float]:
    """Factor and offset that take a number in the unit `text` to the SI unit of shop unit `target`.

    Raises UnitError where the unit is unknown, of another dimension, or a temperature is given for
    a temperature difference (or the other way round).

    >>> unit_factor("in", "mm")
    (0.0254, 0.0)
    """
    text = text.strip()
    shop = SHOP_UNITS.get(target)
    if shop is None:
        raise UnitError(Problem("unit", "unit", text, "left out: this number has no fixed unit"))
    same = SHOP_UNITS.get(text)
    if same and same.si == shop.si and same.is_temperature == shop.is_temperature:
        return same.factor, same.offset
    import pint

    units = registry()
    try:
        given = _unit(text)
        wanted = units.Unit(shop.pint)
    except _Unreadable as error:
        raise UnitError(
            Problem(
                "unit", "unit", text, str(error) or f"a unit that converts to {target or 'a plain number'}"
            )
        ) from None
    on_scale = str(given) in {"degree_Celsius", "degree_Fahrenheit", "degree_Rankine", "kelvin"}
    is_offset = str(given) in {"degree_Celsius", "degree_Fahrenheit"}
    # pint counts angles and ratios as one kind; we do not
    pure = _PURE.get(target)
    if pure is not None and str(given) not in pure:
        allowed = "an angle such as deg or rad" if target == "deg" else "a plain number or a percentage"
        raise UnitError(Problem("unit", "unit", text, allowed))
    if shop.is_temperature and not on_scale:
        raise UnitError(Problem("unit", "unit", text, "a temperature such as °C, degF or kelvin"))
    if not shop.is_temperature and is_offset:
        kind = "a temperature difference such as K or delta_degF" if target == "K" else target
        raise UnitError(Problem("unit", "unit", text, kind))
    try:
        if shop.is_temperature:
            zero = units.Quantity(0.0, given).to("kelvin").magnitude
            hundred = units.Quantity(100.0, given).to("kelvin").magnitude
            return (hundred - zero) / 100.0, zero
        base = units.Quantity(1.0, given).to(wanted).magnitude
    except pint.errors.DimensionalityError:
        allowed = f"a unit that converts to {target}" if target else "a plain number"
        raise UnitError(Problem("unit", "unit", text, allowed)) from None
    return float(base) * shop.factor, 0.0


def _number_text(text: str) -> str:
    """A text whose number is written as `_NUMBER` reads it: 1½ as 1 1/2, 2×10⁷ as 2×10^7."""
    text = text.strip().replace("\u2044", "/").replace("−", "-")
    text = _POWER_OF_TEN.sub(lambda found: f"{found[1]}^{found[2].translate(_RAISED)}", text)
    return "".join(
        f" {unicodedata.normalize('NFKC', char)}".replace("\u2044", "/")
        if unicodedata.decomposition(char).startswith("<fraction>")
        else char
        for char in text
    ).strip()


def comma_is_decimal(text: str) -> bool | None:
    """Whether the comma in a number is a decimal mark: True, None where it may part thousands.

    >>> comma_is_decimal("2,5"), comma_is_decimal("0,125 in"), comma_is_decimal("1,500")
    (True, True, None)
    """
    found = _WITH_COMMA.match(text.strip())
    if found is None:
        return None
    whole = found["whole"].lstrip("+-")
    return True if len(found["part"]) != 3 or len(whole) > 3 or whole.startswith("0") else None


def with_point(text: str) -> str:
    """A number with a decimal comma, written with a point.

    >>> with_point("2,5 mm")
    '2.5 mm'
    """
    return _WITH_COMMA.sub(r"\g<whole>.\g<part>", text.strip(), count=1)


@lru_cache(maxsize=65536)
def read_quantity(text: str, target: str, plain: str | None = None) -> float:
    """The SI value of a text such as "3/16 in"; where it carries no unit, its number is in `plain`.

    `plain` None stands for the shop unit. Numbers, powers of ten, fractions and mixed numbers are
    read alike: 0.5, 5e-1, 5×10⁻¹, 1/2, ½, 1 1/8, 1-1/8, 1½.

    >>> round(read_quantity("3/16 in", "mm"), 7)
    0.0047625
    >>> round(read_quantity("1-1/8", "mm", "in"), 7)
    0.028575
    >>> read_quantity("75 degF", "°C") - 273.15  # doctest: +ELLIPSIS
    23.888...
    """
    if len(text) > LONGEST_NUMBER:
        raise UnitError(Problem("number", "number", text, f"at most {LONGEST_NUMBER} characters"))
    written = _number_text(text)
    match = _NUMBER.match(written)
    if match is None:
        raise UnitError(Problem("number", "number", text, "a number, or a number with a unit"))
    number = _number(match, text)
    unit = written[match.end() :].strip()
    if unit and target == AS_GIVEN:
        raise UnitError(Problem("unit", "unit", text, "a plain number, in the unit you count"))
    if not unit:
        if target == AS_GIVEN:
            return number
        factor, offset = to_si(target) if plain in (None, target) else unit_factor(plain, target)
    else:
        if unit.startswith("/"):
            unit = "1" + unit
        if (unit[0].isdigit() and not unit.startswith("1/")) or unit[0] in ",.'":
            raise UnitError(
                Problem(
                    "number",
                    "number",
                    text,
                    "a number with a point as decimal mark and no separator of thousands",
                )
            )
        factor, offset = unit_factor(unit, target)
    value = number * factor + offset
    if not math.isfinite(value):
        raise UnitError(Problem("number", "number", text, "a finite number"))
    return value


def _number(match: re.Match[str], text: str) -> float:
    """The number that `_NUMBER` found."""
    if match["number"] is not None:
        try:
            return float(match["number"]) * 10.0 ** int(match["ten"] or 0)
        except OverflowError:
            return math.inf
    if int(match["bottom"]) == 0:
        raise UnitError(Problem("number", "number", text, "a fraction with a bottom above 0"))
    try:
        number = int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    except OverflowError:
        return math.inf
    return -number if match["sign"] == "-" else number


def to_si(unit: str) -> tuple[float, float]:
    """Factor and offset from a shop unit to SI.

    >>> to_si("mm")
    (0.001, 0.0)
    """
    if unit == AS_GIVEN:
        return 1.0, 0.0
    shop = SHOP_UNITS[unit]
    return shop.factor, shop.offset


def from_si(value: _N, unit: str) -> _N:
    """SI value or array in a shop unit."""
    factor, offset = to_si(unit)
    return (value - offset) / factor if offset else value / factor


def si_symbol(unit: str) -> str:
    """The SI unit that stands behind a shop unit, as printed."""
    return "" if unit == AS_GIVEN else SHOP_UNITS[unit].si


LONGEST_HEADER = 200  # characters that a header is looked at


def read_header(header: str) -> tuple[str, str | None]:
    """Name and unit of a column header such as "Width [mm]"; the unit is None where none stands.

    In round brackets, or after a comma, a unit is read where it is one that is known.

    >>> read_header("Width [mm]")
    ('Width', 'mm')
    >>> read_header("Width (mm)"), read_header("Width, in"), read_header("Width (nominal)")
    (('Width', 'mm'), ('Width', 'in'), ('Width (nominal)', None))
    """
    text = " ".join(str(header)[:LONGEST_HEADER].split())
    if text.endswith("]") and "[" in text:
        name, _, unit = text[:-1].rpartition("[")
        return name.strip(), unit.strip()
    if text.endswith(")"):
        cuts = [text[:-1].partition("("), text[:-1].rpartition("(")]
    else:
        cuts = [text.rpartition(",")]
    for name, _, unit in cuts:
        if name.strip() and unit and is_unit(unit):
            return name.strip(), unit.strip()
    return text, None


def is_number(text: str) -> bool:
    """Whether a text is a plain number."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def celsius_text(kelvin: float, digits: int = 0) -> str:
    """A temperature as printed: 23 °C."""
    return f"{from_si(kelvin, '°C'):.{digits}f} °C"


def volume_text(volume: float) -> str:
    """The size of a container as printed, a figure that is stated: 310 mL, 20 L.

    >>> [volume_text(litres / 1e3) for litres in (0.310, 18.92706, 1.0, 12345.6)]
    ['310 mL', '18.93 L', '1 L', '12,346 L']
    """
    from .printed import Stated  # not for those who only look for help

    millilitres = from_si(volume, "mL")
    is_large = millilitres >= 999.95  # which four figures tell as 1000
    return f"{Stated(millilitres / 1000.0).text} L" if is_large else f"{Stated(millilitres).text} mL"


LITRES_FROM = 10e3  # mL from which on a volume is told in litres (common practice, no source)


def told_volume_text(volume: float, digits: int = 0) -> str:
    """A volume [m³] as a clock list or a finding tells it: in mL with so many digits, from 10 L on in litres.

    >>> told_volume_text(110e-6, 1), told_volume_text(9.999e-3), told_volume_text(15.9326e-3)
    ('110.0 mL', '9999 mL', '15.9 L')
    """
    millilitres = round(float(from_si(volume, "mL")), digits)
    return f"{millilitres / 1000.0:.1f} L" if millilitres >= LITRES_FROM else f"{millilitres:.{digits}f} mL"


def rounded_volume_text(volume: float) -> str:
    """A volume as told in a sentence, to three figures.

    >>> [rounded_volume_text(litres / 1e3) for litres in (0.0426, 0.9997, 1.234, 34.56, 34567.8)]
    ['42.6 mL', '1.00 L', '1.23 L', '34.6 L', '34,568 L']
    """
    litres, millilitres = from_si(volume, "L"), from_si(volume, "mL")
    if millilitres < 999.5:
        return f"{millilitres:.3g} mL"
    digits = 2 if litres < 10.0 else 1 if litres < 100.0 else 0
    return f"{litres:,.{digits}f} L"


def duration_text(seconds: float) -> str:
    """A duration as printed: 45 s, 12 min, 3 h 20 min, 4 d."""
    if not seconds < LONGEST:
        return "over 100 years"
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 120:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h" if hours else f"{days} d"


def describe_unit(unit: str) -> str:
    """The unit for a help text; dimensionless is a dash."""
    return unit or "–"


def temperature_text(temperatures: Sequence[float]) -> str:
    """The range of a record: 19 to 31 °C."""
    low, high = min(temperatures), max(temperatures)
    if high - low < ONE_TEMPERATURE:
        return celsius_text(low)
    return f"{from_si(low, '°C'):.0f} to {celsius_text(high)}"


__all__ = [
    "temperature_text",
    "AS_GIVEN",
    "CELSIUS_ZERO",
    "LONGEST",
    "ONE_TEMPERATURE",
    "SHOP_UNITS",
    "ShopUnit",
    "celsius_text",
    "comma_is_decimal",
    "describe_unit",
    "duration_text",
    "from_si",
    "is_count",
    "is_number",
    "is_unit",
    "read_header",
    "read_quantity",
    "registry",
    "show",
    "si_symbol",
    "rounded_volume_text",
    "told_volume_text",
    "to_si",
    "unit_factor",
    "volume_text",
    "with_point",
]
