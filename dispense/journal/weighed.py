"""What was weighed beside what it should weigh: targets of weights, as printed or of the plan.

The plan is that of the day that was booked, where table Validity has figures for a time.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator

from ..base.findings import QUALITY, Finding
from ..base.units import from_si
from ..plan.amounts import Application, applied_at
from ..plan.records import Plan
from ..shift.setup import setup_card, station_parts
from ..shift.weighing import Weighing, check_shot, weigh
from .dated import material_of_entry, station_on
from .entries import WEIGHT, Entry

PERCENT = 100.0
CHECK_SHOTS = "check shots"  # the series of weights that are no shot of a part
PRESSURE = "bar"  # unit of a setting that is a pressure
FAR_OFF = 2.0  # times the target, beyond which a weight is taken for a slip; common practice, no source
ONE_FIGURE = (
    "density and metered volume are one figure in a weight: if it is off at all settings, measure the volume "
    "of some shots first (column Volume) to tell which it is"
)


def planned_shot(plan: Plan, entry: Entry) -> tuple[Weighing, int] | None:
    """What the plan says of a weight on its day, and how many shots it is; None where it says nothing."""
    station, plan = station_on(plan, entry.station, entry.date), plan.on(entry.date)
    if station is None:
        return None
    density = setup_card(plan, station.station).density
    items: list[Application] = [
        item
        for part in ([entry.part] if entry.part else station_parts(plan, station.station))
        for item in applied_at(plan, part, station)
        if not entry.application or item.name == entry.application
    ]
    if not items:
        return None
    if entry.part:
        found = weigh(station, max((item.amount for item in items), key=lambda each: each.nominal), density)
    else:
        found = check_shot(station, items, density)
    return found, entry.count or found.count


#: shots together, target, low and high limit [g]
Targets = tuple[int, float, float | None, float | None]


def targets_of(plan: Plan, entry: Entry) -> Targets | None:
    """Shots together, target and limits of a weight: as printed on its sheet, else the plan's of its day."""
    if entry.target:
        return entry.count or 1, entry.target, entry.low, entry.high
    planned = planned_shot(plan, entry)
    if planned is None:
        return None
    shot, count = planned
    share = count / shot.count
    limits = shot.limits
    return (
        count,
        float(limits.target) * share,
        None if limits.low is None else float(limits.low) * share,
        None if limits.high is None else float(limits.high) * share,
    )


def weighed(plan: Plan, entries: Iterable[Entry]) -> Iterator[tuple[Entry, Targets | None]]:
    """The weights among entries, with their targets where they have some above zero."""
    known = {row.station for row in plan.stations}
    for entry in entries:
        if entry.kind == WEIGHT and entry.station in known and entry.value is not None:
            targets = targets_of(plan, entry)
            yield entry, targets if targets is not None and targets[1] > 0.0 else None


def weight_findings(plan: Plan, entries: Iterable[Entry]) -> list[Finding]:
    """Weights so far from their target that a unit or a decimal point is more likely than a shot."""
    found = []
    for entry, targets in weighed(plan, entries):
        if targets is None:
            continue
        grams, target = entry.value or 0.0, targets[1]
        if not target / FAR_OFF <= grams <= target * FAR_OFF:
            found.append(
                Finding(
                    QUALITY,
                    f"{entry.cell}: {grams:.4g} g weighed at {entry.station}, the target is {target:.4g} g",
                    "look at unit and decimal point; mend it and book it again, or take the booking back",
                    topic="weight",
                    station=entry.station,
                    part=entry.part,
                    day=entry.date,
                    shift=entry.shift,
                )
            )
    return found


def component_targets(plan: Plan, station: str, day: datetime.date | None = None) -> dict[str, float]:
    """Masses of A and B in a check shot of a station on a day [g], where the plan has one."""
    row, plan = station_on(plan, station, day), plan.on(day)
    if row is None:
        return {}
    items = [item for part in station_parts(plan, row.station) for item in applied_at(plan, part, row)]
    if not items:
        return {}
    card = setup_card(plan, row.station)
    shot = check_shot(row, items, card.density)
    components = plan.components_of(card.material.material)
    return {
        letter: float(from_si(shot.volume * share * components[letter].density, "g")) * shot.count
        for letter, share in card.shares.items()
    }


def series_name(plan: Plan, entry: Entry) -> str:
    """The series that a weight of a station belongs to: its check shots, or a shot of a part.

    Where the station has another material for a time, each has its own.
    """
    name = " / ".join(filter(None, (entry.part, entry.application))) or CHECK_SHOTS
    if len(plan.materials_at(entry.station)) > 1:
        name += f" with {material_of_entry(plan, entry)}"
    return name


__all__ = [
    "CHECK_SHOTS",
    "ONE_FIGURE",
    "PERCENT",
    "PRESSURE",
    "component_targets",
    "planned_shot",
    "series_name",
    "weighed",
    "weight_findings",
]
