"""The command started as a module, and a report of a plan with few words."""

from __future__ import annotations

import runpy
import sys

import pytest
from plans import hand_rows, make

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
