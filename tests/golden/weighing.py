"""What a shot must weigh, as printed: how many together, limits rounded inward; nothing of the planner."""

from __future__ import annotations

import math
from dataclasses import dataclass

SCALE = 0.001  # g that a scale beside a line tells: common practice, no source


def digits_for(step: float) -> int:
    """Decimals whose last place is at most a step."""
    return next(digits for digits in range(12) if 10.0**-digits <= step * (1 + 1e-9))


def inward(low: float, high: float, digits: int) -> tuple[float, float]:
    """Limits rounded so that neither allows what the true one forbids (ISO 80000-1:2009, annex B)."""
    unit = 10.0**digits
    return math.ceil(low * unit - 1e-6) / unit, math.floor(high * unit + 1e-6) / unit


@dataclass(frozen=True)
class Weighed:
    """Shots on one cup: how many, decimals of one and of all, grams as printed."""

    count: int
    single_digits: int
    digits: int
    single: float
    target: float
    low: float
    high: float

    def grams(self, single: float) -> float:
        """Another mass of the shots together, to the digits of their target."""
        return round(single * self.count, self.digits)


def weigh(grams: float, tolerance: float) -> Weighed:
    """A shot against the tolerance of its meter.

    So many together that the scale tells half the tolerance in ten steps (ten to one: common practice,
    no source); the last digit is a tenth of half the tolerance at most, never finer than the scale.
    """
    half = grams * tolerance
    counts = (1, 2, 5, 10, 20, 50, 100)
    count = next((n for n in counts if n * half >= 10 * SCALE * (1 - 1e-9)), counts[-1])
    single, digits = (digits_for(max(n * half / 10, SCALE)) for n in (1, count))
    low, high = inward(count * grams * (1 - tolerance), count * grams * (1 + tolerance), digits)
    return Weighed(count, single, digits, round(grams, single), round(count * grams, digits), low, high)
