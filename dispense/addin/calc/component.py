"""The component that LibreOffice loads: one method for each worksheet function.

It stands beside `functions.txt` (the names, one a line) and the folder `pythonpath` with the
package. Nothing of that is imported before the first function is computed. Where an import fails,
every function is #VALUE! and LAST_PROBLEMS tells the reason.
"""

import contextlib
import os
import re

import uno
import unohelper
from com.sun.star.lang import XServiceInfo, XServiceName
from com.sun.star.task import XJob

SERVICE = "DISPENSE"
ADDIN = "com.sun.star.sheet.AddIn"
IMPLEMENTATION = "dispense.calc.Functions"
RESPELL = "dispense.calc.Respell"
VALUE = 519  # Calc's number of #VALUE!
FORMULAS = 16  # com.sun.star.sheet.CellFlags.FORMULA


def _names():
    folder = os.path.dirname(os.path.abspath(__file__))
    with open(os.path.join(folder, "functions.txt"), encoding="ascii") as file:
        return file.read().split()


NAMES = _names()
XFunctions = uno.getClass("dispenseaddin.XFunctions")


# UNO makes its interfaces as it runs, so their types are not known here
class Functions(unohelper.Base, XFunctions, XServiceName, XServiceInfo):  # type: ignore[valid-type, misc]
    """The worksheet functions; the methods are set below, one for each name."""

    def __init__(self, context):
        self.context = context

    def getServiceName(self):
        return SERVICE

    def getImplementationName(self):
        return IMPLEMENTATION

    def supportsService(self, name):
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self):
        return (SERVICE, ADDIN)


def _failed(name, reason):
    """What a function gives when the package cannot be imported."""
    if name == "LAST_PROBLEMS":
        return lambda self, *arguments: ((SERVICE, "", "", reason),)
    import struct

    error = struct.unpack("<d", struct.pack("<Q", 0x7FF8 << 48 | VALUE))[0]
    return lambda self, *arguments: ((error,),)


def _load():
    """Put the real methods in place of the first ones."""
    try:
        from dispense.addin.calc.cells import method
        from dispense.handbook.catalogue import FUNCTIONS

        made = {name: method(FUNCTIONS[name]) for name in NAMES}
    except Exception as error:  # whatever the other Python lacks: every cell then says so
        import sys

        version = sys.version.split()[0]
        reason = f"LibreOffice's Python {version} cannot load the functions: {error!r}"
        made = {name: _failed(name, reason) for name in NAMES}
    for name, function in made.items():
        setattr(Functions, name, function)


def _first(name):
    def method(self, *arguments):
        _load()
        return getattr(self, name)(*arguments)

    return method


for _name in NAMES:
    setattr(Functions, _name, _first(_name))


class Respell(unohelper.Base, XJob, XServiceInfo):
    """On load: formulas that another spreadsheet wrote with plain names find their functions."""

    def __init__(self, context):
        self.context = context

    def getImplementationName(self):
        return RESPELL

    def supportsService(self, name):
        return name == RESPELL

    def getSupportedServiceNames(self):
        return (RESPELL,)

    def execute(self, arguments):
        for group in arguments:
            if group.Name != "Environment":
                continue
            for item in group.Value:
                if item.Name == "Model" and hasattr(item.Value, "Sheets"):
                    with contextlib.suppress(Exception):  # never in the way of opening a file
                        respell(item.Value)


ANY_NAME = "(?:" + "|".join(sorted(NAMES, key=len, reverse=True)) + r")\("
# a function of an add-in that lies in a workbook is a name of that workbook: `[1]!NAME(`
LINK = r"\[\d+\]!(?:" + SERVICE + r"\.)?"
PLAIN = re.compile(rf"(?<![\w.])(?:{LINK}|_xll\.|_xludf\.)?{ANY_NAME}", re.IGNORECASE)
PREFIX = re.compile(rf"(?<![\w.])(?:{LINK}(?={ANY_NAME})|(?:_xll\.|_xludf\.)(?=\w))", re.IGNORECASE)


def respell(document):
    """Set again each formula of a document that calls a function by its plain name."""
    found = [
        (sheet, block.RangeAddress.StartColumn + right, block.RangeAddress.StartRow + down)
        for sheet in document.Sheets
        for block in sheet.queryContentCells(FORMULAS)
        for down, row in enumerate(block.getFormulaArray())
        for right, formula in enumerate(row)
        if PLAIN.search(formula)
    ]
    if not found:
        return
    was_modified = document.isModified()
    document.UndoManager.lock()
    document.addActionLock()
    try:
        for sheet, column, row in found:
            with contextlib.suppress(Exception):  # a protected cell stays as it is
                _set_again(sheet, sheet.getCellByPosition(column, row))
    finally:
        document.removeActionLock()
        document.UndoManager.unlock()
    if not was_modified:
        document.setModified(False)


def _set_again(sheet, cell):
    formula = cell.Formula
    if not PLAIN.search(formula):
        return  # set meanwhile, with the array that it belongs to
    if not formula.startswith("{"):
        cell.setFormula(PREFIX.sub("", formula))
        return
    cursor = sheet.createCursorByRange(cell)
    cursor.collapseToCurrentArray()
    array = sheet.getCellRangeByPosition(
        cursor.RangeAddress.StartColumn,
        cursor.RangeAddress.StartRow,
        cursor.RangeAddress.EndColumn,
        cursor.RangeAddress.EndRow,
    )
    array.setArrayFormula(PREFIX.sub("", formula[1:-1]))


g_ImplementationHelper = unohelper.ImplementationHelper()
g_ImplementationHelper.addImplementation(Functions, IMPLEMENTATION, (SERVICE, ADDIN))
g_ImplementationHelper.addImplementation(Respell, RESPELL, (RESPELL,))
