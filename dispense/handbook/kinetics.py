"""Kinetics of cure: the rate dα/dt as a function of degree and temperature, one object for all who ask.

`NthOrder` and `Kamal` (Kamal–Sourour, with a ceiling where one is known) follow the chemistry.
`RateTable` is a rate measured at one temperature. `Piecewise` has other kinetics from a given degree on.
Two slow any of them as the mix turns into a glass: `DiffusionFactor` (Chern and Poehlein: a factor in
the degree) and `DiffusionResistance` (Rabinowitch: the times of reaction and diffusion add, diffusion by
WLF from the glass transition of DiBenedetto).

CURE_DEGREE, TIME_TO_CURE, heat and fits read the same object. `as_kinetics` makes one of the row of
the worksheets, `kinetics_of_names` of a table of names and values.

All in SI units: 1/s, J/mol, K.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Protocol, cast

import numpy as np

from ..base.errors import NA, NUM, InputError, Problem
from ..base.fields import Field, number, record
from ..base.numbers import Number, Series
from ..base.units import MINUTE
from .life import GAS_CONSTANT

CELSIUS_ZERO = 273.15
LN10 = float(np.log(10.0))
WLF_C1, WLF_C2 = 17.44, 51.6  # –, K: the universal constants of Williams, Landel and Ferry

# ---------------------------------------------------------------- the variable without (1 − α)ⁿ


def _to_reduced(degree: Number, order: float) -> np.ndarray:
    with np.errstate(divide="ignore"):  # y is infinite at full cure
        if abs(order - 1.0) < 1e-9:
            return -np.log1p(-degree)
        return np.expm1((1.0 - order) * np.log1p(-degree)) / (order - 1.0)


def _to_degree(reduced: Number, order: float) -> np.ndarray:
    if abs(order - 1.0) < 1e-9:
        return -np.expm1(-reduced)
    if order == 2.0:
        return np.where(np.isinf(reduced), 1.0, reduced / (1.0 + reduced))
    part = order - 1.0
    if part > 0.0:
        return -np.expm1(np.log1p(part * reduced) / -part)
    return -np.expm1(np.log1p(np.maximum(part * reduced, -1.0)) / -part)


# ------------------------------------------------------------------------------------- kinetics


def arrhenius(factor: Number, energy: Number, temperature: Number) -> np.ndarray:
    """Rate constant A·exp(−E/(R·T)).

    >>> round(float(arrhenius(1e6, 60e3, 298.15)) * 1e5, 4)  # 1e6·exp(−24.2038)
    3.0793
    """
    return factor * np.exp(-energy / GAS_CONSTANT / temperature)


class Kinetics(Protocol):
    """What the integrators need: dy/dt = drive(α, constants(T)), never below 0.

    y is the integral of dα over what depends on α alone: (1 − α)^order, or the shape of a rate table.
    dα/dy is never above (1 − α)^order.
    """

    @property
    def order(self) -> float:
        """The power of (1 − α)."""
        ...

    def constants(self, temperature: Number) -> tuple[np.ndarray, ...]:
        """The rate constants at a temperature."""
        ...

    @property
    def drive(self) -> Callable[..., np.ndarray]:
        """dy/dt, 1/s, from the degree and the rate constants."""
        ...

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        ...

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        ...

    @property
    def attainable(self) -> float:
        """The degree at which the reaction ends, 1 where no ceiling is below it."""
        ...

    @property
    def at_begin(self) -> Kinetics:
        """The chemistry that holds at a degree of 0."""
        ...

    @property
    def knows_glass(self) -> bool:
        """Whether it slows by itself where the mix turns into a glass."""
        ...

    def to_reduced(self, degree: Number) -> np.ndarray:
        """The variable y in which dy/dt is the drive."""
        ...

    def to_degree(self, reduced: Number) -> np.ndarray:
        """The degree at a value of y; full cure may lie at infinity."""
        ...

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        ...


_LEAST = 1e-12  # smallest rest to full cure at which a derivative is taken
_FIRST = 1e-300  # smallest degree at which a derivative is taken
_ANY_HEAT = 300.0  # K; to count constants at


def _left(rest: Number, order: float) -> np.ndarray:
    """(1 − α)ⁿ from the rest 1 − α: nothing reacts where nothing is left, at order 0 too."""
    return rest**order if order > 0.0 else np.where(rest > 0.0, 1.0, 0.0)


class _Ordered:
    """Kinetics whose y takes (1 − α)^order out of the rate."""

    __slots__ = ()
    order: float

    @property
    def knows_glass(self) -> bool:
        """Chemistry alone knows of no glass."""
        return False

    def to_reduced(self, degree: Number) -> np.ndarray:
        """y of a degree; infinite at full cure for orders of 1 and more."""
        return _to_reduced(degree, self.order)

    def to_degree(self, reduced: Number) -> np.ndarray:
        """The degree at a y, within a caller's `np.errstate`."""
        return _to_degree(reduced, self.order)


@dataclass(frozen=True, slots=True)
class NthOrder(_Ordered):
    """n-th order kinetics: dα/dt = A·exp(−E/RT)·(1 − α)ⁿ; A in 1/s, E in J/mol.

    >>> float(NthOrder(0.001, 0.0, 2.0).rate(0.5, 300.0))
    0.00025
    """

    factor: float
    energy: float
    order: float = 1.0

    def constants(self, temperature: Number) -> tuple[np.ndarray, ...]:
        """The one rate constant."""
        return (arrhenius(self.factor, self.energy, temperature),)

    def drive(self, degree: Number, constant: np.ndarray) -> np.ndarray:
        """The rate constant itself."""
        return constant

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        rest = np.maximum(1.0 - degree, 0.0)
        rate: np.ndarray = self.constants(temperature)[0] * _left(rest, self.order)
        return rate

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        (constant,) = self.constants(temperature)
        rest = np.maximum(1.0 - degree, 0.0)
        rate = constant * _left(rest, self.order)
        by_degree = -self.order * rate / np.maximum(rest, _LEAST)
        return rate, by_degree, rate * (self.energy / GAS_CONSTANT) / temperature**2

    @property
    def attainable(self) -> float:
        """Full cure."""
        return 1.0

    @property
    def at_begin(self) -> Kinetics:
        """Itself."""
        return self

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        return self.rate(degree, temperature)

    def by_constants(self, degree: Number, temperature: Number) -> dict[str, np.ndarray]:
        """Derivatives of ln(dα/dt) by each constant; factors by their logarithm."""
        degree, temperature = np.asarray(degree, dtype=float), np.asarray(temperature, dtype=float)
        flat = np.zeros(np.broadcast_shapes(degree.shape, temperature.shape))
        return {
            "ln A1": flat + 1.0,
            "E1": flat - 1.0 / (GAS_CONSTANT * temperature),
            "n": flat + np.log(np.maximum(1.0 - degree, _LEAST)),
        }


@dataclass(frozen=True, slots=True)
class Kamal(_Ordered):
    """Kamal–Sourour kinetics: dα/dt = (k1 + k2·αᵐ)·(1 − α)ⁿ; A in 1/s, E in J/mol.

    A `ceiling` B multiplies the rate by (B − α); where the rate would be below 0 it is 0.

    >>> float(Kamal(0.001, 0.0, 0.02, 0.0, 1.0, 1.0).rate(0.5, 300.0))
    0.0055
    """

    factor: float
    energy: float
    factor_auto: float
    energy_auto: float
    power: float
    order: float = 1.0
    ceiling: float | None = None

    def constants(self, temperature: Number) -> tuple[np.ndarray, ...]:
        """k1 and k2."""
        return (
            arrhenius(self.factor, self.energy, temperature),
            arrhenius(self.factor_auto, self.energy_auto, temperature),
        )

    def drive(self, degree: Number, plain: np.ndarray, auto: np.ndarray) -> np.ndarray:
        """k1 + k2·αᵐ, times (B − α) where there is a ceiling."""
        if self.power == 1.0:
            drive = auto * degree
        else:
            drive = auto * degree**self.power
        drive += plain
        if self.ceiling is None:
            return drive
        return np.maximum(drive, 0.0) * np.maximum(self.ceiling - degree, 0.0)

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        degree = np.minimum(np.maximum(degree, 0.0), 1.0)
        drive = self.drive(degree, *self.constants(temperature))
        if self._may_stop:
            drive = np.maximum(drive, 0.0)
        rate: np.ndarray = drive * _left(1.0 - degree, self.order)
        return rate

    @property
    def _may_stop(self) -> bool:
        """Whether k1 + k2·αᵐ may come below 0, where the rate is 0."""
        return self.factor < 0.0 or self.factor_auto < 0.0

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        plain, auto = self.constants(temperature)
        degree = np.minimum(np.maximum(degree, 0.0), 1.0)
        rest = 1.0 - degree
        some = np.maximum(degree, _FIRST)
        grown = auto * degree**self.power
        sum_ = plain + grown
        by_heat = (self.energy * plain + self.energy_auto * grown) / (GAS_CONSTANT * temperature**2)
        by_grown = auto * self.power * some ** (self.power - 1.0)
        if self.ceiling is not None:
            gap = np.maximum(self.ceiling - degree, 0.0)
            runs = (sum_ > 0.0) & (gap > 0.0)
            by_grown = np.where(runs, by_grown * gap - sum_, 0.0)
            by_heat = np.where(runs, by_heat * gap, 0.0)
            sum_ = np.where(runs, sum_ * gap, 0.0)
        elif self._may_stop:
            runs = sum_ > 0.0
            by_grown, by_heat, sum_ = (np.where(runs, part, 0.0) for part in (by_grown, by_heat, sum_))
        left = _left(rest, self.order)
        rate = sum_ * left
        by_degree = by_grown * left - self.order * rate / np.maximum(rest, _LEAST)
        return rate, by_degree, by_heat * left

    @property
    def at_begin(self) -> Kinetics:
        """Itself."""
        return self

    def by_constants(self, degree: Number, temperature: Number) -> dict[str, np.ndarray]:
        """Derivatives of ln(dα/dt) by each constant; factors by their logarithm."""
        degree, temperature = np.asarray(degree, dtype=float), np.asarray(temperature, dtype=float)
        plain, auto = self.constants(temperature)
        some = np.maximum(degree, _FIRST)
        grown = auto * some**self.power
        total = np.maximum(plain + grown, _FIRST)
        share, rest = plain / total, grown / total
        flat = np.zeros(share.shape)
        found = {
            "ln A1": share,
            "E1": -share / (GAS_CONSTANT * temperature),
            "ln A2": rest,
            "E2": -rest / (GAS_CONSTANT * temperature),
            "m": rest * np.log(some),
            "n": flat + np.log(np.maximum(1.0 - degree, _LEAST)),
        }
        if self.ceiling is not None:
            found["B"] = flat + 1.0 / np.maximum(self.ceiling - degree, _LEAST)
        return found

    @property
    def attainable(self) -> float:
        """Full cure, or the ceiling below it."""
        return 1.0 if self.ceiling is None else min(max(self.ceiling, 0.0), 1.0)

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        plain, auto = self.constants(temperature)
        most = np.maximum(plain, 0.0) + np.maximum(auto, 0.0)  # αᵐ is 1 at most
        if self.ceiling is not None:
            most = most * np.maximum(self.ceiling - degree, 0.0)
        rate: np.ndarray = most * _left(np.clip(1.0 - degree, 0.0, 1.0), self.order)
        return rate


# ---------------------------------------------------------------------------- rates by table


@dataclass(frozen=True, slots=True)
class RateTable:
    """A rate measured at one temperature, linear in the degree between its rows, with one energy.

    dα/dt = r(α)·exp(−E/R·(1/T − 1/T_ref)). Below the first degree the first rate holds; past the last
    the rate falls linearly to 0 at full cure. Every rate but that of the last row must be above 0.

    >>> table = RateTable((0.0, 0.5), (1e-3, 2e-3), 333.15, 60e3)
    >>> table.rate([0.0, 0.25, 0.75], 333.15).round(9).tolist()
    [0.001, 0.0015, 0.001]
    """

    degrees: tuple[float, ...]
    rates: tuple[float, ...]
    temperature: float
    energy: float

    def __post_init__(self) -> None:
        rising = all(a < b for a, b in zip(self.degrees, self.degrees[1:], strict=False))
        good = len(self.degrees) == len(self.rates) > 0 and rising
        good = good and self.degrees[0] >= 0.0 and self.degrees[-1] <= 1.0
        if not good or min(self.rates[:-1], default=1.0) <= 0.0 or self.rates[-1] < 0.0:
            raise InputError(
                Problem(
                    "RateTable",
                    "rates",
                    self.rates,
                    "one for each of the rising degrees from 0 to 1, above 0 (the last may be 0)",
                    code=NUM,
                )
            )

    @property
    def order(self) -> float:
        """0: dα/dy, the rate over the greatest of the table, is never above 1."""
        return 0.0

    @property
    def factor(self) -> float:
        """The greatest rate as the factor of an Arrhenius law."""
        return float(max(self.rates) * np.exp(self.energy / GAS_CONSTANT / self.temperature))

    @property
    def at_begin(self) -> Kinetics:
        """Itself."""
        return self

    @property
    def knows_glass(self) -> bool:
        """A measured rate holds at its own temperature only; the energy knows of no glass."""
        return False

    @property
    def attainable(self) -> float:
        """Full cure, or the last degree where its rate is 0."""
        return 1.0 if self.rates[-1] > 0.0 else self.degrees[-1]

    def _nodes(self) -> tuple[np.ndarray, np.ndarray]:
        """Degrees from 0 to the end of the reaction, and the rates there over the greatest."""
        degrees, rates = list(self.degrees), list(self.rates)
        if degrees[0] > 0.0:
            degrees, rates = [0.0, *degrees], [rates[0], *rates]
        if rates[-1] > 0.0 and degrees[-1] < 1.0:
            degrees, rates = [*degrees, 1.0], [*rates, 0.0]
        return np.array(degrees), np.array(rates) / max(rates)

    def _shape(self, degree: Number) -> np.ndarray:
        """The rate over the greatest of the table; 0 past its end."""
        nodes, rates = self._nodes()
        found: np.ndarray = np.interp(degree, nodes, rates, right=0.0)
        return found

    def _reduced_nodes(self) -> np.ndarray:
        """y at the nodes: ∫ dα/r over each straight piece is a logarithm."""
        nodes, rates = self._nodes()
        low, high, width = rates[:-1], rates[1:], np.diff(nodes)
        with np.errstate(divide="ignore"):
            bend = (high - low) / low
            gains = width / low * _log1p_over(bend)
        return np.concatenate([[0.0], np.cumsum(gains)])

    def to_reduced(self, degree: Number) -> np.ndarray:
        """y of a degree; infinite where the rate falls to 0."""
        nodes, rates = self._nodes()
        degree = np.asarray(degree, dtype=float)
        place = np.clip(np.searchsorted(nodes, degree, side="right") - 1, 0, nodes.size - 2)
        low, width = rates[place], nodes[place + 1] - nodes[place]
        share = np.minimum((degree - nodes[place]) / width, 1.0)
        with np.errstate(divide="ignore"):
            bend = share * (rates[place + 1] - low) / low
            found: np.ndarray = self._reduced_nodes()[place] + share * width / low * _log1p_over(bend)
        return found

    def to_degree(self, reduced: Number) -> np.ndarray:
        """The degree at a y."""
        nodes, rates = self._nodes()
        ends = self._reduced_nodes()
        reduced = np.asarray(reduced, dtype=float)
        place = np.clip(np.searchsorted(ends, reduced, side="right") - 1, 0, nodes.size - 2)
        low, width = rates[place], nodes[place + 1] - nodes[place]
        slope = (rates[place + 1] - low) / width
        after = np.where(np.isinf(reduced), 0.0, reduced - ends[place])
        flat = np.abs(slope * after) < 1e-12
        grown = low * np.where(flat, after, np.expm1(slope * after) / np.where(flat, 1.0, slope))
        inner = np.minimum(nodes[place] + grown, nodes[place + 1])
        found: np.ndarray = np.where(np.isinf(reduced), nodes[-1], inner)
        return found

    def constants(self, temperature: Number) -> tuple[np.ndarray, ...]:
        """The greatest rate at a temperature."""
        moved = -self.energy / GAS_CONSTANT * (1.0 / np.asarray(temperature) - 1.0 / self.temperature)
        return (max(self.rates) * np.exp(moved),)

    def drive(self, degree: Number, constant: np.ndarray) -> np.ndarray:
        """The greatest rate itself."""
        return constant

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        rate: np.ndarray = self.constants(temperature)[0] * self._shape(degree)
        return rate

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        nodes, rates = self._nodes()
        (constant,) = self.constants(temperature)
        degree = np.asarray(degree, dtype=float)
        place = np.clip(np.searchsorted(nodes, degree, side="right") - 1, 0, nodes.size - 2)
        slope = (rates[place + 1] - rates[place]) / (nodes[place + 1] - nodes[place])
        slope = np.where((degree < self.degrees[0]) | (degree >= nodes[-1]), 0.0, slope)
        rate = constant * self._shape(degree)
        return rate, constant * slope, rate * (self.energy / GAS_CONSTANT) / np.asarray(temperature) ** 2

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        nodes, rates = self._nodes()
        later = np.maximum.accumulate(rates[::-1])[::-1]  # the greatest from each node on
        place = np.clip(np.searchsorted(nodes, degree, side="right"), 0, nodes.size - 1)
        most: np.ndarray = np.maximum(self._shape(degree), later[place]) * self.constants(temperature)[0]
        return most

    def by_constants(self, degree: Number, temperature: Number) -> dict[str, np.ndarray]:
        """Derivatives of ln(dα/dt) by each constant."""
        moved = 1.0 / self.temperature - 1.0 / np.asarray(temperature, dtype=float)
        return {"E": np.zeros(np.shape(degree)) + moved / GAS_CONSTANT}


def _log1p_over(bend: np.ndarray) -> np.ndarray:
    """ln(1 + x)/x, 1 at x = 0; infinite at x = −1."""
    small = np.abs(bend) < 1e-12
    found: np.ndarray = np.where(small, 1.0, np.log1p(bend) / np.where(small, 1.0, bend))
    return found


# ------------------------------------------------------------------------- cure that slows to a stop


_NO_ROOM = 1e-9  # K above the pole of WLF that stands for none
_HIGHEST = 200.0  # decades of k_d over k_d0 past which it no longer counts


class _Slowed:
    """What kinetics slowed by diffusion take over from their chemistry."""

    __slots__ = ()
    chemistry: NthOrder | Kamal | RateTable

    @property
    def order(self) -> float:
        """The power of (1 − α) of the chemistry."""
        return self.chemistry.order

    @property
    def attainable(self) -> float:
        """The end of the chemistry; where diffusion stops it depends on the temperature."""
        return self.chemistry.attainable

    @property
    def at_begin(self) -> Kinetics:
        """The chemistry: nothing slows it at the begin."""
        return self.chemistry

    @property
    def knows_glass(self) -> bool:
        """It slows where the mix turns into a glass."""
        return True

    def to_reduced(self, degree: Number) -> np.ndarray:
        """y of a degree, that of the chemistry."""
        return self.chemistry.to_reduced(degree)

    def to_degree(self, reduced: Number) -> np.ndarray:
        """The degree at a y, that of the chemistry."""
        return self.chemistry.to_degree(reduced)

    def constants(self, temperature: Number) -> tuple[np.ndarray, ...]:
        """The rate constants of the chemistry, and the temperature."""
        return (*self.chemistry.constants(temperature), np.asarray(temperature, dtype=float))


def _logistic(value: np.ndarray) -> np.ndarray:
    """1/(1 + exp(−x)) without overflow."""
    small = np.exp(-np.abs(value))
    found: np.ndarray = np.where(value >= 0.0, 1.0, small) / (1.0 + small)
    return found


@dataclass(frozen=True, slots=True)
class DiffusionFactor(_Slowed):
    """Chemistry times 1/(1 + exp(C·(α − α_c))), α_c = α_c0 + α_cT·(T/°C).

    Source: C.-S. Chern, G. W. Poehlein, Polym. Eng. Sci. 27 (1987) 788 (from memory); here the
    critical degree is linear in °C, some authors count in kelvin.

    >>> slowed = DiffusionFactor(NthOrder(1e-3, 0.0), 30.0, 0.5, 0.0045)
    >>> round(float(slowed.rate(0.5 + 0.0045 * 60, 333.15)) * 1e6, 9)  # half of 1e-3·0.23
    115.0
    """

    chemistry: NthOrder | Kamal | RateTable
    strength: float  # C
    critical: float  # α_c at 0 °C
    by_heat: float  # α_cT, 1/K

    def over(self, degree: Number, temperature: Number) -> np.ndarray:
        """C·(α − α_c): how far past the critical degree."""
        critical = self.critical + self.by_heat * (np.asarray(temperature, dtype=float) - CELSIUS_ZERO)
        found: np.ndarray = self.strength * (degree - critical)
        return found

    def drive(self, degree: Number, *constants: np.ndarray) -> np.ndarray:
        """The drive of the chemistry times the factor."""
        *own, temperature = constants
        drive: np.ndarray = self.chemistry.drive(degree, *own) * _logistic(-self.over(degree, temperature))
        return drive

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        factor = _logistic(-self.over(degree, temperature))
        rate: np.ndarray = self.chemistry.rate(degree, temperature) * factor
        return rate

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        rate, by_degree, by_heat = self.chemistry.slopes(degree, temperature)
        over = self.over(degree, temperature)
        factor, lost = _logistic(-over), _logistic(over) * self.strength
        return (
            rate * factor,
            factor * (by_degree - rate * lost),
            factor * (by_heat + rate * lost * self.by_heat),
        )

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        factor = _logistic(-self.over(degree, temperature))
        most: np.ndarray = self.chemistry.fastest(degree, temperature) * factor
        return most

    def by_constants(self, degree: Number, temperature: Number) -> dict[str, np.ndarray]:
        """Derivatives of ln(dα/dt) by each constant; factors by their logarithm."""
        over = self.over(degree, temperature)
        lost = _logistic(over)
        celsius = np.asarray(temperature, dtype=float) - CELSIUS_ZERO
        return {
            **self.chemistry.by_constants(degree, temperature),
            "C": -lost * over / self.strength,
            "alpha_c0": lost * self.strength,
            "alpha_cT": lost * self.strength * celsius,
        }


@dataclass(frozen=True, slots=True)
class DiffusionResistance(_Slowed):
    """Chemistry and diffusion one after the other: 1/k = 1/k_c + 1/k_d.

    k_c is what the chemistry gives for (dα/dt)/(1 − α)ⁿ at that degree; k_d = k_d0·10^[C1·(T − T_g)/(C2 +
    T − T_g)] and 0 where T − T_g ≤ −C2, with T_g by DiBenedetto.

    Source: E. Rabinowitch, Trans. Faraday Soc. 33 (1937) 1225; M. L. Williams, R. F. Landel, J. D. Ferry,
    J. Am. Chem. Soc. 77 (1955) 3701 (both from memory).

    >>> slowed = DiffusionResistance(NthOrder(1e-3, 0.0), 1e-3, (253.15, 423.15, 0.45))
    >>> round(slowed.rate(0.0, 253.15) * 1e3, 9).item()  # at the glass transition k is half of each
    0.5
    """

    chemistry: NthOrder | Kamal | RateTable
    diffusion: float  # k_d0, 1/s
    glass: tuple[float, float, float]  # uncured and cured K, DiBenedetto's ratio
    c1: float = WLF_C1
    c2: float = WLF_C2  # K

    def _exponent(self, degree: Number, temperature: Number) -> tuple[np.ndarray, np.ndarray]:
        """log₁₀(k_d/k_d0), −inf where nothing moves, and its derivative by T − T_g."""
        above = np.asarray(temperature, dtype=float) - glass_transition(degree, *self.glass)
        moves = above > -self.c2
        room = np.where(moves, self.c2 + above, 1.0)
        exponent = np.where(moves, self.c1 * above / room, -np.inf)
        return exponent, np.where(moves, self.c1 * self.c2 / room**2, 0.0)

    def _diffusion(self, degree: Number, temperature: Number) -> np.ndarray:
        """k_d, 1/s; far above the glass transition it no longer counts."""
        above = np.asarray(temperature, dtype=float) - glass_transition(degree, *self.glass)
        # where nothing moves the exponent is so low that the power is 0
        exponent = self.c1 * above / np.maximum(self.c2 + above, _NO_ROOM)
        found: np.ndarray = self.diffusion * 10.0 ** np.minimum(exponent, _HIGHEST)
        return found

    def drive(self, degree: Number, *constants: np.ndarray) -> np.ndarray:
        """The drive of the chemistry and of diffusion, one after the other."""
        *own, temperature = constants
        drive = np.maximum(self.chemistry.drive(degree, *own), 0.0)
        slow = self._diffusion(degree, temperature)
        both: np.ndarray = drive * (slow / np.maximum(drive + slow, _FIRST))
        return both

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        return self.slopes(degree, temperature)[0]

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        degree = np.asarray(degree, dtype=float)
        rate, by_degree, by_heat = self.chemistry.slopes(degree, temperature)
        drive = np.maximum(self.chemistry.drive(degree, *self.chemistry.constants(temperature)), 0.0)
        exponent, bend = self._exponent(degree, temperature)
        slow = self.diffusion * 10.0 ** np.minimum(exponent, _HIGHEST)
        total = np.maximum(drive + slow, _FIRST)
        # with y′ = k·k_d/(k + k_d): d ln y′ = (k_d·d ln k + k·d ln k_d)/(k + k_d)
        own, other = slow / total, drive / total
        steeper = np.where(exponent < _HIGHEST, LN10 * bend, 0.0)
        softening = steeper * glass_slope(degree, *self.glass)
        if isinstance(self.chemistry, RateTable):
            widening: Any = self.chemistry._shape(degree)
            bent = np.zeros(np.shape(rate))  # the drive of a table does not depend on the degree
        else:
            rest = np.clip(1.0 - degree, _LEAST, 1.0)
            widening = _left(np.clip(1.0 - degree, 0.0, 1.0), self.order)
            # d(drive)/dα from d(rate)/dα = d(drive)/dα·(1 − α)ⁿ − n·rate/(1 − α)
            bent = (by_degree + self.order * rate / rest) / np.maximum(widening, _FIRST)
            bent = bent / np.maximum(drive, _FIRST)
        slowed = drive * own * widening
        narrowing = by_degree * own - rate * own * bent  # of what multiplies the drive
        return (
            slowed,
            narrowing + slowed * (own * bent - other * softening),
            by_heat * own**2 + slowed * other * steeper,
        )

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        slow = self._diffusion(degree, temperature)
        rest = _left(np.clip(1.0 - np.asarray(degree, dtype=float), 0.0, 1.0), self.order)
        most: np.ndarray = np.minimum(self.chemistry.fastest(degree, temperature), slow * rest)
        return most

    def by_constants(self, degree: Number, temperature: Number) -> dict[str, np.ndarray]:
        """Derivatives of ln(dα/dt) by each constant; factors by their logarithm."""
        own = self.chemistry.by_constants(degree, temperature)
        drive = np.maximum(self.chemistry.drive(degree, *self.chemistry.constants(temperature)), 0.0)
        slow = self._diffusion(degree, temperature)
        share = slow / np.maximum(drive + slow, _FIRST)
        # the order of (1 − α) stands outside of the sum of resistances
        found = {name: value if name == "n" else value * share for name, value in own.items()}
        found["ln kd0"] = 1.0 - share
        return found


#: one branch: a chemistry, slowed by diffusion or not
Stage = NthOrder | Kamal | RateTable | DiffusionFactor | DiffusionResistance


def glass_transition(degree: Number, uncured: Number, cured: Number, ratio: Number) -> np.ndarray:
    """Glass transition at a degree of cure by DiBenedetto, K.

    >>> round(float(glass_transition(0.5, 253.15, 493.15, 0.5)), 2)
    333.15
    """
    share = ratio * np.asarray(degree) / (1.0 - (1.0 - ratio) * np.asarray(degree))
    found: np.ndarray = uncured + (cured - uncured) * share
    return found


def glass_slope(degree: Number, uncured: Number, cured: Number, ratio: Number) -> np.ndarray:
    """Derivative of the glass transition by the degree, K.

    >>> round(float(glass_slope(0.0, 253.15, 493.15, 0.5)), 9)
    120.0
    """
    found: np.ndarray = (cured - uncured) * ratio / (1.0 - (1.0 - ratio) * np.asarray(degree)) ** 2
    return found


@dataclass(frozen=True, slots=True)
class Piecewise(_Ordered):
    """Other kinetics from each switch degree on; the integrators stop exactly on a switch.

    `branches` has one entry more than `switches`; a switch belongs to the branch below it.
    """

    switches: tuple[float, ...]
    branches: tuple[Stage, ...]

    def __post_init__(self) -> None:
        rising = all(a < b for a, b in zip(self.switches, self.switches[1:], strict=False))
        if len(self.branches) != len(self.switches) + 1 or not rising:
            raise InputError(
                Problem(
                    "Piecewise",
                    "switches",
                    self.switches,
                    "rising degrees, one fewer than there are branches",
                )
            )

    @property
    def order(self) -> float:  # type: ignore[override]
        """The order of the last branch."""
        return self.branches[-1].order

    @property
    def at_begin(self) -> Kinetics:
        """The chemistry of the first branch."""
        return self.branches[0].at_begin

    @property
    def knows_glass(self) -> bool:
        """Whether a branch slows as the mix turns into a glass."""
        return any(branch.knows_glass for branch in self.branches)

    def _choose(self, degree: Number, parts: list[Any]) -> np.ndarray:
        place = np.searchsorted(self.switches, degree, side="left")
        shape = np.broadcast_shapes(np.shape(place), *(np.shape(part) for part in parts))
        return np.choose(np.broadcast_to(place, shape), parts)

    def constants(self, temperature: Number) -> tuple[np.ndarray, ...]:
        """The rate constants of every branch, one branch after the other."""
        return tuple(k for branch in self.branches for k in branch.constants(temperature))

    def drive(self, degree: Number, *constants: np.ndarray) -> np.ndarray:
        """The rate over (1 − α)^order of the last branch."""
        parts, place = [], 0
        for branch in self.branches:
            count = len(branch.constants(_ANY_HEAT))
            own = branch.drive(degree, *constants[place : place + count])
            parts.append(own * (1.0 - degree) ** (branch.order - self.order))
            place += count
        return self._choose(degree, parts)

    def rate(self, degree: Number, temperature: Number) -> np.ndarray:
        """dα/dt, 1/s."""
        return self._choose(degree, [branch.rate(degree, temperature) for branch in self.branches])

    def slopes(self, degree: Number, temperature: Number) -> tuple[np.ndarray, ...]:
        """dα/dt and its derivatives by degree and by temperature."""
        each = [branch.slopes(degree, temperature) for branch in self.branches]
        return tuple(self._choose(degree, list(parts)) for parts in zip(*each, strict=True))

    @property
    def attainable(self) -> float:
        """The first ceiling that lies in its own branch, or full cure."""
        ends = (*self.switches, 1.0)
        return min(
            branch.attainable if branch.attainable <= end else 1.0
            for branch, end in zip(self.branches, ends, strict=True)
        )

    def fastest(self, degree: Number, temperature: Number) -> np.ndarray:
        """No rate at this temperature is above this one, from a degree on, 1/s."""
        most: np.ndarray = np.zeros(())
        for begin, end, branch in zip(
            (0.0, *self.switches), (*self.switches, np.inf), self.branches, strict=True
        ):
            own = branch.fastest(np.maximum(degree, begin), temperature)
            most = np.maximum(most, np.where(degree <= end, own, 0.0))
        return most


#: The 3501-6 epoxy of Lee, Loos and Springer, J. Composite Materials 16 (1982) 510–520 (constants
#: from memory; other copies print A1 = 2.102e9): a published case to check an integrator with.
LEE_LOOS_SPRINGER = Piecewise(
    (0.3,),
    (
        Kamal(2.101e9 / MINUTE, 8.07e4, -2.014e9 / MINUTE, 7.78e4, 1.0, 1.0, ceiling=0.47),
        NthOrder(1.960e5 / MINUTE, 5.66e4, 1.0),
    ),
)


# ------------------------------------------------------------------- rows and tables of the worksheets


def slowed(kinetics: Kinetics, wrap: Callable[[NthOrder | Kamal | RateTable], Stage]) -> Kinetics:
    """Kinetics with every branch slowed by diffusion."""
    if isinstance(kinetics, Piecewise):
        return replace(kinetics, branches=tuple(wrap(cast(Kamal, one)) for one in kinetics.branches))
    return wrap(cast(Kamal, kinetics))


#: kinetics, or their row (`KINETICS`) in SI, NaN for blank
KineticsLike = Kinetics | Series

_POSITIVE = {"above": 0.0, "default": None}
_CHEMISTRY = (
    number("A1", "1/min", "factor of the plain reaction", at_least=0),
    number("E1", "kJ/mol", "its activation energy", at_least=0),
    number("A2", "1/min", "factor of the autocatalytic reaction", default=None, at_least=0),
    number("E2", "kJ/mol", "its activation energy", default=None, at_least=0),
    number("m", "", "power of the degree", default=None, at_least=0, at_most=20),
    number("n", "", "order of what is left; blank takes 1", default=None, at_least=0, at_most=20),
    number("B", "", "ceiling: the rate is multiplied by (B − α)", above=0, at_most=1, default=None),
)
_DIFFUSION = (
    number("C", "", "diffusion factor 1/(1 + exp(C·(α − α_c)))", above=0, at_most=1e4, default=None),
    number("alpha_c0", "", "critical degree α_c at 0 °C", default=None, at_least=-5, at_most=5),
    number("alpha_cT", "1/K", "rise of α_c for each kelvin", default=None, at_least=-1, at_most=1),
    number("kd0", "1/min", "diffusion resistance: k_d at the glass transition", **_POSITIVE),
    number("C1", "", "its WLF constant; blank takes 17.44", **_POSITIVE),
    number("C2", "K", "its WLF constant; blank takes 51.6", **_POSITIVE),
    number("Tg0", "°C", "glass transition of the fresh mix", above=-CELSIUS_ZERO, default=None),
    number("Tg1", "°C", "glass transition at full cure", above=-CELSIUS_ZERO, default=None),
    number("lambda", "", "DiBenedetto's ratio", above=0, at_most=1, default=None),
)
_FROM = number("from", "", "degree from which the constants below hold", above=0, below=1)
_TABLE_HEAT = number("T", "°C", "temperature of the rates", above=-CELSIUS_ZERO)
_TABLE_ENERGY = number("E", "kJ/mol", "activation energy of the rates", at_least=0)
_TABLE_DEGREE = number("degree", "", "degree of a rate", at_least=0, at_most=1)
_TABLE_RATE = number("rate", "1/min", "rate at that degree", at_least=0)
# a stage may have a rate that falls: Lee, Loos and Springer have A2 below 0
_STAGE = tuple(replace(item, at_least=None) if item.name in {"A1", "A2"} else item for item in _CHEMISTRY)
_NAMED: dict[str, Field] = {
    item.name.lower(): item for item in (*_STAGE, *_DIFFUSION, _FROM, _TABLE_HEAT, _TABLE_ENERGY)
}


def _chemistry(values: dict[str, float]) -> NthOrder | Kamal:
    """n-th order or Kamal–Sourour from constants by name; what is missing is blank."""
    order = values.get("n", 1.0)
    ceiling = values.get("B")
    if not values.get("A2"):
        if ceiling is None:
            return NthOrder(values["A1"], values["E1"], order)
        return Kamal(values["A1"], values["E1"], 0.0, 0.0, 1.0, order, ceiling)
    return Kamal(
        values["A1"],
        values["E1"],
        values["A2"],
        values.get("E2", np.nan),
        values.get("m", np.nan),
        order,
        ceiling,
    )


def constants_of(kinetics: Stage) -> dict[str, float]:
    """The constants of a stage by the names of `KINETICS`, SI units; a rate table has none.

    >>> constants_of(NthOrder(0.01, 50e3))
    {'A1': 0.01, 'E1': 50000.0, 'n': 1.0}
    """
    if isinstance(kinetics, DiffusionFactor):
        own = {"C": kinetics.strength, "alpha_c0": kinetics.critical, "alpha_cT": kinetics.by_heat}
        return constants_of(kinetics.chemistry) | own
    if isinstance(kinetics, DiffusionResistance):
        own = {"kd0": kinetics.diffusion, "C1": kinetics.c1, "C2": kinetics.c2}
        own |= dict(zip(("Tg0", "Tg1", "lambda"), kinetics.glass, strict=True))
        return constants_of(kinetics.chemistry) | own
    if isinstance(kinetics, NthOrder):
        return {"A1": kinetics.factor, "E1": kinetics.energy, "n": kinetics.order}
    if isinstance(kinetics, Kamal):
        found = {"A1": kinetics.factor, "E1": kinetics.energy, "A2": kinetics.factor_auto}
        found |= {"E2": kinetics.energy_auto, "m": kinetics.power, "n": kinetics.order}
        return found if kinetics.ceiling is None else found | {"B": kinetics.ceiling}
    return {}


def first_energy(kinetics: Kinetics) -> float:
    """Activation energy of the reaction at the begin, J/mol.

    >>> first_energy(LEE_LOOS_SPRINGER)
    80700.0
    """
    first: Any = kinetics.at_begin
    return float(first.energy)


def with_diffusion(kinetics: Kinetics, values: dict[str, float]) -> Kinetics:
    """Kinetics slowed by the constants given by name: C, alpha_c0, alpha_cT or kd0, Tg0, Tg1, lambda."""
    if "C" in values:
        return slowed(
            kinetics,
            lambda one: DiffusionFactor(
                one, values["C"], values.get("alpha_c0", np.nan), values.get("alpha_cT", 0.0)
            ),
        )
    if "kd0" in values:
        glass = tuple(values.get(name, np.nan) for name in ("Tg0", "Tg1", "lambda"))
        c1, c2 = values.get("C1", WLF_C1), values.get("C2", WLF_C2)
        return slowed(
            kinetics,
            lambda one: DiffusionResistance(
                one, values["kd0"], cast(tuple[float, float, float], glass), c1, c2
            ),
        )
    return kinetics


def _gaps(values: dict[str, float]) -> list[str]:
    """What is missing or too much among constants given by name, in words."""
    gaps = []
    if values.get("A2") and not {"E2", "m"} <= values.keys():
        gaps.append("complete: where A2 is given, E2 and m too")
    if "C" in values and "alpha_c0" not in values:
        gaps.append("complete: where C is given, alpha_c0 too")
    if "kd0" in values and not {"Tg0", "Tg1", "lambda"} <= values.keys():
        gaps.append("complete: where kd0 is given, Tg0, Tg1 and lambda too")
    if {"C", "kd0"} <= values.keys():
        gaps.append("slowed once: C or kd0, not both")
    if not {"Tg0", "Tg1"} <= values.keys() or values["Tg1"] > values["Tg0"]:
        return gaps
    return [*gaps, "of a glass transition that rises: Tg1 above Tg0"]


def _row_values(row: Series) -> dict[str, float]:
    """The values of a row that are not blank, by name."""
    given = np.asarray(row, dtype=float).ravel()
    names = (item.name for item in KINETICS.columns)
    return {name: value for name, value in zip(names, given.tolist(), strict=False) if not np.isnan(value)}


def incomplete(kinetics: KineticsLike) -> list[str]:
    """What a row of kinetics lacks, in words; empty for an object.

    >>> incomplete([0.01, 50e3, 0.1])
    ['complete: where A2 is given, E2 and m too']
    """
    return [] if hasattr(kinetics, "constants") else _gaps(_row_values(kinetics))


def as_kinetics(kinetics: KineticsLike) -> Kinetics:
    """A kinetics object from one, or from the row of `KINETICS` in SI (NaN for blank, short rows too).

    >>> as_kinetics([0.01, 50e3])
    NthOrder(factor=0.01, energy=50000.0, order=1.0)
    """
    if hasattr(kinetics, "constants"):
        return cast(Kinetics, kinetics)
    values = _row_values(kinetics)
    return with_diffusion(_chemistry(values), values)


def kinetics_of_names(rows: Sequence[Sequence[Any]], where: str = "kinetics") -> Kinetics | None:
    """Kinetics from a table of names and values in shop units; None where its names are none of ours.

    The names are those of `KINETICS`. `from` begins a stage: the chemistry below it holds from that
    degree on; diffusion is of all stages. A number in place of a name is a degree, with its rate in
    1/min beside it: then `T` is the temperature of the rates and `E` their energy.

    >>> kinetics_of_names([["A1", 0.6], ["E1", 50]])
    NthOrder(factor=0.01, energy=50000.0, order=1.0)
    >>> kinetics_of_names([["T", 60], ["E", 60], [0, 0.06], [0.5, 0.12]]).rates
    (0.001, 0.002)
    """
    rows = [row for row in rows if not all(_is_empty(cell) for cell in row)]
    if not any(isinstance(row[0], str) and row[0].strip().lower() in _NAMED for row in rows):
        return None
    problems: list[Problem] = []
    stages: list[dict[str, float]] = [{}]
    table: list[tuple[float, float]] = []

    def read(item: Field, cell: Any) -> float:
        try:
            value = item.read(cell, where)
        except InputError as error:
            problems.extend(error.problems)
            value = None
        return np.nan if value is None else float(value)

    for name, cell, *_ in rows:
        item = _NAMED.get(name.strip().lower()) if isinstance(name, str) else None
        if item is None and isinstance(name, str) and not _is_number(name):
            problems.append(
                Problem(where, "name", name, "one of " + ", ".join(f.name for f in _NAMED.values()), code=NA)
            )
        elif item is None:
            table.append((read(_TABLE_DEGREE, name), read(_TABLE_RATE, cell)))
        elif item is _FROM:
            stages.append({"from": read(item, cell)})
        else:
            value = read(item, cell)
            if not np.isnan(value):
                stages[-1][item.name] = value
    if problems:
        raise InputError(problems)
    return _from_stages(stages, table, where)


def _from_stages(stages: list[dict[str, float]], table: list[tuple[float, float]], where: str) -> Kinetics:
    """Kinetics from the values of each stage by name, and the rows of a rate table."""
    common = {key: value for stage in stages for key, value in stage.items()}
    gaps = [words for stage in stages for words in _gaps(stage if len(stages) > 1 else common)]
    if len(stages) > 1:  # diffusion may stand in any stage
        gaps = [words for words in gaps if "A2" in words] + _gaps(
            {key: value for key, value in common.items() if key not in {"A2", "E2", "m"}}
        )
    if table:
        gaps += [f"complete: with rates by degree, {name} too" for name in "TE" if name not in common]
        gaps += ["rates by degree, or A1 and E1, not both"] if "A1" in common else []
        gaps += ["rates by degree without stages"] if len(stages) > 1 else []
    else:
        for number_, stage in enumerate(stages, 1):
            gaps += [f"complete: A1 and E1 in stage {number_}"] * (not {"A1", "E1"} <= stage.keys())
    starts = [stage.get("from", 0.0) for stage in stages]
    if any(b <= a for a, b in pairwise(starts)):
        gaps.append("of stages in rising order of `from`")
    if gaps:
        raise InputError([Problem(where, "kinetics", None, words, code=NUM) for words in dict.fromkeys(gaps)])
    kinetics: Kinetics
    if table:
        degrees, rates = zip(*sorted(table), strict=True)
        kinetics = RateTable(degrees, rates, common["T"], common["E"])
    elif len(stages) == 1:
        kinetics = _chemistry(common)
    else:
        kinetics = Piecewise(tuple(starts[1:]), tuple(_chemistry(stage) for stage in stages))
    return with_diffusion(kinetics, common)


def _is_empty(cell: Any) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip()) or cell != cell


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


KINETICS = record(
    "kinetics",
    (*_CHEMISTRY, *_DIFFUSION),
    "row A1, E1, A2, E2, m, n of dα/dt = (k1 + k2·α^m)(1−α)^n; A2 blank: n-th order; n blank: 1. Further "
    "cells: ceiling B; C, alpha_c0, alpha_cT or kd0, C1, C2, Tg0, Tg1, lambda for a cure that diffusion "
    "stops. Or two columns of names and values: these names, `from` before the constants of a further "
    "stage, or T, E and rows of degree and rate",
    from_names=kinetics_of_names,
)

__all__ = [
    "KINETICS",
    "LEE_LOOS_SPRINGER",
    "DiffusionFactor",
    "DiffusionResistance",
    "Kamal",
    "Kinetics",
    "KineticsLike",
    "NthOrder",
    "Piecewise",
    "RateTable",
    "Stage",
    "arrhenius",
    "as_kinetics",
    "constants_of",
    "first_energy",
    "glass_slope",
    "glass_transition",
    "incomplete",
    "kinetics_of_names",
    "with_diffusion",
]
