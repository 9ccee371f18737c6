"""Fits of cure kinetics: slopes, forms with diffusion and ceiling, ramps, intervals and their coverage."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from benchmarks.fit import CASES, coverage, measured, ratio, truths
from dispense.cli import FIT_FORMS
from dispense.handbook.cure import cure_degree
from dispense.handbook.fitting import FORMS, _Model, _Table, fit_kinetics
from dispense.handbook.kinetics import DiffusionFactor, DiffusionResistance, Kamal, NthOrder
from dispense.jobs.fit import fit_file
from dispense.reports.fit import CHOICES

CORPUS = Path(__file__).parent / "corpus"
GLASS = (253.15, 423.15, 0.45)


def rows(true, heats, times):
    record = np.append(0.0, times)
    clean = [cure_degree(record, np.full(record.size, heat), true)[1:] for heat in heats]
    return np.tile(times, len(heats)), np.concatenate(clean), np.repeat(heats, times.size)


SEARCHED = {
    FORMS[0]: (("A1", "E1", "n"), [-8.0, 6.0, 1.3]),
    FORMS[1]: (("A1", "E1", "A2", "E2", "m", "n"), [-11.0, 6.5, -8.0, 5.5, 0.6, 1.5]),
    FORMS[2]: (("A1", "E1", "A2", "E2", "m", "n", "B"), [-11.0, 6.5, -8.0, 5.5, 1.0, 1.2, 0.9]),
    FORMS[4]: (
        ("A1", "E1", "A2", "E2", "m", "n", "C", "ac", "acT"),
        [-11, 6.5, -8, 5.5, 0.9, 1.5, 3.2, 0.8, 0.003],
    ),
    FORMS[5]: (("A1", "E1", "n", "kd"), [-8.0, 6.0, 1.8, -6.0]),
    FORMS[6]: (("A1", "E1", "A2", "E2", "m", "n", "kd"), [-11.0, 6.5, -8.0, 5.5, 0.9, 1.5, -6.0]),
}


@pytest.mark.parametrize("form", SEARCHED)
@pytest.mark.parametrize("ramp", [False, True])
def test_sensitivities_are_those_of_the_degree(form, ramp):
    # central differences of the degree by the integrator of CURE_DEGREE, which shares nothing with the fit
    free, x = SEARCHED[form]
    x = np.array(x)
    times = np.linspace(120.0, 5400.0, 9)
    heat = 320.0 + times / 90.0 if ramp else np.full(times.size, 355.0)
    table = _Table(times, heat, 0.0, None)
    model = _Model(form, list(free), {}, 350.0, GLASS, table, np.zeros(times.size))
    model.lay(x, 4.0)
    degrees, slopes = model.evaluate(x)
    record, warm = np.append(0.0, times), np.append(heat[0], heat)
    fine = np.unique(np.append(record, np.linspace(0.0, times[-1], 100)))

    def integrated(values):
        found = cure_degree(fine, np.interp(fine, record, warm), model.kinetics(values))
        return found[np.searchsorted(fine, times)]

    assert degrees == pytest.approx(integrated(x), abs=3e-6)
    for place in range(x.size):
        step = np.zeros(x.size)
        step[place] = 1e-3
        slope = (integrated(x + step) - integrated(x - step)) / 2e-3
        # the integrator holds 1e-6 at worst and mostly 1e-8, over a step of 2e-3
        assert slopes[:, place] == pytest.approx(slope, abs=2e-4 * np.max(np.abs(slope)) + 1e-4)


@pytest.mark.parametrize(
    ("form", "true"),
    [
        (FORMS[3], DiffusionFactor(NthOrder(2e5, 6e4, 1.4), 30.0, 0.55, 0.0035)),
        (FORMS[4], DiffusionFactor(Kamal(5e4, 6.5e4, 5e4, 5.5e4, 0.9, 1.5), 25.0, 0.5, 0.0040)),
        (FORMS[5], DiffusionResistance(NthOrder(2e7 / 60, 58e3, 2.0), 0.5 / 60, GLASS)),
        (FORMS[2], Kamal(5e4, 6.5e4, 5e4, 5.5e4, 0.9, 1.3, 0.9)),
    ],
)
def test_constants_of_a_cure_that_stops_are_found_again(form, true):
    # degrees made by CURE_DEGREE, which is checked against other integrators; no errors in them
    times = np.geomspace(60.0, 2e5, 24)
    fit = fit_kinetics(*rows(true, (318.15, 333.15, 348.15, 363.15), times), form, glass=GLASS)
    assert np.abs(fit.residuals).max() < 2e-5
    other = fit.kinetics
    chemistry = getattr(true, "chemistry", true)
    found = getattr(other, "chemistry", other)
    assert found.energy == pytest.approx(chemistry.energy, rel=2e-2)
    assert found.order == pytest.approx(chemistry.order, rel=2e-2)
    if isinstance(true, DiffusionFactor):
        assert (other.strength, other.critical, other.by_heat) == pytest.approx(
            (true.strength, true.critical, true.by_heat), rel=5e-2, abs=1e-4
        )
    elif isinstance(true, DiffusionResistance):
        assert other.diffusion == pytest.approx(true.diffusion, rel=5e-2)
    else:
        assert other.ceiling == pytest.approx(true.ceiling, rel=1e-2)


def test_several_heating_rates_at_once():
    # ramps of 1, 2.5 and 10 K/min in one table, told apart by the time that falls back
    true = Kamal(5e4, 6.5e4, 5e4, 5.5e4, 0.9, 1.5)
    parts = []
    for speed in (1 / 60, 2.5 / 60, 10 / 60):
        times = np.linspace(0.0, 150.0 / speed, 20)
        heat = 298.15 + speed * times
        parts.append((times, cure_degree(times, heat, true), heat))
    times, degrees, heat = (np.concatenate(part) for part in zip(*parts, strict=True))
    spoilt = degrees + np.random.default_rng(3).normal(0.0, 0.003, degrees.size)
    begin = time.process_time()
    fit = fit_kinetics(times, spoilt, heat, FORMS[1])
    assert time.process_time() - begin < 10.0
    assert fit.spread == pytest.approx(0.003, rel=0.3)
    wanted = {"E1": 6.5e4, "E2": 5.5e4, "m": 0.9, "n": 1.5}
    for name, value in wanted.items():
        place = fit.names.index(name)
        assert abs(fit.values[place] - value) < 4 * fit.errors[place]


def test_intervals_hold_the_truth_as_often_as_they_say():
    # 40 simulated data sets: 95 % of the intervals hold the constant, within a chance of 1e-4 (binomial);
    # 200 of each form by `python -m benchmarks.fit --coverage 200`, see docs/theory-cure.md
    count = 40
    least = int(binom.ppf(1e-4, count, 0.95))
    for name, share in coverage(FORMS[0], count).items():
        assert round(share * count) >= least, name


def test_intervals_of_a_cure_that_stops_hold_the_truth():
    # where another fit of the others keeps the true value it lies inside: a search that was stuck ended E1 of
    # set 1 at 60,085 and ln k1 of set 8 at −8.26836, 3e-5 from the best. Of 200 sets 93 to 98.5 % hold each
    # constant (ln k1 0.975, E1 0.960, n 0.955, C 0.930, alpha_c 0.985, alpha_cT 0.975)
    true = CASES[FORMS[3]]
    for seed in (1, 8):
        fit = fit_kinetics(*measured(true, 0.01, seed), FORMS[3])
        known = truths(true, fit)
        for name, low, high in zip(fit.names, fit.lows, fit.highs, strict=True):
            assert low <= known[name] <= high, (seed, name)


def test_a_linear_constant_has_the_interval_of_student():
    # one temperature, order n known to be 1 in the truth: with small errors the profile is that of the slope
    times, degrees, heat = measured(CASES[FORMS[0]], 0.002, 5)
    fit = fit_kinetics(times, degrees, heat)
    from scipy.stats import t as student

    wide = student.ppf(0.975, times.size - 3) * fit.errors
    assert fit.lows == pytest.approx(fit.values - wide, abs=0.05 * wide.max(), rel=0.02)
    assert fit.highs == pytest.approx(fit.values + wide, abs=0.05 * wide.max(), rel=0.02)


def test_a_profile_is_where_the_others_fitted_again_have_lost_so_much():
    # brute force: m held at the end of its interval, the rest searched by scipy's general least squares
    from scipy.optimize import least_squares
    from scipy.stats import f as fisher

    data = measured(CASES[FORMS[1]], 0.005, 1)
    fit = fit_kinetics(*data, FORMS[1])
    place = fit.names.index("m")
    best = float(fit.residuals @ fit.residuals)
    record = np.append(0.0, np.unique(data[0]))
    heats = np.unique(data[2])

    def misfit(x, m):
        k = [math.exp(x[i] + x[i + 1] * 1e4 / 8.31446261815324 / fit.reference) for i in (0, 2)]
        kinetics = Kamal(k[0], x[1] * 1e4, k[1], x[3] * 1e4, m, x[4])
        found = [cure_degree(record, np.full(record.size, heat), kinetics)[1:] for heat in heats]
        return np.concatenate(found) - data[1]

    start = fit.values[[0, 1, 2, 3, 5]] / np.array([1, 1e4, 1, 1e4, 1])
    rise = 1 + fisher.ppf(0.95, 1, data[0].size - 6) / (data[0].size - 6)
    held = least_squares(misfit, start, args=(float(fit.highs[place]),), x_scale="jac", diff_step=1e-5)
    assert 2 * held.cost / best == pytest.approx(rise, rel=2e-3)


def test_a_general_search_takes_many_times_as_long():
    # ratio in one process: shown by python -m benchmarks.fit; here with room for a busy machine
    theirs, ours, apart = ratio()
    assert apart < 1e-3  # the same constants
    assert theirs > 8.0 * ours


def test_rows_that_follow_nothing_are_told_so_and_soon():
    # 250 rows of random times, temperatures and degrees: 36 s and constants that mean nothing once
    begin = time.process_time()
    report = fit_file(CORPUS / "fit_kamal_noise.csv", "kamal")
    assert time.process_time() - begin < 6.0
    assert "cannot be told apart" in report.warnings[0]
    assert all(item.low is None for item in report.constants)


def test_the_command_offers_every_form():
    assert FIT_FORMS == CHOICES


def test_a_resistance_needs_the_glass_transition(tmp_path):
    from dispense.base.errors import InputError

    true = DiffusionResistance(NthOrder(2e7 / 60, 58e3, 2.0), 0.5 / 60, GLASS)
    times, degrees, heat = rows(true, (318.15, 333.15, 348.15), np.geomspace(60.0, 2e5, 20))
    text = "Time [min],Temperature,Degree\n" + "\n".join(
        f"{t / 60:.6f},{T - 273.15:.2f},{a:.8f}" for t, a, T in zip(times, degrees, heat, strict=True)
    )
    path = tmp_path / "glass.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="glass transition"):
        fit_file(path, "n-th-resistance")
    report = fit_file(path, "n-th-resistance", glass=["-20", "150", "0.45"], out=tmp_path / "fit.xlsx")
    columns = dict(report.plan_columns)
    assert columns["Diffusion rate [1/min]"] == pytest.approx(0.5, rel=0.05)
    assert columns["Tg cured [°C]"] == pytest.approx(150.0)
    plain = fit_file(path, "n-th", glass=None)
    assert plain.spread > 10 * report.spread
