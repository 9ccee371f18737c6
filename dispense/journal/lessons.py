"""What the journal says of figures that a plan states: density, flow law, scrap, purges, cure times, demand.

Each topic gathers what was booked, gives its estimate with what it rests on, and says what it leaves open.
Each entry is held against the plan as it is on its day; where table Validity has another material or another
scrap for a time, each is learned for itself. Nothing is changed here.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.numbers import Floats
from ..base.printed import counted
from ..base.units import from_si
from ..handbook.life import LifeClock
from ..plan.materials import mixed_density
from ..plan.records import Dated, Plan
from ..plan.rows import Material, Oven, RouteStep, Station
from ..shift.cure_times import shop_cure
from ..shift.results import Batch, ShiftResult
from ..shift.setup import station_parts
from .dated import material_of_entry
from .doubts import batch_number
from .entries import (
    DONE,
    MADE,
    OPENED,
    PURGED,
    SCRAPPED,
    SETTING,
    VOLUME,
    VOLUME_A,
    VOLUME_B,
    WEIGHT,
    WEIGHT_A,
    WEIGHT_B,
    Entry,
)
from .history import MIXER_EVENTS, WATCHED, played
from .intervals import Estimate, grouped_proportion, mean, rate, spread, student
from .learned import Learned, Target, estimated, judged, too_few
from .store import Booked
from .weighed import ONE_FIGURE, PERCENT, PRESSURE, weighed

DENSITY, SCRAP = "density", "scrap"
_STATIONS = Station.TABLE
OF_PLAN = "%"  # of what the plan says: 100 is as planned
DRIFT = "the mean of all these days: whether it moves is for dispense weights to tell"
LEAST = 3  # observations below which nothing is said; two leave the spread to one degree of freedom
LEAST_DAYS = 3  # days from which on a day counts as one observation: values of one day go together
SETTINGS_APART = 1.05  # largest setting over smallest from which on a law is seen; common practice, no source


def _by_day(values: Sequence[float], days: Sequence[str]) -> tuple[Floats, str]:
    """Values as independent observations: the mean of each day where there are three days or more."""
    if len(set(days)) < LEAST_DAYS:
        return np.array(values), "all of one or two days: what is so on other days is not in the interval"
    groups: dict[str, list[float]] = {}
    for value, day in zip(values, days, strict=True):
        groups.setdefault(day, []).append(value)
    return np.array([np.mean(each) for each in groups.values()]), ""


# ---------------------------------------------------------------------------------------- density

_MEASURED = ((WEIGHT, VOLUME, ""), (WEIGHT_A, VOLUME_A, "a"), (WEIGHT_B, VOLUME_B, "b"))


def _densities(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """Mass over measured volume, of each component and of the mix."""
    known = {(item.entry.kind, item.entry.name): item for item in booked}
    pairs: dict[tuple[str, str], list[tuple[Booked, Booked]]] = {}
    for mass_kind, volume_kind, letter in _MEASURED:
        for item in booked:
            volume = known.get((volume_kind, item.entry.name))
            if (
                item.entry.kind != mass_kind
                or volume is None
                or not item.entry.value
                or not volume.entry.value
            ):
                continue
            pairs.setdefault((material_of_entry(plan, item.entry), letter), []).append((item, volume))
    return [_density(plan, name, letter, found) for (name, letter), found in pairs.items()]


def density_subject(material: Material, letter: str) -> str:
    """What a density is of: a component, the mix (no letter), a material of one part."""
    name = material.material
    return name if material.kind == "one-part" else f"{name}/{letter.upper() or 'mix'}"


def _density(plan: Plan, name: str, letter: str, pairs: Sequence[tuple[Booked, Booked]]) -> Learned:
    material, components = plan.material(name), plan.components_of(name)
    one_part = material.kind == "one-part"
    target = None
    if one_part or letter:
        target = Target("Components", (name, letter or "a"), "density")
        planned = components[letter or "a"].density
    else:
        planned = mixed_density(material, components)
    base = Learned(
        DENSITY,
        density_subject(material, letter),
        "g/mL",
        float(from_si(planned, "g/mL")),
        count=len(pairs),
        observed=f"{len(pairs)} {'mass over its' if len(pairs) == 1 else 'masses over their'} volume",
        caution="the error of reading the volume is the same in all of them and not in the interval",
    )
    rows = [item for pair in pairs for item in pair]
    if len(pairs) < LEAST:
        return too_few(base, rows, f"{LEAST} masses with their volume are needed at least")
    ratios = [(a.entry.value or 0.0) / (b.entry.value or 1.0) for a, b in pairs]
    values, days = _by_day(ratios, [a.entry.day for a, _ in pairs])
    caution = "; ".join(filter(None, (base.caution, days)))
    if target is None:
        caution += "; of the mix: which component it is of cannot be told"
    return estimated(replace(base, caution=caution), mean(values), rows, base.planned, target)


# ------------------------------------------------------------------------------------------- gain


def _gains(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """Mass of check shots over that of the plan: density times what the meter gives, in one figure."""
    by_entry = {id(item.entry): item for item in booked}
    measured = {item.entry.station for item in booked if item.entry.kind in (VOLUME, VOLUME_A, VOLUME_B)}
    groups: dict[tuple[str, str], list[tuple[float, Booked]]] = {}
    for entry, targets in weighed(plan, [item.entry for item in booked]):
        if targets is not None and entry.value:
            key = entry.station, material_of_entry(plan, entry)
            groups.setdefault(key, []).append((entry.value / targets[1], by_entry[id(entry)]))
    found = []
    for (station, material), pairs in groups.items():
        rows = [item for _, item in pairs]
        base = Learned(
            "shot mass",
            station if len(plan.materials_at(station)) == 1 else f"{station} with {material}",
            OF_PLAN,
            PERCENT,
            count=len(pairs),
            observed=f"{counted(len(pairs), 'weight')}",
            caution=DRIFT if station in measured else f"{DRIFT}; {ONE_FIGURE}",
        )
        if len(pairs) < LEAST:
            found.append(too_few(base, rows, f"{LEAST} weights are needed at least"))
            continue
        values, days = _by_day([value for value, _ in pairs], [item.entry.day for item in rows])
        caution = "; ".join(filter(None, (base.caution, days)))
        found.append(
            estimated(replace(base, caution=caution), mean(values).times(PERCENT), rows, PERCENT, None)
        )
    return found


# --------------------------------------------------------------------------------------- flow law


def _flow_laws(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """How the shot follows the setting: slope of log mass against log setting, over setup cards."""
    weights = {
        item.entry.name: item for item in booked if item.entry.kind == WEIGHT and item.entry.text == "setup"
    }
    pairs: dict[tuple[str, str, str], list[tuple[Booked, Booked]]] = {}
    for item in booked:
        shot = weights.get(item.entry.name)
        if item.entry.kind == SETTING and item.entry.value and shot is not None and shot.entry.value:
            key = item.entry.station, material_of_entry(plan, item.entry), item.entry.unit
            pairs.setdefault(key, []).append((item, shot))
    return [
        _flow_law(plan.material(material), station, unit, found)
        for (station, material, unit), found in pairs.items()
    ]


def _flow_law(material: Material, station: str, unit: str, pairs: Sequence[tuple[Booked, Booked]]) -> Learned:
    is_pressure = unit == PRESSURE
    target = None
    if is_pressure and not material.yield_stress:
        target = Target("Materials", (material.material,), "index")
    base = Learned(
        "flow index" if is_pressure else "setting exponent",
        material.material if is_pressure else station,
        "",
        material.index if is_pressure else 1.0,
        count=len(pairs),
        observed=f"{counted(len(pairs), 'setting')} with {'its' if len(pairs) == 1 else 'their'} shot",
    )
    rows = [item for pair in pairs for item in pair]
    groups = [(shot.entry.part, shot.entry.application) for _, shot in pairs]
    names = sorted(set(groups))
    settings = np.log([item.entry.value or 1.0 for item, _ in pairs])
    masses = np.log([(shot.entry.value or 1.0) / (shot.entry.count or 1) for _, shot in pairs])
    free = len(pairs) - len(names) - 1
    centred = settings - np.array([settings[[each == name for each in groups]].mean() for name in groups])
    if free < 1 or np.ptp(centred) < np.log(SETTINGS_APART):
        return too_few(
            base, rows, "one shot at three settings is needed at least, the largest 5 % above the smallest"
        )
    beside = masses - np.array([masses[[each == name for each in groups]].mean() for name in groups])
    square = float(centred @ centred)
    slope = float(centred @ beside) / square
    rest = beside - slope * centred
    estimate = student(slope, float(np.sqrt(rest @ rest / free / square)), free)
    if not is_pressure:
        return estimated(base, estimate, rows, 1.0, None)
    if estimate.low <= 0.0:
        return too_few(base, rows, "the shot does not grow with the pressure beyond noise")
    index = Estimate(
        1.0 / slope, 1.0 / estimate.high, 1.0 / estimate.low, lambda n: estimate.probability_of(1.0 / n)
    )
    caution = "" if target else "a material with a yield stress: the slope is not 1/n alone"
    return estimated(replace(base, caution=caution), index, rows, material.index, target)


# ------------------------------------------------------------------------------------------ scrap


@dataclass(slots=True)
class Count:
    """What was counted of one part in one shift at one station."""

    made: int | None = None
    scrapped: int | None = None


_Key = tuple[str, str, str, str]  # station, day, shift, part


def _counts(plan: Plan, booked: Iterable[Booked]) -> tuple[dict[_Key, Count], dict[_Key, list[Booked]]]:
    """Parts made and scrapped; a part that one station alone works on needs no station."""
    found: dict[_Key, Count] = {}
    rows: dict[_Key, list[Booked]] = {}
    for item in booked:
        entry = item.entry
        if entry.kind not in (MADE, SCRAPPED):
            continue
        station = entry.station
        if not station:
            names = [row.station for row in plan.stations if entry.part in station_parts(plan, row.station)]
            station = names[0] if len(names) == 1 else ""
        key = station, entry.day, entry.shift, entry.part
        count = found.setdefault(key, Count())
        rows.setdefault(key, []).append(item)
        if entry.kind == MADE:
            count.made = (count.made or 0) + (entry.count or 0)
        else:
            count.scrapped = (count.scrapped or 0) + (entry.count or 0)
    return found, rows


def counts_of(plan: Plan, booked: Iterable[Booked]) -> dict[tuple[str, str, str, str], Count]:
    """What was made and scrapped, by station, day, shift and part."""
    return _counts(plan, booked)[0]


def dated_scrap(plan: Plan, station: str) -> list[Dated]:
    """The scrap that a station has for a time, in place of that of its row."""
    figure = _STATIONS, (station,), SCRAP
    return [item for item in plan.dated if (item.table, item.key, item.column) == figure]


def scrap_subject(station: str, dated: Dated | None) -> str:
    """What a scrap is of: a station, or a station from or until a day."""
    if dated is None:
        return station
    if dated.row.valid_from is not None:
        return f"{station} from {dated.first}"
    return f"{station} until {dated.last}" if dated.row.valid_until is not None else f"{station} by Validity"


def _holding(plan: Plan, station: str, day: str) -> Dated | None:
    """The scrap of a time that holds at a station on a day."""
    return next(
        (
            item
            for item in dated_scrap(plan, station)
            if day and item.holds_on(datetime.date.fromisoformat(day))
        ),
        None,
    )


def _scrap(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """Parts scrapped of those started, by station and the days on which one scrap is stated for it."""
    counts, rows = _counts(plan, booked)
    found = []
    stated = [(row, dated) for row in plan.stations for dated in (None, *dated_scrap(plan, row.station))]
    for station, dated in stated:
        mine = {
            key: count
            for key, count in counts.items()
            if key[0] == station.station and _holding(plan, station.station, key[1]) is dated
        }
        whole = [
            (key, count.made, count.scrapped)
            for key, count in mine.items()
            if count.made is not None and count.scrapped is not None
        ]
        if not mine:
            continue
        started = np.array([float(made + lost) for _, made, lost in whole])
        scrapped = np.array([float(lost) for *_, lost in whole])
        one_sided = len(mine) - len(whole)
        base = Learned(
            SCRAP,
            scrap_subject(station.station, dated),
            "%",
            PERCENT * (station.scrap if dated is None else dated.value),
            count=int(started.sum()),
            observed=f"{int(scrapped.sum())} of {int(started.sum())} parts started",
        )
        if one_sided:
            words = f"{counted(one_sided, 'count')} of made or scrapped alone left out"
            base = replace(base, caution=f"{words}: book 0 where none was lost")
        target = Target(_STATIONS, (station.station,), SCRAP) if dated is None else None
        if dated is not None:
            words = f"stated in {plan.cell(dated.row, 'value')}: type it there"
            base = replace(base, caution="; ".join(filter(None, (base.caution, words))))
        used = [item for key, *_ in whole for item in rows[key]]
        if not whole or not started.sum():
            found.append(too_few(base, used, "both made and scrapped must be booked of a shift"))
            continue
        percent = grouped_proportion(scrapped, started).times(PERCENT)
        found.append(estimated(base, percent, used, base.planned, target))
    return found


# ----------------------------------------------------------------------------------------- purges


def _purges(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """Purges and mixer changes that were booked over those that the plan plays in the same shifts."""
    shifts = (
        {(item.station.station, item.date.isoformat(), item.shift): item for item in played(plan)}
        if any(item.entry.kind in (DONE, PURGED) for item in booked)
        else {}
    )
    found = []
    for station in plan.stations:
        mine = [
            item
            for item in booked
            if item.entry.station == station.station
            and (
                item.entry.kind in (PURGED, OPENED)
                or (item.entry.kind == DONE and item.entry.text in MIXER_EVENTS | {"end"})
            )
            and (station.station, item.entry.day, item.entry.shift) in shifts
        ]
        days = {(item.entry.day, item.entry.shift) for item in mine if item.entry.kind != OPENED}
        if not days:
            continue
        counted_in = {(item.entry.day, item.entry.shift) for item in mine if item.entry.kind == PURGED}
        done = sum((item.entry.count or 0) for item in mine if item.entry.kind == PURGED) + sum(
            item.entry.kind == DONE
            and item.entry.text in WATCHED
            and (item.entry.day, item.entry.shift) not in counted_in
            for item in mine
        )
        planned = sum(_planned_purges(shifts[station.station, *each]) for each in days)
        base = Learned(
            "purges",
            station.station,
            OF_PLAN,
            PERCENT,
            count=done,
            observed=f"{done} booked, {planned} planned in {counted(len(days), 'shift')}",
            caution="a purge that nobody booked counts as none",
        )
        if not planned:
            found.append(too_few(base, mine, "the plan has none in these shifts"))
            continue
        found.append(estimated(base, rate(done, planned).times(PERCENT), mine, PERCENT, None))
    return found


def _planned_purges(result: ShiftResult) -> int:
    return sum(event.kind in WATCHED for event in result.events)


# ------------------------------------------------------------------------------------- cure times

_MILESTONES = {
    "moved": ("move_time", "move", "handling time"),
    "joined": ("join_time", "join", "time to load"),
    "tested": ("test_time", "test", "full-cure time"),
}


def _cure_times(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """How long parts stood until they were moved, joined or tested, at the data sheet's temperature."""
    mine = [
        item
        for item in booked
        if item.entry.kind == DONE and item.entry.text in _MILESTONES and item.entry.time
    ]
    if not mine:
        return []
    batches = {
        (result.station.station, result.date.isoformat(), result.shift, str(batch.number)): batch
        for result in played(plan)
        for batch in result.batches
    }
    groups: dict[tuple[str, str], list[tuple[float, Booked]]] = {}
    for item in mine:
        entry = item.entry
        batch = batches.get((entry.station, entry.day, entry.shift, batch_number(entry)))
        if batch is None or (batch.part, entry.station) in plan.index(Oven, "part", "station"):
            continue
        stood = _stood(plan, entry, batch)
        if stood is not None:
            groups.setdefault((material_of_entry(plan, entry), entry.text), []).append((stood, item))
    return [_cure_time(plan.material(name), words, found) for (name, words), found in groups.items()]


def _stood(plan: Plan, entry: Entry, batch: Batch) -> float | None:
    """Minutes from the end of dispensing, each as long as it counts at the temperature of the cure times."""
    day, moment = entry.date, entry.moment
    plan = plan.on(day)
    station = plan.station(entry.station)
    material = plan.material(station.material)
    if day is None or moment is None:
        return None
    end = (moment - datetime.datetime.combine(day, datetime.time())).total_seconds()
    column, name, _ = _MILESTONES[entry.text]
    stated = getattr(material, column)
    clock: LifeClock | None = shop_cure(plan, station, material).clocks.get(name)
    if end <= batch.ended:
        return None
    seconds = end - batch.ended if clock is None or stated is None else stated * clock.used(batch.ended, end)
    return float(from_si(seconds, "min"))


def _cure_time(material: Material, words: str, found: Sequence[tuple[float, Booked]]) -> Learned:
    column, _, quantity = _MILESTONES[words]
    stated: float | None = getattr(material, column)
    planned = None if stated is None else float(from_si(stated, "min"))
    rows = [item for _, item in found]
    base = Learned(
        quantity,
        material.material,
        "min",
        planned,
        count=len(found),
        observed=f"{len(found)} {'batch' if len(found) == 1 else 'batches'} {words}",
        caution="only times typed over the printed ones are booked, and the start is that of the plan; what "
        "people waited is not what the material needs",
    )
    if len(found) < LEAST:
        return too_few(base, rows, f"{LEAST} batches are needed at least")
    values, days = _by_day([value for value, _ in found], [item.entry.day for item in rows])
    caution = "; ".join(filter(None, (base.caution, days)))
    estimate = mean(values)
    target: Target | None = Target("Materials", (material.material,), column)
    if planned is not None and estimate.value < planned:
        target = None  # a shorter cure is proved by a test of the joint, never by use
        caution += "; a shorter time is for a test of the joint to prove, it is not taken over"
    return estimated(replace(base, caution=caution), estimate, rows, planned, target)


# ----------------------------------------------------------------------------------------- demand


def _builds(plan: Plan, booked: Sequence[Booked]) -> list[Learned]:
    """Parts made over parts planned, day by day: their mean and their spread."""
    counts, rows = _counts(plan, booked)
    made: dict[tuple[str, str, str], int] = {}
    used: dict[tuple[str, str, str], list[Booked]] = {}
    last = {part: steps[-1].station for part, steps in _routes(plan).items()}
    for key, count in counts.items():
        station, day, shift, part = key
        if count.made is None or station not in ("", last.get(part, station)):
            continue
        here = day, shift, part
        made[here] = min(made.get(here, count.made), count.made)  # of several stations what passed them all
        used.setdefault(here, []).extend(rows[key])
    days: dict[str, list[int]] = {}
    for (day, shift, part), number in made.items():
        planned = plan.builds_of(datetime.date.fromisoformat(day), shift).get(part)
        if planned:
            total = days.setdefault(day, [0, 0])
            total[0] += number
            total[1] += planned
    if not days:
        return []
    booked_rows = [item for items in used.values() for item in items]
    ratios = np.array([number / planned for number, planned in days.values()])
    caution = (
        "made differs from planned by other orders, stops and scrap alike; which it was cannot be told, so "
        "it is told only"
    )
    good, asked = (sum(column) for column in zip(*days.values(), strict=True))
    observed = f"{counted(len(days), 'day')}, {good} made of {asked}"
    base = Learned("builds", "all", OF_PLAN, PERCENT, count=len(days), observed=observed, caution=caution)
    scatter = replace(
        base, quantity="demand spread", unit="%", planned=PERCENT * plan.settings["demand_spread"]
    )
    if len(days) < LEAST:
        words = f"{LEAST} days with what was made are needed at least"
        return [too_few(base, booked_rows, words), too_few(scatter, booked_rows, words)]
    found = [estimated(base, mean(ratios).times(PERCENT), booked_rows, PERCENT, None)]
    if ratios.min() > 0.0:
        # the plan's is that of a lognormal factor of mean 1: its logarithms have nearly that spread
        percent = spread(np.log(ratios)).times(PERCENT)
        found.append(estimated(scatter, percent, booked_rows, scatter.planned, None))
    return found


def _routes(plan: Plan) -> Mapping[str, list[RouteStep]]:
    groups: Mapping[str, list[RouteStep]] = plan.group(RouteStep, "part")
    return {part: sorted(steps, key=lambda step: step.step) for part, steps in groups.items()}


def learned_values(plan: Plan, booked: Iterable[Booked]) -> list[Learned]:
    """All that the entries that count say of figures of the plan, judged."""
    stations = {"", *(row.station for row in plan.stations)}
    materials = {"", *(row.material for row in plan.materials)}
    rows = [item for item in booked if item.entry.station in stations and item.entry.material in materials]
    found = [
        item
        for part in (_densities, _gains, _flow_laws, _scrap, _purges, _cure_times, _builds)
        for item in part(plan, rows)
    ]
    return judged(found)


__all__ = [
    "DENSITY",
    "LEAST",
    "SCRAP",
    "Count",
    "counts_of",
    "dated_scrap",
    "density_subject",
    "learned_values",
    "scrap_subject",
]
