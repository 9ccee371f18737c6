"""Heat between cells: a large block, and a unit cell beside finite elements of the same error.

The elements are those of the tests (`tests/unit_cell.py`, quadratic, scikit-fem); both are compared with
printed values of a finer independent solution. The elements get the coarsest of some meshes and steps whose
largest error is no larger than ours, or the one nearest to it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from dispense.handbook.cure import Kamal
from dispense.handbook.pack import Bodies, Films, Pack, PackShot, Solid, corner_cut, depth_cut, section_cut

from . import Row

R = 8.31446261815324
TIMES = (20.0, 60.0, 180.0, 600.0, 900.0, 1200.0, 1800.0)
# mean of the cell and hot spot, by quadratic elements, a second method within 0.03 K
CELL = np.array([27.076, 29.811, 31.791, 35.415, 40.962, 50.763, 72.912])
SECONDS = 2.0  # asked of the large block on one core


def _block() -> Pack:
    wall = Solid(0.2, 0.2, 2e6)
    rates = Kamal(2e7 / 60, 55e3, 1e8 / 60, 55e3, 0.6, 1.4)
    return Pack(
        "staggered",
        24,
        18,
        0.019,
        0.0184,
        0.065,
        0.003,
        0.011,
        0.0025,
        0.0025,
        Bodies(Solid(0.15, 0.15, 1.0e6), 39.0, Solid(1.0, 20.0, 2.34e6), wall, wall),
        Films(8.0, 8.0, 8.0, 0.0, 0.0),
        rates,
        304.15,
        304.15,
        (PackShot(0.015, 0.0, 304.15), PackShot(0.030, 2700.0, 304.15)),
        under=0.002,
        to_the_end=True,
    )


def _unit_cell() -> Pack:
    resin, cell = Solid(0.25, 0.25, 2.07e6), Solid(1.0, 1.0, 2.6e6)
    return Pack(
        "square",
        1,
        1,
        0.020,
        0.0184,
        0.07,
        0.0008,
        0.0008,
        0.0,
        0.0,
        Bodies(resin, 3.45e8 / 2.07e6, cell, cell, cell),
        Films(0.0, 0.0, 0.0, 0.0, 0.0),
        Kamal(0.0, 0.0, 140000.0, 48e3, 0.5, 1.5),
        293.15,
        293.15,
        (PackShot(0.07, 0.0, 333.15),),
        1e-6,
        0.0,
        1800.0,
        True,
    )


def _clocked(work):
    begin = time.process_time()
    found = work()
    return time.process_time() - begin, found


def rows(quick: bool) -> Iterator[Row]:
    """The block in seconds of one core, and the ratio to the elements."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from unit_cell import follow

    block = _block()
    if quick:
        block = replace(block, duration=7200.0)
    section_cut(_unit_cell())  # loads the library
    seconds, cuts = _clocked(lambda: (corner_cut(block), depth_cut(block)))
    worst = max(cut.balance.residual for cut in cuts)
    yield Row(
        "432 cells, two shots, 24 h",
        seconds,
        limit=SECONDS,
        note=f"corner ({cuts[0].boxes} boxes) and depth, to the end; balance closes to {worst:.0e}",
    )

    def rate(degree, heat):
        return 140000.0 * np.exp(-48e3 / R / heat) * np.sqrt(degree) * np.maximum(1.0 - degree, 0.0) ** 1.5

    def elements(grid, dt, growth):
        found = follow(
            TIMES,
            0.0092,
            0.010,
            (1.0, 2.6e6),
            (0.25, 2.07e6),
            (20.0, 60.0),
            rate,
            3.45e8,
            1e-6,
            grid,
            dt,
            growth,
        )
        return float(np.abs(found[:, 0] - CELL).max())

    ours, cut = _clocked(lambda: section_cut(_unit_cell()))
    error = float(np.abs(np.interp(TIMES, cut.times, cut.mean) - 273.15 - CELL).max())
    theirs, best = np.inf, np.inf
    for grid, dt, growth in (((6, 4, 3), 2.0, 1.06), ((8, 5, 4), 1.0, 1.05), ((12, 8, 6), 0.5, 1.03)):
        seconds, off = _clocked(lambda setting=(grid, dt, growth): elements(*setting))
        if off < best or best > error:
            theirs, best = seconds, off
        if best <= error:
            break
    yield Row(
        "unit cell with reaction, 30 min",
        ours,
        theirs,
        10.0,
        True,
        "quadratic elements, Crank–Nicolson",
        note=f"error {error:.2f} K here, {best:.2f} K there",
    )
