"""Targets: the same values and rows into a file and into an open workbook.

The open workbook is a stand-in that behaves as xlwings' Book does (ranges, tables that grow when
cells are inserted inside them, names) and records every write. Its final state is held against the
file that `FileTarget` fills from the same template.
"""

from __future__ import annotations

import datetime as dt
import sys
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispense.base.errors import FileError, InputError, Problem, TemplateError
from dispense.base.fields import CellError
from dispense.xlsx.package import Package
from dispense.xlsx.target import FileTarget, OpenWorkbookTarget, live_value, open_workbook

HEADERS = ["Time", "Material", "Volume [mL]", "Note"]


class Sheet:
    """Cells by row and column, and the log of writes."""

    def __init__(self, name, book):
        self.name, self.book, self.cells, self.tables = name, book, {}, []
        self.formats = {}

    def range(self, first, last=None):
        (top, left), (bottom, right) = first, last or first
        return Range(self, top, left, bottom - top + 1, right - left + 1)


class Range:
    """What is used of xlwings' Range."""

    def __init__(self, sheet, row, column, height=1, width=1):
        self.sheet, self.row, self.column, self.shape = sheet, row, column, (height, width)

    def __getitem__(self, key):
        (row, column), (height, width) = key, self.shape
        top, bottom = _span(row, height)
        left, right = _span(column, width)
        assert 0 <= top < bottom <= height and 0 <= left < right <= width, "outside the range"
        return Range(self.sheet, self.row + top, self.column + left, bottom - top, right - left)

    def resize(self, height, width):
        return Range(self.sheet, self.row, self.column, height, width)

    @property
    def value(self):
        rows = [
            [self.sheet.cells.get((self.row + i, self.column + j)) for j in range(self.shape[1])]
            for i in range(self.shape[0])
        ]
        return rows[0] if len(rows) == 1 else rows

    @value.setter
    def value(self, given):
        rows = given if isinstance(given, list) else [[given]]
        assert (len(rows), len(rows[0])) == self.shape, "the block does not fit the range"
        self.sheet.book.log.append((self.sheet.name, self.row, self.column, *self.shape))
        for i, row in enumerate(rows):
            for j, value in enumerate(row):
                # Excel reads a text as if typed; the apostrophe is kept apart
                if isinstance(value, str) and value.startswith("'"):
                    value = value[1:]
                elif isinstance(value, str) and value.startswith("="):
                    value = ("formula", value)
                self.sheet.cells[self.row + i, self.column + j] = value

    @property
    def number_format(self):
        return self.sheet.formats.get((self.row, self.column))

    @number_format.setter
    def number_format(self, form):
        for i in range(self.shape[0]):
            for j in range(self.shape[1]):
                self.sheet.formats[self.row + i, self.column + j] = form

    def insert(self, shift, copy_origin="format_from_left_or_above"):
        assert shift == "down" and copy_origin == "format_from_right_or_below"
        self._move(self.row, self.shape[0])
        for table in self.sheet.tables:
            if table.top < self.row <= table.top + table.rows:
                assert (self.column, self.shape[1]) == (table.left, table.width)
                table.rows += self.shape[0]

    def delete(self, shift):
        assert shift == "up"
        for i in range(self.shape[0]):
            for j in range(self.shape[1]):
                self.sheet.cells.pop((self.row + i, self.column + j), None)
        self._move(self.row + self.shape[0], -self.shape[0])
        for table in self.sheet.tables:
            if table.top < self.row <= table.top + table.rows:
                table.rows -= self.shape[0]

    def _move(self, first, by):
        columns = range(self.column, self.column + self.shape[1])
        moved = {
            key: self.sheet.cells.pop(key)
            for key in list(self.sheet.cells)
            if key[0] >= first and key[1] in columns
        }
        self.sheet.cells.update({(row + by, column): value for (row, column), value in moved.items()})


def _span(key, size):
    if isinstance(key, slice):
        start, stop, _ = key.indices(size)
        return start, stop
    return key, key + 1


class Table:
    def __init__(self, sheet, name, top, left, headers, rows):
        self.sheet, self.name, self.top, self.left = sheet, name, top, left
        self.width, self.rows = len(headers), rows
        for place, header in enumerate(headers):
            sheet.cells[top, left + place] = header
        sheet.tables.append(self)

    @property
    def header_row_range(self):
        return Range(self.sheet, self.top, self.left, 1, self.width)

    @property
    def range(self):
        return Range(self.sheet, self.top, self.left, 1 + self.rows, self.width)

    @property
    def data_body_range(self):
        if not self.rows:
            return None
        return Range(self.sheet, self.top + 1, self.left, self.rows, self.width)

    def resize(self, area):
        assert (area.row, area.column, area.shape[1]) == (self.top, self.left, self.width)
        self.rows = area.shape[0] - 1


class Name:
    def __init__(self, name, area):
        self.name, self.area = name, area

    @property
    def refers_to_range(self):
        if self.area is None:
            raise RuntimeError("no range")
        return self.area


class App:
    def __init__(self):
        self.screen_updating, self.calculation, self.history = True, "automatic", []

    def __setattr__(self, key, value):
        if "history" in self.__dict__:
            self.history.append((key, value))
        self.__dict__[key] = value


class Book:
    """A card with a table of two sample rows, a note below it, and two names."""

    name = "card.xlsx"

    def __init__(self, rows=2):
        self.log, self.app = [], App()
        card, other = Sheet("Card", self), Sheet("Other", self)
        self.sheets = [card, other]
        self.table = Table(card, "Shots", 4, 2, HEADERS, rows)
        card.cells[4 + rows + 2, 2] = "below"
        self.names = [
            Name("day", Range(card, 1, 2)),
            Name("Other!day", Range(other, 1, 1)),
            Name("rate", None),
            Name("inside", Range(card, 5, 3)),
        ]


@pytest.fixture
def template(tmp_path):
    from openpyxl import Workbook
    from openpyxl.workbook.defined_name import DefinedName
    from openpyxl.worksheet.table import Table as XlTable

    book = Workbook()
    sheet = book.active
    sheet.title = "Card"
    for place, header in enumerate(HEADERS, 2):
        sheet.cell(4, place, header)
        sheet.cell(5, place, "sample")
        sheet.cell(6, place, "sample")
    sheet["B5"].number_format = sheet["B6"].number_format = "hh:mm"
    sheet["B8"] = "below"
    sheet.add_table(XlTable(displayName="Shots", ref="B4:E6"))
    book.defined_names["day"] = DefinedName("day", attr_text="Card!$B$1")
    path = tmp_path / "card.xlsx"
    book.save(path)
    return path


def rows_of(count):
    return [
        {"Volume": 0.5 * number, "Material": f"=paste {number}", "Time": dt.time(6, number)}
        for number in range(1, count + 1)
    ]


def written(book):
    cells = {}
    for (row, column), value in book.sheets[0].cells.items():
        if value is not None:
            cells["ABCDE"[column - 1] + str(row)] = value
    return cells


@pytest.mark.parametrize("count", [0, 1, 2, 3, 7])
def test_an_open_workbook_ends_up_as_the_file_does(template, tmp_path, count):
    """Two ways to the same card: the values of every cell agree."""
    targets = FileTarget(template, tmp_path / "out.xlsx"), OpenWorkbookTarget(Book())
    for target in targets:
        target.set_name("day", "2026-03-02")
        target.set_table("Shots", rows_of(count))
        assert target.save() == []
    filed = {
        address: value
        for address, value in Package.open(tmp_path / "out.xlsx").cell_values("Card").items()
        if value not in (None, "")
    }
    live = written(targets[1].book)
    for number in range(count):
        filed.pop(f"E{5 + number}", None)  # a column that is not given keeps the sample's text
    for address in [address for address in filed if filed[address] == "sample"]:
        del filed[address]
    assert filed == pytest.approx(live)
    assert live["B1"] == "2026-03-02" and live["B4"] == "Time"


def test_ranges_are_written_whole():
    book = Book()
    target = OpenWorkbookTarget(book)
    target.set_table("shots", rows_of(50))
    target.set_name("day", 5)
    target.save()
    # one write for 50 rows of the three columns side by side, one per cell of a name
    assert book.log[0] == ("Card", 5, 2, 50, 3)
    assert len(book.log) == 3
    assert book.table.rows == 50 and book.sheets[0].cells[56, 2] == "below"


def test_columns_apart_are_two_writes_and_the_others_are_left_alone():
    book = Book()
    book.sheets[0].cells[5, 3] = ("formula", "=mine")
    target = OpenWorkbookTarget(book)
    target.set_table("Shots", [{"Time": 1, "Note": "n"}, {"Time": 2, "Note": None}])
    target.save()
    assert [entry[:4] for entry in book.log] == [("Card", 5, 2, 2), ("Card", 5, 5, 2)]
    assert book.sheets[0].cells[5, 3] == ("formula", "=mine")


def test_an_empty_table_grows():
    book = Book(rows=0)
    target = OpenWorkbookTarget(book)
    target.set_table("Shots", rows_of(3))
    target.save()
    assert book.table.rows == 3


def test_a_name_may_be_of_one_sheet():
    book = Book()
    target = OpenWorkbookTarget(book)
    target.set_name("Other!day", 7)
    target.save()
    assert book.log == [("Other", 1, 1, 1, 1)]
    target = OpenWorkbookTarget(Book())
    target.set_name("day", 7)
    target.save()
    assert len(target.book.log) == 2  # a name without a sheet is meant wherever it stands


def test_units_of_headers_are_converted_and_a_failure_names_the_row():
    book = Book()
    target = OpenWorkbookTarget(book, convert=lambda key, value, unit: value * 1000)
    target.set_table("Shots", [{"Volume": 1.5}])
    target.save()
    assert book.sheets[0].cells[5, 4] == 1500.0

    def refuse(key, value, unit):
        raise InputError(Problem("", message=f"no such unit {unit}"))

    target = OpenWorkbookTarget(Book(), convert=refuse)
    target.set_table("Shots", [{"Volume": 1.5}])
    with pytest.raises(TemplateError, match=r"row 1, Volume .mL.: no such unit mL"):
        target.save()


def test_all_problems_are_raised_before_anything_is_written():
    book = Book()
    target = OpenWorkbookTarget(book, required=["Shots[Lot]", "shift", "day", "Shots"])
    target.set_name("rate", 3)
    target.set_name("inside", 3)
    target.set_name("day", float("nan"))
    target.set_table("Shots", [{"Volume": float("inf")}, {"Note": object()}])
    with pytest.raises(TemplateError) as caught:
        target.save()
    said = str(caught.value)
    for words in (
        "name rate",
        "inside the table Shots",
        "name day: is nan",
        "row 1, Volume [mL]",
        "row 2, Note",
        "the column Lot is missing",
        "shift",
    ):
        assert words in said
    assert book.log == [] and book.app.history == []


def test_what_has_no_place_is_noted():
    target = OpenWorkbookTarget(Book())
    target.set_name("nowhere", 1)
    target.set_table("Cups", [{"a": 1}])
    target.set_table("Shots", [{"Colour": 1, "Time": 2}])
    notes = target.save()
    assert len(notes) == 3
    assert "no name nowhere" in notes[0] or any("nowhere" in note for note in notes)
    assert any("Cups" in note for note in notes) and any("Colour" in note for note in notes)


def test_excel_is_quiet_while_it_is_written_and_as_before_afterwards():
    book = Book()
    target = OpenWorkbookTarget(book)
    target.set_name("day", 1)
    target.save()
    assert book.app.history[:2] == [("screen_updating", False), ("calculation", "manual")]
    assert (book.app.screen_updating, book.app.calculation) == (True, "automatic")
    book = Book()
    book.names[0].area.sheet = None  # the write fails
    target = OpenWorkbookTarget(book)
    target.set_name("day", 1)
    target.set_table("Shots", rows_of(1))
    with pytest.raises(AttributeError):
        target.save()
    assert (book.app.screen_updating, book.app.calculation) == (True, "automatic")


@given(st.text(max_size=20))
def test_a_text_is_never_read_as_anything_else(text):
    """Whatever it looks like (=formula, date, number), it goes in behind an apostrophe."""
    shown = live_value(text)
    assert (
        shown is None
        if not text
        else shown.startswith("'") and len(shown) == len(text.replace("\r\n", "\n")) + 1
    )


def test_values_as_excel_takes_them():
    assert live_value(dt.timedelta(hours=36)) == 1.5
    assert live_value(dt.time(18)) == 0.75
    assert live_value(dt.date(2026, 3, 2)) == dt.date(2026, 3, 2)
    aware = dt.datetime(2026, 3, 2, 6, tzinfo=dt.UTC)
    assert live_value(aware) == dt.datetime(2026, 3, 2, 6)
    assert live_value(Decimal("1.5")) == 1.5 and live_value(True) is True
    assert live_value(CellError("#N/A")) == "#N/A" and live_value(None) is None
    numpy = pytest.importorskip("numpy")
    assert live_value(numpy.float64(2.5)) == 2.5 and live_value(numpy.bool_(True)) is True


def test_the_template_is_never_written_over(template):
    before = template.read_bytes()
    target = FileTarget(template, template)
    target.set_name("day", 1)
    with pytest.raises(FileError):
        target.save()
    assert template.read_bytes() == before


def test_without_excel_or_xlwings_the_reason_is_given(monkeypatch):
    monkeypatch.setitem(sys.modules, "xlwings", None)
    with pytest.raises(FileError, match="pip install xlwings"):
        open_workbook()

    class Books(list):
        active = property(lambda self: self[0])

    first, second = Book(), Book()
    second.name = "other.xlsx"
    stand_in = type(sys)("xlwings")
    stand_in.books = Books([first, second])
    monkeypatch.setitem(sys.modules, "xlwings", stand_in)
    assert open_workbook() is first
    assert open_workbook("folder/Other.xlsx") is second
    with pytest.raises(FileError, match=r"plan\.xlsx is not open in Excel .*card\.xlsx, other\.xlsx"):
        open_workbook("plan.xlsx")
    stand_in.books = None
    with pytest.raises(FileError, match="Excel was not reached"):
        open_workbook()
