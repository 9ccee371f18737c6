"""Stations that routes join, through one shift together: what one has finished the next may begin.

The stations keep their own mixers, containers, breaks and checks (`Player`). Here the parts go from one
to the next, and the room between them is kept:

    begin_j(n)  ≥ when part n may go on after station j − 1
    leaves_j(n) = max(finish_j(n), when a place before station j + 1 is free)     blocking after service

A finished part holds its nozzle until it leaves; with no place at all until the next station begins it.
Parts wait for a place in the order in which they are finished, for a nozzle in the order in which they
may go on. For parts that do not pass each other that is begin_{j+1}(n − room).

Steps are taken in the order of the clock: what is finished, what may begin since it is due and a nozzle is
free. A part never comes to the next station before it began at this one, and a nozzle that is held is let go
at a begin that lies later still: so whatever comes to a station later is due later, and no nozzle that is
free sooner is overlooked.

What stands between stations at the end of a shift stands there when the next one begins.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from ..plan.records import Plan
from ..plan.routes import lines, links, place_in_route, route_of, stations_before
from ..plan.rows import RouteStep
from .calendar import SAME_TIME
from .pace import line_pace, may_go_on
from .player import Nozzle, Player, Work
from .results import Count, Passage, ShiftResult
from .store import Between, Store


@dataclass(frozen=True, slots=True, order=True)
class Finished:
    """A part that a station has finished, under its nozzle still; in the order of the clock."""

    at: float
    number: int
    part: Between = field(compare=False)
    player: Player = field(compare=False)
    nozzle: Nozzle = field(compare=False)

    def let_go(self, at: float) -> None:
        """It leaves, and the nozzle is free."""
        self.part.left = at
        self.player.release(self.nozzle, at)


@dataclass(slots=True)
class Link:
    """The place between two stations: what stands there, what is held before it, and what went through."""

    before: str
    after: str
    room: int | None
    standing: list[Between] = field(default_factory=list)  # those that are held too
    entered: int = 0
    taken: int = 0
    free: deque[float] = field(default_factory=deque)  # from when each place is free that is
    held: deque[Finished] = field(default_factory=deque)
    gone: list[tuple[Between, float]] = field(default_factory=list)  # with when it was begun

    def __post_init__(self) -> None:
        self.free.extend([-math.inf] * (self.room or 0))

    def take_over(self, part: Between, player: Player | None, start: float) -> None:
        """A part that stood here when the shift began; one without room holds a nozzle.

        Where the station before has nothing to do in the shift, whoever is there takes it out.
        """
        self.taken += 1
        self.standing.append(part)
        if part.left is not None:
            if self.free:
                self.free.popleft()
        elif player is None:
            part.left = start
        else:
            nozzle = next(nozzle for nozzle in player.nozzles if not nozzle.is_blocked)
            nozzle.free = math.inf
            self.held.append(Finished(part.finished, self.taken, part, player, nozzle))

    def enter(self, done: Finished) -> None:
        """A part that the station before has finished: it leaves its nozzle when there is room."""
        self.entered += 1
        self.standing.append(done.part)
        if self.room is None:
            done.let_go(done.at)
        else:
            self.held.append(done)
            self._settle()

    def leave(self, part: Between, begin: float) -> None:
        """The next station begins a part: from its place, or from the nozzle that it holds."""
        self.standing.remove(part)
        self.gone.append((part, begin))
        holding = next((done for done in self.held if done.part is part), None)
        if holding is not None:
            self.held.remove(holding)
            holding.let_go(begin)
        elif self.room is not None:
            self.free.append(begin)
            self._settle()

    def _settle(self) -> None:
        """What has been held longest takes the place that has been free longest."""
        while self.held and self.free:
            done = self.held.popleft()
            done.let_go(max(done.at, self.free.popleft()))

    def was_full(self, start: float) -> bool:
        """Whether a finished part found no room here after a clock time [s]."""
        parts = [*self.standing, *(part for part, _ in self.gone)]
        return any(part.left is None or part.left > max(part.finished, start) + SAME_TIME for part in parts)

    def passage(self, start: float, end: float) -> Passage:
        """What stood here from one clock time [s] to another, and what went through."""
        stays = [(part, begin) for part, begin in self.gone] + [(part, math.inf) for part in self.standing]
        between = [(math.inf if part.left is None else part.left, begin) for part, begin in stays]
        cure = [(part.finished, min(part.ready, begin)) for part, begin in stays]
        times = [begin - left for left, begin in between[: len(self.gone)]]
        return Passage(
            self.before,
            self.after,
            self.room,
            self.taken,
            self.entered,
            len(self.gone),
            len(self.standing),
            count_over(between, start, end),
            count_over(cure, start, end),
            math.fsum(times) / len(times) if times else None,
        )


def count_over(stays: Iterable[tuple[float, float]], start: float, end: float) -> Count:
    """How many stays, from and to [s], there are at once between two clock times.

    Mean = Σ time of each within / (end − start). Who goes makes room at once for who comes.

    >>> count_over([(0.0, 2.0), (1.0, 3.0), (3.0, 9.0)], 0.0, 4.0)
    Count(peak=2, mean=1.25)
    """
    inside = [(max(a, start), min(b, end)) for a, b in stays if a < end and b > start and b > a]
    steps = sorted([(a, 1) for a, _ in inside] + [(b, -1) for _, b in inside])
    count = peak = 0
    for _, step in steps:
        count += step
        peak = max(peak, count)
    return Count(peak, math.fsum(b - a for a, b in inside) / (end - start))


class Line:
    """Plays the stations of a line through one shift."""

    def __init__(
        self, plan: Plan, builds: Mapping[str, int], store: Store, players: Sequence[Player]
    ) -> None:
        """`builds` are the good parts of the shift; `players` its stations that have something to do."""
        self.plan, self.builds, self.store = plan, builds, store
        self.players = list(players)
        self.by_name = {player.station.station: player for player in players}
        self.links = {
            (before, after): Link(before, after, rows[0].room)
            for (before, after), rows in links(plan).items()
            if after in self.by_name
        }
        self.finished: list[Finished] = []
        self.numbers = itertools.count()
        self.steps = {(row.part, row.station): row for row in plan.routes}

    def play(self) -> Iterator[ShiftResult]:
        """Run the shift; the results in the order of the stations."""
        for player in self.players:
            self._feed(player)
            player.open_up()
        for player in self.players:
            self._take_over(player)
        while self._step():
            pass
        self._hand_over()
        yield from [player.close_up() for player in self.players]

    def _step(self) -> bool:
        """Whatever is next by the clock: a part that is finished, else a part or check that may begin."""
        ready = [player for player in self.players if player.queue and not player.is_blocked]
        player = min(ready, key=lambda player: player.next_clock, default=None)
        if self.finished and (player is None or self.finished[0].at <= player.next_clock):
            done = heapq.heappop(self.finished)
            self.links[done.part.before, done.part.station].enter(done)
            self._arrive(done.part)
        elif player is not None:
            work = player.step()
            if work is not None:
                self._move(player, work)
        else:
            return False
        return True

    def _feed(self, player: Player) -> None:
        """What a station must know of the others: which parts come from them, and whether more do."""
        name = player.station.station
        parts = {job.part: place_in_route(self.plan, job.part, name) for job in player.result.jobs}
        player.fed = frozenset(part for part, place in parts.items() if place)
        player.result.is_fed = player.is_fed
        before = [self.by_name[each] for each in stations_before(self.plan, name) if each in self.by_name]
        player.more_to_come = lambda: self._comes(parts, before)

    def _comes(self, places: Mapping[str, int | None], before: Iterable[Player]) -> bool:
        """Whether a part is still on its way to a station, that has a place in its route.

        Others that begin where it does pass the station by, or are lost before they come to it.
        """
        waiting = (work for each in before if not each.is_blocked for *_, work in each.queue if work)
        finished = (done.part for done in self.finished if self.by_name[done.part.before] in before)
        found = [
            *((work.job.part, work.fate) for work in waiting),
            *((part.part, part.fate) for part in finished),
        ]
        return any((place := places.get(part)) is not None and fate >= place for part, fate in found)

    def _take_over(self, player: Player) -> None:
        """What stood before a station at the end of the shift before stands there still."""
        day = player.result.date
        parts = [part.on(day) for part in self.store.between.pop(player.station.station, ())]
        for here in parts:
            link = self.links[here.before, here.station]
            link.take_over(here, self.by_name.get(here.before), player.result.calendar.start)
        for here in sorted(parts, key=lambda part: (part.ready, part.finished)):  # as they may go on
            self._arrive(here)

    def _arrive(self, part: Between) -> None:
        if part.ready < math.inf:
            place = place_in_route(self.plan, part.part, part.station)
            self.by_name[part.station].arrive(part, is_scrap=part.fate == place)

    def _move(self, player: Player, work: Work) -> None:
        """A part has had a visit: what that means for the places before and after its station."""
        name = player.station.station
        if work.came is not None and work.turn == 1:
            self.links[work.came.before, name].leave(work.came, work.begun)
        following = self._next(work.job.part, name)
        if work.is_done and not work.is_scrap and following is not None:
            row = self.steps[work.job.part, name]
            part = Between(
                player.result.date,
                work.origin or player.origin,
                work.job.part,
                work.serial,
                work.fate,
                name,
                following.station,
                work.ended,
                may_go_on(self.plan, row, work.ended),
            )
            nozzle = player.nozzle
            nozzle.free = math.inf  # until it has left
            heapq.heappush(self.finished, Finished(work.ended, next(self.numbers), part, player, nozzle))

    def _next(self, part: str, station: str) -> RouteStep | None:
        """The step after a station in a part's route."""
        route, place = route_of(self.plan, part), place_in_route(self.plan, part, station)
        return route[place + 1] if place is not None and place + 1 < len(route) else None

    def _hand_over(self) -> None:
        """What stands between stations at the end; what each station and place has seen."""
        for player in self.players:
            links = [link for link in self.links.values() if link.after == player.station.station]
            player.shut([part for link in links for part in link.standing])
        for link in self.links.values():
            result = self.by_name[link.after].result
            result.passages.append(link.passage(result.calendar.start, result.calendar.end))
            if link.standing:
                self.store.between.setdefault(link.after, []).extend(link.standing)
        takts = {player.station.station: player.result.takt for player in self.players}
        full = {
            pair
            for pair, link in self.links.items()
            if link.was_full(self.by_name[link.after].result.calendar.start)
        }
        for player in self.players:
            result = player.result
            names = lines(self.plan)[result.station.station]
            mine = {name: takt for name, takt in takts.items() if name in names}
            result.pace = line_pace(self.plan, names, self.builds, result.calendar, mine, full)


__all__ = ["Line", "Link", "count_over"]
