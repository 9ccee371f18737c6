"""Paste under a force: how the gap of a joint closes in time.

Two stages:

- *spreading*: dots keep their volume and beads their cross-section while they get flatter. Each dot
  is a round drop of its own and carries its share of the force, until the dots together cover the
  plate; a bead is a long strip, until it is as wide as its flange.
- *filled*: the whole face is full and paste leaves at its rim.

A pattern that was followed on a lattice from gap to gap takes the place of the first stage.

The paste is Herschel–Bulkley: τ = τ₀ + m·γ̇ⁿ, with Newtonian and power-law liquids as its limits. The
film is thin, the force constant. All in SI units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from ..base.kept import kept
from ..base.memory import remembered
from ..base.numbers import Floats, Number, Series
from .flow import edge_excess, slot_rate
from .pattern import FilmHistory

_POINTS, _SHARES = (0.5 * row for row in np.polynomial.legendre.leggauss(32))
_POINTS = _POINTS + 0.5  # on 0 … 1
_DISC, _STRIP = 3, 2  # power of the flow in the force balance
_TINY = 1e-300
KEPT_PRESSES = 256  # gaps that are kept between plans that are alike
THINNEST = 1e-7  # m; no film is thinner


@dataclass(frozen=True, slots=True)
class Paste:
    """A paste: consistency (Pa·sⁿ), flow index and yield stress (Pa)."""

    consistency: float
    index: float = 1.0
    yield_stress: float = 0.0


def closing_speed(gap: Number, size: Number, load: Number, paste: Paste, *, is_disc: bool) -> np.ndarray:
    """How fast the gap closes, m/s; 0 where the yield stress holds the load. Arrays or numbers.

    A disc of radius `size` under the force `load`, or a strip of half width `size` under a force per
    length. The flow through each place fixes the wall stress there, and the stresses carry the load:
    F = 2πR³/(3h)·[τ₀ + σ(1 − ∫(q/q_R)³)], F′ = 2a²/h·[τ₀ + σ(1 − ∫(q/q_a)²)].

    >>> stefan = 2 * 100.0 * 1e-3**3 / (3 * math.pi * 10.0 * 25e-3**4)
    >>> speed = closing_speed(1e-3, 25e-3, 100.0, Paste(10.0), is_disc=True)
    >>> bool(abs(speed / stefan - 1.0) < 1e-12)
    True
    """
    gap, size = np.asarray(gap, dtype=float), np.asarray(size, dtype=float)
    if is_disc:
        stress = 3.0 * load * gap / (2.0 * math.pi * size**3)
        reach, power = size, _DISC
    else:
        stress = load * gap / (2.0 * size**2)
        reach, power = 2.0 * size, _STRIP
    if paste.yield_stress > 0.0:
        excess = edge_excess(stress, paste.index, paste.yield_stress, power)
    else:  # J is n/(n + power)
        excess = stress / (1.0 - paste.index / (paste.index + power))
    rate = slot_rate(np.maximum(excess, 1e-300), paste.consistency, paste.index, paste.yield_stress)
    return np.where(excess > 0.0, gap**2 / reach * rate, 0.0)


@dataclass(frozen=True, slots=True)
class Press:
    """Paste under a constant force: first it spreads freely, then it fills a face of fixed size.

    `amount` is the volume of one dot (disc) or the cross-section of the bead (strip), `load` the
    force on it (N, or N/m); `full_size` and `full_load` are radius and force of the filled plate, or
    half width and force per length of the filled flange, from the gap `full_gap` down.
    """

    paste: Paste
    is_disc: bool
    start_gap: float
    amount: float
    load: float
    full_gap: float
    full_size: float
    full_load: float

    def size(self, gap: Number) -> Number:
        """Radius of a dot or half width of the bead while it spreads."""
        return np.sqrt(self.amount / (math.pi * gap)) if self.is_disc else self.amount / (2.0 * gap)

    def share(self, gaps: Floats) -> tuple[Number, Number]:
        """Size of what spreads freely at some gaps, and the load that each takes."""
        return self.size(gaps), self.load

    def _limits(self) -> tuple[float, float]:
        """Gaps at which the yield stress stops the free paste and the filled face."""
        stress = self.paste.yield_stress
        if self.is_disc:
            free = (2.0 * math.pi * stress * (self.amount / math.pi) ** 1.5 / (3.0 * self.load)) ** 0.4
            return free, 2.0 * math.pi * self.full_size**3 * stress / (3.0 * self.full_load)
        free = (stress * self.amount**2 / (2.0 * self.load)) ** (1.0 / 3.0)
        return free, 2.0 * stress * self.full_size**2 / self.full_load

    @property
    def limit(self) -> float:
        """Gap at which the yield stress stops the paste; 0 for a liquid."""
        free, full = self._limits()
        if self.full_gap < self.start_gap and free >= self.full_gap:
            return min(free, self.start_gap)
        return min(full, self.full_gap, self.start_gap)

    def time_to(self, gap: float) -> float:
        """Time until the gap is reached, s; infinite where the paste stops before.

        >>> drop = Press(Paste(10.0), True, 1e-3, 100e-9, 50.0, 0.0, 1.0, 50.0)
        >>> round(drop.time_to(0.2e-3), 6)  # 3μV²/(8πF)·(1/h₁⁴ − 1/h₀⁴)
        0.148969
        """
        if gap >= self.start_gap:
            return 0.0
        if gap <= self.limit:
            return math.inf
        free, full = self._limits()
        middle = min(max(gap, self.full_gap), self.start_gap)
        return self._lapse(self.start_gap, middle, free, True) + self._lapse(middle, gap, full, False)

    def _lapse(self, high: float, low: float, stop: float, free: bool) -> float:
        """Time of one stage: ∫ dh/speed in u = ln(h − stop), in which the integrand is smooth."""
        if low >= high:
            return 0.0
        top, end = math.log(high - stop), math.log(low - stop)
        panels = max(1, math.ceil((top - end) / 0.7))
        width = (top - end) / panels
        over = np.exp(end + width * (np.arange(panels)[:, None] + _POINTS))
        gaps = stop + over
        size, load = self.share(gaps) if free else (np.full_like(gaps, self.full_size), self.full_load)
        speed = closing_speed(gaps, size, load, self.paste, is_disc=self.is_disc)
        with np.errstate(divide="ignore"):
            return float(np.sum((over / speed) @ _SHARES) * width)

    @remembered(KEPT_PRESSES)
    @kept
    def gap_after(self, time: float) -> float:
        """Gap reached after a time.

        >>> drop = Press(Paste(10.0), True, 1e-3, 100e-9, 50.0, 0.0, 1.0, 50.0)
        >>> round(drop.gap_after(0.1489690267) * 1e3, 6)
        0.2
        """
        if time <= 0.0 or self.limit >= self.start_gap:
            return self.start_gap
        low, high = self.limit * (1.0 + 1e-4), self.start_gap  # closer takes for ever
        if low == 0.0:
            low = high
            while low > THINNEST and self.time_to(low) < time:
                low /= 2.0
        if self.time_to(low) <= time:
            return low
        # the logarithm of the time is nearly straight in that of the gap: secants, bisected in between
        a, b = math.log(low), math.log(high)
        over, under = math.log(self.time_to(low) / time), -math.inf
        for turn in range(100):
            x = 0.5 * (a + b)
            if turn % 3 and math.isfinite(under) and math.isfinite(over):
                x = a + (b - a) * over / (over - under)
            found = self.time_to(math.exp(x))
            value = math.log(found / time) if found > 0.0 else -math.inf
            if value > 0.0:
                a, over = x, value
            else:
                b, under = x, value
            if b - a < 1e-13 or abs(value) < 1e-12:
                return math.exp(x)
        return math.exp(0.5 * (a + b))

    def curve(self, end: float, count: int = 40) -> tuple[list[float], list[float]]:
        """Times and gaps from the start to a gap, for a chart."""
        end = max(end, self.limit * 1.02, THINNEST)
        if end >= self.start_gap:
            return [0.0], [self.start_gap]
        gaps = np.geomspace(self.start_gap, end, count)
        return [self.time_to(gap) for gap in gaps], gaps.tolist()


@dataclass(frozen=True, slots=True)
class PatternPress(Press):
    """The same for a pattern that was followed on a lattice: equal discs at each gap, each with its load."""

    history: FilmHistory = field(default_factory=FilmHistory)

    def size(self, gap: Number) -> Number:
        """Radius of the discs that take the force of the pattern."""
        return self._between(gap, self.history.radii)

    def share(self, gaps: Floats) -> tuple[Number, Number]:
        """Radius of the discs at some gaps, and the load on each."""
        return self.size(gaps), self.load / self._between(gaps, self.history.counts)

    def _between(self, gap: Number, values: Series) -> Floats:
        """A figure of the discs between the gaps of the lattice: its logarithm straight.

        So are those of the force and of the roof, products of its powers, where two films join at once.
        """
        logs = np.interp(-np.asarray(gap), -np.asarray(self.history.gaps), np.log(values))
        between: Floats = np.exp(logs)
        return between

    def _limits(self) -> tuple[float, float]:
        """Gaps at which the yield stress stops the pattern and the filled plate."""
        stress = self.paste.yield_stress
        full = 2.0 * math.pi * self.full_size**3 * stress / (3.0 * self.full_load)
        gaps = np.asarray(self.history.gaps)
        counts, radii = np.asarray(self.history.counts), np.asarray(self.history.radii)
        # gap·3F/(2πNR³τ₀): the paste moves while it is above 1, and it falls as the gap closes
        push = 3.0 * self.load * gaps / (2.0 * math.pi * counts * radii**3 * max(stress, _TINY))
        held = np.flatnonzero(push <= 1.0)
        if not len(held):
            return 0.0, full
        place = int(held[0])
        if place == 0:
            return self.start_gap, full
        share = (push[place - 1] - 1.0) / (push[place - 1] - push[place])
        return float(gaps[place - 1] + share * (gaps[place] - gaps[place - 1])), full


__all__ = ["THINNEST", "Paste", "PatternPress", "Press", "closing_speed"]
