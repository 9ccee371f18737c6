"""How much a shift draws, and how that answers to load and temperature.

Weeks of builds hold the same shift many times over: a station, a shift pattern and quantities. Each
distinct shift is played once by the event model of `shift`, with full containers at its start, and
once more at a few other loads and shop temperatures. The draws of a simulation are then read from
that table. Purges answer in steps, so the table is made of played shifts and not of an average.

Parts of a shift are played in the order of their names, so that the order of rows changes nothing.

The clock of a shift needs whole parts: what is started is rounded up, part by part. Totals of material
do not: they count *expected scrap*, good/(1 − scrap) started without rounding, so that a share of scrap
costs that share however many shifts the parts are spread over.
"""

from __future__ import annotations

import datetime
import itertools
import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from heapq import heappop

import numpy as np

from ..base.progress import Progress, told
from ..base.spread import spread
from ..base.workers import begin_worker
from ..plan.amounts import applications, spread_scrap
from ..plan.records import Holding, Plan
from ..plan.routes import lines
from ..plan.rows import Station, TemperaturePoint
from ..plan.tables import IN_MID_BEAD
from ..shift.calendar import Calendar
from ..shift.pace import shift_takt
from ..shift.player import Due, Player, Work
from ..shift.results import Handover, ShiftResult
from ..shift.store import NANO, Lot, Mounted, Store, heel_volume, nanolitres
from ..shift.supply import CHANGE, Change, Supply, makes_way
from ..shift.visits import Visit

#: what mixed material goes to while a station works
CAUSES = ("parts", "scrap", "start", "end", "purge", "mixers", "checks")
_SCALED = ("parts", "scrap", "checks")  # volumes that the meter and the drawing's tolerances move
_ANY_DAY = datetime.date(2000, 1, 3)
REACH = 2.5  # standard deviations that a table covers to each side
#: points of a table to each side of what is planned, where there are no more distinct shifts than so many
SIDES = ((150, 4), (1000, 2))
FEW_SHIFTS = 50  # distinct ones that are quicker played here than sent to other processes
LARGEST_STEP = 0.9
ON_PARTS = ("parts", "scrap")  # what leaves a container for a part
MANY_CHANGES = 500  # that are enough for the mean rest of a container


@dataclass(frozen=True, slots=True, order=True)
class ShiftKey:
    """A distinct shift: station, shift pattern, and the parts it works on with their quantities."""

    station: str
    shift: str
    builds: tuple[tuple[str, int], ...]
    hours: tuple[float, float] = (0.0, 0.0)  # [s after midnight]; none: those of the shift
    holding: Holding = ()  # dated figures of the station and its line that hold


class EndlessSupply(Supply):
    """Containers that are full when the shift begins, and as many more as it takes."""

    def put_on(self) -> None:
        """A full container of each component."""
        for letter in self.result.components:
            self._change(letter, None, 0.0)

    def _note_levels(self, clock: float) -> None:
        pass

    def _note_past_day(self, letter: str, clock: float, end: float, on_part: str) -> None:
        pass

    def draw(
        self, volume: int, category: str, clock: float, duration: float = 0.0, on_part: str = ""
    ) -> float:
        """Note what no part takes in its turn, and draw."""
        if volume > 0 and category not in ON_PARTS:
            self.result.turns.append((False, dict(self.split(volume))))
        return super().draw(volume, category, clock, duration, on_part)

    def _change(self, letter: str, old: Mounted[Lot] | None, clock: float, why: Change = CHANGE) -> None:
        usable, lot = max(self.full[letter], 1), Lot.missing(self.result.components[letter])
        self.store.mounted[self.keys[letter]] = Mounted(lot, usable, 0, _ANY_DAY, usable)


class LeanPlayer(Player):
    """The shift model where only volumes are wanted: no cure board, texts or pictures, stock without end.

    Containers are full when the shift begins and change at their times, as in `Player`. `started`
    replaces the number of parts started of each job.
    """

    def __init__(self, plan: Plan, key: ShiftKey, started: Sequence[int] | None = None) -> None:
        plan, self.key = plan.variant(key.holding), key
        station = plan.station(key.station)
        super().__init__(plan, _ANY_DAY, key.shift, station, dict(key.builds), Store())
        if started is not None:
            for job, count in zip(self.result.jobs, started, strict=True):
                job.quantity, job.started = min(job.quantity, count), count
            self.result.jobs = [job for job in self.result.jobs if job.started > 0]
            self.result.takt = shift_takt(plan, station, self.result.calendar, sum(started))

    def make_supply(self) -> Supply:
        """Full containers without end."""
        return EndlessSupply(self.plan, self.result, self.store)

    def make_calendar(self, shift: str) -> Calendar:
        """Working time of the distinct shift."""
        known: dict[tuple[str, tuple[float, float]], Calendar] = self.plan.kept("calendars")
        key, (start, end) = (shift, self.key.hours), self.key.hours
        if key not in known:
            is_usual = start == end
            breaks = self.plan.breaks_of(shift)
            known[key] = super().make_calendar(shift) if is_usual else Calendar(start, end, breaks)
        return known[key]

    def make_open_clock(self) -> None:
        """Nothing is mated."""

    def play(self) -> ShiftResult:
        """Run the shift; parts to which nothing happens are not looked at one by one."""
        self.open_up()
        self._plain_parts()
        while self.queue:
            self.step()
            self._plain_parts()
        return self.close_up()

    def _plain_parts(self) -> None:
        """What `step` does to parts that are due and need no more than their one visit.

        It ends before a check, and before a part that waits for a container, a purge or the next shift.
        """
        nozzle, queue, visits = self.nozzle, self.queue, self.visits
        if len(self.nozzles) > 1:
            return
        result, limit, mixer = self.result, self.station.purge_share, nozzle.mixer
        fit, suffices = result.calendar.fit, self.supply.suffices
        mounted, keys = self.store.mounted, self.supply.keys
        while queue:
            due, _, _, work = queue[0]
            if work is None:
                return
            job = work.job
            steps = visits[id(job)]
            if len(steps) > 1:
                return
            visit = steps[0]
            begin = fit(max(nozzle.free, due), visit.duration)
            if begin == math.inf or not suffices(visit.needs):
                return
            pieces = visit.pieces
            if not mixer.keeps(limit, pieces, begin) and mixer.passes(limit, pieces, begin):
                return
            heappop(queue)
            category = "scrap" if work.is_scrap else "parts"
            for letter, need in visit.needs.items():
                result.used[letter][category] += need
                mounted[keys[letter]].usable -= need
            result.turns.append((True, visit.needs))
            for volume, start, end in pieces:
                mixer.push(volume, begin + start, begin + end)
            nozzle.free = nozzle.idle_since = begin + visit.duration
            result.busy += visit.duration
            job.begun += 1
            if work.is_scrap:
                job.scrapped += 1
            else:
                job.finished += 1
                job.done[0] += 1

    def _parts(self) -> Iterator[Due]:
        """Parts to start in their order; those of one visit that look alike are one, fresh when done."""
        takt, clock = self.result.takt, self.result.calendar.clock
        number = 0
        for job in self.result.jobs:
            is_done_at_once = len(self.visits[id(job)]) == 1
            alike = {flag: Work(job, 0, flag) for flag in (False, True)} if is_done_at_once else {}
            for place, is_scrap in enumerate(spread_scrap(job.started, job.started - job.quantity)):
                yield clock(number * takt), 1, number, alike.get(is_scrap) or Work(job, place + 1, is_scrap)
                number += 1

    def _dispense(self, work: Work, visit: Visit, begin: float, number: int) -> None:
        self.result.turns.append((True, visit.needs))
        super()._dispense(work, visit, begin, number)

    def _finish(self, work: Work) -> None:
        super()._finish(work)
        work.turn = 0

    def _open(self) -> None:
        supply = self.supply
        assert isinstance(supply, EndlessSupply)
        supply.put_on()

    def _close(self) -> None:
        pass

    def _standing(self, now: float) -> list[Handover]:
        return []

    def _find(self) -> None:
        pass

    def _tell(self, clock: float, kind: str, text: Callable[[], str], volume: int = 0) -> None:
        pass

    def _note_mixer(self, clock: float, *, is_off: bool = False) -> None:
        pass

    def _note_purge(self, clock: float) -> None:
        pass

    def _note_visit(self, begin: float, ended: float) -> None:
        pass

    def _surface(self, work: Work, number: int) -> None:
        pass

    def _batch(self, work: Work) -> None:
        pass


def warmer(plan: Plan, kelvin: float) -> Plan:
    """The same plan with every shop temperature so much higher."""
    return plan.with_rows(
        Station, lambda row: replace(row, shop_temperature=row.shop_temperature + kelvin)
    ).with_rows(TemperaturePoint, lambda row: replace(row, temperature=row.temperature + kelvin))


# ----------------------------------------------------------------------------------- occurrences


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A distinct shift on its date; `key` is its place in the list of keys."""

    date: datetime.date
    shift: str
    station: str
    key: int


def holding_at(plan: Plan, date: datetime.date, station: str) -> Holding:
    """The dated figures of a station, and of those that its routes join with it, that hold on a day."""
    if not plan.dated:
        return ()
    names = {station, *lines(plan).get(station, ())}
    return tuple(
        place
        for place in plan.holding(date)
        if plan.dated[place].table == Station.TABLE and plan.dated[place].key[0] in names
    )


def occurrences(plan: Plan, until: datetime.date | None = None) -> tuple[list[ShiftKey], list[Occurrence]]:
    """Every station's shifts in order of time (before `until`), and the distinct ones among them."""
    keys: dict[ShiftKey, int] = {}
    found: list[Occurrence] = []
    stations = sorted(row.station for row in plan.stations)
    stations_of = {row.part: {item.station for item in applications(plan, row.part)} for row in plan.parts}
    for date, shift in plan.days():
        if until is not None and date >= until:
            break
        hours = plan.hours_of(date, shift)
        builds: dict[str, list[tuple[str, int]]] = {}
        for part, count in sorted(plan.builds_of(date, shift).items()):
            for station in stations_of[part] if count > 0 else ():
                builds.setdefault(station, []).append((part, count))
        for station in stations:
            if station in builds:
                held = holding_at(plan, date, station)
                distinct = ShiftKey(station, shift, tuple(builds[station]), hours, held)
                found.append(Occurrence(date, shift, station, keys.setdefault(distinct, len(keys))))
    return list(keys), found


# --------------------------------------------------------------------------------------- response


@dataclass(frozen=True, slots=True)
class Response:
    """A distinct shift as played, and its table over load and temperature.

    `used` are nanolitres by component and cause, with expected scrap. `scaled` and `fixed` are mixed
    volumes [nL] over `loads` (parts started, as a share of the whole parts that are played) and
    `offsets` of the shop temperature [K]: what the tolerances of drawing and meter move, and what they
    do not. The plan stands in them at the load `expected`, that of `lost` parts, its expected scrap.
    `up` and `down` are the half widths of those tolerances as a share.
    """

    used: dict[str, dict[str, int]]
    good: int
    lost: float
    expected: float
    purges: int
    mixers: int
    is_short: bool
    up: float
    down: float
    loads: np.ndarray
    offsets: np.ndarray
    scaled: np.ndarray
    fixed: np.ndarray

    def at(self, load: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Scaled and fixed volumes at loads and temperature offsets, linear between the points."""
        i, a = _bracket(self.loads, load)
        if len(self.offsets) == 1:
            return (_along(self.scaled[:, 0], i, a), _along(self.fixed[:, 0], i, a))
        j, b = _bracket(self.offsets, np.clip(offset, self.offsets[0], self.offsets[-1]))
        corner = i * len(self.offsets) + j
        return _bilinear(self.scaled, corner, a, b), _bilinear(self.fixed, corner, a, b)


def _bracket(grid: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Segment and share within it; beyond the ends the end segments go on."""
    place = sum((values > point for point in grid[1:-1]), np.zeros(np.shape(values), np.intp))
    return place, (values - grid.take(place)) / np.diff(grid).take(place)


def _along(table: np.ndarray, i: np.ndarray, a: np.ndarray) -> np.ndarray:
    return np.maximum(table[i] + a * (table[i + 1] - table[i]), 0.0)


def _bilinear(table: np.ndarray, corner: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Between the four points of a cell, named by the place of the first in the table row by row."""
    flat, row = table.ravel(), table.shape[1]
    first, last = flat.take(corner), flat.take(corner + 1)
    low = first + a * (flat.take(corner + row) - first)
    high = last + a * (flat.take(corner + row + 1) - last)
    return np.maximum(low + b * (high - low), 0.0)


@dataclass(frozen=True, slots=True)
class Grid:
    """Points of a response table: to each side of the plan in load and in temperature."""

    load_points: int
    temperature_points: int
    load_spread: float
    temperature_spread: float

    def offsets(self) -> list[float]:
        """Temperature offsets [K], the plan's own among them."""
        if self.temperature_spread <= 0.0 or self.temperature_points == 0:
            return [0.0]
        step = REACH * self.temperature_spread / self.temperature_points
        return [step * place for place in range(-self.temperature_points, self.temperature_points + 1)]


def grid_for(plan: Plan, count: int) -> Grid:
    """A finer table where there are few distinct shifts, a coarser one where there are many."""
    side = next((side for most, side in SIDES if count <= most), 1)
    settings = plan.settings
    return Grid(side, side, settings["demand_spread"], settings["temperature_spread"])


def play_lean(plan: Plan, key: ShiftKey, started: Sequence[int] | None = None):
    """Play a distinct shift; the result holds volumes, purges and parts, not the cure board."""
    result = LeanPlayer(plan, key, started).play()
    factor = plan.purge_factors.get(result.station.station)
    if factor is not None:
        scale_purges(result, factor)
    return result


def scale_purges(result: ShiftResult, factor: float) -> None:
    """What purges and changed mixers take, as many times as played; the first filling of mixers stays.

    mixers' = mixers·(first + factor·(n − first))/n for n mixers, `first` of them put on as the run begins.
    """
    first = min(result.station.nozzles, result.mixers)
    mixers = (first + factor * (result.mixers - first)) / result.mixers if result.mixers else 1.0
    for used in result.used.values():
        used["purge"] = round(used["purge"] * factor)
        used["mixers"] = round(used["mixers"] * mixers)


def expected_scrap(parts, scrap: float):
    """What scrap takes beside what is on good parts: parts·s/(1 − s), not rounded to whole parts.

    >>> expected_scrap(990.0, 0.01)
    10.0
    """
    return parts * scrap / (1.0 - scrap)


def used_of(result: ShiftResult) -> dict[str, dict[str, int]]:
    """Nanolitres by component and cause; scrap as expected, rests at their mean, else with whole parts."""
    scrap = result.station.scrap
    found: dict[str, dict[str, int]] = {}
    for letter, used in result.used.items():
        causes = found[letter] = {cause: used[cause] for cause in CAUSES}
        causes["scrap"] = round(expected_scrap(used["parts"], scrap))
        causes["rest"] = round(_mean_rest(result, letter, sum(causes.values())))
    return found


def _mean_rest(result: ShiftResult, letter: str, drawn: int) -> float:
    """What is left in the containers that draws of so much empty [nL], shift after shift like this one."""
    full = nanolitres(result.components[letter].container) - heel_volume(result.components[letter])
    turns = [(is_part, needs[letter]) for is_part, needs in result.turns if needs[letter]]
    return drawn * rest_share(turns, full, result.station.refill == IN_MID_BEAD)


def rest_share(turns: Iterable[tuple[bool, int]], full: int, may_empty: bool) -> float:
    """What stays in containers that make way for the next part, for each volume drawn.

    `turns` is what a shift draws, for parts or else; it is repeated, each shift with the container that the
    one before left, until a container is as one before it at the same draw, or so many were changed that
    the mean is known.

    >>> rest_share([(True, 40)] * 5, 100, False)  # two parts a container of 100, 20 are left of 80
    0.25
    >>> rest_share([(True, 40)] * 5, 100, True), rest_share([(True, 50)] * 3, 100, False)
    (0.0, 0.0)
    """
    runs = tuple((*turn, sum(1 for _ in alike)) for turn, alike in itertools.groupby(turns))
    return _rest_share(runs, full, may_empty)


@lru_cache(maxsize=4096)
def _rest_share(runs: tuple[tuple[bool, int, int], ...], full: int, may_empty: bool) -> float:
    """The same for draws of which those that are alike are counted: from container to container."""
    ends = list(itertools.accumulate(volume * count for _, volume, count in runs))
    if full <= 0 or not ends or not any(is_part for is_part, _, _ in runs):
        return 0.0
    drawn, usable, changed, left = 0, full, 0, 0
    seen: dict[tuple[int, int], tuple[int, int]] = {}
    while (state := (drawn % ends[-1], usable)) not in seen and changed < MANY_CHANGES:
        seen[state] = left, drawn
        reach = (drawn + usable) % ends[-1]  # up to where it lasts, in the shift of that draw
        place = bisect_right(ends, reach)
        is_part, volume, _ = runs[place]
        over = (reach - (ends[place - 1] if place else 0)) % volume  # what it has for that draw
        drawn += usable - over
        if is_part and makes_way(over, volume, full, may_empty):
            left, changed, usable = left + over, changed + 1, full
        else:  # it runs empty in the draw
            drawn += volume
            more = -(-(volume - over) // full)
            changed, usable = changed + more, over + more * full - volume
    before = seen.get(state, (0, 0))  # of a state that comes again only what comes in between
    return (left - before[0]) / (drawn - before[1]) if drawn > before[1] else 0.0


def _mixed(result: ShiftResult, causes: Iterable[str]) -> int:
    return sum(used[cause] for used in result.used.values() for cause in causes)


def respond(plan: Plan, key: ShiftKey, grid: Grid, plan_at: Callable[[float], Plan]) -> Response:
    """Play a distinct shift as planned and at the points of the grid."""
    base = play_lean(plan, key)
    jobs = base.jobs
    planned = [job.started for job in jobs]
    shots = [job.shot for job in jobs]
    weight = sum(count * shot.nominal for count, shot in zip(planned, shots, strict=True))
    up = sum(n * (shot.high - shot.nominal) for n, shot in zip(planned, shots, strict=True))
    down = sum(n * (shot.nominal - shot.low) for n, shot in zip(planned, shots, strict=True))
    scrap = base.station.scrap
    spread = math.hypot(grid.load_spread, math.sqrt(scrap / sum(planned)))
    step = min(max(REACH * spread / grid.load_points, 1.0 / min(planned)), LARGEST_STEP)
    counts = {tuple(planned)}
    for side in range(-grid.load_points, grid.load_points + 1):
        counts.add(tuple(max(round(n * (1.0 + side * step)), 0) for n in planned))
    counts.discard((0,) * len(planned))
    points = sorted(counts, key=lambda point: (_load(point, shots, weight), point))
    has_clock = base.life is not None and base.station.mixer_volume > 0.0
    offsets = grid.offsets() if has_clock else [0.0]
    loads = [0.0]
    rows_scaled: list[list[float]] = [[0.0] * len(offsets)]
    rows_fixed: list[list[float]] = [[]]
    fixed_causes = [cause for cause in CAUSES if cause not in _SCALED]
    good = [job.quantity for job in jobs]
    expected = _load([count / (1.0 - scrap) for count in good], shots, weight)
    for point in points:
        is_plan = point == tuple(planned)
        load = expected if is_plan else _load(point, shots, weight)
        if load <= loads[-1] + 1e-9 or (not is_plan and expected - 0.5 * step < load <= expected):
            continue
        played = [
            base if offset == 0.0 and is_plan else play_lean(plan_at(offset), key, point)
            for offset in offsets
        ]
        loads.append(load)
        rows_scaled.append([_scaled_volume(result, is_plan) for result in played])
        rows_fixed.append([float(_mixed(result, fixed_causes)) for result in played])
    # nothing started draws nothing, but the step is to the first part: its overhead stays
    rows_fixed[0] = rows_fixed[1]
    checks = float(_mixed(base, ("checks",)))
    rows_scaled[0] = [checks] * len(offsets)
    return Response(
        used_of(base),
        sum(good),
        expected_scrap(sum(good), scrap),
        expected,
        base.purges,
        base.mixers,
        base.is_short,
        up / weight if weight else 0.0,
        down / weight if weight else 0.0,
        np.array(loads),
        np.array(offsets),
        np.array(rows_scaled),
        np.array(rows_fixed),
    )


def _scaled_volume(result, is_plan: bool) -> float:
    """What goes with the parts [nL]; of the plan with its expected scrap."""
    if not is_plan:
        return float(_mixed(result, _SCALED))
    used = used_of(result).values()
    return float(sum(each[cause] for each in used for cause in _SCALED))


def _load(point: Sequence[float], shots, weight: float) -> float:
    """Load of a point as a share of that planned, by volume on parts."""
    if not weight:
        return 0.0
    return sum(count * shot.nominal for count, shot in zip(point, shots, strict=True)) / weight


_WORKER: dict = {}


def _start_worker(plan: Plan, grid: Grid) -> None:
    begin_worker()
    _WORKER["plan"], _WORKER["grid"] = plan, grid
    _WORKER["at"] = _plans(plan)


def _work(key: ShiftKey) -> Response:
    return respond(_WORKER["plan"], key, _WORKER["grid"], _WORKER["at"])


_Loads = tuple[Plan, Grid, Callable[[float], Plan]]


def _loads_of(plan: Plan, grid: Grid) -> _Loads:
    return plan, grid, _plans(plan)


def _respond(loads: _Loads, key: ShiftKey) -> Response:
    plan, grid, at = loads
    return respond(plan, key, grid, at)


def _plans(plan: Plan) -> Callable[[float], Plan]:
    made = {0.0: plan}

    def at(offset: float):
        if offset not in made:
            made[offset] = warmer(plan, offset)
        return made[offset]

    return at


def responses(
    plan: Plan,
    keys: Sequence[ShiftKey],
    grid: Grid | None = None,
    processes: int = 1,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> list[Response]:
    """The response of every distinct shift; the same whatever the number of processes or the executor."""
    grid = grid_for(plan, len(keys)) if grid is None else grid
    if executor is not None and len(keys) >= FEW_SHIFTS:
        return list(spread(executor, _loads_of, (replace(plan), grid), _respond, keys))
    if processes <= 1 or len(keys) < FEW_SHIFTS:
        at = _plans(plan)
        return [respond(plan, key, grid, at) for key in told(keys, len(keys), progress)]
    bare = replace(plan)  # without what was worked out of it
    with ProcessPoolExecutor(processes, initializer=_start_worker, initargs=(bare, grid)) as pool:
        found = pool.map(_work, keys, chunksize=max(1, len(keys) // (8 * processes)))
        return list(told(found, len(keys), progress))


__all__ = [
    "CAUSES",
    "NANO",
    "Grid",
    "LeanPlayer",
    "Occurrence",
    "Response",
    "ShiftKey",
    "expected_scrap",
    "grid_for",
    "holding_at",
    "occurrences",
    "play_lean",
    "respond",
    "responses",
    "used_of",
    "warmer",
]
