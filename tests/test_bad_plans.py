"""Broken plans: the demo workbook with one thing broken gives exactly one clear line for it.

Each case is made with openpyxl on a copy of the demo; the expected cell is counted by hand from the
sheet as written: headers in row 3, the first row of data in row 4.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from openpyxl import load_workbook

from dispense import cli
from dispense.books.plan import HEADER_ROW, plan_bytes
from dispense.plan.demo import DEMO
from dispense.plan.read import check_plan
from dispense.plan.tables import BY_NAME

FIRST = HEADER_ROW + 1


@dataclass(frozen=True)
class Case:
    """A plan broken by `edit`; each expected line starts with its cell and holds the words."""

    name: str
    edit: Callable
    lines: tuple[tuple[str, ...], ...]


def put(table: str, row: int, **values) -> Callable:
    """Set cells of a row of a table (1 for the first) by field name."""

    def edit(book):
        sheet = book[table]
        names = [item.name for item in BY_NAME[table].columns]
        for name, value in values.items():
            sheet.cell(HEADER_ROW + row, names.index(name) + 1).value = value

    return edit


def add(table: str, **values) -> Callable:
    """Add a row below a table."""

    def edit(book):
        row = book[table].max_row - HEADER_ROW + 1
        put(table, row, **values)(book)

    return edit


def header(table: str, field: str, text: str | None) -> Callable:
    """Write another header over a column."""
    names = [item.name for item in BY_NAME[table].columns]

    def edit(book):
        sheet = book[table]
        sheet.tables.clear()
        sheet.cell(HEADER_ROW, names.index(field) + 1).value = text

    return edit


def drop_rows(table: str) -> Callable:
    def edit(book):
        sheet = book[table]
        sheet.tables.clear()
        sheet.delete_rows(FIRST, sheet.max_row)

    return edit


def drop_row(table: str, row: int) -> Callable:
    def edit(book):
        sheet = book[table]
        sheet.tables.clear()
        sheet.delete_rows(HEADER_ROW + row)

    return edit


def drop_sheet(table: str) -> Callable:
    def edit(book):
        del book[table]

    return edit


def both(*edits: Callable) -> Callable:
    def edit(book):
        for each in edits:
            each(book)

    return edit


def cell(table: str, field: str, row: int) -> str:
    """The name of a cell of a table, its column counted from the declaration."""
    place = [item.name for item in BY_NAME[table].columns].index(field)
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    letter = letters[place] if place < 26 else "A" + letters[place - 26]
    return f"{table}!{letter}{HEADER_ROW + row}"


def one(where: str, *words: str) -> tuple[tuple[str, ...], ...]:
    return ((where, *words),)


CASES = [
    # units and headers
    Case(
        "unit of another dimension",
        header("Beads", "width", "Width [g]"),
        one("Beads!E3", "unit of width", '"g"', "Width [mm]"),
    ),
    Case(
        "unknown unit",
        header("Materials", "pot_life", "Pot life [parsnips]"),
        one(cell("Materials", "pot_life", 0), "unit of pot life", "parsnips"),
    ),
    Case(
        "temperature as a difference",
        header("Profiles", "temperature", "Temperature [bar]"),
        one("Profiles!C3", "unit of temperature", "bar"),
    ),
    Case(
        "unit on a text column",
        header("Parts", "part", "Part [mm]"),
        one("Parts!A3", "unit of part", "left out"),
    ),
    Case(
        "missing column",
        header("Builds", "quantity", None),
        one("Builds!A3", 'the column "Quantity" is missing'),
    ),
    Case(
        "header twice",
        header("Beads", "press_force", "Gap [mm]"),
        one("Beads!T3", '"Gap [mm]" appears twice'),
    ),
    Case(
        "header row lost",
        both(*(header("Shots", item.name, f"column {n}") for n, item in enumerate(BY_NAME["Shots"].columns))),
        one("Shots!A1", "header row of table Shots is not found"),
    ),
    Case("missing sheet", drop_sheet("Builds"), one("Builds!A1", "table Builds is missing")),
    Case("empty table", drop_rows("Builds"), one("Builds!A1", "table Builds has no rows")),
    # single cells
    Case("negative width", put("Beads", 1, width=-3), one("Beads!E4", "width is -3", "above 0 mm")),
    Case("text in a number", put("Beads", 1, width="wide"), one("Beads!E4", 'width is "wide"', "above 0 mm")),
    Case(
        "unit of another dimension in a cell",
        put("Beads", 1, width="3 kg"),
        one("Beads!E4", 'width is "3 kg"', "converts to mm"),
    ),
    Case(
        "comma as decimal mark",
        put("Beads", 1, width="2,500"),
        one("Beads!E4", 'width is "2,500"', "point as decimal mark"),
    ),
    Case("ratio 0", put("Materials", 1, ratio_a=0), one("Materials!D4", "ratio A is 0", "above 0")),
    Case(
        "unknown choice",
        put("Beads", 1, section="oval"),
        one("Beads!D4", 'section is "oval"', "one of round"),
    ),
    Case(
        "share in percent",
        put("Stations", 1, scrap=5),
        one(cell("Stations", "scrap", 1), "scrap is 5", "below 1"),
    ),
    Case(
        "below absolute zero",
        put("Profiles", 1, temperature=-300),
        one("Profiles!C4", "temperature is -300", "above -273.15 °C"),
    ),
    Case("negative stock", put("Stock", 1, quantity=-5), one("Stock!D4", "quantity is -5", "0 or more mL")),
    Case(
        "date that is none",
        put("Builds", 1, date="next Monday"),
        one("Builds!A4", 'date is "next Monday"', "2026-03-31"),
    ),
    Case(
        "time of day that is none", put("Shifts", 1, start="6 o'clock"), one("Shifts!B4", "start is", "06:00")
    ),
    Case("half a part", put("Builds", 1, quantity=1.5), one("Builds!D4", "quantity is 1.5", "whole number")),
    Case(
        "date in a number",
        put("Beads", 1, width=datetime.datetime(2026, 3, 2)),
        one("Beads!E4", "width is 2026-03-02", "holds a date"),
    ),
    Case("truth in a number", put("Beads", 1, width=True), one("Beads!E4", "width is TRUE", "not numbers")),
    Case(
        "error value",
        put("Beads", 1, width="#DIV/0!"),
        one("Beads!E4", "width is", "#DIV/0!", "mend the cell"),
    ),
    Case("error value in a text", put("Stations", 1, meter="#N/A"), one("Stations!C4", "meter is", "#N/A")),
    Case(
        "formula without a value",
        put("Beads", 1, width="=1+1"),
        one("Beads!E4", "width is a formula whose value the file does not hold"),
    ),
    Case(
        "required cell blank",
        put("Parts", 6, part=None, description="nameless"),
        ((f"Parts!A{HEADER_ROW + 6}", "part is blank"),),
    ),
    # names
    Case(
        "unknown material",
        put("Stations", 1, material="hem epoxi"),
        one("Stations!B4", 'material is "hem epoxi"', "a name in Materials", "did you mean hem epoxy?"),
    ),
    Case(
        "unknown part in Builds",
        put("Builds", 2, part="Tug pak 7"),
        one("Builds!C5", 'part is "Tug pak 7"', "Parts or Assemblies", "did you mean Tug pack 7?"),
    ),
    Case(
        "unknown shift",
        put("Builds", 1, shift="Night"),
        one("Builds!B4", 'shift is "Night"', "a name in Shifts"),
    ),
    Case(
        "unknown path",
        put("Beads", 1, path="Lid helm"),
        one(cell("Beads", "path", 1), 'path is "Lid helm"', "a name in Paths", "did you mean Lid hem?"),
    ),
    Case(
        "unknown record",
        put("Stations", 1, record="Yard"),
        one(cell("Stations", "record", 1), 'record is "Yard"', "a name in Temperatures"),
    ),
    Case(
        "insert in an unknown pot",
        put("Inserts", 1, pot="Cell bath"),
        one("Inserts!B4", 'pot is "Cell bath"', "a name in Pots for part Block", "did you mean Cell bed?"),
    ),
    Case(
        "name twice",
        put("Materials", 2, material="Hem Epoxy"),
        (("Materials!A5", "material Hem Epoxy appears twice", "Materials!A4"),),
    ),
    Case("lot twice", put("Stock", 2, lot="HA-0911"), one("Stock!A5", "appears twice", "Stock!A4")),
    # what does not fit together
    Case(
        "two-part without ratio B",
        put("Materials", 1, ratio_b=None),
        one("Materials!E4", "two-part material hem epoxy has no ratio B"),
    ),
    Case(
        "component B missing",
        both(
            drop_row("Components", 2),
            *(put("Stock", row, component="a", lot=f"other {row}") for row in (3, 4)),
        ),
        one("Materials!A4", "component B of hem epoxy is missing"),
    ),
    Case(
        "pot life that grows with heat",
        put("Materials", 1, pot_life_2=90),
        one(cell("Materials", "pot_life_2", 1), "pot life does not fall when it gets hotter"),
    ),
    Case(
        "tested before it is moved",
        put("Materials", 1, test_time=60),
        one("Materials!A4", "handling time, time to load and full-cure time"),
    ),
    Case(
        "shift that ends before it starts",
        put("Shifts", 2, end="06:00"),
        ((f"Shifts!C{HEADER_ROW + 2}", "ends at 06:00", "start at 14:00"),),
    ),
    Case(
        "break outside its shift",
        put("Breaks", 1, start="05:00", end="05:10"),
        one("Breaks!B4", "break 05:00–05:10 is outside the shift 06:00–14:00"),
    ),
    Case(
        "break of a night shift by the clock",
        both(
            put("Shifts", 2, start="22:00", end="30:00"),
            put("Breaks", 3, start="24:00", end="24:10"),
            put("Breaks", 4, start="02:00", end="02:30"),
        ),
        one("Breaks!B7", "break 02:00–02:30 is outside", "go on counting: 26:00 to 26:30"),
    ),
    Case(
        "breaks that overlap",
        put("Breaks", 1, start="10:20", end="10:40"),
        one("Breaks!B5", "overlaps the one in Breaks!A4"),
    ),
    Case(
        "break that ends before it starts",
        put("Breaks", 1, start="08:10", end="08:00"),
        one("Breaks!C4", "break ends at 08:00, not after its start at 08:10"),
    ),
    Case(
        "level over the wall",
        put("Pots", 1, level=80),
        one(cell("Pots", "level", 1), "level is 80 mm, over the wall of 70 mm"),
    ),
    Case(
        "draft of a box",
        put("Pots", 1, shape="box"),
        one(cell("Pots", "draft", 1), "a box has no draft", "give shape tray"),
    ),
    Case(
        "draft of a cylinder",
        put("Pots", 1, shape="cylinder", width=None),
        one(cell("Pots", "draft", 1), "a cylinder has no draft", "give shape cone"),
    ),
    Case(
        "unknown cell code",
        put("Pots", 1, cell="round one", cell_diameter=None),
        one(cell("Pots", "cell", 1), 'cell is "round one"', "such as 18650"),
    ),
    Case(
        "cells that do not fit",
        put("Pots", 1, cells=900),
        one(cell("Pots", "cells", 1), "900 cells of 18.4 mm do not fit"),
    ),
    Case(
        "cells without a size",
        put("Pots", 1, cell=None, cell_diameter=None),
        one("Pots!B4", "neither a cell code nor a diameter"),
    ),
    Case(
        "shots that do not add up", put("Shots", 1, portion=0.6), one("Shots!D4", "add up to 1.1, not to 1")
    ),
    Case(
        "neither length nor path",
        put("Beads", 1, path=None),
        one(cell("Beads", "length", 1), "neither a length nor a path"),
    ),
    Case(
        "both length and path",
        put("Beads", 1, length=1200),
        one(cell("Beads", "length", 1), "both a length and a path"),
    ),
    Case(
        "run without a gap", put("Beads", 2, gap=None), one(cell("Beads", "gap", 2), "needs both run and gap")
    ),
    Case("section without its height", put("Beads", 5, height=None), one("Beads!D8", "section segment")),
    Case(
        "pattern lower than the bond line",
        put("Joints", 1, start_gap=0.4),
        one(cell("Joints", "start_gap", 1), "start gap must be above gap"),
    ),
    Case(
        "assembly that contains itself",
        add("Assemblies", assembly="Block set", part="Block set", count=1),
        one("Assemblies!A12", "assembly Block set contains itself"),
    ),
    Case(
        "profile of one point",
        add("Profiles", profile="Short", time=0, temperature=23),
        one("Profiles!A8", "profile Short has one point"),
    ),
    Case(
        "station without speed or flow",
        put("Stations", 1, speed=None, flow=None),
        one(cell("Stations", "speed", 1), "neither speed nor flow"),
    ),
    Case(
        "expired stock only",
        put("Stock", 18, expiry=datetime.datetime(2026, 2, 1)),
        one("Stock!E21", "all stock of lamp dot A expires by 2026-02-01"),
    ),
    Case(
        "setting out of bounds",
        lambda book: book["Settings"].cell(16, 2, 1.5),
        one("Settings!B16", "service level is 1.5", "above 0.5 and below 1"),
    ),
    Case(
        "setting in a unit of another dimension",
        lambda book: book["Settings"].cell(20, 1, "Temperature spread [bar]"),
        one("Settings!A20", "unit of temperature spread", '"bar"'),
    ),
    Case(
        "setting twice",
        lambda book: book["Settings"].cell(5, 1, "Plant"),
        one("Settings!A5", 'the setting "Plant" appears twice'),
    ),
    Case(
        "unknown setting",
        lambda book: book["Settings"].cell(4, 1, "Plant name"),
        # not the list of all settings, but the one that was meant
        one("Settings!A4", '"Plant name" is not a setting', "did you mean Plant?"),
    ),
]


@pytest.fixture(scope="module")
def demo_bytes() -> bytes:
    """The demo without notes and lists, which do not matter here and take openpyxl long."""
    book = load_workbook(io.BytesIO(plan_bytes(DEMO)))
    del book["Start"]
    for sheet in book:
        sheet.data_validations.dataValidation = []
        for cell in sheet[HEADER_ROW]:
            cell.comment = None
    saved = io.BytesIO()
    book.save(saved)
    return saved.getvalue()


def broken(demo_bytes: bytes, edit: Callable, path: Path) -> Path:
    book = load_workbook(io.BytesIO(demo_bytes))
    edit(book)
    book.save(path)
    return path


def run(capsys, *arguments: str) -> tuple[int, str]:
    code = cli.main(list(arguments))
    caught = capsys.readouterr()
    return code, caught.out + caught.err


def test_there_are_enough_of_them():
    assert len(CASES) >= 30
    assert len({case.name for case in CASES}) == len(CASES)


def test_the_demo_itself_is_right(tmp_path, demo_bytes):
    assert check_plan(broken(demo_bytes, lambda book: None, tmp_path / "plan.xlsx"))[1] == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_one_clear_line_for_each_problem(case, tmp_path, demo_bytes, capsys):
    path = broken(demo_bytes, case.edit, tmp_path / "plan.xlsx")
    before = path.read_bytes()
    _, problems = check_plan(path)
    lines = [str(problem) for problem in problems]
    assert len(lines) == len(case.lines), "\n".join(lines)
    for line, (where, *words) in zip(lines, case.lines, strict=True):
        assert line.startswith(f"{where}: "), line
        assert "\n" not in line
        for word in words:
            assert word in line
    code, output = run(capsys, "check", str(path))
    assert code == 1
    assert all(line in output for line in lines)
    code, _ = run(capsys, "fill", str(path), "--out", str(tmp_path / "sheets"))
    assert code == 1
    assert [item.name for item in tmp_path.rglob("*")] == ["plan.xlsx"]
    assert path.read_bytes() == before


def test_all_problems_are_told_together(tmp_path, demo_bytes):
    edits = both(
        put("Beads", 1, width=-3),
        put("Beads", 2, height="tall"),
        put("Builds", 3, part="Drive bx"),
        put("Stock", 1, quantity=-1),
    )
    _, problems = check_plan(broken(demo_bytes, edits, tmp_path / "plan.xlsx"))
    assert [problem.where for problem in problems] == ["Beads!E4", "Beads!G5", "Builds!C6", "Stock!D4"]


def test_shifts_do_not_hide_shapes(tmp_path, demo_bytes):
    edits = both(put("Breaks", 1, start="05:00", end="05:10"), put("Pots", 1, cells=900))
    _, problems = check_plan(broken(demo_bytes, edits, tmp_path / "plan.xlsx"))
    assert {problem.where.split("!")[0] for problem in problems} == {"Breaks", "Pots"}
