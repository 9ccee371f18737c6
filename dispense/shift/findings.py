"""What is wrong with a played shift: parts that are not made, stock, windows, the mixer, cure."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator

from ..base.clock import earliest_text, hhmm
from ..base.findings import NOTE, QUALITY, SHORTAGE, STOP, Finding
from ..base.printed import lower_figure
from ..base.units import told_volume_text
from ..plan.rows import Component
from ..plan.tables import IN_MID_BEAD
from .cure_times import cure_basis
from .mixer import GELLED
from .pace import OUTPUT
from .results import Lost, ShiftResult, in_order, numbers_text
from .store import NANO, Store, day_over, nanolitres
from .today import PastDay

PAST_LIMIT = "told mixer past its limit"  # topic of what was made with it before now
PAST_DAY = "used past its last day"  # topic of containers that stay connected over midnight
PAST_DAY_BEFORE = "got what is past its last day"  # the same, of parts made before now
RECKONED = "reckoned half done"  # topic of parts begun before now of which nobody told whether they are done
#: share of their time up to which nozzles can be at work, changes and checks beside it (common practice, no
#: source)
WELL_USED = 0.8
MOST_BETWEEN = 2  # purges and mixer changes between parts that are not worth a warning


def _found(
    result: ShiftResult,
    kind: str,
    text: str,
    fix: str = "",
    *,
    topic: str,
    part: str = "",
    component: str = "",
    is_lasting: bool = False,
    **numbers: float,
) -> Finding:
    """A finding of this shift; one that lasts carries no day, so that it is told once."""
    return Finding(
        kind,
        text,
        fix,
        topic,
        result.station.station,
        result.material.material,
        part,
        None if is_lasting else result.date,
        "" if is_lasting else result.shift,
        numbers=numbers,
        component=component,
    )


def shift_findings(result: ShiftResult, store: Store) -> list[Finding]:
    """All that is found in a played shift."""
    return [
        *_over_full(result),
        *_output(result),
        *_lost(result),
        *(_shortage(result, letter, volume) for letter, volume in result.missing.items()),
        *(_owed(result, letter, volume) for letter, volume in result.owed.items()),
        *_expired(result, store),
        *_thrown_away(result),
        *_past_day_before(result),
        *_past_day(result, store),
        *_late(result, "surface window", result.late_surface, "treat again before dispensing"),
        *_late(result, "open time", result.late_mating, "mate sooner or set aside"),
        *_ran_empty(result),
        *_too_long(result),
        *_past_limit(result),
        *_reckoned_before(result),
        *_slow_flow(result),
        *batch_findings(result),
        *_life(result),
    ]


def component_words(result: ShiftResult, letter: str) -> str:
    """A component as a text names it: Bond 60 A."""
    name = result.material.material
    return f"{name} {letter.upper()}" if len(result.components) > 1 else name


def _output(result: ShiftResult) -> Iterator[Finding]:
    """Good parts that are not finished, and parts that stand half done."""
    for job in result.jobs:
        if job.own_finished < job.asked:
            yield _found(
                result,
                STOP,
                f"{job.part}: {job.own_finished} of {job.asked} good parts are finished by "
                f"{hhmm(result.calendar.end, result.date)}",
                _more_output(result),
                topic=OUTPUT,
                part=job.part,
                finished=job.own_finished,
                asked=job.asked,
            )
        if job.carried:
            yield _found(
                result,
                QUALITY if result.has_following else STOP,
                f"{job.part}: {job.carried} begun and not finished stand half done at the end",
                "the next shift takes them over: mind their times"
                if result.has_following
                else "finish them within their times or scrap them: the plan has no further shift",
                topic="half done",
                part=job.part,
                half_done=job.carried,
            )


def _over_full(result: ShiftResult) -> Iterator[Finding]:
    """More parts are stated as done than fit around the breaks."""
    over = result.over
    if over is not None:
        yield _found(
            result,
            QUALITY,
            f"{over.told} parts are stated as done by {hhmm(over.by, result.date)}, but only {over.fitting} "
            "fit around the breaks: the crew is assumed to have worked through them",
            "check the count: waiting times and the use of material depend on it",
            topic="done through breaks",
            told=over.told,
            fitting=over.fitting,
        )


def _more_output(result: ShiftResult) -> str:
    """What makes the parts that are missing: the line is quickened where it is not fast enough."""
    pace = result.pace
    if pace is None:
        return "longer hours, a shorter takt, fewer parts, or a quicker or second station"
    if pace.spread is None:
        return f"longer hours, fewer parts, or quicken the line: {pace.text}"
    return f"longer hours, fewer parts, or a shorter takt at {pace.spread.station}: {pace.text}"


def _lost(result: ShiftResult) -> Iterator[Finding]:
    """Parts taken over that cannot be finished within their open time."""
    parts: dict[tuple[str, str], list[Lost]] = {}
    for item in result.lost:
        parts.setdefault((item.part, item.origin), []).append(item)
    for (part, origin), lost in parts.items():
        first = lost[0]
        yield _found(
            result,
            STOP,
            f"{part} no. {numbers_text(item.serial for item in lost)} of {origin}: lost half done, the open "
            f"time of no. {first.serial} ends at {hhmm(first.latest, result.date)}, its next shot is not "
            f"on before {earliest_text(first.soonest, result.date)}",
            "set aside and scrap; begin no part late in a shift that the next cannot finish in time",
            topic="lost half done",
            part=part,
            lost=len(lost),
        )


def _shortage(result: ShiftResult, letter: str, volume: int) -> Finding:
    """Stock that does not suffice, and from when it is missed."""
    count = round(volume / nanolitres(result.components[letter].container))
    first = min(event.clock for event in result.events if event.kind == "short" and event.component == letter)
    return _found(
        result,
        STOP,
        f"stock of {component_words(result, letter)} is short by {count} container"
        f"{'s' if count > 1 else ''} ({told_volume_text(volume / NANO)})",
        f"bring or order it, needed from {hhmm(first, result.date)}",
        topic=SHORTAGE,
        component=letter,
        containers=count,
        volume_mL=volume / 1e6,
    )


def _owed(result: ShiftResult, letter: str, volume: int) -> Finding:
    """A container that stands here on paper only, since a shift before found none in store."""
    return _found(
        result,
        STOP,
        f"{told_volume_text(volume / NANO)} of {component_words(result, letter)} are counted as standing "
        "here and were missing in a shift before",
        f"bring or order it before {hhmm(result.calendar.start, result.date)}",
        topic=SHORTAGE,
        component=letter,
        volume_mL=volume / 1e6,
    )


def _expired(result: ShiftResult, store: Store) -> Iterator[Finding]:
    """Lots in store that may not be used any more."""
    for letter, component in result.components.items():
        for lot in store.expired(component, result.date):
            yield _found(
                result,
                QUALITY,
                f"{'the open container of ' if lot.opened else ''}{component_words(result, letter)} lot "
                f"{lot.lot} may not be used: last day was "
                f"{lot.last_day(component.open_life)} ({told_volume_text(lot.left / NANO)})",
                "set it aside",
                topic="expired lot",
                component=letter,
                is_lasting=True,
                volume_mL=lot.left / 1e6,
            )


def _thrown_away(result: ShiftResult) -> Iterator[Finding]:
    """Containers that stand connected as the shift begins and may not be used any more."""
    for letter, (lot, last_day, volume) in result.too_old.items():
        yield _found(
            result,
            QUALITY,
            f"the open container of {component_words(result, letter)} lot {lot} may not be used: last day "
            f"was {last_day} ({volume / 1e6:.0f} mL)",
            "throw it away and connect another",
            topic="expired container",
            volume_mL=volume / 1e6,
        )


def _by_container(items: Iterable[PastDay]) -> list[list[PastDay]]:
    """What went on parts, by the container that it came from."""
    found: dict[tuple[str, str], list[PastDay]] = {}
    for item in items:
        found.setdefault((item.letter, item.lot), []).append(item)
    return list(found.values())


def _past_day_before(result: ShiftResult) -> Iterator[Finding]:
    """Parts that got, before now and as reckoned, material whose last day was over."""
    since = -math.inf if result.since is None else result.since
    for items in _by_container(item for item in result.past_day if item.clock < since):
        first, count = items[0], len({item.on_part for item in items})
        yield _found(
            result,
            QUALITY,
            f"{count} part{'s' if count > 1 else ''} since {hhmm(first.clock, result.date)} got "
            f"{component_words(result, first.letter)} lot {first.lot}, as reckoned: its last day was "
            f"{first.last_day}",
            "hold these parts and have them judged before they go on; look at the label of what is connected",
            topic=PAST_DAY_BEFORE,
            component=first.letter,
            parts=count,
        )


def _past_day(result: ShiftResult, store: Store) -> Iterator[Finding]:
    """Containers that stay connected over midnight, past their last day: the parts that would get of them."""
    since = -math.inf if result.since is None else result.since
    for items in _by_container(item for item in result.past_day if item.clock >= since):
        first, count = items[0], len({item.on_part for item in items})
        midnight = day_over(first.last_day, result.date)
        over = max(midnight, since)
        following = next(
            (
                event.lot
                for event in sorted(result.events, key=in_order)
                if event.kind == "container" and event.component == first.letter and event.clock >= over
            ),
            "",
        )
        if not following:
            lot = store.following(
                result.components[first.letter], first.last_day + datetime.timedelta(days=1)
            )
            following = "" if lot is None else lot.lot
        when, old = "by then" if over > since else "now", told_volume_text(first.standing / NANO)
        name = component_words(result, first.letter)
        part, _, serial = first.on_part.rpartition(" no. ")
        fix = f"connect a container of lot {following} {when}"
        if not following:
            fix = f"no other usable lot is in store: bring one and connect it {when}"
        fix += f"; {old} in the old one are thrown away"
        yield _found(
            result,
            QUALITY,
            f"the open container of {name} lot {first.lot} is past its last day, {first.last_day}, from "
            f"{hhmm(midnight, result.date)} on: {count} part{'s' if count > 1 else ''} would get it, from "
            f"{part} no. {serial} at {hhmm(first.clock, result.date)} on",
            fix,
            topic=PAST_DAY,
            component=first.letter,
            parts=count,
            thrown_away_mL=first.standing / 1e6,
        )


def _late(
    result: ShiftResult, name: str, late: list[tuple[str, int, float, float]], fix: str
) -> Iterator[Finding]:
    """Parts past a window: the first of them, and the one that is latest."""
    if not late:
        return
    part, serial, latest, actual = late[0]
    many = "parts miss" if len(late) > 1 else "part misses"
    words = (
        f"{len(late)} {many} the {name}; first {part} no. {serial}: latest "
        f"{hhmm(latest, result.date)}, planned {hhmm(actual, result.date)}"
    )
    worst = max(late, key=lambda row: round(row[3] - row[2]))  # the first of equals
    if worst is not late[0]:
        words += f"; worst {worst[0]} no. {worst[1]}, {(worst[3] - worst[2]) / 60.0:.0f} min late"
    yield _found(
        result,
        STOP,
        words,
        fix,
        topic=name,
        part=part,
        parts=len(late),
        latest_by_min=(worst[3] - worst[2]) / 60.0,
    )


def _ran_empty(result: ShiftResult) -> Iterator[Finding]:
    """Containers that run empty in the middle of a part, whether or not the station is made for it."""
    for letter, component in result.components.items():
        clocks = [item.clock for item in result.ran_empty if item.letter == letter]
        if clocks:
            may = result.station.refill == IN_MID_BEAD
            yield (_refilled if may else _empty_in_part)(result, letter, component, clocks)


def _refilled(result: ShiftResult, letter: str, component: Component, clocks: list[float]) -> Finding:
    """Changes in the middle of a part at a station that is made for it: what its bead has to stand."""
    count = len(clocks)
    return _found(
        result,
        NOTE,
        f"{component_words(result, letter)} runs empty in the middle of a part {count} time"
        f"{'s' if count > 1 else ''}, first at {hhmm(clocks[0], result.date)}: the station refills in "
        f"mid-bead, the nozzle stands {result.station.container_time:.0f} s on the part for each change",
        topic="stands in mid-bead",
        times=count,
    )


def _empty_in_part(result: ShiftResult, letter: str, component: Component, clocks: list[float]) -> Finding:
    count = len(clocks)
    return _found(
        result,
        QUALITY,
        f"{component_words(result, letter)} runs empty in the middle of a part {count} time"
        f"{'s' if count > 1 else ''}, first at {hhmm(clocks[0], result.date)}: what stands there cannot "
        "finish a part, and the nozzle stands on it for the change",
        "larger or full containers; or say in Stations that it refills in mid-bead",
        topic="refill in mid-bead",
        times=count,
    )


def _too_long(result: ShiftResult) -> Iterator[Finding]:
    """Visits in which material that is fresh at their start passes its limit."""
    if not result.too_long:
        return
    worst = max(result.too_long, key=lambda item: item.share)
    count, limit = len(result.too_long), result.station.purge_share
    ends = "the pot life is over" if worst.share >= GELLED else f"the limit is {lower_figure(100.0 * limit)}%"
    yield _found(
        result,
        QUALITY,
        f"{count} time{'s' if count > 1 else ''} material passes its limit while it goes on a part, first at "
        f"{hhmm(result.too_long[0].clock, result.date)}: it reaches {worst.share:.0%} of the pot life, "
        f"{ends}",
        "a smaller mixer, more flow, a cooler shop, or the part in two visits",
        topic="limit in a part",
        times=count,
        share=worst.share,
    )


def _past_limit(result: ShiftResult) -> Iterator[Finding]:
    """What went on parts before now from a mixer that is older, as told, than its limit."""
    past, limit = result.past_limit, result.station.purge_share
    if not past:
        return
    worst, count = max(item.share for item in past), len(past)
    yield _found(
        result,
        QUALITY,
        f"{count} {'shot' if result.later_before else 'part'}{'s' if count > 1 else ''} since "
        f"{hhmm(past[0].clock, result.date)} got material past its limit, by the told age of the mixer: up "
        f"to {worst:.0%} of the pot life, the limit is {lower_figure(100.0 * limit)}%",
        "hold these parts and have them judged before they go on; put on a new mixer now",
        topic=PAST_LIMIT,
        times=count,
        share=worst,
    )


def _reckoned_before(result: ShiftResult) -> Iterator[Finding]:
    """Parts begun before now whose later shots may be open: nobody has told which."""
    if result.since is None:
        return
    since = hhmm(result.since, result.date)
    for part in result.later_before:
        yield _found(
            result,
            QUALITY,
            f"{part}: which parts begun before {since} still want a later shot, and from when on, is "
            "reckoned and not told",
            "look at the parts: pour each shot that is open, its wait after the time written on the part",
            topic=RECKONED,
            part=part,
        )


def _slow_flow(result: ShiftResult) -> Iterator[Finding]:
    """Where the parts come too slowly to keep the mixer fresh, breaks are not the cause."""
    if result.between > MOST_BETWEEN and result.life is not None:
        takt, nozzles = result.takt_stated, result.station.nozzles
        why = "waiting for parts" if takt is None else f"at a takt of {takt:.0f} s"
        if takt is not None and nozzles > 1:
            why += f", {takt * nozzles:.0f} s for each of {nozzles} nozzles,"
        fix = "a smaller mixer, a quicker takt or a cooler shop"
        if nozzles > 1 and result.busy <= WELL_USED * (nozzles - 1) * result.calendar.available:
            fix = f"one nozzle fewer, {fix}"
        limit = result.station.purge_share * result.life.at(max(result.shop_record))
        yield _found(
            result,
            QUALITY,
            f"{result.between} purges and mixer changes fall between parts, not after "
            f"breaks: {why} material stands longer in the mixer than "
            f"its limit, {limit / 60.0:.0f} min in the hottest hour",
            fix,
            topic="purges between parts",
            changes=result.between,
        )


def _life(result: ShiftResult) -> Iterator[Finding]:
    """Where the pot life of what stands in a mixer is carried beyond what is stated."""
    if result.life is not None and result.station.mixer_volume > 0.0:
        temperatures = result.temperatures[1]
        for mark in result.life.marks(min(temperatures), max(temperatures)):
            if not mark.startswith("rule of thumb"):  # the setup card says so
                yield _found(result, NOTE, f"pot life {mark}", topic="pot life", is_lasting=True)


def batch_findings(result: ShiftResult) -> list[Finding]:
    """What is wrong with the cure of a shift's parts: one finding for each part and cause."""
    material, found = result.material, []

    def add(kind: str, part: str, text: str, fix: str) -> None:
        found.append(
            Finding(
                kind,
                text,
                fix,
                topic="cure",
                station=result.station.station,
                part=part,
                material=material.material,
            )
        )

    for part, cure in {batch.part: batch.cure for batch in result.batches}.items():
        if cure.profile and cure.unreached:
            names = ", ".join(cure.unreached)
            add(
                QUALITY,
                part,
                f"{part}: oven profile {cure.profile} does not reach the time to {names}",
                "hold longer or hotter, or state the times that this oven gives",
            )
        elif cure.unreached:
            add(
                QUALITY,
                part,
                f"{part}: {material.material} cures in an oven and none is stated",
                "add a row to Ovens",
            )
        elif cure.is_never:
            add(
                QUALITY,
                part,
                f"{part}: {material.material} never cures, the air holds no water",
                "check the humidity of the station and of its record",
            )
    if material.cure == "moisture" and material.moisture_energy is None:
        add(NOTE, "", f"cure of {material.material}: {cure_basis(material, result.temperatures[1])}", "")
    return found


__all__ = ["MOST_BETWEEN", "PAST_LIMIT", "RECKONED", "batch_findings", "component_words", "shift_findings"]
