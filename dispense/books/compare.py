"""Choices side by side as a workbook: a sheet for each place that is chosen for, with its chart.

What rules sets out stands on a sheet of its own. Same comparison, same bytes.
"""

from __future__ import annotations

from typing import Any

from openpyxl import Workbook
from openpyxl.chart import BarChart, Series

from ..reports.compare import BY_COST, RULED_OUT, Comparison, FieldResult, SetResult, set_table
from . import style
from .charts import HEIGHT, add_legend, dress, patterned
from .finish import finished
from .page import Data, Page

__all__ = ["compare_workbook"]

MOST_BARS = 12  # sets in a chart, the first of the table
NARROW, AXIS, FIGURE, LAST = 7.0, 15.0, 11.5, 10.0  # characters of the columns
FORMS = {"rank": "0", "waste share": "0%", "pressure [bar]": "0.0", "hottest pour [°C]": "0.0"}
AMOUNT = "#,##0.0"
COUNTS = {"purges", "mixers", "stops", "cure positions", "not made by the end", "to look at"}


def compare_workbook(report: Comparison, paper: str = "A4") -> bytes:
    """The workbook of a comparison."""
    book = Workbook()
    book.remove(book.active)
    data = Data(book)
    for item in report.fields:
        _sheet(book, data, report, item)
    _ruled_out(book, report)
    data.close()
    book.move_sheet(data.sheet, len(book.worksheets))
    return finished(book, "compare.xlsx", paper)


def _under(report: Comparison) -> str:
    """Plant, line and what is played."""
    settings = report.plan.settings
    return " · ".join(part for part in (settings["plant"], settings["line"], report.period) if part)


def _sheet(book: Workbook, data: Data, report: Comparison, item: FieldResult) -> None:
    headers, rows = set_table(item, report.currency)
    widths = [_width(header, item) for header in headers]
    page = Page(book, item.heading, f"Choices at {item.heading}", widths, _under(report))
    page.answer(report.answer(item), item.best.is_admissible)
    page.text(item.ranking + ".", style.NOTE)
    page.row += 1
    page.charts([_chart(data, report, item)])
    head = page.row
    first = page.table(
        [header[:1].upper() + header[1:] for header in headers],
        rows,
        [_form(header, item) for header in headers],
    )
    for column in range(1, len(headers) + 1):  # the plan as it is, first of all
        page.sheet.cell(first, column).font = style.BOLD
        page.sheet.cell(first, column).fill = style.RESULT_FILL
    for place, one in enumerate(item.sets):
        if one.ruled_out:
            style.warning_cell(page.sheet.cell(first + place, len(headers)))
    page.texts("How to read it", NOTES)
    page.section("Cautions")
    for words in item.cautions:
        page.text(words, warning=True)
    page.close(header_row=head if len(rows) > MOST_BARS else 0)
    if len(rows) <= MOST_BARS:
        page.sheet.page_setup.fitToHeight = 1


def _width(header: str, item: FieldResult) -> float:
    if header in {"rank", "plan"}:
        return NARROW
    if header in item.axes:
        place = item.axes.index(header)
        longest = max(len(one.cells[place]) for one in item.sets)
        return max(AXIS, min(longest + 3, 2 * AXIS))
    return LAST if header == RULED_OUT else FIGURE


def _form(header: str, item: FieldResult) -> str:
    if header in COUNTS:
        return "#,##0"
    if header in item.axes or header in {"plan", RULED_OUT}:
        return "@"
    return FORMS.get(header, AMOUNT)


def _chart(data: Data, report: Comparison, item: FieldResult) -> BarChart:
    """What the sets are ranked by; of a cost what is on good parts and what is waste."""
    shown = item.sets[:MOST_BARS]
    by_cost = item.ranked_by == BY_COST
    unit = report.currency if by_cost else "mL"
    words = "Cost of what is used" if by_cost else "Waste"
    waste = [(one.cost_of_waste if by_cost else one.waste_ml) if one.is_played else None for one in shown]
    columns: list[tuple[str, list[Any]]] = [("Waste", waste)]
    if by_cost:
        columns.insert(0, ("On good parts", [one.cost_on_parts if one.is_played else None for one in shown]))
    refs = data.block(f"{words}: {item.heading}", [("Set", list(map(_bar_name, shown))), *columns])
    chart = BarChart()
    chart.type, chart.grouping, chart.overlap, chart.gapWidth = "bar", "stacked", 100, 50
    title = words + (f", the first {MOST_BARS} rows" if len(item.sets) > MOST_BARS else "")
    axis = words[:1].lower() + words[1:]
    dress(chart, title, "set", f"{axis} [{unit}]" if unit else axis, y_form="#,##0")
    for order, ((name, _), ref) in enumerate(zip(columns, refs[1:], strict=True)):
        series = Series(ref, title=name.lower())
        patterned(series, order)
        chart.series.append(series)
    chart.set_categories(refs[0])
    chart.x_axis.scaling.orientation = "maxMin"  # the first set on top
    chart.x_axis.title = None
    chart.y_axis.crosses, chart.y_axis.tickLblPos = "max", "nextTo"  # so that the figures stay below
    chart.y_axis.scaling.min = 0
    if by_cost:
        add_legend(chart)
    else:
        chart.legend = None
    chart.height = HEIGHT
    return chart


def _bar_name(one: SetResult) -> str:
    marks = [word for word, holds in (("now", one.is_present), ("ruled out", one.ruled_out)) if holds]
    marked = f" ({', '.join(marks)})" if marks else ""
    return f"{one.rank}{marked}: {', '.join(one.cells)}"


def _ruled_out(book: Workbook, report: Comparison) -> None:
    rows: list[list[Any]] = [
        [item.heading, one.rank, one.name, finding.text, finding.fix]
        for item in report.fields
        for one in item.sets
        for finding in one.rules
    ]
    if not rows:
        return
    page = Page(book, "Ruled out", "What rules sets out", (20, 8, 52, 70, 52), _under(report))
    head = page.row
    page.table(
        ["Stations", "Rank", "Set", "Rule and figures", "What would mend it"], rows, ["@", "0", *"@@@"]
    )
    page.close(header_row=head)


NOTES = (
    "The row marked now is the plan as it is; each other row is played as if its figures stood in the plan",
    "Waste is all that is used and is not on good parts: scrap, start and end, purges, mixers, check shots, "
    "and what is lost in containers (heels, rests, what has expired)",
    "Stops are the times that a nozzle stands for a purge, a mixer or a container, those of the start among "
    "them; the price of a mixer is not in the plan. Pressure is the highest of the station, at its coldest "
    "hour",
    "Not made by the end are good parts that are missing when the last of these shifts ends; what a later "
    "shift makes up for an earlier one is not among them, its lateness is among the rules",
    "Ruled out is what can hurt someone, stops the line, leaves parts unmade or does not cure them; stock "
    "that must be ordered rules nothing out. To look at counts what else spoils parts or figures",
    "A chosen shop temperature holds all day; a container of another size has the same price for its volume, "
    "unless its option states one",
)
