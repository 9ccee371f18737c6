"""What a plan's routes can deliver, told before any shift is played: pace, start-up, cures without end."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from itertools import pairwise

from ..base.clock import hhmm
from ..base.findings import NOTE, QUALITY, STOP, Finding
from ..base.printed import counted, listed
from ..base.units import duration_text, from_si
from ..plan.amounts import applied_at, in_one_go, station_work
from ..plan.records import Plan
from ..plan.routes import fates, lines, route_of, started_at
from ..plan.rows import RouteStep
from ..shift.calendar import SAME_TIME, Calendar
from ..shift.cure_times import FIRST, LOADED, cure_times
from ..shift.pace import line_pace, may_go_on, route_time, shift_takt

#: topics of what stops a line: a forecast tells them too
OF_ROUTES = NEVER, PACE, START_UP = "never goes on", "pace", "start-up of a route"
ASSUMED, TOO_SOON = "wait of a route", "wait before handling"  # topics of waits


def route_findings(plan: Plan) -> list[Finding]:
    """What of the builds the routes cannot deliver, the pace before all, and what is assumed."""
    if not plan.routes:
        return []
    found = [*_never(plan), *_assumed(plan), *short_waits(plan)]
    is_never = {item.part for item in found if item.kind == STOP}
    for names in dict.fromkeys(lines(plan).values()):
        slow = list(_too_slow(plan, names))
        parts = [part for part in dict.fromkeys(row.part for row in plan.routes) if part not in is_never]
        mine = [part for part in parts if route_of(plan, part)[0].station in names]
        found += slow or [item for part in mine for item in _start_up(plan, part)]
    return found


def _found(plan: Plan, kind: str, text: str, fix: str, topic: str, row: RouteStep) -> Finding:
    station = plan.station(row.station)
    return Finding(kind, text, fix, topic, row.station, station.material, row.part, cell=row.at)


def _going_on(plan: Plan) -> Iterator[RouteStep]:
    """Steps after which a part goes on."""
    for part in dict.fromkeys(row.part for row in plan.routes):
        yield from route_of(plan, part)[:-1]


def _never(plan: Plan) -> Iterator[Finding]:
    """Parts that never reach handling strength and so never come to the next station."""
    for row in _going_on(plan):
        if may_go_on(plan, row, 0.0) == math.inf:
            yield _found(
                plan,
                STOP,
                f"{row.part} never goes on from {row.station}: its handling strength is not reached",
                "state the oven, or the wait in Routes",
                NEVER,
                row,
            )


def _assumed(plan: Plan) -> Iterator[Finding]:
    """Waits that are blank where the material states no handling time."""
    for row in _going_on(plan):
        material = plan.material(plan.station(row.station).material)
        if row.wait is None and material.move_time is None:
            yield _found(
                plan,
                NOTE,
                f"{row.part} goes on from {row.station} at once: {material.material} states no handling time",
                "state the wait in Routes",
                ASSUMED,
                row,
            )


def short_waits(plan: Plan) -> list[Finding]:
    """Waits that are shorter than what the next station asks for, in the shift that is slowest to cure.

    One that presses loads what went on before: it asks for the time to load, any other for the handling time.
    """
    known: dict[str, list[Finding]] = plan.kept("short waits")
    if not known:
        known["plan"] = list(_too_soon(plan))
    return known["plan"]


def _too_soon(plan: Plan) -> Iterator[Finding]:
    for row, after in _pairs(plan):
        force = _force(plan, row.part, after.station)
        loaded = _longest(plan, row, LOADED) if force else 0.0
        handled = _longest(plan, row, FIRST)
        wait = handled if row.wait is None else row.wait
        if wait < loaded < math.inf:
            yield _found(
                plan,
                QUALITY,
                f"{row.part} is pressed at {after.station} with {force:.0f} N {duration_text(wait)} after "
                f"{row.station}, and may be joined or loaded after {duration_text(loaded)}",
                f"a wait of {duration_text(loaded)} in Routes, or no force there before",
                TOO_SOON,
                row,
            )
        elif row.wait is not None and row.wait < handled < math.inf:
            yield _found(
                plan,
                QUALITY,
                f"{row.part} goes on from {row.station} after {duration_text(row.wait)}, as Routes states, "
                f"and may be handled after {duration_text(handled)}",
                "state a longer wait, or leave it blank: then it is that of the cure board",
                TOO_SOON,
                row,
            )


def _pairs(plan: Plan) -> Iterator[tuple[RouteStep, RouteStep]]:
    """Steps after which a part goes on, each with the next."""
    for part in dict.fromkeys(row.part for row in plan.routes):
        yield from pairwise(route_of(plan, part))


def _force(plan: Plan, part: str, station: str) -> float:
    """The greatest force with which a station presses a part [N]; 0 where it does not."""
    joints = (row.force for row in plan.joints if (row.part, row.station) == (part, station))
    beads = (
        (row.press_force or 0.0) * (row.length or 0.0)
        for row in plan.beads
        if (row.part, row.station) == (part, station)
    )
    return max((force for force in (*joints, *beads) if force is not None), default=0.0)


def _longest(plan: Plan, row: RouteStep, milestone: str) -> float:
    """Time to a milestone of the cure in the shift slowest to reach it [s]; 0 where none is stated."""
    station = plan.station(row.station)
    starts = {plan.hours_of(*key)[0] for key in plan.days()}
    reached = [(cure_times(plan, station, row.part, start).milestones[milestone], start) for start in starts]
    return max((at - start for at, start in reached if at is not None), default=0.0)


def _too_slow(plan: Plan, names: tuple[str, ...]) -> Iterator[Finding]:
    """The shift that asks most of a line beyond its pace, and how many do."""
    worst: tuple[float, datetime.date, str] | None = None
    count = 0
    asked: dict[tuple[str, float, float, tuple[tuple[str, int], ...]], float] = {}
    for date, shift in plan.days():
        builds = plan.builds_of(date, shift)
        key = (shift, *plan.hours_of(date, shift), tuple(sorted(builds.items())))
        if key not in asked:
            calendar = Calendar.of(plan, shift, date)
            pace = line_pace(plan, names, builds, calendar)
            asked[key] = pace.good * pace.slowest.seconds / calendar.available if pace else 0.0
        if asked[key] * (1.0 - SAME_TIME) > 1.0:
            count += 1
            worst = max(worst or (0.0, date, shift), (asked[key], date, shift), key=lambda each: each[0])
    if worst is None:
        return
    _, date, shift = worst
    calendar = Calendar.of(plan, shift, date)
    pace = line_pace(plan, names, plan.builds_of(date, shift), calendar)
    assert pace is not None
    more = f"; it is too slow in {counted(count, 'shift')}" if count > 1 else ""
    yield Finding(
        STOP,
        f"line {listed(names)}: {pace.text}; {pace.good} good parts of {date} {shift} need "
        f"{duration_text(pace.good * pace.slowest.seconds)} of working time, it has "
        f"{duration_text(calendar.available)}, enough for {pace.most(calendar.available)}{more}",
        "quicken what sets the pace, give it a second nozzle or more room, or build less",
        PACE,
        pace.slowest.station,
        plan.station(pace.slowest.station).material,
        day=date,
        shift=shift,
        numbers={"good": pace.good, "pace [s]": pace.slowest.seconds},
    )


def _start_up(plan: Plan, part: str) -> Iterator[Finding]:
    """How many parts an empty line gives in the first shift that builds one, where that is not enough."""
    first = next((key for key in plan.days() if plan.builds_of(*key).get(part)), None)
    if first is None or len(route_of(plan, part)) < 2:
        return
    date, shift = first
    builds = plan.builds_of(date, shift)
    calendar = Calendar.of(plan, shift, date)
    done = _through(plan, part, builds, calendar)
    if done >= builds[part]:
        return
    row = route_of(plan, part)[0]
    time = route_time(plan, part, calendar.start)
    yield Finding(
        STOP,
        f"{part}: from an empty line at most {done} of {builds[part]} good parts are through their route by "
        f"{hhmm(calendar.end, date)}; one part alone needs {duration_text(time)}",
        "begin with parts in process, shorten the waits, or plan the rest in a later shift",
        START_UP,
        row.station,
        plan.station(row.station).material,
        part,
        date,
        shift,
        numbers={"through": done, "asked": builds[part], "route [min]": from_si(time, "min")},
    )


def _through(plan: Plan, part: str, builds: Mapping[str, int], calendar: Calendar) -> int:
    """Good parts at most that are through a route by the end of a shift that begins with an empty line.

    The part is alone on its line and nothing is purged or changed: nothing is in the way that need not be.
    Parts come at the takt, in clock time; with the work w of a part at a station of N nozzles

        finish(n) ≥ begun when it is ready, each visit where no break cuts it
        worked(finish(n)) ≥ max(worked(ready(n)), that of part n − 1) + w/N           Lindley's recursion
        leaves(n) ≥ max(finish(n), ready_next(n − room))
    """
    route, lost_at = route_of(plan, part), fates(plan, part, builds[part])
    first = plan.station(route[0].station)
    begun = sum(
        started_at(plan, each, first, count)
        for each, count in builds.items()
        if applied_at(plan, each, first)
    )
    takt = shift_takt(plan, first, calendar, begun)
    stations = [_Passed(plan, part, row, calendar) for row in route]
    through = 0
    for number, fate in enumerate(lost_at):
        ready = calendar.clock(number * takt)
        for place in range(min(fate + 1, len(route))):
            following = stations[place + 1] if place + 1 < min(fate + 1, len(route)) else None
            ready = stations[place].pass_on(ready, following)
            if ready == math.inf:  # nor do those that come later
                return through
        through += fate == len(route) and ready <= calendar.end + SAME_TIME
    return through


class _Passed:
    """When parts at the soonest come to a station of a route and leave it, one after the other."""

    def __init__(self, plan: Plan, part: str, row: RouteStep, calendar: Calendar) -> None:
        station = plan.station(row.station)
        self.plan, self.row, self.calendar = plan, row, calendar
        groups = in_one_go(applied_at(plan, part, station))
        self.visits = [
            (group[0].wait if place else 0.0, math.fsum(item.time for item in group) + station.handling_time)
            for place, group in enumerate(groups)
        ]
        self.each, self.nozzles = station_work(plan, part, station) / station.nozzles, station.nozzles
        self.worked = -math.inf  # working time at which the work on all that came is done
        self.begins: list[float] = []
        self.leaves: list[float] = []

    def pass_on(self, ready: float, following: _Passed | None) -> float:
        """One more part that is ready then: when the next station may begin it, or it is done; inf: never.

        `following` is None for one that goes no further: it is lost here, or through.
        """
        if len(self.visits) == 1 and len(self.leaves) >= self.nozzles:
            ready = max(ready, self.leaves[-self.nozzles])  # a finished part holds its nozzle
        self.begins.append(ready)
        finished = self._finished(ready)
        if following is None or finished == math.inf:
            self.leaves.append(finished)
            return finished
        goes_on, room = may_go_on(self.plan, self.row, finished), self.row.room
        leaves = finished
        if room is not None:
            begins = [*following.begins[-room:], goes_on] if room else [goes_on]
            leaves = max(finished, begins[0]) if len(begins) > room else finished
        self.leaves.append(leaves)
        return goes_on

    def _finished(self, ready: float) -> float:
        """When a part that is ready then is finished at the soonest; inf: not in the shift."""
        calendar, at = self.calendar, ready
        if ready == math.inf:
            return math.inf
        for wait, duration in self.visits:
            at = calendar.fit(at + wait, duration) + duration
        self.worked = max(self.worked, calendar.worked(ready)) + self.each
        return max(at, calendar.clock(self.worked - SAME_TIME))


__all__ = ["ASSUMED", "OF_ROUTES", "TOO_SOON", "route_findings", "short_waits"]
