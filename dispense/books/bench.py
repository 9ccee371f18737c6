"""Makes bench.xlsx: calculation sheets for everyday questions, and a self-check of every function.

    python -m dispense.books.bench bench.xlsx [calc|excel]

Units, help, defaults and limits of the inputs come from the registry, the checks are its examples.
Formulas are written once with plain names and spelled for the spreadsheet at the end.
"""

from __future__ import annotations

import math
import os
import re
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.chart import BarChart, Reference, ScatterChart, Series
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from ..base.fields import Field, describe_unit, number
from ..formulas.spell import spell
from ..handbook import catalogue as functions
from ..handbook.catalogue import lookup
from ..handbook.declare import Function
from ..handbook.in_formulas import OWN
from ..handbook.words import call_text
from ..xlsx.write import atomic_write
from . import style
from .charts import add_legend, dress, dress_axis, label_values
from .finish import finished

INVENTED = (
    "Values invented for the demo; type your own over the yellow cells. A cell with #NAME? wants "
    "the add-in: dispense addin install."
)
KEY_RESULT = Font(name=style.FAMILY, size=18, bold=True, color=style.ACCENT)
SECOND = "8A8A8A"  # the second line of a chart: grey, dashed
WIDTHS = {
    "label": 27,
    "value": 13,
    "unit": 9,
    "own": 13,
    "plan": 13,
    "note": 60,
    "gap": 2,
    "table": 18,
    "end": 4,
}
CHART_ROW, CHART_SIZE = 4, (14.2, 8.2)  # centimetres
TABLE_COLUMNS = 4
CHOICE_ROW, LINKED_TOP, OWN_COLUMN = 4, 6, 4  # of a sheet with the values of a plan
OVERRIDDEN, LACKING = "overridden", "The plan does not say"
VALUES_WIDTH = 34
VALUES = "From the plan"  # the sheet that holds what the calculation sheets may take
TABLE_ROW = 22
NOTE_WIDTH = 78
ROW_HEIGHT, TITLE_HEIGHT = 14.25, 24.0


@dataclass(frozen=True, slots=True)
class Given:
    """An input cell; its field says unit, help and limits."""

    key: str
    field: Field
    value: Any
    label: str = ""
    help: str = ""
    in_range: bool = False  # read as part of a range, in which a blank stays a blank


SHARE = number("share", "", "purge when this share of the pot life is used", above=0, at_most=1)


@dataclass(frozen=True, slots=True)
class Figure:
    """A result cell: `formula` names inputs and other results as [key]."""

    key: str
    label: str
    formula: str
    unit: str
    form: str = "0.00"
    note: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """What a sheet takes from a plan: records by name, each with values by the key of an input, in its unit.

    An input that no record has is the user's own. `chosen` is the record that is picked, `own` what was
    typed over its values before.
    """

    what: str
    records: Mapping[str, Mapping[str, Any]]
    chosen: str = ""
    own: Mapping[str, Any] = field(default_factory=dict)

    @property
    def keys(self) -> list[str]:
        """Keys that some record has."""
        return list(dict.fromkeys(key for values in self.records.values() for key in values))


@dataclass(slots=True)
class Column:
    """A column of the table behind the chart: values typed in, or a formula for each row.

    In a formula [row:key] is the same row of another column, [key] an input, a result or a whole
    column. `block` makes one array formula for the whole column.
    """

    key: str
    title: str
    values: Sequence[Any] = ()
    formula: str = ""
    block: bool = False
    form: str = "0.00"


@dataclass(slots=True)
class Sheet:
    """One calculation sheet."""

    name: str
    title: str
    given: list[Given]
    figures: list[Figure]
    columns: list[Column]
    rows: int
    x: tuple[str, str]  # key and axis title
    lines: list[tuple[str, str]]  # keys and names
    y_title: str
    chart_title: str
    second: tuple[str, str, str] | None = None  # key, name, axis title on the right
    bars: bool = False
    caution: str = ""


def given(key: str, name: str, argument: str, value: Any, label: str = "", help: str = "") -> Given:
    """An input that is the argument of a function of the registry."""
    return Given(key, argument_of(name, argument), value, label, help)


def argument_of(name: str, argument: str) -> Field:
    """The field of a function's argument."""
    return next(item for item in lookup(name).arguments if item.name == argument)


def _steps(key: str, shares: Sequence[float]) -> list[str]:
    return [f"=[{key}]*{share:g}" for share in shares]


# --------------------------------------------------------------------------------- the six sheets


def bead_sheet() -> Sheet:
    """How much material one bead takes, and what the pressed joint looks like."""
    call = "BEAD_VOLUME([length],[section],{},[height],,[count])"
    return Sheet(
        "Bead",
        "Bead: material on one part",
        [
            given("section", "BEAD_VOLUME", "section", "half-round"),
            given("width", "BEAD_VOLUME", "width", 6),
            given("height", "BEAD_VOLUME", "height", None),
            given("length", "BEAD_VOLUME", "length", 1200, help="length of one bead"),
            given("count", "BEAD_VOLUME", "count", 1),
            given("speed", "BEAD_FLOW", "speed", 100),
            given("density", "MIX_DENSITY", "density_a", 1.3, "density", "of the mixed material"),
            given("gap", "SPREAD_WIDTH", "gap", 0.8),
            given("flange", "SQUEEZE_OUT", "flange_width", 15),
        ],
        [
            Figure("volume", "Volume on one part", call.format("[width]"), "mL", "0.00"),
            Figure("mass", "Mass on one part", "[volume]*[density]", "g"),
            Figure("area", "Cross-section", "BEAD_AREA([section],[width],[height])", "mm²"),
            Figure("flow", "Flow while dispensing", "BEAD_FLOW([area],[speed])", "mL/s", "0.000"),
            Figure(
                "spread",
                "Width after pressing",
                "SPREAD_WIDTH([area],[gap])",
                "mm",
                note="square edge, nothing squeezed out",
            ),
            Figure(
                "out",
                "Squeezed out of the flange",
                "SQUEEZE_OUT([length],[area],[gap],[flange])*[count]",
                "mL",
            ),
        ],
        [
            Column("w", "Width [mm]", _steps("width", [0.5 + 0.125 * i for i in range(9)])),
            Column("v", "Volume [mL]", formula=call.format("[row:w]")),
        ],
        9,
        ("w", "Bead width [mm]"),
        [("v", "Volume")],
        "Volume on one part [mL]",
        "A little more width takes much more material",
    )


def pot_sheet() -> Sheet:
    """How much to pour round the cells of a module, split into A and B."""
    level = "FILL_LEVEL([row:v],[shape],[length],[width],[draft],[cells],[diameter],[tall],[base])"
    displaced = "IF(SUM([cells])=0,0,CELL_DISPLACEMENT([cells],{},MIN(MAX(0,[level]-SUM([base])),[tall])))"
    return Sheet(
        "Pot",
        "Pot: compound round the cells of a module",
        [
            given("shape", "CAVITY_VOLUME", "shape", "box"),
            given("length", "CAVITY_VOLUME", "length", 120, help="inside the walls"),
            given("width", "CAVITY_VOLUME", "width", 90, help="inside the walls"),
            given("level", "CAVITY_VOLUME", "level", 40, help="from the floor to the compound's face"),
            given("draft", "CAVITY_VOLUME", "draft", None),
            given("code", "CELL_SIZE", "designation", 18650, "cell code"),
            given("cells", "CELL_DISPLACEMENT", "count", 20, "cells"),
            given(
                "diameter",
                "CELL_DISPLACEMENT",
                "diameter",
                18.4,
                help="measured with its sleeve; real cells are larger than their code",
            ),
            given("height", "FILL_LEVEL", "cell_height", None, "cell height", "blank: by the cell code"),
            Given("base", argument_of("FILL_LEVEL", "cell_base"), 0, "cells begin at", in_range=True),
            given("inserts", "POT_FILL", "displaced", 0, "inserts", "their volume below the level"),
            given("extra", "POT_FILL", "extra", 0),
            given("unfilled", "POT_FILL", "unfilled", 0.01, "void share"),
            given("shrinkage", "POT_FILL", "shrinkage", 0.02),
            given("a", "MIX_SPLIT", "ratio_a", 2, "parts A by volume"),
            given("b", "MIX_SPLIT", "ratio_b", 1, "parts B by volume"),
            given("da", "MIX_SPLIT", "density_a", 1.16, "density A"),
            given("db", "MIX_SPLIT", "density_b", 0.98, "density B"),
        ],
        [
            Figure(
                "pour",
                "Liquid to pour",
                "POT_FILL([gross],[solid]+SUM([inserts]),[unfilled],[extra],[shrinkage])",
                "mL",
                "0.0",
            ),
            Figure(
                "gross",
                "Cavity up to the level",
                "CAVITY_VOLUME([shape],[level],[length],[width],[draft])",
                "mL",
                "0.0",
            ),
            Figure(
                "tall", "Cell height", 'IF([height]="",INDEX(CELL_SIZE([code]),1,2),[height])', "mm", "0.0"
            ),
            Figure("solid", "Displaced by the cells", displaced.format("[diameter]"), "mL", "0.0"),
            Figure(
                "part_a",
                "Volume of A to meter",
                "INDEX(MIX_SPLIT([pour],[a],[b],[da],[db]),1,1)",
                "mL",
                "0.0",
            ),
            Figure(
                "part_b",
                "Volume of B to meter",
                "INDEX(MIX_SPLIT([pour],[a],[b],[da],[db]),1,2)",
                "mL",
                "0.0",
            ),
            Figure(
                "wide",
                "More for 0.1 mm on each cell",
                displaced.format("[diameter]+0.1") + "-[solid]",
                "mL",
                "0.0",
                "volume that the cells take from the compound",
            ),
        ],
        [
            Column("v", "Poured [mL]", _steps("pour", [0.275 * i for i in range(9)]), form="0"),
            Column("l", "Level [mm]", formula=level, form="0.0"),
        ],
        9,
        ("v", "Poured volume [mL]"),
        [("l", "Level")],
        "Level [mm]",
        "The level rises faster between the cells than above them",
        caution="A deep pour heats itself as it cures. Keep cells below the limit of their "
        "maker; read the material's safety data sheet before mixing.",
    )


def nozzle_sheet() -> Sheet:
    """What pressure the nozzle takes at the flow that the bead needs."""
    call = "NOZZLE_PRESSURE({},[bore],[length],[warm],[index],[yield])"
    return Sheet(
        "Nozzle",
        "Nozzle: pressure for the flow",
        [
            given("flow", "NOZZLE_PRESSURE", "flow", 0.4),
            given("gauge", "NEEDLE_BORE", "gauge", 14),
            given("wall", "NEEDLE_BORE", "wall", "thin"),
            given("measured", "NOZZLE_PRESSURE", "bore", None, "bore", "of the nozzle; blank: by the gauge"),
            given("length", "NOZZLE_PRESSURE", "length", 25),
            given("consistency", "NOZZLE_PRESSURE", "consistency", 60),
            given("at", "VISCOSITY", "reference_temperature", 25, "temperature of the consistency"),
            given("index", "NOZZLE_PRESSURE", "index", 0.6, "flow index n"),
            given("yield", "NOZZLE_PRESSURE", "yield_stress", 80),
            given("shop", "VISCOSITY", "temperature", 21, "shop temperature"),
            given(
                "energy",
                "VISCOSITY",
                "activation_energy",
                40,
                "activation energy of flow",
                "blank: the consistency as it is stated",
            ),
            given("limit", "NOZZLE_FLOW", "pressure", 6, "pressure to spare"),
        ],
        [
            Figure("pressure", "Pressure over the nozzle", call.format("[flow]"), "bar", "0.0"),
            Figure(
                "bore",
                "Bore",
                'IF([measured]="",NEEDLE_BORE([gauge],[wall]),[measured])',
                "mm",
                "0.000",
                "of a gauge the smallest bore that the standard allows",
            ),
            Figure(
                "warm",
                "Consistency at shop temperature",
                'IF([energy]="",[consistency],VISCOSITY([shop],[consistency],[at],[energy]))',
                "Pa·sⁿ",
                "0.0",
            ),
            Figure(
                "shear",
                "Shear rate at the wall",
                "WALL_SHEAR_RATE([flow],[bore],[index])",
                "1/s",
                "0",
                "no yield stress counted",
            ),
            Figure(
                "most",
                "Flow at the pressure to spare",
                "NOZZLE_FLOW([limit],[bore],[length],[warm],[index],[yield])",
                "mL/s",
                "0.000",
            ),
        ],
        [
            Column("q", "Flow [mL/s]", _steps("flow", [0.25 * i for i in range(9)]), form="0.000"),
            Column("p", "Pressure [bar]", formula=call.format("[row:q]"), form="0.00"),
        ],
        9,
        ("q", "Flow [mL/s]"),
        [("p", "Pressure")],
        "Pressure [bar]",
        "The paste thins: pressure grows slower than flow",
        caution="Release the pressure of A and B before a nozzle or mixer is loosened; wear eye protection.",
    )


def life_sheet() -> Sheet:
    """How long the mixed material can be worked at the temperature of the shop."""
    return Sheet(
        "Pot life",
        "Pot life: at the temperature of the shop",
        [
            given(
                "t1",
                "POT_LIFE",
                "reference_temperature",
                23,
                "temperature, first point",
                "of the data sheet's pot life",
            ),
            given(
                "t2",
                "POT_LIFE",
                "reference_temperature",
                35,
                "temperature, second point",
                "a second point of the data sheet, or measured in the shop",
            ),
            given("l1", "POT_LIFE", "reference_life", 60, "pot life, first point"),
            given("l2", "POT_LIFE", "reference_life", 20, "pot life, second point"),
            given("stated", "POT_LIFE", "activation_energy", None, "", "blank: from both points"),
            given("halving", "POT_LIFE", "halving_step", None),
            given("shop", "POT_LIFE", "temperature", 30, "shop temperature"),
            given("mixer", "DWELL_TIME", "volume", 12, "volume of the mixer"),
            given("flow", "DWELL_TIME", "flow", 0.05),
            Given("share", SHARE, 0.5, "share of life to use"),
        ],
        [
            Figure(
                "life",
                "Pot life in the shop",
                "POT_LIFE([shop],[l1],[t1],[energy],[halving])",
                "min",
                "0.0",
                "Arrhenius line; the halving rule where one point is known",
            ),
            Figure(
                "energy",
                "Activation energy",
                'IF([stated]="",IF([l2]="","",ACTIVATION_ENERGY([t1]:[t2],[l1]:[l2])),[stated])',
                "kJ/mol",
                "0.0",
            ),
            Figure("rule", "Same by the halving rule", "POT_LIFE([shop],[l1],[t1],,[halving])", "min", "0.0"),
            Figure(
                "step",
                "Rise that halves the life",
                'IF([energy]="","",HALVING_STEP([energy],[shop]))',
                "K",
                "0.0",
            ),
            Figure("dwell", "Time in the mixer", "DWELL_TIME([mixer],[flow])/60", "min", "0.0"),
            Figure(
                "purge",
                "Longest stop before a purge",
                "MAX(0,[life]*[share]-[dwell])",
                "min",
                "0.0",
                "share of life less the time in the mixer",
            ),
        ],
        [
            Column("t", "Temperature [°C]", [15, 18, 21, 24, 27, 30, 33, 36, 39], form="0"),
            Column(
                "a", "Arrhenius [min]", formula="POT_LIFE([row:t],[l1],[t1],[energy],[halving])", form="0.0"
            ),
            Column("h", "Halving rule [min]", formula="POT_LIFE([row:t],[l1],[t1],,[halving])", form="0.0"),
        ],
        9,
        ("t", "Temperature [°C]"),
        [("a", "Arrhenius"), ("h", "Halving rule")],
        "Pot life [min]",
        "A warm shop shortens the pot life",
    )


def cure_sheet() -> Sheet:
    """How far a part is cured along an oven record."""
    minutes = [0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120]
    air = [23, 50, 80, 80, 80, 80, 80, 80, 80, 80, 60, 40, 25]
    names = ("a1", "e1", "a2", "e2", "m", "n")
    values = (2.0e7, 60.0, 2.5e7, 55.0, 0.5, 1.5)
    columns = next(i for i in lookup("CURE_DEGREE").arguments if i.name == "kinetics").columns
    columns = columns[: len(names)]  # the chemistry; what slows it stays blank
    row = [
        Given(key, item, value, in_range=True)
        for key, item, value in zip(names, columns, values, strict=True)
    ]
    return Sheet(
        "Cure",
        "Cure: how far the part is along the oven record",
        [
            *row,
            given(
                "lag",
                "PART_TEMPERATURE",
                "time_constant",
                8,
                help="how slowly the part follows; blank: it is as warm as the air",
            ),
            given("tg0", "GLASS_POINT", "uncured", -25),
            given("tg1", "GLASS_POINT", "cured", 95),
            given("lam", "GLASS_POINT", lookup("GLASS_POINT").arguments[3].name, 0.45),
            given("goal", "TIME_TO_CURE", "degree", 0.9, "degree to reach"),
        ],
        [
            Figure("final", "Degree at the end", "INDEX([x],13,1)", "–", "0.000"),
            Figure(
                "reach",
                "Time to the degree to reach",
                "TIME_TO_CURE([goal],[t],[p],[a1]:[n])",
                "min",
                "0.0",
                "#NUM! where the record ends before it",
            ),
            Figure(
                "glass", "Glass transition at the end", "GLASS_POINT([final],[tg0],[tg1],[lam])", "°C", "0.0"
            ),
            Figure(
                "same",
                "Equivalent time at 80 °C",
                "EQUIVALENT_TIME([t],[p],80,[e2])",
                "min",
                "0.0",
                "with the second activation energy",
            ),
            Figure("peak", "Highest part temperature", "MAX([p])", "°C", "0.0"),
        ],
        [
            Column("t", "Time [min]", minutes, form="0"),
            Column("air", "Oven air [°C]", air, form="0"),
            Column(
                "p",
                "Part [°C]",
                formula='IF([lag]="",[air],PART_TEMPERATURE([t],[air],[lag]))',
                block=True,
                form="0.0",
            ),
            Column("x", "Degree [–]", formula="CURE_DEGREE([t],[p],[a1]:[n])", block=True, form="0.000"),
        ],
        13,
        ("t", "Time [min]"),
        [("x", "Degree of cure")],
        "Degree of cure [–]",
        "The part lags behind the oven",
        second=("p", "Part temperature", "Part temperature [°C]"),
        caution="Hot oven and hot parts: gloves, extraction. Hardeners may hold amines or "
        "isocyanates; follow the safety data sheet and local rules.",
    )


def shift_sheet() -> Sheet:
    """What one station draws in a shift."""
    use = "SHIFT_USE([parts],[shot]{})"
    return Sheet(
        "Shift",
        "Shift: material of one station",
        [
            given("time", "TAKT", "available", 450, "working time", "shift less breaks"),
            given("parts", "SHIFT_USE", "parts", 300),
            given("shot", "SHIFT_USE", "shot", 12),
            given("scrap", "SHIFT_USE", "scrap", 0.04),
            given("purges", "SHIFT_USE", "purges", 6),
            given("purge", "SHIFT_USE", "purge_volume", 15),
            given("start", "SHIFT_USE", "start_volume", 40),
            given("checks", "SHIFT_USE", "check_shots", 8),
            given("container", "CONTAINERS", "container", 1000),
            given("heel", "CONTAINERS", "heel", 0.03),
            given("work", "NOZZLES_NEEDED", "work", 75, "dispensing time of one part"),
            given("uptime", "NOZZLES_NEEDED", "uptime", 0.85),
            given("cure", "CURE_POSITIONS", "cure_time", 120),
        ],
        [
            Figure(
                "use",
                "Material used in the shift",
                "SHIFT_USE([parts],[shot],[scrap],[purges],[purge],[start],[checks])",
                "mL",
                "#,##0",
            ),
            Figure(
                "count", "Containers to have at the station", "CONTAINERS([use],[container],[heel])", "–", "0"
            ),
            Figure("takt", "Takt", "TAKT([time],[parts])", "s", "0.0"),
            Figure("nozzles", "Nozzles needed", "NOZZLES_NEEDED([work],[takt],[uptime])", "–", "0"),
            Figure("places", "Places to cure", "CURE_POSITIONS([cure],[takt])", "–", "0"),
        ],
        [
            Column("what", "Goes to", ["On parts", "Scrap", "Purges", "Start-up", "Check shots"]),
            Column(
                "v",
                "Volume [mL]",
                [
                    "=" + use.format(""),
                    "=" + use.format(",[scrap]") + "-" + use.format(""),
                    "=" + use.format(",0,[purges],[purge]") + "-" + use.format(""),
                    "=" + use.format(",0,0,0,[start]") + "-" + use.format(""),
                    "=" + use.format(",0,0,0,0,[checks]") + "-" + use.format(""),
                ],
                form="#,##0",
            ),
        ],
        5,
        ("what", "Goes to"),
        [("v", "Volume")],
        "Volume [mL]",
        "What the shift uses, by where it goes",
        bars=True,
    )


def sheets() -> list[Sheet]:
    """The calculation sheets in their order."""
    return [bead_sheet(), pot_sheet(), nozzle_sheet(), life_sheet(), cure_sheet(), shift_sheet()]


def sheet_named(name: str) -> Sheet:
    """The calculation sheet of that name."""
    return next(sheet for sheet in sheets() if sheet.name == name)


# ----------------------------------------------------------------------------------------- writing

_UNITLESS = {"choice", "text", "flag"}
_PLACE = re.compile(r"\[(row:)?([a-z]\w*)\]")


@dataclass(frozen=True, slots=True)
class Block:
    """Where the values of a source stand on their sheet: rows of records, and the column of each key."""

    first: int
    last: int
    columns: Mapping[str, str]

    def column(self, letter: str) -> str:
        """A column of it as a reference."""
        return f"'{VALUES}'!${letter}${self.first}:${letter}${self.last}"


class _Writer:
    """Writes one sheet; with a source, a cell to pick a record and two columns more: own and plan."""

    def __init__(
        self,
        book: Workbook,
        sheet: Sheet,
        host: str,
        source: Source | None = None,
        block: Block | None = None,
        origin: str = INVENTED,
    ):
        self.sheet, self.host, self.origin = sheet, host, origin
        self.source, self.block = source, block
        names = [name for name in WIDTHS if source is not None or name not in ("own", "plan")]
        self.place = {name: order for order, name in enumerate(names, 1)}
        self.top = 4 if source is None else LINKED_TOP  # the row where results begin
        self.page: Worksheet = book.create_sheet(sheet.name)
        self.cells: dict[str, str] = {}  # what stands for [key] in a formula
        self.columns: dict[str, str] = {}  # column letters of the table

    def formula(self, text: str, row: int = 0) -> str:
        """The formula with its places put in and its functions spelled for the host."""

        def place(found: re.Match[str]) -> str:
            if found[1]:
                return f"{self.columns[found[2]]}{row}"
            return self.cells[found[2]]

        return spell("=" + _PLACE.sub(place, text.removeprefix("=")), self.host, OWN)

    def write(self) -> None:
        page, sheet = self.page, self.sheet
        page["A1"] = sheet.title
        style.title(page["A1"])
        page.row_dimensions[1].height = TITLE_HEIGHT
        page["A2"] = self.origin
        page["A2"].font = style.NOTE
        self.set_widths()
        self.lay_out()
        if self.source is not None:
            self.write_choice(self.source)
        row = self.section(self.top, "Results")
        for order, figure in enumerate(sheet.figures):
            self.write_figure(row, figure, is_key=order == 0)
            row += 1
        row = self.section(row + 1, "Inputs")
        if self.source is not None:
            for name, text in (("value", "Counts"), ("own", "Your own"), ("plan", "In the plan")):
                head = page.cell(row - 1, self.place[name], text)
                head.font, head.alignment = style.BOLD, Alignment(horizontal="right")
        for item in sheet.given:
            self.write_given(row, item)
            row += 1
        if sheet.caution:
            self.write_caution(3, sheet.caution)
        self.write_table()
        self.add_chart()
        style.page(page)
        page.page_setup.fitToHeight = 1
        page.sheet_view.showGridLines = False
        last = get_column_letter(self.place["table"] + TABLE_COLUMNS)
        page.print_area = f"A1:{last}{max(row, TABLE_ROW + sheet.rows) + 1}"

    def set_widths(self) -> None:
        """Columns as wide as what stands in them."""
        widths = [WIDTHS[name] for name in self.place if name not in ("table", "end")]
        for column, width in enumerate([*widths, *[WIDTHS["table"]] * TABLE_COLUMNS, WIDTHS["end"]], 1):
            self.page.column_dimensions[get_column_letter(column)].width = width

    def write_choice(self, source: Source) -> None:
        """The cell in which a record of the plan is picked."""
        page, block = self.page, self.block
        assert block is not None
        page.cell(CHOICE_ROW, 1, source.what).font = style.BOLD
        cell = page.cell(CHOICE_ROW, 2)
        style.put(cell, source.chosen if source.chosen in source.records else next(iter(source.records)))
        page.merge_cells(
            start_row=CHOICE_ROW, start_column=2, end_row=CHOICE_ROW, end_column=self.place["plan"]
        )
        for column in range(2, self.place["plan"] + 1):
            style.input_cell(page.cell(CHOICE_ROW, column))
        rule = DataValidation("list", formula1=block.column("A"), allow_blank=False)
        rule.add(cell.coordinate)
        page.add_data_validation(rule)

    def lay_out(self) -> None:
        """Where everything will stand, before any formula is written."""
        row = self.top + 1
        for figure in self.sheet.figures:
            self.cells[figure.key] = f"$B${row}"
            row += 1
        row += 2
        for item in self.sheet.given:
            cell = f"$B${row}"
            is_plain = item.field.is_required or item.in_range
            self.cells[item.key] = cell if is_plain else f'IF({cell}="","",{cell})'
            row += 1
        first, last = TABLE_ROW + 1, TABLE_ROW + self.sheet.rows
        for order, column in enumerate(self.sheet.columns):
            letter = get_column_letter(self.place["table"] + order)
            self.columns[column.key] = letter
            self.cells[column.key] = f"${letter}${first}:${letter}${last}"

    def section(self, row: int, text: str) -> int:
        self.page.cell(row, 1, text).font = style.SECTION
        return row + 1

    def write_given(self, row: int, item: Given) -> None:
        page = self.page
        label = (item.label or item.field.name).replace("_", " ").strip()
        is_symbol = len(label) < 3
        page.cell(row, 1, label if is_symbol else label[0].upper() + label[1:]).font = style.BODY
        unit = "" if item.field.kind in _UNITLESS else describe_unit(item.field.unit)
        self.note(row, unit, item.help or item.field.help)
        if self.source is not None and item.key in self.source.keys:
            cell = self.write_linked(row, item, self.source)
        else:
            cell = page.cell(
                row, 2, item.value if self.source is None else self.source.own.get(item.key, item.value)
            )
            style.input_cell(cell)
        cell.alignment = Alignment(horizontal="right", vertical="center")
        if isinstance(item.value, float) and abs(item.value) >= 1e6:
            for column in range(2, self.place["note"]):
                page.cell(row, column).number_format = "0.0E+00"
        self.validate(cell.coordinate, item.field)

    def write_linked(self, row: int, item: Given, source: Source) -> Any:
        """What counts, what is typed over, what the plan has; says where it is typed over."""
        page, block = self.page, self.block
        assert block is not None
        own, planned = (page.cell(row, self.place[name]) for name in ("own", "plan"))
        style.put(own, source.own.get(item.key))
        style.input_cell(own)
        found = f"INDEX({block.column(block.columns[item.key])},MATCH($B${CHOICE_ROW},{block.column('A')},0))"
        planned.value = f'=IF({found}="","",{found})'
        planned.font = style.BODY
        counts = page.cell(row, 2, f'=IF({own.coordinate}="",{planned.coordinate},{own.coordinate})')
        style.result_cell(counts)
        note = page.cell(row, self.place["note"])
        words = str(note.value).replace('"', '""')
        back = f'"{OVERRIDDEN}: delete "&"{own.coordinate}"&" to be back at the plan"'
        lacks = f'IF({planned.coordinate}="","{LACKING}. ","")&' if item.field.is_required else ""
        note.value = f'=IF({own.coordinate}="",{lacks}"{words}",{back})'
        area = f"A{row}:{note.coordinate}"
        rule = FormulaRule([f'${own.coordinate}<>""'], fill=style.WARNING_FILL, font=Font(bold=True))
        page.conditional_formatting.add(area, rule)
        for cell in (counts, planned):
            cell.alignment = Alignment(horizontal="right", vertical="center")
        return own

    def note(self, row: int, unit: str, text: str) -> None:
        self.page.cell(row, 3, unit).font = style.BODY
        note = self.page.cell(row, self.place["note"], text[:1].upper() + text[1:])
        note.font = style.NOTE
        note.alignment = Alignment("left", "center", wrap_text=True, indent=int(self.source is not None))
        self.page.cell(row, 1).alignment = Alignment(vertical="center")
        self.page.cell(row, 3).alignment = Alignment("left", "center", indent=1)
        lines = max(1, math.ceil(len(text) / NOTE_WIDTH))
        self.page.row_dimensions[row].height = ROW_HEIGHT * lines + 1.5 * (lines > 1)

    def validate(self, address: str, item: Field) -> None:
        """What may be typed, as the field says it."""
        if item.kind == "choice":
            rule = DataValidation("list", formula1=f'"{",".join(item.choices)}"', allow_blank=True)
            rule.error = f"One of: {', '.join(item.choices)}"[:250]
            self.page.add_data_validation(rule)
            rule.add(address)

    def write_figure(self, row: int, figure: Figure, is_key: bool) -> None:
        page = self.page
        page.cell(row, 1, figure.label).font = style.BOLD if is_key else style.BODY
        cell = page.cell(row, 2, self.formula(figure.formula))
        style.result_cell(cell)
        cell.number_format = figure.form
        cell.alignment = Alignment(horizontal="right", vertical="center")
        self.note(row, figure.unit, figure.note or self.rule(figure.formula))
        if is_key:
            cell.font = KEY_RESULT
            page.row_dimensions[row].height = max(26, page.row_dimensions[row].height)

    def rule(self, formula: str) -> str:
        """What the outermost function's result rests on, where that is a rule of thumb."""
        name = re.match(r"\w+", formula)
        entry = functions.FUNCTIONS.get(name[0]) if name else None
        return entry.rule if entry else ""

    def write_caution(self, row: int, text: str) -> None:
        page = self.page
        page.merge_cells(start_row=row, start_column=1, end_row=row, end_column=self.place["note"])
        cell = page.cell(row, 1, text)
        style.warning_cell(cell)
        cell.alignment = Alignment(wrap_text=True, vertical="center")
        page.row_dimensions[row].height = ROW_HEIGHT * math.ceil(len(text) / 105) + 6

    def write_table(self) -> None:
        page, first = self.page, TABLE_ROW + 1
        page.row_dimensions[TABLE_ROW].height = 20
        for column in self.sheet.columns:
            letter = self.columns[column.key]
            head = page[f"{letter}{TABLE_ROW}"]
            head.value = column.title
            style.header(head)
            for line in range(self.sheet.rows):
                cell = page[f"{letter}{first + line}"]
                value = column.values[line] if column.values else column.formula
                is_formula = not column.values or str(value).startswith("=")
                if column.block:
                    if line == 0:
                        place = f"{letter}{first}:{letter}{first + self.sheet.rows - 1}"
                        cell.value = ArrayFormula(place, self.formula(value))
                else:
                    cell.value = self.formula(value, first + line) if is_formula else value
                cell.number_format = column.form
                cell.font, cell.border = style.BODY, style.BORDER
                if not is_formula and not isinstance(value, str):
                    style.input_cell(cell)

    def _reference(self, key: str) -> Reference:
        column = self.place["table"] + list(self.columns).index(key)
        return Reference(
            self.page, min_col=column, min_row=TABLE_ROW + 1, max_row=TABLE_ROW + self.sheet.rows
        )

    def add_chart(self) -> None:
        sheet = self.sheet
        chart: Any = BarChart() if sheet.bars else ScatterChart()
        dress(
            chart,
            sheet.chart_title,
            sheet.x[1],
            sheet.y_title,
            x_form="General",
            y_form="General",
            ink=SECOND,
        )
        for order, (key, name) in enumerate(sheet.lines):
            if sheet.bars:
                series = Series(self._reference(key), title=name)
                series.graphicalProperties = GraphicalProperties(solidFill=style.ACCENT)
                chart.series.append(series)
                chart.set_categories(self._reference(sheet.x[0]))
                chart.gapWidth = 60
                label_values(series)
            else:
                series = Series(self._reference(key), self._reference(sheet.x[0]), title=name)
                _line(series, order)
                chart.series.append(series)
        chart.legend = None
        if not sheet.bars:
            chart.style = 13
            chart.scatterStyle = "lineMarker"
        if sheet.second:
            self.add_second_axis(chart, *sheet.second)
        if len(sheet.lines) + bool(sheet.second) > 1:
            add_legend(chart)
        chart.width, chart.height = CHART_SIZE
        self.page.add_chart(chart, f"{get_column_letter(self.place['table'])}{CHART_ROW}")

    def add_second_axis(self, chart: Any, key: str, name: str, title: str) -> None:
        right = ScatterChart()
        right.scatterStyle = "lineMarker"
        series = Series(self._reference(key), self._reference(self.sheet.x[0]), title=name)
        _line(series, 1)
        right.series.append(series)
        dress_axis(right.y_axis, title, "General", SECOND)
        right.y_axis.axId, right.x_axis.axId = 200, 500
        right.y_axis.crossAx, right.x_axis.crossAx = 500, 200
        right.y_axis.crosses = "max"
        right.y_axis.tickLblPos = "nextTo"
        right.y_axis.majorGridlines = None
        right.x_axis.delete = True
        chart.y_axis.scaling.min, chart.y_axis.scaling.max = 0, 1
        chart += right


def _line(series: Any, number: int) -> None:
    color = style.ACCENT if number == 0 else SECOND
    series.smooth = False
    series.graphicalProperties = GraphicalProperties(
        ln=LineProperties(solidFill=color, w=25400, prstDash=None if number == 0 else "dash")
    )
    series.marker.symbol = "circle" if number == 0 else "none"
    series.marker.size = 5
    series.marker.graphicalProperties = GraphicalProperties(
        solidFill=color, ln=LineProperties(solidFill=color)
    )


# -------------------------------------------------------------------------------------- self-check

CHECK = "Self-check"
CHECK_ROW = 6
_CHECK_COLUMNS = (
    ("Function", 25),
    ("Call", 62),
    ("Part", 9),
    ("Expected", 17),
    ("Computed", 17),
    ("Tolerance", 11),
    ("Verdict", 10),
    ("Source of the expected value", 62),
)


def _parts(result: Any) -> Iterable[tuple[tuple[int, int] | None, Any]]:
    """The figures of an expected result with their row and column, from 1."""
    if not isinstance(result, list | tuple):
        yield None, result
    elif isinstance(result[0], list | tuple):
        for i, row in enumerate(result, 1):
            yield from (((i, j), value) for j, value in enumerate(row, 1))
    else:
        yield from (((1, j), value) for j, value in enumerate(result, 1))


def checks() -> list[tuple[str, str, str, Any, str, float, str]]:
    """Every check: function, call, part, expected, formula, tolerance, source."""
    found = []
    for name in sorted(functions.FUNCTIONS):
        entry: Function = functions.FUNCTIONS[name]
        for case in entry.examples:
            text = call_text(name, case)
            for place, expected in _parts(case.result):
                part, formula = "", text
                if place:
                    part = f"{place[0]}, {place[1]}"
                    formula = f"INDEX({text},{place[0]},{place[1]})"
                found.append((name, text, part, expected, formula, case.tolerance, case.source))
        if entry.table:
            formula = f"IF(ISTEXT(INDEX({name}(1),1,1)),1,0)"
            found.append((name, f"{name}(1)", "1, 1", 1, formula, 0.0, "its first cell is a text"))
    return found


def _write_checks(book: Workbook, host: str) -> None:
    page = book.create_sheet(CHECK)
    page["A1"] = "Self-check: every function against a value from outside"
    style.title(page["A1"])
    page["A2"] = (
        "Each row computes an example whose answer comes from a standard, a table or a hand "
        "calculation. All rows must pass wherever this workbook is opened."
    )
    page["A2"].font = style.NOTE
    rows = checks()
    last = CHECK_ROW + len(rows)
    verdicts = f"$G${CHECK_ROW + 1}:$G${last}"
    page["A4"] = f'=COUNTIF({verdicts},"pass")&" of {len(rows)} checks pass"'
    page["A4"].font = KEY_RESULT
    page.row_dimensions[4].height = 26
    for column, (text, width) in enumerate(_CHECK_COLUMNS, 1):
        style.header(page.cell(CHECK_ROW, column, text))
        style.set_width(page, column, width)
    page.row_dimensions[CHECK_ROW].height = 20
    for row, (name, text, part, expected, formula, tolerance, source) in enumerate(rows, CHECK_ROW + 1):
        values = (
            name,
            text,
            part,
            expected,
            spell("=" + formula, host, OWN),
            tolerance,
            _verdict(row, expected),
            source,
        )
        for column, value in enumerate(values, 1):
            cell = page.cell(row, column, value)
            if isinstance(value, str) and column not in (5, 7):
                cell.data_type = "s"
            cell.font, cell.border, cell.alignment = style.BODY, style.BORDER, style.WRAP
            if column in (4, 5, 6):
                cell.alignment = Alignment("right", "top")
        page.cell(row, 6).number_format = "0.0E+00"
        page.cell(row, 7).font = style.BOLD
        longest = max(len(text), len(source))
        page.row_dimensions[row].height = 13.5 * max(1, math.ceil(longest / 75)) + 1.5
    page.conditional_formatting.add(
        f"G{CHECK_ROW + 1}:G{last}", FormulaRule([f'$G{CHECK_ROW + 1}<>"pass"'], fill=style.WARNING_FILL)
    )
    page.freeze_panes = page.cell(CHECK_ROW + 1, 2)
    page.sheet_view.showGridLines = False
    style.page(page, header_row=CHECK_ROW)
    page.print_area = f"A1:H{last}"


def _verdict(row: int, expected: Any) -> str:
    if isinstance(expected, str):
        test = f"E{row}=D{row}"
    else:
        test = f"ABS(E{row}-D{row})<=MAX(F{row}*ABS(D{row}),1E-12)"
    return f'=IF(ISERROR(E{row}),"{style.WARNING_MARK}FAIL",IF({test},"pass","{style.WARNING_MARK}FAIL"))'


def make(host: str = "calc") -> bytes:
    """The workbook with the values of its formulas, spelled for `calc` or `excel`."""
    book = Workbook()
    book.remove(book.active)
    for sheet in sheets():
        _Writer(book, sheet, host).write()
    _write_checks(book, host)
    return finished(book, "bench.xlsx")


def linked(sources: Mapping[str, Source], plan: str, host: str = "excel") -> bytes:
    """The calculation sheets of some sources, by the name of the sheet, with the values of a plan."""
    book = Workbook()
    book.remove(book.active)
    page = book.create_sheet(VALUES)
    page["A1"] = f"Values of {plan} as they were when this workbook was made"
    page["A1"].font = style.SECTION
    style.set_width(page, 1, VALUES_WIDTH)
    row, blocks = 3, {}
    for name, source in sources.items():
        blocks[name] = _write_values(page, row, name, source)
        row = blocks[name].last + 2
    origin = (
        f"Values of the plan {plan}. What you type into a yellow cell counts in place of the plan's and "
        "changes nothing there; delete it to be back at the plan."
    )
    for sheet in sheets():
        if sheet.name in sources:
            _Writer(book, sheet, host, sources[sheet.name], blocks[sheet.name], origin).write()
    book.move_sheet(page, len(sources))
    book.active = 0
    return finished(book, "calculation.xlsx")


def _write_values(page: Worksheet, row: int, name: str, source: Source) -> Block:
    """The records of a source from a row on: a header, then one a row."""
    columns = {key: get_column_letter(order) for order, key in enumerate(source.keys, 2)}
    for column, text in enumerate([f"{name}: {source.what}", *source.keys], 1):
        style.header(page.cell(row, column, text))
    for line, (record, values) in enumerate(source.records.items(), row + 1):
        style.put(page.cell(line, 1), record)
        for key, letter in columns.items():
            style.put(page[f"{letter}{line}"], values.get(key))
    return Block(row + 1, row + len(source.records), columns)


def typed_over(pages: Mapping[str, Worksheet]) -> dict[str, tuple[str, dict[str, Any]]]:
    """What was picked and what was typed on the sheets of a workbook that `linked` made, by sheet and key."""
    found: dict[str, tuple[str, dict[str, Any]]] = {}
    for sheet in sheets():
        page = pages.get(sheet.name)
        if page is None:
            continue
        begin = LINKED_TOP + len(sheet.figures) + 3
        own = {}
        for row, item in enumerate(sheet.given, begin):
            is_linked = page.cell(row, OWN_COLUMN + 1).value is not None
            value = page.cell(row, OWN_COLUMN if is_linked else 2).value
            if value is not None:
                own[item.key] = value
        found[sheet.name] = (str(page.cell(CHOICE_ROW, 2).value or ""), own)
    return found


def write(out: str | os.PathLike[str], host: str = "calc") -> Path:
    """Write the workbook to `out`."""
    return atomic_write(out, make(host))


if __name__ == "__main__":
    print(write(*sys.argv[1:]))
