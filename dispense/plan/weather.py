"""The air at a station: temperature and humidity through a day that repeats itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..base.units import DAY
from ..handbook.flow import viscosity
from .records import Plan
from .rows import Material, Station, TemperaturePoint

RECORD_DAYS = 15  # a temperature record is repeated this often, for cures that last days


@dataclass(frozen=True, slots=True)
class Weather:
    """One day: times [s], temperatures [K], relative humidities, linear between the points."""

    times: list[float]
    temperatures: list[float]
    humidities: list[float]

    @property
    def mean_temperature(self) -> float:
        """Mean of the day [K]."""
        return self._mean(self.temperatures)

    @property
    def mean_humidity(self) -> float:
        """Mean of the day."""
        return self._mean(self.humidities)

    def _mean(self, values: list[float]) -> float:
        if min(values) == max(values):
            return values[0]
        times = [*self.times, self.times[0] + DAY]
        return float(np.trapezoid([*values, values[0]], times) / DAY)


def shop_weather(plan: Plan, station: Station) -> Weather:
    """The day of a station's record; the station's own figures stand where the record has none."""
    if not station.record:
        return Weather([0.0], [station.shop_temperature], [station.humidity])
    rows = sorted(plan.group(TemperaturePoint, "record")[station.record], key=lambda row: row.time)
    return Weather(
        [row.time for row in rows],
        [row.temperature for row in rows],
        [station.humidity if row.humidity is None else row.humidity for row in rows],
    )


def shop_record(plan: Plan, station: Station) -> tuple[list[float], list[float]]:
    """Temperature at a station [K] against clock seconds, repeated day by day; kept with the plan."""
    known: dict[tuple[str, float], tuple[list[float], list[float]]] = plan.kept("shop records")
    key = (station.record, station.shop_temperature)
    if key not in known:
        weather = shop_weather(plan, station)
        times, temperatures = weather.times, weather.temperatures
        if len(times) == 1:
            known[key] = [0.0], temperatures
        else:
            starts = [day * DAY for day in range(-1, RECORD_DAYS)]
            known[key] = [time + start for start in starts for time in times], temperatures * len(starts)
    return known[key]


def between(record: tuple[list[float], list[float]], start: float, end: float) -> list[float]:
    """Temperatures of a record from a clock time to a later one [K], ends interpolated.

    >>> between(([0.0, 3600.0], [290.0, 300.0]), 1800.0, 5400.0)
    [295.0, 300.0, 300.0]
    """
    times, values = record
    if len(times) == 1:
        return list(values)
    inside = [value for time, value in zip(times, values, strict=True) if start < time < end]
    return [float(np.interp(start, times, values)), *inside, float(np.interp(end, times, values))]


def coldest_consistency(plan: Plan, station: Station, material: Material) -> tuple[float | None, float, bool]:
    """Consistency at the station's coldest hour, that temperature, and whether it was carried there.

    Without an activation energy of viscosity the data-sheet figure is taken as it stands.
    """
    coldest = min(shop_record(plan, station)[1])
    if material.consistency is None:
        return None, coldest, False
    found = viscosity_at(material, material.consistency, coldest)
    return found, coldest, material.viscosity_energy is not None


def viscosity_at(material: Material, known: float, temperature: float) -> float:
    """A viscosity of the data sheet carried to a temperature; as it stands where no energy is known."""
    if material.viscosity_energy is None:
        return known
    return float(viscosity(temperature, known, material.viscosity_temperature, material.viscosity_energy))


__all__ = [
    "RECORD_DAYS",
    "Weather",
    "between",
    "coldest_consistency",
    "shop_record",
    "shop_weather",
    "viscosity_at",
]
