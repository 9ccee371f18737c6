"""The Excel add-in: a workbook and an add-in file with generated VBA, made on any system.

`build` takes the standalone workbook that xlwings ships (BSD licence; its VBA part starts Python
and passes calls), puts in a module with one VBA function per function of the registry, and writes

- `dispense.xlsm`: a workbook with the functions, their list and a check of each;
- `dispense.xlam`: the same as an add-in, whose functions every open workbook can use;
- `DispenseFunctions.bas`: the module alone, for a workbook that has xlwings' VBA module already.

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
from dispense.addin.excel_udfs import ERROR_NUMBERS, MARK, argument_help, argument_name, function_help
from dispense.addin.listing import with_values, write_list
from dispense.base.errors import FileError, Problem
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.declare import Function
from dispense.handbook.words import by_category
from dispense.xlsx.write import atomic_write, clean, scratch

MODULE = "DispenseFunctions"
PYTHON_MODULE = "dispense.addin.excel_udfs"
WORKBOOK, ADDIN, TEXT = "dispense.xlsm", "dispense.xlam", f"{MODULE}.bas"
MADE_FOR = "MADE_FOR"

_LINE = 900  # where a text is broken into the next statement; a line of VBA holds 1023 characters
_EPOCH = (1980, 1, 1, 0, 0, 0)

# ------------------------------------------------------------------------------------------- VBA


def vba_text(text: str) -> str:
    """A text as a VBA expression in plain ASCII.

    >>> vba_text('a "gap" in mm²')
    '"a ""gap"" in mm" & ChrW$(178)'
    """
    pieces: list[str] = []
    for run in re.findall(r"[ -~]+|[^ -~]", text):
        if " " <= run[0] <= "~":
            pieces.append('"' + run.replace('"', '""') + '"')
        else:
            code = ord(run)
            if code > 0xFFFF:  # two halves, as VBA keeps its texts
                high, low = 0xD800 + ((code - 0x10000) >> 10), 0xDC00 + (code & 0x3FF)
                pieces.append(f"ChrW$({high - 0x10000}) & ChrW$({low - 0x10000})")
            else:
                pieces.append(f"ChrW$({code - 0x10000 if code > 0x7FFF else code})")
    return " & ".join(pieces) or '""'


def _assign(target: str, text: str) -> Iterator[str]:
    """Statements that give a text to a variable, each short enough for a line."""
    whole = vba_text(text)
    if len(whole) <= _LINE:
        yield f"{target} = {whole}"
        return
    for start in range(0, len(text), 40):  # a character is at most 28 of VBA
        piece = vba_text(text[start : start + 40])
        yield f"{target} = {f'{target} & ' if start else ''}{piece}"


def _function(entry: Function) -> Iterator[str]:
    """The VBA function of one registry entry."""
    names = [argument_name(item.name) for item in entry.arguments]
    parameters = ", ".join(
        f"{'' if item.is_required else 'Optional '}{name} As Variant"
        for name, item in zip(names, entry.arguments, strict=True)
    )
    values = ", ".join(f"DispenseGiven({name})" for name in names)
    yield f"Public Function {entry.name}({parameters}) As Variant"
    if entry.table:  # it tells of other calls, so it is computed anew with every one
        yield "    Application.Volatile"
    asks = ", True" if entry.table else ""
    yield f'    {entry.name} = DispenseCall("{entry.name}", Array({values}){asks})'
    yield "End Function"
    yield ""


def _describe(entry: Function) -> Iterator[str]:
    """Statements that register the help of one function and its arguments."""
    for line in _assign("words", function_help(entry)):
        yield f"    {line}"
    if entry.arguments:
        yield f"    ReDim notes(1 To {len(entry.arguments)})"
    else:
        yield "    ReDim notes(1 To 1)"
    for place, item in enumerate(entry.arguments, 1):
        for line in _assign(f"notes({place})", argument_help(item)):
            yield f"    {line}"
    topic = vba_text(f"Dispense {entry.category}")
    yield f'    DispenseDescribe "{entry.name}", words, {topic}, notes'


_SHARED = """\
Private Function DispenseCall(ByVal name_ As String, ByVal given As Variant, _
        Optional ByVal asks As Boolean = False) As Variant
    Dim isSecond As Boolean
    On Error GoTo failed
restart:
    If python Is Nothing Then DispenseStart
    DispenseCall = DispenseShown(python.CallUDF(PYTHON_MODULE, name_, given))
    Exit Function
failed:
    If Not isSecond And Not python Is Nothing Then
        'Python may have been ended since the last call: start it once more
        isSecond = True
        Set python = Nothing
        Resume restart
    End If
    failure = name_ & ": " & Err.Description & _
        " (these functions were made for xlwings " & MADE_FOR & ")"
    Set python = Nothing
    If asks Then
        DispenseCall = failure
    Else
        DispenseCall = CVErr(2015)
    End If
End Function

Private Sub DispenseStart()
    Dim found As String
    Set python = {start}
    found = python.Str(python.GetAttr(python.Module(PYTHON_MODULE), "XLWINGS_VERSION"))
    If found <> MADE_FOR Then
        Set python = Nothing
        Err.Raise vbObjectError + 513, "{module}", "Python has xlwings " & found & _
            "; install xlwings==" & MADE_FOR & ", or build the add-in again: " & _
            "dispense addin build --host excel"
    End If
End Sub

Private Function DispenseGiven(Optional ByVal value As Variant) As Variant
    If IsMissing(value) Then Exit Function
    If IsObject(value) Then
        If InStr(value.Address, ",") > 0 Then
            DispenseGiven = CVErr(2015)
        Else
            DispenseGiven = value.Value2
        End If
    Else
        DispenseGiven = value
    End If
End Function

Private Function DispenseShown(ByVal value As Variant) As Variant
    Dim i As Long, j As Long, columns_ As Long
    If Not IsArray(value) Then
        DispenseShown = DispenseCell(value)
        Exit Function
    End If
    columns_ = DispenseColumns(value)
    For i = LBound(value, 1) To UBound(value, 1)
        If columns_ < 0 Then
            value(i) = DispenseCell(value(i))
        Else
            For j = LBound(value, 2) To UBound(value, 2)
                value(i, j) = DispenseCell(value(i, j))
            Next j
        End If
    Next i
    DispenseShown = value
End Function

Private Function DispenseColumns(ByRef value As Variant) As Long
    'The last column of an array, -1 where it has one dimension only
    On Error GoTo single_
    DispenseColumns = UBound(value, 2)
    Exit Function
single_:
    DispenseColumns = -1
End Function

Private Function DispenseCell(ByVal value As Variant) As Variant
    'A marked text becomes the error it names; a text that began with the mark loses one of two
    DispenseCell = value
    If VarType(value) <> vbString Then Exit Function
    If Left$(value, 1) <> ChrW$({mark}) Then Exit Function
    Select Case Mid$(value, 2)
{cases}
        Case Else: DispenseCell = Mid$(value, 2)
    End Select
End Function

Private Sub DispenseDescribe(ByVal name_ As String, ByVal words As String, _
        ByVal topic As String, ByRef notes() As String)
    On Error Resume Next
    Application.MacroOptions Macro:="'" & ThisWorkbook.Name & "'!" & name_, _
        Description:=words, Category:=topic, ArgumentDescriptions:=notes
End Sub
"""


def vba_module(xlwings_version: str, start: str = "XLPy") -> str:
    """The VBA module for all functions, lines ended by a line feed.

    `start` is the function of xlwings' own module that gives the running Python.
    """
    topics = by_category(FUNCTIONS.values())
    lines = [
        f'Attribute VB_Name = "{MODULE}"',
        "Option Explicit",
        f"'The functions of dispense {__version__} for Excel, made from its registry of functions.",
        f"'Made for xlwings {xlwings_version}, whose VBA module must be in the same workbook.",
        "'Do not edit: build it again with  dispense addin build --host excel",
        "",
        f'Private Const {MADE_FOR} As String = "{xlwings_version}"',
        f'Private Const PYTHON_MODULE As String = "{PYTHON_MODULE}"',
        "Private python As Object",
        "Private failure As String",
        "Private isDescribed As Boolean",
        "",
        "Public Sub Auto_Open()",
        "    DispenseHelp",
        "End Sub",
        "",
        "Public Sub DispenseHelp()",
        "    If isDescribed Then Exit Sub",
        "    isDescribed = True",
        *(f"    DispenseHelp{number}" for number in range(1, len(topics) + 1)),
        "End Sub",
        "",
    ]
    for _, entries in topics:
        for entry in entries:
            lines += _function(entry)
    mark = ord(MARK) - 0x10000
    cases = "\n".join(
        f'        Case "{text}": DispenseCell = CVErr({number})' for text, number in ERROR_NUMBERS.items()
    )
    shared = _SHARED.replace("{start}", start).replace("{module}", MODULE)
    lines += shared.replace("{mark}", str(mark)).replace("{cases}", cases).split("\n")
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


def _sheets(template: bytes, version: str, interpreter: str) -> bytes:
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
    settings["B1"] = interpreter
    for number in range(2, 10):
        if settings.cell(number, 1).value == "UDF Modules":
            settings.cell(number, 2).value = PYTHON_MODULE
    for number in range(13, 18):
        settings.cell(number, 1).value = None
    settings["A13"] = "B1 is the python.exe whose environment holds dispense and xlwings."
    settings.column_dimensions["A"].width = 18
    settings.column_dimensions["B"].width = 60
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _finish(data: bytes, is_addin: bool) -> bytes:
    """The same parts with fixed dates and computed values; as an add-in where asked."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(stream, "w") as target:
        for info in sorted(source.infolist(), key=lambda item: item.filename):
            part = source.read(info)
            if info.filename == "docProps/core.xml":
                date = rb"\g<1>2000-01-01T00:00:00Z"
                part = re.sub(rb"(<dcterms:(created|modified)[^>]*>)[^<]*", date, part)
            elif info.filename == "xl/worksheets/sheet1.xml":
                part = with_values(part)
            elif is_addin and info.filename == "[Content_Types].xml":
                part = part.replace(b"ms-excel.sheet.macroEnabled", b"ms-excel.addin.macroEnabled")
            elif is_addin and info.filename == "xl/workbook.xml":
                hidden = b'<workbookView visibility="hidden"'
                part = re.sub(rb'<workbookView( visibility="\w+")?', hidden, part)
            new = zipfile.ZipInfo(info.filename, _EPOCH)
            new.compress_type = zipfile.ZIP_DEFLATED
            new.create_system = 0
            target.writestr(new, part)
    return stream.getvalue()


def _with_module(data: bytes, module: str) -> bytes:
    """The workbook with the generated module in place of xlwings' sample."""
    from pyopenvba import ExcelFile

    with scratch() as folder:
        path = folder / WORKBOOK
        path.write_bytes(data)
        with ExcelFile(path) as book:
            project = book.vba_project()
            for name in list(project.module_names()):
                if name == "Module1":
                    project.delete_module(name)
            project.add_module(MODULE, module.replace("\n", "\r\n"))
            book.set_module("ThisWorkbook", "Private Sub Workbook_Open()\r\n    DispenseHelp\r\nEnd Sub\r\n")
            book.save()
        with ExcelFile(path) as book:
            wrong = book.validate()
        if wrong:
            raise FileError(Problem("the Excel add-in", message="; ".join(wrong)))
        return path.read_bytes()


def build(out: str | os.PathLike[str] = ".", interpreter: str | None = None) -> list[Path]:
    """Write the workbook, the add-in and the module into a folder; gives their paths.

    `interpreter` is the python.exe that Excel shall start; on Windows it is the running one unless
    told otherwise, elsewhere `python`, found on the PATH of the machine that opens the workbook.
    """
    home, version = xlwings_home()
    if importlib.util.find_spec("pyopenvba") is None:
        raise _missing("pyOpenVBA")
    from pyopenvba import ExcelFile

    template = home / "quickstart_standalone.xlsm"
    if not template.is_file():
        raise FileError(Problem(str(template), message="is not there", fix="install xlwings again"))
    with ExcelFile(template) as book:
        sources = book.vba_modules()
    module = vba_module(version, _starter(sources.get("xlwings", ""), version))
    if interpreter is None:
        interpreter = sys.executable if sys.platform == "win32" else "python"
    data = _with_module(_sheets(template.read_bytes(), version, interpreter), module)
    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    clean(folder)
    files = {
        WORKBOOK: _finish(data, False),
        ADDIN: _finish(data, True),
        TEXT: module.replace("\n", "\r\n").encode("ascii"),
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


def uninstall() -> dict[str, Any]:
    """Take the add-in away again; gives the `status` and what was done."""
    folder = startup_folder()
    if folder is None or not (folder / ADDIN).is_file():
        return {**status(), "done": "there is no add-in to take away"}
    (folder / ADDIN).unlink()
    done = f"{folder / ADDIN} is gone; workbooks keep their formulas and values"
    return {**status(), "done": done}


__all__: Sequence[str] = ("build", "install", "made_for", "status", "uninstall", "vba_module", "vba_text")
