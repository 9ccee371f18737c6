"""What a sheet prints: litres from 10 L, blanks that keep a unit with its number, pages that cut no picture.

Reckoned here from the cells and from ECMA-376 part 1 (18.3.1.13, 18.3.1.63, 18.3.1.73). That a volume is told
in litres from 10 L on is common practice, no source; the US gallon is 231 in³ (NIST SP 811, from memory).
"""

from __future__ import annotations

import datetime
import re
import subprocess
from shutil import which

import openpyxl
import pytest
from floor import place_of, type_in
from openpyxl.utils import column_index_from_string, get_column_letter

from dispense.base.language import printed_in, translated
from dispense.base.measures import Measures, measured_in, spaced
from dispense.base.picture import Picture
from dispense.base.terminal import folded, table
from dispense.books.plan import new_plan
from dispense.jobs.book import book_files
from dispense.jobs.fill import Templates, fill, template_folder
from dispense.sheets.catalogue import SPECS
from dispense.sheets.spec import Content, in_language
from dispense.xlsx.package import Package
from dispense.xlsx.typed import typed_cells

DAY = datetime.date(2026, 3, 2)
GALLON = 231 * 2.54**3 / 1000.0  # L
NARROW = "\u202f"  # Unicode: NARROW NO-BREAK SPACE
LETTER_HIGH = 8.5 * 72.0  # points of a landscape page
LETTER_WIDE, A4_WIDE = 11.0 * 72.0, 297.0 / 25.4 * 72.0
#: points of a digit of Calibri 11, by which columns are wide: its advance is 1038 of 2048 units (read from
#: the outlines of Carlito, which are as wide); 18.3.1.13 rounds it to 7 pixels, LibreOffice does not
DIGIT = 1038 / 2048 * 11.0
MATED = {"tightest_part": 3, "mate_before": datetime.datetime(2026, 3, 2, 8)}


def filled(content: Content, path, paper: str = "Letter"):
    spec = SPECS[content.spec.key]
    templates = Templates({spec.key: template_folder() / spec.file}, paper, "now")
    templates.fill(in_language(content), path)
    return openpyxl.load_workbook(path)


def staging(volume: float) -> Content:
    """A container of a paste, another of so many mL."""
    rows = [
        {"station": name, "material": "paste", "component": "A", "containers": 1, "container": f"{each:g} mL"}
        | {"volume": each, "mass": 1.0, "lots": "L1"}
        for name, each in (("Hem 450 mm", 310.0), ("Pot", volume))
    ]
    head = {"day": DAY, "shift": "Early", "headline": "2 containers to bring"}
    return Content(SPECS["staging"], head, {"StagingContainers": rows})


def columns(sheet, name: str) -> dict[str, list]:
    head, *rows = sheet[sheet.tables[name].ref]
    return {cell.value: [row[place].value for row in rows] for place, cell in enumerate(head)}


def test_a_table_is_in_litres_from_ten_on(tmp_path):
    small = columns(filled(staging(9_999.0), tmp_path / "small.xlsx")["Staging"], "StagingContainers")
    large = columns(filled(staging(10_000.0), tmp_path / "large.xlsx")["Staging"], "StagingContainers")
    assert small["Volume [mL]"] == [310.0, 9_999.0]
    assert large["Volume [L]"] == pytest.approx([0.310, 10.0]) and not any("mL" in head for head in large)
    assert large["Station"] == ["Hem 450 mm", "Pot"]


def test_litres_follow_the_units_of_the_plant_too(tmp_path):
    with measured_in(Measures(("fl oz",))):
        large = columns(filled(staging(20_000.0), tmp_path / "large.xlsx")["Staging"], "StagingContainers")
        small = columns(filled(staging(5_000.0), tmp_path / "small.xlsx")["Staging"], "StagingContainers")
        assert large["Volume [gal]"][1] == pytest.approx(20.0 / GALLON)
        assert small["Volume [fl oz]"][1] == pytest.approx(5.0 / GALLON * 128)
        # a sentence has the unit that suits: 3.785412 L are a gallon, 128 fl oz as well (NIST SP 811)
        assert translated("1 × 5 L") == "1 × 1.32 gal" and translated("1 × 20 L") == "1 × 5.28 gal"
        assert translated("1 × 3 L") == "1 × 101 fl oz"


def test_a_plants_own_template_keeps_its_unit(tmp_path):
    own = tmp_path / "staging.xlsx"
    own.write_bytes((template_folder() / "staging.xlsx").read_bytes())
    templates = Templates({"staging": own}, "A4", "now")
    templates.fill(staging(20_000.0), tmp_path / "filled.xlsx")
    found = columns(openpyxl.load_workbook(tmp_path / "filled.xlsx")["Staging"], "StagingContainers")
    assert found["Volume [mL]"] == [310.0, 20_000.0]


def test_what_is_typed_into_a_column_of_litres_is_booked_as_such(tmp_path):
    """The drums of the demo hold 200 L: a hand-over tells them in litres, and 150 typed there are 150 L."""
    plan = new_plan(tmp_path / "plan.xlsx", demo=True)
    fill(plan, tmp_path / "out", date=DAY.isoformat(), shift="Early", stations=["Block potting"])
    (path,) = (tmp_path / "out").glob("*/Block_potting_material.xlsx")
    sheet = openpyxl.load_workbook(path)["Handover"]
    found = columns(sheet, "MaterialHandover")
    row = found["Way"].index("handed over")
    assert 100.0 < found["Volume [L]"][row] < 300.0
    use = columns(openpyxl.load_workbook(path)["Material"], "MaterialUse")
    for opening, mounted, drawn, left in zip(
        *(use[f"{name} [L]"] for name in ("Opening", "Connected", "Used", "Left at end")), strict=True
    ):
        assert opening + mounted - drawn - left == pytest.approx(0.0, abs=1e-9)
    place_of(path, "MaterialHandover", "Volume")
    type_in(path, "MaterialHandover", "Volume", [None] * row + [150.0])
    report = book_files(plan, [path], stamp="2026-03-02 14:10", dry_run=True)
    (entry,) = report.files[0].reading.entries
    assert entry.unit == "mL" and 150_000.0 <= entry.value < 160_000.0  # and what its follower plate keeps


def test_a_unit_keeps_to_its_number_and_names_stay(tmp_path):
    assert spaced("purge 12.5 mL by 06:30, 2 in stock") == f"purge 12.5{NARROW}mL by 06:30, 2 in stock"
    with printed_in("de"):
        assert spaced(translated("purge 110.0 mL at 60% of the pot life")).startswith(f"110,0{NARROW}mL")
    rows = [{"time": datetime.datetime(2026, 3, 2, 6), "event": "purge", "action": "purge 20.0 mL"}]
    head = {"day": DAY, "shift": "Early", "station": "Hem 450 mm", "headline": "Bring 1 × A (310 mL)"}
    path = tmp_path / "material.xlsx"
    book = filled(Content(SPECS["shift_material"], head, {"MaterialTimes": rows}), path)
    texts = {str(cell.value) for row in book["Times"].iter_rows() for cell in row}
    assert {f"purge 20.0{NARROW}mL", f"Bring 1 × A (310{NARROW}mL)", "Hem 450 mm"} <= texts

    # who types a text anew with a plain blank has changed nothing
    sheet = book["Times"]
    (cell,) = [cell for row in sheet.iter_rows() for cell in row if str(cell.value).startswith("purge 20.0")]
    before = {item.address for item in typed_cells(Package.open(path))}
    type_in(path, "MaterialTimes", "Action", ["purge 20.0 mL"])
    assert {item.address for item in typed_cells(Package.open(path))} == before
    type_in(path, "MaterialTimes", "Action", ["purge 21.0 mL"])
    assert {item.address for item in typed_cells(Package.open(path))} == before | {cell.coordinate}


def board(count: int, note: str = "", **more) -> Content:
    begun = datetime.datetime(2026, 3, 2, 6)
    rows = [
        {"batch": place, "part": "lid", "part_numbers": f"{place}", "ended": begun, "move": begun}
        | {"join": begun, "test": begun, "note": note, "begun": begun, **more}
        for place in range(1, count + 1)
    ]
    head = {
        "day": DAY,
        "shift": "Early",
        "station": "Hem",
        "headline": "Batch 1",
        "cautions": "Gloves. " * 40,
    }
    bars = Picture(229.0, 32.0, "bars", "what they say")
    return Content(SPECS["cure_board"], head, {"CureBatches": rows}, {"cure_bars": bars})


def test_bars_and_cautions_of_many_batches_stand_whole_on_the_next_page(tmp_path):
    book = filled(board(20), tmp_path / "board.xlsx")
    sheet = book["Board"]
    (first,) = [item.id + 1 for item in sheet.row_breaks.brk]
    assert sheet.cell(first, 1).value == "Cure of the batches"
    # a spreadsheet that fits a sheet to its paper need not heed a break
    assert not sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.page_setup.scale
    assert not sheet.print_title_rows  # no list goes on: no head without rows
    bottom = int(re.search(r"(\d+)$", sheet.print_area)[1])

    def high(rows) -> float:
        shown = [row for row in rows if not sheet.row_dimensions[row].hidden]
        return sum(sheet.row_dimensions[row].height or 15.0 for row in shown) * sheet.page_setup.scale / 100

    room = LETTER_HIGH - 72.0 * (sheet.page_margins.top + sheet.page_margins.bottom)
    assert high(range(1, first)) <= room and high(range(first, bottom + 1)) <= room < high(
        range(1, bottom + 1)
    )


def unrounded(sheet) -> float:
    """Points across the printed columns as LibreOffice has them."""
    last = column_index_from_string(re.search(r"([A-Z]+)\$?\d+$", sheet.print_area)[1])
    sizes = (sheet.column_dimensions[get_column_letter(place)] for place in range(1, last + 1))
    return DIGIT * sum(size.width for size in sizes if not size.hidden)


@pytest.mark.parametrize(("paper", "wide"), [("Letter", LETTER_WIDE), ("A4", A4_WIDE)])
def test_a_board_that_is_scaled_by_hand_is_not_too_wide_for_its_paper(tmp_path, paper, wide):
    sheet = filled(board(20, "a note", **MATED), tmp_path / "board.xlsx", paper)["Board"]
    assert sheet.row_breaks.brk and sheet.page_setup.scale
    room = wide - 72.0 * (sheet.page_margins.left + sheet.page_margins.right)
    assert 0.97 * room < unrounded(sheet) * sheet.page_setup.scale / 100 <= 0.995 * room


@pytest.mark.libreoffice
@pytest.mark.skipif(which("soffice") is None, reason="LibreOffice is not installed")
def test_libreoffice_prints_no_column_of_a_board_on_a_page_of_its_own(tmp_path):
    """Of a board with its chart on a second page, and a hand-over: three pages."""
    for paper in ("Letter", "A4"):
        filled(board(20, "a note", **MATED), tmp_path / f"{paper}.xlsx", paper)
    command = ["soffice", f"-env:UserInstallation=file://{tmp_path / 'profile'}", "--headless"]
    command += ["--convert-to", "pdf", "--outdir", str(tmp_path), *map(str, tmp_path.glob("*.xlsx"))]
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    for paper in ("Letter", "A4"):
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / f"{paper}.pdf").read_bytes())) == 3


def test_no_head_of_a_list_stands_on_a_page_without_rows_of_it(tmp_path):
    """A head is repeated only where the last row of the list is surely beyond the first page."""
    lists = {}
    for count in (24, 26, 27, 28, 29, 30, 31, 32):
        sheet = filled(board(count, **MATED), tmp_path / f"{count}.xlsx")["Board"]
        last = int(re.search(r"(\d+)$", sheet.tables["CureBatches"].ref)[1])
        rows = (row for row in range(1, last + 1) if not sheet.row_dimensions[row].hidden)
        high = sum(sheet.row_dimensions[row].height or 15.0 for row in rows)
        wide = LETTER_WIDE - 72.0 * (sheet.page_margins.left + sheet.page_margins.right)
        room = LETTER_HIGH - 72.0 * (sheet.page_margins.top + sheet.page_margins.bottom)
        scale = (sheet.page_setup.scale or 0) / 100 or wide / unrounded(sheet)
        lists[count] = bool(sheet.print_title_rows)
        if lists[count]:  # by more than rows come out lower in a spreadsheet than they are stated
            assert high * scale > 1.02 * room, count
        else:
            assert high * scale < room, count
    assert set(lists.values()) == {True, False}


def test_a_board_of_few_batches_has_no_break(tmp_path):
    sheet = filled(board(3), tmp_path / "board.xlsx")["Board"]
    assert not sheet.row_breaks.brk and sheet.page_setup.fitToHeight == 1


def test_a_note_takes_the_room_of_columns_that_are_left_out(tmp_path):
    """What tells when to mate is left out where nothing is mated: the note then stands in one line."""
    note = "oven profile Belt 150 from 07:23, out at 08:10"
    high = {}
    for name, content in (("with", board(4, note, **MATED)), ("without", board(4, note))):
        sheet = filled(content, tmp_path / f"{name}.xlsx")["Board"]
        top = int(re.match(r"[A-Z]+(\d+)", sheet.tables["CureBatches"].ref)[1])
        high[name] = sheet.row_dimensions[top + 1].height
    assert high["without"] < 20.0 < high["with"]


def test_one_temperature_is_one_figure():
    """18 °C are 64.4 °F, 28 °C are 82.4 °F, alone as in a range that was read."""
    with measured_in(Measures(("°F",))):
        assert translated("18 to 28 °C") == "64 to 82 °F" and translated("18 °C") == "64 °F"
        assert translated("13.2 to 14.5 g") == "13.2 to 14.5 g"


def test_a_symbol_keeps_its_letter_on_the_form_of_a_material(tmp_path):
    sheet = openpyxl.load_workbook(new_plan(tmp_path / "plan.xlsx", demo=True))["Material form"]
    meanings = [str(row[5].value) for row in sheet.iter_rows(min_row=6) if row[5].value]
    assert any(text.startswith("a of [") for text in meanings)
    assert not any(re.match(r"[AB] of ", text) for text in meanings)


HEADERS = ["station", "volume of the parts [mL]", "cost of waste [EUR]", "what is to be done"]
ROWS = [["hem robot", 1234.5, 81.5, "wait at least 45 min at 60 °C"], ["pot", 2.0, 7.0, "nothing"]]


@pytest.mark.parametrize("width", range(28, 90, 4))  # a column of texts keeps 16
def test_no_line_of_a_table_is_wider_than_the_terminal_and_nothing_is_lost(width):
    text = table(HEADERS, ROWS, width)
    assert max(map(len, text.splitlines())) <= width
    words = " ".join(text.split()).split()
    for row in [HEADERS, *ROWS]:
        for cell in row:
            for word in str(f"{cell:,g}" if isinstance(cell, float) else cell).split():
                assert word in words, (word, width)
    assert "45\n" not in re.sub(r" +\n", "\n", text)  # no unit leaves its number


def test_a_report_keeps_to_the_width_too():
    text = "\n- pot life extrapolated to 19 °C; stated from 23 °C on\n  and more of it, set in"
    for width in range(20, 70):
        lines = folded(text, width).split("\n")
        assert max(map(len, lines)) <= width and " ".join(folded(text, width).split()) == " ".join(
            text.split()
        )
        assert not any(line.rstrip().endswith(("19", "23")) for line in lines)
    assert folded(text) == text  # a pipe has no edge
