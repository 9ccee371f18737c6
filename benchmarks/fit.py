"""Fits of kinetics: time against a general search over a general integrator, and coverage of intervals.

`python -m benchmarks.fit` prints the ratio at equal accuracy; `python -m benchmarks.fit --coverage N` fits N
simulated data sets and counts how often each interval holds the constant it was made with.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable, Iterator

import numpy as np

from dispense.handbook.cure import cure_degree
from dispense.handbook.fitting import FORMS, KineticsFit, fit_kinetics
from dispense.handbook.kinetics import DiffusionFactor, Kamal, NthOrder, Stage

from . import Row

TURNS = 5
TIMES = np.geomspace(60.0, 7200.0, 15)
HEATS = (333.15, 353.15, 373.15)
GAS = 8.31446261815324
CASES: dict[str, Stage] = {
    FORMS[0]: NthOrder(2e5, 6e4, 1.4),
    FORMS[1]: Kamal(5e4, 6.5e4, 5e4, 5.5e4, 0.9, 1.5),
    FORMS[3]: DiffusionFactor(NthOrder(2e5, 6e4, 1.4), 30.0, 0.55, 0.0035),
}


def measured(true: Stage, noise: float, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, degrees with errors, temperatures: 15 rows at each of three temperatures."""
    record = np.append(0.0, TIMES)
    clean = [cure_degree(record, np.full(record.size, heat), true)[1:] for heat in HEATS]
    degrees = np.concatenate(clean)
    spoilt = degrees + np.random.default_rng(seed).normal(0.0, noise, degrees.size)
    return np.tile(TIMES, len(HEATS)), spoilt, np.repeat(HEATS, TIMES.size)


def truths(true: Stage, fit: KineticsFit) -> dict[str, float]:
    """The constants that the data were made with, as a fit tells them."""
    chemistry = true.chemistry if isinstance(true, DiffusionFactor) else true
    moved = 1.0 / (GAS * fit.reference)
    found = {"E1": chemistry.energy, "n": chemistry.order}
    found["ln k1"] = np.log(chemistry.factor) - chemistry.energy * moved
    if isinstance(chemistry, Kamal):
        found |= {"E2": chemistry.energy_auto, "m": chemistry.power}
        found["ln k2"] = np.log(chemistry.factor_auto) - chemistry.energy_auto * moved
    if isinstance(true, DiffusionFactor):
        found |= {"C": true.strength, "alpha_cT": true.by_heat}
        found["alpha_c"] = true.critical + true.by_heat * (fit.reference - 273.15)
    return found


def coverage(form: str, count: int, noise: float = 0.01) -> dict[str, float]:
    """Share of fits whose 95 % interval holds the true constant, constant by constant."""
    true, hits = CASES[form], dict[str, int]()
    for seed in range(count):
        fit = fit_kinetics(*measured(true, noise, seed), form)
        known = truths(true, fit)
        for name, low, high in zip(fit.names, fit.lows, fit.highs, strict=True):
            hits[name] = hits.get(name, 0) + bool(low <= known[name] <= high)
    return {name: hit / count for name, hit in hits.items()}


def general(times: np.ndarray, degrees: np.ndarray, heat: np.ndarray, start: np.ndarray) -> np.ndarray:
    """The same fit by scipy's least_squares over solve_ivp, each run integrated for each derivative."""
    from scipy.integrate import solve_ivp
    from scipy.optimize import least_squares

    reference = 1.0 / np.mean(1.0 / heat)

    def misfit(x: np.ndarray) -> np.ndarray:
        one, two = x[1] * 1e4, x[3] * 1e4
        found = np.empty(times.size)
        for value in np.unique(heat):
            mine = heat == value
            moved = (1.0 / reference - 1.0 / value) / GAS
            first, second = np.exp(x[0] + one * moved), np.exp(x[2] + two * moved)

            def rate(t, y, first=first, second=second):
                a = min(max(y[0], 0.0), 1.0)
                return [(first + second * a ** x[4]) * (1.0 - a) ** x[5]]

            span = (0.0, float(times[mine].max()))
            found[mine] = solve_ivp(rate, span, [0.0], t_eval=times[mine], rtol=1e-8, atol=1e-10).y[0]
        return found - degrees

    bounds = ([-60, 0, -60, 0, 0, 0], [20, 40, 20, 40, 5, 6])
    result = least_squares(misfit, start, bounds=bounds, xtol=1e-10, ftol=1e-10, gtol=1e-10)
    solution: np.ndarray = result.x
    return solution


def timed(call: Callable[[], object]) -> tuple[float, object]:
    """Seconds of processor time, and the result."""
    begin = time.process_time()
    result = call()
    return time.process_time() - begin, result


def ratio() -> tuple[float, float, float]:
    """Time of the general fit, of ours, and the largest difference of the constants in standard errors."""
    data = measured(CASES[FORMS[1]], 0.005, 1)
    # the same three starts as ours: shares of a first-order rate, and some autocatalysis
    inside = (data[1] > 0.01) & (data[1] < 0.99)
    rate = np.median(-np.log1p(-data[1][inside]) / data[0][inside])
    guesses = [
        np.array([np.log(plain * rate), 6.0, np.log(auto * rate), 6.0, 1.0, 1.2])
        for plain, auto in ((0.1, 3.0), (0.5, 1.0), (0.01, 5.0))
    ]
    fit_kinetics(*data, FORMS[1])  # imports and caches
    ours, fit = timed(lambda: fit_kinetics(*data, FORMS[1], intervals=False))
    theirs, found = timed(lambda: [general(*data, guess) for guess in guesses])
    assert isinstance(found, list)
    other = found[0]
    scale = np.array([1.0, 1e4, 1.0, 1e4, 1.0, 1.0])
    assert isinstance(fit, KineticsFit) and isinstance(other, np.ndarray)
    return theirs, ours, float(np.max(np.abs(fit.values - other * scale) / fit.errors))


def rows(quick: bool) -> Iterator[Row]:
    """The general search beside ours, at equal constants, and a whole fit with its intervals."""
    found = [ratio() for _ in range(1 if quick else TURNS)]
    theirs, ours = (statistics.median(turn[place] for turn in found) for place in (0, 1))
    apart = max(turn[2] for turn in found)
    yield Row(
        "Kamal, 45 rows at three temperatures, the constants",
        ours,
        theirs,
        15.0,
        True,
        "least_squares over solve_ivp, rtol 1e-8, the same three starts",
        note=f"processor time; constants apart by at most {apart:.0e} of their standard errors",
    )
    data = measured(CASES[FORMS[1]], 0.005, 1)
    whole = statistics.median(
        timed(lambda: fit_kinetics(*data, FORMS[1]))[0] for _ in range(1 if quick else TURNS)
    )
    yield Row("the same with a profile-likelihood interval for each of six constants", whole, limit=1.0)


def main() -> None:
    """Print the ratio, or the coverage."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--coverage", type=int, metavar="N", help="fits to simulate for each form")
    options = parser.parse_args()
    if options.coverage:
        for form in CASES:
            shares = coverage(form, options.coverage)
            print(f"{form}: " + ", ".join(f"{name} {share:.3f}" for name, share in shares.items()))
        return
    theirs, ours, apart = ratio()
    print(f"least_squares over solve_ivp {theirs:.2f} s, ours {ours:.3f} s: {theirs / ours:.0f} times")
    print(f"constants apart by {apart:.1e} standard errors")


if __name__ == "__main__":
    main()
