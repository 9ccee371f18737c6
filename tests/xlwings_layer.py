"""The real xlwings layer away from Windows: only the pywin32 modules are replaced.

`load()` imports xlwings as it imports itself on Windows, with small stand-ins for pywin32's modules
(and for the two Windows names of ctypes), and gives its COM object `XLPython`, whose `CallUDF`
Excel's VBA calls. Arguments are given as pywin32 gives them: numbers as float, an empty cell as
None, a range as a tuple of row tuples, an error as its negative code, a left-out argument as
`MISSING`. This is the xlwings layer, not Excel.

`Vba` runs the generated VBA in pyOpenVBA's interpreter on top of that, with values converted on the
way as COM converts them.
"""

from __future__ import annotations

import builtins
import concurrent.futures
import ctypes
import functools
import re
import sys
from types import ModuleType
from unittest import mock

from dispense.base.fields import CellError

MISSING = -2147352572  # DISP_E_PARAMNOTFOUND, as a left-out argument arrives
# CVErr codes as COM delivers them: 0x800A0000 + xlErr number (documented xlCVError values)
NUMBERS = {
    "#NULL!": 2000,
    "#DIV/0!": 2007,
    "#VALUE!": 2015,
    "#REF!": 2023,
    "#NAME?": 2029,
    "#NUM!": 2036,
    "#N/A": 2042,
    "#SPILL!": 2045,
    "#CALC!": 2050,
}
CODES = {text: 0x800A0000 - 0x100000000 + number for text, number in NUMBERS.items()}


class _IID(str):
    """pywintypes.IID"""


class _Dispatch:
    """An object from COM"""

    def __init__(self, *_args, **_named):
        pass


def _unwrap(thing):
    """win32com.server.util.unwrap: only what `wrap` gave can be unwrapped."""
    if type(thing).__name__ != "XLPythonObject":
        raise ValueError("not a wrapped object")
    return thing


def _modules() -> dict[str, ModuleType]:
    names = (
        "pythoncom pywintypes win32api win32con win32event win32gui win32process "
        "win32timezone win32com win32com.client win32com.server win32com.server.util "
        "win32com.server.dispatcher win32com.server.policy"
    )
    found = {name: ModuleType(name) for name in names.split()}
    for name, module in found.items():
        parent, _, child = name.rpartition(".")
        if parent:
            setattr(found[parent], child, module)
    com = found["pythoncom"]
    com.IID_IDispatch = _IID("{00020400-0000-0000-C000-000000000046}")
    com.IID_IEnumVARIANT = _IID("{00020404-0000-0000-C000-000000000046}")
    com.TypeIIDs = {com.IID_IDispatch: type("PyIDispatch", (), {})}
    com.CoInitialize = lambda: None
    com.__file__ = "pythoncom.dll"
    types = found["pywintypes"]
    types.IID = _IID
    types.TimeType = type("TimeType", (), {})
    types.com_error = types.error = type("com_error", (Exception,), {})
    client = found["win32com.client"]
    for name in ("CDispatch", "CoClassBaseClass", "Dispatch", "DispatchBaseClass", "DispatchEx"):
        setattr(client, name, type(name, (_Dispatch,), {}))
    client.gencache = mock.MagicMock()
    client.dynamic = mock.MagicMock()
    found["win32process"].GetWindowThreadProcessId = lambda window: (1, 1)
    util = found["win32com.server.util"]
    util.wrap = lambda obj, *_rest, **_named: obj
    util.unwrap = _unwrap
    found["win32com.server.policy"].DefaultPolicy = type("DefaultPolicy", (), {})
    return found


def load():
    """XLPython of the real xlwings, imported as on Windows; and `dispense.addin.excel_udfs`.

    Gives both and a function that puts everything back.
    """
    ours = "dispense.addin.excel_udfs"
    before = {
        name: module
        for name, module in sys.modules.items()
        if name.partition(".")[0] == "xlwings" or name == ours
    }
    for name in before:
        del sys.modules[name]
    stubs = _modules()
    platform = sys.platform
    sys.modules.update(stubs)
    builtins.WindowsError = OSError
    windows = {name: mock.MagicMock() for name in ("oledll", "windll")}
    for name, value in windows.items():
        setattr(ctypes, name, value)
    sys.platform = "win32"
    try:
        # pandas and numpy are loaded already and asyncio too, so only xlwings sees "win32"
        with mock.patch.object(ctypes, "PyDLL", mock.MagicMock()):
            import xlwings.com_server

            assert xlwings.func is xlwings.udfs.xlfunc
    finally:
        sys.platform = platform
    import importlib

    udfs = importlib.import_module(ours)

    def restore():
        for name in [name for name in sys.modules if name.partition(".")[0] == "xlwings"]:
            del sys.modules[name]
        for name in stubs:
            sys.modules.pop(name, None)
        sys.modules.pop(ours, None)
        sys.modules.update(before)
        import dispense.addin

        if ours in before:
            dispense.addin.excel_udfs = before[ours]
        for name in windows:
            delattr(ctypes, name)
        del builtins.WindowsError

    return xlwings.com_server.XLPython(), udfs, restore


# concurrent.futures is a lazy package; loaded here, under the real platform
_ = concurrent.futures.ThreadPoolExecutor


def com(value):
    """A value as pywin32 hands it to Python: rows as tuples, numbers as float, errors as codes."""
    if isinstance(value, CellError):
        return CODES[value]
    if isinstance(value, list | tuple):
        rows = [row if isinstance(row, list | tuple) else [row] for row in value]
        return tuple(tuple(com(cell) for cell in row) for row in rows)
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    return float(value)


# ------------------------------------------------------------------------------------------- VBA


class Vba:
    """The generated modules in pyOpenVBA's Excel in memory, over the xlwings layer.

    Ranges, workbooks and `Intersect` are its own. What it lacks and Excel has is added in `_Excel` and
    `_Bridge`, a line or two each; the one call into Windows (whether a dialog is open) is `is_dialog`.
    """

    def __init__(self, source: str, python, ready: bool = True, menu: str = ""):  # noqa: C901  (stand-ins)
        from pyopenvba.apps.excel import ExcelApplication
        from pyopenvba.apps.excel._bridge import ExcelBridge
        from pyopenvba.apps.excel._model import Application as Excel
        from pyopenvba.interpreter import VBAObject, _runtime, member, method
        from pyopenvba.interpreter._runtime import UNRESOLVED

        if not hasattr(_runtime.parse_module, "cache_info"):  # one reading of a module for all tests
            _runtime.parse_module = functools.lru_cache(16)(_runtime.parse_module)
        vba = self
        self.calls: list[str] = []
        self.described: dict[str, tuple[str, str, list[str]]] = {}
        self.is_shown = True  # whether a workbook is, so that the wizard takes texts
        self.down = 0  # how many calls fail, as when Python was ended
        self.ready = ready
        self.started = 0
        self.runs: list[str] = []  # programs that were tried before the start
        self.exit_code = 0
        self.settings = {"INTERPRETER_WIN": ""}
        self.files: set[str] = set()
        self.caller: object = None
        self.timed: list[str] = []
        self.is_dialog = False
        self.full = 0
        self.language = 1033  # of Excel's windows: English of the United States
        self.asking: set[str] = set()

        class Python(VBAObject):
            @method
            def Module(self, name):
                return name

            @method
            def GetAttr(self, thing, name):
                return python.GetAttr(sys.modules[str(thing)], str(name))

            @method
            def Str(self, thing):
                return python.Str(thing)

            @method
            def Tuple(self, *elements):
                return tuple(elements)

            @method
            def Call(self, module, name, given):
                return vba.command(str(module), str(name), given)

            @method
            def CallUDF(self, module, name, given):
                if vba.down:
                    vba.down -= 1
                    raise _vba_error("the server is not there")
                vba.calls.append(str(name))
                arguments = tuple(_to_com(item) for item in given.items)
                return _from_com(python.CallUDF(str(module), str(name), arguments))

        class Languages(VBAObject):
            @method
            def LanguageID(self, Id):
                return vba.language if int(Id) == 2 else 0  # msoLanguageIDUI

        class Runner(VBAObject):
            @method
            def Run(self, command, style, waits):
                vba.runs.append(str(command))
                return vba.exit_code

        class _Excel(Excel):
            @member
            def Caller(self):
                return vba.caller if vba.caller is not None else _error_value(2023)

            @member
            def LanguageSettings(self):
                return Languages()

            @method
            def Volatile(self):
                return None

            @method
            def OnTime(self, EarliestTime, Procedure):
                vba.timed.append(str(Procedure))

            @method
            def CalculateFull(self):
                vba.full += 1

            @member
            def EnableCancelKey(self):
                return 1

            @setter_of("EnableCancelKey")
            def _set_cancel(self, value):
                pass

            @method
            def MacroOptions(self, Macro, Description, Category, ArgumentDescriptions):
                if not vba.is_shown:
                    raise _vba_error("Cannot edit a macro on a hidden workbook")
                name = str(Macro).rpartition("!")[2]
                notes = [str(item) for item in ArgumentDescriptions.items]
                vba.described[name] = (str(Description), str(Category), notes)

        holder = Python()

        class _Bridge(ExcelBridge):
            def global_object(self, name):
                if name == "xlpy":
                    vba.started += 1
                    if not vba.ready:
                        raise _vba_error("File not found: xlwings64.dll")
                    return holder
                return super().global_object(name)

            def create(self, type_name_):
                return Runner() if type_name_.lower() == "wscript.shell" else UNRESOLVED

            def has_global_member(self, name):
                own = ("getconfig", "fileexists", "dispensefindwindow")
                return name.lower() in own or super().has_global_member(name)

            def call_global(self, name, args, named):
                if name.lower() == "getconfig":
                    return vba.settings.get(str(args[0]), str(args[1]))
                if name.lower() == "fileexists":
                    return str(args[0]) in vba.files
                if name.lower() == "dispensefindwindow":
                    return int(vba.is_dialog)
                return super().call_global(name, args, named)

        self.excel = ExcelApplication()
        application = self.excel.application
        application.__class__ = _Excel
        self.interpreter = self.excel.interpreter
        self.interpreter.host = _Bridge(application)
        self.addin = self.excel.add_workbook()
        self.book = self.excel.add_workbook()
        declared = re.compile(r"#If VBA7 Then\n(?s:.*?)#End If\n")
        self.interpreter.add_module(declared.sub("", source), name="DispenseFunctions")
        if menu:
            self.interpreter.add_module(menu, name="DispenseMenu")

    def command(self, module, name, given):
        """What the menu asks of Python."""
        return ""

    def area(self, address, rows=None, sheet=1):
        """A range of the open workbook, filled first where rows are given."""
        found = self.book.vba_get("Worksheets", [sheet]).vba_get("Range", [address])
        if rows is not None:
            found.vba_set("Value2", _from_com(com(rows)) if isinstance(rows, list) else rows)
        return found

    def call(self, name: str, *arguments):
        """Call a function with cell values; left-out arguments at the end are missing."""
        given = [_from_com(com(value)) for value in arguments]
        return self.plain(self.interpreter.run(name, given))

    def answered(self, name: str, control) -> object:
        """What a callback of the ribbon gives back in its second argument."""
        asking = f"Ask{name}"
        if asking not in self.asking:
            self.asking.add(asking)
            self.interpreter.add_module(
                f"Public Function {asking}(ByVal control As Object) As Variant\n"
                f"    Dim given As Variant\n    {name} control, given\n    {asking} = given\nEnd Function\n",
                name=f"Module{asking}",
            )
        return self.raw(asking, control)

    def raw(self, name: str, *arguments):
        """Call with values of the interpreter, such as a `Cells` object."""
        return self.plain(self.interpreter.run(name, list(arguments)))

    def plain(self, value):
        """A result as a cell or rows of cells, an error as CellError."""
        from pyopenvba.interpreter import EMPTY, NOTHING, VBAArray, VBAErrorValue

        if isinstance(value, VBAErrorValue):
            return CellError({number: text for text, number in NUMBERS.items()}[value.number])
        if isinstance(value, VBAArray):
            value = _nested(value)
            if not isinstance(value[0], list):
                value = [value]
            return [[self.plain(cell) for cell in row] for row in value]
        if value is None or value is EMPTY or value is NOTHING:
            return None
        if hasattr(value, "value") and not isinstance(value, str):
            value = value.value
        if isinstance(value, str):
            return str(value)
        return value if isinstance(value, bool) else float(value)


def _error_value(number):
    from pyopenvba.interpreter import VBAErrorValue

    return VBAErrorValue(number)


def setter_of(name):
    """What makes a function the setter of a member."""
    from pyopenvba.interpreter._objects import setter

    return setter(name)


def _vba_error(text):
    from pyopenvba.exceptions import VBARuntimeError

    try:
        return VBARuntimeError(1000, text)
    except TypeError:
        return VBARuntimeError(text)


def _nested(array):
    if array.dimensions == 1:
        low, high = array.bounds[0]
        return [array.items[array.offset([i])] for i in range(low, high + 1)]
    (top, bottom), (left, right) = array.bounds
    return [
        [array.items[array.offset([i, j])] for j in range(left, right + 1)] for i in range(top, bottom + 1)
    ]


def _to_com(value):
    from pyopenvba.interpreter import EMPTY, VBAArray, VBAErrorValue
    from pyopenvba.interpreter import MISSING as LEFT_OUT

    if value is EMPTY:
        return None
    if value is LEFT_OUT:
        return MISSING
    if isinstance(value, VBAErrorValue):
        return 0x800A0000 - 0x100000000 + value.number
    if isinstance(value, VBAArray):
        rows = _nested(value)
        if rows and isinstance(rows[0], list):
            return tuple(tuple(_to_com(cell) for cell in row) for row in rows)
        return tuple(_to_com(cell) for cell in rows)
    if isinstance(value, str):
        return str(value)
    if isinstance(value, bool):
        return value
    return float(value.value if hasattr(value, "value") else value)


def _from_com(value):
    from pyopenvba.interpreter import EMPTY, VBAArray, VBAErrorValue
    from pyopenvba.interpreter import MISSING as LEFT_OUT

    if value is None:
        return EMPTY
    if isinstance(value, int) and not isinstance(value, bool):
        if value == MISSING:
            return LEFT_OUT
        return VBAErrorValue(value - (0x800A0000 - 0x100000000))
    if isinstance(value, list | tuple):
        if value and isinstance(value[0], list | tuple):
            array = VBAArray([(1, len(value)), (1, len(value[0]))])
            for i, row in enumerate(value, 1):
                for j, cell in enumerate(row, 1):
                    array.items[array.offset([i, j])] = _from_com(cell)
            return array
        array = VBAArray([(1, len(value))])
        for i, cell in enumerate(value, 1):
            array.items[array.offset([i])] = _from_com(cell)
        return array
    return value
