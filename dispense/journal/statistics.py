"""What weights in the order of time can say, in numbers: has the level moved, and what moves it.

Pure functions on arrays. Their false alarms are known: a level by the distribution of the same statistic
in series that are in control, a regression by Student's t and Fisher's F.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from ..base.numbers import Floats
from ..handbook.quality import control_chart_factors

FALSE_ALARMS = 0.01  # of what is as planned: share of looks that ask for something to be done
SHORTEST = 5  # weights of the last run that a level is judged by
LONGEST = 200  # weights of the last run at most
RUNS = 20_000  # simulated series in control, from which probabilities are counted
SEED = 20_260_302
ALIKE = 0.81  # share of a factor's effect that another explains from which they are not told apart: r = 0.9
LEAST_FREE = 3  # degrees of freedom left, below which no regression is made


def short_term_sd(values: Floats) -> float:
    """Standard deviation from one value to the next: the mean moving range over d₂.

    A shift or a slow drift hardly widens it. Source: NIST/SEMATECH e-Handbook, 6.3.2.2.

    >>> round(short_term_sd(np.array([10.0, 12.0, 11.0])), 4)
    1.3298
    """
    return float(np.abs(np.diff(values)).mean() / control_chart_factors()[2]["d2"])


# ------------------------------------------------------------------------------------------ level


@dataclass(frozen=True, slots=True)
class Level:
    """The level that the last run of values has: since which value, its mean, how sure.

    `probability` is that of a run as far from the target, or farther, in a series in control.
    """

    since: int
    count: int
    mean: float
    error: float
    probability: float


def _scan(series: Floats, least_sd: float = 0.0) -> tuple[Floats, Floats]:
    """For each series (a row) the farthest last run, in its standard errors, and the length of it."""
    count = series.shape[-1]
    sd = np.abs(np.diff(series, axis=-1)).mean(axis=-1) / control_chart_factors()[2]["d2"]
    sd = np.maximum(sd, least_sd)
    lengths = np.arange(1, count + 1)
    sums = np.cumsum(series[..., ::-1], axis=-1)
    far = np.abs(sums) / (np.sqrt(lengths) * sd[..., None])
    far[..., : SHORTEST - 1] = 0.0
    best = far.argmax(axis=-1)
    return np.take_along_axis(far, best[..., None], axis=-1)[..., 0], best + 1


@cache
def _in_control(count: int) -> Floats:
    """The statistic of many series in control, in order of size."""
    draws = np.random.default_rng([SEED, count])
    found = [_scan(draws.standard_normal((RUNS // 10, count)))[0] for _ in range(10)]
    return np.sort(np.concatenate(found))


def level(deviations: Floats, least_sd: float = 0.0) -> Level | None:
    """The level of the last run of deviations from a target; None for too few, or where nothing scatters.

    `least_sd` is what the scale's own step lets a value scatter: weights all alike are no surer than it.

    Of all last runs of five values or more the one whose mean is farthest from 0 in its own standard
    errors, σ/√k with σ from the moving range, is judged by how often so far a run is found in series in
    control (simulated, seeded): the search over runs and the estimate of σ are both in that figure.

    >>> found = level(np.array([0.1, -0.1, 0.0, 0.1, -0.1, 0.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0]))
    >>> found.since, round(found.mean, 2), found.probability < 0.01
    (7, 1.0, True)
    """
    values = np.asarray(deviations, float)[-LONGEST:]
    if len(values) <= SHORTEST or max(short_term_sd(values), least_sd) <= 0.0:
        return None
    far, length = (item.item() for item in _scan(values, least_sd))
    known = _in_control(len(values))
    beyond = len(known) - int(np.searchsorted(known, far, side="left"))
    run = values[-int(length) :]
    return Level(
        len(deviations) - int(length) + 1,
        int(length),
        float(run.mean()),
        max(short_term_sd(values), least_sd) / float(np.sqrt(length)),
        (beyond + 1.0) / (len(known) + 1.0),
    )


# ------------------------------------------------------------------------------------- regression


@dataclass(frozen=True, slots=True)
class Effect:
    """What one factor does to the values: alone, and beside the others.

    `slope` is per unit of the factor, blank for one of several classes; `probability` is that of an
    effect as large by chance, `beside` the same with all other factors in the model (NaN where the
    others leave nothing of it). `span` is the effect over the range that was seen, `share` what of the
    values' squares it explains alone.
    """

    name: str
    slope: float | None
    error: float | None
    span: float
    share: float
    probability: float
    beside: float
    like: tuple[str, ...]  # factors that explain its effect as well


def _residual(columns: Floats, values: Floats) -> tuple[float, Floats, int]:
    """Sum of squares left by least squares with a constant, the coefficients, and the rank."""
    design = np.column_stack([np.ones(len(values)), columns])
    found, _, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    left = values - design @ found
    return float(left @ left), np.asarray(found, float), int(rank)


def _f_test(small: tuple[float, int], large: tuple[float, int], count: int) -> float:
    """Probability of so much less left by chance, F with the ranks' difference and what is free."""
    from scipy.special import fdtrc

    (rest_small, rank_small), (rest_large, rank_large) = small, large
    more, free = rank_large - rank_small, count - rank_large
    if more < 1 or free < 1:
        return float("nan")
    if rest_large <= 0.0:
        return 0.0
    return float(fdtrc(more, free, (rest_small - rest_large) / more / (rest_large / free)))


def effects(values: Floats, factors: Mapping[str, Floats]) -> list[Effect]:
    """Least-squares effects of factors on values, alone and beside one another, the surest first.

    A factor is a column of numbers, or several columns that tell classes apart (each 0 or 1). What has no
    spread, or leaves fewer than three degrees of freedom, is left out. Two factors are alike where one
    explains 81 % (r = 0.9) or more of what the other does to the values.

    Source: NIST/SEMATECH e-Handbook, 4.4.3 (least squares), 7.4.3 (F test); r = 0.9 is common practice,
    no source.

    >>> x = np.arange(8.0)
    >>> found = effects(2.0 * x + np.array([0.1, -0.1] * 4), {"x": x})[0]
    >>> round(found.slope, 3), found.probability < 1e-6
    (1.99, True)
    """
    values = np.asarray(values, float)
    count = len(values)
    blocks: dict[str, Floats] = {}
    for name, given in factors.items():
        block = np.asarray(given, float)
        block = block[:, None] if block.ndim == 1 else block
        spread = block[:, np.ptp(block, axis=0) > 0.0]
        if spread.shape[1] and count - spread.shape[1] - 1 >= LEAST_FREE:
            blocks[name] = spread
    mean = float(((values - values.mean()) ** 2).sum())
    if mean <= 0.0:
        return []
    made = {name: _residual(block, values) for name, block in blocks.items()}
    works = {name: blocks[name] @ made[name][1][1:] for name in blocks}
    whole = np.column_stack(list(blocks.values())) if blocks else np.empty((count, 0))
    rest_all, _, rank_all = _residual(whole, values)
    found = []
    for name, block in blocks.items():
        rest, coefficients, rank = made[name]
        others = [other for key, other in blocks.items() if key != name]
        rest_less, _, rank_less = _residual(
            np.column_stack(others) if others else np.empty((count, 0)), values
        )
        is_line = block.shape[1] == 1 and np.asarray(factors[name]).ndim == 1
        error = None
        if is_line:
            centred = block[:, 0] - block[:, 0].mean()
            error = float(np.sqrt(rest / (count - 2) / (centred @ centred)))
        found.append(
            Effect(
                name,
                float(coefficients[1]) if is_line else None,
                error,
                float(np.ptp(works[name])),
                1.0 - rest / mean,
                _f_test((mean, 1), (rest, rank), count),
                _f_test((rest_less, rank_less), (rest_all, rank_all), count),
                tuple(
                    other
                    for other in blocks
                    if other != name and _share(works[name], blocks[other], blocks[name], works[other])
                ),
            )
        )
    return sorted(found, key=lambda item: item.probability)


def step_share(values: Floats, since: int) -> float:
    """What of the values' squares a single step explains, from value number `since` on.

    >>> step_share(np.array([0.0, 0.0, 1.0, 1.0]), 3)
    1.0
    """
    total = float(((values - values.mean()) ** 2).sum())
    parts = [part for part in (values[: since - 1], values[since - 1 :]) if len(part)]
    rest = sum(float(((part - part.mean()) ** 2).sum()) for part in parts)
    return 1.0 - rest / total if total > 0.0 else 0.0


def _share(effect: Floats, other: Floats, own: Floats, other_effect: Floats) -> bool:
    """Whether either of two factors explains most of what the other does."""

    def explained(work: Floats, columns: Floats) -> float:
        total = float(((work - work.mean()) ** 2).sum())
        return 1.0 - _residual(columns, work)[0] / total if total > 0.0 else 0.0

    return max(explained(effect, other), explained(other_effect, own)) >= ALIKE


__all__ = [
    "FALSE_ALARMS",
    "LONGEST",
    "SHORTEST",
    "Effect",
    "Level",
    "effects",
    "level",
    "short_term_sd",
    "step_share",
]
