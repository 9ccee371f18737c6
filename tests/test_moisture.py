"""Cure with moisture: geometry of beads, water in the air, the law along a record, against outside values.

Sources: shapely (GEOS) for cross-sections; the Magnus form and the saturation equation of W. Wagner and
A. Pruss (J. Phys. Chem. Ref. Data 22 (1993) 783; values computed apart from this project) for water;
scipy's quadrature for records; worked examples by hand. No published worked example of a moisture cure
along a record was found: values marked "computed apart" come from two methods outside this project.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import hand_rows, make
from scipy.integrate import quad
from shapely import LineString, Point, affinity, box

from dispense import call
from dispense.base.errors import InputError
from dispense.handbook.beads import bead_area, section_depth, section_height
from dispense.handbook.life import GAS_CONSTANT
from dispense.handbook.moisture import MoistureClock, equivalent_moisture_time, moisture_depth, moisture_rate
from dispense.plan.amounts import applications, bead_depth, bead_height
from dispense.reports.findings import station_findings
from dispense.reports.press import pressed_bead
from dispense.shift.play import play_plan

HOUR = 3600.0
K = 1e-3 / 60.0  # m/√s of 1 mm/√h

MANY = 512  # segments of a quarter circle


# ---------------------------------------------------------------------------------- cross-sections


def outline(section, width, height=None, angle=None):
    """The cross-section on the base y = 0 as a polygon of shapely, and its face to the air."""
    disc = Point(0.0, 0.0).buffer(1.0, quad_segs=MANY)
    if section == "round":
        return affinity.translate(affinity.scale(disc, width / 2, width / 2), 0, width / 2), None
    if section == "half-round":
        tall = width / 2 if height is None else height
        return affinity.scale(disc, width / 2, tall) & box(-width, 0, width, 2 * tall + width), None
    if section == "segment":
        # of a circle that meets the base at the contact angle: radius w/(2 sin θ), centre −r·cos θ high
        if angle is None:
            radius = (width**2 / 4 + height**2) / (2 * height)
            middle = height - radius
        else:
            radius = width / (2 * math.sin(angle))
            middle = -radius * math.cos(angle)
        whole = affinity.translate(affinity.scale(disc, radius, radius), 0, middle)
        return whole & box(-4 * radius, 0, 4 * radius, 4 * radius), None
    if section == "fillet":  # between two walls, concave: the corner is the origin
        hole = affinity.translate(affinity.scale(disc, width, width), width, width)
        return box(0, 0, width, width) - hole, hole.exterior
    if section == "mitre":
        face = LineString([(width, 0), (0, width)])
        return shapely.Polygon([(0, 0), (width, 0), (0, width)]), face
    shapes = {
        "triangle": lambda: shapely.Polygon([(-width / 2, 0), (width / 2, 0), (0, height)]),
        "rectangle": lambda: box(-width / 2, 0, width / 2, height),
        "ellipse": lambda: affinity.translate(affinity.scale(disc, width / 2, height / 2), 0, height / 2),
        "stadium": lambda: LineString(
            [(-(width - height) / 2, height / 2), ((width - height) / 2, height / 2)]
        ).buffer(height / 2, quad_segs=MANY),
    }
    return shapes[section](), None


SECTIONS = [
    ("round", 6.0, None, None),
    ("half-round", 6.0, None, None),
    ("half-round", 6.0, 4.0, None),
    ("triangle", 5.0, 3.0, None),
    ("rectangle", 10.0, 1.5, None),
    ("ellipse", 5.0, 2.0, None),
    ("segment", 4.0, 1.2, None),
    ("segment", 6.0, None, 40.0),
    ("segment", 6.0, None, 90.0),
    ("segment", 6.0, None, 130.0),
    ("stadium", 6.0, 1.5, None),
    ("fillet", 5.0, None, None),
    ("mitre", 5.0, None, None),
]


@pytest.mark.parametrize("section,width,height,degrees", SECTIONS)
def test_height_and_depth_of_each_section(section, width, height, degrees):
    angle = None if degrees is None else math.radians(degrees)
    shape, face = outline(section, width, height, angle)
    assert shape.area == pytest.approx(float(bead_area(section, width, height, angle)), rel=1e-4)
    tall = float(section_height(section, width, height, angle))
    assert tall == pytest.approx(shape.bounds[3] - shape.bounds[1], rel=1e-5)
    deep = float(section_depth(section, width, height, angle))
    if face is None:
        assert deep == tall  # reached from the top down to the base
        return
    # in a corner: the point of the section that is furthest from its face to the air
    far = max(face.distance(shapely.Point(point)) for point in shape.exterior.coords)
    assert deep == pytest.approx(far, rel=1e-4)


def plan_of(**columns):
    rows = hand_rows()
    rows["Beads"][0] = {**rows["Beads"][0], "height": None, **columns}
    rows["Stations"][0] |= dict(meter_tolerance=0)
    return make(rows)


def test_depth_of_a_bead_of_the_plan():
    half = math.radians(80.0) / 2

    def depth(**columns):
        plan = plan_of(**columns)
        return bead_depth(plan, plan.beads[0])

    assert depth(section="round", width=6) == pytest.approx(6e-3)
    assert depth(section="segment", width=6, contact_angle=80) == pytest.approx(3e-3 * math.tan(half))
    assert depth(section="fillet", width=5) == pytest.approx(5e-3 * (math.sqrt(2) - 1))
    # shallower than its gap it does not meet the other face: from the top
    assert depth(section="round", width=6, bond_line=7, flange_width=12) == pytest.approx(6e-3)


def test_a_pressed_bead_is_reached_from_its_open_edges():
    """Half of its greatest width; the volume under a length stays: width = area/gap, by hand."""
    bead = dict(
        section="half-round", width=4.76, height=None, length=1219, length_tolerance=0, bond_line=1.19
    )

    def depth(**columns):
        plan = plan_of(**(bead | columns))
        return bead_depth(plan, plan.beads[0]) * 1e3

    # half a disc of 4.76 mm: π/8·4.76² = 8.898 mm², pressed to 1.19 mm 7.477 mm wide
    wide = math.pi / 8 * 4.76**2 / 1.19
    assert wide == pytest.approx(7.477, abs=5e-4)
    exact = dict(width_tolerance=0)
    assert depth(**exact) == pytest.approx(wide / 2, rel=1e-9)  # whatever the flange is
    assert depth(**exact, flange_width=12.7) == pytest.approx(wide / 2, rel=1e-9)
    assert depth(**exact, flange_width=50.8) == pytest.approx(wide / 2, rel=1e-9)
    # with 0.38 mm more the area is (5.14/4.76)² of it
    high = wide * (5.14 / 4.76) ** 2
    assert depth(width_tolerance=0.38, flange_width=12.7) == pytest.approx(high / 2, rel=1e-9)
    # the flange holds no more than its width
    assert depth(width_tolerance=0.38, flange_width=8) == pytest.approx(4.0, rel=1e-9)
    # one edge to a closed box: all of it, and four times as long
    assert depth(width_tolerance=0.38, flange_width=12.7, open_edges=1) == pytest.approx(high, rel=1e-9)
    assert depth(width_tolerance=0.38, flange_width=8, open_edges=1) == pytest.approx(8.0, rel=1e-9)
    assert depth(width_tolerance=0.38, flange_width=8, open_edges=2) == pytest.approx(4.0, rel=1e-9)


def test_which_edges_are_taken_as_open_is_said():
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure="moisture", moisture_coefficient=0.55)
    rows["Beads"][0] |= dict(section="half-round", width=4.0, width_tolerance=0, length_tolerance=0)
    rows["Beads"][0] |= dict(height=None, bond_line=1.0, flange_width=20)
    rows["Stations"][0] |= dict(meter_tolerance=0)

    def told(**columns):
        rows["Beads"][0] |= columns
        found = station_findings(make(rows), rows["Stations"][0]["station"])
        return [item.text.replace("\u202f", " ") for item in found if item.topic == "open edges"]

    # half a disc of 4 mm: 2π mm² under 1 mm, 6.28 mm wide: 3.14 mm from each edge
    (text,) = told()
    assert "3.14 mm deep from each" in text and "from one edge alone it is 6.28 mm" in text
    assert not told(open_edges=1) and not told(open_edges=2)
    assert not told(open_edges=None, bond_line=None)


def test_every_user_of_a_bead_takes_the_same_height():
    rows = hand_rows()
    rows["Beads"][0] |= dict(section="segment", width=6, height=None, contact_angle=80)
    plan = make(rows)
    by_hand = 3e-3 * math.tan(math.radians(40.0))  # 2.517 mm; half the width would be 3 mm
    assert bead_height(plan.beads[0]) == pytest.approx(by_hand, rel=1e-12)
    assert applications(plan, "frame")[0].height == pytest.approx(by_hand, rel=1e-12)
    # a gap between 2.517 and 3 mm is not bridged
    rows["Beads"][0] |= dict(bond_line=2.8, flange_width=20)
    found = pressed_bead(make(rows), make(rows).beads[0])
    assert any("does not reach the other face" in words for words in found.warnings)


def moisture_rows(**material):
    """The plan worked by hand with a sealant that cures with moisture, K = 0.6 mm/√h at 23 °C and 50 %."""
    rows = hand_rows()
    rows["Materials"] = [
        dict(
            material="Bond 60",
            kind="one-part",
            cure="moisture",
            cure_temperature=23,
            moisture_coefficient=0.6,
            moisture_humidity=0.5,
            **material,
        )
    ]
    rows["Components"] = [dict(material="Bond 60", component="a", density=1.2, container=1000)]
    rows["Stock"] = []
    rows["Stations"][0].update(mixer_volume=0, shop_temperature=23, humidity=0.5)
    return rows


def board_hours(rows):
    """Hours from the end of the first batch until it may be tested."""
    batch = next(play_plan(make(rows))).batches[0]
    return (batch.milestones["test"] - batch.ended) / HOUR


def test_a_round_bead_takes_four_times_as_long_as_half_its_width():
    rows = moisture_rows()
    rows["Beads"][0] |= dict(section="round", width=6, height=None)
    assert board_hours(rows) == pytest.approx((6 / 0.6) ** 2, rel=1e-9)  # 100 h by hand
    rows["Beads"][0] |= dict(section="half-round")
    assert board_hours(rows) == pytest.approx((3 / 0.6) ** 2, rel=1e-9)  # 25 h


# ------------------------------------------------------------------------------------ water in the air


def test_vapour_density():
    air = [(15, 0.35), (25, 0.6), (35, 0.8), (23, 0.5), (10, 0.3)]
    # g/m³, Magnus form, computed apart
    magnus = [4.478495177, 13.779015, 31.57311575, 10.25209028, 2.814574121]
    assert [call("VAPOUR_DENSITY", *point) for point in air] == pytest.approx(magnus, rel=1e-8)
    # saturation pressures by Wagner & Pruss, Pa: the Magnus form keeps within 0.4 %
    for celsius, pressure in (
        (10, 1228.112151),
        (20, 2339.193737),
        (23, 2810.955404),
        (25, 3169.824486),
        (30, 4246.919927),
        (40, 7385.110475),
    ):
        density = pressure / (461.522808 * (celsius + 273.15)) * 1e3
        assert call("VAPOUR_DENSITY", celsius, 1) == pytest.approx(density, rel=4e-3)
    assert call("VAPOUR_DENSITY", 23, "50 %") == call("VAPOUR_DENSITY", 23, 0.5)
    with pytest.raises(InputError, match="humidity"):
        call("VAPOUR_DENSITY", 23, 50)  # a percentage without its sign


def test_moisture_factor():
    air = [(15, 0.35), (25, 0.6), (35, 0.8), (23, 0.5), (10, 0.3)]
    # K/K_ref for 23 °C, 50 %, computed apart by the formula and by logarithms: 30 kJ/mol, and vapour alone
    thirty = [0.558095199, 1.207674429, 2.224738429, 1, 0.3961262816]
    alone = [0.6609366645, 1.159318792, 1.754900549, 1, 0.5239624137]
    assert [call("MOISTURE_FACTOR", *point, 23, 0.5, 30) for point in air] == pytest.approx(thirty, rel=1e-8)
    assert [call("MOISTURE_FACTOR", *point) for point in air] == pytest.approx(alone, rel=1e-8)
    assert call("MOISTURE_FACTOR", 23, 0) == 0.0  # dry air cures nothing


# ---------------------------------------------------------------------------------- along a record


def steps(*rows):
    """A record of held values: (hours, °C, relative humidity) in order."""
    times, heat, humidity, at = [], [], [], 0.0
    for hours, celsius, share in rows:
        times += [at * HOUR, (at + hours) * HOUR]
        heat += [celsius + 273.15] * 2
        humidity += [share] * 2
        at += hours
    return times, heat, humidity


CLIMATE = (296.15, 0.5, 30e3)  # reference of the worked records: 23 °C, 50 %, 30 kJ/mol


def test_record_of_steps():
    # K = 0.55 mm/√h; 8 h at 22 °C and 45 %, 6 h at 17 °C and 38 %, 10 h at 26 °C and 60 %: 2.754475463 mm
    # by the sum of squares and step by step; repeated, 4 mm are cured after 51.347321 h (computed apart)
    record = steps((8, 22, 0.45), (6, 17, 0.38), (10, 26, 0.60))
    clock = MoistureClock(*record, *CLIMATE)
    depth = moisture_depth(clock.equivalent(0.0, 24 * HOUR), 0.55 * K)
    assert depth * 1e3 == pytest.approx(2.754475463, rel=1e-8)
    assert clock.when(0.0, (4e-3 / (0.55 * K)) ** 2) / HOUR == pytest.approx(51.347321, rel=1e-7)
    again = equivalent_moisture_time(*record, *CLIMATE)[-1]
    assert moisture_depth(again, 0.55 * K) * 1e3 == pytest.approx(2.754475463, rel=1e-8)


DAY = ((0, 18, 0.40), (6, 15, 0.35), (10, 21, 0.50), (15, 29, 0.62), (20, 23, 0.55), (24, 19, 0.45))


def test_record_that_is_linear_between_its_points():
    # 2.628741446 mm by adaptive and by Gauss quadrature, 2.677327158 mm with each reading held (apart)
    record = [
        [hours * HOUR for hours, *_ in DAY],
        [celsius + 273.15 for _, celsius, _ in DAY],
        [share for *_, share in DAY],
    ]
    clock = MoistureClock(*record, *CLIMATE)
    depth = moisture_depth(clock.equivalent(0, 24 * HOUR), 0.55 * K)
    assert depth * 1e3 == pytest.approx(2.628741446, rel=1e-8)
    held = steps(*((b[0] - a[0], *a[1:]) for a, b in pairwise(DAY)))
    spent = equivalent_moisture_time(*held, *CLIMATE)[-1]
    assert moisture_depth(spent, 0.55 * K) * 1e3 == pytest.approx(2.677327158, rel=1e-8)


def law(celsius, humidity, energy):
    """K²/K_ref² for 23 °C and 50 %, written anew."""

    def water(celsius, humidity):
        return humidity * 611.2 * math.exp(17.62 * celsius / (243.12 + celsius)) / (celsius + 273.15)

    arrhenius = math.exp(-energy / GAS_CONSTANT * (1 / (celsius + 273.15) - 1 / 296.15))
    return water(celsius, humidity) / water(23.0, 0.5) * arrhenius


RECORDS = st.lists(st.tuples(st.floats(0, 24), st.floats(-5, 45), st.floats(0, 1)), min_size=1, max_size=5)


def interpolated(rows, hours):
    """Temperature and humidity of a day that repeats itself."""
    times = np.array([row[0] for row in rows])
    return [float(np.interp(hours, times, [row[place] for row in rows], period=24.0)) for place in (1, 2)]


@settings(max_examples=40, deadline=None)
@given(
    rows=RECORDS, energy=st.sampled_from([0.0, 30e3, 60e3]), start=st.floats(0, 60), span=st.floats(0.1, 70)
)
def test_clock_against_quadrature(rows, energy, start, span):
    rows = sorted({round(row[0], 2): row for row in rows if row[0] <= 23.99}.values()) or [(0.0, 20.0, 0.5)]
    clock = MoistureClock(
        [row[0] * HOUR for row in rows],
        [row[1] + 273.15 for row in rows],
        [row[2] for row in rows],
        296.15,
        0.5,
        energy,
    )
    inside = {row[0] + 24 * day for row in rows for day in range(7)}
    corners = sorted({start, start + span, *(at for at in inside if start < at < start + span)})
    wanted = sum(
        quad(lambda t: law(*interpolated(rows, t), energy), a, b, epsabs=1e-9, limit=200)[0]
        for a, b in pairwise(corners)
    )
    got = clock.equivalent(start * HOUR, (start + span) * HOUR) / HOUR
    assert got == pytest.approx(wanted, rel=1e-6, abs=1e-6)
    if got > 1e-3:  # and back
        end = clock.when(start * HOUR, got * HOUR)
        assert clock.equivalent(start * HOUR, end) == pytest.approx(got * HOUR, rel=1e-9, abs=1e-6)


def test_a_day_repeats_itself_for_ever():
    # the mean rate of a day counts where the cure takes many: 400 d, more than any record is unrolled
    record = [[0.0, 12 * HOUR], [283.15, 303.15], [0.3, 0.6]]
    clock = MoistureClock(*record, *CLIMATE)
    assert clock.when(5 * HOUR, 400 * clock.day) == pytest.approx(400 * 86400.0 + 5 * HOUR, abs=1e-3)
    assert clock.when(-30 * HOUR, clock.day) == pytest.approx(-6 * HOUR, abs=1e-3)


def test_dry_air_never_cures_and_damp_hours_do():
    assert MoistureClock([0.0], [296.15], [0.0], 296.15, 0.5).when(0.0, 1.0) == math.inf
    # water from 12:00 to 18:00 only, as much as stated: 8 h of it are had on the second day at 14:00
    damp = MoistureClock(*steps((12, 23, 0.0), (6, 23, 0.5), (6, 23, 0.0)), *CLIMATE)
    assert damp.when(0.0, 8 * HOUR) / HOUR == pytest.approx(24 + 14, abs=1e-6)


def test_impossible_records_are_refused_together():
    with pytest.raises(InputError) as caught:
        MoistureClock([0.0, 90000.0], [290.0, 20.0], [0.5, 1.5], 296.15, 0.5)
    assert len(caught.value.problems) == 3


def test_rate_takes_arrays():
    heat, humidity = np.array([288.15, 308.15])[:, None], np.array([0.2, 0.4, 0.8])
    rates = moisture_rate(heat, humidity, 296.15, 0.5, 30e3)
    assert rates.shape == (2, 3)
    np.testing.assert_allclose(rates[:, 2] / rates[:, 0], 4.0)  # in proportion to the water
    assert rates[1, 1] == pytest.approx(law(35.0, 0.4, 30e3), rel=1e-12)
