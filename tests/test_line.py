"""Line, shift and stock against queueing, statistics and inventory literature and hand working."""

from __future__ import annotations

import math
from fractions import Fraction
from statistics import NormalDist

import numpy as np
import pytest
from handbook import check_example, check_published, examples_of, functions_without_examples, published_value
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from dispense import InputError, call, evaluate
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.line import normal_loss, order_quantity, whole_up


@pytest.mark.parametrize("name, example", examples_of("Line and stock"))
def test_example(name, example):
    check_example(name, example)


def test_every_function_has_an_example():
    assert functions_without_examples("Line and stock") == []


@pytest.mark.parametrize(
    "share, whole",
    [
        (0.0, 0),
        (1e-12, 1),
        (0.5, 1),
        (3.0, 3),
        (3.0000000001, 3),
        (2.9999999999, 3),
        (3.0001, 4),
        (0.1 * 3 / 0.1, 3),
        (1e6 + 0.5, 1e6 + 1),
    ],
)
def test_whole_up(share, whole):
    assert float(whole_up(share)) == whole


@given(count=st.integers(1, 5000), container=st.integers(1, 20_000), heel=st.integers(0, 20))
def test_exact_multiples_need_no_further_container(count, container, heel):
    """The volume is what `count` containers yield, worked out in exact fractions."""
    volume = float(count * Fraction(container) * (100 - heel) / 100)
    assert call("CONTAINERS", volume, container, heel / 100) == count
    assert call("CONTAINERS", volume * 1.0001, container, heel / 100) == count + math.ceil(
        Fraction(count, 10_000)
    )


@given(work=st.integers(1, 100_000), takt=st.integers(1, 1000))
def test_whole_numbers_against_integer_division(work, takt):
    """⌈a/b⌉ = −⌊−a/b⌋ in whole numbers."""
    assert call("NOZZLES_NEEDED", work, takt) == -(-work // takt)
    assert call("CURE_POSITIONS", work, takt) == -(-60 * work // takt)


def test_whole_results_are_whole_numbers():
    assert type(call("CONTAINERS", 100, 30)) is int
    assert call("CONTAINERS", 0, 30) == 0
    assert call("NOZZLES_NEEDED", "1.5 min", 45, "85 %") == 3  # 90/38.25 = 2.35


def test_littles_law():
    """18 parts an hour, 2.5 h of cure and 0.5 h to cool: 54 parts, 5 racks of 12 (Little 1961)."""
    takt = call("TAKT", 60, 18)
    assert takt == pytest.approx(200)
    positions = call("CURE_POSITIONS", "3 h", takt)
    assert positions == 54
    assert call("CONTAINERS", positions, 12) == 5  # racks count like containers
    assert call("OVEN_LENGTH", 180, takt, 250) == pytest.approx(54 * 0.25)


def test_dispense_time_and_its_missing_speed():
    assert call("DISPENSE_TIME", 1000, 50, 2, 0.5) == pytest.approx(21)  # 20 + 1, by hand
    assert call("DISPENSE_TIME", 0, 50, 0) == 0
    with pytest.raises(InputError, match="travel needs a travel_speed"):
        call("DISPENSE_TIME", 1000, 50, 2, 0.5, 100)
    assert call("DISPENSE_TIME", 60, "1 m/min") == pytest.approx(3.6)  # 60/16.67, by hand


@given(parts=st.integers(0, 5000), scrap=st.floats(0, 0.5), shot=st.floats(0.01, 500))
def test_shift_use_balances(parts, scrap, shot):
    """Good parts, scrapped parts, purges, start and checks add up to what is drawn."""
    used = call("SHIFT_USE", parts, shot, scrap, 4, 10, 25, 3)
    started = parts / (1 - scrap)
    assert started - scrap * started == pytest.approx(parts)
    assert used == pytest.approx(parts * shot + scrap * started * shot + 40 + 25 + 3 * shot, rel=1e-9)


def test_everything_scrap_is_refused():
    assert evaluate("SHIFT_USE", (10, 1, 1)).table() == [["#NUM!"]]


# ------------------------------------------------------------------------------------------ stock


@pytest.mark.parametrize(
    "service, z", [(0.90, 1.2816), (0.95, 1.6449), (0.975, 1.9600), (0.99, 2.3263), (0.999, 3.0902)]
)
def test_safety_factor_against_the_printed_table(service, z):
    """Table of the standard normal distribution, four decimals."""
    assert call("SAFETY_STOCK", 1, 1, 0, 0, service) == pytest.approx(z, abs=0.00005)


@given(
    sd=st.floats(0, 100),
    days=st.floats(0, 60),
    use=st.floats(0, 500),
    lead=st.floats(0, 10),
    service=st.floats(0.5, 0.9999),
)
def test_stock_against_the_standard_library(sd, days, use, lead, service):
    factor = NormalDist().inv_cdf(service)
    stock = factor * math.sqrt(days * sd**2 + use**2 * lead**2)
    assert call("SAFETY_STOCK", sd, days, use, lead, service) == pytest.approx(stock, rel=1e-9, abs=1e-9)
    point = call("REORDER_POINT", use, days, sd, lead, service)
    assert point == pytest.approx(use * days + stock, rel=1e-9, abs=1e-9)


def test_published_safety_stock():
    """4 kg a day over 9 days at 95 %; then 20 kg a day with 1.5 days of spread."""
    assert call("SAFETY_STOCK", 4, 9) == pytest.approx(19.73824352, rel=1e-8)
    assert call("SAFETY_STOCK", 4, 9, 20, 1.5) == pytest.approx(53.14684719, rel=1e-8)
    assert call("SAFETY_STOCK", 4, "9 day") == pytest.approx(19.73824352, rel=1e-8)
    assert call("SAFETY_STOCK", 4, 9, service=0.5) == pytest.approx(0, abs=1e-12)


def test_safety_stock_by_simulation():
    """Seeded draws of demand over 9 days run short as often as the service level says."""
    random = np.random.default_rng(7)
    demand = random.normal(20, 4, (200_000, 9)).sum(axis=1)
    short = np.mean(demand > call("REORDER_POINT", 20, 9, 4))
    assert short == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize("arguments", [(4, 9, 0, 0, 1), (4, 9, 0, 0, 0.4), (-1, 9), (4, -9)])
def test_stock_that_is_refused(arguments):
    assert evaluate("SAFETY_STOCK", arguments).table() == [["#NUM!"]]


@pytest.mark.parametrize(
    "k, printed, value",
    # Silver, Pyke & Peterson, from memory: four decimals; then quadrature
    [
        (0, 0.3989, 0.3989422804),
        (0.5, 0.1978, 0.1977965574),
        (1, 0.0833, 0.08331547059),
        (2, 0.0085, 0.008490702617),
    ],
)
def test_normal_loss_against_the_printed_table(k, printed, value):
    assert float(normal_loss(k)) == pytest.approx(printed, abs=0.00005)
    assert float(normal_loss(k)) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("k", [-6.0, -1.0, 0.3, 3.0, 6.0, 9.0])
def test_normal_loss_against_quadrature(k):
    """∫ (x − k) φ(x) dx from k."""
    expected, _ = quad(
        lambda x: (x - k) * NormalDist().pdf(x),
        k,
        k + 20,
        epsabs=0,
        epsrel=1e-11,
        points=[max(k, 0) + 0.5, max(k, 0) + 3],
    )
    assert float(normal_loss(k)) == pytest.approx(expected, rel=1e-8)


def test_order_quantity_against_the_numeric_minimum():
    """Harris 1913: 1200 a year, 50 an order, 4 a unit and year: 173.2050808."""

    def cost(quantity):
        return 1200 / quantity * 50 + quantity / 2 * 4

    best = minimize_scalar(cost, bounds=(1, 1000), method="bounded", options={"xatol": 1e-9})
    assert float(order_quantity(1200, 50, 4)) == pytest.approx(173.2050808, rel=1e-9)
    assert float(order_quantity(1200, 50, 4)) == pytest.approx(best.x, rel=1e-6)
    assert cost(float(order_quantity(1200, 50, 4))) == pytest.approx(692.820323, rel=1e-9)


# ------------------------------------------------------------------------- published closed forms


@pytest.mark.parametrize(
    "name, example", [case for case in examples_of("Line and stock") if FUNCTIONS[case.values[0]].formula]
)
def test_published_form_of_examples(name, example):
    check_published(name, example.arguments)


def test_published_form_of_other_branches():
    check_published("CONTAINERS", (0.3, 0.1))
    check_published("DISPENSE_TIME", (1200.0, 100.0, 3, 0.4, 0.0))
    check_published("REORDER_POINT", (20.0, 9.0, 4.0, 1.5, 0.99))
    assert published_value("DISPENSE_TIME", (1200, 100, 3, 0.4, 5)) == "#NUM!"
