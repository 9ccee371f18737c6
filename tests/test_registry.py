"""Every workbook function, through one walk of the registry.

Valid arguments are each function's own first example, whose result comes from outside. What a cell
may hold beside them (columns, tables, blanks, texts with units, errors) is tried on every argument.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from handbook import check_published

import dispense
from dispense.base.errors import InputError
from dispense.base.fields import CellError
from dispense.base.units import AS_GIVEN, SHOP_UNITS, UnitError, from_si, read_quantity, registry, unit_factor
from dispense.handbook.catalogue import CATEGORIES, FUNCTIONS, evaluate, lookup

# The public interface: a workbook written today still computes in five years. Functions may be
# added, and optional arguments at the end.
PUBLISHED = (
    "BEAD_AREA(section, width, [height], [contact_angle])",
    "BEAD_VOLUME(length, section, width, [height], [contact_angle], [count=1])",
    "BEAD_WIDTH(section, area, [aspect])",
    "POLYGON_AREA(points)",
    "PATH_LENGTH(points, [closed=FALSE])",
    "ARC_LENGTH(chord, bulge)",
    "STITCH_LENGTH(length, run, gap)",
    "DOT_VOLUME(diameter, height)",
    "SPREAD_WIDTH(area, gap, [edge=square])",
    "SQUEEZE_OUT(length, area, gap, flange_width)",
    "BEAD_FLOW(area, speed)",
    "CAVITY_VOLUME(shape, level, length, [width], [draft=0])",
    "LEVEL_VOLUME(levels, areas, level)",
    "CELL_SIZE(designation)",
    "CELL_DISPLACEMENT(count, diameter, immersed)",
    "HEX_VOID(diameter, pitch)",
    "SQUARE_VOID(diameter, pitch)",
    "POT_FILL(cavity, displaced, [unfilled=0], [extra=0], [shrinkage=0])",
    "FILL_LEVEL(volume, shape, length, [width], [draft=0], [count=0], [diameter],"
    " [cell_height], [cell_base=0])",
    "MIX_SPLIT(volume, ratio_a, ratio_b, density_a, density_b, [basis=volume])",
    "MASS_RATIO(ratio_a, ratio_b, density_a, density_b)",
    "VOLUME_RATIO(ratio_a, ratio_b, density_a, density_b)",
    "MIX_DENSITY(ratio_a, ratio_b, density_a, density_b, [basis=volume])",
    "HARDENER_PHR(epoxide_weight, amine_weight, [stoichiometry=1])",
    "BLEND_EPOXIDE_WEIGHT(masses, epoxide_weights)",
    "RATIO_ERROR(mass_a, mass_b, ratio_a, ratio_b, [density_a], [density_b], [basis=volume])",
    "FOAM_DENSITY(resin_density, sphere_density, sphere_mass_fraction, [void=0])",
    "NEEDLE_BORE(gauge, [wall=regular])",
    "VISCOSITY(temperature, reference_viscosity, reference_temperature, activation_energy)",
    "NOZZLE_PRESSURE(flow, bore, length, consistency, [index=1], [yield_stress=0])",
    "NOZZLE_FLOW(pressure, bore, length, consistency, [index=1], [yield_stress=0])",
    "TAPER_PRESSURE(flow, bore_in, bore_out, length, consistency, [index=1])",
    "WALL_SHEAR_RATE(flow, bore, [index=1])",
    "MIXER_PRESSURE(flow, bore, length, viscosity, [factor=6.9])",
    "DWELL_TIME(volume, flow, [void=1])",
    "SQUEEZE_TIME(force, radius, gap_start, gap_end, consistency, [index=1])",
    "BEAD_SQUEEZE_TIME(line_force, area, gap_start, gap_end, viscosity)",
    "SQUEEZE_LIMIT(force, radius, yield_stress)",
    "PASTE_GAP(yield_stress, pressure)",
    "INTERFACE_RESISTANCE(gap, conductivity, area, [contact=0])",
    "ACTIVATION_ENERGY(temperatures, times)",
    "HALVING_STEP(activation_energy, temperature)",
    "RATE_FACTOR(temperature, reference_temperature, activation_energy)",
    "POT_LIFE(temperature, reference_life, reference_temperature, [activation_energy], [halving_step=10])",
    "LIFE_USED(times, temperatures, reference_life, reference_temperature,"
    " [activation_energy], [halving_step=10])",
    "CURE_TIME(temperature, reference_time, reference_temperature, activation_energy)",
    "EQUIVALENT_TIME(times, temperatures, reference_temperature, activation_energy)",
    "CURE_DEGREE(times, temperatures, kinetics, [start=0])",
    "TIME_TO_CURE(degree, times, temperatures, kinetics, [start=0])",
    "GLASS_POINT(degree, uncured, cured, lambda)",
    "GEL_DEGREE(functionality_a, functionality_b, [ratio=1])",
    "PART_TEMPERATURE(times, air_temperatures, time_constant, [start])",
    "ADIABATIC_RISE(heat, specific_heat, [resin_fraction=1])",
    "PEAK_TEMPERATURE(depth, start, surroundings, kinetics, heat, density, specific_heat,"
    " conductivity, [film=10], [base=insulated])",
    "POUR_DEPTH(limit, start, surroundings, kinetics, heat, density, specific_heat,"
    " conductivity, [film=10], [base=insulated])",
    "MOISTURE_DEPTH(time, coefficient)",
    "MOISTURE_TIME(depth, coefficient)",
    "UV_DOSE(irradiance, time)",
    "UV_TIME(dose, irradiance)",
    "TAKT(available, demand)",
    "DISPENSE_TIME(length, speed, [starts=1], [start_time=0], [travel=0], [travel_speed])",
    "NOZZLES_NEEDED(work, takt, [uptime=1])",
    "CURE_POSITIONS(cure_time, takt)",
    "OVEN_LENGTH(cure_time, takt, pitch)",
    "SHIFT_USE(parts, shot, [scrap=0], [purges=0], [purge_volume=0], [start_volume=0], [check_shots=0])",
    "CONTAINERS(volume, container, [heel=0])",
    "SAFETY_STOCK(daily_sd, lead_time, [daily_use=0], [lead_sd=0], [service=0.95])",
    "REORDER_POINT(daily_use, lead_time, [daily_sd=0], [lead_sd=0], [service=0.95])",
    "SHOT_CAPABILITY(weights, low, high)",
    "CONTROL_LIMITS(subgroups)",
    "TOLERANCE_RSS(parts)",
    "LAST_PROBLEMS([count=20])",
    "MOVING_RANGE_LIMITS(values)",
    "EWMA_LIMITS(values, target, sd, [weight=0.3], [width=3])",
    "CUSUM(values, target, slack, decision)",
    "CAPABILITY_INTERVAL(weights, low, high, [confidence=0.95])",
    "TOLERANCE_FACTOR(count, [coverage=0.95], [confidence=0.95], [sides=2])",
    "REYNOLDS_NUMBER(flow, bore, density, consistency, [index=1], [yield_stress=0])",
    "ARRAY_CONDUCTIVITY(arrangement, fraction, ratio)",
    "PACK_PEAK(arrangement, along, rows, diameter, height, pitch, margin, depth, start, surroundings,"
    " kinetics, heat, density, specific_heat, conductivity, [film=10], [wall=2], [wall_conductivity=0.2])",
    "VAPOUR_DENSITY(temperature, humidity)",
    "MOISTURE_FACTOR(temperature, humidity, [reference_temperature=23], [reference_humidity=0.5],"
    " [activation_energy=0])",
    "CAPILLARY_TIME(distance, size, shape, surface_tension, contact_angle, viscosity, [density=0],"
    " [slope=0])",
    "CAPILLARY_HEIGHT(size, shape, surface_tension, contact_angle, density)",
    "CELL_PERMEABILITY(diameter, pitch, [layout=hexagonal])",
    "CELL_FILL_TIME(depth, diameter, pitch, viscosity, density, [layout=hexagonal], [way=down],"
    " [head=0], [surface_tension=0], [contact_angle=0])",
    "VOID_GROWTH(diameter, pressure_before, pressure_after, [surface_tension=0])",
    "BUBBLE_SPEED(diameter, density, viscosity, [face=free], [yield_stress=0])",
    "BUBBLE_SIZE(depth, time, density, viscosity, [face=free])",
    "SETTLING_EXPONENT(reynolds)",
    "SETTLING_SPEED(diameter, particle_density, liquid_density, viscosity, [fraction=0], [yield_stress=0])",
    "STANDING_DENSITY(time, height, speed, fraction, particle_density, liquid_density)",
    "STIR_TIME(height, speed, fraction, particle_density, liquid_density, tolerance)",
    "SAG_HEIGHT(yield_stress, density, [slope=90])",
    "SAG_STRESS(height, density, [slope=90])",
    "SAG_SPEED(height, density, consistency, [index=1], [yield_stress=0], [slope=90])",
    "HOSE_COMPLIANCE(bore, length, wall, modulus, [bulk_modulus])",
    "HOSE_START(time, flow, compliance, bore, length, viscosity)",
    "HOSE_START_TIME(compliance, bore, length, viscosity, [share=0.95])",
    "DRIP_VOLUME(compliance, pressure)",
    "RESIDENCE_SHARE(age, [index=1])",
    "RESIDENCE_AGE(share, [index=1])",
    "CRITICAL_REYNOLDS([index=1])",
    "PLATE_FACTOR(length, width)",
    "PLATE_SQUEEZE_TIME(force, length, width, gap_start, gap_end, consistency, [index=1])",
    "PLATE_SQUEEZE_LIMIT(force, length, width, yield_stress)",
    "BEADS_TOUCH_GAP(area, pitch, [edge=square])",
    "BEADS_COVER_GAP(area, count, width)",
    "MERGED_BEADS_TIME(line_force, area, count, pitch, gap_start, gap_end, viscosity)",
    "CONTACT_AIR(gap, length, [contacts=1])",
    "LANE_AIR(area, pitch, gap, length, [lanes=1])",
    "DOT_AIR(radius, gap, [layout=triangle])",
    "PATTERN_COVER(points, length, width, volume, gap_start, gap_end)",
    "PATTERN_FILL(points, length, width, volume, gap_start, [share=0.99])",
    "PATTERN_TIME(force, points, length, width, volume, gap_start, gap_end, consistency, [index=1])",
    "AIR_LEFT(volume, overpressure, [ambient=1.01325])",
    "CURING_VISCOSITY(degree, temperature, thickening)",
    "AGED_VISCOSITY(times, temperatures, kinetics, thickening, [start=0])",
    "VISCOSITY_TIME(viscosity, times, temperatures, kinetics, thickening, [start=0])",
    "LEAST_VISCOSITY(times, temperatures, kinetics, thickening, [start=0])",
    "MIXER_VISCOSITY(residence, temperature, kinetics, thickening, [standing=0])",
    "AGED_PRESSURE(age, temperature, flow, bore, length, kinetics, thickening, [factor=1], [ind"
    "ex=1], [yield_stress=0])",
    "AGED_FLOW(age, temperature, pressure, bore, length, kinetics, thickening, [factor=1], [ind"
    "ex=1], [yield_stress=0])",
    "PRESSURE_LIFE(pressure, temperature, flow, bore, length, kinetics, thickening, [factor=1],"
    " [index=1], [yield_stress=0])",
    "FLOW_LIFE(share, temperature, kinetics, thickening, [index=1])",
    "SHOT_DRIFT(age, temperature, kinetics, thickening, [index=1])",
    "THICKENING_FIT(times, temperatures, viscosities, kinetics, [gel])",
    "MASS_POT_LIFE(mass, temperature, degree, kinetics, heat, specific_heat, density, conductiv"
    "ity, [film=10])",
    "LAST_NOTES([count=20])",
)

# For each shop unit another one and how many of it make one: figures of the SI and of NIST SP 811
OTHER = {
    "1/K": ("1/delta_degF", 5 / 9),
    "%": ("permille", 10.0),
    "mm": ("m", 1e-3),
    "m": ("mm", 1e3),
    "mm²": ("cm**2", 1e-2),
    "mL": ("L", 1e-3),
    "L": ("mL", 1e3),
    "g": ("kg", 1e-3),
    "kg": ("g", 1e3),
    "g/mL": ("kg/m**3", 1e3),
    "g/eq": ("kg/mol", 1e-3),
    "g/m³": ("kg/m**3", 1e-3),
    "deg": ("rad", math.pi / 180),
    "s": ("ms", 1e3),
    "min": ("s", 60.0),
    "h": ("min", 60.0),
    "d": ("h", 24.0),
    "1/s": ("1/min", 60.0),
    "1/min": ("1/h", 60.0),
    "1/h": ("1/d", 24.0),
    "mm/s": ("m/s", 1e-3),
    "m/min": ("mm/min", 1e3),
    "mL/s": ("L/min", 0.06),
    "mL/bar": ("L/MPa", 1e-2),
    "mN/m": ("N/m", 1e-3),
    "N": ("kN", 1e-3),
    "N/mm": ("N/m", 1e3),
    "Pa": ("kPa", 1e-3),
    "kPa": ("Pa", 1e3),
    "bar": ("MPa", 0.1),
    "Pa·s": ("cP", 1e3),
    "Pa·sⁿ": ("mPa·s", 1e3),
    "K": ("delta_degF", 1.8),
    "kJ/mol": ("J/mol", 1e3),
    "J/g": ("kJ/kg", 1.0),
    "J/(g·K)": ("J/(kg·K)", 1e3),
    "W/(m·K)": ("mW/(m·K)", 1e3),
    "W/(m²·K)": ("mW/(cm**2·K)", 0.1),
    "K/W": ("K/kW", 1e3),
    "K·mm²/W": ("K·cm**2/W", 1e-2),
    "W/m³": ("kW/m**3", 1e-3),
    "mm/√h": ("m/hour**0.5", 1e-3),
    "mW/cm²": ("W/m**2", 10.0),
    "J/cm²": ("J/m**2", 1e4),
    "": ("%", 100.0),
}

# Seconds for each call: the tests of what a cell may hold put a sum in place of their models.
HEAVY = (
    *("PEAK_TEMPERATURE", "POUR_DEPTH", "TIME_TO_CURE", "PACK_PEAK"),
    *("PATTERN_COVER", "PATTERN_FILL", "PATTERN_TIME"),
)

NAMES = [name for name, entry in FUNCTIONS.items() if entry.examples]
EXAMPLES = [(name, place) for name in NAMES for place in range(len(FUNCTIONS[name].examples))]
NUMERIC = {"number", "whole", "vector", "matrix", "points"}


@pytest.fixture(autouse=True)
def light_kernels(request, monkeypatch):
    """A sum of the arguments for the heavy models, but for the tests of their examples."""
    if request.node.name.startswith(("test_example", "test_declaration", "test_published")):
        return
    for name in HEAVY:
        if name in FUNCTIONS:
            entry = FUNCTIONS[name]
            monkeypatch.setitem(FUNCTIONS, name, dataclasses.replace(entry, kernel=summing(entry)))


def summing(entry):
    """A kernel that adds up its numbers."""
    ranges = {item.name for item in entry.arguments if item.is_whole_range}

    def kernel(**given):
        total = sum(
            np.nansum(value) if name in ranges else value
            for name, value in given.items()
            if value is not None and not isinstance(value, str) and name != "labels"
        )
        return total if len(entry.returns) == 1 else [total] * len(entry.returns)

    return kernel


def valid(name):
    """The arguments of the first example, one for each argument of the function."""
    entry = FUNCTIONS[name]
    given = list(entry.examples[0].arguments)
    return given + [None] * (len(entry.arguments) - len(given))


def cells(name, arguments):
    """The cells a sheet shows, as one flat list."""
    return [cell for row in evaluate(name, arguments).table() for cell in row]


def same(found, expected, rel=1e-12):
    """Whether two lists of cells are the same, numbers to a relative difference."""
    assert len(found) == len(expected)
    for one, two in zip(found, expected, strict=True):
        if isinstance(two, str) or two is None or isinstance(one, str):
            assert one == two
        else:
            assert one == pytest.approx(two, rel=rel, abs=1e-300)
    return True


def iterated(name):
    """Places of the arguments that a range walks through, given in the example."""
    entry = FUNCTIONS[name]
    if entry.whole or entry.table:
        return []
    return [
        place
        for place, (item, value) in enumerate(zip(entry.arguments, valid(name), strict=True))
        if not item.is_whole_range and value is not None
    ]


def changed(name, place, value):
    arguments = valid(name)
    arguments[place] = value
    return arguments


def places(wanted, names=None):
    """One test case for each argument of each function for which `wanted` holds."""
    return [
        pytest.param(name, place, id=f"{name}-{item.name}")
        for name in (NAMES if names is None else names)
        for place, item in enumerate(FUNCTIONS[name].arguments)
        if wanted(item)
    ]


def converted(item, value):
    """The value as a text in another unit; lists and blocks cell by cell."""
    if isinstance(value, list | tuple):
        return [converted(item, part) for part in value]
    if value is None or isinstance(value, str):
        return value
    if item.unit == "°C":
        return f"{value + 273.15!r} kelvin"
    unit, factor = other_unit(item.unit)
    return f"{value * factor!r} {unit}"


def other_unit(symbol):
    """Another unit of the same kind, and how many of it make one."""
    if symbol not in OTHER:
        pytest.fail(f"the unit {symbol} has no other unit to try it with: add a row to OTHER in this file")
    return OTHER[symbol]


# ------------------------------------------------------------------------------------ the declarations


def test_public_interface():
    """Names, order of arguments and defaults are the published ones."""
    for signature in PUBLISHED:
        found = lookup(signature.split("(")[0]).signature
        assert found[: len(signature) - 1] == signature[:-1], found
        rest = found[len(signature) - 1 :]
        assert rest == ")" or all(part.startswith("[") for part in rest[2:-1].split(", "))
    names = [signature.split("(")[0] for signature in PUBLISHED]
    assert len(names) == len(set(names))
    unpinned = sorted(set(FUNCTIONS) - set(names))
    assert not unpinned, f"add the signature of {', '.join(unpinned)} to PUBLISHED"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_declaration_is_complete(name):
    entry = FUNCTIONS[name]
    assert entry.category in CATEGORIES
    assert entry.summary.endswith(".") and len(entry.summary) > 15
    assert entry.source and entry.valid
    if not entry.table:
        assert entry.examples, "no example"
        reads_a_table = any(item.kind == "text" for item in entry.arguments)
        assert entry.equation or reads_a_table
    for example in entry.examples:
        assert len(example.source) > 2 and 0.0 <= example.tolerance <= 0.05
        assert len(example.arguments) <= len(entry.arguments)
    seen_optional = False
    for item in entry.arguments:
        assert item.help and item.name == item.name.lower()
        assert item.unit in SHOP_UNITS or item.unit == AS_GIVEN
        assert item.is_required <= (not seen_optional), "a required argument after an optional one"
        seen_optional |= not item.is_required
        if not item.is_required and item.default is not None and item.kind in {"number", "whole"}:
            assert item.within(item.default)
    for item in entry.returns:
        assert item.name and (item.unit in SHOP_UNITS or item.unit == AS_GIVEN)
    document = entry.kernel.__doc__
    assert entry.summary in document and entry.source in document
    assert all(item.name in document for item in entry.arguments)


@pytest.mark.parametrize(("name", "place"), EXAMPLES)
def test_example(name, place):
    """Each example gives the result of its outside source, in a cell and in Python."""
    example = FUNCTIONS[name].examples[place]
    expected = np.ravel(np.asarray(example.result, dtype=float)).tolist()
    found = cells(name, example.arguments)
    assert found == pytest.approx(expected, rel=example.tolerance, abs=1e-12)
    python = np.ravel(np.asarray(dispense.call(name, *example.arguments), dtype=float)).tolist()
    assert python == pytest.approx(expected, rel=example.tolerance, abs=1e-12)


@pytest.mark.parametrize(("name", "place"), [case for case in EXAMPLES if FUNCTIONS[case[0]].formula])
def test_published_formula(name, place):
    """The closed form in a spreadsheet's own functions, run by a spreadsheet engine."""
    check_published(name, FUNCTIONS[name].examples[place].arguments)


@pytest.mark.parametrize("name", [name for name in NAMES if FUNCTIONS[name].formula])
def test_published_formula_without_options(name):
    """The closed form with every optional argument left out."""
    entry = FUNCTIONS[name]
    given = tuple(valid(name)[: sum(item.is_required for item in entry.arguments)])
    if evaluate(name, given).codes is None:
        check_published(name, given)


def ends_of(item):
    """Numbers on the limits of an argument (or hardly inside one that is excluded) and just beyond."""
    near = 1e-9
    for limit, sign, is_inside in (
        (item.at_least, -1.0, True),
        (item.above, -1.0, False),
        (item.at_most, 1.0, True),
        (item.below, 1.0, False),
    ):
        if limit is None:
            continue
        step = 1.0 if item.kind == "whole" else near * max(abs(limit), 1.0)
        yield (limit if is_inside else limit - sign * step), limit + sign * step


LIMITS = [
    pytest.param(name, place, inside, beyond, id=f"{name}-{item.name}-{beyond:g}")
    for name in NAMES
    if FUNCTIONS[name].formula
    for place, item in enumerate(FUNCTIONS[name].arguments)
    if item.kind in {"number", "whole"}
    for inside, beyond in ends_of(item)
]


@pytest.mark.parametrize(("name", "place", "inside", "beyond"), LIMITS)
def test_published_formula_at_a_limit(name, place, inside, beyond):
    """On each limit of an argument kernel and closed form agree; just beyond it there is no answer."""
    arguments = tuple(changed(name, place, inside))
    found = evaluate(name, arguments)
    if found.codes is None:
        check_published(name, arguments)
    else:  # no answer on the limit itself: then the kernel says why
        assert found.codes == "#NUM!" and found.problems
    beyond_it = evaluate(name, changed(name, place, beyond))
    assert (
        beyond_it.codes == "#NUM!"
        and beyond_it.problems[0].argument == FUNCTIONS[name].arguments[place].label
    )


# --------------------------------------------------------------------------------- columns and tables


@pytest.mark.parametrize("name", [name for name in NAMES if iterated(name)])
def test_column(name):
    """A column of one argument gives the scalar answer in every row."""
    place = iterated(name)[0]
    rows = evaluate(name, changed(name, place, [[valid(name)[place]]] * 3)).table()
    assert len(rows) == 3
    for row in rows:
        same(row, cells(name, valid(name)))


@pytest.mark.parametrize("name", [name for name in NAMES if iterated(name)])
def test_row(name):
    """A row spills to the right; several results then go downwards."""
    place = iterated(name)[0]
    rows = evaluate(name, changed(name, place, [[valid(name)[place]] * 3])).table()
    assert [len(row) for row in rows] == [3] * len(FUNCTIONS[name].returns)
    for column in zip(*rows, strict=True):
        same(list(column), cells(name, valid(name)))


@pytest.mark.parametrize("name", [name for name in NAMES if len(iterated(name)) > 1])
def test_row_against_column(name):
    """A row against a column makes a table; several results have no place in one."""
    first, second = iterated(name)[:2]
    arguments = valid(name)
    arguments[first], arguments[second] = [[arguments[first]]] * 2, [[arguments[second]] * 3]
    rows = evaluate(name, arguments).table()
    if len(FUNCTIONS[name].returns) > 1:
        assert rows == [["#VALUE!"]]
        return
    assert len(rows) == 2
    for row in rows:
        same(row, cells(name, valid(name)) * 3)


@pytest.mark.parametrize("name", [name for name in NAMES if len(iterated(name)) > 1])
def test_sizes_that_do_not_fit(name):
    first, second = iterated(name)[:2]
    arguments = valid(name)
    arguments[first], arguments[second] = [[arguments[first]]] * 2, [[arguments[second]]] * 3
    result = evaluate(name, arguments)
    assert result.codes == "#VALUE!" and "do not fit" in str(result.problems[0])


@pytest.mark.parametrize("name", NAMES)
def test_many_rows_are_one_kernel_call(name):
    """10,000 rows: one evaluation of the kernel, and the answers of single cells."""
    entry = FUNCTIONS[name]
    arguments = valid(name)
    rows = 10_000
    varied = [place for place in iterated(name) if entry.arguments[place].kind == "number"]
    for place in iterated(name):
        arguments[place] = [[arguments[place]]] * rows
    for place in varied:
        # each argument at its own pace, all by less than a thousandth
        pace = 1.0 + np.arange(rows) % (7 + place) * 1e-4
        arguments[place] = (np.ravel(arguments[place]).astype(float) * pace)[:, None]
    calls = []

    def counted(*given, **named):
        calls.append(1)
        return entry.kernel(*given, **named)

    result = evaluate(dataclasses.replace(entry, kernel=counted), arguments)
    assert len(calls) == 1
    if not iterated(name):
        return
    table = result.table()
    assert len(table) == rows
    for row in (0, 1, 2, 3, 5, 8, 13, 4321, 9999):
        single = [
            value[row][0] if place in iterated(name) else value for place, value in enumerate(arguments)
        ]
        same(table[row], cells(name, single))
        if all(isinstance(cell, float) for cell in table[row]):
            python = dispense.call(
                name, *(float(value) if isinstance(value, np.floating) else value for value in single)
            )
            same(table[row], np.ravel(python).tolist())


@pytest.mark.parametrize("name", [name for name in NAMES if iterated(name)])
def test_numpy_and_pandas(name):
    """Arrays and columns of a data frame are ranges as well."""
    import pandas as pd

    place = iterated(name)[0]
    column = [valid(name)[place]] * 3
    expected = cells(name, valid(name))
    for given in (np.array(column), pd.Series(column), tuple(column)):
        for row in evaluate(name, changed(name, place, given)).table():
            same(row, expected)


# --------------------------------------------------------------------------------------------- blanks


@pytest.mark.parametrize(("name", "place"), places(lambda item: not item.is_required))
@pytest.mark.parametrize("blank", [None, ""])
def test_blank_optional(name, place, blank):
    """A blank optional argument takes its default; without a default it is as if left out."""
    item = FUNCTIONS[name].arguments[place]
    found = cells(name, changed(name, place, blank))
    if item.default is not None:
        same(found, cells(name, changed(name, place, item.default)))
    trailing = valid(name)[:place]
    same(cells(name, [*trailing, blank]), cells(name, trailing))
    if not item.is_whole_range and not FUNCTIONS[name].whole:
        column = evaluate(name, changed(name, place, [[blank], [None]])).table()
        for row in column:
            same(row, found if len(found) == len(row) else found * len(row))


@pytest.mark.parametrize(("name", "place"), places(lambda item: item.is_required))
@pytest.mark.parametrize("blank", [None, "", "  "])
def test_blank_required(name, place, blank):
    result = evaluate(name, changed(name, place, blank))
    expected = "#N/A" if blank == "  " and FUNCTIONS[name].arguments[place].kind == "choice" else None
    assert result.codes in ({"#VALUE!", expected} if expected else {"#VALUE!"})
    item = FUNCTIONS[name].arguments[place]
    assert any(problem.argument == item.label for problem in result.problems)
    with pytest.raises(InputError, match=item.label):
        dispense.call(name, *changed(name, place, blank))


@pytest.mark.parametrize("name", [name for name in NAMES if iterated(name)])
def test_blank_row(name):
    """A blank row of an iterated required argument gives a blank result, not an error."""
    for place in iterated(name):
        if not FUNCTIONS[name].arguments[place].is_required:
            continue
        value = valid(name)[place]
        rows = evaluate(name, changed(name, place, [[value], [None], [""]])).table()
        same(rows[0], cells(name, valid(name)))
        assert set(rows[1]) == set(rows[2]) == {None}


# ---------------------------------------------------------------------------------------------- units


def has_unit(item):
    return item.kind in NUMERIC - {"whole"} and item.unit != AS_GIVEN


@pytest.mark.parametrize(("name", "place"), places(has_unit))
def test_text_with_another_unit(name, place):
    """The same quantity in another unit gives the same answer to 1e-12."""
    item = FUNCTIONS[name].arguments[place]
    value = valid(name)[place]
    if value is None:
        value = item.default if item.default is not None else 10.0
    plain = cells(name, changed(name, place, value))
    same(cells(name, changed(name, place, converted(item, value))), plain)
    text = str(value) if not isinstance(value, list | tuple) else None
    if text is not None:  # a number kept as text, with and without its own unit
        same(cells(name, changed(name, place, text)), plain)
        same(cells(name, changed(name, place, f" {text} {item.unit}")), plain)


@pytest.mark.parametrize(("name", "place"), places(lambda item: item.kind in NUMERIC))
@pytest.mark.parametrize("text", ["1 candela", "1 mm mm mm mm", "1 no_such_unit", "five", "1,5", "."])
def test_wrong_dimension(name, place, text):
    value = valid(name)[place]
    if isinstance(value, list | tuple):
        value = [list(row) if isinstance(row, list | tuple) else row for row in value]
        if isinstance(value[0], list):
            value[0][0] = text
        else:
            value[0] = text
        text = value
    result = evaluate(name, changed(name, place, text))
    assert result.codes == "#VALUE!"
    assert any(problem.argument == FUNCTIONS[name].arguments[place].label for problem in result.problems)


@pytest.mark.parametrize(
    ("name", "place"), places(lambda item: item.unit in {"°C", "K"} and item.kind == "number")
)
def test_temperature_is_not_a_difference(name, place):
    item = FUNCTIONS[name].arguments[place]
    wrong = "20 delta_degF" if item.unit == "°C" else "20 degC"
    assert evaluate(name, changed(name, place, wrong)).codes == "#VALUE!"
    right = "293.15 K" if item.unit == "°C" else "36 delta_degF"
    same(cells(name, changed(name, place, right)), cells(name, changed(name, place, 20)), 1e-11)


@pytest.mark.parametrize("symbol", SHOP_UNITS)
def test_shop_unit_agrees_with_pint(symbol):
    """Factor and offset against pint, and the printed symbol is read as itself."""
    shop = SHOP_UNITS[symbol]
    units = registry()
    if shop.is_temperature:
        for number in (-40.0, 0.0, 23.0, 180.0):
            kelvin = units.Quantity(number, shop.pint).to("kelvin").magnitude
            assert number * shop.factor + shop.offset == pytest.approx(kelvin, rel=1e-15)
    else:
        base = units.Quantity(1.0, shop.pint).to_base_units()
        si = units.Quantity(1.0, "gram").to_base_units().magnitude  # pint's base of mass is the kg
        assert si == pytest.approx(1e-3)
        assert shop.factor == pytest.approx(base.magnitude, rel=1e-14) and shop.offset == 0.0
        assert from_si(shop.factor, symbol) == pytest.approx(1.0, rel=1e-15)
    assert unit_factor(symbol, symbol) == (shop.factor, shop.offset)
    assert read_quantity(f"2.5 {symbol}", symbol) == 2.5 * shop.factor + shop.offset
    if symbol not in {"°C", ""}:
        text, many = other_unit(symbol)
        assert read_quantity(f"{many!r} {text}", symbol) == pytest.approx(shop.factor, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "unit", "si"),
    [
        # exact by definition (NIST SP 811): inch, pound, US gallon; the rest by arithmetic on them
        ("1 in", "mm", 0.0254),
        ("3/16 in", "mm", 0.0047625),
        ("1 1/2 in", "mm", 0.0381),
        ("-40 degF", "°C", 233.15),
        ("75 degF", "°C", 297.0388888888889),
        ("300 K", "°C", 300.0),
        ("18 delta_degF", "K", 10.0),
        ("10 K", "K", 10.0),
        ("3500 cP", "Pa·s", 3.5),
        ("1 lb", "g", 0.45359237),
        ("1 gal", "mL", 3.785411784e-3),
        ("14.5 psi", "bar", 99973.9807),
        ("1.5 h", "min", 5400.0),
        ("5 %", "", 0.05),
        ("5", "%", 0.05),
        ("5 %", "%", 0.05),
        ("90 deg", "deg", math.pi / 2),
        ("100 cc", "mL", 1e-4),
        ("1 g/cm³", "g/mL", 1000.0),
        ("1e-3 m", "mm", 1e-3),
        ("+2 mm", "mm", 2e-3),
        (".5 mm", "mm", 5e-4),
    ],
)
def test_texts_of_the_shop(text, unit, si):
    assert read_quantity(text, unit) == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("1 mm", "g"),
        ("20 K", "mm"),
        ("20 degC", "K"),
        ("20 delta_degC", "°C"),
        ("5 deg", ""),
        ("5 %", "deg"),
        ("1e999", "mm"),
        ("", "mm"),
        ("1,200", "mm"),
        ("1/0 in", "mm"),
        ("mm", "mm"),
        ("5 mm", AS_GIVEN),
        ("1 2 3 mm", "mm"),
        ("__import__('os')", "mm"),
        ("2 **9**9**9", "mm"),
    ],
)
def test_texts_that_are_refused(text, unit):
    with pytest.raises(UnitError):
        read_quantity(text, unit)


# --------------------------------------------------------------------------- impossible and wrong cells


@pytest.mark.parametrize(("name", "place"), places(lambda item: item.kind in {"number", "whole"}))
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_not_a_number(name, place, value):
    assert evaluate(name, changed(name, place, value)).codes == "#NUM!"
    with pytest.raises(InputError):
        dispense.call(name, *changed(name, place, value))
    entry = FUNCTIONS[name]
    if not entry.whole and not entry.table:
        good = valid(name)[place]
        default = entry.arguments[place].default
        good = next(one for one in (good, default, 10.0) if one is not None)
        rows = evaluate(name, changed(name, place, [[good], [value]])).table()
        assert set(rows[1]) == {"#NUM!"}
        same(rows[0], cells(name, changed(name, place, good)))


@pytest.mark.parametrize(
    ("name", "place"),
    places(
        lambda item: (
            item.kind in {"number", "whole"} and (item.above is not None or item.at_least is not None)
        )
    ),
)
def test_below_its_limit(name, place):
    item = FUNCTIONS[name].arguments[place]
    low = item.above if item.above is not None else item.at_least - 1.0
    result = evaluate(name, changed(name, place, low))
    assert result.codes == "#NUM!"
    text = str(result.problems[0])
    assert text.startswith(name) and item.label in text and item.allowed() in text


@pytest.mark.parametrize(("name", "place"), places(lambda item: True))
@pytest.mark.parametrize("code", ["#DIV/0!", "#N/A", "#REF!"])
def test_error_cell_comes_out_as_it_is(name, place, code):
    """An error in a cell is never hidden and never changed."""
    item = FUNCTIONS[name].arguments[place]
    value = valid(name)[place]
    assert evaluate(name, changed(name, place, CellError(code))).codes == code
    entry = FUNCTIONS[name]
    if item.is_whole_range:
        cells_in = [list(row) if isinstance(row, list | tuple) else row for row in value]
        if isinstance(cells_in[0], list):
            cells_in[0][0] = code
        else:
            cells_in[0] = code
        assert evaluate(name, changed(name, place, cells_in)).codes == code
    elif not entry.whole and not entry.table and value is not None:
        rows = evaluate(name, changed(name, place, [[value], [code], [CellError(code)]])).table()
        same(rows[0], cells(name, valid(name)))
        assert set(rows[1]) == set(rows[2]) == {code}
        assert all(isinstance(cell, CellError) for cell in rows[1] + rows[2])


@pytest.mark.parametrize(("name", "place"), places(lambda item: item.kind == "choice"))
def test_name_that_is_not_listed(name, place):
    result = evaluate(name, changed(name, place, "no such name"))
    assert result.codes == "#N/A"
    first = FUNCTIONS[name].arguments[place].choices[0]
    assert first in str(result.problems[0])
    value = valid(name)[place]
    if value is not None:  # capitals and spaces around a name do not matter
        same(cells(name, changed(name, place, f" {value.upper()} ")), cells(name, valid(name)))


ODD = [
    None,
    "",
    " ",
    math.nan,
    math.inf,
    -math.inf,
    True,
    False,
    "abc",
    "1e400",
    "5 furlong",
    -1,
    0,
    1e308,
    -1e308,
    5e-324,
    "#N/A",
    CellError("#NUM!"),
    "−5",
    "0x10",
    "1_000",
    [],
    [[]],
    [[1.0, 2.0], [3.0, 4.0]],
    [1.0, None, "x"],
    [None],
    [math.nan, 1.0],
    [["#REF!"]],
    (1, 2, 3),
    [[1, 2], [3]],
    np.array([]),
    np.array([True, False]),
    np.float32(1.0),
    np.int64(3),
    object(),
    {"a": 1},
    b"x",
    1 + 2j,
    "9" * 400,
    np.zeros((2, 2, 2)),
    "١",
]


@pytest.mark.parametrize(("name", "place"), places(lambda item: True, list(FUNCTIONS)))
def test_a_cell_never_shows_nonsense(name, place):
    """Whatever an argument holds: numbers, texts, blanks where blank went in, or an error."""
    for odd in ODD:
        arguments = changed(name, place, odd) if FUNCTIONS[name].examples else [odd]
        result = evaluate(name, arguments)
        blank_row = isinstance(odd, list) and any(cell is None for cell in odd)
        rows = result.table()
        assert rows and all(rows)
        assert len({len(row) for row in rows}) == 1
        for cell in (cell for row in rows for cell in row):
            if cell is None:
                assert blank_row, odd
            elif isinstance(cell, float):
                assert math.isfinite(cell), odd
            else:
                assert isinstance(cell, int | str), odd
                assert FUNCTIONS[name].table or not isinstance(cell, str) or cell.startswith("#")
        failed = any(isinstance(cell, CellError) for row in rows for cell in row)
        if failed and len(FUNCTIONS[name].returns) == 1:
            assert result.problems, f"no reason for {odd!r}"


# --------------------------------------------------------------------------------- reasons, and Python


def test_last_problems():
    for value in (-1, -2, -3):
        evaluate("BEAD_FLOW", (value, 100))
    rows = evaluate("LAST_PROBLEMS", (2,)).table()
    assert [row[:3] for row in rows] == [["BEAD_FLOW", "area", "-3"], ["BEAD_FLOW", "area", "-2"]]
    assert lookup("BEAD_FLOW").arguments[0].allowed() in rows[0][3]
    with pytest.raises(InputError) as caught:
        dispense.call("BEAD_FLOW", "5 g", 100)
    newest = evaluate("LAST_PROBLEMS", ()).table()[0]
    assert newest[0] == "BEAD_FLOW" and newest[2] == '"5 g"'
    assert newest[1] in str(caught.value) and "5 g" in str(caught.value)
    assert evaluate("LAST_PROBLEMS", (0,)).table() == [["#NUM!"]]


def test_all_problems_of_a_call_together():
    result = evaluate("BEAD_VOLUME", (-1, "oval", "3 g"))
    assert {problem.argument for problem in result.problems} == {"length", "section", "width"}
    with pytest.raises(InputError) as caught:
        dispense.call("BEAD_VOLUME", -1, "oval", "3 g")
    for word in ("length", "section", "width", "-1", "oval", "3 g", "above 0 mm"):
        assert word in str(caught.value)


@pytest.mark.parametrize("name", NAMES)
def test_call_by_name_of_argument(name):
    entry = FUNCTIONS[name]
    given = {
        item.name: value
        for item, value in zip(entry.arguments, valid(name), strict=True)
        if value is not None
    }
    one, two = dispense.call(name, **given), dispense.call(name.lower(), *valid(name))
    same(np.ravel(one).tolist(), np.ravel(two).tolist())
    assert not given or type(one) is type(two)
    with pytest.raises(InputError, match="no argument"):
        dispense.call(name, no_such_argument=1)
    with pytest.raises(InputError, match="at most"):
        dispense.call(name, *valid(name), 1)


def test_several_results_have_names():
    split = dispense.call("MIX_SPLIT", 300, 2, 1, 1.16, 0.98)
    assert split._fields == tuple(item.name for item in lookup("MIX_SPLIT").returns)
    assert split[0] + split[1] == pytest.approx(300.0)  # volumes add up


def test_function_that_does_not_exist():
    with pytest.raises(InputError, match="BEAD_AREA"):
        dispense.call("BEED_AREA", 1)


@pytest.mark.parametrize(
    ("name", "inside", "outside", "words"),
    [
        # Reynolds number 4ρQ/(πDμ) by hand: 1273 and 2546 (limit 2100); 64 and 127 in the mixer (limit 100)
        ("NOZZLE_PRESSURE", (1, 1, 25, 0.001, 1, 0, 1), (2, 1, 25, 0.001, 1, 0, 1), "turbulent"),
        ("MIXER_PRESSURE", (1, 10, 72, 0.002, 6.9, 1), (2, 10, 72, 0.002, 6.9, 1), "Reynolds"),
        ("SQUEEZE_TIME", (100, 10, 2, 0.2, 10), (100, 10, 2.1, 0.2, 10), "radius"),
        ("BEAD_SQUEEZE_TIME", (2, 8, 2, 0.5, 100), (2, 8, 2.1, 0.5, 100), "half as high"),
        ("SQUEEZE_LIMIT", (100, 10, 95000), (100, 10, 96000), "radius"),
        ("VISCOSITY", (53, 40, 23, 55), (54, 40, 23, 55), "extrapolation"),
        ("CURE_TIME", (53, 60, 23, 55), (54, 60, 23, 55), "extrapolation"),
        ("POT_LIFE", (53, 60, 23, 55), (54, 60, 23, 55), "extrapolation"),
        (
            "CURING_VISCOSITY",
            (0.1, 53, [2, 23, 40, 0.6, 1.5]),
            (0.1, 54, [2, 23, 40, 0.6, 1.5]),
            "extrapolation",
        ),
        # a fifth of half the shorter side: 0.1·30 = 3 mm
        ("PLATE_SQUEEZE_TIME", (200, 60, 30, 2.9, 0.15, 50), (200, 60, 30, 3.1, 0.15, 50), "thin film"),
        ("PLATE_SQUEEZE_TIME", (200, 60, 30, 1, 0.15, 50, 0.26), (200, 60, 30, 1, 0.15, 50, 0.24), "index"),
        # a square: τ₀a³/(3F) = 0.1a at F = τ₀a²/0.3: 200·0.0016/0.3 = 1.067 N
        ("PLATE_SQUEEZE_LIMIT", (1.1, 40, 40, 200), (1.0, 40, 40, 200), "thin film"),
        # 1.2² = 1.44 < 3/2 < 1.3² = 1.69
        ("MERGED_BEADS_TIME", (3, 3, 5, 8, 1.2, 0.3, 150), (3, 3, 5, 8, 1.3, 0.3, 150), "half as high"),
        # slit of 1 mm, a watery liquid: t = 3μz²/(γb·cosθ) = 3·0.001·1e-4/(0.03·0.001) = 0.01 s, ρb²/μ = 1 s
        (
            "CAPILLARY_TIME",
            (10, 0.05, "slit", 30, 0, 0.001, 1),
            (10, 1, "slit", 30, 0, 0.001, 1),
            "before the flow has grown",
        ),
        # √(γ/ρg) = √(0.03/9806.65) = 1.749 mm
        ("CAPILLARY_HEIGHT", (1.7, "tube", 30, 0, 1), (1.8, "tube", 30, 0, 1), "capillary length"),
        # its own weight: t = μz/(kρg) = 0.001·0.065/(3.123e-6·9806.65) = 2.12 ms against ρ(1.6 mm)²/μ =
        # 2.56 s; and at 1 Pa·s 2.12 s against 2.56 ms
        (
            "CELL_FILL_TIME",
            (65, 18.4, 20, 1, 1, "square"),
            (65, 18.4, 20, 0.001, 1, "square"),
            "before the flow has grown",
        ),
        # v = ρgd²/(12μ): Re = ρ²gd³/(12μ²) = 0.82 at 1 mm and 0.0316 Pa·s, 1.02 at 0.02829
        ("BUBBLE_SPEED", (1, 1, 0.0316), (1, 1, 0.028), "Reynolds"),
        # d = √(12μz/(ρgt)): in 4 s 0.983 mm at 25 mm/s, Re 0.778; in 3 s 1.135 mm at 33.3 mm/s, Re 1.20
        ("BUBBLE_SIZE", (100, 4 / 60, 1, 0.0316), (100, 3 / 60, 1, 0.0316), "Reynolds"),
        # Δρg d²/(18μ)·ρd/μ: 0.1 mm in water of 2.65 g/mL is 0.899, in 3 mPa·s 0.0999
        ("SETTLING_SPEED", (0.1, 2.65, 1, 0.003), (0.1, 2.65, 1, 0.001), "Reynolds"),
        ("HOSE_COMPLIANCE", (10, 3000, 1, 20000), (10, 3000, 1.1, 20000), "tenth of the bore"),
    ],
)
def test_last_notes(name, inside, outside, words):
    """Outside of its range a function answers and leaves a note; a cell, a column and Python alike."""

    def newest():
        return evaluate("LAST_NOTES", (1,)).table()[0]

    before = evaluate("LAST_NOTES", (200,)).table()  # the notes of a process are those of all it was asked
    marker = (
        ("SQUEEZE_TIME", (100, 1, 0.5, 0.2, 10)) if name != "SQUEEZE_TIME" else ("POT_LIFE", (99, 1, 0, 55))
    )
    for ask in (dispense.call, lambda name, *given: evaluate(name, given).table()):
        dispense.call(marker[0], *marker[1])
        assert newest()[0] == marker[0]
        ask(name, *inside)
        assert newest()[0] == marker[0]
        ask(name, *outside)
        assert newest()[0] == name and words in newest()[3]
    first = next(place for place, value in enumerate(outside) if value != inside[place])
    dispense.call(marker[0], *marker[1])
    column = [np.full(3, value) if place == first else value for place, value in enumerate(outside)]
    dispense.call(name, *column)
    assert newest()[0] == name
    dispense.call(marker[0], *marker[1])
    mixed = [[value, None] if place == first else value for place, value in enumerate(inside)]
    evaluate(name, mixed)
    assert newest()[0] == marker[0]
    # an answer that there is not leaves no note, and a note is kept once
    after = evaluate("LAST_NOTES", (200,)).table()
    assert len(after) == len({tuple(row) for row in after})
    assert {row[0] for row in after if row not in before} <= {marker[0], name}
    assert len([row for row in after if row[0] == marker[0] and row not in before]) <= 1


def test_a_note_names_argument_and_value_in_its_unit():
    dispense.call("POT_LIFE", "140 degF", 60, 23, 55)  # 60 °C
    assert evaluate("LAST_NOTES", (1,)).table()[0][:3] == ["POT_LIFE", "temperature", "60"]
    assert evaluate("LAST_NOTES", (0,)).table() == [["#NUM!"]]


def test_a_density_changes_no_figure():
    plain = dispense.call("NOZZLE_PRESSURE", 0.05, 1, 25, 50, 0.5, 100)
    assert dispense.call("NOZZLE_PRESSURE", 0.05, 1, 25, 50, 0.5, 100, 1.2) == plain


def test_a_cell_within_its_validity_costs_no_arrays(monkeypatch):
    """A single number plainly within is told so at once; one outside is looked at, and leaves its note."""
    from dispense.handbook import evaluate as module

    looked = []
    note = module._note
    monkeypatch.setattr(module, "_note", lambda *given: (looked.append(given[0].name), note(*given)))
    life = module.loud_scalar(lookup("POT_LIFE"), (40.0, 60.0, 23.0))
    assert life == pytest.approx(18.4671662)  # 60·2^(−17/10)
    # no density: no Reynolds number to look at
    assert module.loud_scalar(lookup("NOZZLE_PRESSURE"), (0.5, 1.6, 25.0, 60.0)) == pytest.approx(
        128 * 60 * 0.025 * 0.5e-6 / (3.141592653589793 * 0.0016**4) / 1e5
    )
    assert looked == []
    module.loud_scalar(lookup("POT_LIFE"), (60.0, 60.0, 23.0))  # 37 K away
    assert looked == ["POT_LIFE"]
