"""What must hold between the records of a plan: names that exist, shapes that are possible.

`check_links` asks whether every name that is used exists; `check_records` whether what the records
say together is possible. Each problem names the cell of the row it was found in.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from ..base.errors import NA, NUM, DispenseError, InputError, Problem
from ..base.fields import Field
from ..base.naming import LIKELY, fold, nearest
from ..base.printed import listed
from ..base.units import HOUR, from_si
from ..handbook.evaluate import evaluate
from .amounts import bead_length, cell_dimensions, free_volume, level_reached, pot_amount
from .choices import choice_problems
from .materials import kinetics_of, material_energy
from .packs import pattern_faults
from .records import Plan
from .routes import route_of, route_problems
from .rows import (
    Assembly,
    Bead,
    Break,
    Build,
    Insert,
    Joint,
    Material,
    Part,
    Pot,
    ProfilePoint,
    Row,
    Shift,
    Shot,
    Station,
    StockLot,
    TemperaturePoint,
)
from .standing import wrong_with
from .tables import BY_NAME, STANDING, TABLES
from .weeks import weekdays

ENERGIES = (1e2, 1e6)  # J/mol: activation energies that a material may have
CLOSEST = 1e-3  # s between two points of a profile
PORTIONS_CLOSE = 1e-6  # by which the portions of a pot's shots may miss 1, as rounded thirds do
MOST_STARTED = 100_000  # parts that one station may start in one shift


class NameBeside(NamedTuple):
    """A name in a row of which another cell cannot be read, so that the plan has no such row."""

    where: str
    column: Field
    name: str


def check_links(plan: Plan, broken: Collection[str] = (), beside: Iterable[NameBeside] = ()) -> list[Problem]:
    """Names that are used and do not exist, those `beside` what cannot be read too.

    Names of `broken` tables are not asked for.
    """
    keys = {
        table.name: {
            getattr(row, table.key[0] if table.key else "path") for row in getattr(plan, table.attribute)
        }
        for table in TABLES
        if table.key or table.name == "Paths"
    }
    problems = []
    lost: dict[str, list[str]] = {}  # cells that refer to a table without rows
    for table in TABLES:
        for item in table.columns:
            if not item.refers or item.refers in broken:
                continue
            known = keys[item.refers]
            for row in getattr(plan, table.attribute):
                name = getattr(row, item.name)
                if name and not known:
                    lost.setdefault(item.refers, []).append(plan.cell(row, item.name))
                elif name and name not in known:
                    where = plan.cell(row, item.name)
                    problems.append(_unknown(where, item.name, name, item.refers, known))
    if not {"Parts", "Assemblies"} & set(broken):
        builders = keys["Parts"] | {row.assembly for row in plan.assemblies}
        made: list[Build | Assembly] = [*plan.builds, *plan.assemblies]
        for one in made:
            if one.part not in builders:
                problems.append(
                    _unknown(plan.cell(one, "part"), "part", one.part, "Parts or Assemblies", builders)
                )
    problems += _unknown_beside(plan, broken, beside, keys)
    pots = {(row.part, row.pot) for row in plan.pots}
    inside: list[Insert | Shot] = [*plan.inserts, *plan.shots]
    for piece in inside:
        if "Pots" not in broken and not pots:
            lost.setdefault("Pots", []).append(plan.cell(piece, "pot"))
        elif "Pots" not in broken and (piece.part, piece.pot) not in pots and piece.part in keys["Parts"]:
            problems.append(
                _unknown(
                    plan.cell(piece, "pot"),
                    "pot",
                    piece.pot,
                    f"Pots for part {piece.part}",
                    {pot for part, pot in pots if part == piece.part},
                )
            )
    return [
        *problems,
        *(
            _says(
                f"{name}!A1",
                f"table {name} has no rows, and {listed(cells)} "
                f"{'names' if len(cells) == 1 else 'name'} what it would hold",
                f"it holds {BY_NAME[name].help}",
            )
            for name, cells in lost.items()
        ),
    ]


def _unknown_beside(
    plan: Plan, broken: Collection[str], beside: Iterable[NameBeside], keys: Mapping[str, set[str]]
) -> Iterator[Problem]:
    """Names in rows that have another fault as well."""
    for where, column, name in beside:
        tables = (column.refers,) if column.refers else ("Parts", "Assemblies")
        known = set().union(*(keys[table] for table in tables if table in keys))
        if not column.refers:
            known |= {row.assembly for row in plan.assemblies}
        is_known = fold(name) in {fold(str(one)) for one in known}
        if known and not is_known and not set(tables) & set(broken):
            yield _unknown(where, column.name, name, " or ".join(tables), known)


def _unknown(where: str, argument: str, name: str, table: str, known: set[str]) -> Problem:
    near = nearest(str(name), sorted(map(str, known)), LIKELY)
    fix = f"did you mean {near}?" if near else ""
    return Problem(where, argument.replace("_", " "), name, f"a name in {table}", fix, NA)


def check_records(plan: Plan) -> list[Problem]:
    """What the records say together and cannot be."""
    groundwork = [*_materials(plan), *_series(plan), *_stations(plan)]
    line = [*_shifts(plan), *_hours(plan), *_assemblies(plan)]
    if groundwork:
        return [*groundwork, *line]
    problems = [*line, *_shapes(plan)]
    if not line:
        problems += [*_applied(plan), *route_problems(plan), *_numbers(plan), *_stock(plan)]
        problems += _standing(plan)
        problems += choice_problems(plan)
    return problems


def _shapes(plan: Plan) -> Iterator[Problem]:
    """Beads, pots and joints that cannot be computed."""
    checks: list[tuple[Row, Iterator[Problem]]] = [
        *((row, _bead(plan, row)) for row in plan.beads),
        *((row, _pot(plan, row)) for row in plan.pots),
        *((row, _joint(plan, row)) for row in plan.joints),
    ]
    for row, found in checks:
        try:
            yield from found
        except DispenseError as error:
            yield from (_at(plan, row, item) for item in error.problems)


_COLUMNS = {"designation": "cell"}  # arguments of functions: the column they come from


def _at(plan: Plan, row: Row, problem: Problem) -> Problem:
    """A problem of a row's value, told of its cell."""
    name = _COLUMNS.get(problem.argument, problem.argument)
    name = name.replace(" ", "_")
    fields = {item.name: item for item in BY_NAME[row.TABLE].columns}
    words = fields[name].words if name in fields else name.replace("_", " ")
    return replace(problem, where=plan.cell(row, name), argument=words)


def _says(where: str, message: str, fix: str = "") -> Problem:
    return Problem(where, message=message, fix=fix, code=NUM)


def _materials(plan: Plan) -> Iterator[Problem]:
    for row in plan.materials:
        yield from _mixed(plan, row)
        yield from _pot_lives(plan, row)
        yield from _kinetics(plan, row)
        yield from _stops_and_thickens(plan, row)
        milestones = [row.move_time, row.join_time, row.test_time]
        stated = [value for value in milestones if value is not None]
        if stated != sorted(stated):
            yield _says(
                row.at,
                "handling time, time to load and full-cure time do not follow one another",
                "a part is moved first, joined next, tested last",
            )
    for part in plan.components:
        low, high = part.storage_low, part.storage_high
        if low is not None and high is not None and low > high:
            yield _says(part.at, "storage low is above storage high", "exchange them")


def _hours(plan: Plan) -> Iterator[Problem]:
    """Hours of a shift on one day, where its builds state some."""
    from ..base.clock import hhmm

    known = {row.shift for row in plan.shifts}
    stated = {
        (row.date, row.shift): row
        for row in plan.builds
        if (row.start is not None or row.end is not None) and row.shift in known
    }
    for (date, shift), row in stated.items():
        start, end = plan.hours_of(date, shift)
        if not 0.0 < end - start <= 24 * HOUR:
            yield _says(
                plan.cell(row, "end"),
                f"shift {shift} of {date} would go from {hhmm(start, date)} to {hhmm(end, date)}",
                "the end after the start, within a day; after midnight the hours go on: 30:00",
            )


def _mixed(plan: Plan, row: Material) -> Iterator[Problem]:
    """Kind, ratio and components of a material."""
    parts = plan.components_of(row.material)
    if row.kind == "two-part":
        if row.ratio_b is None:
            yield _says(
                plan.cell(row, "ratio_b"),
                f"two-part material {row.material} has no ratio B",
                "give ratio B, or set its kind to one-part",
            )
        for letter in "ab":
            if letter not in parts:
                yield _says(
                    row.at,
                    f"component {letter.upper()} of {row.material} is missing in Components",
                    "add a row for it",
                )
        return
    if "a" not in parts:
        yield _says(row.at, f"{row.material} is missing in Components", "add a row with component A")
    if "b" in parts:
        yield _says(
            parts["b"].at,
            f"one-part material {row.material} has a component B",
            "remove the row, or set the kind to two-part",
        )


def _pot_lives(plan: Plan, row: Material) -> Iterator[Problem]:
    """Two pot lives: both with their temperature, and the hotter the shorter, by a likely energy."""
    if (row.pot_life_2 is None) != (row.pot_life_temperature_2 is None):
        yield _says(
            plan.cell(row, "pot_life_2"),
            "the second pot life needs its temperature and the temperature its pot life",
            "give both or neither",
        )
    if row.pot_life is None or row.pot_life_2 is None or row.pot_life_temperature_2 is None:
        return
    warmer = row.pot_life_temperature_2 - row.pot_life_temperature
    if warmer == 0.0:
        yield _says(
            plan.cell(row, "pot_life_temperature_2"),
            "both pot lives are at one temperature",
            "give the second at another temperature",
        )
    elif (row.pot_life_2 - row.pot_life) * warmer >= 0.0:
        yield _says(
            plan.cell(row, "pot_life_2"),
            "the pot life does not fall when it gets hotter",
            "check both pot lives and their temperatures",
        )
    else:
        energy = material_energy(row) or math.nan
        if not ENERGIES[0] <= energy <= ENERGIES[1]:
            yield _says(
                plan.cell(row, "pot_life_2"),
                f"both pot lives give an activation energy of {energy / 1e3:.3g} "
                "kJ/mol, which no material has",
                "check both pot lives and their temperatures",
            )


def _kinetics(plan: Plan, row: Material) -> Iterator[Problem]:
    """Rates without the constants that go with them."""
    for rate, others in (("rate_1", ("energy_1",)), ("rate_2", ("rate_1", "energy_2", "order_m"))):
        blank = [name for name in others if getattr(row, name) is None]
        if getattr(row, rate) is not None and blank:
            names = " and ".join(map(_words, blank))
            yield _says(
                plan.cell(row, blank[0]),
                f"the kinetics of {row.material} have {_words(rate)} and no {names}",
                "give all of them, or none",
            )


def _words(name: str) -> str:
    """What a column of Materials is called."""
    return BY_NAME["Materials"].column(name).words


#: columns of a material that need others beside them
_TOGETHER = (
    ("diffusion_strength", ("diffusion_degree",)),
    ("diffusion_degree", ("diffusion_strength",)),
    ("diffusion_slope", ("diffusion_strength",)),
    ("diffusion_rate", ("glass_uncured", "glass_cured", "glass_lambda")),
    ("later_viscosity", ("later_time", "consistency")),
    ("later_time", ("later_viscosity",)),
    ("thickening_exponent", ("gel_degree", "consistency")),
    ("thickening_slope", ("thickening_exponent",)),
    ("thickening_growth", ("consistency",)),
    ("service_temperature", ("glass_uncured", "glass_cured", "glass_lambda")),
)


def _stops_and_thickens(plan: Plan, row: Material) -> Iterator[Problem]:
    """Kinetics by table that cannot be read, and constants that need others."""
    for given, others in _TOGETHER:
        blank = [name for name in others if getattr(row, name) is None]
        if getattr(row, given) is not None and blank:
            names = " and ".join(map(_words, blank))
            yield _says(
                plan.cell(row, given),
                f"the {_words(given)} of {row.material} needs {names}",
                "give all of them, or none",
            )
    if row.diffusion_strength is not None and row.diffusion_rate is not None:
        yield _says(
            plan.cell(row, "diffusion_rate"),
            f"the kinetics of {row.material} are slowed twice, by a factor and by a resistance",
            "give diffusion strength or diffusion rate",
        )
    if row.thickening_exponent is not None and row.thickening_growth is not None:
        yield _says(
            plan.cell(row, "thickening_growth"),
            f"{row.material} thickens by two laws",
            "give thickening exponent or thickening growth",
        )
    if row.later_viscosity is not None and row.later_viscosity <= (row.consistency or 0.0):
        yield _says(
            plan.cell(row, "later_viscosity"),
            f"the later viscosity of {row.material} is not above the first",
            "give the consistency at the later time, larger than the consistency when mixed",
        )
    try:
        kinetics_of(plan, row)
    except InputError as error:
        yield from error.problems


def _shifts(plan: Plan) -> Iterator[Problem]:
    from ..base.clock import hhmm

    spans = {row.shift: row for row in plan.shifts}
    for row in plan.shifts:
        if row.end <= row.start:
            yield _says(
                plan.cell(row, "end"),
                f"shift {row.shift} ends at {hhmm(row.end)}, not after its start at {hhmm(row.start)}",
                "after midnight go on counting: 22:00 to 30:00",
            )
        elif row.end - row.start > 24 * HOUR:
            yield _says(row.at, f"shift {row.shift} is longer than 24 hours")
        if weekdays(row.days) is None:
            yield Problem(
                plan.cell(row, "days"), "days", row.days, "days of the week such as Mon-Fri or Mon Tue Sat"
            )
    grouped: dict[str, list[Break]] = {}
    for rest in plan.breaks:
        shift = spans.get(rest.shift)
        if rest.end <= rest.start:
            yield _says(
                plan.cell(rest, "end"),
                f"the break ends at {hhmm(rest.end)}, not after its start at {hhmm(rest.start)}",
            )
        elif (
            shift is not None
            and shift.start < shift.end
            and not (shift.start <= rest.start and rest.end <= shift.end)
        ):
            yield _says(
                plan.cell(rest, "start"),
                f"the break {hhmm(rest.start)}–{hhmm(rest.end)} is outside the shift "
                f"{hhmm(shift.start)}–{hhmm(shift.end)}",
                _past_midnight(rest, shift),
            )
        grouped.setdefault(rest.shift, []).append(rest)
    for name, rows in grouped.items():
        rows.sort(key=lambda row: row.start)
        for before, after in pairwise(rows):
            if after.start < before.end:
                yield _says(plan.cell(after, "start"), f"the break overlaps the one in {before.at}")
        shift = spans.get(name)
        idle = sum(row.end - row.start for row in rows)
        if shift is not None and shift.end > shift.start and idle >= shift.end - shift.start:
            yield _says(shift.at, f"shift {name} has no working time left beside its breaks")


def _past_midnight(row: Break, shift: Shift) -> str:
    """What to write where a break of a night shift was given by the clock."""
    start, end = row.start + 24 * HOUR, row.end + 24 * HOUR
    if not shift.start <= start <= end <= shift.end:
        return ""
    words = [f"{int(at // HOUR)}:{int(at % HOUR // 60):02d}" for at in (start, end)]
    return f"after midnight go on counting: {words[0]} to {words[1]}"


def _assemblies(plan: Plan) -> Iterator[Problem]:
    children: dict[str, list[Assembly]] = {}
    for row in plan.assemblies:
        children.setdefault(row.assembly, []).append(row)
    parts = {row.part for row in plan.parts}
    for name, rows in children.items():
        if name in parts:
            yield _says(
                rows[0].at, f"{name} is an assembly and also stands in Parts", "give one of them another name"
            )
        seen, waiting = set(), [row.part for row in rows]
        while waiting:
            item = waiting.pop()
            if item == name:
                yield _says(rows[0].at, f"assembly {name} contains itself")
                break
            if item not in seen:
                seen.add(item)
                waiting.extend(row.part for row in children.get(item, ()))


def _series(plan: Plan) -> Iterator[Problem]:
    for rows, key in ((plan.profiles, "profile"), (plan.temperatures, "record")):
        groups: dict[str, list[ProfilePoint | TemperaturePoint]] = {}
        for row in rows:
            groups.setdefault(getattr(row, key), []).append(row)
        for name, points in groups.items():
            if key == "profile" and len(points) < 2:
                yield _says(points[0].at, f"profile {name} has one point", "give two points or more")
            if key == "profile":
                points = sorted(points, key=lambda row: row.time)
                yield from (
                    _says(
                        plan.cell(after, "time"),
                        f"profile {name}: two points are less than a millisecond apart",
                        "give a jump a second",
                    )
                    for before, after in pairwise(points)
                    if after.time - before.time < CLOSEST
                )
            if key == "record":
                times = [row.time for row in points]
                if max(times) - min(times) > 24 * HOUR:
                    late = points[times.index(max(times))]
                    yield _says(
                        plan.cell(late, "time"),
                        f"record {name} reaches over more than 24 hours",
                        "it is one day, repeated day by day",
                    )


def _stations(plan: Plan) -> Iterator[Problem]:
    used: dict[str, set[str]] = {}
    for item in applied_rows(plan):
        used.setdefault(item.station, set()).add("bead" if isinstance(item, Bead) else "shot")
    for row in plan.stations:
        kinds = used.get(row.station, set())
        if "bead" in kinds and row.speed is None and row.flow is None:
            yield _says(
                plan.cell(row, "speed"),
                f"station {row.station} puts on beads and has neither speed nor flow",
                "give its speed",
            )
        if "shot" in kinds and row.flow is None:
            yield _says(
                plan.cell(row, "flow"), f"station {row.station} pours shots and has no flow", "give its flow"
            )
        material = plan.index(Material, "material").get(row.material)
        if (
            material is not None
            and row.mixer_volume > 0.0
            and material.kind == "two-part"
            and (material.pot_life is None)
        ):
            yield _says(
                plan.cell(material, "pot_life"),
                f"material {material.material} is mixed at station {row.station} and has no pot life",
                "give its pot life and temperature",
            )


def _bead(plan: Plan, row: Bead) -> Iterator[Problem]:
    if (row.length is None) == (not row.path):
        both = row.length is not None
        yield _says(
            plan.cell(row, "length"),
            "the bead has both a length and a path" if both else "the bead has neither a length nor a path",
            "give one of them",
        )
        return
    if (row.run is None) != (row.gap is None):
        yield _says(
            plan.cell(row, "run" if row.run is None else "gap"),
            "an interrupted bead needs both run and gap",
            "give both or neither",
        )
        return
    found = evaluate(
        "BEAD_AREA",
        (
            row.section,
            from_si(row.width, "mm"),
            None if row.height is None else from_si(row.height, "mm"),
            None if row.contact_angle is None else from_si(row.contact_angle, "deg"),
        ),
    )
    for problem in found.problems:
        yield _says(plan.cell(row, "section"), f"section {row.section}: {problem.message or problem}")
    if row.path and not found.problems and not bead_length(plan, row) > 0.0:
        yield _says(plan.cell(row, "path"), f"path {row.path} has no length", "give it two points or more")
    for name in ("width", "height", "length"):
        size, tolerance = getattr(row, name), getattr(row, f"{name}_tolerance")
        if size is not None and tolerance >= size:
            yield _says(
                plan.cell(row, f"{name}_tolerance"), f"the {name} tolerance is as large as the {name}"
            )


def _pot(plan: Plan, row: Pot) -> Iterator[Problem]:
    needs_width = row.shape in ("box", "tray", "lying-cylinder")
    if needs_width and row.width is None:
        yield _says(plan.cell(row, "width"), f"a {row.shape} needs a width")
        return
    if row.draft and row.shape in ("box", "cylinder", "lying-cylinder"):
        drafted = {"box": "shape tray", "cylinder": "shape cone"}.get(row.shape)
        yield _says(
            plan.cell(row, "draft"),
            f"a {row.shape} has no draft",
            f"give {drafted}, or leave draft blank" if drafted else "leave draft blank",
        )
        return
    wall = row.length if row.shape == "lying-cylinder" else row.depth
    if row.level > wall * (1.0 + 1e-12):
        yield _says(
            plan.cell(row, "level"),
            f"level is {from_si(row.level, 'mm'):g} mm, over the wall of {from_si(wall, 'mm'):g} mm",
            "lower the level or raise the depth",
        )
        return
    inserts = plan.group(Insert, "part", "pot").get((row.part, row.pot), ())
    wide = [insert for insert in inserts if insert.shape == "box" and insert.width is None]
    for insert in wide:
        yield _says(plan.cell(insert, "width"), f"insert {insert.insert} is a box and needs a width")
    if wide:
        return
    diameter, _ = cell_dimensions(row)
    room = free_volume(plan, row, row.level)
    if not room > 0.0:
        what = f"{row.cells} cells of {from_si(diameter, 'mm'):g} mm" if row.cells else "inserts"
        yield _says(plan.cell(row, "cells"), f"the {what} do not fit into the pot: no free volume is left")
        return
    for column, wrong, fix in pattern_faults(row):
        yield _says(plan.cell(row, column), wrong, fix)
    shots = plan.group(Shot, "part", "pot").get((row.part, row.pot), ())
    if shots:
        portions = math.fsum(shot.portion for shot in shots)
        if abs(portions - 1.0) > PORTIONS_CLOSE:
            yield _says(
                plan.cell(shots[0], "portion"),
                f"the portions of the shots of pot {row.pot} add up to {portions:g}, not to 1",
            )
    amount = pot_amount(plan, row)
    if not amount.low > 0.0:
        yield _says(row.at, "the tolerances are so wide that nothing might be poured")
    elif math.isnan(level_reached(plan, row, amount.nominal / row.count * (1.0 - 1e-9))):
        yield _says(
            row.at, "the volume poured does not fit below the wall", "check void share, extra and shrinkage"
        )


def _joint(plan: Plan, row: Joint) -> Iterator[Problem]:
    if row.gap_tolerance >= row.gap:
        yield _says(plan.cell(row, "gap_tolerance"), "the gap tolerance is as large as the gap")
    if row.start_gap is not None and row.start_gap <= row.gap:
        yield _says(
            plan.cell(row, "start_gap"),
            "the pattern is no higher than the bond line",
            "start gap must be above gap",
        )


def applied_rows(plan: Plan) -> list[Bead | Pot | Joint]:
    """All that puts material on: beads, pots and joints."""
    return [*plan.beads, *plan.pots, *plan.joints]


def built_parts(plan: Plan) -> dict[str, Build]:
    """Parts that are built, also inside assemblies, each with the first row of Builds that does."""
    found: dict[str, Build] = {}
    for row in {row.part: row for row in reversed(plan.builds)}.values():
        for part in plan.explode(row.part):
            found.setdefault(part, row)
    return found


def bare_parts(plan: Plan) -> dict[str, Build]:
    """Built parts on which no station puts anything, each with a row of Builds that builds it."""
    applied = {row.part for row in applied_rows(plan)}
    return {part: row for part, row in built_parts(plan).items() if part not in applied}


def idle_stations(plan: Plan) -> list[Station]:
    """Stations that no bead, pot or joint names."""
    used = {row.station for row in applied_rows(plan)}
    return [row for row in plan.stations if row.station not in used]


def _applied(plan: Plan) -> Iterator[Problem]:
    """Parts that are built and get nothing, beside stations that put nothing on."""
    bare, idle = bare_parts(plan), idle_stations(plan)
    lost = list(_lost_tables(plan, bare, idle))
    if lost:
        yield from lost
        return
    told = set()
    for row in {row.part: row for row in reversed(plan.builds)}.values():
        inside = set(plan.explode(row.part))
        if inside <= set(bare):
            told |= inside
            yield _says(
                plan.cell(row, "part"),
                f"{row.part} is built and has no bead, pot or joint",
                "add one, or leave it out of Builds",
            )
    if not idle:
        return
    names = ", ".join(row.station for row in idle)
    parts = plan.index(Part, "part")
    for part in bare:
        if part not in told:
            yield _says(
                parts[part].at if part in parts else bare[part].at,
                f"{part} is built in {bare[part].part} and has no bead, pot or joint, and "
                f"nothing is dispensed at {names}",
                "add what is missing, or remove the station",
            )


def _lost_tables(plan: Plan, bare: Collection[str], idle: list[Station]) -> Iterator[Problem]:
    """Tables without rows where stations have nothing to do and built parts get nothing."""
    along = [row.station for row in idle if row.speed is not None]
    shots = [row.station for row in idle if row.speed is None]
    for name, stations in (("Beads", along), ("Pots", shots), ("Joints", shots)):
        if bare and stations and not getattr(plan, name.lower()):
            yield _says(
                f"{name}!A1",
                f"table {name} has no rows: nothing is dispensed at {listed(stations)}, and "
                f"{listed(bare)} get no material",
                f"it holds {BY_NAME[name].help}",
            )


def _numbers(plan: Plan) -> Iterator[Problem]:
    """Shifts with more parts than any line makes."""
    scrap: dict[str, float] = {}
    for item in applied_rows(plan):
        scrap[item.part] = max(scrap.get(item.part, 0.0), plan.station(item.station).scrap)
    for part in scrap:
        good = math.prod(1.0 - plan.station(row.station).scrap for row in route_of(plan, part))
        scrap[part] = max(scrap[part], 1.0 - good)
    started_for_one = {
        name: sum(count / (1.0 - scrap[part]) for part, count in plan.explode(name).items() if part in scrap)
        for name in {row.part for row in plan.builds}
    }
    for (date, name), rows in plan.group(Build, "date", "shift").items():
        started = sum(row.quantity * started_for_one[row.part] for row in rows)
        if started > MOST_STARTED:
            yield _says(
                plan.cell(rows[0], "quantity"),
                f"shift {name} of {date} starts {started:.4g} parts, more than {MOST_STARTED}",
                "check quantities, counts of assemblies and scrap",
            )


def _standing(plan: Plan) -> Iterator[Problem]:
    """What cannot stand at a station."""
    for row in plan.standing:
        for column, words in wrong_with(plan, row):
            yield _says(plan.cell(row, column), f"{STANDING.column(column).title}: {words}")


def _stock(plan: Plan) -> Iterator[Problem]:
    """Materials whose whole stock has expired before the first build."""
    dates = [row.date for row in plan.builds]
    if not dates:
        return
    first = min(dates)
    groups: dict[tuple[str, str], list[StockLot]] = {}
    for row in plan.stock:
        groups.setdefault((row.material, row.component), []).append(row)
    for (material, component), rows in groups.items():
        if component not in plan.components_of(material):
            yield _says(
                plan.cell(rows[0], "component"),
                f"{material} has no component {component.upper()} in Components",
            )
            continue
        if all(row.expiry < first for row in rows):
            last = max(row.expiry for row in rows)
            yield _says(
                plan.cell(rows[0], "expiry"),
                f"all stock of {material} {component.upper()} expires by {last}, "
                f"before the first build on {first}",
                "correct the dates or order new",
            )
        for row in rows:
            if row.opened is not None and row.opened > row.expiry:
                yield _says(plan.cell(row, "opened"), f"lot {row.lot} was opened after it expired")
