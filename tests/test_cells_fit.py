"""Every label and value of every sheet fits its cell in the font it is printed with.

Measured with the outlines of Carlito, whose letters are as wide as those of Calibri by design (its
own description), and by what ECMA-376 part 1, 18.3.1.13 says of column widths: characters of the
widest digit of the standard font, 7 pixels at 96 dpi for Calibri 11, of which 5 pixels are padding.
"""

from __future__ import annotations

import datetime
import functools
import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import pytest
from golden import plans
from PIL import ImageFont
from plans import routed_rows

from dispense.base.language import languages
from dispense.books.plan import new_plan, write_plan
from dispense.jobs.fill import fill

STAMP = "2026-03-01 12:00"
DIGIT, PADDING, INDENT = (
    7,
    5,
    9,
)  # pixels; an indent is three blanks of Calibri 11 (measured in a spreadsheet)
PIXEL = 0.75  # points
STANDARD_HEIGHT = 15.0  # points of a row of Calibri 11
LINE = 1.2207  # height of a line over the font size: ascent 0.952 + descent 0.269 of Carlito's table hhea
EM = 2000  # Carlito's own units: its outlines are measured without hinting
SLACK = 0.5  # points
OTHER_DAY, OTHER_YEAR = "ddd d mmm hh:mm", "ddd d mmm yyyy hh:mm"
_DATES = {
    "hh:mm": "%H:%M",
    "yyyy-mm-dd": "%Y-%m-%d",
    "ddd yyyy-mm-dd": "%a %Y-%m-%d",
    "dd mmm yy": "%d %b %y",
    OTHER_DAY: "%a %d %b %H:%M",
    OTHER_YEAR: "%a %d %b %Y %H:%M",
}


@functools.cache
def font(bold: bool, italic: bool) -> ImageFont.FreeTypeFont:
    """The font that is as wide as the one of the sheets."""
    style = {(0, 0): "Regular", (1, 0): "Bold", (0, 1): "Italic", (1, 1): "BoldItalic"}[bold, italic]
    try:
        return ImageFont.truetype(f"Carlito-{style}.ttf", EM)
    except OSError:
        say = pytest.fail if os.environ.get("DISPENSE_NEEDS_SPREADSHEET") else pytest.skip
        say("the font Carlito is needed: on Debian, install fonts-crosextra-carlito")


@functools.cache
def length(text: str, size: float, bold: bool, italic: bool) -> float:
    """Width of a text in points."""
    return font(bold, italic).getlength(text) * size / EM


def test_the_ruler_itself():
    """Advance widths of Calibri, from memory: a digit 1038, a blank 463 of 2048 units to the em."""
    assert length("0", 2048, False, False) == pytest.approx(1038, abs=2)
    assert length(" ", 2048, False, False) == pytest.approx(463, abs=2)
    # 11 points at 96 dpi: a digit of 7.4 pixels, which spreadsheets take as 7
    assert length("0", 11, False, False) / PIXEL == pytest.approx(7.43, abs=0.02)


def shown(value: object, form: str) -> str:
    """A value as its number format shows it; what has no format of figures adapts to its cell."""
    if isinstance(value, str) or value is None:
        return value or ""
    if isinstance(value, datetime.datetime | datetime.date):
        return value.strftime(_DATES[re.sub(r"^\[\$-\w+\]", "", form)])  # days of any language are as short
    for section in form.split(";"):
        condition = re.match(r"\[([<=])([\d.]+)\](.*)", section)
        code = condition[3] if condition else section
        if condition is None or (value < float(condition[2]) if condition[1] == "<" else value == 0):
            break
    if code in ("General", "@"):
        return f"{value:.4g}"
    if code.startswith('"'):
        return code.strip('"')
    number = re.fullmatch(r"(#,##)?0(?:\.(0+))?(%?)", code)
    assert number, form
    digits = len(number[2] or "")
    return f"{value * 100:.{digits}f}%" if number[3] else f"{value:{',' if number[1] else ''}.{digits}f}"


def test_shown_as_a_spreadsheet_shows_it():
    """By reading the formats: ECMA-376 part 1, 18.8.31."""
    three = "[<10]0.00;[<100]0.0;#,##0"
    assert [shown(value, three) for value in (1.234, 12.34, 12345.6)] == ["1.23", "12.3", "12,346"]
    assert [shown(value, '[=0]"–";[<100]0.0;#,##0') for value in (0, 5, 500)] == ["–", "5.0", "500"]
    litres = "[<0.1]0.0000;[<10]0.000;#,##0.00"
    assert [shown(value, litres) for value in (0.0075, 1.286, 41.144)] == ["0.0075", "1.286", "41.14"]
    assert shown(0.256, "0.0%") == "25.6%" and shown(4000, "#,##0.000") == "4,000.000"
    assert shown(datetime.date(2026, 3, 9), "ddd yyyy-mm-dd") == "Mon 2026-03-09"


@dataclass(frozen=True)
class Misfit:
    """A text that does not fit its cell."""

    sheet: str
    cell: str
    text: str
    needs: float
    has: float
    what: str

    def __str__(self) -> str:
        return (
            f"{self.sheet}!{self.cell} {self.what} {self.needs:.0f} of {self.has:.0f} pt: {self.text[:60]!r}"
        )


class Ruler:
    """The cells of one worksheet and the room they have."""

    def __init__(self, sheet, day: datetime.date | None):
        self.sheet, self.day = sheet, day
        self.merged = {area.coord.split(":")[0]: area for area in sheet.merged_cells.ranges}
        self.pixels: dict[int, int] = {}
        for dimension in sheet.column_dimensions.values():
            for place in range(dimension.min, dimension.max + 1):
                self.pixels[place] = math.trunc(
                    (256 * dimension.width + math.trunc(128 / DIGIT)) / 256 * DIGIT
                )
        self.last = max(self.pixels)

    def misfits(self) -> Iterator[Misfit]:
        """All texts that are wider or higher than their cells."""
        for row in self.sheet.iter_rows():
            for cell in row:
                if cell.value is not None and cell.value != "":
                    yield from self.measured(cell)

    def measured(self, cell) -> Iterator[Misfit]:
        form, bold = cell.number_format, bool(cell.font.b)
        if isinstance(cell.value, datetime.datetime) and "hh" in form and self.day:
            away = abs((cell.value.date() - self.day).days)
            if away:  # the rules of the sheet show it with its date
                bold, form = True, OTHER_DAY if away < 180 else OTHER_YEAR
        text = shown(cell.value, form)
        if isinstance(cell.value, str) and (text[:1] == "▲" or text[:3] == "   "):
            bold = True
        look = (cell.font.sz, bold, bool(cell.font.i))
        area = self.merged.get(cell.coordinate)
        last = area.max_col if area else cell.column
        align = cell.alignment
        if isinstance(cell.value, str) and not align.wrap_text and not area and align.horizontal != "right":
            while last < self.last and self.sheet.cell(cell.row, last + 1).value in (None, ""):
                last += 1
        room = sum(self.pixels[place] for place in range(cell.column, last + 1)) - PADDING
        room = (room - INDENT * int(align.indent or 0)) * PIXEL
        where = f"{self.sheet.title}", cell.coordinate, text
        if not align.wrap_text:
            if (needs := length(text, *look)) > room + SLACK:
                yield Misfit(*where, needs, room, "width")
            return
        if (widest := max(length(word, *look) for word in text.split())) > room + SLACK:
            yield Misfit(*where, widest, room, "a word")
        height = self.sheet.row_dimensions[cell.row].height
        if height is None and not area:
            return  # the spreadsheet makes the row as high as it must be
        needs = lines(text, room + SLACK, look) * LINE * cell.font.sz
        if needs > (height or STANDARD_HEIGHT) + SLACK:
            yield Misfit(*where, needs, height or STANDARD_HEIGHT, "height")


def lines(text: str, room: float, look: tuple[float, bool, bool]) -> int:
    """Lines of a text that is wrapped at words."""
    count = 0
    for paragraph in text.split("\n"):
        line = ""
        count += 1
        for word in paragraph.split(" "):
            longer = f"{line} {word}" if line else word
            if line and length(longer, *look) > room:
                count, line = count + 1, word
            else:
                line = longer
    return count


def misfits(path: Path) -> Iterator[Misfit]:
    """What does not fit in one filled workbook."""
    book = openpyxl.load_workbook(path, data_only=True)
    day = None
    if "day" in book.defined_names:
        title, _, cell = book.defined_names["day"].attr_text.rpartition("!")
        day = book[title.strip("'")][cell.replace("$", "")].value.date()
    for sheet in book:
        yield from Ruler(sheet, day).misfits()


def test_misfits_are_seen(tmp_path):
    """A ruler that never says no proves nothing: widths by the advance widths above."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.column_dimensions[
        "A"
    ].width = 5  # 35 pixels, 30 without padding: 22.5 points, four digits of 11 points
    sheet.column_dimensions["B"].width = 5
    sheet["A1"], sheet["A2"] = 1234, 12345
    sheet["A3"], sheet["B3"] = "00000", "x"
    sheet["A4"] = "00000000"
    sheet["A5"] = "000 000 000"
    for row in (1, 2):
        sheet.cell(row, 1).number_format = "0"
    sheet["A5"].alignment = openpyxl.styles.Alignment(wrap_text=True)
    sheet.row_dimensions[5].height = 15
    book.save(tmp_path / "book.xlsx")
    assert [(item.cell, item.what) for item in misfits(tmp_path / "book.xlsx")] == [
        ("A2", "width"),
        ("A3", "width"),  # its neighbour is not empty; that of A4 is
        ("A5", "height"),
    ]


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", ["demo", "line", *plans.PLANS])
def test_every_label_and_value_fits_its_cell(name, language, tmp_path):
    if name == "demo":
        plan = new_plan(tmp_path / "plan.xlsx", demo=True)
        report = fill(plan, tmp_path / "out", date="2026-03-02", stamp=STAMP, language=language)
    else:
        if name == "line":
            write_plan(routed_rows(), tmp_path / "plan.xlsx")
        else:
            plans.write(plans.PLANS[name], tmp_path / "plan.xlsx")
        report = fill(tmp_path / "plan.xlsx", tmp_path / "out", stamp=STAMP, language=language)
    found = {f"{path.stem} {item}": None for path in report.files for item in misfits(path)}
    assert not found, "\n".join(found)
