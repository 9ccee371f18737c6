"""The menu, the toolbar and the pane in LibreOffice; the work is done by a process that has the package.

This file is loaded by LibreOffice's own Python and imports nothing of the package. It reads cells, lays
outlines over them, asks, shows lines, opens files (`dispense.addin.served` says what is asked and how).
Every call of LibreOffice is made in the thread of its windows: threads here hold plain values only, and come
back through one callback.
"""

import contextlib
import json
import os
import shutil
import subprocess
import tempfile
import threading
import traceback
from collections import deque

import uno
import unohelper
from com.sun.star.awt import XActionListener, XCallback, XItemListener, XWindowListener
from com.sun.star.beans import PropertyValue
from com.sun.star.document import XDocumentEventListener
from com.sun.star.frame import FeatureStateEvent, XDispatch, XDispatchProvider
from com.sun.star.lang import XInitialization, XServiceInfo
from com.sun.star.ui import LayoutSize, XSidebarPanel, XToolPanel, XUIElement, XUIElementFactory
from com.sun.star.util import XModifyListener
from dispense_errors import ERROR_TEXTS  # beside this file's `pythonpath` in the extension

MENU = "dispense.calc.Menu"
PANELS = "dispense.calc.Panels"
PROTOCOL = "dispense.planner:"
TOLD = "told"  # no entry of the menu: asked by programs that want to know what the pane says
DECK = "DispenseDeck"
MARK = "dispense mark"  # the name of an outline begins so; its kind follows
MOST_MARKS = 400
PAUSE = 0.05  # s after the last edit before the plan is looked at
WIDTH = 60  # of an outline, in hundredths of a millimetre
COLOURS = {"danger": 0xC00000, "stop": 0xC00000, "quality": 0xD07000}
SIGNS = {"danger": "▲ ", "stop": "■ ", "quality": "● ", "note": ""}
DATES, FORMULAS, ERRORS = 2, 16, 4  # com.sun.star.sheet.CellFlags.DATETIME, FORMULA, FormulaResult.ERROR
EXCEL = 1  # com.sun.star.sheet.AddressConvention.XL_A1
SERVICE = "DISPENSE."  # before the names of the functions, as files hold them
MOST_FORMULAS = 400
HERE = os.path.dirname(os.path.abspath(__file__))
WORDS_FILE = os.path.join(HERE, "words.json")
WORDS: dict[str, dict[str, str]] = {}  # by the code of a language, from English; read once
LOG = os.path.join(tempfile.gettempdir(), f"dispense-menu-{os.getpid()}.log")  # what went wrong


def windows_language():
    """The code of the language that the windows speak: "de", "en-US"."""
    provider = create("com.sun.star.configuration.ConfigurationProvider")
    where = property_value("nodepath", "/org.openoffice.Setup/L10N")
    node = "com.sun.star.configuration.ConfigurationAccess"
    return str(provider.createInstanceWithArguments(node, (where,)).getByName("ooLocale") or "")


def said(text):
    """One of the texts of this file in the language of the windows; `words.json` has them all."""
    if not WORDS:
        with contextlib.suppress(OSError, ValueError), open(WORDS_FILE, encoding="utf-8") as file:
            WORDS.update(json.load(file))
    return WORDS.get(windows_language().split("-")[0], {}).get(text, text)


def property_value(name, value):
    item = PropertyValue()
    item.Name, item.Value = name, value
    return item


def letters(column):
    """The letters of a column counted from 0."""
    text, column = "", column + 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def block(address):
    """A range as text: A1:B7."""
    first = f"{letters(address.StartColumn)}{address.StartRow + 1}"
    return f"{first}:{letters(address.EndColumn)}{address.EndRow + 1}"


# ------------------------------------------------------------------------------------- the process


class Planner:
    """The process that has the package: started with the first command, one for all workbooks."""

    def __init__(self):
        self.process = None
        self.lock = threading.Lock()

    def command(self):
        with contextlib.suppress(OSError, ValueError), open(os.path.join(HERE, "planner.json")) as file:
            command = json.load(file)
            if command and os.path.exists(command[0]):
                return command
        found = os.environ.get("DISPENSE_COMMAND") or shutil.which("dispense")
        return [found, "addin", "serve", "--host", "calc"] if found else None

    def start(self):
        if self.process is not None and self.process.poll() is None:
            return
        command = self.command()
        if command is None:
            raise RuntimeError(
                said(
                    "the menu works through the program dispense, which was not found. Install it for Python "
                    "3.11 or newer and run there: dispense addin install --host calc"
                )
            )
        kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
        kept["PYTHONIOENCODING"] = "utf-8"
        hidden = {"creationflags": subprocess.CREATE_NO_WINDOW} if os.name == "nt" else {}
        with open(LOG, "a", encoding="utf-8") as errors:
            self.process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
                encoding="utf-8",
                env=kept,
                **hidden,
            )
        threading.Thread(target=self.listen, args=(self.process,), daemon=True).start()

    def listen(self, process):
        """In a thread: hand each message to the thread of the windows. No object of LibreOffice is held."""
        for line in process.stdout:
            with contextlib.suppress(ValueError):
                INBOX.append(json.loads(line))
                wake()
        INBOX.append({"gone": process.pid})
        wake()

    def tell(self, message):
        self.start()
        with self.lock:
            self.process.stdin.write(json.dumps(message) + "\n")
            self.process.stdin.flush()


PLANNER = Planner()
INBOX: deque[dict] = deque()  # messages of the process, and books whose cells were edited
BOOKS: dict[str, object] = {}  # what is open and was asked for, by the document's own number
STATE: dict[str, object] = {}  # "caller": the AsyncCallback; "context"


class Waker(unohelper.Base, XCallback):
    """Runs in the thread of the windows."""

    def notify(self, data):
        while INBOX:
            message = INBOX.popleft()
            try:
                receive(message)
            except Exception:  # one bad message must not stop the rest
                log(traceback.format_exc())


WAKER = Waker()


def wake():
    caller = STATE.get("caller")
    if caller is not None:
        caller.addCallback(WAKER, None)


def prepare(context):
    """Once, in the thread of the windows."""
    STATE["context"] = context
    if "caller" not in STATE:
        STATE["caller"] = create("com.sun.star.awt.AsyncCallback")


def create(service):
    context = STATE["context"]
    return context.ServiceManager.createInstanceWithContext(service, context)


def log(text):
    with contextlib.suppress(OSError), open(LOG, "a", encoding="utf-8") as file:
        file.write(text + "\n")


def receive(message):
    """One message of the process, or an edit that was waited for."""
    if "edited" in message:
        if message["edited"] in BOOKS:
            BOOKS[message["edited"]].look()
        return
    if "gone" in message:
        for book in list(BOOKS.values()):
            book.end_progress()
        return
    if "ask" not in message:
        return
    answer = {"answer": message["ask"]}
    book = BOOKS.get(message["book"])
    try:
        if book is None:
            raise RuntimeError(said("the workbook was closed"))
        answer["value"] = getattr(book, "do_" + message["what"])(message.get("value"))
    except Exception as error:  # the other side must not wait for ever
        log(traceback.format_exc())
        answer["error"] = str(getattr(error, "Message", "") or error)
    PLANNER.tell(answer)


# ---------------------------------------------------------------------------------------- a workbook


def book_of(document):
    """The book of an open document."""
    key = document.RuntimeUID
    if key not in BOOKS:
        BOOKS[key] = Book(document, key)
    return BOOKS[key]


@contextlib.contextmanager
def unseen(document):
    """Work that leaves no undo step and does not make the document a changed one.

    One change of a cell or a shape at a time: many a change ends the lock by itself, and a step is kept
    of the next. The lock is taken off all the same, or no later one would hold.
    """
    document.disableSetModified()
    document.UndoManager.lock()
    try:
        yield
    finally:
        with contextlib.suppress(Exception):  # where it is no longer known
            document.UndoManager.unlock()
        document.enableSetModified()


def is_typed_in(document):
    """Whether a document holds edits that are not saved: a chart drawn as it opens changes it too."""
    return document.isModified() and document.UndoManager.isUndoPossible()


class Book(unohelper.Base, XModifyListener, XDocumentEventListener):
    """One open spreadsheet document that was asked for."""

    def __init__(self, document, key):
        self.document, self.key = document, key
        self.pane = {
            "headline": said("Check marks what is wrong in the plan and lists it here."),
            "lines": [],
        }
        self.panels = []
        self.marks = []
        self.seen = {}  # by the name of a sheet: how many shapes it had, and which of them are outlines
        self.timer = None
        self.bar = None
        self.is_stopped = False
        document.addModifyListener(self)
        document.addDocumentEventListener(self)

    # -- what the user asks

    def send(self, do, given=None):
        """Ask the process for something."""
        self.is_stopped = False
        url = self.document.URL
        place = uno.fileUrlToSystemPath(url) if url.startswith("file:") else None
        message = {"do": do, "book": self.key, "place": place, "given": given or {}}
        PLANNER.tell(message | {"language": windows_language()})

    def look(self):
        """Some time after the last edit."""
        with contextlib.suppress(RuntimeError):
            self.send("changed")

    # -- what LibreOffice tells

    def modified(self, event):
        if self.timer is not None:
            self.timer.cancel()
        key = self.key

        def edited():
            INBOX.append({"edited": key})
            wake()

        self.timer = threading.Timer(PAUSE, edited)
        self.timer.daemon = True
        self.timer.start()

    def documentEventOccured(self, event):
        name = event.EventName
        if name in ("OnSave", "OnSaveAs", "OnCopyTo", "OnPrint"):
            self.erase()
        elif name in (
            "OnSaveDone",
            "OnSaveAsDone",
            "OnCopyToDone",
            "OnSaveFailed",
            "OnSaveAsFailed",
            "OnCopyToFailed",
        ):
            self.draw()

    def disposing(self, event):
        if self.timer is not None:
            self.timer.cancel()
        if BOOKS.pop(self.key, None) is not None and PLANNER.process is not None:
            with contextlib.suppress(Exception):
                PLANNER.tell({"do": "closed", "book": self.key})

    # -- what the process asks

    def do_read(self, _):
        tables = {}  # by the number of their sheet: each is asked once, and not again for every sheet
        for table in self.document.DatabaseRanges:
            area = table.DataArea
            if table.ContainsHeader:
                tables.setdefault(area.Sheet, {})[table.Name] = block(area)
        return [self.sheet(item, tables.get(number, {})) for number, item in enumerate(self.document.Sheets)]

    def sheet(self, sheet, tables):
        cursor = sheet.createCursor()
        cursor.gotoEndOfUsedArea(False)
        end = cursor.RangeAddress
        area = sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow)
        rows = [list(row) for row in area.getDataArray()]
        for found in area.queryFormulaCells(ERRORS):
            place = found.RangeAddress
            for row in range(place.StartRow, place.EndRow + 1):
                for column in range(place.StartColumn, place.EndColumn + 1):
                    error = sheet.getCellByPosition(column, row).getError()
                    rows[row][column] = ERROR_TEXTS.get(error, "#VALUE!")
        dates = [block(found) for found in area.queryContentCells(DATES).RangeAddresses]
        return {"name": sheet.Name, "rows": rows, "dates": dates, "tables": tables}

    def do_formulas(self, _):
        found = []
        for number, sheet in enumerate(self.document.Sheets):
            for area in sheet.queryContentCells(FORMULAS):
                top, left = area.RangeAddress.StartRow, area.RangeAddress.StartColumn
                for down, row in enumerate(area.getFormulaArray()):
                    for right, text in enumerate(row):
                        if SERVICE in text and len(found) < MOST_FORMULAS:
                            found.append(self.formula(sheet, number, left + right, top + down))
        return found

    def formula(self, sheet, number, column, row):
        """A cell's formula as Excel writes it, and its error."""
        cell = sheet.getCellByPosition(column, row)
        text = self.parser().printFormula(cell.getTokens(), cell.CellAddress)
        number = cell.getError()
        error = ERROR_TEXTS.get(number, "#VALUE!") if number else ""
        text = "=" + separated(text, ";", ",")
        return {"cell": f"{sheet.Name}!{letters(column)}{row + 1}", "text": text, "error": error}

    def parser(self):
        """Formulas in English with the references of Excel."""
        parser = self.document.createInstance("com.sun.star.sheet.FormulaParser")
        parser.CompileEnglish = True
        parser.FormulaConvention = EXCEL
        return parser

    def do_rewrite(self, formulas):
        """In one undo step; what gives another value by it is put back."""
        changed = []
        self.document.UndoManager.enterUndoContext(said("Whole columns"))
        try:
            for name, text in formulas.items():
                cell = self.cell(name)
                if cell.Spreadsheet.isProtected() or cell.getFormula().startswith("{"):
                    continue  # an array formula is another range's
                before, old = (cell.Value, cell.String), cell.getTokens()
                cell.setTokens(self.parser().parseFormula(separated(text[1:], ",", ";"), cell.CellAddress))
                if (cell.Value, cell.String) == before and not cell.getError():
                    changed.append(name)
                else:
                    cell.setTokens(old)
        finally:
            self.document.UndoManager.leaveUndoContext()
        return changed

    def do_mark(self, marks):
        self.marks = marks[:MOST_MARKS]
        self.draw()

    def do_show(self, pane):
        self.end_progress()
        self.pane = pane
        if pane["lines"]:
            self.show_deck()
        for panel in list(self.panels):
            panel.refresh()

    def do_ask(self, value):
        return ask(self.frame(), value["title"], value["questions"])

    def do_release(self, path):
        """A job writes it anew; what was typed there and not saved stays."""
        url = uno.systemPathToFileUrl(path)
        for document in list(create("com.sun.star.frame.Desktop").Components):
            address = getattr(document, "URL", "")
            is_there = address == url or address.startswith(url + "/")
            if is_there and document is not self.document and not is_typed_in(document):
                document.close(True)

    def do_open(self, path):
        url = uno.systemPathToFileUrl(path)
        desktop = create("com.sun.star.frame.Desktop")
        for document in desktop.Components:
            if getattr(document, "URL", "") == url and document is not self.document:
                if is_typed_in(document):
                    break  # what was typed there stays: LibreOffice shows that window
                document.close(True)
        opened = desktop.loadComponentFromURL(url, "_blank", 0, (property_value("Hidden", self.is_hidden()),))
        if opened is not None and hasattr(opened, "Sheets"):
            book_of(opened).look()

    def do_progress(self, value):
        if self.bar is None:
            frame = self.frame()
            if frame is not None:
                self.bar = frame.createStatusIndicator()
                self.bar.start("dispense", value["total"])
        if self.bar is not None:
            self.bar.setValue(value["done"])
        return not self.is_stopped

    def end_progress(self):
        if self.bar is not None:
            self.bar.end()
            self.bar = None

    def do_write(self, values):
        """Blocks of a column at a time; nothing is written into a protected sheet."""
        blocks = {}
        for name, value in values.items():
            sheet, _, cell = name.rpartition("!")
            column = cell.rstrip("0123456789")
            blocks.setdefault((sheet, column), {})[int(cell[len(column) :])] = value
        for (sheet, column), cells in blocks.items():
            page = self.document.Sheets.getByName(sheet)
            if page.isProtected():
                continue
            for first, run in runs(cells):
                area = page.getCellRangeByName(f"{column}{first}:{column}{first + len(run) - 1}")
                for place, ((there,), value) in enumerate(
                    zip(area.getDataArray(), map(plain, run), strict=False)
                ):
                    if there != value:
                        self.put(area.getCellByPosition(0, place), value)
        self.redraw_charts()

    def put(self, cell, value):
        """A value into a cell; an array of values at once would leave an undo step, whatever is locked."""
        with unseen(self.document):
            if isinstance(value, float):
                cell.setValue(value)
            else:
                cell.setString(value)

    def redraw_charts(self):
        """A chart does not see what is written while nothing counts as a change."""
        was_modified = self.document.isModified()
        for sheet in self.document.Sheets:
            for name in sheet.Charts.ElementNames:
                with contextlib.suppress(Exception):  # a chart that cannot be drawn anew stays as it is
                    chart = sheet.Charts.getByName(name).EmbeddedObject
                    was_changed = chart.isModified()
                    chart.setModified(True)
                    chart.setModified(was_changed)  # or the document would be a changed one with it
        if not was_modified:
            self.document.setModified(False)

    # -- marks

    def cell(self, name):
        sheet, _, address = name.rpartition("!")
        sheet = sheet[1:-1].replace("''", "'") if sheet.startswith("'") else sheet
        return self.document.Sheets.getByName(sheet).getCellRangeByName(address).getCellByPosition(0, 0)

    def wanted(self):
        found = {}
        for mark in self.marks:
            with contextlib.suppress(Exception):  # a sheet that was renamed meanwhile
                place = self.cell(mark["cell"]).CellAddress
                found[place.Sheet, place.Column, place.Row] = mark
        return found

    def drawn(self):
        """The outlines that are seen.

        Each note is a shape too, and slow to be asked for its name: a sheet that has as many shapes as it
        was left with is not looked through again.
        """
        found = []
        for number, sheet in enumerate(self.document.Sheets):
            count, shapes = self.seen.get(sheet.Name, (0, []))
            try:
                if sheet.DrawPage.Count != count:
                    raise LookupError
                visible = [shape for shape in shapes if shape.Visible]
            except Exception:  # others came or went, or one of ours is no more
                shapes = [shape for shape in sheet.DrawPage if shape.Name.startswith(MARK)]
                self.seen[sheet.Name] = sheet.DrawPage.Count, shapes
                visible = [shape for shape in shapes if shape.Visible]
            found += [(number, sheet, shape) for shape in visible]
        return found

    def draw(self):
        """Outlines round the marked cells and no others."""
        wanted = self.wanted()
        there = {}
        for number, _, shape in self.drawn():
            anchor = shape.Anchor
            if hasattr(anchor, "CellAddress"):
                place = anchor.CellAddress
                there[number, place.Column, place.Row] = shape.Name
        if there == {place: f"{MARK} {mark['kind']}" for place, mark in wanted.items()}:
            return
        self.erase()
        for (number, column, row), mark in wanted.items():
            sheet = self.document.Sheets.getByIndex(number)
            with unseen(self.document):
                self.outlined(
                    sheet, outline(self.document, sheet, sheet.getCellByPosition(column, row), mark)
                )

    def outlined(self, sheet, shape):
        """Remember an outline that was drawn."""
        _, shapes = self.seen.get(sheet.Name, (0, []))
        self.seen[sheet.Name] = sheet.DrawPage.Count, [*shapes, shape]

    def remove(self, sheet, shape):
        """Take an outline away, and forget it."""
        sheet.DrawPage.remove(shape)
        _, shapes = self.seen.get(sheet.Name, (0, []))
        self.seen[sheet.Name] = sheet.DrawPage.Count, [other for other in shapes if other is not shape]

    def erase(self):
        """Take the outlines away. An undo step may point to them: then they go in a step joined to it."""
        shapes = [(sheet, shape) for _, sheet, shape in self.drawn()]
        if not shapes:
            return
        manager = self.document.UndoManager
        if manager.isUndoPossible():
            self.document.disableSetModified()
            manager.enterHiddenUndoContext()
            try:
                for sheet, shape in shapes:
                    self.remove(sheet, shape)
            finally:
                manager.leaveUndoContext()
                self.document.enableSetModified()
            return
        for sheet, shape in shapes:
            with unseen(self.document):
                if manager.isRedoPossible():
                    shape.Visible = False
                else:
                    self.remove(sheet, shape)

    # -- windows

    def frame(self):
        controller = self.document.CurrentController
        return None if controller is None else controller.Frame

    def is_hidden(self):
        frame = self.frame()
        return frame is None or not frame.ContainerWindow.isVisible()

    def show_deck(self):
        frame = self.frame()
        if frame is None or self.panels:
            return
        with contextlib.suppress(Exception):
            helper = create("com.sun.star.frame.DispatchHelper")
            helper.executeDispatch(frame, ".uno:SidebarDeck." + DECK, "", 0, ())

    def jump(self, line):
        """To the cell of a line of the pane, or to its file."""
        if line.get("file"):
            self.do_open(line["file"])
        elif line.get("cell"):
            with contextlib.suppress(Exception):
                self.document.CurrentController.select(self.cell(line["cell"]))


def separated(formula, old, new):
    """A formula with another sign between arguments; texts, names of sheets and {lists} stay as they are."""
    found, until = [], ""
    for sign in formula:
        if until:
            until = "" if sign == until else until
        else:
            until = {'"': '"', "'": "'", "{": "}"}.get(sign, "")
        found.append(new if sign == old and not until else sign)
    return "".join(found)


def runs(cells):
    """Values by row as blocks of rows that follow one another."""
    rows = sorted(cells)
    start = 0
    for place in range(1, len(rows) + 1):
        if place == len(rows) or rows[place] != rows[place - 1] + 1:
            yield rows[start], [cells[row] for row in rows[start:place]]
            start = place


def plain(value):
    return "" if value is None else float(value) if isinstance(value, int | float) else str(value)


def outline(document, sheet, cell, mark):
    """A rectangle over a cell that neither prints nor catches the mouse inside."""
    shape = document.createInstance("com.sun.star.drawing.RectangleShape")
    shape.Position, shape.Size = cell.Position, cell.Size
    sheet.DrawPage.add(shape)
    shape.Name = f"{MARK} {mark['kind']}"
    shape.Title, shape.Description = mark["kind"], mark["text"]
    shape.Printable = False
    shape.LayerID = 0
    shape.FillStyle = uno.Enum("com.sun.star.drawing.FillStyle", "NONE")
    shape.LineColor = COLOURS.get(mark["kind"], COLOURS["quality"])
    shape.LineWidth = WIDTH if mark["kind"] == "quality" else 2 * WIDTH
    shape.MoveProtect = shape.SizeProtect = True
    shape.Anchor = cell
    return shape


# ------------------------------------------------------------------------------------------- asking

MARGIN, LINE, LABEL, FIELD = 6, 16, 60, 150  # of a dialog, in its own units


class Chooser(unohelper.Base, XActionListener):
    """A button that lets the user pick files into a field."""

    def __init__(self, dialog, name):
        self.dialog, self.name = dialog, name

    def actionPerformed(self, event):
        picker = create("com.sun.star.ui.dialogs.FilePicker")
        picker.setMultiSelectionMode(True)
        if picker.execute():
            paths = [uno.fileUrlToSystemPath(url) for url in picker.getSelectedFiles()]
            self.dialog.getControl(self.name).Text = "\n".join(paths)

    def disposing(self, event):
        pass


def ask(frame, title, questions):
    """A dialog with all questions; the answers by key, None where it was left."""
    model = create("com.sun.star.awt.UnoControlDialogModel")
    model.Title = title
    model.Width = 3 * MARGIN + LABEL + FIELD
    y = MARGIN

    def put(kind, name, x, width, height=14, **properties):
        item = model.createInstance(f"com.sun.star.awt.UnoControl{kind}Model")
        item.PositionX, item.PositionY, item.Width, item.Height, item.Name = x, y, width, height, name
        for key, value in properties.items():
            setattr(item, key, value)
        model.insertByName(name, item)

    for number, question in enumerate(questions):
        put("FixedText", f"label{number}", MARGIN, LABEL, Label=question["label"])
        x = 2 * MARGIN + LABEL
        if question["choices"]:
            choices = question["choices"]
            chosen = choices.index(question["default"]) if question["default"] in choices else 0
            put("ListBox", f"field{number}", x, FIELD, Dropdown=True, LineCount=12)
            item = model.getByName(f"field{number}")
            item.StringItemList = tuple(choices)
            item.SelectedItems = (chosen,)
        elif question["kind"] == "files":
            put("Edit", f"field{number}", x, FIELD - 40, 40, MultiLine=True)
            put("Button", f"button{number}", x + FIELD - 36, 36, Label=said("Choose…"))
            y += 26
        else:
            put("Edit", f"field{number}", x, FIELD, Text=question["default"])
        y += LINE + 2
    y += MARGIN
    right = model.Width - MARGIN - 50
    put("Button", "ok", right - 56, 50, Label="OK", PushButtonType=1, DefaultButton=True)
    put("Button", "back", right, 50, Label=said("Cancel"), PushButtonType=2)
    model.Height = y + LINE + MARGIN
    dialog = create("com.sun.star.awt.UnoControlDialog")
    dialog.setModel(model)
    for number, question in enumerate(questions):
        if question["kind"] == "files" and not question["choices"]:
            dialog.getControl(f"button{number}").addActionListener(Chooser(dialog, f"field{number}"))
    window = frame.ContainerWindow if frame is not None else None
    dialog.createPeer(create("com.sun.star.awt.Toolkit"), window)
    if window is not None:
        around, own = window.PosSize, dialog.PosSize
        x, y = (around.Width - own.Width) // 2, (around.Height - own.Height) // 3
        dialog.setPosSize(max(x, 0), max(y, 0), 0, 0, 3)  # com.sun.star.awt.PosSize.POS
    answers = None
    if dialog.execute() == 1:
        answers = {}
        for number, question in enumerate(questions):
            field = dialog.getControl(f"field{number}")
            answers[question["key"]] = field.getSelectedItem() if question["choices"] else field.Text
    dialog.dispose()
    return answers


# --------------------------------------------------------------------------------- menu and toolbar


class Menu(unohelper.Base, XDispatchProvider, XDispatch, XInitialization, XServiceInfo):
    """The commands of one window."""

    def __init__(self, context):
        prepare(context)
        self.frame = None

    def initialize(self, arguments):
        self.frame = arguments[0] if arguments else None

    def queryDispatch(self, url, target, flags):
        return self if url.Complete.startswith(PROTOCOL) else None

    def queryDispatches(self, requests):
        return tuple(
            self.queryDispatch(item.FeatureURL, item.FrameName, item.SearchFlags) for item in requests
        )

    def dispatch(self, url, arguments):
        try:
            document = self.frame.Controller.Model
            book = book_of(document)
            name = url.Complete[len(PROTOCOL) :]
            if name == "stop":
                book.is_stopped = True
            elif name == "pane":
                book.show_deck()
            else:
                book.send(name, {item.Name: str(item.Value) for item in arguments if item.Name.islower()})
        except Exception as error:  # the user must read why nothing happens
            log(traceback.format_exc())
            self.say(str(getattr(error, "Message", "") or error))

    def say(self, text):
        window = self.frame.ContainerWindow if self.frame is not None else None
        if window is None or not window.isVisible():
            return
        kind = uno.Enum("com.sun.star.awt.MessageBoxType", "ERRORBOX")
        toolkit = create("com.sun.star.awt.Toolkit")
        toolkit.createMessageBox(window, kind, 1, "dispense", text).execute()

    def addStatusListener(self, listener, url):
        """Tells once; the state of `TOLD` is what stands in the pane. An entry's state would be its label."""
        event = FeatureStateEvent()
        event.Source, event.FeatureURL, event.IsEnabled = self, url, True
        if url.Complete == PROTOCOL + TOLD:
            document = self.frame.Controller.Model if self.frame is not None else None
            book = BOOKS.get(document.RuntimeUID) if document is not None else None
            pane = book.pane if book is not None else {"headline": "", "lines": []}
            event.State = "\n".join([pane["headline"], *map(short, pane["lines"])])
        listener.statusChanged(event)

    def removeStatusListener(self, listener, url):
        pass

    def getImplementationName(self):
        return MENU

    def supportsService(self, name):
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self):
        return ("com.sun.star.frame.ProtocolHandler",)


# ------------------------------------------------------------------------------------------ the pane


class Panels(unohelper.Base, XUIElementFactory, XServiceInfo):
    """Makes the pane of a window."""

    def __init__(self, context):
        prepare(context)

    def createUIElement(self, url, arguments):
        given = {item.Name: item.Value for item in arguments}
        return Panel(url, given["Frame"], given["ParentWindow"])

    def getImplementationName(self):
        return PANELS

    def supportsService(self, name):
        return name == PANELS

    def getSupportedServiceNames(self):
        return (PANELS,)


class Panel(
    unohelper.Base, XUIElement, XToolPanel, XSidebarPanel, XWindowListener, XItemListener, XActionListener
):
    """A headline, a list whose lines lead to their cells, the text of the chosen line, buttons."""

    def __init__(self, url, frame, parent):
        self.ResourceURL, self.Frame, self.Type = url, frame, 7  # com.sun.star.ui.UIElementType.TOOLPANEL
        self.parent = parent
        provider = create("com.sun.star.awt.ContainerWindowProvider")
        here = uno.systemPathToFileUrl(os.path.join(HERE, "empty.xdl"))
        self.window = provider.createContainerWindow(here, "", parent, None)
        self.controls = {}
        for name, kind, properties in (
            ("headline", "FixedText", {"MultiLine": True, "NoLabel": True}),
            ("list", "ListBox", {"Dropdown": False}),
            ("text", "Edit", {"MultiLine": True, "ReadOnly": True, "VScroll": True}),
            ("check", "Button", {"Label": said("Check")}),
            ("stop", "Button", {"Label": said("Stop")}),
        ):
            model = create(f"com.sun.star.awt.UnoControl{kind}Model")
            for key, value in properties.items():
                setattr(model, key, value)
            control = create(f"com.sun.star.awt.UnoControl{kind}")
            control.setModel(model)
            self.window.addControl(name, control)
            self.controls[name] = control
        self.controls["list"].addItemListener(self)
        for name in ("check", "stop"):
            self.controls[name].setActionCommand(name)
            self.controls[name].addActionListener(self)
        parent.addWindowListener(self)
        self.window.setVisible(True)
        self.book = book_of(frame.Controller.Model)
        self.book.panels.append(self)
        self.arrange()
        self.refresh()

    def refresh(self):
        """Show what the book has to say."""
        pane = self.book.pane
        self.controls["headline"].Text = pane["headline"]
        names = [SIGNS.get(line["kind"], "") + short(line) for line in pane["lines"]]
        self.controls["list"].Model.StringItemList = tuple(names)
        self.controls["text"].Text = (
            said("the lines of the pane lead to their cells") if pane["lines"] else ""
        )

    def arrange(self):
        size = self.parent.PosSize
        width, height, gap = size.Width, size.Height, 6
        across = max(width - 2 * gap, 20)
        rest = max(height - 40 - 28 - 110 - 5 * gap, 60)
        self.window.setPosSize(0, 0, width, height, 15)
        y = gap
        for name, high in (("headline", 40), ("list", rest), ("text", 110)):
            self.controls[name].setPosSize(gap, y, across, high, 15)
            y += high + gap
        half = (across - gap) // 2
        self.controls["check"].setPosSize(gap, y, half, 28, 15)
        self.controls["stop"].setPosSize(2 * gap + half, y, half, 28, 15)

    # -- what the user does

    def itemStateChanged(self, event):
        place = self.controls["list"].getSelectedItemPos()
        if 0 <= place < len(self.book.pane["lines"]):
            line = self.book.pane["lines"][place]
            self.controls["text"].Text = line["text"]
            self.book.jump(line)

    def actionPerformed(self, event):
        if event.ActionCommand == "stop":
            self.book.is_stopped = True
        else:
            try:
                self.book.send(event.ActionCommand)
            except Exception as error:
                self.controls["text"].Text = str(error)

    # -- what LibreOffice asks

    def windowResized(self, event):
        self.arrange()

    def windowMoved(self, event):
        pass

    def windowShown(self, event):
        self.arrange()

    def windowHidden(self, event):
        pass

    def disposing(self, event):
        with contextlib.suppress(ValueError):
            self.book.panels.remove(self)

    def getRealInterface(self):
        return self

    def createAccessible(self, parent):
        return None

    @property
    def Window(self):
        return self.window

    def getWindow(self):
        return self.window

    def getHeightForWidth(self, width):
        size = LayoutSize()
        size.Minimum, size.Maximum, size.Preferred = 260, -1, 420
        return size

    def getMinimalWidth(self):
        return 220


def short(line):
    """A line of the list: its cell first, then what is the matter."""
    text = line["text"].splitlines()[0]
    return f"{line['cell']}: {text}" if line["cell"] and not text.startswith(line["cell"]) else text


g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(Menu, MENU, ("com.sun.star.frame.ProtocolHandler",))
g_ImplementationHelper.addImplementation(Panels, PANELS, (PANELS,))
