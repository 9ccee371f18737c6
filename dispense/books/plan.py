"""A plan workbook written from the declarations of the plan tables.

Headers, notes, drop-down lists and number checks all come from the columns' fields, so the workbook
never says anything else than the reader and the checks do. Same content, same bytes.
"""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.table import Table as ExcelTable
from openpyxl.worksheet.worksheet import Worksheet

from ..base.errors import NA, FileError, InputError, Problem
from ..base.fields import Field
from ..base.naming import capital
from ..base.units import AS_GIVEN
from ..plan.tables import BY_NAME, SETTINGS, TABLES, Table
from ..xlsx.amend import HEADER_ROW
from ..xlsx.write import atomic_write
from . import style
from .finish import finished
from .plan_form import FORMS, LIST_ROWS, list_name, write_form

__all__ = ["HEADER_ROW", "new_plan", "plan_bytes", "write_plan"]

NUMERIC = ("number", "whole")
WIDEST = 48  # characters of a column
WRITTEN_LATER = {("Changes", "row"): 24, ("Changes", "column"): 20, ("Changes", "reason"): WIDEST}
PAGE_WIDTH = 220  # characters on one page across, at the smallest print that reads well
ACROSS = 132  # characters across a landscape page at full size, on A4 and on Letter

HOW_TO = (
    "Fill the tables sheet by sheet. Sheets with a coloured tab must hold rows; the others where they apply.",
    "Hold the pointer over a header for its note: what it means, what is allowed, what a blank "
    "cell stands for.",
    "Each header carries a unit. You may change it, Width [mm] to Width [in]: the numbers below "
    "are then read in it.",
    "A number cell also takes a fraction, and a text with its own unit: 3/16 in, 75 degF, 3500 cP.",
    "Wide tables fold: the signs over their columns close and open a topic. Material form and Station form "
    "show one row down a page, with the limits of each value and a link to its cell.",
    "Names join the tables: a bead names its part and station, a station its material. Choose "
    "them from the lists.",
    "Rows and columns may stand in any order. Columns of your own and titles above a table do no "
    "harm, if they carry no unit; headers keep their names.",
    "Hours after midnight go on counting: a night shift runs from 22:00 to 30:00.",
    "dispense check plan.xlsx lists everything that is wrong, each line with its sheet and cell.",
    "dispense fill plan.xlsx --out FOLDER plays the shifts and fills the sheets for the line.",
    "dispense forecast plan.xlsx --weeks 8 --out FILE turns builds and stock into orders. No "
    "command changes this file, but for dispense learn --take, which lists its changes.",
)
CAUTIONS = (
    "The material's safety data sheet, local codes and licensed practice go before anything computed here.",
    "Curing gives off heat. A deep or warm pour can run away and overheat cells: prove the shot "
    "with a trial pour and thermocouples, away from cells.",
    "Amine hardeners burn and sensitize the skin: gloves, eye protection, no bare-hand wiping.",
    "Isocyanates sensitize the lungs: extraction and the health checks that local rules ask for.",
    "Light-cure lamps harm eyes and skin: shields and interlocks stay closed.",
    "Ovens and parts from them burn, and curing vapours need extraction.",
    "Charged modules hold energy and give high currents: insulated tools, trained people, no loose metal.",
    "Figures are for planning. Weigh check shots before the first part and hold parts when one fails.",
)


def new_plan(path: str | os.PathLike[str], demo: bool = False) -> Path:
    """Write an empty plan workbook, or the one of the demo plant; never over an existing file."""
    rows: Mapping[str, Sequence[Mapping[str, Any]]] = {}
    if demo:
        from ..plan.demo import DEMO

        rows = DEMO
    return write_plan(rows, path)


def write_plan(plan_rows: Mapping[str, Sequence[Mapping[str, Any]]], path: str | os.PathLike[str]) -> Path:
    """Write a plan workbook; never over an existing file.

    `plan_rows` gives each table's rows as dictionaries by field name, numbers in shop units, times
    of day as texts such as "06:00". The table `Settings` is one row.
    """
    target = Path(path)
    if target.suffix.lower() != ".xlsx":
        raise FileError(
            Problem(
                str(target),
                message="the name of a plan workbook ends in .xlsx",
                fix=f"write to {target.with_suffix('.xlsx').name}",
            )
        )
    return atomic_write(target, lambda stream: stream.write(plan_bytes(plan_rows)), new=True)


def plan_bytes(plan_rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> bytes:
    """The bytes of a plan workbook; the same rows give the same bytes."""
    _check_names(plan_rows)
    book = Workbook()
    start = book.active
    start.title = "Start"
    settings = [dict(row) for row in plan_rows.get("Settings", ())]
    _write_settings(book.create_sheet("Settings"), settings[0] if settings else {})
    forms = {form.table.name: form for form in FORMS}
    for table in TABLES:
        _write_table(book, table, list(plan_rows.get(table.name, ())))
        if table.name in forms:
            write_form(book, forms[table.name], plan_rows)
    _write_start(start)
    return finished(book, "plan")


def _check_names(plan_rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    """Refuse tables and columns that the plan does not know, all at once."""
    problems = []
    known = {table.name: {item.name for item in table.columns} for table in TABLES}
    known["Settings"] = {item.name for item in SETTINGS}
    for name, rows in plan_rows.items():
        if name not in known:
            allowed = "one of Settings, " + ", ".join(BY_NAME)
            problems.append(Problem("plan", "table", name, allowed, code=NA))
            continue
        strange = {key: None for row in rows for key in row if key not in known[name]}
        problems.extend(
            Problem(name, "column", key, f"one of {', '.join(sorted(known[name]))}", code=NA)
            for key in strange
        )
    if problems:
        raise InputError(problems)


# ------------------------------------------------------------------------------------- one table


def _write_table(book: Workbook, table: Table, rows: list[Mapping[str, Any]]) -> None:
    sheet = book.create_sheet(table.name)
    sheet["A1"] = table.name
    style.title(sheet["A1"])
    first, last = HEADER_ROW + 1, HEADER_ROW + max(len(rows), 1)
    for number, item in enumerate(table.columns, 1):
        head = sheet.cell(HEADER_ROW, number, item.title)
        style.header(head, right=item.kind in NUMERIC)
        head.comment = _note(item)
        for row in range(first, last + 1):
            given = rows[row - first].get(item.name) if rows else None
            _write_value(sheet.cell(row, number), item, given, f"{table.name}!")
    right = get_column_letter(len(table.columns))
    sheet.add_table(ExcelTable(displayName=table.name, name=table.name, ref=f"A{HEADER_ROW}:{right}{last}"))
    _add_list_name(book, table)
    for number, item in enumerate(table.columns, 1):
        _validate(sheet, item, number)
    widths = _set_widths(sheet, table, last)
    has_topics = len(table.topics) > 1
    # topics stand over the headers; the help goes above them, clear of the title
    words = sheet.cell(*((1, 2) if has_topics else (2, 1)), _sentence(table.help.replace("`", "")))
    words.font, words.alignment = style.NOTE, style.FOOT
    sheet.freeze_panes = sheet.cell(first, 2)
    if table.required:
        sheet.sheet_properties.tabColor = style.ACCENT
    style.page(sheet, header_row=HEADER_ROW)
    if has_topics:
        _write_topics(sheet, table, widths)


def _write_topics(sheet: Worksheet, table: Table, widths: Sequence[float]) -> None:
    """Words over the columns of each topic, which fold behind its first and the key of the table."""
    sheet.sheet_properties.outlinePr.summaryRight = False
    sheet.row_dimensions[2].height = 16
    number = 0
    for words, columns in table.topics:
        sheet.cell(2, number + 1, words)
        for place, item in enumerate(columns):
            number += 1
            cell = sheet.cell(2, number)
            cell.font, cell.border = style.SECTION, style.RESULT_BORDER
            if place and item.name not in table.key:
                sheet.column_dimensions[get_column_letter(number)].outlineLevel = 1
    sheet.print_title_rows = f"2:{HEADER_ROW}"
    if sum(widths) > PAGE_WIDTH:
        _break_between_topics(sheet, table, widths)


def _break_between_topics(sheet: Worksheet, table: Table, widths: Sequence[float]) -> None:
    """Pages across, each of whole topics behind the first column, in the largest print that all allow."""
    taken, used, first = [0.0], 0.0, 0
    for _, columns in table.topics:
        width = sum(widths[first : first + len(columns)])
        if used and used + width > PAGE_WIDTH:
            sheet.col_breaks.append(Break(id=first))
            used = widths[0]
        used += width
        first += len(columns)
        taken.append(used)
    style.fixed_scale(sheet, math.floor(100.0 * ACROSS / max(taken)))
    sheet.print_title_cols = "A:A"


def _write_value(cell, item: Field, value: Any, where: str) -> None:
    """One input cell; a text is never taken for a formula."""
    style.input_cell(cell)
    cell.alignment = (
        style.WRAP if item.kind == "text" else style.RIGHT if item.kind in NUMERIC else style.LEFT
    )
    if item.kind == "date":
        cell.number_format = "yyyy-mm-dd"
    elif item.kind == "clock":
        cell.number_format = "[hh]:mm"
    if value is None or value == "":
        return
    if item.kind == "clock":
        value = _day_share(item, value)
    if isinstance(value, str):
        found = ILLEGAL_CHARACTERS_RE.search(value)
        if found:
            raise InputError(
                Problem(f"{where}{cell.coordinate}", item.words, value, "a text without control characters")
            )
        style.put_text(cell, value)
    else:
        cell.value = value
    if item.kind == "date":
        cell.number_format = "yyyy-mm-dd"
    elif item.kind == "clock":
        cell.number_format = "[hh]:mm"


def _day_share(item: Field, value: Any) -> Any:
    """A time of day as a span from midnight; what cannot be read stays as it is."""
    try:
        return datetime.timedelta(seconds=item.read(value))
    except InputError:
        return value


def _sentence(text: str) -> str:
    return capital(text) + "."


def _note(item: Field) -> Comment:
    """The note on a header: help, what is allowed, what a blank cell stands for."""
    lines = [_sentence(item.help)]
    if item.refers:
        lines.append(f"Allowed: a name in table {item.refers}.")
    elif item.kind != "text":
        lines.append(f"Allowed: {item.allowed()}.")
    if item.is_required:
        lines.append("Must be filled in.")
    elif item.default is None:
        lines.append("May be blank: then it is not known.")
    elif item.default == "":
        lines.append("May be blank.")
    else:
        unit = f" {item.unit}" if item.unit and item.unit != AS_GIVEN else ""
        lines.append(f"Blank stands for {item.default_text()}{unit}.")
    comment = Comment("\n".join(lines), "dispense")
    comment.width = 260
    comment.height = 18 * sum(math.ceil(len(line) / 38) for line in lines) + 14
    return comment


# ----------------------------------------------------------------------------- lists and checks


def _add_list_name(book: Workbook, table: Table) -> None:
    """A defined name over the filled part of the table's first column, for drop-down lists."""
    first, last = HEADER_ROW + 1, HEADER_ROW + LIST_ROWS
    block = f"{table.name}!$A${first}:$A${last}"
    text = f"{table.name}!$A${first}:INDEX({block},MAX(1,COUNTA({block})))"
    name = list_name(table.name)
    if any(item.refers == table.name for each in TABLES for item in each.columns):
        book.defined_names[name] = DefinedName(name, attr_text=text)


def _validate(sheet: Worksheet, item: Field, number: int) -> None:
    """A drop-down list or a number check on one column, where it is simple."""
    check = _check_of(item, f"{get_column_letter(number)}{HEADER_ROW + 1}")
    if check is None:
        return
    letter = get_column_letter(number)
    check.errorTitle = item.title[:32]
    check.add(f"{letter}{HEADER_ROW + 1}:{letter}{HEADER_ROW + LIST_ROWS}")
    sheet.add_data_validation(check)


def _check_of(item: Field, cell: str) -> DataValidation | None:
    if item.refers:
        return DataValidation(
            "list",
            formula1=list_name(item.refers),
            allow_blank=True,
            errorStyle="warning",
            showErrorMessage=True,
            error=f"This name is not in table {item.refers}.",
        )
    if item.kind in {"choice", "flag"}:
        choices = item.choices or ("TRUE", "FALSE")
        return DataValidation(
            "list",
            formula1='"' + ",".join(choices) + '"',
            allow_blank=True,
            errorStyle="stop",
            showErrorMessage=True,
            error=f"It must be {item.allowed()}."[:225],
        )
    if item.kind in {"number", "whole"}:
        tests = _number_tests(item, cell)
        if tests:
            # a text such as "3/16 in" is allowed; dispense check reads it
            text = f"OR(ISTEXT({cell}),AND(ISNUMBER({cell}),{','.join(tests)}))"
            return DataValidation(
                "custom",
                formula1=text,
                allow_blank=True,
                errorStyle="stop",
                showErrorMessage=True,
                error=f"It must be {item.allowed()}."[:225],
            )
    return None


def _number_tests(item: Field, cell: str) -> list[str]:
    """Limits that hold whatever unit the header is changed to: those at 0, and pure numbers."""
    fixed = not item.unit
    tests = []
    for sign, limit in ((">", item.above), (">=", item.at_least), ("<", item.below), ("<=", item.at_most)):
        if limit is not None and (fixed or (limit == 0 and item.unit != "°C")):
            tests.append(f"{cell}{sign}{limit:g}")
    if item.kind == "whole":
        tests.append(f"MOD(N({cell}),1)=0")
    return tests


# ----------------------------------------------------------------------------------- appearance


def _shown_width(item: Field, value: Any) -> int:
    """Characters that a value takes as printed."""
    if value is None:
        return 0
    if item.kind == "date":
        return 10
    if item.kind == "clock":
        return 6
    return len(f"{value:.10g}" if isinstance(value, float) else str(value))


def _set_widths(sheet: Worksheet, table: Table, last: int) -> list[float]:
    """Column widths from headers and values, row heights from both; returns the widths."""
    widths, lines = [], 1
    heights: dict[int, int] = {}
    for number, item in enumerate(table.columns, 1):
        shown = {
            row: _shown_width(item, sheet.cell(row, number).value) for row in range(HEADER_ROW + 1, last + 1)
        }
        words = max(map(len, item.title.split()))
        floor = 16 if number == 1 else 12 if item.kind in {"text", "choice"} else 8
        floor = WRITTEN_LATER.get((table.name, item.name), floor)
        most = max([*shown.values(), *map(len, item.choices)])
        width = min(max(words + 3, most + 3, floor), WIDEST)
        style.set_width(sheet, number, width)
        widths.append(float(width))
        lines = max(lines, style.wrapped_lines(item.title, width - 1))
        for row, count in shown.items():
            if count > width - 2:
                text = str(sheet.cell(row, number).value)
                heights[row] = max(heights.get(row, 1), style.wrapped_lines(text, width - 1))
    sheet.row_dimensions[1].height = 24
    sheet.row_dimensions[HEADER_ROW].height = 13 * lines + 8
    for row, count in heights.items():
        sheet.row_dimensions[row].height = 13.5 * count + 2
    return widths


def _write_settings(sheet: Worksheet, given: Mapping[str, Any]) -> None:
    sheet["A1"] = "Settings"
    style.title(sheet["A1"])
    sheet["A2"] = "What holds for the whole plan. A blank value takes its default."
    sheet["A2"].font = style.NOTE
    for number, text in enumerate(("Setting", "Value", "Allowed", "Default", "Help"), 1):
        style.header(sheet.cell(HEADER_ROW, number, text))
    for row, item in enumerate(SETTINGS, HEADER_ROW + 1):
        name = sheet.cell(row, 1, item.title)
        name.font, name.border, name.alignment = style.BOLD, style.BORDER, style.LEFT
        value = sheet.cell(row, 2)
        _write_value(value, item, given.get(item.name), "Settings!")
        value.alignment = style.LEFT
        for number, text in ((3, item.allowed()), (4, item.default_text()), (5, item.help)):
            cell = sheet.cell(row, number, text)
            cell.font, cell.border, cell.alignment = style.BODY, style.BORDER, style.WRAP
        check = _check_of(item, value.coordinate)
        if check is not None:
            check.add(value.coordinate)
            sheet.add_data_validation(check)
    last = HEADER_ROW + len(SETTINGS)
    block = f"A{HEADER_ROW}:E{last}"
    sheet.add_table(ExcelTable(displayName="Settings", name="Settings", ref=block))
    for number, width in enumerate((24, 32, 30, 10, 60), 1):
        style.set_width(sheet, number, width)
    sheet.row_dimensions[1].height = 24
    sheet.row_dimensions[HEADER_ROW].height = 18
    sheet.freeze_panes = sheet.cell(HEADER_ROW + 1, 2)
    style.page(sheet, header_row=HEADER_ROW)


def _write_start(sheet: Worksheet) -> None:
    sheet["A1"] = "Plan for dispensing and potting"
    style.title(sheet["A1"])
    sheet.row_dimensions[1].height = 28
    row = _write_section(sheet, 3, "How to use this workbook")
    for number, text in enumerate(HOW_TO, 1):
        sheet.cell(row, 1, number).font = style.BOLD
        row = _write_line(sheet, row, text)
    row = _write_section(sheet, row + 1, "Cautions")
    for text in CAUTIONS:
        row = _write_line(sheet, row, style.WARNING_MARK + text, warning=True)
    row = _write_section(sheet, row + 1, "Tables")
    entries = [("Settings", "what holds for the whole plan", False)]
    for table in TABLES:
        entries.append((table.name, table.help.replace("`", ""), table.required))
        if table.form:
            entries.append(
                (table.form, f"one row of {table.name} down a page, to read, print and find cells", False)
            )
    for name, text, required in entries:
        link = sheet.cell(row, 2, name)
        link.hyperlink = Hyperlink(
            ref=link.coordinate, location=f"'{name}'!A1" if " " in name else f"{name}!A1"
        )
        link.font = style.LINK
        sheet.cell(row, 3, text[:1].upper() + text[1:]).font = style.BODY
        if required:
            mark = sheet.cell(row, 4, "must hold rows")
            mark.font = style.BOLD
        row += 1
    for number, width in enumerate((4, 16, 84, 16), 1):
        style.set_width(sheet, number, width)
    sheet.sheet_view.showGridLines = False
    style.page(sheet, landscape=False)
    sheet.page_setup.fitToHeight = 1


def _write_section(sheet: Worksheet, row: int, text: str) -> int:
    sheet.cell(row, 1, text).font = style.SECTION
    for column in range(1, 5):
        sheet.cell(row, column).border = style.RESULT_BORDER
    sheet.row_dimensions[row].height = 20
    return row + 1


def _write_line(sheet: Worksheet, row: int, text: str, warning: bool = False) -> int:
    """One line of text across the page, as high as it needs."""
    sheet.merge_cells(start_row=row, start_column=2, end_row=row, end_column=4)
    cell = sheet.cell(row, 2, text)
    cell.font, cell.alignment = style.BODY, style.MIDDLE
    if warning:
        style.warning_cell(cell)
        for column in (1, 3, 4):
            sheet.cell(row, column).fill = style.WARNING_FILL
    sheet.cell(row, 1).alignment = style.CENTRE
    sheet.row_dimensions[row].height = 14 * style.wrapped_lines(text, 112 if warning else 120) + 4
    return row + 1
