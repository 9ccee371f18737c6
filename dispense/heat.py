"""Heat of a pour: temperature and degree of cure through the depth of reacting potting compound.

A slab of poured depth is cut into layers (finite volumes, so that no heat is lost between them).
Each layer warms by its reaction and conducts to its neighbours; the free face gives heat to the
surroundings through a film, the base is insulated, held at the surroundings, or has a film too.
Time steps are those of a Rosenbrock method of order 4 (L-stable, error-controlled), in which the
degrees of cure are eliminated layer by layer, so that each stage is one tridiagonal solution. Many
pours are solved together: they stand one behind the other in one tridiagonal matrix, each with steps
of its own.

A pour that runs away can burn, smoke and vent cells. The figures here plan a trial; they do not
replace it. Heed the safety data sheet, the maker's largest mass in one pour and local codes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from .cure import COMPLETE, KINETICS, Kinetics, NthOrder, as_kinetics
from .errors import NUM, InputError, Problem
from .fields import choice, number
from .life import GAS_CONSTANT
from .registry import example, out, workbook_function

BASES = ("insulated", "fixed", "film")
_CAUTION = ("a runaway pour can burn, smoke and vent cells: prove the depth by a trial with "
            "thermocouples, heed the safety data sheet and the maker's largest mass")  # fmt: skip

# Rosenbrock method of order 4(3) of Hairer and Wanner (RODAS), in the form without J·u products
_GAMMA = 0.25
_A = tuple(np.array(row) for row in (
    (),
    (1.544,),
    (0.9466785280815826, 0.2557011698983284),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0),
))
_C = tuple(np.array(row) for row in (
    (),
    (-5.6688,),
    (-2.430093356833875, -0.2063599157091915),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160),
    (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136,
     -6.058818238834054),
))  # fmt: skip

# The heat lost is a seventh equation that only listens to the others; its stages solved by hand:
# h·(weights · flows at the stages, each flow with the growth of its own stage in it)
_REACH, _LOWER = np.zeros((6, 6)), np.zeros((6, 6))
for _row in range(1, 6):
    _REACH[_row, :_row], _LOWER[_row, :_row] = _A[_row], _C[_row]
_FLOWS = (_REACH[5] + np.eye(6)[5]) @ np.linalg.inv(np.eye(6) / _GAMMA - _LOWER)
_WHOLE = _FLOWS.sum()
_REACH, _LAST = _FLOWS @ (_REACH + np.eye(6)), np.append(_A[5], 1.0)

# between the ends of a step, from the stages: no slopes, which are noisy where a layer is quick
_DENSE = np.array([
    [10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823,
     1.025137723295662, 0.0],
    [-0.6762803392801253, 6.087714651680015, 16.43084320892478, 24.76722511418386,
     -6.594389125716872, 0.0],
])  # fmt: skip
# from the old state and the stages: a, b, c of the course old + s·(a + s·(b + s·c)), its slope at
# the end, s = 1, and the new state there
_COURSE = np.array([_LAST + _DENSE[0], _DENSE[1] - _DENSE[0], -_DENSE[1]])
_COURSE = np.vstack([_COURSE, np.array([1.0, 2.0, 3.0]) @ _COURSE, _LAST])
_COURSE = np.column_stack([[0.0, 0.0, 0.0, 0.0, 1.0], _COURSE])
# from the same: where each stage looks, and what the stages before it add to its slope
_STAGES = [np.array([np.append(1.0, _A[row]), np.append(0.0, _C[row])]) for row in range(6)]

_KELVIN = 1e-4  # error of one step, K
_DEGREE = 5e-7  # error of one step, degree of cure
_FAR = 256.0  # error, of the one allowed, past which a step is not shortened further; NaN counts so
_ERRORS = np.array([[_KELVIN], [_DEGREE]])
_BEGIN = 0.1  # change over the first step, K
_MOST_STEPS = 20_000
_LONGEST = 1e11  # s; no shop waits longer


@dataclass(frozen=True, slots=True)
class Sink:
    """Solids that take part of the filled volume and take up heat, such as cells.

    `fraction` of the volume; `density` and `specific_heat` of the solid. They have the temperature
    of the compound round them, or, with `exchange` in W/(m³·K) (film times contact area per filled
    volume), one of their own.
    """

    fraction: float
    density: float
    specific_heat: float
    exchange: float | None = None


@dataclass(slots=True)
class _Slabs:
    """Layers of many pours one behind the other; per area of 1 m²."""

    kinetics: Kinetics
    first: np.ndarray  # index of the first layer of each pour
    owner: np.ndarray  # pour of each layer
    width: np.ndarray  # m
    capacity: np.ndarray  # J/(m³·K) of each layer
    rise: np.ndarray  # K per degree of cure
    link: np.ndarray  # W/(m²·K) to the next layer, 0 between pours
    face: np.ndarray  # W/(m²·K) to the surroundings
    surroundings: np.ndarray  # K, of each layer
    mirrored: np.ndarray  # bool of each pour: the base is insulated
    resistance: np.ndarray  # K·m³/W of each pour: most of a steady rise per power
    solid: np.ndarray | None = None  # exchange over the compound's capacity, 1/s
    back: np.ndarray | None = None  # exchange over the solid's capacity, 1/s
    # conduction to the next layers and the faces, over the layers' capacity, 1/s: a band of three
    band: np.ndarray = field(init=False)

    def __post_init__(self):
        scale = 1.0 / (self.capacity * self.width)
        self.band = np.zeros((3, self.width.size), order="F")
        self.band[0, 1:] = self.link[:-1] * scale[:-1]
        self.band[2, :-1] = self.link[:-1] * scale[1:]
        self.band[1] = -self.face * scale
        self.band[1, :-1] -= self.band[0, 1:]
        self.band[1, 1:] -= self.band[2, :-1]

    @property
    def count(self) -> int:
        return self.first.size

    def spread(self, values: np.ndarray) -> np.ndarray | float:
        """What belongs to each pour, for each of its layers; of a single pour just that."""
        return float(values[0]) if self.first.size == 1 else values[self.owner]

    def take(self, chosen: np.ndarray) -> tuple[_Slabs, np.ndarray]:
        """The chosen pours, and the mask of their layers."""
        layers = chosen[self.owner]
        numbers = np.cumsum(chosen) - 1
        owner = numbers[self.owner[layers]]
        first = np.searchsorted(owner, np.arange(int(chosen.sum())))

        def part(array):
            return None if array is None else array[layers]

        taken = _Slabs(
            self.kinetics, first, owner, part(self.width), part(self.capacity), part(self.rise),
            part(self.link), part(self.face), part(self.surroundings), self.mirrored[chosen],
            self.resistance[chosen], part(self.solid), part(self.back),
        )  # fmt: skip
        return taken, layers


def _slabs(kinetics, cells, depth, surroundings, material, base, sink=None,
           under=None) -> _Slabs:  # fmt: skip
    """Layers for arrays of pours, each cut into `cells` equal layers (one number for each pour).

    `material` is heat, density, specific heat, conductivity and film of each pour; `under` gives
    widths of layers that already lie below a single pour.
    """
    heat, density, specific_heat, conductivity, film = material
    cells = np.asarray(cells)
    owner = np.repeat(np.arange(cells.size), cells)
    width = (depth / cells)[owner]
    if under is not None:
        width = np.concatenate([under, width])
        owner = np.zeros(width.size, dtype=int)
    first = np.searchsorted(owner, np.arange(cells.size))
    last = np.append(first[1:], width.size) - 1
    fraction = 0.0 if sink is None else sink.fraction
    capacity = (1.0 - fraction) * (density * specific_heat)[owner]
    release = (1.0 - fraction) * (density * heat)[owner]
    solid = back = None
    if sink is not None and sink.fraction > 0.0:
        own = sink.fraction * sink.density * sink.specific_heat
        if sink.exchange is None:
            capacity = capacity + own
        else:
            solid = sink.exchange / capacity
            back = np.full(width.size, sink.exchange / own)
    conducts = conductivity[owner]
    link = np.zeros(width.size)
    link[:-1] = 2.0 / (width[:-1] / conducts[:-1] + width[1:] / conducts[1:])
    link[last] = 0.0

    def through(layers):  # film and half a layer in series
        return 1.0 / (1.0 / film + 0.5 * width[layers] / conducts[layers])

    face = np.zeros(width.size)
    with np.errstate(divide="ignore"):
        face[last] = np.where(film > 0.0, through(last), 0.0)
        if base == "film":
            face[first] += np.where(film > 0.0, through(first), 0.0)
    if base == "fixed":
        face[first] += 2.0 * conducts[first] / width[first]
    total = np.add.reduceat(width, first)
    with np.errstate(divide="ignore"):
        resistance = total / (2.0 * conductivity) + (
            np.zeros_like(total) if base == "fixed" else 1.0 / film
        )
    return _Slabs(
        kinetics, first, owner, width, capacity, release / capacity, link, face,
        np.asarray(surroundings, dtype=float)[owner], np.full(cells.size, base == "insulated"),
        resistance * total, solid, back,
    )  # fmt: skip


@dataclass(slots=True)
class _State:
    """Rows temperature, degree and, where solids have their own, temperature of the solids."""

    values: np.ndarray  # (2 or 3, layers)
    lost: np.ndarray  # heat lost by each pour, J/m²

    @property
    def heat(self) -> np.ndarray:
        return self.values[0]

    @property
    def degree(self) -> np.ndarray:
        return self.values[1]

    @property
    def solid(self) -> np.ndarray | None:
        return self.values[2] if len(self.values) > 2 else None


@cache
def _routines() -> tuple:
    """Banded matrix times vector, factors of a tridiagonal matrix, and its solution (BLAS, LAPACK)."""
    from scipy.linalg import blas, lapack

    return blas.dgbmv, lapack.dgttrf, lapack.dgttrs


def _slope(slabs: _Slabs, values: np.ndarray, rate=None) -> np.ndarray:
    """Rates of change of the rows of a state."""
    heat = values[0]
    slope = np.empty(values.shape)
    if rate is None:
        rate = slabs.kinetics.rate(values[1], heat)
    slope[1] = rate
    change, count = slope[0], heat.size
    np.multiply(slabs.rise, rate, change)
    dgbmv, _, _ = _routines()
    dgbmv(count, count, 1, 1, 1.0, slabs.band, heat - slabs.surroundings, beta=1.0, y=change,
          overwrite_y=1)  # fmt: skip
    if len(values) > 2:
        gap = heat - values[2]
        change -= slabs.solid * gap
        slope[2] = slabs.back * gap
    return slope


@dataclass(slots=True)
class _Local:
    """What a step needs to know of the state it starts from."""

    by_degree: np.ndarray
    by_heat: np.ndarray
    slope: np.ndarray


def _locally(slabs: _Slabs, state: _State) -> _Local:
    rate, by_degree, by_heat = slabs.kinetics.slopes(state.degree, state.heat)
    return _Local(by_degree, by_heat, _slope(slabs, state.values, rate))


def _step(slabs: _Slabs, state: _State, local: _Local, step: np.ndarray, tight: float) -> tuple:
    """One Rosenbrock step of each pour: new state, error over the tolerance, course between.

    The course is a, b, c for the value old + s·(a + s·(b + s·c)), s from 0 to 1, and its slope and
    value at 1.
    """
    _, dgttrf, dgttrs = _routines()
    shorter = 1.0 / slabs.spread(step)
    shift = shorter / _GAMMA
    by_heat = local.by_heat
    # the degree of each layer follows from its temperature: u = (R + r_T·u_T)/(shift − r_α)
    own = 1.0 / (shift - local.by_degree)
    diagonal = slabs.rise * by_heat * shift * own + slabs.band[1] - shift
    solid: Any = slabs.solid
    solid_back: Any = slabs.back
    solid_own: Any = None
    if solid is not None:
        solid_own = 1.0 / (shift + solid_back)
        diagonal -= solid * shift * solid_own
    factors = dgttrf(slabs.band[2, :-1], diagonal, slabs.band[0, 1:])[:-1]
    coupling = -slabs.rise * local.by_degree * own
    shape = state.values.shape
    parts = np.empty((7, *shape))  # the old state and the six stages
    parts[0] = state.values
    flat = parts.reshape(7, -1)
    for stage in range(6):
        if stage == 0:
            right = local.slope
        else:
            values, back = _STAGES[stage].dot(flat[: stage + 1]).reshape(2, *shape)
            right = _slope(slabs, values)
            back *= shorter
            right += back
        u = parts[stage + 1]
        u_heat, u_degree = u[0], u[1]
        np.multiply(coupling, right[1], u_heat)
        u_heat -= right[0]
        if solid_own is not None:
            u_heat -= solid * solid_own * right[2]
        dgttrs(*factors, u_heat, overwrite_b=1)
        np.multiply(by_heat, u_heat, u_degree)
        u_degree += right[1]
        u_degree *= own
        if solid_own is not None:
            u[2] = (right[2] + solid_back * u_heat) * solid_own
    over = _WHOLE * (state.values[0] - slabs.surroundings) + _REACH.dot(parts[1:, 0])
    lost = state.lost + step * np.add.reduceat(slabs.face * over, slabs.first)
    course = _COURSE.dot(flat).reshape(5, *shape)
    error = np.abs(parts[6, :2]) / (tight * _ERRORS)
    error = np.maximum.reduceat(np.maximum(error[0], error[1]), slabs.first)
    return _State(course[4], lost), np.fmin(error, _FAR), course


def _hottest(slabs: _Slabs, times, steps, old: np.ndarray, course, new: np.ndarray):
    """Peak of each pour within its last step: temperature, time, height above the base.

    Cubic in time, parabola over three layers in height.
    """
    best = np.maximum.reduceat(np.maximum(old, new), slabs.first)
    hot = np.maximum(old, new) >= best[slabs.owner]
    places = np.flatnonzero(hot)
    place = np.full(slabs.count, -1)
    place[slabs.owner[places[::-1]]] = places[::-1]
    ends = np.append(slabs.first[1:], slabs.width.size) - 1
    # where in time the slope of the hottest layer is 0: 3·c·s² + 2·b·s + a = 0
    a, b, c, last, _ = course[:, 0, place]
    with np.errstate(all="ignore"):
        root = np.sqrt(np.maximum(b * b - 3.0 * a * c, 0.0))
        share = -a / (b - root)  # the maximum, not the minimum
    inner = (a > 0.0) & (last < 0.0) & (share > 0.0) & (share < 1.0)
    share = np.where(inner, share, np.where(new[place] >= old[place], 1.0, 0.0))

    def at(layers):
        a, b, c = course[:3, 0, layers]
        return old[layers] + share * (a + share * (b + share * c))

    edges = np.cumsum(slabs.width)
    base = edges[slabs.first] - slabs.width[slabs.first]
    middle = edges - 0.5 * slabs.width
    down, up = np.maximum(place - 1, slabs.first), np.minimum(place + 1, ends)
    at_base = (place == slabs.first) & slabs.mirrored
    inside = (up > place) & ((down < place) | at_base)
    x1 = middle[place]
    x0 = np.where(at_base, 2.0 * base - x1, middle[down])
    x2 = middle[up]
    t1 = at(place)
    t0, t2 = np.where(at_base, t1, at(down)), at(up)
    with np.errstate(all="ignore"):
        left, right = (t1 - t0) / (x1 - x0), (t2 - t1) / (x2 - x1)
        curve = (right - left) / (x2 - x0)
        shift = -(left + curve * (x1 - x0)) / (2.0 * curve)  # from x1 to the vertex
        vertex = t1 - curve * shift**2
    good = inside & (curve < 0.0) & np.isfinite(vertex) & (np.abs(shift) <= x2 - x0)
    value = np.where(good, np.maximum(vertex, t1), t1)
    height = np.where(good, x1 + shift, x1) - base
    return value, times + share * steps, np.maximum(height, 0.0)


def _over(slabs: _Slabs, state: _State, peak: np.ndarray) -> np.ndarray:
    """Whether the peak of each pour is certain: what is left cannot raise it any more."""
    hot = np.maximum.reduceat(state.heat, slabs.first)
    left = np.minimum(np.maximum(1.0 - state.degree, 0.0), 1.0)
    gain = np.maximum.reduceat(slabs.rise * left, slabs.first)
    # the fastest that the layers can still react at the highest temperature about, and the
    # steady rise over the surroundings which that could hold up
    kinetics = slabs.kinetics
    room = _room(slabs)
    warm = np.maximum(hot, room)
    top = np.abs(kinetics.drive(np.ones_like(warm), *kinetics.constants(warm)))[slabs.owner]
    power = np.maximum.reduceat(
        slabs.rise * slabs.capacity * top * left**kinetics.order, slabs.first
    )
    with np.errstate(invalid="ignore"):
        held = power * slabs.resistance
    return (warm + gain < peak) | (gain < 1e-4) | (held < 1e-3)


def _room(slabs: _Slabs) -> np.ndarray:
    """Temperature to which each pour tends in the end; −∞ where no heat gets through."""
    open_ = np.add.reduceat(slabs.face, slabs.first) > 0.0
    return np.where(open_, slabs.surroundings[slabs.first], -np.inf)


@dataclass(slots=True)
class _Run:
    """What a run of many pours gave."""

    peak: np.ndarray
    time: np.ndarray
    height: np.ndarray
    solid_peak: np.ndarray
    trace: list = field(default_factory=list)


def _run(slabs: _Slabs, state: _State, until=None, tight=1.0, trace=False) -> _Run:
    """All pours to their end: to the time `until`, or till the peak of each is certain."""
    count = slabs.count
    begin = np.maximum.reduceat(state.heat, slabs.first)
    result = _Run(begin.copy(), np.zeros(count), np.zeros(count), np.full(count, np.nan))
    if state.solid is not None:
        result.solid_peak = np.maximum.reduceat(state.solid, slabs.first)
    pours = np.arange(count)
    times = np.zeros(count)
    local = _locally(slabs, state)
    fastest = np.maximum.reduceat(np.abs(local.slope[0]), slabs.first)  # K/s
    steps = np.minimum(_BEGIN / np.maximum(fastest, 1e-30), 60.0)
    if trace:
        result.trace.append((0.0, state, None))
    for _ in range(_MOST_STEPS):
        if until is not None:
            left = until - times
            steps = np.minimum(steps, left)
            ends = steps >= left * (1.0 - 1e-12)
        after, error, course = _step(slabs, state, local, steps, tight)
        good = error <= 1.0
        taken = np.where(good, steps, 0.0)
        steps = steps * (0.8 * np.maximum(error, 6e-4) ** -0.25)  # times 0.2 to 5.1
        passed = np.count_nonzero(good)
        if not passed:
            continue
        if passed < good.size:
            layers = good[slabs.owner]
            after = _State(np.where(layers, after.values, state.values),
                           np.where(good, after.lost, state.lost))  # fmt: skip
        old, state, local = state, after, _locally(slabs, after)
        times = times + taken
        if until is not None:
            done = good & ends
        highest = np.maximum(old.heat, state.heat)
        hot = np.maximum.reduceat(highest, slabs.first)
        if until is None:
            done = good & (_over(slabs, state, np.maximum(hot, result.peak[pours]))
                           | (times > _LONGEST))  # fmt: skip
        # a closer look where a layer near the hottest one passes its maximum, or has passed it
        cooler = np.maximum.reduceat(state.heat, slabs.first) < hot
        missed = cooler & (hot > result.peak[pours])
        finished = np.count_nonzero(done)
        passing: Any = hot > result.peak[pours] - 1.0
        if np.count_nonzero(passing):
            passing = (course[0, 0] > 0.0) & (course[3, 0] <= 0.0) & (highest > slabs.spread(hot) - 1.0)
        if finished or np.count_nonzero(missed) or np.count_nonzero(passing):
            value, when, height = _hottest(slabs, times - taken, taken, old.heat, course,
                                           state.heat)  # fmt: skip
            better = good & (value >= result.peak[pours])
            mine = pours[better]
            result.peak[mine], result.time[mine] = value[better], when[better]
            result.height[mine] = height[better]
        if state.solid is not None:
            result.solid_peak[pours] = np.maximum(
                result.solid_peak[pours], np.maximum.reduceat(state.solid, slabs.first)
            )
        if trace:
            result.trace.append((float(times[0]), state, course))
        if finished:
            if finished == done.size:
                return result
            keep = ~done
            slabs, layers = slabs.take(keep)
            state = _State(state.values[:, layers], state.lost[keep])
            local = _Local(local.by_degree[layers], local.by_heat[layers],
                           local.slope[:, layers])  # fmt: skip
            pours, times, steps = pours[keep], times[keep], steps[keep]
            if until is not None:
                until = until[keep]
    result.peak[pours] = np.nan
    return result


# ----------------------------------------------------------------------------- one pour in full


@dataclass(slots=True)
class Pour:
    """Temperatures (time × layer) and degrees of a pour; SI units, heights above the base.

    `released`, `stored` and `lost` are J per m² of pour since the begin; `solid_temperatures` are
    those of the sinks where they have their own.
    """

    times: np.ndarray
    heights: np.ndarray
    widths: np.ndarray
    temperatures: np.ndarray
    degrees: np.ndarray
    solid_temperatures: np.ndarray | None
    peak_temperature: float
    peak_time: float
    peak_height: float
    solid_peak: float
    released: np.ndarray
    stored: np.ndarray
    lost: np.ndarray
    _courses: tuple = ()

    @property
    def depth(self) -> float:
        """Depth of all that is poured, m."""
        return float(self.widths.sum())

    @property
    def imbalance(self) -> float:
        """Largest |released − stored − lost| over the heat released or moved."""
        scale = np.max(np.abs(self.released) + np.abs(self.lost))
        error = np.max(np.abs(self.released - self.stored - self.lost))
        return float(error / scale) if scale > 0.0 else 0.0

    def at(self, time: float) -> tuple[np.ndarray, np.ndarray]:
        """Temperatures and degrees through the depth at a time (cubic between the steps)."""
        time = float(np.clip(time, self.times[0], self.times[-1]))
        place = int(np.clip(np.searchsorted(self.times, time) - 1, 0, max(0, self.times.size - 2)))
        if self.times.size == 1:
            return self.temperatures[0], self.degrees[0]
        share = (time - self.times[place]) / (self.times[place + 1] - self.times[place])
        a, b, c = self._courses[place][:3]
        change = share * (a + share * (b + share * c))
        heat = self.temperatures[place] + change[0]
        return heat, np.clip(self.degrees[place] + change[1], 0.0, 1.0)


def pour(depth, start, surroundings, kinetics, heat, density, specific_heat, conductivity,
         film=10.0, base="insulated", *, duration=None, cells=100, sinks=None, onto=None,
         tolerance=1.0) -> Pour:  # fmt: skip
    """One pour in full, SI units: a slab `depth` deep, or that much more `onto` an earlier pour.

    Without a `duration` it runs until the peak is certain. `sinks` is a `Sink` (cells or inserts in
    the compound); `tolerance` scales the error of a time step (1e-4 K, 5e-7 in the degree).

    >>> from dispense.cure import NthOrder
    >>> given = (NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25)
    >>> slab = pour(0.02, 296.15, 296.15, *given)
    >>> 0.0 < slab.imbalance < 1e-6
    True
    >>> 296.15 < slab.peak_temperature < 296.15 + 3e5 / 1800.0
    True
    """
    problems = [
        Problem("pour", name, value, "above 0", code=NUM)
        for name, value in (("depth", depth), ("density", density), ("heat", heat),
                            ("specific_heat", specific_heat), ("conductivity", conductivity),
                            ("start", start), ("surroundings", surroundings), ("cells", cells))
        if not (math.isfinite(value) and (value > 0.0 or (name == "heat" and value == 0.0)))
    ]  # fmt: skip
    if base not in BASES:
        problems.append(Problem("pour", "base", base, "one of " + ", ".join(BASES)))
    if sinks is not None and not 0.0 <= sinks.fraction < 1.0:
        problems.append(Problem("pour", "sinks", sinks.fraction, "a fraction of 0 to below 1"))
    if problems:
        raise InputError(problems)
    kinetics = as_kinetics(kinetics)
    material = [np.array([float(value)])
                for value in (heat, density, specific_heat, conductivity, film)]  # fmt: skip
    slabs = _slabs(kinetics, [cells], np.array([float(depth)]), np.array([float(surroundings)]),
                   material, base, sinks, None if onto is None else onto.widths)  # fmt: skip
    fresh = np.full(cells, float(start))
    temperatures, degrees, solid = fresh, np.zeros(cells), fresh
    if onto is not None:
        temperatures = np.concatenate([onto.temperatures[-1], fresh])
        degrees = np.concatenate([onto.degrees[-1], degrees])
        below = onto.temperatures if onto.solid_temperatures is None else onto.solid_temperatures
        solid = np.concatenate([below[-1], fresh])
    rows = [temperatures, degrees] if slabs.solid is None else [temperatures, degrees, solid]
    state = _State(np.array(rows), np.zeros(1))
    until = None if duration is None else np.array([float(duration)])
    run = _run(slabs, state, until, tolerance, trace=True)
    if math.isnan(run.peak[0]):
        raise InputError(Problem("pour", message="the reaction is too quick to follow",
                                 fix="check the kinetics and their units", code=NUM))  # fmt: skip
    result = _record(slabs, run)
    if sinks is not None and sinks.exchange is None:
        result.solid_peak = result.peak_temperature
    return result


def _record(slabs: _Slabs, run: _Run) -> Pour:
    """The trace of a run as a record."""
    states = [entry[1] for entry in run.trace]
    temperatures = np.array([state.heat for state in states])
    degrees = np.array([state.degree for state in states])
    solids = None if slabs.solid is None else np.array([state.solid for state in states])
    volume_heat = slabs.capacity * slabs.width
    released = (degrees - degrees[0]) @ (volume_heat * slabs.rise)
    stored = (temperatures - temperatures[0]) @ volume_heat
    if solids is not None:
        stored += (solids - solids[0]) @ (volume_heat * slabs.solid / slabs.back)
    courses = tuple(entry[2] for entry in run.trace[1:])
    return Pour(
        np.array([entry[0] for entry in run.trace]), np.cumsum(slabs.width) - 0.5 * slabs.width,
        slabs.width, temperatures, degrees, solids, float(run.peak[0]), float(run.time[0]),
        float(run.height[0]), float(run.solid_peak[0]), released, stored,
        np.array([state.lost[0] for state in states]), courses,
    )  # fmt: skip


def two_shots(first, second, wait, start, surroundings, kinetics, heat, density, specific_heat,
              conductivity, film=10.0, base="insulated", **options) -> tuple[Pour, Pour]:  # fmt: skip
    """A pour of depth `first`, and after a wait one of depth `second` on top of it; SI units.

    The second record holds both shots from the second one on; the hotter of the two peaks counts.
    """
    material = (kinetics, heat, density, specific_heat, conductivity, film, base)
    lower = pour(first, start, surroundings, *material, duration=wait, **options)
    return lower, pour(second, start, surroundings, *material, onto=lower, **options)


# ------------------------------------------------------------------------- peaks of many pours

_CELLS = 24  # layers of the coarser of two grids
_LEVELS = 3  # how often both grids may be doubled
_CLOSE = 0.01  # K, change of the extrapolated peak at which the grid is fine enough
_SHARP = 0.03  # the same, as a share of what a peak passes the adiabatic one by
_SHALLOW, _DEEP = 1e-6, 1.0  # m, range of the search for a depth
_BATCH = 4000  # layers solved together


def _peaks_on(cells, kinetics, base, rows, tight=1.0) -> np.ndarray:
    """Peak temperatures of rows (depth, start, surroundings, heat, …, film) on one grid."""
    peaks = np.empty(len(rows))
    size = max(1, _BATCH // cells)
    for begin in range(0, len(rows), size):
        part = rows[begin : begin + size]
        depth, start, surroundings, *material = part.T
        slabs = _slabs(kinetics, np.full(len(part), cells), depth, surroundings, material, base)
        heat = start[slabs.owner]
        state = _State(np.array([heat, np.zeros_like(heat)]), np.zeros(len(part)))
        run = _run(slabs, state, None, tight)
        peaks[begin : begin + size] = np.maximum(run.peak, _room(slabs))
    return peaks


def _peaks_at(level, kinetics, base, rows) -> np.ndarray:
    """Peaks of two grids, the finer with twice the layers, extrapolated to infinitely many."""
    coarse = _peaks_on(_CELLS << level, kinetics, base, rows)
    fine = _peaks_on(_CELLS << (level + 1), kinetics, base, rows)
    return fine + (fine - coarse) / 3.0


def _peaks(kinetics, base, rows) -> tuple[np.ndarray, np.ndarray]:
    """Peaks on a grid fine enough for each row, and the level of that grid."""
    coarse, fine = (_peaks_on(_CELLS << level, kinetics, base, rows) for level in (0, 1))
    peaks = fine + (fine - coarse) / 3.0
    levels = np.zeros(len(rows), dtype=int)
    # a reaction front that runs into a face or another front passes the adiabatic temperature:
    # such a pour is lost, and hundredths of a kelvin are not worth the time
    adiabatic = np.maximum(rows[:, 1], rows[:, 2]) + rows[:, 3] / rows[:, 5]
    close = np.maximum(_CLOSE, _SHARP * (fine - adiabatic))
    open_ = np.flatnonzero(np.abs(fine - coarse) > close)
    for level in range(1, _LEVELS + 1):
        if not open_.size:
            break
        finer = _peaks_on(_CELLS << (level + 1), kinetics, base, rows[open_])
        better = finer + (finer - fine[open_]) / 3.0
        settled = np.abs(better - peaks[open_]) <= close[open_]
        peaks[open_] = better
        fine[open_] = finer
        levels[open_] = level
        open_ = open_[~settled]
    return peaks, levels


def _rows(*columns) -> tuple[np.ndarray, tuple, np.ndarray]:
    """The different rows of arguments that broadcast, their shape, and which row each is."""
    arrays = np.broadcast_arrays(*columns)
    shape = arrays[0].shape
    rows = np.stack([np.asarray(array, dtype=float).ravel() for array in arrays], axis=1)
    rows, place = np.unique(rows, axis=0, return_inverse=True)
    return rows, shape, place.ravel()


_START = number("start", "°C", "temperature of the compound as poured", above=-273.15)
_ROOM = number("surroundings", "°C", "temperature round the pour", above=-273.15)
_MATERIAL = (
    number("heat", "J/g", "heat of cure per gram of compound, filler included", at_least=0),
    number("density", "g/mL", "density of the compound", above=0),
    number("specific_heat", "J/(g·K)", "specific heat of the compound", above=0),
    number("conductivity", "W/(m·K)", "conductivity of the compound", above=0),
    number("film", "W/(m²·K)", "film coefficient at the free face; 10 is still air", default=10.0,
           at_least=0),
    choice("base", BASES, "base: insulated, fixed (held at the surroundings) or film (as the free "
           "face)", default="insulated"),
)  # fmt: skip
_EQUATION = "ρ·c·∂T/∂t = ∂/∂x(k·∂T/∂x) + ρ·H·dα/dt, finite volumes through the depth"
_SOURCE = ("energy balance of a slab; kinetics as CURE_DEGREE; H. S. Carslaw, J. C. Jaeger, "
           "Conduction of Heat in Solids, 2nd ed. 1959 (limits)")  # fmt: skip
_VALID = ("wide, flat pours of one material that fills at once, properties constant; cells and "
          "inserts take up heat and make the true peak lower, corners too")  # fmt: skip
_RULE = "kinetics fitted on small samples, carried to the temperatures of a pour; " + _CAUTION


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("heat", "J/g", "heat of cure per gram of resin", at_least=0),
        number("specific_heat", "J/(g·K)", "specific heat of the compound", above=0),
        number("resin_fraction", "", "share of the compound's mass that reacts", default=1.0,
               at_least=0, at_most=1),
    ),
    returns=(out("rise", "K", "temperature rise with no heat lost"),),
    equation="ΔT = w·H/c",
    source="energy balance",
    valid="full cure; the specific heat is that of the whole compound",
    examples=(
        example((450, 1.8), 250.0, "450/1.8, by hand"),
        example((450, 1.26, 0.4), 142.8571429, "0.4·450/1.26, by hand"),
    ),
    formula="IF(ISOMITTED(resin_fraction), 1, resin_fraction)*heat/specific_heat",
    notes=_CAUTION,
)  # fmt: skip
def adiabatic_rise(heat, specific_heat, resin_fraction=1.0):
    """Temperature rise of a compound that cures without losing heat.

    >>> float(adiabatic_rise(450e3, 1800.0))
    250.0
    """
    return resin_fraction * heat / specific_heat


@workbook_function(
    category="Cure and heat",
    arguments=(number("depth", "mm", "depth of the pour", above=0), _START, _ROOM, KINETICS,
               *_MATERIAL),
    returns=(out("peak", "°C", "highest temperature anywhere in the pour"),),
    equation=_EQUATION,
    source=_SOURCE,
    valid=_VALID + "; grid and time steps hold "
    "about 0.01 K, some kelvin where a reaction front passes the adiabatic temperature",
    rule=_RULE,
    requires=(COMPLETE,),
    no_answer="the reaction is too quick to follow (check the kinetics and their units)",
    examples=(
        example((10, 25, 25, [0.02, 0], 300, 1.1, 1.5, 0.25, 0), 225.0,
                "no heat gets out: 25 + 300/1.5, by hand", 1e-6),
        example((40, 23, 23, [1.2e7, 60, None, None, None, 1.5], 300, 1.1, 1.8, 0.25), 84.50682,
                "method of lines with an implicit solver of a general library, 100 and 200 layers "
                "extrapolated", 2e-6),
        example((10, 60, 25, [0.02, 0], 0, 1.1, 1.5, 0.25), 60.0,
                "no heat of cure: it only cools, by hand"),
        example((10, 25, 80, [0.02, 0], 0, 1.1, 1.5, 0.25), 80.0,
                "no heat of cure: it warms to the surroundings, by hand"),
    ),
    notes=_CAUTION,
)  # fmt: skip
def peak_temperature(depth, start, surroundings, kinetics, heat, density, specific_heat,
                     conductivity, film=10.0, base="insulated"):  # fmt: skip
    """Highest temperature in a pour of potting compound as it cures.

    >>> from dispense.cure import NthOrder
    >>> slow = NthOrder(1e-3, 0.0)
    >>> round(float(peak_temperature(0.01, 298.15, 298.15, slow, 3e5, 1100.0, 1500.0, 0.25, 0.0)), 3)
    498.15
    """
    rows, shape, place = _rows(depth, start, surroundings, heat, density, specific_heat,
                               conductivity, film)  # fmt: skip
    peaks, _ = _peaks(as_kinetics(kinetics), base, rows)
    return peaks[place].reshape(shape)[()]


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("limit", "°C", "temperature that no part of the pour may pass", above=-273.15),
        _START, _ROOM, KINETICS, *_MATERIAL,
    ),
    returns=(out("depth", "mm", "deepest pour that stays under the limit"),),
    equation=_EQUATION + "; the depth whose PEAK_TEMPERATURE is the limit",
    source=_SOURCE,
    valid=_VALID + "; the depth at which the modelled peak equals the limit, searched from 0.001 mm "
    "to 1 m",
    rule=_RULE,
    requires=(COMPLETE,),
    no_answer="there is no such depth: either the limit is not above the start and the surroundings, "
    "or even the thinnest pour passes it, or any depth stays under the limit (up to 1 m)",
    examples=(
        example((60, 23, 23, [1.2e7, 60, None, None, None, 1.5], 300, 1.1, 1.8, 0.25),
                37.4324304, "method of lines with an implicit solver of a general library, 100 and "
                "200 layers extrapolated, and a root finder", 2e-7),
    ),
    notes=_CAUTION,
)  # fmt: skip
def pour_depth(limit, start, surroundings, kinetics, heat, density, specific_heat, conductivity,
               film=10.0, base="insulated"):  # fmt: skip
    """Deepest pour that stays under a temperature limit as it cures.

    >>> from dispense.cure import NthOrder
    >>> given = (296.15, 296.15, NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25)
    >>> depth = pour_depth(333.15, *given)
    >>> abs(float(peak_temperature(depth, *given)) - 333.15) < 1e-3
    True
    """
    kinetics = as_kinetics(kinetics)
    rows, shape, place = _rows(limit, start, surroundings, heat, density, specific_heat,
                               conductivity, film)  # fmt: skip
    depths = np.full(len(rows), np.nan)
    limits = rows[:, 0]
    open_ = np.flatnonzero(limits > np.maximum(rows[:, 1], rows[:, 2]))
    if open_.size:
        depths[open_] = _search(kinetics, base, limits[open_], rows[open_, 1:])
    return depths[place].reshape(shape)[()]


def _with_depth(logs, rest) -> np.ndarray:
    return np.column_stack([np.exp(logs), rest])


def _search(kinetics, base, limits, rest) -> np.ndarray:
    """Depths at which the peak is the limit: scan, then narrow between two depths."""
    count = len(limits)
    scan = np.linspace(math.log(_SHALLOW), math.log(_DEEP), 13)
    rows = _with_depth(np.tile(scan, count), np.repeat(rest, scan.size, axis=0))
    peaks = _peaks_on(_CELLS, kinetics, base, rows).reshape(count, scan.size)
    above = peaks > limits[:, None]
    found = np.flatnonzero(above.any(axis=1) & ~above[:, 0])
    answer = np.full(count, np.nan)
    if not found.size:
        return answer
    limits, rest, above = limits[found], rest[found], above[found]
    place = above.argmax(axis=1)
    # on the coarse grid first, then on the one that the depth needs
    low, high = scan[place - 1], scan[place]
    rough = _narrow(lambda logs, mine: _peaks_on(_CELLS, kinetics, base,
                    _with_depth(logs, rest[mine])) - limits[mine], low, high, 1e-3)  # fmt: skip
    _, levels = _peaks(kinetics, base, _with_depth(rough, rest))
    logs = np.full(found.size, np.nan)
    for level in np.unique(levels):
        mine = np.flatnonzero(levels == level)

        def excess(logs, chosen, level=level, mine=mine):
            own = mine[chosen]
            return _peaks_at(level, kinetics, base, _with_depth(logs, rest[own])) - limits[own]

        logs[mine] = _narrow(excess, rough[mine] - 5e-3, rough[mine] + 5e-3, 1e-10)
    answer[found] = np.exp(logs)
    return answer


def _narrow(excess, low, high, close) -> np.ndarray:
    """Zeros of a rising function between bounds, which are widened if they miss it (in logs).

    Inverse quadratic and linear steps, kept between the bounds (T. R. Chandrupatla, Adv. Eng.
    Software 28 (1997) 145–149), for many functions at once: `excess(logs, chosen)`.
    """
    every = np.arange(low.size)
    a, b = np.array(high, dtype=float), np.array(low, dtype=float)
    fa, fb = excess(a, every), excess(b, every)
    width = a - b
    for _ in range(30):
        short, long = fa < 0.0, fb > 0.0
        if not (short | long).any():
            break
        width = 2.0 * width
        if short.any():
            mine = np.flatnonzero(short)
            a[mine] = np.minimum(a[mine] + width[mine], math.log(4.0 * _DEEP))
            fa[mine] = excess(a[mine], mine)
        if long.any():
            mine = np.flatnonzero(long)
            b[mine] -= width[mine]
            fb[mine] = excess(b[mine], mine)
    answer = np.where((fa >= 0.0) & (fb <= 0.0), 0.5 * (a + b), np.nan)
    active = np.flatnonzero(np.isfinite(answer))
    c, fc = a.copy(), fa.copy()
    share = np.full(a.size, 0.5)
    for _ in range(80):
        if not active.size:
            break
        i = active
        x = a[i] + share[i] * (b[i] - a[i])
        fx = excess(x, i)
        same = np.sign(fx) == np.sign(fa[i])
        c[i] = np.where(same, a[i], b[i])
        fc[i] = np.where(same, fa[i], fb[i])
        b[i], fb[i] = np.where(same, b[i], a[i]), np.where(same, fb[i], fa[i])
        a[i], fa[i] = x, fx
        best = np.where(np.abs(fa[i]) < np.abs(fb[i]), a[i], b[i])
        answer[i] = best
        size = np.abs(b[i] - a[i])
        limit = 0.5 * close / np.maximum(size, 1e-300)
        done = (limit > 0.5) | (fa[i] == 0.0)
        with np.errstate(all="ignore"):
            xi = (a[i] - b[i]) / (c[i] - b[i])
            phi = (fa[i] - fb[i]) / (fc[i] - fb[i])
            good = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
            quick = (fa[i] / (fb[i] - fa[i]) * fc[i] / (fb[i] - fc[i])
                     + (c[i] - a[i]) / (b[i] - a[i]) * fa[i] / (fc[i] - fa[i])
                     * fb[i] / (fc[i] - fb[i]))  # fmt: skip
        quick = np.where(good & np.isfinite(quick), quick, 0.5)
        share[i] = np.clip(quick, np.minimum(limit, 0.5), 1.0 - np.minimum(limit, 0.5))
        active = active[~done]
    return answer


# --------------------------------------------------------------------------- runaway criteria

#: δ at which a body of zero-order reaction runs away, and the dimensionless rise at its centre
CRITICAL_DELTA = {"slab": 0.8784576798, "cylinder": 2.0, "sphere": 3.321992118}


@dataclass(frozen=True, slots=True)
class Runaway:
    """Frank-Kamenetskii's criterion: δ against its critical value for the shape."""

    delta: float
    critical: float
    half_thickness: float  # critical half-thickness or radius, m

    @property
    def runs_away(self) -> bool:
        """Whether no steady temperature exists."""
        return self.delta > self.critical


def _initial(kinetics) -> tuple[float, float]:
    """Factor and energy of the reaction at the begin, where the criteria belong."""
    kinetics = as_kinetics(kinetics)
    first = getattr(kinetics, "branches", (kinetics,))[0]
    return first.factor, first.energy


def frank_kamenetskii(half_thickness, temperature, kinetics, heat, density, conductivity,
                      shape="slab") -> Runaway:  # fmt: skip
    """Runaway of a body with faces held at a temperature, no using-up of the reactant; SI units.

    δ = E/(R·T²)·r²·ρ·H·A·exp(−E/RT)/k. A slab with one insulated base counts with its whole depth.
    Kamal–Sourour kinetics enter with k1 only: they may run away below the criterion.
    Source: D. A. Frank-Kamenetskii, 1938; critical values by the Lane–Emden equation.

    >>> from dispense.cure import NthOrder
    >>> one = frank_kamenetskii(0.01, 296.15, NthOrder(1e6, 6e4), 4e5, 1150.0, 0.2)
    >>> round(one.half_thickness * 1e3, 4), one.runs_away
    (13.3234, False)
    """
    factor, energy = _initial(kinetics)
    per_square = (
        energy / (GAS_CONSTANT * temperature**2) * density * heat * factor
        * math.exp(-energy / (GAS_CONSTANT * temperature)) / conductivity
    )  # fmt: skip
    critical = CRITICAL_DELTA.get(shape)
    if critical is None:
        raise InputError(Problem("frank_kamenetskii", "shape", shape,
                                 "one of " + ", ".join(CRITICAL_DELTA)))
    limit = math.sqrt(critical / per_square) if per_square > 0.0 else math.inf
    return Runaway(per_square * half_thickness**2, critical, limit)


def semenov(volume, area, film, temperature, kinetics, heat, density) -> tuple[float, float]:
    """Semenov's number of a well-mixed body (runaway above 1/e = 0.368) and the critical rise, K.

    ψ = ρ·V·H·k(T)·E/(h·S·R·T²); the rise solves E·(T_c − T) = R·T_c². Source: N. N. Semenov, 1928.
    The rise is NaN where E is below 4·R·T, and nothing runs away.

    >>> from dispense.cure import NthOrder
    >>> _, rise = semenov(1e-3, 0.06, 10.0, 296.15, NthOrder(1e6, 6e4), 4e5, 1150.0)
    >>> round(rise, 6)
    13.266951
    """
    factor, energy = _initial(kinetics)
    rate = factor * math.exp(-energy / (GAS_CONSTANT * temperature))
    number = density * volume * heat * rate * energy / (
        film * area * GAS_CONSTANT * temperature**2
    )  # fmt: skip
    inside = 1.0 - 4.0 * GAS_CONSTANT * temperature / energy if energy > 0.0 else -1.0
    if inside < 0.0:
        return number, math.nan
    critical = energy / (2.0 * GAS_CONSTANT) * (1.0 - math.sqrt(inside))
    return number, critical - temperature


def time_to_maximum_rate(temperature, kinetics, heat, specific_heat) -> float:
    """Time to runaway of an adiabatic body, first term for high activation energy, s.

    TMR = c·R·T²/(H·k(T)·E).

    >>> from dispense.cure import NthOrder
    >>> round(time_to_maximum_rate(296.15, NthOrder(1e6, 6e4), 4e5, 1800.0) / 3600, 6)
    0.580965
    """
    factor, energy = _initial(kinetics)
    rate = factor * math.exp(-energy / (GAS_CONSTANT * temperature))
    drive = heat * rate * energy
    return specific_heat * GAS_CONSTANT * temperature**2 / drive if drive > 0.0 else math.inf


__all__ = [
    "BASES", "CRITICAL_DELTA", "NthOrder", "Pour", "Runaway", "Sink", "adiabatic_rise",
    "frank_kamenetskii", "peak_temperature", "pour", "pour_depth", "semenov",
    "time_to_maximum_rate", "two_shots",
]  # fmt: skip
