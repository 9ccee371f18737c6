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
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from typing import Any

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.fields import choice, number
from ..base.numbers import Number
from ..base.units import MINUTE
from .cure import COMPLETE
from .declare import example, out, workbook_function
from .kinetics import KINETICS, Kamal, Kinetics, KineticsLike, NthOrder, as_kinetics
from .life import GAS_CONSTANT

BASES = ("insulated", "fixed", "film")
_CAUTION = (
    "a runaway pour can burn, smoke and vent cells: prove the depth by a trial with "
    "thermocouples, heed the safety data sheet and the maker's largest mass"
)

# Rosenbrock method of order 4(3) of Hairer and Wanner (RODAS), in the form without J·u products
_GAMMA = 0.25
_A = tuple(
    np.array(row)
    for row in (
        (),
        (1.544,),
        (0.9466785280815826, 0.2557011698983284),
        (3.314825187068521, 2.896124015972201, 0.9986419139977817),
        (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950),
        (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0),
    )
)
_C = tuple(
    np.array(row)
    for row in (
        (),
        (-5.6688,),
        (-2.430093356833875, -0.2063599157091915),
        (-0.1073529058151375, -9.594562251023355, -20.47028614809616),
        (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160),
        (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054),
    )
)

# The heat lost is a seventh equation that only listens to the others; its stages solved by hand:
# h·(weights · flows at the stages, each flow with the growth of its own stage in it)
_REACH, _LOWER = np.zeros((6, 6)), np.zeros((6, 6))
for _row in range(1, 6):
    _REACH[_row, :_row], _LOWER[_row, :_row] = _A[_row], _C[_row]
_FLOWS = (_REACH[5] + np.eye(6)[5]) @ np.linalg.inv(np.eye(6) / _GAMMA - _LOWER)
_WHOLE = _FLOWS.sum()
_REACH, _LAST = _FLOWS @ (_REACH + np.eye(6)), np.append(_A[5], 1.0)

# between the ends of a step, from the stages: no slopes, which are noisy where a layer is quick
_DENSE = np.array(
    [
        [
            10.12623508344586,
            -7.487995877610167,
            -34.80091861555747,
            -7.992771707568823,
            1.025137723295662,
            0.0,
        ],
        [
            -0.6762803392801253,
            6.087714651680015,
            16.43084320892478,
            24.76722511418386,
            -6.594389125716872,
            0.0,
        ],
    ]
)
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
_BEGIN = 0.1  # change over the first step, K
_GROWTH = 1.5  # most e-foldings of a step; the shift of the implicit step loses its sign at 4
SEED = 1e-8  # z from which a pour begins where z is not the degree, that it leaves 0
_TINY = 1e-300
_WIDE = 1e-3  # ε beside which the allowed error of a degree is small
_LEAST_SHARE = 0.1  # of the slower of the rates at both ends of a step, which it must have done
_BALANCE = 1e-6  # share of the heat moved that may be missing
_NO_GAIN = 1e-4  # K that what is left to react could still give without loss of heat
_NOT_HELD = 1e-3  # K over the surroundings that the fastest reaction left could hold up
_FEWEST = 3  # layers
_MOST_STEPS = 20_000
_LONGEST = 1e11  # s; no shop waits longer
RUNS_AWAY = "runs away after"  # what is said of a pour that is too quick and too hot to follow
_DEGREES = 4001  # among which the greatest adiabatic rate is looked for, and then closer about it
_CLOSER, _SAME_DEGREE = 101, 1e-9  # a rate is flat at its greatest: closer degrees differ in rounding alone
_DECADES, _NODES = 250, 24  # panels of its time, and Gauss–Legendre points in each
SEEDLESS = 0.99  # m above which a reaction with k1 = 0 takes too long to leave α = 0
_HOTTEST = 3000.0  # K, past which no compound is a compound
_SELF_HEATED = 10.0  # K above start and surroundings, past which a pour that is too quick ran away


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

    def __post_init__(self) -> None:
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

        def part(array: np.ndarray | None) -> Any:
            return None if array is None else array[layers]

        taken = _Slabs(
            self.kinetics,
            first,
            owner,
            part(self.width),
            part(self.capacity),
            part(self.rise),
            part(self.link),
            part(self.face),
            part(self.surroundings),
            self.mirrored[chosen],
            self.resistance[chosen],
            part(self.solid),
            part(self.back),
        )
        return taken, layers


def _slabs(
    kinetics: Kinetics,
    cells: int | np.ndarray,
    depth: np.ndarray,
    surroundings: np.ndarray,
    material: Sequence[np.ndarray],
    base: str,
    sink: Sink | None = None,
    under: np.ndarray | None = None,
) -> _Slabs:
    """Layers for arrays of pours, each cut into `cells` equal layers (one number for each pour).

    `material` is heat, density, specific heat, conductivity and film of each pour; `under` gives
    widths of layers that already lie below a single pour.
    """
    heat, density, specific_heat, conductivity, film = material
    counts = np.asarray(cells, dtype=int)
    owner = np.repeat(np.arange(counts.size), counts)
    width = (depth / counts)[owner]
    if under is not None:
        width = np.concatenate([under, width])
        owner = np.zeros(width.size, dtype=int)
    first = np.searchsorted(owner, np.arange(counts.size))
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

    def through(layers: np.ndarray) -> np.ndarray:  # film and half a layer in series
        conductance: np.ndarray = 1.0 / (1.0 / film + 0.5 * width[layers] / conducts[layers])
        return conductance

    face = np.zeros(width.size)
    with np.errstate(divide="ignore"):
        face[last] = np.where(film > 0.0, through(last), 0.0)
        if base == "film":
            face[first] += np.where(film > 0.0, through(first), 0.0)
    if base == "fixed":
        face[first] += 2.0 * conducts[first] / width[first]
    total = np.add.reduceat(width, first)
    with np.errstate(divide="ignore"):
        resistance = total / (2.0 * conductivity) + (np.zeros_like(total) if base == "fixed" else 1.0 / film)
    return _Slabs(
        kinetics,
        first,
        owner,
        width,
        capacity,
        release / capacity,
        link,
        face,
        np.asarray(surroundings, dtype=float)[owner],
        np.full(counts.size, base == "insulated"),
        resistance * total,
        solid,
        back,
    )


def _is_sharp(kinetics: Kinetics) -> bool:
    """Whether the rate has an infinite slope at α = 0."""
    first = kinetics.at_begin
    return isinstance(first, Kamal) and 0.0 < first.power < 1.0 and first.factor_auto > 0.0


@dataclass(slots=True)
class StepVariable:
    """The variable that is stepped in place of the degree of cure, for each layer.

    A rate with k2·αᵐ, m below 1, has an infinite slope at α = 0: a step in α that starts there can
    stay there for ever. Hence steps are made in

        z = ((α + ε)^(1 − m) − ε^(1 − m)) / (1 − m),   dz/dt = (dα/dt) / (α + ε)ᵐ,

    with ε = (k1/k2)^(1/m) at the begin. While α is small dz/dt lies between k2 and 2·k2, so an error of
    z is an error in time, and with k1 = 0 the course is z = k2·t, the solution that leaves α = 0.
    For all other kinetics z is α itself, and where ε is so wide that steps in α see all of it.
    """

    power: float = 0.0  # m; 0: z is α
    offset: Any = 0.0  # ε
    scale: Any = 1.0  # ε^(1 − m)
    top: Any = 1.0  # z at full cure

    @classmethod
    def of(cls, kinetics: Kinetics, temperature: np.ndarray) -> StepVariable:
        """The variable for kinetics that begin at these temperatures."""
        if not _is_sharp(kinetics):
            return cls()
        first: Any = kinetics.at_begin
        rest = 1.0 - first.power
        with np.errstate(all="ignore"):
            plain, auto = first.constants(temperature)
            offset = np.nan_to_num(np.maximum(plain / auto, 0.0), nan=1.0) ** (1.0 / first.power)
        least = max((0.1 * SEED * rest) ** (1.0 / rest), _TINY)  # z of ε is then below the seed
        if np.all(offset > _WIDE):
            return cls()
        offset = np.clip(offset, least, 1.0)
        scale = offset**rest
        one = cls(first.power, offset, scale)
        one.top = one.value(1.0)
        return one

    @property
    def is_degree(self) -> bool:
        """Whether z is the degree itself."""
        return self.power == 0.0

    def value(self, degree: Number) -> Number:
        """z of a degree of cure."""
        if self.is_degree:
            return degree
        rest = 1.0 - self.power
        seed: Number = self.scale * np.expm1(rest * np.log1p(degree / self.offset)) / rest
        return seed

    def degree(self, value: np.ndarray) -> tuple[Any, ...]:
        """Degree of cure at a value of z, and dα/dz = (α + ε)ᵐ."""
        if self.is_degree:
            return value, 1.0
        rest = 1.0 - self.power
        inside = np.minimum(np.maximum(value, 0.0), self.top) * (rest / self.scale)
        degree = np.minimum(self.offset * np.expm1(np.log1p(inside) / rest), 1.0)  # not rounded above 1
        inside += 1.0
        inside *= self.scale
        return degree, (degree + self.offset) / inside

    def take(self, layers: np.ndarray) -> StepVariable:
        """The variable of some of the layers."""
        if self.is_degree:
            return self
        return StepVariable(self.power, self.offset[layers], self.scale[layers], self.top[layers])


@dataclass(slots=True)
class _State:
    """Rows T − ΔT·α, z and, where solids have their own, temperature of the solids.

    T − ΔT·α, ΔT the adiabatic rise, changes by conduction alone: whatever z does, no heat is lost.
    """

    values: np.ndarray  # (2 or 3, layers)
    lost: np.ndarray  # heat lost by each pour, J/m²


@cache
def _routines() -> tuple[Any, ...]:
    """Banded matrix times vector, factors of a tridiagonal matrix, and its solution (BLAS, LAPACK)."""
    from scipy.linalg import blas, lapack

    return blas.dgbmv, lapack.dgttrf, lapack.dgttrs


def _conduction(
    slabs: _Slabs, above: np.ndarray, heat: np.ndarray, solid: np.ndarray | None, slope: np.ndarray
) -> None:
    """Rows of `slope` for T − ΔT·α and the solids, from the temperature and that above surroundings."""
    dgbmv, _, _ = _routines()
    count = heat.size
    dgbmv(count, count, 1, 1, 1.0, slabs.band, above, beta=0.0, y=slope[0], overwrite_y=1)
    if solid is not None:
        gap = heat - solid
        slope[0] -= slabs.solid * gap
        slope[2] = slabs.back * gap


@dataclass(slots=True)
class _Local:
    """What a step needs to know of the state it starts from, one row each."""

    rows: np.ndarray

    heat = property(lambda self: self.rows[0])  # temperature, K
    degree = property(lambda self: self.rows[1])
    widening = property(lambda self: self.rows[2])  # dα/dz
    rate = property(lambda self: self.rows[3])  # dα/dt
    by_value = property(lambda self: self.rows[4])  # of dz/dt, by z
    by_heat = property(lambda self: self.rows[5])  # of dα/dt, by temperature
    slope = property(lambda self: self.rows[6:])  # of the rows of the state


def _locally(slabs: _Slabs, variable: StepVariable, state: _State) -> _Local:
    values = state.values
    rows = np.zeros((6 + len(values), values.shape[1]))
    degree, widening = variable.degree(values[1])
    heat = slabs.rise * degree
    heat += values[0]
    rate, by_degree, by_heat = slabs.kinetics.slopes(degree, heat)
    if variable.is_degree:
        rows[4], rows[7] = by_degree, rate
    else:
        rows[4] = by_degree - variable.power * rate / (degree + variable.offset)
        rows[7] = rate / widening
    rows[0], rows[1], rows[2], rows[3], rows[5] = heat, degree, widening, rate, by_heat
    _conduction(slabs, heat - slabs.surroundings, heat, values[2] if len(values) > 2 else None, rows[6:])
    return _Local(rows)


def _growth(slabs: _Slabs, local: _Local) -> np.ndarray:
    """Fastest rate at which a layer of each pour feeds itself, without loss of heat, 1/s."""
    return np.maximum.reduceat(local.by_value + slabs.rise * local.by_heat, slabs.first)


def _step(
    slabs: _Slabs, variable: StepVariable, state: _State, local: _Local, step: np.ndarray, tight: float
) -> tuple[Any, ...]:
    """One Rosenbrock step of each pour: new state, error over the tolerance, course between.

    The course is a, b, c for the value old + s·(a + s·(b + s·c)), s from 0 to 1, and its slope and
    value at 1. Where z leaves its range, or α falls, by more than the tolerance, that is an error too.
    """
    _, dgttrf, dgttrs = _routines()
    shorter = 1.0 / slabs.spread(step)
    shift = shorter / _GAMMA
    # z of each layer follows from its temperature: u = (R + z_T·u_T)/(shift − z_z)
    own = 1.0 / (shift - local.by_value)
    coupling = slabs.rise * own
    coupling *= shift
    diagonal = coupling * local.by_heat
    diagonal += slabs.band[1]
    diagonal -= shift
    by_heat = local.by_heat
    warming: Any = slabs.rise  # temperature by z
    if not variable.is_degree:
        warming = slabs.rise * local.widening
        coupling *= local.widening
        by_heat = by_heat / local.widening
    solid: Any = slabs.solid
    solid_back: Any = slabs.back
    solid_own: Any = None
    if solid is not None:
        solid_own = 1.0 / (shift + solid_back)
        diagonal -= solid * shift * solid_own
    np.negative(coupling, coupling)
    factors = dgttrf(slabs.band[2, :-1], diagonal, slabs.band[0, 1:])[:-1]
    shape = state.values.shape
    parts = np.empty((7, *shape))  # the old state and the six stages
    parts[0] = state.values
    flat = parts.reshape(7, -1)
    flows = np.empty((6, shape[1]))  # temperature over the surroundings at each stage
    for stage in range(6):
        if stage == 0:
            right = local.slope
            np.subtract(local.heat, slabs.surroundings, flows[0])
        else:
            values, back = _STAGES[stage].dot(flat[: stage + 1]).reshape(2, *shape)
            degree, widening = variable.degree(values[1])
            heat = slabs.rise * degree
            heat += values[0]
            right = np.zeros(shape)
            rate = slabs.kinetics.rate(degree, heat)
            right[1] = rate if variable.is_degree else rate / widening
            above = np.subtract(heat, slabs.surroundings, flows[stage])
            _conduction(slabs, above, heat, values[2] if len(values) > 2 else None, right)
            back *= shorter
            right += back
        u = parts[stage + 1]
        warmer = coupling * right[1]  # of the temperature
        warmer -= right[0]
        if solid_own is not None:
            warmer -= solid * solid_own * right[2]
        dgttrs(*factors, warmer, overwrite_b=1)
        flows[stage] += warmer
        u_value = np.multiply(by_heat, warmer, u[1])
        u_value += right[1]
        u_value *= own
        np.subtract(warmer, warming * u_value, u[0])
        if solid_own is not None:
            u[2] = (right[2] + solid_back * warmer) * solid_own
    lost = state.lost + step * np.add.reduceat(slabs.face * _FLOWS.dot(flows), slabs.first)
    course = _COURSE.dot(flat).reshape(5, *shape)
    new = course[4]
    value = np.minimum(np.maximum(new[1], state.values[1]), variable.top)
    outside = np.abs(new[1] - value)
    new[1] = value
    error = np.maximum(np.abs(parts[6, 1]), outside) / (tight * _DEGREE)
    error = np.maximum(error, np.abs(warmer) / (tight * _KELVIN))
    error = np.maximum.reduceat(error, slabs.first)
    return _State(new, lost), np.fmin(error, _FAR), course


def _stalls(slabs: _Slabs, old: _Local, new: _Local, step: np.ndarray) -> np.ndarray:
    """How much less than it must the degree of each pour has gone up in a step.

    The least of the rates at both ends, a tenth for what an implicit step does to the last traces.
    """
    least = np.minimum(old.rate, new.rate)
    least *= _LEAST_SHARE * slabs.spread(step)
    least -= new.degree
    least += old.degree
    return np.maximum.reduceat(least, slabs.first)


def _physical(slabs: _Slabs, variable: StepVariable, old: np.ndarray, course: np.ndarray) -> np.ndarray:
    """The course of a step in temperature, degree and temperature of the solids."""
    found = np.empty(course.shape)
    found[:, 2:] = course[:, 2:]
    if variable.is_degree:
        found[:, 1] = course[:, 1]
        np.multiply(slabs.rise, course[:, 1], found[:, 0])
        found[:, 0] += course[:, 0]
        return found
    # z at thirds of the step, and the cubic through the degrees there
    a, b, c = course[:3, 1]
    begin, one, two, three = variable.degree(
        np.array(
            [old[1] + share * (a + share * (b + share * c)) for share in (0.0, 1 / 3, 2 / 3)] + [course[4, 1]]
        )
    )[0]
    one, two, three, end = 3.0 * (one - begin), 1.5 * (two - begin), three - begin, three
    c = 4.5 * (three - 2.0 * two + one)
    b = 3.0 * (two - one) - c
    a = one - b / 3.0 - c / 9.0
    found[:, 1] = a, b, c, a + 2.0 * b + 3.0 * c, end
    np.multiply(slabs.rise, found[:, 1], found[:, 0])
    found[:, 0] += course[:, 0]
    return found


def _hottest(
    slabs: _Slabs, times: np.ndarray, steps: np.ndarray, old: np.ndarray, course: np.ndarray, new: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
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

    def at(layers: np.ndarray) -> np.ndarray:
        a, b, c = course[:3, 0, layers]
        temperature: np.ndarray = old[layers] + share * (a + share * (b + share * c))
        return temperature

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


def _over(slabs: _Slabs, local: _Local, peak: np.ndarray) -> np.ndarray:
    """Whether the peak of each pour is certain: what is left cannot raise it any more."""
    kinetics = slabs.kinetics
    hot = np.maximum.reduceat(local.heat, slabs.first)
    left = np.maximum(kinetics.attainable - local.degree, 0.0)
    gain = np.maximum.reduceat(slabs.rise * left, slabs.first)
    # the fastest that the layers can still react at the highest temperature about, and the
    # steady rise over the surroundings which that could hold up
    warm = np.maximum(hot, _room(slabs))
    fastest = kinetics.fastest(local.degree, warm[slabs.owner])
    power = np.maximum.reduceat(slabs.rise * slabs.capacity * fastest, slabs.first)
    with np.errstate(invalid="ignore"):
        held = power * slabs.resistance
    spent: np.ndarray = (warm + gain < peak) | (gain < _NO_GAIN) | (held < _NOT_HELD)
    return spent


def _room(slabs: _Slabs) -> np.ndarray:
    """Temperature to which each pour tends in the end; −∞ where no heat gets through."""
    open_ = np.add.reduceat(slabs.face, slabs.first) > 0.0
    return np.where(open_, slabs.surroundings[slabs.first], -np.inf)


def _content(slabs: _Slabs, state: _State) -> np.ndarray:
    """Heat held by each pour and yet to come from its reaction, J/m²."""
    held = slabs.capacity * slabs.width
    content = held * state.values[0]
    if slabs.solid is not None:
        content = content + held * slabs.solid / slabs.back * state.values[2]
    return np.add.reduceat(content, slabs.first)


_FINE, _RUNAWAY, _LOST, _UNBALANCED = range(4)  # how a pour ended


@dataclass(slots=True)
class _Run:
    """What a run of many pours gave; a pour with a fault has passed its `peak` and gone on.

    `end` is the time to which a pour was followed; of one that ran away the time when it did so.
    """

    peak: np.ndarray
    time: np.ndarray
    height: np.ndarray
    solid_peak: np.ndarray
    fault: np.ndarray
    end: np.ndarray
    trace: list[Any] = field(default_factory=list)


def _run(
    slabs: _Slabs, begin: np.ndarray, until: np.ndarray | None = None, tight: float = 1.0, trace: bool = False
) -> _Run:
    """All pours to their end: to the time `until`, or till the peak of each is certain.

    `begin` has rows temperature, degree and, where they have their own, temperature of the solids.
    """
    with np.errstate(all="ignore"):  # a step that overflows is a step not taken
        return _run_quietly(slabs, begin, until, tight, trace)


# a time step reads from top to bottom: its state is a dozen arrays that shrink as pours are done, and parts
# of it would each hand most of them to and fro
def _run_quietly(  # noqa: C901
    slabs: _Slabs, begin: np.ndarray, until: np.ndarray | None, tight: float, trace: bool
) -> _Run:
    count = slabs.count
    start = np.maximum.reduceat(begin[0], slabs.first)
    result = _Run(
        start.copy(),
        np.zeros(count),
        np.zeros(count),
        np.full(count, np.nan),
        np.zeros(count, dtype=int),
        np.zeros(count),
    )
    if len(begin) > 2:
        result.solid_peak = np.maximum.reduceat(begin[2], slabs.first)
    variable = StepVariable.of(slabs.kinetics, begin[0])
    values = np.array(begin)
    values[0] -= slabs.rise * begin[1]
    values[1] = variable.value(begin[1])
    if _is_sharp(slabs.kinetics):
        values[1] = np.maximum(values[1], SEED)
    state = _State(values, np.zeros(count))
    pours = np.arange(count)
    times = np.zeros(count)
    local = _locally(slabs, variable, state)
    content = _content(slabs, state)
    released = slabs.capacity * slabs.width * slabs.rise
    unreacted = np.add.reduceat(released * local.degree, slabs.first)
    warming = local.slope[0] + slabs.rise * local.rate
    fastest = np.maximum.reduceat(np.abs(warming), slabs.first)  # K/s
    steps = np.minimum(_BEGIN / np.maximum(fastest, 1e-30), 60.0)
    growth = _growth(slabs, local)
    # a pour has run away when some part has gone half of the way to full cure without loss of heat
    away = np.full(count, np.inf)
    halfway = np.maximum(start, _room(slabs)) + 0.5 * np.maximum.reduceat(slabs.rise, slabs.first)
    if trace:
        result.trace.append((0.0, begin, np.zeros(1), None))
    for _ in range(_MOST_STEPS):
        # a layer that feeds itself: the shift of the implicit step must stay well above its growth
        steps = np.minimum(steps, _GROWTH / np.maximum(growth, 1e-300))
        if until is not None:
            left = until - times
            steps = np.minimum(steps, left)
            ends = steps >= left * (1.0 - 1e-12)
        after, error, course = _step(slabs, variable, state, local, steps, tight)
        good = error <= 1.0
        if np.count_nonzero(good):
            then = _locally(slabs, variable, after)
            error = np.fmin(np.maximum(error, _stalls(slabs, local, then, steps) / (tight * _DEGREE)), _FAR)
            good = error <= 1.0
        taken = np.where(good, steps, 0.0)
        steps = steps * (0.8 * np.maximum(error, 6e-4) ** -0.25)  # times 0.2 to 5.1
        passed = np.count_nonzero(good)
        if not passed:
            continue
        if passed < good.size:
            layers = good[slabs.owner]
            after = _State(
                np.where(layers, after.values, state.values), np.where(good, after.lost, state.lost)
            )
            then = _Local(np.where(layers, then.rows, local.rows))
        before, old, state, local = state, local, after, then
        times = times + taken
        growth = _growth(slabs, local)
        highest = np.maximum(old.heat, local.heat)
        hot = np.maximum.reduceat(highest, slabs.first)
        mad = good & (hot > _HOTTEST)
        first_away = (hot > halfway) & (away[pours] == np.inf)
        away[pours[first_away]] = times[first_away]
        if until is None:
            done = good & (_over(slabs, local, np.maximum(hot, result.peak[pours])) | (times > _LONGEST))
        else:
            done = good & ends
        if np.count_nonzero(mad):
            result.fault[pours[mad]] = _RUNAWAY
            done |= mad
        # a closer look where a layer near the hottest one passes its maximum, or has passed it
        cooler = np.maximum.reduceat(local.heat, slabs.first) < hot
        missed = cooler & (hot > result.peak[pours])
        finished = np.count_nonzero(done)
        passing: Any = hot > result.peak[pours] - 1.0
        near = np.count_nonzero(passing)
        if near or finished or np.count_nonzero(missed):
            shown = _physical(slabs, variable, before.values, course)
        if near:
            passing = (shown[0, 0] > 0.0) & (shown[3, 0] <= 0.0) & (highest > slabs.spread(hot) - 1.0)
        if finished or np.count_nonzero(missed) or np.count_nonzero(passing):
            value, when, height = _hottest(slabs, times - taken, taken, old.heat, shown, local.heat)
            better = good & (value >= result.peak[pours])
            mine = pours[better]
            result.peak[mine], result.time[mine] = value[better], when[better]
            result.height[mine] = height[better]
        if len(begin) > 2:
            result.solid_peak[pours] = np.maximum(
                result.solid_peak[pours], np.maximum.reduceat(state.values[2], slabs.first)
            )
        if trace:
            row = np.array([local.heat, local.degree, *state.values[2:]])
            between = partial(_physical, slabs, variable, before.values, course)
            result.trace.append((float(times[0]), row, state.lost, between))
        if finished:
            mine = pours[done]
            result.end[mine] = np.where(mad, np.minimum(times, away[pours]), times)[done]
            moved = np.add.reduceat(released * local.degree, slabs.first) - unreacted
            gap = np.abs(_content(slabs, state) + state.lost - content)
            held = np.add.reduceat(slabs.capacity * slabs.width, slabs.first)
            wrong = ~(gap <= _BALANCE * (np.abs(moved) + np.abs(state.lost) + held * _KELVIN))
            wrong |= ~np.logical_and.reduceat((local.degree >= 0.0) & (local.degree <= 1.0), slabs.first)
            result.fault[mine] = np.where(wrong[done], _UNBALANCED, result.fault[mine])
            if finished == done.size:
                return result
            keep = ~done
            slabs, layers = slabs.take(keep)
            variable = variable.take(layers)
            state = _State(state.values[:, layers], state.lost[keep])
            local = _Local(local.rows[:, layers])
            released = released[layers]
            pours, times, steps, growth = pours[keep], times[keep], steps[keep], growth[keep]
            content, unreacted, halfway = content[keep], unreacted[keep], halfway[keep]
            if until is not None:
                until = until[keep]
    result.peak[pours] = np.maximum(result.peak[pours], np.maximum.reduceat(local.heat, slabs.first))
    result.end[pours] = np.minimum(times, away[pours])
    hotter = result.peak[pours] > np.maximum(start[pours], _room(slabs)) + _SELF_HEATED
    result.fault[pours] = np.where(hotter, _RUNAWAY, _LOST)
    return result


def _needs_seed(kinetics: Kinetics) -> bool:
    """Whether the reaction never leaves α = 0: k1 is 0, and m 1 or more (or so near that it takes ages)."""
    first = kinetics.at_begin
    return isinstance(first, Kamal) and first.factor == 0.0 and first.power > SEEDLESS


def check_seed(where: str, kinetics: Kinetics, heat: Number, degrees: Number = 0.0) -> None:
    """Refuse a reaction that would stay at α = 0 for want of a seed, which would look like no heat."""
    if _needs_seed(kinetics) and np.any(np.asarray(heat) > 0.0) and np.any(np.asarray(degrees) <= 0.0):
        raise InputError(
            Problem(
                where,
                message="with A1 = 0 and m of 1 or more the reaction never begins at a degree of 0; "
                "it needs a seed",
                fix="give A1 above 0, from a fit that begins at a degree of 0",
                code=NUM,
            )
        )


def _faulty(where: str, fault: int, time: float) -> Problem:
    """What a pour without an answer is told."""
    minutes = time / MINUTE
    after = f"{minutes:.0f} min" if minutes >= 10.0 else f"{minutes:.2g} min"
    if fault == _RUNAWAY:
        return Problem(
            where,
            message=f"the pour {RUNS_AWAY} {after}: what follows is too quick and too hot to compute",
            fix="pour less deep, in shots or colder; " + _CAUTION,
            code=NUM,
        )
    if fault == _UNBALANCED:
        return Problem(
            where,
            message="the heat made and the heat stored and lost do not balance",
            fix="report this pour: no figure is given",
            code=NUM,
        )
    return Problem(
        where,
        message=f"the pour cannot be followed past {after}",
        fix="check the kinetics, the depth and their units",
        code=NUM,
    )


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
    _courses: tuple[Any, ...] = ()

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
        a, b, c = self._courses[place]()[:3]
        change = share * (a + share * (b + share * c))
        heat = self.temperatures[place] + change[0]
        return heat, np.clip(self.degrees[place] + change[1], 0.0, 1.0)


def pour(
    depth: float,
    start: float,
    surroundings: float,
    kinetics: KineticsLike,
    heat: float,
    density: float,
    specific_heat: float,
    conductivity: float,
    film: float = 10.0,
    base: str = "insulated",
    *,
    duration: float | None = None,
    cells: int = 100,
    sinks: Sink | None = None,
    onto: Pour | None = None,
    tolerance: float = 1.0,
) -> Pour:
    """One pour in full, SI units: a slab `depth` deep, or that much more `onto` an earlier pour.

    Without a `duration` it runs until the peak is certain. `sinks` is a `Sink` (cells or inserts in
    the compound); `tolerance` scales the error of a time step (1e-4 K, 5e-7 in the degree).

    >>> from dispense.handbook.cure import NthOrder
    >>> given = (NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25)
    >>> slab = pour(0.02, 296.15, 296.15, *given)
    >>> 0.0 < slab.imbalance < 1e-6
    True
    >>> 296.15 < slab.peak_temperature < 296.15 + 3e5 / 1800.0
    True
    """
    problems = [
        Problem("pour", name, value, "above 0", code=NUM)
        for name, value in (
            ("depth", depth),
            ("density", density),
            ("heat", heat),
            ("specific_heat", specific_heat),
            ("conductivity", conductivity),
            ("start", start),
            ("surroundings", surroundings),
        )
        if not (math.isfinite(value) and (value > 0.0 or (name == "heat" and value == 0.0)))
    ]
    if cells < _FEWEST:
        problems.append(Problem("pour", "cells", cells, f"{_FEWEST} or more", code=NUM))
    if base not in BASES:
        problems.append(Problem("pour", "base", base, "one of " + ", ".join(BASES)))
    if sinks is not None and not 0.0 <= sinks.fraction < 1.0:
        problems.append(Problem("pour", "sinks", sinks.fraction, "a fraction of 0 to below 1"))
    if problems:
        raise InputError(problems)
    kinetics = as_kinetics(kinetics)
    material = [np.array([float(value)]) for value in (heat, density, specific_heat, conductivity, film)]
    slabs = _slabs(
        kinetics,
        cells,
        np.array([float(depth)]),
        np.array([float(surroundings)]),
        material,
        base,
        sinks,
        None if onto is None else onto.widths,
    )
    fresh = np.full(cells, float(start))
    temperatures, degrees, solid = fresh, np.zeros(cells), fresh
    if onto is not None:
        temperatures = np.concatenate([onto.temperatures[-1], fresh])
        degrees = np.concatenate([onto.degrees[-1], degrees])
        below = onto.temperatures if onto.solid_temperatures is None else onto.solid_temperatures
        solid = np.concatenate([below[-1], fresh])
    rows = [temperatures, degrees] if slabs.solid is None else [temperatures, degrees, solid]
    check_seed("pour", kinetics, heat, degrees)
    until = None if duration is None else np.array([float(duration)])
    run = _run(slabs, np.array(rows), until, tolerance, trace=True)
    if run.fault[0] != _FINE:
        raise InputError(_faulty("pour", int(run.fault[0]), float(run.end[0])))
    result = _record(slabs, run)
    if sinks is not None and sinks.exchange is None:
        result.solid_peak = result.peak_temperature
    return result


def _record(slabs: _Slabs, run: _Run) -> Pour:
    """The trace of a run as a record."""
    states = [entry[1] for entry in run.trace]
    temperatures, degrees = (np.array([state[row] for state in states]) for row in (0, 1))
    solids = None if slabs.solid is None else np.array([state[2] for state in states])
    volume_heat = slabs.capacity * slabs.width
    released = (degrees - degrees[0]) @ (volume_heat * slabs.rise)
    stored = (temperatures - temperatures[0]) @ volume_heat
    if solids is not None:
        stored += (solids - solids[0]) @ (volume_heat * slabs.solid / slabs.back)
    courses = tuple(entry[3] for entry in run.trace[1:])
    return Pour(
        np.array([entry[0] for entry in run.trace]),
        np.cumsum(slabs.width) - 0.5 * slabs.width,
        slabs.width,
        temperatures,
        degrees,
        solids,
        float(run.peak[0]),
        float(run.time[0]),
        float(run.height[0]),
        float(run.solid_peak[0]),
        released,
        stored,
        np.array([entry[2][0] for entry in run.trace]),
        courses,
    )


def two_shots(
    first: float,
    second: float,
    wait: float,
    start: float,
    surroundings: float,
    kinetics: KineticsLike,
    heat: float,
    density: float,
    specific_heat: float,
    conductivity: float,
    film: float = 10.0,
    base: str = "insulated",
    **options: Any,
) -> tuple[Pour, Pour]:
    """A pour of depth `first`, and after a wait one of depth `second` on top of it; SI units.

    The second record holds both shots from the second one on; the hotter of the two peaks counts.
    """
    material = (kinetics, heat, density, specific_heat, conductivity, film, base)
    lower = pour(first, start, surroundings, *material, duration=wait, **options)
    return lower, pour(second, start, surroundings, *material, onto=lower, **options)


# ------------------------------------------------------------------------- peaks of many pours

_CELLS = 24  # layers of the coarser of two grids
_LEVELS = 5  # how often both grids may be doubled
_CLOSE = 0.01  # K, change of the extrapolated peak at which the grid is fine enough
_SHARP = 0.003  # the same, as a share of what a peak passes the adiabatic one by
_STEADY, _ASTRAY = 2, 20.0  # the level from which on a change by so many K tells of a front no grid resolves
_SHALLOW, _DEEP = 1e-6, 1.0  # m, range of the search for a depth
_BATCH = 4000  # layers solved together


@dataclass(slots=True)
class _Peaks:
    """Peaks of many pours; of one with a fault, what it had come to at a time and went on from."""

    peak: np.ndarray
    fault: np.ndarray
    time: np.ndarray

    @property
    def answer(self) -> np.ndarray:
        """The peaks, NaN where there is a fault."""
        return np.where(self.fault == _FINE, self.peak, np.nan)

    def above(self, limits: np.ndarray) -> np.ndarray:
        """How far each peak is above a limit: ∞ where it went on above it, NaN where that is not known."""
        lost = np.where(self.peak > limits, np.inf, np.nan)
        return np.where(self.fault == _FINE, self.peak - limits, lost)

    def extrapolated(self, finer: _Peaks) -> _Peaks:
        """To infinitely many layers, from these and from twice as many layers."""
        both = (self.fault == _FINE) & (finer.fault == _FINE)
        better = np.where(both, finer.peak + (finer.peak - self.peak) / 3.0, finer.peak)
        return _Peaks(better, finer.fault.copy(), finer.time.copy())

    def take(self, chosen: np.ndarray) -> _Peaks:
        """Some of them."""
        return _Peaks(self.peak[chosen], self.fault[chosen], self.time[chosen])

    def put(self, chosen: np.ndarray | slice, other: _Peaks) -> None:
        """Others in place of some of them."""
        self.peak[chosen], self.fault[chosen], self.time[chosen] = other.peak, other.fault, other.time


def _peaks_on(cells: int, kinetics: Kinetics, base: str, rows: np.ndarray, tight: float = 1.0) -> _Peaks:
    """Peak temperatures of rows (depth, start, surroundings, heat, …, film) on one grid."""
    count = len(rows)
    found = _Peaks(np.empty(count), np.zeros(count, dtype=int), np.zeros(count))
    size = max(1, _BATCH // cells)
    for begin in range(0, count, size):
        part = rows[begin : begin + size]
        depth, start, surroundings, *material = part.T
        slabs = _slabs(kinetics, np.full(len(part), cells), depth, surroundings, material, base)
        heat = start[slabs.owner]
        run = _run(slabs, np.array([heat, np.zeros_like(heat)]), None, tight)
        found.put(slice(begin, begin + size), _Peaks(np.maximum(run.peak, _room(slabs)), run.fault, run.end))
    return found


def _peaks_at(level: int, kinetics: Kinetics, base: str, rows: np.ndarray) -> _Peaks:
    """Peaks of two grids, the finer with twice the layers, extrapolated to infinitely many."""
    coarse = _peaks_on(_CELLS << level, kinetics, base, rows)
    return coarse.extrapolated(_peaks_on(_CELLS << (level + 1), kinetics, base, rows))


def _peaks(kinetics: Kinetics, base: str, rows: np.ndarray) -> tuple[_Peaks, np.ndarray]:
    """Peaks on a grid fine enough for each row, and the level of that grid."""
    coarse, fine = (_peaks_on(_CELLS << level, kinetics, base, rows) for level in (0, 1))
    peaks = coarse.extrapolated(fine)
    levels = np.zeros(len(rows), dtype=int)
    # a reaction front that runs into a face or another front passes the adiabatic temperature: such a pour
    # is lost, and hundredths of a kelvin are not worth the time; where the grids do not come to agree, the
    # front is thinner than any layer and nothing is known but that it ran away
    adiabatic = np.maximum(rows[:, 1], rows[:, 2]) + rows[:, 3] / rows[:, 5]
    close = np.maximum(_CLOSE, _SHARP * (fine.peak - adiabatic))
    open_ = np.flatnonzero((np.abs(fine.peak - coarse.peak) > close) & (fine.fault == _FINE))
    for level in range(1, _LEVELS + 1):
        if not open_.size:
            break
        finer = _peaks_on(_CELLS << (level + 1), kinetics, base, rows[open_])
        better = fine.take(open_).extrapolated(finer)
        change = np.abs(better.peak - peaks.peak[open_])
        settled = ~(change > close[open_]) | (finer.fault != _FINE)
        astray = ~settled & ((level == _LEVELS) | ((level >= _STEADY) & (change > _ASTRAY)))
        better.fault[astray] = _RUNAWAY
        peaks.put(open_, better)
        fine.put(open_, finer)
        levels[open_] = level
        open_ = open_[~settled & ~astray]
    return peaks, levels


def _rows(*columns: Number) -> tuple[np.ndarray, tuple[int, ...], np.ndarray]:
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
    number(
        "film", "W/(m²·K)", "film coefficient at the free face; 10 is still air", default=10.0, at_least=0
    ),
    choice(
        "base",
        BASES,
        "base: insulated, fixed (held at the surroundings) or film (as the free face)",
        default="insulated",
    ),
)
_EQUATION = "ρ·c·∂T/∂t = ∂/∂x(k·∂T/∂x) + ρ·H·dα/dt, finite volumes through the depth"
_SOURCE = (
    "energy balance of a slab; kinetics as CURE_DEGREE; H. S. Carslaw, J. C. Jaeger, "
    "Conduction of Heat in Solids, 2nd ed. 1959 (limits)"
)
_VALID = (
    "wide, flat pours of one material that fills at once, properties constant; cells and "
    "inserts take up heat and make the true peak lower, corners too"
)
_RULE = "kinetics fitted on small samples, carried to the temperatures of a pour; " + _CAUTION


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("heat", "J/g", "heat of cure per gram of resin", at_least=0),
        number("specific_heat", "J/(g·K)", "specific heat of the compound", above=0),
        number(
            "resin_fraction",
            "",
            "share of the compound's mass that reacts",
            default=1.0,
            at_least=0,
            at_most=1,
        ),
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
)
def adiabatic_rise(heat: Number, specific_heat: Number, resin_fraction: Number = 1.0) -> Number:
    """Temperature rise of a compound that cures without losing heat.

    >>> float(adiabatic_rise(450e3, 1800.0))
    250.0
    """
    return resin_fraction * heat / specific_heat


@workbook_function(
    category="Cure and heat",
    arguments=(number("depth", "mm", "depth of the pour", above=0), _START, _ROOM, KINETICS, *_MATERIAL),
    returns=(out("peak", "°C", "highest temperature anywhere in the pour"),),
    equation=_EQUATION,
    source=_SOURCE,
    valid=_VALID + "; grid and time steps hold about 0.01 K; where a reaction front passes the adiabatic "
    "temperature, 1 % of what it passes it by; a front thinner than any layer counts as a runaway",
    rule=_RULE,
    requires=(COMPLETE,),
    no_answer="the pour runs away, too quick and too hot to compute (by itself it is told when)",
    examples=(
        example(
            (10, 25, 25, [0.02, 0], 300, 1.1, 1.5, 0.25, 0),
            225.0,
            "no heat gets out: 25 + 300/1.5, by hand",
            1e-6,
        ),
        example(
            (40, 23, 23, [1.2e7, 60, None, None, None, 1.5], 300, 1.1, 1.8, 0.25),
            84.50682,
            "method of lines with an implicit solver of a general library, 100 and 200 layers extrapolated",
            2e-6,
        ),
        example((10, 60, 25, [0.02, 0], 0, 1.1, 1.5, 0.25), 60.0, "no heat of cure: it only cools, by hand"),
        example(
            (10, 25, 80, [0.02, 0], 0, 1.1, 1.5, 0.25),
            80.0,
            "no heat of cure: it warms to the surroundings, by hand",
        ),
    ),
    notes=_CAUTION,
)
def peak_temperature(
    depth: Number,
    start: Number,
    surroundings: Number,
    kinetics: KineticsLike,
    heat: Number,
    density: Number,
    specific_heat: Number,
    conductivity: Number,
    film: Number = 10.0,
    base: str = "insulated",
) -> Number:
    """Highest temperature in a pour of potting compound as it cures.

    >>> from dispense.handbook.cure import NthOrder
    >>> slow = NthOrder(1e-3, 0.0)
    >>> round(float(peak_temperature(0.01, 298.15, 298.15, slow, 3e5, 1100.0, 1500.0, 0.25, 0.0)), 3)
    498.15
    """
    rows, shape, place = _rows(depth, start, surroundings, heat, density, specific_heat, conductivity, film)
    kinetics = as_kinetics(kinetics)
    check_seed("PEAK_TEMPERATURE", kinetics, heat)
    peaks, _ = _peaks(kinetics, base, rows)
    if np.all(peaks.fault != _FINE):
        raise InputError(_faulty("PEAK_TEMPERATURE", int(peaks.fault[0]), float(peaks.time[0])))
    answer: Number = peaks.answer[place].reshape(shape)[()]
    return answer


@workbook_function(
    category="Cure and heat",
    arguments=(
        number("limit", "°C", "temperature that no part of the pour may pass", above=-273.15),
        _START,
        _ROOM,
        KINETICS,
        *_MATERIAL,
    ),
    returns=(out("depth", "mm", "deepest pour that stays under the limit"),),
    equation=_EQUATION + "; the depth whose PEAK_TEMPERATURE is the limit",
    source=_SOURCE,
    valid=_VALID + "; the depth at which the modelled peak equals the limit, searched from 0.001 mm to 1 m",
    rule=_RULE,
    requires=(COMPLETE,),
    no_answer="there is no such depth: either the limit is not above the start and the surroundings, "
    "or even the thinnest pour passes it, or any depth stays under the limit (up to 1 m)",
    examples=(
        example(
            (60, 23, 23, [1.2e7, 60, None, None, None, 1.5], 300, 1.1, 1.8, 0.25),
            37.4324304,
            "method of lines with an implicit solver of a general library, 100 and "
            "200 layers extrapolated, and a root finder",
            2e-7,
        ),
    ),
    notes=_CAUTION,
)
def pour_depth(
    limit: Number,
    start: Number,
    surroundings: Number,
    kinetics: KineticsLike,
    heat: Number,
    density: Number,
    specific_heat: Number,
    conductivity: Number,
    film: Number = 10.0,
    base: str = "insulated",
) -> Number:
    """Deepest pour that stays under a temperature limit as it cures.

    >>> from dispense.handbook.cure import NthOrder
    >>> given = (296.15, 296.15, NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25)
    >>> depth = pour_depth(333.15, *given)
    >>> abs(float(peak_temperature(depth, *given)) - 333.15) < 1e-3
    True
    """
    kinetics = as_kinetics(kinetics)
    check_seed("POUR_DEPTH", kinetics, heat)
    rows, shape, place = _rows(limit, start, surroundings, heat, density, specific_heat, conductivity, film)
    depths, reasons = _depths(kinetics, base, rows)
    if np.all(reasons):
        words = f"there is no such depth: {NO_DEPTH[int(reasons[0])]}"
        raise InputError(Problem("POUR_DEPTH", message=words, code=NUM))
    answer: Number = depths[place].reshape(shape)[()]
    return answer


#: Why there is no depth at which the peak is the limit
NO_DEPTH = {
    1: "the limit is not above the start and the surroundings",
    2: "even the thinnest pour passes the limit",
    3: "any depth stays under the limit (up to 1 m)",
    4: "it is not known, since a pour on the way to it cannot be followed",
}
_TOO_LOW, _ALWAYS, _NEVER, _UNKNOWN = NO_DEPTH


def depth_or_reason(
    limit: Number,
    start: Number,
    surroundings: Number,
    kinetics: KineticsLike,
    heat: Number,
    density: Number,
    specific_heat: Number,
    conductivity: Number,
    film: Number = 10.0,
    base: str = "insulated",
) -> tuple[float | None, str]:
    """`pour_depth` of one pour, or None and why there is none; SI units.

    >>> from dispense.handbook.cure import NthOrder
    >>> depth_or_reason(600.0, 296.15, 296.15, NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25)
    (None, 'any depth stays under the limit (up to 1 m)')
    """
    kinetics = as_kinetics(kinetics)
    check_seed("pour_depth", kinetics, heat)
    rows, _, _ = _rows(limit, start, surroundings, heat, density, specific_heat, conductivity, film)
    (depth,), (reason,) = _depths(kinetics, base, rows)
    return (None, NO_DEPTH[int(reason)]) if reason else (float(depth), "")


def _depths(kinetics: Kinetics, base: str, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Depths at which the peak is the limit for rows (limit, start, …), and why there is none."""
    depths, reasons = np.full(len(rows), np.nan), np.full(len(rows), _TOO_LOW)
    open_ = np.flatnonzero(rows[:, 0] > np.maximum(rows[:, 1], rows[:, 2]))
    if open_.size:
        depths[open_], reasons[open_] = _search(kinetics, base, rows[open_, 0], rows[open_, 1:])
    return depths, reasons


def _with_depth(logs: np.ndarray, rest: np.ndarray) -> np.ndarray:
    return np.column_stack([np.exp(logs), rest])


def _search(
    kinetics: Kinetics, base: str, limits: np.ndarray, rest: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Depths at which the peak is the limit: scan, then narrow between two depths."""
    count = len(limits)
    scan = np.linspace(math.log(_SHALLOW), math.log(_DEEP), 13)
    rows = _with_depth(np.tile(scan, count), np.repeat(rest, scan.size, axis=0))
    excess = _peaks_on(_CELLS, kinetics, base, rows).above(np.repeat(limits, scan.size))
    excess = excess.reshape(count, scan.size)
    above = ~(excess <= 0.0)  # a pour that cannot be followed is not one that stays under
    place = above.argmax(axis=1)
    reasons = np.where(above.any(axis=1), np.where(above[:, 0], _ALWAYS, 0), _NEVER)
    reasons[np.isnan(excess[np.arange(count), place])] = _UNKNOWN
    found = np.flatnonzero(reasons == 0)
    answer = np.full(count, np.nan)
    if not found.size:
        return answer, reasons
    limits, rest, place = limits[found], rest[found], place[found]
    # on the coarse grid first, then on the one that the depth needs
    low, high = scan[place - 1], scan[place]
    rough = _narrow(
        lambda logs, mine: _peaks_on(_CELLS, kinetics, base, _with_depth(logs, rest[mine])).above(
            limits[mine]
        ),
        low,
        high,
        1e-3,
    )
    _, levels = _peaks(kinetics, base, _with_depth(rough, rest))
    logs = np.full(found.size, np.nan)
    for level in np.unique(levels):
        mine = np.flatnonzero(levels == level)

        def excess_at(
            logs: np.ndarray, chosen: np.ndarray, level: int = level, mine: np.ndarray = mine
        ) -> np.ndarray:
            own = mine[chosen]
            return _peaks_at(level, kinetics, base, _with_depth(logs, rest[own])).above(limits[own])

        logs[mine] = _narrow(excess_at, rough[mine] - 5e-3, rough[mine] + 5e-3, 1e-10)
    answer[found] = np.exp(logs)
    reasons[found] = np.where(np.isnan(logs), _UNKNOWN, 0)
    return answer, reasons


def _narrow(excess: Callable[..., np.ndarray], low: np.ndarray, high: np.ndarray, close: float) -> np.ndarray:
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
            quick = fa[i] / (fb[i] - fa[i]) * fc[i] / (fb[i] - fc[i]) + (c[i] - a[i]) / (b[i] - a[i]) * fa[
                i
            ] / (fc[i] - fa[i]) * fb[i] / (fc[i] - fb[i])
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


def _initial(kinetics: KineticsLike) -> tuple[float, float]:
    """Factor and energy of the reaction at the begin, where the criteria belong."""
    first: Any = as_kinetics(kinetics).at_begin
    return first.factor, first.energy


def frank_kamenetskii(
    half_thickness: float,
    temperature: float,
    kinetics: KineticsLike,
    heat: float,
    density: float,
    conductivity: float,
    shape: str = "slab",
) -> Runaway:
    """Runaway of a body with faces held at a temperature, no using-up of the reactant; SI units.

    δ = E/(R·T²)·r²·ρ·H·A·exp(−E/RT)/k. A slab with one insulated base counts with its whole depth.
    Kamal–Sourour kinetics enter with k1 only: they may run away below the criterion.
    Source: D. A. Frank-Kamenetskii, 1938; critical values by the Lane–Emden equation.

    >>> from dispense.handbook.cure import NthOrder
    >>> one = frank_kamenetskii(0.01, 296.15, NthOrder(1e6, 6e4), 4e5, 1150.0, 0.2)
    >>> round(one.half_thickness * 1e3, 4), one.runs_away
    (13.3234, False)
    """
    factor, energy = _initial(kinetics)
    per_square = (
        energy
        / (GAS_CONSTANT * temperature**2)
        * density
        * heat
        * factor
        * math.exp(-energy / (GAS_CONSTANT * temperature))
        / conductivity
    )
    critical = CRITICAL_DELTA.get(shape)
    if critical is None:
        raise InputError(Problem("frank_kamenetskii", "shape", shape, "one of " + ", ".join(CRITICAL_DELTA)))
    limit = math.sqrt(critical / per_square) if per_square > 0.0 else math.inf
    return Runaway(per_square * half_thickness**2, critical, limit)


def semenov(
    volume: float,
    area: float,
    film: float,
    temperature: float,
    kinetics: KineticsLike,
    heat: float,
    density: float,
) -> tuple[float, float]:
    """Semenov's number of a well-mixed body (runaway above 1/e = 0.368) and the critical rise, K.

    ψ = ρ·V·H·k(T)·E/(h·S·R·T²); the rise solves E·(T_c − T) = R·T_c². Source: N. N. Semenov, 1928.
    The rise is NaN where E is below 4·R·T, and nothing runs away.

    >>> from dispense.handbook.cure import NthOrder
    >>> _, rise = semenov(1e-3, 0.06, 10.0, 296.15, NthOrder(1e6, 6e4), 4e5, 1150.0)
    >>> round(rise, 6)
    13.266951
    """
    factor, energy = _initial(kinetics)
    rate = factor * math.exp(-energy / (GAS_CONSTANT * temperature))
    number = density * volume * heat * rate * energy / (film * area * GAS_CONSTANT * temperature**2)
    inside = 1.0 - 4.0 * GAS_CONSTANT * temperature / energy if energy > 0.0 else -1.0
    if inside < 0.0:
        return number, math.nan
    critical = energy / (2.0 * GAS_CONSTANT) * (1.0 - math.sqrt(inside))
    return number, critical - temperature


def time_to_maximum_rate(
    temperature: float, kinetics: KineticsLike, heat: float, specific_heat: float
) -> float:
    """Time from a fresh mix to the greatest rate of an adiabatic body, by the full kinetics, s.

    TMR = ∫ dα/(dα/dt) from 0 to the degree at which dα/dt along T = T₀ + α·H/c is greatest. It is infinite
    where nothing begins, and 0 where the rate is greatest at the start: such a body never quickens. For
    one reaction of high energy its first term is c·R·T₀²/(H·k(T₀)·E).

    >>> from dispense.handbook.cure import NthOrder
    >>> round(time_to_maximum_rate(296.15, NthOrder(1e6, 6e4), 4e5, 1800.0) / 3600, 4)
    0.6868
    """
    law, rise = as_kinetics(kinetics), heat / specific_heat
    if not rise > 0.0 or _needs_seed(law):
        return math.inf

    def rate(degree: Number) -> np.ndarray:
        return law.rate(degree, temperature + rise * degree)

    grid = np.linspace(0.0, law.attainable, _DEGREES)
    rates = rate(grid)
    place = int(np.argmax(rates))
    if not rates[place] > 0.0:
        return math.inf
    most, last = rates[place], float(grid[place])
    while grid[1] - grid[0] > _SAME_DEGREE:
        grid = np.linspace(grid[max(place - 1, 0)], grid[min(place + 1, grid.size - 1)], _CLOSER)
        closer = rate(grid)
        place = int(np.argmax(closer))
        most, last = max(most, closer[place]), float(grid[place])
    if most <= rates[0]:
        return 0.0
    # a rate that begins with α^m has no slope at 0: panels of a decade each, the first from the seed where
    # a table of rates begins at 0
    is_seeded = rates[0] == 0.0 and not isinstance(law.at_begin, Kamal)
    first = SEED if is_seeded else last * 10.0**-_DECADES
    edges = np.geomspace(first, last, max(2, math.ceil(math.log10(last / first)) + 1))
    if not is_seeded:
        edges = np.concatenate([[0.0], edges])
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    half = 0.5 * np.diff(edges)[:, None]
    degrees = edges[:-1, None] + half * (1.0 + nodes)
    with np.errstate(divide="ignore"):
        return float(np.sum(half * weights / rate(degrees)))


__all__ = [
    "BASES",
    "CRITICAL_DELTA",
    "NO_DEPTH",
    "NthOrder",
    "Pour",
    "Runaway",
    "SEED",
    "Sink",
    "StepVariable",
    "adiabatic_rise",
    "check_seed",
    "depth_or_reason",
    "frank_kamenetskii",
    "peak_temperature",
    "pour",
    "pour_depth",
    "semenov",
    "time_to_maximum_rate",
    "two_shots",
]
