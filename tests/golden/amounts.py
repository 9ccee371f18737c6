"""What goes on each part, worked from the tables with the closed forms; nothing of the planner."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from scipy.optimize import brentq

from . import handbook as hb

Source = tuple[str, ...]
Effects = dict[Source, tuple[float, float]]


@dataclass
class Amount:
    """mL, and what each thing with a tolerance does to it at its lower and upper end."""

    volume: float
    effects: Effects

    @property
    def limits(self) -> tuple[float, float, float, float]:
        """Low, high, worst low, worst high."""
        return hb.limits(self.volume, list(self.effects.values()))

    @property
    def low(self) -> float:
        """Root sum of squares downward."""
        return self.limits[0]

    @property
    def high(self) -> float:
        """Root sum of squares upward."""
        return self.limits[1]

    @property
    def main(self) -> str:
        """The input that matters most: largest half width."""
        halves = {
            source: max(-low, -high, 0.0) + max(low, high, 0.0)
            for source, (low, high) in self.effects.items()
        }
        return max(halves, key=lambda source: halves[source])[-1] if halves else ""


def add(items: list[tuple[Amount, float]]) -> Amount:
    """A sum, each amount taken so many times.

    What one thing does to several amounts adds with its sign (JCGM 100:2008, 5.2.2, note 1): the
    cavity and the cells of a pot are the same for its shots, the drawing for all parts of a kind, the
    calibration of a meter for all that the station puts on.
    """
    effects: Effects = {}
    for amount, times in items:
        for source, (low, high) in amount.effects.items():
            before = effects.get(source, (0.0, 0.0))
            effects[source] = before[0] + low * times, before[1] + high * times
    return Amount(sum(amount.volume * times for amount, times in items), effects)


@dataclass
class Shot(Amount):
    """One visit of the nozzle: amount, seconds, and what it is."""

    part: str
    name: str
    kind: str
    station: str
    number: int
    seconds: float
    wait: float = 0.0
    row: Any = None
    length: float = 0.0
    level: float = 0.0
    area: float = 0.0


def _sources(effects: dict[str, tuple[float, float]], station, *own: str) -> Effects:
    """The meter belongs to the station, all else to the bead, pot or joint."""
    return {
        ("station", station.station, name) if name == "meter" else (*own, name): effect
        for name, effect in effects.items()
    }


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

    nominal, effects = hb.spread(
        volume,
        {"width": bead.width, "height": bead.height or 0.0, "length": length, "meter": 1.0},
        {
            "width": bead.width_tolerance,
            "height": bead.height_tolerance,
            "length": bead.length_tolerance,
            "meter": station.meter_tolerance,
        },
    )
    starts = hb.stitched(length, bead.run, bead.gap)[1] * bead.count
    if station.speed:
        seconds = length * bead.count / station.speed + starts * station.start_time
    else:
        seconds = nominal / station.flow + starts * station.start_time
    area = hb.bead_area(bead.section, bead.width, bead.height, bead.contact_angle)
    return Shot(
        nominal,
        _sources(effects, station, bead.part, bead.bead),
        bead.part,
        bead.bead,
        "bead",
        station.station,
        1,
        seconds,
        row=bead,
        length=length,
        area=area,
    )


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

    middle = {
        "length": pot.length,
        "width": pot.width or 0.0,
        "level": pot.level,
        "cell_diameter": cell_size(pot)[0],
        "meter": 1.0,
    }
    nominal, effects = hb.spread(
        volume,
        middle,
        {
            "length": pot.length_tolerance,
            "width": pot.width_tolerance,
            "level": pot.level_tolerance,
            "cell_diameter": pot.cell_diameter_tolerance,
            "meter": station.meter_tolerance,
        },
    )
    rows = [row for row in plant.shots if (row.part, row.pot) == (pot.part, pot.pot)]
    portions = [(row.shot, row.portion, row.wait) for row in rows] or [(1, 1.0, 0.0)]
    shots, poured = [], 0.0
    for number, portion, wait in portions:
        part = nominal * portion
        poured += part / pot.count

        def over(level: float, liquid: float = poured) -> float:
            solid = (liquid - pot.extra) * (1 - material.shrinkage) / (1 - pot.unfilled)
            return free_volume(plant, pot, level) - solid

        level = brentq(over, 1e-6, pot.depth, xtol=1e-12)
        mine = {name: (low * portion, high * portion) for name, (low, high) in effects.items()}
        shots.append(
            Shot(
                part,
                _sources(mine, station, pot.part, pot.pot),
                pot.part,
                pot.pot,
                "pot",
                station.station,
                number,
                part / station.flow + station.start_time * pot.count,
                wait,
                pot,
                level=level,
            )
        )
    return shots


def joint_shot(plant, joint, station) -> Shot:
    """Bond line under the wetted plate, with what is pressed out at the rim."""

    def volume(gap, meter):
        wetted = joint.length * joint.width * joint.coverage
        return wetted * gap * (1 + joint.extra) * joint.count * meter / 1000

    nominal, effects = hb.spread(
        volume,
        {"gap": joint.gap, "meter": 1.0},
        {"gap": joint.gap_tolerance, "meter": station.meter_tolerance},
    )
    pressed = (station.start_time * joint.dots + (joint.press_time or 0.0)) * joint.count
    return Shot(
        nominal,
        _sources(effects, station, joint.part, joint.joint),
        joint.part,
        joint.joint,
        "joint",
        station.station,
        1,
        nominal / station.flow + pressed,
        row=joint,
    )


def shots_of(plant, part: str) -> list[Shot]:
    """Everything that is put on a part: beads, pots, joints, in the order of their tables."""
    stations = {row.station: row for row in plant.stations}
    found = [bead_shot(plant, row, stations[row.station]) for row in plant.beads if row.part == part]
    for row in plant.pots:
        if row.part == part:
            found += pot_shots(plant, row, stations[row.station])
    return found + [joint_shot(plant, row, stations[row.station]) for row in plant.joints if row.part == part]
