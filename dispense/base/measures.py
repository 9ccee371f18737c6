"""The units that sheets are printed in: a choice for each quantity, and what follows from it.

A sheet is reckoned in shop units. Where a plant chose others the header of each figure states them, and
numbers in sentences are turned on their way to the paper, after they were put into words. A density, a
viscosity, a concentration stay as the data sheet has them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache, cached_property

from .units import ONE_TEMPERATURE, SHOP_UNITS, temperature_text, to_si, unit_factor, volume_text

#: by setting the units that may be chosen, that of the shop first
CHOICES = {
    "length_unit": ("mm", "in"),
    "volume_unit": ("mL", "fl oz", "in³", "gal"),
    "mass_unit": ("g", "oz", "lb"),
    "temperature_unit": ("°C", "°F"),
    "pressure_unit": ("bar", "psi", "MPa"),
}
#: by chosen unit the shop units that are no longer printed, and those in their place
_IN_PLACE = {
    "in": {"mm": "in", "m": "ft", "mm²": "in²", "mm/s": "in/s", "m/min": "ft/min"},
    "fl oz": {"mL": "fl oz", "L": "gal", "mL/s": "fl oz/s"},
    "in³": {"mL": "in³", "L": "gal", "mL/s": "in³/s"},
    "gal": {"mL": "gal", "L": "gal", "mL/s": "gal/s"},
    "oz": {"g": "oz", "kg": "lb"},
    "lb": {"g": "lb", "kg": "lb"},
    "°F": {"°C": "°F", "K": "°F"},
    "psi": {"bar": "psi", "kPa": "psi"},
    "MPa": {"bar": "MPa", "kPa": "MPa"},
}
_LENGTHS = "mm", "m"  # numbers with a × between them are of one unit
_DIFFERENCES = {"K": "delta_degF"}  # a difference is printed as °F and turned without its zero
#: printed with a blank before it always: "1K", "2K" are German for a one-part and a two-part material
_APART = ("K",)
_NUMBER = r"(?<![\w.,:/·^-])[−-]?\d+(?:[.,]\d+)*"
LIMITS = " to ", "–"  # between a low and a high number
_SECTION = re.compile(r"(?:\[(?P<sign>[<>]=?)(?P<end>[\d.]+)\])?(?P<before>[^.0]*0)(?:\.(?P<digits>0+))?\Z")


@dataclass(frozen=True)
class Measures:
    """The units chosen, by setting; `names` are words of the plan, in which no number is turned."""

    chosen: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    @cached_property
    def units(self) -> Mapping[str, str]:
        """By shop unit the unit that is printed, where it is another one."""
        return {shop: unit for each in self.chosen for shop, unit in _IN_PLACE.get(each, {}).items()}

    def unit(self, shop: str) -> str:
        """The unit in which figures of a shop unit are printed."""
        return self.units.get(shop, shop)

    def scale(self, shop: str) -> tuple[float, float]:
        """Factor and offset that take a number in a shop unit to the unit that is printed."""
        if self.unit(shop) == shop:
            return 1.0, 0.0
        factor, offset = unit_factor(_DIFFERENCES.get(shop, self.unit(shop)), shop)
        own, zero = unit_factor(shop, shop)
        return own / factor, (zero - offset) / factor

    def mistakes(self, name: str) -> bool:
        """Whether a name holds a number that would be turned, and is more than that number.

        >>> Measures(("in",)).mistakes("hem 450 mm"), Measures(("in",)).mistakes("450 mm")
        (True, False)
        """
        found = _figures(tuple(self.units), ()).search(name) if self.units else None
        return found is not None and found[0] != name

    def title(self, words: str) -> str:
        """A label that states its unit in brackets, with the unit that is printed."""
        return re.sub(r"\[([^\[\]]+)\]", lambda found: f"[{self.unit(found[1])}]", words)

    def form(self, form: str, shop: str) -> str:
        """A number format with the decimals and the thresholds of the unit that is printed.

        >>> Measures(("in",)).form("[<10]0.00;0.0", "mm"), Measures(("psi",)).form("0.0", "bar")
        ('[<0.3937]0.0000;0.000', '0')
        >>> Measures(("in",)).form("0", "mm/s")  # 150 mm/s are 5.91 in/s: 5.9 would be 1 in 100 wide
        '0.00'
        """
        factor = self.scale(shop)[0]
        if factor == 1.0:
            return form
        more = math.ceil(-math.log10(factor))
        return ";".join(_finer(each, factor, more) for each in form.split(";"))

    def turned(self, words: str) -> str:
        """An English text whose numbers are those of the units that are printed; its units are yet to be.

        So a word list, which knows texts by the units of the shop, still finds them; see `said`. Two
        numbers with "to" between them may be limits: the low one is rounded up, the high one down. Two
        temperatures are what was read, and rounded as each alone is. Three figures and more that may stand
        for a shorter one are that: 591 mL are 20 fl oz. Litres below one of the larger unit are told in
        the smaller one. What is told in the printed unit already (`temperature_told`, `size_told`) stays.

        >>> Measures(("in", "°F")).turned("a bead of 4 × 8 mm at 18 to 25 °C, 5.0 K below the limit")
        'a bead of 0.16 × 0.31 mm at 64 to 77 °C, 9.0 K below the limit'
        >>> Measures(("fl oz",)).turned("2 × 7.571 L, 1 × 3 L, 1 × 591.5 mL")
        '2 × 2 L, 1 × 101 mL, 1 × 20 mL'
        """
        if not self.units:
            return words
        turned = _figures(tuple(self.units), self.names).sub(self._numbers, words)
        return self._named(turned, {unit: shop for unit, shop in _BACK.items() if unit in self._printed})

    def told(self, words: str) -> str:
        """An English text in the units that are printed.

        >>> Measures(("psi",)).told("limit 27.58 bar")
        'limit 400 psi'
        """
        return self.said(self.turned(words))

    def said(self, words: str) -> str:
        """A text, of any language, with the units that are printed.

        >>> Measures(("°F",)).said("68 to 77 °C")
        '68 to 77 °F'
        """
        return self._named(words, self.units)

    @cached_property
    def _printed(self) -> frozenset[str]:
        return frozenset(self.units.values())

    def _named(self, words: str, units: Mapping[str, str]) -> str:
        """A text with other names for units."""
        if not units:
            return words

        def renamed(found: re.Match[str]) -> str:
            unit = found["unit"] or ""
            return found[0].removesuffix(unit) + units.get(unit, "")

        return _units(tuple(units), self.names).sub(renamed, words)

    def _numbers(self, found: re.Match[str]) -> str:
        from .numbers import EQUAL  # not for those who only look for help
        from .printed import DOWN, NEAREST, UP, Printed, Stated

        if found["unit"] is None:
            return found[0]
        shown = list(re.finditer(_NUMBER, found["numbers"]))
        unit, factor, offset = self._told_in(found["unit"], max(_plain(each[0]) for each in shown))

        def number(shown: str, toward: int = NEAREST) -> str:
            digits = len(shown.partition(".")[2])
            made = Printed(_plain(shown), digits, toward).times(factor, offset)
            if unit == "L" and made:  # three figures, as volumes are told in sentences
                made = Printed(made.exact, max(made.digits, 2 - math.floor(math.log10(made))), toward)
            short = Printed(made.exact, max(0, made.digits - 1))
            may_be = toward == NEAREST and len(_FIGURE.findall(shown.lstrip("0."))) >= _OF_MANY
            near = 0.5 * factor / 10.0**digits * (1.0 + EQUAL)
            is_meant = may_be and shown[-1] != "0" and abs(short - made.exact) <= near
            return Stated(short).text if is_meant else made.text

        limits = len(shown) == 2 and found["between"] in LIMITS and unit != "°C"
        inward = (UP, DOWN) if limits else (NEAREST,) * len(shown)
        texts = [number(each[0], toward) for each, toward in zip(shown, inward, strict=True)]
        parts = re.split(_NUMBER, found["numbers"])
        return "".join(a + b for a, b in zip(parts, [*texts, ""], strict=True)) + found["gap"] + unit

    def _told_in(self, unit: str, most: float) -> tuple[str, float, float]:
        """The shop unit whose printed unit a number is told in, with factor and offset from its own."""
        if unit == "L" and self.unit("L") != self.unit("mL") and most * self.scale("L")[0] < _ONE:
            factor, _ = self.scale("mL")
            return "mL", factor * to_si("L")[0] / _ML, 0.0
        return unit, *self.scale(unit)


_ML, _ = to_si("mL")
_ONE = 0.9995  # which four figures tell as 1
_OF_MANY = 3  # figures of a number that may be a shorter one in another unit
_FIGURE = re.compile(r"\d")
#: by unit in which a text may be told already that of the shop by which word lists know it
_BACK = {"°F": "°C", "fl oz": "mL", "in³": "mL", "gal": "L"}


def _plain(shown: str) -> float:
    return float(shown.replace(",", "").replace("−", "-"))


_END = r"(?![\w/·²³^])"
#: narrow no-break space (U+202F), between a number and its unit on paper: thinner than a blank where the font
#: has it so, and no line ends there
NARROW = "\u202f"


def spaced(words: str) -> str:
    """A text for paper: what parts a number from its unit is narrow, and no line ends there.

    The marks of thousands stay those of the language, since cells show them so by their formats.

    >>> spaced("pour 12.5 mL in 3 h 20 min at 60 °C, 2 in stock").replace(NARROW, "_")
    'pour 12.5_mL in 3_h 20_min at 60_°C, 2 in stock'
    """
    return _before_unit(tuple(measures().units.values())).sub(NARROW, words)


@cache
def _before_unit(chosen: tuple[str, ...]) -> re.Pattern[str]:
    """The blank between a number and a unit: one of the shop, or one that is printed in its place."""
    return re.compile(rf"(?<=\d) (?=(?:{_any_of((*filter(None, SHOP_UNITS), *chosen))}){_END})")


def _kept(names: tuple[str, ...]) -> str:
    return "".join(rf"{re.escape(each)}(?!\w)|" for each in sorted(names, key=len, reverse=True))


def _any_of(units: tuple[str, ...]) -> str:
    return "|".join(re.escape(each) for each in sorted(units, key=len, reverse=True))


def _any_behind(units: tuple[str, ...]) -> str:
    """One of these units behind a number and what parts them: no letter that is a mark without a blank."""
    close = _any_of(tuple(each for each in units if each not in _APART))
    apart = _any_of(tuple(each for each in units if each in _APART))
    return "|".join(filter(None, (close, rf"(?<=\s)(?:{apart})" if apart else "")))


@cache
def _figures(units: tuple[str, ...], names: tuple[str, ...]) -> re.Pattern[str]:
    """A name, or a number with one of these units, or several of them with one unit."""
    return re.compile(
        rf"{_kept(names)}(?P<numbers>{_NUMBER}(?:(?P<between> to | and |–| ± ){_NUMBER}|(?: × {_NUMBER})+"
        rf"(?=\s(?:{'|'.join(_LENGTHS)}){_END}))?)(?P<gap>\s?)(?P<unit>{_any_behind(units)}){_END}"
    )


@cache
def _units(units: tuple[str, ...], names: tuple[str, ...]) -> re.Pattern[str]:
    """A name, or one of these units behind a number."""
    return re.compile(rf"{_kept(names)}(?P<number>{_NUMBER})(?P<gap>\s?)(?P<unit>{_any_behind(units)}){_END}")


def _finer(section: str, factor: float, more: int) -> str:
    found = _SECTION.match(section)
    if found is None or section == "General":
        return section
    end = f"[{found['sign']}{float(found['end']) * factor:.4g}]" if found["sign"] else ""
    shown = len(found["digits"] or "")
    digits = max(0, shown + more)
    return end + found["before"] + ("." + "0" * digits if digits else "")


def temperature_told(*temperatures: float) -> str:
    """A temperature [K], or the range of some, as printed: rounded once, in the unit that is printed.

    >>> with measured_in(Measures(("°F",))):  # 74 and 98 °F, in whole °C 23 and 37
    ...     temperature_told(296.4833, 309.8167), temperature_told(296.4833)
    ('74 to 98 °F', '74 °F')
    >>> temperature_told(296.4833, 309.8167), temperature_told(296.4833)
    ('23 to 37 °C', '23 °C')
    """
    unit = measures().unit("°C")
    if unit == "°C":
        return temperature_text(temperatures)
    factor, offset = unit_factor(unit, "°C")
    low, high = min(temperatures), max(temperatures)
    first, last = (f"{(value - offset) / factor:.0f} {unit}" for value in (low, high))
    return first if high - low < ONE_TEMPERATURE else f"{first.removesuffix(f' {unit}')} to {last}"


def size_told(volume: float) -> str:
    """The size of a container [m³] as printed: as it was typed, in the unit that suits it.

    >>> with measured_in(Measures(("fl oz",))):
    ...     size_told(591.470592e-6), size_told(18.927059e-3), size_told(298.692648e-6)
    ('20 fl oz', '5 gal', '10.1 fl oz')
    >>> size_told(310e-6), size_told(20e-3)
    ('310 mL', '20 L')
    """
    from .printed import Stated

    small, large = measures().unit("mL"), measures().unit("L")
    if small == "mL":
        return volume_text(volume)
    in_large = volume / unit_factor(large, "L")[0]
    unit = large if in_large >= _ONE else small
    return f"{Stated(volume / unit_factor(unit, 'mL')[0]).text} {unit}"


_SHOP = Measures()
_current: ContextVar[Measures] = ContextVar("measures", default=_SHOP)


def measures() -> Measures:
    """The units that are printed at present."""
    return _current.get()


@contextmanager
def measured_in(chosen: Measures) -> Iterator[Measures]:
    """Print in these units.

    >>> with measured_in(Measures(("oz", "psi"))):
    ...     measures().title("Mass [g]"), measures().said(measures().turned("200 bar"))
    ('Mass [oz]', '2,901 psi')
    """
    token = _current.set(chosen)
    try:
        yield chosen
    finally:
        _current.reset(token)


__all__ = [
    "CHOICES",
    "NARROW",
    "Measures",
    "measured_in",
    "measures",
    "size_told",
    "spaced",
    "temperature_told",
]
