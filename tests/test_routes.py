"""Routes: stations that parts pass in order, against lines worked by hand and results of queueing theory."""

from __future__ import annotations

import datetime
import itertools
import math
from typing import Any

import numpy as np
import pytest
from blocking import line_times
from plans import MONDAY, hand_rows, line_rows, make, routed_rows

from dispense.base.errors import InputError
from dispense.base.findings import STOP
from dispense.forecast.response import occurrences, responses
from dispense.plan.routes import fates, lines, started_at
from dispense.reports.findings import plan_findings
from dispense.reports.routes import OF_ROUTES, PACE, START_UP, route_findings
from dispense.sheets.line import line_content
from dispense.sheets.results import results_findings
from dispense.shift.pace import route_time
from dispense.shift.play import play_plan, play_shift
from dispense.shift.results import ShiftResult
from dispense.shift.today import Stop, Today, Told

TUESDAY = MONDAY + datetime.timedelta(days=1)
START = 6 * 3600.0


def times_of(result: ShiftResult) -> list[tuple[float, float]]:
    """Begin and end of each part [s after the shift's start], in order."""
    return [
        (round(batch.begun - START, 6), round(batch.ended - START, 6))
        for batch in sorted(result.batches, key=lambda batch: batch.begun)
    ]


# ---------------------------------------------------------------------------------- worked by hand


def test_a_line_of_three_worked_by_hand():
    """Worked by hand, part by part, from 06:00:00 in seconds.

    s1 takes 40 s, s2 70 s, s3 30 s; parts come every 20 s; 10 s wait before s2, 100 s before s3; room 1.

    part  s1        leaves  may    s2        leaves  may    s3
    1       0- 40     40     50     50-120    120    220    220-250
    2      40- 80     80     90    120-190    220    290    290-320   (2 leaves s2 when 1 is begun at s3)
    3      80-120    120    130    220-290    290    390    390-420
    4     120-160    220    170    290-360    390    460    460-490   (4 leaves s1 when 3 is begun at s2)
    5     220-260    290    270    390-460    460    560    560-590
    """
    rows = line_rows({"box": [40, 70, 30]}, {"box": 5}, [10, 100], [1, 1])
    rows["Stations"][0]["takt"] = 20
    one, two, three = play_plan(make(rows))
    assert times_of(one) == [(0, 40), (40, 80), (80, 120), (120, 160), (220, 260)]
    assert times_of(two) == [(50, 120), (120, 190), (220, 290), (290, 360), (390, 460)]
    assert times_of(three) == [(220, 250), (290, 320), (390, 420), (460, 490), (560, 590)]
    assert [round(result.blocked, 6) for result in (one, two, three)] == [60 + 30, 30 + 30, 0]
    assert [round(result.starved, 6) for result in (one, two, three)] == [0, 50, 220 + 40 + 70 + 40 + 70]
    # of that in cure: 40-50; 120-220 and all of the later waits
    assert [round(result.for_cure, 6) for result in (one, two, three)] == [0, 10, 100 + 40 + 70 + 40 + 70]
    before_two, before_three = two.passages[0], three.passages[0]
    assert (before_two.entered, before_two.passed, before_two.handed) == (5, 5, 0)
    assert (before_two.between.peak, before_three.between.peak) == (1, 1)
    assert before_two.between.mean == pytest.approx((10 + 40 + 100 + 70 + 100) / 600)
    assert before_three.between.mean == pytest.approx((100 + 70 + 100 + 70 + 100) / 600)
    assert before_two.stay == pytest.approx(320 / 5)
    assert (before_three.cure.peak, before_three.cure.mean) == (2, pytest.approx(5 * 100 / 600))
    # in steady state two parts of 170 s, from the start at s2 to that at s3, have two places: 85 s each
    assert one.pace is not None
    assert (one.pace.slowest.what, one.pace.slowest.seconds) == ("Room before s3", pytest.approx(85.0))


def test_the_kernel_gives_the_line_worked_by_hand():
    work = np.tile([40.0, 70.0, 30.0], (5, 1))
    found = line_times(20.0 * np.arange(5), work, [10.0, 100.0], [1, 1])
    assert found.starts.tolist() == [
        [0, 50, 220],
        [40, 120, 290],
        [80, 220, 390],
        [120, 290, 460],
        [220, 390, 560],
    ]
    assert found.departs[:, 0].tolist() == [40, 80, 120, 220, 290]
    assert found.departs[:, 1].tolist() == [120, 220, 290, 390, 460]


@pytest.mark.parametrize("seed", range(6))
def test_the_line_is_the_recursion(seed):
    """Parts of unlike work, rooms and waits: the played line against the recursion of blocking."""
    rng = np.random.default_rng(seed)
    stations, parts = int(rng.integers(2, 5)), 12
    work = rng.integers(5, 60, (parts, stations)).astype(float)
    waits = [float(wait) for wait in rng.integers(0, 90, stations - 1)]
    room = [[None, 0, 1, 3][place] for place in rng.integers(0, 4, stations - 1)]
    names = [f"p{number:02}" for number in range(parts)]
    rows = line_rows(
        dict(zip(names, work.tolist(), strict=True)), dict.fromkeys(names, 1), waits, room, end="09:00"
    )
    rows["Stations"][0]["takt"] = 15
    results = list(play_plan(make(rows)))
    found = line_times(15.0 * np.arange(parts), work, waits, room)
    for place, result in enumerate(results):
        begun = {batch.part: batch.begun - START for batch in result.batches}
        assert [begun[name] for name in names] == pytest.approx(found.starts[:, place].tolist(), abs=1e-6)
        blocked = (found.departs - found.finishes)[:, place].sum()
        assert result.blocked == pytest.approx(blocked, abs=1e-6)
        assert all(link.room is None or link.between.peak <= link.room for link in result.passages)


# ----------------------------------------------------------------------------- results of the theory


def test_littles_law():
    """L = λ·W (Little, Operations Research 9 (1961) 383-387, from memory), exact on an emptied line.

    Parts in the line, mean over the shift, are those under the nozzles (at work or held) and those
    between; times the shift they are the sum of the times that parts spend in the line.
    """
    rng = np.random.default_rng(4)
    names = [f"p{number:02}" for number in range(15)]
    work = {name: rng.integers(5, 60, 3).astype(float).tolist() for name in names}
    rows = line_rows(work, dict.fromkeys(names, 1), [35, 80], [2, 0], end="08:00")
    rows["Stations"][0]["takt"] = 20
    results = list(play_plan(make(rows)))
    span = 2 * 3600.0
    mean = sum(result.busy + result.blocked for result in results) / span
    mean += sum(link.between.mean for result in results for link in result.passages)
    entered = {batch.part: batch.begun for batch in results[0].batches}
    left = {batch.part: batch.ended for batch in results[-1].batches}
    rate, stay = len(names) / span, math.fsum(left[name] - entered[name] for name in names) / len(names)
    assert mean == pytest.approx(rate * stay, rel=1e-12)


@pytest.mark.parametrize(("first", "second", "room"), [(20.0, 30.0, 0), (30.0, 20.0, 0), (25.0, 40.0, 2)])
def test_two_stations_of_fixed_times_go_at_the_slower(first, second, room):
    """For fixed times a line makes 1/max(t1, t2), whatever the room; it starts up for t1."""
    rows = line_rows({"box": [first, second]}, {"box": 20}, [0], [room], end="08:00")
    rows["Stations"][0]["takt"] = 1
    one, two = play_plan(make(rows))
    begun = [begin for begin, _ in times_of(two)]
    assert begun[0] == first
    assert {round(b - a, 6) for a, b in itertools.pairwise(begun)} == {max(first, second)}
    assert one.pace.slowest.seconds == pytest.approx(max(first, second))
    assert one.pace.slowest.station == ("s1" if first > second else "s2")


@pytest.mark.parametrize("room", [0, 1, 4])
def test_two_stations_of_random_times(room):
    """Hunt, Sequential arrays of waiting lines, Operations Research 4 (1956) 674-683 (from memory).

    Two stations of equal exponential times with no room between are at work 2/3 of the time; with room
    for q parts the chain of q + 3 equally likely states gives (q + 2)/(q + 3).
    """
    rng = np.random.default_rng(1956 + room)
    runs, parts, warm = 40, 1500, 300
    found = []
    for _ in range(runs):
        times = line_times(np.zeros(parts), rng.exponential(1.0, (parts, 2)), [0.0], [room])
        found.append((parts - warm) / (times.finishes[-1, 1] - times.finishes[warm - 1, 1]))
    error = np.std(found, ddof=1) / math.sqrt(runs)
    assert error < 0.004
    assert abs(np.mean(found) - (room + 2) / (room + 3)) < 4 * error


# ------------------------------------------------------------------------------------- scrap, shifts


def scrapped_rows(good: int = 100) -> dict[str, list[dict]]:
    rows = line_rows({"box": [5, 6, 4]}, {"box": good}, [60, 0], [None, None], end="14:00")
    for row, scrap in zip(rows["Stations"], (0.10, 0.05, 0.02), strict=True):
        row["scrap"] = scrap
    return rows


def test_scrap_adds_up_along_the_route():
    """100 good: s3 starts ⌈100/0.98⌉ = 103, s2 ⌈103/0.95⌉ = 109, s1 ⌈109/0.9⌉ = 122."""
    plan = make(scrapped_rows())
    assert [started_at(plan, "box", row, 100) for row in plan.stations] == [122, 109, 103]
    lost = fates(plan, "box", 100)
    assert [lost.count(place) for place in range(4)] == [13, 6, 3, 100]
    jobs = [result.jobs[0] for result in play_plan(plan)]
    assert [(job.begun, job.scrapped, job.finished) for job in jobs] == [
        (122, 13, 109),
        (109, 6, 103),
        (103, 3, 100),
    ]


def test_a_forecast_counts_the_scrap_to_come():
    """A bead of 10 mm for each second, 1 mm²: s1 puts 109 of 50 mm³ on parts that it passes on."""
    plan = make(scrapped_rows())
    keys, _ = occurrences(plan)
    used = {key.station: answer.used["a"] for key, answer in zip(keys, responses(plan, keys), strict=True)}
    for name, passed, length, scrap in (("s1", 109, 50, 0.10), ("s2", 103, 60, 0.05), ("s3", 100, 40, 0.02)):
        assert used[name]["parts"] == passed * length * 1000  # nL in mm³
        assert used[name]["scrap"] == round(passed * length * 1000 * scrap / (1.0 - scrap))


def test_what_a_line_cannot_give_is_told_before_it_is_played():
    """Worked by hand: 70 s for each of 500 good parts are 35,000 s of the 28,800 s of a shift, 411 parts."""
    rows = line_rows({"box": [40, 70]}, {"box": 500}, [0], [None], end="14:00")
    (slow,) = (item for item in plan_findings(make(rows)) if item.topic == PACE)
    assert slow.kind == STOP and slow.station == "s2"
    assert "s2 sets the pace, 70.0 s for each good part" in slow.text
    assert slow.text.endswith("need 9 h 43 min of working time, it has 8 h, enough for 411")
    # a cure of 7 h leaves 1 h less 70 s for the rest: 49 more parts at 70 s after the first
    rows = line_rows({"box": [30, 70]}, {"box": 60}, [7 * 3600], [None], end="14:00")
    rows["Stations"][0]["takt"] = 30
    (late,) = (item for item in plan_findings(make(rows)) if item.topic == START_UP)
    assert late.numbers["through"] == (3600 - 30) // 70
    _, two = play_plan(make(rows))
    assert two.jobs[0].finished == (3600 - 30) // 70
    rows["Builds"][0]["quantity"] = 51
    assert not [item for item in plan_findings(make(rows)) if item.topic in OF_ROUTES]


def test_a_stated_takt_and_a_break_bound_what_an_empty_line_gives():
    """Worked by hand: 06:00 to 08:00, takt 90 s, 30 s at s1, an hour, 70 s at s2: begun at s1 by 06:58:20.

    That is in the break from 06:50 to 07:00, so done at s1 by 06:50: begun after 0, 90, … 2970 s, 34 of
    them. One in ten is lost at s2: of 34 begun every tenth of 45 started, three, so 31 are good.
    """
    rows = line_rows({"box": [30, 70]}, {"box": 40}, [3600], [None], end="08:00")
    rows["Breaks"] = [dict(shift="early", start="06:50", end="07:00")]
    rows["Stations"][0]["takt"] = 90
    for scrap, through in ((0.0, 34), (0.1, 31)):
        rows["Stations"][1]["scrap"] = scrap
        plan = make(rows)
        (late,) = (item for item in plan_findings(plan) if item.topic == START_UP)
        results = list(play_plan(plan))
        assert late.numbers["through"] == results[-1].jobs[0].finished == through
        # where the shift is played, what it falls short by is told once
        told = [item for item in results_findings(plan, results) if item.topic in (START_UP, "output")]
        assert [item.topic for item in told] == ["output"]


def test_a_part_that_never_cures_never_goes_on():
    rows = line_rows({"box": [40, 70]}, {"box": 5}, [None], [None], end="14:00")
    rows["Materials"][0] |= dict(cure="oven", move_time=30)  # and no row in Ovens
    texts = [item.text for item in plan_findings(make(rows)) if item.topic in OF_ROUTES]
    assert texts == ["box never goes on from s1: its handling strength is not reached"]
    _, two = play_plan(make(rows))
    assert (two.jobs[0].begun, two.passages[0].handed) == (0, 5)


@pytest.mark.parametrize("wait", [3600, 9000])
def test_a_fed_station_starts_with_its_first_part(wait):
    """Its mixer is put on when the first part comes, 30 s and the wait after 06:00, or not at all."""
    rows = line_rows(
        {"box": [30, 40]}, {"box": 2}, [wait], [None], end="08:00", mixer_volume=5, purge_share=0.6
    )
    two_part = hand_rows()
    rows |= {name: two_part[name] for name in ("Materials", "Components", "Stock")}
    for row in rows["Stations"]:
        row |= dict(material="Bond 60", checks=1)
    _, two = play_plan(make(rows))
    told = [(event.kind, event.clock - START) for event in two.events if event.kind in ("start", "check")]
    if wait > 7200:
        assert (told, two.mixers, two.purges) == ([], 0, 0)
        assert not any(two.dispensed(name) for name in ("start", "mixers", "purge", "checks"))
    else:
        assert told[:2] == [("start", 30 + wait), ("check", 30 + wait)]
        assert two.mixers == 1 and two.dispensed("mixers") == 5_000_000


def test_who_waits_for_cure_is_starved():
    """s2 works 40 s on each of two parts, which come with 3,600 s of cure: at 6:00:30 + 1 h and 40 s later.
    Its checks, four an hour and without time, do not end its wait."""
    rows = line_rows({"box": [30, 40]}, {"box": 2}, [3600], [None], end="08:00")
    rows["Stations"][0] |= dict(takt=40)
    rows["Stations"][1] |= dict(checks=4, check_volume=1e-3)
    rows["Builds"].append(dict(date=TUESDAY, shift="early", part="box", quantity=1))
    _, two, *_ = play_plan(make(rows))
    assert two.starved == pytest.approx(3630, abs=1) and two.for_cure == pytest.approx(3600, abs=1)


def test_who_waits_for_cure_till_the_end_is_starved():
    """Both of Monday's parts cure until Tuesday 12:00, when the shift is over since 8:00: s2 waits for them
    though it has none of its own to begin."""
    rows = line_rows({"box": [30, 40], "lid": [30, 30]}, {"box": 2}, [30 * 3600], [None], end="08:00")
    rows["Beads"] = [row for row in rows["Beads"] if not (row["part"] == "lid" and row["station"] == "s2")]
    rows["Routes"] = [row for row in rows["Routes"] if row["part"] == "box"]
    rows["Builds"].append(dict(date=TUESDAY, shift="early", part="lid", quantity=1))
    results = {(item.date, item.station.station): item for item in play_plan(make(rows))}
    two = results[TUESDAY, "s2"]
    assert (two.starved, two.for_cure) == (pytest.approx(7200), pytest.approx(7200))


def test_a_part_keeps_its_number():
    results = list(play_plan(make(scrapped_rows(20))))
    numbers = [{serial for batch in result.batches for serial in batch.serials} for result in results]
    assert numbers[0] > numbers[1] > numbers[2]


def test_nothing_vanishes_between_shifts():
    """Begun at the first station = good + scrapped + what stands in the line at the end."""
    results = list(play_plan(make(routed_rows())))
    jobs = {(result.date, result.station.station): result.jobs[0] for result in results}
    last = TUESDAY + datetime.timedelta(days=1)
    begun = sum(job.begun for (_, name), job in jobs.items() if name == "s1")
    good = sum(job.finished for (_, name), job in jobs.items() if name == "s3")
    scrapped = sum(job.scrapped for job in jobs.values())
    standing = sum(link.handed for result in results if result.date == last for link in result.passages)
    assert begun == good + scrapped + standing
    assert jobs[MONDAY, "s3"].finished == 0  # all of Monday's parts cure until Tuesday
    assert jobs[TUESDAY, "s3"].finished == jobs[MONDAY, "s2"].finished
    for before, after in itertools.pairwise(result for result in results if result.station.station == "s3"):
        assert before.passages[0].handed == after.passages[0].taken
        assert [(item.what, item.count) for item in before.handed_over] == [
            (item.what, item.count) for item in after.taken_over
        ]
    (held,) = (item for item in results[2].handed_over if item.part)
    assert (held.what, held.count) == ("in process, from s2", 50)
    texts = [item.text for item in results[2].findings if item.kind == STOP]
    assert any(text.startswith("box: 0 of 50 good parts are finished") for text in texts)


def test_a_held_part_holds_its_station_in_the_next_shift():
    """Room 0: the part that s1 has finished stays in it over night, until it may go on."""
    rows = line_rows({"box": [30, 40]}, {"box": 2}, [3600], [0], end="06:30")
    rows["Stations"][0]["takt"] = 60
    rows["Builds"].append(dict(date=TUESDAY, shift="early", part="box", quantity=1))
    one, two, next_one, next_two = play_plan(make(rows))
    assert times_of(one) == [(0, 30)]
    assert one.blocked == pytest.approx(1800 - 30)
    assert two.jobs[0].begun == 0
    assert two.starved == pytest.approx(1800)
    # on Tuesday it goes on at 06:00, and the first of Tuesday is begun at once, held till the end
    assert times_of(next_two)[0] == (0, 40)
    assert times_of(next_one) == [(0, 30)]
    assert next_one.blocked == pytest.approx(1770)


def test_the_wait_is_the_handling_time_where_none_is_stated():
    rows = line_rows({"box": [30, 40]}, {"box": 1}, [None], [None], end="08:00")
    rows["Materials"][0] |= dict(move_time=25, cure_temperature=23)
    one, two = play_plan(make(rows))
    assert times_of(two)[0][0] == pytest.approx(30 + 25 * 60, abs=1e-3)
    assert two.passages[0].stay == pytest.approx(
        one.batches[0].cure.milestones["move"] - START - 30, abs=1e-3
    )


def test_a_stop_of_the_line_is_played():
    rows = line_rows({"box": [40, 70, 30]}, {"box": 5}, [10, 100], [1, 1])
    rows["Stations"][0]["takt"] = 20
    stop = Today(MONDAY, "early", stops=(Stop(START + 130, START + 160),))
    _, _, three = play_plan(make(rows), today=stop)
    assert three.jobs[0].begun < 5 or times_of(three)[-1][0] > 560


def test_the_line_sheet_leads_with_what_is_dangerous_and_what_stops():
    """A stop of one of its stations (a part is mated too late, no stock) and a pressure above the limit."""
    rows = line_rows({"box": [40, 70, 30]}, {"box": 5}, [10, 100], [1, 1], end="08:00")
    rows["Materials"][0] |= dict(open_time=1, consistency=500)
    rows["Stations"][1] |= dict(mating_delay=10)
    rows["Stations"][2] |= dict(nozzle_bore=0.3, nozzle_length=50, pressure_limit=5)
    rows["Stock"] = []
    plan = make(rows)
    content = line_content(plan, list(play_plan(plan)), "s")
    assert content is not None
    told = [str(row["warning"]) for row in content.tables["LineWarnings"] if row["station"]]
    assert told[0].startswith("▲ DANGER") and str(content.values["headline"]).startswith("▲ DANGER")
    assert any("open time" in text for text in told) and any("stock of Seal" in text for text in told)
    assert {row["station"] for row in content.tables["LineWarnings"]} >= {"s1", "s2", "s3"}


# --------------------------------------------------------------------------------- without, and refused


def all_of(result: ShiftResult) -> tuple:
    return (
        result.takt,
        [(event.clock, event.text, event.volume) for event in result.events],
        [(batch.serials, batch.begun, batch.ended, batch.mate_before) for batch in result.batches],
        result.used,
        result.closing,
        result.late_surface,
        [finding.text for finding in result.findings],
    )


def test_a_route_of_one_station_changes_nothing():
    """To the last bit: the line plays a station as it plays alone."""
    rows = hand_rows()
    rows["Stations"][0]["scrap"] = 0.1
    plain = list(play_plan(make(rows)))
    rows["Routes"] = [dict(part="frame", step=1, station="hem")]
    assert [all_of(result) for result in play_plan(make(rows))] == [all_of(result) for result in plain]
    assert lines(make(hand_rows())) == {}
    assert not plain[0].passages and plain[0].pace is None


def test_the_way_of_a_part_counts_the_wait_between_its_shots():
    """Two shots of 2.5 mL at 5 mL/s with 20 min between them: 1200 s and twice 0.5 s, by hand."""
    rows = hand_rows()
    del rows["Beads"]
    pot = dict(pot="bed", part="frame", station="hem", shape="box", length=50, width=20, depth=20, level=5)
    rows["Pots"] = [pot]
    rows["Shots"] = [dict(part="frame", pot="bed", shot=shot, portion=0.5, wait=20) for shot in (1, 2)]
    rows["Stations"][0] |= dict(flow=5, start_time=0, handling_time=0)
    rows["Routes"] = [dict(part="frame", step=1, station="hem")]
    assert route_time(make(rows), "frame", START) == pytest.approx(1201.0)


def test_the_last_part_is_begun_so_that_it_is_through_by_the_end():
    """Worked by hand: 06:00 to 08:00, break 07:30 to 07:40, 11 boxes of 40 s and 70 s, 600 s of wait between.

    Backwards from 08:00, 20 s at each station for a container: s2 from 07:58:50, its container 07:58:30,
    done at s1 by 07:48:30, begun there 07:47:50, container 07:47:30: 6450 − 600 s of work, 10 takts.
    With a wait of 20 min it must be done at s1 by 07:38:30, in the break: begun by 07:29:20, 07:29:00.
    """
    for wait, worked in ((600, 6450 - 600), (1200, 5340)):
        rows = line_rows({"box": [40, 70]}, {"box": 11}, [wait], [None], end="08:00", container_time=20)
        rows["Breaks"] = [dict(shift="early", start="07:30", end="07:40")]
        one, two = play_plan(make(rows))
        assert one.takt == pytest.approx(worked / 10)
        assert two.jobs[0].finished == 11
        assert one.pace is not None and one.pace.spread is not None
        assert one.pace.text == (
            f"The number asked for sets the pace, {worked / 10:.1f} s for each good part; s2 allows 70.0 s"
        )


def test_room_that_held_nobody_up_did_not_set_the_pace():
    """Worked by hand: 30 s of work and 900 s of wait in 4 places and under a nozzle, 186 s for each part.

    Parts come every 100 s: the first leaves its place at 930 s, when the fifth is finished at 430 s it finds
    no room. Four of them all do, and the takt was what they came by.
    """
    for parts, pace in (
        (4, "Takt of s1 sets the pace, 100.0 s"),
        (5, "Room before s2 sets the pace, 186.0 s"),
    ):
        rows = line_rows({"box": [30, 60]}, {"box": parts}, [900], [4], end="08:00")
        rows["Stations"][0]["takt"] = 100
        one, two = play_plan(make(rows))
        assert one.blocked == pytest.approx(0 if parts == 4 else 500)
        assert one.pace is not None and one.pace.text.startswith(pace)
        assert two.jobs[0].finished == parts


def cooling_rows(takt: float | None) -> dict[str, list[dict[str, Any]]]:
    """A line whose cure doubles each 10 K, in a hall that cools from 33 to 13 °C."""
    rows = line_rows({"box": [30, 60]}, {"box": 100}, [None], [None], end="14:00", container_time=60)
    rows["Materials"][0] |= dict(
        cure="room", move_time=40, cure_temperature=23, halving_step=10, activation_energy=None
    )
    rows["Stations"][0] |= dict(takt=takt, record="Hall")
    rows["Temperatures"] = [
        dict(record="Hall", time=time, temperature=value) for time, value in (("06:00", 33), ("14:00", 13))
    ]
    return rows


def test_all_are_through_in_a_shop_that_cools():
    """A cure of 20 min at 33 °C and of more than an hour at the end: what a stated takt makes is made.

    The last one is early by the changes for which time is kept, and no more.
    """
    *_, stated = play_plan(make(cooling_rows(200)))
    _, two = play_plan(make(cooling_rows(None)))
    assert stated.jobs[0].finished == two.jobs[0].finished == 100
    left = two.calendar.end - max(batch.ended for batch in two.batches)
    # 60 s for a container at s2, and 60 s at s1 that a later begin would cure for longer: 1.3 h of cure
    # grow by ln 2 / 10 K · 2.5 K/h · 1.3 h = 0.23 of the delay
    assert left == pytest.approx(60 + 60 * 1.23, abs=3.0)
    assert not [item for item in two.findings if item.topic == "output"]


def test_a_line_that_is_short_says_what_holds_it_up():
    """A stated takt that is too slow sets the pace; room that is never full does not."""
    rows = line_rows({"box": [30, 60]}, {"box": 100}, [900], [20], end="08:00")
    rows["Stations"][0]["takt"] = 90
    *_, two = play_plan(make(rows))
    (text,) = (item.fix for item in two.findings if item.topic == "output")
    assert "Takt of s1 sets the pace, 90.0 s" in text
    rows = line_rows({"box": [30, 60]}, {"box": 20}, [900], [20], end="08:00")
    content = line_content(make(rows), list(play_plan(make(rows))), "s")
    assert content is not None
    assert str(content.values["headline"]).startswith("The number asked for sets the pace")
    assert [row["pace"] for row in content.tables["LineStations"]] == ["The number asked for", ""]


def test_one_station_is_played_with_its_line():
    plan = make(line_rows({"box": [40, 70, 30]}, {"box": 5}, [10, 100], [1, 1]))
    assert play_shift(plan, MONDAY, "early", "s3").jobs[0].begun > 0
    assert [result.station.station for result in play_plan(plan, stations=["s3"])] == ["s1", "s2", "s3"]


@pytest.mark.parametrize(
    ("change", "cell", "text"),
    [
        (lambda rows: rows["Routes"].append(dict(part="box", step=4, station="s1")), "Routes!C5", "twice"),
        (lambda rows: rows["Routes"].pop(), "Routes!A2", "leaves out s3"),
        (lambda rows: rows["Routes"][2].update(room=4), "Routes!E4", "last station"),
        (lambda rows: rows["Beads"].pop(), "Routes!C4", "puts nothing on it"),
    ],
)
def test_routes_that_no_part_can_take(change, cell, text):
    rows = line_rows({"box": [40, 70, 30]}, {"box": 5}, [10, 100], [1, 1])
    change(rows)
    with pytest.raises(InputError) as caught:
        make(rows)
    found = {problem.where: str(problem) for problem in caught.value.problems}
    assert text in found[cell]


def test_routes_against_each_other_are_refused():
    rows = line_rows({"box": [40, 70], "lid": [40, 70]}, {"box": 5, "lid": 5}, [10], [1])
    for row, station in zip(rows["Routes"][2:], ("s2", "s1"), strict=True):
        row["station"] = station
    with pytest.raises(InputError, match="leads back from"):
        make(rows)
    rows = line_rows({"box": [40, 70], "lid": [40, 70]}, {"box": 5, "lid": 5}, [10], [1])
    rows["Routes"][2]["room"] = 2
    with pytest.raises(InputError, match="state it alike"):
        make(rows)


def three_at_290(**done):
    """The line of three worked by hand, at 06:04:50: s1 has finished five, s2 three, s3 one."""
    rows = line_rows({"box": [40, 70, 30]}, {"box": 5}, [10, 100], [1, 1])
    rows["Stations"][0]["takt"] = 20
    told = {name: Told(count) for name, count in (dict(s1=5, s2=3, s3=1) | done).items()}
    played = play_plan(make(rows), today=Today(MONDAY, "early", START + 290, told))
    return {result.station.station: result for result in played}


def test_a_line_from_now_on_goes_on_as_the_table_worked_by_hand():
    found = three_at_290()
    two, three = found["s2"], found["s3"]
    assert list(found) == ["s2", "s3"]  # nothing is left to do at s1
    assert times_of(two) == [(290, 360), (390, 460)]
    assert times_of(three) == [(290, 320), (390, 420), (460, 490), (560, 590)]
    assert [job.quantity for job in (*two.jobs, *three.jobs)] == [2, 4]
    assert {item.what: item.count for item in three.taken_over if item.part} == {"in process, from s2": 2}
    assert not [item for item in (*two.findings, *three.findings) if item.topic == "output"]


def test_a_line_from_now_on_takes_what_is_told_before_what_was_reckoned():
    """s3 has begun none by 290, so 1 stands before it and 2 in s2, 3 before s2 and 4 in s1. By hand:

    part  s1        s2        may    s3
    1                         220    290-320
    2                         290    320-350
    3               290-360   460    460-490
    4               360-430   530    530-560
    5     290-330   460-530   630    after the end      (4 holds s2 until 3 is begun at s3)
    """
    found = three_at_290(s1=4, s2=2, s3=0)
    assert times_of(found["s1"]) == [(290, 330)]
    assert times_of(found["s2"]) == [(290, 360), (360, 430), (460, 530)]
    assert times_of(found["s3"]) == [(290, 320), (320, 350), (460, 490), (530, 560)]


def test_a_line_on_plan_from_now_on_goes_on_as_the_whole_shift():
    """No takt is stated: parts came as printed, so that none counts as cured for longer."""
    rows = line_rows({"box": [40, 70, 30]}, {"box": 60}, [600, 100], [20, 20])
    rows["Shifts"][0]["end"] = "09:00"
    whole = {result.station.station: times_of(result) for result in play_plan(make(rows))}
    now = 3601.0
    told = {name: Told(sum(begin < now for begin, _ in times)) for name, times in whole.items()}
    found = play_plan(make(rows), today=Today(MONDAY, "early", START + now, told))
    played = {result.station.station: times_of(result) for result in found}
    for station in ("s2", "s3"):  # what s1 begins from now on may go on after 600 s and its own 40 s only
        rest = [item for item in whole[station] if now <= item[0] < now + 640.0]
        assert len(rest) >= 3 and played[station][: len(rest)] == [
            pytest.approx(item, abs=2.0) for item in rest
        ]


@pytest.mark.parametrize(("wait", "is_told"), [(9, True), (11, False), (None, False)])
def test_a_wait_shorter_than_the_handling_time_is_told(wait, is_told):
    """Handled after 10 min at the shop's 23 °C, as the data sheet states for 23 °C."""
    rows = line_rows({"box": [40, 70]}, {"box": 2}, [0], [5])
    rows["Routes"][0]["wait"] = wait
    for row in rows["Materials"]:
        row.update(move_time=10, cure="room", cure_temperature=23)
    found = [item for item in route_findings(make(rows)) if item.topic == "wait before handling"]
    assert [item.kind for item in found] == ["quality"] * is_told
    assert not found or "after 9 min, as Routes states, and may be handled after 10 min" in found[0].text


def test_a_line_cannot_have_done_more_than_fits():
    with pytest.raises(InputError, match="at most 3: no more fit in till 06:04 at s2"):
        three_at_290(s2=4)


@pytest.mark.parametrize("seed", range(8))
def test_any_line_from_now_on_loses_nothing(seed):
    """As played till 07:30 and then on: what begins before and after is what came, and is somewhere."""
    plan = make(crowded_rows(seed))
    now = Today(MONDAY, "early", START + 5400)
    results = [result for result in play_plan(plan, today=now) if result.date == MONDAY]
    whole = [result for result in play_plan(plan) if result.date == MONDAY]
    for result in results:
        assert all(result.balance(letter) == 0 for letter in result.letters)
        for job in result.jobs:
            assert job.begun + job.taken == job.finished + job.scrapped + job.lost + job.carried
        for link in result.passages:
            assert link.taken + link.entered == link.passed + link.handed
    # the rest asks for no more than the whole shift, and begins parts of its own only where the whole does
    asked = {item.station.station: sum(job.quantity for job in item.jobs) for item in whole}
    for result in results:
        assert sum(job.quantity for job in result.jobs) <= asked[result.station.station]


# ------------------------------------------------------------------------------------- over any plan


def crowded_rows(seed: int) -> dict[str, list[dict]]:
    """A line with all that may be in the way: mixers, breaks, checks, scrap, nozzles, shots, three shifts."""
    rng = np.random.default_rng(seed)
    parts, stations = ("box", "lid"), int(rng.integers(2, 5))
    work = {part: rng.integers(20, 200, stations).astype(float).tolist() for part in parts}
    waits = [float(wait) for wait in rng.integers(0, 3000, stations - 1)]
    room = [[None, 0, 1, 5][place] for place in rng.integers(0, 4, stations - 1)]
    rows = line_rows(work, {"box": 12, "lid": 8}, waits, room, end="10:00")
    two_part = hand_rows()
    rows["Materials"], rows["Components"] = two_part["Materials"], two_part["Components"]
    rows["Stock"] = [
        row | dict(lot=f"{row['lot']}{seed}", quantity=1e6, expiry="2026-12-31") for row in two_part["Stock"]
    ]
    rows["Materials"][0] |= dict(pot_life=20, open_time=600)
    rows["Breaks"] = two_part["Breaks"]
    for row in rows["Stations"]:
        row |= dict(
            material="Bond 60",
            mixer_volume=5,
            purge_share=0.6,
            purge_time=20,
            container_time=30,
            start_volume=3,
            checks=float(rng.integers(0, 3)),
            scrap=float(rng.choice([0.0, 0.05, 0.2])),
            nozzles=int(rng.integers(1, 3)),
            flow=0.1,
            after_run=str(rng.choice(["throw away", "keep closed"])),
        )
    if seed % 2:  # a part that is half done waits for its second shot
        station = rows["Stations"][int(rng.integers(0, stations))]["station"]
        rows["Pots"] = [
            dict(
                pot="well", part="box", station=station, shape="box", length=20, width=20, depth=20, level=10
            )
        ]
        rows["Shots"] = [dict(part="box", pot="well", shot=shot, portion=0.5, wait=20) for shot in (1, 2)]
    rows["Builds"] += [
        dict(date=MONDAY + datetime.timedelta(days=day), shift="early", part=part, quantity=6)
        for day, part in ((1, "box"), (2, "lid"), (2, "box"))
    ]
    return rows


@pytest.mark.parametrize("seed", range(24))
def test_nothing_vanishes_on_any_line(seed):
    """Begun in the line = good + scrapped + lost + what stands in it; every drop and minute has its place."""
    plan = make(crowded_rows(seed))
    results = list(play_plan(plan))
    order = [row.station for row in plan.stations]
    standing: dict[str, int] = {}
    half_done: dict[tuple[str, str], int] = {}
    for result in results:
        name, calendar = result.station.station, result.calendar
        assert all(result.balance(letter) == 0 for letter in result.letters)
        for job in result.jobs:
            assert job.begun + job.taken == job.finished + job.scrapped + job.lost + job.carried
            assert job.taken == half_done.get((name, job.part), 0)
            half_done[name, job.part] = job.carried
        for link in result.passages:
            assert link.taken == standing.get(name, 0)
            assert link.taken + link.entered == link.passed + link.handed
            assert link.room is None or link.between.peak <= link.room
            assert link.passed == sum(job.begun for job in result.jobs)
            standing[name] = link.handed
        spent = result.busy / result.station.nozzles + result.starved + result.blocked
        assert min(result.starved, result.blocked) >= 0.0
        assert spent <= calendar.available + 1e-6
    jobs = [(result.station.station, job) for result in results for job in result.jobs]
    begun = sum(job.begun for name, job in jobs if name == order[0])
    good = sum(job.finished for name, job in jobs if name == order[-1])
    lost = sum(job.scrapped + job.lost for _, job in jobs)
    assert begun == good + lost + sum(standing.values()) + sum(half_done.values())
    for _, group in itertools.groupby(results, key=lambda result: (result.date, result.shift)):
        entered = {r.station.station: r for r in group}
        for before, after in itertools.pairwise(order):
            if before in entered and after in entered:
                finished = sum(job.finished for job in entered[before].jobs)
                assert entered[after].passages[0].entered == finished
