"""The forecast as a workbook to forward: the answer first, then one sheet for each question.

Totals and the formulas of the stock rules are live and hold their values too; charts are the
spreadsheet's own, told apart by pattern as well as by colour. Same forecast, same bytes.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from functools import cached_property
from typing import Any

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.chart import BarChart, LineChart, Reference, Series
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.table import Table as NamedTable
from openpyxl.worksheet.table import TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from ..base.findings import KINDS, SHORTAGE
from ..forecast.results import Forecast, Table
from ..forecast.stock import ALL_CAUSES, CAUSE_WORDS, cause_column
from ..forecast.tables import USE_WORDS
from . import style
from .charts import add_legend, dress, label_values, patterned
from .finish import finished

__all__ = ["book_bytes"]

SHEETS = {
    "findings": "Findings",
    "decisions": "Decisions",
    "grid": "Week grid",
    "fan_1": "Stock 1",
    "fan_2": "Stock 2",
    "fan_3": "Stock 3",
    "components": "Components",
    "orders": "Orders",
    "phase_out": "Phase-out",
    "weeks": "Weeks",
    "materials": "Materials",
    "days": "Days",
    "stock": "Stock",
    "cover": "Cover",
    "stations": "Stations",
    "station_weeks": "Station weeks",
    "lots": "Lots",
    "lot_line": "Lot time line",
    "reorder": "Reorder",
    "causes": "Cost and waste",
    "drivers": "Drivers",
    "what_if": "What if",
    "what_if_causes": "What if causes",
    "what_if_cost": "What if cost",
    "what_if_steps": "What if steps",
}
LIST, TABLE_NAMES = "Tables", "forecast_"  # the sheet that lists named tables; what their names begin with
FORMATS = {"date": "ddd dd mmm yy", "whole": "#,##0", "share": "0%", "text": "@"}
_LITRES = "[=0]0;[<10]0.000;#,##0.0"
WIDTHS = {"date": 14.5, "whole": 11, "share": 10}
PAGE_WIDTH = 170  # characters across one page
WIDEST, NARROWED = 62, 34  # characters of a column of texts, and where it must share a page
CHART_HEIGHT = 8.2  # cm
CHART_ROWS = 17
CHARACTER = 0.186  # cm
PLAIN = 9.0  # characters of a column that no width is set for
LEAST_COLUMNS = 10  # that a page is wide at least
ONE_PAGE = 44  # rows that still read well on one page
INKS = (style.ACCENT, style.ACCENT, style.GREY, style.GREY, style.ACCENT, style.GREY)
LINES = (
    ("solid", "circle"),
    ("dash", "square"),
    ("sysDot", "triangle"),
    ("dashDot", "diamond"),
    ("lgDash", "x"),
    ("sysDash", "star"),
)

#: formulas that stay live: table, column → text with {letter of a column} and {row}
LIVE = {
    ("components", "P90 of stock"): "IF({In stock}{row}+{Due in}{row}>0,"
    '{Use P90}{row}/({In stock}{row}+{Due in}{row}),"")',
    ("reorder", "Safety stock"): "MAX(NORMSINV({Service level}{row})*SQRT({Lead time}{row}"
    "*{Spread a day}{row}^2+({Daily use}{row}*{Its spread}{row})^2),0)",
    ("reorder", "Reorder point"): "{Daily use}{row}*{Lead time}{row}+{Safety stock}{row}",
    ("lots", "Balance"): "ROUND({Opening}{row}+{Received}{row}-{Used}{row}-{Expired}{row}-{Closing}{row},6)",
    ("stations", "Waste"): "IF({All}{row}>0,1-({On good parts}{row}+{Filling hoses}{row})/{All}{row},0)",
}


def book_bytes(found: Forecast, paper: str = "A4") -> bytes:
    """The workbook of a forecast."""
    book = Workbook()
    summary = book.active
    summary.title = "Summary"
    made: dict[str, _Sheet] = {}
    answers = found.answers
    tables = {"findings": found.findings_table(), **found.tables}
    for name, title in SHEETS.items():
        table = tables.get(name)
        if table is not None and table.rows:
            made[name] = _Sheet(book.create_sheet(title), table, answers[name])
            made[name].write()
    _charts(made)
    _write_summary(summary, found, made)
    listed = book.create_sheet(LIST)
    _write_list(listed, made)
    listed.sheet_state = "hidden"  # for programs: nobody prints it
    return finished(book, "forecast.xlsx", paper)


def on_one_page(widths: Sequence[float]) -> list[float]:
    """Widths of columns [characters], the widest narrowed where a table then fits on the width of a page.

    >>> on_one_page([10, 62, 62]), on_one_page([100, 62, 62]), on_one_page([150, 62])
    ([10, 62, 62], [100, 35.0, 35.0], [150, 62])
    """
    wide = [width for width in widths if NARROWED < width <= WIDEST]
    rest = PAGE_WIDTH - (sum(widths) - sum(wide))
    if sum(widths) <= PAGE_WIDTH or not wide or rest < NARROWED * len(wide):
        return list(widths)
    most = max(wide)
    while sum(min(width, most) for width in wide) > rest:
        most -= 1.0
    return [min(width, most) if NARROWED < width <= WIDEST else width for width in widths]


class _Sheet:
    """One table on one sheet: question, answer, note, room for a chart, header, rows, totals."""

    def __init__(self, sheet: Worksheet, table: Table, answer: str):
        self.sheet, self.table, self.answer = sheet, table, answer
        self.names = [name for name, _, _ in table.columns]
        self.has_chart = table.name in _CHARTED
        self.header_row = 5 + (CHART_ROWS if self.has_chart else 0)
        self.first = self.header_row + 1
        self.last = self.header_row + len(table.rows)
        self.total_row = self.last + 1
        self.left = 1
        self.range = ""  # of the named table
        self.looks: dict[tuple[int, bool, bool], style.Look] = {}  # by column: see `_look`

    def letter(self, name: str) -> str:
        """The letter of a column."""
        return get_column_letter(self.names.index(name) + 1)

    def write(self) -> None:
        """Everything but the chart."""
        sheet, table, widths = self.sheet, self.table, self.widths
        pages = math.ceil(sum(widths) / PAGE_WIDTH)
        # where the first column is repeated on each page, what is above stands beside it
        self.left = 1 if pages == 1 else 2
        head = sheet.cell(1, self.left)
        style.put_text(head, table.question)
        head.font = style.HEADING
        sheet.row_dimensions[1].height = 20
        self._across(2, self.answer, style.ANSWER)
        self._across(3, table.note, style.NOTE)
        lines = 1
        for number, (head, width) in enumerate(zip(table.headers(), widths, strict=True), 1):
            cell = sheet.cell(self.header_row, number)
            style.put_text(cell, head)
            style.header(cell, right=self._right(number - 1))
            style.set_width(sheet, number, width)
            lines = max(lines, style.wrapped_lines(head, width - 1))
        sheet.row_dimensions[self.header_row].height = 13.5 * lines + 6
        for row, values in enumerate(table.rows, self.first):
            self._row(row, values, widths)
        if table.total:
            self._totals()
        right = get_column_letter(len(self.names))
        self._name_table(f"A{self.header_row}:{right}{self.last}")
        if not self.has_chart:
            sheet.freeze_panes = sheet.cell(self.first, 2)
        style.page(sheet, header_row=self.header_row, key_column=1, pages_wide=pages)
        bottom = self.total_row if table.total else self.last
        if bottom <= ONE_PAGE and pages == 1:
            sheet.page_setup.fitToHeight = 1
        edge = right if pages > 1 else get_column_letter(max(len(self.names), LEAST_COLUMNS))
        sheet.print_area = f"A1:{edge}{bottom}"
        sheet.sheet_view.showGridLines = False

    def _name_table(self, place: str) -> None:
        """Make it a named table with its filter, for formulas and other programs."""
        heads = self.table.headers()
        if len(set(map(str.casefold, heads))) < len(heads):  # a spreadsheet would mend the file
            self.sheet.auto_filter.ref = place
            return
        self.range, table = place, NamedTable(displayName=TABLE_NAMES + self.table.name, ref=place)
        table.tableStyleInfo = TableStyleInfo(name=None, showRowStripes=False)
        self.sheet.add_table(table)

    def _right(self, place: int) -> bool:
        return self.table.columns[place][2] in {"number", "whole", "share"}

    @cached_property
    def widths(self) -> list[float]:
        """Widths of the columns [characters]."""
        widths: list[float] = []
        for place, (head, (_, _, kind)) in enumerate(
            zip(self.table.headers(), self.table.columns, strict=True)
        ):
            words = max(map(len, head.split()))
            if kind == "text":
                most = max([len(str(row[place] or "")) for row in self.table.rows] + [8])
                widths.append(min(max(words + 3, most + 3), WIDEST))
            elif kind == "number":
                total = self._largest(place) * (len(self.table.rows) if self.table.total else 1)
                widths.append(max(words + 3, len(f"{total:,.0f}") + 4, 9))
            else:
                widths.append(max(words + 3, WIDTHS[kind]))
        return on_one_page(widths)

    def _across(self, row: int, words: str, font: Font) -> None:
        """A text across the page, as high as it needs."""
        if not words:
            return
        sheet, width = self.sheet, sum(self.widths)
        across = max(len(self.names), LEAST_COLUMNS) if width < PAGE_WIDTH else self._columns_on_page()
        sheet.merge_cells(start_row=row, start_column=self.left, end_row=row, end_column=across)
        cell = sheet.cell(row, self.left)
        style.put_text(cell, words)
        cell.font, cell.alignment = font, style.WRAP
        room = self._page_width() * style.NOTE.size / font.size
        sheet.row_dimensions[row].height = 1.4 * font.size * style.wrapped_lines(words, 0.92 * room) + 4

    def _page_width(self) -> float:
        """Characters across a printed page."""
        width = sum(self.widths) + PLAIN * max(LEAST_COLUMNS - len(self.names), 0)
        return min(width, PAGE_WIDTH)

    def _columns_on_page(self) -> int:
        total, count = 0.0, 0
        for width in self.widths:
            total += width
            if total > PAGE_WIDTH:
                break
            count += 1
        return max(count, 1)

    def _row(self, row: int, values: Sequence[Any], widths: Sequence[float]) -> None:
        sheet, table, is_whole = self.sheet, self.table, "to order" in values
        most = 1
        for number, (value, (name, _, _)) in enumerate(zip(values, table.columns, strict=True), 1):
            cell = sheet.cell(row, number)
            live = LIVE.get((table.name, name))
            if live is not None and value is not None:
                cell.value = "=" + self._formula(live, row)
            else:
                style.put(cell, value)
            if isinstance(value, str):
                most = max(most, style.wrapped_lines(value, widths[number - 1] - 2))
            is_warned = name == "Note" and isinstance(value, str) and bool(value)
            self._look(cell, number - 1, is_whole, is_warned)
            if is_warned:
                style.mark_warning(cell)
        if most > 1:
            sheet.row_dimensions[row].height = 13.5 * most + 2

    def _look(self, cell: Cell, place: int, is_whole: bool, is_warned: bool) -> None:
        """Font, border and number format of a cell: set once for all of a column that look alike."""
        known = self.looks.get((place, is_whole, is_warned))
        if known is not None:
            style.set_look(cell, known)
            return
        kind = self.table.columns[place][2]
        cell.font, cell.border = style.BODY, style.BORDER
        cell.alignment = style.RIGHT if self._right(place) else (style.WRAP if kind == "text" else style.LEFT)
        if is_warned:
            style.warning_cell(cell)
            cell.alignment = style.WRAP
        cell.number_format = self._format(place, is_whole)
        self.looks[place, is_whole, is_warned] = style.look_of(cell)

    def _formula(self, text: str, row: int) -> str:
        for name in sorted(self.names, key=len, reverse=True):
            text = text.replace("{" + name + "}", self.letter(name))
        return text.replace("{row}", str(row))

    def _largest(self, place: int) -> float:
        """The largest number of a column, whatever its sign."""
        return max((abs(row[place] or 0.0) for row in self.table.rows), default=0.0)

    def _format(self, place: int, is_whole: bool = False) -> str:
        _, unit, kind = self.table.columns[place]
        if kind != "number":
            return FORMATS[kind]
        if self.table.name == "grid":  # containers, side by side: all weeks with the same digits
            return FORMATS["whole"] if is_whole else "#,##0.0"
        if unit == "d":
            return "#,##0.0"
        most = self._largest(place)
        return "#,##0" if most >= 1000 or not most else "#,##0.0" if most >= 10 else "#,##0.00"

    def _totals(self) -> None:
        """Sums that follow the filter."""
        row = self.total_row
        for number, (name, _, kind) in enumerate(self.table.columns, 1):
            cell = self.sheet.cell(row, number)
            style.result_cell(cell)
            if number == 1:
                style.put_text(cell, "All")
            elif kind in {"number", "whole"} and self._is_summed(name):
                letter = get_column_letter(number)
                cell.value = f"=SUBTOTAL(9,{letter}{self.first}:{letter}{self.last})"
                cell.number_format = self._format(number - 1)
                cell.alignment = style.RIGHT
            elif kind == "share" and name == "Waste" and "On good parts" in self.names:
                good, hoses, whole = (
                    self.letter(each) + str(row) for each in ("On good parts", "Filling hoses", "All")
                )
                cell.value = f"=IF({whole}>0,1-({good}+{hoses})/{whole},0)"
                cell.number_format, cell.alignment = FORMATS["share"], style.RIGHT

    def _is_summed(self, name: str) -> bool:
        total = self.table.total
        return total if isinstance(total, bool) else name in total

    def values(self, name: str, last: int | None = None) -> Reference:
        """The cells of a column, for a chart."""
        number = self.names.index(name) + 1
        return Reference(self.sheet, min_col=number, min_row=self.first, max_row=last or self.last)

    def add(self, chart: Any) -> None:
        """Put the chart between note and table."""
        width = self._page_width() - (0 if self.left == 1 else self.widths[0])
        chart.width, chart.height = CHARACTER * width, CHART_HEIGHT
        self.sheet.add_chart(chart, f"{get_column_letter(self.left)}5")


# ----------------------------------------------------------------------------------------- charts

_FANS = ("fan_1", "fan_2", "fan_3")
_CHARTED = {"components", "days", "cover", "drivers", "what_if_cost", "lot_line", *_FANS}


def _charts(made: dict[str, _Sheet]) -> None:
    if "components" in made:
        item = made["components"]
        chart = _bars(
            "Use of nine of ten simulation runs, as a share of stock and what is due in",
            "component",
            "share of stock [%]",
        )
        _add_series(chart, item, "P90 of stock", "Component", 0)
        chart.y_axis.number_format = "0%"
        item.add(chart)
    if "days" in made:
        item = made["days"]
        unit = item.table.columns[-1][1]
        chart = _bars("Cost of what is used each day", "day", f"cost [{unit}]" if unit else "cost")
        _add_series(chart, item, "Cost", "Day", 0)
        chart.x_axis.number_format = "dd mmm"
        item.add(chart)
    if "cover" in made:
        made["cover"].add(_cover_chart(made["cover"]))
    for name in _FANS:
        if name in made:
            made[name].add(_fan_chart(made[name]))
    if "lot_line" in made:
        made["lot_line"].add(_lot_chart(made["lot_line"]))
    if "drivers" in made:
        item = made["drivers"]
        chart = _bars(
            "Share of the spread that each input brings about", "material", "share of the variance [%]"
        )
        chart.grouping, chart.overlap = "percentStacked", 100
        for order, name in enumerate(item.names[1:5]):
            _add_series(chart, item, name, "Material", order)
        chart.y_axis.number_format = "0%"
        add_legend(chart)
        item.add(chart)
    if "what_if_cost" in made:
        item = made["what_if_cost"]
        unit = item.table.columns[1][1]
        chart = _bars("Cost of each variant", "variant", f"cost [{unit}]" if unit else "cost")
        width = len(item.names)
        series = Series(Reference(item.sheet, min_col=2, max_col=width, min_row=item.total_row), title="Cost")
        patterned(series, 0)
        _labels(series)
        chart.series.append(series)
        chart.set_categories(Reference(item.sheet, min_col=2, max_col=width, min_row=item.header_row))
        item.add(chart)


#: series of a stock fan: column, dash (None: marks alone), mark, ink
_FAN_LOOKS = (
    ("Planned", "solid", "none", style.ACCENT),
    ("High", "sysDash", "none", style.GREY),
    ("Low", "dash", "none", style.DARK),
    ("Reorder point", "sysDot", "none", style.GREY),
    ("Evening of a delivery", None, "triangle", style.ACCENT),
)


def _fan_chart(item: _Sheet) -> LineChart:
    """Stock as planned with what one in ten runs leaves, the reorder line, and a mark at each delivery."""
    chart = LineChart()
    dress(chart, "Stock with the proposed orders", "day", "stock [mL]", y_form="#,##0")
    for name, dash, mark, ink in _FAN_LOOKS:
        series = Series(item.values(name), title=name)
        series.smooth = False
        line = (
            LineProperties(noFill=True)
            if dash is None
            else LineProperties(solidFill=ink, w=19050, prstDash=dash)
        )
        series.graphicalProperties = GraphicalProperties(ln=line)
        series.marker.symbol = mark
        if mark != "none":
            series.marker.size = 8
            series.marker.graphicalProperties = GraphicalProperties(
                solidFill=ink, ln=LineProperties(solidFill=style.DARK)
            )
        chart.series.append(series)
    chart.set_categories(item.values("Day"))
    chart.x_axis.number_format = "dd mmm"
    chart.y_axis.scaling.min = 0
    add_legend(chart)
    return chart


def _lot_chart(item: _Sheet) -> BarChart:
    """A bar for each lot, from when it is here to its last day."""
    chart = _bars(
        "Days on which each lot may be used", "lot", f"days from {item.table.note.split()[-2]} on [d]"
    )
    chart.type, chart.grouping, chart.overlap = "bar", "stacked", 100
    chart.x_axis.scaling.orientation = "maxMin"
    chart.y_axis.crosses, chart.y_axis.tickLblPos = "max", "nextTo"
    for order, name in enumerate(("Days until it comes", "Days it may be used")):
        _add_series(chart, item, name, "Lot", order)
    chart.series[0].graphicalProperties = GraphicalProperties(noFill=True, ln=LineProperties(noFill=True))
    patterned(chart.series[1], 0)
    return chart


def _cover_chart(item: _Sheet) -> LineChart:
    chart = LineChart()
    dress(
        chart,
        "Days that the stock lasts, without new orders",
        "day",
        "stock over mean use [d]",
        y_form="#,##0",
    )
    for order, name in enumerate(item.names[1:]):
        series = Series(item.values(name), title=name)
        dash, mark = LINES[order % len(LINES)]
        ink = INKS[order % len(INKS)]
        series.smooth = False
        series.graphicalProperties = GraphicalProperties(
            ln=LineProperties(solidFill=ink, w=19050, prstDash=dash)
        )
        series.marker.symbol, series.marker.size = mark, 5
        series.marker.graphicalProperties = GraphicalProperties(
            solidFill=ink, ln=LineProperties(solidFill=ink)
        )
        chart.series.append(series)
    chart.set_categories(item.values("Day"))
    chart.x_axis.number_format = "dd mmm"
    chart.y_axis.scaling.min = 0
    add_legend(chart)
    return chart


def _bars(title: str, x_title: str, y_title: str) -> BarChart:
    chart = BarChart()
    chart.type, chart.gapWidth = "col", 60
    dress(chart, title, x_title, y_title, y_form="#,##0")
    chart.y_axis.scaling.min = 0
    chart.legend = None
    return chart


def _add_series(chart: BarChart, item: _Sheet, name: str, categories: str, order: int) -> None:
    series = Series(item.values(name), title=name)
    patterned(series, order)
    chart.series.append(series)
    chart.set_categories(item.values(categories))


def _labels(series: Any) -> None:
    label_values(series)
    series.dLbls.numFmt = "#,##0"


# ---------------------------------------------------------------------------------------- summary

_SUMMARY_WIDTHS = (28, 16, 16, 16, 16, 16, 16, 16)
_SHOWN_ROWS = 10
_LEAST_ROWS = 5  # of the components, where findings need the room
_SHOWN_ORDERS = 7
_LEAST_ORDERS = 3
_SHOWN_FINDINGS = 6


_LIST_WIDTHS = (26, 20, 12, 12, 26, 14, 12)


def _write_list(sheet: Worksheet, made: dict[str, _Sheet]) -> None:
    """Where each named table stands and what its columns are: a header, and a row for each column."""
    heads = ("Table", "Sheet", "Header row", "Rows", "Column", "Unit", "Kind")
    rows: list[tuple[Any, ...]] = [heads]
    for item in made.values():
        if not item.range:
            continue
        for head, (_, unit, kind) in zip(item.table.headers(), item.table.columns, strict=True):
            count, title = len(item.table.rows), item.sheet.title
            rows.append((TABLE_NAMES + item.table.name, title, item.header_row, count, head, unit, kind))
    for number, values in enumerate(rows, 1):
        for column, value in enumerate(values, 1):
            cell = sheet.cell(number, column)
            style.put(cell, value)
            cell.font, cell.border = style.BODY, style.BORDER
            if number == 1:
                style.header(cell)
    for number, width in enumerate(_LIST_WIDTHS, 1):
        style.set_width(sheet, number, width)
    table = NamedTable(displayName=TABLE_NAMES + "tables", ref=f"A1:G{len(rows)}")
    table.tableStyleInfo = TableStyleInfo(name=None, showRowStripes=False)
    sheet.add_table(table)
    sheet.freeze_panes = "A2"
    style.page(sheet, header_row=1)


def _write_summary(sheet: Worksheet, found: Forecast, made: dict[str, _Sheet]) -> None:
    for number, width in enumerate(_SUMMARY_WIDTHS, 1):
        style.set_width(sheet, number, width)
    settings, horizon = found.plan.settings, found.horizon
    style.put_text(sheet["A1"], "Material forecast")
    sheet["A1"].font = style.SECTION
    head = [text for text in (settings.get("plant"), settings.get("line")) if text]
    head.append(f"builds {horizon.first_build:%d %b %Y} to {horizon.last_build:%d %b %Y}")
    style.put_text(sheet["A2"], " · ".join(head))
    sheet["A2"].font = style.NOTE
    style.put_text(
        sheet["A3"], "Figures are for planning. Safety data sheets and local rules go before them."
    )
    sheet["A3"].font = style.NOTE
    row = 4
    for line, font in zip(found.headline(), (style.TITLE, style.SECTION, *[style.NOTE] * 2), strict=False):
        row = _wide(sheet, row, line, font, 26)
    row = _first_findings(sheet, row, found)
    row += 1
    row = _first_components(sheet, row, found)
    row = _first_orders(sheet, row + 1, found)
    row = _cost(sheet, row + 1, found, made)
    row = _section(sheet, row + 1, "Sheets")
    half = math.ceil(len(made) / 2)
    for place, item in enumerate(made.values()):
        across, down = divmod(place, half)
        link = sheet.cell(row + down, 1 + 4 * across)
        style.put_text(link, item.sheet.title)
        link.hyperlink = f"#'{item.sheet.title}'!A1"
        link.font = style.LINK
        words = sheet.cell(row + down, 2 + 4 * across)
        style.put_text(words, item.table.question)
        words.font = style.BODY
    row += half
    row = _section(sheet, row + 1, "Notes")
    for note in (*found.notes, _basis(found)):
        row = _wide(sheet, row, note, style.BODY, 0)
    sheet.sheet_view.showGridLines = False
    style.page(sheet, landscape=True)
    sheet.print_area = f"A1:H{row - 1}"


def _basis(found: Forecast) -> str:
    return (
        f"{len(found.shifts)} station shifts, {len(found.keys)} of them distinct, are played event by "
        f"event; {found.draws} simulation runs from seed {found.seed} differ in: demand, one factor a day; "
        "shop temperature, one offset a day; scrap, shift by shift; volume, one error a station for the "
        "whole time, each tolerance taken as rectangular (JCGM 100:2008, 4.3.7). " + USE_WORDS
    )


def _wide(sheet: Worksheet, row: int, text: str, font, least: float) -> int:
    """One line of text across the page, as high as it needs."""
    sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=len(_SUMMARY_WIDTHS))
    cell = sheet.cell(row, 1)
    style.put_text(cell, text)
    cell.font, cell.alignment = font, style.MIDDLE
    lines = style.wrapped_lines(text, 150 * style.BODY.size / font.size)
    sheet.row_dimensions[row].height = max(1.4 * font.size * lines + 4, least)
    return row + 1


def _section(sheet: Worksheet, row: int, text: str) -> int:
    style.put_text(sheet.cell(row, 1), text)
    sheet.cell(row, 1).font = style.SECTION
    for column in range(1, len(_SUMMARY_WIDTHS) + 1):
        sheet.cell(row, column).border = style.RESULT_BORDER
    sheet.row_dimensions[row].height = 20
    return row + 1


def _block(
    sheet: Worksheet, row: int, columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[Any]]
) -> int:
    """A small table; kinds as in a forecast's tables."""
    for number, (head, kind) in enumerate(columns, 1):
        cell = sheet.cell(row, number)
        style.put_text(cell, head)
        style.header(cell, right=kind in {"number", "whole", "share"})
    sheet.row_dimensions[row].height = (
        13.5
        * max(
            style.wrapped_lines(head, _SUMMARY_WIDTHS[place] - 2) for place, (head, _) in enumerate(columns)
        )
        + 6
    )
    for values in rows:
        row += 1
        for number, (value, (head, kind)) in enumerate(zip(values, columns, strict=True), 1):
            cell = sheet.cell(row, number)
            cell.font, cell.border = style.BODY, style.BORDER
            cell.alignment = style.RIGHT if kind in {"number", "whole", "share"} else style.LEFT
            style.put(cell, value)
            cell.number_format = FORMATS.get(kind, _LITRES if head.endswith("[L]") else "#,##0")
    return row + 1


def _first_findings(sheet: Worksheet, row: int, found: Forecast) -> int:
    """The gravest findings, every shortage among them."""
    told = found.warnings
    if not told:
        return row
    shorts = [each for each in told if each.topic == SHORTAGE]
    first = (shorts + [each for each in told if each.topic != SHORTAGE])[: max(_SHOWN_FINDINGS, len(shorts))]
    more = len(told) - len(first)
    row = _section(sheet, row + 1, "To be done first" + (f" ({more} more on sheet Findings)" if more else ""))
    for finding in first:
        _wide(sheet, row, f"▲ {KINDS[finding.kind]}: {finding}", style.BODY, 0)
        style.warning_cell(sheet.cell(row, 1))
        sheet.cell(row, 1).alignment = style.WRAP
        row += 1
    return row


def _first_components(sheet: Worksheet, row: int, found: Forecast) -> int:
    table = found.tables["components"].as_told()
    names = [
        "Component",
        "In stock",
        "Due in",
        "Use planned",
        "Use P90",
        "Runs out",
        "After builds",
        "Order by",
    ]
    places = [[name for name, _, _ in table.columns].index(name) for name in names]
    far = datetime.date.max
    out, after, order = (names.index(name) for name in ("Runs out", "After builds", "Order by"))
    picked = [[values[place] for place in places] for values in table.rows]
    picked.sort(key=lambda values: (values[out] or far, values[after] or far, values[order] or far))
    shown = max(_SHOWN_ROWS - 2 * min(len(found.warnings), _SHOWN_FINDINGS), _LEAST_ROWS)
    more = len(picked) - shown
    title = "Components, the first to run out on top" + (
        f" ({more} more on sheet Components)" if more > 0 else ""
    )
    row = _section(sheet, row, title)
    columns = [(table.headers()[place], table.columns[place][2]) for place in places]
    return _block(sheet, row, columns, picked[:shown])


def _first_orders(sheet: Worksheet, row: int, found: Forecast) -> int:
    table = found.tables["orders"].as_told()
    if not table.rows:
        return row
    shown = max(_SHOWN_ORDERS - len(found.warnings), _LEAST_ORDERS)
    more = len(table.rows) - shown
    row = _section(
        sheet,
        row,
        "Orders, the first to place on top" + (f" ({more} more on sheet Orders)" if more > 0 else ""),
    )
    names = ["Component", "Order by", "Arrives", "Containers", "Volume", "Usable until", "Cost"]
    places = [[name for name, _, _ in table.columns].index(name) for name in names]
    columns = [(table.headers()[place], table.columns[place][2]) for place in places]
    rows = [[values[place] for place in places] for values in table.rows[:shown]]
    return _block(sheet, row, columns, rows)


def _cost(sheet: Worksheet, row: int, found: Forecast, made: dict[str, _Sheet]) -> int:
    """Cost by cause, live from the sheet of costs, and a chart of what is waste."""
    if "causes" not in made:
        return row
    item = made["causes"]
    sheet.row_breaks.append(Break(id=row - 1))
    row = _section(sheet, row, "Cost and waste")
    unit = found.currency
    rows = []
    for cause in ALL_CAUSES:
        letter = item.letter(cause_column(cause))
        live = style.Live(f"='{item.sheet.title}'!{letter}{item.total_row}")
        rows.append([CAUSE_WORDS[cause], live])
    first = row + 1
    row = _block(sheet, row, [("Cause", "text"), (f"Cost [{unit}]" if unit else "Cost", "number")], rows)
    last = row - 1
    total = sheet.cell(row, 1)
    style.put_text(total, "all")
    whole = sheet.cell(row, 2, f"=SUM(B{first}:B{last})")
    for cell in (total, whole):
        style.result_cell(cell)
    whole.number_format, whole.alignment = "#,##0", style.RIGHT
    chart = _bars("Waste by cause", "cause", f"cost [{unit}]" if unit else "cost")
    chart.type = "bar"
    chart.x_axis.scaling.orientation = "maxMin"
    # with the order turned round, the axis stays below
    chart.y_axis.crosses, chart.y_axis.tickLblPos = "max", "nextTo"
    series = Series(Reference(sheet, min_col=2, min_row=first + 1, max_row=last), title="Waste")
    patterned(series, 0)
    _labels(series)
    chart.series.append(series)
    chart.set_categories(Reference(sheet, min_col=1, min_row=first + 1, max_row=last))
    chart.width, chart.height = 14.6, 6.6
    sheet.add_chart(chart, f"D{first - 1}")
    return row + 1
