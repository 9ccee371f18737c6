"""Counts that cannot be: more of a lot than was there and came since, and lots that nobody knows.

What is in store of a lot was never more than the count before and what was received since. Of a lot that was
not counted before only receipts bound it, and only where Stock does not hold it, since nobody knows of which
day Stock is.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable

from ..base.findings import QUALITY, Finding
from ..base.numbers import EQUAL
from ..base.units import volume_text
from ..plan.records import Plan
from ..plan.rows import Component
from .counted import entry_volume
from .dated import material_of_entry
from .entries import COUNTED, RECEIVED, Entry
from .lots import lots_of

TOPIC = "count"
LotKey = tuple[str, str, str]  # material, component, lot


def count_doubts(plan: Plan, entries: Iterable[Entry], known: Iterable[Entry] = ()) -> list[Finding]:
    """Counts among the entries that cannot be, beside those known before."""
    mine = list(entries)
    asked = {id(entry) for entry in mine}
    by_lot: dict[LotKey, list[Entry]] = defaultdict(list)
    names = {(entry.kind, entry.name) for entry in mine}
    for entry in (*(each for each in known if (each.kind, each.name) not in names), *mine):
        if entry.kind in (COUNTED, RECEIVED) and entry.date is not None and len(lots_of(entry)) == 1:
            by_lot[material_of_entry(plan, entry), entry.component or "a", entry.lot].append(entry)
    in_stock = {(row.material, row.component, row.lot) for row in plan.stock if row.arrival is None}
    planned = {(row.material, row.component, row.lot) for row in plan.stock}
    found = []
    for key, items in sorted(by_lot.items()):
        component = plan.components_of(key[0]).get(key[1])
        if component is None:
            continue
        counts = [entry for entry in items if entry.kind == COUNTED and id(entry) in asked]
        if counts and key not in planned and all(entry.kind == COUNTED for entry in items):
            found.append(_unknown(plan, key, counts[-1]))
        else:
            found += _too_many(plan, component, sorted(items, key=_when), key in in_stock, asked)
    return found


def _when(entry: Entry) -> tuple[datetime.datetime, bool]:
    """In order of time; what is told of a day alone came before all that has a time."""
    day = datetime.datetime.combine(entry.date or datetime.date.min, datetime.time())
    return entry.moment or day, entry.kind == COUNTED


def _name(plan: Plan, key: LotKey) -> str:
    return f"{plan.component_words(key[0], key[1])} lot {key[2]}"


def _moment(entry: Entry) -> str:
    return f"{entry.moment:%Y-%m-%d %H:%M}" if entry.moment else entry.day


def _finding(key: LotKey, entry: Entry, words: str, fix: str) -> Finding:
    return Finding(
        QUALITY,
        words,
        fix,
        topic=f"{TOPIC} of lot {key[2]}",
        material=key[0],
        day=entry.date,
        cell=entry.cell,
    )


def _unknown(plan: Plan, key: LotKey, entry: Entry) -> Finding:
    return _finding(
        key,
        entry,
        f"{_name(plan, key)}, counted {_moment(entry)}, is neither in Stock nor was it received: its last "
        "day is not known",
        "look at the label; if it is right, state the lot with its last day in Stock, or book its receipt",
    )


def _too_many(
    plan: Plan, component: Component, items: list[Entry], is_in_stock: bool, asked: set[int]
) -> list[Finding]:
    """Counts of one lot above what can be there [m³], each told with both numbers."""
    most, since, found = 0.0, "", []
    is_bound = not is_in_stock
    for entry in items:
        volume = entry_volume(component, entry)
        if entry.kind == RECEIVED:
            most += volume
            since += f"{' and ' if since else ''}{_amount(component, volume)} received {_moment(entry)}"
            continue
        key = (component.material, component.component, entry.lot)
        if is_bound and volume > most * (1.0 + EQUAL) and id(entry) in asked:
            there = f"at most {_amount(component, most)} can be there ({since or 'none was received before'})"
            words = f"{_name(plan, key)}: {_amount(component, volume)} counted {_moment(entry)}, and {there}"
            fix = "count it again, and look at the label; mend the wrong entry and book it again"
            found.append(_finding(key, entry, words, fix))
        most, is_bound = volume, True
        since = f"{_amount(component, volume)} counted {_moment(entry)}"
    return found


def _amount(component: Component, volume: float) -> str:
    """A volume in containers where they are whole, as the floor counts."""
    number = volume / component.container
    if abs(number - round(number)) < EQUAL * max(number, 1.0):
        return f"{round(number)} × {volume_text(component.container)}"
    return volume_text(volume)


__all__ = ["count_doubts"]
