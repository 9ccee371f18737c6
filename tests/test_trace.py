"""Lots on parts, both ways; what was booked is told apart from what was planned.

What must come out is reckoned here from the clock times that the test itself books, and from the played
shift's own list of container changes where nothing was.
"""

from __future__ import annotations

import dataclasses
import datetime
import json

import pytest
from plans import MONDAY, hand_rows, make

from dispense.books.plan import new_plan
from dispense.cli import main
from dispense.jobs.trace import TraceReport
from dispense.journal.entries import BOOK, EMPTIED, MADE, OPENED, RECEIVED, SCRAPPED, STAGED, Booking, Entry
from dispense.journal.lots import lot_findings
from dispense.journal.planned import all_shifts, kept_shifts, not_as_kept, to_keep
from dispense.journal.store import book_entries, read_journal
from dispense.journal.trace import of_lot, of_part, trace
from dispense.plan.read import load_plan
from dispense.shift.play import play_plan

HEM, DAY = "Hem robot", datetime.date(2026, 3, 2)


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    folder = tmp_path_factory.mktemp("trace")
    new_plan(folder / "plan.xlsx", demo=True)
    return folder


@pytest.fixture(scope="module")
def plan(desk):
    return load_plan(desk / "plan.xlsx")


@pytest.fixture(scope="module")
def played(plan):
    return list(play_plan(plan))


def opened(clock, lot, component="a", station=HEM, shift="Early", day="2026-03-02"):
    return Entry(
        OPENED,
        f"{lot} {clock}",
        day=day,
        shift=shift,
        time=f"{day}T{clock}:00",
        station=station,
        component=component,
        lot=lot,
    )


def of_first_shift(parts):
    return [item for item in parts if (item.day, item.shift, item.station) == (DAY, "Early", HEM)]


def test_where_nothing_was_booked_it_is_the_played_shift(plan, played):
    """Each batch holds the lots that the events of its shift connect up to its end, all marked planned."""
    parts, _ = trace(plan, [])
    assert parts and {lot.source for item in parts for lot in item.lots} == {"planned"}
    assert len(parts) == sum(len(result.batches) for result in played)
    for result in played:
        mine = [
            item
            for item in parts
            if (item.day, item.shift, item.station) == (result.date, result.shift, result.station.station)
        ]
        for batch, item in zip(result.batches, sorted(mine, key=lambda each: each.batch), strict=True):
            during = {
                event.lot
                for event in result.events
                if event.kind == "container" and batch.begun < event.clock <= batch.ended
            }
            assert during <= {lot.lot for lot in item.lots}
            assert {lot.component for lot in item.lots} == set(result.letters)


def test_both_ways_agree(plan):
    """A part is found by a lot exactly where the lot is found by the part."""
    parts, _ = trace(plan, [])
    for lot in {each.lot for item in parts for each in item.lots}:
        found = of_lot(plan, [], lot).parts
        assert found == [item for item in parts if lot in {each.lot for each in item.lots}]
    some = parts[0].part
    assert of_part(plan, [], some).parts == [item for item in parts if item.part == some]


def test_a_wrong_lot_that_was_booked_stands_for_its_time(plan):
    """Booked at 06:00 and 09:20: the batches before, across and after, the rest of hose and mixer named."""
    entries = [opened("06:00", "HA-0911"), opened("09:20", "WRONG-1")]
    parts, still = trace(plan, entries)
    mine = of_first_shift(parts)
    change = datetime.datetime(2026, 3, 2, 9, 20)
    for item in mine:
        a = {lot.lot: lot for lot in item.lots if lot.component == "a"}
        assert ("WRONG-1" in a) == (item.ended >= change), item
        if item.begun <= change <= item.ended or item.ended < change:
            assert "HA-0911" in a
        assert all(lot.source == "booked" for lot in a.values())
        assert {lot.source for lot in item.lots if lot.component == "b"} == {"planned"}
    after = next(item for item in mine if item.begun > change)
    rest = [lot for lot in after.lots if lot.is_rest]
    assert [lot.lot for lot in rest] in ([], ["HA-0911"])  # as long as the hose takes
    assert not any(lot.is_rest for lot in mine[-1].lots)
    found = of_lot(plan, entries, "WRONG-1")
    assert found.events == [entries[1]]
    assert min(item.begun for item in found.parts) <= change
    assert not any(item.lot == "WRONG-1" for item in still)  # the plan connects others later


def test_the_rest_of_a_hose_is_held_for_the_time_it_takes(plan, played):
    """Volume of hose and mixer over the mean use of the shift, by hand from the played figures."""
    result = next(
        item for item in played if (item.date, item.shift, item.station.station) == (DAY, "Early", HEM)
    )
    held = result.hoses["a"] + round(result.station.mixer_volume * result.shares["a"] * 1e12)  # nL in a m³
    seconds = held / result.drawn("a") * result.calendar.available
    change = datetime.datetime(2026, 3, 2, 7, 12)
    parts, _ = trace(plan, [opened("06:00", "OLD"), opened("07:12", "NEW")])
    for item in of_first_shift(parts):
        lots = {lot.lot: lot for lot in item.lots if lot.component == "a"}
        holds_old = item.begun < change + datetime.timedelta(seconds=seconds)
        assert ("OLD" in lots) == holds_old, item
        if item.begun > change and holds_old:
            assert lots["OLD"].is_rest


def test_what_is_still_open(plan, played):
    last = max(result.date for result in played if result.station.station == HEM)
    late = opened("23:00", "LAST-1", day=last.isoformat(), shift="none")
    found = of_lot(plan, [late], "LAST-1")
    assert [(item.station, item.lot, item.source) for item in found.still_open] == [(HEM, "LAST-1", "booked")]
    gone = Entry(
        EMPTIED, "e", day=last.isoformat(), time=f"{last}T23:30:00", station=HEM, component="a", lot="LAST-1"
    )
    assert of_lot(plan, [late, gone], "LAST-1").still_open == []


def test_what_lies_in_store_of_a_lot(plan):
    row = plan.stock[0]
    assert row in [item.row for item in of_lot(plan, [], row.lot).in_stock]
    assert of_lot(plan, [], "LAST-1").in_stock == []


def test_parts_that_were_made_are_told_as_booked(plan):
    part = of_first_shift(trace(plan, [])[0])[0].part
    head = dict(day="2026-03-02", shift="Early", station=HEM, part=part)
    entries = [
        Entry(MADE, "m", **head, count=100),
        Entry(MADE, "n", **head, count=17),
        Entry(SCRAPPED, "s", **head, count=2),
    ]
    item = of_first_shift(of_part(plan, entries, part, DAY).parts)[0]
    assert (item.made, item.scrapped) == (117, 2)


def test_over_the_command(desk, plan, capsys):
    lot = next(row.lot for row in plan.stock)
    part = of_first_shift(trace(plan, [])[0])[0].part
    name = str(desk / "plan.xlsx")
    (desk / "happened.csv").write_text(
        "What,Date,Time,Station,Component,Lot\nopened,2026-03-02,09:20,Hem robot,A,WRONG-1\n",
        encoding="utf-8",
    )
    assert main(["book", name, str(desk / "happened.csv"), "--stamp", "s"]) == 0
    capsys.readouterr()
    assert main(["trace", name, "--lot", "wrong-1"]) == 0
    said = capsys.readouterr().out
    assert (
        "Parts that may hold lot WRONG-1" in said
        and "Booked of this lot" in said
        and "happened.csv row 2" in said
    )
    assert "A WRONG-1" in said and "planned" in said
    assert main(["trace", name, "--part", part, "--day", "2026-03-02", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {item["day"] for item in found["parts"]} == {"2026-03-02"}
    assert {each["source"] for item in found["parts"] for each in item["lots"]} == {"booked", "planned"}
    assert main(["trace", name, "--lot", lot[:-1] + "#"]) == 1
    assert main(["trace", name]) == 1 and main(["trace", name, "--lot", lot, "--part", part]) == 1
    assert "--lot LOT or --part PART" in capsys.readouterr().err


def test_a_lot_of_b_connected_as_a(plan):
    """As A it is on parts from 09:20 on only; as B, where it belongs, on those of the plan."""
    entries = [opened("06:00", "HA-0911"), opened("09:20", "HB-0830")]
    wrong = of_lot(plan, entries, "HB-0830", "a").parts
    right = of_lot(plan, entries, "HB-0830", "b").parts
    assert min(item.ended for item in wrong) >= datetime.datetime(2026, 3, 2, 9, 20)
    planned = of_lot(plan, [], "HB-0830").parts
    assert len(wrong) < len(right)
    assert [(item.begun, item.numbers) for item in right] == [(item.begun, item.numbers) for item in planned]


def test_a_staged_lot_is_told(plan):
    entry = Entry(
        STAGED,
        "s",
        "staging.xlsx Staging!D8",
        "2026-03-02",
        "Early",
        station=HEM,
        lot="HA-0911, HA-0950",
        count=2,
    )
    assert of_lot(plan, [entry], "HA-0950").events == [entry]


def hem(clock, lot):
    return opened(clock, lot, station="hem", shift="early")


def made(count, kind=MADE):
    head = dict(day=MONDAY.isoformat(), shift="early", station="hem", part="frame")
    return Entry(kind, f"{kind} {count}", **head, count=count)


def booked(path, plan, entries, stamp, plan_content):
    """Book entries with what is to be kept of their shifts."""
    booking = Booking(0, BOOK, stamp, stamp, stamp, "plan.xlsx", plan_content)
    kept = to_keep(plan, entries, read_journal(path))
    assert book_entries(path, booking, entries, kept=kept)
    return read_journal(path)


def batches(plan, journal, lot):
    entries = [item.entry for item in journal.current().values()]
    found = of_lot(plan, entries, lot, shifts=all_shifts(plan, kept_shifts(journal)))
    return [(item.numbers, item.begun) for item in found.parts]


def test_a_booked_shift_keeps_the_parts_that_were_printed(tmp_path):
    """Changed figures, later bookings and builds that rolled away change nothing; other builds do."""
    path, rows = tmp_path / "plan.journal", hand_rows()
    first = make(rows)
    by_hand = [
        (batch.numbers, datetime.datetime(2026, 3, 2) + datetime.timedelta(seconds=batch.begun))
        for result in play_plan(first)
        for batch in result.batches
    ]
    journal = booked(path, first, [hem("06:00", "GA-31")], "2026-03-02 06:10", "one")
    printed = batches(first, journal, "GA-31")
    assert printed == by_hand
    rows["Stations"][0]["takt"] = 500
    changed = make(rows)
    now = [item.begun for item in of_part(changed, [], "frame").parts]
    assert now != [begun for _, begun in printed]  # what would be said without what was kept
    assert batches(changed, journal, "GA-31") == printed
    journal = booked(path, changed, [made(20)], "2026-03-02 10:10", "two")
    assert batches(changed, journal, "GA-31") == printed
    rows["Builds"][0]["date"] = MONDAY + datetime.timedelta(days=7)
    rolled = make(rows)
    assert batches(rolled, journal, "GA-31")[: len(printed)] == printed
    rows["Builds"][0] |= {"date": MONDAY, "quantity": 5}
    fewer = make(rows)
    journal = booked(path, fewer, [made(5, SCRAPPED)], "2026-03-02 10:20", "three")
    assert batches(fewer, journal, "GA-31") != printed
    assert not_as_kept(rolled, journal, "four") == ([], [])


def test_what_was_not_kept_and_holds_no_more_is_said(tmp_path):
    path, rows = tmp_path / "plan.journal", hand_rows()
    booking = Booking(0, BOOK, "s", "s", "s", "plan.xlsx", "one")
    assert book_entries(path, booking, [hem("06:00", "GA-31"), made(20)])
    journal, shift = read_journal(path), (MONDAY.isoformat(), "early", "hem")
    assert not_as_kept(make(rows), journal, "one") == ([], [])
    assert not_as_kept(make(rows), journal, "two") == ([shift], [])
    rows["Builds"][0]["date"] = MONDAY + datetime.timedelta(days=7)
    assert not_as_kept(make(rows), journal, "two") == ([], [shift])
    assert not_as_kept(make(rows), journal, "two", [MONDAY + datetime.timedelta(days=1)]) == ([], [])


def test_where_a_lot_stands_at_a_moment():
    """GA-31 is connected at 07:00 and taken off at 09:00: by hand it stands there from then till then."""
    plan = make(hand_rows())
    gone = Entry(EMPTIED, "e", day="2026-03-02", time="2026-03-02T09:00:00", station="hem", component="a")
    entries = [hem("06:00", "A1"), hem("07:00", "GA-31"), dataclasses.replace(gone, lot="GA-31")]
    for clock, stands in (("06:59", False), ("07:01", True), ("08:59", True), ("09:01", False)):
        at = datetime.datetime.fromisoformat(f"2026-03-02 {clock}")
        found = of_lot(plan, entries, "GA-31", at=at)
        assert [item.station for item in found.still_open] == (["hem"] if stands else []), clock
        said = TraceReport("?", found, "GA-31", "as asked").as_text()
        assert f"as of 2026-03-02 {clock} (as asked): " in said
        assert ("A GA-31 stands at hem since 2026-03-02 07:00 (booked): take it off" in said) == stands
    early = of_lot(plan, entries, "GA-31", at=datetime.datetime(2026, 3, 2, 6, 30))
    assert [item.since.hour for item in early.to_come] == [7] and early.after == early.parts
    left = {}
    for hour in (5, 8):
        (stored,) = of_lot(plan, entries, "A1", at=datetime.datetime(2026, 3, 2, hour)).in_stock
        left[hour] = stored.left
    assert left == pytest.approx({5: 1000e-6, 8: 900e-6})  # 1000 mL, one container of 100 mL connected


def one_by_one():
    """Parts of the plan worked by hand each on its own, every ten minutes but in the break: 21 from 06:00 on.

    A stands in the one container of A1; it ends with the 14th part, at 08:40:10, when A2 is connected. There
    is no hose, and the mixer holds 5 mL of A: at 138 mL in the 3 h 30 min of the shift that lasts 456 s.
    """
    rows = hand_rows()
    rows["Stations"][0]["batch"] = 1
    rows["Stock"][0]["quantity"] = 100
    rows["Stock"].insert(1, dict(rows["Stock"][0], lot="A2", quantity=900))
    plan = make(rows)
    (shift,) = all_shifts(plan, {})
    clocks = [(event.clock, event.lot) for event in shift.events if event.component == "a"]
    assert clocks == [(6 * 3600.0, "A1"), (31210.0, "A2")]
    assert shift.lags["a"] == pytest.approx(456.5, abs=0.1)
    return plan


def on_parts(plan, entries, lot):
    """Numbers of the parts that may hold a lot, connected then, and as the rest of a hose; its sources."""
    parts = of_lot(plan, entries, lot).parts
    mine = [(int(item.numbers), each) for item in parts for each in item.lots if each.lot == lot]
    stood = [number for number, each in mine if not each.is_rest]
    rest = [number for number, each in mine if each.is_rest]
    return stood, rest, {each.source for _, each in mine}


def test_the_planned_lot_stands_until_one_is_booked():
    """Only A2 is booked, at 08:40: A1 is on the 13 parts before; the 14th is within 456 s of the change."""
    plan = one_by_one()
    entries = [hem("08:40", "A2")]
    assert on_parts(plan, entries, "A1") == ([*range(1, 14)], [14], {"planned"})
    assert on_parts(plan, entries, "A2") == ([*range(14, 22)], [], {"booked"})
    (stored,) = of_lot(plan, entries, "A1").in_stock
    assert stored.left == 0.0  # its one container was connected, by plan


def test_a_change_that_is_booked_late_leaves_both_lots():
    """A2, planned for 08:40:10, is booked at 09:05: A1 until then and 456 s more, to the 17th part of 09:10.

    A2 may have been on since the plan had it there. It is one container all the same.
    """
    plan = one_by_one()
    entries = [hem("09:05", "A2")]
    assert on_parts(plan, entries, "A1") == ([*range(1, 17)], [17], {"planned"})
    assert on_parts(plan, entries, "A2") == ([*range(14, 22)], [], {"planned", "booked"})
    (stored,) = of_lot(plan, entries, "A2").in_stock
    assert stored.left == pytest.approx(800e-6)
    between = datetime.datetime(2026, 3, 2, 9, 0)
    for lot in ("A1", "A2"):
        assert [item.lot for item in of_lot(plan, entries, lot, at=between).still_open] == [lot]
    early = [hem("08:31", "A2")]  # planned for 08:40:10: no more connected then
    assert on_parts(plan, early, "A1") == ([*range(1, 14)], [], {"planned"})
    assert len(of_lot(plan, early, "A2").to_come) == 0
    again = [hem("06:25", "A1")]  # booked late, and nothing stood before it
    assert on_parts(plan, again, "A1") == ([*range(1, 22)], [], {"planned", "booked"})


def test_a_lot_that_was_booked_without_a_time_may_be_on_any_part_of_its_shift():
    """X9 is booked of the shift alone, or of the day: by hand on all 21 parts, beside the planned lots."""
    plan = one_by_one()
    for shift in ("early", ""):
        entry = dataclasses.replace(hem("08:00", "X9"), time="", shift=shift)
        assert on_parts(plan, [entry], "X9") == ([*range(1, 22)], [], {"booked"})
        assert on_parts(plan, [entry], "A1") == on_parts(plan, [], "A1")
        assert on_parts(plan, [entry, hem("09:05", "A2")], "A1") == ([*range(1, 17)], [17], {"planned"})
        (open_at,) = of_lot(plan, [entry], "X9", at=datetime.datetime(2026, 3, 2, 9)).still_open
        assert (open_at.station, open_at.source) == ("hem", "booked")


def test_what_was_booked_before_the_shift_stands_until_one_is_booked():
    """Z9 is booked on the day before: it stands, and not A1 as planned, until it is booked as emptied."""
    plan = one_by_one()
    before = opened("23:00", "Z9", station="hem", shift="", day="2026-03-01")
    entries = [before, hem("09:05", "A2")]
    assert on_parts(plan, entries, "Z9") == ([*range(1, 17)], [17], {"booked"})
    assert on_parts(plan, entries, "A1") == ([], [], set())
    gone = Entry(EMPTIED, "e", day="2026-03-01", time="2026-03-01T23:30:00", station="hem", component="a")
    entries.append(dataclasses.replace(gone, lot="Z9"))
    assert on_parts(plan, entries, "A1") == ([*range(1, 17)], [17], {"planned"})


def test_totals_are_told_once():
    plan = make(hand_rows())
    found = of_lot(plan, [hem("06:00", "GA-31"), made(20), made(1, SCRAPPED)], "GA-31")
    said = TraceReport("?", found, "GA-31").as_text()
    assert len(found.parts) > 1 and sum(item.count for item in found.parts) == 21  # builds of the plan
    assert said.count("20 made, 1 scrap") == 1 and "in the shift" not in said


def test_a_lot_number_of_two_components_asks_for_one():
    plan = make(hand_rows())
    both = [Entry(RECEIVED, each, material="Bond 60", component=each, lot="X7") for each in "ab"]
    said = TraceReport("?", of_lot(plan, [*both, hem("06:00", "X7")], "X7"), "X7").as_text()
    assert "X7 is known as A and B: --component A or B" in said
    (finding,) = lot_findings(plan, [hem("06:00", "B2")])
    assert "--lot B2 --component A" in finding.fix
    (unknown,) = lot_findings(plan, [hem("06:00", "Q1")])
    assert "--component" not in unknown.fix
