"""A workbook made here, finished: values beside its formulas and in its charts, same content same bytes."""

from __future__ import annotations

from openpyxl import Workbook

from . import style
from .evaluate import evaluate_package
from .fill import cache_values, refresh_charts
from .package import Package

__all__ = ["finished"]


def finished(book: Workbook, name: str) -> bytes:
    """The bytes of the workbook; errors call it `name`."""
    package = Package.open(style.stable_bytes(book), name=name)
    cache_values(package, evaluate_package)
    refresh_charts(package)
    return package.to_bytes()
