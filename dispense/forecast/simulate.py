"""Many futures of what each material draws, and which input drives the spread.

Each future draws, independently of each other:
- demand: one factor a day for all builds of the day (lognormal, mean 1, `demand_spread`);
- temperature: one offset a day for the whole shop (normal, `temperature_spread`);
- scrap: the parts lost before the good ones are made, shift by shift (negative binomial);
- volume: one error a station for the whole of a future, since a drawing's and a meter's error stays.
  Each tolerance counts as rectangular, standard uncertainty half width/√3 (JCGM 100:2008, 4.3.7);
  the sum of several is taken as normal, with its own width up and down.

One material is drawn at a time, so memory holds futures × days of one material and no more.
"""

from __future__ import annotations

import math
import zlib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .response import Occurrence, Response

DRIVERS = ("demand", "scrap", "temperature", "volume")
DRIVER_DRAWS = 500  # futures that the shares of the drivers are computed from
_ROOT_3 = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Futures:
    """What is drawn for the whole line: a row for each day, a column for each future."""

    seed: int
    demand: np.ndarray
    temperature: np.ndarray

    @classmethod
    def draw(cls, settings, seed: int, draws: int, days: int) -> Futures:
        """Day by day demand and temperature."""
        spread, kelvin = settings["demand_spread"], settings["temperature_spread"]
        width = math.sqrt(math.log1p(spread**2))
        noise = np.random.default_rng([seed, 1]).standard_normal((days, draws))
        offset = np.random.default_rng([seed, 2]).standard_normal((days, draws))
        return cls(seed, np.exp(width * noise - 0.5 * width**2), kelvin * offset)

    @property
    def count(self) -> int:
        """Number of futures."""
        return self.demand.shape[1]

    def station(self, name: str, *shift: int) -> np.random.Generator:
        """The generator of one station or of one of its distinct shifts, whatever else is drawn.

        Each day of a shift is drawn after the one before, so that more weeks change none of the first.
        """
        return np.random.default_rng([self.seed, 3, zlib.crc32(name.encode()), *shift])


@dataclass(frozen=True, slots=True)
class Drawn:
    """Mixed volume of one material [nL] by future and day, and the spread's drivers.

    `shares` are the covariance of the total with what each driver does alone, over the variance of
    the total; `together` is what they do only in company. All five add up to 1. `volume_sd` is the
    standard deviation of the total from the volume alone, as a share of the mean.
    """

    days: np.ndarray
    shares: dict[str, float]
    together: float
    volume_sd: float


def draw_material(
    stations: Sequence[str],
    shifts: Sequence[Occurrence],
    scraps: Sequence[float],
    responses: Sequence[Response],
    place_of: dict,
    futures: Futures,
) -> Drawn:
    """All futures of a material: the shifts that use it, at these stations.

    `scraps` are the shares lost of each distinct shift, `place_of` numbers the dates.
    """
    few = min(futures.count, DRIVER_DRAWS)
    total = np.zeros(futures.demand.shape)
    alone = {driver: np.zeros(few) for driver in DRIVERS}
    for station in stations:
        mine: dict[int, list[int]] = defaultdict(list)
        for item in shifts:
            if item.station == station:
                mine[item.key].append(place_of[item.date])
        error = futures.station(station).standard_normal(futures.count) / _ROOT_3
        for key in sorted(mine, key=lambda key: (mine[key], key)):
            days = np.array(mine[key])
            answer, scrap = responses[key], scraps[key]
            lost = np.zeros((len(days), futures.count))
            if scrap and answer.good:
                rng = futures.station(station, key)
                lost += rng.negative_binomial(answer.good, 1.0 - scrap, lost.shape)
            noise = {
                "demand": futures.demand[days],
                "scrap": lost,
                "temperature": futures.temperature[days],
                "volume": error,
            }
            total[days] += _volume(answer, *noise.values())
            calm = {"demand": 1.0, "scrap": answer.lost, "temperature": 0.0, "volume": 0.0}
            for driver in DRIVERS:
                volume = _volume(answer, *{**calm, driver: noise[driver][..., :few]}.values())
                alone[driver] += np.broadcast_to(volume, (len(days), few)).sum(axis=0)
    return _with_shares(np.ascontiguousarray(total.T), alone, few)


def _volume(answer: Response, demand, lost, temperature, error) -> np.ndarray:
    load = answer.expected * demand * (answer.good + lost) / (answer.good + answer.lost)
    scaled, fixed = answer.at(load, temperature)
    return scaled * (1.0 + np.where(error > 0.0, answer.up, answer.down) * error) + fixed


def _with_shares(total: np.ndarray, alone: dict[str, np.ndarray], few: int) -> Drawn:
    whole = total[:few].sum(axis=1)
    centred = whole - whole.mean()
    variance = float(centred @ centred)
    if variance <= (1e-9 * max(abs(float(whole.mean())), 1.0)) ** 2:
        return Drawn(total, dict.fromkeys(DRIVERS, 0.0), 0.0, 0.0)
    shares = {driver: float(centred @ (each - each.mean())) / variance for driver, each in alone.items()}
    mean = float(whole.mean())
    volume_sd = float(alone["volume"].std()) / mean if mean else 0.0
    return Drawn(total, shares, 1.0 - math.fsum(shares.values()), volume_sd)


__all__ = ["DRIVERS", "Drawn", "Futures", "draw_material"]
