"""Heat of reacting boxes: one time step after the other, no heat lost between them.

Boxes (finite volumes) have a heat capacity, a heat of full cure, links to each other and films to the
air. A step first carries the degree of cure along the temperature that a box is heading for, then
conducts with exactly the heat that was set free:

    α: Runge–Kutta 4 of dα/dt = f(α, T₀ + (Q/C)·(α − α₀) + D·τ), D the conduction of the last step, K/s
    C·(T₁ − T₀)/Δt + A·(θ·T₁ + (1 − θ)·T₀) = F + Q·(α₁ − α₀)/Δt

with θ = 1 in the first steps of a stage, then ½. Without conduction T − T₀ = (Q/C)·(α − α₀) to round-off.
Steps are powers of two of one unit, so that few matrices are factored.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..base.errors import NUM, InputError, Problem
from ..base.numbers import Floats
from .cure import Kinetics
from .heat import SEED, StepVariable

Places = NDArray[np.intp]

_DEGREE = 0.03  # change of a degree in one step that is aimed at
_KELVIN = 2.4  # K, the same of a temperature
_REDO, _HALVE, _DOUBLE = 2.5, 1.0, 0.4  # shares of these at which a step is made again, halved, doubled
_BACKWARD = 4  # first steps of a stage, with θ = 1
_FIRST_STEP = 0.5  # s
_SHORTEST_STEP = 1e-3  # s; what needs shorter ones has run away
_FEW_ROUNDS = 400  # of conjugate gradients
_CLOSE = 2e-3  # of the residual that a step begins with
_CLOSE_KELVIN = 3e-4  # K, root mean square over the heat capacity: closer need no solution be
_SETTLED = 1e-7  # change of a degree in a step below which one stage of Runge–Kutta is enough
_OUTSIDE = 1e-6  # K past the bounds that a step may not leave


@dataclass(slots=True)
class Boxes:
    """Finite volumes of one stage: SI units, one entry for each box or link."""

    capacity: Floats  # J/K
    release: Floats  # heat of full cure, J
    first: Places  # boxes that a link joins
    second: Places
    link: Floats  # W/K
    film: Floats  # to the air, W/K
    in_columns: bool = False  # they follow each other upward: conjugate gradients; else factored

    def matrix(self) -> Any:
        """Conduction and films, W/K."""
        from scipy.sparse import coo_matrix

        size = self.capacity.size
        diagonal = self.film.copy()
        np.add.at(diagonal, self.first, self.link)
        np.add.at(diagonal, self.second, self.link)
        every = np.arange(size)
        rows = np.concatenate([every, self.first, self.second])
        columns = np.concatenate([every, self.second, self.first])
        values = np.concatenate([diagonal, -self.link, -self.link])
        return coo_matrix((values, (rows, columns)), shape=(size, size)).tocsc()


@dataclass(slots=True)
class HeatBalance:
    """Heat since the begin, J: set free, stored, given off."""

    released: float = 0.0
    stored: float = 0.0
    lost: float = 0.0
    moved: float = 0.0  # what went through films either way

    @property
    def residual(self) -> float:
        """What is missing, as a share of the heat set free and moved."""
        scale = self.released + self.moved
        return abs(self.released - self.stored - self.lost) / scale if scale > 0.0 else 0.0


@dataclass(slots=True)
class March:
    """Temperatures [K] and degrees of boxes on their way through the stages."""

    kinetics: Kinetics
    air: float
    strictness: float = 1.0  # longer steps above 1
    balance: HeatBalance = field(default_factory=HeatBalance)
    steps: int = 0

    def run(
        self,
        boxes: Boxes,
        temperature: Floats,
        degree: Floats,
        duration: float,
        watch: Callable[[float, Floats, Floats], bool],
    ) -> tuple[Floats, Floats]:
        """Temperatures and degrees after one stage; `watch(time, …)` sees each step and may end it."""
        matrix = boxes.matrix()
        solve = (_Gradients if boxes.in_columns else _Direct)(matrix, boxes)
        reacting = np.flatnonzero(boxes.release > 0.0)
        rise = boxes.release[reacting] / boxes.capacity[reacting]
        lowest = min(float(temperature.min()), self.air) - _OUTSIDE
        variable = StepVariable.of(self.kinetics, temperature[reacting])
        power = max(0, math.ceil(math.log2(duration / _SHORTEST_STEP)))
        unit, last = duration / 2**power, 2**power
        level = min(power, max(0, math.floor(math.log2(_FIRST_STEP / unit))))
        drift = np.zeros(reacting.size)
        push, now, made = boxes.film * self.air, 0, 0
        flow = matrix @ temperature
        while now < last:
            step = unit * 2**level
            old_degree, old_heat = degree[reacting], temperature[reacting]
            new_degree = _react(self.kinetics, variable, old_degree, old_heat, rise, drift, step)
            change = np.zeros_like(temperature)
            change[reacting] = new_degree - old_degree
            heat = boxes.release * change
            own, gained = heat / boxes.capacity, push * step + heat - step * flow
            theta = 1.0 if made < _BACKWARD else 0.5
            new = solve(level, step, theta, temperature, gained, own)
            highest = max(float(temperature.max()), self.air) + float(own.max())
            if theta < 1.0 and (new.min() < lowest or new.max() > highest + _OUTSIDE):
                theta = 1.0
                new = solve(level, step, theta, temperature, gained, own)
            cured = float(np.max(change, initial=0.0)) / _DEGREE / self.strictness
            size = max(cured, float(np.abs(new - temperature).max()) / _KELVIN / self.strictness)
            if size > _REDO and level > 0:
                level -= 1
                continue
            if cured > _REDO:  # what conducts as quickly is a jump where warm meets cold, and soon over
                raise InputError(_too_quick(unit * now))
            self._account(boxes, temperature, new, heat, theta, step)
            drift = (new[reacting] - old_heat - rise * (new_degree - old_degree)) / step
            degree = degree.copy()
            degree[reacting] = new_degree
            temperature, flow = new, matrix @ new
            now += 2**level
            made += 1
            self.steps += 1
            if watch(unit * now, temperature, degree):
                break
            level = _next_level(level, size, now, last)
        return temperature, degree

    def _account(
        self, boxes: Boxes, old: Floats, new: Floats, heat: Floats, theta: float, step: float
    ) -> None:
        lost = boxes.film * (theta * new + (1.0 - theta) * old - self.air) * step
        self.balance.released += float(heat.sum())
        self.balance.stored += inner_product(boxes.capacity, new - old)
        self.balance.lost += float(lost.sum())
        self.balance.moved += float(np.abs(lost).sum())


def _next_level(level: int, size: float, now: int, last: int) -> int:
    """Power of two of the next step: doubled on even times only, so that all ends are met."""
    if size > _HALVE:
        return max(0, level - 1)
    longer = 2 ** (level + 1)
    if size < _DOUBLE and now % longer == 0 and now + longer <= last:
        return level + 1
    while now + 2**level > last:
        level -= 1
    return level


def _react(
    kinetics: Kinetics,
    variable: StepVariable,
    degree: Floats,
    temperature: Floats,
    rise: Floats,
    drift: Floats,
    step: float,
) -> Floats:
    """Degrees after a step in which conduction goes on as before and the reaction heats its box."""

    def slope(value: Floats, time: float) -> Floats:
        now, widening = variable.degree(value)
        now = np.minimum(now, 1.0)
        rate: Floats = kinetics.rate(now, temperature + rise * (now - degree) + drift * time)
        pace: Floats = rate / widening
        return pace

    begin = np.asarray(variable.value(degree))
    if not variable.is_degree:
        begin = np.maximum(begin, SEED)
    one = slope(begin, 0.0)
    if not variable.is_degree or float(np.max(one, initial=0.0)) * step > _SETTLED:
        two = slope(begin + 0.5 * step * one, 0.5 * step)
        three = slope(begin + 0.5 * step * two, 0.5 * step)
        four = slope(begin + step * three, step)
        one = (one + 2.0 * (two + three) + four) / 6.0
    after, _ = variable.degree(begin + step * one)
    held: Floats = np.minimum(np.maximum(after, degree), 1.0)
    return held


class _Direct:
    """Solutions by factoring, once for each length of step."""

    def __init__(self, matrix: Any, boxes: Boxes):
        self.matrix, self.capacity = matrix, boxes.capacity
        self.factors: dict[tuple[int, float], Any] = {}

    def __call__(
        self, level: int, step: float, theta: float, temperature: Floats, gained: Floats, own: Floats
    ) -> Floats:
        """T₁ from (C + θ·Δt·A)·(T₁ − T₀) = gained."""
        key = level, theta
        if key not in self.factors:
            from scipy.sparse import diags
            from scipy.sparse.linalg import splu

            whole = diags(self.capacity, format="csc") + theta * step * self.matrix
            self.factors[key] = splu(
                whole, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
            )
        warmed: Floats = temperature + self.factors[key].solve(gained)
        return warmed


def inner_product(one: Floats, other: Floats) -> float:
    """Sum of products; not by BLAS, whose threads wait for each other on rows as short as these."""
    return float(np.einsum("i,i->", one, other))


class _Gradients:
    """Solutions by conjugate gradients; what is left of the balance is spread over all boxes.

    Preconditioned by the columns on their own (tridiagonal): cells conduct best along their axis.

    Rows add up to capacity and films, so that one shift of all temperatures makes the residuals add up
    to nothing: the heat balance closes however early the iteration ends.
    """

    def __init__(self, matrix: Any, boxes: Boxes):
        self.matrix, self.capacity = matrix, boxes.capacity
        self.factors: dict[tuple[int, float], Any] = {}
        self.drift: Floats = np.zeros_like(self.capacity)  # K/s by conduction in the last step
        self.all_films = float(boxes.film.sum())
        self.all_capacity = float(boxes.capacity.sum())

    def __call__(
        self, level: int, step: float, theta: float, temperature: Floats, gained: Floats, own: Floats
    ) -> Floats:
        """T₁ from (C + θ·Δt·A)·(T₁ − T₀) = gained."""
        from scipy.linalg import lapack
        from scipy.sparse import diags

        part = theta * step
        if (level, theta) not in self.factors:
            whole = (diags(self.capacity, format="csc") + part * self.matrix).tocsr()
            columns = lapack.dpttrf(whole.diagonal(), whole.diagonal(1))
            self.factors[level, theta] = whole, *columns[:2]
        whole, diagonal, upward = self.factors[level, theta]

        def corrected(residual: Floats) -> Floats:
            solved: Floats = lapack.dpttrs(diagonal, upward, residual)[0]
            return solved

        change = own + step * self.drift  # as in the last step
        residual = gained - whole @ change
        close = _CLOSE**2 * inner_product(gained, corrected(gained))
        close = max(close, _CLOSE_KELVIN**2 * self.all_capacity)
        towards = corrected(residual)
        direction = towards.copy()
        size = inner_product(residual, towards)
        for _ in range(_FEW_ROUNDS):
            if size <= close:
                break
            ahead = whole @ direction
            length = size / inner_product(direction, ahead)
            change += length * direction
            residual -= length * ahead
            towards = corrected(residual)
            before, size = size, inner_product(residual, towards)
            direction *= size / before
            direction += towards
        change += float(residual.sum()) / (self.all_capacity + part * self.all_films)
        self.drift = (change - own) / step
        return temperature + change


def _too_quick(time: float) -> Problem:
    return Problem(
        "pack",
        message=f"the pour runs away after {time / 60.0:.2g} min: what follows is too quick to compute",
        fix="pour less at once or colder; a runaway pour can burn, smoke and vent cells",
        code=NUM,
    )


__all__ = ["Boxes", "HeatBalance", "March", "Places", "inner_product"]
