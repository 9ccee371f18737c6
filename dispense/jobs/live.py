"""A station tried on a sheet beside its plan: takt, temperature, lot or width, and what follows.

The plan is never written. A changed plan is made of its records, its setup card and shift are worked out,
and the figures stand beside those of the plan as it is.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeAlias

import numpy as np

from ..base.errors import DispenseError, InputError, Problem
from ..base.fields import Field
from ..base.language import translated
from ..base.printed import Printed
from ..base.units import DAY, from_si
from ..books import trial
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.rows import Bead, Station, StockLot
from ..plan.tables import BY_NAME
from ..plan.weather import shop_weather
from ..reports.findings import without_findings
from ..sheets.board import SHEET as BOARD
from ..sheets.material import SHEET as MATERIAL
from ..sheets.setup import station_setup_content
from ..sheets.spec import Content, Value
from ..shift.play import play_plan
from ..shift.results import ShiftResult
from ..shift.setup import setup_card
from ..xlsx.package import split_cell
from ..xlsx.typed import save_signed
from .desk import Answers, Desk, asked, findings_lines, spoken_in
from .document import CellValue, Grid, Line, Pane, Question, problem_line, saved_place

KIND = "trial"  # as the file is signed
FIGURES = 6  # digits that a figure is shown with

#: tables whose rows are told, by what; the rest of a sheet is for paper
_KEYS = {
    "SetupShots": ("part", "application", "shot"),
    "SetupFlows": ("part", "application", "shot"),
    "MaterialParts": ("part",),
    "MaterialUse": ("component",),
    "MaterialLots": ("component", "lot"),
    "MaterialTimes": ("event", "component"),
    "CureBatches": ("part", "part_numbers"),
}
_TEXTS = ("shop_temperature", "pot_life")  # texts among the single figures that follow
_LEFT_OUT = ("shots_together", "good", "shot_first")

#: what a figure is: where it stands, its name, its unit
Key: TypeAlias = tuple[str, str]
Figures: TypeAlias = dict[Key, Value]


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that may be changed: its words, its field, what the plan has (shop units, or a text)."""

    words: str
    field: Field
    planned: CellValue
    key: tuple[str, ...]


@dataclass(slots=True)
class Trial:
    """A plan whose stations are tried, and what is on the sheet now."""

    plan: Plan
    station: str = ""
    day: datetime.date | None = None
    shift: str = ""
    before: Played = field(default_factory=lambda: Played())
    shown: tuple[object, ...] = ()  # what was answered last


_trials: dict[Path, Trial] = {}  # by the file of the sheet


# -------------------------------------------------------------------------- what may be changed


def _column(table: str, name: str) -> Field:
    return next(item for item in BY_NAME[table].columns if item.name == name)


def inputs(plan: Plan, station: str) -> list[Input]:
    """What may be changed of a station: takt, temperature, a lot of each component, widths of its beads."""
    row = plan.station(station)
    takt = None if row.takt is None else from_si(row.takt, "s")
    found = [
        Input("Takt", _column("Stations", "takt"), takt, ("takt",)),
        Input(
            "Shop temperature, all day",
            _column("Stations", "shop_temperature"),
            _shown(float(from_si(shop_weather(plan, row).mean_temperature, "°C"))),
            ("temperature",),
        ),
    ]
    for letter in plan.components_of(row.material):
        lots = [lot.lot for lot in _lots(plan, row.material, letter)]
        words = f"Only lot of {letter.upper()} in store"
        found.append(Input(words, _column("Stock", "lot"), ", ".join(lots) or "none", ("lot", letter)))
    found += [
        Input(
            f"Width of {bead.part} / {bead.bead}",
            _column("Beads", "width"),
            _shown(float(from_si(bead.width, "mm"))),
            ("width", bead.part, bead.bead),
        )
        for bead in plan.beads
        if bead.station == station
    ]
    return found[: trial.MOST_INPUTS]


def _lots(plan: Plan, material: str, letter: str) -> list[StockLot]:
    return [lot for lot in plan.stock if lot.material == material and lot.component == letter]


def changed(plan: Plan, station: str, given: Mapping[tuple[str, ...], CellValue]) -> Plan:
    """The plan with what is given by the key of an input; raises InputError with all that is wrong.

    A temperature holds all day; of a component's lots only the one that is named is in store.
    """
    problems: list[Problem] = []
    row = plan.station(station)
    stock, beads = list(plan.stock), list(plan.beads)
    for item in inputs(plan, station):
        cell = given.get(item.key)
        if cell is None or (isinstance(cell, str) and not cell.strip()):
            continue
        try:
            value = item.field.read(cell, item.words)
        except DispenseError as error:
            problems += error.problems
            continue
        what = item.key[0]
        if what == "takt":
            row = replace(row, takt=value)
        elif what == "temperature":
            row = replace(row, shop_temperature=value, record="")
        elif what == "width":
            beads = [replace(bead, width=value) if _is(bead, item.key) else bead for bead in beads]
        else:
            kept = [lot for lot in _lots(plan, row.material, item.key[1]) if lot.lot == value]
            if not kept:
                problems.append(Problem(item.words, "lot", value, f"one of {item.planned}"))
            others = [lot for lot in stock if (lot.material, lot.component) != (row.material, item.key[1])]
            stock = [*others, *kept]
    if problems:
        raise InputError(problems)
    stations: list[Station] = [row if each.station == station else each for each in plan.stations]
    return replace(plan, stations=stations, beads=beads, stock=stock)


def _is(bead: Bead, key: tuple[str, ...]) -> bool:
    return (bead.part, bead.bead) == key[1:]


# --------------------------------------------------------------------------------- what follows


@dataclass(frozen=True, slots=True)
class Played:
    """A station's shift: its figures, and what was played; None where nothing is built at it then."""

    figures: Figures = field(default_factory=dict)
    result: ShiftResult | None = None


def played(plan: Plan, station: str, day: datetime.date, shift: str) -> Played:
    """Everything that the sheets of a station and shift say in numbers and clock times."""
    quiet = without_findings(plan)
    found: Figures = {}
    contents = [station_setup_content(quiet, setup_card(quiet, station), "")]
    result = _result(quiet, station, day, shift)
    if result is not None:
        for sheet in (MATERIAL, BOARD):
            assert sheet.of_station_shift is not None
            content = sheet.of_station_shift(quiet, result, "")
            contents += [] if content is None else [content]
    for content in contents:
        found.update(_figures_of(content))
    return Played(found, result)


def _result(plan: Plan, station: str, day: datetime.date, shift: str) -> ShiftResult | None:
    """The station's shift; None where nothing is built at it then."""
    if (day, shift) not in plan.days():
        return None
    return next(
        (
            item
            for item in play_plan(plan, until=(day, shift), stations=[station])
            if (item.date, item.shift, item.station.station) == (day, shift, station)
        ),
        None,
    )


def _figures_of(content: Content) -> Iterator[tuple[Key, Value]]:
    for item in content.spec.names:
        told = item.kind in ("number", "whole") or item.name in _TEXTS
        if told and item.name in content.values and item.name not in _LEFT_OUT:
            yield (item.heading, item.unit), content.values[item.name]
    for table, keys in _KEYS.items():
        count: Counter[str] = Counter()
        for row in content.tables.get(table, ()):
            name = " / ".join(str(row[key]) for key in keys if row.get(key) not in (None, ""))
            count[name] += 1
            name += f" ({count[name]})" if count[name] > 1 else ""
            for item in content.spec.tables[table]:
                told = item.kind in ("number", "whole", "date", "moment") and item.name not in keys
                if told and item.name not in _LEFT_OUT and row.get(item.name) is not None:
                    yield (f"{name}: {item.words}", item.unit), row[item.name]


_MARKED = {"container": "container", "purge": "purge, mixer", "mixer": "purge, mixer", "check": "check"}


def course(result: ShiftResult) -> list[tuple[float, float]]:
    """Clock times [s] and parts done by then: batches evenly over the time worked, level in breaks."""
    calendar = result.calendar
    points = [(min(batch.begun for batch in result.batches), 0.0)] if result.batches else []
    done = 0.0
    for batch in sorted(result.batches, key=lambda batch: batch.ended):
        begun, ended = calendar.worked(batch.begun), calendar.worked(batch.ended)
        for at, until in calendar.breaks:
            if batch.begun < at and until < batch.ended:
                level = done + len(batch.serials) * (calendar.worked(at) - begun) / max(ended - begun, 1.0)
                points += [(at, level), (until, level)]
        done += len(batch.serials)
        points.append((batch.ended, done))
    return points


def pictured(here: ShiftResult | None, planned: ShiftResult | None) -> dict[str, list[tuple[float, float]]]:
    """The picture of a shift: parts done here and in the plan, what is changed or checked here, by curve.

    Clock times as parts of a day.
    """
    found: dict[str, list[tuple[float, float]]] = {}
    for name, result in (("here", here), ("in the plan", planned)):
        points = [] if result is None else course(result)
        found[name] = [(clock / DAY, parts) for clock, parts in points]
    if here is None or not found["here"]:
        return found
    clocks, parts = zip(*found["here"], strict=True)
    for event in here.events:
        if event.kind in _MARKED:
            clock = event.clock / DAY
            level = float(np.interp(clock, clocks, parts))
            found.setdefault(_MARKED[event.kind], []).append((clock, level))
    return found


def _shown(value: Value) -> CellValue:
    """A figure as its cell shows it: the digits it is printed with, a clock time as sheets print it."""
    if isinstance(value, Printed):
        return float(value)
    if isinstance(value, datetime.datetime):
        return f"{value:%a %d %b %H:%M}"
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, float):
        return float(f"{value:.{FIGURES}g}")
    if isinstance(value, str):
        return value.partition(" (")[0]  # what it rests on stands on the station's own sheets
    return value


def compared(here: Figures, planned: Figures) -> list[list[CellValue]]:
    """What, here, in the plan, change, unit: the figures of both, in the order of the sheets."""
    rows: list[list[CellValue]] = []
    for key in dict.fromkeys([*here, *planned]):
        now, before = here.get(key), planned.get(key)
        if now is None and before is None:
            continue
        change: CellValue = "" if now == before else "changed"
        if isinstance(now, float | int) and isinstance(before, float | int):
            change = "" if now == before else _shown(float(now) - float(before))
        elif isinstance(now, datetime.datetime) and isinstance(before, datetime.datetime):
            minutes = round((now - before).total_seconds() / 60.0)
            change = f"{minutes:+d} min" if minutes else ""
        rows.append([key[0], _shown(now), _shown(before), change, key[1]])
    return rows[: trial.MOST_FIGURES]


# ------------------------------------------------------------------------------------ the sheet


def open_station(desk: Desk, given: Answers) -> None:
    """A sheet to try a station of the open plan, beside it."""
    plan = desk.sound_plan()
    place = saved_place(desk.host)
    lists = {
        "station": [row.station for row in plan.stations],
        "day": list(dict.fromkeys(str(day) for day, _ in plan.days())),
        "shift": [row.shift for row in plan.shifts],
    }
    if not lists["day"]:
        raise InputError(Problem(trial.TITLE, message="the plan has no builds, so there is no shift to try"))
    first = {"station": lists["station"][0], "day": lists["day"][0], "shift": plan.days()[0][1]}
    questions = [Question(name, name.capitalize(), lists[name], first[name]) for name in trial.CHOSEN]
    told = asked(desk, trial.TITLE, questions, given)
    if told is None:
        return
    out = place.with_name(f"{place.stem}_try.xlsx")
    day = datetime.date.fromisoformat(told["day"])
    before = played(plan, told["station"], day, told["shift"])
    curves = pictured(before.result, before.result)
    desk.host.release(out)
    save_signed(out, trial.trial_workbook(told, lists, str(place), curves), KIND, [place])
    _trials[out] = Trial(plan, told["station"], day, told["shift"], before)
    with spoken_in(desk):
        headline = translated(f"what is typed there changes nothing in {place.name}")
        desk.host.show(Pane(f"{out.name}: {headline}"))
    desk.host.open(out)


def trial_grid(grids: Sequence[Grid]) -> Grid | None:
    """The sheet of a workbook on which a station is tried; None where it has none."""
    for grid in grids:
        if grid.name == trial.SHEET and grid.rows and grid.rows[0] and grid.rows[0][0] == trial.TITLE:
            return grid
    return None


def _value(grid: Grid, address: str) -> CellValue:
    row, column = split_cell(address)
    cells = grid.rows[row - 1] if row <= len(grid.rows) else ()
    return cells[column - 1] if column <= len(cells) else None


def _trial_of(desk: Desk, grid: Grid) -> Trial:
    """The trial that a sheet belongs to; one whose plan is not remembered reads the saved plan."""
    place = desk.host.place()
    if place is None or place not in _trials:
        found = Trial(load_plan(str(_value(grid, trial.PLAN_CELL) or "")))
        if place is None:
            return found
        _trials[place] = found
    return _trials[place]


def follow(desk: Desk) -> bool:
    """Bring the figures of a trial sheet up to what is typed on it; whether anything was written."""
    grid = trial_grid(desk.host.read())
    if grid is None:
        return False
    try:
        return _follow(desk, grid)
    except DispenseError as error:
        with spoken_in(desk):
            lines = [problem_line(item) for item in error.problems]
            desk.host.show(Pane(translated("the figures are as before"), lines))
        return False


def _follow(desk: Desk, grid: Grid) -> bool:
    tried = _trial_of(desk, grid)
    plan = tried.plan
    station, day, shift = _chosen(plan, grid)
    is_another = station != tried.station
    offered = inputs(plan, station)
    typed: dict[tuple[str, ...], CellValue] = {}
    if not is_another or not tried.station:  # what was typed belongs to the station of before
        typed = {
            item.key: _value(grid, f"B{row}")
            for row, item in zip(trial.input_rows(), offered, strict=False)
            if _value(grid, f"B{row}") not in (None, "")
        }
    state = (station, day, shift, tuple(typed.items()))
    if state == tried.shown:
        return False
    tried.shown = state
    if (station, day, shift) != (tried.station, tried.day, tried.shift):
        tried.before = played(plan, station, day, shift)
        tried.station, tried.day, tried.shift = station, day, shift
    new = changed(plan, station, typed)
    here = played(new, station, day, shift) if typed else tried.before
    rows = [[item.words, item.planned, item.field.unit] for item in offered]
    values = dict(trial.cells_of(trial.input_rows(), rows, "ACE"))
    if is_another:
        here_cells = [[typed.get(item.key)] for item in offered]
        values |= dict(trial.cells_of(trial.input_rows(), here_cells, "B"))
    values |= dict(trial.cells_of(trial.figure_rows(), compared(here.figures, tried.before.figures), "ABCDE"))
    values |= trial.picture_cells(pictured(here.result, tried.before.result))
    desk.host.write(values)
    found = [] if here.result is None else [item for item in here.result.findings if item.is_warning]
    with spoken_in(desk):
        lines = [Line(line.text, kind=line.kind) for line in findings_lines(new, found)]
        words = translated(f"{len(typed) or 'nothing'} changed")
        desk.host.show(Pane(f"{station}, {day} {shift}: {words}", lines))
    return True


def _chosen(plan: Plan, grid: Grid) -> tuple[str, datetime.date, str]:
    """Station, day and shift as chosen on the sheet; raises InputError for what the plan has not."""
    station, day, shift = (_value(grid, address) for address in trial.CHOSEN.values())
    problems = []
    stations = [row.station for row in plan.stations]
    days = [str(item) for item in dict.fromkeys(day for day, _ in plan.days())]
    shifts = [row.shift for row in plan.shifts]
    if isinstance(day, datetime.datetime):
        day = day.date()
    chosen = {"station": (station, stations), "day": (str(day), days), "shift": (shift, shifts)}
    for name, (value, known) in chosen.items():
        if value not in known:
            cell = f"{trial.SHEET}!{trial.CHOSEN[name]}"
            problems.append(Problem(cell, name, value, f"one of {', '.join(known)}"))
    if problems:
        raise InputError(problems)
    return str(station), datetime.date.fromisoformat(str(day)), str(shift)


__all__ = [
    "Input",
    "changed",
    "compared",
    "follow",
    "inputs",
    "open_station",
    "pictured",
    "played",
    "trial_grid",
]
