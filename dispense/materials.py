"""What a data sheet states, made usable at another temperature, and how far that can be trusted.

A supplier states a pot life at one temperature, at two, or with an activation energy. `WorkingLife`
says how long the mixed material keeps at any temperature and marks what rests on the halving rule
(a rule of thumb) or lies outside the temperatures that were stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .life import LifeClock, activation_energy, pot_life
from .mixing import mix_split

CELSIUS_ZERO = 273.15
NEAR = 0.5  # K around a stated temperature that counts as stated


@dataclass(frozen=True, slots=True)
class WorkingLife:
    """Life of a mixed material against temperature; SI units.

    `energy` is None where one point is known: then the halving rule is used.
    """

    life: float
    temperature: float
    energy: float | None
    halving_step: float
    low: float  # range of stated temperatures
    high: float
    source: str = ""

    @property
    def basis(self) -> str:
        """What the figures rest on, in words for a printed sheet."""
        if self.energy is None:
            return (f"halving every {self.halving_step:g} K from one data-sheet point "
                    "(rule of thumb)")  # fmt: skip
        if self.low < self.high:
            return "Arrhenius through two data-sheet points"
        return "Arrhenius with the activation energy of the material"

    def at(self, temperature: float) -> float:
        """Life [s] at a temperature [K]."""
        return float(
            pot_life(temperature, self.life, self.temperature, self.energy, self.halving_step)
        )

    def marks(self, *temperatures: float) -> list[str]:
        """What a reader must know of the figures at these temperatures; empty where all is stated."""
        outside = [value for value in temperatures
                   if value < self.low - NEAR or value > self.high + NEAR]  # fmt: skip
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

    def clock(self, times, temperatures, share: float = 1.0) -> LifeClock:
        """The life played along a temperature record; `share` scales the life."""
        return LifeClock(times, temperatures, self.life * share, self.temperature, self.energy,
                         self.halving_step)  # fmt: skip


def material_energy(material) -> float | None:
    """Activation energy of a material [J/mol]: stated, or from two pot lives, else None."""
    if material.activation_energy is not None:
        return material.activation_energy
    if material.pot_life and material.pot_life_2 and material.pot_life_temperature_2 is not None:
        return float(
            activation_energy(
                np.array([material.pot_life_temperature, material.pot_life_temperature_2]),
                np.array([material.pot_life, material.pot_life_2]),
            )
        )
    return None


def working_life(material) -> WorkingLife | None:
    """Pot life of a material record; None where it has none (most one-part materials)."""
    if material.pot_life is None:
        return None
    low = high = material.pot_life_temperature
    if material.pot_life_2 and material.pot_life_temperature_2 is not None:
        low = min(low, material.pot_life_temperature_2)
        high = max(high, material.pot_life_temperature_2)
    return WorkingLife(material.pot_life, material.pot_life_temperature, material_energy(material),
                       material.halving_step, low, high, material.pot_life_source)  # fmt: skip


def open_life(material) -> WorkingLife | None:
    """Open time of a material: from dispensing to mating, at the pot-life temperature."""
    if material.open_time is None:
        return None
    at = material.pot_life_temperature
    return WorkingLife(material.open_time, at, material_energy(material), material.halving_step,
                       at, at)  # fmt: skip


#: the three cure milestones: column of the material, what it allows
MILESTONES = (("move_time", "move"), ("join_time", "join"), ("test_time", "test"))


def cure_life(material, milestone: str) -> WorkingLife | None:
    """Time to a cure milestone at any temperature; None where the data sheet states none."""
    time = getattr(material, milestone)
    if time is None:
        return None
    at = material.cure_temperature
    return WorkingLife(time, at, material_energy(material), material.halving_step, at, at)


def kinetics_of(material) -> tuple[float, ...] | None:
    """The kinetics row (A1, E1, A2, E2, m, n) in SI, NaN where blank; None where unknown."""
    if material.rate_1 is None or material.energy_1 is None:
        return None
    row = (material.rate_1, material.energy_1, material.rate_2, material.energy_2,
           material.order_m, material.order_n)  # fmt: skip
    return tuple(math.nan if value is None else value for value in row)


def mix_shares(material, components: dict) -> dict[str, float]:
    """Share of the mixed volume that each component makes, by letter."""
    if material.kind == "one-part":
        return {"a": 1.0}
    share_a, share_b, *_ = _split(material, components)
    return {"a": share_a, "b": share_b}


def mixed_density(material, components: dict) -> float:
    """Density of the mixed material [kg/m³], volumes adding."""
    if material.kind == "one-part":
        return components["a"].density
    *_, mass_a, mass_b = _split(material, components)
    return mass_a + mass_b


def _split(material, components: dict) -> tuple[float, ...]:
    """Volumes and masses of A and B in one cubic metre of the mix."""
    return mix_split(1.0, material.ratio_a, material.ratio_b, components["a"].density,
                     components["b"].density, material.ratio_basis)  # fmt: skip
