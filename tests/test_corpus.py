"""Files that were once answered wrongly, each made from a small plan by one change, and what is right.

The workbooks are made here; measurements lie in `tests/corpus`.
"""

from __future__ import annotations

import codecs
import datetime
import io
import os
import re
import sqlite3
import threading
import time
import zipfile
from pathlib import Path

import fuzz
import pytest
from openpyxl import load_workbook

from dispense import cli
from dispense.base.errors import FileError, InputError, one_line
from dispense.base.file_names import safe_name
from dispense.base.terminal import json_text, printable
from dispense.base.units import read_header
from dispense.formulas import number_forms
from dispense.plan.read import check_plan, load_plan
from dispense.plan.sources import read_frame
from dispense.xlsx import rows, template_units

CORPUS = Path(__file__).parent / "corpus"


@pytest.fixture(scope="module")
def light() -> bytes:
    return fuzz.light_file()


def saved(light: bytes, path: Path, edit) -> Path:
    """The plan changed by openpyxl."""
    book = load_workbook(io.BytesIO(light))
    edit(book)
    book.save(path)
    return path


def rewritten(light: bytes, path: Path, sheet: str, edit) -> Path:
    """The plan with the XML of one sheet changed."""
    with zipfile.ZipFile(io.BytesIO(light)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    names = re.findall(r'<sheet [^>]*?name="([^"]+)"', parts["xl/workbook.xml"].decode())
    part = f"xl/worksheets/sheet{names.index(sheet) + 1}.xml"
    parts[part] = edit(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def place(sheet, name: str) -> tuple[int, int]:
    """Row and column of a header."""
    for row in sheet.iter_rows(max_row=5):
        for cell in row:
            if cell.value and read_header(str(cell.value))[0] == name:
                return cell.row, cell.column
    raise KeyError(name)


def run(capsys, *arguments) -> tuple[int, str, str]:
    code = cli.main([str(item) for item in arguments])
    caught = capsys.readouterr()
    return code, caught.out, caught.err


def one(path: Path) -> str:
    """The one problem of a plan, told in one line."""
    _, problems = check_plan(path)
    assert len(problems) == 1, problems
    assert "\n" not in str(problems[0])
    return str(problems[0])


# ------------------------------------------------------------------------------- sheets and columns


def test_a_misspelt_sheet(light, tmp_path):
    def edit(book):
        book["Beads"].title = "Bead"

    line = one(saved(light, tmp_path / "plan.xlsx", edit))
    assert line == "Bead!A1: unknown table Bead (did you mean Beads?)"


def test_a_sheet_of_another_name_that_holds_the_columns(light, tmp_path):
    def edit(book):
        book["Beads"].title = "Raupen"

    line = one(saved(light, tmp_path / "plan.xlsx", edit))
    assert "Raupen" in line and "has the columns of a table" in line and "did you mean Beads?" in line


def test_sheets_of_the_plants_own_and_lost_ones_are_noted(light, tmp_path, capsys):
    def edit(book):
        book.create_sheet("Contacts")["A1"] = "telephone"
        book.create_sheet("Empty")
        del book["Inserts"]

    path = saved(light, tmp_path / "plan.xlsx", edit)
    code, out, err = run(capsys, "check", path)
    assert (code, "no problems found" in out) == (0, True)
    assert 'sheets not read: "Contacts"' in out and "Empty" not in out + err
    assert "has no table Inserts" in out


def test_each_slip_stands_in_the_check_with_its_cell(light, tmp_path, capsys):
    """Densities ten times too large are a line each; none is hidden behind another."""

    def edit(book):
        sheet = book["Components"]
        row, column = place(sheet, "Density")
        for number in range(row + 1, sheet.max_row + 1):
            sheet.cell(number, column).value *= 10
        sheet = book["Stations"]
        row, column = place(sheet, "Scrap")
        sheet.cell(row + 1, column).value = 0.4

    path = saved(light, tmp_path / "plan.xlsx", edit)
    _, out, _ = run(capsys, "check", path)
    sheet = load_workbook(path)["Components"]
    row, column = place(sheet, "Density")
    large = [number for number in range(row + 1, sheet.max_row + 1) if sheet.cell(number, column).value > 7]
    assert len(large) >= 7
    for number in large:
        assert f"Components!{sheet.cell(number, column).coordinate}: density of" in out
    assert "scrap of Hem robot is 0.4" in out


def test_two_sheets_that_differ_by_a_blank(light, tmp_path):
    def edit(book):
        book.copy_worksheet(book["Beads"]).title = "beads "

    line = one(saved(light, tmp_path / "plan.xlsx", edit))
    assert '"Beads"' in line and '"beads "' in line and "differ in blanks or capitals only" in line


def test_misspelt_optional_headers(light, tmp_path, capsys):
    def edit(book):
        for table, name, header in (
            ("Components", "Heel", "Heal"),
            ("Stations", "Scrap", "Scrap %"),
            ("Stations", "Purge volume", "Purge volume (mL)"),
        ):
            book[table].cell(*place(book[table], name)).value = header

    path = saved(light, tmp_path / "plan.xlsx", edit)
    code, out, err = run(capsys, "check", path)
    assert code == 1
    assert '"Heal" is not a column of Components (did you mean Heel?)' in out
    assert '"Scrap %" is not a column of Stations (did you mean Scrap?)' in out
    assert '"Purge volume (mL)" is read as Purge volume [mL]' in err  # understood, and said


# -------------------------------------------------------------------------------------- file formats


@pytest.mark.parametrize("number", ["1e5", "0", "-4", "99999999", "4.0", "x"])
def test_row_numbers_that_are_none(light, tmp_path, number):
    """A row number is 1 to 1048576 (ECMA-376 part 1, 18.3.1.73: an unsigned integer)."""
    text = f' r="{number}"'.encode()
    path = rewritten(
        light,
        tmp_path / "plan.xlsx",
        "Beads",
        lambda data: re.sub(rb'(<row\b[^>]*?) r="2"', rb"\1" + text, data, count=1),
    )
    line = one(path)
    assert line.startswith("Beads!A1: the file has a row with the number")
    assert number in line


def test_rows_out_of_order(light, tmp_path):
    path = rewritten(
        light,
        tmp_path / "plan.xlsx",
        "Beads",
        lambda data: re.sub(rb'(<row\b[^>]*?) r="3"', rb'\1 r="1"', data, count=1),
    )
    assert "after row" in one(path)


@pytest.mark.parametrize("coding", ["utf-32", "utf-32-le", "utf-32-be", "utf-16-le", "cp037"])
def test_a_document_type_in_other_codings(light, tmp_path, coding):
    """Byte order marks of Unicode 15, table 23-5; EBCDIC by XML 1.0, appendix F."""
    marks = {"utf-32-le": codecs.BOM_UTF32_LE, "utf-32-be": codecs.BOM_UTF32_BE}
    text = f'<?xml version="1.0" encoding="{coding}"?><!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'
    path = rewritten(
        light, tmp_path / "plan.xlsx", "Beads", lambda data: marks.get(coding, b"") + text.encode(coding)
    )
    with pytest.raises(FileError, match="text coding"):
        check_plan(path)


def test_dates_of_a_workbook_that_counts_from_1904(light, tmp_path):
    """Plain day numbers and times past midnight read as in the 1900 system (1462 days apart)."""

    def edit(book):
        from openpyxl.utils.datetime import CALENDAR_MAC_1904

        book.epoch = CALENDAR_MAC_1904
        sheet = book["Builds"]
        row, column = place(sheet, "Date")
        sheet.cell(row + 1, column).value = 44621 - 1462  # 2022-03-01 is 44621 in the 1900 system
        sheet.cell(row + 1, column).number_format = "0"
        sheet.cell(row + 2, column).value = datetime.datetime(2022, 3, 2)
        sheet = book["Shifts"]
        row, column = place(sheet, "End")
        sheet.cell(row + 2, column).value = 1.25
        sheet.cell(row + 2, column).number_format = "[hh]:mm"
        sheet.cell(row + 2, column - 1).value = 0.9375
        sheet.cell(row + 2, column - 1).number_format = "[hh]:mm"

    plan, _ = check_plan(saved(light, tmp_path / "plan.xlsx", edit))
    assert [row.date for row in plan.builds[:2]] == [datetime.date(2022, 3, 1), datetime.date(2022, 3, 2)]
    assert (plan.shifts[1].start, plan.shifts[1].end) == (22.5 * 3600, 30 * 3600)


@pytest.mark.parametrize("kind", ["plan", "record", "builds"])
def test_a_pipe_is_refused_and_not_waited_for(tmp_path, kind, light, capsys):
    pipe = tmp_path / ("plan.xlsx" if kind == "plan" else "data.csv")
    os.mkfifo(pipe)
    plan = tmp_path / "good.xlsx"
    plan.write_bytes(light)
    arguments = {
        "plan": ("check", pipe),
        "builds": ("forecast", plan, "--builds", pipe),
        "record": ("cure", plan, "--station", "Block potting", "--record", pipe),
    }[kind]
    answers: list[int] = []
    worker = threading.Thread(
        target=lambda: answers.append(cli.main([str(item) for item in arguments])), daemon=True
    )
    worker.start()
    worker.join(120)
    assert answers == [1]
    assert "is a pipe or device, not a file" in capsys.readouterr().err


def test_a_view_without_end_stops(tmp_path, monkeypatch):
    monkeypatch.setattr("dispense.plan.sources.MOST_STEPS", 2_000_000)
    path = tmp_path / "builds.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute(
            "create view builds as with recursive n(x) as (select 1 union all select x + 1 from n) "
            "select max(x) as quantity from n"
        )
    with pytest.raises(FileError, match="cannot be read"):
        read_frame(path)


# ------------------------------------------------------------------------------- numbers without end


def test_measurements_beyond_what_there_is(light, tmp_path, capsys):
    plan = tmp_path / "plan.xlsx"
    plan.write_bytes(light)
    code, _, err = run(
        capsys, "cure", plan, "--station", "Block potting", "--record", CORPUS / "record_1e308.csv"
    )
    assert code == 1 and len(err.splitlines()) == 1
    assert 'row 2: temperature is "1e308"; it must be above -273.15 and 1000 or less °C' in err
    code, _, err = run(capsys, "fit", CORPUS / "fit_header_unit_hang.csv")
    assert code == 1 and len(err.splitlines()) == 1 and "unit of time" in err


def test_a_temperature_header_whose_unit_is_not_in_brackets(tmp_path):
    """`Temperature °F` was read as °C without a word."""
    from dispense.plan.csv import read_record

    path = tmp_path / "hall.csv"
    path.write_text("Time,Temperature °F\n06:00,75\n07:00,76\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"Temperature \[°F\]"):
        read_record(path)
    path.write_text("Time,Temperature 2,Temperature A\n06:00,25,26\n07:00,25,26\n", encoding="utf-8")
    assert set(read_record(path).channels) == {"Temperature 2", "Temperature A"}


@pytest.mark.parametrize(
    "text", ["9" * 5000, "[" + "9" * 5000 + "]", "[" * 100_000, "2 " + "(" * 100_000, "2 mm**9**9**9"]
)
def test_an_argument_without_end_gives_one_line(capsys, text):
    code, out, err = run(capsys, "call", "CELL_DISPLACEMENT", "1", text, "65")
    assert code == 1
    assert len((out + err).splitlines()) == 1 and len(err) < 400


def test_a_unit_in_a_cell_that_would_hang(light, tmp_path):
    def edit(book):
        row, column = place(book["Beads"], "Width")
        book["Beads"].cell(row + 1, column).value = "2 mm**9**9**9"

    line = one(saved(light, tmp_path / "plan.xlsx", edit))
    assert "width is" in line and "a unit that converts to mm" in line


# ------------------------------------------------------------------------------------- what is shown


NASTY = "Hem\x9b2J \u202erobot\u2066\x1b[31m"


def test_codes_in_names_are_shown_and_never_obeyed(light, tmp_path, capsys):
    """C1 controls (ECMA-48) and the direction characters of UAX #9."""

    def edit(book):
        for table in ("Stations", "Beads"):
            sheet = book[table]
            row, column = place(sheet, "Station")
            for number in range(row + 1, sheet.max_row + 1):
                if sheet.cell(number, column).value == "Hem robot":
                    sheet.cell(number, column).value = NASTY.replace("\x1b", "")
        sheet = book["Beads"]
        row, column = place(sheet, "Part")
        sheet.cell(row + 2, column).value = "lid\u202e\x85x"

    path = saved(light, tmp_path / "plan.xlsx", edit)
    for options in ((), ("--json",)):
        _, out, err = run(capsys, "check", path, *options)
        shown = (out + err).replace("\n", "")
        assert shown.isprintable()
        assert "\\u202e" in shown
    assert safe_name(NASTY) == "Hem2J_robot[31m"
    assert printable(f"a\n{NASTY}") == "a\nHem\\x9b2J \\u202erobot\\u2066\\x1b[31m"
    assert one_line(f"\u00a0{NASTY}\r\nx") == "Hem\\x9b2J \\u202erobot\\u2066\\x1b[31m x"
    assert json_text({"a": NASTY}) == '{\n  "a": "Hem\\u009b2J \\u202erobot\\u2066\\u001b[31m"\n}'


# ------------------------------------------------------------------------------------- hostile sizes


def _plan_with_comment(light: bytes, path: Path, size: int) -> float:
    comment = b"<!--" + b"<row " * size + b"-->"
    rewritten(light, path, "Beads", lambda data: data.replace(b"</sheetData>", comment + b"</sheetData>"))
    start = time.perf_counter()
    check_plan(path)
    return time.perf_counter() - start


def test_a_comment_of_rows_takes_no_longer(light, tmp_path):
    """38,000 of them took 112 s; reading the plan takes a few tenths."""
    few = _plan_with_comment(light, tmp_path / "few.xlsx", 1)
    many = _plan_with_comment(light, tmp_path / "many.xlsx", 38_000)
    assert many < 3.0 * few + 2.0


@pytest.mark.parametrize(
    "make, scan",
    [
        *(
            (lambda size, text=text: text * size, lambda text: _row_scan(text))
            for text in (b"<row ", b'<row r="', b"<row r=", b"<ro", b"<row>")
        ),
        (lambda size: b"<row" + b' r="a"' * size, lambda text: _row_scan(text)),
        (lambda size: b"<row" + b" " * size, lambda text: _row_scan(text)),
        (lambda size: "a" + " " * size + "x", template_units.HEADER.match),
        (lambda size: "a" + " " * size + "x", template_units._LABEL.match),
        (lambda size: "[" * size, template_units.HEADER.match),
        (lambda size: "[a] " * size + "x", template_units.HEADER.match),
        (lambda size: "'" + ":" * size, rows._SHEET_SPAN.match),
        (lambda size: "'" + "''" * size, rows._SHEET_SPAN.match),
        (lambda size: "'" * size, rows._REFERENCE.fullmatch),
        (lambda size: "[" * size, number_forms.is_date_format),
        (lambda size: "[hhhh" * size, number_forms.is_date_format),
        (lambda size: "[" * size, number_forms.TOKEN.findall),
        (lambda size: '"' * size, number_forms.TOKEN.findall),
        (lambda size: "=. _" * size, safe_name),
        (lambda size: "a(" * size + ")", read_header),
        (lambda size: "a," * size, read_header),
    ],
)
def test_eight_times_the_size_takes_some_eight_times_as_long(make, scan):
    """A quadratic scan takes 64 times as long (doubled three times); leaving the cache may
    take 25."""

    def quickest(text):
        spans = []
        for _ in range(5):
            start = time.process_time()
            scan(text)
            spans.append(time.process_time() - start)
        return min(spans)

    size = 4_000
    while (span := quickest(make(size))) < 2e-3 and size < 500_000:
        size *= 2
    assert quickest(make(8 * size)) < 40.0 * max(span, 1e-3)


def _row_scan(text: bytes):
    from dispense.plan.workbook import _ROW

    return _ROW.findall(text)


def test_the_plan_itself_is_right(light, tmp_path):
    path = tmp_path / "plan.xlsx"
    path.write_bytes(light)
    assert load_plan(path).parts
