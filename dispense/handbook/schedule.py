"""Cure schedules: parts in an oven, the shortest hold that passes, and kinetics from measurements.

A `Profile` is the temperature of the air. A `PartLag` is a part that follows it with a first-order
lag; the quickest part of a load is the hottest, the slowest the coldest. `schedule` plays the
profile for each part and says when it gels, can be handled and is cured; `shortest_hold` searches
the hold. `fit_activation_energy` and `fit_kinetics` find the constants from measurements and say in
plain words where the data cannot.

All in SI units: s, K, J/mol, 1/s. scipy is imported where it is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.numbers import Series
from ..base.units import celsius_text
from .cure import (
    Kamal,
    Kinetics,
    KineticsLike,
    NthOrder,
    arrhenius_integrals,
    as_kinetics,
    cure_before_glass,
    cure_degree,
    glass_point,
    part_temperature,
)
from .life import GAS_CONSTANT

# ------------------------------------------------------------------------------- activation energy


# what a fit is warned of; all common practice, no source
NARROW = 10.0  # K of tests from which nothing is read off outside them
WIDE_ENERGY = 0.25  # of the energy, half the width of its interval
HARDLY_APART = 0.98  # correlation of two constants
NEARLY_CURED = 0.8  # degree that one row must reach at least
STRAY = 0.1  # by which a measured degree may lie outside 0 to 1
ENOUGH_ROWS = 12  # from which the signs of residuals are looked at
SMALL_RESIDUAL = 5e-3  # of the degree: below it their signs say nothing
#: one standard error of a constant: 10 kJ/mol, a factor of 2, half an order
WIDE = {"E": 1.0, "A": 0.7, "m": 0.5, "n": 0.5}
LEAST_BEND = 0.01  # share of the time by which a line must miss a curve to be worth a word; no source


@dataclass(frozen=True, slots=True)
class Curvature:
    """What a line misses of times whose logarithm is bent over 1/T: the test, and the misses.

    The misses are those of the line beside the parabola, as shares of the time: −0.1 is a time that
    the line gives 10 % too short; at the coldest and the hottest test and where it is farthest off
    between them.
    """

    statistic: float  # Student's t of the quadratic term
    free: int  # its degrees of freedom
    chance: float  # of a statistic as large with a straight line
    cold: float
    hot: float
    between: float
    cold_at: float  # K
    hot_at: float
    between_at: float

    @property
    def misses(self) -> tuple[tuple[float, float], ...]:
        """Temperature and miss of the line: cold end, between, hot end."""
        return ((self.cold_at, self.cold), (self.between_at, self.between), (self.hot_at, self.hot))

    def matters(self, confidence: float = 0.95) -> bool:
        """Whether one energy does not hold: bent beyond chance, and by enough to be worth a word."""
        worst = max(abs(miss) for _, miss in self.misses)
        return self.chance < 1.0 - confidence and worst > LEAST_BEND

    @property
    def words(self) -> str:
        """What is the matter, in words."""
        told = ", ".join(
            f"{abs(miss):.0%} too {'short' if miss < 0.0 else 'long'} at {celsius_text(at)}"
            for at, miss in self.misses
        )
        return (
            f"one energy does not hold: ln time is bent over 1/T (quadratic term t = {self.statistic:.2g}, "
            f"{self.free} degrees of freedom, chance {self.chance:.2g}), the line gives times {told}; do not "
            "extrapolate, and take two pot lives near the temperatures of use"
        )


def arrhenius_curvature(temperatures: Series, times: Series) -> Curvature | None:
    """Whether ln time bends over 1/T: Student's t of the quadratic term of a parabola through the points.

    None where it cannot be told: fewer than four points, or than three temperatures. Source: NIST/SEMATECH
    e-Handbook of Statistical Methods, 4.4.4 (is the model right?) and 4.1.4.1 (linear least squares).

    >>> heat = np.array([293.15, 303.15, 313.15, 323.15, 333.15])
    >>> bent = arrhenius_curvature(heat, 3600.0 * np.array([4.2, 1.9, 1.0, 0.62, 0.45]))
    >>> bent.cold < 0.0 < bent.between, bent.chance < 0.01
    (True, True)
    """
    from scipy.stats import t as student

    temperatures, times = (np.asarray(part, dtype=float).ravel() for part in (temperatures, times))
    free = times.size - 3
    if free < 1 or np.unique(temperatures).size < 3:
        return None
    inverse = 1.0 / temperatures
    middle, reach = inverse.mean(), np.ptp(inverse) / 2.0
    along = (inverse - middle) / reach
    logs = np.log(times)
    powers = np.column_stack([np.ones_like(along), along, along**2])
    parabola, *_ = np.linalg.lstsq(powers, logs, rcond=None)
    line, *_ = np.linalg.lstsq(powers[:, :2], logs, rcond=None)
    residuals = logs - powers @ parabola
    variance = residuals @ residuals / free
    error = math.sqrt(variance * np.linalg.inv(powers.T @ powers)[2, 2])
    statistic = parabola[2] / error if error > 0.0 else math.copysign(math.inf, parabola[2])
    gap = np.polynomial.Polynomial(np.append(line, 0.0) - parabola)
    ends = along.max(), along.min()  # cold, hot
    turn = min(max(-gap.coef[1] / (2.0 * gap.coef[2]), ends[1]), ends[0]) if gap.coef[2] else 0.0
    places = np.array([ends[0], ends[1], turn])
    cold, hot, between = np.expm1(gap(places)).tolist()
    chance = float(2.0 * student.sf(abs(statistic), free))
    heat = (1.0 / (middle + reach * places)).tolist()
    return Curvature(float(statistic), free, chance, cold, hot, between, *heat)


@dataclass(frozen=True, slots=True)
class EnergyFit:
    """An activation energy with its confidence interval, J/mol; NaN bounds where there are none.

    `curvature` is None where the points cannot tell whether one energy holds.
    """

    energy: float
    low: float
    high: float
    confidence: float
    residuals: np.ndarray  # of ln time
    warnings: tuple[str, ...]
    error: float  # standard error, J/mol
    curvature: Curvature | None = None

    @property
    def is_bent(self) -> bool:
        """Whether the points say that one energy does not hold."""
        return self.curvature is not None and self.curvature.matters(self.confidence)


def fit_activation_energy(temperatures: Series, times: Series, confidence: float = 0.95) -> EnergyFit:
    """Activation energy from times measured at temperatures, with its confidence interval.

    Least squares of ln t on 1/T; the interval is that of Student's t with n − 2 degrees of freedom.

    >>> fit = fit_activation_energy([296.15, 308.15], [3600.0, 1500.0])
    >>> round(fit.energy, 2), math.isnan(fit.low)
    (55356.36, True)
    >>> print(fit.warnings[0])
    two points fit any line: the energy has no confidence interval; measure a third temperature
    """
    temperatures = np.asarray(temperatures, dtype=float).ravel()
    times = np.asarray(times, dtype=float).ravel()
    problems = []
    if temperatures.size != times.size or times.size < 2:
        problems.append(
            Problem(
                "fit_activation_energy",
                "times",
                f"{times.size} values",
                f"as many as temperatures ({temperatures.size}), two or more",
            )
        )
    if not (np.all(temperatures > 0.0) and np.all(times > 0.0)):
        problems.append(
            Problem("fit_activation_energy", message="temperatures and times must be above 0", code=NUM)
        )
    if not problems and np.ptp(temperatures) == 0.0:
        problems.append(
            Problem(
                "fit_activation_energy",
                "temperatures",
                float(temperatures[0]),
                "two different temperatures or more",
                code=NUM,
            )
        )
    if problems:
        raise InputError(problems)
    inverse = 1.0 / temperatures
    centred = inverse - inverse.mean()
    spread = centred @ centred
    logs = np.log(times)
    slope = centred @ logs / spread
    residuals = logs - logs.mean() - slope * centred
    energy = GAS_CONSTANT * slope
    free = times.size - 2
    low = high = error = math.nan
    warnings = []
    if free < 1:
        warnings.append(
            "two points fit any line: the energy has no confidence interval; measure a third temperature"
        )
    else:
        from scipy.stats import t as student

        error = math.sqrt(residuals @ residuals / free / spread) * GAS_CONSTANT
        half = float(student.ppf(0.5 + confidence / 2.0, free)) * error
        low, high = energy - half, energy + half
        if half > WIDE_ENERGY * abs(energy):
            warnings.append(
                f"the energy is known to ±{100 * half / abs(energy):.0f} % only: repeat "
                "tests, or spread the temperatures"
            )
    if np.ptp(temperatures) < NARROW:
        warnings.append(f"the temperatures lie within {NARROW:g} K: what is read off outside them is a guess")
    if energy <= 0.0:
        warnings.append("times grow with temperature: look for mixed-up rows or units")
    fit = EnergyFit(
        float(energy),
        float(low),
        float(high),
        confidence,
        residuals,
        tuple(warnings),
        error,
        arrhenius_curvature(temperatures, times),
    )
    if fit.curvature is not None and fit.is_bent:
        return replace(fit, warnings=(fit.curvature.words, *fit.warnings))
    if fit.curvature is None and free > 0:
        few = "points" if times.size < 4 else "temperatures"
        told = (
            f"too few {few} to tell whether one energy holds over the range: measure four or more, at "
            "three temperatures or more"
        )
        return replace(fit, warnings=(*fit.warnings, told))
    return fit


# ---------------------------------------------------------------------------------- kinetics

FORMS = ("n-th order", "Kamal-Sourour")
_NAMES = {"n-th order": ("A1", "E1", "n"), "Kamal-Sourour": ("A1", "E1", "A2", "E2", "m", "n")}


@dataclass(frozen=True, slots=True)
class KineticsFit:
    """Fitted kinetics with what is known of their precision.

    `values` and `errors` (standard errors) follow `names`; a factor A is fitted, and has its error,
    as the logarithm of its rate constant at `reference` (`ln k1`, `ln k2`).
    """

    kinetics: NthOrder | Kamal
    names: tuple[str, ...]
    values: np.ndarray
    errors: np.ndarray
    covariance: np.ndarray
    correlation: np.ndarray
    reference: float
    fitted: np.ndarray
    residuals: np.ndarray
    warnings: tuple[str, ...]

    @property
    def spread(self) -> float:
        """Standard deviation of the residuals."""
        return math.sqrt(self.residuals @ self.residuals / max(1, self.residuals.size - self.values.size))

    @property
    def row(self) -> tuple[Any, ...]:
        """The worksheet row A1, E1, A2, E2, m, n in 1/min and kJ/mol, None for blank."""
        k = self.kinetics
        if isinstance(k, NthOrder):
            return (k.factor * 60.0, k.energy / 1e3, None, None, None, k.order)
        return (k.factor * 60.0, k.energy / 1e3, k.factor_auto * 60.0, k.energy_auto / 1e3, k.power, k.order)


def _runs(times: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
    """Number of the run of each row: a new one begins where the time does not go on."""
    falls = np.diff(times) < 0.0
    again = (np.diff(times) == 0.0) & (np.diff(temperatures) != 0.0)
    return np.concatenate([[0], np.cumsum(falls | again)])


def fit_kinetics(
    times: Series,
    degrees: Series,
    temperatures: Series,
    form: str = "n-th order",
    start: float = 0.0,
    runs: Sequence[Any] | None = None,
) -> KineticsFit:
    """Kinetics from a table of degree of cure against time and temperature.

    Rows of several runs stand one below the other; a run begins where the time falls back, or where
    the label in `runs` changes. Each run starts with the degree `start` at time 0 and the
    temperature of its first row. `form` is
    "n-th order" or "Kamal-Sourour".

    >>> t = np.tile([300.0, 900.0, 1800.0, 3600.0], 2)
    >>> heat = np.repeat([333.15, 353.15], 4)
    >>> made = [cure_degree([0.0, s], [T, T], NthOrder(2e5, 6e4, 1.5))[-1]
    ...         for s, T in zip(t, heat)]
    >>> fit = fit_kinetics(t, made, heat)
    >>> round(fit.kinetics.energy), round(fit.kinetics.order, 3)
    (60000, 1.5)
    """
    from scipy.optimize import least_squares

    times, degrees, temperatures = (
        np.asarray(part, dtype=float).ravel() for part in (times, degrees, temperatures)
    )
    names = _NAMES.get(form, ())
    problems = []
    if not names:
        problems.append(Problem("fit_kinetics", "form", form, "one of " + ", ".join(FORMS)))
    if not times.size == degrees.size == temperatures.size:
        problems.append(
            Problem(
                "fit_kinetics",
                "degrees",
                f"{degrees.size} values",
                f"as many as times ({times.size}) and temperatures ({temperatures.size})",
            )
        )
    if not (np.all(times >= 0.0) and np.all(temperatures > 0.0) and np.isfinite(degrees).all()):
        problems.append(
            Problem(
                "fit_kinetics",
                message="times must be 0 or more, temperatures above 0 K, degrees numbers",
                code=NUM,
            )
        )
    if np.any((degrees < -STRAY) | (degrees > 1.0 + STRAY)):
        problems.append(
            Problem(
                "fit_kinetics",
                "degrees",
                float(np.max(degrees)),
                "fractions from 0 to 1",
                "divide percentages by 100",
                NUM,
            )
        )
    if not problems and times.size <= len(names):
        problems.append(
            Problem(
                "fit_kinetics",
                "times",
                f"{times.size} rows",
                f"more than the {len(names)} constants to be found",
            )
        )
    if problems:
        raise InputError(problems)
    table = _Table(times, temperatures, start, runs)
    single = bool(np.ptp(temperatures) < 1e-9)
    free = [name for name in names if not (single and name.startswith("E"))]
    reference = float(1.0 / np.mean(1.0 / temperatures))

    def kinetics_of(values: np.ndarray) -> NthOrder | Kamal:
        full = dict.fromkeys(names, 0.0) | dict(zip(free, values.tolist(), strict=True))
        factors = {
            name: math.exp(min(full[name] + full["E" + name[1]] * 1e4 / GAS_CONSTANT / reference, 600.0))
            for name in names
            if name.startswith("A")
        }
        if form == FORMS[0]:
            return NthOrder(factors["A1"], full["E1"] * 1e4, full["n"])
        return Kamal(factors["A1"], full["E1"] * 1e4, factors["A2"], full["E2"] * 1e4, full["m"], full["n"])

    def misfit(values: np.ndarray) -> np.ndarray:
        return table.degrees(kinetics_of(values)) - degrees

    bounds = {"A": (-60.0, 20.0), "E": (0.0, 40.0), "m": (0.0, 5.0), "n": (0.0, 6.0)}
    low, high = (np.array([bounds[name[0]][side] for name in free]) for side in (0, 1))
    best: Any = None
    for guess in _guesses(form, free, times, degrees):
        found = least_squares(
            misfit,
            guess,
            bounds=(low, high),
            xtol=1e-12,
            ftol=1e-12,
            gtol=1e-12,
            diff_step=1e-5,
            max_nfev=200,
        )
        if best is None or found.cost < best.cost:
            best = found
        if best.cost < 1e-12:
            break
    return _precision(best, kinetics_of(best.x), free, low, high, reference, degrees, single)


class _Table:
    """The rows of the measurements as columns of one integration."""

    def __init__(self, times: np.ndarray, temperatures: np.ndarray, start: float, runs: Any) -> None:
        run = (
            _runs(times, temperatures)
            if runs is None
            else np.unique(np.asarray(runs, dtype=str), return_inverse=True)[1].ravel()
        )
        self.grid = np.unique(np.append(times, 0.0))
        self.place = (np.searchsorted(self.grid, times), run)
        columns = []
        for number in range(run.max() + 1):
            mine = run == number
            columns.append(np.interp(self.grid, times[mine], temperatures[mine]))
        self.heat = np.column_stack(columns)
        self.start = start

    def degrees(self, kinetics: Kinetics) -> np.ndarray:
        """Degree of each row."""
        found = cure_degree(self.grid, self.heat, kinetics, self.start)
        values: np.ndarray = found.reshape(self.grid.size, -1)[self.place]
        return values


def _guesses(form: str, free: Sequence[str], times: np.ndarray, degrees: np.ndarray) -> Iterator[np.ndarray]:
    """Places to start the search from: the rate of a first-order cure, and some autocatalysis."""
    inside = (times > 0.0) & (degrees > 0.01) & (degrees < 0.99)
    rate = np.median(-np.log1p(-degrees[inside]) / times[inside]) if inside.any() else 1e-3
    base = {"E1": 6.0, "E2": 6.0, "m": 1.0, "n": 1.2}
    shares = ((1.0, 0.0),) if form == FORMS[0] else ((0.1, 3.0), (0.5, 1.0), (0.01, 5.0))
    for plain, auto in shares:
        start = base | {"A1": math.log(plain * rate), "A2": math.log(max(auto, 1e-3) * rate)}
        yield np.array([start[name] for name in free])


def _precision(
    found: Any,
    kinetics: NthOrder | Kamal,
    free: Sequence[str],
    low: np.ndarray,
    high: np.ndarray,
    reference: float,
    degrees: np.ndarray,
    single: bool,
) -> KineticsFit:
    count = found.x.size
    squares = found.jac.T @ found.jac
    variance = 2.0 * found.cost / max(1, degrees.size - count)
    # an inverse that lives with directions the data do not see
    values, vectors = np.linalg.eigh(squares)
    seen = values > values.max() * 1e-14
    covariance = (vectors / np.where(seen, values, values.max() * 1e-14)) @ vectors.T * variance
    errors = np.sqrt(np.diag(covariance))
    scale = np.where(errors > 0.0, errors, 1.0)
    correlation = covariance / np.outer(scale, scale)
    labels = [{"A1": "ln k1", "A2": "ln k2"}.get(name, name) for name in free]
    warnings = []
    if single:
        warnings.append(
            "all rows are at one temperature: the activation energy cannot be found; "
            "the constants hold at that temperature only"
        )
    for i in range(count):
        for j in range(i):
            if abs(correlation[i, j]) > HARDLY_APART:
                warnings.append(
                    f"the data can hardly tell {labels[j]} and {labels[i]} apart (correlation "
                    f"{correlation[i, j]:+.3f}): other pairs fit as well; measure at more "
                    "temperatures or closer in time"
                )
    if not seen.all():
        weak = labels[int(np.abs(vectors[:, np.argmin(values)]).argmax())]
        warnings.append(f"the data say nothing about {weak}")
    for name, label, error in zip(free, labels, errors, strict=True):
        if error > WIDE[name[0]]:
            width = f"{error * 10:.0f} kJ/mol" if name[0] == "E" else f"{error:.2g}"
            warnings.append(f"{label} is known to ±{width} (one standard error) only")
    at_bound = (found.x <= low + 1e-6 * (high - low)) | (found.x >= high - 1e-6 * (high - low))
    for label, stuck in zip(labels, at_bound, strict=True):
        if stuck:
            warnings.append(f"{label} ran to the end of its range: another form may fit better")
    if degrees.max() < NEARLY_CURED:
        warnings.append(
            f"no row is cured past {degrees.max():.2f}: the end of the cure, and with "
            "it the order n, is an extrapolation"
        )
    runs = found.fun
    if runs.size >= ENOUGH_ROWS:
        signs = np.sign(runs)
        changes = int(np.sum(signs[1:] != signs[:-1]))
        if changes < runs.size / 4 and np.sqrt(variance) > SMALL_RESIDUAL:
            warnings.append(
                "the residuals run in long stretches of one sign: this form of kinetics "
                "does not follow the data"
            )
    # energies were fitted in 10 kJ/mol
    unit = np.array([1e4 if name[0] == "E" else 1.0 for name in free])
    return KineticsFit(
        kinetics,
        tuple(labels),
        found.x * unit,
        errors * unit,
        covariance * np.outer(unit, unit),
        correlation,
        reference,
        degrees + found.fun,
        -found.fun,
        tuple(warnings),
    )


# ----------------------------------------------------------------------------------- profiles


@dataclass(frozen=True, slots=True)
class Profile:
    """Temperature of the air, linear between its points (s, K)."""

    times: np.ndarray
    temperatures: np.ndarray

    def __post_init__(self) -> None:
        times = np.asarray(self.times, dtype=float)
        temperatures = np.asarray(self.temperatures, dtype=float)
        if times.ndim != 1 or times.shape != temperatures.shape or times.size < 2:
            raise InputError(
                Problem(
                    "Profile",
                    "temperatures",
                    f"{temperatures.size} values",
                    f"as many as times ({times.size}), two or more",
                )
            )
        if np.any(np.diff(times) < 0.0) or not np.all(temperatures > 0.0):
            raise InputError(
                Problem("Profile", message="times must be in order and temperatures above 0 K", code=NUM)
            )
        object.__setattr__(self, "times", times)
        object.__setattr__(self, "temperatures", temperatures)


def ramp_hold(
    room: float, hold_temperature: float, hold: float, ramp: float, cool: float | None = None
) -> Profile:
    """Ramp up, hold, and where `cool` is given ramp down; rates in K/s, 0 or less is a step.

    >>> ramp_hold(298.15, 353.15, 1800.0, 1 / 60, 2 / 60).times.round(6).tolist()
    [0.0, 3300.0, 5100.0, 6750.0]
    """
    rise = abs(hold_temperature - room)
    up = rise / ramp if ramp > 0.0 else 0.0
    times, heat = [0.0, up, up + hold], [room, hold_temperature, hold_temperature]
    if cool is not None:
        times.append(times[-1] + (rise / cool if cool > 0.0 else 0.0))
        heat.append(room)
    return Profile(np.array(times), np.array(heat))


@dataclass(frozen=True, slots=True)
class PartLag:
    """A part that follows the air: time constant s, place in the oven by `offset` K, start K."""

    name: str
    time_constant: float
    offset: float = 0.0
    start: float | None = None


GLASS_MARGIN = 20.0  # K of the glass point above the part, from where no reaction is counted (common
# practice: it nearly stops 10 to 30 K above, no source; a diffusion model ends some 10 K above in a week)
NEAR_CURE = 5.0  # K below the cure temperature that counts as at it (common practice, no source)
GLASS_LOSS = 0.005  # of the degree: less than that is not worth a word


@dataclass(frozen=True, slots=True)
class GlassStop:
    """The first stretch over which a part is a glass, and what it takes from the computed cure."""

    start: float  # s
    end: float  # s; inf where it lasts to the end
    temperature: float  # of the part at the start, K
    glass_point: float  # K
    degree: float  # at the start
    computed: float  # degree at the end by the kinetics alone
    counted: float  # degree at the end without what is computed for a glass

    @property
    def words(self) -> str:
        """What is the matter, in words for a printed sheet."""
        until = f"to {self.end / 60:.0f} min" if math.isfinite(self.end) else "on"
        return (
            f"glass transition {celsius_text(self.glass_point)} is {GLASS_MARGIN:g} K or more above the part "
            f"at {celsius_text(self.temperature)} from {self.start / 60:.0f} min {until}, at degree "
            f"{self.degree:.2f}: reaction nearly stops there; the computed degree {self.computed:.3f} cannot "
            f"be relied on, {self.counted:.2f} is sure"
        )


@dataclass(frozen=True, slots=True)
class PartCure:
    """What a schedule gives for one part; times are NaN where a degree is not reached.

    `degrees` and `equivalent` are those of the kinetics and of the data sheet alone; `gel`, `handling`,
    `cured` and the verdict count nothing that is computed for a glass, nor does `counted`, the
    equivalent time for milestones.
    """

    part: PartLag
    temperatures: np.ndarray
    degrees: np.ndarray | None
    equivalent: np.ndarray | None  # cumulative equivalent time, s
    glass_points: np.ndarray | None
    gel: float
    handling: float
    cured: float
    passes: bool
    reasons: tuple[str, ...]
    sure: np.ndarray | None = None  # degrees without what is computed for a glass
    counted: np.ndarray | None = None  # equivalent time likewise
    glass: GlassStop | None = None


@dataclass(frozen=True, slots=True)
class Schedule:
    """A profile played for each part of a load."""

    times: np.ndarray
    air: np.ndarray
    parts: tuple[PartCure, ...]

    @property
    def passes(self) -> bool:
        """Whether every part passes."""
        return all(part.passes for part in self.parts)

    @property
    def coldest(self) -> PartCure:
        """The part that is cured last: least degree or equivalent time at the end."""
        return min(self.parts, key=_end)

    @property
    def hottest(self) -> PartCure:
        """The part that is cured first."""
        return max(self.parts, key=_end)


def _end(part: PartCure) -> float:
    if part.equivalent is not None:
        return float(part.equivalent[-1])
    return math.nan if part.degrees is None else float(part.degrees[-1])


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a part must reach, and what it must not pass; None is not asked for.

    `degree` at the end; `equivalent` time (s) at `reference` (K) by the activation `energy`; `limit`
    the temperature that the part must not pass.
    """

    degree: float | None = None
    equivalent: float | None = None
    reference: float | None = None
    energy: float | None = None
    limit: float | None = None


_POINTS = 4000


def _refined(times: np.ndarray, constants: Sequence[float]) -> np.ndarray:
    """Times close enough that a lagging part is straight between them to a few mK."""
    total = times[-1] - times[0]
    shortest = max(min(constants, default=total), 1e-9)
    piece = max(shortest / 100.0, total / _POINTS)
    grid = [np.linspace(a, b, max(2, 1 + math.ceil((b - a) / piece))) for a, b in pairwise(times) if b > a]
    # a step of the air stays a step: both of its points
    return np.sort(np.concatenate([times, *(part[1:-1] for part in grid)]))


def _air_at(profile: Profile, times: np.ndarray) -> np.ndarray:
    """Air temperature at refined times, both values kept where the air steps."""
    air: np.ndarray = np.interp(times, profile.times, profile.temperatures)
    for place in np.flatnonzero(np.diff(profile.times) == 0.0):
        here = np.flatnonzero(times == profile.times[place])
        air[here[0]], air[here[-1]] = profile.temperatures[place], profile.temperatures[place + 1]
    return air


def schedule(
    profile: Profile,
    parts: Sequence[PartLag],
    kinetics: KineticsLike | None = None,
    *,
    requirement: Requirement | None = None,
    gel: float | None = None,
    handling: float | None = None,
    cured: float | None = None,
    glass: tuple[float, float, float] | None = None,
) -> Schedule:
    """A temperature profile played for each part: degrees, equivalent time, glass point, times.

    `kinetics` give degrees; a `requirement` with energy and reference gives equivalent times; `gel`,
    `handling` and `cured` are degrees whose times are wanted; `glass` is the glass point uncured,
    cured (K) and DiBenedetto's ratio. Heat of cure in the part is not in it.

    >>> oven = ramp_hold(296.15, 353.15, 3600.0, 0.0)
    >>> load = [PartLag("thin edge", 120.0), PartLag("core", 900.0)]
    >>> played = schedule(oven, load, NthOrder(2e5, 6e4), requirement=Requirement(degree=0.5),
    ...                   gel=0.3)
    >>> played.coldest.part.name, bool(played.hottest.gel < played.coldest.gel)
    ('core', True)
    """
    requirement = requirement or Requirement()
    kinetics = None if kinetics is None else as_kinetics(kinetics)
    problems = [
        Problem("schedule", "time_constant", part.time_constant, "above 0", code=NUM)
        for part in parts
        if not part.time_constant > 0.0
    ]
    if not parts:
        problems.append(Problem("schedule", message="there is no part in the load"))
    if kinetics is None and requirement.energy is None:
        problems.append(
            Problem(
                "schedule",
                message="neither kinetics nor an activation energy is given",
                fix="give one of them",
            )
        )
    if kinetics is None and (requirement.degree is not None or gel is not None):
        problems.append(Problem("schedule", message="a degree of cure needs kinetics"))
    if requirement.equivalent is not None and None in (requirement.energy, requirement.reference):
        problems.append(
            Problem(
                "schedule",
                message="an equivalent time needs a reference temperature and an activation energy",
            )
        )
    if problems:
        raise InputError(problems)
    times = _refined(profile.times, [part.time_constant for part in parts])
    air = _air_at(profile, times)
    constants = np.array([part.time_constant for part in parts])
    starts = np.array([air[0] if part.start is None else part.start for part in parts])
    offsets = np.array([part.offset for part in parts])
    heat = part_temperature(times, air[:, None] + offsets, constants, starts)
    heat = heat.reshape(times.size, -1)
    degrees = equivalent = None
    if kinetics is not None:
        degrees = cure_degree(times, heat, kinetics).reshape(times.size, -1)
    if requirement.energy is not None and requirement.reference is not None:
        gains = arrhenius_integrals(times, heat, requirement.energy, requirement.reference)
        equivalent = np.vstack([np.zeros(len(parts)), np.cumsum(gains, axis=0)])
    played = []
    for place, part in enumerate(parts):
        own = None if degrees is None else degrees[:, place]
        spent = None if equivalent is None else equivalent[:, place]
        sure, counted, points = own, spent, None
        stop: GlassStop | None = None
        if own is not None and glass is not None and kinetics is not None:
            points = np.asarray(glass_point(own, *glass))
            sure, counted, stop = _without_glass(
                times, heat[:, place], kinetics, glass, own, spent, requirement.reference
            )
        reasons = _reasons(requirement, heat[:, place], own, spent)
        if (
            stop is not None
            and _falls_short(requirement, sure, counted)
            and (not reasons or stop.computed - stop.counted > GLASS_LOSS)
        ):
            reasons.append(stop.words)
        played.append(
            PartCure(
                part,
                heat[:, place],
                own,
                spent,
                points,
                _when(times, sure, gel),
                _when(times, sure, handling),
                _when(times, sure, cured),
                not reasons,
                tuple(reasons),
                sure,
                counted,
                stop,
            )
        )
    return Schedule(times, air, tuple(played))


def _without_glass(
    times: np.ndarray,
    heat: np.ndarray,
    kinetics: KineticsLike,
    glass: tuple[float, float, float],
    degrees: np.ndarray,
    equivalent: np.ndarray | None,
    reference: float | None,
) -> tuple[np.ndarray, np.ndarray | None, GlassStop | None]:
    """Degrees and equivalent time without what is computed for a glass, and the first such stretch.

    At the temperature of the data-sheet time its equivalent time counts, glass or not: what the part
    then is was part of that test.
    """
    sure, stretches = cure_before_glass(times, heat, kinetics, glass, GLASS_MARGIN, degrees)
    if not stretches:
        return degrees, equivalent, None
    first, last = stretches[0]
    stop = GlassStop(
        float(times[first]),
        float(times[last]) if len(stretches) > 1 or last < times.size - 1 else math.inf,
        float(heat[first]),
        float(glass_point(sure[first], *glass)),
        float(sure[first]),
        float(degrees[-1]),
        float(sure[-1]),
    )
    if equivalent is None:
        return sure, None, stop
    gains = np.diff(equivalent, prepend=0.0)
    assert reference is not None  # an equivalent time has one
    for first, last in stretches:
        lost = slice(first + 1, last + 1)
        gains[lost] = np.where(heat[lost] >= reference - NEAR_CURE, gains[lost], 0.0)
    return sure, np.cumsum(gains), stop


def _falls_short(requirement: Requirement, degrees: np.ndarray | None, equivalent: np.ndarray | None) -> bool:
    """Whether a degree or an equivalent time that is required is not reached."""
    return _is_below(degrees, requirement.degree) or _is_below(equivalent, requirement.equivalent)


def _is_below(course: np.ndarray | None, least: float | None) -> bool:
    """Whether a course ends below what is required."""
    return course is not None and least is not None and bool(course[-1] < least)


def _when(times: np.ndarray, degrees: np.ndarray | None, goal: float | None) -> float:
    if degrees is None or goal is None:
        return math.nan
    if degrees[0] >= goal:
        return float(times[0])
    place = int(np.searchsorted(degrees, goal))
    if place == degrees.size:
        return math.nan
    low, high = degrees[place - 1], degrees[place]
    share = (goal - low) / (high - low)
    return float(times[place - 1] + share * (times[place] - times[place - 1]))


def _reasons(
    requirement: Requirement, heat: np.ndarray, degrees: np.ndarray | None, equivalent: np.ndarray | None
) -> list[str]:
    """Why a part does not pass, in plain words."""
    reasons = []
    if requirement.degree is not None and degrees is not None and degrees[-1] < requirement.degree:
        reasons.append(f"degree of cure ends at {degrees[-1]:.3f}, {requirement.degree:.3f} is required")
    if (
        requirement.equivalent is not None
        and equivalent is not None
        and equivalent[-1] < requirement.equivalent
    ):
        reasons.append(
            f"equivalent time ends at {equivalent[-1] / 60:.1f} min, "
            f"{requirement.equivalent / 60:.1f} min are required"
        )
    if requirement.limit is not None and heat.max() > requirement.limit:
        reasons.append(
            f"reaches {heat.max() - 273.15:.1f} °C, the limit is {requirement.limit - 273.15:.1f} °C"
        )
    return reasons


def shortest_hold(
    profile: Callable[[float], Profile],
    parts: Sequence[PartLag],
    kinetics: KineticsLike | None = None,
    *,
    requirement: Requirement,
    longest: float = 7 * 86400.0,
    glass: tuple[float, float, float] | None = None,
) -> float:
    """The shortest hold (s) with which the coldest part still passes; `glass` as for `schedule`.

    `profile` gives the profile for a hold, for example
    `lambda hold: ramp_hold(296.15, 353.15, hold, 2 / 60, 4 / 60)`. Found to 0.01 s or 1e-6 of it.

    >>> def step(hold):
    ...     return ramp_hold(353.15, 353.15, hold, 0.0)
    >>> hold = shortest_hold(step, [PartLag("part", 1.0)], NthOrder(0.001, 0.0),
    ...                      requirement=Requirement(degree=0.5))
    >>> round(hold, 1)  # ln 2/0.001
    693.1
    """
    if requirement.degree is None and requirement.equivalent is None:
        raise InputError(
            Problem("shortest_hold", message="nothing is required: give a degree or an equivalent time")
        )
    wanted = Requirement(
        requirement.degree, requirement.equivalent, requirement.reference, requirement.energy
    )

    def excess(hold: float) -> float:
        worst = math.inf
        for part in schedule(profile(hold), parts, kinetics, requirement=wanted, glass=glass).parts:
            if wanted.degree is not None and part.sure is not None:
                # y = −ln(1 − α) rises nearly straight with the hold
                worst = min(
                    worst,
                    -math.log1p(-min(part.sure[-1], 1.0 - 1e-15))
                    + math.log1p(-min(wanted.degree, 1.0 - 1e-15)),
                )
            if wanted.equivalent is not None and part.counted is not None:
                worst = min(worst, part.counted[-1] / wanted.equivalent - 1.0)
        return worst

    if excess(0.0) >= 0.0:
        return 0.0
    high = 600.0
    while high < longest and excess(high) < 0.0:
        high *= 2.0
    high = min(high, longest)
    if excess(high) < 0.0:
        raise InputError(
            Problem(
                "shortest_hold",
                message=f"the coldest part does not pass with a hold of {longest / 3600:g} h",
                code=NUM,
                fix="raise the hold temperature",
            )
        )
    from scipy.optimize import brentq

    return float(brentq(excess, 0.0, high, xtol=1e-2, rtol=1e-6))


__all__ = [
    "FORMS",
    "GLASS_MARGIN",
    "NEAR_CURE",
    "Curvature",
    "EnergyFit",
    "GlassStop",
    "KineticsFit",
    "PartCure",
    "PartLag",
    "Profile",
    "Requirement",
    "Schedule",
    "arrhenius_curvature",
    "fit_activation_energy",
    "fit_kinetics",
    "ramp_hold",
    "schedule",
    "shortest_hold",
]
