"""Pictures of the entries of menu, toolbar and ribbon, drawn as an add-in is built.

Each is a few strokes on a square of 16 units. Their two tones lie between dark and light, so that they stand
out from a light and from a dark toolbar alike.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, sin

import numpy as np
from numpy.typing import NDArray

from ..jobs.on_screen import COMMANDS

UNITS = 16.0  # the side of a picture in its own units
CALM, BRIGHT = (0x4A, 0x7F, 0xA7), (0xC9, 0x6A, 0x1E)  # a blue and an amber
THIN, THICK = 1.3, 2.2  # units, of a stroke
ROUND = 24  # corners of a circle

Spot = tuple[float, float]
Tone = tuple[int, int, int]
Pixels = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, round at its ends; a filled one is the area that they enclose as well."""

    spots: Sequence[Spot]
    tone: Tone = CALM
    width: float = THIN
    filled: bool = False


def ring(x: float, y: float, radius: float, first: float = 0.0, last: float = 1.0) -> list[Spot]:
    """Points on a circle, from one share of a turn to another; 0 is at the right, clockwise."""
    turns = [first + (last - first) * place / ROUND for place in range(ROUND + 1)]
    return [(x + radius * cos(2 * pi * turn), y + radius * sin(2 * pi * turn)) for turn in turns]


def box(left: float, top: float, right: float, bottom: float) -> list[Spot]:
    """The outline of a box."""
    return [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]


_SHEET = Stroke(box(2.5, 1.5, 11.5, 14.5))
_TICK: list[Spot] = [(5.0, 9.0), (8.0, 12.0), (14.0, 4.0)]
_DROP: list[Spot] = [(8.0, 2.0), *ring(8.0, 10.0, 3.6, -0.06, 0.56), (8.0, 2.0)]

#: by the name of an entry
ICONS: dict[str, tuple[Stroke, ...]] = {
    "check": (Stroke(box(1.5, 2.5, 9.5, 14.5)), Stroke(_TICK, BRIGHT, THICK)),
    "unmark": (Stroke(box(1.5, 4.5, 14.5, 11.5)), Stroke([(2.5, 14.0), (13.5, 2.0)], BRIGHT, THICK)),
    "fill": (
        _SHEET,
        Stroke([(4.8, 4.8), (9.2, 4.8)]),
        Stroke([(4.8, 7.6), (7.0, 7.6)]),
        Stroke([(7.4, 12.6), (13.6, 6.4)], BRIGHT, THICK),
    ),
    "station": (
        Stroke([(4.5, 1.5), (11.5, 1.5), (11.5, 6.0), (9.0, 10.5), (7.0, 10.5), (4.5, 6.0), (4.5, 1.5)]),
        Stroke([(1.5, 13.5), (14.5, 13.5)], BRIGHT, THICK),
    ),
    "calculate": (
        Stroke(box(2.5, 1.5, 13.5, 14.5)),
        Stroke([(5.5, 4.5), (10.5, 4.5)], BRIGHT, THICK),
        *(Stroke([(x, y), (x, y)], CALM, THICK) for y in (8.5, 11.5) for x in (5.5, 8.0, 10.5)),
    ),
    "forecast": (
        Stroke([(1.5, 1.5), (1.5, 14.5), (14.5, 14.5)]),
        Stroke([(4.5, 10.5), (7.5, 7.0), (9.5, 9.0), (14.0, 3.5)], BRIGHT, THICK),
    ),
    "cure": (
        Stroke(ring(8.0, 9.0, 5.6)),
        Stroke([(8.0, 5.4), (8.0, 9.0), (10.8, 10.6)], BRIGHT, THICK),
        Stroke([(6.5, 1.5), (9.5, 1.5)]),
    ),
    "compare": (
        Stroke(box(1.5, 6.5, 4.5, 14.5)),
        Stroke(box(6.5, 1.5, 9.5, 14.5), BRIGHT, THIN, filled=True),
        Stroke(box(11.5, 9.5, 14.5, 14.5)),
    ),
    "formulas": (
        Stroke([(9.5, 1.5), (7.0, 1.5), (5.5, 3.0), (4.0, 12.5), (2.5, 14.5), (1.5, 14.5)]),
        Stroke([(3.0, 6.5), (8.0, 6.5)]),
        Stroke([(8.5, 8.5), (14.0, 14.0)], BRIGHT, THICK),
        Stroke([(14.0, 8.5), (8.5, 14.0)], BRIGHT, THICK),
    ),
    "book": (
        Stroke([(8.0, 1.8), (8.0, 9.0)], BRIGHT, THICK),
        Stroke([(5.0, 6.4), (8.0, 9.6), (11.0, 6.4)], BRIGHT, THICK),
        Stroke([(1.5, 9.0), (1.5, 14.5), (14.5, 14.5), (14.5, 9.0)]),
    ),
    "pane": (
        Stroke(box(1.5, 2.5, 14.5, 13.5)),
        Stroke(box(10.0, 2.5, 14.5, 13.5), BRIGHT, THIN, filled=True),
    ),
    "stop": (Stroke(ring(8.0, 8.0, 6.2)), Stroke(box(6.0, 6.0, 10.0, 10.0), BRIGHT, THIN, filled=True)),
    "again": (
        Stroke(ring(8.0, 8.8, 5.2, 0.0, 0.8)),
        Stroke([(8.6, 1.5), (10.6, 4.1), (7.5, 5.4)], BRIGHT, THICK),
    ),
    "why": (
        Stroke([(4.6, 5.2), *ring(8.0, 5.2, 3.4, 0.5, 1.1), (8.0, 9.2), (8.0, 10.6)], CALM, THICK),
        Stroke([(8.0, 14.0), (8.0, 14.0)], BRIGHT, THICK),
    ),
    "links": (
        Stroke(ring(4.8, 8.0, 3.3)),
        Stroke(ring(11.2, 8.0, 3.3)),
        Stroke([(5.6, 8.0), (10.4, 8.0)], BRIGHT, THICK),
    ),
    "drop": (Stroke(_DROP, CALM, THIN, filled=True), Stroke(ring(8.0, 10.0, 1.8, 0.05, 0.3), BRIGHT, THIN)),
}
DECK = "drop"  # the picture of the pane's own button at the side
assert set(COMMANDS) < set(ICONS)


def _distance(x: Pixels, y: Pixels, one: Spot, other: Spot) -> Pixels:
    """How far points are from the stretch between two points."""
    along_x, along_y = other[0] - one[0], other[1] - one[1]
    length = along_x**2 + along_y**2
    share = 0.0 if length == 0.0 else ((x - one[0]) * along_x + (y - one[1]) * along_y) / length
    share = np.clip(share, 0.0, 1.0)
    return np.hypot(x - one[0] - share * along_x, y - one[1] - share * along_y)


def _is_inside(x: Pixels, y: Pixels, spots: Sequence[Spot]) -> NDArray[np.bool_]:
    """Whether points lie within an outline: a ray from them crosses it an odd number of times."""
    inside = np.zeros(x.shape, bool)
    for (x1, y1), (x2, y2) in pairwise(spots):
        if y1 != y2:
            inside ^= ((y1 > y) != (y2 > y)) & (x < (x2 - x1) * (y - y1) / (y2 - y1) + x1)
    return inside


def drawn(strokes: Sequence[Stroke], size: int) -> NDArray[np.uint8]:
    """Pixels of a picture: rows of red, green, blue and how much they cover, edges smoothed."""
    middle = (np.arange(size) + 0.5) * UNITS / size
    x, y = np.meshgrid(middle, middle)
    colour, cover = np.zeros((size, size, 3)), np.zeros((size, size))
    for stroke in strokes:
        ends = list(pairwise(stroke.spots))
        away = np.min([_distance(x, y, one, other) for one, other in ends], axis=0) - stroke.width / 2.0
        if stroke.filled:
            away = np.where(_is_inside(x, y, stroke.spots), -UNITS, away)
        over = np.clip(0.5 - away * size / UNITS, 0.0, 1.0)  # over one pixel from covered to bare
        left = cover * (1.0 - over)
        cover = over + left
        share = np.divide(over, cover, out=np.zeros_like(over), where=cover > 0.0)
        colour += share[..., None] * (np.array(stroke.tone, float) - colour)
    return np.dstack([colour, 255.0 * cover]).round().astype(np.uint8)


def png(pixels: NDArray[np.uint8]) -> bytes:
    """A picture as a PNG (ISO/IEC 15948): eight bits a channel with transparency."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)  # no filter
    head = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    data = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + data


def icon_files(paths: Iterable[tuple[str, str, int]]) -> dict[str, bytes]:
    """Pictures by where they shall lie: for each its path, the name of its entry and its size in pixels."""
    return {path: png(drawn(ICONS[name], size)) for path, name, size in paths}


__all__ = ["DECK", "ICONS", "drawn", "icon_files", "png"]
