"""Heat in a block of round cells: against finite elements, closed forms and limits.

The figures of the cases A1 to A9 are of an independent code of body-fitted curved quadratic finite
elements, reaction at the quadrature points, coupled in time, on three levels of mesh and step; its own
± stands beside each. T1 and T3, in three dimensions, are by quadratic elements of a general library on 64,000
to 75,000 nodes (`potted_block.py`; the 2 × 2 block that is run here moves by 0.06 K from 9,000 to 64,000 of
them). T5 is of an independent cut-cell code on two fine grids, which reads T1 and T3 with their layer over
the cells 1.0 and 1.1 K lower than the elements do. Limits are by hand or by a general solver, as said.
"""

import copy
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from scipy.special import erfc

from dispense import call
from dispense.base.errors import InputError
from dispense.books.plan import new_plan
from dispense.handbook.array import array_conductivity
from dispense.handbook.cure import Kamal, NthOrder
from dispense.handbook.pack import (
    Bodies,
    Films,
    Pack,
    PackShot,
    Solid,
    corner_cut,
    depth_cut,
    pack_heat,
    section_cut,
)
from dispense.handbook.pack_boxes import block_centres, block_plane
from dispense.handbook.pack_step import Boxes, March
from dispense.jobs.cure import cure_file
from dispense.plan.build import build_plan
from dispense.plan.demo import DEMO
from dispense.plan.read import load_plan
from dispense.plan.records import raw_table
from dispense.reports import pour
from dispense.reports.shot_plan import shot_map

K = 273.15
R = 8.314462618
MM = 1e-3
ALUMINIUM, PLASTIC = Solid(200.0, 200.0, 2.4e6), Solid(0.2, 0.2, 1.6e6)


def kinetics(k1, e1, k2, e2, m, n):
    """Rates stated at 25 °C."""
    first = k1 * math.exp(e1 / R / 298.15)
    return Kamal(first, e1, k2 * math.exp(e2 / R / 298.15), e2, m, n) if k2 else NthOrder(first, e1, n)


def pack(
    arrangement,
    along,
    rows,
    radius,
    gap,
    margin,
    wall,
    thick,
    compound,
    rise,
    rates,
    *,
    poured=25.0,
    cold=25.0,
    air=25.0,
    films=(10.0, 0.0, 0.0, 0.0, 0.0),
    end=7200.0,
    seed=0.0,
    height=0.07,
    depth=0.07,
    base=ALUMINIUM,
    plate=3.0,
    axial=1.0,
    shots=None,
):
    k, capacity = compound
    return Pack(
        arrangement,
        along,
        rows,
        (2.0 * radius + gap) * MM,
        2.0 * radius * MM,
        height,
        margin * MM,
        margin * MM,
        thick * MM,
        plate * MM,
        Bodies(Solid(k, k, capacity), rise, Solid(1.0, axial, 2.6e6), wall, base),
        Films(*films),
        kinetics(*rates),
        air + K,
        cold + K,
        shots or (PackShot(depth, 0.0, poured + K),),
        seed,
        0.0,
        end,
        True,
    )


RATES = (1e-4, 55e3, 4e-3, 55e3, 0.5, 1.3)
SECTIONS = {
    # case: pack; hottest compound, its time, skin, cell mean [°C, s]; middle and corner cell
    "A1": (
        pack("square", 6, 6, 9, 1, 3, ALUMINIUM, 2, (0.2, 1.5e6), 90, (2e-4, 5e4, 3e-3, 5e4, 1, 1.5)),
        (43.043, 1300.0, 42.691, 42.646, 42.646, 42.112),
    ),
    "A2": (
        pack("square", 6, 6, 10.5, 2, 12, PLASTIC, 3, (0.15, 1.2e6), 110, RATES, films=(8, 0, 0, 0, 0)),
        (125.516, 167.4, 65.724, 62.397, 51.224, 62.397),
    ),
    "A3": (
        pack(
            "alternating",
            5,
            5,
            10.5,
            1.5,
            8,
            PLASTIC,
            2,
            (0.12, 1e6),
            120,
            (0, 5e4, 4e-3, 5e4, 0.5, 1.5),
            films=(5, 0, 0, 0, 0),
            seed=1e-6,
        ),
        (133.622, 214.4, 59.701, 56.695, 46.229, 56.695),
    ),
    "A4": (
        pack(
            "square",
            5,
            5,
            23,
            3,
            6,
            ALUMINIUM,
            2,
            (0.25, 2e6),
            80,
            (5e-4, 6e4, 2e-3, 6e4, 1, 1.2),
            poured=35,
            cold=20,
            air=20,
            films=(20, 0, 0, 0, 0),
            end=10800,
        ),
        (99.313, 165.2, 52.180, 44.852, 44.234, 44.852),
    ),
    "A5": (
        pack(
            "square",
            6,
            5,
            9,
            3,
            15,
            PLASTIC,
            3,
            (0.18, 1.4e6),
            100,
            (1.5e-3, 6e4, 0, 6e4, 1, 1),
            poured=30,
            cold=22,
            air=22,
            films=(12, 0, 0, 0, 0),
        ),
        (124.663, 86.8, 73.909, 70.727, 58.882, 70.727),
    ),
}


@pytest.mark.parametrize("case", SECTIONS)
def test_section_against_finite_elements(case):
    given, (compound, time, skin, mean, middle, corner) = SECTIONS[case]
    cut = section_cut(given)
    assert cut.compound_peak.value - K == pytest.approx(compound, abs=0.4)
    assert cut.compound_peak.time == pytest.approx(time, rel=0.015)
    assert cut.skin_peak.value - K == pytest.approx(skin, abs=0.4)
    assert cut.mean_peak.value - K == pytest.approx(mean, abs=0.1)
    assert cut.middle.max() - K == pytest.approx(middle, abs=0.1)
    assert cut.corner.max() - K == pytest.approx(corner, abs=0.1)
    assert cut.balance.residual < 1e-6
    assert 0.0 <= cut.least_degree <= cut.most_degree <= 1.0


DEPTHS = {
    # case: pack; hottest compound, its time, skin, cell mean; what the rim of a covered cell may be off
    "A6": (
        pack(
            "staggered",
            6,
            6,
            10.5,
            2,
            3,
            PLASTIC,
            2,
            (0.18, 1.3e6),
            110,
            RATES,
            films=(0, 10, 0, 0, 10),
            depth=0.075,
        ),
        (98.437, 198.7, 63.084, 41.512, 0.6),
    ),
    "A7": (
        pack(
            "square",
            6,
            6,
            9,
            2,
            3,
            PLASTIC,
            2,
            (0.15, 1.2e6),
            100,
            (2e-4, 5e4, 3e-3, 5e4, 1, 1.5),
            poured=30,
            cold=22,
            air=22,
            films=(0, 5, 0, 0, 5),
            height=0.065,
            depth=0.08,
            base=PLASTIC,
            axial=20.0,
        ),
        (113.750, 381.6, 50.491, 50.207, 0.1),
    ),
    "A8": (
        pack(
            "staggered",
            6,
            6,
            23,
            3,
            3,
            PLASTIC,
            2,
            (0.12, 1e6),
            120,
            (1.5e-3, 6e4, 0, 6e4, 1, 1),
            poured=30,
            films=(0, 8, 8, 8, 8),
            height=0.08,
            depth=0.06,
            base=PLASTIC,
            plate=2.0,
            end=10800,
        ),
        (44.481, 177.5, 35.819, 32.401, 0.1),
    ),
    "A9": (  # two shots, the second after 600 s; times count from the first
        pack(
            "square",
            6,
            6,
            10.5,
            3,
            3,
            PLASTIC,
            2,
            (0.15, 1.2e6),
            110,
            RATES,
            films=(0, 8, 8, 8, 10),
            axial=20.0,
            end=6600,
            shots=(PackShot(0.040, 0.0, 25 + K), PackShot(0.076, 600.0, 25 + K)),
        ),
        (138.67, 733.9, 68.24, 50.457, 0.4),
    ),
}


@pytest.mark.parametrize("case", DEPTHS)
def test_depth_against_finite_elements(case):
    given, (compound, time, skin, mean, rim) = DEPTHS[case]
    cut = depth_cut(given)
    assert cut.compound_peak.value - K == pytest.approx(compound, abs=0.5)
    assert cut.compound_peak.time == pytest.approx(time, rel=0.01)
    assert cut.skin_peak.value - K == pytest.approx(skin, abs=rim)
    assert cut.mean_peak.value - K == pytest.approx(mean, abs=0.1)
    assert cut.balance.residual < 1e-6
    if case == "A9":  # before the second shot, same source: hottest 39.879 °C, cell mean past its 38.279
        hottest, _ = cut.waits[0]
        assert hottest - K == pytest.approx(39.879, abs=0.15)
        before = cut.times <= 600.0
        assert cut.compound[before].max() - K == pytest.approx(58.103, abs=0.3)
        assert cut.mean[before].max() - K == pytest.approx(38.279, abs=0.1)


BLOCKS = {
    "T1": (
        pack(
            "square",
            4,
            4,
            10.5,
            2,
            8,
            PLASTIC,
            3,
            (0.15, 1.2e6),
            110,
            RATES,
            films=(8, 10, 0, 0, 10),
            axial=20.0,
            depth=0.075,
            end=190,
        ),
        (115.48, 178.0, 33.954),
    ),
    "T3": (
        pack(
            "square",
            4,
            4,
            9,
            1,
            4,
            ALUMINIUM,
            2,
            (0.18, 1.4e6),
            100,
            (1.5e-4, 52e3, 3.5e-3, 52e3, 1, 1.4),
            films=(10, 8, 0, 0, 8),
            axial=20.0,
            height=0.065,
            depth=0.069,
            base=PLASTIC,
            end=761.203,
        ),
        (53.254, 721.2, 41.738),
    ),
    "T5": (
        pack(
            "alternating",
            4,
            3,
            10.5,
            1.5,
            6,
            PLASTIC,
            3,
            (0.14, 1.1e6),
            115,
            (1e-4, 48e3, 4e-3, 48e3, 1, 1.6),
            films=(8, 8, 8, 0, 8),
            depth=0.06,
            base=PLASTIC,
            end=3600,
        ),
        (105.5, 579.0, 46.75),
    ),
}


@pytest.mark.parametrize("case", BLOCKS)
def test_corner_in_three_dimensions(case):
    """Hottest compound, and the highest mean of a cell by the end (T1, T3: of the corner cell then).

    Boxes of 2.5 mm here: the least ± of this grid is 0.7 K.
    """
    given, (compound, time, mean) = BLOCKS[case]
    cut = corner_cut(given)
    assert cut.compound_peak.value - K == pytest.approx(compound, abs=0.7)
    assert cut.compound_peak.time == pytest.approx(time, rel=0.01)
    assert cut.mean_peak.value - K == pytest.approx(mean, abs=0.7 if case == "T3" else 0.2)
    assert cut.balance.residual < 1e-6
    assert 0.0 <= cut.least_degree <= cut.most_degree <= 1.0
    if case == "T3":  # thin layers and walls of metal: finer boxes go to the elements
        finer = corner_cut(given, 0.7)
        assert finer.compound_peak.value - K == pytest.approx(compound, abs=0.25)
        assert finer.mean_peak.value - K == pytest.approx(mean, abs=0.15)


def test_corner_with_a_layer_over_it_against_finite_elements():
    """Two cells each way in the margins, walls, base and layer of T1: elements of scikit-fem run here.

    On 64,000 nodes and steps of 0.7 s they give 115.43 °C after 178.3 s.
    """
    pytest.importorskip("skfem")
    from potted_block import Block, Case

    solids = (0.15, 0.15, 1.2e6), (1.0, 20.0, 2.6e6), (0.2, 0.2, 1.6e6), (200.0, 200.0, 2.4e6)
    case = Case(1, 0.0105, 0.023, 0.008, 0.003, 0.003, 0.07, 0.075, *solids, (8.0, 10.0, 10.0))

    def rate(degree, heat):
        pace = np.exp(-55e3 / R * (1.0 / heat - 1.0 / 298.15))
        return pace * (1e-4 + 4e-3 * np.sqrt(degree)) * (1.0 - degree) ** 1.3

    elements = Block(case).follow(25.0, rate, 1.2e6 * 110.0, 184.0)
    top = elements[elements[:, 1].argmax()]
    assert top[1] == pytest.approx(115.43, abs=0.1)
    cut = corner_cut(replace(BLOCKS["T1"][0], along=2, rows=2, duration=184.0))
    assert cut.compound_peak.value - K == pytest.approx(top[1], abs=0.4)
    assert cut.compound_peak.time == pytest.approx(top[0], rel=0.01)
    assert cut.corner[-1] - K == pytest.approx(elements[-1, 2], abs=0.2)
    assert cut.corner[-1] < cut.skin_peak.value < cut.compound_peak.value  # one cell alone has a skin too


def test_corner_without_ends_is_the_section():
    """Both ends insulated and cells as high as the pour: every height is alike, a plane problem."""
    given = SECTIONS["A1"][0]
    tall = replace(given, along=4, rows=4, height=0.03, shots=(PackShot(0.03, 0.0, 25 + K),), base=0.0)
    tall = replace(tall, duration=2400.0)
    solid, flat = corner_cut(tall, most=4), section_cut(tall, 2.5 / 1.3 * math.sqrt(10 / 10.5), most=4)
    assert solid.compound_peak.value == pytest.approx(flat.compound_peak.value, abs=0.05)
    assert solid.mean_peak.value == pytest.approx(flat.mean_peak.value, abs=0.05)
    assert solid.balance.residual < 1e-6


# ------------------------------------------------------------------------------------------- limits

LIMITS = {
    # k1, k2, E, m, n, seed, rise, start: times to degrees 0.1, 0.5, 0.9; quadrature of dα/f and a stiff
    # solver of a general library at 1e-10 agree in all digits
    "L1": ((0, 4e-3, 50e3, 0.5, 1.5, 1e-6, 120.0, 25.0), (129.493, 180.323, 190.562)),
    "L2": ((0, 4e-3, 50e3, 0.5, 1.5, 1e-12, 120.0, 25.0), (129.992, 180.821, 191.060)),
    "L3": ((2e-4, 3e-3, 50e3, 1.0, 1.5, 0.0, 90.0, 25.0), (255.011, 417.619, 454.721)),
    "L4": ((1.5e-3, 0, 60e3, 1.0, 1.0, 0.0, 100.0, 30.0), (32.652, 69.656, 77.436)),
}


@pytest.mark.parametrize("case", LIMITS)
def test_adiabatic_box(case):
    (k1, k2, energy, m, n, seed, rise, start), expected = LIMITS[case]
    rates = kinetics(k1, energy, k2, energy, m, n)
    none = np.zeros(0, dtype=int)
    box = Boxes(np.ones(1), np.array([rise]), none, none, np.zeros(0), np.zeros(1))
    seen = []
    March(rates, start + K).run(
        box,
        np.array([start + K]),
        np.array([seed]),
        600.0,
        lambda time, heat, degree: seen.append((time, degree[0], heat[0])) or degree[0] > 0.95,
    )
    times, degrees, heats = np.array(seen).T
    assert heats == pytest.approx(start + K + rise * (degrees - seed), abs=1e-6)
    for degree, time in zip((0.1, 0.5, 0.9), expected, strict=True):
        # from the step before, by quadrature, so that no interpolation blurs the time
        place = int(np.searchsorted(degrees, degree)) - 1
        rest, _ = quad(
            lambda a: 1.0 / rates.rate(np.array(a), start + K + rise * (a - seed)), degrees[place], degree
        )
        assert times[place] + rest == pytest.approx(time, rel=1e-3)


@pytest.mark.parametrize(("case", "final"), [("A1", 45.0649), ("A2", 58.7834), ("A4", 47.4680)])
def test_insulated_block_ends_at_the_mixture(case, final):
    """Enthalpy of the areas at full cure; finite elements run to equilibrium agree to 0.003 K."""
    given = replace(SECTIONS[case][0], films=Films(0.0, 0.0, 0.0, 0.0, 0.0), duration=2e6)
    cut = section_cut(given, 1.5)
    assert cut.least_degree > 0.9999 - 2e-3 * (case == "A1")
    left = (1.0 - cut.least_degree) * given.bodies.rise
    assert cut.temperatures.max() - cut.temperatures.min() < 1e-3
    assert cut.temperatures.mean() - K == pytest.approx(final, abs=0.03 + left)


@pytest.mark.parametrize(("case", "peak", "time"), [("A1", 41.7823, 1574.9), ("A5", 67.1073, 400.4)])
def test_all_conducts_perfectly(case, peak, time):
    """One temperature for all: a stiff ODE at 1e-10, and finite elements with k = 3000 within 0.008 K."""
    given = SECTIONS[case][0]
    bodies = Bodies(
        *(
            solid if isinstance(solid, float | int) else Solid(3e3, 3e3, solid.capacity)
            for solid in (
                given.bodies.compound,
                given.bodies.rise,
                given.bodies.cell,
                given.bodies.wall,
                given.bodies.base,
            )
        )
    )
    cut = section_cut(replace(given, bodies=bodies), 0.7)
    assert cut.mean_peak.value - K == pytest.approx(peak, abs=0.06)
    assert cut.mean_peak.time == pytest.approx(time, rel=0.01)


def test_pure_cooling_is_the_product_of_two_slabs():
    """Σ 2 sin b/(b + sin b cos b)·exp(−b²Fo), b tan b = Bi (Carslaw, Jaeger 1959, from memory)."""
    half, k, capacity, film, time = 0.083, 0.5, 2e6, 20.0, 3600.0
    biot, fourier = film * half / k, k / capacity * time / half**2
    roots = [
        brentq(lambda b: b * math.tan(b) - biot, n * math.pi + 1e-9, (n + 0.5) * math.pi - 1e-9)
        for n in range(20)
    ]
    slab = sum(2 * math.sin(b) / (b + math.sin(b) * math.cos(b)) * math.exp(-b * b * fourier) for b in roots)
    exact = 20.0 + 40.0 * slab**2
    assert exact == pytest.approx(56.8315, abs=1e-4)
    given = SECTIONS["A2"][0]
    same = Solid(k, k, capacity)
    given = replace(
        given,
        bodies=Bodies(same, 0.0, same, same, same),
        films=Films(film, 0.0, 0.0, 0.0, 0.0),
        air=20 + K,
        cold=60 + K,
        shots=(PackShot(0.07, 0.0, 60 + K),),
        duration=time,
    )
    cut = section_cut(given, 1.2)
    assert cut.temperatures[0] - K == pytest.approx(exact, abs=0.03)
    assert cut.balance.residual < 1e-6


def test_contact_of_two_half_spaces():
    """Interface (e₁T₁ + e₂T₂)/(e₁ + e₂), 22.9564 °C; 1 mm inside after 2 s 56.0100 °C (error function)."""
    k, capacity, start = (0.2, 25.0), (2.07e6, 2.6e6), (60.0, 20.0)
    width, count = 0.1e-3, 300
    side = np.repeat([0, 1], count)
    widths = np.where(side == 0, width, 1e-3)  # the second body reaches further: it conducts more
    half = 0.5 * widths / np.array(k)[side]
    first = np.arange(2 * count - 1)
    boxes = Boxes(
        np.array(capacity)[side] * widths,
        np.zeros(2 * count),
        first,
        first + 1,
        1.0 / (half[:-1] + half[1:]),
        np.zeros(2 * count),
    )
    heat, _ = March(NthOrder(0.0, 0.0), 20 + K, 0.1).run(
        boxes, np.array(start)[side] + K, np.zeros(2 * count), 2.0, lambda *_: False
    )
    effusivity = [math.sqrt(a * b) for a, b in zip(k, capacity, strict=True)]
    interface = (effusivity[0] * 60.0 + effusivity[1] * 20.0) / sum(effusivity)
    assert interface == pytest.approx(22.95635893, abs=1e-8)
    exact = interface + (60.0 - interface) * (1 - erfc(1e-3 / (2 * math.sqrt(k[0] / capacity[0] * 2.0))))
    assert exact == pytest.approx(56.0100211, abs=1e-6)
    inside = np.interp(1e-3, (np.arange(count) + 0.5) * width, heat[:count][::-1]) - K
    assert inside == pytest.approx(exact, abs=0.05)
    found = (heat[count - 1] / half[count - 1] + heat[count] / half[count]) / (
        1 / half[count - 1] + 1 / half[count]
    )
    assert found - K == pytest.approx(interface, abs=0.2)


def test_slab_of_boxes_against_a_general_solver():
    """Method of lines, Radau of a general library at 1e-9, same boxes."""
    count, width, k, capacity, rise, film = 30, 0.3e-3, 0.15, 1.2e6, 110.0, 8.0
    rates = kinetics(*RATES)
    first = np.arange(count - 1)
    films = np.zeros(count)
    films[-1] = 1.0 / (1.0 / film + 0.5 * width / k)
    held = np.full(count, capacity * width)
    boxes = Boxes(held, held * rise, first, first + 1, np.full(count - 1, k / width), films)
    seen = []
    March(rates, 298.15).run(
        boxes,
        np.full(count, 298.15),
        np.zeros(count),
        600.0,
        lambda time, heat, degree: bool(seen.append((time, heat.max()))),
    )

    def slope(_, state):
        heat, degree = state[:count], state[count:]
        flow = np.zeros(count + 1)
        flow[1:-1] = k / width * (heat[:-1] - heat[1:])
        flow[-1] = films[-1] * (heat[-1] - 298.15)
        rate = rates.rate(degree, heat)
        return np.append((flow[:-1] - flow[1:]) / held + rise * rate, rate)

    begin = np.append(np.full(count, 298.15), np.full(count, 1e-9))
    sure = solve_ivp(slope, (0, 600), begin, method="Radau", rtol=1e-9, atol=1e-9, dense_output=True)
    times = np.linspace(0, 600, 6001)
    expected = sure.sol(times)[:count].max()
    assert max(hot for _, hot in seen) == pytest.approx(expected, abs=0.1)


# ------------------------------------------------------------------------ unit cell, elements beside it


def unit_cell(rates, seed, duration):
    resin = Solid(0.25, 0.25, 2.07e6)
    cell = Solid(1.0, 1.0, 2.6e6)
    return Pack(
        "square",
        1,
        1,
        0.020,
        0.0184,
        0.07,
        0.0008,
        0.0008,
        0.0,
        0.0,
        Bodies(resin, 3.45e8 / 2.07e6, cell, cell, cell),
        Films(0.0, 0.0, 0.0, 0.0, 0.0),
        rates,
        20 + K,
        20 + K,
        (PackShot(0.07, 0.0, 60 + K),),
        seed,
        0.0,
        duration,
        True,
    )


@pytest.mark.parametrize("reacts", [False, True])
def test_unit_cell_against_finite_elements(reacts):
    """An insulated cell in a square of 20 mm: elements of scikit-fem run here, and values of finer ones.

    Printed: mean of the cell at 20, 180, 900, 1800 s by quadratic elements, a second method within 0.03 K.
    """
    pytest.importorskip("skfem")
    from unit_cell import follow

    factor = 140000.0 if reacts else 0.0
    times = (20.0, 180.0, 900.0, 1800.0) if reacts else (20.0, 180.0, 600.0)
    printed = (27.076, 31.791, 40.962, 72.912) if reacts else (27.069, 31.332, 31.459)

    def rate(degree, heat):
        return factor * np.exp(-48e3 / R / heat) * np.sqrt(degree) * np.maximum(1.0 - degree, 0.0) ** 1.5

    elements = follow(times, 0.0092, 0.010, (1.0, 2.6e6), (0.25, 2.07e6), (20.0, 60.0), rate, 3.45e8, 1e-6)
    cut = section_cut(unit_cell(Kamal(0.0, 0.0, max(factor, 1e-30), 48e3, 0.5, 1.5), 1e-6, times[-1]), 0.5)
    mean = np.interp(times, cut.times, cut.mean) - K
    hot = np.interp(times, cut.times, cut.compound) - K
    # where it runs away a shift in time of a second is a tenth of a kelvin
    assert mean == pytest.approx(np.array(printed), abs=0.1)
    assert mean == pytest.approx(elements[:, 0], abs=0.15)
    assert hot == pytest.approx(elements[:, 2], abs=0.35)


def test_effective_conductivity_of_the_boxes():
    """Steady flow through the boxes of a unit cell, against the full series of a square array (f = 0.5,
    σ = 10: 2.41546738, an independent multipole series and finite elements)."""
    pitch, ratio, fraction = 0.020, 10.0, 0.5
    radius = pitch * math.sqrt(fraction / math.pi)
    plane = block_plane(
        block_centres("square", 1, 1, pitch), radius, 0.5 * pitch, 0.5 * pitch, 0.0, pitch / 80
    )
    count = round(math.sqrt(plane.area.size))
    link = plane.links((1.0, ratio, 1.0))
    big = 1e9  # holds both faces along x
    side = plane.places[:, 0]
    left, right = side == side.min(), side == side.max()
    # the middle of the outermost boxes is held: the flow passes all but half a box each side
    boxes = Boxes(
        np.ones(plane.area.size),
        np.zeros(plane.area.size),
        plane.first,
        plane.second,
        link,
        np.where(left | right, big, 0.0),
    )
    from scipy.sparse.linalg import spsolve

    matrix = boxes.matrix()
    heat = spsolve(matrix, np.where(left, big, 0.0))
    flow = float((big * (1.0 - heat[left])).sum())
    span = float(side.max() - side.min())
    outside = 2.0 * (0.5 * pitch - span) / 2.0  # half boxes: compound at one side, mostly cell at the other
    assert count == 40
    found = flow * span / (0.5 * pitch)
    assert found == pytest.approx(2.41546738, rel=0.03 + outside / pitch)


# ------------------------------------------------------------------- conductivity of an array, closed form

ARRAYS = [
    # arrangement, ratio, fractions; truncated formula of Perrins, McKenzie and McPhedran, and the exact value
    # by a full multipole series, which finite elements confirm to 1e-6
    (
        "square",
        1e12,
        (0.1, 0.3, 0.5, 0.7, 0.75),
        (1.22222977, 1.8601883, 3.08017715, 7.38280543, 12.0225451),
        (1.22222977, 1.86018831, 3.08019783, 7.43270933, 12.751122),
    ),
    (
        "square",
        10.0,
        (0.1, 0.3, 0.5, 0.7, 0.75),
        (1.1782218, 1.65203601, 2.41546212, 4.05626972, 4.90890298),
        (1.1782218, 1.65203601, 2.41546738, 4.0617074, 4.94426591),
    ),
    (
        "hexagonal",
        1e12,
        (0.1, 0.4, 0.6, 0.8),
        (1.22222224, 2.33402021, 4.02668931, 9.95507926),
        (1.22222224, 2.33402021, 4.02668966, 9.95862543),
    ),
    (
        "hexagonal",
        10.0,
        (0.1, 0.4, 0.6, 0.8),
        (1.17821783, 1.97327217, 2.93755099, 4.94855186),
        (1.17821783, 1.97327217, 2.93755107, 4.94886543),
    ),
]


@pytest.mark.parametrize(("arrangement", "ratio", "fractions", "formula", "exact"), ARRAYS)
def test_array_conductivity(arrangement, ratio, fractions, formula, exact):
    found = array_conductivity(arrangement, np.array(fractions), ratio)
    assert found == pytest.approx(np.array(formula), rel=2e-8)
    off = np.abs(found / np.array(exact) - 1.0)
    assert off[:2].max() < 1e-6 and off.max() < 0.06  # it leaves the exact value near touching
    # holes: k(σ)·k(1/σ) = 1, the duality of plane arrays, far from touching
    dual = array_conductivity(arrangement, fractions[1], 1.0 / ratio)
    assert dual * exact[1] == pytest.approx(1.0, rel=1e-6)


def test_array_conductivity_refuses_touching_cells():
    from dispense.base.errors import InputError

    with pytest.raises(InputError, match="fraction"):
        call("ARRAY_CONDUCTIVITY", "square", 0.79, 10)
    assert call("ARRAY_CONDUCTIVITY", "hexagonal", 0.79, 10) > 4.5


# ------------------------------------------------------------------------------- all cuts, and the function


def test_each_figure_is_the_hottest_of_its_cuts():
    given = replace(BLOCKS["T5"][0], to_the_end=False)
    found = pack_heat(given)
    cuts = {cut.name: cut for cut in found.cuts}
    assert set(cuts) == {"corner", "depth"}
    assert found.compound.value == max(cut.compound_peak.value for cut in cuts.values())
    assert found.skin.value == max(cut.skin_peak.value for cut in cuts.values())
    assert found.mean.value == cuts["corner"].mean_peak.value
    # the cross-section alone, from an independent code: 105.85 and 51.9 °C
    flat = section_cut(given)
    assert flat.compound_peak.value - K == pytest.approx(105.85, abs=0.4)
    assert flat.mean_peak.value - K == pytest.approx(51.9, abs=0.15)
    assert abs(found.compound.value - K - 105.5) <= found.compound.plus_minus + 0.25
    assert found.residual < 1e-6 and found.is_past
    # without conduction no compound could pass this
    assert found.compound.value < 25.0 + 115.0 + K


SLOW = (1.5e-5, 55e3, 6e-5, 55e3, 1, 1.4)  # peaks after two hours


def slow_block():
    """4 × 4 cells as high as the pour, 60 mm, in plastic; films of 8 W/(m²·K) all round, base insulated."""
    films = (8.0, 8.0, 8.0, 0.0, 0.0)
    given = pack("square", 4, 4, 9, 2, 6, PLASTIC, 2, (0.2, 1.6e6), 120, SLOW, films=films, axial=20.0)
    return replace(given, height=0.06, base=0.003, shots=(PackShot(0.06, 0.0, 25 + K),), duration=6 * 3600.0)


def test_a_slow_pour_gives_its_heat_off_at_base_and_face():
    """One temperature for all of it, by a general solver: what cures over hours is nearly even."""
    given = slow_block()
    side = 4 * 0.02 - 0.002 + 2 * 0.006
    cells = 16 * math.pi * 0.009**2
    compound = (side**2 - cells) * 0.06 * 1.6e6
    outside = side + 2 * 0.002
    capacity = compound + cells * 0.06 * 2.6e6
    capacity += ((outside**2 - side**2) * 0.06 + outside**2 * 0.003) * PLASTIC.capacity
    through_walls = 4 * outside * 0.06 / (1 / 8 + 0.002 / 0.2)
    off = 8.0 * side**2 + through_walls
    k1, k2, energy = SLOW[0], SLOW[2], SLOW[1]

    def course(_, state):
        degree, heat = state
        pace = math.exp(-energy / R * (1 / heat - 1 / 298.15))
        rate = pace * (k1 + k2 * degree) * max(1.0 - degree, 0.0) ** 1.4
        return rate, (compound * 120 * rate - off * (heat - 298.15)) / capacity

    even = solve_ivp(course, (0, given.duration), (0.0, 298.15), method="LSODA", rtol=1e-9, atol=1e-12)
    peak = float(even.y[1].max())
    corner = corner_cut(given)
    assert corner.mean_peak.value == pytest.approx(peak, abs=1.5)
    assert peak - 0.5 < corner.skin_peak.value < peak + 1.5
    # of both cuts the hotter counts: the cell in the middle, which loses nothing sideways
    found = pack_heat(given)
    assert corner.skin_peak.value <= found.skin.value == depth_cut(given).skin_peak.value
    # a plane without ends knows no way out but the walls
    assert section_cut(given, 1.5).mean_peak.value > peak + 4.0


def test_a_split_of_a_minute_changes_nothing():
    given = slow_block()
    split = replace(given, shots=(PackShot(0.03, 0.0, 25 + K), PackShot(0.06, 60.0, 25 + K)))
    one, two = pack_heat(given), pack_heat(split)
    for kind in ("compound", "skin", "mean"):
        assert getattr(one, kind).value == pytest.approx(getattr(two, kind).value, abs=0.3)


def test_colder_compound_alone_makes_one_shot_of_it():
    """The skin peaks lower from 5 K colder compound; a limit between the two needs no wait, only that."""
    block = replace(BLOCKS["T1"][0], along=2, rows=2, to_the_end=False)
    warm = pack_heat(block).skin
    cool = pack_heat(replace(block, shots=(PackShot(0.075, 0.0, 20 + K),))).skin
    limit = warm.value - 0.5
    assert cool.value + cool.plus_minus < limit < warm.value
    found = shot_map(block, limit, block.air)
    choice = found.choice
    assert (choice.shots, choice.time, choice.pour, choice.shop) == (1, 0.0, block.air - 5.0, block.air)
    assert found.confirmed.skin.value == pytest.approx(cool.value, abs=1e-9)
    assert "one shot of 75.0 mm, compound at 20 °C, shop at 25 °C" in found.words
    # where the planned pour keeps the limit nothing is changed, and no colder one is tried
    kept = shot_map(block, warm.value + 2.0 * warm.plus_minus, block.air)
    assert (kept.choice.shots, kept.choice.pour, kept.others) == (1, block.air, ())


def test_pack_peak_in_limits():
    block = ("square", 3, 3, 18, 40, 20, 4)
    room = (25, 25, [2e8, 60, None, None, None, 1.5])
    # no heat of cure: nothing is hotter than what was poured (the compound, at the begin)
    warm = call("PACK_PEAK", *block, 30, 60, 20, [2e8, 60], 0, 1.2, 1.5, 0.2)
    assert warm.compound == pytest.approx(60.0, abs=1e-4)
    assert 20.0 < warm.cell < warm.skin < 60.0
    hot = call("PACK_PEAK", *block, 30, *room, 300, 1.2, 1.5, 0.2)
    assert 25.0 < hot.cell < hot.skin < hot.compound < 25.0 + 300.0 / 1.5
    # a wider margin is hotter, plastic walls are hotter than metal ones
    wide = call("PACK_PEAK", *block[:-1], 10, 30, *room, 300, 1.2, 1.5, 0.2)
    metal = call("PACK_PEAK", *block, 30, *room, 300, 1.2, 1.5, 0.2, 10, 2, 200)
    assert wide.compound > hot.compound > metal.compound


def test_staggered_rows_have_both_corners():
    given = SECTIONS["A3"][0]
    staggered = replace(given, arrangement="staggered", along=12, rows=9)
    assert staggered.smaller(4) == ("alternating", 5, 4)
    assert replace(given, along=12, rows=9).smaller(4) == ("alternating", 4, 3)
    assert len(block_centres("alternating", 5, 4, 1.0)) == 18


def test_proposed_shots_stand_in_a_new_plan_whatever_its_header_is_typed_like(tmp_path):
    old, new = tmp_path / "plan.xlsx", tmp_path / "proposed.xlsx"
    new_plan(old, demo=True)
    book = openpyxl.load_workbook(old)
    sheet = book["Shots"]
    (head,) = [cell for row in sheet.iter_rows() for cell in row if str(cell.value).startswith("Wait")]
    head.value = "Wait (min)"
    for table in sheet.tables.values():
        table.tableColumns[head.column - sheet[table.ref.partition(":")[0]].column].name = "Wait (min)"
    book.save(old)
    before = old.read_bytes()
    report = cure_file(old, "Block potting", write_shots=new)
    (pour,) = [item for item in report.pours if item.shot_map is not None]
    choice = pour.shot_map.choice
    shots = [shot for shot in load_plan(new).shots if shot.part == "Block"]
    assert [shot.shot for shot in shots] == list(range(1, choice.shots + 1))
    assert sum(shot.portion for shot in shots) == pytest.approx(1.0, rel=1e-9)  # all of the pot
    assert [shot.wait for shot in shots[1:]] == pytest.approx([choice.wait] * (choice.shots - 1))
    assert old.read_bytes() == before
    del book["Shots"]
    book.save(old)
    with pytest.raises(InputError, match="no table Shots"):
        cure_file(old, "Block potting", write_shots=tmp_path / "other.xlsx")


def test_a_pour_over_its_limit_is_told_the_shots_that_keep_it(monkeypatch):
    """What the map proposes stands in place of a general advice; the caution stays."""
    rows = copy.deepcopy({name: table for name, table in DEMO.items() if name != "Settings"})
    (pot,) = [row for row in rows["Pots"] if row["station"] == "Block potting"]
    pot["limit"], rows["Shots"] = 33.0, []  # the pour comes to 34 °C
    plan = build_plan({name: raw_table(name, table) for name, table in rows.items()})
    proposal = SimpleNamespace(choice=object(), words="3 shots of 10.0 mm, 30 min between them")
    monkeypatch.setattr(pour, "shot_map", lambda *_: proposal)
    (planned,) = [item for item in plan.pots if item.station == "Block potting"]
    report = pour.pour_report(plan, planned)
    (danger,) = [item for item in report.findings if item.topic == pour.OVER_LIMIT]
    assert danger.kind == "danger" and danger.fix.startswith(f"pour in {proposal.words}")
    assert "can burn, smoke and vent cells" in danger.fix
