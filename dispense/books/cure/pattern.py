"""Patterns of paste seen from above: path, front as it meets and as it stops, closed-in air, last place."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from openpyxl.chart import ScatterChart

from ...base.numbers import Floats
from ...base.units import from_si
from ...handbook.pattern import COVERED
from ...reports.press import JointReport
from .. import style
from ..charts import Curve, scatter
from ..page import Data, Page
from ..to_scale import BESIDE, lay_out, parted, to_scale
from .closing import MOST_CURVES

__all__ = ["pattern_pictures"]

_IN_A_ROW, _ON_A_PAGE = 2, 4
_LATE = 0.9  # share covered at which the front of a pattern that covers its plate is drawn
_THIN, _THICK = 1.0, 2.25  # points


def pattern_pictures(page: Page, data: Data, joints: Sequence[JointReport]) -> None:
    """One picture to scale for each pattern, two beside each other."""
    drawn = [item for item in joints if item.pattern is not None and item.stretches is not None][:MOST_CURVES]
    if not drawn:
        return
    for start in range(0, len(drawn), _IN_A_ROW):
        if start % _ON_A_PAGE == 0:
            page.turn()
            page.section("Patterns seen from above, to scale")
        row = drawn[start : start + _IN_A_ROW]
        charts = [_picture(data, item) for item in row]
        page.charts(charts)  # which gives them their width
        for chart, item in zip(charts, row, strict=True):
            to_scale(chart, _shop([*_paths(item), _plate(item)]), BESIDE)


def _shop(lines: Sequence[Floats]) -> Floats:
    """All points of some lines [mm]."""
    points: Floats = from_si(np.vstack(lines), "mm")
    return points


def _plate(item: JointReport) -> Floats:
    """The rim of the plate."""
    length, width = item.joint.length, item.joint.width
    return np.array([(0.0, 0.0), (length, 0.0), (length, width), (0.0, width), (0.0, 0.0)])


def _paths(item: JointReport) -> list[Floats]:
    """The beads of a pattern as points on them, stretch after stretch; dots left out."""
    lines: list[list[Floats]] = []
    for start, end in [] if item.stretches is None else item.stretches:
        if np.array_equal(start, end):
            continue
        if lines and np.array_equal(lines[-1][-1], start):
            lines[-1].append(end)
        else:
            lines.append([start, end])
    return [np.array(line) for line in lines] or [np.zeros((0, 2))]


def _dots(item: JointReport) -> Floats:
    """The dots of a pattern."""
    rows = np.zeros((0, 2, 2)) if item.stretches is None else item.stretches
    dots: Floats = rows[np.all(rows[:, 0] == rows[:, 1], axis=1), 0]
    return dots


def _when(item: JointReport, gap: float) -> str:
    """A gap, and when the press reaches it."""
    words = f"{from_si(gap, 'mm'):.2f} mm"
    time = math.inf if item.press is None else item.press.time_to(gap)
    return f"{words}, {time:.1f} s" if math.isfinite(time) else words


def _picture(data: Data, item: JointReport) -> ScatterChart:
    """A pattern on its plate: what its legend says is what its text in words says."""
    film = item.pattern
    curves: list[Curve] = []

    def draw(
        name: str, lines: Sequence[Floats], dash: str | None, mark: str, ink: str, width: float = _THIN
    ) -> None:
        if not sum(map(len, lines)):
            return
        points = from_si(parted(lines), "mm")
        columns = [("X [mm]", points[:, 0]), ("Y [mm]", points[:, 1])]
        x, y = data.block(f"{item.name}: {name}", columns, "0.00")
        curves.append(Curve(name, x, y, dash, mark, ink, width))

    draw("plate", [_plate(item)], "solid", "none", style.GREY)
    draw("bead", _paths(item), "sysDot", "none", style.DARK)
    draw("dot", [_dots(item)], None, "circle", style.DARK)
    if film is not None:
        at_end = item.coverage_at(item.gap)
        if math.isfinite(film.touch_gap) and film.touch_gap > item.gap:
            draw(
                f"front as they meet: {_when(item, film.touch_gap)}",
                film.front(film.touch_gap),
                "dash",
                "none",
                style.ACCENT,
            )
        late = film.gap_of(_LATE)
        if at_end >= COVERED and math.isfinite(late):
            draw(
                f"front at {_LATE:.0%} covered: {_when(item, late)}",
                film.front(late),
                "solid",
                "none",
                style.ACCENT,
                _THICK,
            )
        elif at_end < COVERED:
            name = f"front at the end: {_when(item, item.gap)}, {at_end:.0%} covered"
            draw(name, film.front(item.gap), "solid", "none", style.ACCENT, _THICK)
        if film.trapped > 0.0:
            air, left = (from_si(value, "mL") for value in (film.trapped, item.air or 0.0))
            rims = film.pocket_rims()
            name = f"air closed in: {air:.2g} mL, {left:.2g} mL under the press"
            draw(name, rims, "lgDash", "none", style.DARK, _THICK)
            # pockets smaller than a cell of the lattice have no rim to draw
            draw("middle of that air" if rims else name, [film.pocket_middles()], None, "x", style.DARK)
        if film.is_covered():
            x, y = (from_si(value, "mm") for value in film.last)
            draw(
                f"fills last: x {x:.0f} mm, y {y:.0f} mm",
                [np.array([film.last])],
                None,
                "diamond",
                style.ACCENT,
            )
    chart = scatter(item.name, "x [mm]", "y [mm]", curves, x_form="0", y_form="0")
    chart.legend.position = "r"
    lay_out(chart, BESIDE)
    return chart
