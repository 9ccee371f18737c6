"""Checks shared by the handbook's tests: examples of the registry and published closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from dispense.handbook.catalogue import FUNCTIONS, call


def examples_of(*categories: str) -> list:
    """One test case for each example of the functions in the categories."""
    return [
        pytest.param(entry.name, example, id=f"{entry.name}-{place}")
        for entry in FUNCTIONS.values()
        if entry.category in categories
        for place, example in enumerate(entry.examples)
    ]


def check_example(name, example) -> None:
    """The function gives what the example's source gives."""
    result = np.array(call(name, *example.arguments), dtype=float)
    assert result == pytest.approx(np.array(example.result, float), rel=example.tolerance, abs=0)


def functions_without_examples(*categories: str) -> list[str]:
    """Names of functions in the categories that carry no example."""
    return [
        entry.name
        for entry in FUNCTIONS.values()
        if entry.category in categories and not entry.examples and not entry.table
    ]


def published_value(name: str, arguments: tuple):
    """The function's published closed form, computed by an independent spreadsheet engine.

    One value, or a list where the function returns several.
    """
    ironcalc = pytest.importorskip("ironcalc")
    entry = FUNCTIONS[name]
    names = [item.name if item.is_required else f"[{item.name}]" for item in entry.arguments]
    book = ironcalc.create("check", "en", "UTC", "en")
    given = ",".join(_literal(value) for value in arguments)
    book.set_user_input(0, 1, 1, f"=LAMBDA({','.join(names)},{entry.formula})({given})")
    book.evaluate()
    shape = np.shape(call(name, *arguments)) if entry.whole else (len(entry.returns),)
    if len(shape) == 2:
        return [
            [book.get_cell_value(0, row + 1, col + 1) for col in range(shape[1])] for row in range(shape[0])
        ]
    cells = [(1, place + 1) for place in range(*shape)]
    if entry.along and isinstance(arguments[0][0], list):  # a column stays one
        cells = [(place + 1, 1) for place in range(*shape)]
    values = [book.get_cell_value(0, *cell) for cell in cells]
    return values[0] if len(values) == 1 else values


def _literal(value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        if value and isinstance(value[0], list):
            return "{" + ";".join(_literal(row)[1:-1] for row in value) + "}"
        return "{" + ",".join("0" if part is None else _literal(part) for part in value) + "}"
    return repr(value)


def check_published(name, arguments) -> None:
    """The published closed form gives what the kernel gives (an error where it gives one)."""
    found, wanted = (
        np.array(part, float) for part in (published_value(name, arguments), call(name, *arguments))
    )
    assert found == pytest.approx(wanted, rel=1e-9)
