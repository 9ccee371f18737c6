"""Spreading and filling against check values, limits and independent numerical methods.

Check values without another word were computed for the purpose by two independent methods each (series
and finite elements, quadrature and closed form, polygons and formulas).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from handbook import check_example, examples_of
from scipy import integrate, optimize
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import spsolve

from dispense.handbook import fill, flow, fronts, pattern, spread

mm, um = 1e-3, 1e-6
GRAVITY = 9.80665  # m/s², CGPM 1901


@pytest.mark.parametrize(("name", "example"), examples_of("Spreading", "Filling"))
def test_examples(name, example):
    if not name.startswith("PATTERN"):
        check_example(name, example)


# ------------------------------------------------------------------------------------- plates


def mesh(x, y):
    """Triangles of a lattice of points x, y (2-D): corners, areas, gradients of the shape functions."""
    place = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:]))
    corners = np.vstack([np.c_[a, b, c], np.c_[a, c, d]])
    px, py = x.ravel()[corners], y.ravel()[corners]
    gx = np.stack([py[:, 1] - py[:, 2], py[:, 2] - py[:, 0], py[:, 0] - py[:, 1]], 1)
    gy = np.stack([px[:, 2] - px[:, 1], px[:, 0] - px[:, 2], px[:, 1] - px[:, 0]], 1)
    twice = np.abs(gx[:, 0] * gy[:, 1] - gy[:, 0] * gx[:, 1])
    return corners, twice / 2.0, gx / twice[:, None], gy / twice[:, None]


def film(x, y, free, index=1.0):
    """∫p dA and area of a film with flux |∇p|^(1/n) along −∇p, div flux = 1; linear elements."""
    corners, areas, gx, gy = mesh(x, y)
    stiff = (gx[:, :, None] * gx[:, None, :] + gy[:, :, None] * gy[:, None, :]) * areas[:, None, None]
    rows, columns = np.repeat(corners, 3, 1).ravel(), np.tile(corners, (1, 3)).ravel()
    load = np.bincount(corners.ravel(), np.repeat(areas / 3.0, 3))
    ease, before = np.ones(len(corners)), math.inf
    while True:
        table = csr_matrix(((stiff * ease[:, None, None]).ravel(), (rows, columns)))
        pressure = np.zeros(x.size)
        pressure[free] = spsolve(table[free][:, free].tocsc(), load[free])
        total = float(load @ pressure)
        if abs(total - before) <= 1e-6 * total:
            return total, areas.sum()
        flux = ease * np.hypot((gx * pressure[corners]).sum(1), (gy * pressure[corners]).sum(1))
        ease, before = np.sqrt(ease * np.maximum(flux, 1e-9) ** (1.0 - index)), total


def plate_film(aspect, index, cells):
    x, y = np.meshgrid(
        np.linspace(0.0, aspect, round(cells * min(aspect, 4.0)) + 1),
        np.linspace(0.0, 1.0, cells + 1),
        indexing="ij",
    )
    free = (x > 0.0) & (x < aspect) & (y > 0.0) & (y < 1.0)
    return film(x, y, free.ravel(), index)[0]


def test_torsion_factor():
    """β of rectangular bars: series and finite elements; the table of Timoshenko (from memory) beside."""
    found = spread.plate_factor(np.array([1.0, 1.5, 2.0, 3.0, 10.0]), 1.0)
    values = [0.140577015, 0.1957607089, 0.2286816771, 0.263316931, 0.3123250375]
    assert found == pytest.approx(values, rel=1e-8)
    assert found == pytest.approx([0.1406, 0.196, 0.229, 0.263, 0.312], abs=5.1e-4)
    assert spread.plate_factor(1e9, 1.0) == pytest.approx(1.0 / 3.0, rel=1e-8)
    assert spread.plate_factor(2.0, 5.0) == spread.plate_factor(5.0, 2.0)
    for aspect in (1.0, 3.0):
        coarse, fine = (plate_film(aspect, 1.0, cells) for cells in (24, 48))
        # ∫p dA of ∇²p = −1 is β·l·w³/4; the error falls with the square of the mesh
        assert spread.plate_factor(aspect, 1.0) * aspect / 4.0 == pytest.approx(
            fine + (fine - coarse) / 3.0, rel=2e-4
        )


@pytest.mark.parametrize("index", [0.5, 1.5])
@pytest.mark.parametrize("aspect", [1.0, 4.0])
def test_discs_press_like_a_plate_of_any_index(aspect, index):
    """A power-law film under a plate by finite elements against the equal discs: 2 %, as is said."""
    count, radius = spread.plate_discs(aspect, 1.0)
    discs = count * math.pi * radius ** (index + 3.0) / (2.0**index * (index + 3.0))  # ∫πr²·(r/2)ⁿ dr
    coarse, fine = (plate_film(aspect, index, cells) for cells in (20, 40))
    assert discs == pytest.approx(fine + (fine - coarse) / 3.0, rel=0.025)


def test_plate_between_its_limits():
    """A yield stress stops a plate under the volume of a roof of slope 2τ₀/h over it (summed here)."""
    length, width, yield_stress = 0.07, 0.03, 250.0
    gap = spread.plate_squeeze_limit(120.0, length, width, yield_stress)
    x, y = np.meshgrid((np.arange(700) + 0.5) * 1e-4, (np.arange(300) + 0.5) * 1e-4)
    roof = np.minimum.reduce([x, length - x, y, width - y]).sum() * 1e-8
    assert 2.0 * yield_stress / gap * roof == pytest.approx(120.0, rel=1e-4)
    # a long plate is a strip: Scott's law per length, for any index
    for index in (0.5, 1.0):
        strip = flow.strip_squeeze_time(500.0, width, 1e-3, 0.2e-3, 40.0, index)
        plate = spread.plate_squeeze_time(500.0 * 60.0, 60.0, width, 1e-3, 0.2e-3, 40.0, index)
        assert plate == pytest.approx(strip, rel=2e-3 if index == 1.0 else 0.03)
    # as wide as long, and no faster than the round plate of the same area
    round_ = flow.squeeze_time(100.0, math.sqrt(9e-4 / math.pi), 1e-3, 0.2e-3, 10.0)
    assert 0.87 < spread.plate_squeeze_time(100.0, 0.03, 0.03, 1e-3, 0.2e-3, 10.0) / round_ < 0.89


# ------------------------------------------------------------------------------------ patterns


def rows_of(*lines):
    """A path of separate lines: points in metres, and their motions."""
    points, words = [], []
    for line in lines:
        points += line
        words += ["travel", *["line"] * (len(line) - 1)]
    return np.array(points, dtype=float) * mm, words


def history(rows, words, length, width, volume, start, end):
    lines = pattern.stretches(rows, words)
    return pattern.film_history(lines, length * mm, width * mm, volume * 1e-9, start * mm, end * mm)


def parallel(count, pitch, width, length):
    first = (width - (count - 1) * pitch) / 2.0
    return rows_of(*([[0.0, first + pitch * row], [length, first + pitch * row]] for row in range(count)))


def test_stretches_of_a_path():
    rows, words = rows_of([[0, 0], [10, 0], [10, 5]], [[3, 3]])
    lines = pattern.stretches(rows, words)
    assert np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).tolist() == pytest.approx([0.01, 0.005, 0.0])
    # half a circle of radius 5 through its top, and three quarters of one: chords of 24 parts, by hand
    for middle, end, sweep in (([5, 5], [10, 0], math.pi), ([10, 0], [5, -5], 1.5 * math.pi)):
        lines = pattern.stretches(np.array([[0, 0], middle, end], dtype=float), ["line", "arc", "line"])
        chord = 2.0 * 5.0 * math.sin(sweep / 48.0)
        assert np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) == pytest.approx(np.full(24, chord))


def test_one_dot_is_a_drop():
    """Until it comes to the rim: area V/h by hand, time 3μV²/(8πF)·(1/h₁⁴ − 1/h₀⁴) by hand."""
    found = history(np.array([[0.02, 0.02]]), None, 40, 40, 120, 2, 0.12)
    assert math.isnan(found.touch_gap) and found.trapped == 0.0 and found.lost[-1] == 0.0
    for gap in (1.0, 0.5, 0.2):
        assert found.at(gap * mm, found.covered) == pytest.approx(120 / gap / 1600, rel=0.01)
    time = pattern.pattern_time(50.0, np.array([[0.02, 0.02]]), 0.04, 0.04, 100e-9, 1e-3, 0.2e-3, 10.0)
    drop = 3 * 10 * (100e-9) ** 2 / (8 * math.pi * 50.0) * (1 / 0.2e-3**4 - 1 / 1e-3**4)
    assert time == pytest.approx(drop, rel=0.03)


def test_parallel_beads_touch_and_cover():
    """Five beads of 3 mm² on a pitch of 8 mm touch at 3/8 mm after the time of single beads (closed form)."""
    rows, words = parallel(5, 8, 48, 100)
    found = history(rows, words, 100, 48, 1500, 1.5, 0.3)
    assert found.touch_gap == pytest.approx(0.375 * mm, rel=0.01)
    assert found.at(0.5 * mm, found.covered) == pytest.approx(5 * 3 / 0.5 / 48, rel=0.02)
    time = pattern.pattern_time(300.0, rows, 0.1, 0.048, 1.5e-6, 1.5e-3, 0.375e-3, 150.0, labels=words)
    assert time == pytest.approx(0.1818666667, rel=0.03)
    # what is on the plate and what has left is what was put on
    left = found.covered[-1] * 0.1 * 0.048 * found.gaps[-1]
    assert left + found.lost[-1] == pytest.approx(1500e-9, rel=2e-3)


@pytest.mark.parametrize(("pitch", "ends"), [(18, (8, 82)), (19, (8, 82)), (20, (8, 82)), (18, (0, 90))])
def test_beads_that_end_inside_the_plate_touch_in_their_middle(pitch, ends):
    """Far from its ends a strip keeps its cross-section: it touches at A/s, after μA³L/(5F)·(1/h₁⁵ − 1/h₀⁵).

    By hand, Reynolds' film of long strips, whatever of the paste flows out at the ends.
    """
    length, force, viscosity = (ends[1] - ends[0]) * mm, 400.0, 80.0
    rows, words = rows_of(*([[ends[0], y], [ends[1], y]] for y in (30 - pitch, 30, 30 + pitch)))
    volume = 1571.4e-9
    area = volume / (3 * length)
    touch = area / (pitch * mm)
    found = history(rows, words, 90, 60, 1571.4, 4.0, 0.1)
    assert found.touch_gap == pytest.approx(touch, rel=1e-6)
    given = (force, rows, 0.09, 0.06, volume, 4e-3, touch, viscosity)
    by_hand = viscosity * area**3 * 3 * length / (5 * force) * (1 / touch**5 - 1 / 4e-3**5)
    assert pattern.pattern_time(*given, labels=words) == pytest.approx(by_hand, rel=5e-3)


def test_beads_near_the_rim_touch_later():
    """A strip whose one front lies at the rim grows with h^−½, by hand: two beads 6 mm from it, 28 mm apart.

    They come to the rim at A/12 mm; from there they meet in the middle, 20 mm from it, (12/20)² deeper.
    """
    rows, words = rows_of(*([[0, y], [80, y]] for y in (6, 34)))
    found = history(rows, words, 80, 40, 2 * 6 * 80, 2.0, 0.1)
    assert found.touch_gap == pytest.approx(0.18 * mm, rel=0.05)


def test_beads_that_nearly_touch_are_still_beads():
    """Their roof is that of five strips, L·w²/4 with w = V/(5Lh) by hand; joined, it is that of the plate."""
    rows, words = rows_of(*([[8, y], [72, y]] for y in (6, 18, 30, 42, 54)))
    found = history(rows, words, 80, 60, 2304, 2.5, 0.16)
    roofs = [count * math.pi * size**3 / 3.0 for count, size in zip(found.counts, found.radii, strict=True)]
    seen = 0
    for gap, roof in zip(found.gaps, roofs, strict=True):
        if 0.59 * mm < gap < 0.65 * mm:  # cells between two beads are more than half full, none is full
            width = 2304e-9 / (5 * 0.064 * gap)
            assert roof == pytest.approx(5 * 0.064 * width**2 / 4.0, rel=0.15)
            seen += 1
    assert seen > 1
    assert roofs[-1] == pytest.approx(0.06**2 * (3 * 0.08 - 0.06) / 12.0, rel=0.02)  # heap of sand


def test_a_ring_traps_what_it_encloses():
    """A closed ring shut in its own inside at once: (24 − its width)² by its gap, by hand."""
    rows, words = rows_of([[8, 8], [32, 8], [32, 32], [8, 32], [8, 8]])
    found = history(rows, words, 40, 40, 300, 1.5, 0.3)
    width = 300 / 1.5 / 96
    assert found.trapped == pytest.approx((24 - width) ** 2 * 1.5e-9, rel=0.05)
    # the same with one side left open traps next to nothing before it covers
    rows, words = rows_of([[8, 8], [32, 8], [32, 32], [8, 32]])
    opened = history(rows, words, 40, 40, 300, 1.5, 0.3)
    assert opened.trapped < 0.1 * found.trapped


def test_four_dots_enclose_what_geometry_says():
    """Four equal dots in a square, just touching, enclose (4 − π)r²h; lattice cells are 1/10 of the pitch."""
    rows, words = rows_of([[14, 14]], [[26, 14]], [[26, 26]], [[14, 26]])
    volume = 4 * math.pi * 36 * 0.4  # touch at 0.4 mm with radius 6
    found = history(rows, words, 40, 40, volume, 1.2, 0.3)
    assert found.touch_gap == pytest.approx(0.4 * mm, rel=0.02)
    assert found.trapped == pytest.approx(12.36106579e-9, rel=0.25)


def ring_area(line):
    """Area within a closed line (shoelace formula)."""
    assert np.array_equal(line[0], line[-1])
    x, y = line.T
    return abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2.0


def test_lines_of_a_level():
    """A cone, of which each level is a circle; a saddle x·y, whose mean says which corners are joined."""
    x, y = np.linspace(-3, 3, 61), np.linspace(-3, 3, 41)
    cone = 3.0 - np.hypot(x[:, None], y[None, :])
    (line,) = fronts.level_lines(cone, x, y, 1.0)
    assert np.hypot(*line.T) == pytest.approx(np.full(len(line), 2.0), abs=0.01)
    assert ring_area(line) == pytest.approx(4.0 * math.pi, rel=3e-3)
    assert fronts.level_lines(cone, x, y, 5.0) == []
    saddle, ends = np.array([[1.0, 0.0], [0.0, 1.0]]), np.array([0.0, 1.0])
    for level in (0.4, 0.6):
        lines = fronts.level_lines(saddle, ends, ends, level)
        # under the mean of 0.5 the full corners are joined and the empty ones cut off, over it the full ones
        cut = sorted(float(abs(np.prod(line[0] - line[1]))) for line in lines)
        assert len(lines) == 2 and cut == pytest.approx([(1 - level if level > 0.5 else level) ** 2] * 2)


def test_the_front_of_a_drop_is_a_circle_and_of_beads_a_strip():
    """r = √(V/(πh)) by hand; between the ends a bead reaches A/(2h) to each side."""
    found = history(np.array([[0.02, 0.02]]), None, 40, 40, 120, 2, 0.12)
    for gap in (1.0, 0.5, 0.2):
        (line,) = found.front(gap * mm)
        radius = math.sqrt(120 / gap / math.pi) * mm
        assert np.hypot(*(line - 0.02).T) == pytest.approx(np.full(len(line), radius), abs=0.6 * mm)
        assert ring_area(line) == pytest.approx(math.pi * radius**2, rel=0.05)
    rows, words = parallel(5, 8, 48, 100)
    found = history(rows, words, 100, 48, 1500, 1.5, 0.3)
    sides = np.vstack([line[np.abs(line[:, 0] - 0.05) < 0.03] for line in found.front(0.5 * mm)])
    for middle in (8.0, 16.0, 24.0, 32.0, 40.0):
        apart = np.abs(sides[:, 1] / mm - middle)
        near = apart[apart < 4.0]
        assert len(near) > 20 and near == pytest.approx(np.full(len(near), 3.0 / (2.0 * 0.5)), abs=0.4)
    assert found.pocket_rims() == []


def test_air_is_drawn_where_it_is_closed_in():
    """The inside of a closed ring, (24 − its width)² by hand, about its middle."""
    rows, words = rows_of([[8, 8], [32, 8], [32, 32], [8, 32], [8, 8]])
    found = history(rows, words, 40, 40, 300, 1.5, 0.3)
    (rim,) = found.pocket_rims()
    assert ring_area(rim) == pytest.approx(((24 - 300 / 1.5 / 96) * mm) ** 2, rel=0.07)
    assert rim[:-1].mean(axis=0) == pytest.approx([0.02, 0.02], abs=0.5 * mm)
    assert found.pocket_middles() == pytest.approx(np.array([[0.02, 0.02]]), abs=0.1 * mm)
    # four dots in a square: in the middle of them, by symmetry
    rows, words = rows_of([[14, 14]], [[26, 14]], [[26, 26]], [[14, 26]])
    found = history(rows, words, 40, 40, 4 * math.pi * 36 * 0.4, 1.2, 0.3)
    assert found.pocket_middles() == pytest.approx(np.array([[0.02, 0.02]]), abs=0.1 * mm)


def test_last_place_and_force():
    """Off the middle the far corner is last; a full plate presses as torsion says."""
    found = history(np.array([[0.012, 0.014]]), None, 40, 30, 400, 2, 0.05)
    assert found.last[0] > 38 * mm and found.last[1] > 28 * mm
    count, radius = spread.plate_discs(0.04, 0.03)
    assert (found.counts[-1], found.radii[-1]) == pytest.approx((count, radius))
    # the lattice comes there by itself: Newtonian force N·R⁴ of the step before it is called full
    assert found.counts[-2] * found.radii[-2] ** 4 == pytest.approx(count * radius**4, rel=0.02)
    assert found.gap_of(0.9) > found.gap_of(0.95) > found.cover_gap


# ------------------------------------------------------------------------------------- filling


def test_capillary_front_against_its_own_speed():
    """t = ∫dz/v with v = k/μ·(p − ρgz)/z, by quadrature; the limits of no gravity and of standing still."""
    tube = {"size": 0.08 * mm, "shape": "tube", "surface_tension": 0.03, "contact_angle": math.radians(25.0)}
    pull, ease = 4 * 0.03 * math.cos(math.radians(25.0)) / (0.08 * mm), (0.08 * mm) ** 2 / 32
    for slope in (-90.0, -20.0, 0.0, 40.0, 90.0):
        weight = 1150.0 * GRAVITY * math.sin(math.radians(slope))
        expected = integrate.quad(lambda z, w=weight: 0.8 * z / (ease * (pull - w * z)), 0.0, 0.05)[0]
        found = fill.capillary_time(0.05, viscosity=0.8, density=1150.0, slope=math.radians(slope), **tube)
        assert found == pytest.approx(expected, rel=1e-9)
    height = fill.capillary_height(density=1150.0, **tube)
    assert height == pytest.approx(120.5447927 * mm, rel=1e-9)
    up = math.pi / 2.0
    assert math.isnan(fill.capillary_time(height * 1.0001, viscosity=0.8, density=1150.0, slope=up, **tube))
    assert fill.capillary_time(height * 0.9999, viscosity=0.8, density=1150.0, slope=up, **tube) > 0.0


@pytest.mark.parametrize(("layout", "wedge"), [("square", math.pi / 4), ("hexagonal", math.pi / 6)])
@pytest.mark.parametrize("ratio", [1.0001, 20 / 18.4, 2.0])
def test_permeability_between_cells_by_finite_elements(layout, wedge, ratio):
    """∇²w = −1 between the cells, w = 0 on them, no shear on the lines between, linear elements."""
    ease = []
    for cells in (30, 60):
        angle, share = np.meshgrid(
            np.linspace(0.0, wedge, cells + 1), np.linspace(0.0, 1.0, cells + 1), indexing="ij"
        )
        radius = 1.0 + (ratio / np.cos(angle) - 1.0) * share
        total, area = film(radius * np.cos(angle), radius * np.sin(angle), (share > 0.0).ravel())
        ease.append(total / area)
    best = ease[1] + (ease[1] - ease[0]) / 3.0
    assert fill.cell_permeability(2.0, 2.0 * ratio, layout) == pytest.approx(best, rel=2e-4)


def test_permeability_far_apart():
    """J. E. Drummond, M. I. Tahir, Int. J. Multiphase Flow 10 (1984) 515 (from memory), dilute rods."""
    for layout, constant, cell in (("square", 1.476, 1.0), ("hexagonal", 1.498, 2.0 / math.sqrt(3.0))):
        full = math.pi / 4.0 / 16.0 * cell
        rods = (-math.log(full) - constant + 2.0 * full - full**2 / 2.0) / (4.0 * full)
        assert fill.cell_permeability(2.0, 8.0, layout) * (1.0 - full) == pytest.approx(rods, rel=1e-3)


def test_cells_fill_up_only_as_high_as_the_head():
    pack = {"diameter": 18.4 * mm, "pitch": 20 * mm, "viscosity": 2.0, "density": 1200.0}
    assert math.isnan(fill.cell_fill_time(0.05, way="up", head=0.049, **pack))
    slow, fast = (fill.cell_fill_time(0.05, way="up", head=head, **pack) for head in (0.0501, 0.2))
    assert slow > fast > 0.0
    # the pull of wetted cells helps: γ·cosθ·πd/(free area) of one cell, against the same pressure as head
    free = math.sqrt(3.0) / 2.0 * (20 * mm) ** 2 - math.pi / 4.0 * (18.4 * mm) ** 2
    head = 0.03 * math.pi * 18.4 * mm / free / (1200.0 * GRAVITY)
    wetted = fill.cell_fill_time(0.05, surface_tension=0.03, **pack)
    assert wetted == pytest.approx(fill.cell_fill_time(0.05, head=head, **pack), rel=1e-9)


def test_bubbles_and_voids():
    # root of (p₂ + 2γ/r)r³ = (p₁ + 2γ/r₁)r₁³ by bracketing
    kept = (101325.0 + 2 * 0.03 / 0.3e-3) * 0.3e-3**3
    root = optimize.brentq(lambda r: (1000.0 + 2 * 0.03 / r) * r**3 - kept, 1e-4, 1e-2, xtol=1e-15)
    diameter, ratio = fill.void_growth(0.6 * mm, 101325.0, 1000.0, 0.03)
    assert diameter == pytest.approx(2.0 * root, rel=1e-10) and ratio == pytest.approx((root / 0.3e-3) ** 3)
    back = fill.void_growth(diameter, 1000.0, 101325.0, 0.03)[0]
    assert back == pytest.approx(0.6 * mm, rel=1e-12)
    assert fill.bubble_speed(1.5 * mm, 1150.0, 4.0) == pytest.approx(0.5286397266 * mm, rel=1e-9)
    size = fill.bubble_size(0.03, 600.0, 1150.0, 4.0, "rigid")
    assert fill.bubble_speed(size, 1150.0, 4.0, "rigid") * 600.0 == pytest.approx(0.03, rel=1e-12)


def test_settling():
    speed = fill.settling_speed(55 * um, 250.0, 1120.0, 3.5, 0.25)
    assert speed * 28800.0 == pytest.approx(-3.09636479 * mm, rel=1e-9)
    reynolds = 1120.0 * abs(fill.settling_speed(55 * um, 250.0, 1120.0, 3.5)) * 55 * um / 3.5
    assert reynolds == pytest.approx(7.210035873e-9, rel=1e-8)
    assert fill.settling_speed(55 * um, 250.0, 1120.0, 3.5, 0.25, 0.5) == 0.0  # 0.048·0.469 Pa hold it
    assert fill.settling_speed(0.1, 2600.0, 1000.0, 1.0) > 0.0


@pytest.mark.parametrize("fraction", [0.1, 0.25, 0.45])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_standing_keeps_its_spheres(fraction, sign):
    """Layers laid out cell by cell, 20,000 to the height: the halves' means and the mass."""
    height, speed = 0.2, sign * 2e-7
    cells = (np.arange(20_000) + 0.5) * height / 20_000  # from where the spheres leave
    for time in (0.0, 1e5, 3e5, 6e5, 1e8):
        clear = min(2e-7 * time, height * (1.0 - fraction / 0.64))
        packed = clear * fraction / (0.64 - fraction)
        share = np.where(cells < clear, 0.0, np.where(cells > height - packed, 0.64, fraction))
        halves = 1120.0 - 870.0 * np.array([share[:10_000].mean(), share[10_000:].mean()])
        bottom, top, _ = fill.standing_density(time, height, speed, fraction, 250.0, 1120.0)
        expected = halves if sign < 0.0 else halves[::-1]  # rising spheres leave the bottom
        assert (bottom, top) == pytest.approx(tuple(expected), abs=0.03)  # half a cell of 0.64·870
        assert bottom + top == pytest.approx(2.0 * (1120.0 - 870.0 * fraction), rel=1e-12)
    wait = fill.stir_time(height, speed, fraction, 250.0, 1120.0, 0.01)
    bottom, top, _ = fill.standing_density(wait, height, speed, fraction, 250.0, 1120.0)
    assert abs(bottom - top) / (1120.0 - 870.0 * fraction) == pytest.approx(0.01, rel=1e-9)
    assert math.isnan(fill.stir_time(height, speed, fraction, 1110.0, 1120.0, 0.2))


def test_sag():
    assert fill.sag_height(120.0, 1350.0) == pytest.approx(9.064144115 * mm, rel=1e-9)
    assert fill.sag_speed(9.06 * mm, 1350.0, 200.0, 0.5, 120.0) == 0.0
    for index, slope in ((1.0, 90.0), (0.4, 35.0)):
        weight = 1350.0 * GRAVITY * math.sin(math.radians(slope))

        def rate(y, n=index, w=weight):
            return max(w * (20 * mm - y) - 60.0, 0.0) ** (1.0 / n) / 200.0 ** (1.0 / n)

        expected = integrate.quad(rate, 0.0, 20 * mm - 60.0 / weight)[0]
        found = fill.sag_speed(20 * mm, 1350.0, 200.0, index, 60.0, math.radians(slope))
        assert found == pytest.approx(expected, rel=1e-8)


def test_hose():
    lag = fill.hose_lag(35e-14, 1.1 * mm, 30 * mm, 12.0)
    assert lag == pytest.approx(3.506387436, rel=1e-9)
    run = integrate.solve_ivp(
        lambda t, p: (25e-9 - p / (lag / 35e-14)) / 35e-14, (0.0, 1.5), [0.0], rtol=1e-11, atol=1e-3
    )
    flow_out = run.y[0, -1] / (lag / 35e-14)
    assert fill.hose_start(1.5, 25e-9, 35e-14, 1.1 * mm, 30 * mm, 12.0) == pytest.approx(flow_out, rel=1e-8)
    pressure = flow.nozzle_pressure(25e-9, 1.1 * mm, 30 * mm, 12.0)
    assert pressure == pytest.approx(2.504562454e5, rel=1e-9)
    assert fill.drip_volume(35e-14, pressure) == pytest.approx(87.65968589e-9, rel=1e-9)


@pytest.mark.parametrize("index", [0.3, 0.5, 1.0, 1.7])
def test_ages_in_a_tube_by_the_profile(index):
    """Flow of all radii whose transit is shorter than an age, summed over 200,000 rings."""
    radius = (np.arange(200_000) + 0.5) / 200_000
    speed = (3 * index + 1) / (index + 1) * (1.0 - radius ** ((index + 1) / index))
    for age in (0.55, 0.7, 1.0, 2.0, 5.0):
        share = np.where(1.0 / speed <= age, 2.0 * radius * speed, 0.0).sum() / 200_000
        assert fill.residence_share(age, index) == pytest.approx(share, abs=3e-5)
        if share > 0.01:
            assert fill.residence_age(fill.residence_share(age, index), index) == pytest.approx(age, rel=1e-9)
    assert fill.residence_age(0.99, 1.0) == pytest.approx(5.0, rel=1e-12)


def test_ages_in_a_tube_published():
    """Newtonian: 1 − 1/(4θ²); n = 0.5 by quadrature of the flow-weighted profile."""
    ages = np.array([0.4, 0.6, 1.0, 2.0, 5.0])
    values = [0.0, 0.3055555556, 0.75, 0.9375, 0.99]
    assert fill.residence_share(ages) == pytest.approx(values, rel=1e-9)
    thinning = [0.0, 0.0, 0.7600369326, 0.9460482196, 0.9917728235]
    assert fill.residence_share(ages, 0.5) == pytest.approx(thinning, rel=1e-9, abs=1e-12)


def test_reynolds_of_thinning_liquids():
    # 8ρV²/τ_w at V = 0.5 m/s, D = 6 mm; the yield stress through the Rabinowitsch integral
    flow_rate = 0.5 * math.pi / 4.0 * 0.006**2
    plain = flow.reynolds_number(flow_rate, 0.006, 1200.0, 4.0, 0.6)
    yielding = flow.reynolds_number(flow_rate, 0.006, 1200.0, 4.0, 0.6, 30.0)
    assert (plain, yielding) == pytest.approx((11.05701585, 9.409804598), rel=1e-8)
    wall = 8.0 * 1200.0 * 0.25 / yielding
    assert wall == pytest.approx(255.0531177, rel=1e-8)
    near = [
        8 * 1200 * (0.5 * k) ** 2 / flow.reynolds_number(flow_rate * k, 0.006, 1200.0, 4.0, 0.6, 30.0)
        for k in (0.999, 1.001)
    ]
    slope = math.log(near[1] / near[0]) / math.log(1.001 / 0.999)
    assert slope == pytest.approx(0.5110634893, rel=1e-5)
