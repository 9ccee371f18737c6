"""The Excel add-in: a workbook and an add-in file with generated VBA, made on any system.

`build` takes the standalone workbook that xlwings ships (BSD licence; its VBA part starts Python
and passes calls), puts in a module with one VBA function per function of the registry, and writes

- `dispense.xlsm`: a workbook with the functions, their list and a check of each;
- `dispense.xlam`: the same as an add-in, whose functions every open workbook can use;
- `DispenseFunctions.bas`: the module alone, for a workbook that has xlwings' VBA module already;
- `dispense-calculations.xlsx`: the calculation sheets (see `bench`) with functions as Excel names them.

The VBA reads a range into an array (`Value2`), calls `dispense.addin.excel_udfs` through xlwings,
and turns marked results into error values. It works with the xlwings version it was made for, and
says so when it meets another. Neither file holds a date or a path of the machine that made it.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import io
import os
import re
import sys
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from dispense import __version__
from dispense.addin.excel_paths import examine, this_machine
from dispense.addin.excel_ribbon import ADDIN, add_ribbon, menu_module, ribbon_texts
from dispense.addin.excel_udfs import ERROR_NUMBERS, MARK, argument_help, argument_name, function_help
from dispense.addin.excel_vba import assign, lines_of_windows, said_texts, translations, vba_source, vba_text
from dispense.addin.listing import with_values, without_formulas, write_list
from dispense.base.errors import FileError, Problem
from dispense.formulas.spell import respell
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.declare import Function
from dispense.handbook.in_formulas import OWN
from dispense.handbook.words import by_category
from dispense.jobs.fill import template_folder
from dispense.xlsx.package import Package
from dispense.xlsx.shared import share_inline
from dispense.xlsx.write import atomic_write, clean, scratch

MODULE = "DispenseFunctions"
MENU_MODULE = "DispenseMenu"
PYTHON_MODULE = "dispense.addin.excel_udfs"
MENU_PYTHON = "dispense.addin.excel_menu"
WORKBOOK, TEXT = "dispense.xlsm", f"{MODULE}.bas"
CALCULATIONS = "dispense-calculations.xlsx"
UNUSED = "MSForms"  # a library that xlwings' workbook names and no code here uses
MADE_FOR = "MADE_FOR"

ALONE, BY_ROWS, TELLS = 0, 1, 2  # how a function may be asked
FIRST_REACH, MOST_REACH = 64, 4096  # rows asked for ahead, at first and where all were wanted
MOST_KEPT = 50_000  # answers kept within a calculation
_EPOCH = (1980, 1, 1, 0, 0, 0)

# ------------------------------------------------------------------------------------------- VBA


def _manner(entry: Function) -> str:
    """How a function may be asked: with the rows around its cell, alone, or of other calls."""
    if entry.table:
        return "TELLS"
    takes_cells = not entry.whole and not any(item.is_whole_range for item in entry.arguments)
    return "BY_ROWS" if takes_cells else "ALONE"


def _function(entry: Function) -> Iterator[str]:
    """The VBA function of one registry entry."""
    names = [argument_name(item.name) for item in entry.arguments]
    parameters = ", ".join(
        f"{'' if item.is_required else 'Optional '}{name} As Variant"
        for name, item in zip(names, entry.arguments, strict=True)
    )
    yield f"Public Function {entry.name}({parameters}) As Variant"
    if entry.table:  # it tells of other calls, so it is computed anew with every one
        yield "    Application.Volatile"
    yield f'    {entry.name} = DispenseCall("{entry.name}", Array({", ".join(names)}), {_manner(entry)})'
    yield "End Function"
    yield ""


def _describe(entry: Function) -> Iterator[str]:
    """Statements that register the help of one function and its arguments."""
    for line in assign("words", function_help(entry)):
        yield f"    {line}"
    if entry.arguments:
        yield f"    ReDim notes(1 To {len(entry.arguments)})"
    else:
        yield "    ReDim notes(1 To 1)"
    for place, item in enumerate(entry.arguments, 1):
        for line in assign(f"notes({place})", argument_help(item)):
            yield f"    {line}"
    topic = vba_text(f"Dispense {entry.category}")
    yield f'    DispenseDescribe "{entry.name}", words, {topic}, notes'


_HEADER = """\
Attribute VB_Name = "{module}"
Option Explicit
'The functions of dispense {ours} for Excel, made from its registry of functions.
'Made for xlwings {xlwings}, whose VBA module must be in the same workbook.
'Do not edit: build it again with  dispense addin build --host excel

#If VBA7 Then
Private Declare PtrSafe Function DispenseFindWindow Lib "user32" Alias "FindWindowA" ( _
    ByVal class_ As String, ByVal title_ As String) As LongPtr
#Else
Private Declare Function DispenseFindWindow Lib "user32" Alias "FindWindowA" ( _
    ByVal class_ As String, ByVal title_ As String) As Long
#End If

Private Const {made_for} As String = "{xlwings}"
Private Const PYTHON_MODULE As String = "{python_module}"
Private Const MENU_MODULE As String = "{menu_module}"
Private Const ALONE As Long = {alone}
Private Const BY_ROWS As Long = {by_rows}
Private Const TELLS As Long = {tells}
Private Const FIRST_REACH As Long = {first_reach}
Private Const MOST_REACH As Long = {most_reach}
Private Const MOST_KEPT As Long = {most_kept}
Private python As Object
Private memory As Object
Private hits As Object
Private reaches As Object
Private failure As String
Private hasFailed As Boolean
Private hasStatus As Boolean
Private isDescribed As Boolean

Public Sub Auto_Open()
    DispenseOpened
End Sub
"""


def vba_module(xlwings_version: str, start: str = "XLPy") -> str:
    """The VBA module for all functions, lines ended by a line feed.

    `start` is the function of xlwings' own module that gives the running Python.
    """
    topics = by_category(FUNCTIONS.values())
    header = _HEADER.format(
        module=MODULE,
        ours=__version__,
        xlwings=xlwings_version,
        made_for=MADE_FOR,
        python_module=PYTHON_MODULE,
        menu_module=MENU_PYTHON,
        alone=ALONE,
        by_rows=BY_ROWS,
        tells=TELLS,
        first_reach=FIRST_REACH,
        most_reach=MOST_REACH,
        most_kept=MOST_KEPT,
    )
    lines = [*header.split("\n")]
    for _, entries in topics:
        for entry in entries:
            lines += _function(entry)
    mark = ord(MARK) - 0x10000
    cases = "\n".join(
        f'        Case "{text}": DispenseCell = CVErr({number})' for text, number in ERROR_NUMBERS.items()
    )
    helps = "\n".join(f"    DispenseHelp{number}" for number in range(1, len(topics) + 1))
    shared = vba_source("shared.bas")
    words = translations([*ribbon_texts(), *said_texts(shared)])
    for name, text in {
        "{start}": start,
        "{module}": MODULE,
        "{mark}": str(mark),
        "{cases}": cases,
        "{helps}": helps,
        "{words}": words,
    }.items():
        shared = shared.replace(name, text)
    lines += shared.split("\n")
    for number, (topic, entries) in enumerate(topics, 1):
        lines += [
            f"Private Sub DispenseHelp{number}()",
            f"    '{topic}",
            "    Dim words As String",
            "    Dim notes() As String",
        ]
        for entry in entries:
            lines += _describe(entry)
        lines += ["End Sub", ""]
    return "\n".join(lines).rstrip() + "\n"


# -------------------------------------------------------------------------------------- xlwings


def _missing(what: str) -> FileError:
    return FileError(
        Problem("the Excel add-in", message=f"{what} is not installed", fix="pip install xlwings pyOpenVBA")
    )


def xlwings_home() -> tuple[Path, str]:
    """The folder and version of the installed xlwings, found without importing it."""
    spec = importlib.util.find_spec("xlwings")
    if spec is None or not spec.submodule_search_locations:
        raise _missing("xlwings")
    return Path(spec.submodule_search_locations[0]), importlib.metadata.version("xlwings")


def _starter(source: str, version: str) -> str:
    """The function of xlwings' VBA module that gives Python; the module must be of that version."""
    found = re.search(r"(?mi)^(?:Public )?Function (XLPy|Py)\(\)", source)
    if found is None or f'"{version}"' not in source:
        raise FileError(
            Problem(
                "the Excel add-in",
                message=f"the workbook inside xlwings {version} is not of the kind this program knows",
                fix="install another version of xlwings",
            )
        )
    return found[1]


# ------------------------------------------------------------------------------------- workbook


def settings_rows(interpreter: str | None) -> list[list[str]]:
    """The settings of xlwings that count here.

    A row wins over a user's own xlwings.conf even where it is empty, so only what is known stands here. The
    folder of the workbook is kept off Python's path: as an address of OneDrive it stops the start.
    """
    rows = [["ADD_WORKBOOK_TO_PYTHONPATH", "False"]]
    return rows if interpreter is None else [["Interpreter_Win", interpreter], *rows]


def _sheets(template: bytes, version: str, interpreter: str | None) -> bytes:
    """The workbook around the VBA: the list of functions, a check of each, xlwings' settings."""
    from openpyxl import load_workbook
    from openpyxl.packaging.core import DocumentProperties

    book = load_workbook(io.BytesIO(template), keep_vba=True)
    first, settings = book.worksheets
    book.properties = DocumentProperties(creator="dispense", title="Dispense functions")
    write_list(
        first,
        f"Functions of dispense {__version__} for Excel",
        "Type =BEAD_AREA( in a cell and press Ctrl+A for help. Where a check is red, Python was "
        f"not reached: =LAST_PROBLEMS() in a cell tells why. Made for xlwings {version}.",
        FUNCTIONS.values(),
    )
    settings.title = "xlwings.conf"
    settings.delete_rows(1, settings.max_row)
    for row in settings_rows(interpreter):
        settings.append(row)
    settings["A13"] = "Interpreter_Win is the python.exe whose environment holds dispense and xlwings."
    settings.column_dimensions["A"].width = 18
    settings.column_dimensions["B"].width = 60
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _finish(data: bytes, is_addin: bool) -> bytes:
    """The same parts with fixed dates and computed values; as an add-in where asked.

    Nothing is computed when an add-in opens, or Python would start with Excel: it has the ribbon, no formula
    and no wish to be calculated.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as source:
        parts = {name: source.read(name) for name in source.namelist()}
    share_inline(parts)
    date = rb"\g<1>2000-01-01T00:00:00Z"
    core, sheet, book = "docProps/core.xml", "xl/worksheets/sheet1.xml", "xl/workbook.xml"
    parts[core] = re.sub(rb"(<dcterms:(created|modified)[^>]*>)[^<]*", date, parts[core])
    parts[sheet] = with_values(parts[sheet])
    parts[book] = re.sub(rb"<calcPr[^>]*/>", b"", parts[book])
    if is_addin:
        parts[sheet] = without_formulas(parts[sheet])
        types = parts["[Content_Types].xml"]
        parts["[Content_Types].xml"] = types.replace(
            b"ms-excel.sheet.macroEnabled", b"ms-excel.addin.macroEnabled"
        )
        hidden = b'<workbookView visibility="hidden"'
        parts[book] = re.sub(rb'<workbookView( visibility="\w+")?', hidden, parts[book])
        add_ribbon(parts)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as target:
        for name in sorted(parts):
            new = zipfile.ZipInfo(name, _EPOCH)
            new.compress_type = zipfile.ZIP_DEFLATED
            new.create_system = 0
            target.writestr(new, parts[name])
    return stream.getvalue()


def _with_modules(data: bytes, module: str) -> bytes:
    """The workbook with the generated modules in place of xlwings' sample, whose helpers become private."""
    from pyopenvba import ExcelFile

    with scratch() as folder:
        path = folder / WORKBOOK
        path.write_bytes(data)
        with ExcelFile(path) as book:
            project = book.vba_project()
            for name in list(project.module_names()):
                if name == "Module1":
                    project.delete_module(name)
            for name, source in ((MODULE, module), (MENU_MODULE, menu_module())):
                project.add_module(name, lines_of_windows(source))
            theirs = book.vba_modules()["xlwings"]
            book.set_module("xlwings", re.sub(r"(?m)^(Attribute .*\r?\n)+", _private, theirs, count=1))
            book.set_module("ThisWorkbook", lines_of_windows(vba_source("ThisWorkbook.cls")))
            if any(item.name == UNUSED for item in book.references()):
                book.remove_reference(UNUSED)
            book.save()
        with ExcelFile(path) as book:
            wrong = book.validate()
        if wrong:
            raise FileError(Problem("the Excel add-in", message="; ".join(wrong)))
        return path.read_bytes()


def _private(head: re.Match[str]) -> str:
    """The first lines of a module, and that its functions are for this workbook's own code only."""
    return f"{head[0]}Option Private Module\r\n"


def _calculations() -> bytes:
    """The calculation sheets that come with the package, their functions named as Excel finds them."""
    package = Package.open(template_folder() / "bench.xlsx")
    respell(package, "excel", OWN)
    return package.to_bytes()


def build(out: str | os.PathLike[str] = ".", interpreter: str | None = None) -> list[Path]:
    """Write the workbook, the add-in and the module into a folder; gives their paths.

    `interpreter` is the python.exe that Excel shall start; on Windows it is the running one unless
    told otherwise, elsewhere what the settings of the machine that opens the workbook say.
    """
    home, version = xlwings_home()
    if importlib.util.find_spec("pyopenvba") is None:
        raise _missing("pyOpenVBA")
    from pyopenvba import ExcelFile

    template = home / "quickstart_standalone.xlsm"
    if not template.is_file():
        raise FileError(Problem(str(template), message="does not exist", fix="install xlwings again"))
    with ExcelFile(template) as book:
        sources = book.vba_modules()
    module = vba_module(version, _starter(sources.get("xlwings", ""), version))
    if interpreter is None and sys.platform == "win32":
        interpreter = sys.executable
    data = _with_modules(_sheets(template.read_bytes(), version, interpreter), module)
    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    clean(folder)
    files = {
        WORKBOOK: _finish(data, False),
        ADDIN: _finish(data, True),
        TEXT: lines_of_windows(module).encode("ascii"),
        CALCULATIONS: _calculations(),
    }
    for name, content in files.items():
        atomic_write(folder / name, content)
    return [folder / name for name in files]


# -------------------------------------------------------------------------------------- install


def startup_folder() -> Path | None:
    """The folder whose add-ins Excel opens at each start, or None away from Windows."""
    home = os.environ.get("APPDATA")
    if sys.platform != "win32" or not home:
        return None
    return Path(home) / "Microsoft" / "Excel" / "XLSTART"


def made_for(path: str | os.PathLike[str]) -> str | None:
    """The xlwings version that a workbook or add-in of ours was made for; None for any other."""
    if importlib.util.find_spec("pyopenvba") is None:
        return None
    from pyopenvba import ExcelFile, PyOpenVBAError

    try:
        with ExcelFile(path) as book:
            source = book.vba_modules().get(MODULE, "")
    except (PyOpenVBAError, OSError, zipfile.BadZipFile, ValueError):
        return None
    found = re.search(rf'{MADE_FOR} As String = "([^"]+)"', source)
    return found[1] if found else None


def interpreter_of(path: str | os.PathLike[str]) -> str | None:
    """The python.exe that a workbook or add-in of ours names; None where it names none."""
    cells = Package.open(Path(path)).cell_values("xlwings.conf")
    names = {str(value): address for address, value in cells.items() if address.startswith("A")}
    found = cells.get(names.get("Interpreter_Win", "").replace("A", "B"))
    return None if found is None else str(found)


def status() -> dict[str, Any]:
    """What is there: xlwings, the installed add-in, and what keeps it from working."""
    problems: list[str] = []
    try:
        _, version = xlwings_home()
    except FileError as error:
        version = None
        problems.append(str(error))
    folder = startup_folder()
    path = folder / ADDIN if folder else None
    installed = str(path) if path and path.is_file() else None
    made = made_for(path) if path and installed else None
    if folder is None:
        problems.append("Excel on Windows is needed for the functions in cells")
    elif not installed:
        problems.append("the add-in is not installed: dispense addin install --host excel")
    elif made != version:
        problems.append(
            f"the add-in was made for xlwings {made}, {version} is installed: "
            "dispense addin install --host excel"
        )
    if folder is not None:
        starts = interpreter_of(path) if path and installed else None
        problems += examine(this_machine(folder, starts))
        if starts is not None and "\\" in starts and not Path(starts).is_file():
            problems.append(f"there is no file {starts}: dispense addin install --host excel")
    return {
        "host": "excel",
        "ready": not problems,
        "xlwings": version,
        "installed": installed,
        "made_for": made,
        "functions": len(FUNCTIONS),
        "problems": problems,
    }


def install() -> dict[str, Any]:
    """Put the add-in where Excel opens it at each start; gives the `status` and what was done."""
    folder = startup_folder()
    if folder is None:
        done = (
            "nothing was installed: the functions run in Excel on Windows only. Build the files here "
            "(dispense addin build --host excel), copy dispense.xlam to the Windows machine into "
            r"%APPDATA%\Microsoft\Excel\XLSTART, and install dispense and xlwings "
            f"{xlwings_home()[1]} there. For Excel elsewhere, closed-form functions can go into a "
            "workbook as names: dispense addin build --host names"
        )
        return {**status(), "done": done}
    with scratch() as folder_of_build:
        build(folder_of_build)
        data = (folder_of_build / ADDIN).read_bytes()
    folder.mkdir(parents=True, exist_ok=True)
    clean(folder)
    atomic_write(folder / ADDIN, data)
    done = f"{folder / ADDIN} is in place; start Excel again and type =BEAD_AREA( in a cell"
    return {**status(), "done": done}


def selftest(out: str | None = None) -> dict[str, Any]:
    """The checks of the first day in Excel that need no eyes; gives counts and where the report lies."""
    from dispense.addin.excel_selftest import selftest as run

    folder = startup_folder()
    return run(None if folder is None else folder / ADDIN, out)


def uninstall() -> dict[str, Any]:
    """Take the add-in away again; gives the `status` and what was done."""
    folder = startup_folder()
    if folder is None or not (folder / ADDIN).is_file():
        return {**status(), "done": "there is no add-in to take away"}
    (folder / ADDIN).unlink()
    done = f"{folder / ADDIN} is gone; workbooks keep their formulas and values"
    return {**status(), "done": done}


__all__: Sequence[str] = (
    "build",
    "install",
    "made_for",
    "selftest",
    "status",
    "uninstall",
    "vba_module",
    "vba_text",
)
