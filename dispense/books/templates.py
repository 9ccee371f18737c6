"""Makes the templates of the printed sheets: `python -m dispense.books.templates [FOLDER]`.

Names, headers and units come from `dispense.sheets.content`, so that a template has what its contents
need. A plant may restyle the files: names and table headers are what counts.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from openpyxl import Workbook
from openpyxl.chart import BarChart, LineChart, Reference, Series
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.styles import Alignment
from openpyxl.worksheet.datavalidation import DataValidation

from ..sheets import content as sheets
from ..shift.results import CATEGORIES
from ..xlsx.write import atomic_write
from . import style
from .charts import add_legend, dress
from .finish import finished
from .form import DASHED, OTHER_DAY, SMALL_BOLD, Calculated, Form, Written

__all__ = ["MAKERS", "make", "write_all"]

TICK = Written("Done", tick=True)
BY = Written("Initials")
LIGHT = "A9A9A9"


# ----------------------------------------------------------------------------- shift material sheet


def shift_material(book: Workbook) -> None:
    """What one station needs in one shift, and its clock times."""
    form = Form(book, sheets.SHIFT_MATERIAL, "Material", [11.5, 13.5, *[7.5] * 14], landscape=False)
    form.head()
    form.cards(
        ("station", 3),
        ("material", 2),
        ("day", 3),
        ("shift", 2),
        ("hours", 2),
        ("takt", 2),
        ("shop_temperature", 2),
    )
    form.cards(
        ("parts_good", 2),
        ("parts_started", 2),
        ("mixed_total", 2),
        ("mixed_mass", 2),
        ("on_parts", 2),
        ("on_parts_low", 2),
        ("on_parts_high", 2),
        ("waste_share", 2),
    )
    form.cards(("purges", 2), ("mixers", 2), ("check_shots", 2), ("matters_most", 4), ("rule", 6))
    form.cards(("description", 5), ("pot_life", 6), ("prepared_by", 3), ("stamp", 2), small=True)
    form.section("Warnings")
    form.warnings("MaterialWarnings")
    form.section("Lots to bring, first-expired first")
    form.table(
        "MaterialLots",
        ["component", "first", "containers", "volume", TICK, BY, "last_day", "lot"],
        across=True,
        forms={"last_day": "dd mmm yy"},
    )
    form.section("Use by component")
    flows = [*CATEGORIES, "drawn", "closing"]
    form.table(
        "MaterialUse",
        ["component", "containers", "opening", "mounted", *flows, "mass"],
        forms=dict.fromkeys(("opening", "mounted", *flows), DASHED),
    )
    form.total("MaterialUse", ["containers", "mass"])
    for name in ("opening", "mounted", *flows):
        cell = form.ws[f"{form.ranges['MaterialUse'][1][name]}{form.row - 1}"]
        cell.value = f"=SUM({form.area('MaterialUse', name)})"
        cell.number_format = DASHED
    used = {name: form.area("MaterialUse", name) for name in ("opening", "mounted", "drawn", "closing")}
    apart = f"ROUND(SUMPRODUCT(ABS({used['opening']}+{used['mounted']}-{used['drawn']}-{used['closing']})),6)"
    form.figure(1, "Balance: opening + mounted − drawn − closing [mL]", f"={apart}", "0.000", 6)
    form.cell(8, f'=IF({apart}=0,"holds","▲ does not hold")').font = style.BOLD
    form.row += 1
    form.section("Parts")
    form.table(
        "MaterialParts",
        ["part", "good", "started", "shot", "low", "high", "shot_mass", "total", "matters_most"],
        across=True,
    )
    form.total("MaterialParts", ["good", "started", "total"])
    form.section("What if")
    form.cell(1, "More parts to start:").font = style.BODY
    more = form.entry(3, 10, "0")
    form.cell(4, "  each with the shot of the first part [mL]:").font = style.BODY
    form.name("shot_first", 9)
    form.cell(9).font, form.cell(9).number_format = style.BOLD, "[<10]0.00;[<100]0.0;#,##0"
    form.cell(9).alignment = style.RIGHT
    shot = f"$I${form.row}"
    form.row += 1
    form.table(
        "MaterialMore",
        [
            "component",
            "share",
            "left",
            "container",
            Calculated("more", f"={more}*{shot}*{{share}}"),
            Calculated(
                "more_containers", "=IF({container}>0,ROUNDUP(ROUND(MAX(0,{more}-{left})/{container},6),0),0)"
            ),
        ],
    )
    form.sign_off()
    form.cautions()

    times = Form(book, sheets.SHIFT_MATERIAL, "Times", [15, 6, 11, 11, 15, 10, 61, 9], landscape=False)
    times.head(named=False)
    for column, name in ((1, "station"), (4, "material"), (6, "day"), (7, "shift")):
        cell = times.cell(column, f"={form.where(name)}")
        cell.font, cell.alignment = SMALL_BOLD, style.LEFT
        cell.number_format = "yyyy-mm-dd" if name == "day" else "General"
        if name == "day":
            times.day = f"${cell.column_letter}${cell.row}"
    times.row += 1
    times.table(
        "MaterialTimes",
        ["time", TICK, "event", "component", "lot", "volume", "action", BY],
        repeat=True,
        rows_high=17,
    )


# ------------------------------------------------------------------------------- station setup card


def station_setup(book: Workbook) -> None:
    """What to set the dispenser to, and what a shot must weigh."""
    widths = [14, 15, 5, 8.5, 8.5, 8.5, *[8.5] * 8, 19, 25, 12]
    form = Form(book, sheets.STATION_SETUP, "Setup", widths, landscape=True)
    form.head()
    form.cards(("station", 2), ("material", 3), ("ratio", 6), ("density", 2), ("shop_temperature", 4))
    form.cards(
        ("meter", 2),
        ("mixer_volume", 3),
        ("purge_volume", 2),
        ("start_volume", 2),
        ("nozzle_bore", 2),
        ("nozzle_length", 2),
        ("pressure_limit", 2),
        ("flow_limit", 2),
    )
    form.cards(
        ("description", 2),
        ("pot_life", 4),
        ("rule", 3),
        ("pot_life_source", 2),
        ("open_time", 2),
        ("surface_treatment", 2),
        ("prepared_by", 1),
        ("stamp", 1),
        small=True,
    )
    form.section(
        "Shots: what to weigh", "weigh the shots together on one cup; low and high are those of all together"
    )
    form.table(
        "SetupShots",
        [
            "part",
            "application",
            "shot",
            "mass",
            "shots_together",
            "mass_of_n_shots",
            "mass_low",
            "mass_high",
            "mass_a",
            "mass_b",
            Written("Weighed [g]"),
            "volume",
            "volume_low",
            "volume_high",
            "limits_from",
            "detail",
            "matters_most",
        ],
    )
    form.section("Settings: what to set")
    form.table(
        "SetupFlows",
        [
            "part",
            "application",
            "shot",
            "speed",
            "time",
            "flow",
            "flow_a",
            "flow_b",
            "nozzle_pressure",
            "mixer_pressure",
            "shear_rate",
            "wait",
            Written("Set"),
        ],
    )
    form.section("Warnings and notes")
    form.warnings("SetupNotes", ("kind", "text"))
    form.sign_off(("Set by", "Checked by", "Released"))
    form.cautions()


# ----------------------------------------------------------------------------------------- cure board


def cure_board(book: Workbook) -> None:
    """When each batch may be moved, joined and tested."""
    widths = [7, 16, 11, 15, 15, 10, 15, 15, 16, 16, 16, 13, 34]
    form = Form(book, sheets.CURE_BOARD, "Board", widths, landscape=True)
    form.head()
    form.cards(
        ("station", 2),
        ("material", 2),
        ("day", 2),
        ("shift", 1),
        ("hours", 2),
        ("cure", 2),
        ("shop_temperature", 2),
    )
    form.cards(("description", 4), ("basis", 6), ("prepared_by", 2), ("stamp", 1), small=True)
    form.section("Warnings")
    form.warnings("CureWarnings")
    form.section(
        "Batches",
        "each part has its own open time: mate before and mates are those of the "
        "tightest part, no other part of the batch has less time left",
    )
    form.cell(1, "Type the day and time to see the state of each batch:").font = style.BODY
    now = form.entry(6, None, OTHER_DAY)
    form.merge(6, 2)
    form.row += 1
    marks = (("test", "may be tested"), ("join", "may be joined"), ("move", "may be moved"))
    steps = ",".join(f'IF(AND({{{name}}}<>"",{now}>={{{name}}}),"{words}"' for name, words in marks)
    form.table(
        "CureBatches",
        [
            "batch",
            "part",
            "part_numbers",
            "begun",
            "ended",
            "tightest_part",
            "mate_before",
            "mates",
            "move",
            "join",
            "test",
            Calculated("state", f'=IF({now}="","",{steps},"wait"))))'),
            "note",
        ],
        repeat=True,
        big=True,
        rows_high=22,
        marks="note",
    )
    form.sign_off(("Prepared", "Shift lead", "Handed over to next shift"))
    form.cautions()


# ----------------------------------------------------------------------------------- shot-check sheet


def shot_check(book: Workbook) -> None:
    """Target and limits in grams, room for what was weighed, a run chart."""
    widths = [7, 14, 10, 9, 9, 12, 11, 11, 10, 11, 10]
    form = Form(book, sheets.SHOT_CHECK, "Checks", widths, landscape=False)
    form.head()
    form.cards(("station", 3), ("material", 3), ("day", 2), ("shift", 1), ("hours", 2))
    form.cards(("shots_together", 2), ("target", 2), ("low", 2), ("high", 2), ("scale_step", 3))
    form.cards(("mass", 2), ("volume", 2), ("mass_a", 2), ("mass_b", 2), ("ratio_mass", 1), ("density", 2))
    form.cards(("description", 3), ("limits_from", 4), ("prepared_by", 2), ("stamp", 2), small=True)
    form.ws[_address(book, "ratio_mass")].number_format = "0.0"
    form.section(
        "Check shots", "weigh the shots named above on one cup; A and B apart only where the ratio is checked"
    )
    form.table(
        "CheckShots",
        [
            "check",
            "time",
            "target",
            "low",
            "high",
            Written("Weighed [g]"),
            Calculated(
                "within_limits",
                '=IF(OR(F{row}="",{low}="",{high}=""),"",IF(AND(F{row}>={low},F{row}<={high}),"yes","▲ no"))',
            ),
            Written("A alone [g]"),
            Written("B alone [g]"),
            Calculated("B per 100 A", '=IF(OR(H{row}="",I{row}=""),"",100*I{row}/H{row})', "0.0"),
            BY,
        ],
        repeat=True,
        rows_high=19,
    )
    row = form.ranges["CheckShots"][0]
    weighed, ratio, low = f"F{row}:F{row}", f"J{row}:J{row}", f"D{row}:D{row}"
    finer = f"({_address(book, 'scale_step')}/10)"  # a mean has one digit more than what is weighed
    for label, formula, shape in (
        ("Weighed, number of shots", f"=COUNT({weighed})", "0"),
        ("Mean [g]", f'=IF(COUNT({weighed})=0,"",ROUND(AVERAGE({weighed})/{finer},0)*{finer})', "General"),
        (
            "Range, largest less smallest [g]",
            f'=IF(COUNT({weighed})=0,"",ROUND((MAX({weighed})-MIN({weighed}))/{finer},0)*{finer})',
            "General",
        ),
        (
            "All within limits",
            f'=IF(OR(COUNT({weighed})=0,COUNT({low})=0),"",'
            f'IF(COUNTIF(G{row}:G{row},"yes")=COUNT({weighed}),"yes","▲ no"))',
            "General",
        ),
        ("Mean of B per 100 A by mass", f'=IF(COUNT({ratio})=0,"",AVERAGE({ratio}))', "0.0"),
    ):
        form.figure(1, label, formula, shape, 5)
        form.row += 1
    form.section("Run chart")
    _run_chart(form, row)
    form.row += 17
    form.sign_off(("Weighed by", "Checked by", "Released"))
    form.cautions()


def _address(book: Workbook, name: str) -> str:
    return book.defined_names[name].attr_text.rpartition("!")[2].replace("$", "")


def _run_chart(form: Form, row: int) -> None:
    chart = LineChart()
    for column, title, dash, color in (
        (6, "weighed", None, style.DARK),
        (3, "target", "solid", LIGHT),
        (4, "lower limit", "dash", style.GREY),
        (5, "upper limit", "lgDash", style.GREY),
    ):
        series = Series(Reference(form.ws, min_col=column, min_row=row, max_row=row), title=title)
        is_data = dash is None
        series.graphicalProperties = GraphicalProperties(
            ln=LineProperties(solidFill=color, w=25400 if is_data else 15875, prstDash=dash)
        )
        series.marker.symbol = "circle" if is_data else "none"
        series.smooth = False
        chart.series.append(series)
    chart.set_categories(Reference(form.ws, min_col=2, min_row=row, max_row=row))
    dress(chart, None, "Clock time of the check shot", "Mass weighed [g]", y_form="[<10]0.00;0.0")
    add_legend(chart)
    chart.x_axis.number_format = "hh:mm"
    # the filling puts its limits here: a fixed scale is one that may be set
    chart.y_axis.scaling.min, chart.y_axis.scaling.max, chart.y_axis.majorUnit = 0.0, 1.0, 0.25
    chart.width, chart.height = 20.5, 8.0
    form.ws.add_chart(chart, f"A{form.row}")


# -------------------------------------------------------------------------------------- staging sheet


def staging(book: Workbook) -> None:
    """Every container that must stand at the stations in one shift."""
    widths = [17, 15, 11, 10, 9, 9, 9, 14, 14, 8, 8, 24]
    form = Form(book, sheets.STAGING, "Staging", widths, landscape=True)
    form.head()
    form.cards(("day", 2), ("shift", 1), ("hours", 3), ("prepared_by", 3), ("stamp", 3))
    form.section("Containers to bring")
    form.table(
        "StagingContainers",
        [
            "station",
            "material",
            "component",
            "containers",
            "container",
            "volume",
            "mass",
            "first",
            "last",
            TICK,
            BY,
            "lots",
        ],
        repeat=True,
    )
    form.total("StagingContainers", ["containers", "mass"])
    form.section("Warnings")
    form.warnings("StagingWarnings", ("station", "warning"))
    form.sign_off(("Picked by", "Checked by", "Received on the line"))
    form.cautions()


# -------------------------------------------------------------------------------------------- results


def results(book: Workbook) -> None:
    """All figures of a plan, with sums by material and by day."""
    spec = sheets.RESULTS
    summary = Form(book, spec, "Summary", [17, 15, 12, 12, 12, 12, 12, 12], landscape=False)
    shifts = Form(book, spec, "Shifts", [16, 9, 17, 16, 8, 9, 9, 8, 8, *[10] * 5, 8, 8, 9], landscape=True)
    shifts.head(named=False)
    shifts.table(
        "ResultShifts",
        [item.name for item in spec.tables["ResultShifts"]],
        forms={"busy": "0%"},
        repeat=True,
        filtered=True,
    )
    shifts.total("ResultShifts", ["good", "finished", "started", "mass", "purges", "mixers", "warnings"])
    shifts.ws.freeze_panes = shifts.ws.cell(shifts.ranges["ResultShifts"][0], 4)
    use = Form(book, spec, "Use", [16, 9, 17, 16, 11, *[9.3] * 15], landscape=True)
    use.head(named=False)
    names = [item.name for item in spec.tables["ResultUse"]]
    flows = [item.name for item in spec.tables["ResultUse"] if item.unit == "mL"]
    use.table("ResultUse", names, forms=dict.fromkeys(flows, DASHED), repeat=True, filtered=True)
    use.ws.freeze_panes = use.ws.cell(use.ranges["ResultUse"][0], 4)
    amounts = Form(book, spec, "Amounts", [16, 16, 6, 16, 15, *[9] * 5, 15, 9, 8, 34], landscape=True)
    amounts.head(named=False)
    amounts.table(
        "ResultAmounts", [item.name for item in spec.tables["ResultAmounts"]], repeat=True, filtered=True
    )
    amounts.ws.freeze_panes = amounts.ws.cell(amounts.ranges["ResultAmounts"][0], 3)
    warnings = Form(book, spec, "Warnings", [14, 9, 18, 10, 80, 60], landscape=True)
    warnings.head(named=False)
    columns = ["day", "shift", "station", "kind", "warning", "what_to_do"]
    warnings.table("ResultWarnings", columns, repeat=True, filtered=True)

    summary.head()
    summary.cards(
        ("period", 2),
        ("passes_through_stations", 2),
        ("station_shifts", 1),
        ("warnings", 1),
        ("prepared_by", 2),
    )
    summary.cards(("findings", 8), small=True)
    summary.section("Look at first")
    summary.warnings("ResultGravest")
    summary.section("By material", "drawn for all shifts")
    drawn, material, component = (use.outer("ResultUse", name) for name in ("drawn", "material", "component"))
    summary.table(
        "ResultMaterials",
        [
            "material",
            "component",
            "drawn",
            "mass",
            "containers",
            "on_parts",
            Calculated("waste_share", "=IF({drawn}>0,1-{on_parts}/{drawn},0)", "0%"),
            "missing",
        ],
        forms={"missing": DASHED},
    )
    summary.total("ResultMaterials", ["mass", "containers"])
    apart = f"=ROUND(SUM({drawn})-SUM({summary.area('ResultMaterials', 'drawn')}),3)"
    summary.figure(1, "Check: sum of sheet Use less this table [mL]", apart, "0.000", 4)
    summary.row += 1
    summary.section("By day", "for one material; choose another in the framed cell")
    summary.merge(1, 2)
    chosen = summary.entry(1, None, "@")
    summary.name("chosen", 1)
    summary.cell(1).alignment = Alignment(horizontal="left", shrink_to_fit=True)
    choice = DataValidation(
        "list",
        formula1=f"={_fixed(summary.area('ResultMaterials', 'material'))}",
        allow_blank=True,
        showErrorMessage=True,
        errorStyle="warning",
        error="This material is not in the table above.",
    )
    choice.add(chosen.replace("$", ""))
    summary.ws.add_data_validation(choice)
    summary.row += 1
    chart_row = summary.row
    summary.row += 16
    day = use.outer("ResultUse", "day")
    by_day = f"SUMIFS({drawn},{day},{{day}},{material},{chosen},{component}"
    mass, shift_day = use.outer("ResultUse", "mass"), shifts.outer("ResultShifts", "day")
    purges, mixers = (shifts.outer("ResultShifts", name) for name in ("purges", "mixers"))
    summary.table(
        "ResultDays",
        [
            "day",
            Calculated("A_or_one_part", f'={by_day},"A")+{by_day},"one-part")'),
            Calculated("B", f'={by_day},"B")'),
            Calculated("all_materials", f"=SUMIFS({mass},{day},{{day}})/1000", "[<100]0.00;0.0"),
            Calculated("all_purges", f"=SUMIFS({purges},{shift_day},{{day}})", "0"),
            Calculated("all_mixers", f"=SUMIFS({mixers},{shift_day},{{day}})", "0"),
        ],
    )
    row = summary.ranges["ResultDays"][0]
    summary.total("ResultDays", ["A_or_one_part", "B"], "[<10]0.00;[<100]0.0;#,##0")
    for letter, shape in (("D", "[<100]0.00;0.0"), ("E", "0"), ("F", "0")):
        cell = summary.ws[f"{letter}{summary.row - 1}"]
        cell.value, cell.number_format = f"=SUM({letter}{row}:{letter}{row})", shape
    _day_chart(summary, row, chart_row)
    summary.note("")
    summary.cards(("stamp", 8), small=True)
    summary.cautions()


def _fixed(area: str) -> str:
    first, _, last = area.partition(":")
    return ":".join(
        f"${cell.rstrip('0123456789')}${cell.lstrip('ABCDEFGHIJKLMNOPQRSTUVWXYZ')}" for cell in (first, last)
    )


def _day_chart(form: Form, row: int, at: int) -> None:
    chart = BarChart()
    chart.grouping, chart.overlap, chart.gapWidth = "stacked", 100, 60
    for column, title, color in ((2, "A or one-part", style.ACCENT), (3, "B", LIGHT)):
        series = Series(Reference(form.ws, min_col=column, min_row=row, max_row=row), title=title)
        series.graphicalProperties = GraphicalProperties(solidFill=color)
        series.graphicalProperties.line = LineProperties(solidFill=style.DARK, w=6350)
        chart.series.append(series)
    chart.set_categories(Reference(form.ws, min_col=1, min_row=row, max_row=row))
    dress(chart, None, "Day", "Drawn of the chosen material [mL]", y_form="#,##0")
    add_legend(chart)
    chart.x_axis.number_format = "d mmm"
    chart.width, chart.height = 19.5, 7.6
    form.ws.add_chart(chart, f"A{at}")


# ------------------------------------------------------------------------------------------- writing

MAKERS: dict[str, Callable[[Workbook], None]] = {
    "shift_material": shift_material,
    "station_setup": station_setup,
    "cure_board": cure_board,
    "shot_check": shot_check,
    "staging": staging,
    "results": results,
}


def make(key: str) -> bytes:
    """One template with the values of its formulas; the same bytes on any day."""
    book = Workbook()
    book.remove(book.active)
    MAKERS[key](book)
    return finished(book, sheets.SPECS[key].file)


def write_all(folder: str | Path) -> list[Path]:
    """Write all templates into a folder."""
    Path(folder).mkdir(parents=True, exist_ok=True)
    return [atomic_write(Path(folder) / sheets.SPECS[key].file, make(key)) for key in MAKERS]


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parents[2] / "workbook_templates"
    for path in write_all(target):
        print(path)
