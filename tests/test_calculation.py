"""Calculation sheets with the values of a plan: what is picked stands in the inputs until it is typed over.

Results are held against arithmetic by hand; the sheet's own functions have their values from outside in
their self-check.
"""

from __future__ import annotations

import math

import pytest
from file_host import FileHost
from openpyxl import load_workbook
from plans import add_hot_pot, hand_rows
from test_on_screen import write_plan

from dispense.books.bench import LACKING, OVERRIDDEN, VALUES
from dispense.jobs.desk import Desk
from dispense.jobs.on_screen import run


@pytest.fixture
def desk(tmp_path):
    rows = hand_rows()
    add_hot_pot(rows, 400)
    rows["Pots"][0] |= dict(unfilled=0.2, cells=4, cell_diameter=20, cell_height=30, cell_base=5, count=3)
    rows["Inserts"] = [
        dict(insert="rail", part="frame", pot="bed", shape="box", length=10, width=10, height=99, base=20)
    ]
    rows["Beads"].append(dict(rows["Beads"][0], bead="rim", width=4, height=2, length=50, count=2))
    rows["Materials"][0] |= dict(consistency=100, viscosity_temperature=20)
    rows["Stations"][0] |= dict(nozzle_bore=2, nozzle_length=40)
    return Desk(FileHost(write_plan(tmp_path / "plan.xlsx", rows)))


def row_of(page, words):
    return next(row for row in range(1, page.max_row + 1) if page.cell(row, 1).value == words)


def figure(path, sheet, words):
    page = load_workbook(path, data_only=True)[sheet]
    return page.cell(row_of(page, words), 2).value


def test_the_picked_record_stands_in_the_inputs(desk):
    before = desk.host.path.read_bytes()
    run(desk, "calculate")
    (path,) = desk.host.opened
    assert path.name == "plan_calc.xlsx"
    # 10 × 1 × 1000 mm³; both components weigh 1.1 g/mL
    assert figure(path, "Bead", "Volume on one part") == pytest.approx(10.0)
    assert figure(path, "Bead", "Mass on one part") == pytest.approx(11.0)
    # 100 × 80 × 40, less four cells of 20 mm from 5 up to 35 mm, less 10 × 10 × 20; a fifth stays empty
    free = 320_000 - 4 * math.pi * 10**2 * 30 - 2000
    assert figure(path, "Pot", "Liquid to pour") == pytest.approx(0.8 * free / 1e3, rel=1e-6)
    # Hagen and Poiseuille, 128 μLQ/(πD⁴): the flow of the plan is 5 mL/s
    by_hand = 128 * 100 * 0.04 * 5e-6 / (math.pi * 0.002**4) / 1e5
    assert figure(path, "Nozzle", "Pressure over the nozzle") == pytest.approx(by_hand, rel=1e-6)
    assert figure(path, "Pot life", "Pot life in the shop") == pytest.approx(60.0)  # at 23 °C, as stated
    assert load_workbook(path).sheetnames[-1] == VALUES
    assert desk.host.path.read_bytes() == before


def test_what_is_typed_over_counts_is_marked_and_outlives_a_new_plan(desk):
    run(desk, "calculate")
    path = desk.host.opened[-1]
    book = load_workbook(path)
    page = book["Bead"]
    width, own = row_of(page, "Width"), 4
    page.cell(width, own).value = 20
    page.cell(row_of(page, "Bead of the plan"), 2).value = "frame / rim"
    book.save(path)
    rows = desk.host.sheets["Beads"]
    desk.host.edit(f"Beads!{'ABCDEFGH'[rows[0].index('length')]}3", 60)  # of the rim, not saved
    run(desk, "calculate")
    # 20 × 2 × 60 mm³ twice: width by hand, height of the plan, length as it is on the screen now
    assert figure(path, "Bead", "Volume on one part") == pytest.approx(4.8)
    page = load_workbook(path, data_only=True)["Bead"]
    assert [page.cell(width, column).value for column in (2, 4, 5)] == [20, 20, 4]
    assert page.cell(width, 6).value.startswith(f"{OVERRIDDEN}: delete D{width}")
    assert OVERRIDDEN not in page.cell(row_of(page, "Length"), 6).value
    assert page.cell(row_of(page, "Gap"), 6).value.startswith(LACKING)  # the plan has no bond line there
    book = load_workbook(path)
    book["Bead"].cell(width, own).value = None  # back at the plan
    book.save(path)
    run(desk, "calculate")
    assert figure(path, "Bead", "Volume on one part") == pytest.approx(0.96)
