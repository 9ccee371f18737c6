"""Slips of the pen: what a plan can mean and hardly does, each with its cell, to be looked at again.

A density of 11 for 1.1, a pot life at −4 °C for 25 °F, shifts that overlap, the same build twice: none
breaks physics, so none is an error. What is usual is common practice, no source; the limits are wide.
"""

from __future__ import annotations

import datetime
import math
import statistics
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

from ..base.clock import hhmm
from ..base.findings import NOTE, QUALITY, SLIP, STOP, Finding
from ..base.numbers import EQUAL
from ..base.printed import counted, listed
from ..base.units import DAY, HOUR, celsius_text, from_si, told_volume_text
from ..handbook.thickening import degree_of_life
from .amounts import Application, applications
from .checks import applied_rows, bare_parts, built_parts, idle_stations
from .materials import kinetics_of, mix_shares, usable_volume
from .records import Plan
from .rows import Build, Oven, Part, Row
from .tables import BY_NAME, NO_CURE
from .weeks import days_of

LOOK_AGAIN = "look again"
MOST_LISTED = 20  # findings of one sort that are told one by one


@dataclass(frozen=True, slots=True)
class Usual:
    """The figures that a column usually holds, in its shop unit."""

    table: str
    column: str
    low: float
    high: float


#: common practice, no source
USUAL = (
    Usual("Materials", "consistency", 1e-3, 5e3),
    Usual("Materials", "yield_stress", 0.0, 5e3),
    Usual("Materials", "viscosity_temperature", 0.0, 220.0),
    Usual("Materials", "viscosity_energy", 5.0, 200.0),
    Usual("Materials", "pot_life", 0.5, 20_160.0),
    Usual("Materials", "pot_life_temperature", 5.0, 60.0),
    Usual("Materials", "pot_life_temperature_2", 0.0, 90.0),
    Usual("Materials", "activation_energy", 15.0, 200.0),
    Usual("Materials", "open_time", 0.1, 10_080.0),
    Usual("Materials", "move_time", 0.01, 43_200.0),
    Usual("Materials", "test_time", 0.01, 129_600.0),
    Usual("Materials", "heat", 1.0, 900.0),
    Usual("Materials", "specific_heat", 0.5, 4.5),
    Usual("Materials", "conductivity", 0.03, 20.0),
    Usual("Materials", "shrinkage", 0.0, 0.2),
    Usual("Materials", "moisture_coefficient", 0.05, 10.0),
    Usual("Components", "density", 0.3, 7.0),
    Usual("Components", "container", 1.0, 1.5e6),
    Usual("Components", "heel", 0.0, 0.25),
    Usual("Components", "shelf_life", 7.0, 3650.0),
    Usual("Components", "storage_low", -90.0, 40.0),
    Usual("Components", "storage_high", -60.0, 60.0),
    Usual("Components", "lead_time", 0.0, 400.0),
    Usual("Beads", "width", 0.1, 60.0),
    Usual("Beads", "height", 0.05, 60.0),
    Usual("Beads", "length", 0.5, 1e5),
    Usual("Beads", "bond_line", 0.01, 20.0),
    Usual("Pots", "unfilled", 0.0, 0.2),
    Usual("Pots", "limit", 20.0, 200.0),
    Usual("Pots", "film", 1.0, 500.0),
    Usual("Joints", "gap", 0.005, 10.0),
    Usual("Joints", "coverage", 0.2, 1.0),
    Usual("Joints", "extra", 0.0, 0.6),
    Usual("Stations", "flow", 5e-4, 500.0),
    Usual("Stations", "meter_tolerance", 0.0, 0.15),
    Usual("Stations", "speed", 1.0, 1000.0),
    Usual("Stations", "handling_time", 0.0, 7200.0),
    Usual("Stations", "nozzle_bore", 0.1, 25.0),
    Usual("Stations", "mixer_bore", 1.5, 60.0),
    Usual("Stations", "pressure_limit", 0.5, 600.0),
    Usual("Stations", "scrap", 0.0, 0.2),
    Usual("Stations", "uptime", 0.4, 1.0),
    Usual("Stations", "shop_temperature", 0.0, 45.0),
    Usual("Stations", "humidity", 0.1, 0.95),
    Usual("Temperatures", "temperature", -15.0, 50.0),
    Usual("Ovens", "lag_slow", 0.0, 240.0),
    Usual("Ovens", "start_temperature", -15.0, 80.0),
)
LONGEST_SHIFT, SHORTEST_SHIFT, LONGEST_BREAK = 12.0 * HOUR, 1.0 * HOUR, 2.0 * HOUR
MOST_TIMES_USUAL = 8.0  # of a part's usual quantity of a build
LEAST_BUILDS = 5  # builds of a part from which its usual quantity is known
LEAST_AT_POT_LIFE = 0.01  # degree: a mix that thickens has reacted further (common practice, no source)
MOST_AT_POT_LIFE = 0.95  # where no gel point is stated (common practice, no source)
LONGEST_GAP = 60  # days without a build: longer than a plant stands still (common practice, no source)
HOTTEST_CELL = 90.0  # °C, of the limit of battery cells (common practice, no source)
SAME_PROPORTION = 0.1  # share by which containers in the proportion of a ratio may differ from it
SAME_TEMPERATURE = 0.5  # K within which two temperatures of a data sheet are one
COLDEST_OVEN = 40.0  # °C
MOST_BORES = 1.5  # volume that stands mixed by the room in mixer and nozzle: valves and blocks hold some


def slips(plan: Plan) -> list[Finding]:
    """Everything in a plan that is worth a second look, in the order of the tables."""
    found: list[Finding] = []
    cures = (_no_cures, _oven_cures, _cure_temperatures, _kinetics)
    builds = (_shifts, _builds, _apart, _days_off)
    for check in (
        *(_unusual, _cell_limits, _turned_ratios, *cures),
        *(_mixers, _takts, _containers, *builds, _stock, _unused),
    ):
        found += check(plan)
    return found


def _slip(
    plan: Plan, kind: str, row: Row, column: str, text: str, fix: str = "", sort: str = "", **names: Any
) -> Finding:
    cell = plan.cell(row, column)  # in the topic too, and its sort: each slip is one of its own
    topic = " ".join(filter(None, (SLIP, cell, sort)))
    return Finding(kind, text, fix or LOOK_AGAIN, topic=topic, cell=cell, **names)


def _name(row: Row) -> str:
    """A record as its key names it."""
    table = BY_NAME[row.TABLE]
    return " ".join(str(getattr(row, key)) for key in table.key if isinstance(getattr(row, key), str))


def _names(row: Row) -> dict[str, str]:
    return {name: getattr(row, name) for name in ("station", "material", "part") if hasattr(row, name)}


def _unusual(plan: Plan) -> Iterator[Finding]:
    """Figures far from what such figures are."""
    for usual in USUAL:
        item = BY_NAME[usual.table].column(usual.column)
        unit = f" {item.unit}" if item.unit else ""
        for row in getattr(plan, BY_NAME[usual.table].attribute):
            value = getattr(row, usual.column)
            if value is None:
                continue
            shown = float(from_si(value, item.unit))
            if not usual.low * (1.0 - EQUAL) <= shown <= usual.high * (1.0 + EQUAL):
                words = item.words
                yield _slip(
                    plan,
                    QUALITY,
                    row,
                    usual.column,
                    f"{words} of {_name(row)} is {shown:g}{unit}, usual are {usual.low:g} to "
                    f"{usual.high:g}{unit}",
                    f"{LOOK_AGAIN} at the figure and its unit",
                    numbers={f"{words} [{item.unit}]": shown},
                    **_names(row),
                )


def _cell_limits(plan: Plan) -> Iterator[Finding]:
    """Limits of battery cells that are hotter than such cells are allowed to become."""
    for row in plan.pots:
        if row.cells and row.limit is not None and from_si(row.limit, "°C") > HOTTEST_CELL + EQUAL:
            yield _slip(
                plan,
                QUALITY,
                row,
                "limit",
                f"the cells in {row.pot} may see {from_si(row.limit, '°C'):.4g} °C; battery cells are seldom "
                f"allowed more than {HOTTEST_CELL:g} °C",
                f"{LOOK_AGAIN} at the limit and its unit, in the data sheet of the cell",
                numbers={"limit [°C]": float(from_si(row.limit, "°C"))},
            )


def _turned_ratios(plan: Plan) -> Iterator[Finding]:
    """Mixing ratios whose containers are in the proportion of the ratio turned round."""
    for row in plan.materials:
        components = plan.components_of(row.material)
        if not row.ratio_a or not row.ratio_b or not {"a", "b"} <= components.keys():
            continue
        ratio, by_mass = row.ratio_a / row.ratio_b, row.ratio_basis == "mass"
        a, b = (
            components[letter].container * (components[letter].density if by_mass else 1.0) for letter in "ab"
        )
        straight, turned = abs(a / b / ratio - 1.0), abs(a / b * ratio - 1.0)
        if turned > SAME_PROPORTION or straight <= SAME_PROPORTION:
            continue
        hold = [told_volume_text(components[letter].container) for letter in "ab"]
        yield _slip(
            plan,
            QUALITY,
            row,
            "ratio_a",
            f"{row.material} is mixed {row.ratio_a:g}:{row.ratio_b:g}, and its containers hold "
            f"{hold[0]} of A and {hold[1]} of B: the other way round",
            f"{LOOK_AGAIN} at Ratio A and Ratio B, and at the containers",
            material=row.material,
        )


def _cure_temperatures(plan: Plan) -> Iterator[Finding]:
    """Cures in no oven at a temperature whose figure in °F is another temperature of the material."""
    for row in plan.materials:
        shown = from_si(row.cure_temperature, "°C")
        meant = (shown - 32.0) / 1.8
        if row.cure in ("oven", NO_CURE):
            continue
        for column in ("pot_life_temperature", "pot_life_temperature_2", "viscosity_temperature"):
            other = getattr(row, column)
            if other is None or abs(from_si(other, "°C") - meant) > SAME_TEMPERATURE:
                continue
            words = BY_NAME["Materials"].column(column).words
            yield _slip(
                plan,
                QUALITY,
                row,
                "cure_temperature",
                f"cure temperature of {row.material} is {shown:.4g} °C, and it cures in no oven: the figure "
                f"{shown:.4g} in °F is its {words}, {from_si(other, '°C'):.4g} °C",
                f"{LOOK_AGAIN} at the figure and its unit",
                material=row.material,
            )
            break


def _no_cures(plan: Plan) -> Iterator[Finding]:
    """Materials that do not cure, with times of a cure: one of the two is a slip."""
    for row in plan.materials:
        stated = [name for name in ("move_time", "join_time", "test_time") if getattr(row, name) is not None]
        if row.cure == NO_CURE and stated:
            yield _slip(
                plan,
                QUALITY,
                row,
                stated[0],
                f"{row.material} does not cure, and a time of its cure is stated; it is not used",
                "leave the time blank, or state how it cures",
                material=row.material,
            )


def _oven_cures(plan: Plan) -> Iterator[Finding]:
    """Oven materials that are cured in none, or in one that does not reach their temperature."""
    ovens = plan.index(Oven, "part", "station")
    for row in plan.materials:
        celsius = from_si(row.cure_temperature, "°C")
        if row.cure == "oven" and celsius < COLDEST_OVEN:
            yield _slip(
                plan,
                QUALITY,
                row,
                "cure_temperature",
                f"{row.material} cures in an oven, at {celsius:g} °C",
                material=row.material,
            )
    told: set[tuple[str, str]] = set()
    for item in applied_rows(plan):
        material = plan.material(plan.station(item.station).material)
        oven = ovens.get((item.part, item.station))
        if material.cure != "oven" or (item.part, item.station) in told:
            continue
        told.add((item.part, item.station))
        names = {"part": item.part, "station": item.station, "material": material.material}
        if oven is None:
            yield _slip(
                plan,
                QUALITY,
                item,
                "part",
                f"{material.material} cures in an oven, and table Ovens has no row for "
                f"{item.part} after {item.station}",
                "add one",
                **names,
            )
        elif max(plan.profile(oven.profile)[1]) < material.cure_temperature - EQUAL:
            hottest = from_si(max(plan.profile(oven.profile)[1]), "°C")
            yield _slip(
                plan,
                QUALITY,
                oven,
                "profile",
                f"profile {oven.profile} reaches {hottest:g} °C, {material.material} cures at "
                f"{from_si(material.cure_temperature, '°C'):g} °C",
                **names,
            )


def _kinetics(plan: Plan) -> Iterator[Finding]:
    """Kinetics that have hardly begun, or have gelled, when the pot life ends: one of the two is a slip."""
    for row in plan.materials:
        kinetics = kinetics_of(plan, row)
        if kinetics is None or row.pot_life is None:
            continue
        degree = degree_of_life(row.pot_life, row.pot_life_temperature, kinetics)
        gel = row.gel_degree or MOST_AT_POT_LIFE
        if LEAST_AT_POT_LIFE <= degree <= gel:
            continue
        yield _slip(
            plan,
            QUALITY,
            row,
            "rate_1",
            f"at the end of its pot life of {from_si(row.pot_life, 'min'):.3g} min at "
            f"{celsius_text(row.pot_life_temperature)} the kinetics of {row.material} have come to a degree "
            f"of {degree:.2g}, usual are {LEAST_AT_POT_LIFE:g} to {gel:.2g}: heat and cure are reckoned from "
            "them",
            f"{LOOK_AGAIN} at the kinetics, whose rates are those of a minute, and at the pot life",
            material=row.material,
            numbers={"degree": degree},
        )


def _mixers(plan: Plan) -> Iterator[Finding]:
    """Mixers that hold more than their bore, purges that do not empty them."""
    for row in plan.stations:
        bores = [(row.mixer_bore, row.mixer_length), (row.nozzle_bore, row.nozzle_length)]
        room = math.fsum(math.pi / 4.0 * bore**2 * length for bore, length in bores if bore and length)
        if row.mixer_bore and row.mixer_length and row.mixer_volume > MOST_BORES * room:
            yield _slip(
                plan,
                QUALITY,
                row,
                "mixer_volume",
                f"{from_si(row.mixer_volume, 'mL'):g} mL stand in the mixer of {row.station}; mixer "
                f"and nozzle hold {from_si(room, 'mL'):.3g} mL by bore and length",
                station=row.station,
            )
        if 0.0 < row.purge_volume < 0.95 * row.mixer_volume:
            yield _slip(
                plan,
                QUALITY,
                row,
                "purge_volume",
                f"a purge of {from_si(row.purge_volume, 'mL'):g} mL does not empty the mixer of "
                f"{row.station}, which holds {from_si(row.mixer_volume, 'mL'):g} mL",
                station=row.station,
            )


def _visits(plan: Plan) -> Iterator[Application]:
    """What is put on the parts that are built."""
    for part in built_parts(plan):
        yield from applications(plan, part)


def _largest(plan: Plan, size: Callable[[Application], float]) -> dict[str, Application]:
    """By station the one of its visits that is largest."""
    found: dict[str, Application] = {}
    for item in _visits(plan):
        best = found.get(item.station)
        if best is None or size(item) > size(best):
            found[item.station] = item
    return found


def _takts(plan: Plan) -> Iterator[Finding]:
    """Takts shorter than one bead, shot or joint takes."""
    longest = _largest(plan, lambda item: item.time)
    for row in plan.stations:
        item = longest.get(row.station)
        if row.takt and item is not None and item.time > row.takt:
            yield _slip(
                plan,
                STOP,
                row,
                "takt",
                f"the takt of {row.station} is {row.takt:g} s, {item.part} / {item.name} alone "
                f"takes {item.time:.3g} s",
                station=row.station,
                part=item.part,
                numbers={"takt [s]": row.takt, "time [s]": item.time},
            )


def _containers(plan: Plan) -> Iterator[Finding]:
    """Containers that do not hold one shot, one start or the hose."""
    largest = _largest(plan, lambda item: item.amount.nominal)
    for row in plan.stations:
        material = plan.material(row.material)
        components = plan.components_of(row.material)
        item = largest.get(row.station)
        for letter, share in mix_shares(material, components).items():
            component = components[letter]
            usable = usable_volume(component)
            needs = [(row.start_volume * share, "start of a shift"), (getattr(row, f"hose_{letter}"), "hose")]
            if item is not None:
                needs.append((item.amount.nominal * share, f"shot {item.part} / {item.name}"))
            volume, what = max(needs)
            if volume > usable:
                yield _slip(
                    plan,
                    STOP,
                    component,
                    "container",
                    f"a container of {row.material} {letter.upper()} gives "
                    f"{from_si(usable, 'mL'):.4g} mL, the {what} at {row.station} takes "
                    f"{from_si(volume, 'mL'):.4g} mL",
                    station=row.station,
                    material=row.material,
                    numbers={"usable [mL]": from_si(usable, "mL"), "needed [mL]": from_si(volume, "mL")},
                )


def _shifts(plan: Plan) -> Iterator[Finding]:
    """Shifts of one day, or of two that follow one another, that overlap; odd lengths."""
    days: dict[datetime.date, set[str]] = defaultdict(set)
    for build in plan.builds:
        days[build.date].add(build.shift)
    order = {row.shift: place for place, row in enumerate(plan.shifts)}
    pairs: dict[tuple[str, str], tuple[datetime.date, str, str]] = {}
    for date, names in days.items():
        before = date - datetime.timedelta(days=1)
        worked = [(name, plan.hours_of(date, name), 0.0) for name in names]
        worked += [(name, plan.hours_of(before, name), DAY) for name in days.get(before, set())]
        worked.sort(key=lambda item: (item[2], order[item[0]]))
        for (name, (start, end), back), (other, (begin, close), past) in combinations(worked, 2):
            if name != other and start - back < close - past and begin - past < end - back:
                hours = {name: f"{hhmm(start)}–{hhmm(end)}", other: f"{hhmm(begin)}–{hhmm(close)}"}
                first, second = sorted((name, other), key=order.__getitem__)
                pairs.setdefault((first, second), (date, hours[first], hours[second]))
    for (name, other_name), (date, hours_of_one, hours_of_other) in pairs.items():
        yield _slip(
            plan,
            QUALITY,
            plan.shift(other_name),
            "start",
            f"shift {other_name} ({hours_of_other}) overlaps {name} ({hours_of_one}), both are built in, "
            f"first on {date}",
            day=date,
            shift=other_name,
        )
    for row in plan.shifts:
        if not SHORTEST_SHIFT <= row.end - row.start <= LONGEST_SHIFT:
            yield _slip(
                plan,
                QUALITY,
                row,
                "end",
                f"shift {row.shift} is {(row.end - row.start) / HOUR:.3g} hours long",
                shift=row.shift,
            )
    for rest in plan.breaks:
        if rest.end - rest.start > LONGEST_BREAK:
            yield _slip(
                plan,
                QUALITY,
                rest,
                "end",
                f"the break at {hhmm(rest.start)} of {rest.shift} is "
                f"{(rest.end - rest.start) / HOUR:.3g} hours long",
                shift=rest.shift,
            )


def _builds(plan: Plan) -> Iterator[Finding]:
    """Rows that appear twice, quantities and dates far from the others."""
    seen: dict[tuple[Any, ...], Build] = {}
    twice: list[tuple[Build, Build]] = []
    quantities: dict[str, list[int]] = defaultdict(list)
    for row in plan.builds:
        key = (row.date, row.shift, row.part, row.quantity)
        if key in seen:
            twice.append((row, seen[key]))
        seen.setdefault(key, row)
        quantities[row.part].append(row.quantity)
    for row, first in twice[:MOST_LISTED]:
        yield _slip(
            plan,
            QUALITY,
            row,
            "part",
            f"{row.quantity} {row.part} on {row.date} in {row.shift} appear twice, first in "
            f"{plan.cell(first, 'part')}",
            "remove one, or add the quantities up in one row",
            part=row.part,
            day=row.date,
            shift=row.shift,
        )
    if len(twice) > MOST_LISTED:
        row = twice[MOST_LISTED][0]
        yield _slip(
            plan, QUALITY, row, "part", f"{len(twice) - MOST_LISTED} more rows of Builds appear twice"
        )
    usual = {
        part: statistics.median(values) for part, values in quantities.items() if len(values) >= LEAST_BUILDS
    }
    far = [
        row
        for row in plan.builds
        if row.part in usual and row.quantity > MOST_TIMES_USUAL * max(usual[row.part], 1.0)
    ]
    for row in far[:MOST_LISTED]:
        yield _slip(
            plan,
            QUALITY,
            row,
            "quantity",
            f"{row.quantity} {row.part} on {row.date} in {row.shift}, usual are {usual[row.part]:g}",
            part=row.part,
            day=row.date,
            shift=row.shift,
        )


def _apart(plan: Plan) -> Iterator[Finding]:
    """Long times without a build: told at the build before or after, of whichever side has fewer."""
    rows = sorted((row for row in plan.builds if row.quantity), key=lambda row: row.date)
    gaps = [
        (place, (after.date - before.date).days)
        for place, (before, after) in enumerate(pairwise(rows), 1)
        if (after.date - before.date).days > LONGEST_GAP
    ]
    for place, days in gaps[:MOST_LISTED]:
        before, after = rows[place - 1], rows[place]
        is_late = len(rows) - place <= place
        yield _slip(
            plan,
            QUALITY,
            after if is_late else before,
            "date",
            f"the build on {after.date} is {days} days after the one before it, on {before.date}"
            if is_late
            else f"the build on {before.date} is {days} days before the next, on {after.date}",
            f"{LOOK_AGAIN} at the date; if nothing is built in between, all is right",
            day=after.date if is_late else before.date,
            numbers={"days": float(days)},
        )


def _days_off(plan: Plan) -> Iterator[Finding]:
    """Builds on days of the week on which their shift, as its Days are stated, is not worked."""
    if "days" not in plan.letters.get("Shifts", {}) and not plan.dated:
        return
    off: dict[str, dict[datetime.date, Build]] = defaultdict(dict)
    for (date, shift), built in plan.group(Build, "date", "shift").items():
        row = next((row for row in built if row.quantity), None)
        if row is not None and date.weekday() not in days_of(plan.on(date).shift(shift)):
            off[shift][date] = row
    for name, rows in off.items():
        day = min(rows)
        more = len(rows) - 1
        others = f" and {counted(more, 'more day')}" if more else ""
        yield _slip(
            plan,
            QUALITY,
            rows[day],
            "date",
            f"shift {name} is worked on {plan.on(day).shift(name).days}, and is built in on {day:%a} {day}"
            f"{others}: it is played as stated",
            "correct the date, or Days of Shifts if that day is worked",
            "day off",
            day=day,
            shift=name,
            numbers={"days": float(len(rows))},
        )


def _stock(plan: Plan) -> Iterator[Finding]:
    """Lots that arrive expired."""
    for row in plan.stock:
        if row.arrival is not None and row.arrival > row.expiry:
            yield _slip(
                plan,
                QUALITY,
                row,
                "arrival",
                f"lot {row.lot} of {row.material} {row.component.upper()} arrives on {row.arrival}, "
                f"after its expiry on {row.expiry}",
                material=row.material,
            )


def _unused(plan: Plan) -> Iterator[Finding]:
    """Stations without work, built parts without material, rows that nothing names."""
    for row in idle_stations(plan):
        yield _slip(
            plan,
            STOP,
            row,
            "station",
            f"nothing is dispensed at station {row.station}",
            "add its bead, pot or joint, or remove the station",
            station=row.station,
        )
    parts = plan.index(Part, "part")
    for part, build in bare_parts(plan).items():
        if part in parts:
            yield _slip(
                plan,
                QUALITY,
                parts[part],
                "part",
                f"{part} is built in {build.part} and gets no material",
                "add its bead, pot or joint, or leave it out of Parts",
                part=part,
            )
    named = {
        "materials": ("material", {name for row in plan.stations for name in plan.materials_at(row.station)}),
        "paths": ("path", {row.path for row in plan.beads} | {row.pattern for row in plan.joints}),
        "temperatures": (
            "record",
            {row.record for row in plan.stations}
            | {item.value for item in plan.dated if item.column == "record"},
        ),
        "profiles": ("profile", {row.profile for row in plan.ovens}),
        "parts": ("part", set(built_parts(plan))),
        "shifts": ("shift", {row.shift for row in plan.builds}),
    }
    for table, (column, used) in named.items():
        first = {getattr(row, column): row for row in reversed(getattr(plan, table))}
        idle = [name for name in reversed(first) if name not in used]
        if idle:
            what = "is not built" if table == "parts" else "is used nowhere"
            yield _slip(plan, NOTE, first[idle[0]], column, f"{column} {listed(idle)} {what}")


__all__ = ["USUAL", "Usual", "slips"]
