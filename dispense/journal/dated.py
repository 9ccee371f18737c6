"""What an entry is judged by: the station as it stands in the plan on the day that was booked."""

from __future__ import annotations

import datetime

from ..plan.records import Plan
from ..plan.rows import Station
from .entries import Entry


def station_on(plan: Plan, name: str, day: datetime.date | None) -> Station | None:
    """A station as it holds on a day; None where the plan has none of its name."""
    return next((row for row in plan.on(day).stations if row.station == name), None)


def material_on(plan: Plan, station: str, day: datetime.date | None) -> str:
    """The material of a station on a day; "" where the plan has none of its name."""
    found = station_on(plan, station, day)
    return "" if found is None else found.material


def material_of_entry(plan: Plan, entry: Entry) -> str:
    """The material of an entry: as booked, else that of its station on its day; "" where neither is known."""
    return entry.material or material_on(plan, entry.station, entry.date)


__all__ = ["material_of_entry", "material_on", "station_on"]
