"""Today as a start: what stands at stations, told by plan, file and journal, is where playing begins.

Volumes and times are reckoned by hand beside each check, from the plan's own figures: a bead of 10 × 1 ×
1000 mm is 10 mL of mix, half of it A; nothing here is compared with what the program said before.
"""

from __future__ import annotations

import datetime
from dataclasses import replace
from io import BytesIO

import openpyxl
import pytest
from floor import place_of, type_in
from plans import hand_rows, make

from dispense.base.errors import InputError
from dispense.base.language import printed_in
from dispense.books.forecast import book_bytes
from dispense.books.plan import new_plan, write_plan
from dispense.cli import main
from dispense.forecast.model import forecast
from dispense.jobs.book import book_files
from dispense.jobs.fill import fill
from dispense.jobs.start import read_as_of, started
from dispense.journal.entries import COUNTED, EMPTIED, OPENED, RECEIVED, STANDS, Entry
from dispense.journal.learned import DIFFERS, Learned, Target
from dispense.journal.start import from_today
from dispense.journal.store import journal_path, read_journal
from dispense.journal.used import with_learned
from dispense.plan.checks import check_records
from dispense.plan.sources import NO_SOURCES
from dispense.sheets.material import shift_material_content
from dispense.sheets.staging import staging_content
from dispense.shift.play import play_plan
from dispense.shift.start import begun_by

MONDAY, TUESDAY = datetime.date(2026, 3, 2), datetime.date(2026, 3, 3)
WEDNESDAY = datetime.date(2026, 3, 4)
ML = 1_000_000  # nanolitres


def rows_of(**station):
    """A plan whose shift draws nothing but a start of 8 mL, a mixer of 10 mL and 10 mL a part."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(pot_life=600, open_time=600)
    rows["Stations"][0] |= dict(checks=0, end_volume=0) | station
    rows["Builds"] = [dict(date=day, shift="early", part="frame", quantity=20) for day in (MONDAY, TUESDAY)]
    return rows


def container(**cells):
    known = dict(what="container", date=TUESDAY, station="hem", component="a", lot="A1", left=40)
    return known | cells


def entry_of(kind, day, time, **facts):
    known = dict(shift="early", station="hem", material="Bond 60", component="a") | facts
    name = f"{kind}|{day}|{time}|{known.get('lot', '')}"
    return Entry(kind, name, "x.csv row 2", str(day), time=f"{day}T{time}:00", **known)


def begun(rows, entries=(), as_of=TUESDAY):
    return from_today(make(rows), entries, as_of)


def first_shift(rows, entries=(), as_of=TUESDAY):
    start = begun(rows, entries, as_of)
    return next(iter(play_plan(start.plan))), start


def test_a_container_that_stands_there_is_used_first():
    """40 mL with a heel of 5 % of 100 mL: 35 for use. Start and mixer take 9 of A, five parts 25, and what is
    left, 1 mL, does not make the sixth, so that it is changed between parts."""
    result, start = first_shift(rows_of() | {"Standing": [container()]})
    assert result.date == TUESDAY and start.plan.days() == [(TUESDAY, "early")]
    assert result.opening["a"] == 40 * ML and result.balance("a") == 0
    change = [event for event in result.events if event.kind == "container" and event.component == "a"]
    assert "1.0 mL left in the old one" in change[0].text
    # sixth part at a takt of 600 s: 50 min after 06:00
    assert result.used["a"]["rest"] == 1 * ML and 6 * 3600 + 2400 < change[0].clock <= 6 * 3600 + 3000
    (there,) = [item for item in result.taken_over if item.what.startswith("container A")]
    assert there.volume == 35 * ML


def test_hoses_are_full_where_a_container_stands_and_a_row_says_otherwise():
    rows = rows_of(hose_a=30)
    result, _ = first_shift(rows | {"Standing": [container()]})
    assert result.opening["a"] == (40 + 30) * ML
    result, _ = first_shift(rows | {"Standing": [container(), container(what="hose", lot="", left=12)]})
    assert result.opening["a"] == (40 + 12) * ML


def test_the_open_life_runs_from_the_day_the_container_was_opened():
    """Opened on Saturday and good for 2 days: on Tuesday it is thrown away, all 40 mL of it."""
    rows = rows_of()
    rows["Components"][0] |= dict(open_life=2)
    late, _ = first_shift(rows | {"Standing": [container(opened="2026-02-28")]})
    fresh, _ = first_shift(rows | {"Standing": [container(opened="2026-03-02")]})
    assert late.used["a"]["expired"] == 40 * ML and not fresh.used["a"]["expired"]


def two_visits(**row):
    rows = rows_of()
    rows["Materials"][0] |= dict(open_time=30)
    del rows["Beads"]
    pot = dict(pot="bed", part="frame", station="hem", shape="box", length=50, width=20, depth=20, level=10)
    rows["Pots"] = [pot]
    rows["Shots"] = [dict(part="frame", pot="bed", shot=1, portion=0.5)]
    rows["Shots"].append(dict(part="frame", pot="bed", shot=2, portion=0.5, wait=5))
    rows["Stations"][0] |= dict(flow=5)
    known = dict(what="half done", date=MONDAY, station="hem", part="frame", numbers="19-20", visits=1)
    return rows | {"Standing": [known | row]}


def test_parts_half_done_are_finished_first_and_lost_when_their_open_time_is_over():
    """Open for 30 min at the temperature it is stated at: begun at 05:50 of Tuesday there are 20 min left at
    06:00, begun at 05:20 none. A visit takes 1 s: 5 mL at 5 mL/s."""
    good, _ = first_shift(two_visits(begun="29:50", due="29:55"))  # 29:50 is 05:50 of the next day
    (job,) = good.jobs
    assert (job.taken, job.lost, job.taken_finished) == (2, 0, 2)
    told = [item for item in good.taken_over if item.part]
    assert told[0].numbers.startswith("19–20") and told[0].latest == pytest.approx(6 * 3600 + 20 * 60)
    lost, _ = first_shift(two_visits(begun="29:20", due="29:55"))
    assert (lost.jobs[0].taken, lost.jobs[0].lost) == (2, 2)
    by_limit, _ = first_shift(two_visits(latest="30:20", due="29:55"))  # the same told by its limit
    assert [item.latest for item in by_limit.taken_over if item.part] == pytest.approx([told[0].latest])


def test_when_something_was_begun_follows_from_its_limit():
    """Half of a life of two hours, over at 03:00: begun at 02:00. The rate is constant here."""
    assert begun_by(lambda start, share: start + 7200.0 * share, 3 * 3600.0, 0.5) == pytest.approx(2 * 3600.0)


def test_a_mixer_kept_closed_is_as_old_as_it_was_told():
    """Pot life 60 min, limit 60 %: put on at 05:40 it is good until 06:16, put on at 05:00 it is changed."""
    rows = rows_of(after_run="keep closed")
    rows["Materials"][0] |= dict(pot_life=60)
    mixer = dict(what="mixer", date=TUESDAY, station="hem")
    young, _ = first_shift(rows | {"Standing": [mixer | dict(begun="5:40")]})
    assert young.taken_over[0].latest == pytest.approx(6 * 3600 + 16 * 60)
    assert "go on with the mixer" in young.events[0].text or any(
        "go on with the mixer that was kept closed" in event.text for event in young.events
    )
    old, _ = first_shift(rows | {"Standing": [mixer | dict(begun="5:00")]})
    assert any("was good until 05:36" in event.text for event in old.events)


# ------------------------------------------------------------------------------ what is told where


def stands(day="2026-03-02", time="10:00:00", volume=60.0, **facts):
    known = dict(station="hem", material="Bond 60", component="a", lot="A1", value=volume, unit="mL")
    return Entry(STANDS, f"x|{day}|{time}", "x.csv row 2", day, "", f"{day}T{time}", **(known | facts))


def happened(kind, day, time, **facts):
    known = dict(station="hem", material="Bond 60", component="a", lot="A1")
    return Entry(kind, f"{kind}|{day}{time}", "x.csv row 3", day, "", f"{day}T{time}", **(known | facts))


def standing_a(rows, entries, as_of=TUESDAY):
    result, start = first_shift(rows, entries, as_of)
    return result.opening["a"] / ML, start


def aged(entries, standing=(), day=TUESDAY):
    """What is thrown away of A [mL] at an open life of 2 days: the day of opening and the day after it."""
    rows = rows_of()
    rows["Components"][0] |= dict(open_life=2)
    result, start = first_shift(rows | {"Standing": list(standing)}, entries, day)
    said = [item.text for item in start.findings if "was opened" in item.text]
    return result.used["a"]["expired"] / ML, said


def test_a_booked_opening_begins_the_open_life_of_what_is_told_to_stand_there():
    """60 mL of A1 stand at hem on Tuesday 05:30. Opened on Saturday 28 Feb and good for 2 days they may be
    used until Monday 2 March, counted on the calendar: all 60 are thrown away. Opened on Sunday they hold
    until Tuesday. Of openings by then the last counts, and none of another lot or station."""
    there = stands("2026-03-03", "05:30:00")
    saturday, sunday = (happened(OPENED, day, "06:00:00") for day in ("2026-02-28", "2026-03-01"))
    assert aged([saturday, there]) == (60.0, [])
    assert aged([there, replace(saturday, time="", lot="A0, A1", material="", component="")]) == (60.0, [])
    assert aged([saturday, sunday, there]) == aged([sunday, there]) == (0.0, [])
    table = container(time="5:30", left=60)
    assert aged([saturday], [table]) == (60.0, [])
    assert aged([saturday], [table | dict(opened=MONDAY)]) == (0.0, [])
    before = container(date=MONDAY, opened="2026-02-28")  # an earlier row of the same lot says it
    assert aged([there], [before]) == (60.0, [])
    for other in (dict(lot="A2"), dict(station="cap"), dict(component="b")):
        volume, said = aged([replace(saturday, **other), there])
        assert volume == 0.0
        assert [text for text in said if "lot A1 was opened: taken as opened on 2026-03-03" in text]


def test_the_later_statement_counts_whoever_made_it():
    table = {"Standing": [container(date=MONDAY, time="9:00")]}
    assert standing_a(rows_of() | table, [stands()])[0] == 60.0  # 10:00 is after 9:00
    assert standing_a(rows_of() | table, [stands(time="08:00:00")])[0] == 40.0
    assert standing_a(rows_of() | table, [stands(), stands(time="12:00:00", volume=20.0)])[0] == 20.0
    assert (
        standing_a(rows_of() | table, [stands("2026-03-03", "06:30:00")])[0] == 40.0
    )  # after 06:00: not yet
    half_past = datetime.datetime(2026, 3, 3, 5, 30)
    assert standing_a(rows_of() | table, [stands("2026-03-03", "05:20:00")], half_past)[0] == 60.0


def test_a_container_weighed_is_told_by_its_mass():
    """0.072 kg at 1.2 g/mL are 60 mL."""
    assert standing_a(rows_of(), [stands(value=0.072, unit="kg")])[0] == pytest.approx(60.0)


def test_what_was_emptied_or_opened_since_stands_there_no_more_and_is_named():
    gone, start = standing_a(rows_of(), [stands(), happened(EMPTIED, "2026-03-02", "11:00:00")])
    assert gone == 0.0 and not [item for item in start.findings if "opened" in item.text]
    gone, start = standing_a(rows_of(), [stands(), happened(OPENED, "2026-03-02", "11:00:00", lot="A2")])
    (told,) = [item for item in start.findings if "not told what is left" in item.text]
    assert gone == 0.0 and "A2" in told.text and "2026-03-02 11:00" in told.text
    kept, _ = standing_a(rows_of(), [stands(), happened(OPENED, "2026-03-02", "09:00:00")])
    assert kept == 60.0


@pytest.mark.parametrize(
    "entry, words",
    [
        (stands(station="nowhere", material=""), 'no station "nowhere"'),
        (stands(volume=101.0), "more than a container holds"),
        (stands(lot=""), "lot of the container must be told"),
        (stands(part="frame", text="half done; numbers 3; visits 1"), "visits at hem in all"),
        (stands(part="frame", text="to be mated; numbers three"), "numbers of parts are meant"),
    ],
)
def test_what_cannot_stand_there_is_named_and_left_out(entry, words):
    volume, start = standing_a(rows_of(), [entry])
    (told,) = [item for item in start.findings if "left out" in item.text]
    assert words in told.text and told.is_warning and volume == 0.0


def test_a_station_of_which_nothing_is_told_since_its_last_shift_is_named():
    _, start = standing_a(rows_of(), [stands(time="09:00:00")])  # the shift ended at 10:00
    assert any("before 2026-03-02 early ended" in item.text for item in start.findings)
    _, start = standing_a(rows_of(), [stands()])
    assert not [item for item in start.findings if "ended" in item.text]
    _, start = standing_a(rows_of(), [])
    # of each station by itself, so that its sheet can say it
    (told,) = [item for item in start.findings if "nothing is told of what stands there" in item.text]
    assert told.station == "hem"


def on_sheets(rows, entries=(), as_of=TUESDAY, language="en"):
    """The warnings of the material sheets by day, those of the staging sheets, and what has no words."""
    plan = begun(rows, entries, as_of).plan
    results = list(play_plan(plan))
    with printed_in(language) as spoken:
        material = {
            item.date: " ".join(
                row["warning"] for row in shift_material_content(plan, item, "").tables["MaterialWarnings"]
            )
            for item in results
        }
        staging = {
            item.date: " ".join(
                f"{row['station']} {row['warning']}"
                for row in staging_content(plan, [item], "").tables["StagingWarnings"]
            )
            for item in results
        }
    return material, staging, list(spoken.missing)


def three_days(**station):
    rows = rows_of(**station)
    rows["Validity"] = [dict(station="hem", what="scrap", value="1 %", valid_from=TUESDAY)]
    rows["Builds"].append(rows["Builds"][0] | dict(date=WEDNESDAY))
    return rows


@pytest.mark.parametrize("code", ["en", "de", "es"])
def test_what_is_to_be_looked_at_stands_on_the_sheets_of_its_station_and_shift(code):
    """Of the first shift from today on, that of stock on the staging sheet; each text has its words."""
    gone = entry_of(OPENED, MONDAY, "07:00", lot="A1", count=1)
    came = entry_of(RECEIVED, MONDAY, "07:00", lot="B2", component="b", station="", count=1)
    left_out = entry_of(STANDS, MONDAY, "10:00", lot="", value=10.0, unit="mL", text="container")
    no_lot = entry_of(COUNTED, MONDAY, "05:00", lot="", station="", value=10.0, unit="mL")
    rows = three_days()
    rows["Stock"].append(rows["Stock"][0] | dict(lot="A9", arrival=MONDAY))
    material, staging, missing = on_sheets(rows, [gone, came, left_out, no_lot], language=code)
    assert missing == []
    if code != "en":
        return
    for words in (
        "lot A1 of A was opened 2026-03-02 07:00",
        "what stands at hem is left out",
        "must be told",
    ):
        assert words in material[TUESDAY] and words in staging[TUESDAY]
        assert words not in material[WEDNESDAY] and words not in staging[WEDNESDAY]
    assert "taken as empty" not in material[TUESDAY]  # it is told what cannot be believed
    for words in ("A lot A9 was due on 2026-03-02", "names no lot: left out", "none is counted since"):
        assert words in staging[TUESDAY] and words not in material[TUESDAY]
        assert words not in staging[WEDNESDAY]


def test_an_order_that_is_late_stands_on_the_staging_sheet_once():
    rows = three_days()
    order = dict(order="P7", material="Bond 60", component="a", quantity=500, lot="A9", arrival=MONDAY)
    rows["Orders"] = [order]
    came = entry_of(RECEIVED, MONDAY, "07:00", lot="B2", component="b", station="", count=1)
    for code, words in (("en", "order P7 of Bond 60 A was due"), ("de", "Bestellung P7 von Bond 60 A war")):
        material, staging, missing = on_sheets(rows, [came], language=code)
        assert words in staging[TUESDAY] and words not in staging[WEDNESDAY] + material[TUESDAY]
        assert missing == [] and "A9 was due" not in staging[TUESDAY]


def test_a_delivery_is_missed_only_where_receipts_are_booked():
    rows = rows_of()
    rows["Stock"].append(rows["Stock"][0] | dict(lot="A9", arrival=MONDAY))
    came = entry_of(RECEIVED, MONDAY, "07:00", lot="A9", station="", count=1)
    other = entry_of(RECEIVED, MONDAY, "07:00", lot="A1", station="", count=1)
    for entries, is_told in (([], False), ([other], True), ([other, came], False)):
        told = [item for item in begun(rows, entries).findings if item.topic == "not received"]
        assert bool(told) is is_told
    today = rows["Stock"][-1] | dict(arrival=TUESDAY)  # it may come yet
    rows["Stock"][-1] = today
    assert not [item for item in begun(rows, [other]).findings if item.topic == "not received"]


def test_a_station_of_which_nothing_is_told_says_so_on_its_sheet():
    material, staging, missing = on_sheets(three_days(), language="de")
    assert "als leer angenommen" in material[TUESDAY] and "als leer angenommen" in staging[TUESDAY]
    assert "als leer angenommen" not in material[WEDNESDAY] and missing == []
    plan = make(three_days())  # without a day of today nothing is asked
    first = next(iter(play_plan(plan)))
    rows = shift_material_content(plan, first, "").tables["MaterialWarnings"]
    assert rows == [{"warning": "no warning"}]


def test_a_container_that_is_too_old_stands_among_the_warnings():
    """Opened on Saturday and good for 2 days: 40 mL are thrown away on Tuesday; both sheets say so."""
    rows = three_days()
    rows["Components"][0] |= dict(open_life=2)
    rows["Standing"] = [container(opened="2026-02-28")]
    for code, words in (
        ("en", "the open container of Bond 60 A lot A1 may not be used: last day was 2026-03-02 (40 mL)"),
        ("de", "das offene Gebinde von Bond 60 A Charge A1 darf nicht verwendet werden"),
    ):
        material, staging, missing = on_sheets(rows, language=code)
        assert words in material[TUESDAY].replace("    ", " ") and words in staging[TUESDAY]
        assert words not in material[WEDNESDAY] and missing == []


def test_a_container_of_the_material_before_is_taken_off():
    """Old is connected in the morning of the change-over; New that stands there after it is used."""
    rows = rows_of(hose_a=30, hose_b=20)
    rows["Materials"].append(rows["Materials"][0] | dict(material="Bond 15"))
    rows["Components"] += [row | dict(material="Bond 15") for row in rows["Components"]]
    rows["Stock"] += [row | dict(material="Bond 15", quantity=5000) for row in rows["Stock"]]
    rows["Validity"] = [dict(station="hem", what="material", value="Bond 15", valid_from=TUESDAY)]
    rows["Builds"].append(rows["Builds"][0] | dict(date=WEDNESDAY))
    result, _ = first_shift(rows | {"Standing": [container()]})
    assert result.material.material == "Bond 15" and result.opening["a"] == 0
    (taken,) = [event for event in result.events if event.kind == "change over"]
    assert "take off Bond 60 A lot A1, 40 mL left" in taken.text
    standing = container(date=TUESDAY, time="10:05", material="Bond 15")
    result, _ = first_shift(rows | {"Standing": [standing]}, as_of=WEDNESDAY)
    assert result.opening["a"] == (40 + 30) * ML


@pytest.mark.parametrize(
    "row, column",
    [
        (container(left=101), "more than a container holds"),
        (container(left=None), "left in the container"),
        (container(station=""), "needs its station"),
        (container(component="b", lot=""), "lot of the container"),
        (dict(what="mixer", date=TUESDAY, station="hem", nozzle=2), "nozzles"),
        (dict(what="to be mated", date=TUESDAY, station="hem", part="frame", numbers="x"), "5-8, 12"),
    ],
)
def test_a_row_that_cannot_be_is_a_problem_of_the_plan(row, column):
    plan = make(rows_of())
    good = make(rows_of() | {"Standing": [container()]})
    assert not check_records(good)
    with pytest.raises(InputError) as error:
        make(rows_of() | {"Standing": [row]})
    assert column in str(error.value) and "Standing" in str(error.value)
    assert not plan.standing


def test_builds_before_a_moment_are_history():
    rows = rows_of()
    rows["Shifts"].append(dict(shift="late", start="14:00", end="18:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=3))
    assert begun(rows, as_of=MONDAY).plan.days() == [(MONDAY, "early"), (MONDAY, "late"), (TUESDAY, "early")]
    noon = datetime.datetime(2026, 3, 2, 12)
    assert begun(rows, as_of=noon).plan.days() == [(MONDAY, "late"), (TUESDAY, "early")]
    assert read_as_of("2026-03-02 12:00") == noon and read_as_of("2026-03-02") == MONDAY
    with pytest.raises(InputError, match="2026-03-02 14:00"):
        read_as_of("yesterday")


def test_opened_containers_leave_a_counted_lot():
    """Ten containers of 100 mL counted at 05:00, two opened after: 800 mL."""
    count = happened(COUNTED, "2026-03-02", "05:00:00", count=10)
    since = [happened(OPENED, "2026-03-02", f"0{hour}:00:00", count=1) for hour in (4, 6, 8)]
    plan = begun(rows_of(), [count, *since]).plan
    assert [row.quantity for row in plan.stock if row.lot == "A1"] == pytest.approx([800e-6])
    unknown = begun(rows_of(), since)
    assert [row.quantity for row in unknown.plan.stock if row.lot == "A1"] == pytest.approx([1000e-6])
    assert any("A1 were opened and none is counted" in item.text for item in unknown.findings)


# --------------------------------------------------------------------------------------- forecast


def test_the_forecast_begins_with_what_stands_there():
    """A needs 20 parts × 5 mL and 9 mL to start: 109. 97 of it stand there for use with the last lot of 100,
    95 for use: 192 in all, so that it lasts for Tuesday and not for Wednesday."""
    rows = rows_of()
    rows["Builds"].append(dict(date="2026-03-04", shift="early", part="frame", quantity=20))
    rows["Stock"][0] |= dict(quantity=100)
    told = rows | {"Standing": [container(left=100)]}
    with_it = forecast(begun(told).plan, 1, draws=10, as_of=TUESDAY)
    without = forecast(begun(rows).plan, 1, draws=10, as_of=TUESDAY)
    key = ("Bond 60", "a")
    assert without.components[key].runs_out == TUESDAY
    assert with_it.components[key].runs_out == datetime.date(2026, 3, 4)
    for lots in with_it.walk.lots.values():
        assert all(lot.balance == 0 for lot in lots)
    assert sum(lot.opening for lot in with_it.walk.lots[key]) == 200 * ML


def test_a_container_open_for_too_long_is_no_stock_of_the_forecast():
    """40 of 1040 mL stand open since Saturday, good for 2 days till Monday: 1000 mL may be used on Tuesday.
    Open since Sunday they hold over Tuesday: 1040 mL. The sheet throws away what does not count here."""
    rows = rows_of()
    rows["Components"][0] |= dict(open_life=2)
    rows["Stock"][0] |= dict(quantity=1000)
    for opened, here in (("2026-02-28", 1000.0), ("2026-03-01", 1040.0)):
        plan = begun(rows | {"Standing": [container(opened=opened)]}).plan
        found = forecast(plan, 1, draws=10, as_of=TUESDAY)
        stock = {row["Component"]: row["In stock [mL]"] for row in found.tables["components"].records()}
        assert stock["Bond 60 A"] == here
        thrown = next(iter(play_plan(plan))).used["a"]["expired"] / ML
        assert here + thrown == 1040.0
        causes = {row["Component"]: row["Expired"] for row in found.tables["causes"].records()}
        assert not causes["Bond 60 A"]  # it was too old before: no loss of these days
        told = [item.text for item in found.findings if item.topic == "expired lot"]
        assert len(told) == (thrown > 0.0) and all(
            "open container of Bond 60 A lot A1" in text for text in told
        )
        assert all(lot.balance == 0 for lots in found.walk.lots.values() for lot in lots)


def test_an_opened_container_in_store_counts_with_its_own_last_day():
    rows = rows_of()
    rows["Components"][0] |= dict(open_life=1)
    rows["Stock"][0] |= dict(quantity=0)
    opened = dict(what="in store", date=TUESDAY, material="Bond 60", component="a", lot="A1", left=80)
    fresh, _ = first_shift(rows | {"Standing": [opened]})
    stale, _ = first_shift(rows | {"Standing": [opened | dict(opened="2026-03-01")]})
    use = [item.volume for item in fresh.lots if item.component == "a" and not item.is_missing]
    assert use == [80 * ML] and not [
        item for item in stale.lots if item.component == "a" and not item.is_missing
    ]


# ------------------------------------------------------------------------------- from filled sheets


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """The demo's first late shift at one station, its hand-over ticked and one volume corrected."""
    folder = tmp_path_factory.mktemp("start")
    plan = folder / "plan.xlsx"
    new_plan(plan, demo=True)
    fill(plan, folder / "sheets", date="2026-03-02", shift="Late", stations=["Hem robot"], stamp="s")
    sheet = folder / "sheets" / "2026-03-02_Late" / "Hem_robot_material.xlsx"
    tab, first = place_of(sheet, "MaterialHandover", "What")
    book = openpyxl.load_workbook(sheet)
    rows = [
        [cell.value for cell in row]
        for row in book[tab].iter_rows(min_row=book[tab][first].row, max_row=book[tab][first].row + 5)
    ]
    handed = [row[0] == "handed over" for row in rows]
    type_in(sheet, "MaterialHandover", "Done", ["x" if each else None for each in handed])
    place = handed.index(True)
    type_in(sheet, "MaterialHandover", "Volume", [None] * place + [123.0])
    book_files(plan, [sheet], stamp="2026-03-02 22:10")
    return plan


def test_yesterdays_filled_sheets_are_where_the_next_morning_begins(desk):
    """The sheet said 123 mL for use of A after its first cell was typed over; the heel is 3 % of 620 mL."""
    entries = [item.entry for item in read_journal(journal_path(desk)).current().values()]
    told = {entry.component: entry for entry in entries if entry.kind == STANDS}
    assert told["a"].value == pytest.approx(123.0 + 0.03 * 620.0)
    assert told["a"].time == "2026-03-02T22:00:00" and told["a"].lot == "HA-0911"
    plan = started(replace_builds(desk), desk, NO_SOURCES, "2026-03-03").plan
    result = next(
        item for item in play_plan(plan, until=(TUESDAY, "Early")) if item.station.station == "Hem robot"
    )
    station = plan.station("Hem robot")
    hose = round(station.hose_a * 1e12)
    assert result.opening["a"] == round((123.0 + 18.6) * ML) + hose
    there = [item.what for item in result.taken_over]
    assert "container A lot HA-0911" in there and "container B lot HB-0830" in there


def replace_builds(path):
    """The plan of a file with the builds of the first station alone, so that little is played."""
    from dispense.plan.read import load_plan

    plan = load_plan(path)
    return replace(plan, builds=[row for row in plan.builds if row.date <= TUESDAY])


def test_a_forecast_tells_a_note_once_with_its_stations():
    rows = rows_of()
    rows["Stations"].append(rows["Stations"][0] | dict(station="cap"))
    rows["Beads"].append(rows["Beads"][0] | dict(bead="top", station="cap"))
    start = begun(rows)
    found = forecast(start.plan, 1, draws=10, as_of=TUESDAY)
    found.findings = [*start.findings, *found.findings]
    (words,) = [words for words in found.notes if "taken as empty" in words]
    assert words.startswith("hem, cap: nothing is told of what stands there")


def test_commands_say_what_they_begin_with(desk, capsys):
    assert main(["check", str(desk), "--as-of", "2026-03-03"]) == 0
    said = capsys.readouterr().out
    assert "Begins 2026-03-03 06:00 with 2 things that stand there (2 by the journal)" in said
    assert "nothing is told of" in said
    assert main(["check", str(desk), "--as-of", "March"]) == 1


# -------------------------------------------------------------------------------- learned figures


def learned(quantity, subject, value, verdict=DIFFERS, planned=1.0):
    target = Target("Stations", (subject,), "scrap")
    return Learned(
        quantity, subject, "%", planned, value, value * 0.9, value * 1.1, verdict=verdict, target=target
    )


def test_a_forecast_counts_on_learned_figures_and_says_so():
    """Scrap of 5 % of what is started: beside 400 mL on 40 good parts 400·0.05/0.95 mL are thrown away."""
    plan = make(rows_of())
    values = [
        learned("scrap", "hem", 5.0),
        learned("purges", "hem", 250.0, "noise", 100.0),
        learned("demand spread", "all", 12.0, planned=0.0),
        learned("density", "Bond 60/A", 1.3),
    ]
    chosen = with_learned(plan, values, ["all"])
    assert [item.quantity for item in chosen.figures] == ["scrap", "demand spread"]
    assert "scrap of hem 5.00 % (95 %: 4.50 to 5.50, plan 1.00)" in chosen.words
    assert chosen.plan.settings["demand_spread"] == pytest.approx(0.12) and not plan.settings["demand_spread"]
    use = forecast(chosen.plan, 1, draws=10).components["Bond 60", "a"].use
    assert use["parts"] == 200 * ML and use["scrap"] == pytest.approx(200 * ML * 0.05 / 0.95, abs=2)
    found = forecast(chosen.plan, 1, draws=10)
    found.learned = chosen.words
    sheet = openpyxl.load_workbook(BytesIO(book_bytes(found))).worksheets[0]
    printed = [cell.value for line in sheet.iter_rows(max_row=12) for cell in line]
    assert chosen.words in printed and chosen.words in found.headline()
    with pytest.raises(InputError, match="dispense learn PLAN"):
        with_learned(plan, values, ["density:Bond 60/A"])


def test_purges_are_counted_as_many_times_as_learned():
    """A mixer of 40 mL lasts four parts of 10 min, its limit is 0.6 of 30 min: it is purged, and what is
    purged is counted 2.5 times. So is a mixer changed after a break, not the one put on as a run begins."""
    rows = rows_of(mixer_volume=40)
    rows["Materials"][0] |= dict(pot_life=30)
    plan = make(rows)
    more = with_learned(plan, [learned("purges", "hem", 250.0, planned=100.0)], ["purges:hem"]).plan
    before, after = (forecast(each, 1, draws=10).components["Bond 60", "a"].use for each in (plan, more))
    assert before["purge"] > 0 and after["purge"] == pytest.approx(2.5 * before["purge"], abs=4)
    assert all(after[cause] == before[cause] for cause in ("parts", "start"))
    # 20 mL of A a mixer: the first of each of two days, and one after the break of each
    assert (before["mixers"], after["mixers"]) == (80 * ML, (2 * 20 + 2.5 * 2 * 20) * ML)


def workbook(path, rows):
    """Raw rows as a plan workbook."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in rows.items():
        sheet = book.create_sheet(name)
        heads = list(dict.fromkeys(key for row in table for key in row))
        sheet.append([each.replace("_", " ").capitalize() for each in heads])
        for row in table:
            sheet.append([row.get(head) for head in heads])
    book.save(path)


def test_a_morning_after_a_ticked_hand_over_is_that_of_a_night_without_news(tmp_path):
    """Half done parts, a closed mixer, containers: ticked as printed, counted and booked, the next shift must
    follow from the first as if nothing were told. Sheets print whole seconds: times may be half one off."""
    rows = two_visits()
    del rows["Standing"]
    rows["Stations"][0] |= dict(after_run="keep closed", mating_delay=5)
    rows["Materials"][0] |= dict(open_time=900, pot_life=1200)
    rows["Shots"][1]["wait"] = 45
    rows["Shifts"].append(dict(shift="late", start="10:30", end="14:00"))
    rows["Builds"] = [
        dict(date=MONDAY, shift=shift, part="frame", quantity=12) for shift in ("early", "late")
    ]
    rows["Stations"][0]["takt"] = 900
    path = tmp_path / "plan.xlsx"
    workbook(path, rows)
    before, after = play_plan(make(rows))
    fill(path, tmp_path / "out", date=MONDAY.isoformat(), shift="early", stamp="s")
    sheet = next((tmp_path / "out").rglob("hem_material.xlsx"))
    tab, first = place_of(sheet, "MaterialHandover", "Way")
    book = openpyxl.load_workbook(sheet)
    top = book[tab][first]
    ways = [top.offset(row=place).value for place in range(12)]
    type_in(sheet, "MaterialHandover", "Done", ["x" if way == "handed over" else None for way in ways])
    counts = tmp_path / "counts.csv"
    lines = ["What,Date,Time,Material,Component,Lot,Volume [mL]"]
    for row in rows["Stock"]:  # what is still in store is what was not put on
        letter, lot = row["component"], row["lot"]
        taken = sum(use.volume for use in before.lots if (use.component, use.lot) == (letter, lot))
        lines.append(
            f"counted,2026-03-02,10:10,Bond 60,{letter.upper()},{lot},{row['quantity'] - taken / ML:.6f}"
        )
    counts.write_text("\n".join(lines) + "\n")
    booked = book_files(path, [sheet, counts], stamp="2026-03-02 10:20")
    assert not any(item.reading.unread for item in booked.files)
    told = started(make(rows), path, NO_SOURCES, "2026-03-02 10:30")
    (again,) = play_plan(told.plan)
    assert any(item.what.startswith("half done") for item in after.taken_over)
    assert any(item.what == "mixer, closed" for item in after.taken_over)
    for ours, carried in zip(again.taken_over, after.taken_over, strict=True):
        assert (ours.what, ours.part, ours.numbers, ours.count) == (
            carried.what,
            carried.part,
            carried.numbers,
            carried.count,
        )
        assert abs((ours.latest or 0) - (carried.latest or 0)) <= 1.0
        assert abs(ours.volume - carried.volume) <= 1000  # sheets print millilitres to six digits
    for letter in "ab":
        for cause, volume in after.used[letter].items():
            assert again.used[letter][cause] == pytest.approx(volume, abs=2000), (letter, cause)
    assert [(job.part, job.taken, job.finished, job.lost) for job in again.jobs] == [
        (job.part, job.taken, job.finished, job.lost) for job in after.jobs
    ]
    assert not [item for item in told.findings if item.is_warning]


def test_a_build_of_another_year_is_left_out_of_sheets_as_of_a_forecast(tmp_path, capsys):
    """A mistyped year would open containers seven years ago, which all sheets then throw away."""
    rows = rows_of()
    plain = fill(write_plan(rows, tmp_path / "plain.xlsx"), tmp_path / "plain", stamp="s")
    rows["Builds"].append({**rows["Builds"][0], "date": datetime.date(2019, 3, 4)})
    path = write_plan(rows, tmp_path / "plan.xlsx")
    found = fill(path, tmp_path / "out", stamp="s")
    named = [item for item in found.findings if item.topic == "history"]
    assert [item.day for item in named] == [datetime.date(2019, 3, 4)]
    for mine, theirs in zip(plain.files, found.files, strict=True):
        assert mine.relative_to(tmp_path / "plain") == theirs.relative_to(tmp_path / "out")
        if "staging" in mine.name or "material" in mine.name:
            assert mine.read_bytes() == theirs.read_bytes()
    with pytest.raises(InputError, match="must be a day with builds"):
        fill(path, tmp_path / "asked", date="2019-03-04", stamp="s")
    assert main(["check", str(path)]) == 0 and "2019-03-04" in capsys.readouterr().out
