"""Numbers as they are printed: how many decimals, which way a limit is rounded, how many of a thing.

A limit that is rounded outward lets through what the true limit forbids. Low limits are rounded up,
high limits down, to a step that is small beside the tolerance; what is printed is what is compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from .numbers import EQUAL

NEAREST, UP, DOWN = 0, 1, -1
_WHOLE = 10.0  # from which a limit of two figures needs no decimals
STEPS = 10.0  # steps of the last digit in half a tolerance; common practice (ten to one), no source
FIGURES = 1000.0  # steps in a figure that has no tolerance: three to four figures
_STATED = 4  # figures of one that is stated; common practice, no source


def counted(number: int, what: str) -> str:
    """A number of things.

    >>> counted(1, "container"), counted(3, "container"), counted(0, "file")
    ('1 container', '3 containers', '0 files')
    """
    return f"{number} {what}" + ("" if number == 1 else "s")


def listed(names: Iterable[str], most: int = 6) -> str:
    """Names one after another, and how many more there are.

    >>> listed(["hem", "cap"]), listed("abcd", most=2)
    ('hem, cap', 'a, b and 2 more')
    """
    shown = list(names)
    return ", ".join(shown[:most]) + (f" and {len(shown) - most} more" if len(shown) > most else "")


def csv_cell(value: Any) -> Any:
    """A cell of a CSV: a text that a spreadsheet would take for a formula gets a mark that keeps it one.

    Source: OWASP, CSV injection (from memory).

    >>> csv_cell("=A1"), csv_cell(-2.5), csv_cell("A-1")
    ("'=A1", -2.5, 'A-1')
    """
    if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return "'" + value
    return value


def rounded(value: float, digits: int, toward: int = NEAREST) -> float:
    """A number rounded to decimals: to the nearest, or `UP` or `DOWN` where it is a limit.

    Source: ISO 80000-1:2009, annex B (recalled): to the nearest multiple of the step, but always in
    one direction where safety requirements or given limits have to be respected.

    >>> rounded(0.1316, 3, UP), rounded(0.1454, 3, DOWN), rounded(0.1385, 2), rounded(0.29, 2, DOWN)
    (0.132, 0.145, 0.14, 0.29)
    """
    steps = value * 10.0**digits
    near = float(round(steps))
    if toward != NEAREST and abs(steps - near) > EQUAL * max(1.0, abs(steps)):
        near = math.ceil(steps) if toward == UP else math.floor(steps)
    return round(near / 10.0**digits, digits)


def lower_figure(value: float) -> str:
    """A limit that may only shrink by rounding, such as a share in percent or minutes: one decimal below 10.

    >>> lower_figure(7.69), lower_figure(57.9), lower_figure(100 * 0.57), lower_figure(0.69)
    ('7.6', '57', '57', '0.6')
    """
    return f"{rounded(value, 1 if value < _WHOLE else 0, DOWN):g}"


def digits_of(step: float) -> int:
    """Decimals whose last place is no coarser than a step; none for steps of 1 and more.

    >>> digits_of(0.001), digits_of(0.0069), digits_of(0.5), digits_of(16.0)
    (3, 3, 1, 0)
    """
    return max(0, math.ceil(-math.log10(step) - EQUAL))


class Printed(float):
    """A number as printed: rounded to `digits` decimals, `toward` the side that a limit allows.

    `exact` is what a figure in another unit is rounded from: the number before it was rounded, so that
    none is rounded twice; of a limit the number as printed, which is what is compared.

    >>> Printed(0.1454, 3, DOWN), Printed(2.9, 2).text
    (0.145, '2.90')
    """

    __slots__ = ("digits", "exact", "toward")
    digits: int
    exact: float
    toward: int

    def __new__(cls, value: float, digits: int, toward: int = NEAREST) -> Printed:
        """The rounded number."""
        made = super().__new__(cls, rounded(float(value), digits, toward))
        made.digits, made.toward = digits, toward
        made.exact = float(value) if toward == NEAREST else float(made)
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return Printed, (self.exact, self.digits, self.toward)

    @property
    def text(self) -> str:
        """The number with all its decimals."""
        return f"{float(self):,.{self.digits}f}"

    @property
    def form(self) -> str:
        """The number format of a cell that shows it whole."""
        return "#,##0" + ("." + "0" * self.digits if self.digits else "")

    def times(self, factor: float, offset: float = 0.0) -> Printed:
        """The same figure in another unit, to a step no coarser than this one.

        >>> Printed(0.132, 3, UP).times(1 / 28.349523125), Printed(3960.0, 0, UP).times(0.001).text
        (0.00466, '3.960')
        >>> Printed(23.0, 0).times(1.8, 32.0).text
        '73'
        """
        digits = max(0, math.ceil(self.digits - math.log10(factor) - EQUAL))
        return Printed(self.exact * factor + offset, digits, self.toward)


class Stated(Printed):
    """A figure that a plan states, as it was typed: to four figures at most, without zeros at the end.

    A limit is rounded to one side where it is computed; one that is typed is printed as typed, in whatever
    unit, and so to the nearest.

    >>> Stated(591.4706), Stated(591.4706).times(1 / 29.5735295625).text, Stated(11356.2).text
    (591.5, '20', '11,356')
    """

    __slots__ = ()

    def __new__(cls, value: float) -> Stated:
        """The figure with the digits that it needs."""
        size = math.floor(math.log10(abs(value))) if value else 0
        digits = max(0, _STATED - 1 - size)
        near = rounded(value, digits)
        while digits and rounded(near, digits - 1) == near:
            digits -= 1
        made = super().__new__(cls, value, digits)
        assert isinstance(made, Stated)
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return Stated, (self.exact,)

    def times(self, factor: float, offset: float = 0.0) -> Stated:
        """The same figure in another unit."""
        return Stated(self.exact * factor + offset)


@dataclass(frozen=True, slots=True)
class PrintedLimits:
    """Target and limits as printed; no limits where there is no tolerance or no room for one."""

    target: Printed
    low: Printed | None
    high: Printed | None

    @property
    def text(self) -> str:
        """Both limits in words, "" where there are none."""
        return "" if self.low is None or self.high is None else f"{self.low.text} to {self.high.text}"


def printed_limits(low: float, target: float, high: float, resolution: float) -> PrintedLimits:
    """Target and limits rounded inward, all to one number of decimals.

    The last digit is at most a tenth of half the tolerance, but no finer than `resolution`, what the
    instrument reads; where no step of that size lies between the limits there are none.

    Source: ISO 80000-1:2009, annex B (recalled), for the direction; the tenth is common practice, no
    source.

    >>> printed_limits(0.1316, 0.1385, 0.1454, 0.001).text
    '0.132 to 0.145'
    >>> printed_limits(3920.0, 4000.0, 4080.0, 0.001).text
    '3,920 to 4,080'
    """
    half = 0.5 * (high - low)
    digits = digits_of(max(half / STEPS if half > 0.0 else target / FIGURES, resolution))
    lower, upper = Printed(low, digits, UP), Printed(high, digits, DOWN)
    if not (half > 0.0 and lower < upper):
        return PrintedLimits(Printed(target, digits), None, None)
    return PrintedLimits(Printed(min(max(target, lower), upper), digits), lower, upper)


def shows_whole(low: float, high: float, resolution: float) -> bool:
    """Whether an instrument tells a tolerance: its step is at most a tenth of half the tolerance."""
    return 0.5 * (high - low) >= STEPS * resolution * (1.0 - EQUAL)


__all__ = [
    "DOWN",
    "NEAREST",
    "STEPS",
    "UP",
    "Printed",
    "PrintedLimits",
    "Stated",
    "counted",
    "csv_cell",
    "digits_of",
    "listed",
    "printed_limits",
    "rounded",
    "shows_whole",
]
