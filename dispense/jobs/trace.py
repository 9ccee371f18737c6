"""`dispense trace`: which lots are on which parts of a day, and which parts hold a lot."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass
from typing import Any

from ..base.errors import NA, InputError, Problem
from ..base.naming import fold, nearest
from ..base.printed import listed
from ..base.terminal import emphasise, table
from ..base.units import from_si
from ..journal.history import PLANNED
from ..journal.store import journal_path, read_journal
from ..journal.trace import Lot, Parts, Trace, known_lots, of_lot, of_part
from ..plan.read import load_plan
from ..plan.tables import COMPONENTS

CAUTION = (
    "numbers and times of parts are those of the plan; a lot marked planned was not booked, and one in "
    "brackets is what hose and mixer may still have held"
)


@dataclass(slots=True)
class TraceReport:
    """A question and what was found."""

    question: str
    found: Trace
    lot: str = ""

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "question": self.question,
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
            "still_open": [
                {
                    "station": item.station,
                    "component": item.component,
                    "lot": item.lot,
                    "since": item.since.isoformat(),
                    "source": item.source,
                }
                for item in self.found.still_open
            ],
            "in_stock": [
                {
                    "material": row.material,
                    "component": row.component,
                    "lot": row.lot,
                    "mL": float(from_si(row.quantity, "mL")),
                    "cell": row.at,
                }
                for row in self.found.in_stock
            ],
            "note": CAUTION,
        }

    def as_text(self) -> str:
        """For a terminal."""
        parts = self.found.parts
        lines = [emphasise(self.question)]
        if parts:
            first, last = parts[0], parts[-1]
            lines.append(
                f"{len(parts)} {'batch' if len(parts) == 1 else 'batches'}, {first.begun:%Y-%m-%d %H:%M} to "
                f"{last.ended:%Y-%m-%d %H:%M}"
            )
            rows = [
                [
                    f"{item.day} {item.shift}",
                    item.station,
                    item.part,
                    item.numbers,
                    f"{item.begun:%H:%M}–{item.ended:%H:%M}",
                    _made(item),
                    ", ".join(map(_lot_words, item.lots)),
                ]
                for item in parts
            ]
            lines += [
                "",
                *table(["shift", "station", "part", "numbers", "made", "booked", "lots"], rows).splitlines(),
            ]
        else:
            lines.append("on no part of the plan" if self.lot else "not made in the plan")
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
        if self.lot:
            lines.append("")
            lines += [
                f"still at {item.station} since {item.since:%Y-%m-%d %H:%M} ({item.source}): take it off"
                for item in self.found.still_open
            ] or ["no container of it stands at a station at the end of the plan"]
            lines += [
                f"in Stock as {row.material} {row.component.upper()}: {from_si(row.quantity, 'mL'):,.0f} mL "
                f"when the plan begins ({row.at}): block what is left"
                for row in self.found.in_stock
            ]
        lines += ["", f"note: {CAUTION}"]
        return "\n".join(lines)


def _lot_words(lot: Lot) -> str:
    words = f"{lot.component.upper()} {lot.lot}" + (" planned" if lot.source == PLANNED else "")
    return f"({words})" if lot.is_rest else words


def _made(item: Parts) -> str:
    pieces = [
        f"{count} {word} in the shift"
        for count, word in ((item.made, "made"), (item.scrapped, "scrap"))
        if count is not None
    ]
    return ", ".join(pieces)


def _json(item: Parts) -> dict[str, Any]:
    return {
        "day": item.day.isoformat(),
        "shift": item.shift,
        "station": item.station,
        "part": item.part,
        "batch": item.batch,
        "numbers": item.numbers,
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
) -> TraceReport:
    """Trace a lot to parts, or a part to lots."""
    if (lot is None) == (part is None):
        raise InputError(
            Problem("trace", message="asks for a lot or for a part", fix="--lot LOT or --part PART")
        )
    plan = load_plan(plan_path)
    entries = [item.entry for item in read_journal(journal_path(plan_path)).current().values()]
    if lot is not None:
        name = _known("lot", lot, known_lots(plan, entries))
        letter = component.strip().lower()
        if letter not in ("", *COMPONENTS):
            raise InputError(Problem("trace", "component", component, "A or B", code=NA))
        found = of_lot(plan, entries, name, letter)
        if day is not None:
            found.parts = [item for item in found.parts if item.day == day]
        where = f" as {letter.upper()}" if letter else ""
        return TraceReport(f"Parts that may hold lot {name}{where}", found, name)
    assert part is not None
    name = _known("part", part, [row.part for row in plan.parts])
    when = f" of {day}" if day else ""
    return TraceReport(f"Lots that may be on {name}{when}", of_part(plan, entries, name, day))


__all__ = ["TraceReport", "trace_file"]
