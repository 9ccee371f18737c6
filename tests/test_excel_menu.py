"""The tab *Dispense* of Excel: every command of the core, through xlwings' own engine for Windows.

Excel is pyOpenVBA's in memory (`excel_memory` says what is real and what is not). What the commands give is
held against what is known from outside, as in `test_on_screen`: here it is tried that the same reaches cells.
"""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import pandas  # noqa: F401  (loaded under the real platform, before xlwings is)
import pytest
from openpyxl import Workbook, load_workbook
from plans import MONDAY, hand_rows
from test_on_screen import column_letter, write_plan

pytest.importorskip("xlwings")
pytest.importorskip("pyopenvba")

from excel_memory import Excel

from dispense.addin import excel_menu as menu

ROWS = hand_rows()


def place(table, name, row=2):
    return f"{column_letter(ROWS, table, name)}{row}"


@pytest.fixture
def excel():
    running = Excel()
    yield running
    menu._DESKS.clear()
    running.end()


@pytest.fixture
def plan(excel, tmp_path):
    return excel.open(write_plan(tmp_path / "plan.xlsx", ROWS))


def pane(excel):
    """The lines of the pane: headline, then link and text of each."""
    for book in excel.books().values():
        if any(name.name == menu.PANE for name in book.names):
            sheet = book.sheets[0]
            last = max(sheet.used_range.last_cell.row, 3)
            # the Excel in memory gives no more than the used columns and rows
            rows = [[*row, None] for row in sheet.range((1, 1), (last, 2)).options(ndim=2).value]
            links = sheet.range((1, 1), (last, 1)).formula
            return rows[1][0], [(link[0], row[1]) for link, row in zip(links, rows, strict=False)][2:]
    raise AssertionError("there is no pane")


def test_a_wrong_cell_is_outlined_and_listed_until_it_is_mended(excel, plan):
    cell = place("Beads", "station")
    plan.sheets["Beads"].range(cell).value = "hum"
    plan.api.Saved = True
    assert menu.command(plan, "check") == ""
    ((name, (sheet, look)),) = excel.shapes(plan).items()
    assert (name, sheet) == (f"dispense mark stop Beads!{cell}", "Beads")
    assert "did you mean hem?" in look["text"]
    assert look["DrawingObject"].held == {"PrintObject": False} and look["Fill"].held == {"Visible": 0}
    assert plan.api.Saved is True  # an outline is no edit of the user's
    headline, ((link, text),) = pane(excel)
    assert headline.startswith("1 problem") and "hum" in text
    assert link == f'=HYPERLINK("#\'[plan.xlsx]Beads\'!{cell}","Beads!{cell}")'
    plan.sheets["Beads"].range(cell).value = "hem"
    menu.command(plan, "check")
    assert not [name for name in excel.shapes(plan) if cell in name]
    menu.command(plan, "unmark")
    assert excel.shapes(plan) == {}


def test_marks_that_stand_already_are_not_drawn_again(excel, plan):
    """Each drawing empties Excel's list of undo steps, so none is made that changes nothing."""
    menu.command(plan, "check")
    before = {name: id(look) for name, (_, look) in excel.shapes(plan).items()}
    assert before
    menu.command(plan, "check")
    menu.command(plan, "saved")
    assert {name: id(look) for name, (_, look) in excel.shapes(plan).items()} == before


def test_a_protected_sheet_is_left_alone_and_the_rest_is_marked(excel, plan):
    plan.sheets["Beads"].range(place("Beads", "width")).value = -1
    plan.sheets["Stations"].range(place("Stations", "takt")).value = -5
    plan.sheets["Beads"].api.Protect(DrawingObjects=True)
    assert menu.command(plan, "check") == ""
    assert [sheet for sheet, _ in excel.shapes(plan).values()] == ["Stations"]
    assert len(pane(excel)[1]) == 2


def test_fill_takes_what_is_on_the_screen_and_opens_the_sheet(excel, plan, tmp_path):
    """Twice the width typed and not saved: by hand 20 × 1 × 1000 mm³ = 20 mL a part on the sheet."""
    before = (tmp_path / "plan.xlsx").read_bytes()
    plan.sheets["Beads"].range(place("Beads", "width")).value = 20
    excel.answers = [str(MONDAY), "1", "hem"]  # words or a number of the list
    assert menu.command(plan, "fill") == ""
    assert [words.splitlines()[0] for words in excel.asked] == [
        f"{name}: a number of this list, or the words" for name in ("Day", "Shift", "Station")
    ]
    assert "1 early" in excel.asked[1]
    opened = excel.books()["hem_material.xlsx"]
    path = Path(opened.api.FullName)
    assert path == tmp_path / "plan_sheets" / f"{MONDAY}_early" / "hem_material.xlsx"
    page = next(sheet for sheet in load_workbook(path, data_only=True) if "MaterialParts" in sheet.tables)
    head, first = page[page.tables["MaterialParts"].ref][:2]
    column = next(i for i, cell in enumerate(head) if str(cell.value).startswith("Shot ["))
    assert first[column].value == pytest.approx(20.0)
    assert (tmp_path / "plan.xlsx").read_bytes() == before
    assert f'=HYPERLINK("{path}","hem_material.xlsx")' in [link for link, _ in pane(excel)[1]]
    assert re.fullmatch(r"dispense: \d+ of \d+; Esc stops", str(excel.said[0])) and excel.said[-1] is False


def test_a_cancelled_question_ends_it_and_a_wrong_answer_is_named(excel, plan):
    excel.answers = [False]
    assert menu.command(plan, "fill") == ""
    assert list(excel.books()) == ["plan.xlsx"]  # the user went back: no pane, nothing opened
    excel.answers = [str(MONDAY), "late", "hem"]
    menu.command(plan, "fill")
    assert '"late"' in pane(excel)[1][0][1]


def test_escape_stops_a_fill(excel, plan):
    menu.desk_of(plan).host._is_stopped = lambda: True
    menu.command(plan, "fill", {"day": "all", "shift": "all", "station": "all"})
    assert "stopped" in pane(excel)[1][0][1]


def test_forecast_cure_and_compare_open_their_workbooks_and_book_reads_files(excel, plan, tmp_path):
    excel.answers = ["1"]
    menu.command(plan, "forecast")
    assert "plan_forecast.xlsx" in pane(excel)[1][0][0]
    menu.command(plan, "cure", {"station": "hem"})
    menu.command(plan, "compare")
    assert "Choices" in pane(excel)[1][0][1]  # the plan has none
    floor = tmp_path / "floor.csv"
    floor.write_text("What,Date,Material,Component,Lot,Containers\nreceived,2026-03-02,Bond 60,A,A9,2\n")
    excel.answers = [(str(floor),)]
    assert menu.command(plan, "book") == ""
    assert pane(excel)[0] == "1 of 1 file booked into plan.journal"
    assert {"plan_forecast.xlsx", "plan_hem_cure.xlsx"} <= set(excel.books())


def test_the_last_answer_is_kept_when_the_pane_is_closed(excel, plan):
    menu.command(plan, "check")
    kept = pane(excel)
    for book in excel.books().values():
        if book.name != "plan.xlsx":
            book.close()
    menu.command(plan, "pane")
    assert pane(excel) == kept


def test_a_station_tried_follows_what_is_typed(excel, plan, tmp_path):
    """By hand: 10 × 1 × 1000 mm³ is 10 mL, twice as wide 20."""
    before = (tmp_path / "plan.xlsx").read_bytes()
    assert menu.command(plan, "station", {"station": "hem", "day": str(MONDAY), "shift": "early"}) == ""
    trial = excel.books()["plan_try.xlsx"]
    sheet = trial.sheets["Station"]

    def row(words, first=1):
        column = sheet.range((1, 1), (sheet.used_range.last_cell.row, 1)).value
        return next(i for i, value in enumerate(column, 1) if i >= first and value == words)

    volume = row("frame / hem / 1: volume", 20)
    assert sheet.range((volume, 2), (volume, 3)).value == [10.0, 10.0]
    sheet.range((row("Width of frame / hem"), 2)).value = "2 cm"
    trial.api.Saved = True
    assert menu.command(trial, "edited") == ""
    assert sheet.range((volume, 2), (volume, 4)).value == [20.0, 10.0, 10.0]
    assert pane(excel)[0] == f"hem, {MONDAY} early: 1 changed"
    assert trial.api.Saved is True
    assert menu.command(plan, "edited") == ""  # a plan is no trial: nothing happens
    assert (tmp_path / "plan.xlsx").read_bytes() == before


def test_a_workbook_open_already_is_taken_anew_but_not_where_something_was_typed(excel, plan):
    assert menu.command(plan, "cure", {"station": "hem"}) == ""
    first = excel.books()["plan_hem_cure.xlsx"]
    first.api.Saved = True
    menu.command(plan, "cure", {"station": "hem"})
    second = excel.books()["plan_hem_cure.xlsx"]
    assert second.api.thing is not first.api.thing
    second.sheets[0].range("Z99").value = "mine"
    second.api.Saved = False
    menu.command(plan, "cure", {"station": "hem"})
    assert excel.books()["plan_hem_cure.xlsx"].sheets[0].range("Z99").value == "mine"


def test_a_workbook_of_a_job_names_functions_as_excel_does(excel, plan, tmp_path):
    """LibreOffice finds DISPENSE.BEAD_AREA in a file, Excel BEAD_AREA (the notes on formulas say why)."""
    book = Workbook()
    book.active["A1"] = '=DISPENSE.BEAD_AREA("mitre",4)'
    book.save(tmp_path / "sheet.xlsx")
    menu.desk_of(plan).host.open(tmp_path / "sheet.xlsx")
    assert excel.books()["sheet.xlsx"].sheets[0].range("A1").formula == '=BEAD_AREA("mitre",4)'
    assert load_workbook(tmp_path / "sheet.xlsx").active["A1"].value == '=BEAD_AREA("mitre",4)'


def test_an_address_of_onedrive_leads_to_its_copy_on_this_computer(tmp_path, monkeypatch):
    """The two kinds of address as Microsoft's pages show them; folders below are made here."""
    home = tmp_path / "OneDrive - Works"
    (home / "line 2").mkdir(parents=True)
    copy = home / "line 2" / "plan.xlsx"
    copy.write_bytes(b"")
    monkeypatch.setenv("OneDriveCommercial", str(home))
    monkeypatch.delenv("OneDriveConsumer", raising=False)
    monkeypatch.delenv("OneDrive", raising=False)
    roots = menu.onedrive_folders()
    for address in (
        "https://works-my.sharepoint.com/personal/ann_works_com/Documents/line%202/plan.xlsx",
        "https://d.docs.live.net/0123456789abcdef/line 2/plan.xlsx",
    ):
        assert menu.local_copy(address, roots) == copy
    assert menu.local_copy("https://works.sharepoint.com/sites/other/none.xlsx", roots) is None


def test_a_fault_is_told_and_not_raised_into_excel(excel, plan, monkeypatch):
    def broken(*_):
        raise RuntimeError("spoilt on purpose")

    monkeypatch.setattr(menu, "run", broken)
    assert menu.command(plan, "check") == "RuntimeError: spoilt on purpose"
    busy = OSError("rejected")
    busy.hresult = -2147418111  # RPC_E_CALL_REJECTED of Microsoft's list of COM errors

    def rejected(*_):
        raise busy

    monkeypatch.setattr(menu, "run", rejected)
    assert "Excel is busy" in menu.command(plan, "check")
    assert menu.command(plan, "dance") == "there is no command dance"


def test_clock_times_and_errors_read_as_plans_are_read():
    import datetime

    assert menu._plain(datetime.datetime(1899, 12, 30, 6)) == 0.25
    assert menu._plain(datetime.datetime(2026, 3, 2, 6)) == datetime.datetime(2026, 3, 2, 6)
    assert menu._plain(3.0) == 3 and type(menu._plain(3.0)) is int
    assert menu._plain("") is None and menu._plain(True) is True


@pytest.mark.parametrize(("number", "said"), [(1031, "de"), (3082, "es"), (1033, "en"), (0, "")])
def test_excel_tells_the_language_of_its_windows(number, said):
    """Numbers of [MS-LCID] (from memory): German of Germany, Spanish (modern sort), English of the US."""
    settings = SimpleNamespace(LanguageID=lambda kind: number if kind == 2 else 1036)  # msoLanguageIDUI
    app = SimpleNamespace(api=SimpleNamespace(LanguageSettings=settings))
    host = menu.ExcelHost(SimpleNamespace(app=app))
    assert host.language()[:2] == said
    told = {"de": "Marken sind aus", "es": "marcas quitadas"}.get(said, "marks are off")
    assert host.said("marks are off") == told
    assert menu.ExcelHost(SimpleNamespace(app=SimpleNamespace())).language() == ""  # one that does not tell


def test_cells_in_error_are_told_with_their_reasons(excel, plan):
    """The Excel in memory has no add-in: ours are errors there, and reckoned here."""
    sheet = plan.sheets.add("Own")
    sheet.range("A1").value = -3
    sheet.range("B1").formula = '=BEAD_AREA("round",A1)'
    sheet.range("B2").formula = "=1/0"  # none of ours
    assert sheet.range("B1").options(err_to_str=True).value.startswith("#")
    assert menu.command(plan, "formulas") == ""
    headline, ((link, text),) = pane(excel)
    assert headline == "1 formula with functions of the add-in, 1 error"
    assert "Own!B1" in link and "width is -3" in text


def test_a_job_given_again_closes_what_it_opened(excel, plan, tmp_path):
    path = tmp_path / "plan_calc.xlsx"
    menu.command(plan, "calculate")
    first = excel.books()[path.name]
    first.api.Saved = True
    menu.command(plan, "calculate")
    assert "changes nothing" in pane(excel)[0]
    excel.books()[path.name].api.Saved = False  # something was typed
    menu.desk_of(plan).host.release(path)
    assert path.name in excel.books()
    excel.books()[path.name].api.Saved = True
    menu.desk_of(plan).host.release(tmp_path)
    assert path.name not in excel.books() and "plan.xlsx" in excel.books()
