"""What is read standing comes out at 9 points or more, on one page, and each page says whose it is.

Reckoned here from the cells alone: widths and heights by ECMA-376 part 1 (18.3.1.13, 18.3.1.73), papers by
ISO 216 and ANSI Y14.1. That 9 points can be read standing is common practice, no source.
"""

from __future__ import annotations

import datetime
import math
import re
import subprocess
from pathlib import Path
from shutil import which

import openpyxl
import pytest
from openpyxl.utils import range_boundaries

from dispense.books.pages import text_lines, text_width
from dispense.books.plan import new_plan
from dispense.jobs.fill import Templates, fill, template_folder
from dispense.sheets.catalogue import SPECS
from dispense.sheets.spec import Content

PAPERS = {"1": (8.5, 11.0), "9": (210.0 / 25.4, 297.0 / 25.4)}  # inches: Letter, A4
LEAST = 9.0  # points
STATIONS = ["Hem robot", "Block potting", "Gasket robot", "Carrier bead"]


@pytest.fixture(scope="module")
def plan(tmp_path_factory) -> Path:
    return new_plan(tmp_path_factory.mktemp("legible") / "plan.xlsx", demo=True)


def filled(plan: Path, out: Path, **options) -> list[Path]:
    """The busiest shift of the demo's first day."""
    chosen = {"date": "2026-03-02", "shift": "Late", "stations": STATIONS, "stamp": "2026-03-01 12:00"}
    return [path for path in fill(plan, out, **(chosen | options)).files if path.name != "results.xlsx"]


def printed_cells(sheet):
    """The cells of a worksheet that are printed and not hidden."""
    area = str(sheet.print_area or sheet.dimensions).rpartition("!")[2].replace("$", "")
    left, top, right, bottom = range_boundaries(area)
    hidden = {
        place
        for item in sheet.column_dimensions.values()
        if item.hidden
        for place in range(item.min, item.max + 1)
    }
    for row in sheet.iter_rows(top, bottom, left, right):
        if not sheet.row_dimensions[row[0].row].hidden:
            yield [cell for cell in row if cell.column not in hidden]


def on_paper(sheet) -> tuple[float, float, float]:
    """Scale that the width asks for, the one that the height asks for, and the smallest type [pt]."""
    wide, high = PAPERS[str(sheet.page_setup.paperSize)]
    if sheet.page_setup.orientation == "landscape":
        wide, high = high, wide
    margins = sheet.page_margins
    wide, high = wide - margins.left - margins.right, high - margins.top - margins.bottom
    rows = list(printed_cells(sheet))
    widths = {
        place: item.width
        for item in sheet.column_dimensions.values()
        for place in range(item.min, item.max + 1)
    }
    across = sum(math.trunc((256 * widths[cell.column] + 18) / 256 * 7) for cell in rows[0]) / 96.0
    down = sum(sheet.row_dimensions[row[0].row].height or 15.0 for row in rows) / 72.0
    smallest = min(cell.font.sz for row in rows for cell in row if cell.value not in (None, ""))
    return min(1.0, wide / across), high / down, smallest


@pytest.mark.parametrize(("language", "paper"), [("en", "A4"), ("de", "Letter"), ("es", "Letter")])
def test_what_is_read_standing_is_large_enough_and_on_one_page(plan, tmp_path, language, paper):
    kinds = set()
    for path in filled(plan, tmp_path, language=language, paper=paper):
        sheet = openpyxl.load_workbook(path).worksheets[0]
        by_width, by_height, smallest = on_paper(sheet)
        assert sheet.page_setup.fitToWidth == 1 and sheet.page_setup.fitToHeight == 1, path.name
        assert smallest * min(by_width, by_height) >= LEAST, (path.name, by_width, by_height)
        kinds.add(path.stem.rpartition("_")[2])
    assert kinds == {"material", "board", "check", "setup", "staging"}


def test_every_page_names_sheet_station_day_and_shift(plan, tmp_path):
    seen = 0
    for path in filled(plan, tmp_path):
        for sheet in openpyxl.load_workbook(path).worksheets:
            header = sheet.oddHeader
            assert header.left.text and re.search(r"&\[?P.*&\[?N", header.right.text)
            whose = header.center.text
            station = path.stem.rpartition("_")[0].replace("_cure", "").replace("_shot", "").replace("_", " ")
            assert station in whose
            if path.parent.name != "setup":
                assert "Mon 2026-03-02" in whose and "Late" in whose
            seen += 1
    assert seen > 20


def test_a_list_that_goes_on_has_its_head_on_the_next_page(tmp_path):
    """Too many events for one page: the type stays, and the header of the list is repeated."""
    spec = SPECS["shift_material"]
    day = datetime.datetime(2026, 3, 2, 6)
    times = [
        {"time": day + datetime.timedelta(minutes=5 * place), "event": "purge", "action": "purge 20.0 mL"}
        for place in range(110)
    ]
    content = Content(
        spec,
        {"day": day.date(), "shift": "Early", "station": "Hem", "headline": "Bring"},
        {"MaterialTimes": times},
    )
    templates = Templates({spec.key: template_folder() / spec.file}, "A4", "now")
    templates.fill(content, tmp_path / "long.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "long.xlsx")["Times"]
    by_width, by_height, smallest = on_paper(sheet)
    assert by_height < 0.5 and sheet.page_setup.fitToHeight == 0 and by_width * smallest >= LEAST
    first, last = map(int, sheet.print_title_rows.replace("$", "").split(":"))
    assert first == last == range_boundaries(sheet.tables["MaterialTimes"].ref)[1]


def test_what_is_dead_on_paper_is_not_on_the_first_page(plan, tmp_path):
    paths = {path.stem.rpartition("_")[2]: path for path in filled(plan, tmp_path, stations=["Hem robot"])}
    material, board = (openpyxl.load_workbook(paths[name]) for name in ("material", "board"))
    assert "MaterialMore" in material["What if"].tables and "MaterialMore" not in material["Times"].tables
    sheet = board["Board"]
    texts = {str(cell.value) for row in printed_cells(sheet) for cell in row}
    assert "State" not in texts and "State" in {cell.value for row in sheet.iter_rows() for cell in row}


def test_a_one_part_station_has_no_columns_of_b_and_no_empty_fields(plan, tmp_path):
    paths = {path.parent.name + path.stem: path for path in filled(plan, tmp_path)}
    texts = {}
    for station in ("Gasket_robot", "Hem_robot"):
        sheet = openpyxl.load_workbook(paths[f"setup{station}_setup"])["Setup"]
        texts[station] = {str(cell.value) for row in printed_cells(sheet) for cell in row}
    both = {"Mass B [g]", "Flow B [mL/s]"}
    assert both <= texts["Hem_robot"] and not both & texts["Gasket_robot"]
    for station, shown in texts.items():
        book = openpyxl.load_workbook(paths[f"setup{station}_setup"])
        sheet = book["Setup"]
        place = book.defined_names["purge_volume"].attr_text.rpartition("!")[2].replace("$", "")
        assert (sheet[place].value is None) == ("Purge volume [mL]" not in shown), station


def test_what_no_row_fills_is_left_out_of_a_table(plan, tmp_path):
    """The demo's dots are not mated, of one part; the hem is mated, of two; the pots wait for shot 2."""
    paths = {path.stem: path for path in filled(plan, tmp_path, stations=[*STATIONS, "Dot station"])}

    def heads(stem: str, table: str) -> set[str]:
        book = openpyxl.load_workbook(paths[stem])
        sheet = next(sheet for sheet in book if table in sheet.tables)
        _, top, _, _ = range_boundaries(sheet.tables[table].ref)
        listed = [column.name for column in sheet.tables[table].tableColumns]
        assert [cell.value for cell in sheet[sheet.tables[table].ref][0]] == listed
        shown = {cell.value for row in printed_cells(sheet) for cell in row if cell.row == top}
        assert all(cell.value is None for cell in sheet[top] if cell.column > len(listed))
        return shown - {None}

    mated = {"Tightest part", "Mate by"}
    assert mated <= heads("Hem_robot_cure_board", "CureBatches")
    for stem, table in (
        ("Carrier_bead_cure_board", "CureBatches"),
        ("Dot_station_lamp_board", "LampBatches"),
    ):
        assert not (mated | {"Note"} - {"Note" if table == "CureBatches" else ""}) & heads(stem, table)
        sheet = openpyxl.load_workbook(paths[stem]).worksheets[0]
        assert not any("mate by" in str(cell.value) for row in printed_cells(sheet) for cell in row)
    apart = {"A alone [g]", "B alone [g]", "B per 100 A"}
    assert apart <= heads("Hem_robot_shot_check", "CheckShots")
    assert not apart & heads("Dot_station_shot_check", "CheckShots")
    for station in ("Dot_station", "Gasket_robot"):
        sheet = openpyxl.load_workbook(paths[f"{station}_shot_check"]).worksheets[0]
        words = " ".join(str(cell.value) for row in printed_cells(sheet) for cell in row if cell.value)
        assert "100 A" not in words and "A and B" not in words and "Mass A" not in words
    states = {
        stem: openpyxl.load_workbook(paths[f"{stem}_material"])["Later shots"].sheet_state
        for stem in ("Block_potting", "Hem_robot")
    }
    assert states == {"Block_potting": "visible", "Hem_robot": "hidden"}


def test_events_that_want_a_hand_stand_in_bold(plan, tmp_path):
    path = next(path for path in filled(plan, tmp_path) if path.name == "Block_potting_material.xlsx")
    sheet = openpyxl.load_workbook(path)["Times"]
    rules = [
        (area, rule)
        for area, found in sheet.conditional_formatting._cf_rules.items()
        for rule in found
        if rule.dxf and rule.dxf.font and rule.dxf.font.b and rule.formula[0].startswith("OR($F")
    ]
    assert len(rules) == 1
    named = set(re.findall(r'"(\w+)"', rules[0][1].formula[0]))
    assert {"purge", "mixer", "container", "off"} <= named and not {"break", "window", "check"} & named
    _, top, _, bottom = range_boundaries(sheet.tables["MaterialTimes"].ref)
    assert range_boundaries(str(rules[0][0].sqref))[1::2] == (top + 1, bottom)


@pytest.mark.libreoffice
@pytest.mark.skipif(which("soffice") is None, reason="LibreOffice is not installed")
def test_after_midnight_the_first_time_tells_its_date_and_what_is_done_by_hand_stays_bold(tmp_path):
    """As LibreOffice prints it: times of a night shift, a date once, bold type in the fonts of the page."""
    spec = SPECS["shift_material"]
    day = datetime.datetime(2026, 3, 2, 22)
    times = [
        {"time": day + datetime.timedelta(minutes=50 * place), "event": kind, "action": f"what {place}"}
        for place, kind in enumerate(["purge", "break", "break", "purge", "break", "purge"])
    ]
    head = {"day": day.date(), "shift": "Night", "station": "Hem", "headline": "Bring"}
    templates = Templates({spec.key: template_folder() / spec.file}, "A4", "now")
    templates.fill(Content(spec, head, {"MaterialTimes": times}), tmp_path / "night.xlsx")
    command = ["soffice", f"-env:UserInstallation=file://{tmp_path / 'profile'}", "--headless"]
    command += ["--convert-to", "pdf", "--outdir", str(tmp_path), str(tmp_path / "night.xlsx")]
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    asked = ["pdftohtml", "-f", "1", "-l", "1", "-xml", "-i", "-stdout", str(tmp_path / "night.pdf")]
    page = subprocess.run(asked, check=True, capture_output=True, text=True).stdout
    shown = re.findall(r">(<b>)?(?:Tue 3 Mar )?(\d\d:\d\d)(?:</b>)?<", page)
    assert [clock for _, clock in shown][-6:] == ["22:00", "22:50", "23:40", "00:30", "01:20", "02:10"]
    assert [bool(bold) for bold, _ in shown][-6:] == [True, False, False, True, False, True]
    assert page.count("Tue 3 Mar") == 1 and "Tue 3 Mar 00:30" in page


def test_width_of_a_text_by_hand():
    """Advance widths of Calibri, from memory: a digit 1038 and a blank 463 of 2048 units to the em."""
    assert text_width("0000", 10.0, bold=False) == pytest.approx(4 * 10 * 1038 / 2048, rel=0.01)
    assert text_width(" ", 2048.0, bold=False) == pytest.approx(463, rel=0.01)
    # 10 digits of 10 pt are 51 pt; a column of 10 characters has 70 pixels, 52 pt
    assert text_lines("0000000000", 10.0, 10.0, bold=False) == 1
    assert text_lines("00000 00000", 10.0, 10.0, bold=False) == 2


@pytest.mark.libreoffice
@pytest.mark.skipif(which("soffice") is None, reason="LibreOffice is not installed")
def test_libreoffice_prints_the_first_worksheet_on_one_page(plan, tmp_path):
    """Pages of the PDF: one for each worksheet that is shown."""
    chosen = [
        path
        for path in filled(plan, tmp_path / "out", stations=["Block potting"])
        if path.stem.endswith(("material", "board", "setup"))
    ]
    command = ["soffice", f"-env:UserInstallation=file://{tmp_path / 'profile'}", "--headless"]
    command += ["--convert-to", "pdf", "--outdir", str(tmp_path), *map(str, chosen)]
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    for path in chosen:
        pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / f"{path.stem}.pdf").read_bytes()))
        shown = [sheet for sheet in openpyxl.load_workbook(path).worksheets if sheet.sheet_state == "visible"]
        assert pages == len(shown), path.name
