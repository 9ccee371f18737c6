"""Heat of a pour against series solutions, the theory of thermal explosion, and scipy.

Symbols as in Carslaw & Jaeger, Conduction of Heat in Solids, and in Incropera & DeWitt, Fundamentals
of Heat and Mass Transfer, Table 5.1: Bi = h·L/k, Fo = a·t/L². Printed numbers are from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar

from dispense import call
from dispense.base.errors import InputError
from dispense.handbook.cure import Kamal, NthOrder
from dispense.handbook.heat import (
    CRITICAL_DELTA,
    Sink,
    frank_kamenetskii,
    peak_temperature,
    pour,
    pour_depth,
    semenov,
    time_to_maximum_rate,
    two_shots,
)

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
    with pytest.raises(InputError, match="too quick"):
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


def test_time_to_maximum_rate():
    # hand: c·R·T²/(H·k·E) = 0.5809645354 h
    got = time_to_maximum_rate(296.15, NthOrder(1e6, 6e4), 4e5, 1800.0) / 3600
    assert got == pytest.approx(0.5809645354, rel=1e-8)


@pytest.mark.parametrize("limit", [50.0, 60.0, 63.5])
def test_depth_with_an_order_m_below_one(limit):
    """dα/dt has no slope at α = 0 where 0 < m < 1; the depth is found all the same.

    Sides by hand: below the full rise 25 + 55/1.4 = 64.3 °C there is a depth for each limit, and it is
    the one whose peak is the limit.
    """
    known = (25, 25, [2e7, 55, 1e8, 55, 0.6, 1.4], 55, 0.62, 1.4, 0.15)
    depth = call("POUR_DEPTH", limit, *known)
    assert call("PEAK_TEMPERATURE", depth, *known) == pytest.approx(limit, abs=0.01)
