"""What is drawn on the printed sheets, made of the model: the shift, the cure of its batches, sections.

Each function gives a picture of the size that its sheet keeps free, or None where there is nothing to
draw. Words stand in the language that is printed; shades and hatches read in grey.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from functools import partial

import numpy as np

from ..base.clock import earliest_text, hhmm
from ..base.language import translated
from ..base.picture import DARK, GREY, HALF, INK, LIGHT, MIDDLE, POINT, TYPE, WHITE, Picture, Spot, box
from ..base.units import HOUR, LONGEST, duration_text, from_si
from ..handbook.pattern import stretches
from ..plan.amounts import Application, bead_height, cell_dimensions, path_points, pot_applications
from ..plan.records import Plan
from ..plan.rows import Bead, Insert, Pot
from ..reports.press import pressed_bead
from ..shift.player import pot_clock
from ..shift.results import Batch, ShiftResult
from ..shift.setup import SetupCard
from .pieces import ML, letter_name

STRIP = (188.0, 28.0)  # mm across and down
LEVELS = (240.0, 30.0)
BARS = (229.0, 32.0)
SECTIONS = (188.0, 21.0)
MOST_SECTIONS = 3  # beside each other

_LANE = 22.0  # mm for the names of lanes
_TEXT = TYPE * 1.25 * POINT  # mm, height of a line of words
_MARK = 1.5  # mm, half of the height of a mark
_CURVE = 60  # points of a curve along a shift
_MOST_HOURS = 36.0  # of a board's bars: what is later has its time beside an arrow
SAME_PLACE = 1e-9  # m
_ROUND = 48  # corners of a circle

Scale = Callable[[float], float]
Panel = Callable[[Picture, float, float], None]  # draws between a left and a right edge [mm]


def drawn(**pictures: Picture | None) -> dict[str, Picture]:
    """Those pictures that there are, by the name of their room."""
    return {name: picture for name, picture in pictures.items() if picture is not None}


# -------------------------------------------------------------------------------------- time scales


def _scale(start: float, end: float, left: float, right: float) -> Scale:
    """Clock seconds to millimetres."""
    per_second = (right - left) / max(end - start, 1.0)
    return lambda clock: left + (min(max(clock, start), end) - start) * per_second


def _hours(picture: Picture, scale: Scale, start: float, end: float, top: float, foot: float) -> None:
    """Lines at the full hours, some of them with their time below."""
    steps = (1, 2, 3, 4, 6, 12, 24)
    room = picture.wide / 9.0  # mm of a time and the gap behind it fit so often
    step = next((each for each in steps if (end - start) / HOUR / each <= room / 1.6), steps[-1])
    hours = range(math.ceil(start / HOUR - 1e-9), math.floor(end / HOUR + 1e-9) + 1)
    picture.line(
        *([(scale(hour * HOUR), top), (scale(hour * HOUR), foot)] for hour in hours if hour % step == 0),
        width=0.4,
        ink=LIGHT,
    )
    for hour in hours:
        if hour % step == 0:
            picture.words((scale(hour * HOUR), foot + 0.3), f"{hour % 24:02d}:00", "ctr")


def _together(spans: Iterable[tuple[float, float]], gap: float) -> list[tuple[float, float]]:
    """Spans of which those that are no further apart than a gap are one.

    >>> _together([(0.0, 1.0), (1.5, 2.0), (9.0, 10.0)], 1.0)
    [(0.0, 2.0), (9.0, 10.0)]
    """
    found: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if found and start - found[-1][1] <= gap:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found


# -------------------------------------------------------------------------------------- the shift


def _square(x: float, y: float) -> list[Spot]:
    return box(x - _MARK, y - _MARK, x + _MARK, y + _MARK)


def _diamond(x: float, y: float) -> list[Spot]:
    return [(x, y - 1.3 * _MARK), (x + _MARK, y), (x, y + 1.3 * _MARK), (x - _MARK, y)]


def _wedge(x: float, y: float) -> list[Spot]:
    return [(x - _MARK, y - _MARK), (x + _MARK, y - _MARK), (x, y + _MARK)]


def _gate(x: float, y: float) -> list[Spot]:
    half = _MARK / 2.0
    return [
        (x - _MARK, y - _MARK),
        (x, y - half / 2.0),
        (x + _MARK, y - _MARK),
        (x + half / 2.0, y),
        (x + _MARK, y + _MARK),
        (x, y + half / 2.0),
        (x - _MARK, y + _MARK),
        (x - half / 2.0, y),
    ]


#: what a hand does, the outline and fill of its mark
MARKS_BY_HAND: dict[str, tuple[Callable[[float, float], list[Spot]], str]] = {
    "container": (_square, DARK),
    "mixer": (_diamond, INK),
    "purge": (_wedge, WHITE),
    "off": (_gate, INK),
}


def shift_strip(plan: Plan, result: ShiftResult) -> Picture | None:
    """The shift from left to right: parts, breaks, what a hand does, checks, the age of the mix."""
    if not result.course.work:
        return None
    wide, high = STRIP
    start, end = result.calendar.start, max(result.calendar.end, result.run_end)
    clock = pot_clock(plan, result.station, result.material) if result.station.mixer_volume > 0.0 else None
    if clock is None:
        high -= 10.0
    picture = Picture(wide, high, translated("Shift strip"), _strip_words(result))
    scale = _scale(start, end, _LANE, wide - 8.0)
    foot = high - _TEXT - 0.5
    _hours(picture, scale, start, end, 0.5, foot)
    gap = max(result.takt, 0.0) if result.takt < math.inf else 0.0
    for name, y in (("Parts", 0.3), ("By hand", 4.7), ("Checks", 9.0)):
        picture.words((0.0, y), translated(name), bold=True)
    spans = _together(((begin, done) for _, begin, done in result.course.work), gap)
    breaks = result.calendar.breaks
    picture.area(*_bars(scale, _cut(spans, breaks), 0.7, 3.9), fill=HALF)
    picture.area(*_bars(scale, breaks, 0.5, 4.1), fill=GREY, edge=GREY, hatch="wdUpDiag")
    for kind, (outline, fill) in MARKS_BY_HAND.items():
        marks = [outline(scale(item.clock), 6.5) for item in result.events if item.kind == kind]
        picture.area(*marks, fill=fill, edge=INK)
    ticks = [scale(item.clock) for item in result.events if item.kind == "check"]
    picture.line(*([(x, 9.4), (x, 12.0)] for x in ticks), width=1.5)
    if clock is not None:
        _saw_tooth(picture, result, scale, clock.used, 13.6, foot)
    picture.line([(_LANE, foot), (wide - 5.0, foot)], width=0.75)
    return picture


def _cut(
    spans: Sequence[tuple[float, float]], breaks: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Spans without the breaks in them."""
    found = list(spans)
    for begin, done in breaks:
        pieces = [((a, min(b, begin)), (max(a, done), b)) for a, b in found]
        found = [piece for pair in pieces for piece in dict.fromkeys(pair) if piece[1] > piece[0]]
    return found


def _bars(scale: Scale, spans: Iterable[tuple[float, float]], top: float, foot: float) -> list[list[Spot]]:
    return [box(scale(a), top, max(scale(b), scale(a) + 0.2), foot) for a, b in spans]


def _saw_tooth(
    picture: Picture,
    result: ShiftResult,
    scale: Scale,
    used: Callable[[float, float], float],
    top: float,
    foot: float,
) -> None:
    """Share of pot life that the oldest mixed material has used, against the limit of the station."""
    limit = result.station.purge_share
    rows = age_curves(result, used)
    most = max([limit, *(share for row in rows for _, share in row)]) * 1.08

    def height(share: float) -> float:
        return foot - (foot - top) * share / most

    picture.words((0.0, (top + foot) / 2.0 - _TEXT), translated("Pot life"), bold=True)
    picture.words((0.0, (top + foot) / 2.0), translated("used"), bold=True)
    right = scale(math.inf)
    picture.line([(_LANE, height(limit)), (right, height(limit))], width=1.25, dash="dash")
    picture.line(*([(scale(at), height(share)) for at, share in row] for row in rows), width=1.0, ink=DARK)
    picture.words((right + 0.8, height(limit) - _TEXT / 2.0), f"{limit:.0%}")


def age_curves(result: ShiftResult, used: Callable[[float, float], float]) -> list[list[tuple[float, float]]]:
    """Clock time and share of pot life used by the oldest material, a row for each stretch of a mixer.

    A tooth falls where fresh material has taken the place of the oldest.
    """
    rows: list[list[tuple[float, float]]] = []
    step = (result.calendar.end - result.calendar.start) / _CURVE
    for _, ages in itertools.groupby(
        sorted(result.course.ages, key=lambda item: (item.nozzle, item.clock)), key=lambda item: item.nozzle
    ):
        row: list[tuple[float, float]] = []
        entered: float | None = None
        for age in ages:
            if entered is not None and row:
                since = row[-1][0]
                count = max(1, math.ceil((age.clock - since) / step))
                times = [since + (age.clock - since) * place / count for place in range(1, count + 1)]
                row += [(at, used(entered, at)) for at in times]
            entered = age.entered
            if entered is None:
                rows.append(row)
                row = []
            else:
                row.append((age.clock, used(entered, age.clock)))
        rows.append(row)
    return [_thinned(row) for row in rows if len(row) > 1]


def _thinned(row: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """A saw-tooth without the points that lie on a straight line for the eye."""
    kept = row[:1]
    for before, point, after in zip(row, row[1:], row[2:], strict=False):
        rise = (after[1] - before[1]) * (point[0] - before[0]) / max(after[0] - before[0], 1e-9)
        if abs(before[1] + rise - point[1]) > 1e-3 and point != kept[-1]:
            kept.append(point)
    return [*kept, row[-1]]


def _strip_words(result: ShiftResult) -> str:
    """What the strip shows, for who cannot see it."""
    kinds = [item.kind for item in result.events]
    day = result.date
    words = (
        f"Shift from {hhmm(result.calendar.start, day)} to {hhmm(result.calendar.end, day)}: "
        f"{len(result.course.work)} visits of parts, {len(result.calendar.breaks)} breaks, "
        f"{kinds.count('container')} containers, {kinds.count('mixer')} mixers, "
        f"{kinds.count('purge')} purges, {kinds.count('check')} checks."
    )
    return translated(words)


# -------------------------------------------------------------------------------------- containers


def container_levels(result: ShiftResult) -> Picture | None:
    """What the connected container of each component still holds, through the shift."""
    levels = {letter: row for letter, row in result.course.levels.items() if len(row) > 1}
    if not levels:
        return None
    wide, high = LEVELS
    picture = Picture(wide, high, translated("Container levels"), _levels_words(levels))
    start, end = result.calendar.start, max(result.calendar.end, result.run_end)
    scale = _scale(start, end, _LANE, wide - 26.0)
    top, foot = 1.5, high - _TEXT - 0.5
    _hours(picture, scale, start, end, top, foot)
    most = max(volume for row in levels.values() for _, volume in row)
    looks = itertools.cycle((("", INK), ("dash", MIDDLE)))
    places: list[float] = []
    for (letter, row), (dash, ink) in zip(levels.items(), looks, strict=False):
        spots = [(scale(at), foot - (foot - top) * volume / most) for at, volume in _steps(row)]
        picture.line(spots, width=1.25, ink=ink, dash=dash)
        name = letter_name(letter, tuple(result.components))
        last = spots[-1][1] - _TEXT / 2.0
        while any(abs(last - other) < _TEXT for other in places):
            last -= _TEXT / 2.0
        places.append(last)
        left = _litres(row[-1][1])
        picture.words((wide - 25.0, last), f"{translated(name)}: {left}")
    picture.words((_LANE - 1.0, top - _TEXT / 4.0), _litres(most), "r")
    picture.words((_LANE - 1.0, foot - _TEXT), "0", "r")
    picture.line([(_LANE, top), (_LANE, foot), (scale(math.inf), foot)], width=0.75)
    return picture


def _steps(row: Sequence[tuple[float, int]]) -> list[tuple[float, int]]:
    """A fall or a fresh container stands upright; a stretch that falls evenly is one line."""
    spots = [row[0]]
    for (_, before), (at, volume) in itertools.pairwise(row):
        if volume > before:
            spots.append((at, before))
        spots.append((at, volume))
    gap = max(1, len(spots) // (4 * _CURVE))
    kept = [
        spot
        for place, spot in enumerate(spots)
        if place % gap == 0
        or place == len(spots) - 1
        or spots[place + 1][1] > spot[1]
        or spots[place - 1][1] < spot[1]
    ]
    return kept


def _litres(volume: float) -> str:
    """A volume [nL] to three figures: 173 L, 45.2 mL."""
    millilitres = volume / ML
    return translated(f"{millilitres / 1000.0:.3g} L" if millilitres >= 1000.0 else f"{millilitres:.3g} mL")


def _levels_words(levels: dict[str, list[tuple[float, int]]]) -> str:
    parts = ", ".join(
        f"{letter.upper()} {_litres(row[0][1])} to {_litres(row[-1][1])}" for letter, row in levels.items()
    )
    return translated(f"Container levels, first and last: {parts}")


# -------------------------------------------------------------------------------------- cure

#: what a batch is from one time to the next: words, fill, hatch
STAGES = (
    ("being dispensed", DARK, ""),
    ("not to be moved", HALF, "dkUpDiag"),
    ("may be moved", HALF, ""),
    ("may be joined", LIGHT, ""),
    ("may be tested", WHITE, ""),
)


def cure_bars(result: ShiftResult) -> Picture | None:
    """A bar for each batch: dispensed, wait, may be moved, joined, tested; its oven and its mating."""
    batches = [
        batch
        for batch in result.batches
        if batch.tightest or batch.cure.profile or any(at is not None for at in _stages(batch)[2:])
    ]
    if not batches:
        return None
    wide, high = BARS
    picture = Picture(wide, high, translated("Cure of the batches"), _bars_words(result, batches))
    start = min(batch.begun for batch in batches)
    last = max(at for batch in batches for at in _stages(batch) if at is not None)
    end = min(last, start + _MOST_HOURS * HOUR) + 0.5 * HOUR
    left = 34.0
    scale = _scale(start, end, left, wide - 6.0)
    top, foot = _TEXT + 1.2, high - _TEXT - 0.5
    _legend(picture, left)
    _hours(picture, scale, start, end, top, foot)
    step = (foot - top) / len(batches)
    every = math.ceil(_TEXT / step)  # of the batches has its name
    for place, batch in enumerate(batches):
        y = top + step * place
        _bar(picture, batch, scale, y + 0.12 * step, y + 0.88 * step)
        if place % every == 0:
            words = f"{batch.number}  {batch.part}"
            picture.words((0.0, y + (step * min(every, 1) - _TEXT) / 2.0), _short(words, left))
    picture.line([(left, foot), (wide - 6.0, foot)], width=0.75)
    return picture


def _short(words: str, room: float) -> str:
    """A text cut to a room [mm] of average letters."""
    most = int(room / (TYPE * 0.52 * POINT))
    return words if len(words) <= most else words[: most - 1] + "…"


def _stages(batch: Batch) -> list[float | None]:
    """Begun, ended, and when all may be moved, joined, tested: clock times, None where never or not known."""
    found = [batch.milestones.get(name) for name in ("move", "join", "test")]
    return [batch.begun, batch.ended, *(at if at is not None and at < LONGEST else None for at in found)]


def _bar(picture: Picture, batch: Batch, scale: Scale, top: float, foot: float) -> None:
    """One batch from left to right."""
    known = [(at, place) for place, at in enumerate(_stages(batch)) if at is not None]
    for (at, place), (until, _) in itertools.pairwise(known):
        _, fill, hatch = STAGES[place]
        if until > at:
            picture.area(box(scale(at), top, scale(until), foot), fill=fill, edge=INK, hatch=hatch)
    ready, _ = known[-1]
    x = scale(ready)
    if scale(ready + HOUR) <= x:  # beyond the page
        picture.area([(x, top), (x + 3.0, (top + foot) / 2.0), (x, foot)], fill=INK)
    else:
        picture.line([(x, top - 0.3), (x, foot + 0.3)], width=2.0)
    if batch.cure.profile and batch.cure.out is not None:
        middle = (top + foot) / 2.0
        picture.line([(scale(batch.ended), middle), (scale(batch.cure.out), middle)], width=2.5, ink=WHITE)
        picture.line([(scale(batch.ended), middle), (scale(batch.cure.out), middle)], width=1.25)
    if batch.tightest is not None:
        x = scale(batch.tightest.latest)
        picture.area([(x - 1.2, top), (x + 1.2, top), (x, foot)], fill=WHITE, edge=INK)


def _legend(picture: Picture, left: float) -> None:
    """What the shades mean, over the bars."""
    x = left
    for words, fill, hatch in STAGES[:-1]:
        picture.area(box(x, 0.7, x + 5.0, 3.4), fill=fill, edge=INK, hatch=hatch)
        said = translated(words)
        picture.words((x + 6.0, 0.0), said)
        x += 9.0 + len(said) * TYPE * 0.5 * POINT
    picture.line([(x, 0.6), (x, 3.5)], width=2.0)
    said = translated(STAGES[-1][0])
    picture.words((x + 1.5, 0.0), said)
    x += 5.0 + len(said) * TYPE * 0.5 * POINT
    picture.area([(x - 1.2, 0.7), (x + 1.2, 0.7), (x, 3.4)], fill=WHITE, edge=INK)
    said = translated("mate by")
    picture.words((x + 2.2, 0.0), said)
    x += 6.0 + len(said) * TYPE * 0.5 * POINT
    picture.line([(x, 2.0), (x + 6.0, 2.0)], width=1.25)
    picture.words((x + 7.0, 0.0), translated("in the oven"))


def _bars_words(result: ShiftResult, batches: Sequence[Batch]) -> str:
    words = []
    for batch in batches:
        moved = _stages(batch)[2]
        if moved is not None:
            when = earliest_text(moved, result.date)
            words.append(translated(f"batch {batch.number} may be moved at {when}"))
    return f"{translated('Cure of the batches')}: {'; '.join(words)}"


# -------------------------------------------------------------------------------------- sections


def station_sections(plan: Plan, card: SetupCard) -> Picture | None:
    """The pots and beads of a station in section to scale, and the paths of its beads, side by side."""
    station = card.station.station
    panels: list[tuple[str, Panel]] = []
    most = SECTIONS[1]
    needed: list[Callable[[float], float]] = []  # height of a panel of a width [mm]
    for pot in plan.pots:
        if pot.station == station:
            panels.append((f"{pot.part} / {pot.pot}", _pot_panel(plan, pot)))
            needed.append(partial(_pot_height, plan, pot))
    for bead in plan.beads:
        if bead.station == station:
            panels.append((f"{bead.part} / {bead.bead}", _bead_panel(plan, bead)))
            needed.append(lambda _: most)
            if bead.path:
                panels.append((f"{bead.part} / {bead.bead}", _path_panel(plan, bead)))
                needed.append(lambda _: most)
    if not panels:
        return None
    shown = panels[:MOST_SECTIONS]
    wide = SECTIONS[0]
    each = wide / len(shown)
    high = min(most, max(ask(each - _BETWEEN) for ask in needed[: len(shown)]))
    titles = "; ".join(dict.fromkeys(title for title, _ in panels))
    picture = Picture(
        wide, high, translated("Sections"), f"{translated('Sections and paths to scale')}: {titles}"
    )
    for place, (title, panel) in enumerate(shown):
        left = each * place
        picture.words((left, 0.0), _short(title, each - _BETWEEN), bold=True)
        panel(picture, left, left + each - _BETWEEN)
    return picture


_BETWEEN = 4.0  # mm between panels
_WORDS = 34.0  # mm of the words beside a pot
_WIDE_PANEL = 80.0  # mm from which the words stand beside a pot and not above it
_POT_FOOT = _TEXT + 4.0  # mm below the bottom of a pot


def _pot_extent(pot: Pot) -> tuple[float, float]:
    """Width and height of a pot with what stands in it [m]."""
    half = max(each for _, each in cavity_outline(pot, pot.depth))
    cells = pot.cell_base + cell_dimensions(pot)[1] if pot.cells else 0.0
    return 2.0 * half, max(pot.depth, cells)


def _pot_top(plan: Plan, pot: Pot, width: float) -> float:
    return _TEXT + 1.0 if width > _WIDE_PANEL else _TEXT * (1.0 + len(pot_applications(plan, pot))) + 1.0


def _pot_height(plan: Plan, pot: Pot, width: float) -> float:
    """Height that a pot asks of a panel of a width [mm]."""
    wide, high = _pot_extent(pot)
    room = width - 3.0 - (_WORDS if width > _WIDE_PANEL else 0.0)
    return max(_pot_top(plan, pot, width) + high * room / wide + _POT_FOOT, 3.0 * _TEXT + _POT_FOOT)


class _Frame:
    """Metres of a section to millimetres of a panel, x from its middle and y up from its foot."""

    def __init__(self, left: float, right: float, top: float, foot: float, wide: float, high: float) -> None:
        self.scale = min((right - left) / wide, (foot - top) / high)
        self.left = (left + right - wide * self.scale) / 2.0
        self.foot = foot
        self.wide = wide

    def spot(self, x: float, y: float) -> Spot:
        """The place of a point of the section."""
        return self.left + x * self.scale, self.foot - y * self.scale

    def rect(self, x: float, y: float, wide: float, high: float) -> list[Spot]:
        """A rectangle of the section from its lower left."""
        return [self.spot(*at) for at in ((x, y), (x + wide, y), (x + wide, y + high), (x, y + high))]


def _mm(length: float, figures: int = 3) -> str:
    return translated(f"{from_si(length, 'mm'):.{figures}g} mm")


def _bar_of_scale(picture: Picture, frame: _Frame, left: float, y: float) -> None:
    """A round length to scale, with its figure."""
    aim = 12.0 / frame.scale  # m that are some 12 mm on paper
    power = 10.0 ** math.floor(math.log10(aim))
    length = max(part * power for part in (1.0, 2.0, 5.0) if part * power <= aim * (1.0 + 1e-9))
    end = left + length * frame.scale
    picture.line([(left, y - 1.0), (left, y), (end, y), (end, y - 1.0)], width=0.75)
    picture.words((end + 1.0, y - _TEXT + 0.8), _mm(length))


def cavity_outline(pot: Pot, level: float) -> list[tuple[float, float]]:
    """Half widths of a cavity in its long section from the bottom up to a level: (height, half) [m]."""
    if pot.shape == "lying-cylinder":
        radius = pot.length / 2.0
        heights = np.linspace(0.0, min(level, pot.length), _ROUND // 2)
        return [(float(y), math.sqrt(max(radius**2 - (radius - y) ** 2, 0.0))) for y in heights]
    return [(y, pot.length / 2.0 + y * math.tan(pot.draft)) for y in (0.0, level)]


def _pot_panel(plan: Plan, pot: Pot) -> Panel:
    """Walls, cells, inserts, and the level of each shot."""

    def panel(picture: Picture, left: float, right: float) -> None:
        shots = pot_applications(plan, pot)
        wide, high = _pot_extent(pot)
        half = wide / 2.0
        foot = picture.high - _POT_FOOT
        words = _WORDS if right - left > _WIDE_PANEL else 0.0
        top = _pot_top(plan, pot, right - left)
        frame = _Frame(left + 1.5, right - words - 1.5, top, foot, wide, high)

        def shape(level: float) -> list[Spot]:
            sides = cavity_outline(pot, level)
            return [frame.spot(half - each, y) for y, each in reversed(sides)] + [
                frame.spot(half + each, y) for y, each in sides
            ]

        fills = [HALF, LIGHT]
        levels = [item.height or 0.0 for item in shots]
        for place in reversed(range(len(levels))):
            picture.area(shape(levels[place]), fill=fills[place % len(fills)])
        for rect in section_cells(pot):
            picture.area(frame.rect(*rect), fill=WHITE, edge=MIDDLE)
        inserts = plan.group(Insert, "part", "pot").get((pot.part, pot.pot), ())
        for insert in inserts:
            for place in range(insert.count):
                x = 2.0 * half * (place + 1.0) / (insert.count + 1.0) - insert.length / 2.0
                picture.area(
                    frame.rect(x, insert.base, insert.length, insert.height),
                    fill=GREY,
                    edge=MIDDLE,
                    hatch="ltUpDiag",
                )
        for level in levels:
            near = cavity_outline(pot, level)[-1][1]
            picture.line([frame.spot(half - near, level), frame.spot(half + near, level)], width=1.25)
        picture.line(shape(pot.depth), width=2.25)
        _shot_words(picture, frame, shots, words, (left, right))
        _bar_of_scale(picture, frame, left + 1.5, picture.high - 1.0)

    return panel


def section_cells(pot: Pot) -> list[tuple[float, float, float, float]]:
    """The cells of a pot seen from its long side: left, base, diameter, height [m].

    As many as stand along it, at their pitch where the plan states it, else spread evenly.
    """
    diameter, height = cell_dimensions(pot)
    if not pot.cells or not diameter:
        return []
    across = pot.width or pot.length
    count = pot.cells_along or max(1, round(math.sqrt(pot.cells * pot.length / across)))
    count = min(count, pot.cells, max(1, int(pot.length / diameter)))
    pitch = pot.pitch or pot.length / count
    half = max(each for _, each in cavity_outline(pot, pot.depth))
    first = half - pitch * (count - 1) / 2.0
    return [
        (first + pitch * place - diameter / 2.0, pot.cell_base, diameter, height) for place in range(count)
    ]


def _shot_words(
    picture: Picture, frame: _Frame, shots: Sequence[Application], beside: float, edges: tuple[float, float]
) -> None:
    """Level of each shot, and the wait before it: beside the pot where there is room, else above it."""
    left, right = edges
    places: list[float] = []
    for number, shot in enumerate(shots, 1):
        level = shot.height or 0.0
        text = f"{translated(f'shot {number}')}: {_mm(level)}"
        if shot.wait:
            text += f", {translated(f'wait at least {duration_text(shot.wait)}')}"
        if not beside:
            picture.words((left, _TEXT * number), text)
            continue
        y = frame.spot(0.0, level)[1] - _TEXT / 2.0
        while any(abs(y - other) < _TEXT for other in places):
            y -= 0.5
        places.append(y)
        picture.words((right - beside, y), text)


def bead_outline(bead: Bead) -> list[tuple[float, float]]:
    """The outline of a bead's section as laid [m], its base on 0; a fillet or mitre in its corner."""
    wide, high = bead.width, bead_height(bead)
    turn = np.linspace(0.0, math.pi, _ROUND // 2)
    section = bead.section
    if section in ("round", "ellipse"):
        round_ = np.linspace(0.0, 2.0 * math.pi, _ROUND)
        return [
            (wide / 2.0 * (1.0 + math.cos(a)), high / 2.0 * (1.0 + math.sin(a))) for a in map(float, round_)
        ]
    if section == "half-round":
        return [(wide / 2.0 * (1.0 + math.cos(a)), high * math.sin(a)) for a in map(float, turn)]
    if section == "segment":
        radius = (wide**2 / 4.0 + high**2) / (2.0 * high)
        start = math.asin(min(1.0, wide / 2.0 / radius)) if high <= radius else math.pi
        if high > radius:
            start = math.pi - math.asin(min(1.0, wide / 2.0 / radius))
        return [
            (wide / 2.0 + radius * math.sin(a), high - radius + radius * math.cos(a))
            for a in map(float, np.linspace(start, -start, _ROUND // 2))
        ]
    if section == "stadium":
        radius = high / 2.0
        right = [
            (wide - radius + radius * math.cos(a), radius + radius * math.sin(a))
            for a in map(float, np.linspace(-math.pi / 2.0, math.pi / 2.0, _ROUND // 2))
        ]
        left = [(wide - x, y) for x, y in reversed(right)]
        return right + left
    if section == "triangle":
        return [(0.0, 0.0), (wide, 0.0), (wide / 2.0, high)]
    if section == "mitre":
        return [(0.0, 0.0), (wide, 0.0), (0.0, wide)]
    if section == "fillet":
        arc = [
            (wide - wide * math.cos(a), wide - wide * math.sin(a))
            for a in map(float, np.linspace(0.0, math.pi / 2.0, _ROUND // 2))
        ]
        return [(0.0, 0.0), *reversed(arc)]
    return [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)]


def _bead_panel(plan: Plan, bead: Bead) -> Panel:
    """The section as laid and, where a bond line is stated, as pressed between its flanges."""

    def panel(picture: Picture, left: float, right: float) -> None:
        pressed = pressed_bead(plan, bead)
        outline = bead_outline(bead)
        high = max(y for _, y in outline)
        wide = max(x for x, _ in outline)
        flange = bead.flange_width or 0.0
        widest = max(wide, pressed.width if pressed else 0.0, flange)
        gap = bead.bond_line or 0.0
        foot, top = picture.high - _TEXT - 3.0, _TEXT * 3.0 + 1.0
        sheet = 0.06 * widest  # thickness that a flange is drawn with
        frame = _Frame(left, right, top, foot, widest, high + (gap + 3.0 * sheet if pressed else 0.0) + sheet)
        base = gap + 3.0 * sheet if pressed else 0.0
        middle = widest / 2.0
        picture.area(
            [frame.spot(middle - wide / 2.0 + x, base + sheet + y) for x, y in outline],
            fill=HALF,
            edge=INK,
            hatch="wdUpDiag",
        )
        picture.area(frame.rect(0.0, base, widest, sheet), fill=LIGHT, edge=MIDDLE)
        size = f"{from_si(bead.width, 'mm'):.4g} mm"  # it is stated, as the bond line is
        if bead.section != "round":
            size += f" × {from_si(high, 'mm'):.3g} mm"
        picture.words((left, _TEXT), f"{translated('as laid')}: {translated(f'{bead.section} {size}')}")
        if pressed is not None and gap:
            across = flange or widest
            picture.area(
                frame.rect(middle - pressed.width / 2.0, sheet, pressed.width, gap), fill=HALF, edge=INK
            )
            for y in (0.0, sheet + gap):
                picture.area(frame.rect(middle - across / 2.0, y, across, sheet), fill=LIGHT, edge=MIDDLE)
            picture.words(
                (left, 2.0 * _TEXT), f"{translated('pressed')}: {_mm(pressed.width)} × {_mm(gap, 4)}"
            )
        _bar_of_scale(picture, frame, left + 1.5, picture.high - 1.0)

    return panel


def stitched(line: Sequence[Spot], run: float | None, gap: float | None) -> list[list[Spot]]:
    """A line cut into runs with gaps between, both along it; whole where it has none.

    >>> stitched([(0.0, 0.0), (10.0, 0.0)], 4.0, 2.0)
    [[(0.0, 0.0), (4.0, 0.0)], [(6.0, 0.0), (10.0, 0.0)]]
    """
    if not run or not gap:
        return [list(line)]
    points = np.array(line, dtype=float)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    found = []
    for start in np.arange(0.0, along[-1] * (1.0 - 1e-9), run + gap):
        end = min(start + run, along[-1])
        inner = [float(at) for at in along if start < at < end]
        found.append(
            [
                (float(np.interp(at, along, points[:, 0])), float(np.interp(at, along, points[:, 1])))
                for at in (float(start), *inner, float(end))
            ]
        )
    return found


def path_lines(plan: Plan, bead: Bead) -> list[list[Spot]]:
    """The beads of a path [m], arcs as short chords, each from travel to travel."""
    coordinates, motions = path_points(plan, bead.path)
    lines: list[list[Spot]] = []
    for start, end in stretches(coordinates, motions):
        a, b = (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))
        if lines and math.dist(lines[-1][-1], a) < SAME_PLACE:
            lines[-1].append(b)
        else:
            lines.append([a, b])
    if bead.closed and lines:
        lines[-1].append(lines[0][0])
    return lines


def _path_panel(plan: Plan, bead: Bead) -> Panel:
    """The path from above: its runs, a ring where it starts, an arrow the way it goes."""

    def panel(picture: Picture, left: float, right: float) -> None:
        lines = path_lines(plan, bead)
        points = np.array([spot for line in lines for spot in line])
        low, high = points.min(axis=0), points.max(axis=0)
        span = np.maximum(high - low, max(float((high - low).max()) * 1e-3, 1e-9))
        frame = _Frame(left + 3.0, right - 3.0, _TEXT + 3.0, picture.high - _TEXT - 4.0, *map(float, span))
        placed = [[frame.spot(x - float(low[0]), y - float(low[1])) for x, y in line] for line in lines]
        scale = frame.scale
        runs = [
            piece
            for line in placed
            for piece in stitched(line, (bead.run or 0.0) * scale, (bead.gap or 0.0) * scale)
        ]
        picture.line(
            *([before[-1], after[0]] for before, after in itertools.pairwise(placed)),
            width=0.75,
            ink=GREY,
            dash="sysDot",
        )
        picture.line(*runs, width=2.0, ink=DARK)
        for line in placed:
            picture.area(_arrow(line), fill=INK)
        (x, y), turn = placed[0][0], np.linspace(0.0, 2.0 * math.pi, 24)
        picture.area(
            [(x + 1.3 * math.cos(a), y + 1.3 * math.sin(a)) for a in map(float, turn)], fill=WHITE, edge=INK
        )
        _bar_of_scale(picture, frame, left + 1.5, picture.high - 1.0)

    return panel


def _arrow(line: Sequence[Spot]) -> list[Spot]:
    """A head halfway along a line, the way it goes."""
    points = np.array(line)
    steps = np.hypot(*np.diff(points, axis=0).T)
    place = min(int(np.searchsorted(np.cumsum(steps), steps.sum() / 2.0)), len(steps) - 1)
    way = (points[place + 1] - points[place]) / max(float(steps[place]), 1e-12)
    middle, aside = (points[place] + points[place + 1]) / 2.0, np.array([-way[1], way[0]])
    corners = [middle + 2.0 * way, middle - 1.2 * way + 1.3 * aside, middle - 1.2 * way - 1.3 * aside]
    return [(float(x), float(y)) for x, y in corners]


__all__ = [
    "BARS",
    "LEVELS",
    "SECTIONS",
    "STRIP",
    "age_curves",
    "bead_outline",
    "cavity_outline",
    "container_levels",
    "cure_bars",
    "drawn",
    "path_lines",
    "section_cells",
    "shift_strip",
    "station_sections",
    "stitched",
]
