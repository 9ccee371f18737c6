"""What stays in containers that make way for the next part: by hand, and as the sheets have it."""

from __future__ import annotations

import datetime
import random
from fractions import Fraction

import pytest
from plans import MONDAY, make

from dispense.forecast.model import forecast
from dispense.forecast.response import rest_share
from dispense.shift.play import play_plan

ML = 10**6
CAN = 600.0


def rows_of(shot: float, count: int, days: int, start: float = 0.0, refill: str = "between parts"):
    """A paste of which each part takes a shot [mL], so many a day, from cans of 600 mL."""
    dates = [MONDAY + datetime.timedelta(days=7 * (day // 5) + day % 5) for day in range(days)]
    return {
        "Materials": [dict(material="Paste", kind="one-part", ratio_a=1)],
        "Components": [dict(material="Paste", component="a", density=1.0, container=CAN)],
        "Parts": [dict(part="plate")],
        "Beads": [
            dict(bead="rim", part="plate", station="press", section="rectangle", width=2, height=1)
            | dict(length=shot * 500)
        ],
        "Stations": [
            dict(
                station="press",
                material="Paste",
                speed=50_000,
                refill=refill,
                start_volume=start,
                container_time=1,
            )
        ],
        "Shifts": [dict(shift="early", start="06:00", end="14:00")],
        "Builds": [dict(date=date, shift="early", part="plate", quantity=count) for date in dates],
        "Stock": [dict(material="Paste", component="a", lot="L", quantity=900_000, expiry="2027-03-01")],
    }


def forecast_rest(rows) -> tuple[float, float]:
    view = forecast(make(rows), 10, draws=10).components["Paste", "a"]
    return view.use["rest"] / ML, view.use["parts"] / ML


def test_parts_alone_leave_what_is_over_of_a_container():
    """600 mL in shots of 70: eight, 40 left of 560. In shots of 100: six, nothing is left, where half a shot
    would be 9 % more use. In shots of 301: one, 299 left.
    """
    for shot, left, drawn in ((70, 40, 560), (100, 0, 600), (301, 299, 301)):
        rest, parts = forecast_rest(rows_of(shot, 8, 10))
        assert rest == pytest.approx(parts * left / drawn, rel=1e-6, abs=1e-6)
    assert forecast_rest(rows_of(70, 8, 10, refill="in mid-bead"))[0] == 0.0
    assert forecast_rest(rows_of(700, 8, 10))[0] == 0.0  # no can holds a part: it runs empty in it


@pytest.mark.parametrize(("shot", "count", "start"), [(100, 7, 0), (130, 5, 17), (45, 11, 30), (210, 3, 8)])
def test_the_forecast_leaves_what_the_sheets_leave(shot, count, start):
    """Fifty shifts in clock time, each with the can of the one before, to the rests of a can or two."""
    rows = rows_of(shot, count, 50, start)
    played = sum(result.used["a"]["rest"] for result in play_plan(make(rows))) / ML
    rest, parts = forecast_rest(rows)
    assert abs(rest - played) < 2 * shot and parts == pytest.approx(50 * shot * count)
    half = (parts + 50 * start) * 0.5 * shot / (CAN - 0.5 * shot)
    assert abs(rest - played) < abs(half - played)  # nearer than half a shot a can


def test_the_share_by_a_loop_of_its_own():
    """Draw by draw, in fractions, over thousands of containers."""
    rng = random.Random(4)
    for _ in range(40):
        full = rng.randint(50, 400)
        turns = [(rng.random() < 0.7, rng.randint(1, 90)) for _ in range(rng.randint(1, 12))]
        may_empty = rng.random() < 0.2
        left = drawn = 0
        usable = full
        for _ in range(3000):
            for is_part, volume in turns:
                drawn += volume
                if is_part and usable < volume <= full and not may_empty:
                    left, usable = left + usable, full
                need = volume
                while need > usable:
                    need, usable = need - usable, full
                usable -= need
        share = rest_share(turns, full, may_empty)
        assert share == pytest.approx(float(Fraction(left, drawn)), abs=0.003)
        assert rest_share([(False, volume) for _, volume in turns], full, may_empty) == 0.0
