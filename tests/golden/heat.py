"""How hot a pour gets: own method of lines with scipy's stiff solver; nothing of the planner.

A wide slab on an insulated base, a film at its free face, poured at once at the temperature of the
hottest hour into air of that temperature: ρc·∂T/∂t = k·∂²T/∂z² + ρH·∂α/∂t with Kamal's law
∂α/∂t = (k₁ + k₂αᵐ)(1 − α)ⁿ, k = A·exp(−E/RT) (M. R. Kamal & S. Sourour, Polym. Eng. Sci. 13 (1973) 59).
A later shot lies cold and uncured on what has cured by then.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from scipy.integrate import solve_ivp

from .handbook import GAS, ZERO

CELLS = 50  # of each shot
LONGEST = 40.0 * 3600.0  # s: a slow compound is hottest hours after it was poured
STILL_AIR = 10.0  # W/(m²·K) where a pot states no film: common practice, no source


@functools.cache
def peak(
    depths: tuple[float, ...],
    waits: tuple[float, ...],
    start: float,
    film: float,
    density: float,
    heat: float,
    specific_heat: float,
    conductivity: float,
    rates: tuple[float, ...],
) -> float:
    """Highest temperature [°C] of shots [mm] poured after waits [s]; g/mL, J/g, J/(g·K), W/(m·K).

    `rates` are A₁ [1/min], E₁ [kJ/mol], A₂, E₂, m, n.
    """
    a1, e1, a2, e2, m, n = rates
    mass, capacity = density * 1e3, specific_heat * 1e3  # kg/m³, J/(kg·K)
    widths = np.array([])
    state = np.array([])  # temperature and degree of each cell in turn
    hottest = start
    for place, depth in enumerate(depths):
        widths = np.concatenate([widths, np.full(CELLS, depth * 1e-3 / CELLS)])
        fresh = np.column_stack([np.full(CELLS, start + ZERO), np.zeros(CELLS)]).ravel()
        state = np.concatenate([state, fresh])
        joints = conductivity / (0.5 * (widths[:-1] + widths[1:]))  # W/(m²·K)
        face = 1.0 / (1.0 / film + 0.5 * widths[-1] / conductivity)

        def slopes(_, y, widths=widths, joints=joints, face=face):
            t, degree = y[::2], np.clip(y[1::2], 0.0, 1.0)
            k1, k2 = (a / 60.0 * np.exp(-e * 1e3 / (GAS * t)) for a, e in ((a1, e1), (a2, e2)))
            rate = (k1 + k2 * degree**m) * (1.0 - degree) ** n
            up = joints * np.diff(t)
            gain = np.zeros_like(t)
            gain[:-1] += up
            gain[1:] -= up
            gain[-1] -= face * (t[-1] - start - ZERO)
            out = np.empty_like(y)
            out[::2] = gain / (mass * capacity * widths) + heat * 1e3 / capacity * rate
            out[1::2] = rate
            return out

        last = place == len(depths) - 1
        span = LONGEST if last else waits[place + 1]
        found = solve_ivp(slopes, (0.0, span), state, method="LSODA", lband=2, uband=2, rtol=1e-6, atol=1e-7)
        assert found.success
        hottest = max(hottest, float(found.y[::2].max()) - ZERO)
        state = found.y[:, -1]
    return hottest


def runaway_number(
    depth: float, t: float, density: float, heat: float, conductivity: float, rates: tuple[float, ...]
) -> float:
    """Frank-Kamenetskii's δ = E/(RT²)·d²·ρHA·exp(−E/RT)/k with k₁ alone.

    D. A. Frank-Kamenetskii, 1938; an insulated base makes the depth count as half a slab.
    """
    a1, e1 = rates[:2]
    kelvin = t + ZERO
    power = density * 1e3 * heat * 1e3 * a1 / 60.0 * math.exp(-e1 * 1e3 / (GAS * kelvin))
    return e1 * 1e3 / (GAS * kelvin**2) * (depth * 1e-3) ** 2 * power / conductivity


def critical_number(biot: float) -> float:
    """Largest δ of a steady slab with a film: 2c²·sech²c·exp(−2c·tanh c/Bi), largest over c.

    P. H. Thomas, Trans. Faraday Soc. 54 (1958) 60 (from memory); 0.878 for Bi → ∞ (Frank-Kamenetskii).
    """
    c = np.linspace(1e-4, 2.0, 200_001)
    return float(np.max(2 * c**2 / np.cosh(c) ** 2 * np.exp(-2 * c * np.tanh(c) / biot)))
