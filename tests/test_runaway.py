"""Critical Frank-Kamenetskii number of a slab with a film: published limits and the equation solved."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from dispense.handbook.heat import CRITICAL_DELTA
from dispense.handbook.runaway import critical_delta


@pytest.mark.parametrize("biot", [0.05, 0.5, 1.6, 8.0, 50.0])
def test_critical_value_from_the_equation_itself(biot):
    """θ″ + δe^θ = 0, θ′(0) = 0, θ′(1) = −Bi·θ(1), solved from the middle.

    With s = L·x and θ = θ(0) + u, L² = δ·e^θ(0): u″ + e^u = 0 from u = u′ = 0. The film asks for
    θ(1) = −L·u′(L)/Bi, and δ = L²·exp(u(L) − θ(1)); the largest over L is critical.
    """

    def delta(length):
        found = solve_ivp(
            lambda s, y: [y[1], -math.exp(y[0])], (0.0, length), [0.0, 0.0], rtol=1e-11, atol=1e-13
        )
        u, slope = found.y[0, -1], found.y[1, -1]
        face = -length * slope / biot  # θ(1) = −θ′(1)/Bi
        # θ = u − u(L) + face, so that δ·e^θ = e^u·L² asks for δ = L²·e^(u(L) − face)
        return length**2 * math.exp(u - face)

    best = minimize_scalar(
        lambda length: -delta(length), bounds=(1e-3, 3.0), method="bounded", options={"xatol": 1e-9}
    )
    assert critical_delta(biot) == pytest.approx(-best.fun, rel=1e-7)


def test_limits():
    # faces held: 0.878 (Frank-Kamenetskii); thin film of resistance: Bi/e (Semenov); P. H. Thomas 1958
    assert critical_delta(math.inf) == pytest.approx(CRITICAL_DELTA["slab"], rel=1e-9)
    assert critical_delta(1e6) == pytest.approx(CRITICAL_DELTA["slab"], rel=1e-5)
    assert critical_delta(1e-5) == pytest.approx(1e-5 / math.e, rel=1e-4)
    values = [critical_delta(biot) for biot in (0.0, 0.01, 0.1, 1.0, 10.0, 100.0)]
    assert values == sorted(values) and values[0] == 0.0


def test_pour_report_counts_the_film():
    """The demo's pot: Bi = h·d/k with its film; δ at the critical depth is critical there."""
    from dispense.plan.build import build_plan
    from dispense.plan.demo import DEMO
    from dispense.plan.records import raw_table
    from dispense.reports.pour import station_pours

    raws = {}
    for name, rows in DEMO.items():
        rows = (
            [{"Setting": key, "Value": value} for key, value in rows[0].items()]
            if name == "Settings"
            else [dict(row) for row in rows]
        )
        raws[name] = raw_table(name, rows)
    plan = build_plan(raws)
    report = station_pours(plan, "Block potting")[0]
    material = plan.material(plan.station("Block potting").material)
    biot = report.film * report.depth / material.conductivity
    assert report.runaway.critical == pytest.approx(critical_delta(biot), rel=1e-9)
    assert report.runaway.critical < 0.5 * CRITICAL_DELTA["slab"]  # where 0.88 stood
    depth = report.runaway.half_thickness
    at_depth = critical_delta(report.film * depth / material.conductivity)
    assert report.runaway.delta * (depth / report.depth) ** 2 == pytest.approx(at_depth, rel=1e-6)
    assert any(f"Biot number {biot:.2g}" in note for note in report.notes)
