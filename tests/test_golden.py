"""Every cell of every sheet of two golden plans, against code that imports nothing of the planner.

The plans and the independent reckoning lie in `tests/golden` (its README says how they are built); each
formula there has its source beside it. Here the plan is written with openpyxl, filled by the planner,
and every workbook that comes out is read cell by cell.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from golden import cells, expected, layout, plans

from dispense.fill import fill

GOLDEN = Path(__file__).parent / "golden"


@pytest.fixture(scope="module", params=list(plans.PLANS))
def golden(request, tmp_path_factory):
    """A golden plan: its pages as they should be, and the folder of filled sheets."""
    folder = tmp_path_factory.mktemp(request.param)
    tables = plans.PLANS[request.param]
    report = fill(plans.write(tables, folder / "plan.xlsx"), folder / "sheets", stamp=expected.STAMP)
    return expected.Reckoning(tables).pages(), folder / "sheets", report


def differences(page: cells.Page, book: cells.Book) -> list[str]:
    """What one workbook says that it should not, or does not say."""
    return cells.differences(book, page, layout.CAPTIONS[page.template], layout.FORMULAS[page.template],
                             layout.LABELS[page.template], layout.BLANKS)  # fmt: skip


def test_golden_code_imports_nothing_of_the_planner():
    """The reckoning is independent: scanned, not promised (the mutants' harness only runs pytest)."""
    for path in GOLDEN.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [item.name for item in node.names]
            elif isinstance(node, ast.ImportFrom) and not node.level:
                names = [node.module or ""]
            elif isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in (
                "import_module", "__import__", "exec", "eval",
            ):  # fmt: skip
                names = ["dispense"]
            assert not any(name.split(".")[0] in {"dispense", "plans", "handbook"} for name in names), (
                path,
                names,
            )


def test_every_expected_sheet_is_written_and_no_other(golden):
    pages, folder, _ = golden
    assert sorted(pages) == sorted(str(path.relative_to(folder)) for path in folder.rglob("*.xlsx"))


def test_every_cell_is_explained(golden):
    pages, folder, _ = golden
    faults = [f"{name} {fault}" for name, page in pages.items()
              for fault in differences(page, cells.Book.open(folder / name))]  # fmt: skip
    assert not faults, f"{len(faults)} cells:\n" + "\n".join(faults)
