"""The plan: typed records of parts, beads, pots, materials, stations, shifts, builds and stock.

Records know nothing of workbooks: a `RawTable` (cells as they stand in a workbook, or lists from a
program) carries the names of its cells. `build` makes a `Plan` of it.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import attrgetter
from typing import Any, TypeVar, cast

from ..base.errors import NA, InputError, Problem
from ..base.findings import Finding
from ..base.measures import CHOICES, Measures
from . import rows as row_classes
from .revised import Revision
from .rows import (
    Assembly,
    Bead,
    Break,
    Build,
    Change,
    Choice,
    Component,
    Holiday,
    Insert,
    Joint,
    KineticsConstant,
    Material,
    OpenOrder,
    Oven,
    Part,
    PathPoint,
    Pot,
    ProfilePoint,
    RouteStep,
    Row,
    Settings,
    Shift,
    Shot,
    Standing,
    Station,
    StockLot,
    TemperaturePoint,
    ValidValue,
)
from .tables import BY_NAME, SETTINGS, TABLES

#: the class of a table's rows
RECORDS: dict[str, type[Row]] = {table.name: getattr(row_classes, table.record) for table in TABLES}

_R = TypeVar("_R", bound=Row)

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MISSING_VALUE = object()  # a formula whose value the file does not hold


@dataclass(slots=True)
class RawTable:
    """A table as it stands: headers, and column by column the cells; `cell(row, column)` names one.

    `numbers` are the sheet's row numbers and `letters` its column letters.
    """

    name: str
    headers: list[str]
    columns: list[list[Any]]
    numbers: Sequence[int] = ()
    letters: Sequence[str] = ()
    header_row: int = 1
    sheet: str = ""

    def letter(self, column: int) -> str:
        """The letter of a column."""
        return self.letters[column] if self.letters else _letter(column)

    def cell(self, row: int, column: int) -> str:
        """The name of a cell for messages: Beads!D7."""
        letter = self.letter(column)
        number = self.numbers[row] if len(self.numbers) else row + 2
        return f"{self.sheet or self.name}!{letter}{number}"

    def head(self, column: int) -> str:
        """The name of a header cell."""
        return f"{self.sheet or self.name}!{self.letter(column)}{self.header_row}"


def _letter(column: int) -> str:
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def raw_table(name: str, rows: Iterable[Mapping[str, Any]]) -> RawTable:
    """A raw table from dictionaries keyed by header or by field name, for programs and tests."""
    rows = list(rows)
    headers: list[str] = []
    for row in rows:
        headers.extend(key for key in row if key not in headers)
    columns = [[row.get(header) for row in rows] for header in headers]
    return RawTable(name, headers, columns)


def default_settings() -> Settings:
    """The settings of a plan that states none."""
    return cast(Settings, {item.name: item.default_si() for item in SETTINGS})


@dataclass(frozen=True, slots=True)
class Dated:
    """A figure that holds for a time in place of that of a row: its table, key, column, value in SI units."""

    table: str
    key: tuple[str, ...]
    column: str
    value: Any
    first: datetime.date  # that it holds
    last: datetime.date
    row: ValidValue

    def holds_on(self, date: datetime.date) -> bool:
        """Whether it holds on a day."""
        return self.first <= date <= self.last

    def is_of(self, row: Row) -> bool:
        """Whether a row is the one whose figure it replaces."""
        return self.table == row.TABLE and key_of(row) == self.key


def key_of(row: Row) -> tuple[Any, ...]:
    """What a row is known by among those of its table."""
    return tuple(getattr(row, name) for name in BY_NAME[row.TABLE].key)


Holding = tuple[int, ...]  # the places in `Plan.dated` of the figures that hold together


@dataclass(slots=True)
class Plan:
    """All records of a plan, in SI units; look-ups are built once."""

    settings: Settings = field(default_factory=default_settings)
    materials: list[Material] = field(default_factory=list)
    kinetics: list[KineticsConstant] = field(default_factory=list)
    components: list[Component] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    assemblies: list[Assembly] = field(default_factory=list)
    beads: list[Bead] = field(default_factory=list)
    paths: list[PathPoint] = field(default_factory=list)
    pots: list[Pot] = field(default_factory=list)
    inserts: list[Insert] = field(default_factory=list)
    shots: list[Shot] = field(default_factory=list)
    joints: list[Joint] = field(default_factory=list)
    stations: list[Station] = field(default_factory=list)
    temperatures: list[TemperaturePoint] = field(default_factory=list)
    profiles: list[ProfilePoint] = field(default_factory=list)
    ovens: list[Oven] = field(default_factory=list)
    routes: list[RouteStep] = field(default_factory=list)
    shifts: list[Shift] = field(default_factory=list)
    holidays: list[Holiday] = field(default_factory=list)
    breaks: list[Break] = field(default_factory=list)
    validity: list[ValidValue] = field(default_factory=list)
    builds: list[Build] = field(default_factory=list)
    stock: list[StockLot] = field(default_factory=list)  # with what is on order, from its arrival on
    orders: list[OpenOrder] = field(default_factory=list)
    standing: list[Standing] = field(default_factory=list)
    choices: list[Choice] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    dated: list[Dated] = field(default_factory=list)  # the rows of `validity` as they are meant
    as_of: datetime.datetime | None = None  # from when on it is played, with what stands then
    at_start: list[Finding] = field(default_factory=list)  # what is to be looked at of what stands then
    takt_factors: dict[str, float] = field(default_factory=dict)  # by station, where it states no takt
    purge_factors: dict[str, float] = field(default_factory=dict)  # by station: learned over played purges
    letters: dict[str, dict[str, str]] = field(default_factory=dict, repr=False)
    revision: Revision | None = None  # what its sheets say of it; None where none was ever released
    sheets: dict[str, str] = field(default_factory=dict, repr=False)  # that each table was read from
    _cache: dict[Any, Any] = field(
        default_factory=dict, init=False, repr=False
    )  # a replaced plan begins anew

    def index(self, row: type[_R], *keys: str) -> dict[Any, _R]:
        """Records of a class by one or several of their fields."""
        slot = (row.TABLE, keys)
        if slot not in self._cache:
            key = attrgetter(*keys)
            self._cache[slot] = {key(item): item for item in self.rows(row)}
        found: dict[Any, _R] = self._cache[slot]
        return found

    def group(self, row: type[_R], *keys: str) -> dict[Any, list[_R]]:
        """Records of a class gathered by one or several of their fields."""
        slot = (row.TABLE, keys, "group")
        if slot not in self._cache:
            key = attrgetter(*keys)
            groups: dict[Any, list[_R]] = defaultdict(list)
            for item in self.rows(row):
                groups[key(item)].append(item)
            self._cache[slot] = dict(groups)
        found: dict[Any, list[_R]] = self._cache[slot]
        return found

    def words(self) -> set[str]:
        """What the plan calls things in words of its own: every text of its tables."""
        return {
            getattr(row, item.name)
            for table in TABLES
            for item in table.columns
            if item.kind == "text"
            for row in getattr(self, table.attribute)
        }

    @property
    def measures(self) -> Measures:
        """The units that its sheets are printed in, and its own words, in which no number is turned."""
        settings = cast(dict[str, str], self.settings)
        chosen = tuple(settings[name] for name, units in CHOICES.items() if settings[name] != units[0])
        names = filter(Measures(chosen).mistakes, self.words()) if chosen else ()
        return Measures(chosen, tuple(sorted(names)))

    def rows(self, row: type[_R]) -> list[_R]:
        """The records of a class."""
        found: list[_R] = getattr(self, row.TABLE.lower())
        return found

    def kept(self, name: str) -> dict[Any, Any]:
        """A place of that name for what is worked out of the records once."""
        known: dict[Any, Any] = self._cache.setdefault(name, {})
        return known

    def forget(self) -> None:
        """Drop what was worked out, after rows were exchanged."""
        self._cache.clear()

    def cell(self, record: Row, column: str) -> str:
        """The cell that a record's value stands in; where it has none, the record's first cell."""
        letter = self.letters.get(record.TABLE, {}).get(column)
        if letter is None:
            return record.at
        sheet, _, cell = record.at.rpartition("!")
        if self.sheets.get(record.TABLE, sheet) != sheet:  # a lot that an order makes
            return record.at
        return f"{sheet}!{letter}{cell.lstrip(_LETTERS)}"

    def material(self, name: str) -> Material:
        """The material of that name."""
        return self._find(Material, "material", name)

    def station(self, name: str) -> Station:
        """The station of that name."""
        return self._find(Station, "station", name)

    def shift(self, name: str) -> Shift:
        """The shift of that name."""
        return self._find(Shift, "shift", name)

    def part(self, name: str) -> Part:
        """The part of that name."""
        return self._find(Part, "part", name)

    def _find(self, row: type[_R], key: str, name: str) -> _R:
        known = self.index(row, key)
        found = known.get(name)
        if found is None:
            raise InputError(Problem("plan", key, name, f"one of {', '.join(map(str, known))}", code=NA))
        return found

    # -- what holds on a day -----------------------------------------------------------------

    def holding(self, date: datetime.date) -> Holding:
        """Which dated figures hold on a day."""
        return tuple(place for place, item in enumerate(self.dated) if item.holds_on(date))

    def on(self, date: datetime.date | None) -> Plan:
        """The plan with the figures that hold on a day; as it stands where no day is known."""
        return self.variant(self.holding(date)) if self.dated and date is not None else self

    def variant(self, holding: Holding) -> Plan:
        """The plan with these dated figures in place, without any other; itself where there are none."""
        if not holding:
            return self
        known: dict[Holding, Plan] = self.kept("variants")
        if holding not in known:
            values: dict[tuple[str, tuple[str, ...]], dict[str, Any]] = defaultdict(dict)
            for item in (self.dated[place] for place in holding):
                values[item.table, item.key][item.column] = item.value

            def valid(rows: Sequence[_R]) -> list[_R]:
                found = [(row, values.get((row.TABLE, key_of(row)))) for row in rows]
                return [replace(row, **new) if new else row for row, new in found]

            known[holding] = replace(
                self,
                stations=valid(self.stations),
                components=valid(self.components),
                shifts=valid(self.shifts),
                dated=[],
            )
        return known[holding]

    def with_rows(self, row: type[_R], changed: Callable[[_R], _R]) -> Plan:
        """The plan with the rows of a class changed, and what holds for a time as they are."""
        rows = [changed(item) for item in self.rows(row)]
        dated = []
        for item in self.dated:
            found = next((one for one in self.rows(row) if item.is_of(one)), None)
            if found is not None:
                found = changed(replace(found, **{item.column: item.value}))
                item = replace(item, value=getattr(found, item.column))
            dated.append(item)
        plan = replace(self, dated=dated)
        setattr(plan, row.TABLE.lower(), rows)
        return plan

    def materials_at(self, station: str) -> list[str]:
        """The materials of a station, one after another: that of its row, then those that are dated."""
        later = [item.value for item in self.dated if (item.key, item.column) == ((station,), "material")]
        return list(dict.fromkeys([self.station(station).material, *later]))

    def component_words(self, material: str, letter: str) -> str:
        """A component as a text names it: Bond 60 A, or the material alone where it has but one."""
        return f"{material} {letter.upper()}" if len(self.components_of(material)) > 1 else material

    def components_of(self, material: str) -> dict[str, Component]:
        """Components of a material by letter: {"a": …, "b": …}."""
        return {item.component: item for item in self.group(Component, "material").get(material, ())}

    def hours_of(self, date: datetime.date, shift: str) -> tuple[float, float]:
        """Start and end of a shift on a day [s after midnight]: those of its builds where they state some."""
        row = self.on(date).shift(shift)
        builds = self.group(Build, "date", "shift").get((date, shift), ())
        starts = [build.start for build in builds if build.start is not None]
        ends = [build.end for build in builds if build.end is not None]
        return min(starts, default=row.start), max(ends, default=row.end)

    def breaks_of(self, shift: str) -> list[tuple[float, float]]:
        """Breaks of a shift in seconds after midnight, in order."""
        return sorted((item.start, item.end) for item in self.group(Break, "shift").get(shift, ()))

    def explode(self, name: str, quantity: int = 1) -> dict[str, int]:
        """Parts that building `quantity` of a part or an assembly takes, in the order of the table."""
        return {part: count * int(quantity) for part, count in self._contents(name).items()}

    def _contents(self, name: str) -> dict[str, int]:
        """Parts in one piece; each assembly is taken apart once, however often it is used."""
        known: dict[str, dict[str, int]] = self.kept("contents")
        if name in known:
            return known[name]
        groups = self.group(Assembly, "assembly")
        waiting = [name]
        while waiting:
            item = waiting[-1]
            children = groups.get(item, ())
            missing = [child.part for child in children if child.part not in known]
            if missing and item not in known:
                waiting.extend(missing)
                continue
            waiting.pop()
            totals: dict[str, int] = {} if children else {item: 1}
            for child in children:
                for part, count in known[child.part].items():
                    totals[part] = totals.get(part, 0) + count * int(child.count)
            known[item] = totals
        return known[name]

    def builds_of(self, date: datetime.date, shift: str) -> dict[str, int]:
        """Good parts to build in a shift, assemblies taken apart, in the order of the table."""
        totals: dict[str, int] = {}
        for build in self.group(Build, "date", "shift").get((date, shift), ()):
            for part, count in self.explode(build.part, build.quantity).items():
                totals[part] = totals.get(part, 0) + count
        return totals

    def days(self) -> list[tuple[datetime.date, str]]:
        """Each date and shift with builds, in order of time."""
        found = self.group(Build, "date", "shift")
        return sorted(found, key=lambda key: (key[0], self.on(key[0]).shift(key[1]).start))

    def shift_loads(self) -> list[tuple[datetime.date, str, dict[str, int]]]:
        """Each date and shift with builds, in order of time, and the good parts to build; worked out once."""
        known: dict[str, list[tuple[datetime.date, str, dict[str, int]]]] = self.kept("shift loads")
        if not known:
            known["all"] = [(*key, self.builds_of(*key)) for key in self.days()]
        return known["all"]

    def record(self, name: str) -> tuple[list[float], list[float]]:
        """Times of day [s] and temperatures [K] of a temperature record."""
        rows = sorted((item.time, item.temperature) for item in self.group(TemperaturePoint, "record")[name])
        return [row[0] for row in rows], [row[1] for row in rows]

    def profile(self, name: str) -> tuple[list[float], list[float]]:
        """Times [s] and air temperatures [K] of an oven profile."""
        rows = sorted((item.time, item.temperature) for item in self.group(ProfilePoint, "profile")[name])
        return [row[0] for row in rows], [row[1] for row in rows]


__all__ = ["MISSING_VALUE", "RECORDS", "Dated", "Holding", "Plan", "RawTable", "key_of", "raw_table"]
