"""What the floor must know of a pot in several shots, of what is stirred, and of what the store lacks.

The masses, clock times and limits are worked by hand beside each; that a wait which keeps cells below their
limit is a least one and not to be cut short is common practice, no source.
"""

from __future__ import annotations

import datetime
import itertools
from typing import Any

import openpyxl
import pytest
from floor import place_of, type_in
from plans import add_hot_pot, hand_rows, make

from dispense.base.findings import DANGER, NOTE
from dispense.base.picture import Words
from dispense.base.printed import Printed
from dispense.books.plan import write_plan
from dispense.jobs.book import book_files
from dispense.jobs.fill import fill
from dispense.journal.store import journal_path, read_journal
from dispense.reports.findings import station_findings
from dispense.reports.pour import planned_pour, pour_findings
from dispense.sheets.board import cure_board_content
from dispense.sheets.material import shift_material_content
from dispense.sheets.setup import setup_headline, station_setup_content
from dispense.sheets.staging import staging_content
from dispense.shift.play import play_plan
from dispense.shift.setup import setup_card

PORTIONS = (0.4, 0.2, 0.2, 0.2)
FILLER = dict(  # spheres that rise, of tests/test_standing.py: halves differ by 1 % after 5.3 h
    standing_height=200,
    filler_size=0.055,
    filler_density=0.25,
    filler_share=0.25,
    liquid_viscosity=3.5,
    density=0.9025,
    density_tolerance=0.01,
)


def shots_rows(waits: tuple[int, ...] = (15, 15, 15)) -> dict[str, list[dict[str, Any]]]:
    """A pot of 320 mL at 1.1 g/mL in four shots, the first twice as deep as the others."""
    rows = hand_rows()
    add_hot_pot(rows, 5000.0)
    rows["Shots"] = [
        dict(part="frame", pot="bed", shot=place + 1, portion=portion, wait=(0, *waits)[place])
        for place, portion in enumerate(PORTIONS)
    ]
    rows["Beads"] = []
    rows["Stations"][0] |= dict(takt=600)
    rows["Builds"][0]["quantity"] = 2
    return rows


def card_of(rows: dict[str, list[dict[str, Any]]]):
    plan = make(rows)
    return station_setup_content(plan, setup_card(plan, "hem"), "")


def words_of(content: Any, table: str) -> str:
    return " ".join(
        str(value).strip() for row in content.tables[table] for value in row.values() if value is not None
    )


def test_the_headline_of_a_card_tells_every_shot():
    # by hand: 320 mL·1.1 g/mL = 352 g, of it 0.4 and three times 0.2
    headline = card_of(shots_rows()).values["headline"]
    assert headline.endswith("4 shots: 140.8 g, then 3 × 70.40 g, wait at least 15 min")
    # waits that differ stand each before its shot
    headline = card_of(shots_rows((15, 30, 30))).values["headline"]
    assert "140.8 g, then 70.40 g after at least 15 min, then 2 × 70.40 g after at least 30 min" in headline
    # beside another application the pot is named; one shot is set as before
    rows = shots_rows()
    rows["Beads"] = hand_rows()["Beads"]
    rows["Beads"][0]["part"] = "frame"
    assert " (frame / " in card_of(rows).values["headline"]
    rows = shots_rows()
    rows["Shots"] = []
    assert card_of(rows).values["headline"].endswith("Set 352.0 g")


def test_the_headline_is_in_the_unit_of_the_column():
    # 0.3408 lb and 0.1704 lb beside 154.6 g and 77.3 g: each shot is converted, not the first alone
    rows = [dict(part="p", application="a", mass=Printed(grams, 1)) for grams in (154.6, 77.3)]
    flows = [dict(wait=None), dict(wait=10.0)]
    pounds = [Printed(0.3408, 4), Printed(0.1704, 4)]
    words = "2 shots: 0.3408 lb, then 0.1704 lb, wait at least 10 min"
    assert setup_headline(rows, flows, pounds, "lb") == words


def test_a_wait_is_a_least_one_and_says_what_it_protects():
    plan = make(shots_rows())
    (note,) = [item for item in station_findings(plan, "hem") if item.topic == "wait between shots"]
    assert note.kind == NOTE and note.numbers["wait_min"] == 15.0
    assert "wait at least 15 min after each shot before the next" in note.text
    assert "it protects the cells, whose limit is 60 °C" in note.text  # the limit of the plan
    assert "stop and ask, do not pour" in note.fix
    result = next(iter(play_plan(plan)))
    told = [
        words_of(card_of(shots_rows()), "SetupNotes"),
        words_of(shift_material_content(plan, result, ""), "MaterialWarnings"),
        words_of(cure_board_content(plan, result, ""), "CureWarnings"),
    ]
    for words in told:
        assert "at least 15 min" in " ".join(
            words.split()
        ) and "protects the cells, whose limit is 60 °C" in " ".join(words.split())
        assert "do not pour" in " ".join(words.split())
    # without a limit nothing is said of cells; without kinetics the wait is told all the same
    rows = shots_rows((15, 20, 20))
    rows["Pots"][0]["limit"] = None
    waits = [item for item in pour_findings(make(rows), "hem") if item.topic == "wait between shots"]
    assert len(waits) == 3 and "after shot 1 before shot 2" in waits[0].text
    assert all("cells" not in item.text and not item.fix for item in waits)
    rows = shots_rows()
    rows["Materials"][0]["heat"] = None
    (wait,) = [item for item in pour_findings(make(rows), "hem") if item.topic == "wait between shots"]
    assert "whose limit" in wait.text


def test_the_clock_list_says_when_later_shots_may_be_poured():
    """By hand: 128 mL at 5 mL/s are 25.6 s, and with the handling the first shot is done then; the next not
    before 15 min later, told in the whole minute after; the second part comes 10 min later."""
    rows = shots_rows()
    rows["Stations"][0] |= dict(handling_time=10)
    plan = make(rows)
    result = next(iter(play_plan(plan)))
    content = shift_material_content(plan, result, "")
    later = content.tables["MaterialLater"]
    assert len(later) == 2 * 3 and len({row["serial"] for row in later}) == 2
    start = datetime.datetime(2026, 3, 2, 6)
    for serial in {row["serial"] for row in later}:
        first, *others = rows_of = [row for row in later if row["serial"] == serial]
        begun = start + datetime.timedelta(seconds=600 * (serial - 1))
        ended = begun + datetime.timedelta(seconds=25.6 + 10)
        assert (
            first["earliest"]
            == begun + datetime.timedelta(minutes=16)
            >= ended + datetime.timedelta(minutes=15)
        )
        assert [(row["shot"], row["before"], row["wait"]) for row in rows_of] == [
            (2, 1, 15.0),
            (3, 2, 15.0),
            (4, 3, 15.0),
        ]
        times = [row["earliest"] for row in rows_of]
        assert all(b - a >= datetime.timedelta(minutes=15) for a, b in itertools.pairwise(times))
        assert len(others) == 2
    # the clock list says once from when on each of them comes, and where they stand
    told = [row for row in content.tables["MaterialTimes"] if row["event"] == "later shot"]
    assert [row["time"] for row in told] == [
        min(row["earliest"] for row in later if row["shot"] == number) for number in (2, 3, 4)
    ]
    for number, row in zip((2, 3, 4), told, strict=True):
        words = f"from now on shot {number}, each at least 15 min after shot {number - 1}: page Later shots"
        assert row["action"].endswith(words)


def test_what_settles_is_stirred_by_the_clock():
    """Stirred at the start at 06:00 and every 5.3 h (5 h 18 min) while the run lasts: 11:18, no second one
    before its end; a break that it falls into moves it to before the break."""
    rows = hand_rows()
    for part in rows["Components"]:
        if part["component"] == "a":
            part.update(FILLER)
    rows["Builds"][0]["quantity"] = 40
    rows["Stations"][0]["takt"] = 600  # 40 parts are 6.5 h
    rows["Shifts"][0] |= dict(start="06:00", end="14:00")
    plan = make(rows)
    result = next(iter(play_plan(plan)))
    content = shift_material_content(plan, result, "")
    assert "stir it every 5.3 h" in words_of(content, "MaterialWarnings")
    stirred = [row for row in content.tables["MaterialTimes"] if row["event"] == "stir"]
    assert [(f"{row['time']:%H:%M}", row["component"]) for row in stirred] == [("11:18", "A")]
    assert "stir the container of A, every 5.3 h" in stirred[0]["action"]
    rows["Breaks"] = [dict(shift="early", start="11:00", end="11:30")]
    plan = make(rows)
    content = shift_material_content(plan, next(iter(play_plan(plan))), "")
    stirred = [row for row in content.tables["MaterialTimes"] if row["event"] == "stir"]
    assert [f"{row['time']:%H:%M}" for row in stirred] == ["11:00"]


def test_the_cure_report_mentions_what_is_stirred():
    from dispense.reports.cure import cure_report

    rows = hand_rows()
    for part in rows["Components"]:
        if part["component"] == "a":
            part.update(FILLER)
    report = cure_report(make(rows), "hem")
    assert any("stir it every 5.3 h" in item.fix for item in report.findings)


def test_staging_says_what_is_missing():
    rows = hand_rows()
    rows["Stock"] = []
    plan = make(rows)
    results = list(play_plan(plan))
    lacking = sum(result.lacking(letter) for result in results for letter in result.letters)
    content = staging_content(plan, results[:1], "")
    rows_brought = content.tables["StagingContainers"]
    assert sum(row["containers"] for row in rows_brought) == 0 and lacking > 0
    # what STOP lines say is missing, counted from them
    short = " ".join(str(row["warning"]) for row in content.tables["StagingWarnings"])
    assert "short by" in short
    assert content.values["headline"] == f"▲ {lacking} container{'s' if lacking > 1 else ''} missing"


@pytest.mark.parametrize("limit", [60, None])
def test_a_hot_pour_is_one_danger_with_one_fix(limit):
    """A pour that passes its limit is one danger whose fix is the way of its shots; the criterion of
    Frank-Kamenetskii, which forbids what shots allow, is a danger only where no limit judges the peak."""
    rows = hand_rows()
    add_hot_pot(rows, 1000.0)
    rows["Pots"][0]["limit"] = limit
    plan = make(rows)
    report = planned_pour(plan, plan.pots[0])
    dangers = [item for item in report.findings if item.kind == DANGER]
    assert report.runaway.runs_away and len(dangers) == 1
    assert dangers[0].topic == ("pour limit" if limit else "runaway")
    assert ("shallower" in dangers[0].fix) == (limit is None)
    (told,) = [item for item in report.findings if item.topic == "runaway"]
    assert told.kind == (NOTE if limit else DANGER)


def test_a_card_leaves_out_how_figures_were_reckoned():
    rows = shots_rows()
    rows["Pots"][0] |= dict(cells=12, cell_diameter=18.4, cell_height=65, length=85, width=65, depth=45)
    rows["Pots"][0] |= dict(arrangement="square", pitch=20, cells_along=4, cell_rows=3, wall=2)
    plan = make(rows)
    told = " ".join(str(item) for item in pour_findings(plan, "hem"))
    card = card_of(rows)
    words = words_of(card, "SetupNotes") + words_of(card, "SetupRemarks")
    for engineers in ("heat balance closes", "slab without cells", "δ", "rests on margins"):
        assert engineers in told and engineers not in words
    assert "wait at least" in words


def test_when_shots_were_poured_is_booked(tmp_path):
    """Typed as at the station: shot 1 of the first part done at 06:01, its next poured at 06:17, signed."""
    write_plan(shots_rows(), tmp_path / "plan.xlsx")
    fill(tmp_path / "plan.xlsx", tmp_path / "out", date="2026-03-02", stations=["hem"], stamp="s")
    (path,) = (tmp_path / "out").rglob("hem_material.xlsx")
    assert openpyxl.load_workbook(path)["Later shots"].sheet_state == "visible"
    type_in(path, "MaterialLater", "Shot before at", ["06:01"])
    type_in(path, "MaterialLater", "Poured at", ["06:17", "soon"])
    type_in(path, "MaterialLater", "Initials", ["KM", None, "JB"])
    report = book_files(tmp_path / "plan.xlsx", [path], stamp="2026-03-02 15:00")
    (unread,) = [str(item) for item in report.files[0].reading.unread]
    assert '"soon"' in unread and "06:30" in unread
    current = read_journal(journal_path(tmp_path / "plan.xlsx")).current()
    found = {item.entry.text: item.entry for item in current.values()}
    assert {words: entry.time for words, entry in found.items() if entry.kind == "done"} == {
        "frame no. 1: shot 1 poured": "2026-03-02T06:01:00",
        "frame no. 1: shot 2 poured": "2026-03-02T06:17:00",
    }
    assert found["frame no. 1: shot 2 poured"].by == "KM"
    (signed,) = [entry for entry in found.values() if entry.kind == "signed"]
    assert signed.text.endswith(": JB") and signed.part == "frame"
    # filled anew, what was written stays
    fill(tmp_path / "plan.xlsx", tmp_path / "out", date="2026-03-02", stations=["hem"], stamp="s")
    sheet, cell = place_of(path, "MaterialLater", "Poured at")
    assert openpyxl.load_workbook(path)[sheet][cell].value == "06:17"


def test_the_section_says_that_a_wait_is_a_least_one():
    """What stands beside the levels in the picture is what the headline says."""
    card = card_of(shots_rows())
    words = [item.text for item in card.pictures["sections"].shapes if isinstance(item, Words)]
    assert sum("wait at least 15 min" in text for text in words) == 3
