"""A reference by finite elements: the corner of a block of round cells in three dimensions.

Curved quadratic quadrilaterals across (a general library, scikit-fem) times quadratic elements upward: each
body is a part of the plane times a span of height, so that every matrix is a sum of Kronecker products. The
reaction sits at the quadrature points; Crank and Nicolson, each step repeated to the end, backward Euler at
the begin; conjugate gradients. Shares nothing with the package but the numbers that go in.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.sparse import coo_matrix, csr_matrix, kron
from skfem import Basis, BilinearForm, ElementLineP2, ElementQuad2, FacetBasis, MeshLine, MeshQuad, MeshQuad2
from skfem.helpers import dot, grad

CELL, WALL = 1, 2  # bodies of the plane; 0 is compound
KELVIN = 273.15


def spans(marks, width):
    """Lines from mark to mark, each span in equal parts no wider than a width."""
    parts = [
        np.linspace(low, high, 1 + max(1, int(np.ceil((high - low) / width - 1e-9))))[:-1]
        for low, high in pairwise(marks)
    ]
    return np.append(np.concatenate(parts), marks[-1])


def rings_of(radius, pitch, side):
    """Closed rows of points round a cell, from its middle square to the square of its pitch."""
    along = np.linspace(-1.0, 1.0, side + 1)[:-1]
    one = np.ones(side)
    square = np.concatenate(
        [np.column_stack(edge) for edge in ((along, -one), (one, along), (-along, one), (-one, -along))]
    )
    circle = square / np.hypot(*square.T)[:, None]
    middle = radius * (0.3 * square + 0.2 * circle)
    shares = np.linspace(0.0, 1.0, max(2, side // 3) + 1)
    inside = [middle + (radius * circle - middle) * share for share in shares]
    return inside + [radius * circle + (0.5 * pitch * square - radius * circle) * s for s in shares[1:]]


def middle_square(rim, side):
    """Points of the square whose rim is a row of points (transfinite)."""
    bottom, right, top, left = (np.roll(rim, -place * side, axis=0)[: side + 1] for place in range(4))
    s = np.linspace(0.0, 1.0, side + 1)[:, None, None]
    t = np.linspace(0.0, 1.0, side + 1)[None, :, None]
    faces = (1 - t) * bottom[:, None] + t * top[::-1][:, None]
    faces = faces + (1 - s) * left[::-1][None] + s * right[None]
    corners = (1 - s) * ((1 - t) * bottom[0] + t * top[-1]) + s * ((1 - t) * bottom[-1] + t * top[0])
    return faces - corners


def quarter(count, radius, pitch, margin, wall, side, width):
    """Mesh of a quarter of a square block of `count` cells each way, body of each element.

    `side` elements along the pitch, `width` of those in margin and wall.
    """
    points, quads, known = [], [], {}

    def point(place):
        key = tuple(np.round(np.asarray(place) * 1e8).astype(int))
        if key not in known:
            known[key] = len(points)
            points.append(tuple(place))
        return known[key]

    def lattice(grid, wanted=lambda i, j: True):
        for i in range(grid.shape[0] - 1):
            for j in range(grid.shape[1] - 1):
                if wanted(i, j):
                    quads.append([point(grid[p]) for p in ((i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1))])

    rows = rings_of(radius, pitch, side)
    around = np.array([np.vstack([row, row[:1]]) for row in rows])
    for centre in pitch * (np.array([(i, j) for i in range(count) for j in range(count)]) + 0.5):
        lattice(centre + around.transpose(1, 0, 2)[:, ::-1])
        lattice(centre + middle_square(rows[0], side))
    edge = count * pitch
    face = edge + margin - 0.5 * pitch + radius
    lines = np.append(np.linspace(0.0, edge, count * side + 1), spans([edge, face, face + wall], width)[1:])
    lattice(
        np.stack(np.meshgrid(lines, lines, indexing="ij"), axis=-1), lambda i, j: max(i, j) >= count * side
    )
    flat = MeshQuad(np.array(points).T, np.array(quads).T)

    def off_axis(places):
        return np.hypot(*((places / pitch) % 1.0 * pitch - 0.5 * pitch))

    middles = flat.p[:, flat.t].mean(axis=1)
    body = np.where((middles < edge).all(axis=0) & (off_axis(middles) < radius), CELL, 0)
    body[(middles > face).any(axis=0)] = WALL
    mesh = MeshQuad2.from_mesh(flat)
    place = mesh.doflocs.copy()  # middles of edges between points of a circle go out to it
    away = off_axis(place)
    chord = radius * np.cos(np.arctan(1.0 / side)) - 1e-9
    bent = (place < edge).all(axis=0) & (away > chord) & (away < radius - 1e-12)
    offset = (place[:, bent] / pitch) % 1.0 * pitch - 0.5 * pitch
    place[:, bent] += offset * (radius / away[bent] - 1.0)
    return MeshQuad2(place, mesh.t), body


@BilinearForm
def weighted(u, v, w):
    return w["factor"] * u * v


@BilinearForm
def conducts(u, v, w):
    return w["factor"] * dot(grad(u), grad(v))


def on(basis, form, values):
    """A matrix with one factor for each element."""
    return form.assemble(basis, factor=np.asarray(values, float)[:, None] * np.ones_like(basis.dx))


def at_points(basis):
    """From nodes to quadrature points."""
    rows = np.arange(basis.dx.size).reshape(basis.dx.shape)
    total = csr_matrix((rows.size, basis.N))
    for place in range(basis.Nbfun):
        value = np.broadcast_to(np.asarray(basis.basis[place][0]), rows.shape)
        column = np.broadcast_to(basis.element_dofs[place][:, None], rows.shape)
        total += coo_matrix((value.ravel(), (rows.ravel(), column.ravel())), shape=total.shape)
    return total.tocsr()


@dataclass
class Case:
    """A block that compound covers; solids are conductivity across, upward, heat capacity (SI)."""

    count: int  # cells each way of the quarter
    radius: float
    pitch: float
    margin: float
    wall: float
    base: float
    height: float
    depth: float  # above the cells
    compound: tuple
    cell: tuple
    shell: tuple
    plate: tuple
    films: tuple  # at the walls' outside, the free face, under the base


class Block:
    """The matrices of a case; `rise` is the height of elements, `fine` that at the tops of the cells."""

    def __init__(self, case, side=4, width=4e-3, rise=18e-3, fine=2.5e-3):
        mesh, body = quarter(case.count, case.radius, case.pitch, case.margin, case.wall, side, width)
        flat = Basis(mesh, ElementQuad2(), intorder=5)
        marks = [-case.base, 0.0, case.height - 4e-3]
        lines = np.append(spans(marks, rise), spans([marks[-1], case.height, case.depth], fine)[1:])
        up = Basis(MeshLine(lines), ElementLineP2(), intorder=5)
        middles = up.mesh.p[0][up.mesh.t].mean(axis=0)
        beside = (middles > 0.0) & (middles < case.height)
        layers = (
            (middles < 0.0, [case.plate] * 3),
            (beside, [case.compound, case.cell, case.shell]),
            (middles > case.height, [case.compound, case.compound, case.shell]),
        )
        held, passed = [], []
        for where, solids in layers:
            across, axial, capacity = (np.array([solid[part] for solid in solids])[body] for part in range(3))
            there = on(up, weighted, where)
            held.append((on(flat, weighted, capacity), there))
            passed.append((on(flat, conducts, across), there))
            passed.append((on(flat, weighted, axial), on(up, conducts, where)))
        outer = mesh.p.max()
        facets = mesh.facets_satisfying(lambda x: x.max(axis=0) > outer - 1e-9, boundaries_only=True)
        rim = FacetBasis(mesh, ElementQuad2(), facets=facets, intorder=5)
        heights = up.doflocs[0]
        side_film, top_film, below = case.films

        def tip(height):
            return csr_matrix(np.diag(np.isclose(heights, height).astype(float)))

        side_face = weighted.assemble(rim, factor=side_film * np.ones_like(rim.dx))
        films = [
            (side_face, on(up, weighted, middles > 0.0)),
            (on(flat, weighted, top_film * (body != WALL)), tip(case.depth)),
            (on(flat, weighted, below * np.ones(body.size)), tip(-case.base)),
        ]
        order = np.argsort(heights)  # upward, so that the lines are bands

        def gathered(pairs):
            return sum(kron(one, other[order][:, order]) for one, other in pairs).tocsr()

        self.mass, self.stiff = gathered(held), gathered(passed + films)
        self.film = gathered(films) @ np.ones(flat.N * up.N)
        self.shape = flat.N, up.N
        in_plane = np.repeat(body != WALL, flat.dx.shape[1])
        above = np.repeat(middles > 0.0, up.dx.shape[1])
        self.across, self.upward = at_points(flat)[in_plane], at_points(up)[:, order][above]
        in_cell = np.repeat(body == CELL, flat.dx.shape[1])[in_plane]
        reacts = ~np.outer(in_cell, np.repeat(beside, up.dx.shape[1])[above])
        self.weight = np.outer(flat.dx.ravel()[in_plane], up.dx.ravel()[above]) * reacts
        corner = mesh.p[:, mesh.t[:4]].mean(axis=1).min(axis=0) > (case.count - 1) * case.pitch
        mean = on(flat, weighted, (body == CELL) & corner) @ np.ones(flat.N)
        mean = np.outer(mean, (on(up, weighted, beside) @ np.ones(up.N))[order])
        self.corner = mean / mean.sum()
        upward = heights[order]
        beside_cells, over = np.zeros(flat.N, bool), np.zeros(flat.N, bool)
        beside_cells[flat.element_dofs[:, body == 0]] = True
        over[flat.element_dofs[:, body != WALL]] = True
        self.compound = np.outer(beside_cells, upward > -1e-9) | np.outer(over, upward > case.height - 1e-9)

    def follow(self, start, rate, heat, end, first=2.0, widest=2.0):
        """Rows (time, hottest compound, mean of the corner cell), all at `start` °C in air of that.

        `rate(degree, temperature in K)` 1/s, `heat` J/m³ of full cure.
        """
        warm, speed = np.full(self.mass.shape[0], float(start)), 0.0
        degree, now, number, rows, parts = np.zeros(self.weight.shape), 0.0, 0, [], {}
        while now < end - 1e-9:
            step = min(first * 1.05 ** (8 * (number // 8)), widest)
            theta = 1.0 if number < 4 else 0.5
            if (step, theta) not in parts:
                parts = {(step, theta): self._matrix(step, theta)}
            matrix, lines = parts[step, theta]
            before = rate(degree, self._points(warm) + KELVIN)
            known = self.mass @ warm - (1.0 - theta) * step * (self.stiff @ warm) + step * start * self.film
            after = warm + step * speed
            for _ in range(30):
                pace = theta * rate(degree, self._points(after) + KELVIN) + (1.0 - theta) * before
                new = np.clip(degree + step * pace, degree, 1.0)
                for _ in range(3):  # the degree on its own, at this temperature
                    pace = theta * rate(new, self._points(after) + KELVIN) + (1.0 - theta) * before
                    new = np.clip(degree + step * pace, degree, 1.0)
                source = self.across.T @ (heat * self.weight * (new - degree)) @ self.upward
                last, after = after, _gradients(matrix, lines, known + source.ravel(), after)
                if np.abs(after - last).max() < 1e-3:
                    break
            speed, warm, degree = (after - warm) / step, after, new
            now, number = now + step, number + 1
            field = warm.reshape(self.shape)
            rows.append((now, field[self.compound].max(), float((self.corner * field).sum())))
        return np.array(rows)

    def _points(self, field):
        return self.across @ field.reshape(self.shape) @ self.upward.T

    def _matrix(self, step, theta):
        """The matrix of a step, and its upright lines factored."""
        whole = (self.mass + theta * step * self.stiff).tocsr()
        bands = np.zeros((3, whole.shape[0]))
        for off in range(3):
            beside = whole.diagonal(off)
            crosses = np.arange(beside.size) % self.shape[1] + off >= self.shape[1]
            bands[2 - off, off:] = np.where(crosses, 0.0, beside)
        return whole, cholesky_banded(bands)


def _gradients(matrix, lines, right, guess):
    """Conjugate gradients, the upright lines on their own as preconditioner."""

    def corrected(vector):
        return cho_solve_banded((lines, False), vector)

    found, left = guess.copy(), right - matrix @ guess
    towards = corrected(left)
    direction, size = towards.copy(), left @ towards
    for _ in range(500):
        if size <= 1e-12 * (right @ corrected(right)):
            break
        ahead = matrix @ direction
        length = size / (direction @ ahead)
        found += length * direction
        left -= length * ahead
        towards = corrected(left)
        size, before = left @ towards, size
        direction = towards + size / before * direction
    return found
