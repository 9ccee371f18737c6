"""A delivery that comes after a shortage is used as soon as it is there, and what is lacking ends with it.

Reckoned by hand on the day of `plans.HAND`: 21 frames draw 32 mL of B less than six containers of 60 mL hold.
"""

from __future__ import annotations

import datetime

import pytest
from plans import MONDAY, hand_rows, make

from dispense.forecast.model import forecast
from dispense.shift.play import play_plan

ML = 10**6
DAY = datetime.timedelta(days=1)


def rows_with(arrival: datetime.date | None, **component):
    """B for a part of Monday; of Tuesday's one frame none, unless the delivery is there."""
    rows = hand_rows()
    del rows["Stock"][1]
    rows["Stock"][1] |= dict(quantity=60)
    rows["Components"][1] |= component
    rows["Builds"].append(dict(date=MONDAY + DAY, shift="early", part="frame", quantity=1))
    if arrival is not None:
        rows["Stock"].append(
            dict(material="Bond 60", component="b", lot="B3", quantity=600, expiry="2026-06-30")
            | dict(arrival=arrival)
        )
    return rows


def test_the_line_connects_what_has_come_and_owes_nothing_more():
    monday, tuesday = play_plan(make(rows_with(MONDAY + DAY)))
    assert monday.missing["b"] == 120 * ML  # as without the delivery: it came too late for Monday
    assert not tuesday.owed and not tuesday.missing and tuesday.opening["b"] == 0
    assert [(use.lot, use.containers) for use in tuesday.lots if use.component == "b"] == [("B3", 1)]
    assert tuesday.balance("b") == 0 and not [each for each in tuesday.findings if each.topic == "shortage"]


@pytest.mark.parametrize("arrival", [None, MONDAY + 2 * DAY])
def test_until_it_comes_the_shortage_stays(arrival):
    _, tuesday = play_plan(make(rows_with(arrival)))
    assert tuesday.owed == {"b": 26 * ML} and tuesday.opening["b"] == 32 * ML


def test_a_rest_below_the_heel_is_no_delivery():
    """6 mL of 60 stay behind: a lot of 6 mL gives nothing, and the container that never came stays."""
    rows = rows_with(MONDAY + DAY)
    rows["Stock"][-1] |= dict(quantity=6)
    assert list(play_plan(make(rows)))[1].owed == {"b": 26 * ML}


def test_forecast_and_sheets_lack_the_same():
    """Of Monday's 3 containers' worth of B one is in store; the delivery of Tuesday covers what follows."""
    rows = rows_with(MONDAY + DAY)
    rows["Components"][1] |= dict(lead_time=5)
    found = forecast(make(rows), 1, draws=10)
    (monday,) = [each for each in found.findings if each.topic == "shortage"]
    walk, drawn = found.walk.of_component["Bond 60", "b"], found.walk.drawn["Bond 60", "b"]
    (lot,) = [lot for lot in walk.lots if lot.lot == "B3"]
    assert 0 < lot.used < 30 * ML and lot.balance == 0  # of Tuesday: one frame, start and end
    # all the rest is Monday's: beyond the 54 mL of the one container, and a heel of 6 mL that is missing
    assert walk.missing.used == sum(drawn.values()) - lot.used - 54 * ML + 6 * ML
    assert walk.missing.balance == 0 and walk.missing.standing == walk.missing.closing == 0
    assert walk.lacking == walk.missing.used
    assert (monday.day, monday.numbers["lacking [mL]"]) == (MONDAY, pytest.approx(walk.missing.used / ML))
