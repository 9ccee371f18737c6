"""The checks of the first day in Excel: verdicts, report, and the page that lists them."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pandas  # noqa: F401  (loaded under the real platform, before xlwings is)
import pytest
from plans import hand_rows
from test_on_screen import write_plan

from dispense import cli
from dispense.addin import excel, excel_selftest
from dispense.addin.excel_selftest import CHECKS, EYES, FAILED, NOT_RUN, PASSED, report_text, run_checks

PAGE = Path(__file__).parents[1] / "docs" / "excel-first-day.md"


class Good:
    """What a working Excel answers: figures by hand (π·3²/4, 4²/2, half the sum of squares to 20)."""

    answers = {
        "=LAST_PROBLEMS()": "Python has not been started: it starts with the first function or button",
        '=BEAD_AREA("round",3)': math.pi * 9 / 4,
        '=BEAD_AREA("mitre",4)': 8.0,
        '=SUM(BEAD_AREA("mitre",A:A))': sum(row**2 for row in range(1, 21)) / 2,
        '=BEAD_AREA("round",-3)': "#NUM!",
        "=INDEX(LAST_PROBLEMS(1),1,4)": "above 0 mm",
        "=INDEX(LAST_PROBLEMS(1),1,1)": "BEAD_AREA in Sheet1!H1",
    }
    plan = (5, 9, True)

    def show(self, formula):
        return self.answers[formula]

    def fill(self, formula, rows):
        return [row**2 / 2 for row in range(1, rows + 1)]

    def check_plan(self, path):
        assert path.is_file()
        return self.plan


@pytest.fixture(autouse=True)
def small_demo(monkeypatch):
    monkeypatch.setattr(excel_selftest, "new_plan", lambda path, demo: write_plan(path, hand_rows()))


def verdicts(cells):
    return [verdict for verdict, _ in run_checks(cells)]


def test_there_are_twenty_and_a_working_excel_passes_all_that_need_no_eyes():
    assert len(CHECKS) == 20
    found = verdicts(Good())
    assert [verdict for verdict, check in zip(found, CHECKS, strict=True) if check.run] == [PASSED] * 7
    assert found.count(EYES) == 13


@pytest.mark.parametrize(
    ("formula", "answer"),
    [
        ("=LAST_PROBLEMS()", "Python runs"),
        ('=BEAD_AREA("round",3)', 7.2),
        ('=BEAD_AREA("mitre",4)', "#N/A"),
        ('=SUM(BEAD_AREA("mitre",A:A))', 0.0),
        ("=INDEX(LAST_PROBLEMS(1),1,4)", None),
        ("=INDEX(LAST_PROBLEMS(1),1,1)", "BEAD_AREA"),
    ],
)
def test_a_wrong_answer_fails_its_check_alone(formula, answer):
    cells = Good()
    cells.answers = {**Good.answers, formula: answer}
    found = run_checks(cells)
    ((_, reason),) = [item for item in found if item[0] == FAILED]
    assert repr(answer) in reason


def test_a_plan_that_was_changed_a_slow_cell_and_a_fault_fail(monkeypatch):
    cells = Good()
    cells.plan = (5, 9, False)
    cells.fill = lambda formula, rows: [1 / 0]
    found = run_checks(cells)
    reasons = [reason for verdict, reason in found if verdict == FAILED]
    assert any("made the plan a changed one" in reason for reason in reasons)
    assert sum("ZeroDivisionError" in reason for reason in reasons) == 2
    times = iter(range(0, 2000, 60))
    monkeypatch.setattr(excel_selftest.time, "perf_counter", lambda: next(times))
    assert verdicts(Good()).count(FAILED) == 4


def test_without_excel_the_report_says_what_was_not_tried(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(excel_selftest.sys, "platform", "linux")
    out = tmp_path / "report.txt"
    assert cli.main(["addin", "selftest", "--host", "excel", "--out", str(out)]) == 5  # nothing was tried
    assert "not run: 7" in capsys.readouterr().out
    text = out.read_text()
    assert text.count("to be looked at: ") == 13 and text.count("Excel on Windows is needed") == 7
    assert text.rstrip().endswith("0 passed, 0 FAILED, 13 to be looked at, 7 not run")
    assert cli.main(["addin", "selftest", "--host", "calc"]) != 0
    monkeypatch.setattr(excel_selftest.sys, "platform", "win32")
    found = excel_selftest.selftest(tmp_path / "none.xlam", out)
    assert found["not_run"] == 7 and "addin install --host excel comes first" in out.read_text()


@pytest.mark.parametrize(
    ("cells", "code", "named"),
    [
        (Good(), 0, ""),
        (type("Wrong", (Good,), {"plan": (5, 0, True)})(), 1, "check 12: the pane has no lines"),
    ],
)
def test_the_exit_code_is_that_of_the_checks(tmp_path, monkeypatch, capsys, cells, code, named):
    """As a script on Windows meets it, with an Excel that works and one that shows nothing."""
    import contextlib
    import types
    import zipfile

    addin = tmp_path / excel.ADDIN
    with zipfile.ZipFile(addin, "w") as archive:
        archive.writestr("a", "b")
    cells.app = types.SimpleNamespace(version="16.0")
    monkeypatch.setattr(excel_selftest.sys, "platform", "win32")
    monkeypatch.setattr(excel, "startup_folder", lambda: tmp_path)
    monkeypatch.setattr(excel_selftest, "_excel", lambda addin: contextlib.nullcontext(cells))
    asked = ["addin", "selftest", "--host", "excel", "--out", str(tmp_path / "report.txt")]
    assert cli.main(asked) == code
    assert named in capsys.readouterr().out
    assert cli.main([*asked, "--json"]) == code
    told = json.loads(capsys.readouterr().out)
    assert told["exit_code"] == code and len(told["failures"]) == told["failed"] == code

    def does_not_start(addin):
        raise OSError("no class of that name is registered")

    monkeypatch.setattr(excel_selftest, "_excel", does_not_start)
    assert cli.main(asked) == 5
    assert "did not start: OSError: no class" in (tmp_path / "report.txt").read_text()


def test_the_report_tells_what_must_be_seen():
    text = report_text(run_checks(None, "why"), "here")
    assert all(check.do in text and check.seen in text for check in CHECKS)
    assert NOT_RUN in text


def test_the_page_lists_the_same_checks():
    rows = re.findall(r"(?m)^\| (\d+) \| (.*?) \| (.*?) \| (yes|) ?\|$", PAGE.read_text("utf-8"))
    assert [int(number) for number, *_ in rows] == list(range(1, 21))
    for (_, do, seen, runs), check in zip(rows, CHECKS, strict=True):
        assert (do.replace("`", ""), seen.replace("`", "")) == (check.do, check.seen)
        assert bool(runs) == (check.run is not None)


def test_the_scratch_sheet_in_xlwings_own_engine(tmp_path):
    """Formulas that the Excel in memory computes itself; squares by hand."""
    pytest.importorskip("xlwings")
    pytest.importorskip("pyopenvba")
    from excel_memory import Excel

    from dispense.addin import excel_menu

    running = Excel()
    try:
        book = running.open(write_plan(tmp_path / "other.xlsx", hand_rows()))
        cells = excel_selftest.ExcelCells(book.app)
        assert cells.show("=1+1") == 2
        assert cells.show('=IF(1,"a","b")') == "a" and cells.show("=1/0") == "#DIV/0!"
        assert cells.fill("=A1^2/2", 5) == [0.5, 2.0, 4.5, 8.0, 12.5]
        marks, lines, is_kept = cells.check_plan(write_plan(tmp_path / "plan.xlsx", hand_rows()))
        assert marks == 1 and lines > 1 and is_kept
        assert "plan.xlsx" not in running.books()
    finally:
        excel_menu._DESKS.clear()
        running.end()


def test_install_and_selftest_speak_of_the_same_file(monkeypatch, tmp_path):
    asked = []
    monkeypatch.setattr(excel_selftest, "selftest", lambda addin, out: asked.append((addin, out)) or {})
    monkeypatch.setattr(excel, "startup_folder", lambda: tmp_path)
    excel.selftest("x")
    assert asked == [(tmp_path / excel.ADDIN, "x")]
