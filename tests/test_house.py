"""The house shows itself: who may import whom, no circles, no private name taken from another module.

The imports are read by `grimp` from the source, those inside functions too.
"""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import grimp
import pytest

import dispense

ROOT = Path(dispense.__file__).parents[1]
#: the folders from top to bottom: each may import those below it, and nothing beside or above
STRATA = [
    "cli",
    "addin",
    "jobs",
    "books",
    "sheets",
    "forecast",
    "reports",
    "journal",
    "shift",
    "plan",
    "handbook",
    "formulas",
    "xlsx",
    "base",
]
#: what lies in `dispense/` itself and is no stratum: the entry points and the old names
DOORS = {"__main__", "moved"}


@pytest.fixture(scope="module")
def imports() -> dict[str, set[str]]:
    """Each module of the project with the modules of the project that it imports."""
    graph = grimp.build_graph("dispense", cache_dir=None)
    return {name: set(graph.find_modules_directly_imported_by(name)) for name in graph.modules}


def room(module: str) -> str:
    """The folder (or the file of the top level) that a module lies in."""
    return module.split(".")[1] if "." in module else ""


def test_every_folder_has_its_place(imports):
    rooms = {room(name) for name in imports} - {""}
    assert rooms == {*STRATA, *DOORS}


def test_no_import_points_up(imports):
    up = [
        f"{name} -> {other}"
        for name, others in imports.items()
        for other in others
        if room(name) in STRATA
        and room(other) in STRATA
        and STRATA.index(room(name)) > STRATA.index(room(other))
    ]
    assert not up


def test_no_circle(imports):
    try:
        TopologicalSorter(imports).prepare()
    except CycleError as error:
        pytest.fail(f"circle of imports: {' -> '.join(error.args[1])}")


def test_no_private_name_is_taken_from_another_module():
    taken = []
    for path in (ROOT / "dispense").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (
                node.level or (node.module or "").startswith("dispense")
            ):
                taken += [
                    f"{path.relative_to(ROOT)}:{node.lineno} {alias.name}"
                    for alias in node.names
                    if alias.name.startswith("_") and not alias.name.startswith("__")
                ]
    assert not taken


def test_each_folder_says_what_it_is():
    for folder in STRATA[1:]:
        words = ast.get_docstring(ast.parse((ROOT / "dispense" / folder / "__init__.py").read_text("utf-8")))
        assert words and len(words.splitlines()[0]) > 20, folder
        if folder != "addin":
            assert "Imports" in words, folder
