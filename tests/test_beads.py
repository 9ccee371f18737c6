"""Beads against handbook values, geometry libraries, quadrature and hand working."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from fluids.geometry import A_partial_circle
from handbook import check_example, check_published, examples_of, functions_without_examples, published_value
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.spatial.transform import Rotation

from dispense import InputError, call, evaluate
from dispense.handbook.beads import SECTIONS, arc_through, bead_area, is_simple_outline, segment_factor
from dispense.handbook.catalogue import FUNCTIONS

sizes = st.floats(0.01, 100.0)


@pytest.mark.parametrize("name, example", examples_of("Beads"))
def test_example(name, example):
    check_example(name, example)


def test_every_function_has_an_example():
    assert functions_without_examples("Beads") == []


@pytest.mark.parametrize(
    "arguments, area, tolerance",
    [
        (("round", 3), 7.068583471, 1e-9),  # πd²/4
        (("half-round", 4), 6.283185307, 1e-9),  # πd²/8
        (("triangle", 6, 10), 30.0, 1e-12),  # wh/2, by hand
        # nozzle notch of 60° apex angle and 8 mm height: w = 2·8·tan 30°, Heron's formula
        (("triangle", 16 * math.tan(math.radians(30)), 8), 36.95041723, 1e-9),
        (("rectangle", 5, 2), 10.0, 1e-12),  # by hand
        (("ellipse", 4, 2.5), 7.853981634, 1e-9),  # affine-scaled circle
        (("half-round", 6, 1.8), 8.482300165, 1e-9),  # half ellipse, quadrature
        (("segment", 4, 1.2), 3.419777265, 1e-9),  # partial circle of a tank library
        (("segment", 2, 1.8), 3.573261415, 1e-9),  # more than a half circle, same library
        (("segment", 4, None, 60), 3.27565253, 1e-9),  # by h = (w/2) tan(θ/2)
        (("segment", 4, None, 120), 13.47950829, 1e-9),  # by h = (w/2) tan(θ/2)
        # Machinery's Handbook, segments of circles of radius 1, centre angle 90°, from memory
        (("segment", math.sqrt(2), 1 - math.sqrt(0.5)), 0.2854, 0.00005 / 0.2854),
        # same table, centre angle 60°: height 0.1340, chord 1.0000, area 0.0906, from memory
        (("segment", 1.0, 0.1340), 0.0906, 0.00008 / 0.0906),
        (("stadium", 6, 1.5), 8.517145868, 1e-9),  # buffered line
        (("fillet", 5), 5.365045915, 1e-9),  # r²(1 − π/4)
        (("mitre", 5), 12.5, 1e-12),  # half a square, by hand
    ],
)
def test_area_against_published_values(arguments, area, tolerance):
    assert call("BEAD_AREA", *arguments) == pytest.approx(area, rel=tolerance)


def test_stadium_against_a_buffered_line():
    """shapely: a line of length w − t buffered by t/2 with many segments in a quarter."""
    line = shapely.LineString([(0, 0), (4.5, 0)]).buffer(0.75, quad_segs=2048)
    assert call("BEAD_AREA", "stadium", 6, 1.5) == pytest.approx(line.area, rel=1e-6)


def test_fillet_against_square_less_quarter_disc():
    corner = shapely.box(0, 0, 5, 5) - shapely.Point(5, 5).buffer(5, quad_segs=2048)
    assert call("BEAD_AREA", "fillet", 5) == pytest.approx(corner.area, rel=1e-6)


@given(width=sizes, share=st.floats(0.01, 1.0))
def test_segment_against_a_tank_library(width, share):
    """fluids: partially filled circle, for segments up to the half circle and beyond."""
    height = share * width
    radius = (width**2 / 4 + height**2) / (2 * height)
    expected = A_partial_circle(D=2 * radius, h=height)
    assert call("BEAD_AREA", "segment", width, height) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("height", [1e-6, 1e-4, 1e-3, 0.049, 0.051, 0.3, 1.0])
def test_flat_segments_keep_their_digits(height):
    """Quadrature of the circle's height over the chord; y = h − x²/(R + √(R² − x²)) is stable."""
    width = 2.0
    radius = (width**2 / 4 + height**2) / (2 * height)
    expected, _ = quad(
        lambda x: height - x**2 / (radius + math.sqrt(max(radius**2 - x**2, 0.0))),
        -1,
        1,
        epsabs=0,
        epsrel=1e-12,
    )
    assert call("BEAD_AREA", "segment", width, height) == pytest.approx(expected, rel=1e-10)


def test_segment_factor_against_its_definition_in_high_precision():
    """θ − sin θ cos θ by its power series in exact fractions (sum of (−1)ᵏ(2θ)^(2k+3)/2(2k+3)!)."""
    from fractions import Fraction

    for angle in (1e-8, 1e-3, 0.0999999, 0.1, 0.1000001, 0.5, 3.0):
        double = Fraction(2 * angle)
        exact = sum((-1) ** k * double ** (2 * k + 3) / (2 * math.factorial(2 * k + 3)) for k in range(25))
        assert float(segment_factor(angle)) == pytest.approx(float(exact), rel=1e-13)


@given(width=sizes)
def test_segment_of_90_degrees_is_a_half_round(width):
    half = call("BEAD_AREA", "half-round", width)
    assert call("BEAD_AREA", "segment", width, width / 2) == pytest.approx(half, rel=1e-12)
    assert call("BEAD_AREA", "segment", width, None, 90) == pytest.approx(half, rel=1e-12)


@given(width=sizes, angle=st.floats(1.0, 170.0), more=st.floats(0.1, 9.0))
def test_area_rises_with_angle(width, angle, more):
    low, high = call("BEAD_AREA", "segment", width, None, np.array([angle, angle + more]))
    assert 0 < low < high


@given(thickness=sizes)
def test_stadium_as_thick_as_wide_is_round(thickness):
    stadium = call("BEAD_AREA", "stadium", thickness, thickness)
    assert stadium == pytest.approx(math.pi * thickness**2 / 4, rel=1e-12)


@pytest.mark.parametrize(
    "arguments",
    [
        ("triangle", 4),
        ("rectangle", 4),
        ("ellipse", 4),
        ("stadium", 4),
        ("segment", 4),
        ("segment", 4, 1, 60),
        ("stadium", 4, 4.1),
    ],
)
def test_sections_that_lack_a_height_are_refused(arguments):
    with pytest.raises(InputError, match="needs a height"):
        call("BEAD_AREA", *arguments)


@pytest.mark.parametrize(
    "arguments, code",
    [
        (("round", 0), "#NUM!"),
        (("round", -1), "#NUM!"),
        (("oval", 1), "#N/A"),
        (("segment", 4, None, 180), "#NUM!"),
        (("round", "3 kg"), "#VALUE!"),
        (("round", None), "#VALUE!"),
    ],
)
def test_errors_of_bead_area(arguments, code):
    assert evaluate("BEAD_AREA", arguments).table() == [[code]]


def test_volume_of_the_published_bead():
    """Half circle of 4 mm on 120 mm: 0.7539822369 mL, 0.8746193948 g at 1.16 g/mL."""
    volume = call("BEAD_VOLUME", 120, "half-round", 4)
    assert volume == pytest.approx(0.7539822369, rel=1e-9)
    assert volume * 1.16 == pytest.approx(0.8746193948, rel=1e-9)
    assert call("BEAD_VOLUME", "4.724409448818898 in", "half-round", "0.4 cm") == pytest.approx(
        volume, rel=1e-12
    )


@given(section=st.sampled_from(SECTIONS), width=sizes, aspect=st.floats(0.02, 1.0))
def test_width_is_the_inverse_of_area(section, width, aspect):
    area = call("BEAD_AREA", section, width, aspect * width)
    assert call("BEAD_WIDTH", section, area, aspect) == pytest.approx(width, rel=1e-10)


def test_width_of_mixed_sections_in_one_range():
    widths = call("BEAD_WIDTH", ["round", "segment", "half-round"], 5.0, [None, 0.3, None])
    areas = [
        math.pi * widths[0] ** 2 / 4,
        float(bead_area("segment", widths[1], 0.3 * widths[1])),
        math.pi * widths[2] ** 2 / 8,
    ]
    assert areas == pytest.approx([5.0] * 3, rel=1e-12)


def test_width_without_an_aspect_it_needs_is_refused():
    with pytest.raises(InputError, match="needs an aspect"):
        call("BEAD_WIDTH", "segment", 5)


# -------------------------------------------------------------------------------------- outlines


def test_outline_and_its_reverse():
    outline = np.array([[0, 0], [10, 0], [10, 3], [4, 3], [4, 8], [0, 8]])
    assert call("POLYGON_AREA", outline) == 50.0  # by hand; shapely agrees
    assert call("POLYGON_AREA", outline[::-1]) == pytest.approx(50.0, rel=1e-12)
    closed = np.vstack([outline, outline[:1]])
    assert call("POLYGON_AREA", closed) == pytest.approx(50.0, rel=1e-12)


def test_outline_far_from_the_origin_keeps_its_digits():
    outline = np.array([[0, 0], [10, 0], [10, 3], [4, 3], [4, 8], [0, 8]]) + 1e7
    assert call("POLYGON_AREA", outline) == pytest.approx(50.0, rel=1e-8)


@pytest.mark.parametrize(
    "outline",
    [
        [[0, 0], [2, 2], [2, 0], [0, 2]],  # bow-tie, signed area 0
        [[0, 0], [4, 0], [4, 4], [2, 0], [0, 4]],  # touches its own edge
        [[0, 0], [4, 0], [6, 0], [5, 0], [5, 3]],  # folds back
        [[0, 0], [1, 1], [2, 2], [2, 0], [1, 1], [0, 2]],  # crosses at a corner
        [[0, 0], [1, 1], [3, 3]],  # no area
        [[0, 0], [1, 1], [0, 0]],  # two corners
        [[0, 0, 0], [1, 0, 0], [1, 1, 0]],  # three columns
    ],
)
def test_outline_that_is_refused(outline):
    result = evaluate("POLYGON_AREA", (outline,))
    assert result.table() == [["#NUM!"]]
    assert "POLYGON_AREA: points is" in str(result.problems[0])


corners = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=3, max_size=9)


@settings(max_examples=300)
@given(outline=corners)
def test_self_crossing_against_a_geometry_library(outline):
    """On a coarse grid corners often meet edges; GEOS decides whether the ring is simple."""
    ring = [corner for place, corner in enumerate(outline) if corner != outline[place - 1]]
    if len(ring) < 3:
        assert not is_simple_outline(np.array(outline, float))
        return
    polygon = shapely.Polygon(ring)
    assert is_simple_outline(np.array(outline, float)) == bool(polygon.is_valid)
    if polygon.is_valid:
        assert call("POLYGON_AREA", outline) == pytest.approx(polygon.area, rel=1e-12)


@given(
    radii=st.lists(st.floats(1.0, 50.0), min_size=5, max_size=60),
    turn=st.floats(0, 6),
    shift=st.floats(-100, 100),
)
def test_area_of_stars_against_a_geometry_library(radii, turn, shift):
    angles = turn + np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    star = np.column_stack([np.cos(angles), np.sin(angles)]) * np.array(radii)[:, None] + shift
    assert call("POLYGON_AREA", star) == pytest.approx(shapely.Polygon(star).area, rel=1e-9)


def test_long_outline_in_blocks():
    """5,000 corners on a circle: regular polygon, area ½·n·r²·sin(2π/n); one swap crosses it."""
    angles = np.linspace(0, 2 * np.pi, 5000, endpoint=False)
    circle = np.column_stack([np.cos(angles), np.sin(angles)]) * 10
    expected = 0.5 * 5000 * 100 * math.sin(2 * math.pi / 5000)
    assert call("POLYGON_AREA", circle) == pytest.approx(expected, rel=1e-10)
    circle[[100, 101]] = circle[[101, 100]]
    assert evaluate("POLYGON_AREA", (circle,)).table() == [["#NUM!"]]


# ----------------------------------------------------------------------------------------- paths


@pytest.mark.parametrize(
    "path, closed, length",
    [
        ([[0, 0], [30, 0], [30, 40], [0, 80]], False, 120.0),  # 30 + 40 + 50, by hand
        ([[0, 0], [30, 0], [30, 40]], True, 120.0),  # 3-4-5 triangle closed, by hand
        ([[0, 0, 0], [1, 2, 2]], False, 3.0),  # space diagonal, by hand
        ([[0, 0, "line"], [4, 2, "arc"], [8, 0, "line"]], False, 9.27295218),  # R = 5
        # major arc, 2πR less the arc before
        ([[0, 0, "line"], [4, 8, "arc"], [8, 0, "line"]], False, 22.14297436),
        ([[-10, 0, ""], [0, 10, "ARC"], [10, 0, ""]], False, 10 * math.pi),  # clockwise half circle
        # full circle by two arcs, the second one closed onto the start
        ([[5, 0, ""], [0, 5, "arc"], [-5, 0, ""], [0, -5, "arc"]], True, 10 * math.pi),
        ([[5, 0, ""], [0, 5, "arc"], [-5, 0, ""], [0, -5, "arc"], [5, 0, ""]], False, 10 * math.pi),
        ([[0, 0, "travel"], [3, 4, "travel"], [3, 10, "line"]], False, 6.0),  # travel left out
        ([[0, 0, ""], [1, 0, "arc"], [4, 0, ""]], False, 4.0),  # middle on the chord: straight
        ([[0, 0, ""], [0, 0, "arc"], [4, 0, ""]], False, 4.0),  # middle on the start: straight
        ([[0, 0, ""], [4, 0, "arc"], [4, 0, ""]], False, 4.0),  # middle on the end: straight
        ([[2, 2, ""], [2, 2, "arc"], [2, 2, ""]], False, 0.0),  # all in one point
    ],
)
def test_path_length(path, closed, length):
    assert call("PATH_LENGTH", path, closed) == pytest.approx(length, rel=1e-9)


@pytest.mark.parametrize(
    "path, closed",
    [
        ([[0, 0, "arc"], [1, 1, "line"]], False),  # arc first
        ([[0, 0, "line"], [1, 1, "arc"]], False),  # arc without an end
        ([[0, 0, ""], [1, 1, "arc"], [2, 0, "arc"], [3, 0, ""]], False),  # two middles
        ([[0, 0, ""], [1, 1, "arc"], [2, 0, "travel"]], False),  # wet and dry at once
        ([[0, 0, ""], [3, 0, "arc"], [2, 0, ""]], False),  # middle beyond the end
        ([[0, 0, ""], [3, 0, "arc"], [0, 0, ""]], False),  # full circle in one arc
        ([[0, 0]], False),
    ],
)
def test_path_that_is_refused(path, closed):
    assert evaluate("PATH_LENGTH", (path, closed)).table() == [["#NUM!"]]


def test_unknown_motion_is_not_in_the_list():
    assert evaluate("PATH_LENGTH", ([[0, 0, "line"], [1, 1, "spline"]],)).table() == [["#N/A"]]


@given(
    radius=st.floats(0.1, 1000.0),
    sweep=st.floats(1e-3, 2 * math.pi - 1e-3),
    share=st.floats(0.05, 0.95),
    seed=st.integers(0, 10_000),
)
def test_arc_in_space_is_radius_times_sweep(radius, sweep, share, seed):
    angles = np.array([0.0, share * sweep, sweep])
    flat = np.column_stack([np.cos(angles), np.sin(angles), 0 * angles]) * radius
    placed = Rotation.random(random_state=seed).apply(flat) + 5.0
    length = arc_through(placed[:1], placed[1:2], placed[2:])[0]
    assert length == pytest.approx(radius * sweep, rel=1e-5)
    # the digits the coordinates themselves carry are the limit; away from it the arc is sharp
    if 0.1 < sweep < 6 and radius > 1:
        assert length == pytest.approx(radius * sweep, rel=1e-9)


@pytest.mark.parametrize("sagitta", [1e-12, 1e-9, 1e-6, 1e-4])
def test_nearly_straight_arc(sagitta):
    """Series of the arc over its chord: L = c(1 + (8/3)(s/c)² − (32/15)(s/c)⁴…)."""
    ratio = sagitta / 10.0
    expected = 10.0 * (1 + 8 / 3 * ratio**2)
    assert arc_through([[0, 0]], [[5, sagitta]], [[10, 0]])[0] == pytest.approx(expected, rel=1e-14)


def test_helix_by_arcs_and_by_lines():
    """n√((2πr)² + p²) = 189.0914484 for r 10, pitch 5, 3 turns, by quadrature of the speed."""
    angle = np.linspace(0, 6 * np.pi, 2401)
    helix = np.column_stack([10 * np.cos(angle), 10 * np.sin(angle), 5 * angle / (2 * np.pi)])
    arcs = [[*point, "arc" if place % 2 else "line"] for place, point in enumerate(helix.tolist())]
    assert call("PATH_LENGTH", arcs) == pytest.approx(189.0914484, rel=1e-8)
    assert call("PATH_LENGTH", helix) == pytest.approx(189.0914484, rel=1e-5)
    assert call("PATH_LENGTH", helix) < call("PATH_LENGTH", arcs)  # chords are shorter


@given(path=st.lists(st.tuples(st.floats(-99, 99), st.floats(-99, 99)), min_size=2, max_size=20))
def test_polyline_against_a_geometry_library(path):
    assert call("PATH_LENGTH", path) == pytest.approx(shapely.LineString(path).length, abs=1e-9)
    ring = shapely.LineString([*path, path[0]]).length
    assert call("PATH_LENGTH", path, True) == pytest.approx(ring, abs=1e-9)


@given(chord=sizes, bulge=st.floats(0.001, 50.0))
def test_bulge_against_three_points(chord, bulge):
    """The arc through the sagitta point at |b|·c/2."""
    middle = [[chord / 2, bulge * chord / 2]]
    expected = arc_through([[0, 0]], middle, [[chord, 0]])[0]
    assert call("ARC_LENGTH", chord, bulge) == pytest.approx(expected, rel=1e-9)
    assert call("ARC_LENGTH", chord, -bulge) == call("ARC_LENGTH", chord, bulge)


def test_bulge_of_zero_is_the_chord():
    assert call("ARC_LENGTH", 10, [0, 1e-12, 1]) == pytest.approx([10, 10, 5 * math.pi])


@given(run=st.floats(0.5, 50), gap=st.floats(0, 50), length=st.floats(0, 1000))
def test_stitches_against_intervals(run, gap, length):
    """Union of the runs laid one by one and cut at the end."""
    starts = np.arange(0, length + run + gap, run + gap)
    laid = np.clip(np.minimum(starts + run, length) - starts, 0, None).sum()
    assert call("STITCH_LENGTH", length, run, gap) == pytest.approx(laid, rel=1e-9, abs=1e-9)


@given(diameter=sizes, height=sizes)
def test_dot_against_quadrature(diameter, height):
    """∫π r(z)² dz over the cap of a ball."""
    radius = (diameter**2 / 4 + height**2) / (2 * height)
    volume, _ = quad(lambda z: math.pi * (radius**2 - (z + radius - height) ** 2), 0, height)
    assert call("DOT_VOLUME", diameter, height) == pytest.approx(volume / 1000, rel=1e-6)


# ---------------------------------------------------------------------------------- pressed beads


def test_pressed_round_bead():
    """3 mm bead pressed to 0.5 mm and to 1 mm: root of the area of a stadium."""
    area = math.pi * 9 / 4
    assert call("SPREAD_WIDTH", area, 0.5) == pytest.approx(14.13716694, rel=1e-9)
    assert call("SPREAD_WIDTH", area, 0.5, "round") == pytest.approx(14.24446786, rel=1e-9)
    assert call("SPREAD_WIDTH", area, 1, "round") == pytest.approx(7.283185307, rel=1e-9)


@given(width=sizes, share=st.floats(0.01, 1.0))
def test_spread_is_the_inverse_of_the_stadium(width, share):
    area = call("BEAD_AREA", "stadium", width, share * width)
    assert call("SPREAD_WIDTH", area, share * width, "round") == pytest.approx(width, rel=1e-9)
    area = call("BEAD_AREA", "rectangle", width, share * width)
    assert call("SPREAD_WIDTH", area, share * width) == pytest.approx(width, rel=1e-12)


def test_bead_thinner_than_its_gap_is_refused():
    with pytest.raises(InputError, match="too thin for the gap"):
        call("SPREAD_WIDTH", 0.7, 1, "round")  # below π/4 mm²


@given(area=sizes, gap=st.floats(0.1, 5), flange=st.floats(1, 50))
def test_squeeze_out_balances(area, gap, flange):
    """What stays in the flange and what leaves it add up to the bead."""
    leaves = call("SQUEEZE_OUT", 1000, area, gap, flange)
    stays = min(area, gap * flange)
    assert leaves + stays == pytest.approx(area, rel=1e-9)
    assert leaves >= 0


def test_flow_of_a_bead():
    assert call("BEAD_FLOW", 6, [0, 50, 100]) == pytest.approx([0, 0.3, 0.6])  # by hand


# ------------------------------------------------------------------------- published closed forms

FORMULAS = [name for name in FUNCTIONS if FUNCTIONS[name].category == "Beads" and FUNCTIONS[name].formula]


@pytest.mark.parametrize(
    "name, example", [case for case in examples_of("Beads") if case.values[0] in FORMULAS]
)
def test_published_form_of_examples(name, example):
    check_published(name, example.arguments)


@pytest.mark.parametrize("section", SECTIONS)
def test_published_form_of_each_section(section):
    check_published("BEAD_AREA", (section, 4.0, 1.3))
    check_published("BEAD_VOLUME", (500.0, section, 4.0, 1.3, None, 3))
    check_published("BEAD_WIDTH", (section, 4.0, 0.4))


def test_published_form_where_there_is_no_answer():
    check_published("BEAD_AREA", ("segment", 4.0, None, 120.0))
    for arguments in (("triangle", 4.0), ("stadium", 4.0, 5.0), ("segment", 4.0, 1.0, 60.0)):
        assert published_value("BEAD_AREA", arguments) == "#NUM!"
    assert published_value("BEAD_AREA", ("oval", 4.0)) == "#N/A"
