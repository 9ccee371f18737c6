"""What was found standing at stations, between the words of an entry and a row of the table Standing.

An entry keeps one time, one figure and one text; what else is to be told of parts in process or of a mixer
stands in its text: `half done; numbers 5–8; visits 1; latest 2026-03-02T22:40:00`.
"""

from __future__ import annotations

import datetime

from ..base.units import DAY, to_si
from ..plan.records import Plan
from ..plan.rows import Component, Standing
from ..plan.tables import STANDING_CONTAINER, STANDS_WHATS
from .dated import material_of_entry
from .entries import STANDS, Entry

_BETWEEN = "; "
MILLILITRE = to_si("mL")[0]  # m³


def text_of_standing(what: str, **facts: str | int | None) -> str:
    """The text of an entry: what stands there, and what is known of it.

    >>> text_of_standing("half done", numbers="5–8", visits=1, due="", latest=None)
    'half done; numbers 5–8; visits 1'
    """
    return _BETWEEN.join([what, *(f"{name} {value}" for name, value in facts.items() if value)])


def _facts(text: str) -> tuple[str, dict[str, str]]:
    what, *pieces = text.split(_BETWEEN)
    return what, {name: value for name, _, value in (piece.partition(" ") for piece in pieces)}


def _clock(text: str | None, day: datetime.date) -> float | None:
    """A moment by the clock of a day [s]."""
    if not text:
        return None
    return (
        datetime.datetime.fromisoformat(text) - datetime.datetime.combine(day, datetime.time())
    ).total_seconds()


def row_of(plan: Plan, entry: Entry, opened: datetime.date | None = None) -> Standing | None:
    """What an entry says as a row of Standing; None where it says nothing that can stand there.

    A container that was weighed is told by its mass, with the density of the plan.
    """
    day = entry.date
    what, facts = _facts(entry.text)
    what = what if what in STANDS_WHATS else STANDING_CONTAINER
    if entry.kind != STANDS or day is None:
        return None
    component = _component(plan, entry)
    left = None if entry.value is None else entry.value * MILLILITRE
    if entry.unit == "kg" and entry.value is not None:
        left = None if component is None else entry.value / component.density
    if what == STANDING_CONTAINER and component is not None:
        opened = _opened(facts.get("latest"), component.open_life) or opened
    return Standing(
        what=what,
        date=day,
        time=_clock(entry.time, day),
        station=entry.station,
        material=entry.material,
        component=entry.component or "a",
        lot=entry.lot,
        left=left,
        opened=opened,
        expiry=None,
        nozzle=int(facts.get("nozzle", "1")),
        part=entry.part,
        numbers=facts.get("numbers", ""),
        visits=int(facts.get("visits", "1")),
        before=facts.get("before", ""),
        begun=_clock(facts.get("begun"), day),
        due=_clock(facts.get("due"), day),
        latest=_clock(facts.get("latest"), day),
        at=entry.cell,
    )


def _component(plan: Plan, entry: Entry) -> Component | None:
    return plan.components_of(material_of_entry(plan, entry)).get(entry.component or "a")


def _opened(latest: str | None, open_life: float | None) -> datetime.date | None:
    """The day a container was opened that may be used until then, where its open life ends it.

    Where its lot expires before, any day up to the true one says the same.
    """
    if not latest or open_life is None:
        return None
    return datetime.datetime.fromisoformat(latest).date() - datetime.timedelta(days=int(open_life // DAY))


__all__ = ["row_of", "text_of_standing"]
