"""When a part may be handled, joined or loaded, and tested: one place for the cure board and the cure report.

In the shop each time of the data sheet is played along the air of the station. A material that cures
with moisture follows the water in the air (`MoistureClock`), and is fully cured when moisture has
reached its depth and no time of the data sheet is still to come. In an oven the slowest place of the
part counts, and nothing is allowed before the part is out again.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from ..base.measures import temperature_told
from ..base.units import DAY, celsius_text, from_si
from ..handbook.cure import part_temperature
from ..handbook.life import LifeClock
from ..handbook.moisture import MoistureClock, moisture_rate, moisture_time
from ..plan.amounts import moisture_depths
from ..plan.materials import MILESTONES, cure_life, open_life
from ..plan.records import Plan
from ..plan.rows import Material, Oven, Station
from ..plan.tables import NO_CURE
from ..plan.weather import Weather, shop_record, shop_weather
from .calendar import SAME_TIME

FIRST = MILESTONES[0][1]  # the milestone of handling
LOADED = MILESTONES[1][1]  # of joining or loading
LAST = MILESTONES[-1][1]  # the milestone that is full cure
HALF_HOUR = 1800.0  # s between the starts that are tried through a shift
OPEN_ALIKE = 0.02  # of an open time: two that differ by less are told as one (common practice, no source)
SKIN_STEP = 60.0  # s between the sums of a day
NO_LAG = 1e-3  # s; a part quicker than that has the temperature of the air


@dataclass(slots=True)
class CureTimes:
    """Clock times [s] of the cure milestones of a part: None not stated, inf never reached.

    `depth` [m] is what moisture must reach, `depth_cured` the clock time at which it has. `out` is when
    the part is out of its oven; `unreached` names milestones that the oven does not reach.
    """

    milestones: dict[str, float | None] = field(default_factory=dict)
    depth: float | None = None
    depth_cured: float | None = None
    profile: str = ""
    out: float | None = None
    unreached: list[str] = field(default_factory=list)

    @property
    def is_never(self) -> bool:
        """Whether something that is stated is never reached."""
        return any(at == math.inf for at in self.milestones.values())


class ShopCure:
    """Cure in the air of a station: the data sheet's times, and the depth of moisture, along its record."""

    def __init__(self, plan: Plan, station: Station, material: Material) -> None:
        self.material = material
        cures = material.cure != NO_CURE
        self.stated = {name: getattr(material, column) if cures else None for column, name in MILESTONES}
        self.moisture: MoistureClock | None = None
        self.clocks: dict[str, LifeClock] = {}
        if not cures:
            return
        if material.cure == "moisture":
            weather = shop_weather(plan, station)
            self.moisture = MoistureClock(
                weather.times,
                weather.temperatures,
                weather.humidities,
                material.cure_temperature,
                material.moisture_humidity,
                material.moisture_energy or 0.0,
            )
            return
        record = shop_record(plan, station)
        for column, name in MILESTONES:
            life = cure_life(material, column)
            if life is not None:
                self.clocks[name] = life.clock(*record)

    def stated_at(self, name: str, start: float) -> float | None:
        """When the time of the data sheet is over; None where none is stated."""
        time = self.stated[name]
        if time is None:
            return None
        if self.moisture is not None:
            return self.moisture.when(start, time)
        return self.clocks[name].when(start, 1.0)

    def depth_at(self, depth: float, start: float) -> float | None:
        """When moisture has cured to a depth; None where no coefficient is stated."""
        coefficient = self.material.moisture_coefficient
        if self.moisture is None or coefficient is None:
            return None
        return self.moisture.when(start, float(moisture_time(depth, coefficient)))

    def times(self, start: float, depth: float = 0.0) -> CureTimes:
        """The milestones of a part that has its material at `start`; moisture must reach `depth` [m]."""
        found = CureTimes({name: self.stated_at(name, start) for _, name in MILESTONES})
        cured = self.depth_at(depth, start)
        if cured is not None:
            found.depth, found.depth_cured = depth, cured
            known = [at for at in found.milestones.values() if at is not None]
            found.milestones[LAST] = max([cured, *known])
        return found


def shop_cure(plan: Plan, station: Station, material: Material) -> ShopCure:
    """The cure in the air of a station, kept with the plan."""
    cache: dict[tuple[str, str], ShopCure] = plan.kept("shop cure")
    key = (station.station, material.material)
    if key not in cache:
        cache[key] = ShopCure(plan, station, material)
    return cache[key]


class OpenClock(Protocol):
    """How long what was put on stays open."""

    def when(self, start: float, share: float) -> float:
        """When a share of the open time from `start` on is over [s]."""


class SkinClock:
    """Open time of a material that cures with moisture: the water in the air makes its skin.

    What a day is worth is summed up minute by minute (Simpson's rule) and read between by a line, which
    is within 0.01 s where the weather turns within hours.
    """

    def __init__(self, weather: Weather, material: Material, time: float) -> None:
        half = np.arange(0.0, DAY + SKIN_STEP / 4.0, SKIN_STEP / 2.0)
        temperatures, humidities = (
            np.interp(half, weather.times, values, period=DAY)
            for values in (weather.temperatures, weather.humidities)
        )
        rates = np.asarray(
            moisture_rate(
                temperatures,
                humidities,
                material.cure_temperature,
                material.moisture_humidity,
                material.moisture_energy or 0.0,
            )
        )
        worth = SKIN_STEP / 6.0 * (rates[:-2:2] + 4.0 * rates[1:-1:2] + rates[2::2])
        self.time = time  # at the cure temperature and its humidity [s]
        self.sums: list[float] = [0.0, *np.cumsum(worth).tolist()]

    def when(self, start: float, share: float) -> float:
        """When a share of the open time from `start` on is over [s]."""
        day = self.sums[-1]
        if day <= 0.0:
            return math.inf
        days, rest = divmod(start, DAY)
        place = min(int(rest // SKIN_STEP), len(self.sums) - 2)
        part = rest / SKIN_STEP - place
        begun = self.sums[place] + part * (self.sums[place + 1] - self.sums[place])
        more, goal = divmod(begun + share * self.time, day)
        place = min(bisect_right(self.sums, goal) - 1, len(self.sums) - 2)
        width = self.sums[place + 1] - self.sums[place]
        part = (goal - self.sums[place]) / width if width > 0.0 else 0.0
        return (days + more) * DAY + (place + part) * SKIN_STEP


def open_clock(plan: Plan, station: Station, material: Material) -> OpenClock | None:
    """The open time of a material at a station, along its weather; None where none is stated.

    A moisture-curing material skins over as it cures, with the water in the air.
    """
    life = open_life(material)
    if life is None:
        return None
    if material.cure == "moisture":
        return SkinClock(shop_weather(plan, station), material, life.life)
    return life.clock(*shop_record(plan, station))


@dataclass(frozen=True, slots=True)
class OpenTime:
    """How long material that is put on in some air stays open; SI units, humidity where it counts."""

    time: float
    temperature: float
    humidity: float | None


def open_times(
    plan: Plan, station: Station, material: Material, hours: Iterable[tuple[float, float]]
) -> tuple[OpenTime, ...]:
    """The shortest and the longest open time of what is put on in some hours, as mate-by times have it."""
    clock = open_clock(plan, station, material)
    if clock is None:
        return ()
    weather = shop_weather(plan, station)
    found = []
    for start, end in hours:
        for begin in [*np.arange(start, end, HALF_HOUR).tolist(), end]:
            heat, water = (
                float(np.interp(begin % DAY, weather.times, values, period=DAY))
                for values in (weather.temperatures, weather.humidities)
            )
            time = clock.when(begin, 1.0) - begin
            found.append(OpenTime(time, heat, water if material.cure == "moisture" else None))
    shortest, longest = (choose(found, key=lambda item: item.time) for choose in (min, max))
    is_one = longest.time - shortest.time < OPEN_ALIKE * longest.time
    return (shortest,) if is_one else (shortest, longest)


def deepest(plan: Plan, station: str, part: str | None = None) -> float:
    """How deep moisture must reach in what a station puts on (a part) [m]."""
    cache: dict[tuple[str, str | None], float] = plan.kept("deepest")
    key = station, part
    if key not in cache:
        cache[key] = max((depth for *_, depth in moisture_depths(plan, station, part)), default=0.0)
    return cache[key]


def cure_times(plan: Plan, station: Station, part: str, start: float) -> CureTimes:
    """The milestones of a part that has all its material of a station at the clock time `start`."""
    material = plan.material(station.material)
    if material.cure == "oven":
        return oven_times(plan, station, part, start)
    return shop_cure(plan, station, material).times(start, deepest(plan, station.station, part))


# ------------------------------------------------------------------------------------------- ovens


def oven_times(plan: Plan, station: Station, part: str, start: float) -> CureTimes:
    """The milestones of a part that goes into its oven at `start`: none before it is out.

    What the slowest place has not reached by the end of the profile is inf and named: at room
    temperature an oven material does not get on.
    """
    material = plan.material(station.material)
    oven = plan.index(Oven, "part", "station").get((part, station.station))
    found = CureTimes({name: None for _, name in MILESTONES})
    if oven is None:
        found.unreached = [name for column, name in MILESTONES if getattr(material, column) is not None]
        found.milestones |= dict.fromkeys(found.unreached, math.inf)
        return found
    times, heat = slowest_place(plan, oven)
    found.profile, found.out = oven.profile, start + times[-1]
    for column, name in MILESTONES:
        life = cure_life(material, column)
        if life is None:
            continue
        reached = life.clock(times, heat).when(times[0], 1.0)
        found.milestones[name] = (
            when_out(start + min(reached, times[-1]), found.out)
            if reached <= times[-1] + SAME_TIME
            else math.inf
        )
        if found.milestones[name] == math.inf:
            found.unreached.append(name)
    return found


def when_out(reached: float, out: float) -> float:
    """When a part that is in its oven until `out` may be handled, joined or tested: not before."""
    return max(reached, out)


def slowest_place(plan: Plan, oven: Oven) -> tuple[list[float], list[float]]:
    """Times from the start [s] and temperatures [K] of the slowest place of a part in the oven."""
    times, air = plan.profile(oven.profile)
    if oven.lag_slow <= NO_LAG:
        return times, air
    fine = _subdivide(times, air)
    part = part_temperature(fine[0], fine[1], oven.lag_slow, oven.start_temperature)
    return fine[0], [float(value) for value in part]


def _subdivide(
    times: list[float], values: list[float], step: float = 60.0
) -> tuple[list[float], list[float]]:
    """A record with further points between, at most a minute apart."""
    step = max(step, (times[-1] - times[0]) / 10_000)  # of a profile of weeks
    fine_times, fine_values = [times[0]], [values[0]]
    for (t0, v0), (t1, v1) in zip(
        zip(times, values, strict=True), zip(times[1:], values[1:], strict=True), strict=False
    ):
        count = max(1, math.ceil((t1 - t0) / step))
        for place in range(1, count + 1):
            fine_times.append(t0 + (t1 - t0) * place / count)
            fine_values.append(v0 + (v1 - v0) * place / count)
    return fine_times, fine_values


# ------------------------------------------------------------------------------------------- words


def cure_basis(material: Material, temperatures: Sequence[float]) -> str:
    """What the times rest on at these temperatures [K], in words for a printed sheet."""
    if material.cure == NO_CURE:
        return "does not cure"
    if material.cure == "moisture":
        if all(
            value is None
            for value in (
                material.move_time,
                material.join_time,
                material.test_time,
                material.moisture_coefficient,
            )
        ):
            return "no cure time stated"
        at = (
            f"{celsius_text(material.cure_temperature)} and {material.moisture_humidity:.0%} relative "
            "humidity"
        )
        if material.moisture_energy is None:
            return f"data-sheet figures at {at}; moved with the water in the air alone (rule of thumb)"
        return (
            f"data-sheet figures at {at}; moved with the water in the air and "
            f"{from_si(material.moisture_energy, 'kJ/mol'):g} kJ/mol"
        )
    life = cure_life(material, "move_time") or cure_life(material, "test_time")
    if life is None:
        return "no cure time stated"
    words = f"data-sheet times at {celsius_text(life.temperature)}; {life.basis}"
    if material.cure == "oven":
        return words + "; not before the part is out of the oven"
    ends = min(temperatures), max(temperatures)
    marks = life.marks(*ends, told=temperature_told) if material.cure == "room" else []
    return "; ".join([words, *(mark for mark in marks if not mark.startswith("rule of thumb"))])


__all__ = [
    "CureTimes",
    "HALF_HOUR",
    "OpenClock",
    "OpenTime",
    "ShopCure",
    "SkinClock",
    "cure_basis",
    "cure_times",
    "deepest",
    "open_clock",
    "open_times",
    "oven_times",
    "shop_cure",
    "slowest_place",
    "when_out",
]
