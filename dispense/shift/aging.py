"""Mixed material that thickens while it stands: what pressure it needs, and until when the limit bears it.

The purge keeps the pot life, and at a station that states a limit of pressure that limit too: whichever
comes first. Where even a purge cannot keep the pressure the share of the plan stays, and a danger tells it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from ..base.numbers import Floats, Number
from ..base.units import DAY
from ..handbook.flow import MIXER_FACTOR, dwell_time
from ..handbook.thickening import aged_pressure
from ..plan.materials import Thickener, thickener_of, working_life
from ..plan.records import Plan
from ..plan.rows import Material, Station
from .mixer import oldest_factor, purges_in_a_row

LONGEST = 30 * DAY  # a mix that stands longer is of no interest
_FIRST = 60.0  # s, from which the age at the limit is looked for


def needed_pressure(
    station: Station, material: Material, thickener: Thickener, flow: float, age: Number, heat: float
) -> Floats:
    """Pressure [Pa] of a flow through mixer and nozzle full of material of an age; inf: nothing flows."""
    total: Floats = np.zeros(np.shape(age))
    for bore, length, factor in (
        (station.nozzle_bore, station.nozzle_length, 1.0),
        (station.mixer_bore, station.mixer_length, MIXER_FACTOR),
    ):
        if bore and length:
            found = aged_pressure(
                age,
                heat,
                flow,
                bore,
                length,
                thickener.kinetics,
                thickener.law,
                factor,
                material.index,
                material.yield_stress,
            )
            total = total + np.where(np.isfinite(found), found, np.inf)
    return total


def age_at_limit(
    station: Station, material: Material, thickener: Thickener, flow: float, heat: float
) -> float:
    """Age [s] at which a flow needs the limit of pressure; NaN where it has none or never does."""
    from scipy.optimize import brentq

    limit = station.pressure_limit
    if limit is None:
        return math.nan

    def over(age: float) -> float:
        return math.log(
            min(float(needed_pressure(station, material, thickener, flow, age, heat)), 1e300) / limit
        )

    if not needed_pressure(station, material, thickener, flow, 0.0, heat) > 0.0:
        return math.nan
    if over(0.0) >= 0.0:
        return 0.0
    high = _FIRST
    while over(high) < 0.0:
        high *= 2.0
        if high > LONGEST:
            return math.nan
    return float(brentq(over, 0.0, high, xtol=1e-3, rtol=1e-9))


def share_at_limit(plan: Plan, station: Station, flows: Iterable[float], heats: Iterable[float]) -> float:
    """Share of the pot life at which the largest flow needs the limit of pressure; inf where it never does.

    The least over the temperatures; inf too where the limit comes sooner than a purge could keep it.
    """
    material, flow = plan.material(station.material), max(flows, default=0.0)
    thickener, life = thickener_of(plan, material), working_life(material)
    if station.pressure_limit is None or thickener is None or life is None or not flow:
        return math.inf
    factor, purges = oldest_factor(station, material), purges_in_a_row(station, material)
    least = purges * station.purge_time + factor * float(dwell_time(station.mixer_volume, flow))
    shares = []
    for heat in heats:
        age = age_at_limit(station, material, thickener, flow, heat)
        if age <= least:
            return math.inf
        if math.isfinite(age):
            shares.append(age / life.at(heat))
    return min(shares, default=math.inf)


__all__ = ["LONGEST", "age_at_limit", "needed_pressure", "share_at_limit"]
