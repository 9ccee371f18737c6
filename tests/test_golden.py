"""Every cell of every sheet of two golden plans, against code that imports nothing of the planner.

The plans and the independent reckoning lie in `tests/golden` (its README says how they are built); each
formula there has its source beside it. Here the plan is written with openpyxl, filled by the planner,
and every workbook that comes out is read cell by cell.
"""

from __future__ import annotations

import ast
import contextlib
import datetime
import os
import random
import re
from pathlib import Path

import pytest
from golden import cells, expected, plans

from dispense.jobs.fill import fill

GOLDEN = Path(__file__).parent / "golden"
SAMPLE = int(os.environ.get("GOLDEN_CELLS", "25"))  # cells of each kind of sheet that are changed in turn


@pytest.fixture(scope="module", params=list(plans.PLANS))
def golden(request, tmp_path_factory):
    """A golden plan: its pages as they should be, and the folder of filled sheets."""
    folder = tmp_path_factory.mktemp(request.param)
    tables = plans.PLANS[request.param]
    plans.write(tables, folder / "plan.xlsx")
    with contextlib.chdir(folder):  # the results name the file as it was given
        report = fill("plan.xlsx", folder / "sheets", stamp=expected.STAMP)
    return expected.Reckoning(tables).pages(), folder / "sheets", report


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
                "import_module",
                "__import__",
                "exec",
                "eval",
            ):
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
    faults = [
        f"{name} {fault}"
        for name, page in pages.items()
        for fault in cells.differences(cells.Book.open(folder / name), page)
    ]
    assert not faults, f"{len(faults)} cells:\n" + "\n".join(faults)


# ------------------------------------------------------------------------- the comparison itself fails


def perturbed(value, code: str):
    """What a cell must not say: the last printed digit changed, a minute later, another word."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        if "y" in code:  # the number of a day
            return value + 1
        for step in (1e-3, 1e-2, 1e-1, 1.0, 10.0, 100.0):
            if cells.shown(value + 1.01 * step, code) != cells.shown(value, code):
                return value + 1.01 * step
        raise AssertionError(f"{value} looks the same whatever is added [{code}]")
    if isinstance(value, datetime.datetime):
        return value + (datetime.timedelta(minutes=1) if "h" in code.lower() else datetime.timedelta(days=1))
    figures = re.findall(r"\d", value)
    if figures and not value.startswith("="):
        place = value.rindex(figures[-1])
        return f"{value[:place]}{(int(value[place]) + 1) % 10}{value[place + 1 :]}"
    return "another word"


def test_a_change_of_any_cell_is_seen(golden):
    """Cells of one book of each kind, drawn with a seed, are changed and emptied one at a time."""
    pages, folder, _ = golden
    rng = random.Random(20260309)
    missed = []
    for kind in dict.fromkeys(page.template for page in pages.values()):
        name = min(
            (name for name, page in pages.items() if page.template == kind),
            key=lambda n: (folder / n).stat().st_size,
        )
        page, book = pages[name], cells.Book.open(folder / name)
        before = set(cells.differences(book, page))
        there = [
            cell
            for sheet in book.sheets
            for row in sheet.iter_rows()
            for cell in row
            if cell.value is not None
        ]
        for cell in rng.sample(there, min(SAMPLE, len(there))):
            own, key = cell.value, (cell.parent.title, cell.coordinate)
            carried = book.carried.get(key)
            cell.value = perturbed(own, cell.number_format)
            if set(cells.differences(book, page)) <= before:
                missed.append(f"{name} {key[0]}!{key[1]}: {own!r} -> {cell.value!r}")
            cell.value = own
            if key in book.carried and carried not in (None, ""):
                book.carried[key] = perturbed(carried, cell.number_format)
                if set(cells.differences(book, page)) <= before:
                    missed.append(f"{name} {key[0]}!{key[1]}: carries {book.carried[key]!r}")
                book.carried[key] = carried
            cell.value = None
            if set(cells.differences(book, page)) <= before:
                missed.append(f"{name} {key[0]}!{key[1]}: {own!r} emptied")
            cell.value = own
    assert not missed, "\n".join(missed)
