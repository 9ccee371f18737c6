"""The Excel add-in: the functions through the real xlwings layer, the generated VBA, the files.

Nothing here runs Excel. `xlwings_layer` says what is real: xlwings' own conversion and `CallUDF`,
with stand-ins for the pywin32 modules; the VBA runs in pyOpenVBA's interpreter.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import re
import subprocess
import sys
import zipfile
from decimal import Decimal
from pathlib import Path

import numpy
import pandas  # noqa: F401  (loaded under the real platform, before xlwings is)
import pytest
import xlwings_layer as layer
from hypothesis import given
from hypothesis import strategies as st

from dispense.addin import excel
from dispense.addin.excel_paths import Machine
from dispense.addin.excel_udfs import (
    ERROR_NUMBERS,
    MARK,
    VBA_WORDS,
    argument_name,
    function_help,
    marked,
    unmarked,
)
from dispense.base.errors import DispenseError
from dispense.base.fields import ERROR_TEXTS, CellError
from dispense.base.language import WORDS
from dispense.handbook.catalogue import FUNCTIONS, evaluate
from dispense.jobs.on_screen import COMMANDS

pytest.importorskip("xlwings")
pytest.importorskip("pyopenvba")

NAMES = sorted(FUNCTIONS)
MODULE = "dispense.addin.excel_udfs"
WITH_EXAMPLE = [name for name in NAMES if FUNCTIONS[name].examples]
EXAMPLES = [(name, place) for name in WITH_EXAMPLE for place in range(len(FUNCTIONS[name].examples))]


@pytest.fixture(scope="module")
def xlwings():
    python, udfs, restore = layer.load()
    yield python, udfs
    restore()


@pytest.fixture(scope="module")
def python(xlwings):
    return xlwings[0]


@pytest.fixture(scope="module")
def vba(python):
    return layer.Vba(excel.vba_module(excel.xlwings_home()[1]), python)


def rows(value):
    """A result of CallUDF as rows, marks taken off: it flattens a single row and a single cell."""
    if not isinstance(value, list):
        value = [[value]]
    elif not isinstance(value[0], list):
        value = [value]
    return [[unmarked(cell) for cell in row] for row in value]


def direct(name, arguments):
    """The same call on the registry, as a sheet shows it."""
    table = evaluate(name, list(arguments)).table()
    return [["" if cell is None else cell for cell in row] for row in table]


def through(python, name, arguments):
    return rows(python.CallUDF(MODULE, name, tuple(arguments)))


def same(got, wanted):
    assert [len(row) for row in got] == [len(row) for row in wanted]
    for one, other in zip(got, wanted, strict=True):
        for cell, expected in zip(one, other, strict=True):
            assert isinstance(cell, CellError) == isinstance(expected, CellError)
            assert isinstance(cell, str) == isinstance(expected, str)
            assert cell == expected
            assert not isinstance(cell, float) or math.isfinite(cell)


def arguments_of(name):
    return [layer.com(value) for value in FUNCTIONS[name].examples[0].arguments]


# ------------------------------------------------------------------ the xlwings layer, all functions


@pytest.mark.parametrize(("name", "place"), EXAMPLES)
def test_xlwings_layer_gives_the_published_results(python, name, place):
    """Each example's expected result comes from the source that its declaration names."""
    case = FUNCTIONS[name].examples[place]
    got = through(python, name, [layer.com(value) for value in case.arguments])
    wanted = case.result
    if not isinstance(wanted, list | tuple):
        wanted = [wanted]
    flat = [cell for row in got for cell in row]
    expected = [cell for row in wanted for cell in (row if isinstance(row, list | tuple) else [row])]
    assert flat == pytest.approx(expected, rel=max(case.tolerance, 1e-9), abs=case.tolerance)


@pytest.mark.parametrize("name", WITH_EXAMPLE)
def test_xlwings_layer_scalar_and_single_cell(python, name):
    arguments = arguments_of(name)
    wanted = direct(name, FUNCTIONS[name].examples[0].arguments)
    same(through(python, name, arguments), wanted)
    single = [value if isinstance(value, tuple) else ((value,),) for value in arguments]  # 1×1
    same(through(python, name, single), wanted)


@pytest.mark.parametrize("name", WITH_EXAMPLE)
def test_xlwings_layer_left_out_and_empty_arguments_take_their_default(python, name):
    entry = FUNCTIONS[name]
    arguments = arguments_of(name)
    wanted = direct(name, entry.examples[0].arguments)
    for rest in (layer.MISSING, None, ((None,),), ""):
        padded = arguments + [rest] * (len(entry.arguments) - len(arguments))
        same(through(python, name, padded), wanted)


@pytest.mark.parametrize("name", WITH_EXAMPLE)
def test_xlwings_layer_an_empty_required_argument_is_a_value_error(python, name):
    """The public rule: a required argument that is blank is #VALUE!."""
    for place, item in enumerate(FUNCTIONS[name].arguments):
        if item.is_required:
            arguments = arguments_of(name)
            arguments[place] = None
            same(through(python, name, arguments), [[CellError("#VALUE!")]])


@pytest.mark.parametrize("code", ["#N/A", "#DIV/0!", "#REF!", "#NUM!", "#NAME?", "#SPILL!"])
@pytest.mark.parametrize("name", WITH_EXAMPLE)
def test_xlwings_layer_an_error_cell_comes_out_as_the_same_error(python, name, code):
    """The public rule, for each argument that is given; inside a whole range too."""
    arguments = arguments_of(name)
    for place, value in enumerate(arguments):
        changed = list(arguments)
        if isinstance(value, tuple):
            changed[place] = ((layer.CODES[code], *value[0][1:]), *value[1:])
        else:
            changed[place] = layer.CODES[code]
        got = through(python, name, changed)
        assert {cell for row in got for cell in row} == {CellError(code)}
        assert all(isinstance(cell, CellError) for row in got for cell in row)


def iterated(name):
    """Places of the example's arguments that are single cells and may be a range."""
    entry = FUNCTIONS[name]
    if entry.table:
        return []
    return [
        place
        for place, (item, value) in enumerate(zip(entry.arguments, entry.examples[0].arguments, strict=False))
        if not item.is_whole_range
        and item.kind in ("number", "whole", "choice")
        and value is not None
        and not entry.whole
    ]


@pytest.mark.parametrize("name", [name for name in WITH_EXAMPLE if iterated(name)])
def test_xlwings_layer_rows_and_columns(python, name):
    """A range gives each element its scalar result; blank rows stay blank, errors stay put."""
    case = FUNCTIONS[name].examples[0]
    scalar = through(python, name, arguments_of(name))
    assert len(scalar) == 1
    for place in iterated(name)[:3]:
        item = FUNCTIONS[name].arguments[place]
        value = case.arguments[place]
        column = [[value], [None], [CellError("#REF!")], [value]]
        arguments = arguments_of(name)
        arguments[place] = layer.com(column)
        got = through(python, name, arguments)
        assert len(got) == 4
        assert got[0] == got[3] == pytest.approx(scalar[0], rel=1e-12)
        assert set(got[2]) == {"#REF!"}
        if item.is_required:
            assert set(got[1]) == {""}
        plain = list(case.arguments)
        plain[place] = column
        same(got, direct(name, plain))
        if len(FUNCTIONS[name].returns) == 1:
            arguments[place] = layer.com([[value, value, value]])
            assert through(python, name, arguments)[0] == pytest.approx(scalar[0] * 3, rel=1e-12)


def test_xlwings_layer_a_row_against_a_column_is_a_table(python):
    got = through(python, "BEAD_AREA", ["rectangle", ((2.0,), (3.0,)), ((1.0, 5.0, 7.0),)])
    assert got[0] == pytest.approx([2.0, 10.0, 14.0])  # width · height, by hand
    assert got[1] == pytest.approx([3.0, 15.0, 21.0])


def test_xlwings_layer_ten_thousand_rows_in_one_call(python):
    column = tuple((1.0 + row,) for row in range(10_000))
    got = through(python, "BEAD_AREA", ["mitre", column])
    assert len(got) == 10_000
    assert got[9] == [pytest.approx(50.0)]  # 10²/2


def test_xlwings_layer_texts_with_units_currency_and_dates(python):
    area = math.pi * 4.7625**2 / 4
    assert through(python, "BEAD_AREA", ["round", "3/16 in"])[0][0] == pytest.approx(area)
    assert through(python, "BEAD_AREA", ["mitre", Decimal("4")]) == [[8.0]]


def test_xlwings_layer_problems_are_kept_for_last_problems(python):
    through(python, "BEAD_AREA", ["half-round", -3.0])
    got = through(python, "LAST_PROBLEMS", [1.0])
    assert got == [["BEAD_AREA", "width", "-3", "above 0 mm"]]


def test_xlwings_layer_a_fault_of_the_program_is_an_error_with_its_reason(xlwings, monkeypatch):
    python, udfs = xlwings

    def broken(*_):
        raise RuntimeError("spoilt on purpose")

    monkeypatch.setattr(udfs, "evaluate", broken)
    assert through(python, "BEAD_AREA", ["round", 4.0]) == [[CellError("#VALUE!")]]
    monkeypatch.undo()
    assert "spoilt on purpose" in through(python, "LAST_PROBLEMS", [1.0])[0][3]


def test_every_function_is_registered_with_category_and_argument_help(xlwings):
    _, udfs = xlwings
    for name in NAMES:
        entry, known = FUNCTIONS[name], getattr(udfs, name).__xlfunc__
        assert known["name"] == name
        assert known["category"] == f"Dispense {entry.category}"
        assert known["ret"]["doc"] == function_help(entry) and len(known["ret"]["doc"]) <= 255
        assert entry.summary.rstrip(".") in known["ret"]["doc"]
        assert len(known["args"]) == len(entry.arguments)
        for shown, item in zip(known["args"], entry.arguments, strict=True):
            assert shown["options"]["ndim"] == 2 and shown["options"]["err_to_str"] is True
            assert ("optional" in shown) == (not item.is_required)
            assert len(shown["doc"]) <= 255
            if item.unit and item.unit not in ("as given",) and item.kind == "number":
                assert item.unit in shown["doc"]
            if item.default_text() and not shown["doc"].endswith("..."):
                assert f"default {item.default_text()}" in shown["doc"]


# ----------------------------------------------------------------------------------------- the mark


@given(st.text(st.sampled_from([MARK, "#", "N", "/", "A", "x", "V"]), max_size=8) | st.text())
def test_no_text_is_taken_for_an_error(text):
    shown = marked(text)
    assert unmarked(shown) == text
    assert not isinstance(unmarked(shown), CellError)


def test_errors_and_only_errors_come_out_as_errors():
    assert set(ERROR_NUMBERS) >= ERROR_TEXTS
    for code in ERROR_NUMBERS:
        assert isinstance(unmarked(marked(CellError(code))), CellError)
        assert not isinstance(unmarked(marked(MARK + code)), CellError)
    assert unmarked(marked(math.nan)) == unmarked(marked(-math.inf)) == "#NUM!"
    assert marked(None) == ""
    assert marked(numpy.float64(2)) == 2.0 and type(marked(3)) is float
    assert marked(True) is True


# ---------------------------------------------------------------------------------------------- VBA


@pytest.mark.parametrize("name", WITH_EXAMPLE)
def test_vba_gives_what_the_registry_gives(vba, name):
    case = FUNCTIONS[name].examples[0]
    wanted = direct(name, case.arguments)
    got = vba.call(name, *case.arguments)
    same(got if isinstance(got, list) else [[got]], wanted)
    if FUNCTIONS[name].arguments[0].kind == "number" and not FUNCTIONS[name].whole:
        assert vba.call(name, CellError("#DIV/0!"), *case.arguments[1:]) == "#DIV/0!"


def test_vba_turns_marked_reasons_into_errors_element_by_element(vba):
    got = vba.call("BEAD_AREA", "mitre", [4.0, -1.0, None, "x", CellError("#N/A")])
    assert [row[0] for row in got] == [8.0, "#NUM!", "", "#VALUE!", "#N/A"]
    assert [isinstance(row[0], CellError) for row in got] == [False, True, False, True, True]
    got = vba.call("BEAD_AREA", "mitre", [[4.0, -1.0, 2.0]])
    assert got == [[8.0, CellError("#NUM!"), 2.0]] and isinstance(got[0][1], CellError)
    got = vba.call("BEAD_AREA", "blob", 4.0)
    assert got == "#N/A" and isinstance(got, CellError)


def test_vba_reads_a_range_at_once_and_refuses_several_areas(vba):
    before = len(vba.calls)
    assert vba.raw("BEAD_AREA", "mitre", vba.area("J1:J2", [[4.0], [2.0]])) == [[8.0], [2.0]]
    assert len(vba.calls) == before + 1
    several = vba.excel.application.vba_get("Union", [vba.area("J1"), vba.area("L3")])
    got = vba.raw("BEAD_AREA", "mitre", several)
    assert isinstance(got, CellError) and got == "#VALUE!"


def test_vba_cuts_whole_columns_to_the_used_rows_before_they_travel(vba, monkeypatch):
    """By hand: a path along x from 0 to 19 mm is 19 mm long; a bead 2 high is twice as large as wide."""
    sent = []
    real = layer._to_com
    monkeypatch.setattr(layer, "_to_com", lambda value: sent.append(real(value)) or sent[-1])
    vba.area("R1:S20", [[float(step), 0.0] for step in range(20)])
    assert vba.raw("PATH_LENGTH", vba.area("R:S")) == 19.0
    assert max(len(block) for block in sent if isinstance(block, tuple)) == 20
    sent.clear()
    vba.area("U1:U3", [[1.0], [2.0], [3.0]])  # shorter than another column of the sheet
    got = vba.raw("BEAD_AREA", "rectangle", vba.area("U:U"), 2.0)
    assert got[:3] == [[2.0], [4.0], [6.0]] and {row[0] for row in got[3:]} == {""}
    assert len(got) == 20
    assert vba.raw("BEAD_AREA", "rectangle", vba.area("U1:U5"), 2.0)[3:] == [[""], [""]]  # as long as asked
    empty = vba.raw("BEAD_AREA", "rectangle", vba.area("U:U", sheet=1).vba_get("Offset", [0, 5]), 2.0)
    assert {row[0] for row in empty} == {""}


def test_vba_an_honest_text_that_begins_with_the_mark_stays_a_text(vba, xlwings, monkeypatch):
    _, udfs = xlwings
    monkeypatch.setattr(
        udfs, "evaluate", lambda *_: type("E", (), {"table": lambda self: [[MARK + "#NUM!", MARK, "#N/A"]]})()
    )
    got = vba.call("BEAD_AREA", "mitre", 1.0)
    assert got == [[MARK + "#NUM!", MARK, "#N/A"]]
    assert not any(isinstance(cell, CellError) for cell in got[0])


def fresh(python, version=None, **options):
    return layer.Vba(excel.vba_module(version or excel.xlwings_home()[1]), python, **options)


def said(vba):
    """What the button Why and LAST_PROBLEMS tell."""
    return vba.call("LAST_PROBLEMS")


def test_vba_starts_python_again_once_when_it_was_ended(python):
    vba = fresh(python)
    assert vba.call("BEAD_AREA", "mitre", 4.0) == 8.0
    vba.down = 1
    assert vba.call("BEAD_AREA", "mitre", 6.0) == 18.0
    assert vba.started == 2


def test_vba_a_start_that_failed_is_remembered(python):
    """xlwings waits a minute or two for a Python that does not come: once, not in each cell."""
    vba = fresh(python, "0.37.8", ready=False)
    got = [vba.call("BEAD_AREA", "mitre", float(width)) for width in range(1, 21)]
    got += [vba.raw("BEAD_AREA", "mitre", vba.area("A1:A9", [[1.0]] * 9))]
    assert got == ["#N/A"] * 21 and all(isinstance(cell, CellError) for cell in got)
    assert vba.started == 1
    assert "File not found: xlwings64.dll" in said(vba) and "made for xlwings 0.37.8" in said(vba)
    assert "Start again" in said(vba) and vba.started == 1  # a volatile function does not try either
    vba.ready = True
    assert vba.call("BEAD_AREA", "mitre", 4.0) == "#N/A"
    vba.raw("DispenseAgain")
    assert vba.started == 2 and vba.full == 1
    again = fresh(python, ready=False)
    again.call("BEAD_AREA", "mitre", 4.0)
    again.ready = True
    again.raw("DispenseAgain")
    assert again.call("BEAD_AREA", "mitre", 4.0) == 8.0


def test_vba_python_that_ends_at_every_call_is_not_started_in_each_cell(python):
    vba = fresh(python)
    vba.down = 100
    assert [vba.call("BEAD_AREA", "mitre", float(width)) for width in range(1, 11)] == ["#N/A"] * 10
    assert vba.started == 2 and "the server is not there" in said(vba)


@pytest.mark.parametrize(
    ("program", "code", "words"),
    [
        ("C:\\Python312\\python.exe", 0, "there is no file C:\\Python312\\python.exe"),
        ("python", 1, "python lacks dispense, xlwings or pywin32"),
        ("python", 9009, "python lacks"),  # of cmd: no such command, from memory
    ],
)
def test_vba_finds_a_wrong_python_before_xlwings_waits_for_it(python, program, code, words):
    vba = fresh(python)
    vba.settings["INTERPRETER_WIN"] = program
    vba.exit_code = code
    assert vba.call("BEAD_AREA", "mitre", 4.0) == "#N/A"
    assert vba.started == 0 and words in said(vba)


def test_vba_an_argument_that_is_neither_cell_nor_value_leaves_python_alone(python):
    vba = fresh(python)
    assert vba.call("BEAD_AREA", "mitre", 4.0) == 8.0
    assert vba.raw("BEAD_AREA", "mitre", vba.addin) == "#VALUE!"  # a workbook is no range
    assert vba.call("BEAD_AREA", "mitre", 6.0) == 18.0 and vba.started == 1


def test_vba_an_environment_of_conda_is_left_to_xlwings(python):
    vba = fresh(python)
    vba.settings["CONDA PATH"] = "C:\\conda"
    vba.exit_code = 1  # python outside of the environment lacks everything
    assert vba.call("BEAD_AREA", "mitre", 4.0) == 8.0 and vba.runs == []


def test_vba_runs_a_program_that_is_there_with_its_name_in_quotes(python):
    vba = fresh(python)
    program = r"C:\Program Files\Python 3\python.exe"
    vba.settings["INTERPRETER_WIN"] = program
    vba.files.add(program)
    assert vba.call("BEAD_AREA", "mitre", 4.0) == 8.0
    assert vba.runs == [f'"{program}" -c "import dispense, xlwings, win32com"']


def test_vba_the_function_dialog_never_starts_python(python):
    vba = fresh(python)
    vba.is_dialog = True
    assert vba.call("BEAD_AREA", "mitre", 4.0) == "#N/A" and vba.started == 0
    vba.is_dialog = False
    assert vba.call("BEAD_AREA", "mitre", 4.0) == 8.0  # nothing of it is remembered
    vba.is_dialog = True
    assert vba.call("BEAD_AREA", "mitre", 6.0) == 18.0  # where Python runs the dialog shows results


def test_vba_the_reasons_do_not_start_python(python):
    vba = fresh(python)
    assert "has not been started" in said(vba) and vba.started == 0


def test_vba_refuses_another_xlwings_with_a_clear_message(python):
    vba = fresh(python, "0.1.2")
    assert vba.call("BEAD_AREA", "mitre", 4.0) == "#N/A"
    assert f"Python has xlwings {excel.xlwings_home()[1]}; install xlwings==0.1.2" in said(vba)
    assert vba.calls == []


# trips --------------------------------------------------------------------------------------------


def test_vba_equal_calls_of_one_calculation_are_one_trip(python):
    vba = fresh(python)
    for _ in range(50):
        assert vba.call("BEAD_AREA", "mitre", 4.0) == 8.0
        assert vba.call("BEAD_AREA", "mitre", "4 mm") == 8.0
        assert vba.call("BEAD_AREA", "MITRE", 4.0) == 8.0
        assert vba.call("BEAD_AREA", "mitre", -1.0) == "#NUM!"
    assert len(vba.calls) == 4  # "mitre" and "MITRE" are two texts: a unit may differ by case alone
    vba.raw("DispenseForget")  # the calculation has ended
    vba.call("BEAD_AREA", "mitre", 4.0)
    assert len(vba.calls) == 5


def test_vba_numbers_that_differ_in_the_last_digit_are_not_equal_calls(python):
    vba = fresh(python)
    one, other = 4.0, math.nextafter(4.0, 5.0)
    assert vba.call("BEAD_AREA", "mitre", one) == 8.0
    assert vba.call("BEAD_AREA", "mitre", other) == pytest.approx(other**2 / 2, rel=0, abs=1e-15)
    assert len(vba.calls) == 2


def calculate(vba, rows, formula, call):
    """Excel computing a column of formulas in some order."""
    count = max(rows)
    vba.area(f"C1:C{count}").vba_set("Formula", formula)
    got = {}
    for row in rows:
        vba.caller = vba.area(f"C{row}")
        got[row] = call(row)
    vba.raw("DispenseForget")
    vba.caller = None
    return got


@pytest.mark.parametrize("order", ["down", "up"])
def test_vba_a_filled_down_formula_takes_few_trips(python, order):
    """mitre: width²/2, by hand. 5000 rows take 4 trips; so many here are computed to spare time."""
    vba = fresh(python)
    count = 240
    vba.area(f"A1:A{count}", [[1.0 + row] for row in range(1, count + 1)])
    rows = range(1, count + 1) if order == "down" else range(count, 0, -1)
    got = calculate(
        vba, rows, '=BEAD_AREA("mitre",A1)', lambda row: vba.raw("BEAD_AREA", "mitre", vba.area(f"A{row}"))
    )
    assert got == pytest.approx({row: (1.0 + row) ** 2 / 2 for row in rows}, rel=1e-15)
    assert len(vba.calls) <= count // 100


def test_vba_rows_asked_for_ahead_are_as_their_own_calls(python):
    """A fixed cell, a blank, a text, an error and a negative width, each as a call of its own gives it."""
    vba = fresh(python)
    widths = [2.0, 3.0, None, 4.0, "x", CellError("#N/A"), -1.0, "1 in", 5.0]
    vba.area(f"A1:A{len(widths)}", [[width] for width in widths])
    vba.area("B1", [[3.0]])
    got = calculate(
        vba,
        range(1, len(widths) + 1),
        '=BEAD_AREA("rectangle",A1,B$1)',
        lambda row: vba.raw("BEAD_AREA", "rectangle", vba.area(f"A{row}"), vba.area("B1")),
    )
    alone = {
        row: fresh(python).call("BEAD_AREA", "rectangle", width, 3.0) for row, width in enumerate(widths, 1)
    }
    assert got == alone
    assert [type(got[row]) for row in got] == [type(alone[row]) for row in got]
    assert len(vba.calls) == 2  # all rows, and the blank one alone


def test_vba_several_results_in_a_row_come_from_the_trip_of_all_rows(python):
    vba = fresh(python)
    entry = next(
        entry
        for entry in FUNCTIONS.values()
        if len(entry.returns) > 1
        and not entry.table
        and not entry.whole
        and entry.examples
        and not any(item.is_whole_range for item in entry.arguments)
        and entry.arguments[0].kind == "number"
    )
    first, *rest = entry.examples[0].arguments
    vba.area("A1:A6", [[first * (1 + row / 100)] for row in range(6)])
    got = calculate(
        vba, range(1, 7), f"={entry.name}(A1)", lambda row: vba.raw(entry.name, vba.area(f"A{row}"), *rest)
    )
    for row in range(6):
        same(got[row + 1], direct(entry.name, [first * (1 + row / 100), *rest]))
    assert len(vba.calls) == 1


def test_vba_rows_that_were_not_wanted_are_not_asked_for_again(python):
    """Each width comes from the cell above it, so that what is read ahead is never what is computed."""
    vba = fresh(python)
    count = 40
    vba.area(f"A1:A{count}", [[0.0]] * count)
    width = 2.0

    def call(row):
        nonlocal width
        width += 1
        vba.area(f"A{row}", [[width]])
        return vba.raw("BEAD_AREA", "mitre", vba.area(f"A{row}"))

    got = calculate(vba, range(1, count + 1), '=BEAD_AREA("mitre",A1)', call)
    assert got == pytest.approx({row: (2.0 + row) ** 2 / 2 for row in range(1, count + 1)}, rel=1e-15)
    assert len(vba.calls) <= count + 1


def where(vba, count=1):
    """What LAST_PROBLEMS says where it was."""
    table = vba.call("LAST_PROBLEMS", float(count))
    return [row[0] for row in table] if isinstance(table[0], list) else [table[0]]


def test_vba_a_reason_names_sheet_and_cell(python):
    """The calling cell; of a column filled down, and of one formula over a column, the cell of the row."""
    vba = fresh(python)
    vba.caller = vba.area("D7")
    sheet = vba.area("D7").vba_get("Worksheet").vba_get("Name")
    assert vba.call("BEAD_AREA", "round", -3.0) == CellError("#NUM!")
    assert where(vba) == [f"BEAD_AREA in {sheet}!D7"]
    vba.caller = vba.area("D10:D12")
    vba.call("BEAD_AREA", "mitre", ((2.0,), (-1.0,), (3.0,)))
    assert where(vba) == [f"BEAD_AREA in {sheet}!D11"]
    vba.caller = vba.area("F1")  # a sum over a range stands in one cell
    vba.call("BEAD_AREA", "mitre", ((2.0,), (-1.0,), (3.0,)))
    assert where(vba) == [f"BEAD_AREA (row 2, column 1) in {sheet}!F1"]
    widths = [2.0, 3.0, -1.0, 4.0, -2.0]
    vba.area("A1:A5", [[width] for width in widths])
    calculate(
        vba,
        range(1, 6),
        '=BEAD_AREA("mitre",A1)',
        lambda row: vba.raw("BEAD_AREA", "mitre", vba.area(f"A{row}")),
    )
    assert where(vba, 2) == [f"BEAD_AREA in {sheet}!C5", f"BEAD_AREA in {sheet}!C3"]
    vba.call("BEAD_AREA", "round", -3.5)  # no cell calls: a macro
    assert where(vba) == ["BEAD_AREA"]


# opening ------------------------------------------------------------------------------------------


def test_vba_opening_computes_nothing_and_the_texts_come_when_excel_is_ready(python):
    vba = fresh(python)
    vba.is_shown = False
    vba.raw("DispenseOpened")
    assert vba.timed == ["'Book1'!DispenseHelp"] and vba.started == 0
    vba.raw("DispenseHelp")
    assert vba.described == {}
    vba.is_shown = True  # a workbook is shown: the event calls it again
    vba.raw("DispenseHelp")
    assert sorted(vba.described) == NAMES
    vba.described.clear()
    vba.raw("DispenseHelp")
    assert vba.described == {} and vba.started == 0


def test_vba_registers_the_help_of_every_function_once(python):
    vba = fresh(python, "0.37.8")
    vba.raw("Auto_Open")
    vba.raw("DispenseHelp")
    assert sorted(vba.described) == NAMES
    for name, (words, category, notes) in vba.described.items():
        entry = FUNCTIONS[name]
        assert category == f"Dispense {entry.category}"
        assert words == function_help(entry) and len(words) <= 255
        assert len(notes) == len(entry.arguments)
        for note, item in zip(notes, entry.arguments, strict=True):
            assert note and len(note) <= 255
            if item.kind == "number" and item.unit not in ("", "as given"):
                assert item.unit in note  # the unit survives the ASCII spelling


class Opened:
    """A workbook as it stands in Excel with the links of its author."""

    def __new__(cls, links, refuses=False):
        from pyopenvba.interpreter import EMPTY, VBAObject, member, method

        class Book(VBAObject):
            changed: list = []

            @method
            def LinkSources(self, kind):
                return layer._from_com(links) if links else EMPTY

            @method
            def ChangeLink(self, old, new, kind):
                if refuses:
                    raise layer._vba_error("the sheet is protected")
                self.changed.append((str(old), str(new), int(kind)))

            @member
            def Saved(self):
                return self.__dict__.get("saved", True)

            @layer.setter_of("Saved")
            def _set_saved(self, value):
                self.saved = value

        return Book()


def test_vba_links_to_the_author_s_addin_are_led_to_this_one(python):
    vba = fresh(python, menu=excel.menu_module())
    vba.addin.name = "dispense.xlam"
    own = str(vba.addin.vba_get("FullName"))
    theirs = r"C:\Users\ann\AppData\Roaming\Microsoft\Excel\XLSTART\Dispense.xlam"
    cloud = "https://works.sharepoint.com/sites/line/dispense.xlam"
    book = Opened([theirs, r"C:\data\figures.xlsx", own, cloud])
    vba.raw("DispenseRelink", book, 0)
    # kind 1 is xlLinkTypeExcelLinks: Excel's reference of Workbook.ChangeLink
    assert book.changed == [(theirs, own, 1), (cloud, own, 1)]
    assert book.vba_get("Saved") is True
    vba.raw("DispenseRelink", Opened([]), 0)
    vba.raw("DispenseRelink", Opened([theirs], refuses=True), 0)  # a protected sheet stops nothing


def test_vba_buttons_run_commands_and_say_what_is_wrong(python):
    """The ribbon's callback with its control, as Office hands it over."""
    from pyopenvba.interpreter import VBAObject, member

    vba = fresh(python, menu=excel.menu_module())
    asked = []
    vba.command = lambda module, name, given: asked.append((module, name, given[1:])) or "all is well"

    def press(tag):
        class Control(VBAObject):
            @member
            def Tag(self):
                return tag

        vba.interpreter.dialogs.clear()
        vba.raw("DispensePressed", Control())
        return [text for _, text, _, _ in vba.interpreter.dialogs]

    assert "has not been started" in press("why")[0]
    assert press("check") == ["all is well"]
    assert asked == [("dispense.addin.excel_menu", "command", ("check",))]
    assert press("why") == ["Python runs"] and press("again") == ["Python runs"]
    assert press("links") == ["0 links to an add-in of another place now lead to this one"]
    vba.ready = False
    vba.raw("DispenseAgain")
    asked.clear()
    assert "File not found" in press("check")[0] and asked == []


def test_vba_marks_go_before_a_workbook_is_saved_and_trials_follow(python):
    vba = fresh(python, menu=excel.menu_module())
    asked = []
    vba.command = lambda module, name, given: asked.append((str(given[0].vba_get("Name")), given[1])) or ""
    sheet = vba.book.vba_get("Worksheets", [1])
    for name in ("dispense mark stop A1", "mine", "dispense mark quality B2"):
        shape = sheet.vba_get("Shapes").vba_get("AddShape", [1, 1, 1, 9, 9])
        shape.vba_set("Name", name)
    vba.raw("DispenseHideMarks", vba.book)
    assert [shape.name for shape in sheet.shapes_] == ["mine"]
    vba.raw("DispenseSaved", vba.book)
    vba.raw("DispenseEdited", vba.book)
    assert asked == [] and vba.started == 0  # an edit or a save starts no Python
    vba.call("BEAD_AREA", "mitre", 4.0)
    vba.raw("DispenseSaved", vba.book)
    vba.raw("DispenseEdited", vba.book)
    vba.book.name = "plan_try.xlsx"
    vba.raw("DispenseEdited", vba.book)
    assert asked == [("Book2", "saved"), ("plan_try.xlsx", "edited")]


# what VBA refuses ---------------------------------------------------------------------------------

# [MS-VBAL] 3.3.5.2 reserved identifiers, copied apart from the program's own list (from memory)
RESERVED_WORDS = (
    "abs addressof and any array as attribute boolean byref byte byval call case cbool cbyte ccur "
    "cdate cdbl cdec cint circle clng cstr csng currency cvar cverr date debug decimal declare dim "
    "do double each else elseif empty end endif enum eqv erase event exit false fix for friend "
    "function get global gosub goto if imp implements in input int integer is lbound len let like "
    "lock long loop lset me mod new next not nothing null on open option optional or paramarray "
    "preserve print private public put raiseevent redim rem resume return rset scale seek select "
    "set sgn shared single spc static stop string sub tab then to true type typeof ubound unlock "
    "until variant wend while with withevents write xor"
)
RESERVED = set(RESERVED_WORDS.split())
STRING = re.compile(r'"(?:[^"]|"")*"')


@pytest.fixture(scope="module")
def text():
    return excel.vba_module(excel.xlwings_home()[1])


def logical(text):
    """Lines with their continuations joined; texts and comments taken out."""
    bare = [STRING.sub('""', line).partition("'")[0].rstrip() for line in text.split("\n")]
    lines, held = [], ""
    for line in bare:
        if line.endswith(" _"):
            held += line[:-1]
        else:
            lines.append(held + line)
            held = ""
    return lines


def test_vba_text_lines_and_characters(text):
    assert text.isascii()
    lines = text.split("\n")
    # "Line is too long" beyond 1023 characters: Visual Basic's help, from memory
    assert max(map(len, lines)) <= 1023
    run = 0
    for line in lines:
        run = run + 1 if line.endswith(" _") else 0
        assert run <= 24
    for line in lines:
        assert line.count('"') % 2 == 0 or line.lstrip().startswith("'")


def test_vba_text_procedures_are_small_enough(text):
    """VBA refuses a procedure above 64 KB."""
    for body in re.split(r"(?m)^(?=(?:Public|Private) (?:Function|Sub))", text):
        assert len(body) < 48_000


def test_vba_text_identifiers(text):
    # a member behind a dot is found whatever its case, by its name
    words = [word for line in logical(text) for word in re.findall(r"(?<![\w.])[A-Za-z]\w*", line)]
    spellings: dict[str, set[str]] = {}
    for word in words:
        assert len(word) <= 255
        spellings.setdefault(word.lower(), set()).add(word)
    clashes = {word: found for word, found in spellings.items() if len(found) > 1}
    assert not clashes


def test_vba_text_argument_names_and_counts(text):
    found = 0
    for line in logical(text):
        match = re.match(r"Public Function (\w+)\((.*)\) As Variant$", line)
        if not match:
            continue
        found += 1
        names = [part.replace("Optional ", "").split(" As ")[0] for part in match[2].split(", ")]
        assert len(names) <= 60
        assert len({name.lower() for name in names}) == len(names)
        for name in names:
            assert name.lower() not in RESERVED and name.lower() not in VBA_WORDS
            assert re.fullmatch(r"[A-Za-z]\w*", name)
            assert name.upper() not in FUNCTIONS
        optional = ["Optional" in part for part in match[2].split(", ")]
        assert optional == sorted(optional)  # a required argument may not follow an optional one
    assert found == len(FUNCTIONS)


def test_argument_names_that_vba_has_a_use_for_are_changed():
    assert RESERVED <= VBA_WORDS
    assert argument_name("loop") == "loop_" and argument_name("Time") == "Time_"
    assert argument_name("bead_area") == "bead_area_"
    assert argument_name("width") == "width"


def test_function_names_are_no_cells_no_natives_and_no_names_of_xlwings(text):
    from openpyxl.utils import FORMULAE
    from pyopenvba import ExcelFile
    from pyopenvba.formula._calc.catalog import EXCEL_FUNCTIONS

    for name in FUNCTIONS:
        assert not re.fullmatch(r"[A-Z]{1,3}\d+", name)  # A1 style
        assert not re.fullmatch(r"R\d*(C\d*)?|C\d*", name)  # R1C1 style
        assert name.lower() not in RESERVED and name != "DispenseFunctions".upper()
    home, _ = excel.xlwings_home()
    with ExcelFile(home / "quickstart_standalone.xlsm") as book:
        theirs = book.vba_modules()["xlwings"]
    taken = {match.lower() for match in re.findall(r"(?mi)^(?:Public )?(?:Function|Sub) (\w+)", theirs)}
    ours = {match.lower() for match in re.findall(r"(?mi)^Public (?:Function|Sub) (\w+)", text)}
    assert len(taken) > 20 and not ours & taken
    natives = set(FORMULAE) | {str(word).upper() for word in EXCEL_FUNCTIONS}
    assert "SUMPRODUCT" in natives and not natives & set(FUNCTIONS)


def test_vba_text_of_any_text_is_ascii_and_reads_back():
    from pyopenvba.interpreter import Interpreter

    texts = ["mm² and °C", 'a "quoted" word', "Pa·sⁿ √h θ", "", "𝛼 beyond", "tab\there", "\ue000"]
    body = "\n".join(f"    all({place}) = {excel.vba_text(item)}" for place, item in enumerate(texts))
    program = (
        f"Public Function Texts() As Variant\n    Dim all({len(texts) - 1}) As String\n"
        f"{body}\n    Texts = all\nEnd Function\n"
    )
    assert program.isascii()
    machine = Interpreter()
    machine.add_module(program, name="Module1")
    got = [str(item) for item in machine.run("Texts", []).items]
    joined = [item.encode("utf-16", "surrogatepass").decode("utf-16") for item in got]
    assert joined == texts


def test_long_help_is_broken_into_statements_that_fit():
    lines = list(excel.assign("words", "é" * 255))
    assert len(lines) > 1 and max(map(len, lines)) <= 1000
    assert sum(line.count("ChrW$") for line in lines) == 255


# ------------------------------------------------------------------------------------------- files


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    return excel.build(tmp_path_factory.mktemp("excel"))


def test_build_is_the_same_bytes_each_time(built, tmp_path):
    again = excel.build(tmp_path)
    for one, other in zip(built, again, strict=True):
        assert one.name == other.name
        assert one.read_bytes() == other.read_bytes()


def test_the_workbook_and_the_addin_hold_the_module(built, text):
    from pyopenvba import ExcelFile, check_file

    assert [path.name for path in built] == [
        "dispense.xlsm",
        "dispense.xlam",
        "DispenseFunctions.bas",
        "dispense-calculations.xlsx",
    ]
    for path in built[:2]:
        with ExcelFile(path) as book:
            modules = book.vba_modules()
            assert book.validate() == []
        assert modules["DispenseFunctions"].replace("\r\n", "\n").rstrip() == text.rstrip()
        assert "Workbook_Open" in modules["ThisWorkbook"] and "XLPy" in modules["xlwings"]
        assert "Module1" not in modules
        assert excel.made_for(path) == excel.xlwings_home()[1]
        report = check_file(path)
        assert not report.issues
    bas = built[2].read_bytes()
    assert bas.startswith(b'Attribute VB_Name = "DispenseFunctions"\r\n')
    assert b"\n" not in bas.replace(b"\r\n", b"")


def test_every_module_of_the_workbook_compiles_in_the_interpreter(built):
    from pyopenvba import ExcelFile
    from pyopenvba.interpreter import parse_module

    with ExcelFile(built[0]) as book:
        modules = book.vba_modules()
    for name in ("DispenseFunctions", "DispenseMenu", "ThisWorkbook"):
        assert parse_module(modules[name].replace("WithEvents ", ""))  # a word that the interpreter lacks


def test_an_independent_parser_finds_nothing_in_our_modules(tmp_path):
    """pyvbaanalysis reads VBA by a parser of its own: undeclared names, unknown calls, wrong arguments.

    A few functions stand for all, which are made alike; xlwings' module and Excel's own are not at hand here.
    """
    pytest.importorskip("pyvbaanalysis")
    few = [FUNCTIONS[name] for name in ("BEAD_AREA", "PATH_LENGTH", "LAST_PROBLEMS", "MIX_SPLIT")]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(excel, "FUNCTIONS", {entry.name: entry for entry in few})
        functions = excel.vba_module("0.37.8")
    stand_in = "Option Explicit\n" + "".join(
        f"Public Function {head} As {kind}\n    {head.partition('(')[0]} = {value}\nEnd Function\n"
        for head, kind, value in (
            ("GetConfig(key_ As String, other As String)", "String", "other & key_"),
            ("FileExists(name_ As String)", "Boolean", 'name_ <> ""'),
        )
    )
    stand_in += "Public Function XLPy() As Object\n    Set XLPy = Nothing\nEnd Function\n"
    head = (
        'VERSION 1.0 CLASS\nBEGIN\n  MultiUse = -1\nEND\nAttribute VB_Name = "ThisWorkbook"\n'
        "Attribute VB_PredeclaredId = True\nAttribute VB_Exposed = True\n"
    )
    for name, text in {
        "DispenseFunctions.bas": functions,
        "DispenseMenu.bas": excel.menu_module(),
        "ThisWorkbook.cls": head + excel.vba_source("ThisWorkbook.cls"),
        "Theirs.bas": f'Attribute VB_Name = "Theirs"\n{stand_in}',
    }.items():
        (tmp_path / name).write_text(text)
    done = subprocess.run(
        [sys.executable, "-m", "pyvbaanalysis", "--format", "json", "--whole-project", str(tmp_path)],
        capture_output=True,
        text=True,
    )
    found = [
        (module["module"], item["line"], item["code"], item["message"])
        for project in json.loads(done.stdout)
        for module in project["modules"]
        if module["module"] != "Theirs"
        for item in module["diagnostics"]
        if item["code"] != "event-handler-module-scope"  # a loose file does not tell whose module it is
    ]
    assert found == []


def test_the_ribbon_is_as_its_schema_says_and_its_callbacks_are_there(built):
    """Attributes and children of the 2009 customUI schema, from the tables that openxml-audit ships."""
    audit = pytest.importorskip("openxml_audit")
    from lxml import etree

    data = Path(audit.__file__).parent / "data" / "openxml" / "schemas"
    schema = json.loads((data / "schemas_microsoft_com_office_2009_07_customui.json").read_text())
    kinds = {item["Name"]: item for item in schema["Types"]}
    with zipfile.ZipFile(built[1]) as archive:
        names = set(archive.namelist())
        links = etree.fromstring(archive.read("_rels/.rels"))
        root = etree.fromstring(archive.read("customUI/customUI14.xml"))
        types = archive.read("[Content_Types].xml")
    assert root.tag == f"{{{schema['TargetNamespace']}}}customUI"
    (link,) = [item for item in links if item.get("Type").endswith("/ui/extensibility")]
    assert link.get("Target") in names and b'Extension="xml"' in types

    def check(element, kind):
        allowed = {item["QName"].lstrip(":"): item for item in kinds[kind].get("Attributes", [])}
        assert set(element.attrib) <= set(allowed), (element.tag, set(element.attrib) - set(allowed))
        for name, value in element.attrib.items():
            for rule in allowed[name].get("Validators", []):
                limits = {item["Name"]: item["Value"] for item in rule.get("Arguments", [])}
                assert len(value) <= int(limits.get("MaxLength", 1024)), (name, value)
                assert len(value) >= int(limits.get("MinLength", 0))
        children = {item["Name"].rpartition(":")[2]: item["Name"] for item in kinds[kind].get("Children", [])}
        for child in element:
            assert etree.QName(child).localname in children, (element.tag, child.tag)
            check(child, children[etree.QName(child).localname])

    check(root, "mso14:CT_CustomUI/mso14:customUI")
    # a text and the callback that gives it exclude each other: [MS-CUSTOMUI2], from memory
    for item in root.iter():
        assert not {f"get{name[0].upper()}{name[1:]}" for name in item.attrib} & set(item.attrib)
    buttons = list(root.iter("{*}button"))
    identities = [item.get("id") for item in root.iter() if item.get("id")]
    assert len(set(identities)) == len(identities)
    tags = [item.get("tag") for item in buttons]
    assert tags == [*COMMANDS, "pane", "again", "why", "links"]
    menu = excel.menu_module()
    # one that acts takes one argument, one that gives a text a second: Office's ribbon reference, from memory
    for item in root.iter():
        for attribute, name in item.attrib.items():
            more = ", ByRef returned As Variant" * attribute.startswith("get")
            if attribute == "onAction" or more:
                assert re.search(rf"(?m)^Public Sub {name}\(ByVal control As IRibbonControl{more}\)$", menu)


def test_each_button_has_its_own_picture(built):
    """Links and kinds of parts as ECMA-376-2 (OPC) has them; Pillow reads each picture."""
    from lxml import etree
    from PIL import Image

    with zipfile.ZipFile(built[1]) as archive:
        root = etree.fromstring(archive.read("customUI/customUI14.xml"))
        links = etree.fromstring(archive.read("customUI/_rels/customUI14.xml.rels"))
        types = etree.fromstring(archive.read("[Content_Types].xml"))
        targets = {item.get("Id"): item.get("Target") for item in links}
        wanted = [item.get("image") for item in root.iter("{*}button")]
        assert sorted(targets) == sorted(wanted) and len(set(wanted)) == len(wanted)
        assert {item.get("Type").rpartition("/")[2] for item in links} == {"image"}
        pictures = set()
        for name in wanted:
            image = Image.open(io.BytesIO(archive.read(f"customUI/{targets[name]}")))
            assert image.format == "PNG" and image.size == (32, 32)
            pictures.add(image.tobytes())
    assert len(pictures) == len(wanted)
    (kind,) = [item.get("ContentType") for item in types if item.get("Extension") == "png"]
    assert kind == "image/png"


# numbers of [MS-LCID] (from memory): Austria, Mexico, France, the United States
@pytest.mark.parametrize(("number", "code"), [(3079, "de"), (2058, "es"), (1036, ""), (1033, "")])
def test_the_ribbon_speaks_the_language_of_excel(python, number, code):
    """Labels, tips and what is said, from the word list read apart; the same words as in Calc's menu."""
    from pyopenvba.interpreter import VBAObject, member

    words = {}
    if code:
        with (WORDS / f"{code}.csv").open(encoding="utf-8", newline="") as file:
            words = dict(csv.reader(file))
    vba = fresh(python, menu=excel.menu_module())
    vba.language = number

    def told(callback, name):
        class Control(VBAObject):
            @member
            def Tag(self):
                return name

            @member
            def ID(self):
                return f"dispense_{name}"

        return vba.answered(callback, Control())

    for item in COMMANDS.values():
        bare = item.label.rstrip("…")
        shown = words[bare] if code else bare
        assert told("DispenseLabel", item.name) == shown + item.label[len(bare) :]
        assert told("DispenseTip", item.name) == shown
        assert told("DispenseHelpOf", item.name) == (words[item.help] if code else item.help)
    assert told("DispenseLabel", "again") == words.get("Start again", "Start again")
    started = "Python has not been started: it starts with the first function or button"
    assert said(vba) == words.get(started, started)
    vba.ready = False
    vba.call("BEAD_AREA", "mitre", 4.0)
    again = "Then press Start again on the tab Dispense, or run the macro DispenseAgain"
    assert said(vba).endswith(words.get(again, again))


def test_the_workbook_has_no_tab_of_its_own(built):
    """Beside the add-in two tabs of one name would stand side by side."""
    with zipfile.ZipFile(built[0]) as archive:
        assert not any("customUI" in name for name in archive.namelist())


def test_nothing_is_computed_when_the_addin_opens(built):
    with zipfile.ZipFile(built[1]) as archive:
        book = archive.read("xl/workbook.xml")
        sheets = [archive.read(name) for name in archive.namelist() if "worksheets/sheet" in name]
        texts = archive.read("xl/sharedStrings.xml")
    assert b"fullCalcOnLoad" not in book and b"calcPr" not in book
    assert len(sheets) == 2 and not any(b"<f>" in sheet or b"<f " in sheet for sheet in sheets)
    assert b"BEAD_VOLUME" in texts  # the list is there all the same


def test_only_our_functions_can_be_seen_from_cells(built):
    """VBA shows the functions of a module without `Option Private Module` to cells and to their wizard."""
    from pyopenvba import ExcelFile

    with ExcelFile(built[1]) as book:
        modules = book.vba_modules()
        assert [item.name for item in book.references()] == ["Office"]
    seen = set()
    for name, source in modules.items():
        if (
            "Option Private Module" not in source
            and "VB_PredeclaredId" not in source
            and name != "Dictionary"
        ):
            seen |= set(re.findall(r"(?mi)^(?:Public )?Function (\w+)", source))
    assert seen == set(FUNCTIONS)
    assert "Option Private Module" in modules["xlwings"]


def test_the_calculation_workbook_names_functions_as_excel_does(built):
    from openpyxl import load_workbook

    formulas = [
        str(cell.value)
        for sheet in load_workbook(built[3])
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str) and cell.value.startswith("=")
    ]
    assert any("BEAD_AREA(" in text for text in formulas)
    assert not any("DISPENSE." in text.upper() for text in formulas)


def test_the_files_are_whole_and_name_nobody(built):
    from lxml import etree

    for path, kind in zip(built[:2], ("sheet", "addin"), strict=True):
        with zipfile.ZipFile(path) as archive:
            assert archive.testzip() is None
            parts = {name: archive.read(name) for name in archive.namelist()}
        for name, data in parts.items():
            if name.endswith((".xml", ".rels")):
                etree.fromstring(data)
                assert b"felix" not in data.lower() and b"C:\\" not in data
        assert f"ms-excel.{kind}.macroEnabled".encode() in parts["[Content_Types].xml"]
        assert (b'visibility="hidden"' in parts["xl/workbook.xml"]) == (kind == "addin")
        assert sys.prefix.encode() not in b"".join(parts.values())


def test_the_sheet_lists_every_function_and_carries_values(built):
    from openpyxl import load_workbook

    formulas = load_workbook(built[0])["Dispense"]
    values = load_workbook(built[0], data_only=True)
    sheet = values["Dispense"]
    listed = {str(cell.value).partition("(")[0] for cell in sheet["A"] if cell.value}
    assert set(FUNCTIONS) <= listed
    for row in range(5, sheet.max_row + 1):
        if formulas.cell(row, 3).value:
            assert str(formulas.cell(row, 3).value).startswith("=")
            assert sheet.cell(row, 3).value == pytest.approx(sheet.cell(row, 4).value, rel=1e-12)
            assert sheet.cell(row, 5).value == "ok"
    # xlwings takes a row of this sheet before the user's own file even where the row is empty (its VBA,
    # GetConfig), so that only what is known may stand here
    settings = values["xlwings.conf"]
    rows = {row[0]: row[1] for row in settings.iter_rows(max_row=9, values_only=True) if row[0]}
    assert rows == {"ADD_WORKBOOK_TO_PYTHONPATH": "False"}
    assert excel.settings_rows("C:/python.exe")[0] == ["Interpreter_Win", "C:/python.exe"]


def test_made_for_of_other_files_is_none(tmp_path):
    other = tmp_path / "other.xlsm"
    other.write_bytes(b"not a workbook")
    assert excel.made_for(other) is None
    assert excel.made_for(excel.xlwings_home()[0] / "quickstart_standalone.xlsm") is None


# ---------------------------------------------------------------------------------- install, status


def test_install_away_from_windows_says_what_to_do(monkeypatch):
    monkeypatch.setattr(excel.sys, "platform", "linux")
    said = excel.install()["done"]
    assert "nothing was installed" in said and "XLSTART" in said
    found = excel.status()
    assert found["ready"] is False and found["installed"] is None and found["problems"]
    assert excel.uninstall()["done"] == "there is no add-in to take away"


def test_install_puts_the_addin_into_the_startup_folder(monkeypatch, tmp_path):
    monkeypatch.setattr(excel.sys, "platform", "win32")
    monkeypatch.setenv("APPDATA", str(tmp_path))
    machine = Machine(sys.executable, str(tmp_path), excel_bits=64, dlls=("xlwings64-1.dll",))
    monkeypatch.setattr(excel, "this_machine", lambda folder, starts: machine)
    assert excel.status()["installed"] is None
    assert "is in place" in excel.install()["done"]
    place = tmp_path / "Microsoft" / "Excel" / "XLSTART" / "dispense.xlam"
    found = excel.status()
    assert found["installed"] == str(place) and found["ready"] and not found["problems"]
    assert found["functions"] == len(FUNCTIONS)
    with zipfile.ZipFile(place) as archive:  # Excel shall start this very Python
        text = b"".join(archive.read(name) for name in archive.namelist() if "xml" in name)
    assert sys.executable.encode() in text
    assert excel.interpreter_of(place) == sys.executable
    bare = dataclasses.replace(machine, dlls=())
    monkeypatch.setattr(excel, "this_machine", lambda folder, starts: bare)
    assert "Excel has 64 bits" in excel.status()["problems"][0] and not excel.status()["ready"]
    monkeypatch.setattr(excel, "made_for", lambda path: "0.1.2")
    assert "made for xlwings 0.1.2" in excel.status()["problems"][0]
    excel.uninstall()
    assert not place.exists()


def test_without_xlwings_the_functions_are_there_and_build_says_what_is_missing():
    code = (
        "import sys; sys.modules['xlwings'] = None\n"
        "from dispense.addin import excel, excel_udfs\n"
        "import importlib.util as u; u.find_spec = lambda name: None\n"
        "print(excel_udfs.BEAD_AREA('mitre', [[4.0]]))\n"
        "print(excel.status()['problems'][0])\n"
        "from dispense.base.errors import DispenseError\n"
        "try: excel.build('.')\n"
        "except DispenseError as error: print(error)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    lines = done.stdout.splitlines()
    assert lines[0] == "8.0"
    assert "pip install xlwings" in lines[1] and "pip install xlwings" in lines[2]
    assert issubclass(DispenseError, Exception)


@pytest.mark.libreoffice
def test_libreoffice_reads_the_vba_project(built, tmp_path):
    """An outside reader of the VBA storage finds every module with its source."""
    import shutil

    soffice = shutil.which("soffice") or shutil.which("libreoffice")
    if soffice is None:
        pytest.skip("LibreOffice is not installed")
    profile = (tmp_path / "profile").as_uri()
    subprocess.run(
        [
            soffice,
            "--headless",
            f"-env:UserInstallation={profile}",
            "--convert-to",
            "ods",
            "--outdir",
            str(tmp_path),
            str(built[0]),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    with zipfile.ZipFile(tmp_path / "dispense.ods") as archive:
        names = set(archive.namelist())
        source = archive.read("Basic/VBAProject/DispenseFunctions.xml").decode()
    assert {"Basic/VBAProject/xlwings.xml", "Basic/VBAProject/ThisWorkbook.xml"} <= names
    assert "Basic/VBAProject/Module1.xml" not in names
    for name in FUNCTIONS:
        assert f"Public Function {name}(" in source


def test_xlwings_reads_our_settings_and_starts_the_program_in_quotes(tmp_path):
    """xlwings' own VBA (GetConfig, XLPyCommand) over the built workbook gives the command it would start.

    Only what asks Windows is replaced: whether a file exists, environment variables, the place on OneDrive.
    """
    from pyopenvba import ExcelFile
    from pyopenvba.apps.excel import ExcelApplication

    program = r"C:\Program Files\Python ü\python.exe"
    workbook = excel.build(tmp_path, interpreter=program)[0]
    with ExcelFile(workbook) as book:
        source = book.vba_modules()["xlwings"]
    source = re.sub(r"(?m)^(\s*#(?:Const|If|ElseIf|Else|End If)[^'\r\n]*)'.*$", r"\1", source)
    for name, given_, answer in (
        ("FileExists", "ByVal FileSpec As String", "False"),
        ("ExpandEnvironmentStrings", "ByVal s As String", "s"),
        ("GetConfigFilePath", "", '""'),
        ("GetFullName", "wb As Workbook", '""'),
    ):
        stub = f"Function {name}({given_})\n    {name} = {answer}\nEnd Function"
        source, count = re.subn(rf"(?ms)^Function {name}\(.*?^End Function", stub, source)
        assert count == 1
    source = source.replace('GetConfig("SHOW CONSOLE", False) = True', 'GetConfig("SHOW CONSOLE", False)')
    app = ExcelApplication.open(workbook, with_vba=False)
    app.add_module(source, name="xlwings")
    command = app.run("XLPyCommand")
    assert command.startswith(f'cmd.exe  /K ""{program}" -B -c ')
    # the first field says whether the folder of the workbook goes on Python's path
    assert r"prepare_sys_path(\"False;" in command and command.endswith('""')
