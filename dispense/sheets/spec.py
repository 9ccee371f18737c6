"""What a printed sheet is: the names and tables that a template of its kind may have, each once.

Nothing here knows how a workbook is written.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ..base.fields import Field, date, number, text, whole
from ..base.language import translated
from ..base.measures import spaced
from ..base.picture import Picture
from .layout import Written

Value = str | float | datetime.date | None  # of one cell, in shop units; `Printed` is a float
Row = dict[str, Value]


@dataclass(frozen=True, slots=True)
class SheetSpec:
    """A kind of sheet: its template, the names and tables it may have, what it is for.

    A template must have the names in `required`, and in each table that it has the columns in
    `needed`: without them a row says nothing, or a wrong thing. All else may be deleted. `computed`
    are columns that the formulas of the template fill, `written` those that people fill in by hand,
    `optional` those that a sheet leaves out where no row has anything in them. The worksheet of a table
    `on_own_page` is hidden where the table has no row. `bulk` names what is told in litres together where
    one of it comes to so much: values, whole tables, and columns as `Table.column`; see `litres`.
    """

    key: str
    file: str
    title: str
    help: str
    names: tuple[Field, ...]
    tables: dict[str, tuple[Field, ...]]
    required: tuple[str, ...] = ()
    needed: dict[str, tuple[str, ...]] = field(default_factory=dict)
    computed: dict[str, tuple[Field, ...]] = field(default_factory=dict)
    written: dict[str, tuple[Written, ...]] = field(default_factory=dict)
    optional: dict[str, tuple[str, ...]] = field(default_factory=dict)
    on_own_page: tuple[str, ...] = ()
    bulk: tuple[str, ...] = ()
    in_litres: bool = False

    def columns(self, table: str) -> tuple[Field, ...]:
        """All columns of a table: those that are filled, then those that the template computes."""
        return (*self.tables[table], *self.computed.get(table, ()))

    def by_hand(self, table: str) -> tuple[Field, ...]:
        """The columns of a table that people fill in."""
        return tuple(item.field for item in self.written.get(table, ()))

    def demands(self, tables: Mapping[str, Mapping[str, str]]) -> list[str]:
        """Names, and columns as `Table[Heading]`, that a template with these tables must have.

        `tables` gives, for each table of the template, what it calls each column.
        """
        return [
            *self.required,
            *(
                f"{table}[{tables[table][name]}]"
                for table, columns in self.needed.items()
                if table in tables
                for name in columns
            ),
        ]


@dataclass(frozen=True, slots=True)
class MayGo:
    """A column that may be left out: its name; `at_all`: also where formulas or words stand in it."""

    name: str
    at_all: bool = False


@dataclass(slots=True)
class Content:
    """What goes into one sheet: values by name, rows by table, in shop units, and what is drawn.

    `left_out` names columns of tables that this sheet does not need, what people write among them.
    """

    spec: SheetSpec
    values: dict[str, Value] = field(default_factory=dict)
    tables: dict[str, list[Row]] = field(default_factory=dict)
    pictures: dict[str, Picture] = field(default_factory=dict)
    left_out: dict[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def held(self) -> tuple[object, ...]:
        """What it holds but for its kind, to be sent to another process."""
        return self.values, self.tables, self.pictures, self.left_out


def moment(name: str, help: str, labels: Sequence[str] = ()) -> Field:
    """A date and time."""
    return Field(name, "moment", "", help, labels=tuple(labels))


#: fields that show the plan's own words, or texts that are translated where they are made
AS_THEY_ARE = frozenset(
    {
        *("plant", "line", "prepared_by", "stamp", "shift", "station", "material", "description", "chosen"),
        *("part", "application", "meter", "pot_life_source", "from_station", "to_station"),
        *("headline", "warning", "text", "what_to_do", "cautions"),
    }
)
#: of these, the sentences: made of translated texts, and read by people alone
SENTENCES = frozenset({"warning", "text", "what_to_do", "cautions"})
#: texts by which a filled sheet is read back
READ_BACK = frozenset({"way", "what", "part_numbers", "begun", "check", "event", "component"})
OFTEN_NAMES = frozenset({"lot", "lots", "pace", "surface_treatment"})  # the plan's words, or a fixed text


def in_language(content: Content) -> Content:
    """The content with its texts in the language that is printed; the headline is left."""
    return Content(
        content.spec,
        _translated(content.values),
        {name: [_translated(row) for row in rows] for name, rows in content.tables.items()},
        content.pictures,
        content.left_out,
    )


def _translated(row: Row) -> Row:
    return {name: _on_paper(name, value) if isinstance(value, str) else value for name, value in row.items()}


def _on_paper(name: str, value: str) -> str:
    """A text of a sheet as it is printed; the plan's own words as they are."""
    if name in AS_THEY_ARE:
        return spaced(value) if name in SENTENCES else value
    words = translated(value, known=name not in OFTEN_NAMES)
    return words if name in READ_BACK | OFTEN_NAMES else spaced(words)


HEAD = (
    text("plant", "plant"),
    text("line", "line"),
    text("prepared_by", "who answers for the plan"),
    text("revision", "revision of the plan, who released it and when; or that it is not released"),
    text("stamp", "when the sheet was made", labels=("Printed",)),
    text("cautions", "cautions"),
)
SHIFT_HEAD = (
    *HEAD,
    date("day", "date of the shift"),
    text("shift", "shift"),
    text("hours", "start to end"),
    text("station", "station"),
    text("material", "material"),
    text("description", "what it is"),
)
WARNINGS = (text("warning", "how grave it is, what to look at, what to do"),)
HANDOVER = (
    text("way", "taken over from the shift before, or handed over to the next"),
    text("what", "what stands at the station"),
    text("part", "part"),
    text("part_numbers", "part numbers, and the shift that began them"),
    whole("count", "how many"),
    number("volume", "mL", "what a container or mixer holds for use"),
    moment("next_step", "when its next step is due"),
    moment("latest", "until when it may be used or must be done"),
)
#: what a batch of parts is, on the board of whatever cures it
BATCH = (
    whole("batch", "batch"),
    text("part", "part"),
    text("part_numbers", "part numbers"),
    moment("begun", "first dispensed", labels=("First part",)),
    moment("ended", "last dispensed", labels=("Last part",)),
    whole("tightest_part", "part of the batch whose open time ends first"),
    moment("mate_before", "latest mating of that part", labels=("Mate by",)),
)
