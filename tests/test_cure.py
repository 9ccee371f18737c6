"""Degree of cure, times, glass and gel points, lag, moisture and light, against outside values.

"Hand" means the closed form evaluated apart from this code; scipy's integrators are the second
method where no closed form exists. R = 8.31446261815324 J/(mol·K), CODATA 2018.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.special import exp1

from dispense import call
from dispense.base.errors import InputError
from dispense.handbook.cure import (
    LEE_LOOS_SPRINGER,
    Kamal,
    NthOrder,
    Piecewise,
    as_kinetics,
    cure_degree,
    degree_at_glass_point,
    equivalent_time,
    part_temperature,
    time_to_cure,
)

R = 8.31446261815324
MINUTE = 60.0
FLAT = [25, 25]


def reference_degree(times, temperatures, kinetics, start=0.0):
    """scipy's DOP853 at tight tolerance, restarted at each corner of the record."""
    values = [start]
    for t0, t1, T0, T1 in zip(times, times[1:], temperatures, temperatures[1:], strict=False):
        if t1 == t0:
            values.append(values[-1])
            continue

        def rate(t, y, t0=t0, t1=t1, T0=T0, T1=T1):
            return kinetics.rate(np.clip(y, 0, 1), T0 + (T1 - T0) * (t - t0) / (t1 - t0))

        found = solve_ivp(rate, (t0, t1), [values[-1]], method="DOP853", rtol=1e-11, atol=1e-13)
        values.append(float(found.y[0, -1]))
    return np.array(values)


# ------------------------------------------------------------------------------- closed forms


def test_first_order_isothermal():
    # hand: 1 − exp(−0.02·60); a second look by scipy is test_ramps_against_scipy
    assert call("CURE_DEGREE", [0, 60], FLAT, [0.02, 0])[1] == pytest.approx(0.6988057881, rel=1e-9)


@pytest.mark.parametrize(
    ("order", "factor", "degree"),
    # hand: 1 − [1 + (n − 1)·k·t]^(1/(1 − n)) at 60 min
    [(1.5, 0.05, 0.84), (2.0, 0.05, 0.75), (0.5, 0.01, 0.51), (0.0, 0.01, 0.6), (3.0, 0.025, 0.5)],
)
def test_other_orders_isothermal(order, factor, degree):
    got = call("CURE_DEGREE", [0, 60], FLAT, [factor, 0, None, None, None, order])[1]
    assert got == pytest.approx(degree, rel=1e-9)


def test_order_below_one_finishes_on_time_and_stays():
    # hand: full cure at 1/((1 − n)·k) = 200 min for n = 0.5, k = 0.01 per minute
    row = [0.01, 0, None, None, None, 0.5]
    got = call("CURE_DEGREE", [0, 100, 199, 200, 201, 1e6], [25] * 6, row)
    assert got[1] == pytest.approx(0.75, rel=1e-12)  # 1 − (1 − 0.5)²
    assert got[2] == pytest.approx(1 - 0.005**2, rel=1e-12)
    assert list(got[3:]) == pytest.approx([1, 1, 1], abs=1e-12)
    assert call("TIME_TO_CURE", 1, [0, 1000], FLAT, row) == pytest.approx(200, rel=1e-9)


def test_blank_order_is_first_order():
    # the default that is stated in the help: n blank is 1
    blank = call("CURE_DEGREE", [0, 60], FLAT, [0.02, 0])
    said = call("CURE_DEGREE", [0, 60], FLAT, [0.02, 0, None, None, None, 1])
    assert blank == pytest.approx(said, rel=1e-15)
    assert as_kinetics([1.0, 2.0, math.nan, math.nan, math.nan, math.nan]).order == 1.0


def test_kamal_sourour_closed_form():
    # m = n = 1, hand: y = k1·e^((k1+k2)t), α = (y − k1)/(y + k2) for a start at 0
    got = call("CURE_DEGREE", [0, 30, 60, 90], [25] * 4, [0.002, 0, 0.08, 0, 1, 1])
    assert got[1:] == pytest.approx([0.2070370478, 0.7683650017, 0.9750546026], abs=1e-6)


def test_prout_tompkins_logistic():
    # hand: 1/(1 + 99·exp(−0.1·50))
    row = [0, 0, 0.1, 0, 1, 1]
    assert call("CURE_DEGREE", [0, 50], FLAT, row, 0.01)[1] == pytest.approx(0.5998596018, abs=1e-6)
    assert call("CURE_DEGREE", [0, 50], FLAT, row)[1] == 0.0  # nothing starts it
    # a millionth is enough to start it: hand, the same logistic at 200 min
    small = 1 / (1 + (1e6 - 1) * math.exp(-20))
    assert call("CURE_DEGREE", [0, 200], FLAT, row, 1e-6)[1] == pytest.approx(small, abs=1e-6)


def test_kamal_sourour_times_by_quadrature():
    # k1 = 0.003, k2 = 0.06 per minute, m = 0.8, n = 1.6; printed values 44.24589583, 123.967757
    row = [0.003, 0, 0.06, 0, 0.8, 1.6]
    got = call("TIME_TO_CURE", [0.5, 0.9], [0, 500], FLAT, row)
    assert got == pytest.approx([44.24589583, 123.967757], rel=1e-8)
    for degree, time in zip((0.5, 0.9), got, strict=True):  # scipy's quadrature of 1/rate
        area, _ = quad(
            lambda a: 1 / ((0.003 + 0.06 * a**0.8) * (1 - a) ** 1.6),
            0,
            degree,
            epsabs=1e-12,
            epsrel=1e-12,
            limit=200,
        )
        assert time == pytest.approx(area, rel=1e-9)


# ------------------------------------------------------------------ Lee, Loos and Springer, 3501-6

LLS_TIMES = [5, 10, 20, 40, 60, 62, 90, 120, 180, 240]
# scipy DOP853 at 1e-12 with an event at 0.3, and partial fractions; no published table exists
LLS_DEGREES = [
    0.074921537,
    0.125444023,
    0.190600255,
    0.260258819,
    0.29809667,
    0.302850737,
    0.409363136,
    0.505493396,
    0.653362784,
    0.757015662,
]
PROFILE = ([0, 36.4, 96.4, 120.8, 240.8], [25, 116, 116, 177, 177])
PROFILE_TIMES = [20, 30, 36.4, 50, 60, 80, 96.4, 100, 110, 120.8, 130, 150, 180, 210, 240.8]
PROFILE_DEGREES = [
    0.003538826,
    0.024789525,
    0.068557903,
    0.16226186,
    0.20337063,
    0.25536156,
    0.282613487,
    0.289229415,
    0.363874164,
    0.561083004,
    0.730564886,
    0.906730273,
    0.981003636,
    0.996130987,
    0.999244731,
]


def seconds(minutes):
    return np.asarray(minutes, dtype=float) * MINUTE


def kelvin(celsius):
    return np.asarray(celsius, dtype=float) + 273.15


def test_lee_loos_springer_isothermal():
    times = seconds([0, *LLS_TIMES])
    got = cure_degree(times, np.full(times.size, 393.15), LEE_LOOS_SPRINGER)
    assert got[1:] == pytest.approx(LLS_DEGREES, abs=1e-6)
    # coarse record, the same end: steps do not depend on the points
    coarse = cure_degree(times[[0, -1]], np.full(2, 393.15), LEE_LOOS_SPRINGER)
    assert coarse[-1] == pytest.approx(LLS_DEGREES[-1], abs=1e-6)


def test_lee_loos_springer_constants_and_switch():
    # hand: A·exp(−E/RT) at 120 °C; time of α = 0.3 by partial fractions
    first, second = LEE_LOOS_SPRINGER.branches
    got = [k * MINUTE for k in (*first.constants(393.15), *second.constants(393.15))]
    expected = [0.03987340731, -0.09281296184, 0.005921362648]
    assert got == pytest.approx(expected, rel=1e-9)
    times = np.array([0.0, 240.0 * MINUTE])
    got = time_to_cure(0.3, times, np.full(2, 393.15), LEE_LOOS_SPRINGER)
    assert got / MINUTE == pytest.approx(61.310835, rel=1e-8)
    # the rate jumps up at the switch: 1.43e-3 to 4.14e-3 per minute
    rates = LEE_LOOS_SPRINGER.rate(np.array([0.3, 0.3 + 1e-12]), 393.15) * MINUTE
    assert rates == pytest.approx([1.43e-3, 4.14e-3], rel=5e-3)


def test_lee_loos_springer_profile():
    times = seconds([0, *PROFILE_TIMES])
    heat = kelvin(np.interp([0, *PROFILE_TIMES], *PROFILE))
    got = cure_degree(times, heat, LEE_LOOS_SPRINGER)
    assert got[1:] == pytest.approx(PROFILE_DEGREES, abs=1e-6)
    switch = time_to_cure(0.3, seconds(PROFILE[0]), kelvin(PROFILE[1]), LEE_LOOS_SPRINGER)
    assert switch / MINUTE == pytest.approx(103.6528197, abs=1e-5)


def test_lee_loos_springer_tells_its_constants():
    # the same schedule at 96.4 min with A1 = 2.102e9 per minute: 0.2827014065 (scipy)
    first, second = LEE_LOOS_SPRINGER.branches
    other = Kamal(2.102e9 / 60, 8.07e4, first.factor_auto, 7.78e4, 1.0, 1.0, ceiling=0.47)
    got = cure_degree(seconds([0, 36.4, 96.4]), kelvin([25, 116, 116]), Piecewise((0.3,), (other, second)))
    assert got[-1] == pytest.approx(0.2827014065, abs=1e-6)


def test_lee_loos_springer_stalls_in_the_cold():
    # hand: K1 + 0.3·K2 = 0 at 279.8684618 K; K1/|K2| = 0.2909434987 at 0 °C
    first, _ = LEE_LOOS_SPRINGER.branches
    still = (first.energy - first.energy_auto) / (R * math.log(first.factor / (0.3 * abs(first.factor_auto))))
    assert still == pytest.approx(279.8684618, abs=1e-6)
    long = np.array([0.0, 1e9 * MINUTE])
    end = cure_degree(long, np.full(2, 273.15), LEE_LOOS_SPRINGER)[-1]
    assert end == pytest.approx(0.2909434987, abs=1e-9)
    assert math.isnan(time_to_cure(0.3, long, np.full(2, 273.15), LEE_LOOS_SPRINGER))


# ---------------------------------------------------------------------------- against scipy


@pytest.mark.parametrize(
    "kinetics",
    [
        NthOrder(2e5, 6e4, 1.0),
        NthOrder(2e5, 6e4, 2.3),
        Kamal(1e4, 6.5e4, 5e4, 5.5e4, 0.8, 1.6),
        Kamal(1e4, 6.5e4, 5e4, 5.5e4, 1.4, 0.7),
        Kamal(1e3, 6.0e4, 5e6, 7.0e4, 0.5, 2.0),
        Piecewise(
            (0.2, 0.6),
            (NthOrder(2e5, 6e4, 1.0), Kamal(1e4, 6e4, 5e4, 5.5e4, 1.0, 1.5), NthOrder(1e5, 6e4, 2.0)),
        ),
    ],
    ids=["first order", "order 2.3", "Kamal", "Kamal n<1", "Kamal m=0.5", "three branches"],
)
def test_ramps_against_scipy(kinetics):
    times = seconds([0, 20, 25, 25, 60, 90, 200])
    heat = kelvin([25, 90, 60, 80, 80, 130, 30])  # with a jump at 25 min
    got = cure_degree(times, heat, kinetics)
    assert got == pytest.approx(reference_degree(times, heat, kinetics), abs=1e-6)
    assert 0.2 < got[-1] <= 1.0


def test_noisy_record_against_scipy():
    rng = np.random.default_rng(3)
    times = np.linspace(0, 5 * 3600, 301)
    heat = 330 + 30 * np.sin(times / 3000) + rng.normal(0, 3, times.size)
    kinetics = Kamal(1e4, 6.5e4, 5e4, 5.5e4, 0.8, 1.6)
    got = cure_degree(times, heat, kinetics)
    assert got == pytest.approx(reference_degree(times, heat, kinetics), abs=1e-6)


def test_many_columns_are_each_their_own():
    rng = np.random.default_rng(4)
    times = np.linspace(0, 3 * 3600, 40)
    heat = 320 + 40 * rng.random((40, 7))
    kinetics = Kamal(1e4, 6.5e4, 5e4, 5.5e4, 0.8, 1.6)
    block = cure_degree(times, heat, kinetics, np.linspace(0, 0.3, 7))
    for column in range(7):
        alone = cure_degree(times, heat[:, column], kinetics, 0.05 * column)
        assert block[:, column] == pytest.approx(alone, abs=1e-7)


@pytest.mark.parametrize("order", [0.5, 1.0, 1.7, 2.0])
def test_very_hot_is_stable(order):
    # rate constants of 1e6 per second for an hour: full cure but for (1 + (n−1)kt)^(1/(1−n))
    kinetics = Kamal(1e6, 0.0, 1e6, 0.0, 1.2, order)
    end = cure_degree([0.0, 3600.0], [500.0, 500.0], kinetics)[-1]
    least = 1.0 if order <= 1 else 1 - (1 + (order - 1) * 3.6e9) ** (1 / (1 - order))
    assert least - 1e-9 <= end <= 1.0


# ----------------------------------------------------------------------------- equivalent time


def ramp_closed_form(energy, cold, hot, slope, reference):
    """∫ exp(E/R(1/T_ref − 1/T)) dt of a ramp, with the exponential integral E₁ of scipy."""
    a = energy / R

    def part(T):
        return T * math.exp(-a / T) - a * exp1(a / T)

    return math.exp(a / reference) / slope * (part(hot) - part(cold))


def test_equivalent_time_of_a_ramp():
    # closed form with E₁: 15.53664607 and 53.3049691 min
    got = call("EQUIVALENT_TIME", [0, 55], [25, 80], 80, 60)
    assert got == pytest.approx(15.53664607, rel=1e-9)
    again = ramp_closed_form(60e3, 298.15, 353.15, 1.0, 353.15)
    assert got == pytest.approx(again, rel=1e-10)
    total = call("EQUIVALENT_TIME", [0, 55, 85, 112.5], [25, 80, 80, 25], 80, 60)
    assert total == pytest.approx(53.3049691, rel=1e-9)


@pytest.mark.parametrize("energy", [0.0, 1e3, 60e3, 150e3, 400e3])
def test_equivalent_time_of_a_wide_ramp(energy):
    got = equivalent_time(np.array([0.0, 200.0]), np.array([263.15, 463.15]), 463.15, energy)
    if energy == 0.0:
        assert got == pytest.approx(200.0, rel=1e-12)
        return
    if energy <= 150e3:
        again = ramp_closed_form(energy, 263.15, 463.15, 1.0, 463.15)
        assert got == pytest.approx(again, rel=1e-10)
    area, _ = quad(
        lambda t: math.exp(energy / R * (1 / 463.15 - 1 / (263.15 + t))),
        0,
        200,
        epsabs=0,
        epsrel=1e-12,
        limit=400,
    )
    assert got == pytest.approx(area, rel=1e-10)


def test_cure_time_moves_with_temperature():
    # hand: ln t linear in 1/T between 60 min at 23 °C and 25 min at 35 °C
    assert call("CURE_TIME", 30, 60, 23, 55.35635557) == pytest.approx(35.70288172, rel=1e-9)
    assert call("CURE_TIME", 35, 60, 23, 55.35635557) == pytest.approx(25, rel=1e-9)


# --------------------------------------------------------------------- glass point, gel point


def test_glass_point():
    # hand, DiBenedetto with −20, 220 °C and 0.5: 60, 140, 197.1428571 °C; ends are exact
    got = call("GLASS_POINT", [0, 0.5, 0.8, 0.95, 1], -20, 220, 0.5)
    assert got == pytest.approx([-20, 60, 140, 197.1428571, 220], rel=1e-9)
    # hand: T_g = 120 °C at 0.7368421053
    back = degree_at_glass_point(393.15, 253.15, 493.15, 0.5)
    assert back == pytest.approx(0.7368421053, rel=1e-9)
    assert call("GLASS_POINT", back, -20, 220, 0.5) == pytest.approx(120, rel=1e-9)


def test_gel_degree():
    # Flory–Stockmayer, printed 0.577, 0.500, 0.447, 0.333 (textbooks, from memory); hand for more
    got = call("GEL_DEGREE", [2, 2, 2, 4], [4, 5, 6, 4])
    expected = [0.5773502692, 0.5, 0.4472135955, 0.3333333333]
    assert got == pytest.approx(expected, rel=1e-9)
    assert call("GEL_DEGREE", 2, 4, 0.8) == pytest.approx(0.6454972244, rel=1e-9)
    # off ratio by more than 1/3 nothing gels
    assert call("GEL_DEGREE", 2, 4, 1 / 3) == pytest.approx(1, rel=1e-9)
    with pytest.raises(InputError, match="never gels"):
        call("GEL_DEGREE", 2, 4, 0.33)


# ------------------------------------------------------------------------------ lag of a part


def test_part_follows_a_step():
    # hand: 80 − 60·exp(−t/10)
    times = [0, 5, 10, 40]
    got = call("PART_TEMPERATURE", times, [80] * 4, 10, 20)
    assert got == pytest.approx([80 - 60 * math.exp(-t / 10) for t in times], rel=1e-12)


def test_part_follows_a_ramp():
    # hand: air 20 + 2t, part starts with the air: 20 + 2(t − τ(1 − e^(−t/τ)))
    got = call("PART_TEMPERATURE", [0, 10, 30], [20, 40, 80], 10)
    lag = [20 + 2 * (t - 10 * (1 - math.exp(-t / 10))) for t in (0, 10, 30)]
    assert got == pytest.approx(lag, rel=1e-12)


def test_part_against_scipy():
    times, air = [0, 20, 30, 30, 50], [20, 120, 90, 150, 150]
    got = call("PART_TEMPERATURE", times, air, 7, 25)
    value, expected = 25.0, [25.0]
    for t0, t1, a0, a1 in zip(times, times[1:], air, air[1:], strict=False):
        if t1 > t0:
            found = solve_ivp(
                lambda t, y, t0=t0, t1=t1, a0=a0, a1=a1: (a0 + (a1 - a0) * (t - t0) / (t1 - t0) - y) / 7,
                (t0, t1),
                [value],
                rtol=1e-11,
                atol=1e-11,
            )
            value = float(found.y[0, -1])
        expected.append(value)
    assert got == pytest.approx(expected, rel=1e-8)


def test_part_limits():
    # a part of no lag is the air; a part of great lag stays
    times, air = np.array([0.0, 600.0, 1200.0]), np.array([293.15, 353.15, 333.15])
    assert part_temperature(times, air, 1e-6) == pytest.approx(air, abs=1e-3)
    assert part_temperature(times, air, 1e12, 300.0) == pytest.approx([300.0] * 3, abs=1e-6)
    block = part_temperature(times, np.column_stack([air, air + 10]), 300.0)
    assert block.shape == (3, 2)
    assert block[:, 1] - block[:, 0] == pytest.approx([10.0] * 3, abs=1e-9)


# ------------------------------------------------------------------------- moisture and light


def test_moisture_depth():
    # hand: 3 mm in 24 h is 0.6123724357 mm/√h; 7.937253933 mm in 7 d; 6 mm in 96 h
    assert call("MOISTURE_DEPTH", 168, 3 / math.sqrt(24)) == pytest.approx(7.937253933, rel=1e-9)
    assert call("MOISTURE_TIME", 6, 0.6123724357) == pytest.approx(96, rel=1e-9)
    # permeability law z = √(2VPpt): 5e-3 m³/mol, 1.2e-11 mol/(m·s·Pa), 1405 Pa, 24 h: 3.816679185 mm
    coefficient = math.sqrt(2 * 5e-3 * 1.2e-11 * 1405) * 1e3 * 60  # mm/√h
    assert call("MOISTURE_DEPTH", 24, coefficient) == pytest.approx(3.816679185, rel=1e-9)


def test_light():
    # hand: 0.1 W/cm² · 30 s; back again
    assert call("UV_DOSE", 100, 30) == pytest.approx(3, rel=1e-12)
    assert call("UV_TIME", 3, 100) == pytest.approx(30, rel=1e-12)


# --------------------------------------------------------------------------------- the sheet


def test_shapes_on_a_sheet():
    row, column = [[0, 30, 60]], [[0], [30], [60]]
    heat = [[25, 60, 25]]
    kinetics = [2e5, 50]
    flat = call("CURE_DEGREE", [0, 30, 60], heat[0], kinetics)
    assert flat.shape == (3,)
    across = call("CURE_DEGREE", row, heat, kinetics)
    assert across.shape == (1, 3)
    down = call("CURE_DEGREE", column, heat, kinetics)  # a row of temperatures, a column of times
    assert down.shape == (3, 1)
    assert down[:, 0] == pytest.approx(flat)
    block = call("CURE_DEGREE", column, [[25, 25], [60, 80], [25, 25]], kinetics)
    assert block.shape == (3, 2)
    assert block[2, 1] > block[2, 0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0, 60, 30], [25, 25, 25], [0.02, 0]), "in order"),
        (([0, 60], [25, 25, 25], [0.02, 0]), "as long as the times"),
        (([0, 60], FLAT, [0.02, 0, 0.1, 0]), "where A2 is given"),
        (([0, 60], FLAT, [-1, 0]), "A1"),
        (([0, 60], FLAT, [0.02, 0], 1.5), "start"),
    ],
)
def test_impossible_input_is_named(arguments, words):
    with pytest.raises(InputError, match=words):
        call("CURE_DEGREE", *arguments)


def test_time_not_reached_is_said():
    with pytest.raises(InputError, match="not reached within the record"):
        call("TIME_TO_CURE", 0.9, [0, 10], FLAT, [0.001, 0])
    assert call("TIME_TO_CURE", 0.2, [5, 10], FLAT, [0.001, 0], 0.3) == 5.0  # there from the start


# -------------------------------------------------------------------------------- properties

TEMPERATURES = st.lists(st.floats(250, 420), min_size=3, max_size=7)
FORMS = st.sampled_from(
    [
        NthOrder(2e5, 6e4, 1.0),
        NthOrder(2e5, 6e4, 0.6),
        NthOrder(2e5, 6e4, 2.0),
        Kamal(1e4, 6.5e4, 5e4, 5.5e4, 0.8, 1.6),
        Kamal(1e3, 6.0e4, 5e5, 6.0e4, 1.3, 0.8),
    ]
)


@settings(max_examples=40, deadline=None)
@given(TEMPERATURES, FORMS, st.floats(0, 0.5), st.floats(0.05, 0.95))
def test_two_halves_make_the_whole(heat, kinetics, start, cut):
    heat = np.array(heat)
    times = np.arange(heat.size) * 900.0
    whole = cure_degree(times, heat, kinetics, start)
    middle = cut * times[-1]
    at = np.interp(middle, times, heat)
    before, after = times < middle, times > middle
    first = cure_degree(np.append(times[before], middle), np.append(heat[before], at), kinetics, start)
    second = cure_degree(np.append(middle, times[after]), np.append(at, heat[after]), kinetics, first[-1])
    assert second[-1] == pytest.approx(whole[-1], abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(TEMPERATURES, FORMS, st.floats(0, 1), st.floats(0.0, 60.0))
def test_hotter_never_cures_less_and_degree_stays_in_bounds(heat, kinetics, start, warmer):
    heat = np.array(heat)
    times = np.arange(heat.size) * 900.0
    cold = cure_degree(times, heat, kinetics, start)
    hot = cure_degree(times, heat + warmer, kinetics, start)
    assert np.all(hot >= cold - 1e-7)
    for degrees in (cold, hot):
        assert np.all((degrees >= 0.0) & (degrees <= 1.0))
        assert np.all(np.diff(degrees) >= -1e-12)


@settings(max_examples=30, deadline=None)
@given(TEMPERATURES, FORMS, st.floats(0.02, 0.98))
def test_time_to_cure_is_the_inverse(heat, kinetics, goal):
    heat = np.array(heat)
    times = np.arange(heat.size) * 900.0
    time = float(time_to_cure(goal, times, heat, kinetics))
    if math.isnan(time):
        assert cure_degree(times, heat, kinetics)[-1] < goal + 1e-6
        return
    before = times < time
    at = np.interp(time, times, heat)
    end = cure_degree(np.append(times[before], time), np.append(heat[before], at), kinetics)[-1]
    assert end == pytest.approx(goal, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(250, 450), min_size=2, max_size=6), st.floats(10e3, 150e3))
def test_equivalent_time_lies_between_its_extremes(heat, energy):
    heat = np.array(heat)
    times = np.arange(heat.size) * 600.0
    got = float(equivalent_time(times, heat, 350.0, energy))
    rates = np.exp(energy / R * (1 / 350.0 - 1 / heat))
    assert rates.min() * times[-1] * (1 - 1e-9) <= got <= rates.max() * times[-1] * (1 + 1e-9)
