"""The handbook's functions in the formulas of a workbook: how they are spelled and computed there.

Apart from `catalogue`, so that a spreadsheet that runs the add-in loads nothing that reads files.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..formulas.evaluate import Evaluated, evaluate_package
from ..formulas.own import OwnFunctions
from ..xlsx.package import Package
from . import catalogue

__all__ = ["OWN", "formula_values"]


def _compute(name: str, arguments: Sequence[Any]) -> Sequence[Sequence[Any]]:
    return catalogue.evaluate(name, list(arguments)).table()


OWN = OwnFunctions(
    "DISPENSE",
    catalogue.FUNCTIONS,
    _compute,
    refused=dict.fromkeys(
        ("LAST_PROBLEMS", "LAST_NOTES"), "is volatile: its value changes with each calculation"
    ),
)


def formula_values(package: Package) -> Evaluated:
    """The values of the formula cells of a package, those with functions of the handbook too."""
    return evaluate_package(package, OWN)
