"""Limits as printed: inside the true ones, compared as printed, the same on setup card and check sheet."""

from __future__ import annotations

import math
import pickle
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import openpyxl
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from lxml import etree
from plans import hand_rows, make
from test_sheets import STAMP, named, table_rows

from dispense.base.printed import DOWN, UP, Printed, digits_of, printed_limits, rounded
from dispense.books.pages import set_scale
from dispense.books.plan import write_plan
from dispense.handbook.in_formulas import formula_values
from dispense.jobs.fill import fill, template_folder
from dispense.plan.amounts import applications
from dispense.sheets.check import shot_check_content
from dispense.sheets.setup import station_setup_content
from dispense.shift.play import play_plan
from dispense.shift.setup import setup_card
from dispense.shift.store import NANO
from dispense.shift.weighing import COUNTS, SCALE, check_shot, weighing_findings
from dispense.xlsx.package import MAIN, Package
from dispense.xlsx.stored import cache_values
from dispense.xlsx.templates import Template, style_with

CHART = "{http://schemas.openxmlformats.org/drawingml/2006/chart}"


def dot_rows(**station):
    """A light dot of one part: 0.1385 mL of 1 g/mL, meter ±5 %."""
    rows = hand_rows()
    rows["Materials"][0].update(kind="one-part", ratio_a=None, ratio_b=None)
    rows["Components"] = [dict(material="Bond 60", component="a", density=1.0, container=100, heel=0.05)]
    rows["Stock"] = rows["Stock"][:1]
    rows["Beads"][0].update(length=13.85)
    rows["Stations"][0].update(dict(check_volume=None, checks=1, meter_tolerance=0.05) | station)
    return rows


# ------------------------------------------------------------------------------------ the numbers


@given(
    target=st.floats(1e-3, 1e5),
    below=st.floats(1e-4, 0.5),
    above=st.floats(1e-4, 0.5),
    resolution=st.sampled_from([0.001, 0.01, 0.1, 1.0]),
)
def test_a_printed_limit_is_never_outside_the_true_one(target, below, above, resolution):
    """Directed rounding by `decimal`, another implementation; ISO 80000-1, annex B (recalled)."""
    low, high = target * (1 - below), target * (1 + above)
    found = printed_limits(low, target, high, resolution)
    if found.low is None or found.high is None:
        # no step of the printed size lies between them: they are narrower than the scale tells
        assert high - low < 2.0 * resolution * (1 + 1e-9)
        return
    step = Decimal(1).scaleb(-found.low.digits)
    noise = 1e-9 * high
    assert low - noise <= found.low <= found.target <= found.high <= high + noise
    assert float(step) <= max((high - low) / 20.0, resolution) * (1 + 1e-9) or found.low.digits == 0
    steps = Decimal(low) / step
    assume(abs(steps - round(steps)) > Decimal("1e-6") and abs(Decimal(high) / step % 1) > Decimal("1e-6"))
    assert Decimal(found.low.text.replace(",", "")) == (steps).to_integral_value(ROUND_CEILING) * step
    assume(abs(Decimal(high) / step - round(Decimal(high) / step)) > Decimal("1e-6"))
    assert Decimal(found.high.text.replace(",", "")) == (
        (Decimal(high) / step).to_integral_value(ROUND_FLOOR) * step
    )


def test_the_case_that_was_printed_wrong():
    # 0.1385 g ± 5 %: 0.131575 to 0.145425 g; two decimals gave 0.13 and 0.15, both outside
    found = printed_limits(0.131575, 0.1385, 0.145425, 0.001)
    assert (found.low, found.high, found.text) == (0.132, 0.145, "0.132 to 0.145")
    # a round limit stays what it is, whatever its binary fraction: 4,000 g ± 2 %, 0.29 ± 0.01
    assert printed_limits(3920.0, 4000.0, 4080.0, 0.001).text == "3,920 to 4,080"
    assert printed_limits(0.28, 0.29, 0.30, 0.001).text == "0.280 to 0.300"
    # narrower than the scale: no limit is better than a wrong one
    assert printed_limits(0.1381, 0.1385, 0.1389, 0.001).low is None


def test_rounding_and_digits():
    assert [rounded(2.345, 2, way) for way in (UP, DOWN)] == [2.35, 2.34]
    assert rounded(0.1 + 0.2, 1, UP) == 0.3  # 0.30000000000000004 is a third tenth, not a fourth
    assert [digits_of(step) for step in (1e-3, 2e-3, 0.1, 1.0, 50.0)] == [3, 3, 1, 0, 0]
    value = Printed(0.1454, 3, DOWN)
    again = pickle.loads(pickle.dumps(value))
    assert (again, again.digits, again.toward, again.form) == (0.145, 3, DOWN, "#,##0.000")
    # an ounce avoirdupois is 28.349523125 g exactly (NIST Handbook 44, appendix C)
    ounces = value.times(1 / 28.349523125)
    assert ounces.digits == 5 and ounces <= 0.145 / 28.349523125 < ounces + 1e-5


# ----------------------------------------------------------------------------- what is weighed


def test_setup_card_and_check_sheet_say_the_same_of_a_shot():
    # by hand: 0.1385 g ± 0.006925 g; a scale of 0.001 g tells a tenth of half the tolerance from
    # 0.01 g on, so two shots: 0.277 g ± 0.01385 g = 0.26315 to 0.29085 g
    plan = make(dot_rows())
    result = next(play_plan(plan))
    check = shot_check_content(plan, result, STAMP).values
    (row,) = station_setup_content(plan, setup_card(plan, "hem"), STAMP).tables["SetupShots"]
    assert (check["shots_together"], check["low"], check["high"]) == (2, 0.264, 0.290)
    assert [row[name] for name in ("shots_together", "mass_of_n_shots", "mass_low", "mass_high")] == [
        check[name] for name in ("shots_together", "target", "low", "high")
    ]
    assert row["limits_from"] == check["limits_from"] == "meter: ±5 %"
    assert check["headline"] == "2 shots together: 0.277 g  (0.264 to 0.290 g)"
    assert check["scale_step"] == 0.001 and check["mass"] == row["mass"]


def test_a_shift_draws_what_its_checks_weigh():
    plan = make(dot_rows())
    result = next(play_plan(plan))
    assert result.check_shots == 4  # one an hour in 3.5 h of work: 6, 7, 8 (then the break) and 9
    assert result.check_volume / NANO * 1e6 == pytest.approx(2 * 0.1385, rel=1e-9)
    assert result.dispensed("checks") == result.check_shots * result.check_volume
    assert result.balance("a") == 0
    texts = {event.text for event in result.events if event.kind == "check"}
    assert texts == {"check: weigh 2 shots together"}


def test_a_stated_check_volume_is_one_shot_of_its_own():
    # 4 mL of 1 g/mL ± 5 %: 3.8 to 4.2 g, a scale tells it at once
    plan = make(dot_rows(check_volume=4))
    values = shot_check_content(plan, next(play_plan(plan)), STAMP).values
    assert (values["shots_together"], values["low"], values["high"]) == (1, 3.8, 4.2)
    assert values["headline"] == "4.00 g  (3.80 to 4.20 g)"


def test_without_a_meter_tolerance_the_limits_are_the_parts():
    # height 1 ± 0.1 mm of a rectangle: ±10 % of 0.1385 g, 0.12465 to 0.15235 g
    rows = dot_rows(meter_tolerance=0)
    rows["Beads"][0].update(height_tolerance=0.1)
    plan = make(rows)
    shot = setup_card(plan, "hem").settings[0].weighing
    assert (shot.count, shot.limits.text) == (1, "0.125 to 0.152")
    assert shot.basis == "part tolerances; largest: height"
    # a check shot of 4 mL of 1 g/mL has the same share of its own mass: 4 g ± 10 %
    rows["Stations"][0].update(check_volume=4)
    plan = make(rows)
    values = shot_check_content(plan, next(play_plan(plan)), STAMP).values
    assert (values["target"], values["low"], values["high"]) == (4.0, 3.6, 4.4)


def test_without_any_tolerance_there_are_no_limits_and_a_finding():
    plan = make(dot_rows(meter_tolerance=0))
    result = next(play_plan(plan))
    content = shot_check_content(plan, result, STAMP)
    assert content.values["low"] is None and content.values["high"] is None
    assert content.values["headline"] in ("0.138 g, no limits", "0.139 g, no limits")  # 0.1385: a tie
    (finding,) = weighing_findings(plan.stations[0], result.jobs[0].applications, result.density)
    assert finding.kind == "quality" and "no tolerance stated" in finding.text
    with_one = make(dot_rows())
    items = next(play_plan(with_one)).jobs[0].applications
    assert weighing_findings(with_one.stations[0], items, 1000.0) == []


@given(mass=st.floats(1e-3, 1e4), tolerance=st.floats(1e-3, 0.3))
def test_the_fewest_shots_that_the_scale_can_tell(mass, tolerance):
    rows = dot_rows(meter_tolerance=tolerance)
    rows["Beads"][0].update(width=mass, length=100.0, height=10.0)
    plan = make(rows)
    items = applications(plan, "frame")
    shot = check_shot(plan.stations[0], items, 1000.0)
    half = mass * tolerance
    assert shot.volume * 1e6 == pytest.approx(mass, rel=1e-9)
    fewer = [count for count in COUNTS if count < shot.count]
    assert all(count * half < 10 * SCALE for count in fewer)
    assert shot.count * half >= 10 * SCALE * (1 - 1e-9) or shot.count == COUNTS[-1]
    if shot.limits.low is not None and shot.limits.high is not None:
        assert shot.limits.low >= shot.count * (mass - half) * (1 - 1e-9)
        assert shot.limits.high <= shot.count * (mass + half) * (1 + 1e-9)


def test_highest_pressure_and_flow_are_as_typed():
    # 89.96 bar is not 90.0, 0.5006 mL/s not 0.501: a stated limit is not rounded
    rows = hand_rows()
    rows["Stations"][0].update(pressure_limit=89.96, flow_limit=0.5006, meter_tolerance=0.02)
    plan = make(rows)
    values = station_setup_content(plan, setup_card(plan, "hem"), STAMP).values
    assert (values["pressure_limit"], values["flow_limit"]) == (89.96, 0.5006)
    rows["Stations"][0].update(pressure_limit=90, flow_limit=30)
    plan = make(rows)
    values = station_setup_content(plan, setup_card(plan, "hem"), STAMP).values
    assert (values["pressure_limit"].text, values["flow_limit"].text) == ("90", "30")


# -------------------------------------------------------------------------------- on the sheet


@pytest.fixture
def checked(tmp_path):
    """The shot-check sheet of the light dot, filled."""
    fill(write_plan(dot_rows(), tmp_path / "plan.xlsx"), tmp_path / "out", stamp=STAMP)
    return next((tmp_path / "out").rglob("*_shot_check.xlsx")), next((tmp_path / "out").rglob("*_setup.xlsx"))


def within(path, weighed):
    """What the sheet says of masses written into its column."""
    package = Package.open(path)
    (sheet,) = package.worksheets
    table = package.table("CheckShots")
    column = table.first_column + table.columns.index("Weighed [g]")
    root = package.edit(sheet.part)
    cells = {cell.get("r"): cell for cell in root.iter(f"{{{MAIN}}}c")}
    for place, mass in enumerate(weighed):
        cell = cells[f"{chr(64 + column)}{table.first_data_row + place}"]
        etree.SubElement(cell, f"{{{MAIN}}}v").text = repr(mass)
    cache_values(package, formula_values)
    found = package.cell_values(sheet)
    column = table.first_column + table.columns.index("Within limits")
    return [found.get(f"{chr(64 + column)}{table.first_data_row + place}") for place in range(len(weighed))]


def test_a_shot_at_the_printed_limit_passes_and_one_step_further_fails(checked):
    path, _ = checked
    assert within(path, [0.264, 0.290, 0.277]) == ["yes", "yes", "yes"]
    assert within(path, [0.263, 0.291, 0.554]) == ["▲ no", "▲ no", "▲ no"]


def test_cells_show_all_their_digits(checked):
    """The number format of a cell shows what it holds: nothing is rounded a second time."""
    check, setup = map(openpyxl.load_workbook, checked)
    for book, table, names in (
        (check, "CheckShots", ("Target [g]", "Low [g]", "High [g]")),
        (setup, "SetupShots", ("Mass of n shots [g]", "Mass low [g]", "Mass high [g]")),
    ):
        (sheet,) = (sheet for sheet in book if table in sheet.tables)
        head, *rows = sheet[sheet.tables[table].ref]
        for row in rows:
            for cell in row:
                if head[cell.column - 1].value in names:
                    assert cell.number_format == "#,##0.000"
                    assert round(cell.value, 3) == cell.value
    headline = named(check, "headline").replace("\u202f", " ")  # a narrow blank before units
    assert headline == "2 shots together: 0.277 g  (0.264 to 0.290 g)"
    assert [row["Mass of n shots [g]"] for row in table_rows(setup, "SetupShots")] == [0.277]


def test_the_axis_of_the_run_chart_tells_its_steps_apart():
    # round steps of 0.005 need three decimals: with two, 0.13 would stand at two lines
    package = Package.open(template_folder() / "shot_check.xlsx")
    set_scale(package, 0.132, 0.145)
    root = package.tree(package.charts(package.worksheets[0])[0])
    axis = root.find(f".//{CHART}valAx")
    step = float(axis.find(f"{CHART}majorUnit").get("val"))
    form = axis.find(f"{CHART}numFmt").get("formatCode")
    decimals = len(form.partition(".")[2])
    assert math.isclose(step * 10**decimals, round(step * 10**decimals)) and decimals == 3


def test_a_style_is_added_once_and_keeps_all_but_its_number_format():
    package = Template(template_folder() / "shot_check.xlsx").package.copy()
    part = package.related(package.workbook_part, "styles")[0]
    before = len(package.tree(part).find(f"{{{MAIN}}}cellXfs"))
    first = style_with(package, "3", "#,##0.0000")
    assert style_with(package, "3", "#,##0.0000") == first
    styles = package.tree(part).find(f"{{{MAIN}}}cellXfs")
    assert len(styles) == before + 1 == int(styles.get("count"))
    old, new = dict(styles[3].attrib), dict(styles[int(first)].attrib)
    for name in ("numFmtId", "applyNumberFormat"):
        old.pop(name, None)
        new.pop(name, None)
    assert old == new
