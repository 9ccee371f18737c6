"""Days that are not worked: those of the table, those of a country; one rule for orders, weeks and builds.

The holidays are worked out from Easter by a published algorithm, apart from the package that the tool asks.
"""

from __future__ import annotations

import datetime

import openpyxl
import pytest
from plans import hand_rows, light_plan, make
from test_orders import _easter

from dispense import cli
from dispense.base.errors import InputError
from dispense.forecast.model import forecast
from dispense.jobs.fill import fill
from dispense.plan.holidays import public_holidays
from dispense.reports.findings import plan_findings

DAY = datetime.timedelta(days=1)
EASTER = _easter(2026)
GOOD_FRIDAY, EASTER_MONDAY = EASTER - 2 * DAY, EASTER + DAY
COUNTRY = {"Settings": [dict(Setting="Country", Value="DE")]}
TABLE = {"Holidays": [dict(date=GOOD_FRIDAY, name="closed"), dict(date=EASTER_MONDAY)]}


def rows_of(*builds, **tables):
    rows = hand_rows()
    rows["Builds"] = [dict(date=date, shift="early", part="frame", quantity=count) for date, count in builds]
    return rows | tables


def told(findings):
    return {each.day: each for each in findings if "no working day" in each.text}


@pytest.mark.parametrize("closed", [COUNTRY, TABLE, COUNTRY | TABLE])
def test_builds_of_a_holiday_are_played_and_named_with_day_and_parts(closed):
    rows = rows_of((GOOD_FRIDAY - DAY, 3), (GOOD_FRIDAY, 4), (EASTER_MONDAY, 5), (EASTER_MONDAY + DAY, 6))
    plan = make(rows | closed)
    found = forecast(plan, 2, draws=10)
    for findings in (plan_findings(plan), found.findings):
        named = told(findings)
        assert set(named) == {GOOD_FRIDAY, EASTER_MONDAY}
        assert "4 frame" in named[GOOD_FRIDAY].text and "5 frame" in named[EASTER_MONDAY].text
        assert named[EASTER_MONDAY].numbers["parts"] == 5 and named[EASTER_MONDAY].is_warning
    # not dropped: each of the four days draws what its parts need, 10 mm × 1 mm × 1000 mm a frame
    assert {item.date for item in found.shifts} == {row["date"] for row in rows["Builds"]}
    assert found.horizon.days == 14


def test_names_of_holidays_do_not_depend_on_the_machine(monkeypatch):
    monkeypatch.setenv("LANGUAGE", "de")
    public_holidays.cache_clear()
    assert public_holidays("DE", (2026,))[GOOD_FRIDAY] == "Good Friday, DE"
    public_holidays.cache_clear()


def test_a_plan_without_holidays_is_told_nothing_of_them():
    plan = make(rows_of((GOOD_FRIDAY, 4), (EASTER_MONDAY, 5)))
    assert not told(plan_findings(plan)) and not told(forecast(plan, 1, draws=10).findings)


@pytest.mark.parametrize("closed", [COUNTRY, TABLE])
def test_builds_of_a_week_are_split_over_the_days_that_are_worked(closed):
    """Monday of the week after Easter is closed: 20 parts are 5 a day from Tuesday to Friday."""
    plan = make(rows_of(("2026-W15", 20)) | closed)
    assert {row.date: row.quantity for row in plan.builds} == {
        EASTER_MONDAY + n * DAY: 5 for n in range(1, 5)
    }
    assert not told(plan_findings(plan))


def test_a_country_that_nobody_knows_is_named_once_with_its_setting():
    atlantis = {"Settings": [dict(Setting="Country", Value="Atlantis")]}
    with pytest.raises(InputError, match="ISO 3166-1") as error:
        make(rows_of(("2026-W15", 20), ("2026-W16", 20)) | atlantis)
    assert [str(problem).count("Atlantis") for problem in error.value.problems] == [1]
    (named,) = [
        each
        for each in plan_findings(make(rows_of((EASTER_MONDAY, 5)) | atlantis))
        if "Atlantis" in each.text
    ]
    assert named.is_warning


def test_a_public_holiday_is_nothing_to_do_and_no_slip(tmp_path, capsys):
    """After the last build: Ascension Day, 39 days after Easter, is done with 0; the day before is a slip."""
    plan = light_plan(tmp_path / "plan.xlsx", rows_of((EASTER_MONDAY + DAY, 5)))
    book = openpyxl.load_workbook(plan)
    sheet = book.create_sheet("Settings")
    for row in (("Setting", "Value"), ("Country", "DE")):
        sheet.append(row)
    book.save(plan)
    given = ["fill", str(plan), "--out", str(tmp_path / "out"), "--date"]
    assert cli.main([*given, str(EASTER + 39 * DAY)]) == 0
    assert "Nothing is built" in capsys.readouterr().out
    assert cli.main([*given, str(EASTER + 38 * DAY)]) == 1


def test_the_sheets_of_a_day_tell_of_its_own_holiday_only(tmp_path):
    """Good Friday and Easter Monday are built on: each is told with its own day, both with the whole plan."""
    plan = light_plan(tmp_path / "plan.xlsx", rows_of((GOOD_FRIDAY, 4), (EASTER_MONDAY, 5)) | TABLE)
    for date, days in ((GOOD_FRIDAY, {GOOD_FRIDAY}), (None, {GOOD_FRIDAY, EASTER_MONDAY})):
        report = fill(plan, tmp_path / f"out {date}", date=date)
        assert set(told(report.findings)) == days
