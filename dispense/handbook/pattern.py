"""Patterns of paste under a plate: when dots and lines touch, cover the plate, and hold air.

The film is followed from gap to gap on a lattice: at each gap the pressure obeys ∇²p = −12μV/h³ where
the film is full and is 0 at its front and at the rim of the plate; the front moves as the film feeds it.
How the pattern spreads does not depend on force, viscosity or time, only on the gap. Air is taken to
escape, and where it cannot, that is counted. All in SI units; the plate lies at 0 … length, 0 … width.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..base.fields import number, points
from ..base.kept import kept
from ..base.numbers import EQUAL, Flags, Floats, Number
from .beads import MOTIONS
from .declare import example, out, requires, workbook_function
from .flow import squeeze_time
from .fronts import level_lines
from .spread import plate_discs

LATTICE = 40  # cells along the longer side
_NARROW = 10  # cells across the shorter side and from line to line, at least
_MOST_CELLS = 4000
_FINE = 5  # lines of points in each cell that tell how much of it the pattern covers at the start
_ARC_STEPS = 24
_TINY = 1e-30
_FURTHEST = 0.3  # of the gap that the paste would fill evenly: no joint is pressed thinner
_FRONT = 0.5  # level between a full cell and an empty one at which the front runs
_QUICKEST, _SLOWEST = 0.03, 0.001  # share of the gap that one step closes
_FILLED_A_STEP = 0.5  # share of a cell at the front that one step may fill
_RESOLVED = 8.0  # cells across a bead from which the lattice tells its force
COVERED = 0.998  # share from which a plate counts as covered: what is left is within the lattice
_TIED = 1e-6  # of a distance: as near
_SOON = 1.5  # times the nearest meeting within which fronts may meet first all the same
_SQUARE = 1e-6  # cosine from which a way does not end square on the side of a bead
_OPPOSITE = -0.5  # cosine of the angle between the ways to two stretches that meet face to face

Places = NDArray[np.intp]


def stretches(rows: Floats, words: Sequence[str] | None = None) -> Floats:
    """Stretches with material of a path, (k, 2, 2); a dot is a stretch of no length.

    `words` are line, arc (middle of an arc that ends at the next row) or travel (no material up to this
    row). A row with no material up to it and none from it is a dot.

    >>> stretches(np.array([[0.0, 0.0], [1.0, 0.0], [5.0, 5.0]]), ["line", "line", "travel"]).tolist()
    [[[0.0, 0.0], [1.0, 0.0]], [[5.0, 5.0], [5.0, 5.0]]]
    """
    flat = np.asarray(rows, dtype=float)[:, :2]
    motions = list(words) if words is not None else ["line"] * len(flat)
    found: list[tuple[Floats, Floats]] = []
    for place in range(len(flat)):
        reached = place > 0 and motions[place] != "travel"
        left = place + 1 < len(flat) and motions[place + 1] != "travel"
        if not reached and not left:
            found.append((flat[place], flat[place]))
        if motions[place] != "line" or not reached:
            continue
        if motions[place - 1] == "arc" and place > 1:
            line = _arc(flat[place - 2], flat[place - 1], flat[place])
            found += list(itertools.pairwise(line))
        else:
            found.append((flat[place - 1], flat[place]))
    return np.array(found, dtype=float).reshape(-1, 2, 2)


def _arc(start: Floats, middle: Floats, end: Floats) -> Floats:
    """Points along the circle through three points; the middle alone where they are in line."""
    a, b, c = (complex(*spot) for spot in (start, middle, end))
    turn = (c - a) / (b - a) if b != a else 0.0
    if abs(complex(turn).imag) < 1e-12:
        return np.array([start, middle, end])
    ratio = complex(turn)
    centre = a + (b - a) * (ratio - abs(ratio) ** 2) / (2j * ratio.imag)
    first = np.angle((b - centre) / (a - centre))
    last = np.angle((c - centre) / (b - centre))
    if first * last < 0.0:  # a part of more than half a circle
        first, last = (
            (first, last + np.copysign(2.0 * np.pi, first))
            if abs(first) < abs(last)
            else (first + np.copysign(2.0 * np.pi, last), last)
        )
    angles = np.linspace(0.0, first + last, _ARC_STEPS + 1)
    round_ = centre + (a - centre) * np.exp(1j * angles)
    return np.column_stack([round_.real, round_.imag])


def _nearest(spots: Floats, lines: Floats) -> tuple[Floats, Floats]:
    """Distance (m,) of spots (m, 2) from the nearest stretch, and the way to it (m, 2)."""
    best = np.full(len(spots), np.inf)
    way = np.zeros_like(spots)
    for start, end in lines:
        along = end - start
        square = float(along @ along)
        share = np.clip((spots - start) @ along / square, 0.0, 1.0) if square > 0.0 else np.zeros(len(spots))
        to = start + share[:, None] * along - spots
        apart = np.hypot(to[:, 0], to[:, 1])
        nearer = apart < best
        best = np.where(nearer, apart, best)
        way = np.where(nearer[:, None], to, way)
    return best, way


@dataclass(frozen=True, slots=True)
class Lattice:
    """Cells of a plate: how many, their size."""

    length: float
    width: float
    shape: tuple[int, int]

    @staticmethod
    def of(length: float, width: float, apart: float = np.inf) -> Lattice:
        """Cells that are nearly square, fine enough across the plate and from line to line, not too many."""
        step = min(max(length, width) / LATTICE, min(length, width) / _NARROW, apart / _NARROW)
        step = max(step, (length * width / _MOST_CELLS) ** 0.5)
        return Lattice(length, width, (max(1, round(length / step)), max(1, round(width / step))))

    @property
    def steps(self) -> tuple[float, float]:
        """Size of a cell."""
        return self.length / self.shape[0], self.width / self.shape[1]

    @property
    def cell(self) -> float:
        """Area of a cell."""
        return self.length * self.width / (self.shape[0] * self.shape[1])

    def spots(self, fine: int = 1) -> Floats:
        """Middles of the cells, or of their parts, (n, 2)."""
        sides = [
            (np.arange(count * fine) + 0.5) * size / (count * fine)
            for count, size in zip(self.shape, (self.length, self.width), strict=True)
        ]
        return np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 2)


@dataclass(slots=True)
class FilmHistory:
    """What a pattern does from gap to gap; SI units.

    Per step: gap, covered share, volume pressed out at the rim, number and radius of the equal discs
    that take the same force (`spread.plate_discs`). `touch_gap` and `cover_gap` are NaN where it does
    not come to that; `trapped` is the air closed in, each pocket at the gap at which it was closed, and
    `trapped_area` the place that the pockets took then.
    """

    gaps: list[float] = field(default_factory=list)
    covered: list[float] = field(default_factory=list)
    lost: list[float] = field(default_factory=list)
    counts: list[float] = field(default_factory=list)
    radii: list[float] = field(default_factory=list)
    touch_gap: float = np.nan
    cover_gap: float = np.nan
    last: tuple[float, float] = (np.nan, np.nan)
    trapped: float = 0.0
    trapped_area: float = 0.0
    # what it looked like, for pictures: what is reckoned with stands above
    lattice: Lattice | None = field(default=None, compare=False)
    frames: list[Floats] = field(default_factory=list, compare=False)  # how full each cell is, per step
    pockets: list[Floats] = field(default_factory=list, compare=False)  # air in cells, as it was closed in

    def front(self, gap: float) -> list[Floats]:
        """Lines (k, 2) [m] along which the film ends at a gap between the first and the last."""
        steps = -np.asarray(self.gaps)
        place = int(np.clip(np.searchsorted(steps, -gap), 1, max(1, len(steps) - 1)))
        if len(steps) == 1:
            return self._lines(self.frames[0])
        share = float(np.clip((-gap - steps[place - 1]) / (steps[place] - steps[place - 1]), 0.0, 1.0))
        return self._lines((1.0 - share) * self.frames[place - 1] + share * self.frames[place])

    def pocket_rims(self) -> list[Floats]:
        """Rings (k, 2) [m] about the air that is closed in, as it was closed."""
        return [line for pocket in self.pockets for line in self._lines(pocket)]

    def pocket_middles(self) -> Floats:
        """Middle of each pocket of air as it was closed, (k, 2) [m]."""
        from scipy.ndimage import center_of_mass, label

        found: list[Floats] = [np.zeros((0, 2))]
        if self.lattice is None:
            return found[0]
        steps = np.array(self.lattice.steps)
        for pocket in self.pockets:
            marks, count = label(pocket > 0.0, structure=np.ones((3, 3)))
            middles = center_of_mass(pocket, marks, range(1, count + 1))
            found.append((np.array(middles) + 0.5) * steps)
        return np.vstack(found)

    def _lines(self, full: Floats) -> list[Floats]:
        """Where cells are half full; the cells at the rim reach to it."""
        if self.lattice is None:
            return []
        x, y = (
            np.concatenate([[0.0], (np.arange(count) + 0.5) * size / count, [size]])
            for count, size in zip(full.shape, (self.lattice.length, self.lattice.width), strict=True)
        )
        return level_lines(np.pad(full, 1, mode="edge"), x, y, _FRONT)

    def is_covered(self) -> bool:
        """Whether the pattern came to cover the plate."""
        return bool(np.isfinite(self.cover_gap))

    def gap_of(self, share: float) -> float:
        """Gap at which a share of the plate is covered; NaN where it is not reached."""
        if share > self.covered[-1]:
            return float(np.nan)
        return float(np.interp(share, np.maximum.accumulate(self.covered), self.gaps))

    def add(self, film: _Film, covered: float, count: float, radius: float) -> None:
        """Keep what stands at the gap of the film."""
        for values, value in (
            (self.gaps, film.gap),
            (self.covered, covered),
            (self.lost, film.lost),
            (self.counts, count),
            (self.radii, radius),
        ):
            values.append(float(value))
        self.frames.append(np.minimum(film.full, 1.0))

    def end(self) -> tuple[float, float, float]:
        """Covered share, volume pressed out and air closed in at the last gap."""
        return self.covered[-1], self.lost[-1], self.trapped

    def discs(self, gap_end: float) -> tuple[Floats, Floats, Floats]:
        """Gaps down to the last, and between each two number and radius of the discs of equal force."""
        rows = np.array([self.gaps, self.counts, self.radii])
        if gap_end < self.gaps[-1]:  # the plate is full: nothing changes but the gap
            rows = np.column_stack([rows, [gap_end, self.counts[-1], self.radii[-1]]])
        between = np.sqrt(rows[1:, :-1] * rows[1:, 1:])
        return rows[0], between[0], between[1]

    def at(self, gap: float, values: Sequence[float]) -> float:
        """A value per step at a gap between the first and the last."""
        return float(np.interp(-gap, -np.asarray(self.gaps), values))


@dataclass(slots=True)
class _Film:
    """The lattice at one gap: how full each cell is (more than 1: what it must still pass on)."""

    lattice: Lattice
    gap: float
    full: Floats
    lost: float = 0.0
    closed: Flags = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def flows(self) -> tuple[float, Floats, Floats]:
        """Integral of the pressure, inflow (cells, 2) and flow over the rim (2).

        The film between full cells obeys −∇²p = 1 for a closing by the whole gap (first column) and is
        fed by what cells must pass on (second column); areas of the film stand for volumes.
        """
        from scipy.sparse import coo_matrix
        from scipy.sparse.linalg import splu

        shape, (dx, dy) = self.lattice.shape, self.lattice.steps
        wet = self.full >= 1.0
        place = np.full(shape, -1, dtype=np.intp)
        count = int(wet.sum())
        place[wet] = np.arange(count)
        diagonal, rim = np.zeros(count), np.zeros(count)
        inside: list[tuple[Places, Places, float]] = []
        fed: list[tuple[Places, Places, Floats]] = []  # wet place, flat index of the cell it feeds, ease
        flat = np.arange(wet.size).reshape(shape)
        for axis, ease in ((0, dy / dx), (1, dx / dy)):
            ends = [np.take(place, end, axis=axis) for end in (0, -1)]
            for end in ends:
                np.add.at(rim, end[end >= 0], 2.0 * ease)
            low = [np.delete(grid, -1, axis=axis).ravel() for grid in (place, flat)]
            high = [np.delete(grid, 0, axis=axis).ravel() for grid in (place, flat)]
            both = (low[0] >= 0) & (high[0] >= 0)
            inside.append((low[0][both], high[0][both], ease))
            for near, far in ((low, high), (high, low)):
                feeds = (near[0] >= 0) & (far[0] < 0)
                at = far[1][feeds]
                fed.append((near[0][feeds], at, ease / (0.5 + self.full.ravel()[at])))
        entries: list[tuple[Places, Places, Floats]] = []
        for one, two, ease in inside:
            both_ways = np.concatenate([one, two]), np.concatenate([two, one])
            entries.append((*both_ways, np.full(2 * len(one), -ease)))
            np.add.at(diagonal, both_ways[0], ease)
        for source, _, eases in fed:
            np.add.at(diagonal, source, eases)
        own = np.arange(count)
        entries.append((own, own, diagonal + rim))
        rows, columns, values = (np.concatenate(part) for part in zip(*entries, strict=True))
        table = coo_matrix((values, (rows, columns)), shape=(count, count))
        cell = self.lattice.cell
        given = np.column_stack([np.full(count, cell), cell * (self.full[wet] - 1.0)])
        found = splu(table.tocsc()).solve(given)
        inflow = np.zeros((wet.size, 2))
        for source, target, eases in fed:
            np.add.at(inflow, target, eases[:, None] * found[source])
        return float(found[:, 0].sum() * cell), inflow / cell, np.array(rim @ found)

    def roof(self) -> float:
        """Integral of the distance from the front or rim over the film.

        Films are joined where they are for `flows`: at cells that are full. A front stands in its cell as
        far as that is filled.
        """
        from scipy.ndimage import distance_transform_edt

        full = np.pad(np.minimum(self.full, 1.0), 1)
        wet, step = full >= 1.0, float(np.sqrt(self.lattice.cell))
        away, nearest = distance_transform_edt(wet, sampling=self.lattice.steps, return_indices=True)
        inside = np.maximum(away - step * (0.5 - full[tuple(nearest)]), 0.0)[wet].sum()
        at_front = (full[~wet] ** 2 * step / 2.0).sum()
        return float((inside + at_front) * self.lattice.cell)

    def close(self, inflow: Floats, over: Floats, gap_end: float) -> None:
        """Close the gap a step further, as far as the front keeps up with it."""
        wet = self.full.ravel() >= 1.0
        level = self.full.ravel()
        rate, passed = inflow.T
        room = (1.0 + _FILLED_A_STEP - level - passed)[~wet] / np.maximum((rate + level)[~wet], _TINY)
        share = float(np.clip(room.min(initial=_QUICKEST), _SLOWEST, _QUICKEST))
        share = min(share, 1.0 - gap_end / self.gap)
        self.lost += float(share * over[0] + over[1]) * self.gap
        self.gap *= 1.0 - share
        grown = (level + passed + share * rate) / (1.0 - share)
        self.full = np.where(wet, 1.0, grown).reshape(self.lattice.shape)

    def enclose(self) -> Floats:
        """Air in each cell, in pockets that were not closed before."""
        from scipy.ndimage import label

        air = self.full < 1.0
        pockets, _ = label(air, structure=np.ones((3, 3)))
        border = np.concatenate([pockets[0], pockets[-1], pockets[:, 0], pockets[:, -1]])
        closed = air & ~np.isin(pockets, border)
        new = closed & ~self.closed
        self.closed |= closed
        return np.where(new, 1.0 - self.full, 0.0)


@dataclass(frozen=True, slots=True)
class _Meeting:
    """Where the fronts of stretches first meet face to face, while paste spreads equally to each side.

    `reach` is half the way from foot to foot, infinite where none face each other; `spots` are pairs of
    places (k, 2, 2) a step apart, on the two sides of where they meet or could soon after. `is_free`: two
    beads meet along their sides, or two dots, with no rim on their other side as near.
    """

    reach: float = np.inf
    spots: Floats = field(default_factory=lambda: np.zeros((0, 2, 2)))
    is_free: bool = False


def _first_touch(lattice: Lattice, lines: Floats) -> _Meeting:
    """Where stretches first meet face to face."""
    fine = lattice.spots(_FINE)
    apart, way = _nearest(fine, lines)
    shape = (lattice.shape[0] * _FINE, lattice.shape[1] * _FINE)
    apart, way, places = apart.reshape(shape), way.reshape(*shape, 2), fine.reshape(*shape, 2)
    pairs: list[tuple[Floats, Floats, Floats]] = []  # reach, places and ways of two points a step apart
    for axis in (0, 1):
        size = shape[axis]
        step = np.zeros(2)
        step[axis] = (lattice.length, lattice.width)[axis] / size
        ends = (range(0, size - 1), range(1, size))
        one, two = (np.take(way, end, axis=axis) for end in ends)
        near, far = (np.take(apart, end, axis=axis) for end in ends)
        facing = (one * two).sum(axis=-1) < _OPPOSITE * near * far
        meets = facing & (np.minimum(near, far) > step[axis])
        # from foot to foot, past two points that are a step apart
        across = np.linalg.norm(two - one + step, axis=-1)[meets] / 2.0
        at = np.stack([np.take(places, end, axis=axis)[meets] for end in ends], axis=1)
        pairs.append((across, at, np.stack([one[meets], two[meets]], axis=1)))
    reach, spots, ways = (np.concatenate(part) for part in zip(*pairs, strict=True))
    if not len(reach):
        return _Meeting()
    best = float(reach.min())
    first = reach <= best * (1.0 + _TIED)
    is_free = any(
        all(_has_room(spot, to, lines, lattice, best) for spot, to in zip(*pair, strict=True))
        for pair in zip(spots[first], ways[first], strict=True)
    )
    return _Meeting(best, spots[reach <= best * _SOON], is_free)


def _has_room(spot: Floats, way: Floats, lines: Floats, lattice: Lattice, reach: float) -> bool:
    """Whether the way to a stretch ends at its side, or at a dot, with no rim within reach behind it."""
    foot, ahead = spot + way, way / np.linalg.norm(way)
    apart = [float(_nearest(foot[None, :], line[None])[0][0]) for line in lines]
    along = lines[int(np.argmin(apart))]
    run = along[1] - along[0]
    size = float(np.linalg.norm(run))
    if size > 0.0 and abs(float(run @ ahead)) > _SQUARE * size:
        return False
    rims = np.where(ahead > 0.0, [lattice.length, lattice.width], 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(np.abs(ahead) > _SQUARE, (rims - foot) / ahead, np.inf)
    return bool(room.min() >= reach * (1.0 - _TIED))


def _free_gap(lines: Floats, volume: float, reach: float) -> float:
    """Gap at which paste that spreads freely has come so far to each side: V/(2·r·run + π·r²·dots).

    A bead keeps its cross-section but for its ends, so that its width is that over the gap.
    """
    run, dots = _run_and_dots(lines)
    return volume / (2.0 * reach * run + np.pi * reach**2 * dots)


def _free_reach(lines: Floats, volume: float, gap: float) -> float:
    """How far paste that spreads freely has come to each side at a gap: the inverse of `_free_gap`."""
    run, dots = _run_and_dots(lines)
    area = volume / gap
    return float(area / (run + np.sqrt(run**2 + np.pi * dots * area)))


def _run_and_dots(lines: Floats) -> tuple[float, int]:
    """Length of all stretches together, and how many are dots."""
    sizes = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
    return float(sizes.sum()), int(np.count_nonzero(sizes == 0.0))


def _narrow_discs(lines: Floats, reach: float) -> tuple[float, float]:
    """Integrals of pressure and distance of dots and beads that reach so far to each side."""
    run, dots = _run_and_dots(lines)
    force = dots * np.pi * reach**4 / 8.0 + run * (2.0 * reach) ** 3 / 12.0
    return force, dots * np.pi * reach**3 / 3.0 + run * reach**2


def _film_at(lattice: Lattice, away: Floats, volume: float, gap: float) -> _Film:
    """The film at the start: every place within one distance of the pattern is full."""
    closed = np.zeros(lattice.shape, dtype=bool)
    if volume >= lattice.length * lattice.width * gap:
        over = volume - lattice.length * lattice.width * gap
        return _Film(lattice, gap, np.ones(lattice.shape), over, closed)
    reach = np.quantile(away, volume / (lattice.length * lattice.width * gap))
    parts = (away <= reach).reshape(lattice.shape[0], _FINE, lattice.shape[1], _FINE)
    full = parts.mean(axis=(1, 3))
    front = (full > 0.0) & (full < 1.0)  # takes what is rounded away, so that the volume is exact
    rest = volume / (gap * lattice.cell) - np.count_nonzero(full == 1.0)
    if front.any():
        full[front] *= max(rest, 0.0) / full[front].sum()
    return _Film(lattice, gap, full, closed=closed)


class _Met:
    """Looks from step to step whether two fronts have met: the cells between them are full."""

    def __init__(self, lattice: Lattice, spots: Floats) -> None:
        cells = np.floor(spots / np.array(lattice.steps)).astype(np.intp)
        self.cells = np.minimum(cells, np.array(lattice.shape) - 1)
        self.gap, self.fill, self.found = np.nan, 1.0, np.nan

    def look(self, film: _Film) -> float:
        """Gap at which they met [m]; NaN: not yet, or before the first look."""
        if not len(self.cells) or np.isfinite(self.found):
            return self.found
        fill = float(film.full[self.cells[..., 0], self.cells[..., 1]].min(axis=1).max())
        if fill >= 1.0 > self.fill:
            self.found = self.gap + (film.gap - self.gap) * (1.0 - self.fill) / (fill - self.fill)
        self.gap, self.fill = film.gap, fill
        return self.found


@kept
def film_history(
    lines: Floats, length: float, width: float, volume: float, gap_start: float, gap_end: float
) -> FilmHistory:
    """Follow a pattern from a gap down to another, or until it covers the plate.

    `lines` are the `stretches` of the pattern; each holds paste in proportion to its length, and dots
    hold equal amounts, so that the paste reaches equally far to each side while it spreads freely.
    """
    plate, found = length * width, FilmHistory()
    meeting = _first_touch(Lattice.of(length, width), lines)
    touch = meeting.reach
    lattice = found.lattice = Lattice.of(length, width, 2.0 * touch)
    away, _ = _nearest(lattice.spots(_FINE), lines)
    free_touch = _free_gap(lines, volume, touch) if meeting.is_free else np.inf
    if free_touch < gap_start:
        found.touch_gap = free_touch
    met = _Met(lattice, meeting.spots) if not meeting.is_free else None
    film = _film_at(lattice, away, volume, gap_start)
    wetted = np.where(film.full >= 1.0, gap_start, 0.0)  # gap at which each cell was first full
    while True:
        covered = float(np.minimum(film.full, 1.0).mean())
        wet = film.full >= 1.0
        air = film.enclose()
        if air.any():
            found.pockets.append(air)
        pocket = float(air.sum() * lattice.cell)
        found.trapped_area += pocket
        found.trapped += pocket * film.gap
        force, inflow, over = film.flows() if wet.any() else (0.0, np.zeros((wet.size, 2)), np.zeros(2))
        if met is not None:
            found.touch_gap = met.look(film)
        # no film is joined with another before they touch, however coarse the lattice
        is_apart = free_touch * (1.0 - EQUAL) <= film.gap
        reach = _free_reach(lines, volume, film.gap)
        if not meeting.is_free:
            reach = float(np.quantile(away, min(1.0, volume / (plate * film.gap))))
        is_coarse = 2.0 * reach < _RESOLVED * max(*lattice.steps)
        is_narrow = is_apart if meeting.is_free else reach < touch and is_coarse
        if is_narrow or force == 0.0:
            force, roof = _narrow_discs(lines, reach)
        else:
            roof = film.roof()
        radius = 8.0 * force / (3.0 * roof)
        count = 3.0 * roof / (np.pi * radius**3)
        is_covered = covered >= COVERED
        if is_covered:
            covered = 1.0
            count, radius = (float(value) for value in plate_discs(length, width))
        found.add(film, covered, count, radius)
        if is_covered:
            found.cover_gap = film.gap
            latest = np.unravel_index(int(np.argmin(wetted + 1e-9 * film.full)), lattice.shape)
            spot = [(place + 0.5) * step for place, step in zip(latest, lattice.steps, strict=True)]
            found.last = (float(spot[0]), float(spot[1]))
        if is_covered or film.gap <= gap_end * (1.0 + 1e-9):
            return found
        film.close(inflow, over, free_touch if gap_end < free_touch < film.gap * (1.0 - EQUAL) else gap_end)
        wetted = np.where((film.full >= 1.0) & (wetted == 0.0), film.gap, wetted)


def _row_by_row(results: int, tell: Callable[..., tuple[float, ...]], *given: Number) -> tuple[Number, ...]:
    """What a lattice tells of each row of the arguments; one lattice serves one row."""
    columns = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in given))
    told = [tell(*(float(value) for value in row)) for row in zip(*(c.ravel() for c in columns), strict=True)]
    table = np.array(told, dtype=float).reshape(-1, results).T
    return tuple(row.reshape(columns[0].shape)[()] for row in table)


# ------------------------------------------------------------------------------ workbook functions

_POINTS = points(
    "points",
    "mm",
    "pattern on the plate from its corner: x, y and, as in PATH_LENGTH, line, arc or travel",
    choices=MOTIONS,
)
_LENGTH = number("length", "mm", "length of the plate, along x", above=0)
_WIDTH = number("width", "mm", "width of the plate, along y", above=0)
_VOLUME = number("volume", "mL", "paste of the whole pattern", above=0)
_START = number("gap_start", "mm", "gap at which the plate meets the pattern", above=0)
_FILM = (
    "Reynolds' film equation with a free front (Hele-Shaw flow), solved cell by cell; O. Reynolds 1886, "
    "H. S. Hele-Shaw 1898 (from memory)"
)
_VALID = (
    "thin film of constant viscosity, flat parallel plate, paste in proportion to the length of each line, "
    "equal dots; a row that is neither reached nor left with material is a dot. Air is taken to escape, "
    "what is closed in is counted. Shear-thinning paste keeps its shape nearly; a stiff yield stress does "
    "not. A lattice of some 40 cells: coverage within about 1 %"
)
_ON_PLATE = requires(lambda points: len(points) > 0, "points", "one point or more")
_CLOSES = requires(lambda gap_start, gap_end: gap_end <= gap_start, "gap_end", "gap_start or less")


@workbook_function(
    category="Spreading",
    arguments=(_POINTS, _LENGTH, _WIDTH, _VOLUME, _START, number("gap_end", "mm", "gap to look at", above=0)),
    returns=(
        out("covered", "", "share of the plate that is wetted"),
        out("pressed_out", "mL", "paste that has left at the rim"),
        out("trapped", "mL", "air closed in on the way, as large as when it was closed in"),
    ),
    equation="∇²p = −12μV/h³ in the film, p = 0 at its front and at the rim; the front moves with the film",
    source=_FILM,
    valid=_VALID,
    requires=(_ON_PLATE, _CLOSES),
    examples=(
        example(
            ([[20, 20]], 40, 40, 0.12, 2, 0.3),
            (0.25, 0.0, 0.0),
            "one dot that has not come to the rim: 120/0.3 of 1600 mm², by hand",
            5e-3,
        ),
    ),
)
def pattern_cover(
    points: Floats,
    length: Number,
    width: Number,
    volume: Number,
    gap_start: Number,
    gap_end: Number,
    labels: Sequence[str] | None = None,
) -> tuple[Number, ...]:
    """Share of a plate that a pattern covers at a gap, what left it, and the air it holds.

    >>> dot = np.array([[20e-3, 20e-3]])
    >>> round(float(pattern_cover(dot, 40e-3, 40e-3, 120e-9, 2e-3, 0.3e-3)[0]), 2)
    0.25
    """
    lines = stretches(points, labels)
    return _row_by_row(
        3, lambda *row: film_history(lines, *row).end(), length, width, volume, gap_start, gap_end
    )


@workbook_function(
    category="Spreading",
    arguments=(
        _POINTS,
        _LENGTH,
        _WIDTH,
        _VOLUME,
        _START,
        number("share", "", "share of the plate that is asked for", default=0.99, above=0, at_most=1),
    ),
    returns=(
        out("touch_gap", "mm", "gap at which dots or lines first meet face to face"),
        out("cover_gap", "mm", "gap at which that share is covered"),
        out("last_x", "mm", "place that fills last"),
        out("last_y", "mm", "the same, across"),
    ),
    equation="as PATTERN_COVER, down to 0.3 of the gap that the paste would fill evenly",
    source=_FILM,
    valid=_VALID,
    no_answer="a single dot or line meets no other; a pattern far from a corner may never fill it",
    requires=(_ON_PLATE,),
    examples=(
        example(
            ([[24, 19, "line"], [38, 19, "travel"]], 60, 40, 0.3, 2, 0.2),
            (300 / 98 / np.pi, 300 / 480, 0.698, 39.31),
            "two drops of radius 7 mm; a fifth of 2400 mm²; the farthest corner; by hand",
            0.02,
        ),
    ),
)
def pattern_fill(
    points: Floats,
    length: Number,
    width: Number,
    volume: Number,
    gap_start: Number,
    share: Number = 0.99,
    labels: Sequence[str] | None = None,
) -> tuple[Number, ...]:
    """Gaps at which a pattern touches and covers a plate, and the place that fills last.

    >>> dots = np.array([[10e-3, 20e-3], [30e-3, 20e-3]])
    >>> found = pattern_fill(dots, 40e-3, 40e-3, 120e-9, 2e-3, 0.5, ["travel", "travel"])
    >>> [round(float(value) * 1e3, 2) for value in found[:2]]
    [0.19, 0.14]
    """
    lines = stretches(points, labels)

    def tell(length: float, width: float, volume: float, gap: float, share: float) -> tuple[float, ...]:
        end = min(gap, _FURTHEST * volume / (length * width))
        found = film_history(lines, length, width, volume, gap, end)
        return found.touch_gap, found.gap_of(share), *found.last

    return _row_by_row(4, tell, length, width, volume, gap_start, share)


@workbook_function(
    category="Spreading",
    arguments=(
        number("force", "N", "force on the plate, constant", above=0),
        _POINTS,
        _LENGTH,
        _WIDTH,
        _VOLUME,
        _START,
        number("gap_end", "mm", "gap to reach", above=0),
        number("consistency", "Pa·sⁿ", "stress at a shear rate of 1/s; viscosity where n = 1", above=0),
        number("index", "", "flow index n; below 1 thins under shear", default=1.0, above=0),
    ),
    returns=(out("time", "s", "time from the first gap to the second"),),
    equation="Σ SQUEEZE_TIME of the discs that take the same force as the film at each gap, under F/N each",
    source=_FILM,
    rule="lattice and discs: some 5 % for a viscous paste, 10 % and more while beads are narrow",
    valid=_VALID + "; no yield stress",
    requires=(_ON_PLATE, _CLOSES),
    no_answer="the time is beyond any number",
    examples=(
        example(
            (50, [[20, 20]], 40, 40, 0.1, 1, 0.2, 10),
            0.148969,
            "a free drop, 3μV²/(8πF)·(1/h₁⁴ − 1/h₀⁴), by hand",
            0.05,
        ),
    ),
)
def pattern_time(
    force: Number,
    points: Floats,
    length: Number,
    width: Number,
    volume: Number,
    gap_start: Number,
    gap_end: Number,
    consistency: Number,
    index: Number = 1.0,
    labels: Sequence[str] | None = None,
) -> Number:
    """Time to press a pattern under a plate from one gap to another.

    >>> dot = np.array([[20e-3, 20e-3]])
    >>> round(float(pattern_time(50.0, dot, 40e-3, 40e-3, 100e-9, 1e-3, 0.2e-3, 10.0)), 2)
    0.15
    """
    lines = stretches(points, labels)

    def tell(
        force: float,
        length: float,
        width: float,
        volume: float,
        gap_start: float,
        gap_end: float,
        consistency: float,
        index: float,
    ) -> tuple[float]:
        gaps, counts, radii = film_history(lines, length, width, volume, gap_start, gap_end).discs(gap_end)
        times = squeeze_time(force / counts, radii, gaps[:-1], gaps[1:], consistency, index)
        return (float(np.sum(times)),)

    given = (force, length, width, volume, gap_start, gap_end, consistency, index)
    return _row_by_row(1, tell, *given)[0]


__all__ = [
    "COVERED",
    "FilmHistory",
    "Lattice",
    "film_history",
    "pattern_cover",
    "pattern_fill",
    "pattern_time",
    "stretches",
]
