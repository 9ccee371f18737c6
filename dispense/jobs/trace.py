"""`dispense trace`: which lots are on which parts of a day, and which parts hold a lot."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass, field
from typing import Any

from ..base.errors import NA, InputError, Problem
from ..base.naming import fold, nearest
from ..base.printed import counted, listed
from ..base.terminal import emphasise, table
from ..base.units import from_si
from ..journal.entries import MADE, SCRAPPED, Entry
from ..journal.history import PLANNED, moment_at
from ..journal.planned import Key, all_shifts, kept_shifts, not_as_kept
from ..journal.reading import content_of
from ..journal.store import Journal, journal_path, read_journal
from ..journal.trace import Lot, Open, Parts, Trace, known_lots, last_booked, of_lot, of_part
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.tables import COMPONENTS

CAUTION = (
    "numbers and times of parts are those of the plan; a lot marked planned was not booked, and one in "
    "brackets is what hose and mixer may still have held"
)
SHOWN = 6  # shifts that a line names
MINUTE = "%Y-%m-%d %H:%M"


@dataclass(slots=True)
class TraceReport:
    """A question and what was found.

    `why` says what the moment of the answer is, `doubts` what of it may not hold.
    """

    question: str
    found: Trace
    lot: str = ""
    why: str = ""
    component: str = ""
    doubts: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "question": self.question,
            "as_of": self.found.at.isoformat(timespec="minutes") if self.lot else None,
            "as_of_is": self.why,
            "parts": [_json(item) for item in self.found.parts],
            "booked": [
                {
                    "what": item.kind,
                    "day": item.day,
                    "time": item.time,
                    "station": item.station,
                    "component": item.component,
                    "lot": item.lot,
                    "amount": item.words,
                    "cell": item.cell,
                }
                for item in self.found.events
            ],
            "still_open": list(map(_open_json, self.found.still_open)),
            "to_come": list(map(_open_json, self.found.to_come)),
            "in_stock": [
                {
                    "material": item.row.material,
                    "component": item.row.component,
                    "lot": item.row.lot,
                    "mL": float(from_si(item.row.quantity, "mL")),
                    "left_mL": float(from_si(item.left, "mL")),
                    "cell": item.row.at,
                }
                for item in self.found.in_stock
            ],
            "doubts": list(self.doubts),
            "note": CAUTION,
        }

    def as_text(self) -> str:
        """For a terminal."""
        parts = self.found.parts
        lines = [emphasise(self.question)]
        if self.lot:
            lines += self._stands()
        lines += [f"warning: {words}" for words in self.doubts]
        if parts:
            lines += ["", *self._made(), *_table(parts)]
        else:
            known = " that is known" if self.doubts else ""
            lines.append(f"on no part of the plan{known}" if self.lot else f"not made in the plan{known}")
        if self.found.events:
            rows = [
                [item.time or item.day, item.kind, item.station, item.words, item.cell]
                for item in self.found.events
            ]
            lines += [
                "",
                "Booked of this lot",
                *table(["when", "what", "station", "how much", "cell"], rows).splitlines(),
            ]
        lines += ["", *(f"note: {words}" for words in (*_basis(parts), CAUTION))]
        return "\n".join(lines)

    def _stands(self) -> list[str]:
        """Where containers of the lot stand at the moment, what is left of it, and what is to come."""
        found = self.found
        when = f"as of {found.at:{MINUTE}} ({self.why})"
        lines = [
            f"{when}: {item.component.upper()} {item.lot} stands at {item.station} since "
            f"{item.since:{MINUTE}} ({item.source}): take it off"
            for item in found.still_open
        ] or [f"{when}: no container of it stands at a station"]
        lines += [
            f"in Stock as {item.row.material} {item.row.component.upper()}: by bookings and plan "
            f"{from_si(item.left, 'mL'):,.0f} of {from_si(item.row.quantity, 'mL'):,.0f} mL left "
            f"({item.row.at or 'received'}): block what is left"
            for item in found.in_stock
        ]
        if found.to_come:
            first = found.to_come[0]
            lines.append(
                f"still to come by plan: {counted(len(found.to_come), 'container')}, the first at "
                f"{first.station} at {first.since:{MINUTE}}: take the lot out of the plan's Stock"
            )
        if found.after:
            lines.append(f"of the batches below {len(found.after)} end after then: made by plan only")
        if len(found.components) > 1 and not self.component:
            letters = " and ".join(letter.upper() for letter in found.components)
            lines.append(f"{self.lot} is known as {letters}: --component A or B keeps to one of them")
        return lines

    def _made(self) -> list[str]:
        """How many parts, and what was booked of them, once."""
        parts = self.found.parts
        last = max(item.ended for item in parts)
        lines = [
            f"{len(parts)} {'batch' if len(parts) == 1 else 'batches'}, "
            f"{counted(sum(item.count for item in parts), 'part')}, "
            f"{parts[0].begun:{MINUTE}} to {last:{MINUTE}}"
        ]
        shifts = {(item.day, item.shift, item.station, item.part): item for item in parts}
        told = [item for item in shifts.values() if item.made is not None or item.scrapped is not None]
        if told:
            made = sum(item.made or 0 for item in told)
            scrapped = sum(item.scrapped or 0 for item in told)
            of = counted(len({(item.day, item.shift) for item in told}), "shift")
            lines.append(f"booked of these parts in {of}, whole shifts: {made} made, {scrapped} scrap")
        return lines


def _table(parts: list[Parts]) -> list[str]:
    rows = [
        [
            f"{item.day} {item.shift}",
            item.station,
            item.part,
            item.numbers,
            f"{item.begun:%H:%M}–{item.ended:%H:%M}",
            ", ".join(map(_lot_words, item.lots)),
        ]
        for item in parts
    ]
    return ["", *table(["shift", "station", "part", "numbers", "made", "lots"], rows).splitlines()]


def _basis(parts: list[Parts]) -> list[str]:
    """Which plan the numbers and times of parts are of."""
    kept: dict[str, dict[str, None]] = {}
    for item in parts:
        words = "as the plan is now"
        if item.kept is not None:
            words = f"as planned when booked on {item.kept.stamp} (booking {item.kept.number})"
        kept.setdefault(words, {})[f"{item.day} {item.shift}"] = None
    return [f"{words}: {listed(shifts, SHOWN)}" for words, shifts in kept.items()]


def _doubts(
    plan: Plan, journal: Journal, plan_path: str | os.PathLike[str], day: datetime.date | None
) -> list[str]:
    """What of past shifts is not known as it was printed."""
    changed, gone = not_as_kept(plan, journal, content_of(plan_path), [] if day is None else [day])
    words = []
    if changed:
        words.append(
            "the plan has changed since these shifts were booked, and nothing of them was kept: numbers and "
            f"times are those of a later plan, not those printed: {listed(_shift_words(changed), SHOWN)}"
        )
    if gone:
        made, scrapped = (
            sum(
                item.entry.count or 0
                for item in journal.current().values()
                if item.entry.kind == kind and (item.entry.day, item.entry.shift, item.entry.station) in gone
            )
            for kind in (MADE, SCRAPPED)
        )
        words.append(
            "these shifts were booked and are not in the plan, nor were they kept; any of their parts "
            f"({made} made, {scrapped} scrap) may hold what stood there: {listed(_shift_words(gone), SHOWN)}"
        )
    return words


def _shift_words(keys: list[Key]) -> list[str]:
    return [" ".join(filter(None, key)) for key in sorted(keys)]


def _as_of(
    plan: Plan, entries: list[Entry], asked: str | datetime.datetime | None
) -> tuple[datetime.datetime, str]:
    """The moment of an answer and what it is: as asked, now within the plan, or the last booking."""
    if isinstance(asked, datetime.datetime):
        return asked, "as asked"
    if asked is not None:
        try:
            return datetime.datetime.fromisoformat(asked.strip()).replace(tzinfo=None), "as asked"
        except ValueError as error:
            allowed = "a day and a time such as 2026-04-13 12:00"
            raise InputError(Problem("trace", "as_of", asked, allowed)) from error
    days = plan.days()
    now, last = datetime.datetime.now().replace(second=0, microsecond=0), last_booked(plan, entries)
    if days:
        begin = moment_at(days[0][0], plan.hours_of(*days[0])[0])
        end = moment_at(days[-1][0], plan.hours_of(*days[-1])[1])
        if begin <= now <= end:
            return now, "now"
        if last is None:
            return end, "the end of the plan: nothing is booked"
    return (now, "now") if last is None else (last, "the last booking")


def _lot_words(lot: Lot) -> str:
    words = f"{lot.component.upper()} {lot.lot}" + (" planned" if lot.source == PLANNED else "")
    return f"({words})" if lot.is_rest else words


def _open_json(item: Open) -> dict[str, Any]:
    return {
        "station": item.station,
        "component": item.component,
        "lot": item.lot,
        "since": item.since.isoformat(),
        "source": item.source,
    }


def _json(item: Parts) -> dict[str, Any]:
    return {
        "day": item.day.isoformat(),
        "shift": item.shift,
        "station": item.station,
        "part": item.part,
        "batch": item.batch,
        "numbers": item.numbers,
        "count": item.count,
        "kept_by_booking": item.kept.number if item.kept else None,
        "begun": item.begun.isoformat(timespec="seconds"),
        "ended": item.ended.isoformat(timespec="seconds"),
        "made_booked": item.made,
        "scrapped_booked": item.scrapped,
        "lots": [
            {"lot": lot.lot, "component": lot.component, "source": lot.source, "rest_of_hose": lot.is_rest}
            for lot in item.lots
        ],
    }


def _known(what: str, given: str, names: list[str]) -> str:
    """A name as plan or journal has it."""
    found = next((name for name in names if fold(name) == fold(given)), None)
    if found is None:
        near = nearest(given, names)
        raise InputError(
            Problem(
                "trace",
                what,
                given,
                f"a {what} of the plan or the journal ({listed(names, 12)})",
                f"did you mean {near}?" if near else "",
                NA,
            )
        )
    return found


def trace_file(
    plan_path: str | os.PathLike[str],
    *,
    lot: str | None = None,
    component: str = "",
    part: str | None = None,
    day: datetime.date | None = None,
    as_of: str | datetime.datetime | None = None,
) -> TraceReport:
    """Trace a lot to parts, or a part to lots.

    Shifts that were kept when they were booked are read as they were planned then. `as_of` is the moment for
    which is said where a container of the lot stands; by default now, where the plan holds that, else the
    last booking.
    """
    if (lot is None) == (part is None):
        raise InputError(
            Problem("trace", message="asks for a lot or for a part", fix="--lot LOT or --part PART")
        )
    plan = load_plan(plan_path)
    journal = read_journal(journal_path(plan_path))
    entries = [item.entry for item in journal.current().values()]
    shifts = all_shifts(plan, kept_shifts(journal))
    unsure = _doubts(plan, journal, plan_path, day)
    if lot is not None:
        name = _known("lot", lot, known_lots(plan, entries, shifts))
        letter = component.strip().lower()
        if letter not in ("", *COMPONENTS):
            raise InputError(Problem("trace", "component", component, "A or B", code=NA))
        at, why = _as_of(plan, entries, as_of)
        found = of_lot(plan, entries, name, letter, shifts=shifts, at=at)
        if day is not None:
            found.parts = [item for item in found.parts if item.day == day]
        where = f" as {letter.upper()}" if letter else ""
        return TraceReport(f"Parts that may hold lot {name}{where}", found, name, why, letter, unsure)
    assert part is not None
    parts = [row.part for row in plan.parts]
    parts += [batch.part for item in shifts for batch in item.batches if batch.part not in parts]
    name = _known("part", part, list(dict.fromkeys(parts)))
    when = f" of {day}" if day else ""
    found = of_part(plan, entries, name, day, shifts=shifts)
    return TraceReport(f"Lots that may be on {name}{when}", found, doubts=unsure)


__all__ = ["TraceReport", "trace_file"]
