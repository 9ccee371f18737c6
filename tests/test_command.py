"""The command started as a module, and a report of a plan with few words."""

from __future__ import annotations

import argparse
import json
import math
import runpy
import sys
from pathlib import Path

import pytest
from plans import hand_rows, make

from dispense.base.terminal import table
from dispense.cli import main, parser
from dispense.reports.cure import cure_report


def test_the_package_runs_as_a_module(monkeypatch, capsys):
    # python -m runs a package's __main__ (Python documentation, "Command line and environment")
    monkeypatch.setattr(sys, "argv", ["dispense", "call", "BEAD_VOLUME", "1000", "rectangle", "10", "1"])
    with pytest.raises(SystemExit) as stopped:
        runpy.run_module("dispense", run_name="__main__")
    assert stopped.value.code == 0
    assert "10" in capsys.readouterr().out  # 1000 · 10 · 1 mm³ are 10 mL


def test_a_material_without_description_leaves_no_brackets():
    assert cure_report(make(hand_rows()), "hem").as_text().splitlines()[0] == "hem: Bond 60"


def test_answers_stand_before_tables():
    """The shortest pot life of the day, as the table below it lists by the hour, comes first."""
    lines = cure_report(make(hand_rows()), "hem").as_text().splitlines()
    place = next(place for place, line in enumerate(lines) if line.startswith("time  "))
    lives = {row.split()[0]: float(row.split()[2]) for row in lines[place + 1 :] if row[2:3] == ":"}
    shortest = min(lives, key=lives.__getitem__)
    assert lines[2].startswith("at the least ") and lines[2].endswith(f"mixed at {shortest}")
    assert float(lines[2].split()[3]) == pytest.approx(lives[shortest], abs=0.5)


def test_a_misspelt_word_is_told(capsys):
    """The command, its option, and a choice of an option, that was meant: by the letters that they share."""
    cases = (
        (["fil", "plan.xlsx"], "fill"),
        (["fill", "plan.xlsx", "--paper", "Leter"], "Letter"),
        (["cure", "plan.xlsx", "--statoin", "hem"], "--station"),
        (["cure", "plan.xlsx", "--statoin=hem"], "--station"),
        (["forecast", "plan.xlsx", "--weks", "6"], "--weeks"),
    )
    for asked, meant in cases:
        with pytest.raises(SystemExit) as ended:
            main(asked)
        assert ended.value.code == 2
        assert f"did you mean {meant}?" in capsys.readouterr().err


def test_every_option_of_fit_is_documented():
    """The table of the page has just the options that the command takes, and each form is named there."""
    page = (Path(__file__).parents[1] / "docs" / "cure.md").read_text(encoding="utf-8")
    options = page.partition("| option of `fit` |")[2].partition("\n\n")[0]
    rows = {row.split("`")[1].split()[0] for row in options.splitlines() if row.startswith("| `--")}
    fit = next(each.choices["fit"] for each in parser()._actions if isinstance(each.choices, dict))
    assert rows == {name for name in fit._option_string_actions if name.startswith("--")} - {"--help"}
    forms = next(each.choices for each in fit._actions if each.dest == "form")
    assert len(forms) > 1 and all(f"`{form}`" in page for form in forms)


def test_the_help_of_each_command_has_a_sentence_and_an_example():
    (commands,) = [item for item in parser()._actions if isinstance(item, argparse._SubParsersAction)]
    for name, command in commands.choices.items():
        assert command.description[:1].isupper() and command.description.endswith("."), name
        assert f"dispense {name} " in command.epilog, name


def test_tables_fold_at_the_width_of_the_terminal():
    """Nothing is lost: the words of each cell stand in its column, in order, and no line is too wide."""
    words = "the mixer is purged before the first part and after each break of more than six minutes"
    lines = table(["station", "parts", "what"], [["hem robot", 1234, words]], 60).splitlines()
    assert len(lines) > 2 and max(map(len, lines)) <= 60
    assert " ".join(line[lines[0].index("what") :].strip() for line in lines[1:]) == words
    assert len(table(["what"], [[words]]).splitlines()) == 2  # a pipe has no edge


def test_call_tells_where_an_answer_leaves_its_range(capsys):
    # 200 °C from a pot life at 23 °C: an extrapolation; a film of 30 mm under a plate of 40 mm: no thin film
    assert main(["call", "POT_LIFE", "200", "50", "23", "55"]) == 0
    answer = capsys.readouterr()
    assert answer.out.endswith(" min\n") and answer.err.startswith("note: POT_LIFE: more than 30 K from")
    assert main(["call", "PLATE_SQUEEZE_TIME", "200", "60", "40", "30", "20", "50"]) == 0
    assert "no thin film" in capsys.readouterr().err
    # within them nothing, and nothing of the call before
    assert main(["call", "POT_LIFE", "30", "50", "23", "55"]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("place", [1, 3, 6])
def test_call_reads_its_options_wherever_they_stand(capsys, place):
    words = ["call", "POT_LIFE", "200", "50", "23", "55"]
    assert main([*words[:place], "--json", *words[place:]]) == 0
    found = json.loads(capsys.readouterr().out)
    # 50 min·exp(55e3/R·(1/473.15 − 1/296.15)), by hand
    by_hand = 50 * math.exp(55e3 / 8.31446261815324 * (1 / 473.15 - 1 / 296.15))
    assert found["results"][0]["value"] == pytest.approx(by_hand, rel=1e-9)
    assert len(found["notes"]) == 1 and "extrapolation" in found["notes"][0] and not found["problems"]
