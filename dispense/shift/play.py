"""Whole plans played: every shift of every station in order of time, stock and work in process carried on."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from functools import partial

from ..base.clock import hhmm
from ..base.errors import InputError, Problem
from ..plan.records import Plan
from ..plan.routes import lines
from ..plan.rows import Station
from .calendar import Calendar
from .line import Line
from .player import WHOLE, Player, shift_calendar
from .results import ShiftResult
from .store import Store
from .today import Stretch, Today, check_now, set_standing


def play_shift(
    plan: Plan, date: datetime.date, shift: str, station: str, store: Store | None = None
) -> ShiftResult:
    """One station through one shift, from a given store (that of the plan by default).

    The stations that routes join with it are played with it.
    """
    row = plan.station(station)
    store = Store.of(plan) if store is None else store
    builds = plan.builds_of(date, shift)
    if station in lines(plan):
        players = [
            Player(plan, date, shift, plan.station(name), builds, store) for name in lines(plan)[station]
        ]
        played = Line(plan, builds, store, [player for player in players if player.result.jobs]).play()
        return next(result for result in played if result.station is row)
    return Player(plan, date, shift, row, builds, store).play()


def play_plan(
    plan: Plan,
    *,
    until: tuple[datetime.date, str] | None = None,
    stations: Iterable[str] | None = None,
    today: Today | None = None,
) -> Iterator[ShiftResult]:
    """Every shift of the plan in order of time, stock and containers carried along.

    `until` ends with that date and shift; `stations` keeps those and the others that share their
    materials (they draw on the same store) or their routes. Of the shift of `today` the rest is played,
    from now on.
    """
    chosen = list(plan.stations) if stations is None else _with_others(plan, set(stations))
    store = Store.of(plan)
    days = plan.days()
    for place, (date, shift) in enumerate(days):
        builds = plan.builds_of(date, shift)
        following = None
        if place + 1 < len(days):
            next_date, next_shift = days[place + 1]
            following = shift_calendar(plan, next_date, next_shift, (next_date - date).days)
        player = partial(_player, plan, date, shift, builds, store, following, today)
        played: dict[str, ShiftResult | None] = {}  # of stations that routes join; None: nothing to do
        for row in chosen:
            names = lines(plan).get(row.station, ())
            if names and row.station not in played:  # a line is played once, whoever of it is at work
                joined = (player(plan.station(name)) for name in names)
                at_work = [one for one in joined if one.result.jobs]
                results = {item.station.station: item for item in Line(plan, builds, store, at_work).play()}
                played |= {name: results.get(name) for name in names}
            if names:
                result = played[row.station]
                if result is not None:
                    yield result
            elif (alone := player(row)).result.jobs:
                yield alone.play()
        if until is not None and (date, shift) == until:
            return


def _player(
    plan: Plan,
    date: datetime.date,
    shift: str,
    builds: dict[str, int],
    store: Store,
    following: Calendar | None,
    today: Today | None,
    row: Station,
) -> Player:
    """The player of a station; of a shift under way the part that is over is played first."""
    stretch = WHOLE
    if today is not None and today.is_of(date, shift):
        stretch = _till_now(plan, row, builds, store, today)
    return Player(plan, date, shift, row, builds, store, following, stretch)


def _with_others(plan: Plan, names: set[str]) -> list[Station]:
    """Stations with those that share their materials or their routes, and so on."""
    before: set[str] = set()
    while names != before:
        before = names
        materials = {plan.station(name).material for name in names}
        names = names | {row.station for row in plan.stations if row.material in materials}
        names |= {other for name in names for other in lines(plan).get(name, ())}
    return [row for row in plan.stations if row.station in names]


def _till_now(plan: Plan, station: Station, builds: dict[str, int], store: Store, today: Today) -> Stretch:
    """Play the part of a shift that is over; the stretch that is left."""
    check_now(plan, today, station)
    if today.now is None:
        return Stretch(stops=today.stops)
    if station.station in lines(plan):
        raise InputError(
            Problem(
                "fill",
                "now",
                hhmm(today.now),
                message=f"{station.station} is in a route: a line is played from the start of its shift",
                fix="leave now and done out, or choose a station without a route; a stop may be given",
            )
        )
    start, _ = plan.hours_of(today.date, today.shift)
    over = Stretch(None, today.now, 0, today.done, today.stops)
    player = Player(plan, today.date, today.shift, station, builds, store, None, over)
    goes_on = bool(player.result.jobs) and today.now > start
    if goes_on:
        result = player.play()
        begun = sum(job.begun for job in result.jobs)
        if begun < today.done:
            raise InputError(
                Problem(
                    "fill",
                    "done",
                    today.done,
                    f"at most {begun}: no more fit in till {hhmm(today.now)} at {station.station}",
                )
            )
    set_standing(plan, today, station, store)
    return Stretch(today.now, None, today.done, None, today.stops, goes_on)


__all__ = ["play_plan", "play_shift"]
