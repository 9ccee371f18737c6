"""Mixing against published worked examples, conservation of mass and hand working."""

from __future__ import annotations

import numpy as np
import pytest
from handbook import check_example, check_published, examples_of, functions_without_examples, published_value
from hypothesis import given
from hypothesis import strategies as st

from dispense import InputError, call, evaluate
from dispense.handbook.catalogue import FUNCTIONS

parts = st.floats(0.01, 1000.0)
densities = st.floats(0.3, 4.0)


@pytest.mark.parametrize("name, example", examples_of("Mixing"))
def test_example(name, example):
    check_example(name, example)


def test_every_function_has_an_example():
    assert functions_without_examples("Mixing") == []


def test_ratios_by_hand():
    """2:1 by volume of 1.16 and 0.98 g/mL is 100 : 42.24 by mass, mixed 1.1 g/mL."""
    assert call("MASS_RATIO", 2, 1, 1.16, 0.98) == pytest.approx(42.24137931, rel=1e-9)
    assert call("MIX_DENSITY", 2, 1, 1.16, 0.98) == pytest.approx(1.1, rel=1e-9)
    # 100:45 by mass of 1.15 and 1.02 g/mL is 1.971014493 : 1 by volume
    assert 100 / call("VOLUME_RATIO", 100, 45, 1.15, 1.02) == pytest.approx(1.971014493, rel=1e-9)


@given(a=parts, b=parts, one=densities, two=densities)
def test_volume_ratio_is_the_inverse_of_mass_ratio(a, b, one, two):
    by_mass = call("MASS_RATIO", a, b, one, two)
    by_volume = call("VOLUME_RATIO", 100, by_mass, one, two)
    assert by_volume == pytest.approx(100 * b / a, rel=1e-12)


@given(
    volume=st.floats(0, 1e4),
    a=parts,
    b=parts,
    one=densities,
    two=densities,
    basis=st.sampled_from(["volume", "mass"]),
)
def test_split_balances(volume, a, b, one, two, basis):
    """Volumes add up, masses give the mixed density, and the ratio is the one asked for."""
    split = call("MIX_SPLIT", volume, a, b, one, two, basis)
    assert split.volume_a + split.volume_b == pytest.approx(volume, rel=1e-12)
    density = call("MIX_DENSITY", a, b, one, two, basis)
    assert split.mass_a + split.mass_b == pytest.approx(density * volume, rel=1e-12)
    first, second = (split[0], split[1]) if basis == "volume" else (split[2], split[3])
    assert first * b == pytest.approx(second * a, rel=1e-9)
    assert min(one, two) * (1 - 1e-12) <= density <= max(one, two) * (1 + 1e-12)


def test_split_spills_beside_a_column_of_volumes():
    table = evaluate("MIX_SPLIT", ([[300], [None], [-1]], 2, 1, 1.16, 0.98)).table()
    assert table[0] == pytest.approx([200, 100, 232, 98])
    assert table[1] == [None] * 4
    assert table[2] == ["#NUM!"] * 4


# hardeners by their molar mass and active hydrogens, atomic weights of IUPAC (C 12.011, H 1.008,
# N 14.007, O 15.999, S 32.06); Lee & Neville print 20.6, 24.4, 42.6, 62.1 and 27 (from memory)
AMINES = {
    "C4H13N3": (4 * 12.011 + 13 * 1.008 + 3 * 14.007, 5, 20.6, 10.85959158),
    "C6H18N4": (6 * 12.011 + 18 * 1.008 + 4 * 14.007, 6, 24.4, 12.82753684),
    "C10H22N2": (10 * 12.011 + 22 * 1.008 + 2 * 14.007, 4, 42.6, 22.40724737),
    "C12H12N2O2S": (12 * 12.011 + 12 * 1.008 + 2 * 14.007 + 2 * 15.999 + 32.06, 4, 62.1, 32.67116842),
    "C6H8N2": (6 * 12.011 + 8 * 1.008 + 2 * 14.007, 4, 27.0, 14.22909474),
}


@pytest.mark.parametrize("formula", AMINES)
def test_hardener_of_textbook_amines(formula):
    mass, hydrogens, printed, parts_on_190 = AMINES[formula]
    assert mass / hydrogens == pytest.approx(printed, abs=0.06)
    assert call("HARDENER_PHR", 190, mass / hydrogens) == pytest.approx(parts_on_190, rel=5e-4)


def test_published_blend_and_hardener():
    """Worked example: 80 % of 189, 10 % of 183, 10 % filler: 209; amine 43: 20.6 parts."""
    blend = call("BLEND_EPOXIDE_WEIGHT", [80, 10, 10], [189, 183, None])
    assert blend == pytest.approx(209, abs=0.5)
    assert blend == pytest.approx(209.2377495, rel=1e-9)
    assert call("HARDENER_PHR", 209, 43) == pytest.approx(20.6, abs=0.05)
    # worked example: molar mass 103, five hydrogens, on 200 g/eq: 10.3 parts
    assert call("HARDENER_PHR", 200, 103 / 5) == pytest.approx(10.3, abs=0.05)
    assert call("HARDENER_PHR", 200, 103 / 5, 0.9) == pytest.approx(9.27, rel=1e-9)  # by hand


@given(masses=st.lists(st.floats(1, 100), min_size=1, max_size=6), seed=st.integers(0, 99))
def test_blend_lies_between_its_resins_and_filler_raises_it(masses, seed):
    weights = np.random.default_rng(seed).uniform(150, 600, len(masses))
    blend = call("BLEND_EPOXIDE_WEIGHT", masses, weights)
    assert weights.min() * (1 - 1e-12) <= blend <= weights.max() * (1 + 1e-12)
    filled = call("BLEND_EPOXIDE_WEIGHT", [*masses, sum(masses)], [*weights, None])
    assert filled == pytest.approx(2 * blend, rel=1e-12)  # half filler doubles it


def test_blend_with_blank_rows_and_what_is_refused():
    blend = call("BLEND_EPOXIDE_WEIGHT", [[80], [20], [None]], [[189], [None], [None]])
    assert blend == pytest.approx(189 / 0.8, rel=1e-12)  # by hand
    for masses, weights in (([10], [None]), ([1, 2], [200]), ([None, 1], [200, 200])):
        assert evaluate("BLEND_EPOXIDE_WEIGHT", (masses, weights)).table() == [["#NUM!"]]


@given(a=parts, b=parts, one=densities, two=densities, error=st.floats(-0.9, 2.0))
def test_ratio_error_finds_the_error_put_in(a, b, one, two, error):
    split = call("MIX_SPLIT", 100, a, b, one, two)
    caught = split.mass_b * (1 + error)
    found = call("RATIO_ERROR", split.mass_a, caught, a, b, one, two)
    assert found == pytest.approx(100 * error, rel=1e-6, abs=1e-9)
    by_mass = call("RATIO_ERROR", a, b * (1 + error), a, b, None, None, "mass")
    assert by_mass == pytest.approx(100 * error, rel=1e-6, abs=1e-9)


def test_ratio_error_by_volume_needs_densities():
    with pytest.raises(InputError, match="needs both densities"):
        call("RATIO_ERROR", 100, 50, 2, 1)
    assert call("RATIO_ERROR", 100, 0, 2, 1, 1, 1) == pytest.approx(-100)  # no B at all


def test_foam_density_and_its_sphere_volume():
    """10 % by mass of 0.15 g/mL in 1.16 g/mL: 0.6932270916 g/mL, spheres 46.21513944 % by volume."""
    density = call("FOAM_DENSITY", 1.16, 0.15, 0.1)
    assert density == pytest.approx(0.6932270916, rel=1e-9)
    assert 0.1 * density / 0.15 == pytest.approx(0.4621513944, rel=1e-9)
    assert call("FOAM_DENSITY", 1.16, 0.15, "10 %", 0.05) == pytest.approx(0.95 * density, rel=1e-9)


@given(resin=densities, sphere=st.floats(0.05, 0.29), low=st.floats(0, 0.9), more=st.floats(0.01, 0.1))
def test_spheres_make_a_compound_lighter(resin, sphere, low, more):
    light = call("FOAM_DENSITY", resin, sphere, [low, low + more])
    assert sphere <= light[1] < light[0] <= resin * (1 + 1e-12)


@pytest.mark.parametrize(
    "name, example", [case for case in examples_of("Mixing") if FUNCTIONS[case.values[0]].formula]
)
def test_published_form_of_examples(name, example):
    check_published(name, example.arguments)


def test_published_form_of_other_branches():
    check_published("HARDENER_PHR", (190.0, 60.0, 0.85))
    check_published("FOAM_DENSITY", (1.16, 0.15, 0.1, 0.03))
    check_published("MIX_DENSITY", (100.0, 45.0, 1.15, 1.02, "mass"))
    assert published_value("RATIO_ERROR", (100, 50, 2, 1)) == "#NUM!"


def test_published_form_of_a_blend_that_is_refused():
    assert published_value("BLEND_EPOXIDE_WEIGHT", ([1, 2], [200])) == "#NUM!"
