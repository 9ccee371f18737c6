"""The lamp of a station and its board.

Dose is irradiance times time (H = E·t, as the photobiology vocabulary of CIE S 017:2020 has radiant exposure;
recalled): 1 mW/cm² for 1 s is 1 mJ/cm². All figures here are worked by hand from it.
"""

from __future__ import annotations

import openpyxl
import pytest
from floor import type_in
from plans import hand_rows, light_plan, make
from test_sheets import named, table_rows

from dispense.base.findings import QUALITY
from dispense.jobs.book import book_files
from dispense.jobs.fill import fill
from dispense.plan.lamp import lamp_of
from dispense.reports.findings import station_findings
from dispense.sheets.board import cure_board_content
from dispense.sheets.lamp import dose_limits, lamp_basis, lamp_board_content, lamp_headline
from dispense.shift.play import play_plan

STAMP = "2026-03-01 12:00"


def lamp_rows(station=(), **material):
    """The plan worked by hand, its material cured by a lamp."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(cure="light", dose=3) | material
    rows["Stations"][0] |= dict(station)
    return rows


def lamp(station=(), **material):
    plan = make(lamp_rows(station, **material))
    return lamp_of(plan.material("Bond 60"), plan.station("hem"))


def test_dose_time_and_belt_by_hand():
    """150 mW/cm² for 25 s: 3.75 J/cm²; 3 J/cm² after 20 s; 500 mm in 25 s: 20 mm/s, in 20 s: 25 mm/s."""
    found = lamp(dict(irradiance=150, exposure_time=25, lit_length=500))
    assert found.given == pytest.approx(3.75e4)  # J/m²
    assert found.least_time == pytest.approx(20.0)
    assert found.belt == pytest.approx(0.020)
    assert found.fastest_belt == pytest.approx(0.025)
    bare = lamp()
    assert (bare.given, bare.least_time, bare.belt, bare.fastest_belt) == (None, None, None, None)


@pytest.mark.parametrize(
    ("seconds", "limit", "says"),
    [
        (19.9, None, "the lamp gives 2.98 J/cm² of the 3 J/cm² that cure"),
        (20, None, ""),  # the dose itself cures
        (40, 6, ""),  # and the limit itself is borne
        (40.1, 6, "the lamp gives 6.01 J/cm², the material bears 6 J/cm²"),
        (40.1, None, ""),
    ],
)
def test_a_lamp_beside_its_limits_is_told(seconds, limit, says):
    plan = make(lamp_rows(dict(irradiance=150, exposure_time=seconds), dose_limit=limit))
    found = [item for item in station_findings(plan, "hem") if item.topic == "light"]
    assert [item.text for item in found] == ([says] if says else [])
    assert all(item.kind == QUALITY and item.fix for item in found)


def test_limits_are_rounded_inward():
    """Half the room between 3.006 and 3.994 is 0.494; a tenth of it asks for two decimals."""
    limits = dose_limits(lamp(dose=3.006, dose_limit=3.994))
    assert limits is not None and limits.text == "3.01 to 3.99"
    least = dose_limits(lamp(dose=3.006))
    assert least is not None and least.low == 3.01 and least.high is None and least.target == 3.01


@pytest.mark.parametrize(
    ("station", "material", "headline", "basis"),
    [
        ({}, {"dose": None}, "No light dose is stated", "measure it at the part"),
        ({}, {}, "at least 3.00 J/cm²", "measure it at the part"),
        ({"irradiance": 150}, {"dose_limit": 6}, "3.0 to 6.0 J/cm²", "least time"),
        ({"irradiance": 150, "exposure_time": 25}, {}, "at least 3.00", "irradiance and time of the plan"),
    ],
)
def test_what_is_not_stated_is_asked_for(station, material, headline, basis):
    found = lamp(station, **material)
    assert headline in lamp_headline(found) and basis in lamp_basis(found)


def test_a_lamp_has_its_board_and_no_times_of_a_room():
    """Move and test times are stated, as some plans have them; the board of a lamp shows none of them."""
    result = next(play_plan(make(lamp_rows())))
    plan = make(lamp_rows())
    assert cure_board_content(plan, result, STAMP) is None
    content = lamp_board_content(plan, result, STAMP)
    assert content is not None
    assert not {"move", "join", "test"} & {
        name for rows in content.tables.values() for row in rows for name in row
    }
    room = make(hand_rows())
    assert lamp_board_content(room, next(play_plan(room)), STAMP) is None


def test_the_board_as_printed_and_read_back(tmp_path):
    """Work from 06:00 with a break to 08:30: a strip at each; 2.9 and 3.1 J/cm² written beside 3 to 6.

    3.75 stands as 3.8: a tenth of half the room between the limits is 0.15 J/cm², one decimal.
    """
    rows = lamp_rows(dict(irradiance=150, exposure_time=25), dose_limit=6)
    plan_file = light_plan(tmp_path / "plan.xlsx", rows)
    fill(plan_file, tmp_path / "out", stamp=STAMP)
    folder = tmp_path / "out" / "2026-03-02_early"
    assert not (folder / "hem_cure_board.xlsx").exists()
    path = folder / "hem_lamp_board.xlsx"
    book = openpyxl.load_workbook(path, data_only=True)
    checks = table_rows(book, "LampChecks")
    assert [row["Time"].strftime("%H:%M") for row in checks] == ["06:00", "08:30"]
    assert [(row["Target [J/cm²]"], row["Low [J/cm²]"], row["High [J/cm²]"]) for row in checks] == [
        (3.8, 3, 6)
    ] * 2
    assert named(book, "least_time") == pytest.approx(20)
    assert "UV light harms eyes and skin" in named(book, "cautions")
    type_in(path, "LampChecks", "Reading", [2.9, 3.1])
    type_in(path, "LampChecks", "Initials", ["MK", "MK"])
    report = book_files(plan_file, [path], stamp="2026-03-02 15:00")
    assert report.files[0].booking is not None
    kept = [item for item in report.files[0].reading.entries if item.kind == "noted"]
    assert [(item.text, item.by, item.time[-8:]) for item in kept] == [
        ("lamp dose 2.9 J/cm², 3 to 6", "MK", "06:00:00"),
        ("lamp dose 3.1 J/cm², 3 to 6", "MK", "08:30:00"),
    ]


def test_a_reading_that_is_no_dose_is_named(tmp_path):
    plan_file = light_plan(tmp_path / "plan.xlsx", lamp_rows())
    fill(plan_file, tmp_path / "out", stamp=STAMP)
    path = tmp_path / "out" / "2026-03-02_early" / "hem_lamp_board.xlsx"
    type_in(path, "LampChecks", "Reading", ["dark"])
    report = book_files(plan_file, [path], stamp="2026-03-02 15:00")
    assert any(
        "a dose in J/cm² is meant" in str(item)
        for item in (*report.files[0].reading.refused, *report.files[0].reading.unread)
    )
