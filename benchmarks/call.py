"""`dispense.call` beside the bare numpy expression of the same closed form, in the same units."""

from __future__ import annotations

import time
from collections.abc import Iterator

import numpy as np

from dispense.base.units import unit_factor
from dispense.handbook.catalogue import call, lookup

from . import Row, show, take_turns

COUNT = 100_000
GAS = 8.31446261815324
BETWEEN = (
    "limits of each column (one or two passes over it), a unit that is not the kernel's (one in, one "
    "out), finite results (one): beside them the expression has few operations"
)


def rows(quick: bool = False) -> Iterator[Row]:
    """Columns of numbers, single cells, columns of texts with units."""
    lookup("BEAD_AREA")
    # a large array given back: from then on glibc keeps freed memory, and neither side is charged
    # with fetching pages for its temporaries (in a fresh process that weighs on the bare expression)
    np.ones(3_500_000)
    random = np.random.default_rng(1)
    width, height = random.uniform(2, 8, COUNT), random.uniform(0.5, 3, COUNT)
    length, celsius = random.uniform(100, 1500, COUNT), random.uniform(15, 35, COUNT)
    flow, index = random.uniform(0.1, 2, COUNT), random.uniform(0.3, 1, COUNT)
    turns = 5 if quick else 25
    for name, ours, bare in (
        (
            "BEAD_AREA, half-round",
            lambda: call("BEAD_AREA", "half-round", width),
            lambda: np.pi * width**2 / 8,
        ),
        (
            "BEAD_VOLUME, ellipse, three columns",
            lambda: call("BEAD_VOLUME", length, "ellipse", width, height),
            lambda: np.pi * width * height / 4 * length / 1000,
        ),
        (
            "NOZZLE_PRESSURE, Newtonian",
            lambda: call("NOZZLE_PRESSURE", flow, 1.6, 25, 60),
            lambda: 128 * 60 * 0.025 * flow * 1e-6 / (np.pi * 0.0016**4) / 1e5,
        ),
        (
            "WALL_SHEAR_RATE, power law",
            lambda: call("WALL_SHEAR_RATE", flow, 1.6, index),
            lambda: (3 * index + 1) / (4 * index) * 32 * flow * 1e-6 / (np.pi * 0.0016**3),
        ),
        ("MOISTURE_DEPTH", lambda: call("MOISTURE_DEPTH", length, 3.0), lambda: 3.0 * np.sqrt(length)),
        (
            "POT_LIFE, activation energy",
            lambda: call("POT_LIFE", celsius, 60, 23, 55),
            lambda: 60 * np.exp(55e3 / GAS * (1 / (celsius + 273.15) - 1 / 296.15)),
        ),
        (
            "POT_LIFE, halving step",
            lambda: call("POT_LIFE", celsius, 60, 23),
            lambda: 60 * 2 ** ((23 - celsius) / 10),
        ),
        (
            "VISCOSITY",
            lambda: call("VISCOSITY", celsius, 40, 25, 55),
            lambda: 40 * np.exp(55e3 / GAS * (1 / (celsius + 273.15) - 1 / 298.15)),
        ),
    ):
        np.testing.assert_allclose(ours(), bare(), rtol=1e-9)
        own, plain = take_turns(ours, bare, turns=turns, count=4, timer=time.process_time)
        note = "" if own <= 2 * plain else BETWEEN
        yield Row(f"{name}: {COUNT:,} rows", own, plain, 2.0, beside="bare numpy", note=note)
    yield from _scalars(turns)
    yield from _texts(np.round(width, 4), turns)


def _scalars(turns: int) -> Iterator[Row]:
    for arguments in (
        ("BEAD_AREA", "half-round", 6.0),
        ("POT_LIFE", 30.0, 60.0, 23.0, 55.0),
        ("NOZZLE_PRESSURE", 0.5, 1.6, 25.0, 60.0),
        ("MIX_SPLIT", 100.0, 2.0, 1.0, 1.2, 1.0),
    ):
        (own,) = take_turns(
            lambda given=arguments: call(*given), turns=turns, count=500, timer=time.process_time
        )
        yield Row(f"{arguments[0]}: one scalar call", own, limit=20e-6)


def _texts(width: np.ndarray, turns: int) -> Iterator[Row]:
    """Every text is another one; the unit is looked up once."""
    texts = [f"{value} in" for value in width]
    unit_factor.cache_clear()
    own, plain = take_turns(
        lambda: call("BEAD_AREA", "half-round", texts),
        lambda: [np.pi * (float(text.split()[0]) * 25.4) ** 2 / 8 for text in texts],
        turns=min(turns, 7),
        timer=time.process_time,
    )
    found = unit_factor.cache_info().misses
    yield Row(
        f"BEAD_AREA of {COUNT:,} texts such as {texts[0]!r}",
        own,
        plain,
        beside="float(text) and the expression, text by text",
        note=f"{show(own / COUNT)} a cell; {found} look-up of a unit for all of them",
    )
