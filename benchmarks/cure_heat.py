"""Degree of cure and exotherm beside scipy's solve_ivp, at the same accuracy.

Both are compared with one tighter solution. For scipy, and on the pour for ours too, the cheapest
setting that is accurate enough is searched; what would take scipy hours for all columns is measured
on one and multiplied. BLAS keeps to one thread: a second one that waits for a busy processor would
make the full Jacobian many times slower than it is.

Limits: a record of many points has a corner at each, and an error-controlled solver must find or be
told each of them; here one step a segment is taken for all columns. On the pour scipy's BDF is shown
twice, with the full Jacobian that it makes by itself and with the sparsity pattern given to it by
hand. Against the second the gain is only that of fewer steps: each of ours has six stages, most of
it the overhead of calling numpy on 100 numbers.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator
from functools import partial

import numpy as np
from scipy.integrate import solve_ivp
from scipy.sparse import diags_array, hstack, vstack

from dispense.handbook.cure import Kamal, NthOrder, cure_degree
from dispense.handbook.heat import pour

from . import Row, take_turns

COLUMNS, POINTS = 1000, 5000
ROOM = 296.15
MATERIAL = (3e5, 1100.0, 1800.0, 0.25)
CELLS, DAY = 100, 86400.0
MILLIKELVIN = 1e-3  # asked of a pour, at every step and layer


def clock(work, repeats=1):
    """Least wall-clock time of some runs, and the result."""
    best, result = np.inf, None
    for _ in range(repeats):
        begin = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - begin)
    return best, result


def thermocouples(noise):
    """Records of ramps and holds over 5 h, each some kelvin off, with noise."""
    random = np.random.default_rng(1)
    times = np.linspace(0.0, 5 * 3600.0, POINTS)
    base = np.interp(times, [0, 3600, 10800, 14400, 18000], [298, 363, 363, 408, 408])
    heat = base[:, None] + random.normal(0.0, 5.0, COLUMNS)
    return times, heat + random.normal(0.0, noise, heat.shape)


def column_by_scipy(times, heat, kinetics, exact, accuracy):
    """The cheapest of several settings of solve_ivp that is accurate enough, for one column."""

    def rate(t, y):
        return kinetics.rate(y, np.interp(t, times, heat))

    best, words = np.inf, "none of the settings"
    step = float(times[1] - times[0])
    # every corner is one of the points, so a step of their distance is the longest that helps
    for method, tolerances in (
        ("LSODA", (1e-7, 1e-8, 1e-9, 1e-10)),
        ("RK45", (1e-6, 1e-8)),
        ("RK23", (1e-6, 1e-8)),
    ):
        for tolerance in tolerances:
            for longest in (np.inf, step):
                if longest < np.inf and best < 0.1:
                    continue
                begin = time.perf_counter()
                found = solve_ivp(
                    rate,
                    (times[0], times[-1]),
                    [0.0],
                    method=method,
                    rtol=tolerance,
                    atol=tolerance,
                    t_eval=times,
                    max_step=longest,
                )
                spent = time.perf_counter() - begin
                error = np.abs(found.y[0] - exact).max()
                if error <= accuracy and spent < best:
                    best, words = spent, f"{method}, rtol {tolerance:g}, max_step {longest:.3g} s"
    return best, words


def cure_rows(quick: bool) -> Iterator[Row]:
    """CURE_DEGREE on many columns beside one solve_ivp a column."""
    cases = [
        ("Kamal–Sourour", Kamal(1e3, 65e3, 3.3e4, 58e3, 0.8, 1.6), 0.0),
        ("Kamal–Sourour", Kamal(1e3, 65e3, 3.3e4, 58e3, 0.8, 1.6), 0.5),
        ("order 1.5", NthOrder(1.7e3, 60e3, 1.5), 0.0),
        ("order 1.5", NthOrder(1.7e3, 60e3, 1.5), 0.5),
    ]
    for name, kinetics, noise in cases[:1] if quick else cases:
        times, heat = thermocouples(noise)
        ours, degrees = clock(lambda t=times, h=heat, k=kinetics: cure_degree(t, h, k), 3)
        # each segment cut in four, and the result taken as exact
        fine = np.linspace(times[0], times[-1], 4 * (POINTS - 1) + 1)
        exact = cure_degree(fine, np.interp(fine, times, heat[:, 0]), kinetics)[::4]
        error = np.abs(degrees[:, 0] - exact).max()
        theirs, setting = column_by_scipy(times, heat[:, 0], kinetics, exact, 1e-6)
        what = f"CURE_DEGREE, {name}, {COLUMNS} columns × {POINTS} points, noise of {noise:g} K"
        yield Row(
            what,
            ours,
            theirs * COLUMNS,
            50.0,
            True,
            f"solve_ivp, {COLUMNS} × one column",
            f"error {error:.0e} (scipy within 1e-6 by {setting})",
        )


def slab(depth, kinetics, tolerance, sparse):
    """The same layers by solve_ivp BDF."""
    heat, density, capacity, conductivity = MATERIAL
    width = depth / CELLS

    def rate(t, y):
        warm, degree = y[:CELLS], y[CELLS:]
        flow = np.zeros(CELLS + 1)
        flow[1:-1] = conductivity * (warm[:-1] - warm[1:]) / width
        flow[-1] = (warm[-1] - ROOM) / (1 / 10.0 + width / 2 / conductivity)
        speed = kinetics.rate(degree, warm)
        change = (flow[:-1] - flow[1:]) / (width * density * capacity) + heat / capacity * speed
        return np.concatenate([change, speed])

    pattern = None
    if sparse:
        own = diags_array(np.ones(CELLS))
        near = diags_array([np.ones(CELLS - 1), np.ones(CELLS), np.ones(CELLS - 1)], offsets=[-1, 0, 1])
        pattern = vstack([hstack([near, own]), hstack([own, own])])
    begin = np.append(np.full(CELLS, ROOM), np.zeros(CELLS))
    return solve_ivp(
        rate, (0.0, DAY), begin, method="BDF", rtol=tolerance, atol=tolerance, jac_sparsity=pattern
    )


def pour_rows(quick: bool) -> Iterator[Row]:
    """A pour of 100 layers for 24 h."""
    cases = [
        ("mild, 30 mm", 0.03, NthOrder(2e5, 6e4, 1.5)),
        ("brisk, 60 mm", 0.06, NthOrder(2e5, 6e4, 1.5)),
        ("autocatalytic, 10 mm", 0.01, Kamal(1e4, 6e4, 5e5, 5.5e4, 0.9, 1.5)),
    ]
    for name, depth, kinetics in cases[1:2] if quick else cases:
        given = (depth, ROOM, ROOM, kinetics, *MATERIAL)
        exact = pour(*given, duration=DAY, cells=CELLS, tolerance=1e-4)

        def ours(tolerance, given=given):
            found = pour(*given, duration=DAY, cells=CELLS, tolerance=tolerance)
            return found.times, found.temperatures

        def theirs(tolerance, sparse, depth=depth, kinetics=kinetics):
            found = slab(depth, kinetics, tolerance, sparse)
            return found.t, found.y[:CELLS].T

        own, tolerance, error = cheapest(exact, ours, (100.0, 30.0, 10.0, 5.0, 3.0, 2.0, 1.5, 1.0, 0.5))
        for sparse in (False, True):
            run, setting, off = cheapest(
                exact, lambda given, sparse=sparse: theirs(given, sparse), 10.0 ** -np.arange(4.0, 11.0, 0.5)
            )
            spent, beside = take_turns(own, run, turns=5 if quick else 9)
            words = "solve_ivp BDF, sparsity given by hand" if sparse else "solve_ivp BDF as it comes"
            yield Row(
                f"pour, {name}, {CELLS} layers, 24 h",
                spent,
                beside,
                None if sparse else 5.0,
                True,
                words,
                f"tolerance {tolerance:g}, error {error:.0e} K (scipy rtol {setting:.0e}, error {off:.0e} K)",
            )


def cheapest(exact, run, settings):
    """The run with the first of some settings, loosest first, that is off by a millikelvin at most."""
    for setting in settings:
        times, temperatures = run(setting)
        error = max(np.abs(row - exact.at(t)[0]).max() for t, row in zip(times, temperatures, strict=True))
        if error <= MILLIKELVIN:
            return partial(run, setting), setting, error
    raise AssertionError("no setting is as accurate as that")


def rows(quick: bool = False) -> Iterator[Row]:
    """All lines of the table."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield from cure_rows(quick)
        yield from pour_rows(quick)
