"""What a shot must weigh: how many shots together, limits in grams, and whose tolerance they are.

Setup card and shot-check sheet say the same of a shot, and the shift draws what is weighed: all
three ask here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..base.findings import QUALITY, Finding
from ..base.printed import Printed, PrintedLimits, printed_limits, shows_whole
from ..base.units import from_si
from ..plan.amounts import Amount, Application
from ..plan.rows import Station

SCALE = 0.001  # g, what the scale beside a line reads; common practice, no source
COUNTS = (1, 2, 5, 10, 20, 50, 100)  # shots that are weighed together


@dataclass(frozen=True, slots=True)
class Weighing:
    """One shot, or several on one cup, as weighed; masses in grams.

    `limits` are those of all `count` shots together, `single` those of one.
    """

    count: int
    volume: float  # of one shot [m³]
    single: PrintedLimits
    limits: PrintedLimits
    basis: str

    def printed(self, grams: float) -> Printed:
        """Another mass of the shots weighed, to the digits of their target."""
        return Printed(grams * self.count, self.limits.target.digits)


def driver_text(name: str) -> str:
    """The input that matters most, as printed."""
    return name.replace("_", " ") if name else "no tolerance stated"


def weigh(station: Station, amount: Amount, density: float, volume: float | None = None) -> Weighing:
    """What shots of an amount must weigh at a station; `volume` [m³] is that of another check shot.

    A check shot tries the meter: where its tolerance is stated, that is the limit. Else it is the
    amount's own spread, taken as a share for a check shot of another volume. As many shots are
    weighed together as the scale needs to tell the limits; all their errors are the meter's or the
    drawing's, so that the limits grow with them.
    """
    volume, share = (amount.nominal, 1.0) if volume is None else (volume, volume / amount.nominal)
    tolerance = station.meter_tolerance
    if tolerance > 0.0:
        low, high = volume * (1.0 - tolerance), volume * (1.0 + tolerance)
        basis = f"meter: ±{100.0 * tolerance:.3g} %"
    else:
        low, high = amount.low * share, amount.high * share
        basis = f"part tolerances; largest: {driver_text(amount.main_driver)}"
        if not amount.effects:
            basis = "no tolerance stated, of the meter or of the part"
    low, target, high = (from_si(each * density, "g") for each in (low, volume, high))
    enough = (count for count in COUNTS if shows_whole(low * count, high * count, SCALE))
    count = next(enough, COUNTS[-1]) if high > low else 1
    limits = printed_limits(low * count, target * count, high * count, SCALE)
    if high > low and limits.low is None:
        basis += f"; too narrow for a scale that reads {SCALE:g} g, even with {count} shots"
    return Weighing(count, volume, printed_limits(low, target, high, SCALE), limits, basis)


def check_shot(station: Station, items: Iterable[Application], density: float) -> Weighing:
    """The check shot of a station: the stated volume, else its largest shot."""
    largest = max((item.amount for item in items), key=lambda amount: amount.nominal)
    return weigh(station, largest, density, station.check_volume)


def weighing_findings(station: Station, items: Iterable[Application], density: float) -> list[Finding]:
    """Shots whose limits cannot be checked: no tolerance is stated, or none that a scale can tell."""
    if not station.checks:
        return []
    found = check_shot(station, items, density)
    if found.limits.low is not None:
        return []
    return [
        Finding(
            QUALITY,
            f"check shots of {station.station} have no limits ({found.basis})",
            "state the meter tolerance in Stations",
            topic="check limits",
            station=station.station,
            numbers={"check shot [g]": float(found.limits.target)},
        )
    ]


__all__ = ["COUNTS", "SCALE", "Weighing", "check_shot", "driver_text", "weigh", "weighing_findings"]
