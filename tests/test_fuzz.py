"""Damaged plans: the short form of `python tests/fuzz.py`, and every case that once failed."""

from __future__ import annotations

import datetime
import math

import fuzz
import pytest
from plans import hand_rows

from dispense.base.errors import Problem
from dispense.plan.build import read_plan
from dispense.plan.records import raw_table
from dispense.sheets.results import RESULTS
from dispense.sheets.spec import Content

TABLE_CASES, FILE_CASES = 270, 30


@pytest.mark.parametrize(("was", "given"), fuzz.corpus(), ids=[was for was, _ in fuzz.corpus()])
def test_what_once_failed(was, given):
    outcome = fuzz.guarded(lambda: fuzz.run_tables(fuzz.apply(given)))
    assert not outcome.startswith("failure"), outcome


@pytest.mark.parametrize("block", range(9))
def test_damaged_tables_give_results_or_a_report(block, tmp_path):
    first = block * TABLE_CASES // 9
    outcomes = [
        fuzz.case(7, number, tmp_path, {}, share=0.0)[0] for number in range(first, first + TABLE_CASES // 9)
    ]
    assert not [outcome for outcome in outcomes if outcome.startswith("failure")]
    assert {"report", "results"} <= set(outcomes)  # both kinds are reached


def test_damaged_files_give_results_or_a_report(tmp_path):
    files = {"light": fuzz.light_file()}
    files["full"] = files["light"]  # the planner's own file is ten times as slow to read
    outcomes = [fuzz.case(7, number, tmp_path, files, share=1.0)[0] for number in range(FILE_CASES)]
    assert not [outcome for outcome in outcomes if outcome.startswith("failure")]
    assert {"file", "results"} <= set(outcomes)


def test_the_base_plan_gives_results(tmp_path):
    assert fuzz.run_tables(fuzz.base_tables()) == "results"
    assert fuzz.run_file(fuzz.light_file(), tmp_path / "light.xlsx") == "results"
    assert fuzz.run_file(fuzz.full_file(), tmp_path / "full.xlsx") == "results"


@pytest.mark.parametrize("value", [math.nan, math.inf, "share nan %", object(), datetime.date(1850, 1, 1)])
def test_the_harness_sees_what_no_cell_may_hold(value):
    with pytest.raises(fuzz.Failure):
        fuzz.check_content(Content(RESULTS, {"headline": value}))


def test_the_harness_sees_other_exceptions_and_cases_without_end(monkeypatch):
    assert fuzz.guarded(lambda: str(1 // 0)).startswith("failure: Traceback")
    monkeypatch.setattr(fuzz, "SECONDS", 1)

    def forever() -> str:
        while True:
            pass

    assert "no end within" in fuzz.guarded(forever)


def test_assemblies_that_share_assemblies_are_taken_apart_once():
    """Forty levels, two assemblies each, both made of both of the next: 2^40 ways, by doubling."""
    rows = hand_rows()
    rows["Assemblies"] = [
        dict(assembly=f"{side}{level}", part="frame" if level == 40 else f"{other}{level + 1}", count=1)
        for level in range(1, 41)
        for side in "LR"
        for other in ("L" if level == 40 else "LR")
    ]
    _, problems = read_plan({name: raw_table(name, table) for name, table in rows.items()})
    assert problems == []
    rows["Builds"][0] |= {"part": "L1", "quantity": 1}
    _, problems = read_plan({name: raw_table(name, table) for name, table in rows.items()})
    assert [problem.where for problem in problems] == ["Builds!D2"]
    assert f"{2**39:.4g} parts" in str(problems[0])


def test_a_report_names_sheet_and_cell():
    tables = fuzz.base_tables()
    tables["Beads"].columns[tables["Beads"].headers.index("Width [mm]")][0] = -1
    _, problems = read_plan(tables)
    assert [problem.where for problem in problems] == ["Beads!E2"]
    assert fuzz.run_tables(tables) == "report"


def test_forecast_and_cure_reports_of_damaged_plans(tmp_path):
    outcomes = [
        fuzz.case(5, number, tmp_path, {}, share=0.0, with_reports=True)[0] for number in range(15, 45)
    ]
    assert not [outcome for outcome in outcomes if outcome.startswith("failure")]
    assert "results" in outcomes


def test_a_problem_stands_on_one_line():
    """Names of a plan may hold line ends, and codes that a terminal obeys."""
    line = str(Problem("Parts!A\n2", "part", "x", message="part a\r\nb\x1b[31m \x85 c\ud800 is\tnone"))
    # the codes are shown as escapes: a reader sees that they stand in the cell, a terminal obeys none
    assert line == r"Parts!A 2: part a b\x1b[31m c\ud800 is none"
