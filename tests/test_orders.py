"""Proposed orders, played again by a loop of its own over days, stations and containers.

The loop holds the rules of the trade as the plan states them (first expired first out, open life, heel, each
station its own container, common practice, no source) and shares no code with the package.
"""

from __future__ import annotations

import datetime
import math
import random
import re
from dataclasses import dataclass, field, replace

import openpyxl
import pytest
from plans import MONDAY, make

from dispense.base.errors import InputError
from dispense.forecast.model import forecast
from dispense.jobs.book import book_files
from dispense.jobs.forecast import forecast_file
from dispense.journal.counted import counted_stock
from dispense.journal.entries import COUNTED, RECEIVED, Entry
from dispense.plan.build import build_plan
from dispense.plan.demo import DEMO
from dispense.plan.records import raw_table
from dispense.plan.rows import StockLot
from dispense.plan.workdays import work_days
from dispense.shift.play import play_plan

FOREVER = datetime.date.max
WEEKS = 4
GOING_ON = 14  # days at the end of the builds that are taken to go on, as the forecast says
AHEAD = 260  # days that are played


@dataclass
class Lot:
    name: str
    left: float
    expiry: datetime.date
    arrival: datetime.date | None = None


@dataclass
class Open:
    left: float
    last_day: datetime.date


@dataclass
class Item:
    """A component as bought, and what each of its stations draws on each day [mL]."""

    name: str
    container: float
    heel: float
    open_days: int | None
    shelf_days: int | None
    lots: list[Lot]
    days: list[list[tuple[str, float]]]
    orders: list[tuple[datetime.date, int]] = field(default_factory=list)  # arrival, containers

    def short_days(self, until=None) -> dict[int, str]:
        """The days on which a station finds no container, and the first such station."""
        shelf = [Lot(lot.name, lot.left, lot.expiry, lot.arrival) for lot in self.lots]
        for number, (arrival, count) in enumerate(self.orders, 1):
            expiry = FOREVER if self.shelf_days is None else _later(arrival, self.shelf_days)
            shelf.append(Lot(f"order {number}", count * self.container, expiry, arrival))
        at: dict[str, Open] = {}
        short: dict[int, str] = {}
        for day, draws in enumerate(self.days[:until]):
            date = _later(MONDAY, day)
            for station, volume in draws:
                wanted = volume
                if station in at and at[station].last_day < date:
                    del at[station]
                while wanted > 1e-9:
                    if station not in at or at[station].left <= 1e-9:
                        here = [
                            lot
                            for lot in shelf
                            if lot.left > 1e-9
                            and lot.expiry >= date
                            and (lot.arrival is None or lot.arrival <= date)
                        ]
                        if not here:  # the station goes without until something comes
                            short.setdefault(day, station)
                            break
                        lot = min(here, key=lambda lot: (lot.expiry, lot.name))
                        content = min(lot.left, self.container)
                        lot.left -= content
                        last = lot.expiry
                        if self.open_days is not None:
                            last = min(last, _later(date, self.open_days))
                        content -= self.heel * self.container
                        if content <= 1e-9:
                            continue
                        at[station] = Open(content, last)
                    part = min(wanted, at[station].left)
                    at[station].left -= part
                    wanted -= part
        return short


def _later(date, days):
    return date + datetime.timedelta(days=days)


def open_orders(seed: int, rows) -> list[dict]:
    """Deliveries that are on order: one or two of each component, some together as one order."""
    rng = random.Random(1000 + seed)
    found = []
    for number in range(rng.choice([1, 1, 2])):
        arrival = _later(MONDAY, rng.choice([4, 9, 15, 22]))
        for row in rows["Components"]:
            quantity = rng.choice([1, 2, 6]) * row["container"]
            order = dict(order=f"PO {number}", material="Paste", component=row["component"])
            found.append(order | dict(quantity=quantity, arrival=arrival))
    return found


def random_rows(seed: int):
    """A paste or a two-part kit at one or two stations, without any loss but heels and open containers."""
    rng = random.Random(seed)
    two_part, twin = rng.random() < 0.4, rng.random() < 0.6
    letters = "ab" if two_part else "a"
    kit = "kit" if two_part and rng.random() < 0.5 else ""
    lead, spread = rng.choice([0, 2, 5, 9, 14, 20]), rng.choice([0, 0, 0, 1])
    rows = {
        "Materials": [
            dict(material="Paste", kind="two-part" if two_part else "one-part", ratio_a=1)
            | (dict(ratio_b=1) if two_part else {})
        ],
        "Components": [
            dict(
                material="Paste",
                component=letter,
                density=1.0,
                container=rng.choice([150, 400, 1000]),
                heel=rng.choice([0.0, 0.05]),
                open_life=rng.choice([None, None, 0.5, 1, 3, 6]),
                shelf_life=rng.choice([None, None, 45, 90]),
                lead_time=lead,
                lead_time_spread=spread,
                minimum_order=rng.choice([1, 1, 4]),
                pack_multiple=rng.choice([1, 1, 6]),
                kit=kit,
            )
            for letter in letters
        ],
        "Parts": [dict(part="plate")],
        "Beads": [],
        "Stations": [],
        "Shifts": [dict(shift="early", start="06:00", end="14:00")],
        "Builds": [],
        "Stock": [],
    }
    for name, length in (("press", 10000), ("twin", rng.choice([2000, 7000]))):
        if name == "press" or twin:
            rows["Stations"].append(dict(station=name, material="Paste", speed=10000, refill="in mid-bead"))
            rows["Beads"].append(
                dict(
                    bead=name,
                    part="plate",
                    station=name,
                    section="rectangle",
                    width=2,
                    height=1,
                    length=length,
                )
            )
    worked = rng.choice([(0, 1, 2, 3, 4), (0, 2, 4), (0, 1, 2, 3, 4, 5)])
    level = rng.choice([[10] * WEEKS, [2, 4, 15, 20], [20, 8, 2, 0]])
    for week in range(WEEKS):
        for day in worked:
            count = round(level[week] * rng.uniform(0.5, 1.2))
            if count:
                date = _later(MONDAY, 7 * week + day)
                rows["Builds"].append(dict(date=date, shift="early", part="plate", quantity=count))
    for row in rows["Components"]:
        for lot in range(rng.choice([0, 1, 2, 3])):
            rows["Stock"].append(
                dict(
                    material="Paste",
                    component=row["component"],
                    lot=f"L{lot}",
                    quantity=rng.choice([0.5, 1, 2, 4]) * row["container"],
                    expiry=_later(MONDAY, rng.choice([4, 15, 40, 400])),
                    arrival=rng.choice([None, None, _later(MONDAY, rng.choice([3, 9]))]),
                )
            )
    return rows


def items_of(rows) -> dict[str, Item]:
    """What each component's stations draw on each day, by hand: width × height × length of each bead."""
    parts = {bead["station"]: bead["length"] * 2 / 1000.0 for bead in rows["Beads"]}  # mL
    found = {}
    last = max((row["date"] - MONDAY).days for row in rows["Builds"])
    for row in rows["Components"]:
        share = 1.0 / len(rows["Components"])
        known: list[list[tuple[str, float]]] = [[] for _ in range(last + 1)]
        for build in rows["Builds"]:
            for station in sorted(parts):
                known[(build["date"] - MONDAY).days].append(
                    (station, parts[station] * share * build["quantity"])
                )
        span = min(GOING_ON, 7 * (last // 7 + 1))
        cycle = [known[day] if day >= 0 else [] for day in range(last + 1 - span, last + 1)]
        days = known + [cycle[day % span] for day in range(AHEAD - len(known))]
        name = f"Paste {row['component'].upper()}" if len(rows["Components"]) > 1 else "Paste"
        lots = [
            Lot(each["lot"], each["quantity"], each["expiry"], each["arrival"])
            for each in rows["Stock"]
            if each["component"] == row["component"]
        ]
        found[name] = Item(
            name,
            row["container"],
            row["heel"],
            None if row["open_life"] is None else int(row["open_life"]),
            row["shelf_life"],
            lots,
            days,
        )
    return found


def _next_working(day: datetime.date) -> datetime.date:
    day = _later(day, 1)
    while day.weekday() > 4:
        day = _later(day, 1)
    return day


def check_orders(seed: int) -> None:
    """No shortage that is not named, and no order that a smaller or a later one would have served."""
    rows = random_rows(seed)
    found = forecast(make(rows), WEEKS, draws=10)
    items, lead = items_of(rows), rows["Components"][0]["lead_time"]
    table = found.tables["orders"].records()
    for order in table:
        items[order["Component"]].orders.append((order["Arrives"], order["Containers"]))
        assert order["Order by"].weekday() < 5 and order["Arrives"].weekday() < 5
        assert order["Order by"] >= MONDAY and _later(order["Order by"], lead) <= order["Arrives"]
    last = max((row["date"] - MONDAY).days for row in rows["Builds"]) + 1
    named = {(each.day, each.station, each.text.split(" runs short")[0]) for each in found.warnings}
    for item in items.values():
        short = item.short_days(last)
        if short:
            day = min(short)
            assert (_later(MONDAY, day), short[day], item.name) in named, (seed, item.name, day)
            assert _later(MONDAY, day) < _later(MONDAY, lead + 3), (seed, "an order would have come in time")
    if any(row.safety_stock for row in (view.rule for view in found.components.values())):
        return
    _check_need(seed, rows, items)


def check_called(seed: int) -> int:
    """Where open orders are called, they and the orders to place then are played again; how many are called.

    No shortage is left that an order could have covered in time, none of them is earlier than without the
    call, and the orders then are later or fewer: else the call is of no use.
    """
    rows = random_rows(seed)
    rows["Orders"] = open_orders(seed, rows)
    found = forecast(make(rows), WEEKS, draws=10)
    last = max((row["date"] - MONDAY).days for row in rows["Builds"]) + 1
    lead, items, called = rows["Components"][0]["lead_time"], items_of(rows), 0
    named = {(each.day, each.text.split(" runs short")[0]) for each in found.warnings}
    for view in found.components.values():
        item, life = items[view.name], items[view.name].shelf_days
        days = {(call.order, call.lot.arrival): call.arrival for call in view.called.calls}
        called += len(days)
        # where a call puts a shortage off the order that comes too late then says until when
        named |= {(order.short_from, view.name) for order in view.called.orders}
        for now, orders in ((False, view.orders), (True, view.called.orders or view.orders)):
            mine = replace(item, lots=list(item.lots))
            mine.orders = [(order.arrival, order.containers) for order in orders]
            for row in rows["Orders"]:
                if row["component"] == view.key[1]:
                    day = days.get((row["order"], row["arrival"]), row["arrival"]) if now else row["arrival"]
                    # what is on order keeps for its shelf life from the day that is stated
                    expiry = FOREVER if life is None else _later(row["arrival"], life)
                    mine.lots.append(Lot(f"order {row['order']}", row["quantity"], expiry, day))
            if days and now and not view.called.orders:
                mine.orders = []
            short = mine.short_days(last)
            if short:
                day = _later(MONDAY, min(short))
                assert (day, item.name) in named, (seed, item.name, day, now)
                assert day < _later(MONDAY, lead + 3), (seed, "an order would have come in time")
        if days:
            assert all(before > to for (_, before), to in days.items())
    groups = (
        [list(found.components.values())]
        if rows["Components"][0]["kit"]
        else [[view] for view in found.components.values()]
    )
    for group in groups:
        if any(view.called.calls for view in group):
            now = [order for view in group for order in view.orders]
            then = [order for view in group for order in view.called.orders]
            is_fewer = sum(order.volume for order in then) < sum(order.volume for order in now)
            soonest = [min((order.arrival for order in orders), default=FOREVER) for orders in (now, then)]
            is_late = [any(order.short_from for order in orders) for orders in (now, then)]
            assert is_fewer or soonest[0] < soonest[1] or is_late == [True, False], seed
    return called


def test_open_orders_that_are_called_are_played_again_with_the_orders_to_place_then():
    assert sum(map(check_called, range(24))) > 5


def _all_short(items, until: int) -> set[tuple[str, int]]:
    return {(item.name, day) for item in items.values() for day in item.short_days(until)}


def _check_need(seed: int, rows, items) -> None:
    """Each order a pack smaller, or two working days later, leaves a shortage before the next not placed.

    It comes on the working day before it is needed, no sooner. Orders of a kit are changed together.
    """
    is_kit = bool(rows["Components"][0]["kit"])
    groups = [list(items.values())] if is_kit else [[item] for item in items.values()]
    packs = {
        item.name: row["pack_multiple"] for item, row in zip(items.values(), rows["Components"], strict=True)
    }
    least = {
        item.name: row["minimum_order"] for item, row in zip(items.values(), rows["Components"], strict=True)
    }
    for group in groups:
        together = {item.name: item for item in group}
        if not group[0].orders:
            continue
        newest = max(arrival for arrival, _ in group[0].orders)
        after = [day for _, day in _all_short(together, AHEAD) if _later(MONDAY, day) > newest]
        until = min(after, default=AHEAD)
        now = _all_short(together, until)
        for place, (arrival, _) in enumerate(group[0].orders):
            kept = [list(item.orders) for item in group]
            for item in group:
                late = _next_working(_next_working(arrival))
                item.orders[place] = (late, item.orders[place][1])
            assert _all_short(together, until) - now, (seed, "later", arrival)
            for item, orders in zip(group, kept, strict=True):
                item.orders = list(orders)
                count = orders[place][1] - packs[item.name]
                item.orders[place] = (arrival, count)
            if all(item.orders[place][1] >= least[item.name] for item in group):
                assert _all_short(together, until) - now, (seed, "smaller", arrival)
            for item, orders in zip(group, kept, strict=True):
                item.orders = orders


@pytest.mark.parametrize("seed", range(30))
def test_orders_of_random_plans_leave_no_shortage_unnamed_and_are_no_larger_or_earlier(seed):
    check_orders(seed)


def _demo(**changed):
    """The demo, with other values in rows of Components of one material."""
    tables = {name: [dict(row) for row in rows] for name, rows in DEMO.items()}
    settings = tables.pop("Settings")[0]
    for row in tables["Components"]:
        if row["material"] == changed["material"]:
            row.update(changed)
    raws = {name: raw_table(name, rows) for name, rows in tables.items()}
    raws["Settings"] = raw_table(
        "Settings", [{"Setting": key, "Value": value} for key, value in settings.items()]
    )
    return build_plan(raws)


def test_what_an_open_container_loses_is_ordered_and_the_sheets_find_it():
    """The demo with an open life of 2 days for gasket sealant: played shift by shift as for the sheets.

    Whatever the proposals leave missing, the forecast has named; with none it would be short.
    """
    plan = _demo(material="gasket sealant", open_life=2.0)
    found = forecast(plan, 2, draws=20)
    orders = found.components["gasket sealant", "a"].orders
    assert orders and any(lot.expired for lot in found.ordered.lots["gasket sealant", "a"])
    bought = [
        StockLot(
            "gasket sealant",
            "a",
            f"order {order.number}",
            order.volume / 1e12,
            order.expiry,
            None,
            order.arrival,
            "",
            "",
            at="",
        )
        for order in orders
    ]
    own = {row.station for row in plan.stations if row.material == "gasket sealant"}
    short = {}
    for extra in ([], bought):
        played = play_plan(replace(plan, stock=[*plan.stock, *extra]), stations=own)
        short[len(extra)] = [(each.date, each.station.station) for each in played if each.missing]
    assert short[0], "without orders the sheets find nothing in store"
    named = {(each.day, each.station) for each in found.warnings if each.topic == "shortage"}
    assert not short[len(bought)] or short[len(bought)][0] in named


def test_two_stations_on_one_store_are_served_although_the_pool_would_last():
    """By hand: two containers of 1000 mL, 200 mL a day at each of two stations, each its own container.

    The pool of 2000 mL lasts five days of 400. The open life of 2 days throws away 400 of each container
    after its third day (opened on day d it may be used through d + 2): on Thursday both stations need
    another and the store is empty: more must arrive on Wednesday, the day before, ordered two days before. An
    order is for a week, and a week takes four: two on its Thursday and two on its Monday.
    """
    rows = random_rows(0)
    rows["Materials"] = [dict(material="Paste", kind="one-part")]
    rows["Components"] = [
        dict(material="Paste", component="a", density=1.0, container=1000, open_life=2, lead_time=2)
    ]
    rows["Stations"] = [
        dict(station=name, material="Paste", speed=1000, refill="in mid-bead") for name in ("one", "two")
    ]
    rows["Beads"] = [
        dict(bead=name, part="plate", station=name, section="rectangle", width=2, height=1, length=1000)
        for name in ("one", "two")
    ]
    rows["Builds"] = [
        dict(date=_later(MONDAY, day), shift="early", part="plate", quantity=100) for day in range(5)
    ]
    rows["Stock"] = [
        dict(material="Paste", component="a", lot="L1", quantity=2000, expiry=_later(MONDAY, 300))
    ]
    found = forecast(make(rows), 1, draws=10)
    assert found.components["Paste", "a"].runs_out == _later(MONDAY, 3)
    first = found.components["Paste", "a"].orders[0]
    assert (first.order_by, first.arrival) == (_later(MONDAY, 0), _later(MONDAY, 2))
    assert first.containers == 4 and not found.ordered.missing
    # with five days of lead time they come on the Saturday's Monday: named with day, station and last order
    rows["Components"][0]["lead_time"] = 5
    late = forecast(make(rows), 1, draws=10)
    told = next(each for each in late.warnings if each.topic == "shortage")
    assert (told.day, told.station) == (_later(MONDAY, 3), "one")
    assert "by Fri 2026-02-27" in told.fix and told.numbers["overdue [d]"] == 3


def test_run_out_dates_do_not_depend_on_the_weeks_that_are_looked_at():
    """By hand: 200 mL a day on working days, 2500 mL: twelve days last, the thirteenth is a Wednesday."""
    rows = random_rows(0)
    rows["Materials"] = [dict(material="Paste", kind="one-part")]
    rows["Components"] = [dict(material="Paste", component="a", density=1.0, container=500)]
    rows["Stations"] = [dict(station="press", material="Paste", speed=1000, refill="in mid-bead", scrap=0.01)]
    rows["Beads"] = [
        dict(bead="x", part="plate", station="press", section="rectangle", width=2, height=1, length=1000)
    ]
    rows["Builds"] = [
        dict(date=_later(MONDAY, 7 * week + day), shift="early", part="plate", quantity=99)
        for week in range(6)
        for day in range(5)
    ]
    rows["Stock"] = [
        dict(material="Paste", component="a", lot="L1", quantity=2500, expiry=_later(MONDAY, 300))
    ]
    plan = make(rows)
    plan.settings["demand_spread"] = 0.2
    told = {}
    for weeks in (1, 2, 3, 6):
        found = forecast(plan, weeks, draws=50)
        row = found.tables["components"].records()[0]
        told[weeks] = (row["Runs out"], row["After builds"])
        if weeks > 2:
            told["early", weeks] = row["10 % risk by"]
    assert set(told[weeks] for weeks in (1, 2, 3, 6)) == {(_later(MONDAY, 16), None)}
    assert told["early", 3] == told["early", 6] is not None


def _easter(year: int) -> datetime.date:
    """Easter Sunday by the anonymous Gregorian algorithm (Meeus, Astronomical Algorithms; from memory)."""
    a, b, c = year % 19, year // 100, year % 100
    d, e = divmod(b, 4)
    f = (8 * b + 13) // 25
    h = (19 * a + b - d - f + 15) % 30
    i, k = divmod(c, 4)
    m = (a + 11 * h) // 319
    r = (2 * e + 2 * i - k - h + m + 32) % 7
    month = (h - m + r + 90) // 25
    return datetime.date(year, month, (h - m + r + month + 19) % 32)


def test_orders_fall_on_working_days_of_the_plan_and_of_its_country():
    rows = random_rows(0)
    rows["Holidays"] = [dict(date="2026-03-05", name="works outing")]
    plan = make(rows)
    work = work_days(plan)
    assert work.before(datetime.date(2026, 3, 5)) == datetime.date(2026, 3, 4)
    assert work.after(datetime.date(2026, 3, 5)) == datetime.date(2026, 3, 6)
    plan.settings["country"] = "DE"
    work, easter = work_days(plan), _easter(2026)
    assert easter == datetime.date(2026, 4, 5)
    for closed in (_later(easter, -2), _later(easter, 1), _later(easter, 39), datetime.date(2026, 5, 1)):
        assert work.before(closed) < closed < work.after(closed)
    assert work.before(_later(easter, 1)) == _later(easter, -3)  # over Good Friday and the weekend
    assert work.after(datetime.date(2026, 1, 6)) == datetime.date(2026, 1, 6)
    plan.settings["country"] = "DE-BY"  # Epiphany is a holiday there, not in all of the country
    assert work_days(plan).after(datetime.date(2026, 1, 6)) == datetime.date(2026, 1, 7)
    plan.settings["country"] = "Atlantis"
    with pytest.raises(InputError, match="ISO 3166-1"):
        work_days(plan)


def test_the_components_of_a_kit_are_ordered_together():
    rows = random_rows(0)
    rows["Materials"] = [dict(material="Paste", kind="two-part", ratio_a=1, ratio_b=1)]
    rows["Components"] = [
        dict(material="Paste", component=letter, density=1.0, container=size, lead_time=3, kit="set")
        | dict(pack_multiple=packs)
        for letter, size, packs in (("a", 500, 2), ("b", 200, 5))
    ]
    rows["Stock"] = [
        dict(material="Paste", component=letter, lot=letter, quantity=1000, expiry=_later(MONDAY, 300))
        for letter in "ab"
    ]
    found = forecast(make(rows), WEEKS, draws=10)
    a, b = (found.components["Paste", letter].orders for letter in "ab")
    assert a and len(a) == len(b)
    for one, other in zip(a, b, strict=True):
        assert (one.order_by, one.arrival, one.kit) == (other.order_by, other.arrival, "set")
        assert one.containers * 5 == other.containers * 2 and one.containers % 2 == 0


def test_the_stock_follows_counts_and_receipts_of_the_journal():
    """By hand: 4 counted full containers of 250 mL, 2 kg at 1.25 g/mL are 1600 mL; later receipts add."""
    rows = random_rows(0)
    rows["Materials"] = [dict(material="Paste", kind="one-part")]
    rows["Components"] = [dict(material="Paste", component="a", density=1.25, container=250, shelf_life=30)]
    rows["Stock"] = [
        dict(material="Paste", component="a", lot=lot, quantity=100, expiry="2026-12-31", arrival=arrival)
        for lot, arrival in (("L1", None), ("L2", None), ("L3", "2026-03-20"), ("L4", None))
    ]
    plan = make(rows)

    def entry(kind, day, lot, **amount):
        return Entry(kind, f"{kind} {day} {lot}", day=day, material="Paste", component="a", lot=lot, **amount)

    entries = [
        entry(COUNTED, "2026-03-02", "L1", count=9),  # an older count
        entry(COUNTED, "2026-03-04", "L1", count=4),
        entry(RECEIVED, "2026-03-03", "L1", count=7),  # is in the count of the day after
        entry(RECEIVED, "2026-03-05", "L1", count=1),
        entry(COUNTED, "2026-03-04", "L2", value=2.0, unit="kg"),
        entry(RECEIVED, "2026-03-05", "L3", value=300.0, unit="mL"),  # came before its day
        entry(RECEIVED, "2026-03-05", "L5", count=2),  # the plan knows nothing of it
        entry(COUNTED, "2026-03-05", "", count=2),
        entry(COUNTED, "2026-03-09", "L4", count=8),  # after today
    ]
    found = counted_stock(plan, entries, datetime.date(2026, 3, 6))
    stock = {row.lot: (round(row.quantity * 1e6, 6), row.arrival) for row in found.plan.stock}
    assert stock == {
        "L1": (1250.0, None),
        "L2": (1600.0, None),
        "L3": (300.0, None),
        "L4": (100.0, None),
        "L5": (500.0, None),
    }
    assert next(row.expiry for row in found.plan.stock if row.lot == "L5") == datetime.date(2026, 4, 4)
    assert (
        found.words == "Stock by the journal: 2 lots as counted, the last on 2026-03-04, 3 receipts booked."
    )
    assert [each.day for each in found.without_lot] == ["2026-03-05"]
    assert counted_stock(plan, []).words == "" and counted_stock(plan, []).plan.stock == plan.stock


def test_a_forecast_begins_with_what_was_counted(tmp_path, capsys):
    rows = random_rows(0)
    rows["Stock"] = [dict(material="Paste", component="a", lot="L1", quantity=9000, expiry="2027-12-31")]
    rows["Materials"] = [dict(material="Paste", kind="one-part")]
    rows["Components"] = [dict(material="Paste", component="a", density=1.25, container=250)]
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in {**rows, "Settings": [{"Setting": "plant", "Value": "Works"}]}.items():
        sheet = book.create_sheet(name)
        headers = list(dict.fromkeys(key for row in table for key in row))
        sheet.append(headers)
        for row in table:
            sheet.append([row.get(header) for header in headers])
    book.save(tmp_path / "plan.xlsx")
    plain = forecast_file(tmp_path / "plan.xlsx", weeks=1, draws=10, what_if=False)
    assert not plain.stock_from
    (tmp_path / "count.csv").write_text(
        "what,date,material,component,lot,containers\ncounted,2026-03-01,Paste,A,L1,3\n"
    )
    book_files(tmp_path / "plan.xlsx", [tmp_path / "count.csv"])
    found = forecast_file(tmp_path / "plan.xlsx", weeks=1, draws=10, what_if=False)
    assert found.headline()[-1] == "Stock by the journal: 1 lot as counted, the last on 2026-03-01."
    assert found.tables["components"].records()[0]["In stock [mL]"] == 750.0
    assert found.as_json()["stock_from"] == found.stock_from


# ----------------------------------------------------------------------------------- why this many


def steady(plates: int = 1, **component):
    """100 mL of a paste on each working day of four weeks, from an empty store: 500 mL in seven days."""
    length = 50_000 * plates  # × 2 mm × 1 mm = 100 mL
    return {
        "Materials": [dict(material="Paste", kind="one-part", ratio_a=1)],
        "Components": [
            dict(material="Paste", component="a", density=1.0, container=100, lead_time=2) | component
        ],
        "Parts": [dict(part="plate")],
        "Beads": [
            dict(bead="rim", part="plate", station="press", section="rectangle", width=2, height=1)
            | dict(length=length)
        ],
        "Stations": [dict(station="press", material="Paste", speed=10000, refill="in mid-bead")],
        "Shifts": [dict(shift="early", start="06:00", end="14:00")],
        "Builds": [
            dict(date=_later(MONDAY, 7 * week + day), shift="early", part="plate", quantity=1)
            for week in range(WEEKS)
            for day in range(5)
        ],
        "Stock": [dict(material="Paste", component="a", lot="L1", quantity=1000, expiry=_later(MONDAY, 400))],
    }


def _whys(rows) -> list[tuple[int, str]]:
    found = forecast(make(rows), WEEKS, draws=10)
    assert {row["Order [containers]"] for row in found.tables["reorder"].records()} <= {5, 7, 8}
    return [(row["Containers"], row["Why this many"]) for row in found.tables["orders"].records()]


def test_an_order_says_why_it_is_not_the_reorder_quantity():
    """Seven days of use are 5 containers of 100 mL; a pack of 4 makes 8 of them, a minimum asks for more."""
    assert all(count == 5 and why == "" for count, why in _whys(steady()))
    for count, why in _whys(steady(pack_multiple=4)):
        assert count == 8 and why == ""  # the rule knows packs
    for count, why in _whys(steady(minimum_order=7)):
        assert count == 7 and why == ""  # the rule knows the minimum
    assert all("minimum" not in why for _, why in _whys(steady(minimum_order=7, pack_multiple=4)))
    # twice the use in the last two weeks, which go on: 200 against 150 mL a day on the mean, so that the 8
    # containers of the mean's seven days become 8 × 4/3 = 10.7; 10 last as long, to the morning of a Monday
    growing = steady()
    for row in growing["Builds"][10:]:
        row["quantity"] = 2
    # the first comes on the Friday before, of 100 mL: 100 + 10 × 200 + 11 × 2000/14 mL in 28 days, 131 a day
    (count, why), *later = _whys(growing)
    assert count == 10 and why.endswith("asks for 10")
    for count, why in later:
        assert count == 10 and "the use of the 28 days from its arrival on asks for 11" in why
        assert "11 would last no longer, until Mon" in why


# ------------------------------------------------------------------------------------ kits, phase-out


def kit_of(a: float, b: float, heel: float = 0.0, packs: int = 1):
    """100 mL of A and 100 mL of B on each working day, bought together in containers of a and b mL."""
    rows = steady()
    rows["Materials"] = [dict(material="Paste", kind="two-part", ratio_a=1, ratio_b=1)]
    rows["Beads"][0] |= dict(length=100_000)
    rows["Components"] = [
        dict(material="Paste", component=letter, density=1.0, container=size, heel=heel, kit="set")
        | dict(lead_time=2, price=size / 10, pack_multiple=packs)
        for letter, size in (("a", a), ("b", b))
    ]
    rows["Stock"] = [
        dict(material="Paste", component=letter, lot=letter, quantity=1000, expiry=_later(MONDAY, 400))
        for letter in "ab"
    ]
    return rows


def _of_kits(rows):
    found = forecast(make(rows), WEEKS, draws=10)
    orders = found.components["Paste", "a"].orders
    return [each for each in found.findings if each.topic == "kit"], sum(each.containers for each in orders)


def test_what_is_left_over_of_a_kit_is_named_and_priced():
    """Of 500 mL of A and 400 of B used one to one, 100 mL of A are left; at 0.1 a millilitre that is 10."""
    (told,), count = _of_kits(kit_of(500, 400))
    assert told.component == "a" and told.is_warning and count > 0
    assert told.numbers["left over [mL]"] == pytest.approx(100, rel=1e-6)
    assert told.numbers["worth"] == pytest.approx(10, rel=1e-6) and told.numbers["kits"] == count
    assert "100 mL Paste A of each (10) are left over" in told.text and "Paste B is used up" in told.text
    (told,), _ = _of_kits(kit_of(400, 410))  # 10 of 410 mL of B: worth knowing, no warning
    assert told.component == "b" and not told.is_warning
    assert told.numbers["left over [mL]"] == pytest.approx(10, rel=1e-6)
    assert _of_kits(kit_of(400, 400))[0] == []


def test_of_a_kit_in_packs_heels_are_no_rest():
    """Two cans of 500 and two of 400 mL a kit, of which a tenth stays: 2 × 0.9 × 100 = 180 mL of A."""
    (told,), count = _of_kits(kit_of(500, 400, heel=0.1, packs=2))
    assert told.numbers["left over [mL]"] == pytest.approx(180, rel=1e-6)
    assert told.numbers["kits"] == count / 2


def ending(**component):
    """A paste of 100 mL a working day in cans of 250 mL, from which the press changes after two weeks."""
    rows = steady(**dict(container=250, price=25) | component)
    rows["Materials"].append(dict(material="Next", kind="one-part", ratio_a=1))
    rows["Components"].append(dict(material="Next", component="a", density=1.0, container=5000))
    rows["Stock"] = [
        dict(material="Paste", component="a", lot="L1", quantity=250, expiry=_later(MONDAY, 400)),
        dict(material="Next", component="a", lot="N1", quantity=5000, expiry=_later(MONDAY, 400)),
    ]
    rows["Validity"] = [dict(station="press", what="material", value="Next", valid_from=_later(MONDAY, 14))]
    return rows


@pytest.mark.parametrize(
    ("component", "left", "smaller", "how"),
    [
        # ten days of 100 mL from 250 mL: 750 mL more, in a pack of six 1500; singly three cans, all used up
        (dict(pack_multiple=6), 750, 0, "bought singly"),
        (dict(minimum_order=4), 250, 0, "bought singly"),
    ],
)
def test_the_last_order_says_what_a_smaller_pack_would_leave(component, left, smaller, how):
    found = forecast(make(ending(**component)), WEEKS, draws=10)
    out = found.components["Paste", "a"].phase_out
    assert out.last_use == _later(MONDAY, 11) and out.left == pytest.approx(left * 1e6, rel=1e-6)
    assert out.smaller.left == pytest.approx(smaller * 1e6, abs=1) and out.cost == pytest.approx(left / 10)
    (told,) = [each for each in found.findings if each.topic == "phase-out"]
    assert f"{left} mL left over" in told.text and f"; {how} " in told.text


def test_where_cans_come_singly_a_smaller_can_is_reckoned():
    """Beside the 400 mL in store 600 are used: two cans of 400 mL leave 200 mL, three of 200 mL nothing."""
    rows = ending(container=400)
    rows["Stock"][0] |= dict(quantity=400)
    found = forecast(make(rows), WEEKS, draws=10)
    out = found.components["Paste", "a"].phase_out
    assert out.left == 200 * 10**6 and out.smaller.left == 0
    (told,) = [each for each in found.findings if each.topic == "phase-out"]
    assert "; in containers of 200 mL nothing" in told.text


# ------------------------------------------------------- what is used for a part of the weeks only


def starting(weeks: int = 13, **component):
    """100 mL of a paste a working day, from the fifth week on; three weeks of lead time."""
    rows = steady(**dict(lead_time=21) | component)
    rows["Settings"] = [dict(setting="demand_spread", value=0.2)]
    rows["Materials"].append(dict(material="Before", kind="one-part", ratio_a=1))
    rows["Components"].append(dict(material="Before", component="a", density=1.0, container=5000))
    rows["Stations"][0]["material"] = "Before"
    rows["Stock"] = [
        dict(material="Before", component="a", lot="B1", quantity=5000, expiry=_later(MONDAY, 400))
    ]
    rows["Validity"] = [dict(station="press", what="material", value="Paste", valid_from=_later(MONDAY, 28))]
    rows["Builds"] = [
        dict(date=_later(MONDAY, 7 * week + day), shift="early", part="plate", quantity=1)
        for week in range(weeks)
        for day in range(5)
    ]
    return rows


@pytest.mark.parametrize("weeks", [4, 6, 9, 13])
def test_what_phases_in_is_ordered_for_its_first_use_however_many_weeks_are_seen(weeks):
    """500 mL a week are 71.43 mL a day of use, whether two weeks of it are seen, nine or none yet.

    The first use is on Monday of the fifth week: it comes on the Friday before, day 25, and is ordered 21
    days before that, on day 4, for a week: 5 containers of 100 mL. The safety stock is z·√L·σ, σ = 0.2·100
    on five of seven days, 1.645·√21·20·√(5/7) = 127 mL, within 10 % (500 runs); it is kept from that day on.
    """
    found = forecast(make(starting()), weeks, draws=500)
    view = found.components["Paste", "a"]
    first = view.orders[0]
    assert (first.order_by, first.arrival) == (_later(MONDAY, 4), _later(MONDAY, 25))
    assert not first.late_days and not any(each.topic == "order overdue" for each in found.findings)
    assert view.rule.daily_use * 1e6 == pytest.approx(500 / 7, rel=0.03)
    assert view.rule.safety_stock * 1e6 == pytest.approx(127, rel=0.1)
    assert view.rule.reorder_point * 1e6 == pytest.approx(1500 + 127, rel=0.03)
    assert first.containers == 5
    assert not any(each.topic == "phase" for each in found.findings if each.material == "Paste")


@pytest.mark.parametrize("weeks", [4, 6, 9])
def test_the_mean_of_what_phases_out_is_that_of_its_days(weeks):
    """Twelve days of use from Monday to the Friday a week later: 1000 mL in 12 days, whatever is seen."""
    rows = ending()
    rows["Builds"] += [dict(row, date=_later(row["date"], 28)) for row in rows["Builds"]]
    rows["Builds"] += [dict(row, date=_later(row["date"], 56)) for row in rows["Builds"][:20]]
    rule = forecast(make(rows), weeks, draws=10).components["Paste", "a"].rule
    assert rule.daily_use * 1e6 == pytest.approx(1000 / 12, rel=1e-6)
    assert rule.reorder_point * 1e6 == pytest.approx(2 * 1000 / 12, rel=1e-6)


def test_use_of_a_day_or_two_is_a_mean_over_the_lead_time():
    """300 mL on one day of four weeks, lead time 10 days: no more than these 300 mL is a reorder point."""
    rows = steady(lead_time=10)
    rows["Parts"].append(dict(part="cap"))
    rows["Materials"].append(dict(material="Rare", kind="one-part", ratio_a=1))
    rows["Components"].append(dict(material="Rare", component="a", density=1.0, container=100, lead_time=10))
    rows["Stations"].append(dict(station="hand", material="Rare", speed=10000, refill="in mid-bead"))
    rows["Beads"].append(dict(rows["Beads"][0], bead="cap", part="cap", station="hand", length=150_000))
    rows["Builds"].append(dict(date=_later(MONDAY, 9), shift="early", part="cap", quantity=1))
    rule = forecast(make(rows), WEEKS, draws=10).components["Rare", "a"].rule
    assert rule.reorder_point * 1e6 == pytest.approx(300, rel=1e-6)


def test_what_opened_containers_lose_is_in_the_reorder_point_and_in_the_cover():
    """Cans of 1000 mL that keep open for one day, 100 mL a working day: of each 200 mL are used.

    Monday and Tuesday share one, Wednesday and Thursday one, Friday has its own, thrown away with 900 mL on
    Monday: three cans for 500 mL, 2500 of 3000 mL lost. So a week takes 3000 mL, a day 428.6, seven days of
    lead time 3000; and 3000 mL in store last 7 days. Of fresh cans for ever 5 × what is drawn is lost.
    """
    rows = steady(container=1000, open_life=1, lead_time=7)
    rows["Stock"][0]["quantity"] = 3000
    found = forecast(make(rows), WEEKS, draws=10)
    rule = found.components["Paste", "a"].rule
    assert found.components["Paste", "a"].opened_loss == pytest.approx(5, rel=0.02)  # the last can is open
    assert rule.daily_use * 1e6 == pytest.approx(3000 / 7, rel=0.02)
    assert rule.reorder_point * 1e6 == pytest.approx(3000, rel=0.02)
    assert rule.order == 3
    cover = found.tables["cover"].rows[0][1]
    assert cover == pytest.approx(2900 / (3000 / 7), rel=0.02)
    assert found.components["Paste", "a"].runs_out == _later(MONDAY, 7)


# ---------------------------------------------------------------------------- the day before, the kit


@pytest.mark.parametrize(
    ("shelf_life", "arrival"),
    [(None, 11), (12, 11), (11, 14)],  # three days of 12 are a quarter of it, of 11 they are more
)
def test_nothing_is_due_on_the_very_morning_of_its_use(shelf_life, arrival):
    """Ten days of 100 mL are in store: on Monday, day 14, the press has none; Friday is the day before."""
    rows = steady(shelf_life=shelf_life)
    order = forecast(make(rows), WEEKS, draws=10).components["Paste", "a"].orders[0]
    assert order.arrival == _later(MONDAY, arrival) and not order.late_days


def test_an_order_that_can_only_come_on_the_morning_is_not_late():
    """Empty on Thursday, day 3, and today is Monday: with three days of lead time it comes that morning."""
    rows = steady(lead_time=3)
    rows["Stock"][0]["quantity"] = 300
    found = forecast(make(rows), WEEKS, draws=10)
    order = found.components["Paste", "a"].orders[0]
    assert (order.order_by, order.arrival, order.late_days) == (MONDAY, _later(MONDAY, 3), 0)
    assert not found.ordered.runs_out


def test_a_kit_has_one_order_quantity():
    """Harris (1913), by hand: one order cost, and what it costs to hold all that a kit is made of.

    100 mL each of A and B a working day are 71.43 a calendar day and 26,071 a year; a kit of a can of
    500 mL and one of 400: 65.18 kits a year by B. With K = 50, 20 % a year of 50 + 40 for a kit, h = 18:
    √(2·50·65.18/18) = 19.03 kits. Apart A would be √(2·50·52.14/10) = 22.8 cans and B √(2·50·65.18/8) = 28.5.
    """
    rows = kit_of(500, 400)
    rows["Settings"] = [dict(setting="order_cost", value=50), dict(setting="holding_rate", value=0.2)]
    found = forecast(make(rows), WEEKS, draws=10)
    a, b = (found.components["Paste", letter].rule for letter in "ab")
    kits = math.sqrt(2 * 50 * (500 / 7 * 365 / 400) / 18)
    assert a.economic_order * 1e6 == pytest.approx(500 * kits, rel=1e-6)
    assert b.economic_order * 1e6 == pytest.approx(400 * kits, rel=1e-6)
    assert kits == pytest.approx(19.03, abs=0.005) and a.order == b.order == 19
    # cost of a year by hand: K·D/Q + h·Q/2, at its least
    costs = {count: 50 * 65.18 / count + 18 * count / 2 for count in range(10, 40)}
    assert min(costs, key=costs.__getitem__) == 19


def test_a_kit_is_no_more_than_each_of_its_components_keeps():
    """B keeps for 28 days: 2000 mL of it are used then, five cans of 400 mL; so no more than five of A."""
    rows = kit_of(500, 400)
    rows["Settings"] = [dict(setting="order_cost", value=50), dict(setting="holding_rate", value=0.2)]
    rows["Components"][1]["shelf_life"] = 28
    found = forecast(make(rows), WEEKS, draws=10)
    assert [found.components["Paste", letter].rule.order for letter in "ab"] == [5, 5]


def test_the_reorder_quantity_is_in_whole_packs():
    """Five containers of 100 mL a week in packs of 4 are 8; an order says what is asked for in packs too."""
    rows = steady(pack_multiple=4)
    found = forecast(make(rows), WEEKS, draws=10)
    assert found.components["Paste", "a"].rule.order == 8
    growing = steady(pack_multiple=4)
    for row in growing["Builds"][10:]:
        row["quantity"] = 3
    found = forecast(make(growing), WEEKS, draws=10)
    words = [row["Why this many"] for row in found.tables["orders"].records() if row["Why this many"]]
    asked = [int(match[1]) for text in words if (match := re.search(r"asks for (\d+)", text))]
    assert asked and all(count % 4 == 0 for count in asked) and "in packs of 4" in words[0]


def test_every_station_that_runs_short_is_named_with_its_day_and_shift():
    """Two stations, 200 mL a day each, early and late; two cans of 1000 mL that keep open for two days.

    By hand as above: both cans are thrown away after Wednesday; the delivery comes five days from Monday on.
    On Thursday the early press needs another can, and the late twin its own: each draws 200 mL on Thursday
    and on Friday out of what is not there, 800 mL in two cans.
    """
    rows = steady(container=1000, open_life=2, lead_time=7)
    rows["Stations"].append(dict(rows["Stations"][0], station="twin"))
    rows["Shifts"].append(dict(shift="late", start="14:00", end="22:00"))
    rows["Parts"].append(dict(part="cap"))
    rows["Beads"] = [
        dict(rows["Beads"][0], length=100_000),
        dict(rows["Beads"][0], bead="top", part="cap", station="twin", length=100_000),
    ]
    rows["Builds"] = [
        dict(date=_later(MONDAY, day), shift=shift, part=part, quantity=1)
        for day in range(5)
        for shift, part in (("early", "plate"), ("late", "cap"))
    ]
    rows["Stock"][0]["quantity"] = 2000
    found = forecast(make(rows), 1, draws=10)
    told = next(each for each in found.warnings if each.topic == "shortage")
    assert (told.day, told.station, told.shift) == (_later(MONDAY, 3), "press", "early")
    assert "800 mL (2 containers) lacking by 2026-03-06" in told.text.replace("\u202f", " ")
    assert told.text.endswith("; then at twin from Thu 2026-03-05 late")
    short = [row for row in found.tables["decisions"].rows if row[2] == "runs short"]
    assert [(row[1], row[5].split(";")[0]) for row in short] == [
        (_later(MONDAY, 3), "at press, early"),
        (_later(MONDAY, 3), "at twin, late"),
    ]


def test_what_changing_over_earlier_or_later_would_leave():
    """250 mL in store and a pack of six cans of 250, 100 mL a working day for ten days: 750 mL are left.

    Without the pack the 250 mL last until Tuesday, day 1, with 50 mL left; with it 1750 mL are 17 working
    days, seven more after day 11: until day 22, with 50 mL left.
    """
    found = forecast(make(ending(pack_multiple=6)), WEEKS, draws=10)
    out = found.components["Paste", "a"].phase_out
    assert out.earlier is not None and out.later is not None
    assert out.earlier.last_use == _later(MONDAY, 1) and out.later.last_use == _later(MONDAY, 22)
    for other in (out.earlier, out.later):
        assert other.left == pytest.approx(50e6, abs=10)
    (told,) = [each for each in found.findings if each.topic == "phase-out"]
    text = told.text.replace("\u202f", " ")
    assert f"without that order it lasts until {_later(MONDAY, 1)}, 50 mL would be left then" in text
    assert f"at this pace it lasts until {_later(MONDAY, 22)}, 50 mL would be left then" in text


def test_what_of_open_orders_may_be_cut_is_named():
    """500 mL in store, 1000 to use; four cans and six of 250 mL on order: 500 mL of them are needed.

    The later order goes whole, and of the first two of four cans stay.
    """
    rows = ending()
    rows["Stock"][0]["quantity"] = 500
    rows["Orders"] = [
        dict(order=name, material="Paste", component="a", quantity=count * 250, arrival=_later(MONDAY, day))
        for name, count, day in (("PO 1", 4, 2), ("PO 2", 6, 8))
    ]
    found = forecast(make(rows), WEEKS, draws=10)
    out = found.components["Paste", "a"].phase_out
    assert [(cut.order, cut.containers) for cut in out.cuts] == [("PO 2", 6), ("PO 1", 2)]
    (told,) = [each for each in found.findings if each.topic == "phase-out"]
    assert "; 6 of open order PO 2 may be cut; 2 of open order PO 1 may be cut" in told.text
    assert out.later is not None  # 3000 mL are 30 working days, 20 after day 11
    assert (out.later.last_use, out.later.left) == (_later(MONDAY, 39), 0)


def test_a_container_that_never_came_leaves_no_rest():
    """150 mL in store, 500 mL to use and no order in time: 350 mL are lacking, no rest is left."""
    rows = steady(container=1000, lead_time=30)
    rows["Stock"][0]["quantity"] = 150
    found = forecast(make(rows), 1, draws=10)
    (missing,) = [row for row in found.tables["lots"].records() if row["Lot"] == "missing"]
    assert missing["Used [mL]"] == missing["Received [mL]"] == pytest.approx(350, rel=1e-6)
    assert missing["Closing [mL]"] == missing["Balance [mL]"] == 0


def test_an_order_says_how_much_of_it_grows_too_old():
    """100 mL a working day, 20 cans of 100 mL at least, good for 10 days from a Friday on: to Monday, day 21.

    They come on Monday, day 14, of which ten days are too few for a day before, and last to day 24: nine
    days of work, 900 mL; 1100 of 2000 mL are thrown away.
    """
    rows = steady(shelf_life=10, minimum_order=20)
    order = forecast(make(rows), WEEKS, draws=10).components["Paste", "a"].orders[0]
    assert (order.arrival, order.expiry) == (_later(MONDAY, 14), _later(MONDAY, 24))
    assert order.note.replace("\u202f", " ") == (
        "1.10 L of its 2.00 L would be past their last day before they are used"
    )
