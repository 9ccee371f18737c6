"""Slips of the pen: the demo is free of them, each one put in is found, with its cell.

What is usual is common practice, no source; the slips themselves are arithmetic: 25 °F is −3.9 °C, a
decimal point one place off is a factor of 10.
"""

from __future__ import annotations

import copy
import datetime
import math
from itertools import pairwise

import pytest
from plans import hand_rows, make

from dispense.base.findings import NOTE, QUALITY, STOP
from dispense.plan.build import build_plan
from dispense.plan.demo import DEMO
from dispense.plan.records import raw_table
from dispense.plan.slips import USUAL, slips
from dispense.plan.tables import BY_NAME


def demo_rows():
    return copy.deepcopy({name: rows for name, rows in DEMO.items() if name != "Settings"})


def found(rows, **words) -> list:
    return slips(build_plan({name: raw_table(name, table) for name, table in rows.items()}))


def cell(rows, table: str, column: str, row: int) -> str:
    """The cell as raw tables name it: columns in the order in which they first stand."""
    headers = list(dict.fromkeys(key for item in rows[table] for key in item))
    place = headers.index(column)
    letter = chr(65 + place) if place < 26 else "A" + chr(65 + place - 26)
    return f"{table}!{letter}{row + 2}"


def test_the_demo_and_the_plan_worked_by_hand_have_none():
    assert found(demo_rows()) == []
    assert slips(make(hand_rows())) == []


CASES = [
    # density 11 for 1.1, in g/mL
    ("Components", 0, "density", 11.0, QUALITY, "density of hem epoxy a is 11 g/mL"),
    # 180,000 Pa·s: mPa·s typed under Pa·s
    ("Materials", 3, "consistency", 180_000.0, QUALITY, "consistency of cell compound is 180000 Pa·s"),
    # 25 °F typed as °C is −4 °C, 77 °F is 77
    ("Materials", 3, "pot_life_temperature", -4.0, QUALITY, "pot life temperature of cell compound is -4 °C"),
    ("Materials", 3, "pot_life_temperature", 77.0, QUALITY, "is 77 °C"),
    ("Stations", 0, "speed", 1500.0, QUALITY, "speed of Hem robot is 1500 mm/s"),
    ("Components", 0, "heel", 0.4, QUALITY, "heel of hem epoxy a is 0.4"),
    ("Stations", 0, "scrap", 0.3, QUALITY, "scrap of Hem robot is 0.3"),
    ("Materials", 1, "pot_life", 0.4, QUALITY, "pot life of cover sealant is 0.4 min"),
    ("Materials", 4, "cure_temperature", 23.0, QUALITY, "cures in an oven, at 23 °C"),
    ("Temperatures", 3, "temperature", 76.0, QUALITY, "is 76 °C"),
    ("Stations", 4, "purge_volume", 11.0, QUALITY, "a purge of 11 mL does not empty the mixer"),
    # 16 mm bore and 420 mm are π/4·1.6²·42 = 84.4 mL
    ("Stations", 4, "mixer_volume", 950.0, QUALITY, "mixer and nozzle hold 87.5 mL"),
    ("Beads", 1, "width", 600.0, QUALITY, "width of Module cover Cover seal is 600 mm"),
    ("Stock", 8, "arrival", datetime.date(2027, 3, 6), QUALITY, "after its expiry on 2027-02-28"),
    ("Builds", 7, "quantity", 1200, QUALITY, "1200 Drive box on 2026-03-03 in Early, usual are 1"),
    ("Builds", 7, "date", datetime.date(2027, 4, 3), QUALITY, "is 386 days after the one before it"),
    ("Builds", 7, "date", datetime.date(2025, 4, 3), QUALITY, "is 333 days before the next, on 2026-03-02"),
    ("Breaks", 1, "end", "13:30", QUALITY, "break at 10:30 of Early is 3 hours long"),
]


@pytest.mark.parametrize("table, row, column, value, kind, words", CASES, ids=lambda item: str(item)[:24])
def test_a_slip_is_found_at_its_cell(table, row, column, value, kind, words):
    rows = demo_rows()
    rows[table][row][column] = value
    if column == "mixer_volume":  # the purge is made to follow: one slip at a time
        rows[table][row]["purge_volume"] = 1000.0
    told = [item for item in found(rows) if words in item.text]
    assert len(told) == 1, [str(item) for item in found(rows)]
    assert (told[0].kind, told[0].cell) == (kind, cell(rows, table, column, row))


def test_a_takt_shorter_than_the_bead():
    """The cover seal: 1560 mm at 80 mm/s are 19.5 s, without its 26 starts of 0.3 s."""
    rows = demo_rows()
    rows["Stations"][1]["takt"] = 3.0
    (told,) = found(rows)
    assert told.kind == STOP and told.station == "Cover sealer"
    assert told.cell == cell(rows, "Stations", "takt", 1)
    assert told.numbers["time [s]"] == pytest.approx(1560 / 80 + 26 * 0.3, rel=1e-9)
    rows["Stations"][1]["takt"] = 28.0  # above 27.3 s
    assert found(rows) == []


def test_a_container_smaller_than_a_shot():
    """The cell bed takes litres: half of 2.5 L of each component in two shots; a container of 200 mL
    where one of 200 L was meant."""
    rows = demo_rows()
    rows["Components"][5]["container"] = 200.0
    told = found(rows)
    assert [item.kind for item in told] == [STOP]
    assert told[0].cell == cell(rows, "Components", "container", 5)
    assert told[0].numbers["usable [mL]"] == pytest.approx(200 * 0.98)


def test_shifts_that_overlap_where_both_are_built_in():
    rows = demo_rows()
    rows["Shifts"][1]["start"] = "13:00"
    (told,) = found(rows)
    assert told.cell == cell(rows, "Shifts", "start", 1)
    assert "Late (13:00–22:00) overlaps Early (06:00–14:00)" in told.text
    # overtime of a build into the next shift is an overlap too
    rows["Shifts"][1]["start"] = "14:00"
    assert not [item for item in found(rows) if "overlaps" in item.text]
    rows["Builds"][0]["end"] = "15:00"
    assert "overlaps Early (06:00–15:00)" in next(
        item.text for item in found(rows) if "overlaps" in item.text
    )
    rows["Builds"][0]["end"] = None
    rows["Builds"] = [row for row in rows["Builds"] if row["shift"] == "Early"]
    assert not [item for item in found(rows) if "overlaps" in item.text]


def test_a_night_shift_that_runs_into_the_next_morning():
    """22:00 to 31:00 ends at 7:00, an hour into the early shift of the next day."""
    rows = demo_rows()
    rows["Shifts"].append({"shift": "Night", "start": "22:00", "end": "31:00"})
    monday = rows["Builds"][0]["date"]
    rows["Builds"].append({"date": monday, "shift": "Night", "part": "Drive box", "quantity": 90})
    (told,) = found(rows)
    assert "Night" in told.text and "overlaps Early" in told.text
    rows["Shifts"][-1]["end"] = "30:00"
    assert found(rows) == []


def test_the_same_build_twice():
    rows = demo_rows()
    rows["Builds"].append(dict(rows["Builds"][2]))
    (told,) = found(rows)
    assert told.cell == cell(rows, "Builds", "part", len(rows["Builds"]) - 1)
    assert "first in Builds!C4" in told.text
    rows["Builds"] += [dict(rows["Builds"][2]) for _ in range(100)]
    assert 5 < len(found(rows)) < 30  # named one by one up to a bound


def test_idle_stations_bare_parts_and_unused_rows():
    rows = demo_rows()
    rows["Stations"].append(dict(rows["Stations"][0], station="Spare robot"))
    rows["Parts"].append({"part": "Spacer"})
    rows["Assemblies"].append({"assembly": "Drive box", "part": "Spacer", "count": 1})
    rows["Beads"].append(dict(rows["Beads"][0], bead="Spacer bead", part="Spacer", station="Spare robot"))
    assert found(rows) == []
    rows["Beads"][-1]["station"] = "Hem robot"
    (told,) = found(rows)
    assert (told.kind, told.station) == (STOP, "Spare robot")
    rows = demo_rows()
    rows["Parts"].append({"part": "Spacer"})
    assert [(item.kind, item.text) for item in found(rows)] == [(NOTE, "part Spacer is not built")]
    rows["Assemblies"].append({"assembly": "Drive box", "part": "Spacer", "count": 1})
    (told,) = found(rows)
    assert told.text == "Spacer is built in Drive box and gets no material"


def test_an_oven_material_without_an_oven():
    rows = demo_rows()
    rows["Ovens"] = []
    assert any("table Ovens has no row for Busbar carrier" in item.text for item in found(rows))
    rows = demo_rows()
    for row in rows["Profiles"]:
        row["temperature"] = min(row["temperature"], 120.0)  # 150 °C is the material's
    assert any("reaches 120 °C" in item.text and "at 150 °C" in item.text for item in found(rows))


def test_usual_figures_are_within_what_the_columns_allow():
    for usual in USUAL:
        item = BY_NAME[usual.table].column(usual.column)
        assert usual.low < usual.high
        assert item.within(usual.high), usual
    order = [usual.table for usual in USUAL]
    names = list(BY_NAME)
    assert all(names.index(first) <= names.index(second) for first, second in pairwise(order))


@pytest.mark.parametrize(("factor", "degree"), [(1 / 60.0, 0.0033), (60.0, 1.0)])
def test_kinetics_whose_rates_are_of_another_time(factor, degree):
    """n-th order by hand: A1 of a second, or of an hour, in a column of minutes; a pot life of 25 min."""
    rate = 0.012  # 1/min at 25 °C; first order: 1 − exp(−rate·25) = 0.26, between a hundredth and the gel
    assert 1 - math.exp(-rate * factor * 25) == pytest.approx(degree, rel=0.6)
    for number, count in ((rate, 0), (rate * factor, 1)):
        rows = hand_rows()
        rows["Materials"][0] |= dict(
            rate_1=number, energy_1=0, order_n=1, pot_life=25, pot_life_temperature=25, gel_degree=0.6
        )
        told = [item for item in slips(make(rows)) if "have come to a degree" in item.text]
        assert len(told) == count
        assert not told or told[0].kind == QUALITY


def test_a_long_gap_is_told_at_the_side_that_has_fewer_builds():
    """2 March 2026 to 2 March 2027 is 365 days; 60 days are let pass, 61 are told."""
    rows = hand_rows()
    rows["Builds"] = [
        rows["Builds"][0] | dict(date=day) for day in ("2026-03-02", "2026-03-02", "2027-03-02")
    ]
    rows["Builds"][1] = rows["Builds"][1] | dict(quantity=3)
    (told,) = [item for item in slips(make(rows)) if "days after" in item.text]
    assert "the build on 2027-03-02 is 365 days after the one before it, on 2026-03-02" in told.text
    assert told.cell == cell(rows, "Builds", "date", 2)
    for days, many in ((60, 0), (61, 1)):
        rows["Builds"][2]["date"] = datetime.date(2026, 3, 2) + datetime.timedelta(days=days)
        assert len([item for item in slips(make(rows)) if "days after" in item.text]) == many


def test_builds_on_days_on_which_their_shift_is_not_worked():
    """7 March 2026 is a Saturday. Where nobody states Days, nothing is told."""
    rows = hand_rows()
    rows["Builds"][0]["date"] = "2026-03-07"
    assert not [item for item in slips(make(rows)) if "is worked on" in item.text]
    rows["Shifts"][0]["days"] = "Mon-Fri"
    (told,) = [item for item in slips(make(rows)) if "is worked on" in item.text]
    assert "shift early is worked on Mon-Fri, and is built in on Sat 2026-03-07: it is played" in told.text
    assert (told.kind, told.cell) == (QUALITY, cell(rows, "Builds", "date", 0))
    rows["Shifts"][0]["days"] = "Mon-Sat"
    assert not [item for item in slips(make(rows)) if "is worked on" in item.text]


@pytest.mark.parametrize(
    "a, b, container_a, container_b, basis, is_told",
    [
        (1, 4, 600, 150, "volume", True),  # 4:1 is meant
        (4, 1, 600, 150, "volume", False),
        (1, 4, 600, 180, "volume", False),  # 3.33:1 is within a sixth, not within a tenth
        (1, 1, 600, 600, "volume", False),
        (100, 38, 200, 200, "volume", False),
        (1, 4, 4000 / 1.2, 1000 / 1.5, "mass", True),  # 4 kg and 1 kg, of 1.2 and 1.5 g/mL
    ],
)
def test_a_ratio_turned_round(a, b, container_a, container_b, basis, is_told):
    rows = hand_rows()
    rows["Materials"][0] |= dict(ratio_a=a, ratio_b=b, ratio_basis=basis)
    for row, container, density in zip(
        rows["Components"], (container_a, container_b), (1.2, 1.5), strict=True
    ):
        row |= dict(container=container, density=density)
    told = [item for item in slips(make(rows)) if "the other way round" in item.text]
    assert [item.cell for item in told] == [cell(rows, "Materials", "ratio_a", 0)] * is_told


@pytest.mark.parametrize("celsius, is_told", [(73.4, True), (73.0, True), (23.0, False), (60.0, False)])
def test_a_cure_temperature_in_fahrenheit(celsius, is_told):
    """73.4 °F is 23 °C, 73 °F 22.8 °C: the temperature of the pot life, for a material that sees no oven."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure_temperature=celsius, pot_life_temperature=23)
    told = [item for item in slips(make(rows)) if "in °F" in item.text]
    assert [item.cell for item in told] == [cell(rows, "Materials", "cure_temperature", 0)] * is_told
    rows["Materials"][0]["cure"] = "oven"
    assert not [item for item in slips(make(rows)) if "in °F" in item.text]


@pytest.mark.parametrize("celsius, is_told", [(60.0, False), (90.0, False), (140.0, True)])
def test_a_limit_that_no_battery_cell_has(celsius, is_told):
    """140 °F is 60 °C; 140 °C is none of a cell."""
    rows = demo_rows()
    place = next(i for i, row in enumerate(rows["Pots"]) if row.get("cells"))
    rows["Pots"][place]["limit"] = celsius
    told = [item for item in found(rows) if "battery cells" in item.text]
    assert [item.cell for item in told] == [cell(rows, "Pots", "limit", place)] * is_told
