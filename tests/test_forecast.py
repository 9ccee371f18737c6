"""Forecast: shift model behind it, lots, orders, futures, what-if, files.

Checked against hand working, the event model itself, closed forms and published inventory formulas.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import math
import random
import sqlite3
from dataclasses import replace
from operator import attrgetter

import numpy as np
import openpyxl
import pandas as pd
import pytest
from plans import MONDAY, hand_rows, line_rows, make

from dispense.base.errors import FileError, InputError
from dispense.base.findings import exit_code
from dispense.forecast import answers, whatif
from dispense.forecast.decisions import fan_tables
from dispense.forecast.findings import forecast_findings
from dispense.forecast.horizon import horizon_of
from dispense.forecast.model import forecast
from dispense.forecast.orders import Demand, Purchase, Timing, stock_rule
from dispense.forecast.response import (
    CAUSES,
    Grid,
    occurrences,
    play_lean,
    respond,
    responses,
    used_of,
    warmer,
)
from dispense.forecast.results import Table
from dispense.forecast.service import draw_stock, simulate_service
from dispense.forecast.simulate import DRIVERS, Futures, _volume, draw_material
from dispense.forecast.stock import ALL_CAUSES, ComponentWalk, LotLedger, StockWalk, walk_stock
from dispense.forecast.whatif import (
    change_container,
    change_ratio,
    change_scrap,
    change_takt,
    change_temperature,
    play_variant,
    what_if,
)
from dispense.jobs.forecast import forecast_file, write_forecast
from dispense.plan.build import build_plan
from dispense.plan.records import raw_table
from dispense.plan.workdays import WorkDays
from dispense.shift.play import play_plan
from dispense.shift.player import Player
from dispense.shift.store import NANO, Lot, Store, nanolitres

DAY = 86400.0


def demo_rows():
    from dispense.plan.demo import DEMO

    tables = {name: [dict(row) for row in rows] for name, rows in DEMO.items()}
    settings = tables.pop("Settings")[0]
    return tables, settings


def make_with(tables, settings):
    raws = {name: raw_table(name, rows) for name, rows in tables.items()}
    raws["Settings"] = raw_table(
        "Settings", [{"Setting": key, "Value": value} for key, value in settings.items()]
    )
    return build_plan(raws)


@pytest.fixture(scope="module")
def demo():
    return make_with(*demo_rows())


@pytest.fixture(scope="module")
def found(demo):
    return forecast(demo, 2, draws=200)


def paste_rows(quantity=100, days=10, tolerance=0.0, **station):
    """A paste of one part: 100 parts of 2 mL a day, nothing else unless asked for: its containers are
    emptied in mid-bead, so that no rest of them is lost at the mean."""
    station = {"refill": "in mid-bead", **station}
    return {
        "Materials": [dict(material="Paste", kind="one-part")],
        "Components": [dict(material="Paste", component="a", density=1.0, container=1000, price=10)],
        "Parts": [dict(part="plate")],
        "Beads": [
            dict(
                bead="line",
                part="plate",
                station="press",
                section="rectangle",
                width=2,
                height=1,
                height_tolerance=tolerance,
                length=1000,
            )
        ],
        "Stations": [dict(station="press", material="Paste", speed=1000, **station)],
        "Shifts": [dict(shift="early", start="06:00", end="14:00")],
        "Builds": [
            dict(date=MONDAY + datetime.timedelta(days=day), shift="early", part="plate", quantity=quantity)
            for day in range(days)
        ],
        "Stock": [dict(material="Paste", component="a", lot="P1", quantity=1500, expiry="2027-01-31")],
    }


# ------------------------------------------------------------------------------- the shift model


def test_lean_play_equals_the_event_model_of_a_fresh_shift():
    # two methods: the lean player draws from full containers, `Player` from a real store
    rows = hand_rows()
    rows["Stations"][0]["scrap"] = 0.1
    plan = make(rows)
    keys, shifts = occurrences(plan)
    assert len(keys) == len(shifts) == 1
    whole = next(play_plan(plan))
    rows["Builds"] = [dict(rows["Builds"][0], date=MONDAY + datetime.timedelta(days=n)) for n in range(80)]
    rows["Stock"] = [dict(lot, quantity=50_000, expiry="2027-12-31") for lot in rows["Stock"][:2]]
    days = list(play_plan(make(rows)))
    lean = play_lean(plan, keys[0])
    # who draws and tells asks the event model: a year of lean plays keeps none of it
    assert whole.events and whole.course.work and whole.course.ages and whole.course.levels
    kinds = {event.kind for event in lean.events}
    assert kinds <= {"break"} and lean.course == type(lean.course)()
    for letter, used in whole.used.items():
        assert {cause: lean.used[letter][cause] for cause in CAUSES} == {
            cause: used[cause] for cause in CAUSES
        }
        # the clock list counts whole parts, totals the expected share: 1 of 10 started is lost
        # and the rest of containers is that of the event model, played day after day
        counted = used_of(lean)[letter]
        assert counted["scrap"] == round(used["parts"] / 0.9 * 0.1) != used["scrap"]
        drawn = sum(counted[cause] for cause in CAUSES)
        every = [result.used[letter] for result in days]
        left = sum(used["rest"] for used in every) / sum(used[cause] for used in every for cause in CAUSES)
        assert left > 0.01 and counted["rest"] / drawn == pytest.approx(left, abs=0.002)
        assert all(counted[cause] == used[cause] for cause in CAUSES if cause != "scrap")


def _fresh_shift(seed):
    """A shift of two parts with drawn figures: waits, purges, mixers, containers, checks, scrap, nozzles."""
    rng, rows = random.Random(seed), hand_rows()
    rows["Materials"][0] |= dict(pot_life=rng.choice([8, 20, 60, 240, 900]), open_time=None)
    for row in rows["Components"]:
        row["container"] = rng.choice([30, 60, 500])
    rows["Stations"][0] |= dict(
        takt=rng.choice([None, 60, 200, 600]),
        purge_share=rng.choice([0.3, 0.6, 0.9]),
        purge_volume=rng.choice([4, 15]),
        purge_time=rng.choice([0, 20]),
        mixer_time=rng.choice([0, 60]),
        container_time=rng.choice([0, 150]),
        rule=rng.choice(["purge", "change mixer"]),
        refill=rng.choice(["between parts", "in mid-bead"]),
        idle=rng.choice(["cheaper", "purge", "take off"]),
        checks=rng.choice([0, 0.5, 3]),
        scrap=rng.choice([0, 0.1]),
        nozzles=rng.choice([1, 1, 1, 2]),
        handling_time=rng.choice([0, 45]),
    )
    rows["Parts"].append(dict(part="lid"))
    bead = rows["Beads"][0] | dict(length=rng.choice([200, 1000]))
    rows["Beads"] = [bead, bead | dict(bead="seam", part="lid", length=rng.choice([90, 1700]))]
    if rng.random() < 0.6:
        rows["Beads"].append(bead | dict(bead="end", length=50, wait=rng.choice([None, 3])))
    rows["Builds"] = [dict(date=MONDAY, shift="early", part="frame", quantity=rng.randint(1, 30))]
    rows["Builds"].append(dict(date=MONDAY, shift="early", part="lid", quantity=rng.randint(0, 20)))
    rows["Stock"] = [
        dict(material="Bond 60", component=letter, lot="L", quantity=1e6, expiry="2026-12-31")
        for letter in "ab"
    ]
    return make(rows)


@pytest.mark.parametrize("seed", range(40))
def test_lean_play_of_drawn_shifts_equals_the_event_model(seed):
    """Two methods: lean, parts that need nothing in one loop; `Player` one by one from a real store."""
    plan = _fresh_shift(seed)
    (key,), _ = occurrences(plan)
    (whole,), lean = play_plan(plan), play_lean(plan, key)
    for letter, used in whole.used.items():
        assert {cause: lean.used[letter][cause] for cause in CAUSES} == {
            cause: used[cause] for cause in CAUSES
        }
    counts = attrgetter("purges", "mixers", "check_shots", "busy", "is_short", "between")
    assert counts(lean) == counts(whole)
    counts = attrgetter("part", "started", "begun", "finished", "scrapped", "carried", "done")
    assert [*map(counts, lean.jobs)] == [*map(counts, whole.jobs)]


def _walked(plan, weeks=2):
    horizon = horizon_of(plan, weeks)
    keys, shifts = occurrences(plan, horizon.end)
    answers = responses(plan, keys, Grid(1, 0, 0.0, 0.0))
    walk, levels = walk_stock(plan, horizon, shifts, answers)
    return walk, levels


def test_walk_equals_the_event_model_with_stock_carried():
    """Heel, write-off, hoses, missing containers and lots, where container changes take no time."""
    tables, settings = demo_rows()
    for row in tables["Stations"]:
        row["container_time"] = 0.0
        row["refill"] = "in mid-bead"  # the walk empties containers and has their rests at the mean
        row["scrap"] = 0.0  # the event model books whole parts, the walk expected scrap
    for row in tables["Stock"]:  # runs short, and open containers grow old
        if row["material"] in {"oven epoxy", "hem epoxy"}:
            row["quantity"] /= 4.0
    for row in tables["Components"]:
        if row["material"] in {"gasket sealant", "cover sealant"}:
            row["open_life"] = 3.0
    plan = make_with(tables, settings)
    walk, _ = _walked(plan)
    used: dict = {}
    missing: dict = {}
    closing: dict = {}
    for result in play_plan(plan):
        name = result.material.material
        for letter, categories in result.used.items():
            row = used.setdefault((name, letter), dict.fromkeys(categories, 0))
            for category, volume in categories.items():
                row[category] += volume
            missing[name, letter] = missing.get((name, letter), 0) + result.missing.get(letter, 0)
            closing[name, letter] = result.closing[letter]
    assert sum(missing.values()) > 0 and sum(row["expired"] for row in used.values()) > 0
    for key, row in used.items():
        for cause in (*CAUSES, "heel"):
            assert walk.causes[key][cause] == row[cause], (key, cause)
        # the walk also writes off what grows too old on the shelf
        shelf = sum(lot.expired for lot in walk.lots[key]) + (
            walk.missing[key].expired if key in walk.missing else 0
        )
        assert walk.causes[key]["expired"] == shelf >= row["expired"]
        assert (walk.missing[key].received if key in walk.missing else 0) == missing[key]
        standing = sum(lot.standing for lot in walk.lots[key]) + (
            walk.missing[key].standing if key in walk.missing else 0
        )
        hoses = sum(
            volume
            for (station, letter), volume in walk.hoses.items()
            if (plan.station(station).material, letter) == key
        )
        assert standing + hoses == closing[key]


def test_forecast_is_near_the_event_model_with_container_times(demo, found):
    """A container's phase in the shift is not carried: what that moves is below 1 % of the use."""
    whole: dict = {}
    for result in play_plan(demo):
        for letter, used in result.used.items():
            key = (result.material.material, letter)
            # scrap as expected: of the parts started the stated share is lost
            scrap = result.station.scrap
            whole[key] = (
                whole.get(key, 0)
                + used["parts"] / (1.0 - scrap)
                + sum(used[cause] for cause in CAUSES if cause not in {"parts", "scrap"})
            )
    for key, volume in whole.items():
        view = found.components[key]
        # of each container the share `heel` stays behind, and the rest that cannot finish a part
        assert sum(view.day_use) * (1.0 - view.component.heel) - view.use["rest"] - found.walk.causes[key][
            "hoses"
        ] == (pytest.approx(volume, rel=0.01))


# -------------------------------------------------------------------------------- lots and balance


def test_frame_and_tables_tell_the_same(found):
    frame = found.frame()
    by_station = frame.groupby(["station", "component"])["volume [mL]"].sum()
    for row in found.tables["stations"].records():
        letter = row["Component"][-1] if row["Component"].endswith((" A", " B")) else "A"
        assert by_station[row["Station"], letter] == pytest.approx(row["All [mL]"])
    for table, columns in (("station_weeks", slice(2, None)), ("materials", slice(3, 4))):
        whole = sum(sum(row[columns]) for row in found.tables[table].rows)
        assert whole == pytest.approx(frame["volume [mL]"].sum())
    assert set(frame["week"]) == {"2026-W10", "2026-W11"}  # ISO 8601: 2 March 2026 is in week 10


def test_every_lot_balances_to_the_nanolitre(found):
    for walk in (found.walk, found.ordered):
        for key, lots in walk.lots.items():
            every = [*lots, *([walk.missing[key]] if key in walk.missing else [])]
            here = [lot for lot in every if lot.opening or lot.received]
            for lot in here:
                assert lot.balance == 0
                assert lot.opening + lot.received == lot.used + lot.expired + lot.closing
                assert min(lot.used, lot.expired, lot.left, lot.standing) >= 0
            causes = walk.causes[key]
            assert sum(lot.used + lot.expired for lot in here) == sum(causes.values())
            assert sum(lot.expired for lot in here) == causes["expired"]


def test_consumption_adds_up_over_days_weeks_stations_and_causes(found):
    for key, view in found.components.items():
        causes = found.walk.causes[key]
        drawn = sum(volume for cause, volume in causes.items() if cause not in {"heel", "expired"})
        heel = view.component.heel
        # heel at its mean: V drawn leave V·h/(1 − h) behind, rounded to the nanolitre in each shift
        assert sum(view.day_use) == pytest.approx(drawn / (1.0 - heel), abs=len(found.shifts))
        assert sum(view.day_use) - view.use["heel"] == drawn
        assert sum(view.use.values()) == sum(view.day_use)


def test_lots_leave_first_expired_first_out_and_are_written_off():
    """By hand: 200 mL a day in containers of 100 mL, no heel.

    Z early (expires on day 2, 500 mL) goes first: days 0 and 1 take 400, day 2 takes 100 and 100 of
    A late. Z early is used up; 250 mL of Old (last day before the first) are written off on day 0.
    """
    rows = paste_rows(days=3)
    rows["Components"][0]["container"] = 100
    rows["Stock"] = [
        dict(material="Paste", component="a", lot="A late", quantity=1000, expiry="2026-12-31"),
        dict(material="Paste", component="a", lot="Z early", quantity=500, expiry="2026-03-04"),
        dict(material="Paste", component="a", lot="Old", quantity=250, expiry="2026-03-01"),
    ]
    walk, levels = _walked(make(rows), 1)
    lots = {lot.lot: lot for lot in walk.lots["Paste", "a"]}
    assert lots["Z early"].used == nanolitres(500e-6)
    assert lots["A late"].used == nanolitres(100e-6)
    assert lots["A late"].closing == nanolitres(900e-6)
    assert lots["Old"].expired == nanolitres(250e-6) and lots["Old"].expired_on == MONDAY
    assert [level // 10**6 for level in levels["Paste", "a"][:4]] == [1300, 1100, 900, 900]


def test_an_open_container_is_thrown_away_after_its_open_life():
    """By hand: open life 1 d, container 1000 mL, 200 mL on days 0 and 2: 800 mL are thrown away."""
    rows = paste_rows(days=1)
    rows["Components"][0]["open_life"] = 1
    rows["Builds"].append({**rows["Builds"][0], "date": MONDAY + datetime.timedelta(days=2)})
    rows["Stock"][0]["quantity"] = 3000
    walk, _ = _walked(make(rows), 1)
    lot = walk.lots["Paste", "a"][0]
    assert lot.expired == walk.causes["Paste", "a"]["expired"] == nanolitres(800e-6)
    assert lot.used == nanolitres(400e-6) and lot.closing == nanolitres(1800e-6)


def test_the_day_it_runs_out_a_and_b_apart():
    """By hand: 21 visits of 5 mL A and B and the rest of the hand plan need more than 60 mL of B."""
    rows = hand_rows()
    rows["Stock"] = [row for row in rows["Stock"] if row["lot"] != "B2"]
    walk, _ = _walked(make(rows), 1)
    assert walk.runs_out == {("Bond 60", "b"): MONDAY}
    assert walk.missing["Bond 60", "b"].balance == 0
    assert walk.missing["Bond 60", "b"].received % nanolitres(60e-6) == 0


def test_a_lot_that_arrives_is_received_on_its_day():
    rows = paste_rows(days=5)
    rows["Stock"][0]["quantity"] = 250
    rows["Stock"].append(
        dict(
            material="Paste",
            component="a",
            lot="P2",
            quantity=2000,
            expiry="2027-01-31",
            arrival=MONDAY + datetime.timedelta(days=2),
        )
    )
    walk, _ = _walked(make(rows), 1)
    second = next(lot for lot in walk.lots["Paste", "a"] if lot.lot == "P2")
    assert (second.opening, second.received) == (0, nanolitres(2000e-6))
    assert walk.runs_out == {("Paste", "a"): MONDAY + datetime.timedelta(days=1)}


# --------------------------------------------------------------------------- formulas and orders

SETTINGS = {
    "service_level": 0.95,
    "order_cost": 50.0,
    "holding_rate": 1.0,
    "demand_spread": 0.0,
    "temperature_spread": 0.0,
}


def _component(**changes):
    row = dict(material="M", component="a", density=1.0, container=1e6, lead_time=9, price=4.0)
    plan = make(
        {
            **paste_rows(days=1),
            "Components": [
                {
                    **paste_rows()["Components"][0],
                    **{key: value for key, value in {**row, **changes}.items() if key != "material"},
                }
            ],
        }
    )
    return plan.components[0]


def test_safety_stock_reorder_point_and_order_of_textbook_size():
    """Safety stock z·σ·√L = 1.645·4·3 = 19.74 and with a lead time's spread 53.15; EOQ √(2DK/h).

    Formulas: Silver, Pyke & Peterson, Inventory Management and Production Planning and Scheduling
    (from memory); F. W. Harris (1913). Figures by hand: 1.644853627·√(9·16 + 400·2.25); D = 1200 a
    year, K = 50, h = 4: 173.2.
    """
    rule = stock_rule(_component(), 20.0, 4.0, SETTINGS)
    assert rule.safety_stock == pytest.approx(19.73824352, rel=1e-8)
    assert rule.reorder_point == pytest.approx(199.73824352, rel=1e-8)
    rule = stock_rule(_component(lead_time_spread=1.5), 20.0, 4.0, SETTINGS)
    assert rule.safety_stock == pytest.approx(53.14684719, rel=1e-8)
    yearly = stock_rule(_component(), 1200.0 / 365.0, 0.0, SETTINGS)
    assert yearly.economic_order == pytest.approx(173.2050808, rel=1e-9)
    assert yearly.order == 173


def test_shortage_of_a_cycle_by_the_published_loss_function():
    """G(1) = 0.0833 (Silver, Pyke & Peterson, table of the unit normal, from memory): σ_L·G(k).

    A service of Φ(1) = 0.8413 makes k = 1; σ_L = 4·√9 = 12.
    """
    rule = stock_rule(_component(), 20.0, 4.0, {**SETTINGS, "service_level": 0.8413447460685429})
    assert rule.shortage == pytest.approx(12 * 0.0833, abs=12 * 0.00005)


def test_the_order_is_no_larger_than_keeps_and_no_smaller_than_the_minimum():
    """By hand: 1200/365 a day for 30 d is 98.6; a minimum of 150 overrides it."""
    keeps = stock_rule(_component(shelf_life=30), 1200.0 / 365.0, 0.0, SETTINGS)
    assert keeps.order == 98
    least = stock_rule(_component(shelf_life=30, minimum_order=150), 1200.0 / 365.0, 0.0, SETTINGS)
    assert least.order == 150


def _ordered(component, stock, use, order=4):
    """Orders of the first week, use [m³] a day at one station for thirty days."""
    rule = replace(stock_rule(component, use, 0.0, SETTINGS), safety_stock=0.0, asked=order)
    demand = Demand(rule, [[("press", nanolitres(use))]] * 30, np.full(30, use), use)
    timing = Timing(MONDAY, MONDAY, MONDAY + datetime.timedelta(days=6), WorkDays())
    key = (component.material, component.component)
    lot = LotLedger(*key, "L1", nanolitres(stock), datetime.date.max, opening=nanolitres(stock))
    return Purchase([component], [demand], timing).orders({key: ComponentWalk(component, [lot])})


def test_orders_by_hand():
    """Stock 10, use 2 a day, lead time 3 d, no safety stock, orders of 4 from Monday.

    Day 4 ends with 0, day 5 needs the next: the order for day 5 (a Saturday) is brought to Friday
    and placed three days before, on Tuesday. The next comes on Monday, for Tuesday: 6 must last till then.
    """
    orders = _ordered(_component(lead_time=3, container=1e6, minimum_order=4), 10.0, 2.0)
    first = orders[0]
    assert first.arrival == datetime.date(2026, 3, 6) and first.order_by == datetime.date(2026, 3, 3)
    assert first.containers == 6 and first.volume == 6 * 10**12 and first.cost == 24.0
    assert not first.late_days and not first.note
    assert all(order.order_by.weekday() < 5 and order.arrival.weekday() < 5 for order in orders)
    assert all((order.order_by - MONDAY).days <= 6 for order in orders)


def test_late_orders_say_so():
    order = _ordered(_component(lead_time=6, container=1e6), 3.0, 2.0)[0]
    assert order.order_by == MONDAY and order.late_days > 0
    assert "short from 2026-03-03" in order.note


def test_stock_of_many_futures_by_hand():
    """Two lots, the first expires after day 1; the second future's order comes on day 3."""
    need = np.array([[2.0, 2.0, 2.0, 2.0], [0.0, 5.0, 1.0, 4.0]])
    stock, short = draw_stock([(5.0, 0, 1), (3.0, np.array([2, 3]), 9)], need)
    assert stock.tolist() == [[3.0, 0.0, 1.0, 0.0], [5.0, 0.0, 0.0, 0.0]]
    assert short.tolist() == [[0.0, 0.0, 0.0, 1.0], [0.0, 0.0, 1.0, 1.0]]


def test_service_level_is_reached_in_simulation():
    """Fixed orders, normal days: the share of cycles without a shortage is Φ(z) within sampling error.

    The stock is set to the reorder point of the formula and one order arrives a lead time later.
    """
    rng = np.random.default_rng(7)
    futures, lead, daily, sd, service = 4000, 9, 20.0, 4.0, 0.95
    component = _component(lead_time=lead)
    rule = stock_rule(component, daily, sd, {**SETTINGS, "service_level": service})
    need = rng.normal(daily, sd, (futures, lead))
    _, short = draw_stock([(rule.reorder_point, 0, 999)], need)
    share = float((short <= 1e-12).all(axis=1).mean())
    assert share == pytest.approx(service, abs=3 * math.sqrt(service * (1 - service) / futures))


def test_ordering_by_the_rule_reaches_the_service_level():
    """Futures that order by safety stock, lead times random, over many cycles: at least the level.

    Stock is looked at once a day, so it may be up to one day's use above the reorder point when an
    order is placed: the service lies between Φ(z) and that of a safety stock one day's use larger,
    within three sampling errors of independent cycles.
    """
    from scipy.special import ndtr

    daily, sd, service, days, futures = 20.0, 6.0, 0.9, 240, 400
    component = _component(lead_time=12, lead_time_spread=1.5)
    rule = stock_rule(component, daily, sd, {**SETTINGS, "service_level": service})
    need = np.maximum(np.random.default_rng(5).normal(daily, sd, (futures, days)), 0.0)
    share, cycles = simulate_service(
        [(rule.reorder_point + 300.0, 0, 9999)],
        need,
        np.full(300, daily),
        rule,
        600.0,
        np.random.default_rng(6),
    )
    assert cycles > 2000
    sigma = math.hypot(math.sqrt(12) * sd, daily * 1.5)
    error = 3 * math.sqrt(service * (1 - service) / cycles)
    most = float(ndtr((rule.safety_stock + daily) / sigma))
    assert service - error <= share <= most + error
    # a safety stock of nothing leaves half of the cycles short (Φ(0) = 0.5), up to the same day's use
    bare = replace(rule, safety_stock=0.0)
    share, cycles = simulate_service(
        [(rule.reorder_point + 300.0, 0, 9999)],
        need,
        np.full(300, daily),
        bare,
        600.0,
        np.random.default_rng(6),
    )
    assert 0.5 - 0.03 <= share <= float(ndtr(daily / sigma)) + 0.03


def test_a_plan_ordered_by_its_rule_reaches_the_service_level():
    """The same from a plan's own futures, tolerances that last and weekends included."""
    rows = paste_rows(days=168, tolerance=0.05)
    rows["Components"][0].update(container=10, lead_time=14, lead_time_spread=2, price=0.1)
    rows["Stock"][0]["quantity"] = 9000
    plan = make(rows)
    plan.settings.update(service_level=0.9, demand_spread=0.25, order_cost=15.0, holding_rate=0.2)
    found = forecast(plan, 24, draws=1000, seed=3)
    view = found.components["Paste", "a"]
    assert view.cycles >= 1000
    # errors that last make the cycles of one future fail together: the futures count, not the cycles
    error = 3 * math.sqrt(0.9 * 0.1 / 1000)
    rule = view.rule
    sigma = math.hypot(math.sqrt(rule.lead_time) * rule.daily_sd, rule.daily_use * rule.lead_spread)
    assert 0.9 - error <= view.service
    from scipy.special import ndtr

    assert view.service <= float(ndtr((rule.safety_stock + rule.daily_use) / sigma)) + error


# ----------------------------------------------------------------------------------------- futures


def _drawn(plan, draws, seed=1):
    horizon = horizon_of(plan, 4)
    keys, shifts = occurrences(plan, horizon.end)
    answers = responses(plan, keys)
    futures = Futures.draw(plan.settings, seed, draws, horizon.days)
    place = {item.date: horizon.place(item.date) for item in shifts}
    names = [row.station for row in plan.stations]
    scraps = [plan.station(key.station).scrap for key in keys]
    return draw_material(names, shifts, scraps, answers, place, futures), answers, keys


def test_spread_and_its_drivers_against_closed_forms():
    """A paste without pot life: total = Σ 200·d_day·(1 + e).

    Var from demand = 10·(200·s)²; from volume = (2000·u)², u = tolerance/√3 as a rectangular input
    has it (JCGM 100:2008, 4.3.7). s = 0.1, height 1 ± 0.05 mm.
    """
    plan = make(paste_rows(tolerance=0.05))
    plan.settings.update(demand_spread=0.1)
    draws = 20000
    drawn, _, _ = _drawn(plan, draws)
    total = drawn.days.sum(axis=1) / 1e6
    demand, volume = 10 * (200 * 0.1) ** 2, (2000 * 0.05 / math.sqrt(3)) ** 2
    sd = math.sqrt(demand + volume)
    assert total.mean() == pytest.approx(2000.0, abs=4 * sd / math.sqrt(draws))
    assert total.std() == pytest.approx(sd, rel=4 / math.sqrt(2 * draws) + 0.01)
    assert np.quantile(total, 0.9) == pytest.approx(2000 + 1.2816 * sd, abs=5 * sd / math.sqrt(draws) + 2)
    assert drawn.shares["demand"] == pytest.approx(demand / sd**2, abs=0.12)
    assert drawn.shares["volume"] == pytest.approx(volume / sd**2, abs=0.12)
    assert drawn.shares["scrap"] == drawn.shares["temperature"] == pytest.approx(0.0, abs=1e-12)
    assert math.fsum(drawn.shares.values()) + drawn.together == pytest.approx(1.0, abs=1e-12)


def test_scrap_is_negative_binomial():
    """Parts lost before 100 good ones: mean 100·p/(1 − p), variance 100·p/(1 − p)² (standard)."""
    plan = make(paste_rows(days=1, scrap=0.2))
    draws = 20000
    drawn, _, _ = _drawn(plan, draws)
    parts = drawn.days.sum(axis=1) / 2e6
    assert parts.mean() == pytest.approx(125.0, abs=4 * 5.6 / math.sqrt(draws))
    assert parts.std() == pytest.approx(math.sqrt(100 * 0.2 / 0.64), rel=0.03)
    assert drawn.shares["scrap"] == pytest.approx(1.0, abs=1e-9)


def test_without_spread_all_futures_are_the_plan():
    plan = make(hand_rows())
    drawn, answers, _ = _drawn(plan, 20)
    assert np.ptp(drawn.days, axis=0).max() == pytest.approx(0.0, abs=1e-3)
    # the draws are of mixed material: rests of containers come with the components, each of its own
    planned = sum(used[cause] for used in answers[0].used.values() for cause in CAUSES)
    assert drawn.days.sum(axis=1) == pytest.approx(planned, rel=1e-9)
    assert drawn.shares == dict.fromkeys(DRIVERS, 0.0) and drawn.together == 0.0


def test_one_day_of_demand_moves_all_stations_of_that_day():
    plan = make(paste_rows())
    plan.settings.update(demand_spread=0.3)
    futures = Futures.draw(plan.settings, 1, 4000, 5)
    assert futures.demand.mean() == pytest.approx(1.0, abs=0.01)
    assert futures.demand.std() == pytest.approx(0.3, abs=0.01)
    assert abs(np.corrcoef(futures.demand[0], futures.demand[1])[0, 1]) < 0.06


@pytest.mark.slow
def test_response_table_against_the_whole_shift_model(demo):
    """The same futures played part by part by the event model, with real containers and lots."""
    stations = ("Block potting", "Hem robot", "Cover sealer")
    keys, shifts = occurrences(demo, horizon_of(demo, 1).end)
    answers = responses(demo, keys, Grid(4, 4, 0.08, 2.0))
    count = 25
    futures = Futures.draw(demo.settings, 5, count, 14)
    plenty = {}
    for row in demo.components:
        plenty[row.material, row.component] = [
            Lot(row.material, row.component, "L", 10**18, datetime.date(2030, 1, 1))
        ]
    for station in stations:
        mine = [item for item in shifts if item.station == station]
        near, whole = np.zeros(count), np.zeros(count)
        near_waste, whole_waste = np.zeros(count), np.zeros(count)
        for draw in range(count):
            store = Store({key: [replace(lot) for lot in lots] for key, lots in plenty.items()})
            for item in mine:
                day = (item.date - MONDAY).days
                factor, kelvin = futures.demand[day, draw], futures.temperature[day, draw]
                key = keys[item.key]
                answer = answers[item.key]
                one, lost = np.ones(1), np.full(1, answer.lost)
                volume = _volume(answer, factor * one, lost, kelvin * one, 0.0 * one)[0]
                near[draw] += volume
                load = answer.expected * factor * one
                near_waste[draw] += volume - answer.at(load, kelvin * one)[0][0]
                builds = {part: round(quantity * factor) for part, quantity in key.builds}
                warm = warmer(demo, kelvin)
                result = Player(warm, item.date, item.shift, warm.station(station), builds, store).play()
                # totals count expected scrap, also of the shift that is played part by part
                whole[draw] += sum(sum(used.values()) for used in used_of(result).values())
                whole_waste[draw] += sum(
                    used[cause]
                    for used in result.used.values()
                    for cause in ("start", "end", "purge", "mixers")
                )
        # what does not go with the parts answers to the heat of the day in steps, and is followed
        assert near_waste.mean() == pytest.approx(whole_waste.mean(), rel=0.05), station
        assert np.corrcoef(near_waste, whole_waste)[0, 1] > 0.9, station
        error = near / whole - 1.0
        assert abs(error.mean()) < 0.01, station
        assert error.std() < 0.02, station
        for share in (0.5, 0.9):
            assert np.quantile(near, share) == pytest.approx(np.quantile(whole, share), rel=0.015)


def test_purges_are_not_an_average(demo, found):
    """A hot afternoon with few parts purges; a cool morning with many does not."""
    used = {}
    for key, answer in zip(found.keys, found.responses, strict=True):
        if key.station == "Block potting":
            used[key.shift] = answer.used["a"]["purge"] / answer.good
    assert used["Late"] > used["Early"]
    answer = next(
        answer
        for key, answer in zip(found.keys, found.responses, strict=True)
        if key.station == "Block potting" and key.shift == "Late"
    )
    cold, warm = answer.fixed[-1, 0], answer.fixed[-1, -1]
    assert warm > cold


def test_interpolation_meets_the_played_points(demo):
    keys, _ = occurrences(demo)
    key = next(key for key in keys if key.station == "Hem robot")
    made = {0.0: demo}

    def at(offset):
        return made.setdefault(offset, warmer(demo, offset))

    answer = respond(demo, key, Grid(2, 2, 0.08, 2.0), at)
    grid_load, grid_offset = np.meshgrid(answer.loads, answer.offsets, indexing="ij")
    scaled, fixed = answer.at(grid_load, grid_offset)
    assert scaled == pytest.approx(answer.scaled) and fixed == pytest.approx(answer.fixed)


# ------------------------------------------------------------------------------------- properties


def _plain(found) -> dict:
    return found.as_json()


def test_same_seed_same_figures_and_another_seed_other_ones():
    plan = make(paste_rows(tolerance=0.05, scrap=0.05))
    plan.settings.update(demand_spread=0.2)
    first, again = forecast(plan, 2, draws=100, seed=4), forecast(plan, 2, draws=100, seed=4)
    assert _plain(first) == _plain(again)
    assert _plain(forecast(plan, 2, draws=100, seed=5))["tables"]["weeks"] != _plain(first)["tables"]["weeks"]


def test_order_of_rows_changes_nothing():
    tables, settings = demo_rows()
    tables["Builds"] = tables["Builds"][:10]
    plain = _plain(forecast(make_with(tables, settings), 1, draws=50))
    rng = random.Random(3)
    for name, rows in tables.items():
        if name not in {"Paths"}:  # a path is its order
            rng.shuffle(rows)
    assert _plain(forecast(make_with(tables, settings), 1, draws=50)) == plain


def test_order_of_parts_within_a_shift_changes_nothing():
    """The forecast does not know the sequence; the shift model does, and it matters to its purges."""
    rows = hand_rows()
    rows["Parts"].append(dict(part="bar"))
    rows["Beads"].append({**rows["Beads"][0], "part": "bar", "length": 150})
    rows["Stations"][0].update(takt=None, purge_share=0.15)
    shift = rows["Builds"][0]
    rows["Builds"] = [{**shift, "part": part, "quantity": 14} for part in ("frame", "bar")]
    plain, turned = make(rows), make({**rows, "Builds": rows["Builds"][::-1]})
    waste = [next(play_plan(plan)).dispensed("purge") for plan in (plain, turned)]
    assert waste[0] != waste[1]
    assert _plain(forecast(plain, 1, draws=20)) == _plain(forecast(turned, 1, draws=20))


def test_processes_change_nothing():
    rows = paste_rows(days=14)
    for number, row in enumerate(rows["Builds"]):
        row["quantity"] = 40 + number
    rows["Builds"] += [
        {
            **row,
            "date": row["date"] + datetime.timedelta(days=14 * turn),
            "quantity": row["quantity"] + 14 * turn,
        }
        for turn in range(1, 4)
        for row in rows["Builds"][:14]
    ]
    plan = make(rows)
    keys, _ = occurrences(plan)
    assert len(keys) >= 50
    one, two = responses(plan, keys), responses(plan, keys, processes=2)
    for a, b in zip(one, two, strict=True):
        assert a.used == b.used and (a.scaled == b.scaled).all() and (a.fixed == b.fixed).all()


@pytest.mark.parametrize("quantity", [1, 7, 40, 150])
def test_more_parts_never_use_less(quantity):
    """On parts always; altogether where no pot life asks for purges (idle mixers may use more)."""

    def used(count, rows):
        rows["Builds"] = [{**rows["Builds"][0], "quantity": count}]
        plan = make(rows)
        keys, _ = occurrences(plan)
        return used_of(play_lean(plan, keys[0]))

    less, more = used(quantity, hand_rows()), used(quantity + 1, hand_rows())
    assert all(more[letter]["parts"] >= less[letter]["parts"] for letter in less)
    dry = [used(count, paste_rows(scrap=0.1, start_volume=3, checks=1)) for count in (quantity, quantity + 1)]
    assert sum(dry[1]["a"].values()) >= sum(dry[0]["a"].values())


# ---------------------------------------------------------------------------------------- what-if


@pytest.fixture(scope="module")
def variants(demo):
    return what_if(demo, weeks=1)


def test_differences_add_up_to_the_nanolitre(variants):
    for variant in (*variants.alone, variants.steps[-1]):
        difference = variants.difference(variant)
        for key in variants.now.causes:
            assert sum(volume for (each, _), volume in difference.items() if each == key) == (
                variant.use(key) - variants.now.use(key)
            )
    together = variants.steps[-1]
    for key in variants.now.causes:
        parts = variants.attributed(key)
        assert all(isinstance(volume, int) for volume in parts)
        assert variants.now.use(key) + sum(parts) == together.use(key)


def test_what_if_by_hand():
    """Paste 100 × 2 mL over 10 days: scrap 0 to 20 % starts 125; a larger container has no heel here."""
    plan = make(paste_rows())
    found = what_if(plan, [change_scrap(0.2), change_container(2.0), change_takt(0.5)], weeks=2)
    key = ("Paste", "a")
    difference = found.difference(found.alone[0])
    assert difference[key, "scrap"] == 10 * 25 * 2 * 10**6
    assert sum(difference.values()) == difference[key, "scrap"]
    assert not any(found.difference(found.alone[1]).values())
    assert not any(found.difference(found.alone[2]).values())


def test_steps_are_made_one_after_another():
    """All together is the plan with every change made; the order is that of the list."""
    plan = make(hand_rows())
    changes = [change_scrap(0.2), change_ratio(3.0)]
    found = what_if(plan, changes, weeks=1)
    both = play_variant(changes[1].apply(changes[0].apply(plan)), "both", found.horizon)
    assert found.steps[-1].causes == both.causes
    # by hand: three parts of B to one of A, and scrap only where the first change made it
    scrap = {letter: both.causes["Bond 60", letter]["scrap"] for letter in "ab"}
    assert scrap["b"] == 3 * scrap["a"] > 0 == found.now.causes["Bond 60", "a"]["scrap"]


def test_ratio_moves_material_from_one_component_to_the_other():
    """By hand: 1:1 to 1:3 leaves the mixed volume and makes B three quarters of it."""
    rows = hand_rows()
    found = what_if(make(rows), [change_ratio(3.0)], weeks=1)
    mixed = sum(found.now.causes["Bond 60", letter]["parts"] for letter in "ab")
    after = {letter: found.alone[0].causes["Bond 60", letter]["parts"] for letter in "ab"}
    assert sum(after.values()) == mixed
    assert after["b"] == pytest.approx(0.75 * mixed, abs=21)


def test_a_warmer_shop_purges_more(variants):
    warm = variants.alone[2]
    assert sum(causes["purge"] + causes["mixers"] for causes in warm.causes.values()) > sum(
        causes["purge"] + causes["mixers"] for causes in variants.now.causes.values()
    )
    assert all(warm.causes[key]["parts"] == causes["parts"] for key, causes in variants.now.causes.items())


def test_wrong_changes_are_refused():
    for make_change in (
        lambda: change_takt(0.0),
        lambda: change_scrap(1.0),
        lambda: change_ratio(-1.0),
        lambda: change_container(math.nan),
        lambda: change_temperature(1e9),
    ):
        with pytest.raises(InputError):
            make_change()


# ------------------------------------------------------------------------------------------ inputs


def _frame(rows):
    return pd.DataFrame([{**row, "date": pd.Timestamp(row["date"])} for row in rows["Builds"]])


def test_builds_from_files_are_those_of_the_plan(tmp_path):
    rows = paste_rows()
    plan = make(rows)
    plain = _plain(forecast(plan, 2, draws=20))
    frame = _frame(rows)
    text = frame.assign(date=frame["date"].dt.strftime("%Y-%m-%d"), remark="x")
    text[["part", "remark", "quantity", "shift", "date"]].to_csv(tmp_path / "b.csv", index=False)
    text.to_csv(tmp_path / "semicolon.csv", index=False, sep=";")
    frame.to_parquet(tmp_path / "b.parquet")
    connection = sqlite3.connect(tmp_path / "b.sqlite")
    frame.to_sql("Builds", connection, index=False)  # dates with midnight, as pandas writes them
    connection.commit()
    connection.close()
    empty = make(paste_rows(days=1))
    for source in (frame, *(tmp_path / name for name in ("b.csv", "semicolon.csv", "b.parquet", "b.sqlite"))):
        assert _plain(forecast(empty, 2, builds=source, draws=20)) == plain


def test_all_problems_of_builds_are_told_with_their_rows(tmp_path):
    path = tmp_path / "b.csv"
    path.write_text(
        "date,shift,part,quantity\n2026-03-02,early,plate,10\nsoon,early,plate,5\n"
        "2026-03-02,early,plate,-1\n2026-03-02,night,plate,3\n2026-03-02,early,lid,3\n"
        "2026-03-02,early,plate,2.5\n"
    )
    with pytest.raises(InputError) as caught:
        forecast(make(paste_rows()), 1, builds=path)
    told = "\n".join(map(str, caught.value.problems))
    for words in ("row 3: date", "row 4: quantity", "row 5: shift", "row 6: part", "row 7: quantity"):
        assert words in told, told


def test_missing_columns_tables_and_files_are_told(tmp_path):
    plan = make(paste_rows())
    (tmp_path / "b.csv").write_text("date,part\n2026-03-02,plate\n")
    with pytest.raises(InputError, match="Shift"):
        forecast(plan, 1, builds=tmp_path / "b.csv")
    (tmp_path / "empty.csv").write_text("date,shift,part,quantity\n")
    # a week without builds, as over a holiday, is no error: nothing is used
    assert forecast(plan, 1, builds=tmp_path / "empty.csv", draws=20).horizon.is_empty
    (tmp_path / "nothing.csv").write_text("")
    with pytest.raises(FileError, match="cannot be read"):
        forecast(plan, 1, builds=tmp_path / "nothing.csv")
    sqlite3.connect(tmp_path / "b.sqlite").execute("create table other (x)").connection.commit()
    with pytest.raises(FileError, match="has no table builds"):
        forecast(plan, 1, builds=tmp_path / "b.sqlite")
    for name, words in (("gone.csv", "does not exist"), ("b.xls", "not a kind of file")):
        with pytest.raises(FileError, match=words):
            forecast(plan, 1, builds=tmp_path / name)
    (tmp_path / "bad.parquet").write_bytes(b"no parquet")
    with pytest.raises(FileError, match="cannot be read"):
        forecast(plan, 1, builds=tmp_path / "bad.parquet")


def test_numbers_out_of_range_are_told_together():
    with pytest.raises(InputError) as caught:
        forecast(make(paste_rows()), 0, draws=1, seed=-1, processes=0)
    assert len(caught.value.problems) == 4


def test_weeks_beyond_the_builds_are_said(found):
    short = forecast(make(paste_rows(days=3)), 8, draws=20)
    assert short.horizon.weeks == 1
    assert any("1 of the 8 weeks" in note for note in short.notes)
    one = forecast(make(paste_rows(days=14)), 1, draws=20)
    assert one.horizon.weeks == 1
    assert sum(one.components["Paste", "a"].day_use) == 7 * 200 * 10**6  # by hand: seven days of 200 mL


# ----------------------------------------------------------------------------------------- outputs


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    from dispense.books.plan import new_plan

    folder = tmp_path_factory.mktemp("forecast")
    plan = new_plan(folder / "plan.xlsx", demo=True)
    before = plan.read_bytes()
    found = forecast_file(plan, weeks=1, draws=50, out=folder / "f.xlsx")
    assert plan.read_bytes() == before
    return folder, found


def test_workbook_reads_back_with_values_everywhere(files):
    folder, found = files
    formulas = openpyxl.load_workbook(folder / "f.xlsx")
    values = openpyxl.load_workbook(folder / "f.xlsx", data_only=True)
    assert formulas.sheetnames[0] == "Summary"
    count = 0
    for sheet in formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    count += 1
                    value = values[sheet.title][cell.coordinate].value
                    where = (sheet.title, cell.coordinate)
                    assert value is not None and not str(value).startswith("#"), where
    assert count > 30
    table = found.tables["causes"]
    total = values["Cost and waste"].cell(6 + len(table.rows), len(table.columns) - 1).value
    assert total == pytest.approx(math.fsum(row[-2] for row in table.rows))


def test_live_stock_rules_equal_the_computed_ones(files):
    folder, found = files
    sheet = openpyxl.load_workbook(folder / "f.xlsx", data_only=True)["Reorder"]
    names = [cell.value for cell in sheet[5]]
    for row, values in enumerate(found.tables["reorder"].rows, 6):
        for name in ("Safety stock [mL]", "Reorder point [mL]"):
            place = names.index(name)
            assert sheet.cell(row, place + 1).value == pytest.approx(values[place], rel=1e-6)


def test_the_answer_is_the_largest_thing_on_each_sheet(files):
    folder, found = files
    for sheet in openpyxl.load_workbook(folder / "f.xlsx"):
        if sheet.title == "Tables":  # a list of the tables, for programs
            continue
        sizes = [(cell.font.size, cell.value) for row in sheet.iter_rows() for cell in row if cell.value]
        largest = [value for size, value in sizes if size == max(sizes, key=lambda item: item[0])[0]]
        assert len(largest) == 1
        assert largest[0] in (
            [found.headline()[0]] if sheet.title == "Summary" else found.as_json()["answers"].values()
        )


def test_answers_of_a_paste_counted_by_hand():
    # 1500 mL, of which 100 parts take 200 mL a day from Monday 2 March: the eighth day runs short
    rows = paste_rows()
    found = forecast(make(rows), 2, draws=20)
    whatif.what_if_table(found)
    says = found.as_json()["answers"]
    assert says["components"] == "Paste runs out on Mon 09 Mar 2026"
    # by hand: a lead time of 0 days, and 2000 mL in the two weeks are a litre a week, one container at 10;
    # it comes on the working day before
    assert says["orders"] == "1 order for 10, the first by Fri 06 Mar 2026"
    assert says["materials"] == "At most 1,400 mL in a week: Paste, 2026-W10"
    assert says["stations"] == "Most waste: 0% of Paste at press"
    assert says["days"] == "2 on a day with builds, at most 2 on Mon 02 Mar 2026"  # 200 mL at 10 a litre
    assert says["cover"].startswith("Without new orders Paste is down to 0.0 days of use on ")
    assert says["what_if_cost"].startswith("Largest change: ") and all(says.values())


def test_answers_from_rows_written_by_hand():
    day = datetime.date(2026, 3, 2)
    kinds = {"Runs out": "date", "After builds": "date", "Order by": "date"}

    def table(name, *rows):
        columns = tuple((key, "", kinds.get(key, "number")) for key in rows[0]) if rows else ()
        return Table(name, "", columns, [list(row.values()) for row in rows])

    def says(name, *rows, **others):
        return answers.answer(
            {name: table(name, *rows), **{key: table(key, *given) for key, given in others.items()}},
            name,
            "EUR",
        )

    blank = {"Runs out": None, "After builds": None}
    one, two = {"Component": "Glue A", **blank}, {"Component": "Glue B", **blank}
    assert says("components", one, two) == "Nothing runs out"
    assert says("components", one, {**two, "After builds": day}) == (
        "Nothing runs out; Glue B would be empty first, on Mon 02 Mar 2026"
    )
    assert says("components", {**one, "Runs out": day}, {**two, "Runs out": day - datetime.timedelta(1)}) == (
        "Glue B runs out on Sun 01 Mar 2026, the first of 2"
    )
    order = {"Order by": day, "Cost": 1200.4, "Note": ""}
    assert says("orders", order) == "1 order for 1,200 EUR, the first by Mon 02 Mar 2026"
    assert says("orders", order, {**order, "Note": "late"}).endswith("; 1 with a note")
    lot = {"Component": "Glue A", "Lot": "L1", "Used": 5.0, "Expired": 0.0}
    assert says("lots", lot) == "No lot expires"
    assert says("lots", lot, {**lot, "Expired": 250.0}) == "1 lot expires: 250 mL of lot L1, Glue A"
    assert says("lots", {**lot, "Lot": "missing"}) == "5 mL of Glue A are missing"
    assert says("causes", {"All": 200.0, "On good parts": 140.0, "Filling hoses": 10.0}) == (
        "200 EUR, 25% of it waste"
    )
    held = {"Component": "Glue A", "In stock": 90.0, "Due in": 10.0}
    point = {"Component": "Glue A", "Reorder point": 100.0}
    assert says("reorder", point, components=[held]) == (
        "1 of 1 component at or under the reorder point: Glue A"
    )
    assert says("reorder", {**point, "Reorder point": 99.0}, components=[held]).startswith("Stock and")
    late = {"When": "overdue by 3 days", "What": "order", "Component": "Glue A"}
    above = says("reorder", {**point, "Reorder point": 99.0}, components=[held], decisions=[late])
    assert above.endswith("; overdue all the same by the use of the coming days: Glue A")
    variant = {"Component": "Glue A", "Now": 200.0, "takt −10 %": 150.0, "All together": 190.0}
    assert says("what_if", variant) == "Largest change: takt −10 %, −25% of Glue A"
    assert says("what_if_steps", variant) == "All together: −5% of Glue A at most"
    assert says("orders") == ""


def test_charts_have_titles_and_units_and_pages_are_set_up(files):
    folder, _ = files
    book = openpyxl.load_workbook(folder / "f.xlsx")
    charts = [chart for sheet in book for chart in sheet._charts]
    assert len(charts) >= 5
    for chart in charts:
        for axis in (chart.x_axis, chart.y_axis):
            assert axis.title is not None
        words = "".join(run.t for paragraph in chart.y_axis.title.tx.rich.p for run in paragraph.r or [])
        assert "[" in words, words
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape" and int(sheet.page_setup.paperSize) == 9
        if sheet.title != "Summary":
            assert sheet.print_title_rows


def test_same_forecast_same_bytes(files, tmp_path):
    folder, found = files
    write_forecast(found, tmp_path / "again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == (folder / "f.xlsx").read_bytes()


def test_json_and_csv(files, tmp_path):
    _, found = files
    write_forecast(found, tmp_path / "f.json")
    data = json.loads((tmp_path / "f.json").read_text())
    assert set(data["tables"]) == set(found.tables)
    lots = data["tables"]["lots"]
    for row in lots:
        assert row["Opening [mL]"] + row["Received [mL]"] == pytest.approx(
            row["Used [mL]"] + row["Expired [mL]"] + row["Closing [mL]"], abs=1e-5
        )
    write_forecast(found, tmp_path / "f.csv")
    read = list(csv.DictReader(io.StringIO((tmp_path / "f.csv").read_text("utf-8-sig"))))
    assert {row["table"] for row in read} <= set(found.tables)
    parts = sum(float(row["value"]) for row in read if row["table"] == "causes" and row["column"] == "All")
    assert parts == pytest.approx(math.fsum(row[-2] for row in found.tables["causes"].rows), abs=1e-3)


def test_texts_are_never_formulas(tmp_path):
    rows = paste_rows()
    for table in rows.values():
        for row in table:
            for key in ("material", "station", "part", "lot"):
                if key in row:
                    row[key] = {"material": "=1+1", "station": "@now", "part": "-lid", "lot": "+5"}[key]
    found = forecast(make(rows), 1, draws=20)
    write_forecast(found, tmp_path / "f.xlsx")
    write_forecast(found, tmp_path / "f.csv")
    book = openpyxl.load_workbook(tmp_path / "f.xlsx")
    cells = [
        cell
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.value in {"=1+1", "@now", "+5"}
    ]
    assert len(cells) > 5 and all(cell.data_type == "s" for cell in cells)
    values = [row["value"] for row in csv.DictReader((tmp_path / "f.csv").open(encoding="utf-8-sig"))]
    assert "'=1+1" in values and not any(value.startswith(("=", "@", "+")) for value in values)


def test_inputs_are_never_written_over(files):
    folder, _ = files
    before = (folder / "plan.xlsx").read_bytes()
    with pytest.raises(FileError, match="never written over"):
        forecast_file(folder / "plan.xlsx", weeks=1, draws=20, what_if=False, out=folder / "plan.xlsx")
    with pytest.raises(FileError, match="not a kind of file"):
        forecast_file(folder / "plan.xlsx", weeks=1, out=folder / "f.doc")
    assert (folder / "plan.xlsx").read_bytes() == before


def test_report_is_short_and_says_the_one_thing(found):
    text = found.as_text()
    assert len(text.splitlines()) < 60
    assert "run" in text.splitlines()[1]
    assert max(map(len, text.splitlines())) < 200


def test_builds_from_a_file_replace_those_of_the_workbook(files, tmp_path):
    folder, _ = files
    path = tmp_path / "b.csv"
    path.write_text(
        "part,quantity,shift,date\nDrive box,10,Early,2026-03-02\nTug pack 7,1,Early,2026-03-02\n"
    )
    found = forecast_file(folder / "plan.xlsx", weeks=1, draws=20, builds=path, what_if=False)
    # by hand: 10 drive boxes take 10 lids; one of a hundred started is lost, 10·0.01/0.99
    answer = next(
        answer for key, answer in zip(found.keys, found.responses, strict=True) if key.station == "Hem robot"
    )
    assert (answer.good, answer.lost) == (10, pytest.approx(0.10101, abs=1e-5))
    path.write_text("part,quantity,shift,date\nDrive box,ten,Early,2026-03-02\nBoat,1,Dawn,2026-03-02\n")
    with pytest.raises(InputError) as caught:
        forecast_file(folder / "plan.xlsx", weeks=1, draws=20, builds=path)
    told = "\n".join(map(str, caught.value.problems))
    assert "b.csv row 2: quantity" in told, told


def test_command(files, capsys):
    from dispense.cli import main

    folder, _ = files
    assert (
        main(
            [
                "forecast",
                str(folder / "plan.xlsx"),
                "--weeks",
                "1",
                "--draws",
                "20",
                "--out",
                str(folder / "g.json"),
            ]
        )
        == 0
    )
    assert "wrote" in capsys.readouterr().out
    assert main(["forecast", str(folder / "plan.xlsx"), "--weeks", "0"]) == 1


@pytest.mark.libreoffice
def test_a_spreadsheet_computes_the_same_values(files, tmp_path):
    """LibreOffice computes every formula afresh and finds the stored values."""
    import subprocess

    folder, _ = files
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{tmp_path}/profile",
            "--headless",
            "--convert-to",
            "ods",
            "--outdir",
            str(tmp_path),
            str(folder / "f.xlsx"),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{tmp_path}/profile",
            "--headless",
            "--convert-to",
            "xlsx:Calc MS Excel 2007 XML",
            "--outdir",
            str(tmp_path),
            str(tmp_path / "f.ods"),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    stored = openpyxl.load_workbook(folder / "f.xlsx", data_only=True)
    formulas = openpyxl.load_workbook(folder / "f.xlsx")
    fresh = openpyxl.load_workbook(tmp_path / "f.xlsx", data_only=True)
    for sheet in formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    ours, theirs = (book[sheet.title][cell.coordinate].value for book in (stored, fresh))
                    assert theirs == pytest.approx(ours, rel=1e-9, abs=1e-9), (sheet.title, cell.coordinate)


def test_waste_and_cost_add_up(found):
    for key, walked in found.ordered.causes.items():
        # the use of all tables, and what expires in the walk
        causes = {**found.components[key].use, "expired": walked["expired"]}
        row = next(row for row in found.tables["causes"].rows if row[0] == found.components[key].name)
        price = found.components[key].component.price / (found.components[key].component.container * NANO)
        assert row[-2] == pytest.approx(price * sum(causes.values()))
        assert set(causes) == set(ALL_CAUSES)
    assert isinstance(found.walk, StockWalk)


# -------------------------------------------------------------------- one meaning of use, and today


def two_part_rows(days=14, **station):
    """A and B with heels and hoses, small shifts, so that rounding up to whole parts would show."""
    rows = hand_rows()
    rows["Stations"][0].update(scrap=0.03, takt=None, hose_a=30, hose_b=20, **station)
    rows["Materials"][0].update(pot_life=10_000, open_time=None)  # min: nothing is purged
    rows["Builds"] = [
        {**rows["Builds"][0], "date": MONDAY + datetime.timedelta(days=day), "quantity": 7}
        for day in range(days)
        if day % 7 < 5
    ]
    for row in rows["Stock"]:
        row["quantity"] = 20000
        row["expiry"] = "2027-12-31"
    return rows


def by_own_loop(rows, heels):
    """Use of A and B [mL] by a loop over the builds that knows nothing of the shift model.

    A frame takes 10 mL, half A, half B; good/(1 − scrap) are started; each shift fills a mixer of 10 mL,
    draws 8 mL at its start, 6 at its end and two check shots of 4 mL (3.5 h at one in two hours); the
    first fills the hoses; of each container the heel stays behind, and what it holds before the part of 5 mL
    that it cannot finish. Eight parts are begun, evenly over 3.5 h: five before the second check.
    """
    in_turn = [(9.0, False), (2.0, False), *[(5.0, True)] * 5, (2.0, False), *[(5.0, True)] * 3, (3.0, False)]
    station = rows["Stations"][0]
    usable = {row["component"]: row["container"] * (1.0 - row["heel"]) for row in rows["Components"]}
    totals = {"a": station["hose_a"], "b": station["hose_b"]}
    for build in rows["Builds"]:
        mixed = build["quantity"] * 10.0 / (1.0 - station["scrap"]) + 10.0 + 8.0 + 6.0 + 2 * 4.0
        for letter in totals:
            totals[letter] += mixed / 2.0 * (1.0 + left_over(in_turn, usable[letter]))
    return {letter: volume / (1.0 - heels[letter]) for letter, volume in totals.items()}


def left_over(in_turn, full: float) -> float:
    """What of containers is left over, for what is drawn of them, shift after shift."""
    there, left, drawn = full, 0.0, 0.0
    for volume, is_part in in_turn * 20_000:
        drawn += volume
        if is_part and there < volume:
            left, there = left + there, full
        while there < volume:
            volume, there = volume - there, full
        there -= volume
    return left / drawn


def test_every_table_counts_the_same_use_by_an_own_loop():
    rows = two_part_rows()
    wanted = by_own_loop(rows, {"a": 0.05, "b": 0.10})
    found = forecast(make(rows), 2, draws=400, seed=2)
    whole = 0.0
    for letter, volume in wanted.items():
        view = found.components["Bond 60", letter]
        # the package ends after 200 containers: a two-hundredth of the last rest is not settled
        assert sum(view.day_use) / 1e6 == pytest.approx(volume, rel=5e-5)
        volume = sum(view.day_use) / 1e6  # which is that of all tables, to the last digit
        whole += volume
        row = next(row for row in found.tables["components"].records() if row["Component"] == view.name)
        assert row["Use planned [mL]"] == pytest.approx(volume, rel=1e-7)
        # hoses and heels are in the futures too: their mean is the plan but for sampling of scrap
        assert view.total_mean * 1e6 == pytest.approx(volume, rel=0.002)
        assert view.total_p50 * 1e6 <= volume * 1.002 and volume * 0.998 <= view.total_p90 * 1e6
        for table, column in (("weeks", "Planned [mL]"), ("stations", "All [mL]")):
            assert sum(
                row[column] for row in found.tables[table].records() if row["Component"] == view.name
            ) == pytest.approx(volume, rel=1e-7)
        assert sum(row[f"{view.name} [mL]"] for row in found.tables["days"].records()) == pytest.approx(
            volume, rel=1e-7
        )
    assert sum(row["Planned [mL]"] for row in found.tables["materials"].records()) == pytest.approx(whole)
    assert sum(sum(row[2:]) for row in found.tables["station_weeks"].rows) == pytest.approx(whole)
    assert found.frame()["volume [mL]"].sum() == pytest.approx(whole)
    for name in ("components", "weeks", "materials", "days", "stations", "station_weeks", "causes"):
        assert "expected scrap" in found.tables[name].note and "heel" in found.tables[name].note


def test_a_share_of_scrap_costs_that_share():
    """By hand: 7 good at 3 % scrap are 7/0.97 started, not 8; a point more is 7/0.96."""
    plan = make(two_part_rows())
    found = what_if(plan, [change_scrap(0.01)], weeks=2)
    scrap = {
        name: sum(outcome.causes["Bond 60", letter]["scrap"] for letter in "ab") / 1e6
        for name, outcome in (("now", found.now), ("more", found.alone[0]))
    }
    assert scrap["now"] == pytest.approx(10 * 70.0 * 0.03 / 0.97, rel=1e-6)
    assert scrap["more"] == pytest.approx(10 * 70.0 * 0.04 / 0.96, rel=1e-6)


def test_planned_use_outside_its_futures_is_explained():
    # scrap of 1 in 2000: nine of ten weeks lose nothing, and the mean lies above them (binomial)
    rows = paste_rows(quantity=5, days=5, scrap=0.0005)
    found = forecast(make(rows), 1, draws=400)
    view = found.components["Paste", "a"]
    assert sum(view.day_use) / NANO > view.total_p90
    assert any("Planned use lies above P90 for Paste" in note for note in found.notes)


NEUTRAL = [
    change_takt(1.0),
    change_scrap(0.0),
    change_temperature(0.0),
    change_container(1.0),
    change_ratio(1.0),
]


@pytest.mark.parametrize("change", NEUTRAL, ids=lambda change: change.name)
def test_a_change_of_nothing_changes_nothing_to_the_nanolitre(demo, change):
    found = what_if(demo, [change], weeks=1)
    for outcome in (found.alone[0], found.steps[0]):
        assert outcome.causes == found.now.causes and outcome.unfinished == found.now.unfinished


def test_what_if_starts_from_the_plan_of_the_forecast(demo, found):
    now = what_if(demo, NEUTRAL[:1], horizon=found.horizon).now
    for key, view in found.components.items():
        causes = {**view.use, "expired": found.walk.causes[key]["expired"]}
        assert now.causes[key] == causes


def test_a_longer_takt_of_a_spread_shift_is_that_shifts_own():
    """By hand: 100 parts over 8 h come every 288 s; half as slow again and a third is left undone."""
    rows = paste_rows(days=2)
    rows["Builds"][1]["quantity"] = 10
    plan = make(rows)
    found = what_if(plan, [change_takt(1.5)], weeks=1)
    assert found.now.unfinished == 0
    assert found.alone[0].unfinished == pytest.approx((100 + 10) / 3, abs=2)


def test_risk_of_one_in_ten_never_comes_after_the_plan_itself():
    """Two stations share one store: the second finds no container while half of one stands at the first."""
    rows = paste_rows(days=10)
    rows["Components"][0]["container"] = 400
    rows["Stock"][0]["quantity"] = 1600
    rows["Stations"].append({**rows["Stations"][0], "station": "twin"})
    rows["Beads"].append({**rows["Beads"][0], "bead": "twin", "station": "twin", "length": 300})
    plan = make(rows)
    for spread in (0.0, 0.05, 0.4):
        plan.settings.update(demand_spread=spread)
        for row in forecast(plan, 2, draws=200).tables["components"].records():
            assert row["Runs out"] is not None and row["10 % risk by"] <= row["Runs out"]
    # pooled, 1600 mL last 260 mL a day through the sixth day; the walk runs out on the day by hand:
    # 130 + ... no containers are left for the second station once four are opened
    walk, _ = _walked(plan, 2)
    opened = {"press": 0.0, "twin": 0.0}
    left, day = 4, None
    for place in range(10):
        for station, need in (("press", 200.0), ("twin", 60.0)):
            while need > opened[station] + 1e-9:
                if not left:
                    day = place if day is None else day
                    opened[station] += 400.0
                    continue
                left -= 1
                opened[station] += 400.0
            opened[station] -= need
    assert walk.runs_out["Paste", "a"] == MONDAY + datetime.timedelta(days=day)


def test_a_shortage_is_the_first_thing_said(tmp_path):
    rows = paste_rows()
    rows["Components"][0]["lead_time"] = 20
    found = forecast(make(rows), 2, draws=20)
    first = found.findings[0]
    # by hand: 1500 mL last seven days of 200; ordered today it comes on day 20, after the last build
    assert (first.kind, first.topic, first.day) == ("stop", "shortage", MONDAY + datetime.timedelta(days=7))
    assert first.station == "press" and first.numbers["lacking [mL]"] == pytest.approx(500.0)
    assert first.numbers["overdue [d]"] == 13  # 20 days before day 7
    assert "Paste" in found.headline()[0] and found.headline()[0].startswith("Short: ")
    text = found.as_text().splitlines()
    assert text[1].startswith("Short: ") and "Stops the line" in text[:8]
    assert found.as_json()["findings"][0]["topic"] == "shortage"
    write_forecast(found, tmp_path / "f.xlsx")
    book = openpyxl.load_workbook(tmp_path / "f.xlsx")
    words = [str(cell.value) for row in book["Summary"].iter_rows(max_row=9) for cell in row if cell.value]
    assert any("Paste runs short on Mon 2026-03-09" in word for word in words)
    assert book["Findings"].cell(6, 1).value == "stops the line"


def test_every_shortage_stands_on_the_first_sheet(tmp_path):
    rows = paste_rows()
    for number in range(9):
        name = f"Paste {number}"
        rows["Materials"].append({**rows["Materials"][0], "material": name})
        rows["Components"].append({**rows["Components"][0], "material": name, "lead_time": 30})
        rows["Stations"].append({**rows["Stations"][0], "station": name, "material": name})
        rows["Beads"].append({**rows["Beads"][0], "bead": name, "station": name})
    found = forecast(make(rows), 2, draws=20)
    write_forecast(found, tmp_path / "f.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "f.xlsx")["Summary"]
    words = "\n".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value)
    for number in range(9):
        assert f"Paste {number} runs short" in words


def test_an_overdue_order_is_named_with_its_days():
    rows = paste_rows(days=5)
    rows["Components"][0]["lead_time"] = 14
    plan = make(rows)
    plan.settings.update(demand_spread=0.2)
    found = forecast(plan, 1, draws=50)
    overdue = [each for each in found.warnings if each.topic == "order overdue"]
    # safety stock is there to be touched: what the builds of the plan need does not run short, no line stops
    assert len(overdue) == 1 and overdue[0].kind == "quality"
    assert found.components["Paste", "a"].runs_out is None and exit_code(found.findings) == 0
    order = found.components["Paste", "a"].orders[0]
    assert overdue[0].numbers["overdue [d]"] == order.late_days > 0
    # known three weeks earlier, it is not
    early = forecast(plan, 1, draws=50, as_of=MONDAY - datetime.timedelta(days=21))
    assert not [each for each in early.warnings if each.topic == "order overdue"]


def test_decisions_weeks_stock_and_lots_by_hand():
    """200 mL a day of 1500 in containers of 1000, lead time 9 d: short on Monday the 9th.

    An order for that morning had to be placed by Friday 27 February; today it comes on Wednesday the 11th.
    """
    rows = paste_rows(days=14)
    rows["Components"][0].update(lead_time=9, shelf_life=30)
    # used up on its last day
    rows["Stock"].append({**rows["Stock"][0], "lot": "P2", "quantity": 500, "expiry": "2026-03-04"})
    rows["Stock"][0]["quantity"] = 1000
    found = forecast(make(rows), 2, draws=20)
    first, *others = found.tables["decisions"].records()
    assert (first["When"], first["What"], first["Day"]) == ("overdue by 3 days", "order", MONDAY)
    assert "short from 2026-03-09" in first["Remark"] and "Wed 2026-03-11" in first["Remark"]
    assert not others and found.answers["decisions"].startswith("1 order overdue, nothing to do")
    grid = {row["What"]: row for row in found.tables["grid"].records()}
    assert grid["used"]["2026-W10"] == pytest.approx(1.4) and grid["to order"]["2026-W10"] >= 1.0
    assert grid["arrives"]["2026-W10"] is None and grid["arrives"]["2026-W11"] >= 1.0
    assert [each.name for each in fan_tables(found)] == ["fan_1"]
    for row in found.tables["fan_1"].records():
        assert row["Low [mL]"] <= row["Planned [mL]"] <= row["High [mL]"]
    days = found.tables["fan_1"].records()
    assert [days[day]["Planned [mL]"] for day in (0, 1, 6)] == [1300.0, 1100.0, 100.0]
    assert [row["Day"].day for row in days if row["Evening of a delivery [mL]"] is not None] == [11]
    lots = {row["Lot"]: row for row in found.tables["lot_line"].records()}
    assert lots["Paste P2"]["Days it may be used [d]"] == 3
    assert (lots["Paste order 1"]["From"].day, lots["Paste order 1"]["Days it may be used [d]"]) == (11, 31)


def _dated(rows, weeks):
    """Builds of so many parts a day in each week, Monday to Friday."""
    rows["Builds"] = [
        {**rows["Builds"][0], "date": MONDAY + datetime.timedelta(days=7 * week + day), "quantity": count}
        for week, count in enumerate(weeks)
        if count
        for day in range(5)
    ]
    rows["Components"][0].update(lead_time=7, container=1000)
    return rows


def test_what_phases_out_is_not_ordered_beyond_its_last_build():
    """200 mL a day for two of eight weeks, then nothing: 2 L in all, 1.5 in stock: one container of 1 L."""
    rows = _dated(paste_rows(), [100, 100])
    rows["Parts"].append(dict(part="lid"))
    rows["Materials"].append({**rows["Materials"][0], "material": "Other"})
    rows["Components"].append({**rows["Components"][0], "material": "Other"})
    rows["Stations"].append({**rows["Stations"][0], "station": "lid", "material": "Other"})
    rows["Beads"].append({**rows["Beads"][0], "bead": "lid", "part": "lid", "station": "lid"})
    rows["Builds"] += [
        {**row, "part": "lid", "date": row["date"] + datetime.timedelta(days=7 * week)}
        for week in range(0, 8, 2)
        for row in rows["Builds"][:10]
    ]
    plan = make(rows)
    plan.settings.update(demand_spread=0.1)
    found = forecast(plan, 8, draws=100)
    assert sum(order.containers for order in found.components["Paste", "a"].orders) == 1
    assert any("Paste phases out" in note for note in found.notes)


def test_what_phases_in_is_ordered_for_its_builds():
    """40 mL a day for six weeks, then 400: the last two weeks take 4 L, and as much goes on after them.

    Ordered within the eight weeks for arrivals a week later: the ninth week's 2 L at least.
    """
    rows = _dated(paste_rows(), [20] * 6 + [200] * 2)
    rows["Components"][0]["lead_time"] = 28  # the mean of all weeks comes too late by then
    plan = make(rows)
    found = forecast(plan, 8, draws=50)
    bought = sum(order.containers for order in found.components["Paste", "a"].orders)
    used = 6 * 5 * 0.04 + 2 * 5 * 0.4
    after = 4 * 2.0  # what a lead time of four weeks takes at the pace of the last two
    assert bought >= used + after - 1.5 - 2.0
    assert not found.ordered.runs_out and any("phases in" in note for note in found.notes)


def test_builds_beyond_the_weeks_count_for_orders():
    """Two weeks are looked at; the fifth takes ten times as much and is within the lead time."""
    rows = _dated(paste_rows(), [20, 20, 20, 20, 200])
    rows["Components"][0]["lead_time"] = 21
    known = forecast(make(rows), 2, draws=20).components["Paste", "a"].orders
    rows["Builds"] = [row for row in rows["Builds"] if row["quantity"] == 20]
    plain = forecast(make(rows), 2, draws=20).components["Paste", "a"].orders
    assert sum(order.volume for order in known) > sum(order.volume for order in plain)


def test_a_stray_row_of_another_year_is_history_and_named():
    rows = paste_rows()
    plain = forecast(make(rows), 2, draws=20)
    rows["Builds"].append({**rows["Builds"][0], "date": datetime.date(2019, 5, 6)})
    found = forecast(make(rows), 2, draws=20)
    assert found.tables["components"].rows == plain.tables["components"].rows
    assert found.horizon == plain.horizon
    told = next(each for each in found.warnings if each.topic == "history")
    assert told.day == datetime.date(2019, 5, 6) and told.cell == "Builds!A12" and "2019-05-06" in told.text
    # the builds of a year before are no stray rows where they are as many: the gap is named
    many = paste_rows()
    many["Builds"] += [{**row, "date": row["date"] - datetime.timedelta(days=60)} for row in many["Builds"]]
    gap = forecast(make(many), 4, draws=20)
    assert gap.horizon.first_build == MONDAY - datetime.timedelta(days=60)
    assert any(each.topic == "horizon" and each.day == MONDAY for each in gap.warnings)


def test_as_of_makes_earlier_builds_history(files, capsys):
    rows = paste_rows()
    day = MONDAY + datetime.timedelta(days=7)
    found = forecast(make(rows), 2, draws=20, as_of=day)
    assert sum(found.components["Paste", "a"].day_use) == 3 * 200 * 10**6  # three of ten days are to come
    assert any("7 builds" in note and "history" in note for note in found.notes)
    from dispense.cli import main

    folder, _ = files
    assert main(["forecast", str(folder / "plan.xlsx"), "--as-of", "2026-05-04", "--draws", "20"]) == 0
    assert "Nothing is built from 2026-05-04 on" in capsys.readouterr().out


def test_a_holiday_is_no_error(files, tmp_path, capsys):
    from dispense.cli import main

    folder, _ = files
    path = tmp_path / "holiday.csv"
    path.write_text("date,shift,part,quantity\n")
    assert (
        main(
            [
                "forecast",
                str(folder / "plan.xlsx"),
                "--builds",
                str(path),
                "--draws",
                "20",
                "--out",
                str(tmp_path / "h.xlsx"),
            ]
        )
        == 0
    )
    assert "No builds" in capsys.readouterr().out
    assert openpyxl.load_workbook(tmp_path / "h.xlsx").sheetnames[0] == "Summary"


def test_what_is_missing_is_never_staged_nor_taken_for_a_lot_of_that_name():
    from dispense.sheets.material import containers_text, shift_material_content
    from dispense.sheets.staging import staging_content

    rows = paste_rows(days=1, quantity=100)
    rows["Components"][0]["container"] = 100
    rows["Stock"] = [dict(material="Paste", component="a", lot="no stock", quantity=100, expiry="2027-01-31")]
    plan = make(rows)
    result = next(play_plan(plan))
    # by hand: 200 mL from containers of 100: one is there, a lot of that very name, one is missing
    assert [(use.lot, use.containers, use.is_missing) for use in result.lots] == [
        ("no stock", 1, False),
        ("no stock", 1, True),
    ]
    staged = staging_content(plan, [result], "").tables["StagingContainers"][0]
    assert (staged["lots"], staged["containers"], staged["volume"]) == ("no stock", 1, 100.0)
    lots = shift_material_content(plan, result, "").tables["MaterialLots"]
    assert [row["containers"] for row in lots] == [1]
    assert containers_text(result) == "Bring 1 × 100 mL; 1 × 100 mL missing"
    assert sum(event.kind == "container" for event in result.events) == 1
    table = forecast(plan, 1, draws=20).tables["lots"].records()
    assert [row["Lot"] for row in table][:1] == ["no stock"]


@pytest.mark.parametrize("end", ["06:28", "08:30"])
def test_a_forecast_calls_a_line_short_where_its_sheets_do(end):
    """A pot of two shots with 15 min between, fed by another station: the line begins them early enough.

    For itself a station would have them spread to the end of its shift, and the second shots after it.
    """
    rows = line_rows({"box": [30, 60]}, {"box": 20}, [300], [None], end=end)
    rows["Beads"] = rows["Beads"][:1]
    rows["Pots"] = [
        dict(pot="bed", part="box", station="s2", shape="box", length=50, width=20, depth=20, level=5)
    ]
    rows["Shots"] = [dict(part="box", pot="bed", shot=shot, portion=0.5, wait=15) for shot in (1, 2)]
    rows["Stations"][1] |= dict(flow=1)
    plan = make(rows)
    short = {(item.date, item.shift, item.station.station) for item in play_plan(plan) if item.is_short}
    told = [item for item in forecast_findings(forecast(plan, draws=20)) if item.topic == "unfinished"]
    assert {(item.day, item.shift, item.station) for item in told} == short
    assert bool(short) == (end == "06:28")
