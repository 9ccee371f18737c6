"""Beads: cross-sections, path lengths, volumes, and the joint a pressed bead makes."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from ..base.fields import choice, flag, number, points, whole
from ..base.numbers import Floats, Number
from .declare import example, out, requires, workbook_function

SECTIONS = (
    "round",
    "half-round",
    "triangle",
    "rectangle",
    "ellipse",
    "segment",
    "stadium",
    "fillet",
    "mitre",
)
EDGES = ("square", "round")
MOTIONS = ("line", "arc", "travel")

_SECTION = choice("section", SECTIONS, "shape of the cross-section")
_WIDTH = number(
    "width", "mm", "width on the base; diameter of round, radius of fillet, leg of mitre", above=0
)
_HEIGHT = number(
    "height",
    "mm",
    "height above the base; thickness of stadium; half-round takes width/2",
    default=None,
    above=0,
)
_CONTACT = number(
    "contact_angle",
    "deg",
    "contact angle of a segment, in place of its height",
    default=None,
    above=0,
    below=180,
)
_AREA = number("area", "mm²", "cross-section of the bead", above=0)
_LENGTH = number("length", "mm", "length of the bead along its path", at_least=0)
_GEOMETRY = "elementary geometry"
_HANDBOOK = (
    "elementary geometry; circular segments as in handbook tables "
    "(Machinery's Handbook, Segments of Circles, from memory)"
)
_SECTION_NEEDS = (
    "this section needs a height (a segment: a height or a contact angle, not both; "
    "a stadium: a height up to its width)"
)
# the cross-section in a spreadsheet's own functions; SQRT(-1) gives #NUM! where a height is missing
# θ − sin θ cos θ in a spreadsheet's own functions, as in `segment_factor`
_SEGMENT_FORMULA = (
    "IF(angle<0.1,2*angle^3/3*(1-angle^2/5*(1-2*angle^2/21*(1-angle^2/18))),"
    "angle-SIN(angle)*COS(angle))*((1+slim^2)/slim/4)^2"
)
_AREA_FORMULA = (
    'LET(tall,IF(ISOMITTED(height),IF(section="half-round",width/2,SQRT(-1)),height),'
    "slim,IF(ISOMITTED(contact_angle),2*tall/width,"
    "IF(ISOMITTED(height),TAN(RADIANS(contact_angle)/2),SQRT(-1))),"
    "angle,2*ATAN(slim),"
    'SWITCH(section,"round",PI()*width^2/4,"half-round",PI()*width*tall/4,'
    '"triangle",width*tall/2,"rectangle",width*tall,"ellipse",PI()*width*tall/4,'
    f'"segment",width^2*{_SEGMENT_FORMULA},'
    '"stadium",IF(tall<=width,tall*(width-tall)+PI()*tall^2/4,SQRT(-1)),'
    '"fillet",width^2*(1-PI()/4),"mitre",width^2/2))'
)


def segment_factor(angle: Number) -> Number:
    """θ − sin θ cos θ: area of a circular segment of half angle θ [rad] in a circle of radius 1.

    The difference loses digits at small angles, where its series takes over (12 digits or more
    everywhere).

    >>> float(segment_factor(np.pi / 2)) == np.pi / 2
    True
    """
    double = 2.0 * np.asarray(angle, dtype=float)
    square = double**2
    series = (
        double**3
        / 12.0
        * (1.0 - square / 20.0 * (1.0 - square / 42.0 * (1.0 - square / 72.0 * (1.0 - square / 110.0))))
    )
    return np.where(double < 0.2, series, (double - np.sin(double)) / 2.0)


def _segment_area(width: Number, height: Number) -> Number:
    """Circular segment on a chord: R = (w²/4 + h²)/(2h), A = R²(θ − sin θ cos θ)."""
    radius = (width**2 / 4.0 + height**2) / (2.0 * height)
    return radius**2 * segment_factor(2.0 * np.arctan2(2.0 * height, width))


@workbook_function(
    category="Beads",
    arguments=(_SECTION, _WIDTH, _HEIGHT, _CONTACT),
    returns=(out("area", "mm²", "area of the cross-section"),),
    equation="round πw²/4; half-round πwh/4; triangle wh/2; rectangle wh; ellipse πwh/4; "
    "segment R²(θ − sin θ cos θ); stadium h(w − h) + πh²/4; fillet w²(1 − π/4); mitre w²/2",
    source=_HANDBOOK,
    valid="triangle, rectangle, ellipse and stadium need a height; a segment a height or an angle",
    no_answer=_SECTION_NEEDS,
    examples=(
        example(("segment", 4, 1.2), 3.419777265, "handbook formula, quadrature"),
        example(("half-round", 4), 6.283185307, "half circle, π·4²/8"),
        example(("stadium", 6, 1.5), 8.517145868, "buffered line of a geometry library", 1e-8),
    ),
    formula=_AREA_FORMULA,
    system=("mm",),
)
def bead_area(
    section: str, width: Number, height: Number | None = None, contact_angle: Number | None = None
) -> Number:
    """Area of a bead's cross-section.

    >>> round(float(bead_area("half-round", 0.004)) * 1e6, 6)
    6.283185
    """
    if section == "round":
        return np.pi / 4.0 * width**2
    if section == "fillet":
        return width**2 * (1.0 - np.pi / 4.0)
    if section == "mitre":
        return 0.5 * width**2
    if section == "half-round":
        return np.pi / 8.0 * width**2 if height is None else np.pi / 4.0 * width * height
    if section == "segment" and (height is None) != (contact_angle is None):
        return _segment_area(width, section_height(section, width, height, contact_angle))
    if height is None or section == "segment":
        return width * np.nan
    if section == "triangle":
        return 0.5 * width * height
    if section == "rectangle":
        return width * height
    if section == "ellipse":
        return np.pi / 4.0 * width * height
    return np.where(height <= width, height * (width - height) + np.pi / 4.0 * height**2, np.nan)


def section_height(
    section: str, width: Number, height: Number | None = None, contact_angle: Number | None = None
) -> Number:
    """How high a bead's cross-section stands over its base, SI units.

    round w; half-round h or w/2; segment h or w/2·tan(θ/2), θ the contact angle; fillet and mitre the
    radius and the leg; else the stated height. NaN where a height is needed and not given. Elementary
    geometry.

    >>> float(section_height("round", 0.006)), float(section_height("half-round", 0.006))
    (0.006, 0.003)
    """
    if section in ("round", "fillet", "mitre"):
        return width
    if height is not None:
        return height
    if section == "half-round":
        return width / 2.0
    if section == "segment" and contact_angle is not None:
        return width / 2.0 * np.tan(contact_angle / 2.0)
    return width * np.nan


def section_depth(
    section: str, width: Number, height: Number | None = None, contact_angle: Number | None = None
) -> Number:
    """How far the innermost material of a bead lies below the face that meets the air, SI units.

    For a bead on a flat base its height; in a corner the way from the face to the corner: a fillet of
    radius r has r·(√2 − 1), a mitre of leg w has w/√2. Elementary geometry.

    >>> round(float(section_depth("mitre", 0.010)) * 1e3, 3)
    7.071
    """
    if section == "fillet":
        depth: Number = width * (np.sqrt(2.0) - 1.0)
    elif section == "mitre":
        depth = width / np.sqrt(2.0)
    else:
        depth = section_height(section, width, height, contact_angle)
    return depth


@workbook_function(
    category="Beads",
    arguments=(
        _LENGTH,
        _SECTION,
        _WIDTH,
        _HEIGHT,
        _CONTACT,
        whole("count", "number of such beads", default=1, at_least=0),
    ),
    returns=(out("volume", "mL", "material in the beads"),),
    equation="V = A · length · count, A as in BEAD_AREA",
    source=_HANDBOOK,
    valid="a bead of even cross-section; starts, ends and corners are not added",
    no_answer=_SECTION_NEEDS,
    examples=(
        example((120, "half-round", 4), 0.7539822369, "half circle of 4 mm on 120 mm, by hand"),
        example((1200, "half-round", 6, None, None, 2), 33.929200659, "2·1200·π·6²/8 mm³, by hand"),
    ),
    formula=f"{_AREA_FORMULA}*length*IF(ISOMITTED(count),1,count)/1000",
    system=("mm",),
)
def bead_volume(
    length: Number,
    section: str,
    width: Number,
    height: Number | None = None,
    contact_angle: Number | None = None,
    count: Number = 1,
) -> Number:
    """Volume of a bead along its length.

    >>> round(float(bead_volume(0.120, "half-round", 0.004)) * 1e6, 9)
    0.753982237
    """
    return bead_area(section, width, height, contact_angle) * length * count


_SHAPE_FORMULA = (
    'LET(tall,IF(ISOMITTED(aspect),IF(section="half-round",0.5,SQRT(-1)),aspect),'
    "slim,2*tall,angle,2*ATAN(slim),"
    'SQRT(area/SWITCH(section,"round",PI()/4,"half-round",PI()*tall/4,"triangle",tall/2,'
    '"rectangle",tall,"ellipse",PI()*tall/4,'
    f'"segment",{_SEGMENT_FORMULA},'
    '"stadium",IF(tall<=1,tall*(1-tall)+PI()*tall^2/4,SQRT(-1)),'
    '"fillet",1-PI()/4,"mitre",0.5)))'
)


@workbook_function(
    category="Beads",
    arguments=(
        _SECTION,
        _AREA,
        number(
            "aspect",
            "",
            "height/width (stadium: thickness/width); half-round takes 0.5",
            default=None,
            above=0,
        ),
    ),
    returns=(out("width", "mm", "width as BEAD_AREA takes it: diameter, base, radius or leg"),),
    equation="A grows with the square of the width: w = √(A / A(width 1, height = aspect))",
    source=_HANDBOOK,
    valid="triangle, rectangle, ellipse, segment and stadium need an aspect; stadium up to 1",
    no_answer="this section needs an aspect (a stadium: an aspect up to 1)",
    examples=(
        example(("round", 7.068583471), 3.0, "circle of 3 mm, π·3²/4"),
        example(("segment", 3.419777265, 0.3), 4.0, "segment 4 × 1.2 mm of handbook formula"),
        example(("stadium", 8.517145868, 0.25), 6.0, "stadium 6 × 1.5 mm, buffered line"),
    ),
    formula=_SHAPE_FORMULA,
    system=("mm",),
)
def bead_width(section: str, area: Number, aspect: Number | None = None) -> Number:
    """Width of the bead that has a given cross-section.

    >>> round(float(bead_width("round", 7.068583471e-6)) * 1e3, 9)
    3.0
    """
    if aspect is None:
        return np.sqrt(area / bead_area(section, 1.0))
    return np.sqrt(area / bead_area(section, np.ones_like(aspect, dtype=float), aspect))


# ----------------------------------------------------------------------------- outlines and paths


def _orientation(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Sign of the turn a → b → c for arrays of points (n, 2), exact.

    The floating result is taken where its rounding cannot change the sign; the few others are
    worked out in whole fractions.
    """
    left = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1])
    right = (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    turn = left - right
    signs: np.ndarray = np.sign(turn)
    for place in np.flatnonzero(np.abs(turn) <= 1e-15 * (np.abs(left) + np.abs(right))):
        (ax, ay), (bx, by), (cx, cy) = (
            [Fraction(float(part)) for part in corner[place]] for corner in (a, b, c)
        )
        exact = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        signs[place] = (exact > 0) - (exact < 0)
    return signs


def _between(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Whether c, known to lie on the line through a and b, lies within the segment."""
    between: np.ndarray = ((np.minimum(a, b) <= c) & (c <= np.maximum(a, b))).all(axis=1)
    return between


def _meet(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Whether segments a–b and c–d cross or touch."""
    one, two = _orientation(a, b, c), _orientation(a, b, d)
    three, four = _orientation(c, d, a), _orientation(c, d, b)
    crossing: np.ndarray = (one * two < 0) & (three * four < 0)
    crossing |= (one == 0) & _between(a, b, c)
    crossing |= (two == 0) & _between(a, b, d)
    crossing |= (three == 0) & _between(c, d, a)
    crossing |= (four == 0) & _between(c, d, b)
    return crossing


def _corners(points: np.ndarray) -> np.ndarray:
    """The outline's corners: repeated points and a last point equal to the first are dropped."""
    return points[np.any(points != np.roll(points, 1, axis=0), axis=1)]


def is_simple_outline(points: Floats) -> bool:
    """Whether a closed outline neither crosses nor touches itself (an (n, 2) array of corners).

    Only neighbouring edges share a point, their common corner. Edges are sorted along x and only
    pairs whose extents overlap are compared, in blocks, with an exact test.

    >>> is_simple_outline(np.array([[0, 0], [2, 2], [2, 0], [0, 2]]))  # a bow-tie
    False
    """
    start = _corners(np.asarray(points, dtype=float))
    count = len(start)
    if count < 3:
        return False
    end = np.roll(start, -1, axis=0)
    after = np.roll(start, -2, axis=0)
    # a corner that folds back onto its own edge
    folds = (_orientation(start, end, after) == 0) & (((end - start) * (after - end)).sum(1) < 0)
    if folds.any():
        return False
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.argsort(low[:, 0], kind="stable")
    reach = np.searchsorted(low[order, 0], high[order, 0], side="right")
    partners = reach - np.arange(count) - 1  # later edges whose extent in x overlaps
    done = np.concatenate(([0], np.cumsum(partners)))
    first = 0
    while first < count:
        last = int(np.searchsorted(done, done[first] + 1_000_000, side="left"))
        last = min(max(last, first + 1), count)
        sizes = partners[first:last]
        edge = np.repeat(np.arange(first, last), sizes)
        offset = np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        i, j = order[edge], order[edge + 1 + offset]
        apart = (i - j) % count
        near = (apart != 1) & (apart != count - 1)
        near &= (low[i, 1] <= high[j, 1]) & (low[j, 1] <= high[i, 1])
        i, j = i[near], j[near]
        if _meet(start[i], end[i], start[j], end[j]).any():
            return False
        first = last
    return True


#: `polygon_area` and `is_simple_outline` in a spreadsheet: repeated corners left out, edges in pairs
_OUTLINE = (
    "LET(rows_,ROWS(points),kept,FILTER(points,MAP(SEQUENCE(rows_),LAMBDA(i,LET(j,MOD(i-2,rows_)+1,"
    "(INDEX(points,i,1)<>INDEX(points,j,1))+(INDEX(points,i,2)<>INDEX(points,j,2))>0)))),"
    "n,ROWS(kept),"
    "px,LAMBDA(i,INDEX(kept,MOD(i-1,n)+1,1)),py,LAMBDA(i,INDEX(kept,MOD(i-1,n)+1,2)),"
    "side,LAMBDA(i,j,k,SIGN((px(j)-px(i))*(py(k)-py(i))-(py(j)-py(i))*(px(k)-px(i)))),"
    "back,LAMBDA(i,(px(i+1)-px(i))*(px(i+2)-px(i+1))+(py(i+1)-py(i))*(py(i+2)-py(i+1))<0),"
    "folds,SUM(MAP(SEQUENCE(n),LAMBDA(i,IF(side(i,i+1,i+2)=0,IF(back(i),1,0),0)))),"
    "near,LAMBDA(i,j,(MAX(px(i),px(i+1))>=MIN(px(j),px(j+1)))*(MAX(px(j),px(j+1))>=MIN(px(i),px(i+1)))"
    "*(MAX(py(i),py(i+1))>=MIN(py(j),py(j+1)))*(MAX(py(j),py(j+1))>=MIN(py(i),py(i+1)))),"
    "meet,LAMBDA(i,j,IF(near(i,j)=0,0,(side(i,i+1,j)*side(i,i+1,j+1)<=0)*(side(j,j+1,i)*side(j,j+1,i+1)<=0))),"
    "met,SUM(MAKEARRAY(n,n,LAMBDA(i,j,IF((j>i+1)*(i+n>j+1)=0,0,meet(i,j))))),"
    "IF((COLUMNS(points)=2)*(n>2)*(folds=0)*(met=0)=0,SQRT(-1),"
    "ABS(SUM(MAP(SEQUENCE(n),LAMBDA(i,"
    "(px(i)-px(1))*(py(i+1)-py(1))-(px(i+1)-px(1))*(py(i)-py(1))))))/2))"
)


@workbook_function(
    category="Beads",
    arguments=(points("points", "mm", "corners of the outline in order: two columns, x and y"),),
    returns=(out("area", "mm²", "enclosed area, whatever the direction of the outline"),),
    equation="A = ½ |Σ (xᵢ·yᵢ₊₁ − xᵢ₊₁·yᵢ)|",
    source="shoelace formula, elementary geometry",
    valid="three corners or more; the last corner joins the first, which may be repeated. An "
    "outline that crosses or touches itself is refused: subtract a hole as an outline of its own",
    requires=(
        requires(lambda points: points.shape[1] == 2, "points", "two columns, x and y"),
        requires(
            lambda points: points.shape[1] != 2 or len(_corners(points)) > 2,
            "points",
            "three different corners or more",
        ),
        requires(
            lambda points: points.shape[1] != 2 or len(_corners(points)) < 3 or is_simple_outline(points),
            "points",
            "an outline that neither crosses nor touches itself",
        ),
    ),
    examples=(
        example(([[0, 0], [10, 0], [10, 3], [4, 3], [4, 8], [0, 8]],), 50.0, "10·3 + 4·5 mm², by hand"),
        example(([[0, 0], [6, 0], [5, 3], [1, 3]],), 15.0, "trapezoid (6 + 4)·3/2, by hand"),
    ),
    formula=_OUTLINE,
)
def polygon_area(points: Floats) -> Number:
    """Area inside an outline given by its corners.

    >>> float(polygon_area(np.array([[0.0, 0.0], [0.010, 0.0], [0.010, 0.005], [0.0, 0.005]])))
    5e-05
    """
    x, y = (np.asarray(points, dtype=float) - points[0]).T
    area: Number = abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2.0
    return area


def arc_through(start: np.ndarray, middle: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Length of the circular arc start → middle → end, arrays (n, 2 or 3); NaN where there is none.

    With δ the angle by which the path turns at the middle point, the arc sweeps 2δ and
    L = chord · δ / sin δ: no centre is computed, so a nearly straight arc keeps its digits and
    δ above 90° is a major arc. A middle point on the chord, or on one of its ends, gives the
    chord. There is no arc where the middle lies on the chord's line outside the chord, and none is
    fixed where start and end coincide (a full circle is two arcs).

    >>> round(float(arc_through([[-1.0, 0.0]], [[0.0, 1.0]], [[1.0, 0.0]])[0]), 9)
    3.141592654
    """
    start, middle, end = (np.atleast_2d(np.asarray(part, float)) for part in (start, middle, end))
    if start.shape[1] == 2:
        start, middle, end = (np.pad(part, ((0, 0), (0, 1))) for part in (start, middle, end))
    one, two = middle - start, end - middle
    chord = np.linalg.norm(end - start, axis=1)
    cross = np.linalg.norm(np.cross(one, two), axis=1)
    dot = (one * two).sum(axis=1)
    turn = np.arctan2(cross, dot)
    sides = np.linalg.norm(one, axis=1) * np.linalg.norm(two, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.where(cross > 0, chord * turn * sides / cross, chord)
    return np.where(turn > np.pi - 1e-7, np.nan, length)


def _labels_fit(points: Floats, labels: Sequence[str] | None, closed: bool) -> bool:
    """Whether every arc point stands between the start and the end of its arc."""
    if labels is None:
        return True
    arcs = [place for place, label in enumerate(labels) if label == "arc"]
    last = len(labels) - 1
    return all(place > 0 and (closed if place == last else labels[place + 1] == "line") for place in arcs)


#: `path_length` in a spreadsheet: stretches that end at a line row, and arcs by the turn at their middle
_PATH = (
    "LET(many,ROWS(points),wide,COLUMNS(points),last,INDEX(points,0,wide),"
    "shut,IF(ISOMITTED(closed),0,IF(closed,1,0)),"
    'worded,IF(wide>2,SUM(MAP(last,LAMBDA(w,IF(ISTEXT(w),IF(w="",0,1),0))))+(SUM(--(last=""))=many)>0,FALSE),'
    "axes,wide-IF(worded,1,0),"
    'motion,LAMBDA(i,IF(worded,IF(i>many,"line",LET(w,INDEX(points,i,wide),IF(w="","line",LOWER(TRIM(w))))),'
    '"line")),'
    "along,LAMBDA(i,k,IF(k>axes,0,INDEX(points,MOD(i,many)+1,k)-INDEX(points,i,k))),"
    "far,LAMBDA(i,SQRT(along(i,1)^2+along(i,2)^2+along(i,3)^2)),"
    "wedge,LAMBDA(i,j,k,(along(i-1,j)*along(i,k)-along(i-1,k)*along(i,j))^2),"
    "arched,LAMBDA(i,LET(cross,SQRT(wedge(i,1,2)+wedge(i,2,3)+wedge(i,3,1)),"
    "dot,along(i-1,1)*along(i,1)+along(i-1,2)*along(i,2)+along(i-1,3)*along(i,3),"
    "turn,IF(cross+ABS(dot)=0,0,ATAN2(dot,cross)),"
    "chord,SQRT((along(i-1,1)+along(i,1))^2+(along(i-1,2)+along(i,2))^2+(along(i-1,3)+along(i,3))^2),"
    "IF(turn>PI()-1E-7,SQRT(-1),IF(cross>0,chord*turn*far(i-1)*far(i)/cross,chord)))),"
    'stretch,LAMBDA(i,IF(motion(i)="arc",IF(i=1,SQRT(-1),IF(IF(i=many,shut=1,motion(i+1)="line"),'
    'arched(i),SQRT(-1))),IF(i=1,0,IF((motion(i)="line")*(motion(i-1)<>"arc")>0,far(i-1),0)))),'
    "IF((many>1)*((axes=2)+(axes=3))=0,SQRT(-1),"
    "SUM(MAP(SEQUENCE(many+shut),LAMBDA(i,stretch(i))))))"
)


@workbook_function(
    category="Beads",
    arguments=(
        points(
            "points",
            "mm",
            "points in order: two or three columns of numbers, then if wanted "
            "a text column: line, arc (the middle of a 3-point arc that ends at the next point) "
            "or travel (no material up to this point)",
            choices=MOTIONS,
        ),
        flag("closed", "whether a last stretch leads back to the first point", default=False),
    ),
    returns=(out("length", "mm", "length with material; travel is left out"),),
    equation="L = Σ |Pᵢ₊₁ − Pᵢ|; arc: L = chord · δ/sin δ, δ the turn at its middle point",
    source="elementary geometry (inscribed angle)",
    valid="two points or more. The first row is the start whatever its text. The row after an arc "
    "row is the end of that arc and is a line row. An arc row may be last where the path is closed",
    no_answer="an arc has no circle (its middle point lies beyond its ends, or it starts and ends "
    "at one point: write a full circle as two arcs), or an arc row is first, last or not followed "
    "by a line row, or there is only one point",
    requires=(requires(lambda points: len(points) > 1, "points", "two points or more"),),
    examples=(
        example(([[0, 0], [30, 0], [30, 40], [0, 80]],), 120.0, "30 + 40 + 50 mm, by hand"),
        example(
            ([[0, 0, "line"], [4, 2, "arc"], [8, 0, "line"]],), 9.27295218, "radius 5 mm, inscribed angle"
        ),
        example(
            ([[0, 0, "line"], [10, 0, "line"], [15, 0, "travel"], [15, 10, "line"]],),
            20.0,
            "10 + 10 mm, travel left out, by hand",
        ),
    ),
    formula=_PATH,
)
def path_length(points: Floats, closed: bool = False, labels: Sequence[str] | None = None) -> Number:
    """Length of the bead along a path of lines and 3-point arcs.

    >>> round(float(path_length(np.array([[0, 0], [0.03, 0], [0.03, 0.04]]), closed=True)), 9)
    0.12
    """
    if not _labels_fit(points, labels, closed):
        return np.nan
    words = np.array(labels or ["line"] * len(points))
    if closed:
        points = np.vstack([points, points[:1]])
        words = np.append(words, "line")
    arcs = np.flatnonzero(words == "arc")
    # stretches that end at a plain line point and do not start at the middle of an arc
    lines = 1 + np.flatnonzero((words[1:] == "line") & (words[:-1] != "arc"))
    straight: Number = np.linalg.norm(points[lines] - points[lines - 1], axis=1).sum()
    if not len(arcs):
        return straight
    length: Number = straight + arc_through(points[arcs - 1], points[arcs], points[arcs + 1]).sum()
    return length


@workbook_function(
    category="Beads",
    arguments=(
        number("chord", "mm", "straight distance between the ends", at_least=0),
        number("bulge", "", "tan(angle/4); its sign is the direction, 1 is a half circle"),
    ),
    returns=(out("length", "mm", "length of the arc"),),
    equation="L = c (1 + b²) atan(b)/b",
    source="bulge of drawing exchange files, published DXF reference, LWPOLYLINE group 42 "
    "(from memory); elementary geometry",
    valid="any bulge; 0 is the chord",
    examples=(
        example((10, 0.5), 11.59119023, "radius 6.25 mm, sagitta 2.5 mm, inscribed angle"),
        example((10, -1), 15.70796327, "half circle, 5π"),
    ),
    formula="IF(bulge=0,chord,chord*(1+bulge^2)*ATAN(bulge)/bulge)",
)
def arc_length(chord: Number, bulge: Number) -> Number:
    """Length of an arc from its chord and bulge.

    >>> float(arc_length(0.010, 1.0)) == 0.005 * np.pi
    True
    """
    size = np.abs(bulge)
    curved = size > 0
    safe = np.where(curved, size, 1.0)
    return np.where(curved, chord * (1.0 + size**2) * np.arctan(safe) / safe, chord)


@workbook_function(
    category="Beads",
    arguments=(
        number("length", "mm", "length of the joint", at_least=0),
        number("run", "mm", "length of one stitch", above=0),
        number("gap", "mm", "bare length between stitches", at_least=0),
    ),
    returns=(out("deposited", "mm", "length that carries material"),),
    equation="L = k·run + min(length − k·(run + gap), run), k = whole pitches in the length",
    source="by hand",
    valid="the bead starts with a run; the last run is cut at the end",
    examples=(
        example((100, 20, 10), 70.0, "three pitches of 30 mm, then a run cut to 10 mm, by hand"),
        example((95, 20, 20), 55.0, "two pitches of 40 mm, then a run cut to 15 mm, by hand"),
    ),
    formula="LET(full,INT(length/(run+gap)),rest,length-full*(run+gap),full*run+IF(rest<run,rest,run))",
)
def stitch_length(length: Number, run: Number, gap: Number) -> Number:
    """Deposited length of an interrupted bead that starts with a run.

    >>> round(float(stitch_length(0.100, 0.020, 0.010)), 9)
    0.07
    """
    pitch = run + gap
    full = np.floor(length / pitch)
    return full * run + np.minimum(length - full * pitch, run)


@workbook_function(
    category="Beads",
    arguments=(
        number("diameter", "mm", "diameter of the dot on the base", above=0),
        number("height", "mm", "height of the dot", above=0),
    ),
    returns=(out("volume", "mL", "material in the dot"),),
    equation="V = πh(3d²/4 + h²)/6",
    source="spherical cap, elementary geometry",
    valid="a dot with the shape of a spherical cap; at height = diameter/2 a half ball",
    examples=(
        example((6, 3), 0.05654866776, "half ball of 6 mm, π·6³/12 mm³"),
        example((2, 1), 0.002094395102, "half ball of radius 1 mm, 2π/3 mm³"),
    ),
    formula="PI()*height*(3*diameter^2/4+height^2)/6/1000",
    system=("mm",),
)
def dot_volume(diameter: Number, height: Number) -> Number:
    """Volume of a dot shaped as a spherical cap.

    >>> round(float(dot_volume(0.006, 0.003)) * 1e9, 9)
    56.548667765
    """
    return np.pi * height * (0.75 * diameter**2 + height**2) / 6.0


# -------------------------------------------------------------------------------- pressed beads


_GAP = number("gap", "mm", "gap the joint closes to", above=0)


@workbook_function(
    category="Beads",
    arguments=(_AREA, _GAP, choice("edge", EDGES, "shape of the two free edges", default="square")),
    returns=(out("width", "mm", "overall width of the pressed bead"),),
    equation="square w = A/g; round w = g + (A − πg²/4)/g",
    source="conservation of volume",
    valid="the bead touches both faces along its length; nothing escapes endwise",
    no_answer="the bead is too thin for the gap: a round edge needs an area of π·gap²/4 or more",
    examples=(
        example((7.068583471, 0.5), 14.13716694, "bead of 3 mm, π·3²/4/0.5"),
        example((7.068583471, 0.5, "round"), 14.24446786, "stadium, root of its area formula"),
    ),
    formula='IF(IF(ISOMITTED(edge),"square",edge)="round",'
    "IF(area>=PI()*gap^2/4,gap+(area-PI()*gap^2/4)/gap,SQRT(-1)),area/gap)",
    system=("mm",),
)
def spread_width(area: Number, gap: Number, edge: str = "square") -> Number:
    """Width of a bead pressed down to a gap.

    >>> round(float(spread_width(7.068583471e-6, 0.5e-3)) * 1e3, 6)
    14.137167
    """
    if edge == "square":
        return area / gap
    rest = area - np.pi * gap**2 / 4.0
    # a round bead as thick as the gap just touches; rounding must not refuse it
    rest = np.where(np.abs(rest) <= 1e-12 * area, 0.0, rest)
    return np.where(rest >= 0, gap + rest / gap, np.nan)


@workbook_function(
    category="Beads",
    arguments=(
        _LENGTH,
        _AREA,
        _GAP,
        number("flange_width", "mm", "width of the flange the material can fill", above=0),
    ),
    returns=(out("volume", "mL", "material that leaves the flange; 0 where the bead fits"),),
    equation="V = length · max(0, A − gap·flange width)",
    source="conservation of volume",
    valid="square edges; bead in the middle of the flange; off the middle one side leaves earlier",
    examples=(
        example((500, 7.068583471, 0.5, 10), 1.0342917355, "500·(π·3²/4 − 0.5·10) mm³, by hand"),
        example((500, 4, 0.5, 10), 0.0, "4 mm² fit in 0.5 × 10 mm, by hand"),
    ),
    formula="length*IF(area>gap*flange_width,area-gap*flange_width,0)/1000",
    system=("mm",),
)
def squeeze_out(length: Number, area: Number, gap: Number, flange_width: Number) -> Number:
    """Volume of a pressed bead that leaves the flange.

    >>> round(float(squeeze_out(0.5, 6e-6, 0.5e-3, 0.010)) * 1e6, 9)
    0.5
    """
    return length * np.maximum(0.0, area - gap * flange_width)


@workbook_function(
    category="Beads",
    arguments=(
        number("area", "mm²", "cross-section of the bead", at_least=0),
        number("speed", "mm/s", "speed of the nozzle along the path", at_least=0),
    ),
    returns=(out("flow", "mL/s", "flow the meter must deliver"),),
    equation="Q = A · v",
    source="conservation of volume",
    valid="steady motion",
    examples=(example((6.283185307, 100), 0.6283185307, "half circle of 4 mm at 100 mm/s, by hand"),),
    formula="area*speed/1000",
    system=("mm",),
)
def bead_flow(area: Number, speed: Number) -> Number:
    """Flow that lays a bead of a given cross-section at a given speed.

    >>> round(float(bead_flow(5e-6, 0.1)) * 1e6, 9)
    0.5
    """
    return area * speed
