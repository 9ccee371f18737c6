"""The plan workbook written and read: what goes in comes out, whatever a plant does to the sheets.

The reference for what a workbook holds are the records built from the demo's plain data without any
workbook; for units it is pint, asked directly.
"""

from __future__ import annotations

import datetime
import io
import math
import os
import random
import re
import shutil
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pint
import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.table import Table as ExcelTable

from dispense.base.errors import FileError, InputError
from dispense.books.plan import HEADER_ROW, new_plan, plan_bytes, write_plan
from dispense.plan.build import read_plan as read_records
from dispense.plan.demo import DEMO
from dispense.plan.read import check_plan, load_plan, read_tables
from dispense.plan.records import MISSING_VALUE, Plan, RawTable, raw_table
from dispense.plan.tables import SETTINGS, TABLES

FIRST = HEADER_ROW + 1


@pytest.fixture(scope="module")
def demo_bytes() -> bytes:
    return plan_bytes(DEMO)


@pytest.fixture
def demo(tmp_path, demo_bytes) -> Path:
    path = tmp_path / "plan.xlsx"
    path.write_bytes(demo_bytes)
    return path


@pytest.fixture(scope="module")
def expected() -> Plan:
    """The demo's records without a workbook between."""
    raws = {name: raw_table(name, rows) for name, rows in DEMO.items() if name != "Settings"}
    given = DEMO["Settings"][0]
    raws["Settings"] = RawTable("Settings", ["Setting", "Value"], [list(given), list(given.values())])
    plan, problems = read_records(raws)
    assert problems == []
    return plan


def fields_of(record, table) -> tuple:
    return tuple(getattr(record, item.name) for item in table.columns)


def close(one, other) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-18)
    return one == other


def assert_same(plan: Plan, expected: Plan, *, in_order: bool = True) -> None:
    """Every record of both plans agrees field by field, numbers to 1e-12."""
    assert plan.settings.keys() == expected.settings.keys()
    assert all(close(plan.settings[name], expected.settings[name]) for name in plan.settings)
    for table in TABLES:
        mine = [fields_of(row, table) for row in getattr(plan, table.attribute)]
        theirs = [fields_of(row, table) for row in getattr(expected, table.attribute)]
        assert len(mine) == len(theirs), table.name
        if not in_order:
            mine, theirs = sorted(mine, key=repr), sorted(theirs, key=repr)
        for one, other in zip(mine, theirs, strict=True):
            wrong = [
                (item.name, a, b)
                for item, a, b in zip(table.columns, one, other, strict=True)
                if not close(a, b)
            ]
            assert not wrong, (table.name, wrong)


def change(path: Path, edit) -> Path:
    """The workbook after an edit with openpyxl."""
    book = load_workbook(path)
    edit(book)
    book.save(path)
    return path


def column_of(sheet, name: str, row: int = HEADER_ROW) -> int:
    """Number of the column whose header begins with that name."""
    for cell in sheet[row]:
        if cell.value and str(cell.value).split(" [")[0] == name:
            return cell.column
    raise KeyError(name)


def rewrite_part(path: Path, part: str, edit) -> None:
    """Change one part of the zip as text."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[part] = edit(parts[part].decode()).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def sheet_part(path: Path, name: str) -> str:
    """Part of a sheet in a workbook that openpyxl wrote."""
    with zipfile.ZipFile(path) as archive:
        names = re.findall(r'<sheet [^>]*name="([^"]+)"', archive.read("xl/workbook.xml").decode())
    return f"xl/worksheets/sheet{names.index(name) + 1}.xml"


# -------------------------------------------------------------------------------- round trips


def test_demo_reads_as_it_was_given(demo, expected):
    plan, problems = check_plan(demo)
    assert problems == []
    assert_same(plan, expected)


def test_demo_has_what_it_must_show(expected):
    """The cases of the demo, counted by hand from its data."""
    assert {row.cure for row in expected.materials} == {"room", "oven", "moisture", "light", "none"}
    assert any(row.path for row in expected.beads) and any(row.run for row in expected.beads)
    assert {row.motion for row in expected.paths} == {"line", "arc"}
    assert len(expected.shots) == 2 and expected.pots[0].cells == 432
    assert len(expected.builds) == 50 and len({row.date for row in expected.builds}) == 10
    # common practice, no source: 432 cells to a block, two blocks to a module, nine modules
    packs = expected.explode("Tug pack 9")
    assert packs["Block"] * 432 == 7776
    assert expected.explode("Tug pack 7")["Block"] * 432 == 6048


def test_demo_shifts_are_played_without_a_short_part(expected):
    from dispense.shift.play import play_plan

    results = list(play_plan(expected))
    assert len(results) == 10 * 2 * 7
    assert not [result for result in results if result.is_short or result.missing]
    assert all(result.balance(letter) == 0 for result in results for letter in result.components)
    assert any(result.mixers > 1 or result.purges for result in results)  # breaks force some


def test_demo_pot_stays_below_the_limit_of_its_cells(expected):
    """Lumped bound: no cure can heat the compound by more than heat / specific heat."""
    pot = expected.pots[0]
    material = expected.material(expected.station(pot.station).material)
    hottest = max(row.temperature for row in expected.temperatures)
    rise = material.heat / material.specific_heat
    # even without any loss the compound reaches 31 + 55/1.4 = 70.3 °C, by hand
    assert hottest + rise - 273.15 == pytest.approx(31.0 + 55.0 / 1.4)
    assert hottest + rise < 273.15 + 75.0


UNITS = {  # unit: (header a plant may write, pint names of both)
    "mm": ("in", "mm", "inch"),
    "mL": ("L", "mL", "liter"),
    "g": ("oz", "g", "ounce"),
    "g/mL": ("lb/gal", "g/mL", "pound/gallon"),
    "min": ("h", "min", "hour"),
    "s": ("min", "s", "minute"),
    "d": ("h", "day", "hour"),
    "°C": ("degF", "degC", "degF"),
    "K": ("delta_degF", "delta_degC", "delta_degF"),
    "deg": ("rad", "deg", "rad"),
    "bar": ("psi", "bar", "psi"),
    "Pa": ("kPa", "Pa", "kPa"),
    "Pa·sⁿ": ("cP", "Pa*s", "centipoise"),
    "N": ("lbf", "N", "lbf"),
    "N/mm": ("lbf/in", "N/mm", "lbf/inch"),
    "mm/s": ("m/min", "mm/s", "m/min"),
    "mL/s": ("L/h", "mL/s", "L/hour"),
    "1/h": ("1/d", "1/hour", "1/day"),
    "1/min": ("1/s", "1/min", "1/s"),
    "kJ/mol": ("J/mol", "kJ/mol", "J/mol"),
    "J/g": ("kJ/kg", "J/g", "kJ/kg"),
    "J/(g·K)": ("J/(kg·K)", "J/g/delta_degC", "J/kg/delta_degC"),
    "W/(m·K)": ("W/(cm·K)", "W/m/delta_degC", "W/cm/delta_degC"),
    "J/cm²": ("mJ/cm²", "J/cm**2", "mJ/cm**2"),
    "K·mm²/W": ("K·in²/W", "delta_degC*mm**2/W", "delta_degC*inch**2/W"),
    "W/(m²·K)": ("W/(cm²·K)", "W/m**2/delta_degC", "W/cm**2/delta_degC"),
    "mm/√h": ("in/√h", "mm/hour**0.5", "inch/hour**0.5"),
    "K/W": ("delta_degF/W", "delta_degC/W", "delta_degF/W"),
}


def test_other_units_in_the_headers_give_the_same_records(demo, expected):
    units = pint.UnitRegistry()
    changed = []

    def edit(book):
        for table in TABLES:
            sheet = book[table.name]
            for item in table.columns:
                if item.unit not in UNITS:
                    continue
                header, old, new = UNITS[item.unit]
                column = sheet.cell(HEADER_ROW, [c.name for c in table.columns].index(item.name) + 1)
                column.value = column.value.replace(f"[{item.unit}]", f"[{header}]")
                changed.append(column.value)
                for row in range(FIRST, sheet.max_row + 1):
                    cell = sheet.cell(row, column.column)
                    if cell.value is not None:
                        cell.value = units.Quantity(float(cell.value), old).to(new).magnitude

        sheet = book["Settings"]
        row = FIRST + [item.name for item in SETTINGS].index("temperature_spread")
        sheet.cell(row, 1, "Temperature spread [delta_degF]")
        sheet.cell(row, 2, sheet.cell(row, 2).value * 9 / 5)

    change(demo, edit)
    assert len(changed) > 100
    assert_same(load_plan(demo), expected)


def test_columns_and_rows_in_any_order_with_columns_of_the_plants_own(demo, expected):
    chance = random.Random(7)

    def edit(book):
        for table in TABLES:
            sheet = book[table.name]
            sheet.tables.clear()
            block = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=HEADER_ROW)]
            formats = [cell.number_format for cell in sheet[FIRST]]
            order = list(range(len(block[0])))
            chance.shuffle(order)
            rows = [row for row in block[1:] if any(cell is not None for cell in row)]
            if table.name != "Paths":  # the order of points is what a path is
                chance.shuffle(rows)
            sheet.delete_rows(1, sheet.max_row)
            sheet.cell(1, 1, f"Our {table.name} of this year")
            sheet.cell(3, 2, "seen by the foreman")
            for number, row in enumerate([block[0], *rows]):
                at = 5 + number
                sheet.cell(at, 1, "Remark" if number == 0 else "own words")
                for place, column in enumerate(order):
                    cell = sheet.cell(at, place + 2, row[column])
                    cell.number_format = formats[column] if number else "General"
                sheet.cell(at, len(order) + 2, "Cost centre" if number == 0 else 4711)

    change(demo, edit)
    assert_same(load_plan(demo), expected, in_order=False)


def test_tables_found_by_the_names_of_excel_tables(demo, expected):
    """Shifts and breaks on one sheet, each an Excel table with a totals row below."""

    def edit(book):
        sheet = book.create_sheet("Line times")
        at = 3
        for name in ("Shifts", "Breaks"):
            old = book[name]
            rows = [[cell.value for cell in row] for row in old.iter_rows(min_row=HEADER_ROW)]
            formats = [cell.number_format for cell in old[FIRST]]
            sheet.cell(at - 1, 4, f"the {name.lower()}")
            for number, row in enumerate(rows):
                for place, value in enumerate(row):
                    cell = sheet.cell(at + number, 4 + place, value)
                    cell.number_format = formats[place] if number else "General"
            last = at + len(rows)
            sheet.cell(last, 4, "Total")
            sheet.cell(last, 5, 0.5)
            table = ExcelTable(displayName=name.upper(), name=name.upper(), ref=f"D{at}:F{last}")
            table.totalsRowCount = 1
            del book[name]
            sheet.add_table(table)
            at = last + 4

    change(demo, edit)
    tables = read_tables(demo)
    assert tables["Breaks"].sheet == "Line times"
    assert tables["Breaks"].cell(0, 1) == "Line times!E11"  # 3 + 3 rows + total + 4, by hand
    assert_same(load_plan(demo), expected)


def test_rows_typed_below_an_excel_table_are_read(demo):
    def edit(book):
        sheet = book["Builds"]
        last = sheet.max_row
        for column, value in enumerate((datetime.date(2026, 3, 16), "Early", "Drive box", 30), 1):
            sheet.cell(last + 2, column, value)  # after a blank row

    plan, problems = check_plan(change(demo, edit))
    assert problems == []
    assert len(plan.builds) == 51
    assert plan.builds[-1].at == f"Builds!A{FIRST + 51}"


def test_sheet_names_in_any_case(demo, expected):
    def edit(book):
        book["Materials"].title = "MATERIALS "
        book["Beads"].title = "other"
        book["other"].title = "beads"

    change(demo, edit)
    tables = read_tables(demo)
    assert tables["Beads"].cell(0, 0) == f"beads!A{FIRST}"
    plan, problems = check_plan(demo)
    assert problems == []
    assert_same(plan, expected)


def test_numbers_as_texts_and_texts_with_units(demo, expected):
    def edit(book):
        sheet = book["Beads"]
        sheet.cell(FIRST, column_of(sheet, "Width"), "0.002 m")
        sheet.cell(FIRST, column_of(sheet, "Bond line"), "0.25")
        sheet.cell(FIRST + 1, column_of(sheet, "Length"), "61 106/254 in")  # 61·25.4 + 10.6 mm = 1560 mm
        sheet = book["Shifts"]
        sheet.cell(FIRST, column_of(sheet, "Start"), "06:00")
        sheet.cell(FIRST, column_of(sheet, "End"), 14 / 24)
        sheet = book["Builds"]
        sheet.cell(FIRST, column_of(sheet, "Date"), "2026-03-02")

    assert_same(load_plan(change(demo, edit)), expected)


def test_hours_after_midnight(demo):
    """22:00 to 30:00 written as spans; also as a spreadsheet keeps it with an hh:mm format."""

    def edit(book):
        sheet = book["Shifts"]
        for row, style in ((FIRST + 2, "[hh]:mm"), (FIRST + 3, "hh:mm")):
            sheet.cell(row, 1, f"Night {row}")
            sheet.cell(row, 2, 22 / 24).number_format = style
            sheet.cell(row, 3, 30 / 24).number_format = style

    shifts = load_plan(change(demo, edit)).shifts
    assert [(row.start, row.end) for row in shifts[2:]] == [(79200.0, 108000.0)] * 2


# --------------------------------------------------------------------------- what a file may hold


def test_dimensions_that_lie(demo, expected):
    for name in ("Builds", "Materials"):
        part = sheet_part(demo, name)
        rewrite_part(
            demo, part, lambda text: re.sub(r'<dimension ref="[^"]*"', '<dimension ref="A1:XFD1048576"', text)
        )
    start = time.perf_counter()
    assert_same(load_plan(demo), expected)
    assert time.perf_counter() - start < 10.0


def test_an_empty_last_row_of_the_sheet_does_no_harm(demo, expected):
    rewrite_part(
        demo,
        sheet_part(demo, "Shifts"),
        lambda text: text.replace(
            "</sheetData>", '<row r="1048576"><c r="XFD1048576" s="1"/></row></sheetData>'
        ),
    )
    assert_same(load_plan(demo), expected)


def test_a_row_far_below_is_named(demo):
    rewrite_part(
        demo,
        sheet_part(demo, "Shifts"),
        lambda text: text.replace(
            "</sheetData>", '<row r="1048576"><c r="A1048576"><v>1</v></c></row></sheetData>'
        ),
    )
    with pytest.raises(InputError, match=r"Shifts!A200004: the table has more than 200000 rows"):
        read_tables(demo)
    assert check_plan(demo)[1][0].where == "Shifts!A200004"


def test_columns_far_right_are_named(demo):
    def edit(book):
        book["Shifts"].cell(HEADER_ROW, 300, "far")

    with pytest.raises(InputError, match=r"Shifts!KN3: the table reaches past column 200"):
        read_tables(change(demo, edit))


def test_formula_without_a_value_is_named_and_an_empty_text_is_blank(demo):
    def edit(book):
        book["Beads"].cell(FIRST, 5, "=1+1")  # openpyxl stores no value

    change(demo, edit)
    plan_tables = read_tables(demo)
    assert plan_tables["Beads"].columns[4][0] is MISSING_VALUE
    # the same cell with the value 2, and with an empty text as a spreadsheet stores it
    part = sheet_part(demo, "Beads")
    rewrite_part(
        demo,
        part,
        lambda text: re.sub(r'(<c r="E4"[^>]*>)<f>1\+1</f><v ?/?>(</v>)?', r"\1<f>1+1</f><v>2</v>", text),
    )
    assert read_tables(demo)["Beads"].columns[4][0] == 2
    rewrite_part(
        demo,
        part,
        lambda text: re.sub(
            r'<c r="E4"([^>]*)><f>1\+1</f><v>2</v>', r'<c r="E4"\1 t="str"><f>1+1</f><v></v>', text
        ),
    )
    assert read_tables(demo)["Beads"].columns[4][0] in (None, "")


def test_rows_that_hold_only_formulas_without_values_are_not_dropped(demo):
    def edit(book):
        sheet = book["Builds"]
        last = sheet.max_row
        for column in range(1, 5):
            sheet.cell(last + 1, column, f"={'ABCD'[column - 1]}{last}")

    _, problems = check_plan(change(demo, edit))
    assert [problem.where for problem in problems] == [f"Builds!{letter}54" for letter in "ABCD"]


@pytest.mark.parametrize(
    ("name", "make", "words"),
    [
        ("missing.xlsx", lambda path: None, "does not exist"),
        ("folder.xlsx", lambda path: path.mkdir(), "is a folder"),
        ("text.xlsx", lambda path: path.write_text("date,shift\n1,2\n"), "is not a workbook"),
        ("plan.csv", lambda path: path.write_text("date;shift\n"), "is not a workbook"),
        ("empty.xlsx", lambda path: path.write_bytes(b""), "is not a workbook"),
        (
            "old.xls",
            lambda path: path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600),
            "is an old .xls workbook",
        ),
        (
            "locked.xlsx",
            lambda path: path.write_bytes(
                b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le")
            ),
            "protected by a password",
        ),
        (
            "plan.ods",
            lambda path: _zip(
                path, {"mimetype": "application/vnd.oasis.opendocument", "content.xml": "<a/>"}
            ),
            "not a workbook",
        ),
    ],
)
def test_files_that_are_no_workbook_give_one_line(tmp_path, name, make, words):
    path = tmp_path / name
    make(path)
    with pytest.raises(FileError) as caught:
        check_plan(path)
    assert len(caught.value.problems) == 1
    assert words in str(caught.value) and "\n" not in str(caught.value)


def _zip(path: Path, parts: dict[str, str]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)


def test_a_workbook_cut_short_gives_one_line(tmp_path, demo_bytes):
    for share in (0.3, 0.9, 0.999):
        path = tmp_path / "cut.xlsx"
        path.write_bytes(demo_bytes[: int(len(demo_bytes) * share)])
        with pytest.raises(FileError) as caught:
            check_plan(path)
        assert "\n" not in str(caught.value)


def test_a_damaged_sheet_gives_one_line(demo):
    part = sheet_part(demo, "Builds")
    rewrite_part(demo, part, lambda text: text[: len(text) // 2])
    with pytest.raises(FileError) as caught:
        check_plan(demo)
    assert "\n" not in str(caught.value) and "damaged" in str(caught.value)


def test_a_fault_of_the_program_is_not_laid_on_the_file(demo, monkeypatch):
    monkeypatch.setattr("dispense.plan.read.GUIDES", None)
    with pytest.raises(TypeError):
        check_plan(demo)


# -------------------------------------------------------------------------------------- writing


def test_the_same_rows_give_the_same_bytes_in_another_process(demo_bytes):
    code = (
        "import sys, time; from dispense.plan.demo import DEMO;"
        "from dispense.books.plan import plan_bytes;"
        "sys.stdout.buffer.write(plan_bytes(DEMO))"
    )
    root = str(Path(__file__).parent.parent)
    for seed, zone in (("1", "Pacific/Auckland"), ("77", "America/New_York")):
        other = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            check=True,
            cwd=root,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "PYTHONPATH": root},
        )
        assert other.stdout == demo_bytes
    with zipfile.ZipFile(io.BytesIO(demo_bytes)) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = archive.read("docProps/core.xml").decode()
    assert re.findall(r"\d{4}-\d\d-\d\dT", core) == ["2000-01-01T", "2000-01-01T"]


def test_an_existing_file_is_not_written_over(tmp_path):
    path = tmp_path / "plan.xlsx"
    path.write_text("mine")
    with pytest.raises(FileError, match="choose another name"):
        new_plan(path, demo=True)
    assert path.read_text() == "mine"
    assert [item.name for item in tmp_path.iterdir()] == ["plan.xlsx"]


def test_other_suffixes_and_missing_folders_are_refused(tmp_path):
    with pytest.raises(FileError, match=r"ends in \.xlsx"):
        new_plan(tmp_path / "plan.xls")
    with pytest.raises(FileError, match="folder"):
        new_plan(tmp_path / "nowhere" / "plan.xlsx")


def test_an_empty_plan_has_a_blank_row_ready_and_only_missing_rows_are_wrong(tmp_path):
    path = new_plan(tmp_path / "plan.xlsx")
    _, problems = check_plan(path)
    assert sorted(str(problem).split(" (")[0] for problem in problems) == sorted(
        f"{table.name}!A1: table {table.name} has no rows" for table in TABLES if table.required
    )
    book = load_workbook(path)
    for table in TABLES:
        last = book[table.name].tables[table.name].ref.split(":")[1]
        assert last.endswith(str(FIRST)) and book[table.name].cell(FIRST, 1).fill.fgColor.rgb


def test_texts_are_never_formulas(tmp_path):
    rows = {**DEMO, "Parts": [{**row, "description": "=1+1"} for row in DEMO["Parts"]]}
    path = write_plan(rows, tmp_path / "plan.xlsx")
    cell = load_workbook(path)["Parts"].cell(FIRST, 2)
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    assert load_plan(path).parts[0].description == "=1+1"


def test_strange_columns_and_control_characters_are_refused(tmp_path):
    with pytest.raises(InputError) as caught:
        write_plan({"Parts": [{"part": "x", "colour": "red"}], "Part": []}, tmp_path / "a.xlsx")
    assert len(caught.value.problems) == 2
    with pytest.raises(InputError, match=r"Parts!A4.*control characters"):
        write_plan({"Parts": [{"part": "x\x07"}]}, tmp_path / "a.xlsx")
    assert not list(tmp_path.iterdir())


def test_headers_notes_and_lists_come_from_the_declarations(demo):
    book = load_workbook(demo)
    sheets = [name for table in TABLES for name in (table.name, table.form) if name]
    assert book.sheetnames == ["Start", "Settings", *sheets]
    for table in TABLES:
        sheet = book[table.name]
        assert [cell.value for cell in sheet[HEADER_ROW]] == [item.title for item in table.columns]
        lists = {}
        for check in sheet.data_validations.dataValidation:
            if check.type == "list":
                first = str(check.sqref).split(":")[0].rstrip("0123456789")
                lists[first] = check.formula1
        for cell, item in zip(sheet[HEADER_ROW], table.columns, strict=True):
            note = cell.comment.text
            assert item.help[1:] in note
            assert ("Must be filled in" in note) == item.is_required
            if item.refers:
                assert lists[cell.column_letter] in book.defined_names
                assert item.refers in note
            elif item.choices:
                assert lists[cell.column_letter] == '"' + ",".join(item.choices) + '"'
                assert len(lists[cell.column_letter]) <= 257  # the most a list may hold
        setup = sheet.page_setup
        assert (setup.orientation, setup.paperSize) == ("landscape", 9)  # 9: A4
        is_wide = len(table.topics) > 1
        assert sheet.print_title_rows == f"${2 if is_wide else HEADER_ROW}:${HEADER_ROW}"
        assert sheet.freeze_panes == f"B{FIRST}"
        assert bool(sheet.sheet_properties.tabColor) == table.required
    names = [book["Settings"].cell(row, 1).value for row in range(FIRST, FIRST + len(SETTINGS))]
    assert names == [item.title for item in SETTINGS]


def test_start_sheet_says_how_and_cautions(demo):
    sheet = load_workbook(demo)["Start"]
    text = "\n".join(str(cell.value) for row in sheet for cell in row if cell.value is not None)
    numbered = [row for row in range(1, sheet.max_row + 1) if isinstance(sheet.cell(row, 1).value, int)]
    assert len(numbered) == 11
    for word in (
        "safety data sheet",
        "local codes",
        "licensed practice",
        "heat",
        "Amine",
        "Isocyanates",
        "Light",
        "Ovens",
        "Charged modules",
    ):
        assert word in text
    assert "`" not in text
    links = {cell.value: cell.hyperlink.location for row in sheet for cell in row if cell.hyperlink}
    forms = {table.form: f"'{table.form}'!A1" for table in TABLES if table.form}
    tables = {name: f"{name}!A1" for name in ("Settings", *(table.name for table in TABLES))}
    assert links == {**tables, **forms}


# ------------------------------------------------------------------------------------ LibreOffice


def libreoffice_copy(path: Path, folder: Path, kind: str = "xlsx") -> Path:
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    out = folder / "saved"
    subprocess.run(
        [
            shutil.which("soffice"),
            profile,
            "--headless",
            "--convert-to",
            kind,
            "--outdir",
            str(out),
            str(path),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    return out / f"{path.stem}.{kind.split(':')[0]}"


@pytest.mark.libreoffice
def test_a_copy_saved_by_libreoffice_reads_the_same(demo, tmp_path, expected):
    def edit(book):
        sheet = book["Shifts"]
        sheet.cell(FIRST + 2, 1, "Night")
        sheet.cell(FIRST + 2, 2, 22 / 24).number_format = "[hh]:mm"
        sheet.cell(FIRST + 2, 3, 30 / 24).number_format = "[hh]:mm"
        sheet = book["Beads"]
        sheet.cell(FIRST, column_of(sheet, "Width"), "=4/2")  # computed by LibreOffice

    plan = load_plan(libreoffice_copy(change(demo, edit), tmp_path))
    night = plan.shifts.pop()
    assert (night.shift, night.start, night.end) == ("Night", 79200.0, 108000.0)
    assert_same(plan, expected)


@pytest.mark.libreoffice
def test_drop_down_lists_reach_the_filled_rows_only(demo, tmp_path):
    """LibreOffice counts the cells of each named list: as many as the table has rows."""

    def edit(book):
        sheet = book.create_sheet("Counts")
        for row, name in enumerate(sorted(book.defined_names), 1):
            sheet.cell(row, 1, name)
            sheet.cell(row, 2, f"=ROWS({name})")

    saved = libreoffice_copy(change(demo, edit), tmp_path)
    counts = load_workbook(saved, data_only=True)["Counts"]
    found = {row[0]: row[1] for row in counts.iter_rows(values_only=True)}
    names = {table.name.lower(): table.name for table in TABLES}
    assert found == {key: len(DEMO[names[key.removeprefix("list_")]]) for key in found}
    assert len(found) >= 5


# -------------------------------------------------------------------------------------------- size


def large_plan(path: Path, count: int = 20_000) -> Path:
    """The demo with that many rows of builds, written by openpyxl alone."""
    start = datetime.date(2026, 1, 1)
    rows = [
        {
            "date": start + datetime.timedelta(days=place // 40),
            "shift": ("Early", "Late")[place % 2],
            "part": ("Drive box", "Tug pack 9", "Tug pack 7")[place % 3],
            "quantity": place % 97,
        }
        for place in range(count)
    ]
    stock = [{**row, "expiry": datetime.date(2030, 1, 1)} for row in DEMO["Stock"]]
    return write_plan({**DEMO, "Builds": rows, "Stock": stock}, path)


def test_twenty_thousand_builds(tmp_path):
    plan, problems = check_plan(large_plan(tmp_path / "large.xlsx"))
    assert problems == []
    assert len(plan.builds) == 20_000


def test_a_workbook_without_any_table_names_what_is_missing(tmp_path):
    book = Workbook()
    book.active.title = "Notes"
    book.active["A1"] = "nothing"
    book.save(tmp_path / "plan.xlsx")
    _, problems = check_plan(tmp_path / "plan.xlsx")
    assert [str(problem).split(" (")[0] for problem in problems] == [
        f"{table.name}!A1: table {table.name} is missing" for table in TABLES if table.required
    ]
