"""Whole plans over the physical range: what must hold whatever the figures are.

Each property is a law and not a figure of our own: amounts add, heat speeds chemistry up, a unit or
the order of rows says nothing about the plant, nothing is lost between opening and closing stock,
density turns volumes into masses and does nothing else.
"""

from __future__ import annotations

import copy
import datetime
import itertools
import math
import random
from dataclasses import fields, is_dataclass
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plans import MONDAY, hand_rows, make

from dispense.base.errors import InputError
from dispense.base.units import unit_factor
from dispense.handbook.life import GAS_CONSTANT
from dispense.plan.build import read_plan
from dispense.plan.demo import DEMO
from dispense.plan.materials import MILESTONES, cure_life, working_life
from dispense.plan.records import Plan, RawTable
from dispense.plan.tables import BY_NAME, TABLES
from dispense.sheets.board import cure_board_content
from dispense.sheets.check import shot_check_content
from dispense.sheets.material import shift_material_content
from dispense.sheets.results import results_content
from dispense.sheets.setup import station_setup_content
from dispense.sheets.spec import Content
from dispense.sheets.staging import staging_content
from dispense.shift.play import play_plan, play_shift
from dispense.shift.results import CATEGORIES
from dispense.shift.setup import setup_card, station_parts
from dispense.shift.store import Store

few = settings(max_examples=25, deadline=None)


@st.composite
def plants(draw) -> dict[str, list[dict[str, Any]]]:
    """A station with beads, pots and joints of two parts, two shifts, breaks, stock of some lots."""
    number = lambda low, high: draw(st.floats(low, high))  # noqa: E731
    rows = hand_rows()
    rows["Materials"][0].update(
        ratio_a=number(0.1, 10),
        ratio_b=number(0.1, 10),
        ratio_basis=draw(st.sampled_from(("volume", "mass"))),
        pot_life=number(3, 600),
        halving_step=number(5, 20),
        open_time=number(2, 300),
        activation_energy=draw(st.none() | st.floats(20, 120)),
        shrinkage=number(0, 0.2),
    )
    for row, letter in zip(rows["Components"], "ab", strict=True):
        row.update(
            density=number(0.8, 3.5),
            container=number(40, 20_000),
            heel=number(0, 0.4),
            open_life=draw(st.none() | st.floats(0.5, 60)),
            component=letter,
        )
    rows["Parts"] = [dict(part="frame"), dict(part="tray")]
    rows["Beads"] = [
        dict(
            bead="hem",
            part="frame",
            station="hem",
            section=draw(st.sampled_from(("rectangle", "round", "half-round", "triangle"))),
            width=number(0.5, 20),
            height=number(0.5, 15),
            width_tolerance=0.1,
            length=number(10, 4000),
            length_tolerance=1,
        )
    ]
    rows["Pots"] = [
        dict(
            pot="well",
            part="tray",
            station="hem",
            shape="box",
            length=number(20, 300),
            width=number(20, 300),
            depth=60,
            level=number(2, 60),
            level_tolerance=0.2,
            count=draw(st.integers(1, 3)),
        )
    ]
    if draw(st.booleans()):
        rows["Shots"] = [
            dict(part="tray", pot="well", shot=1, portion=0.4),
            dict(part="tray", pot="well", shot=2, portion=0.6, wait=number(0.1, 900)),
        ]
    rows["Joints"] = [
        dict(
            joint="pad",
            part="frame",
            station="hem",
            length=number(5, 200),
            width=number(5, 200),
            gap=number(0.05, 2),
            start_gap=4,
        )
    ]
    rows["Stations"][0].update(
        speed=number(5, 400),
        flow=number(0.5, 200),
        mixer_volume=number(0, 60),
        scrap=number(0, 0.3),
        purge_share=number(0.1, 1),
        purge_volume=number(0, 80),
        purge_time=number(0, 30),
        rule=draw(st.sampled_from(("purge", "change mixer"))),
        mixer_time=number(0, 120),
        container_time=number(0, 300),
        hose_a=number(0, 300),
        hose_b=number(0, 300),
        checks=number(0, 6),
        takt=draw(st.none() | st.floats(20, 900)),
        shop_temperature=number(5, 40),
        meter_tolerance=number(0, 0.05),
        record=draw(st.sampled_from(("", "day"))),
        refill=draw(st.sampled_from(("between parts", "in mid-bead"))),
        after_run=draw(st.sampled_from(("throw away", "keep closed"))),
        idle=draw(st.sampled_from(("cheaper", "purge", "take off"))),
        nozzles=draw(st.sampled_from((1, 1, 2, 3))),
    )
    rows["Temperatures"] = [
        dict(record="day", time="06:00", temperature=number(5, 35)),
        dict(record="day", time="10:00", temperature=number(5, 35)),
        dict(record="day", time="16:00", temperature=number(5, 35)),
    ]
    rows["Shifts"].append(dict(shift="late", start="14:00", end="22:00"))
    rows["Breaks"] += [dict(shift="late", start="17:00", end="17:45")]
    rows["Builds"] = [
        dict(
            date=MONDAY + datetime.timedelta(days=day),
            shift=shift,
            part=part,
            quantity=draw(st.integers(0, 40)),
        )
        for day in range(2)
        for shift in ("early", "late")
        for part in ("frame", "tray")
    ]
    rows["Stock"] = [
        dict(
            material="Bond 60",
            component=letter,
            lot=f"{letter}{place}",
            quantity=number(0, 40_000),
            expiry=MONDAY + datetime.timedelta(days=draw(st.integers(0, 9))),
        )
        for letter in "ab"
        for place in range(draw(st.integers(1, 4)))
    ]
    return rows


def played(plan: Plan) -> list:
    """Every shift; a plant whose material ages faster than it can be purged is refused, and passed over."""
    try:
        return list(play_plan(plan))
    except InputError as error:
        assume("reaches its limit faster than" not in str(error))
        raise


def close(one: Any, other: Any, relative: float = 1e-12, path: str = "") -> None:
    """Two results alike: numbers to `relative`, all else exactly."""
    if is_dataclass(one) and not isinstance(one, type):
        for item in fields(one):
            if item.name not in ("at", "_cache", "letters"):
                close(getattr(one, item.name), getattr(other, item.name), relative, f"{path}.{item.name}")
    elif isinstance(one, dict):
        assert list(one) == list(other), path
        for key, value in one.items():
            close(value, other[key], relative, f"{path}[{key!r}]")
    elif isinstance(one, list | tuple):
        assert len(one) == len(other), path
        for place, (first, second) in enumerate(zip(one, other, strict=True)):
            close(first, second, relative, f"{path}[{place}]")
    elif isinstance(one, float):
        assert math.isclose(one, other, rel_tol=relative, abs_tol=1e-15), (path, one, other)
    elif not hasattr(one, "__slots__") or isinstance(one, str | int | datetime.date):
        assert one == other, (path, one, other)


# ----------------------------------------------------------------------------------------- balance


@few
@given(plants())
def test_the_balance_of_every_component_closes(rows):
    """Mass is conserved: what the store loses is what the shifts used and what stands at stations."""
    plan = make(rows)
    results = played(plan)
    store = Store.of(plan)
    for letter in "ab":
        given_out = sum(result.mounted[letter] for result in results)
        used = sum(result.drawn(letter) for result in results)
        last = results[-1].closing[letter] if results else 0
        assert given_out == used + last
        missing = sum(result.missing.get(letter, 0) for result in results)
        stock = sum(lot.left for lot in store.lots[("Bond 60", letter)])
        assert given_out - missing <= stock
        for before, after in itertools.pairwise(results):
            assert after.opening[letter] == before.closing[letter]
    for result in results:
        for letter in "ab":
            assert result.balance(letter) == 0
            assert set(result.used[letter]) == set(CATEGORIES)
            assert min(result.used[letter].values()) >= 0
            assert 0 <= result.hoses[letter] <= result.closing[letter]
        for job in result.jobs:
            assert job.begun + job.taken == job.finished + job.scrapped + job.lost + job.carried
            assert job.begun <= job.started and job.own_finished <= job.asked


@few
@given(plants())
def test_no_part_vanishes(rows):
    """What is begun is good, scrapped, lost or handed over, and what is handed over is taken over: part by
    part, from the first shift to the last."""
    results = played(make(rows))
    waiting = {"frame": 0, "tray": 0}
    begun, ended = 0, 0
    for result in results:
        for job in result.jobs:
            assert job.taken == waiting[job.part]
            waiting[job.part] = job.carried
            begun += job.begun
            ended += job.finished + job.scrapped + job.lost
            shot = sum(item.amount.nominal for item in job.applications)
            if not (job.taken or job.carried or job.lost):
                assert job.on_parts.nominal == pytest.approx(job.finished * shot)
        handed = sum(row.count for row in result.handed_over if row.what.startswith("half done"))
        assert handed == sum(job.carried for job in result.jobs)
    assert begun == ended + sum(waiting.values())
    for before, after in itertools.pairwise(results):
        for one, other in zip(before.handed_over, after.taken_over, strict=True):
            too_old = ", too old: throw away"  # its last day may be the one that ends in between
            assert (one.what.removesuffix(too_old), one.part, one.count, one.volume) == (
                other.what.removesuffix(too_old),
                other.part,
                other.count,
                other.volume,
            )
            later = gap(before, after)
            for clock, same in ((one.following, other.following), (one.latest, other.latest)):
                assert clock is None or clock == pytest.approx(same + later, abs=1e-3)


def gap(before, after):
    """Seconds between the days of two shifts."""
    return (after.date - before.date).days * 86400.0


@few
@given(plants())
def test_the_mix_keeps_its_ratio(rows):
    """Every use but heels and expired containers is mixed material: A to B as the data sheet says."""
    material, parts = rows["Materials"][0], rows["Components"]
    a, b = material["ratio_a"], material["ratio_b"]
    if material["ratio_basis"] == "mass":
        a, b = a / parts[0]["density"], b / parts[1]["density"]
    for result in played(make(rows)):
        for name in ("parts", "scrap", "purge", "mixers", "checks"):
            used_a, used_b = result.used["a"][name], result.used["b"][name]
            # each draw is rounded to a nanolitre once; there are fewer draws than 10,000
            assert abs(used_a * b - used_b * a) <= 1e4 * (a + b)


# ---------------------------------------------------------------------------------------- more parts


@few
@given(plants(), st.integers(0, 3), st.integers(1, 20))
def test_more_parts_never_use_less(rows, place, more):
    """At a given takt and one nozzle: nothing else of the shift changes, so all that goes on parts and all
    that is drawn can only grow. Of several nozzles one more part may take the turn of a second shot, and
    fewer are done by the end: work handed out in turn is not monotone (R. L. Graham, SIAM J. Appl. Math. 17
    (1969) 416, from memory)."""
    rows["Stations"][0]["takt"] = rows["Stations"][0]["takt"] or 120.0
    rows["Stations"][0]["scrap"] = 0.0
    rows["Stations"][0]["nozzles"] = 1
    rows["Builds"] = [rows["Builds"][place]]
    fewer = played(make(rows))
    rows["Builds"][0]["quantity"] += more
    greater = played(make(rows))[0]
    for letter in "ab":
        before = fewer[0].used[letter] if fewer else dict.fromkeys(CATEGORIES, 0)
        assert greater.used[letter]["parts"] >= before["parts"]
        assert greater.used[letter]["parts"] + greater.used[letter]["scrap"] >= (
            before["parts"] + before["scrap"]
        )
        assert greater.drawn(letter) >= (fewer[0].drawn(letter) if fewer else 0)


@few
@given(plants(), st.sampled_from(("width", "length", "level", "gap")), st.floats(1.0, 1.5))
def test_a_larger_bead_pot_or_joint_takes_more(rows, column, factor):
    """Volume grows with each size of the shape."""
    target = {
        "width": rows["Beads"][0],
        "length": rows["Beads"][0],
        "level": rows["Pots"][0],
        "gap": rows["Joints"][0],
    }[column]
    bigger = copy.deepcopy(rows)
    other = {
        "width": bigger["Beads"][0],
        "length": bigger["Beads"][0],
        "level": bigger["Pots"][0],
        "gap": bigger["Joints"][0],
    }[column]
    other[column] = min(target[column] * factor, 60.0) if column == "level" else target[column] * factor
    before, after = (setup_card(make(item), "hem").settings for item in (rows, bigger))
    for one, more in zip(before, after, strict=True):
        assert more.mass >= one.mass * (1 - 1e-12)
        amount, limits = more.application.amount, more.weighing.limits
        assert amount.low <= amount.nominal <= amount.high
        if limits.low is not None and limits.high is not None:
            assert limits.low <= limits.target <= limits.high


# ----------------------------------------------------------------------------------------------- heat


@few
@given(plants(), st.floats(0.1, 20))
def test_hotter_never_lengthens_a_life(rows, rise):
    """Arrhenius (positive activation energy) and the halving rule both fall with temperature."""
    material = make(rows).material("Bond 60")
    for life in (working_life(material), *(cure_life(material, name) for name, _ in MILESTONES)):
        if life is None:
            continue
        cold, hot = 283.15, 283.15 + rise
        assert life.at(hot) < life.at(cold)
        energy = material.activation_energy
        ratio = (
            math.exp(energy / GAS_CONSTANT * (1 / cold - 1 / hot))
            if energy
            else 2 ** (rise / material.halving_step)
        )
        assert life.at(cold) / life.at(hot) == pytest.approx(ratio, rel=1e-9)


@few
@given(plants(), st.floats(0.5, 15))
def test_a_hotter_shop_throws_away_no_less_and_mates_no_later(rows, rise):
    """Age runs faster, so the rule acts no less often; every open time ends no later.

    Purges take no time here: else a hot shift loses parts and with them whole stretches of purging.
    Mixers are changed and not purged, in idle times too: a purge that comes earlier can make a later one, or
    a change, needless.
    """
    rows["Stations"][0].update(
        record="",
        purge_time=0,
        mixer_time=0,
        container_time=0,
        scrap=0,
        rule="change mixer",
        takt=400,
        checks=0,
        idle="take off",
    )
    rows["Builds"] = rows["Builds"][:1]
    rows["Builds"][0]["quantity"] = 20
    hot = copy.deepcopy(rows)
    hot["Stations"][0]["shop_temperature"] += rise
    (before,), (after,) = played(make(rows)), played(make(hot))
    assume(before.jobs[0].finished == after.jobs[0].finished)
    assert after.mixers >= before.mixers
    for one, other in zip(before.batches, after.batches, strict=True):
        assert other.mate_before <= one.mate_before + 1e-6
        for name, clock in one.milestones.items():
            assert clock is None or other.milestones[name] <= clock + 1e-6


# ---------------------------------------------------------------------------------------------- units

#: other units for the headers: shop unit to units of other countries and trades
OTHER_UNITS = {
    "mm": ("in", "cm", "m", "µm"),
    "mL": ("L", "cm³", "fluid_ounce", "gal"),
    "g": ("kg", "oz", "lb"),
    "min": ("s", "h"),
    "s": ("min", "h"),
    "h": ("min",),
    "d": ("h", "week"),
    "°C": ("degF", "kelvin"),
    "K": ("delta_degF",),
    "mm/s": ("in/min", "m/min"),
    "mL/s": ("L/h", "cm³/min"),
    "bar": ("psi", "kPa"),
    "g/mL": ("kg/m³", "lb/ft³"),
    "deg": ("rad",),
    "N": ("lbf",),
    "Pa": ("kPa", "psi"),
    "kJ/mol": ("J/mol", "kcal/mol"),
    "N/mm": ("N/m",),
    "": ("%",),
}


def demo_tables(days: int = 1) -> dict[str, RawTable]:
    """The demo's first days as raw tables with the headers of a workbook."""
    tables = {}
    for table in TABLES:
        if table.name not in DEMO:
            continue
        rows = DEMO[table.name]
        if table.name == "Builds":
            rows = [row for row in rows if (row["date"] - MONDAY).days < days]
        names = list(dict.fromkeys(name for row in rows for name in row))
        tables[table.name] = RawTable(
            table.name,
            [table.column(name).title for name in names],
            [[row.get(name) for row in rows] for name in names],
        )
    return tables


def said(tables: dict[str, RawTable]) -> list[Content]:
    """All that the sheets of a plan say."""
    plan, problems = read_plan(tables)
    assert problems == []
    results = played(plan)
    found = [results_content(plan, results, "stamp"), staging_content(plan, results, "stamp")]
    for result in results:
        found += [
            shift_material_content(plan, result, "stamp"),
            cure_board_content(plan, result, "stamp"),
            shot_check_content(plan, result, "stamp"),
        ]
    return found + [
        station_setup_content(plan, setup_card(plan, row.station), "stamp")
        for row in plan.stations
        if station_parts(plan, row.station)
    ]


def figures(contents: list[Content]) -> list[tuple[str, dict, dict]]:
    return [(item.spec.key, item.values, item.tables) for item in contents if item]


def in_other_units(tables: dict[str, RawTable], draw: random.Random) -> int:
    """Give columns another unit and their plain numbers the new figures; returns how many."""
    changed = 0
    for raw in tables.values():
        by_title = {item.title: item for item in BY_NAME[raw.name].columns}
        for place, header in enumerate(raw.headers):
            item = by_title[header]
            if item.kind != "number" or not OTHER_UNITS.get(item.unit) or draw.random() < 0.3:
                continue
            unit = draw.choice(OTHER_UNITS[item.unit])
            factor, offset = unit_factor(unit, item.unit)
            shop_factor, shop_offset = unit_factor(item.unit, item.unit) if item.unit else (1.0, 0.0)
            raw.headers[place] = f"{header.partition(' [')[0]} [{unit}]"
            raw.columns[place] = [
                (cell * shop_factor + shop_offset - offset) / factor if type(cell) in (int, float) else cell
                for cell in raw.columns[place]
            ]
            changed += 1
    return changed


@pytest.mark.parametrize("seed", range(4))
def test_units_in_headers_change_nothing(seed):
    """A length is the same in inches; 1e-12 is some thousand roundings of a double (2.2e-16)."""
    plain, other = demo_tables(), demo_tables()
    assert in_other_units(other, random.Random(seed)) > 40
    for (key, values, tables), (_, other_values, other_tables) in zip(
        figures(said(plain)), figures(said(other)), strict=True
    ):
        _alike(key, values, other_values)
        for name, rows in tables.items():
            assert len(rows) == len(other_tables[name]), (key, name)
            for row, other_row in zip(rows, other_tables[name], strict=True):
                _alike(f"{key} {name}", row, other_row)


def _alike(where: str, one: dict[str, Any], other: dict[str, Any]) -> None:
    assert list(one) == list(other)
    for name, value in one.items():
        if isinstance(value, float):
            assert math.isclose(value, other[name], rel_tol=1e-12, abs_tol=1e-9), (
                where,
                name,
                value,
                other[name],
            )
        elif isinstance(value, datetime.datetime):
            assert abs(value - other[name]) <= datetime.timedelta(seconds=1), (where, name)
        else:
            assert value == other[name], (where, name, value, other[name])


def test_records_in_other_units_agree_to_twelve_digits():
    """Before any rounding to nanolitres: every record of the plan itself."""
    plain, other = demo_tables(), demo_tables()
    in_other_units(other, random.Random(9))
    (one, _), (two, _) = read_plan(plain), read_plan(other)
    for table in TABLES:
        for row, other_row in zip(getattr(one, table.attribute), getattr(two, table.attribute), strict=True):
            close(row, other_row, 1e-12, table.name)


# ---------------------------------------------------------------------------------------------- order

#: tables whose order means something: points of a path, and the sequence in which a station works
ORDERED = {"Paths", "Beads", "Pots", "Joints", "Builds", "Assemblies", "Stations", "Parts", "Components"}


@pytest.mark.parametrize("seed", range(3))
def test_order_of_rows_changes_nothing(seed):
    """Look-ups go by name: tables without a sequence may stand in any order."""
    plain, other = demo_tables(2), demo_tables(2)
    draw = random.Random(seed)
    for name, raw in other.items():
        if name not in ORDERED:
            order = list(range(len(raw.columns[0])))
            draw.shuffle(order)
            raw.columns = [[column[row] for row in order] for column in raw.columns]
    assert figures(said(plain)) == figures(said(other))


@pytest.mark.parametrize("seed", range(3))
def test_order_of_parts_and_stations_changes_the_order_only(seed):
    """Rows of parts, components and stations put results in another order and leave the figures.

    Stations that share a material draw on one store in the order of the table; the demo's stock is
    made so large that no lot runs out between them.
    """
    plain, other = demo_tables(2), demo_tables(2)
    draw = random.Random(seed)
    for tables in (plain, other):
        stock = tables["Stock"]
        place = stock.headers.index("Quantity [mL]")
        stock.columns[place] = [1e7] * len(stock.columns[place])
    for name in ("Parts", "Components", "Stations", "Shifts", "Materials"):
        raw = other[name]
        order = list(range(len(raw.columns[0])))
        draw.shuffle(order)
        raw.columns = [[column[row] for row in order] for column in raw.columns]
    (one, _), (two, _) = read_plan(plain), read_plan(other)
    key = lambda result: (result.date, result.shift, result.station.station)  # noqa: E731
    before, after = sorted(played(one), key=key), sorted(played(two), key=key)
    assert len(before) == len(after) > 10
    for first, second in zip(before, after, strict=True):
        assert key(first) == key(second)
        for letter in first.letters:
            assert first.used[letter] == second.used[letter]
            assert first.mounted[letter] == second.mounted[letter]
            assert first.closing[letter] == second.closing[letter]
        assert (first.purges, first.mixers, first.check_shots) == (
            second.purges,
            second.mixers,
            second.check_shots,
        )
        assert sorted(first.warnings) == sorted(second.warnings)
        assert [(event.clock, event.kind) for event in first.events] == [
            (event.clock, event.kind) for event in second.events
        ]


# -------------------------------------------------------------------------------------------- density


@few
@given(plants(), st.floats(0.2, 5))
def test_density_changes_masses_only(rows, factor):
    """A ratio by volume: with both densities × k every mass is × k and every volume as before."""
    rows["Materials"][0]["ratio_basis"] = "volume"
    heavy = copy.deepcopy(rows)
    for row in heavy["Components"]:
        row["density"] *= factor
    assume(all(0.01 < row["density"] < 25 for row in heavy["Components"]))
    one, two = make(rows), make(heavy)
    alike = True  # stock and containers are carried on
    for first, second in zip(played(one), played(two), strict=True):
        assert second.density == pytest.approx(first.density * factor, rel=1e-12)
        # how many shots a check weighs together follows from their mass: then more or less is drawn
        alike = alike and first.check.count == second.check.count
        if not alike:
            continue
        assert first.used == second.used
        assert first.closing == second.closing
        assert [(event.clock, event.kind, event.volume) for event in first.events] == [
            (event.clock, event.kind, event.volume) for event in second.events
        ]
    cards = [setup_card(plan, "hem") for plan in (one, two)]
    for first, second in zip(cards[0].settings, cards[1].settings, strict=True):
        assert second.application.amount == first.application.amount
        assert second.mass == pytest.approx(first.mass * factor, rel=1e-12)
        light, dense = first.weighing, second.weighing
        for name in ("low", "target", "high"):  # printed for several shots, to a digit of each
            before, after = getattr(light.limits, name), getattr(dense.limits, name)
            if before is not None and after is not None:
                digit = factor * 10.0**-before.digits / light.count + 10.0**-after.digits / dense.count
                assert after / dense.count == pytest.approx(before / light.count * factor, abs=digit)


@few
@given(plants())
def test_played_twice_is_the_same(rows):
    """Playing leaves no trace in the plan."""
    plan = make(rows)
    first, second = played(plan), played(plan)
    assert [result.used for result in first] == [result.used for result in second]
    assert [result.events for result in first] == [result.events for result in second]
    if first:
        alone = play_shift(plan, first[0].date, first[0].shift, "hem")
        assert alone.used == first[0].used
