"""Pot life against hand working, certified data and independent integration."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.constants import R
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import expn

import dispense
from dispense.base.errors import InputError
from dispense.handbook.life import (
    LifeClock,
    activation_energy,
    cumulative_life,
    halving_step,
    life_used,
    pot_life,
    rate_factor,
    time_to_share,
)

MINUTE = 60.0
ZERO = 273.15

# NIST StRD, data set Norris (linear regression, lower difficulty), certified values below
NORRIS_X = [
    0.2,
    337.4,
    118.2,
    884.6,
    10.1,
    226.5,
    666.3,
    996.3,
    448.6,
    777.0,
    558.2,
    0.4,
    0.6,
    775.5,
    666.9,
    338.0,
    447.5,
    11.6,
    556.0,
    228.1,
    995.8,
    887.6,
    120.2,
    0.3,
    0.3,
    556.8,
    339.1,
    887.2,
    999.0,
    779.0,
    11.1,
    118.3,
    229.2,
    669.1,
    448.9,
    0.5,
]
NORRIS_Y = [
    0.1,
    338.8,
    118.1,
    888.0,
    9.2,
    228.1,
    668.5,
    998.5,
    449.1,
    778.9,
    559.2,
    0.3,
    0.1,
    778.1,
    668.8,
    339.3,
    448.9,
    10.8,
    557.7,
    228.3,
    998.0,
    888.8,
    119.6,
    0.3,
    0.6,
    557.6,
    339.3,
    888.0,
    998.5,
    778.9,
    10.2,
    117.6,
    228.9,
    668.4,
    449.2,
    0.2,
]
NORRIS_SLOPE = 1.00211681802045


def rate(temperature, reference, energy, step):
    """Share of a reference life used each second, written out a second time for the tests."""
    if energy is None:
        return math.pow(2.0, (temperature - reference) / step)
    return math.exp(energy / R * (1.0 / reference - 1.0 / temperature))


def integral(times, temperatures, start, end, life, reference, energy=None, step=10.0):
    """Share used by adaptive quadrature between the knots of a record."""
    knots = [start, *[time for time in times if start < time < end], end]
    total = 0.0
    for left, right in pairwise(knots):
        if right > left:
            # the line through two inner points, so that a jump at a knot is taken as it is
            early, late = np.interp(
                [0.75 * left + 0.25 * right, 0.25 * left + 0.75 * right], times, temperatures
            )
            a, b = 1.5 * early - 0.5 * late, 1.5 * late - 0.5 * early
            total += quad(
                lambda s, a=a, b=b: rate(a + (b - a) * s, reference, energy, step),
                0,
                1,
                epsabs=0,
                epsrel=1e-12,
            )[0] * (right - left)
    return total / life


# ------------------------------------------------------------------------------- fixed check values


def test_rate_ratio():
    # exp(50000/R·(1/298.15 − 1/308.15)), by hand with log10
    assert rate_factor(35 + ZERO, 25 + ZERO, 50e3) == pytest.approx(1.924264816, rel=1e-9)


@pytest.mark.parametrize(
    ("low", "high", "energy"),
    [(25, 35, 52.94886216), (100, 110, 82.39709908)],  # R·ln 2/(1/T₁ − 1/T₂), by hand and sympy
)
def test_energy_of_a_halving(low, high, energy):
    assert dispense.call("ACTIVATION_ENERGY", [low, high], [20, 10]) == pytest.approx(energy, 1e-9)
    assert dispense.call("HALVING_STEP", energy, low) == pytest.approx(10.0, rel=1e-8)


def test_two_lives():
    # 60 min at 23 °C and 25 min at 35 °C: straight line of ln t in 1/T, by hand
    energy = dispense.call("ACTIVATION_ENERGY", [23, 35], [60, 25])
    assert energy == pytest.approx(55.35635557, rel=1e-9)
    assert dispense.call("POT_LIFE", 30, 60, 23, energy) == pytest.approx(35.70288172, rel=1e-9)
    assert dispense.call("POT_LIFE", 35, 60, 23, energy) == pytest.approx(25.0, rel=1e-12)


def test_halving_rule():
    # 60·2^(−17/10) and 60·2^(13/10), by hand; the rule itself: common practice, no source
    assert dispense.call("POT_LIFE", 40, 60, 23) == pytest.approx(18.4671662, rel=1e-9)
    assert dispense.call("POT_LIFE", 10, 60, 23) == pytest.approx(147.7373296, rel=1e-9)
    assert dispense.call("POT_LIFE", 33, 60, 23, None, "18 delta_degF") == pytest.approx(30, 1e-12)


def test_norris():
    """The regression of ACTIVATION_ENERGY on NIST's Norris data, certified slope to 1e-9.

    x stands for 1/T and y/100 for ln t, so that the energy is R·slope/100.
    """
    temperatures = 1.0 / np.array(NORRIS_X)
    times = np.exp(np.array(NORRIS_Y) / 100.0)
    found = activation_energy(temperatures, times) / R * 100.0
    assert found == pytest.approx(NORRIS_SLOPE, rel=1e-9)


def test_norris_by_statsmodels():
    """The test data are NIST's: statsmodels gives every certified figure on them."""
    fit = sm.OLS(NORRIS_Y, sm.add_constant(NORRIS_X)).fit()
    assert fit.params[1] == pytest.approx(NORRIS_SLOPE, rel=1e-9)
    assert fit.params[0] == pytest.approx(-0.262323073774029, rel=1e-9)
    assert fit.bse[1] == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert fit.bse[0] == pytest.approx(0.232818234301152, rel=1e-9)
    assert fit.rsquared == pytest.approx(0.999993745883712, rel=1e-9)
    assert math.sqrt(fit.scale) == pytest.approx(0.884796396144373, rel=1e-9)


def test_energy_of_scattered_lives():
    """Against statsmodels' least squares on lives with scatter."""
    generator = np.random.default_rng(7)
    temperatures = np.linspace(15.0, 60.0, 12)
    times = 60.0 * np.exp(55e3 / R * (1 / (temperatures + ZERO) - 1 / 296.15))
    times *= np.exp(generator.normal(0.0, 0.1, times.size))
    fit = sm.OLS(np.log(times), sm.add_constant(1.0 / (temperatures + ZERO))).fit()
    found = dispense.call("ACTIVATION_ENERGY", temperatures, times)
    assert found == pytest.approx(fit.params[1] * R / 1e3, rel=1e-9)


@pytest.mark.parametrize(
    ("times", "temperatures", "expected"),
    [
        # closed form with the exponential integral E₁, and quadrature: min at 80 °C
        ([0, 55], [25, 80], 15.53664607),
        ([0, 55, 85, 112.5], [25, 80, 80, 25], 53.3049691),
    ],
)
def test_ramp_by_exponential_integral(times, temperatures, expected):
    share = dispense.call("LIFE_USED", times, temperatures, 1.0, 80, 60)
    assert share == pytest.approx(expected, rel=1e-9)


def test_ramp_by_halving_rule():
    # ∫₀¹ 2^s ds = 1/ln 2; ramps up and down use the same
    up = dispense.call("LIFE_USED", [0, 60], [20, 30], 60, 20)
    down = dispense.call("LIFE_USED", [0, 60], [30, 20], 60, 20)
    assert up == pytest.approx(1.0 / math.log(2.0), rel=1e-14)
    assert down == pytest.approx(up, rel=1e-14)


# --------------------------------------------------------------------------- independent integration


ENERGIES = st.one_of(st.none(), st.floats(1e2, 1e6))
WARM = st.floats(230.0, 480.0)


@given(WARM, WARM, st.floats(1e2, 1e6))
@settings(max_examples=150, deadline=None)
def test_arrhenius_segment_closed_form(first, last, energy):
    """∫e^(−c/T)dT = T·E₂(c/T): scipy's exponential integral, scaled by its own hot end."""
    share = life_used(np.array([0.0, 1.0]), np.array([first, last]), 1.0, max(first, last), energy)
    hot, cold, c = max(first, last), min(first, last), energy / R
    if hot - cold < 1e-3 * hot or c / cold > 600.0:
        return  # the closed form loses its digits there
    exact = (hot * expn(2, c / hot) - cold * expn(2, c / cold)) * math.exp(c / hot) / (hot - cold)
    assert share == pytest.approx(exact, rel=1e-10)


@given(st.lists(WARM, min_size=2, max_size=6), ENERGIES, st.floats(2.0, 40.0), st.data())
@settings(max_examples=60, deadline=None)
def test_record_against_quadrature(temperatures, energy, step, data):
    gaps = data.draw(
        st.lists(st.floats(1.0, 5e3), min_size=len(temperatures) - 1, max_size=len(temperatures) - 1)
    )
    if energy is not None:
        energy = min(energy, 3e5)  # beyond, adaptive quadrature itself no longer reaches 1e-9
    times = np.concatenate([[0.0], np.cumsum(gaps)])
    exact = integral(times, temperatures, 0.0, times[-1], 3600.0, 350.0, energy, step)
    share = life_used(times, np.array(temperatures), 3600.0, 350.0, energy, step)
    assert share == pytest.approx(exact, rel=1e-8)
    running = cumulative_life(times, temperatures, 3600.0, 350.0, energy, step)
    assert running[0] == 0.0 and np.all(np.diff(running) >= 0.0)
    assert running[-1] == pytest.approx(share, rel=1e-12)


@pytest.mark.parametrize("energy", [None, 20e3, 55e3, 300e3])
def test_mean_of_close_temperatures(energy):
    """No digits are lost as a segment becomes level."""
    slope = math.log(2) / 10 if energy is None else energy / R / 296.15**2
    for change in (0.0, 1e-13, 1e-9, 1e-6, 1e-3):
        heat = np.array([296.15, 296.15 + change])
        rise = slope * (heat[1] - heat[0])  # as the numbers hold it
        share = life_used(np.array([0.0, 1.0]), heat, 1.0, 296.15, energy)
        # 1 + x/2 + x²/6 …, the mean of an exponential
        assert share == pytest.approx(1.0 + 0.5 * rise, rel=0, abs=2.0 * rise**2 + 3e-14)


def test_hot_reading_among_cold_ones():
    """A wide swing of temperature at a high energy against quadrature in pieces."""
    times, temperatures = [0.0, 10.0, 20.0], [250.0, 480.0, 250.0]
    exact = (
        2.0
        * quad(lambda T: math.exp(150e3 / R * (1 / 480.0 - 1 / T)), 440.0, 480.0, epsabs=0, epsrel=1e-13)[0]
    )
    exact += (
        2.0
        * quad(lambda T: math.exp(150e3 / R * (1 / 480.0 - 1 / T)), 250.0, 440.0, epsabs=0, epsrel=1e-13)[0]
    )
    share = life_used(np.array(times), np.array(temperatures), 1.0, 480.0, 150e3)
    assert share == pytest.approx(exact * 10.0 / 230.0, rel=1e-10)


# ------------------------------------------------------------------------------- signs and directions


@given(st.floats(-40.0, 150.0), st.floats(0.0, 60.0), ENERGIES)
def test_hotter_never_lives_longer(temperature, rise, energy):
    colder = pot_life(temperature + ZERO, 60.0, 296.15, energy)
    hotter = pot_life(temperature + rise + ZERO, 60.0, 296.15, energy)
    assert hotter <= colder


@given(WARM, WARM, st.floats(1e3, 2e5))
def test_life_and_rate_are_reciprocal(temperature, reference, energy):
    factor = rate_factor(temperature, reference, energy)
    assert factor * pot_life(temperature, 1.0, reference, energy) == pytest.approx(1.0, rel=1e-12)
    assert factor * rate_factor(reference, temperature, energy) == pytest.approx(1.0, rel=1e-9)


@given(st.floats(5e3, 2e5), st.floats(200.0, 450.0))
def test_halving_step_halves(energy, temperature):
    step = float(halving_step(energy, temperature))
    if math.isnan(step):
        assert energy <= R * math.log(2.0) * temperature * (1 + 1e-12)
        return
    assert step > 0.0
    assert rate_factor(temperature + step, temperature, energy) == pytest.approx(2.0, rel=1e-9)


@given(st.lists(st.floats(270.0, 400.0), min_size=3, max_size=8, unique=True), st.floats(1e3, 2e5))
def test_energy_comes_back(temperatures, energy):
    temperatures = np.array(temperatures)
    if np.ptp(temperatures) < 1.0:
        return
    times = pot_life(temperatures, 3600.0, 296.15, energy)
    assert activation_energy(temperatures, times) == pytest.approx(energy, rel=1e-6)


def test_no_temperature_dependence():
    assert dispense.call("POT_LIFE", 40, 60, 23, 0) == 60.0
    assert dispense.call("LIFE_USED", [0, 30, 60], [0, 90, 20], 120, 23, 0) == pytest.approx(0.5)


# ------------------------------------------------------------------------------------ the worksheet


@pytest.mark.parametrize(
    ("name", "arguments", "code"),
    [
        ("ACTIVATION_ENERGY", ([25, 25], [60, 50]), "#NUM!"),  # no difference of temperature
        ("ACTIVATION_ENERGY", ([25, 35, 45], [60, 50]), "#NUM!"),
        ("ACTIVATION_ENERGY", ([25], [60]), "#NUM!"),
        ("ACTIVATION_ENERGY", ([25, 35], [60, 0]), "#NUM!"),
        ("ACTIVATION_ENERGY", ([25, -300], [60, 30]), "#NUM!"),
        ("HALVING_STEP", (1, 200), "#NUM!"),  # R·T·ln 2 is more than 1 kJ/mol
        ("POT_LIFE", (-300, 60, 23), "#NUM!"),
        ("POT_LIFE", (25, -60, 23), "#NUM!"),
        ("POT_LIFE", ("10 K", 60, 23), None),  # a temperature in kelvin is one
        ("POT_LIFE", (25, 60, 23, None, "10 degC"), "#VALUE!"),  # a step is a difference
        ("POT_LIFE", (25, "60 mm", 23), "#VALUE!"),
        ("LIFE_USED", ([0, 60, 30], [20, 20, 20], 60, 20), "#NUM!"),  # out of order
        ("LIFE_USED", ([0, 60], [20, 20, 20], 60, 20), "#NUM!"),
        ("LIFE_USED", ([0], [20], 60, 20), "#NUM!"),
        ("LIFE_USED", ([0, None], [20, 20], 60, 20), "#VALUE!"),
    ],
)
def test_refusals(name, arguments, code):
    result = dispense.evaluate(name, arguments)
    assert (result.codes if code else not result.codes) == (code or True)
    if code:
        assert result.problems and str(result.problems[0]).startswith(name)


def test_record_against_a_table_of_materials():
    """A record taken whole, materials row by row and two reference temperatures across."""
    lives = np.array([[30.0], [60.0], [90.0]])
    table = dispense.call("LIFE_USED", [0, 60], [23, 33], lives, np.array([[23.0, 33.0]]))
    assert table.shape == (3, 2)
    for i, j in np.ndindex(3, 2):
        alone = dispense.call("LIFE_USED", [0, 60], [23, 33], lives[i, 0], (23.0, 33.0)[j])
        assert table[i, j] == pytest.approx(alone, rel=1e-14)
    mixed = dispense.call("LIFE_USED", [0, 60], [23, 33], 60, 23, [55, None, 80])
    assert mixed[1] == pytest.approx(dispense.call("LIFE_USED", [0, 60], [23, 33], 60, 23), 1e-14)
    assert mixed[0] < mixed[2]


# ------------------------------------------------------------------------------------- the life clock


RECORD = (
    [0.0, 7200.0, 14400.0, 14400.0, 28800.0],  # a jump at 14400 s: a gate is opened
    [291.15, 297.15, 301.15, 295.15, 299.15],
)
CLOCKS = [(None, 10.0), (55e3, 10.0), (250e3, 10.0), (None, 3.0)]


@pytest.mark.parametrize(("energy", "step"), CLOCKS)
@pytest.mark.parametrize("start", [-5000.0, 0.0, 100.0, 7200.0, 12000.0, 14400.0, 20000.0, 40000.0])
def test_clock_against_quadrature(energy, step, start):
    clock = LifeClock(*RECORD, 3600.0, 296.15, energy, step)
    for length in (0.0, 1.0, 900.0, 5000.0, 20000.0, 60000.0):
        exact = integral(*RECORD, start, start + length, 3600.0, 296.15, energy, step)
        assert clock.used(start, start + length) == pytest.approx(exact, rel=1e-8, abs=1e-13)


@pytest.mark.parametrize(("energy", "step"), CLOCKS)
@pytest.mark.parametrize("start", [-5000.0, 0.0, 7199.9, 14399.0, 14400.0, 28800.0])
@pytest.mark.parametrize("share", [1e-6, 0.2, 0.8, 1.0, 25.0])
def test_clock_when_by_bracketing(energy, step, start, share):
    """The time against scipy's root finder on the quadrature."""
    clock = LifeClock(*RECORD, 3600.0, 296.15, energy, step)
    exact = brentq(
        lambda end: integral(*RECORD, start, end, 3600.0, 296.15, energy, step) - share,
        start,
        start + 3e6,
        xtol=1e-7,
        rtol=1e-13,
    )
    assert clock.when(start, share) == pytest.approx(exact, rel=1e-9, abs=1e-4)
    assert time_to_share(start, share, *RECORD, 3600.0, 296.15, energy, step) == pytest.approx(exact)


@given(
    st.lists(st.tuples(st.floats(0.0, 4e4), st.floats(240.0, 400.0)), min_size=1, max_size=8),
    st.one_of(st.none(), st.floats(1e3, 2e5)),
    st.floats(-1e4, 5e4),
    st.floats(1e-3, 3.0),
)
@settings(max_examples=300, deadline=None)
def test_clock_inverts_itself(points, energy, start, share):
    points.sort(key=lambda point: point[0])
    times, temperatures = zip(*points, strict=True)
    clock = LifeClock(times, temperatures, 3600.0, 296.15, energy)
    end = clock.when(start, share)
    assert end >= start
    if math.isfinite(end) and end < 1e12:
        # one step of the time's last digit may be a visible share at a fast rate
        fastest = 2.0 ** (104.0 / 10.0) if energy is None else math.exp(energy / R * (1 / 296.15 - 1 / 400.0))
        slack = 8.0 * np.spacing(max(abs(end), abs(start), 4e4)) * fastest / 3600.0
        assert clock.used(start, end) == pytest.approx(share, rel=1e-10, abs=slack)
        assert clock.when(start, share * 1.01) >= end


@given(st.floats(-1e4, 5e4), st.floats(0.0, 1e4), st.floats(0.0, 1e4))
def test_clock_adds_up(start, first, second):
    clock = LifeClock(*RECORD, 3600.0, 296.15, 55e3)
    middle, end = start + first, start + first + second
    whole = clock.used(start, end)
    assert clock.used(start, middle) + clock.used(middle, end) == pytest.approx(whole, abs=1e-10)
    assert clock.used(end, start) == pytest.approx(-whole, abs=1e-12)


def test_clock_of_constant_temperature():
    # a life of 60 min at 23 °C, at 33 °C half of it by the halving rule
    clock = LifeClock(0.0, 33 + ZERO, 60 * MINUTE, 23 + ZERO)
    assert clock.used(5.0, 5.0 + 30 * MINUTE) == pytest.approx(1.0, rel=1e-14)
    assert clock.when(100.0, 0.5) == pytest.approx(100.0 + 15 * MINUTE, rel=1e-14)
    level = LifeClock([0.0, 10.0, 20.0], [306.15] * 3, 60 * MINUTE, 23 + ZERO)
    assert level.when(100.0, 0.5) == clock.when(100.0, 0.5)


def test_clock_agrees_with_the_worksheet():
    times, temperatures = RECORD
    for energy in (None, 55e3):
        clock = LifeClock(times, temperatures, 3600.0, 296.15, energy)
        share = life_used(np.array(times), np.array(temperatures), 3600.0, 296.15, energy)
        assert clock.used(times[0], times[-1]) == pytest.approx(share, rel=1e-12)


@pytest.mark.parametrize(
    ("times", "temperatures", "life"),
    [
        ([0.0, 1.0], [290.0], 60.0),
        ([1.0, 0.0], [290.0, 290.0], 60.0),
        ([0.0], [-1.0], 60.0),
        ([0.0], [math.nan], 60.0),
        ([], [], 60.0),
        ([0.0], [290.0], 0.0),
    ],
)
def test_clock_refuses(times, temperatures, life):
    with pytest.raises(InputError):
        LifeClock(times, temperatures, life, 296.15)


def test_clock_refuses_a_negative_share():
    with pytest.raises(InputError):
        LifeClock([0.0, 1.0], [290.0, 300.0], 60.0, 296.15).when(0.0, -0.1)
