"""Templates filled: what is written, what moves, and that all else stays.

Expected places of rows are worked out by hand from what a spreadsheet does when rows are inserted
or deleted, by a plain list of rows, and by LibreOffice computing the filled file. Cell contents are
read back with openpyxl, which shares no code with the filler.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import random
import re
import subprocess
import sys
import warnings
import zipfile
from pathlib import Path
from shutil import which

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from make_template import content_types, full_template, link, rebuild, simple_template

from dispense.base.errors import DispenseError, Problem, TemplateError
from dispense.base.fields import CellError
from dispense.xlsx.content import encode
from dispense.xlsx.package import MAIN, Package, compare
from dispense.xlsx.rows import Band, References, RowMap, move_formula
from dispense.xlsx.stored import cache_values
from dispense.xlsx.templates import Template, fill_template

SHEET = "xl/worksheets/sheet1.xml"


def rows(count: int) -> list[dict[str, object]]:
    return [{"Part": f"P{n}", "Volume": n / 2, "Count": n} for n in range(1, count + 1)]


def read(filled, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return openpyxl.load_workbook(io.BytesIO(filled.package.to_bytes()), **options)


def book(build, **options) -> bytes:
    """A workbook made by `build(book)`."""
    out = io.BytesIO()
    made = xlsxwriter.Workbook(out, options)
    build(made)
    made.close()
    return out.getvalue()


@pytest.fixture(scope="module")
def simple() -> Template:
    return Template(simple_template())


@pytest.fixture(scope="module")
def full() -> Template:
    return Template(full_template())


# ------------------------------------------------------------------------------------- values


@pytest.mark.parametrize(
    ("value", "serial"),
    [
        # ECMA-376 part 1, 18.17.4.1: 1 January 1900 is 1, and a 29 February 1900 is counted
        (dt.date(1900, 1, 1), 1),
        (dt.date(1900, 2, 28), 59),
        (dt.date(1900, 3, 1), 61),
        # the same clause: noon is .5; 1 January 2000 is 36526 (spreadsheets' own DATE)
        (dt.datetime(2000, 1, 1, 12), 36526.5),
        (dt.time(6, 0), 0.25),
        (dt.timedelta(hours=36), 1.5),
    ],
)
def test_dates_are_serial_numbers(value, serial):
    assert float(encode(value).text) == serial


def test_dates_from_1904():
    # ECMA-376 part 1, 18.17.4.1: in this system 1 January 1904 is 0; it lags 1462 days
    assert encode(dt.date(1904, 1, 1), True).text == "0"
    assert float(encode(dt.date(2026, 3, 2)).text) - float(
        encode(dt.date(2026, 3, 2), True).text
    ) == pytest.approx(1462)
    filled = fill_template(simple_template(date_1904=True), {"day": dt.date(2026, 3, 2)})
    assert read(filled)["Card"]["B1"].value == dt.datetime(2026, 3, 2)


@pytest.mark.parametrize("value", [dt.date(1899, 12, 31), float("nan"), "x" * 32768, [1], 10**400])
def test_what_no_cell_holds_is_refused(simple, value):
    # 32,767 characters is the limit of a cell (spreadsheet specifications and limits)
    with pytest.raises(TemplateError, match="name day"):
        simple.fill({"day": value})


@pytest.mark.parametrize(
    ("value", "stored"),
    [
        ("text", "text"),
        (True, True),
        (np.bool_(False), False),
        (3, 3),
        (np.int64(7), 7),
        (0.1, 0.1),
        (1e-300, 1e-300),
        (np.float64(1) / 3, 1 / 3),
        (123456789012345680.0, 123456789012345680.0),
        (CellError("#N/A"), "#N/A"),
        (None, None),
        ("", None),
        (dt.date(2026, 3, 2), dt.datetime(2026, 3, 2)),
        (dt.datetime(2026, 3, 2, 6, 30, tzinfo=dt.UTC), dt.datetime(2026, 3, 2, 6, 30)),
    ],
)
def test_values_come_back_as_they_went_in(simple, value, stored):
    cell = read(simple.fill({"day": value}))["Card"]["B1"]
    if isinstance(stored, dt.datetime):
        assert cell.value == stored
    else:
        # the cell is styled as a date: read the raw value, not openpyxl's date
        raw = simple.fill({"who": value})
        assert read(raw)["Card"]["D1"].value == stored
    assert cell.number_format == "yyyy-mm-dd"


def test_a_date_in_a_plain_cell_is_noted(simple):
    assert "shows it as a number" in simple.fill({"who": dt.date(2026, 3, 2)}).report.notes[0]
    notes = simple.fill({"day": dt.date(2026, 3, 2)}).report.notes
    assert not any("shows it as a number" in note for note in notes)


def test_names_of_a_merged_cell_a_sheet_and_any_capitals():
    def build(made):
        one, two = made.add_worksheet("One"), made.add_worksheet("Two 2")
        made.define_name("One!field", "=One!$C$3")
        made.define_name("'Two 2'!field", "='Two 2'!$B$2:$D$4")
        two.merge_range("A1:D4", "big")
        one.write_formula("A1", "=1+1", None, 2)
        made.define_name("computed", "=One!$A$1")

    template = Template(book(build))
    filled = read(template.fill({"FIELD": 5}))
    assert filled["One"]["C3"].value == 5
    assert filled["Two 2"]["A1"].value == 5  # the upper left cell of the merged range
    filled = read(template.fill({"Two 2!field": 6}))
    assert (filled["One"]["C3"].value, filled["Two 2"]["A1"].value) == (None, 6)
    kept = template.fill({"computed": 9})
    assert read(kept)["One"]["A1"].value == "=1+1"
    assert "holds a formula, which was kept" in kept.report.notes[0]


def test_a_dropped_name_is_a_note_unless_it_is_required(simple):
    filled = simple.fill({"nobody": 1}, {"Nothing": []})
    assert "no name nobody" in filled.report.notes[0] + filled.report.notes[1]
    assert "no table Nothing" in " ".join(filled.report.notes)
    with pytest.raises(TemplateError) as caught:
        simple.fill(
            {"nobody": 1},
            {"Shots": rows(1)},
            required=["nobody", "day", "Shots", "Shots[Part]", "Shots[Lot]", "Stock[Lot]"],
        )
    told = [str(problem) for problem in caught.value.problems]
    assert len(told) == 3
    assert any("nobody" in line for line in told)
    assert any("table Shots" in line and "Lot" in line for line in told)
    assert any("table Stock" in line for line in told)


def test_a_name_inside_the_table_is_refused():
    data = rebuild(simple_template(), change={"xl/workbook.xml": lambda t: t.replace("$B$1", "$B$5")})
    with pytest.raises(TemplateError, match="inside the table Shots"):
        fill_template(data, {"day": 1}, {"Shots": rows(2)})


# ------------------------------------------------------------------------------------- tables


@pytest.mark.parametrize("samples", [1, 2, 3])
@pytest.mark.parametrize("totals", [True, False])
@pytest.mark.parametrize("count", [1, 2, 3, 7, 40])
def test_a_table_takes_any_number_of_rows(samples, totals, count):
    template = Template(simple_template(samples, totals))
    filled = template.fill({}, {"shots": rows(count)})
    card, sums = (read(filled)[name] for name in ("Card", "Sums"))
    last = 3 + count
    table = card.tables["Shots"]
    assert table.ref == f"A3:F{last + totals}"
    assert table.autoFilter.ref == f"A3:F{last}"
    for number in range(1, count + 1):
        row = 3 + number
        assert [cell.value for cell in card[row]] == [
            f"P{number}",
            number / 2,
            number,
            "=Shots[[#This Row],[Count]]*2",
            f"=SUM(B$4:B{row})",
            None,
        ]
    if totals:
        assert card[f"A{last + 1}"].value == "Total"
        assert card[f"B{last + 1}"].value == "=SUBTOTAL(109,Shots[Volume '[mL']])"
    below = last + totals + 2
    assert card[f"A{below}"].value == "Below"
    # a range over all sample rows covers all rows afterwards, on this sheet and on the other
    assert card[f"B{below}"].value == f"=SUM(B4:B{last})"
    assert sums["A1"].value == f"=SUM(Card!B4:B{last})"
    assert sums["A2"].value == f"=Card!A{below}"
    assert sums["A3"].value == "=Card!B4+A1"
    merged = {str(item) for item in card.merged_cells.ranges}
    assert merged == {"D1:F1", f"A{below + 1}:C{below + 1}"}


def test_sheets_of_as_many_rows_share_what_moving_rows_makes(monkeypatch):
    """A template used again gives the bytes of one used once, and moves rows once for each number of them."""
    from dispense.xlsx import templates

    moved = []
    apply = templates.RowShift.apply
    monkeypatch.setattr(templates.RowShift, "apply", lambda shift: (moved.append(1), apply(shift))[1])
    data = simple_template()
    again = Template(data)
    given = [rows(6), rows(9), [{**row, "Part": None} for row in rows(6)], rows(6)]
    found = [again.fill({"day": dt.date(2026, 3, 2)}, {"Shots": each}) for each in given]
    assert len(moved) == 2
    for filled, each in zip(found, given, strict=True):
        once = Template(data).fill({"day": dt.date(2026, 3, 2)}, {"Shots": each})
        assert filled.package.to_bytes() == once.package.to_bytes()
        assert filled.report == once.report
    assert found[0].package.to_bytes() == found[3].package.to_bytes() != found[2].package.to_bytes()


def test_a_name_beside_a_table_keeps_its_row_in_each_filling():
    def build(made):
        sheet = made.add_worksheet("Card")
        sheet.add_table("A1:B4", {"name": "One", "columns": [{"header": "N"}, {"header": "M"}]})
        made.define_name("remark", "=Card!$D$4")

    template = Template(book(build))
    for remark in ("held", None, "held"):
        filled = template.fill({"remark": remark}, {"One": [{"N": 1}]})
        sheet = read(filled)["Card"]
        assert sheet.tables["One"].ref == "A1:B4"
        assert sheet["D4"].value == remark


def test_styles_alternate_like_the_sample_rows(simple):
    card = read(simple.fill({}, {"Shots": rows(6)}))["Card"]
    for row in range(6, 10):
        pattern = 4 + (row - 4) % 2
        assert card.row_dimensions[row].height == card.row_dimensions[pattern].height
        for column in "ABCDEF":
            assert card[f"{column}{row}"].style_id == card[f"{column}{pattern}"].style_id
    assert card["A4"].style_id != card["A5"].style_id


def test_no_rows_leave_one_blank_row(simple):
    card = read(simple.fill({}, {"Shots": []}))["Card"]
    assert card.tables["Shots"].ref == "A3:F5"
    assert [cell.value for cell in card[4]] == [None] * 6
    assert card["A5"].value == "Total"


def test_columns_in_any_order_with_the_plants_own_units():
    def build(made):
        sheet = made.add_worksheet("S")
        headers = ["Own note", "volume  [fl oz]", "Part\nnumber", "Twice", "Volume [mL]"]
        sheet.add_table(
            "B2:F3",
            {
                "name": "T",
                "columns": [{"header": header} for header in headers],
                "data": [["x", 1, "p", None, 2]],
            },
        )
        sheet.write_formula("E3", "=C3*2+$C$1")

    asked = []

    def convert(column, value, unit):
        asked.append((column, value, unit))
        return value / 29.5735295625 if unit == "fl oz" else value  # US fluid ounce, NIST SP 811

    template = Template(book(build))
    given = [{"Part number": "A", "Volume": 295.735295625}, {"Volume": None, "Other": 1}]
    filled = template.fill({}, {"T": given}, convert=convert)
    sheet = read(filled)["S"]
    assert [cell.value for cell in sheet[3]][1:] == [
        None,
        pytest.approx(10),
        "A",
        "=C3*2+$C$1",
        295.735295625,
    ]
    assert [cell.value for cell in sheet[4]][1:] == [None, None, None, "=C4*2+$C$1", None]
    assert asked == [("Volume", 295.735295625, "fl oz"), ("Volume", 295.735295625, "mL")]
    assert filled.report.notes[0] == "the table T has no column Other; it was left out"


def test_problems_of_conversion_are_told_together(simple):
    def convert(column, value, unit):
        raise DispenseError(Problem("", message=f"{unit} is not a volume"))

    with pytest.raises(TemplateError) as caught:
        simple.fill({"day": float("inf")}, {"Shots": rows(2)}, convert=convert)
    assert len(caught.value.problems) == 3
    assert "table Shots, row 2, Volume [mL]: mL is not a volume" in str(caught.value)


def test_a_formula_column_is_kept_against_a_given_value(simple):
    filled = simple.fill({}, {"Shots": [{"Part": "a", "Drawn": 99, "Count": 1}]})
    assert read(filled)["Card"]["D4"].value == "=Shots[[#This Row],[Count]]*2"
    assert "Shots[Drawn] holds a formula, which was kept" in filled.report.notes


def test_shared_formulas_are_written_out():
    shared = ['<f t="shared" ref="D4:D5" si="0">C4*$B$1+$C$8</f>', '<f t="shared" si="0"/>']

    def change(text):
        for item in shared:
            text = text.replace("<f>Shots[[#This Row],[Count]]*2</f>", item, 1)
        return text

    data = rebuild(simple_template(), change={SHEET: change})
    for count in (1, 2, 4):
        card = read(fill_template(data, {}, {"Shots": rows(count)}))["Card"]
        for row in range(4, 4 + count):
            assert card[f"D{row}"].value == f"=C{row}*$B$1+$C${6 + count}"


def two_tables(first="A2:B4", second="D2:E4", beside=None):
    def build(made):
        sheet = made.add_worksheet("S")
        for name, place in (("Left", first), ("Right", second)):
            columns = [{"header": f"{name} name"}, {"header": f"{name} number"}]
            sheet.add_table(place, {"name": name, "columns": columns})
        for address, value in (beside or {}).items():
            sheet.write(address, value)
        sheet.write("A9", "end")

    return Template(book(build))


def numbered(name, count):
    return [{f"{name} name": f"{name}{n}", f"{name} number": n} for n in range(count)]


def test_tables_side_by_side_grow_to_the_larger():
    filled = two_tables().fill({}, {"Left": numbered("Left", 2), "Right": numbered("Right", 5)})
    sheet = read(filled)["S"]
    assert (sheet.tables["Left"].ref, sheet.tables["Right"].ref) == ("A2:B7", "D2:E7")
    assert [sheet[f"A{row}"].value for row in range(3, 8)] == ["Left0", "Left1", None, None, None]
    assert [sheet[f"E{row}"].value for row in range(3, 8)] == [0, 1, 2, 3, 4]
    assert sheet["A12"].value == "end"


def test_tables_side_by_side_that_do_not_match_are_refused():
    template = two_tables(second="D3:E6")
    with pytest.raises(TemplateError, match=r"Left and Right stand side by side .*3 to 4.*4 to 6"):
        template.fill({}, {"Left": numbered("Left", 2), "Right": numbered("Right", 5)})


def test_tables_one_below_the_other_move_on():
    template = two_tables(second="A6:B8")
    filled = template.fill({}, {"Left": numbered("Left", 5), "Right": numbered("Right", 1)})
    sheet = read(filled)["S"]
    assert (sheet.tables["Left"].ref, sheet.tables["Right"].ref) == ("A2:B7", "A9:B10")
    assert (sheet["A10"].value, sheet["A11"].value) == ("Right0", "end")


def test_what_stands_beside_a_table_is_not_lost():
    template = two_tables(second="D12:E14", beside={"H4": "keep me"})
    filled = template.fill({}, {"Left": numbered("Left", 1)})
    sheet = read(filled)["S"]
    assert sheet["H4"].value == "keep me"
    assert sheet.tables["Left"].ref == "A2:B4"
    assert [sheet["A3"].value, sheet["A4"].value] == ["Left0", None]
    assert "a blank row was left in Left" in filled.report.notes[0]


def test_a_row_that_a_formula_needs_is_not_removed():
    data = rebuild(
        simple_template(),
        change={"xl/worksheets/sheet2.xml": lambda t: t.replace("Card!B4+A1", "Card!B5+A1")},
    )
    filled = fill_template(data, {}, {"Shots": rows(1)})
    read_back = read(filled)
    assert read_back["Sums"]["A3"].value == "=Card!B5+A1"
    assert [cell.value for cell in read_back["Card"][5]] == [None] * 6
    assert read_back["Card"].tables["Shots"].ref == "A3:F6"
    assert any("blank row was left in Shots" in note for note in filled.report.notes)


# -------------------------------------------------------------------------------------- rows


@st.composite
def bands_of_rows(draw):
    bands, row = [], 0
    for _ in range(draw(st.integers(1, 3))):
        first = row + draw(st.integers(2, 4))
        last = first + draw(st.integers(0, 3))
        bands.append(Band(first, last, draw(st.integers(1, 6))))
        row = last
    return bands


@settings(deadline=None, max_examples=200)
@given(bands_of_rows(), st.integers(1, 20), st.integers(0, 12))
def test_rows_go_where_a_list_of_rows_says(bands, first, length):
    """The sheet as a plain list of row names, in which rows are inserted and deleted."""
    last = first + length
    sheet = list(range(1, 40))
    for band in reversed(bands):
        kept = sheet[band.first - 1 : band.last][: band.count]
        sheet[band.first - 1 : band.last] = kept + ["new"] * (band.count - len(kept))
    place = {name: number for number, name in enumerate(sheet, 1) if name != "new"}
    rows_map = RowMap(bands)
    for row in range(1, 35):
        assert rows_map.point(row) == place.get(row)
    span = rows_map.span(first, last)
    left = [row for row in range(first, last + 1) if row in place]
    if not left:
        assert span is None
        return
    assert span is not None
    inside = [name for name in sheet[span[0] - 1 : span[1]] if name != "new"]
    assert inside == left
    for band in bands:
        if first <= band.first and last >= band.last:
            # a range over all data rows of a table covers all of its rows afterwards
            end = place[band.first] + band.count - 1
            assert span[0] <= place[band.first] and span[1] >= end


@pytest.mark.parametrize(
    ("before", "after"),
    [
        # three rows inserted below row 6 of Card, data rows 5 and 6; worked by hand
        ("A1+A6", "A1+A6"),
        ("A7", "A10"),
        ("$A$7+A$8+$A9", "$A$10+A$11+$A12"),
        ("SUM(A5:A6)", "SUM(A5:A9)"),
        ("SUM(A4:A6)", "SUM(A4:A9)"),
        ("SUM(A4:A7)", "SUM(A4:A10)"),
        ("SUM(A6:A6)", "SUM(A6:A6)"),
        ("SUM(A8:A20)", "SUM(A11:A23)"),
        ("SUM(5:6)", "SUM(5:9)"),
        ("SUM(A:A)", "SUM(A:A)"),
        ("SUM(A1:A1048576)", "SUM(A1:A1048576)"),
        ("Other!A7+Card!A7+'Card'!A7", "Other!A7+Card!A10+'Card'!A10"),
        ("[1]Card!A7", "[1]Card!A7"),
        ("'[x.xlsx]Card'!A7", "'[x.xlsx]Card'!A7"),
        ('"A7"&A7', '"A7"&A10'),
        ("INDEX(A7:A9,1):A12", "INDEX(A10:A12,1):A15"),
        ("A7:INDEX(A7:A9,2)", "A10:INDEX(A10:A12,2)"),
        ("SUM((A7,B8 C9))", "SUM((A10,B11 C12))"),
        ("_xlfn.ANCHORARRAY(A7)", "_xlfn.ANCHORARRAY(A10)"),
        ("Shots[[#This Row],[A7]]", "Shots[[#This Row],[A7]]"),
        ("LOG10(A7)+A7%", "LOG10(A10)+A10%"),
        ("A9:A7", "A12:A10"),
        ('IF(A7="it\'s",{1,2;3,4},TRUE)', 'IF(A10="it\'s",{1,2;3,4},TRUE)'),
    ],
)
def test_references_follow_inserted_rows(before, after):
    references = References({"Card": RowMap([Band(5, 6, 5)])}, ["Card", "Other"])
    assert references.formula(before, "Card") == after


def test_references_of_other_sheets_and_of_several():
    references = References({"My card": RowMap([Band(5, 6, 5)])}, ["A", "My card", "B"])
    assert references.formula("A7+'My card'!A7", "B") == "A7+'My card'!A10"
    with pytest.raises(DispenseError, match="spans several sheets"):
        references.formula("SUM(A:B!A7)", "B")
    assert references.formula("SUM(B:C!A7)", "B") == "SUM(B:C!A7)"


def test_filling_down_moves_relative_rows():
    # as openpyxl's Translator, an independent implementation, fills a formula down
    from openpyxl.formula.translate import Translator

    for formula in ("A1*$B$2+C$3+$D4", "SUM(A$1:A1)", "Sheet2!B2&'My sheet'!C3", "LOG10(A1)"):
        expected = Translator(f"={formula}", "F1").translate_formula("F8")
        assert "=" + move_formula(formula, 7) == expected
    assert move_formula("A1+B5", -3) == "#REF!+B2"


def test_an_array_formula_across_the_table_is_refused_by_name():
    def change(ref):
        def run(text):
            item = f'<c r="H2"><f t="array" ref="{ref}">B4:B5*2</f><v>0</v></c></row>'
            return re.sub(r"(<row r=\"3\".*?)</row>", rf"\1{item.replace('H2', 'H3')}", text)

        return run

    straddling = rebuild(simple_template(), change={SHEET: change("H3:H7")})
    with pytest.raises(TemplateError, match=r"Card!H3: the array formula over H3:H7"):
        fill_template(straddling, {}, {"Shots": rows(5)})
    # the same number of rows moves nothing, so nothing is refused
    fill_template(straddling, {}, {"Shots": rows(2)})


def test_a_pivot_table_below_moves_and_one_across_is_refused():
    def template(ref):
        pivot = (
            f'<pivotTableDefinition xmlns="{MAIN}" name="P" cacheId="1" dataCaption="x">'
            f'<location ref="{ref}" firstHeaderRow="1" firstDataRow="1" firstDataCol="1"/>'
            "</pivotTableDefinition>"
        )
        kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.pivotTable+xml"
        return rebuild(
            simple_template(),
            {"xl/pivotTables/pivotTable1.xml": pivot.encode()},
            {
                "[Content_Types].xml": content_types(("xl/pivotTables/pivotTable1.xml", kind)),
                "xl/worksheets/_rels/sheet1.xml.rels": link(
                    "rId70", "pivotTable", "../pivotTables/pivotTable1.xml"
                ),
            },
        )

    filled = fill_template(template("A20:B24"), {}, {"Shots": rows(5)})
    assert b'ref="A23:B27"' in filled.package.read("xl/pivotTables/pivotTable1.xml")
    with pytest.raises(TemplateError, match=r"Card!H3:I9: the pivot table would be cut"):
        fill_template(template("H3:I9"), {}, {"Shots": rows(5)})


# ------------------------------------------------------------------------------ all the rest


def test_all_that_a_plant_put_into_its_template_stays(full):
    filled = full.fill(
        {"day": dt.date(2026, 3, 2)},
        {"Shots": [{"Part": f"P{n}", "Volume": n, "Time": dt.time(6, n)} for n in range(1, 6)]},
    )
    changed = {difference.part for difference in compare(full.package, filled.package)}
    # three rows more on one sheet: that sheet, what hangs on its rows, and the texts that cells share
    # (ECMA-376 part 1, 18.4), as a spreadsheet saves them
    assert changed == {
        SHEET,
        "xl/sharedStrings.xml",
        "xl/tables/table1.xml",
        "xl/comments1.xml",
        "xl/drawings/drawing1.xml",
        "xl/drawings/vmlDrawing1.vml",
        "xl/charts/chart1.xml",
        "xl/workbook.xml",
        "xl/calcChain.xml",
        "xl/_rels/workbook.xml.rels",
        "[Content_Types].xml",
    }
    assert set(filled.report.parts) == changed - {"xl/calcChain.xml"}
    assert filled.report.sheets == ["Shift card"]
    with zipfile.ZipFile(io.BytesIO(filled.package.to_bytes())) as archive:
        for part in full.package.parts:
            if part not in changed:
                assert archive.read(part) == full.package.read(part), part
    assert filled.package.read(SHEET).count(b"<f>") == full.package.read(SHEET).count(b"<f>")


def test_everything_below_moves_by_three_rows(full):
    """Five rows for two: what stood from row 7 on stands three rows lower; worked by hand."""
    filled = full.fill({}, {"Shots": [{"Part": "P", "Volume": 1.0}] * 5})
    package, sheet = filled.package, read(filled, keep_vba=True)["Shift card"]
    assert sheet.tables["Shots"].ref == "A4:C10"
    assert sheet["B10"].value == "=SUBTOTAL(109,B5:B9)"
    assert sheet["E1"].value == "=SUM(B5:B9)"
    assert sheet["A13"].comment.text == "a note below"
    assert sheet["A1"].comment.text == "a note above"
    assert sheet["A14"].hyperlink.location == "'Shift card'!A13"
    assert sheet["A15"].hyperlink.target == "https://example.org/"
    assert [item.id for item in sheet.row_breaks.brk] == [11, 23]
    assert sheet.print_area == "'Shift card'!$A$1:$H$33"
    assert sheet.print_title_rows == "$4:$4"
    formats = {str(item.sqref): item.rules[0] for item in sheet.conditional_formatting}
    assert set(formats) == {"B5:B9", "A13:B15"}
    assert formats["A13:B15"].formula == ["$B13>$B$10"]
    rules = {str(item.sqref): item.formula1 for item in sheet.data_validations.dataValidation}
    assert rules == {"A5:A9": "Lists!$A$1:$A$2", "B13": "B10"}
    assert sheet.freeze_panes == "B5"
    text = package.read(SHEET).decode()
    # the 2010 data bar and the sparklines, which openpyxl does not read
    assert "<xm:sqref>B5:B9</xm:sqref>" in text
    sparklines = re.findall(r"<xm:f>('Shift card'![^<]*)</xm:f><xm:sqref>(\w+)", text)
    assert sparklines == [("'Shift card'!B5:B9", "D13"), ("'Shift card'!B5:B9", "D5")]
    drawing = package.read("xl/drawings/drawing1.xml").decode()
    # the logo set not to move stands, the text box below moves from row 14 to row 17
    assert re.findall(r"<xdr:from>.*?<xdr:row>(\d+)", drawing) == ["0", "16"]
    vml = package.read("xl/drawings/vmlDrawing1.vml").decode()
    assert sorted(re.findall(r"<x:Row>(\d+)", vml)) == ["0", "12"]
    assert "5, 0, 12, 0, 6, 0, 13, 0" in vml  # the button, from F10 to F13
    chart = package.read("xl/charts/chart1.xml").decode()
    assert "'Shift card'!$B$5:$B$9" in chart and "'Shift card'!$B$4<" in chart


def test_removed_rows_take_their_notes_and_formats_along():
    def build(made):
        sheet = made.add_worksheet("S")
        sheet.add_table("A1:B4", {"name": "T", "columns": [{"header": "A"}, {"header": "B"}]})
        sheet.write_comment("A2", "first")
        sheet.write_comment("A4", "last")
        sheet.conditional_format("A4:B4", {"type": "no_blanks"})
        sheet.conditional_format("A2:B4", {"type": "no_blanks"})
        sheet.data_validation("A3:A4", {"validate": "integer", "criteria": ">", "value": 0})
        sheet.set_h_pagebreaks([3, 4])
        sheet.add_sparkline("B4", {"range": "S!A4:A4"})

    sheet = read(fill_template(book(build), {}, {"T": [{"A": 1}]}))["S"]
    assert sheet.tables["T"].ref == "A1:B2"
    assert sheet["A2"].comment.text == "first"
    assert sheet["A3"].comment is None
    assert [str(item.sqref) for item in sheet.conditional_formatting] == ["A2:B2"]
    assert list(sheet.data_validations.dataValidation) == []
    # the break below the table's last row follows its end
    assert [item.id for item in sheet.row_breaks.brk] == [2]


def test_sparklines_of_sample_rows_are_given_to_new_rows():
    def build(made):
        sheet = made.add_worksheet("S")
        headers = [{"header": name} for name in ("A", "B", "Trend")]
        sheet.add_table("A1:C2", {"name": "T", "columns": headers})
        sheet.add_sparkline("C2", {"range": "S!A2:B2"})

    filled = fill_template(book(build), {}, {"T": [{"A": 1, "B": 2}] * 3})
    found = re.findall(r"<xm:f>(.*?)</xm:f><xm:sqref>(.*?)<", filled.package.read(SHEET).decode())
    assert found == [("S!A2:B2", "C2"), ("S!A3:B3", "C3"), ("S!A4:B4", "C4")]


def test_a_chart_beside_the_table_follows_its_own_setting():
    def build(made):
        sheet = made.add_worksheet("S")
        sheet.add_table("A1:B3", {"name": "T", "columns": [{"header": "A"}, {"header": "B"}]})
        for position, place in ((1, "D1"), (2, "K1"), (3, "R1")):
            chart = made.add_chart({"type": "line"})
            chart.add_series({"values": "=S!$B$2:$B$3"})
            sheet.insert_chart(place, chart, {"object_position": position})

    template = Template(book(build))
    filled = template.fill({}, {"T": [{"B": n} for n in range(12)]})
    drawing = "xl/drawings/drawing1.xml"

    def heights(package):
        text = package.read(drawing).decode()
        return [int(n) for n in re.findall(r"<xdr:to>.*?<xdr:row>(\d+)", text)]

    before, after = heights(template.package), heights(filled.package)
    # move and size: ten rows longer; move only, and neither: as before
    assert [b - a for a, b in zip(before, after, strict=True)] == [10, 0, 0]
    assert sum("changed its height" in note for note in filled.report.notes) == 1
    for number in (1, 2, 3):
        chart = filled.package.read(f"xl/charts/chart{number}.xml").decode()
        assert "S!$B$2:$B$13" in chart
        assert re.findall(r"<c:v>(\d+)</c:v>", chart) == [str(n) for n in range(12)]
        assert '<c:ptCount val="12"/>' in chart


def test_charts_keep_their_stored_values_when_asked(full):
    kept = full.fill({}, {"Shots": [{"Part": "P", "Volume": 9.0}] * 2}, charts_refresh=False)
    assert "xl/charts/chart1.xml" not in kept.report.parts
    fresh = full.fill({}, {"Shots": [{"Part": "P", "Volume": 9.0}] * 2})
    assert "xl/charts/chart1.xml" in fresh.report.parts
    assert fresh.package.read("xl/charts/chart1.xml").count(b"<c:v>9</c:v>") == 2


def test_a_table_below_and_an_unfilled_one_beside_keep_what_they_hold():
    template = two_tables(beside={"D3": "mine", "E4": 7})
    filled = template.fill({}, {"Left": numbered("Left", 4)})
    sheet = read(filled)["S"]
    assert (sheet["D3"].value, sheet["E4"].value) == ("mine", 7)
    assert sheet.tables["Right"].ref == "D2:E6"
    assert any("Right gained blank rows" in note for note in filled.report.notes)
    fewer = read(template.fill({}, {"Left": numbered("Left", 1)}))["S"]
    assert (fewer["D3"].value, fewer["E4"].value) == ("mine", 7)


def test_filled_twice_gives_the_same_bytes():
    values, tables = {"day": dt.date(2026, 3, 2)}, {"Shots": [{"Part": "P", "Volume": 0.1}] * 9}
    data = full_template()
    one = fill_template(data, values, tables).package.to_bytes()
    template = Template(data)
    template.fill({"day": 1}, {"Shots": []})  # an earlier filling leaves no trace
    assert template.fill(values, tables).package.to_bytes() == one
    assert template.fill(values, tables).package.to_bytes() == one
    assert template.package.changed == ()


def test_nothing_given_changes_nothing(simple):
    data = book(lambda made: made.add_worksheet("S").write("A1", 1))
    assert compare(Package.open(data), fill_template(data).package) == []
    parts = {item.part for item in compare(simple.package, simple.fill({"who": "x"}).package)}
    # the formulas lost their stale values, on both sheets that have some; the text is one that cells share
    assert parts == {SHEET, "xl/worksheets/sheet2.xml", "xl/sharedStrings.xml"}


@pytest.mark.parametrize("texts_before", ["some", "none", "rich and extended"])
def test_texts_are_shared_as_spreadsheets_save_them(texts_before):
    # ECMA-376 part 1, 18.4: a cell of the type s holds the place of a text, count says how many cells do,
    # uniqueCount how many texts there are, blanks at the ends stand under xml:space="preserve"
    def make(made: xlsxwriter.Workbook) -> None:
        sheet = made.add_worksheet("S")
        sheet.write("A1", 1)
        if texts_before != "none":
            sheet.write("B1", "label")
        if texts_before.startswith("rich"):
            bold = made.add_format({"bold": True})
            sheet.write_rich_string("B2", "who ", bold, "x")
        for number in range(3, 9):
            made.define_name(f"text_{number}", f"=S!$A${number}")

    package = Package.open(book(make))
    if texts_before == "none":
        package.remove("xl/sharedStrings.xml")
    elif texts_before.startswith("rich"):
        part = package.read("xl/sharedStrings.xml")
        ending = b'<extLst><ext uri="{0}"/></extLst></sst>'
        package.put("xl/sharedStrings.xml", part.replace(b"</sst>", ending))
    texts = ["label", "label", " < & >\n", "who x", "_x0041_", "ü"]
    given = {f"text_{number}": text for number, text in enumerate(texts, 3)}
    data = fill_template(package.to_bytes(), given).package.to_bytes()
    sheet = openpyxl.load_workbook(io.BytesIO(data))["S"]
    # openpyxl leaves the escape of an escape (22.9.2.19, ST_Xstring) as it stands in the file
    read_ = [str(sheet[f"A{number}"].value).replace("_x005F_", "_") for number in range(3, 9)]
    assert read_ == texts
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        strings = etree.fromstring(archive.read("xl/sharedStrings.xml"))
        cells = etree.fromstring(archive.read(SHEET)).iter(f"{{{MAIN}}}c")
        shared = sum(cell.get("t") == "s" for cell in cells)
        assert b"inlineStr" not in archive.read(SHEET)
    items = strings.findall(f"{{{MAIN}}}si")
    assert (int(strings.get("count")), int(strings.get("uniqueCount"))) == (shared, len(items))
    kept = items[-5:]  # the same text twice is one
    space = "{http://www.w3.org/XML/1998/namespace}space"
    assert [item[0].get(space) for item in kept] == [None, "preserve", None, None, None]
    assert etree.QName(strings[-1]).localname == ("extLst" if texts_before.startswith("rich") else "si")
    assert len(strings.findall(f"{{{MAIN}}}si/{{{MAIN}}}r")) == (2 if texts_before.startswith("rich") else 0)


def test_the_calculation_chain_never_names_a_cell_without_formula():
    """A chain entry for a cell without a formula makes a spreadsheet call the file damaged."""
    part = "xl/calcChain.xml"
    chain_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"
    listed = f'<calcChain xmlns="{MAIN}"><c r="D4" i="1"/></calcChain>'
    data = rebuild(
        simple_template(1),
        {part: listed.encode()},
        {
            "[Content_Types].xml": content_types((part, chain_type)),
            "xl/_rels/workbook.xml.rels": link("rId90", "calcChain", "calcChain.xml"),
        },
    )
    assert part in fill_template(data, {"day": 1}, {"Shots": rows(1)}).package
    for count in (0, 2):
        assert part not in fill_template(data, {"day": 1}, {"Shots": rows(count)}).package


def test_a_template_saved_by_openpyxl_fills_alike():
    """Other writers spell paths, texts and attributes in other ways."""
    out = io.BytesIO()
    openpyxl.load_workbook(io.BytesIO(simple_template())).save(out)
    ours, theirs = (
        read(fill_template(data, {"who": "me"}, {"Shots": rows(7)}))
        for data in (simple_template(), out.getvalue())
    )
    for name in ("Card", "Sums"):
        cells = [
            {cell.coordinate: cell.value for row in made[name].iter_rows() for cell in row}
            for made in (ours, theirs)
        ]
        assert cells[0] == cells[1]
    assert theirs["Card"].tables["Shots"].ref == "A3:F11"


def test_a_spreadsheet_template_becomes_a_workbook(tmp_path):
    data = rebuild(
        simple_template(),
        change={
            "[Content_Types].xml": lambda text: text.replace(
                "spreadsheetml.sheet.main+xml", "spreadsheetml.template.main+xml"
            )
        },
    )
    filled = fill_template(data, {"day": 1})
    assert Package.open(filled.save(tmp_path / "card.xlsx")).suffix == ".xlsx"


def test_the_template_is_never_written_over(tmp_path):
    path = tmp_path / "card.xlsx"
    path.write_bytes(simple_template())
    before = path.read_bytes()
    with pytest.raises(DispenseError, match="never written over"):
        fill_template(path, {"day": 1}).save(path, forbid=[path])
    assert path.read_bytes() == before


def test_a_chart_of_one_sample_row_covers_all_rows():
    def build(made):
        sheet = made.add_worksheet("S")
        sheet.add_table("A1:B2", {"name": "T", "columns": [{"header": "A"}, {"header": "B"}]})
        chart = made.add_chart({"type": "line"})
        for name in ("=S!$B$1", "=S!$A$2"):
            chart.add_series({"name": name, "values": "=S!$B$2"})
        sheet.insert_chart("D1", chart)
        made.define_name("all_parts", "=S!$A$2:$A$2")
        made.define_name("first_part", "=S!$A$2")

    filled = fill_template(book(build), {}, {"T": [{"B": n} for n in range(3)]})
    chart = filled.package.read("xl/charts/chart1.xml").decode()
    # values follow the table, names of series stay single cells
    assert re.findall(r"<c:f>(.*?)</c:f>", chart) == ["S!$B$1", "S!$B$2:$B$4"] + ["S!$A$2", "S!$B$2:$B$4"]
    names = {item.name: item.text for item in filled.package.defined_names}
    assert names == {"all_parts": "S!$A$2:$A$4", "first_part": "S!$A$2"}


def test_all_stored_values_of_a_chart_are_refreshed():
    """Categories in two columns, labels from cells, a cell with text among numbers."""
    labels = (
        '<c:extLst><c:ext uri="{02D57815-91ED-43cb-92C2-25804820EDAC}" '
        'xmlns:c15="http://schemas.microsoft.com/office/drawing/2012/chart"><c15:datalabelsRange>'
        '<c15:f>S!$A$2:$A$3</c15:f><c15:dlblRangeCache><c:ptCount val="1"/>'
        '<c:pt idx="0"><c:v>old</c:v></c:pt></c15:dlblRangeCache></c15:datalabelsRange></c:ext>'
        "</c:extLst></c:ser>"
    )

    def build(made):
        sheet = made.add_worksheet("S")
        headers = [{"header": name} for name in ("Day", "Shift", "Volume")]
        sheet.add_table("A1:C3", {"name": "T", "columns": headers})
        chart = made.add_chart({"type": "column"})
        chart.add_series({"categories": "=S!$A$2:$B$3", "values": "=S!$C$2:$C$3"})
        chart.add_series({"values": "=(S!$C$2,S!$C$3)"})
        sheet.insert_chart("E1", chart)

    data = rebuild(
        book(build),
        change={
            "xl/charts/chart1.xml": lambda text: re.sub(
                r"<c:cat>.*?(<c:f>.*?</c:f>).*?</c:cat>",
                r"<c:cat><c:multiLvlStrRef>\1</c:multiLvlStrRef></c:cat>",
                text.replace("</c:ser>", labels, 1),
            )
        },
    )
    given = [
        {"Day": "Mo", "Shift": "a", "Volume": 1.5},
        {"Day": None, "Shift": "b", "Volume": "none"},
        {"Day": "Tu", "Shift": 3, "Volume": CellError("#N/A")},
    ]
    package = fill_template(data, {}, {"T": given}).package
    root = package.tree("xl/charts/chart1.xml")

    def points(item):
        return {int(point.get("idx")): point[0].text for point in item if point.tag.endswith("}pt")}

    found = {
        kind: [item for item in root.iter() if str(item.tag).endswith("}" + kind)]
        for kind in ("lvl", "numCache", "dlblRangeCache")
    }
    # ECMA-376 part 1, 21.2.2.95: the first level is the innermost label
    assert [points(item) for item in found["lvl"]] == [{0: "a", 1: "b", 2: "3"}, {0: "Mo", 2: "Tu"}]
    # the text is no number and leaves a gap, as a spreadsheet stores it
    assert points(found["numCache"][0]) == {0: "1.5", 2: "#N/A"}
    assert points(found["dlblRangeCache"][0]) == {0: "Mo", 2: "Tu"}


def test_links_and_filters_of_sample_rows_go_with_the_samples():
    def build(made):
        sheet = made.add_worksheet("S")
        sheet.add_table("A1:B3", {"name": "T", "columns": [{"header": "A"}, {"header": "B"}]})
        sheet.write_url("A2", "https://example.org/", string="sample")
        sheet.write_url("A9", "https://example.org/", string="below")
        sheet.set_row(2, None, None, {"hidden": True})

    filled = fill_template(book(build), {}, {"T": [{"A": "x"}] * 4})
    sheet = read(filled)["S"]
    assert sheet["A2"].hyperlink is None
    assert sheet["A11"].hyperlink.target == "https://example.org/"
    assert not any(sheet.row_dimensions[row].hidden for row in range(2, 6))
    assert any("hidden sample rows of T are shown" in note for note in filled.report.notes)


def test_form_controls_follow_the_rows():
    """A tick box below the table, as spreadsheets since 2010 write it."""
    control = (
        '<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006">'
        '<mc:Choice Requires="x14"><controls><control shapeId="1025" r:id="rId80" name="Tick">'
        '<controlPr defaultSize="0" linkedCell="$C$12"><anchor moveWithCells="1">'
        '<from><xdr:col xmlns:xdr="{xdr}">4</xdr:col><xdr:colOff xmlns:xdr="{xdr}">0</xdr:colOff>'
        '<xdr:row xmlns:xdr="{xdr}">11</xdr:row><xdr:rowOff xmlns:xdr="{xdr}">0</xdr:rowOff></from>'
        '<to><xdr:col xmlns:xdr="{xdr}">5</xdr:col><xdr:colOff xmlns:xdr="{xdr}">0</xdr:colOff>'
        '<xdr:row xmlns:xdr="{xdr}">12</xdr:row><xdr:rowOff xmlns:xdr="{xdr}">0</xdr:rowOff></to>'
        "</anchor></controlPr></control></controls></mc:Choice></mc:AlternateContent>"
    ).replace("{xdr}", "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing")
    properties = (
        '<formControlPr xmlns="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main" '
        'objectType="CheckBox" fmlaLink="$C$12" lockText="1"/>'
    )
    data = rebuild(
        simple_template(),
        {"xl/ctrlProps/ctrlProp1.xml": properties.encode()},
        {
            SHEET: lambda text: text.replace("<tableParts", control + "<tableParts"),
            "xl/worksheets/_rels/sheet1.xml.rels": link("rId80", "ctrlProp", "../ctrlProps/ctrlProp1.xml"),
            "[Content_Types].xml": content_types(
                ("xl/ctrlProps/ctrlProp1.xml", "application/vnd.ms-excel.controlproperties+xml")
            ),
        },
    )
    package = fill_template(data, {}, {"Shots": rows(5)}).package
    text = package.read(SHEET).decode()
    # three rows more above it: C12 becomes C15, and zero-based rows 11 and 12 become 14 and 15
    assert 'linkedCell="$C$15"' in text
    assert re.findall(r"<xdr:row(?: [^>]*)?>(\d+)<", text) == ["14", "15"]
    assert b'fmlaLink="$C$15"' in package.read("xl/ctrlProps/ctrlProp1.xml")


# ------------------------------------------------------------------------------ cached values


def test_computed_values_are_stored_with_their_kind():
    def build(made):
        sheet = made.add_worksheet("S")
        for row in range(7):
            sheet.write_formula(row, 0, f"=B{row + 1}", None, 99)

    results = {
        ("S", "A1"): 1.5,
        ("S", "A2"): " text",
        ("S", "A3"): True,
        ("s", "A4"): CellError("#DIV/0!"),
        ("S", "A5"): 99,
        ("S", "A6"): float("nan"),
    }
    package = Package.open(book(build))
    notes = cache_values(package, lambda package: results)
    text = package.read(SHEET).decode()
    assert '<c r="A1"><f>B1</f><v>1.5</v></c>' in text
    assert '<c r="A2" t="str"><f>B2</f><v> text</v></c>' in text
    assert '<c r="A3" t="b"><f>B3</f><v>1</v></c>' in text
    assert '<c r="A4" t="e"><f>B4</f><v>#DIV/0!</v></c>' in text
    assert '<c r="A5"><f>B5</f><v>99</v></c>' in text
    # no value, none that a cell can hold: the stale 99 is gone
    assert '<c r="A6"><f>B6</f></c>' in text and '<c r="A7"><f>B7</f></c>' in text
    assert notes == ["2 formulas have no value until a spreadsheet opens the file: S!A6, S!A7"]
    assert b'fullCalcOnLoad="1"' in package.read("xl/workbook.xml")


def test_equal_values_leave_the_sheet_alone(simple):
    stored = {
        (sheet.name, cell): value
        for sheet in simple.package.sheets
        for cell, value in simple.package.cell_values(sheet).items()
    }
    filled = simple.fill(evaluate=lambda package: stored)
    assert compare(simple.package, filled.package) == []
    assert filled.report.notes == []


def test_a_workbook_without_calculation_settings_gets_them_in_place():
    data = rebuild(
        simple_template(), change={"xl/workbook.xml": lambda text: re.sub(r"<calcPr[^>]*/>", "", text)}
    )
    filled = fill_template(data, {"day": 1})
    root = filled.package.tree("xl/workbook.xml")
    order = [child.tag.rpartition("}")[2] for child in root]
    # ECMA-376 part 1, 18.2.27: calcPr follows definedNames
    assert order.index("calcPr") == order.index("definedNames") + 1


def test_the_planners_own_evaluation():
    evaluate = pytest.importorskip("dispense.handbook.in_formulas").formula_values
    filled = fill_template(simple_template(), {}, {"Shots": rows(4)}, evaluate=evaluate)
    assert filled.report.notes == []
    values = read(filled, data_only=True)
    # 0.5 + 1 + 1.5 + 2 by hand; drawn is twice the count
    assert [values["Card"][f"E{row}"].value for row in range(4, 8)] == [0.5, 1.5, 3, 5]
    assert [values["Card"][f"D{row}"].value for row in range(4, 8)] == [2, 4, 6, 8]
    assert values["Card"]["B8"].value == values["Sums"]["A1"].value == 5
    assert values["Sums"]["A2"].value == "Below"


# -------------------------------------------------------------------------------- LibreOffice


@pytest.mark.libreoffice
@pytest.mark.skipif(which("soffice") is None, reason="LibreOffice is not installed")
def test_libreoffice_opens_and_computes_the_filled_files(tmp_path):
    day = dt.date(2026, 3, 2)
    fill_template(simple_template(), {"day": day}, {"Shots": rows(30)}).save(tmp_path / "a.xlsx")
    fill_template(simple_template(), {"day": day}, {"Shots": rows(1)}).save(tmp_path / "b.xlsx")
    shots = [{"Part": f"=P{n}", "Volume": n} for n in range(1, 6)]
    fill_template(full_template(), {"day": day}, {"Shots": shots}).save(tmp_path / "c.xlsm")
    out = tmp_path / "out"
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{tmp_path}/profile",
            "--headless",
            "--convert-to",
            "xlsx:Calc MS Excel 2007 XML",
            "--outdir",
            str(out),
            *(str(tmp_path / name) for name in ("a.xlsx", "b.xlsx", "c.xlsm")),
        ],
        check=True,
        capture_output=True,
        timeout=240,
    )
    for name, count in (("a", 30), ("b", 1)):
        values = openpyxl.load_workbook(out / f"{name}.xlsx", data_only=True)
        card, sums = values["Card"], values["Sums"]
        total = count * (count + 1) / 4  # the sum of n/2
        last = 3 + count
        assert card["B1"].value == dt.datetime(2026, 3, 2)
        assert card[f"A{last}"].value == f"P{count}"
        assert card[f"D{last}"].value == 2 * count
        assert card[f"E{last}"].value == pytest.approx(total)
        assert card[f"B{last + 1}"].value == pytest.approx(total)
        assert card[f"B{last + 3}"].value == pytest.approx(total)
        assert sums["A1"].value == pytest.approx(total)
        assert sums["A2"].value == "Below"
        assert sums["A3"].value == pytest.approx(0.5 + total)
    card = openpyxl.load_workbook(out / "c.xlsx", data_only=True)["Shift card"]
    assert [card[f"A{row}"].value for row in range(5, 10)] == [f"=P{n}" for n in range(1, 6)]
    assert (card["B10"].value, card["E1"].value) == (15, 15)
    assert card["A13"].comment.text.strip() == "a note below"


MOVE_ROWS = """
import subprocess, sys, time
import uno
from com.sun.star.beans import PropertyValue

def option(name, value):
    made = PropertyValue()
    made.Name, made.Value = name, value
    return made

profile, pipe, source, sheet, *jobs = sys.argv[1:]
office = subprocess.Popen(["soffice", "-env:UserInstallation=file://" + profile, "--headless",
                           "--norestore", "--accept=pipe,name=" + pipe + ";urp;"])
try:
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext(
        "com.sun.star.bridge.UnoUrlResolver", local)
    for attempt in range(200):
        try:
            remote = resolver.resolve("uno:pipe,name=" + pipe + ";urp;StarOffice.ComponentContext")
            break
        except Exception:
            time.sleep(0.3)
    desktop = remote.ServiceManager.createInstanceWithContext(
        "com.sun.star.frame.Desktop", remote)
    for target, at, count in zip(*[iter(jobs)] * 3):
        document = desktop.loadComponentFromURL(
            "file://" + source, "_blank", 0, (option("Hidden", True),))
        rows = document.Sheets.getByName(sheet).Rows
        if int(count) > 0:
            rows.insertByIndex(int(at), int(count))
        else:
            rows.removeByIndex(int(at), -int(count))
        document.storeToURL(
            "file://" + target, (option("FilterName", "Calc MS Excel 2007 XML"),))
        document.close(True)
    try:
        desktop.terminate()
    except Exception:
        pass
    office.wait(60)
finally:
    office.kill()
"""


def python_with_uno() -> str | None:
    """A Python that can talk to LibreOffice."""
    soffice = which("soffice")
    beside = [str(Path(soffice).resolve().with_name("python"))] if soffice else []
    for candidate in (sys.executable, "/usr/bin/python3", *beside):
        if Path(candidate).exists() and (
            subprocess.run([candidate, "-c", "import uno"], capture_output=True).returncode == 0
        ):
            return candidate
    return None


def references_everywhere(seed: int) -> bytes:
    """Formulas, names, merged cells, formats and breaks around a table with data rows 4 to 6.

    No single reference is to row 6 and no part range ends there: LibreOffice inserts before the
    last row, where the filler inserts behind it, so those alone would rightly differ.
    """
    choose = random.Random(seed)

    def dollar():
        return choose.choice(["", "$"])

    def reference():
        sheet = choose.choice(["Card!", "Other!", "Card!"])
        left, right = sorted(choose.sample("ABCDEFGH", 2))
        top, bottom = sorted(choose.choices(range(1, 21), k=2))
        if choose.random() < 0.5:
            row = choose.choice([row for row in range(1, 21) if row != 6])
            return f"{sheet}{dollar()}{left}{dollar()}{row}"
        if top == 6 or (bottom == 6 and top > 4):
            bottom, top = 18, 3
        return f"SUM({sheet}{dollar()}{left}{dollar()}{top}:{dollar()}{right}{dollar()}{bottom})"

    def build(made):
        card, other = made.add_worksheet("Card"), made.add_worksheet("Other")
        card.add_table("A3:B6", {"name": "T", "columns": [{"header": "x"}, {"header": "y"}]})
        places = [(card, row, column) for row in (*range(2), *range(7, 20)) for column in (3, 4, 5)]
        places += [(other, row, column) for row in range(20) for column in range(3)]
        for sheet, row, column in places:
            sheet.write_formula(row, column, f"={reference()}+{reference()}")
        for number, (top, bottom) in enumerate([(1, 5), (2, 9), (4, 6), (7, 8), (3, 18), (8, 15)]):
            made.define_name(f"part_{number}", f"=Card!$C${top}:$D${bottom}")
        for merged in ("J2:J5", "K4:K10", "J12:L13"):
            card.merge_range(merged, "m")
        rule = {"type": "formula", "criteria": "=$D9>$E$14"}
        card.conditional_format("M2:M15", rule)
        card.set_h_pagebreaks([2, 9, 16])

    return book(build)


def told(loaded) -> dict[str, object]:
    """Formulas, names, merged cells, formats and breaks of a workbook as openpyxl reads it."""
    card = loaded["Card"]
    formulas = {
        f"{sheet.title}!{cell.coordinate}": cell.value.replace("Card!", "")
        for sheet in loaded
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str) and cell.value.startswith("=")
    }
    return {
        "formulas": formulas,
        "names": {name: item.value for name, item in loaded.defined_names.items()},
        "merged": {str(item) for item in card.merged_cells.ranges},
        "formats": [(str(f.sqref), f.rules[0].formula) for f in card.conditional_formatting],
        "breaks": [item.id for item in card.row_breaks.brk],
    }


@pytest.mark.libreoffice
@pytest.mark.skipif(which("soffice") is None, reason="LibreOffice is not installed")
@pytest.mark.parametrize("seed", [1, 2])
def test_rows_move_as_libreoffice_moves_them(tmp_path, seed):
    """The same rows inserted and deleted by LibreOffice itself, reference by reference."""
    python = python_with_uno()
    if python is None:
        pytest.skip("no Python that can talk to LibreOffice")
    source = tmp_path / "source.xlsx"
    source.write_bytes(references_everywhere(seed))
    (tmp_path / "move.py").write_text(MOVE_ROWS)
    grown, shrunk = str(tmp_path / "grown.xlsx"), str(tmp_path / "shrunk.xlsx")
    command = [python, str(tmp_path / "move.py"), str(tmp_path / "profile"), f"rows{os.getpid()}"]
    jobs = [grown, "5", "3", shrunk, "5", "-1"]
    subprocess.run([*command, str(source), "Card", *jobs], check=True, capture_output=True, timeout=240)
    for path, count in ((grown, 6), (shrunk, 2)):
        theirs = told(openpyxl.load_workbook(path))
        ours = told(read(fill_template(source, {}, {"T": [{"x": 1}] * count})))
        assert len(ours["formulas"]) == 105
        for kind, found in ours.items():
            assert found == theirs[kind], (count, kind)
