"""Whole plans played: every shift of every station in order of time, stock and work in process carried on."""

from __future__ import annotations

import copy
import datetime
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
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
from .start import opening_store
from .store import Store
from .today import Before, OverFull, PastDay, Stretch, Today, check_now, set_standing

HALVINGS = 6  # of the pace till now: to a sixty-fourth of what lies between printed and fastest


@dataclass(frozen=True, slots=True)
class Till:
    """How parts came till now: how hurried on a line, and at which stations through the breaks."""

    hurry: float
    through: frozenset[str]


@dataclass(frozen=True, slots=True)
class Lacking:
    """Parts told to be done at a station, of one sort or of all, and how many at most can be."""

    station: str
    part: str
    told: int
    most: int

    def problem(self, today: Today) -> Problem:
        """More is told than can be, also through the breaks."""
        assert today.now is not None
        where = f"{self.part} at {self.station}" if self.part else self.station
        till = hhmm(today.now, today.date)
        return Problem(
            "fill", "done", self.told, f"at most {self.most}: no more fit in till {till} at {where}"
        )

    def over(self, today: Today) -> OverFull:
        """More is told than fits beside the breaks."""
        assert today.now is not None
        return OverFull(self.told, self.most, today.now)


def play_shift(
    plan: Plan, date: datetime.date, shift: str, station: str, store: Store | None = None
) -> ShiftResult:
    """One station through one shift, from a given store (that of the plan by default).

    The stations that routes join with it are played with it.
    """
    store, days = opening_store(plan) if store is None else store, plan.days()
    following = _following(plan, days, days.index((date, shift))) if (date, shift) in days else None
    builds, plan = plan.builds_of(date, shift), plan.on(date)
    row = plan.station(station)
    if station in lines(plan):
        rows = [plan.station(name) for name in lines(plan)[station]]
        played = _play(plan, builds, store, _players(plan, date, shift, builds, store, following, None, rows))
        return next(result for result in played if result.station.station == station)
    return Player(plan, date, shift, row, builds, store, following).play()


def _following(plan: Plan, days: Sequence[tuple[datetime.date, str]], place: int) -> Calendar | None:
    """The plan's next shift by the clock of the day of one of its shifts; None after the last."""
    if place + 1 == len(days):
        return None
    next_date, next_shift = days[place + 1]
    return shift_calendar(plan, next_date, next_shift, (next_date - days[place][0]).days)


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
    everyone = [row.station for row in plan.stations]
    chosen = everyone if stations is None else _with_others(plan, set(stations))
    store = opening_store(plan)
    days, begun = plan.days(), set[str]()
    for place, (date, shift) in enumerate(days):
        builds = plan.builds_of(date, shift)
        following = _following(plan, days, place)
        held = plan.on(date)
        players = partial(_players, held, date, shift, builds, store, following, today)
        played: dict[str, ShiftResult | None] = {}  # of stations that routes join; None: nothing to do
        for station in chosen:
            names = lines(held).get(station, ())
            if names and station not in played:  # a line is played once, whoever of it is at work
                joined = _play(held, builds, store, players([held.station(name) for name in names]))
                results = {item.station.station: item for item in joined}
                played |= {name: results.get(name) for name in names}
            if names:
                of_line = played[station]
                mine = [] if of_line is None else [of_line]
            else:
                mine = _play(held, builds, store, players([held.station(station)]))
            for result in mine:
                result.is_first = station not in begun
                begun.add(station)
                yield result
        if until is not None and (date, shift) == until:
            return


def _players(
    plan: Plan,
    date: datetime.date,
    shift: str,
    builds: dict[str, int],
    store: Store,
    following: Calendar | None,
    today: Today | None,
    rows: Sequence[Station],
) -> list[Player]:
    """The players of stations that are played together; of a shift under way what is over is played first."""
    stretches = dict.fromkeys((row.station for row in rows), WHOLE)
    if today is not None and today.is_of(date, shift):
        stretches = _till_now(plan, rows, builds, store, following, today)
    return [
        Player(plan, date, shift, row, builds, store, following, stretches[row.station], _in_line(plan, row))
        for row in rows
    ]


def _in_line(plan: Plan, station: Station) -> bool:
    return station.station in lines(plan)


def _play(plan: Plan, builds: dict[str, int], store: Store, players: Sequence[Player]) -> list[ShiftResult]:
    """A station for itself, or the stations of a line together; those that have something to do."""
    at_work = [player for player in players if player.result.jobs]
    if any(_in_line(plan, player.station) for player in players):
        return list(Line(plan, builds, store, at_work).play())
    return [player.play() for player in at_work]


def _with_others(plan: Plan, names: set[str]) -> list[str]:
    """Stations with those that share their materials, at some time, or their routes, and so on."""
    before: set[str] = set()
    while names != before:
        before = names
        materials = {material for name in names for material in plan.materials_at(name)}
        names = names | {
            row.station for row in plan.stations if materials.intersection(plan.materials_at(row.station))
        }
        names |= {other for name in names for other in lines(plan).get(name, ())}
    return [row.station for row in plan.stations if row.station in names]


def _till_now(
    plan: Plan,
    rows: Sequence[Station],
    builds: dict[str, int],
    store: Store,
    following: Calendar | None,
    today: Today,
) -> dict[str, Stretch]:
    """Play the part of a shift that is over; the stretch of each station that is left."""
    for row in rows:
        check_now(plan, today, row)
    if today.now is None:
        return {row.station: Stretch(stops=today.stops) for row in rows}

    def play_over(kept: Store, pace: Till) -> dict[str, Player]:
        return _play_over(plan, rows, builds, kept, following, today, pace)

    def lacking(pace: Till) -> list[Lacking]:
        return _not_fitting(rows, today, play_over(copy.deepcopy(store), pace))

    def quickest(through: frozenset[str]) -> Till:
        return Till(_least_hurry(lambda hurry: not lacking(Till(hurry, through))), through)

    pace = quickest(frozenset())
    beside = lacking(pace)
    if beside:  # some may have worked through their breaks: those of whom more is told than fits, else all
        some = frozenset(item.station for item in beside)
        for through in (some, frozenset(row.station for row in rows)):
            pace = quickest(through)
            if not lacking(pace):
                break
    by_name = play_over(store, pace)
    problems = [item.problem(today) for item in _not_fitting(rows, today, by_name)]
    if problems:
        raise InputError(problems)
    over = {item.station: item.over(today) for item in beside}
    found: dict[str, Stretch] = {}
    for row in rows:
        set_standing(plan, today, row, store)
        player_of = by_name.get(row.station)
        before = {} if player_of is None else _before(player_of, store)
        goes_on = player_of is not None and player_of.is_started
        found[row.station] = Stretch(
            today.now,
            None,
            None,
            before,
            today.stops,
            goes_on,
            today.of(row.station).mixers,
            over=over.get(row.station),
            batches={} if player_of is None else player_of.batch_numbers,
            past_limit=() if player_of is None else tuple(player_of.past_limit),
            past_day=() if player_of is None else _past_day(player_of, today),
        )
    return found


def _past_day(player: Player, today: Today) -> tuple[PastDay, ...]:
    """What went on parts from a container that was too old, but where another is told to be connected."""
    told = today.of(player.station.station).mounted
    return tuple(item for item in player.result.past_day if told.get(item.letter, item.lot) == item.lot)


def _least_hurry(fits: Callable[[float], bool]) -> float:
    """The least hurry with which what is told is done: no part is taken to have cured or waited longer."""
    if fits(0.0):
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


def _play_over(
    plan: Plan,
    rows: Sequence[Station],
    builds: dict[str, int],
    store: Store,
    following: Calendar | None,
    today: Today,
    pace: Till,
) -> dict[str, Player]:
    """Play what is over of a shift; the players of stations that have something to do."""
    assert today.now is not None
    start, _ = plan.hours_of(today.date, today.shift)
    players: list[Player] = []
    if today.now > start:
        for row in rows:
            told = today.of(row.station)
            over = Stretch(
                None,
                today.now,
                told.done,
                stops=today.stops,
                mixers=told.mixers,
                hurry=pace.hurry,
                through_breaks=row.station in pace.through,
            )
            player = Player(
                plan, today.date, today.shift, row, builds, store, following, over, _in_line(plan, row)
            )
            players.append(player)
        _play(plan, builds, store, players)
    return {player.station.station: player for player in players if player.result.jobs}


def _not_fitting(rows: Sequence[Station], today: Today, players: Mapping[str, Player]) -> list[Lacking]:
    """What is told to be done and cannot be by then."""
    found: list[Lacking] = []
    for row in rows:
        done, player = today.of(row.station).done, players.get(row.station)
        begun = {} if player is None else {job.part: job.begun for job in player.result.jobs}
        asked = {"": done} if isinstance(done, int) else dict(done or {})
        for part, count in asked.items():
            most = begun.get(part, 0) if part else sum(begun.values())
            if most < count:
                found.append(Lacking(row.station, part, count, most))
    return found


def _before(player: Player, store: Store) -> dict[str, Before]:
    """What a station has begun by now of each part."""
    half_done = [item for item in store.half_done.get(player.station.station, ()) if item.is_scrap]
    found: dict[str, Before] = {}
    for job in player.result.jobs:
        bad = sum(item.part == job.part and item.origin == player.origin for item in half_done)
        found[job.part] = Before(job.begun, max(job.begun - job.scrapped - bad, 0))
    return found


__all__ = ["play_plan", "play_shift"]
