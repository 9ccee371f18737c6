"""Figures that hold for a time: shifts, prices, scrap, the material of a station.

The reference is a plan without dates, one for each stretch of days, whose figures are typed as they hold
then; what is left of a material that phases out is reckoned by hand and by a walk written here.
"""

from __future__ import annotations

import datetime
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from plans import MONDAY, hand_rows, light_plan, make

from dispense.base.errors import InputError
from dispense.base.findings import NOTE, QUALITY
from dispense.cli import main
from dispense.forecast.model import forecast
from dispense.forecast.whatif import change_scrap, what_if
from dispense.jobs.fill import fill
from dispense.plan.read import load_plan
from dispense.plan.weeks import slots_of
from dispense.plan.workdays import work_days
from dispense.reports.compare import compare
from dispense.reports.cure import cure_report
from dispense.reports.findings import plan_findings
from dispense.shift.play import play_plan

Rows = dict[str, list[dict[str, Any]]]


def day(number: int) -> datetime.date:
    """The day so many days after the first Monday."""
    return MONDAY + datetime.timedelta(days=number)


def one_part(days: list[int], quantity: int = 10, **component: Any) -> Rows:
    """Frames with 10 mL each of a one-part paste from containers without heel; a second paste is known."""
    parts = dict(density=1.0, container=100, lead_time=3, price=20) | component
    return {
        "Materials": [dict(material=name, kind="one-part", cure="none") for name in ("Old", "New")],
        "Components": [dict(material=name, component="a", **parts) for name in ("Old", "New")],
        "Parts": [dict(part="frame")],
        "Beads": [
            dict(
                bead="hem", part="frame", station="hem", section="rectangle", width=10, height=1, length=1000
            )
        ],
        "Stations": [dict(station="hem", material="Old", speed=100, refill="in mid-bead")],
        "Shifts": [dict(shift="early", start="06:00", end="14:00")],
        "Builds": [dict(date=day(number), shift="early", part="frame", quantity=quantity) for number in days],
        "Stock": [dict(material="Old", component="a", lot="O1", quantity=1000, expiry="2027-06-30")],
    }


def two_pastes() -> Rows:
    """The plan worked by hand over two weeks, with a second material that may take the first one's place."""
    rows = hand_rows()
    rows["Materials"].append(rows["Materials"][0] | dict(material="Bond 15", pot_life=40))
    rows["Components"] += [row | dict(material="Bond 15", density=1.1) for row in rows["Components"]]
    rows["Builds"] = [
        dict(date=day(number), shift="early", part="frame", quantity=10)
        for number in (0, 1, 2, 3, 4, 7, 8, 9)
    ]
    rows["Stock"] += [row | dict(material="Bond 15", quantity=5000) for row in rows["Stock"][::2]]
    return rows


def undated(rows: Rows, table: str, **values: Any) -> Rows:
    """The same plan with figures typed into the first row of a table."""
    return {name: [dict(row) for row in group] for name, group in rows.items()} | {
        table: [rows[table][0] | values, *rows[table][1:]]
    }


# ---------------------------------------------------------------------------------- shifts, fill, compare


def test_scrap_and_hours_hold_on_their_days() -> None:
    """Each day is that of a plan in which the figures of the day stand typed, stock aside."""
    rows = two_pastes()
    dated = rows | {
        "Validity": [
            dict(station="hem", what="scrap", value="20 %", valid_from=day(2), valid_until=day(4)),
            dict(shift="early", what="end", value="09:30", valid_from=day(7)),
        ]
    }
    plain = {item.date: item for item in play_plan(make(rows))}
    scrap = {item.date: item for item in play_plan(make(undated(rows, "Stations", scrap=0.2)))}
    short = {item.date: item for item in play_plan(make(undated(rows, "Shifts", end="09:30")))}
    found = {item.date: item for item in play_plan(make(dated))}
    assert [found[day(n)].jobs[0].started for n in (0, 2, 7)] == [10, 13, 10]  # 10 / 0.8 = 12.5, whole parts
    for number in (0, 1, 2, 3, 4, 7, 8, 9):
        date = day(number)
        alike = scrap[date] if 2 <= number <= 4 else short[date] if number >= 7 else plain[date]
        assert found[date].calendar.end == alike.calendar.end
        assert found[date].used["a"]["scrap"] == alike.used["a"]["scrap"]
        assert found[date].used["a"]["parts"] == alike.used["a"]["parts"]
        assert found[date].run_end == pytest.approx(alike.run_end, abs=1e-6)


def test_a_station_changes_to_another_material() -> None:
    """What stands of the old one comes off and is told; the new one has hoses to fill; volumes close."""
    rows = two_pastes()
    rows["Stations"][0] |= dict(hose_a=30, hose_b=20)
    rows["Validity"] = [dict(station="Hem", what="Material", value="bond 15", valid_from=day(7))]
    found = list(play_plan(make(rows)))
    assert [item.material.material for item in found] == 5 * ["Bond 60"] + 3 * ["Bond 15"]
    first, last = found[5], found[4]
    told = [event.text for event in first.events if event.kind == "change over"]
    assert len(told) == 2  # A and B
    left = last.closing["a"] - last.hoses["a"]  # nL, what stood in the container
    assert f"from Bond 60 to Bond 15: take off Bond 60 A lot A1, {left / 1e6:.0f} mL left" in told[0]
    assert all(text.endswith("empty the hose; clean what touches both") for text in told)
    assert first.opening == {"a": 0, "b": 0} and first.hoses == {"a": 30_000_000, "b": 20_000_000}
    for item in found:
        for letter in "ab":
            put_on = item.opening[letter] + item.mounted[letter]
            assert put_on == sum(item.used[letter].values()) + item.closing[letter]


def test_a_trial_of_another_material_gives_the_containers_back() -> None:
    """After three days of the other material the container that was taken off goes on again."""
    rows = two_pastes()
    rows["Validity"] = [
        dict(station="hem", what="material", value="Bond 15", valid_from=day(2), valid_until=day(4))
    ]
    found = {item.date: item for item in play_plan(make(rows))}
    before, after = found[day(1)], found[day(7)]
    assert after.opening["a"] == before.closing["a"] - before.hoses["a"] > 0


def test_fill_prints_the_card_and_the_sheets_of_their_day(tmp_path: Path) -> None:
    """A second setup card from the change on; sheets of a shift name the material of their day."""
    rows = two_pastes()
    rows["Builds"] = rows["Builds"][-2:]  # days 8 and 9
    rows["Validity"] = [dict(station="hem", what="material", value="Bond 15", valid_from=day(9))]
    path = write(rows, tmp_path / "plan.xlsx")
    report = fill(path, tmp_path / "out", stations=["hem"])
    cards = sorted(file.name for file in report.files if file.parent.name == "setup")
    assert cards == [f"hem_from_{day(9)}_setup.xlsx", "hem_setup.xlsx"]
    assert any(
        item.topic == "change-over" and item.day == day(9) and item.station == "hem"
        for item in report.findings
    )
    held = {
        file.name: [
            str(cell)
            for sheet in load_workbook(file)
            for row in sheet.iter_rows(values_only=True)
            for cell in row
        ]
        for file in report.files
        if file.parent.name == "setup" or "_material" in file.name
    }
    first, later = held["hem_setup.xlsx"], held[f"hem_from_{day(9)}_setup.xlsx"]
    assert any(f"this card of hem holds until {day(8)}" in text for text in first)
    assert any(f"this card of hem holds from {day(9)}: Bond 15 after Bond 60" in text for text in later)
    assert any("Bond 15 after Bond 60: empty hoses and mixer, clean" in text for text in later)
    before = (tmp_path / "out" / "setup" / "hem_setup.xlsx").read_bytes()
    alone = fill(path, tmp_path / "out", stations=["hem"], date=day(9))
    names = [file.name for file in alone.files if file.parent.name == "setup"]
    assert names == [f"hem_from_{day(9)}_setup.xlsx"]  # that of the days before stays as it is
    assert (tmp_path / "out" / "setup" / "hem_setup.xlsx").read_bytes() == before
    again = fill(path, tmp_path / "out", stations=["hem"], date=day(8))
    assert not again.not_written
    rows["Validity"] = []
    write(rows, path)
    last = fill(path, tmp_path / "out", stations=["hem"])
    assert last.superseded == [f"setup/hem_from_{day(9)}_setup.xlsx"]


def test_compare_plays_what_holds_and_a_choice_holds_all_along() -> None:
    """The plan as it is has its dated scrap; a chosen material takes the place of a dated one."""
    rows = two_pastes()
    rows["Choices"] = [dict(station="hem", what="nozzle bore", value="2")]
    typed = compare(make(undated(rows, "Stations", scrap=0.2))).fields[0].present
    always = [dict(station="hem", what="scrap", value="0.2")]
    dated = compare(make(rows | {"Validity": always})).fields[0].present
    assert dated.used == typed.used
    rows["Choices"] = [dict(station="hem", what="material", value="Bond 15")]
    rows["Validity"] = [dict(station="hem", what="material", value="Bond 15", valid_from=day(7))]
    chosen = compare(make(rows)).fields[0].sets[1]
    rows.pop("Validity")
    assert chosen.used == compare(make(rows)).fields[0].sets[1].used


# ------------------------------------------------------------------------------------------- forecast


def test_the_forecast_counts_each_day_as_it_is_played() -> None:
    """Use of each material and day is that of a plan in which the figures of the day stand typed."""
    rows = two_pastes()
    dated = rows | {
        "Validity": [
            dict(station="hem", what="material", value="Bond 15", valid_from=day(7)),
            dict(station="hem", what="scrap", value="20 %", valid_from=day(2), valid_until=day(4)),
        ]
    }

    def use(rows: Rows, material: str) -> list[int]:
        return forecast(make(rows), 2, draws=10).components[material, "a"].day_use

    plain, scrap = use(rows, "Bond 60"), use(undated(rows, "Stations", scrap=0.2), "Bond 60")
    other = use(undated(rows, "Stations", material="Bond 15"), "Bond 15")
    assert use(dated, "Bond 60") == [*plain[:2], *scrap[2:5], *[0] * 9]
    assert use(dated, "Bond 15") == [*[0] * 7, *other[7:]]


def test_prices_hold_on_their_days() -> None:
    """10 frames of 10 mL a day from containers of 100 mL: a container a day, by hand."""
    rows = one_part([0, 1, 2, 3, 4])
    rows["Stock"][0]["quantity"] = 200
    rows["Validity"] = [
        dict(material="Old", what="price", value="30", valid_from=day(1), valid_until=day(2)),
        dict(material="Old", component="a", what="price", value="50", valid_from=day(3)),
    ]
    found = forecast(make(rows), 1, draws=10, as_of=day(-7))
    assert [row[-1] for row in found.tables["days"].rows] == pytest.approx([20, 30, 30, 50, 50])
    causes = found.tables["causes"].records()[1]
    assert causes["On good parts"] == pytest.approx(180)
    for order in found.components["Old", "a"].orders:
        price = 20 if order.order_by < day(1) else 30 if order.order_by < day(3) else 50
        assert order.cost == pytest.approx(price * order.containers)
    now = what_if(make(rows), [change_scrap(0.0)], 1)
    assert now.now.cost("parts") == pytest.approx(180)
    assert set(now.difference(now.alone[0]).values()) == {0}


def test_what_if_changes_what_holds_for_a_time_too() -> None:
    """One point more of scrap: 5 % of three days become 6 %, by hand n·s/(1 − s)."""
    rows = one_part([0, 1, 2, 3, 4])
    rows["Validity"] = [dict(station="hem", what="scrap", value="5 %", valid_from=day(2))]
    found = what_if(make(rows), [change_scrap(0.01)], 1)
    now, more = (
        found.now.causes["Old", "a"]["scrap"] / 1e6,
        found.alone[0].causes["Old", "a"]["scrap"] / 1e6,
    )
    assert now == pytest.approx(3 * 100 * 0.05 / 0.95, abs=1e-3)
    assert more == pytest.approx(2 * 100 * 0.01 / 0.99 + 3 * 100 * 0.06 / 0.94, abs=1e-3)


def test_phase_out_by_hand() -> None:
    """The last order and what is left, by hand.

    Eight days of 100 mL each, 250 mL in store, containers of 100 mL: 550 mL are lacking, six containers,
    850 mL come in all and 50 mL are left, half a container of 20. The new paste is needed from day 10 on.
    """
    rows = one_part([0, 1, 2, 3, 4, 7, 8, 9, 10, 11, 14, 15, 16, 17, 18])
    rows["Stock"][0]["quantity"] = 250
    rows["Validity"] = [dict(station="hem", what="material", value="New", valid_from=day(10))]
    found = forecast(make(rows), 3, draws=10, as_of=day(-7))
    old = found.components["Old", "a"]
    assert sum(order.containers for order in old.orders) == 6
    assert old.phase_out is not None and old.phase_out.last_use == day(9)
    assert old.phase_out.left == 50_000_000 and old.phase_out.cost == pytest.approx(10)
    assert found.tables["phase_out"].rows[0][4:] == pytest.approx([50, 0.5, 10])
    told = next(item for item in found.findings if item.topic == "phase-out")
    assert told.kind == NOTE and "50 mL left over, 10" in told.text and str(day(9)) in told.text
    assert not found.ordered.runs_out
    new = found.components["New", "a"]
    assert new.phase_out is None and min(order.arrival for order in new.orders) <= day(10)


def test_too_much_of_what_phases_out_is_named_with_its_money() -> None:
    """1,000 mL in store and 800 mL still on order, 300 mL to use: 1,500 mL of 20 for 100 mL are left, 300."""
    rows = one_part([0, 1, 2, 3, 4])
    rows["Settings"] = [dict(setting="currency", value="EUR")]
    rows["Orders"] = [dict(order="4711", material="Old", component="a", quantity=800, arrival=day(9))]
    rows["Validity"] = [dict(station="hem", what="material", value="New", valid_from=day(3))]
    found = forecast(make(rows), 1, draws=10)
    told = next(item for item in found.findings if item.topic == "phase-out")
    assert told.kind == QUALITY and told.numbers == pytest.approx({"left over [mL]": 1500, "worth": 300})
    assert "300 EUR" in told.text and "use it up" in told.fix
    assert not found.components["Old", "a"].orders


def left_by_hand(rows: Rows, until: datetime.date) -> tuple[float, float]:
    """What is drawn up to a day [mL], and what is in store [mL]; written here for one station, no heel."""
    drawn = sum(10.0 * row["quantity"] for row in rows["Builds"] if row["date"] < until)
    return drawn, sum(row["quantity"] for row in rows["Stock"])


@settings(max_examples=12, deadline=None)
@given(
    quantities=st.lists(st.integers(0, 30), min_size=12, max_size=12),
    change=st.integers(1, 15),
    stock=st.integers(1, 900),
    container=st.sampled_from([30, 100, 250]),
    pack=st.integers(1, 3),
    lead=st.integers(0, 6),
    spread=st.sampled_from([0.0, 2.0]),
)
def test_no_order_of_what_phases_out_is_more_than_a_pack_too_large(
    quantities: list[int], change: int, stock: int, container: int, pack: int, lead: int, spread: float
) -> None:
    """What is left is less than a pack, or nothing was ordered; nothing is short that one could cover."""
    days = [number for number in range(16) if number % 7 < 5]
    rows = one_part(
        [], container=container, pack_multiple=pack, lead_time=lead, lead_time_spread=spread, price=1
    )
    rows["Builds"] = [
        dict(date=day(number), shift="early", part="frame", quantity=quantity)
        for number, quantity in zip(days, [*quantities[:-1], 20], strict=True)
    ]
    rows["Stock"][0]["quantity"] = stock
    rows["Validity"] = [dict(station="hem", what="material", value="New", valid_from=day(change))]
    found = forecast(make(rows), 3, draws=10, as_of=day(-14))
    old = found.components["Old", "a"]
    drawn, here = left_by_hand(rows, day(change))
    bought = sum(order.containers for order in old.orders) * container
    assert old.phase_out is not None
    assert old.phase_out.left / 1e6 == pytest.approx(here + bought - drawn, abs=1e-3)
    assert here + bought >= drawn - 1e-6
    if old.orders:
        assert old.phase_out.left / 1e6 < pack * container + 1e-6
        assert math.ceil(max(drawn - here, 0.0) / (pack * container)) * pack * container == bought
    assert ("Old", "a") not in found.ordered.runs_out


def test_use_that_goes_on_is_that_of_the_new_material() -> None:
    """A change after the last build: the old material is not ordered for use that goes on beyond it."""
    rows = one_part([number for number in range(12) if number % 7 < 5])
    rows["Validity"] = [dict(station="hem", what="material", value="New", valid_from=day(16))]
    found = forecast(make(rows), 4, draws=10)
    old, new = found.components["Old", "a"], found.components["New", "a"]
    # days 14 and 15 go on like days 0 and 1 with the old one: 1,200 mL in all, 1,000 in store
    assert sum(order.containers for order in old.orders) == 2
    assert old.phase_out is not None and old.phase_out.last_use == day(15) and old.phase_out.left == 0
    assert new.empty_after == day(16) or new.runs_out == day(16)


# ------------------------------------------------------------------------------------ weeks and work days


def test_builds_of_a_week_follow_the_days_that_hold() -> None:
    """A shift that is worked on Saturday too from a week on, and one that is not worked any more."""
    rows = one_part([0])
    rows["Shifts"].append(dict(shift="late", start="14:00", end="22:00"))
    rows["Builds"] = [
        dict(date=week, shift=None, part="frame", quantity=120) for week in ("2026-W10", "2026-W11")
    ]
    rows["Validity"] = [
        dict(shift="early", what="days", value="Mon-Sat", valid_from=day(7)),
        dict(shift="late", what="days", value="none", valid_from=day(7)),
    ]
    plan = make(rows)
    assert len(slots_of(plan, MONDAY)) == 10 and len(slots_of(plan, day(7))) == 6
    built = {key: sum(plan.builds_of(*key).values()) for key in plan.days()}
    assert built[day(0), "late"] == 12 and built[day(12), "early"] == 20 and (day(7), "late") not in built


def test_working_days_are_those_on_which_a_shift_is_worked() -> None:
    """Orders come on a Saturday where one works then; from Sunday to Thursday where that is the week."""
    rows = one_part([0])
    rows["Shifts"][0]["days"] = "Mon-Sat"
    assert work_days(make(rows)).before(day(6)) == day(5)
    rows["Shifts"][0]["days"] = "Sun-Thu"
    assert work_days(make(rows)).before(day(5)) == day(3) and work_days(make(rows)).after(day(4)) == day(6)
    rows["Shifts"][0].pop("days")
    assert work_days(make(rows)).before(day(6)) == day(4)


# ------------------------------------------------------------------------------------- contradictions


def problems(*validity: dict[str, Any]) -> str:
    """What is wrong with a plan that has these rows of Validity."""
    with pytest.raises(InputError) as caught:
        make(two_pastes() | {"Validity": [{"value": "", "valid_until": None} | row for row in validity]})
    return str(caught.value)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (
            [
                dict(station="hem", what="scrap", value="2 %", valid_until=day(4)),
                dict(station="HEM", what="scrap", value="3 %", valid_from=day(4)),
            ],
            (
                "Validity!",
                "scrap of hem holds twice from 2026-03-06 on",
                "as 3 % here, and as 2 % in Validity!",
            ),
        ),
        (
            [dict(station="hem", what="scrap", value="2 %", valid_from=day(4), valid_until=day(3))],
            ("2026-03-06",),
        ),
        ([dict(station="hem", what="scrap", value="140 %")], ("scrap",)),
        ([dict(station="hem", what="price", value="3")], ("price is that of a material alone",)),
        ([dict(what="scrap", value="3 %")], ("station is blank",)),
        ([dict(material="Bond 60", what="price", value="3")], ("component", "A or B")),
        ([dict(station="ham", what="scrap", value="3 %")], ("did you mean hem?",)),
        ([dict(shift="early", what="days", value="often")], ("Mon-Fri", "or none")),
        ([dict(shift="early", what="end", value="05:00")], ("ends at 05:00, not after its start",)),
        ([dict(station="hem", what="material", value="Bond")], ("a name in Materials",)),
    ],
)
def test_what_cannot_hold_is_named_with_its_cells(rows: list[dict[str, Any]], words: tuple[str, ...]) -> None:
    """Two figures on one day, an end before the beginning, figures of another owner or out of limits."""
    found = problems(*rows)
    assert "Validity!" in found
    for word in words:
        assert word in found


def test_a_gap_is_named_with_its_cells() -> None:
    """Between two rows the figure of the plan comes back: told as a warning where something is built then."""
    rows = two_pastes()
    rows["Validity"] = [
        dict(station="hem", what="scrap", value="2 %", valid_from=None, valid_until=day(1)),
        dict(station="hem", what="scrap", value="3 %", valid_from=day(3), valid_until=day(4)),
        dict(station="hem", what="scrap", value="4 %", valid_from=day(7), valid_until=None),
    ]
    found = [item for item in plan_findings(make(rows)) if item.topic == "validity"]
    assert [(item.kind, item.day) for item in found] == [(QUALITY, day(2)), (NOTE, day(5))]
    assert "Validity!" in found[0].text and found[0].cell.startswith("Validity!")


def test_what_is_found_of_the_later_material_is_told_with_its_day() -> None:
    """A pressure beyond its limit only with the thicker material of later."""
    rows = two_pastes()
    rows["Stations"][0] |= dict(pressure_limit=20, nozzle_bore=2, nozzle_length=30)
    for row, thick in zip(rows["Materials"], (5, 500), strict=True):
        row["consistency"] = thick
    rows["Validity"] = [dict(station="hem", what="material", value="Bond 15", valid_from=day(7))]
    later = [item for item in plan_findings(make(rows)) if item.topic == "pressure limit"]
    assert [item.day for item in later] == [day(7)]


def changing() -> Rows:
    """A station whose second material lives 40 min in place of 60, from the second Monday on; scrap too."""
    rows = two_pastes()
    for row in rows["Materials"]:
        row |= dict(test_time=600)
    rows["Stations"][0] |= dict(shop_temperature=23)  # at which both lives are stated
    rows["Validity"] = [
        dict(station="hem", what="material", value="Bond 15", valid_from=day(7)),
        dict(station="hem", what="scrap", value="2 %", valid_from=day(8)),
    ]
    return rows


def test_cure_reports_each_material_from_its_day_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Data sheet and shop are at 23 °C: each report has the stated pot life; more scrap is no other cure."""
    path = light_plan(tmp_path / "plan.xlsx", changing())
    assert main(["cure", str(path), "--station", "hem", "--json", "--out", str(tmp_path / "hem.xlsx")]) == 0
    report = json.loads(capsys.readouterr().out)
    (later,) = report["later"]
    found = [
        (one["material"], one["valid_from"], one["working_life"]["rows"][0]["life"])
        for one in (report, later)
    ]
    assert found == [
        ("Bond 60", str(day(0)), pytest.approx(60.0)),
        ("Bond 15", str(day(7)), pytest.approx(40.0)),
    ]
    assert {one["date"] for one in later["latest_times"]} <= {str(day(n)) for n in (7, 8, 9)}
    assert {one["date"] for one in report["latest_times"]} <= {str(day(n)) for n in (0, 1, 2, 3, 4)}
    books = {each.name for each in tmp_path.glob("hem*.xlsx")}
    assert books == {"hem.xlsx", f"hem_from_{day(7)}.xlsx"}
    sheet = load_workbook(tmp_path / f"hem_from_{day(7)}.xlsx")["Summary"]
    words = [str(cell.value) for row in sheet.iter_rows() for cell in row]
    assert f"hem: Bond 15 (from {day(7)})" in words
    assert main(["cure", str(path), "--out", str(tmp_path / "all")]) == 0
    said = capsys.readouterr().out
    assert f"Bond 15 (from {day(7)})" in said and f"Bond 60 (from {day(0)})" in said
    assert {each.name for each in (tmp_path / "all").glob("*.xlsx")} == {
        "hem_cure.xlsx",
        f"hem_from_{day(7)}_cure.xlsx",
    }


def test_cure_of_one_day(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = light_plan(tmp_path / "plan.xlsx", changing())
    for number, material in ((2, "Bond 60"), (8, "Bond 15")):
        assert main(["cure", str(path), "--station", "hem", "--date", str(day(number)), "--json"]) == 0
        report = json.loads(capsys.readouterr().out)
        assert (report["material"], report["later"], report["date"]) == (material, [], str(day(number)))
        assert {one["date"] for one in report["latest_times"]} <= {str(day(number))}
    assert main(["cure", str(path), "--date", str(day(8))]) == 0
    assert f"Bond 15 (on {day(8)})" in capsys.readouterr().out


def test_cure_of_a_plan_without_dates_is_one_report() -> None:
    report = cure_report(make(two_pastes()), "hem")
    assert report.later == [] and "(from" not in report.as_text() and "(on" not in report.as_text()


def test_what_is_found_of_a_later_material_is_told_first_with_its_day() -> None:
    """A bead 1 mm high runs down on a wall where 5 Pa hold 5/(1.1·9.80665) = 0.46 mm; 50 Pa hold it."""
    rows = changing()
    rows["Beads"][0] |= dict(face_angle=90)
    for row, stress in zip(rows["Materials"], (50, 5), strict=True):
        row |= dict(yield_stress=stress, consistency=50)
    report = cure_report(make(rows), "hem")
    assert [(item.topic, item.day) for item in report.findings if item.topic == "sag"] == [("sag", day(7))]


def test_dates_and_times_typed_into_cells(tmp_path: Path) -> None:
    """A time of day that is a time in its cell, also one beyond midnight, and a share shown in per cent."""
    rows = one_part([0, 1])
    rows["Validity"] = [
        dict(shift="early", station=None, what="end", value=datetime.time(15, 30), valid_from=day(1)),
        dict(shift=None, station="hem", what="scrap", value=0.03, valid_from=day(1)),
    ]
    plan = load_plan(write(rows, tmp_path / "plan.xlsx"))
    assert plan.hours_of(day(0), "early")[1] == 14 * 3600 and plan.hours_of(day(1), "early")[1] == 15.5 * 3600
    assert plan.on(day(1)).station("hem").scrap == pytest.approx(0.03)


def write(rows: Rows, path: Path) -> Path:
    """The rows as a workbook."""
    book = Workbook()
    book.remove(book.active)
    for name, group in rows.items():
        sheet = book.create_sheet(name)
        headers = list(dict.fromkeys(key for row in group for key in row))
        sheet.append(headers)
        for row in group:
            sheet.append([row.get(header) for header in headers])
    book.save(path)
    return path


def test_a_change_over_is_told_where_nothing_real_stands() -> None:
    """The container that was connected never came: none comes off, the hose is cleaned all the same."""
    rows = two_pastes()
    rows["Stations"][0] |= dict(hose_a=30, hose_b=20)
    rows["Stock"] = [row for row in rows["Stock"] if row["material"] != "Bond 60"]
    rows["Validity"] = [dict(station="Hem", what="Material", value="bond 15", valid_from=day(7))]
    first = list(play_plan(make(rows)))[5]
    told = [event.text for event in first.events if event.kind == "change over"]
    assert told == ["change from Bond 60 to Bond 15; empty the hose; clean what touches both"]
