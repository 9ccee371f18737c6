"""Constants of cure kinetics from measured degrees, and how well they are known.

The rate and its sensitivities to each constant are integrated together, over all runs at once, by a
collocation of order 4 (Lobatto IIIA, Hermite–Simpson): one Newton step is one linear recursion, which
solves for the degree and, with as many right-hand sides as there are constants, for the sensitivities.
Least squares then know their slope exactly. Confidence intervals are by profile likelihood: each
constant is moved, the others fitted again, until the sum of squares has risen by what Student's t says.

All in SI units. scipy is imported where it is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.numbers import Floats, Series
from ..base.units import from_si
from .kinetics import (
    CELSIUS_ZERO,
    KINETICS,
    DiffusionFactor,
    DiffusionResistance,
    Kamal,
    NthOrder,
    Stage,
    constants_of,
    glass_transition,
)
from .life import GAS_CONSTANT

NTH, KAMAL = "n-th order", "Kamal-Sourour"
# what a fit is warned of; all common practice, no source
HARDLY_APART = 0.98  # correlation of two constants
NEARLY_CURED = 0.8  # degree that one row must reach at least
STRAY = 0.1  # by which a measured degree may lie outside 0 to 1
ENOUGH_ROWS = 12  # from which the signs of residuals are looked at
SMALL_RESIDUAL = 5e-3  # of the degree: below it their signs say nothing
_CHEMISTRY = {NTH: ("A1", "E1", "n"), KAMAL: ("A1", "E1", "A2", "E2", "m", "n")}
_CEILING, _FACTOR, _RESISTANCE = "ceiling", "diffusion factor", "diffusion resistance"
_MORE = {_CEILING: ("B",), _FACTOR: ("C", "ac", "acT"), _RESISTANCE: ("kd",)}
#: forms that can be fitted: a chemistry, alone or with what slows it
FORMS = (
    NTH,
    KAMAL,
    f"{KAMAL}, {_CEILING}",
    f"{NTH}, {_FACTOR}",
    f"{KAMAL}, {_FACTOR}",
    f"{NTH}, {_RESISTANCE}",
    f"{KAMAL}, {_RESISTANCE}",
)

_PLACES = 48  # of an integral over the degree
_UNKNOWN = 700.0  # of ln: beyond it a factor is as good as infinite
_ENERGY_UNIT = 1e4  # J/mol: energies are searched in steps of 10 kJ/mol


@dataclass(frozen=True, slots=True)
class _Constant:
    """How a constant is searched: its label, bounds and start, and what is too wide to be useful."""

    label: str
    low: float
    high: float
    start: float
    wide: float  # a standard error above which a word is due: 10 kJ/mol, a factor of 2, half an order
    unit: float = 1.0
    is_log: bool = False  # searched by its logarithm, told as itself


_SEARCHED = {
    "A1": _Constant("ln k1", -60.0, 20.0, 0.0, 0.7),
    "E1": _Constant("E1", 0.0, 40.0, 6.0, 1.0, _ENERGY_UNIT),
    "A2": _Constant("ln k2", -60.0, 20.0, 0.0, 0.7),
    "E2": _Constant("E2", 0.0, 40.0, 6.0, 1.0, _ENERGY_UNIT),
    "m": _Constant("m", 0.0, 5.0, 1.0, 0.5),
    "n": _Constant("n", 0.0, 6.0, 1.2, 0.5),
    "B": _Constant("B", 0.05, 1.0, 0.95, 0.1),
    "C": _Constant("C", 0.0, 7.0, 3.4, 0.7, is_log=True),
    "ac": _Constant("alpha_c", -1.0, 2.0, 0.8, 0.1),
    "acT": _Constant("alpha_cT", -0.02, 0.05, 0.003, 0.005),
    "kd": _Constant("ln kd0", -60.0, 20.0, 0.0, 1.0),
}


@dataclass(frozen=True, slots=True)
class KineticsFit:
    """Fitted kinetics with what is known of their precision.

    `values`, `errors` (standard errors), `lows` and `highs` (profile likelihood, ±inf where the data set
    no limit) follow `names`; a factor A is fitted, and has its error, as the logarithm of its rate constant
    at `reference` (`ln k1`, `ln k2`, `ln kd0`); `alpha_c` is the critical degree there.
    """

    kinetics: Stage
    names: tuple[str, ...]
    values: np.ndarray
    errors: np.ndarray
    lows: np.ndarray
    highs: np.ndarray
    confidence: float
    covariance: np.ndarray
    correlation: np.ndarray
    reference: float
    fitted: np.ndarray
    residuals: np.ndarray
    warnings: tuple[str, ...]
    pushes: Callable[[Floats, Floats], Floats]  # derivatives of ln(dα/dt) by each searched value
    searched_covariance: np.ndarray

    @property
    def explains(self) -> bool:
        """Whether the form follows the data at all."""
        scatter = self.fitted + self.residuals
        scatter = scatter - scatter.mean()
        return (
            1.0 - float(self.residuals @ self.residuals) / max(float(scatter @ scatter), 1e-300) > _EXPLAINED
        )

    def time_to(self, degree: float, temperature: float) -> tuple[float, float]:
        """Time from nothing to a degree at a level temperature, and the factor that it is known within.

        t = ∫₀^α dα/r; the factor is exp(t_ν·s), s² = gᵀ·C·g, g = ∂ln t/∂x = −∫ (∂ln r/∂x)/r dα / t, with C
        the covariance of the searched values x: the law of propagation of errors, linear in x (JCGM
        100:2008, 5.2.2). Both are infinite where the cure stops before.

        Args:
            degree: above 0 and below 1.
            temperature: K.

        Returns:
            The time in s, and a factor of 1 or more.
        """
        from scipy.stats import t as student

        # α = α₁·u⁴: the rate of an autocatalytic cure may have an infinite slope at its start
        nodes, weights = np.polynomial.legendre.leggauss(_PLACES)
        place = 0.5 * (nodes + 1.0)
        degrees = degree * place**4
        widths = 0.5 * weights * degree * 4.0 * place**3
        heat = np.full(degrees.size, temperature)
        with np.errstate(all="ignore"):
            rates = np.asarray(self.kinetics.rate(degrees, heat), dtype=float)
            if not np.all(rates > 0.0):
                return math.inf, math.inf
            spans = widths / rates
            time = float(spans.sum())
            slope = -(spans @ self.pushes(degrees, heat)) / time
            error = math.sqrt(max(float(slope @ self.searched_covariance @ slope), 0.0))
            wanted = float(
                student.ppf(0.5 + self.confidence / 2.0, max(1, self.residuals.size - self.values.size))
            )
            factor = math.exp(min(wanted * error, _UNKNOWN))
        return time, factor if math.isfinite(factor) else math.inf

    def share_of_second(self, temperatures: Floats) -> float:
        """Share of the autocatalytic term k2·α^m in the rate over degrees of 0 to 1 at these temperatures."""
        known = constants_of(self.kinetics)
        if "A2" not in known:
            return 0.0
        degrees = (np.arange(_PLACES) + 0.5) / _PLACES
        first, second = (
            known[f"A{place}"] * np.exp(-known[f"E{place}"] / (GAS_CONSTANT * temperatures))[:, None]
            for place in (1, 2)
        )
        grown = second * degrees ** known["m"]
        return float(np.mean(grown / (first + grown)))

    @property
    def spread(self) -> float:
        """Standard deviation of the residuals."""
        return math.sqrt(self.residuals @ self.residuals / max(1, self.residuals.size - self.values.size))

    @property
    def row(self) -> tuple[float | None, ...]:
        """The worksheet row of `KINETICS` in shop units, None for blank."""
        known = constants_of(self.kinetics)
        return tuple(
            float(from_si(known[item.name], item.unit)) if item.name in known else None
            for item in KINETICS.columns
        )


# --------------------------------------------------------------------------- runs and their courses


def runs_of(times: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
    """Number of the run of each row: a new one begins where the time does not go on."""
    falls = np.diff(times) < 0.0
    again = (np.diff(times) == 0.0) & (np.diff(temperatures) != 0.0)
    return np.concatenate([[0], np.cumsum(falls | again)])


_SEED = 1e-9  # degree that stands for 0, where a rate may have an infinite slope
_SHAPE = 80  # places at which a first course is looked at
_SPAN = 1e-7  # of the run's length: the first of these places
_NODES = 64  # of a run's course
_MANY = 1500  # nodes of all runs together, before each gets fewer
_FEWEST = 10
_NEWTON = 12
_CLOSE = 1e-10  # change of a degree at which a course is found


@dataclass(slots=True)
class _Course:
    """The runs as one chain of nodes; `left` are the nodes that an interval begins at."""

    times: np.ndarray
    heat: np.ndarray
    first: np.ndarray  # flags of the first node of each run
    rows: np.ndarray  # node of each measured row
    start: float

    @property
    def left(self) -> np.ndarray:
        """The node before each interval."""
        return np.flatnonzero(~self.first[1:])

    def __post_init__(self) -> None:
        self.start = max(self.start, _SEED)


@dataclass(slots=True)
class _Steps:
    """What a collocation needs of its chain, worked out once."""

    left: np.ndarray
    right: np.ndarray
    length: np.ndarray
    heat: np.ndarray
    middle: np.ndarray

    @classmethod
    def of(cls, course: _Course) -> _Steps:
        """The intervals of a course."""
        left = course.left
        right = left + 1
        middle = 0.5 * (course.heat[left] + course.heat[right])
        return cls(left, right, course.times[right] - course.times[left], course.heat, middle)


def _slopes(kinetics: Stage, degree: np.ndarray, heat: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rate and its slope by the degree, both 0 outside of 0 … 1."""
    inside = np.clip(degree, 0.5 * _SEED, 1.0)
    rate, by_degree, _ = kinetics.slopes(inside, heat)
    return rate, np.where(inside == degree, by_degree, 0.0)


class _Solver:
    """Degrees and sensitivities on a chain of nodes."""

    def __init__(self, course: _Course) -> None:
        self.course = course
        self.steps = _Steps.of(course)
        self.band = np.zeros((2, course.times.size))
        self.local: list[np.ndarray] = []  # degree and slope at middles, rates, of the last step

    def degrees(self, kinetics: Stage, guess: np.ndarray) -> np.ndarray | None:
        """The course by Newton's method from a guess; None where it does not come to rest."""
        value: np.ndarray = np.clip(guess, 0.0, 1.0)
        value[self.course.first] = self.course.start
        last = math.inf
        for _ in range(_NEWTON):
            miss, *self.local = self._linearise(kinetics, value)
            step = self._solve(-miss)
            new = np.clip(value + step, 0.5 * _SEED, 1.0)
            moved = float(np.max(np.abs(new - value)))
            value = new
            if not math.isfinite(moved):
                return None
            if moved <= _CLOSE or (moved < 1e-7 and moved >= last):
                return value
            last = moved
        return None

    def roughly(self, kinetics: Stage, value: np.ndarray) -> np.ndarray:
        """The course as it is given, made ready for its sensitivities."""
        value = np.clip(value, 0.5 * _SEED, 1.0)
        _, *self.local = self._linearise(kinetics, value)
        return value

    def _linearise(self, kinetics: Stage, value: np.ndarray) -> tuple[np.ndarray, ...]:
        """Miss of each interval, its band filled; degree and slope at the middles, slope at the nodes."""
        s = self.steps
        rate, slope = _slopes(kinetics, value, s.heat)
        h, f0, f1, j0, j1 = s.length, rate[s.left], rate[s.right], slope[s.left], slope[s.right]
        u0, u1 = value[s.left], value[s.right]
        half = 0.5 * (u0 + u1) + h / 8.0 * (f0 - f1)
        fm, jm = _slopes(kinetics, half, s.middle)
        miss = np.zeros(value.size)
        miss[s.right] = u1 - u0 - h / 6.0 * (f0 + 4.0 * fm + f1)
        self.band[0] = 1.0
        self.band[0, s.right] = 1.0 - h / 6.0 * (4.0 * jm * (0.5 - h / 8.0 * j1) + j1)
        self.band[1] = 0.0
        self.band[1, s.left] = -1.0 - h / 6.0 * (4.0 * jm * (0.5 + h / 8.0 * j0) + j0)
        return miss, half, jm, rate, fm

    def _solve(self, right: np.ndarray) -> np.ndarray:
        """The linear recursion of the band."""
        from scipy.linalg.lapack import dtbtrs

        found, info = dtbtrs(self.band, right, uplo="L")
        if info:
            return np.full(right.shape, math.nan)
        solved: np.ndarray = found
        return solved.reshape(right.shape)

    def sensitivities(
        self, kinetics: Stage, value: np.ndarray, pushes: Callable[[Stage, Floats, Floats], Floats]
    ) -> np.ndarray:
        """Derivatives of degrees just found by the constants; `pushes` gives those of ln(dα/dt)."""
        s = self.steps
        half, jm, rate, fm = self.local  # a Newton step before the end: the same to its last change
        nodes = rate[:, None] * pushes(kinetics, np.clip(value, 0.5 * _SEED, 1.0), s.heat)
        middle = fm[:, None] * pushes(kinetics, np.clip(half, 0.5 * _SEED, 1.0), s.middle)
        h = s.length[:, None]
        g0, g1 = nodes[s.left], nodes[s.right]
        push = np.zeros((value.size, nodes.shape[1]))
        push[s.right] = h / 6.0 * (g0 + g1 + 4.0 * (middle + jm[:, None] * h / 8.0 * (g0 - g1)))
        return self._solve(push)


class _Table:
    """The rows of the measurements as runs with a temperature of their own."""

    def __init__(
        self, times: np.ndarray, temperatures: np.ndarray, start: float, runs: Sequence[Any] | None
    ) -> None:
        self.run: np.ndarray = (
            runs_of(times, temperatures)
            if runs is None
            else np.unique(np.asarray(runs, dtype=str), return_inverse=True)[1].ravel()
        )
        self.times, self.temperatures, self.start = times, temperatures, start
        self.count = int(self.run.max()) + 1
        self.ends = np.array([max(times[self.run == one].max(), 1e-9) for one in range(self.count)])

    def heat(self, run: int, times: np.ndarray) -> np.ndarray:
        """Temperature of a run at times: linear between its rows, level before the first."""
        mine = self.run == run
        order = np.argsort(self.times[mine], kind="stable")
        found: np.ndarray = np.interp(times, self.times[mine][order], self.temperatures[mine][order])
        return found

    def first_course(self, kinetics: Stage) -> tuple[np.ndarray, np.ndarray]:
        """Times (places, runs) and degrees there, roughly: each step exact for a linear rate."""
        shares = np.concatenate([[0.0], np.geomspace(_SPAN, 1.0, _SHAPE)])
        times = shares[:, None] * self.ends
        heat = np.column_stack([self.heat(run, times[:, run]) for run in range(self.count)])
        degrees = np.empty(times.shape)
        degrees[0] = value = np.full(self.count, max(self.start, _SEED))
        for place, length in enumerate(np.diff(times, axis=0)):
            rate, slope = _slopes(kinetics, value, 0.5 * (heat[place] + heat[place + 1]))
            reach = np.clip(slope * length, -500.0, 20.0)
            flat = np.abs(reach) < 1e-9
            grown = np.where(flat, 1.0, np.expm1(reach) / np.where(flat, 1.0, reach))
            value = np.clip(value + length * rate * grown, value, 1.0)
            degrees[place + 1] = value
        return times, degrees

    def course(self, kinetics: Stage, finer: float = 1.0) -> tuple[_Course, np.ndarray]:
        """Nodes where the degree changes, all measured times among them, and a guess of the course."""
        known, degrees = self.first_course(kinetics)
        count = max(_FEWEST, round(finer * min(_NODES, _MANY // self.count)))
        chains, heats, firsts, guesses = [], [], [], []
        rows = np.empty(self.times.size, dtype=int)
        begin = 0
        for run in range(self.count):
            mine = self.run == run
            times = self._nodes(known[:, run], degrees[:, run], np.unique(self.times[mine]), count)
            rows[mine] = begin + np.searchsorted(times, self.times[mine])
            begin += times.size
            chains.append(times)
            heats.append(self.heat(run, times))
            guesses.append(np.interp(times, known[:, run], degrees[:, run]))
            firsts.append(np.arange(times.size) == 0)
        joined = [np.concatenate(parts) for parts in (chains, heats, firsts, guesses)]
        return _Course(joined[0], joined[1], joined[2], rows, self.start), joined[3]

    @staticmethod
    def _nodes(known: np.ndarray, degrees: np.ndarray, measured: np.ndarray, count: int) -> np.ndarray:
        """Times that share out both the change of the degree and the logarithm of the time."""
        # the root of the degree: a quick begin with an order m below 1 gets more of them
        way = np.cumsum(np.abs(np.diff(np.sqrt(degrees), prepend=0.0)))
        along = way / max(way[-1], 1e-300) + 0.5 * np.linspace(0.0, 1.0, known.size)
        placed = np.interp(np.linspace(0.0, along[-1], count), along, known)
        found = np.unique(np.concatenate([[0.0], placed, measured]))
        apart = np.concatenate([[True], np.diff(found) > 1e-12 * found[-1]])
        return found[apart | np.isin(found, measured)]


# -------------------------------------------------------------------------------- the least squares


@dataclass(slots=True)
class _Model:
    """A form of kinetics over the measured rows: from searched values to degrees and their slopes."""

    form: str
    free: list[str]
    fixed: dict[str, float]
    reference: float
    glass: tuple[float, float, float] | None
    table: _Table
    degrees: np.ndarray
    solver: _Solver | None = None
    value: np.ndarray | None = None  # the last course
    at: np.ndarray | None = None  # where it was found
    slopes: np.ndarray | None = None  # and how it changes with the searched values

    def kinetics(self, x: np.ndarray) -> Stage:
        """The kinetics at searched values."""
        full = self.fixed | dict(zip(self.free, x.tolist(), strict=True))

        def factor(name: str, energy: float) -> float:
            return math.exp(min(full[name] + energy / GAS_CONSTANT / self.reference, 600.0))

        first = full["E1"] * _ENERGY_UNIT
        chemistry: NthOrder | Kamal
        if "A2" not in full:
            chemistry = NthOrder(factor("A1", first), first, full["n"])
        else:
            second = full["E2"] * _ENERGY_UNIT
            chemistry = Kamal(
                factor("A1", first), first, factor("A2", second), second, full["m"], full["n"], full.get("B")
            )
        if "C" in full:
            critical = full["ac"] - full["acT"] * (self.reference - CELSIUS_ZERO)
            return DiffusionFactor(chemistry, math.exp(full["C"]), critical, full["acT"])
        if "kd" in full and self.glass is not None:
            return DiffusionResistance(chemistry, math.exp(full["kd"]), self.glass)
        return chemistry

    def pushes(self, kinetics: Stage, degree: Floats, heat: Floats) -> Floats:
        """Derivatives of ln(dα/dt) by each searched value."""
        by = kinetics.by_constants(degree, heat)
        # a factor is searched as its rate constant at the reference
        moved = 1.0 / (GAS_CONSTANT * self.reference)
        columns = []
        for name in self.free:
            if name in {"A1", "A2"}:
                columns.append(by[f"ln {name}"])
            elif name in {"E1", "E2"}:
                columns.append(_ENERGY_UNIT * (by[name] + moved * by[f"ln A{name[1]}"]))
            elif name == "C" and isinstance(kinetics, DiffusionFactor):
                columns.append(kinetics.strength * by["C"])
            elif name == "ac":
                columns.append(by["alpha_c0"])
            elif name == "acT":
                columns.append(by["alpha_cT"] - (self.reference - CELSIUS_ZERO) * by["alpha_c0"])
            else:
                columns.append(by["ln kd0" if name == "kd" else name])
        return np.stack(columns, axis=-1)

    def lay(self, x: np.ndarray, finer: float = 1.0) -> None:
        """Lay the nodes for the course at these values."""
        course, guess = self.table.course(self.kinetics(x), finer)
        self.solver, self.value, self.at = _Solver(course), guess, None

    def evaluate(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Misfit of each row and its derivatives by each searched value."""
        kinetics = self.kinetics(x)
        if self.solver is None or self.value is None:
            self.lay(x)
        solver, value = self.solver, self.value
        if solver is None or value is None:
            raise ValueError("no nodes are laid")
        guess = value.copy()
        if self.at is not None and self.slopes is not None:
            guess += self.slopes @ (x - self.at)
        found = solver.degrees(kinetics, guess)
        if found is None:  # too far from the last course: from a rough one of its own
            known, rough = self.table.first_course(kinetics)
            runs = np.cumsum(solver.course.first) - 1
            guess = np.empty(value.size)
            for run in range(self.table.count):
                mine = runs == run
                guess[mine] = np.interp(solver.course.times[mine], known[:, run], rough[:, run])
            found = solver.degrees(kinetics, guess)
            if found is None:  # the rough course has to do, until the search has come to better values
                found = solver.roughly(kinetics, guess)
        slopes = np.nan_to_num(solver.sensitivities(kinetics, found, self.pushes))
        self.value, self.at, self.slopes = found, x, slopes
        return found[solver.course.rows] - self.degrees, slopes[solver.course.rows]


_GAIN = 1e-7  # relative gain in the sum of squares that is none
_ROUGH_GAIN = 1e-4  # and that ends the search from one of several starts


def _searched(
    model: _Model, guess: np.ndarray, low: np.ndarray, high: np.ndarray, most: int = 60, still: float = _GAIN
) -> tuple[np.ndarray, float]:
    """Least squares from a guess by Levenberg and Marquardt between bounds: values, sum of squares."""
    x = np.clip(guess, low, high)
    misfit, slopes = model.evaluate(x)
    cost = float(misfit @ misfit)
    damping = 1e-3
    for _ in range(most):
        gradient = slopes.T @ misfit
        squares = slopes.T @ slopes
        scale = np.maximum(np.diag(squares), 1e-12 * max(float(np.diag(squares).max()), 1e-300))
        # what lies on a bound and wants out stays there
        held = ((x <= low) & (gradient > 0.0)) | ((x >= high) & (gradient < 0.0))
        free = np.flatnonzero(~held)
        if not free.size:
            break
        improved = False
        for _ in range(12):
            matrix = squares[np.ix_(free, free)] + damping * np.diag(scale[free])
            step = np.zeros(x.size)
            step[free] = np.linalg.solve(matrix, -gradient[free])
            step *= min(1.0, _LONGEST / max(float(np.max(np.abs(step))), 1e-300))
            new = np.clip(x + step, low, high)
            if float(np.max(np.abs(new - x) / (1.0 + np.abs(x)))) < _STILL:
                break
            there, steeper = model.evaluate(new)
            lower = float(there @ there)
            if lower < cost:
                improved = True
                break
            damping = max(damping * 5.0, 1e-9)
        if not improved:
            break
        gain = cost - lower
        x, misfit, slopes, cost = new, there, steeper, lower
        damping = max(damping / 5.0, 1e-14)
        if gain <= still * cost or cost < _PERFECT:
            break
    return x, cost


_EXPLAINED = 0.5  # share of the scatter of the degrees below which a fit means nothing (no source)
_LONGEST = 3.0  # of one step: e³ in a factor, 30 kJ/mol
_STILL = 1e-10  # relative step that is none
_PERFECT = 1e-22


def _guesses(
    form: str, free: list[str], times: np.ndarray, degrees: np.ndarray, rough: Sequence[float | None]
) -> Iterator[np.ndarray]:
    """Places to start the search from: the rate of a first-order cure, and some autocatalysis."""
    inside = (times > 0.0) & (degrees > 0.01) & (degrees < 0.99)
    rate = np.median(-np.log1p(-degrees[inside]) / times[inside]) if inside.any() else 1e-3
    base = {name: item.start for name, item in _SEARCHED.items()}
    base["B"] = min(1.0, max(0.1, 1.02 * float(degrees.max())))
    shares = ((1.0, 0.0),) if form.startswith(NTH) else ((0.1, 3.0), (0.5, 1.0), (0.01, 5.0))
    for slow in rough:
        for plain, auto in shares:
            start = base | {"A1": math.log(plain * rate), "A2": math.log(max(auto, 1e-3) * rate)}
            if slow is not None:
                start["kd"] = math.log(rate) + slow
                start["ac"] = slow
            yield np.array([start[name] for name in free])


def _starts_of_slowing(form: str, degrees: np.ndarray) -> tuple[float | None, ...]:
    """Where the search for diffusion starts: critical degrees, or logarithms of k_d0 over the rate."""
    if _FACTOR in form:
        most = float(degrees.max())
        return (0.85 * most, 1.05 * most)
    return (0.0, 3.0, -3.0) if _RESISTANCE in form else (None,)


# -------------------------------------------------------------------------------- profile likelihood


_SURE = 1e-3  # of Student's t to which the end of an interval is found
_MOST_MOVES = 12
_FITTED_AGAIN = 15  # steps of a search for the other constants; more where its end decides
_FITTED_WELL = 60


def _interval_end(
    model: _Model,
    best: np.ndarray,
    cost: float,
    variance: float,
    place: int,
    side: float,
    covariance: np.ndarray,
    bounds: tuple[np.ndarray, np.ndarray],
    wanted: float,
) -> float:
    """The value at which the signed root of the likelihood ratio comes to Student's t; ±inf: nowhere."""
    low, high = bounds
    others = np.arange(best.size) != place
    error = math.sqrt(max(covariance[place, place], 1e-300))
    along = covariance[:, place] / max(covariance[place, place], 1e-300)

    def ratio(value: float, start: np.ndarray, most: int = _FITTED_AGAIN) -> tuple[float, np.ndarray]:
        """Root of the rise of the sum of squares over the variance, the others fitted again."""
        x = np.clip(start, low, high)
        x[place] = value
        lo, hi = low.copy(), high.copy()
        lo[place] = hi[place] = value
        x, rise = _searched(model, x, lo, hi, most)
        return math.sqrt(max(rise - cost, 0.0) / variance), x

    def least_ratio(value: float, start: np.ndarray) -> tuple[float, np.ndarray]:
        """The same from several starts where one says that the value is excluded: it may have been stuck."""
        found = ratio(value, start)
        for other in (there, found[1], *_other_starts(model, there)):
            if found[0] < wanted:
                break
            found = min(found, ratio(value, other, _FITTED_WELL), key=lambda item: item[0])
        return found

    reach = wanted * error
    here, there = 0.0, best
    known = [(0.0, 0.0)]
    outside = math.inf
    for _ in range(_MOST_MOVES):
        value = float(min(max(best[place] + side * reach, low[place]), high[place]))
        reach = abs(value - best[place])
        if reach <= here:
            return side * math.inf  # the bound is not excluded
        start = there + along * (side * reach - (there[place] - best[place]))
        start[~others] = value
        root, x = least_ratio(value, start)
        if abs(root / wanted - 1.0) < _SURE:
            return value
        if root < wanted:
            here, there = reach, x
            if value in (low[place], high[place]):
                return side * math.inf
        else:
            outside = reach
        known.append((reach, root))
        known.sort()
        reach = _next_reach(known, here, outside, wanted)
        if outside - here < _SURE * outside:
            break
    return float(best[place] + side * reach) if math.isfinite(outside) else side * math.inf


def _other_starts(model: _Model, x: np.ndarray) -> Iterator[np.ndarray]:
    """Places with diffusion as it is first searched: a sharp stop and a gradual one may fit alike."""
    if "C" in model.free:
        place = model.free.index("C")
        for gradual in (_SEARCHED["C"].start, 0.5 * _SEARCHED["C"].start):
            start = x.copy()
            start[place] = gradual
            yield start


def _next_reach(known: list[tuple[float, float]], here: float, outside: float, wanted: float) -> float:
    """Where the root should come to Student's t: straight between, or a little beyond, what is known."""
    below = max((item for item in known if item[1] < wanted), default=(0.0, 0.0))
    above = min((item for item in known if item[1] >= wanted), default=None)
    if above is None:
        steep = below[1] / below[0] if below[0] > 0.0 else 1.0
        return min(below[0] * 3.0, max(1.2 * below[0], 1.02 * wanted / max(steep, 1e-300)))
    share = (wanted - below[1]) / (above[1] - below[1])
    guess = below[0] + share * (above[0] - below[0])
    edge = 0.02 * (outside - here)
    return min(max(guess, here + edge), outside - edge)


# ------------------------------------------------------------------------------------------ the fit


def _check(
    times: np.ndarray,
    degrees: np.ndarray,
    temperatures: np.ndarray,
    form: str,
    glass: tuple[float, float, float] | None,
) -> None:
    """Refuse measurements that cannot be fitted, all reasons together."""
    problems = []
    if form not in FORMS:
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
    if _RESISTANCE in form and glass is None:
        problems.append(
            Problem(
                "fit_kinetics",
                message=f"{form} needs the glass transition uncured, cured and DiBenedetto's ratio",
                fix="measure them, or fit the diffusion factor",
            )
        )
    count = len(_names(form)) if form in FORMS else 0
    if not problems and times.size <= count:
        problems.append(
            Problem(
                "fit_kinetics", "times", f"{times.size} rows", f"more than the {count} constants to be found"
            )
        )
    if problems:
        raise InputError(problems)


def _names(form: str) -> tuple[str, ...]:
    """The searched constants of a form."""
    chemistry, _, more = form.partition(", ")
    return (*_CHEMISTRY[chemistry], *_MORE.get(more, ()))


def fit_kinetics(
    times: Series,
    degrees: Series,
    temperatures: Series,
    form: str = NTH,
    start: float = 0.0,
    runs: Sequence[Any] | None = None,
    *,
    glass: tuple[float, float, float] | None = None,
    confidence: float = 0.95,
    intervals: bool = True,
) -> KineticsFit:
    """Kinetics from a table of degree of cure against time and temperature.

    Rows of several runs stand one below the other; a run begins where the time falls back, or where
    the label in `runs` changes. Each run starts with the degree `start` at time 0 and the
    temperature of its first row; it may be level or a ramp, each with its own heating rate. `form` is
    one of `FORMS`; `glass` holds the glass transition uncured and cured and DiBenedetto's ratio.

    Intervals by profile likelihood: D. M. Bates, D. G. Watts, Nonlinear Regression Analysis and Its
    Applications, 1988, ch. 6 (from memory).

    >>> from dispense.handbook.cure import cure_degree
    >>> t = np.tile([300.0, 900.0, 1800.0, 3600.0], 2)
    >>> heat = np.repeat([333.15, 353.15], 4)
    >>> made = [cure_degree([0.0, s], [T, T], NthOrder(2e5, 6e4, 1.5))[-1]
    ...         for s, T in zip(t, heat)]
    >>> fit = fit_kinetics(t, made, heat)
    >>> round(fit.kinetics.energy), round(fit.kinetics.order, 3)
    (60000, 1.5)
    """
    times, degrees, temperatures = (
        np.asarray(part, dtype=float).ravel() for part in (times, degrees, temperatures)
    )
    _check(times, degrees, temperatures, form, glass)
    single = bool(np.ptp(temperatures) < 1e-9)
    names = _names(form)
    lost = {name for name in names if single and name in {"E1", "E2", "acT"}}
    free = [name for name in names if name not in lost]
    reference = float(1.0 / np.mean(1.0 / temperatures))
    table = _Table(times, temperatures, start, runs)
    model = _Model(form, free, dict.fromkeys(lost, 0.0), reference, glass, table, degrees)
    low = np.array([_SEARCHED[name].low for name in free])
    high = np.array([_SEARCHED[name].high for name in free])
    with np.errstate(all="ignore"):  # a trial far off may overflow; it is then no improvement
        best, cost = _best(model, free, low, high)
        misfit, slopes = model.evaluate(best)
        cost = float(misfit @ misfit)
        found = _Found(model, best, misfit, slopes, low, high, single, confidence)
        variance = cost / max(1, degrees.size - best.size)
        lows, highs = np.full(best.size, -math.inf), np.full(best.size, math.inf)
        if intervals and variance > _PERFECT and found.explained > _EXPLAINED:
            from scipy.stats import t as student

            wanted = float(student.ppf(0.5 + confidence / 2.0, degrees.size - best.size))
            covariance, *_ = found.covariance()
            for place in range(best.size):
                for side, ends in ((-1.0, lows), (1.0, highs)):
                    ends[place] = _interval_end(
                        model, best, cost, variance, place, side, covariance, (low, high), wanted
                    )
        return found.report(lows, highs)


def _best(model: _Model, free: list[str], low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, float]:
    """The best of the searches from several starts, on nodes laid for it."""
    best: tuple[np.ndarray, float] | None = None
    times, degrees = model.table.times, model.degrees
    slowing = _starts_of_slowing(model.form, degrees)
    for guess in _guesses(model.form, free, times, degrees, slowing):
        model.lay(guess, 0.5)
        x, cost = _searched(model, guess, low, high, still=_ROUGH_GAIN)
        if best is None or cost < best[1]:
            best = x, cost
        if cost < 1e-12 * degrees.size:
            break
    if best is None:
        raise ValueError("no start")
    # where diffusion takes over the rate falls by decades within a little of the degree
    model.lay(best[0], 3.0 if _FACTOR in model.form or _RESISTANCE in model.form else 1.5)
    return _searched(model, best[0], low, high)


@dataclass(slots=True)
class _Found:
    """Where a search ended, and what it says of the constants."""

    model: _Model
    x: np.ndarray
    misfit: np.ndarray
    slopes: np.ndarray
    low: np.ndarray
    high: np.ndarray
    single: bool
    confidence: float

    @property
    def variance(self) -> float:
        """Of the residuals."""
        return float(self.misfit @ self.misfit) / max(1, self.misfit.size - self.x.size)

    @property
    def explained(self) -> float:
        """Share of the scatter of the measured degrees that the fit explains."""
        scatter = self.model.degrees - self.model.degrees.mean()
        return 1.0 - float(self.misfit @ self.misfit) / max(float(scatter @ scatter), 1e-300)

    def covariance(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Covariance of the searched values, which directions are seen, and the directions."""
        squares = self.slopes.T @ self.slopes
        # an inverse that lives with directions the data do not see
        values, vectors = np.linalg.eigh(squares)
        least = max(float(values.max()) * 1e-14, 1e-300)
        covariance = (vectors / np.where(values > least, values, least)) @ vectors.T * self.variance
        return covariance, values > least, vectors

    def report(self, lows: np.ndarray, highs: np.ndarray) -> KineticsFit:
        """The fit in its own units, with warnings."""
        covariance, seen, vectors = self.covariance()
        errors = np.sqrt(np.diag(covariance))
        scale = np.where(errors > 0.0, errors, 1.0)
        correlation = covariance / np.outer(scale, scale)
        items = [_SEARCHED[name] for name in self.model.free]
        warnings = self._warnings(errors, correlation, seen, vectors)
        unit = np.array([item.unit for item in items])
        is_log = np.array([item.is_log for item in items])
        values = np.where(is_log, np.exp(np.where(is_log, self.x, 0.0)), self.x * unit)
        stretch = np.where(is_log, values, unit)  # of an error, by what is told of what is searched

        def told(ends: np.ndarray) -> np.ndarray:
            found: np.ndarray = np.where(is_log, np.exp(np.where(is_log, ends, 0.0)), ends * unit)
            return found

        return KineticsFit(
            self.model.kinetics(self.x),
            tuple(item.label for item in items),
            values,
            errors * stretch,
            told(lows),
            told(highs),
            self.confidence,
            covariance * np.outer(stretch, stretch),
            correlation,
            self.model.reference,
            self.model.degrees + self.misfit,
            -self.misfit,
            tuple(warnings),
            partial(self.model.pushes, self.model.kinetics(self.x)),
            covariance,
        )

    def _warnings(
        self, errors: np.ndarray, correlation: np.ndarray, seen: np.ndarray, vectors: np.ndarray
    ) -> list[str]:
        """What the data cannot tell, in plain words."""
        free = self.model.free
        labels = [_SEARCHED[name].label for name in free]
        degrees = self.model.degrees
        warnings = []
        if self.explained <= _EXPLAINED:
            warnings.append(
                f"the constants cannot be told apart: the fit explains {max(self.explained, 0.0):.0%} of the "
                "scatter of the degrees; they do not follow time and temperature by this form, and no "
                "interval is given"
            )
            return warnings
        if self.single:
            warnings.append(
                "all rows are at one temperature: the activation energy cannot be found; "
                "the constants hold at that temperature only"
            )
        for i in range(len(free)):
            for j in range(i):
                if abs(correlation[i, j]) > HARDLY_APART:
                    warnings.append(
                        f"the data can hardly tell {labels[j]} and {labels[i]} apart (correlation "
                        f"{correlation[i, j]:+.3f}): other pairs fit as well; measure at more "
                        "temperatures or closer in time"
                    )
        if not seen.all():
            weak = labels[int(np.abs(vectors[:, 0]).argmax())]
            warnings.append(f"the data say nothing about {weak}")
        for name, label, error in zip(free, labels, errors, strict=True):
            if error > _SEARCHED[name].wide:
                width = f"{error * 10:.3g} kJ/mol" if name[0] == "E" else f"{error:.2g}"
                warnings.append(f"{label} is known to ±{width} (one standard error) only")
        at_bound = (self.x <= self.low + 1e-6 * (self.high - self.low)) | (
            self.x >= self.high - 1e-6 * (self.high - self.low)
        )
        for label, stuck in zip(labels, at_bound, strict=True):
            if stuck:
                warnings.append(f"{label} ran to the end of its range: another form may fit better")
        if degrees.max() < NEARLY_CURED:
            warnings.append(
                f"no row is cured past {degrees.max():.2f}: the end of the cure, and with "
                "it the order n, is an extrapolation"
            )
        if self.misfit.size >= ENOUGH_ROWS:
            signs = np.sign(self.misfit)
            changes = int(np.sum(signs[1:] != signs[:-1]))
            if changes < self.misfit.size / 4 and math.sqrt(self.variance) > SMALL_RESIDUAL:
                warnings.append(
                    "the residuals run in long stretches of one sign: this form of kinetics "
                    "does not follow the data"
                )
        return [*warnings, *self._glass_words()]

    def _glass_words(self) -> list[str]:
        """Rows of a mix that is a glass, fitted by a form that does not know of it."""
        glass, kinetics = self.model.glass, self.model.kinetics(self.x)
        if glass is None or kinetics.knows_glass:
            return []
        over = glass_transition(self.model.degrees, *glass) > self.model.table.temperatures
        if not over.any():
            return []
        return [
            f"{int(over.sum())} rows are of a mix that is a glass, and {self.model.form} does not slow "
            "there: fit a form with diffusion, or leave them out"
        ]


__all__ = ["FORMS", "KAMAL", "NTH", "KineticsFit", "fit_kinetics", "runs_of"]
