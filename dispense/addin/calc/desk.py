"""Work with documents in a headless LibreOffice, one JSON request a line on standard input.

Run by LibreOffice's Python: desk.py SOFFICE PROFILE-URL [FILE ...]. `dispense.addin.calc.session` is
the other side. A request is [method, argument, ...] of `Desk`; the answer is {"ok": value} or
{"error": text}.
"""

import json
import pathlib
import struct
import sys
import time

import uno  # noqa: F401  (makes com.sun.star importable)
import unohelper
from com.sun.star.beans import PropertyValue
from com.sun.star.frame import XStatusListener
from com.sun.star.util import URL
from dispense_errors import ERROR_TEXTS
from manage import PATIENCE, start, stop

FILTERS = {".xlsx": "Calc MS Excel 2007 XML", ".ods": "calc8", ".pdf": "calc_pdf_Export"}


def _property(name, value):
    item = PropertyValue()
    item.Name, item.Value = name, value
    return item


def _url(text):
    url = URL()
    url.Complete = text
    return url


def _content(cell):
    """A cell's value: number, text, None, or {"error": …}."""
    number = cell.getError()
    if number:
        return {"error": ERROR_TEXTS.get(number, f"Err:{number}")}
    kind = cell.Type.value
    if kind == "EMPTY":
        return None
    if kind == "TEXT":
        return cell.String
    if kind == "FORMULA" and cell.FormulaResultType2 == 2:  # com.sun.star.sheet.FormulaResult
        return cell.String
    return cell.Value


class Heard(unohelper.Base, XStatusListener):
    """What a command of a window says of itself."""

    state = None

    def statusChanged(self, event):
        self.state = event.State

    def disposing(self, event):
        pass


class Desk:
    """The requests."""

    def __init__(self, context):
        self.context = context
        self.document = None
        self.desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)

    def open(self, path=None, hidden=True):
        """Open a file, or a new spreadsheet; the one before is closed."""
        self.close()
        url = pathlib.Path(path).resolve().as_uri() if path else "private:factory/scalc"
        self.document = self.desktop.loadComponentFromURL(url, "_blank", 0, (_property("Hidden", hidden),))
        if self.document is None:
            raise ValueError(f"cannot be opened: {path}")

    def switch(self, address):
        """Go on with another document that is open."""
        self.document = {item.URL: item for item in self.desktop.Components}[address]

    def documents(self):
        """Addresses of what is open."""
        return [document.URL for document in self.desktop.Components]

    def close(self):
        if self.document is not None:
            self.document.close(True)
            self.document = None

    def save(self, path):
        """Store a copy in the format that the name's ending says."""
        target = pathlib.Path(path).resolve()
        self.document.storeToURL(target.as_uri(), (_property("FilterName", FILTERS[target.suffix]),))

    def sheets(self):
        return list(self.document.Sheets.ElementNames)

    def _range(self, address):
        name, _, cells = address.rpartition("!")
        sheets = self.document.Sheets
        sheet = sheets.getByName(name.strip("'")) if name else sheets.getByIndex(0)
        return sheet.getCellRangeByName(cells)

    def used(self, sheet):
        """The address of a sheet's used area: last column and row, from 0."""
        cursor = self.document.Sheets.getByName(sheet).createCursor()
        cursor.gotoEndOfUsedArea(False)
        return [cursor.RangeAddress.EndColumn, cursor.RangeAddress.EndRow]

    def set(self, address, value):
        """A number, a text, or a formula in the notation of files (English, `;` or `,`)."""
        cell = self._range(address)
        if isinstance(value, str) and value.startswith("="):
            cell.setFormula(value)
        elif isinstance(value, str):
            cell.setString(value)
        elif value is None:
            cell.setString("")
            cell.clearContents(1 | 2 | 4 | 16)
        else:
            cell.setValue(float(value))

    def type(self, address, text):
        """Enter a text as a user types it, in the language of the program."""
        self._range(address).FormulaLocal = text

    def array(self, address, formula):
        self._range(address).setArrayFormula(formula)

    def fill(self, address, rows):
        """Set a block of formulas or values; the seconds it took."""
        cells = self._range(address)
        begin = time.perf_counter()
        cells.setFormulaArray(tuple(tuple(row) for row in rows))
        return time.perf_counter() - begin

    def get(self, address):
        """Rows of contents."""
        cells = self._range(address)
        size = cells.RangeAddress
        return [
            [_content(cells.getCellByPosition(i, j)) for i in range(size.EndColumn - size.StartColumn + 1)]
            for j in range(size.EndRow - size.StartRow + 1)
        ]

    def formulas(self, address):
        return [list(row) for row in self._range(address).getFormulaArray()]

    def errors(self):
        """Every formula cell in error: sheet, column, row from 0, error, formula."""
        found = []
        for sheet in self.document.Sheets:
            for block in sheet.queryFormulaCells(4):  # com.sun.star.sheet.FormulaResult.ERROR
                area = block.RangeAddress
                for row in range(area.StartRow, area.EndRow + 1):
                    for column in range(area.StartColumn, area.EndColumn + 1):
                        cell = sheet.getCellByPosition(column, row)
                        found.append([sheet.Name, column, row, _content(cell)["error"], cell.Formula])
        return found

    def calculate(self):
        """Recalculate every formula; the seconds it took."""
        begin = time.perf_counter()
        self.document.calculateAll()
        return time.perf_counter() - begin

    def recalculate(self, address):
        """The same as a user's key does, in the thread of the windows; the seconds it took.

        The cell holds =RAND(): a new number in it tells the end. The document may not be hidden.
        """
        cell = self._range(address)
        before = cell.Value
        frame = self.document.CurrentController.Frame
        url = self.context.ServiceManager.createInstanceWithContext(
            "com.sun.star.util.URLTransformer", self.context
        ).parseStrict(_url(".uno:CalculateHard"))[1]
        key = frame.queryDispatch(url, "", 0)
        begin = time.perf_counter()
        key.dispatch(url, (_property("SynchronMode", False),))
        while cell.Value == before:  # waits in there while formulas are computed
            if time.perf_counter() > begin + 600:
                raise TimeoutError("the recalculation does not end")
            time.sleep(0.001)
        return time.perf_counter() - begin

    def _dispatch(self, name):
        url = self.context.ServiceManager.createInstanceWithContext(
            "com.sun.star.util.URLTransformer", self.context
        ).parseStrict(_url(name))[1]
        return self.document.CurrentController.Frame.queryDispatch(url, "", 0), url

    def command(self, name, given=None):
        """What an entry of a menu does, in the thread of this connection; the document may not be hidden."""
        found, url = self._dispatch(name)
        found.dispatch(url, tuple(_property(key, value) for key, value in (given or {}).items()))

    def configure(self, node, name, value):
        """Set what the program's configuration says; what it said before."""
        provider = self.context.ServiceManager.createInstanceWithContext(
            "com.sun.star.configuration.ConfigurationProvider", self.context
        )
        access = provider.createInstanceWithArguments(
            "com.sun.star.configuration.ConfigurationUpdateAccess", (_property("nodepath", node),)
        )
        before = access.getByName(name)
        access.replaceByName(name, value)
        access.commitChanges()
        return before

    def state(self, name):
        """What an entry of a menu says of itself."""
        found, url = self._dispatch(name)
        heard = Heard()
        found.addStatusListener(heard, url)
        return heard.state

    def shapes(self, begin):
        """Each drawn shape whose name begins so: sheet, name, text, cell, whether it prints and is seen."""
        return [
            [
                sheet.Name,
                shape.Name,
                shape.Description,
                getattr(shape.Anchor, "AbsoluteName", ""),
                bool(shape.Printable),
                bool(shape.Visible),
            ]
            for sheet in self.document.Sheets
            for shape in sheet.DrawPage
            if shape.Name.startswith(begin)
        ]

    def undo_titles(self):
        """Names of the steps that can be undone."""
        return list(self.document.UndoManager.getAllUndoActionTitles())

    def undo(self):
        self.document.UndoManager.undo()

    def remove_row(self, sheet, row):
        """Take a row out of a sheet, counted from 1."""
        self.document.Sheets.getByName(sheet).Rows.removeByIndex(row - 1, 1)

    def store(self):
        """Save the document where it is."""
        self.document.store()

    def is_modified(self):
        return bool(self.document.isModified())

    def functions(self):
        """What the function wizard knows of the add-in functions: name to texts and arguments."""
        described = self.context.ServiceManager.createInstanceWithContext(
            "com.sun.star.sheet.FunctionDescriptions", self.context
        )
        found = {}
        for number in range(described.getCount()):
            entry = {item.Name: item.Value for item in described.getByIndex(number)}
            found[entry["Name"]] = {
                "category": entry["Category"],
                "description": entry["Description"],
                "arguments": [[a.Name, a.Description, bool(a.IsOptional)] for a in entry["Arguments"] or ()],
            }
        return found

    def version(self):
        return sys.version.split()[0]


def _plain(value):
    if isinstance(value, float) and value != value:
        return {"nan": struct.pack(">d", value).hex()}
    return value


def main(soffice, profile_url, *files):
    """Answer requests until the input ends."""
    process, context = start(soffice, profile_url, *files)
    desk = Desk(context)
    until = time.monotonic() + PATIENCE
    while len(desk.documents()) < len(files) and time.monotonic() < until:
        time.sleep(0.1)
    print(json.dumps({"ok": "ready"}), flush=True)
    try:
        for line in sys.stdin:
            try:
                name, *arguments = json.loads(line)
                answer = {"ok": _plain(getattr(desk, name)(*arguments))}
            except Exception as error:  # the answer to a request that failed
                answer = {"error": f"{type(error).__name__}: {error}"}
            print(json.dumps(answer), flush=True)
    finally:
        try:
            desk.close()
        finally:
            stop(process, context)


if __name__ == "__main__":
    main(*sys.argv[1:])
