"""Flow against hand working, reference libraries and independent integration."""

from __future__ import annotations

import csv
import math
from importlib.resources import files
from itertools import pairwise

import fluids
import numpy as np
import pytest
from fluids.mixing import K_motionless_mixer
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import hand_rows, make
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

import dispense
from dispense.base.errors import InputError
from dispense.handbook.flow import (
    LAMINAR_REYNOLDS,
    WALLS,
    bead_squeeze_time,
    bruggeman_conductivity,
    bruggeman_differential_conductivity,
    interface_resistance,
    maxwell_conductivity,
    needle_bore,
    needle_bores,
    nozzle_flow,
    nozzle_pressure,
    paste_gap,
    reynolds_number,
    squeeze_gap,
    squeeze_limit,
    squeeze_time,
    strip_squeeze_limit,
    strip_squeeze_time,
    taper_pressure,
    viscosity,
    wall_shear_rate,
)
from dispense.handbook.spread import plate_factor
from dispense.shift.setup import setup_card


def rabinowitsch(pressure, bore, length, consistency, index, yield_stress):
    """Q = πR³/τ_w³·∫τ²·γ̇(τ)dτ by adaptive quadrature: no closed form, any liquid."""
    radius = bore / 2.0
    wall = pressure * radius / (2.0 * length)
    if wall <= yield_stress:
        return 0.0
    area = quad(
        lambda stress: stress**2 * ((stress - yield_stress) / consistency) ** (1.0 / index),
        yield_stress,
        wall,
        epsabs=0.0,
        epsrel=1e-12,
        limit=200,
    )[0]
    return math.pi * radius**3 / wall**3 * area


# ------------------------------------------------------------------------------- fixed check values


def test_poiseuille():
    # μ = 10 Pa·s, 25.4 mm of 0.838 mm bore, 400 kPa: πpD⁴/(128μL), by hand
    flow = dispense.call("NOZZLE_FLOW", "400 kPa", 0.838, 25.4, 10)
    assert flow * 1e3 == pytest.approx(19.0608495, rel=1e-9)


def test_poiseuille_by_friction_factor():
    """The same through the Darcy friction factor 64/Re of the fluids library."""
    density, mu, bore, length = 1100.0, 10.0, 0.838e-3, 25.4e-3
    flow = nozzle_flow(4e5, bore, length, mu)
    speed = flow / (math.pi * bore**2 / 4.0)
    reynolds = fluids.Reynolds(V=speed, D=bore, rho=density, mu=mu)
    factor = fluids.friction.friction_factor(Re=reynolds)
    assert factor * length / bore * density * speed**2 / 2.0 == pytest.approx(4e5, rel=1e-12)


def test_power_law():
    # m = 60 Pa·sⁿ, n = 0.4, same tube and pressure: by the Rabinowitsch integral
    flow = dispense.call("NOZZLE_FLOW", 4, 0.838, 25.4, 60, 0.4)
    assert flow * 1e3 == pytest.approx(942.0563497, rel=1e-9)


def test_textbook_pipe():
    """Chhabra & Richardson: 2500 kg/h, density 1075, m = 3, n = 0.5, 10 m (from memory).

    Printed about 110 kPa in 25 mm pipe; recomputed to the digits given here.
    """
    flow = 2500.0 / 3600.0 / 1075.0
    assert nozzle_pressure(flow, 25e-3, 10.0, 3.0, 0.5) == pytest.approx(110e3, rel=0.005)
    assert nozzle_pressure(flow, 25e-3, 10.0, 3.0, 0.5) == pytest.approx(110128.7743, rel=1e-9)
    assert nozzle_pressure(flow, 37e-3, 10.0, 3.0, 0.5) == pytest.approx(41328.20252, rel=1e-9)
    assert wall_shear_rate(flow, 25e-3, 0.5) == pytest.approx(526.4039461, rel=1e-9)
    # friction factor 16/Re of Metzner and Reed, Fanning
    speed = flow / (math.pi * 25e-3**2 / 4.0)
    reynolds = 1075.0 * speed**1.5 * 25e-3**0.5 / (8.0**-0.5 * 3.0 * (2.5 / 2.0) ** 0.5)
    assert reynolds == pytest.approx(216.3893679, rel=1e-9)
    wall = 110128.7743 * 25e-3 / (4.0 * 10.0)
    assert wall / (1075.0 * speed**2 / 2.0) * reynolds == pytest.approx(16.0, rel=1e-8)


@pytest.mark.parametrize(
    ("kilopascal", "flow"),
    [(300.0, 259.7049908), (50.0, 4.450170714), (9.9, 0.0)],  # Rabinowitsch integral by quadrature
)
def test_yield_stress(kilopascal, flow):
    found = dispense.call("NOZZLE_FLOW", f"{kilopascal} kPa", 1, 25, 50, 0.5, 100)
    assert found * 1e3 == pytest.approx(flow, rel=1e-9)


def test_yield_stress_inverse():
    # 50 mm³/s in that tube: brentq on the quadrature
    pressure = dispense.call("NOZZLE_PRESSURE", 0.05, 1, 25, 50, 0.5, 100)
    assert pressure * 100 == pytest.approx(138.6153595, rel=1e-9)
    # it starts at 4Lτ₀/D = 10 kPa, by hand
    assert dispense.call("NOZZLE_PRESSURE", 0, 1, 25, 50, 0.5, 100) == pytest.approx(0.1, rel=1e-12)


def test_bingham():
    # Buckingham–Reiner: τ₀ = 15 Pa, 0.15 Pa·s, 200 m of 40 mm, 640 kPa → 0.524 L/s
    flow = nozzle_flow(640e3, 40e-3, 200.0, 0.15, 1.0, 15.0)
    assert flow * 1e3 == pytest.approx(0.5242264294, rel=1e-9)
    phi = 15.0 / (640e3 * 40e-3 / 4.0 / 200.0)
    closed = math.pi * 20e-3**4 * 640e3 / (8 * 0.15 * 200.0) * (1 - 4 / 3 * phi + phi**4 / 3)
    assert flow == pytest.approx(closed, rel=1e-13)


def test_taper():
    # 4.0 to 1.0 mm over 30 mm, m = 50, n = 0.6, 100 mm³/s: quadrature of the local gradient
    assert dispense.call("TAPER_PRESSURE", 0.1, 4, 1, 30, 50, 0.6) == pytest.approx(0.713421607, rel=1e-9)


def test_mixer():
    # 6 mm, 72 mm, 5 Pa·s, 500 mm³/s: 5.658842421 kPa empty, × 6.9
    assert dispense.call("NOZZLE_PRESSURE", 0.5, 6, 72, 5) == pytest.approx(0.05658842421, rel=1e-9)
    assert dispense.call("MIXER_PRESSURE", 0.5, 6, 72, 5) == pytest.approx(0.3904601271, rel=1e-9)
    # 0.9·π·6²/4·72 mm³ at 500 mm³/s
    volume = math.pi * 36 / 4 * 72 / 1000
    assert dispense.call("DWELL_TIME", volume, 0.5, 0.9) == pytest.approx(3.664353671, rel=1e-9)


def test_mixer_by_loss_coefficient():
    """The same through the loss coefficient of the fluids library (Paul et al. 2004, ch. 7)."""
    density, mu, bore, length, flow = 1100.0, 5.0, 6e-3, 72e-3, 0.5e-6
    speed = flow / (math.pi * bore**2 / 4.0)
    friction = 64.0 / fluids.Reynolds(V=speed, D=bore, rho=density, mu=mu)
    loss = K_motionless_mixer(K=6.9, L=length, D=bore, fd=friction)
    pressure = fluids.dP_from_K(loss, rho=density, V=speed)
    assert dispense.call("MIXER_PRESSURE", 0.5, 6, 72, 5) * 1e5 == pytest.approx(pressure, rel=1e-9)


def test_viscosity():
    # 40·exp(55000/R·(1/323.15 − 1/298.15)), by hand
    assert dispense.call("VISCOSITY", 50, 40, 25, 55) == pytest.approx(7.188164458, rel=1e-9)
    # water 1.0016 mPa·s at 20 °C and 0.8900 at 25 °C (ISO/TR 3666, from memory)
    energy = 17.16953076
    assert dispense.call("VISCOSITY", 25, "1.0016 cP", 20, energy) == pytest.approx(0.89e-3, 1e-9)
    # 0.7972 mPa·s at 30 °C (from memory), to half a percent
    assert dispense.call("VISCOSITY", 30, "1.0016 cP", 20, energy) == pytest.approx(0.7972e-3, 5e-3)


@pytest.mark.parametrize(
    ("arguments", "seconds"),
    [
        ((100, 25, 1.0, 0.2, 10), 2.208932335),  # Stefan; film integrated numerically
        ((20, 10, 1.0, 0.2, 50, 0.5), 0.03330152233),  # Scott; film integrated numerically
        ((100, 25, 1.0, 0.2, 10, 1), 2.208932335),  # Scott with n = 1 is Stefan
        ((100, 25, 1.0, 1.0, 10), 0.0),
    ],
)
def test_squeeze_time(arguments, seconds):
    assert dispense.call("SQUEEZE_TIME", *arguments) == pytest.approx(seconds, rel=1e-9)


def test_strip_and_bead():
    # strip 10 mm wide, 100 Pa·s, 2000 N/m, 1.0 → 0.25 mm: (μw³/2F′)(1/h₁² − 1/h₀²) = 0.375 s
    assert strip_squeeze_time(2000.0, 10e-3, 1e-3, 0.25e-3, 100.0) == pytest.approx(0.375, rel=1e-12)
    # Scott strip m = 50, n = 0.5, 300 N/m, 1.0 → 0.2 mm: film integrated numerically
    found = strip_squeeze_time(300.0, 10e-3, 1e-3, 0.2e-3, 50.0, 0.5)
    assert found == pytest.approx(0.07348148148, rel=1e-9)
    # bead of 7 mm², 100 Pa·s, 2 N/mm, 3.0 → 0.5 mm: film integrated numerically
    found = dispense.call("BEAD_SQUEEZE_TIME", 2, 7, 3, 0.5, 100)
    assert found == pytest.approx(0.1097458848, rel=1e-9)


def test_squeeze_limits():
    # τ₀ = 200 Pa, R = 25 mm, 100 N: quadrature of p(r) = 2τ₀(R − r)/h
    assert dispense.call("SQUEEZE_LIMIT", 100, 25, 200) == pytest.approx(0.06544984695, rel=1e-9)
    gap = squeeze_limit(100.0, 25e-3, 200.0)
    force = quad(lambda r: 2 * 200.0 * (25e-3 - r) / gap * 2 * math.pi * r, 0, 25e-3)[0]
    assert force == pytest.approx(100.0, rel=1e-12)
    # strip: force for each length ∫2τ₀(w/2 − |x|)/h dx
    gap = strip_squeeze_limit(1000.0, 10e-3, 200.0)
    force = 2 * quad(lambda x: 2 * 200.0 * (5e-3 - x) / gap, 0, 5e-3)[0]
    assert force == pytest.approx(1000.0, rel=1e-12)


def test_thermal_paste():
    # 1.31e-4·(100/1e5)^0.166 m, by logarithms; R″ at 3 W/(m·K): 13.872 mm²K/W
    gap = dispense.call("PASTE_GAP", 100, "100 kPa")
    assert gap * 1e3 == pytest.approx(41.61705033, rel=1e-9)
    assert dispense.call("INTERFACE_RESISTANCE", gap, 3, 1) == pytest.approx(13.87235011, rel=1e-9)
    assert paste_gap(100.0, 1e6) / paste_gap(100.0, 1e5) == pytest.approx(0.6823386941, rel=1e-9)
    assert interface_resistance(1e-4, 2.0, 1e-3, 5e-6) == pytest.approx(0.055, rel=1e-12)  # by hand


@pytest.mark.parametrize(
    ("law", "low", "high"),
    [
        (maxwell_conductivity, 0.4499534017, 0.7767741935),  # Clausius–Mossotti form
        (bruggeman_conductivity, 1.17128642, 7.928387172),  # quadratic and brentq
        (bruggeman_differential_conductivity, 0.5620926246, 1.412531914),  # root and ODE
    ],
)
def test_filled_conductivity(law, low, high):
    assert law(0.2, 30.0, 0.3) == pytest.approx(low, rel=1e-9)
    assert law(0.2, 30.0, 0.5) == pytest.approx(high, rel=1e-9)
    assert law(0.2, 30.0, 0.0) == pytest.approx(0.2, rel=1e-12)  # no filler
    assert law(0.2, 30.0, 1.0) == pytest.approx(30.0, rel=1e-9)  # nothing but filler
    assert law(0.2, 0.2, 0.4) == pytest.approx(0.2, rel=1e-12)  # no difference


def test_conducting_limit():
    # k_p ≫ k_m, φ = 0.3: (1 + 2φ)/(1 − φ)
    assert maxwell_conductivity(1.0, 1e12, 0.3) == pytest.approx(2.285714286, rel=1e-9)


@given(st.floats(0.05, 5.0), st.floats(0.01, 500.0), st.floats(0.0, 1.0))
def test_conductivity_laws_hold(matrix, filler, fraction):
    """Each law's own equation, by the value it gives; and between the two parts."""
    for law in (maxwell_conductivity, bruggeman_conductivity, bruggeman_differential_conductivity):
        mixed = float(law(matrix, filler, fraction))
        low, high = sorted((matrix, filler))
        assert low * (1 - 1e-9) <= mixed <= high * (1 + 1e-9)
    k = float(bruggeman_conductivity(matrix, filler, fraction))
    balance = fraction * (filler - k) / (filler + 2 * k) + (1 - fraction) * (matrix - k) / (matrix + 2 * k)
    assert balance == pytest.approx(0.0, abs=1e-9)
    k = float(bruggeman_differential_conductivity(matrix, filler, fraction))
    left = (filler - k) * np.cbrt(matrix / k)
    assert left == pytest.approx((1 - fraction) * (filler - matrix), abs=1e-9 * max(filler, matrix))


# ---------------------------------------------------------------------------------------- needle bores


def test_confirmed_bores():
    # ISO 9626:2016 as quoted in table III of DOI 10.1208/s12249-021-01949-4
    found = {
        (30, "regular"): 0.133,
        (30, "thin"): 0.165,
        (30, "extra-thin"): 0.190,
        (32, "regular"): 0.089,
        (32, "thin"): 0.105,
        (32, "extra-thin"): 0.125,
    }
    for (gauge, wall), bore in found.items():
        assert dispense.call("NEEDLE_BORE", gauge, wall) == pytest.approx(bore, rel=1e-12)
        assert needle_bores()[gauge, wall]["mark"] == "confirmed"
    marked = [key for key, row in needle_bores().items() if row["mark"] == "confirmed"]
    assert sorted(marked) == sorted(found)


def test_bore_table_is_consistent():
    """Bore under the outside diameter, thin above regular, sizes in order (the standard's logic)."""
    table = files("dispense").joinpath("handbook/data/needle_bores.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    assert len(rows) == len(needle_bores())  # no cell twice
    for row in rows:
        assert float(row["bore_min_mm"]) < float(row["outside_min_mm"]) < float(row["outside_max_mm"])
        assert row["wall"] in WALLS and row["edition"].startswith("ISO 9626:")
        assert row["mark"] in {"confirmed", "from memory"}
    gauges = sorted({int(row["gauge"]) for row in rows}, reverse=True)
    assert gauges == list(range(33, 9, -1))
    for gauge in gauges:
        bores = [
            float(needle_bores()[gauge, wall]["bore_min_mm"])
            for wall in WALLS
            if (gauge, wall) in needle_bores()
        ]
        assert bores == sorted(set(bores))
    for finer, coarser in pairwise(gauges):
        a, b = needle_bores()[finer, "regular"], needle_bores()[coarser, "regular"]
        assert float(a["bore_min_mm"]) <= float(b["bore_min_mm"])
        assert float(a["outside_min_mm"]) < float(b["outside_min_mm"])


@pytest.mark.parametrize("spelling", [18, 18.0, "18", "18G", "18 g", "18 gauge", " 18Ga "])
def test_spellings_of_a_gauge(spelling):
    assert dispense.call("NEEDLE_BORE", spelling) == needle_bore("18") * 1e3


@pytest.mark.parametrize("given", [(9,), (34,), (27, "extra-thin"), ("G18",), (18, "fat"), (18.5,)])
def test_gauge_not_listed(given):
    result = dispense.evaluate("NEEDLE_BORE", given)
    assert result.codes == "#N/A"
    with pytest.raises(InputError, match="NEEDLE_BORE"):
        dispense.call("NEEDLE_BORE", *given)


def test_column_of_gauges():
    found = dispense.evaluate("NEEDLE_BORE", ([[30], ["32G"], [None], [99]],)).table()
    assert found[0] == [pytest.approx(0.133)] and found[1] == [pytest.approx(0.089)]
    assert found[2] == [None] and found[3] == ["#N/A"]


def test_what_is_not_confirmed_is_said():
    notes = dispense.lookup("NEEDLE_BORE").notes
    assert "30 G and 32 G" in notes and "from memory" in notes
    assert notes in needle_bore.__doc__


# -------------------------------------------------------------------------- nozzles: whole range, inverse

INDEX = st.floats(0.1, 2.0)
LOG_FLOW = st.floats(-18.0, 0.0)  # m³/s, from less than a cell volume to a river
LOG_YIELD = st.one_of(st.none(), st.floats(-6.0, 6.0))


@given(st.floats(-4.5, -1.0), st.floats(-2.0, 4.0), INDEX, LOG_YIELD, st.floats(0.001, 4.0))
@settings(max_examples=150, deadline=None)
def test_flow_by_rabinowitsch(log_bore, log_consistency, index, log_yield, excess):
    """The closed form against quadrature of the integral it comes from."""
    bore, consistency = 10.0**log_bore, 10.0**log_consistency
    start = 0.0 if log_yield is None else 10.0**log_yield
    wall = start * (1.0 + excess) if start else consistency * excess
    pressure = 4.0 * 0.02 / bore * wall
    exact = rabinowitsch(pressure, bore, 0.02, consistency, index, start)
    found = nozzle_flow(pressure, bore, 0.02, consistency, index, start)
    assert found == pytest.approx(exact, rel=1e-9)


@given(LOG_FLOW, st.floats(-4.5, -1.0), st.floats(-3.0, 5.0), INDEX, LOG_YIELD)
@settings(max_examples=300)
def test_pressure_is_the_inverse(log_flow, log_bore, log_consistency, index, log_yield):
    """Flow of the pressure of a flow, over the whole range.

    Near the yield stress the flow changes far faster than the pressure: the last digit of the
    pressure is allowed what it does to the flow there.
    """
    flow, bore, consistency = 10.0**log_flow, 10.0**log_bore, 10.0**log_consistency
    start = 0.0 if log_yield is None else 10.0**log_yield
    pressure = float(nozzle_pressure(flow, bore, 0.02, consistency, index, start))
    wall = pressure * bore / (4.0 * 0.02)
    steepness = (1.0 + 1.0 / index) * wall / max(wall - start, 1e-300)
    if steepness < 1e12:
        back = nozzle_flow(pressure, bore, 0.02, consistency, index, start)
        assert back == pytest.approx(flow, rel=1e-9 + 4e-15 * steepness)
    more = nozzle_flow(pressure * (1 + 1e-9), bore, 0.02, consistency, index, start)
    less = nozzle_flow(pressure * (1 - 1e-9), bore, 0.02, consistency, index, start)
    assert less <= flow * (1 + 1e-12) and more >= flow * (1 - 1e-12)


@pytest.mark.parametrize("index", [0.1, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("start", [1e-3, 10.0, 1e4])
@pytest.mark.filterwarnings("ignore::scipy.integrate.IntegrationWarning")
def test_pressure_by_bracketing(index, start):
    """Against brentq on the logarithm of the quadrature."""
    for flow in (1e-12, 1e-8, 1e-5):
        found = nozzle_pressure(flow, 1e-3, 0.025, 50.0, index, start)
        lowest = 4 * 0.025 / 1e-3 * start
        exact = brentq(
            lambda p, flow=flow: math.log(
                max(rabinowitsch(p, 1e-3, 0.025, 50.0, index, start), 1e-300) / flow
            ),
            lowest * (1 + 1e-12),
            found * 10.0,
            xtol=1e-12 * found,
            rtol=1e-12,
        )
        assert found == pytest.approx(exact, rel=1e-9)


@given(LOG_FLOW, st.floats(-4.5, -1.0), st.floats(-3.0, 5.0), INDEX)
def test_limits_are_exact(log_flow, log_bore, log_consistency, index):
    flow, bore, m = 10.0**log_flow, 10.0**log_bore, 10.0**log_consistency
    radius = bore / 2.0
    # power law: Δp = 2mL/R·((3n+1)/n·Q/(πR³))ⁿ; Newtonian: 128μLQ/(πD⁴)
    power_law = 2 * m * 0.02 / radius * ((3 * index + 1) / index * flow / math.pi / radius**3) ** index
    assert nozzle_pressure(flow, bore, 0.02, m, index) == pytest.approx(power_law, rel=1e-12)
    poiseuille = 128 * m * 0.02 * flow / (math.pi * bore**4)
    assert nozzle_pressure(flow, bore, 0.02, m) == pytest.approx(poiseuille, rel=1e-12)
    assert nozzle_flow(poiseuille, bore, 0.02, m) == pytest.approx(flow, rel=1e-12)


@pytest.mark.parametrize("index", [0.1, 0.4, 1.0, 1.7])
def test_small_yield_stress_fades(index):
    """A yield stress that goes to nothing: the pressure goes to that of the power law."""
    bare = nozzle_pressure(1e-7, 1e-3, 0.02, 50.0, index)
    for start in (1e-2, 1e-4, 1e-6, 1e-12, 1e-300):
        with_yield = nozzle_pressure(1e-7, 1e-3, 0.02, 50.0, index, start)
        assert bare * (1 - 1e-15) <= with_yield <= bare + 4 * 0.02 / 1e-3 * 2 * start + 1e-14 * bare


@given(st.floats(1e-3, 1e3), st.floats(0.0, 1e3), INDEX, st.floats(0.0, 500.0))
def test_more_pressure_never_less_flow(pressure, extra, index, start):
    low = nozzle_flow(pressure * 1e3, 1e-3, 0.02, 50.0, index, start)
    high = nozzle_flow((pressure + extra) * 1e3, 1e-3, 0.02, 50.0, index, start)
    assert 0.0 <= low <= high


def test_pressure_directions():
    flows = np.logspace(-14, -4, 60)
    for index in (0.1, 0.5, 1.0, 2.0):
        pressures = nozzle_pressure(flows, 1e-3, 0.02, 50.0, index, 80.0)
        assert np.all(np.diff(pressures) >= 0.0)
        assert np.all(pressures >= 4 * 0.02 / 1e-3 * 80.0)  # never under the yield pressure
        wider = nozzle_pressure(flows, 1.2e-3, 0.02, 50.0, index, 80.0)
        longer = nozzle_pressure(flows, 1e-3, 0.03, 50.0, index, 80.0)
        assert np.all(wider < pressures) and np.allclose(longer, 1.5 * pressures, rtol=1e-12)
        assert np.all(nozzle_pressure(flows, 1e-3, 0.02, 50.0, index, 90.0) > pressures)


def test_a_table_in_one_go():
    flows, bores = np.logspace(-3, 1, 40)[:, None], np.array([[0.4, 0.8, 1.6]])
    table = dispense.call("NOZZLE_PRESSURE", flows, bores, 25, 50, 0.5, 100)
    assert table.shape == (40, 3)
    for i, j in ((0, 0), (17, 1), (39, 2)):
        alone = dispense.call("NOZZLE_PRESSURE", flows[i, 0], bores[0, j], 25, 50, 0.5, 100)
        assert table[i, j] == pytest.approx(alone, rel=1e-14)


# --------------------------------------------------------------------------------------------- tapers


@given(st.floats(0.2, 10.0), st.floats(0.2, 10.0), INDEX)
@settings(max_examples=100)
def test_taper_by_quadrature(inlet, outlet, index):
    """The gradient of the local bore, 4τ_w/D, integrated along the axis."""
    exact = quad(
        lambda s: float(nozzle_pressure(1e-7, (inlet + (outlet - inlet) * s) * 1e-3, 0.03, 50.0, index)),
        0,
        1,
        epsabs=0,
        epsrel=1e-10,
        limit=200,
    )[0]
    found = taper_pressure(1e-7, inlet * 1e-3, outlet * 1e-3, 0.03, 50.0, index)
    assert found == pytest.approx(exact, rel=1e-8)


@pytest.mark.parametrize("index", [0.1, 0.6, 1.0, 2.0])
def test_taper_becomes_straight(index):
    straight = nozzle_pressure(1e-7, 1e-3, 0.03, 50.0, index)
    assert taper_pressure(1e-7, 1e-3, 1e-3, 0.03, 50.0, index) == pytest.approx(straight, rel=1e-13)
    for share in (1e-15, 1e-12, 1e-9, 1e-6):
        found = taper_pressure(1e-7, 1e-3 * (1 + share), 1e-3, 0.03, 50.0, index)
        # to first order −(3n + 1)/2 of the widening
        assert found == pytest.approx(straight * (1 - (3 * index + 1) / 2 * share), rel=1e-11)


def test_narrow_end_counts():
    between = taper_pressure(1e-7, 3e-3, 1e-3, 0.03, 50.0, 0.6)
    assert nozzle_pressure(1e-7, 3e-3, 0.03, 50.0, 0.6) < between
    assert between < nozzle_pressure(1e-7, 1e-3, 0.03, 50.0, 0.6)
    assert taper_pressure(1e-7, 1e-3, 3e-3, 0.03, 50.0, 0.6) == pytest.approx(between, rel=1e-12)


# -------------------------------------------------------------------------------------- pressed joints


def film_speed(gap, force, radius, consistency, index):
    """−dh/dt of a power-law film between discs by numerical profile and pressure, no closed form.

    Slot flow for each width q = 2∫₀^{h/2} y·γ̇(y) dy under the gradient g; q = V·r/2; F = ∫g·πr²dr.
    """

    def gradient(flow):
        unit = 2 * quad(lambda y: y * (y / consistency) ** (1 / index), 0, gap / 2, epsabs=0, epsrel=1e-12)[0]
        return (flow / unit) ** index

    share = quad(lambda r: gradient(r / 2) * math.pi * r**2, 0, radius, epsabs=0, epsrel=1e-12)[0]
    return (force / share) ** (1 / index)


@pytest.mark.parametrize("index", [0.3, 0.5, 1.0, 1.5])
def test_squeeze_by_film_equation(index):
    """The closed form against scipy's integration of the film equation."""
    force, radius, m = 20.0, 10e-3, 50.0
    time = squeeze_time(force, radius, 1e-3, 0.3e-3, m, index)
    film = solve_ivp(
        lambda _, y: [-film_speed(math.exp(y[0]), force, radius, m, index) / math.exp(y[0])],
        (0.0, time),
        [math.log(1e-3)],
        rtol=1e-9,
        atol=1e-9,
    )
    assert math.exp(film.y[0, -1]) == pytest.approx(0.3e-3, rel=1e-6)
    assert squeeze_gap(time, force, radius, 1e-3, m, index) == pytest.approx(0.3e-3, rel=1e-10)


def test_bead_by_film_equation():
    # strip of width w = A/h at every moment: F′ = μw³(−dh/dt)/h³
    time = bead_squeeze_time(2000.0, 7e-6, 3e-3, 0.5e-3, 100.0)
    film = solve_ivp(
        lambda _, h: [-2000.0 * h[0] ** 3 / (100.0 * (7e-6 / h[0]) ** 3)],
        (0.0, time),
        [3e-3],
        rtol=1e-10,
        atol=1e-15,
    )
    assert film.y[0, -1] == pytest.approx(0.5e-3, rel=1e-6)


def yielding_speed(gap, force, radius, consistency, index, start):
    """−dh/dt of a Herschel–Bulkley film, all integrals by quadrature."""
    if force <= 2 * math.pi * radius**3 * start / (3 * gap) * (1 + 1e-6):
        return 0.0

    def flow(wall):
        return (
            0.0
            if wall <= start
            else 2
            * (gap / 2 / wall) ** 2
            * quad(
                lambda s: s * ((s - start) / consistency) ** (1 / index), start, wall, epsabs=0, epsrel=1e-9
            )[0]
        )

    def excess(edge):
        full = flow(edge)
        lost = quad(lambda wall: (flow(wall) / full) ** 3, start, edge, epsabs=0, epsrel=1e-8)[0]
        return 2 * math.pi * radius**3 / (3 * gap) * (edge - lost) - force

    high = 3 * force * gap / (2 * math.pi * radius**3) * (index + 3) / 3 * 1.2 + start
    edge = brentq(excess, start * (1 + 1e-9), high, xtol=1e-10, rtol=1e-10)
    return 2 * flow(edge) / radius


@pytest.mark.filterwarnings("ignore::scipy.integrate.IntegrationWarning")
@pytest.mark.parametrize(
    "case", [(0.5, 100.0, 25e-3, 1e-3, 10.0, 1.0, 200.0), (0.3, 20.0, 10e-3, 1e-3, 50.0, 0.5, 50.0)]
)
def test_yielding_film(case):
    """squeeze_gap against scipy's integration of the film with a yield stress."""
    film = solve_ivp(
        lambda _, y: [-yielding_speed(math.exp(y[0]), *case[1:3], *case[4:]) / math.exp(y[0])],
        (0.0, case[0]),
        [math.log(case[3])],
        rtol=1e-7,
        atol=1e-7,
    )
    assert squeeze_gap(*case) == pytest.approx(math.exp(film.y[0, -1]), rel=1e-5)


@given(st.floats(-9.0, 9.0), st.floats(0.0, 3.0), INDEX, st.floats(0.0, 500.0))
@settings(max_examples=60, deadline=None)
def test_gap_closes_towards_its_limit(log_time, further, index, start):
    early = squeeze_gap(10.0**log_time, 100.0, 25e-3, 1e-3, 20.0, index, start)
    late = squeeze_gap(10.0 ** (log_time + further), 100.0, 25e-3, 1e-3, 20.0, index, start)
    limit = squeeze_limit(100.0, 25e-3, start)
    assert limit * (1 - 1e-9) <= late <= early * (1 + 1e-9) <= 1e-3 * (1 + 2e-9)
    # a yield stress can only hold the gap open
    assert early >= squeeze_gap(10.0**log_time, 100.0, 25e-3, 1e-3, 20.0, index) * (1 - 1e-9)


@pytest.mark.parametrize("index", [0.3, 1.0, 2.0])
def test_gap_with_a_fading_yield_stress(index):
    bare = squeeze_gap(1.0, 100.0, 25e-3, 1e-3, 20.0, index)
    assert squeeze_gap(1.0, 100.0, 25e-3, 1e-3, 20.0, index, 1e-9) == pytest.approx(bare, rel=1e-8)


def test_gap_that_stands():
    assert squeeze_gap(1e9, 1.0, 25e-3, 1e-3, 20.0, 1.0, 1e4) == 1e-3  # limit above the start
    assert squeeze_gap(0.0, 100.0, 25e-3, 1e-3, 20.0, 0.5, 100.0) == 1e-3
    assert squeeze_gap(np.array([1.0, 2.0]), 100.0, 25e-3, 1e-3, 20.0).shape == (2,)


@given(st.floats(1e-5, 1e-2), st.floats(1e-6, 1.0), INDEX)
def test_squeeze_time_directions(gap, share, index):
    time = squeeze_time(50.0, 10e-3, gap, gap * share, 30.0, index)
    assert time >= 0.0
    assert squeeze_time(100.0, 10e-3, gap, gap * share, 30.0, index) <= time
    assert squeeze_time(50.0, 10e-3, gap, gap * share, 60.0, index) >= time


@pytest.mark.parametrize(
    ("name", "arguments", "code"),
    [
        ("NOZZLE_FLOW", (4, 0, 25, 10), "#NUM!"),
        ("NOZZLE_FLOW", (-4, 1, 25, 10), "#NUM!"),
        ("NOZZLE_FLOW", (4, 1, 25, 10, 0), "#NUM!"),
        ("NOZZLE_PRESSURE", (0.1, 1, 25, 10, 1, -5), "#NUM!"),
        ("NOZZLE_PRESSURE", ("0.1 g/s", 1, 25, 10), "#VALUE!"),
        ("SQUEEZE_TIME", (20, 10, 0.2, 1.0, 50), "#NUM!"),  # the end gap is the wider
        ("SQUEEZE_TIME", (20, 10, 1.0, 0, 50), "#NUM!"),
        ("DWELL_TIME", (10, 0.5, 1.2), "#NUM!"),
        ("INTERFACE_RESISTANCE", (0, 3, 100), "#NUM!"),
        ("VISCOSITY", ("20 K", 40, "25 delta_degC", 55), "#VALUE!"),  # a difference is none
    ],
)
def test_refusals(name, arguments, code):
    result = dispense.evaluate(name, arguments)
    assert result.codes == code
    assert str(result.problems[0]).startswith(name)


def test_units_of_viscosity():
    """A consistency as text is a viscosity at 1/s; the same numbers in cP."""
    plain = dispense.call("NOZZLE_PRESSURE", 0.1, 1, 25, 3.5, 0.6, 20)
    assert dispense.call("NOZZLE_PRESSURE", 0.1, 1, 25, "3500 cP", 0.6, 20) == pytest.approx(plain)
    assert dispense.call("NOZZLE_PRESSURE", 0.1, 1, 25, "3.5 Pa·sⁿ", 0.6, 20) == plain
    assert viscosity(300.0, 2.0, 300.0, 5e4) == 2.0


# ---------------------------------------------------------------------------- laminar or turbulent


def test_reynolds_number_of_a_newtonian_liquid_by_the_fluids_library():
    for flow, bore, density, mu in ((500e-6, 1e-3, 1000.0, 1e-3), (2e-6, 4e-3, 1350.0, 12.0)):
        speed = flow / (math.pi * bore**2 / 4.0)
        assert reynolds_number(flow, bore, density, mu) == pytest.approx(
            fluids.Reynolds(V=speed, D=bore, rho=density, mu=mu), rel=1e-12
        )


def test_generalised_reynolds_number():
    """Metzner & Reed (1955): power law by the printed form; with a yield stress 8ρv²/τ_w.

    ρ = 1200, v = 0.5 m/s, D = 6 mm, m = 4, n = 0.6: 11.05701585; τ₀ = 30 Pa: τ_w = 255.0531177 by the
    Rabinowitsch integral, 9.409804598.
    """
    flow = 0.5 * math.pi * 6e-3**2 / 4.0
    assert reynolds_number(flow, 6e-3, 1200.0, 4.0, 0.6) == pytest.approx(11.05701585, rel=1e-9)
    n = 0.6
    printed = 1200.0 * 0.5 ** (2 - n) * 6e-3**n / (8 ** (n - 1) * 4.0 * ((3 * n + 1) / (4 * n)) ** n)
    assert printed == pytest.approx(11.05701585, rel=1e-9)
    assert reynolds_number(flow, 6e-3, 1200.0, 4.0, 0.6, 30.0) == pytest.approx(9.409804598, rel=1e-8)
    # Chhabra & Richardson's pipe (see test_textbook_pipe): Fanning 16/Re gives its pressure of 110 kPa
    flow = 2500.0 / 3600.0 / 1075.0
    speed = flow / (math.pi * 25e-3**2 / 4.0)
    factor = 16.0 / reynolds_number(flow, 25e-3, 1075.0, 3.0, 0.5)
    assert 2.0 * factor * 1075.0 * speed**2 * 10.0 / 25e-3 == pytest.approx(110e3, rel=0.005)
    assert reynolds_number(0.0, 1e-3, 1000.0, 1.0, 0.5, 10.0) == 0.0
    assert reynolds_number(np.array([0.0, 1e-6]), 1e-3, 1000.0, 1.0)[0] == 0.0


def test_transition_lies_where_ryan_and_johnson_put_it():
    # Ryan & Johnson, AIChE J. 5 (1959) 433 (from memory): 6464n(2+n)^((2+n)/(1+n))/(1+3n)², n = 1: 2099
    ryan = 6464.0 * 3.0**1.5 / 16.0
    assert pytest.approx(ryan, rel=0.001) == LAMINAR_REYNOLDS


def test_rectangle_against_a_grid_of_its_pressure():
    """∇²p = −1 over the plate by finite differences, its integral over that of a disc, A²/(8π)."""
    from scipy.sparse import diags, identity, kron
    from scipy.sparse.linalg import spsolve

    for aspect in (1.0, 2.0, 10.0):
        shares = []
        for cells in (40, 80):
            step = 1.0 / cells
            count = (round(aspect * cells) - 1, cells - 1)
            lines = [diags([1.0, -2.0, 1.0], [-1, 0, 1], shape=(size, size)) for size in count]
            grid = (kron(lines[0], identity(count[1])) + kron(identity(count[0]), lines[1])) / step**2
            force = spsolve(grid.tocsc(), -np.ones(count[0] * count[1])).sum() * step**2
            shares.append(force / (aspect**2 / (8.0 * math.pi)))
        best = shares[1] + (shares[1] - shares[0]) / 3.0  # error goes with the square of the step
        # β·l·w³/4 over A²/(8π)
        assert 2.0 * math.pi * plate_factor(aspect, 1.0) / aspect == pytest.approx(best, rel=1e-4)


def water_jet(consistency=0.001, **changes):
    """A part that gets water, or what is thicker, through a needle of 1 mm."""
    rows = hand_rows()
    rows["Stations"][0].update(speed=None, flow=500, nozzle_bore=1, nozzle_length=20, **changes)
    rows["Materials"][0].update(consistency=consistency, viscosity_temperature=20)
    for row in rows["Components"]:
        row["density"] = 1.0
    return make(rows)


def flow_findings(plan):
    """What the setup card of the station tells of its flow."""
    return [each for each in setup_card(plan, "hem").findings if each.topic == "turbulent flow"]


def test_turbulent_flow_is_told_on_the_setup_card():
    plan = water_jet()
    told = flow_findings(plan)
    # 4ρQ/(πDμ) by hand: 636,620
    assert [(each.kind, each.topic) for each in told] == [("quality", "turbulent flow")]
    assert told[0].numbers["Reynolds number"] == pytest.approx(636619.77, rel=1e-6)
    card = setup_card(plan, "hem")
    assert card.settings[0].nozzle_pressure is not None  # it still answers
    assert any("turbulent" in words and "636,620" in words for words in card.warnings)
    thick = water_jet(5.0)
    assert flow_findings(thick) == [] and not any(
        "turbulent" in words for words in setup_card(thick, "hem").warnings
    )


def test_mixer_factor_is_told_beyond_its_range():
    plan = water_jet(0.2, mixer_bore=10, mixer_length=100)
    # 4·1000·500e-6/(π·0.01·0.2) = 318: beyond 100, not turbulent; the nozzle 3183: turbulent
    told = {each.text.split("the flow in the ")[1].split()[0]: each for each in flow_findings(plan)}
    assert told["mixer"].numbers["Reynolds number"] == pytest.approx(318.3, abs=0.1)
    assert "no longer laminar" in told["mixer"].text and "turbulent" in told["nozzle"].text
