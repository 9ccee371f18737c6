"""The registry in words: lists of functions, help of one, results for a terminal or a script."""

from __future__ import annotations

import json
from typing import Any

from .functions import CATEGORIES, FUNCTIONS
from .registry import Evaluation, Function, lookup
from .terminal import shown, table
from .units import describe_unit


def describe(name: str | Function) -> dict[str, Any]:
    """Everything the registry knows of a function, for JSON."""
    entry = lookup(name) if isinstance(name, str) else name
    return {
        "name": entry.name,
        "category": entry.category,
        "summary": entry.summary,
        "signature": entry.signature,
        "arguments": [
            {
                "name": item.label,
                "kind": item.kind,
                "unit": item.unit,
                "help": item.help,
                "required": item.is_required,
                "default": None if item.is_required else item.default,
                "allowed": item.allowed(),
                **({"columns": [part.title for part in item.columns]} if item.columns else {}),
            }
            for item in entry.arguments
        ],
        "returns": [
            {"name": item.name, "unit": item.unit, "help": item.help} for item in entry.returns
        ],
        "equation": entry.equation,
        "valid": entry.valid,
        "rule_of_thumb": entry.rule,
        "notes": entry.notes,
        "source": entry.source,
    }


def in_order() -> list[Function]:
    """All functions, by category and then as they are declared."""
    return sorted(FUNCTIONS.values(), key=lambda entry: CATEGORIES.index(entry.category))


def describe_all() -> list[dict[str, Any]]:
    """Everything the registry knows, for JSON."""
    return [describe(entry) for entry in in_order()]


def functions_text() -> str:
    """The list of functions for a terminal."""
    lines = []
    for category in CATEGORIES:
        rows = [[entry.signature, entry.summary] for entry in in_order() if entry.category == category]
        if rows:
            lines.append(category)
            lines.extend(f"  {call}\n      {summary}" for call, summary in rows)
            lines.append("")
    return "\n".join(lines).rstrip()


def function_text(name: str) -> str:
    """The help of one function for a terminal."""
    entry = lookup(name)
    lines = [entry.signature, f"  {entry.summary}", "", "Arguments"]
    rows = [
        [f"  {item.label}", describe_unit(item.unit) if item.kind in ("number", "vector", "matrix",
         "points") else item.kind, item.default_text() or ("" if item.is_required else "optional"),
         item.help]
        for item in entry.arguments
    ]  # fmt: skip
    lines.append(table(["  name", "unit", "default", "meaning"], rows))
    for item in entry.arguments:
        if item.choices:
            lines.append(f"  {item.label}: one of {', '.join(item.choices)}")
        if item.columns:
            lines.append(f"  {item.label}: one row of {', '.join(part.title for part in item.columns)}")
    lines += ["", "Returns"]
    lines += [f"  {item.name} [{describe_unit(item.unit)}]: {item.help}" for item in entry.returns]
    for title, body in (("Equation", entry.equation), ("Valid", entry.valid),
                        ("Rule of thumb", entry.rule), ("Notes", entry.notes),
                        ("Source", entry.source)):  # fmt: skip
        if body:
            lines += ["", title, f"  {body}"]
    return "\n".join(lines)


def read_argument(text: str) -> Any:
    """An argument of the shell: a number, a JSON list, TRUE/FALSE, - for blank, else a text."""
    if text in ("", "-"):
        return None
    if text[:1] in "[{":
        try:
            return json.loads(text)
        except json.JSONDecodeError:
            return text
    if text.upper() in ("TRUE", "FALSE"):
        return text.upper() == "TRUE"
    try:
        return float(text)
    except ValueError:
        return text


def result_json(found: Evaluation) -> dict[str, Any]:
    """A result for JSON: value by name with its unit; error cells as their text, reasons beside."""
    entry = found.function
    cells = found.table()
    answer: dict[str, Any] = {"function": entry.name}
    if len(cells) == 1 and len(cells[0]) == len(entry.returns) and not entry.table:
        answer["results"] = [
            {"name": item.name, "unit": item.unit, "value": value}
            for item, value in zip(entry.returns, cells[0], strict=True)
        ]
    else:
        answer["unit"] = [item.unit for item in entry.returns]
        answer["table"] = cells
    answer["problems"] = [str(problem) for problem in found.problems]
    return answer


def result_text(found: Evaluation) -> str:
    """A result for a terminal."""
    entry = found.function
    cells = found.table()
    if entry.table:
        return table([item.name for item in entry.returns], cells)
    if len(cells) == 1 and len(cells[0]) == len(entry.returns):
        lines = []
        for item, value in zip(entry.returns, cells[0], strict=True):
            name = f"{item.name}  " if len(entry.returns) > 1 else ""
            lines.append(f"{name}{_digits(value)} {item.unit}".rstrip())
        return "\n".join(lines)
    return "\n".join("\t".join(_digits(value) for value in row) for row in cells)


def _digits(value: Any) -> str:
    return f"{value:.10g}" if isinstance(value, float) else shown(value)
