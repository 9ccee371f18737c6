"""What jumped since the last good version, and rows out of sight: changes made by hand, found again."""

from __future__ import annotations

import datetime

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
    found = against(make(now), make(before))
    told = sorted(finding.text for finding in found if finding.is_warning)
    assert told == [
        "Builds: frame is 4 a day on the mean, was 21",
        "Stations!C2: speed is 1000 mm/s, was 100 mm/s",
        "Stock: rows of before are gone: B2",
    ]
    small = [finding for finding in found if not finding.is_warning]
    assert [each.text.split(": ", 1)[1] for each in small] == ["pot life 60 min → 65 min", "21 → 4"]
    assert small[0].cell.startswith("Materials!") and small[1].text.startswith("Builds 2026-")
    assert against(make(before), make(before)) == []


def test_small_changes_are_listed_from_old_to_new_by_sheet_and_row():
    """What a buyer and a scheduler change: lead time, price, open life, builds, a setting, an order."""
    before, now = hand_rows(), hand_rows()
    order = dict(order="PO 1", quantity=1000, arrival=datetime.date(2026, 5, 22))
    for rows, day in ((before, 21), (now, 20)):
        first = rows["Components"][0]
        first |= dict(lead_time=14, price=20, open_life=None)
        rows["Orders"] = [order | {key: first[key] for key in ("material", "component")}]
        rows["Orders"].append(rows["Orders"][0] | dict(arrival=datetime.date(2026, 5, day)))
    now["Components"][0] |= dict(lead_time=21, price=22, open_life=5)
    now["Builds"].append(dict(now["Builds"][0], quantity=3))
    now["Settings"] = [dict(setting="service_level", value=0.9)]
    now["Holidays"] = [dict(date=datetime.date(2026, 5, 25), name="Whit Monday")]
    found = against(make(now), make(before))
    assert all(not each.is_warning and each.topic == "change" for each in found)
    told = [each.text for each in found]
    cells = [text for text in told if text.startswith("Components!")]
    assert sorted(text.split("): ")[1] for text in cells) == [
        "lead time 14 d → 21 d",
        "open life blank → 5 d",
        "price 20 → 22",
    ]
    assert "Holidays: rows are new: 2026-05-25" in told
    assert "Orders PO 1 row 2: arrival 2026-05-21 → 2026-05-20" in told
    assert "Settings: service level 0.95 → 0.9" in told
    first = now["Builds"][0]
    assert any(
        text.endswith(f"{first['part']}: {first['quantity']} → {first['quantity'] + 3}") for text in told
    )
    assert len(told) == 7


def test_a_plan_written_anew_is_told_in_a_few_lines():
    before, now = hand_rows(), hand_rows()
    now["Builds"] = [
        dict(now["Builds"][0], date=datetime.date(2026, 6, 1) + datetime.timedelta(days=day))
        for day in range(60)
    ]
    told = [each.text for each in against(make(now), make(before))]
    days = 60 + len({(row["date"], row["shift"], row["part"]) for row in before["Builds"]})
    assert told[-1] == f"Builds: {days - 20} more changes" and len(told) == 21


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
