"""Headers and labels that a plant changes in a template: followed throughout, or refused by name."""

from __future__ import annotations

import re
from pathlib import Path

import openpyxl
import pytest
from openpyxl.worksheet.cell_range import MultiCellRange
from openpyxl.worksheet.table import Table
from plans import hand_rows
from test_sheets import STAMP, named, table_rows

from dispense.base.errors import DispenseError
from dispense.books.plan import write_plan
from dispense.jobs.fill import fill, template_folder
from dispense.sheets.layout import KEY
from dispense.xlsx.package import Package
from dispense.xlsx.template_units import label_unit

OUNCE = 28.349523125  # g, exactly (NIST Handbook 44, appendix C)
SETUP, CHECK, MATERIAL, RESULTS = (
    f"{name}.xlsx" for name in ("station_setup", "shot_check", "shift_material", "results")
)


@pytest.fixture
def plan(tmp_path):
    rows = hand_rows()
    rows["Stations"][0]["meter_tolerance"] = 0.02
    return write_plan(rows, tmp_path / "plan.xlsx")


def renamed(folder: Path, file: str, texts: dict[str, str], table: str = "") -> Path:
    """A copy of a template with other headers and labels, as a plant types them."""
    folder.mkdir(exist_ok=True)
    book = openpyxl.load_workbook(template_folder() / file)
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                of = next(
                    (
                        each.name
                        for each in sheet.tables.values()
                        if cell.coordinate in MultiCellRange(each.ref)
                    ),
                    "",
                )
                if cell.value in texts and (not table or table == of):
                    cell.value = texts[cell.value]
        for each in sheet.tables.values():
            for column in each.tableColumns if not table or table == each.name else ():
                column.name = texts.get(column.name, column.name)
        for chart in sheet._charts:
            for run in chart.y_axis.title.tx.rich.p[0].r:
                run.t = texts.get(run.t, run.t)
    book.save(folder / file)
    return folder


def filled(plan, tmp_path, folder):
    fill(plan, tmp_path / "out", templates=folder, stamp=STAMP)
    return {
        path.name: openpyxl.load_workbook(path, data_only=True) for path in (tmp_path / "out").rglob("*.xlsx")
    }


def refused(plan, tmp_path, folder) -> str:
    with pytest.raises(DispenseError) as caught:
        fill(plan, tmp_path / "out", templates=folder, stamp=STAMP)
    assert not (tmp_path / "out").exists(), "something was written all the same"
    return str(caught.value)


# ----------------------------------------------------------------------------- columns that must be


@pytest.mark.parametrize(
    ("file", "table", "header", "other"),
    [
        (SETUP, "SetupShots", "Part", "Teil"),
        (SETUP, "SetupShots", "Mass low [g]", "Masse min [g]"),
        (CHECK, "CheckShots", "High [g]", "High limit [g]"),
        (MATERIAL, "MaterialUse", "Component", "Komponente"),
        (RESULTS, "ResultUse", "Used [mL]", "Used (mL)"),
    ],
)
def test_a_needed_column_under_another_name_is_refused(plan, tmp_path, file, table, header, other):
    """Without its hidden name, as in a template of an earlier version; with it the column is found."""
    folder = renamed(tmp_path / "own", file, {header: other}, table)
    book = openpyxl.load_workbook(folder / file)
    for name in [name for name in book.defined_names if name.startswith(KEY)]:
        del book.defined_names[name]
    book.save(folder / file)
    words = refused(plan, tmp_path, folder)
    heading = re.sub(r" \[.*", "", header)
    assert f"table {table} has no column {heading}, which it must have" in words
    assert file in words and f"({other})" in words, words
    cell = re.search(rf"not known are (\w+) \({re.escape(other)}\)", words)[1]
    sheet = re.search(rf"{file}, (\w+)!", words)[1]
    assert openpyxl.load_workbook(folder / file)[sheet][cell].value == other
    assert f"write the header {heading} back in row" in words


def test_other_columns_may_be_deleted(plan, tmp_path):
    """A plant that needs no detail and no volumes deletes the columns, and is told what is left out."""
    folder = tmp_path / "own"
    folder.mkdir()
    book = openpyxl.load_workbook(template_folder() / SETUP)
    sheet = book["Setup"]
    old = sheet.tables["SetupShots"]
    top = int(re.search(r"\d+", old.ref)[0])
    keep = [column.name for column in old.tableColumns if not column.name.startswith(("Volume", "Detail"))]
    for column in range(1, len(old.tableColumns) + 1):
        sheet.cell(top, column).value = keep[column - 1] if column <= len(keep) else None
    del sheet.tables["SetupShots"]
    last = openpyxl.utils.get_column_letter(len(keep))
    sheet.add_table(Table(displayName="SetupShots", name="SetupShots", ref=f"A{top}:{last}{top + 1}"))
    book.save(folder / SETUP)
    report = fill(plan, tmp_path / "out", templates=folder, stamp=STAMP)
    assert any("SetupShots has no column Detail" in note for note in report.notes)
    (path,) = (tmp_path / "out").rglob("*_setup.xlsx")
    (row,) = table_rows(openpyxl.load_workbook(path), "SetupShots")
    assert row["Part"] == "frame" and "Detail" not in row


# ------------------------------------------------------------------------------------------ units


def test_mass_in_ounces_on_the_setup_card(plan, tmp_path):
    """10 mL of 1.1 g/mL, 11 g ± 2 %: all masses of the card follow their header."""
    names = ("Mass", "Mass of n shots", "Mass low", "Mass high")
    folder = renamed(tmp_path / "own", SETUP, {f"{name} [g]": f"{name} [oz]" for name in names})
    books = filled(plan, tmp_path, folder)
    (row,) = table_rows(books["hem_setup.xlsx"], "SetupShots")
    assert row["Mass [oz]"] == pytest.approx(11.0 / OUNCE, abs=5e-4)
    assert 10.78 / OUNCE <= row["Mass low [oz]"] <= 10.78 / OUNCE + 1.1e-3
    assert 11.22 / OUNCE - 1.1e-3 <= row["Mass high [oz]"] <= 11.22 / OUNCE
    assert named(books["hem_setup.xlsx"], "headline") == f"Set {11.0 / OUNCE:.4f} oz"
    assert row["Mass A [g]"] == pytest.approx(6.0, abs=0.005)  # 5 mL of 1.2 g/mL: its header stayed


def test_check_limits_in_ounces_beside_grams_weighed_are_refused(plan, tmp_path):
    texts = {f"{name} [g]": f"{name} [oz]" for name in ("Target", "Low", "High")}
    words = refused(plan, tmp_path, renamed(tmp_path / "own", CHECK, texts, "CheckShots"))
    assert "'Low [oz]'" in words and "'Weighed [g]'" in words
    assert "the chart reckons with" in words and "'Mass weighed [g]'" in words
    assert re.search(r"Checks![A-Z]\d+", words) and "write all with one unit" in words


def test_a_check_sheet_wholly_in_ounces_is_filled(plan, tmp_path):
    texts = {
        f"{name} [g]": f"{name} [oz]"
        for name in (
            "Target",
            "Low",
            "High",
            "Weighed",
            "A alone",
            "B alone",
            "Mean",
            "Range, largest less smallest",
            "Mass weighed",
            "Scale step",
            "Mass",
            "Mass A",
            "Mass B",
        )
    }
    folder = renamed(tmp_path / "own", CHECK, texts)
    books = filled(plan, tmp_path, folder)
    book = books["hem_shot_check.xlsx"]
    # 4 mL of 1.1 g/mL ± 2 %: 4.312 to 4.488 g
    rows = table_rows(book, "CheckShots")
    for row in rows:
        assert 4.312 / OUNCE <= row["Low [oz]"] <= 4.312 / OUNCE + 5e-4
        assert 4.488 / OUNCE - 5e-4 <= row["High [oz]"] <= 4.488 / OUNCE
    assert named(book, "low") == rows[0]["Low [oz]"] and named(book, "target") == rows[0]["Target [oz]"]
    assert named(book, "headline").endswith(" oz)") and " g" not in named(book, "headline")
    # the axis of the chart shows ounces too
    package = Package.open(next((tmp_path / "out").rglob("*_shot_check.xlsx")))
    axis = "{http://schemas.openxmlformats.org/drawingml/2006/chart}"
    root = package.tree(package.charts(package.worksheets[0])[0])
    least, most = (
        float(root.find(f".//{axis}valAx/{axis}scaling/{axis}{end}").get("val")) for end in ("min", "max")
    )
    assert 0.1 < least < rows[0]["Low [oz]"] and rows[0]["High [oz]"] < most < 0.2


@pytest.mark.parametrize(
    ("file", "table", "texts", "other"),
    [
        (MATERIAL, "MaterialUse", {"Opening [mL]": "Opening [L]"}, "Connected [mL]"),
        (MATERIAL, "MaterialMore", {"Left [mL]": "Left [L]"}, "More [mL]"),
        (RESULTS, "ResultUse", {"Used [mL]": "Used [L]"}, "Used [mL]"),
        (RESULTS, "ResultUse", {"Mass [kg]": "Mass [lb]"}, "All materials [kg]"),
    ],
)
def test_a_formula_that_mixes_units_is_refused(plan, tmp_path, file, table, texts, other):
    words = refused(plan, tmp_path, renamed(tmp_path / "own", file, texts, table))
    (mine,) = texts.values()
    assert f"'{mine}'" in words and f"'{other}'" in words


def test_sums_and_columns_that_nothing_reads_follow(plan, tmp_path):
    folder = renamed(tmp_path / "own", MATERIAL, {"Total [mL]": "Total [L]", "Mass [kg]": "Mass [lb]"})
    folder = renamed(folder, RESULTS, {"Volume [mL]": "Volume [in**3]"}, "ResultAmounts")
    books = filled(plan, tmp_path, folder)
    (row,) = table_rows(books["hem_material.xlsx"], "MaterialParts")
    assert row["Total [L]"] == pytest.approx(21 * 0.010, rel=1e-9)
    sheet = books["hem_material.xlsx"]["Material"]
    total = sheet.tables["MaterialParts"]
    below = [cell.value for cell in sheet[int(total.ref.split(":")[1].lstrip("ABCDEFGHIJKLMNOP")) + 1]]
    assert pytest.approx(0.21, rel=1e-9) in [value for value in below if isinstance(value, float)]
    (row,) = table_rows(books["results.xlsx"], "ResultAmounts")
    assert row["Volume [in**3]"] == pytest.approx(10.0 / 16.387064, rel=1e-9)  # 2.54³ cm³, exactly


def test_a_named_cell_follows_the_unit_of_its_label(plan, tmp_path):
    folder = renamed(
        tmp_path / "own",
        SETUP,
        {"Density [g/mL]": "Density [kg/m**3]", "Start volume [mL]": "Start volume [L]"},
    )
    book = filled(plan, tmp_path, folder)["hem_setup.xlsx"]
    assert named(book, "density") == pytest.approx(1100.0, rel=1e-9)
    assert named(book, "start_volume") == pytest.approx(0.008, rel=1e-9)


def test_a_label_in_a_unit_of_another_kind_is_refused(plan, tmp_path):
    words = refused(plan, tmp_path, renamed(tmp_path / "own", SETUP, {"Density [g/mL]": "Density [bar]"}))
    assert "Density [bar]" in words and re.search(r"station_setup\.xlsx, Setup![A-Z]+\d+", words)


def test_a_named_figure_in_a_formula_is_followed_or_refused(plan, tmp_path):
    old = "  each with the shot of the first part [mL]:"
    new = "  each with the shot of the first part [L]:"
    words = refused(plan, tmp_path, renamed(tmp_path / "own", MATERIAL, {old: new}))
    assert "first part [L]" in words and "'More [mL]'" in words


def test_the_label_of_a_cell_is_above_it_or_to_its_left(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "S"
    sheet["A1"], sheet["A3"], sheet["D3"], sheet["B5"], sheet["A7"] = (
        "Density [g/mL]",
        "Limit [bar]:",
        "not a label",
        "plain",
        "[mm]",
    )
    book.save(tmp_path / "b.xlsx")
    package = Package.open(tmp_path / "b.xlsx")
    (page,) = package.worksheets
    assert label_unit(package, page, 2, 1) == ("Density [g/mL]", "S!A1", "g/mL")
    assert label_unit(package, page, 3, 3) == ("Limit [bar]:", "S!A3", "bar")
    assert label_unit(package, page, 3, 5) is None  # the nearest text states no unit
    assert label_unit(package, page, 5, 3) is None and label_unit(package, page, 1, 1) is None


def test_the_packaged_templates_have_no_unit_problem(plan, tmp_path):
    books = filled(plan, tmp_path, template_folder())
    assert {"hem_setup.xlsx", "hem_shot_check.xlsx", "results.xlsx"} <= set(books)
