"""Columns of many rows: computed in parts, each row as the single cell, inputs left alone."""

from __future__ import annotations

import numpy as np
import pytest

from dispense.base.errors import NUM, InputError
from dispense.base.units import SHOP_UNITS, read_quantity
from dispense.handbook.catalogue import FUNCTIONS, call, evaluate

ROWS = 60_001  # more than two parts, the last of them short

# results of outside sources, named beside each example where the function is declared
EXAMPLES = [
    pytest.param(name, item, id=f"{name}-{number}")
    for name, entry in FUNCTIONS.items()
    if entry.is_elementwise
    for number, item in enumerate(entry.examples)
    if any(type(value) in (int, float) for value in item.arguments)
]


@pytest.mark.parametrize(("name", "item"), EXAMPLES)
def test_every_row_is_the_example(name, item):
    given = [
        np.full(ROWS, float(value)) if type(value) in (int, float) else value for value in item.arguments
    ]
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


# ------------------------------------------------------ functions computed in shop units, by `system`

IN_SHOP_UNITS = [name for name, entry in FUNCTIONS.items() if entry.system]
# powers of length and time in the units of those functions, by hand
POWERS = {
    "mm": (1, 0),
    "mm²": (2, 0),
    "mL": (3, 0),
    "mm/s": (1, -1),
    "mL/s": (3, -1),
    "h": (0, 1),
    "min": (0, 1),
    "mm/√h": (1, -0.5),
    "": (0, 0),
    "deg": (0, 0),
    "°C": (0, 0),
    "K": (0, 0),
    "kJ/mol": (0, 0),
}


def _calls(name):
    """Arguments of the examples, numbers spread at random; each choice keeps its text."""
    random = np.random.default_rng(5)
    for item in FUNCTIONS[name].examples:
        yield [
            value * random.uniform(0.9, 1.1, 400)
            if type(value) in (int, float) and field.kind == "number"
            else value
            for value, field in zip(item.arguments, FUNCTIONS[name].arguments, strict=False)
        ]


def _si(value, unit):
    shop = SHOP_UNITS[unit]
    return value * shop.factor + shop.offset


@pytest.mark.parametrize("name", IN_SHOP_UNITS)
def test_shop_units_give_what_si_gives(name):
    # the kernel by itself in SI, converted by hand, is the other way to the same number
    entry = FUNCTIONS[name]
    for given in _calls(name):
        inside = [
            _si(value, field.unit) if isinstance(value, np.ndarray | int | float) else value
            for value, field in zip(given, entry.arguments, strict=False)
        ]
        shop = SHOP_UNITS[entry.returns[0].unit]
        expected = np.broadcast_to(entry.kernel(*inside), 400) / shop.factor
        np.testing.assert_allclose(call(name, *given), expected, rtol=1e-13)
        for row in (0, 399):  # a single cell is the row of a column
            cells = [value[row] if isinstance(value, np.ndarray) else value for value in given]
            cells = [float(value) if isinstance(value, np.floating) else value for value in cells]
            np.testing.assert_allclose(call(name, *cells), expected[row], rtol=1e-13)


@pytest.mark.parametrize("name", IN_SHOP_UNITS)
def test_kernels_in_shop_units_are_homogeneous(name):
    # counted in other lengths and times the numbers change by their powers and the answer too:
    # Buckingham; a constant in metres or seconds hidden in the kernel would break it
    entry = FUNCTIONS[name]
    times = any(SHOP_UNITS[unit].si == "s" for unit in entry.system)
    length, time = 7.3, 3.1 if times else 1.0
    for given in _calls(name):
        scaled = [
            value * length ** POWERS[field.unit][0] * time ** POWERS[field.unit][1]
            if isinstance(value, np.ndarray)
            else value
            for value, field in zip(given, entry.arguments, strict=False)
        ]
        power = POWERS[entry.returns[0].unit]
        np.testing.assert_allclose(
            entry.kernel(*scaled), entry.kernel(*given) * length ** power[0] * time ** power[1], rtol=1e-12
        )


def test_whole_millimetres_stay_whole():
    # 10 mm × 5 mm = 50 mm², exactly: no detour over metres
    sides = np.arange(1.0, 200.0)
    assert call("BEAD_AREA", "rectangle", 10, 5) == 50.0
    np.testing.assert_array_equal(
        call("BEAD_AREA", "rectangle", sides, sides[::-1].copy()), sides * sides[::-1]
    )


def test_a_column_and_its_result_share_nothing():
    length = np.linspace(0.0, 90.0, ROWS)
    found = call("MOISTURE_DEPTH", length, 3.0)
    assert not np.shares_memory(found, length)
    assert length.flags.writeable and found.flags.writeable
    found[:] = -1.0
    assert length[-1] == 90.0


@pytest.mark.parametrize("bad", [-1e-300, -1.0, -np.inf, np.inf, np.nan, -np.nan])
def test_a_time_of_0_is_one_and_a_bad_one_is_found(bad):
    time = np.linspace(0.0, 90.0, ROWS)  # z = k √t, at t = 0 nothing has cured
    time[1] = -0.0
    np.testing.assert_allclose(call("MOISTURE_DEPTH", time, 3.0), 3 * np.sqrt(time), rtol=1e-13)
    time[-3] = bad
    found = evaluate("MOISTURE_DEPTH", (time, 3.0))
    assert found.codes[-3] == NUM and np.count_nonzero(found.codes != "") == 1


def test_a_text_with_a_unit_is_the_same_length():
    # the long way, in SI: 1 in = 25.4 mm by definition
    assert read_quantity("1 in", "mm") == 0.0254
    np.testing.assert_allclose(call("BEAD_AREA", "rectangle", ["1 in", 25.4], 5), 127.0, rtol=1e-13)
