"""A drawn picture: lines, areas and words on a sheet of so many millimetres, y downward.

Whoever knows a thing draws it with these; `xlsx.shapes` writes them as vector shapes of a workbook.
Shades go from dark to light, so that a picture reads in grey.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

Spot = tuple[float, float]  # mm from the left and the top edge

INK, MIDDLE, GREY = "1A1A1A", "5A5A5A", "8C8C8C"
DARK, HALF, LIGHT, PALE, WHITE = "1F4E5F", "7E949E", "BCC8CD", "E4EAEC", "FFFFFF"
TYPE = 9.0  # points of the words
POINT = 25.4 / 72.0  # mm


@dataclass(frozen=True, slots=True)
class Line:
    """Lines of one look: each a row of points; `dash` is "", "dash", "sysDot" or "lgDash"."""

    rows: Sequence[Sequence[Spot]]
    width: float = 0.75  # points
    ink: str = INK
    dash: str = ""


@dataclass(frozen=True, slots=True)
class Area:
    """Closed outlines of one look, filled; `hatch` is the name of a pattern, "" for a plain fill."""

    rows: Sequence[Sequence[Spot]]
    fill: str = LIGHT
    edge: str = ""
    hatch: str = ""
    width: float = 0.5  # points, of the edge


@dataclass(frozen=True, slots=True)
class Words:
    """A text whose box begins, is centred or ends at a place; `at` is its left, middle or right, top."""

    at: Spot
    text: str
    align: str = "l"  # l, ctr, r
    bold: bool = False
    size: float = TYPE


Shape = Line | Area | Words


@dataclass(slots=True)
class Picture:
    """What is drawn, from the back to the front, on `wide` by `high` mm; `alternative` tells it in words."""

    wide: float
    high: float
    title: str
    alternative: str
    shapes: list[Shape] = field(default_factory=list)

    def line(self, *rows: Sequence[Spot], width: float = 0.75, ink: str = INK, dash: str = "") -> None:
        """Draw lines of one look."""
        if rows:
            self.shapes.append(Line(rows, width, ink, dash))

    def area(self, *rows: Sequence[Spot], fill: str = LIGHT, edge: str = "", hatch: str = "") -> None:
        """Fill outlines of one look."""
        if rows:
            self.shapes.append(Area(rows, fill, edge, hatch))

    def words(self, at: Spot, text: str, align: str = "l", *, bold: bool = False) -> None:
        """Write a text."""
        if text:
            self.shapes.append(Words(at, text, align, bold))


def box(left: float, top: float, right: float, bottom: float) -> list[Spot]:
    """The outline of a rectangle.

    >>> box(0.0, 0.0, 2.0, 1.0)
    [(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)]
    """
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


__all__ = [
    "DARK",
    "GREY",
    "HALF",
    "INK",
    "LIGHT",
    "MIDDLE",
    "PALE",
    "POINT",
    "TYPE",
    "WHITE",
    "Area",
    "Line",
    "Picture",
    "Shape",
    "Spot",
    "Words",
    "box",
]
