"""All printed sheets: what each says, and how it is laid out."""

from __future__ import annotations

from collections.abc import Callable

from . import board, check, material, results, setup, staging
from .layout import Book

SPECS = {
    spec.key: spec
    for spec in (
        material.SHIFT_MATERIAL,
        setup.STATION_SETUP,
        board.CURE_BOARD,
        check.SHOT_CHECK,
        staging.STAGING,
        results.RESULTS,
    )
}

LAYOUTS: dict[str, Callable[[Book], None]] = {
    material.SHIFT_MATERIAL.key: material.layout,
    setup.STATION_SETUP.key: setup.layout,
    board.CURE_BOARD.key: board.layout,
    check.SHOT_CHECK.key: check.layout,
    staging.STAGING.key: staging.layout,
    results.RESULTS.key: results.layout,
}
