"""What may be chosen, side by side: two bores, two containers, two materials worked by hand; what must hold.

The hand-worked plan is one bead of 10 mL a part (10 mm × 1 mm × 1000 mm), 21 parts at a takt of 10 min, no
break, no check shots, no scrap.
"""

from __future__ import annotations

import copy
import io
import json
import math
import random
from typing import Any

import openpyxl
import pytest
from plans import MONDAY, add_hot_pot, hand_rows, line_rows, make

from dispense.base.errors import FileError, InputError
from dispense.books.compare import compare_workbook
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.handbook.flow import MIXER_FACTOR
from dispense.jobs.compare import compare_file
from dispense.plan.choices import MOST_SETS, choice_fields, chosen_sets
from dispense.plan.demo import DEMO
from dispense.reports.compare import Comparison, SetResult, compare, set_table
from dispense.reports.cure import cure_report
from dispense.reports.pour import planned_pour
from dispense.reports.runs import station_runs
from dispense.sheets.results import results_content
from dispense.shift import player
from dispense.shift.play import play_plan
from dispense.shift.setup import setup_card

PARTS, PART = 21, 10.0  # parts of the shift, mL of one
Rows = dict[str, list[dict[str, Any]]]


def steady(**material: Any) -> Rows:
    """The plan of the module's docstring; its material lives 60 min, the rule acts at 36 min."""
    rows = hand_rows()
    del rows["Breaks"]
    rows["Materials"][0] |= material
    for row in rows["Components"]:
        row |= dict(container=1000, heel=0)
    rows["Stations"][0] |= dict(checks=0)
    rows["Stock"] = [
        dict(material="Bond 60", component=letter, lot=letter, quantity=9000, expiry="2027-01-31")
        for letter in "ab"
    ]
    return rows


def one_part(container: float, heel: float, *sizes: float) -> Rows:
    """The same with a one-part material without a mixer, in containers of one of several sizes."""
    rows = steady()
    rows["Materials"] = [dict(material="Seal 7", kind="one-part")]
    rows["Components"] = [
        dict(material="Seal 7", component="a", density=1.5, container=container, heel=heel, price=20)
    ]
    rows["Stations"][0] |= dict(material="Seal 7", mixer_volume=0, start_volume=0, end_volume=0)
    rows["Stock"] = [dict(material="Seal 7", component="a", lot="S", quantity=90_000, expiry="2027-01-31")]
    rows["Choices"] = [dict(material="Seal 7", what="container", value=f"{size:g} mL") for size in sizes]
    return rows


def chosen(rows: Rows, *choices: dict[str, Any]) -> Comparison:
    """The plan with these choices, compared."""
    return compare(make(rows | {"Choices": list(choices)}))


def by_cells(report: Comparison, place: int = 0) -> dict[tuple[str, ...], SetResult]:
    """The sets of a station by what is chosen."""
    return {one.cells: one for one in report.fields[place].sets}


def hem(what: str, value: str, option: str = "") -> dict[str, Any]:
    """A row of Choices at the station."""
    return dict(station="hem", what=what, value=value, option=option)


# ---------------------------------------------------------------------------------- worked by hand


def test_two_bores_by_hagen_and_poiseuille() -> None:
    """Δp = 128·μ·L·Q/(π·d⁴) (Hagen–Poiseuille, any fluid mechanics text) in nozzle and mixer.

    Q is the bead's 10 mm² at 100 mm/s, 1 mL/s. The mixer's bore stays: its pressure is that of the empty
    tube times the factor of a helical mixer, for both alike.
    """
    rows = steady(consistency=20, viscosity_temperature=23)
    rows["Stations"][0] |= dict(
        nozzle_bore=1.2, nozzle_length=20, mixer_bore=8, mixer_length=100, pressure_limit=60
    )

    def tube(bore: float, length: float) -> float:
        return 128 * 20 * length * 1e-6 / (math.pi * bore**4) / 1e5  # bar

    report = chosen(rows, hem("nozzle bore", "1.6 mm"))
    found = by_cells(report)
    for cell, bore in (("1.2 mm", 1.2e-3), ("1.6 mm", 1.6e-3)):
        wanted = tube(bore, 0.02) + MIXER_FACTOR * tube(8e-3, 0.1)
        assert found[cell,].pressure / 1e5 == pytest.approx(wanted, rel=1e-9)
    # 1.2 mm needs 78.6 + 0.1 bar of 60, 1.6 mm 24.9: the plan as it is is ruled out, with rule and figure
    now, other = report.fields[0].sets
    assert now.cells == ("1.2 mm",) and now.is_present and (now.rank, other.rank) == (2, 1)
    (rule,) = now.rules
    assert rule.topic == "pressure limit" and rule.numbers["limit_bar"] == 60
    assert rule.numbers["pressure_bar"] == pytest.approx(tube(1.2e-3, 0.02) + MIXER_FACTOR * tube(8e-3, 0.1))
    assert other.is_admissible
    # what goes on parts and to waste does not depend on a bore
    assert now.used == other.used and now.waste == other.waste


def test_two_bores_by_the_power_law() -> None:
    """A power-law paste: wall shear rate (3n + 1)/(4n)·32Q/(πd³), stress K·rateⁿ, Δp = 4Lτ/d.

    Rabinowitsch and Mooney; Bird, Stewart and Lightfoot, Transport Phenomena, table 8.3 (recalled).
    """
    rows = steady(consistency=150, index=0.5, viscosity_temperature=23)
    rows["Stations"][0] |= dict(nozzle_bore=2.0, nozzle_length=25)
    found = by_cells(chosen(rows, hem("nozzle bore", "3 mm")))
    for cell, bore in (("2 mm", 2e-3), ("3 mm", 3e-3)):
        rate = (3 * 0.5 + 1) / (4 * 0.5) * 32 * 1e-6 / (math.pi * bore**3)
        wanted = 4 * 0.025 * 150 * rate**0.5 / bore / 1e5
        assert found[cell,].pressure / 1e5 == pytest.approx(wanted, rel=1e-6)


def test_container_sizes_by_hand() -> None:
    """21 parts of 10 mL from containers with a heel of 10 %, changed between parts.

    100 mL: 90 usable, 9 parts each; changed twice, each leaves its heel of 10 and no rest: 20 mL lost.
    125 mL: 112.5 usable, 11 parts; changed once, heel 12.5 and rest 2.5: 15 mL.
    300 mL: 270 usable: never changed, nothing lost.
    What stands at the end: 90 − 30 + heel 10; 112.5 − 100 + 12.5; 300 − 210.
    """
    found = by_cells(compare(make(one_part(100, 0.1, 125, 300))))
    figures = {
        cells: (one.lost_in_containers / 1e6, one.waste_ml, one.left / 1e6, one.containers)
        for cells, one in found.items()
    }
    assert figures == {
        ("100 mL",): (20.0, 20.0, 70.0, 3),
        ("125 mL",): (15.0, 15.0, 25.0, 2),
        ("300 mL",): (0.0, 0.0, 90.0, 1),
    }
    # 20 for 100 mL, and the same for the volume in every size: 230, 225 and 210 mL at 0.2
    assert {cells: round(one.cost, 9) for cells, one in found.items()} == {
        ("100 mL",): 46.0,
        ("125 mL",): 45.0,
        ("300 mL",): 42.0,
    }
    assert [found[cells].rank for cells in (("300 mL",), ("125 mL",), ("100 mL",))] == [1, 2, 3]


def test_price_of_a_container_goes_with_its_option() -> None:
    """A drum of 300 mL for 75: 210 mL at 0.25 are 52.50, more than 46 from the small ones."""
    rows = one_part(100, 0.1)
    drum = dict(material="Seal 7", option="drum")
    report = chosen(rows, drum | dict(what="container", value="300"), drum | dict(what="price", value="75"))
    found = by_cells(report)
    assert found["drum",].cost == pytest.approx(52.5, rel=1e-12)
    assert found["100 mL, 20",].rank == 1 and found["drum",].rank == 2


def two_materials(price_60: float = 0, price_15: float = 0) -> Rows:
    """A joint that may be of Bond 60 or of Bond 15, which lives 15 min."""
    rows = steady()
    quick = copy.deepcopy(rows["Materials"][0]) | dict(material="Bond 15", pot_life=15, move_time=60)
    rows["Materials"].append(quick)
    rows["Components"] += [row | dict(material="Bond 15") for row in rows["Components"]]
    for row in rows["Components"]:
        row["price"] = price_60 if row["material"] == "Bond 60" else price_15
    rows["Stock"] += [row | dict(material="Bond 15") for row in rows["Stock"]]
    rows["Choices"] = [hem("material", "Bond 15")]
    return rows


def test_two_materials_by_hand() -> None:
    """Bond 60 stands 10 min between parts, of 36 that are allowed: no purge. Bond 15 may stand 9 min: a purge
    of 15 mL before each of the 20 parts after the first.

    Used of Bond 60: 21·10 on parts, 10 in the mixer, 8 at the start, 6 at the end; of Bond 15 300 mL more.
    Positions in cure: 240 min and 60 min at a takt of 10 min.
    """
    report = compare(make(two_materials()))
    found = by_cells(report)
    slow, quick = found["Bond 60",], found["Bond 15",]
    assert (slow.purges, quick.purges) == (0, 20)
    assert slow.used["parts"] == quick.used["parts"] == PARTS * PART * 1e6
    assert slow.waste_ml == 24.0 and quick.waste_ml == 324.0
    assert (slow.positions, quick.positions) == (24, 6)
    assert (slow.rank, quick.rank) == (1, 2) and slow.not_made == quick.not_made == 0
    assert report.fields[0].ranked_by == "waste"
    assert "No price is stated for Bond 60 A" in report.fields[0].ranking


def test_the_cheaper_material_ranks_first_where_prices_are_there() -> None:
    """117 mL of A and of B at 0.05 are 11.70; 267 mL of each at 0.02 are 10.68: more waste, less cost."""
    report = compare(make(two_materials(50, 20)))
    found = by_cells(report)
    assert found["Bond 60",].cost == pytest.approx(11.7, rel=1e-12)
    assert found["Bond 15",].cost == pytest.approx(10.68, rel=1e-12)
    assert found["Bond 15",].cost_of_waste == pytest.approx(0.02 * 324, rel=1e-12)
    assert [one.cells for one in report.fields[0].sets] == [("Bond 60",), ("Bond 15",)]  # as it is, first
    assert (found["Bond 60",].rank, found["Bond 15",].rank) == (2, 1)
    assert report.answer(report.fields[0]) == "First of 2: material Bond 15; 1.02 less than the plan as it is"


def test_a_price_that_one_material_lacks_leaves_the_cost_out() -> None:
    report = compare(make(two_materials(50, 0)))
    assert report.fields[0].ranked_by == "waste" and report.fields[0].best.cells == ("Bond 60",)
    assert report.fields[0].ranking.endswith("No price is stated for Bond 15 A, Bond 15 B")


def test_shop_temperature_holds_all_day_in_place_of_a_record() -> None:
    """Pot life halves for 10 K more (the plan's rule of thumb): 30 min at 33 °C, the rule at 18 min, no purge
    at 10 min; at 43 °C 15 min and 9 min: one before each part but the first."""
    rows = steady()
    rows["Temperatures"] = [dict(record="hall", time=time, temperature=43) for time in ("00:00", "12:00")]
    rows["Stations"][0]["record"] = "hall"
    found = by_cells(chosen(rows, hem("shop temperature", "33 °C"), hem("shop temperature", "91.4 degF")))
    assert {cells: one.purges for cells, one in found.items()} == {("as record hall",): 20, ("33 °C",): 0}


def test_hottest_pour_follows_the_shop() -> None:
    """As the cure report has it; no hotter than without loss of heat, ΔT = H/c; hotter in a warmer shop."""
    rows = hand_rows()
    add_hot_pot(rows, 9000)
    plan = make(rows | {"Choices": [hem("shop temperature", "30"), hem("nozzle bore", "2")]})
    found = by_cells(compare(plan))
    cool, warm = found["none", "23 °C"], found["none", "30 °C"]
    (pour,) = cure_report(plan, "hem").pours
    assert cool.hottest == pour.planned_peak
    assert cool.hottest + 3 < warm.hottest < 30 + 273.15 + 300 / 1.8
    assert found["2 mm", "30 °C"].hottest == warm.hottest
    assert "pour limit" in {rule.topic for rule in warm.rules}
    assert all(rule.numbers["limit_°C"] == 60 for rule in warm.rules if rule.topic == "pour limit")


def test_a_cure_that_is_not_reached_rules_a_material_out() -> None:
    """Bond 60 needs 20 min at 80 °C; the other 60 min, and the oven holds 80 °C for 30."""
    rows = two_materials()
    for row, need in zip(rows["Materials"], (20, 60), strict=True):
        row |= dict(cure="oven", cure_temperature=80, move_time=need, test_time=need, activation_energy=60)
    rows["Profiles"] = [
        dict(profile="bake", time=time, temperature=heat) for time, heat in ((0, 23), (1, 80), (31, 80))
    ]
    rows["Ovens"] = [dict(part="frame", station="hem", profile="bake")]
    found = by_cells(compare(make(rows)))
    assert found["Bond 60",].is_admissible
    assert {rule.topic for rule in found["Bond 15",].rules} == {"cure"}


def test_parts_that_are_not_made() -> None:
    """A nozzle at 1 mm/s takes 1000 s a bead: 14 in the 4 h, and a fifteenth waits."""
    report = chosen(steady(), hem("speed", "1"))
    slow = by_cells(report)["1 mm/s",]
    assert (slow.asked, slow.made, slow.not_made) == (21, 14, 7)
    assert "output" in {rule.topic for rule in slow.rules}


def test_what_a_line_misses_is_told_of_the_station_that_is_chosen_for() -> None:
    """s1 passes on all 20 boxes, one each 40 s; s2 takes 150 s each and makes (1800 − 40)/150 = 11 of them.

    Where s1 takes 120 s it passes on 1800/120 = 15, and s2 makes (1800 − 120)/150 = 11 again.
    """
    rows = line_rows({"box": [40, 150]}, {"box": 20}, [0], [None], end="06:30")
    rows["Stations"][0]["takt"] = 40
    rows["Choices"] = [dict(station="s1", what="speed", value=f"{400 / 120} mm/s")]
    report = compare(make(rows))
    now, slow = report.fields[0].sets
    assert (now.asked, now.made, now.not_made, now.passed_on) == (20, 11, 9, 20)
    assert (slow.asked, slow.made, slow.not_made) == (20, 11, 9)
    assert (slow.passed_on, now.is_admissible, slow.is_admissible) == (15, False, False)
    assert {rule.station for rule in now.rules if rule.topic == "output"} == {"s2"}
    answer = "Each of 2 sets is ruled out, the plan as it is among them"
    assert report.answer(report.fields[0]) == answer


def test_a_container_of_another_material_is_not_named() -> None:
    """What Bond 60 comes in is nothing to a set that takes Bond 15."""
    rows = two_materials(50, 5)
    rows["Choices"].append(dict(material="Bond 60", component="a", what="container", value="500 mL"))
    report = compare(make(rows))
    found = by_cells(report)
    assert set(found) == {("Bond 60", "1000 mL"), ("Bond 60", "500 mL"), ("Bond 15", "–")}
    assert found["Bond 15", "–"].rank == 1
    assert "Bond 60" not in report.answer(report.fields[0])


def test_what_the_plan_check_refuses_is_a_rule() -> None:
    """A material that is mixed and has no pot life cannot be planned for: the set is told, not played."""
    rows = two_materials(50, 20)
    for name in ("pot_life", "pot_life_temperature"):
        del rows["Materials"][1][name]
    report = compare(make(rows))
    quick = by_cells(report)["Bond 15",]
    assert not quick.is_played and "has no pot life" in quick.rules[0].text
    assert quick.rank == 2 and quick.cost is None and report.fields[0].ranked_by == "cost"
    headers, lines = set_table(report.fields[0], "EUR")
    told = dict(zip(headers, lines[1], strict=True))
    assert told["cost [EUR]"] is told["waste [mL]"] is told["stops"] is None and told["ruled out"] == "yes"
    found = report.as_json()["stations"][0]["sets"][1]
    assert found["used"] is found["waste"] is found["parts_made"] is None
    sheet = openpyxl.load_workbook(io.BytesIO(compare_workbook(report)))["hem"]
    assert len(sheet._charts) == 1


def test_a_set_that_cannot_be_played_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Purges of 0.1 µL into a mixer of 10 mL: 100,000 of them would make it fresh, more than are played."""
    monkeypatch.setattr(player, "MOST_CHANGES", 200)  # as 20,000, sooner
    rows = steady()
    rows["Stations"][0]["takt"] = 10  # one part after the other: no idle time in which the mixer comes off
    report = chosen(rows, hem("purge volume", "1e-4", "drops"), hem("purge share", "0.002", "drops"))
    drops = report.fields[0].sets[1]
    assert not drops.is_played and drops.cost is None
    assert "faster than a purge replaces it" in drops.rules[0].text


def test_stock_that_must_be_ordered_rules_nothing_out() -> None:
    rows = two_materials()
    rows["Stock"] = [row for row in rows["Stock"] if row["material"] == "Bond 60"]
    report = compare(make(rows))
    quick = by_cells(report)["Bond 15",]
    assert quick.is_admissible and any(item.topic == "shortage" for item in quick.findings)
    assert not any(item.topic == "shortage" for item in report.findings)  # which are those of the plan


# ------------------------------------------------------------------------------- what must hold


def demo_rows() -> Rows:
    """Some builds of the demo plant, with choices at two stations."""
    rows = copy.deepcopy(DEMO)
    days = sorted({row["date"] for row in rows["Builds"]})[:2]
    rows["Builds"] = [row for row in rows["Builds"] if row["date"] in days]
    rows["Choices"] = [
        dict(station="Block potting", what="purge share", value="75 %"),
        dict(station="Hem robot", what="nozzle bore", value="2.2"),
        dict(material="hem epoxy", component="B", what="container", value="400"),
    ]
    return rows


@pytest.fixture(scope="module")
def demo() -> Comparison:
    """The demo with choices, compared."""
    return compare(make(demo_rows()))


def test_the_plan_as_it_is_has_the_figures_of_the_results_sheet(demo: Comparison) -> None:
    """Each first row adds up what `dispense fill` writes for the plan without choices."""
    rows = demo_rows()
    del rows["Choices"]
    plan = make(rows)
    results = list(play_plan(plan))
    sheet = results_content(plan, results, "").tables
    for item in demo.fields:
        now = item.present
        assert now.is_present and now.rank >= 1
        mine = [row for row in sheet["ResultShifts"] if row["station"] in item.stations]
        used = [row for row in sheet["ResultUse"] if row["station"] in item.stations]
        assert now.purges == sum(row["purges"] for row in mine)
        assert now.mixers == sum(row["mixers"] for row in mine)
        assert now.asked == sum(row["good"] for row in mine)
        assert now.made == sum(row["finished"] for row in mine)
        assert now.total / 1e6 == pytest.approx(sum(row["drawn"] for row in used), rel=1e-12)
        assert now.used["parts"] / 1e6 == pytest.approx(sum(row["parts"] for row in used), rel=1e-12)
        pressures = [
            setting.pressure for name in item.stations for setting in setup_card(plan, name).settings
        ]
        assert now.pressure == max(pressures)
        (station,) = map(plan.station, item.stations)
        pours = [planned_pour(plan, pot) for pot in plan.pots if pot.station == station.station]
        assert now.hottest == max((pour.planned_peak for pour in pours), default=None)
        runs = station_runs(plan, station, plan.material(station.material))
        assert now.positions == max(run.positions for run in runs)


def test_every_set_keeps_the_balance(demo: Comparison) -> None:
    """Used is on parts and waste; what a set has on good parts is what all have, where all are made."""
    for item in demo.fields:
        on_parts = {one.used["parts"] for one in item.sets if not one.not_made}
        assert len(on_parts) == 1
        for one in item.sets:
            assert one.total == one.used["parts"] + one.waste
            assert one.cost == pytest.approx(one.cost_on_parts + one.cost_of_waste)


def test_ranks_put_what_nothing_rules_out_first(demo: Comparison) -> None:
    for report in (demo, compare(make(two_materials(50, 20))), compare(make(one_part(100, 0.1, 125)))):
        for item in report.fields:
            order = sorted(item.sets, key=lambda one: one.rank)
            assert [one.rank for one in order] == list(range(1, len(order) + 1))
            good = [one.is_admissible for one in order]
            assert good == sorted(good, reverse=True)
            costs = [one.cost for one in order if one.is_admissible and not one.not_made]
            assert costs == sorted(costs)
            assert item.sets[0].is_present and not any(one.is_present for one in item.sets[1:])


def test_order_of_rows_changes_nothing() -> None:
    rows = steady(consistency=20)
    rows["Stations"][0] |= dict(nozzle_bore=1.2, nozzle_length=20, pressure_limit=60)
    choices = [
        hem("nozzle bore", "1.6"),
        hem("nozzle bore", "1.4"),
        hem("mixer volume", "6", "small"),
        hem("mixer bore", "6", "small"),
        hem("mixer volume", "14", "large"),
        hem("mixer bore", "10", "large"),
        hem("purge share", "0.2"),
        dict(material="Bond 60", component="B", what="container", value="300"),
    ]
    wanted = chosen(rows, *choices).as_json()
    for seed in range(3):
        random.Random(seed).shuffle(choices)
        assert chosen(rows, *choices).as_json() == wanted


def test_a_choice_of_what_the_plan_has_changes_nothing() -> None:
    """What stands in the plan is one of the sets by itself; typed again it makes no other, in any unit."""
    without = chosen(steady(), hem("purge share", "0.3"))
    again = chosen(
        steady(), hem("purge share", "0.3"), hem("purge share", "60 %"), hem("speed", "10 cm/s"),
        hem("mixer volume", "0.01 L", "as now"), hem("material", "bond  60"),
    )  # fmt: skip
    assert by_cells(without) == by_cells(again) and len(by_cells(again)) == 2
    with pytest.raises(InputError, match="nothing else may be chosen"):
        chosen(steady(), hem("purge share", "0.6"))


def test_rows_of_an_option_go_together_and_options_of_one_figure_exclude_each_other() -> None:
    plan = make(
        steady()
        | {
            "Choices": [
                hem("mixer bore", "6", "small"),
                hem("mixer volume", "5", "small"),
                hem("mixer bore", "12", "large"),
                hem("mixer volume", "20"),
                hem("speed", "50"),
            ]
        }
    )
    (field,) = choice_fields(plan)
    assert field.product_text == "4 × 2 = 8"
    mixers = {
        (row.mixer_bore and round(row.mixer_bore * 1e3), round(row.mixer_volume * 1e6))
        for row in (one.plan.station("hem") for one in chosen_sets(plan, field))
    }
    assert mixers == {(None, 10), (6, 5), (12, 10), (None, 20)}


def test_stations_of_one_container_are_chosen_for_together() -> None:
    """Two stations that draw on the same container size share a set; without such a row each has its own."""
    rows = steady()
    rows["Stations"].append(rows["Stations"][0] | dict(station="rim"))
    rows["Beads"].append(rows["Beads"][0] | dict(bead="rim", station="rim"))
    bores = [hem("nozzle bore", "2"), hem("nozzle bore", "3") | dict(station="rim")]
    apart = make(rows | {"Choices": bores})
    assert [field.stations for field in choice_fields(apart)] == [("hem",), ("rim",)]
    size = dict(material="Bond 60", component="a", what="container", value="500")
    both = make(rows | {"Choices": [*bores, size]})
    (field,) = choice_fields(both)
    assert field.stations == ("hem", "rim") and field.size == 8
    assert choice_fields(both, "rim") == [field]


def test_a_second_material_brings_its_container_into_the_choice() -> None:
    """Where Bond 60 is used, the container of Bond 15 makes no other set: 3, not 4."""
    rows = two_materials()
    rows["Choices"].append(dict(material="Bond 15", component="a", what="container", value="500"))
    assert len(compare(make(rows)).fields[0].sets) == 3


def test_days_that_count() -> None:
    """Two days of builds: each alone adds up to both; the second begins with the containers of the first."""
    rows = one_part(100, 0.1, 125)
    rows["Builds"].append(rows["Builds"][0] | dict(date="2026-03-03"))
    plan = make(rows)
    tuesday = MONDAY.replace(day=3)
    both, first, second = (
        by_cells(compare(plan, first=begin, last=end))
        for begin, end in ((None, None), (None, MONDAY), (tuesday, None))
    )
    for cells, one in both.items():
        assert one.used == {name: first[cells].used[name] + second[cells].used[name] for name in one.used}
    # on Tuesday 60 mL stand in the open container: 6 parts, then 9 and 6 more, 2 changes
    assert second["100 mL",].lost_in_containers == 20e6
    with pytest.raises(InputError, match="no builds from 2026-04-01"):
        compare(plan, first=MONDAY.replace(month=4, day=1))


def test_progress_is_told_to_the_end() -> None:
    told: list[tuple[int, int]] = []
    compare(make(one_part(100, 0.1, 125, 300)), progress=lambda *counts: told.append(counts))
    assert told[-1] == (3, 3) and told == sorted(told)


# -------------------------------------------------------------------------------- what is wrong


@pytest.mark.parametrize(
    "row, where, words",
    [
        (hem("nozzle bore", "wide"), "Choices!E2", "nozzle bore"),
        (hem("nozzle bore", "-1"), "Choices!E2", "above 0 mm"),
        (hem("nozzle bore", ""), "Choices!E2", "blank"),
        (hem("purge share", "1.2"), "Choices!E2", "1 or less"),
        (hem("material", "Bond 6"), "Choices!E2", "did you mean Bond 60?"),
        (hem("record", "Hall"), "Choices!E2", "a name in Temperatures"),
        (hem("container", "200"), "Choices!", "name the material"),
        (dict(material="Bond 60", what="container", value="200"), "Choices!", "A or B"),
        (dict(material="Bond 60", component="a", what="purge share", value="0.5"), "Choices!", "station"),
        (hem("colour", "red"), "Choices!", "one of material, nozzle bore"),
        (hem("nozzle bore", "2") | dict(station="hemm"), "Choices!A2", "did you mean hem?"),
    ],
)
def test_rows_that_cannot_be_read(row: dict[str, Any], where: str, words: str) -> None:
    blank = dict(station="", material="", component="", what="", value="")
    typed = {name: value for name, value in row.items() if name != "option"}
    with pytest.raises(InputError) as error:
        make(steady() | {"Choices": [blank | typed]})
    (problem,) = error.value.problems
    assert problem.where.startswith(where) and words in str(problem)


def test_an_option_that_contradicts_itself() -> None:
    with pytest.raises(InputError, match="mixer bore appears twice in option small"):
        chosen(steady(), hem("mixer bore", "6", "small"), hem("mixer bore", "7", "small"))


def test_a_container_that_no_station_may_use() -> None:
    rows = two_materials()
    rows["Choices"] = [dict(material="Bond 15", component="a", what="container", value="500")]
    with pytest.raises(InputError, match="no station uses Bond 15"):
        compare(make(rows))


def test_too_many_sets_are_refused_with_their_counts() -> None:
    """As it is and 24 more of one figure, and as many of another: 625."""
    bores = [hem("nozzle bore", f"{1 + place / 10:g}") for place in range(24)]
    shares = [hem("purge share", f"{0.61 + place / 100:g}") for place in range(24)]
    with pytest.raises(InputError) as error:
        chosen(steady(), *bores, *shares)
    text = str(error.value)
    assert f"more than {MOST_SETS} sets" in text and "hem: 25 × 25 = 625" in text


def test_a_plan_without_choices() -> None:
    with pytest.raises(InputError, match="nothing else may be chosen"):
        compare(make(steady()))


# -------------------------------------------------------------------------- command and workbook


def written(rows: Rows, folder: Any) -> Any:
    """The plan as a workbook."""
    return write_plan(
        {name: [dict(row) for row in table] for name, table in rows.items()}, folder / "plan.xlsx"
    )


def test_command_prints_the_sets(tmp_path, capsys) -> None:
    plan = written(two_materials(50, 20), tmp_path)
    assert main(["compare", str(plan)]) == 0
    text = capsys.readouterr().out
    assert "First of 2: material Bond 15; 1.02 less than the plan as it is" in text
    assert "Ranked: first what nothing rules out, then by the cost" in text
    lines = [line.split() for line in text.splitlines()]
    assert ["2", "now", "Bond", "60"] in [line[:4] for line in lines]
    assert ["1", "Bond", "15"] in [line[:3] for line in lines]
    assert "Bond 15: Mixed material warms itself" in text


def test_command_prints_json(tmp_path, capsys) -> None:
    plan = written(two_materials(50, 20), tmp_path)
    assert (
        main(
            ["compare", str(plan), "--station", "hem", "--from", "2026-03-02", "--to", "2026-03-02", "--json"]
        )
        == 0
    )
    found = json.loads(capsys.readouterr().out)
    (station,) = found["stations"]
    assert station["stations"] == ["hem"] and station["ranked_by"] == "cost"
    now, other = station["sets"]
    assert now["present"] and now["choices"] == ["material Bond 60"] and now["rank"] == 2
    assert other["waste"] == 324.0 and other["cost"] == pytest.approx(10.68) and other["cure_positions"] == 6
    assert other["hottest_pour"] is None and other["admissible"] and other["ruled_out"] == []


def test_exit_codes_are_those_of_the_plan_as_it_is(tmp_path, capsys) -> None:
    """A danger of the plan gives 3, of a set that is not chosen none; missing stock 4; bad input 1."""
    rows = steady(consistency=20, viscosity_temperature=23)
    rows["Stations"][0] |= dict(nozzle_bore=1.2, nozzle_length=20, pressure_limit=60)
    for number, (bore, other, code) in enumerate((("1.2", "1.6", 3), ("1.6", "1.2", 0))):
        rows["Stations"][0]["nozzle_bore"] = float(bore)
        folder = tmp_path / str(number)
        folder.mkdir()
        plan = written(rows | {"Choices": [hem("nozzle bore", other)]}, folder)
        assert main(["compare", str(plan)]) == code
    assert "78.6 bar is needed, limit 60 bar" in capsys.readouterr().out
    short = two_materials()
    short["Stock"] = [row | dict(quantity=50) for row in short["Stock"]]
    plan = written(short, tmp_path)
    assert main(["compare", str(plan)]) == 4
    assert main(["compare", str(plan), "--station", "rim"]) == 1
    assert main(["compare", str(plan), "--out", str(tmp_path / "out.txt")]) == 1
    assert main(["compare", str(plan), "--out", str(plan)]) == 1


def test_workbook_holds_the_sets_and_one_chart_each(tmp_path) -> None:
    rows = two_materials(50, 20)
    plan = written(rows, tmp_path)
    out = tmp_path / "compare.xlsx"
    report = compare_file(plan, out=out)
    book = openpyxl.load_workbook(out)
    assert book.sheetnames == ["hem", "Chart data"]
    sheet = book["hem"]
    assert len(sheet._charts) == 1
    cells = {cell.value for row in sheet.iter_rows() for cell in row}
    assert {"Choices at hem", "now", "Bond 60", "Bond 15"} <= cells
    header = next(row for row in sheet.iter_rows() if row[0].value == "Rank")
    names = [cell.value for cell in header]
    table = [
        dict(zip(names, (cell.value for cell in row), strict=True))
        for row in sheet.iter_rows(min_row=header[0].row + 1, max_row=header[0].row + 2)
    ]
    assert [row["Waste [mL]"] for row in table] == [24.0, 324.0]
    assert [row["Cost"] for row in table] == [pytest.approx(11.7), pytest.approx(10.68)]
    assert [row["Plan"] for row in table] == ["now", None]
    assert report.out == out
    before = out.read_bytes()
    compare_file(plan, out=out)
    assert out.read_bytes() == before  # same comparison, same bytes
    (tmp_path / "own.xlsx").write_bytes(plan.read_bytes())
    with pytest.raises(FileError):
        compare_file(plan, out=tmp_path / "own.xlsx")


def test_workbook_tells_what_rules_sets_out_and_holds_no_formula_of_the_plan() -> None:
    """Names of options and stations that look like formulas stay texts."""
    rows = steady(consistency=20, viscosity_temperature=23)
    rows["Stations"][0] |= dict(nozzle_bore=1.6, nozzle_length=20, pressure_limit=60)
    evil = '=HYPERLINK("http://x","y")'
    report = chosen(rows, hem("nozzle bore", "1.2", evil), hem("purge share", "0.5", "@SUM(1)"))
    book = openpyxl.load_workbook(io.BytesIO(compare_workbook(report, "Letter")))
    assert book.sheetnames == ["hem", "Ruled out", "Chart data"]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert evil in [cell.value for cell in cells] and "@SUM(1)" in [cell.value for cell in cells]
    assert not [cell.coordinate for cell in cells if cell.data_type == "f"]
    told = [cell.value for row in book["Ruled out"].iter_rows() for cell in row]
    assert any("78.6 bar is needed, limit 60 bar" in str(value) for value in told)


def test_more_processes_give_the_same() -> None:
    rows = steady(consistency=20, viscosity_temperature=23)
    rows["Stations"][0] |= dict(nozzle_bore=1.2, nozzle_length=20)
    choices = [hem("nozzle bore", "1.6 mm"), hem("purge share", "50 %")]
    plan = make(rows | {"Choices": choices})
    told: list[tuple[int, int]] = []
    one, two = compare(plan), compare(plan, processes=2, progress=lambda *step: told.append(step))
    assert one.as_json() == two.as_json()
    assert told[-1] == (4, 4)
    with pytest.raises(InputError, match="a whole number 1 or more"):
        compare(plan, processes=0)


def test_the_figures_behind_the_charts_print_no_page() -> None:
    """They stand on a hidden worksheet, named in the book and read by each chart."""
    book = openpyxl.load_workbook(io.BytesIO(compare_workbook(chosen(steady(), hem("nozzle bore", "1.6")))))
    assert book["Chart data"].sheet_state == "hidden"
    charts = [chart for sheet in book for chart in sheet._charts]
    assert charts and all(chart.series for chart in charts)


def test_workbook_of_many_sets_repeats_its_header() -> None:
    bores = [hem("nozzle bore", f"{1 + place / 10:g}") for place in range(14)]
    report = chosen(steady(), *bores)
    sheet = openpyxl.load_workbook(io.BytesIO(compare_workbook(report)))["hem"]
    assert sheet.print_title_rows
    assert sheet._charts[0].series[0].val.numRef.f.endswith("$16")  # twelve bars from row 5
