"""How fast parts come: the takt of a station, how long a route takes, what sets the pace of a line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from ..plan.amounts import applied_at, station_work
from ..plan.records import Plan
from ..plan.routes import links, place_in_route, route_of, started_at
from ..plan.rows import RouteStep, Station
from .calendar import Calendar
from .cure_times import FIRST, cure_times


def shift_takt(plan: Plan, station: Station, calendar: Calendar, started: int) -> float:
    """Time between parts [s]: as stated, else that which spreads the parts started over the shift.

    Where a route begins they are spread so that the last of them is through its route by the end, but no
    closer than the slowest station of the route takes them.
    """
    if station.takt:
        return station.takt
    spread = calendar.available / started if started else math.inf
    routes = _begun_at(plan, station)
    if routes and started > 1:
        lead = max(route_time(plan, part, calendar.start) for part in routes)
        through = (calendar.available - lead) / (started - 1)
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
    """The pace of a line in a shift: what takes longest for each good part, and by how much."""

    good: int
    slowest: Load

    @property
    def text(self) -> str:
        """What sets the pace, and the pace: Seal sets the pace, 62.5 s for each good part."""
        return f"{self.slowest.what} sets the pace, {self.slowest.seconds:.1f} s for each good part"

    def most(self, available: float) -> int:
        """Good parts that so much working time gives at this pace."""
        return math.floor(available / self.slowest.seconds) if self.slowest.seconds > 0.0 else self.good


def line_pace(
    plan: Plan, stations: Iterable[str], builds: Mapping[str, int], calendar: Calendar
) -> Pace | None:
    """What sets the pace of the stations of a line; None where nothing of a route is built there.

    A station asks for its work, with handling, on all that it must start, shared by its nozzles; a takt
    that is stated for itself. Room for few parts that must wait is a bound of its own: between the start
    at one station and that at the next a part takes its work and its wait, and no more parts than the
    room and the nozzles hold can do so at once.
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
    found += _room_loads(plan, names, built, calendar)
    slowest = max(found, key=lambda load: load.seconds)
    return Pace(good, Load(slowest.what, slowest.station, slowest.seconds / good))


def _station_loads(plan: Plan, station: Station, builds: Mapping[str, int]) -> Iterator[Load]:
    """Time that a station works in a shift, and that its takt takes where it is stated and parts begin."""
    name = station.station
    work = 0.0
    begun = 0
    for part, good in builds.items():
        count = started_at(plan, part, station, good)
        work += count * station_work(plan, part, station) if applied_at(plan, part, station) else 0.0
        begun += count if place_in_route(plan, part, name) == 0 else 0
    yield Load(name, name, work / station.nozzles)
    if station.takt and begun:
        yield Load(f"Takt of {name}", name, station.takt * begun)


def _room_loads(
    plan: Plan, names: Iterable[str], built: Mapping[str, int], calendar: Calendar
) -> Iterator[Load]:
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
            yield Load(f"Room before {after}", after, taken / (room + station.nozzles))


__all__ = ["Load", "Pace", "line_pace", "may_go_on", "route_time", "shift_takt", "station_times"]
