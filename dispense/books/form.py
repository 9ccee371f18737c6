"""A printed form laid out from the declarations of a sheet: figures, tables, boxes to write in.

A `Form` places named cells and Excel tables of a `SheetSpec` one below the other on a grid of
columns. Labels, headers and units come from the fields; formats round a figure to what it is worth.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.chart import BarChart, LineChart, Reference, Series
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.formatting.rule import FormulaRule, Rule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.styles.numbers import NumberFormat
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.table import Table, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from ..base.clock import FAR
from ..base.fields import Field
from ..base.language import language, translated
from ..base.measures import measures
from ..base.picture import POINT
from ..base.units import AS_GIVEN
from ..sheets.layout import (
    OTHER_DAY,
    THREE,
    Axes,
    Calculated,
    Column,
    Drawn,
    Written,
    column_key,
    form_in_unit,
    form_of,
)
from ..sheets.litres import LARGE, PLAIN
from ..sheets.spec import SheetSpec
from ..xlsx.shapes import HEADED, PICTURE
from ..xlsx.template_units import stated_unit
from . import style
from .charts import add_legend, dress
from .pages import NOTE_ON, ROW_OF, row_height, text_lines

__all__ = ["STAMP_MARK", "Form", "FormBook"]

STAMP_MARK = "[stamp]"  # in a footer, where the stamp goes
WHOSE_MARK = "[whose]"  # in a header, where station, day and shift go
LINE_NAME = 16.0  # characters that the name of a line has at least
MARGIN = 0.45  # inches above and below a form

OTHER_DAYS = ((FAR - 1, "ddd d mmm yyyy hh:mm"), (0, OTHER_DAY))  # days away, the furthest first
LIGHT = "A9A9A9"

HEADLINE = Font(name=style.FAMILY, size=28, bold=True, color=style.DARK)
FORM_TITLE = Font(name=style.FAMILY, size=14, bold=True, color=style.ACCENT)
FIGURE = Font(name=style.FAMILY, size=11, bold=True, color=style.DARK)
DESK, STANDING = 9.0, 10.0  # points of what is read at a desk, and standing
LABEL_DESK = 8.0  # points of the label over a figure
_HAIR = Side(style="thin", color=style.RULE)
_RULE = Side(style="medium", color=style.ACCENT)
_BOX = Border(left=_HAIR, right=_HAIR, top=_HAIR, bottom=_HAIR)
_UNDER = Border(bottom=_HAIR)
_WRITE = Border(*(Side(style="thin", color=style.GREY) for _ in range(4)))  # a box to write in
_MARKED = PatternFill(bgColor=style.WARNING_FILL.start_color, fill_type="solid")
_NUMERIC = ("number", "whole", "date", "moment")


_POINT = 12700  # of the drawing units that lines are measured in
_LINES = {  # ink and width in points of a line by its look
    "marked": (style.DARK, 2.0),
    "solid": (LIGHT, 1.25),
    "dash": (style.GREY, 1.25),
    "lgDash": (style.GREY, 1.25),
}
_BARS = {"dark": style.ACCENT, "light": LIGHT}


class FormBook:
    """The workbook of a sheet; `page` adds a worksheet."""

    def __init__(self, spec: SheetSpec):
        self.spec = spec
        self.book = Workbook()
        self.book.remove(self.book.active)
        self.forms: list[Form] = []

    def page(
        self,
        title: str,
        widths: Sequence[float],
        *,
        landscape: bool,
        beside: Sequence[float] = (),
        standing: bool = False,
    ) -> Form:
        """A new worksheet: the widths of its columns in characters, how it lies.

        Columns `beside` them are not printed; what is read `standing` has larger type.
        """
        form = Form(
            self.book, self.spec, title, widths, landscape=landscape, beside=beside, standing=standing
        )
        self.forms.append(form)
        return form

    def close(self) -> None:
        """Set what is printed of each worksheet."""
        for form in self.forms:
            form.close()


class Form:
    """One worksheet of a template, written from top to bottom: a `sheets.layout.Form`."""

    def __init__(
        self,
        book: Workbook,
        spec: SheetSpec,
        title: str,
        widths: Sequence[float],
        *,
        landscape: bool,
        beside: Sequence[float] = (),
        standing: bool = False,
    ):
        self.book, self.spec = book, spec
        self.title = title  # in English
        self.ws: Worksheet = book.create_sheet(translated(title))
        self.row = 1
        self.columns, self.widths = len(widths), tuple(widths)  # of what is printed
        self.has_beside = bool(beside)
        for place, width in enumerate((*widths, *beside), 1):
            style.set_width(self.ws, place, width)
        self.size = STANDING if standing else DESK
        self.label = Font(name=style.FAMILY, size=STANDING if standing else LABEL_DESK, color=style.GREY)
        self.small = Font(name=style.FAMILY, size=self.size, color=style.DARK)
        self.small_bold = Font(name=style.FAMILY, size=self.size, bold=True, color=style.DARK)
        self.small_header = Font(name=style.FAMILY, size=self.size, bold=True, color="FFFFFF")
        self.fields = {item.name: item for item in spec.names}
        self.ws.sheet_view.showGridLines = False
        style.page(self.ws, landscape=landscape)
        margins = self.ws.page_margins
        margins.top = margins.bottom = MARGIN
        margins.header = margins.footer = MARGIN / 2.0
        header, footer = self.ws.oddHeader, self.ws.oddFooter
        header.left.text, header.left.size = translated(spec.title), 9
        header.center.text, header.center.size = WHOSE_MARK, 9
        header.right.text, header.right.size = translated("page &P of &N"), 9
        footer.left.text, footer.left.size = STAMP_MARK, 8
        footer.right.text = None
        self.ranges: dict[str, tuple[int, dict[str, str]]] = {}  # data row and letters by table
        self.day = ""  # cell of the sheet's day: a time of another day is shown with its date

    # -- pieces -----------------------------------------------------------------------------

    def _cell(self, column: int, value: str | float | None = None, row: int | None = None) -> Cell:
        """A cell of the current row."""
        return self.ws.cell(self.row if row is None else row, column, value)

    def _merge(self, column: int, span: int, row: int | None = None) -> None:
        """Merge cells of one row."""
        row = self.row if row is None else row
        if span > 1:
            self.ws.merge_cells(start_row=row, start_column=column, end_row=row, end_column=column + span - 1)

    def _name(self, name: str, column: int, row: int | None = None) -> None:
        """Let a defined name refer to a cell."""
        letter, row = get_column_letter(column), self.row if row is None else row
        if name == "day":
            self.day = f"${letter}${row}"
        self.book.defined_names[name] = DefinedName(
            name, attr_text=f"{_quoted(self.ws.title)}!${letter}${row}"
        )

    def _key(self, table: str, name: str, column: int) -> None:
        """A hidden name for the header of a column, by which it is found whatever words stand there."""
        self._hidden(column_key(table, name), column)

    def _hidden(self, key: str, column: int) -> None:
        """A hidden name for a cell of the current row."""
        address = f"{_quoted(self.ws.title)}!${get_column_letter(column)}${self.row}"
        self.book.defined_names[key] = DefinedName(key, attr_text=address, hidden=True)

    def _height(self, points: float) -> None:
        """The height of the current row."""
        self.ws.row_dimensions[self.row].height = points

    def head(self, *, named: bool = True) -> None:
        """Title, revision, plant and line, and the headline: the largest thing on the page."""
        if named:  # both run over the empty cells between
            self._named_text("plant", 1, "left")
            self._named_text("revision", self.columns, "right")
            self._height(row_height(1, self.size) - 1.0)
            self.row += 1
        words = translated(self.spec.title)
        self._cell(1, words if named else f"{words}: {translated(self.title.lower())}")
        self._cell(1).font = FORM_TITLE
        self._height(21)
        if not named:
            self.row += 1
            return
        last = self.columns
        while sum(self.widths[last - 1 :]) < LINE_NAME and last > 2:
            last -= 1  # the first column of the line's name
        self._merge(last, self.columns - last + 1)
        self._named_text("line", last, "right")
        for column in range(1, self.columns + 1):
            self._cell(column).border = Border(bottom=_RULE)
        self.row += 1
        self._merge(1, self.columns)
        cell = self._cell(1)
        cell.font = HEADLINE
        cell.alignment = Alignment(vertical="center", wrap_text=True)
        self._name("headline", 1)
        self._height(39)
        self.row += 1

    def _named_text(self, name: str, column: int, side: str) -> None:
        """A named cell of a text without a label."""
        cell = self._cell(column)
        cell.font = self.small_bold
        cell.alignment = Alignment(horizontal=side, vertical="center")
        self._name(name, column)

    def cards(
        self, *items: tuple[str, int], small: bool = False, forms: Mapping[str, str] | None = None
    ) -> None:
        """Labelled figures side by side, `(name, columns)` each; `small` ones are long texts."""
        column = 1
        for name, span in items:
            item = self.fields[name]
            self._merge(column, span)
            self._merge(column, span, self.row + 1)
            label, value = self._cell(column, _titled(item)), self._cell(column, row=self.row + 1)
            apart = int(column > 1)  # so that a long text does not run up to the next
            label.font, label.alignment = (
                self.label,
                Alignment(horizontal="left", vertical="bottom", indent=apart),
            )
            value.font = self.small_bold if small else FIGURE
            value.number_format = _of_language(_digits((forms or {}).get(name) or form_of(item), item))
            is_text = item.kind == "text"
            value.alignment = Alignment(
                horizontal="left", vertical="top", wrap_text=is_text, shrink_to_fit=not is_text, indent=apart
            )
            for place in range(column, column + span):
                self._cell(place, row=self.row + 1).border = _UNDER
            self._name(name, column, self.row + 1)
            column += span
        self._height(row_height(1, self.label.sz) - 2.0)
        self.ws.row_dimensions[self.row + 1].height = 16
        self.row += 2

    def section(
        self, text: str, note: str = "", *, of: tuple[str, str] | None = None, more: tuple[int, str] = (0, "")
    ) -> None:
        """A heading between tables, with a note behind it, and one `more` from a column on.

        The last note speaks `of` a column of a table, and goes with it where a sheet leaves that out.
        """
        self._height(4)
        self.row += 1
        text = translated(text)
        cell = self._cell(1, text)
        cell.font = style.SECTION
        cell.alignment = Alignment(vertical="bottom")
        column = 1 + max(2, round(len(text) / 8))
        for place, words in ((column, note), more):
            if words:
                self._cell(place, translated(words)).font = style.NOTE
                self._cell(place).alignment = Alignment(vertical="bottom")
                column = place
        if of is not None:
            self._hidden(f"{NOTE_ON}.{'.'.join(of)}", column)
        self._height(18)
        self.row += 1

    def _with_unit(self, title: str) -> str:
        """A title in the language and the unit that are printed."""
        words, mark, unit = self._of_size(title).partition(" [")
        return translated(words) + measures().title(mark + unit)

    def _of_size(self, title: str) -> str:
        """A title with litres where the sheet tells its bulk volumes in them."""
        return title.replace(f"[{PLAIN}]", f"[{LARGE}]") if self.spec.in_litres else title

    def put(self, column: int, text: str, *, bold: bool = False) -> None:
        """A text or a formula of one cell; the row goes on."""
        words = _in_formula(text) if text.startswith("=") else self._with_unit(text)
        self._cell(column, words).font = style.BOLD if bold else style.BODY

    def repeat(self, *items: tuple[str, int]) -> None:
        """Values of the first worksheet, `(name, column)` each, on another one."""
        for name, column in items:
            cell = self._cell(column, f"={self.book.defined_names[name].attr_text}")
            cell.font, cell.alignment = self.small_bold, style.LEFT
            cell.number_format = "yyyy-mm-dd" if name == "day" else "General"
            if name == "day":
                self.day = f"${cell.column_letter}${cell.row}"

    def named(self, name: str, column: int) -> str:
        """A figure behind a text in the same row; returns its fixed address."""
        self._name(name, column)
        cell = self._cell(column)
        cell.font, cell.alignment = style.BOLD, style.RIGHT
        cell.number_format = _digits(THREE, self.fields[name])
        return f"${cell.column_letter}${cell.row}"

    def entry(self, column: int, value: float | None, form: str, span: int = 1, name: str = "") -> str:
        """A yellow cell for the reader to fill in; the row goes on; returns its fixed address."""
        cell = self._cell(column, value)
        style.input_cell(cell)
        cell.font, cell.border, cell.number_format = self.small_bold, _WRITE, _of_language(form)
        cell.alignment = Alignment(horizontal="right", vertical="center")
        self._merge(column, span)
        if name:
            self._name(name, column)
        return f"${cell.column_letter}${cell.row}"

    def choice(self, name: str, span: int, table: str, column: str) -> str:
        """A yellow cell for one of a table's values; returns its fixed address."""
        address = self.entry(1, None, "@", span, name)
        self._cell(1).alignment = Alignment(horizontal="left", shrink_to_fit=True)
        row, letters = self.ranges[table]
        listed = f"${letters[column]}${row}"
        choice = DataValidation(
            "list",
            formula1=f"={listed}:{listed}",
            allow_blank=True,
            showErrorMessage=True,
            errorStyle="warning",
            error=translated("This is not in the table above."),
        )
        choice.add(address.replace("$", ""))
        self.ws.add_data_validation(choice)
        return address

    def skip(self, rows: int = 1) -> None:
        """Go on so many rows below."""
        self.row += rows

    # -- tables -----------------------------------------------------------------------------

    def table(
        self,
        key: str,
        columns: Sequence[Column],
        *,
        forms: Mapping[str, str] | None = None,
        across: bool = False,
        big: bool = False,
        repeat: bool = False,
        rows_high: float | None = None,
        filtered: bool = False,
        marks: str = "",
        stress: Mapping[str, Sequence[str]] | None = None,
        in_order: str = "",
    ) -> None:
        """A table with one sample row; `across` lets its last text run over the cells beside it.

        `marks` names the column whose warning mark tells the whole row apart; `stress` the words of a
        column by which a row stands in bold; `in_order` the times by which the rows stand: after midnight
        the first tells its date, and those of the same day below it need not.
        """
        fields = {item.name: item for item in self.spec.columns(key)}
        letters = {}
        for place, column in enumerate(columns, 1):
            name = column if isinstance(column, str) else column.name
            letters[name] = get_column_letter(place)
        head, data = self.row, self.row + 1
        titles, lines = [], 1
        is_right = [
            not isinstance(column, Written)
            and fields[column.name if isinstance(column, Calculated) else column].kind in _NUMERIC
            for column in columns
        ]
        for place, column in enumerate(columns, 1):
            item: Field | None = None
            if isinstance(column, Written):
                title = self._with_unit(column.title)
                self._key(key, column.name, place)
            else:
                item = fields[column.name if isinstance(column, Calculated) else column]
                title = _titled(item)
                self._key(key, item.name, place)
            titles.append(title)
            right = is_right[place - 1]
            apart = int(right and place < len(columns) and not is_right[place])  # from the words beside it
            self._header(place, title, right, filtered, apart)
            width = self.ws.column_dimensions[get_column_letter(place)].width
            if not (across and place == len(columns)):
                indent = apart if right else int(place > 1)
                lines = max(lines, text_lines(title, width, self.size, indent))
            cell = self._cell(place, row=data)
            self._sample(cell, column, item, forms or {}, big and item is not None and item.name != marks)
            if item is not None and item.kind == "moment":
                marked = [_is_marked(f"${letters[marks]}{data}")] if marks else []
                bold = [_says(f"${letters[by]}{data}", words) for by, words in (stress or {}).items()]
                self._date_other_days(cell, marked, bold, item.name == in_order)
            cell.alignment = Alignment(
                horizontal="right" if right else "left",
                vertical="center",
                shrink_to_fit=right,
                wrap_text=not right and item is not None and not (across and place == len(columns)),
                indent=apart if right else int(place > 1),
            )
            if isinstance(column, Calculated):
                cell.value = _in_row(_in_formula(column.formula), letters, data)
                cell.fill = style.RESULT_FILL
        if across:
            self._run_over(len(columns) + 1, head, is_whole=bool(marks))
        self._height(row_height(lines, self.size) + (13 if filtered else 2))
        if rows_high:
            self.ws.row_dimensions[data].height = rows_high
        last = get_column_letter(len(columns))
        table = Table(displayName=key, name=key, ref=f"A{head}:{last}{data}")
        table.tableStyleInfo = TableStyleInfo(showRowStripes=False)
        table._initialise_columns()
        for listed, title in zip(table.tableColumns, titles, strict=True):
            listed.name = title
        if not filtered:
            table.autoFilter = None
        self.ws.add_table(table)
        self.ranges[key] = (data, letters)
        if marks:
            self._tell_marked(key, marks)
        for name, words in (stress or {}).items():
            self._stress(key, name, words)
        if repeat:
            self.ws.print_title_rows = f"{head}:{head}"
        self.row += 2

    def _run_over(self, first: int, head: int, *, is_whole: bool) -> None:
        """The cells that the last text of a table runs over; `is_whole`: over the whole width."""
        for place in range(first, self.columns + 1):
            self._cell(place, row=head + 1).border = _UNDER
            if is_whole:
                self._cell(place, row=head).fill = style.HEADER_FILL

    def _header(self, place: int, title: str, right: bool, filtered: bool, apart: int) -> None:
        cell = self._cell(place, title)
        style.header(cell, right)
        cell.font = self.small_header
        cell.alignment = Alignment(
            horizontal="right" if right else "left",
            vertical="top" if filtered else "center",
            wrap_text=True,
            indent=apart if right else int(place > 1),
        )

    def _sample(
        self, cell: Cell, column: Column, item: Field | None, forms: Mapping[str, str], big: bool
    ) -> None:
        cell.font = FIGURE if big else self.small
        cell.border = _UNDER
        name = item.name if item else ""
        if item is not None:
            form = column.form if isinstance(column, Calculated) else ""
            cell.number_format = _of_language(_digits(forms.get(name) or form or form_of(item), item))
        if isinstance(column, Written):
            cell.border = _WRITE
            cell.fill = style.INPUT_FILL if not column.tick else PatternFill()

    def _date_other_days(
        self, cell: Cell, marked: Sequence[str], bold: Sequence[str], in_order: bool
    ) -> None:
        """Show a time that is not of the sheet's day with its date, a far one with its year too.

        A row that is `marked` keeps its fill, one that is `bold` its weight: some spreadsheets take the first
        rule of a cell that holds. In a list by time a row of the same day as the one above tells no date.
        """
        if not self.day:
            return
        at = cell.coordinate
        above = f"{cell.column_letter}{cell.row - 1}"
        looks = [(test, {"font": Font(bold=True), "fill": _MARKED}) for test in marked]
        looks += [(test, {"font": Font(bold=True)}) for test in bold]
        for test, look in [*looks, ("", {})]:
            for number, (beyond, form) in enumerate(OTHER_DAYS):
                tests = [f"ISNUMBER({at})", f"ABS(INT({at})-INT({self.day}))>{beyond}", test]
                tests += [f"INT({at})<>INT(N({above}))"] if in_order else []
                shown = NumberFormat(numFmtId=190 + number, formatCode=_of_language(form))
                self.ws.conditional_formatting.add(
                    at,
                    Rule(
                        "expression",
                        formula=[f"AND({','.join(filter(None, tests))})"],
                        dxf=DifferentialStyle(numFmt=shown, **look),
                    ),
                )

    def warnings(self, key: str, columns: Sequence[str] = ("warning",)) -> None:
        """A table of warnings over the whole width; a marked row is told apart by colour too."""
        self.table(key, columns, across=True, marks=columns[-1])
        for place in range(1, len(columns) + 1):
            self.ws.cell(self.ranges[key][0], place).font = self.small
        if len(columns) == 1 or self.size == STANDING:  # the heading above says what they are
            self.ws.row_dimensions[self.ranges[key][0] - 1].hidden = True

    def _tell_marked(self, key: str, name: str) -> None:
        """Tell rows apart, by colour and weight, whose column begins with a warning mark."""
        data, letters = self.ranges[key]
        area = f"A{data}:{get_column_letter(self.columns)}{data}"
        rule = FormulaRule([_is_marked(f"${letters[name]}{data}")], font=Font(bold=True), fill=_MARKED)
        self.ws.conditional_formatting.add(area, rule)

    def _stress(self, key: str, name: str, words: Sequence[str]) -> None:
        """Rows in bold whose column says one of some words."""
        data, letters = self.ranges[key]
        asked = _says(f"${letters[name]}{data}", words)
        area = f"A{data}:{get_column_letter(len(letters))}{data}"
        self.ws.conditional_formatting.add(area, FormulaRule([asked], font=Font(bold=True)))

    def area(self, key: str, name: str) -> str:
        """The cells of a table's column, as a formula writes them."""
        row, letters = self.ranges[key]
        return f"{letters[name]}{row}:{letters[name]}{row}"

    def outer(self, key: str, name: str) -> str:
        """The same from another sheet, fixed."""
        row, letters = self.ranges[key]
        return f"{_quoted(self.ws.title)}!${letters[name]}${row}:${letters[name]}${row}"

    def here(self, name: str) -> str:
        """The cell of a defined name of this worksheet, as a formula writes it."""
        return str(self.book.defined_names[name].attr_text).rpartition("!")[2].replace("$", "")

    def total(self, key: str, names: Iterable[str], forms: Mapping[str, str] | None = None) -> None:
        """A row of sums below the table just written."""
        data, letters = self.ranges[key]
        self.row = max(self.row, data + 1)
        fields = {item.name: item for item in self.spec.columns(key)}
        self._cell(1, translated("Total"))
        for place in range(1, len(self.ws.tables[key].tableColumns) + 1):
            cell = self._cell(place)
            cell.font, cell.border = self.small_bold, Border(top=_HAIR, bottom=_RULE)
            cell.fill = style.RESULT_FILL
        for name in names:
            cell = self.ws[f"{letters[name]}{self.row}"]
            cell.value = f"=SUM({self.area(key, name)})"
            cell.number_format = _digits((forms or {}).get(name) or form_of(fields[name]), fields[name])
            cell.alignment = Alignment(horizontal="right")
        self.row += 1

    def figure(
        self, text: str, formula: str, form: str, span: int, of: tuple[str, str] | None = None
    ) -> None:
        """A label over `span` columns and a computed cell behind it; the row goes on.

        The row is hidden where a sheet leaves out the column of the table `of` which it reckons.
        """
        if of is not None:
            self._hidden(f"{ROW_OF}.{'.'.join(of)}", 1)
        self._merge(1, span)
        label = self._cell(1, self._with_unit(text))
        label.font, label.alignment = self.small, Alignment(horizontal="right", vertical="center")
        cell = self._cell(1 + span, _in_formula(formula))
        style.result_cell(cell)
        cell.font = self.small_bold
        cell.number_format = measures().form(form, stated_unit(self._of_size(text)) or "")
        cell.alignment = Alignment(horizontal="right", vertical="center", shrink_to_fit=True)

    def freeze(self, key: str, columns: int) -> None:
        """Keep the header of a table and its first columns in sight."""
        self.ws.freeze_panes = self.ws.cell(self.ranges[key][0], columns + 1)

    # -- charts -----------------------------------------------------------------------------

    def room(self, rows: int) -> int:
        """Keep rows free for a chart; returns the first of them."""
        self.row += rows
        return self.row - rows

    def picture(self, key: str, size: tuple[float, float], heading: str = "") -> None:
        """Keep room for a picture of a size in mm; the filling draws it, or hides room and heading."""
        if heading:
            first = self.row
            self.section(heading)
            self._area(f"{HEADED}{key}", first, self.row - 1)
        points = size[1] / POINT
        rows = max(1, math.ceil(points / style.PICTURE_ROW))
        for row in range(self.row, self.row + rows):
            self.ws.row_dimensions[row].height = round(points / rows, 2)
            for column in range(1, self.columns + 1):
                self._cell(column, row=row)  # so that the row stands in the file
        self._area(f"{PICTURE}{key}", self.row, self.row + rows - 1)
        self.row += rows

    def _area(self, name: str, first: int, last: int) -> None:
        """A hidden name for rows of the page."""
        address = f"{_quoted(self.ws.title)}!$A${first}:${get_column_letter(self.columns)}${last}"
        self.book.defined_names[name] = DefinedName(name, attr_text=address, hidden=True)

    def close(self) -> None:
        """Set what is printed: not what stands beside the page."""
        if self.has_beside:
            self.ws.print_area = f"A1:{get_column_letter(self.columns)}{self.row - 1}"

    def lines(
        self, key: str, x: str, drawn: Sequence[Drawn], axes: Axes, *, at: int, size: tuple[float, float]
    ) -> None:
        """A chart of lines in the room kept, of a size in cm; the filling sets the scale of its values."""
        chart = LineChart()
        for item in drawn:
            ink, width = _LINES[item.look]
            is_marked = item.look == "marked"
            series = Series(self._column(key, item.column), title=translated(item.title))
            series.graphicalProperties = GraphicalProperties(
                ln=LineProperties(
                    solidFill=ink, w=round(_POINT * width), prstDash=None if is_marked else item.look
                )
            )
            series.marker.symbol = "circle" if is_marked else "none"
            series.smooth = False
            chart.series.append(series)
        # the filling puts its limits here: a fixed scale is one that may be set
        chart.y_axis.scaling.min, chart.y_axis.scaling.max, chart.y_axis.majorUnit = 0.0, 1.0, 0.25
        self._chart(chart, self._column(key, x), axes, at, size)
        if chart.legend is not None:
            chart.legend.position = "r"  # a low chart keeps its height for the lines

    def bars(
        self, key: str, x: str, drawn: Sequence[Drawn], axes: Axes, *, at: int, size: tuple[float, float]
    ) -> None:
        """A chart of stacked bars in the room kept, of a size in cm."""
        chart = BarChart()
        chart.grouping, chart.overlap, chart.gapWidth = "stacked", 100, 60
        for item in drawn:
            series = Series(self._column(key, item.column), title=translated(item.title))
            series.graphicalProperties = GraphicalProperties(solidFill=_BARS[item.look])
            series.graphicalProperties.line = LineProperties(solidFill=style.DARK, w=_POINT // 2)
            chart.series.append(series)
        self._chart(chart, self._column(key, x), axes, at, size)

    def _column(self, key: str, name: str) -> Reference:
        row, letters = self.ranges[key]
        column = column_index_from_string(letters[name])
        return Reference(self.ws, min_col=column, min_row=row, max_row=row)

    def _chart(
        self, chart: BarChart | LineChart, x: Reference, axes: Axes, at: int, size: tuple[float, float]
    ) -> None:
        chart.set_categories(x)
        digits = measures().form(axes.y_form, stated_unit(self._of_size(axes.y)) or "")
        dress(chart, None, self._with_unit(axes.x), self._with_unit(axes.y), y_form=digits)
        add_legend(chart)
        chart.x_axis.number_format = _of_language(axes.x_form)
        chart.width, chart.height = size
        self.ws.add_chart(chart, f"A{at}")

    # -- the end of a form ------------------------------------------------------------------

    def sign_off(self, labels: Sequence[str] = ("Prepared", "Released", "Received on the line")) -> None:
        """Boxes for name, date and signature."""
        self._height(8)
        self.row += 1
        lines = 1
        for text, (column, last) in zip(labels, self._alike(len(labels)), strict=True):
            words = f"{translated(text)}: {translated('name, date, signature')}"
            lines = max(lines, text_lines(words, sum(self.widths[column - 1 : last]), self.label.sz))
            for row, high in ((self.row, row_height(lines, self.label.sz)), (self.row + 1, 20)):
                self._merge(column, last - column + 1, row)
                self.ws.row_dimensions[row].height = high
            self._cell(column, words).font = self.label
            self._cell(column).alignment = Alignment(vertical="top", wrap_text=True)
            for at in range(column, last + 1):
                self._cell(at).border = Border(
                    top=_HAIR, left=_HAIR if at == column else None, right=_HAIR if at == last else None
                )
                self._cell(at, row=self.row + 1).border = Border(
                    bottom=_HAIR, left=_HAIR if at == column else None, right=_HAIR if at == last else None
                )
        self.row += 2

    def _alike(self, count: int) -> list[tuple[int, int]]:
        """First and last column of so many boxes side by side, as alike in width as the columns allow."""
        reach = [0.0]
        for width in self.widths:
            reach.append(reach[-1] + width)
        edges = [0]
        for place in range(1, count):
            free = range(edges[-1] + 1, self.columns - (count - place) + 1)
            edges.append(min(free, key=lambda edge: abs(reach[edge] - reach[-1] * place / count)))
        edges.append(self.columns)
        return [(edge + 1, last) for edge, last in pairwise(edges)]

    def cautions(self) -> None:
        """The cautions, wrapped over the width; the filling gives the row the height it needs."""
        self._height(8)
        self.row += 1
        for row in (self.row, self.row + 1):
            self._merge(1, self.columns, row)
            for column in range(1, self.columns + 1):
                self._cell(column, row=row).fill = style.WARNING_FILL
        self._cell(1, style.WARNING_MARK + translated("Cautions")).font = self.small_bold
        self._height(15)
        self.row += 1
        cell = self._cell(1)
        cell.font = self.small
        cell.alignment = Alignment(vertical="top", wrap_text=True)
        self._height(15)
        self._name("cautions", 1)
        self.row += 1


def _is_marked(cell: str) -> str:
    """A formula that tells whether a text begins with a warning mark, or goes on from a line that does."""
    return f'OR(LEFT({cell},1)="▲",LEFT({cell},3)="   ")'


def _says(cell: str, words: Sequence[str]) -> str:
    """A formula that tells whether a text is one of some words."""
    return "OR(" + ",".join(f'{cell}="{translated(word)}"' for word in words) + ")"


def _titled(item: Field) -> str:
    """The header of a field in the language and the unit that are printed."""
    unit = f" [{measures().unit(item.unit)}]" if item.unit and item.unit != AS_GIVEN else ""
    return translated(item.heading) + unit


def _digits(form: str, item: Field) -> str:
    """The number format of a field with the decimals of the unit that is printed."""
    return measures().form(form_in_unit(form, item), item.unit) if item.kind == "number" else form


def _in_formula(formula: str) -> str:
    """A formula whose texts are in the language that is printed."""
    return re.sub(r'"([^"]*)"', lambda found: f'"{translated(found[1])}"', formula)


def _of_language(form: str) -> str:
    """A number format that names days and months in the language that is printed."""
    return language().locale + form if "ddd" in form or "mmm" in form else form


def _quoted(title: str) -> str:
    return "'" + title.replace("'", "''") + "'"


def _in_row(formula: str, letters: dict[str, str], row: int) -> str:
    """The formula with `{row}` and the cells of its row put in."""
    cells = {name: f"{letter}{row}" for name, letter in letters.items()} | {"row": str(row)}
    return re.sub(r"\{(\w+)\}", lambda found: cells[found[1]], formula)
