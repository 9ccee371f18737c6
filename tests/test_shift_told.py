"""What a crew is told of its shift: in its own words, in amounts, in time, by one rule of the clock.

Each case is worked by hand beside it on the small plan of `plans.py`; what a crew does is common practice, no
source.
"""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from floor import type_in
from plans import MONDAY, hand_rows, light_plan, make
from test_later_shots import shots_rows

from dispense.base.clock import earliest_text, hhmm
from dispense.base.language import printed_in, translated
from dispense.jobs.book import book_files
from dispense.jobs.fill import fill
from dispense.journal.doubts import batch_number
from dispense.journal.store import journal_path, read_journal
from dispense.sheets.board import cure_board_content
from dispense.sheets.check import shot_check_content
from dispense.sheets.material import shift_material_content
from dispense.shift.play import play_plan
from dispense.shift.results import ShiftResult
from dispense.shift.today import Today, Told

HOUR, MINUTE = 3600.0, 60.0


def first_shift(rows: dict[str, list[dict[str, Any]]], today: Today | None = None) -> ShiftResult:
    return next(iter(play_plan(make(rows), today=today)))


def at(clock: str) -> float:
    hours, minutes = clock.split(":")
    return int(hours) * HOUR + int(minutes) * MINUTE


def texts(result: ShiftResult, kind: str) -> list[str]:
    return [event.text for event in result.events if event.kind == kind]


# ------------------------------------------------------------------------- start and end of a shift


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        # of the plan: a mixer of 10 mL, 8 mL of start-up loss
        ({}, "start of shift: put on a new mixer, 10.0 mL fill it; throw away the first 8.0 mL"),
        ({"start_volume": 0}, "start of shift: put on a new mixer, 10.0 mL fill it"),
        ({"mixer_volume": 0}, "start of shift: throw away the first 8.0 mL"),
        ({"mixer_volume": 0, "start_volume": 0}, "start of shift"),
    ],
)
def test_the_start_says_which_mixer_and_what_is_thrown_away(changed, told):
    rows = hand_rows()
    rows["Stations"][0] |= changed
    result = first_shift(rows)
    assert texts(result, "start") == [told]
    # what is told is what is booked
    assert result.dispensed("start") == (8e6 if "start_volume" not in changed else 0)
    assert result.dispensed("mixers") == (10e6 if "mixer_volume" not in changed else 0)
    with printed_in("de"):
        assert "start" not in translated(told) and "throw" not in translated(told)


def test_a_mixer_that_was_kept_is_used_on_or_thrown_away():
    """Filled last at 9:50 and good for 36 min: it serves at 10:00, and at 10:30 a new one is put on."""
    for start, told in (
        ("10:00", "go on with the mixer that was kept closed; throw away the first 8.0 mL"),
        ("10:30", "put on a new mixer, 10.0 mL fill it; throw away the first 8.0 mL"),
    ):
        rows = hand_rows()
        rows["Stations"][0]["after_run"] = "keep closed"
        rows["Shifts"].append(dict(shift="late", start=start, end="14:00"))
        rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=5))
        _, second = play_plan(make(rows))
        assert texts(second, "start") == [f"start of shift: {told}"]


def test_the_rest_of_a_shift_throws_nothing_away_at_its_start():
    result = first_shift(hand_rows(), Today(MONDAY, "early", at("07:15"), {"hem": Told(6)}))
    assert texts(result, "start") == ["from now on: 6 started before"]


# ------------------------------------------------------------------------------------- check shots


def test_a_container_stands_in_the_list_before_what_it_is_connected_for():
    """Of one time a crew reads from the top: connect first, then put on the mixer and throw away."""
    first = next(iter(play_plan(plan := make(hand_rows()))))
    rows = shift_material_content(plan, first, "").tables["MaterialTimes"]
    kinds = [row["event"] for row in rows if row["time"] == rows[0]["time"]]
    assert kinds == ["container", "container", "start"]
    assert "left, runs empty" not in rows[0]["action"]  # there is no old one


def test_a_container_that_runs_empty_in_a_purge_says_how_much_is_left():
    """A of 1:1 in containers of 10 mL without heel: 5 mL of it fill the mixer, the other 5 are less than the
    6 mL of what is thrown away at the start."""
    rows = hand_rows()
    rows["Components"][0] |= dict(container=10, heel=0)
    rows["Stations"][0] |= dict(mixer_volume=10, start_volume=12, checks=0)
    first = first_shift(rows)
    told = [text for text in texts(first, "container") if text.startswith("connect Bond 60 A")][1]
    assert told.endswith("; the old one, 5.0 mL left, runs empty at the start")
    with printed_in("de"):
        assert translated(told).endswith("; das alte, noch 5,0 mL, wird beim Anfahren leer")


def test_no_row_for_a_check_that_is_not_made():
    rows = hand_rows()
    assert len(shot_check_content(make(rows), first_shift(rows), "").tables["CheckShots"]) == 2
    rows["Stations"][0]["checks"] = 0
    assert shot_check_content(make(rows), first_shift(rows), "").tables["CheckShots"] == []


# ------------------------------------------------------------------------------------ later shots


def test_later_shots_say_how_much():
    """A fifth of 320 mL is 64 mL, at 1.1 g/mL 70.4 g; a meter of ±2 % gives 68.992 to 71.808 g, a tenth of
    half that width 0.14 g: printed to 0.1 g, inward (ISO 80000-1:2009, annex B): 69.0 to 71.8 g."""
    rows = shots_rows()
    rows["Stations"][0]["meter_tolerance"] = 0.02
    plan = make(rows)
    result = next(iter(play_plan(plan)))
    later = shift_material_content(plan, result, "").tables["MaterialLater"]
    assert len(later) == 6
    for row in later:
        assert row["volume"] == pytest.approx(64.0)
        assert [row[name].text for name in ("mass", "mass_low", "mass_high")] == ["70.4", "69.0", "71.8"]


# ---------------------------------------------------------------------------------------- batches


def test_a_batch_keeps_its_number_through_the_shift():
    """Batches of five: of the 21 parts twelve are done at 8:00, so 13 to 15 are the rest of batch 3."""
    rows = hand_rows()
    rows["Stations"][0]["batch"] = 5
    plan = make(rows)
    printed = {
        serial: batch.number for batch in next(iter(play_plan(plan))).batches for serial in batch.serials
    }
    assert printed[13] == 3
    today = Today(MONDAY, "early", at("08:00"), {"hem": Told(12)})
    (result,) = play_plan(plan, today=today)
    rest = cure_board_content(plan, result, "").tables["CureBatches"]
    assert [(row["batch"], row["part_numbers"]) for row in rest] == [(3, "13–15"), (4, "16–20"), (5, "21")]


def test_what_is_typed_on_a_board_of_now_is_booked_of_the_batch_that_was_printed(tmp_path):
    """The first row of the board of 8:00 is batch 3: mated at 8:50 is booked of that, not of batch 1."""
    rows = hand_rows()
    rows["Stations"][0]["batch"] = 5
    plan = light_plan(tmp_path / "plan.xlsx", rows)
    fill(
        plan,
        tmp_path / "out",
        date="2026-03-02",
        shift="early",
        stations=["hem"],
        stamp="s",
        now="08:00",
        done=12,
    )
    (board,) = (tmp_path / "out").rglob("hem_cure_board.xlsx")
    type_in(board, "CureBatches", "Planned mating", [datetime.datetime(2026, 3, 2, 8, 50)])
    book_files(plan, [board], stamp="2026-03-02 15:00")
    booked = [item.entry for item in read_journal(journal_path(plan)).current().values()]
    (mated,) = [entry for entry in booked if entry.text == "mated"]
    assert mated.time == "2026-03-02T08:50:00" and batch_number(mated) == "3"


def test_parts_half_done_now_stay_in_their_batch():
    """Pots in four shots, 15 min apart: those half done at 6:55 are of batch 1 and 2, and of this shift."""
    rows = shots_rows()
    rows["Materials"][0]["open_time"] = None
    rows["Builds"][0]["quantity"] = 8
    rows["Stations"][0]["batch"] = 4
    plan = make(rows)
    (result,) = play_plan(plan, today=Today(MONDAY, "early", at("06:55"), {"hem": Told(6)}))
    found = [(batch.number, batch.numbers, batch.origin) for batch in result.batches]
    assert found[0][0] == 1 and found[1][:2] == (2, "5–8") and len(found) == 2
    assert {origin for *_, origin in found} == {""}


# ------------------------------------------------------------------------------------ the clock


def test_from_when_on_is_never_told_too_early_and_by_when_never_too_late():
    assert (hhmm(at("13:05") + 59.9), earliest_text(at("13:05") + 0.1)) == ("13:05", "13:06")
    assert (hhmm(at("13:05")), earliest_text(at("13:05"))) == ("13:05", "13:05")


def test_a_next_shot_is_told_alike_on_all_pages():
    """The first pour of 128 mL at 5 mL/s takes 25.6 s; 15 min after it is 6:15:25.6: 6:16 on every page."""
    rows = shots_rows((15, 15, 240))  # the last shot waits till after the shift
    rows["Materials"][0]["open_time"] = None
    rows["Shifts"].append(dict(shift="late", start="10:00", end="14:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=1))
    plan = make(rows)
    first, second = play_plan(plan)
    handed = shift_material_content(plan, first, "").tables["MaterialHandover"]
    due = next(row["next_step"] for row in handed if str(row["what"]).startswith("half done"))
    later = shift_material_content(plan, second, "").tables["MaterialLater"]
    assert isinstance(due, datetime.datetime) and due.second == 0
    assert due == min(row["earliest"] for row in later if row["begun"])
    exact = min(item.earliest for item in second.later_shots if item.origin)
    assert exact % MINUTE and due == datetime.datetime(2026, 3, 2) + datetime.timedelta(
        seconds=exact - exact % MINUTE + MINUTE
    )


def test_a_cell_keeps_the_second_in_which_a_time_falls():
    """An event 0.6 s before a minute is told by the minute before, as cell and in words."""
    rows = hand_rows()
    rows["Stations"][0]["takt"] = 599.9  # the seventh part comes at 6:59:59.4
    plan = make(rows)
    result = next(iter(play_plan(plan)))
    board = cure_board_content(plan, result, "").tables["CureBatches"]
    for row, batch in zip(board, result.batches, strict=True):
        assert row["ended"].strftime("%H:%M") == hhmm(batch.ended)
        assert row["begun"].strftime("%H:%M") == hhmm(batch.begun)
        assert 0.0 <= batch.ended - (row["ended"] - datetime.datetime(2026, 3, 2)).total_seconds() < 1.0


# ---------------------------------------------------------------------------- mixers that wait


def gap_rows(**station: Any) -> dict[str, list[dict[str, Any]]]:
    """A part every 40 min, no break: 60 min of pot life reach 60 % after 36 min, 4 min before the next."""
    rows = hand_rows()
    rows["Breaks"] = []
    rows["Stations"][0] |= dict(takt=2400, checks=0, mixer_time=30, purge_time=20) | station
    rows["Builds"][0]["quantity"] = 3
    return rows


def test_a_mixer_that_is_changed_comes_off_at_its_limit():
    """Parts at 6:00, 6:40 and 7:20:30, since the new mixer takes 30 s each time; what fills the mixer goes in
    with the part, from 6:00:00 to 6:00:10 and from 6:40:30 on: the limit is 36 min after."""
    result = first_shift(gap_rows(rule="change mixer"))
    off = [(hhmm(event.clock), event.text) for event in result.events if event.kind == "off"]
    assert off == [
        (
            limit,
            f"take the mixer off and close the outlets: no part until {until}, it reaches its limit at "
            f"{limit}; the next part gets a new one",
        )
        for limit, until in (("06:36", "06:40"), ("07:16", "07:20"))
    ]
    new = [(hhmm(event.clock), event.text) for event in result.events if event.kind == "mixer"]
    filled = "put on a new mixer, 10.0 mL fill it"
    assert new == [("06:40", filled), ("07:20", filled)]
    # it costs what it did: three mixers of 10 mL, nothing purged
    assert (result.mixers, result.dispensed("mixers"), result.purges) == (3, 30e6, 0)
    # nobody takes it off in a break: one from 6:30 to 6:40 has it off before
    rows = gap_rows(rule="change mixer")
    rows["Breaks"] = [dict(shift="early", start="06:30", end="06:40")]
    first = next(event for event in first_shift(rows).events if event.kind == "off")
    assert hhmm(first.clock) == "06:30"


@pytest.mark.parametrize(
    ("purge", "station", "told"),
    [
        # 15 mL and 20 s against 10 mL and 20 s
        (15, {"mixer_time": 20}, "; a new mixer takes 10.0 mL and 20 s, purging 15.0 mL and 20 s"),
        (
            15,
            {"idle": "purge", "mixer_time": 20},
            "",
        ),  # the station has its purge: no other way is open to it
        (10, {"mixer_time": 20}, ""),  # as many millilitres
        (15, {}, ""),  # 30 s in place of 20 s would hold up the part
    ],
)
def test_a_short_gap_names_the_cheaper_way(purge, station, told):
    result = first_shift(gap_rows(purge_volume=purge, **station))
    first = next(event for event in result.events if event.kind == "purge")
    assert hhmm(first.clock) == "06:36"
    words = f"purge {purge}.0 mL: no part until 06:40, the mixer reaches its limit at 06:36{told}"
    assert first.text == words
    assert "new mixer" not in texts(result, "purge")[1]  # told once: the list shall fit on its page
    with printed_in("es"):
        assert "purg" in translated(words) and "takes" not in translated(words)


# --------------------------------------------------------------------------- parts not to be begun


def test_a_part_that_waits_for_the_end_of_a_break_is_told():
    """Open for 25 min, mated 20 min of work after its end; the break of half an hour begins at 8:00. No. 11
    of 7:40 would be mated 20 s past 8:00, which the crew stays for; what is begun later could not be."""
    rows = hand_rows()
    rows["Materials"][0]["open_time"] = 25
    rows["Stations"][0] |= dict(mating_delay=20, mixer_volume=0, checks=0, start_volume=0, end_volume=0)
    rows["Breaks"][0] |= dict(start="08:00", end="08:30")
    result = first_shift(rows)
    told = [(event.clock, event.text) for event in result.events if event.kind == "hold"]
    begun = sorted(begin for _, begin, _ in result.course.work)
    assert len(told) == 1
    clock, words = told[0]
    assert words == "frame: begin none before 08:30, the open time would not outlast the break"
    # it stands when the first of them could have been begun, and none is begun from then to the end
    assert clock in (at("07:40"), at("07:50")) and not [one for one in begun if clock <= one < at("08:30")]
    assert at("08:30") in begun


def test_a_part_whose_next_shot_comes_after_the_plan_is_told_before_its_first():
    """Pours at 10 min takt, the second shot 90 min after the first, the plan over at 10:00: what is begun
    after 8:29 has no second shot. Of those the one of 8:30 is the first."""
    rows = shots_rows((90, 0, 0))
    rows["Materials"][0]["open_time"] = None
    rows["Breaks"] = []
    rows["Builds"][0]["quantity"] = 20
    plan = make(rows)
    (result,) = play_plan(plan)
    (told,) = [event for event in result.events if event.kind == "hold"]
    left = [item for item in result.handed_over if item.what.startswith("half done")]
    assert left and hhmm(told.clock) in told.text and "begin none from" in told.text
    assert "shot 2 would come after the plan's last shift" in told.text
    # parts begun before it have all their shots, those from it on do not
    kept = [batch for batch in result.batches]
    assert max(max(batch.serials) for batch in kept) < min(
        int(number.split("–")[0]) for item in left for number in item.numbers.split(", ")
    )
    # the last shot after 4 h comes too late for the first part already, though others stop at shot 2
    late = shots_rows((15, 15, 240))
    late["Materials"][0]["open_time"] = None
    late["Builds"][0]["quantity"] = 24
    (event,) = [one for one in first_shift(late).events if one.kind == "hold"]
    assert hhmm(event.clock) == "06:00" and "from 06:00 on, shot 4" in event.text
    # a shift that follows goes on with them: nothing is told
    rows["Shifts"].append(dict(shift="late", start="10:00", end="14:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=1))
    first, _ = play_plan(make(rows))
    assert not texts(first, "hold")


# ---------------------------------------------------------------------- rows stand where one can act


def test_a_row_stands_where_one_can_still_act():
    """No. 12 is dispensed at 7:50 and could be mated at once; its open time of 20 min is over at 8:10, in the
    break, and its mating is planned 40 min of work after its end. It is told when it is done, at 7:50:10."""
    rows = hand_rows()
    rows["Materials"][0]["open_time"] = 20
    rows["Stations"][0] |= dict(mating_delay=40, checks=0)
    plan = make(rows)
    result = next(iter(play_plan(plan)))
    late = [
        row
        for row in shift_material_content(plan, result, "").tables["MaterialTimes"]
        if row["event"] == "window"
    ]
    assert late
    for row in late:
        ends = str(row["action"]).split("ends at ")[1][:5]
        assert row["time"].strftime("%H:%M") < ends
