"""Pot life on the day: what a batch mixed at each clock time has left, and what heat does to it.

The temperature is that of the station's record, linear between its points. A life is played along the
record, not read off at one temperature, so that a batch mixed before a hot afternoon ends sooner than
the hour of mixing lets expect.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..base.clock import hhmm
from ..base.units import CELSIUS_ZERO, celsius_text, from_si
from ..handbook.life import LifeClock
from ..plan.materials import MILESTONES, WorkingLife, open_life, working_life
from ..plan.records import Plan
from ..plan.rows import Material, Station
from ..plan.weather import shop_record
from ..shift.calendar import SAME_TIME
from ..shift.cure_times import HALF_HOUR, CureTimes, OpenClock, deepest, open_clock, shop_cure
from ..shift.setup import as_run

BESIDE = 2.0  # K beyond the day and the data sheet that the curve of lives goes on
STATED, COLDER, HOTTER = "between the data-sheet points", "colder, extrapolated", "hotter, extrapolated"
_SHARES = (0.25, 0.5, 0.75)  # of the stated life, after which the share left is told
_CURVE = 41  # points of the chart's curve


@dataclass(frozen=True, slots=True)
class LifeRow:
    """A batch mixed, or a part dispensed, at a clock time; clock times in seconds after midnight."""

    clock: float
    temperature: float
    life: float | None = None
    ends: float | None = None
    left: tuple[float, ...] = ()  # share of life left after each of `ages`
    purge_at: float | None = None
    mate_before: float | None = None
    cured: dict[str, float | None] = field(default_factory=dict)  # move, join, test


@dataclass(frozen=True, slots=True)
class Comparison:
    """The record beside a constant temperature: life of a batch, and limits reached in the day."""

    name: str
    temperature: float
    life: float
    limits: float  # times the limit is reached from start to end of the day


@dataclass(slots=True)
class LifeDay:
    """Pot life, open time and room cure through the hours that shifts run."""

    start: float
    end: float
    temperatures: list[float]
    life: WorkingLife | None
    open: WorkingLife | None
    ages: tuple[float, ...]
    share: float  # of the pot life at which a purge or a new mixer is due
    rows: list[LifeRow]
    comparisons: list[Comparison] = field(default_factory=list)
    curve: list[tuple[float, float, str]] = field(default_factory=list)  # K, s, kind
    points: list[tuple[float, float]] = field(default_factory=list)  # stated: K, s
    marks: list[str] = field(default_factory=list)

    @property
    def shortest(self) -> LifeRow | None:
        """The row whose batch lives shortest."""
        rows = [row for row in self.rows if row.life is not None]
        return min(rows, key=lambda row: row.life or math.inf) if rows else None

    @property
    def shortest_words(self) -> str:
        """The shortest life of the day and when it is met."""
        worst = self.shortest
        if worst is None or worst.life is None:
            return ""
        return f"{_minutes(worst.life)} of pot life when mixed at {hhmm(worst.clock)}"

    @property
    def life_words(self) -> str:
        """The pot life itself, and then what the day does to it."""
        return f"{self.shortest_words}; {self.hot_afternoon}" if self.hot_afternoon else self.shortest_words

    @property
    def hot_afternoon(self) -> str:
        """What the hottest hour does, in a sentence."""
        worst = self.shortest
        if worst is None or worst.life is None or not self.comparisons:
            return ""
        mean = next(item for item in self.comparisons if item.name == "constant mean")
        cool = next(item for item in self.comparisons if item.name == "coolest half hour")
        if cool.life - worst.life < 0.02 * worst.life:
            return "the temperature hardly changes through the day"
        return (
            f"a batch mixed at {hhmm(worst.clock)} has a pot life of {_minutes(worst.life)}; at the day's "
            f"mean of {celsius_text(mean.temperature, 1)} it would be {_minutes(mean.life)}, in the coolest "
            f"half hour ({celsius_text(cool.temperature, 1)}) {_minutes(cool.life)}"
        )


def _minutes(seconds: float) -> str:
    minutes = seconds / 60.0
    return f"{minutes:.1f} min" if minutes < 10.0 else f"{minutes:.0f} min"


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def stated_points(material: Material) -> list[tuple[float, float]]:
    """Temperatures and pot lives that the data sheet states."""
    if material.pot_life is None:
        return []
    points = [(material.pot_life_temperature, material.pot_life)]
    if material.pot_life_2 and material.pot_life_temperature_2 is not None:
        points.append((material.pot_life_temperature_2, material.pot_life_2))
    return sorted(points)


def life_curve(life: WorkingLife, low: float, high: float) -> list[tuple[float, float, str]]:
    """Pot life against temperature, each point marked as stated or extrapolated.

    The ends of the stated range stand in both parts, so that lines meet there.
    """
    grid = set(np.linspace(low, high, _CURVE).tolist())
    grid |= {value for value in (life.low, life.high) if low <= value <= high}
    rows = []
    for temperature in sorted(grid):
        time = life.at(temperature)
        if temperature <= life.low:
            rows.append((temperature, time, COLDER))
        if life.low <= temperature <= life.high and life.low < life.high:
            rows.append((temperature, time, STATED))
        if temperature >= life.high:
            rows.append((temperature, time, HOTTER))
    return rows


def shift_hours(plan: Plan, step: float = HALF_HOUR) -> list[float]:
    """Clock times from the start of the first shift to the end of the last one."""
    start = min(row.start for row in plan.shifts)
    end = max(row.end for row in plan.shifts)
    return np.arange(start, end + SAME_TIME, step).tolist()


def life_day(plan: Plan, station: Station, material: Material, step: float = HALF_HOUR) -> LifeDay:
    """Pot life from the start of the first shift to the end of the last one.

    Where moisture cures, full cure is that of the station's deepest bead.
    """
    start = min(row.start for row in plan.shifts)
    end = max(row.end for row in plan.shifts)
    share, (times, temperatures) = as_run(plan, station).purge_share, shop_record(plan, station)
    life, open_ = working_life(material), open_life(material)
    pot = life.clock(times, temperatures) if life else None
    opened = open_clock(plan, station, material)
    cure = shop_cure(plan, station, material) if material.cure in ("room", "moisture") else None
    depth = deepest(plan, station.station)
    ages = tuple(share * life.life for share in _SHARES) if life else ()
    mixes = life is not None and station.mixer_volume > 0.0
    rows = [
        _row(
            clock,
            times,
            temperatures,
            pot,
            opened,
            ages,
            share if mixes else None,
            CureTimes() if cure is None else cure.times(clock, depth),
        )
        for clock in shift_hours(plan, step)
    ]
    day = LifeDay(start, end, [row.temperature for row in rows], life, open_, ages, share, rows)
    inside = [row.temperature for row in rows]
    if life is not None:
        day.marks = life.marks(min(inside), max(inside))
        day.points = stated_points(material)
        stated = [temperature for temperature, _ in day.points]
        low, high = min(*inside, *stated), max(*inside, *stated)
        coldest = math.floor(low - CELSIUS_ZERO - BESIDE) + CELSIUS_ZERO
        hottest = math.ceil(high - CELSIUS_ZERO + BESIDE) + CELSIUS_ZERO
        day.curve = life_curve(life, coldest, hottest)
        day.comparisons = _compare(day, life, pot)
    return day


def _row(
    clock,
    times,
    temperatures,
    pot: LifeClock | None,
    open_: OpenClock | None,
    ages,
    purge_share,
    cured: CureTimes,
) -> LifeRow:
    ends = _finite(pot.when(clock, 1.0)) if pot else None
    return LifeRow(
        clock,
        float(np.interp(clock, times, temperatures)),
        None if ends is None else ends - clock,
        ends,
        tuple(max(0.0, 1.0 - pot.used(clock, clock + age)) for age in ages) if pot else (),
        _finite(pot.when(clock, purge_share)) if pot and purge_share else None,
        _finite(open_.when(clock, 1.0)) if open_ else None,
        {name: _finite(at) for name, at in cured.milestones.items()},
    )


def _compare(day: LifeDay, life: WorkingLife, clock: LifeClock | None) -> list[Comparison]:
    """The record, its mean, its coolest and hottest half hour."""
    span, worst = day.end - day.start, day.shortest
    if clock is None or worst is None or worst.life is None:
        return []
    mean = (
        float(
            np.trapezoid(day.temperatures, [row.clock for row in day.rows])
            / (day.rows[-1].clock - day.rows[0].clock)
        )
        if len(day.rows) > 1
        else (day.temperatures[0])
    )
    found = [
        Comparison(
            "as recorded, shortest", worst.temperature, worst.life, clock.used(day.start, day.end) / day.share
        )
    ]
    for name, temperature in (
        ("constant mean", mean),
        ("coolest half hour", min(day.temperatures)),
        ("hottest half hour", max(day.temperatures)),
    ):
        time = life.at(temperature)
        found.append(Comparison(name, temperature, time, span / time / day.share))
    return found


def day_table(day: LifeDay) -> tuple[list[str], list[list[Any]]]:
    """The rows as a table of shop units: headers and cells, columns without content left out."""
    columns: list[tuple[str, list[Any]]] = [
        ("time", [hhmm(row.clock) for row in day.rows]),
        ("temperature [°C]", [round(from_si(row.temperature, "°C"), 1) for row in day.rows]),
        ("life [min]", [_round_minutes(row.life) for row in day.rows]),
        ("life ends", [_clock(row.ends) for row in day.rows]),
        ("purge by", [_clock(row.purge_at) for row in day.rows]),
    ]
    columns += [
        (f"left after {age / 60:.3g} min", [f"{row.left[place]:.0%}" for row in day.rows])
        for place, age in enumerate(day.ages)
    ]
    columns.append(("mate by", [_clock(row.mate_before) for row in day.rows]))
    for _, name in MILESTONES:
        columns.append((f"{name} from", [_clock(row.cured.get(name)) for row in day.rows]))
    kept = [(header, cells) for header, cells in columns if any(cell not in ("", None) for cell in cells)]
    return [header for header, _ in kept], [
        list(row) for row in zip(*(cells for _, cells in kept), strict=True)
    ]


def _round_minutes(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds / 60.0, 1)


def _clock(seconds: float | None) -> str:
    return "" if seconds is None else hhmm(seconds)


__all__ = [
    "COLDER",
    "HOTTER",
    "STATED",
    "Comparison",
    "LifeDay",
    "LifeRow",
    "day_table",
    "life_curve",
    "life_day",
    "shift_hours",
    "stated_points",
]
