"""Pots with cells as the heat between them needs them: where each cell stands, walls, films.

The margins follow from the size of the pot; a pot with draft is as wide as at its level, since the widest
margin is the hottest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from ..base.units import from_si
from ..handbook.kinetics import KineticsLike, as_kinetics
from ..handbook.pack import WALL_CAPACITY, Bodies, Films, Pack, PackShot, Solid
from ..handbook.pack_boxes import row_spacing
from .amounts import cell_dimensions
from .rows import Pot

_BOXES = ("box", "tray")
_LEAST_MARGIN = 1e-5  # m, of cells that stand against the wall


def lacks_for_pack(pot: Pot) -> list[str]:
    """What a pot with cells does not state of how they stand, in words; empty where all is known.

    A pot without cells lacks nothing and has no pack.
    """
    if not pot.cells:
        return []
    lacks = []
    if pot.shape not in _BOXES:
        lacks.append(f"shape box or tray (a {pot.shape} is not reckoned between its cells)")
    for column, value in (
        ("arrangement", pot.arrangement),
        ("pitch", pot.pitch),
        ("cells along", pot.cells_along),
        ("cell rows", pot.cell_rows),
    ):
        if value is None:
            lacks.append(column)
    return lacks


def has_pack(pot: Pot) -> bool:
    """Whether a pot has cells and it is known how they stand."""
    return bool(pot.cells) and not lacks_for_pack(pot)


def cells_of_pattern(pot: Pot) -> int:
    """How many cells a pattern holds."""
    along, rows = pot.cells_along or 0, pot.cell_rows or 0
    return along * rows - (rows // 2 if pot.arrangement == "alternating" else 0)


def pack_margins(pot: Pot) -> tuple[float, float]:
    """Compound between the outer cells and the walls along and across, at the level, m."""
    diameter, _ = cell_dimensions(pot)
    pitch, along, rows = pot.pitch or 0.0, pot.cells_along or 1, pot.cell_rows or 1
    spacing = row_spacing(str(pot.arrangement), pitch)
    steps = along - 1 + (0.5 if pot.arrangement == "staggered" and rows > 1 else 0.0)
    wider = 2.0 * pot.level * math.tan(pot.draft)
    return (
        0.5 * (pot.length + wider - steps * pitch - diameter),
        0.5 * ((pot.width or 0.0) + wider - (rows - 1) * spacing - diameter),
    )


def pattern_faults(pot: Pot) -> list[tuple[str, str, str]]:
    """What of a stated pattern cannot be: column, what is wrong, what mends it."""
    if not has_pack(pot):
        return []
    diameter, _ = cell_dimensions(pot)
    held = cells_of_pattern(pot)
    faults = []
    if held != pot.cells:
        faults.append(
            (
                "cells_along",
                f"{pot.cell_rows} {pot.arrangement} rows of {pot.cells_along} hold {held} cells, not "
                f"{pot.cells}",
                "mend cells, cells along, cell rows or arrangement",
            )
        )
    if (pot.pitch or 0.0) <= diameter:
        faults.append(
            (
                "pitch",
                f"a pitch of {from_si(pot.pitch or 0.0, 'mm'):g} mm leaves no room between cells of "
                f"{from_si(diameter, 'mm'):g} mm",
                "the pitch is the diameter and the gap",
            )
        )
    for column, margin in zip(("length", "width"), pack_margins(pot), strict=True):
        if margin < 0.0:
            faults.append(
                (
                    column,
                    f"the cells take {from_si(-2.0 * margin, 'mm'):.1f} mm more than the {column} of the pot",
                    "mend pitch, cells along, cell rows or arrangement",
                )
            )
    return faults


def pack_of(
    pot: Pot,
    kinetics: KineticsLike,
    heat: float,
    density: float,
    specific_heat: float,
    conductivity: float,
    film: float,
    surroundings: float,
    shots: Sequence[tuple[float, float]],
) -> Pack:
    """A pot whose cells' pattern is known, SI units; `shots` are levels and waits."""
    diameter, height = cell_dimensions(pot)
    wall = Solid(pot.wall_conductivity, pot.wall_conductivity, WALL_CAPACITY)
    base = pot.base_conductivity or pot.wall_conductivity
    along, across = (max(margin, _LEAST_MARGIN) for margin in pack_margins(pot))
    start = surroundings if pot.pour_temperature is None else pot.pour_temperature
    return Pack(
        str(pot.arrangement),
        int(pot.cells_along or 1),
        int(pot.cell_rows or 1),
        float(pot.pitch or 0.0),
        diameter,
        height,
        along,
        across,
        pot.wall,
        pot.wall,
        Bodies(
            Solid(conductivity, conductivity, density * specific_heat),
            heat / specific_heat,
            Solid(pot.cell_conductivity, pot.cell_axial, pot.cell_density * pot.cell_heat),
            wall,
            Solid(base, base, WALL_CAPACITY),
        ),
        Films(film, film, film, 0.0, pot.base_film),
        as_kinetics(kinetics),
        surroundings,
        surroundings if pot.cell_start is None else pot.cell_start,
        tuple(PackShot(level, wait, start) for level, wait in shots),
        under=pot.cell_base,
    )


__all__ = ["cells_of_pattern", "has_pack", "lacks_for_pack", "pack_margins", "pack_of", "pattern_faults"]
