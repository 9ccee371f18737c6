"""How fast parts come: the takt of a station, how long a route takes, what sets the pace of a line."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from ..plan.amounts import applied_at, in_one_go, station_work
from ..plan.records import Plan
from ..plan.routes import links, place_in_route, route_of, started_at
from ..plan.rows import RouteStep, Station
from .calendar import Calendar
from .cure_times import FIRST, cure_times

OUTPUT = "output"  # topic of good parts that are not finished
SAME_PACE = 1e-6  # two figures that are one but for rounding
TIME_HALVINGS = 32  # of a shift: to some 10 µs


def shift_takt(plan: Plan, station: Station, calendar: Calendar, started: int) -> float:
    """Time between parts [s]: as stated, else that which spreads the parts started over the shift.

    Where a route begins they are spread so that the last of them is through its route by the end, with
    time for one change at each station, but no closer than the slowest station of the route takes them.
    """
    if station.takt:
        return station.takt
    spread = calendar.available / started if started else math.inf
    routes = _begun_at(plan, station)
    if routes and started > 1:
        last = min(latest_begin(plan, part, calendar) for part in routes)
        through = calendar.worked(last) / (started - 1)
        slowest = max(max(station_times(plan, part)) for part in routes)
        spread = min(spread, max(through, slowest))
    return spread * plan.takt_factors.get(station.station, 1.0)


def _begun_at(plan: Plan, station: Station) -> list[str]:
    """Parts whose route of several stations begins at a station."""
    known: dict[str, list[str]] = plan.kept("routes begun")
    if not known:
        for part in dict.fromkeys(row.part for row in plan.routes):
            route = route_of(plan, part)
            if len(route) > 1:
                known.setdefault(route[0].station, []).append(part)
    return known.get(station.station, [])


def may_go_on(plan: Plan, row: RouteStep, finished: float) -> float:
    """When a part that a step of its route has finished may be begun at the next [s]; inf: never.

    A wait that is stated counts from the finish; else the handling time, as on the cure board, and none
    where the material states none.
    """
    if row.wait is not None:
        return finished + row.wait
    moved = cure_times(plan, plan.station(row.station), row.part, finished).milestones[FIRST]
    return finished if moved is None else moved


def route_time(plan: Plan, part: str, start: float) -> float:
    """Time from a part's start to the end of its route, where nothing is in its way [s]."""
    at, route = start, route_of(plan, part)
    for row in route:
        station = plan.station(row.station)
        waits = math.fsum(item.wait for item in applied_at(plan, part, station)[1:])  # between shots
        at += station_work(plan, part, station) + waits
        if row is not route[-1]:
            at = may_go_on(plan, row, at)
    return at - start


def latest_begin(plan: Plan, part: str, calendar: Calendar) -> float:
    """The last time at which a part may be begun that is through its route by the end of a shift [s].

    Backwards from the end: each visit as late as no break cuts it, one change of the mixer and of the
    containers before the first (`change_time`), the cure at the temperatures of those hours. -inf: the
    shift is too short for one part.
    """
    known: dict[tuple[str, float, float, tuple[tuple[float, float], ...]], float] = plan.kept("latest begins")
    key = part, calendar.start, calendar.end, tuple(calendar.breaks)
    if key not in known:
        at, route = calendar.end, route_of(plan, part)
        for row in reversed(route):
            if row is not route[-1]:
                at = _finished_by(plan, row, at, calendar.start)
            at = _begun_by(plan, part, plan.station(row.station), at, calendar)
        known[key] = at
    return known[key]


def change_time(plan: Plan, station: Station) -> float:
    """What one change takes of all that may have to be changed at a station: mixer or purge, containers [s].

    Time for one is kept free behind the last part (common practice, no source).
    """
    mixer = max(station.mixer_time, station.purge_time) if station.mixer_volume > 0.0 else 0.0
    return mixer + station.container_time * len(plan.components_of(station.material))


def _begun_by(plan: Plan, part: str, station: Station, end: float, calendar: Calendar) -> float:
    """When a part must come to a station at the latest to be finished there by a time."""
    at = begin = end
    for group in reversed(in_one_go(applied_at(plan, part, station))):
        duration = math.fsum(item.time for item in group) + station.handling_time
        begin = calendar.fit_before(at - duration, duration)
        at = begin - group[0].wait
    return calendar.add(begin, -change_time(plan, station))


def _finished_by(plan: Plan, row: RouteStep, begin: float, start: float) -> float:
    """When a step of a route must be finished so that the part may go on by a time, not before `start`."""
    if row.wait is not None:
        return begin - row.wait
    if not start < begin or may_go_on(plan, row, start) > begin:
        return -math.inf
    low, high = start, begin
    for _ in range(TIME_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if may_go_on(plan, row, middle) <= begin else (low, middle)
    return low


def station_times(plan: Plan, part: str) -> list[float]:
    """Time that each station of a route takes for each part that the first one starts [s].

    What is lost on the way is not worked on further; nozzles side by side share the parts.
    """
    many = 1_000_000  # parts, of which the shares that go on are as good as exact
    stations = [plan.station(row.station) for row in route_of(plan, part)]
    counts = [started_at(plan, part, station, many) for station in stations]
    return [
        station_work(plan, part, station) * count / counts[0] / station.nozzles
        for station, count in zip(stations, counts, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Load:
    """What bounds a line: time that it asks for each good part [s], at a station or before it."""

    what: str
    station: str
    seconds: float


@dataclass(frozen=True, slots=True)
class Pace:
    """The pace of a line in a shift: what takes longest for each good part, and by how much.

    `spread`: where no takt is stated and parts are begun slower than that, so that they last the shift.
    """

    good: int
    slowest: Load
    spread: Load | None = None

    @property
    def binding(self) -> Load:
        """What sets the pace."""
        return self.spread or self.slowest

    @property
    def text(self) -> str:
        """What sets the pace, and the pace: Seal sets the pace, 62.5 s for each good part."""
        binding, slowest = self.binding, self.slowest
        text = f"{binding.what} sets the pace, {binding.seconds:.1f} s for each good part"
        if self.spread is None:
            return text
        return f"{text}; {slowest.what} allows {slowest.seconds:.1f} s"

    def most(self, available: float) -> int:
        """Good parts that so much working time gives at this pace."""
        return math.floor(available / self.slowest.seconds) if self.slowest.seconds > 0.0 else self.good


def line_pace(
    plan: Plan,
    stations: Iterable[str],
    builds: Mapping[str, int],
    calendar: Calendar,
    takts: Mapping[str, float] | None = None,
    full: Collection[tuple[str, str]] | None = None,
) -> Pace | None:
    """What sets the pace of the stations of a line; None where nothing of a route is built there.

    A station asks for its work, with handling, on all that it must start, shared by its nozzles; a takt
    that is stated for itself. Room for few parts that must wait is a bound of its own: between the start
    at one station and that at the next a part takes its work and its wait, and no more parts than the
    room and the nozzles hold can do so at once. `takts` [s] are those at which parts are begun; where none
    is stated and it is slower than all else, the parts asked for set the pace. `full` are the stations,
    before and after, between which a finished part found no room in a shift that was played: a room that
    would bound the line for long, and held nobody up in these hours, did not set their pace.
    """
    names = list(stations)
    built = {
        part: good
        for part, good in builds.items()
        if any(row.station in names for row in route_of(plan, part))
    }
    good = sum(built.values())
    if not good:
        return None
    found = [load for name in names for load in _station_loads(plan, plan.station(name), builds)]
    rooms = dict(_room_loads(plan, names, built, calendar))
    slowest = max([*found, *rooms.values()], key=lambda load: load.seconds)
    spread = max(_spread_loads(plan, builds, takts or {}), key=lambda load: load.seconds, default=slowest)
    if full is not None and spread.seconds <= slowest.seconds:
        bound = (load for pair, load in rooms.items() if pair in full)
        slowest = max([*found, *bound], key=lambda load: load.seconds)
    is_spread = spread.seconds > slowest.seconds * (1.0 + SAME_PACE)
    each = [Load(load.what, load.station, load.seconds / good) for load in (slowest, spread)]
    return Pace(good, each[0], each[1] if is_spread else None)


def _spread_loads(plan: Plan, builds: Mapping[str, int], takts: Mapping[str, float]) -> Iterator[Load]:
    """Time over which parts are begun where a route begins and no takt is stated."""
    for name, takt in takts.items():
        station = plan.station(name)
        if not station.takt and math.isfinite(takt):
            yield Load("The number asked for", name, takt * _begun(plan, station, builds))


def _station_loads(plan: Plan, station: Station, builds: Mapping[str, int]) -> Iterator[Load]:
    """Time that a station works in a shift, and that its takt takes where it is stated and parts begin."""
    name = station.station
    work = math.fsum(
        started_at(plan, part, station, good) * station_work(plan, part, station)
        for part, good in builds.items()
        if applied_at(plan, part, station)
    )
    begun = _begun(plan, station, builds)
    yield Load(name, name, work / station.nozzles)
    if station.takt and begun:
        yield Load(f"Takt of {name}", name, station.takt * begun)


def _begun(plan: Plan, station: Station, builds: Mapping[str, int]) -> int:
    """Parts of a shift whose route begins at a station."""
    mine = (part for part in builds if place_in_route(plan, part, station.station) == 0)
    return sum(started_at(plan, part, station, builds[part]) for part in mine)


def _room_loads(
    plan: Plan, names: Iterable[str], built: Mapping[str, int], calendar: Calendar
) -> Iterator[tuple[tuple[str, str], Load]]:
    """Time that the places between two stations are taken, shared by as many as there are."""
    for (before, after), rows in links(plan).items():
        room = rows[0].room
        if room is None or before not in names:
            continue
        station = plan.station(before)
        taken = 0.0
        for row in rows:
            count = started_at(plan, row.part, plan.station(after), built.get(row.part, 0))
            wait = may_go_on(plan, row, calendar.start) - calendar.start
            taken += count * (station_work(plan, row.part, station) + wait) if count else 0.0
        if taken < math.inf:  # else nothing ever goes on there, which is told by itself
            load = Load(f"Room before {after}", after, taken / (room + station.nozzles))
            yield (before, after), load


__all__ = [
    "OUTPUT",
    "Load",
    "Pace",
    "change_time",
    "latest_begin",
    "line_pace",
    "may_go_on",
    "route_time",
    "shift_takt",
    "station_times",
]
