"""A pack of round cells in compound, cut into boxes: planes of boxes, layers of planes.

A plane is what one height sees: squares of a grid that cells, compound and wall cut (`block_plane`), or
rings round one cell (`ring_plane`). Links between the boxes of a block are sampled on sub-lines: along
each the resistances from middle to middle add up, and the lines side by side add their conductances, so
that a grid coarser than the gap between two cells still sees it. Layers stand one on the other, each a
plane with a height; a box of a column conducts upward with the mean conductivity of what it holds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..base.numbers import Floats
from .pack_step import Boxes, Places

COMPOUND, CELL, WALL, BASE = range(4)  # rows of shares and conductivities
CLEAR, CELLS, PLATE = "clear", "cells", "plate"  # zones: compound alone, cells stand in it, base plate
_FINE = 8  # samples of a box each way
_HALF = _FINE // 2
_ANGLES = 96  # points round the skin of a cell
_WALL_BOXES, _WALL_STEP = 2, 0.8e-3  # fewest across a wall, and their width (m) in a thick one
_SKIN_STEP = 1.5  # boxes between the skin and the points inside that it is extrapolated from
_DEEPEST = 0.8  # of the radius, from which a skin is extrapolated by a parabola
_EDGE = 1e-9  # m, below which two lengths are the same

Conductivities = tuple[float, float, float]  # of compound, cell and wall, W/(m·K)


class Solid(NamedTuple):
    """A body that conducts: W/(m·K) across and along the axis of the cells, J/(m³·K)."""

    conductivity: float
    axial: float
    capacity: float


class Films(NamedTuple):
    """Heat transfer to the air, W/(m²·K); 0 is insulated."""

    side: float  # outer faces of the walls
    top: float  # free face of the compound
    cell_tops: float
    bare_sides: float  # of cells above the compound; seen by the ring alone
    below: float  # underside of the base plate


@dataclass(slots=True)
class Plane:
    """Boxes at one height; lengths in m, conductances for each metre of height."""

    shares: Floats  # (3, boxes): of compound, cell and wall
    area: Floats
    first: Places  # boxes that a link joins
    second: Places
    links: Callable[[Conductivities], Floats]
    rim: Callable[[Conductivities, float], Floats]  # from each box to the air outside the wall
    bare: Callable[[Conductivities, float], Floats]  # from each box to the air round bare cells
    means: Any  # sparse (cells, boxes): what each box counts in the mean of a cell
    centres: Floats  # (cells, 2)
    skin: Callable[[Conductivities], Any]  # sparse (points, boxes): temperatures of the skin
    places: Floats  # (boxes, 2): middles
    step: float  # width of a box
    is_ring: bool = False  # boxes are rings round one cell


def row_spacing(arrangement: str, pitch: float) -> float:
    """Distance of the rows of cells: the pitch in a square, √3/2 of it where rows are staggered.

    >>> row_spacing("square", 1.0), round(row_spacing("alternating", 1.0), 6)
    (1.0, 0.866025)
    """
    return pitch if arrangement == "square" else pitch * math.sqrt(3.0) / 2.0


def block_centres(arrangement: str, along: int, rows: int, pitch: float) -> Floats:
    """Axes of the cells of a block, the origin in its middle.

    `square`, or `alternating` rows of n and n − 1 cells, the first with n.

    >>> block_centres("alternating", 2, 3, 1.0).round(3).tolist()
    [[-0.5, -0.866], [0.5, -0.866], [0.0, 0.0], [-0.5, 0.866], [0.5, 0.866]]
    """
    is_square = arrangement == "square"
    spacing = row_spacing(arrangement, pitch)
    found = []
    for row in range(rows):
        count = along if is_square else along - row % 2
        y = (row - 0.5 * (rows - 1)) * spacing
        found += [((place - 0.5 * (count - 1)) * pitch, y) for place in range(count)]
    return np.array(found, dtype=float)


def _lines(half: float, wall: float, step: float, mirrored: bool) -> Floats:
    """Grid lines from the mirror plane, or from the outer face, to the outer face of the wall."""
    count = max(2, math.ceil((half if mirrored else 2.0 * half) / step - _EDGE))
    inner = np.linspace(0.0 if mirrored else -half, half, count + 1)
    if wall <= 0.0:
        return inner
    across = max(_WALL_BOXES, math.ceil(wall / _WALL_STEP - _EDGE))
    outer = half + wall * np.arange(1, across + 1) / across
    return np.concatenate([inner, outer]) if mirrored else np.concatenate([-outer[::-1], inner, outer])


def _samples(lines: Floats) -> Floats:
    """Middles of the samples of each box along one direction."""
    inside = (np.arange(_FINE) + 0.5) / _FINE
    return (lines[:-1, None] + np.diff(lines)[:, None] * inside).ravel()


def _halves(lines: Floats, conductivity: Floats) -> tuple[Floats, Floats]:
    """Resistances of the lower and upper half of each box along the first axis, on each sub-line."""
    with np.errstate(divide="ignore"):
        parts = np.repeat(np.diff(lines) / _FINE, _FINE)[:, None] / conductivity
    parts = parts.reshape(len(lines) - 1, 2, _HALF, -1).sum(axis=2)
    return parts[:, 0], parts[:, 1]


def _across(lines: Floats, beside: Floats, conductivity: Floats) -> Floats:
    """Conductances along the first axis between the boxes of a grid, (boxes − 1, boxes beside)."""
    low, high = _halves(lines, conductivity)
    lanes = 1.0 / (high[:-1] + low[1:])
    mean: Floats = lanes.reshape(len(lanes), -1, _FINE).mean(axis=2) * np.diff(beside)
    return mean


def _outward(lines: Floats, beside: Floats, conductivity: Floats, film: float) -> tuple[Floats, Floats]:
    """Conductances of the first and the last box along the first axis to the air beyond."""
    low, high = _halves(lines, conductivity)
    width = np.diff(beside)

    def through(half: Floats) -> Floats:
        found: Floats = (1.0 / (1.0 / film + half)).reshape(-1, _FINE).mean(axis=1) * width
        return found

    return through(low[0]), through(high[-1])


def block_plane(
    centres: Floats, radius: float, half_width: float, half_length: float, wall: float, step: float
) -> Plane:
    """The boxes of a block between mirror planes where it has them, and its walls.

    `centres` are those of all its cells; the half widths go to the inner faces of the walls.
    """
    from scipy.sparse import coo_matrix, csr_matrix

    has_mirror = [_is_even(centres, axis) for axis in (0, 1)]
    xs = _lines(half_width, wall, step, has_mirror[0])
    ys = _lines(half_length, wall, step, has_mirror[1])
    kept = np.all((centres > -_EDGE) | ~np.array(has_mirror), axis=1)
    centres = centres[kept]
    fine_x, fine_y = _samples(xs), _samples(ys)
    count_x, count_y = len(xs) - 1, len(ys) - 1
    material = np.zeros((fine_x.size, fine_y.size), dtype=np.int8)
    owner = np.full(material.shape, -1, dtype=np.int32)
    for number, (x, y) in enumerate(centres):
        i = slice(*np.searchsorted(fine_x, (x - radius, x + radius)))
        j = slice(*np.searchsorted(fine_y, (y - radius, y + radius)))
        inside = (fine_x[i, None] - x) ** 2 + (fine_y[None, j] - y) ** 2 < radius**2
        material[i, j][inside], owner[i, j][inside] = CELL, number
    material[np.abs(fine_x) > half_width, :] = WALL
    material[:, np.abs(fine_y) > half_length] = WALL

    def by_box(flags: NDArray[Any]) -> Floats:
        found: Floats = flags.reshape(count_x, _FINE, count_y, _FINE).mean(axis=(1, 3)).ravel()
        return found

    shares = np.array([by_box(material == kind) for kind in (COMPOUND, CELL, WALL)])
    area = np.outer(np.diff(xs), np.diff(ys)).ravel()
    index = np.arange(count_x * count_y).reshape(count_x, count_y)
    first = np.concatenate([index[:-1].ravel(), index[:, :-1].ravel()])
    second = np.concatenate([index[1:].ravel(), index[:, 1:].ravel()])

    def links(conductivities: Conductivities) -> Floats:
        map_ = np.array(conductivities)[material]
        return np.concatenate([_across(xs, ys, map_).ravel(), _across(ys, xs, map_.T).T.ravel()])

    def rim(conductivities: Conductivities, film: float) -> Floats:
        found = np.zeros((count_x, count_y))
        if film <= 0.0:
            return found.ravel()
        map_ = np.array(conductivities)[material]
        low, high = _outward(xs, ys, map_, film)
        found[-1] += high
        if not has_mirror[0]:
            found[0] += low
        low, high = _outward(ys, xs, map_.T, film)
        found[:, -1] += high
        if not has_mirror[1]:
            found[:, 0] += low
        return found.ravel()

    boxes = np.broadcast_to(np.repeat(np.arange(count_x), _FINE)[:, None] * count_y, material.shape)
    boxes = boxes + np.repeat(np.arange(count_y), _FINE)[None, :]
    some = owner >= 0
    weights = area[boxes[some]] / _FINE**2
    rows, columns, values = owner[some], boxes[some], weights
    means = coo_matrix((values, (rows, columns)), shape=(len(centres), area.size)).tocsr()
    means = csr_matrix(means.multiply(1.0 / np.asarray(means.sum(axis=1)).reshape(-1, 1)))
    middle_x, middle_y = 0.5 * (xs[:-1] + xs[1:]), 0.5 * (ys[:-1] + ys[1:])
    skin = _block_skin(centres, radius, middle_x, middle_y, max(float(xs[1] - xs[0]), step), has_mirror)
    places = np.column_stack([np.repeat(middle_x, count_y), np.tile(middle_y, count_x)])
    return Plane(
        shares,
        area,
        first,
        second,
        links,
        rim,
        lambda conductivities, film: np.zeros(area.size),
        means,
        centres,
        lambda conductivities: skin,
        places,
        step,
    )


def _is_even(centres: Floats, axis: int) -> bool:
    """Whether a block is its own mirror image along an axis."""
    other = centres.copy()
    other[:, axis] *= -1.0

    def sorted_rows(points: Floats) -> Floats:
        rounded = np.round(points / _EDGE)
        order = np.lexsort(rounded.T)
        found: Floats = points[order]
        return found

    return bool(np.allclose(sorted_rows(other), sorted_rows(centres), atol=10.0 * _EDGE))


def _block_skin(
    centres: Floats, radius: float, xs: Floats, ys: Floats, step: float, has_mirror: Sequence[bool]
) -> Any:
    """Temperatures of the skins from inside the cells, bilinear between the middles of boxes."""
    deep = _SKIN_STEP * step
    terms: tuple[tuple[float, float], ...]
    if 3.0 * deep <= _DEEPEST * radius:
        terms = ((3.0, deep), (-3.0, 2.0 * deep), (1.0, 3.0 * deep))
    else:
        deep = min(deep, 0.5 * _DEEPEST * radius)
        terms = ((2.0, deep), (-1.0, 2.0 * deep))
    angles = 2.0 * math.pi * np.arange(_ANGLES) / _ANGLES
    around = np.column_stack([np.cos(angles), np.sin(angles)])
    total: Any = 0.0
    for weight, depth in terms:
        points = (centres[:, None, :] + (radius - depth) * around).reshape(-1, 2)
        points = np.where(has_mirror, np.abs(points), points)
        total = total + weight * _bilinear(points, xs, ys)
    return total.tocsr()


def _bilinear(points: Floats, xs: Floats, ys: Floats) -> Any:
    from scipy.sparse import coo_matrix

    def between(values: Floats, grid: Floats) -> tuple[Places, Floats]:
        low = np.clip(np.searchsorted(grid, values) - 1, 0, len(grid) - 2)
        share: Floats = np.clip((values - grid[low]) / (grid[low + 1] - grid[low]), 0.0, 1.0)
        return low, share

    (i, u), (j, v) = between(points[:, 0], xs), between(points[:, 1], ys)
    columns = np.concatenate([(i + a) * len(ys) + j + b for a in (0, 1) for b in (0, 1)])
    weights = np.concatenate([(u if a else 1.0 - u) * (v if b else 1.0 - v) for a in (0, 1) for b in (0, 1)])
    rows = np.tile(np.arange(len(points)), 4)
    return coo_matrix((weights, (rows, columns)), shape=(len(points), len(xs) * len(ys))).tocsr()


def ring_plane(radius: float, outer: float, step: float) -> Plane:
    """One cell and the compound that belongs to it, as rings; nothing goes through the outer face."""
    from scipy.sparse import coo_matrix

    inside = graded(radius, step, False, True)
    outside = graded(outer - radius, min(step, (outer - radius) / 3.0), True, False)
    faces = np.concatenate([inside, radius + outside[1:]])
    middles = 0.5 * (faces[:-1] + faces[1:])
    area = math.pi * np.diff(faces**2)
    count, last = middles.size, inside.size - 2  # the box inside the skin
    is_cell = middles < radius
    shares = np.array([~is_cell, is_cell, np.zeros(count)], dtype=float)
    material = np.where(is_cell, CELL, COMPOUND)
    places = np.arange(count)
    with np.errstate(divide="ignore"):
        inner_log = np.log(middles / faces[:-1])
    outer_log = np.log(faces[1:] / middles)

    def resistances(conductivities: Conductivities) -> tuple[Floats, Floats]:
        with np.errstate(divide="ignore"):
            each = 1.0 / (2.0 * math.pi * np.array(conductivities)[material])
        return inner_log[1:] * each[1:], outer_log[:-1] * each[:-1]

    def links(conductivities: Conductivities) -> Floats:
        low, high = resistances(conductivities)
        return np.asarray(1.0 / (high + low))

    def bare(conductivities: Conductivities, film: float) -> Floats:
        found = np.zeros(count)
        if film > 0.0:
            half = outer_log[last] / (2.0 * math.pi * conductivities[CELL])
            found[last] = 1.0 / (1.0 / (2.0 * math.pi * radius * film) + half)
        return found

    def skin(conductivities: Conductivities) -> Any:
        low, high = resistances(conductivities)
        inward = 1.0 / high[last], 1.0 / low[last]
        weights = np.array(inward) / sum(inward)
        return coo_matrix((weights, ([0, 0], [last, last + 1])), shape=(1, count)).tocsr()

    means = coo_matrix(
        (area[is_cell] / area[is_cell].sum(), (np.zeros(last + 1, dtype=int), places[is_cell])),
        shape=(1, count),
    ).tocsr()
    return Plane(
        shares,
        area,
        places[:-1],
        places[1:],
        links,
        lambda conductivities, film: np.zeros(count),
        bare,
        means,
        np.zeros((1, 2)),
        skin,
        np.column_stack([middles, np.zeros(count)]),
        step,
        True,
    )


_FINEST = 0.3  # of the step, beside a face that grading begins at
_GROWTH = 1.25  # of neighbouring boxes


def graded(
    length: float, step: float, low: bool, high: bool, growth: float = _GROWTH, finest: float = _FINEST
) -> Floats:
    """Lines from 0 to a length: boxes that begin fine at one or both ends and grow to the step.

    >>> graded(1.0, 0.5, False, False).tolist()
    [0.0, 0.5, 1.0]
    """

    def rising(reach: float) -> list[float]:
        widths: list[float] = []
        now = finest * step
        while sum(widths) + now < reach and now < step:
            widths.append(now)
            now *= growth
        while sum(widths) < reach - 0.5 * step:
            widths.append(step)
        return widths or [reach]

    if low and high:
        half = rising(0.5 * length)
        widths = half + half[::-1]
    elif low or high:
        widths = rising(length)
        widths = widths if low else widths[::-1]
    else:
        widths = [1.0] * max(1, math.ceil(length / step - _EDGE))
    lines = np.concatenate([[0.0], np.cumsum(widths)])
    return np.asarray(lines * (length / lines[-1]))


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a stack: its zone, bottom and height, m."""

    zone: str
    bottom: float
    height: float

    @property
    def top(self) -> float:
        """Its upper face."""
        return self.bottom + self.height

    @property
    def middle(self) -> float:
        """Half way up."""
        return self.bottom + 0.5 * self.height


@dataclass(frozen=True, slots=True)
class Bodies:
    """What a pack is made of; `rise` is that of the compound's full cure without loss of heat, K."""

    compound: Solid
    rise: float
    cell: Solid
    wall: Solid
    base: Solid


@dataclass(slots=True)
class Stage:
    """Boxes that are there while the compound stands to one level, and what is watched of them."""

    boxes: Boxes
    there: Places  # of all boxes of the stack
    compound: Places  # boxes that count as compound, among those there
    skin: Any  # sparse (points, boxes there)
    skin_places: Floats  # (points, 3)
    means: Any  # sparse (cells, boxes there)


@dataclass(slots=True)
class Stack:
    """Layers of one plane; a section is a single layer without a top and a bottom."""

    plane: Plane
    layers: Sequence[Layer]
    bodies: Bodies
    films: Films
    is_section: bool = False
    _links: dict[Conductivities, Floats] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """All boxes."""
        return len(self.layers) * self.plane.area.size

    def cold_capacity(self) -> Floats:
        """Heat capacity of all boxes without the compound, J/K."""
        bodies = self.bodies
        heat = np.array([bodies.cell.capacity, bodies.wall.capacity, bodies.base.capacity])
        rows = [
            self.plane.area * layer.height * np.einsum("mb,m->b", self.shares(layer, -math.inf)[1:], heat)
            for layer in self.layers
        ]
        return np.concatenate(rows)

    def is_poured(self, layer: Layer, level: float) -> bool:
        """Whether the compound stands in a layer."""
        return layer.zone != PLATE and (self.is_section or layer.top <= level + _EDGE)

    def shares(self, layer: Layer, level: float) -> Floats:
        """(4, boxes): what compound, cell, wall and base have of each box of a layer; the rest is air."""
        compound, cell, wall = self.plane.shares
        nothing = np.zeros_like(compound)
        if layer.zone == PLATE:
            return np.array([nothing, nothing, nothing, nothing + 1.0])
        if layer.zone == CLEAR:
            compound, cell = compound + cell, nothing
        return np.array(
            [compound if self.is_poured(layer, level) else nothing, cell, wall, nothing], dtype=float
        )

    def conductivities(self, layer: Layer, level: float) -> Conductivities:
        """Across the plane, as the samples of compound, cell and wall see them in a layer."""
        bodies = self.bodies
        if layer.zone == PLATE:
            return (bodies.base.conductivity,) * 3
        compound = bodies.compound.conductivity if self.is_poured(layer, level) else 0.0
        return (
            compound,
            bodies.cell.conductivity if layer.zone == CELLS else compound,
            bodies.wall.conductivity,
        )

    def _plane_links(self, conductivities: Conductivities) -> Floats:
        if conductivities not in self._links:
            self._links[conductivities] = self.plane.links(conductivities)
        return self._links[conductivities]

    def stage(self, level: float) -> Stage:
        """The boxes while the compound stands to a level."""
        plane, bodies = self.plane, self.bodies
        solids = (bodies.compound, bodies.cell, bodies.wall, bodies.base)
        heat = np.array([solid.capacity for solid in solids])
        axial = np.array([solid.axial for solid in solids])
        size = plane.area.size
        shares = np.array([self.shares(layer, level) for layer in self.layers])  # (layers, 4, boxes)
        heights = np.array([layer.height for layer in self.layers])
        volume = plane.area * heights[:, None]
        capacity = volume * np.einsum("lmb,m->lb", shares, heat)
        release = volume * shares[:, COMPOUND] * bodies.compound.capacity * bodies.rise
        first, second, link = [], [], []
        film = np.zeros((len(self.layers), size))
        for place, layer in enumerate(self.layers):
            across = self.conductivities(layer, level)
            first.append(plane.first + place * size)
            second.append(plane.second + place * size)
            link.append(self._plane_links(across) * layer.height)
            if layer.zone == PLATE:  # its edges are insulated
                continue
            film[place] += plane.rim(across, self.films.side) * layer.height
            if layer.zone == CELLS and not self.is_poured(layer, level):
                film[place] += plane.bare(across, self.films.bare_sides) * layer.height
        if not self.is_section:
            upward = self._upward(shares, axial, heights, film)
            for place, conductance in enumerate(upward):
                first.append(np.arange(size) + place * size)
                second.append(np.arange(size) + (place + 1) * size)
                link.append(conductance)
        return self._gather(
            level,
            capacity.ravel(),
            release.ravel(),
            np.concatenate(first),
            np.concatenate(second),
            np.concatenate(link),
            film.ravel(),
            shares,
        )

    def _upward(self, shares: Floats, axial: Floats, heights: Floats, film: Floats) -> list[Floats]:
        """Conductances from each layer to the next; faces that end in the air go into `film`."""
        plane, found = self.plane, []
        mean = np.einsum("lmb,m->lb", shares, axial)

        def face(place: int, material: int, share: Floats, transfer: float) -> None:
            if transfer > 0.0:
                half = 0.5 * heights[place] / axial[material]
                film[place] += plane.area * share / (1.0 / transfer + half)

        with np.errstate(divide="ignore"):
            half = 0.5 * heights[:, None] / mean
        for place in range(len(heights)):
            above = shares[place + 1] if place + 1 < len(heights) else np.zeros_like(shares[0])
            if place + 1 < len(heights):
                found.append(plane.area / (half[place] + half[place + 1]))
            if self.layers[place].zone == PLATE:
                continue
            covered = above[COMPOUND] > 0.0
            bare = np.where(covered, 0.0, shares[place][COMPOUND])
            face(place, COMPOUND, bare, self.films.top)
            ends = np.where(covered, 0.0, np.maximum(shares[place][CELL] - above[CELL], 0.0))
            face(place, CELL, ends, self.films.cell_tops)
        bottom = BASE if self.layers[0].zone == PLATE else CELL
        if self.films.below > 0.0:
            film[0] += plane.area / (1.0 / self.films.below + half[0]) if bottom == BASE else 0.0
        return found

    def _gather(
        self,
        level: float,
        capacity: Floats,
        release: Floats,
        first: Places,
        second: Places,
        link: Floats,
        film: Floats,
        shares: Floats,
    ) -> Stage:
        """Without the boxes that are empty."""
        there = np.flatnonzero(capacity > 0.0)
        in_columns = not (self.is_section or self.plane.is_ring)
        if in_columns:
            there = there[np.argsort(there % self.plane.area.size, kind="stable")]
        number = np.full(capacity.size, -1)
        number[there] = np.arange(there.size)
        both = (link > 0.0) & (number[first] >= 0) & (number[second] >= 0)
        boxes = Boxes(
            capacity[there],
            release[there],
            number[first[both]],
            number[second[both]],
            link[both],
            film[there],
            in_columns,
        )
        counts = np.flatnonzero(shares[:, COMPOUND].ravel()[there] >= _COUNTS)
        skin, places = self._skin(level)
        return Stage(boxes, there, counts, skin[:, there], places, self._means()[:, there])

    def _means(self) -> Any:
        """Means of whole cells over all layers."""
        from scipy.sparse import csr_matrix, kron

        heights = np.array([layer.height if layer.zone == CELLS else 0.0 for layer in self.layers])
        return kron(csr_matrix(heights / heights.sum()), self.plane.means).tocsr()

    def _skin(self, level: float) -> tuple[Any, Floats]:
        """Skin that compound wets: sides in each layer, ends under compound, the rim of a single cell."""
        from scipy.sparse import csr_matrix, kron, vstack

        plane, count = self.plane, len(self.layers)
        wet = [
            place
            for place, layer in enumerate(self.layers)
            if layer.zone == CELLS and self.is_poured(layer, level)
        ]
        across = self.conductivities(self.layers[wet[0]], level) if wet else (1.0, 1.0, 1.0)
        choose = csr_matrix((np.ones(len(wet)), (range(len(wet)), wet)), shape=(len(wet), count))
        points = plane.skin(across)
        parts = [kron(choose, points).tocsr()]
        around = np.zeros((points.shape[0], 2))
        around[:] = np.repeat(plane.centres, points.shape[0] // len(plane.centres), axis=0)
        places = [np.column_stack([around, np.full(len(around), self.layers[k].middle)]) for k in wet]
        top = wet[-1] if wet else -1
        if wet and top + 1 < count and self.layers[top + 1].zone == CLEAR:
            over = self.layers[top + 1]
            if self.is_poured(over, level):
                ends = self._ends(top)
                parts.append(ends)
                inside = np.flatnonzero(plane.shares[CELL] > _WHOLE)
                places.append(
                    np.column_stack([plane.places[inside], np.full(inside.size, self.layers[top].top)])
                )
                if plane.is_ring and len(wet) > 1:
                    parts.append(self._rim(parts[0], ends, wet))
                    places.append(np.array([[plane.places[inside[-1], 0], 0.0, self.layers[top].top]]))
        return vstack(parts).tocsr(), np.concatenate(places) if places else np.zeros((0, 3))

    def _ends(self, top: int) -> Any:
        """Temperatures between the upper ends of cells and the compound over them."""
        from scipy.sparse import coo_matrix

        size = self.plane.area.size
        inside = np.flatnonzero(self.plane.shares[CELL] > _WHOLE)
        below = self.bodies.cell.axial / self.layers[top].height
        above = self.bodies.compound.axial / self.layers[top + 1].height
        share = below / (below + above)
        rows = np.tile(np.arange(inside.size), 2)
        columns = np.concatenate([top * size + inside, (top + 1) * size + inside])
        values = np.repeat([share, 1.0 - share], inside.size)
        return coo_matrix((values, (rows, columns)), shape=(inside.size, self.count)).tocsr()

    def _rim(self, sides: Any, ends: Any, wet: Sequence[int]) -> Any:
        """The rim of a covered cell: mean of what its side and its end lead to."""
        one, two = self.layers[wet[-1]], self.layers[wet[-2]]
        lead = (one.top - one.middle) / (one.middle - two.middle)
        up = sides[-1] * (1.0 + lead) - sides[-2] * lead
        radius = math.sqrt(float(self.plane.area[self.plane.shares[CELL] > _WHOLE].sum()) / math.pi)
        r = self.plane.places[self.plane.shares[CELL] > _WHOLE, 0]
        lead = (radius - r[-1]) / (r[-1] - r[-2])
        out = ends[-1] * (1.0 + lead) - ends[-2] * lead
        return (0.5 * (up + out)).tocsr()


_COUNTS = 0.49  # of a box, from which it counts as compound
_WHOLE = 0.999  # of a box, from which it is all cell

__all__ = [
    "CELLS",
    "CLEAR",
    "PLATE",
    "Bodies",
    "Films",
    "Layer",
    "Plane",
    "Solid",
    "Stack",
    "Stage",
    "block_centres",
    "block_plane",
    "graded",
    "row_spacing",
    "ring_plane",
]
