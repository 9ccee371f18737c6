"""Cure: degree of cure along a temperature record, times to cure, glass point, gel point.

The degree of cure goes from 0 (mixed) to 1 (all that can react has reacted). Functions take kinetics
as an object of `kinetics`, or as the row of the worksheets.

Integration is in a variable that takes the factor (1 − α)ⁿ out of the rate,

    y = −ln(1 − α)  for n = 1,   y = ((1 − α)^(1 − n) − 1) / (n − 1)  otherwise,

so that dy/dt = k1 + k2·αᵐ: very hot, very quick cures stay stable, orders below 1 finish on time,
and the degree cannot leave 0 to 1. Records are linear between their points and every point is a
corner at which the integration starts anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..base.fields import matrix, number, vector
from ..base.numbers import Number, Series
from .declare import example, out, requires, workbook_function
from .kinetics import (
    KINETICS,
    LEE_LOOS_SPRINGER,
    DiffusionFactor,
    DiffusionResistance,
    Kamal,
    Kinetics,
    KineticsLike,
    NthOrder,
    Piecewise,
    RateTable,
    arrhenius,
    as_kinetics,
    glass_transition,
    incomplete,
)
from .life import GAS_CONSTANT, NEAR_REFERENCE, along_record_formula

# ------------------------------------------------------------ the integral of a rate constant

_FEW = [np.polynomial.legendre.leggauss(count) for count in (2, 3, 6)]
_SPANS = (0.01, 0.05, 1.0)  # exponents within which so many points hold 1e-12


def arrhenius_integrals(
    times: np.ndarray, temperatures: np.ndarray, energy: Number, reference: Number = np.inf
) -> np.ndarray:
    """∫ exp(E/R·(1/reference − 1/T)) dt over each segment of records linear between points.

    `times` (n,), `temperatures` (n, m), `energy` a number or (m,); the result is (n − 1, m).
    Gauss–Legendre points on each segment, which is cut until its exponent spans less than 1.
    """
    slope = np.asarray(energy, dtype=float) / GAS_CONSTANT
    first, last = temperatures[:-1], temperatures[1:]
    span = np.max(np.abs(slope * (1.0 / first - 1.0 / last)), axis=1, initial=0.0)
    cuts = np.maximum(1, np.ceil(span)).astype(int)
    length = np.diff(times)
    base = slope / reference
    if np.all(cuts == 1):
        return _segment_integrals(first, last, slope, base, span.max(initial=0.0)) * length[:, None]
    # longer segments are cut into equal parts of time, and the parts added up again
    owner = np.repeat(np.arange(len(cuts)), cuts)
    part = np.arange(len(owner)) - np.repeat(np.cumsum(cuts) - cuts, cuts)
    share = (1.0 / cuts)[owner]
    low = (part * share)[:, None]
    rise = (last - first)[owner]
    begin = first[owner] + low * rise
    end = begin + share[:, None] * rise
    pieces = _segment_integrals(begin, end, slope, base, 1.0) * (length[owner] * share)[:, None]
    starts = np.cumsum(cuts) - cuts
    return np.add.reduceat(pieces, starts, axis=0)


def _segment_integrals(
    first: np.ndarray, last: np.ndarray, slope: Number, base: Number, span: Number
) -> np.ndarray:
    """Means of exp(base − slope/T) over segments whose exponent spans at most `span` or so."""
    place = next((i for i, limit in enumerate(_SPANS) if span <= limit), len(_SPANS) - 1)
    nodes, weights = _FEW[place]
    middle, half = 0.5 * (first + last), 0.5 * (last - first)
    total: np.ndarray = np.zeros(())
    for node, weight in zip(nodes, weights, strict=True):
        inside = half * node
        inside += middle
        np.divide(-slope, inside, out=inside) if np.ndim(slope) == 0 else None
        exponent = inside if np.ndim(slope) == 0 else -slope / inside
        exponent = exponent + base
        np.exp(exponent, out=exponent)
        exponent *= 0.5 * weight
        total = total + exponent
    return total


# -------------------------------------------------------------------------------- integration

_TOLERANCE = 1e-9  # of one step, in the degree at its worst later on; a record holds 1e-6
_TIGHT = 1e-12  # for times, which are wanted to 1e-9
_FAST = 3e-8  # of the order-2 result of a step whose order-3 result is kept
_MOST_STEPS = 200_000
_MOST_GROWTH = 1e12  # of an error; past it rounding would ask for ever smaller steps
_AHEAD = np.array([0.2, 0.4, 0.6, 0.8])  # shares of the way to full cure at which a drive is looked at
_WIDE = 0.5  # change of an Arrhenius exponent within a segment that one quick step may take
_DEEPEST = 745.0  # exponent at which a rate constant underflows to 0
_LONGEST = 1.0  # change of an Arrhenius exponent within one step, that its stages see what happens
_CACHED = 16_000  # values of a block of rows that stays in the processor's cache

# Dormand and Prince, order 5 with an error of order 4
_NODES = (0.0, 1 / 5, 3 / 10, 4 / 5, 8 / 9, 1.0)
_STAGES = (
    (),
    (1 / 5,),
    (3 / 40, 9 / 40),
    (44 / 45, -56 / 15, 32 / 9),
    (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729),
    (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656),
)
_RESULT = (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84)
_ERROR = (71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40)


def _degree_at(kinetics: Kinetics, reduced: np.ndarray) -> np.ndarray:
    """The degree at a y, which may be infinite at full cure."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return kinetics.to_degree(reduced)


def _step(
    kinetics: Kinetics,
    reduced: np.ndarray,
    place: np.ndarray,
    step: np.ndarray,
    length: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """One step of each column: result, error, slopes at its begin and end."""
    rise = (last - first) / np.where(length > 0.0, length, 1.0)

    def slope(value: np.ndarray, fraction: float) -> np.ndarray:
        degree = _degree_at(kinetics, np.maximum(value, 0.0))
        return kinetics.drive(degree, *kinetics.constants(first + rise * (place + fraction * step)))

    slopes: list[np.ndarray] = []
    for node, weights in zip(_NODES, _STAGES, strict=True):
        value = reduced
        for weight, part in zip(weights, slopes, strict=True):
            value = value + (weight * step) * part
        slopes.append(slope(value, node))
    result = reduced
    for weight, part in zip(_RESULT, slopes, strict=True):
        if weight:
            result = result + (weight * step) * part
    slopes.append(slope(result, 1.0))
    error: Any = 0.0
    for weight, part in zip(_ERROR, slopes, strict=True):
        if weight:
            error = error + weight * part
    return result, step * error, slopes[0], slopes[-1]


def _peak(
    kinetics: Kinetics, degree: np.ndarray, now: np.ndarray, constants: Sequence[np.ndarray]
) -> np.ndarray:
    """Largest drive from a degree, where it is `now`, to full cure, at fixed rate constants.

    Without a ceiling the drive is largest at full cure; else it is looked at in a few places.
    """
    most: np.ndarray = np.maximum(now, kinetics.drive(1.0, *constants))
    plain = isinstance(kinetics, NthOrder | RateTable)
    if plain or (isinstance(kinetics, Kamal) and kinetics.ceiling is None):
        return most
    shares = _AHEAD.reshape(-1, *(1,) * np.ndim(most))
    ahead = kinetics.drive(degree + shares * (1.0 - degree), *constants)
    most = np.maximum(most, ahead.max(axis=0))
    return most


def _amplification(kinetics: Kinetics, degree: np.ndarray, ends: Sequence[np.ndarray]) -> np.ndarray:
    """How much an error of y now can weigh in the degree at any time later: (1 − α)ⁿ times growth.

    At one temperature an error of y grows as the drive does, δy ∝ f(α), whatever the temperature
    does to both rate constants alike. Where it changes their ratio, the growth is at most that at
    the worse end of the segment: `ends` are the rate constants there, each (2, columns).
    """
    now = kinetics.drive(degree, *ends)
    growth = np.max(_peak(kinetics, degree, now, ends) / np.maximum(now, 1e-300), axis=0)
    growth_left: np.ndarray = np.clip(growth, 1.0, _MOST_GROWTH) * (1.0 - degree) ** kinetics.order
    return growth_left


def _exponent_spans(constants: Sequence[np.ndarray]) -> np.ndarray:
    """By how much the logarithm of any rate constant changes from one row to the next."""
    span: np.ndarray = np.zeros(())
    with np.errstate(divide="ignore", invalid="ignore"):
        for constant in constants:
            change = np.abs(np.diff(np.log(np.abs(constant)), axis=0))
            span = np.maximum(span, np.nan_to_num(change, nan=0.0, posinf=_DEEPEST))
    return span


def _advance_branch(
    kinetics: Kinetics,
    degree: np.ndarray,
    length: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    tolerance: float,
    stop: np.ndarray,
    *,
    narrow: bool = False,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Columns over `length` with temperature linear from first to last, until `stop` if reached.

    The arguments from `degree` to `last` and `stop` are 1-D arrays of one size. Each column has its
    own steps; `narrow` says that no rate constant changes much. Returns degree, time used and whether
    the stop was reached.
    """
    reduced = kinetics.to_reduced(degree)
    goal = kinetics.to_reduced(np.minimum(stop, 1.0))
    goal = np.where(stop > 1.0, np.inf, goal)
    place = np.zeros_like(length)
    reached = reduced >= goal
    heat = np.stack([first, last])
    ends = kinetics.constants(heat)
    longest = length
    if not narrow:  # the exponent of a straight heat changes quickest at the cold end
        spans = _exponent_spans(ends)[0] * heat.max(axis=0) / heat.min(axis=0)
        longest = length / np.maximum(spans / _LONGEST, 1.0)
    step = np.array(longest)
    active = np.flatnonzero((length > 0.0) & ~reached & (degree < 1.0))
    for _ in range(_MOST_STEPS):
        if not active.size:
            break
        y, p, h = reduced[active], place[active], step[active]
        whole, t0, t1 = length[active], first[active], last[active]
        rest = whole - p
        h = np.minimum(np.minimum(h, longest[active]), rest)
        last_one = h >= rest * (1.0 - 1e-12)
        result, error, _, final = _step(kinetics, y, p, h, whole, t0, t1)
        own = ends if active.size == length.size else tuple(part[:, active] for part in ends)
        weight = _amplification(kinetics, _degree_at(kinetics, y), own)
        wrong = np.abs(error) * weight / tolerance
        wrong = np.where(np.isfinite(result), wrong, 1e10)
        good = wrong <= 1.0
        grow = np.clip(0.9 * np.maximum(wrong, 1e-10) ** -0.2, 0.1, 5.0)
        step[active] = np.where(good & last_one, h * np.maximum(grow, 1.0), h * grow)
        crossed = good & (result >= goal[active])
        if crossed.any():
            chosen = np.flatnonzero(crossed)
            h = np.array(h)
            h[chosen] = _find_stop(
                kinetics,
                goal[active][chosen],
                y[chosen],
                p[chosen],
                h[chosen],
                whole[chosen],
                t0[chosen],
                t1[chosen],
                result[chosen],
                final[chosen],
            )
            result = np.where(crossed, goal[active], result)
            last_one = last_one & ~crossed
        moved = active[good]
        reduced[moved] = np.maximum(result, y)[good]
        place[moved] = np.where(last_one, whole, p + h)[good]
        reached[active[crossed]] = True
        full = _degree_at(kinetics, reduced[active]) >= 1.0
        done = (good & last_one) | crossed | (full & ~np.isfinite(goal[active]))
        place[active[full & ~crossed & ~np.isfinite(goal[active])]] = whole[
            full & ~crossed & ~np.isfinite(goal[active])
        ]
        active = active[~done]
    else:
        reduced[active] = np.nan  # no answer rather than a wrong one
    degree = np.minimum(_degree_at(kinetics, reduced), 1.0)
    degree = np.where(reached & (stop <= 1.0), np.maximum(stop, 0.0), degree)
    return degree, place, reached


def _find_stop(
    kinetics: Kinetics,
    goal: np.ndarray,
    reduced: np.ndarray,
    place: np.ndarray,
    step: np.ndarray,
    length: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    result: np.ndarray,
    slope: np.ndarray,
) -> np.ndarray:
    """The part of a step at which y reaches its goal: Newton, kept between two bounds."""
    low, high = np.zeros_like(step), np.array(step)
    value, trial = result, step
    for _ in range(60):
        high = np.where(value >= goal, trial, high)
        low = np.where(value < goal, trial, low)
        with np.errstate(all="ignore"):
            better = trial - (value - goal) / slope
        inside = (better > low) & (better < high)
        better = np.where(inside, better, 0.5 * (low + high))
        small = np.abs(better - trial) <= 4e-16 * (place + step)
        trial = better
        if small.all():
            break
        value, _, _, slope = _step(kinetics, reduced, place, trial, length, first, last)
    return trial


def advance(
    kinetics: KineticsLike,
    degree: Number,
    length: Number,
    first: Number,
    last: Number,
    *,
    tolerance: float = _TOLERANCE,
    stop: Number = np.inf,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Degrees after a time `length` with temperatures linear from `first` to `last` (1-D arrays).

    Stops where the degree `stop` is reached. Returns degree, time used, whether it was reached.
    """
    degree, length, first, last, stop = (
        np.array(part, dtype=float)
        for part in np.broadcast_arrays(np.atleast_1d(degree), length, first, last, stop)
    )
    if not isinstance(kinetics, Piecewise):
        return _advance_branch(as_kinetics(kinetics), degree, length, first, last, tolerance, stop)
    used = np.zeros_like(length)
    reached = degree >= stop
    for place, branch in enumerate(kinetics.branches):
        edge = kinetics.switches[place] if place < len(kinetics.switches) else np.inf
        mine = np.flatnonzero(~reached & (used < length) & (degree < edge))
        if not mine.size:
            continue
        now = first[mine] + (last[mine] - first[mine]) * used[mine] / length[mine]
        limit = np.minimum(edge, stop[mine])
        after, time, hit = _advance_branch(
            branch, degree[mine], length[mine] - used[mine], now, last[mine], tolerance, limit
        )
        degree[mine] = after
        used[mine] = np.where(hit, used[mine] + time, length[mine])
        reached[mine] = hit & (after >= stop[mine])
    return degree, used, reached


def _record(
    times: Series, temperatures: Series, start: Number
) -> tuple[np.ndarray, np.ndarray, np.ndarray, bool]:
    """Times (n,), temperatures (n, m), starts (m,), and whether the result is one column."""
    times = np.asarray(times, dtype=float).ravel()
    temperatures = np.asarray(temperatures, dtype=float)
    if temperatures.ndim < 2:
        temperatures = temperatures.reshape(-1, 1)
    elif temperatures.shape[0] == 1 and times.size != 1:
        temperatures = temperatures.T
    begins = np.clip(np.asarray(start, dtype=float).ravel(), 0.0, 1.0)
    columns = max(temperatures.shape[1], begins.size)
    begins = np.broadcast_to(begins, (columns,)).copy()
    return times, temperatures, begins, columns == 1


def _degrees(
    times: np.ndarray,
    temperatures: np.ndarray,
    kinetics: Kinetics,
    start: np.ndarray,
    tolerance: float = _TOLERANCE,
) -> np.ndarray:
    """Degrees (n, m) along records (n, m)."""
    if isinstance(kinetics, NthOrder | RateTable):
        return _add_up(times, temperatures, kinetics, start, tolerance)
    temperatures = np.broadcast_to(temperatures, (times.size, start.size))
    if isinstance(kinetics, Piecewise):
        degrees = np.empty((times.size, start.size))
        degrees[0] = start
        for place, length in enumerate(np.diff(times)):
            degrees[place + 1], _, _ = advance(
                kinetics,
                degrees[place],
                length,
                temperatures[place],
                temperatures[place + 1],
                tolerance=tolerance,
            )
        return degrees
    return _march(times, temperatures, kinetics, start, tolerance)


def _add_up(
    times: np.ndarray,
    temperatures: np.ndarray,
    kinetics: NthOrder | RateTable,
    start: np.ndarray,
    tolerance: float,
) -> np.ndarray:
    """One rate constant along records: y is the sum of its integrals, exact but for quadrature."""
    integrals = _corrected_trapezoids if tolerance >= _TOLERANCE else arrhenius_integrals
    degrees = np.empty((times.size, start.size))
    degrees[0] = start
    reduced = kinetics.to_reduced(start)
    # few rows at a time, so that they stay in the processor's cache
    block = max(1, _CACHED // temperatures.shape[1])
    for begin in range(0, times.size - 1, block):
        rows = slice(begin, begin + block + 1)
        gain = integrals(times[rows], temperatures[rows], kinetics.energy)
        gain *= kinetics.factor
        if gain.shape[1] != start.size:
            gain = np.repeat(gain, start.size, axis=1)
        gain[0] += reduced
        np.cumsum(gain, axis=0, out=gain)
        reduced = gain[-1]
        degrees[begin + 1 : begin + 1 + len(gain)] = _degree_at(kinetics, gain)
    return np.minimum(degrees, 1.0, out=degrees)


def _corrected_trapezoids(times: np.ndarray, temperatures: np.ndarray, energy: float) -> np.ndarray:
    """As `arrhenius_integrals` to 1e-8, with one exponential a point, where the points are close.

    Trapezoids with end correction: h·(f₀ + f₁)/2 + h²·(f₀′ − f₁′)/12.
    """
    slope = energy / GAS_CONSTANT
    warmer = np.diff(temperatures, axis=0)
    coldest = temperatures.min()
    if slope * np.abs(warmer).max(initial=0.0) > 0.05 * coldest**2:
        return arrhenius_integrals(times, temperatures, energy)
    inverse = 1.0 / temperatures
    value = np.exp(-slope * inverse)
    inverse *= inverse
    inverse *= value  # f/T²
    warmer *= inverse[:-1] - inverse[1:]
    warmer *= slope / 6.0
    warmer += value[:-1]
    warmer += value[1:]
    warmer *= 0.5 * np.diff(times)[:, None]
    return warmer


def _all_narrow(kinetics: Kinetics, heat: np.ndarray, rise: np.ndarray) -> bool:
    """Whether no segment of a block can be wide: the greatest rise, put at the coldest point, is not."""
    coldest = heat.min()
    both = np.array([coldest, coldest + np.abs(rise).max(initial=0.0)])
    return bool(np.all(_exponent_spans(tuple(kinetics.constants(both))) <= _WIDE))


def _march(
    times: np.ndarray, temperatures: np.ndarray, kinetics: Kinetics, start: np.ndarray, tolerance: float
) -> np.ndarray:
    """Kamal–Sourour along fine records: one Bogacki–Shampine step a segment, all columns at once.

    Columns whose step is not good enough go over the segment again in steps of their own.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return _march_quietly(times, temperatures, kinetics, start, tolerance)


def _march_quietly(
    times: np.ndarray, temperatures: np.ndarray, kinetics: Kinetics, start: np.ndarray, tolerance: float
) -> np.ndarray:
    order = kinetics.order
    lengths = np.diff(times).tolist()
    fast = _FAST * min(1.0, (tolerance / _TOLERANCE) ** 0.75)
    degrees = np.empty((times.size, start.size))
    degrees[0] = degree = start
    reduced = kinetics.to_reduced(start)
    slope = kinetics.drive(degree, *kinetics.constants(temperatures[0]))
    block = max(1, _CACHED // start.size)
    for begin in range(0, len(lengths), block):
        heat = temperatures[begin : begin + block + 1]
        first, last = heat[:-1], heat[1:]
        rise = last - first
        plain = [kinetics.constants(first + part * rise) for part in (0.5, 0.75)]
        corners = kinetics.constants(heat)
        # one step does not do where the rate constants change much
        wide = None if _all_narrow(kinetics, heat, rise) else _exponent_spans(corners) > _WIDE
        for offset in range(len(first)):
            h = lengths[begin + offset]
            half = [k[offset] for k in plain[0]]
            most = [k[offset] for k in plain[1]]
            final = [k[offset + 1] for k in corners]
            second = kinetics.drive(kinetics.to_degree(reduced + (0.5 * h) * slope), *half)
            third = kinetics.drive(kinetics.to_degree(reduced + (0.75 * h) * second), *most)
            result = reduced + (h / 9.0) * (2.0 * slope + 3.0 * second + 4.0 * third)
            after = kinetics.to_degree(result)
            fourth = kinetics.drive(after, *final)
            error = (h / 72.0) * (6.0 * second + 8.0 * third - 5.0 * slope - 9.0 * fourth)
            np.abs(error, out=error)
            error *= _peak(kinetics, degree, slope, [k[offset] for k in corners])
            if order >= 1.0:
                error *= 1.0 - degree
            bad = ~(error <= fast * slope)
            if wide is not None:
                bad |= wide[offset]
            if bad.any():
                chosen = np.flatnonzero(bad & (degree < 1.0) & ~(slope + fourth <= 0.0))
                if chosen.size:
                    redone, _, _ = _advance_branch(
                        kinetics,
                        degree[chosen],
                        np.full(chosen.size, h),
                        first[offset][chosen],
                        last[offset][chosen],
                        tolerance,
                        np.full(chosen.size, np.inf),
                        narrow=wide is None,
                    )
                    after[chosen] = redone
                    result[chosen] = kinetics.to_reduced(redone)
                    fourth = kinetics.drive(after, *final)
            degrees[begin + offset + 1] = degree = after
            reduced, slope = result, fourth
    return np.minimum(degrees, 1.0, out=degrees)


# ------------------------------------------------------------------------- worksheet functions

_TIMES = vector("times", "min", "times of the record, none before the one above it")
_TEMPERATURES = matrix(
    "temperatures",
    "°C",
    "temperature at each time, linear between; one column for each thermocouple",
    above=-273.15,
)
_ONE_RECORD = vector("temperatures", "°C", "temperature at each time, linear between", above=-273.15)
_START = number("start", "", "degree at the first time", default=0.0, at_least=0, at_most=1)
_DEGREE = number("degree", "", "degree of cure", at_least=0, at_most=1)
_ENERGY = number("activation_energy", "kJ/mol", "activation energy", at_least=0)
_REFERENCE = number("reference_temperature", "°C", "temperature the reference time belongs to", above=-273.15)
_KAMAL_SOURCE = "M. R. Kamal, S. Sourour, Polym. Eng. Sci. 13 (1973) 59–64 (from memory)"
_ARRHENIUS = "Arrhenius law; R = 8.31446261815324 J/(mol·K), CODATA 2018"


def _fits(times: Series, temperatures: Series) -> bool:
    shape = np.shape(temperatures)
    return shape[0] == len(times) or (len(shape) == 2 and shape[0] == 1 and shape[1] == len(times))


IN_ORDER = requires(
    lambda times: bool(np.all(np.diff(times) >= 0.0)), "times", "in order, each at or after the one before"
)
FITTING = requires(
    _fits, "temperatures", "one row or column as long as the times, or a block with a row for each time"
)
COMPLETE = requires(
    lambda kinetics: not incomplete(kinetics),
    "kinetics",
    "complete: where A2 is given, E2 and m too; with C alpha_c0; with kd0 Tg0, Tg1 above it and lambda",
)


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("temperature", "°C", "temperature of the cure", above=-273.15),
        number("reference_time", "min", "time to the same degree at the reference temperature", at_least=0),
        _REFERENCE,
        _ENERGY,
    ),
    returns=(out("cure_time", "min", "time to the same degree of cure"),),
    equation="t = t_ref·exp(E/R·(1/T − 1/T_ref))",
    source=_ARRHENIUS,
    valid="temperatures near the reference; far from it the cure may end at another degree",
    validity=(NEAR_REFERENCE,),
    rule="one data-sheet time moved by an activation energy: an extrapolation away from its temperature",
    examples=(
        example((30, 60, 23, 55.35635557), 35.70288172, "ln t linear in 1/T, by hand"),
        example((100, 30, 80, 0), 30.0, "no activation energy, no change"),
    ),
    formula="reference_time*EXP(activation_energy*1000/8.31446261815324*(1/(temperature + 273.15) "
    "- 1/(reference_temperature + 273.15)))",
)
def cure_time(
    temperature: Number, reference_time: Number, reference_temperature: Number, activation_energy: Number
) -> Number:
    """Time at a temperature that gives the same cure as a reference time.

    >>> round(float(cure_time(303.15, 3600.0, 296.15, 55356.35557)), 4)
    2142.1729
    """
    return reference_time * np.exp(
        activation_energy / GAS_CONSTANT * (1.0 / temperature - 1.0 / reference_temperature)
    )


@workbook_function(
    category="Cure and heat",
    arguments=(_TIMES, _ONE_RECORD, _REFERENCE, _ENERGY),
    returns=(out("equivalent_time", "min", "time at the reference temperature"),),
    equation="∫ exp(E/R·(1/T_ref − 1/T)) dt, temperature linear between the points",
    source=_ARRHENIUS + "; superposition of time and temperature",
    valid="one activation energy over the whole record; temperature of the part, not of the air",
    requires=(
        IN_ORDER,
        requires(
            lambda times, temperatures: len(times) == len(temperatures),
            "temperatures",
            "as many as there are times",
        ),
    ),
    examples=(
        example(([0, 55], [25, 80], 80, 60), 15.53664607, "closed form with the exponential integral E₁"),
        example(
            ([0, 55, 85, 112.5], [25, 80, 80, 25], 80, 60),
            53.3049691,
            "closed form with the exponential integral E₁",
        ),
        example(([0, 30], [80, 80], 80, 60), 30.0, "at the reference temperature time is time"),
    ),
    formula=f"LET({along_record_formula('activation_energy')},"
    "IF(sound,spent*EXP(activation_energy*steep*(1/(reference_temperature+273.15)-1/base)),SQRT(-1)))",
)
def equivalent_time(
    times: Series, temperatures: Series, reference_temperature: Number, activation_energy: Number
) -> Number:
    """Time at a reference temperature that cures as much as a temperature record.

    >>> import numpy as np
    >>> record = np.array([0.0, 3300.0]), np.array([298.15, 353.15])
    >>> round(float(equivalent_time(*record, 353.15, 60e3)), 4)
    932.1988
    """
    times = np.asarray(times, dtype=float)
    temperatures = np.asarray(temperatures, dtype=float)[:, None]
    # from the hottest point, so that nothing overflows before it must
    base = temperatures.max()
    energies, place = np.unique(np.asarray(activation_energy, dtype=float), return_inverse=True)
    totals = np.empty(energies.size)
    for begin in range(0, energies.size, 64):
        part = slice(begin, begin + 64)
        totals[part] = arrhenius_integrals(times, temperatures, energies[part], base).sum(axis=0)
    total = totals[place].reshape(np.shape(activation_energy))
    equivalent: Number = total * np.exp(
        activation_energy / GAS_CONSTANT * (1.0 / reference_temperature - 1.0 / base)
    )
    return equivalent


@workbook_function(
    category="Cure and heat",
    arguments=(_TIMES, _TEMPERATURES, KINETICS, _START),
    returns=(out("degree", "", "degree of cure at each time"),),
    equation="dα/dt = (k1 + k2·α^m)·(1−α)^n, k = A·exp(−E/(R·T)), T linear between points",
    source=_KAMAL_SOURCE + "; " + _ARRHENIUS,
    valid="within the temperatures and degrees the kinetics were fitted on; does not know that a "
    "reaction slows as the glass point passes the temperature; holds 1e-6 in the degree",
    rule="the kinetics are a fit; past their data the degree is an extrapolation",
    requires=(IN_ORDER, FITTING, COMPLETE),
    no_answer="the reaction is too quick to follow at these temperatures",
    whole=True,
    along="times",
    examples=(
        example(([0, 60], [25, 25], [0.02, 0]), [0.0, 0.6988057881], "1 − exp(−0.02·60), by hand"),
        example(
            ([0, 60], [25, 25], [0.05, 0, None, None, None, 1.5]),
            [0.0, 0.84],
            "1 − (1 + 0.5·0.05·60)^(−2), by hand",
        ),
        example(
            ([0, 30, 60, 90], [25, 25, 25, 25], [0.002, 0, 0.08, 0, 1, 1]),
            [0.0, 0.2070370478, 0.7683650017, 0.9750546026],
            "closed form for m = n = 1, by hand",
            1e-6,
        ),
        example(
            ([0, 50], [25, 25], [0, 0, 0.1, 0, 1, 1], 0.01),
            [0.01, 0.5998596018],
            "logistic curve (Prout–Tompkins), by hand",
            1e-6,
        ),
    ),
    notes="where A1 is 0, nothing starts without a start degree above 0",
)
def cure_degree(
    times: Series, temperatures: Series, kinetics: KineticsLike, start: Number = 0.0
) -> np.ndarray:
    """Degree of cure along a temperature record, or along many at once.

    `kinetics` may also be an object such as `Piecewise`.

    >>> import numpy as np
    >>> cure_degree([0.0, 3600.0], [298.15, 298.15], NthOrder(0.02 / 60, 0.0)).round(6).tolist()
    [0.0, 0.698806]
    """
    times, temperatures, start, single = _record(times, temperatures, start)
    degrees = _degrees(times, temperatures, as_kinetics(kinetics), start)
    return degrees[:, 0] if single else degrees


@workbook_function(
    category="Cure and heat",
    arguments=(_DEGREE, _TIMES, _ONE_RECORD, KINETICS, _START),
    returns=(out("time", "min", "time of the record at which the degree is reached"),),
    equation="inverse of CURE_DEGREE",
    source=_KAMAL_SOURCE + "; " + _ARRHENIUS,
    valid="as CURE_DEGREE",
    rule="the kinetics are a fit; past their data the time is an extrapolation",
    requires=(
        IN_ORDER,
        requires(
            lambda times, temperatures: len(times) == len(temperatures),
            "temperatures",
            "as many as there are times",
        ),
        COMPLETE,
    ),
    no_answer="the degree is not reached within the record",
    examples=(
        example(
            (0.5, [0, 240], [25, 25], [0.003, 0, 0.06, 0, 0.8, 1.6]),
            44.24589583,
            "quadrature of 1/rate",
            1e-8,
        ),
        example(
            (0.9, [0, 240], [25, 25], [0.003, 0, 0.06, 0, 0.8, 1.6]), 123.967757, "quadrature of 1/rate", 1e-8
        ),
        example(
            (0.84, [0, 100], [25, 25], [0.05, 0, None, None, None, 1.5]),
            60.0,
            "(0.16^(−0.5) − 1)/(0.5·0.05), by hand",
        ),
    ),
)
def time_to_cure(
    degree: Number, times: Series, temperatures: Series, kinetics: KineticsLike, start: Number = 0.0
) -> np.ndarray:
    """Time at which a degree of cure is reached along a temperature record.

    >>> t = time_to_cure(0.5, [0.0, 3600.0], [298.15, 298.15], NthOrder(0.001, 0.0))
    >>> round(float(t), 6)  # ln 2 / 0.001
    693.147181
    """
    kinetics = as_kinetics(kinetics)
    shape = np.broadcast_shapes(np.shape(degree), np.shape(start))
    goals = np.broadcast_to(degree, shape).ravel()
    begins = np.broadcast_to(start, shape).ravel()
    starts, column = np.unique(begins, return_inverse=True)
    times, temperatures, starts, _ = _record(times, temperatures, starts)
    curve = _degrees(times, temperatures, kinetics, starts, _TIGHT)
    # the segment that ends at or past the goal
    place = np.empty(goals.size, dtype=int)
    for one in range(starts.size):
        mine = column == one
        place[mine] = np.searchsorted(curve[:, one], goals[mine], side="left")
    answer = np.full(goals.size, np.nan)
    answer[place == 0] = times[0]
    inside = np.flatnonzero((place > 0) & (place < times.size))
    if inside.size:
        begin = place[inside] - 1
        length = times[begin + 1] - times[begin]
        _, used, reached = advance(
            kinetics,
            curve[begin, column[inside]],
            length,
            temperatures[begin, 0],
            temperatures[begin + 1, 0],
            tolerance=_TIGHT,
            stop=goals[inside],
        )
        # the goal may lie within rounding of the end of its segment
        answer[inside] = times[begin] + np.where(reached, used, length)
    missed = np.flatnonzero(np.isnan(answer))
    if missed.size:
        # CURE_DEGREE ends a rounding higher: what it says is reached, is reached at the end
        ends = _degrees(times, temperatures, kinetics, starts)[-1]
        answer[missed[goals[missed] <= ends[column[missed]]]] = times[-1]
    return answer.reshape(shape)[()]


@workbook_function(
    category="Cure and heat",
    arguments=(
        _DEGREE,
        number("uncured", "°C", "glass point of the fresh mix", above=-273.15),
        number("cured", "°C", "glass point at full cure", above=-273.15),
        number("lambda_", "", "ratio of the steps in heat capacity, cured over uncured", above=0, at_most=1),
    ),
    returns=(out("glass_point", "°C", "glass transition temperature"),),
    equation="(T_g − T_g0)/(T_g∞ − T_g0) = λα/(1 − (1 − λ)α)",
    source="A. T. DiBenedetto, J. Polym. Sci. B 25 (1987) 1949; J.-P. Pascault, R. J. J. Williams, "
    "J. Polym. Sci. B 28 (1990) 85–95 (from memory)",
    valid="any degree from 0 to 1",
    examples=(
        example((0.5, -20, 220, 0.5), 60.0, "−20 + 240·0.25/0.75, by hand"),
        example((0.8, -20, 220, 0.5), 140.0, "−20 + 240·0.4/0.6, by hand"),
        example((0.95, -20, 220, 0.5), 197.1428571, "−20 + 240·0.475/0.525, by hand"),
    ),
    formula="uncured + (cured - uncured)*lambda_*degree/(1 - (1 - lambda_)*degree)",
)
def glass_point(degree: Number, uncured: Number, cured: Number, lambda_: Number) -> Number:
    """Glass transition temperature at a degree of cure.

    >>> round(float(glass_point(0.5, 253.15, 493.15, 0.5)), 2)
    333.15
    """
    return glass_transition(degree, uncured, cured, lambda_)


def degree_at_glass_point(temperature: Number, uncured: Number, cured: Number, ratio: Number) -> Number:
    """Degree at which the glass point passes a temperature: where a cure at it comes to a stand.

    >>> round(degree_at_glass_point(393.15, 253.15, 493.15, 0.5), 6)
    0.736842
    """
    share = (temperature - uncured) / (cured - uncured)
    return share / (ratio + (1.0 - ratio) * share)


def cure_before_glass(
    times: np.ndarray,
    temperatures: np.ndarray,
    kinetics: KineticsLike,
    glass: tuple[float, float, float],
    margin: float,
    degrees: np.ndarray,
) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """Degree that is sure along a record: no reaction is counted while the mix is a glass.

    From where the glass point lies more than `margin` K above the temperature, until the temperature
    has come up to the glass point again, the degree is held: a lower bound for a reaction that
    diffusion slows to nearly nothing there. `glass` holds the glass point uncured and cured [K] and
    DiBenedetto's ratio, `degrees` the degrees by the kinetics alone. Returns the degrees counted, and
    the stretches (first, last place) over which the mix is a glass.

    >>> times, heat = np.linspace(0.0, 36000.0, 601), np.full(601, 313.15)
    >>> alone = cure_degree(times, heat, NthOrder(1e-3, 0.0))
    >>> sure, stretches = cure_before_glass(times, heat, NthOrder(1e-3, 0.0), (253.15, 423.15, 0.45),
    ...                                     20.0, alone)
    >>> [round(float(each[-1]), 3) for each in (alone, sure)], len(stretches)
    ([1.0, 0.664], 1)
    >>> round(degree_at_glass_point(333.15, 253.15, 423.15, 0.45), 3)  # 20 K above 40 °C
    0.664
    """
    counted = np.array(degrees, dtype=float)
    stretches: list[tuple[int, int]] = []
    place = 0
    while True:
        is_glass = np.asarray(glass_point(counted[place:], *glass)) > temperatures[place:] + margin
        if not is_glass.any():
            return counted, stretches
        first = place + int(is_glass.argmax())
        # within the last piece of the record
        passed = degree_at_glass_point(temperatures[first] + margin, *glass)
        held = np.clip(passed, counted[max(first - 1, 0)], counted[first])
        soft = temperatures[first:] >= glass_point(held, *glass)
        last = first + int(soft.argmax()) if soft.any() else counted.size - 1
        stretches.append((first, last))
        counted[first : last + 1] = held
        if not soft.any():
            return counted, stretches
        counted[last:] = cure_degree(times[last:], temperatures[last:], kinetics, held)
        place = last


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("functionality_a", "", "reactive groups of one molecule of A", above=1),
        number("functionality_b", "", "reactive groups of one molecule of B", above=1),
        number(
            "ratio",
            "",
            "equivalents of the part in short supply over the other's",
            default=1.0,
            above=0,
            at_most=1,
        ),
    ),
    returns=(out("degree", "", "conversion of the group in short supply at the gel point"),),
    equation="α = 1/√(r·(f_a − 1)·(f_b − 1))",
    source="P. J. Flory, Principles of Polymer Chemistry, 1953, ch. 9; W. H. Stockmayer, J. Polym. "
    "Sci. 9 (1952) 69, 11 (1953) 424",
    valid="groups of equal reactivity, no rings; measured gel points lie somewhat higher",
    rule="ideal network theory",
    no_answer="so far off ratio, or with so few groups, the mix never gels",
    examples=(
        example((2, 4), 0.5773502692, "1/√3, by hand"),
        example((2, 5), 0.5, "1/√4, by hand"),
        example((2, 4, 0.8), 0.6454972244, "1/√2.4, by hand"),
    ),
    formula="LET(point, 1/SQRT(IF(ISOMITTED(ratio), 1, ratio)*(functionality_a - 1)*(functionality_b - 1)), "
    "IF(point <= 1.000000000001, IF(point > 1, 1, point), SQRT(-1)))",
)
def gel_degree(functionality_a: Number, functionality_b: Number, ratio: Number = 1.0) -> Number:
    """Conversion at gel of a stepwise two-part mix.

    >>> round(float(gel_degree(2.0, 4.0)), 6)
    0.57735
    """
    degree = 1.0 / np.sqrt(ratio * (functionality_a - 1.0) * (functionality_b - 1.0))
    # rounding must not refuse the mix that gels just at full conversion
    return np.where(degree <= 1.0 + 1e-12, np.minimum(degree, 1.0), np.nan)


@workbook_function(
    category="Cure and heat",
    arguments=(
        _TIMES,
        matrix(
            "air_temperatures", "°C", "temperature of the air at each time, linear between", above=-273.15
        ),
        number(
            "time_constant", "min", "time in which the part comes within 1/e of a step of the air", above=0
        ),
        number(
            "start",
            "°C",
            "temperature of the part at the first time; blank takes the air's",
            default=None,
            above=-273.15,
        ),
    ),
    returns=(out("temperature", "°C", "temperature of the part at each time"),),
    equation="dT/dt = (T_air − T)/τ, solved exactly on each straight piece of the record",
    source="first-order lag; any textbook of heat transfer, lumped capacity",
    valid="parts that are warm right through (Biot number below 0.1); no heat of cure",
    rule="a lumped part: no temperature differences inside it",
    requires=(
        IN_ORDER,
        requires(
            lambda times, air_temperatures: _fits(times, air_temperatures),
            "air_temperatures",
            "one row or column as long as the times, or a block with a row for each time",
        ),
    ),
    whole=True,
    along="times",
    examples=(
        example(([0, 10], [80, 80], 10, 20), [20.0, 57.92723353], "80 − 60/e, by hand"),
        example(([0, 10], [20, 40], 10), [20.0, 27.35758882], "20 + 20/e, by hand"),
    ),
    formula="LET(clock,TOCOL(times),many,ROWS(clock),"
    "air,IF((ROWS(air_temperatures)=1)*(many>1)>0,TRANSPOSE(air_temperatures),air_temperatures),"
    "back,IF(many>1,SUM(IF(DROP(clock,1)<DROP(clock,-1),1,0)),0),"
    "begin,IF(ISOMITTED(start),TAKE(air,1),start+0*TAKE(air,1)),"
    "sound,(back=0)*(ROWS(air)=many)*(ROWS(time_constant)*COLUMNS(time_constant)=1)"
    "*(ROWS(begin)=1)*(COLUMNS(begin)=COLUMNS(air))>0,"
    # an air that rises with slope b: T = fade·T + (1 − fade)·air + b·(length − τ·(1 − fade))
    "part,IF(many>1,REDUCE(begin,SEQUENCE(many-1),LAMBDA(sofar,i,LET("
    "length,INDEX(clock,i+1)-INDEX(clock,i),fade,EXP(-length/time_constant),"
    "slope,IF(length>0,1/length,0)*(INDEX(air,i+1,0)-INDEX(air,i,0)),"
    "VSTACK(sofar,fade*TAKE(sofar,-1)+(1-fade)*INDEX(air,i,0)+slope*(length-time_constant*(1-fade)))))),begin),"
    "IF(sound,IF((ROWS(times)=1)*(many>1)*(COLUMNS(air)=1)>0,TRANSPOSE(part),part),SQRT(-1)))",
)
def part_temperature(
    times: Series, air_temperatures: Series, time_constant: Number, start: Number | None = None
) -> np.ndarray:
    """Temperature of a part that follows the air with a lag.

    >>> part_temperature([0.0, 600.0], [353.15, 353.15], 600.0, 293.15).round(3).tolist()
    [293.15, 331.077]
    """
    start_given = start is not None
    times, air, _, _ = _record(times, air_temperatures, 0.0)
    tau = np.asarray(time_constant, dtype=float).ravel()
    begin = np.asarray(start, dtype=float).ravel() if start_given else air[0]
    columns = np.broadcast_shapes(air.shape[1:], tau.shape, begin.shape)
    result = np.empty((times.size, *columns))
    result[0] = part = np.broadcast_to(begin, columns)
    length = np.diff(times)[:, None]
    fade = np.exp(-length / tau)
    lost = -np.expm1(-length / tau)
    # an air that rises with slope b: T = fade·T + (1 − fade)·air + b·(length − τ·(1 − fade))
    slope = np.diff(air, axis=0) / np.where(length > 0.0, length, 1.0)
    gain = lost * air[:-1] + slope * (length - tau * lost)
    for place in range(times.size - 1):
        result[place + 1] = part = fade[place] * part + gain[place]
    return result[:, 0] if result.shape[1] == 1 else result


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("irradiance", "mW/cm²", "irradiance at the bond line", at_least=0),
        number("time", "s", "time of exposure", at_least=0),
    ),
    returns=(out("dose", "J/cm²", "dose"),),
    equation="H = E·t",
    source="definition of radiant exposure",
    valid="steady irradiance in the band the material answers to, behind the parts it must shine through",
    examples=(example((100, 30), 3.0, "0.1 W/cm² · 30 s, by hand"),),
    formula="irradiance*time/1000",
    notes="shield eyes and skin from the lamp; its ozone needs an exhaust",
)
def uv_dose(irradiance: Number, time: Number) -> Number:
    """Dose of light of a steady exposure.

    >>> float(uv_dose(1000.0, 30.0))
    30000.0
    """
    return irradiance * time


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("dose", "J/cm²", "dose that the material needs", at_least=0),
        number("irradiance", "mW/cm²", "irradiance at the bond line", above=0),
    ),
    returns=(out("time", "s", "time of exposure"),),
    equation="t = H/E",
    source="definition of radiant exposure",
    valid="as UV_DOSE; many materials also need a least irradiance",
    examples=(example((3, 100), 30.0, "3 J/cm² over 0.1 W/cm², by hand"),),
    formula="dose*1000/irradiance",
    notes="shield eyes and skin from the lamp; its ozone needs an exhaust",
)
def uv_time(dose: Number, irradiance: Number) -> Number:
    """Time of exposure that gives a dose of light.

    >>> float(uv_time(30000.0, 1000.0))
    30.0
    """
    return dose / irradiance


# -------------------------------------------------------------------------- light, from Python


def belt_dose(irradiance: Number, window: Number, speed: Number) -> Number:
    """Dose J/m² of a part that a belt carries through a lit window; W/m², m, m/s.

    >>> round(float(belt_dose(5000.0, 0.08, 2.0 / 60)), 6)  # 1.2 J/cm²
    12000.0
    """
    return irradiance * window / speed


def belt_speed(dose: Number, irradiance: Number, window: Number) -> Number:
    """Belt speed m/s at which a lit window gives a dose.

    >>> round(float(belt_speed(12000.0, 5000.0, 0.08)) * 60, 6)
    2.0
    """
    return irradiance * window / dose


def record_dose(times: Series, irradiances: Number) -> Number:
    """Dose J/m² of an irradiance record that is linear between its points.

    >>> float(record_dose([0.0, 10.0, 20.0], [1000.0, 1000.0, 0.0]))
    15000.0
    """
    values = np.asarray(irradiances, dtype=float)
    area: Number = 0.5 * np.sum((values[1:] + values[:-1]) * np.diff(times))
    return area


def light_depth(dose: Number, critical_dose: Number, penetration: Number) -> Number:
    """Depth to which light cures, D·ln(H/H_c); 0 below the critical dose.

    P. F. Jacobs, Rapid Prototyping & Manufacturing, SME 1992 (working curve, from memory).

    >>> round(float(light_depth(1000.0, 100.0, 150e-6)) * 1e6, 4)
    345.3878
    """
    return penetration * np.log(np.maximum(np.asarray(dose, dtype=float) / critical_dose, 1.0))


__all__ = [
    "KINETICS",
    "LEE_LOOS_SPRINGER",
    "DiffusionFactor",
    "DiffusionResistance",
    "Kamal",
    "Kinetics",
    "NthOrder",
    "Piecewise",
    "RateTable",
    "advance",
    "arrhenius",
    "arrhenius_integrals",
    "as_kinetics",
    "belt_dose",
    "belt_speed",
    "cure_before_glass",
    "cure_degree",
    "cure_time",
    "degree_at_glass_point",
    "equivalent_time",
    "gel_degree",
    "glass_point",
    "light_depth",
    "part_temperature",
    "record_dose",
    "time_to_cure",
    "uv_dose",
    "uv_time",
]
