"""The rows of a plan's tables, in SI units.

Made from `tables.py` by `python -m dispense.jobs.pages`; do not edit.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, ClassVar, TypedDict


class Row:
    """One row of a table."""

    __slots__ = ()
    __dataclass_fields__: ClassVar[dict[str, Any]]
    TABLE: ClassVar[str]
    at: str
    """The row's first cell, for messages: Beads!A7."""


@dataclass(frozen=True, slots=True)
class Material(Row):
    """A row of Materials: each adhesive, sealant, paste or potting compound, from its data sheet."""

    TABLE: ClassVar[str] = "Materials"
    material: str
    """Name used in the other tables."""
    description: str
    """What it is."""
    kind: str
    """One-part, or two-part (components A and B): one-part, two-part."""
    ratio_a: float
    """Parts A of the mixing ratio."""
    ratio_b: float | None
    """Parts B of the mixing ratio; blank for one-part."""
    ratio_basis: str
    """Whether the ratio counts volumes or masses: volume, mass."""
    consistency: float | None
    """Viscosity, or consistency of the mixed material [Pa·sⁿ]."""
    index: float
    """Flow index of Herschel–Bulkley; 1 for Newtonian."""
    yield_stress: float
    """Stress below which it does not flow [Pa]."""
    viscosity_temperature: float
    """Temperature of the viscosity [K]."""
    viscosity_energy: float | None
    """Activation energy of the viscosity [J/mol]."""
    later_viscosity: float | None
    """Consistency at the later time, material at rest [Pa·sⁿ]."""
    later_time: float | None
    """Age of that later consistency, at the viscosity temperature [s]."""
    thickening_exponent: float | None
    """a of [α_g/(α_g − α)]^(a + b·α), α_g the degree at gel."""
    thickening_slope: float | None
    """b of it; blank takes 0."""
    thickening_growth: float | None
    """K of exp(K·α), in place of a and b."""
    pot_life: float | None
    """How long the mixed material works; working life in ISO 10364 [s]."""
    pot_life_temperature: float
    """Temperature of the pot life [K]."""
    pot_life_mass: float | None
    """Mass that the pot life was measured on [kg]."""
    pot_life_source: str
    """Method and source of the pot life."""
    pot_life_2: float | None
    """Pot life at a second temperature [s]."""
    pot_life_temperature_2: float | None
    """Second temperature [K]."""
    activation_energy: float | None
    """Of pot life and cure, where known [J/mol]."""
    halving_step: float
    """Rise that halves the pot life where one point is known [K]."""
    open_time: float | None
    """From the first material on the part to mating, at the pot-life temperature; of a moisture-curing
    material its skin time at the cure temperature and its humidity [s]."""
    surface_treatment: str
    """Treatment of the surface before dispensing."""
    surface_window: float | None
    """How long the treated surface keeps [s]."""
    cure: str
    """How it cures; none: a paste that stays as it is: room, oven, moisture, light, none."""
    cure_temperature: float
    """Temperature of the cure times [K]."""
    move_time: float | None
    """Time to handling strength: the part may be moved [s]."""
    join_time: float | None
    """Time until the part may be joined or loaded [s]."""
    test_time: float | None
    """Time until full cure: the part may be tested [s]."""
    moisture_coefficient: float | None
    """Cured depth per root of time, at the cure temperature [m/√s]."""
    moisture_humidity: float
    """Relative humidity of that coefficient and of the cure times."""
    moisture_energy: float | None
    """Activation energy of moisture cure; blank: the water in the air alone tells warm from cold (rule of
    thumb) [J/mol]."""
    dose: float | None
    """Light dose to cure [J/m²]."""
    dose_limit: float | None
    """Most light dose that the material or its part bears [J/m²]."""
    rate_1: float | None
    """Rate of the kinetics [1/s]."""
    energy_1: float | None
    """Activation energy of that rate [J/mol]."""
    rate_2: float | None
    """Rate that grows with cure; blank for n-th order [1/s]."""
    energy_2: float | None
    """Activation energy of that rate [J/mol]."""
    order_m: float | None
    """Kinetics m."""
    order_n: float | None
    """Kinetics n."""
    ceiling: float | None
    """Kinetics B: the rate is multiplied by (B − degree)."""
    diffusion_strength: float | None
    """Kinetics C of the factor 1/(1 + exp(C·(degree − critical)))."""
    diffusion_degree: float | None
    """Critical degree of that factor at 0 °C."""
    diffusion_slope: float | None
    """Rise of the critical degree for each kelvin [1/K]."""
    diffusion_rate: float | None
    """Kinetics k_d0: rate of diffusion at the glass transition (sum of resistances) [1/s]."""
    diffusion_c1: float | None
    """Its WLF constant C1; blank takes 17.44."""
    diffusion_c2: float | None
    """Its WLF constant C2; blank takes 51.6 [K]."""
    heat: float | None
    """Heat of the compound's full cure [J/kg]."""
    specific_heat: float | None
    """Specific heat [J/(kg·K)]."""
    conductivity: float | None
    """Thermal conductivity [W/(m·K)]."""
    shrinkage: float
    """Share of the liquid volume lost in cure."""
    gel_degree: float | None
    """Degree of cure at gel."""
    full_degree: float | None
    """Degree of cure that counts as full."""
    glass_uncured: float | None
    """Glass transition, uncured [K]."""
    glass_cured: float | None
    """Glass transition, fully cured [K]."""
    glass_lambda: float | None
    """DiBenedetto parameter."""
    service_temperature: float | None
    """Temperature that the glass transition must reach [K]."""
    cautions: str
    """What the safety data sheet warns of."""
    source: str
    """Data sheet, edition, date."""
    at: str


@dataclass(frozen=True, slots=True)
class KineticsConstant(Row):
    """A row of Kinetics: cure kinetics by stages or by measured rates, in place of those in Materials."""

    TABLE: ClassVar[str] = "Kinetics"
    material: str
    """Material."""
    name: str
    """A1, E1, A2, E2, m, n, B; from (a further stage begins at that degree); T, E and degrees, each with its
    rate."""
    value: float
    """Its value: 1/min, kJ/mol, °C."""
    at: str


@dataclass(frozen=True, slots=True)
class Component(Row):
    """A row of Components: each component as it is bought: A and B of a two-part, A of a one-part."""

    TABLE: ClassVar[str] = "Components"
    material: str
    """Material it belongs to."""
    component: str
    """A or B: a, b."""
    density: float
    """Density [kg/m³]."""
    container: float
    """Content of one container [m³]."""
    heel: float
    """Share left in a container when it is changed."""
    shelf_life: float | None
    """Shelf life when it arrives [s]."""
    open_life: float | None
    """How long an opened container keeps; its last day ends at 24:00, as that of Expiry in Stock [s]."""
    storage_low: float | None
    """Lowest storage temperature [K]."""
    storage_high: float | None
    """Highest storage temperature [K]."""
    lead_time: float
    """From order to arrival [s]."""
    lead_time_spread: float
    """Standard deviation of the lead time [s]."""
    minimum_order: int
    """Fewest containers of one order."""
    pack_multiple: int
    """Containers of one pack; whole packs are ordered."""
    price: float
    """Price of one container."""
    item_number: str
    """Number it is bought under; files of stock and orders may name it by it."""
    supplier: str
    """Who delivers it."""
    kit: str
    """Components with the same name here are ordered together, as a kit."""
    standing_height: float | None
    """Height of the compound in a container that stands [m]."""
    filler_size: float | None
    """Diameter of its filler spheres [m]."""
    filler_density: float | None
    """Density of the filler spheres [kg/m³]."""
    filler_share: float | None
    """Share of the volume that is filler."""
    liquid_viscosity: float | None
    """Viscosity of the liquid between the filler [Pa·s]."""
    liquid_yield: float
    """Yield stress of that liquid at rest [Pa]."""
    density_tolerance: float
    """Difference in density from bottom to top that is allowed, as a share."""
    at: str


@dataclass(frozen=True, slots=True)
class Part(Row):
    """A row of Parts: each part that gets material."""

    TABLE: ClassVar[str] = "Parts"
    part: str
    """Name used in the other tables."""
    description: str
    """What it is."""
    drawing: str
    """Drawing and its revision."""
    at: str


@dataclass(frozen=True, slots=True)
class Assembly(Row):
    """A row of Assemblies: what a product is made of: building one takes `count` of each part."""

    TABLE: ClassVar[str] = "Assemblies"
    assembly: str
    """Name used in Builds."""
    part: str
    """A part, or another assembly."""
    count: int
    """How many go into one."""
    at: str


@dataclass(frozen=True, slots=True)
class Bead(Row):
    """A row of Beads: each bead: cross-section and path."""

    TABLE: ClassVar[str] = "Beads"
    bead: str
    """Name of the bead."""
    part: str
    """Part it goes on."""
    station: str
    """Station that puts it on; the station names the material."""
    section: str
    """Cross-section: round, half-round, triangle, rectangle, ellipse, segment, stadium, fillet, mitre."""
    width: float
    """Width on the base (diameter, radius, leg) [m]."""
    width_tolerance: float
    """Plus or minus [m]."""
    height: float | None
    """Height of the cross-section [m]."""
    height_tolerance: float
    """Plus or minus [m]."""
    contact_angle: float | None
    """Of a segment, in place of height [rad]."""
    length: float | None
    """Length of the bead; blank where a path is named [m]."""
    length_tolerance: float
    """Plus or minus [m]."""
    path: str
    """Path in table Paths."""
    closed: bool
    """Whether the path closes on its start."""
    run: float | None
    """Length of one run of an interrupted bead [m]."""
    gap: float | None
    """Gap between its runs [m]."""
    count: int
    """How many such beads the part has."""
    bond_line: float | None
    """Gap between the joined faces [m]."""
    flange_width: float | None
    """Width of the joint [m]."""
    open_edges: int | None
    """Edges of a pressed bead that meet moist air: 1 where the other faces a closed box; blank: 2."""
    press_force: float | None
    """Closing force per length of bead [N/m]."""
    face_angle: float | None
    """Slope of the face it lies on: 90 a wall; blank or 0 lying [rad]."""
    at: str


@dataclass(frozen=True, slots=True)
class PathPoint(Row):
    """A row of Paths: points along a bead, in order."""

    TABLE: ClassVar[str] = "Paths"
    path: str
    """Name of the path."""
    x: float
    """Coordinate [m]."""
    y: float
    """Coordinate [m]."""
    z: float
    """Coordinate [m]."""
    motion: str
    """Line; arc: this point is the middle of an arc that ends at the next; travel: no material up to this
    point: line, arc, travel."""
    at: str


@dataclass(frozen=True, slots=True)
class Pot(Row):
    """A row of Pots: each cavity that is filled."""

    TABLE: ClassVar[str] = "Pots"
    pot: str
    """Name of the pot."""
    part: str
    """Part it belongs to."""
    station: str
    """Station that fills it; the station names the material."""
    shape: str
    """Shape of the cavity: box, tray, cylinder, cone, lying-cylinder."""
    length: float
    """Length at the bottom; diameter of the round shapes [m]."""
    length_tolerance: float
    """Plus or minus [m]."""
    width: float | None
    """Width at the bottom; axial width of a lying cylinder [m]."""
    width_tolerance: float
    """Plus or minus [m]."""
    draft: float
    """Draft of the walls [rad]."""
    depth: float
    """Height of the wall [m]."""
    level: float
    """Height the material is filled to [m]."""
    level_tolerance: float
    """Plus or minus [m]."""
    cells: int
    """Number of round cells."""
    cell: str
    """Cell code such as 21700; its sizes are nominal."""
    cell_diameter: float | None
    """Actual diameter with sleeve; replaces the code's [m]."""
    cell_diameter_tolerance: float
    """Plus or minus [m]."""
    cell_height: float | None
    """Height of a cell; replaces the code's [m]."""
    cell_base: float
    """Height of the cells' lower end above the bottom [m]."""
    arrangement: str | None
    """How the cells stand: square; rows of n and n − 1 in turn; rows of n, every other one half a pitch
    further. With pitch, cells along and cell rows the exotherm is reckoned between them: square, alternating,
    staggered."""
    pitch: float | None
    """Distance between the axes of neighbouring cells [m]."""
    cells_along: int | None
    """Cells in the longest row, along the length."""
    cell_rows: int | None
    """Rows of cells, across the width."""
    count: int
    """How many such pots the part has."""
    unfilled: float
    """Share of the free volume that trapped air keeps."""
    extra: float
    """Extra material [m³]."""
    bubble_limit: float | None
    """Largest air bubble that may stay in the pour [m]."""
    limit: float | None
    """Highest temperature the cells may see [K]."""
    film: float | None
    """Heat transfer at the free face [W/(m²·K)]."""
    pour_temperature: float | None
    """Of the compound as it is poured; blank: shop temperature [K]."""
    cell_start: float | None
    """Of cells and pot when it is poured; blank: shop temperature [K]."""
    wall: float
    """Thickness of the pot's walls and bottom [m]."""
    wall_conductivity: float
    """Of the pot's walls; 0.2 is plastic [W/(m·K)]."""
    base_conductivity: float | None
    """Of its bottom; blank: as the walls [W/(m·K)]."""
    base_film: float
    """Heat transfer under the bottom; 0: it stands on something that insulates [W/(m²·K)]."""
    cell_density: float
    """Mean density of a cell [kg/m³]."""
    cell_heat: float
    """Mean specific heat of a cell [J/(kg·K)]."""
    cell_conductivity: float
    """Of a cell, across its axis [W/(m·K)]."""
    cell_axial: float
    """Of a cell, along its axis [W/(m·K)]."""
    at: str


@dataclass(frozen=True, slots=True)
class Insert(Row):
    """A row of Inserts: solid things in a pot, each at its own height."""

    TABLE: ClassVar[str] = "Inserts"
    part: str
    """Part of the pot."""
    pot: str
    """Pot they stand in."""
    insert: str
    """Name."""
    shape: str
    """Box or cylinder: box, cylinder."""
    length: float
    """Length, or diameter of a cylinder [m]."""
    width: float | None
    """Width of a box [m]."""
    height: float
    """Height [m]."""
    base: float
    """Height of its lower face above the bottom [m]."""
    count: int
    """How many."""
    at: str


@dataclass(frozen=True, slots=True)
class Shot(Row):
    """A row of Shots: how a pot is filled in several shots; a pot without rows is filled in one."""

    TABLE: ClassVar[str] = "Shots"
    part: str
    """Part of the pot."""
    pot: str
    """Pot."""
    shot: int
    """Number of the shot."""
    portion: float
    """Share of the pot's volume."""
    wait: float
    """Wait after the shot before [s]."""
    at: str


@dataclass(frozen=True, slots=True)
class Joint(Row):
    """A row of Joints: pressed joints: paste spread under a plate."""

    TABLE: ClassVar[str] = "Joints"
    joint: str
    """Name of the joint."""
    part: str
    """Part it belongs to."""
    station: str
    """Station; it names the material."""
    length: float
    """Length of the plate [m]."""
    width: float
    """Width of the plate [m]."""
    gap: float
    """Bond line [m]."""
    gap_tolerance: float
    """Plus or minus, over the plate [m]."""
    coverage: float
    """Share of the plate to be wetted."""
    extra: float
    """Share added to be pressed out at the rim."""
    count: int
    """How many such joints the part has."""
    force: float | None
    """Pressing force [N]."""
    press_time: float | None
    """Time under force at the station [s]."""
    start_gap: float | None
    """Height of the pattern before pressing [m]."""
    dots: int
    """Number of dots or lines of the pattern."""
    pattern: str
    """Pattern as a path in table Paths, from the plate's corner (x along its length); a row between two
    travels is a dot; blank: dots far from each other."""
    resistance_limit: float | None
    """Highest thermal resistance allowed [K/W]."""
    contact_resistance: float
    """Of both faces together [K·m²/W]."""
    at: str


@dataclass(frozen=True, slots=True)
class Station(Row):
    """A row of Stations: each nozzle that puts one material on."""

    TABLE: ClassVar[str] = "Stations"
    station: str
    """Name used in the other tables."""
    material: str
    """Material it handles."""
    meter: str
    """Kind of meter, for the setup card."""
    flow: float | None
    """Flow of a pour or a shot; beads follow from the speed [m³/s]."""
    flow_limit: float | None
    """Highest flow of the meter [m³/s]."""
    meter_tolerance: float
    """Plus or minus of a shot, as a share."""
    speed: float | None
    """Speed along a bead [m/s]."""
    start_time: float
    """Added for each start of a bead or shot [s]."""
    handling_time: float
    """Load, unload and moves for each part [s]."""
    takt: float | None
    """Time between parts; blank spreads the builds over the shift [s]."""
    uptime: float
    """Share of the time the station runs."""
    nozzles: int
    """Nozzles that work side by side on the same containers, each with its own mixer."""
    batch: int
    """Parts of one batch on the cure board."""
    nozzle_bore: float | None
    """Bore of the nozzle [m]."""
    nozzle_length: float | None
    """Length of the nozzle [m]."""
    mixer_bore: float | None
    """Bore of the static mixer [m]."""
    mixer_length: float | None
    """Length of the mixing elements [m]."""
    mixer_volume: float
    """Mixed material that stands in mixer and nozzle [m³]."""
    pressure_limit: float | None
    """Highest pressure [Pa]."""
    hose_a: float
    """Component A that stays in hoses and meter [m³]."""
    hose_b: float
    """Component B that stays in hoses and meter [m³]."""
    hose_compliance: float | None
    """Volume that hoses and meter give for each pressure [m³/Pa]."""
    rule: str
    """What is done when the limit of pot life is reached: purge, change mixer."""
    purge_share: float
    """Share of the pot life at which the rule acts."""
    purge_volume: float
    """Mixed material thrown away by a purge [m³]."""
    purge_time: float
    """Time of a purge [s]."""
    mixer_time: float
    """Time of a mixer change [s]."""
    oldest_share: float | None
    """Share of the material in the mixer that may be older than its life, such as 0.01; blank counts its mean
    age."""
    flow_loss: float | None
    """Share by which the flow of the mix at constant pressure may fall before the rule acts, such as 0.1; for
    meters that dose by pressure and time."""
    after_run: str
    """What becomes of the mixer after the last part; kept closed it serves the next start within its share of
    the pot life: throw away, keep closed."""
    idle: str
    """What is done while no part comes for so long that one purge does not keep the limit or the mixer would
    gel: purge, take the mixer off, or the cheaper of the two: cheaper, purge, take off."""
    container_time: float
    """Time of a container change [s]."""
    refill: str
    """When a container may be changed: between parts, what it holds is then lost; in mid-bead, the nozzle
    stands on the part for the change: between parts, in mid-bead."""
    start_volume: float
    """Thrown away at the start of a shift [m³]."""
    end_volume: float
    """Thrown away at the end of a shift [m³]."""
    checks: float
    """Check shots an hour [1/s]."""
    check_volume: float | None
    """Volume of a check shot; blank takes the largest shot [m³]."""
    scrap: float
    """Share of parts started here that is lost, here or later; where the part has a route, here alone."""
    shop_temperature: float
    """Shop temperature, where no record is named [K]."""
    record: str
    """Temperature record through the day."""
    humidity: float
    """Relative humidity at the station, where its record gives none."""
    treatment_lead: float
    """From surface treatment to dispensing, in working time [s]."""
    mating_delay: float
    """From the end of dispensing to mating, in working time [s]."""
    irradiance: float | None
    """Light of the lamp at the bond line [W/m²]."""
    exposure_time: float | None
    """Time of a part under the lamp [s]."""
    lit_length: float | None
    """Length along the belt that the lamp lights [m]."""
    at: str


@dataclass(frozen=True, slots=True)
class TemperaturePoint(Row):
    """A row of Temperatures: shop temperature and humidity through the day, linear between the rows."""

    TABLE: ClassVar[str] = "Temperatures"
    record: str
    """Name of the record."""
    time: float
    """Time of day [s after midnight]."""
    temperature: float
    """Temperature [K]."""
    humidity: float | None
    """Relative humidity; blank takes the station's."""
    at: str


@dataclass(frozen=True, slots=True)
class ProfilePoint(Row):
    """A row of Profiles: oven profiles, linear between the rows."""

    TABLE: ClassVar[str] = "Profiles"
    profile: str
    """Name of the profile."""
    time: float
    """Time from the start [s]."""
    temperature: float
    """Air temperature [K]."""
    at: str


@dataclass(frozen=True, slots=True)
class Oven(Row):
    """A row of Ovens: which part goes through which profile after which station."""

    TABLE: ClassVar[str] = "Ovens"
    part: str
    """Part."""
    station: str
    """Station whose material is cured."""
    profile: str
    """Profile in table Profiles."""
    lag_fast: float
    """Time constant of the part's quickest place [s]."""
    lag_slow: float
    """Time constant of its slowest place [s]."""
    start_temperature: float
    """Temperature of the part at the start [K]."""
    pitch: float | None
    """Distance of parts on the belt [m]."""
    hold: float | None
    """Hold at the cure temperature the data sheet asks for [s]."""
    at: str


@dataclass(frozen=True, slots=True)
class RouteStep(Row):
    """A row of Routes: the stations that a part passes, in order; a station then starts what the one before
    has finished."""

    TABLE: ClassVar[str] = "Routes"
    part: str
    """Part."""
    step: int
    """Place in the order: 1, 2, 3."""
    station: str
    """Station; it puts something on the part."""
    wait: float | None
    """Least time from the end of dispensing here until the next station may begin, a cure; blank: the
    handling time, as on the cure board; 0: it may go on at once [s]."""
    room: int | None
    """Parts that have room before the next station, those in cure with them; blank: no limit; 0: it stays in
    this station until the next begins."""
    at: str


@dataclass(frozen=True, slots=True)
class Shift(Row):
    """A row of Shifts: start and end of each shift; after midnight the hours go on: 22:00 to 30:00."""

    TABLE: ClassVar[str] = "Shifts"
    shift: str
    """Name used in Builds."""
    start: float
    """Start [s after midnight]."""
    end: float
    """End; 30:00 is 6:00 of the next day [s after midnight]."""
    days: str
    """Days of the week on which it is worked: Mon-Fri, or Mon Tue Sat; builds of a week are split over
    them."""
    at: str


@dataclass(frozen=True, slots=True)
class Holiday(Row):
    """A row of Holidays: days on which no shift is worked, beside those of Country in Settings; builds of a
    week are split over the others."""

    TABLE: ClassVar[str] = "Holidays"
    date: datetime.date
    """Day."""
    name: str
    """What it is called."""
    at: str


@dataclass(frozen=True, slots=True)
class Break(Row):
    """A row of Breaks: breaks of a shift; the nozzle stands still."""

    TABLE: ClassVar[str] = "Breaks"
    shift: str
    """Shift."""
    start: float
    """Start [s after midnight]."""
    end: float
    """End [s after midnight]."""
    at: str


@dataclass(frozen=True, slots=True)
class ValidValue(Row):
    """A row of Validity: figures that hold from or until a day, in place of those of Stations, Components and
    Shifts: a shift's hours, a price, scrap, the material of a station."""

    TABLE: ClassVar[str] = "Validity"
    station: str
    """Station at which it holds; blank for a price or a shift."""
    shift: str
    """Shift of which it holds."""
    material: str
    """Of a price: its material."""
    component: str | None
    """Of a price: A or B; blank if one-part: a, b."""
    what: str
    """What holds: a column of Stations, the price of Components, start, end or days of Shifts: material,
    nozzle bore, nozzle length, mixer bore, mixer length, mixer volume, flow, speed, nozzles, at life limit,
    purge share, purge volume, refill, after run, shop temperature, record, scrap, takt, price, start, end,
    days."""
    value: str
    """Its value, with a unit where it is not that of its column: a material, 3 %, 22:00; days none: the shift
    is not worked."""
    valid_from: datetime.date | None
    """First day on which it holds; blank: ever since."""
    valid_until: datetime.date | None
    """Last day on which it holds; blank: for good."""
    at: str


@dataclass(frozen=True, slots=True)
class Build(Row):
    """A row of Builds: what is built, day by day."""

    TABLE: ClassVar[str] = "Builds"
    date: datetime.date
    """Day on which the shift starts; or a week, such as 2026-W11: its builds are split over the working days
    of the shift, without one of all shifts."""
    shift: str
    """Shift."""
    part: str
    """A part or an assembly."""
    quantity: int
    """Good parts to build."""
    start: float | None
    """Start of the shift on that day, where it differs: a half shift [s after midnight]."""
    end: float | None
    """Its end on that day, where it differs: overtime, a half shift [s after midnight]."""
    at: str


@dataclass(frozen=True, slots=True)
class StockLot(Row):
    """A row of Stock: what lies in store, lot by lot."""

    TABLE: ClassVar[str] = "Stock"
    material: str
    """Material."""
    component: str
    """A or B: a, b."""
    lot: str
    """Lot number."""
    quantity: float
    """What is left of the lot [m³]."""
    expiry: datetime.date
    """Last day it may be used, until 24:00; in a shift over midnight what is connected goes on being used,
    and a finding names the parts that would get it."""
    opened: datetime.date | None
    """Day its container was opened."""
    arrival: datetime.date | None
    """Day it arrives; blank: it is here."""
    item_number: str
    """Number it is bought under, in place of material and component."""
    unit: str
    """What the quantity is counted in: mL, L, kg, g, each or containers; blank: that of the header."""
    at: str


@dataclass(frozen=True, slots=True)
class OpenOrder(Row):
    """A row of Orders: what is ordered and has not come: in store from its arrival on."""

    TABLE: ClassVar[str] = "Orders"
    order: str
    """Order number."""
    material: str
    """Material."""
    component: str
    """A or B; blank if one-part: a, b."""
    quantity: float
    """What is to come [m³]."""
    arrival: datetime.date
    """Day it arrives."""
    lot: str
    """Lot number, where it is known."""
    expiry: datetime.date | None
    """Last day it may be used; blank: arrival and shelf life."""
    item_number: str
    """Number it is bought under, in place of material and component."""
    unit: str
    """What the quantity is counted in: mL, L, kg, g, each or containers; blank: that of the header."""
    at: str


@dataclass(frozen=True, slots=True)
class Standing(Row):
    """A row of Standing: what stands at stations, or opened in store, at a time: it is where `--as-of`
    begins; of one thing the latest row counts."""

    TABLE: ClassVar[str] = "Standing"
    what: str
    """A container that is connected, a hose, a mixer kept closed, parts half done, parts to be mated, parts
    between two stations of a route, an opened container in store: container, hose, mixer, half done, to be
    mated, between, in store."""
    date: datetime.date
    """Day on which it stood there."""
    time: float | None
    """Time of that day; blank: before its first shift [s after midnight]."""
    station: str
    """Station; of parts between two the one that comes next."""
    material: str
    """Material; blank: that of the station."""
    component: str
    """A or B; blank if one-part: a, b."""
    lot: str
    """Lot of a container."""
    left: float | None
    """What is in a container, its heel with it; in a hose, which is full where nothing is said of it [m³]."""
    opened: datetime.date | None
    """Day the container was opened; blank: as it was booked, else the date."""
    expiry: datetime.date | None
    """Last day it may be used; blank: that of its lot in Stock."""
    nozzle: int
    """Nozzle of a mixer, from 1."""
    part: str
    """Part in process."""
    numbers: str
    """Numbers of these parts: 5-8, 12; with the shift that began them, 5-8 of 2026-03-02 Early."""
    visits: int
    """Visits that half done parts have had."""
    before: str
    """Station that parts between two come from."""
    begun: float | None
    """When the mixer was put on, or the first material on these parts; after midnight the hours go on [s
    after midnight]."""
    due: float | None
    """When the next step is due; blank: half done parts may go on at once, parts to be mated are due as the
    day begins [s after midnight]."""
    latest: float | None
    """Until when they must be mated or the mixer may be used, in place of when it was begun [s after
    midnight]."""
    at: str


@dataclass(frozen=True, slots=True)
class Choice(Row):
    """A row of Choices: what may be chosen in place of what the plan has, for `dispense compare`."""

    TABLE: ClassVar[str] = "Choices"
    station: str
    """Station at which it is chosen; blank for a container."""
    material: str
    """Of a container: its material."""
    component: str | None
    """Of a container: A or B; blank if one-part: a, b."""
    option: str
    """Rows of one option are chosen together, such as bore, length and volume of a mixer; blank: the row by
    itself."""
    what: str
    """What is chosen; a shop temperature holds all day, a price goes with the container of its option:
    material, nozzle bore, nozzle length, mixer bore, mixer length, mixer volume, flow, speed, nozzles, at
    life limit, purge share, purge volume, refill, after run, shop temperature, record, container, heel,
    price."""
    value: str
    """Its value, with a unit where it is not that of its column: 1.6, 1/16 in, a material."""
    at: str


@dataclass(frozen=True, slots=True)
class Change(Row):
    """A row of Changes: what was changed in this plan and why: `dispense learn` adds a row for each value it
    takes over."""

    TABLE: ClassVar[str] = "Changes"
    date: datetime.date
    """Day of the change."""
    table: str
    """Table that was changed."""
    row: str
    """Its row, by the names that tell it from others."""
    column: str
    """Its column."""
    old: float | None
    """Value before; blank: there was none."""
    new: float
    """Value since."""
    unit: str
    """Unit of both."""
    reason: str
    """Why, with the uncertainty of what was learned."""
    bookings: str
    """Numbers of the bookings of the journal that it rests on."""
    by: str
    """Who decided it."""
    at: str


class Settings(TypedDict):
    """What holds for the whole plan: each row of Settings by its name."""

    plant: str
    """Name of the plant, printed on every sheet."""
    line: str
    """Name of the line, printed on every sheet."""
    prepared_by: str
    """Who answers for the plan, printed on every sheet."""
    currency: str
    """What prices are counted in."""
    language: str
    """Language of the printed sheets: a code such as de, or a word list beside the plan, fr.csv."""
    length_unit: str
    """Unit of each length on the printed sheets: mm, in."""
    volume_unit: str
    """Unit of each volume on the printed sheets: mL, fl oz, in³, gal."""
    mass_unit: str
    """Unit of each mass on the printed sheets: g, oz, lb."""
    temperature_unit: str
    """Unit of each temperature on the printed sheets: °C, °F."""
    pressure_unit: str
    """Unit of each pressure on the printed sheets: bar, psi, MPa."""
    country: str
    """Country whose public holidays are no working days, for orders and for builds of a week: DE, with a
    region DE-BY; blank: none."""
    upload_columns: str
    """Columns of a file of orders for another system, such as Article=item, quantity, unit, due date."""
    service_level: float
    """Share of cycles without a shortage that stock is planned for."""
    order_cost: float
    """Cost of placing one order."""
    holding_rate: float
    """Yearly cost of holding stock as a share of its price."""
    demand_spread: float
    """Standard deviation of a day's builds as a share of them."""
    temperature_spread: float
    """Standard deviation of a day's shop temperature [K]."""


__all__ = [
    "Assembly",
    "Bead",
    "Break",
    "Build",
    "Change",
    "Choice",
    "Component",
    "Holiday",
    "Insert",
    "Joint",
    "KineticsConstant",
    "Material",
    "OpenOrder",
    "Oven",
    "Part",
    "PathPoint",
    "Pot",
    "ProfilePoint",
    "RouteStep",
    "Row",
    "Settings",
    "Shift",
    "Shot",
    "Standing",
    "Station",
    "StockLot",
    "TemperaturePoint",
    "ValidValue",
]
