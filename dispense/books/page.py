"""Pages of a report written from top to bottom, and the sheet behind their charts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.chart import Reference
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from . import style

__all__ = ["Data", "Page", "is_figure", "sentence"]

CHART_ROWS = 17
WIDE = 150  # characters across: upright, such a sheet would print too small to read
SMALLEST = 0.85  # of the size at which a sheet fills the width, for one page to be read well: judged by eye
LANDSCAPE_ROWS, PORTRAIT_ROWS = 34, 74  # that still read well on one page
_LEFT = Alignment(horizontal="left", vertical="center", wrap_text=True, indent=1)
_RIGHT = Alignment(horizontal="right", vertical="center")


BOLD_SHARE = 0.9  # of the letters of a line that go into it in bold type; judged from rendered pages


def _lines_of(text: str, width: float) -> int:
    """Lines that a text takes in a column when wrapped at words."""
    return style.wrapped_lines(text, style.NARROW * width)


class Data:
    """The last sheet: what the charts draw, block beside block."""

    def __init__(self, book: Workbook):
        self.sheet: Worksheet = book.create_sheet("Chart data")
        style.put(self.sheet["A1"], "What the charts draw")
        style.title(self.sheet["A1"])
        style.put(
            self.sheet["A2"], "Behind the charts of the other sheets; hidden, so that it prints no page."
        )
        self.sheet["A2"].font = style.NOTE
        self.column = 1

    def block(self, title: str, columns: Sequence[Any], form: str = "0.###") -> Any:
        """A block of columns, each a header and its values; returns their cells for charts."""
        style.put(self.sheet.cell(3, self.column), title)
        self.sheet.cell(3, self.column).font = style.SECTION
        found = []
        for header, values in columns:
            longest = max((len(value) for value in values if isinstance(value, str)), default=0)
            style.set_width(self.sheet, self.column, max(11, len(header) * 0.62 + 2, longest))
            cell = self.sheet.cell(4, self.column)
            style.put(cell, header)
            style.header(cell, right=True)
            for row, value in enumerate(values, 5):
                cell = self.sheet.cell(row, self.column)
                style.put(cell, value)
                cell.font, cell.number_format = style.BODY, form
            found.append(
                Reference(
                    self.sheet,
                    min_col=self.column,
                    max_col=self.column,
                    min_row=5,
                    max_row=max(5, 4 + len(values)),
                )
            )
            self.column += 1
        style.set_width(self.sheet, self.column, 3)
        self.column += 1
        return found

    def close(self) -> None:
        """Hidden, and so not printed."""
        self.sheet.row_dimensions[4].height = 42
        self.sheet.freeze_panes = "A5"
        style.page(self.sheet)
        self.sheet.sheet_state = "hidden"


class Page:
    """One sheet, written from top to bottom on a grid of columns."""

    def __init__(self, book: Workbook, name: str, heading: str, widths: Sequence[float], under: str = ""):
        self.sheet: Worksheet = book.create_sheet(_free_name(book, name))
        self.widths = list(widths)
        self.turned = False
        self.headings: list[int] = []
        for number, width in enumerate(widths, 1):
            style.set_width(self.sheet, number, width)
        self.sheet.sheet_view.showGridLines = False
        self.row = 1
        style.put(self.sheet["A1"], heading)
        self.sheet["A1"].font = style.HEADING
        self.sheet.row_dimensions[1].height = 20
        self.row = 2
        if under:
            self.text(under, style.NOTE)
        self._answer_row = self.row
        self.row += 2

    @property
    def total(self) -> float:
        """Characters across the page."""
        return sum(self.widths)

    def text(self, words: str, font=style.BODY, *, warning: bool = False) -> None:
        """A text across the page, as high as it needs."""
        columns = len(self.widths)
        self.sheet.merge_cells(start_row=self.row, start_column=1, end_row=self.row, end_column=columns)
        cell = self.sheet.cell(self.row, 1)
        style.put(cell, words)
        cell.font, cell.alignment = font, style.WRAP
        if warning:
            style.warning_cell(cell)
            for column in range(2, columns + 1):
                self.sheet.cell(self.row, column).fill = style.WARNING_FILL
        room = self.total - 3 if not warning else BOLD_SHARE * (self.total - 3)
        self.sheet.row_dimensions[self.row].height = 13.5 * _lines_of(words, room) + 3
        self.row += 1

    def answer(self, words: str, good: bool = True) -> None:
        """What the reader came for, below the heading and larger than all else on the page."""
        if not words:
            return
        below, self.row = self.row, self._answer_row
        self.text(sentence(words) if good else f"▲ {sentence(words)}", style.ANSWER)
        lines = _lines_of(words, (self.total - 3) * style.BODY.size / style.ANSWER.size)
        self.sheet.row_dimensions[self._answer_row].height = 1.35 * style.ANSWER.size * lines + 4
        self.row = below

    def texts(self, title: str, words: Sequence[str], *, warning: bool = False) -> None:
        """A section of texts, nothing where there are none."""
        if words:
            self.section(title)
            for item in dict.fromkeys(words):
                self.text(sentence(item), warning=warning)
            self.row += 1

    def section(self, words: str) -> None:
        """A heading with a rule below."""
        self.headings.append(self.row)
        style.put(self.sheet.cell(self.row, 1), words)
        self.sheet.cell(self.row, 1).font = style.SECTION
        for column in range(1, len(self.widths) + 1):
            self.sheet.cell(self.row, column).border = style.RESULT_BORDER
        self.sheet.row_dimensions[self.row].height = 19
        self.row += 1

    def figures(self, rows: Sequence[tuple]) -> dict[str, str]:
        """Labelled figures: (label, value or formula, unit, format, is an input). Cells by label."""
        cells = {}
        label_width = sum(self.widths[:2])
        for label, value, unit, form, is_input in rows:
            self.sheet.merge_cells(start_row=self.row, start_column=1, end_row=self.row, end_column=2)
            name = self.sheet.cell(self.row, 1)
            style.put(name, f"{label} [{unit}]" if unit else label)
            name.font, name.alignment = style.BODY, _LEFT
            cell = self.sheet.cell(self.row, 3)
            is_text = isinstance(value, str) and not isinstance(value, style.Live)
            style.put(cell, "not known" if value is None else value)
            (style.input_cell if is_input else style.result_cell)(cell)
            cell.number_format = form
            height = _lines_of(str(name.value), label_width - 2)
            if is_text or value is None:
                last = len(self.widths)
                self.sheet.merge_cells(start_row=self.row, start_column=3, end_row=self.row, end_column=last)
                cell.alignment = _LEFT
                height = max(height, _lines_of(str(cell.value), sum(self.widths[2:]) - 2))
            else:
                cell.alignment = _RIGHT
            self.sheet.row_dimensions[self.row].height = 13.5 * height + 4
            cells[label] = f"$C${self.row}"
            self.row += 1
        self.row += 1
        return cells

    def table(
        self,
        headers: Sequence[str],
        rows: Sequence[Sequence[Any]],
        forms: Sequence[str] = (),
        marks: Sequence[bool] = (),
    ) -> int:
        """A table; a `Live` text is a formula. Returns its first data row.

        `marks` says which rows to mark as a warning.
        """
        forms = list(forms) or ["General"] * len(headers)
        numeric = [
            forms[place] != "@" and any(is_figure(row[place]) for row in rows)
            for place in range(len(headers))
        ]
        height = 1
        for number, header in enumerate(headers, 1):
            cell = self.sheet.cell(self.row, number)
            style.put(cell, header)
            style.header(cell, right=numeric[number - 1])
            height = max(height, _lines_of(header, self.widths[number - 1] - 1.5))
        self.sheet.row_dimensions[self.row].height = 13.5 * height + 5
        self.row += 1
        first = self.row
        for place, values in enumerate(rows):
            height = 1
            for number, value in enumerate(values, 1):
                cell = self.sheet.cell(self.row, number)
                style.put(cell, value)
                cell.font, cell.border = style.BODY, style.BORDER
                cell.number_format = forms[number - 1]
                cell.alignment = style.RIGHT if numeric[number - 1] else style.WRAP
                if isinstance(value, str) and not isinstance(value, style.Live):
                    height = max(height, _lines_of(value, self.widths[number - 1] - 2))
                if place < len(marks) and marks[place]:
                    cell.font, cell.fill = style.BOLD, style.WARNING_FILL
            self.sheet.row_dimensions[self.row].height = 13.5 * height + 3
            self.row += 1
        self.row += 1
        return first

    def charts(self, charts: Sequence[Any]) -> None:
        """Charts side by side over the columns of the page, with room below."""
        ends = np.cumsum(self.widths)
        goals = [self.total * (place + 1) / len(charts) for place in range(len(charts))]
        stops = [int(np.abs(ends - goal).argmin()) + 1 for goal in goals]
        first = 0
        for chart, stop in zip(charts, stops, strict=True):
            chart.width = sum(map(_centimetres, self.widths[first:stop])) - 0.25
            self.sheet.add_chart(chart, f"{get_column_letter(first + 1)}{self.row}")
            first = stop
        for row in range(self.row, self.row + CHART_ROWS):
            self.sheet.row_dimensions[row].height = 15
        self.row += CHART_ROWS

    def turn(self) -> None:
        """Begin a new printed page."""
        self.sheet.row_breaks.append(Break(id=self.row - 1))
        self.turned = True

    def close(self, *, header_row: int = 0) -> None:
        """Print set-up: one page where it reads well, upright where it is long and not too wide."""
        last = max(self.sheet.max_row, self.row - 1)
        is_wide = sum(self.widths) > WIDE
        style.page(
            self.sheet, landscape=last <= LANDSCAPE_ROWS or header_row > 0 or is_wide, header_row=header_row
        )
        self.sheet.print_area = f"A1:{get_column_letter(len(self.widths))}{last}"
        heights = [self.sheet.row_dimensions[row].height or 15.0 for row in range(1, last + 3)]
        is_legible = SMALLEST * sum(heights[:last]) <= self._room()
        if last <= PORTRAIT_ROWS and is_legible and not (header_row or self.turned or is_wide):
            self.sheet.page_setup.fitToHeight = 1
        elif not header_row:
            self._keep_headings(last, heights)

    def _room(self) -> float:
        """Points of the sheet on a page of A4, where it is printed as wide as the paper."""
        margins, (wide, high) = self.sheet.page_margins, (8.27, 11.69)  # inches
        if self.sheet.page_setup.orientation == "landscape":
            wide, high = high, wide
        wide -= margins.left + margins.right
        shrunk = max(sum(map(_centimetres, self.widths)) / 2.54 / wide, 1.0)
        return 72.0 * (high - margins.top - margins.bottom) * shrunk

    def _keep_headings(self, last: int, heights: Sequence[float]) -> None:
        """A new page before a heading that would stand at the foot of one, away from its text.

        Programs and papers differ by a row or so, so the last twentieth of a page counts as its foot.
        """
        room = self._room()
        turns = {place.id + 1 for place in self.sheet.row_breaks.brk}
        used = 0.0
        for row in range(1, last + 1):
            if row in turns:
                used = 0.0
            elif row in self.headings and used and used + sum(heights[row - 1 : row + 2]) > 0.95 * room:
                self.sheet.row_breaks.append(Break(id=row - 1))
                used = 0.0
            elif used + heights[row - 1] > room:
                used = 0.0
            used += heights[row - 1]


def _centimetres(width: float) -> float:
    """Width of a column of so many characters."""
    return (7.0 * width + 5.0) / 96.0 * 2.54


def is_figure(value: Any) -> bool:
    """Whether a cell with this value shows a number."""
    return isinstance(value, style.Live | int | float | np.number) and not isinstance(value, bool)


def _free_name(book: Workbook, name: str) -> str:
    """A sheet name that is free and allowed."""
    base = "".join(" " if char in "[]:*?/\\'" else char for char in name)[:28].strip() or "Sheet"
    taken = {sheet.title.lower() for sheet in book.worksheets}
    free, count = base, 1
    while free.lower() in taken:
        count += 1
        free = f"{base} {count}"
    return free


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".") if text else ""
