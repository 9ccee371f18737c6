"""The cure report as a workbook: the answers first, then one sheet for each question.

Formulas that a reader may play with are live and hold their values too; charts are the spreadsheet's
own, told apart by dash and mark. What the charts draw stands on the last sheet. Same report, same
bytes.
"""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl import Workbook

from ...reports.cure import CureReport
from .. import style
from ..finish import finished
from ..page import Data, Page
from .closing import Answer, under_title, warnings_of
from .exotherm import pour_sheet
from .life import life_sheet
from .light import light_sheet
from .moisture import moisture_sheet
from .pressed import beads_sheet, joints_sheet
from .schedule import run_sheet
from .thickening import thickening_sheet
from .windows import windows_sheet

__all__ = ["cure_workbook"]


def cure_workbook(report: CureReport, paper: str = "A4") -> bytes:
    """The workbook of a report."""
    book = Workbook()
    book.remove(book.active)
    summary = Page(
        book,
        "Summary",
        f"{report.station.station}: {report.material_words}",
        (30, 92, 18),
        under_title(report),
    )
    data = Data(book)
    answers: list[Answer] = []
    if report.day is not None:
        answers += life_sheet(book, data, report, report.day)
    for run in report.runs:
        answers.append(run_sheet(book, data, report, run))
    for pour in report.pours:
        answers.append(pour_sheet(book, data, report, pour))
    if report.thickening is not None:
        answers.append(thickening_sheet(book, data, report, report.thickening))
    if report.moisture is not None:
        answers += moisture_sheet(book, data, report, report.moisture)
    if report.light is not None:
        answers.append(light_sheet(book, data, report, report.light))
    if report.joints:
        answers += joints_sheet(book, data, report)
    if report.beads:
        answers += beads_sheet(book, data, report)
    if report.windows:
        answers.append(windows_sheet(book, report))
    _summary(summary, report, answers)
    data.close()
    book.move_sheet(data.sheet, len(book.worksheets))
    if data.column == 1:
        book.remove(data.sheet)
    return finished(book, "cure.xlsx", paper)


def _summary(page: Page, report: CureReport, answers: Sequence[Answer]) -> None:
    wrong = [name for _, _, name, good in answers if not good]
    if wrong:
        page.answer(
            f"{len(wrong)} of {len(answers)} answers calls for action: {wrong[0]}"
            if len(wrong) == 1
            else f"{len(wrong)} of {len(answers)} answers call for action",
            False,
        )
    elif answers:
        page.answer("Every answer keeps its limits" + ("; read the warnings" if report.warnings else ""))
    page.section("Answers")
    rows = [[question, answer, sheet] for question, answer, sheet, _ in answers]
    if not rows:
        page.text("The data sheet states nothing that a cure report could be made of.")
    else:
        first = page.table(
            ["Question", "Answer", "Sheet"], rows, ("@", "@", "@"), [not good for *_, good in answers]
        )
        for place, (_, _, name, _) in enumerate(answers):
            cell = page.sheet.cell(first + place, 3)
            cell.hyperlink = f"#'{name}'!A1"
            cell.font = style.LINK
            answer = page.sheet.cell(first + place, 2)
            if not answers[place][3]:
                style.warning_cell(answer)
    page.texts("Warnings", warnings_of(report.findings), warning=True)
    page.texts("Notes", report.notes)
    page.section("Cautions")
    page.text(report.cautions, warning=True)
    page.close()
