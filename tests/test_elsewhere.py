"""Workbooks as others take them: the schemas of ISO/IEC 29500 by an independent validator, and Gnumeric.

openxml-audit (PyPI, MIT) holds every part against the schemas and the rules of the Open XML SDK. Gnumeric is
a spreadsheet with an engine of its own beside LibreOffice Calc and ironcalc.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from plans import hand_rows

from dispense.books.plan import new_plan, write_plan
from dispense.cli import main
from dispense.jobs.fill import template_folder

MONDAY = "2026-03-02"

#: what the validator says of our files and stays, each with the reason
EXCEPTIONS = (
    # openpyxl writes the properties of a font in an order of its own; CT_Font is a choice without an order in
    # ECMA-376 part 1, 18.8.22, a sequence in the stricter transitional schema; spreadsheets take both
    ("/xl/styles.xml", "Unexpected element 'color' found"),
    ("/xl/styles.xml", "Unexpected element 'b' found"),
    ("/xl/styles.xml", "Unexpected element 'i' found"),
)


@pytest.fixture(scope="module")
def books(tmp_path_factory) -> dict[str, Path]:
    """A file of every kind that the commands write."""
    folder = tmp_path_factory.mktemp("books")
    tables = hand_rows()
    tables["Materials"][0] |= dict(rate_1=1.2e7, energy_1=60, order_n=1.5, heat=300, gel_degree=0.5)
    tables["Choices"] = [
        {"material": "Bond 60", "component": "a", "what": "container", "value": f"{size} mL"}
        for size in (50, 200)
    ]
    plan = folder / "small.xlsx"
    write_plan(tables, plan)
    new_plan(folder / "plan_demo.xlsx", demo=True)
    (folder / "tests.csv").write_text(
        "temperature [°C],time [min]\n60,40\n70,21\n80,12\n90,6.8\n", encoding="utf-8"
    )
    weights = [f"{MONDAY} 07:{at:02d},{4.3 + at / 100},hem" for at in range(8)]
    (folder / "balance.csv").write_text("\n".join(["Time,Weight [g],Station", *weights]) + "\n")
    commands = (
        ("fill", plan, "--out", folder / "sheets"),
        ("forecast", plan, "--draws", "10", "--out", folder / "forecast.xlsx"),
        ("forecast", plan, "--draws", "10", "--tables", folder / "tables", "--table-form", "xlsx"),
        ("cure", plan, "--station", "hem", "--out", folder / "cure.xlsx"),
        ("compare", plan, "--out", folder / "compare.xlsx"),
        ("fit", folder / "tests.csv", "--form", "arrhenius", "--out", folder / "fit.xlsx"),
        ("book", plan, folder / "balance.csv"),
        ("weights", plan, "--out", folder / "weights.xlsx"),
        ("addin", "build", "--host", "excel", "--out", folder / "excel"),
        ("addin", "build", "--host", "names", "--out", folder / "names.xlsx"),
    )
    for command in commands:
        assert main([str(word) for word in command]) in (0, 3, 4), command
    kinds = (".xlsx", ".xlsm", ".xlam")
    found = {str(path.relative_to(folder)): path for path in folder.rglob("*") if path.suffix in kinds}
    return found | {f"template {path.name}": path for path in sorted(template_folder().glob("*.xlsx"))}


def test_every_kind_is_there(books):
    names = " ".join(books)
    for kind in (
        *("small.xlsx", "plan_demo", "material", "cure_board", "shot_check", "staging", "setup", "results"),
        *("forecast.xlsx", "tables", "cure.xlsx", "compare.xlsx", "fit.xlsx", "weights.xlsx"),
        *("excel/", "names.xlsx", "template bench.xlsx"),
    ):
        assert kind in names, kind


def test_the_validator_finds_nothing_else(books):
    audit = pytest.importorskip("openxml_audit")
    validator = audit.OpenXmlValidator()
    found = []
    for name, path in books.items():
        for error in validator.validate(str(path)).errors:
            if not any(error.part_uri == part and words in error.description for part, words in EXCEPTIONS):
                found.append((name, error.part_uri, error.description))
    assert not found


def test_the_validator_would_see_a_fault(books, tmp_path):
    # the check checked: an element that no schema has
    audit = pytest.importorskip("openxml_audit")
    from dispense.xlsx.package import Package

    package = Package.open(books["small.xlsx"])
    part = package.worksheets[0].part
    package.put(part, package.read(part).replace(b"<sheetData", b"<nonsense/><sheetData", 1))
    (tmp_path / "bad.xlsx").write_bytes(package.to_bytes())
    found = audit.OpenXmlValidator().validate(str(tmp_path / "bad.xlsx")).errors
    assert any("nonsense" in error.description for error in found)


def differing(name: str, path: Path, theirs: Path) -> list[str]:
    """Formulas whose value in one file is not that in the other."""
    formulas = openpyxl.load_workbook(path)
    kept, told = (openpyxl.load_workbook(one, data_only=True) for one in (path, theirs))
    found = []
    for sheet in formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                ours, their = (book[sheet.title][cell.coordinate].value for book in (kept, told))
                numbers = isinstance(ours, int | float) and isinstance(their, int | float)
                near = numbers and abs(ours - their) <= 1e-9 * max(1.0, abs(ours))
                if not near and ours != their and {ours, their} != {None, ""}:
                    found.append(f"{name} {sheet.title}!{cell.coordinate} {cell.value}: {ours!r}, {their!r}")
    return found


@pytest.mark.skipif(shutil.which("ssconvert") is None, reason="Gnumeric is not installed")
def test_gnumeric_opens_and_recalculates_every_kind(books, tmp_path):
    wrong: list[str] = []
    count = 0
    for number, (name, path) in enumerate(books.items()):
        # bench and calculation sheets call functions of the add-in, the workbook of names LAMBDA:
        # Gnumeric has neither
        if path.suffix != ".xlsx" or name == "names.xlsx" or "bench" in name or "calculations" in name:
            continue
        out = tmp_path / f"{number}.xlsx"
        subprocess.run(
            ["ssconvert", "--recalc", str(path), str(out)], check=True, capture_output=True, timeout=120
        )
        wrong += differing(name, path, out)
        count += 1
    assert count >= 20 and not wrong
