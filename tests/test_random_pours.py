"""The peak of random pours against the method of lines, written apart and followed by LSODA.

Each is drawn from what compounds are like: depths of 3 to 60 mm, n-th order and autocatalytic, heats of 100
to 450 J/g, films of 5 to 30 W/(m²·K). What is said of the peak is that its grid is refined until it moves by
no more than the error stated; that error must hold.

    DISPENSE_POURS=200 pytest tests/test_random_pours.py    # by hand, before a release; some minutes
"""

from __future__ import annotations

import math
import os
import random
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from dispense.base.errors import InputError
from dispense.handbook.heat import peak_temperature
from dispense.handbook.kinetics import Kamal, NthOrder

POURS = int(os.environ.get("DISPENSE_POURS", "5"))
GAS = 8.31446261815324
STATED = 0.01  # K, that a peak of a pour that does not pass the adiabatic temperature may be off
LAYERS, MOST_LAYERS = 80, 2560


@dataclass(frozen=True)
class Drawn:
    """One pour, SI units."""

    depth: float
    start: float
    room: float
    factors: tuple[float, float]  # of 1/s at 350 K, of the n-th order and of the autocatalytic reaction
    energies: tuple[float, float]
    order: float
    power: float
    material: tuple[float, float, float, float]  # heat, density, specific heat, conductivity
    film: float
    base: str

    @property
    def constants(self) -> tuple[float, float]:
        """The factors before the exponentials."""
        first, second = (
            rate * math.exp(energy / GAS / 350.0)
            for rate, energy in zip(self.factors, self.energies, strict=True)
        )
        return first, second

    def ours(self) -> float:
        """The peak as it is told."""
        first, second = self.constants
        kinetics = NthOrder(first, self.energies[0], self.order)
        if self.factors[1]:
            kinetics = Kamal(first, self.energies[0], second, self.energies[1], self.power, self.order)
        return float(
            peak_temperature(
                self.depth, self.start, self.room, kinetics, *self.material, self.film, self.base
            )
        )


def draw(rng: random.Random) -> Drawn:
    """A pour of a compound."""
    slow = math.exp(rng.uniform(math.log(2e-5), math.log(2e-3)))
    both = rng.random() < 0.5
    return Drawn(
        math.exp(rng.uniform(math.log(3e-3), math.log(60e-3))),
        rng.uniform(288.0, 333.0),
        rng.uniform(283.0, 333.0),
        (slow, slow * rng.uniform(2.0, 20.0) if both else 0.0),
        (rng.uniform(45e3, 80e3), rng.uniform(40e3, 70e3)),
        rng.uniform(1.0, 2.0),
        rng.uniform(0.5, 1.0),
        (
            rng.uniform(1e5, 4.5e5),
            rng.uniform(1000.0, 2200.0),
            rng.uniform(1000.0, 2000.0),
            rng.uniform(0.15, 1.5),
        ),
        rng.uniform(5.0, 30.0),
        rng.choice(["insulated", "fixed", "film"]),
    )


def lines(pour: Drawn, layers: int) -> float:
    """The peak by the method of lines: T and α of a layer side by side, so that the matrix is a band."""
    heat, density, capacity, conductivity = pour.material
    width = pour.depth / layers
    (first, second), (low, high) = pour.constants, pour.energies
    through = 1.0 / (1.0 / pour.film + width / 2.0 / conductivity)
    below = {"insulated": 0.0, "fixed": 2.0 * conductivity / width, "film": through}[pour.base]

    def slope(_: float, y: np.ndarray) -> np.ndarray:
        heats, degrees = y[::2], np.clip(y[1::2], 0.0, 1.0)
        flow = np.empty(layers + 1)  # upwards
        flow[0] = below * (pour.room - heats[0])
        flow[1:-1] = conductivity * (heats[:-1] - heats[1:]) / width
        flow[-1] = through * (heats[-1] - pour.room)
        grows = first * np.exp(-low / GAS / heats)
        if second:
            grows = grows + second * np.exp(-high / GAS / heats) * degrees**pour.power
        grows = grows * (1.0 - degrees) ** pour.order
        out = np.empty_like(y)
        out[::2] = (flow[:-1] - flow[1:]) / (width * density * capacity) + heat / capacity * grows
        out[1::2] = grows
        return out

    begin = np.empty(2 * layers)
    begin[::2], begin[1::2] = pour.start, 0.0
    top = max(pour.start, pour.room)
    # long enough for both: what reacts at the temperature it stands at, and what the depth conducts
    react = 60.0 / (sum(pour.factors) * math.exp(-low / GAS * (1.0 / top - 1.0 / 350.0)))
    conduct = 6.0 * density * capacity * pour.depth * (pour.depth / conductivity + 1.0 / pour.film)
    found = solve_ivp(
        slope, (0.0, react + conduct), begin, method="LSODA", rtol=1e-9, atol=1e-9, lband=3, uband=3
    )
    assert found.success
    return float(max(top, found.y[::2].max()))


def refined(pour: Drawn) -> tuple[float, float]:
    """The peak by layers doubled until it stays, of second order in their width, and by how much it moved."""
    peaks = [lines(pour, LAYERS), lines(pour, 2 * LAYERS)]
    expected = [peaks[1] + (peaks[1] - peaks[0]) / 3.0]
    own = abs(peaks[1] - peaks[0]) / 3.0
    while own > STATED / 2.0 and LAYERS << len(peaks) <= MOST_LAYERS:
        peaks.append(lines(pour, LAYERS << len(peaks)))
        expected.append(peaks[-1] + (peaks[-1] - peaks[-2]) / 3.0)
        own = abs(expected[-1] - expected[-2])
    return expected[-1], own


def held(number: int) -> None:
    """The peak of a drawn pour is within the error that is stated of it."""
    pour = draw(random.Random(number))
    adiabatic = max(pour.start, pour.room) + pour.material[0] / pour.material[2]
    try:
        told = pour.ours()
    except InputError:  # it runs away: then a front does pass the adiabatic temperature
        assert lines(pour, LAYERS) > adiabatic
        return
    expected, own = refined(pour)
    passed = max(0.0, expected - adiabatic)
    assert own <= max(STATED, 0.01 * passed)  # the reference is worth its name
    assert told == pytest.approx(expected, abs=max(STATED, 0.01 * passed) + own)


@pytest.mark.parametrize("number", range(POURS))
def test_the_stated_error_holds(number):
    held(number)


@pytest.mark.parametrize("number", [46, 101])
def test_a_front_past_the_adiabatic_temperature_is_followed(number):
    # two that two grids alone mistook by 0.6 and 0.3 K: 481.690 and 498.756 K with 2,560 layers and LSODA
    held(number)


@pytest.mark.slow
def test_a_front_thinner_than_any_layer_is_no_peak():
    """Layers doubled from 80 to 320 move the peak by 49 K: 862.8, 902.3 and 937.6 K, and on."""
    pour = draw(random.Random(103))
    with pytest.raises(InputError, match="runs away"):
        pour.ours()
