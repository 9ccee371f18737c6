"""Sheets in the units a plant chose: every figure of a golden plan, in inches, ounces, °F and psi.

A plan is filled twice, as it is and in other units, and the two sets of sheets are compared cell by cell
with the factors of NIST SP 811, appendix B (the inch, the pound and the US gallon are exact by
definition; from memory), which are written here and not taken from the planner.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import NamedTuple

import openpyxl
import pytest
from golden import plans
from plans import hand_rows, light_plan

from dispense.base.fields import number as number_field
from dispense.base.language import printed_in, translated
from dispense.base.measures import CHOICES, Measures, measured_in, size_told, temperature_told
from dispense.base.printed import Stated
from dispense.cli import main
from dispense.jobs.fill import convert, fill
from dispense.sheets.headings import Heading

INCH, POUND, GALLON = 25.4, 453.59237, 231 * 25.4**3 / 1000.0  # mm, g, mL; a gallon is 231 in³
PSI = 0.45359237 * 9.80665 / 0.0254**2 / 1e5  # bar: pound-force on a square inch, standard gravity
OF_US = {"length_unit": "in", "volume_unit": "fl oz", "mass_unit": "oz", "temperature_unit": "°F"}
OF_US["pressure_unit"] = "psi"
#: by printed unit the shop unit and how many of it are one
FACTORS = {
    "in": ("mm", INCH),
    "in/s": ("mm/s", INCH),
    "fl oz": ("mL", GALLON / 128),
    "fl oz/s": ("mL/s", GALLON / 128),
    "oz": ("g", POUND / 16),
    "lb": ("kg", POUND / 1000),
    "psi": ("bar", PSI),
}
IN_TEXT = FACTORS | {"gal": ("L", GALLON / 1000)}
METRIC = {shop for shop, _ in IN_TEXT.values()}
NAME, DAY = "drive", "2026-06-17"
UNIT = re.compile(r"\[([^\]]+)\]\s*:?\Z")
FIGURE = re.compile(r"(?<![\w.,/-])(\d+(?:,\d{3})*(?:\.\d+)?)(?=[ \u202f]?(°[CF]|[^\W\d]+(?: oz)?(?:/s)?)?)")


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """The sheets of a golden plan, in shop units and in those of the US, by file name."""
    folder = tmp_path_factory.mktemp("measures")
    found = []
    for name, chosen in (("shop", {}), ("us", OF_US)):
        tables = dict(plans.PLANS[NAME])
        headers, rows = tables["Settings"]
        more = [[key.replace("_", " ").capitalize(), unit] for key, unit in chosen.items()]
        tables["Settings"] = (headers, [*rows, *([*row, *[None] * (len(headers) - 2)] for row in more)])
        plans.write(tables, folder / f"{name}.xlsx")
        fill(folder / f"{name}.xlsx", folder / name, date=DAY, stamp="as given")
        found.append(
            {
                path.relative_to(folder / name): openpyxl.load_workbook(path, data_only=True)
                for path in (folder / name).rglob("*.xlsx")
            }
        )
    return found


class Place(NamedTuple):
    """A cell of a worksheet whose texts of several lines stand in one."""

    value: object
    number_format: str
    where: str


def rows_of(sheet) -> list[dict[int, Place]]:
    """The rows of a worksheet by column; a line that goes on (it begins with blanks) joins the one before.

    A longer sentence takes a row more: joined, both sets of sheets have the same rows.
    """
    found: list[dict[int, Place]] = []
    for row in sheet.iter_rows():
        cells = {cell.column: Place(cell.value, cell.number_format, cell.coordinate) for cell in row}
        said = [(column, cell) for column, cell in cells.items() if cell.value not in (None, "")]
        if len(said) == 1 and str(said[0][1].value).startswith("  ") and found[-1][said[0][0]].value:
            column, cell = said[0]
            before = found[-1][column]
            found[-1][column] = before._replace(value=f"{before.value} {str(cell.value).strip()}")
            continue
        found.append(cells)
    return found


def pairs(both):
    """Cell by cell the two sets of sheets, each with the units that its header states, None where none."""
    shop, us = both
    assert set(shop) == set(us)
    for path, book in shop.items():
        for sheet in book:
            mine, theirs = rows_of(sheet), rows_of(us[path][sheet.title])
            assert len(mine) == len(theirs), (path, sheet.title)
            places = {
                cell.where: (number, column)
                for number, row in enumerate(mine)
                for column, cell in row.items()
            }
            headers = {}
            for table in sheet.tables.values():
                first, *rest = sheet[table.ref]
                headers |= {
                    cell.coordinate: places[first[at].coordinate]
                    for row in rest
                    for at, cell in enumerate(row)
                }
            for number, row in enumerate(mine):
                for column, cell in row.items():
                    up, across = headers.get(cell.where, (max(0, number - 1), column))
                    found = UNIT.search(str(mine[up][across].value))
                    units = found and (found[1], UNIT.search(str(theirs[up][across].value))[1])
                    yield f"{path}!{sheet.title}!{cell.where}", cell, theirs[number][column], units


def test_each_header_states_the_chosen_unit(both):
    seen = set()
    for where, mine, theirs, _ in pairs(both):
        if isinstance(mine.value, str) and (found := UNIT.search(mine.value)):
            unit = UNIT.search(theirs.value)[1]
            shop, _ = FACTORS.get(unit, (unit, 1.0))
            assert shop == found[1] and unit not in METRIC, (where, mine.value, theirs.value)
            seen.add(unit)
    assert seen >= set(FACTORS)


def step(cell: Place) -> float:
    """The last digit that the format of a number shows."""
    decimals = re.search(r"\.(0+)\Z", cell.number_format.split(";")[0])
    return 10.0 ** -len(decimals[1]) if decimals else 1.0


def is_rounded(cell: Place) -> bool:
    """Whether a number has no digits beyond those that are shown."""
    return abs(cell.value / step(cell) - round(cell.value / step(cell))) < 1e-6


def test_each_number_is_the_same_amount(both):
    """What is printed agrees to a step of its last digit (limits are rounded inward).

    Each is rounded once, from the same number: the one in shop units is off by half of its own last step.
    """
    counted = 0
    for where, mine, theirs, units in pairs(both):
        if not isinstance(mine.value, int | float) or isinstance(mine.value, bool) or units is None:
            continue
        _, factor = FACTORS.get(units[1], ("", 1.0))
        wanted = mine.value / factor
        near = 1.0000001 * step(theirs) + (0.5 * step(mine) / factor if is_rounded(mine) else 0.0)
        assert theirs.value == pytest.approx(wanted, rel=1e-9, abs=near), where
        counted += 1
    assert counted > 300


def test_limits_are_rounded_inward(both):
    counted = 0
    for path, book in both[0].items():
        for sheet in book:
            for table in sheet.tables.values():
                names = [column.name for column in table.tableColumns]
                rows = list(sheet[table.ref])[1:]
                others = list(both[1][path][sheet.title][table.ref])[1:]
                for place, name in enumerate(names):
                    side = {"Low [g]": 1, "Mass low [g]": 1, "High [g]": -1, "Mass high [g]": -1}.get(name)
                    for mine, theirs in zip(rows, others, strict=True):
                        if side and isinstance(mine[place].value, float):
                            inward = side * (theirs[place].value - mine[place].value / (POUND / 16))
                            assert inward >= -1e-12, (path, name)
                            counted += 1
    assert counted > 10


def turned(number: str, unit: str) -> float:
    """A figure of a US text in the unit of the shop."""
    value = float(number.replace(",", ""))
    return (value - 32.0) / 1.8 if unit == "°F" else value * IN_TEXT.get(unit, ("", 1.0))[1]


def test_each_number_in_a_sentence_is_the_same_amount(both):
    counted = 0
    for where, mine, theirs, *_ in pairs(both):
        if not isinstance(mine.value, str) or mine.value.startswith("=") or UNIT.search(mine.value):
            continue
        old, new = FIGURE.findall(mine.value), FIGURE.findall(theirs.value)
        if len(old) != len(new) or not any(unit in IN_TEXT or unit == "°F" for _, unit in new):
            assert len(old) == len(new) or "\n" in mine.value, (where, mine.value, theirs.value)
            continue
        for (before, shop), (after, unit) in zip(old, new, strict=True):
            if unit in METRIC | {"°C", "K"}:
                pytest.fail(f"{where}: {theirs.value}")
            if (unit not in IN_TEXT and unit != "°F") or shop == "K":
                continue
            step = 10.0 ** -len(before.partition(".")[2])
            assert abs(turned(after, unit) - float(before.replace(",", ""))) <= step, (
                where,
                mine.value,
                theirs.value,
            )
            counted += 1
    assert counted > 40


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        # 25.4 mm to the inch; 32 + 1.8 °C; a difference has no zero; 14.5038 psi to the bar
        ("bead 4.0 mm at 23 °C", "bead 0.157 in at 73 °F"),
        ("5.0 K above", "9.0 °F above"),
        ("5.0\u202fK above", "9.0\u202f°F above"),
        ("−5 °C", "23 °F"),
        ("at most 200 bar", "at most 2,901 psi"),
        ("1.05 g/mL, 0.2 W/(m·K)", "1.05 g/mL, 0.2 W/(m·K)"),
        ("8 × 310 mL", "8 × 10.48 fl oz"),  # a count, and no second side
        ("8 × 4 mm", "0.31 × 0.16 in"),
        ("at 06:30 mm", "at 06:30 mm"),
        ("lot 2026-03 g", "lot 2026-03 g"),
    ],
)
def test_texts(text, wanted):
    with measured_in(Measures(tuple(OF_US.values()))):
        assert translated(text) == wanted


def test_texts_of_another_language_follow_too():
    with printed_in("de"), measured_in(Measures(tuple(OF_US.values()))):
        assert (
            translated("purge 110.0 mL at 60% of the pot life") == "3,720 fl oz spülen bei 60% der Topfzeit"
        )


@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_a_component_label_is_no_temperature(language):
    """German calls a one-part material 1K: no kelvin, which is written apart (SI Brochure, 5.4.3)."""
    labels = "one-part", "A or one-part", "no pot life: one-part", "keine Topfzeit: 1K", "1K, 2K"
    with printed_in(language):
        plain = [translated(each, known=False) for each in labels]
    with printed_in(language), measured_in(Measures(("°F",))):
        assert [translated(each, known=False) for each in labels] == plain
        assert translated("warmer by 5.0 K", known=False).endswith(("9.0 °F", "9,0 °F"))
    assert language != "de" or plain[0] == "1K"


def test_the_plans_own_words_stay():
    """A part called by a size is called so in each unit."""
    with measured_in(Measures(("in",), ("hem 450 mm",))):
        assert translated("hem 450 mm: bead 4.0 mm") == "hem 450 mm: bead 0.157 in"


def test_every_unit_offered_is_known_and_the_first_is_the_shops():
    for units in CHOICES.values():
        for unit in units[1:]:
            assert Measures((unit,)).unit(units[0]) == unit
        assert not Measures(units[:1]).units


# What is typed in inches, psi, °F and fluid ounces is printed as typed. Factors: NIST SP 811, appendix B.8
# (from memory): 1 fl oz = 29.57353 mL, 1 gal = 3.785412 L, 1 psi = 6.894757 kPa, 1 in = 25.4 mm.


@pytest.mark.parametrize(
    ("millilitres", "metric", "us"),
    [
        (591.470592, "591.5 mL", "20 fl oz"),  # 20 × 29.5735296
        (147.867648, "147.9 mL", "5 fl oz"),
        (298.692648, "298.7 mL", "10.1 fl oz"),
        (18927.0589, "18.93 L", "5 gal"),  # 5 × 3785.41178
        (7570.82357, "7.571 L", "2 gal"),
        (3785.41178, "3.785 L", "1 gal"),
        (3756.0, "3.756 L", "127 fl oz"),  # below a gallon: 3756 / 29.5735 = 127.005
        (310.0, "310 mL", "10.48 fl oz"),
        (5000.0, "5 L", "1.321 gal"),
    ],
)
def test_a_container_is_printed_as_it_was_typed(millilitres, metric, us):
    assert size_told(millilitres * 1e-6) == metric
    with measured_in(Measures(tuple(OF_US.values()))):
        assert size_told(millilitres * 1e-6) == us
        assert translated(us) == us  # it is in the printed unit already
        assert translated(f"Bring 2 × A {us}") == f"Bring 2 × A {us}"
    with printed_in("de"), measured_in(Measures(tuple(OF_US.values()))):
        assert translated(f"Bring 2 × A {us}") == f"2 × A {us.replace('.', ',')} bringen"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("order of 15 × 7.571 L", "order of 15 × 2 gal"),
        ("12 × 18.93 L", "12 × 5 gal"),
        ("(591 mL): set it aside", "(20 fl oz): set it aside"),
        ("bond line 0.3048 mm", "bond line 0.012 in"),
        # 3/16 in
        ("half-round 4.763 mm × 2.38 mm", "half-round 0.1875 in × 0.0937 in"),
        ("6.35 mm deep", "0.25 in deep"),
        ("limit 27.58 bar", "limit 400 psi"),
        ("limit 103.4 bar", "limit 1,500 psi"),
        ("310 mL", "10.48 fl oz"),  # 10.5 fl oz would be 310.5 mL
    ],
)
def test_a_shorter_figure_that_a_text_stands_for_is_told(text, wanted):
    with measured_in(Measures(tuple(OF_US.values()))):
        assert translated(text) == wanted


@pytest.mark.parametrize("limit", [400, 1500, 1800, 1200, 72.5])
def test_a_typed_limit_is_printed_as_typed(limit):
    """A limit of so many psi, kept in bar: 1 psi = 0.06894757 bar."""
    bar = Stated(limit * 6894.757293168 / 1e5)
    assert (
        convert(Heading.of(number_field("pressure_limit", "bar", ""), "Pressure limit"), bar, "psi") == limit
    )
    assert bar == pytest.approx(limit * 0.06894757, rel=5e-4)  # to four figures in bar too


def test_a_temperature_is_rounded_once():
    """74 °F are 23.33 °C and 97.83 °F are 36.57 °C: by way of whole °C they would be 73 and 99 °F."""
    low, high = (74 - 32) / 1.8 + 273.15, (97.83 - 32) / 1.8 + 273.15
    assert temperature_told(low, high) == "23 to 37 °C"
    with measured_in(Measures(("°F",))):
        assert temperature_told(high, low) == translated(temperature_told(low, high)) == "74 to 98 °F"
    with printed_in("de"), measured_in(Measures(("°F",))):
        assert translated(f"stated at {temperature_told(low)}") == "angegeben bei 74 °F"


def us_plan(folder: Path, stock: str = "20 gal") -> Path:
    """The plan worked by hand with containers, a limit and temperatures typed in units of the US."""
    rows = hand_rows()
    rows["Materials"][0] |= dict(ratio_a=4, ratio_b=1)
    rows["Components"][0]["container"], rows["Components"][1]["container"] = "20 fl oz", "2 gal"
    rows["Stock"] = [
        dict(material="Bond 60", component=letter, lot=letter, quantity=stock, expiry="2026-06-30")
        for letter in "ab"
    ]
    rows["Stations"][0] |= dict(pressure_limit="400 psi", record="hall")
    rows["Beads"][0] |= dict(width="3/8 in", bond_line="0.012 in", flange_width="1 in")
    rows["Temperatures"] = [
        dict(record="hall", time=f"{hour:02}:00", temperature=f"{degrees} degF")
        for hour, degrees in ((0, 74), (12, 98), (23, 74))
    ]
    path = light_plan(folder / "plan.xlsx", rows)
    book = openpyxl.load_workbook(path)
    sheet = book.create_sheet("Settings")
    for row in [
        ("Setting", "Value"),
        *((name.replace("_", " ").capitalize(), OF_US[name]) for name in OF_US),
    ]:
        sheet.append(row)
    book.save(path)
    return path


def test_sheets_of_a_plan_in_inches_are_as_typed(tmp_path):
    fill(us_plan(tmp_path), tmp_path / "out", stamp="as given")
    [folder] = (tmp_path / "out").glob("2026*")
    printed = {
        cell.value
        for path in (folder / "hem_material.xlsx", folder / "staging.xlsx")
        for sheet in openpyxl.load_workbook(path)
        for row in sheet.iter_rows()
        for cell in row
    }
    # 21 parts of 10 mL of 4 : 1 and what is purged: some 200 mL of A, 50 mL of B
    assert {"Bring 1 × A 20\u202ffl oz + 1 × B 2\u202fgal", "20\u202ffl oz", "2\u202fgal"} <= printed
    setup = openpyxl.load_workbook(tmp_path / "out" / "setup" / "hem_setup.xlsx")["Setup"]
    values = {cell.value for row in setup.iter_rows() for cell in row}
    # by volume as stated; by mass 1.0 / (4 × 1.2) = 0.20833
    assert "4 : 1 (100 : 25) by volume, 100 : 20.83 by mass (A : B)" in values
    assert {400, "74 to 98\u202f°F"} <= values


def test_the_terminal_tells_a_plans_own_units(tmp_path, capsys):
    """A bead of 3/8 in by 1 mm is 9.525 mm² and at 0.012 in some 31 mm wide, on a flange of 25.4 mm."""
    plan = us_plan(tmp_path)
    main(["check", str(plan)])
    said = capsys.readouterr().out
    assert "on a flange of 1 in" in said and not re.search(r"\d (mm|mL|bar|°C)\b", said)
    main(["check", str(plan), "--json"])
    assert "on a flange of 25.4 mm" in str(json.loads(capsys.readouterr().out)["findings"])
    main(["fill", str(plan), "--out", str(tmp_path / "out")])
    assert "on a flange of 1 in" in capsys.readouterr().out


def test_a_forecast_tells_orders_and_volumes_in_a_plans_own_units(tmp_path, capsys):
    """Of A 5 fl oz = 148 mL are in store, and 210 mL of 4 : 1 on parts alone ask for 168 mL."""
    main(["forecast", str(us_plan(tmp_path, stock="5 fl oz")), "--runs", "20"])
    said = capsys.readouterr().out
    assert "order: 1 × 20 fl oz Bond 60 A by" in said
    assert "In stock [fl oz]" in said and re.search(r"Bond 60 A +5 ", said)
    assert "Volume [fl oz]" in said and re.search(r"Bond 60 A +1 +20 ", said)  # one container of 20 fl oz
    assert not re.search(r"\[(mL|L)\]|\d (mL|L|°C)\b", said)
