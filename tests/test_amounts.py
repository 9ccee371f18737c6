"""How much goes on a part: a bead and a pot worked by hand, levels, tolerances, drivers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import hand_rows, make

from dispense.plan.amounts import (
    Amount,
    Effect,
    applications,
    free_volume,
    level_reached,
    pot_amount,
    spread,
    total,
)
from dispense.plan.materials import mix_shares, mixed_density, pot_life_findings, working_life
from dispense.shift.setup import setup_card

ML = 1e-6
MM = 1e-3


def bead_plan(**changes):
    rows = hand_rows()
    rows["Beads"][0].update(changes)
    return make(rows)


def test_bead_by_hand():
    # half circle 6 mm wide, 1,200 mm long: π·6²/8 = 14.137167 mm²; × 1,200 mm = 16.964600 mL
    plan = bead_plan(section="half-round", width=6, height=None, length=1200)
    (item,) = applications(plan, "frame")
    assert item.amount.nominal / ML == pytest.approx(math.pi * 36 / 8 * 1.2, rel=1e-12)
    assert item.amount.nominal / ML == pytest.approx(16.9646, abs=5e-5)
    assert item.time == pytest.approx(12.0)  # 1,200 mm at 100 mm/s


def test_bead_mass_as_in_the_check_case():
    # half circle 4 mm wide on 120 mm, density 1.16 g/mL: 0.7539822369 mL, 0.8746193948 g
    # (elementary geometry, recomputed as a product)
    rows = hand_rows()
    rows["Materials"] = [dict(material="Bond 60", kind="one-part")]
    rows["Components"] = [dict(material="Bond 60", component="a", density=1.16, container=310)]
    rows["Stock"] = []
    rows["Beads"][0].update(section="half-round", width=4, height=None, length=120)
    plan = make(rows)
    (item,) = applications(plan, "frame")
    assert item.amount.nominal / ML == pytest.approx(0.7539822369, rel=1e-9)
    mass = item.amount.nominal * mixed_density(plan.material("Bond 60"), plan.components_of("Bond 60"))
    assert mass * 1e3 == pytest.approx(0.8746193948, rel=1e-9)
    assert setup_card(plan, "hem").settings[0].mass * 1e3 == pytest.approx(0.8746193948, rel=1e-9)


def test_stitched_bead_by_hand():
    # 1,000 mm of 40 mm runs and 20 mm gaps: 16 whole periods of 60 mm = 960 mm, then a run cut at the
    # end: 16 × 40 + 40 = 680 mm; 10 mm × 1 mm: 6.8 mL; 17 starts
    plan = bead_plan(run=40, gap=20)
    (item,) = applications(plan, "frame")
    assert item.amount.nominal / ML == pytest.approx(6.8, rel=1e-12)
    rows = hand_rows()
    rows["Beads"][0].update(run=40, gap=20)
    rows["Stations"][0]["start_time"] = 0.5
    (item,) = applications(make(rows), "frame")
    assert item.time == pytest.approx(10.0 + 17 * 0.5)


def test_path_with_an_arc_by_hand():
    # 100 mm straight, a half circle of radius 30 mm (30·π), 60 mm straight; a travel of 500 mm between
    rows = hand_rows()
    rows["Beads"][0].update(path="rim", length=None)
    rows["Paths"] = [
        dict(path="rim", x=0, y=0),
        dict(path="rim", x=100, y=0),
        dict(path="rim", x=130, y=30, motion="arc"),
        dict(path="rim", x=100, y=60),
        dict(path="rim", x=600, y=60, motion="travel"),
        dict(path="rim", x=660, y=60),
    ]
    (item,) = applications(make(rows), "frame")
    assert item.amount.nominal / ML == pytest.approx((160 + 30 * math.pi) * 10 * 1e-3, rel=1e-12)


def pot_rows(**changes):
    rows = hand_rows()
    rows["Parts"].append(dict(part="module"))
    rows["Stations"].append(dict(station="pour", material="Bond 60", flow=10))
    rows["Pots"] = [
        dict(
            pot="well",
            part="module",
            station="pour",
            shape="box",
            length=120,
            width=90,
            depth=90,
            level=40,
            cells=20,
            cell_diameter=18,
            cell_height=65,
            cell_base=5,
            unfilled=0.01,
            extra=2,
            **changes,
        )
    ]
    rows["Inserts"] = [
        dict(
            part="module",
            pot="well",
            insert="spacer",
            shape="box",
            length=30,
            width=20,
            height=10,
            base=0,
            count=2,
        ),
        dict(
            part="module", pot="well", insert="post", shape="cylinder", length=8, height=60, base=25, count=4
        ),
    ]
    rows["Materials"][0]["shrinkage"] = 0.03
    return rows


def test_pot_by_hand():
    # cavity 120 × 90 × 40 = 432,000 mm³
    # cells 20 × π/4 × 18² × (40 − 5) = 178,128.3 mm³
    # spacers 2 × 30 × 20 × 10 = 12,000 mm³; posts reach from 25: 4 × π/4 × 8² × 15 = 3,015.9 mm³
    # free 238,855.8 mm³; less 1 % air, over (1 − 3 % shrinkage): 243.7807 mL; 2 mL extra
    free = 432_000 - 20 * math.pi / 4 * 324 * 35 - 12_000 - 4 * math.pi / 4 * 64 * 15
    poured = free * 0.99 / 0.97 / 1000 + 2
    assert poured == pytest.approx(245.78, abs=0.01)
    (item,) = applications(make(pot_rows()), "module")
    assert item.amount.nominal / ML == pytest.approx(poured, rel=1e-12)


def test_level_that_a_shot_reaches():
    plan = make(pot_rows())
    pot = plan.pots[0]
    (item,) = applications(plan, "module")
    assert level_reached(plan, pot, item.amount.nominal) / MM == pytest.approx(40.0, rel=1e-9)
    # published style of check: 20 cells d 18 × 65 in 120 × 90, 250 mL below the tops → 43.7780844 mm
    # (level below the cells' tops: V = h(LxLy − Nπd²/4), recomputed with brentq)
    rows = pot_rows()
    rows["Inserts"] = []
    rows["Materials"][0]["shrinkage"] = 0
    rows["Pots"][0].update(unfilled=0, extra=0, cell_base=0)
    plan = make(rows)
    assert level_reached(plan, plan.pots[0], 250 * ML) / MM == pytest.approx(43.7780844, rel=1e-8)
    # 500 mL stand above the cells: 76.92682467 mm
    assert level_reached(plan, plan.pots[0], 500 * ML) / MM == pytest.approx(76.92682467, rel=1e-8)
    assert math.isnan(level_reached(plan, plan.pots[0], 800 * ML))  # over the wall


@settings(max_examples=50, deadline=None)
@given(volume=st.floats(3.0, 500.0))
def test_level_and_volume_are_inverse(volume):
    plan = make(pot_rows())
    pot, material = plan.pots[0], plan.material("Bond 60")
    level = level_reached(plan, pot, volume * ML)
    back = free_volume(plan, pot, level) * (1 - pot.unfilled) / (1 - material.shrinkage) + pot.extra
    assert back / ML == pytest.approx(volume, rel=1e-9)


def test_two_shots_and_their_levels():
    rows = pot_rows()
    rows["Shots"] = [
        dict(part="module", pot="well", shot=1, portion=0.3),
        dict(part="module", pot="well", shot=2, portion=0.7, wait=30),
    ]
    first, second = applications(make(rows), "module")
    assert first.amount.nominal + second.amount.nominal == pytest.approx(245.78 * ML, abs=0.01 * ML)
    assert second.height / MM == pytest.approx(40.0, rel=1e-9)
    assert 0 < first.height < second.height
    assert second.wait == 30 * 60


def test_cell_diameter_is_named_as_the_input_that_matters():
    # 20 cells of 18 ± 0.1 mm: dV = 20 × π/2 × 18 × 0.1 × 35 = 1,979 mm³ each way, more than the
    # level, 0.2 × (120·90 − 20·π/4·18² − 4·π/4·8²) = 1,102 mm³
    rows = pot_rows(cell_diameter_tolerance=0.1, level_tolerance=0.2)
    (item,) = applications(make(rows), "module")
    assert item.amount.main_driver == "cell_diameter"
    names = [name for name, _ in item.amount.drivers]
    assert names == ["cell_diameter", "level"]
    halves = dict(item.amount.drivers)
    scale = 0.99 / 0.97 * 1e-9
    assert halves["cell_diameter"] == pytest.approx(20 * math.pi / 2 * 18 * 0.1 * 35 * scale, rel=1e-6)
    assert halves["level"] == pytest.approx(
        0.2 * (10_800 - 20 * math.pi / 4 * 324 - 4 * math.pi / 4 * 64) * scale, rel=1e-9
    )
    assert item.amount.high - item.amount.nominal == pytest.approx(math.hypot(*halves.values()), rel=5e-3)


def test_tolerance_chain_as_published():
    # root sum of squares of ±0.10, ±0.05, ±0.20 is 0.2291287847, worst case 0.35 (arithmetic)
    amount = spread(
        lambda a, b, c: a + b + c, {"a": 1.0, "b": 2.0, "c": 3.0}, {"a": 0.10, "b": 0.05, "c": 0.20}
    )
    assert amount.high - amount.nominal == pytest.approx(0.2291287847, rel=1e-9)
    assert amount.nominal - amount.low == pytest.approx(0.2291287847, rel=1e-9)
    assert amount.worst_high - amount.nominal == pytest.approx(0.35, rel=1e-12)
    assert amount.main_driver == "c"


def test_total_adds_independent_errors_as_squares():
    one = spread(lambda a: a, {"a": 10.0}, {"a": 3.0})
    two = spread(lambda b: b, {"b": 20.0}, {"b": 4.0})
    both = total([one, two])
    assert (both.nominal, both.high, both.worst_high) == (30.0, 35.0, 37.0)
    assert one.scaled(2).high == 26.0


def shot_rows(*portions, **changes):
    """The pot worked by hand in several shots, every input with a tolerance."""
    rows = pot_rows(
        **dict(length_tolerance=0.4, width_tolerance=0.3, level_tolerance=0.25, cell_diameter_tolerance=0.06)
        | changes
    )
    rows["Shots"] = [
        dict(part="module", pot="well", shot=number, portion=portion, wait=30 * (number > 1))
        for number, portion in enumerate(portions, 1)
    ]
    rows["Stations"][1]["meter_tolerance"] = 0.015
    return rows


@pytest.mark.parametrize("portions", [(0.3, 0.7), (0.5, 0.5), (0.2, 0.3, 0.5)])
def test_shots_of_a_pot_add_up_to_the_pot(portions):
    """They share cavity, cells and meter: GUM (JCGM 100:2008) 5.2.2, note 1, all coefficients +1.

    Taken as independent, two equal shots would come out narrower by a factor of √2.
    """
    plan = make(shot_rows(*portions))
    whole = pot_amount(plan, plan.pots[0])
    shots = total(item.amount for item in applications(plan, "module"))
    for name in ("nominal", "low", "high", "worst_low", "worst_high"):
        assert getattr(shots, name) == pytest.approx(getattr(whole, name), rel=1e-12), name
    assert dict(shots.drivers) == pytest.approx(dict(whole.drivers), rel=1e-12)
    assert shots.main_driver == whole.main_driver


def test_spread_of_a_pot_in_two_shots_by_monte_carlo():
    """Tolerances as three standard deviations, each input drawn once for both shots (seed 7)."""
    plan = make(shot_rows(0.3, 0.7))
    found = total(item.amount for item in applications(plan, "module"))
    draw = np.random.default_rng(7)

    def around(middle, tolerance):
        return draw.normal(middle, tolerance / 3.0, 400_000)

    length, width, level, diameter, meter = (
        around(120.0, 0.4),
        around(90.0, 0.3),
        around(40.0, 0.25),
        around(18.0, 0.06),
        around(1.0, 0.015),
    )
    cells = 20 * math.pi / 4 * diameter**2 * (level - 5.0)  # they stand 5 mm above the floor
    inserts = 2 * 30 * 20 * 10 + 4 * math.pi / 4 * 8**2 * (level - 25.0)
    fill = (length * width * level - cells - inserts) * 0.99 / 0.97 / 1000.0 + 2.0
    drawn = (0.3 * fill + 0.7 * fill) * meter
    half = 3.0 * float(drawn.std()) * ML
    assert found.nominal == pytest.approx(float(drawn.mean()) * ML, rel=1e-4)
    assert found.high - found.nominal == pytest.approx(half, rel=0.01)
    assert found.nominal - found.low == pytest.approx(half, rel=0.01)


def test_what_shares_a_source_adds_and_the_rest_is_independent():
    # closed form (GUM 5.2.2 note 1 and 5.1.2): one meter of ±2 % over beads of 10 and 20 mL, widths of
    # their own: meter 0.02·30 = 0.6 mL, widths 0.1·10 and 0.05·20 = 1.0 each; √(0.6² + 1² + 1²)
    rows = hand_rows()
    rows["Stations"][0]["meter_tolerance"] = 0.02
    rows["Beads"] = [
        dict(
            bead="hem",
            part="frame",
            station="hem",
            section="rectangle",
            width=10,
            height=1,
            length=1000,
            width_tolerance=1.0,
        ),
        dict(
            bead="rim",
            part="frame",
            station="hem",
            section="rectangle",
            width=20,
            height=1,
            length=1000,
            width_tolerance=1.0,
        ),
    ]
    both = total(item.amount for item in applications(make(rows), "frame"))
    assert both.nominal / ML == pytest.approx(30.0, rel=1e-12)
    assert (both.high - both.nominal) / ML == pytest.approx(math.sqrt(0.36 + 1.0 + 1.0), rel=1e-9)
    assert (both.worst_high - both.nominal) / ML == pytest.approx(2.6, rel=1e-9)
    assert dict(both.drivers)["meter"] / ML == pytest.approx(0.6, rel=1e-9)
    # two like beads in one row are made with one tool: their errors add
    rows["Beads"] = [rows["Beads"][0] | dict(count=2)]
    (pair,) = applications(make(rows), "frame")
    assert (pair.amount.high - pair.amount.nominal) / ML == pytest.approx(math.hypot(2.0, 0.4), rel=1e-9)


def test_errors_of_one_source_that_work_against_each_other_cancel():
    # x grows one amount and shrinks the other: (a + x) + (b − x) does not know x (arithmetic)
    x = ("station", "s", "x")
    both = total([Amount(5.0, (Effect("x", x, -1.0, 1.0),)), Amount(7.0, (Effect("x", x, 0.75, -0.75),))])
    assert (both.nominal, both.low, both.high) == (12.0, 11.75, 12.25)


def test_no_volume_is_below_zero():
    # 100 % on both sides of a rectangle: 10 − √2·10 is no volume
    amount = spread(lambda a, b: a * b, {"a": 5.0, "b": 2.0}, {"a": 5.0, "b": 2.0})
    assert amount.low == 0.0 and amount.worst_low == 0.0


def test_ratio_by_mass_and_by_volume():
    # 2 : 1 by volume with 1.16 and 0.98 g/mL: 42.24137931 g B per 100 g A, mix 1.1 g/mL
    rows = hand_rows()
    rows["Materials"][0].update(ratio_a=2, ratio_b=1)
    rows["Components"][0]["density"], rows["Components"][1]["density"] = 1.16, 0.98
    plan = make(rows)
    material, parts = plan.materials[0], plan.components_of("Bond 60")
    assert mix_shares(material, parts) == pytest.approx({"a": 2 / 3, "b": 1 / 3})
    assert mixed_density(material, parts) == pytest.approx(1100.0, rel=1e-12)
    assert setup_card(plan, "hem").mass_ratio == pytest.approx(42.24137931, rel=1e-9)
    # 100 : 45 by mass with 1.15 and 1.02 g/mL: volume ratio 1.971014493 : 1
    rows["Materials"][0].update(ratio_a=100, ratio_b=45, ratio_basis="mass")
    rows["Components"][0]["density"], rows["Components"][1]["density"] = 1.15, 1.02
    plan = make(rows)
    shares = mix_shares(plan.materials[0], plan.components_of("Bond 60"))
    assert shares["a"] / shares["b"] == pytest.approx(1.971014493, rel=1e-9)


def test_working_life_from_two_points_and_by_halving():
    # 60 min at 23 °C and 25 min at 35 °C: Ea 55.35635557 kJ/mol, 35.70288172 min at 30 °C
    # (Arrhenius law; recomputed by interpolating ln t in 1/T)
    rows = hand_rows()
    rows["Materials"][0].update(pot_life=60, pot_life_2=25, pot_life_temperature_2=35)
    life = working_life(make(rows).materials[0])
    assert life.energy / 1e3 == pytest.approx(55.35635557, rel=1e-9)
    assert life.at(303.15) / 60 == pytest.approx(35.70288172, rel=1e-9)
    assert life.marks(303.15) == []
    assert life.marks(313.15) == ["extrapolated to 40 °C; stated 23–35 °C"]
    # one point: 60 min at 23 °C halves to 18.4671662 min at 40 °C (2^(−17/10)); marked
    life = working_life(make(hand_rows()).materials[0])
    assert life.at(313.15) / 60 == pytest.approx(18.4671662, rel=1e-9)
    assert "rule of thumb" in life.marks(313.15)[0]
    assert life.marks(296.15) == []


def two_point_material(**changes):
    rows = hand_rows()
    rows["Materials"][0].update(dict(pot_life=60, pot_life_2=25, pot_life_temperature_2=35) | changes)
    return make(rows).materials[0]


def test_a_stated_energy_that_two_pot_lives_contradict_is_named():
    # 60 min at 23 °C and 25 min at 35 °C: R·ln(60/25)/(1/296.15 − 1/308.15) = 55.356 kJ/mol (Arrhenius
    # law); 83 stated is 49.9 % more. At 35 °C 83 kJ/mol leaves 60·exp(−83000/R·(1/296.15 − 1/308.15))
    gas = 8.314462618
    gap = 1 / 296.15 - 1 / 308.15
    by_points = gas * math.log(60 / 25) / gap
    material = two_point_material(activation_energy=83)
    life = working_life(material)
    assert life.energy == 83_000 and life.other_energy == pytest.approx(by_points, rel=1e-9)
    assert life.at(308.15) / 60 == pytest.approx(60 * math.exp(-83_000 / gas * gap), rel=1e-9)
    # what is printed is what is used: the second point is not, 35 °C is extrapolated from 23 °C
    assert life.basis == (
        "Arrhenius with the stated activation energy of 83 kJ/mol; the second pot life "
        "disagrees (55.4 kJ/mol)"
    )
    assert life.marks(308.15) == ["extrapolated to 35 °C; stated at 23 °C"]
    (finding,) = pot_life_findings(material, 308.15)
    assert finding.kind == "quality" and finding.material == "Bond 60"
    assert "50% above" in finding.text and "83 kJ/mol" in finding.text and "55.4 kJ/mol" in finding.text
    assert "16.1 min at 35 °C" in finding.text and "the two pot lives 25 min" in finding.text
    assert finding.numbers["pot life by two points [min]"] == pytest.approx(25.0, rel=1e-9)


def test_energies_that_agree_or_stand_alone_are_no_finding():
    agreeing = two_point_material(activation_energy=58)  # 4.8 % more than 55.356
    life = working_life(agreeing)
    assert pot_life_findings(agreeing, 308.15) == [] and "agrees" in life.basis
    assert life.marks(308.15) == []  # both temperatures are stated, and the law fits both
    points = working_life(two_point_material())
    assert points.basis == "Arrhenius through two data-sheet points" and points.other_energy is None
    alone = two_point_material(pot_life_2=None, pot_life_temperature_2=None, activation_energy=83)
    assert pot_life_findings(alone, 308.15) == []
    assert working_life(alone).basis == "Arrhenius with the stated activation energy of 83 kJ/mol"


def test_below_is_below():
    material = two_point_material(activation_energy=40)
    (finding,) = pot_life_findings(material, 313.15)
    assert "28% below" in finding.text
    # too low an energy keeps the material too long when hot: the two points give less
    assert finding.numbers["pot life used [min]"] > finding.numbers["pot life by two points [min]"]


@settings(max_examples=40, deadline=None)
@given(low=st.floats(5, 40), rise=st.floats(0, 20))
def test_hotter_never_lengthens_pot_life(low, rise):
    life = working_life(make(hand_rows()).materials[0])
    assert life.at(273.15 + low + rise) <= life.at(273.15 + low)
