"""Values of sheets as they are streamed, beside openpyxl reading the same files; number formats and dates.

openpyxl (MIT) is the independent reader; where a rule of the format is meant, its clause of ECMA-376 part 1
stands beside it.
"""

from __future__ import annotations

import datetime
import io

import openpyxl
import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.styles import numbers
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel

from dispense.plan.workbook import FileBook
from dispense.xlsx.forms import date_styles, from_serial, is_date_form
from dispense.xlsx.package import Package
from dispense.xlsx.stream import SheetValues

FORMS = (
    *("General", "0.00", "#,##0", "yyyy-mm-dd", "hh:mm", "[h]:mm", "[mm]:ss", "d mmm yy h:mm", "[Red]0.0;-0"),
    *('0 "days"', "[$-409]d/m/yy", "@", "mm:ss.0", "0.0E+00", "_d0", r"\d0", "yyyy\\-mm\\-dd;@"),
)


def book(date_1904: bool) -> bytes:
    """Cells of every kind, with holes between rows and columns."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"date_1904": date_1904}) as made:
        sheet = made.add_worksheet("Values")
        for row, form in enumerate(FORMS):
            look = made.add_format({"num_format": form})
            for column, value in enumerate((46083.25, 0.5, 7, 0, 61, 1.75, 3e6, -2)):
                sheet.write_number(2 * row, 2 * column, value, look)
        row = 2 * len(FORMS)
        sheet.write_row(row, 1, ["text", " a < b ", "ü µ", True, False])
        sheet.write_rich_string(row + 1, 0, "plain ", made.add_format({"bold": True}), "bold")
        sheet.write_formula(row + 1, 2, "=1+1", None, 2)
        sheet.write_formula(row + 1, 3, '="a"', None, "a")
        sheet.write_formula(row + 1, 4, "=NA()", None, "#N/A")
        sheet.write_formula(row + 1, 5, "=A1>1", None, True)
        sheet.write_blank(row + 1, 6, None, made.add_format({"bold": True}))
        sheet.write_string(row + 9, 20, "far")
    return out.getvalue()


@pytest.mark.parametrize("date_1904", [False, True])
@pytest.mark.parametrize(("first", "last"), [(1, 6), (3, 30), (1, None)])
def test_values_are_those_that_openpyxl_reads(tmp_path, date_1904, first, last):
    path = tmp_path / "book.xlsx"
    path.write_bytes(book(date_1904))
    with pytest.warns(UserWarning, match="outside the limits"):
        sheet = openpyxl.load_workbook(path, read_only=True, data_only=True)["Values"]
        sheet.reset_dimensions()
        theirs = [tuple(row) for row in sheet.iter_rows(2, 60, first, last, values_only=True)]
    ours = FileBook(path)
    found = list(ours.cells(ours.worksheets[0], 2, 60, first, last))
    if last is None:  # a cell that has a format and nothing in it ends a row of theirs
        theirs = [row[: len(mine)] for row, mine in zip(theirs, found, strict=True)]
    assert found == theirs
    assert [list(map(type, row)) for row in found] == [list(map(type, row)) for row in theirs]


def test_cells_without_an_address_take_the_next_place():
    # 18.3.1.4 and 18.3.1.73: r is optional in cells and rows
    data = io.BytesIO()
    with xlsxwriter.Workbook(data) as made:
        made.add_worksheet("S").write("A1", 1)
    package = Package.open(data.getvalue())
    part = package.worksheets[0].part
    rows = b'<row><c><v>1</v></c><c r="D1"><v>4</v></c><c t="inlineStr"><is><t>e</t></is></c></row>'
    rows += b'<row><c t="b"><v>1</v></c></row>'
    rows += b'<row r="7"><c r="XFD7"><v>1</v></c><c r="B7"><v>2.5</v></c></row>'
    head, _, tail = package.read(part).partition(b"<sheetData>")
    package.put(part, head + b"<sheetData>" + rows + tail[tail.index(b"</sheetData>") :])
    found = list(SheetValues(package).rows(package.worksheets[0], 1, 5))
    assert found == [
        (1, [1, None, None, 4, "e"]),
        (2, [True, None, None, None, None]),
        (7, [None, 2.5, None, None, None]),
    ]


@given(
    value=st.floats(0, 2_900_000)
    | st.integers(0, 2_900_000)
    | st.integers(0, 86_400_000).map(lambda milliseconds: milliseconds / 86_400_000),
    date_1904=st.booleans(),
    elapsed=st.booleans(),
)
def test_serial_numbers_are_the_days_of_openpyxl(value, date_1904, elapsed):
    epoch = CALENDAR_MAC_1904 if date_1904 else CALENDAR_WINDOWS_1900
    theirs, ours = from_excel(value, epoch, elapsed), from_serial(value, date_1904, elapsed)
    if elapsed:  # theirs is rounded from microseconds
        assert abs(ours - theirs) <= datetime.timedelta(milliseconds=1)
    else:
        assert ours == theirs


def test_formats_of_dates_are_those_of_openpyxl():
    for form in (*FORMS, *numbers.BUILTIN_FORMATS.values()):
        assert is_date_form(form) == numbers.is_date_format(form), form
    # hostile: both once ran over each bracket to the end of the text
    assert not is_date_form("[" * 200_000)
    assert not is_date_form('"' * 200_001)


def test_styles_of_dates_of_other_countries_are_dates():
    # 18.8.30: numbers 27 to 36 and 50 to 58 are dates of East Asian files, which state no code
    data = io.BytesIO()
    with xlsxwriter.Workbook(data) as made:
        made.add_worksheet("S").write_number("A1", 46083, made.add_format({"num_format": 31}))
    package = Package.open(data.getvalue())
    assert len(date_styles(package)) == 1
    row = next(SheetValues(package).rows(package.worksheets[0], 1, 1))
    assert row == (1, [datetime.datetime(2026, 3, 2)])
