"""Lines of one level across a grid of values: the front of a film as a picture has it."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from ..base.numbers import Floats

__all__ = ["level_lines"]

Crossing = tuple[int, int, int]  # axis of a side of the grid, and the point at which it starts
_ALONG_X, _ALONG_Y = 0, 1


def level_lines(grid: Floats, x: Floats, y: Floats, level: float) -> list[Floats]:
    """Lines (k, 2) along which values on the points x × y pass a level, straight from side to side.

    A ring ends where it starts; any other line ends at the rim. Where four sides of a square are crossed,
    the mean of its corners says which are joined (marching squares).

    >>> grid = np.array([[0.0, 0.0], [1.0, 1.0]])
    >>> (line,) = level_lines(grid, np.array([0.0, 2.0]), np.array([0.0, 1.0]), 0.25)
    >>> line.tolist()
    [[0.5, 0.0], [0.5, 1.0]]
    """
    linked = _links(grid, level)
    lines = []
    # from the ends at the rim first, then the rings that are left
    for start in sorted(linked, key=lambda side: (len(linked[side]), side)):
        if not linked[start]:
            continue
        walk = [start]
        while linked[walk[-1]]:
            ahead = linked[walk[-1]].pop()
            linked[ahead].remove(walk[-1])
            walk.append(ahead)
        lines.append(np.array([_spot(side, grid, x, y, level) for side in walk]))
    return lines


def _links(grid: Floats, level: float) -> dict[Crossing, list[Crossing]]:
    """Which crossed sides a line joins, square by square."""
    inside = grid >= level
    square = inside[:-1, :-1], inside[1:, :-1], inside[1:, 1:], inside[:-1, 1:]
    count = np.sum(square, axis=0)
    linked: dict[Crossing, list[Crossing]] = defaultdict(list)
    for row, column in np.argwhere((count > 0) & (count < len(square))).tolist():
        low, right = (_ALONG_X, row, column), (_ALONG_Y, row + 1, column)
        high, left = (_ALONG_X, row, column + 1), (_ALONG_Y, row, column)
        corners = [bool(corner[row, column]) for corner in square]
        sides = [low, right, high, left]
        crossed = [
            side
            for side, *ends in zip(sides, corners, corners[1:] + corners[:1], strict=True)
            if ends[0] != ends[1]
        ]
        pairs = [crossed]
        if len(crossed) == len(sides):
            is_full = bool(grid[row : row + 2, column : column + 2].mean() >= level)
            # cut off the corners that are not joined: the first and third, or the second and fourth
            pairs = [[low, left], [right, high]] if corners[0] != is_full else [[low, right], [high, left]]
        for one, two in pairs:
            linked[one].append(two)
            linked[two].append(one)
    return linked


def _spot(side: Crossing, grid: Floats, x: Floats, y: Floats, level: float) -> tuple[float, float]:
    """Where a level passes a side of the grid."""
    axis, row, column = side
    end = (row + 1, column) if axis == _ALONG_X else (row, column + 1)
    share = (level - grid[row, column]) / (grid[end] - grid[row, column])
    return (float(x[row] + share * (x[end[0]] - x[row])), float(y[column] + share * (y[end[1]] - y[column])))
