"""`fill --now` and `--stop` from the command line, on an invented plan."""

from __future__ import annotations

import contextlib

import openpyxl
import pytest
from golden.plans import CREW, write

from dispense.cli import main

SHIFT = ["--date", "2026-05-18", "--shift", "early", "--station", "seam arm"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with the plan."""
    place = tmp_path_factory.mktemp("today")
    write(CREW, place / "plan.xlsx")
    return place


def test_the_sheets_say_from_when_on_they_hold(folder):
    with contextlib.chdir(folder):
        code = main(
            ["fill", "plan.xlsx", "--out", "now", *SHIFT, "--now", "07:40", "--done", "3", "--left", "a=120"]
            + ["--stop", "07:45 20 min"]
        )
    assert code in (0, 4)
    place = folder / "now" / "2026-05-18_early"
    for name in ("material", "cure_board", "shot_check"):
        book = openpyxl.load_workbook(place / f"seam_arm_{name}.xlsx")
        texts = [str(c.value) for row in book.active.iter_rows(max_row=4) for c in row if c.value]
        assert any(text.startswith("From 07:40: ") for text in texts), (name, texts)
    times = openpyxl.load_workbook(place / "seam_arm_material.xlsx")["Times"]
    words = [str(c.value) for row in times.iter_rows() for c in row if c.value]
    assert "from now on: 3 started before" in words and "the line stands until 08:05" in words


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--now", "07:40"], "choose it with --date and --shift"),
        (["--done", "3"], "a time of the shift such as 10:40"),
        ([*SHIFT, "--now", "25:40", "--done", "3"], "within shift early"),
        ([*SHIFT, "--now", "05:40", "--done", "3"], 'now is "05:40"; it must be within shift early, 06:00'),
        ([*SHIFT, "--now", "soon"], "a time of day"),
        ([*SHIFT, "--now", "07:40", "--left", "a"], "such as A=350"),
        (
            [*SHIFT, "--now", "07:40", "--done", "1", "--left", "a=9000"],
            "0 to the 160 mL of a container of A",
        ),
        ([*SHIFT[:4], "--now", "07:40", "--done", "3"], "choose it with --station"),
        ([*SHIFT, "--now", "07:40", "--done", "1", "--connected", "c=X1"], "a component of"),
        ([*SHIFT, "--now", "07:40", "--done", "1", "--mounted", "c=X1"], "a component of"),  # before
        ([*SHIFT, "--stop", "07:40 20 mL"], "min"),
        ([*SHIFT, "--stop", "07:40 -5 min"], "how long it lasts"),
        ([*SHIFT, "--stop", "07:40"], "how long it lasts"),
        ([*SHIFT, "--stop", "03:40 5 min"], "within shift early"),
        ([*SHIFT, "--now", "07:40", "--done", "1", "--connected", "a=X1"], "in Stock"),
        ([*SHIFT, "--now", "07:40"], "done is not stated"),
        ([*SHIFT[:4], "--now", "07:40", "--done", "seam arms:3"], "did you mean seam arm?"),
        ([*SHIFT[:4], "--now", "07:40", "--done", "seam arm:3"], "done is not stated for"),
        ([*SHIFT, "--now", "07:40", "--done", "nothing=3"], "each part of seam arm in the shift once"),
        ([*SHIFT, "--now", "07:40", "--done", "-3"], "a whole number 0 or more"),
        ([*SHIFT, "--now", "07:40", "--done", "3", "--done", "4"], "one number for seam arm"),
        ([*SHIFT, "--now", "07:40", "--done", "1", "--mixer", "07:50"], "not after 07:40"),
        ([*SHIFT, "--now", "07:40", "--done", "1", "--mixer", "old"], "or an age such as 25 min"),
        ([*SHIFT, "--now", "07:40", "--done", "1", "--mixer", "7=07:10"], "a nozzle of seam arm"),
        ([*SHIFT, "--mixer", "07:10"], "a time of the shift such as 10:40"),
    ],
)
def test_what_cannot_be_is_named_and_nothing_is_written(folder, capsys, given, said):
    with contextlib.chdir(folder):
        assert main(["fill", "plan.xlsx", "--out", "none", *given]) == 1
    assert said in capsys.readouterr().err
    assert not (folder / "none").exists()
