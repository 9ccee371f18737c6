"""Measurements from CSV files: shop-temperature records, thermocouple logs, cure tests.

The first filled line holds the headers; a unit may stand in brackets (`Temperature [°F]`). Commas,
semicolons or tabs separate, and where it is not the comma a decimal comma is read too. Columns that
are not asked for are passed over. All that is wrong is reported at once, with its row.
"""

from __future__ import annotations

import csv
import datetime
import io
import math
import os
import stat
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ..base.errors import NA, FileError, InputError, Problem, UnitError, show
from ..base.fields import Field, clock, number
from ..base.naming import field_name, nearest
from ..base.units import DAY, read_header, unit_factor
from .tables import BY_NAME, SIZES, TEMPERATURES_MET

MOST_BYTES = 64_000_000
MOST_PROBLEMS = 200
LONGEST_TIME = SIZES["min"][1]  # minutes
TEMPERATURE = number("temperature", "°C", "temperature", above=-273.15, at_most=TEMPERATURES_MET[1])
CLOCK = clock("time", "time of day")
ELAPSED = number("time", "min", "time since the start", at_least=-LONGEST_TIME, at_most=LONGEST_TIME)


@dataclass(slots=True)
class CsvTable:
    """A CSV file as it stands: headers, and the filled rows with their row numbers."""

    name: str
    headers: list[str]
    rows: list[list[str]]
    numbers: list[int]
    decimal_comma: bool

    def where(self, row: int) -> str:
        """A row as messages name it."""
        return f"{self.name} row {self.numbers[row]}"

    def column(self, place: int) -> list[str]:
        """The texts of a column, "" where a row is too short."""
        return [row[place].strip() if place < len(row) else "" for row in self.rows]

    def plain(self, text: str) -> str:
        """A number as a program writes it."""
        if self.decimal_comma and text.count(",") == 1 and "." not in text:
            return text.replace(",", ".")
        return text


def _decoded(path: Path) -> str:
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            what = "a folder" if stat.S_ISDIR(mode) else "a pipe or device"
            raise FileError(
                Problem(str(path), message=f"is {what}, not a file", fix="save it as a file first")
            )
        if path.stat().st_size > MOST_BYTES:
            raise FileError(
                Problem(
                    str(path),
                    message="is too large for a record",
                    fix=f"at most {MOST_BYTES // 1_000_000} MB",
                )
            )
        raw = path.read_bytes()
    except OSError as error:
        raise FileError(Problem(str(path), message=f"cannot be read: {error.strerror or error}")) from error
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        kind = "utf-16"
    elif b"\x00" in raw:
        raise FileError(Problem(str(path), message="is not a text file", fix="save it as CSV"))
    else:
        kind = "utf-8-sig"
    try:
        return raw.decode(kind)
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")  # as many loggers write the degree sign


def read_csv(path: str | os.PathLike[str]) -> CsvTable:
    """The table of a CSV file, nothing converted yet."""
    path = Path(path)
    text = _decoded(path)
    first = next((line for line in text.splitlines() if line.strip() and line[0] != "#"), "")
    separator = max(";\t,", key=first.count) if first else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    headers: list[str] = []
    rows, numbers = [], []
    try:
        for row in reader:
            if not any(cell.strip() for cell in row) or row[0].lstrip().startswith("#"):
                continue
            if not headers:
                headers = [cell.strip() for cell in row]
            else:
                rows.append(row)
                numbers.append(reader.line_num)
    except csv.Error as error:
        raise FileError(
            Problem(f"{path.name} row {reader.line_num}", message=f"cannot be read: {error}")
        ) from error
    if not rows:
        raise InputError(
            Problem(
                path.name, message="has no rows", fix="a line of headers, then one line for each measurement"
            )
        )
    return CsvTable(path.name, headers, rows, numbers, separator != ",")


def _unit_of(table: CsvTable, header: str, item: Field, problems: list[Problem]) -> str:
    """The unit of a column's plain numbers."""
    unit = read_header(header)[1]
    if unit is None or unit == item.unit:
        return item.unit
    try:
        unit_factor(unit, item.unit)
    except UnitError as error:
        problems.append(
            Problem(
                f"{table.name} header",
                f"unit of {item.words}",
                unit,
                error.problems[0].allowed,
                f"the header is {item.title}",
            )
        )
        return item.unit
    return unit


def _values(table: CsvTable, place: int, item: Field, problems: list[Problem]) -> list[float]:
    """A column in SI units; NaN where a cell cannot be read."""
    unit = _unit_of(table, table.headers[place], item, problems)
    found = []
    for row, text in enumerate(table.column(place)):
        try:
            value = item.read(table.plain(text), table.where(row), unit)
        except InputError as error:
            problems.extend(error.problems)
            value = math.nan
        found.append(math.nan if value is None else value)
    return found


def _named(table: CsvTable, name: str) -> list[int]:
    """Columns whose header is a name, or begins with it: Temperature, Temperature 2 [°C]."""
    names = [field_name(read_header(header)[0]) for header in table.headers]
    exact = [place for place, text in enumerate(names) if text == name]
    return exact or [place for place, text in enumerate(names) if text.startswith(f"{name}_")]


def _bare_units(table: CsvTable, places: Sequence[int], item: Field) -> list[Problem]:
    """Headers such as `Temperature °F`, whose last word is a unit that would not be read as one."""
    problems = []
    for place in places:
        name, unit = read_header(table.headers[place])
        last = name.split()[-1]
        if unit is not None or last == name:
            continue
        try:
            unit_factor(last, item.unit)
        except UnitError:
            continue
        problems.append(
            Problem(
                f"{table.name} header",
                message=f"{show(table.headers[place])} ends in a unit",
                fix=f"write it in brackets: {item.heading} [{last}]",
            )
        )
    return problems


def _missing(table: CsvTable, item: Field) -> Problem:
    near = next((header for header in table.headers if nearest(header, [item.title])), "")
    return Problem(
        f"{table.name} header",
        message=f'the column "{item.title}" is missing; there '
        f"{'is' if len(table.headers) == 1 else 'are'} {', '.join(table.headers)[:300]}",
        fix=f"is it {show(near)}?" if near else item.help,
        code=NA,
    )


def _report(problems: Sequence[Problem]) -> None:
    if problems:
        more = len(problems) - MOST_PROBLEMS
        shown = list(problems[:MOST_PROBLEMS])
        if more > 0:
            shown.append(
                Problem(problems[0].where.split(" ")[0], message=f"has {more} more problems of this kind")
            )
        raise InputError(shown)


def read_columns(path: str | os.PathLike[str], columns: Sequence[Field]) -> dict[str, list[float]]:
    """The columns asked for, by field name, in SI units; every problem is raised at once."""
    table = read_csv(path)
    problems: list[Problem] = []
    found = {}
    for item in columns:
        places = _named(table, item.name)
        if not places:
            problems.append(_missing(table, item))
            continue
        problems += _bare_units(table, places[:1], item)
        found[item.name] = _values(table, places[0], item, problems)
    _report(problems)
    return found


# ------------------------------------------------------------------------------ points of a path

_COORDINATES = tuple(item for item in BY_NAME["Paths"].columns if item.name in ("x", "y", "z"))
_MOTION = next(item for item in BY_NAME["Paths"].columns if item.name == "motion")


def read_points(
    path: str | os.PathLike[str], unit: str | None = None
) -> dict[str, tuple[list[list[float]], list[str]]]:
    """Points in order by the name of their path: x, y, z [m] and their motions.

    Columns X, Y, and where there are such Z, Motion (line, arc, travel) and Path. `unit` is that of columns
    whose header has none; where neither tells it, it is asked for.
    """
    table = read_csv(path)
    problems: list[Problem] = []
    columns: dict[str, list[float]] = {"z": [0.0] * len(table.rows)}
    for item in _COORDINATES:
        places = _named(table, item.name)
        if not places:
            problems += [] if item.name == "z" else [_missing(table, item)]
            continue
        problems += _bare_units(table, places[:1], item)
        if read_header(table.headers[places[0]])[1] is not None:
            pass
        elif unit is not None:
            table.headers[places[0]] = f"{item.heading} [{unit}]"
        elif not problems:
            problems.append(
                Problem(
                    f"{table.name} header",
                    message=f"{show(table.headers[places[0]])} tells no unit",
                    fix=f"write it in brackets, as in {item.title}, or give --units mm",
                )
            )
        columns[item.name] = _values(table, places[0], item, problems)
    motions = ["line"] * len(table.rows)
    for place in _named(table, "motion")[:1]:
        for row, text in enumerate(table.column(place)):
            try:
                motions[row] = str(_MOTION.read(text or "line", table.where(row)))
            except InputError as error:
                problems.extend(error.problems)
    names = [""] * len(table.rows)
    for place in _named(table, "path")[:1]:
        names = table.column(place)
    _report(problems)
    found: dict[str, tuple[list[list[float]], list[str]]] = {}
    for row, name in enumerate(names):
        rows, words = found.setdefault(name, ([], []))
        rows.append([columns[axis][row] for axis in "xyz"])
        words.append(motions[row])
    return found


# ----------------------------------------------------------------------------- temperature records


@dataclass(slots=True)
class TemperatureRecord:
    """Temperatures [K] by channel against time [s].

    `is_clock`: the times are seconds after midnight, not since a start.
    """

    name: str
    times: list[float]
    channels: dict[str, list[float]]
    is_clock: bool
    notes: list[str] = field(default_factory=list)


def _moment(text: str) -> datetime.datetime | None:
    """A date and time, as loggers write it."""
    try:
        found = datetime.datetime.fromisoformat(text)
    except ValueError:
        return None
    return found.replace(tzinfo=None) if "-" in text else None


def _times(table: CsvTable, place: int, problems: list[Problem]) -> tuple[list[float], bool]:
    """Seconds of a time column, and whether they are times of day."""
    texts = table.column(place)
    moments = [moment for text in texts if (moment := _moment(text)) is not None]
    if moments and len(moments) == len(texts):
        midnight = datetime.datetime.combine(moments[0].date(), datetime.time())
        return [(moment - midnight).total_seconds() for moment in moments], True
    unit = read_header(table.headers[place])[1]
    if unit is not None:
        return _values(table, place, ELAPSED, problems), False
    found, days, last = [], 0.0, -math.inf
    for row, text in enumerate(texts):
        try:
            seconds = CLOCK.read(text or None, table.where(row))
        except InputError as error:
            problems.extend(error.problems)
            found.append(math.nan)
            continue
        if seconds + days < last - DAY / 2.0:
            days += DAY  # past midnight
        last = seconds + days
        found.append(last)
    return found, True


def read_record(path: str | os.PathLike[str]) -> TemperatureRecord:
    """A temperature record: a time column and one or more temperature columns.

    Times are times of day (`06:30`), dates with times (`2026-03-02 06:30`), or numbers where the
    header states a unit (`Time [min]`).
    """
    table = read_csv(path)
    problems: list[Problem] = []
    places = {name: _named(table, name) for name in ("time", "temperature")}
    problems += [_missing(table, item) for item in (CLOCK, TEMPERATURE) if not places[item.name]]
    problems += _bare_units(table, places["temperature"], TEMPERATURE)
    problems += _bare_units(table, places["time"][:1], ELAPSED)
    _report(problems)
    times, is_clock = _times(table, places["time"][0], problems)
    channels = {}
    for place in places["temperature"]:
        label = read_header(table.headers[place])[0]
        channels[label] = _values(table, place, TEMPERATURE, problems)
    last = -math.inf
    for row, time in enumerate(times):
        if time < last:
            problems.append(
                Problem(
                    table.where(row),
                    "time",
                    table.column(places["time"][0])[row],
                    "at or after the time of the row before",
                    "sort the rows by time",
                )
            )
        last = time if math.isfinite(time) else last
    _report(problems)
    return TemperatureRecord(table.name, times, channels, is_clock)


__all__ = ["CsvTable", "TemperatureRecord", "read_columns", "read_csv", "read_points", "read_record"]
