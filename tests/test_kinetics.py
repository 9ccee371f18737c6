"""Kinetics that slow to a stop, ceilings, stages and rates by table.

Sources: the forms are those of Chern & Poehlein, Polym. Eng. Sci. 27 (1987) 788, Rabinowitch 1937 with the
WLF equation and DiBenedetto's glass transition, Lee, Loos & Springer, J. Composite Materials 16 (1982) 510
(all from memory). No published α(t) table is known; the expected figures were computed outside of this
project by two methods each (quadrature of 1/rate and an implicit Runge–Kutta integrator; closed forms).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

import dispense
from dispense.base.errors import InputError
from dispense.handbook.cure import cure_degree, time_to_cure
from dispense.handbook.heat import pour
from dispense.handbook.kinetics import (
    LEE_LOOS_SPRINGER,
    DiffusionFactor,
    DiffusionResistance,
    Kamal,
    NthOrder,
    RateTable,
    as_kinetics,
    glass_transition,
    kinetics_of_names,
)

MINUTE = 60.0
KAMAL = (1e6, 58, 3e6, 54, 0.9, 1.8)  # 1/min, kJ/mol
FACTOR = (None, 30, 0.5, 0.0045)  # B, C, α_c0, α_cT
RESISTED = (2e7, 58, None, None, None, 2, None, None, None, None, 0.5, 17.44, 51.6, -20, 150, 0.45)
TIMES = [10, 60, 120, 240, 480, 1440, 10080]


def degrees(kinetics, celsius, times, start_time=0.0):
    """α at minutes of an isothermal cure, through the worksheet function."""
    found = dispense.call("CURE_DEGREE", [start_time, *times], [celsius] * (len(times) + 1), list(kinetics))
    return np.ravel(found)[1:]


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (
            25,
            (
                0.000697413377,
                0.00436566299,
                0.00913658402,
                0.0198634138,
                0.0461607757,
                0.212774986,
                0.708297319,
            ),
        ),
        (60, (0.00873054314, 0.0704498733, 0.180968267, 0.442230772, 0.73922243, 0.84640161, 0.906014243)),
        (80, (0.0324269886, 0.329640826, 0.648104931, 0.847987044, 0.903044933, 0.939594808, 0.975047507)),
    ],
)
def test_factor_in_the_degree(celsius, expected):
    assert degrees((*KAMAL, *FACTOR), celsius, TIMES) == pytest.approx(expected, abs=1e-6)


def test_without_the_factor():
    expected = (0.00873054314, 0.0704498734, 0.180968268, 0.442232493, 0.750170348, 0.948591836, 0.996202834)
    assert degrees(KAMAL, 60, TIMES) == pytest.approx(expected, abs=1e-6)


def test_where_the_factor_is_a_half_and_a_hundredth():
    # α_c + ln 99/C, closed form; values above 1 mean never
    kinetics = as_kinetics([1e6, 58e3, 3e6, 54e3, 0.9, 1.8, math.nan, 30, 0.5, 0.0045])
    for celsius, expected in ((25, 0.7656706617), (60, 0.9231706617), (80, 1.013170662)):
        heat = celsius + 273.15

        def factor(degree, heat=heat):
            return 1.0 / (1.0 + math.exp(float(kinetics.over(degree, heat))))

        assert factor(0.5 + 0.0045 * celsius) == pytest.approx(0.5, rel=1e-9)
        assert brentq(lambda a: factor(a) - 0.01, 0, 2, xtol=1e-13) == pytest.approx(expected, rel=1e-9)


def test_factor_along_a_ramp():
    found = dispense.call("CURE_DEGREE", [0, 27.5, 55, 85, 115], [25, 52.5, 80, 80, 80], [*KAMAL, *FACTOR])
    expected = (0.00655494246, 0.0580487317, 0.23443087, 0.435311564)
    assert np.ravel(found)[1:] == pytest.approx(expected, abs=1e-6)


def test_factor_over_order_n():
    row = (5e6, 55, None, None, None, 1.5, *FACTOR)
    expected = (0.0659736749, 0.387426572, 0.457034277, 0.835218424, 0.771190192, 0.934744006)
    found = [value for celsius in (25, 60, 80) for value in degrees(row, celsius, [60, 480])]
    assert found == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (40, (0.112667941, 0.336823973, 0.597966084, 0.609007458, 0.619309079)),
        (70, (0.470965432, 0.741630164, 0.75384585, 0.75884658, 0.766199596)),
        (100, (0.820221842, 0.86424731, 0.870177995, 0.873912789, 0.879796195)),
    ],
)
def test_sum_of_resistances(celsius, expected):
    assert degrees(RESISTED, celsius, [30, 120, 480, 1440, 10080]) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (40, (0.5479452055, 0.5819741367, 0.6159312601, 0.8093994778)),
        (70, (0.7142857143, 0.7303855926, 0.7626151703, 0.9172172561)),
        (100, (0.8421052632, 0.8476679812, 0.8762711486, 1.0)),
    ],
)
def test_where_diffusion_takes_over(celsius, expected):
    # degree at T_g = T; at k_d = k_c; where the rate is 1e-6 1/min; at the pole of WLF
    row = [math.nan if cell is None else cell for cell in RESISTED]
    row[0], row[1], row[10], row[13], row[14] = 2e7 / MINUTE, 58e3, 0.5 / MINUTE, 253.15, 423.15
    kinetics, heat = as_kinetics(row), celsius + 273.15
    chemistry = kinetics.chemistry

    def root(wanted):
        return brentq(wanted, 1e-6, 1 - 1e-9, xtol=1e-14)

    at_glass = root(lambda a: glass_transition(a, *kinetics.glass) - heat)

    def resistance(a):
        rate = float(kinetics.rate(a, heat))
        own = float(chemistry.rate(a, heat))
        return rate / own - 0.5

    equal = root(resistance)
    slow = root(lambda a: float(kinetics.rate(a, heat)) * MINUTE - 1e-6)
    assert (at_glass, equal, slow) == pytest.approx(expected[:3], rel=1e-7)
    if expected[3] < 1.0:
        assert float(kinetics.rate(expected[3] + 1e-6, heat)) == 0.0
        assert np.isfinite(kinetics.rate(np.linspace(0, 1, 2001), heat)).all()
        pole = root(lambda a: glass_transition(a, *kinetics.glass) - heat - 51.6)
        assert pole == pytest.approx(expected[3], rel=1e-9)


def test_ceiling():
    row = (0.004, 0, 0.06, 0, 1, 1, 0.85)
    found = degrees(row, 25, [10, 30, 60, 120, 300])
    assert found == pytest.approx(
        (0.0419955821, 0.176167087, 0.421875745, 0.685783972, 0.827205605), abs=1e-7
    )


@pytest.mark.parametrize(
    ("celsius", "time", "times", "expected"),
    [
        (100, 244.619937, (30, 120, 300, 600), (0.106546171, 0.23487992, 0.385110022, 0.695343377)),
        (
            140,
            17.6899872,
            (5, 15, 30, 60, 120),
            (0.173041923, 0.284512106, 0.408572139, 0.607789219, 0.827513535),
        ),
        (
            177,
            2.39967911,
            (1, 3, 6, 15, 30),
            (0.208754187, 0.321938254, 0.421687978, 0.641209322, 0.838077935),
        ),
    ],
)
def test_two_stages_by_name(celsius, time, times, expected):
    table = [
        ["A1", 2.101e9],
        ["E1", 80.7],
        ["A2", -2.014e9],
        ["E2", 77.8],
        ["m", 1],
        ["n", 1],
        ["B", 0.47],
        ["from", 0.3],
        ["A1", 1.96e5],
        ["E1", 56.6],
        ["n", 1],
    ]
    record = [0, *times], [celsius] * (len(times) + 1)
    found = np.ravel(dispense.call("CURE_DEGREE", *record, table))[1:]
    assert found == pytest.approx(expected, abs=1e-6)
    at = dispense.call("TIME_TO_CURE", 0.3, [0, 2000], [celsius] * 2, table)
    assert at == pytest.approx(time, rel=1e-6)
    own = cure_degree(np.array(record[0]) * MINUTE, np.array(record[1]) + 273.15, LEE_LOOS_SPRINGER)
    assert found == pytest.approx(own[1:], abs=1e-12)


RATES = [
    ["T", 60],
    ["E", 60],
    [0, 0.002],
    [0.1, 0.006],
    [0.3, 0.012],
    [0.5, 0.01],
    [0.7, 0.005],
    [0.85, 0.0015],
    [0.95, 0.0002],
]


def test_rates_by_table():
    goals = (0.05, 0.3, 0.6, 0.9)
    found = [dispense.call("TIME_TO_CURE", goal, [0, 1000], [60, 60], RATES) for goal in goals]
    assert found == pytest.approx((17.32867951, 50.57021324, 80.30965181, 191.8181704), rel=1e-8)
    hotter = dispense.call("TIME_TO_CURE", 0.9, [0, 1000], [80, 80], RATES)
    assert hotter == pytest.approx(56.25081823, rel=1e-8)


def test_rates_by_table_against_quadrature():
    # past the last row the rate falls linearly to 0 at full cure; numpy.interp and scipy's quad
    nodes, rates = (
        np.array([*[row[0] for row in RATES[2:]], 1.0]),
        np.array([*[row[1] for row in RATES[2:]], 0.0]),
    )
    times = [1.0, 40.0, 90.0, 300.0, 900.0]
    found = np.ravel(dispense.call("CURE_DEGREE", [0, *times], [60] * 6, RATES))[1:]
    for time, degree in zip(times, found, strict=True):
        inner = [node for node in nodes if node < degree]
        spent, _ = quad(lambda a: 1.0 / np.interp(a, nodes, rates), 0.0, degree, points=inner, limit=200)
        assert spent == pytest.approx(time, rel=1e-6)


SLOWED = [
    DiffusionFactor(Kamal(1e6 / 60, 58e3, 3e6 / 60, 54e3, 0.9, 1.8), 30.0, 0.5, 0.0045),
    DiffusionFactor(Kamal(1e6 / 60, 58e3, 3e6 / 60, 54e3, 0.9, 1.8, 0.95), 12.0, 0.3, 0.004),
    DiffusionFactor(RateTable((0.0, 0.5), (1e-4, 2e-4), 333.15, 6e4), 40.0, 0.6, 0.002),
    DiffusionResistance(NthOrder(2e7 / 60, 58e3, 2.0), 0.5 / 60, (253.15, 423.15, 0.45)),
    DiffusionResistance(Kamal(1e6 / 60, 58e3, 3e6 / 60, 54e3, 0.9, 1.8), 0.05 / 60, (253.15, 423.15, 0.45)),
    DiffusionResistance(RateTable((0.0, 0.5), (1e-4, 2e-4), 333.15, 6e4), 0.05 / 60, (253.15, 423.15, 0.6)),
    RateTable((0.0, 0.1, 0.5, 0.8), (1e-4, 2e-4, 1.5e-4, 2e-5), 333.15, 6e4),
    Kamal(1e6 / 60, 58e3, 3e6 / 60, 54e3, 0.4, 0.7, 0.9),
]


@pytest.mark.parametrize("kinetics", SLOWED)
def test_slopes_are_those_of_the_rate(kinetics):
    # central differences of the rate
    for degree in (0.05, 0.3, 0.55, 0.7):
        for heat in (310.0, 345.0, 380.0):
            rate, by_degree, by_heat = (float(part) for part in kinetics.slopes(degree, heat))
            assert rate == pytest.approx(float(kinetics.rate(degree, heat)), rel=1e-12)
            step = 1e-6
            slope = (
                float(kinetics.rate(degree + step, heat)) - float(kinetics.rate(degree - step, heat))
            ) / (2 * step)
            assert by_degree == pytest.approx(slope, rel=2e-4, abs=1e-9 * rate + 1e-14)
            warm = (
                float(kinetics.rate(degree, heat + 1e-3)) - float(kinetics.rate(degree, heat - 1e-3))
            ) / 2e-3
            assert by_heat == pytest.approx(warm, rel=2e-4, abs=1e-9 * rate + 1e-16)
            assert float(kinetics.fastest(degree - 0.05, heat)) >= rate * (1 - 1e-12)


@pytest.mark.parametrize("kinetics", SLOWED)
def test_cooling_and_heating_records_against_an_implicit_integrator(kinetics):
    times = np.array([0.0, 1800.0, 3600.0, 20000.0])
    heat = np.array([300.0, 370.0, 300.0, 345.0])
    found = cure_degree(times, heat, kinetics)
    begin = 0.0
    for place in range(3):
        span = times[place], times[place + 1]

        def rate(t, y):
            return [float(kinetics.rate(min(max(y[0], 0.0), 1.0), np.interp(t, times, heat)))]

        begin = solve_ivp(rate, span, [begin], method="Radau", rtol=1e-8, atol=1e-10).y[0, -1]
        assert found[place + 1] == pytest.approx(begin, abs=1e-6)


@pytest.mark.parametrize("kinetics", SLOWED)
def test_a_record_cut_in_pieces_gives_the_same(kinetics):
    fine = np.linspace(0.0, 20000.0, 173)
    for begin, end in ((385.0, 295.0), (295.0, 385.0)):
        ends = np.array([begin, end])
        whole = cure_degree([0.0, 20000.0], ends, kinetics)[-1]
        cut = cure_degree(fine, np.interp(fine, [0.0, 20000.0], ends), kinetics)
        assert cut[-1] == pytest.approx(whole, abs=1e-6)
        if begin < end:
            continue
        goal = 0.7 * whole
        at = time_to_cure(goal, [0.0, 20000.0], ends, kinetics)
        there = np.array([0.0, float(at)])
        heat = np.interp(there, [0.0, 20000.0], ends)
        assert cure_degree(there, heat, kinetics)[-1] == pytest.approx(goal, abs=1e-6)


def test_a_pour_that_turns_into_a_glass_keeps_the_heat_it_has_not_made():
    # α stays in [0, 1], the energy closes, and without loss of heat T = T0 + ΔH·α/c whatever the kinetics
    for kinetics in (SLOWED[0], SLOWED[3], SLOWED[5]):
        slab = pour(0.02, 296.15, 296.15, kinetics, 1.5e5, 1100.0, 1800.0, 0.25, duration=36000.0)
        assert slab.imbalance < 1e-6
        assert 0.0 <= slab.degrees.min() <= slab.degrees.max() < 1.0
        alone = pour(0.02, 296.15, 296.15, kinetics, 1.5e5, 1100.0, 1800.0, 0.25, 0.0, duration=36000.0)
        rise = 1.5e5 / 1800.0 * alone.degrees[-1]
        assert alone.temperatures[-1] - 296.15 == pytest.approx(rise, abs=1e-3)
        pure = pour(0.02, 296.15, 296.15, kinetics.chemistry, 1.5e5, 1100.0, 1800.0, 0.25, duration=36000.0)
        assert slab.degrees[-1].max() < pure.degrees[-1].max()
        assert slab.peak_temperature <= pure.peak_temperature + 1e-6


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ([["A1", 1], ["E1", 50], ["A2", 3]], "E2 and m"),
        ([["A1", 1], ["E1", 50], ["C", 30]], "alpha_c0"),
        ([["A1", 1], ["E1", 50], ["kd0", 1]], "Tg0"),
        ([["A1", 1], ["E1", 50], ["Q", 1]], "one of A1"),
        ([["A1", 1], ["E1", "x"]], "E1"),
        ([["T", 60], [0, 0.1], [0.5, 0.2]], "E too"),
        (
            [
                ["A1", 1],
                ["E1", 50],
                ["from", 0.5],
                ["A1", 1],
                ["E1", 40],
                ["from", 0.2],
                ["A1", 1],
                ["E1", 4],
            ],
            "rising",
        ),
        (
            [
                ["A1", 1],
                ["E1", 50],
                ["C", 30],
                ["alpha_c0", 0.5],
                ["kd0", 1],
                ["Tg0", 0],
                ["Tg1", 90],
                ["lambda", 0.5],
            ],
            "not both",
        ),
    ],
)
def test_a_table_that_lacks_something_says_what(table, words):
    with pytest.raises(InputError, match=words):
        dispense.call("CURE_DEGREE", [0, 60], [25, 25], table)
    with pytest.raises(InputError):
        kinetics_of_names(table)


def test_a_row_that_lacks_something_is_refused():
    for row in ([1, 50, None, None, None, 1, None, 30], [1, 50, *[None] * 8, 0.5]):
        with pytest.raises(InputError, match="complete"):
            dispense.call("CURE_DEGREE", [0, 60], [25, 25], row)


def test_names_take_units_and_a_block_of_numbers_keeps_its_meaning():
    named = dispense.call(
        "CURE_DEGREE", [0, 60], [25, 25], [["a1", "0.02 1/min"], ["E1", "0 J/mol"], ["n", None]]
    )
    assert np.ravel(named)[1] == pytest.approx(0.6988057881, rel=1e-9)  # 1 − exp(−0.02·60)
    block = dispense.call("CURE_DEGREE", [0, 60], [25, 25], [[0.02, 0], [None, None], [None, 1]])
    assert np.ravel(block)[1] == pytest.approx(0.6988057881, rel=1e-9)
