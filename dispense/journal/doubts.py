"""What was booked and can hardly be so: days far off, more parts than planned, parts moved too early."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence

from ..base.clock import hhmm
from ..base.findings import QUALITY, Finding
from ..base.printed import counted
from ..base.units import DAY, duration_text
from ..plan.records import Plan
from ..shift.results import Batch
from .entries import DONE, MADE, STAGED, Entry
from .history import moment_at, played
from .weighed import FAR_OFF

LATEST = datetime.timedelta(days=28)  # after the shift of a sheet; common practice, no source
OF_THE_PLAN = datetime.timedelta(days=92)  # before its first or after its last day; the same
A_MINUTE = datetime.timedelta(minutes=1)  # the step of the times on a sheet
LONGEST = 1000.0 * DAY  # stands for a time that never comes
MEND = "mend it and book it again, or take the booking back"
#: what a cure board's times are called, the batch's milestone that they may not come before, and its words
STEPS: dict[str, tuple[str, str]] = {
    "moved": ("move", "it may be moved"),
    "joined": ("join", "it may be joined or loaded"),
    "tested": ("test", "it is fully cured"),
}


def doubts(
    plan: Plan, entries: Sequence[Entry], known: Iterable[Entry], now: datetime.datetime | None
) -> list[Finding]:
    """All that is to be looked at again of entries that are booked beside those `known`, at `now`."""
    return [
        *_dates(plan, entries, now),
        *_made(plan, entries),
        *_too_early(plan, entries),
        *_brought(entries, known),
    ]


def _finding(entry: Entry, words: str, fix: str, topic: str) -> Finding:
    return Finding(
        QUALITY,
        f"{entry.cell}: {words}",
        fix,
        topic=topic,
        station=entry.station,
        part=entry.part,
        day=entry.date,
        shift=entry.shift,
    )


# ------------------------------------------------------------------------------------------- dates


def _dates(plan: Plan, entries: Iterable[Entry], now: datetime.datetime | None) -> Iterator[Finding]:
    """Moments before the day of their sheet or long after it, in the future, or far from the plan."""
    days = [day for day, _ in plan.days()]
    for entry in entries:
        day, moment = entry.date, entry.moment
        when = moment or (datetime.datetime.combine(day, datetime.time()) if day else None)
        if when is None:
            continue
        words = ""
        if day is not None and moment is not None and not day <= moment.date() <= day + LATEST:
            words = f"is {moment:%Y-%m-%d %H:%M} on a sheet of {day}"
        elif now is not None and when > now + datetime.timedelta(days=1):
            words = f"is of {when:%Y-%m-%d}, booked on {now:%Y-%m-%d}"
        elif days and not days[0] - OF_THE_PLAN <= when.date() <= days[-1] + OF_THE_PLAN:
            words = f"is of {when:%Y-%m-%d}, the plan is of {days[0]} to {days[-1]}"
        if words:
            yield _finding(entry, words, f"look at the date; {MEND}", "date")


# -------------------------------------------------------------------------------------------- made


def _made(plan: Plan, entries: Iterable[Entry]) -> Iterator[Finding]:
    """Parts made of which none were to be built, or many more than were to be built."""
    builds: dict[tuple[datetime.date, str], dict[str, int]] = {
        key: plan.builds_of(*key) for key in plan.days()
    }
    for entry in entries:
        if entry.kind != MADE or not entry.count or entry.date is None:
            continue
        planned = sum(
            parts.get(entry.part, 0)
            for (day, shift), parts in builds.items()
            if day == entry.date and entry.shift in ("", shift)
        )
        if entry.count > FAR_OFF * planned:
            of = f"{planned} are planned" if planned else "none is to be built"
            when = " ".join(filter(None, (entry.day, entry.shift)))
            words = f"{counted(entry.count, 'part')} of {entry.part} made, and {of} {when}"
            yield _finding(entry, words, f"look at count, day and shift; {MEND}", "made")


# ------------------------------------------------------------------------------------- cure boards


def batch_number(entry: Entry) -> str:
    """The number of a batch as the entry's name has it: …|batch|7|moved."""
    pieces = entry.name.split("|")
    return pieces[-2].removesuffix(".0") if len(pieces) > 1 else ""


def _too_early(plan: Plan, entries: Sequence[Entry]) -> Iterator[Finding]:
    """Parts moved, joined or tested before they were made or had cured so far, by the played shift."""
    mine = [entry for entry in entries if entry.kind == DONE and entry.text in STEPS and entry.moment]
    if not mine:
        return
    batches: Mapping[tuple[str, str, str, str], Batch] = {
        (result.station.station, result.date.isoformat(), result.shift, str(batch.number)): batch
        for result in played(plan)
        for batch in result.batches
    }
    for entry in mine:
        batch = batches.get((entry.station, entry.day, entry.shift, batch_number(entry)))
        day, moment = entry.date, entry.moment
        if batch is None or day is None or moment is None:
            continue
        milestone, free = STEPS[entry.text]
        name = f"batch {batch.number} of {batch.part}, {entry.text} {hhmm(_clock(day, moment), day)}"
        due = batch.milestones.get(milestone)
        if moment + A_MINUTE <= moment_at(day, batch.ended):
            words = f"{name}, before its last part was dispensed at {hhmm(batch.ended, day)}"
            yield _finding(entry, words, f"look at the time; {MEND}", "cure")
        elif due is not None and moment + A_MINUTE <= moment_at(day, min(due, LONGEST)):
            early = duration_text(due - _clock(day, moment))
            words = f"{name}, {early} before {free} by the plan"
            fix = f"hold these parts back and judge them; if the time is wrong, {MEND}"
            yield _finding(entry, words, fix, "cure")


def _clock(day: datetime.date, moment: datetime.datetime) -> float:
    return (moment - moment_at(day, 0.0)).total_seconds()


# ------------------------------------------------------------------------------- containers brought


def _brought(entries: Iterable[Entry], known: Iterable[Entry]) -> Iterator[Finding]:
    """Containers of one lot of which two sheets say another number for the same shift."""
    said: dict[tuple[str, ...], Entry] = {}
    for entry in known:
        if entry.kind == STAGED:
            said[_brought_key(entry)] = entry
    for entry in entries:
        if entry.kind != STAGED:
            continue
        key = _brought_key(entry)
        other = said.get(key)
        said[key] = entry
        if other is None or _sheet(other) == _sheet(entry) or None in (other.count, entry.count):
            continue
        if other.count != entry.count:
            many = counted(entry.count or 0, "container")
            words = (
                f"{many} of lot {entry.lot} brought to {entry.station}, "
                f"and {other.cell} says {other.count or 0}"
            )
            yield _finding(entry, words, f"count them; {MEND}", "brought")


def _brought_key(entry: Entry) -> tuple[str, ...]:
    return entry.day, entry.shift, entry.station, entry.material, entry.component, entry.lot


def _sheet(entry: Entry) -> str:
    return entry.name.split("|")[0]


__all__ = ["batch_number", "doubts"]
