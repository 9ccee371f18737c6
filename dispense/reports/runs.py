"""Oven and room schedules of a plan: each place of a part through a profile, passed or not.

An oven row gives two places, the quickest and the slowest to warm; a thermocouple log gives one for
each of its channels. A place passes when it has had the material's schedule: the equivalent time at
the cure temperature, and the full degree of cure where kinetics are known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np

from ..base.clock import hhmm
from ..base.errors import DispenseError, InputError, Problem
from ..base.findings import QUALITY, Finding
from ..base.memory import remembered
from ..base.units import from_si
from ..handbook.kinetics import Kinetics
from ..handbook.life import GAS_CONSTANT
from ..handbook.line import cure_positions, oven_length
from ..handbook.schedule import (
    NEAR_CURE,
    GlassCrossing,
    GlassStop,
    PartCure,
    PartLag,
    Profile,
    Requirement,
    Schedule,
    planned_schedule,
    shortest_hold,
)
from ..plan.csv import TemperatureRecord
from ..plan.materials import MILESTONES, glass_of, kinetics_of, material_energy
from ..plan.records import Plan
from ..plan.rows import Material, Oven, Station
from ..plan.weather import shop_record
from ..shift.cure_times import HALF_HOUR, NO_LAG, shop_cure, when_out
from .press import shortest_takt

KEPT_SCHEDULES = 64  # that are kept between plans that are alike
SAME_HEAT = 0.01  # K between the hours of a day below which it does not matter when a cure begins
ROOM_END = 1.25  # of the time to full cure for which a room cure is followed


@dataclass(slots=True)
class Place:
    """One place of a part through a schedule; SI units, None where not reached or not known."""

    name: str
    times: np.ndarray
    temperatures: np.ndarray
    degrees: np.ndarray | None
    equivalent: np.ndarray | None
    glass_points: np.ndarray | None
    gel: float | None
    full: float | None
    milestones: dict[str, float | None]
    at_cure: float  # time within NEAR_CURE of the cure temperature or above
    reasons: list[str]
    out: float | None = None  # when the part is out of its oven; None in the room
    glass: GlassStop | None = None  # where the part is a glass before it is cured
    sure: float | None = None  # degree at the end without what is computed for a glass
    crossings: tuple[GlassCrossing, ...] = ()  # where the glass transition passes its temperature
    stalls: float | None = None  # from when a glass keeps it from its schedule

    @property
    def passes(self) -> bool:
        """Whether it has had the schedule."""
        return not self.reasons

    @property
    def verdict(self) -> str:
        """Passed or not, in the words of a table."""
        if self.passes:
            return "pass"
        return "fail" if self.stalls is None else f"fail: a glass from {self.stalls / 60.0:.0f} min"

    @property
    def full_cure(self) -> float | None:
        """When it is fully cured: by degree where kinetics are known, and by the data-sheet time.

        A part in an oven is not before it is out.
        """
        test = self.milestones.get("test")
        if self.degrees is None:
            return test
        return None if self.full is None else max(self.full, test or 0.0, self.out or 0.0)

    @property
    def handling(self) -> float | None:
        """When the part may be moved."""
        return self.milestones.get("move")


@dataclass(slots=True)
class CureRun:
    """A schedule and what it does to each place; SI units."""

    name: str
    kind: str  # oven, log, room
    part: str
    times: np.ndarray
    air: np.ndarray
    places: list[Place]
    requirement: Requirement
    energy_basis: str
    starts: float | None = None  # clock time of a room cure
    hold: float | None = None  # of the profile
    hold_needed: float | None = None
    hold_words: str = ""
    takt: float | None = None
    positions: int | None = None
    length: float | None = None
    pitch: float | None = None
    notes: list[str] = field(default_factory=list)

    @property
    def passes(self) -> bool:
        """Whether every place passes."""
        return all(place.passes for place in self.places)

    @property
    def dwell(self) -> float:
        """Time from the start to the end of the schedule."""
        return float(self.times[-1] - self.times[0])

    @property
    def coldest(self) -> Place:
        """The place that is cured last."""
        return min(self.places, key=_cured)

    @property
    def hottest(self) -> Place:
        """The place that is cured first."""
        return max(self.places, key=_cured)


def _cured(place: Place) -> float:
    known = place.equivalent if place.equivalent is not None else place.degrees
    return float(known[-1]) if known is not None else float(place.temperatures.max())


# ------------------------------------------------------------------------------------ the material


def cure_energy(material: Material) -> tuple[float, str]:
    """Activation energy of cure [J/mol] and what it rests on."""
    energy = material_energy(material)
    if energy is not None:
        stated = material.activation_energy is not None
        return energy, ("activation energy stated" if stated else "activation energy from two pot lives")
    if material.energy_1:
        return material.energy_1, "activation energy of the kinetics (E1)"
    low = material.cure_temperature
    high = low + material.halving_step
    energy = GAS_CONSTANT * math.log(2.0) / (1.0 / low - 1.0 / high)
    return energy, (f"time halves every {material.halving_step:g} K at the cure temperature (rule of thumb)")


def requirement_of(plan: Plan, material: Material, hold: float | None) -> tuple[Requirement, str]:
    """What a schedule must give, and what its energy rests on.

    The hold is that of the oven row, else the time to full cure of the data sheet.
    """
    energy, basis = cure_energy(material)
    time = hold or material.test_time
    known = kinetics_of(plan, material) is not None
    requirement = Requirement(
        material.full_degree if known else None,
        time,
        material.cure_temperature,
        energy,
        service=material.service_temperature if known else None,
    )
    return requirement, basis


def _first(times: np.ndarray, values: np.ndarray | None, goal: float | None) -> float | None:
    """When a rising curve reaches a goal."""
    if values is None or goal is None or values[-1] < goal:
        return None
    place = int(np.searchsorted(values, goal))
    if place == 0:
        return float(times[0])
    share = (goal - values[place - 1]) / (values[place] - values[place - 1])
    return float(times[place - 1] + share * (times[place] - times[place - 1]))


def _time_above(times: np.ndarray, temperatures: np.ndarray, limit: float) -> float:
    """Time at or above a temperature, straight between the points."""
    a, b = temperatures[:-1] - limit, temperatures[1:] - limit
    span = np.abs(b - a)
    both = np.clip(a, 0.0, None) + np.clip(b, 0.0, None)
    share = np.where(
        span > 0.0, np.clip(both / np.where(span > 0.0, span, 1.0), 0.0, 1.0), (a >= 0.0).astype(float)
    )
    share = np.where((a >= 0.0) & (b >= 0.0), 1.0, share)
    return float(share @ np.diff(times))


@remembered(KEPT_SCHEDULES)
def _scheduled(
    profile: Profile,
    lags: Sequence[PartLag],
    kinetics: Kinetics | None,
    requirement: Requirement,
    gel: float | None,
    glass: tuple[float, float, float] | None,
) -> Schedule:
    """A profile played for each place of a load."""
    return planned_schedule(
        profile, lags, kinetics, requirement=requirement, gel=gel, cured=requirement.degree, glass=glass
    )


def _played(
    plan: Plan,
    profile: Profile,
    lags: Sequence[PartLag],
    material: Material,
    requirement: Requirement,
    *,
    oven: bool = True,
) -> tuple:
    """Air and places of a profile; in an `oven` no part is handled, joined or tested before it is out."""
    kinetics = kinetics_of(plan, material)
    gel = material.gel_degree if kinetics is not None else None
    played = _scheduled(profile, lags, kinetics, requirement, gel, glass_of(material))
    places = []
    out = float(played.times[-1]) if oven else None
    for found in played.parts:
        reached = {
            name: _first(played.times, found.counted, getattr(material, column))
            for column, name in MILESTONES
        }
        if out is not None:
            reached = {name: None if at is None else when_out(at, out) for name, at in reached.items()}
        places.append(
            Place(
                found.part.name,
                played.times,
                found.temperatures,
                found.degrees,
                found.equivalent,
                found.glass_points,
                _number(found.gel),
                _number(found.cured),
                reached,
                _time_above(played.times, found.temperatures, material.cure_temperature - NEAR_CURE),
                list(found.reasons),
                out,
                _harmful(found),
                None if found.sure is None else float(found.sure[-1]),
                found.crossings,
                _stalls(found, kinetics),
            )
        )
    return played, places


def _harmful(found: PartCure) -> GlassStop | None:
    """Where a part is a glass before it has its schedule; that it is one once cured is normal."""
    return found.glass if found.glass is not None and found.glass.words in found.reasons else None


def _stalls(found: PartCure, kinetics: Kinetics | None) -> float | None:
    """From when a glass keeps a part from its schedule, by the margin or by kinetics that know of it."""
    harmful = _harmful(found)
    if harmful is not None:
        return harmful.start
    if kinetics is None or not kinetics.knows_glass or not found.reasons or not found.crossings:
        return None
    last = found.crossings[-1]
    return last.time if last.hardens else None


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


# ------------------------------------------------------------------------------------------ ovens


def with_hold(profile: Profile, hold: float) -> Profile:
    """The profile with its level stretch at the top made that long."""
    place = _level(profile)
    if place is None:
        raise InputError(Problem("profile", message="has no level stretch at its top"))
    times = profile.times.copy()
    times[place + 1 :] += hold - (times[place + 1] - times[place])
    return Profile(times, profile.temperatures)


def _level(profile: Profile) -> int | None:
    """Where the longest level stretch at the highest temperature begins."""
    heat = profile.temperatures
    top = heat.max() - 0.01
    lengths = np.where((heat[:-1] >= top) & (heat[1:] >= top), np.diff(profile.times), 0.0)
    place = int(lengths.argmax())
    return place if lengths[place] > 0.0 else None


def oven_run(plan: Plan, oven: Oven, material: Material, *, is_brief: bool = False) -> CureRun:
    """One row of Ovens through its profile; a brief one that passes does not look for its shortest hold."""
    times, air = plan.profile(oven.profile)
    profile = Profile(np.array(times), np.array(air))
    lags = [PartLag("quickest place", max(oven.lag_fast, NO_LAG), 0.0, oven.start_temperature)]
    if oven.lag_slow != oven.lag_fast:
        lags.append(PartLag("slowest place", max(oven.lag_slow, NO_LAG), 0.0, oven.start_temperature))
    requirement, basis = requirement_of(plan, material, oven.hold)
    played, places = _played(plan, profile, lags, material, requirement)
    run = CureRun(
        f"{oven.part}, profile {oven.profile}",
        "oven",
        oven.part,
        played.times,
        played.air,
        places,
        requirement,
        basis,
        pitch=oven.pitch,
    )
    if not (is_brief and run.passes):
        _hold(plan, run, profile, lags, material)
    run.takt = shortest_takt(plan, plan.station(oven.station), oven.part)
    if run.takt:
        run.positions = int(cure_positions(run.dwell, run.takt))
        if oven.pitch:
            run.length = float(oven_length(run.dwell, run.takt, oven.pitch))
    run.notes.append(
        f"the part follows the air with time constants of "
        f"{oven.lag_fast / 60:g} and {oven.lag_slow / 60:g} min, as one lump; heat of "
        "cure in the part is left out"
    )
    return run


def _oven_runs(plan: Plan, oven: Oven, material: Material, is_brief: bool) -> list[CureRun]:
    return [oven_run(plan, oven, material, is_brief=is_brief)]


def _hold(plan: Plan, run: CureRun, profile: Profile, lags, material: Material) -> None:
    place = _level(profile)
    if place is None:
        run.hold_words = "the profile has no level stretch at its top"
        return
    run.hold = float(profile.times[place + 1] - profile.times[place])
    need = run.requirement
    if need.degree is None and need.equivalent is None and need.service is None:
        run.hold_words = "no schedule is stated to pass"
        return
    try:
        run.hold_needed = shortest_hold(
            lambda hold: with_hold(profile, hold),
            lags,
            kinetics_of(plan, material),
            requirement=run.requirement,
            glass=glass_of(material),
        )
    except InputError as error:
        run.hold_words = error.problems[0].message


def log_run(
    plan: Plan, record: TemperatureRecord, material: Material, hold: float | None, part: str = ""
) -> CureRun:
    """A thermocouple log, each channel a place of its own."""
    start = record.times[0]
    times = np.array(record.times) - start
    if len(times) < 2 or times[-1] <= 0.0:
        raise InputError(
            Problem(record.name, message="has one moment only", fix="a log needs two rows or more")
        )
    requirement, basis = requirement_of(plan, material, hold)
    places, grid = [], times
    for channel, temperatures in record.channels.items():
        profile = Profile(times, np.array(temperatures))
        played, found = _played(plan, profile, [PartLag(channel, NO_LAG)], material, requirement)
        places += found
        grid = played.times
    air = np.max([place.temperatures for place in places], axis=0)
    run = CureRun(f"log {record.name}", "log", part, grid, air, places, requirement, basis)
    run.hold_words = "a log is judged as it was measured"
    run.notes.append("the channels are taken as temperatures of the part itself, without a lag")
    return run


# ------------------------------------------------------------------------------------------- room


def room_runs(plan: Plan, station: Station, material: Material, *, is_brief: bool = False) -> list[CureRun]:
    """Room cure of a part dispensed at the coldest and, unless brief, the hottest time of the shift day."""
    needed = material.test_time or material.join_time or material.move_time
    if material.cure != "room" or needed is None:
        return []
    record_times, record = shop_record(plan, station)
    start = min(row.start for row in plan.shifts)
    end = max(row.end for row in plan.shifts)
    clocks = np.arange(start, end, HALF_HOUR)
    heat = np.interp(clocks, record_times, record)
    choice = {"coldest start": float(clocks[heat.argmin()]), "hottest start": float(clocks[heat.argmax()])}
    if np.ptp(heat) < SAME_HEAT:
        choice = {"any start": float(start)}
    elif is_brief:
        del choice["hottest start"]
    energy, _ = cure_energy(material)
    requirement, basis = requirement_of(plan, material, None)
    mean = float(np.mean(record))
    slow = math.exp(min(energy / GAS_CONSTANT * abs(1.0 / mean - 1.0 / material.cure_temperature), 3.0))
    span = needed * ROOM_END * slow
    runs = []
    for name, begin in choice.items():
        inner = [time for time in record_times if begin < time < begin + span]
        times = np.array([begin, *inner, begin + span])
        profile = Profile(times - begin, np.interp(times, record_times, record))
        played, places = _played(plan, profile, [PartLag(name, NO_LAG)], material, requirement, oven=False)
        cured = shop_cure(plan, station, material).times(begin)  # as the cure board has it
        places[0].milestones = {
            name: None if at is None or math.isinf(at) else at - begin
            for name, at in cured.milestones.items()
        }
        run = CureRun(
            f"room, dispensed at {hhmm(begin)} ({name})",
            "room",
            "",
            played.times,
            played.air,
            places,
            replace(requirement),
            basis,
            starts=begin,
        )
        run.takt = shortest_takt(plan, station)
        moved = places[0].milestones.get("move")
        if run.takt and moved:
            run.positions = int(cure_positions(moved, run.takt))
        runs.append(run)
    return runs


def station_runs(
    plan: Plan,
    station: Station,
    material: Material,
    log: TemperatureRecord | None = None,
    failed: list[str] | None = None,
    *,
    is_brief: bool = False,
) -> list[CureRun]:
    """Every schedule of a station: a log, ovens, the room.

    Brief ones say whether each passes and no more. With a list for `failed`, a schedule that cannot be
    computed is told there and the others go on.
    """
    ovens = [row for row in plan.ovens if row.station == station.station]
    runs: list[CureRun] = []
    if log is not None:
        hold = ovens[0].hold if ovens else None
        runs.append(log_run(plan, log, material, hold, ovens[0].part if ovens else ""))
    calls: list[tuple[str, Callable[[], list[CureRun]]]] = [
        (f"{row.part}, profile {row.profile}", partial(_oven_runs, plan, row, material, is_brief))
        for row in ovens
    ]
    calls.append(("room", partial(room_runs, plan, station, material, is_brief=is_brief)))
    for name, call in calls:
        try:
            runs += call()
        except DispenseError as error:
            if failed is None:
                raise
            failed += [f"{name}: schedule not computed: {problem}" for problem in error.problems]
    return runs


def run_findings(station: Station, material: Material, run: CureRun) -> list[Finding]:
    """What a schedule does not give, place by place."""
    longer = "cure longer or hotter"
    if run.hold_needed is not None:
        longer = f"hold {run.hold_needed / 60.0:.0f} min or longer"
    hotter = "cure hotter, longer at that temperature does not help"
    return [
        Finding(
            QUALITY,
            f"{run.name}, {place.name}: {words}",
            longer if place.stalls is None or run.hold_needed is not None else hotter,
            topic="cure",
            station=station.station,
            material=material.material,
            part=run.part,
        )
        for place in run.places
        for words in place.reasons
    ]


def early_test(station: Station, material: Material, run: CureRun) -> list[Finding]:
    """A data-sheet time to test that comes before the kinetics give full cure in the room."""
    found = []
    for place in run.places if run.kind == "room" else ():
        full, test = place.full, place.milestones.get("test")
        if full is not None and test is not None and full > test:
            words = (
                f"{run.name}: the data-sheet time to test is {test / 60.0:.0f} min, kinetics give full cure "
                f"after {full / 60.0:.0f} min"
            )
            fix = "test after the later of the two, or correct the data"
            found.append(Finding(QUALITY, words, fix, "cure", station.station, material.material))
    return found


def cure_findings(plan: Plan, station: Station) -> list[Finding]:
    """What the ovens of a station and its room, from the coldest start, do not give."""
    material = plan.material(station.material)
    failed: list[str] = []
    runs = station_runs(plan, station, material, failed=failed, is_brief=True)
    return [
        *not_computed(station, material, failed),
        *(finding for run in runs for finding in run_findings(station, material, run)),
        *(finding for run in runs for finding in early_test(station, material, run)),
    ]


def not_computed(station: Station, material: Material, failed: Sequence[str]) -> list[Finding]:
    """Findings of schedules that have no answer."""
    return [
        Finding(
            QUALITY,
            words,
            "check profile and material",
            "schedule not computed",
            station.station,
            material.material,
        )
        for words in failed
    ]


def run_rows(run: CureRun) -> list[dict[str, Any]]:
    """The places of a run in shop units."""
    rows = []
    for place in run.places:
        rows.append(
            {
                "place": place.name,
                "highest_temperature": float(from_si(place.temperatures.max(), "°C")),
                "time_at_cure": place.at_cure / 60.0,
                "equivalent_time": None if place.equivalent is None else float(place.equivalent[-1]) / 60.0,
                "degree": None if place.degrees is None else float(place.degrees[-1]),
                "glass_point": None
                if place.glass_points is None
                else float(from_si(place.glass_points[-1], "°C")),
                "gel": _minutes(place.gel),
                "handling": _minutes(place.handling),
                "join": _minutes(place.milestones.get("join")),
                "test": _minutes(place.milestones.get("test")),
                "full": _minutes(place.full),
                "full_cure": _minutes(place.full_cure),
                "passes": place.passes,
                "verdict": place.verdict,
                "reasons": place.reasons,
                "degree_before_glass": place.sure,
                "glass_from": _minutes(place.stalls),
                "glass_crossings": [
                    {
                        "time": item.time / 60.0,
                        "temperature": float(from_si(item.temperature, "°C")),
                        "hardens": item.hardens,
                    }
                    for item in place.crossings
                ],
            }
        )
    return rows


def _minutes(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 60.0


__all__ = [
    "CureRun",
    "Place",
    "cure_energy",
    "cure_findings",
    "log_run",
    "not_computed",
    "oven_run",
    "requirement_of",
    "room_runs",
    "run_findings",
    "run_rows",
    "station_runs",
    "with_hold",
]
