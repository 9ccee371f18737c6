"""A plan that is open in a spreadsheet, from the command line: it says so, and goes on if told to."""

from __future__ import annotations

import pytest
from plans import hand_rows
from test_on_screen import write_plan

from dispense.cli import main
from dispense.xlsx.opened import lock_of

# as LibreOffice 7.4 left it beside a file (seen), and Excel's as people describe it (from memory, no source)
LOCKS = {
    ".~lock.plan.xlsx#": (
        b",planner,desk,27.11.2026 10:12,file:///home/planner/.config/libreoffice/4;",
        "planner",
    ),
    "~$plan.xlsx": (bytes([7]) + b"Planner" + b" " * 47 + bytes([7, 0]), "Planner"),
}


@pytest.fixture
def plan(tmp_path):
    return write_plan(tmp_path / "plan.xlsx", hand_rows())


@pytest.mark.parametrize("name", LOCKS)
def test_an_open_plan_is_not_read_unless_told_to(plan, capsys, name):
    data, user = LOCKS[name]
    lock = plan.with_name(name)
    lock.write_bytes(data)
    assert lock_of(plan) == (lock, user)
    assert main(["fill", str(plan), "--out", str(plan.with_name("out"))]) == 1
    told = capsys.readouterr().err
    assert f"is open in a spreadsheet ({user})" in told and "--saved" in told and name in told
    assert not plan.with_name("out").exists()
    assert main(["check", str(plan), "--saved"]) == 0


def test_a_plan_that_is_not_open_needs_nothing(plan, capsys):
    plan.with_name(".~lock.other.xlsx#").write_bytes(b",planner,desk,,;")
    assert main(["check", str(plan)]) == 0
    assert lock_of(plan) is None


def test_an_empty_lock_is_one(plan):
    plan.with_name("~$plan.xlsx").write_bytes(b"")
    assert lock_of(plan) == (plan.with_name("~$plan.xlsx"), "")


def test_a_sheet_that_is_open_is_left_and_the_others_are_written(plan, capsys):
    out = plan.with_name("out")
    assert main(["fill", str(plan), "--out", str(out)]) in (0, 3, 4)
    sheet = next(out.glob("*/*_material.xlsx"))
    sheet.write_bytes(sheet.read_bytes() + b" ")  # what it was; the others go on
    before = sheet.read_bytes()
    sheet.with_name(f".~lock.{sheet.name}#").write_bytes(b",operator,desk,,;")
    capsys.readouterr()
    assert main(["fill", str(plan), "--out", str(out), "--stamp", "another"]) in (3, 4, 5)
    told = capsys.readouterr().out
    assert "not written: " in told and f"{sheet.name}: is open in a spreadsheet (operator)" in told
    assert sheet.read_bytes() == before
    assert next(out.glob("*/*_shot_check.xlsx")).stat().st_mtime_ns >= sheet.stat().st_mtime_ns
