"""What the floor is told and tells: boards of a line, mixers by nozzle, heels, breaks worked through, words.

Times and volumes are reckoned by hand beside each check, from the invented plan's own figures.
"""

from __future__ import annotations

import pytest
from plans import MONDAY, add_hot_pot, hand_rows, line_rows, make

from dispense.base.errors import InputError
from dispense.jobs.now import read_today, reckoned_notes
from dispense.reports.routes import route_findings, short_waits
from dispense.sheets.board import board_headline, cure_board_content
from dispense.sheets.material import shift_material_content
from dispense.shift.findings import PAST_LIMIT, RECKONED
from dispense.shift.play import play_plan
from dispense.shift.today import Today, Told

START = 6 * 3600.0


def cured_line(batch=3, **material):
    """Two stations of 40 and 70 s; three boxes; handled after 10 min at the shop's 23 °C, loaded after 30."""
    rows = line_rows({"box": [40, 70]}, {"box": 3}, [None], [9], end="14:00", flow=1)
    for row in rows["Materials"]:
        row.update(dict(move_time=10, join_time=30, cure="room", cure_temperature=23) | material)
    for row in rows["Stations"]:
        row["batch"] = batch
    rows["Stations"][0]["takt"] = 60
    return rows


def test_the_board_of_a_line_lets_the_first_part_go_when_the_line_takes_it():
    """Part 1 is done at 6:00:40 and handled at 6:10:40, when the next station begins it; part 3 is done at
    6:02:40: a crew that waits for the whole batch, till 6:12:40, starves the station for two minutes."""
    plan = make(cured_line())
    first, second = play_plan(plan)
    assert first.batches[0].first_move == pytest.approx(START + 640)
    assert second.course.work[0][1] == pytest.approx(START + 640)
    assert board_headline(first) == "box no. 1 may be moved at 06:11, all of batch 1 at 06:13"
    content = cure_board_content(plan, first, "")
    assert content.tables["CureBatches"][0]["note"] == "no. 1 may be moved from 06:11"
    # at the end of the route nobody waits for a part: the batch is moved as a whole
    assert second.batches[0].first_move is None and board_headline(second).startswith("Batch 1 may be moved")


def test_a_batch_of_one_part_is_told_once():
    first, _ = play_plan(make(cured_line(batch=1)))
    assert board_headline(first) == "Batch 1 may be moved at 06:11"


@pytest.mark.parametrize(("wait", "force", "text"), [(20, 8, "20 min"), (None, 8, "10 min"), (31, 8, "")])
def test_what_is_pressed_after_a_cure_needs_the_time_to_load(wait, force, text):
    """Loaded after 30 min as the data sheet says; a press asks for it, the handling time does not do."""
    plan = make(pressed_line(wait, force))
    found = [item for item in route_findings(plan) if item.topic == "wait before handling"]
    assert [item.kind for item in found] == ["quality"] * bool(text)
    if text:
        assert f"box is pressed at s2 with 8 N {text} after s1" in found[0].text
        assert "joined or loaded after 30 min" in found[0].text
        first = next(iter(play_plan(plan)))
        warnings = cure_board_content(plan, first, "").tables["CureWarnings"]
        assert any("is pressed at s2" in row["warning"] for row in warnings)


def pressed_line(wait, force):
    rows = cured_line()
    rows["Routes"][0]["wait"] = wait
    joint = dict(joint="plate", part="box", station="s2", length=20, width=20, gap=0.3, force=force)
    rows["Joints"] = [joint | dict(press_time=5)]
    return rows


def test_without_a_force_the_handling_time_does():
    assert not short_waits(make(pressed_line(20, None)))


# ------------------------------------------------------------------------------------- from now on


def told(rows, now="07:15", **given):
    plan = make(rows)
    date, shift = plan.days()[0]
    return plan, read_today(plan, date, shift, None, now=now, **given)


def two_nozzles(**station):
    rows = hand_rows()
    rows["Stations"][0] |= dict(nozzles=2) | station
    return rows


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        (["07:01", "07:05"], {0: "07:01", 1: "07:05"}),
        (["hem/2:07:05", "07:01"], {0: "07:01", 1: "07:05"}),
        (["hem:2=07:05", "hem/1:07:01"], {0: "07:01", 1: "07:05"}),
        (["07:01"], {0: "07:01", 1: "07:01"}),
    ],
)
def test_a_mixer_of_each_nozzle(given, wanted):
    _, today = told(two_nozzles(), done=["3"], mixers=given)
    clock = {
        number: f"{at // 3600:02.0f}:{at % 3600 / 60:02.0f}" for number, at in today.of("hem").mixers.items()
    }
    assert clock == wanted


@pytest.mark.parametrize("given", [["07:01", "07:05", "07:06"], ["2=07:01", "hem/2:07:05"]])
def test_more_mixers_than_nozzles_are_refused(given):
    with pytest.raises(InputError, match=r"one (mixer )?for (each nozzle|nozzle 2)"):
        told(two_nozzles(), done=["3"], mixers=given)


def test_what_is_left_is_told_with_its_heel():
    """A container of 100 mL with a heel of 10 %: of 60 mL 50 are for use."""
    rows = hand_rows()
    component = rows["Components"][0]
    component |= dict(container=100, heel=0.1)
    plan, today = told(rows, done=["3"], left={component["component"]: 60.0})
    results = list(play_plan(plan, today=today))
    notes = reckoned_notes(results[:1], today)
    letter = component["component"].upper()
    assert f"hem: {letter} 60 mL told with its heel of 10 mL; the sheets show the 50 mL for use" in notes
    held = [item.volume for item in results[0].taken_over if item.what.startswith(f"container {letter}")]
    assert held == [50_000_000]


def test_only_what_is_not_told_is_asked_for():
    """The mixer is told: what is asked for are the containers, and nothing of a mixer."""
    rows = hand_rows()
    plan, today = told(rows, done=["3"], mixers=["07:00"])
    (note,) = reckoned_notes(list(play_plan(plan, today=today))[:1], today)
    assert "the mixer" not in note and note.endswith("(--left, --connected)")
    plan, today = told(rows, done=["3"])
    (note,) = reckoned_notes(list(play_plan(plan, today=today))[:1], today)
    assert "the mixer in use" in note and note.endswith("(--mixer, --left, --connected)")


def done_by(count, now="08:00"):
    """Parts of 60 s, one after the other from 6:00; a break from 7:00 to 7:30."""
    rows = line_rows({"box": [60, 60]}, {"box": 200}, [0], [None], end="14:00")
    rows["Breaks"] = [dict(shift="early", start="07:00", end="07:30")]
    del rows["Routes"]
    at = START + 3600.0 * (int(now[:2]) - 6)
    given = {name: Told(number) for name, number in (("s1", count), ("s2", 0))}
    return {
        item.station.station: item for item in play_plan(make(rows), today=Today(MONDAY, "early", at, given))
    }


def test_a_crew_may_have_worked_through_its_break():
    """Two hours hold 120 parts of a minute, 90 beside the break: 100 are taken, and it is said."""
    assert not [item for item in done_by(90)["s1"].findings if item.topic == "done through breaks"]
    result = done_by(100)["s1"]
    found = [item for item in result.findings if item.topic == "done through breaks"]
    assert [item.kind for item in found] == ["quality"]
    assert "100 parts are stated as done by 08:00, but only 90 fit around the breaks" in found[0].text
    assert result.jobs[0].quantity == 100


def test_more_than_is_possible_is_refused_with_what_is():
    with pytest.raises(InputError, match="at most 120"):
        done_by(121)


def in_two_visits(quantity):
    """Two shots an hour apart into a well of a frame."""
    rows = hand_rows()
    rows["Beads"] = []
    rows["Pots"] = [
        dict(pot="well", part="frame", station="hem", shape="cylinder", length=20, depth=20, level=10)
    ]
    rows["Shots"] = [
        dict(part="frame", pot="well", shot=number, portion=0.5, wait=wait)
        for number, wait in ((1, 0), (2, 60))
    ]
    rows["Stations"][0] |= dict(flow=1.0)
    rows["Materials"][0]["open_time"] = 600
    rows["Builds"][0]["quantity"] = quantity
    return rows


def test_parts_between_two_shots_are_asked_for_in_the_rest():
    """Two visits an hour apart: what is half done by now is finished and asked for, not only finished."""
    plan, today = told(in_two_visits(10), done=["4"], now="07:15")
    result = next(iter(play_plan(plan, today=today)))
    job = result.jobs[0]
    assert job.taken > 0 and job.finished == job.asked == job.quantity + job.taken
    content = shift_material_content(plan, result, "")
    row = content.tables["MaterialParts"][0]
    assert row["good"] == row["finished"] == content.values["parts_good"]


def test_the_line_that_stops_counts_what_the_table_counts():
    """Of 300 parts more are asked for than the shift holds; those half done now count on both sides."""
    plan, today = told(in_two_visits(300), done=["4"], now="07:15")
    result = next(iter(play_plan(plan, today=today)))
    row = shift_material_content(plan, result, "").tables["MaterialParts"][0]
    stop = next(item.text for item in result.findings if item.topic == "output")
    assert result.jobs[0].resumed > 0 and result.is_short
    assert stop.startswith(f"frame: {row['finished']} of {row['good']} good parts are finished by")


def test_what_is_reckoned_of_parts_begun_before_now_is_told_on_their_sheets():
    """Four of ten are begun by 7:15, with a second shot an hour after the first: nobody told which are open.
    A station of one shot a part says nothing of the sort, nor does the sheet of a whole shift."""
    plan, today = told(in_two_visits(10), done=["4"], now="07:15")
    rest, whole = next(iter(play_plan(plan, today=today))), next(iter(play_plan(plan)))
    words = "frame: which parts begun before 07:15 still want a later shot, and from when on, is reckoned"
    sheets = [shift_material_content(plan, rest, "").tables["MaterialWarnings"]]
    sheets.append(cure_board_content(plan, rest, "").tables["CureWarnings"])
    assert all(any(words in row["warning"] for row in rows) for rows in sheets)
    one_shot, its_today = told(hand_rows(), done=["4"], now="07:15")
    others = [whole, next(iter(play_plan(one_shot, today=its_today)))]
    assert not [item for result in others for item in result.findings if item.topic == RECKONED]


def test_a_board_of_now_says_which_batches_stand_on_the_board_before():
    """Batches of three, one part a minute: by 6:05 parts 1 to 5 are begun, of batches 1 and 2."""
    rows = cured_line()
    del rows["Routes"]
    rows["Builds"][0]["quantity"] = 20
    today = Today(MONDAY, "early", START + 300.0, {"s1": Told(5), "s2": Told(0)})
    plan = make(rows)
    first, second = (list(play_plan(plan, today=today)))[:2]
    warnings = [cure_board_content(plan, item, "").tables["CureWarnings"] for item in (first, second)]
    words = "leave the board before this one in its place: batches 1 to 2 stand on it"
    assert [any(words in row["warning"] for row in rows) for rows in warnings] == [True, False]


def test_parts_made_with_a_mixer_past_its_limit_are_to_be_held():
    """Pot life 60 min at 60 %, a part of 10 mL each 40 min from 6:00 on, through a mixer of 10: what that of
    6:40 gets is 40 min old, 67 %, if the mixer is on since 6:00 and was not changed."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(rule="change mixer", takt=2400, checks=0)
    plan, today = told(rows, done=["2"], now="07:15", mixers=["06:00"])
    result = next(iter(play_plan(plan, today=today)))
    (found,) = [item for item in result.findings if item.topic == PAST_LIMIT]
    assert found.kind == "quality"
    assert found.text.startswith(
        "1 part since 06:40 got material past its limit, by the told age of the mixer"
    )
    assert result.past_limit[0].share == pytest.approx(40 / 60, abs=0.01)
    fresh = told(rows, done=["2"], now="07:15", mixers=["06:40"])[1]
    assert not next(iter(play_plan(plan, today=fresh))).past_limit


# ------------------------------------------------------------------------------------ the mixer


def test_two_nozzles_wait_twice_the_takt():
    """A part every 10 min for two nozzles is one every 20 min for each; the work of 60 s is one nozzle's."""
    rows = two_nozzles(takt=600, checks=0, purge_share=0.5)
    rows["Breaks"] = []
    rows["Materials"][0]["pot_life"] = 30
    rows["Builds"][0]["quantity"] = 12
    result = next(iter(play_plan(make(rows))))
    found = [item for item in result.findings if item.topic == "purges between parts"]
    assert len(found) == 1 and "a takt of 600 s, 1200 s for each of 2 nozzles, material" in found[0].text
    assert found[0].fix.startswith("one nozzle fewer, ")


def test_a_pot_life_that_is_not_over_is_not_called_over():
    """Pot life 30 min: after 18 min 60 % is used, when it is purged, and not called over or gelled."""
    rows = hand_rows()
    rows["Breaks"] = []
    rows["Materials"][0]["pot_life"] = 30
    rows["Stations"][0] |= dict(takt=27 * 60 + 60, checks=0, purge_time=300, mixer_time=60)
    rows["Builds"][0]["quantity"] = 4
    result = next(iter(play_plan(make(rows))))
    words = [event.text for event in result.events if event.kind in ("mixer", "purge")]
    assert len(words) == 3 and all("reaches its limit at" in text and "over" not in text for text in words)


def test_nobody_keeps_a_mixer_for_no_start():
    """The plan's last shift: what ages is thrown away, and is not handed over as well."""
    rows = hand_rows()
    rows["Stations"][0]["after_run"] = "keep closed"
    *_, last = play_plan(make(rows))
    text = next(event.text for event in last.events if event.kind == "end")
    assert "throw the mixer away" in text and "keep the mixer closed" not in text
    assert not any(item.what.startswith("mixer") for item in last.handed_over)
    assert [last.balance(letter) for letter in last.letters] == [0, 0]


def two_shots(takt: float | None) -> dict:
    """A pot in two shots of 160 mL at 5 mL/s, 40 min apart; a part comes every half hour of the morning."""
    rows = hand_rows()
    add_hot_pot(rows, 20000.0)
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=1, portion=0.5),
        dict(part="frame", pot="bed", shot=2, portion=0.5, wait=40),
    ]
    rows["Beads"], rows["Breaks"] = [], []
    rows["Stations"][0] |= dict(takt=takt, checks=0)
    rows["Materials"][0]["open_time"] = None
    rows["Builds"][0]["quantity"] = 8  # over 4 h: a part every 30 min where no takt is stated
    return rows


@pytest.mark.parametrize("takt", [1800, None])
@pytest.mark.parametrize(
    ("now", "done"), [("06:35", 2), ("06:59", 2), ("07:00", 2), ("08:05", 5), ("07:40", 4)]
)
def test_a_second_shot_is_timed_from_when_the_plan_gave_the_first(takt, now, done):
    """Half an hour apart from 6:00, as told and as printed: no part is taken to have waited for longer."""
    plan = make(two_shots(takt))
    today = read_today(plan, MONDAY, "early", None, now=now, done=[str(done)])
    whole, rest = next(play_plan(plan)), next(play_plan(plan, today=today))
    printed = {(shot.serial, shot.shot): shot.poured for shot in whole.later_shots}
    told = {(shot.serial, shot.shot): shot.poured for shot in rest.later_shots}
    clock = (int(now[:2]) * 60 + int(now[3:])) * 60.0
    due = {key for key, poured in printed.items() if key[0] <= done and poured + 2400 > clock}
    assert due and due <= set(told)
    for serial, shot in due:
        begun = 6 * 3600 + (serial - 1) * 1800
        assert told[serial, shot] >= begun + 32 - 1e-6  # 160 mL at 5 mL/s
        assert told[serial, shot] == pytest.approx(printed[serial, shot], abs=120)
