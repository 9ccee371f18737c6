"""What a data sheet states, made usable at another temperature, and how far that can be trusted.

A supplier states a pot life at one temperature, at two, or with an activation energy. `WorkingLife`
says how long the mixed material keeps at any temperature and marks what rests on the halving rule
(a rule of thumb) or lies outside the temperatures that were stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import needed
from ..base.findings import QUALITY, Finding
from ..base.numbers import Series
from ..base.units import CELSIUS_ZERO, celsius_text
from ..handbook.life import LifeClock, activation_energy, pot_life
from ..handbook.mixing import mix_split
from .rows import Component, Material

NEAR = 0.5  # K around a stated temperature that counts as stated
AGREE = 0.1  # share by which two activation energies may differ and still agree; no source
STATED, POINTS = "stated", "points"  # where an activation energy is from


@dataclass(frozen=True, slots=True)
class WorkingLife:
    """Life of a mixed material against temperature; SI units.

    `energy` is None where one point is known: then the halving rule is used. `energy_from` says
    whether it was stated or comes from two pot lives; `other_energy` is that of two pot lives
    beside a stated one that is used. `low` and `high` hold the temperatures of the points used.
    """

    life: float
    temperature: float
    energy: float | None
    halving_step: float
    low: float  # range of stated temperatures
    high: float
    source: str = ""
    energy_from: str = STATED
    other_energy: float | None = None

    @property
    def disagreement(self) -> float:
        """How far the stated energy is from that of two pot lives, as a share; 0 without both."""
        if self.energy is None or self.other_energy is None:
            return 0.0
        return self.energy / self.other_energy - 1.0

    @property
    def basis(self) -> str:
        """What the figures rest on, in words for a printed sheet."""
        if self.energy is None:
            return f"halving every {self.halving_step:g} K from one data-sheet point (rule of thumb)"
        if self.energy_from == POINTS:
            return (
                "Arrhenius through two data-sheet points"
                if self.low < self.high
                else "Arrhenius with the activation energy of two pot lives"
            )
        words = f"Arrhenius with the stated activation energy of {self.energy / 1e3:.3g} kJ/mol"
        if self.other_energy is None:
            return words
        verb = "disagrees" if abs(self.disagreement) > AGREE else "agrees"
        return f"{words}; the second pot life {verb} ({self.other_energy / 1e3:.3g} kJ/mol)"

    def at(self, temperature: float) -> float:
        """Life [s] at a temperature [K]."""
        return float(pot_life(temperature, self.life, self.temperature, self.energy, self.halving_step))

    def marks(self, *temperatures: float) -> list[str]:
        """What a reader must know of the figures at these temperatures; empty where all is stated."""
        outside = [value for value in temperatures if value < self.low - NEAR or value > self.high + NEAR]
        if not outside:
            return []
        far = max(outside, key=lambda value: max(self.low - value, value - self.high))
        words = [f"extrapolated to {far - CELSIUS_ZERO:.0f} °C; stated {self._range()}"]
        if self.energy is None:
            words.insert(0, "rule of thumb: " + self.basis.replace(" (rule of thumb)", ""))
        return words

    def _range(self) -> str:
        low, high = self.low - CELSIUS_ZERO, self.high - CELSIUS_ZERO
        return f"at {low:.0f} °C" if high - low < NEAR else f"{low:.0f}–{high:.0f} °C"

    def clock(self, times: Series, temperatures: Series, share: float = 1.0) -> LifeClock:
        """The life played along a temperature record; `share` scales the life."""
        return LifeClock(
            times, temperatures, self.life * share, self.temperature, self.energy, self.halving_step
        )


def points_energy(material: Material) -> float | None:
    """Activation energy [J/mol] of two stated pot lives; None where there is one or none."""
    if material.pot_life and material.pot_life_2 and material.pot_life_temperature_2 is not None:
        return float(
            activation_energy(
                np.array([material.pot_life_temperature, material.pot_life_temperature_2]),
                np.array([material.pot_life, material.pot_life_2]),
            )
        )
    return None


def material_energy(material: Material) -> float | None:
    """Activation energy of a material [J/mol]: stated, or from two pot lives, else None."""
    return points_energy(material) if material.activation_energy is None else material.activation_energy


def _life_at(
    material: Material,
    time: float,
    temperature: float,
    low: float,
    high: float,
    *,
    other_energy: float | None = None,
    source: str = "",
) -> WorkingLife:
    """A stated time made usable at other temperatures, with the energy of the material."""
    stated = material.activation_energy is not None
    return WorkingLife(
        time,
        temperature,
        material_energy(material),
        material.halving_step,
        low,
        high,
        source,
        STATED if stated else POINTS,
        other_energy,
    )


def working_life(material: Material) -> WorkingLife | None:
    """Pot life of a material record; None where it has none (most one-part materials).

    A stated activation energy is used before a second pot life; where the two disagree by more than
    `AGREE`, the second pot life counts for nothing, its temperature neither (`pot_life_findings`).
    """
    if material.pot_life is None:
        return None
    low = high = material.pot_life_temperature
    by_points = points_energy(material)
    stated = material.activation_energy
    if by_points is not None and (stated is None or abs(stated / by_points - 1.0) <= AGREE):
        second = needed(material.pot_life_temperature_2, material.at, "pot life temperature 2")
        low, high = min(low, second), max(high, second)
    return _life_at(
        material,
        material.pot_life,
        material.pot_life_temperature,
        low,
        high,
        other_energy=None if stated is None else by_points,
        source=material.pot_life_source,
    )


def pot_life_findings(material: Material, hottest: float) -> list[Finding]:
    """A stated activation energy that two stated pot lives contradict, and what either says.

    `hottest` [K] is the hottest hour at which the material is used.
    """
    life = working_life(material)
    if life is None or life.other_energy is None or abs(life.disagreement) <= AGREE:
        return []
    by_points = replace(life, energy=life.other_energy, energy_from=POINTS)
    used, other = life.at(hottest) / 60.0, by_points.at(hottest) / 60.0
    stated, points = life.energy / 1e3, life.other_energy / 1e3  # type: ignore[operator]
    far = abs(life.disagreement)
    return [
        Finding(
            QUALITY,
            f"{material.material}: the stated activation energy, {stated:.3g} kJ/mol, is {far:.0%} "
            f"{'above' if life.disagreement > 0.0 else 'below'} that of its two pot lives, "
            f"{points:.3g} kJ/mol; the stated one is used and gives a pot life of {used:.3g} min at "
            f"{celsius_text(hottest)}, the two pot lives {other:.3g} min",
            "ask the supplier which holds; delete the activation energy to use both pot lives, or the second "
            "pot life",
            topic="pot life",
            material=material.material,
            numbers={
                "stated activation energy [kJ/mol]": stated,
                "activation energy of two pot lives [kJ/mol]": points,
                "pot life used [min]": used,
                "pot life by two points [min]": other,
            },
        )
    ]


def open_life(material: Material) -> WorkingLife | None:
    """Open time of a material: from dispensing to mating, at the pot-life temperature."""
    if material.open_time is None:
        return None
    at = material.pot_life_temperature
    return _life_at(material, material.open_time, at, at, at)


#: the three cure milestones: column of the material, what it allows
MILESTONES = (("move_time", "move"), ("join_time", "join"), ("test_time", "test"))


def cure_life(material: Material, milestone: str) -> WorkingLife | None:
    """Time to a cure milestone at any temperature; None where the data sheet states none."""
    time = getattr(material, milestone)
    if time is None:
        return None
    at = material.cure_temperature
    return _life_at(material, time, at, at, at)


def kinetics_of(material: Material) -> tuple[float, ...] | None:
    """The kinetics row (A1, E1, A2, E2, m, n) in SI, NaN where blank; None where unknown."""
    if material.rate_1 is None or material.energy_1 is None:
        return None
    row = (
        material.rate_1,
        material.energy_1,
        material.rate_2,
        material.energy_2,
        material.order_m,
        material.order_n,
    )
    return tuple(math.nan if value is None else value for value in row)


def usable_volume(component: Component) -> float:
    """What can be drawn from a full container [m³]; the rest is its heel."""
    return component.container * (1.0 - component.heel)


def mix_shares(material: Material, components: dict[str, Component]) -> dict[str, float]:
    """Share of the mixed volume that each component makes, by letter."""
    if material.kind == "one-part":
        return {"a": 1.0}
    share_a, share_b, *_ = _split(material, components)
    return {"a": share_a, "b": share_b}


def mixed_density(material: Material, components: dict[str, Component]) -> float:
    """Density of the mixed material [kg/m³], volumes adding."""
    if material.kind == "one-part":
        return components["a"].density
    *_, mass_a, mass_b = _split(material, components)
    return mass_a + mass_b


def _split(material: Material, components: dict[str, Component]) -> tuple[float, ...]:
    """Volumes and masses of A and B in one cubic metre of the mix."""
    split = mix_split(
        1.0,
        material.ratio_a,
        needed(material.ratio_b, material.at, "ratio B"),
        components["a"].density,
        components["b"].density,
        material.ratio_basis,
    )
    return tuple(map(float, split))
