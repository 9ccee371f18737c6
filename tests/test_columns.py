"""Columns of many rows: computed in blocks, each row as the single cell, inputs left alone."""

from __future__ import annotations

import numpy as np
import pytest

from dispense.errors import NUM, InputError
from dispense.functions import FUNCTIONS, call, evaluate

ROWS = 30_001  # more than two blocks, the last of them short

# results of outside sources, named beside each example where the function is declared
EXAMPLES = [
    pytest.param(name, item, id=f"{name}-{number}")
    for name, entry in FUNCTIONS.items() if entry.is_elementwise
    for number, item in enumerate(entry.examples)
    if any(type(value) in (int, float) for value in item.arguments)
]  # fmt: skip


@pytest.mark.parametrize(("name", "item"), EXAMPLES)
def test_every_row_is_the_example(name, item):
    given = [np.full(ROWS, float(value)) if type(value) in (int, float) else value
             for value in item.arguments]  # fmt: skip
    before = [np.copy(value) for value in given]
    found = evaluate(name, given)
    assert not found.problems
    expected = item.result if isinstance(item.result, tuple) else (item.result,)
    for column, value in zip(found.values, expected, strict=True):
        if value is not None:
            assert column.shape == (ROWS,)
            np.testing.assert_allclose(column, value, rtol=item.tolerance, atol=item.tolerance)
    for value, old in zip(given, before, strict=True):
        np.testing.assert_array_equal(value, old)


def test_area_of_circles_row_by_row():
    # A = π d²/4, elementary geometry; a block and a row of it may not change places
    width = np.linspace(0.5, 9.0, ROWS)
    np.testing.assert_allclose(call("BEAD_AREA", "round", width), np.pi * width**2 / 4, rtol=1e-13)
    square = np.linspace(0.5, 9.0, 30_000).reshape(300, 100)
    np.testing.assert_allclose(call("BEAD_AREA", "round", square), np.pi * square**2 / 4, rtol=1e-13)
    turned = square.T  # not contiguous
    np.testing.assert_allclose(call("BEAD_AREA", "round", turned), np.pi * turned**2 / 4, rtol=1e-13)


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf"), 1e308])
def test_one_bad_row_fails_alone(bad):
    # a width of 0 or less is none; 1e308 mm has no area that is a number
    width = np.linspace(0.5, 9.0, ROWS)
    width[-2] = bad
    found = evaluate("BEAD_AREA", ("round", width))
    assert found.codes[-2] == NUM
    assert np.count_nonzero(found.codes != "") == 1
    np.testing.assert_allclose(found.values[0][-1], np.pi * 81 / 4, rtol=1e-13)
    with pytest.raises(InputError) as raised:
        call("BEAD_AREA", "round", width)
    assert len(raised.value.problems) == 1


def test_conditions_hold_in_every_block():
    # the bond line ends no higher than it starts: the condition is broken in the last row only
    start, end = np.full(ROWS, 2.0), np.full(ROWS, 0.2)
    end[-1] = 3.0
    found = evaluate("SQUEEZE_TIME", (100.0, 10.0, start, end, 50.0))
    assert found.codes[-1] == NUM
    assert not np.any(found.codes[:-1] != "")


def test_whole_numbers_stay_whole():
    # half a cell displaces nothing: a count is a whole number
    count = np.full(ROWS, 4.0)
    assert not evaluate("CELL_DISPLACEMENT", (count, 18.0, 10.0)).problems
    count[20_000] = 2.5
    assert evaluate("CELL_DISPLACEMENT", (count, 18.0, 10.0)).codes[20_000] == NUM


def test_newtonian_rows_beside_rows_with_a_yield_stress():
    # Hagen–Poiseuille 128 μ L Q / (π D⁴), by hand, whatever stands in the other rows
    stress = np.zeros(ROWS)
    stress[::2] = 100.0
    found = call("NOZZLE_PRESSURE", 0.5, 6.0, 72.0, 5.0, 1.0, stress)
    newtonian = 128 * 5.0 * 0.072 * 0.5e-6 / (np.pi * 0.006**4) / 1e5
    np.testing.assert_allclose(found[1::2], newtonian, rtol=1e-12)
    assert np.all(found[::2] > newtonian)
    np.testing.assert_allclose(call("NOZZLE_PRESSURE", 0.5, 6.0, 72.0, 5.0), newtonian, rtol=1e-12)
