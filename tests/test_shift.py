"""The shift played out: a case worked by hand, limits, and the balance."""

from __future__ import annotations

import datetime
import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import MONDAY, hand_rows, make

from dispense.base.clock import hhmm
from dispense.base.errors import InputError
from dispense.forecast.response import occurrences, play_lean
from dispense.plan.amounts import applications
from dispense.plan.materials import working_life
from dispense.sheets.material import shift_material_content
from dispense.shift.calendar import Calendar
from dispense.shift.play import play_plan, play_shift
from dispense.shift.store import Lot, Store, first_expired, use_by
from dispense.shift.today import Stop, Today, Told
from dispense.shift.windows import latest_times

ML = 10**6  # nanolitres in a millilitre

#: what is done with a mixer that nobody uses on
OFF = "take the mixer off and close the outlets, throw the mixer away"


def play(rows=None, station="hem", shift="early", date=MONDAY):
    return play_shift(make(rows or hand_rows()), date, shift, station)


# The shift of tests/plans.py worked by hand (no outside source; plain arithmetic):
#   bead 10 mm × 1 mm × 1000 mm = 10 mL, 10 s at 100 mm/s; working time 4 h − 30 min = 12,600 s;
#   takt 600 s: 21 parts, 12 of them before 8:00 (6:00, 6:10 … 7:50), 9 from 8:30 (8:30 … 9:50).
#   The mixer holds 10 mL, one shot, so what stands in it went in at the last shot. At 8:30 that is
#   40 min ago: 40/60 = 0.667 of the pot life, over the limit of 0.6 (reached at 7:50 + 36 min =
#   8:26, when nobody is there): one purge of 15 mL before the break, which takes no time, at 8:00. At
#   8:30 that is 30 min ago, 0.5. Within the flow the age is 10 min = 0.167: no purge.
#   Check shots: 0.5 an hour over 3.5 h of work: at 0 h and 2 h of work, i.e. 6:00 and 8:30; 4 mL.
#   Mixed material: mixer 10, start 8, check 4, parts 12 × 10 = 120, purge 15 | check 4,
#   parts 9 × 10 = 90, end 6: 257 mL, half of it A and half B = 128.5 mL each.
#   A container is changed before the part that it cannot finish (common practice, no source); a shot
#   takes 5 mL of A and 5 mL of B.
#   A: 100 mL container less 5 % heel gives 95. Drawn: 71 at 8:00 (142 mixed), 80.5 after purge and
#      check, 90.5 after the shot of 8:40: 4.5 mL are left, too few for the shot of 8:50. The crew
#      changes when the shot of 8:40 is done, 8:40:10. 128.5 takes 2 containers, a heel of 5 and a rest
#      of 4.5 mL are lost: 200 − 128.5 − 5 − 4.5 = 62 mL stand at the end.
#   B: 60 mL less 10 % gives 54. Drawn: 11 at 6:00, 51 after the eighth shot (7:10): 3 mL are left,
#      change at 7:10:10. Then 4 shots, purge 7.5, check 2 and 4 shots (8:30 … 9:00): 49.5, 4.5 are
#      left, change at 9:00:10. 3 containers, 2 heels = 12 mL, rest 7.5: 180 − 128.5 − 12 − 7.5 = 32.


def test_hand_worked_volumes():
    result = play()
    assert result.jobs[0].finished == 21
    assert {
        key: result.dispensed(key) / ML
        for key in ("parts", "scrap", "start", "end", "purge", "mixers", "checks")
    } == {"parts": 210, "scrap": 0, "start": 8, "end": 6, "purge": 15, "mixers": 10, "checks": 8}
    assert result.containers == {"a": 2, "b": 3}
    assert {letter: result.used[letter]["heel"] / ML for letter in "ab"} == {"a": 5, "b": 12}
    assert {letter: result.closing[letter] / ML for letter in "ab"} == {"a": 62, "b": 32}
    assert {letter: result.used[letter]["rest"] / ML for letter in "ab"} == {"a": 4.5, "b": 7.5}
    assert {letter: result.mounted[letter] / ML for letter in "ab"} == {"a": 200, "b": 180}
    assert [result.balance(letter) for letter in "ab"] == [0, 0]


def test_hand_worked_clock_times():
    result = play()
    clock = {
        kind: [event.clock for event in result.events if event.kind == kind]
        for kind in ("purge", "check", "container", "break")
    }
    assert clock["purge"] == [8 * 3600]
    assert clock["check"] == [6 * 3600, 8.5 * 3600]
    changes = {
        letter: [
            event.clock for event in result.events if event.kind == "container" and event.component == letter
        ]
        for letter in "ab"
    }
    assert changes["a"] == pytest.approx([6 * 3600, 8 * 3600 + 40 * 60 + 10], abs=1e-6)
    assert changes["b"] == pytest.approx([6 * 3600, 7 * 3600 + 10 * 60 + 10, 9 * 3600 + 10], abs=1e-6)
    assert next(e.text for e in result.events if e.kind == "purge") == (
        # a new mixer holds 10 mL: less than the purge, and this is told
        "purge 15.0 mL: no part until 08:30, the mixer reaches its limit at 08:26; "
        "a new mixer takes 10.0 mL and 0 s, purging 15.0 mL and 0 s"
    )


def test_lots_leave_first_expired_first_out():
    result = play()
    assert [(use.component, use.lot, use.containers) for use in result.lots] == [
        ("a", "A1", 2),
        ("b", "B1", 1),
        ("b", "B2", 2),
    ]


def test_cure_board_by_hand():
    # batch 1: parts 1–10, first put on at 6:00, last finished at 7:30:10. Open time 30 min at the
    # shop temperature runs from the first material on the first part (common practice, no
    # source): it must be mated by 6:00 + 30 min. 4 h to move, 24 h to test.
    first = play().batches[0]
    assert (first.first, first.last) == (1, 10)
    assert first.mate_before == 6 * 3600 + 1800
    assert first.milestones["move"] == 7.5 * 3600 + 10 + 4 * 3600
    assert first.milestones["test"] == 7.5 * 3600 + 10 + 24 * 3600
    assert first.milestones["join"] is None


def test_takt_of_three_minutes_gives_160_parts():
    # common practice, no source: one product every 3 minutes is 160 in 480 minutes
    rows = hand_rows()
    rows["Breaks"] = []
    rows["Shifts"] = [dict(shift="early", start="06:00", end="14:00")]
    rows["Stations"][0].update(takt=180)
    rows["Builds"][0]["quantity"] = 160
    result = play(rows)
    assert result.jobs[0].finished == 160
    rows["Builds"][0]["quantity"] = 161
    result = play(rows)
    assert result.jobs[0].finished == 160
    assert result.warnings[0] == "frame: 160 of 161 good parts are finished by 14:00"


def test_cells_of_a_pack():
    # common practice, no source: blocks of 432 cells, two to a module, nine modules to a pack give
    # 7,776 cells; seven modules give 6,048
    rows = hand_rows()
    rows["Parts"].append(dict(part="block"))
    rows["Pots"] = [
        dict(
            pot="cells",
            part="block",
            station="pour",
            shape="box",
            length=420,
            width=420,
            depth=80,
            level=60,
            cells=432,
            cell="18650",
        )
    ]
    rows["Stations"].append(dict(station="pour", material="Bond 60", flow=20))
    rows["Assemblies"] = [
        dict(assembly="module", part="block", count=2),
        dict(assembly="pack", part="module", count=9),
        dict(assembly="short pack", part="module", count=7),
    ]
    rows["Builds"].append(dict(date=MONDAY, shift="early", part="pack", quantity=1))
    plan = make(rows)
    cells = {pot.part: pot.cells for pot in plan.pots}
    for name, count in (("pack", 7776), ("short pack", 6048)):
        assert sum(cells[part] * number for part, number in plan.explode(name).items()) == count
    assert plan.builds_of(MONDAY, "early") == {"frame": 21, "block": 18}
    # free volume by hand: 420 × 420 × 60 mm³ − 432 × π/4 × 18² × 60 mm³
    shot = applications(plan, "block")[0].amount.nominal
    assert shot == pytest.approx((420 * 420 * 60 - 432 * math.pi / 4 * 18**2 * 60) * 1e-9, rel=1e-12)


def test_a_hot_afternoon_asks_for_more():
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = 30
    rows["Stations"][0].update(record="day", purge_share=0.5)
    rows["Temperatures"] = [
        dict(record="day", time="06:00", temperature=20),
        dict(record="day", time="10:00", temperature=38),
    ]
    hot = play(rows)
    rows["Temperatures"][1]["temperature"] = 20
    cool = play(rows)
    assert hot.purges > cool.purges
    assert hot.drawn("a") > cool.drawn("a")


def test_parts_that_come_too_slowly_are_told():
    # by hand: 16 min of pot life, limit 0.6 × 16 = 9.6 min, a part every 10 min: the shot before is
    # always too old, so each visit but the first purges; breaks are not the cause
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = 16
    words = "purges and mixer changes fall between parts, not after breaks: at a takt of 600 s"
    assert any(words in warning for warning in play(rows).warnings)
    assert not any(words in warning for warning in play().warnings)  # one purge, after the break


def test_gelled_mixer_is_changed():
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = 35  # 40 min of standing is more than the whole pot life
    result = play(rows)
    assert (result.purges, result.mixers) == (0, 2)
    # it is not left to gel: off when the part of 7:50 is done, a new one after the break (common practice)
    assert [(e.clock, e.kind) for e in result.events if e.kind in ("off", "mixer")] == [
        (7 * 3600 + 50 * 60 + 10, "off"),
        (8.5 * 3600, "mixer"),
    ]
    # 60 % of 35 min after 7:50
    assert "reaches its limit at 08:11" in next(e.text for e in result.events if e.kind == "off")


def test_open_lots_and_missing_stock():
    rows = hand_rows()
    rows["Stock"][1].update(expiry="2026-03-01")  # expired the day before
    rows["Stock"][2].update(quantity=60)
    result = play(rows)
    assert result.missing == {"b": 120 * ML}
    text = "\n".join(result.warnings)
    assert "stock of Bond 60 B is short by 2 containers (120 mL)" in text
    assert "lot B1 may not be used: last day was 2026-03-01" in text
    assert result.balance("b") == 0


def test_a_container_that_never_came_is_owed_on():
    """Of the 32 mL of B that stand at the end of the day worked by hand, 26 could be drawn; all are of
    containers that no store held. The next day begins one part: 1 × 60 mL is still to be brought."""
    rows = hand_rows()
    del rows["Stock"][1]
    rows["Stock"][1].update(quantity=60)
    rows["Components"][1]["open_life"] = 1  # what never came does not age
    rows["Builds"].append(dict(date="2026-03-04", shift="early", part="frame", quantity=1))
    plan = make(rows)
    monday, wednesday = play_plan(plan)
    assert monday.missing == {"b": 120 * ML} and not monday.owed
    assert wednesday.owed == {"b": 26 * ML} and not wednesday.missing
    assert wednesday.used["b"]["expired"] == 0 and wednesday.balance("b") == 0
    (told,) = [item for item in wednesday.findings if item.topic == "shortage"]
    assert told.kind == "stop" and "26 mL of Bond 60 B are counted as standing here" in told.text
    sheet = shift_material_content(plan, wednesday, "")
    assert sheet.values["headline"] == "▲ 1 × B 60 mL missing"
    assert [row["lot"] for row in sheet.tables["MaterialLots"]] == ["lacking since a shift before"]


def test_opened_container_goes_first():
    rows = hand_rows()
    rows["Components"][0]["open_life"] = 7
    rows["Stock"].append(
        dict(
            material="Bond 60", component="a", lot="A0", quantity=50, expiry="2026-12-31", opened="2026-02-27"
        )
    )
    result = play(rows)
    assert [use.lot for use in result.lots if use.component == "a"] == ["A0", "A1"]
    rows["Stock"][-1]["opened"] = "2026-02-20"  # open for ten days: too long
    result = play(rows)
    assert [use.lot for use in result.lots if use.component == "a"] == ["A1"]


def test_stock_and_containers_are_carried_to_the_next_shift():
    rows = hand_rows()
    rows["Shifts"].append(dict(shift="late", start="10:00", end="14:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=5))
    first, second = play_plan(make(rows))
    assert {k: second.opening[k] for k in "ab"} == {k: first.closing[k] for k in "ab"}
    assert second.balance("a") == second.balance("b") == 0


def test_windows_that_a_break_pushes_past():
    rows = hand_rows()
    rows["Materials"][0].update(surface_window=30, open_time=20)
    rows["Stations"][0].update(treatment_lead=10, mating_delay=15)
    result = play(rows)
    # no. 12 is not begun at 7:50: it would be mated at 8:35:10, 15 min of work later, and be open until 8:10.
    # To treat it again costs less than to set it aside (common practice, no source)
    # treated at 7:40 and 7:50, dispensed after the break at 8:30: 50 and 40 min, window 30 min
    assert [(part, serial) for part, serial, *_ in result.late_surface] == [("frame", 12), ("frame", 13)]
    assert [hhmm(latest) for *_, latest, _ in result.late_surface] == ["08:10", "08:20"]
    assert result.late_mating == []


@pytest.mark.parametrize(
    ("open_time", "begun", "late"),
    [
        # mated at 7:55:10 and 8:35:10; open 20 min from 7:50 to 8:10 only: begun when the break is over
        (20, "08:30", 0),
        (46, "07:50", 0),  # open to 8:36
        (10, "07:50", 21),  # 15 min to mating: no part keeps that, and waiting helps none
    ],
)
def test_a_part_that_cannot_wait_out_a_break_is_begun_after_it(open_time, begun, late):
    rows = hand_rows()
    rows["Materials"][0]["open_time"] = open_time
    rows["Stations"][0] |= dict(mating_delay=15, checks=0, batch=1, purge_share=0.9)
    result = play(rows)
    starts = {batch.first: batch.begun for batch in result.batches}
    assert (hhmm(starts[11]), hhmm(starts[12])) == ("07:40", begun)
    assert len(result.late_mating) == late and result.jobs[0].finished == 21


@pytest.mark.parametrize(
    ("open_time", "late"),
    [
        (20, []),  # open from 7:52 to 8:12
        (9, [("07:52", "08:01", "08:31")]),  # open to 8:01:00 only: lost, however long somebody stays
    ],
)
def test_a_crew_stays_into_a_break_for_an_open_part(open_time, late):
    """Worked by hand: no. 12 is due at 7:50, its new mixer takes 2 min, it is on from 7:52:00 to 7:52:10.

    9 min to mating: 8:01:10, in the break from 8:00 to 8:30; after it that would be 8:31:10. A crew stays a
    quarter of an hour rather than lose a part (common practice, no source).
    """
    rows = hand_rows()
    rows["Materials"][0]["open_time"] = open_time
    rows["Stations"][0] |= dict(mating_delay=9, checks=0, batch=1, purge_share=0.1, mixer_time=120)
    rows["Stations"][0]["rule"] = "change mixer"  # it is thrown away: nobody hurries with it
    result = play(rows)
    begun = {batch.first: batch.begun for batch in result.batches}
    assert (hhmm(begun[11]), hhmm(begun[12])) == ("07:42", "07:52")
    found = [(number, latest, planned) for _, number, latest, planned in result.late_mating if number == 12]
    assert [(hhmm(begun[n]), hhmm(latest), hhmm(planned)) for n, latest, planned in found] == late


def test_a_part_that_is_held_lets_others_pass():
    """Two shots 20 min apart, open 25 min, mated at once: a part begun after 7:40 would stand open over the
    break. Those begun until then get their second shots before it, in their order."""
    rows = hand_rows()
    del rows["Beads"]
    pot = dict(pot="bed", part="frame", station="hem", shape="box", length=50, width=20, depth=20, level=10)
    rows["Pots"] = [pot]
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=shot, portion=0.5, wait=20 * (shot - 1)) for shot in (1, 2)
    ]
    rows["Materials"][0] |= dict(open_time=25, pot_life=None)
    rows["Stations"][0] |= dict(flow=5, checks=0, batch=1, mixer_volume=0)
    result = play(rows)
    ways = {batch.first: (hhmm(batch.begun), hhmm(batch.ended)) for batch in result.batches}
    assert (ways[10], ways[11]) == (("07:30", "07:50"), ("08:30", "08:50"))
    assert result.late_mating == []


def test_two_shots_wait_for_each_other():
    rows = hand_rows()
    rows["Pots"] = [
        dict(pot="well", part="frame", station="pour", shape="box", length=100, width=50, depth=40, level=20)
    ]
    rows["Shots"] = [
        dict(part="frame", pot="well", shot=1, portion=0.4),
        dict(part="frame", pot="well", shot=2, portion=0.6, wait=45),
    ]
    rows["Stations"].append(dict(station="pour", material="Bond 60", flow=10, takt=600))
    rows["Builds"][0]["quantity"] = 3
    result = play(rows, station="pour")
    # 100 × 50 × 20 mm³ = 100 mL; first shots at 6:00, 6:10, 6:20, 4 s each; second 45 min later
    assert result.dispensed("parts") == 300 * ML
    assert result.jobs[0].finished == 3
    assert result.batches[0].ended == pytest.approx(6 * 3600 + 1200 + 4 + 45 * 60 + 6)


def test_calendar():
    day = Calendar(0.0, 1000.0, [(200.0, 300.0), (500.0, 600.0)])
    assert day.available == 800.0
    assert [day.clock(work) for work in (0, 199, 200, 399, 400, 800, 900)] == [
        0,
        199,
        300,
        499,
        600,
        1000,
        1100,
    ]
    assert [day.worked(clock) for clock in (0, 250, 300, 550, 1000, 1100)] == [0, 200, 200, 400, 800, 900]
    assert day.fit(150.0, 60.0) == 300.0
    assert day.fit(950.0, 60.0) == math.inf


def figures(low, high):
    """Numbers as a plan would hold them: six digits after the point."""
    return st.floats(low, high).map(lambda value: round(value, 6))


@settings(max_examples=60, deadline=None)
@given(
    quantity=st.integers(1, 60),
    scrap=figures(0, 0.4),
    life=figures(5, 500),
    share=figures(0.05, 1.0),
    mixer=figures(0, 60),
    purge=figures(1, 80),
    ratio=figures(0.1, 10),
    heel=figures(0, 0.5),
    checks=figures(0, 4),
    hot=figures(5, 45),
    hose=figures(0, 150),
    takt=figures(20, 900),
)
def test_the_balance_always_closes(
    quantity, scrap, life, share, mixer, purge, ratio, heel, checks, hot, hose, takt
):
    rows = hand_rows()
    rows["Materials"][0].update(pot_life=life, ratio_b=ratio)
    rows["Stations"][0].update(
        scrap=scrap,
        purge_share=share,
        mixer_volume=mixer,
        purge_volume=purge,
        checks=checks,
        hose_a=hose,
        hose_b=hose / 2,
        takt=takt,
        record="day",
    )
    rows["Temperatures"] = [
        dict(record="day", time="06:00", temperature=20),
        dict(record="day", time="10:00", temperature=hot),
    ]
    rows["Components"][1]["heel"] = heel
    rows["Builds"][0]["quantity"] = quantity
    rows["Builds"].append(
        dict(date=MONDAY + datetime.timedelta(days=1), shift="early", part="frame", quantity=quantity)
    )
    plan = make(rows)
    store = Store.of(plan)
    before = {key: sum(lot.left for lot in lots) for key, lots in store.lots.items()}
    for result in play_plan(plan):
        for letter in "ab":
            assert result.balance(letter) == 0
            assert min(result.used[letter].values()) >= 0
            assert result.closing[letter] >= 0
        assert result.jobs[0].finished <= quantity
        assert result.jobs[0].begun == result.jobs[0].finished + result.jobs[0].scrapped
    assert before  # the store of the plan itself is not touched by playing it
    assert before == {key: sum(lot.left for lot in lots) for key, lots in Store.of(plan).lots.items()}


@settings(max_examples=25, deadline=None)
@given(quantity=st.integers(0, 20), more=st.integers(0, 10))
def test_more_parts_never_use_less(quantity, more):
    used = []
    for count in (quantity, quantity + more):
        rows = hand_rows()
        rows["Builds"][0]["quantity"] = count
        used.append(play(rows).drawn("a"))
    assert used[0] <= used[1]


def night_rows():
    """The shift worked by hand, 16 h later; B1 and B2 may be used on the day of the shift and not after."""
    rows = hand_rows()
    rows["Shifts"] = [dict(shift="early", start="22:00", end="26:00")]
    rows["Breaks"] = [dict(shift="early", start="24:00", end="24:30")]
    rows["Stock"] = [row for row in rows["Stock"] if row["component"] == "a"] + [
        dict(material="Bond 60", component="b", lot=lot, quantity=quantity, expiry=expiry)
        for lot, quantity, expiry in (("B1", 60, MONDAY), ("B2", 600, MONDAY), ("B3", 600, "2026-06-30"))
    ]
    return rows


def test_after_midnight_a_lot_of_yesterday_is_not_put_on():
    """The shift worked by hand above, 16 h later: B changes at 23:10 and at 01:00, the day after."""
    result = play(night_rows())
    changes = [event for event in result.events if event.kind == "container" and event.component == "b"]
    assert [event.lot for event in changes] == ["B1", "B2", "B3"]
    assert hhmm(changes[1].clock) == "23:10" and hhmm(changes[2].clock) == "01:00 +1 d"


PAST_DAY, GOT_IT = "used past its last day", "got what is past its last day"


def test_a_container_past_its_last_day_is_told_over_midnight():
    """B2 is connected from 23:10 to 01:00, and its last day ends at 24:00. A part every 10 min: 12 till the
    break from 24:00 to 00:30, and of B2 no. 13 to 16 at 00:30, 00:40, 00:50 and 01:00, after which it is
    changed: 30.5 mL stand in it at 00:30, its heel of 6 mL, the 4.5 mL told as left at the change and
    4 parts of 5 mL. A is good till June."""
    result = play(night_rows())
    (told,) = [item for item in result.findings if item.topic == PAST_DAY]
    assert (told.kind, told.component, told.numbers["parts"]) == ("quality", "b", 4)
    assert f"lot B2 is past its last day, {MONDAY}, from Tue 3 Mar 00:00 on: 4 parts would get" in told.text
    assert told.text.endswith("from frame no. 13 at Tue 3 Mar 00:30 on")
    assert told.fix == "connect a container of lot B3 by then; 30 mL in the old one are thrown away"
    later = play(night_rows() | {"Stock": hand_rows()["Stock"]})
    assert not [item for item in later.findings if item.topic == PAST_DAY]


def test_an_open_container_past_its_open_life_is_told_alike():
    """Good for half a day once open: the last day is the one on which both were opened, at 22:00."""
    rows = night_rows() | {"Stock": hand_rows()["Stock"]}
    for row in rows["Components"]:
        row["open_life"] = 0.5
    told = [item for item in play(rows).findings if item.topic == PAST_DAY]
    assert {item.component for item in told} == {"a", "b"}
    assert all(f"{MONDAY}, from Tue 3 Mar 00:00 on" in item.text for item in told)


def test_under_way_after_midnight_what_was_made_and_what_is_to_come_are_told_apart():
    """At 00:45, 14 of them begun: no. 13 and 14 got of B2, no. 15 and 16 would."""

    def rest(**told):
        today = Today(datetime.date(2026, 3, 2), "early", 24.75 * 3600.0, {"hem": Told(14, **told)})
        (result,) = play_plan(make(night_rows()), today=today)
        return {item.topic: item for item in result.findings if item.topic in (PAST_DAY, GOT_IT)}

    found = rest()
    assert (found[GOT_IT].numbers["parts"], found[PAST_DAY].numbers["parts"]) == (2, 2)
    assert found[PAST_DAY].fix.startswith("connect a container of lot B3 now; ")
    assert "hold these parts" in found[GOT_IT].fix
    # another is told to be connected: nobody knows since when, and none of its parts is too late
    assert rest(mounted={"b": "B3"}) == {}


def test_a_hand_over_says_that_a_container_is_too_old():
    rows = night_rows()
    for row in rows["Stock"]:
        row["expiry"] = MONDAY
    rows["Shifts"][0]["end"] = "24:35"  # before A is changed
    assert [item.what for item in play(rows).handed_over if "container" in item.what] == [
        "container A lot A1, too old: throw away",
        "container B lot B2, too old: throw away",
    ]
    rows["Shifts"][0] |= dict(start="18:00", end="23:59")
    rows["Breaks"] = []
    assert not any("too old" in item.what for item in play(rows).handed_over)


def test_parts_that_miss_their_second_shot_are_told():
    """A part every 10 min over 3.5 h of work: 21 get their first shot, the wait outlasts the shift."""
    rows = hand_rows()
    del rows["Beads"]
    rows["Pots"] = [
        dict(pot="bed", part="frame", station="hem", shape="box", length=50, width=20, depth=20, level=10)
    ]
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=1, portion=0.5),
        dict(part="frame", pot="bed", shot=2, portion=0.5, wait=300),
    ]
    rows["Stations"][0]["flow"] = 5
    result = play(rows)
    (told,) = [item for item in result.findings if item.topic == "half done"]
    assert result.jobs[0].carried == 21 and not result.has_following
    assert told.kind == "stop" and told.numbers["half_done"] == 21 and "21 begun" in told.text
    assert not [item for item in play().findings if item.topic == "half done"]


def test_start_and_end_of_the_shift_are_told_with_their_own_volumes():
    volumes = {event.kind: event.volume / ML for event in play().events if event.kind in ("start", "end")}
    assert volumes == {"start": 8, "end": 6}


def test_an_open_container_keeps_its_whole_days():
    day = datetime.date(2026, 3, 2)
    # 10 days and a half from 2 March: the 12th is the last whole day; the expiry comes first where sooner
    assert use_by(datetime.date(2026, 12, 31), day, 10.5 * 86400.0) == datetime.date(2026, 3, 12)
    assert use_by(datetime.date(2026, 3, 5), day, 10.5 * 86400.0) == datetime.date(2026, 3, 5)


def test_parts_that_wait_treated_over_a_break_are_told_in_their_order():
    """Takt 10 min, treated 20 min of work before the nozzle: nos. 13 and 14, due at 8:30 and 8:40, are
    treated at 7:40 and 7:50; the first keeps 90 min, to 9:10."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(surface_window=90)
    rows["Stations"][0] |= dict(treatment_lead=20)
    waits = [window for window in latest_times(play(rows)) if "over the break" in window.text]
    assert [(window.first, window.last) for window in waits] == [(13, 14)]
    assert "no. 13 to 14 wait treated over the break from 08:00: dispense no. 13 by 09:10" in waits[0].text


def test_a_pot_life_is_marked_with_the_temperature_farthest_from_what_is_stated():
    rows = hand_rows()
    rows["Materials"][0] |= dict(pot_life_temperature=20, pot_life_2=30, pot_life_temperature_2=30)
    life = working_life(make(rows).materials[0])
    hot, cold = 31.0 + 273.15, 15.0 + 273.15  # 1 K above and 5 K below
    for pair in ((hot, cold), (cold, hot)):
        assert any("extrapolated to 15 °C" in words for words in life.marks(*pair))


# ------------------------------------------------------------------- as a competent crew would run it
# The rules are common practice, no source; the figures are plain arithmetic on the plan of tests/plans.py.


def events(result, *kinds):
    return [(event.clock, event.text) for event in result.events if event.kind in kinds]


def changes_of(result, letter):
    return [e.clock for e in result.events if e.kind == "container" and e.component == letter]


def test_a_station_that_may_refill_in_mid_bead_empties_its_containers():
    """Nothing is left over: 95 of A are drawn at 190 mL mixed, 142 at 8:00, 161 after purge and check, so
    2.9 shots later, 9 s into the part of 8:50. 54 of B at 108 mL: 22 at 6:00, so 8.6 shots, 6 s into that of
    7:20; 108 of B at 216: 161 + 5.5 shots, 5 s into that of 9:20. The nozzle stands 2 min on each of them."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(refill="in mid-bead", container_time=120)
    result = play(rows)
    assert {letter: result.used[letter]["rest"] for letter in "ab"} == {"a": 0, "b": 0}
    assert {letter: result.closing[letter] / ML for letter in "ab"} == {"a": 66.5, "b": 39.5}
    assert changes_of(result, "a") == pytest.approx([6 * 3600, 8 * 3600 + 50 * 60 + 9], abs=1e-6)
    assert changes_of(result, "b") == pytest.approx(
        [6 * 3600, 7 * 3600 + 20 * 60 + 6, 9 * 3600 + 20 * 60 + 5], abs=1e-6
    )
    assert result.busy == pytest.approx(21 * 10 + 3 * 120)
    # parts come every 10 min from 6:00, none is begun from 8:00 to 8:30: those of 7:20, 8:50 and 9:20 are
    # nos. 9, 15 and 18
    words = [text for _, text in events(result, "container") if "in the middle" in text]
    assert [text.partition("; ")[2] for text in words] == [
        f"in the middle of frame no. {number}, the nozzle stands 120 s" for number in (9, 15, 18)
    ]
    told = [item for item in result.findings if "stands 120 s on the part for each change" in item.text]
    assert [(item.kind, item.numbers["times"]) for item in told] == [("note", 1), ("note", 2)]
    assert not [item for item in result.findings if item.topic == "refill in mid-bead"]


def test_a_container_smaller_than_a_part_runs_empty_in_it_and_is_told():
    """8 mL of B, 5 mL a part: changed before each second part and 3 mL lost; 4 mL: in each part."""
    rows = hand_rows()
    rows["Components"][1] |= dict(container=8, heel=0)
    rows["Stock"][1]["quantity"] = 64
    rows["Stations"][0] |= dict(checks=0, start_volume=0, mixer_volume=0, end_volume=0)
    result = play(rows)
    assert result.containers["b"] == 21 and result.used["b"]["rest"] == 20 * 3 * ML
    assert not result.ran_empty
    rows["Components"][1] |= dict(container=4)
    result = play(rows)
    assert result.containers["b"] == 27 and result.used["b"]["rest"] == 0  # 105 mL, 4 at a time
    (told,) = [item for item in result.findings if item.topic == "refill in mid-bead"]
    # empty at 4, 8 … 104 mL: after 20 × 4 mL the sixteenth part is just done, and so at 40, 60 and 100
    assert told.kind == "quality" and told.numbers["times"] == 26 - 5
    assert result.balance("b") == 0


def test_the_rest_of_a_lot_that_cannot_finish_a_part_is_used_up_in_mid_bead():
    rows = hand_rows()
    rows["Stock"][1]["quantity"] = 9.5  # B1: 6 mL heel, 3.5 mL usable, and the mixer asks 5 mL first
    result = play(rows)
    assert result.containers["b"] == 4 and result.balance("b") == 0
    assert result.used["b"]["rest"] < 54 * ML


def slow_pours(**station):
    """100 mL at 0.1 mL/s every 20 min: 1000 s; the 10 mL in the mixer went in over the last 100 s."""
    rows = hand_rows()
    del rows["Beads"]
    rows["Breaks"] = []
    rows["Pots"] = [
        dict(pot="bed", part="frame", station="hem", shape="box", length=100, width=50, depth=40, level=20)
    ]
    rows["Stations"][0] |= dict(flow=0.1, takt=1200, checks=0, start_volume=0) | station
    rows["Builds"][0]["quantity"] = 4
    return rows


def test_age_is_judged_when_the_material_leaves():
    """At the start of a pour the mixer's content is 300 s old, 8.3 % of 60 min; its last drop leaves 100 s
    later, at 11.1 %. With a limit of 10 % each pour but the first (100 s, 2.8 %) asks for a purge."""
    assert play(slow_pours(purge_share=0.12)).purges == 0
    result = play(slow_pours(purge_share=0.1))
    assert result.purges == 3
    assert events(result, "purge")[0][1] == (
        "purge 15.0 mL: the next part would end at 11% of pot life, limit 10%"
    )
    assert not result.too_long


def test_a_part_that_outlasts_the_limit_is_told_and_not_purged_for():
    """Fresh material is 2.8 % old when the last of it leaves: over a limit of 2.5 %, 90 s, purged or not.

    At the end of a pour it is 100 s old and 200 s are to come: purges at once, after 90 and 180 s would
    take 45 mL in each of 3 gaps; a new mixer takes 10."""
    assert play(slow_pours(purge_share=0.025, idle="purge")).purges == 3 * 3
    result = play(slow_pours(purge_share=0.025))
    assert (result.purges, result.mixers) == (0, 4)
    (told,) = [item for item in result.findings if item.topic == "limit in a part"]
    assert told.kind == "quality" and told.numbers["times"] == 4
    assert told.numbers["share"] == pytest.approx(100 / 3600, rel=1e-9)


def test_a_part_waits_for_the_end_of_a_break_and_a_purge_at_the_limit_comes_before_it():
    """16 min of pot life, limit 9:36: it is reached 24 s before the next part, and purged for, 60 s; the part
    is 36 s late, and the one after it comes 9:24 after it: nos. 2 to 12 have a purge, every second part.

    The purge of no. 12 would be from 7:49:36 to 7:50:36 and a break begins at 7:50:30: it is made at 7:49:30,
    and no. 12, 10 s long, comes when the break ends, at 7:53:00. No. 13, due 9:30 later, would end at 9:40:
    a purge before it, not within the idle time. Then again no. 15."""
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = 16
    rows["Stations"][0] |= dict(purge_time=60, checks=0)
    rows["Breaks"] = [dict(shift="early", start="07:50:30", end="07:53")]
    rows["Builds"][0]["quantity"] = 15
    result = play(rows)
    purges = [clock for clock, _ in events(result, "purge")]
    late = [6 * 3600 + minute * 60 + 9 * 60 + 36 for minute in (0, 20, 40, 60, 80)]
    assert purges == pytest.approx(
        [*late, 7 * 3600 + 49 * 60 + 30, 8 * 3600 + 150, 8 * 3600 + 22 * 60 + 6], abs=1e-6
    )
    assert "the next part would end at 60% of pot life" in events(result, "purge")[6][1]  # 580 s of 960
    begun = [begin for _, begin, _ in result.course.work]
    assert begun[11] == 7 * 3600 + 53 * 60 and begun[12] == 8 * 3600 + 3 * 60 + 30


def test_the_run_ends_with_the_last_part():
    """Five parts: the last is done at 6:40:10; then the mixer is off, and the station free."""
    rows = hand_rows()
    rows["Builds"][0]["quantity"] = 5
    result = play(rows)
    end = 6 * 3600 + 40 * 60 + 10
    assert result.run_end == end == max(event.clock for event in result.events)
    assert events(result, "end") == [(end, f"last part done: throw away 6.0 mL; {OFF}; free until 10:00")]
    assert not events(result, "break")
    assert result.check_shots == 1  # the one of 8:30 has nothing left to check


@pytest.mark.parametrize(
    ("start", "first_part", "ends", "starts"),
    [
        ("10:00", None, "keep the mixer closed, good until 10:26", "go on with the mixer"),
        ("10:30", None, OFF, "start of shift"),
        ("10:00", "10:30", OFF, "start of shift"),
    ],
)
def test_a_mixer_kept_closed_serves_the_next_start_within_its_life(start, first_part, ends, starts):
    """Filled last at 9:50, limit 36 min later: good at 10:00, not at 10:30; nobody keeps it for 10:30."""
    rows = hand_rows()
    rows["Stations"][0]["after_run"] = "keep closed"
    rows["Shifts"].append(dict(shift="late", start=start, end="14:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=5, start=first_part))
    first, second = play_plan(make(rows))
    assert first.mixers + second.mixers == (1 if "go on" in starts else 2)
    assert ends in events(first, "end")[0][1]
    assert starts in events(second, "start")[0][1]
    assert [second.balance(letter) for letter in "ab"] == [0, 0]


def test_what_is_in_a_mixer_kept_closed_is_handed_over_and_not_lost():
    """5 mL of A and 5 of B go into the mixer of 10 mL in the first shift; it is kept, the second goes on with
    it and throws it away: lost there, once, and in both shifts together as much as was put on."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(after_run="keep closed")
    rows["Shifts"].append(dict(shift="late", start="10:00", end="14:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=5))
    first, second = play_plan(make(rows))
    assert (first.mixers, second.mixers) == (1, 0)
    assert [(one.dispensed("mixers")) for one in (first, second)] == [0, 10 * ML]
    for letter in "ab":
        assert first.mixers_after[letter] == second.mixers_before[letter] == 5 * ML
        assert second.mixers_after[letter] == 0
        assert first.closing[letter] == second.opening[letter]
        in_container = next(  # what the hand-over says of it is what is left of 100 mL and 60 mL, heels off
            item.volume for item in first.handed_over if item.what.startswith(f"container {letter.upper()}")
        )
        heel = {"a": 5, "b": 6}[letter] * ML
        assert first.closing[letter] == in_container + heel + 5 * ML  # no hoses here
        assert [one.balance(letter) for one in (first, second)] == [0, 0]


def idle_rows(**station):
    """A part every 40 min, 35 min of pot life: after 21 min the limit of 60 %, after 35 the mixer gels."""
    rows = hand_rows()
    rows["Breaks"] = []
    rows["Materials"][0]["pot_life"] = 35
    rows["Stations"][0] |= dict(takt=2400, checks=0, mixer_time=120, purge_time=10) | station
    rows["Builds"][0]["quantity"] = 3
    return rows


def test_the_cheaper_way_through_a_long_idle_time():
    """Each gap asks for one purge, 21 min after the part before; another at 42 min would be too late to
    matter. 15 mL of it are dearer than the 10 mL of a new mixer; 10 mL are as dear and quicker, 10 s."""
    result = play(idle_rows())
    assert (result.purges, result.mixers) == (0, 3)
    assert [clock for clock, _ in events(result, "off")] == [6 * 3600 + 10, 6 * 3600 + 2400 + 120 + 10]
    assert "a new mixer takes 10.0 mL and 120 s" in events(result, "off")[0][1].replace("2 min", "120 s")
    assert "takes 1 × 15.0 mL and 10 s" in events(result, "off")[0][1]
    result = play(idle_rows(purge_volume=10))
    assert (result.purges, result.mixers) == (2, 1)
    assert [clock for clock, _ in events(result, "purge")] == [6 * 3600 + 21 * 60, 6 * 3600 + 2400 + 21 * 60]
    assert play(idle_rows(purge_volume=10, idle="take off")).mixers == 3
    assert play(idle_rows(idle="purge")).purges == 2


def test_nobody_purges_in_a_break():
    """The limit of the part of 7:50 falls at 8:11, in the break, and the mixer gels at 8:25: it comes off."""
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = 35
    rows["Stations"][0] |= dict(idle="purge", purge_volume=10)
    result = play(rows)
    assert [clock for clock, _ in events(result, "off")] == [7 * 3600 + 50 * 60 + 10]
    assert "purging cannot keep the limit" in events(result, "off")[0][1]


def test_an_idle_purge_does_not_wait_for_the_end_of_a_break():
    """Parts every 70 min of work, 85 min of pot life: the mixer of 7:10 is at 60 % at 8:01, in the break, and
    at 94 % when it ends. It is purged before: at 7:59:50, 50 min before the part of 8:50, within 51 min.
    That of 6:00 is purged when it has stood 51 min, at 6:51, and is 19 min old at 7:10."""
    rows = idle_rows(idle="purge", takt=4200, purge_volume=10)
    rows["Breaks"] = hand_rows()["Breaks"]
    rows["Materials"][0]["pot_life"] = 85
    result = play(rows)
    assert [clock for clock, _ in events(result, "purge")] == [6 * 3600 + 51 * 60, 8 * 3600 - 10]


@pytest.mark.parametrize(("share", "kinds"), [(0.49, ["off", "mixer"]), (0.51, ["purge"])])
def test_what_keeps_the_limit_through_a_break(share, kinds):
    """The break takes half of the pot life: what is fresh at 8:00 is at 50 % at 8:30. A limit above that is
    kept by a purge before the break; with one below it the mixer comes off when the part of 7:50 is done,
    though it would not have gelled by 8:30, 67 %, and a purge then would have cleared it."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(purge_share=share, checks=0)
    found = [(clock, kind) for kind in ("off", "mixer", "purge") for clock, _ in events(play(rows), kind)]
    clocks = {"off": 7 * 3600 + 50 * 60 + 10, "mixer": 8.5 * 3600, "purge": 8 * 3600}
    assert found == [(clocks[kind], kind) for kind in kinds]


def test_small_purges_before_a_break_are_made_in_a_row():
    """Two of 5 mL, 20 s each, renew the 10 mL of the mixer: at 7:59:20 and 7:59:40. One leaves half of it
    40 min old at 8:30, past the limit at 8:26."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(purge_volume=5, purge_time=20, checks=0)
    result = play(rows)
    assert [clock for clock, _ in events(result, "purge")] == [8 * 3600 - 40, 8 * 3600 - 20]
    assert not events(result, "off")


@pytest.mark.parametrize(
    ("pot_life", "station"),
    [
        (31, {}),
        (37, {}),
        (45, {}),
        (52, {}),
        (60, {}),
        (16, dict(purge_time=45)),
        (11, dict(purge_share=0.9)),
    ],
)
def test_nothing_stands_in_a_mixer_past_its_limit(pot_life, station):
    """Whatever the gaps and breaks: a crew that knows them lets no mixer stand past the limit. By the record
    of what stood in it, reckoned anew: what is oldest is younger than its share of the pot life when the next
    thing happens to it."""
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = pot_life
    rows["Stations"][0] |= dict(purge_time=20, mixer_time=60) | station
    result = play(rows)
    longest = result.station.purge_share * pot_life * 60
    ages = result.course.ages
    stood = [after.clock - now.entered for now, after in itertools.pairwise(ages) if now.entered is not None]
    begun = [begin for _, begin, _ in result.course.work]
    assert len(begun) >= 20  # of 21: a purge may push the last past the end
    done = 10 + result.station.purge_time  # s: a record is taken when a visit or a purge is done
    assert max(stood) <= longest + done
    assert result.oldest_purge is None or result.oldest_purge.share <= result.station.purge_share + 1e-9


@pytest.mark.parametrize(("purge_time", "kind"), [(10, "purge"), (60, "mixer")])
def test_a_purge_that_would_end_in_gelled_material_comes_too_late(purge_time, kind):
    """From now on, 8:30: the mixer of 7:50 was left on and is 40 min old, 98.8 % of 40.5 min: 10 s are left
    for a purge, 60 s not."""
    rows = hand_rows()
    rows["Materials"][0]["pot_life"] = 40.5
    rows["Stations"][0] |= dict(purge_time=purge_time, mixer_time=60, checks=0)
    (result,) = play_plan(make(rows), today=Today(MONDAY, "early", 8.5 * 3600, {"hem": Told(12)}))
    assert [clock for clock, _ in events(result, kind)][:1] == [8.5 * 3600]


def test_a_clock_time_of_the_next_day_shows_its_date_in_the_clock_list():
    """A night shift: the mixer comes off at 23:20, the next part comes after midnight."""
    rows = idle_rows(takt=6000)
    rows["Shifts"][0] |= dict(start="22:00", end="29:00")
    texts = [event.text for event in play(rows).events]
    assert any("no part until Tue 3 Mar 01:20" in text for text in texts)
    assert not any("+1 d" in text for text in texts)


# ---------------------------------------------------------------------- from one shift to the next


def two_shots(start, quantity=2, **material):
    return list(play_plan(make(two_shots_rows(start, quantity, **material))))


def two_shots_rows(start, quantity=2, **material):
    """21 first shots from 6:00 on, every 10 min but in the break, 1 s each; the second 5 h later; a late
    shift of 4 h that starts no part but `quantity`."""
    rows = hand_rows()
    del rows["Beads"]
    rows["Materials"][0]["open_time"] = None
    rows["Materials"][0] |= material
    rows["Pots"] = [
        dict(pot="bed", part="frame", station="hem", shape="box", length=50, width=20, depth=20, level=10)
    ]
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=1, portion=0.5),
        dict(part="frame", pot="bed", shot=2, portion=0.5, wait=300),
    ]
    rows["Stations"][0] |= dict(flow=5)
    end = int(start[:2]) + 4
    rows["Shifts"].append(dict(shift="late", start=start, end=f"{end}:{start[3:]}"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=quantity))
    return rows


def test_what_is_half_done_is_finished_in_the_next_shift():
    """The second shots are due from 11:00:01 to 14:50:01: all within the late shift, 11:00 to 15:00; the two
    parts that it begins itself wait till 16:00."""
    early, late = two_shots("11:00")
    job = late.jobs[0]
    assert (early.jobs[0].begun, early.jobs[0].carried, early.jobs[0].finished) == (21, 21, 0)
    assert (job.taken, job.taken_finished, job.begun, job.carried, job.own_finished) == (21, 21, 2, 2, 0)
    (row,) = [row for row in early.handed_over if row.part]
    assert (row.what, row.numbers, row.count) == ("half done, visit 2 to come", "1–21", 21)
    # a check shot of 4 mL goes before the first part: 0.8 s
    assert (row.following, row.latest) == (pytest.approx(11 * 3600 + 1.8), None)
    assert [row.numbers for row in late.taken_over if row.part] == ["1–21 of Mon 2026-03-02 early"]
    assert late.dispensed("parts") == (21 + 2) * 5 * ML  # 21 second shots, 2 first ones
    assert [batch.numbers for batch in late.batches] == ["1–10", "11–20", "21"]
    assert {batch.origin for batch in late.batches} == {"Mon 2026-03-02 early"}
    (told,) = [item for item in early.findings if item.topic == "half done"]
    assert told.kind == "quality" and "the next shift takes them over" in told.fix


def test_the_parts_of_a_material_sheet_add_up():
    """What was asked and what is finished stand side by side: 21 and 2 asked, 0 and 21 finished."""
    rows = two_shots_rows("11:00")
    plan = make(rows)
    found = []
    for result in play_plan(plan):
        content = shift_material_content(plan, result, "s")
        (row,) = content.tables["MaterialParts"]
        assert row["taken_over"] + row["started"] == sum(
            row[name] for name in ("finished", "scrapped", "lost", "handed_over")
        )
        names = ("parts_good", "parts_started", "parts_finished")
        assert [content.values[name] for name in names] == [row["good"], row["started"], row["finished"]]
        found.append([row[name] for name in ("good", "taken_over", "started", "finished", "handed_over")])
    assert found == [[21, 0, 21, 0, 21], [2, 21, 2, 21, 2]]


def test_a_shift_without_builds_of_its_own_finishes_what_it_takes_over():
    rows_of = two_shots("11:00", quantity=0)
    assert [result.shift for result in rows_of] == ["early", "late"]
    assert rows_of[1].jobs[0].finished == 21 and not rows_of[1].is_short


def test_what_cannot_be_finished_in_its_open_time_is_lost_and_named():
    """Open 330 min, and the late shift starts at 12:00: the first four, begun until 6:30, are open until
    12:00:00 at the latest, and their second shots take until 12:00:01."""
    _, late = two_shots("12:00", open_time=330)
    job = late.jobs[0]
    assert (job.taken, job.lost, job.taken_finished) == (21, 4, 17)
    (told,) = [item for item in late.findings if item.topic == "lost half done"]
    assert told.kind == "stop" and told.numbers["lost"] == 4
    assert "frame no. 1–4 of Mon 2026-03-02 early" in told.text and "ends at 11:30" in told.text


def test_a_crew_stays_a_quarter_of_an_hour_for_a_part_that_would_be_lost():
    """The part of 9:50 is open to 10:20, mated at 10:05:10 at the soonest; the next shift starts at 11:00."""
    rows = hand_rows()
    rows["Stations"][0]["mating_delay"] = 15
    rows["Shifts"].append(dict(shift="late", start="11:00", end="15:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=1))
    first, second = play_plan(make(rows))
    assert not [row for row in (*first.handed_over, *second.taken_over) if row.part]
    (last,) = [batch for batch in first.batches if 21 in batch.serials]
    assert (last.tightest.serial, hhmm(last.tightest.planned)) == (21, "10:05") and not last.late


@pytest.mark.parametrize(
    ("start", "numbers", "planned", "latest", "late"),
    [("10:00", "20–21", "10:06", "10:10", []), ("11:00", "21", "11:16", "10:20", [21])],
)
def test_what_is_to_be_mated_is_mated_in_the_next_shift(start, numbers, planned, latest, late):
    """26 min of work after the part of 9:40, done at 9:40:10: 6 min 10 s of the next shift, and it is open to
    10:10; that of 9:50 would keep the crew 16 min 10 s. Where the next shift comes too late, it stays for
    the first and leaves the second."""
    rows = hand_rows()
    rows["Stations"][0]["mating_delay"] = 26
    rows["Shifts"].append(dict(shift="late", start=start, end="15:00"))
    rows["Builds"].append(dict(date=MONDAY, shift="late", part="frame", quantity=1))
    first, second = play_plan(make(rows))
    (row,) = [row for row in first.handed_over if row.part]
    assert (row.what, row.numbers, hhmm(row.following), hhmm(row.latest)) == (
        "to be mated",
        numbers,
        planned,
        latest,
    )
    assert [row.numbers for row in second.taken_over if row.part] == [f"{numbers} of Mon 2026-03-02 early"]
    assert [serial for _, serial, *_ in first.late_mating if serial >= 20] == late


# ------------------------------------------------------------------------------------ from now on


def from_now(rows, clock, stops=(), **known):
    hours, minutes = clock.split(":")
    today = Today(MONDAY, "early", int(hours) * 3600.0 + int(minutes) * 60.0, {"hem": Told(**known)}, stops)
    (result,) = play_plan(make(rows), today=today)
    return result


def test_the_rest_of_a_shift_from_now_on():
    """At 7:15 six parts are done instead of eight: nos. 7 to 21 at 10 min from 7:15 on, five before 8:00,
    ten from 8:30 (8:35) to 10:00: the last at 9:55 … no. 7 at 7:15, no. 11 at 7:55, no. 12 at 8:35.

    Till 7:15 mixer 10, start 8, a check of 4 and 6 parts: 82 mL, 41 of B; its container of 54 has 13 mL
    left, for two parts more: changed when no. 8 is done, 7:25:10."""
    result = from_now(hand_rows(), "07:15", done=6)
    job = result.jobs[0]
    assert (job.quantity, job.begun, job.finished) == (15, 14, 14)
    assert result.mixers == 0 and result.dispensed("start") == 0  # the run goes on
    assert changes_of(result, "b")[0] == pytest.approx(7 * 3600 + 25 * 60 + 10)
    # the check of 7:15 takes 2 mL of B first: 11 mL, two parts all the same
    # what is for use, the heel, and half of the mixer in use
    assert result.opening["b"] == (54 - 41 + 6 + 5) * ML
    assert [text for _, text in events(result, "start")] == ["from now on: 6 started before"]
    assert [result.balance(letter) for letter in "ab"] == [0, 0]


def test_a_count_at_the_station_replaces_what_was_reckoned():
    """12 mL and the heel of 6 in the container of B: the check takes 2, so two parts; with 9 only one."""
    for volume, clock in ((18e-6, 7 * 3600 + 25 * 60 + 10), (15e-6, 7 * 3600 + 15 * 60 + 10)):
        result = from_now(hand_rows(), "07:15", done=6, left={"b": volume}, mounted={"b": "B2"})
        assert changes_of(result, "b")[0] == pytest.approx(clock)
        assert "after lot B2" in next(e.text for e in result.events if e.component == "b")


@pytest.mark.parametrize(
    ("last", "is_thrown_away"), [(MONDAY - datetime.timedelta(1), True), (MONDAY, False)]
)
def test_a_lot_that_is_told_has_its_own_last_day(last, is_thrown_away):
    """B1, which was reckoned, keeps for years; B2, which is told, to the day before or to this day."""
    rows = hand_rows()
    next(row for row in rows["Stock"] if row["lot"] == "B2")["expiry"] = last
    result = from_now(rows, "07:15", done=6, mounted={"b": "B2"})
    assert [event.lot for event in result.events if event.kind == "expired"] == ["B2"] * is_thrown_away


def test_the_mixer_that_stands_there_is_purged_when_it_is_too_old():
    """One part is done by 7:00, evenly in that hour: at 6:00. 60 min at 7:00, the whole pot life: gelled."""
    result = from_now(hand_rows(), "07:00", done=1)
    assert [clock for clock, _ in events(result, "mixer")] == [7 * 3600] and result.mixers == 1


@pytest.mark.parametrize(
    ("clock", "known"),
    [("05:00", {}), ("10:00", {}), ("06:05", dict(done=40)), ("07:00", dict(left={"c": 1e-6}))]
    + [("07:00", dict(done=1, mounted={"b": lot})) for lot in ("A1", "B9")]
    + [("07:00", dict(done=1, stops=(Stop(5 * 3600.0, 6 * 3600.0),)))],
)
def test_a_now_that_cannot_be_is_an_error(clock, known):
    rows = hand_rows()
    rows["Stations"][0]["takt"] = None
    rows["Builds"][0]["quantity"] = 60
    with pytest.raises(InputError):
        from_now(rows, clock, **known)


def test_a_run_that_has_not_begun_begins_now():
    """Nothing done by 7:00: the mixer and the first purge are still to come."""
    result = from_now(hand_rows(), "07:00")
    assert result.dispensed("mixers") == 10 * ML and result.dispensed("start") == 8 * ML
    assert result.jobs[0].begun == 15 and result.jobs[0].started == 21  # 2.5 h of 10 min each


@pytest.mark.parametrize(
    ("told", "first_purge", "word"),
    [
        ({}, "07:15", "as reckoned"),  # of 6:25, when the last of three was made: 50 min, over 36
        ({0: 7 * 3600.0}, "07:15", "as told"),  # 15 min old, and 45 at the part of 7:45
    ],
)
def test_the_mixer_in_use_may_be_told(told, first_purge, word):
    """Three parts by 7:15, evenly (6:00, 6:10, 6:20); the next are due at 7:15, 7:25."""
    result = from_now(hand_rows(), "07:15", done=3, mixers=told)
    (mixer,) = [item for item in result.taken_over if item.what.startswith("mixer")]
    assert mixer.what == f"mixer in use, {word}"
    purged = [hhmm(clock) for clock, _ in events(result, "purge") if clock < 8 * 3600]
    assert purged == ([] if told else [first_purge])
    assert [item.what for item in result.handed_over if item.what.startswith("mixer")] == []


def test_done_may_be_told_of_each_part():
    """Of two parts in the order of the plan, 12 lids are still to come though two frames are not done."""
    rows = hand_rows()
    rows["Parts"].append(dict(part="lid"))
    rows["Beads"].append(rows["Beads"][0] | dict(bead="rim", part="lid"))
    rows["Builds"] = [dict(date=MONDAY, shift="early", part=part, quantity=5) for part in ("frame", "lid")]
    result = from_now(rows, "07:15", done={"frame": 3, "lid": 4})
    assert [(job.part, job.quantity, job.finished) for job in result.jobs] == [("frame", 2, 2), ("lid", 1, 1)]
    assert [text for _, text in events(result, "start")] == ["from now on: 7 started before"]
    with pytest.raises(InputError, match="at most 5"):
        from_now(rows, "07:15", done={"frame": 6, "lid": 0})


def test_a_stop_moves_what_comes_after_it():
    """The line stands 35 min from 7:20, as in a break: what is due then comes so much later."""
    today = Today(MONDAY, "early", stops=(Stop(7 * 3600 + 1200.0, 7 * 3600 + 3300.0),))
    (result,) = play_plan(make(hand_rows()), today=today)
    assert [text for _, text in events(result, "stop")] == ["the line stands until 07:55"]
    # working time 12,600 − 2,100 s at 600 s each: 17 parts and a half, so the last of 18 fits
    assert result.jobs[0].finished == 18


def test_what_comes_after_a_stop_says_stop():
    """The mixer of 7:00 is 50 min old at 7:50, 0.83 of the pot life, and is changed. What was treated at 7:05
    waits over the stop. The one of 7:50 is 40 min old at 8:30, after the break: changed again."""
    rows = hand_rows()
    rows["Materials"][0]["surface_window"] = 90
    rows["Stations"][0] |= dict(treatment_lead=5, rule="change mixer")
    today = Today(MONDAY, "early", stops=(Stop(7 * 3600 + 600.0, 7 * 3600 + 3000.0),))
    (result,) = play_plan(make(rows), today=today)
    words = [("after the stop" in text, "after the break" in text) for _, text in events(result, "mixer")]
    assert words == [(True, False), (False, True)]
    texts = [window.text for window in latest_times(result)]
    assert any("waits treated over the stop from 07:10" in text for text in texts), texts


def test_a_stop_that_goes_on_after_the_end_is_a_stop():
    today = Today(MONDAY, "early", stops=(Stop(9.5 * 3600, 11 * 3600.0),))
    rows = hand_rows()
    rows["Builds"][0]["quantity"] = 3
    rows["Stations"][0]["takt"] = 3600
    rows["Breaks"] = []
    (result,) = play_plan(make(rows), today=today)
    assert events(result, "break") == []


def test_a_moisture_curing_material_skins_with_the_water_in_the_air():
    """Open 30 min at 23 °C and 50 %: in air of 23 °C and 25 % half the water, twice the time (depth² grows
    with the water at the face: Comyn, Int. J. Adhesion & Adhesives 18 (1998) 247; the skin with it)."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(kind="one-part", ratio_b=None, pot_life=None, cure="moisture")
    rows["Components"] = rows["Components"][:1]
    rows["Stock"] = rows["Stock"][:1]
    for humidity, minutes in ((0.5, 30), (0.25, 60), (0.75, 20)):
        rows["Stations"][0] |= dict(mixer_volume=0, humidity=humidity)
        mating = play(rows).batches[0].tightest
        begun = 6 * 3600 + 600 * (mating.serial - 1)
        assert mating.latest - begun == pytest.approx(60 * minutes, abs=0.5)


# ------------------------------------------------------------------------- several nozzles, other hours


def test_two_nozzles_do_what_one_cannot():
    """A part takes 10 s and 890 s of handling, one comes every 600 s: one nozzle makes 8 before 8:00 and 6
    from 8:30; two make all but the last, of 9:50, each with its own mixer, first and last purge.

    They take turns: before the break nozzle 2 has no. 10 last, of 7:30, and nozzle 1 no. 11, of 7:40. At
    8:30 that is 60 min, the whole pot life: it came off when no. 10 was done; and 50 min: a purge at 8:00."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(handling_time=890, checks=0)
    one = play(rows)
    assert one.jobs[0].finished == 8 + 6
    rows["Stations"][0]["nozzles"] = 2
    two = play(rows)
    assert two.jobs[0].finished == 20
    assert two.dispensed("parts") == 20 * 10 * ML
    volumes = {name: two.dispensed(name) // ML for name in ("start", "end", "mixers", "purge")}
    assert volumes == {"start": 2 * 8, "end": 2 * 6, "mixers": 3 * 10, "purge": 15}
    assert [two.balance(letter) for letter in "ab"] == [0, 0]
    assert [(clock, text[:9]) for clock, text in events(two, "off", "purge", "mixer")] == [
        (7.75 * 3600, "nozzle 2:"),
        (8 * 3600, "nozzle 1:"),
        (8.5 * 3600, "nozzle 2:"),
    ]


def test_each_nozzle_has_a_check_shot_before_its_first_part():
    """Twice an hour in 3.5 h of work: 7 checks, the first of them at each of two nozzles."""
    rows = hand_rows()
    rows["Stations"][0] |= dict(checks=2, check_volume=3, nozzles=2)
    result = play(rows)
    checks = events(result, "check")
    start = events(result, "start")[0][0]
    assert [(clock, text[:9]) for clock, text in checks[:2]] == [(start, "nozzle 1:"), (start, "nozzle 2:")]
    assert len(checks) == result.check_shots == 8 and result.dispensed("checks") == 8 * 3 * ML
    assert [result.balance(letter) for letter in "ab"] == [0, 0]


@pytest.mark.parametrize(
    ("hours", "finished", "end"),
    [(dict(end="08:00"), 12, 8), (dict(end="11:00"), 21, 11), (dict(start="08:30", end="10:00"), 9, 10)],
)
def test_overtime_and_half_shifts(hours, finished, end):
    """A part every 10 min: 12 from 6:00 to 8:00, 9 from 8:30 to 10:00; the hours are those of one day."""
    rows = hand_rows()
    rows["Builds"][0] |= hours
    rows["Builds"].append(dict(date="2026-03-03", shift="early", part="frame", quantity=21))
    first, second = play_plan(make(rows))
    assert first.jobs[0].finished == finished and first.calendar.end == end * 3600
    assert second.jobs[0].finished == 21 and second.calendar.end == 10 * 3600


def test_the_forecast_knows_the_hours_of_a_day():
    rows = hand_rows()
    rows["Builds"][0] |= dict(end="08:00")
    plan = make(rows)
    (key,), _ = occurrences(plan)
    assert play_lean(plan, key).jobs[0].finished == 12


def test_hours_that_cannot_be_are_told():
    rows = hand_rows()
    rows["Builds"][0] |= dict(end="05:00")
    with pytest.raises(InputError) as told:
        make(rows)
    assert "would go from 06:00 to 05:00" in str(told.value)


def test_the_last_nanolitre_of_a_lot_is_still_a_lot():
    day = datetime.date(2026, 3, 2)
    one, other = (Lot("Bond 60", "a", name, left, day) for name, left in (("old", 1), ("new", 5)))
    assert first_expired([other, one], None, day) is other  # "new" comes before "old" in the order of names
    assert first_expired([one], None, day) is one
    one.left = 0
    assert first_expired([one], None, day) is None
