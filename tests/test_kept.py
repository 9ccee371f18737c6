"""Answers kept from one run to the next: the same as worked out, never out of date, never another's."""

from __future__ import annotations

import importlib
import math
import os
import pickle
import sys
from hashlib import sha256
from itertools import pairwise
from pathlib import Path

import grimp
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plans import add_hot_pot, hand_rows

from dispense.base import kept
from dispense.base.errors import InputError, Problem
from dispense.base.kept import keeping
from dispense.base.memory import forget_all
from dispense.base.program import program_hash
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.handbook.kinetics import NthOrder
from dispense.handbook.pours import Compound, pour_peak, slab_peak
from dispense.handbook.schedule import PartLag, Requirement, planned_schedule, ramp_hold

COMPOUND = Compound(NthOrder(2e5, 6e4), 3e5, 1100.0, 1800.0, 0.25, 10.0)

asked: list[object] = []


@kept.kept
def _twice(value):
    asked.append(value)
    if value is None:
        raise InputError(Problem("twice", "value", value, "a number"))
    return value, value


@pytest.fixture(autouse=True)
def folder(tmp_path):
    asked.clear()
    with keeping(tmp_path / "kept"):
        yield tmp_path / "kept"


def test_an_answer_is_worked_out_once(folder):
    assert _twice(2.0) == _twice(2.0) == (2.0, 2.0)
    assert asked == [2.0] and len(list(folder.iterdir())) == 1


def test_an_error_is_kept_word_for_word():
    with pytest.raises(InputError) as first:
        _twice(None)
    with pytest.raises(InputError) as second:
        _twice(None)
    assert str(first.value) == str(second.value) and asked == [None]


@given(st.floats(allow_nan=False, allow_infinity=False, max_value=1e300, min_value=-1e300))
def test_the_last_digit_of_an_argument_is_another_question(value):
    near = [value, math.nextafter(value, math.inf), np.float64(value), -value if value else 1.0]
    spelled = [b"".join(kept._spelled(each)) for each in near]
    assert all(a != b for a, b in pairwise(spelled))


def test_neighbours_are_not_spelled_alike():
    # texts that a plain join would take for each other, and kinds that compare as equal
    values = [("ab", "c"), ("a", "bc"), ("ab;str 1:c",), (1,), (1.0,), (True,), ([1],), ((1,),), (None,), ()]
    spelled = {b"".join(kept._spelled(each)) for each in values}
    assert len(spelled) == len(values)


def test_with_what_cannot_be_spelled_nothing_is_kept(folder):
    assert _twice(len) == (len, len) and _twice(len) == (len, len)
    assert asked == [len, len] and not list(folder.iterdir())


def test_other_program_text_is_another_question(tmp_path, monkeypatch, folder):
    (tmp_path / "source").mkdir()
    module = tmp_path / "source" / "law_of_mine.py"
    monkeypatch.syspath_prepend(str(module.parent))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    answers = []
    for factor in (2, 3):
        module.write_text(
            f"from dispense.base.kept import kept\n@kept\ndef law(x):\n    return {factor} * x\n"
        )
        program_hash.cache_clear()  # a run of its own
        sys.modules.pop("law_of_mine", None)
        importlib.invalidate_caches()
        answers.append(importlib.import_module("law_of_mine").law(1.5))
    assert answers == [3.0, 4.5]  # 2 · 1.5 and 3 · 1.5
    assert len(list(folder.iterdir())) == 2


def test_a_damaged_answer_is_worked_out_anew(folder):
    _twice(2.0)
    (file,) = folder.iterdir()
    whole = file.read_bytes()
    for bad in (b"", whole[:-1], whole[:40] + bytes([whole[40] ^ 1]) + whole[41:], b"x" * 100):
        file.write_bytes(bad)
        assert _twice(2.0) == (2.0, 2.0)
        assert file.read_bytes() == whole
    assert asked == [2.0] * 5


class _Bad:
    def __reduce__(self):
        return os.system, ("touch " + _Bad.mark,)


def test_nothing_that_a_file_holds_is_run(folder, tmp_path):
    _twice(2.0)
    (file,) = folder.iterdir()
    _Bad.mark = str(tmp_path / "was_run")
    body = pickle.dumps((True, _Bad()))
    file.write_bytes(sha256(body).digest() + body)  # as whole as one of ours
    assert _twice(2.0) == (2.0, 2.0)
    assert not Path(_Bad.mark).exists()


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_a_folder_that_others_may_write_to_is_not_used(tmp_path):
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o777)
    with keeping(shared):
        _twice(5.0)
    assert not list(shared.iterdir())


def test_the_folder_stays_within_its_bound(folder, monkeypatch):
    monkeypatch.setattr(kept, "MOST_BYTES", 20_000)
    for number in range(10):
        _twice(np.full(300, float(number)))  # 2 × 2,400 bytes
    assert sum(file.stat().st_size for file in folder.iterdir()) <= 20_000
    _twice(np.full(300, 9.0))  # the last is there
    assert len(asked) == 10


def test_kept_figures_are_those_worked_out_to_the_last_digit():
    oven = ramp_hold(296.15, 353.15, 3600.0, 0.0)
    parts = [PartLag("edge", 120.0), PartLag("core", 900.0)]

    def all_of_them():
        played = planned_schedule(oven, parts, NthOrder(2e5, 6e4), requirement=Requirement(degree=0.5))
        return [
            *pour_peak([(1, 0.01, 0.0), (2, 0.01, 600.0)], 296.15, 298.15, COMPOUND),
            slab_peak(0.02, 296.15, 298.15, COMPOUND),
            *(value for part in played.parts for value in part.degrees),
        ]

    with keeping(None):
        worked_out = all_of_them()
    assert worked_out == all_of_them() == all_of_them()  # worked out and kept, then read
    read = all_of_them()
    assert 296.15 < read[0] < 298.15 + 3e5 / 1800.0  # never above all heat kept, h/c


def test_kept_functions_follow_from_handbook_and_base_alone():
    """The files that are hashed are all the text that an answer can follow from."""
    graph = grimp.build_graph("dispense", cache_dir=None)
    programs = {"dispense.cli", "dispense.addin.excel_menu"}  # they say where answers are kept
    users = graph.find_modules_that_directly_import("dispense.base.kept") - programs
    assert users and all(name.startswith("dispense.handbook.") for name in users)
    for name in users:
        below = graph.find_upstream_modules(name)
        folders = {module.split(".")[1] for module in below if "." in module}
        assert folders <= {"handbook", "base"}, name


def test_check_says_the_same_with_answers_kept_and_anew(tmp_path, monkeypatch, capsys):
    tables = hand_rows()
    add_hot_pot(tables, 200)
    path = tmp_path / "plan.xlsx"
    write_plan(tables, path)
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "of_the_command"))
    said = []
    for options in ([], [], ["--anew"]):
        forget_all()
        code = main(["check", str(path), "--json", *options])
        said.append((code, capsys.readouterr().out))
    assert said[0] == said[1] == said[2]
    assert list((tmp_path / "of_the_command").iterdir())
    monkeypatch.setenv(kept.VARIABLE, "off")
    assert main(["check", str(path), "--json"]) == said[0][0]
    assert capsys.readouterr().out == said[0][1]


def test_a_library_keeps_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(kept, "_folders", kept._folders[:1])
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "unasked"))
    pour_peak([(1, 0.01, 0.0)], 296.15, 298.15, COMPOUND)
    assert not (tmp_path / "unasked").exists()


def test_the_process_of_the_menu_keeps_its_answers(monkeypatch, tmp_path):
    """A plan that is opened again is checked with what was worked out the day before."""
    seen = []
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "menu"))
    monkeypatch.setattr("dispense.addin.served.serve", lambda lines, out: seen.append(kept._folders[-1]))
    monkeypatch.setattr(sys, "stdout", sys.stdout)  # it is exchanged by the command
    assert main(["addin", "serve", "--host", "calc"]) == 0
    assert seen == [tmp_path / "menu"]
