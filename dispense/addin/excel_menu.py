"""The tab *Dispense* in Excel: a plan that is open there, through the open-source part of xlwings.

The VBA of the ribbon (see `excel`) calls `command` in the Python that computes the functions. Excel waits
meanwhile, so that a cell cannot be edited under a job's hands. `ExcelHost` is what `jobs.document.Host` asks:
it reads cells, lays outlines over them, asks, lists and opens. All texts and logic are in `jobs`.

The pane is a workbook of its own, `PANE`: lines, of which each leads to its cell or file by a link. Excel
empties its list of undo steps when anything draws into a workbook, so marks are drawn only where they differ.
"""

from __future__ import annotations

import datetime
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from locale import windows_locale
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import unquote, urlsplit

from ..base.errors import DispenseError
from ..base.findings import DANGER, QUALITY, STOP
from ..base.kept import home_folder, keeping
from ..base.language import ENGLISH, printed_in, translated
from ..formulas.spell import respell
from ..handbook.in_formulas import OWN
from ..jobs.desk import Desk, language_of
from ..jobs.document import FILES, CellValue, FormulaCell, Grid, Mark, Pane, Question
from ..jobs.live import follow
from ..jobs.on_screen import COMMANDS, run
from ..xlsx.formula_text import split_sheet
from ..xlsx.package import Package, column_letters, split_cell
from ..xlsx.snapshot import ERRORS
from ..xlsx.target import live_value
from ..xlsx.write import atomic_write

MARK = "dispense mark"  # the name of an outline begins so; its kind follows (the VBA takes it by this name)
MOST_MARKS = 400
MOST_FORMULAS = 400  # in error, that are told
RECTANGLE, MOVES_AND_SIZES, HIDDEN = 1, 1, 0  # msoShapeRectangle, xlMoveAndSize, msoFalse
COLOURS = {DANGER: 0x0000C0, STOP: 0x0000C0, QUALITY: 0x0070D0}  # blue, green, red, as Excel has them
THICK, THIN = 2.25, 1.5  # points
PANE = "dispense_pane"  # the name that tells the pane's workbook from others
PANE_WIDTHS = {"A": 24, "B": 110}
LINKS_FROM = 3  # the row of the pane's first line
LINK_LENGTH = 255  # a text in a formula of Excel has no more characters
CLOCK_DAYS = datetime.datetime(1900, 3, 1)  # before this a moment of Excel is a clock time alone
NO_DATE = datetime.datetime(1899, 12, 30)
ESCAPE = 0x1B  # VK_ESCAPE
ATTEMPTS = 200  # of a call that Excel refuses since it is busy; without a limit it would be tried for ever
CALL_REJECTED = -2147418111  # RPC_E_CALL_REJECTED, as Excel answers while a cell is edited
WINDOWS_LANGUAGE = 2  # msoLanguageIDUI
BUSY = "Excel is busy: end the editing of the cell, close its dialogs, and press the button again"
ASK_TEXT = 2  # Type of Application.InputBox


def is_escape_pressed() -> bool:
    """Whether the key Esc was pressed since the last look; False away from Windows."""
    if sys.platform != "win32":
        return False
    import ctypes

    return bool(ctypes.windll.user32.GetAsyncKeyState(ESCAPE) & 1)


def local_copy(address: str, roots: Iterable[str]) -> Path | None:
    """The file on this computer that OneDrive keeps of a workbook; None where there is none.

    Excel names such a workbook by its address (https://…/Documents/line/plan.xlsx). The copy lies below one
    of the folders that OneDrive tells in its environment variables, under the end of that address.
    """
    parts = PurePosixPath(unquote(urlsplit(address).path)).parts[1:]
    for root in roots:
        for first in range(len(parts)):
            path = Path(root).joinpath(*parts[first:])
            if path.is_file():
                return path
    return None


def onedrive_folders() -> list[str]:
    """The folders that OneDrive keeps on this computer."""
    found = (os.environ.get(name) for name in ("OneDriveCommercial", "OneDriveConsumer", "OneDrive"))
    return list(dict.fromkeys(folder for folder in found if folder))


class ExcelHost:
    """A workbook that is open in Excel (`jobs.document.Host`)."""

    def __init__(self, book: Any, is_stopped: Callable[[], bool] = is_escape_pressed) -> None:
        self.book = book  # of xlwings
        self.marks: list[Mark] = []
        self.pane: Pane | None = None
        self._is_stopped = is_stopped

    # -- where, and what stands there

    def place(self) -> Path | None:
        """Where it was saved last on this computer."""
        name = str(self.book.api.FullName)
        if "://" in name:
            return local_copy(name, onedrive_folders())
        return Path(name) if self.book.api.Path else None

    def language(self) -> str:
        """That of Excel's windows, by its number of Windows ([MS-LCID], as Python's locale lists them)."""
        with suppress(Exception):  # an Excel that does not tell
            number = int(self.book.app.api.LanguageSettings.LanguageID(WINDOWS_LANGUAGE))
            return windows_locale.get(number, "")
        return ""

    def said(self, text: str) -> str:
        """A text in the language of Excel's windows."""
        with printed_in(language_of(self) or ENGLISH):
            return translated(text)

    def read(self) -> list[Grid]:
        """All sheets as they stand on the screen, one reading a sheet."""
        return [self._grid(sheet) for sheet in self.book.sheets]

    def _grid(self, sheet: Any) -> Grid:
        last = sheet.used_range.last_cell
        area = sheet.range((1, 1), (last.row, last.column))
        rows = area.options(ndim=2, err_to_str=True).value
        tables = {table.name: table.range.address.replace("$", "") for table in sheet.tables}
        return Grid(sheet.name, [[_plain(value) for value in row] for row in rows], tables)

    def formulas(self) -> list[FormulaCell]:
        """Formulas in error; whole columns are cut before they travel, so no others need a look."""
        found = []
        for sheet in self.book.sheets:
            used = sheet.used_range
            values = used.options(ndim=2, err_to_str=True).value
            written = used.formula
            texts = written if isinstance(written, list | tuple) else ((written,),)
            for down, (row, shown) in enumerate(zip(texts, values, strict=False)):
                for right, (text, value) in enumerate(zip(row, shown, strict=False)):
                    if isinstance(value, str) and value in ERRORS and str(text).startswith("="):
                        place = f"{column_letters(used.column + right)}{used.row + down}"
                        found.append(FormulaCell(f"{sheet.name}!{place}", str(text), value))
        return found[:MOST_FORMULAS]

    def rewrite(self, formulas: Mapping[str, str]) -> list[str]:
        """Formulas into cells; one whose value changes by it is put back."""
        changed = []
        for name, text in formulas.items():
            cell = self._cell(name)
            before, old = cell.value, cell.formula
            cell.formula = text
            if cell.value == before:
                changed.append(name)
            else:
                cell.formula = old
        return changed

    # -- marks

    def mark(self, marks: Sequence[Mark]) -> None:
        """Outlines round these cells and no others; nothing is drawn where they stand already."""
        self.marks = list(marks)[:MOST_MARKS]
        wanted = {mark.cell: f"{MARK} {mark.kind} {mark.cell}" for mark in self.marks}
        there = {shape.Name for _, shape in self._drawn()}
        if there == set(wanted.values()):
            return
        with self._unsaved():
            for _, shape in list(self._drawn()):
                shape.Delete()
            for mark in self.marks:
                with suppress(Exception):  # a sheet that is protected, or was renamed meanwhile
                    self._outline(mark, wanted[mark.cell])

    def _drawn(self) -> Iterator[tuple[Any, Any]]:
        for sheet in self.book.sheets:
            shapes = sheet.api.Shapes
            for number in range(shapes.Count, 0, -1):
                shape = shapes.Item(number)
                if str(shape.Name).startswith(MARK):
                    yield sheet, shape

    def _outline(self, mark: Mark, name: str) -> None:
        """A rectangle without filling that does not print."""
        cell = self._cell(mark.cell)
        shapes = cell.sheet.api.Shapes
        shape = shapes.AddShape(RECTANGLE, cell.left, cell.top, cell.width, cell.height)
        shape.Name = name
        shape.AlternativeText = mark.text
        shape.Fill.Visible = HIDDEN
        shape.Line.ForeColor.RGB = COLOURS.get(mark.kind, COLOURS[QUALITY])
        shape.Line.Weight = THIN if mark.kind == QUALITY else THICK
        shape.Placement = MOVES_AND_SIZES
        shape.DrawingObject.PrintObject = False

    def _cell(self, name: str) -> Any:
        sheet, address = split_sheet(name)
        return self.book.sheets[sheet].range(address)

    @contextmanager
    def _unsaved(self) -> Iterator[None]:
        """Work that does not make the workbook a changed one and sets off no event."""
        app = self.book.app.api
        was_saved, had_events = self.book.api.Saved, app.EnableEvents
        app.EnableEvents = False
        try:
            yield
        finally:
            app.EnableEvents = had_events
            self.book.api.Saved = was_saved

    # -- the pane

    def show(self, pane: Pane) -> None:
        """Into the workbook of the pane, which is made where it is not open."""
        self.pane = pane
        self.book.app.api.StatusBar = False
        sheet = self._pane_sheet()
        sheet.clear()
        sheet.range("A1").value = live_value(self.book.name)
        sheet.range("A2").value = live_value(pane.headline)
        for letter, width in PANE_WIDTHS.items():
            sheet.range(f"{letter}1").column_width = width
        if pane.lines:
            rows = [[None, live_value(line.text)] for line in pane.lines]
            sheet.range((LINKS_FROM, 1)).value = rows
            links = [(_link(self.book.name, line.cell, line.file),) for line in pane.lines]
            sheet.range((LINKS_FROM, 1), (LINKS_FROM + len(links) - 1, 1)).formula = links
        sheet.range("A1:A2").font.bold = True
        sheet.book.api.Saved = True

    def _pane_sheet(self) -> Any:
        for book in self.book.app.books:
            if any(name.name == PANE for name in book.names):
                return book.sheets[0]
        book = self.book.app.books.add()
        sheet = book.sheets[0]
        book.names.add(PANE, f"='{sheet.name}'!$A$1")
        self.book.api.Activate()
        return sheet

    # -- asking, telling

    def ask(self, title: str, questions: Sequence[Question]) -> Mapping[str, str] | None:
        """One question after the other; None where one was cancelled."""
        app = self.book.app.api
        found: dict[str, str] = {}
        for item in questions:
            if item.kind == FILES:
                chosen = app.GetOpenFilename(MultiSelect=True, Title=item.label)
                if not isinstance(chosen, list | tuple):
                    return None
                found[item.key] = "\n".join(str(name) for name in chosen)
                continue
            told = app.InputBox(
                Prompt=_prompt(item), Title=f"dispense: {title}", Default=item.default, Type=ASK_TEXT
            )
            if told is False:
                return None
            found[item.key] = _chosen(str(told), item.choices)
        return found

    def release(self, path: Path) -> None:
        """Close what is open there and was not changed: a job writes it anew."""
        for book in list(self.book.app.books):
            name = str(book.api.FullName)
            if "://" in name or book.name == self.book.name or not book.api.Saved:
                continue
            if Path(name) == path or path in Path(name).parents:
                book.close()

    def open(self, path: Path) -> None:
        """Open a workbook; one of that name that is open already is taken anew if nothing was typed there."""
        for book in self.book.app.books:
            if book.name.lower() == path.name.lower() and book.name != self.book.name:
                if not book.api.Saved:  # what was typed there stays
                    book.api.Activate()
                    return
                book.close()
        _name_for_excel(path)
        opened = self.book.app.books.open(str(path))
        edited(opened)

    def progress(self, done: int, total: int) -> bool:
        """In the status bar; Esc stops."""
        self.book.app.api.StatusBar = self.said(f"dispense: {done} of {total}; Esc stops")
        return not self._is_stopped()

    def write(self, values: Mapping[str, CellValue]) -> None:
        """Values into cells, each column in blocks; nothing is written into a protected sheet."""
        with self._unsaved():
            for sheet, left, rows in _blocks(values):
                page = self.book.sheets[sheet]
                if page.api.ProtectContents:
                    continue
                top = rows[0][0]
                page.range((top, left)).value = [[live_value(value)] for _, value in rows]


def _plain(value: Any) -> CellValue:
    """A cell as plans are read: whole numbers whole, a clock time as a share of the day."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, datetime.datetime):
        moment = value.replace(tzinfo=None)
        return moment if moment >= CLOCK_DAYS else (moment - NO_DATE) / datetime.timedelta(days=1)
    return None if value == "" else value


def _name_for_excel(path: Path) -> None:
    """Our functions in a workbook that a job has just written, named as Excel finds them."""
    package = Package.open(path)
    if respell(package, "excel", OWN):
        atomic_write(path, package.to_bytes())


def _link(book: str, cell: str, file: str) -> str:
    """A formula that leads to a cell of an open workbook, or to a file; "" where there is neither."""
    if file:
        target, words = file, os.path.basename(file)
    elif cell:
        sheet, address = split_sheet(cell)
        inner = f"[{book}]{sheet}".replace("'", "''")
        target, words = f"#'{inner}'!{address}", cell
    else:
        return ""
    if len(target) > LINK_LENGTH:
        return live_value(words)
    return '=HYPERLINK("{}","{}")'.format(*(text.replace('"', '""') for text in (target, words)))


def _prompt(item: Question) -> str:
    if not item.choices:
        return item.label
    return "\n".join(
        [
            f"{item.label}: {translated('a number of this list, or the words')}",
            *(f"{n} {c}" for n, c in _numbered(item)),
        ]
    )


def _numbered(item: Question) -> Iterator[tuple[int, str]]:
    return enumerate(item.choices, 1)


def _chosen(told: str, choices: Sequence[str]) -> str:
    """An answer by its words, or by its number in the list."""
    told = told.strip()
    if told in choices or not told.isdecimal() or not 1 <= int(told) <= len(choices):
        return told
    return choices[int(told) - 1]


def _blocks(values: Mapping[str, CellValue]) -> Iterator[tuple[str, int, list[tuple[int, CellValue]]]]:
    """Cells as blocks of a column: sheet, column, rows that follow one another with their values."""
    cells = []
    for name, value in values.items():
        sheet, address = split_sheet(name)
        row, column = split_cell(address)
        cells.append((sheet or "", column, row, value))
    block: list[tuple[int, CellValue]] = []
    where: tuple[str, int] | None = None
    for sheet, column, row, value in sorted(cells, key=lambda item: item[:3]):
        if where is not None and (where != (sheet, column) or row != block[-1][0] + 1):
            yield *where, block
            block = []
        where = (sheet, column)
        block.append((row, value))
    if where is not None:
        yield *where, block


# ------------------------------------------------------------------------------- what the VBA calls

_DESKS: dict[str, Desk] = {}  # of open workbooks, by the name that Excel knows them by


def _book_of(thing: Any) -> Any:
    """The workbook of xlwings for what the VBA hands over."""
    import xlwings

    if isinstance(thing, xlwings.Book):
        return thing
    from xlwings import _xlwindows as engine

    engine.N_COM_ATTEMPTS = ATTEMPTS
    return xlwings.Book(impl=engine.Book(xl=engine.COMRetryObjectWrapper(thing)))


def desk_of(book: Any) -> Desk:
    """What is remembered of an open workbook: the last answer too."""
    name = str(book.api.FullName)
    if name not in _DESKS:
        _DESKS[name] = Desk(ExcelHost(book))
    return _DESKS[name]


def command(thing: Any, what: str, given: Mapping[str, str] | None = None) -> str:
    """Do what a button asks, on a workbook; what is to be said in a box, "" for nothing."""
    book = _book_of(thing)
    desk = desk_of(book)
    host = desk.host
    assert isinstance(host, ExcelHost)
    host.book = book
    try:
        if what in COMMANDS:
            with keeping(home_folder()):
                run(desk, what, given)
        elif what == "edited":
            edited(book)
        elif what == "saved":
            host.mark(host.marks)
        elif what == "pane":
            words = host.said("Check marks what is wrong in the plan and lists it here.")
            host.show(host.pane or Pane(words))
        else:
            return host.said(f"there is no command {what}")
    except DispenseError as error:
        return str(error)
    except Exception as error:  # whatever it is, the user must read it
        if getattr(error, "hresult", None) == CALL_REJECTED:
            return host.said(BUSY)
        return f"{type(error).__name__}: {error}"
    return ""


def edited(book: Any) -> None:
    """A cell was edited: a sheet on which a station is tried follows."""
    follow(desk_of(book))


def leave() -> None:
    """Excel starts another Python: this one ends when it has answered."""
    import threading

    threading.Timer(1.0, os._exit, (0,)).start()


__all__ = ["ExcelHost", "command", "desk_of", "edited", "leave", "local_copy", "onedrive_folders"]
