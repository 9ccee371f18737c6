"""Routes: the stations that a part passes, in order, and how many a station must start for the good ones.

Scrap adds up along a route. Counted from its end, a station passes on what the next one starts:

    passed on at the last = good parts,   started = ⌈passed on/(1 − scrap)⌉,
    passed on before = started at the next

A part has its number from the first station to the last; at which one it is lost, if at any, is settled
when it begins (`fates`), so that the good ones come out whichever shift they are finished in.

A route goes forward: no part comes to a station twice, and no two routes lead both from one station to
another and back. What does so is refused, with its row.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from ..base.errors import NUM, Problem
from ..base.printed import listed
from .amounts import parts_started, spread_scrap
from .records import Plan
from .rows import Bead, Joint, Pot, RouteStep, Station


def route_of(plan: Plan, part: str) -> list[RouteStep]:
    """The steps of a part's route in order; none where it has no route."""
    known: dict[str, list[RouteStep]] = plan.kept("routes")
    if not known and plan.routes:
        for name, rows in plan.group(RouteStep, "part").items():
            known[name] = sorted(rows, key=lambda row: row.step)
    return known.get(part, [])


def place_in_route(plan: Plan, part: str, station: str) -> int | None:
    """The place of a station in a part's route, from 0; None where the part does not pass it by route."""
    for place, row in enumerate(route_of(plan, part)):
        if row.station == station:
            return place
    return None


def passed_on(plan: Plan, part: str, station: str, good: int) -> int:
    """Parts that a station must pass on so that so many good ones come out of their route."""
    if not plan.routes:
        return good
    place = place_in_route(plan, part, station)
    if place is None:
        return good
    for row in reversed(route_of(plan, part)[place + 1 :]):
        good = parts_started(good, plan.station(row.station))
    return good


def started_at(plan: Plan, part: str, station: Station, good: int) -> int:
    """Parts that a station must start so that so many good ones come out, of the route where there is one."""
    return parts_started(passed_on(plan, part, station.station, good), station)


def fates(plan: Plan, part: str, good: int) -> list[int]:
    """For each part that begins a route, the place of the station at which it is lost.

    Good parts have the number of stations. Each station's scrap is spread evenly among what reaches it.
    """
    route = route_of(plan, part)
    stations = [plan.station(row.station) for row in route]
    counts = [started_at(plan, part, row, good) for row in stations]
    found = [len(route)] * counts[0]
    alive = list(range(counts[0]))
    for place, (started, kept) in enumerate(pairwise([*counts, good])):
        left = []
        for number, is_lost in zip(alive, spread_scrap(started, started - kept), strict=True):
            if is_lost:
                found[number] = place
            else:
                left.append(number)
        alive = left
    return found


def links(plan: Plan) -> dict[tuple[str, str], list[RouteStep]]:
    """Station and next station, with the steps that lead from the one to the other."""
    known: dict[tuple[str, str], list[RouteStep]] = plan.kept("links")
    if not known and plan.routes:
        for part in dict.fromkeys(row.part for row in plan.routes):
            for row, following in pairwise(route_of(plan, part)):
                known.setdefault((row.station, following.station), []).append(row)
    return known


def lines(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Stations that routes join, each with all of its line in the order of the plan."""
    known: dict[str, tuple[str, ...]] = plan.kept("lines")
    if known or not plan.routes:
        return known
    group: dict[str, set[str]] = {row.station: {row.station} for row in plan.routes}
    for before, after in links(plan):
        joined = group[before] | group[after]
        for name in joined:
            group[name] = joined
    order = [row.station for row in plan.stations]
    for name, names in group.items():
        known[name] = tuple(sorted(names, key=order.index))
    return known


def stations_before(plan: Plan, station: str) -> set[str]:
    """All stations from which parts come to a station, at once or by others."""
    found: set[str] = set()
    waiting = [station]
    while waiting:
        name = waiting.pop()
        more = {before for before, after in links(plan) if after == name} - found
        found |= more
        waiting.extend(more)
    return found


# ---------------------------------------------------------------------------------------- checks


def route_problems(plan: Plan) -> Iterator[Problem]:
    """Routes that no part can take."""
    if not plan.routes:
        return
    applied: dict[str, set[str]] = {}
    rows: list[Bead | Pot | Joint] = [*plan.beads, *plan.pots, *plan.joints]
    for item in rows:
        applied.setdefault(item.part, set()).add(item.station)
    problems: list[Problem] = []
    for part in dict.fromkeys(row.part for row in plan.routes):
        problems += _one_route(plan, part, applied.get(part, set()))
    yield from problems
    if not problems:
        yield from _rooms(plan)
        yield from _circles(plan)


def _says(where: str, message: str, fix: str) -> Problem:
    return Problem(where, message=message, fix=fix, code=NUM)


def _one_route(plan: Plan, part: str, applied: set[str]) -> Iterator[Problem]:
    """The route of one part against the stations that put something on it."""
    route, seen = route_of(plan, part), dict[str, RouteStep]()
    for row in route:
        where = plan.cell(row, "station")
        if row.station in seen:
            yield _says(
                where,
                f"the route of {part} comes to {row.station} twice, first in {seen[row.station].at}",
                "loops and rework are not played: name each station once, and let its scrap cover what is "
                "done again",
            )
        elif row.station not in applied:
            yield _says(
                where,
                f"{row.station} is in the route of {part} and puts nothing on it",
                "take the row out, or give the part a bead, pot or joint there",
            )
        seen.setdefault(row.station, row)
    missing = sorted(applied - set(seen))
    if missing:
        yield _says(
            plan.cell(route[0], "part"),
            f"the route of {part} leaves out {listed(missing)}, where something is dispensed onto it",
            "name every station that the part passes",
        )
    for column in ("wait", "room"):
        if getattr(route[-1], column) is not None:
            yield _says(
                plan.cell(route[-1], column),
                f"{route[-1].station} is the last station of {part}: no next one comes after its {column}",
                "leave it blank",
            )


def _rooms(plan: Plan) -> Iterator[Problem]:
    """Parts that stand between the same two stations share the room there."""
    for (before, after), rows in links(plan).items():
        for row in rows[1:]:
            if row.room != rows[0].room:
                yield _says(
                    plan.cell(row, "room"),
                    f"between {before} and {after} there is room for {_room(row)}, in {rows[0].at} for "
                    f"{_room(rows[0])}",
                    "all parts share that room: state it alike",
                )


def _room(row: RouteStep) -> str:
    return "any number of parts" if row.room is None else f"{row.room}"


def _circles(plan: Plan) -> Iterator[Problem]:
    """Routes that lead from one station to another and back."""
    following: dict[str, set[str]] = {}
    for before, after in links(plan):
        following.setdefault(before, set()).add(after)
    for (before, after), rows in links(plan).items():
        if _reaches(following, after, before):
            yield _says(
                plan.cell(rows[0], "station"),
                f"the route of {rows[0].part} goes from {before} on to {after}, another leads back from "
                f"{after} to {before}",
                "loops are not played: give one of them a station of its own",
            )
            return


def _reaches(following: Mapping[str, set[str]], start: str, goal: str) -> bool:
    seen: set[str] = set()
    waiting: Sequence[str] = [start]
    while waiting:
        name, *waiting = waiting
        if name == goal:
            return True
        if name not in seen:
            seen.add(name)
            waiting = [*waiting, *following.get(name, ())]
    return False


__all__ = [
    "fates",
    "lines",
    "links",
    "passed_on",
    "place_in_route",
    "route_of",
    "route_problems",
    "started_at",
    "stations_before",
]
