"""How much goes on each part, and how well that is known.

Each bead, pot and pressed joint of a part becomes one or more `Application` records: what a station
puts on, its volume with low and high, and how long it takes. Tolerances are carried as in a
tolerance chain: the change that each input makes on its own, root sum of squares together, worst
case beside it; the input that matters most is named.

Every tolerance has a source. What a source moves, it moves at once: the shots of a pot share its
cavity and cells, all shots of a station its meter, `count` like beads or pots their tool, all parts
of a kind their drawing. Such errors add; those of different sources are independent.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from ..base.errors import NA, InputError, Problem, needed
from ..base.numbers import EQUAL, Floats
from ..base.units import from_si
from ..handbook.beads import (
    bead_area,
    path_length,
    section_depth,
    section_height,
    spread_width,
    stitch_length,
)
from ..handbook.line import dispense_time
from ..handbook.pots import cavity_volume, cell_displacement, cell_size, pot_fill
from .records import Plan
from .rows import Bead, Insert, Joint, PathPoint, Pot, Shot, Station
from .tables import BOTH_EDGES


@dataclass(frozen=True, slots=True)
class Effect:
    """What one uncertain input does to an amount: its change [m³] at either end of the tolerance.

    `source` is the thing that the tolerance belongs to, such as the level of one pot or the meter of
    one station. Effects of one source move together; a blank source is shared with nothing.
    """

    name: str
    source: tuple[str, ...]
    minus: float  # change with the input at its lower end
    plus: float  # change with the input at its upper end

    @property
    def down(self) -> float:
        """The largest change downward, as a positive number."""
        return max(-self.minus, -self.plus, 0.0)

    @property
    def up(self) -> float:
        """The largest change upward."""
        return max(self.minus, self.plus, 0.0)


@dataclass(frozen=True, slots=True)
class Amount:
    """A volume [m³] and what each input's tolerance does to it.

    low = nominal − √Σ down², high = nominal + √Σ up², worst case with plain sums, over the sources:
    what one source does is added with its sign first (`total`), since it moves all it touches at
    once. No volume is below zero.

    Source: JCGM 100:2008 (GUM), 5.1.2 for independent inputs, 5.2.2 note 1 for correlated ones
    (coefficient +1: the signed contributions add).
    """

    nominal: float
    effects: tuple[Effect, ...] = ()

    @property
    def low(self) -> float:
        """Nominal less the root sum of squares of the changes downward."""
        return max(self.nominal - math.hypot(*(effect.down for effect in self.effects)), 0.0)

    @property
    def high(self) -> float:
        """Nominal and the root sum of squares of the changes upward."""
        return self.nominal + math.hypot(*(effect.up for effect in self.effects))

    @property
    def worst_low(self) -> float:
        """Every input at the end that makes least of it."""
        return max(self.nominal - math.fsum(effect.down for effect in self.effects), 0.0)

    @property
    def worst_high(self) -> float:
        """Every input at the end that makes most of it."""
        return self.nominal + math.fsum(effect.up for effect in self.effects)

    @property
    def drivers(self) -> tuple[tuple[str, float], ...]:
        """Input and half width [m³], the largest first."""
        halves = [(effect.name, 0.5 * (effect.down + effect.up)) for effect in self.effects]
        return tuple(sorted(halves, key=lambda driver: -driver[1]))

    @property
    def main_driver(self) -> str:
        """The input that matters most, "" where none has a tolerance."""
        return self.drivers[0][0] if self.effects else ""

    def scaled(self, factor: float) -> Amount:
        """The same amount taken `factor` times, its errors moving together."""
        return Amount(
            self.nominal * factor,
            tuple(
                Effect(effect.name, effect.source, effect.minus * factor, effect.plus * factor)
                for effect in self.effects
            ),
        )


def total(amounts: Iterable[Amount]) -> Amount:
    """Sum of amounts: what a source does to each adds with its sign, sources are independent.

    >>> level = Effect("level", ("pot", "well", "level"), -1.0, 1.0)
    >>> shots = [Amount(30.0, (level,)), Amount(70.0, (level,))]
    >>> total(shots).high, total([shots[0], Amount(70.0, (Effect("width", (), -0.75, 0.75),))]).high
    (102.0, 101.25)
    """
    items = list(amounts)
    shared: dict[tuple[str, ...], list[Effect]] = {}
    apart: list[Effect] = []
    for effect in (effect for item in items for effect in item.effects):
        if effect.source:
            shared.setdefault(effect.source, []).append(effect)
        else:
            apart.append(effect)
    joined = [
        Effect(
            group[0].name,
            source,
            math.fsum(effect.minus for effect in group),
            math.fsum(effect.plus for effect in group),
        )
        for source, group in shared.items()
    ]
    return Amount(math.fsum(item.nominal for item in items), (*joined, *apart))


def spread(
    volume: Callable[..., float],
    nominal: Mapping[str, float],
    tolerances: Mapping[str, float],
    sources: Mapping[str, tuple[str, ...]] | None = None,
) -> Amount:
    """An amount from a formula, its nominal inputs and their tolerances (plus or minus).

    Each input is moved alone to both ends of its tolerance. `sources` names what an input's
    tolerance belongs to; an input without one shares it with nothing.
    """
    middle = float(volume(**nominal))
    effects = []
    for name, tolerance in tolerances.items():
        if not tolerance:
            continue
        ends = [
            float(volume(**{**nominal, name: max(nominal[name] + sign * tolerance, 0.0)}))
            for sign in (-1.0, 1.0)
        ]
        minus, plus = (end - middle if math.isfinite(end) else 0.0 for end in ends)
        effects.append(Effect(name, (sources or {}).get(name, ()), minus, plus))
    return Amount(middle, tuple(effects))


def meter_source(station: Station) -> tuple[str, ...]:
    """What the tolerance of a meter belongs to: the station's calibration, the same for every shot."""
    return "station", station.station, "meter"


@dataclass(frozen=True, slots=True)
class Application:
    """One visit of a part to a station: what is put on, how much, how long it takes.

    `wait` is the time that must pass after the visit before (the first has 0); `height` the
    thickness of the material, as joined where it is.
    """

    part: str
    name: str
    kind: str  # bead, pot, joint
    station: str
    shot: int
    amount: Amount
    time: float
    wait: float = 0.0
    height: float | None = None
    detail: str = ""


def applications(plan: Plan, part: str) -> list[Application]:
    """Everything that is put on one part, in the order of the tables."""
    cache: dict[str, list[Application]] = plan.kept("applications")
    if part not in cache:
        found: list[Application] = []
        for bead in plan.group(Bead, "part").get(part, ()):
            found.append(bead_application(plan, bead))
        for pot in plan.group(Pot, "part").get(part, ()):
            found.extend(pot_applications(plan, pot))
        for joint in plan.group(Joint, "part").get(part, ()):
            found.append(joint_application(plan, joint))
        cache[part] = found
    return cache[part]


# ------------------------------------------------------------------------------------------ beads


def applied_at(plan: Plan, part: str, station: Station) -> list[Application]:
    """What a station puts on a part, in order."""
    cache: dict[str, dict[str, list[Application]]] = plan.kept("applied")
    of_part = cache.get(part)
    if of_part is None:
        of_part = cache[part] = {}
        for item in applications(plan, part):
            of_part.setdefault(item.station, []).append(item)
    return of_part.get(station.station, [])


def in_one_go(items: Iterable[Application]) -> list[list[Application]]:
    """Shots grouped into what is put on in one go: a wait begins a new group."""
    groups: list[list[Application]] = []
    for item in items:
        if not groups or item.wait > 0.0:
            groups.append([item])
        else:
            groups[-1].append(item)
    return groups


def station_work(plan: Plan, part: str, station: Station) -> float:
    """Time that a part takes at a station, loading for each of its visits with it, waits apart [s]."""
    items = applied_at(plan, part, station)
    return math.fsum(item.time for item in items) + len(in_one_go(items)) * station.handling_time


def parts_started(good: int, station: Station) -> int:
    """Whole parts that must be started at a station for so many good ones: good/(1 − scrap)."""
    return math.ceil(good / (1.0 - station.scrap) - EQUAL)


def spread_scrap(started: int, lost: int) -> list[bool]:
    """Which of the parts started are lost: spread evenly among them.

    >>> spread_scrap(5, 2)
    [False, False, True, False, True]
    """
    return [(place + 1) * lost // started > place * lost // started for place in range(started)]


def path_points(plan: Plan, name: str) -> tuple[Floats, list[str]]:
    """Coordinates and motions of a path."""
    rows = plan.group(PathPoint, "path")[name]
    return np.array([[row.x, row.y, row.z] for row in rows]), [row.motion for row in rows]


def bead_length(plan: Plan, bead: Bead) -> float:
    """Length of a bead along its path [m]; runs and gaps of a stitched bead together."""
    if bead.path:
        coordinates, motions = path_points(plan, bead.path)
        return float(path_length(coordinates, labels=motions, closed=bead.closed))
    return needed(bead.length, bead.at, "length")


def deposited_length(length: float, bead: Bead) -> float:
    """Length that gets material: all of it, or the runs of a stitched bead."""
    if bead.run is None:
        return length
    return float(stitch_length(length, bead.run, needed(bead.gap, bead.at, "gap")))


def bead_runs(length: float, bead: Bead) -> int:
    """Number of starts of one bead."""
    if bead.run is None:
        return 1
    return max(1, math.ceil(length / (bead.run + needed(bead.gap, bead.at, "gap")) - EQUAL))


def bead_application(plan: Plan, bead: Bead) -> Application:
    """The volume and time of a bead."""
    station = plan.station(bead.station)
    length = bead_length(plan, bead)

    def volume(width: float, height: float, length: float, meter: float) -> float:
        area = bead_area(bead.section, width, height or None, bead.contact_angle)
        return float(area * deposited_length(length, bead) * bead.count * meter)

    nominal = {"width": bead.width, "height": bead.height or 0.0, "length": length, "meter": 1.0}
    amount = spread(
        volume,
        nominal,
        {
            "width": bead.width_tolerance,
            "height": bead.height_tolerance if bead.height else 0.0,
            "length": bead.length_tolerance,
            "meter": station.meter_tolerance,
        },
        {name: ("bead", bead.part, bead.bead, name) for name in ("width", "height", "length")}
        | {"meter": meter_source(station)},
    )
    starts = bead_runs(length, bead) * bead.count
    if station.speed:
        time = float(dispense_time(length * bead.count, station.speed, starts, station.start_time))
    else:
        time = (amount.nominal / station.flow if station.flow else 0.0) + starts * station.start_time
    return Application(
        bead.part,
        bead.bead,
        "bead",
        bead.station,
        1,
        amount,
        time,
        0.0,
        bead.bond_line or bead_height(bead),
        _bead_words(bead, length),
    )


def bead_height(bead: Bead) -> float:
    """Height of a bead over its base as laid [m]."""
    return float(section_height(bead.section, bead.width, bead.height, bead.contact_angle))


def _bead_words(bead: Bead, length: float) -> str:
    size = f"{from_si(bead.width, 'mm'):g}"
    if bead.height:
        size += f" × {from_si(bead.height, 'mm'):g}"
    words = f"{bead.section} {size} mm, {from_si(length, 'mm'):.0f} mm"
    if bead.run is not None:
        gap = needed(bead.gap, bead.at, "gap")
        words += f", runs of {from_si(bead.run, 'mm'):g} mm, gaps of {from_si(gap, 'mm'):g} mm"
    return words + (f", {bead.count} times" if bead.count > 1 else "")


# --------------------------------------------------------------------------------- depth of the cure


@dataclass(frozen=True, slots=True)
class PressedWidth:
    """Width of a bead pressed to its bond line with square edges, whatever its flange is [m]."""

    nominal: float
    low: float
    high: float


def pressed_width(plan: Plan, bead: Bead) -> PressedWidth | None:
    """Width of a pressed bead, with what its amount may be; None where no bond line is stated."""
    if bead.bond_line is None:
        return None
    amount = bead_application(plan, bead).amount
    area = float(bead_area(bead.section, bead.width, bead.height, bead.contact_angle))
    width = float(spread_width(area, bead.bond_line))
    return PressedWidth(width, width * (amount.low / amount.nominal), width * (amount.high / amount.nominal))


def is_pressed(bead: Bead) -> bool:
    """Whether a bead reaches the other face of its joint."""
    return bead.bond_line is not None and bead_height(bead) >= bead.bond_line


def bead_depth(plan: Plan, bead: Bead) -> float:
    """How deep moisture must reach in a bead [m].

    Between two faces air meets the edges alone: half the pressed width at its high tolerance, all of it
    where only one edge is open; the flange holds no more than its width. Else from its face to its base.
    """
    width = pressed_width(plan, bead)
    if width is None or not is_pressed(bead):
        return float(section_depth(bead.section, bead.width, bead.height, bead.contact_angle))
    return min(width.high, bead.flange_width or math.inf) / (bead.open_edges or BOTH_EDGES)


def moisture_depths(plan: Plan, station: str, part: str | None = None) -> list[tuple[str, str, float]]:
    """Part, name and depth [m] that moisture must reach of all that a station puts on (a part).

    A pot is reached from its free face, the paste under a plate from the two long edges.
    """
    found = [(bead.part, bead.bead, bead_depth(plan, bead)) for bead in plan.beads if bead.station == station]
    found += [(pot.part, pot.pot, pot.level) for pot in plan.pots if pot.station == station]
    found += [
        (joint.part, joint.joint, min(joint.length, joint.width) / 2.0)
        for joint in plan.joints
        if joint.station == station
    ]
    return [row for row in found if part is None or row[0] == part]


# ------------------------------------------------------------------------------------------- pots


def cell_dimensions(pot: Pot) -> tuple[float, float]:
    """Diameter and height of a pot's cells [m]: as entered, else nominal from the code."""
    if not pot.cells:
        return 0.0, 0.0
    diameter, height = pot.cell_diameter, pot.cell_height
    if diameter is None or height is None:
        if not pot.cell:
            raise InputError(
                Problem(
                    pot.at,
                    message=f"pot {pot.pot} has cells but neither a cell code nor a diameter and height",
                    fix="give cell, or cell diameter and cell height",
                )
            )
        sizes = [float(value) for value in cell_size(pot.cell)]
        if not all(map(math.isfinite, sizes)):
            raise InputError(Problem(pot.at, "cell", pot.cell, "a round cell's code such as 21700", code=NA))
        diameter = sizes[0] if diameter is None else diameter
        height = sizes[1] if height is None else height
    return diameter, height


def insert_volume(insert: Insert, level: float) -> float:
    """Volume of an insert below a level [m³]."""
    if insert.shape == "cylinder":
        area = math.pi * insert.length**2 / 4.0
    else:
        area = insert.length * needed(insert.width, insert.at, "width")
    return area * min(max(level - insert.base, 0.0), insert.height) * insert.count


def free_volume(
    plan: Plan,
    pot: Pot,
    level: float,
    *,
    length: float | None = None,
    width: float | None = None,
    cell_diameter: float | None = None,
) -> float:
    """Volume between walls, cells and inserts up to a level [m³]."""
    diameter, height = cell_dimensions(pot)
    diameter = diameter if cell_diameter is None else cell_diameter
    cavity = float(
        cavity_volume(
            pot.shape,
            level,
            pot.length if length is None else length,
            pot.width if width is None else width,
            pot.draft,
        )
    )
    immersed = min(max(level - pot.cell_base, 0.0), height)
    displaced = float(cell_displacement(pot.cells, diameter, immersed)) if pot.cells else 0.0
    inserts = plan.group(Insert, "part", "pot").get((pot.part, pot.pot), ())
    return cavity - displaced - math.fsum(insert_volume(insert, level) for insert in inserts)


def pot_amount(plan: Plan, pot: Pot) -> Amount:
    """Liquid to pour into a pot, all shots together."""
    station = plan.station(pot.station)
    material = plan.material(station.material)
    diameter, _ = cell_dimensions(pot)

    def volume(length: float, width: float, level: float, cell_diameter: float, meter: float) -> float:
        free = free_volume(
            plan, pot, level, length=length, width=width if pot.width else None, cell_diameter=cell_diameter
        )
        poured = float(pot_fill(free, 0.0, pot.unfilled, pot.extra, material.shrinkage))
        return poured * pot.count * meter

    nominal = {
        "length": pot.length,
        "width": pot.width or 0.0,
        "level": pot.level,
        "cell_diameter": diameter,
        "meter": 1.0,
    }
    return spread(
        volume,
        nominal,
        {
            "length": pot.length_tolerance,
            "width": pot.width_tolerance if pot.width else 0.0,
            "level": pot.level_tolerance,
            "cell_diameter": pot.cell_diameter_tolerance if pot.cells else 0.0,
            "meter": station.meter_tolerance,
        },
        {name: ("pot", pot.part, pot.pot, name) for name in ("length", "width", "level", "cell_diameter")}
        | {"meter": meter_source(station)},
    )


def level_reached(plan: Plan, pot: Pot, poured: float) -> float:
    """Level [m] that a poured volume [m³] of liquid reaches in one pot once cured; NaN over the wall.

    The inverse of `pot_amount` for one pot: extra material first, then air and shrinkage.
    """
    material = plan.material(plan.station(pot.station).material)
    solid = (poured - pot.extra) * (1.0 - material.shrinkage) / (1.0 - pot.unfilled)
    if solid <= 0.0:
        return 0.0
    if free_volume(plan, pot, pot.depth) < solid * (1.0 - 1e-12):
        return math.nan
    low, high = 0.0, pot.depth
    while high - low > 1e-13 * pot.depth:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if free_volume(plan, pot, middle) < solid:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def pot_shots(plan: Plan, pot: Pot) -> list[tuple[int, float, float]]:
    """Shots of a pot: number, share of the volume, wait [s]."""
    rows = plan.group(Shot, "part", "pot").get((pot.part, pot.pot), ())
    if not rows:
        return [(1, 1.0, 0.0)]
    rows = sorted(rows, key=lambda row: row.shot)
    return [(row.shot, row.portion, row.wait) for row in rows]


def pot_applications(plan: Plan, pot: Pot) -> list[Application]:
    """One application for each shot of a pot."""
    station = plan.station(pot.station)
    amount = pot_amount(plan, pot)
    shrinks = plan.material(station.material).shrinkage > 0.0
    found = []
    poured = 0.0
    for number, portion, wait in pot_shots(plan, pot):
        part = amount.scaled(portion)
        poured += part.nominal / pot.count
        level = level_reached(plan, pot, min(poured, amount.nominal / pot.count))
        flow = part.nominal / station.flow if station.flow else 0.0
        found.append(
            Application(
                pot.part,
                pot.pot,
                "pot",
                pot.station,
                number,
                part,
                flow + station.start_time * pot.count,
                wait,
                level,
                f"to {from_si(level, 'mm'):.1f} mm"
                + (" cured" if shrinks else "")
                + (f", {pot.count} times" if pot.count > 1 else ""),
            )
        )
    return found


# ----------------------------------------------------------------------------------------- joints


def joint_application(plan: Plan, joint: Joint) -> Application:
    """Paste to be put under a plate."""
    station = plan.station(joint.station)

    def volume(gap: float, meter: float) -> float:
        return joint.length * joint.width * gap * joint.coverage * (1.0 + joint.extra) * joint.count * meter

    amount = spread(
        volume,
        {"gap": joint.gap, "meter": 1.0},
        {"gap": joint.gap_tolerance, "meter": station.meter_tolerance},
        {"gap": ("joint", joint.part, joint.joint, "gap"), "meter": meter_source(station)},
    )
    time = amount.nominal / station.flow if station.flow else 0.0
    time += station.start_time * joint.dots * joint.count + (joint.press_time or 0.0) * joint.count
    return Application(
        joint.part,
        joint.joint,
        "joint",
        joint.station,
        1,
        amount,
        time,
        0.0,
        joint.gap,
        f"bond line {from_si(joint.gap, 'mm'):g} mm",
    )
