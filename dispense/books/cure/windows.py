"""Latest clock times of treated surfaces and open parts."""

from __future__ import annotations

from openpyxl import Workbook

from ...base.clock import hhmm
from ...base.units import duration_text
from ...reports.cure import CureReport, shop
from .. import style
from ..page import Page
from .closing import Answer, close_sheet, under_title


def windows_sheet(book: Workbook, report: CureReport) -> Answer:
    """When surfaces and open parts must be done with."""
    page = Page(
        book,
        "Latest times",
        "Latest clock times of surfaces and open parts",
        (14, 12, 12, 16, 82),
        under_title(report),
    )
    late = [window for *_, window in report.windows if window.is_late]
    date, _, first = next((row for row in report.windows if row[2].is_late), report.windows[0])
    when = f"{hhmm(first.clock, date)} of {date.isoformat()}"
    page.answer(
        f"{len(late)} groups of parts come too late, the first at {when}"
        if late
        else f"None comes too late; the first by {when}",
        not late,
    )
    page.text("The shifts of the first day; of other days the parts that come too late.", style.NOTE)
    page.row += 1
    header_row = page.row
    page.table(
        ["Date", "Shift", "Latest", "Window", "What"],
        [
            [
                date.isoformat(),
                shift,
                hhmm(window.clock, date),
                window.kind,
                ("▲ " if window.is_late else "") + window.text,
            ]
            for date, shift, window in report.windows
        ],
        ("@",) * 5,
        [window.is_late for *_, window in report.windows],
    )
    material = report.material
    notes = []
    if material.surface_window is not None:
        notes.append(
            f"surface treatment ({material.surface_treatment or 'not named'}) keeps "
            f"{duration_text(material.surface_window)}, from treatment to dispensing; it runs on "
            "through a break"
        )
    if material.open_time is not None:
        notes.append(
            f"open time {duration_text(material.open_time)} at "
            f"{shop(material.pot_life_temperature, '°C'):.0f} °C, from dispensing to mating, "
            "shorter when it is hotter"
        )
    close_sheet(page, report, notes, header_row=header_row)
    answer = (
        f"{len(late)} groups of parts come too late; first: {late[0].text}"
        if late
        else f"none comes too late; first: {report.windows[0][2].text}"
    )
    return "Do surfaces and open parts keep over the breaks?", answer, page.sheet.title, not late
