"""Material that thickens: viscosity that grows with cure, and what that does to pressure, flow and life.

A law of thickening gives the viscosity at a degree of cure and a temperature: `CastroMacosko` has a gel
point at which it is infinite, `ExponentialThickening` none. With kinetics it becomes viscosity at an age:
pressure and flow of mixer and nozzle as the mixed material stands, the age at which a pressure limit is
reached or the flow has fallen by a share, and the pot life of a mass that warms itself.

Viscosity here is the consistency of a shear-thinning material just as well: cure multiplies it, index and
yield stress stay. All flow is that of `flow`. SI units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Protocol, cast

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.fields import Field, number, record, vector
from ..base.kept import kept
from ..base.memory import remembered
from ..base.numbers import Number, Series
from .cure import COMPLETE, IN_ORDER, advance, cure_degree
from .declare import example, out, requires, validity, workbook_function
from .flow import nozzle_flow, nozzle_pressure, viscosity
from .kinetics import KINETICS, Kinetics, KineticsLike, as_kinetics
from .life import FAR, GAS_CONSTANT

YEAR = 365.25 * 86400.0  # s; an age past it is no answer


class Thickening(Protocol):
    """Viscosity against degree and temperature."""

    @property
    def reference(self) -> float:
        """Temperature of the known viscosity, K."""
        ...

    def viscosity(self, degree: Number, temperature: Number) -> np.ndarray:
        """Viscosity, Pa·s; infinite from the gel point on."""
        ...

    def degree(self, growth: Number) -> np.ndarray:
        """Degree at which the viscosity has grown to so many times that of the fresh mix."""
        ...


@dataclass(frozen=True, slots=True)
class CastroMacosko:
    """μ = μ_ref·exp(E/R·(1/T − 1/T_ref))·[α_g/(α_g − α)]^(a + b·α), infinite from α_g on.

    Source: J. M. Castro, C. W. Macosko, AIChE J. 28 (1982) 250 (from memory).

    >>> law = CastroMacosko(2.0, 296.15, 41.3e3, 0.65, 1.5, 1.0)
    >>> round(float(law.viscosity(0.2, 296.15)), 4)  # 2·(0.65/0.45)^1.7
    3.737
    """

    known: float  # Pa·s
    reference: float  # K
    energy: float  # J/mol
    gel: float
    exponent: float
    slope: float = 0.0

    def _log_growth(self, degree: Number) -> np.ndarray:
        degree = np.asarray(degree, dtype=float)
        left = np.maximum(self.gel - degree, 0.0)
        with np.errstate(divide="ignore"):
            logs = np.log(self.gel) - np.log(left)
        return np.where(left > 0.0, (self.exponent + self.slope * degree) * logs, np.inf)

    def viscosity(self, degree: Number, temperature: Number) -> np.ndarray:
        """Viscosity, Pa·s."""
        fresh = viscosity(temperature, self.known, self.reference, self.energy)
        found: np.ndarray = fresh * np.exp(self._log_growth(degree))
        return found

    def degree(self, growth: Number) -> np.ndarray:
        """Degree at which the viscosity has grown to so many times that of the fresh mix."""
        wanted = np.log(np.asarray(growth, dtype=float))
        # x = −ln(1 − α/α_g): (a + b·α)·x = ln growth rises in x; bisection, then Newton
        low, high = np.zeros(wanted.shape), np.full(wanted.shape, _DEEP)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            inside = -self.gel * np.expm1(-middle)
            over = (self.exponent + self.slope * inside) * middle > wanted
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        found: np.ndarray = np.where(wanted > 0.0, -self.gel * np.expm1(-0.5 * (low + high)), 0.0)
        return found


_DEEP, _HALVINGS = 36.0, 60  # exp(−36) of the way to the gel point is left: nothing in a double


@dataclass(frozen=True, slots=True)
class ExponentialThickening:
    """μ = μ_ref·exp(E/R·(1/T − 1/T_ref) + K·α).

    Source: M. B. Roller, Polym. Eng. Sci. 15 (1975) 406; W. I. Lee, A. C. Loos, G. S. Springer, J. Composite
    Materials 16 (1982) 510 (both from memory; the second states it below a degree of about 0.5).

    >>> round(float(ExponentialThickening(2.0, 296.15, 41.3e3, 14.1).viscosity(0.1, 296.15)), 4)
    8.1919
    """

    known: float
    reference: float
    energy: float
    growth: float

    def viscosity(self, degree: Number, temperature: Number) -> np.ndarray:
        """Viscosity, Pa·s."""
        fresh = viscosity(temperature, self.known, self.reference, self.energy)
        found: np.ndarray = fresh * np.exp(self.growth * np.asarray(degree, dtype=float))
        return found

    def degree(self, growth: Number) -> np.ndarray:
        """Degree at which the viscosity has grown to so many times that of the fresh mix."""
        found: np.ndarray = np.log(np.maximum(np.asarray(growth, dtype=float), 1.0)) / self.growth
        return found


#: a law of thickening, or its row (`THICKENING`) in SI, NaN for blank
ThickeningLike = Thickening | Series

THICKENING = record(
    "thickening",
    (
        number("viscosity", "Pa·s", "viscosity of the fresh mix at the temperature beside it", above=0),
        number("temperature", "°C", "temperature of that viscosity", above=-273.15),
        number("energy", "kJ/mol", "activation energy of flow", at_least=0, default=None),
        number("gel", "", "degree of cure at the gel point", above=0, at_most=1, default=None),
        number("a", "", "exponent", at_least=0, default=None),
        number("b", "", "its slope with the degree; blank takes 0", at_least=0, default=None),
        number("growth", "", "K of exp(K·α), in place of gel, a and b", above=0, default=None),
    ),
    "row viscosity, its temperature, energy of flow, conversion at gel, a, b of [α_g/(α_g − α)]^(a + b·α); "
    "or, with the cells of gel, a and b blank, K of exp(K·α) in the seventh",
)


def as_thickening(thickening: ThickeningLike) -> Thickening:
    """A law of thickening from one, or from the row of `THICKENING` in SI (NaN for blank, short rows too).

    >>> as_thickening([2.0, 296.15, 41.3e3, 0.65, 1.5, 1.0]).gel
    0.65
    """
    if hasattr(thickening, "viscosity"):
        return cast(Thickening, thickening)
    row = np.full(len(THICKENING.columns), np.nan)
    given = np.asarray(thickening, dtype=float).ravel()
    row[: given.size] = given
    known, reference, energy, gel, exponent, slope, growth = row.tolist()
    energy = 0.0 if math.isnan(energy) else energy
    if not math.isnan(growth):
        return ExponentialThickening(known, reference, energy, growth)
    return CastroMacosko(known, reference, energy, gel, exponent, 0.0 if math.isnan(slope) else slope)


def _law_complete(thickening: ThickeningLike) -> bool:
    if hasattr(thickening, "viscosity"):
        return True
    row = np.full(len(THICKENING.columns), np.nan)
    given = np.asarray(thickening, dtype=float).ravel()
    row[: given.size] = given
    has_gel, has_growth = not np.isnan(row[3:5]).any(), not np.isnan(row[6])
    return bool(has_gel != has_growth and (has_gel or np.isnan(row[3:6]).all()))


_LAW = requires(_law_complete, "thickening", "complete: gel and a (b), or the growth alone")
_NEAR_LAW = validity(
    lambda temperature, thickening: (
        np.abs(temperature - as_thickening(thickening).reference) <= FAR  # in the temperature of flow
    ),
    f"more than {FAR:.0f} K from the temperature of the known viscosity: an extrapolation",
)
_AGE = number("age", "min", "age of the mixed material, at rest at one temperature", at_least=0)
_TEMPERATURE = number("temperature", "°C", "temperature at which it stands and flows", above=-273.15)
_FLOW = number("flow", "mL/s", "flow", above=0)
_BORE = number("bore", "mm", "inner diameter", above=0)
_LENGTH = number("length", "mm", "length of the bore", above=0)
_FACTOR = number(
    "factor",
    "",
    "pressure drop against that of the empty tube: 1 a nozzle, 6.9 a mixer",
    default=1.0,
    at_least=1,
)
_INDEX = number("index", "", "flow index n; below 1 thins under shear", default=1.0, above=0)
_YIELD = number("yield_stress", "Pa", "stress below which it does not flow", default=0.0, at_least=0)
_TIMES = vector("times", "min", "times of the record, none before the one above it")
_RECORD = vector("temperatures", "°C", "temperature at each time, linear between", above=-273.15)
_START = number("start", "", "degree at the first time", default=0.0, at_least=0, at_most=1)
_FITTING = requires(
    lambda times, temperatures: len(times) == len(temperatures), "temperatures", "as many as there are times"
)
_CASTRO = "J. M. Castro, C. W. Macosko, AIChE J. 28 (1982) 250 (from memory)"
_ROLLER = "M. B. Roller, Polym. Eng. Sci. 15 (1975) 406 (from memory)"
_THICKENS = "viscosity and kinetics are fits: past their data, and near the gel point, the figure is a guess"
_OF_LAW = _CASTRO + "; exponential: " + _ROLLER
# set V of the examples and its kinetics, both invented but for the form
_V = [1.9822004820, 23, 41.3, 0.65, 1.5, 1.0]
_K = [200000, 46, 4000000, 48, 1, 1]


# ---------------------------------------------------------------------------------- viscosity


@workbook_function(
    category="Flow",
    arguments=(
        number("degree", "", "degree of cure", at_least=0, at_most=1),
        number("temperature", "°C", "temperature", above=-273.15),
        THICKENING,
    ),
    returns=(out("viscosity", "Pa·s", "viscosity"),),
    equation="μ = μ_ref·exp(E/R·(1/T − 1/T_ref))·[α_g/(α_g − α)]^(a + b·α), or ·exp(K·α)",
    source=_OF_LAW,
    valid="below the gel point, from where on there is no viscosity; tens of kelvin round the known value; "
    "the exponential law below a degree of about 0.5",
    rule=_THICKENS,
    no_answer="at and past the gel point nothing flows",
    requires=(_LAW,),
    validity=(_NEAR_LAW,),
    examples=(
        example((0.2, 23, _V), 3.703727365, "Castro–Macosko by logarithms, in another program", 1e-8),
        example((0.5, 40, _V), 14.97434425, "Castro–Macosko by logarithms, in another program", 1e-8),
        example(
            (0.1, 100, [0.4068903718, 100, 90.8, None, None, None, 14.1]),
            1.666604817,
            "7.93e-14·exp(90800/(R·373.15) + 1.41), in another program",
            1e-8,
        ),
    ),
)
def curing_viscosity(degree: Number, temperature: Number, thickening: ThickeningLike) -> np.ndarray:
    """Viscosity of a mix at a degree of cure and a temperature.

    >>> law = CastroMacosko(2.0, 296.15, 41.3e3, 0.65, 1.5, 1.0)
    >>> round(float(curing_viscosity(0.0, 296.15, law)), 6)
    2.0
    """
    return as_thickening(thickening).viscosity(degree, temperature)


@workbook_function(
    category="Flow",
    arguments=(_TIMES, _RECORD, KINETICS, THICKENING, _START),
    returns=(out("viscosity", "Pa·s", "viscosity at each time"),),
    equation="CURING_VISCOSITY at the degree of CURE_DEGREE and the temperature of the record",
    source=_OF_LAW,
    valid="as CURING_VISCOSITY and CURE_DEGREE",
    rule=_THICKENS,
    no_answer="at and past the gel point nothing flows",
    requires=(IN_ORDER, _FITTING, COMPLETE, _LAW),
    whole=True,
    along="times",
    examples=(
        example(
            ([0, 10, 30, 60], [25, 25, 25, 25], _K, _V),
            [1.771267623, 1.851621457, 2.084764873, 2.786714726],
            "closed form of the degree for m = n = 1; an explicit integrator",
            1e-6,
        ),
    ),
)
def aged_viscosity(
    times: Series,
    temperatures: Series,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    start: float = 0.0,
) -> np.ndarray:
    """Viscosity along a temperature record as the mix cures.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> aged_viscosity([0.0, 60.0], [296.15, 296.15], [1e-3, 0.0], law).round(4).tolist()
    [2.0, 3.5805]
    """
    heat = np.asarray(temperatures, dtype=float).ravel()
    degrees = cure_degree(times, heat, kinetics, start)
    return as_thickening(thickening).viscosity(degrees, heat)


_PIECES = 60  # of a record's segment within which the viscosity is looked at
_FINE = 1e-12


def _course(
    times: Series, temperatures: Series, kinetics: KineticsLike, thickening: ThickeningLike, start: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A record in short pieces: times, temperatures, degrees, viscosities."""
    known = np.asarray(times, dtype=float).ravel()
    heat = np.asarray(temperatures, dtype=float).ravel()
    shares = np.linspace(0.0, 1.0, _PIECES + 1)[:-1]
    fine = np.append((known[:-1, None] + np.diff(known)[:, None] * shares).ravel(), known[-1])
    warm = np.append((heat[:-1, None] + np.diff(heat)[:, None] * shares).ravel(), heat[-1])
    degrees = cure_degree(fine, warm, kinetics, start)
    return fine, warm, degrees, as_thickening(thickening).viscosity(degrees, warm)


@workbook_function(
    category="Flow",
    arguments=(
        number("viscosity", "Pa·s", "viscosity to reach", above=0),
        _TIMES,
        _RECORD,
        KINETICS,
        THICKENING,
        _START,
    ),
    returns=(out("time", "min", "time of the record at which the viscosity is first reached"),),
    equation="inverse of AGED_VISCOSITY",
    source=_OF_LAW,
    valid="as AGED_VISCOSITY; warming thins the mix first, cure thickens it later",
    rule=_THICKENS,
    no_answer="the viscosity is not reached within the record",
    requires=(IN_ORDER, _FITTING, COMPLETE, _LAW),
    examples=(
        example(
            (20, [0, 300], [25, 25], _K, _V), 129.8311227, "root in time; quadrature to the degree", 1e-7
        ),
        example(
            (20, [0, 10, 25, 40, 120], [23, 28, 34, 30, 26], _K, _V),
            101.1542197,
            "two integrators with an event",
            1e-6,
        ),
    ),
)
def viscosity_time(
    viscosity: Number,
    times: Series,
    temperatures: Series,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    start: Number = 0.0,
) -> np.ndarray:
    """Time at which a viscosity is reached along a temperature record.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> t = viscosity_time(4.0, [0.0, 600.0], [296.15, 296.15], [1e-3, 0.0], law)
    >>> round(float(t), 4)  # −ln(1 − ln 2/10)/0.001
    71.8341
    """
    if np.ndim(start):
        pairs = np.broadcast(viscosity, start)
        found = [
            viscosity_time(goal, times, temperatures, kinetics, thickening, float(one)) for goal, one in pairs
        ]
        return np.array(found, dtype=float).reshape(pairs.shape)
    law, known = as_thickening(thickening), as_kinetics(kinetics)
    fine, warm, degrees, thick = _course(times, temperatures, known, law, float(start))
    goals = np.asarray(viscosity, dtype=float).ravel()
    place = np.searchsorted(np.maximum.accumulate(thick), goals, side="left")  # the first time, not a later
    answer = np.where(place == 0, fine[0], np.nan)
    inside = np.flatnonzero((place > 0) & (place < fine.size))
    if inside.size:
        before = place[inside] - 1
        answer[inside] = _within(law, known, goals[inside], before, fine, warm, degrees)
    return answer.reshape(np.shape(viscosity))[()]


def _within(
    law: Thickening,
    kinetics: Kinetics,
    goals: np.ndarray,
    before: np.ndarray,
    fine: np.ndarray,
    warm: np.ndarray,
    degrees: np.ndarray,
) -> np.ndarray:
    """Times of viscosities, each within the piece of a course after a place: regula falsi (Illinois)."""
    length, rise = fine[before + 1] - fine[before], warm[before + 1] - warm[before]

    def short(share: np.ndarray) -> np.ndarray:
        end = warm[before] + share * rise
        degree, *_ = advance(kinetics, degrees[before], share * length, warm[before], end, tolerance=_FINE)
        with np.errstate(divide="ignore"):
            miss: np.ndarray = np.log(np.minimum(law.viscosity(degree, end), _STIFF) / goals)
        return miss

    low, high = np.zeros(goals.size), np.ones(goals.size)
    under, over = short(low), short(high)
    share = high
    for _ in range(_HALVINGS):
        with np.errstate(divide="ignore", invalid="ignore"):
            new = (low * over - high * under) / (over - under)
        new = np.where((new > low) & (new < high), new, 0.5 * (low + high))
        if np.all(np.abs(new - share) <= _FINE):
            break
        share, miss = new, short(new)
        above = miss >= 0.0
        # an end that stays loses half of its miss, so that the next step comes to its side
        under = np.where(above, 0.5 * under, miss)
        over = np.where(above, miss, 0.5 * over)
        low, high = np.where(above, low, share), np.where(above, share, high)
    found: np.ndarray = fine[before] + share * length
    return found


_STIFF = 1e300  # Pa·s that stand for the infinite viscosity past the gel point


@workbook_function(
    category="Flow",
    arguments=(_TIMES, _RECORD, KINETICS, THICKENING, _START),
    returns=(
        out("time", "min", "time of the record at which it is thinnest"),
        out("degree", "", "degree of cure there"),
        out("viscosity", "Pa·s", "least viscosity"),
    ),
    equation="least AGED_VISCOSITY along the record",
    source=_OF_LAW,
    valid="as AGED_VISCOSITY",
    rule=_THICKENS,
    requires=(IN_ORDER, _FITTING, COMPLETE, _LAW),
    examples=(
        example(
            ([0, 60], [25, 25], _K, _V),
            (0.0, 0.0, 1.771267623),
            "at one temperature it only thickens: the fresh mix, by hand",
            1e-6,
        ),
    ),
)
def least_viscosity(
    times: Series,
    temperatures: Series,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    start: Number = 0.0,
) -> tuple[float, float, float]:
    """Where along a temperature record a mix is thinnest.

    >>> law = ExponentialThickening(2.0, 296.15, 40e3, 10.0)
    >>> least_viscosity([0.0, 60.0], [296.15, 296.15], [1e-3, 0.0], law)
    (0.0, 0.0, 2.0)
    """
    from scipy.optimize import minimize_scalar

    if np.ndim(start):
        each = [
            least_viscosity(times, temperatures, kinetics, thickening, float(one)) for one in np.ravel(start)
        ]
        when, degree, least = np.array(each).T.reshape(3, *np.shape(start))
        return when, degree, least
    law, known = as_thickening(thickening), as_kinetics(kinetics)
    fine, warm, degrees, thick = _course(times, temperatures, known, law, float(start))
    place = int(np.argmin(thick))
    before = max(place - 1, 0)
    after = min(place + 1, fine.size - 1)

    def at(time: float) -> tuple[float, float]:
        """Degree and viscosity at a time near the thinnest point of the course."""
        base = before if time <= fine[place] else place
        heat = float(np.interp(time, fine, warm))
        degree, *_ = advance(known, degrees[base], time - fine[base], warm[base], heat, tolerance=_FINE)
        return float(degree[0]), float(law.viscosity(degree[0], heat))

    best = float(fine[place])
    if 0 < place < fine.size - 1:
        # the least of a parabola is known to the root of the precision only: the slope is searched
        found = minimize_scalar(
            lambda time: math.log(at(time)[1]),
            bounds=(float(fine[before]), float(fine[after])),
            method="bounded",
            options={"xatol": 1e-7 * float(fine[-1] - fine[0])},
        )
        best = float(found.x)
    degree, least = at(best)
    return best, degree, least


# ------------------------------------------------------------------------- mixer, nozzle, life


def aged_degree(age: Number, temperature: Number, kinetics: KineticsLike) -> np.ndarray:
    """Degree of cure of a mix after an age at one temperature; arrays that broadcast.

    >>> float(aged_degree(1000.0, 296.15, [1e-3, 0.0]).round(6))
    0.632121
    """
    age, temperature = np.broadcast_arrays(np.asarray(age, float), np.asarray(temperature, float))
    heat = temperature.ravel()
    found, *_ = advance(as_kinetics(kinetics), np.zeros(heat.size), age.ravel(), heat, heat, tolerance=_FINE)
    return found.reshape(age.shape)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@workbook_function(
    category="Flow",
    arguments=(
        number("residence", "min", "time that material stays in the mixer", above=0),
        _TEMPERATURE,
        KINETICS,
        THICKENING,
        number("standing", "min", "time that the full mixer has stood", default=0.0, at_least=0),
    ),
    returns=(out("viscosity", "Pa·s", "mean viscosity of what is in the mixer"),),
    equation="(1/τ)·∫ μ(t) dt over the ages in the mixer, from the time it stood to that time + τ",
    source="plug flow, steady before the stop; " + _OF_LAW,
    valid="plug flow: all material stays the same time; a mixer spreads it, and its oldest counts for the "
    "purge",
    rule=_THICKENS,
    no_answer="part of it has gelled",
    requires=(COMPLETE, _LAW),
    validity=(_NEAR_LAW,),
    examples=(
        example((0.8, 25, _K, _V), 1.774140769, "quadrature; an integrator and Simpson's rule", 1e-8),
        example((0.8, 25, _K, _V, 6), 1.820510939, "quadrature; an integrator and Simpson's rule", 1e-8),
    ),
)
def mixer_viscosity(
    residence: Number,
    temperature: Number,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    standing: Number = 0.0,
) -> np.ndarray:
    """Mean viscosity of the mix in a mixer, which is of all ages up to its residence time.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> round(float(mixer_viscosity(1e-3, 296.15, [1e-3, 0.0], law)), 4)
    2.0
    """
    law, total = as_thickening(thickening), np.zeros(())
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        age = standing + 0.5 * (1.0 + node) * residence
        total = total + 0.5 * weight * law.viscosity(aged_degree(age, temperature, kinetics), temperature)
    return total


_TUBE_ARGUMENTS: tuple[Field, ...] = (_BORE, _LENGTH, KINETICS, THICKENING, _FACTOR, _INDEX, _YIELD)
_TUBE_VALID = (
    "laminar flow, the whole bore full of material of one age and temperature; shear does not break the "
    "young network"
)


@workbook_function(
    category="Flow",
    arguments=(_AGE, _TEMPERATURE, _FLOW, *_TUBE_ARGUMENTS),
    returns=(out("pressure", "bar", "pressure drop along the bore"),),
    equation="factor · NOZZLE_PRESSURE at the viscosity of that age",
    source=_OF_LAW + "; flow as NOZZLE_PRESSURE",
    valid=_TUBE_VALID,
    rule=_THICKENS,
    no_answer="at that age nothing flows any more",
    requires=(COMPLETE, _LAW),
    validity=(_NEAR_LAW,),
    examples=(
        example(
            (0, 25, 0.04, 1.2, 25, _K, _V), 0.348032096, "128μLQ/(πD⁴) with the degree in closed form", 1e-7
        ),
        example((76, 25, 0.04, 1.2, 25, _K, _V), 0.6959630001, "64/Re and the degree by an integrator", 1e-7),
        example((110, 25, 0.04, 1.2, 25, _K, _V), 1.632803959, "64/Re and the degree by an integrator", 1e-7),
    ),
)
def aged_pressure(
    age: Number,
    temperature: Number,
    flow: Number,
    bore: Number,
    length: Number,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    factor: Number = 1.0,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Pressure drop of a flow through a nozzle or mixer full of material of an age.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> round(float(aged_pressure(0.0, 296.15, 1e-6, 2e-3, 25e-3, [1e-3, 0.0], law)), 1)
    127324.0
    """
    thick = as_thickening(thickening).viscosity(aged_degree(age, temperature, kinetics), temperature)
    found: Number = factor * nozzle_pressure(flow, bore, length, thick, index, yield_stress)
    return found


@workbook_function(
    category="Flow",
    arguments=(
        _AGE,
        _TEMPERATURE,
        number("pressure", "bar", "pressure drop along the bore", at_least=0),
        *_TUBE_ARGUMENTS,
    ),
    returns=(out("flow", "mL/s", "flow; 0 where the pressure does not reach the yield stress"),),
    equation="NOZZLE_FLOW at the pressure over the factor and the viscosity of that age",
    source=_OF_LAW + "; flow as NOZZLE_FLOW",
    valid=_TUBE_VALID,
    rule=_THICKENS,
    no_answer="at that age nothing flows any more",
    requires=(COMPLETE, _LAW),
    validity=(_NEAR_LAW,),
    examples=(
        example((0, 25, 0.348032096, 1.2, 25, _K, _V), 0.04, "128μLQ/(πD⁴), the degree in closed form", 1e-7),
        example(
            (76.008322, 25, 0.348032096, 1.2, 25, _K, _V),
            0.02,
            "the age at which the viscosity doubles",
            1e-7,
        ),
    ),
)
def aged_flow(
    age: Number,
    temperature: Number,
    pressure: Number,
    bore: Number,
    length: Number,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    factor: Number = 1.0,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Flow that a pressure drives through a nozzle or mixer full of material of an age.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> round(float(aged_flow(0.0, 296.15, 127324.0, 2e-3, 25e-3, [1e-3, 0.0], law)) * 1e6, 6)
    1.0
    """
    thick = as_thickening(thickening).viscosity(aged_degree(age, temperature, kinetics), temperature)
    gelled = ~np.isfinite(thick)
    found = nozzle_flow(pressure / factor, bore, length, np.where(gelled, 1.0, thick), index, yield_stress)
    stopped: Number = np.where(gelled, np.nan, found)[()]
    return stopped


def age_of_growth(
    growth: Number, temperature: Number, kinetics: KineticsLike, thickening: ThickeningLike
) -> np.ndarray:
    """Age at which the viscosity has grown to so many times that of the fresh mix; NaN where never.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> round(float(age_of_growth(2.0, 296.15, [1e-3, 0.0], law)), 4)
    71.8341
    """
    wanted = as_thickening(thickening).degree(growth)
    wanted, heat = np.broadcast_arrays(wanted, np.asarray(temperature, dtype=float))
    heat, goal = heat.ravel(), wanted.ravel()
    possible = np.isfinite(goal) & (goal <= 1.0)
    _, used, reached = advance(
        as_kinetics(kinetics),
        np.zeros(heat.size),
        np.full(heat.size, YEAR),
        heat,
        heat,
        tolerance=_FINE,
        stop=np.where(possible, goal, 1.0),
    )
    return np.where(possible & reached, used, np.nan).reshape(wanted.shape)


def _bearable(
    pressure: Number, flow: Number, bore: Number, length: Number, index: Number, yield_stress: Number
) -> np.ndarray:
    """Consistency at which a flow needs a pressure, by halving its logarithm."""
    parts = np.broadcast_arrays(*(np.asarray(part, float) for part in (pressure, flow, bore, length, index)))
    low, high = np.full(parts[0].shape, _THINNEST), np.full(parts[0].shape, _THICKEST)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        over = nozzle_pressure(flow, bore, length, np.exp(middle), index, yield_stress) > pressure
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    found: np.ndarray = np.exp(0.5 * (low + high))
    return found


_THINNEST, _THICKEST = math.log(1e-9), math.log(1e12)  # Pa·s between which a consistency is looked for


@workbook_function(
    category="Pot life",
    arguments=(
        number("pressure", "bar", "highest pressure drop along the bore", above=0),
        _TEMPERATURE,
        _FLOW,
        *_TUBE_ARGUMENTS,
    ),
    returns=(out("age", "min", "age at which the flow needs that pressure; 0 where the fresh mix does"),),
    equation="inverse of AGED_PRESSURE",
    source=_OF_LAW + "; flow as NOZZLE_PRESSURE",
    valid=_TUBE_VALID + "; the material at rest until then",
    rule=_THICKENS,
    no_answer="the pressure is not reached within a year",
    requires=(COMPLETE, _LAW),
    validity=(_NEAR_LAW,),
    examples=(
        example(
            (0.6960641920, 25, 0.04, 1.2, 25, _K, _V),
            76.008322,
            "twice the fresh pressure: the viscosity doubles",
            1e-6,
        ),
        example((0.3, 25, 0.04, 1.2, 25, _K, _V), 0.0, "below the 0.348 bar of the fresh mix"),
    ),
)
def pressure_life(
    pressure: Number,
    temperature: Number,
    flow: Number,
    bore: Number,
    length: Number,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    factor: Number = 1.0,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> np.ndarray:
    """Age until which a flow stays below a pressure: a life that means something at a station.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> age = pressure_life(254648.0, 296.15, 1e-6, 2e-3, 25e-3, [1e-3, 0.0], law)
    >>> round(float(age), 2)
    71.83
    """
    most = _bearable(pressure / factor, flow, bore, length, index, yield_stress)
    fresh = as_thickening(thickening).viscosity(0.0, temperature)
    age = age_of_growth(np.maximum(most / fresh, 1.0), temperature, kinetics, thickening)
    return np.where(most <= fresh, 0.0, age)


@workbook_function(
    category="Pot life",
    arguments=(
        number("share", "", "share by which the flow may fall", above=0, below=1),
        _TEMPERATURE,
        KINETICS,
        THICKENING,
        _INDEX,
    ),
    returns=(out("age", "min", "age at which the flow at constant pressure has fallen by the share"),),
    equation="μ(t)/μ(0) = (1 − share)^(−n)",
    source=_OF_LAW,
    valid="constant pressure, laminar flow, a yield stress that stays; the material at rest until then",
    rule=_THICKENS,
    no_answer="the flow does not fall so far within a year",
    requires=(COMPLETE, _LAW),
    validity=(_NEAR_LAW,),
    examples=(
        example((0.5, 25, _K, _V), 76.008322, "half the flow at twice the viscosity; root in time", 1e-7),
    ),
)
def flow_life(
    share: Number,
    temperature: Number,
    kinetics: KineticsLike,
    thickening: ThickeningLike,
    index: Number = 1.0,
) -> np.ndarray:
    """Age until which the flow at constant pressure has fallen by a share.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> round(float(flow_life(0.5, 296.15, [1e-3, 0.0], law)), 2)
    71.83
    """
    return age_of_growth((1.0 - np.asarray(share)) ** -np.asarray(index), temperature, kinetics, thickening)


@workbook_function(
    category="Flow",
    arguments=(_AGE, _TEMPERATURE, KINETICS, THICKENING, _INDEX),
    returns=(out("drift", "%", "share by which a shot of constant pressure and time falls"),),
    equation="1 − (μ(0)/μ(t))^(1/n)",
    source=_OF_LAW,
    valid="constant pressure and time of a shot, no yield stress; the whole bore full of one age",
    rule=_THICKENS,
    no_answer="at that age nothing flows any more",
    requires=(COMPLETE, _LAW),
    validity=(_NEAR_LAW,),
    examples=(
        example((76.008322, 25, _K, _V), 50.0, "half the flow at twice the viscosity", 1e-7),
        example((0, 25, _K, _V), 0.0, "the fresh mix"),
    ),
)
def shot_drift(
    age: Number, temperature: Number, kinetics: KineticsLike, thickening: ThickeningLike, index: Number = 1.0
) -> np.ndarray:
    """How much a shot at constant pressure loses as the mix ages between two purges.

    >>> law = ExponentialThickening(2.0, 296.15, 0.0, 10.0)
    >>> round(float(shot_drift(71.8341, 296.15, [1e-3, 0.0], law)), 4)
    0.5
    """
    law = as_thickening(thickening)
    fresh = law.viscosity(0.0, temperature)
    thick = law.viscosity(aged_degree(age, temperature, kinetics), temperature)
    found: np.ndarray = np.where(np.isfinite(thick), 1.0 - (fresh / thick) ** (1.0 / index), np.nan)
    return found


# ------------------------------------------------------------------------------- laws from points


@workbook_function(
    category="Flow",
    arguments=(
        _TIMES,
        vector("temperatures", "°C", "temperature of each test, held from the mixing on", above=-273.15),
        vector("viscosities", "Pa·s", "viscosity at each time", above=0),
        KINETICS,
        number(
            "gel", "", "degree at the gel point; blank: the exponential law", default=None, above=0, at_most=1
        ),
    ),
    returns=(
        out("viscosity", "Pa·s", "viscosity of the fresh mix at the first temperature"),
        out("energy", "kJ/mol", "activation energy of flow; 0 where all is at one temperature"),
        out("a", "", "exponent, 0 for the exponential law"),
        out("b", "", "its slope, 0 with fewer than four points"),
        out("growth", "", "K of the exponential law, 0 with a conversion at gel"),
    ),
    equation="least squares of ln μ on 1/T and α, or on 1/T, ln(α_g/(α_g − α)) and α·ln(α_g/(α_g − α))",
    source=_OF_LAW + "; linear least squares",
    valid="two points or more, one of them hardly cured; degrees below the gel point",
    rule="a fit: it holds between its points",
    no_answer="the points do not set the constants: more of them, at other ages or temperatures",
    requires=(
        _FITTING,
        requires(
            lambda times, viscosities: len(times) == len(viscosities), "viscosities", "as many as times"
        ),
        COMPLETE,
    ),
    examples=(
        example(
            ([0, 60], [25, 25], [2, 8], [0.01, 0], 0.6),
            (2.0, 0.0, 0.9942951517, 0.0, 0.0),
            "ln 4/ln(0.6/(0.6 − (1 − exp(−0.6)))), by hand",
            1e-8,
        ),
        example(
            ([0, 60], [25, 25], [2, 8], [0.01, 0]),
            (2.0, 0.0, 0.0, 0.0, 3.072540145),
            "ln 4/(1 − exp(−0.6)), by hand",
            1e-8,
        ),
    ),
)
def thickening_fit(
    times: Series,
    temperatures: Series,
    viscosities: Series,
    kinetics: KineticsLike,
    gel: Number | None = None,
) -> tuple[np.ndarray, ...]:
    """Law of thickening from viscosities measured, or stated, at ages and temperatures.

    >>> found = thickening_fit([0.0, 3600.0], [298.15, 298.15], [2.0, 8.0], [0.01 / 60, 0.0])
    >>> round(float(found[4]), 6)
    3.07254
    """
    heat = np.asarray(temperatures, dtype=float).ravel()
    degrees = aged_degree(np.asarray(times, dtype=float).ravel(), heat, kinetics)
    logs = np.log(np.asarray(viscosities, dtype=float).ravel())
    if gel is None:
        return tuple(np.array(value) for value in _law_through(heat, degrees, logs, None))
    points = np.asarray(gel, dtype=float)
    rows = np.array([_law_through(heat, degrees, logs, point) for point in points.ravel().tolist()])
    return tuple(column.reshape(points.shape) for column in rows.T)


def _law_through(
    heat: np.ndarray, degrees: np.ndarray, logs: np.ndarray, gel: float | None
) -> tuple[float, ...]:
    """Fresh viscosity, energy, a, b and K by least squares of ln μ; NaN where they are not set."""
    columns = [np.ones(heat.size)]
    if np.ptp(heat) > 0.0:
        columns.append((1.0 / heat - 1.0 / heat[0]) / GAS_CONSTANT)
    free = len(columns)
    if gel is None:
        columns.append(degrees)
    else:
        with np.errstate(divide="ignore", invalid="ignore"):
            bend = np.log(gel / np.maximum(gel - degrees, 0.0))
        columns.append(bend)
        if heat.size > free + 2:
            columns.append(degrees * bend)
    table = np.column_stack(columns)
    if not np.isfinite(table).all() or np.linalg.matrix_rank(table) < table.shape[1]:
        return (math.nan,) * 5
    found, *_ = np.linalg.lstsq(table, logs, rcond=None)
    energy = float(found[1]) if free > 1 else 0.0
    rest = [float(value) for value in found[free:]]
    fresh = float(np.exp(found[0]))
    if gel is None:
        return fresh, energy, 0.0, 0.0, rest[0]
    return fresh, energy, rest[0], rest[1] if len(rest) > 1 else 0.0, 0.0


# ---------------------------------------------------------------------------- a mass that warms itself

_MASS_STEPS = 1200
_TRIED, _ROUNDS = 401, 2  # degrees tried together, and how often; between the last two by a line
_LEAST_DEGREE, _MOST_DEGREE = 1e-6, 0.999  # between which the end of a life is sought
_NEVER = 3000 * 86400.0  # s; stands for a degree that is not reached
_INNER = 5.0  # mean rise within a sphere of even heat: flux·R/(5k)


@workbook_function(
    category="Pot life",
    arguments=(
        number("mass", "g", "mass of the mix that stands together", above=0),
        number("temperature", "°C", "temperature of mix and surroundings at the mixing", above=-273.15),
        number(
            "degree", "", "degree of cure at which the life ends: gel, or the one below", above=0, below=1
        ),
        KINETICS,
        number("heat", "J/g", "heat of reaction", at_least=0),
        number("specific_heat", "J/(g·K)", "specific heat", above=0),
        number("density", "g/mL", "density", above=0),
        number("conductivity", "W/(m·K)", "thermal conductivity", above=0),
        number("film", "W/(m²·K)", "heat transfer at the surface", default=10.0, at_least=0),
    ),
    returns=(
        out("life", "min", "time until the degree is reached"),
        out("temperature_at_end", "°C", "mean temperature of the mass then"),
    ),
    equation="c·dT/dt = H·dα/dt − U·A·(T − T_s)/m; A of a sphere of that mass, 1/U = 1/h + R/(5k)",
    source="N. N. Semenov 1928 (lumped body, from memory); inner resistance: mean rise of a sphere with even "
    "heat, H. S. Carslaw, J. C. Jaeger 1959 (from memory)",
    valid="a compact mass; a shallow tray has a longer life, a wrapped can shorter; the mean temperature, "
    "the middle is hotter",
    rule="one temperature for the whole mass; a large pot can run away, smoke and burn: prove the largest "
    "mass by a trial, heed the safety data sheet",
    no_answer="the degree is not reached",
    requires=(COMPLETE,),
    examples=(
        example(
            (1e-3, 25, 0.6988057881, [0.02, 0], 0, 1.8, 1.1, 0.2),
            (60.0, 25.0),
            "no heat: 1 − exp(−0.02·60), by hand",
            1e-6,
        ),
        example(
            (100, 25, 0.5, [0.01, 0], 300, 1.8, 1.1, 0.2, 0),
            (69.31471806, 108.3333333),
            "no loss and no activation energy: ln 2/0.01; 25 + 0.5·300/1.8, by hand",
            1e-6,
        ),
    ),
)
def mass_pot_life(
    mass: Number,
    temperature: Number,
    degree: Number,
    kinetics: KineticsLike,
    heat: Number,
    specific_heat: Number,
    density: Number,
    conductivity: Number,
    film: Number = 10.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Pot life of a mass that warms itself, and its temperature at the end.

    >>> life, end = mass_pot_life(1e-6, 298.15, 0.5, [1e-3, 0.0], 0.0, 1800.0, 1100.0, 0.2)
    >>> round(float(life), 3)  # ln 2/0.001
    693.147
    """
    known = as_kinetics(kinetics)
    parts = (mass, temperature, degree, heat, specific_heat, density, conductivity, film)
    full = np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in parts))
    shape = full[0].shape
    mass, room, goal, heat, specific, rho, conducts, face = (part.ravel() for part in full)
    radius = (3.0 * mass / (4.0 * np.pi * rho)) ** (1.0 / 3.0)
    with np.errstate(divide="ignore"):
        crossing = 1.0 / (1.0 / face + radius / (_INNER * conducts))
    loss = crossing * 4.0 * np.pi * radius**2 / (mass * specific)  # 1/s
    life, end = _lumped(known, room, goal, heat / specific, loss)
    return life.reshape(shape)[()], end.reshape(shape)[()]


@kept
def _lumped(
    kinetics: Kinetics, room: np.ndarray, goal: np.ndarray, rise: np.ndarray, loss: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Time and temperature at a degree of lumped bodies, stepped in the degree.

    dT/dα = ΔT_ad − loss·(T − T_s)/r with r = dα/dt, solved exactly over each step for the rate at its
    middle; the steps are graded as u² towards both ends, where the rate may begin or end at 0.
    """
    shares = np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, _MASS_STEPS + 1)) ** 2
    heat, time = room.copy(), np.zeros(room.size)
    is_losing = loss > 0.0
    held = np.where(is_losing, rise / np.where(is_losing, loss, 1.0), 0.0)  # steady rise per rate
    all_losing = bool(np.all(is_losing))
    with np.errstate(all="ignore"):
        for low, high in pairwise(shares):
            step = (high - low) * goal
            middle = 0.5 * (low + high) * goal

            def after(rate: np.ndarray, length: np.ndarray, begin: np.ndarray) -> np.ndarray:
                new: np.ndarray = begin - np.expm1(-loss * length / rate) * (room + held * rate - begin)
                return new if all_losing else np.where(is_losing, new, begin + rise * length)

            rate = kinetics.rate(middle, heat)
            rate = kinetics.rate(middle, after(rate, 0.5 * step, heat))
            heat = after(rate, step, heat)
            time = time + step / rate
    lost = ~np.isfinite(time) | (time > YEAR)
    return np.where(lost, np.nan, time), np.where(lost, np.nan, heat)


@remembered(64)
@kept
def degree_of_mass_life(
    life: float,
    temperature: float,
    mass: float,
    kinetics: Kinetics,
    heat: float,
    specific_heat: float,
    density: float,
    conductivity: float,
) -> float | None:
    """Degree that a mass which warms itself has come to at the end of its stated life.

    None where by its kinetics it is cured through, or has not begun, by then. Many degrees are tried
    together, as quick as one, and then more between the two that enclose it.

    >>> from dispense.handbook.kinetics import NthOrder
    >>> slow = degree_of_mass_life(693.147, 298.15, 1e-6, NthOrder(1e-3, 0.0), 0.0, 1800.0, 1100.0, 0.2)
    >>> round(slow, 4)  # ln 2/0.001 s, no heat
    0.5
    """
    low, high = _LEAST_DEGREE, _MOST_DEGREE
    for is_first in (True, *[False] * (_ROUNDS - 1)):
        degrees = np.linspace(low, high, _TRIED)
        found, _ = mass_pot_life(
            mass, temperature, degrees, kinetics, heat, specific_heat, density, conductivity
        )
        short = np.log(np.where(np.isfinite(found), found, _NEVER) / life)
        if is_first and (short[0] >= 0.0 or short[-1] <= 0.0):
            return None
        place = min(max(int(np.argmax(short > 0.0)), 1), _TRIED - 1)
        low, high = float(degrees[place - 1]), float(degrees[place])
    under, over = float(short[place - 1]), float(short[place])
    return low + (high - low) * under / (under - over)


@remembered(64)
@kept
def degree_of_life(life: float, temperature: float, kinetics: KineticsLike) -> float:
    """Degree of cure of a small amount at the end of a stated life: where a larger mass ends too.

    >>> round(degree_of_life(693.147, 298.15, [1e-3, 0.0]), 6)
    0.5
    """
    if not life > 0.0:
        raise InputError(Problem("degree_of_life", "life", life, "above 0", code=NUM))
    found: Any = aged_degree(life, temperature, kinetics)
    return float(found)


__all__ = [
    "THICKENING",
    "CastroMacosko",
    "ExponentialThickening",
    "Thickening",
    "ThickeningLike",
    "age_of_growth",
    "aged_degree",
    "aged_flow",
    "aged_pressure",
    "aged_viscosity",
    "as_thickening",
    "curing_viscosity",
    "degree_of_life",
    "degree_of_mass_life",
    "flow_life",
    "least_viscosity",
    "mass_pot_life",
    "mixer_viscosity",
    "pressure_life",
    "shot_drift",
    "thickening_fit",
    "viscosity_time",
]
