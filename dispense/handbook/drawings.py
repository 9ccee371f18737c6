"""From the curves of a drawing to the rows of a path: lines and arcs through three points.

A curve is a place and a velocity over a parameter; it is cut where an arc through three of its points has
its length. Pieces are joined where their ends meet, and the beads put in an order. All in metres.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.numbers import Floats, Series
from .beads import arc_through

CURVE_TOLERANCE = 5e-7  # of the length: how far an arc may differ from the curve that it stands for
_DEEPEST = 30  # halvings of a stretch of a curve
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_SAME = 1e-6  # of the length: a piece that is drawn twice

Place = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve over a parameter: places and velocities (n, 3) [m], and the parameters of its parts."""

    place: Place
    velocity: Place
    breaks: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """Connected rows of a path (n, 3) [m] with their motions, line or arc; `length` of the true curve [m]."""

    rows: Floats
    motions: tuple[str, ...]
    length: float
    name: str = ""

    def reversed(self) -> Piece:
        """The same from its end to its start."""
        return Piece(self.rows[::-1], self.motions[::-1], self.length, self.name)


@dataclass(frozen=True, slots=True)
class Bead:
    """Pieces joined into one stretch; `pieces` how many, `gap` the widest that was closed [m]."""

    rows: Floats
    motions: tuple[str, ...]
    length: float
    pieces: int
    gap: float
    closed: bool


@dataclass(frozen=True, slots=True)
class Joined:
    """Beads of pieces; what was drawn twice or is shorter than the tolerance; where more than two met."""

    beads: tuple[Bead, ...]
    twice: tuple[str, ...]
    short: tuple[str, ...]
    meetings: tuple[tuple[float, float, float], ...]


# ------------------------------------------------------------------------------------------- curves


def ellipse(centre: Series, major: Series, minor: Series, start: float, end: float) -> Curve:
    """An ellipse, or a circle, by its half axes as vectors, from one parameter to a later one [rad].

    >>> quarter = ellipse((0, 0, 0), (2, 0, 0), (0, 1, 0), 0.0, np.pi / 2)
    >>> [round(float(part), 6) for part in quarter.place(np.array([np.pi / 2]))[0]]
    [0.0, 1.0, 0.0]
    """
    middle, along, across = (np.array(part, dtype=float) for part in (centre, major, minor))
    parts = max(1, int(np.ceil((end - start) / (np.pi / 2) - 1e-9)))
    return Curve(
        lambda u: middle + np.outer(np.cos(u), along) + np.outer(np.sin(u), across),
        lambda u: np.outer(np.cos(u), across) - np.outer(np.sin(u), along),
        tuple(np.linspace(start, end, parts + 1).tolist()),
    )


def spline(degree: int, knots: Series, controls: Floats, weights: Series | None = None) -> Curve:
    """A B-spline by its control points (n, 3), rational where weights are given.

    >>> line = spline(1, [0, 0, 1, 1], np.array([[0.0, 0.0, 0.0], [3.0, 4.0, 0.0]]))
    >>> line.velocity(np.array([0.5])).tolist()
    [[3.0, 4.0, 0.0]]
    """
    from scipy.interpolate import BSpline

    shares = np.ones(len(controls)) if weights is None else np.asarray(weights, dtype=float)
    numerator = BSpline(np.asarray(knots, dtype=float), controls * shares[:, None], degree)
    divisor = BSpline(np.asarray(knots, dtype=float), shares, degree)
    numerator_slope, divisor_slope = numerator.derivative(), divisor.derivative()

    def place(u: Floats) -> Floats:
        found: Floats = numerator(u) / divisor(u)[:, None]
        return found

    def velocity(u: Floats) -> Floats:
        found: Floats = (numerator_slope(u) - place(u) * divisor_slope(u)[:, None]) / divisor(u)[:, None]
        return found

    inner = np.unique(np.asarray(knots, dtype=float)[degree : len(controls) + 1])
    return Curve(place, velocity, tuple(inner.tolist()))


def _stretch_length(curve: Curve, low: float, high: float) -> float:
    """∫ |dP/du| du from `low` to `high`, by Gauss–Legendre."""
    half = (high - low) / 2.0
    speed = np.linalg.norm(curve.velocity(low + half * (1.0 + _NODES)), axis=1)
    return float(half * (_WEIGHTS * speed).sum())


def curve_piece(curve: Curve, name: str = "") -> Piece:
    """A curve as arcs through three of its points.

    Each stretch is halved until the arc through its ends and its middle has the stretch's length, the
    integral of the speed, to `CURVE_TOLERANCE`; an arc that has it lies within a thousandth of its own
    length beside the curve.

    >>> circle = curve_piece(ellipse((0, 0, 0), (1, 0, 0), (0, 1, 0), 0.0, 2 * np.pi))
    >>> round(circle.length, 9), len(circle.rows)
    (6.283185307, 9)
    """
    rows = [curve.place(np.array([curve.breaks[0]]))[0]]
    motions, total = ["line"], 0.0
    waiting = [(low, high, 0) for low, high in zip(curve.breaks[-2::-1], curve.breaks[:0:-1], strict=True)]
    while waiting:
        low, high, depth = waiting.pop()
        middle = (low + high) / 2.0
        ends = curve.place(np.array([middle, high]))
        length = _stretch_length(curve, low, middle) + _stretch_length(curve, middle, high)
        arc = float(arc_through(rows[-1], ends[0], ends[1])[0])
        wide = CURVE_TOLERANCE * length
        settled = (
            abs(arc - length) <= wide and abs(_stretch_length(curve, low, high) - length) <= wide
        )  # NaN, no such arc, is not settled
        if settled or depth >= _DEEPEST:
            rows += [ends[0], ends[1]]
            motions += ["arc", "line"]
            total += length
        else:
            waiting += [(middle, high, depth + 1), (low, middle, depth + 1)]
    return Piece(np.array(rows), tuple(motions), total, name)


def bulge_middle(start: Floats, end: Floats, bulge: float) -> Floats:
    """The middle point of an arc given by its ends (x, y) and its bulge, tan(angle/4), left turns positive.

    >>> bulge_middle(np.array([0.0, 0.0]), np.array([2.0, 0.0]), 1.0).tolist()
    [1.0, -1.0]
    """
    along = end - start
    middle: Floats = (start + end) / 2.0 + bulge / 2.0 * np.array([along[1], -along[0]])
    return middle


# ------------------------------------------------------------------------------------------ joining


def _headings(piece: Piece) -> tuple[Floats, Floats]:
    """Unit vectors that lead into a piece from its start and from its end."""

    def heading(item: Piece) -> Floats:
        here, after = item.rows[0], item.rows[1]
        way = after - here
        if item.motions[1] == "arc":  # inverted about its start the circle is a line along its tangent
            far = item.rows[2] - here
            way = way / (way @ way) - far / (far @ far)
        unit: Floats = way / max(float(np.linalg.norm(way)), 1e-300)
        return unit

    return heading(piece), heading(piece.reversed())


def _clusters(ends: Floats, tolerance: float) -> list[int]:
    """The place that each end belongs to: ends nearer than the tolerance are one place."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(ends).query_pairs(tolerance, output_type="ndarray")
    near = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    labels: list[int] = connected_components(near, directed=False)[1].tolist()
    return labels


def _without_copies(pieces: Sequence[Piece], tolerance: float) -> tuple[list[Piece], list[str], list[str]]:
    """The pieces but those drawn twice and those shorter than the tolerance, which are named."""
    kept: list[Piece] = []
    twice, short = [], []
    seen: dict[int, list[Piece]] = {}
    for piece in pieces:
        if piece.length <= tolerance:
            short.append(piece.name)
            continue
        key = round(piece.length / tolerance)
        others = [other for near in (key - 1, key, key + 1) for other in seen.get(near, ())]
        if any(_alike(piece, other, tolerance) for other in others):
            twice.append(piece.name)
            continue
        seen.setdefault(key, []).append(piece)
        kept.append(piece)
    return kept, twice, short


def _alike(one: Piece, other: Piece, tolerance: float) -> bool:
    """Whether two pieces are one curve drawn twice: ends, centre of their rows and length."""
    if abs(one.length - other.length) > max(tolerance, _SAME * one.length):
        return False

    def apart(rows: Floats) -> float:
        return float(np.abs(rows[[0, -1]] - one.rows[[0, -1]]).max())

    centres = float(np.abs(one.rows.mean(axis=0) - other.rows.mean(axis=0)).max())
    return centres <= tolerance and min(apart(other.rows), apart(other.rows[::-1])) <= tolerance


def join(pieces: Sequence[Piece], tolerance: float) -> Joined:
    """Beads of pieces whose ends lie within `tolerance` [m] of each other.

    Open beads begin where one piece ends alone. Where more than two ends meet, the bead goes on into the
    piece that leads on most nearly straight; such places are told, since a drawing does not say it.

    >>> a = Piece(np.array([[0.0, 0, 0], [1, 0, 0]]), ("line", "line"), 1.0)
    >>> b = Piece(np.array([[1.0, 1, 0], [1, 0, 0]]), ("line", "line"), 1.0)
    >>> [bead.rows[:, :2].tolist() for bead in join([a, b], 1e-5).beads]
    [[[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]]
    """
    kept, twice, short = _without_copies(pieces, tolerance)
    if not kept:
        return Joined((), tuple(twice), tuple(short), ())
    ends = np.array([row for piece in kept for row in (piece.rows[0], piece.rows[-1])])
    labels = _clusters(ends, tolerance)
    at: dict[int, list[int]] = {}  # ends 2k and 2k + 1 of piece k, by place
    for end, label in enumerate(labels):
        at.setdefault(label, []).append(end)
    headings = [heading for piece in kept for heading in _headings(piece)]
    free = set(range(len(kept)))

    def onward(label: int, came: Floats | None) -> int | None:
        """The end at a place through which to go on."""
        open_ends = [end for end in at[label] if end // 2 in free]
        if came is None or len(open_ends) < 2:
            return open_ends[0] if open_ends else None
        return min(open_ends, key=lambda end: (-round(float(headings[end] @ came), 9), end))

    def walk(first: int) -> Bead:
        run: list[Piece] = []
        end: int | None = first
        while end is not None:
            free.discard(end // 2)
            piece = kept[end // 2]
            run.append(piece if end % 2 == 0 else piece.reversed())
            leaving = end ^ 1
            end = onward(labels[leaving], -headings[leaving])
        return _bead(run, labels[first] == labels[leaving])

    beads = []
    for label, its in sorted(at.items(), key=lambda item: (len(item[1]) != 1, item[1][0])):
        while len([end for end in its if end // 2 in free]) % 2:
            first = onward(label, None)
            if first is not None:
                beads.append(walk(first))
    for place in range(len(kept)):
        if place in free:
            beads.append(walk(2 * place))
    meetings = tuple(
        (float(x), float(y), float(z)) for x, y, z in (ends[its[0]] for its in at.values() if len(its) > 2)
    )
    return Joined(tuple(beads), tuple(twice), tuple(short), meetings)


def _bead(run: Sequence[Piece], closed: bool) -> Bead:
    """Pieces one after the other; each begins where the one before ends, the last of a ring at the first."""
    rows, motions = [run[0].rows], list(run[0].motions)
    gap = 0.0
    for before, piece in itertools.pairwise(run):
        gap = max(gap, float(np.linalg.norm(piece.rows[0] - before.rows[-1])))
        rows.append(piece.rows[1:])
        motions += piece.motions[1:]
    whole = np.concatenate(rows)
    if closed:
        gap = max(gap, float(np.linalg.norm(whole[-1] - whole[0])))
        whole[-1] = whole[0]
    return Bead(whole, tuple(motions), sum(piece.length for piece in run), len(run), gap, closed)


# -------------------------------------------------------------------------------------------- order


def _turned(bead: Bead, place: int) -> Bead:
    """A closed bead that begins at another of its rows."""
    rows = np.concatenate([bead.rows[place:-1], bead.rows[: place + 1]])
    motions = (*bead.motions[place:-1], *bead.motions[: place + 1])
    return Bead(rows, ("line", *motions[1:]), bead.length, bead.pieces, bead.gap, True)


def _begun_at(bead: Bead, place: int) -> Bead:
    """The bead from one of the rows that it may begin at: an end, or a corner of a ring."""
    if bead.closed:
        return bead if place == 0 else _turned(bead, place)
    if place == 0:
        return bead
    return Bead(bead.rows[::-1], bead.motions[::-1], bead.length, bead.pieces, bead.gap, False)


def _beginnings(bead: Bead) -> list[int]:
    """Rows that a bead may begin at."""
    if not bead.closed:
        return [0, len(bead.rows) - 1]
    return [place for place, motion in enumerate(bead.motions[:-1]) if motion == "line"]


def in_order(beads: Sequence[Bead], start: Series) -> tuple[list[Bead], float]:
    """The beads in an order of short travel from `start` [m], the nearest first, and the travel between [m].

    An open bead may run either way, a ring may begin at any of its corners. The way from `start` to the
    first bead is no travel of the path.

    >>> far = Bead(np.array([[9.0, 0, 0], [5, 0, 0]]), ("line", "line"), 4.0, 1, 0.0, False)
    >>> near = Bead(np.array([[1.0, 0, 0], [2, 0, 0]]), ("line", "line"), 1.0, 1, 0.0, False)
    >>> beads, travel = in_order([far, near], (0.0, 0.0, 0.0))
    >>> [bead.rows[0].tolist()[0] for bead in beads], travel
    ([1.0, 5.0], 3.0)
    """
    places = [(number, place) for number, bead in enumerate(beads) for place in _beginnings(bead)]
    spots = np.array([beads[number].rows[place] for number, place in places]).reshape(-1, 3)
    owners = np.array([number for number, _ in places])
    free = np.full(len(places), True)
    found: list[Bead] = []
    spot, travel = np.asarray(start, dtype=float), 0.0
    while free.any():
        away = np.where(free, np.linalg.norm(spots - spot, axis=1), np.inf)
        chosen = int(away.argmin())
        travel += float(away[chosen]) if found else 0.0
        number, place = places[chosen]
        found.append(_begun_at(beads[number], place))
        spot = found[-1].rows[-1]
        free &= owners != number
    return found, travel


def path_rows(beads: Sequence[Bead]) -> tuple[Floats, list[str]]:
    """Rows and motions of one path through beads, with a travel to the start of each but the first."""
    motions: list[str] = []
    for bead in beads:
        motions += ["travel" if motions else "line", *bead.motions[1:]]
    return np.concatenate([bead.rows for bead in beads]), motions


__all__ = [
    "CURVE_TOLERANCE",
    "Bead",
    "Curve",
    "Joined",
    "Piece",
    "bulge_middle",
    "curve_piece",
    "ellipse",
    "in_order",
    "join",
    "path_rows",
    "spline",
]
