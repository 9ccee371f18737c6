"""Beads: cross-sections, path lengths, volumes, and the joint a pressed bead makes."""

from __future__ import annotations

import numpy as np

from .fields import choice, flag, number, points, whole
from .registry import example, out, requires, workbook_function

SECTIONS = ("round", "half-round", "triangle", "rectangle", "ellipse", "segment", "stadium",
            "fillet", "mitre")  # fmt: skip
EDGES = ("square", "round")
MOTIONS = ("line", "arc", "travel")

_SECTION = choice("section", SECTIONS, "shape of the cross-section")
_WIDTH = number(
    "width", "mm", "width on the base; diameter of round, radius of fillet, leg of mitre", above=0
)
_HEIGHT = number(
    "height", "mm", "height above the base; thickness of stadium; half-round takes width/2",
    default=None, above=0,
)  # fmt: skip
_CONTACT = number(
    "contact_angle", "deg", "contact angle of a segment, in place of its height",
    default=None, above=0, below=180,
)  # fmt: skip
_HANDBOOK = ("elementary geometry; circular segments as in handbook tables "
             "(Machinery's Handbook, Segments of Circles, from memory)")  # fmt: skip


def _segment_area(width, height):
    """Circular segment on a chord: R = (w²/4 + h²)/(2h), A = R²(θ − sin θ cos θ)."""
    contact = 2.0 * np.arctan2(2.0 * height, width)
    radius = width / (2.0 * np.sin(contact))
    exact = radius**2 * (contact - np.sin(contact) * np.cos(contact))
    # flat segments lose digits in θ − sin θ cos θ; the parabola 2wh/3 and its next term do not
    flat = 2.0 / 3.0 * width * height * (1.0 + 0.8 * (height / width) ** 2)
    return np.where(contact < 1e-3, flat, exact)


@workbook_function(
    category="Beads",
    arguments=(_SECTION, _WIDTH, _HEIGHT, _CONTACT),
    returns=(out("area", "mm²", "area of the cross-section"),),
    equation="round πw²/4; half-round πwh/4; triangle wh/2; rectangle wh; ellipse πwh/4; "
    "segment R²(θ − sin θ cos θ); stadium h(w − h) + πh²/4; fillet w²(1 − π/4); mitre w²/2",
    source=_HANDBOOK,
    valid="triangle, rectangle, ellipse and stadium need a height; a segment a height or an angle",
    no_answer="this section needs a height (a segment: a height or a contact angle, not both; "
    "a stadium: a height up to its width)",
    examples=(
        example(("segment", 4, 1.2), 3.419777265, "handbook formula, quadrature"),
        example(("half-round", 4), 6.283185307, "half circle, π·4²/8"),
    ),
)
def bead_area(section, width, height=None, contact_angle=None):
    """Area of a bead's cross-section.

    >>> round(float(bead_area("half-round", 0.004)) * 1e6, 6)
    6.283185
    """
    if section == "round":
        return np.pi * width**2 / 4.0
    if section == "fillet":
        return width**2 * (1.0 - np.pi / 4.0)
    if section == "mitre":
        return width**2 / 2.0
    if section == "half-round":
        return np.pi * width * (width / 2.0 if height is None else height) / 4.0
    if section == "segment" and (height is None) != (contact_angle is None):
        if height is None:
            height = width / 2.0 * np.tan(contact_angle / 2.0)
        return _segment_area(width, height)
    if height is None or section == "segment":
        return width * np.nan
    if section == "triangle":
        return width * height / 2.0
    if section == "rectangle":
        return width * height
    if section == "ellipse":
        return np.pi * width * height / 4.0
    return np.where(height <= width, height * (width - height) + np.pi * height**2 / 4.0, np.nan)
