"""Checks of shots and tolerances against handbooks, statsmodels' and numpy's statistics."""

from __future__ import annotations

import math
from importlib.resources import files

import numpy as np
import pytest
from handbook import check_example, check_published, examples_of, functions_without_examples, published_value
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm
from statsmodels.stats.weightstats import DescrStatsW

from dispense import InputError, call, evaluate
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.quality import control_chart_factors


@pytest.mark.parametrize("name, example", examples_of("Checks"))
def test_example(name, example):
    check_example(name, example)


def test_every_function_has_an_example():
    assert functions_without_examples("Checks") == []


def test_capability_of_the_nist_example():
    """NIST/SEMATECH e-Handbook 6.1.6: mean 16, sd 2, limits 8 and 20: Cp 1.0, Cpk 0.6667."""
    result = call("SHOT_CAPABILITY", [14, 16, 18], 8, 20)
    assert result == pytest.approx((16, 2, 1.0, 0.6667), abs=1e-4)


def test_capability_of_fill_weights():
    """Limits 1.90 and 2.10 g, mean 2.02, sd 0.025: Cp 1.333333333, Cpk 1.066666667, by hand."""
    spread = 0.025 * math.sqrt(0.75)  # two values above and two below give the sd with n − 1
    weights = [2.02 - spread, 2.02 + spread] * 2
    result = call("SHOT_CAPABILITY", weights, 1.90, 2.10)
    assert result == pytest.approx((2.02, 0.025, 4 / 3, 3.2 / 3), rel=1e-9)


@given(weights=st.lists(st.floats(1, 50), min_size=2, max_size=40, unique=True))
def test_capability_against_a_statistics_library(weights):
    """statsmodels: mean and standard deviation with n − 1."""
    if max(weights) - min(weights) < 1e-3:
        return
    stats = DescrStatsW(np.array(weights), ddof=1)
    mean, sd, cp, cpk = call("SHOT_CAPABILITY", weights, 10, 30)
    assert (mean, sd) == pytest.approx((stats.mean, stats.std), rel=1e-7)
    assert cp == pytest.approx(20 / (6 * stats.std), rel=1e-6)
    assert cpk <= cp * (1 + 1e-9)


def test_centred_shots_have_equal_cp_and_cpk():
    result = call("SHOT_CAPABILITY", [9, 10, 11], 7, 13)
    assert result.cp == pytest.approx(result.cpk, rel=1e-12)
    assert result.cp == pytest.approx(1.0, rel=1e-12)  # 6/(6·1), by hand
    outside = call("SHOT_CAPABILITY", [9, 10, 11], 11, 13)
    assert outside.cpk < 0  # the mean lies outside the limits


def test_capability_leaves_blanks_out_and_reads_units():
    given_ = call("SHOT_CAPABILITY", [[14], [None], ["0.016 kg"], [18]], "8 g", 20)
    assert given_ == pytest.approx((16, 2, 1, 2 / 3), rel=1e-9)


def test_capability_that_is_refused():
    for weights, low, high in (([1], 0, 2), ([1, 2], 2, 2), ([None, 1], 0, 2)):
        assert set(evaluate("SHOT_CAPABILITY", (weights, low, high)).table()[0]) == {"#NUM!"}
    with pytest.raises(InputError, match="do not differ"):
        call("SHOT_CAPABILITY", [0.1, 0.1, 0.1], 0, 1)


# ------------------------------------------------------------------------------- control charts


def _range_moments(size):
    """Mean and standard deviation of the range of `size` standard normal values, by quadrature.

    Mean: ∫ 1 − Φⁿ − (1 − Φ)ⁿ. Second moment from the density of the range,
    n(n−1) ∫ φ(x) φ(x+w) (Φ(x+w) − Φ(x))ⁿ⁻² dx.
    """
    mean, _ = quad(lambda x: 1 - norm.cdf(x) ** size - norm.sf(x) ** size, -10, 10)
    x = np.linspace(-9, 9, 1201)
    w = np.linspace(0, 12, 1201)[:, None]
    density = (
        size
        * (size - 1)
        * np.trapezoid(
            norm.pdf(x) * norm.pdf(x + w) * (norm.cdf(x + w) - norm.cdf(x)) ** (size - 2), x, axis=1
        )
    )
    second = np.trapezoid(w[:, 0] ** 2 * density, w[:, 0])
    return mean, math.sqrt(second - mean**2)


@pytest.mark.parametrize("size", range(2, 11))
def test_factors_against_quadrature(size):
    """A₂ = 3/(d₂√n), D₃ = max(0, 1 − 3d₃/d₂), D₄ = 1 + 3d₃/d₂; printed to three decimals.

    Some prints carry D₄ = 2.115 for five: 1 + 3·0.864/2.326 with rounded factors is 2.1144 and
    quadrature 2.1145, so 2.114 is kept. The other entries agree within their last digit.
    """
    d2, d3 = _range_moments(size)
    factors = control_chart_factors()[size]
    assert factors["d2"] == pytest.approx(d2, abs=0.0006)
    assert factors["d3"] == pytest.approx(d3, abs=0.0006)
    assert factors["A2"] == pytest.approx(3 / (d2 * math.sqrt(size)), abs=0.0006)
    assert factors["D3"] == pytest.approx(max(0, 1 - 3 * d3 / d2), abs=0.0006)
    assert factors["D4"] == pytest.approx(1 + 3 * d3 / d2, abs=0.0007)


def test_every_row_of_the_factor_table_is_marked():
    text = files("dispense").joinpath("handbook/data/control_chart_factors.csv").read_text("utf-8")
    rows = [line for line in text.splitlines() if line and not line.startswith("#")][1:]
    assert [row.split(",")[0] for row in rows] == [str(size) for size in range(2, 11)]
    assert all(row.endswith(",compared") for row in rows)


@given(size=st.integers(2, 10), groups=st.integers(1, 12), seed=st.integers(0, 999))
def test_limits_against_numpy(size, groups, seed):
    """Centre lines are the mean of all and the mean range; limits surround them."""
    shots = np.random.default_rng(seed).normal(12, 0.3, (groups, size))
    limits = call("CONTROL_LIMITS", shots)
    assert limits.shape == (2, 3)
    ranges = shots.max(axis=1) - shots.min(axis=1)
    assert limits[:, 1] == pytest.approx([shots.mean(), ranges.mean()], rel=1e-12)
    assert limits[0, 0] < limits[0, 1] < limits[0, 2]
    assert 0 <= limits[1, 0] < limits[1, 1] < limits[1, 2]
    assert limits[0].sum() == pytest.approx(3 * shots.mean(), rel=1e-12)  # symmetric


def test_limits_hold_stable_shots():
    """Seeded: about 0.27 % of means of a stable process lie outside three sigma."""
    shots = np.random.default_rng(3).normal(12, 0.3, (20_000, 5))
    limits = call("CONTROL_LIMITS", shots)
    means = shots.mean(axis=1)
    outside = np.mean((means < limits[0, 0]) | (means > limits[0, 2]))
    assert outside == pytest.approx(0.0027, abs=0.001)
    ranges = np.ptp(shots, axis=1)
    assert np.mean(ranges > limits[1, 2]) == pytest.approx(0.0046, abs=0.002)  # tail of the range


def test_limits_with_blank_rows_and_what_is_refused():
    assert evaluate("CONTROL_LIMITS", ([[10, 12], [None, None], [1, 3]],)).table() == [
        [pytest.approx(6.5 - 2 * 1.88), 6.5, pytest.approx(6.5 + 2 * 1.88)],  # by hand
        [0.0, 2.0, pytest.approx(2 * 3.267)],
    ]
    for block in ([[10, 12], [None, 2]], [[1], [2]], [list(range(11))], [[None, None]]):
        assert evaluate("CONTROL_LIMITS", (block,)).table() == [["#NUM!"]]


# --------------------------------------------------------------------------------- tolerances


def test_root_sum_of_squares():
    # ±0.10, ±0.05, ±0.20: 0.2291287847 against 0.35 in the worst case, by hand
    assert call("TOLERANCE_RSS", [0.10, 0.05, 0.20]) == pytest.approx(0.2291287847, rel=1e-9)
    # GUM H.1, end gauge, from memory: 25, 9.7, 2.9 and 16.6 nm give 32 nm
    assert call("TOLERANCE_RSS", [25, 9.7, 2.9, 16.6]) == pytest.approx(32, abs=0.5)


@given(parts=st.lists(st.floats(-100, 100), min_size=1, max_size=20))
def test_rss_lies_between_the_largest_part_and_the_plain_sum(parts):
    combined = call("TOLERANCE_RSS", parts)
    assert combined == pytest.approx(math.hypot(*parts), rel=1e-9, abs=1e-12)
    assert combined <= sum(map(abs, parts)) + 1e-9
    assert combined >= max(map(abs, parts)) - 1e-9


def test_rss_of_relative_parts_of_a_bead():
    """m = ρAL: 1.16 ± 0.01, 6.28 ± 0.15, 120 ± 0.5 give 0.02249517223 g, partial derivatives."""
    relative = call("TOLERANCE_RSS", [0.01 / 1.16, 0.15 / 6.28, 0.5 / 120])
    assert 0.874176 * relative == pytest.approx(0.02249517223, rel=1e-9)


def test_rss_of_nothing_is_refused():
    assert evaluate("TOLERANCE_RSS", ([None, None],)).table() == [["#NUM!"]]


@pytest.mark.parametrize(
    "name, example", [case for case in examples_of("Checks") if FUNCTIONS[case.values[0]].formula]
)
def test_published_form_of_examples(name, example):
    check_published(name, example.arguments)


def test_published_form_where_there_is_no_answer():
    assert published_value("SHOT_CAPABILITY", ([1.0, 2.0], 5, 3))[2] == "#NUM!"
    assert published_value("SHOT_CAPABILITY", ([1.0, 1.0], 0, 3))[2] == "#NUM!"
    assert published_value("TOLERANCE_RSS", (["", ""],)) == "#NUM!"


# ------------------------------------------------------------------------------------------ charts

#: NIST/SEMATECH e-Handbook 6.3.2.4, as quoted in two public files: twenty values, weight 0.3, start 50
EWMA_VALUES = [52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5]
EWMA_VALUES += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
#: the same handbook, 6.3.2.3, as quoted in several public files: target 325, k 0.3175, h 4.1959
CUSUM_VALUES = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6]
CUSUM_VALUES += [324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35]


def test_ewma_of_the_nist_example():
    chart = call("EWMA_LIMITS", EWMA_VALUES, 50, 2.0539)
    printed = {1: 50.60, 2: 49.52, 19: 51.94, 20: 51.99}
    for place, value in printed.items():
        assert chart[place - 1][1] == pytest.approx(value, abs=0.006)
    assert chart[0][[0, 2]] == pytest.approx([47.4115, 52.5884], abs=1e-4)
    # with explicit weights, λ(1 − λ)ʲ for the j-th value back, the rest for the start
    weights = 0.3 * 0.7 ** np.arange(19, -1, -1)
    assert chart[-1][1] == pytest.approx(weights @ EWMA_VALUES + 0.7**20 * 50, rel=1e-12)


def test_ewma_of_weight_one_is_the_values_themselves_in_shewhart_limits():
    chart = call("EWMA_LIMITS", [3, None, 5], 4, 0.5, 1, 3)
    assert chart.tolist() == [[2.5, 3.0, 5.5], [2.5, 5.0, 5.5]]


def test_cusum_of_the_nist_example():
    chart = call("CUSUM", CUSUM_VALUES, 325, 0.3175, 4.1959)
    assert chart[[12, 13, 14], 0] == pytest.approx([3.01, 4.94, 7.45], abs=0.006)  # printed
    assert int(np.flatnonzero(chart[:, 2])[0]) + 1 == 14  # printed: first signal at the 14th
    above = below = 0.0
    for value, row in zip(CUSUM_VALUES, chart, strict=True):  # as the handbook writes it
        above = max(0.0, above + value - 325 - 0.3175)
        below = max(0.0, below + 325 - 0.3175 - value)
        assert row[:2] == pytest.approx([above, below], abs=1e-9)
        assert bool(row[2]) == (above > 4.1959 or below > 4.1959)


def test_single_values_of_the_nist_example():
    """Centre 50.81, mean range 1.8778, limits 55.8041 and 45.8159, printed in 6.3.2.2."""
    limits = call("MOVING_RANGE_LIMITS", [*EWMA_VALUES[10:15], None, *EWMA_VALUES[15:]])
    assert limits[0] == pytest.approx([45.8159, 50.81, 55.8041], abs=1e-4)
    assert limits[1][1] == pytest.approx(1.8778, abs=1e-4)
    assert limits[1][2] == pytest.approx(3.2665 * limits[1][1], rel=3e-4)  # 1 + 3·0.8525/1.1284


def test_limits_of_single_values_hold_what_three_sigma_hold():
    values = np.random.default_rng(5).normal(10, 0.2, 20_000)
    low, _, high = call("MOVING_RANGE_LIMITS", values.tolist())[0]
    assert np.mean((values < low) | (values > high)) == pytest.approx(0.0027, abs=0.0015)  # normal table


def test_interval_of_capability():
    """x̄ 2.02, s 0.025, n 40, limits 1.9 and 2.1: χ² from scipy and from the incomplete gamma."""
    spread = 0.025 * math.sqrt(39 / 40)
    weights = [2.02 - spread, 2.02 + spread] * 20
    found = call("CAPABILITY_INTERVAL", weights, 1.9, 2.1)
    assert found == pytest.approx((1.038392897, 1.627681619, 0.8083922509, 1.324941082), rel=1e-8)
    wider = call("CAPABILITY_INTERVAL", weights, 1.9, 2.1, 0.99)
    assert wider.cp_low < found.cp_low < found.cp_high < wider.cp_high


def test_interval_of_capability_covers_as_often_as_it_says():
    draws = np.random.default_rng(3).normal(10, 0.1, (800, 30))
    held = [
        low <= 0.5 / 0.3 <= high
        for low, high, *_ in (call("CAPABILITY_INTERVAL", row.tolist(), 9.5, 10.5) for row in draws)
    ]
    assert np.mean(held) == pytest.approx(0.95, abs=0.03)  # four standard errors


@pytest.mark.parametrize(
    "coverage, confidence, sides, expected",
    [  # non-central t and a double integral; Gauss–Hermite and Simpson, for 5, 10, 20 and 50 values
        (0.95, 0.95, 1, (4.20268074, 2.91096341, 2.39600168, 2.06499342)),
        (0.95, 0.95, 2, (5.0768745, 3.3934295, 2.7603462, 2.3815597)),
        (0.95, 0.99, 1, (6.57833675, 3.73831496, 2.80786606, 2.26889768)),
        (0.95, 0.99, 2, (7.8697308, 4.2941722, 3.1837812, 2.5804014)),
        (0.99, 0.95, 1, (5.74108452, 3.98111785, 3.29515694, 2.86244926)),
        (0.99, 0.95, 2, (6.5979767, 4.4369087, 3.6209862, 3.1287688)),
    ],
)
def test_tolerance_factors(coverage, confidence, sides, expected):
    found = call("TOLERANCE_FACTOR", [5, 10, 20, 50], coverage, confidence, sides)
    assert found == pytest.approx(expected, rel=2e-7)


def test_tolerance_factors_of_a_printed_table():
    """Berthouex & Brown, Statistics for Environmental Engineers, table 21.1: two sides, 95 % sure."""
    assert call("TOLERANCE_FACTOR", [5, 10, 20], 0.95) == pytest.approx([5.08, 3.39, 2.76], abs=0.006)
    assert call("TOLERANCE_FACTOR", [5, 10, 20], 0.99) == pytest.approx([6.60, 4.44, 3.62], abs=0.006)


def test_tolerance_factor_of_very_many_values_is_that_of_the_normal_table():
    assert call("TOLERANCE_FACTOR", 100_000, 0.95, 0.5, 2) == pytest.approx(norm.ppf(0.975), rel=1e-4)
    assert call("TOLERANCE_FACTOR", 100_000, 0.95, 0.5, 1) == pytest.approx(norm.ppf(0.95), rel=1e-4)


def test_two_sided_factor_in_play():
    """Mean ± k·s of ten values holds 95 % of all in 95 of 100 samples, by drawing."""
    factor = call("TOLERANCE_FACTOR", 10)
    draws = np.random.default_rng(11).standard_normal((4000, 10))
    mean, sd = draws.mean(axis=1), draws.std(axis=1, ddof=1)
    held = norm.cdf(mean + factor * sd) - norm.cdf(mean - factor * sd) >= 0.95
    assert held.mean() == pytest.approx(0.95, abs=0.015)
