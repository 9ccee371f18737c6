"""The registry in words: lists of functions, help of one, results for a terminal or a script."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from ..base.errors import Problem
from ..base.terminal import shown, table
from ..base.units import describe_unit
from .catalogue import CATEGORIES, FUNCTIONS, lookup
from .declare import Example, Function
from .evaluate import Evaluation


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
        "returns": [{"name": item.name, "unit": item.unit, "help": item.help} for item in entry.returns],
        "equation": entry.equation,
        "valid": entry.valid,
        "rule_of_thumb": entry.rule,
        "notes": entry.notes,
        "source": entry.source,
    }


def by_category(entries: Iterable[Function]) -> list[tuple[str, list[Function]]]:
    """The functions by category, in the handbook's order and then as they are declared."""
    topics: dict[str, list[Function]] = {category: [] for category in CATEGORIES}
    for entry in entries:
        topics.setdefault(entry.category, []).append(entry)
    return [(category, members) for category, members in topics.items() if members]


def describe_all() -> list[dict[str, Any]]:
    """Everything the registry knows, for JSON."""
    return [describe(entry) for _, members in by_category(FUNCTIONS.values()) for entry in members]


def remarks(entry: Function) -> Iterator[tuple[str, str]]:
    """What is known of a function besides its arguments and results, with a title each."""
    for title, body in (
        ("Equation", entry.equation),
        ("Valid", entry.valid),
        ("Rule of thumb", entry.rule),
        ("Notes", entry.notes),
        ("Source", entry.source),
    ):
        if body:
            yield title, body


def literal(value: Any) -> str:
    """A value as a formula spells it; a list becomes an array constant.

    >>> literal([[1, "line"], [2.5, None]]), literal([1.0, 2.0]), literal(True)
    ('{1,"line";2.5,""}', '{1,2}', 'TRUE')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    if isinstance(value, list | tuple):
        rows = value if value and isinstance(value[0], list | tuple) else [value]
        # an array constant holds no blank; an empty text reads as one
        return "{" + ";".join(",".join(literal(cell) or '""' for cell in row) for row in rows) + "}"
    return repr(float(value)) if float(value) != int(value) else str(int(value))


def call_text(name: str, case: Example) -> str:
    """An example as a formula, without the equals sign."""
    arguments = list(case.arguments)
    while arguments and arguments[-1] is None:
        arguments.pop()
    return f"{name}({','.join(map(literal, arguments))})"


def functions_text() -> str:
    """The list of functions for a terminal."""
    lines = []
    for category, members in by_category(FUNCTIONS.values()):
        lines.append(category)
        lines.extend(f"  {entry.signature}\n      {entry.summary}" for entry in members)
        lines.append("")
    return "\n".join(lines).rstrip()


def function_text(name: str) -> str:
    """The help of one function for a terminal."""
    entry = lookup(name)
    lines = [entry.signature, f"  {entry.summary}", "", "Arguments"]
    rows = [
        [
            f"  {item.label}",
            describe_unit(item.unit) if item.kind in ("number", "vector", "matrix", "points") else item.kind,
            item.default_text() or ("" if item.is_required else "optional"),
            item.help,
        ]
        for item in entry.arguments
    ]
    lines.append(table(["  name", "unit", "default", "meaning"], rows, plain=True))
    for item in entry.arguments:
        if item.choices:
            lines.append(f"  {item.label}: one of {', '.join(item.choices)}")
        if item.columns:
            lines.append(f"  {item.label}: one row of {', '.join(part.title for part in item.columns)}")
    lines += ["", "Returns"]
    lines += [f"  {item.name} [{describe_unit(item.unit)}]: {item.help}" for item in entry.returns]
    for title, body in remarks(entry):
        lines += ["", title, f"  {body}"]
    return "\n".join(lines)


def read_argument(text: str) -> Any:
    """An argument of the shell: a number, a JSON list, TRUE/FALSE, - for blank, else a text."""
    if text in ("", "-"):
        return None
    if text[:1] in "[{":
        try:
            return json.loads(text)
        except (ValueError, RecursionError):  # of a number of thousands of digits, of as many brackets
            return text
    if text.upper() in ("TRUE", "FALSE"):
        return text.upper() == "TRUE"
    try:
        return float(text)
    except ValueError:
        return text


def result_json(found: Evaluation, notes: Iterable[Problem] = ()) -> dict[str, Any]:
    """A result for JSON: value by name with its unit; error cells as their text, reasons and notes beside."""
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
    answer["notes"] = [str(note) for note in notes]
    return answer


def result_text(found: Evaluation) -> str:
    """A result for a terminal."""
    entry = found.function
    cells = found.table()
    if entry.table:
        return table([item.name for item in entry.returns], cells, plain=True)
    if len(cells) == 1 and len(cells[0]) == len(entry.returns):
        lines = []
        for item, value in zip(entry.returns, cells[0], strict=True):
            name = f"{item.name}  " if len(entry.returns) > 1 else ""
            lines.append(f"{name}{_digits(value)} {item.unit}".rstrip())
        return "\n".join(lines)
    return "\n".join("\t".join(_digits(value) for value in row) for row in cells)


def _digits(value: Any) -> str:
    return f"{value:.10g}" if isinstance(value, float) else shown(value)
