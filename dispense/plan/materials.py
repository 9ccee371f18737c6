"""What a data sheet states, made usable at another temperature, and how far that can be trusted.

A supplier states a pot life at one temperature, at two, or with an activation energy. `WorkingLife`
says how long the mixed material keeps at any temperature and marks what rests on the halving rule
(a rule of thumb) or lies outside the temperatures that were stated.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import InputError, Problem, needed
from ..base.findings import QUALITY, Finding
from ..base.numbers import Series
from ..base.units import celsius_text, temperature_text
from ..handbook.kinetics import Kinetics, NthOrder, as_kinetics, kinetics_of_names, with_diffusion
from ..handbook.life import GAS_CONSTANT, LifeClock, activation_energy, pot_life
from ..handbook.mixing import mix_split
from ..handbook.thickening import CastroMacosko, ExponentialThickening, Thickening, aged_degree
from .records import Plan
from .rows import Component, KineticsConstant, Material

NEAR = 0.5  # K around a stated temperature that counts as stated
AGREE = 0.1  # share by which two activation energies may differ and still agree; no source
STATED, POINTS = "stated", "points"  # where an activation energy is from


def _in_celsius(*temperatures: float) -> str:
    return temperature_text(temperatures)


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

    def marks(self, *temperatures: float, told: Callable[..., str] = _in_celsius) -> list[str]:
        """What a reader must know of the figures at these temperatures; empty where all is stated.

        `told` puts a temperature [K], or a range of two, into words.
        """
        outside = [value for value in temperatures if value < self.low - NEAR or value > self.high + NEAR]
        if not outside:
            return []
        far = max(outside, key=lambda value: max(self.low - value, value - self.high))
        stated = told(self.low, self.high).replace(" to ", "–")
        words = [f"extrapolated to {told(far)}; stated {'' if '–' in stated else 'at '}{stated}"]
        if self.energy is None:
            words.insert(0, "rule of thumb: " + self.basis.replace(" (rule of thumb)", ""))
        return words

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


#: columns of a material that hold its kinetics, by the names of `KINETICS` in the handbook
KINETICS_COLUMNS = {
    "A1": "rate_1",
    "E1": "energy_1",
    "A2": "rate_2",
    "E2": "energy_2",
    "m": "order_m",
    "n": "order_n",
    "B": "ceiling",
    "C": "diffusion_strength",
    "alpha_c0": "diffusion_degree",
    "alpha_cT": "diffusion_slope",
    "kd0": "diffusion_rate",
    "C1": "diffusion_c1",
    "C2": "diffusion_c2",
    "Tg0": "glass_uncured",
    "Tg1": "glass_cured",
    "lambda": "glass_lambda",
}


def kinetics_of(plan: Plan, material: Material) -> Kinetics | None:
    """The cure kinetics of a material: its rows in Kinetics, else its columns; None where unknown.

    What slows it (the columns of diffusion) is of both.
    """
    rows = plan.group(KineticsConstant, "material").get(material.material, [])
    values = {
        name: float(getattr(material, column))
        for name, column in KINETICS_COLUMNS.items()
        if getattr(material, column) is not None
    }
    if rows:
        known = kinetics_of_names([[row.name, row.value] for row in rows], rows[0].at)
        if known is None:
            raise InputError(
                Problem(rows[0].at, "name", rows[0].name, "names of constants, or T, E and degrees")
            )
        return with_diffusion(known, values)
    if "A1" not in values or "E1" not in values:
        return None
    return as_kinetics([values.get(name, math.nan) for name in KINETICS_COLUMNS])


@dataclass(frozen=True, slots=True)
class Thickener:
    """How a mix thickens: the kinetics of its degree, the law of its viscosity, and what they rest on."""

    kinetics: Kinetics
    law: Thickening
    basis: str


_SLOWLY = 100.0  # later times in which a degree that only counts time comes to 1


def thickener_of(plan: Plan, material: Material) -> Thickener | None:
    """How a material thickens as it stands; None where the plan does not say.

    By the exponents or the growth of Materials with the kinetics; else through the later viscosity: with
    kinetics by the degree it has come to, without them as an exponential in time, which a stated energy, or
    else the halving rule, carries to other temperatures.
    """
    known, heat, energy = material.consistency, material.viscosity_temperature, material.viscosity_energy
    if known is None:
        return None
    energy = energy or 0.0
    kinetics, gel, later = kinetics_of(plan, material), material.gel_degree, material.later_viscosity
    if kinetics is not None and material.thickening_exponent is not None and gel is not None:
        slope = material.thickening_slope or 0.0
        law = CastroMacosko(known, heat, energy, gel, material.thickening_exponent, slope)
        return Thickener(kinetics, law, "gel point and exponents of the plan, degree by its kinetics")
    if kinetics is not None and material.thickening_growth is not None:
        grown = ExponentialThickening(known, heat, energy, material.thickening_growth)
        return Thickener(kinetics, grown, "exponential of the degree, degree by the plan's kinetics")
    if later is None or material.later_time is None:
        return None
    growth = math.log(later / known)
    if kinetics is not None:
        degree = float(aged_degree(material.later_time, heat, kinetics))
        if gel is not None and degree < gel:
            exponent = growth / math.log(gel / (gel - degree))
            point = CastroMacosko(known, heat, energy, gel, exponent)
            return Thickener(
                kinetics, point, "later viscosity of the data sheet and gel degree, by the kinetics"
            )
        through = ExponentialThickening(known, heat, energy, growth / degree)
        return Thickener(kinetics, through, "exponential of the degree through the later viscosity")
    life = material_energy(material)
    basis = "exponential in time through the later viscosity"
    if life is None:
        step = material.halving_step
        life = GAS_CONSTANT * math.log(2.0) / (1.0 / heat - 1.0 / (heat + step))
        basis += f", twice as quick every {step:g} K (rule of thumb)"
    slow = _SLOWLY * material.later_time
    counted = NthOrder(math.exp(life / GAS_CONSTANT / heat) / slow, life, 0.0)
    return Thickener(counted, ExponentialThickening(known, heat, energy, growth * _SLOWLY), basis)


def glass_of(material: Material) -> tuple[float, float, float] | None:
    """Glass transition uncured and cured [K] and DiBenedetto's ratio; None where one is unknown."""
    uncured, cured, ratio = material.glass_uncured, material.glass_cured, material.glass_lambda
    if uncured is None or cured is None or ratio is None:
        return None
    return uncured, cured, ratio


def usable_volume(component: Component) -> float:
    """What can be drawn from a full container [m³]; the rest is its heel."""
    return component.container * (1.0 - component.heel)


def sized(component: Component, container: float) -> Component:
    """A component in containers of another size [m³], at the same price for the volume.

    The heel stays a share of the container.
    """
    return replace(component, container=container, price=component.price * container / component.container)


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
