"""Pressures of mixer and nozzle at a flow, and what a purge needs that is pushed out in its time.

A purge is as much a flow as a part's: its volume over its time, through the same bores and under the same
limit. What it pushes out is the oldest mix of the station.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from ..base.findings import DANGER, Finding
from ..base.numbers import EQUAL
from ..base.printed import UP, Stated, rounded
from ..base.units import duration_text, from_si
from ..handbook.flow import MIXER_FACTOR, nozzle_pressure
from ..plan.materials import Thickener, WorkingLife, thickener_of
from ..plan.records import Plan
from ..plan.rows import Material, Station
from ..plan.tables import PURGE
from ..plan.weather import coldest_consistency
from .aging import needed_pressure

SLOWEST_PURGE = 1e3  # times the stated time: no purge takes longer
NEVER_ABOVE = "never run above the limit of hoses and meter"


def pressures(
    station: Station, material: Material, flow: float, consistency: float
) -> tuple[float | None, float | None]:
    """Pressure drops of nozzle and mixer at a flow [Pa]; None where bore or length is not stated."""
    law = consistency, material.index, material.yield_stress
    nozzle = mixer = None
    if station.nozzle_bore and station.nozzle_length:
        nozzle = float(nozzle_pressure(flow, station.nozzle_bore, station.nozzle_length, *law))
    if station.mixer_bore and station.mixer_length:
        mixer = MIXER_FACTOR * float(nozzle_pressure(flow, station.mixer_bore, station.mixer_length, *law))
    return nozzle, mixer


def purge_flow(station: Station) -> float | None:
    """Flow of a purge [m³/s]: its volume over its time; None where no time is stated or nothing is purged.

    A purge without a volume is one content of the mixer.
    """
    if station.rule != PURGE or not (station.mixer_volume > 0.0 and station.purge_time > 0.0):
        return None
    return (station.purge_volume or station.mixer_volume) / station.purge_time


@dataclass(frozen=True, slots=True)
class MixAtWork:
    """What moves through mixer and nozzle of a station: its flow law, how it ages, where; SI units."""

    station: Station
    material: Material
    consistency: float | None  # fresh, at the coldest hour
    thickener: Thickener | None
    life: WorkingLife
    heats: tuple[float, ...]

    @staticmethod
    def of(plan: Plan, station: Station, life: WorkingLife, heats: Iterable[float]) -> MixAtWork:
        """The mix of a station between the temperatures of its shop."""
        material, around = plan.material(station.material), sorted(set(heats))
        consistency = coldest_consistency(plan, station, material)[0]
        return MixAtWork(
            station, material, consistency, thickener_of(plan, material), life, (around[0], around[-1])
        )

    def fresh(self, flow: float) -> float:
        """Pressure of a flow of fresh mix at the coldest hour; 0 where bore or viscosity are not known."""
        if self.consistency is None:
            return 0.0
        return sum(part or 0.0 for part in pressures(self.station, self.material, flow, self.consistency))

    def aged(self, flow: float, share: float) -> float:
        """Greatest pressure of a flow of mix that has used a share of its pot life; inf: nothing flows."""
        thickener = self.thickener
        found = [self.fresh(flow)]
        if thickener is not None:
            found += [
                float(
                    needed_pressure(
                        self.station, self.material, thickener, flow, share * self.life.at(heat), heat
                    )
                )
                for heat in self.heats
            ]
        return max(found)

    def least_purge_time(self, share: float) -> float | None:
        """Time in which the limit bears a purge of such a mix [s]; None: in none."""
        from scipy.optimize import brentq

        station, flow, limit = self.station, purge_flow(self.station), self.station.pressure_limit
        if flow is None or limit is None:
            return None
        known_flow, known_limit = flow, limit

        def over(slower: float) -> float:
            needed = self.aged(known_flow * math.exp(-slower), share)
            return math.log(max(min(needed, 1e300), 1e-300) / known_limit)

        last = math.log(SLOWEST_PURGE)
        if over(last) > 0.0:
            return None
        return station.purge_time * math.exp(float(brentq(over, 0.0, last, xtol=1e-9)))


def purge_findings(
    mix: MixAtWork, flows: Iterable[float], played: tuple[str, float] | None = None
) -> list[Finding]:
    """A purge above the limit of pressure: with the oldest mix that is purged, or as it was played.

    `flows` are those of the parts; `played` when a purge was played and the share of the pot life that the
    mix had used then.
    """
    station, limit, flow = mix.station, mix.station.pressure_limit, purge_flow(mix.station)
    when, share = played or ("", station.purge_share)
    if limit is None or flow is None:
        return []
    fresh, aged = mix.fresh(flow), mix.aged(flow, share)
    if not aged > limit * (1.0 + EQUAL):
        return []
    volume = from_si(station.purge_volume or station.mixer_volume, "mL")
    age = share * mix.life.at(mix.heats[-1])
    words = (
        f"{when}a purge of {volume:g} mL in {station.purge_time:g} s is {from_si(flow, 'mL/s'):.3g} mL/s: it "
        f"needs {_bar(fresh)} with fresh mix"
    )
    if mix.thickener is not None:
        words += f", {_bar(aged)} with mix {duration_text(age)} old"
    words += f"; limit {Stated(from_si(limit, 'bar')).text} bar"
    own = max(flows, default=0.0)
    if own and mix.thickener is not None:
        words += f"; at the flow of the parts of {from_si(own, 'mL/s'):.3g} mL/s that mix needs "
        words += _bar(mix.aged(own, share))
    longest = mix.least_purge_time(share)
    fix = (
        "change the mixer" if longest is None else f"purge in {math.ceil(longest * (1.0 - EQUAL))} s or more"
    )
    return [
        Finding(
            DANGER,
            words,
            f"{fix}; {NEVER_ABOVE}",
            "pressure of a purge",
            station.station,
            mix.material.material,
            numbers={
                "fresh [bar]": from_si(fresh, "bar"),
                "aged [bar]": from_si(aged, "bar"),
                "limit [bar]": from_si(limit, "bar"),
                "flow [mL/s]": from_si(flow, "mL/s"),
            },
        )
    ]


def _bar(pressure: float) -> str:
    """A pressure that is needed, rounded up."""
    return f"{rounded(from_si(pressure, 'bar'), 1, UP):g} bar" if math.isfinite(pressure) else "any pressure"


__all__ = ["MixAtWork", "NEVER_ABOVE", "pressures", "purge_findings", "purge_flow"]
