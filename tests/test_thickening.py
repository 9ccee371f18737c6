"""Viscosity that grows with cure, and what it does to pressure, flow and life.

Castro & Macosko, AIChE J. 28 (1982) 250 and Lee, Loos & Springer, J. Composite Materials 16 (1982) 510: forms
and constants from memory, the papers not opened. The figures were computed outside of this project, each by
two methods (closed form of the degree for m = n = 1, quadrature, integrators with events).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import dispense
from dispense.base.errors import InputError
from dispense.handbook.kinetics import LEE_LOOS_SPRINGER, NthOrder
from dispense.handbook.thickening import (
    CastroMacosko,
    ExponentialThickening,
    aged_degree,
    least_viscosity,
    mass_pot_life,
)

R = 8.31446261815324
KINETICS = [200000, 46, 4000000, 48, 1, 1]
FRESH = 1.03e-07 * math.exp(41300 / (R * 296.15))  # of A·exp(E/RT), at 23 °C
LAW = [FRESH, 23, 41.3, 0.65, 1.5, 1.0]
CURED = [1.0, 25, 90.8, None, None, None, 14.1]
CURED[0] = 7.93e-14 * math.exp(90800 / (R * 298.15))


def call(name, *arguments):
    return dispense.call(name, *arguments)


def test_viscosity_with_a_gel_point():
    expected = (
        1.982200482, 3.703727365, 37.22132017,
        0.7974502853, 1.490030131, 14.97434425,
        0.3077118183, 0.5749573224, 5.778144143,
    )  # fmt: skip
    found = [
        call("CURING_VISCOSITY", degree, celsius, LAW) for celsius in (23, 40, 60) for degree in (0, 0.2, 0.5)
    ]
    assert found == pytest.approx(expected, rel=1e-8)
    for degree in (0.65, 0.9):  # infinite, not negative
        with pytest.raises(InputError, match="gel point"):
            call("CURING_VISCOSITY", degree, 23, LAW)


def test_exponential_viscosity():
    expected = (2.134501314, 1.666604817, 1.540298555, 6.734924198)
    places = ((80, 0.0), (100, 0.1), (120, 0.2), (140, 0.4))
    found = [call("CURING_VISCOSITY", degree, celsius, CURED) for celsius, degree in places]
    assert found == pytest.approx(expected, rel=1e-8)


def test_viscosity_of_an_age():
    times = [0, 10, 30, 60]
    degrees = np.ravel(call("CURE_DEGREE", times, [25] * 4, KINETICS))[1:]
    assert degrees == pytest.approx((0.01871380578, 0.06430571357, 0.1556414916), rel=1e-7)
    thick = np.ravel(call("AGED_VISCOSITY", times, [25] * 4, KINETICS, LAW))[1:]
    assert thick == pytest.approx((1.851621457, 2.084764873, 2.786714726), rel=1e-7)


def test_time_to_a_viscosity():
    fresh = call("CURING_VISCOSITY", 0, 25, LAW)
    record = [0, 300], [25, 25]
    found = [call("VISCOSITY_TIME", goal, *record, KINETICS, LAW) for goal in (2 * fresh, 20)]
    assert found == pytest.approx((76.008322, 129.8311227), rel=1e-7)
    assert call("TIME_TO_CURE", 0.65, *record, KINETICS) == pytest.approx(171.1493753, rel=1e-7)
    assert call("FLOW_LIFE", 0.5, 25, KINETICS, LAW) == pytest.approx(76.008322, rel=1e-7)
    # a shear-thinning mix of index n loses half its flow at 2ⁿ the consistency
    half = call("FLOW_LIFE", 0.5, 25, KINETICS, LAW, 0.5)
    assert call("VISCOSITY_TIME", math.sqrt(2) * fresh, *record, KINETICS, LAW) == pytest.approx(
        half, rel=1e-7
    )


def test_pressure_of_an_age():
    expected = (34.8032096, 38.38712494, 46.37831521, 69.59630001, 163.2803959)  # kPa
    found = [call("AGED_PRESSURE", age, 25, 0.04, 1.2, 25, KINETICS, LAW) for age in (0, 20, 45, 76, 110)]
    assert [100 * bar for bar in found] == pytest.approx(expected, rel=1e-7)
    # flow, life and drift are inverses
    assert call("AGED_FLOW", 45, 25, found[2], 1.2, 25, KINETICS, LAW) == pytest.approx(0.04, rel=1e-9)
    for age, bar in ((45, found[2]), (110, found[4])):
        life = call("PRESSURE_LIFE", bar, 25, 0.04, 1.2, 25, KINETICS, LAW)
        assert life == pytest.approx(age, rel=1e-7)
        assert call("SHOT_DRIFT", age, 25, KINETICS, LAW) == pytest.approx(
            100 * (1 - found[0] / bar), rel=1e-7
        )


def test_pressure_life_of_a_paste_with_a_yield_stress():
    # Herschel–Bulkley: at the life found the flow needs the pressure again
    tube = (0.05, 1.0, 25, KINETICS, LAW, 1.0, 0.5, 100)
    life = call("PRESSURE_LIFE", 0.5, 25, *tube)
    assert call("AGED_PRESSURE", life, 25, *tube) == pytest.approx(0.5, rel=1e-6)
    assert call("PRESSURE_LIFE", 0.09, 25, *tube) == 0.0  # the yield stress alone needs 0.1 bar
    with pytest.raises(InputError, match="within a year"):
        call("PRESSURE_LIFE", 1e5, 25, 0.04, 1.2, 25, [1e-12, 0], LAW)


def test_mix_of_all_ages_in_a_mixer():
    found = (
        call("MIXER_VISCOSITY", 0.8, 25, KINETICS, LAW),
        call("MIXER_VISCOSITY", 0.8, 25, KINETICS, LAW, 6),
    )
    assert found == pytest.approx((1.774140769, 1.820510939), rel=1e-8)
    outlet = np.ravel(call("AGED_VISCOSITY", [0, 0.8], [25, 25], KINETICS, LAW))[1]
    assert outlet == pytest.approx(1.777031533, rel=1e-8)


def test_along_a_shop_record():
    record = [0, 10, 25, 40, 120], [23, 28, 34, 30, 26]
    assert call("VISCOSITY_TIME", 20, *record, KINETICS, LAW) == pytest.approx(101.1542197, rel=1e-6)
    times = [0, 5, 10, 20]
    thick = call("AGED_VISCOSITY", times, np.interp(times, *record).tolist(), KINETICS, LAW)
    assert np.ravel(thick)[1:] == pytest.approx((1.757593042, 1.571189211, 1.366274833), rel=1e-6)


def test_thinnest_on_a_ramp():
    law = ExponentialThickening(CURED[0], 298.15, 90.8e3, 14.1)
    ramp = np.array([0.0, 3000.0]), np.array([298.15, 423.15])  # 2.5 K/min
    time, degree, least = least_viscosity(*ramp, LEE_LOOS_SPRINGER, law)
    assert time / 60 == pytest.approx(39.188988, rel=1e-5)
    assert (degree, least) == pytest.approx((0.099347484, 0.30250289), rel=1e-5)


def test_a_law_from_points():
    # made from the law by logarithms here, found again by least squares
    ages, celsius = [0, 30, 60, 90, 5, 40], [25, 25, 25, 25, 40, 40]
    heat = np.array(celsius) + 273.15
    row = [200000 / 60, 46e3, 4000000 / 60, 48e3, 1, 1]
    degrees = aged_degree(np.array(ages) * 60.0, heat, row)
    fresh = FRESH * np.exp(41300 / R * (1 / heat - 1 / 296.15))
    thick = fresh * (0.65 / (0.65 - degrees)) ** (1.5 + degrees)
    found = call("THICKENING_FIT", ages, celsius, thick.tolist(), KINETICS, 0.65)
    assert found.viscosity == pytest.approx(fresh[0], rel=1e-9)
    assert (found.energy, found.a, found.b) == pytest.approx((41.3, 1.5, 1.0), rel=1e-7)
    thick = fresh * np.exp(6.0 * degrees)
    found = call("THICKENING_FIT", ages, celsius, thick.tolist(), KINETICS)
    assert (found.energy, found.growth) == pytest.approx((41.3, 6.0), rel=1e-7)
    with pytest.raises(InputError, match="do not set"):
        call("THICKENING_FIT", [10, 10], [25, 25], [2, 2], KINETICS)


@pytest.mark.parametrize("film", [0.0, 10.0])
@pytest.mark.parametrize("grams", [10.0, 100.0, 2000.0])
def test_pot_life_of_a_mass_against_an_integrator(grams, film):
    # the lumped balance by an implicit integrator in time
    kinetics = NthOrder(2e7 / 60, 58e3, 1.6)
    mass, room, heat, specific, rho, conducts, goal = grams / 1e3, 298.15, 3e5, 1800.0, 1100.0, 0.2, 0.5
    radius = (3 * mass / (4 * math.pi * rho)) ** (1 / 3)
    area = 4 * math.pi * radius**2
    through = 0.0 if film == 0.0 else 1 / (1 / film + radius / (5 * conducts))

    def rate(t, y):
        speed = float(kinetics.rate(min(y[0], 1.0), y[1]))
        return [speed, heat / specific * speed - through * area * (y[1] - room) / (mass * specific)]

    def gel(t, y):
        return y[0] - goal

    gel.terminal = True
    true = solve_ivp(rate, (0, 1e6), [0, room], events=gel, method="LSODA", rtol=1e-10, atol=1e-12)
    life, end = mass_pot_life(mass, room, goal, kinetics, heat, specific, rho, conducts, film)
    assert float(life) == pytest.approx(true.t_events[0][0], rel=1e-4)
    assert float(end) == pytest.approx(true.y_events[0][0][1], abs=0.02)


def test_a_larger_mass_lives_shorter_down_to_the_adiabatic_life():
    kinetics = [2e7, 58, None, None, None, 1.6]
    lives = np.ravel(call("MASS_POT_LIFE", [1, 10, 100, 1000, 1e6], 25, 0.5, kinetics, 300, 1.8, 1.1, 0.2)[0])
    assert np.all(np.diff(lives) < 0.0)
    alone = call("TIME_TO_CURE", 0.5, [0, 1e4], [25, 25], kinetics)
    assert lives[0] < alone < 1.1 * lives[0]
    adiabatic = call("MASS_POT_LIFE", 1, 25, 0.5, kinetics, 300, 1.8, 1.1, 0.2, 0)
    assert lives[-1] == pytest.approx(adiabatic.life, rel=0.01)
    assert adiabatic.temperature_at_end == pytest.approx(25 + 0.5 * 300 / 1.8, abs=1e-6)  # heat balance


def test_growth_and_degree_are_inverses():
    for law in (CastroMacosko(2.0, 300.0, 4e4, 0.6, 1.5, 1.0), ExponentialThickening(2.0, 300.0, 4e4, 9.0)):
        for degree in (0.0, 0.01, 0.3, 0.55):
            growth = float(law.viscosity(degree, 300.0)) / 2.0
            assert float(law.degree(growth)) == pytest.approx(degree, abs=1e-12)


def test_a_law_that_is_not_whole_is_refused():
    for row in ([2, 23, 40], [2, 23, 40, 0.6], [2, 23, 40, 0.6, 1.5, 1, 9]):
        with pytest.raises(InputError, match="complete"):
            call("CURING_VISCOSITY", 0.1, 25, row)


def test_the_degree_at_the_end_of_a_life_is_worked_out_once(monkeypatch):
    """An edit of a bead asks again with the same numbers. Without heat it is 1 − exp(−k·t), by hand."""
    from dispense.base.memory import forget_all
    from dispense.handbook import thickening
    from dispense.handbook.kinetics import NthOrder

    asked, real = [], thickening.mass_pot_life
    monkeypatch.setattr(thickening, "mass_pot_life", lambda *given: asked.append(1) or real(*given))
    forget_all()
    given = (1000.0, 298.15, 0.1, NthOrder(1e-3, 0.0), 0.0, 1800.0, 1100.0, 0.2)
    first = thickening.degree_of_mass_life(*given)
    assert first == pytest.approx(1.0 - math.exp(-1.0), abs=1e-5)
    count = len(asked)
    assert count and thickening.degree_of_mass_life(*given) == first and len(asked) == count
    thickening.degree_of_mass_life(999.0, *given[1:])
    assert len(asked) > count
