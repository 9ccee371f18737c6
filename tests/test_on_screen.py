"""A plan that is open: what is on the screen counts, nothing of it is touched, cells are named and marked.

The host is a file with unsaved edits (`file_host`); what LibreOffice does of the same is in
`test_calc_menu`.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import replace

import pytest
from file_host import FileHost
from openpyxl import Workbook, load_workbook
from plans import MONDAY, hand_rows

from dispense.books.plan import new_plan
from dispense.books.trial import CHOSEN, TITLE
from dispense.jobs import live
from dispense.jobs.desk import Desk, marks_of
from dispense.jobs.on_screen import COMMANDS, run
from dispense.plan.read import load_plan
from dispense.plan.tables import TABLES
from dispense.xlsx.snapshot import snapshot


def write_plan(path, rows):
    """A plan workbook of rows by table."""
    book = Workbook()
    book.remove(book.active)
    for name, table in rows.items():
        sheet = book.create_sheet(name)
        heads = list(dict.fromkeys(key for row in table for key in row))
        sheet.append(heads)
        for row in table:
            sheet.append([row.get(head) for head in heads])
    book.save(path)
    return path


def column_letter(rows, table, name):
    """The letter of a column of a table that `write_plan` wrote."""
    heads = list(dict.fromkeys(key for row in rows[table] for key in row))
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[heads.index(name)]


@pytest.fixture
def host(tmp_path):
    return FileHost(write_plan(tmp_path / "plan.xlsx", hand_rows()), answers={})


def column(host, sheet, head):
    """The letter of a column by its header."""
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[host.sheets[sheet][0].index(head)]


def test_the_screen_reads_as_its_file_does(tmp_path):
    """Every record of the demo's plan, dates and clock times too, against reading the file itself."""
    path = tmp_path / "demo.xlsx"
    new_plan(path, demo=True)
    desk = Desk(FileHost(path))
    seen, saved = desk.sound_plan(), load_plan(path)
    for table in TABLES:
        assert getattr(seen, table.attribute) == getattr(saved, table.attribute)
    assert seen.settings == saved.settings


def test_a_wrong_cell_is_marked_until_it_is_mended(host):
    cell = f"Beads!{column(host, 'Beads', 'station')}2"
    before = host.path.read_bytes()
    desk = Desk(host)
    host.edit(cell, "hum")
    run(desk, "check")
    assert [(mark.cell, mark.kind) for mark in host.marks] == [(cell, "stop")]
    assert "did you mean hem?" in host.marks[0].text
    assert [line.cell for line in host.pane.lines] == [cell]
    assert host.pane.headline.startswith("1 problem")
    host.edit(cell, "hem")
    run(desk, "check")
    assert cell not in [mark.cell for mark in host.marks]
    assert "1 build at 1 station" in host.pane.headline
    run(desk, "unmark")
    assert host.marks == []
    assert host.path.read_bytes() == before


#: from de.csv, es.csv: a danger, a name that is not there, a number that cannot be, what was not checked
SPOKEN = {
    "de": ("2 Probleme: ", "gemeint hem?", "erlaubt: über 0 mm"),
    "es": ("2 problemas: ", "¿quería decir hem?", "permitido: más de 0 mm"),
}


def long_words(text):
    return set(re.findall(r"[^\W\d_]{5,}", text))


@pytest.mark.parametrize("speaks", ["de-AT", "es_MX"])
def test_the_pane_speaks_the_language_of_the_windows(host, speaks):
    """As the menu does; names, cells and marks are those of the English pane."""
    host.edit(f"Beads!{column(host, 'Beads', 'station')}2", "hum")
    host.edit(f"Beads!{column(host, 'Beads', 'width')}2", -3)
    run(Desk(host), "check")
    english, marks = host.pane, host.marks
    host.speaks = speaks
    run(Desk(host), "check")
    headline, name, number = SPOKEN[speaks[:2]]
    assert host.pane.headline.startswith(headline)
    assert any(name in line.text for line in host.pane.lines)
    assert any(number in line.text for line in host.pane.lines)
    assert [(line.cell, line.kind) for line in host.pane.lines] == [
        (line.cell, line.kind) for line in english.lines
    ]
    assert [(mark.cell, mark.kind) for mark in host.marks] == [(mark.cell, mark.kind) for mark in marks]
    host.edit(f"Beads!{column(host, 'Beads', 'station')}2", "hem")
    host.edit(f"Beads!{column(host, 'Beads', 'width')}2", 10)
    host.answers = None
    for what in ("check", "fill", "unmark"):  # findings, what is asked, what is told
        run(Desk(host), what)
    told = [*(pane.headline for pane in host.panes[-2:]), *(line.text for line in host.panes[-2].lines)]
    (_, questions) = host.asked[-1]
    told += [*(item.label for item in questions), questions[0].choices[-1]]
    host.speaks = "en-US"
    run(Desk(host), "check")
    run(Desk(host), "fill")
    english = [host.pane.headline, *(line.text for line in host.pane.lines)]
    of_plan = {word for table in TABLES for item in table.columns for word in long_words(item.title)}
    of_plan |= {table.name for table in TABLES} | long_words(str(host.sheets))
    words = long_words(" ".join(english)) - of_plan
    assert len(words) > 5
    assert not words & long_words(" ".join(told))
    assert "all" not in told and "Day" not in told


def test_an_answer_in_another_language_is_understood(host):
    """ "alle" is chosen for shift and station: all of them are filled, as "all" does."""
    host.speaks, host.answers = "de", {"shift": "alle", "station": "alle"}
    run(Desk(host), "fill")
    assert host.opened and host.pane.headline.split(" ")[1] == "Dateien"


def test_windows_in_a_language_without_a_list_speak_that_of_the_settings(host):
    host.speaks = "fr-FR"
    run(Desk(host), "unmark")
    assert host.pane.headline == "marks are off"
    (host.path.parent / "fr.csv").write_text(
        "English,Translation\nmarks are off,sans marques\n", encoding="utf-8"
    )
    host.sheets["Settings"] = [["Setting", "Value"], ["Language", "fr.csv"]]
    host.tables.setdefault("Settings", {})
    desk = Desk(host)
    run(desk, "check")
    run(desk, "unmark")
    assert host.pane.headline == "sans marques"


def test_findings_lead_to_their_cell_or_the_row_of_their_station(host):
    # 30 bar are far too little for 1000 Pa·s through a needle: 128 μLQ/(πD⁴) of Hagen and Poiseuille
    # with 1 mL/s, 20 mm and 1 mm is 8149 bar
    for name, value in dict(nozzle_bore=1, nozzle_length=20, pressure_limit=30).items():
        host.sheets["Stations"][0].append(name)
        host.sheets["Stations"][1].append(value)
    host.sheets["Materials"][0].append("consistency")
    host.sheets["Materials"][1].append(1000)
    run(Desk(host), "check")
    line = host.pane.lines[0]  # the gravest
    assert line.kind == "danger" and "8148.8 bar" in line.text
    assert line.cell == f"Stations!{column(host, 'Stations', 'pressure_limit')}2"
    of_cell = {mark.cell: mark.kind for mark in host.marks}
    assert of_cell[line.cell] == "danger"
    # what has no cell of its own leads to the name of its station; notes mark nothing
    assert of_cell[f"Stations!{column(host, 'Stations', 'station')}2"] == "quality"
    assert len(of_cell) == 2 and len(host.pane.lines) > 2


def test_the_gravest_of_a_cell_gives_its_mark():
    from dispense.jobs.document import Line

    lines = [
        Line("a", "Beads!B2", kind="quality"),
        Line("b", "Beads!B2", kind="danger"),
        Line("c", "Beads!B3"),
    ]
    assert [(mark.kind, mark.text) for mark in marks_of(lines)] == [("danger", "a\nb")]


def test_fill_takes_what_is_on_the_screen(host):
    """Twice the width typed and not saved: by hand 20 × 1 × 1000 mm³ = 20 mL a part on the sheet."""
    before = host.path.read_bytes()
    host.edit(f"Beads!{column(host, 'Beads', 'width')}2", 20)
    run(Desk(host), "fill", {"day": str(MONDAY), "shift": "early", "station": "hem"})
    assert host.asked == []
    (opened,) = host.opened
    assert opened == host.path.parent / "plan_sheets" / f"{MONDAY}_early" / "hem_material.xlsx"
    book = load_workbook(opened, data_only=True)
    table = next(sheet.tables["MaterialParts"] for sheet in book if "MaterialParts" in sheet.tables)
    page = next(sheet for sheet in book if "MaterialParts" in sheet.tables)
    head, first = (row for row in page[table.ref][:2])
    place = next(i for i, cell in enumerate(head) if str(cell.value).startswith("Shot ["))
    assert first[place].value == pytest.approx(20.0)
    assert host.path.read_bytes() == before
    assert str(opened) in [line.file for line in host.pane.lines]


def test_what_is_not_given_is_asked_and_a_wrong_answer_is_named(host):
    host.answers = None
    run(Desk(host), "fill")
    ((title, questions),) = host.asked
    assert title == "Fill"
    assert [item.key for item in questions] == ["day", "shift", "station"]
    assert list(questions[0].choices) == [str(MONDAY), "all"]
    assert host.panes == [] and host.opened == []  # the user went back
    run(Desk(host), "fill", {"day": "2026-04-01", "shift": "early", "station": "hem"})
    assert "2026-04-01" in host.pane.lines[0].text and str(MONDAY) in host.pane.lines[0].text


def test_a_stopped_fill_says_so(host):
    host.stop_at = 1
    run(Desk(host), "fill", {"day": "all", "shift": "all", "station": "all"})
    assert "stopped" in host.pane.lines[0].text
    assert host.opened == []


@pytest.mark.parametrize(("name", "given"), [("forecast", {"weeks": "1"}), ("cure", {"station": "hem"})])
def test_a_report_tells_how_far_it_is_and_can_be_stopped(host, name, given):
    seen = []
    host.progress = lambda done, total: seen.append(done / total) or True
    run(Desk(host), name, given)
    assert len(seen) > 3 and seen == sorted(seen) and seen[0] == 0.0 and seen[-1] < 1.0
    assert len(host.opened) == 1
    host.opened.clear()
    host.progress = lambda done, total: done / total < 0.5
    run(Desk(host), name, given)
    assert "stopped" in host.pane.lines[0].text and host.opened == []


def test_a_workbook_never_saved_has_no_folder(host):
    host.place = lambda: None
    run(Desk(host), "check")  # nothing is made of it, so it may be checked
    assert "1 build" in host.pane.headline
    run(Desk(host), "fill", {"day": "all", "shift": "all", "station": "all"})
    assert "never saved" in host.pane.lines[0].text


def test_a_plan_with_problems_is_marked_when_it_is_to_be_filled(host):
    cell = f"Stations!{column(host, 'Stations', 'takt')}2"
    host.edit(cell, -5)
    run(Desk(host), "fill", {"day": "all", "shift": "all", "station": "all"})
    assert [mark.cell for mark in host.marks] == [cell]
    assert host.opened == []


def test_forecast_and_cure_open_their_workbooks(host):
    desk = Desk(host)
    run(desk, "forecast", {"weeks": "1"})
    run(desk, "cure", {"station": "hem"})
    assert [path.name for path in host.opened] == ["plan_forecast.xlsx", "plan_hem_cure.xlsx"]
    for path in host.opened:
        assert load_workbook(path).sheetnames
    run(desk, "forecast", {"weeks": "soon"})
    assert '"soon"' in host.pane.lines[0].text


def cells_of(path):
    return {(s.title, c.coordinate): c.value for s in load_workbook(path) for row in s for c in row}


def test_forecast_from_the_menu_asks_the_journal_as_the_command_does(host, tmp_path):
    """By hand: 25 of 60 mL counted less 10 % heel, 22.5 mL of B, are no two shots of 5 mL a frame with a
    start of 4 mL: the line that the plan's 660 mL of B feed stops. What is on the screen is saved."""
    from dispense import cli

    asked = {"weeks": "1"}
    run(Desk(host), "forecast", asked)
    before = [line.text for line in host.pane.lines]
    floor = tmp_path / "floor.csv"
    floor.write_text(
        "What,Date,Material,Component,Lot,Volume [mL]\n"
        "counted,2026-03-02,Bond 60,B,B1,25\ncounted,2026-03-02,Bond 60,B,B2,0\n"
    )
    run(Desk(host), "book", {"files": str(floor)})
    run(Desk(host), "forecast", asked)
    after = [line.text for line in host.pane.lines]
    assert any(text.startswith("Nothing runs out") for text in before), before
    assert f"First to run out without new orders: Bond 60 B on {MONDAY:%a} {MONDAY}" in " ".join(after)
    assert any(text.startswith("Stock by the journal: 2 lots as counted") for text in after)
    out = tmp_path / "command.xlsx"
    assert cli.main(["forecast", str(host.path), "--weeks", "1", "--out", str(out)]) == 0
    assert cells_of(host.opened[-1]) == cells_of(out)


def test_fill_and_compare_begin_where_the_command_begins(host, tmp_path):
    """A day whose morning the table Standing tells: what the journal says of it counts, from either way."""
    from dispense import cli

    tuesday = MONDAY + datetime.timedelta(days=1)
    rows = hand_rows()
    rows["Builds"].append(dict(date=tuesday, shift="early", part="frame", quantity=10))
    rows["Standing"] = [dict(what="hose", date=tuesday, station="hem", component="a")]
    rows["Choices"] = [dict(station="hem", what="speed", value="50 mm/s")]
    host = FileHost(write_plan(host.path, rows))
    floor = tmp_path / "floor.csv"
    floor.write_text("What,Date,Material,Component,Lot,Volume [mL]\ncounted,2026-03-03,Bond 60,A,A1,900\n")
    run(Desk(host), "book", {"files": str(floor)})
    run(Desk(host), "compare")
    told = [line.text for line in host.pane.lines]
    assert any(path.name == "plan_compare.xlsx" for path in host.opened), told
    out = tmp_path / "command.xlsx"
    cli.main(["compare", str(host.path), "--out", str(out)])
    assert cells_of(host.opened[-1]) == cells_of(out)
    run(Desk(host), "fill", {"day": str(tuesday), "shift": "early", "station": "hem"})
    assert any("1 lot as counted" in line.text for line in host.pane.lines), host.pane.lines


def test_compare_without_choices_says_what_is_lacking(host):
    run(Desk(host), "compare")
    assert host.pane.headline == "Compare: not done" and "Choices" in host.pane.lines[0].text


def test_book_puts_a_table_into_the_journal_of_the_plan(host, tmp_path):
    floor = tmp_path / "floor.csv"
    floor.write_text("What,Date,Material,Component,Lot,Containers\nreceived,2026-03-02,Bond 60,A,A9,2\n")
    run(Desk(host), "book", {"files": str(floor)})
    assert host.pane.headline == "1 of 1 file booked into plan.journal"
    assert (tmp_path / "plan.journal").is_file()


def test_a_text_of_the_screen_is_never_a_formula(tmp_path):
    """What a user typed as text, an error, a blank at the end, a control character."""
    from dispense.jobs.document import Grid

    path = tmp_path / "one.xlsx"
    rows = [["=1+1", "#N/A", None, "a\x07b", datetime.datetime(2026, 3, 2), True, 5.5]]
    path.write_bytes(snapshot([Grid("Own", rows, {"Mine": "A1:B1"})]))
    page = load_workbook(path)["Own"]
    assert [cell.data_type for cell in page[1]] == ["s", "e", "n", "s", "d", "b", "n"]
    assert page["A1"].value == "=1+1" and page["G1"].value == 5.5
    assert page.tables["Mine"].ref == "A1:B1"


# ------------------------------------------------------------------------------ a station, tried


@pytest.fixture
def tried(host, tmp_path):
    """The trial sheet of the hem station, opened and followed once."""
    run(Desk(host), "station", {"station": "hem", "day": str(MONDAY), "shift": "early"})
    (path,) = host.opened
    assert path == tmp_path / "plan_try.xlsx"
    sheet = FileHost(path)
    assert sheet.value("Station!A1") == TITLE
    desk = Desk(sheet)
    assert live.follow(desk)
    return desk


def row_of(sheet, words, first=1):
    """The row whose first cell says this."""
    return next(i for i, row in enumerate(sheet.sheets["Station"], 1) if i >= first and row[0] == words)


def told(sheet, words):
    """Here, in the plan, change of a figure."""
    row = sheet.sheets["Station"][row_of(sheet, words, first=20) - 1]
    return row[1], row[2], row[3]


def test_what_is_typed_follows_beside_what_was(tried, host):
    """By hand: 10 × 1 × 1000 mm³ is 10 mL, twice as wide 20; 21 parts every 300 s, not 600, end 105 min
    sooner but for the break, which the last part no longer meets."""
    sheet = tried.host
    before = host.path.read_bytes()
    volume = "frame / hem / 1: volume"
    assert told(sheet, volume) == (10.0, 10.0, "")
    sheet.edit(f"Station!B{row_of(sheet, 'Width of frame / hem')}", "2 cm")
    assert live.follow(tried)
    assert told(sheet, volume) == (20.0, 10.0, 10.0)
    assert sheet.pane.headline == f"hem, {MONDAY} early: 1 changed"
    sheet.edit(f"Station!B{row_of(sheet, 'Takt')}", 300)
    assert live.follow(tried)
    assert told(sheet, "Takt") == (300.0, 600.0, -300.0)
    assert not live.follow(tried)  # nothing new: nothing written, so that an edit does not answer itself
    for words in ("Takt", "Width of frame / hem"):
        sheet.edit(f"Station!B{row_of(sheet, words)}", None)
    assert live.follow(tried)
    assert told(sheet, volume) == (10.0, 10.0, "")
    assert host.path.read_bytes() == before


def curve(sheet, name):
    """Clock times [s] and parts done of a curve of the picture."""
    head, *rows = sheet.sheets["Lists"]
    place = head.index(f"{name}: clock")
    return [(row[place] * 86400.0, row[place + 1]) for row in rows if row[place] is not None]


def test_the_picture_of_the_shift_follows(tried):
    """By hand: of 21 parts of 10 s each, one every 600 s from 06:00, the last is done 12010 s of work later,
    half an hour of break after that; one every 300 s 6010 s later, before the break."""
    sheet = tried.host
    assert curve(sheet, "in the plan")[-1] == pytest.approx((6 * 3600 + 12_010 + 1800, 21))
    level = [parts for clock, parts in curve(sheet, "here") if clock in (8 * 3600, 8.5 * 3600)]
    assert len(level) == 2 and level[0] == level[1]  # nothing is done in the break from 08:00 to 08:30
    sheet.edit(f"Station!B{row_of(sheet, 'Takt')}", 300)
    assert live.follow(tried)
    assert curve(sheet, "here")[-1] == pytest.approx((6 * 3600 + 6010, 21))
    assert curve(sheet, "in the plan")[-1] == pytest.approx((6 * 3600 + 12_010 + 1800, 21))
    for name in ("container", "check"):
        assert curve(sheet, name) and all(6 * 3600 <= clock <= 10 * 3600 for clock, _ in curve(sheet, name))


def test_a_lot_alone_in_store_and_a_wrong_cell(tried):
    """21 parts of 10 mL take 105 mL of B; lot B1 has 60 mL alone."""
    sheet = tried.host
    lot = f"Station!B{row_of(sheet, 'Only lot of B in store')}"
    sheet.edit(lot, "B1")
    assert live.follow(tried)
    assert any("short" in line.text or "missing" in line.text for line in sheet.pane.lines)
    sheet.edit(lot, "B7")
    assert not live.follow(tried)
    assert '"B7"' in sheet.pane.lines[0].text and "B1, B2" in sheet.pane.lines[0].text
    sheet.edit(lot, None)
    sheet.edit(f"Station!B{row_of(sheet, 'Takt')}", -1)
    assert not live.follow(tried)
    assert "Takt" in sheet.pane.lines[0].text and "-1" in sheet.pane.lines[0].text


def test_temperature_changes_the_pot_life(tried):
    """The rule of thumb of the theory page: 10 K hotter halve the pot life, 60 min at 23 °C are 30 at 33."""
    sheet = tried.host
    sheet.edit(f"Station!B{row_of(sheet, 'Shop temperature, all day')}", 33)
    assert live.follow(tried)
    here, planned, _ = told(sheet, "Pot life")
    assert here.startswith("30 min") and planned.startswith("60 min")


def test_an_unknown_station_names_its_cell(tried):
    tried.host.edit(f"Station!{CHOSEN['station']}", "hum")
    assert not live.follow(tried)
    assert tried.host.pane.lines[0].cell == f"Station!{CHOSEN['station']}"


def test_another_workbook_is_no_trial(host):
    assert not live.follow(Desk(host))


def test_each_command_has_its_own_words():
    labels = [item.label for item in COMMANDS.values()]
    assert len(set(labels)) == len(labels) == 10
    assert all(item.help.endswith(".") for item in COMMANDS.values())


def test_inputs_and_plan_agree(host):
    plan = Desk(host).sound_plan()
    same = live.changed(plan, "hem", {})
    assert replace(same) == replace(plan)
