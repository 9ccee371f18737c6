"""Pots against tank formulas of a library, meshes of hand-worked solids, and root finding."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from fluids.geometry import TANK, V_cylinder
from handbook import check_example, check_published, examples_of, functions_without_examples, published_value
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from dispense import InputError, call, evaluate
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.pots import SHAPES, cavity_area, cavity_volume, cell_table, fill_level

lengths = st.floats(1.0, 1000.0)
SQUARE = {"box": 90.0, "tray": 90.0, "lying-cylinder": 90.0, "cylinder": None, "cone": None}


@pytest.mark.parametrize("name, example", examples_of("Pots"))
def test_example(name, example):
    check_example(name, example)


def test_every_function_has_an_example():
    assert functions_without_examples("Pots") == []


@pytest.mark.parametrize(
    "arguments, volume",
    [
        (("box", 40, 200, 150), 1200.0),  # by hand
        (("tray", 25, 100, 60, 3), 155.2979982),  # prismoidal rule; convex hull of its corners
        # cup of radius 20 to 26 mm, 30 mm high, quadrature
        (("cone", 30, 40, None, math.degrees(math.atan(6 / 30))), 50.13981875),
        (("lying-cylinder", 50, 200, 500), 3070.924247),  # tank library
        (("lying-cylinder", 200, 200, 500), 1e-3 * math.pi * 100**2 * 500),  # full
        (("lying-cylinder", 0, 200, 500), 0.0),
        (("cylinder", 10, 20), math.pi),  # π·10²·10 mm³
    ],
)
def test_cavity_volume(arguments, volume):
    assert call("CAVITY_VOLUME", *arguments) == pytest.approx(volume, rel=1e-9)


@given(diameter=lengths, share=st.floats(0.001, 1.0), width=lengths)
def test_lying_cylinder_against_a_tank_library(diameter, share, width):
    """fluids.TANK, horizontal with flat ends."""
    tank = TANK(D=diameter, L=width, horizontal=True)
    expected = tank.V_from_h(share * diameter) / 1000
    volume = call("CAVITY_VOLUME", "lying-cylinder", share * diameter, diameter, width)
    assert volume == pytest.approx(expected, rel=1e-7)


@given(shape=st.sampled_from(SHAPES), share=st.floats(0.01, 1), draft=st.floats(0, 40))
def test_volume_is_the_integral_of_the_area(shape, share, draft):
    draft = math.radians(draft) if shape in {"tray", "cone"} else 0.0
    level, width = share * 0.1, 0.05
    expected, _ = quad(lambda h: cavity_area(shape, h, 0.1, width, draft), 0, level, epsabs=0, epsrel=1e-10)
    assert cavity_volume(shape, level, 0.1, width, draft) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    "arguments",
    [
        ("box", 40, 200),
        ("tray", 40, 200),
        ("lying-cylinder", 40, 200),
        ("box", 40, 200, 150, 3),
        ("cylinder", 40, 200, None, 1),
        ("lying-cylinder", 201, 200, 500),
    ],
)
def test_cavity_that_is_refused(arguments):
    assert evaluate("CAVITY_VOLUME", arguments).table() == [["#NUM!"]]
    assert evaluate("CAVITY_VOLUME", arguments).problems[0].message


def test_no_draft_leaves_straight_walls():
    assert call("CAVITY_VOLUME", "tray", 40, 200, 150) == pytest.approx(1200, rel=1e-12)
    straight = call("CAVITY_VOLUME", "cylinder", 30, 40)
    assert call("CAVITY_VOLUME", "cone", 30, 40) == pytest.approx(straight, rel=1e-12)


@given(
    steps=st.lists(st.just(0.0) | st.floats(0.01, 20.0), min_size=1, max_size=8),
    seed=st.integers(0, 999),
    share=st.floats(0, 1),
)
def test_level_volume_against_quadrature(steps, seed, share):
    assume(sum(steps) > 0.1)
    levels = np.concatenate(([0.0], np.cumsum(steps)))
    areas = np.random.default_rng(seed).uniform(10, 500, len(levels))
    level = share * levels[-1]
    expected = 0.0
    for low, high, first, last in zip(levels[:-1], levels[1:], areas[:-1], areas[1:], strict=True):
        top = min(level, high)
        if top > low and high > low:
            slope = (last - first) / (high - low)
            expected += quad(lambda h: first + slope * (h - low), low, top)[0]  # noqa: B023
    assert call("LEVEL_VOLUME", levels, areas, level) == pytest.approx(expected / 1000, rel=1e-9, abs=1e-12)


def test_level_outside_its_table_is_refused_and_a_column_of_levels_spills():
    table = evaluate("LEVEL_VOLUME", ([0, 10], [100, 100], [[-1], [5], [10], [11]])).table()
    assert table == [["#NUM!"], [pytest.approx(0.5)], [pytest.approx(1.0)], ["#NUM!"]]


@pytest.mark.parametrize(
    "levels, areas", [([0], [1]), ([0, 1], [1]), ([0, 2, 1], [1, 1, 1]), ([0, 1], [1, -1])]
)
def test_level_table_that_is_refused(levels, areas):
    assert evaluate("LEVEL_VOLUME", (levels, areas, 0)).table() == [["#NUM!"]]


# ----------------------------------------------------------------------------------------- cells


@pytest.mark.parametrize(
    "code, size",
    [
        # five digits, diameter in mm and height in tenths: common practice, no source
        (18650, (18.0, 65.0)),
        (18650.0, (18.0, 65.0)),
        ("18650", (18.0, 65.0)),
        ("ICR18650", (18.0, 65.0)),
        ("inr 21700", (21.0, 70.0)),
        (26650, (26.0, 65.0)),
        # IEC 60086-1, round primary cells, rule from memory
        ("CR2032", (20.0, 3.2)),
        ("CR17345", (17.0, 34.5)),
        ("ER34615", (34.0, 61.5)),
        # IEC 60086-2, largest diameters from memory: the code cuts off the tenths
        ("SR626", (6.8, 2.6)),
        ("CR-2450", (24.5, 5.0)),
        ("LIR2450", (24.5, 5.0)),
        ("CR1220", (12.5, 2.0)),
        # IEC 60086-2 from memory: CR123A is the trade's name of CR17345, CR2 of CR15H270, CR1/3N of CR11108
        ("CR123A", (17.0, 34.5)),
        ("CR123", (17.0, 34.5)),
        ("CR2", (15.6, 27.0)),
        ("CR1/3N", (11.6, 10.8)),
        ("ER14250", (14.0, 25.0)),
        ("AA", (14.5, 50.5)),
        ("AAA", (10.5, 44.5)),
        (2032, (20.0, 3.2)),
        # four-digit short forms: diameter and height in mm, common practice, no source
        (2170, (21.0, 70.0)),
        (4690, (46.0, 90.0)),
        (4695, (46.0, 95.0)),
        (2680, (26.0, 80.0)),
        ("INR2170", (21.0, 70.0)),
        (1865, (18.0, 65.0)),
        ("INR18650-35E", (18.0, 65.0)),
        # wide cells in whole mm where tenths would make a disc: common practice, no source
        (55280, (55.0, 280.0)),
        (40152, (40.0, 152.0)),
        (46120, (46.0, 120.0)),
        (32650, (32.0, 65.0)),
        # IEC 61960, largest sizes in mm, rule from memory
        ("ICR19/66", (19.0, 66.0)),
        ("IFR 27/66", (27.0, 66.0)),
        # IEC 60086-2, fixed codes, from memory: the pen cell is at most 14.5 × 50.5 mm
        ("LR6", (14.5, 50.5)),
        ("R03", (10.5, 44.5)),
        ("LR44", (11.6, 5.4)),
        # whole millimetres, common practice, no source
        (4680, (46.0, 80.0)),
        (38120, (38.0, 120.0)),
        ("46950", (46.0, 95.0)),
    ],
)
def test_cell_size(code, size):
    assert call("CELL_SIZE", code) == pytest.approx(size, rel=1e-12)


@pytest.mark.parametrize(
    "code",
    [
        "",
        "R",
        "ICP103450",
        "18",
        "1865000",
        "00320",
        "20000",
        "x18650",
        "9999",
        "21070",
        "2/3AA",
        "4570",
        "99999",
        "CR00",
        "ICR2/66",
    ],
)
def test_unknown_cell(code):
    assert evaluate("CELL_SIZE", (code,)).table() == [["#N/A" if code else "#VALUE!"]]


def test_every_row_of_the_cell_table_is_marked():
    """Each value from memory says so in the file; sizes are those of cells one can hold."""
    from importlib.resources import files

    text = files("dispense").joinpath("handbook/data/cell_sizes.csv").read_text("utf-8")
    rows = [line for line in text.splitlines() if line and not line.startswith("#")][1:]
    assert len(rows) == len(cell_table())
    assert all(row.endswith(",memory") for row in rows)
    # the flattest coin cells are 1.2 mm high (CR2412), the tallest of these cells 95 mm
    assert all(4 < diameter < 50 and 1 < height < 100 for diameter, height in cell_table().values())


@pytest.mark.parametrize(
    "code, words", [("2/3AA", "2 × 3 mm is a size that no round cell has"), (4570, "45 × 70 mm or 45 × 7 mm")]
)
def test_an_unknown_cell_says_why(code, words):
    assert words in str(evaluate("CELL_SIZE", (code,)).problems[0])


@pytest.mark.parametrize(
    "code, volume", [(18650, 16.54048532), (21700, 24.2452413), ("CR17345", 7.830812388)]
)
def test_displacement_of_a_cell(code, volume):
    """fluids.geometry.V_cylinder on nominal sizes."""
    diameter, height = call("CELL_SIZE", code)
    assert V_cylinder(diameter, height) / 1000 == pytest.approx(volume, rel=1e-9)
    assert call("CELL_DISPLACEMENT", 1, diameter, height) == pytest.approx(volume, rel=1e-9)


def test_hexagonal_void_against_a_triangle_less_three_sectors():
    """shapely: unit triangle of side p with a sixth of a cell at each corner."""
    diameter, pitch = 18.4, 20.0
    triangle = [(0, 0), (pitch, 0), (pitch / 2, pitch * math.sqrt(3) / 2)]
    free = shapely.Polygon(triangle)
    for corner in triangle:
        free -= shapely.Point(corner).buffer(diameter / 2, quad_segs=2048)
    expected = free.area / shapely.Polygon(triangle).area
    assert call("HEX_VOID", diameter, pitch) == pytest.approx(expected, rel=1e-6)
    assert call("HEX_VOID", diameter, pitch) == pytest.approx(0.2324001091, rel=1e-9)


@given(pitch=lengths, share=st.floats(0.01, 1.0))
def test_voids_stay_within_their_limits(pitch, share):
    dense, loose = (call(name, share * pitch, pitch) for name in ("HEX_VOID", "SQUARE_VOID"))
    assert 0.0931 < dense < loose < 1  # densest packing 0.9069


def test_cells_that_overlap_are_refused():
    assert evaluate("HEX_VOID", (20, 18)).table() == [["#NUM!"]]
    assert evaluate("SQUARE_VOID", (20, [[20, 19.9]])).table() == [[pytest.approx(0.2146018366), "#NUM!"]]


def test_pot_fill_of_the_published_box():
    """100 cells of 18 mm in 200 × 200 mm, filled to 30 mm: 436.5929852 mL."""
    cavity = call("CAVITY_VOLUME", "box", 30, 200, 200)
    displaced = call("CELL_DISPLACEMENT", 100, 18, 30)
    assert call("POT_FILL", cavity, displaced) == pytest.approx(436.5929852, rel=1e-9)


@given(free=st.floats(1, 1000), unfilled=st.floats(0, 0.5), shrinkage=st.floats(0, 0.2))
def test_cured_pot_fills_what_it_should(free, unfilled, shrinkage):
    poured = call("POT_FILL", free + 300, 300, unfilled, 7, shrinkage)
    assert (poured - 7) * (1 - shrinkage) == pytest.approx(free * (1 - unfilled), rel=1e-9)


def test_pot_fill_reads_percentages_and_refuses_too_many_cells():
    assert call("POT_FILL", 100, 0, "5 %") == pytest.approx(95, rel=1e-12)
    with pytest.raises(InputError, match="at most the cavity"):
        call("POT_FILL", 100, 101)


# ----------------------------------------------------------------------------------------- levels


def test_published_levels():
    """Cubic roots, tank library, root of V(h) by Brent's method."""
    assert call("FILL_LEVEL", 120, "tray", 100, 60, 3) == pytest.approx(19.46593802, rel=1e-9)
    # the library's own inverse carries 2e-7; its forward volume settles it
    level = call("FILL_LEVEL", 5000, "lying-cylinder", 200, 500)
    tank = TANK(D=200.0, L=500.0, horizontal=True)
    assert tank.V_from_h(level) == pytest.approx(5e6, rel=1e-9)
    levels = call("FILL_LEVEL", [500, 250], "box", 120, 90, 0, 20, 18, 65)
    assert levels == pytest.approx([76.92682467, 43.7780844], rel=1e-9)


@settings(max_examples=400)
@given(
    shape=st.sampled_from(SHAPES),
    level=st.floats(0.01, 99.0),
    draft=st.floats(0, 60),
    count=st.integers(0, 6),
    cell=st.floats(1.0, 18.0),
    tall=st.floats(5.0, 60.0),
    base=st.floats(5.0, 20.0),
)
def test_level_is_the_inverse_of_the_volume(shape, level, draft, count, cell, tall, base):
    """Forward volume by CAVITY_VOLUME and CELL_DISPLACEMENT, then back."""
    draft = draft if shape in {"tray", "cone"} else 0.0
    width = SQUARE[shape]
    occupied = count * math.pi * cell**2 / 4
    surfaces = [
        1e6 * cavity_area(shape, h / 1e3, 0.1, 0.09, math.radians(draft)) for h in (base, base + tall)
    ]
    assume(count == 0 or occupied < 0.95 * min(surfaces))
    cavity = call("CAVITY_VOLUME", shape, level, 100, width, draft)
    wet = min(max(level - base, 0.0), tall)
    volume = cavity - call("CELL_DISPLACEMENT", count, cell, wet)
    found = call("FILL_LEVEL", volume, shape, 100, width, draft, count, cell, tall, base)
    assert found == pytest.approx(level, rel=1e-9)


@given(shape=st.sampled_from(SHAPES), low=st.floats(0.0, 600.0), more=st.floats(0.01, 80.0))
def test_level_rises_with_volume(shape, low, more):
    # a lying cylinder 90 mm wide, 100 mm long holds π·45²·100 mm³ less four cells: 595.5 mL
    assume(shape != "lying-cylinder" or low + more < math.pi * 4.5**2 * 10 - 4 * math.pi * 0.9**2 * 4)
    levels = call("FILL_LEVEL", [low, low + more], shape, 100, SQUARE[shape], 0.0, 4, 18, 40, 10)
    assert levels[0] < levels[1]


def test_level_by_root_finding_for_a_tray_with_raised_cells():
    """Brent's method on the volume written out by hand."""
    slope = math.tan(math.radians(5))

    def volume(h):
        tray = 100 * 60 * h + 160 * h**2 * slope + 4 / 3 * h**3 * slope**2
        return tray - 5 * math.pi * 81 * min(max(h - 4, 0), 65)

    for target in (10e3, 100e3, 300e3, 600e3):
        expected = brentq(lambda h, target=target: volume(h) - target, 0, 500, xtol=1e-13)
        level = call("FILL_LEVEL", target / 1e3, "tray", 100, 60, 5, 5, 18, 65, 4)
        assert level == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("volume", [1e-12, 1e-6, 1e-3, 1.0, 7e3, 15e3, 15707.9, 15707.963])
def test_lying_cylinder_over_its_whole_range(volume):
    level = call("FILL_LEVEL", volume, "lying-cylinder", 200, 500)
    back = call("CAVITY_VOLUME", "lying-cylinder", level, 200, 500)
    assert back == pytest.approx(volume, rel=1e-9)


def test_limits_of_the_level():
    assert call("FILL_LEVEL", 0, "lying-cylinder", 200, 500) == 0.0
    assert call("FILL_LEVEL", 0, "cone", 20, None, 10) == 0.0
    full = call("CAVITY_VOLUME", "lying-cylinder", 200, 200, 500)
    assert call("FILL_LEVEL", full, "lying-cylinder", 200, 500) == pytest.approx(200, rel=1e-9)


@pytest.mark.parametrize(
    "arguments",
    [
        (15708, "lying-cylinder", 200, 500),  # more than it holds, 15707.963 mL
        (100, "box", 100),  # no width
        (100, "box", 100, 50, 3),  # a box has no draft
        (100, "box", 100, 50, 0, 3),  # cells without a size
        (100, "box", 100, 50, 0, 30, 18, 65),  # 30 cells take 7634 mm² of 5000 mm²
        (100, "lying-cylinder", 100, 50, 0, 3, 18, 65),  # cells that stick out at the bottom
        (100, "lying-cylinder", 100, 50, 0, 3, 18, 65, 40),  # cells that stick out at the top
    ],
)
def test_level_that_has_no_answer(arguments):
    result = evaluate("FILL_LEVEL", arguments)
    assert result.table() == [["#NUM!"]]
    assert "the cavity cannot hold this" in str(result.problems[0])


def test_ten_thousand_levels_in_one_call():
    volumes = np.linspace(1, 15000, 10_000)
    levels = call("FILL_LEVEL", volumes, "lying-cylinder", 200, 500)
    assert np.all(np.diff(levels) > 0)
    back = call("CAVITY_VOLUME", "lying-cylinder", levels, 200, 500)
    assert back == pytest.approx(volumes, rel=1e-9)


def test_shapes_mixed_in_one_range():
    shapes = ["box", "cylinder", "tray", "cone", "lying-cylinder", "box"]
    widths = [90, None, 90, None, 90, None]
    levels = evaluate("FILL_LEVEL", (100, shapes, 100, widths)).table()
    assert levels[0][0] == pytest.approx(100e3 / 9000)  # by hand
    assert levels[1][0] == pytest.approx(100e3 / (math.pi * 2500))  # by hand
    assert levels[0] == [pytest.approx(levels[2][0])]
    assert levels[1] == [pytest.approx(levels[3][0])]
    assert levels[5] == ["#NUM!"]


def test_kernel_takes_scalars_and_arrays_in_si():
    one = fill_level(120e-6, "tray", 0.1, 0.06, math.radians(3))
    many = fill_level(np.full(3, 120e-6), "tray", 0.1, 0.06, math.radians(3))
    assert many == pytest.approx([float(one)] * 3, rel=1e-15)


# ------------------------------------------------------------------------- published closed forms


@pytest.mark.parametrize(
    "name, example", [case for case in examples_of("Pots") if FUNCTIONS[case.values[0]].formula]
)
def test_published_form_of_examples(name, example):
    check_published(name, example.arguments)


@pytest.mark.parametrize("shape", SHAPES)
def test_published_form_of_each_shape(shape):
    check_published("CAVITY_VOLUME", (shape, 40.0, 100.0, SQUARE[shape]))
    check_published("CAVITY_VOLUME", (shape, 140.0, 300.0, 90.0, 0))
    if shape in {"tray", "cone"}:
        check_published("CAVITY_VOLUME", (shape, 140.0, 100.0, SQUARE[shape], 4.0))
    else:
        assert published_value("CAVITY_VOLUME", (shape, 40.0, 100.0, 90.0, 4.0)) == "#NUM!"


def test_published_form_where_there_is_no_answer():
    assert published_value("HEX_VOID", (20, 18)) == "#NUM!"
    assert published_value("SQUARE_VOID", (20, 18)) == "#NUM!"
    assert published_value("POT_FILL", (100, 101)) == "#NUM!"
