"""Open orders whose day has passed, orders that stand twice, and what lies in store and may not be used.

Stock is added up by the test from the rows it writes. That goods which are due and have not come are no stock
is what *on order* means (common practice, no source); the working day after is counted by the calendar.
"""

from __future__ import annotations

import datetime

import pytest
from plans import MONDAY, hand_rows, light_plan

from dispense.forecast.model import forecast
from dispense.jobs.fill import fill
from dispense.jobs.forecast import forecast_file
from dispense.jobs.start import started
from dispense.plan.late import LATE, TWICE
from dispense.plan.read import load_plan
from dispense.plan.sources import NO_SOURCES
from dispense.reports.findings import plan_findings

DAY = datetime.timedelta(days=1)
FRIDAY = MONDAY + 4 * DAY
DUE = FRIDAY - 3 * DAY  # Tuesday
NEXT = MONDAY + 7 * DAY  # Monday after that Friday: the next working day


def rows(orders, days=12):
    """Bond 60 A with 1 L in store, built on each working day of two weeks."""
    found = hand_rows()
    found["Builds"] = [
        dict(date=MONDAY + place * DAY, shift="early", part="frame", quantity=3)
        for place in range(days)
        if (MONDAY + place * DAY).weekday() < 5
    ]
    found["Orders"] = orders
    return found


def order(number="PO-3", quantity=400, arrival=DUE, **more):
    return dict(order=number, material="Bond 60", component="a", quantity=quantity, arrival=arrival, **more)


@pytest.fixture
def late(tmp_path):
    return light_plan(tmp_path / "late.xlsx", rows([order()]))


def stock_of(found, name="Bond 60 A"):
    row = next(row for row in found.tables["components"].records() if row["Component"] == name)
    return row["In stock [mL]"], row["Due in [mL]"]


def told(findings, topic):
    return [item for item in findings if item.topic == topic]


def test_a_late_delivery_is_not_in_store(late):
    found = forecast_file(late, as_of=FRIDAY, draws=10, what_if=False)
    assert stock_of(found) == (1000.0, 400.0)  # before: 1400 and 0
    (finding,) = told(found.findings, LATE)
    assert finding.text == (
        f"order PO-3 of Bond 60 A was due on {DUE} and is not received: it is not in store, and is taken to "
        f"come on {NEXT}"
    )
    assert finding.numbers["overdue [d]"] == 3.0
    first = found.tables["decisions"].rows[0]
    assert first[:4] == ["overdue by 3 days", DUE, "delivery", "Bond 60 A"]


def test_in_time_or_on_its_day_it_is_as_stated(late):
    for day in (MONDAY, DUE):
        found = forecast_file(late, as_of=day, draws=10, what_if=False)
        assert told(found.findings, LATE) == [] and stock_of(found) == (1000.0, 400.0)


def test_from_python_it_is_told_too(late):
    found = forecast(load_plan(late), 2, as_of=FRIDAY, draws=10)
    assert len(told(found.findings, LATE)) == 1 and stock_of(found) == (1000.0, 400.0)


def test_all_commands_begin_with_the_same_stock(late, tmp_path):
    begun = started(load_plan(late), late, NO_SOURCES, FRIDAY)
    lot = next(lot for lot in begun.plan.stock if lot.lot == "order PO-3")
    assert lot.arrival == NEXT and len(told(begun.findings, LATE)) == 1
    filled = fill(late, tmp_path / "sheets", date=str(FRIDAY), shift="early", as_of=FRIDAY)
    assert len(told(filled.findings, LATE)) == 1


def test_a_row_that_stands_twice_is_named(tmp_path):
    plan = load_plan(light_plan(tmp_path / "twice.xlsx", rows([order(), order("PO-4"), order()])))
    (finding,) = told(plan_findings(plan), TWICE)
    assert "order PO-3 stands 2 times" in finding.text and "Orders!" in finding.text
    apart = [order(), order(quantity=300), order(arrival=NEXT)]  # parts of one order are no slip
    plan = load_plan(light_plan(tmp_path / "parts.xlsx", rows(apart)))
    assert told(plan_findings(plan), TWICE) == []
