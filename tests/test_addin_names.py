"""Functions as LAMBDA names: evaluated by two independent engines and held against the registry.

IronCalc loads the built workbook and computes single cells; pyOpenVBA's formula engine computes
ranges, which IronCalc's ISNUMBER and ISERROR do not go through element by element.
"""

from __future__ import annotations

import csv
import math
import random
import re
import zipfile

import pytest
from lxml import etree

from dispense.addin import names
from dispense.base.errors import FileError, TemplateError
from dispense.base.fields import CellError
from dispense.handbook.catalogue import FUNCTIONS, call, evaluate
from dispense.handbook.words import literal
from dispense.xlsx.package import MAIN, Package

ironcalc = pytest.importorskip("ironcalc")

CLOSED = names.closed_form()
NAMES = [entry.name for entry in CLOSED]
SINGLE = [entry for entry in CLOSED if len(entry.returns) == 1 and not entry.whole]
ERRORS = ("#N/A", "#DIV/0!", "#REF!")
# cells of the sheet "Cells": A1 is empty, A2:A4 hold errors
CELLS = {"#N/A": "Cells!$A$2", "#DIV/0!": "Cells!$A$3", "#REF!": "Cells!$A$4"}
BLANK = "Cells!$A$1"


class Cell(str):
    """An argument spelled as a reference, with the value the registry gets in its place."""

    value = None


def reference(value):
    cell = Cell(BLANK if value is None else CELLS[value])
    cell.value = None if value is None else CellError(value)
    return cell


def spelled(arguments):
    return ",".join(item if isinstance(item, Cell) else literal(item) for item in arguments)


def plain(arguments):
    return [item.value if isinstance(item, Cell) else item for item in arguments]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return names.build(tmp_path_factory.mktemp("names"))[0]


class Engine:
    """IronCalc over the built workbook: formulas are put in, computed once, and read."""

    def __init__(self, path):
        self.model = ironcalc.load_from_xlsx(str(path), "en", "UTC", "en")
        self.model.add_sheet("Cells")
        for row, text in enumerate(("=NA()", "=1/0", "=#REF!"), 2):
            self.model.set_user_input(1, row, 1, text)

    def compute(self, formulas):
        for row, formula in enumerate(formulas, 1):
            self.model.set_user_input(1, row, 4, f"={formula}")
        self.model.evaluate()
        return [self.read(row) for row in range(1, len(formulas) + 1)]

    def read(self, row, column=4):
        value = self.model.get_cell_value(1, row, column)
        kind = str(self.model.get_cell_type(1, row, column))
        return CellError(value) if "Error" in kind else value


@pytest.fixture(scope="module")
def engine(book):
    return Engine(book)


def expected(name, arguments):
    """What the registry shows in a cell."""
    value = evaluate(name, arguments).table()[0][0]
    return "" if value is None else value


def agree(got, wanted, what):
    assert isinstance(got, CellError) == isinstance(wanted, CellError), f"{what}: {got}, not {wanted}"
    if isinstance(wanted, CellError):
        assert got == wanted, what
    else:
        assert got == pytest.approx(wanted, rel=1e-12, abs=1e-13), what


# ---------------------------------------------------------------------------------------- IronCalc


def test_many_functions_are_there():
    assert len(NAMES) >= 50 and {"BEAD_AREA", "BEAD_FLOW", "POT_LIFE", "TAKT"} <= set(NAMES)


def test_every_example_gives_its_published_result(engine):
    """The expected results come from the sources that the declarations name."""
    cases = [
        (entry, case) for entry in SINGLE for case in entry.examples if isinstance(case.result, int | float)
    ]
    assert {entry.name for entry, _ in cases} == {entry.name for entry in SINGLE}
    got = engine.compute([f"{entry.name}({spelled(case.arguments)})" for entry, case in cases])
    for (entry, case), value in zip(cases, got, strict=True):
        tolerance = max(case.tolerance, 1e-9)
        assert value == pytest.approx(case.result, rel=tolerance, abs=tolerance), entry.name


def sample(entry, source):
    """A call with arguments near those of an example, most of them possible, some not."""
    case = source.choice(entry.examples)
    arguments = list(case.arguments) + [None] * (len(entry.arguments) - len(case.arguments))
    bad = source.random() < 0.4
    place = source.randrange(len(arguments))
    for number, item in enumerate(entry.arguments):
        value = arguments[number]
        if item.kind == "choice":
            arguments[number] = source.choice([*item.choices, value])
        elif item.kind == "whole" and value is not None:
            arguments[number] = source.randrange(0, 9)
        elif item.kind == "number":
            arguments[number] = near(item, value, source)
        if bad and number == place and not item.is_whole_range:
            arguments[number] = impossible(item, source)
    while arguments and arguments[-1] is None:
        arguments.pop()
    return [reference(None) if value is None else value for value in arguments]


def near(item, value, source):
    if value is None:
        usual = item.default if isinstance(item.default, int | float) else 1.5
        value = source.choice([None, None, usual or 1.5])
        if value is None:
            return None
    value = value * source.choice([0.25, 0.5, 0.9, 1, 1, 1.1, 1.9, 3.7])
    if item.at_most is not None and value > item.at_most:
        return item.at_most
    if item.below is not None and value >= item.below:
        return item.below * 0.9
    return value


def impossible(item, source):
    options = [reference(None), *map(reference, ERRORS), "no such thing"]
    if item.kind in ("number", "whole"):
        options += [True, -1e9, 0, *(bound for bound in (item.above, item.below) if bound is not None)]
    if item.kind == "whole":
        options.append(2.5)
    return source.choice(options)


def test_names_agree_with_the_registry_on_possible_and_impossible_arguments(engine):
    source = random.Random(20260)
    cases = [(entry.name, sample(entry, source)) for entry in SINGLE for _ in range(60)]
    formulas = [f"{name}({spelled(arguments)})" for name, arguments in cases]
    got = engine.compute(formulas)
    kinds = {"number": 0, "error": 0}
    for (name, arguments), formula, value in zip(cases, formulas, got, strict=True):
        wanted = expected(name, plain(arguments))
        agree(value, wanted, f"{formula}")
        kinds["error" if isinstance(wanted, CellError) else "number"] += 1
    assert kinds["number"] > 1000 and kinds["error"] > 400  # both sides were tried


def test_limits_are_kept_at_the_limit_itself(engine):
    """At a bound that may be touched there is an answer, at one that may not there is none."""
    cases = []
    for entry in SINGLE:
        for place, item in enumerate(entry.arguments[: len(entry.examples[0].arguments)]):
            if item.kind == "number":
                for bound in (item.above, item.at_least, item.below, item.at_most):
                    if bound is not None:
                        arguments = [
                            reference(None) if value is None else value
                            for value in entry.examples[0].arguments
                        ]
                        arguments[place] = bound
                        cases.append((entry.name, arguments))
    got = engine.compute([f"{name}({spelled(arguments)})" for name, arguments in cases])
    assert len(cases) > 100
    for (name, arguments), value in zip(cases, got, strict=True):
        agree(value, expected(name, plain(arguments)), f"{name}{plain(arguments)}")


def test_blank_error_text_and_choice(engine):
    blank, error = reference(None), reference("#DIV/0!")
    got = engine.compute(
        [
            f"BEAD_FLOW({blank},2)",
            f"BEAD_FLOW({error},2)",
            'BEAD_FLOW("3/16 in",2)',
            "BEAD_FLOW(-1,2)",
            f"SPREAD_WIDTH(4,2,{blank})",
            "SPREAD_WIDTH(4,2)",
            'SPREAD_WIDTH(4,2," Round ")',
            'SPREAD_WIDTH(4,2,"oval")',
            'BEAD_AREA("HALF-ROUND",4)',
            "BEAD_FLOW(1,2,3)",
        ]
    )
    codes = [value if isinstance(value, CellError) else None for value in got]
    assert codes[:4] == ["#VALUE!", "#DIV/0!", "#VALUE!", "#NUM!"]
    assert got[4] == got[5] == pytest.approx(2.0)  # area / gap, square edges by default
    assert got[6] == pytest.approx(2 + (4 - math.pi) / 2)  # a half circle of diameter 2 at each end
    assert codes[7] == "#N/A"
    assert got[8] == pytest.approx(math.pi * 16 / 8)
    assert codes[9] is not None  # one argument too many


def test_a_table_and_short_iterations_need_no_python(engine):
    """Gauges as they are written; pressure and level found by halving, against the kernels."""
    assert {"NEEDLE_BORE", "NOZZLE_PRESSURE", "REYNOLDS_NUMBER", "FILL_LEVEL"} <= set(NAMES)
    calls = [
        ("NEEDLE_BORE", [gauge, wall])
        for gauge in ("18G", " 18 ga.", "30 Gauge", 12, "9G", "x", "18.5")
        for wall in ("thin", "regular")
    ]
    source = random.Random(7)
    for _ in range(60):
        flow, bore, stiff = (10 ** source.uniform(low, high) for low, high in ((-4, 2), (-1, 1), (-2, 4)))
        calls.append(("NOZZLE_PRESSURE", [flow, bore, 25, 50, source.uniform(0.3, 1.6), stiff]))
        shape = source.choice(["box", "tray", "cylinder", "cone", "lying-cylinder"])
        draft = source.choice([0, 2]) if shape in ("tray", "cone") else 0
        cells = [source.choice([0, 6]), 18, 65, source.choice([0, 4])]
        calls.append(("FILL_LEVEL", [source.uniform(0, 900), shape, 110, 130, draft, *cells]))
    got = engine.compute([f"{name}({spelled(arguments)})" for name, arguments in calls])
    kinds = set()
    for (name, arguments), value in zip(calls, got, strict=True):
        wanted = expected(name, arguments)
        kinds.add((name, isinstance(wanted, CellError)))
        if isinstance(wanted, CellError):
            assert value == wanted, arguments
        else:
            assert value == pytest.approx(wanted, rel=1e-9, abs=1e-9), arguments
    assert len(kinds) >= 4  # bores that are listed and that are not, pressures, levels


#: what a name cannot hold, and why
NO_NAME = {
    "an integral in steps that follow its error": {
        *("CURE_DEGREE", "TIME_TO_CURE", "AGED_VISCOSITY", "VISCOSITY_TIME", "LEAST_VISCOSITY"),
        *("MIXER_VISCOSITY", "AGED_PRESSURE", "AGED_FLOW", "PRESSURE_LIFE", "FLOW_LIFE", "SHOT_DRIFT"),
        *("MASS_POT_LIFE", "PEAK_TEMPERATURE", "POUR_DEPTH", "PACK_PEAK"),
    },
    "a picture or a fit": {
        *("PATTERN_COVER", "PATTERN_FILL", "PATTERN_TIME", "CELL_PERMEABILITY", "CELL_FILL_TIME"),
        *("THICKENING_FIT", "TOLERANCE_FACTOR"),
    },
    "one of several laws by its parameters": {"CURING_VISCOSITY"},
    "what the add-in remembers": {"LAST_PROBLEMS", "LAST_NOTES"},
}


def test_every_function_is_a_name_or_has_its_reason():
    listed = set().union(*NO_NAME.values())
    assert set(FUNCTIONS) - set(NAMES) == listed


def designations(source):
    """Codes of cells as they are written, and such as nobody writes."""
    from dispense.handbook.pots import cell_table

    yield from (name for name in cell_table())
    yield from ("icr 18650", "INR-21700", "21700-50E", "LR6", "FR03", "LIR2450", "BR2330", "ICR19/66", "1865")
    yield from ("CR2032H", "38120", "55280", "SR44W", "4680", "9999", "CR9999", "1?", "*", "~R6", "A*", "AA?")
    yield from ("CR2032-12345678", "ICR18650ABCD", "LiFePO4", "18650-", "R/66", "19/66", "190/6600", "R", "-")
    for _ in range(150):
        lead = source.choice(["", "", "R", "CR", "ICR", "LIR", "BR", "X", "ABCDR", "IMR-", "-"])
        digits = "".join(source.choice("0123456789") for _ in range(source.randrange(2, 7)))
        body = source.choice([digits, digits, f"{digits[:2]}/{digits[2:]}", f"{source.randrange(10, 46)}650"])
        yield lead + body + source.choice(["", "", "", "H", "-50E", "ABCD", "-", "/"])


def test_cell_codes_need_no_python(engine):
    """Diameter and height of each code, and #N/A where the kernel knows none."""
    codes = list(designations(random.Random(4)))
    sizes = engine.compute(
        [f"INDEX(CELL_SIZE({literal(code)}),{place})" for code in codes for place in (1, 2)]
    )
    known = 0
    for code, got in zip(codes, zip(sizes[::2], sizes[1::2], strict=True), strict=True):
        wanted = evaluate("CELL_SIZE", [code]).table()[0]
        known += not isinstance(wanted[0], CellError)
        assert (
            list(got) == pytest.approx(wanted, rel=1e-12)
            if known and got[0] != "#N/A"
            else (got == (CellError("#N/A"),) * 2 and wanted[0] == "#N/A")
        ), code
    assert 80 < known < len(codes) - 60
    assert engine.compute(['NEEDLE_BORE("1?")', 'NEEDLE_BORE("~18")', 'NEEDLE_BORE("*")']) == ["#N/A"] * 3


def written(rows):
    return "{" + ";".join(",".join(literal(cell) for cell in row) for row in rows) + "}"


def outlines(source):
    """Stars, which are simple, such as cross themselves, and points of any kind."""
    for _ in range(12):
        turns = sorted(source.uniform(0, 2 * math.pi) for _ in range(source.randrange(3, 9)))
        far = [source.uniform(5, 50) for _ in turns]
        yield [[r * math.cos(a), r * math.sin(a)] for r, a in zip(far, turns, strict=True)]
        yield [[source.randrange(6), source.randrange(6)] for _ in range(source.randrange(3, 8))]
    yield [[0, 0], [2, 2], [2, 0], [0, 2]]  # a bow-tie
    yield [[0, 0], [4, 0], [4, 4], [2, 0], [0, 4]]  # touches its own edge
    yield [[0, 0], [0, 0], [10, 0], [10, 5], [10, 5], [0, 5], [0, 0]]  # corners twice
    yield [[0, 0], [5, 0], [3, 0]]  # folds back
    yield [[0, 0], [4, 0], [4, 4], [0, 4], [1, 4], [1, 2], [0.5, 3]]
    yield [[0, 0, 0], [1, 0, 0], [1, 1, 0]]  # three columns
    yield [[1, 1], [1, 1]]
    yield [[0, 0], ["x", 0], [1, 1]]


def paths(source):
    """Lines and arcs in the plane and in space, with words that fit and words that do not."""
    for _ in range(25):
        axes, many = source.choice([2, 3]), source.randrange(2, 7)
        rows = [[source.randrange(-9, 10) for _ in range(axes)] for _ in range(many)]
        words = source.random() < 0.7
        yield [
            row + ([source.choice(["line", "Line ", "arc", "travel", "line"])] if words else [])
            for row in rows
        ]
    yield [[0, 0, "line"], [4, 2, "arc"], [8, 0, "line"], [8, 0, "line"]]
    yield [[0, 0, "line"], [10, 0, "arc"], [0, 0, "line"]]  # a full circle as one arc
    yield [[0, 0, "line"], [4, 0, "arc"], [8, 0, "line"]]  # a straight one
    yield [[0, 0, "line"], [1, 0, "curve"]]
    yield [[0, 0, 0, 0], [1, 1, 1, 1]]
    yield [[0], [1]]
    yield [[0, 0], ["x", 1]]


def test_outlines_and_paths_need_no_python(engine):
    source = random.Random(11)
    calls = [("POLYGON_AREA", [rows]) for rows in outlines(source)]
    calls += [("PATH_LENGTH", [rows, source.choice([True, False])]) for rows in paths(source)]
    got = engine.compute(
        [f"{name}({','.join([written(given[0]), *map(literal, given[1:])])})" for name, given in calls]
    )
    kinds = set()
    for (name, given), value in zip(calls, got, strict=True):
        wanted = expected(name, given)
        kinds.add((name, isinstance(wanted, CellError)))
        if isinstance(wanted, CellError):
            assert value == wanted, (name, given)
        else:
            assert value == pytest.approx(wanted, rel=1e-9, abs=1e-9), (name, given)
    assert len(kinds) == 4


def test_levels_and_records_need_no_python(engine):
    """Tables with ledges, records with steps, flat pieces and pieces hundreds of kelvin long."""
    source = random.Random(5)
    calls = []
    for _ in range(25):
        many = source.randrange(1, 6)
        rising = sorted(source.choice([0, 2, 5, 9, 14, 14.5]) for _ in range(many))
        areas = [source.uniform(0, 900) for _ in range(source.choice([many, many, many, many + 1]))]
        calls.append(("LEVEL_VOLUME", [rising, areas, source.uniform(-1, 15)]))
        times = [0.0, *(source.uniform(-0.5, 30) for _ in range(many))]
        if source.random() < 0.8:
            times.sort()
        heats = [source.choice([25, 80.0, 180, 23.0001, source.uniform(-20, 250)]) for _ in times]
        calls.append(
            ("EQUIVALENT_TIME", [times, heats, source.uniform(20, 150), source.choice([0, 55, 120])])
        )
        energy = source.choice([None, 0, 65])
        calls.append(("LIFE_USED", [times, heats, 60, 23, energy, source.choice([8, 10])]))
    got = engine.compute(
        [
            f"{name}({','.join(written([i]) if isinstance(i, list) else literal(i) for i in given)})"
            for name, given in calls
        ]
    )
    kinds = set()
    for (name, given), value in zip(calls, got, strict=True):
        wanted = expected(name, given)
        kinds.add((name, isinstance(wanted, CellError)))
        if isinstance(wanted, CellError):
            assert value == wanted, (name, given)
        else:
            assert value == pytest.approx(wanted, rel=1e-9, abs=1e-12), (name, given)
    assert len(kinds) == 6


WHOLE = [
    ("PART_TEMPERATURE", [[0, 5, 5, 20], [20, 80, 60, 60], 7, 15]),
    ("PART_TEMPERATURE", [[[0], [5], [30]], [[20, 25], [80, 85], [80, 30]], 7]),
    ("PART_TEMPERATURE", [[0], [20], 7, 15]),
    ("PART_TEMPERATURE", [[0, 5, 3], [20, 80, 60], 7, 15]),  # not in order
    ("PART_TEMPERATURE", [[0, 5, 9], [20, 80], 7, 15]),  # one too few
    ("CONTROL_LIMITS", [[[10, 12, 11, 13, 14], [11, 13, 12, 12, 12]]]),
    ("CONTROL_LIMITS", [[[10, 12, 11, 9, 8, 7, 12], [11, 13, 12, 12, 12, 9, 9]]]),  # D3 is not 0
    ("CONTROL_LIMITS", [[[10], [11]]]),
    ("MOVING_RANGE_LIMITS", [[49.6, 47.6, 49.9, 51.3, 47.8]]),
    ("MOVING_RANGE_LIMITS", [[49.6]]),
    ("EWMA_LIMITS", [[52.0, 47.0, 53.0], 50, 2.0539]),
    ("EWMA_LIMITS", [[52.0, 47.0, 53.0], 50, 2.0539, 1, 2.5]),
    ("CUSUM", [[10.5, 11.5, 9.0, 8.0, 8.1], 10, 0.5, 1.0]),
    ("CAPABILITY_INTERVAL", [[14, 16, 18, 15.5], 8, 20, 0.9]),
    ("VOID_GROWTH", [0.6, 1.01325, 0.01, 3000]),
]


@pytest.mark.parametrize(("name", "given"), WHOLE, ids=[f"{name}-{i}" for i, (name, _) in enumerate(WHOLE)])
def test_tables_of_results_need_no_python(engine, name, given):
    """Cell by cell against the kernel, and no cell more."""
    wanted = evaluate(name, given).table()
    call_ = ",".join(
        written(item if isinstance(item[0], list) else [item]) if isinstance(item, list) else literal(item)
        for item in given
    )
    rows, columns = len(wanted), max(map(len, wanted))
    asked = [f"INDEX({name}({call_}),{i + 1},{j + 1})" for i in range(rows) for j in range(columns)]
    got = engine.compute([*asked, f"ROWS({name}({call_}))", f"COLUMNS({name}({call_}))"])
    flat = [cell for row in wanted for cell in row]
    if isinstance(flat[0], CellError):
        assert set(got[:-2]) == {CellError("#NUM!")} == set(flat)
        return
    turned = rows > 1 and columns == 1 and not isinstance(given[0][0], list)  # a list is a column in Python
    if turned:
        got = engine.compute([f"INDEX({name}({call_}),{i + 1})" for i in range(rows)]) + [columns, rows]
        rows, columns = columns, rows
    assert got[:-2] == pytest.approx(flat, rel=1e-9, abs=1e-9)
    assert got[-2:] == ([rows, columns] if not turned else [columns, rows][::-1])


def test_blank_cells_of_a_range_are_left_out_or_told(engine):
    """Cells with gaps, against the kernel given the same rows with None in them."""
    rows = [
        [12.0, 11.0, "line"],
        [None, None, None],
        [14.0, 13.5, "arc"],
        [11.0, 16.0, None],
        [9.0, None, "x"],
    ]
    for row, cells in enumerate(rows, 1):
        for column, value in enumerate(cells, 6):
            if value is not None:
                engine.model.set_user_input(1, row, column, str(value))
    calls = {
        "INDEX(MOVING_RANGE_LIMITS(F1:F4),1,3)": (
            "MOVING_RANGE_LIMITS",
            [[row[:1] for row in rows[:4]]],
            (0, 2),
        ),
        "INDEX(CONTROL_LIMITS(F1:G4),2,3)": ("CONTROL_LIMITS", [[row[:2] for row in rows[:4]]], (1, 2)),
        "INDEX(CONTROL_LIMITS(F1:G5),2,3)": (
            "CONTROL_LIMITS",
            [[row[:2] for row in rows[:5]]],
            (0, 0),
        ),  # torn
        "INDEX(CAPABILITY_INTERVAL(F1:F5,5,20),1,1)": (
            "CAPABILITY_INTERVAL",
            [[row[:1] for row in rows[:5]], 5, 20],
            (0, 0),
        ),
        "ROWS(EWMA_LIMITS(F1:F5,12,1))": ("EWMA_LIMITS", [[row[:1] for row in rows[:5]], 12, 1], None),
        "PATH_LENGTH(F3:H4,TRUE)": ("PATH_LENGTH", [rows[2:4], True], (0, 0)),  # an arc first
        "PATH_LENGTH(F3:G4)": ("PATH_LENGTH", [[row[:2] for row in rows[2:4]]], (0, 0)),
        "PATH_LENGTH(F1:H2)": ("PATH_LENGTH", [rows[:2]], (0, 0)),  # blank numbers
        "PATH_LENGTH(F6:H7)": ("PATH_LENGTH", [rows[5:]], (0, 0)),  # no word of ours
        "POLYGON_AREA(F1:G4)": ("POLYGON_AREA", [[row[:2] for row in rows[:4]]], (0, 0)),
    }
    got = engine.compute(list(calls))
    for (formula, (name, given, place)), value in zip(calls.items(), got, strict=True):
        table = evaluate(name, given).table()
        wanted = len(table) if place is None else table[place[0]][place[1]]
        assert isinstance(value, CellError) == isinstance(wanted, CellError), (formula, value, wanted)
        if isinstance(wanted, CellError):
            assert value == wanted, formula
        else:
            assert value == pytest.approx(wanted, rel=1e-9), formula


def test_vectors_are_checked_cell_by_cell(engine):
    assert expected("TOLERANCE_RSS", [[3, 4]]) == pytest.approx(5)
    got = engine.compute(
        [
            "TOLERANCE_RSS({3,4})",
            "TOLERANCE_RSS({3;4;12})",
            'TOLERANCE_RSS({3,"x"})',
            "TOLERANCE_RSS({3,#N/A})",
            "TOLERANCE_RSS({1,2;3,4})",
            "TOLERANCE_RSS(3)",
            "ACTIVATION_ENERGY({25;-300},{90;30})",
            "ACTIVATION_ENERGY({25;35},{90;0})",
            "ACTIVATION_ENERGY({25;35;45},{90;60})",
            "ACTIVATION_ENERGY({25},{90})",
        ]
    )
    assert got[:2] == [pytest.approx(5.0), pytest.approx(13.0)]  # 3-4-5 and 5-12-13 triangles
    assert got[2:5] == ["#VALUE!", "#N/A", "#VALUE!"] and got[5] == 3.0
    assert got[6:] == ["#NUM!"] * 4
    wanted = [
        expected("ACTIVATION_ENERGY", arguments)
        for arguments in (([25, -300], [90, 30]), ([25, 35], [90, 0]), ([25, 35, 45], [90, 60]), ([25], [90]))
    ]
    assert wanted == ["#NUM!"] * 4


# ----------------------------------------------------------------------- ranges, in another engine


@pytest.fixture(scope="module")
def ranges(book):
    pytest.importorskip("pyopenvba")
    from pyopenvba.apps.excel import ExcelApplication
    from pyopenvba.interpreter import VBAErrorValue

    app = ExcelApplication.open(book, with_vba=False)
    sheet = app.sheet(1)
    numbers = {2007: "#DIV/0!", 2015: "#VALUE!", 2036: "#NUM!", 2042: "#N/A", 2023: "#REF!"}

    def compute(formula, rows, columns=1):
        area = f"J1:{chr(ord('J') + columns - 1)}{rows}"
        sheet.sheet.vba_get("Range", ["J1:Q20"]).vba_set("Value", "")
        sheet.sheet.vba_get("Range", ["J1"]).vba_set("Formula2", f"={formula}")
        got = sheet.value(area)
        got = got if isinstance(got, list) else [[got]]
        return [
            [CellError(numbers[cell.number]) if isinstance(cell, VBAErrorValue) else cell for cell in row]
            for row in got
        ]

    def write(address, value):
        sheet.sheet.vba_get("Range", [address]).vba_set("Value", value)

    compute.write = write
    return compute


def iterated(entry):
    return [
        place
        for place, (item, value) in enumerate(zip(entry.arguments, entry.examples[0].arguments, strict=False))
        if item.kind in ("number", "whole") and value is not None
    ]


ITERATED = [entry.name for entry in SINGLE if iterated(entry)]


@pytest.mark.parametrize("name", ITERATED)
def test_columns_spill_element_by_element(ranges, name):
    """A column of a good, an impossible and a good value gives the registry's column."""
    entry = FUNCTIONS[name]
    for place in iterated(entry):
        value = entry.examples[0].arguments[place]
        arguments = list(entry.examples[0].arguments)
        arguments[place] = [[value], [-1e9], [value]]
        wanted = evaluate(name, arguments).table()
        got = ranges(
            f"{name}({spelled(reference(None) if a is None else a for a in arguments)})".replace(
                BLANK, "$Z$1"
            ),
            3,
        )
        for one, other in zip(got, wanted, strict=True):
            agree(one[0], other[0], f"{name} argument {place}")


def test_a_blank_row_of_a_range_gives_a_blank(ranges):
    for row, value in enumerate((4.0, None, 2.0), 1):
        if value is not None:
            ranges.write(f"S{row}", value)
    got = ranges('BEAD_AREA("mitre",$S$1:$S$3)', 3)
    assert got == [[8.0], [""], [2.0]]
    assert [
        [cell or "" for cell in row]
        for row in evaluate("BEAD_AREA", ["mitre", [[4.0], [None], [2.0]]]).table()
    ] == got


def test_a_row_against_a_column_is_a_table(ranges):
    got = ranges('BEAD_AREA("rectangle",{2;3},{1,5,7})', 2, 3)
    assert got == [[2.0, 10.0, 14.0], [3.0, 15.0, 21.0]]  # width · height


MULTIPLE = [entry.name for entry in CLOSED if len(entry.returns) > 1]


@pytest.mark.parametrize("name", MULTIPLE)
def test_several_results_spill_in_a_row(ranges, name):
    entry = FUNCTIONS[name]
    for case in entry.examples:
        got = ranges(f"{name}({spelled(case.arguments)})", 1, len(entry.returns))[0]
        assert got == pytest.approx(list(call(name, *case.arguments)), rel=1e-12)


# ------------------------------------------------------------------------------------------- files


@pytest.mark.parametrize("entry", CLOSED, ids=NAMES)
def test_the_file_spells_parameters_and_newer_functions(entry):
    text = names.file_formula(entry)
    assert text.startswith("_xlfn.LAMBDA(") and len(text) <= 8192
    assert text.count("(") == text.count(")")
    bare = re.sub(r'"[^"]*"', '""', text)
    for word in ("LAMBDA", "LET", "MAP", "SWITCH", "ISOMITTED"):
        assert not re.search(rf"(?<![.\w]){word}\(", bare)
    first = bare[len("_xlfn.LAMBDA(") :].partition("_xlfn.LET(")[0].rstrip(",").split(",")
    wanted = ["_xlpm." if item.is_required else "_xlop." for item in entry.arguments]
    assert [word[:6] for word in first] == wanted
    assert bare.count("_xlop.") == wanted.count("_xlop.")  # only where it is declared
    for word in re.findall(r"_xl[po][mp]\.(\w+)", bare):
        assert not re.fullmatch(r"[A-Za-z]{1,3}\d+|[RrCc]\d*([RrCc]\d*)?", word)  # not a cell
        assert word.upper() not in FUNCTIONS  # a name of the workbook would be meant
    rest = re.sub(r"_xl[po][mp]\.\w+", "", bare)
    assert not re.findall(r"(?<![\w.#/!])[a-z]\w*", rest)  # every variable carries its prefix


def test_the_typed_and_the_filed_formula_are_the_same(engine):
    """IronCalc writes what was typed as a file spells it: an outside check of our spelling."""
    model = ironcalc.create("names", "en", "UTC", "en")
    for entry in CLOSED:
        model.new_defined_name(entry.name, None, "=" + names.typed_formula(entry))
    with zipfile.ZipFile(_saved(model)) as archive:
        root = etree.fromstring(archive.read("xl/workbook.xml"))
    theirs = {item.get("name"): item.text for item in root.iter(f"{{{MAIN}}}definedName")}
    assert set(theirs) == set(NAMES)
    for entry in CLOSED:
        ours = names.file_formula(entry)
        assert _even(theirs[entry.name]) == _even(ours), entry.name


def _saved(model):
    import io

    return io.BytesIO(model.to_xlsx())


def _even(formula):
    """Without spaces and needless brackets, numbers in one spelling."""
    text = re.sub(r"\s+", "", formula.lstrip("="))
    text = re.sub(r"(?<![\w.])\d+\.?\d*(?:[Ee][+-]?\d+)?", lambda found: repr(float(found[0])), text)
    return re.sub(r"[()]", "", text)


def test_new_workbook_is_the_same_bytes_each_time_and_lists_each_function(book, tmp_path):
    again = names.build(tmp_path)[0]
    assert book.name == again.name == "dispense-names.xlsx"
    assert book.read_bytes() == again.read_bytes()
    package = Package.open(book)
    assert [item.name for item in package.defined_names if not item.scope] == NAMES
    values = package.cell_values(package.sheets[0])
    listed = {str(value).partition("(")[0] for cell, value in values.items() if cell[0] == "A"}
    assert set(NAMES) <= listed
    assert "ok" in values.values()  # values stand beside the formulas


def _workbook(path, **given):
    from openpyxl import Workbook
    from openpyxl.workbook.defined_name import DefinedName

    book = Workbook()
    book.active["A1"] = "mine"
    for name, text in given.items():
        book.defined_names[name] = DefinedName(name, attr_text=text)
    book.save(path)
    return path


def test_a_copy_of_a_workbook_gets_the_names_and_keeps_the_rest(tmp_path):
    source = _workbook(tmp_path / "mine.xlsx", Rate="Sheet!$A$1")
    before = source.read_bytes()
    out = names.build_names(tmp_path / "out", source)[0]
    assert out == tmp_path / "out" / "mine.xlsx" and source.read_bytes() == before
    package = Package.open(out)
    defined = {item.name: item.text for item in package.defined_names}
    assert defined["Rate"] == "Sheet!$A$1" and set(NAMES) <= set(defined)
    assert package.cell_values("Sheet")["A1"] == "mine"
    # with names again: ours are put anew, not twice
    twice = names.build_names(tmp_path / "twice.xlsx", out)[0]
    assert twice.read_bytes() == out.read_bytes()
    model = ironcalc.load_from_xlsx(str(out), "en", "UTC", "en")
    model.set_user_input(0, 1, 3, "=BEAD_FLOW(100,2)")
    model.evaluate()
    assert model.get_cell_value(0, 1, 3) == pytest.approx(0.2)  # 100 mm² · 2 mm/s = 0.2 mL/s


def test_names_stand_where_the_schema_wants_them(tmp_path):
    source = _workbook(tmp_path / "mine.xlsx")
    package = Package.open(names.build_names(tmp_path / "out", source)[0])
    order = [etree.QName(item).localname for item in package.tree(package.workbook_part)]
    assert order.index("sheets") < order.index("definedNames") < order.index("calcPr")


def test_a_name_of_the_users_is_refused_and_the_input_is_never_written_over(tmp_path):
    source = _workbook(tmp_path / "mine.xlsx", TAKT="Sheet!$A$1", BEAD_FLOW="42")
    with pytest.raises(TemplateError) as caught:
        names.build_names(tmp_path / "out", source)
    assert "TAKT" in str(caught.value) and "BEAD_FLOW" in str(caught.value)
    other = _workbook(tmp_path / "other.xlsx")
    before = other.read_bytes()
    for target in (tmp_path, other):
        with pytest.raises(FileError):
            names.build_names(target, other)
    assert other.read_bytes() == before


def test_python_and_names_say_the_same_for_the_worked_example():
    """60 s/min · 450 min / 300 parts = 90 s, by hand."""
    assert call("TAKT", 450, 300) == pytest.approx(90.0)


def test_every_check_of_the_list_is_ok_where_lambda_is_known(book):
    model = ironcalc.load_from_xlsx(str(book), "en", "UTC", "en")
    model.evaluate()
    told = [model.get_cell_value(0, row, 5) for row in range(5, 160) if model.get_cell_value(0, row, 7)]
    assert len(told) > 80 and set(told) == {"ok"}


@pytest.mark.libreoffice
def test_a_spreadsheet_without_the_addin_says_that_it_has_no_answer(book, tmp_path):
    """A profile of its own, in which nothing of ours is known: LibreOffice 7.4 cannot read LAMBDA either."""
    import subprocess

    from dispense.addin.calc import office

    found = office.find_office()
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    convert = [str(found.soffice), profile, "--headless", "--convert-to", "csv", "--outdir", str(tmp_path)]
    subprocess.run([*convert, str(book)], check=True, capture_output=True, timeout=180)
    with (tmp_path / "dispense-names.csv").open(encoding="latin-1", newline="") as file:
        rows = [row for row in csv.reader(file) if len(row) > 5 and row[3] not in ("", "Expected")]
    assert len(rows) > 80
    assert {(row[2], row[4]) for row in rows} == {("", "no answer here")} or {row[4] for row in rows} == {
        "ok"
    }


@pytest.mark.libreoffice
def test_a_spreadsheet_without_lambda_says_so_when_it_opens_the_book(calc, book):
    """LibreOffice 7.4 knows no LAMBDA (it came with 24.8, its release notes, from memory); a newer one
    computes. Nothing is recalculated by hand."""
    calc.open(str(book))
    rows = calc.get("Dispense!C5:E200")
    told = {row[2] for row in rows if row[1] is not None}
    assert told in ({"no answer here"}, {"ok"})
    if told == {"no answer here"}:
        assert {row[0] for row in rows if row[1] is not None} == {None}
