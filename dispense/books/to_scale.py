"""Charts that are plans: both axes to one scale, lines one below the other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from openpyxl.chart import ScatterChart
from openpyxl.chart.layout import Layout, ManualLayout

from ..base.numbers import Floats

__all__ = ["BESIDE", "UNDER", "Inner", "lay_out", "parted", "round_length", "to_scale"]

Inner = tuple[float, float, float, float]  # left, top, width, height of the plot in its chart
UNDER: Inner = (0.10, 0.12, 0.86, 0.66)  # with the legend below
BESIDE: Inner = (0.09, 0.12, 0.52, 0.70)  # with the legend on the right
_MOST_POINTS = 20_000  # in the chart of a workbook
_TICKS = 8  # at least so many along the longer side of what is drawn


def lay_out(chart: ScatterChart, inner: Inner = UNDER) -> None:
    """The plot of a chart at its place, so that its size is known."""
    left, top, width, height = inner
    chart.layout = Layout(  # which takes the place of that of its plot area when it is written
        manualLayout=ManualLayout(
            layoutTarget="inner", xMode="edge", yMode="edge", x=left, y=top, w=width, h=height
        )
    )


def parted(lines: Sequence[Floats]) -> Floats:
    """Lines one below the other with a blank row between, at most so many points as a chart can draw.

    The first point appears twice: LibreOffice Calc does not draw the way from the first after a blank.
    """
    step = 1 + sum(map(len, lines)) // _MOST_POINTS
    blank = np.full((1, 2), np.nan)
    thinned = [np.vstack([line[:1], line[:-1:step], line[-1:], blank]) for line in lines]
    return np.vstack(thinned)[:-1]


def to_scale(chart: ScatterChart, points: Floats, inner: Inner = UNDER) -> None:
    """Axes of one scale about the points, from a round figure on, by the size that the plot has."""
    _, _, *plot = inner
    sides = np.array([chart.width, chart.height]) * np.array(plot)  # cm
    low, span = points.min(axis=0), np.maximum(np.ptp(points, axis=0), 1e-6)
    step = round_length(float(span.max()) / _TICKS)
    scale = float(((span + 2.0 * step) / sides).max())  # mm a cm, with room for a step on each side
    for axis, first, length in zip(
        (chart.x_axis, chart.y_axis), low + span / 2.0 - scale * sides / 2.0, scale * sides, strict=True
    ):
        axis.scaling.min = float(np.ceil(first / step) * step)
        axis.scaling.max = float(axis.scaling.min + length)
        axis.majorUnit = step


def round_length(length: float) -> float:
    """1, 2 or 5 times a power of ten, at most `length`."""
    power = 10.0 ** np.floor(np.log10(max(length, 1e-9)))
    return float(max(part * power for part in (1.0, 2.0, 5.0) if part * power <= length * (1.0 + 1e-9)))
