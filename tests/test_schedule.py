"""Cure schedules and fits, against statsmodels, closed forms, and data made by another integrator."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.integrate import solve_ivp
from scipy.stats import t as student

from dispense.base.errors import InputError
from dispense.handbook.cure import (
    Kamal,
    NthOrder,
    belt_dose,
    belt_speed,
    cure_degree,
    light_depth,
    record_dose,
    time_to_cure,
)
from dispense.handbook.fitting import fit_kinetics
from dispense.handbook.moisture import (
    moisture_coefficient,
    moisture_depth,
    permeation_coefficient,
    vapour_pressure,
)
from dispense.handbook.schedule import (
    PartLag,
    Profile,
    Requirement,
    arrhenius_curvature,
    fit_activation_energy,
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


BENT = np.array([293.15, 303.15, 313.15, 323.15, 333.15])


def test_curvature_against_statsmodels():
    # times of two reactions side by side: more energy in the cold; statsmodels' t test of 1/T²
    rng = np.random.default_rng(8)
    for noise in (0.01, 0.05, 0.3):
        rate = np.exp(-40e3 / R / BENT + 15) + np.exp(-95e3 / R / BENT + 36)
        times = 1e4 / rate * np.exp(rng.normal(0, noise, 5))
        found = arrhenius_curvature(BENT, times)
        inverse = 1e3 / BENT - 3.2
        ols = sm.OLS(np.log(times), np.column_stack([np.ones(5), inverse, inverse**2])).fit()
        assert found.statistic == pytest.approx(ols.tvalues[2], rel=1e-6)
        assert found.chance == pytest.approx(ols.pvalues[2], rel=1e-6)
        line = sm.OLS(np.log(times), sm.add_constant(inverse)).fit()
        # what the line gives over what the parabola gives, at both ends
        assert found.cold == pytest.approx(np.exp(line.fittedvalues - ols.fittedvalues)[0] - 1, rel=1e-6)
        assert found.hot == pytest.approx(np.exp(line.fittedvalues - ols.fittedvalues)[-1] - 1, rel=1e-6)


def test_bent_times_are_told_with_ends_and_size():
    # ln t = c + 6·x + 40·x² in x = 1000/T − 3.2, made so: the line misses by what is left of 40·x²
    # after its own straight part (least squares by numpy.polyfit)
    x = 1e3 / BENT - 3.2
    times = np.exp(8 + 6 * x + 4 * x**2) * (1 + 1e-4 * np.array([1, -1, 1, -1, 1]))
    fit = fit_activation_energy(BENT, times)
    slope, level = np.polyfit(x, np.log(times), 1)
    cold = math.exp(slope * x[0] + level - np.log(times[0])) - 1
    assert fit.is_bent and fit.curvature.cold == pytest.approx(cold, abs=1e-3)
    assert cold < -0.02  # by that much too short, so it is worth a word
    (words,) = (words for words in fit.warnings if "bent" in words)
    assert f"{-cold:.0%} too short at 20 °C" in words and "too long at 3" in words
    assert "too short at 60 °C" in words and "do not extrapolate" in words
    # the other way round: bent down, too long at both ends
    other = fit_activation_energy(BENT, np.exp(8 + 6 * x - 4 * x**2) * times * np.exp(-8 - 6 * x - 4 * x**2))
    assert other.curvature.cold > 0.02 and other.curvature.hot > 0.0 > other.curvature.between


def test_straight_times_are_called_bent_as_often_as_chance_has_it():
    # 5 % of 600 straight made-up series by the level of the test, ±4 standard errors
    rng = np.random.default_rng(9)
    called = sum(
        fit_activation_energy(BENT, np.exp(60e3 / R / BENT - 15 + rng.normal(0, 0.1, 5))).is_bent
        for _ in range(600)
    )
    assert abs(called / 600 - 0.05) < 4 * math.sqrt(0.05 * 0.95 / 600)


def test_what_cannot_tell_curvature_says_so():
    exact = 3600 * np.exp(62e3 / R * (1 / BENT - 1 / 296.15))
    three = fit_activation_energy(BENT[:3], exact[:3] * np.array([1.0, 1.1, 1.0]))
    assert three.curvature is None and any("too few points" in words for words in three.warnings)
    twice = fit_activation_energy(BENT[[0, 0, 4, 4]], exact[[0, 0, 4, 4]] * np.array([1, 1.1, 1, 1.1]))
    assert twice.curvature is None and any("too few temperatures" in words for words in twice.warnings)
    # exact times are straight, though rounding leaves something
    assert not fit_activation_energy(BENT, exact).warnings
    assert not fit_activation_energy(BENT, exact.round(4)).is_bent


# ------------------------------------------------------------------------------------- kinetics


def measured(kinetics, temperatures, times, noise=0.0, seed=0):
    """Isothermal runs by scipy, rows below one another, with noise."""
    rows = []
    for heat in temperatures:
        found = solve_ivp(
            lambda t, y, heat=heat: kinetics.rate(np.clip(y, 0, 1), heat),
            (0, times[-1]),
            [0.0],
            t_eval=times,
            method="LSODA",
            rtol=1e-10,
            atol=1e-11,
        )
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
        scores += [
            (fit.kinetics.energy - 6e4) / fit.errors[fit.names.index("E1")],
            (fit.kinetics.order - 1.4) / fit.errors[fit.names.index("n")],
        ]
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
    wrong = fit_kinetics(
        *measured(Kamal(1e4, 6e4, 1e6, 5.8e4, 1.2, 1.2), [343.15, 363.15], np.linspace(200, 7200, 12))
    )
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
    played = schedule(
        oven, LOAD, kinetics, requirement=need, gel=0.2, handling=0.25, glass=(253.15, 393.15, 0.5)
    )
    for part in played.parts:

        def rate(t, y, lag=part.part):
            air = np.interp(t, oven.times, oven.temperatures) + lag.offset
            return [
                (air - y[0]) / lag.time_constant,
                kinetics.rate(np.clip(y[1], 0, 1), y[0]),
                math.exp(60e3 / R * (1 / 353.15 - 1 / y[0])),
            ]

        found = solve_ivp(
            rate, (0, oven.times[-1]), [296.15, 0, 0], max_step=20, rtol=1e-9, atol=1e-9, dense_output=True
        )
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
    long = schedule(ramp_hold(296.15, 353.15, 1e5, 0.0), LOAD, NthOrder(2e5, 6e4), requirement=need)
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

    hold = shortest_hold(step, [PartLag("part", 1.0)], kinetics, requirement=Requirement(degree=0.95))
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


# --------------------------------------------------------------------------------- glass transition

# made-up mix: dα/dt = A·exp(−E/RT)·(1 − α)², DiBenedetto −20 to 150 °C, λ 0.45
SLOWING = NthOrder(2e7 / 60, 58e3, 2.0)
GLASS = (253.15, 423.15, 0.45)


def wlf_slowed(heat_at, span):
    """Degree at the end where diffusion slows the mix (Rabinowitch 1/k = 1/k_c + 1/k_d, from memory).

    k_d = 0.5/min·10^(17.44·(T − T_g)/(51.6 + T − T_g)), none below its pole; scipy's Radau.
    """

    def rate(t, y):
        heat, degree = heat_at(t), min(max(y[0], 0.0), 1.0)
        chemical = 2e7 / 60 * math.exp(-58e3 / R / heat)
        above = heat - (GLASS[0] + (GLASS[1] - GLASS[0]) * 0.45 * degree / (1 - 0.55 * degree))
        if above <= -51.6:
            return [0.0]
        slow = 0.5 / 60 * 10 ** (17.44 * above / (51.6 + above))
        return [(1 - degree) ** 2 * chemical * slow / (chemical + slow)]

    found = solve_ivp(rate, (0, span), [0.0], method="Radau", rtol=1e-8, atol=1e-10, max_step=span / 300)
    return found.y[0, -1]


def play(profile, need, glass=GLASS, lag=1.0):
    return schedule(
        profile,
        [PartLag("part", lag)],
        SLOWING,
        requirement=Requirement(degree=need),
        cured=need,
        glass=glass,
    ).parts[0]


@pytest.mark.parametrize("celsius", [40, 70, 100])
def test_cure_of_a_glass_does_not_pass(celsius):
    heat = 273.15 + celsius
    week = 7 * 86400.0
    cold = ramp_hold(heat, heat, week, 0.0)
    diffused = wlf_slowed(lambda t: heat, week)
    part = play(cold, 0.97)
    # the kinetics alone say full cure (closed form of order 2), diffusion never allows it
    alone = 1 - 1 / (1 + 2e7 / 60 * math.exp(-58e3 / R / heat) * week)
    assert part.degrees[-1] == pytest.approx(alone, abs=1e-6) and alone > 0.97 > diffused + 0.05
    assert not part.passes and math.isnan(part.cured)
    # it is a glass where T_g is 20 K above the part: by DiBenedetto, by hand
    share = (heat + 20 - GLASS[0]) / (GLASS[1] - GLASS[0])
    degree = share / (0.45 + 0.55 * share)
    assert part.glass.degree == pytest.approx(degree, abs=1e-6)
    hours = (1 / (1 - degree) - 1) / (2e7 / 60 * math.exp(-58e3 / R / heat))  # closed form of order 2
    assert part.glass.start == pytest.approx(hours, abs=week / 4000 + 5)
    (words,) = part.reasons
    assert f"glass transition {celsius + 20} °C" in words and f"part at {celsius} °C" in words
    # what is called sure is what diffusion gives in a week, to a few hundredths
    assert part.sure[-1] == pytest.approx(diffused, abs=0.05)
    assert play(cold, 0.97, glass=None).passes  # nothing is known of a glass
    assert play(cold, degree - 0.02).passes  # and what is reached before it is one, passes


def test_glass_on_cooling_after_the_cure_is_no_fault():
    hot = ramp_hold(296.15, 423.15, 3600.0, 10 / 60, 5 / 60)
    part = play(hot, 0.95)
    assert part.glass_points[-1] > part.temperatures[-1] + 90  # far below its glass transition at the end
    assert part.passes and part.reasons == () and part.cured < hot.times[-2]
    assert wlf_slowed(lambda t: float(np.interp(t, hot.times, hot.temperatures)), hot.times[-1]) > 0.95
    # too short a hold: the reason is the degree, not the cooling
    short = play(ramp_hold(296.15, 393.15, 60.0, 20 / 60, 20 / 60), 0.95)
    assert not short.passes and len(short.reasons) == 1 and "0.950 is required" in short.reasons[0]


def test_a_hot_stage_after_the_glass_cures_it():
    # two days at room temperature, where it becomes a glass, then 150 °C for an hour
    times = np.array([0.0, 172800.0, 172800.0 + 1800.0, 172800.0 + 5400.0])
    both = Profile(times, np.array([303.15, 303.15, 423.15, 423.15]))
    part = play(both, 0.95)
    assert part.passes and part.glass.end == pytest.approx(172800.0, abs=900.0)
    assert part.cured > 172800.0
    slowed = wlf_slowed(lambda t: float(np.interp(t, both.times, both.temperatures)), times[-1])
    assert slowed == pytest.approx(part.sure[-1], abs=0.01) and slowed > 0.95


def test_shortest_hold_does_not_count_a_glass():
    def hold_at(celsius):
        return shortest_hold(
            lambda hold: ramp_hold(273.15 + celsius, 273.15 + celsius, hold, 0.0),
            [PartLag("part", 1.0)],
            SLOWING,
            requirement=Requirement(degree=0.95),
            glass=GLASS,
        )

    with pytest.raises(InputError, match="coldest part does not pass"):
        hold_at(70)
    # at 150 °C no glass: closed form of order 2, by hand
    expected = (1 / 0.05 - 1) / (2e7 / 60 * math.exp(-58e3 / R / 423.15))
    assert hold_at(150) == pytest.approx(expected, rel=1e-3)


# ------------------------------------------------------------------------- moisture and light


def test_moisture_by_humidity_and_permeability():
    # IAPWS-95: 2811.071908 Pa at 23 °C; Magnus reads 0.3 % lower
    assert vapour_pressure(296.15) == pytest.approx(2811.071908, rel=4e-3)
    assert vapour_pressure(296.15) * 0.5 == pytest.approx(1405.535954, rel=4e-3)
    # z = √(2VPpt) and dz/dt = VPp/z (scipy): 3.816679185 mm in 24 h
    k = permeation_coefficient(5e-3, 1.2e-11, 1405.0)
    assert moisture_depth(86400.0, k) * 1e3 == pytest.approx(3.816679185, rel=1e-9)
    found = solve_ivp(lambda t, z: 5e-3 * 1.2e-11 * 1405 / z, (1.0, 86400.0), [k], rtol=1e-9, atol=1e-12)
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
