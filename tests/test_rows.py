"""The classes of a plan's rows: made from the declarations of the columns, and what mypy knows of them."""

from __future__ import annotations

import dataclasses
import sys
import typing

import pytest
from mypy import api

from dispense.base.errors import InputError, needed
from dispense.plan import make_rows, rows
from dispense.plan.build import build_plan
from dispense.plan.demo import DEMO
from dispense.plan.records import RECORDS, Plan, raw_table
from dispense.plan.tables import TABLES


@pytest.fixture(scope="module")
def plan() -> Plan:
    return build_plan({name: raw_table(name, table) for name, table in DEMO.items()})


def test_the_file_is_current():
    """`python -m dispense.jobs.pages` would change nothing."""
    assert make_rows.ROWS.read_text(encoding="utf-8") == make_rows.rows_source()


def test_each_value_of_the_demo_is_of_its_stated_type(plan):
    """What the reader gives is what the class says, table by table (an int stands for a float)."""
    for table in TABLES:
        maker = RECORDS[table.name]
        types = typing.get_type_hints(maker)
        names = [item.name for item in dataclasses.fields(maker)]
        assert names == [*(item.name for item in table.columns), "at"]
        found = plan.rows(maker)
        assert len(found) == len(DEMO.get(table.name, ()))
        for row in found:
            for name in names:
                value = getattr(row, name)
                kinds = typing.get_args(types[name]) or (types[name],)
                assert isinstance(value, (*kinds, int) if float in kinds else kinds), (table.name, name)


def test_rows_are_found_by_class(plan):
    station = plan.stations[0]
    assert plan.index(rows.Station, "station")[station.station] is station
    build = plan.builds[0]
    assert build in plan.group(rows.Build, "date", "shift")[build.date, build.shift]
    assert plan.cell(station, "speed") == station.at.replace("A", plan.letters["Stations"]["speed"], 1)


def test_a_blank_that_is_needed_is_refused():
    with pytest.raises(InputError, match=r"Beads!A7: length is blank; it must be given"):
        needed(None, "Beads!A7", "length")
    assert needed(0.0, "Beads!A7", "length") == 0.0


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("plan.station('hem').sped", 'has no attribute "sped"'),
        ("plan.materials[0].pot_life * 2.0", "Unsupported operand types"),  # may be blank
        ("plan.index(Station, 'station')['hem'].takt.hour", 'has no attribute "hour"'),
        ("plan.settings['sevice_level']", "has no key"),
        ("plan.builds[0].date.isoformat() + plan.settings['service_level']", "Unsupported operand types"),
    ],
)
def test_a_slip_of_a_column_is_seen_without_running(line, said, tmp_path):
    """mypy, an independent reader of the classes, refuses what is no column or may be blank."""
    script = tmp_path / "slip.py"
    head = "from dispense.plan.records import Plan\nfrom dispense.plan.rows import Station\n"
    script.write_text(f"{head}def slip(plan: Plan) -> None:\n    {line}\n", encoding="utf-8")
    cache = make_rows.ROWS.parents[2] / ".mypy_cache"
    out, _, code = api.run([str(script), "--cache-dir", str(cache), "--python-executable", sys.executable])
    assert code == 1
    assert said in out, out
