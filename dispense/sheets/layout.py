"""What a sheet may be laid out with: figures, tables, boxes to write in, charts.

Each sheet's file has a function `layout` that puts its fields on paper, from top to bottom, through the
`Form` below. `books.form` is the form that writes a workbook; nothing here knows how.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from ..base.fields import Field

# -------------------------------------------------------------------------------------- digits

THREE = "[<10]0.00;[<100]0.0;#,##0"  # three or four figures, whatever the size
DASHED = '[=0]"–";[<100]0.0;#,##0'  # a dash for nothing
LITRES = "[<0.1]0.0000;[<10]0.000;#,##0.00"
DASHED_LITRES = '[=0]"–";[<0.1]0.0000;#,##0.000'
ONE_DIGIT = "0.0"
WHOLE = "0"
PERCENT = "0%"
KILOGRAMS = "[<100]0.00;0.0"
DASHED_KILOGRAMS = '[=0]"–";[<10]0.000;#,##0.00'
OTHER_DAY = "ddd d mmm hh:mm"  # a time of another day than the sheet's

_BY_UNIT = {
    "mL": THREE,
    "L": LITRES,
    "g": THREE,
    "kg": "[<10]0.000;[<100]0.00;#,##0.0",
    "s": "[<100]0.0;#,##0",
    "mm": "[<10]0.00;0.0",
    "bar": "0.0",
    "mL/s": "[<1]0.000;[<10]0.00;0.0",
    "mm/s": "0",
    "1/s": "#,##0",
    "g/mL": "0.000",
    "": "0.0%",
}
_IN_LITRES = {THREE: LITRES, DASHED: DASHED_LITRES}
_BY_KIND = {"date": "ddd yyyy-mm-dd", "moment": "hh:mm", "whole": "#,##0"}


def form_of(item: Field) -> str:
    """The number format that rounds a field's figures to what they are worth.

    >>> from ..base.fields import number, whole
    >>> form_of(number("density", "g/mL", "density")), form_of(whole("parts", "parts"))
    ('0.000', '#,##0')
    """
    if item.kind == "number":
        return _BY_UNIT.get(item.unit, "General")
    return _BY_KIND.get(item.kind, "@")


def form_in_unit(form: str, item: Field) -> str:
    """The number format that a layout asks for, in the unit that a sheet chose for the field.

    >>> from ..base.fields import number
    >>> form_in_unit(THREE, number("total", "L", "used")), form_in_unit(THREE, number("mass", "g", "mass"))
    ('[<0.1]0.0000;[<10]0.000;#,##0.00', '[<10]0.00;[<100]0.0;#,##0')
    """
    return _IN_LITRES.get(form, form) if item.unit == "L" else form


# ------------------------------------------------------------------------------------- columns


@dataclass(frozen=True, slots=True)
class Calculated:
    """A column of `SheetSpec.computed`; in its formula `{name}` is another column of the same row."""

    name: str
    formula: str
    form: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """A table column to be filled in by hand; formulas and those who read it back know it by its name."""

    title: str
    name: str
    tick: bool = False

    @property
    def field(self) -> Field:
        """What is written: a number where the title states a unit, else a text."""
        words, _, unit = self.title.partition(" [")
        return Field(self.name, "number" if unit else "text", unit.rstrip("]"), labels=(words,))


Column = str | Calculated | Written

TICK = Written("Done", "done", tick=True)
BY = Written("Initials", "initials")


@dataclass(frozen=True, slots=True)
class Drawn:
    """A series of a chart: the column it shows, its name in the legend, and its look.

    Lines are "marked" (a dark line with marks, for what was measured), "solid", "dash" or "lgDash";
    bars are "dark" or "light".
    """

    column: str
    title: str
    look: str


@dataclass(frozen=True, slots=True)
class Axes:
    """The titles of a chart's axes with their units, and the formats of their figures."""

    x: str
    y: str
    x_form: str
    y_form: str


def column_key(table: str, name: str) -> str:
    """The defined name, hidden, of the header of a column: it is found by it whatever words stand there.

    >>> column_key("CheckShots", "low")
    '_column.CheckShots.low'
    """
    return f"{KEY}{table}.{name}"


KEY = "_column."

# --------------------------------------------------------------------------------------- forms


class Form(Protocol):
    """One worksheet of a sheet, laid out from top to bottom on a grid of columns."""

    def head(self, *, named: bool = True) -> None:
        """Title, plant and line, and the headline: the largest thing on the page."""

    def cards(
        self, *items: tuple[str, int], small: bool = False, forms: Mapping[str, str] | None = None
    ) -> None:
        """Labelled figures side by side, `(name, columns)` each; `small` ones are long texts."""

    def section(
        self, text: str, note: str = "", *, of: tuple[str, str] | None = None, more: tuple[int, str] = (0, "")
    ) -> None:
        """A heading between tables, with a note behind it, and one `more` from a column on.

        The last note speaks `of` a column of a table, and goes with it where a sheet leaves that out.
        """

    def put(self, column: int, text: str, *, bold: bool = False) -> None:
        """A text or a formula of one cell; the row goes on."""

    def repeat(self, *items: tuple[str, int]) -> None:
        """Values of the first worksheet, `(name, column)` each, on another one."""

    def named(self, name: str, column: int) -> str:
        """A figure behind a text in the same row; returns its fixed address."""

    def entry(self, column: int, value: float | None, form: str, span: int = 1, name: str = "") -> str:
        """A yellow cell for the reader to fill in; the row goes on; returns its fixed address."""

    def choice(self, name: str, span: int, table: str, column: str) -> str:
        """A yellow cell for one of a table's values; returns its fixed address."""

    def skip(self, rows: int = 1) -> None:
        """Go on so many rows below."""

    def table(
        self,
        key: str,
        columns: Sequence[Column],
        *,
        forms: Mapping[str, str] | None = None,
        across: bool = False,
        big: bool = False,
        repeat: bool = False,
        rows_high: float | None = None,
        filtered: bool = False,
        marks: str = "",
        stress: Mapping[str, Sequence[str]] | None = None,
        in_order: str = "",
    ) -> None:
        """A table with one sample row; `across` lets its last text run over the cells beside it.

        `marks` names the column whose warning mark tells the whole row apart; `stress` the words of a
        column by which a row stands in bold; `in_order` the times by which the rows stand: after midnight
        the first tells its date, and those of the same day below it need not.
        """

    def warnings(self, key: str, columns: Sequence[str] = ("warning",)) -> None:
        """A table of warnings over the whole width; a marked row is told apart by colour too."""

    def total(self, key: str, names: Iterable[str], forms: Mapping[str, str] | None = None) -> None:
        """A row of sums below the table just written."""

    def figure(
        self, text: str, formula: str, form: str, span: int, of: tuple[str, str] | None = None
    ) -> None:
        """A label over `span` columns and a computed cell behind it; the row goes on.

        The row is hidden where a sheet leaves out the column of the table `of` which it reckons.
        """

    def freeze(self, key: str, columns: int) -> None:
        """Keep the header of a table and its first columns in sight."""

    def room(self, rows: int) -> int:
        """Keep rows free for a chart; returns the first of them."""

    def picture(self, key: str, size: tuple[float, float], heading: str = "") -> None:
        """Keep room for a picture of a size in mm; the filling draws it, or hides room and heading."""

    def lines(
        self, key: str, x: str, drawn: Sequence[Drawn], axes: Axes, *, at: int, size: tuple[float, float]
    ) -> None:
        """A chart of lines in the room kept, of a size in cm; the filling sets the scale of its values."""

    def bars(
        self, key: str, x: str, drawn: Sequence[Drawn], axes: Axes, *, at: int, size: tuple[float, float]
    ) -> None:
        """A chart of stacked bars in the room kept, of a size in cm."""

    def area(self, key: str, name: str) -> str:
        """The cells of a table's column, as a formula writes them."""

    def outer(self, key: str, name: str) -> str:
        """The same from another worksheet, fixed."""

    def here(self, name: str) -> str:
        """The cell of a defined name of this worksheet, as a formula writes it."""

    def sign_off(self, labels: Sequence[str] = ("Prepared", "Released", "Received on the line")) -> None:
        """Boxes for name, date and signature."""

    def cautions(self) -> None:
        """The cautions, wrapped over the width; the filling gives the row the height it needs."""


class Book(Protocol):
    """The workbook of a sheet."""

    def page(
        self,
        title: str,
        widths: Sequence[float],
        *,
        landscape: bool,
        beside: Sequence[float] = (),
        standing: bool = False,
    ) -> Form:
        """A new worksheet: the widths of its columns in characters, how it lies.

        Columns `beside` them stand outside the print area: what a screen may show and paper need not.
        What is read `standing` has larger type.
        """
