"""What people typed into a sheet is carried into the next one or kept beside it; foreign files stand."""

from __future__ import annotations

import datetime
import shutil
import subprocess

import openpyxl
import pytest
from plans import hand_rows

from dispense.addin.names import build_names
from dispense.base.errors import FileError
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.jobs.cure import cure_file
from dispense.jobs.fill import fill
from dispense.jobs.forecast import forecast_file
from dispense.xlsx.package import Package
from dispense.xlsx.typed import kind_at, typed_cells

STAMP, LATER = "2026-03-01 12:00", "2026-03-01 13:30"


@pytest.fixture
def plan(tmp_path):
    return write_plan(hand_rows(), tmp_path / "plan.xlsx")


def filled(plan, stamp=STAMP, **options):
    return fill(plan, plan.parent / "out", stamp=stamp, **options)


def sheet_of(plan, suffix):
    (path,) = sorted((plan.parent / "out").glob(f"*/*_{suffix}.xlsx"))
    return path


def entry_cell(sheet, header):
    """The first cell under a header."""
    for row in sheet:
        for cell in row:
            if str(cell.value).partition(" [")[0] == header:
                return sheet.cell(cell.row + 1, cell.column)
    raise AssertionError(f"no header {header}")


def type_into(path, header, *values, page=0):
    book = openpyxl.load_workbook(path)
    cell = entry_cell(book.worksheets[page], header)
    for down, value in enumerate(values):
        book.worksheets[page].cell(cell.row + down, cell.column).value = value
    book.save(path)
    return cell.coordinate


def test_an_untouched_sheet_says_nothing_and_comes_out_the_same(plan):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    before = path.read_bytes()
    assert typed_cells(Package.open(path)) == []
    report = filled(plan)
    assert path.read_bytes() == before
    assert not any("by hand" in note for note in report.notes)
    assert not list((plan.parent / "out").rglob("*filled_in*"))


def test_weights_are_carried_and_reckoned_with(plan):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    cell = type_into(path, "Weighed", 4.21, 4.25)
    report = filled(plan, LATER)
    book = openpyxl.load_workbook(path)
    assert book.worksheets[0][cell].value == 4.21 and book.worksheets[0][cell].offset(row=1).value == 4.25
    assert any(note == f"{path.name}: 2 cells filled in by hand carried over" for note in report.notes)
    assert not list(path.parent.glob("*filled_in*"))
    # still known as typed the next time, and the formulas of the sheet have seen it
    assert [item.value for item in typed_cells(Package.open(path))] == [4.21, 4.25]
    values = openpyxl.load_workbook(path, data_only=True).worksheets[0]
    mean = next(row for row in values if str(row[0].value).startswith("Mean"))
    assert 4.23 in {each.value for each in mean}  # of 4.21 and 4.25
    filled(plan, STAMP)
    assert openpyxl.load_workbook(path).worksheets[0][cell].value == 4.21


def test_what_no_longer_fits_is_kept_beside(plan):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    cell = type_into(path, "Weighed", 4.21)
    old = path.read_bytes()
    rows = hand_rows()
    for row in rows["Components"]:
        row["density"] *= 1.2  # another target: the weight says nothing of the new row
    plan.unlink()
    write_plan(rows, plan)
    report = filled(plan, LATER)
    assert openpyxl.load_workbook(path).worksheets[0][cell].value is None
    (kept,) = path.parent.glob("*filled_in*")
    assert kept.name == f"{path.stem}_filled_in_1.xlsx" and kept.read_bytes() == old
    (note,) = [note for note in report.notes if "by hand" in note]
    assert kept.name in note and cell in note and "4.21" in note
    filled(plan, LATER)  # nothing is lost twice, nothing kept twice
    assert len(list(path.parent.glob("*filled_in*"))) == 1


def test_a_lot_that_was_written_over_stays_written_over(plan):
    filled(plan)
    path = sheet_of(plan, "material")
    cell = type_into(path, "Lot", "A9")
    sheet = openpyxl.load_workbook(path).worksheets[0]
    assert sheet.cell(sheet[cell].row - 1, sheet[cell].column).value == "Lot"
    filled(plan, LATER)
    assert openpyxl.load_workbook(path).worksheets[0][cell].value == "A9"
    assert not list(path.parent.glob("*filled_in*"))


def test_a_cell_that_was_cleared_is_filled_again_and_the_old_sheet_kept(plan):
    filled(plan)
    path = sheet_of(plan, "material")
    was = openpyxl.load_workbook(path)["Material"]
    cell = type_into(path, "Lot", None, page=2)
    report = filled(plan, LATER)
    assert openpyxl.load_workbook(path)["Material"][cell].value == was[cell].value == "A1"
    assert any(f"{cell} cleared" in note for note in report.notes)
    assert len(list(path.parent.glob("*filled_in*"))) == 1


def test_times_and_formulas_that_people_enter(plan):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    cell = type_into(path, "Weighed", datetime.time(6, 42), "=4.1+0.11")
    filled(plan, LATER)
    sheet = openpyxl.load_workbook(path).worksheets[0]
    assert sheet[cell].value == datetime.time(6, 42) and sheet[cell].is_date
    assert sheet[cell].offset(row=1).value == "=4.1+0.11"


def test_text_that_looks_like_a_formula_stays_text(plan):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    book = openpyxl.load_workbook(path)
    cell = entry_cell(book.worksheets[0], "Weighed")
    cell.value, cell.data_type = "=HYPERLINK(0)", "s"
    book.save(path)
    filled(plan, LATER)
    held = openpyxl.load_workbook(path).worksheets[0][cell.coordinate]
    assert (held.value, held.data_type) == ("=HYPERLINK(0)", "s")


def test_a_foreign_file_is_not_replaced(plan):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    shutil.copy(plan, path)
    was = path.read_bytes()
    with pytest.raises(FileError, match="was not written by this command"):
        filled(plan, LATER)
    assert path.read_bytes() == was


def test_no_command_replaces_a_plan_or_the_work_of_another(plan, tmp_path, capsys):
    other = write_plan(hand_rows(), tmp_path / "other.xlsx")
    was = other.read_bytes()
    attempts = [
        lambda: forecast_file(plan, weeks=1, draws=10, out=other, what_if=False),
        lambda: cure_file(plan, "hem", out=other),
        lambda: build_names(other),
    ]
    for attempt in attempts:
        with pytest.raises(FileError, match="not replaced"):
            attempt()
    assert main(["addin", "build", "--host", "calc", "--out", str(other)]) != 0
    assert main(["respell", str(plan), "--host", "calc", "--out", str(other)]) != 0
    assert other.read_bytes() == was
    capsys.readouterr()
    for name, text in (("week.csv", "my;own;list\n"), ("week.json", '{"mine": 1}')):
        (tmp_path / name).write_text(text)
        with pytest.raises(FileError, match="not replaced"):
            forecast_file(plan, weeks=1, draws=10, out=tmp_path / name, what_if=False)
        assert (tmp_path / name).read_text() == text


def test_a_report_is_made_anew_and_what_was_typed_into_the_old_one_is_kept(plan, tmp_path):
    out = tmp_path / "hem.xlsx"
    cure_file(plan, "hem", out=out)
    assert kind_at(out) == "cure"
    cure_file(plan, "hem", out=out)
    assert not list(tmp_path.glob("*filled_in*"))
    book = openpyxl.load_workbook(out)
    book.worksheets[0]["A40"] = "agreed with the shift lead"
    book.save(out)
    report = cure_file(plan, "hem", out=out)
    (kept,) = tmp_path.glob("*filled_in*")
    assert openpyxl.load_workbook(kept).worksheets[0]["A40"].value == "agreed with the shift lead"
    assert any(kept.name in finding.text for finding in report.findings)


@pytest.mark.libreoffice
def test_a_sheet_that_a_spreadsheet_saved_is_still_known(plan, tmp_path):
    filled(plan)
    path = sheet_of(plan, "shot_check")
    cell = type_into(path, "Weighed", 4.21)
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    there = tmp_path / "saved"
    subprocess.run(
        ["soffice", profile, "--headless", "--convert-to", "xlsx", "--outdir", str(there), str(path)],
        check=True,
        capture_output=True,
        timeout=300,
    )
    shutil.copy(there / path.name, path)
    assert kind_at(path) == "shot_check"
    assert [(item.address, item.value) for item in typed_cells(Package.open(path))] == [(cell, 4.21)]
    filled(plan, LATER)
    assert openpyxl.load_workbook(path).worksheets[0][cell].value == 4.21
