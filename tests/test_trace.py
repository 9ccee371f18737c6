"""Lots on parts, both ways; what was booked is told apart from what was planned.

What must come out is reckoned here from the clock times that the test itself books, and from the played
shift's own list of container changes where nothing was.
"""

from __future__ import annotations

import datetime
import json

import pytest

from dispense.books.plan import new_plan
from dispense.cli import main
from dispense.journal.entries import EMPTIED, MADE, OPENED, SCRAPPED, STAGED, Entry
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
    assert row in of_lot(plan, [], row.lot).in_stock
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
