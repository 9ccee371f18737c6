"""What was typed on the floor is understood cell by cell, booked once, and never skipped.

What a cell must mean is told by the test itself, which typed it; units by their definitions.
"""

from __future__ import annotations

import csv
import datetime
import json
import random
import re
from dataclasses import replace

import openpyxl
import pytest
from floor import place_of, type_in
from plans import hand_rows, light_plan

from dispense.books.plan import new_plan
from dispense.cli import main
from dispense.jobs.book import book_files, take_booking_back
from dispense.jobs.fill import fill
from dispense.journal.entries import Booking, Entry
from dispense.journal.store import book_entries, journal_path, read_journal
from dispense.plan.read import load_plan
from dispense.plan.rows import Change
from dispense.xlsx.package import Package
from dispense.xlsx.typed import typed_cells

STAMP = "2026-03-02 15:00"
HEM = "Hem robot"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The demo plan with the sheets of one station's shift, made once."""
    folder = tmp_path_factory.mktemp("floor")
    new_plan(folder / "plan.xlsx", demo=True)
    fill(folder / "plan.xlsx", folder / "sheets", date="2026-03-02", shift="Early", stations=[HEM], stamp="s")
    return folder


@pytest.fixture
def desk(made, tmp_path):
    """A folder with the plan and its sheets as they were printed."""
    (tmp_path / "plan.xlsx").write_bytes((made / "plan.xlsx").read_bytes())
    for path in (made / "sheets").rglob("*.xlsx"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path


def entries(desk, *kinds):
    """What holds in the journal of some kinds, in the order of time."""
    current = read_journal(journal_path(desk / "plan.xlsx")).current()
    found = [item.entry for (kind, _), item in current.items() if kind in kinds]
    return sorted(found, key=lambda entry: entry.time or entry.day)


def book(desk, *files, **options):
    return book_files(desk / "plan.xlsx", [desk / name for name in files], stamp=STAMP, **options)


def told(report) -> list[str]:
    return [str(item) for file in report.files for item in (*file.reading.refused, *file.reading.unread)]


# ------------------------------------------------------------------------------------------ sheets


def test_a_shot_check_sheet(desk):
    path = desk / "Hem_robot_shot_check.xlsx"
    cells = type_in(path, "CheckShots", "Weighed", [5.42, None, "5,47", "5.5 g"])
    type_in(path, "CheckShots", "Initials", ["KM", None, "JB", None])
    type_in(path, "CheckShots", "A alone", [3.61])
    type_in(path, "CheckShots", "B alone", [1.81])
    sheet = openpyxl.load_workbook(path).worksheets[0]
    printed = [
        [
            sheet[place_of(path, "CheckShots", name, row)[1]].value
            for name in ("Target", "Low", "High", "Time")
        ]
        for row in (0, 2, 3)
    ]
    report = book(desk, path.name)
    assert told(report) == []
    found = entries(desk, "weight")
    assert [item.value for item in found] == [5.42, 5.47, 5.5]
    assert [item.cell for item in found] == cells
    assert [item.by for item in found] == ["KM", "JB", ""]
    assert [[item.target, item.low, item.high, item.moment] for item in found] == printed
    assert {(item.station, item.day, item.shift, item.unit) for item in found} == {
        (HEM, "2026-03-02", "Early", "g")
    }
    assert {item.count for item in found} == {_named(path, "shots_together")}
    (a,), (b,) = entries(desk, "weight a"), entries(desk, "weight b")
    assert (a.value, b.value, a.name, a.time) == (3.61, 1.81, b.name, found[0].time)
    assert a.target == pytest.approx(_named(path, "mass_a")) and a.component == "a"


def test_a_weight_in_another_unit_by_mistake_is_named(desk):
    """1 oz is 28.35 g: 5.4 oz are 153.1 g where some 5 g are wanted. A shot that is 20 % off is a shot."""
    path = desk / "Hem_robot_shot_check.xlsx"
    sheet = openpyxl.load_workbook(path).worksheets[0]
    target = sheet[place_of(path, "CheckShots", "Target", 0)[1]].value
    first, _ = type_in(path, "CheckShots", "Weighed", ["5.4 oz", round(1.2 * target, 2)])
    (found,) = [item for item in book(desk, path.name).findings if item.topic == "weight"]
    assert first in found.text and "153.1 g weighed at Hem robot" in found.text and "unit" in found.fix


def _named(path, name):
    book = openpyxl.load_workbook(path)
    ((sheet, cell),) = book.defined_names[name].destinations
    return book[sheet][cell].value


def test_once_booked_it_is_known_and_what_is_added_is_new(desk):
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", [5.42, 5.44])
    assert book(desk, path.name).files[0].booking.number == 1
    journal = journal_path(desk / "plan.xlsx").read_bytes()
    again = book(desk, path.name).files[0]
    assert again.booking is None and again.known.number == 1 and again.states == ["already booked"] * 2
    assert journal_path(desk / "plan.xlsx").read_bytes() == journal
    type_in(path, "CheckShots", "Weighed", [None, 5.41, 5.46])
    more = book(desk, path.name).files[0]
    assert more.states[0] == "already booked" and more.states[2] == "new"
    assert more.states[1].startswith("replaces 5.44 g") and more.states[1].endswith("of booking 1")
    assert more.booking.size == 2
    assert [item.value for item in entries(desk, "weight")] == [5.42, 5.41, 5.46]


def test_after_a_take_back_the_sheet_is_booked_again(desk):
    """Of a file that was booked before, what does not hold any more is new: the cells decide."""
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", [5.41, 5.43, 54.2])
    book(desk, path.name)
    type_in(path, "CheckShots", "Weighed", [None, None, 5.42])
    assert book(desk, path.name).files[0].booking.size == 1
    take_booking_back(desk / "plan.xlsx", 1, stamp=STAMP)
    assert [item.value for item in entries(desk, "weight")] == [5.42]
    again = book(desk, path.name).files[0]
    assert again.states == ["new", "new", "already booked"] and again.booking.size == 2
    assert [item.value for item in entries(desk, "weight")] == [5.41, 5.43, 5.42]
    assert "nothing changes" in book(desk, path.name).files[0].lines(False)[-1]


def test_a_sheet_carried_on_by_the_next_fill_is_booked_the_same(desk):
    """Filled again, what people typed stays, and booking it books nothing twice."""
    path = desk / "out" / "2026-03-02_Early" / "Hem_robot_shot_check.xlsx"
    options = dict(date="2026-03-02", shift="Early", stations=[HEM])
    fill(desk / "plan.xlsx", desk / "out", stamp="one", **options)
    type_in(path, "CheckShots", "Weighed", [5.42, 5.44])
    book_files(desk / "plan.xlsx", [path], stamp=STAMP)
    fill(desk / "plan.xlsx", desk / "out", stamp="two", **options)
    again = book_files(desk / "plan.xlsx", [path], stamp=STAMP).files[0]
    assert again.states == ["already booked"] * 2 and again.booking is None


def test_a_fact_is_known_by_its_event_and_time_not_by_its_row(desk):
    """With half the checks a row is another check: 08:00 is no correction of what stood in its row before."""
    options = dict(date="2026-03-02", shift="Early", stations=[HEM])
    path = desk / "out" / "2026-03-02_Early" / "Hem_robot_shot_check.xlsx"
    fill(desk / "plan.xlsx", desk / "out", stamp="one", **options)
    type_in(path, "CheckShots", "Weighed", [5.41, 5.42, 5.43, 5.44, 5.45])
    book_files(desk / "plan.xlsx", [path], stamp=STAMP)
    before = {item.time: item.value for item in entries(desk, "weight")}
    plan = openpyxl.load_workbook(desk / "plan.xlsx")
    sheet = plan["Stations"]
    titles = [str(cell.value) for cell in sheet[place_of_header(sheet, "Checks")]]
    column = next(place for place, title in enumerate(titles, 1) if title.startswith("Checks"))
    row = next(cell.row for cell in sheet["A"] if cell.value == HEM)
    sheet.cell(row, column).value = sheet.cell(row, column).value / 2
    plan.save(desk / "plan.xlsx")
    path.unlink()
    fill(desk / "plan.xlsx", desk / "out", stamp="two", **options)
    times = [_at(path, "CheckShots", "Time", each).isoformat() for each in range(4)]
    assert times[1] == sorted(before)[2]  # every second check is left
    type_in(path, "CheckShots", "Weighed", [5.41, 5.43, 5.45, 5.5])
    again = book_files(desk / "plan.xlsx", [path], stamp=STAMP).files[0]
    assert again.states == ["already booked"] * 3 + ["new"]
    assert {item.time: item.value for item in entries(desk, "weight")} == before | {times[3]: 5.5}


def place_of_header(sheet, word):
    return next(row[0].row for row in sheet.iter_rows() if any(str(c.value).startswith(word) for c in row))


def _at(path, table, header, row=0):
    sheet, cell = place_of(path, table, header, row)
    return openpyxl.load_workbook(path)[sheet][cell].value


def test_a_time_typed_over_is_the_same_check(desk):
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", [None, 5.42])
    book(desk, path.name)
    type_in(path, "CheckShots", "Time", [None, datetime.datetime(2026, 3, 2, 6, 41)])
    assert book(desk, path.name).files[0].states == ["replaces 5.42 g of booking 1"]
    assert [item.time for item in entries(desk, "weight")] == ["2026-03-02T06:41:00"]


def test_a_journal_that_named_facts_by_row_is_carried_on(desk):
    """What earlier versions booked by check number or row is the same fact by its time."""
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", [5.42])
    (entry,) = book(desk, path.name, dry_run=True).files[0].reading.entries
    head = f"2026-03-02|Early|{HEM}"
    old = replace(entry, name=f"shot_check|{head}|check|1")
    twins = [
        Entry("opened", f"shift_material|{head}|container|a|{row}", time=entry.time, station=HEM)
        for row in (12, 13)
    ]
    booking = Booking(0, "book", STAMP, "before.xlsx", "f")
    book_entries(journal_path(desk / "plan.xlsx"), booking, [old, *twins])
    assert len(entries(desk, "opened")) == 2  # two of one moment stay two
    assert book(desk, path.name).files[0].states == ["already booked"]
    type_in(path, "CheckShots", "Weighed", [5.44])
    assert book(desk, path.name).files[0].states == ["replaces 5.42 g of booking 1"]
    assert [item.value for item in entries(desk, "weight")] == [5.44]


def test_what_was_handed_over_is_booked_and_boxes_are_no_number(desk):
    path = desk / "Hem_robot_material.xlsx"
    type_in(path, "MaterialHandover", "Done", ["x"])
    type_in(path, "MaterialHandover", "Initials", ["RT"])
    (boxes,) = type_in(path, "MaterialLots", "Containers", ["2 boxes"])
    assert [words for words in told(book(desk, path.name)) if boxes in words and '"2 boxes"' in words]
    (done,) = entries(desk, "done")
    what = _at(path, "MaterialHandover", "What")
    assert done.by == "RT" and what in done.text and not entries(desk, "noted", "staged")


def test_times_that_can_hardly_be_are_named(desk):
    """A week before the sheet's day; before the batch was made; before it may be tested, as printed there."""
    path = desk / "Hem_robot_cure_board.xlsx"
    ended = [_at(path, "CureBatches", "Last part", row) for row in range(4)]
    hour = datetime.timedelta(hours=1)
    test = _at(path, "CureBatches", "Test", 2)
    type_in(path, "CureBatches", "Move", [ended[0] - 168 * hour, ended[1] - hour])
    type_in(path, "CureBatches", "Test", [None, None, test - 2 * hour, test + 30 * hour])
    report = book_files(desk / "plan.xlsx", [path], stamp="2026-03-27 15:00")
    assert told(report) == [] and report.files[0].booking is not None
    topics = [item.topic for item in report.findings]
    assert sorted(topics) == ["cure", "cure", "cure", "date"]
    words = " ".join(item.text for item in report.findings)
    assert "is 2026-02-2" in words and "on a sheet of 2026-03-02" in words
    assert f"before its last part was dispensed at {ended[1]:%H:%M}" in words
    assert " min before it is fully cured by the plan" in words or "2 h before it is fully cured" in words


def test_days_and_counts_far_off_are_named(desk):
    """3000 where some hundred were planned, a Sunday, the next year's weights; a likely row is not."""
    part = openpyxl.load_workbook(desk / "Hem_robot_setup.xlsx").worksheets[0]
    part = part[place_of(desk / "Hem_robot_setup.xlsx", "SetupShots", "Part")[1]].value
    head = "What,Date,Shift,Station,Part,Pieces\n"
    table(
        desk / "made.csv",
        head + f"made,2026-03-02,Early,{HEM},{part},3000\nmade,2026-03-01,Early,{HEM},{part},100\n"
        f"scrapped,2026-03-02,Early,{HEM},{part},3\n",
    )
    table(
        desk / "w.csv", f"Time,Weight [g],Station\n2027-03-02 06:30,5.4,{HEM}\n2025-03-02 06:30,5.4,{HEM}\n"
    )
    made, none, future, past = book(desk, "made.csv", "w.csv").findings
    assert "3000 parts" in made.text and "are planned" in made.text and "none is to be built" in none.text
    assert "is of 2027-03-02, booked on 2026-03-02" in future.text
    assert "is of 2025-03-02, the plan is of" in past.text


def test_a_weight_that_is_gone_from_its_sheet_is_said_to_count(desk):
    path = desk / "Hem_robot_shot_check.xlsx"
    printed = path.read_bytes()
    type_in(path, "CheckShots", "Weighed", [5.42, 5.44])
    book(desk, path.name)
    path.write_bytes(printed)
    type_in(path, "CheckShots", "Weighed", [None, 5.44])
    (note,) = book(desk, path.name).files[0].reading.notes
    assert "5.42 g" in note and "still counts" in note and "--take-back 1" in note


def test_two_sheets_that_say_another_number_brought(desk):
    staging, material = desk / "staging.xlsx", desk / "Hem_robot_material.xlsx"
    rows = range(2)
    place = next(row for row in rows if _at(staging, "StagingContainers", "Station", row) == HEM)
    letter = _at(staging, "StagingContainers", "Component", place)
    other = next(row for row in rows if _at(material, "MaterialLots", "Component", row) == letter)
    for path, name, lots, row, count in (
        (staging, "StagingContainers", "Lots", place, 2),
        (material, "MaterialLots", "Lot", other, 3),
    ):
        type_in(path, name, "Containers", [None] * row + [count])
        type_in(path, name, lots, [None] * row + ["HA-1"])
    (found,) = [item for item in book(desk, staging.name, material.name).findings if item.topic == "brought"]
    assert "3 containers of lot HA-1" in found.text and "says 2" in found.text


def test_messages_name_unit_date_lot_and_folder(desk):
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", ["4.62 mL", datetime.datetime(2026, 4, 6, 12, 0)])
    wrong, date = told(book(desk, path.name))
    assert "mL is no unit of mass" in wrong and "2026-04-06 12:00 is not understood" in date
    staging = desk / "staging.xlsx"
    type_in(staging, "StagingContainers", "Lots", ["HA-1"])
    book(desk, staging.name)
    type_in(staging, "StagingContainers", "Lots", ["HA-2"])
    assert " of lot HA-1 of booking " in book(desk, staging.name).files[0].states[0]
    (desk / "late").mkdir()
    (desk / "late" / path.name).write_bytes(path.read_bytes())
    lines = book(desk, path.name, f"late/{path.name}").as_text()
    assert f"\nlate/{path.name}: " in lines


def test_take_back_says_what_rests_on_it(desk, monkeypatch):
    """A row of Changes names the bookings that a value was learned from: 12 is not 1 or 2."""
    table(desk / "w.csv", f"Time,Weight [g],Station\n2026-03-02 06:30,5.4,{HEM}\n")
    book(desk, "w.csv")
    day = datetime.date(2026, 3, 2)
    rows = [
        Change(day, "Stations", HEM, column, 1.0, 2.5, "%", "weeks", bookings, "KM", "Changes!A4")
        for column, bookings in (("Scrap", "1, 12"), ("Checks", "12"))
    ]
    plan = replace(load_plan(desk / "plan.xlsx"), changes=rows)
    monkeypatch.setattr("dispense.jobs.book.load_plan", lambda path: plan)
    (note,) = take_booking_back(desk / "plan.xlsx", 1, stamp=STAMP).notes
    assert "Stations, Hem robot, Scrap was changed to 2.5 %" in note and "from booking 1" in note


def test_a_dry_run_says_all_and_books_nothing(desk, capsys):
    path = desk / "Hem_robot_shot_check.xlsx"
    (cell,) = type_in(path, "CheckShots", "Weighed", [5.42])
    assert main(["book", str(desk / "plan.xlsx"), str(path), "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert cell.removeprefix(f"{path.name} ") in said and "5.42 g" in said and "would book 1 cell" in said
    assert not journal_path(desk / "plan.xlsx").exists()


def test_what_is_not_understood_is_named(desk, capsys):
    path = desk / "Hem_robot_shot_check.xlsx"
    bad = type_in(path, "CheckShots", "Weighed", ["5.4?", -2.0, datetime.time(6, 42)])
    type_in(path, "CheckShots", "Target", [None, None, None, 9.9])
    good = type_in(path, "CheckShots", "Weighed", [None, None, None, 5.5])
    sheet, below = place_of(path, "CheckShots", "Weighed", 40)
    work = openpyxl.load_workbook(path)
    work[sheet][below] = 5.6
    work[sheet]["A200"] = "pump was loud"
    work[sheet][place_of(path, "CheckShots", "High", 5)[1]] = None
    work.save(path)
    assert main(["book", str(desk / "plan.xlsx"), str(path), "--json", "--stamp", STAMP]) == 1
    (found,) = json.loads(capsys.readouterr().out)["files"]
    words = "\n".join(found["not_understood"])
    for cell in (
        *bad[:2],
        f"{path.name} {sheet}!{below}",
        f"{path.name} {sheet}!{place_of(path, 'CheckShots', 'Target', 3)[1]}",
        f"{path.name} {sheet}!{place_of(path, 'CheckShots', 'High', 5)[1]}",
    ):
        assert f"{cell}:" in words, cell
    assert [item.value for item in entries(desk, "weight") if item.cell in good] == [5.5]
    (note,) = entries(desk, "noted")
    assert (note.text, note.cell) == ("pump was loud", f"{path.name} {sheet}!A200")
    # every cell that was typed is either booked or named
    typed = {*bad, *good}
    booked = {item["cell"] for item in found["entries"]}
    assert all(cell in booked or f"{cell}:" in words for cell in typed)


def test_a_column_in_another_unit_and_with_other_words(desk, tmp_path):
    """A plant's template: the header in ounces and in its own words. 1 oz is 28.349523125 g (exact)."""
    from dispense.jobs.fill import template_folder

    own = tmp_path / "templates"
    own.mkdir()
    book_ = openpyxl.load_workbook(template_folder() / "shot_check.xlsx")
    sheet = book_.worksheets[0]
    table = sheet.tables["CheckShots"]
    row = int("".join(filter(str.isdigit, table.ref.split(":")[0])))
    for cell in sheet[row]:
        for old, new in (
            ("Weighed [g]", "On the scale [oz]"),
            ("Target [g]", "Target [oz]"),
            ("Low [g]", "Low [oz]"),
            ("High [g]", "High [oz]"),
        ):
            if cell.value == old:
                cell.value = new
                table.tableColumns[cell.column - 1].name = new
    for area in sheet._charts:
        sheet._charts.remove(area)
    book_.save(own / "shot_check.xlsx")
    fill(desk / "plan.xlsx", desk / "own", date="2026-03-02", shift="Early", stations=[HEM], templates=own)
    path = desk / "own" / "2026-03-02_Early" / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "On the scale", [0.19])
    book_files(desk / "plan.xlsx", [path], stamp=STAMP)
    (item,) = entries(desk, "weight")
    assert item.value == pytest.approx(0.19 * 28.349523125, rel=1e-12)


def test_a_sheet_in_german_is_read_as_well(desk):
    fill(desk / "plan.xlsx", desk / "de", date="2026-03-02", shift="Early", stations=[HEM], language="de")
    folder = desk / "de" / "2026-03-02_Early"
    check = folder / "Hem_robot_shot_check.xlsx"
    sheet = openpyxl.load_workbook(check).worksheets[0]
    titles = [str(cell.value) for row in sheet for cell in row]
    assert not any(title.startswith("Weighed [") for title in titles)
    (header,) = {title.partition(" [")[0] for title in titles if title.startswith("Gewogen [")}
    type_in(check, "CheckShots", header, [5.42])
    report = book_files(desk / "plan.xlsx", [check], stamp=STAMP)
    assert told(report) == [] and [item.value for item in entries(desk, "weight")] == [5.42]


def test_a_setup_card(desk):
    path = desk / "Hem_robot_setup.xlsx"
    type_in(path, "SetupShots", "Weighed", [27.2])
    type_in(path, "SetupFlows", "Set", ["3.1 bar, 40 mm/s"])
    report = book(desk, path.name)
    assert told(report) == []
    (weight,), (setting,) = entries(desk, "weight"), entries(desk, "setting")
    sheet = openpyxl.load_workbook(path).worksheets[0]
    printed = {
        name: sheet[place_of(path, "SetupShots", name)[1]].value
        for name in ("Part", "Application", "Mass of n shots", "Shots together")
    }
    assert (weight.part, weight.application, weight.target, weight.count) == tuple(printed.values())
    assert setting.text == "3.1 bar, 40 mm/s" and setting.part == printed["Part"]


def test_a_setup_card_says_when(desk):
    """A card has no day of its own: what is written on it is the time of its weights."""
    path = desk / "Hem_robot_setup.xlsx"
    type_in(path, "SetupShots", "Weighed", [27.2])
    type_in(path, "SetupFlows", "Set", ["46,4 psi"])
    book_ = openpyxl.load_workbook(path)
    sheet, address = book_.defined_names["weighed_on"].attr_text.replace("$", "").rsplit("!", 1)
    cell = book_[sheet.strip("'")][address]
    cell.value = datetime.datetime(2026, 3, 2, 7, 45)
    book_.save(path)
    assert told(book(desk, path.name)) == []
    (weight,), (setting,) = entries(desk, "weight"), entries(desk, "setting")
    assert (weight.time, weight.day, weight.shift) == ("2026-03-02T07:45:00", "2026-03-02", "Early")
    # 1 psi = 6894.757 Pa (NIST SP 811)
    assert setting.unit == "bar" and setting.value == pytest.approx(46.4 * 0.06894757) and not setting.text
    cell.value = "on Monday"
    book_.save(path)
    assert "2026-03-02 06:30" in told(book(desk, path.name))[0]


def test_a_time_where_none_belongs(desk):
    """Typed into Done, Initials or Weighed, a clock time is told as one, with where it goes."""
    path = desk / "Hem_robot_material.xlsx"
    type_in(path, "MaterialTimes", "Done", [datetime.time(6, 5)])
    type_in(path, "MaterialTimes", "Initials", ["06:20"])
    said = told(book(desk, path.name))
    assert len(said) == 2
    assert "06:05 is not understood: a tick is x or yes, the time goes into the column Time" in said[0]
    assert "06:20 is not understood: initials are meant here" in said[1]
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", [datetime.time(6, 30)])
    (said,) = told(book(desk, path.name))
    assert "06:30 is not understood: a time of day stands where a number is meant" in said
    assert entries(desk, "weight", "done", "signed") == []


@pytest.mark.parametrize("header", ["Weight [g]", "Weight [mm]"])
def test_a_wrong_unit_hides_nothing_else(desk, header):
    (desk / "w.csv").write_text(
        f"Time,{header},Station,A alone [g]\n2026-03-02 06:30,5 xyz,Hem robt,\n"
        "2026-03-02 07:30,4.8,Nope,3 mm\nnonsense,4.8,Hem robot,\n",
        encoding="utf-8",
    )
    said = " ".join(told(book(desk, "w.csv")))
    for words in ("Hem robt", "Nope", "3 mm", "nonsense", "5 xyz" if header == "Weight [g]" else "mm"):
        assert words in said
    (desk / "h.csv").write_text(
        "What,Date,Station,Part,Pieces\nmade,2026-03-03,Hem robt,Drive lid,117 kg\n"
        "scrapd,2026-03-03,Hem robot,Drive lidd,3\n",
        encoding="utf-8",
    )
    said = " ".join(told(book(desk, "h.csv")))
    assert all(words in said for words in ("117 kg", "Hem robt", "scrapd", "Drive lidd"))


def test_a_material_sheet_and_a_wrong_lot(desk):
    path = desk / "Hem_robot_material.xlsx"
    sheet = openpyxl.load_workbook(path)["Times"]
    events = [sheet[place_of(path, "MaterialTimes", "Event", row)[1]].value for row in range(18)]
    connect = [row for row, event in enumerate(events) if event == "container"]
    mixer = events.index("mixer")
    ticks = [None] * 18
    ticks[connect[0]], ticks[mixer] = "x", "✓"
    type_in(path, "MaterialTimes", "Done", ticks)
    lots = [None] * 18
    lots[connect[1]] = "HB-9999"
    type_in(path, "MaterialTimes", "Lot", lots)
    hours = [None] * 18
    hours[mixer] = datetime.time(9, 41)
    type_in(path, "MaterialTimes", "Time", hours)
    report = book(desk, path.name)
    assert told(report) == []
    opened, (done,) = entries(desk, "opened"), entries(desk, "done")
    printed = sheet[place_of(path, "MaterialTimes", "Lot", connect[0])[1]].value
    assert sorted(item.lot for item in opened) == sorted([printed, "HB-9999"])
    assert {item.component for item in opened} == {"a", "b"}
    assert (done.text, done.time) == ("mixer", "2026-03-02T09:41:00")


def test_a_staging_list_and_a_cure_board(desk):
    staging, board = desk / "staging.xlsx", desk / "Hem_robot_cure_board.xlsx"
    type_in(staging, "StagingContainers", "Done", ["x", "no"])
    type_in(staging, "StagingContainers", "Initials", ["LH"])
    type_in(board, "CureBatches", "Planned mating", [datetime.datetime(2026, 3, 2, 6, 50)])
    sheet, cell = place_of(board, "CureBatches", "Note", 1)
    work = openpyxl.load_workbook(board)
    work[sheet][cell] = "two parts wiped off"
    work.save(board)
    report = book(desk, staging.name, board.name)
    assert told(report) == []
    (staged,), (done,) = entries(desk, "staged"), entries(desk, "done")
    printed = openpyxl.load_workbook(staging).worksheets[0]
    names = ("Station", "Material", "Lots", "Containers")
    assert [staged.station, staged.material, staged.lot, staged.count] == [
        printed[place_of(staging, "StagingContainers", name)[1]].value for name in names
    ]
    assert staged.by == "LH" and (done.text, done.time) == ("mated", "2026-03-02T06:50:00")
    assert any(item.text == "two parts wiped off" for item in entries(desk, "noted"))
    assert len(read_journal(journal_path(desk / "plan.xlsx")).bookings) == 2  # one a file


def test_a_sheet_of_another_plan_is_refused(desk):
    path = desk / "Hem_robot_shot_check.xlsx"
    type_in(path, "CheckShots", "Weighed", [5.42])
    work = openpyxl.load_workbook(path)
    ((sheet, cell),) = work.defined_names["station"].destinations
    work[sheet][cell] = "Seam robot"
    work.save(path)
    report = book(desk, path.name)
    assert "station" in "".join(told(report)) and "is it a sheet of another plan?" in "".join(told(report))
    assert not journal_path(desk / "plan.xlsx").exists()


def test_an_untouched_sheet_books_nothing(desk):
    item = book(desk, "Hem_robot_shot_check.xlsx").files[0]
    assert item.reading.entries == [] and "nothing was filled in" in item.reading.notes[0]
    assert not journal_path(desk / "plan.xlsx").exists()


JUNK = [
    5.4,
    "5.4",
    "x",
    "no",
    "?",
    "=1+1",
    -3.0,
    1e300,
    "",
    True,
    "KM",
    "5,41 g",
    "06:35",
    46083.3,
    0.27,
    "A-1",
    "∞",
    "#N/A",
    datetime.time(6, 42),
    datetime.datetime(2026, 3, 2, 7, 0),
    datetime.datetime(9999, 12, 31),
    "a\nb",
    "x" * 400,
]


@pytest.mark.parametrize("seed", range(12))
def test_whatever_is_typed_is_booked_or_named(desk, seed):
    """Junk over cells of every sheet: each changed one is an entry, part of one, or named."""
    draw = random.Random(seed)
    names = [
        "Hem_robot_shot_check",
        "Hem_robot_setup",
        "Hem_robot_material",
        "Hem_robot_cure_board",
        "staging",
    ]
    path = desk / f"{names[seed % len(names)]}.xlsx"
    work = openpyxl.load_workbook(path)
    for sheet in work.worksheets:
        for table in sheet.tables.values():
            for cells in sheet[table.ref][1:]:
                for cell in cells:
                    if draw.random() < 0.3 and not isinstance(cell, openpyxl.cell.cell.MergedCell):
                        cell.value = draw.choice([*JUNK, None])
    work.save(path)
    report = book(desk, path.name)
    (file,) = report.files
    told_ = " ".join(
        [*(item.cell for item in file.reading.entries), *map(str, file.reading.unread), *file.reading.notes]
    )
    rows = {
        (item.cell.rpartition("!")[0].rpartition(" ")[2], re.sub(r"\D", "", item.cell.rpartition("!")[2]))
        for item in file.reading.entries
    }
    for cell in typed_cells(Package.open(path)):
        place = f"{cell.sheet}!{cell.address}"
        part_of_one = (cell.sheet, re.sub(r"\D", "", cell.address)) in rows  # its time, lot or initials
        assert re.search(rf"{re.escape(place)}\b", told_) or part_of_one, place
    if not file.reading.refused and file.reading.entries:
        assert file.booking is not None and read_journal(journal_path(desk / "plan.xlsx")).bookings


# ------------------------------------------------------------------------------------------ tables


def table(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_weights_from_a_balance(desk):
    table(
        desk / "balance.csv",
        "Time;Weight [mg];Station;Shots\n"
        "2026-03-02 06:30:10;5420,5;hem robot;1\n"
        "2026-03-02 07:00:00;5433;Hem robot;1\n"
        "2026-03-02 07:00:00;5411;Hem robot;\n"
        "2026-03-03 02:00:00;5400;Hem robot;1\n",
    )
    report = book(desk, "balance.csv")
    assert told(report) == []
    found = entries(desk, "weight")
    assert [item.value for item in found] == pytest.approx([5.4205, 5.433, 5.411, 5.4])  # 1000 mg = 1 g
    assert [(item.day, item.shift) for item in found[:3]] == [("2026-03-02", "Early")] * 3
    assert found[0].cell.startswith("balance.csv row 2")
    table(desk / "balance.csv", (desk / "balance.csv").read_text() + "2026-03-03 06:30;5420;Hem robot;1\n")
    assert book(desk, "balance.csv").files[0].states == ["already booked"] * 4 + ["new"]


def test_a_table_with_a_wrong_cell_is_not_booked_and_every_wrong_cell_is_named(desk):
    table(
        desk / "balance.csv",
        "Time,Weight [g],Station,Colour\n"
        "2026-03-02 06:30,5.4,Hem robot,red\n"
        "06:40,5.4,Hem robot,\n"
        "2026-03-02 06:50,five,Hem robot,\n"
        "2026-03-02 07:00,5.4,Hemm robot,\n"
        "2026-03-02 07:10,5.4,,\n",
    )
    report = book(desk, "balance.csv")
    words = told(report)
    assert len(words) == 4
    for row in (3, 4, 5, 6):
        assert sum(f"row {row}" in word or f"!C{row}" in word or f"!B{row}" in word for word in words) == 1, (
            row
        )
    assert any("did you mean Hem robot?" in word for word in words)
    assert "Colour" in "".join(report.files[0].reading.notes)
    assert not journal_path(desk / "plan.xlsx").exists()


ACTUALS = """What,Date,Time,Station,Part,Material,Component,Lot,Containers,Mass [kg],Pieces,Reference
received,2026-03-02,,,,hem epoxy,A,HA-0950,3,,,DN-1
received,2026-03-02,,,,hem epoxy,A,HA-0950,3,,,DN-2
counted,2026-03-02,,,,hem epoxy,B,,,12.5,,
opened,2026-03-02,06:05,Hem robot,,,A,HA-0911,,,,
emptied,2026-03-02,11:00,Hem robot,,,A,HA-0911,,,,
made,2026-03-02,14:00,Hem robot,{part},,,,,,410,
scrapped,2026-03-02,14:00,Hem robot,{part},,,,,,3,
"""


def some_part(desk) -> str:
    from dispense.plan.read import load_plan
    from dispense.shift.setup import station_parts

    return station_parts(load_plan(desk / "plan.xlsx"), HEM)[0]


def test_what_happened(desk):
    table(desk / "actuals.csv", ACTUALS.format(part=some_part(desk)))
    report = book(desk, "actuals.csv")
    assert told(report) == []
    received = entries(desk, "received")
    assert [(item.lot, item.count, item.text) for item in received] == [
        ("HA-0950", 3, "DN-1"),
        ("HA-0950", 3, "DN-2"),
    ]
    (counted,) = entries(desk, "counted")
    assert (counted.value, counted.unit, counted.component) == (12.5, "kg", "b")
    (opened,) = entries(desk, "opened")
    assert (opened.material, opened.time, opened.count) == ("hem epoxy", "2026-03-02T06:05:00", 1)
    parts = entries(desk, "made", "scrapped")
    assert [item.count for item in parts] == [410, 3]
    assert [item.shift for item in parts] == ["Early"] * 2  # counted at 14:00, as it ends


def test_the_same_as_a_workbook_with_titles_above(desk):
    rows = list(csv.reader(ACTUALS.format(part=some_part(desk)).splitlines()))
    work = openpyxl.Workbook()
    work.active.append(["Line 2, week 10"])
    work.active.append([])
    for number, row in enumerate(rows):
        cells = [cell or None for cell in row]
        if number:
            cells[1] = datetime.date.fromisoformat(cells[1])
            cells[2] = datetime.time.fromisoformat(cells[2]) if cells[2] else None
            for place in (8, 9, 10):
                cells[place] = float(cells[place]) if cells[place] else None
        work.active.append(cells)
    work.save(desk / "actuals.xlsx")
    assert told(book(desk, "actuals.xlsx")) == []
    table(desk / "actuals.csv", ACTUALS.format(part=some_part(desk)))
    assert book(desk, "actuals.csv").files[0].states == ["already booked"] * 7


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("received", "recieved", "what is"),
        ("hem epoxy,A,HA-0950", "hem epoxy,C,HA-0950", "component"),
        ("hem epoxy,A,HA-0950", "hem epoxies,A,HA-0950", "did you mean hem epoxy"),
        ("HA-0950,3,,,DN-1", ",3,,,DN-1", "lot is blank"),
        ("HA-0950,3,,,DN-1", "HA-0950,3,2.5,,DN-1", "one figure"),
        ("HA-0950,3,,,DN-1", "HA-0950,,,,DN-1", "one figure"),
        ("Lot,Containers", "Lot,Contaners", "did you mean Containers"),
    ],
)
def test_what_is_wrong_with_what_happened(desk, old, new, words):
    text = ACTUALS.format(part=some_part(desk))
    assert old in text
    table(desk / "actuals.csv", text.replace(old, new, 1))
    report = book(desk, "actuals.csv")
    assert any(words in word for word in told(report)), told(report)
    assert not journal_path(desk / "plan.xlsx").exists()


def test_files_that_are_none_of_these(desk, capsys):
    table(desk / "other.csv", "Colour,Shape\nred,round\n")
    (desk / "photo.png").write_bytes(b"x")
    assert (
        main(
            [
                "book",
                *map(str, (desk / "plan.xlsx", desk / "other.csv", desk / "photo.png", desk / "gone.csv")),
            ]
        )
        == 1
    )
    said = capsys.readouterr().err
    assert "other.csv: is no table of weights or of what happened" in said
    assert "photo.png: is not a kind of file that is booked" in said and "gone.csv: does not exist" in said
    assert main(["book", str(desk / "plan.xlsx"), str(desk / "plan.xlsx")]) == 1  # a plan is no booking


def test_a_wrong_lot_is_named(desk):
    """By the demo's Stock: HB-0830 is B, HA-0911 is past its last day (10 March), Z-1 is unknown."""
    table(
        desk / "opened.csv",
        "What,Date,Time,Station,Component,Lot,Containers\n"
        "opened,2026-03-02,06:05,Hem robot,A,HA-0911,\n"
        "opened,2026-03-02,07:05,Hem robot,A,HB-0830,\n"
        "opened,2026-03-12,06:05,Hem robot,A,HA-0911,\n"
        "opened,2026-03-12,07:05,Hem robot,A,Z-1,\n"
        "received,2026-03-12,06:00,Hem robot,A,Z-2,1\n"
        "opened,2026-03-12,08:05,Hem robot,A,Z-2,\n",
    )
    report = book(desk, "opened.csv")
    assert told(report) == []
    words = [item.text for item in report.findings if item.topic.startswith("lot")]
    assert len(words) == 3
    assert "HB-0830" in words[0] and words[0].endswith("is hem epoxy B")
    assert "HA-0911" in words[1] and words[1].endswith("was past its last day, 2026-03-10")
    assert words[2].endswith("is neither in Stock nor was it received") and "Z-1" in words[2]


def test_a_column_of_units(desk):
    """By definition (NIST SP 811, B.8): 1 US fl oz is 29.5735295625 mL, 1 lb 453.59237 g, 1 oz a 16th of it.

    The unit is that of the figure it suits, and that of the header else; a cell's own goes before.
    """
    table(
        desk / "came.csv",
        "What,Date,Station,Component,Lot,Containers,Volume,Mass [kg],Unit\n"
        "received,2026-03-02,Hem robot,A,U-1,,40,,fl oz\n"
        "received,2026-03-02,Hem robot,A,U-2,,,3,lb\n"
        "received,2026-03-02,Hem robot,A,U-3,,,3 kg,lb\n"
        "received,2026-03-02,Hem robot,A,U-4,,250,,\n"
        "received,2026-03-02,Hem robot,A,U-5,3,,,each\n",
    )
    table(
        desk / "balance.csv",
        "Time;Station;Shots;Weight;Volume [cL];Unit\n"
        "2026-03-02 06:30;Hem robot;2;0,2;0,5;oz\n"
        "2026-03-02 07:30;Hem robot;2;3/16;0,5;oz\n",
    )
    report = book(desk, "came.csv", "balance.csv")
    assert told(report) == []
    came = {item.lot: (item.value, item.unit, item.count) for item in entries(desk, "received")}
    assert came["U-1"] == (pytest.approx(40 * 29.5735295625), "mL", None)
    assert came["U-2"] == (pytest.approx(3 * 0.45359237), "kg", None)
    assert came["U-3"] == (pytest.approx(3.0), "kg", None) and came["U-4"] == (pytest.approx(250), "mL", None)
    assert came["U-5"] == (None, "", 3)
    found = [(item.value, item.count) for item in entries(desk, "weight")]
    assert found == [(pytest.approx(each * 453.59237 / 16), 2) for each in (0.2, 3 / 16)]
    assert [item.value for item in entries(desk, "volume")] == pytest.approx([5.0, 5.0])
    table(
        desk / "wrong.csv",
        "What,Date,Station,Component,Lot,Containers,Volume,Unit\n"
        "received,2026-03-02,Hem robot,A,U-6,3,,kg\n"
        "received,2026-03-02,Hem robot,A,U-7,,4,kg\n",
    )
    words = told(book(desk, "wrong.csv"))
    assert len(words) == 2 and "F2" in words[0] and '"3 kg"' in words[0]
    assert "G3" in words[1] and '"4 kg"' in words[1]


def test_a_lot_opened_after_midnight_is_judged_by_that_day(tmp_path):
    """N1 may be used on 2 March: at 23:30 of that day's night it may, at 00:20 of the same night no more."""
    rows = hand_rows()
    rows["Shifts"] = [dict(shift="night", start="22:00", end="30:00")]
    rows["Breaks"] = []
    rows["Builds"][0]["shift"] = "night"
    rows["Stock"].append(dict(material="Bond 60", component="a", lot="N1", quantity=100, expiry="2026-03-02"))
    plan = light_plan(tmp_path / "plan.xlsx", rows)
    table(
        tmp_path / "opened.csv",
        "What,Date,Time,Station,Component,Lot\nopened,2026-03-02,23:30,hem,A,N1\nopened,2026-03-03,00:20,hem,A,N1\n",
    )
    report = book_files(plan, [tmp_path / "opened.csv"], stamp=STAMP)
    (finding,) = [item for item in report.findings if item.topic.startswith("lot")]
    assert finding.text.endswith("was past its last day, 2026-03-02, on 2026-03-03")
    assert (str(finding.day), finding.shift) == ("2026-03-02", "night")


# ------------------------------------------------------------------------- the rest of the command


def test_take_back_list_and_export(desk, capsys):
    table(desk / "balance.csv", "Time,Weight [g],Station,By\n2026-03-02 06:30,5.4,Hem robot,=HYPERLINK(1)\n")
    plan = str(desk / "plan.xlsx")
    assert main(["book", plan, str(desk / "balance.csv"), "--stamp", STAMP]) == 0
    assert main(["book", plan, "--take-back", "1", "--reason", "wrong scale", "--stamp", STAMP]) == 0
    capsys.readouterr()
    assert main(["book", plan]) == 0
    said = capsys.readouterr().out
    assert "balance.csv" in said and "taken back" in said and "takes back 1: wrong scale" in said
    assert main(["book", plan, "--export", str(desk / "all")]) == 0
    rows = list(csv.DictReader((desk / "all" / "entries.csv").read_text("utf-8-sig").splitlines()))
    assert [(row["value"], row["by"], row["holds"]) for row in rows] == [("5.4", "'=HYPERLINK(1)", "no")]
    bookings = list(csv.DictReader((desk / "all" / "bookings.csv").read_text("utf-8-sig").splitlines()))
    assert [(row["number"], row["action"], row["counts"]) for row in bookings] == [
        ("1", "book", "no"),
        ("2", "take back", "yes"),
    ]
    planned = list(csv.DictReader((desk / "all" / "as_planned.csv").read_text("utf-8-sig").splitlines()))
    assert {(row["booking"], row["kind"]) for row in planned} == {("1", "as planned")}
    assert main(["book", plan, "--export", str(desk / "all")]) == 0  # its own export may be renewed
    (desk / "all" / "entries.csv").write_text("mine")
    assert main(["book", plan, "--export", str(desk / "all")]) == 1
    assert (desk / "all" / "entries.csv").read_text() == "mine"
    assert main(["book", plan, "--export", "x", "--recover"]) == 1


def test_recover_over_the_command(desk, capsys):
    plan = str(desk / "plan.xlsx")
    table(desk / "balance.csv", "Time,Weight [g],Station\n2026-03-02 06:30,5.4,Hem robot\n")
    main(["book", plan, str(desk / "balance.csv"), "--stamp", STAMP])
    assert main(["book", plan, "--recover"]) == 0
    assert "is whole: there is nothing to recover" in capsys.readouterr().out
    path = journal_path(plan)
    data = bytearray(path.read_bytes())
    data[:100] = b"\xff" * 100  # the file's own head
    path.write_bytes(data)
    assert main(["book", plan]) == 1
    assert "--recover" in capsys.readouterr().err
    assert main(["book", plan, "--recover"]) == 0
    assert "1 booking with 1 entries recovered" in capsys.readouterr().out
    assert [item.value for item in entries(desk, "weight")] == [5.4]
