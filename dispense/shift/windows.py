"""Latest clock times: until when a treated surface must get its material, and a part its mate.

A treated surface (plasma, primer, wipe) keeps for the time that the material record states, and
dispensed material stays open for its open time. Both run on through a break. `latest_times` picks from
a played shift the few times that an operator needs: the first part, the part that waits over each
break, and the parts that come too late. A clock list tells each where it can still be kept: when the part
is begun or can be mated, or while someone is at work before its surface must be treated again.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from ..base.clock import hhmm
from ..base.units import duration_text
from .calendar import SAME_TIME
from .results import ShiftResult

SURFACE, OPEN = "surface window", "open time"


@dataclass(frozen=True, slots=True)
class Window:
    """A latest clock time [s], for which parts, and what to do; from `act` [s] on it can be done."""

    clock: float
    act: float
    kind: str  # SURFACE or OPEN
    part: str
    first: int
    last: int
    text: str
    is_late: bool = False


def _numbers(first: int, last: int) -> str:
    return f"no. {first}" if first == last else f"no. {first} to {last}"


def latest_times(result: ShiftResult) -> list[Window]:
    """The latest clock times of a shift, in order of time."""
    return sorted([*_surface(result), *_late(result)], key=lambda window: window.clock)


def _surface(result: ShiftResult) -> list[Window]:
    """First part of each kind, and the first that waits treated over each break."""
    window, lead = result.material.surface_window, result.station.treatment_lead
    if window is None:
        return []
    calendar, found = result.calendar, []
    by_part: dict[str, list[tuple[int, float, float]]] = defaultdict(list)
    for part, serial, latest, begun in result.treated_until:
        by_part[part].append((serial, latest, begun))
    late = {(part, serial) for part, serial, *_ in result.late_surface}
    for part, rows in by_part.items():
        serial, latest, begun = rows[0]
        if (part, serial) not in late:
            found.append(
                Window(
                    latest,
                    begun,
                    SURFACE,
                    part,
                    serial,
                    serial,
                    f"{part} no. {serial}: dispense by {hhmm(latest, result.date)}, the treated surface "
                    f"keeps {duration_text(window)}",
                )
            )
        for pause in calendar.breaks:
            start, end = pause
            # treated before the break ends, due at the nozzle after it
            waits = [
                (number, last, begun)
                for number, last, begun in rows
                if last - window < end
                and calendar.add(last - window, lead) >= end - SAME_TIME
                and (part, number) not in late
            ]
            if waits:
                first, last = waits[0], waits[-1]
                found.append(
                    Window(
                        first[1],
                        first[2],
                        SURFACE,
                        part,
                        first[0],
                        last[0],
                        f"{part} {_numbers(first[0], last[0])} wait{'s' if first is last else ''} "
                        f"treated over the {calendar.pause(pause)} from {hhmm(start, result.date)}: "
                        f"dispense no. {first[0]} by {hhmm(first[1], result.date)}",
                    )
                )
    return found


def _late(result: ShiftResult) -> list[Window]:
    """Parts past a window, those in a row together."""
    found = []
    done = {
        (batch.part, each.serial, each.latest): each.ended for batch in result.batches for each in batch.late
    }
    for kind, rows, cure in (
        (SURFACE, result.late_surface, "treat {} again before dispensing"),
        (OPEN, result.late_mating, "mate {0} sooner or set {0} aside"),
    ):
        groups: list[list[tuple[str, int, float, float]]] = []
        for row in rows:
            last = groups[-1][-1] if groups else None
            if last is not None and last[0] == row[0] and row[1] == last[1] + 1:
                groups[-1].append(row)
            else:
                groups.append([row])
        for group in groups:
            part, serial, latest, actual = group[0]
            numbers = _numbers(serial, group[-1][1])
            words = cure.format("it" if len(group) == 1 else "them")
            at_work = max(result.calendar.fit_before(latest, 0.0), result.calendar.start)  # who may act
            found.append(
                Window(
                    latest,
                    at_work if kind == SURFACE else done[part, serial, latest],
                    kind,
                    part,
                    serial,
                    group[-1][1],
                    f"{part} {numbers}: {kind} ends at {hhmm(latest, result.date)}, planned "
                    f"{hhmm(actual, result.date)}: {words}",
                    True,
                )
            )
    return found


__all__ = ["OPEN", "SURFACE", "Window", "latest_times"]
