"""Temperatures through the day, and what ages along them: own quadrature, nothing of the planner."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from .handbook import GAS, ZERO, arrhenius
from .reading import clock

DAY = 86400.0
STEP = 15.0  # s between the nodes of the running integral


class Day:
    """A record that repeats every day, linear between its rows; or one temperature."""

    def __init__(self, times: tuple, values: tuple, humidities: tuple, steady_humidity: float):
        self.times, self.values, self.humidities = times, values, humidities
        self.steady_humidity = steady_humidity

    @classmethod
    def of(cls, plant, station) -> Day:
        """The record that a station names, else its one temperature."""
        rows = [row for row in plant.temperatures if row.record == station.record]
        if not rows:
            return _day((0.0,), (station.shop_temperature,), (None,), station.humidity)
        return _day(
            tuple(clock(row.time) for row in rows),
            tuple(row.temperature for row in rows),
            tuple(row.humidity for row in rows),
            station.humidity,
        )

    def _linear(self, values: tuple, at):
        times = np.array([t + d * DAY for d in (-1, 0, 1) for t in self.times])
        return np.interp(np.mod(at, DAY), times, np.array([*values] * 3, dtype=float))

    def temperature(self, at):
        """°C at clock seconds, number or array."""
        if len(self.times) == 1:
            return self.values[0] + 0.0 * np.asarray(at)
        return self._linear(self.values, at)

    def humidity(self, at):
        """Relative humidity at clock seconds: of the record where it has one, else the station's."""
        if self.humidities[0] is None:
            return self.steady_humidity + 0.0 * np.asarray(at)
        if len(self.times) == 1:
            return self.humidities[0] + 0.0 * np.asarray(at)
        return self._linear(self.humidities, at)

    @property
    def coldest(self) -> float:
        """Of the whole record."""
        return min(self.values)

    @property
    def hottest(self) -> float:
        """Of the whole record."""
        return max(self.values)

    def between(self, start: float, end: float) -> tuple[float, float]:
        """Coldest and hottest hour of a shift: its ends, and the rows inside."""
        if len(self.times) == 1:
            return self.values[0], self.values[0]
        found = [float(self.temperature(start)), float(self.temperature(end))]
        for day in (-1, 0, 1, 2):
            found += [
                value
                for time, value in zip(self.times, self.values, strict=True)
                if start < time + day * DAY < end
            ]
        return min(found), max(found)


@functools.cache
def _day(*facts: Any) -> Day:
    return Day(*facts)


def energy_of(material) -> float | None:
    """kJ/mol: stated, or the slope of ln(life) over 1/T between two data-sheet points."""
    if material.activation_energy is not None:
        return material.activation_energy
    if material.pot_life and material.pot_life_2:
        t1, t2 = material.pot_life_temperature + ZERO, material.pot_life_temperature_2 + ZERO
        return GAS / 1000 * math.log(material.pot_life / material.pot_life_2) / (1 / t1 - 1 / t2)
    return None


def life_at(life: float, t_ref: float, material, t: float) -> float:
    """A life [s] at t °C: Arrhenius where an energy is known, else halving every so many kelvin."""
    energy = energy_of(material)
    if energy is None:
        return life * 2.0 ** ((t_ref - t) / material.halving_step)
    return arrhenius(life, energy, t, t_ref)


class Ageing:
    """∫ rate dt from a time on, and when it comes to a share; Simpson's rule on fixed nodes."""

    def __init__(
        self, rate: Callable[[np.ndarray], np.ndarray], start: float, end: float, step: float = STEP
    ):
        count = math.ceil((end - start) / step)
        self.nodes = start + np.arange(count + 1) * step
        middles = self.nodes[:-1] + step / 2
        ends, between = rate(self.nodes), rate(middles)
        areas = step / 6 * (ends[:-1] + 4 * between + ends[1:])
        self.sums = np.concatenate([[0.0], np.cumsum(areas)])
        self.rate = rate
        self.start, self.step = start, step

    def sum(self, at: float) -> float:
        """∫ from the first node."""
        place = min(max(int((at - self.start) // self.step), 0), len(self.nodes) - 2)
        left = float(self.nodes[place])
        wide = at - left
        inside = self.rate(np.array([left, left + wide / 2, at]))
        return float(self.sums[place] + wide / 6 * (inside[0] + 4 * inside[1] + inside[2]))

    def used(self, start: float, end: float) -> float:
        """Share used between two times."""
        return self.sum(end) - self.sum(start)

    def when(self, start: float, share: float = 1.0) -> float:
        """Time at which the share is used: Newton's rule from the node before it."""
        goal = self.sum(start) + share
        place = int(np.searchsorted(self.sums, goal, side="right")) - 1
        if place >= len(self.nodes) - 1:
            raise AssertionError("the record is too short")
        at = float(self.nodes[place])
        for _ in range(8):
            at += (goal - self.sum(at)) / float(self.rate(np.array([at]))[0])
        return at


@functools.cache
def room_ageing(
    day: Day, life: float, t_ref: float, energy: float | None, halving: float, days: int = 5
) -> Ageing:
    """A data-sheet time played along the shop's temperature."""

    def rate(at: np.ndarray) -> np.ndarray:
        t = day.temperature(at)
        if energy is None:
            return np.exp2((t - t_ref) / halving) / life
        return np.exp(energy * 1000 / GAS * (1 / (t_ref + ZERO) - 1 / (t + ZERO))) / life

    return Ageing(rate, -DAY, days * DAY)


# ---------------------------------------------------------------------------------- water in the air


def vapour_density(t, humidity):
    """kg/m³ of water in air: ρ = RH·e_s/(R_v·T), Magnus e_s = 611.2·exp(17.62 t/(243.12 + t)) Pa.

    Coefficients of WMO guide no. 8 (2008), annex 4.B; R_v = 461.5 J/(kg·K).
    """
    pressure = 611.2 * np.exp(17.62 * t / (243.12 + t))
    return humidity * pressure / (461.5 * (t + ZERO))


@functools.cache
def moisture_ageing(day: Day, t_ref: float, stated: float, energy: float) -> Ageing:
    """Seconds on the data sheet that go by along the weather: how much quicker depth² grows.

    Steady diffusion through the cured skin: d(z²)/dt goes with the water at the face (Comyn, Int. J.
    Adhesion & Adhesives 18 (1998) 247); the permeability with an energy [kJ/mol] where one is stated.
    """

    def factor(at: np.ndarray) -> np.ndarray:
        t = day.temperature(at)
        water = vapour_density(t, day.humidity(at)) / vapour_density(t_ref, stated)
        return water * np.exp(-energy * 1000 / GAS * (1 / (t + ZERO) - 1 / (t_ref + ZERO)))

    return Ageing(factor, -DAY, 14 * DAY, 60.0)


class Skin:
    """Open time [s at the data sheet's climate] of what cures with moisture."""

    def __init__(self, ageing: Ageing, time: float):
        self.ageing, self.time = ageing, time

    @classmethod
    def of(cls, day: Day, material: Any) -> Skin:
        """Along the weather of a station."""
        energy = material.moisture_energy or 0.0
        ageing = moisture_ageing(day, material.cure_temperature, material.moisture_humidity, energy)
        return cls(ageing, material.open_time)

    def when(self, start: float) -> float:
        """When it is over."""
        return self.ageing.when(start, self.time)


# --------------------------------------------------------------------------------------------- oven


@functools.cache
def oven_temperature(times: tuple[float, ...], air: tuple[float, ...], lag: float, start: float):
    """Times and temperatures of a part that follows the air, τ·dT/dt = T_air − T: own stepping.

    Between two rows the air is a line; the exact step of a linear equation over a tenth of a second
    would do, here 4th-order Runge–Kutta at a second.
    """
    step = 1.0
    nodes = np.arange(0.0, times[-1] + step / 2, step)
    at = np.interp(nodes, times, air)
    middle = np.interp(nodes + step / 2, times, air)
    found = np.empty_like(nodes)
    found[0] = part = start
    for row in range(len(nodes) - 1):
        k1 = (at[row] - part) / lag
        k2 = (middle[row] - part - step / 2 * k1) / lag
        k3 = (middle[row] - part - step / 2 * k2) / lag
        k4 = (at[row + 1] - part - step * k3) / lag
        part += step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        found[row + 1] = part
    return nodes, found


def oven_milestone(nodes: np.ndarray, part: np.ndarray, life: float, material) -> float:
    """Seconds from the start of the schedule until a data-sheet time is used up; the last
    temperature holds on after it."""
    energy, t_ref = energy_of(material), material.cure_temperature

    def rate(at: np.ndarray) -> np.ndarray:
        t = np.interp(at, nodes, part)
        if energy is None:
            return np.exp2((t - t_ref) / material.halving_step) / life
        return np.exp(energy * 1000 / GAS * (1 / (t_ref + ZERO) - 1 / (t + ZERO))) / life

    end = float(nodes[-1])
    ageing = Ageing(rate, 0.0, end, 1.0)
    done = ageing.used(0.0, end)
    if done >= 1.0:
        return ageing.when(0.0)
    return end + (1.0 - done) / float(rate(np.array([end]))[0])
