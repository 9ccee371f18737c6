"""Densities as measured beside those of the plan: what of an off weight is the material, not the amount.

One rule for whoever reads weights: a density differs where the learned one does (`lessons`), and what it
explains of a weight is no matter of a meter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ..base.printed import listed
from ..plan.records import Plan
from ..shift.setup import setup_card
from .learned import DIFFERS, Learned
from .lessons import DENSITY, density_subject
from .weighed import PERCENT

MIX = ""  # the letter of what stands for the material as it is put on
NORMAL_95 = 1.959964  # standard errors of half a 95 % interval


@dataclass(frozen=True, slots=True)
class Density:
    """A measured density off from the plan's: by how much [%], its standard error, whether beyond noise."""

    deviation: float = 0.0
    error: float = 0.0
    differs: bool = False
    words: str = ""


#: by letter of the component; MIX for the material as it is put on
Densities = Mapping[str, Density]
NONE_MEASURED = Density()


def _density(item: Learned) -> Density | None:
    """One as learned; None where too little was measured."""
    if item.value is None or item.low is None or item.high is None or not item.planned:
        return None
    deviation = PERCENT * (item.value / item.planned - 1.0)
    error = PERCENT * (item.high - item.low) / item.planned / (2.0 * NORMAL_95)
    how = "dispense learn takes it over" if item.may_be_taken else "dispense learn tells more"
    words = f"{item.subject} is {deviation:+.1f} % off the plan's as measured ({how})"
    return Density(deviation, error, item.verdict == DIFFERS, words)


def densities_of(plan: Plan, station: str, learned: Iterable[Learned]) -> dict[str, Density]:
    """The densities of a station's material that were measured, that of the mix from its components' else.

    Of the mix: sum of mass share times deviation; a component that was not measured counts as planned.
    """
    known = {item.subject: item for item in learned if item.quantity == DENSITY}
    card = setup_card(plan, station)
    components = plan.components_of(card.material.material)
    found = {}
    for letter in (MIX, *card.shares):
        item = known.get(density_subject(card.material, letter))
        density = None if item is None else _density(item)
        if density is not None:
            found[letter] = density
    parts = [letter for letter in card.shares if letter in found]
    if MIX not in found and parts:
        mass = {letter: share * components[letter].density for letter, share in card.shares.items()}
        whole = sum(mass.values())
        found[MIX] = Density(
            sum(mass[letter] * found[letter].deviation for letter in parts) / whole,
            math.hypot(*(mass[letter] * found[letter].error / whole for letter in parts)),
            any(found[letter].differs for letter in parts),
            listed(found[letter].words for letter in parts if found[letter].differs),
        )
    return found


__all__ = ["MIX", "NONE_MEASURED", "NORMAL_95", "Densities", "Density", "densities_of"]
