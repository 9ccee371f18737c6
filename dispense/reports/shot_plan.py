"""In how many shots to pour between cells, how deep each, how long to wait: a map with its safe region.

The corner of the block, margins and all, is followed on a coarse grid for each number of equal shots and
each wait; what the coarse grid is off is taken from the planned pour on both grids. The quickest choice
under the limit is then confirmed by all cuts on the fine grid; where it is not, the next that leaves as much
room as it missed is tried.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from ..base.errors import InputError
from ..base.units import MINUTE, celsius_text, duration_text, from_si
from ..handbook.pack import Pack, PackHeat, PackShot, corner_cut, pack_heat

MOST_SHOTS = 4
WAITS = tuple(minutes * MINUTE for minutes in (15.0, 30.0, 60.0, 120.0, 240.0))
COARSE = 3.0  # times wider boxes
COLDER = 5.0  # K that compound may be cooled below the shop before it thickens (common practice, no source)
CONFIRMED = 5  # choices that are followed on the fine grid before giving up


@dataclass(frozen=True, slots=True)
class ShotChoice:
    """Equal shots with equal waits between them; SI units, temperatures of the skin of the cells."""

    shots: int
    depth: float  # of each
    wait: float  # between them, 0 for one shot
    pour: float  # temperature of the compound
    shop: float  # temperature of shop and cells
    skin: float

    @property
    def time(self) -> float:
        """Time spent waiting."""
        return (self.shots - 1) * self.wait

    @property
    def words(self) -> str:
        """How to pour."""
        how = f"one shot of {from_si(self.depth, 'mm'):.1f} mm"
        if self.shots > 1:
            how = (
                f"{self.shots} shots of {from_si(self.depth, 'mm'):.1f} mm, {duration_text(self.wait)} "
                "between them"
            )
        return f"{how}, compound at {celsius_text(self.pour, 0)}, shop at {celsius_text(self.shop, 0)}"


@dataclass(frozen=True, slots=True)
class ShotMap:
    """The skin's highest temperature for numbers of shots and waits, and what is proposed; SI units."""

    limit: float
    waits: tuple[float, ...]
    rows: tuple[tuple[ShotChoice, ...], ...]  # for each number of shots, along the waits (one for one shot)
    others: tuple[ShotChoice, ...]  # tried with colder compound or in the coolest hour
    off: float  # what the coarse grid was corrected by, K
    choice: ShotChoice | None
    confirmed: PackHeat | None

    @property
    def words(self) -> str:
        """The proposal in a sentence."""
        if self.choice is None or self.confirmed is None:
            near = any(choice.skin <= self.limit for row in self.rows for choice in row)
            return (
                f"no pour of up to {MOST_SHOTS} equal shots with waits up to {duration_text(self.waits[-1])} "
                f"was found that keeps the skin of the cells under {celsius_text(self.limit)}"
                + (" with its ±: the ones marked come close on the coarse grid" if near else "")
            )
        skin = self.confirmed.skin
        return (
            f"{self.choice.words}: skin of the cells {celsius_text(skin.value, 1)} ± {skin.plus_minus:.1f} K"
        )


def with_shots(pack: Pack, count: int, wait: float, pour: float, shop: float) -> Pack:
    """The same pack poured in equal shots; cells and walls at the temperature of the shop."""
    depth = pack.depth / count
    shots = tuple(PackShot((number + 1) * depth, wait if number else 0.0, pour) for number in range(count))
    return replace(pack, shots=shots, air=shop, cold=shop)


@lru_cache(maxsize=32)
def shot_map(pack: Pack, limit: float, coolest: float) -> ShotMap:
    """The map of a pack as planned, and what is proposed to keep the skin under a limit.

    `coolest` is the shop's lowest temperature of the day.
    """
    planned = pack_heat(pack)
    off = planned.skin.value - corner_cut(pack, COARSE).skin_peak.value
    pour, shop = pack.shots[0].temperature, pack.air

    def tried(count: int, wait: float, warm: float, room: float) -> ShotChoice:
        try:
            skin = corner_cut(with_shots(pack, count, wait, warm, room), COARSE).skin_peak.value + off
        except InputError:  # it runs away
            skin = float("inf")
        return ShotChoice(count, pack.depth / count, wait, warm, room, skin)

    rows = tuple(
        tuple(tried(count, wait, pour, shop) for wait in (WAITS if count > 1 else (0.0,)))
        for count in range(1, MOST_SHOTS + 1)
    )
    safe = sorted((one for row in rows for one in row if one.skin <= limit), key=_order)
    others: list[ShotChoice] = []
    best = safe[0].time if safe else float("inf")
    if best > 0.0:
        for warm, room in _conditions(pour, shop, coolest):
            for count in range(1, MOST_SHOTS + 1):
                for wait in WAITS if count > 1 else (0.0,):
                    if (count - 1) * wait >= best:
                        break
                    others.append(tried(count, wait, warm, room))
                    if others[-1].skin <= limit:
                        best = others[-1].time
                        break
    candidates = sorted([*safe, *(one for one in others if one.skin <= limit)], key=_order)
    missed = 0.0  # K by which those tried came out hotter, ± and all
    for _ in range(CONFIRMED):
        choice = next((one for one in candidates if one.skin + missed <= limit), None)
        if choice is None:
            break
        found = pack_heat(with_shots(pack, choice.shots, choice.wait, choice.pour, choice.shop))
        upper = found.skin.value + found.skin.plus_minus
        if upper <= limit:
            return ShotMap(limit, WAITS, rows, tuple(others), off, choice, found)
        candidates.remove(choice)
        missed = max(missed, upper - choice.skin)
    return ShotMap(limit, WAITS, rows, tuple(others), off, None, None)


def _order(choice: ShotChoice) -> tuple[float, int]:
    """The least time first, then the fewest shots."""
    return choice.time, choice.shots


def _conditions(pour: float, shop: float, coolest: float) -> Iterator[tuple[float, float]]:
    """Other temperatures of compound and shop: cooled compound, and the coolest hour of the day."""
    yield pour - COLDER, shop
    if coolest < shop:
        yield min(pour, coolest), coolest


__all__ = ["MOST_SHOTS", "ShotChoice", "ShotMap", "shot_map", "with_shots"]
