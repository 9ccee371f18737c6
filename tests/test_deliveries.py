"""Open orders whose day has passed, orders that stand twice, and what lies in store and may not be used.

Stock is added up by the test from the rows it writes. That goods which are due and have not come are no stock
is what *on order* means (common practice, no source); the working day after is counted by the calendar.
"""

from __future__ import annotations

import datetime
import json
from dataclasses import replace

import pytest
from plans import MONDAY, hand_rows, light_plan, make

from dispense.base.errors import FileError, InputError
from dispense.base.findings import Finding, grouped
from dispense.base.language import printed_in, translated
from dispense.cli import main
from dispense.forecast.model import forecast
from dispense.jobs.book import book_files
from dispense.jobs.explain import explain_file
from dispense.jobs.fill import fill
from dispense.jobs.forecast import forecast_file
from dispense.jobs.start import started
from dispense.journal.count_doubts import count_doubts
from dispense.journal.counted import counted_stock
from dispense.journal.entries import COUNTED, RECEIVED, Booking, Entry
from dispense.journal.explained import IMPOSSIBLE, explained
from dispense.journal.start import from_today
from dispense.journal.store import Booked
from dispense.plan.late import LATE, TWICE
from dispense.plan.read import load_plan
from dispense.plan.sources import NO_SOURCES, Sources, check_plan_from
from dispense.reports.findings import plan_findings
from dispense.shift.play import play_plan

DAY = datetime.timedelta(days=1)
FRIDAY = MONDAY + 4 * DAY
DUE = FRIDAY - 3 * DAY  # Tuesday
NEXT = MONDAY + 7 * DAY  # Monday after that Friday: the next working day


def rows(orders, days=12):
    """Bond 60 A with 1 L in store, built on each working day of two weeks."""
    found = hand_rows()
    found["Builds"] = [
        dict(date=MONDAY + place * DAY, shift="early", part="frame", quantity=3)
        for place in range(days)
        if (MONDAY + place * DAY).weekday() < 5
    ]
    found["Orders"] = orders
    return found


def order(number="PO-3", quantity=400, arrival=DUE, **more):
    return dict(order=number, material="Bond 60", component="a", quantity=quantity, arrival=arrival, **more)


@pytest.fixture
def late(tmp_path):
    return light_plan(tmp_path / "late.xlsx", rows([order()]))


def stock_of(found, name="Bond 60 A"):
    row = next(row for row in found.tables["components"].records() if row["Component"] == name)
    return row["In stock [mL]"], row["Due in [mL]"]


def told(findings, topic):
    return [item for item in findings if item.topic == topic]


def test_a_late_delivery_is_not_in_store(late):
    found = forecast_file(late, as_of=FRIDAY, draws=10, what_if=False)
    assert stock_of(found) == (1000.0, 400.0)  # before: 1400 and 0
    (finding,) = told(found.findings, LATE)
    assert finding.text == (
        f"order PO-3 of Bond 60 A was due on {DUE} and is not received: it is not in store, and is taken to "
        f"come on {NEXT}"
    )
    assert finding.numbers["overdue [d]"] == 3.0
    first = found.tables["decisions"].rows[0]
    assert first[:4] == ["overdue by 3 days", DUE, "delivery", "Bond 60 A"]


def test_in_time_or_on_its_day_it_is_as_stated(late):
    for day in (MONDAY, DUE):
        found = forecast_file(late, as_of=day, draws=10, what_if=False)
        assert told(found.findings, LATE) == [] and stock_of(found) == (1000.0, 400.0)


def test_from_python_it_is_told_too(late):
    found = forecast(load_plan(late), 2, as_of=FRIDAY, draws=10)
    assert len(told(found.findings, LATE)) == 1 and stock_of(found) == (1000.0, 400.0)


def test_all_commands_begin_with_the_same_stock(late, tmp_path):
    begun = started(load_plan(late), late, NO_SOURCES, FRIDAY)
    lot = next(lot for lot in begun.plan.stock if lot.lot == "order PO-3")
    assert lot.arrival == NEXT and len(told(begun.findings, LATE)) == 1
    filled = fill(late, tmp_path / "sheets", date=str(FRIDAY), shift="early", as_of=FRIDAY)
    assert len(told(filled.findings, LATE)) == 1


def test_a_row_that_stands_twice_is_named(tmp_path):
    plan = load_plan(light_plan(tmp_path / "twice.xlsx", rows([order(), order("PO-4"), order()])))
    (finding,) = told(plan_findings(plan), TWICE)
    assert "order PO-3 stands 2 times" in finding.text and "(rows 2, 4)" in finding.text
    apart = [order(), order(quantity=300), order(arrival=NEXT)]  # parts of one order are no slip
    plan = load_plan(light_plan(tmp_path / "parts.xlsx", rows(apart)))
    assert told(plan_findings(plan), TWICE) == []


# ------------------------------------------------------------------------------------- what was counted


def happened(kind, day, time, lot="A1", **amount):
    """A booking of Bond 60 A."""
    name = f"{kind}|{day}|{time}|{lot}"
    moment = f"{day}T{time}:00"
    return Entry(
        kind, name, "x.csv row 2", str(day), time=moment, material="Bond 60", component="a", lot=lot, **amount
    )


RECEIPT = happened(RECEIVED, MONDAY, "09:00", "N1", count=2)  # of 100 mL each


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        ([happened(COUNTED, MONDAY, "10:00", "N1", count=2)], []),
        (
            [happened(COUNTED, MONDAY, "10:00", "N1", count=7)],
            [f"7 × 100 mL counted {MONDAY} 10:00, and at most 2 × 100 mL can be there"],
        ),
        ([happened(COUNTED, MONDAY, "08:00", "N1", count=1)], ["(none was received before)"]),
        (  # the count before and the receipt bound it: 1 + 2
            [
                happened(COUNTED, MONDAY - DAY, "10:00", "N1", count=1),
                happened(COUNTED, MONDAY, "10:00", "N1", count=4),
            ],
            ["(none was received before)", "at most 3 × 100 mL"],
        ),
        ([happened(COUNTED, MONDAY, "10:00", "A1", count=30)], []),  # of Stock nobody knows the day
        (
            [
                happened(COUNTED, MONDAY, "10:00", "A1", count=3),
                happened(COUNTED, FRIDAY, "10:00", "A1", value=350e-6 * 1e6, unit="mL"),
            ],
            ["350 mL counted"],
        ),
        ([happened(COUNTED, MONDAY, "10:00", "N9", count=1)], ["lot N9, counted", "neither in Stock nor"]),
    ],
)
def test_a_count_above_what_can_be_there_is_named(counts, told):
    found = [item.text for item in count_doubts(make(rows([])), [RECEIPT, *counts])]
    assert all(words in " | ".join(found) for words in told) and bool(found) == bool(told)


def test_only_what_is_booked_now_is_doubted():
    first = happened(COUNTED, MONDAY, "10:00", "N1", count=7)
    again = happened(COUNTED, FRIDAY, "10:00", "N1", count=2)
    assert count_doubts(make(rows([])), [again], [RECEIPT, first]) == []
    assert len(count_doubts(make(rows([])), [first], [RECEIPT])) == 1


def test_a_counted_lot_keeps_no_longer_than_from_its_count():
    """Made at the latest as it was counted, it keeps for 30 days from then at most."""
    found = rows([])
    found["Components"][0] |= dict(shelf_life=30)
    stock = counted_stock(make(found), [happened(COUNTED, MONDAY, "05:00", "N9", count=1)]).plan.stock
    assert next(lot.expiry for lot in stock if lot.lot == "N9") == MONDAY + 30 * DAY


def test_booked_checked_and_forecast_name_the_same_count(late, tmp_path):
    table = tmp_path / "happened.csv"
    table.write_text(
        "What,Date,Time,Material,Component,Lot,Containers\n"
        f"received,{MONDAY - DAY},09:00,Bond 60,A,N1,2\ncounted,{MONDAY - DAY},10:00,Bond 60,A,N1,7\n"
    )
    words = "and at most 2 × 100 mL can be there"
    booked = book_files(late, [table], stamp=f"{MONDAY} 05:00").findings
    checked = started(load_plan(late), late, NO_SOURCES, None).findings
    seen = forecast_file(late, draws=10, what_if=False).findings
    for findings in (booked, checked, seen, explain_file(late).findings):
        assert sum(words in item.text for item in findings) == 1


def test_use_below_nothing_is_left_out_and_said():
    """Counted 1000 mL, nothing received, counted 1900 mL: the use would be -900 mL, at most."""
    counts = [
        happened(COUNTED, MONDAY, "05:50", count=10),
        happened(COUNTED, MONDAY + DAY, "05:50", count=19),
    ]
    booking = Booking(1, "book", f"{MONDAY} 12:00")
    (row,) = [
        row
        for row in explained(make(rows([], days=2)), [Booked(each, booking) for each in counts])
        if row.key == ("Bond 60", "a") and row.basis == IMPOSSIBLE
    ]
    assert row.actual is None and row.difference is None and row.refused is not None
    assert row.refused <= -900e6 + 100e6  # less what stands in a container at most


def test_a_count_after_the_start_is_not_used_twice(late, tmp_path):
    """Counted on Friday evening: what was used by then is not taken off once more."""
    table = tmp_path / "happened.csv"
    table.write_text(
        "What,Date,Time,Material,Component,Lot,Containers\n"
        f"counted,{MONDAY},05:00,Bond 60,A,A1,9\ncounted,{FRIDAY},22:00,Bond 60,A,A1,4\n"
    )
    book_files(late, [table], stamp=f"{FRIDAY} 23:00")
    found = forecast_file(late, draws=10, what_if=False)
    assert stock_of(found) == (900.0, 400.0)  # before: 400 on Monday
    (finding,) = told(found.findings, "later than the start")
    assert f"--as-of {FRIDAY + DAY}" in finding.fix and f"received on {FRIDAY} is left out" in finding.text
    begun = forecast_file(late, draws=10, what_if=False, as_of=FRIDAY + DAY)
    assert stock_of(begun)[0] == 400.0 and told(begun.findings, "later than the start") == []


@pytest.mark.parametrize(
    ("came", "reference", "here", "due"),
    [
        (4, "PO-3", 1400.0, 0.0),  # 4 × 100 mL of the 400 mL ordered
        (3, " PO-3 ", 1300.0, 100.0),  # the rest is still to come
        (6, "PO-3", 1600.0, 0.0),  # more than was ordered
        (4, "DN 4711", 1400.0, 400.0),  # a delivery note is no order number
        (4, "", 1400.0, 400.0),
    ],
)
def test_a_receipt_closes_the_order_that_it_names(late, tmp_path, came, reference, here, due):
    """Of the lot that came as N1: what is here and to come is added up from the rows by hand."""
    table = tmp_path / "came.csv"
    table.write_text(
        f"What,Date,Material,Component,Lot,Containers,Reference\n"
        f"received,{DUE},Bond 60,A,N1,{came},{reference}\n"
    )
    book_files(late, [table], stamp=f"{DUE} 23:00")
    found = forecast_file(late, as_of=FRIDAY, draws=10, what_if=False)
    assert stock_of(found) == (here, due)
    said = [finding.text for finding in told(found.findings, LATE)]
    if due == 100.0:
        assert said == [
            f"of order PO-3 of Bond 60 A, due on {DUE}, 100 mL are not received: they are not in store, and "
            f"are taken to come on {NEXT}"
        ]
    else:
        assert len(said) == (due > 0.0)


def test_a_receipt_closes_no_order_of_another_component_and_the_first_row_first():
    """PO-3 is 400 mL for Tuesday and 300 mL for the Monday after: 500 mL came of it, 200 are left."""
    twice = make(rows([order(), order(quantity=300, arrival=NEXT)]))
    receipt = replace(RECEIPT, count=5, text="PO-3")

    def stock(entry):
        found = counted_stock(twice, [entry]).plan.stock
        return {
            (row.lot, row.arrival): pytest.approx(row.quantity * 1e6)
            for row in found
            if row.component == "a" and row.lot != "A1"
        }

    assert stock(receipt) == {("order PO-3 (2)", NEXT): 200.0, ("N1", None): 500.0}
    both = {("order PO-3", DUE): 400.0, ("order PO-3 (2)", NEXT): 300.0}
    assert stock(replace(receipt, component="b")) == both
    assert stock(replace(receipt, lot="")) == both  # without its lot it is not in store
    named = make(rows([order(lot="N1"), order(quantity=300, arrival=NEXT)]))  # it is the lot that was due
    found = {row.lot: row.arrival for row in counted_stock(named, [receipt]).plan.stock}
    assert found["N1"] is None and found["order PO-3"] == NEXT


def test_what_may_not_be_used_is_no_stock(tmp_path):
    """A lot of 300 mL that was past its last day the day before: P90 is of the 1000 mL that may be used."""
    found = rows([], days=5)
    found["Stock"].append(
        dict(material="Bond 60", component="a", lot="OLD", quantity=300, expiry=MONDAY - DAY)
    )
    found["Components"][0] |= dict(price=20)
    seen = forecast_file(light_plan(tmp_path / "old.xlsx", found), draws=10)
    row = next(row for row in seen.tables["components"].records() if row["Component"] == "Bond 60 A")
    assert row["In stock [mL]"] == 1000.0
    assert row["P90 of stock"] == pytest.approx(row["Use P90 [mL]"] / 1000.0)
    (finding,) = told(seen.findings, "expired lot")
    assert finding.text == (
        f"Bond 60 A lot OLD may not be used: last day was {MONDAY - DAY} (300 mL, worth 60); it counts as no "
        "stock"
    )
    use = next(each for each in seen.tables["what_if"].records() if each["Component"] == "Bond 60 A")
    assert use["Now [mL]"] == pytest.approx(row["Use planned [mL]"])  # nothing of the old lot in it
    causes = next(each for each in seen.tables["causes"].records() if each["Component"] == "Bond 60 A")
    assert causes["Expired"] == 0.0


# ------------------------------------------------------------------------------------------- overdue


def kit_rows():
    """A kit of A and B of which B alone runs short: 30 mL of each a day, A 1000 mL, B 60 mL for two days."""
    found = rows([], days=12)
    for row in found["Components"]:
        row |= dict(kit="set", lead_time=5)
    found["Stock"] = [
        dict(material="Bond 60", component="a", lot="A1", quantity=3000, expiry="2026-06-30"),
        dict(material="Bond 60", component="b", lot="B1", quantity=60, expiry="2026-06-30"),
    ]
    return found


def test_of_a_kit_the_component_that_is_short_is_named():
    found = forecast(make(kit_rows()), 2, draws=10)
    orders = {view.name: view.orders[0] for view in found.components.values()}
    assert orders["Bond 60 A"].late_days == orders["Bond 60 B"].late_days > 0
    assert orders["Bond 60 A"].short_from is None and orders["Bond 60 B"].short_from is not None
    assert "with the rest of kit set" in orders["Bond 60 A"].note
    short = [item for item in found.findings if item.topic == "shortage"]
    assert short and all(item.component == "b" for item in short)
    assert not any("Bond 60 A" in item.text for item in found.warnings if item.topic == "order overdue")


def test_what_is_overdue_comes_first():
    """Two pastes: of the first an order may wait, of the second one is overdue."""
    found = kit_rows()
    for row in found["Components"]:
        row |= dict(kit="")
    seen = forecast(make(found), 2, draws=10)
    assert seen.next_order.key == ("Bond 60", "b") and seen.next_order.late_days > 0
    assert any(line.startswith("Overdue order: ") and "Bond 60 B" in line for line in seen.headline())


def test_findings_of_two_components_stand_apart():
    """Before, the first of them stood for both: 13 × warm paste, of which 12 were cold paste."""
    both = [
        Finding(
            "stop",
            f"stock of {name} {of} is short",
            topic="shortage",
            station="hem",
            material=name,
            day=MONDAY + place * DAY,
            component=of,
        )
        for place, (name, of) in enumerate((("rim", "a"), ("rim", "b"), ("rim", "b"), ("lid", "a")))
    ]
    assert [(group.first.material, group.first.component, group.count) for group in grouped(both)] == [
        ("rim", "b", 2),
        ("rim", "a", 1),
        ("lid", "a", 1),
    ]
    found = forecast(make(kit_rows()), 2, draws=10)
    shorts = [
        item for result in play_plan(found.plan) for item in result.findings if item.topic == "shortage"
    ]
    assert shorts and {item.component for item in shorts} == {"b"}


# --------------------------------------------------------------------------------------- what is read


def test_a_container_of_a_lot_that_nobody_knows_is_named(tmp_path):
    """Of A1 Stock says the last day; of N7 the row itself does; of TB-777 nobody does."""
    for lot, more, many in (("A1", {}, 0), ("N7", dict(expiry="2026-06-30"), 0), ("TB-777", {}, 1)):
        found = rows([])
        place = dict(what="container", date=FRIDAY, time="05:00", station="hem", component="a", left=50)
        found["Standing"] = [place | dict(lot=lot) | more]
        plan = make(found)
        seen = told(from_today(plan, [], FRIDAY).findings, f"standing lot {lot}")
        assert len(seen) == many
    assert (
        "lot TB-777 of Bond 60 A, which stands at hem, is neither in Stock nor was it received"
        in seen[0].text
    )


def test_what_cannot_stand_is_told_with_column_and_value():
    found = rows([])
    place = dict(
        what="container", date=FRIDAY, time="05:00", station="hem", component="a", lot="A1", left=250
    )
    found["Standing"] = [place]
    with pytest.raises(InputError, match=r"Left \[mL\]: 250 mL is more than a container holds, 100 mL"):
        make(found)


HEADERS = "Date,Part,Quantity\n"


@pytest.mark.parametrize(
    ("text", "problems", "notes"),
    [
        (HEADERS, [], ["table Builds has no rows"]),
        ("Week,Part,Quantity\n", [], ["table Builds has no rows"]),
        ("Datum;x\n", ['holds no column of Builds: "Datum", "x"'], []),
        (HEADERS + "2026-W10,frames,10\n", ['part is "frames"'], []),
        (HEADERS + "2026-W10,frame,10\n2026-W54,frame,10\n", ['date is "2026-W54"'], []),
        # 2026 has 53 weeks, since it begins on a Thursday (ISO 8601); 2025 has 52
        (HEADERS + "2026-W54,frame,10\n", ['"2026-W54"; it must be a week that the year has, to W53'], []),
        (HEADERS + "2025-W53,frame,10\n", ['"2025-W53"; it must be a week that the year has, to W52'], []),
        (HEADERS + "2026-W10,frame,-5\n2026-W10,frame,4\n", ['quantity is "-5"'], []),
    ],
)
def test_a_file_of_builds_is_told_once_and_alone(late, tmp_path, text, problems, notes):
    (tmp_path / "builds.csv").write_text(text)
    plan, found = check_plan_from(late, Sources(builds=tmp_path / "builds.csv"))
    assert len(found) == len(problems)
    assert all(words in str(problem) for words, problem in zip(problems, found, strict=True))
    seen = " ".join(str(problem) for problem in plan.warnings)
    assert all(words in seen for words in notes)


def test_an_upload_with_other_columns_is_called_that(late, tmp_path):
    found = rows([], days=12)
    found["Components"][0] |= dict(lead_time=2)
    found["Stock"][0] |= dict(quantity=100)
    plan, out = light_plan(tmp_path / "short.xlsx", found), tmp_path / "orders.csv"
    for _ in range(2):  # its own file with the same columns is replaced
        forecast_file(plan, draws=10, what_if=False, upload=out, columns="item, quantity")
    with pytest.raises(
        FileError, match=r'other columns than are written now .its columns are "item,quantity"'
    ):
        forecast_file(plan, draws=10, what_if=False, upload=out, columns="item, quantity, due date")


def test_what_happened_is_judged_by_the_stock_and_builds_that_are_given(late, tmp_path, capsys):
    """Lot S7 stands in the file of stock alone, and 9 parts of the shift in the file of builds alone."""
    (tmp_path / "stock.csv").write_text(
        "Material,Component,Lot,Quantity [mL],Expiry\n"
        "Bond 60,A,S7,900,2026-06-30\nBond 60,B,B1,900,2026-06-30\n"
    )
    (tmp_path / "builds.csv").write_text(f"Date,Shift,Part,Quantity\n{MONDAY},early,frame,9\n")
    happened = tmp_path / "happened.csv"
    happened.write_text(
        "What,Date,Time,Station,Part,Material,Component,Lot,Containers,Pieces\n"
        f"opened,{MONDAY},06:05,hem,,Bond 60,A,S7,1,\nmade,{MONDAY},10:00,hem,frame,,,,,9\n"
        f"opened,{MONDAY},06:05,hem,,Bond 60,B,B1,1,\n"
    )
    given = ["--stock", str(tmp_path / "stock.csv"), "--builds", str(tmp_path / "builds.csv")]
    at = ["--stamp", f"{MONDAY} 12:00"]
    assert main(["book", str(late), str(happened), "--dry-run", *at]) == 0
    plain = capsys.readouterr().out
    assert "lot S7" in plain and "neither in Stock" in plain and "3 are planned" in plain
    assert main(["book", str(late), str(happened), *given, *at]) == 0
    booked = capsys.readouterr().out
    assert "neither in Stock" not in booked and "are planned" not in booked
    assert main(["explain", str(late), *given, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert {row["Shifts"] for row in rows} == {1}  # of the nine that the plan itself has in these weeks
    assert main(["learn", str(late), *given]) == 0


def test_an_open_order_that_would_serve_sooner_is_named_before_a_new_one():
    """60 mL of B last until Tuesday; 5 containers of it are ordered for the second Wednesday.

    The next order would come on Monday the 9th at the soonest, which is too late: the open one is called to
    the day on which the stock is short, the 30 mL of Tuesday being more than the 54 − 30 that can be drawn.
    """
    found = kit_rows()
    for row in found["Components"]:
        row |= dict(kit="")
    open_order = dict(order="N-3", material="Bond 60", component="b", quantity=300, arrival=NEXT + 2 * DAY)
    found["Orders"] = [open_order]
    seen = forecast(make(found), 2, draws=10)
    table = seen.tables["decisions"].records()
    (pull,) = [row for row in table if row["What"] == "call sooner"]
    order = seen.components["Bond 60", "b"].orders[0]
    assert pull["Component"] == "Bond 60 B" and pull["Containers"] == 5
    wanted = MONDAY + DAY
    assert order.short_from == wanted < order.arrival
    days = (NEXT + 2 * DAY - wanted).days
    assert days > 0 and f"order N-3 comes Wed {NEXT + 2 * DAY}" in pull["Remark"]
    assert f"{days} days sooner" in pull["Remark"] and pull["Day"] == order.order_by
    # with it there on that day the next order is the one that the plan proposes once the new day is stated
    stated = found | {"Orders": [open_order | dict(arrival=wanted)]}
    then = forecast(make(stated), 2, draws=10).components["Bond 60", "b"].orders
    day = f"{then[0].order_by:%a} {then[0].order_by}"
    assert f"to order then: {then[0].containers} by {day}" in pull["Remark"]
    assert [(each.order_by, each.containers) for each in then] == [
        (each.order_by, each.containers) for each in seen.components["Bond 60", "b"].called.orders
    ]
    (short,) = [each for each in seen.findings if each.topic == "shortage"]
    assert f"call order N-3 to come by Tue {wanted}" in short.fix
    found["Orders"] = [open_order | dict(arrival=wanted)]  # there is none to call any more
    again = forecast(make(found), 2, draws=10)
    assert not [row for row in again.tables["decisions"].records() if row["What"] == "call sooner"]
    assert not [each for each in again.findings if each.topic == "shortage"]


@pytest.mark.parametrize("code", ["en", "de", "es"])
def test_where_nothing_is_to_be_ordered_the_open_order_that_comes_too_late_is_called(code):
    """60 mL of B last till Tuesday; 3 L come on the second Wednesday and serve for all these weeks.

    An order of today takes 20 days, so that nothing is to be ordered: the cure is the open order, called from
    Wednesday 11 March to Tuesday 3 March, 8 days by the calendar.
    """
    found = kit_rows()
    for row in found["Components"]:
        row |= dict(kit="", lead_time=20)
    open_order = dict(order="N-3", material="Bond 60", component="b", quantity=3000, arrival=NEXT + 2 * DAY)
    found["Orders"] = [open_order]
    seen = forecast(make(found), 2, draws=10)
    assert not seen.components["Bond 60", "b"].orders
    lines, (short,) = seen.headline(), [each for each in seen.findings if each.topic == "shortage"]
    assert lines[1] == "Call order N-3 of Bond 60 B to come by Tue 2026-03-03, 8 days sooner."
    assert "call order N-3 to come by Tue 2026-03-03, 8 days sooner" in short.fix
    (row,) = [row for row in seen.tables["decisions"].records() if row["What"] == "runs short"]
    assert row["Remark"].endswith("call order N-3 to come by Tue 2026-03-03, 8 days sooner")
    with printed_in(code) as spoken:
        assert "N-3" in translated(lines[1]) and "N-3" in translated(short.fix)
    assert not spoken.missing
    found["Orders"] = [open_order | dict(arrival=MONDAY + DAY)]
    assert not [each for each in forecast(make(found), 2, draws=10).findings if each.topic == "shortage"]
    found["Orders"] = []
    lines = forecast(make(found), 2, draws=10).headline()
    assert "Call order" not in " ".join(lines) and "No order is needed." not in lines


def test_orders_that_nobody_delivers_as_they_stand_are_named_with_their_cells():
    """A pack is two cans of 500 mL of A and three of 200 mL of B; a row of Orders each, by hand."""
    rows = hand_rows()
    for row, (size, pack) in zip(rows["Components"], ((500, 2), (200, 3)), strict=True):
        row |= dict(container=size, pack_multiple=pack, kit="set")
    material, friday = rows["Components"][0]["material"], datetime.date(2026, 5, 22)
    rows["Orders"] = [
        dict(order=order, material=material, component=letter, quantity=quantity, arrival=arrival)
        for order, letter, quantity, arrival in (
            ("whole", "a", 1000, friday),
            ("whole", "b", 600, friday),
            ("half", "a", 750, friday),
            ("part", "b", 400, friday),
            ("Saturday", "a", 1000, friday + datetime.timedelta(days=1)),
            ("Saturday", "b", 600, friday),
        )
    ]
    plan = make(rows)
    told = [each for each in plan_findings(plan) if each.topic == "odd order"]
    assert all(each.is_warning for each in told)
    cells = {plan.orders[number].at: number for number in range(6)}
    found = sorted((cells[f"Orders!A{each.cell[len('Orders!A') :]}"], each.text) for each in told)
    name = plan.component_words(material, "a")[:-1]
    assert found == sorted(
        [
            (2, f"order half has 0.75 packs of {name}A and 0 of {name}B: both are of kit set"),
            (2, f"order half of {name}A is 1.5 containers: no whole number"),
            (3, f"order part has 0.667 packs of {name}B and 0 of {name}A: both are of kit set"),
            (3, f"order part of {name}B is of 2 containers: sold in packs of 3"),
            (4, f"order Saturday of {name}A is to come on Sat 2026-05-23: no working day"),
        ]
    )
    rows["Holidays"] = [dict(date=friday, name="works outing")]
    told = [each.text for each in plan_findings(make(rows)) if "no working day" in each.text]
    assert len(told) == 6
