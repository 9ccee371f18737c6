"""What goes on each part, worked from the tables with the closed forms; nothing of the planner."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from scipy.optimize import brentq

from . import handbook as hb


@dataclass
class Shot:
    """One visit of the nozzle: mL with low and high, seconds, and what it is."""

    part: str
    name: str
    kind: str
    station: str
    number: int
    volume: float
    low: float
    high: float
    worst_low: float
    worst_high: float
    halves: dict[str, float]
    seconds: float
    wait: float = 0.0
    row: Any = None
    length: float = 0.0
    level: float = 0.0
    area: float = 0.0
    detail: list[Any] = field(default_factory=list)

    @property
    def main(self) -> str:
        """The input that matters most."""
        return max(self.halves, key=lambda name: self.halves[name], default="")


def bead_length(plant, bead) -> float:
    """mm along its path, or as stated."""
    if not bead.path:
        return bead.length
    points = [((row.x, row.y, row.z), row.motion) for row in plant.paths if row.path == bead.path]
    return hb.path_length(points, bool(bead.closed))


def bead_shot(plant, bead, station) -> Shot:
    """Section times the length under the runs; time by the speed over the whole length."""
    length = bead_length(plant, bead)

    def volume(width, height, length, meter):
        area = hb.bead_area(bead.section, width, height or None, bead.contact_angle)
        return area * hb.stitched(length, bead.run, bead.gap)[0] * bead.count * meter / 1000

    found = hb.spread(
        volume, {"width": bead.width, "height": bead.height or 0.0, "length": length, "meter": 1.0},
        {"width": bead.width_tolerance, "height": bead.height_tolerance, "length": bead.length_tolerance,
         "meter": station.meter_tolerance},
    )  # fmt: skip
    starts = hb.stitched(length, bead.run, bead.gap)[1] * bead.count
    if station.speed:
        seconds = length * bead.count / station.speed + starts * station.start_time
    else:
        seconds = found[0] / station.flow + starts * station.start_time
    return Shot(bead.part, bead.bead, "bead", station.station, 1, *found, seconds, row=bead, length=length,
                area=hb.bead_area(bead.section, bead.width, bead.height, bead.contact_angle))


def cell_size(pot) -> tuple[float, float]:
    """Diameter and height of the cells: as entered, else the nominal height of their code."""
    if not pot.cells:
        return 0.0, 0.0
    return pot.cell_diameter, pot.cell_height or hb.CELL_HEIGHTS[pot.cell]


def free_volume(plant, pot, level, length=None, width=None, diameter=None) -> float:
    """mL between walls, cells and inserts up to a level."""
    own, high = cell_size(pot)
    diameter = own if diameter is None else diameter
    walls = hb.cavity(pot.shape, level, length or pot.length, width or pot.width, pot.draft)
    wet = min(max(level - pot.cell_base, 0.0), high)
    taken = pot.cells * math.pi / 4 * diameter**2 * wet / 1000
    for row in plant.inserts:
        if (row.part, row.pot) == (pot.part, pot.pot):
            area = math.pi / 4 * row.length**2 if row.shape == "cylinder" else row.length * row.width
            taken += area * min(max(level - row.base, 0.0), row.height) * row.count / 1000
    return walls - taken


def pot_shots(plant, pot, station) -> list[Shot]:
    """The liquid that cures to the level, in its shots; the cured level after each of them."""
    material = plant.material(station.material)

    def volume(length, width, level, cell_diameter, meter):
        free = free_volume(plant, pot, level, length, width or None, cell_diameter)
        liquid = free * (1 - pot.unfilled) / (1 - material.shrinkage) + pot.extra
        return liquid * pot.count * meter

    middle = {"length": pot.length, "width": pot.width or 0.0, "level": pot.level,
              "cell_diameter": cell_size(pot)[0], "meter": 1.0}  # fmt: skip
    found = hb.spread(volume, middle, {
        "length": pot.length_tolerance, "width": pot.width_tolerance, "level": pot.level_tolerance,
        "cell_diameter": pot.cell_diameter_tolerance, "meter": station.meter_tolerance,
    })  # fmt: skip
    rows = [row for row in plant.shots if (row.part, row.pot) == (pot.part, pot.pot)]
    portions = [(row.shot, row.portion, row.wait) for row in rows] or [(1, 1.0, 0.0)]
    shots, poured = [], 0.0
    for number, portion, wait in portions:
        *amounts, halves = found
        part = [portion * value for value in amounts]
        poured += part[0] / pot.count

        def over(level: float, liquid: float = poured) -> float:
            solid = (liquid - pot.extra) * (1 - material.shrinkage) / (1 - pot.unfilled)
            return free_volume(plant, pot, level) - solid

        level = brentq(over, 1e-6, pot.depth, xtol=1e-12)
        shots.append(
            Shot(pot.part, pot.pot, "pot", station.station, number, *part,
                 {name: half * portion for name, half in halves.items()},
                 part[0] / station.flow + station.start_time * pot.count, wait, pot, level=level)
        )
    return shots


def joint_shot(plant, joint, station) -> Shot:
    """Bond line under the wetted plate, with what is pressed out at the rim."""

    def volume(gap, meter):
        return joint.length * joint.width * gap * joint.coverage * (1 + joint.extra) * joint.count * meter / 1000

    found = hb.spread(volume, {"gap": joint.gap, "meter": 1.0},
                      {"gap": joint.gap_tolerance, "meter": station.meter_tolerance})  # fmt: skip
    seconds = found[0] / station.flow + (station.start_time * joint.dots + (joint.press_time or 0)) * joint.count
    return Shot(joint.part, joint.joint, "joint", station.station, 1, *found, seconds, row=joint)


def shots_of(plant, part: str) -> list[Shot]:
    """Everything that is put on a part: beads, pots, joints, in the order of their tables."""
    stations = {row.station: row for row in plant.stations}
    found = [bead_shot(plant, row, stations[row.station]) for row in plant.beads if row.part == part]
    for row in plant.pots:
        if row.part == part:
            found += pot_shots(plant, row, stations[row.station])
    return found + [joint_shot(plant, row, stations[row.station]) for row in plant.joints if row.part == part]


@dataclass
class Sum:
    """A sum of amounts that err independently: squares of the half widths add."""

    volume: float
    low: float
    high: float
    main: str


def add(items: list[tuple[Shot, float]]) -> Sum:
    """Shots, each taken so many times with one and the same error."""
    volume = sum(shot.volume * times for shot, times in items)
    below = math.sqrt(sum(((shot.volume - shot.low) * times) ** 2 for shot, times in items))
    above = math.sqrt(sum(((shot.high - shot.volume) * times) ** 2 for shot, times in items))
    halves = [(half * times, name) for shot, times in items for name, half in shot.halves.items()]
    return Sum(volume, volume - below, volume + above, max(halves, default=(0.0, ""))[1])


def add_part(shots: list[Shot]) -> Sum:
    """All shots of one part at one station.

    Shots of one pot share its cavity and its cells: the errors of one input add up before the squares
    do, the meter's too, since it is the same meter; pots, beads and joints are independent.
    """
    groups: dict[str, list[Shot]] = {}
    for shot in shots:
        groups.setdefault(shot.name, []).append(shot)
    volume = sum(shot.volume for shot in shots)
    below = math.sqrt(sum(sum(s.volume - s.low for s in group) ** 2 for group in groups.values()))
    above = math.sqrt(sum(sum(s.high - s.volume for s in group) ** 2 for group in groups.values()))
    halves = [
        (sum(s.halves[name] for s in group), name) for group in groups.values() for name in group[0].halves
    ]
    return Sum(volume, volume - below, volume + above, max(halves, default=(0.0, ""))[1])
