"""What jumped since the last good version, and rows out of sight: changes made by hand, found again."""

from __future__ import annotations

import openpyxl
from plans import hand_rows, make
from test_trust import light_plan

from dispense import cli
from dispense.jobs.against import against


def test_what_was_changed_is_told_and_nothing_else():
    before = hand_rows()
    now = hand_rows()
    now["Stations"][0]["speed"] = 1000  # a key too many: 100 before
    now["Materials"][0]["pot_life"] = 65  # was 60: no jump
    now["Builds"][0]["quantity"] = 4  # 21 before
    now["Stock"].pop()
    told = sorted(finding.text for finding in against(make(now), make(before)))
    assert told == [
        "Builds: frame is 4 a day on the mean, was 21",
        "Stations!C2: speed is 1000 mm/s, was 100 mm/s",
        "Stock: rows of before are gone: B2",
    ]
    assert against(make(before), make(before)) == []


def test_the_command_and_hidden_rows(tmp_path, capsys):
    old = light_plan(tmp_path / "old.xlsx")
    rows = hand_rows()
    rows["Beads"][0]["width"] = 1  # 10 before
    plan = light_plan(tmp_path / "plan.xlsx", rows)
    book = openpyxl.load_workbook(plan)
    book["Stock"].row_dimensions[3].hidden = True
    book.save(plan)
    assert cli.main(["check", str(plan), "--against", str(old)]) == 0
    told = capsys.readouterr().out
    assert "width is 1 mm, was 10 mm" in told
    assert "Stock: 1 hidden row counts: Stock!A3" in told
