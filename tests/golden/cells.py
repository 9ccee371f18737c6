"""A filled workbook against what it should say, cell by cell.

Every cell that is not empty must be explained: as the target of a defined name, as a cell of a table,
as a total below one, as a value beside a label, or as layout (`layout.py`). Numbers are compared as
printed, with the cell's own number format; texts by their meaning: all figures and times in them, the
names, and key words.
"""

from __future__ import annotations

import calendar
import datetime
import math
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from xml.etree import ElementTree

import openpyxl
from openpyxl.utils import range_boundaries
from openpyxl.utils.datetime import from_excel

from . import layout

# ------------------------------------------------------------------------------------ what is expected


@dataclass(frozen=True)
class Num:
    """A number; `near` is a share by which methods may differ, `digits` decimals that must show."""

    value: float
    near: float = 2e-6
    digits: int | None = None


@dataclass(frozen=True)
class When:
    """A date and time; `slack` seconds."""

    value: datetime.datetime
    slack: float = 1.5


@dataclass(frozen=True)
class Fact:
    """A number in a text: must stand there rounded to the digits that the text shows, with its unit."""

    value: float
    unit: str = ""
    near: float = 1e-6


@dataclass(frozen=True)
class Clock:
    """A clock time in a text, seconds after midnight of the sheet's day.

    09:40 may stand for the sheet's own day only; 02:18 +1 or Tue 10 Mar 02:18 for another.
    """

    day: datetime.date
    seconds: float

    def fits(self, token: str) -> bool:
        """Whether a token tells this minute."""
        when = _moment(token, self.day)
        if when is None:
            return False
        start = datetime.datetime.combine(self.day, datetime.time())
        for slack in (0.0, -1.5, 1.5):  # methods may differ by a second
            exact = start + datetime.timedelta(seconds=self.seconds + slack)
            if exact.replace(second=0, microsecond=0) == when:
                return True
        return False


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def _day(text: str, near: datetime.date) -> datetime.date | None:
    """Tue 10 Mar, 10 Mar 2026 or 2026-03-10; None where it is no date or the weekday is wrong."""
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        try:
            return datetime.date.fromisoformat(text)
        except ValueError:
            return None
    found = re.fullmatch(r"(?:(\w{3}) )?(\d{1,2}) (\w{3})(?: (\d{4}))?", text)
    if not found or found.group(3) not in _MONTHS:
        return None
    year, month = int(found.group(4) or near.year), _MONTHS.index(found.group(3)) + 1
    if not 1 <= int(found.group(2)) <= calendar.monthrange(year, month)[1]:
        return None
    day = datetime.date(year, month, int(found.group(2)))
    return None if found.group(1) and _DAYS[day.weekday()] != found.group(1) else day


def _moment(token: str, near: datetime.date) -> datetime.datetime | None:
    found = re.fullmatch(r"(?:(.*?),? )?(\d{1,2}):(\d{2})(?: \+(\d+))?", token)
    if not found:
        return None
    day = near if found.group(1) is None else _day(found.group(1), near)
    if day is None:
        return None
    day += datetime.timedelta(days=int(found.group(4) or 0))
    if int(found.group(2)) > 23 or int(found.group(3)) > 59:
        return None
    return datetime.datetime.combine(day, datetime.time(int(found.group(2)), int(found.group(3))))


Figure = Fact | Clock | datetime.date


@dataclass(frozen=True)
class Says:
    """A text: words that must stand in it, names, and figures.

    Every figure of the text must be one of `figures` or `may`, and all of `figures` must be there.
    Words of `never` must not stand in it.
    """

    words: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    may: tuple[Figure, ...] = ()
    never: tuple[str, ...] = ()


@dataclass(frozen=True)
class Message:
    """A finding in a table: how grave (0 the gravest), its other columns, its text."""

    rank: int
    columns: dict[str, Any]
    says: Says


@dataclass
class Page:
    """What one workbook should say."""

    template: str
    day: datetime.date | None
    names: dict[str, Any] = field(default_factory=dict)
    tables: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    totals: dict[str, dict[str, Any]] = field(default_factory=dict)
    messages: dict[str, list[Message]] = field(default_factory=dict)
    most: dict[str, int] = field(default_factory=dict)  # messages that a table shows at most
    beside: dict[str, list[Any]] = field(default_factory=dict)
    left_out: dict[str, set[str]] = field(default_factory=dict)  # columns that a table must not have
    unit: str = "mL"  # of what is used, brought and left

    def is_empty(self, table: str, head: str) -> bool:
        """Whether nothing may stand in a column."""
        if head in self.left_out.get(table, ()):
            return True
        rows = self.tables.get(table)
        blank = head in layout.BLANKS.get(table, ())
        return rows is not None and not blank and all(row.get(head) is None for row in rows)


def in_litres(page: Page) -> Page:
    """The page with what is used, brought and left in litres where a figure of it comes to 10 L.

    From when on a volume is told in litres is common practice, no source; that what is added up and
    compared on one sheet has one unit is the rule on paper.
    """
    rows = [(name, row) for name, found in page.tables.items() for row in found]
    rows += list(page.totals.items())
    bulk = [value for name, row in rows for head, value in row.items() if layout.is_bulk(name, head)]
    bulk += [page.names.get(name) for name in layout.BULK_NAMES]
    if not any(isinstance(item, Num) and item.value >= 10_000.0 for item in bulk):
        return page

    def turned(name: str, row: dict[str, Any]) -> dict[str, Any]:
        return {
            (head.replace("[mL]", "[L]") if layout.is_bulk(name, head) else head): (
                _litres(value) if layout.is_bulk(name, head) else value
            )
            for head, value in row.items()
        }

    return replace(
        page,
        unit="L",
        names={
            name: _litres(value) if name in layout.BULK_NAMES else value for name, value in page.names.items()
        },
        tables={name: [turned(name, row) for row in found] for name, found in page.tables.items()},
        totals={name: turned(name, row) for name, row in page.totals.items()},
        beside={words.replace("[mL]", "[L]"): found for words, found in page.beside.items()},
    )


def _litres(value: Any) -> Any:
    return replace(value, value=value.value / 1000.0) if isinstance(value, Num) else value


# ----------------------------------------------------------------------------------- number formats


def shown(value: float, code: str) -> str:
    """A number as a spreadsheet prints it; the few formats of the templates, else an error."""
    for section in code.split(";"):
        wanted = re.match(r"\[([<>=]+)(-?[\d.]+)\]", section)
        if wanted:
            sign, bound = wanted.group(1), float(wanted.group(2))
            holds = {
                "<": value < bound,
                ">": value > bound,
                "=": value == bound,
                "<=": value <= bound,
                ">=": value >= bound,
            }[sign]
            if not holds:
                continue
            section = section[wanted.end() :]
        return _plain(value, section)
    raise AssertionError(f"no section of {code} fits {value}")


def _plain(value: float, code: str) -> str:
    if code in {"General", "@"}:
        return f"{value:.12g}"
    if code.startswith('"') and code.endswith('"'):
        return code.strip('"')
    found = re.fullmatch(r"(#,##)?0(?:\.(0*)(#*))?(%)?", code)
    if not found:
        raise AssertionError(f"number format {code} is not known here")
    thousands, digits, more, percent = found.groups()
    value *= 100 if percent else 1
    least, most = len(digits or ""), len(digits or "") + len(more or "")
    # spreadsheets round half away from zero
    scaled = math.floor(abs(value) * 10**most + 0.5 + 1e-9) / 10**most
    text = f"{math.copysign(scaled, value) if scaled else 0.0:{',' if thousands else ''}.{most}f}"
    while most > least and text.endswith("0"):
        text, most = text[:-1], most - 1
    return text.rstrip(".") + (percent or "")


def same_number(actual: Any, wanted: Num, code: str) -> bool:
    """Alike as printed, and alike in the cell but for the spread of methods."""
    if isinstance(actual, bool) or not isinstance(actual, int | float):
        return False
    close = abs(actual - wanted.value) <= wanted.near * abs(wanted.value) + 2e-6
    if not close:
        return False
    if wanted.digits is not None:
        return shown(actual, code) == f"{wanted.value:,.{wanted.digits}f}"
    low, high = wanted.value - wanted.near * abs(wanted.value), wanted.value + wanted.near * abs(wanted.value)
    return shown(actual, code) in {shown(value, code) for value in (wanted.value, low, high)}


# --------------------------------------------------------------------------------------------- texts

_TOKEN = re.compile(
    r"(?:(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) )?\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)"
    r"(?: \d{4})?(?:,? \d{1,2}:\d{2})?|\d{4}-\d{2}-\d{2}|\d{1,2}:\d{2}(?: \+\d+)?|\d+(?:,\d{3})*(?:\.\d+)?%?"
)


def figures_in(text: str) -> list[tuple[str, str]]:
    """Numbers, clock times and dates of a text in order, each with what follows it."""
    return [(found.group(), text[found.end() :]) for found in _TOKEN.finditer(text)]


def _fits(token: str, after: str, wanted: Figure) -> bool:
    if isinstance(wanted, Clock):
        return wanted.fits(token)
    if isinstance(wanted, datetime.date):
        return _day(token, wanted) == wanted
    if ":" in token or not re.fullmatch(r"\d[\d,]*(\.\d+)?%?", token):
        return False
    if wanted.unit and not re.match(rf"\s?{re.escape(wanted.unit)}(?![\w/])", after):
        return False
    percent = token.endswith("%")
    digits = token.rstrip("%").replace(",", "")
    value = wanted.value * (100 if percent else 1)
    step = 10.0 ** -len(digits.partition(".")[2])
    return abs(float(digits) - value) <= step * 0.5 * (1 + 1e-6) + wanted.near * abs(value)


def why_not(text: Any, wanted: Says) -> str:
    """Why a text does not say what it should; "" where it does."""
    if not isinstance(text, str):
        return f"{text!r} is no text"
    rest = text
    for name in sorted(wanted.names, key=len, reverse=True):
        if name not in rest:
            return f"{name!r} is not named"
        rest = rest.replace(name, " ")
    for word in wanted.words:
        if word.lower() not in text.lower():
            return f"does not say {word!r}"
    for word in wanted.never:
        if word.lower() in text.lower():
            return f"says {word!r}"
    left: list[Figure] = list(wanted.figures)
    may = list(wanted.may)
    for token, after in figures_in(rest):
        for pool in (left, may):
            found = next((item for item in pool if _fits(token, after, item)), None)
            if found is not None:
                if pool is left:
                    pool.remove(found)
                break
        else:
            return f"{token!r} is not explained"
    return f"does not tell {left}" if left else ""


def compare(actual: Any, wanted: Any, code: str = "General") -> str:
    """Why a cell is not what it should be; "" where it is."""
    if wanted is None or wanted == "":
        return "" if actual in (None, "") else f"{actual!r}, should be empty"
    if isinstance(wanted, Num):
        return "" if same_number(actual, wanted, code) else f"{actual!r}, should be {wanted.value!r} [{code}]"
    if isinstance(wanted, When):
        if not isinstance(actual, datetime.datetime):
            return f"{actual!r} is no date and time"
        off = abs((actual - wanted.value).total_seconds())
        return "" if off <= wanted.slack else f"{actual}, should be {wanted.value}"
    if isinstance(wanted, datetime.date):
        day = actual.date() if isinstance(actual, datetime.datetime) else actual
        clock = actual.time() if isinstance(actual, datetime.datetime) else datetime.time()
        return "" if day == wanted and clock == datetime.time() else f"{actual!r}, should be {wanted}"
    if isinstance(wanted, Says):
        why = why_not(actual, wanted)
        return f"{actual!r}: {why}" if why else ""
    return "" if actual == wanted and type(actual) is type(wanted) else f"{actual!r}, should be {wanted!r}"


# ------------------------------------------------------------------------------------- the workbook


_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_PART = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


@dataclass
class Book:
    """A filled workbook: cells as openpyxl reads them, and the values that formulas carry."""

    sheets: Any
    carried: dict[tuple[str, str], Any]  # sheet and cell

    @classmethod
    def open(cls, path: Any) -> Book:
        """Read it; the values of formulas from the XML, which openpyxl gives only in place of them."""
        carried: dict[tuple[str, str], Any] = {}
        with zipfile.ZipFile(path) as package:
            parts = {
                item.get("Id"): item.get("Target").lstrip("/")
                for item in ElementTree.fromstring(package.read("xl/_rels/workbook.xml.rels"))
            }
            for sheet in ElementTree.fromstring(package.read("xl/workbook.xml")).iter(f"{_MAIN}sheet"):
                part = parts[sheet.get(_PART)]
                part = part if part.startswith("xl/") else f"xl/{part}"
                for cell in ElementTree.fromstring(package.read(part)).iter(f"{_MAIN}c"):
                    if cell.find(f"{_MAIN}f") is not None:
                        text = cell.findtext(f"{_MAIN}v")
                        number = cell.get("t", "n") == "n" and text not in (None, "")
                        carried[sheet.get("name"), cell.get("r")] = float(text) if number else text
        return cls(openpyxl.load_workbook(path), carried)

    def value(self, sheet: str, cell: str) -> Any:
        """What the cell shows: its own value, or that of its formula."""
        own = self.sheets[sheet][cell].value
        return self.carried.get((sheet, cell)) if isinstance(own, str) and own.startswith("=") else own


def normal(formula: str) -> str:
    """A formula without its row numbers: what a template asks, however many rows there are."""
    return re.sub(r"(\$?[A-Z]{1,2}\$?)\d+", r"\1#", formula)


def differences(book: Book, page: Page) -> list[str]:
    """Every cell that is not explained, and everything expected that is not there."""
    return _Walk(book, page).run()


class _Walk:
    def __init__(self, book: Book, page: Page):
        self.book, self.page = book, page
        gone = {words for words, column in layout.ON_COLUMN.items() if page.is_empty(*column)}
        self.captions = {self._words(words) for words in layout.CAPTIONS[page.template]} - gone
        self.allowed = set(layout.FORMULAS[page.template])
        self.name_labels = {
            name: self._words(words) if name in layout.BULK_NAMES else words
            for name, words in layout.LABELS[page.template].items()
        }
        self.faults: list[str] = []
        self.seen: set[tuple[str, str]] = set()  # sheet and cell
        self.read: set[str] = set()  # captions that stand somewhere
        self.repeated: dict[str, set[str]] = {}  # by sheet: what it repeats of the first one
        self.repeats: dict[str, int] = {}  # and how many cells do

    def _words(self, words: str) -> str:
        """Words with the unit of the page; what a page in litres has of a shot is none of its captions."""
        return words.replace("[mL]", f"[{self.page.unit}]")

    def fault(self, sheet: str, cell: str, why: str) -> None:
        self.faults.append(f"{sheet}!{cell}: {why}")

    def run(self) -> list[str]:
        """Names, tables, labels, then what is left."""
        self._names()
        for sheet in self.book.sheets:
            for table in sheet.tables.values():
                self._table(sheet, table)
        for sheet in self.book.sheets:
            self._labels(sheet)
            self._rest(sheet)
        repeats = {formula for formula in self.allowed if re.fullmatch(r"='[^!]+'![$A-Z#]+", formula)}
        needed = self.captions | set(self.page.beside)
        for words in sorted(needed - self.read):
            self.fault(self.book.sheets.sheetnames[0], "A1", f"{words!r} is gone")
        if repeats and not self.repeated:
            self.fault(self.book.sheets.sheetnames[0], "A1", "no other sheet repeats whose it is")
        for title, count in self.repeats.items():
            if count != (
                2 if title == "Notes" else 4
            ):  # station and material; of a shift its day and name too
                self.fault(title, "A1", f"repeats {count} cells of the first sheet")
        for title, found in self.repeated.items():
            for formula in sorted(repeats - found):
                self.fault(title, "A1", f"{formula!r} is gone")
        return self.faults

    def _check(self, sheet: str, cell: str, wanted: Any) -> None:
        self.seen.add((sheet, cell))
        formula = self.book.sheets[sheet][cell]
        words = str(formula.value)
        if words.startswith("=") and normal(words) not in self.allowed:
            self.fault(sheet, cell, f"formula {words} is not known")
        value = self.book.value(sheet, cell)
        why = compare(value, wanted, formula.number_format)
        if why:
            self.fault(sheet, cell, why)
        elif isinstance(wanted, When):
            self._shows_its_day(sheet, cell, value, formula.number_format)

    def _shows_its_day(self, sheet: str, cell: str, value: datetime.datetime, code: str) -> None:
        """A time that is not of the sheet's day shows its date."""
        code = self._conditional(sheet, cell, value) or code
        other = self.page.day is None or value.date() != self.page.day
        if other and not re.search(r"(?i)d.*m|m.*d", re.sub(r"(?i)h+:mm(:ss)?", "", code)):
            self.fault(sheet, cell, f"{value} is of another day; the format {code} shows no date")
        if not re.search(r"(?i)h+:mm", code):
            self.fault(sheet, cell, f"the format {code} shows no time")

    def _is_of_the_day_above(self, sheet: str, cell: str, value: datetime.datetime) -> bool:
        """Whether the row above, of a list by time, is of the same day."""
        letter, row = re.fullmatch(r"([A-Z]+)(\d+)", cell).groups()
        above = self.book.value(sheet, f"{letter}{int(row) - 1}")
        return isinstance(above, datetime.datetime) and above.date() == value.date()

    def _conditional(self, sheet: str, cell: str, value: datetime.datetime) -> str | None:
        """The format that a rule of the sheet gives a time some days off the sheet's day."""
        page = self.book.sheets[sheet]
        rules = [
            (rule, cells)
            for cells, found in page.conditional_formatting._cf_rules.items()
            for rule in found
            if cell in cells.cells and rule.dxf is not None and rule.dxf.numFmt is not None
        ]
        for rule, cells in sorted(rules, key=lambda pair: pair[0].priority):
            found = re.fullmatch(
                r"AND\(ISNUMBER\((\w+)\),ABS\(INT\((\w+)\)-INT\(\$([A-Z]+)\$(\d+)\)\)>(\d+)"
                r"(?:,INT\((\w+)\)<>INT\(N\((\w+)\)\))?\)",
                rule.formula[0],
            )
            first = str(cells.cells).split(":")[0]
            if not found or not found.group(1) == found.group(2) == first:
                continue
            day = page[found.group(3) + found.group(4)].value
            if isinstance(day, str) and day.startswith("="):  # repeats the day of the first sheet
                carried = self.book.value(sheet, found.group(3) + found.group(4))
                day = from_excel(carried) if isinstance(carried, float) else None
            if not isinstance(day, datetime.datetime):
                return None
            if abs((value.date() - day.date()).days) > int(found.group(5)):
                if found.group(6) and self._is_of_the_day_above(sheet, cell, value):
                    return "(d m of the row above) hh:mm"
                return rule.dxf.numFmt.formatCode
        return None

    def _names(self) -> None:
        there = self.book.sheets.defined_names
        for name, wanted in self.page.names.items():
            if name not in there:
                self.fault("names", name, "no such name")
                continue
            sheet, cell = next(iter(there[name].destinations))
            self._check(sheet, cell.replace("$", ""), wanted)
            if name in self.name_labels:
                here = self.book.sheets[sheet][cell.replace("$", "")]
                above = self.book.sheets[sheet].cell(here.row - 1, here.column)
                self.seen.add((sheet, above.coordinate))
                # a field that is empty is left out, its label with it
                label = self.name_labels[name] if wanted not in (None, "") else None
                if above.value != label:
                    self.fault(sheet, above.coordinate, f"{above.value!r}, should be {label!r}")
        for name in there:
            if name not in self.page.names and not name.startswith("_"):
                self.fault("names", name, "is not explained")

    def _table(self, sheet: Any, table: Any) -> None:
        left, top, right, bottom = range_boundaries(table.ref)
        heads = [sheet.cell(top, column).value for column in range(left, right + 1)]
        places = [(column, head) for column, head in zip(range(left, right + 1), heads, strict=True)]
        for column, _ in places:
            self.seen.add((sheet.title, sheet.cell(top, column).coordinate))
        if table.name in self.page.messages:
            self._messages(sheet, table.name, places, range(top + 1, bottom + 1))
            return
        rows = self.page.tables.get(table.name)
        if rows is None:
            self.fault(sheet.title, table.ref, f"table {table.name} is not explained")
            return
        blank = layout.BLANKS.get(table.name, ())
        known = set().union(*(row.keys() for row in rows)) | set(blank)
        known -= self.page.left_out.get(table.name, set())
        may_go = {head for head in layout.MAY_GO.get(table.name, ()) if self.page.is_empty(table.name, head)}
        for missing in known - set(heads) - may_go:
            self.fault(sheet.title, table.ref, f"there is no column {missing!r}")
        for extra in set(heads) - known:
            self.fault(sheet.title, table.ref, f"column {extra!r} is not explained")
        if len(rows) != bottom - top:
            self.fault(sheet.title, table.ref, f"{bottom - top} rows, should be {len(rows)}")
        for row, wanted in zip(range(top + 1, bottom + 1), rows, strict=False):
            for column, head in places:
                cell = sheet.cell(row, column)
                self._check(sheet.title, cell.coordinate, wanted.get(head))
                computed = head in map(self._words, layout.COMPUTED.get(table.name, ()))
                if computed and not str(cell.value).startswith("="):
                    self.fault(sheet.title, cell.coordinate, f"{cell.value!r} is no formula")
        totals = self.page.totals.get(table.name)
        if totals is not None:
            self._check(sheet.title, sheet.cell(bottom + 1, left).coordinate, "Total")
            for column, head in places[1:]:
                self._check(sheet.title, sheet.cell(bottom + 1, column).coordinate, totals.get(head))

    def _messages(self, sheet: Any, name: str, places: Sequence[tuple[int, Any]], rows: range) -> None:
        """A table of findings, in any order among those that are equally grave."""
        found = self._findings(sheet, places, rows)
        wanted = list(self.page.messages[name])
        ranks: list[int] = []
        unmatched = []
        for where, facts, text in found:
            for item in wanted:
                if not self._message_faults(facts, text, item):
                    wanted.remove(item)
                    ranks.append(item.rank)
                    break
            else:
                unmatched.append((where, facts, text))
        if ranks != sorted(ranks):
            self.fault(sheet.title, name, f"the gravest does not stand first: {ranks}")
        for place, (where, facts, text) in enumerate(unmatched):
            near = wanted[place] if place < len(wanted) else None
            why = self._message_faults(facts, text, near) if near else "is not expected"
            self.fault(sheet.title, where, f"{facts} {text!r}: {why}")
        shown = self.page.most.get(name)
        if shown is not None and len(found) >= shown:
            wanted = []  # the others stand elsewhere
        for item in wanted[len(unmatched) :]:
            self.fault(sheet.title, name, f"is silent on {item}")

    def _findings(
        self, sheet: Any, places: Sequence[tuple[int, Any]], rows: range
    ) -> list[tuple[str, dict[str, Any], str]]:
        """Cell, other columns, and text of each; its lines go on with blanks, what to do stands last."""
        found: list[tuple[str, dict[str, Any], str]] = []
        for row in rows:
            cells = {head: sheet.cell(row, column).value for column, head in places}
            for column, _ in places:
                self.seen.add((sheet.title, sheet.cell(row, column).coordinate))
            texts = [str(cells.pop(head)) for head in ("Warning", "Text", "What to do") if cells.get(head)]
            text = ": ".join(texts)
            if (found and text.startswith("  ")) or (found and cells and not any(cells.values())):
                where, facts, before = found[-1]
                found[-1] = (where, facts, f"{before} {text.strip()}")
                continue
            facts = {head: cells[head] for head in cells if head not in ("Warning", "Text", "What to do")}
            found.append((sheet.cell(row, places[-1][0]).coordinate, facts, text.strip()))
        return found

    @staticmethod
    def _message_faults(facts: dict[str, Any], text: str, item: Message) -> str:
        why = why_not(text, item.says)
        if why:
            return why
        if set(facts) != set(item.columns):
            return f"columns {list(facts)}, should be {list(item.columns)}"
        return "; ".join(f"{key}: {why}" for key in facts if (why := compare(facts[key], item.columns[key])))

    def _labels(self, sheet: Any) -> None:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value not in self.page.beside or (sheet.title, cell.coordinate) in self.seen:
                    continue
                self.seen.add((sheet.title, cell.coordinate))
                self.read.add(cell.value)
                wanted = list(self.page.beside[cell.value])
                for other in row:
                    there = (sheet.title, other.coordinate)
                    if other.value is None or other.column <= cell.column or there in self.seen:
                        continue
                    if wanted and isinstance(other.value, str) and other.value in self.captions:
                        continue
                    if not wanted:
                        break
                    self._check(sheet.title, other.coordinate, wanted.pop(0))
                if wanted:
                    self.fault(sheet.title, cell.coordinate, f"beside it should stand {wanted}")

    def _rest(self, sheet: Any) -> None:
        """Captions, and cells that repeat another one."""
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is None or (sheet.title, cell.coordinate) in self.seen:
                    continue
                echo = re.fullmatch(r"='?([^'!]+)'?!\$([A-Z]+)\$(\d+)", str(cell.value))
                if echo:
                    self.repeated.setdefault(sheet.title, set()).add(normal(cell.value))
                    self.repeats[sheet.title] = self.repeats.get(sheet.title, 0) + 1
                    there = self.book.sheets[echo.group(1)][echo.group(2) + echo.group(3)].value
                    here = self.book.value(sheet.title, cell.coordinate)
                    if isinstance(there, datetime.datetime) and isinstance(here, float):
                        here = from_excel(here)
                    if here != there:
                        self.fault(sheet.title, cell.coordinate, f"{here!r} repeats {there!r}")
                elif cell.value in self.captions:
                    self.read.add(cell.value)
                else:
                    self.fault(sheet.title, cell.coordinate, f"{cell.value!r} is not explained")
