"""The sheet that lists functions: the call, what it gives, and a live check against its source."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import Any

from lxml import etree
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.worksheet.properties import PageSetupProperties

from dispense.addin.excel_udfs import function_help
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.declare import Example, Function
from dispense.handbook.words import by_category, call_text

_COLUMNS = (
    ("Function", 52),
    ("What it gives", 58),
    ("Check", 13),
    ("Expected", 13),
    ("OK", 16),
    ("Source of the expected value", 36),
)

NO_ANSWER = "no answer here"


@cache
def checks() -> dict[str, tuple[str, Example]]:
    """Per function the first example whose result is one number, and its formula."""
    found = {}
    for entry in FUNCTIONS.values():
        for case in entry.examples:
            if isinstance(case.result, int | float) and not isinstance(case.result, bool):
                found[entry.name] = (call_text(entry.name, case), case)
                break
    return found


def write_list(
    sheet: Any, title: str, words: str, entries: Iterable[Function], *, tries_at_load: bool = False
) -> None:
    """Fill an openpyxl sheet with the list; a check that fails turns red.

    With `tries_at_load` each check calls its function anew whenever the workbook is opened, so that a
    spreadsheet that cannot compute it says so in place of the stored value.
    """
    bold, head = Font(bold=True), PatternFill("solid", fgColor="FFDDE6EE")
    wrap = Alignment(wrap_text=True, vertical="top")
    sheet.title = "Dispense"
    sheet["A1"] = title
    sheet["A1"].font = Font(bold=True, size=14)
    sheet["A2"] = words
    sheet["A2"].font = Font(color="FF595959")
    sheet["A2"].alignment = wrap
    sheet.merge_cells("A2:F2")
    sheet.row_dimensions[2].height = 34
    for column, (name, width) in enumerate(_COLUMNS, 1):
        cell = sheet.cell(4, column, name)
        cell.font, cell.fill = bold, head
        sheet.column_dimensions["ABCDEF"[column - 1]].width = width
    row = 5
    for topic, members in by_category(entries):
        sheet.cell(row, 1, topic).font = bold
        row += 1
        for entry in members:
            _list_function(sheet, row, entry, checks().get(entry.name), wrap, tries_at_load)
            row += 1
    red = PatternFill(bgColor="FFF4B6B6")
    rule = FormulaRule(formula=['AND($E5<>"",$E5<>"ok")'], fill=red)
    sheet.conditional_formatting.add(f"C5:E{row - 1}", rule)
    if tries_at_load:
        sheet.column_dimensions["G"].hidden = True
    sheet.freeze_panes = "A5"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.print_title_rows = "4:4"


def _list_function(
    sheet: Any, row: int, entry: Function, check: tuple[str, Example] | None, wrap: Any, tries: bool
) -> None:
    sheet.cell(row, 1, entry.signature)
    sheet.cell(row, 2, function_help(entry))
    if check:
        formula, case = check
        shown, again = formula, ""
        if tries:
            # A spreadsheet that cannot read the formula of a name makes an error of the whole cell that calls
            # it, which no IFERROR in there catches: the call stands apart, in a column that is not shown. A
            # stored value is computed again at load only where what it rests on is volatile.
            sheet.cell(row, 7, f'=IF(NOW()>0,{formula},"")')
            shown, again = f'IF(ISERROR(G{row}),"",G{row})', "&T(NOW())"
        sheet.cell(row, 3, "=" + shown)
        sheet.cell(row, 4, float(case.result))
        asked = f"{'G' if tries else 'C'}{row}"
        near = f"ABS({asked}-D{row})<={max(case.tolerance, 1e-9)!r}*MAX(1,ABS(D{row}))"
        sheet.cell(row, 5, f'=IFERROR(IF({near},"ok","differs"),"{NO_ANSWER}"){again}')
        sheet.cell(row, 6, case.source)
        for column in (3, 4):
            sheet.cell(row, column).number_format = "0.######"
    for column in range(1, 7):
        sheet.cell(row, column).alignment = wrap
    sheet.cell(row, 5).alignment = Alignment(horizontal="center", vertical="top")
    longest = max(
        len(entry.signature) / 52, len(function_help(entry)) / 58, len(check[1].source) / 36 if check else 0
    )
    sheet.row_dimensions[row].height = 15.75 * (int(longest) + 1)


def with_values(part: bytes) -> bytes:
    """The list's sheet with the value beside each formula, so that a viewer shows numbers."""
    values = {formula: repr(float(case.result)) for formula, case in checks().values()}
    root = etree.fromstring(part)
    space = {"m": root.nsmap[None]}
    called = re.compile(r'IF\(NOW\(\)>0,(.*),""\)')  # a call in the column that is not shown, and its row
    shown = re.compile(r'IF\(ISERROR\((G\d+)\),"",\1\)')
    apart = {
        cell.getparent().get("r"): call[1]
        for cell in root.iterfind(".//m:c/m:f", space)
        if (call := called.fullmatch(cell.text or ""))
    }
    for formula in root.iterfind(".//m:c/m:f", space):
        cell = formula.getparent()
        held = cell.find("m:v", space)
        if held is None:
            held = etree.SubElement(cell, f"{{{space['m']}}}v")
        text = formula.text or ""
        own = cell.get("r")
        wrapped = shown.fullmatch(text)
        held.text = values.get(apart.get(wrapped[1] if wrapped else own, text), "ok")
        cell.attrib.pop("t", None)
        if held.text == "ok":
            cell.set("t", "str")
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)


def without_formulas(part: bytes) -> bytes:
    """A sheet with the values of its formulas alone."""
    root = etree.fromstring(part)
    for formula in list(root.iter(f"{{{root.nsmap[None]}}}f")):
        formula.getparent().remove(formula)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)


__all__ = ["checks", "with_values", "without_formulas", "write_list"]
