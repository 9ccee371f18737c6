"""Formulas with functions of the add-in: why a cell is an error, and whole columns cut to what is filled.

What LibreOffice does of the same is in `test_calc_menu`.
"""

from __future__ import annotations

import pytest
from file_host import FileHost
from openpyxl import Workbook

from dispense.jobs.desk import Desk
from dispense.jobs.document import FormulaCell, Grid
from dispense.jobs.formulas import CUT, cut_columns
from dispense.jobs.on_screen import run


@pytest.fixture
def host(tmp_path):
    book = Workbook()
    sheet = book.active
    sheet.title = "Line"
    for row in (["round", "width", "note"], ["round", -3], ["mitre", 4], ["round", 5]):
        sheet.append(row)
    other = book.create_sheet("It's two")
    for number in (1, 2, 3):
        other.append([number])
    path = tmp_path / "own.xlsx"
    book.save(path)
    return FileHost(path, answers={})


def test_each_cell_in_error_has_its_own_reason(host):
    """Four cells in error, of which three call one function: each has the reason of its own arguments."""
    host.formula_cells = [
        FormulaCell("Line!E2", "=BEAD_AREA(A2,B2)", "#NUM!"),
        FormulaCell("Line!E3", '=2*DISPENSE.BEAD_AREA("oval",B3)', "#VALUE!"),
        FormulaCell("Line!E4", "=BEAD_AREA(A4,B9+1/0)", "#DIV/0!"),
        FormulaCell("Line!E5", "=B9/0", "#DIV/0!"),  # none of ours
        FormulaCell("Line!E6", "=SUM(BEAD_AREA(A4,B4))"),  # well
    ]
    run(Desk(host), "formulas")
    assert [line.cell for line in host.pane.lines] == ["Line!E2", "Line!E3", "Line!E4"]
    number, choice, other = (line.text for line in host.pane.lines)
    assert "width is -3" in number and "above 0" in number
    assert '"oval"' in choice and "half-round" in choice
    assert "#DIV/0!" in other
    assert host.pane.headline == "4 formulas with functions of the add-in, 3 errors"
    assert [mark.cell for mark in host.marks] == ["Line!E2", "Line!E3", "Line!E4"]
    assert host.asked == []  # nothing reads a whole column


@pytest.mark.parametrize(
    ("written", "cut"),
    [
        # INDEX and MATCH as every spreadsheet has them: the last number that is not above 1E+306
        ('=SUM(BEAD_AREA("round",B:B))', '=SUM(BEAD_AREA("round",B1:INDEX(B:B,MATCH(1E+306,B:B))))'),
        (
            "=SUM(BEAD_AREA(A:A,$B:$B))",
            "=SUM(BEAD_AREA(A1:INDEX(A:A,MATCH(1E+306,$B:$B)),B1:INDEX($B:$B,MATCH(1E+306,$B:$B))))",
        ),
        (
            """=BEAD_AREA("mitre",'It''s two'!A:A)+SUM(B:B)""",  # SUM is the spreadsheet's own, and quick
            """=BEAD_AREA("mitre",'It''s two'!A1:INDEX('It''s two'!A:A,MATCH(1E+306,'It''s two'!A:A)))"""
            "+SUM(B:B)",
        ),
        ('="BEAD_AREA(B:B)"', ""),  # a text
        ('=BEAD_AREA("round",B2:B4)', ""),
        ("=BEAD_AREA(C:C,3)", ""),  # no number in it
        ("=SUM(B:B)", ""),
        ('=BEAD_AREA("round",Z:Z)', ""),  # empty
    ],
)
def test_whole_columns_end_with_their_last_number(host, written, cut):
    grids = host.read()
    assert cut_columns(FormulaCell("Line!E2", written), grids) == cut


def test_a_column_that_reaches_beyond_the_numbers_is_left():
    grids = [Grid("Line", [["round", 3], ["round", 4], ["mitre", None]])]
    assert cut_columns(FormulaCell("Line!E2", "=BEAD_AREA(A:A,B:B)"), grids) == ""


def test_columns_are_cut_when_the_user_says_so(host):
    host.formula_cells = [FormulaCell("Line!E2", '=SUM(BEAD_AREA("round",B:B))')]
    run(Desk(host), "formulas")  # "leave them" stands first
    assert host.rewritten == {}
    ((title, (question,)),) = host.asked
    assert (title, question.default) == ("Look at formulas", "leave them")
    assert "million" in host.pane.lines[0].text
    host.answers = {"columns": CUT}
    run(Desk(host), "formulas")
    assert host.rewritten == {"Line!E2": '=SUM(BEAD_AREA("round",B1:INDEX(B:B,MATCH(1E+306,B:B))))'}
    assert "million" not in host.pane.lines[0].text
