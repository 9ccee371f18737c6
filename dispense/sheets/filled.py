"""A sheet that came back from the floor: what people typed into it, as entries of the journal.

What was typed is found by the fingerprint that filling left in the file, and nothing else; what a cell
means follows from its column, whatever a plant calls it, and from what its row says. A cell that is not
understood is named.
"""

from __future__ import annotations

import datetime
import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast

from ..base.errors import InputError, Problem, UnitError
from ..base.fields import Field, clock, text_of
from ..base.language import languages, printed_in, translated
from ..base.naming import fold
from ..base.units import comma_is_decimal, from_si, read_quantity, with_point
from ..journal.entries import (
    DONE,
    EMPTIED,
    NOTED,
    OPENED,
    SETTING,
    SIGNED,
    STAGED,
    STANDS,
    WEIGHT,
    WEIGHT_A,
    WEIGHT_B,
    Entry,
)
from ..journal.names import CHECK, STAGED_ROW, TIMES, twin_name, twin_number
from ..journal.reading import MOST_PIECES, Reading, content_of, moment_of, shift_at, stamp_text
from ..journal.standing import text_of_standing
from ..plan.records import Plan
from ..plan.standing import ORIGIN, numbers_of
from ..plan.tables import (
    STANDING_BETWEEN,
    STANDING_CONTAINER,
    STANDING_HALF_DONE,
    STANDING_MIXER,
    STANDING_TO_MATE,
)
from ..shift.handover import BETWEEN, HALF_DONE, MIXER, TO_MATE, TOO_OLD
from ..shift.results import numbers_text
from ..shift.store import NANO, heel_volume
from ..xlsx.package import Package, Table, split_cell
from ..xlsx.template_units import HEADER
from ..xlsx.typed import TypedCell, number_mark, typed_cells
from .board import CURE_BOARD
from .catalogue import SPECS
from .headings import headers_of, headings_of, keyed_headers
from .material import SHIFT_MATERIAL
from .spec import SheetSpec
from .staging import STAGING

FIRST_DAY = datetime.datetime(1899, 12, 30)  # day 0 of the 1900 system, as cells count from March 1900 on
FIRST_DAY_1904 = datetime.datetime(1904, 1, 1)
YES = frozenset({"x", "yes", "y", "ok", "true", "1", "✓", "✔", "☑", "ja", "sí", "si", "j"})
NO = frozenset({"no", "n", "false", "0", "–", "-", "nein"})
ONE_PART = "one-part"
LAST_DAY = 2_000_000.0  # days; a cell beyond (the year 7375) is no date
EARLY = 3600.0  # s before a shift begins that a time of day still is its; common practice, no source
LATE = 4.0 * 3600.0  # s after a shift ends in which its sheets may still print a time: its overtime

Plain = str | float | bool | None


@dataclass(slots=True)
class _Row:
    """A row of a table into which something was typed: all its values, and which were typed."""

    table: str
    values: dict[str, Plain]
    typed: dict[str, TypedCell]
    units: dict[str, str]
    fields: dict[str, Field]
    name: str = ""  # what its fact is called

    def text(self, name: str) -> str:
        """A value as text."""
        value = self.values.get(name)
        return "" if value is None else text_of(value)

    def take(self, name: str) -> TypedCell | None:
        """The typed cell of a column; it is then understood."""
        return self.typed.pop(name, None)


@dataclass(slots=True)
class _Filled:
    """A filled sheet on its way to entries."""

    plan: Plan
    package: Package
    spec: SheetSpec
    reading: Reading
    first_day: datetime.datetime
    head: dict[str, Plain] = field(default_factory=dict)
    weighed_on: datetime.datetime | None = None  # what a card that has no day of its own says
    times: dict[str, str] | None = None  # by its fingerprint each time that may have been printed

    @property
    def day(self) -> datetime.date | None:
        """The day of its shift."""
        value = self.head.get("day")
        if not isinstance(value, float) or not 1.0 <= value < LAST_DAY:
            return None
        return self.at(value).date()

    def said(self, name: str) -> str:
        """A text of its head."""
        value = self.head.get(name)
        return "" if value is None else text_of(value)

    def where(self, cell: TypedCell) -> str:
        """A cell as messages and the journal name it."""
        return f"{self.reading.source} {cell.sheet}!{cell.address}"

    def at(self, days: float) -> datetime.datetime:
        """A date cell as date and time, to the second."""
        return self.first_day + datetime.timedelta(seconds=round(days * 86400.0))

    def unread(self, cell: TypedCell, why: str) -> None:
        """Name a cell that is not understood."""
        self.reading.unread.append(
            Problem(self.where(cell), message=f"{_shown(cell)} is not understood: {why}")
        )

    def grams(self, row: _Row, name: str) -> float | None:
        """A mass of a row in grams, whatever unit its column states; None where it cannot be read."""
        value = row.values.get(name)
        if value is None or value == "":
            return None
        item = row.fields[name]
        if name in row.typed and _clock_in(row.typed[name]):
            self.unread(row.typed[name], f"a time of day stands where a number is meant, {_TIME_GOES}")
            return None
        if name in row.typed and row.typed[name].form and isinstance(value, float):
            self.unread(row.typed[name], "a date stands where a number is meant")
            return None
        if isinstance(value, str) and comma_is_decimal(value):
            value = with_point(value)
        read = replace(item, above=0.0)
        try:
            return float(from_si(read.read(value, "", row.units[name]), "g"))
        except InputError as error:
            if name in row.typed:
                why = _no_mass(value) or error.problems[0].allowed
                self.unread(row.typed[name], f"a number is meant, {why}")
            return None

    def moment(self, row: _Row, name: str) -> str:
        """The date and time of a row; a time of day that was typed belongs to the sheet's shift."""
        value = row.values.get(name)
        if value is None or value == "":
            return ""
        if isinstance(value, float) and 2.0 <= value < LAST_DAY:
            return stamp_text(self.at(value))
        try:
            seconds = clock(name, "time").read(value)
        except InputError:
            if name in row.typed:
                self.unread(row.typed[name], "it must be a time of day such as 06:30")
            return ""
        day = self.day
        if day is None:
            return ""
        starts = {item.shift: item.start for item in self.plan.shifts}
        if seconds < starts.get(self.said("shift"), 0.0) - EARLY:
            seconds += 86400.0  # after midnight
        return stamp_text(
            datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(seconds=seconds)
        )

    def printed(self, row: _Row, name: str) -> str:
        """The date and time that was printed in a row, also where another was typed over it."""
        cell = row.typed.get(name)
        if cell is None:
            return self.moment(row, name)
        if self.times is None:
            self.times = self._may_be_printed()
        return self.times.get(cell.mark, "")

    def _may_be_printed(self) -> dict[str, str]:
        """Every second about the sheet's shift by its fingerprint, whole minutes first."""
        day, found = self.day, dict[str, str]()
        shift = next((row for row in self.plan.shifts if row.shift == self.said("shift")), None)
        if day is None or shift is None:
            return found
        midnight = datetime.datetime.combine(day, datetime.time())
        seconds = range(math.floor(shift.start - EARLY), math.ceil(shift.end + LATE))
        for second in sorted(seconds, key=lambda each: each % 60 != 0):
            moment = midnight + datetime.timedelta(seconds=second)
            days = (moment - self.first_day).total_seconds() / 86400.0
            found.setdefault(number_mark(days), stamp_text(moment))
        return found

    def entry(self, kind: str, name: str, cell: TypedCell, **facts: str | float | int | None) -> None:
        """Add an entry that has the sheet's head."""
        head: dict[str, str | float | int | None] = {
            "day": self.day.isoformat() if self.day else "",
            "shift": self.said("shift"),
            "station": self.said("station"),
            "material": self.said("material"),
        }
        facts = {**head, **facts}
        self.reading.entries.append(Entry(kind, name, self.where(cell), **facts))  # type: ignore[arg-type]

    def name(self, *parts: object) -> str:
        """What a fact of this sheet is called: sheet, day, shift, station, and what within it."""
        day = self.day.isoformat() if self.day else ""
        head = (self.spec.key, day, self.said("shift"), self.said("station"))
        return "|".join(str(part) for part in (*head, *parts))


# --------------------------------------------------------------------------------------- columns


def _columns(package: Package, spec: SheetSpec) -> dict[str, dict[int, tuple[Field, str]]]:
    """Of each table its columns by number: what it is, and the unit it states.

    The words are those of the language in which most of them are found; hidden names tell them in all.
    """
    headers, keyed = headers_of(package), keyed_headers(package)
    best: dict[str, dict[int, tuple[Field, str]]] = {}
    for code in languages():
        with printed_in(code):
            called = headings_of(spec, headers, keyed, by_hand=True)
        found: dict[str, dict[int, tuple[Field, str]]] = {}
        for table, names in called.items():
            there = package.table(table)
            if there is None:
                continue
            by_words = {fold(heading): heading.field for heading in names.values()}
            for place, title in enumerate(there.columns):
                split = HEADER.match(title)
                item = by_words.get(fold(split["base"] if split else title))
                if item is not None:
                    unit = split["unit"].strip() if split else item.unit
                    found.setdefault(table, {})[there.first_column + place] = item, unit
        if sum(map(len, found.values())) > sum(map(len, best.values())):
            best = found
    return best


def _head(package: Package, spec: SheetSpec) -> dict[str, Plain]:
    """The figures of a sheet by defined name."""
    wanted = {item.name for item in spec.names}
    found: dict[str, Plain] = {}
    for item in package.defined_names:
        if item.name in wanted and item.place is not None:
            sheet, cell = item.place
            if package.sheet(sheet) is not None:
                found[item.name] = package.cell_values(sheet).get(cell)
    return found


def _whole(value: Plain) -> int | None:
    """A whole number of a cell, None for anything else."""
    return int(value) if isinstance(value, float) and abs(value) <= MOST_PIECES else None


def _rows(package: Package, spec: SheetSpec, cells: list[TypedCell]) -> tuple[list[_Row], list[TypedCell]]:
    """Typed cells gathered by table row, and those that lie in no table."""
    columns = _columns(package, spec)
    values: dict[str, Mapping[tuple[int, int], Plain]] = {}
    rows: dict[tuple[str, int], _Row] = {}
    outside = []
    tables = [table for name in spec.tables if (table := package.table(name)) is not None]
    for cell in cells:
        row, column = split_cell(cell.address)
        table = next((item for item in tables if _holds(item, cell.sheet, row, column)), None)
        known = columns.get(table.name, {}) if table is not None else {}
        if table is None or column not in known:
            outside.append(cell)
            continue
        if cell.sheet not in values:
            here = package.cell_values(cell.sheet)
            values[cell.sheet] = {split_cell(address): value for address, value in here.items()}
        if (table.name, row) not in rows:
            for each in range(table.first_data_row, table.last_data_row + 1):
                rows[table.name, each] = _Row(
                    table.name,
                    {item.name: values[cell.sheet].get((each, at)) for at, (item, _) in known.items()},
                    {},
                    {item.name: unit for item, unit in known.values()},
                    {item.name: item for item, _ in known.values()},
                )
        rows[table.name, row].typed[known[column][0].name] = cell
    return list(rows.values()), outside


def _name_rows(sheet: _Filled, rows: Iterable[_Row]) -> None:
    """Name the fact of each row by its event; those that all else tells alike are counted from the top."""
    twins: Counter[str] = Counter()
    for row in rows:
        what = _EVENTS.get(row.table)
        if what is not None:
            name = sheet.name(*what(sheet, row))
            twins[name] += 1
            row.name = twin_name(name, twins[name])


def _check_event(sheet: _Filled, row: _Row) -> tuple[str, ...]:
    return CHECK, sheet.printed(row, "time") or row.text("check") or sheet.moment(row, "time")


def _times_event(sheet: _Filled, row: _Row) -> tuple[str, ...]:
    return TIMES, _event(row), _letter(row), sheet.printed(row, "time") or sheet.moment(row, "time")


def _staged_event(sheet: _Filled, row: _Row) -> tuple[str, ...]:
    station = row.text("station") or sheet.said("station")
    material = row.text("material") or sheet.said("material")
    return STAGED_ROW, station, material, _letter(row)


def _later_event(sheet: _Filled, row: _Row) -> tuple[str, ...]:
    serial, shot = (_whole(row.values.get(name)) for name in ("serial", "shot"))
    return "later shot", row.text("part"), row.text("begun"), str(serial), str(shot)


def _handover_event(sheet: _Filled, row: _Row) -> tuple[str, ...]:
    return "handover", *(row.text(name) for name in ("way", "what", "part", "part_numbers"))


#: of the tables whose rows are events, what tells one from another
_EVENTS: dict[str, Callable[[_Filled, _Row], tuple[str, ...]]] = {
    "CheckShots": _check_event,
    "LampChecks": _check_event,
    "MaterialTimes": _times_event,
    "StagingContainers": _staged_event,
    "MaterialLots": _staged_event,
    "MaterialLater": _later_event,
    "MaterialHandover": _handover_event,
}
_WORDS_OF_TIMES = ("container", "expired", "mixer", "purge", "check", "start", "end")


def _event(row: _Row) -> str:
    """What happens in a row, in the planner's word for it."""
    given = row.text("event")
    return next((word for word in _WORDS_OF_TIMES if _is_said(given, word)), given)


def _holds(table: Table, sheet: str, row: int, column: int) -> bool:
    return (
        table.sheet.name == sheet
        and table.first_data_row <= row <= table.last_data_row
        and table.first_column <= column <= table.last_column
    )


# ---------------------------------------------------------------------------------------- meaning


def _is_said(given: str, word: str) -> bool:
    """Whether a printed word is this one in any language that the planner prints."""
    for code in languages():
        with printed_in(code):
            if fold(given) == fold(translated(word)):
                return True
    return False


def _letter(row: _Row) -> str:
    given = row.text("component")
    if not given:
        return ""
    return "a" if _is_said(given, ONE_PART) else fold(given)


_TIME_GOES = "the time goes into the column Time"
_NOON_FORMS = "h", "H"  # letters of a number format that shows hours


def _clock_in(cell: TypedCell) -> str:
    """The time of day that a cell holds, "" where it holds another thing."""
    if (
        isinstance(cell.value, float)
        and 0.0 < cell.value < 1.0
        and any(each in cell.form for each in _NOON_FORMS)
    ):
        minutes = round(cell.value * 1440.0)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    if isinstance(cell.value, str) and ":" in cell.value:
        try:
            clock("time", "time").read(cell.value)
        except InputError:
            return ""
        return cell.value.strip()
    return ""


def _no_mass(value: Plain) -> str:
    """What is wrong with the unit of a weight, "" where that is not what is wrong."""
    try:
        read_quantity(str(value), "g")
    except UnitError as error:
        problem = error.problems[0]
        return f"{problem.value} is no unit of mass" if problem.argument == "unit" else ""
    return ""


def _shown(cell: TypedCell) -> str:
    """What a message says of the content of a cell."""
    if found := _clock_in(cell):
        return found
    if isinstance(cell.value, str):
        return f'"{cell.value}"'
    return cell.shown


def _lamp_check(sheet: _Filled, row: _Row) -> None:
    """A dose read on a check strip, kept as a note: with its limits, when, and who signed."""
    by, signed = _initials(sheet, row)
    cell = row.take("reading")
    if cell is None or cell.value is None:
        if signed is not None:
            sheet.unread(signed, "no reading stands in its row")
        return
    if isinstance(cell.value, bool) or not isinstance(cell.value, int | float):
        sheet.unread(cell, "a dose in J/cm² is meant")
        return
    low, high = row.text("low"), row.text("high")
    limits = f", {low} to {high}" if high else f", at least {low}" if low else ""
    words = f"lamp dose {text_of(cell.value)} J/cm²{limits}"
    sheet.entry(NOTED, row.name, cell, time=sheet.moment(row, "time"), text=words, by=by)


def _initials(sheet: _Filled, row: _Row) -> tuple[str, TypedCell | None]:
    """Who signed a row, and the cell; a number or a time there is named, not booked."""
    by, cell = row.text("initials"), row.take("initials")
    if cell is None or not by:
        return by, cell
    if _clock_in(cell):
        sheet.unread(cell, f"initials are meant here, {_TIME_GOES}")
        return "", None
    if not isinstance(cell.value, str):
        sheet.unread(cell, "initials are meant here, not a number")
        return "", None
    return by, cell


def _tick(sheet: _Filled, row: _Row) -> TypedCell | None:
    """The cell that says that a row was done; a plain no is a note, what is neither is named."""
    cell = row.typed.get("done")
    if cell is None:
        return None
    row.take("done")
    words = fold("yes" if cell.value is True else text_of(cell.value)) if cell.value is not None else ""
    if _clock_in(cell):
        sheet.unread(cell, f"a tick is x or yes, {_TIME_GOES}")
        return None
    if words in YES:
        return cell
    if words in NO:
        what = row.text("action") or row.text("what") or row.text("material")
        sheet.entry(NOTED, row.name, cell, text=f"not done: {what}")
    else:
        sheet.unread(cell, "a tick is x or yes")
    return None


def _shot_check(sheet: _Filled, row: _Row) -> None:
    count = _whole(sheet.head.get("shots_together")) or 1
    time = sheet.moment(row, "time")
    key = row.name
    by, signed = _initials(sheet, row)
    moved = row.take("time")
    targets = {
        "weighed": (
            WEIGHT,
            sheet.grams(row, "target"),
            sheet.grams(row, "low"),
            sheet.grams(row, "high"),
            "",
        ),
        "a_alone": (WEIGHT_A, sheet.head.get("mass_a"), None, None, "a"),
        "b_alone": (WEIGHT_B, sheet.head.get("mass_b"), None, None, "b"),
    }
    booked = False
    for name, (kind, target, low, high, letter) in targets.items():
        cell = row.typed.get(name)
        if cell is None:
            continue
        mass = sheet.grams(row, name)
        row.take(name)
        if mass is None:
            continue
        booked = True
        sheet.entry(
            kind,
            key,
            cell,
            time=time,
            value=mass,
            unit="g",
            count=count,
            target=cast("float | None", target),
            low=low,
            high=high,
            component=letter,
            by=by,
        )
    if not booked and signed is not None and by:
        sheet.entry(SIGNED, key, signed, time=time, by=by, text=by)
    if not booked and moved is not None:
        sheet.unread(moved, "the time was changed and no weight is booked")


def _setup(sheet: _Filled, row: _Row) -> None:
    """A setup card has no day: each printed one is an occasion of its own, at the time written on it."""
    what = {name: row.text(name) for name in ("part", "application")}
    if sheet.weighed_on is not None:
        day, shift = shift_at(sheet.plan, sheet.weighed_on)
        what |= {"day": day, "shift": shift, "time": stamp_text(sheet.weighed_on)}
    key = sheet.name(sheet.said("stamp"), *(row.text(name) for name in ("part", "application", "shot")))
    if (cell := row.typed.get("weighed")) is not None:
        mass = sheet.grams(row, "weighed")
        row.take("weighed")
        if mass is not None:
            sheet.entry(
                WEIGHT,
                key,
                cell,
                **what,
                value=mass,
                unit="g",
                count=_whole(row.values.get("shots_together")) or 1,
                target=sheet.grams(row, "mass_of_n_shots"),
                low=sheet.grams(row, "mass_low"),
                high=sheet.grams(row, "mass_high"),
                text="setup",
            )
    if (cell := row.take("set")) is not None and cell.value is not None:
        value, unit = _setting(cell.value)
        words = "" if value is not None else text_of(cell.value)
        sheet.entry(SETTING, key, cell, **what, value=value, unit=unit, text=words)


_SETTING_UNITS = ("bar", "mL/s", "mm/s", "s", "mL", "g", "°C")  # a setting is kept in that of these it fits


def _setting(given: object) -> tuple[float | None, str]:
    """What a dispenser was set to, and its unit: 3.2 bar, 46 psi (in bar), 70 (without); else a text."""
    if isinstance(given, float):
        return given, ""
    words = str(given).strip()
    if words[-1:].isdigit() or not words[:1].isdigit():
        return None, ""
    for unit in _SETTING_UNITS:
        try:
            return float(f"{from_si(read_quantity(with_point(words), unit), unit):.9g}"), unit
        except InputError:
            continue
    return None, ""


def _containers(sheet: _Filled, row: _Row) -> int | None:
    """How many containers a row says; what is typed there and is no whole number is named."""
    cell = row.typed.get("containers")
    count = _whole(row.values.get("containers"))
    if cell is None or cell.value is None:
        return count
    try:
        return int(row.fields["containers"].read(cell.value))
    except InputError as error:
        row.take("containers")
        sheet.unread(cell, f"how many containers is meant, {error.problems[0].allowed}")
        return None


def _staged(sheet: _Filled, row: _Row) -> None:
    """Containers brought: a tick, or another lot or number than was printed."""
    done = _tick(sheet, row)
    by, signed = _initials(sheet, row)
    count = _containers(sheet, row)
    lot = "lots" if sheet.spec is STAGING else "lot"
    changed = [cell for name in (lot, "containers") if (cell := row.take(name)) is not None]
    station = row.text("station") or sheet.said("station")
    material = row.text("material") or sheet.said("material")
    cell = done or next(iter(changed), None)
    if cell is not None:
        sheet.entry(
            STAGED,
            row.name,
            cell,
            station=station,
            material=material,
            component=_letter(row),
            lot=row.text(lot),
            count=count,
            by=by,
            text="changed by hand" if changed else "",
        )
    elif signed is not None and by:
        sheet.entry(SIGNED, row.name, signed, station=station, material=material, by=by, text=by)


def _times(sheet: _Filled, row: _Row) -> None:
    """What was done in a shift: containers connected, mixers changed, purges."""
    done = _tick(sheet, row)
    by, signed = _initials(sheet, row)
    time = sheet.moment(row, "time")
    changed = [cell for name in ("lot", "time") if (cell := row.take(name)) is not None]
    cell = done or next(iter(changed), None)
    facts = {"time": time, "component": _letter(row), "lot": row.text("lot"), "by": by}
    if cell is None:
        if signed is not None and by:
            sheet.entry(SIGNED, row.name, signed, **facts, text=f"{row.text('action')}: {by}")
        return
    event = _event(row)
    kind = {"container": OPENED, "expired": EMPTIED}.get(event)
    if kind is not None:
        sheet.entry(kind, row.name, cell, **facts, count=1)
    else:
        sheet.entry(DONE, row.name, cell, **facts, text=event)


def _later(sheet: _Filled, row: _Row) -> None:
    """When a shot and the one before it were poured, and by whom."""
    by, signed = _initials(sheet, row)
    serial, shot, before = (_whole(row.values.get(name)) for name in ("serial", "shot", "before"))
    part, booked = row.text("part"), False
    for name, number in (("before_at", before), ("poured_at", shot)):
        if name not in row.typed:
            continue
        time, cell = sheet.moment(row, name), row.take(name)
        if time and cell is not None:
            booked, words = True, f"{part} no. {serial}: shot {number} poured"
            sheet.entry(DONE, f"{row.name}|{name}", cell, time=time, part=part, by=by, text=words)
    if not booked and signed is not None and by:
        words = f"{part} no. {serial}, shot {shot}: {by}"
        sheet.entry(SIGNED, row.name, signed, part=part, by=by, text=words)


def _handed_over(sheet: _Filled, row: _Row) -> None:
    """What was handed over or taken over, and by whom."""
    done = _tick(sheet, row)
    by, signed = _initials(sheet, row)
    what = ", ".join(filter(None, (row.text("what"), row.text("part_numbers"))))
    words = f"{row.text('way')}: {what}"
    is_left = _is_said(row.text("way"), "handed over")
    if done is not None:
        sheet.entry(DONE, row.name, done, part=row.text("part"), by=by, text=words)
    booked = len(sheet.reading.entries)
    if is_left and (done is not None or row.typed.keys() & {"volume", "count"}):
        _stands(sheet, row, done, by)
    if len(sheet.reading.entries) == booked and done is None and signed is not None and by:
        sheet.entry(SIGNED, row.name, signed, part=row.text("part"), by=by, text=f"{words}: {by}")


#: what a hand-over prints, and what stands there then
_STANDING_WORDS = {
    f"container {{name}} lot {{name2}}{TOO_OLD}": STANDING_CONTAINER,
    f"container lot {{name2}}{TOO_OLD}": STANDING_CONTAINER,
    "container {name} lot {name2}": STANDING_CONTAINER,
    "container lot {name2}": STANDING_CONTAINER,
    MIXER: STANDING_MIXER,
    f"{HALF_DONE}, visit {{count}} to come": STANDING_HALF_DONE,
    TO_MATE: STANDING_TO_MATE,
    f"{BETWEEN} {{name}}": STANDING_BETWEEN,
}
_FIELD = re.compile(r"\{(\w+)\}")


def _standing_said(given: str) -> tuple[str, dict[str, str]]:
    """What stands somewhere by the words of a hand-over in any language, and what they name; "": neither."""
    for code in languages():
        with printed_in(code):
            for english, what in _STANDING_WORDS.items():
                fields = _FIELD.findall(english)
                marks = {name: f"<{place}>" for place, name in enumerate(fields)}
                known = re.escape(translated(english.format_map(marks)))
                for name, mark in marks.items():
                    known = known.replace(re.escape(mark), f"(?P<{name}>.+?)")
                if (match := re.fullmatch(known, given.strip())) is not None:
                    return what, match.groupdict()
    return "", {}


def _stands(sheet: _Filled, row: _Row, done: TypedCell | None, by: str) -> None:
    """What a station hands over stands there as the next shift begins; what was typed replaces the print."""
    what, said = _standing_said(row.text("what"))
    day = sheet.day
    typed = row.typed.get("volume" if what == STANDING_CONTAINER else "count")
    cell = done or typed
    if not what or day is None or cell is None:
        return  # nothing stands here, or what was typed is named as any cell
    row.take("volume" if what == STANDING_CONTAINER else "count")
    _, end = sheet.plan.hours_of(day, sheet.said("shift"))
    moment = datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(seconds=end)
    facts: dict[str, str | float | int | None] = {"time": stamp_text(moment), "by": by}
    more: dict[str, str | int | None] = {"latest": sheet.moment(row, "latest")}
    if what == STANDING_CONTAINER:
        letter = said.get("name", "a").lower()
        volume = _usable(sheet, row, typed)
        if volume is None:
            return
        station = sheet.plan.on(day).station(sheet.said("station"))
        component = sheet.plan.components_of(station.material).get(letter)
        heel = 0.0 if component is None else from_si(heel_volume(component) / NANO, "mL")
        facts |= {"component": letter, "lot": said["name2"], "value": float(volume + heel), "unit": "mL"}
    elif what == STANDING_MIXER:
        more["nozzle"] = twin_number(row.name)
    else:
        count = _whole(row.values.get("count"))
        numbers = _first_numbers(row.text("part_numbers"), count)
        if not numbers:
            if typed is not None:
                sheet.unread(typed, "how many of these parts is meant, no more than their numbers say")
            return
        origin = ORIGIN.search(row.text("part_numbers"))
        origin_words = origin[0] if origin else f"{day} {sheet.said('shift')}"
        facts |= {"part": row.text("part"), "count": count}
        more |= {
            "numbers": f"{numbers} of {origin_words}",
            "visits": int(said["count"]) - 1 if "count" in said else None,
            "before": said.get("name"),
            "due": sheet.moment(row, "next_step"),
        }
    sheet.entry(STANDS, row.name, cell, **facts, text=text_of_standing(what, **more))


def _first_numbers(printed: str, count: int | None) -> str:
    """The numbers of parts that are printed, the first so many of them; "" where they are fewer."""
    numbers = numbers_of(printed)
    if not numbers or count is None or not 0 < count <= len(numbers):
        return ""
    return numbers_text(numbers[:count])


def _usable(sheet: _Filled, row: _Row, typed: TypedCell | None) -> float | None:
    """What a container holds for use [mL] by the cell of a row; a blank one is empty but for its heel."""
    value = row.values.get("volume")
    if value is None or value == "":
        return 0.0
    if isinstance(value, str) and comma_is_decimal(value):
        value = with_point(value)
    try:
        if typed is not None and (typed.form or _clock_in(typed)):
            raise InputError(Problem("", "volume", value, "a volume, not a date or time"))
        read = replace(row.fields["volume"], at_least=0.0)
        return float(from_si(read.read(value, "", row.units["volume"]), "mL"))
    except InputError as error:
        if typed is not None:
            sheet.unread(typed, f"a volume is meant, {error.problems[0].allowed}")
        return None


_STATES = {"mates": "mated", "move": "moved", "join": "joined", "test": "tested"}


def _batches(sheet: _Filled, row: _Row) -> None:
    """Times typed over those of the plan, and notes."""
    part, batch = row.text("part"), row.text("batch")
    for name, words in _STATES.items():
        cell = row.typed.get(name)
        if cell is None:
            continue
        time = sheet.moment(row, name)
        row.take(name)
        if time:
            sheet.entry(DONE, sheet.name("batch", batch, words), cell, time=time, part=part, text=words)
    if (cell := row.take("note")) is not None and cell.value is not None:
        sheet.entry(NOTED, sheet.name("batch", batch, "note"), cell, part=part, text=text_of(cell.value))


_MEANT: dict[str, Callable[[_Filled, _Row], None]] = {
    "CheckShots": _shot_check,
    "LampChecks": _lamp_check,
    "SetupShots": _setup,
    "SetupFlows": _setup,
    "StagingContainers": _staged,
    "MaterialLots": _staged,
    "MaterialTimes": _times,
    "MaterialLater": _later,
    "MaterialHandover": _handed_over,
    "CureBatches": _batches,
}
_TO_TRY = frozenset({SHIFT_MATERIAL.key, CURE_BOARD.key})  # sheets with a cell for a figure to try


def _outside(sheet: _Filled, cell: TypedCell) -> None:
    """A cell in no table: a text is a note; a figure to try is said and not booked."""
    if isinstance(cell.value, str) and not cell.formula:
        sheet.entry(NOTED, sheet.name(cell.sheet, cell.address), cell, text=cell.value)
    elif cell.value is not None and sheet.spec.key in _TO_TRY:
        sheet.reading.notes.append(f"{sheet.where(cell)} is a figure to try and is not booked")
    else:
        sheet.unread(cell, "it stands in no column to be filled in")


def _card_time(sheet: _Filled, outside: list[TypedCell]) -> list[TypedCell]:
    """Read the time that a card was weighed on; gives the other cells that lie in no table."""
    places = {item.name: item.place for item in sheet.package.defined_names}
    place = places.get("weighed_on")
    cells = [cell for cell in outside if place == (cell.sheet, cell.address)]
    for cell in cells:
        if isinstance(cell.value, float) and 2.0 <= cell.value < LAST_DAY:
            sheet.weighed_on = sheet.at(cell.value)
            continue
        try:
            sheet.weighed_on = moment_of(None, text_of(cell.value), sheet.where(cell))
        except InputError:
            sheet.unread(cell, "a date and time is meant, such as 2026-03-02 06:30")
    return [cell for cell in outside if cell not in cells]


def _check_head(sheet: _Filled) -> None:
    """Refuse a sheet of another plan, and one that was filled without its head."""
    plan, problems = sheet.plan, sheet.reading.refused
    known = {"station": {row.station for row in plan.stations}, "shift": {row.shift for row in plan.shifts}}
    for name, names in known.items():
        if name not in sheet.spec.required:
            continue
        if sheet.said(name) not in names:
            problems.append(
                Problem(
                    sheet.reading.source,
                    name,
                    sheet.said(name) or None,
                    f"a {name} of the plan ({', '.join(sorted(names)[:12])})",
                    "is it a sheet of another plan?",
                )
            )
    if "day" in sheet.spec.required and sheet.day is None:
        problems.append(Problem(sheet.reading.source, "day", None, "the date of the shift, in its head"))
    for name in ("plant", "line"):
        given, ours = sheet.said(name), str(plan.settings[name])  # type: ignore[literal-required]
        if given != ours:
            sheet.reading.notes.append(f'the sheet says {name} "{given}", the plan "{ours}"')


def read_filled(plan: Plan, path: Path, package: Package, key: str) -> Reading:
    """The entries of a filled sheet of kind `key`; nothing is booked here."""
    spec = SPECS[key]
    reading = Reading(path.name, content_of(path), spec.title.lower())
    first = FIRST_DAY_1904 if package.date1904 else FIRST_DAY
    sheet = _Filled(plan, package, spec, reading, first, _head(package, spec))
    reading.head = sheet.name("")
    cells = typed_cells(package)
    if not cells:
        reading.notes.append("nothing was filled in by hand")
        return reading
    _check_head(sheet)
    rows, outside = _rows(package, spec, cells)
    outside = _card_time(sheet, outside)
    _name_rows(sheet, rows)
    for row in rows:
        if not row.typed:
            continue
        for name, cell in list(row.typed.items()):
            if cell.value is None:
                sheet.unread(cell, "its formula has no value" if cell.formula else "what was printed is gone")
                row.take(name)
        meant = _MEANT.get(row.table)
        if meant is not None:
            meant(sheet, row)
        for cell in row.typed.values():
            sheet.unread(cell, f"{cell.address} was printed, and nothing is booked from it")
    for cell in outside:
        _outside(sheet, cell)
    return reading


__all__ = ["read_filled"]
