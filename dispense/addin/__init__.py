"""Add-ins for spreadsheets, generated from the registry.

Here is what both hosts say about a function and its arguments; the texts come from the registry.
"""

from __future__ import annotations

from ..base.fields import Field, describe_unit
from ..base.naming import capital
from ..base.units import AS_GIVEN
from ..handbook.declare import Function

REQUIRED = "Required"  # the last word on an argument that has no default
_SHAPES = {
    "vector": "one row or one column of cells",
    "matrix": "a block of cells",
    "points": "rows of coordinates, two or three columns",
}


def argument_title(field: Field) -> str:
    """The argument's name with its unit, as a wizard shows it: `width [mm]`."""
    unit = "" if field.unit in ("", AS_GIVEN) else f" [{field.unit}]"
    return field.name.rstrip("_") + unit


def argument_help(field: Field) -> str:
    """One sentence or two: what the argument is, its unit or list, what is allowed, its default."""
    parts = [capital(field.help)] if field.help else []
    if field.kind == "record":
        columns = ", ".join(argument_title(column) for column in field.columns)
        parts.append(f"One row of cells: {columns}")
    elif field.kind in _SHAPES:
        parts.append(f"{_SHAPES[field.kind].capitalize()} in {describe_unit(field.unit)}")
    else:
        allowed = field.allowed()
        parts.append(allowed[:1].upper() + allowed[1:])
    if field.is_required:
        parts.append(REQUIRED)
    else:
        default = field.default_text()
        parts.append(f"Optional, default {default}" if default else "Optional")
    return ". ".join(parts) + "."


def function_help(function: Function) -> str:
    """What the function gives and in which unit, and what its result rests on."""
    results = ", ".join(
        f"{item.name} [{item.unit}]" if item.unit and item.unit != AS_GIVEN else item.name
        for item in function.returns
    )
    summary = function.summary.rstrip(".")
    parts = [function.category, summary, f"Gives {results}"]
    if function.rule:
        parts.append(f"Note: {function.rule[:1].upper()}{function.rule[1:].rstrip('.')}")
    return ". ".join(parts) + "."


__all__ = ["REQUIRED", "argument_help", "argument_title", "function_help"]
