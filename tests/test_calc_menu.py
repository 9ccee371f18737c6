"""The menu in a real LibreOffice: marks on the very cells, a sheet filled from the screen, a station tried.

The extension that is installed is the one that users get; its menu talks to this very package.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import struct
import time
import zlib

import pytest
from lxml import etree
from plans import MONDAY, hand_rows
from test_on_screen import column_letter, write_plan

from dispense.addin.calc import component_names as names
from dispense.addin.calc import menu_files
from dispense.addin.served import WHAT, Server, Wire, grid_of
from dispense.base.language import WORDS
from dispense.jobs.document import Grid
from dispense.jobs.on_screen import COMMANDS

PATIENCE = 40.0  # s for a busy machine; the times that users see are measured apart
MARK = "dispense mark"


def wait_for(tell, holds):
    """What is told once it holds."""
    until = time.monotonic() + PATIENCE
    while not holds(found := tell()):
        assert time.monotonic() < until, found
        time.sleep(0.05)
    return found


class Window:
    """A plan open in LibreOffice."""

    def __init__(self, calc, path):
        self.calc, self.path = calc, path
        calc.open(str(path), False)

    def pane(self):
        return self.calc.state(names.PROTOCOL + names.TOLD) or ""

    def do(self, name, given=None, until=""):
        self.calc.command(names.PROTOCOL + name, given)
        return wait_for(self.pane, lambda text: until in text)

    def marks(self):
        return {
            (sheet, where.rpartition(".")[2].replace("$", "")): (name.removeprefix(MARK).strip(), prints)
            for sheet, name, _, where, prints, seen in self.calc.shapes(MARK)
            if seen
        }


@pytest.fixture
def window(calc, tmp_path):
    return Window(calc, write_plan(tmp_path / "plan.xlsx", hand_rows()))


office_test = pytest.mark.libreoffice


@office_test
def test_check_marks_the_cell_until_it_is_mended(window):
    calc = window.calc
    before = window.path.read_bytes()
    cell = f"{column_letter(hand_rows(), 'Beads', 'station')}2"
    calc.set(f"Beads!{cell}", "hum")
    window.do("check", until="1 problem")
    assert "did you mean hem?" in window.pane()
    assert window.marks() == {("Beads", cell): ("stop", False)}  # seen, and not printed
    calc.set(f"Beads!{cell}", "hem")  # nothing is asked for: the marks follow the edit
    wait_for(window.pane, lambda text: text.startswith("1 build at 1 station: ") and "worked out" not in text)
    assert ("Beads", cell) not in window.marks()
    assert window.path.read_bytes() == before


@office_test
def test_marks_leave_no_trace(window, tmp_path):
    calc = window.calc
    window.do("check", until="1 quality")
    cell = ("Stations", f"{column_letter(hand_rows(), 'Stations', 'station')}2")
    assert window.marks() == {cell: ("quality", False)}
    assert not calc.is_modified()  # nor does closing ask to save
    assert calc.undo_titles() == []
    calc.save(str(tmp_path / "copy.xlsx"))  # storing a copy leaves them out
    calc.store()
    assert window.marks() == {cell: ("quality", False)}  # they are back after saving
    for path in (tmp_path / "copy.xlsx", window.path):
        calc.open(str(path))
        assert calc.shapes(MARK) == []


@office_test
def test_many_marks_leave_no_undo_step(calc, tmp_path):
    """Each name is wrong; each outline is drawn, and taken away, under a lock of its own."""
    rows = hand_rows()
    rows["Beads"] = [{**rows["Beads"][0], "bead": str(number), "station": "hum"} for number in range(5)]
    window = Window(calc, write_plan(tmp_path / "wrong.xlsx", rows))
    window.do("check", until="problem")
    wait_for(window.marks, lambda found: len(found) == 5)
    assert calc.undo_titles() == [] and not calc.is_modified()
    window.do("unmark", until="marks are off")
    assert window.marks() == {} and calc.undo_titles() == []


@office_test
def test_marks_and_undo_of_a_row_go_together(window):
    """Marks taken away while an undo step points to them: LibreOffice ended at the undo where they were
    freed without one."""
    calc = window.calc
    calc.set("Stations!A2", "him")
    window.do("check", until="problem")
    assert window.marks()
    calc.remove_row("Stations", 2)
    wait_for(window.pane, lambda text: "him" not in text)
    window.do("unmark", until="marks are off")
    calc.undo()
    assert calc.get("Stations!A2") == [["him"]]
    window.do("check", until="him")


@office_test
def test_fill_from_the_screen_opens_the_sheet(window):
    """Twice the width, typed and not saved: 20 × 1 × 1000 mm³ by hand."""
    calc = window.calc
    calc.set(f"Beads!{column_letter(hand_rows(), 'Beads', 'width')}2", 20)
    window.do("fill", {"day": str(MONDAY), "shift": "early", "station": "hem"}, until="in ")
    path = window.path.parent / "plan_sheets" / f"{MONDAY}_early" / "hem_material.xlsx"
    wait_for(calc.documents, lambda found: path.as_uri() in found)
    assert calc.is_modified()  # the plan was not saved by it
    calc.switch(path.as_uri())
    values = [value for row in calc.get("Material!A1:Q60") for value in row if isinstance(value, float)]
    assert pytest.approx(20.0, rel=1e-9) in values
    calc.close()
    calc.switch(window.path.as_uri())


@office_test
def test_a_job_given_again_writes_what_it_opened(window):
    """The workbook of the first time is open: it is closed and written anew, unless something was typed."""
    calc = window.calc
    address = window.path.with_name("plan_calc.xlsx").as_uri()
    window.do("calculate", until="changes nothing")
    wait_for(calc.documents, lambda found: address in found)
    written = window.path.with_name("plan_calc.xlsx").stat().st_mtime_ns
    window.do("unmark", until="marks are off")
    window.do("calculate", until="plan_calc.xlsx")
    assert "changes nothing" in window.pane()
    wait_for(calc.documents, lambda found: address in found)
    assert window.path.with_name("plan_calc.xlsx").stat().st_mtime_ns > written
    calc.switch(address)
    calc.set("Bead!B60", "mine")
    calc.switch(window.path.as_uri())
    text = window.do("calculate", until="not done")
    assert "is open in a spreadsheet" in text
    calc.switch(address)
    calc.close()
    calc.switch(window.path.as_uri())


@office_test
def test_a_station_is_tried_beside_its_plan(window):
    """10 × 1 × 1000 mm³ is 10 mL; 15 mm wide it is 15 mL."""
    calc = window.calc
    window.do("station", {"station": "hem", "day": str(MONDAY), "shift": "early"}, until="changes nothing")
    path = window.path.with_name("plan_try.xlsx")
    wait_for(calc.documents, lambda found: path.as_uri() in found)
    calc.switch(path.as_uri())
    volume = "frame / hem / 1: volume"

    def figures():
        return {row[0]: row[1:4] for row in calc.get("Station!A9:D60") if row[0]}

    wait_for(figures, lambda found: volume in found)
    assert figures()[volume] == [10.0, 10.0, None]
    assert calc.undo_titles() == [] and not calc.is_modified()  # what follows by itself is no edit
    (place,) = [i for i, row in enumerate(calc.get("Station!A1:A30"), 1) if row[0] == "Width of frame / hem"]
    calc.set(f"Station!B{place}", 15)
    wait_for(figures, lambda found: found[volume][0] == 15.0)
    assert figures()[volume] == [15.0, 10.0, 5.0]
    assert len(calc.undo_titles()) == 1  # that of the width
    calc.undo()
    wait_for(figures, lambda found: found[volume][0] == 10.0)
    calc.close()
    calc.switch(window.path.as_uri())
    assert not calc.is_modified()


@office_test
def test_the_pane_speaks_german_in_german_windows(window):
    """ "gemeint" and "Problem" are the words of de.csv."""
    calc = window.calc
    place = ("/org.openoffice.Setup/L10N", "ooLocale")
    before = calc.configure(*place, "de-AT")
    try:
        calc.set(f"Beads!{column_letter(hand_rows(), 'Beads', 'station')}2", "hum")
        window.do("check", until="1 Problem: ")
        assert "gemeint hem?" in window.pane()
    finally:
        calc.configure(*place, before)


@office_test
def test_cells_in_error_are_named_with_their_reasons(calc, tmp_path):
    """One name called in three cells: LAST_PROBLEMS cannot tell them apart, the pane does."""
    window = Window(calc, write_plan(tmp_path / "own.xlsx", {"Line": [{"width": -3}, {"width": 2}]}))
    calc.set("Line!C2", '=DISPENSE.BEAD_AREA("round";A2)')
    calc.set("Line!C3", '=DISPENSE.BEAD_AREA("round";A3)')
    calc.set("Line!C4", '=DISPENSE.BEAD_AREA("oval";$Line.A3)*2')
    text = window.do("formulas", until="3 formulas")
    assert text.splitlines()[0] == "3 formulas with functions of the add-in, 2 errors"
    first, second = text.splitlines()[1:]
    assert first.startswith("Line!C2: ") and "width is -3" in first
    assert second.startswith("Line!C4: ") and '"oval"' in second
    assert window.marks() == {("Line", "C2"): ("stop", False), ("Line", "C4"): ("stop", False)}


@office_test
def test_whole_columns_are_cut_and_can_be_undone(calc, tmp_path):
    """π/4·w² of 1 and 2 mm by hand, before and after; one undo step brings the formula back."""
    window = Window(calc, write_plan(tmp_path / "own.xlsx", {"Line": [{"width": 1}, {"width": 2}]}))
    calc.set("Line!A1", None)  # a text would be no width
    whole = '=SUM(DISPENSE.BEAD_AREA("round";A:A))'
    calc.set("Line!C1", whole)
    area = pytest.approx(3.141592653589793 / 4 * (1 + 4), rel=1e-9)
    assert calc.get("Line!C1") == [[area]]
    text = window.do("formulas", {"columns": "leave them"}, until="1 with whole columns")
    assert "reads a million rows" in text
    assert calc.formulas("Line!C1") == [[whole]]
    window.do("formulas", {"columns": "cut them to the filled rows"}, until="0 with whole columns")
    ((formula,),) = calc.formulas("Line!C1")
    assert "INDEX(" in formula and calc.get("Line!C1") == [[area]]
    calc.set("Line!A4", 3)  # the formula grows with its column
    assert calc.get("Line!C1") == [[pytest.approx(3.141592653589793 / 4 * (1 + 4 + 9), rel=1e-9)]]
    calc.set("Line!A4", None)
    while calc.formulas("Line!C1") != [[whole]]:
        assert "Whole columns" in calc.undo_titles()
        calc.undo()


@office_test
def test_a_wrong_answer_stands_in_the_pane(window):
    text = window.do("fill", {"day": "soon", "shift": "early", "station": "hem"}, until="not done")
    assert '"soon"' in text


# -------------------------------------------------------------------------- what is built, anywhere


def test_every_command_is_in_the_menu(members):
    text = members["Addons.xcu"].decode()
    for name in [*COMMANDS, *menu_files.OWN]:
        assert f"<value>{names.PROTOCOL}{name}</value>" in text
    assert text.count("com.sun.star.sheet.SpreadsheetDocument") > len(COMMANDS)
    assert names.PROTOCOL in members["ProtocolHandler.xcu"].decode()
    assert members["planner.json"] == b"[]\n"  # no path of the machine that built it


@pytest.mark.parametrize("code", ["de", "es"])
def test_the_menu_speaks_the_language_of_the_windows(members, code):
    """Each entry, button and the pane's title stand in the file as the word list has them, read apart."""
    with (WORDS / f"{code}.csv").open(encoding="utf-8", newline="") as file:
        words = dict(csv.reader(file))
    labels = [*(item.label for item in COMMANDS.values()), *menu_files.OWN.values()]
    found = {}
    for part in ("Addons.xcu", "Sidebar.xcu"):
        for prop in etree.fromstring(members[part]).iter("prop"):
            said = {value.get("{http://www.w3.org/XML/1998/namespace}lang"): value.text for value in prop}
            if code in said:
                found[said["en-US"]] = said[code]
    for label in [*labels, "Problems and findings"]:
        bare = label.rstrip("…")
        assert found[label] == words[bare] + label[len(bare) :]
        assert words[bare] != bare
    assert {found[COMMANDS[name].label.rstrip("…")] for name in menu_files.ON_BAR} <= set(words.values())


def read_png(data):
    """Rows of pixels (red, green, blue, cover) of a PNG without filters, as ISO/IEC 15948 lays it out."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    place, kinds = 8, {}
    while place < len(data):
        (length,) = struct.unpack(">I", data[place : place + 4])
        kind, body = data[place + 4 : place + 8], data[place + 8 : place + 8 + length]
        assert struct.unpack(">I", data[place + 8 + length : place + 12 + length])[0] == zlib.crc32(
            kind + body
        )
        kinds[kind] = body
        place += 12 + length
    width, height, depth, colour, *_ = struct.unpack(">IIBBBBB", kinds[b"IHDR"])
    assert (depth, colour) == (8, 6)
    raw = zlib.decompress(kinds[b"IDAT"])
    rows = [raw[row * (4 * width + 1) :][: 4 * width + 1] for row in range(height)]
    assert all(row[0] == 0 for row in rows)
    return [[tuple(row[1 + 4 * i : 5 + 4 * i]) for i in range(width)] for row in rows]


def luminance(colour):
    """Relative luminance of WCAG 2.1, from 0 to 1 (from memory)."""
    parts = [c / 255 for c in colour]
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def test_every_entry_has_its_own_picture_that_is_seen_on_light_and_dark(members):
    """Contrast of what is drawn against a toolbar: 3 : 1, as WCAG 2.1 (1.4.11) asks of graphics."""
    addons = etree.fromstring(members["Addons.xcu"])
    entries = [*COMMANDS, *menu_files.OWN]
    for size, key in ((16, "ImageSmallURL"), (26, "ImageBigURL")):
        pictures = {}
        for name in entries:
            (place,) = addons.xpath(
                f"//node[prop/value='{names.PROTOCOL}{name}']/node[@oor:name='UserDefinedImages']"
                f"/prop[@oor:name='{key}']/value/text()",
                namespaces={"oor": "http://openoffice.org/2001/registry"},
            )
            pictures[name] = read_png(members[place.removeprefix("%origin%/")])
        assert len({str(rows) for rows in pictures.values()}) == len(entries)  # no two alike
        for rows in pictures.values():
            assert len(rows) == size and {len(row) for row in rows} == {size}
            solid = [pixel[:3] for row in rows for pixel in row if pixel[3] == 255]
            assert len(solid) > size  # something is drawn, and not only edges
            assert any(pixel[3] == 0 for row in rows for pixel in row)
            for back in ((255, 255, 255), (240, 240, 240), (45, 45, 45)):
                lights = sorted((luminance(back), luminance(max(solid, key=luminance))))
                darks = sorted((luminance(back), luminance(min(solid, key=luminance))))
                for low, high in (lights, darks):
                    assert (high + 0.05) / (low + 0.05) >= 3.0
    (deck,) = (
        prop.findtext("value")
        for prop in etree.fromstring(members["Sidebar.xcu"]).iter("prop")
        if prop.get("{http://openoffice.org/2001/registry}name") == "IconURL"
    )
    assert read_png(members[deck.removeprefix(f"vnd.sun.star.extension://{names.IDENTIFIER}/")])


def test_the_menu_file_has_its_texts_in_each_language(members):
    """Its own buttons and messages: LibreOffice's Python reads them from a file, without the package."""
    words = json.loads(members["words.json"])
    for code in ("de", "es"):
        with (WORDS / f"{code}.csv").open(encoding="utf-8", newline="") as file:
            listed = dict(csv.reader(file))
        for text in menu_files.own_texts():
            bare = text.rstrip("…")
            assert words[code][text] == listed[bare] + text[len(bare) :]
    assert {"Check", "Stop", "Cancel"} <= set(menu_files.own_texts())


def test_the_language_of_the_windows_goes_with_each_message():
    out = io.StringIO()
    wire = Wire(out)
    server = Server(wire)
    server.take({"do": "unmark", "book": "1", "place": None, "language": "de-DE"})
    told = []
    while len(told) < 2:  # it takes the marks away, then tells so
        asked = [json.loads(line) for line in out.getvalue().splitlines()]
        for message in asked[len(told) :]:
            told.append(message)
            server.take({"answer": message["ask"]})
        time.sleep(0.01)
    assert told[1]["value"]["headline"] == "Marken sind aus"
    server.end()


def test_host_and_core_agree(members):
    source = members["menu.py"].decode()
    for what in WHAT:
        assert f"def do_{what}(" in source
    for name in ("MENU", "PANELS", "PROTOCOL", "DECK", "TOLD"):
        assert f'{name} = "{getattr(names, name)}"' in source


def test_days_come_as_dates_where_the_sheet_says_so():
    # 2 March 2026 is day 46083 of the 1900 system: 46023 is 1 January 2026 (any spreadsheet), + 31 + 28 + 1
    sheet = {"name": "Builds", "rows": [["Date", 5.0], [46083.0, ""], [0.25, 46083.0]], "dates": ["A2:A3"]}
    monday = datetime.datetime(2026, 3, 2)
    assert grid_of(sheet) == Grid("Builds", [["Date", 5], [monday, None], [0.25, 46083]])
