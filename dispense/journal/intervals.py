"""How sure a share, a rate, a mean or a spread is that was counted or measured: exact intervals.

Pure functions on numbers and arrays. Each gives its estimate with the interval that holds the true value
with a stated confidence, and the probability of an estimate as far from a given value, or farther, by
chance alone (two-sided: twice the smaller tail).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..base.numbers import Floats

CONFIDENCE = 0.95
SHARES_DIFFER = (
    0.05  # probability below which shares of groups are taken to differ; common practice, no source
)

Judge = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its interval, and how likely an estimate so far from another value is by chance."""

    value: float
    low: float
    high: float
    probability_of: Judge

    def times(self, factor: float) -> Estimate:
        """The same in another unit.

        >>> proportion(4, 20).times(100.0).value
        20.0
        """
        return Estimate(
            self.value * factor,
            self.low * factor,
            self.high * factor,
            lambda other: self.probability_of(other / factor),
        )


def _tails(confidence: float) -> tuple[float, float]:
    return 0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)


def _two_sided(low: float, high: float) -> float:
    return min(1.0, 2.0 * min(low, high))


def proportion(count: float, total: float, confidence: float = CONFIDENCE) -> Estimate:
    """The share `count` of `total` with its exact interval (Clopper and Pearson).

    p_low = B(α/2; x, n − x + 1), p_high = B(1 − α/2; x + 1, n − x), B the inverse of the beta distribution.
    Source: NIST/SEMATECH e-Handbook, 7.2.4.1, where it is recommended for few defectives.

    >>> found = proportion(4, 20, 0.90)
    >>> found.value, round(found.low, 5), round(found.high, 5)
    (0.2, 0.07135, 0.40103)
    """
    from scipy.special import betainc, betaincinv

    below, above = _tails(confidence)

    def probability(share: float) -> float:
        most = float(betainc(count, total - count + 1.0, share)) if count > 0.0 else 1.0
        least = 1.0 - float(betainc(count + 1.0, total - count, share)) if count < total else 1.0
        return _two_sided(least, most)

    return Estimate(
        count / total,
        float(betaincinv(count, total - count + 1.0, below)) if count > 0.0 else 0.0,
        float(betaincinv(count + 1.0, total - count, above)) if count < total else 1.0,
        probability,
    )


def dispersion(counts: Floats, totals: Floats) -> tuple[float, float]:
    """How much more shares of groups differ than chance lets them: χ²/(k − 1), and its probability.

    Source: NIST/SEMATECH e-Handbook, 7.4.5 (comparing several proportions).

    >>> ratio, probability = dispersion(np.array([36.0, 46, 42, 63, 38]), np.full(5, 300.0))
    >>> round(4 * ratio, 3), round(probability, 3)
    (12.131, 0.016)
    """
    from scipy.special import chdtrc

    kept = totals > 0.0
    counts, totals = counts[kept], totals[kept]
    free = len(counts) - 1
    share = counts.sum() / totals.sum() if free > 0 else 0.0
    if free < 1 or not 0.0 < share < 1.0:
        return 1.0, 1.0
    chi = float(((counts - totals * share) ** 2 / (totals * share * (1.0 - share))).sum())
    return chi / free, float(chdtrc(free, chi))


def grouped_proportion(counts: Floats, totals: Floats, confidence: float = CONFIDENCE) -> Estimate:
    """The share of all groups together; where they differ by more than chance, as sure as that allows.

    The counts are then divided by χ²/(k − 1), as if so many fewer had been looked at. Source: McCullagh and
    Nelder, Generalized Linear Models, 4.5 (over-dispersion), from memory.

    >>> alike = grouped_proportion(np.array([2.0, 2.0]), np.array([100.0, 100.0]))
    >>> apart = grouped_proportion(np.array([0.0, 20.0]), np.array([100.0, 100.0]))
    >>> alike.high < 0.06, apart.value, apart.low < 0.01
    (True, 0.1, True)
    """
    ratio, probability = dispersion(counts, totals)
    fewer = max(1.0, ratio) if probability < SHARES_DIFFER else 1.0
    return proportion(float(counts.sum()) / fewer, float(totals.sum()) / fewer, confidence)


def rate(count: float, exposure: float, confidence: float = CONFIDENCE) -> Estimate:
    """Events for each unit of exposure, with the exact interval of a Poisson count (Garwood).

    low = Γ(α/2; x), high = Γ(1 − α/2; x + 1), each divided by the exposure, Γ the inverse of the gamma
    distribution of unit scale. Source: Garwood, Biometrika 28 (1936) 437.

    >>> found = rate(10, 1.0)
    >>> round(found.low, 2), round(found.high, 2)
    (4.8, 18.39)
    """
    from scipy.special import gammainc, gammaincinv

    below, above = _tails(confidence)

    def probability(value: float) -> float:
        most = float(gammainc(count, value * exposure)) if count > 0.0 else 1.0
        return _two_sided(1.0 - float(gammainc(count + 1.0, value * exposure)), most)

    return Estimate(
        count / exposure,
        float(gammaincinv(count, below)) / exposure if count > 0.0 else 0.0,
        float(gammaincinv(count + 1.0, above)) / exposure,
        probability,
    )


def mean(values: Floats, confidence: float = CONFIDENCE) -> Estimate:
    """The mean of values with Student's interval; two or more values.

    x̄ ± t(1 − α/2; n − 1)·s/√n. Source: NIST/SEMATECH e-Handbook, 1.3.5.2.

    >>> found = mean(np.array([9.9, 10.0, 10.1]))
    >>> round(found.low, 3), round(found.high, 3)
    (9.752, 10.248)
    """
    count = len(values)
    return student(float(values.mean()), float(values.std(ddof=1) / np.sqrt(count)), count - 1, confidence)


def student(value: float, error: float, free: int, confidence: float = CONFIDENCE) -> Estimate:
    """A value of a known standard error with so many degrees of freedom, such as a slope.

    >>> round(student(1.0, 0.1, 10).high, 3)
    1.223
    """
    from scipy.special import stdtr, stdtrit

    reach = float(stdtrit(free, _tails(confidence)[1])) * error

    def probability(other: float) -> float:
        if error <= 0.0:
            return 1.0 if other == value else 0.0
        return 2.0 * float(stdtr(free, -abs(value - other) / error))

    return Estimate(value, value - reach, value + reach, probability)


def spread(values: Floats, confidence: float = CONFIDENCE) -> Estimate:
    """The standard deviation of values from one normal distribution, with its interval.

    s·√((n − 1)/χ²). Source: NIST/SEMATECH e-Handbook, 1.3.5.8.

    >>> found = spread(np.array([14.0, 16.0, 18.0]))
    >>> found.value, round(found.low, 3), round(found.high, 2)
    (2.0, 1.041, 12.57)
    """
    from scipy.special import chdtr, chdtri

    free, found = len(values) - 1, float(values.std(ddof=1))
    below, above = _tails(confidence)

    def probability(value: float) -> float:
        if value <= 0.0:
            return 1.0 if found == value else 0.0
        least = float(chdtr(free, free * (found / value) ** 2))
        return _two_sided(least, 1.0 - least)

    return Estimate(
        found,
        found * float(np.sqrt(free / chdtri(free, below))),
        found * float(np.sqrt(free / chdtri(free, above))),
        probability,
    )


__all__ = [
    "CONFIDENCE",
    "Estimate",
    "dispersion",
    "grouped_proportion",
    "mean",
    "proportion",
    "rate",
    "spread",
    "student",
]
