"""A pour as it is planned, in one shot or in several: its peak, and the runaway criterion with its film.

These are the long calculations of a plan's pots, of plain numbers alone, so that a command may keep what
they give from one run to the next (`base/kept`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from ..base.kept import kept
from .heat import Pour, Runaway, Sink, frank_kamenetskii, peak_temperature, pour
from .kinetics import Kinetics
from .runaway import critical_delta

LAYERS = 60  # of all shots of a pour together
_LEAST_LAYERS = 12  # of one shot

PouredShot = tuple[int, float, float]  # number, depth (m), wait (s) after the shot before


class Compound(NamedTuple):
    """What heats itself in a pot, and the film at its free face; SI units."""

    kinetics: Kinetics
    heat: float
    density: float
    specific_heat: float
    conductivity: float
    film: float


class PourPeak(NamedTuple):
    """The highest temperature of a pour (K), when since the first shot (s), how high (m)."""

    temperature: float
    time: float
    height: float


def pour_chain(
    shots: Sequence[PouredShot],
    start: float,
    compound: Compound,
    room: float,
    sinks: Sink | None = None,
    duration: float | None = None,
) -> list[Pour]:
    """Shots one on the other, each followed until the next one or, the last, to its end."""
    poured: list[Pour] = []
    for place, (_, depth, _) in enumerate(shots):
        last = place == len(shots) - 1
        wait = duration if last else shots[place + 1][2]
        layers = max(_LEAST_LAYERS, round(LAYERS / len(shots)))
        poured.append(
            pour(
                depth,
                start,
                room,
                *compound,
                "insulated",
                duration=wait,
                cells=layers,
                sinks=sinks,
                onto=poured[-1] if poured else None,
            )
        )
    return poured


def hottest(poured: Sequence[Pour], shots: Sequence[PouredShot]) -> PourPeak:
    """The peak of a chain of pours."""
    begin, best = 0.0, PourPeak(-math.inf, 0.0, 0.0)
    for place, stage in enumerate(poured):
        begin += shots[place][2] if place else 0.0
        if stage.peak_temperature > best.temperature:
            best = PourPeak(stage.peak_temperature, begin + stage.peak_time, stage.peak_height)
    return best


@kept
def pour_peak(shots: Sequence[PouredShot], start: float, room: float, compound: Compound) -> PourPeak:
    """The peak of a pour in its shots, on the layers that its course is followed on.

    >>> from dispense.handbook.kinetics import NthOrder
    >>> compound = Compound(NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25, 10.0)
    >>> peak = pour_peak([(1, 0.02, 0.0)], 296.15, 296.15, compound)
    >>> 296.15 < peak.temperature < 296.15 + 3e5 / 1800.0  # never above all heat kept
    True
    """
    return hottest(pour_chain(shots, start, compound, room), shots)


@kept
def slab_peak(depth: float, start: float, room: float, compound: Compound) -> float:
    """The peak of a pour in one shot on as fine a grid as it needs, K; raises InputError where none is."""
    return float(peak_temperature(depth, start, room, *compound, "insulated"))


def biot_number(depth: float, film: float, conductivity: float) -> float:
    """Heat that the film passes on against what the depth conducts: h·d/k."""
    return film * depth / conductivity


@kept
def runaway_with_film(depth: float, start: float, compound: Compound) -> Runaway:
    """Frank-Kamenetskii's criterion for a depth with the film at its free face.

    The critical value falls with the Biot number; the critical depth is the one at which δ meets it.
    """
    kinetics, heat, density, _, conductivity, film = compound
    found = frank_kamenetskii(depth, start, kinetics, heat, density, conductivity)
    critical = critical_delta(biot_number(depth, film, conductivity))

    def excess(log_depth: float) -> float:
        tried = math.exp(log_depth)
        return (
            math.log(found.delta)
            + 2.0 * (log_depth - math.log(depth))
            - math.log(critical_delta(biot_number(tried, film, conductivity)))
        )

    if not 0.0 < found.delta < math.inf:
        return Runaway(found.delta, critical, found.half_thickness)
    from scipy.optimize import brentq

    held = math.log(found.half_thickness)  # with the face held; a film can only make it thinner
    low = held - 1.0
    while excess(low) > 0.0:
        low -= 1.0
    return Runaway(found.delta, critical, math.exp(brentq(excess, low, held, xtol=1e-12)))


__all__ = [
    "Compound",
    "PourPeak",
    "PouredShot",
    "biot_number",
    "hottest",
    "pour_chain",
    "pour_peak",
    "runaway_with_film",
    "slab_peak",
]
