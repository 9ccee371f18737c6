"""Rows inserted into and removed from the sheets of a package, as a spreadsheet does it.

When a table grows or shrinks, everything that points at the rows below has to follow: cells and
their formulas in all sheets, merged cells, conditional formats, validations, links, breaks, names,
tables, filters, drawings, notes, controls, sparklines and charts. `RowMap` says where each row
goes; `RowShift` carries it through the package. What cannot follow safely is refused by name.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from lxml import etree
from openpyxl.formula.tokenizer import Token

from dispense.base.errors import DispenseError, Problem, show
from dispense.xlsx.formula_text import tokens
from dispense.xlsx.package import (
    MAIN,
    MAX_ROW,
    Package,
    Sheet,
    column_letters,
    column_number,
    split_cell,
    split_range,
)

__all__ = ["Band", "Grid", "LostRow", "RowMap", "RowShift", "move_formula"]

XDR = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
VML_EXCEL = "urn:schemas-microsoft-com:office:excel"
_ROW, _CELL, _FORMULA = f"{{{MAIN}}}row", f"{{{MAIN}}}c", f"{{{MAIN}}}f"


class LostRow(Exception):
    """Something still points at a row that was to be removed."""

    def __init__(self, sheet: str, row: int, where: str = ""):
        super().__init__(f"{sheet} row {row}")
        self.sheet, self.row, self.where = sheet, row, where


@dataclass(frozen=True, slots=True)
class Band:
    """The data rows `first` to `last` of a table, which become `count` rows."""

    first: int
    last: int
    count: int

    @property
    def rows(self) -> int:
        """How many rows there were."""
        return self.last - self.first + 1


class RowMap:
    """Where each row of a sheet goes when its bands change their number of rows.

    Growing inserts rows below the band's last row; shrinking removes its last rows. A range that
    covers a band from its first to its last row covers all of its rows afterwards too.
    """

    def __init__(self, bands: Sequence[Band]):
        self.bands = tuple(sorted(bands, key=lambda band: band.first))

    @property
    def moves(self) -> bool:
        """Whether any row moves."""
        return any(band.count != band.rows for band in self.bands)

    def _shift(self, row: int) -> tuple[int, Band | None]:
        """How far a row moves, and the band it lies in."""
        delta = 0
        for band in self.bands:
            if row < band.first:
                break
            if row <= band.last:
                return delta, band
            delta += band.count - band.rows
        return delta, None

    def point(self, row: int) -> int | None:
        """The new place of one row, or None where it is removed."""
        delta, band = self._shift(row)
        if band is not None and row - band.first >= band.count:
            return None
        return row + delta

    def near(self, row: int) -> int:
        """The new place of one row, or of the next one that stays."""
        delta, band = self._shift(row)
        if band is not None:
            return min(row, band.first + band.count) + delta
        return row + delta

    def span(
        self, first: int, last: int, *, widen: bool = True, extend: bool = True
    ) -> tuple[int, int] | None:
        """The new place of a range of rows, or None where all of it is removed.

        `widen` lets a range of one row count as covering a band of one row; without `extend` no
        range takes in inserted rows at its end.
        """
        if last >= MAX_ROW:
            return (self.near(first) if first > 1 else first), last
        start = self.near(first)
        delta, band = self._shift(last)
        end = last + delta
        if band is not None:
            covers = extend and last == band.last and first <= band.first
            if covers and (widen or first < last):
                end = band.first + delta + band.count - 1
            else:
                end = min(end, band.first + delta + band.count - 1)
        return (start, end) if start <= end else None

    def inside(self, row: int | None) -> bool:
        """Whether a row belongs to the data of a band."""
        return row is not None and self._shift(row)[1] is not None


# ------------------------------------------------------------------------------------- formulas

_REFERENCE = re.compile(
    r"(?P<sheet>(?:'(?:[^']|'')+'|[^'!:\[\](){}\s]+|\[[^\]]*\][^'!:]*)!)?"
    r"(?:(?P<c1>\$?[A-Za-z]{1,3})(?P<r1>\$?[1-9][0-9]{0,6})"
    r"(?::(?P<again>(?:'(?:[^']|'')+'|[^'!:\[\]\s]+)!)?"
    r"(?P<c2>\$?[A-Za-z]{1,3})(?P<r2>\$?[1-9][0-9]{0,6}))?(?P<spill>\#)?"
    r"|(?P<w1>\$?[1-9][0-9]{0,6}):(?P<w2>\$?[1-9][0-9]{0,6})"
    r"|(?P<k1>\$?[A-Za-z]{1,3}):(?P<k2>\$?[A-Za-z]{1,3}))"
)
_SHEET_SPAN = re.compile(r"(?:'((?>(?:[^']|'')+))'|([^'!\[\]:\s]+:[^'!\[\]:\s]+))!")


@lru_cache(maxsize=16384)
def _pieces(formula: str) -> tuple[tuple[str, bool], ...]:
    """The formula cut into texts, each marked whether it may hold a reference."""
    pieces: list[tuple[str, bool]] = []
    for token in tokens(formula):
        text = token.value
        if token.type == Token.OPERAND and token.subtype == Token.RANGE:
            lead = ":" if text.startswith(":") else ""
            if lead:
                pieces.append((lead, False))
            pieces.append((text[len(lead) :], True))
        elif token.type == Token.FUNC and token.subtype == Token.OPEN and ":" in text:
            head, _, tail = text.rpartition(":")
            pieces.append((head, True))
            pieces.append((":" + tail, False))
        else:
            pieces.append((text, False))
    return tuple(pieces)


def _sheet_of(prefix: str | None) -> str | None:
    """The sheet that a prefix such as `'My sheet'!` names."""
    if prefix is None:
        return None
    name = prefix[:-1]
    if name.startswith("'"):
        name = name[1:-1].replace("''", "'")
    return name


def _number(row: str) -> int:
    return int(row.lstrip("$"))


def _with_row(old: str, new: int) -> str:
    return f"${new}" if old.startswith("$") else str(new)


def move_formula(formula: str, rows: int, columns: int = 0) -> str:
    """A formula as it reads when filled down `rows` and right `columns`."""
    if not rows and not columns:
        return formula
    return "".join(
        _moved(text, rows, columns) if is_reference else text for text, is_reference in _pieces(formula)
    )


def _moved(text: str, rows: int, columns: int) -> str:
    found = _REFERENCE.fullmatch(text)
    if not found:
        return text

    def row(part: str) -> str:
        if part.startswith("$"):
            return part
        new = int(part) + rows
        if not 1 <= new <= MAX_ROW:
            raise ValueError(part)
        return str(new)

    def column(part: str) -> str:
        if part.startswith("$") or not columns:
            return part
        return column_letters(column_number(part) + columns)

    sheet = found["sheet"] or ""
    try:
        if found["c1"]:
            first = column(found["c1"]) + row(found["r1"])
            if not found["c2"]:
                return sheet + first + (found["spill"] or "")
            last = column(found["c2"]) + row(found["r2"])
            return f"{sheet}{first}:{found['again'] or ''}{last}"
        if found["w1"]:
            return f"{sheet}{row(found['w1'])}:{row(found['w2'])}"
        return f"{sheet}{column(found['k1'])}:{column(found['k2'])}"
    except ValueError:
        return f"{sheet}#REF!"


def area_cells(text: str) -> list[tuple[str, tuple[int, int, int, int]]] | None:
    """The sheets and boxes that a text such as `(Fill!$A$1:$A$3,Fill!$C$1)` names, else None."""
    areas = []
    try:
        pieces = _pieces(text.removeprefix("="))
    except DispenseError:
        return None
    for piece, is_reference in pieces:
        if not is_reference:
            if piece.strip() not in ("", ",", "(", ")"):
                return None
            continue
        found = _REFERENCE.fullmatch(piece)
        if not found or not found["sheet"] or not found["c1"]:
            return None
        last = f":{found['c2']}{found['r2']}" if found["c2"] else ""
        box = split_range(f"{found['c1']}{found['r1']}{last}")
        areas.append((_sheet_of(found["sheet"]) or "", box))
    return areas or None


class References:
    """Carries row maps through formulas and cell ranges."""

    def __init__(self, maps: Mapping[str, RowMap], sheet_order: Sequence[str]):
        self.maps = {name.lower(): rows for name, rows in maps.items() if rows.moves}
        self.order = [name.lower() for name in sheet_order]
        self.names = tuple(self.maps) + tuple(name.replace("'", "''") for name in self.maps)

    def map_of(self, sheet: str) -> RowMap | None:
        """The row map of a sheet, or None where its rows stay."""
        return self.maps.get(sheet.lower())

    def concerns(self, formula: str, sheet: str) -> bool:
        """Whether a formula in `sheet` may point at rows that move."""
        if sheet.lower() in self.maps:
            return any(letter.isdigit() for letter in formula)
        lowered = formula.lower()
        return "!" in lowered and (":" in lowered or any(n in lowered for n in self.names))

    def formula(
        self,
        formula: str,
        sheet: str,
        *,
        row: int | None = None,
        new_row: int | None = None,
        widen: bool = True,
        fixed_only: bool = False,
        series: bool = False,
    ) -> str:
        """A formula of `sheet` after the rows have moved.

        `row` is the row the formula stands in (of a conditional format, the first of its range) and
        `new_row` where that row goes. `fixed_only` leaves rows without a `$` alone. In a chart's
        `series` a single cell covers a table of one row.
        """
        if not self.concerns(formula, sheet):
            return formula
        return "".join(
            self._reference(text, sheet, row, new_row, widen, fixed_only, series) if marked else text
            for text, marked in _pieces(formula)
        )

    def _reference(
        self,
        text: str,
        sheet: str,
        row: int | None,
        new_row: int | None,
        widen: bool,
        fixed_only: bool,
        series: bool,
    ) -> str:
        found = _REFERENCE.fullmatch(text)
        if not found:
            self._refuse_sheet_span(text)
            return text
        target = _sheet_of(found["sheet"]) or sheet
        rows = self.map_of(target)
        if rows is None or found["k1"]:
            return text
        first, last = found["r1"] or found["w1"], found["r2"] or found["w2"]
        if fixed_only and not (first.startswith("$") and (last or "$").startswith("$")):
            return text
        home = row if target.lower() == sheet.lower() else None
        span = rows.span(_number(first), _number(first)) if series and last is None else None
        if span and span[1] > span[0]:
            start, end = (found["c1"] + _with_row(first, row) for row in span)
            return f"{found['sheet'] or ''}{start}:{end}"
        if last is None:
            new = self._cell_row(rows, first, home, new_row)
            if new is None:
                raise LostRow(target, _number(first))
            return f"{found['sheet'] or ''}{found['c1']}{new}{found['spill'] or ''}"
        pair = self._range_rows(rows, (first, last), home, new_row, found, widen)
        if pair is None:
            raise LostRow(target, max(_number(first), _number(last)))
        prefix = found["sheet"] or ""
        if found["w1"]:
            return f"{prefix}{pair[0]}:{pair[1]}"
        return f"{prefix}{found['c1']}{pair[0]}:{found['again'] or ''}{found['c2']}{pair[1]}"

    @staticmethod
    def _cell_row(rows: RowMap, text: str, home: int | None, new_row: int | None) -> str | None:
        number = _number(text)
        new = rows.point(number)
        if new_row is not None and home is not None and not text.startswith("$"):  # noqa: SIM102
            if number == home or new is None:
                return str(max(1, number + new_row - home))
        return None if new is None else _with_row(text, new)

    @staticmethod
    def _range_rows(
        rows: RowMap,
        pair: tuple[str, str],
        home: int | None,
        new_row: int | None,
        found: re.Match[str],
        widen: bool,
    ) -> tuple[str, str] | None:
        texts = sorted(pair, key=_number)
        first, last = (_number(text) for text in texts)
        if new_row is not None and first == last == home and not texts[1].startswith("$"):
            return _with_row(pair[0], new_row), _with_row(pair[1], new_row)
        own = rows.inside(home) and not texts[1].startswith("$")
        narrow = bool(found["c1"]) and _same_column(found)
        span = rows.span(first, last, widen=widen and narrow, extend=not own)
        if span is None:
            return None
        new = {texts[0]: span[0], texts[1]: span[1]}
        if pair[0] == pair[1]:
            return _with_row(pair[0], span[0]), _with_row(pair[1], span[1])
        return _with_row(pair[0], new[pair[0]]), _with_row(pair[1], new[pair[1]])

    def _refuse_sheet_span(self, text: str) -> None:
        found = _SHEET_SPAN.match(text)
        if not found:
            return
        first, _, last = (found[1] or found[2]).replace("''", "'").lower().partition(":")
        if first in self.order and last in self.order:
            low, high = sorted((self.order.index(first), self.order.index(last)))
            if any(name in self.maps for name in self.order[low : high + 1]):
                raise DispenseError(
                    Problem("", message=f"{text} spans several sheets, of which rows would move")
                )

    def cell(self, address: str, sheet: str) -> str | None:
        """One cell's new address, or None where its row is removed."""
        rows = self.map_of(sheet)
        if rows is None:
            return address
        found = _REFERENCE.fullmatch(address)
        if not found or not found["c1"]:
            return address
        new = rows.point(_number(found["r1"]))
        return None if new is None else found["c1"] + _with_row(found["r1"], new)

    def ranges(self, text: str, sheet: str, *, widen: bool = True) -> str:
        """A list of ranges such as `A1:B3 D7`, without those that are removed."""
        rows = self.map_of(sheet)
        if rows is None:
            return text
        kept = []
        for item in text.split():
            found = _REFERENCE.fullmatch(item)
            if not found or found["k1"]:
                kept.append(item)
                continue
            first = found["r1"] or found["w1"]
            last = found["r2"] or found["w2"] or first
            span = rows.span(_number(first), _number(last), widen=widen)
            if span is None:
                continue
            start, end = _with_row(first, span[0]), _with_row(last, span[1])
            left, right = found["c1"] or "", found["c2"] or found["c1"] or ""
            single = start == end and left == right and ":" not in item
            kept.append(left + start if single else f"{left}{start}:{right}{end}")
        return " ".join(kept)


def _same_column(found: re.Match[str]) -> bool:
    return found["c1"].lstrip("$").upper() == (found["c2"] or found["c1"]).lstrip("$").upper()


# ----------------------------------------------------------------------------------------- grid


class Grid:
    """The rows and cells of one edited sheet, found by number."""

    def __init__(self, root: etree._Element):
        self.root = root
        data = root.find(f"{{{MAIN}}}sheetData")
        if data is None:
            raise DispenseError(Problem("", message="the sheet has no place for cells"))
        self.data = data
        self.reindex()

    def reindex(self) -> None:
        """Find all rows again, giving an address to those that left it out."""
        self.rows: dict[int, etree._Element] = {}
        self._cells: dict[int, dict[int, etree._Element]] = {}
        number = 0
        for row in self.data.iterchildren(_ROW):
            text = row.get("r")
            if text and not (text.isascii() and text.isdigit() and 0 < int(text[:8]) <= MAX_ROW):
                raise DispenseError(
                    Problem(
                        "",
                        message=f"a row has the number {show(text)}",
                        fix="open the file in a spreadsheet and save it again",
                    )
                )
            number = int(text) if text else number + 1
            if text is None:
                row.set("r", str(number))
            self.rows[number] = row

    def cells(self, row: int) -> dict[int, etree._Element]:
        """The cells of a row by column number."""
        known = self._cells.get(row)
        if known is None:
            known = self._cells[row] = {}
            column = 0
            for cell in self.rows[row].iterchildren(_CELL) if row in self.rows else ():
                address = cell.get("r")
                column = split_cell(address)[1] if address else column + 1
                if address is None:
                    cell.set("r", f"{column_letters(column)}{row}")
                known[column] = cell
        return known

    def row(self, number: int) -> etree._Element:
        """A row, made where it is missing."""
        found = self.rows.get(number)
        if found is None:
            found = etree.Element(_ROW, r=str(number))
            self.insert(number, found)
        return found

    def insert(self, number: int, row: etree._Element) -> None:
        """Put a row in its place among the others."""
        before: int | None = number - 1
        if before not in self.rows:
            before = max((known for known in self.rows if known < number), default=None)
        if before is None:
            self.data.insert(0, row)
        else:
            self.rows[before].addnext(row)
        self.rows[number] = row
        self._cells.pop(number, None)

    def remove(self, number: int) -> None:
        """Take a row out."""
        row = self.rows.pop(number, None)
        self._cells.pop(number, None)
        if row is not None:
            self.data.remove(row)

    def cell(self, row: int, column: int) -> etree._Element:
        """A cell, made where it is missing, in the row's or column's style."""
        cells = self.cells(row)
        found = cells.get(column)
        if found is not None:
            return found
        element = self.row(row)
        found = etree.Element(_CELL, r=f"{column_letters(column)}{row}")
        style = element.get("s") if element.get("customFormat") in ("1", "true") else None
        style = style or self.column_style(column)
        if style and style != "0":
            found.set("s", style)
        before = max((known for known in cells if known < column), default=None)
        if before is None:
            element.insert(0, found)
        else:
            cells[before].addnext(found)
        cells[column] = found
        self._cells[row] = cells
        element.attrib.pop("spans", None)
        return found

    def column_style(self, column: int) -> str | None:
        """The style a column gives to its empty cells."""
        listed = self.root.find(f"{{{MAIN}}}cols")
        for item in () if listed is None else listed:
            if int(item.get("min", "0")) <= column <= int(item.get("max", "0")):
                return item.get("style")
        return None


def renumber(row: etree._Element, number: int) -> None:
    """Give a row and its cells another row number."""
    row.set("r", str(number))
    for cell in row.iterchildren(_CELL):
        address = cell.get("r")
        if address:
            cell.set("r", address.rstrip("0123456789") + str(number))


# ---------------------------------------------------------------------------------------- shift


class RowShift:
    """Moves the rows of sheets and everything in the package that points at them.

    The caller has taken the removed rows out of the sheets already; new rows are put in afterwards.
    """

    def __init__(self, package: Package, maps: Mapping[str, RowMap]):
        self.package = package
        self.refs = References(maps, [sheet.name for sheet in package.sheets])
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self._done: set[etree._Element] = set()

    def apply(self) -> None:
        """Carry the row maps through the package."""
        for sheet in self.package.worksheets:
            self._worksheet(sheet)
        for sheet in self.package.sheets:
            self._drawings(sheet)
        self._names()
        self._charts()
        self._pivot_caches()
        self._calculation_chain()

    def _try(self, where: str, work: Callable[[], str], default: str) -> str:
        """Run one rewriting; what cannot be read or shifted is a problem of this place."""
        try:
            return work()
        except LostRow as lost:
            lost.where = where
            raise
        except DispenseError as error:
            problem = error.problems[0]
            text = problem.message or str(problem)
            self.problems.append(Problem(where, message=f"cannot follow rows that move: {text}"))
            return default

    def _formula(self, where: str, formula: str, sheet: str, **options: object) -> str:
        return self._try(
            where,
            lambda: self.refs.formula(formula, sheet, **options),  # type: ignore[arg-type]  # passed on
            formula,
        )

    # worksheets

    def _mentions(self, part: str) -> bool:
        """Whether a part may hold a reference to a sheet whose rows move."""
        text = self.package.read(part).lower()
        for name in self.refs.names:
            plain = name.encode()
            escaped = name.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").encode()
            if plain in text or escaped in text or escaped.replace(b"'", b"&apos;") in text:
                return True
        return False

    def _worksheet(self, sheet: Sheet) -> None:
        own = self.refs.map_of(sheet.name)
        if own is None and not self._mentions(sheet.part) and not self._has_sheet_span(sheet.part):
            return
        was_edited = self.package.is_edited(sheet.part)
        root = self.package.edit(sheet.part)
        before = None if own or was_edited else etree.tostring(root)
        self._cell_formulas(root, sheet, own)
        if own is not None:
            self._renumber_rows(root, own)
        self._outside_cells(root, sheet, own)
        self._sheet_relations(sheet, own)
        if before is not None and etree.tostring(root) == before:
            self.package.revert(sheet.part)

    def _has_sheet_span(self, part: str) -> bool:
        return bool(re.search(rb"<f[^>]*>[^<]*:[^<!]*!", self.package.read(part)))

    def _cell_formulas(self, root: etree._Element, sheet: Sheet, own: RowMap | None) -> None:
        formulas = list(_sheet_formulas(root))
        if any(
            item.get("t") == "shared" and item.text and self.refs.concerns(item.text, sheet.name)
            for _, _, item in formulas
        ):
            _write_out(formulas)
        for row, column, item in formulas:
            where = f"{sheet.name}!{column_letters(column)}{row}"
            kind = item.get("t")
            if own is not None and kind in ("array", "dataTable"):
                self._block_formula(item, own, where)
            for key in ("r1", "r2"):
                if own is not None and item.get(key):
                    new = self.refs.cell(item.get(key, ""), sheet.name)
                    item.set(key, new or "#REF!")
            if item.text:
                item.text = self._formula(where, item.text, sheet.name, row=row)

    def _block_formula(self, item: etree._Element, own: RowMap, where: str) -> None:
        """An array formula or data table moves as a whole or not at all."""
        top, left, bottom, right = split_range(item.get("ref", "A1"))
        span = own.span(top, bottom, widen=False, extend=False)
        if span is None or span[1] - span[0] != bottom - top:
            kind = "data table" if item.get("t") == "dataTable" else "array formula"
            self.problems.append(
                Problem(
                    where,
                    message=f"the {kind} over {item.get('ref')} would be cut by rows of a table",
                    fix="move it above or below the table",
                )
            )
            return
        item.set("ref", _range(span[0], left, span[1], right, ":" in item.get("ref", "")))

    @staticmethod
    def _renumber_rows(root: etree._Element, own: RowMap) -> None:
        data = root.find(f"{{{MAIN}}}sheetData")
        for row in () if data is None else data.iterchildren(_ROW):
            number = int(row.get("r", "1"))
            new = own.near(number)
            if new > MAX_ROW:
                raise DispenseError(Problem("", message="the sheet would have too many rows"))
            if new != number:
                renumber(row, new)

    def _outside_cells(self, root: etree._Element, sheet: Sheet, own: RowMap | None) -> None:
        """All of a sheet but its cells."""
        for child in list(root):
            if not isinstance(child.tag, str) or child.tag == f"{{{MAIN}}}sheetData":
                continue
            self._ruled_ranges(child, sheet)
            if child.getparent() is None:
                continue
            for item in list(child.iter(etree.Element)):
                self._element(item, sheet, own)
        if own is not None:
            _count_children(root)

    def _ruled_ranges(self, top: etree._Element, sheet: Sheet) -> None:
        """Conditional formats, validations and sparklines: ranges with formulas of their own."""
        names = ("conditionalFormatting", "dataValidation", "sparkline")
        for item in [item for item in top.iter(etree.Element) if _local(item) in names]:
            held = item if item.get("sqref") else _child(item, "sqref")
            if held is None:
                continue
            text = (item.get("sqref") if held is item else held.text) or ""
            sparkline = _local(item) == "sparkline"
            new = self.refs.ranges(text, sheet.name, widen=not sparkline)
            if not new:
                _remove(item)
                continue
            if sparkline:
                self._sparkline(item, sheet)
            else:
                self._ruled_formulas(item, sheet, _top_row(text), _top_row(new))
            if held is item:
                item.set("sqref", new)
            else:
                held.text = new
            self._done.update((item, held))

    def _sparkline(self, item: etree._Element, sheet: Sheet) -> None:
        source = _child(item, "f")
        if source is not None and source.text:
            where = f"{sheet.name}, a sparkline"
            source.text = self._formula(where, source.text, sheet.name, widen=False)
            self._done.add(source)

    def _ruled_formulas(
        self, item: etree._Element, sheet: Sheet, row: int | None, new_row: int | None
    ) -> None:
        where = f"{sheet.name}, {_local(item)} of row {row}"
        for part in item.iter(etree.Element):
            if _local(part) in ("formula", "f") or (
                _local(part) in ("formula1", "formula2") and not len(part)
            ):
                if part.text:
                    part.text = self._formula(where, part.text, sheet.name, row=row, new_row=new_row)
                self._done.add(part)
            value = part.get("val") if _local(part) == "cfvo" else None
            if value and part.get("type") not in ("min", "max"):
                part.set("val", self._formula(where, value, sheet.name, row=row, new_row=new_row))

    def _element(self, item: etree._Element, sheet: Sheet, own: RowMap | None) -> None:
        if item in self._done:
            return
        local = _local(item)
        if own is not None:
            self._ranges_of(item, local, sheet, own)
        for key in ("location", "linkedCell", "listFillRange", "fmlaLink", "fmlaRange", "textlink"):
            value = item.get(key)
            if value and (key != "location" or _REFERENCE.fullmatch(value.lstrip("#"))):
                where = f"{sheet.name}, {local} {key}"
                lead = "#" if value.startswith("#") else ""
                item.set(key, lead + self._formula(where, value[len(lead) :], sheet.name))
        if local in ("f", "formula", "formula1", "formula2") and item.text and not len(item):
            item.text = self._formula(f"{sheet.name}, {local}", item.text, sheet.name)

    def _ranges_of(self, item: etree._Element, local: str, sheet: Sheet, own: RowMap) -> None:
        if local == "brk" and _local(item.getparent()) == "rowBreaks":
            self._break(item, own)
            return
        if local == "anchor":
            _move_anchor(item, own, _edit_mode(item))
            return
        if local in ("cellWatch", "inputCells", "singleXmlCell"):
            self._set_or_remove(item, "r", self.refs.cell(item.get("r", ""), sheet.name))
            return
        target = sheet.name if local != "dataRef" else item.get("sheet", sheet.name)
        if item.get("ref"):
            widen = local not in ("mergeCell", "hyperlink")
            new = self.refs.ranges(item.get("ref", ""), target, widen=widen)
            if local == "mergeCell" and ":" in new and len(set(new.split(":"))) == 1:
                new = ""
            if local == "dimension":
                new = new or "A1"
            self._set_or_remove(item, "ref", new)
        if item.get("sqref"):
            new = self.refs.ranges(item.get("sqref", ""), target)
            if local == "selection":
                new = new or "A1"
                cell = self.refs.cell(item.get("activeCell", "A1"), target)
                item.set("activeCell", cell or new.split()[0].split(":")[0])
            self._set_or_remove(item, "sqref", new)
        if local == "sqref" and item.text:
            item.text = self.refs.ranges(item.text, target) or "A1"
        if item.get("topLeftCell"):
            row, column = split_cell(item.get("topLeftCell", "A1"))
            item.set("topLeftCell", f"{column_letters(column)}{own.near(row)}")

    @staticmethod
    def _set_or_remove(item: etree._Element, key: str, value: str | None) -> None:
        if value:
            item.set(key, value)
        else:
            _remove(item)

    @staticmethod
    def _break(item: etree._Element, own: RowMap) -> None:
        """A page break lies below its row: it goes with the end of that row."""
        row = int(item.get("id", "0"))
        delta, band = own._shift(row)
        if band is None:
            item.set("id", str(row + delta))
        elif row == band.last:
            item.set("id", str(band.first + delta + band.count - 1))
        elif own.point(row) is None:
            _remove(item)
        else:
            item.set("id", str(row + delta))

    # parts that belong to a sheet

    def _sheet_relations(self, sheet: Sheet, own: RowMap | None) -> None:
        package = self.package
        for part in package.related(sheet.part, "table"):
            self._table_part(part, sheet, own)
        for part in package.related(sheet.part, "ctrlProp"):
            self._edit_if_changed(part, lambda root: self._all_elements(root, sheet, None))
        if own is None:
            return
        for part in package.related(sheet.part, "comments"):
            self._comments(package.edit(part), sheet, "comment")
        for part in package.related(sheet.part, "threadedComment"):
            self._comments(package.edit(part), sheet, "threadedComment")
        for part in package.related(sheet.part, "tableSingleCells"):
            self._all_elements(package.edit(part), sheet, own)
        for part in package.related(sheet.part, "pivotTable"):
            self._pivot_table(part, sheet, own)
        for part in package.related(sheet.part, "vmlDrawing"):
            if self._is_legacy_drawing(sheet, part):
                self._vml(part, sheet, own)

    def _edit_if_changed(self, part: str, work: Callable[[etree._Element], None]) -> None:
        was_edited = self.package.is_edited(part)
        root = self.package.edit(part)
        before = etree.tostring(root)
        work(root)
        if not was_edited and etree.tostring(root) == before:
            self.package.revert(part)

    def _all_elements(self, root: etree._Element, sheet: Sheet, own: RowMap | None) -> None:
        for item in list(root.iter(etree.Element)):
            self._element(item, sheet, own)

    def _table_part(self, part: str, sheet: Sheet, own: RowMap | None) -> None:
        def work(root: etree._Element) -> None:
            top = split_range(root.get("ref", "A1"))[0] + int(root.get("headerRowCount", "1"))
            for item in list(root.iter(etree.Element)):
                if own is not None and item.get("ref"):
                    new = self.refs.ranges(item.get("ref", ""), sheet.name)
                    self._set_or_remove(item, "ref", new)
                if _local(item) in ("calculatedColumnFormula", "totalsRowFormula") and item.text:
                    where = f"{sheet.name}, table {root.get('displayName')}"
                    item.text = self._formula(where, item.text, sheet.name, row=top)

        self._edit_if_changed(part, work)

    def _comments(self, root: etree._Element, sheet: Sheet, kind: str) -> None:
        for item in [item for item in root.iter(etree.Element) if _local(item) == kind]:
            self._set_or_remove(item, "ref", self.refs.cell(item.get("ref", ""), sheet.name))

    def _is_legacy_drawing(self, sheet: Sheet, part: str) -> bool:
        """Whether a VML part hangs on the cells, and not on the header and footer."""
        links = self.package.relationships(sheet.part)
        for item in self.package.tree(sheet.part).iter(f"{{{MAIN}}}legacyDrawing"):
            for key, value in item.attrib.items():
                if key.endswith("}id") and value in links and links[value].target == part:
                    return True
        return False

    def _vml(self, part: str, sheet: Sheet, own: RowMap) -> None:
        root = self.package.edit(part)
        for data in list(root.iter(f"{{{VML_EXCEL}}}ClientData")):
            self._vml_shape(data, sheet, own)

    def _vml_shape(self, data: etree._Element, sheet: Sheet, own: RowMap) -> None:
        held = data.find(f"{{{VML_EXCEL}}}Row")
        anchor = data.find(f"{{{VML_EXCEL}}}Anchor")
        pieces = (anchor.text or "").split(",") if anchor is not None else []
        numbers = [int(piece) for piece in pieces if piece.strip().isdigit()]
        if held is not None:
            row = int(held.text or "0") + 1
            new = own.point(row)
            if new is None:
                _remove(data.getparent())
                return
            held.text = str(new - 1)
            shift = new - row
            if len(numbers) == 8:
                numbers[2], numbers[6] = numbers[2] + shift, numbers[6] + shift
        elif len(numbers) == 8 and data.find(f"{{{VML_EXCEL}}}MoveWithCells") is None:
            sized = data.find(f"{{{VML_EXCEL}}}SizeWithCells") is None
            mode = "twoCell" if sized else "oneCell"
            numbers[2], numbers[6] = _moved_rows(own, numbers[2], numbers[6], numbers[7], mode)
        if anchor is not None and len(numbers) == 8:
            anchor.text = ", ".join(str(number) for number in numbers)
        for name in ("FmlaLink", "FmlaRange", "FmlaTxbx"):
            for item in data.iterchildren(f"{{{VML_EXCEL}}}{name}"):
                if item.text:
                    item.text = self._formula(f"{sheet.name}, control", item.text, sheet.name)

    def _pivot_table(self, part: str, sheet: Sheet, own: RowMap) -> None:
        location = self.package.edit(part).find(f"{{{MAIN}}}location")
        if location is None:
            return
        top, left, bottom, right = split_range(location.get("ref", "A1"))
        span = own.span(top, bottom, widen=False, extend=False)
        if span is None or span[1] - span[0] != bottom - top:
            self.problems.append(
                Problem(
                    f"{sheet.name}!{location.get('ref')}",
                    message="the pivot table would be cut by rows of a table",
                    fix="move it to another sheet",
                )
            )
            return
        location.set("ref", _range(span[0], left, span[1], right, True))

    # parts that belong to the workbook

    def _drawings(self, sheet: Sheet) -> None:
        own = self.refs.map_of(sheet.name)
        for part in self.package.drawings(sheet):

            def work(root: etree._Element) -> None:
                if own is not None:
                    for anchor in root.iter(f"{{{XDR}}}twoCellAnchor", f"{{{XDR}}}oneCellAnchor"):
                        mode = anchor.get("editAs", "twoCell")
                        if _move_anchor(anchor, own, mode):
                            self._note_stretched(anchor, sheet)
                for item in root.iter(etree.Element):
                    for key in ("textlink", "cellRange"):
                        value = item.get(key)
                        if value:
                            where = f"{sheet.name}, drawing"
                            item.set(key, self._formula(where, value, sheet.name))

            self._edit_if_changed(part, work)

    def _note_stretched(self, anchor: etree._Element, sheet: Sheet) -> None:
        for item in anchor.iter(f"{{{XDR}}}cNvPr"):
            self.notes.append(
                f"{sheet.name}: {item.get('name', 'a drawing')} changed its height with the rows "
                "beside it; set it to move but not size with cells to keep its height"
            )
            return

    def _names(self) -> None:
        package = self.package
        part = package.workbook_part
        sheets = package.sheets

        def work(root: etree._Element) -> None:
            listed = root.find(f"{{{MAIN}}}definedNames")
            for item in () if listed is None else listed.iterchildren(f"{{{MAIN}}}definedName"):
                local = item.get("localSheetId")
                scope = sheets[int(local)].name if local and int(local) < len(sheets) else ""
                if item.text:
                    item.text = self._formula(f"name {item.get('name')}", item.text, scope, fixed_only=True)

        self._edit_if_changed(part, work)

    def _charts(self) -> None:
        for part in chart_parts(self.package):

            def work(root: etree._Element, part: str = part) -> None:
                for item in root.iter(etree.Element):
                    if _local(item) in ("f", "sqref") and item.text:
                        label = any(_local(up) == "tx" for up in item.iterancestors())
                        item.text = self._formula(
                            f"chart {part.rpartition('/')[2]}",
                            item.text,
                            "",
                            widen=not label,
                            series=not label,
                        )

            self._edit_if_changed(part, work)

    def _pivot_caches(self) -> None:
        package = self.package
        for part in package.related(package.workbook_part, "pivotCacheDefinition"):

            def work(root: etree._Element) -> None:
                for item in root.iter(f"{{{MAIN}}}worksheetSource"):
                    sheet = item.get("sheet")
                    if sheet and item.get("ref"):
                        new = self.refs.ranges(item.get("ref", ""), sheet)
                        item.set("ref", new or item.get("ref", ""))

            self._edit_if_changed(part, work)

    def _calculation_chain(self) -> None:
        drop_calculation_chain(self.package)


def drop_calculation_chain(package: Package) -> None:
    """Remove the list of formula cells, which a spreadsheet makes anew when it is missing."""
    for kind in ("calcChain", "volatileDependencies"):
        for part in package.related(package.workbook_part, kind):
            package.remove(part)


def chart_parts(package: Package) -> list[str]:
    """Every chart part of the package."""
    parts = []
    for sheet in package.sheets:
        parts.extend(package.charts(sheet))
    return list(dict.fromkeys(parts))


# -------------------------------------------------------------------------------------- helpers


def _local(item: etree._Element | None) -> str:
    if item is None or not isinstance(item.tag, str):
        return ""
    return item.tag.rpartition("}")[2]


def _child(item: etree._Element, local: str) -> etree._Element | None:
    return next((child for child in item if _local(child) == local), None)


def _remove(item: etree._Element | None) -> None:
    if item is not None and item.getparent() is not None:
        item.getparent().remove(item)


def _top_row(ranges: str) -> int | None:
    """The first row of a list of ranges, which its formulas are relative to."""
    try:
        return min(split_range(item)[0] for item in ranges.split())
    except ValueError:
        return None


def _range(top: int, left: int, bottom: int, right: int, as_range: bool) -> str:
    first = f"{column_letters(left)}{top}"
    last = f"{column_letters(right)}{bottom}"
    return f"{first}:{last}" if as_range or first != last else first


def _sheet_formulas(root: etree._Element) -> Iterator[tuple[int, int, etree._Element]]:
    data = root.find(f"{{{MAIN}}}sheetData")
    row_number = 0
    for row in () if data is None else data.iterchildren(_ROW):
        row_number = int(row.get("r") or row_number + 1)
        column = 0
        for cell in row.iterchildren(_CELL):
            address = cell.get("r")
            column = split_cell(address)[1] if address else column + 1
            for item in cell.iterchildren(_FORMULA):
                yield row_number, column, item


def expand_shared(root: etree._Element) -> None:
    """Write each shared formula of a sheet out in every cell that uses it."""
    _write_out(list(_sheet_formulas(root)))


def _write_out(formulas: Sequence[tuple[int, int, etree._Element]]) -> None:
    masters = {
        item.get("si"): (row, column, item.text)
        for row, column, item in formulas
        if item.get("t") == "shared" and item.text
    }
    for row, column, item in formulas:
        if item.get("t") != "shared":
            continue
        master = masters.get(item.get("si"))
        if master is None:
            continue
        item.text = move_formula(master[2], row - master[0], column - master[1])
        for key in ("t", "si", "ref"):
            item.attrib.pop(key, None)


def _edit_mode(anchor: etree._Element) -> str:
    """How a control's anchor follows the cells."""
    if anchor.get("sizeWithCells") in ("1", "true"):
        return "twoCell"
    return "oneCell" if anchor.get("moveWithCells") in ("1", "true") else "absolute"


def _moved_rows(own: RowMap, top: int, bottom: int, offset: int, mode: str) -> tuple[int, int]:
    """New zero-based rows of a drawing's upper and lower edge."""
    if mode == "absolute":
        return top, bottom
    new_top = own.near(top + 1) - 1
    if mode == "oneCell":
        return new_top, new_top + bottom - top
    if offset == 0 and bottom > top:
        span = own.span(bottom, bottom, widen=False, extend=False)
        return new_top, max(new_top, span[1] if span else own.near(bottom) - 1)
    return new_top, max(new_top, own.near(bottom + 1) - 1)


def _move_anchor(anchor: etree._Element, own: RowMap, mode: str) -> bool:
    """Move a drawing's anchor; True where its height in rows changed."""
    start, end = _child(anchor, "from"), _child(anchor, "to")
    if start is None:
        return False
    top = _child(start, "row")
    if top is None:
        return False
    if end is None:
        if mode != "absolute":
            top.text = str(own.near(int(top.text or "0") + 1) - 1)
        return False
    bottom, offset = _child(end, "row"), _child(end, "rowOff")
    if bottom is None:
        return False
    old = int(top.text or "0"), int(bottom.text or "0")
    gap = int(offset.text or "0") if offset is not None else 0
    new = _moved_rows(own, *old, gap, mode)
    top.text, bottom.text = str(new[0]), str(new[1])
    return new[1] - new[0] != old[1] - old[0]


_COUNTED = (
    "mergeCells",
    "dataValidations",
    "conditionalFormattings",
    "rowBreaks",
    "sparklines",
    "hyperlinks",
    "cellWatches",
)
_HOLDERS = ("sparklineGroup", "sparklineGroups", "ext", "extLst")


def _count_children(root: etree._Element) -> None:
    """Mend the counts of lists, and drop those left empty."""
    for item in [item for item in root.iter(etree.Element) if _local(item) in _COUNTED]:
        if not len(item):
            holder = item.getparent()
            _remove(item)
            while _local(holder) in _HOLDERS and _is_hollow(holder):
                empty, holder = holder, holder.getparent()
                _remove(empty)
            continue
        if item.get("count"):
            item.set("count", str(len(item)))
        if item.get("manualBreakCount"):
            manual = sum(1 for child in item if child.get("man") in ("1", "true"))
            item.set("manualBreakCount", str(manual))


def _is_hollow(item: etree._Element) -> bool:
    """Whether an element holds nothing more; a sparkline group's colours do not count."""
    return all(_local(child).startswith("color") for child in item)
