"""After an edit only what the edit touches is worked out again, and the answer is that of a full check.

The full check is independent of what is kept: a file of the same cells read from disk, with nothing
remembered.
"""

from __future__ import annotations

import random

import pytest
from file_host import FileHost
from openpyxl.utils import get_column_letter
from plans import add_hot_pot, hand_rows, line_rows
from test_on_screen import write_plan

from dispense.base.errors import InputError
from dispense.base.memory import forget_all, remembered
from dispense.handbook import pours
from dispense.jobs import on_screen
from dispense.jobs.desk import Desk, worked_out
from dispense.jobs.on_screen import run
from dispense.plan.read import check_plan
from dispense.reports.findings import plan_findings
from dispense.xlsx.snapshot import snapshot


def findings(desk):
    """All that is found of the plan on the screen."""
    for _ in desk.seek():
        pass
    return desk.findings


@pytest.fixture
def desk(tmp_path):
    """A plan with a pot whose heat takes long to reckon, and a room cure by kinetics."""
    rows = hand_rows()
    add_hot_pot(rows, 400, cure="room", test_time=600, cure_temperature=23, activation_energy=60)
    return Desk(FileHost(write_plan(tmp_path / "plan.xlsx", rows)))


def edits(host, seed, count):
    """Cells with numbers drawn anywhere, each changed by a little or, now and then, into nonsense."""
    draw = random.Random(seed)
    numbers = [
        (name, row, column)
        for name, rows in host.sheets.items()
        for row, cells in enumerate(rows, 1)
        for column, value in enumerate(cells, 1)
        if isinstance(value, int | float)
    ]
    for name, row, column in draw.sample(numbers, count):
        old = host.sheets[name][row - 1][column - 1]
        near = float(f"{old * draw.choice((0.97, 1.03)):.6g}")  # a file holds no more than 16 digits
        new = "some" if draw.random() < 0.15 else near
        host.edit(f"{name}!{get_column_letter(column)}{row}", new)
        yield
        if new == "some":
            host.edit(f"{name}!{get_column_letter(column)}{row}", old)


@pytest.mark.parametrize("seed", [1, 2])
def test_what_an_edit_gives_is_what_a_full_check_gives(desk, tmp_path, seed):
    path = tmp_path / "plan.xlsx"  # of the very name, since notes tell it
    for _ in edits(desk.host, seed, 5):
        desk.look()
        found = findings(desk)
        path.write_bytes(snapshot(desk.host.read()))
        forget_all()
        plan, problems = check_plan(path)
        assert desk.problems == problems
        assert found == ([] if problems else plan_findings(plan))


def test_an_edit_elsewhere_follows_no_pour_again(desk, monkeypatch):
    """Ten parts more do not change how hot a pot gets."""
    desk.look()
    before = findings(desk)
    assert any(item.topic == "near the pour limit" or "°C" in str(item) for item in before)
    asked = []
    monkeypatch.setattr(pours, "pour", lambda *given, **named: asked.append(given))
    rows = desk.host.sheets["Builds"]
    desk.host.edit(f"Builds!{get_column_letter(rows[0].index('quantity') + 1)}2", 31)
    assert desk.look()
    findings(desk)
    assert asked == []


def test_quick_stations_are_told_before_slow_ones(tmp_path, monkeypatch):
    rows = line_rows({"lid": [20.0, 20.0]}, {"lid": 5}, [0.0], [None])
    host = FileHost(write_plan(tmp_path / "plan.xlsx", rows))
    desk = Desk(host)
    plan = desk.sound_plan()
    lasted = {"s1": 3.0}
    steps = list(worked_out(plan, lasted))
    assert [waiting for _, waiting in steps] == [["s1"], []]
    assert steps[-1][0] == plan_findings(plan)
    assert lasted["s1"] == 3.0 and lasted["s2"] > 0.0
    monkeypatch.setattr(on_screen, "SOON", 0.0)
    run(desk, "check")
    assert "still being worked out: s2" in host.panes[0].headline
    assert "worked out" not in host.pane.headline
    assert len(host.panes) == 2


def test_what_has_no_answer_is_remembered_too():
    asked = []

    @remembered(4)
    def never(value):
        asked.append(value)
        raise InputError("no answer")

    for _ in range(2):
        with pytest.raises(InputError, match="no answer"):
            never([1.0])
    assert asked == [[1.0]]
    with pytest.raises(InputError):
        never([True])  # equal to 1.0 and not the same
    assert len(asked) == 2
