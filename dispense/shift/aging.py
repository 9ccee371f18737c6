"""Mixed material that thickens while it stands: what pressure it needs, and until when the limit bears it.

The purge keeps the pot life, and at a station that states a limit of pressure or how far the flow at
constant pressure may fall, these too: whichever comes first. Where even a purge cannot keep one of them it
has no say, and a finding tells it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from ..base.numbers import Floats, Number
from ..base.units import DAY
from ..handbook.flow import MIXER_FACTOR, dwell_time
from ..handbook.thickening import aged_pressure, flow_life
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


def age_at_loss(station: Station, material: Material, thickener: Thickener, heat: float) -> float:
    """Age [s] at which the flow at constant pressure has fallen as far as is stated; NaN where it never does.

    The yield stress stays, so that through any bores in a row the flow goes with the consistency alone.
    """
    if station.flow_loss is None:
        return math.nan
    return float(flow_life(station.flow_loss, heat, thickener.kinetics, thickener.law, material.index))


def share_kept(plan: Plan, station: Station, flows: Iterable[float], heats: Iterable[float]) -> float:
    """Share of the pot life that limit of pressure and loss of flow leave; inf where they ask for nothing.

    The largest flow counts, and the least share over the temperatures. What is reached sooner than a purge
    and the way through the mixer take has no say.
    """
    material, flow = plan.material(station.material), max(flows, default=0.0)
    thickener, life = thickener_of(plan, material), working_life(material)
    if thickener is None or life is None:
        return math.inf
    found = math.inf
    way = float(dwell_time(station.mixer_volume, flow)) if flow else 0.0
    least = purges_in_a_row(station, material) * station.purge_time + oldest_factor(station, material) * way
    lives = {heat: life.at(heat) for heat in heats}
    for ages in (
        {heat: age_at_limit(station, material, thickener, flow, heat) for heat in lives if flow},
        {heat: age_at_loss(station, material, thickener, heat) for heat in lives},
    ):
        shares = [age / lives[heat] for heat, age in ages.items() if math.isfinite(age)]
        if all(not age <= least for age in ages.values()):
            found = min([found, *shares])
    return found


__all__ = ["LONGEST", "age_at_limit", "age_at_loss", "needed_pressure", "share_kept"]
