"""Stations that routes join, by the rules of the planner's docs; own code, another method than the planner's.

The planner steps through all stations of a line together by the clock. Here each station is played for
itself through the whole shift, told when parts come to it and when each that it has finished may leave; from
what the stations do it follows when parts come and leave, and all are played again until nothing changes.
What happens at a time depends only on what was before, so each round settles more of the shift, and what no
longer changes is the answer.

A finished part leaves its station when one of the places before the next one is free, in the order in which
they were finished; with no place, when the next station begins it (blocking after service, as in Buzacott and
Shanthikumar, Stochastic Models of Manufacturing Systems (1993), ch. 5, from memory).
"""

from __future__ import annotations

import copy
import datetime
import heapq
import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from . import amounts, weather
from .player import (
    WHOLE,
    Coming,
    Feed,
    Hours,
    Key,
    Passing,
    Played,
    Shift,
    Store,
    Stretch,
    lost,
    open_store,
    to_start,
)
from .reading import Plant

MOST_ROUNDS = 400


# ------------------------------------------------------------------------------------------- routes


def route(plant: Plant, part: str) -> list[Any]:
    """The steps of a part, in order."""
    return sorted((row for row in plant.routes if row.part == part), key=lambda row: row.step)


def routed(plant: Plant) -> list[str]:
    """Parts with a route, in the order of their rows."""
    return list(dict.fromkeys(row.part for row in plant.routes))


def station_of(plant: Plant, name: str) -> Any:
    """The station of a name."""
    return next(row for row in plant.stations if row.station == name)


def place_of(plant: Plant, part: str, station: str) -> int | None:
    """Where a station stands in the route of a part, from 0."""
    names = [row.station for row in route(plant, part)]
    return names.index(station) if station in names else None


def links(plant: Plant) -> dict[tuple[str, str], list[Any]]:
    """Station and next station, with the rows that lead from the one to the other."""
    found: dict[tuple[str, str], list[Any]] = {}
    for part in routed(plant):
        for row, following in pairwise(route(plant, part)):
            found.setdefault((row.station, following.station), []).append(row)
    return found


def line_of(plant: Plant, station: str) -> list[str]:
    """All stations that routes join with a station, in the order of the plan; none without a route."""
    found = {station} & {row.station for row in plant.routes}
    for _ in plant.stations:
        for pair in links(plant):
            if found & set(pair):
                found |= set(pair)
    return [row.station for row in plant.stations if row.station in found]


def good_at(plant: Plant, part: str, station: str, good: int) -> int:
    """Good parts that a station must pass on: what the next one starts, counted from the end of the route."""
    place = place_of(plant, part, station)
    if place is not None:
        for row in reversed(route(plant, part)[place + 1 :]):
            good = to_start(good, station_of(plant, row.station))
    return good


def started_at(plant: Plant, part: str, station: Any, good: int) -> int:
    """Parts that a station must start."""
    return to_start(good_at(plant, part, station.station, good), station)


def fates_of(plant: Plant, part: str, good: int) -> list[int]:
    """For each part that begins a route the place of the station at which it is lost, else their number."""
    rows = route(plant, part)
    counts = [started_at(plant, part, station_of(plant, row.station), good) for row in rows] + [good]
    found = [len(rows)] * counts[0]
    alive = list(range(counts[0]))
    for place, (before, after) in enumerate(pairwise(counts)):
        bad = [number for number, is_bad in zip(alive, lost(before, after), strict=True) if is_bad]
        for number in bad:
            found[number] = place
        alive = [number for number in alive if number not in bad]
    return found


def goes_on(plant: Plant, row: Any, finished: float) -> float:
    """When a part may go on: after the wait, else after the handling time along the shop's temperature."""
    return handled(plant, row, finished) if row.wait is None else finished + row.wait


def handled(plant: Plant, row: Any, finished: float, time: float | None = None) -> float:
    """When a part that a station has finished may be handled, along the shop's temperature.

    Or when what the data sheet states as another `time` is over.
    """
    station = station_of(plant, row.station)
    material = plant.material(station.material)
    time = material.move_time if time is None else time
    if time is None:
        return finished
    assert material.cure == "room", "the golden routes leave the wait to room cures only"
    at = material.cure_temperature, weather.energy_of(material), material.halving_step, 8
    sky = weather.Day.of(plant, station)
    return weather.room_ageing(sky, time, *at).when(finished)


def work(plant: Plant, part: str, station: str) -> float:
    """Time of a part under the nozzle, handling of each of its visits with it; nothing purged or changed."""
    shots = [shot for shot in amounts.shots_of(plant, part) if shot.station == station]
    visits = sum(shot.wait > 0 or not place for place, shot in enumerate(shots))
    row = station_of(plant, station)
    return sum(shot.seconds for shot in shots) + visits * row.handling_time


def way(plant: Plant, part: str, start: float) -> float:
    """Time from a part's start to the end of its route, nothing in its way."""
    at, rows = start, route(plant, part)
    for row in rows:
        shots = [shot for shot in amounts.shots_of(plant, part) if shot.station == row.station]
        at += work(plant, part, row.station) + sum(shot.wait for shot in shots[1:])
        if row is not rows[-1]:
            at = goes_on(plant, row, at)
    return at - start


def through_at(plant: Plant, part: str, begun: float, hours: Hours) -> float:
    """When a part that is begun then is through its route; inf: not in the shift.

    At each station it waits for one change of the mixer (or its purge) and of all containers; no visit is
    cut by a break, nobody changes anything in one.
    """
    at, rows = begun, route(plant, part)
    for row in rows:
        station = station_of(plant, row.station)
        change = max(station.mixer_time, station.purge_time) if station.mixer_volume > 0 else 0.0
        change += station.container_time * len(plant.parts_of(station.material))
        at = hours.at(hours.worked(at) + change)
        shots = [shot for shot in amounts.shots_of(plant, part) if shot.station == row.station]
        while shots:
            later = [place for place, shot in enumerate(shots) if place and shot.wait > 0]
            first, shots = shots[: (later or [len(shots)])[0]], shots[(later or [len(shots)])[0] :]
            seconds = sum(shot.seconds for shot in first) + station.handling_time
            begin = hours.fit(at, seconds)
            if begin is None:
                return math.inf
            at = begin + seconds + (shots[0].wait if shots else 0.0)
        if row is not rows[-1]:
            at = goes_on(plant, row, at)
    return at


def last_begin(plant: Plant, part: str, hours: Hours) -> float:
    """The last time from which a part is through its route by the end; -inf: there is none."""
    low, high = hours.start, hours.end
    if through_at(plant, part, low, hours) > hours.end + 1e-6:
        return -math.inf
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if through_at(plant, part, middle, hours) <= hours.end else (low, middle)
    return low


def takt_of(plant: Plant, station: Any, hours: Hours, started: int) -> float:
    """Where a route begins: the last part is through it by the end, one change at each station before it,
    no closer than the slowest takes them."""
    spread = hours.available / started if started else math.inf
    begun = [part for part in routed(plant) if place_of(plant, part, station.station) == 0]
    begun = [part for part in begun if len(route(plant, part)) > 1]
    if not begun or started < 2:
        return spread
    through = hours.worked(min(last_begin(plant, part, hours) for part in begun)) / (started - 1)
    slowest = 0.0
    for part in begun:
        share = 1.0  # of those begun that come to the station
        for row in route(plant, part):
            there = station_of(plant, row.station)
            slowest = max(slowest, work(plant, part, row.station) * share / there.nozzles)
            share *= 1 - there.scrap
    return min(spread, max(through, slowest))


# --------------------------------------------------------------------------------------------- pace


@dataclass(frozen=True)
class Pace:
    """What sets the pace, at or before which station, and the time for each good part."""

    what: str
    station: str
    seconds: float
    good: int
    able: tuple[str, float] | None = None  # where the number asked for sets it: what would else, and its time


def pace_of(
    plant: Plant,
    names: list[str],
    builds: dict[str, int],
    hours: Hours,
    takts: dict[str, float] | None = None,
    full: list[str] | None = None,
) -> Pace | None:
    """The longest time that a station, its takt or the room before one is taken, for each good part.

    Room: from its start at one station to that at the next a part takes its work and its wait; no more can do
    so at once than the room and the nozzles hold (Little: L = λ·W). Where no takt is stated, parts begin at
    `takts`, and where that is slower than all else the number asked for sets the pace. `full`: stations
    before which a finished part of a played shift found no room; the room before another held nobody up.
    """
    built = {part: good for part, good in builds.items() if any(place_of(plant, part, n) == 0 for n in names)}
    good = sum(built.values())
    if not good:
        return None
    found = []
    for name in names:
        station = station_of(plant, name)
        at_work = {
            part: started_at(plant, part, station, count)
            for part, count in builds.items()
            if any(shot.station == name for shot in amounts.shots_of(plant, part))
        }
        busy = sum(count * work(plant, part, name) for part, count in at_work.items()) / station.nozzles
        found.append((busy, name, name))
        begun = sum(count for part, count in at_work.items() if place_of(plant, part, name) == 0)
        if station.takt and begun:
            found.append((station.takt * begun, f"Takt of {name}", name))
    for (before, after), rows in links(plant).items():
        if before in names and rows[0].room is not None:
            taken = 0.0
            for row in rows:
                count = started_at(plant, row.part, station_of(plant, after), built.get(row.part, 0))
                wait = goes_on(plant, row, hours.start) - hours.start
                taken += count * (work(plant, row.part, before) + wait)
            places = rows[0].room + station_of(plant, before).nozzles
            found.append((taken / places, f"Room before {after}", after))
    asked = max([0.0, *(time for _, time in _asked(plant, builds, takts or {}))])
    if full is not None and asked <= max(found)[0]:
        found = [item for item in found if not item[1].startswith("Room before") or item[2] in full]
    seconds, what, station = max(found, key=lambda item: item[0])
    for name, time in _asked(plant, builds, takts or {}):
        if seconds * (1 + 1e-6) < time < math.inf:
            return Pace("The number asked for", name, time / good, good, (what, seconds / good))
    return Pace(what, station, seconds / good, good)


def _asked(plant: Plant, builds: dict[str, int], takts: dict[str, float]) -> list[tuple[str, float]]:
    """Where a route begins without a takt: the time over which its parts are begun."""
    found = []
    for name, takt in takts.items():
        first = station_of(plant, name)
        begun = sum(
            started_at(plant, part, first, count)
            for part, count in builds.items()
            if place_of(plant, part, name) == 0
        )
        if not first.takt and begun and takt < math.inf:
            found.append((name, takt * begun))
    return found


def through_by_the_end(plant: Plant, part: str, good: int, started: int, hours: Hours) -> int:
    """Good parts through their route by the end of a shift that begins with an empty line, at most.

    The part is alone and nothing is purged or changed. By the clock: each visit after the one before and
    where no break cuts it; by work: of parts that come in turn the n − k + 1 from k to n take as many times
    the work of one, shared by the nozzles; by room: one leaves when that so many before it is begun.
    """
    rows = route(plant, part)
    first = station_of(plant, rows[0].station)
    takt = first.takt or takt_of(plant, first, hours, started)
    comes: list[list[float]] = [[] for _ in rows]
    leaves: list[list[float]] = [[] for _ in rows]
    done = 0
    for number, fate in enumerate(fates_of(plant, part, good)):
        ready = hours.at(number * takt)
        for place, row in enumerate(rows[: fate + 1]):
            station = station_of(plant, row.station)
            visits = visits_at(plant, part, row.station)
            if len(visits) == 1 and len(leaves[place]) >= station.nozzles:
                ready = max(ready, leaves[place][-station.nozzles])
            comes[place].append(ready)
            ended: float | None = ready
            for wait, seconds in visits:
                begin = hours.fit(ended + wait, seconds)
                ended = None if begin is None else begin + seconds
                if ended is None:
                    return done  # nor can any that comes later
            each = work(plant, part, row.station) / station.nozzles
            busy = [hours.worked(at) + each * (len(comes[place]) - k) for k, at in enumerate(comes[place])]
            ended = max(ended, hours.at(max(busy) - 1e-6))
            leaves[place].append(ended)
            if fate > place and row is not rows[-1]:
                ready = goes_on(plant, row, ended)
                if row.room is not None:
                    queue = [*comes[place + 1], ready]
                    leaves[place][-1] = max(ended, queue[-1 - row.room] if len(queue) > row.room else ended)
            elif fate > place:
                done += ended <= hours.end + 1e-6
    return done


def visits_at(plant: Plant, part: str, station: str) -> list[tuple[float, float]]:
    """Wait before each visit of a part to a station, and its time with handling."""
    found: list[tuple[float, float]] = []
    for shot in amounts.shots_of(plant, part):
        if shot.station != station:
            continue
        if not found or shot.wait > 0:
            found.append((shot.wait if found else 0.0, station_of(plant, station).handling_time))
        found[-1] = found[-1][0], found[-1][1] + shot.seconds
    return found


# ------------------------------------------------------------------------------------------- the line


@dataclass
class Between:
    """What passes between two stations in a shift: those that stood there, then those finished in it."""

    before: str
    after: str
    room: int | None
    parts: list[Passing]
    taken: int
    begins: dict[Key, float]

    def settle(self, no_one_before: bool, start: float) -> None:
        """When each part leaves its station: by the order of finish, as places come free."""
        places: list[float] = []  # when each place that is taken is free again
        standing = [part for part in self.parts[: self.taken] if part.left is not None]
        if self.room is not None:
            for part in standing:
                heapq.heappush(places, self.begins.get(part.key, math.inf))
        for part in self.parts:
            if part in standing:
                continue
            begin = self.begins.get(part.key, math.inf)
            if self.room is None:
                part.left = part.finished
            elif no_one_before:
                part.left = start  # whoever is there takes it out
            elif len(places) < self.room:
                part.left = part.finished
                heapq.heappush(places, begin)
            elif not places or begin <= places[0]:
                part.left = begin  # from the nozzle
            else:
                part.left = max(part.finished, heapq.heappop(places))
                heapq.heappush(places, begin)


class Line:
    """The stations of a line through one shift."""

    def __init__(
        self,
        plant: Plant,
        day: datetime.date,
        shift: str,
        names: list[str],
        store: Store,
        following: Hours | None,
        stretch: Stretch,
    ):
        self.plant, self.day, self.shift, self.names, self.store = plant, day, shift, names, store
        self.following, self.stretch = following, stretch
        self.builds = plant.builds_of(day, shift)
        self.hours = Hours(plant, day, shift, 0, stretch.stops)
        self.links = {pair: rows for pair, rows in links(plant).items() if pair[0] in names}

    def play(self) -> list[Played]:
        """Round after round until nothing changes; the store is that of the last one."""
        standing = {
            pair: [
                part.on(self.day) for part in self.store.between.get(pair[1], []) if part.before == pair[0]
            ]
            for pair in self.links
        }
        comes: dict[str, list[Coming]] = {name: [] for name in self.names}
        leaves: dict[str, dict[Key, float]] = {name: {} for name in self.names}
        held: dict[str, list[float]] = {name: [] for name in self.names}
        for _ in range(MOST_ROUNDS):
            store = copy.deepcopy(self.store)
            played: dict[str, Played] = {}
            players: dict[str, Shift] = {}
            for name in self.names:
                feed = self.feed(name)
                feed.comes, feed.leaves, feed.held = comes[name], leaves[name], held[name]
                station = station_of(self.plant, name)
                started = sum(self.started(part, name) for part in self.builds)
                takt = takt_of(self.plant, station, self.hours, started)
                player = Shift(
                    self.plant, self.day, self.shift, station, store, self.following, feed, takt, self.stretch
                )
                if player.played.jobs:
                    played[name], players[name] = player.play(), player
            between = {pair: self.between(pair, played, standing[pair]) for pair in self.links}
            before = comes, leaves, held
            comes, leaves, held = self.settle(between, played)
            if (comes, leaves, held) == before:
                self.store.__dict__.update(store.__dict__)
                self.hand_over(between, players)
                return list(played.values())
        raise AssertionError("the rounds do not settle")

    def started(self, part: str, name: str) -> int:
        """Parts that a station starts in the shift."""
        if not any(shot.station == name for shot in amounts.shots_of(self.plant, part)):
            return 0
        return started_at(self.plant, part, station_of(self.plant, name), self.builds[part])

    def feed(self, name: str) -> Feed:
        """What a station is told before anything is played."""
        place = {part: place_of(self.plant, part, name) for part in routed(self.plant)}
        mine = {part: at for part, at in place.items() if at is not None}
        return Feed(
            fed={part for part, at in mine.items() if at},
            passing={part for part, at in mine.items() if at + 1 < len(route(self.plant, part))},
            good={part: good_at(self.plant, part, name, good) for part, good in self.builds.items()},
            fates={
                part: fates_of(self.plant, part, self.builds[part])
                for part, at in mine.items()
                if not at and self.builds.get(part)
            },
            place=mine,
            on_the_way=[part for part, at in mine.items() if self.is_on_the_way(part, at)],
        )

    def is_on_the_way(self, part: str, place: int) -> bool:
        """Whether one stands in process before a place of its route."""
        names = [row.station for row in route(self.plant, part)][: place + 1]
        return any(item.key[0] == part for name in names for item in self.store.between.get(name, [])) or any(
            item.part == part for name in names[:-1] for item in self.store.half_done.get(name, [])
        )

    def between(self, pair: tuple[str, str], played: dict[str, Played], standing: list[Passing]) -> Between:
        """What passes between two stations, when it is finished and when begun."""
        parts = [replace(part) for part in standing]
        rows = {row.part: row for row in self.links[pair]}
        if pair[0] in played:
            for finished, key, fate in sorted(played[pair[0]].finishes):
                if key[0] in rows:
                    ready = goes_on(self.plant, rows[key[0]], finished)
                    parts.append(Passing(self.day, key, fate, *pair, finished, ready, None))
        begins = played[pair[1]].begins if pair[1] in played else {}
        mine = {part.key: begins[part.key] for part in parts if part.key in begins}
        link = Between(*pair, self.links[pair][0].room, parts, len(standing), mine)
        link.settle(pair[0] not in played, self.hours.start)
        return link

    def settle(
        self, between: dict[tuple[str, str], Between], played: dict[str, Played]
    ) -> tuple[dict[str, list[Coming]], dict[str, dict[Key, float]], dict[str, list[float]]]:
        """When parts come to each station, when those that it finished leave, what holds its nozzles."""
        comes: dict[str, list[Coming]] = {name: [] for name in self.names}
        leaves: dict[str, dict[Key, float]] = {name: {} for name in self.names}
        held: dict[str, list[float]] = {name: [] for name in self.names}
        arrivals = []
        for link in between.values():
            for number, part in enumerate(link.parts):
                assert part.left is not None
                arrivals.append((part.ready, part.finished, link.after, part))
                if number >= link.taken:
                    leaves[link.before][part.key] = part.left
                elif part.left > self.hours.start and link.before in played:
                    held[link.before].append(part.left)
        for ready, finished, after, part in sorted(arrivals, key=lambda item: item[:2]):
            place = place_of(self.plant, part.key[0], after)
            comes[after].append(Coming(part.key, ready, finished, part.fate, part.fate == place))
        return comes, leaves, held

    def hand_over(self, between: dict[tuple[str, str], Between], players: dict[str, Shift]) -> None:
        """What stands between at the end, what went through, what sets the pace."""
        played = {name: player.played for name, player in players.items()}
        start, end = self.hours.start, self.hours.end
        for name in self.names:
            self.store.between.pop(name, None)
        for link in between.values():
            if link.after not in played:
                continue
            rest = [part for part in link.parts if part.key not in link.begins]
            for part in rest:
                part.left = None if part.left == math.inf else part.left
            if rest:
                self.store.between.setdefault(link.after, []).extend(rest)
            stays = [(part, link.begins.get(part.key, math.inf)) for part in link.parts]
            there = [(math.inf if part.left is None else part.left, begin) for part, begin in stays]
            cures = [(part.finished, min(part.ready, begin)) for part, begin in stays]
            gone = [begin - part.left for part, begin in stays if begin < math.inf]
            played[link.after].passages.append(
                {
                    "before": link.before,
                    "after": link.after,
                    "room": link.room,
                    "taken": link.taken,
                    "entered": len(link.parts) - link.taken,
                    "begun": len(gone),
                    "handed": len(rest),
                    "between": at_once(there, start, end),
                    "cure": at_once(cures, start, end),
                    "stay": sum(gone) / len(gone) if gone else None,
                }
            )
        takts = {name: run.takt for name, run in played.items()}
        full = [
            link.after
            for link in between.values()
            if link.after in played
            and any(
                part.left in (None, math.inf) or part.left > max(part.finished, start) + 1e-6
                for part in link.parts
            )
        ]
        pace = pace_of(self.plant, self.names, self.builds, self.hours, takts, full)
        for run in played.values():
            run.pace = pace
            run.handed_over = players[run.station.station].stands()


def at_once(stays: list[tuple[float, float]], start: float, end: float) -> tuple[float, int]:
    """How many there are on the mean of the clock time, and at most; who goes makes room for who comes."""
    inside = [(max(a, start), min(b, end)) for a, b in stays if min(b, end) > max(a, start)]
    most = max((sum(a <= at < b for a, b in inside) for at, _ in inside), default=0)
    return sum(b - a for a, b in inside) / (end - start), most


# ------------------------------------------------------------------------------------------- the plan


def play(plant: Plant, stretches: dict[tuple[datetime.date, str], Stretch] | None = None) -> list[Played]:
    """Every shift and station with parts, in order of time; `stretches` are what of a shift is played."""
    store, found, days = open_store(plant), [], plant.days()
    for place, (day, shift) in enumerate(days):
        following = None
        if place + 1 < len(days):
            following = Hours(plant, *days[place + 1], (days[place + 1][0] - day).days)
        stretch = (stretches or {}).get((day, shift), WHOLE)
        done: dict[str, Played] = {}
        for station in plant.stations:
            name = station.station
            names = line_of(plant, name)
            if names and name not in done:
                runs = Line(plant, day, shift, names, store, following, stretch).play()
                done |= {run.station.station: run for run in runs} | {
                    other: None for other in names if other not in {run.station.station for run in runs}
                }
            if names:
                found += [done[name]] if done[name] else []
                continue
            player = Shift(plant, day, shift, station, store, following, stretch=stretch)
            if player.played.jobs:
                found.append(player.play())
    return found
