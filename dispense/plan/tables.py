"""The tables of a plan workbook: each column's unit, help, default and limits, declared once.

The reader, the checks, the writer of new plans, its notes and drop-down lists and the docs all read
these declarations; the classes of the rows are made from them (`make_rows.py`). Limits are in the shop
unit; a header may carry another unit (`Width [in]`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from ..base.fields import Field, choice, clock, date, flag, number, text, whole
from ..base.measures import CHOICES as MEASURES
from ..base.units import AS_GIVEN, CELSIUS_ZERO
from ..handbook.beads import MOTIONS, SECTIONS
from ..handbook.fill import PACKED
from ..handbook.pack import ARRANGEMENTS, CELL_AXIAL, CELL_CONDUCTIVITY, CELL_DENSITY, CELL_HEAT


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the plan: sheet and table name, class of its rows, what it is for, columns, key."""

    name: str
    record: str  # the class in `rows.py`, which is made from the columns
    help: str
    columns: tuple[Field, ...]
    key: tuple[str, ...] = ()
    required: bool = False
    is_seldom: bool = False  # few plans have it: its absence is not worth a word
    form: str = ""  # sheet of a new plan that shows one row down a page

    @property
    def attribute(self) -> str:
        """The name of the list of records in a `Plan`."""
        return self.name.lower()

    def column(self, name: str) -> Field:
        """The column of that name."""
        return next(item for item in self.columns if item.name == name)

    @property
    def topics(self) -> tuple[tuple[str, tuple[Field, ...]], ...]:
        """The columns by topic, in their order; of a table without topics all of them under ""."""
        runs = groupby(self.columns, key=lambda item: item.topic)
        return tuple((words, tuple(columns)) for words, columns in runs)


def refer(name: str, table: str, help: str, **rest: Any) -> Field:
    """A text that names a row of another table."""
    return replace(text(name, help, **rest), refers=table)


def share(name: str, help: str, **rest: Any) -> Field:
    """A fraction of 1; a header with [%] works too."""
    limits = {"at_least": 0.0, "at_most": 1.0, **rest}
    return number(name, "", help, **limits)


def optional(name: str, unit: str, help: str, **rest: Any) -> Field:
    """A number that may be blank and then is unknown."""
    return number(name, unit, help, default=None, **rest)


def topic(words: str, *columns: Field) -> tuple[Field, ...]:
    """Columns of one topic: they stand together in a wide table, under these words, and on a form."""
    return tuple(replace(item, topic=words) for item in columns)


KINDS = ("one-part", "two-part")
BASES = ("volume", "mass")
NO_CURE = "none"  # a paste that stays as it is: no cure times, no cure board
CURES = ("room", "oven", "moisture", "light", NO_CURE)
COMPONENTS = ("a", "b")
SHAPES = ("box", "tray", "cylinder", "cone", "lying-cylinder")
RULES = (PURGE, CHANGE_MIXER) = ("purge", "change mixer")
REFILLS = (BETWEEN_PARTS, IN_MID_BEAD) = ("between parts", "in mid-bead")
AFTER_RUN = (THROW_AWAY, KEEP_CLOSED) = ("throw away", "keep closed")
IDLE_RULES = (IDLE_CHEAPER, IDLE_PURGE, IDLE_OFF) = ("cheaper", "purge", "take off")
INSERT_SHAPES = ("box", "cylinder")

MOST_NOZZLES = 20
BOTH_EDGES = 2  # of a pressed bead, from which moisture reaches it
MOST_STEPS = 100  # stations of a route
MOST_ROOM = 100_000  # parts between two stations

ZERO_KELVIN = -CELSIUS_ZERO  # °C


def temperature(name: str, help: str, **rest: Any) -> Field:
    """A temperature above absolute zero."""
    return number(name, "°C", help, **{"above": ZERO_KELVIN, **rest})


SETTINGS = (
    text("plant", "name of the plant, printed on every sheet", default=""),
    text("line", "name of the line, printed on every sheet", default=""),
    text("prepared_by", "who answers for the plan, printed on every sheet", default=""),
    text("currency", "what prices are counted in", default=""),
    text(
        "language",
        "language of the printed sheets: a code such as de, or a word list beside the plan, fr.csv",
        default="en",
    ),
    *(
        choice(
            name, units, f"unit of each {name.removesuffix('_unit')} on the printed sheets", default=units[0]
        )
        for name, units in MEASURES.items()
    ),
    text(
        "country",
        "country whose public holidays are no working days, for orders and for builds of a week: DE, with a "
        "region DE-BY; blank: none",
        default="",
    ),
    text(
        "upload_columns",
        "columns of a file of orders for another system, such as Article=item, quantity, unit, due date",
        default="item, quantity, unit, due date, order date",
    ),
    number(
        "service_level",
        "",
        "share of cycles without a shortage that stock is planned for",
        default=0.95,
        above=0.5,
        below=1.0,
    ),
    number("order_cost", AS_GIVEN, "cost of placing one order", default=0.0, at_least=0.0),
    number(
        "holding_rate",
        "",
        "yearly cost of holding stock as a share of its price",
        default=0.2,
        at_least=0.0,
        at_most=5.0,
    ),
    number(
        "demand_spread",
        "",
        "standard deviation of a day's builds as a share of them",
        default=0.0,
        at_least=0.0,
        at_most=2.0,
    ),
    number(
        "temperature_spread",
        "K",
        "standard deviation of a day's shop temperature",
        default=0.0,
        at_least=0.0,
        at_most=30.0,
    ),
)

MATERIALS = Table(
    "Materials",
    "Material",
    "one row for each adhesive, sealant, paste or potting compound, from its data sheet",
    (
        *topic(
            "Name and mix",
            text("material", "name used in the other tables"),
            text("description", "what it is", default=""),
            choice("kind", KINDS, "one-part, or two-part (components A and B)", default="two-part"),
            number("ratio_a", "", "parts A of the mixing ratio", default=1.0, above=0.0),
            number("ratio_b", "", "parts B of the mixing ratio; blank for one-part", default=None, above=0.0),
            choice("ratio_basis", BASES, "whether the ratio counts volumes or masses", default="volume"),
        ),
        *topic(
            "Flow",
            optional("consistency", "Pa·sⁿ", "viscosity, or consistency of the mixed material", above=0.0),
            number(
                "index",
                "",
                "flow index of Herschel–Bulkley; 1 for Newtonian",
                default=1.0,
                above=0.0,
                at_most=2.0,
                labels=("Flow index n",),
            ),
            number("yield_stress", "Pa", "stress below which it does not flow", default=0.0, at_least=0.0),
            temperature("viscosity_temperature", "temperature of the viscosity", default=23.0),
            optional("viscosity_energy", "kJ/mol", "activation energy of the viscosity", above=0.0),
            optional(
                "later_viscosity", "Pa·sⁿ", "consistency at the later time, material at rest", above=0.0
            ),
            optional(
                "later_time", "min", "age of that later consistency, at the viscosity temperature", above=0.0
            ),
            optional(
                "thickening_exponent",
                "",
                "a of [α_g/(α_g − α)]^(a + b·α), α_g the degree at gel",
                at_least=0.0,
            ),
            optional("thickening_slope", "", "b of it; blank takes 0", at_least=0.0),
            optional("thickening_growth", "", "K of exp(K·α), in place of a and b", above=0.0),
        ),
        *topic(
            "Pot life",
            optional(
                "pot_life", "min", "how long the mixed material works; working life in ISO 10364", above=0.0
            ),
            temperature("pot_life_temperature", "temperature of the pot life", default=23.0),
            optional("pot_life_mass", "g", "mass that the pot life was measured on", above=0.0),
            text("pot_life_source", "method and source of the pot life", default=""),
            optional("pot_life_2", "min", "pot life at a second temperature", above=0.0),
            temperature("pot_life_temperature_2", "second temperature", default=None),
            optional("activation_energy", "kJ/mol", "of pot life and cure, where known", above=0.0),
            number(
                "halving_step",
                "K",
                "rise that halves the pot life where one point is known",
                default=10.0,
                at_least=1.0,
                at_most=100.0,
            ),
        ),
        *topic(
            "Open time and surface",
            optional(
                "open_time",
                "min",
                "from the first material on the part to mating, at the pot-life temperature; of a "
                "moisture-curing material its skin time at the cure temperature and its humidity",
                above=0.0,
            ),
            text("surface_treatment", "treatment of the surface before dispensing", default=""),
            optional("surface_window", "min", "how long the treated surface keeps", above=0.0),
        ),
        *topic(
            "Cure times",
            choice("cure", CURES, "how it cures; none: a paste that stays as it is", default="room"),
            temperature("cure_temperature", "temperature of the cure times", default=23.0),
            optional(
                "move_time",
                "min",
                "time to handling strength: the part may be moved",
                above=0.0,
                labels=("Handling time",),
            ),
            optional(
                "join_time",
                "min",
                "time until the part may be joined or loaded",
                above=0.0,
                labels=("Time to load",),
            ),
            optional(
                "test_time",
                "min",
                "time until full cure: the part may be tested",
                above=0.0,
                labels=("Full-cure time",),
            ),
        ),
        *topic(
            "Moisture cure",
            optional(
                "moisture_coefficient",
                "mm/√h",
                "cured depth per root of time, at the cure temperature",
                above=0.0,
            ),
            share(
                "moisture_humidity",
                "relative humidity of that coefficient and of the cure times",
                default=0.5,
                above=0.0,
            ),
            optional(
                "moisture_energy",
                "kJ/mol",
                "activation energy of moisture cure; blank: the water in "
                "the air alone tells warm from cold (rule of thumb)",
                at_least=0.0,
            ),
        ),
        *topic(
            "Light cure",
            optional("dose", "J/cm²", "light dose to cure", above=0.0),
            optional("dose_limit", "J/cm²", "most light dose that the material or its part bears", above=0.0),
        ),
        *topic(
            "Cure kinetics",
            optional("rate_1", "1/min", "rate of the kinetics", above=0.0, labels=("A1",)),
            optional("energy_1", "kJ/mol", "activation energy of that rate", at_least=0.0, labels=("E1",)),
            optional(
                "rate_2",
                "1/min",
                "rate that grows with cure; blank for n-th order",
                above=0.0,
                labels=("A2",),
            ),
            optional("energy_2", "kJ/mol", "activation energy of that rate", at_least=0.0, labels=("E2",)),
            optional("order_m", "", "kinetics m", at_least=0.0),
            optional("order_n", "", "kinetics n", above=0.0),
            optional(
                "ceiling", "", "kinetics B: the rate is multiplied by (B − degree)", above=0.0, at_most=1.0
            ),
            optional(
                "diffusion_strength",
                "",
                "kinetics C of the factor 1/(1 + exp(C·(degree − critical)))",
                above=0.0,
            ),
            optional("diffusion_degree", "", "critical degree of that factor at 0 °C"),
            optional("diffusion_slope", "1/K", "rise of the critical degree for each kelvin"),
            optional(
                "diffusion_rate",
                "1/min",
                "kinetics k_d0: rate of diffusion at the glass transition (sum of resistances)",
                above=0.0,
            ),
            optional("diffusion_c1", "", "its WLF constant C1; blank takes 17.44", above=0.0),
            optional("diffusion_c2", "K", "its WLF constant C2; blank takes 51.6", above=0.0),
        ),
        *topic(
            "Heat and shrinkage",
            optional(
                "heat", "J/g", "heat of the compound's full cure", at_least=0.0, labels=("Heat of reaction",)
            ),
            optional("specific_heat", "J/(g·K)", "specific heat", above=0.0),
            optional("conductivity", "W/(m·K)", "thermal conductivity", above=0.0),
            number(
                "shrinkage",
                "",
                "share of the liquid volume lost in cure",
                default=0.0,
                at_least=0.0,
                below=0.5,
            ),
        ),
        *topic(
            "Gel and glass transition",
            optional(
                "gel_degree", "", "degree of cure at gel", above=0.0, below=1.0, labels=("Conversion at gel",)
            ),
            optional("full_degree", "", "degree of cure that counts as full", above=0.0, at_most=1.0),
            temperature("glass_uncured", "glass transition, uncured", default=None, labels=("Tg uncured",)),
            temperature("glass_cured", "glass transition, fully cured", default=None, labels=("Tg cured",)),
            optional("glass_lambda", "", "DiBenedetto parameter", above=0.0, at_most=1.0),
            temperature(
                "service_temperature", "temperature that the glass transition must reach", default=None
            ),
        ),
        *topic(
            "Cautions and source",
            text("cautions", "what the safety data sheet warns of", default=""),
            text("source", "data sheet, edition, date", default=""),
        ),
    ),
    key=("material",),
    required=True,
    form="Material form",
)

KINETICS = Table(
    "Kinetics",
    "KineticsConstant",
    "cure kinetics by stages or by measured rates, in place of those in Materials",
    (
        refer("material", "Materials", "material"),
        text(
            "name",
            "A1, E1, A2, E2, m, n, B; from (a further stage begins at that degree); T, E and degrees, "
            "each with its rate",
        ),
        number("value", AS_GIVEN, "its value: 1/min, kJ/mol, °C"),
    ),
    is_seldom=True,
)

COMPONENTS_TABLE = Table(
    "Components",
    "Component",
    "one row for each component as it is bought: A and B of a two-part, A of a one-part",
    (
        *topic(
            "Component",
            refer("material", "Materials", "material it belongs to"),
            choice("component", COMPONENTS, "A or B"),
            number("density", "g/mL", "density", above=0.0),
            number("container", "mL", "content of one container", above=0.0),
            share(
                "heel", "share left in a container when it is changed", default=0.0, below=1.0, at_most=None
            ),
        ),
        *topic(
            "Storage",
            optional("shelf_life", "d", "shelf life when it arrives", above=0.0),
            optional(
                "open_life",
                "d",
                "how long an opened container keeps; its last day ends at 24:00, as that of Expiry in Stock",
                above=0.0,
            ),
            temperature("storage_low", "lowest storage temperature", default=None),
            temperature("storage_high", "highest storage temperature", default=None),
        ),
        *topic(
            "Buying",
            number("lead_time", "d", "from order to arrival", default=0.0, at_least=0.0),
            number("lead_time_spread", "d", "standard deviation of the lead time", default=0.0, at_least=0.0),
            whole("minimum_order", "fewest containers of one order", default=1, at_least=1),
            whole("pack_multiple", "containers of one pack; whole packs are ordered", default=1, at_least=1),
            number("price", AS_GIVEN, "price of one container", default=0.0, at_least=0.0),
            text(
                "item_number",
                "number it is bought under; files of stock and orders may name it by it",
                default="",
            ),
            text("supplier", "who delivers it", default=""),
            text("kit", "components with the same name here are ordered together, as a kit", default=""),
        ),
        *topic(
            "Settling of filler",
            optional("standing_height", "mm", "height of the compound in a container that stands", above=0.0),
            optional("filler_size", "mm", "diameter of its filler spheres", above=0.0),
            optional("filler_density", "g/mL", "density of the filler spheres", above=0.0),
            optional("filler_share", "", "share of the volume that is filler", above=0.0, below=PACKED),
            optional("liquid_viscosity", "Pa·s", "viscosity of the liquid between the filler", above=0.0),
            number("liquid_yield", "Pa", "yield stress of that liquid at rest", default=0.0, at_least=0.0),
            share(
                "density_tolerance",
                "difference in density from bottom to top that is allowed, as a share",
                default=0.01,
                above=0.0,
                below=1.0,
                at_most=None,
            ),
        ),
    ),
    key=("material", "component"),
    required=True,
)

PARTS = Table(
    "Parts",
    "Part",
    "one row for each part that gets material",
    (
        text("part", "name used in the other tables"),
        text("description", "what it is", default=""),
        text("drawing", "drawing and its revision", default=""),
    ),
    key=("part",),
    required=True,
)

ASSEMBLIES = Table(
    "Assemblies",
    "Assembly",
    "what a product is made of: building one takes `count` of each part",
    (
        text("assembly", "name used in Builds"),
        text("part", "a part, or another assembly"),
        whole("count", "how many go into one", at_least=1),
    ),
    key=("assembly", "part"),
)

BEADS = Table(
    "Beads",
    "Bead",
    "one row for each bead: cross-section and path",
    (
        *topic(
            "Bead",
            text("bead", "name of the bead"),
            refer("part", "Parts", "part it goes on"),
            refer("station", "Stations", "station that puts it on; the station names the material"),
        ),
        *topic(
            "Cross-section",
            choice("section", SECTIONS, "cross-section"),
            number("width", "mm", "width on the base (diameter, radius, leg)", above=0.0),
            number("width_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
            optional("height", "mm", "height of the cross-section", above=0.0),
            number("height_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
            number(
                "contact_angle",
                "deg",
                "of a segment, in place of height",
                default=None,
                above=0.0,
                below=180.0,
            ),
        ),
        *topic(
            "Path",
            optional("length", "mm", "length of the bead; blank where a path is named", above=0.0),
            number("length_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
            refer("path", "Paths", "path in table Paths", default=""),
            flag("closed", "whether the path closes on its start", default=False),
            optional("run", "mm", "length of one run of an interrupted bead", above=0.0),
            optional("gap", "mm", "gap between its runs", above=0.0),
            whole("count", "how many such beads the part has", default=1, at_least=1),
        ),
        *topic(
            "Joint",
            optional("bond_line", "mm", "gap between the joined faces", above=0.0),
            optional("flange_width", "mm", "width of the joint", above=0.0),
            whole(
                "open_edges",
                "edges of a pressed bead that meet moist air: 1 where the other faces a closed box; blank: 2",
                default=None,
                at_least=1,
                at_most=BOTH_EDGES,
            ),
            optional("press_force", "N/mm", "closing force per length of bead", above=0.0),
            optional(
                "face_angle",
                "deg",
                "slope of the face it lies on: 90 a wall; blank or 0 lying",
                at_least=0.0,
                at_most=90.0,
            ),
        ),
    ),
    key=("part", "bead"),
)

PATHS = Table(
    "Paths",
    "PathPoint",
    "points along a bead, in order",
    (
        text("path", "name of the path"),
        number("x", "mm", "coordinate"),
        number("y", "mm", "coordinate"),
        number("z", "mm", "coordinate", default=0.0),
        choice(
            "motion",
            MOTIONS,
            "line; arc: this point is the middle of an arc that ends at the "
            "next; travel: no material up to this point",
            default="line",
        ),
    ),
)

POTS = Table(
    "Pots",
    "Pot",
    "one row for each cavity that is filled",
    (
        *topic(
            "Pot",
            text("pot", "name of the pot"),
            refer("part", "Parts", "part it belongs to"),
            refer("station", "Stations", "station that fills it; the station names the material"),
        ),
        *topic(
            "Cavity and level",
            choice("shape", SHAPES, "shape of the cavity"),
            number("length", "mm", "length at the bottom; diameter of the round shapes", above=0.0),
            number("length_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
            optional("width", "mm", "width at the bottom; axial width of a lying cylinder", above=0.0),
            number("width_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
            number("draft", "deg", "draft of the walls", default=0.0, at_least=0.0, below=60.0),
            number("depth", "mm", "height of the wall", above=0.0),
            number("level", "mm", "height the material is filled to", above=0.0),
            number("level_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
        ),
        *topic(
            "Cells",
            whole("cells", "number of round cells", default=0, at_least=0),
            text("cell", "cell code such as 21700; its sizes are nominal", default=""),
            optional("cell_diameter", "mm", "actual diameter with sleeve; replaces the code's", above=0.0),
            number("cell_diameter_tolerance", "mm", "plus or minus", default=0.0, at_least=0.0),
            optional("cell_height", "mm", "height of a cell; replaces the code's", above=0.0),
            number(
                "cell_base",
                "mm",
                "height of the cells' lower end above the bottom",
                default=0.0,
                at_least=0.0,
            ),
            choice(
                "arrangement",
                ARRANGEMENTS,
                "how the cells stand: square; rows of n and n − 1 in turn; rows of n, every other one half a "
                "pitch further. With pitch, cells along and cell rows the exotherm is reckoned between them",
                default=None,
            ),
            optional("pitch", "mm", "distance between the axes of neighbouring cells", above=0.0),
            whole("cells_along", "cells in the longest row, along the length", default=None, at_least=1),
            whole("cell_rows", "rows of cells, across the width", default=None, at_least=1),
        ),
        *topic(
            "Amount",
            whole("count", "how many such pots the part has", default=1, at_least=1),
            share(
                "unfilled",
                "share of the free volume that trapped air keeps",
                default=0.0,
                below=1.0,
                at_most=None,
                labels=("Void share",),
            ),
            number("extra", "mL", "extra material", default=0.0, at_least=0.0),
            optional("bubble_limit", "mm", "largest air bubble that may stay in the pour", above=0.0),
        ),
        *topic(
            "Heat",
            temperature("limit", "highest temperature the cells may see", default=None),
            optional(
                "film",
                "W/(m²·K)",
                "heat transfer at the free face",
                above=0.0,
                labels=("Surface heat transfer",),
            ),
            temperature(
                "pour_temperature", "of the compound as it is poured; blank: shop temperature", default=None
            ),
            temperature(
                "cell_start", "of cells and pot when it is poured; blank: shop temperature", default=None
            ),
            number("wall", "mm", "thickness of the pot's walls and bottom", default=2.0, above=0.0),
            number(
                "wall_conductivity", "W/(m·K)", "of the pot's walls; 0.2 is plastic", default=0.2, above=0.0
            ),
            optional("base_conductivity", "W/(m·K)", "of its bottom; blank: as the walls", above=0.0),
            number(
                "base_film",
                "W/(m²·K)",
                "heat transfer under the bottom; 0: it stands on something that insulates",
                default=0.0,
                at_least=0.0,
            ),
            number("cell_density", "g/mL", "mean density of a cell", default=CELL_DENSITY / 1e3, above=0.0),
            number(
                "cell_heat", "J/(g·K)", "mean specific heat of a cell", default=CELL_HEAT / 1e3, above=0.0
            ),
            number(
                "cell_conductivity",
                "W/(m·K)",
                "of a cell, across its axis",
                default=CELL_CONDUCTIVITY,
                above=0.0,
            ),
            number("cell_axial", "W/(m·K)", "of a cell, along its axis", default=CELL_AXIAL, above=0.0),
        ),
    ),
    key=("part", "pot"),
)

INSERTS = Table(
    "Inserts",
    "Insert",
    "solid things in a pot, each at its own height",
    (
        refer("part", "Parts", "part of the pot"),
        text("pot", "pot they stand in"),
        text("insert", "name"),
        choice("shape", INSERT_SHAPES, "box or cylinder", default="box"),
        number("length", "mm", "length, or diameter of a cylinder", above=0.0),
        optional("width", "mm", "width of a box", above=0.0),
        number("height", "mm", "height", above=0.0),
        number("base", "mm", "height of its lower face above the bottom", default=0.0, at_least=0.0),
        whole("count", "how many", default=1, at_least=1),
    ),
    key=("part", "pot", "insert"),
)

SHOTS = Table(
    "Shots",
    "Shot",
    "how a pot is filled in several shots; a pot without rows is filled in one",
    (
        refer("part", "Parts", "part of the pot"),
        text("pot", "pot"),
        whole("shot", "number of the shot", at_least=1, at_most=20),
        share("portion", "share of the pot's volume", above=0.0),
        number("wait", "min", "wait after the shot before", default=0.0, at_least=0.0),
    ),
    key=("part", "pot", "shot"),
)

JOINTS = Table(
    "Joints",
    "Joint",
    "pressed joints: paste spread under a plate",
    (
        *topic(
            "Joint",
            text("joint", "name of the joint"),
            refer("part", "Parts", "part it belongs to"),
            refer("station", "Stations", "station; it names the material"),
        ),
        *topic(
            "Plate and bond line",
            number("length", "mm", "length of the plate", above=0.0),
            number("width", "mm", "width of the plate", above=0.0),
            number("gap", "mm", "bond line", above=0.0),
            number("gap_tolerance", "mm", "plus or minus, over the plate", default=0.0, at_least=0.0),
            share("coverage", "share of the plate to be wetted", default=1.0, above=0.0),
            share("extra", "share added to be pressed out at the rim", default=0.0),
            whole("count", "how many such joints the part has", default=1, at_least=1),
        ),
        *topic(
            "Pressing",
            optional("force", "N", "pressing force", above=0.0),
            optional("press_time", "s", "time under force at the station", above=0.0),
            number("start_gap", "mm", "height of the pattern before pressing", default=None, above=0.0),
            whole("dots", "number of dots or lines of the pattern", default=1, at_least=1),
            refer(
                "pattern",
                "Paths",
                "pattern as a path in table Paths, from the plate's corner (x along its length); a row "
                "between two travels is a dot; blank: dots far from each other",
                default="",
            ),
        ),
        *topic(
            "Heat",
            optional("resistance_limit", "K/W", "highest thermal resistance allowed", above=0.0),
            number("contact_resistance", "K·mm²/W", "of both faces together", default=0.0, at_least=0.0),
        ),
    ),
    key=("part", "joint"),
)

STATIONS = Table(
    "Stations",
    "Station",
    "one row for each nozzle that puts one material on",
    (
        *topic(
            "Station",
            text("station", "name used in the other tables"),
            refer("material", "Materials", "material it handles"),
            text("meter", "kind of meter, for the setup card", default=""),
        ),
        *topic(
            "Flow and times",
            optional("flow", "mL/s", "flow of a pour or a shot; beads follow from the speed", above=0.0),
            optional("flow_limit", "mL/s", "highest flow of the meter", above=0.0),
            share("meter_tolerance", "plus or minus of a shot, as a share", default=0.0),
            number("speed", "mm/s", "speed along a bead", default=None, above=0.0),
            number("start_time", "s", "added for each start of a bead or shot", default=0.0, at_least=0.0),
            number("handling_time", "s", "load, unload and moves for each part", default=0.0, at_least=0.0),
        ),
        *topic(
            "Pace",
            optional("takt", "s", "time between parts; blank spreads the builds over the shift", above=0.0),
            number("uptime", "", "share of the time the station runs", default=1.0, above=0.0, at_most=1.0),
            whole(
                "nozzles",
                "nozzles that work side by side on the same containers, each with its own mixer",
                default=1,
                at_least=1,
                at_most=MOST_NOZZLES,
            ),
            whole("batch", "parts of one batch on the cure board", default=10, at_least=1),
        ),
        *topic(
            "Nozzle, mixer and hoses",
            optional("nozzle_bore", "mm", "bore of the nozzle", above=0.0),
            optional("nozzle_length", "mm", "length of the nozzle", above=0.0),
            optional("mixer_bore", "mm", "bore of the static mixer", above=0.0),
            optional("mixer_length", "mm", "length of the mixing elements", above=0.0),
            number(
                "mixer_volume",
                "mL",
                "mixed material that stands in mixer and nozzle",
                default=0.0,
                at_least=0.0,
            ),
            optional("pressure_limit", "bar", "highest pressure", above=0.0),
            number("hose_a", "mL", "component A that stays in hoses and meter", default=0.0, at_least=0.0),
            number("hose_b", "mL", "component B that stays in hoses and meter", default=0.0, at_least=0.0),
            optional(
                "hose_compliance", "mL/bar", "volume that hoses and meter give for each pressure", above=0.0
            ),
        ),
        *topic(
            "Life of the mix",
            choice(
                "rule",
                RULES,
                "what is done when the limit of pot life is reached",
                default=PURGE,
                labels=("At life limit",),
            ),
            share("purge_share", "share of the pot life at which the rule acts", default=0.5, above=0.0),
            number("purge_volume", "mL", "mixed material thrown away by a purge", default=0.0, at_least=0.0),
            number("purge_time", "s", "time of a purge", default=0.0, at_least=0.0),
            number("mixer_time", "s", "time of a mixer change", default=0.0, at_least=0.0),
            optional(
                "oldest_share",
                "",
                "share of the material in the mixer that may be older than its life, such as 0.01; blank "
                "counts its mean age",
                above=0.0,
                at_most=0.5,
            ),
            optional(
                "flow_loss",
                "",
                "share by which the flow of the mix at constant pressure may fall before the rule acts, such "
                "as 0.1; for meters that dose by pressure and time",
                above=0.0,
                below=1.0,
            ),
            choice(
                "after_run",
                AFTER_RUN,
                "what becomes of the mixer after the last part; kept closed it serves the next start within "
                "its share of the pot life",
                default=THROW_AWAY,
            ),
            choice(
                "idle",
                IDLE_RULES,
                "what is done while no part comes for so long that one purge does not keep the limit or "
                "the mixer would gel: purge, take the mixer off, or the cheaper of the two",
                default=IDLE_CHEAPER,
            ),
        ),
        *topic(
            "Containers",
            number("container_time", "s", "time of a container change", default=0.0, at_least=0.0),
            choice(
                "refill",
                REFILLS,
                "when a container may be changed: between parts, what it holds is then lost; in mid-bead, "
                "the nozzle stands on the part for the change",
                default=BETWEEN_PARTS,
            ),
        ),
        *topic(
            "Start, end and checks",
            number("start_volume", "mL", "thrown away at the start of a shift", default=0.0, at_least=0.0),
            number("end_volume", "mL", "thrown away at the end of a shift", default=0.0, at_least=0.0),
            number("checks", "1/h", "check shots an hour", default=0.0, at_least=0.0, at_most=60.0),
            optional("check_volume", "mL", "volume of a check shot; blank takes the largest shot", above=0.0),
            share(
                "scrap",
                "share of parts started here that is lost, here or later; where the part has a route, here "
                "alone",
                default=0.0,
                below=1.0,
                at_most=None,
            ),
        ),
        *topic(
            "Shop air",
            temperature("shop_temperature", "shop temperature, where no record is named", default=23.0),
            refer("record", "Temperatures", "temperature record through the day", default=""),
            share("humidity", "relative humidity at the station, where its record gives none", default=0.5),
        ),
        *topic(
            "Surface and mating",
            number(
                "treatment_lead",
                "min",
                "from surface treatment to dispensing, in working time",
                default=0.0,
                at_least=0.0,
            ),
            number(
                "mating_delay",
                "min",
                "from the end of dispensing to mating, in working time",
                default=0.0,
                at_least=0.0,
            ),
        ),
        *topic(
            "Lamp",
            optional("irradiance", "mW/cm²", "light of the lamp at the bond line", above=0.0),
            optional("exposure_time", "s", "time of a part under the lamp", above=0.0),
            optional("lit_length", "mm", "length along the belt that the lamp lights", above=0.0),
        ),
    ),
    key=("station",),
    required=True,
    form="Station form",
)

TEMPERATURES = Table(
    "Temperatures",
    "TemperaturePoint",
    "shop temperature and humidity through the day, linear between the rows",
    (
        text("record", "name of the record"),
        clock("time", "time of day"),
        temperature("temperature", "temperature"),
        share("humidity", "relative humidity; blank takes the station's", default=None),
    ),
    key=("record", "time"),
)

PROFILES = Table(
    "Profiles",
    "ProfilePoint",
    "oven profiles, linear between the rows",
    (
        text("profile", "name of the profile"),
        number("time", "min", "time from the start", at_least=0.0),
        temperature("temperature", "air temperature"),
    ),
    key=("profile", "time"),
)

OVENS = Table(
    "Ovens",
    "Oven",
    "which part goes through which profile after which station",
    (
        refer("part", "Parts", "part"),
        refer("station", "Stations", "station whose material is cured"),
        refer("profile", "Profiles", "profile in table Profiles"),
        number("lag_fast", "min", "time constant of the part's quickest place", default=0.0, at_least=0.0),
        number("lag_slow", "min", "time constant of its slowest place", default=0.0, at_least=0.0),
        temperature("start_temperature", "temperature of the part at the start", default=23.0),
        number("pitch", "mm", "distance of parts on the belt", default=None, above=0.0),
        optional("hold", "min", "hold at the cure temperature the data sheet asks for", above=0.0),
    ),
    key=("part", "station"),
)

ROUTES = Table(
    "Routes",
    "RouteStep",
    "the stations that a part passes, in order; a station then starts what the one before has finished",
    (
        refer("part", "Parts", "part"),
        whole("step", "place in the order: 1, 2, 3", at_least=1, at_most=MOST_STEPS),
        refer("station", "Stations", "station; it puts something on the part"),
        optional(
            "wait",
            "min",
            "least time from the end of dispensing here until the next station may begin, a cure; blank: "
            "the handling time, as on the cure board; 0: it may go on at once",
            at_least=0.0,
        ),
        whole(
            "room",
            "parts that have room before the next station, those in cure with them; blank: no limit; 0: it "
            "stays in this station until the next begins",
            default=None,
            at_least=0,
            at_most=MOST_ROOM,
        ),
    ),
    key=("part", "step"),
    is_seldom=True,
)

SHIFTS = Table(
    "Shifts",
    "Shift",
    "start and end of each shift; after midnight the hours go on: 22:00 to 30:00",
    (
        text("shift", "name used in Builds"),
        clock("start", "start"),
        clock("end", "end; 30:00 is 6:00 of the next day"),
        text(
            "days",
            "days of the week on which it is worked: Mon-Fri, or Mon Tue Sat; builds of a week are split "
            "over them",
            default="Mon-Fri",
        ),
    ),
    key=("shift",),
    required=True,
)

HOLIDAYS = Table(
    "Holidays",
    "Holiday",
    "days on which no shift is worked, beside those of Country in Settings; builds of a week are split over "
    "the others",
    (date("date", "day"), text("name", "what it is called", default="")),
    key=("date",),
    is_seldom=True,
)

BREAKS = Table(
    "Breaks",
    "Break",
    "breaks of a shift; the nozzle stands still",
    (refer("shift", "Shifts", "shift"), clock("start", "start"), clock("end", "end")),
    key=("shift", "start"),
)

BUILDS = Table(
    "Builds",
    "Build",
    "what is built, day by day",
    (
        date(
            "date",
            "day on which the shift starts; or a week, such as 2026-W11: its builds are split over the "
            "working days of the shift, without one of all shifts",
        ),
        refer("shift", "Shifts", "shift"),
        text("part", "a part or an assembly"),
        whole("quantity", "good parts to build", at_least=0, at_most=1e6),
        clock("start", "start of the shift on that day, where it differs: a half shift", default=None),
        clock("end", "its end on that day, where it differs: overtime, a half shift", default=None),
    ),
    required=True,
)

#: what a quantity may be counted in where its row says so
QUANTITY_UNITS = "mL, L, kg, g, each or containers; blank: that of the header"

STOCK = Table(
    "Stock",
    "StockLot",
    "what lies in store, lot by lot",
    (
        refer("material", "Materials", "material"),
        choice("component", COMPONENTS, "A or B"),
        text("lot", "lot number"),
        number("quantity", "mL", "what is left of the lot", at_least=0.0),
        date(
            "expiry",
            "last day it may be used, until 24:00; in a shift over midnight what is connected goes on being "
            "used, and a finding names the parts that would get it",
        ),
        date("opened", "day its container was opened", default=None),
        date("arrival", "day it arrives; blank: it is here", default=None),
        text("item_number", "number it is bought under, in place of material and component", default=""),
        text("unit", f"what the quantity is counted in: {QUANTITY_UNITS}", default=""),
    ),
    key=("material", "component", "lot"),
)

ORDERS = Table(
    "Orders",
    "OpenOrder",
    "what is ordered and has not come: in store from its arrival on",
    (
        text("order", "order number"),
        refer("material", "Materials", "material"),
        choice("component", COMPONENTS, "A or B; blank if one-part", default="a"),
        number("quantity", "mL", "what is to come", above=0.0),
        date("arrival", "day it arrives", labels=("Arrival", "Due date")),
        text("lot", "lot number, where it is known", default=""),
        date("expiry", "last day it may be used; blank: arrival and shelf life", default=None),
        text("item_number", "number it is bought under, in place of material and component", default=""),
        text("unit", f"what the quantity is counted in: {QUANTITY_UNITS}", default=""),
    ),
    is_seldom=True,
)

#: what may stand somewhere when a day begins
STANDS_WHATS = (
    STANDING_CONTAINER,
    STANDING_HOSE,
    STANDING_MIXER,
    STANDING_HALF_DONE,
    STANDING_TO_MATE,
    STANDING_BETWEEN,
    STANDING_IN_STORE,
) = ("container", "hose", "mixer", "half done", "to be mated", "between", "in store")
MOST_VISITS = 1000  # of a part at a station

STANDING = Table(
    "Standing",
    "Standing",
    "what stands at stations, or opened in store, at a time: it is where `--as-of` begins; of one thing the "
    "latest row counts",
    (
        choice(
            "what",
            STANDS_WHATS,
            "a container that is connected, a hose, a mixer kept closed, parts half done, parts to be mated, "
            "parts between two stations of a route, an opened container in store",
        ),
        date("date", "day on which it stood there"),
        clock("time", "time of that day; blank: before its first shift", default=None),
        refer("station", "Stations", "station; of parts between two the one that comes next", default=""),
        refer("material", "Materials", "material; blank: that of the station", default=""),
        choice("component", COMPONENTS, "A or B; blank if one-part", default="a"),
        text("lot", "lot of a container", default=""),
        optional(
            "left",
            "mL",
            "what is in a container, its heel with it; in a hose, which is full where nothing is said of it",
            at_least=0.0,
        ),
        date("opened", "day the container was opened; blank: as it was booked, else the date", default=None),
        date("expiry", "last day it may be used; blank: that of its lot in Stock", default=None),
        whole("nozzle", "nozzle of a mixer, from 1", default=1, at_least=1, at_most=MOST_NOZZLES),
        refer("part", "Parts", "part in process", default=""),
        text(
            "numbers",
            "numbers of these parts: 5-8, 12; with the shift that began them, 5-8 of 2026-03-02 Early",
            default="",
        ),
        whole("visits", "visits that half done parts have had", default=1, at_least=1, at_most=MOST_VISITS),
        refer("before", "Stations", "station that parts between two come from", default=""),
        clock(
            "begun",
            "when the mixer was put on, or the first material on these parts; after midnight the hours go on",
            default=None,
        ),
        clock(
            "due",
            "when the next step is due; blank: half done parts may go on at once, parts to be mated are due "
            "as the day begins",
            default=None,
        ),
        clock(
            "latest",
            "until when they must be mated or the mixer may be used, in place of when it was begun",
            default=None,
        ),
    ),
    is_seldom=True,
)

#: what may be chosen at a station and of a component as it is bought
CHOSEN_AT_STATION = tuple(
    STATIONS.column(name)
    for name in (
        "material",
        "nozzle_bore",
        "nozzle_length",
        "mixer_bore",
        "mixer_length",
        "mixer_volume",
        "flow",
        "speed",
        "nozzles",
        "rule",
        "purge_share",
        "purge_volume",
        "refill",
        "after_run",
        "shop_temperature",
        "record",
    )
)
CHOSEN_OF_COMPONENT = tuple(COMPONENTS_TABLE.column(name) for name in ("container", "heel", "price"))

CHOICES = Table(
    "Choices",
    "Choice",
    "what may be chosen in place of what the plan has, for `dispense compare`",
    (
        refer("station", "Stations", "station at which it is chosen; blank for a container", default=""),
        refer("material", "Materials", "of a container: its material", default=""),
        choice("component", COMPONENTS, "of a container: A or B; blank if one-part", default=None),
        text(
            "option",
            "rows of one option are chosen together, such as bore, length and volume of a mixer; blank: the "
            "row by itself",
            default="",
        ),
        choice(
            "what",
            tuple(item.heading.lower() for item in (*CHOSEN_AT_STATION, *CHOSEN_OF_COMPONENT)),
            "what is chosen; a shop temperature holds all day, a price goes with the container of its option",
        ),
        text("value", "its value, with a unit where it is not that of its column: 1.6, 1/16 in, a material"),
    ),
    is_seldom=True,
)

#: what may hold for a time: at a station, of a component as it is bought, of a shift
DATED_AT_STATION = (*CHOSEN_AT_STATION, STATIONS.column("scrap"), STATIONS.column("takt"))
DATED_OF_COMPONENT = (COMPONENTS_TABLE.column("price"),)
DATED_OF_SHIFT = tuple(SHIFTS.column(name) for name in ("start", "end", "days"))

VALIDITY = Table(
    "Validity",
    "ValidValue",
    "figures that hold from or until a day, in place of those of Stations, Components and Shifts: a shift's "
    "hours, a price, scrap, the material of a station",
    (
        refer("station", "Stations", "station at which it holds; blank for a price or a shift", default=""),
        refer("shift", "Shifts", "shift of which it holds", default=""),
        refer("material", "Materials", "of a price: its material", default=""),
        choice("component", COMPONENTS, "of a price: A or B; blank if one-part", default=None),
        choice(
            "what",
            tuple(item.heading.lower() for item in (*DATED_AT_STATION, *DATED_OF_COMPONENT, *DATED_OF_SHIFT)),
            "what holds: a column of Stations, the price of Components, start, end or days of Shifts",
        ),
        text(
            "value",
            "its value, with a unit where it is not that of its column: a material, 3 %, 22:00; days none: "
            "the shift is not worked",
        ),
        date("valid_from", "first day on which it holds; blank: ever since", default=None),
        date("valid_until", "last day on which it holds; blank: for good", default=None),
    ),
    is_seldom=True,
)

CHANGES = Table(
    "Changes",
    "Change",
    "what was changed in this plan and why: `dispense learn` adds a row for each value it takes over",
    (
        date("date", "day of the change"),
        text("table", "table that was changed"),
        text("row", "its row, by the names that tell it from others", default=""),
        text("column", "its column"),
        number("old", AS_GIVEN, "value before; blank: there was none", default=None),
        number("new", AS_GIVEN, "value since"),
        text("unit", "unit of both", default=""),
        text("reason", "why, with the uncertainty of what was learned", default=""),
        text("bookings", "numbers of the bookings of the journal that it rests on", default=""),
        text("by", "who decided it", default=""),
    ),
    is_seldom=True,
)

TABLES: tuple[Table, ...] = (
    MATERIALS,
    KINETICS,
    COMPONENTS_TABLE,
    PARTS,
    ASSEMBLIES,
    BEADS,
    PATHS,
    POTS,
    INSERTS,
    SHOTS,
    JOINTS,
    STATIONS,
    TEMPERATURES,
    PROFILES,
    OVENS,
    ROUTES,
    SHIFTS,
    HOLIDAYS,
    BREAKS,
    VALIDITY,
    BUILDS,
    STOCK,
    ORDERS,
    STANDING,
    CHOICES,
    CHANGES,
)
BY_NAME = {table.name: table for table in TABLES}

#: texts of a cell may be this long
LONGEST_TEXT = 2000

#: the smallest and largest figure of a plan by its unit (the smallest where 0 is not allowed); what
#: lies outside is a slip of the unit or of a key, and would only give sums that mean nothing
SIZES: dict[str, tuple[float, float]] = {
    "": (1e-9, 1e6),
    "deg": (1e-6, 360.0),
    "mm": (1e-6, 1e6),
    "mL": (1e-6, 1e9),
    "min": (1e-6, 1e7),
    "s": (1e-6, 1e7),
    "d": (1e-3, 1e5),
    "K": (1e-3, 1e3),
    "kJ/mol": (0.1, 1e3),
    "mm/s": (1e-6, 1e6),
    "mL/s": (1e-9, 1e6),
    "g/mL": (1e-3, 30.0),
    "bar": (1e-6, 1e5),
    "Pa": (1e-6, 1e9),
    "Pa·sⁿ": (1e-6, 1e9),
    "1/min": (1e-30, 1e60),
}
_OTHER_SIZES = (1e-9, 1e12)
TEMPERATURES_MET = (-90.0, 1000.0)  # °C: from the coldest weather to the hottest oven
YEARS = (1990, 2199)


def believable(item: Field, value: float) -> bool:
    """Whether a figure in the shop unit is of a size that a plan can mean."""
    if item.unit == "°C":
        return TEMPERATURES_MET[0] <= value <= TEMPERATURES_MET[1]
    least, most = SIZES.get(item.unit, _OTHER_SIZES)
    return abs(value) <= most and (abs(value) >= least or item.within(0))


def believable_text(item: Field) -> str:
    """What `believable` asks, worded to follow "it must be"."""
    if item.kind == "date":
        return f"a date from {YEARS[0]} to {YEARS[1]}"
    if item.unit == "°C":
        return f"from {TEMPERATURES_MET[0]:g} to {TEMPERATURES_MET[1]:g} °C"
    least, most = SIZES.get(item.unit, _OTHER_SIZES)
    unit = f" {item.unit}" if item.unit and item.unit != AS_GIVEN else ""
    return f"from {least:g} to {most:g}{unit} in size"
