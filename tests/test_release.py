"""Released plans: what is kept, what a card says of it, what is a change and what is none."""

from __future__ import annotations

import datetime
import json

import openpyxl
import pytest
from golden import plans

from dispense.base.errors import FileError, InputError
from dispense.jobs.fill import fill
from dispense.jobs.release import LIST, release

AT = datetime.datetime(2026, 6, 1, 8, 30)
DAY, STATION = "2026-05-18", "seam arm"


@pytest.fixture
def plan(tmp_path):
    return plans.write(plans.PLANS["crew"], tmp_path / "plan.xlsx")


def put(path, sheet: str, header: str, value, row: int = 2) -> object:
    """Type a value into a cell of a plan; returns what stood there."""
    book = openpyxl.load_workbook(path)
    page = book[sheet]
    column = next(cell.column for cell in page[1] if str(cell.value).partition(" [")[0] == header)
    cell = page.cell(row, column)
    before, cell.value = cell.value, value
    book.save(path)
    return before


def filled(path, folder) -> tuple[list[str], list[str]]:
    """The texts of the card and of the material sheet of a station."""
    out = path.with_name(folder)
    fill(path, out, date=DAY, stations=[STATION], stamp="as given")
    found = []
    for name in ("setup", "material"):
        book = openpyxl.load_workbook(next(out.rglob(f"*_{name}.xlsx")), data_only=True)
        found.append([str(cell) for page in book for row in page.iter_rows(values_only=True) for cell in row])
    return found[0], found[1]


def says(texts: list[str], words: str) -> bool:
    return any(words in text.replace("\u202f", " ") for text in texts)  # a narrow blank before units


def test_without_a_release_nothing_is_said(plan):
    card, material = filled(plan, "none")
    assert not says(card, "revision") and not says(material, "revision")
    assert release(plan).as_text() == "plan.xlsx was never released"


def test_a_card_tells_what_changed_old_and_new(plan):
    release(plan, "KM", at=AT)
    kept = (plan.with_name("plan_released") / "plan A.xlsx").read_bytes()
    assert kept == plan.read_bytes()
    card, material = filled(plan, "a")
    assert says(card, "revision A, released by KM on 2026-06-01")
    assert says(material, "revision A, released by KM on 2026-06-01") and not says(card, "→")

    before = put(plan, "Stations", "Handling time", 7.5)
    report = release(plan)
    assert [(one.what, one.now) for one in report.differences] == [("handling time", "7.5 s")]
    assert report.differences[0].before.startswith(f"{float(before):g}")
    station = report.differences[0].row
    out = plan.with_name("changed")
    fill(plan, out, date=DAY, stations=[station], stamp="as given")
    book = openpyxl.load_workbook(next(out.rglob("*_setup.xlsx")), data_only=True)
    card = [str(cell) for page in book for row in page.iter_rows(values_only=True) for cell in row]
    assert says(card, "▲ not released: differs from revision A")
    assert says(card, f"Stations {station}: handling time {float(before):g} s → 7.5 s")

    report = release(plan, "LO", reason="slower hands", at=AT)
    assert [one.revision for one in report.releases] == ["A", "B"] and report.is_this
    fill(plan, out, date=DAY, stations=[station], stamp="as given")
    book = openpyxl.load_workbook(next(out.rglob("*_setup.xlsx")), data_only=True)
    card = [str(cell) for page in book for row in page.iter_rows(values_only=True) for cell in row]
    assert says(card, "revision B, released by LO") and says(card, "→ 7.5 s")  # since the one before


def test_what_changes_from_day_to_day_is_no_change(plan):
    release(plan, "KM", at=AT)
    put(plan, "Builds", "Quantity", 40)
    assert release(plan).is_this
    # the same figure in another unit: 7.5 s are 0.125 min
    put(plan, "Stations", "Handling time", "7.5 s")
    release(plan, "KM", at=AT)
    put(plan, "Stations", "Handling time", "0.125 min")
    assert release(plan).is_this


def test_rows_that_are_new_or_gone_are_named(plan):
    release(plan, "KM", at=AT)
    book = openpyxl.load_workbook(plan)
    book["Parts"].append(["spare bracket"])
    book.save(plan)
    assert [one.text for one in release(plan).differences] == ["Parts spare bracket: new"]


def test_a_release_is_made_once_and_under_one_name(plan):
    first = release(plan, "KM", revision="R1", at=AT)
    again = release(plan, "KM", at=AT)
    assert first.made is not None and again.made is None and len(again.releases) == 1
    put(plan, "Stations", "Handling time", 7.5)
    with pytest.raises(InputError) as caught:
        release(plan, " ", revision="r1", at=AT)
    assert len(caught.value.problems) == 2  # no name of a person, and a name that was given
    assert release(plan, "KM", at=AT).releases[-1].revision == "R2"


def test_a_copy_left_of_a_run_that_was_ended_is_taken(plan):
    copy = plan.with_name("plan_released") / "plan A.xlsx"
    copy.parent.mkdir()
    copy.write_bytes(plan.read_bytes())
    assert release(plan, "KM", at=AT).made == copy
    other = copy.with_name("plan B.xlsx")
    other.write_bytes(b"of somebody else")
    put(plan, "Stations", "Handling time", 7.5)
    with pytest.raises(FileError, match="is there already"):
        release(plan, "KM", at=AT)
    assert other.read_bytes() == b"of somebody else"


def test_a_copy_that_was_changed_is_told(plan):
    release(plan, "KM", at=AT)
    copy = plan.with_name("plan_released") / "plan A.xlsx"
    put(copy, "Stations", "Handling time", 7.5)
    put(plan, "Stations", "Handling time", 8.5)
    with pytest.raises(FileError, match="not as it was released as revision A"):
        fill(plan, plan.with_name("out"), date=DAY)
    (plan.with_name("plan_released") / LIST).write_text("[{]")
    with pytest.raises(FileError, match="cannot be understood"):
        release(plan)


def test_what_can_hurt_is_not_released(tmp_path):
    """A press that the golden reckoning finds to need 109 bar where 30 bar are allowed."""
    path = plans.write(plans.PLANS["drive"], tmp_path / "hot.xlsx")
    report = release(path, "KM", at=AT)
    assert report.made is None and report.findings and not path.with_name("hot_released").exists()
    assert "settle first what can hurt someone" in report.as_text()
    assert json.loads(json.dumps(report.as_json()))["written"] is None
