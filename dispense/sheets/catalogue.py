"""All printed sheets, in the order in which a report counts them; each is declared in its own file."""

from __future__ import annotations

from collections.abc import Callable

from . import board, check, lamp, line, material, results, setup, staging
from .layout import Book
from .sheet import Sheet
from .spec import SheetSpec

SHEETS: tuple[Sheet, ...] = (
    material.SHEET,
    board.SHEET,
    lamp.SHEET,
    check.SHEET,
    staging.SHEET,
    line.SHEET,
    setup.SHEET,
    results.SHEET,
)

SPECS: dict[str, SheetSpec] = {sheet.spec.key: sheet.spec for sheet in SHEETS}
LAYOUTS: dict[str, Callable[[Book], None]] = {sheet.spec.key: sheet.layout for sheet in SHEETS}
