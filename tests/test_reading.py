"""How a plan's headers, names, numbers and units are read: as people type them, or named as unread.

Plans are the demo with one thing changed, as raw tables. Lengths and volumes come from the definitions
of the inch (25.4 mm), the US gallon (231 in³), the imperial gallon (4.54609 L) and their fluid ounces
(1/128 and 1/160 of them), pound-force 4.4482216152605 N: NIST SP 811, appendix B.
"""

from __future__ import annotations

import time

import pytest
from fuzz import base_tables
from openpyxl import load_workbook

from dispense.base.errors import InputError, UnitError
from dispense.base.units import from_si, is_unit, read_header, read_quantity, unit_factor
from dispense.books.plan import new_plan
from dispense.plan.build import build_plan, read_plan
from dispense.plan.read import check_plan
from dispense.plan.records import RawTable
from dispense.plan.tables import BY_NAME

INCH = 25.4


def column(tables: dict[str, RawTable], table: str, name: str) -> int:
    return [read_header(header)[0] for header in tables[table].headers].index(name)


def put(tables, table: str, name: str, row: int, value) -> None:
    tables[table].columns[column(tables, table, name)][row] = value


def rename(tables, table: str, name: str, header: str) -> None:
    tables[table].headers[column(tables, table, name)] = header


def own(tables, table: str, header: str) -> None:
    """A column of the plant's own."""
    raw = tables[table]
    raw.headers.append(header)
    raw.columns.append(["x"] * len(raw.columns[0]))


def lines(tables) -> tuple[list[str], list[str]]:
    plan, problems = read_plan(tables)
    return [str(problem) for problem in problems], [str(note) for note in plan.warnings]


# ------------------------------------------------------------------------------- numbers and units


@pytest.mark.parametrize(
    "text, inches",
    [
        ("3/16", 3 / 16),
        ("1 1/8", 9 / 8),
        ("1-1/8", 9 / 8),
        ("½", 0.5),
        ("1½", 1.5),
        ("1 ½", 1.5),
        ("3\u204416", 3 / 16),
        ("⅜", 0.375),
        ("1.5e-1", 0.15),
        ("2E-1", 0.2),
        ("5×10⁻¹", 0.5),
        ("2x10^-1", 0.2),
        ("0.25", 0.25),
        (0.25, 0.25),
        ("0,25", 0.25),
        ("4 mm", 4 / INCH),
        ("5/32″", 5 / 32),
    ],
)
def test_a_number_takes_the_unit_of_its_header(text, inches):
    """Fractions, mixed numbers, powers of ten and decimal commas alike; arithmetic and 25.4 mm."""
    tables = base_tables()
    raw = tables["Beads"]
    place = column(tables, "Beads", "Width")
    raw.headers[place] = "Width [in]"
    raw.columns[place] = [text] * len(raw.columns[place])
    put(tables, "Beads", "Width tolerance", 0, None)
    raw.columns[column(tables, "Beads", "Width tolerance")] = [None] * len(raw.columns[place])
    plan, problems = read_plan(tables)
    problems = [problem for problem in problems if ": width " in str(problem)]
    assert problems == []
    assert plan.beads[0].width == pytest.approx(inches * INCH / 1000, rel=1e-12)


def test_a_fraction_takes_the_unit_of_a_setting_and_of_a_measurement(tmp_path):
    """Half a degree Fahrenheit of spread is 5/18 K; 75½ °F is 24.1667 °C."""
    from dispense.plan.csv import read_record

    tables = base_tables()
    raw = tables["Settings"]
    row = [str(cell).startswith("Temperature spread") for cell in raw.columns[0]].index(True)
    raw.columns[0][row], raw.columns[1][row] = "Temperature spread (delta_degF)", "1/2"
    assert build_plan(tables).settings["temperature_spread"] == pytest.approx(5 / 18, rel=1e-9)
    (tmp_path / "hall.csv").write_text("Time,Temperature (°F)\n06:00,75½\n07:00,151/2\n", encoding="utf-8")
    record = read_record(tmp_path / "hall.csv")
    assert [from_si(value, "°C") for value in record.channels["Temperature"]] == pytest.approx(
        [(75.5 - 32) / 1.8] * 2, rel=1e-9
    )


@pytest.mark.parametrize(
    "text, unit, value",
    [
        ("5 mil", "mm", 0.127),
        ("3/16 ″", "mm", 4.7625),
        ('3/16"', "mm", 4.7625),
        ("2 in.", "mm", 50.8),
        ("1 fl oz", "mL", 231 * 16.387064 / 128),
        ("1 US fl oz", "mL", 231 * 16.387064 / 128),
        ("1 imp fl. oz.", "mL", 4546.09 / 160),
        ("1 gal", "mL", 231 * 16.387064),
        ("1 US gal", "mL", 231 * 16.387064),
        ("1 imp gal", "mL", 4546.09),
        ("1 gal (UK)", "mL", 4546.09),
        ("3500 mPas", "Pa·s", 3.5),
        ("3500 mPa s", "Pa·s", 3.5),
        ("3500 mPa.s", "Pa·s", 3.5),
        ("2 lbf", "N", 2 * 4.4482216152605),
        ("2 lbf/in", "N/mm", 2 * 4.4482216152605 / INCH),
        ("1.1 g/cm3", "g/mL", 1.1),
        ("60 cc/min", "mL/s", 1.0),
        ("0.3 W/mK", "W/(m·K)", 0.3),
        ("8 W/m²K", "W/(m²·K)", 8.0),
        ("75 ℉", "°C", 43 / 1.8),
        ("5 ea", "", 5.0),
    ],
)
def test_units_that_people_type(text, unit, value):
    assert from_si(read_quantity(text, unit), unit) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "mm**9**9**9",
        "mm" * 15_000,
        "mm**(9*9*9)",
        "9**9**9",
        "mm**99",
        "(" * 100_000,
        "mm^2^2^2",
        "((((mm))))",
        "(mm",
        "*mm",
        "mm**" + "9" * 1000,
        "1" * 100_000,
        " " * 100_000 + "x",
    ],
)
def test_a_unit_is_bounded_before_it_is_parsed(text):
    """What would grow without end is refused at once, in a cell, a header and on its own."""
    start = time.perf_counter()
    with pytest.raises(UnitError):
        unit_factor(text, "mm")
    with pytest.raises(UnitError):
        read_quantity(f"2 {text}", "mm")
    assert read_header(f"Width [{text}]")
    tables = base_tables()
    rename(tables, "Beads", "Width", f"Width [{text}]")
    problems, _ = lines(tables)
    assert problems and all(len(line) < 500 for line in problems)
    assert time.perf_counter() - start < 5.0  # it hung; a slow machine is not the point


def test_a_comma_that_may_part_thousands_is_asked_about():
    """1,500 in a column without another comma may be 1.5 or 1500; beside 2,5 it is 1.5."""
    tables = base_tables()
    put(tables, "Materials", "Pot life", 0, "1,500")
    assert "point as decimal mark" in lines(tables)[0][0]
    put(tables, "Materials", "Pot life", 1, "12,5")
    plan, problems = read_plan(tables)
    assert not [line for line in problems if "pot life is" in str(line)]
    assert plan.materials[0].pot_life == pytest.approx(90.0)
    put(tables, "Materials", "Pot life", 1, "1.234,5")  # points part thousands here: all are asked about
    assert sum("pot life is" in line for line in lines(tables)[0]) == 2


# ------------------------------------------------------------------------------------------ headers


@pytest.mark.parametrize(
    "table, name, header, unit",
    [
        ("Pots", "Cell diameter", "Cell diameter (mm)", "mm"),
        ("Pots", "Limit", "Limit (°C)", "°C"),
        ("Stations", "Takt", "Takt (s)", "s"),
        ("Beads", "Width", "Width, mm", "mm"),
        ("Stations", "Purge volume", "Purge volume (mL)", "mL"),
        ("Builds", "Quantity", "Quantity (pcs)", "pcs"),
    ],
)
def test_a_unit_in_round_brackets_is_read(table, name, header, unit):
    expected = getattr(build_plan(base_tables()), table.lower())
    tables = base_tables()
    rename(tables, table, name, header)
    problems, notes = lines(tables)
    assert problems == []
    assert any(f"is read as {name} [{unit}]" in note for note in notes)
    assert getattr(build_plan(tables), table.lower()) == expected


def test_a_header_without_its_unit_is_noted():
    tables = base_tables()
    rename(tables, "Beads", "Width", "Width")
    problems, notes = lines(tables)
    assert problems == [] and any(
        'no unit stands there: "Width" is read as Width [mm]' in note for note in notes
    )
    assert not any("no unit stands" in note for note in lines(base_tables())[1])


def test_another_unit_in_round_brackets_converts():
    tables = base_tables()
    rename(tables, "Stations", "Takt", "Takt (min)")
    expected = build_plan(base_tables()).stations[1].takt
    assert build_plan(tables).stations[1].takt == pytest.approx(expected * 60.0)


@pytest.mark.parametrize(
    "table, name, header",
    [
        ("Stations", "Scrap", "Scrap rate"),
        ("Stations", "Scrap", "Scrap %"),
        ("Components", "Heel", "Heal"),
        ("Pots", "Cell diameter", "Cell dia. mm"),
        ("Pots", "Limit", "Limt [°C]"),
        ("Stations", "Takt", "Takt s"),
        ("Stations", "Takt", "Takt time"),
        ("Materials", "Pot life", "Potlife [min]"),
        ("Builds", "Quantity", "Quantities"),
    ],
)
def test_a_near_miss_of_a_header_is_a_problem(table, name, header):
    tables = base_tables()
    rename(tables, table, name, header)
    where = f"{table}!"
    problems, _ = lines(tables)
    assert len(problems) == 1
    assert problems[0].startswith(where)
    title = next(item.title for item in BY_NAME[table].columns if item.title.split(" [")[0] == name)
    assert f'"{header}" is not a column of {table} (did you mean {title}?)' in problems[0]


def test_columns_of_the_plants_own_are_named_once():
    """They do no harm; where every column of the table is there, they resemble none that is lacking."""
    tables = base_tables()
    for header in ("Colour", "Checked by", "Remarks"):
        own(tables, "Beads", header)
    own(tables, "Beads", "Width old")
    problems, notes = lines(tables)
    assert problems == []
    assert sum("Beads!" in note for note in notes) == 1
    note = next(note for note in notes if "Beads!" in note)
    assert all(f'"{header}"' in note for header in ("Colour", "Checked by", "Remarks", "Width old"))


@pytest.mark.parametrize("header", ["Mass [oz]", "Robot reach (mm)", "Tool offset, mm", "Torque [N*m]"])
def test_an_unknown_column_with_a_unit_is_a_problem(header):
    tables = base_tables()
    own(tables, "Beads", header)
    problems, _ = lines(tables)
    assert len(problems) == 1 and "carries a unit" in problems[0]


def test_settings_are_named_too():
    tables = base_tables()
    labels = tables["Settings"].columns[0]
    place = [str(label).startswith("Service level") for label in labels].index(True)
    labels[place] = "Servise level"
    problems, _ = lines(tables)
    assert problems == [
        f'Settings!A{place + 2}: "Servise level" is not a setting (did you mean Service level?)'
    ]
    labels[place] = "Telephone"
    problems, notes = lines(tables)
    assert problems == [] and any('no setting: "Telephone"' in note for note in notes)


@pytest.mark.parametrize("name", ["in", "mm", "US gal", "fl oz", "%", "°F", "1/min"])
def test_known_units(name):
    assert is_unit(name)


@pytest.mark.parametrize("name", ["nominal", "total", "max", "each row", "", "9", "x" * 60])
def test_words_are_no_units(name):
    assert not is_unit(name)


# -------------------------------------------------------------------------------------------- names


def test_names_compare_without_case_and_kinds_of_blanks():
    expected = build_plan(base_tables())
    tables = base_tables()
    put(tables, "Beads", "Station", 0, "hem\u00a0ROBOT")
    put(tables, "Beads", "Part", 0, "Drive  Lid")
    put(tables, "Stations", "Material", 0, "HEM EPOXY")
    put(tables, "Paths", "Path", 3, "lid\u2009hem")
    put(tables, "Inserts", "Pot", 0, "cell bed")
    put(tables, "Builds", "Part", 0, "tug pack 9")
    put(tables, "Assemblies", "Part", 0, "module")
    plan = build_plan(tables)
    for name in ("beads", "stations", "paths", "inserts", "builds", "assemblies"):
        assert getattr(plan, name) == getattr(expected, name)


def test_two_names_that_differ_in_blanks_are_one_name_twice():
    tables = base_tables()
    put(tables, "Stations", "Station", 1, "Hem  robot")
    assert any("appears twice" in line for line in lines(tables)[0])


# ----------------------------------------------------------------------------------- what is gone


@pytest.mark.parametrize(
    "table, words",
    [
        (
            "Beads",
            [
                "Hem robot",
                "Cover sealer",
                "Gasket robot",
                "Carrier bead",
                "Dot station",
                "Module cover",
                "Drive lid",
                "Busbar carrier",
            ],
        ),
        ("Joints", ["Plate paste", "Module plate"]),
        ("Paths", ["Beads!"]),
        ("Pots", ["Inserts!", "Shots!"]),
        ("Profiles", ["Ovens!"]),
        ("Temperatures", ["Stations!"]),
    ],
)
def test_a_lost_table_is_named(table, words):
    """The stations and parts of the demo by its tables; one line for one mistake."""
    tables = base_tables()
    del tables[table]
    problems, _ = lines(tables)
    assert len(problems) == 1
    assert problems[0].startswith(f"{table}!A1: table {table} has no rows")
    assert all(word in problems[0] for word in words)


def test_a_part_inside_an_assembly_that_gets_nothing_is_named():
    """The cover of the module, two levels below the packs that are built, has one bead only."""
    tables = base_tables()
    raw = tables["Beads"]
    row = raw.columns[column(tables, "Beads", "Part")].index("Module cover")
    for cells in raw.columns:
        del cells[row]
    problems, _ = lines(tables)
    assert len(problems) == 1
    assert "Module cover is built in Tug pack 9" in problems[0] and "Cover sealer" in problems[0]
    with pytest.raises(InputError):
        build_plan(tables)


@pytest.mark.parametrize("name", ["Builds", "Temperatures", "Shots"])
def test_a_table_on_a_sheet_of_another_name_is_read_to_its_end(tmp_path, name):
    """An Excel table that ends above rows typed below it: they belong to it on any sheet, and it is said."""
    new_plan(tmp_path / "plan.xlsx", demo=True)
    book = load_workbook(tmp_path / "plan.xlsx")
    sheet = book[name]
    (table,) = sheet.tables.values()
    first, last = table.ref.split(":")
    table.ref = f"{first}:{last.rstrip('0123456789')}{int(''.join(filter(str.isdigit, first))) + 1}"
    if table.autoFilter is not None:
        table.autoFilter.ref = table.ref
    sheet.title = f"{name} of the hall"
    book.save(tmp_path / "renamed.xlsx")
    plan, problems = check_plan(tmp_path / "renamed.xlsx")
    whole, _ = check_plan(tmp_path / "plan.xlsx")
    assert not problems
    assert len(getattr(plan, name.lower())) == len(getattr(whole, name.lower())) > 1
    assert any(f"is read as table {name}" in str(note) for note in plan.warnings)
