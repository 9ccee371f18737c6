"""The lamp of a station: the dose that its material needs, the dose that the plan gives it."""

from __future__ import annotations

from dataclasses import dataclass

from ..base.findings import QUALITY, Finding
from ..base.numbers import EQUAL
from ..base.units import from_si
from ..handbook.cure import belt_speed, uv_dose, uv_time
from .records import Plan
from .rows import Material, Station

LAMP = "light"  # the cure that needs a lamp, and the topic of what is found of it


@dataclass(frozen=True, slots=True)
class Lamp:
    """What is stated of a lamp and what follows from it; SI units, None where nothing is stated."""

    dose: float | None  # the least that cures, J/m²
    most: float | None  # the most that the material bears, J/m²
    irradiance: float | None  # W/m² at the bond line
    lit_length: float | None  # m along the belt
    exposure: float | None  # s under the lamp

    @property
    def given(self) -> float | None:
        """Dose that the stated irradiance and time give [J/m²]: H = E·t."""
        if self.irradiance is None or self.exposure is None:
            return None
        return float(uv_dose(self.irradiance, self.exposure))

    @property
    def least_time(self) -> float | None:
        """Time [s] at which the stated irradiance gives the dose: t = H/E."""
        if self.irradiance is None or self.dose is None:
            return None
        return float(uv_time(self.dose, self.irradiance))

    @property
    def belt(self) -> float | None:
        """Speed [m/s] of a belt on which a part stays so long under the lamp: v = L/t."""
        if self.lit_length is None or self.exposure is None:
            return None
        return self.lit_length / self.exposure

    @property
    def fastest_belt(self) -> float | None:
        """Speed [m/s] at which the lit length just gives the dose: v = E·L/H."""
        if self.irradiance is None or self.lit_length is None or self.dose is None:
            return None
        return float(belt_speed(self.dose, self.irradiance, self.lit_length))

    @property
    def is_short(self) -> bool:
        """Whether the lamp gives less than the dose that cures."""
        return self.given is not None and self.dose is not None and self.given < self.dose * (1.0 - EQUAL)

    @property
    def is_over(self) -> bool:
        """Whether the lamp gives more than the material bears."""
        return self.given is not None and self.most is not None and self.given > self.most * (1.0 + EQUAL)


def lamp_of(material: Material, station: Station) -> Lamp:
    """The lamp of a station that cures a material."""
    return Lamp(
        material.dose, material.dose_limit, station.irradiance, station.lit_length, station.exposure_time
    )


def lamp_findings(plan: Plan, station: Station) -> list[Finding]:
    """A lamp that gives less than the dose, or more than the material bears."""
    material = plan.material(station.material)
    if material.cure != LAMP:
        return []
    lamp = lamp_of(material, station)
    if lamp.given is None or not (lamp.is_short or lamp.is_over):
        return []
    given = f"the lamp gives {from_si(lamp.given, 'J/cm²'):.3g} J/cm²"
    if lamp.is_short and lamp.dose is not None:
        words = f"{given} of the {from_si(lamp.dose, 'J/cm²'):.3g} J/cm² that cure"
        fix = "longer under the lamp, a slower belt, or more light at the part"
    else:
        words = f"{given}, the material bears {from_si(lamp.most or 0.0, 'J/cm²'):.3g} J/cm²"
        fix = "shorter under the lamp, a faster belt, or less light at the part"
    return [Finding(QUALITY, words, fix, LAMP, station.station, material.material)]


__all__ = ["LAMP", "Lamp", "lamp_findings", "lamp_of"]
