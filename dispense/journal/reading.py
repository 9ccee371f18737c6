"""Tables of the floor: weights from a balance, and what came, was counted, opened, made and scrapped.

Columns are declared here as those of a plan are and read as they are: units by header, decimal commas,
every wrong cell named at once. A file with a wrong cell is not booked.
"""

from __future__ import annotations

import datetime
import io
import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from ..base.errors import NA, FileError, InputError, Problem, UnitError
from ..base.fields import Field, by_header, choice, clock, date, number, text, whole
from ..base.naming import field_name, fold, nearest
from ..base.units import from_si, read_header, read_quantity, unit_factor, with_point
from ..plan.build import read_rows
from ..plan.csv import read_csv
from ..plan.prepared import EACH
from ..plan.records import Plan, RawTable
from ..plan.tables import YEARS, Table
from ..xlsx.package import Package, column_letters
from .entries import (
    COUNTED,
    EMPTIED,
    MADE,
    OPENED,
    PURGED,
    RECEIVED,
    SCRAPPED,
    STANDS,
    VOLUME,
    VOLUME_A,
    VOLUME_B,
    WEIGHT,
    WEIGHT_A,
    WEIGHT_B,
    Entry,
)

SEARCHED_ROWS = 30  # a header stands within the first rows
LEAST_HEADERS = 2
MOST_ROWS = 200_000
MOST_COLUMNS = 60
MOST_PIECES = 1_000_000_000  # of shots, containers and parts that one cell counts
GRACE = 3600.0  # s before a shift begins and after it ends that still are its; common practice, no source
UNIT_HELP = "unit of the figures of the row; blank: that of the header"
COUNTS = EACH | {"part", "parts"}  # words for the unit of a number of pieces


def _maybe(name: str, unit: str, help: str, **limits: Any) -> Field:
    return number(name, unit, help, default=None, **limits)


def _word(name: str, help: str) -> Field:
    return text(name, help, default="")


WEIGHTS = Table(
    "Weights",
    "",
    "what a balance has weighed: one row a cup",
    (
        date("date", "day, where the time does not hold it", default=None),
        text("time", "when: 2026-03-02 06:30, or 06:30 with a date"),
        _word("station", "station; may be left out where the plan has one"),
        _word("part", "part whose shot it is; blank: the station's check shot"),
        _word("application", "bead, pot or joint of that part"),
        whole("shots", "shots weighed together", default=None, at_least=1, at_most=MOST_PIECES),
        number(
            "weight", "g", "mass of these shots together", above=0.0, labels=("Weight", "Mass", "Weighed")
        ),
        _maybe("a_alone", "g", "component A of these shots alone", above=0.0),
        _maybe("b_alone", "g", "component B of these shots alone", above=0.0),
        _maybe("volume", "mL", "volume of these shots, where it was measured", above=0.0),
        _maybe("a_volume", "mL", "volume of A alone, where it was measured", above=0.0),
        _maybe("b_volume", "mL", "volume of B alone, where it was measured", above=0.0),
        _word("unit", UNIT_HELP),
        _word("by", "who weighed"),
    ),
)
WHATS = (RECEIVED, COUNTED, OPENED, EMPTIED, STANDS, MADE, SCRAPPED, PURGED)
OF_MATERIAL = (RECEIVED, COUNTED, OPENED, EMPTIED, STANDS)
OF_SHIFT = (MADE, SCRAPPED, PURGED)  # counted in pieces
AMOUNTS = ("containers", "volume", "mass", "pieces")  # columns of which a row has one
OF_STATION = (OPENED, EMPTIED, STANDS, PURGED)
ACTUALS = Table(
    "Actuals",
    "",
    "what came, was counted, opened, emptied, stands at a station, was made, scrapped and purged: a row each",
    (
        choice("what", WHATS, "what happened; stands: a container that is connected, with what is in it"),
        date("date", "day"),
        clock("time", "time of day", default=None),
        _word("shift", "shift"),
        _word("station", "station; needed where a container is opened or emptied, and for parts"),
        _word("part", "part, where parts were made or scrapped"),
        _word("material", "material"),
        _word("component", "A or B; blank for a one-part material"),
        _word("lot", "lot"),
        whole("containers", "containers", default=None, at_least=0, at_most=MOST_PIECES),
        _maybe("volume", "mL", "volume, where it is not told in containers", at_least=0.0),
        _maybe("mass", "kg", "mass, where it is not told in containers", at_least=0.0),
        whole(
            "pieces",
            "parts, or purges and mixer changes of a shift",
            default=None,
            at_least=0,
            at_most=MOST_PIECES,
        ),
        _word("unit", UNIT_HELP),
        _word("reference", "delivery note or other number that tells two alike apart"),
        _word("by", "who says so"),
    ),
)


@dataclass(slots=True)
class Reading:
    """What was understood of a file, entry by entry, and what was not.

    `refused` are problems for which nothing of the file is booked, `unread` cells that are not booked.
    """

    source: str
    content: str
    kind: str = ""
    entries: list[Entry] = field(default_factory=list)
    refused: list[Problem] = field(default_factory=list)
    unread: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    head: str = ""  # what the names of all facts of this filled sheet begin with


def content_of(path: str | os.PathLike[str]) -> str:
    """The fingerprint of a file."""
    try:
        return sha256(Path(path).read_bytes()).hexdigest()
    except OSError as error:
        raise FileError(Problem(str(path), message=f"cannot be read: {error.strerror}")) from error


# ------------------------------------------------------------------------------------- raw tables


def _known(headers: Iterable[Any]) -> tuple[Table | None, int]:
    """The table that most headers belong to, and how many do."""
    names = {field_name(read_header(str(header))[0]) for header in headers if header is not None}
    counts = {table.name: (len(names & set(by_header(table.columns))), table) for table in (ACTUALS, WEIGHTS)}
    count, table = max(counts.values(), key=lambda pair: pair[0])
    return (table, count) if count >= LEAST_HEADERS else (None, count)


def _from_csv(path: Path) -> list[tuple[Table, RawTable]]:
    found = read_csv(path)
    table, _ = _known(found.headers)
    if table is None:
        raise _no_table(path.name, found.headers)
    columns: list[list[Any]] = [
        [found.plain(cell) or None for cell in found.column(place)] for place in range(len(found.headers))
    ]
    return [(table, RawTable(table.name, found.headers, columns, found.numbers, sheet=path.name))]


def _no_table(name: str, headers: Sequence[Any]) -> InputError:
    shown = ", ".join(str(header) for header in headers if header is not None)[:200]
    return InputError(
        Problem(
            name,
            message=f"is no table of weights or of what happened; its headers are {shown or 'blank'}",
            fix="weights: "
            + ", ".join(item.title for item in WEIGHTS.columns if item.is_required)
            + "; what happened: "
            + ", ".join(item.title for item in ACTUALS.columns if item.is_required),
            code=NA,
        )
    )


def _from_workbook(path: Path, package: Package) -> list[tuple[Table, RawTable]]:
    """Every sheet that begins as a table of ours."""
    from openpyxl import load_workbook

    try:
        book = load_workbook(io.BytesIO(package.to_bytes()), read_only=True, data_only=True, keep_links=False)
        sheets = [
            (
                str(sheet.title),
                list(sheet.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS, values_only=True)),
            )
            for sheet in book.worksheets
        ]
        book.close()
    except Exception as error:  # openpyxl lets errors of many kinds through on damaged XML
        raise FileError(
            Problem(
                str(path),
                message=f"is damaged: {' '.join(str(error).split())[:120]}",
                fix="open it in a spreadsheet and save it again as .xlsx",
            )
        ) from error
    found = []
    first: list[Any] = []
    for title, rows in sheets:
        for place, headers in enumerate(rows[:SEARCHED_ROWS]):
            table, _ = _known(headers)
            first = first or [cell for cell in headers if cell is not None]
            if table is None:
                continue
            body = [row + (None,) * (len(headers) - len(row)) for row in rows[place + 1 :]]
            names = [field_name(read_header(str(header))[0]) for header in headers]
            columns = [
                [_plain(row[column], names[column] == "time") for row in body]
                for column in range(len(headers))
            ]
            letters = [column_letters(column + 1) for column in range(len(headers))]
            numbers = range(place + 2, place + 2 + len(body))
            titles = ["" if header is None else str(header) for header in headers]
            raw = RawTable(table.name, titles, columns, numbers, letters, place + 1, title)
            found.append((table, raw))
            break
    if not found:
        raise _no_table(path.name, first)
    return found


def _plain(cell: Any, is_time: bool) -> Any:
    """A time as text, so that the column may hold times of day and whole dates."""
    return str(cell) if is_time and isinstance(cell, datetime.datetime | datetime.time) else cell


def _with_units(table: Table, raw: RawTable) -> RawTable:
    """The table with the unit of each row behind its plain figures: those that it suits, else all.

    One that suits none is so named by the reader of the figure. Where a cell has its own unit, that counts.
    """
    items = by_header(table.columns)
    places = {
        item.name: (place, item)
        for place, header in enumerate(raw.headers)
        if (item := items.get(field_name(read_header(str(header))[0]))) is not None
    }
    if "unit" not in places:
        return raw
    told = [_given(cell) for cell in raw.columns[places["unit"][0]]]
    figures = [(place, item) for place, item in places.values() if item.kind in ("number", "whole")]
    headers, columns = list(raw.headers), list(raw.columns)
    for place, _ in figures:
        columns[place] = list(raw.columns[place])
    for row, unit in enumerate(told):
        plain = [(place, item) for place, item in figures if unit and _is_plain(raw.columns[place][row])]
        fitting = [(place, item) for place, item in plain if _suits(unit, item)]
        for place, item in fitting or plain:
            if not (fitting and item.kind == "whole"):
                columns[place][row] = f"{_given(raw.columns[place][row])} {unit}"
    for place, item in figures:
        if item.unit and not any(map(_is_plain, columns[place])):
            headers[place] = item.title  # each cell says its unit: that of the header is not asked for
    return replace(raw, headers=headers, columns=columns)


def _given(cell: Any) -> str:
    return "" if cell is None else str(cell).strip()


def _is_plain(cell: Any) -> bool:
    """Whether a cell is a number that carries no unit."""
    try:
        read_quantity(with_point(_given(cell)), "")
    except UnitError:
        return False
    return not isinstance(cell, bool)


def _suits(unit: str, item: Field) -> bool:
    """Whether figures of a column may be given in a unit."""
    if item.kind == "whole" or fold(unit) in COUNTS:
        return item.kind == "whole" and fold(unit) in COUNTS
    try:
        unit_factor(unit, item.unit)
    except UnitError:
        return False
    return True


# ---------------------------------------------------------------------------------------- entries


class _Names:
    """The plan's names as it spells them."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.known: dict[str, list[str]] = {
            "station": [row.station for row in plan.stations],
            "part": [row.part for row in plan.parts],
            "material": [row.material for row in plan.materials],
            "shift": [row.shift for row in plan.shifts],
        }
        self._folded = {kind: {fold(name): name for name in names} for kind, names in self.known.items()}

    def spell(self, kind: str, given: str, where: str, problems: list[Problem]) -> str:
        """A name as the plan has it; one it does not have is a problem."""
        if not given:
            return ""
        found = self._folded[kind].get(fold(given))
        if found is None:
            near = nearest(given, self.known[kind])
            problems.append(
                Problem(
                    where,
                    kind,
                    given,
                    f"a {kind} of the plan ({', '.join(self.known[kind][:12])})",
                    f"did you mean {near}?" if near else "",
                    NA,
                )
            )
            return given
        return found

    def component(self, material: str, given: str, where: str, problems: list[Problem]) -> str:
        """The letter of a component: a or b, a for a one-part material."""
        letters = list(self.plan.components_of(material))
        letter = fold(given).removeprefix("component ").strip()
        if not letter and len(letters) == 1:
            return letters[0]
        if letter not in letters:
            problems.append(
                Problem(where, "component", given or None, "one of " + ", ".join(map(str.upper, letters)))
            )
        return letter


def shift_at(plan: Plan, moment: datetime.datetime) -> tuple[str, str]:
    """Day and name of the shift that a moment falls into; the plain day and "" where it falls into none."""
    for grace in (0.0, GRACE):
        for row in plan.shifts:
            for day in (moment.date(), moment.date() - datetime.timedelta(days=1)):
                clock_ = (moment - datetime.datetime.combine(day, datetime.time())).total_seconds()
                if row.start - grace <= clock_ < row.end + grace:
                    return day.isoformat(), row.shift
    return moment.date().isoformat(), ""


def moment_of(day: datetime.date | None, given: str, where: str) -> datetime.datetime:
    """When it was: a date and time, or a time of day of a day that is given."""
    words = given.strip()
    try:
        found = datetime.datetime.fromisoformat(words)
        if "-" in words and ":" in words and YEARS[0] <= found.year <= YEARS[1]:
            return found.replace(tzinfo=None)
    except ValueError:
        pass
    if day is None:
        raise InputError(
            Problem(where, "time", given, "a date and time such as 2026-03-02 06:30, or a time beside a date")
        )
    seconds = clock("time", "time of day").read(words, where)
    return datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(seconds=seconds)


def stamp_text(moment: datetime.datetime) -> str:
    """A moment as an entry keeps it."""
    return moment.isoformat(timespec="seconds")


#: kind of entry, column, component and unit of what a row of weights says
_FIGURES = (
    (WEIGHT, "weight", "", "g"),
    (WEIGHT_A, "a_alone", "a", "g"),
    (WEIGHT_B, "b_alone", "b", "g"),
    (VOLUME, "volume", "", "mL"),
    (VOLUME_A, "a_volume", "a", "mL"),
    (VOLUME_B, "b_volume", "b", "mL"),
)


def _weight_entries(plan: Plan, rows: Sequence[tuple[dict[str, Any], str]], reading: Reading) -> None:
    names, problems = _Names(plan), reading.refused
    seen: Counter[str] = Counter()
    for row, where in rows:
        station = names.spell("station", row["station"], where, problems)
        if not station and len(plan.stations) == 1:
            station = plan.stations[0].station
        elif not station:
            problems.append(
                Problem(where, "station", None, "the station that weighed", "the plan has several")
            )
        part = names.spell("part", row["part"], where, problems)
        try:
            moment = moment_of(row["date"], row["time"], where)
        except InputError as error:
            problems.extend(error.problems)
            continue
        day, shift = shift_at(plan, moment)
        key = "|".join(("balance", station, part, row["application"], stamp_text(moment)))
        seen[key] += 1
        for kind, column, component, unit in _FIGURES:
            if row[column] is None:
                continue
            reading.entries.append(
                Entry(
                    kind,
                    f"{key}|{seen[key]}",
                    f"{where} {column}",
                    day,
                    shift,
                    stamp_text(moment),
                    station,
                    part,
                    row["application"],
                    component=component,
                    value=float(from_si(row[column], unit)),
                    unit=unit,
                    count=row["shots"],
                    by=row["by"],
                )
            )


def _amount(
    row: Mapping[str, Any], where: str, problems: list[Problem]
) -> tuple[float | None, str, int | None]:
    """The one figure of a row of what happened: value with unit, or a number of pieces."""
    what = row["what"]
    given = [name for name in AMOUNTS if row[name] is not None]
    wanted: tuple[str, ...] = ("pieces",) if what in OF_SHIFT else ("containers", "volume", "mass")
    if what == STANDS:
        wanted = ("volume", "mass")
    wrong = [name for name in given if name not in wanted]
    if what in (OPENED, EMPTIED) and not given:
        return None, "", 1
    if wrong or len(given) != 1:
        allowed = f"one figure, in {' or '.join(wanted)}"
        problems.append(Problem(where, what, ", ".join(given) or None, allowed))
        return None, "", None
    name = given[0]
    if name in ("containers", "pieces"):
        return None, "", row[name]
    unit = "mL" if name == "volume" else "kg"
    return float(from_si(row[name], unit)), unit, None


def _check_rest(
    plan: Plan, row: Mapping[str, Any], where: str, failed: frozenset[str], problems: list[Problem]
) -> None:
    """What else is wrong with a row of which a cell could not be read."""
    names = _Names(plan)
    for kind in names.known:
        if row.get(kind) and kind not in failed:
            names.spell(kind, row[kind], where, problems)
    if "weight" in row and not failed & {"date", "time"}:
        try:
            moment_of(row["date"], row["time"], where)
        except InputError as error:
            problems.extend(error.problems)
    if "what" in row and not failed & {"what", *AMOUNTS}:
        _amount(row, where, problems)


def _actual_entries(plan: Plan, rows: Sequence[tuple[dict[str, Any], str]], reading: Reading) -> None:
    names, problems = _Names(plan), reading.refused
    seen: Counter[str] = Counter()
    for row, where in rows:
        what = row["what"]
        station = names.spell("station", row["station"], where, problems)
        part = names.spell("part", row["part"], where, problems)
        material = names.spell("material", row["material"], where, problems)
        shift = names.spell("shift", row["shift"], where, problems)
        component = ""
        if what in OF_MATERIAL:
            if not material and station in names.known["station"]:
                material = plan.on(row["date"]).station(station).material
            if not material:
                problems.append(Problem(where, "material", None, "the material, or the station that uses it"))
            elif material in names.known["material"]:
                component = names.component(material, row["component"], where, problems)
            if not row["lot"] and what != COUNTED:
                problems.append(Problem(where, "lot", None, "the lot"))
        elif not part and what != PURGED:
            problems.append(Problem(where, "part", None, "the part that was made or scrapped"))
        if what in OF_STATION and not station:
            allowed = "the station that was purged" if what == PURGED else "the station it stands at"
            problems.append(Problem(where, "station", None, allowed))
        value, unit, count = _amount(row, where, problems)
        moment = ""
        day = row["date"].isoformat()
        if row["time"] is not None:
            when = datetime.datetime.combine(row["date"], datetime.time()) + datetime.timedelta(
                seconds=row["time"]
            )
            moment = stamp_text(when)
            if not shift:  # parts counted as a shift ends are those of that shift
                counts_back = datetime.timedelta(seconds=1.0 if what in OF_SHIFT else 0.0)
                day, shift = shift_at(plan, when - counts_back)
        key = "|".join(
            ("actuals", day, shift, moment, station, part, material, component, row["lot"], row["reference"])
        )
        seen[f"{what}|{key}"] += 1
        reading.entries.append(
            Entry(
                what,
                f"{key}|{seen[f'{what}|{key}']}",
                where,
                day,
                shift,
                moment,
                station,
                part,
                "",
                material,
                component,
                row["lot"],
                value,
                unit,
                count,
                text=row["reference"],
                by=row["by"],
            )
        )


def read_floor_table(plan: Plan, path: str | os.PathLike[str], package: Package | None = None) -> Reading:
    """The entries of a CSV, or of a workbook that was opened as `package`; nothing is booked here."""
    source = Path(path)
    reading = Reading(source.name, content_of(source))
    tables = _from_csv(source) if package is None else _from_workbook(source, package)
    for table, raw in tables:
        notes: list[Problem] = []
        columns = [item.name for item in table.columns]
        rows: list[tuple[dict[str, Any], str]] = []
        for found in read_rows(table, _with_units(table, raw), reading.refused, {}, notes):
            row = dict(zip(columns, found.values, strict=True)), _place(found.at, package is None)
            if found.failed:
                _check_rest(plan, *row, found.failed, reading.refused)
            else:
                rows.append(row)
        reading.notes += map(str, notes)
        reading.kind = reading.kind or table.name.lower()
        (_weight_entries if table is WEIGHTS else _actual_entries)(plan, rows, reading)
    if not reading.entries and not reading.refused:
        reading.refused.append(Problem(source.name, message="has no rows"))
    return reading


def _place(at: str, is_csv: bool) -> str:
    """The cell as messages name it: row 7 of a CSV, the cell of a workbook's sheet."""
    sheet, _, cell = at.rpartition("!")
    return f"{sheet} row {''.join(filter(str.isdigit, cell))}" if is_csv else at


__all__ = [
    "ACTUALS",
    "MOST_PIECES",
    "WEIGHTS",
    "Reading",
    "content_of",
    "moment_of",
    "read_floor_table",
    "shift_at",
    "stamp_text",
]
