"""What stands at a station between two shifts: parts half done or to be mated, mixer, containers.

Nothing vanishes: what one shift hands over the next takes over, finishes within its open time or names
as lost.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Collection, Iterable, Iterator, Sequence

from ..base.clock import WEEKDAYS
from ..base.units import MINUTE
from ..handbook.life import LifeClock
from ..plan.records import Plan
from ..plan.routes import place_in_route, route_of
from .cure_times import OpenClock
from .results import Handover, ShiftResult, numbers_text
from .store import NO_STOCK, Between, HalfDone, Store, ToMate, nanolitres

HALF_DONE, TO_MATE, MIXER = "half done", "to be mated", "mixer, closed"
TOO_OLD = ", too old: throw away"  # behind a container whose last day is over
IN_USE = ("mixer in use, as reckoned", "mixer in use, as told")
BETWEEN = "in process, from"  # and the station before


def on_the_way(plan: Plan, store: Store, station: str) -> list[str]:
    """Parts in process that will come to a station by their routes: half done before it, or between."""
    found: list[str] = []
    for part in dict.fromkeys(row.part for row in plan.routes):
        place = place_in_route(plan, part, station)
        if place is None:
            continue
        before = {row.station for row in route_of(plan, part)[:place]}
        waits = [item.part for name in {*before, station} for item in store.between.get(name, ())]
        half_done = [item.part for name in before for item in store.half_done.get(name, ())]
        if part in waits or part in half_done:
            found.append(part)
    return found


def origin_text(date: datetime.date, shift: str) -> str:
    """A shift as a hand-over names it: Mon 2026-03-02 Early."""
    return f"{WEEKDAYS[date.weekday()]} {date} {shift}"


def standing(
    result: ShiftResult,
    store: Store,
    pot: LifeClock | None,
    open_time: OpenClock | None,
    now: float,
    in_use: Collection[int] | None = None,
) -> list[Handover]:
    """What stands at the station at a time [s], by the clock of the shift's day.

    `in_use` is None where its mixers are closed; else the nozzles of which the mixer in use is told.
    """
    station, day = result.station.station, result.date
    half_done = [item.on(day) for item in store.half_done.get(station, ())]
    to_mate = [item.on(day) for item in store.to_mate.get(station, ())]
    return [
        *_half_done(result, half_done, open_time),
        *_to_mate(result, to_mate),
        *_between(result, [item.on(day) for item in store.between.get(station, ())]),
        *_mixers(result, store, pot, in_use),
        *_containers(result, store, now),
    ]


def _half_done(
    result: ShiftResult, parts: Sequence[HalfDone], open_time: OpenClock | None
) -> Iterator[Handover]:
    """Parts that wait for the same visit together."""
    groups: dict[tuple[str, str, int], list[HalfDone]] = {}
    for item in parts:
        groups.setdefault((item.part, item.origin, item.turn), []).append(item)
    for (part, origin, turn), group in groups.items():
        latest = None if open_time is None else open_time.when(min(item.begun for item in group), 1.0)
        yield Handover(
            f"{HALF_DONE}, visit {turn + 1} to come",
            part,
            _numbers(result, group, origin),
            len(group),
            min(item.due for item in group),
            latest,
        )


def _to_mate(result: ShiftResult, parts: Sequence[ToMate]) -> Iterator[Handover]:
    """Parts of one shift that wait to be mated together."""
    groups: dict[tuple[str, str], list[ToMate]] = {}
    for item in parts:
        groups.setdefault((item.part, item.origin), []).append(item)
    for (part, origin), group in groups.items():
        numbers = _numbers(result, group, origin)
        first, latest = min(item.planned for item in group), min(item.latest for item in group)
        yield Handover(TO_MATE, part, numbers, len(group), first, latest, is_planned=True)


def _between(result: ShiftResult, parts: Sequence[Between]) -> Iterator[Handover]:
    """Parts that the station before has finished, those of one shift together."""
    groups: dict[tuple[str, str, str], list[Between]] = {}
    for item in parts:
        groups.setdefault((item.part, item.origin, item.before), []).append(item)
    for (part, origin, before), group in groups.items():
        first = min(item.ready for item in group)
        numbers = _numbers(result, group, origin)
        yield Handover(f"{BETWEEN} {before}", part, numbers, len(group), first if first < math.inf else None)


def _numbers(result: ShiftResult, group: Iterable[HalfDone | ToMate | Between], origin: str) -> str:
    """Numbers of parts, and the shift that gave them where that is another."""
    numbers = numbers_text(item.serial for item in group)
    is_own = origin == origin_text(result.date, result.shift)
    return numbers if is_own else f"{numbers} of {origin}"


def _mixers(
    result: ShiftResult, store: Store, pot: LifeClock | None, in_use: Collection[int] | None
) -> Iterator[Handover]:
    """Mixers that are kept closed or in use, and until when they may be used."""
    for (station, nozzle), mixer in sorted(store.mixers.items(), key=lambda item: item[0]):  # by nozzle
        if station == result.station.station and mixer.contents:
            _, oldest = next(iter(mixer.on(result.date)))
            latest = None if pot is None else pot.when(oldest, result.station.purge_share)
            what = MIXER if in_use is None else IN_USE[nozzle in in_use]
            yield Handover(what, latest=latest, volume=nanolitres(result.station.mixer_volume))


def _containers(result: ShiftResult, store: Store, now: float) -> Iterator[Handover]:
    """Open containers, what may still be drawn of them, and the end of their last day; one that is past."""
    for letter in result.components:
        container = store.mounted.get((result.station.station, letter))
        if container is not None and container.lot.lot != NO_STOCK:
            name = f"{letter.upper()} lot " if len(result.components) > 1 else "lot "
            over = container.over(result.date)
            latest = over - MINUTE if over < math.inf else None
            state = TOO_OLD if over <= now else ""
            yield Handover(
                f"container {name}{container.lot.lot}{state}", latest=latest, volume=container.usable
            )


__all__ = [
    "BETWEEN",
    "HALF_DONE",
    "IN_USE",
    "MIXER",
    "TOO_OLD",
    "TO_MATE",
    "on_the_way",
    "origin_text",
    "standing",
]
