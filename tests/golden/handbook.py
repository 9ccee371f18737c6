"""Closed forms of the trade in mm, mL, g, s, °C, bar, each with its source; nothing of the planner."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from scipy.integrate import quad
from scipy.optimize import brentq

GAS = 8.31446261815324  # J/(mol·K): N_A·k, exact since the SI of 2019 (CODATA 2018)
ZERO = 273.15
MIXER = 6.9  # helical elements: Paul, Atiemo-Obeng, Kresta, Handbook of Industrial Mixing, 2004, ch. 7


# --------------------------------------------------------------------------------------- beads, pots


def bead_area(section: str, w: float, h: float | None, angle: float | None) -> float:
    """Cross-section in mm²: elementary geometry; mitre and fillet as cut between two faces."""
    if section == "round":
        return math.pi * w * w / 4
    if section in {"half-round", "ellipse"} and h is not None:
        return math.pi * w * h / 4  # half an ellipse w wide and h high; a whole one
    if section == "triangle" and h is not None:
        return w * h / 2
    if section == "rectangle" and h is not None:
        return w * h
    if section == "segment" and angle is not None:
        # circle that meets the base at θ: r = w/(2 sin θ), area r²(θ − sin θ cos θ)
        t = math.radians(angle)
        r = w / (2 * math.sin(t))
        return r * r * (t - math.sin(t) * math.cos(t))
    if section == "fillet":
        return w * w * (1 - math.pi / 4)  # a square less a quarter disc
    raise AssertionError(section)


def cure_depth(bead, volume: float, length: float) -> float:
    """How deep the air must reach [mm] in a bead of so many mm³ at most, under so many mm of runs.

    Between two faces from its two edges, or the one that meets air; the flange holds no more than it is
    wide. Else the height over the base.
    """
    if bead.bond_line is not None:
        wide = volume / length / bead.bond_line  # square edges, volume kept
        return min(wide, bead.flange_width or wide) / (bead.open_edges or 2)
    if bead.section == "round":
        return bead.width
    if bead.section == "segment" and bead.contact_angle is not None:
        # sagitta of a chord w seen under θ at its ends: (w/2)·tan(θ/2)
        return bead.width / 2 * math.tan(math.radians(bead.contact_angle) / 2)
    if bead.height is not None:
        return bead.height
    return bead.width / 2


def arc(a, b, c) -> float:
    """Length of the circle a → b → c: circumradius R = xyz/(4·area), angles by the law of cosines."""
    x, y, z = math.dist(b, c), math.dist(a, c), math.dist(a, b)
    s = (x + y + z) / 2
    area = math.sqrt(s * (s - x) * (s - y) * (s - z))  # Heron
    radius = x * y * z / (4 * area)
    # inscribed angles at c and a stand over the chords a-b and b-c; the arc is twice their sum
    at_a = math.acos((y * y + z * z - x * x) / (2 * y * z))
    at_c = math.acos((x * x + y * y - z * z) / (2 * x * y))
    return radius * 2 * (at_a + at_c)


def path_length(points: list[tuple[tuple[float, float, float], str]], closed: bool) -> float:
    """Length with material along lines and three-point arcs; travel leaves no material."""
    total = 0.0
    row = 1
    while row < len(points):
        point, motion = points[row]
        if motion == "arc":
            total += arc(points[row - 1][0], point, points[row + 1][0])
            row += 2
            continue
        if motion == "line":
            total += math.dist(points[row - 1][0], point)
        row += 1
    if closed:
        total += math.dist(points[-1][0], points[0][0])
    return total


def stitched(length: float, run: float | None, gap: float | None) -> tuple[float, int]:
    """Length under the runs and their number: runs from the start, the last may be cut."""
    if run is None or gap is None:
        return length, 1
    laid, at, count = 0.0, 0.0, 0
    while at < length - 1e-9:
        laid += min(run, length - at)
        at += run + gap
        count += 1
    return laid, count


def cavity(shape: str, h: float, length: float, width: float | None, draft: float) -> float:
    """Volume below h in mL, by integrating the surface (a tray widens by h·tan δ on every side)."""
    t = math.tan(math.radians(draft))
    if shape == "tray" and width is not None:
        return quad(lambda z: (length + 2 * z * t) * (width + 2 * z * t), 0, h)[0] / 1000
    if shape == "box" and width is not None:
        return length * width * h / 1000
    if shape == "cylinder":
        return math.pi / 4 * length * length * h / 1000
    raise AssertionError(shape)


#: IEC 60086 way of naming round cells: 21700 is 21 mm across and 70.0 mm high
CELL_HEIGHTS = {"21700": 70.0, "18650": 65.0}


# ------------------------------------------------------------------------------------------- mixing


def shares(material, parts: dict) -> dict[str, float]:
    """Share of each component in the mixed volume."""
    if material.kind == "one-part":
        return {"a": 1.0}
    a, b = material.ratio_a, material.ratio_b
    if material.ratio_basis == "mass":  # volumes are masses over densities
        a, b = a / parts["a"].density, b / parts["b"].density
    return {"a": a / (a + b), "b": b / (a + b)}


def density(material, parts: dict) -> float:
    """Mass of a millilitre of the mix, volumes adding."""
    return sum(share * parts[letter].density for letter, share in shares(material, parts).items())


# ------------------------------------------------------------------------------------------- spread


def spread(volume: Callable[..., float], middle: dict[str, float], tolerances: dict[str, float]):
    """Nominal, and what each input does to it alone at the lower and the upper end of its tolerance."""
    nominal = volume(**middle)
    effects = {
        name: tuple(volume(**{**middle, name: middle[name] + sign * tolerance}) - nominal for sign in (-1, 1))
        for name, tolerance in tolerances.items()
        if tolerance
    }
    return nominal, effects


def limits(nominal: float, effects: Iterable[tuple[float, float]]):
    """Low, high, worst low, worst high.

    Root sum of squares of independent inputs (JCGM 100:2008, 5.1.2), downward and upward apart; worst
    case: every input at its worse end. Nothing is below zero.
    """
    down = [max(-low, -high, 0.0) for low, high in effects]
    up = [max(low, high, 0.0) for low, high in effects]
    return (
        max(nominal - math.sqrt(sum(x * x for x in down)), 0.0),
        nominal + math.sqrt(sum(x * x for x in up)),
        max(nominal - sum(down), 0.0),
        nominal + sum(up),
    )


# --------------------------------------------------------------------------------------------- flow


def arrhenius(value: float, energy: float, t: float, t_ref: float) -> float:
    """A viscosity, or a life, at t [°C] from that at t_ref; energy in kJ/mol."""
    return value * math.exp(energy * 1000 / GAS * (1 / (t + ZERO) - 1 / (t_ref + ZERO)))


def tube_pressure(flow: float, bore: float, length: float, m: float, n: float, tau0: float) -> float:
    """Pressure drop [bar] of a Herschel–Bulkley liquid in a round tube.

    Newton: 128 μ L Q/(π D⁴) (Hagen–Poiseuille). Else by integrating the speed from the plug to the wall,
    Q = π/τ_w³·R³ ∫_{τ0}^{τ_w} τ² γ̇(τ) dτ (Rabinowitsch), γ̇ = ((τ − τ0)/m)^{1/n}; τ_w by root finding.
    """
    q, d, far = flow * 1e-6, bore * 1e-3, length * 1e-3
    if n == 1 and tau0 == 0:
        return 128 * m * far * q / (math.pi * d**4) / 1e5

    def flow_at(wall: float) -> float:
        found = quad(lambda s: s * s * ((s - tau0) / m) ** (1 / n), tau0, wall, limit=200)[0]
        return math.pi * (d / 2) ** 3 / wall**3 * found

    high = tau0 + 1.0
    while flow_at(high) < q:
        high *= 2
    wall = brentq(lambda s: flow_at(s) - q, tau0 * (1 + 1e-12) + 1e-12, high, xtol=1e-12, rtol=1e-13)
    return 4 * wall * far / d / 1e5


def shear_rate(flow: float, bore: float, n: float) -> float:
    """Apparent rate at the wall, 8V/D·(3n + 1)/(4n): Rabinowitsch for a power law."""
    speed = flow * 1000 / (math.pi * bore**2 / 4)
    return 8 * speed / bore * (3 * n + 1) / (4 * n)


# ------------------------------------------------------------------------------------ pressed plates


def press_time(
    volume: float, dots: int, area: float, force: float, mu: float, start: float, gap: float
) -> float:
    """Seconds to press Newtonian dots [mL, mm², N, Pa·s, mm] from a start gap to a gap.

    Each dot as a round drop of constant volume under its share of the force, −dh/dt = 2Fh³/(3πμR⁴)
    (J. Stefan 1874; M. J. Engmann et al., J. Non-Newtonian Fluid Mech. 132 (2005) 1), R² = V/(πh), which
    gives 3μV²/(8πF)·(1/h₁⁴ − 1/h₀⁴); once they fill the plate, a round plate of the same area,
    3πμR⁴/(4F)·(1/h₁² − 1/h₀²).
    """
    v, f = volume * 1e-6 / dots, force / dots
    full = volume * 1e-6 / (area * 1e-6)
    h0, h1 = start * 1e-3, gap * 1e-3
    middle = min(max(h1, full), h0)
    free = 3 * mu * v * v / (8 * math.pi * f) * (middle**-4 - h0**-4)
    radius = math.sqrt(area * 1e-6 / math.pi)
    filled = 3 * math.pi * mu * radius**4 / (4 * force) * (h1**-2 - middle**-2) if h1 < middle else 0.0
    return free + filled
