"""Cure schedules and fits, against statsmodels, closed forms, and data made by another integrator."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.integrate import solve_ivp
from scipy.stats import t as student

from dispense.cure import (
    Kamal,
    NthOrder,
    belt_dose,
    belt_speed,
    cure_degree,
    light_depth,
    record_dose,
    time_to_cure,
)
from dispense.errors import InputError
from dispense.moisture import (
    moisture_coefficient,
    moisture_depth,
    permeation_coefficient,
    vapour_pressure,
)
from dispense.schedule import (
    PartLag,
    Profile,
    Requirement,
    fit_activation_energy,
    fit_kinetics,
    ramp_hold,
    schedule,
    shortest_hold,
)

R = 8.31446261815324


# ------------------------------------------------------------------------------ activation energy


def test_activation_energy_of_two_points():
    # hand: R·ln(60/25)/(1/296.15 − 1/308.15) = 55.35635557 kJ/mol
    fit = fit_activation_energy([296.15, 308.15], [3600, 1500])
    assert fit.energy == pytest.approx(55355.0, rel=1e-4)
    assert fit.energy == pytest.approx(R * math.log(2.4) / (1 / 296.15 - 1 / 308.15), rel=1e-12)
    assert math.isnan(fit.low) and math.isnan(fit.high)
    assert "two points" in fit.warnings[0]


def test_activation_energy_interval_against_statsmodels():
    rng = np.random.default_rng(5)
    heat = np.array([296.15, 303.15, 313.15, 323.15, 333.15, 343.15])
    times = 3600 * np.exp(62e3 / R * (1 / heat - 1 / 296.15)) * np.exp(rng.normal(0, 0.05, 6))
    fit = fit_activation_energy(heat, times)
    ols = sm.OLS(np.log(times), sm.add_constant(1 / heat)).fit()
    assert fit.energy == pytest.approx(ols.params[1] * R, rel=1e-9)
    low, high = ols.conf_int(0.05)[1] * R
    assert (fit.low, fit.high) == pytest.approx((low, high), rel=1e-8)
    assert fit.residuals == pytest.approx(ols.resid, abs=1e-9)
    wide = fit_activation_energy(heat, times, confidence=0.99)
    ratio = (wide.high - wide.low) / (fit.high - fit.low)
    assert ratio == pytest.approx(student.ppf(0.995, 4) / student.ppf(0.975, 4), rel=1e-9)


def test_activation_energy_interval_covers_the_truth():
    # 400 made-up test series: the 95 % interval holds the energy in 95 % of them, ±4 standard errors
    rng = np.random.default_rng(6)
    heat = np.array([296.15, 308.15, 323.15, 338.15])
    hits = 0
    for _ in range(400):
        times = np.exp(60e3 / R / heat - 15 + rng.normal(0, 0.1, 4))
        fit = fit_activation_energy(heat, times)
        hits += fit.low <= 60e3 <= fit.high
    assert abs(hits / 400 - 0.95) < 4 * math.sqrt(0.95 * 0.05 / 400)


def test_activation_energy_warnings_and_errors():
    with pytest.raises(InputError, match="two different temperatures"):
        fit_activation_energy([300, 300], [10, 20])
    with pytest.raises(InputError, match="as many as temperatures"):
        fit_activation_energy([300, 310], [10])
    upside_down = fit_activation_energy([300, 310, 320], [10, 20, 40])
    assert any("mixed-up" in words for words in upside_down.warnings)
    near = fit_activation_energy([300, 303], [10, 9])
    assert any("within 10 K" in words for words in near.warnings)


# ------------------------------------------------------------------------------------- kinetics


def measured(kinetics, temperatures, times, noise=0.0, seed=0):
    """Isothermal runs by scipy, rows below one another, with noise."""
    rows = []
    for heat in temperatures:
        found = solve_ivp(lambda t, y, heat=heat: kinetics.rate(np.clip(y, 0, 1), heat),
                          (0, times[-1]), [0.0], t_eval=times, method="LSODA", rtol=1e-10,
                          atol=1e-11)  # fmt: skip
        rows += [(t, a, heat) for t, a in zip(times, found.y[0], strict=True)]
    times, degrees, heat = np.array(rows).T
    return times, degrees + np.random.default_rng(seed).normal(0, noise, degrees.size), heat


TIMES = np.array([120, 300, 600, 900, 1500, 2400, 3600, 5400.0])


def test_fit_of_order_n():
    true = NthOrder(2e5, 6e4, 1.4)
    fit = fit_kinetics(*measured(true, [333.15, 353.15, 373.15], TIMES))
    assert fit.kinetics.energy == pytest.approx(6e4, rel=1e-4)
    assert fit.kinetics.order == pytest.approx(1.4, rel=1e-4)
    assert fit.kinetics.factor == pytest.approx(2e5, rel=1e-3)
    assert not fit.warnings
    assert fit.row[:2] == pytest.approx((2e5 * 60, 60.0), rel=1e-3)


def test_fit_of_kamal_sourour():
    true = Kamal(5e4, 6.5e4, 5e4, 5.5e4, 0.9, 1.5)
    runs = measured(true, [333.15, 353.15, 373.15], TIMES)
    fit = fit_kinetics(*runs, form="Kamal-Sourour")
    assert np.abs(fit.residuals).max() < 2e-5
    k = fit.kinetics
    assert k.power == pytest.approx(0.9, abs=0.02)
    assert k.order == pytest.approx(1.5, abs=0.02)
    assert (k.energy, k.energy_auto) == pytest.approx((6.5e4, 5.5e4), rel=0.02)


def test_errors_of_a_fit_are_those_of_its_noise():
    # 5 σ: a fit of noisy data comes within its own standard errors; the noise is found again
    true = NthOrder(2e5, 6e4, 1.4)
    scores = []
    for seed in range(6):
        fit = fit_kinetics(*measured(true, [333.15, 353.15, 373.15], TIMES, 0.01, seed))
        scores += [(fit.kinetics.energy - 6e4) / fit.errors[fit.names.index("E1")],
                   (fit.kinetics.order - 1.4) / fit.errors[fit.names.index("n")]]  # fmt: skip
        assert fit.spread == pytest.approx(0.01, rel=0.6)
    assert np.max(np.abs(scores)) < 5
    assert np.sqrt(np.mean(np.square(scores))) == pytest.approx(1, abs=0.7)


def test_fit_says_what_the_data_cannot_tell():
    true = NthOrder(2e5, 6e4, 1.4)
    one = fit_kinetics(*measured(true, [353.15], TIMES, 0.002))
    assert any("one temperature" in words for words in one.warnings)
    assert "E1" not in one.names
    early = measured(true, [333.15, 343.15], np.array([30.0, 60, 90, 120, 150]), 0.002)
    fit = fit_kinetics(*early)
    assert any("extrapolation" in words for words in fit.warnings)
    assert any("n is known" in words or "apart" in words for words in fit.warnings)
    # an autocatalytic cure is not of order n
    wrong = fit_kinetics(*measured(Kamal(1e4, 6e4, 1e6, 5.8e4, 1.2, 1.2), [343.15, 363.15],
                                   np.linspace(200, 7200, 12)))  # fmt: skip
    assert any("does not follow" in words for words in wrong.warnings)


def test_fit_of_ramps():
    # a run may be a ramp: rows with their own temperatures
    true = NthOrder(2e5, 6e4, 1.0)
    times = np.linspace(0, 3600, 13)
    rows = []
    for rate in (1 / 60, 2 / 60):
        heat = 300 + rate * times
        rows += list(zip(times, cure_degree(times, heat, true), heat, strict=True))
    t, a, heat = np.array(rows).T
    fit = fit_kinetics(t, a, heat)
    assert fit.kinetics.energy == pytest.approx(6e4, rel=1e-4)
    labelled = fit_kinetics(t, a, heat, runs=["slow"] * 13 + ["quick"] * 13)
    assert labelled.kinetics.energy == pytest.approx(6e4, rel=1e-4)


def test_fit_refuses_nonsense():
    with pytest.raises(InputError, match="percentages"):
        fit_kinetics([1, 2, 3, 4, 5], [10, 20, 30, 40, 50], [300] * 5)
    with pytest.raises(InputError, match="more than the 3"):
        fit_kinetics([1, 2], [0.1, 0.2], [300, 300])
    with pytest.raises(InputError, match="one of n-th order"):
        fit_kinetics([1, 2, 3, 4], [0.1, 0.2, 0.3, 0.4], [300] * 4, form="other")


# ------------------------------------------------------------------------------------ schedules

LOAD = [PartLag("thin edge", 120.0), PartLag("core", 900.0, offset=-3.0)]


def test_schedule_against_a_joint_integration():
    # part and cure as one system of ordinary differential equations
    oven = ramp_hold(296.15, 353.15, 3600.0, 2 / 60, 4 / 60)
    kinetics = Kamal(1e5, 6.5e4, 5e5, 6.0e4, 0.8, 1.6)
    need = Requirement(degree=0.5, equivalent=1200.0, reference=353.15, energy=60e3)
    played = schedule(oven, LOAD, kinetics, requirement=need, gel=0.2, handling=0.25,
                      glass=(253.15, 393.15, 0.5))  # fmt: skip
    for part in played.parts:
        def rate(t, y, lag=part.part):
            air = np.interp(t, oven.times, oven.temperatures) + lag.offset
            return [(air - y[0]) / lag.time_constant, kinetics.rate(np.clip(y[1], 0, 1), y[0]),
                    math.exp(60e3 / R * (1 / 353.15 - 1 / y[0]))]  # fmt: skip

        found = solve_ivp(rate, (0, oven.times[-1]), [296.15, 0, 0],
                          max_step=20, rtol=1e-9, atol=1e-9, dense_output=True)  # fmt: skip
        assert part.temperatures[-1] == pytest.approx(found.y[0, -1], abs=0.01)
        assert part.degrees[-1] == pytest.approx(found.y[1, -1], abs=1e-5)
        assert part.equivalent[-1] == pytest.approx(found.y[2, -1], rel=2e-5)
        assert found.sol(part.gel)[1] == pytest.approx(0.2, abs=1e-5)
        # DiBenedetto by hand at the end
        a = part.degrees[-1]
        tg = 253.15 + 140 * 0.5 * a / (1 - 0.5 * a)
        assert part.glass_points[-1] == pytest.approx(tg, rel=1e-12)
    assert played.hottest.part.name == "thin edge"
    assert played.coldest.gel > played.hottest.gel


def test_schedule_says_why_a_part_fails():
    oven = ramp_hold(296.15, 353.15, 60.0, 0.0)
    need = Requirement(degree=0.99, equivalent=3600.0, reference=353.15, energy=60e3, limit=330.0)
    played = schedule(oven, LOAD, NthOrder(2e5, 6e4), requirement=need, cured=0.99)
    assert not played.passes
    edge, core = played.parts
    assert any("0.990 is required" in words for words in edge.reasons)
    assert any("60.0 min are required" in words for words in core.reasons)
    assert math.isnan(edge.cured)
    long = schedule(ramp_hold(296.15, 353.15, 1e5, 0.0), LOAD, NthOrder(2e5, 6e4),
                    requirement=need)  # fmt: skip
    assert any("the limit is 56.9 °C" in words for words in long.parts[0].reasons)
    with pytest.raises(InputError, match="neither kinetics"):
        schedule(oven, LOAD)


def test_step_of_the_air_stays_a_step():
    # hand: part at 296.15 K into air of 353.15 K, one time constant: 353.15 − 57/e
    oven = Profile([0.0, 0.0, 600.0], [296.15, 353.15, 353.15])
    need = Requirement(energy=60e3, reference=353.15)
    part = schedule(oven, [PartLag("part", 600.0)], requirement=need).parts[0]
    assert part.temperatures[-1] == pytest.approx(353.15 - 57 / math.e, abs=1e-6)


def test_shortest_hold():
    # a quick part held at once: the time of CURE_TIME alone; hand: ln 20/k
    kinetics = NthOrder(2e5, 6e4)
    k = 2e5 * math.exp(-6e4 / R / 353.15)

    def step(hold):
        return ramp_hold(353.15, 353.15, hold, 0.0)

    hold = shortest_hold(step, [PartLag("part", 1.0)], kinetics,
                         requirement=Requirement(degree=0.95))  # fmt: skip
    assert hold == pytest.approx(math.log(20) / k, rel=1e-4)

    def oven(hold):
        return ramp_hold(296.15, 353.15, hold, 2 / 60, 4 / 60)

    need = Requirement(degree=0.95)
    hold = shortest_hold(oven, LOAD, kinetics, requirement=need)
    enough = schedule(oven(hold * 1.0001 + 0.1), LOAD, kinetics, requirement=need)
    short = schedule(oven(hold * 0.999 - 0.1), LOAD, kinetics, requirement=need)
    assert enough.passes and not short.passes
    assert short.parts[0].passes  # the coldest part decides
    equal = Requirement(equivalent=1800.0, reference=353.15, energy=60e3)
    hold = shortest_hold(step, [PartLag("part", 1.0)], requirement=equal)
    assert hold == pytest.approx(1800.0, abs=0.1)  # at the reference time is time
    with pytest.raises(InputError, match="does not pass"):
        shortest_hold(oven, LOAD, NthOrder(1e-12, 0.0), requirement=need)


def test_gel_time_of_a_schedule_is_that_of_the_handbook():
    oven = ramp_hold(353.15, 353.15, 7200.0, 0.0)
    kinetics = NthOrder(2e5, 6e4, 1.5)
    part = schedule(oven, [PartLag("part", 1.0)], kinetics, gel=0.4).parts[0]
    expected = time_to_cure(0.4, np.array([0.0, 7200.0]), np.full(2, 353.15), kinetics)
    assert part.gel == pytest.approx(float(expected), rel=1e-4)


# ------------------------------------------------------------------------- moisture and light


def test_moisture_by_humidity_and_permeability():
    # IAPWS-95: 2811.071908 Pa at 23 °C; Magnus reads 0.3 % lower
    assert vapour_pressure(296.15) == pytest.approx(2811.071908, rel=4e-3)
    assert vapour_pressure(296.15) * 0.5 == pytest.approx(1405.535954, rel=4e-3)
    # z = √(2VPpt) and dz/dt = VPp/z (scipy): 3.816679185 mm in 24 h
    k = permeation_coefficient(5e-3, 1.2e-11, 1405.0)
    assert moisture_depth(86400.0, k) * 1e3 == pytest.approx(3.816679185, rel=1e-9)
    found = solve_ivp(lambda t, z: 5e-3 * 1.2e-11 * 1405 / z, (1.0, 86400.0), [k], rtol=1e-9,
                      atol=1e-12)  # fmt: skip
    assert found.y[0, -1] == pytest.approx(3.816679185e-3, rel=1e-6)
    # hand: 3 mm in a day at 50 % is 3·√(0.3/0.5) mm at 30 %
    dry = moisture_coefficient(0.003, 86400.0, humidity=0.3, reference_humidity=0.5)
    assert moisture_depth(86400.0, dry) * 1e3 == pytest.approx(2.323790008, rel=1e-9)
    plain = moisture_coefficient(0.003, 86400.0)
    assert plain * 60 * 1e3 == pytest.approx(0.6123724357, rel=1e-9)  # mm/√h


def test_light_on_a_belt_and_in_depth():
    # hand: 500 mW/cm² over 80 mm at 2 m/min: 1.2 J/cm²
    assert belt_dose(5000.0, 0.08, 2 / 60) == pytest.approx(1.2e4, rel=1e-12)
    assert belt_speed(1.2e4, 5000.0, 0.08) * 60 == pytest.approx(2.0, rel=1e-12)
    # a lamp of 100·exp(−t/20 s) mW/cm² for 30 s: 1553.73968 mJ/cm², closed form
    t = np.linspace(0, 30, 3001)
    got = record_dose(t, 1000 * np.exp(-t / 20)) / 10  # mJ/cm²
    assert got == pytest.approx(1553.73968, rel=1e-6)
    # Jacobs: 150 µm, 10 and 100 mJ/cm²: 345.3877639 µm; none below the critical dose
    assert light_depth(1000.0, 100.0, 150e-6) * 1e6 == pytest.approx(345.3877639, rel=1e-9)
    assert light_depth(50.0, 100.0, 150e-6) == 0.0
