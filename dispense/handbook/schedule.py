"""Cure schedules: parts in an oven, the shortest hold that passes, and kinetics from measurements.

A `Profile` is the temperature of the air. A `PartLag` is a part that follows it with a first-order
lag; the quickest part of a load is the hottest, the slowest the coldest. `schedule` plays the
profile for each part and says when it gels, can be handled and is cured; `shortest_hold` searches
the hold. `fit_activation_energy` finds that constant from measurements and says in plain words where the data
cannot.

All in SI units: s, K, J/mol, 1/s. scipy is imported where it is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.kept import kept
from ..base.numbers import Series
from ..base.units import celsius_text
from .cure import arrhenius_integrals, cure_before_glass, cure_degree, glass_point, part_temperature
from .kinetics import KineticsLike, as_kinetics
from .life import GAS_CONSTANT

# ------------------------------------------------------------------------------- activation energy


# what a fit is warned of; all common practice, no source
NARROW = 10.0  # K of tests from which nothing is read off outside them
WIDE_ENERGY = 0.25  # of the energy, half the width of its interval
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
class GlassCrossing:
    """A moment at which the glass transition and the temperature of the part are the same."""

    time: float  # s
    temperature: float  # K
    hardens: bool  # whether the mix turns into a glass there, or softens again


def glass_crossings(times: np.ndarray, heat: np.ndarray, points: np.ndarray) -> tuple[GlassCrossing, ...]:
    """Where a glass transition passes the temperature of the part, straight between the points.

    >>> glass_crossings(np.array([0.0, 60.0]), np.array([350.0, 350.0]), np.array([340.0, 370.0]))
    (GlassCrossing(time=20.0, temperature=350.0, hardens=True),)
    """
    over = points - heat
    places = np.flatnonzero((over[:-1] > 0.0) != (over[1:] > 0.0))
    share = over[places] / (over[places] - over[places + 1])
    when = times[places] + share * (times[places + 1] - times[places])
    warm = heat[places] + share * (heat[places + 1] - heat[places])
    hardens = over[places + 1] > 0.0
    return tuple(
        GlassCrossing(*row) for row in zip(when.tolist(), warm.tolist(), hardens.tolist(), strict=True)
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
    crossings: tuple[GlassCrossing, ...] = ()


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
    the temperature that the part must not pass; `service` what the glass transition must reach (K).
    """

    degree: float | None = None
    equivalent: float | None = None
    reference: float | None = None
    energy: float | None = None
    limit: float | None = None
    service: float | None = None


_POINTS = 4000
_FEWER = 400  # for kinetics that take long and lose nothing by it


def _refined(times: np.ndarray, constants: Sequence[float], most: int = _POINTS) -> np.ndarray:
    """Times close enough that a lagging part is straight between them to a few mK."""
    total = times[-1] - times[0]
    shortest = max(min(constants, default=total), 1e-9)
    piece = max(shortest / 100.0, total / most)
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

    >>> from dispense.handbook.kinetics import NthOrder
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
    most = _FEWER if kinetics is not None and kinetics.knows_glass else _POINTS
    times = _refined(profile.times, [part.time_constant for part in parts], most)
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
        crossings: tuple[GlassCrossing, ...] = ()
        knows = kinetics is not None and kinetics.knows_glass
        if own is not None and glass is not None and kinetics is not None:
            points = np.asarray(glass_point(own, *glass))
            crossings = glass_crossings(times, heat[:, place], points)
            sure, counted, stop = _without_glass(
                times, heat[:, place], kinetics, glass, own, spent, requirement.reference
            )
        if knows:  # what is computed is sure; of the data-sheet time that of a glass is not
            sure, stop = own, None
        reasons = _reasons(requirement, heat[:, place], own, counted if knows else spent)
        if reasons and knows:
            reasons += _glass_reasons(float(times[-1]), crossings)
        if (
            stop is not None
            and _falls_short(requirement, sure, counted)
            and (not reasons or stop.computed - stop.counted > GLASS_LOSS)
        ):
            reasons.append(stop.words)
        reasons += _service_reasons(requirement, sure, glass)
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
                crossings,
            )
        )
    return Schedule(times, air, tuple(played))


#: the same for schedules as a plan states them, kept from one run of a command to the next
planned_schedule = kept(schedule)


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


def _glass_reasons(end: float, crossings: tuple[GlassCrossing, ...]) -> list[str]:
    """That a part which falls short is a glass at the end, by kinetics that slow there themselves."""
    if not crossings or not crossings[-1].hardens:
        return []
    last = crossings[-1]
    return [
        f"the glass transition passes the part at {celsius_text(last.temperature)} after "
        f"{last.time / 60:.0f} min and stays above it to the end at {end / 60:.0f} min: diffusion stops "
        "the cure there"
    ]


def _service_reasons(
    requirement: Requirement, degrees: np.ndarray | None, glass: tuple[float, float, float] | None
) -> list[str]:
    """Whether the glass transition that is sure comes to the temperature of service."""
    if requirement.service is None or degrees is None or glass is None:
        return []
    reached = float(glass_point(degrees[-1], *glass))
    if reached >= requirement.service:
        return []
    return [
        f"glass transition ends at {celsius_text(reached, 1)} (no cure is counted while it is "
        f"{GLASS_MARGIN:g} K or more above the part), the service temperature is "
        f"{celsius_text(requirement.service, 1)}"
    ]


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
    `lambda hold: ramp_hold(296.15, 353.15, hold, 2 / 60, 4 / 60)`. Found to 0.01 s or 1e-6 of it, to 5 s or
    5e-4 with kinetics that diffusion slows.

    >>> from dispense.handbook.kinetics import NthOrder
    >>> def step(hold):
    ...     return ramp_hold(353.15, 353.15, hold, 0.0)
    >>> hold = shortest_hold(step, [PartLag("part", 1.0)], NthOrder(0.001, 0.0),
    ...                      requirement=Requirement(degree=0.5))
    >>> round(hold, 1)  # ln 2/0.001
    693.1
    """
    if requirement.degree is None and requirement.equivalent is None and requirement.service is None:
        raise InputError(
            Problem("shortest_hold", message="nothing is required: give a degree or an equivalent time")
        )
    wanted = replace(requirement, limit=None)

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
            if wanted.service is not None and part.sure is not None and glass is not None:
                reached = float(glass_point(part.sure[-1], *glass))
                worst = min(worst, (reached - wanted.service) / abs(glass[1] - glass[0]))
            if wanted.equivalent is not None and part.counted is not None:
                worst = min(worst, part.counted[-1] / wanted.equivalent - 1.0)
        return worst

    if excess(0.0) >= 0.0:
        return 0.0
    high = 600.0
    stops = kinetics is not None and as_kinetics(kinetics).knows_glass
    if stops and excess(longest) < 0.0:  # what diffusion stops no hold finishes: told at once
        high = longest
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

    close = (5.0, 5e-4) if stops else (1e-2, 1e-6)
    return float(brentq(excess, 0.0, high, xtol=close[0], rtol=close[1]))


__all__ = [
    "GLASS_MARGIN",
    "NEAR_CURE",
    "Curvature",
    "EnergyFit",
    "GlassCrossing",
    "GlassStop",
    "PartCure",
    "PartLag",
    "Profile",
    "Requirement",
    "Schedule",
    "arrhenius_curvature",
    "fit_activation_energy",
    "glass_crossings",
    "planned_schedule",
    "ramp_hold",
    "schedule",
    "shortest_hold",
]
