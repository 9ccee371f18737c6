"""Heat of a pour against series solutions, the theory of thermal explosion, and scipy.

Symbols as in Carslaw & Jaeger, Conduction of Heat in Solids, and in Incropera & DeWitt, Fundamentals
of Heat and Mass Transfer, Table 5.1: Bi = h·L/k, Fo = a·t/L². Printed numbers are from memory.
"""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import make
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq, minimize_scalar

from dispense import call
from dispense.base.errors import InputError
from dispense.handbook.cure import LEE_LOOS_SPRINGER, Kamal, NthOrder, Piecewise
from dispense.handbook.heat import (
    CRITICAL_DELTA,
    Sink,
    depth_or_reason,
    frank_kamenetskii,
    peak_temperature,
    pour,
    pour_depth,
    semenov,
    time_to_maximum_rate,
    two_shots,
)
from dispense.plan.demo import DEMO
from dispense.reports.pour import station_pours

R = 8.31446261815324
INERT = NthOrder(1.0, 0.0)
FIXED = 1e9  # a film so good that the face is at the surroundings
EPOXY = NthOrder(2e5, 6e4, 1.5)
QUICK = Kamal(1e4, 6e4, 5e5, 5.5e4, 0.9, 1.5)
MATERIAL = (3e5, 1100.0, 1800.0, 0.25)  # J/kg, kg/m³, J/(kg·K), W/(m·K)


def plain(depth, time, biot=None, base="insulated", cells=200, start=1.0 + 300, room=300.0):
    """Conduction alone in a slab of k = 1, ρc = 1e6: base first, times in Fourier numbers."""
    film = FIXED if biot is None else biot / depth
    return pour(
        depth,
        start,
        room,
        INERT,
        0.0,
        1000.0,
        1000.0,
        1.0,
        film,
        base,
        duration=time * depth**2 * 1e6,
        cells=cells,
        tolerance=0.01,
    )


def at_base(record):
    """Temperature at an insulated base: parabola through two layers with no slope at the base."""
    first, second = record.temperatures[-1][:2]
    return first + (first - second) / 8.0


def at_face(record, film, room=300.0, conductivity=1.0):
    """Temperature of the free face: the same flow through half a layer and through the film."""
    half = conductivity / (0.5 * record.widths[-1])
    return (half * record.temperatures[-1][-1] + film * room) / (half + film)


# ------------------------------------------------------------------------------- heat balances


def test_adiabatic_rise():
    # hand: 450/1.8; 40 % resin in a mix of 0.4·1.8 + 0.6·0.9 = 1.26 J/(g·K)
    assert call("ADIABATIC_RISE", 450, 1.8) == pytest.approx(250, rel=1e-12)
    assert call("ADIABATIC_RISE", 450, 1.26, 0.4) == pytest.approx(142.8571429, rel=1e-9)
    # hand: 105 kJ/eq over 190 + 42.57 g/eq = 451.4769747 J/g
    heat = 105e3 / (190 + 42.57)
    assert call("ADIABATIC_RISE", heat, 1.9) == pytest.approx(237.6194604, rel=1e-9)


@pytest.mark.parametrize("kinetics", [EPOXY, QUICK, NthOrder(1e3, 5e4, 0.5), NthOrder(1e-3, 0.0)])
def test_adiabatic_limit(kinetics):
    # no heat gets out: start + H/c, whatever the kinetics and the depth; hand
    peak = peak_temperature(np.array([0.001, 0.03]), 310.0, 280.0, kinetics, *MATERIAL, 0.0)
    assert peak == pytest.approx([310.0 + 3e5 / 1800] * 2, abs=1e-3)


def test_adiabatic_course_against_scipy():
    # one ordinary differential equation, integrated apart
    def rate(t, y):
        r = QUICK.rate(np.clip(y[1], 0, 1), y[0])
        return [3e5 / 1800 * r, r]

    record = pour(0.02, 300.0, 300.0, QUICK, *MATERIAL, 0.0, duration=20000.0, cells=3)
    for time in (5000.0, 15000.0, 20000.0):
        found = solve_ivp(rate, (0, time), [300.0, 0.0], method="LSODA", rtol=1e-10, atol=1e-10)
        heat, degree = record.at(time)
        assert heat == pytest.approx([found.y[0, -1]] * 3, abs=0.02)
        assert degree == pytest.approx([found.y[1, -1]] * 3, abs=1e-4)


@pytest.mark.parametrize("base", ["insulated", "fixed", "film"])
@pytest.mark.parametrize("kinetics", [EPOXY, QUICK, NthOrder(1e3, 5e4, 0.5)])
def test_energy_balance(base, kinetics):
    record = pour(0.02, 300.0, 290.0, kinetics, *MATERIAL, 10.0, base, cells=40)
    assert record.imbalance < 1e-6
    assert record.released[-1] > 0.1 * 0.02 * 1100 * 3e5
    sink = Sink(0.4, 2700.0, 900.0, 2e4)
    record = pour(0.02, 300.0, 290.0, kinetics, *MATERIAL, 10.0, base, cells=40, sinks=sink)
    assert record.imbalance < 1e-6


# ------------------------------------------------------------------------------- conduction


def roots(biot, count=40):
    return [
        brentq(
            lambda z: z * math.sin(z) - biot * math.cos(z),
            k * math.pi + 1e-9,
            k * math.pi + math.pi / 2 - 1e-12,
        )
        for k in range(count)
    ]


def film_series(biot, fourier, place):
    return sum(
        4 * math.sin(z) / (2 * z + math.sin(2 * z)) * math.exp(-z * z * fourier) * math.cos(z * place)
        for z in roots(biot)
    )


@pytest.mark.parametrize(
    ("biot", "root", "factor"),
    # printed in Incropera Table 5.1 (from memory): 0.3111 1.0161, 0.8603 1.1191, 1.4289 1.2620
    [(0.1, 0.3110528482, 1.016094217), (1.0, 0.860333589, 1.119132008), (10.0, 1.428870011, 1.261962589)],
)
def test_decay_of_the_first_term(biot, root, factor):
    # late on only the first term is left: its decay and height come out of the solver
    depth, late, step = 0.02, 1.5, 0.5
    first, second = (at_base(plain(depth, t, biot)) - 300 for t in (late, late + step))
    got = math.sqrt(math.log(first / second) / step)
    assert got == pytest.approx(root, rel=2e-4)
    assert first * math.exp(root**2 * late) == pytest.approx(factor, rel=2e-4)


def test_film_slab():
    # Bi = 1, Fo = 0.5: centre 0.7725263834, surface 0.5045219279 (60 terms; method of lines)
    record = plain(0.02, 0.5, 1.0)
    assert at_base(record) - 300 == pytest.approx(0.7725263834, abs=1e-5)
    assert at_face(record, 1.0 / 0.02) - 300 == pytest.approx(0.5045219279, abs=1e-5)
    assert film_series(1.0, 0.5, 0.0) == pytest.approx(0.7725263834, rel=1e-8)


@pytest.mark.parametrize(
    ("fourier", "centre"),
    # cosine series and image series agree: 0.9968691955 0.9493053627 0.3707774298 0.1079770444
    [(0.05, 0.9968691955), (0.1, 0.9493053627), (0.5, 0.3707774298), (1.0, 0.1079770444)],
)
def test_fixed_face_slab(fourier, centre):
    assert at_base(plain(0.02, fourier)) - 300 == pytest.approx(centre, abs=3e-5)


def test_fixed_face_slab_off_centre_and_fixed_base():
    # x/L = 0.3, Fo = 0.2: 0.6918055631; the same slab from both of its faces
    record = plain(0.02, 0.2)
    got = np.interp(0.3 * 0.02, record.heights, record.temperatures[-1]) - 300
    assert got == pytest.approx(0.6918055631, abs=3e-5)
    whole = pour(
        0.04,
        301.0,
        300.0,
        INERT,
        0.0,
        1000.0,
        1000.0,
        1.0,
        FIXED,
        "fixed",
        duration=0.2 * 0.02**2 * 1e6,
        cells=400,
        tolerance=0.01,
    )
    got = np.interp(0.02 + 0.3 * 0.02, whole.heights, whole.temperatures[-1]) - 300
    assert got == pytest.approx(0.6918055631, abs=3e-5)


@pytest.mark.parametrize(
    ("fourier", "rise"), [(0.1, 0.09887318271), (0.3, 0.2538761826), (1.0, 0.4562385522), (12.0, 0.5)]
)
def test_uniform_generation(fourier, rise):
    # faces at 0, start 0: T·k/(q·L²) at the centre, series of Carslaw & Jaeger ch. III
    depth, power = 0.02, 1e5  # W/m³, from a reaction of order 0 that does not end
    record = pour(
        depth,
        300.0,
        300.0,
        NthOrder(1e-9, 0.0, 0.0),
        power / 1000 * 1e9,
        1000.0,
        1000.0,
        1.0,
        FIXED,
        duration=fourier * depth**2 * 1e6,
        cells=200,
        tolerance=0.01,
    )
    assert (at_base(record) - 300) / (power * depth**2) == pytest.approx(rise, abs=2e-5)


def test_pipe_wall_of_the_textbook():
    # Incropera's oil pipeline as a slab (from memory): 40 mm, h 500, k 63.9, a 18.8e-6, 480 s,
    # −20 to 60 °C: 42.9 and 45.2 °C from three-figure tables, 43.017 and 45.364 by one term
    record = pour(
        0.04,
        253.15,
        333.15,
        INERT,
        0.0,
        7832.0,
        63.9 / 18.8e-6 / 7832.0,
        63.9,
        500.0,
        duration=480.0,
        cells=200,
    )
    insulated, wetted = at_base(record) - 273.15, at_face(record, 500.0, 333.15, 63.9) - 273.15
    assert insulated == pytest.approx(42.9, abs=0.3)
    assert wetted == pytest.approx(45.2, abs=0.3)
    assert insulated == pytest.approx(43.01745142, abs=0.01)
    assert wetted == pytest.approx(45.36354812, abs=0.01)


def test_grid_converges_with_order_two():
    exact = film_series(1.0, 0.2, 0.0)
    errors = [abs(at_base(plain(0.02, 0.2, 1.0, cells=n)) - 300 - exact) for n in (10, 20, 40)]
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.15)
    assert errors[1] / errors[2] == pytest.approx(4, rel=0.15)


def test_time_steps_converge_with_order_four():
    # a tenth of the tolerance: 10^(1/4) more steps; 1e-4 of it: error down by about 1e-4
    runs = [
        pour(0.02, 300.0, 300.0, EPOXY, *MATERIAL, duration=30000.0, cells=20, tolerance=t)
        for t in (1e3, 1e1, 1e-2)
    ]
    errors = [np.abs(run.temperatures[-1] - runs[2].temperatures[-1]).max() for run in runs[:2]]
    assert errors[1] < errors[0] / 10
    assert errors[1] < 5e-3
    assert runs[0].times.size < runs[1].times.size < runs[2].times.size


# ----------------------------------------------------------------------- reaction with conduction


def lines(depth, cells, kinetics, base, duration, start=296.15, room=296.15, film=10.0):
    """The same slab by the method of lines and scipy's Radau, written apart."""
    heat, density, capacity, conductivity = MATERIAL
    width = depth / cells

    def rate(t, y):
        T, a = y[:cells], np.clip(y[cells:], 0, 1)
        flow = np.zeros(cells + 1)  # upwards
        flow[1:-1] = conductivity * (T[:-1] - T[1:]) / width
        flow[-1] = (T[-1] - room) / (1 / film + width / 2 / conductivity)
        if base == "fixed":
            flow[0] = (room - T[0]) / (width / 2 / conductivity)
        if base == "film":
            flow[0] = (room - T[0]) / (1 / film + width / 2 / conductivity)
        r = kinetics.rate(a, T)
        return np.append((flow[:-1] - flow[1:]) / width / density / capacity + heat / capacity * r, r)

    return solve_ivp(
        rate,
        (0, duration),
        np.append(np.full(cells, start), np.zeros(cells)),
        method="Radau",
        rtol=1e-8,
        atol=1e-8,
        dense_output=True,
    )


@pytest.mark.parametrize("base", ["insulated", "fixed", "film"])
def test_pour_against_the_method_of_lines(base):
    found = lines(0.02, 20, QUICK, base, 40000.0)
    record = pour(0.02, 296.15, 296.15, QUICK, *MATERIAL, 10.0, base, duration=40000.0, cells=20)
    for time in (5000.0, 20000.0, 28000.0, 40000.0):
        other = found.sol(time)
        heat, degree = record.at(time)
        assert heat == pytest.approx(other[:20], abs=0.02)
        assert degree == pytest.approx(other[20:], abs=2e-4)
    # the peak of a layer, on the fine times of the dense output
    times = np.linspace(0, 40000.0, 40001)
    assert record.peak_temperature == pytest.approx(found.sol(times)[:20].max(), abs=0.05)


def test_peak_and_depth_of_a_pour():
    # scipy's BDF at 1e-9 on 100 and 200 layers, extrapolated: 84.50682 °C at 40 mm; the depth for
    # 60 °C by a root finder over the same: 37.4324304 mm
    row = [1.2e7, 60, None, None, None, 1.5]
    peak = call("PEAK_TEMPERATURE", 40, 23, 23, row, 300, 1.1, 1.8, 0.25)
    assert peak == pytest.approx(84.50682, abs=1e-3)
    assert call("POUR_DEPTH", 60, 23, 23, row, 300, 1.1, 1.8, 0.25) == pytest.approx(37.4324304, rel=2e-7)
    # the layers of one pour in full come to the same
    record = pour(0.04, 296.15, 296.15, EPOXY, *MATERIAL, cells=200)
    assert record.peak_temperature - 273.15 == pytest.approx(peak, abs=0.01)
    assert record.peak_height == 0.0  # an insulated base is the hottest place


def test_peak_is_in_the_middle_between_equal_faces():
    record = pour(0.03, 296.15, 296.15, EPOXY, *MATERIAL, 10.0, "film", cells=61)
    assert record.peak_height == pytest.approx(0.015, abs=1e-6)
    assert record.temperatures[10] == pytest.approx(record.temperatures[10][::-1], abs=1e-9)


def test_peak_is_never_below_start_or_surroundings():
    # limits by hand: a pour that hardly reacts cools from its start, or warms to the room
    slow = NthOrder(1e-12, 0.0)
    assert peak_temperature(0.02, 330.0, 300.0, slow, *MATERIAL) == pytest.approx(330.0, abs=1e-3)
    assert peak_temperature(0.02, 300.0, 330.0, slow, *MATERIAL) == pytest.approx(330.0, abs=1e-3)
    thin = peak_temperature(1e-6, 300.0, 300.0, EPOXY, *MATERIAL)
    assert thin == pytest.approx(300.0, abs=1e-2)


def test_rise_of_a_thin_pour():
    # hand: what a thin layer makes goes through the film at once, ΔT = ρ·H·L·k(T₀)/h
    rate = 2e5 * math.exp(-6e4 / R / 300.0)
    for depth in (2e-5, 1e-4, 3e-4):
        rise = peak_temperature(depth, 300.0, 300.0, EPOXY, *MATERIAL) - 300.0
        assert rise == pytest.approx(1100 * 3e5 * depth * rate / 10.0, rel=0.01, abs=1e-4)


def test_course_between_the_steps():
    # the course inside a step is as good as its ends: against steps a hundred times finer
    given_ = (0.06, 296.15, 296.15, EPOXY, *MATERIAL)
    record = pour(*given_, duration=86400.0, cells=20)
    fine = pour(*given_, duration=86400.0, cells=20, tolerance=1e-4)
    assert fine.times.size > 4 * record.times.size
    for time in np.linspace(100.0, 86300.0, 87):
        assert record.at(time)[0] == pytest.approx(fine.at(time)[0], abs=5e-3)
        assert record.at(time)[1] == pytest.approx(fine.at(time)[1], abs=5e-5)


def test_many_pours_are_each_their_own():
    depths = np.linspace(0.002, 0.03, 9)[:, None]
    rooms = np.array([[290.0, 310.0]])
    block = peak_temperature(depths, 300.0, rooms, EPOXY, *MATERIAL)
    assert block.shape == (9, 2)
    for i in (0, 4, 8):
        for j in (0, 1):
            alone = peak_temperature(depths[i, 0], 300.0, rooms[0, j], EPOXY, *MATERIAL)
            assert block[i, j] == pytest.approx(alone, abs=1e-9)


def test_no_depth_is_said():
    row = [1.2e7, 60]
    with pytest.raises(InputError, match="not above the start"):
        call("POUR_DEPTH", 20, 23, 23, row, 300, 1.1, 1.8, 0.25)
    with pytest.raises(InputError, match="any depth stays under"):
        call("POUR_DEPTH", 250, 23, 23, row, 300, 1.1, 1.8, 0.25)  # above 23 + 300/1.8 = 190 °C
    with pytest.raises(InputError, match="conductivity"):
        call("PEAK_TEMPERATURE", 20, 23, 23, row, 300, 1.1, 1.8, 0)
    with pytest.raises(InputError, match="base"):
        pour(0.02, 300.0, 300.0, EPOXY, *MATERIAL, base="cold")


@settings(max_examples=8, deadline=None)
@given(st.floats(0.005, 0.03), st.sampled_from(["insulated", "fixed", "film"]), st.floats(285.0, 315.0))
def test_pour_depth_is_the_inverse(depth, base, room):
    given_ = (300.0, room, EPOXY, *MATERIAL, 10.0, base)
    limit = float(peak_temperature(depth, *given_))
    if limit < max(300.0, room) + 0.5:
        return  # too little above what is there anyway to tell a depth
    assert float(pour_depth(limit, *given_)) == pytest.approx(depth, rel=1e-4)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.002, 0.02), st.floats(1.05, 2.0), st.sampled_from(["insulated", "film"]))
def test_deeper_is_hotter(depth, factor, base):
    peaks = peak_temperature(np.array([depth, depth * factor]), 300.0, 300.0, EPOXY, *MATERIAL, 10.0, base)
    assert peaks[1] > peaks[0] >= 300.0
    assert peaks[1] < 300.0 + 3e5 / 1800.0 + 100.0


# ------------------------------------------------------------------------------ sinks and shots


def test_perfect_sinks_are_a_mixture():
    # cells of 40 % of the volume: the same as a compound with the capacity and heat of the mixture
    sink = Sink(0.4, 2700.0, 900.0)
    with_cells = pour(0.02, 300.0, 300.0, EPOXY, *MATERIAL, cells=30, sinks=sink)
    capacity = 0.6 * 1100 * 1800 + 0.4 * 2700 * 900
    release = 0.6 * 1100 * 3e5
    mixed = pour(0.02, 300.0, 300.0, EPOXY, release, 1.0, capacity, 0.25, cells=30)
    assert with_cells.peak_temperature == pytest.approx(mixed.peak_temperature, abs=1e-3)
    plain_pour = pour(0.02, 300.0, 300.0, EPOXY, *MATERIAL, cells=30)
    assert with_cells.peak_temperature < plain_pour.peak_temperature


def test_exchange_goes_from_none_to_perfect():
    peaks = [
        pour(0.02, 300.0, 300.0, QUICK, *MATERIAL, cells=20, sinks=Sink(0.4, 2700.0, 900.0, x))
        for x in (1e-3, 1e3, 1e4, 1e8)
    ]
    perfect = pour(0.02, 300.0, 300.0, QUICK, *MATERIAL, cells=20, sinks=Sink(0.4, 2700.0, 900.0))
    assert peaks[-1].peak_temperature == pytest.approx(perfect.peak_temperature, abs=0.02)
    hot = [one.peak_temperature for one in peaks]
    assert hot[0] > hot[1] > hot[2] > hot[3] - 0.02
    assert peaks[0].solid_peak == pytest.approx(300.0, abs=0.1)  # nothing gets into the cells
    assert all(one.solid_peak <= one.peak_temperature + 1e-6 for one in peaks)


def test_two_shots():
    given_ = (296.15, 296.15, EPOXY, *MATERIAL)
    single = pour(0.04, *given_, cells=80)
    # no wait: one pour
    _, both = two_shots(0.02, 0.02, 1e-6, *given_, cells=40)
    assert both.peak_temperature == pytest.approx(single.peak_temperature, abs=0.02)
    assert both.depth == pytest.approx(0.04)
    # a long wait: the first has cured, and the second finds a cold solid under it
    lower, upper = two_shots(0.02, 0.02, 40 * 86400.0, *given_, cells=40)
    assert max(lower.peak_temperature, upper.peak_temperature) < single.peak_temperature - 10
    assert upper.imbalance < 1e-6
    assert lower.times[-1] == pytest.approx(40 * 86400.0)
    assert upper.degrees[0][:40] == pytest.approx(lower.degrees[-1])
    assert np.all(upper.degrees[0][40:] == 0.0)


# ------------------------------------------------------------------------------------- runaway


def test_critical_deltas():
    # printed 0.88, 2, 3.32 (Frank-Kamenetskii); slab: δ = 2·e^(−θ)·arccosh²(e^(θ/2)), its largest
    slab = minimize_scalar(
        lambda t: -2 * math.exp(-t) * math.acosh(math.exp(t / 2)) ** 2,
        bounds=(0.5, 2),
        method="bounded",
        options={"xatol": 1e-10},
    )
    assert CRITICAL_DELTA["slab"] == pytest.approx(-slab.fun, rel=1e-8)
    assert slab.x == pytest.approx(1.186842169, abs=1e-5)  # rise at the centre

    # cylinder and sphere: θ'' + (d−1)/x·θ' = −e^θ from the centre; δ = x²·e^(θ), its largest
    def largest(dimensions):
        def slope(s, y):  # s = ln x
            return [y[1], -(dimensions - 2) * y[1] - math.exp(2 * s + y[0])]

        found = solve_ivp(slope, (-12, 4), [0, 0], rtol=1e-11, atol=1e-12, dense_output=True)
        s = np.linspace(-2, 4, 200_001)
        return np.exp(2 * s + found.sol(s)[0]).max()

    assert CRITICAL_DELTA["cylinder"] == pytest.approx(largest(2), rel=1e-7)
    assert CRITICAL_DELTA["sphere"] == pytest.approx(largest(3), rel=1e-7)


def test_frank_kamenetskii_thickness():
    # hand: E 60 kJ/mol, A 1e6 per second, 400 kJ/kg, 1150 kg/m³, 0.2 W/(m·K), 23 °C: 13.3234381 mm
    found = frank_kamenetskii(0.0133234381, 296.15, NthOrder(1e6, 6e4), 4e5, 1150.0, 0.2)
    assert found.half_thickness == pytest.approx(0.0133234381, rel=1e-6)
    assert found.delta == pytest.approx(CRITICAL_DELTA["slab"], rel=1e-6)


def test_criteria_without_a_reaction():
    # limit: nothing reacts at the begin, so no thickness is critical
    idle = Kamal(0.0, 6e4, 1e6, 6e4, 1.0, 1.0)
    assert frank_kamenetskii(0.01, 296.15, idle, 4e5, 1150.0, 0.2).half_thickness == math.inf
    assert time_to_maximum_rate(296.15, idle, 4e5, 1800.0) == math.inf
    with pytest.raises(InputError, match="slab, cylinder, sphere"):
        frank_kamenetskii(0.01, 296.15, idle, 4e5, 1150.0, 0.2, shape="cube")


ENDLESS = NthOrder(1e6 * math.exp(60e3 / R / 296.15 * 9) * 1e-9, 600e3, 0.0)


def steady(delta):
    """A slab at δ with reactant that is never used up and a very high activation energy."""
    heat, density, conductivity = 4e5 * 1e9, 1150.0, 0.2
    one = frank_kamenetskii(1.0, 296.15, ENDLESS, heat, density, conductivity)
    depth = math.sqrt(delta / one.delta)
    return pour(
        depth,
        296.15,
        296.15,
        ENDLESS,
        heat,
        density,
        1800.0,
        conductivity,
        FIXED,
        duration=30 * depth**2 * density * 1800.0 / conductivity,
        cells=60,
    )


@pytest.mark.parametrize("delta", [0.2, 0.5, 0.8])
def test_steady_slab_of_frank_kamenetskii(delta):
    # below δ_c: θ at the centre from δ = 2·e^(−θ)·arccosh²(e^(θ/2)); E/RT = 244 is near the theory
    theta = brentq(lambda t: 2 * math.exp(-t) * math.acosh(math.exp(t / 2)) ** 2 - delta, 1e-9, 1.18)
    rise = steady(delta).peak_temperature - 296.15
    assert rise * 600e3 / (R * 296.15**2) == pytest.approx(theta, rel=0.02)


def test_runaway_beyond_the_critical_delta():
    # E/RT = 244 shifts δ_c by about RT/E, half a percent
    below, above = 0.85, 0.92
    assert steady(below).peak_temperature - 296.15 < 2 * R * 296.15**2 / 600e3
    # its reactant is never used up: no temperature is the peak, and the time of the runaway is told
    with pytest.raises(InputError, match=r"runs away after \d"):
        steady(above)


def test_semenov():
    # hand: E 60 kJ/mol at 23 °C: critical rise 13.26695147 K, about RT²/E = 12.15364113 K
    kinetics = NthOrder(1e6, 6e4)
    number, rise = semenov(1e-3, 0.06, 10.0, 296.15, kinetics, 4e5, 1150.0)
    assert rise == pytest.approx(13.26695147, rel=1e-8)
    about = R * 296.15**2 / 60e3
    assert about == pytest.approx(12.15364113, rel=1e-8)
    rate = 1e6 * math.exp(-60e3 / R / 296.15)
    by_hand = 1150 * 1e-3 * 4e5 * rate * 60e3 / (10 * 0.06 * R * 296.15**2)
    assert number == pytest.approx(by_hand, rel=1e-12)
    # where E < 4RT there is no runaway
    assert math.isnan(semenov(1e-3, 0.06, 10.0, 296.15, NthOrder(1.0, 5e3), 4e5, 1150.0)[1])


def adiabatic_time(rate, start, rise, end):
    """Time to the greatest dα/dt of an adiabatic body by an ODE solver: an independent method."""

    def slope(_, state):
        return [rate(state[0], start + rise * state[0])]

    found = solve_ivp(slope, (0.0, end), [1e-12], method="LSODA", rtol=1e-10, atol=1e-13, dense_output=True)
    times = np.linspace(0.0, end, 400_001)
    degrees = found.sol(times)[0]
    return times[np.argmax(rate(degrees, start + rise * degrees))]


def test_time_to_maximum_rate_by_the_full_kinetics():
    # independent: LSODA. The first reaction of the Kamal mix alone would give c·R·T²/(H·k1·E1) = 44.3 min
    def kamal(degree, heat):
        plain, auto = (
            factor / 60.0 * np.exp(-energy / R / heat) for factor, energy in ((2.9e7, 58e3), (8.7e7, 55e3))
        )
        left = np.maximum(1.0 - degree, 0.0)
        return (plain + auto * np.maximum(degree, 0.0) ** 0.8) * left**1.4

    mix = Kamal(2.9e7 / 60.0, 58e3, 8.7e7 / 60.0, 55e3, 0.8, 1.4)
    got = time_to_maximum_rate(298.15, mix, 230e3, 1600.0)
    assert got == pytest.approx(adiabatic_time(kamal, 298.15, 230.0 / 1.6, 3600.0), rel=1e-4)
    assert got / 60.0 == pytest.approx(27.3, abs=0.05)

    def first_order(degree, heat):
        return 1e6 * np.exp(-6e4 / R / heat) * np.maximum(1.0 - degree, 0.0)

    got = time_to_maximum_rate(296.15, NthOrder(1e6, 6e4), 4e5, 1800.0)
    assert got == pytest.approx(adiabatic_time(first_order, 296.15, 4e5 / 1800.0, 3600.0), rel=1e-4)
    # limit of a high energy and much heat (D. A. Frank-Kamenetskii): c·R·T²/(H·k·E), less a part 2·R·T/E
    rate = 1e-6 * math.exp(6e5 / R / 298.15)
    got = time_to_maximum_rate(298.15, NthOrder(rate, 6e5, 0.0), 1e9, 1500.0)
    first = 1500.0 * R * 298.15**2 / (1e9 * 1e-6 * 6e5)
    assert got == pytest.approx(first * (1.0 + 2.0 * R * 298.15 / 6e5), rel=1e-3)


def test_what_never_quickens_has_no_time_to_a_maximum():
    # by hand: E·H/(c·R·T²) = 0.06 is below the order 1: the rate only falls
    assert time_to_maximum_rate(296.15, NthOrder(1e6, 6e4), 1e3, 1500.0) == 0.0
    # k1 = 0 and m < 1: ∫α^−m dα is finite at 0; LSODA from 1e-12

    def auto(degree, heat):
        return 1e6 * np.exp(-6e4 / R / heat) * np.maximum(degree, 0.0) ** 0.5 * np.maximum(1.0 - degree, 0.0)

    got = time_to_maximum_rate(298.15, Kamal(0.0, 6e4, 1e6, 6e4, 0.5, 1.0), 3e5, 1500.0)
    assert got == pytest.approx(adiabatic_time(auto, 298.15, 200.0, 20_000.0), rel=1e-3)


@pytest.mark.parametrize("limit", [50.0, 60.0, 63.5])
def test_depth_with_an_order_m_below_one(limit):
    """dα/dt has no slope at α = 0 where 0 < m < 1; the depth is found all the same.

    Sides by hand: below the full rise 25 + 55/1.4 = 64.3 °C there is a depth for each limit, and it is
    the one whose peak is the limit.
    """
    known = (25, 25, [2e7, 55, 1e8, 55, 0.6, 1.4], 55, 0.62, 1.4, 0.15)
    depth = call("POUR_DEPTH", limit, *known)
    assert call("PEAK_TEMPERATURE", depth, *known) == pytest.approx(limit, abs=0.01)


# ------------------------------------------------- autocatalytic kinetics from a degree of cure of 0

ROOM = 298.15
SLAB = (3e5, 1100.0, 1500.0, 0.25)  # full rise 200 K


def by_ratio(ratio, power, order, energy, auto=1e-3):
    """Kamal kinetics by k2 and k1/k2 at 25 °C."""
    factor = auto * math.exp(energy / R / ROOM)
    return Kamal(ratio * factor, energy, factor, energy, power, order)


def test_no_heat_out_gives_the_full_rise():
    # hand: 25 + 300/1.5 = 225 °C; k1/k2 is 0.1, m 0.5
    row = [1e7, 60, 1e8, 60, 0.5, 1.5]
    assert call("PEAK_TEMPERATURE", 10, 25, 25, row, 300, 1.1, 1.5, 0.25, 0) == pytest.approx(225, abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.2, 2.0), st.floats(-4.0, 1.0), st.floats(0.0, 2.0), st.sampled_from([0.0, 4e4, 7e4]))
def test_full_rise_whatever_the_kinetics(power, exponent, order, energy):
    # hand: T₀ + ΔH/c where no heat gets out, for m 0.2–2, A1/A2 1e-4–10
    kinetics = by_ratio(10.0**exponent, power, order, energy)
    peak = peak_temperature(np.array([1e-3, 0.02]), ROOM, ROOM, kinetics, *SLAB, 0.0)
    assert peak == pytest.approx([ROOM + 200.0] * 2, abs=2e-3)


@pytest.mark.parametrize("power", [0.2, 0.5, 0.8, 0.97])
@pytest.mark.parametrize("order", [0.0, 0.5, 1.5])
def test_reaction_without_k1_leaves_zero(power, order):
    # α = 0 is a solution of dα/dt = k2·αᵐ, and α = ((1 − m)·k2·t)^(1/(1 − m)) is the one that leaves it
    kinetics = Kamal(0.0, 0.0, 1e-3, 0.0, power, order)
    assert peak_temperature(0.01, ROOM, ROOM, kinetics, *SLAB, 0.0) == pytest.approx(ROOM + 200, abs=2e-3)
    early = 0.05 ** (1 - power) / ((1 - power) * 1e-3)  # time to α = 0.05 where (1 − α)ⁿ counts as 1
    if order == 0.0:
        record = pour(0.01, ROOM, ROOM, kinetics, *SLAB, 0.0, duration=early, cells=4)
        assert record.degrees[-1] == pytest.approx([0.05] * 4, rel=2e-4)


@pytest.mark.parametrize("power", [1.0, 1.5])
def test_reaction_without_k1_and_with_m_of_one_needs_a_seed(power):
    # from α = 0 the one solution of dα/dt = k2·αᵐ stays there where m is 1 or more: not a peak of 25 °C
    row = [0, 60, 1e8, 60, power, 1.5]
    for name, first in (("PEAK_TEMPERATURE", 10), ("POUR_DEPTH", 60)):
        with pytest.raises(InputError, match="needs a seed"):
            call(name, first, 25, 25, row, 300, 1.1, 1.5, 0.25)
    with pytest.raises(InputError, match="needs a seed"):
        pour(0.01, ROOM, ROOM, Kamal(0.0, 6e4, 1e6, 6e4, power, 1.5), *SLAB)
    # without heat of reaction nothing depends on it
    assert call("PEAK_TEMPERATURE", 10, 25, 25, row, 0, 1.1, 1.5, 0.25) == pytest.approx(25)


def test_full_rise_to_a_ceiling_and_in_pieces():
    # hand: a ceiling of 0.6 ends the reaction at 0.6 of the rise; pieces end at full cure
    low = Kamal(1e-4, 0.0, 0.02, 0.0, 0.4, 1.0, ceiling=0.6)
    assert peak_temperature(0.01, ROOM, ROOM, low, *SLAB, 0.0) == pytest.approx(ROOM + 120, abs=2e-3)
    pieces = Piecewise(
        (0.3, 0.6),
        (
            Kamal(1e-5, 0.0, 0.02, 0.0, 0.5, 1.0),
            NthOrder(1e-3, 0.0, 0.5),
            Kamal(1e-3, 0.0, 0.02, 0.0, 0.4, 1.2),
        ),
    )
    # a ceiling that lies above its own piece ends nothing, one within it does
    within = Piecewise((0.3,), (low, Kamal(1e-3, 0.0, 0.02, 0.0, 0.4, 1.0, ceiling=0.5)))
    for kinetics, share in ((pieces, 1.0), (LEE_LOOS_SPRINGER, 1.0), (within, 0.5)):
        peak = peak_temperature(0.01, 373.15, 373.15, kinetics, *SLAB, 0.0)
        assert peak == pytest.approx(373.15 + 200 * share, abs=2e-3)


@pytest.mark.parametrize(
    ("power", "plain", "auto", "energy", "times"),
    # times to α = 0.1, 0.5, 0.9 of one point without loss of heat: quadrature of dα/rate
    [
        (0.5, 0.0, 4e-3, 5e4, None),
        (1.0, 2e-4, 3e-3, 5e4, (255.011, 417.619, 454.721)),
        (0.3, 1e-6, 1e-3, 6e4, None),
        (0.8, 1e-5, 4e-3, 4.5e4, None),
        (0.5, 1e-2, 4e-3, 5e4, None),
    ],
)
def test_course_without_loss_of_heat_against_quadrature(power, plain, auto, energy, times):
    rise, order = 120.0 if power != 1.0 else 90.0, 1.5

    def slowness(degree):  # dt/dα
        factor = math.exp(-energy / R * (1 / (ROOM + rise * degree) - 1 / ROOM))
        return 1 / ((plain + auto * degree**power) * factor * (1 - degree) ** order)

    # α = x^k takes the singular begin out of the integral
    k = 1.0 / (1.0 - power) if plain == 0.0 else 4.0
    expected = [
        quad(lambda x: slowness(x**k) * k * x ** (k - 1), 0, target ** (1 / k), epsrel=1e-10, limit=400)[0]
        for target in (0.1, 0.5, 0.9)
    ]
    if times is not None:
        assert expected == pytest.approx(times, rel=1e-5)
    if plain == 0.0:
        # stiff ordinary differential equation at 1e-10 from α = 1e-12
        assert expected == pytest.approx([129.992, 180.821, 191.060], rel=1e-4)
    scale = math.exp(energy / R / ROOM)
    kinetics = Kamal(plain * scale, energy, auto * scale, energy, power, order)
    record = pour(
        0.01, ROOM, ROOM, kinetics, rise * 1500.0, *SLAB[1:], 0.0, cells=3, duration=2 * expected[-1]
    )
    for target, time in zip((0.1, 0.5, 0.9), expected, strict=True):
        heat, degree = record.at(time)
        speed = 1 / slowness(target)
        assert degree == pytest.approx([target] * 3, abs=max(1e-5, 2e-4 * time * speed))
        assert heat == pytest.approx(ROOM + rise * degree, abs=1e-2)
    assert record.temperatures == pytest.approx(ROOM + rise * record.degrees, abs=1e-6)


def random_pour(random):
    """A pour with m from 0.2 to 2 and A1/A2 from 1e-4 to 10, now and then without k1."""
    power, energy = random.uniform(0.2, 2.0), random.uniform(4e4, 7e4)
    other = energy + random.uniform(-1e4, 1e4)
    auto, ratio = 10.0 ** random.uniform(-5, -2.5), 10.0 ** random.uniform(-4, 1)
    plain = ratio * auto * math.exp(other / R / ROOM)
    if power < 0.9 and random.random() < 0.15:
        plain = 0.0
    kinetics = Kamal(plain, other, auto * math.exp(energy / R / ROOM), energy, power, random.uniform(0.8, 2))
    start = random.uniform(290, 325)
    return dict(
        depth=10 ** random.uniform(-2.7, -1.4),
        start=start,
        kinetics=kinetics,
        surroundings=start if random.random() < 0.4 else random.uniform(290, 325),
        heat=random.uniform(1e5, 3.5e5),
        density=random.uniform(900, 1800),
        specific_heat=random.uniform(1000, 2000),
        conductivity=random.uniform(0.15, 1.0),
        film=float(random.choice([0, 5, 10, 100])),
        base=str(random.choice(["insulated", "fixed", "film"])),
    )


def own_volumes(
    cells,
    until,
    depth,
    start,
    kinetics,
    surroundings,
    heat,
    density,
    specific_heat,
    conductivity,
    film,
    base,
    seed=None,
    second=None,
):
    """The same layers written apart, in ln α by scipy's LSODA, from a tiny seed; temperatures (·, layers).

    `second` is (time, depth): so much more poured on top after that time, in as many layers.
    """
    k = kinetics
    if seed is None:
        seed = 1e-14 if k.factor > 0.0 else max(1e-8 ** (1.0 / (1.0 - k.power)), 1e-250)

    def run(widths, heats, logs, until):
        count = widths.size
        half = widths / 2 / conductivity
        film_top = 0.0 if film == 0.0 else 1 / (1 / film + half[-1])
        film_base = {
            "insulated": 0.0,
            "fixed": 1 / half[0],
            "film": 0.0 if film == 0.0 else 1 / (1 / film + half[0]),
        }[base]

        def slope(t, y):
            T, log = y.reshape(count, 2).T
            a = np.exp(np.minimum(log, 0.0))
            rate = k.factor_auto * np.exp(-k.energy_auto / R / T) * a**k.power
            rate += k.factor * np.exp(-k.energy / R / T)
            rate *= (1 - a) ** k.order
            up = np.zeros(count + 1)
            up[0] = film_base * (surroundings - T[0])
            up[1:-1] = (T[:-1] - T[1:]) / (half[:-1] + half[1:])
            up[-1] = film_top * (T[-1] - surroundings)
            warming = (up[:-1] - up[1:]) / (widths * density * specific_heat) + heat / specific_heat * rate
            return np.column_stack([warming, rate / a]).ravel()

        found = solve_ivp(
            slope,
            (0, until),
            np.column_stack([heats, logs]).ravel(),
            method="LSODA",
            lband=3,
            uband=3,
            rtol=1e-7,
            atol=np.tile([1e-5, 1e-8], count),
        )
        assert found.success
        return found.y.reshape(count, 2, -1)

    widths, heats, logs = np.full(cells, depth / cells), np.full(cells, start), np.full(cells, math.log(seed))
    if second is None:
        return run(widths, heats, logs, until)[:, 0].T
    first = run(widths, heats, logs, second[0])
    widths = np.append(widths, np.full(cells, second[1] / cells))
    both = run(widths, np.append(first[:, 0, -1], heats), np.append(first[:, 1, -1], logs), until)
    return both[:, 0].T


def at_the_base(temperatures):
    """The peak at an insulated base, where the slope is 0: parabola through two layers."""
    base, above = temperatures[:, 0], temperatures[:, 1]
    return (base + (base - above) / 8).max()


def hottest_layer(record):
    """The highest temperature of a layer at the ends of the steps and between them."""
    places = np.argsort(record.temperatures.max(axis=1))[-3:]
    last = record.times.size - 1
    ends = [(record.times[max(p - 1, 0)], record.times[min(p + 1, last)]) for p in places]
    times = np.concatenate([np.linspace(*pair, 40) for pair in ends])
    return max(record.temperatures.max(), *(record.at(time)[0].max() for time in times))


@pytest.mark.parametrize("seed", range(10))
def test_random_pours_against_own_volumes(seed):
    """120 pours; another 460 of this kind were within 0.02 K but for fronts that pass the full rise."""
    random = np.random.default_rng(seed)
    cells = 6
    for _ in range(12):
        given_ = random_pour(random)
        record = pour(**given_, cells=cells)
        assert record.imbalance < 1e-6
        assert record.degrees.min() >= 0.0 and record.degrees.max() <= 1.0
        assert np.all(np.diff(record.degrees, axis=0) >= 0.0)
        expected = own_volumes(cells, record.times[-1], **given_).max()
        allowed = 0.03 + 3e-3 * (expected - given_["start"])
        assert hottest_layer(record) == pytest.approx(expected, abs=allowed)


def test_the_seed_of_the_reference_does_not_matter():
    random = np.random.default_rng(5)
    for plain in (None, 0.0):
        given_ = random_pour(random)
        k = given_["kinetics"]
        k = Kamal(k.factor if plain is None else plain, k.energy, k.factor_auto, k.energy_auto, 0.5, 1.3)
        given_["kinetics"] = k
        one, other = (own_volumes(4, 2e5, **given_, seed=s).max() for s in (1e-14, 1e-22))
        assert one == pytest.approx(other, abs=2e-3)


@pytest.mark.parametrize("power", [0.3, 0.7])
def test_shots_and_sinks_with_a_sharp_begin(power):
    # the second shot is fresh compound on half-cured compound: two kinds of layers in one solution
    given_ = dict(
        depth=0.01,
        start=ROOM,
        surroundings=ROOM,
        kinetics=by_ratio(1e-3, power, 1.4, 5.5e4, 1e-4),
        heat=2.5e5,
        density=1200.0,
        specific_heat=1500.0,
        conductivity=0.3,
        film=10.0,
        base="insulated",
    )
    rest = {name: value for name, value in given_.items() if name not in ("depth", "kinetics")}
    lower, upper = two_shots(
        0.01,
        0.008,
        4000.0,
        rest["start"],
        ROOM,
        given_["kinetics"],
        2.5e5,
        1200.0,
        1500.0,
        0.3,
        10.0,
        cells=8,
    )
    expected = own_volumes(8, upper.times[-1], **given_, second=(4000.0, 0.008)).max()
    assert hottest_layer(upper) == pytest.approx(expected, abs=0.05)
    assert upper.imbalance < 1e-6 and lower.imbalance < 1e-6
    # cells that take up heat at once are a mixture; with a very good exchange they come to that
    mixed = pour(**given_, cells=8, sinks=Sink(0.3, 2600.0, 900.0))
    release, capacity = 0.7 * 1200 * 2.5e5, 0.7 * 1200 * 1500 + 0.3 * 2600 * 900
    alike = pour(**{**given_, "heat": release, "density": 1.0, "specific_heat": capacity}, cells=8)
    assert mixed.peak_temperature == pytest.approx(alike.peak_temperature, abs=1e-3)
    near = pour(**given_, cells=8, sinks=Sink(0.3, 2600.0, 900.0, 1e8))
    assert near.peak_temperature == pytest.approx(mixed.peak_temperature, abs=0.02)
    far = pour(**given_, cells=8, sinks=Sink(0.3, 2600.0, 900.0, 2e3))
    assert far.imbalance < 1e-6 and ROOM < far.solid_peak <= far.peak_temperature
    # with none the cells stay as they are, and the compound between them reacts alone
    apart = pour(**given_, cells=8, sinks=Sink(0.3, 2600.0, 900.0, 1e-6))
    alone = pour(**{**given_, "density": 0.7 * 1200.0}, cells=8)
    assert apart.peak_temperature == pytest.approx(alone.peak_temperature, abs=1e-3)
    assert apart.solid_peak == pytest.approx(ROOM, abs=1e-3)


@pytest.mark.parametrize(("power", "ratio"), [(0.3, 1e-3), (0.5, 0.1), (0.6, 0.0), (0.8, 1e-2)])
def test_pour_depth_against_bisection_on_own_volumes(power, ratio):
    given_ = dict(
        start=ROOM,
        surroundings=ROOM,
        kinetics=by_ratio(ratio, power, 1.5, 5e4, 2e-5),
        heat=2e5,
        density=1100.0,
        specific_heat=1500.0,
        conductivity=0.25,
        film=10.0,
        base="insulated",
    )

    def excess(log):
        runs = (own_volumes(cells, 4e5, depth=math.exp(log), **given_) for cells in (12, 24))
        coarse, fine = map(at_the_base, runs)
        return fine + (fine - coarse) / 3 - (ROOM + 25.0)

    expected = math.exp(brentq(excess, math.log(1e-3), math.log(0.06), xtol=1e-4))
    depth = pour_depth(ROOM + 25.0, **given_)
    assert depth == pytest.approx(expected, rel=2e-3)
    assert peak_temperature(depth, **given_) == pytest.approx(ROOM + 25.0, abs=1e-3)


def test_pot_of_the_demo_with_an_order_m_of_0_4():
    # the demo's pot with m 0.4 in place of 0.6: peak and deepest pour by volumes written apart
    tables = copy.deepcopy(DEMO)
    material = next(row for row in tables["Materials"] if row["material"] == "cell compound")
    material["order_m"] = 0.4
    for pot in tables["Pots"]:
        pot.pop("arrangement", None)  # as a slab without cells
    plan = make(tables)
    found = next(one for one in station_pours(plan, "Block potting") if one.pot.pot == "Cell bed")
    kinetics = Kamal(2e7 / 60, 5.5e4, 1e8 / 60, 5.5e4, 0.4, 1.4)
    given_ = dict(
        start=found.start,
        surroundings=found.start,
        kinetics=kinetics,
        heat=55e3,
        density=found.constants.density,
        specific_heat=1400.0,
        conductivity=0.15,
        film=8.0,
        base="insulated",
    )

    def peak(depth):
        coarse, fine = (at_the_base(own_volumes(cells, 4e4, depth=depth, **given_)) for cells in (16, 32))
        return fine + (fine - coarse) / 3

    assert found.peak == pytest.approx(peak(0.03), abs=0.03)
    limit = found.limit  # 60 °C
    if found.safe_depth is None:
        assert peak(1.0) < limit
    else:
        depth = brentq(lambda depth: peak(depth) - limit, 0.003, 0.06, xtol=1e-6)
        assert found.safe_depth == pytest.approx(depth, rel=3e-3)


def test_many_sharp_pours_are_each_their_own():
    kinetics = Kamal(1e2, 5e4, 2e4, 5.5e4, 0.4, 1.3)
    depths, starts = np.array([0.004, 0.01, 0.02])[:, None], np.array([[293.15, 313.15]])
    block = peak_temperature(depths, starts, 295.0, kinetics, *SLAB)
    for i in range(3):
        for j in range(2):
            alone = peak_temperature(depths[i, 0], starts[0, j], 295.0, kinetics, *SLAB)
            assert block[i, j] == pytest.approx(alone, abs=1e-6)


def test_no_depth_has_one_reason_each():
    kinetics = by_ratio(0.1, 0.5, 1.5, 6e4)
    assert "not above" in depth_or_reason(ROOM, ROOM, ROOM, kinetics, *SLAB)[1]
    assert "any depth" in depth_or_reason(ROOM + 400, ROOM, ROOM, kinetics, *SLAB)[1]
    # no heat gets out at all: the thinnest pour, too, comes to 225 °C
    assert "thinnest" in depth_or_reason(ROOM + 100, ROOM, ROOM, kinetics, *SLAB, 0.0)[1]
    depth, reason = depth_or_reason(ROOM + 20, ROOM, ROOM, kinetics, *SLAB)
    assert reason == ""
    assert peak_temperature(depth, ROOM, ROOM, kinetics, *SLAB) == pytest.approx(ROOM + 20, abs=0.01)


def test_a_reaction_that_hardly_goes_is_not_one_that_was_missed():
    # hand: k1 = 1e-11 1/s holds up ρ·H·L·k1/h = 1100·3e5·0.01·1e-11/10 K, nothing; the peak is the start
    frozen = Kamal(1e-11, 0.0, 1e-12, 0.0, 0.5, 1.0)
    assert peak_temperature(0.01, ROOM, ROOM, frozen, *SLAB) == pytest.approx(ROOM, abs=1e-3)


def test_a_runaway_is_told_with_its_time():
    # k1 at 25 °C is 1e-6 1/s: with 1e9 J/kg and E 60 kJ/mol the time c·R·T²/(H·k·E) is 1.85 s
    wild = NthOrder(1e-6 * math.exp(6e4 / R / ROOM), 6e4)
    expected = time_to_maximum_rate(ROOM, wild, 1e9, 1500.0) / 60
    with pytest.raises(InputError, match="runs away after") as caught:
        peak_temperature(0.02, ROOM, ROOM, wild, 1e9, 1100.0, 1500.0, 0.25, 0.0)
    told = float(str(caught.value).split("runs away after ")[1].split(" min")[0])
    assert told == pytest.approx(expected, rel=0.15)  # first term for high energies: E/RT = 24
    assert "units" not in str(caught.value)
    # among others it is one pour without an answer
    peaks = peak_temperature(0.02, ROOM, ROOM, wild, np.array([1e5, 1e9]), 1100.0, 1500.0, 0.25, 0.0)
    assert np.isfinite(peaks[0]) and np.isnan(peaks[1])
