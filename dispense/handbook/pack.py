"""Heat of compound poured between round cells: how hot compound, skin of the cells and cells get.

    ρc·∂T/∂t = ∇·(k·∇T) + (ρc)_f·ΔT·∂α/∂t,   ∂α/∂t = f(α, T) in the compound

in cells, compound, walls and base plate as bodies of their own, in perfect contact. One code makes several
cuts of it, since no single one sees everything at a bearable price:

- `corner_cut`: the corner of the block in three dimensions, a few cells each way, mirror planes inside:
  margins, base, depth, layer over the cells, bare cell tops;
- `depth_cut`: one cell and the ring of compound that belongs to it, with base and free face, the rim of its
  skin in the finest detail; it knows no margins and reads them tens of kelvin too cold, so it never stands
  alone;
- `section_cut`: a plane across the cells, infinitely high. What cures over hours loses its heat by base and
  free face, which a section does not know: it reads such a pour ten and more kelvin too hot. It serves to
  prove the boxes against plane solutions and judges no pour.

`pack_heat` takes the hottest of corner and depth and says which it was, with an error from a coarser run.

A pour that runs away can burn, smoke and vent cells. The figures here plan a trial; they do not
replace it. Heed the safety data sheet, the maker's largest mass in one pour and local codes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from ..base.errors import InputError
from ..base.fields import choice, number, whole
from ..base.kept import kept
from ..base.numbers import Floats, Number
from .cure import COMPLETE, KINETICS, Kinetics, as_kinetics
from .declare import example, out, requires, workbook_function
from .heat import check_seed
from .pack_boxes import (
    CELLS,
    CLEAR,
    PLATE,
    Bodies,
    Films,
    Layer,
    Solid,
    Stack,
    Stage,
    block_centres,
    block_plane,
    graded,
    ring_plane,
    row_spacing,
)
from .pack_step import HeatBalance, March, inner_product

ARRANGEMENTS = ("square", "alternating", "staggered")

_COARSER = 1.41  # times wider boxes of the run that the error is estimated from
_LOOSER = 1.5  # times longer steps of it
_STEPS = {"section": (1.3e-3, 10e-3), "corner": (2.5e-3, 10.5e-3)}  # width of a box at a radius, m
_RING_STEP = 0.5e-3  # m
_MOST = {"section": 8, "corner": 4}  # cells each way of the block that stands for a larger one
_OVER = 0.2  # K below their highest, from which temperatures count as past it
# what a round cell, a wall of plastic or metal have where nothing is stated: common practice, no source
CELL_DENSITY = 2600.0  # kg/m³
CELL_HEAT = 900.0  # J/(kg·K)
CELL_CONDUCTIVITY = 1.0  # W/(m·K) across the axis
CELL_AXIAL = 20.0  # W/(m·K) along it
WALL_CAPACITY = 2.0e6  # J/(m³·K): plastics 1.6, metals 2.4 to 3.5
_WIDEST_MARGIN = 0.06  # m; heat from further off comes too late to count
_MOST_LAYERS = 24  # widths of the coarsest layer in the height
_LEAST_LAYERS = 4  # boxes through compound over or under the cells, however thin
DAY = 86400.0  # s, that a pack is followed after the last shot


class PackShot(NamedTuple):
    """Compound poured: level that it reaches over the base, wait after the shot before, temperature."""

    level: float
    wait: float
    temperature: float


@dataclass(frozen=True, slots=True)
class Pack:
    """Cells in a box, compound between them; SI units.

    `square`, `alternating` rows of n and n − 1 cells, or `staggered` rows of n cells each, every other
    one half a pitch further. Margins are the least thickness of compound between cells and the inner
    faces of the walls. Cells stand `under` over the base plate.
    """

    arrangement: str
    along: int
    rows: int
    pitch: float
    diameter: float
    height: float
    margin_along: float
    margin_across: float
    wall: float
    base: float
    bodies: Bodies
    films: Films
    kinetics: Kinetics
    air: float
    cold: float  # temperature of cells, walls and base at the begin
    shots: tuple[PackShot, ...]
    seed: float = 0.0  # degree of cure as poured
    under: float = 0.0
    duration: float = DAY  # followed after the last shot
    to_the_end: bool = False  # followed on where no peak can be passed any more

    @property
    def radius(self) -> float:
        """Of a cell."""
        return 0.5 * self.diameter

    @property
    def ring(self) -> float:
        """Radius of the circle that has the area of one cell of the array."""
        return math.sqrt(self.pitch * row_spacing(self.arrangement, self.pitch) / math.pi)

    @property
    def depth(self) -> float:
        """Level of the last shot."""
        return self.shots[-1].level

    def half_sizes(self, along: int, rows: int) -> tuple[float, float]:
        """From the middle to the inner faces of the walls, for a block of so many cells."""
        spacing = row_spacing(self.arrangement, self.pitch)
        return (
            0.5 * (along - 1) * self.pitch + self.radius + min(self.margin_along, _WIDEST_MARGIN),
            0.5 * (rows - 1) * spacing + self.radius + min(self.margin_across, _WIDEST_MARGIN),
        )

    def smaller(self, most: int) -> tuple[str, int, int]:
        """Arrangement and cells of a block of at most so many each way, with the same corners.

        Of staggered rows each end is like the left end of alternating ones, the right end mirrored.
        """
        along, rows = (_fewer(count, most) for count in (self.along, self.rows))
        if self.arrangement == "square" or self.rows == 1:
            return "square", along, rows
        if self.arrangement == "staggered":
            return "alternating", along + 1, rows + rows % 2
        return "alternating", along, rows


def _fewer(count: int, most: int) -> int:
    """The largest number up to `most` that is odd or even as the count is."""
    return count if count <= most else most - (most - count) % 2


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest of a temperature: K, s after the first shot, place (m; height over the base)."""

    value: float = -math.inf
    time: float = 0.0
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(slots=True)
class Cut:
    """What one cut gave: at each time the hottest compound, skin and mean of a cell, K."""

    name: str
    times: Floats
    compound: Floats
    skin: Floats
    mean: Floats
    middle: Floats  # mean of the cell nearest to the middle of the block
    corner: Floats  # mean of the cell furthest from it
    compound_peak: Peak
    skin_peak: Peak
    mean_peak: Peak
    least_degree: float
    most_degree: float
    balance: HeatBalance
    boxes: int
    steps: int
    waits: list[tuple[float, float]]  # before each later shot: hottest compound and cell mean, K
    temperatures: Floats = field(repr=False)  # of all boxes at the end
    degrees: Floats = field(repr=False)

    @property
    def is_past(self) -> bool:
        """Whether all three have come down from their highest at the end."""
        return all(
            row[-1] < peak.value - 1e-9
            for row, peak in (
                (self.compound, self.compound_peak),
                (self.skin, self.skin_peak),
                (self.mean, self.mean_peak),
            )
        )


class _Watch:
    """Collects each step of the stages; tells when all peaks are past."""

    def __init__(self, stack: Stack, is_last: Callable[[], bool]):
        self.stack, self.is_last = stack, is_last
        self.rows: list[tuple[float, float, float, float, float, float]] = []
        self.peaks = [Peak(), Peak(), Peak()]
        self.begin = 0.0
        self.stage: Stage | None = None
        centres = stack.plane.centres
        away = np.hypot(centres[:, 0], centres[:, 1])
        self.middle, self.corner = int(away.argmin()), int(away.argmax())

    def enter(self, stage: Stage, begin: float, temperature: Floats) -> None:
        """A new stage at a time; its first state."""
        self.stage, self.begin = stage, begin
        self.recent: list[list[tuple[float, float]]] = [[], [], []]
        self(0.0, temperature, np.zeros(0))

    def __call__(self, time: float, temperature: Floats, degree: Floats) -> bool:
        stage = self.stage
        assert stage is not None
        now = self.begin + time
        compound = temperature[stage.compound]
        skin, means = stage.skin @ temperature, stage.means @ temperature
        values = float(compound.max()), float(skin.max()), float(means.max())
        self.rows.append((now, *values, float(means[self.middle]), float(means[self.corner])))
        places = (self._compound_place, self._skin_place, self._mean_place)
        arrays = (compound, skin, means)
        for kind, value in enumerate(values):
            recent = self.recent[kind]
            recent.append((now, value))
            if value > self.peaks[kind].value:
                self.peaks[kind] = Peak(value, now, places[kind](int(arrays[kind].argmax())))
            if len(recent) > 3:
                del recent[0]
            if len(recent) == 3 and recent[1][1] >= max(recent[0][1], recent[2][1]):
                top, at = _vertex(recent)
                if recent[1][1] >= self.peaks[kind].value:
                    self.peaks[kind] = replace(self.peaks[kind], value=top, time=at)
        return degree.size > 0 and self.is_last() and self._is_past(values, temperature, degree)

    def _is_past(self, values: Sequence[float], temperature: Floats, degree: Floats) -> bool:
        """Whether no peak can be passed any more by what is left to react."""
        stage = self.stage
        assert stage is not None
        if any(value > peak.value - _OVER for value, peak in zip(values, self.peaks, strict=True)):
            return False
        boxes = stage.boxes
        left = boxes.release * (1.0 - degree)
        hottest = float((temperature + left / boxes.capacity).max())
        whole = inner_product(boxes.capacity, temperature) + float(left.sum())
        whole /= float(boxes.capacity.sum())
        return hottest < self.peaks[0].value and whole < min(self.peaks[1].value, self.peaks[2].value)

    def _compound_place(self, place: int) -> tuple[float, float, float]:
        stage = self.stage
        assert stage is not None
        layer, box = divmod(int(stage.there[stage.compound[place]]), self.stack.plane.area.size)
        x, y = self.stack.plane.places[box]
        return float(x), float(y), self.stack.layers[layer].middle

    def _skin_place(self, place: int) -> tuple[float, float, float]:
        assert self.stage is not None
        x, y, z = self.stage.skin_places[place]
        return float(x), float(y), float(z)

    def _mean_place(self, place: int) -> tuple[float, float, float]:
        x, y = self.stack.plane.centres[place]
        return float(x), float(y), math.nan


def _vertex(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Top of the parabola through three points, and where it is."""
    (t0, v0), (t1, v1), (t2, v2) = points
    left, right = (v1 - v0) / (t1 - t0), (v2 - v1) / (t2 - t1)
    curve = (right - left) / (t2 - t0)
    if curve >= 0.0:
        return v1, t1
    at = 0.5 * (t0 + t1) - 0.5 * left / curve
    return v1 + (at - t1) * (left + curve * (at - t0)), at


def _follow(
    name: str, stack: Stack, pack: Pack, shots: Sequence[PackShot], cold: float, strictness: float
) -> Cut:
    """A stack of boxes through all its shots."""
    march = March(pack.kinetics, pack.air, strictness)
    temperature = np.full(stack.count, float(cold))
    degree = np.full(stack.count, float(pack.seed))
    capacity = stack.cold_capacity()
    now, place, waits = 0.0, 0, []
    watch = _Watch(stack, lambda: place == len(shots) - 1 and not pack.to_the_end)
    boxes = 0
    for place, shot in enumerate(shots):
        stage = stack.stage(shot.level)
        if place:
            now += shot.wait
            waits.append((watch.rows[-1][1], watch.rows[-1][3]))
        filled = np.zeros(stack.count)
        filled[stage.there] = stage.boxes.capacity
        added = filled - capacity
        held = capacity * temperature + added * shot.temperature
        temperature = held / np.where(filled > 0.0, filled, 1.0)
        capacity = filled
        span = shots[place + 1].wait if place + 1 < len(shots) else pack.duration
        watch.enter(stage, now, temperature[stage.there])
        if span > 0.0:
            inside, cured = march.run(stage.boxes, temperature[stage.there], degree[stage.there], span, watch)
            temperature[stage.there], degree[stage.there] = inside, cured
        boxes = stage.there.size
    reacting = stage.there[stage.compound]
    table = np.array(watch.rows)
    return Cut(
        name,
        table[:, 0],
        table[:, 1],
        table[:, 2],
        table[:, 3],
        table[:, 4],
        table[:, 5],
        watch.peaks[0],
        watch.peaks[1],
        watch.peaks[2],
        float(degree[reacting].min()),
        float(degree[reacting].max()),
        march.balance,
        boxes,
        march.steps,
        waits,
        temperature,
        degree,
    )


def _width(kind: str, radius: float, factor: float) -> float:
    """Width of a box: it grows with the root of the radius."""
    width, of = _STEPS[kind]
    return width * math.sqrt(radius / of) * factor


def _block(pack: Pack, kind: str, step: float, most: int) -> Stack:
    arrangement, along, rows = pack.smaller(most)
    centres = block_centres(arrangement, along, rows, pack.pitch)
    plane = block_plane(centres, pack.radius, *pack.half_sizes(along, rows), pack.wall, step)
    if kind == "section":
        return Stack(plane, [Layer(CELLS, 0.0, 1.0)], pack.bodies, pack.films, is_section=True)
    return Stack(plane, _layers(pack, 3.0 * step, 1.6, 0.2), pack.bodies, pack.films)


def section_cut(pack: Pack, factor: float = 1.0, *, most: int = _MOST["section"]) -> Cut:
    """A plane across the block, infinitely high: filled at once, at the temperature of the last shot.

    `factor` widens the boxes and lengthens the steps; `most` cells each way stand for larger blocks.
    """
    stack = _block(pack, "section", _width("section", pack.radius, factor), most)
    shot = PackShot(0.0, 0.0, max(shot.temperature for shot in pack.shots))
    return _follow("section", stack, pack, [shot], pack.cold, _strictness(factor))


def corner_cut(pack: Pack, factor: float = 1.0, *, most: int = _MOST["corner"]) -> Cut:
    """The corner of the block in three dimensions."""
    stack = _block(pack, "corner", _width("corner", pack.radius, factor), most)
    return _follow("corner", stack, pack, pack.shots, pack.cold, _strictness(factor))


def depth_cut(pack: Pack, factor: float = 1.0) -> Cut:
    """One cell and its ring of compound, from the base to the free face."""
    step = _RING_STEP * factor
    plane = ring_plane(pack.radius, pack.ring, step)
    stack = Stack(plane, _layers(pack, 4.0 * step, 1.4, 0.1), pack.bodies, pack.films)
    return _follow("depth", stack, pack, pack.shots, pack.cold, _strictness(factor))


def _strictness(factor: float) -> float:
    """Steps lengthen with the boxes: 1.5 times where boxes are 1.41 times as wide."""
    return float(factor ** (math.log(_LOOSER) / math.log(_COARSER)))


def _layers(pack: Pack, coarse: float, growth: float, finest: float) -> list[Layer]:
    """Layers from the base up: a share `finest` of the coarsest at base, levels and cell tops."""
    top = max(pack.depth, pack.under + pack.height)
    coarse = max(coarse, top / _MOST_LAYERS)
    marks = {0.0, pack.under, pack.under + pack.height, *(shot.level for shot in pack.shots)}
    faces = sorted(mark for mark in marks if mark <= top)
    layers = []
    if pack.base > 0.0:
        lines = np.linspace(-pack.base, 0.0, 3)
        layers = [Layer(PLATE, float(a), float(b - a)) for a, b in pairwise(lines)]
    for low, high in pairwise(faces):
        if high - low < 1e-6:
            continue
        is_beside = pack.under <= 0.5 * (low + high) <= pack.under + pack.height
        lines = low + graded(high - low, coarse, True, True, growth, finest)
        if not is_beside and len(lines) <= _LEAST_LAYERS:
            lines = np.linspace(low, high, _LEAST_LAYERS + 1)
        layers += [Layer(CELLS if is_beside else CLEAR, float(a), float(b - a)) for a, b in pairwise(lines)]
    return layers


@dataclass(frozen=True, slots=True)
class Figure:
    """A highest temperature, which cut gave it, and how far the coarser run was off; SI units."""

    peak: Peak
    plus_minus: float
    cut: str

    @property
    def value(self) -> float:
        """K."""
        return self.peak.value


@dataclass(frozen=True, slots=True)
class PackHeat:
    """How hot a pack gets, of each figure the cut that reads it highest; SI units."""

    compound: Figure
    skin: Figure
    mean: Figure
    cuts: tuple[Cut, ...]
    residual: float  # of the heat balance, the largest of the cuts, as a share
    is_past: bool  # all have come down from their highest at the end

    def cut(self, name: str) -> Cut:
        """One of the cuts."""
        return next(cut for cut in self.cuts if cut.name == name)


CUTS: dict[str, Callable[[Pack, float], Cut]] = {"corner": corner_cut, "depth": depth_cut}
#: what each cut is, in words
CUT_WORDS = {"corner": "corner, 3-D", "depth": "depth"}
#: least ± and factor on what the coarser run is off, for compound and mean, and for the skin
_BANDS = {"depth": ((0.3, 2.0), (1.0, 3.0)), "corner": ((0.7, 2.0), (1.0, 3.0))}


def _figure(kind: str, names: Iterable[str], fine: dict[str, Cut], coarse: dict[str, Cut]) -> Figure:
    """The hottest of some cuts."""
    peaks: dict[str, Peak] = {name: getattr(fine[name], f"{kind}_peak") for name in names}
    name = max(peaks, key=lambda each: peaks[each].value)
    if name not in coarse:
        return Figure(peaks[name], math.nan, name)
    least, factor = _BANDS[name][kind == "skin"]
    off = abs(peaks[name].value - getattr(coarse[name], f"{kind}_peak").value)
    return Figure(peaks[name], max(least, factor * off), name)


@lru_cache(maxsize=64)
@kept
def pack_heat(pack: Pack, estimate: bool = True) -> PackHeat:
    """Corner and depth of a pack, and with `estimate` coarser runs of each.

    The hottest compound and skin are those of the hotter cut, the hottest mean that of the corner.
    """
    fine = {name: cut(pack, 1.0) for name, cut in CUTS.items()}
    coarse = {name: cut(pack, _COARSER) for name, cut in CUTS.items()} if estimate else {}
    return PackHeat(
        _figure("compound", CUTS, fine, coarse),
        _figure("skin", CUTS, fine, coarse),
        _figure("mean", ["corner"], fine, coarse),
        tuple(fine.values()),
        max(cut.balance.residual for cut in fine.values()),
        all(cut.is_past for cut in fine.values()),
    )


_START = number("start", "°C", "temperature of the compound as poured", above=-273.15)
_COLD = number("surroundings", "°C", "temperature of cells, walls and air", above=-273.15)
_CAUTION = (
    "a runaway pour can burn, smoke and vent cells: prove it by a trial with thermocouples away from "
    "charged cells, heed the safety data sheet, the cell maker's limit and the largest mass in one pour"
)


@workbook_function(
    category="Cure and heat",
    arguments=(
        choice("arrangement", ARRANGEMENTS, "square; rows of n and n − 1 alternating; staggered rows of n"),
        whole("along", "cells in a row", at_least=1, at_most=1000),
        whole("rows", "rows", at_least=1, at_most=1000),
        number("diameter", "mm", "diameter of a cell", above=0),
        number("height", "mm", "height of a cell", above=0),
        number("pitch", "mm", "distance between the axes of neighbours", above=0),
        number("margin", "mm", "compound between the outer cells and the walls", above=0),
        number("depth", "mm", "depth of the compound, poured in one shot", above=0),
        _START,
        _COLD,
        KINETICS,
        number("heat", "J/g", "heat of cure per gram of compound, filler included", at_least=0),
        number("density", "g/mL", "density of the compound", above=0),
        number("specific_heat", "J/(g·K)", "specific heat of the compound", above=0),
        number("conductivity", "W/(m·K)", "conductivity of the compound", above=0),
        number("film", "W/(m²·K)", "at walls, free face, cell tops; 10: still air", default=10.0, at_least=0),
        number("wall", "mm", "thickness of walls and base", default=2.0, above=0),
        number("wall_conductivity", "W/(m·K)", "of walls and base; 0.2 is plastic", default=0.2, above=0),
    ),
    returns=(
        out("compound", "°C", "hottest compound"),
        out("skin", "°C", "hottest skin of a cell"),
        out("cell", "°C", "hottest mean of a cell"),
    ),
    equation="ρc·∂T/∂t = ∇·(k·∇T) + ρ·H·dα/dt; corner of the block and depth of one cell, the hotter of each",
    source="energy balance; cut-cell finite volumes; kinetics as CURE_DEGREE",
    valid="round cells that stand on the base in perfect contact, filled at once, no flow of the liquid, "
    "properties constant; underside insulated; walls of 2 J/(mL·K); about 1 K on its grid",
    rule="kinetics fitted on small samples, carried to the temperatures of a pour; " + _CAUTION,
    requires=(COMPLETE, requires(lambda pitch, diameter: pitch > diameter, "pitch", "above the diameter")),
    no_answer="the pour runs away, too quick to compute",
    examples=(
        example(
            ("square", 4, 4, 18, 65, 20, 4, 60, 25, 25, [0.02, 0], 0, 1.2, 1.5, 0.2),
            (25.0, 25.0, 25.0),
            "no heat of cure: it stays at the temperature of the room, by hand",
        ),
    ),
    notes=_CAUTION,
)
def pack_peak(
    arrangement: str,
    along: Number,
    rows: Number,
    diameter: Number,
    height: Number,
    pitch: Number,
    margin: Number,
    depth: Number,
    start: Number,
    surroundings: Number,
    kinetics: Any,
    heat: Number,
    density: Number,
    specific_heat: Number,
    conductivity: Number,
    film: Number | None = 10.0,
    wall: Number = 2e-3,
    wall_conductivity: Number = 0.2,
) -> tuple[Number, Number, Number]:
    """Hottest compound, skin of a cell and mean of a cell in a block of round cells as it cures.

    >>> from dispense.handbook.cure import NthOrder
    >>> block = "square", 4, 4, 0.018, 0.065, 0.020, 0.004, 0.060, 298.15, 298.15
    >>> inert = NthOrder(1e-3, 0.0), 0.0, 1200.0, 1500.0, 0.2
    >>> [round(float(value), 6) for value in pack_peak(*block, *inert)]
    [298.15, 298.15, 298.15]
    """
    kinetics = as_kinetics(kinetics)
    check_seed("PACK_PEAK", kinetics, heat)
    numbers = (along, rows, diameter, height, pitch, margin, depth, start, surroundings, heat, density)
    columns = np.broadcast_arrays(
        *numbers, specific_heat, conductivity, np.nan if film is None else film, wall, wall_conductivity
    )
    found = np.full((3, columns[0].size), np.nan)
    problems: list[InputError] = []
    for place, row in enumerate(np.stack([np.ravel(column) for column in columns], axis=1).tolist()):
        try:
            hottest = pack_heat(_simple_pack(arrangement, kinetics, row), False)
        except InputError as error:
            problems.append(error)
            continue
        found[:, place] = hottest.compound.value, hottest.skin.value, hottest.mean.value
    if len(problems) == found.shape[1]:
        raise problems[0]
    compound, skin, cell = (values.reshape(columns[0].shape)[()] for values in found)
    return compound, skin, cell


def _simple_pack(arrangement: str, kinetics: Kinetics, row: Sequence[float]) -> Pack:
    """A pack of the few figures of `PACK_PEAK`: usual cells, walls and base alike, underside insulated."""
    along, rows, diameter, height, pitch, margin, depth, start, cold, *of_material = row
    heat, density, specific_heat, k, film, wall, wall_conductivity = of_material
    shell = Solid(wall_conductivity, wall_conductivity, WALL_CAPACITY)
    capacity = density * specific_heat
    return Pack(
        arrangement,
        round(along),
        round(rows),
        pitch,
        diameter,
        height,
        margin,
        margin,
        wall,
        wall,
        Bodies(
            Solid(k, k, capacity),
            heat / specific_heat,
            Solid(CELL_CONDUCTIVITY, CELL_AXIAL, CELL_DENSITY * CELL_HEAT),
            shell,
            shell,
        ),
        Films(film, film, film, 0.0, 0.0),
        kinetics,
        cold,
        cold,
        (PackShot(depth, 0.0, start),),
    )


__all__ = [
    "ARRANGEMENTS",
    "CELL_AXIAL",
    "CELL_CONDUCTIVITY",
    "CELL_DENSITY",
    "CELL_HEAT",
    "CUT_WORDS",
    "Bodies",
    "Cut",
    "Figure",
    "Films",
    "Pack",
    "PackHeat",
    "PackShot",
    "Peak",
    "Solid",
    "WALL_CAPACITY",
    "corner_cut",
    "depth_cut",
    "pack_heat",
    "pack_peak",
    "section_cut",
]
