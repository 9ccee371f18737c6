"""When parts may be moved, joined and tested: one answer on the cure board and in the cure report.

Expected values by hand, or by stepping the law in this file (Magnus form of D. Sonntag 1990 and
Arrhenius' law, written anew); nothing of the project's clocks is used for them.
"""

from __future__ import annotations

import datetime
import math
import subprocess
from pathlib import Path
from shutil import which

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import MONDAY, hand_rows, make
from test_moisture import HOUR, board_hours, interpolated, law, moisture_rows
from test_sheets import named, table_rows

from dispense.base.clock import hhmm
from dispense.base.findings import NOTE, QUALITY
from dispense.books.plan import write_plan
from dispense.jobs.fill import fill
from dispense.plan.slips import slips
from dispense.plan.weather import Weather
from dispense.reports.cure import cure_report, moisture_report
from dispense.reports.day import life_day
from dispense.reports.runs import room_runs
from dispense.sheets.board import batch_words, board_headline, cure_board_content
from dispense.sheets.setup import station_setup_content
from dispense.shift.cure_times import slowest_place
from dispense.shift.findings import batch_findings
from dispense.shift.play import play_plan
from dispense.shift.results import numbers_text
from dispense.shift.setup import setup_card
from dispense.shift.windows import latest_times

STAMP = "2026-03-01 12:00"


def stepped(rows, energy, start, needed, step=0.02):
    """Hours on the clock at which so many hours at the reference have been had, in steps of 72 s."""
    spent, at = 0.0, start
    while spent < needed:
        rate = law(*interpolated(rows, at + step / 2), energy)
        if spent + rate * step > needed:
            return at + (needed - spent) / rate
        spent, at = spent + rate * step, at + step
    return at


# -------------------------------------------------------------------------------------- moisture


def test_later_of_depth_and_data_sheet_counts():
    rows = moisture_rows(move_time=60, test_time=2400)
    rows["Beads"][0] |= dict(section="half-round", width=6, height=None)
    assert board_hours(rows) == pytest.approx(40.0, rel=1e-9)  # 25 h of depth, 40 h of the data sheet
    rows["Materials"][0]["test_time"] = 600
    assert board_hours(rows) == pytest.approx(25.0, rel=1e-9)
    del rows["Materials"][0]["test_time"]
    rows["Materials"][0]["join_time"] = 1800  # nothing is tested before it may be loaded
    assert board_hours(rows) == pytest.approx(30.0, rel=1e-9)


def test_humidity_and_temperature_move_handling_and_depth():
    rows = moisture_rows(move_time=60)
    rows["Beads"][0] |= dict(section="half-round", width=6, height=None)

    def hours(**station):
        rows["Stations"][0].update(station)
        batch = next(play_plan(make(rows))).batches[0]
        return [(batch.milestones[name] - batch.ended) / HOUR for name in ("move", "test")]

    assert hours(humidity=0.5) == pytest.approx([1.0, 25.0], rel=1e-9)
    assert hours(humidity=0.25) == pytest.approx([2.0, 50.0], rel=1e-9)  # half the water, by hand
    cold = law(10.0, 0.25, 0.0)
    assert hours(shop_temperature=10) == pytest.approx([1 / cold, 25 / cold], rel=1e-8)
    rows["Materials"][0]["moisture_energy"] = 30
    colder = law(10.0, 0.25, 30e3)
    assert colder < cold and hours() == pytest.approx([1 / colder, 25 / colder], rel=1e-8)


def test_dry_air_is_said_never_to_cure(tmp_path):
    rows = moisture_rows(move_time=60)
    rows["Stations"][0]["humidity"] = 0
    plan = make(rows)
    content = cure_board_content(plan, next(play_plan(plan)), STAMP)
    row = content.tables["CureBatches"][0]
    assert row["move"] is None and row["test"] is None
    assert row["note"].startswith("▲ never cured: the air holds no water")
    assert content.values["headline"] == "▲ Not one batch may be moved: see its note"
    assert "never: the air holds no water" in cure_report(plan, "hem").as_text()


def test_a_record_without_humidity_takes_that_of_the_station():
    rows = moisture_rows(move_time=60)
    rows["Stations"][0].update(record="Hall", humidity=0.25)
    rows["Temperatures"] = [dict(record="Hall", time="06:00", temperature=23)]
    batch = next(play_plan(make(rows))).batches[0]
    assert batch.milestones["move"] - batch.ended == pytest.approx(2 * HOUR)
    rows["Temperatures"][0]["humidity"] = "100 %"
    batch = next(play_plan(make(rows))).batches[0]
    assert batch.milestones["move"] - batch.ended == pytest.approx(0.5 * HOUR)


def test_report_is_of_moisture_cure_only_and_says_so():
    rows = moisture_rows(move_time=60)
    rows["Materials"][0]["cure"] = "room"
    report = cure_report(make(rows), "hem")
    assert report.moisture is None
    assert any("moisture coefficient is not used" in words for words in report.notes)


HALF_HOURS = st.integers(0, 47).map(lambda place: place / 2)
WEATHER = st.dictionaries(HALF_HOURS, st.tuples(st.floats(2, 40), st.floats(0.2, 1)), min_size=1, max_size=4)


@settings(max_examples=25, deadline=None)
@given(
    weather=WEATHER,
    energy=st.sampled_from([None, 25.0, 60.0]),
    width=st.floats(1.5, 5),
    section=st.sampled_from(["round", "half-round", "fillet", "mitre"]),
    move=st.floats(10, 600),
    test=st.one_of(st.none(), st.floats(700, 4000)),
)
def test_board_and_report_agree_on_any_day(weather, energy, width, section, move, test):
    weather = {at: (round(celsius, 3), round(share, 4)) for at, (celsius, share) in weather.items()}
    rows = moisture_rows(
        move_time=round(move, 3), moisture_energy=energy, test_time=None if test is None else round(test, 3)
    )
    rows["Beads"][0] |= dict(section=section, width=round(width, 3), height=None)
    rows["Stations"][0].update(record="Hall", batch=3)
    rows["Temperatures"] = [
        dict(record="Hall", time=f"{int(at)}:{60 * (at % 1):02.0f}", temperature=celsius, humidity=share)
        for at, (celsius, share) in weather.items()
    ]
    plan = make(rows)
    station, material = plan.station("hem"), plan.material("Bond 60")
    result = next(play_plan(plan))
    batch = result.batches[-1]
    day = life_day(plan, station, material, step=batch.ended - result.calendar.start)
    row = day.rows[1]
    assert row.clock == pytest.approx(batch.ended, abs=1e-6)
    for name in ("move", "test"):
        assert row.cured[name] == pytest.approx(batch.milestones[name], abs=1e-3), name
    # the need of the report, dispensed at its own time, is the row of the day at that time
    (need,) = moisture_report(plan, station, material).needed
    whole = {row.clock: row for row in life_day(plan, station, material).rows}
    assert need.start + need.time == pytest.approx(whole[need.start].cured["test"], abs=1e-3)
    assert need.time == pytest.approx(max(row.cured["test"] - clock for clock, row in whole.items()))
    # and an independent walk along the day
    record = sorted((at, *values) for at, values in weather.items())
    joules = (energy or 0.0) * 1e3
    start = batch.ended / HOUR
    moved = stepped(record, joules, start, round(move, 3) / 60)
    assert batch.milestones["move"] / HOUR == pytest.approx(moved, abs=0.02)
    deep = {"round": 1.0, "half-round": 0.5, "fillet": math.sqrt(2) - 1, "mitre": 1 / math.sqrt(2)}[section]
    full = max((round(width, 3) * deep / 0.6) ** 2, round(test or 0.0, 3) / 60, round(move, 3) / 60)
    tested = stepped(record, joules, start, full)
    assert batch.milestones["test"] / HOUR == pytest.approx(tested, abs=0.05, rel=1e-3)


# ------------------------------------------------------------------------------------------ room


@settings(max_examples=15, deadline=None)
@given(cold=st.floats(5, 22), hot=st.floats(23, 40), energy=st.sampled_from([None, 60.0]))
def test_room_cure_has_the_same_clock_times_in_report_and_on_board(cold, hot, energy):
    rows = hand_rows()
    rows["Materials"][0] |= dict(move_time=240, join_time=500, test_time=1440, activation_energy=energy)
    rows["Stations"][0].update(record="Hall", batch=2)
    rows["Temperatures"] = [
        dict(record="Hall", time="05:00", temperature=round(cold, 2)),
        dict(record="Hall", time="15:00", temperature=round(hot, 2)),
    ]
    plan = make(rows)
    station, material = plan.station("hem"), plan.material("Bond 60")
    batch = next(play_plan(plan)).batches[2]
    day = life_day(plan, station, material, step=batch.ended - 6 * HOUR)
    for name in ("move", "join", "test"):
        assert day.rows[1].cured[name] == pytest.approx(batch.milestones[name], abs=1e-3)
    whole = {row.clock: row for row in life_day(plan, station, material).rows}
    runs = room_runs(plan, station, material)
    assert len(runs) == 2
    for run in runs:
        for name, after in run.places[0].milestones.items():
            assert run.starts + after == pytest.approx(whole[run.starts].cured[name], abs=1e-3)
    # by trapezoid along the day: handling after 240 min at 23 °C
    times = np.arange(0.0, 40 * HOUR, 5.0)
    heat = np.interp((batch.ended + times) / HOUR, [5, 15], [cold, hot], period=24.0)
    rate = (
        2 ** ((heat - 23) / 10)
        if energy is None
        else np.exp(60e3 / 8.31446261815324 * (1 / 296.15 - 1 / (heat + 273.15)))
    )
    spent = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * 5.0)])
    moved = batch.ended + np.interp(240 * 60, spent, times)
    assert batch.milestones["move"] == pytest.approx(moved, abs=10.0)


def test_room_cure_looks_at_all_shifts_of_the_day():
    # coldest at 6:00, when the first shift starts, hottest at 15:00, in the second one
    rows = hand_rows()
    rows["Materials"][0] |= dict(move_time=240, test_time=1440)
    rows["Stations"][0].update(record="Hall")
    rows["Temperatures"] = [
        dict(record="Hall", time="05:00", temperature=15),
        dict(record="Hall", time="15:00", temperature=30),
    ]
    rows["Shifts"].append(dict(shift="late", start="14:00", end="22:00"))
    plan = make(rows)
    runs = room_runs(plan, plan.station("hem"), plan.material("Bond 60"))
    assert sorted(run.starts / HOUR for run in runs) == [6.0, 15.0]


def test_slowest_place_of_an_oven_by_its_lag():
    # air 25 °C rising 1 K/min for 55 min, then held: the lag equation in closed form, by hand
    rows = hand_rows()
    rows["Profiles"] = [
        dict(profile="belt", time=at, temperature=air) for at, air in ((0, 25), (55, 80), (85, 80))
    ]
    rows["Ovens"] = [
        dict(part="frame", station="hem", profile="belt", start_temperature=20, lag_fast=2, lag_slow=10)
    ]
    rows["Materials"][0] |= dict(cure="oven", cure_temperature=80)
    plan = make(rows)
    times, values = slowest_place(plan, plan.ovens[0])
    lag, minutes = 10.0, np.array(times) / 60.0
    ramp = 25 + minutes - lag + (20 - 25 + lag) * np.exp(-minutes / lag)
    top = 25 + 55 - lag + (20 - 25 + lag) * math.exp(-55 / lag)
    expected = np.where(minutes <= 55, ramp, 80 + (top - 80) * np.exp(-(minutes - 55) / lag))
    assert times[0] == 0.0 and times[-1] == 85 * 60.0 and np.all(np.diff(times) > 0)
    assert np.array(values) - 273.15 == pytest.approx(expected, abs=1e-6)
    assert max(np.diff(times)) <= 60.0 + 1e-9


def test_a_long_profile_is_cut_by_its_length_wherever_it_begins():
    # a week that begins a week late: 10,000 pieces of 60.48 s, by hand
    rows = hand_rows()
    rows["Profiles"] = [
        dict(profile="belt", time=at, temperature=air) for at, air in ((10_080, 25), (20_160, 80))
    ]
    rows["Ovens"] = [
        dict(part="frame", station="hem", profile="belt", start_temperature=20, lag_fast=2, lag_slow=10)
    ]
    rows["Materials"][0] |= dict(cure="oven", cure_temperature=80)
    plan = make(rows)
    times, _ = slowest_place(plan, plan.ovens[0])
    assert len(times) == 10_001 and times[1] - times[0] == pytest.approx(60.48, rel=1e-9)


def test_mean_of_a_day():
    # 10 °C at midnight and 30 °C at 18:00, linear between, back to midnight: by trapezoids
    # 18 h of 20 °C and 6 h of 20 °C
    weather = Weather([0.0, 18 * HOUR], [283.15, 303.15], [0.2, 0.6])
    assert weather.mean_temperature == pytest.approx(293.15, rel=1e-12)
    assert weather.mean_humidity == pytest.approx(0.4, rel=1e-12)
    # held at 30 °C from 6:00 to 18:00: 6 h and 6 h of 20 °C, 12 h of 30 °C
    held = Weather([0.0, 6 * HOUR, 18 * HOUR], [283.15, 303.15, 303.15], [0.5, 0.5, 0.5])
    assert held.mean_temperature == pytest.approx(298.15, rel=1e-12)
    assert held.mean_humidity == 0.5


# ------------------------------------------------------------------------------------------- ovens


def oven_rows(**material):
    rows = hand_rows()
    rows["Materials"][0] |= (
        dict(
            cure="oven",
            cure_temperature=150,
            activation_energy=75,
            move_time=5,
            join_time=10,
            test_time=20,
            open_time=None,
        )
        | material
    )
    rows["Profiles"] = [
        dict(profile="Belt", time=time, temperature=heat) for time, heat in ((0, 150), (40, 150), (55, 150))
    ]
    rows["Ovens"] = [dict(part="frame", station="hem", profile="Belt", start_temperature=150)]
    return rows


def test_nothing_is_allowed_while_the_part_is_in_the_oven():
    result = next(play_plan(make(oven_rows())))
    batch = result.batches[0]
    # 5, 10 and 20 min at 150 °C are over after 5, 10 and 20 min; the belt takes 55 min
    assert batch.ended == 7.5 * HOUR + 10
    assert set(batch.milestones.values()) == {batch.ended + 55 * 60}
    assert batch_words(batch, MONDAY) == "oven profile Belt from 07:30, out at 08:26"
    assert board_headline(result) == "Batch 1 may be moved at 08:26"


def test_what_the_oven_does_not_reach_is_named():
    plan = make(oven_rows(test_time=90))  # 55 min are not 90
    result = next(play_plan(plan))
    row = cure_board_content(plan, result, STAMP).tables["CureBatches"][0]
    assert row["test"] is None and row["join"] == datetime.datetime(2026, 3, 2, 8, 26)
    assert row["note"].startswith("▲ not reached in the oven: test")
    rows = oven_rows()
    rows["Ovens"] = []
    batch = next(play_plan(make(rows))).batches[0]
    assert all(at == math.inf for at in batch.milestones.values())
    assert batch_words(batch, MONDAY) == "▲ no oven is stated for this part"


def test_findings_of_cure():
    def found(rows):
        return [(item.kind, item.text) for item in batch_findings(next(play_plan(make(rows))))]

    assert found(oven_rows()) == []
    assert found(oven_rows(test_time=90)) == [
        (QUALITY, "frame: oven profile Belt does not reach the time to test")
    ]
    assert found(oven_rows() | {"Ovens": []}) == [
        (QUALITY, "frame: Bond 60 cures in an oven and none is stated")
    ]
    rows = moisture_rows(move_time=60)
    ((kind, text),) = found(rows)
    assert kind == NOTE and "rule of thumb" in text  # no activation energy is stated
    rows["Stations"][0]["humidity"] = 0
    assert found(rows)[0] == (QUALITY, "frame: Bond 60 never cures, the air holds no water")
    assert found(moisture_rows(move_time=60, moisture_energy=30)) == []


# ------------------------------------------------------------------------------------ mating


def late_rows(open_time=40, mating_delay=30):
    """The plan worked by hand, open time 40 min, mating 30 min of work after each part; break 8:00–8:30.

    A second break at 8:40 would make a part that is begun after the first one late too: nobody waits for it;
    and nobody stays into the break until half past eight.
    """
    rows = hand_rows()
    rows["Breaks"].append(dict(shift="early", start="08:40", end="08:50"))
    rows["Materials"][0].update(open_time=open_time)
    rows["Stations"][0].update(mating_delay=mating_delay)
    return rows


def test_the_row_of_a_batch_shows_its_late_part():
    # batch 2 is no. 11 (7:40) to 20. No. 12 is dispensed 7:50:00–7:50:10; 30 min of work later it is 9:00:10,
    # two breaks lie between; its open time ends at 8:30. All others have 40 min less 30 min and 10 s, no. 10
    # and 11 as the crew stays into the break until 8:10:10. The first to be mated is no. 11, begun 7:40 and
    # open until 8:20: who mates the batch by 8:30 mates it too late.
    plan = make(late_rows())
    result = next(play_plan(plan))
    content = cure_board_content(plan, result, STAMP)
    row = content.tables["CureBatches"][1]
    assert (row["part_numbers"], row["tightest_part"]) == ("11–20", 11)
    assert row["mate_before"] == datetime.datetime(2026, 3, 2, 8, 20)
    assert row["mates"] == datetime.datetime(2026, 3, 2, 8, 10, 10)
    assert row["note"] == "▲ mated too late: no. 12, by 31 min"  # 30 min 10 s, told upward
    assert content.values["headline"] == "▲ 1 part is mated too late: batch 2, frame no. 12"
    first = content.tables["CureBatches"][0]
    assert first["tightest_part"] == 1 and "▲" not in first["note"]


def test_a_row_on_time_means_that_every_part_is():
    rows = late_rows(20, 12)
    rows["Stations"][0].update(record="Hall", batch=7)
    rows["Temperatures"] = [
        dict(record="Hall", time="06:00", temperature=18),
        dict(record="Hall", time="10:00", temperature=33),
    ]
    result = next(play_plan(make(rows)))
    late = {serial for _, serial, *_ in result.late_mating}
    assert late
    for batch in result.batches:
        assert {mating.serial for mating in batch.late} == late & set(batch.serials)
        # as it gets hotter the last part has less time than the first one, whose time ends first all the same
        assert batch.tightest.serial == batch.first
        assert all(batch.mate_before <= mating.latest for mating in batch.late)


def test_no_part_is_mated_too_late_that_is_mated_by_the_time_of_its_batch():
    """Parts every 180 s from 6:00, open 42 min: of 12 a batch, no. 1 is begun 6:00 and open until 6:42, no.
    12 6:33 and until 7:15. Mated by 7:14 the first would be half an hour too late."""
    rows = late_rows(42, 12)
    rows["Stations"][0].update(takt=180, batch=12)
    rows["Breaks"] = []
    plan = make(rows)
    result = next(play_plan(plan))
    assert [batch.numbers for batch in result.batches[:2]] == ["1–12", "13–21"]
    for batch in result.batches:
        begun = 6 * 3600 + 180 * (batch.first - 1)
        assert (batch.tightest.serial, batch.mate_before) == (batch.first, pytest.approx(begun + 42 * 60))
    row = cure_board_content(plan, result, STAMP).tables["CureBatches"][0]
    assert (row["tightest_part"], row["mate_before"]) == (1, datetime.datetime(2026, 3, 2, 6, 42))


def test_the_latest_part_is_named_beside_the_first():
    rows = late_rows(20, 12)
    rows["Breaks"] = []
    rows["Stations"][0].update(record="Hall")
    rows["Temperatures"] = [
        dict(record="Hall", time="06:00", temperature=18),
        dict(record="Hall", time="10:00", temperature=33),
    ]
    result = next(play_plan(make(rows)))
    # as it gets hotter each part has less time than the one before, so the last is the latest
    _, serial, latest, actual = result.late_mating[-1]
    assert len(result.late_mating) > 1
    (finding,) = [item for item in result.findings if item.topic == "open time"]
    assert f"; worst frame no. {serial}, {(actual - latest) / 60:.0f} min late" in finding.text


def test_parts_that_are_done_out_of_order_keep_their_batch():
    # two stations' worth of waits: frames get a second shot 45 min later, lids come between
    rows = hand_rows()
    rows["Beads"] = []
    rows["Parts"] = [dict(part="frame"), dict(part="lid")]
    box = dict(station="hem", shape="box", length=100, width=50, depth=40, level=2)
    rows["Pots"] = [dict(pot="well", part=part, **box) for part in ("frame", "lid")]
    rows["Shots"] = [
        dict(part="frame", pot="well", shot=1, portion=0.5),
        dict(part="frame", pot="well", shot=2, portion=0.5, wait=45),
    ]
    rows["Stations"][0].update(flow=10, speed=None, takt=600, batch=5)
    rows["Breaks"] = []
    rows["Builds"] = [dict(date=MONDAY, shift="early", part=part, quantity=5) for part in ("frame", "lid")]
    result = next(play_plan(make(rows)))
    assert [(batch.part, batch.numbers) for batch in result.batches] in (
        [("frame", "1–5"), ("lid", "1–5")],
        [("lid", "1–5"), ("frame", "1–5")],
    )


def test_numbers_in_a_row_are_told_together():
    assert numbers_text([5]) == "5"
    assert numbers_text([2, 1]) == "1–2"
    assert numbers_text([9, 1, 2, 3, 7, 8]) == "1–3, 7–9"


# -------------------------------------------------------------------------------------- dates


def test_clock_times_of_another_day_tell_their_date():
    # 2 March 2026 is a Monday
    assert hhmm(23.99 * HOUR, MONDAY) == "23:59"
    assert hhmm(24 * HOUR, MONDAY) == "Tue 3 Mar 00:00"
    assert hhmm(8 * 86400 + 6 * HOUR + 46 * 60, MONDAY) == "Tue 10 Mar 06:46"
    assert hhmm(-HOUR, MONDAY) == "Sun 1 Mar 23:00"
    assert hhmm(365 * 86400.0, MONDAY) == "Tue 2 Mar 2027 00:00"  # a year on the day is told too


def test_texts_of_a_night_shift_tell_the_date():
    rows = late_rows()
    rows["Shifts"] = [dict(shift="early", start="22:00", end="30:00")]
    rows["Breaks"] = [
        dict(shift="early", start="24:00", end="24:30"),
        dict(shift="early", start="24:40", end="24:50"),
    ]
    plan = make(rows)
    result = next(play_plan(plan))
    content = cure_board_content(plan, result, STAMP)
    assert content.values["hours"] == "22:00–Tue 3 Mar 06:00"
    breaks = [event.text for event in result.events if event.kind == "break"]
    assert breaks == ["break until Tue 3 Mar 00:30", "break until Tue 3 Mar 00:50"]
    (window,) = [window for window in latest_times(result) if window.is_late]
    assert "ends at Tue 3 Mar 00:30, planned Tue 3 Mar 01:00" in window.text
    assert not any("+1" in words for words in result.warnings)
    rows["Materials"][0].update(open_time=None, move_time=8 * 1440, test_time=None)
    plan = make(rows)
    headline = board_headline(next(play_plan(plan)))
    assert headline == "Batch 1 may be moved at Tue 10 Mar 23:31"  # 23:30:10 on Monday and 8 days


@pytest.fixture(scope="module")
def late_sheets(tmp_path_factory):
    """Sheets of a night shift whose parts are tested days later."""
    folder = tmp_path_factory.mktemp("late")
    rows = late_rows()
    rows["Shifts"] = [dict(shift="early", start="22:00", end="30:00")]
    rows["Breaks"] = [
        dict(shift="early", start="24:00", end="24:30"),
        dict(shift="early", start="24:40", end="24:50"),
    ]
    rows["Materials"][0].update(test_time=8 * 1440)
    fill(write_plan(rows, folder / "plan.xlsx"), folder / "out", stamp=STAMP)
    return folder / "out"


def test_every_moment_on_a_sheet_has_the_rule_that_shows_its_date(late_sheets):
    moments = 0
    for path in late_sheets.rglob("2026-03-02_early/*.xlsx"):
        book = openpyxl.load_workbook(path)
        assert named(book, "day").date() == MONDAY
        for sheet in book:
            ruled = {}
            for area in sheet.conditional_formatting:
                for rule in area.rules:
                    if rule.dxf.numFmt is not None:
                        for place in (cell for ranges in area.sqref.ranges for cell in ranges.cells):
                            ruled.setdefault(place, []).append(rule.dxf.numFmt.formatCode)
            for table in sheet.tables.values():
                for row in sheet[table.ref]:
                    for cell in row:
                        if isinstance(cell.value, datetime.datetime) and cell.number_format == "hh:mm":
                            moments += 1
                            assert "ddd d mmm hh:mm" in ruled[cell.row, cell.column], cell.coordinate
    assert moments > 30  # 3 batches of 5 times, the events, lots and checks of the shift


@pytest.mark.libreoffice
@pytest.mark.skipif(which("soffice") is None or which("pdftotext") is None, reason="not installed")
def test_printed_board_shows_the_dates(late_sheets, tmp_path):
    board = late_sheets / "2026-03-02_early" / "hem_cure_board.xlsx"
    first = table_rows(openpyxl.load_workbook(board, data_only=True), "CureBatches")[0]
    assert first["Test"] == datetime.datetime(2026, 3, 10, 23, 31)
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{tmp_path / 'lo'}",
            "--headless",
            "--convert-to",
            "pdf",
            "--outdir",
            str(tmp_path),
            str(board),
        ],
        check=True,
        capture_output=True,
        timeout=400,
    )
    text = subprocess.run(
        ["pdftotext", "-layout", str(Path(tmp_path) / "hem_cure_board.pdf"), "-"],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    row = next(line for line in text.splitlines() if "frame" in line and "1–10" in line)
    assert " 23:30 " in row and "Tue 10 Mar 23:31" in row and "Tue 3 Mar 03:31" in row


def test_a_paste_that_does_not_cure_has_no_times_and_no_board():
    """Nothing happens to it: no milestone is stated or missed, and a time of a cure beside it is a slip."""
    rows = hand_rows()
    (material, *_) = rows["Materials"]
    material.update(cure="none", move_time=30.0)
    material.pop("open_time", None)
    plan = make(rows)
    for result in play_plan(plan):
        if result.material.material == material["material"]:
            assert all(at is None for batch in result.batches for at in batch.milestones.values())
            assert not [item for item in batch_findings(result) if item.topic == "cure"]
            assert cure_board_content(plan, result, "now") is None
    assert any("does not cure" in item.text for item in slips(plan))


def card_of(builds=True, **material):
    """Open time and pot life on the setup card; the shift is over when the hall gets hottest, at 18:00."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(pot_life=60, pot_life_temperature=23, halving_step=10) | material
    rows["Materials"][0] |= dict(pot_life_2=None, pot_life_temperature_2=None, activation_energy=None)
    rows["Stations"][0] |= dict(record="hall")
    hall = [("05:00", 33), ("08:00", 33), ("10:00", 23), ("15:30", 23), ("18:00", 53), ("21:00", 33)]
    rows["Temperatures"] = [
        dict(record="hall", time=time, temperature=heat, humidity=0.5) for time, heat in hall
    ]
    rows["Shifts"], rows["Breaks"] = [dict(shift="Early", start="06:00", end="14:00")], []
    rows["Builds"] = [dict(date=MONDAY, shift="Early", part="frame" if builds else "cover", quantity=1)]
    rows["Parts"] += [dict(part="cover")]  # which another station has
    rows["Stations"] += [rows["Stations"][0] | dict(station="other")]
    rows["Beads"] += [rows["Beads"][0] | dict(part="cover", station="other")]
    plan = make(rows)
    values = station_setup_content(plan, setup_card(plan, "hem"), STAMP).values
    return [values[name].replace("\u202f", " ") for name in ("open_time", "pot_life")]


def test_the_card_tells_open_time_and_pot_life_of_the_hours_worked():
    # halved every 10 K: of 30 min at 23 °C 15 min at 33 °C, of 60 min 30 min; 53 °C is met by no shift
    open_time, pot_life = card_of(open_time=30)
    assert open_time == "15 min at 33 °C, 30 min at 23 °C"
    assert pot_life.startswith("30 min at 33 °C, 60 min at 23 °C (") and "day" not in pot_life
    # where no build says which hours are worked it is the whole day, and said: 60 min/2³ at 53 °C
    open_time, pot_life = card_of(builds=False, open_time=30)
    assert pot_life.startswith("8 min at 53 °C, 60 min at 23 °C (")
    assert "hottest and coolest hour of the day" in pot_life
    assert open_time.endswith("at 23 °C (hottest and coolest hour of the day)")
    assert card_of(open_time=None)[0] == "none stated"


def test_the_card_tells_open_time_of_a_moisture_cure_with_the_water_in_the_air():
    # of 30 min at 23 °C and 50 %; air of 33 °C and 50 % holds so much more water (Magnus form)
    quicker = law(33, 0.5, 0.0) / law(23, 0.5, 0.0)
    open_time, _ = card_of(open_time=30, cure="moisture", moisture_humidity=0.5, cure_temperature=23)
    assert open_time == f"{30 / quicker:.0f} min at 33 °C, 50% humidity; 30 min at 23 °C, 50% humidity"
