"""The worksheet functions as xlwings knows them, made from the registry when this is imported.

The generated VBA (see `dispense.addin.excel`) calls each function here through xlwings. A range
comes in as rows of cells, a single cell too; the registry checks and computes; what goes back are
floats, texts and TRUE/FALSE. xlwings would turn None and NaN into a silent blank and an exception
into a text, so an error goes back as a marked text that the VBA turns into the error itself.

The mark is a character from Unicode's private area, and an honest text that begins with it gets it
twice. `unmarked` (and the VBA beside it) takes one away: what is then an error's name is that
error, what begins with the mark is a text. So no text whatever can be taken for an error.

Without xlwings, or away from Windows, the functions are plain Python functions.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any

from dispense import addin
from dispense.base.errors import NUM, VALUE
from dispense.base.fields import ERROR_TEXTS, CellError, Field
from dispense.handbook import catalogue as _functions
from dispense.handbook.catalogue import evaluate
from dispense.handbook.declare import Function
from dispense.handbook.evaluate import keep_fault

_xlwings: Any
try:
    import xlwings as _xlwings
except ImportError:
    _xlwings = None

XLWINGS_VERSION: str = "" if _xlwings is None else _xlwings.__version__

MARK = "\ue000"

ERROR_NUMBERS = {
    "#NULL!": 2000,
    "#DIV/0!": 2007,
    "#VALUE!": 2015,
    "#REF!": 2023,
    "#NAME?": 2029,
    "#NUM!": 2036,
    "#N/A": 2042,
    "#GETTING_DATA": 2043,
    "#SPILL!": 2045,
    "#CONNECT!": 2046,
    "#BLOCKED!": 2047,
    "#UNKNOWN!": 2048,
    "#FIELD!": 2049,
    "#CALC!": 2050,
}
_SCODES = {number - 0x7FF60000: text for text, number in ERROR_NUMBERS.items()}

# Words of the language ([MS-VBAL] 3.3.5.2, from memory), of the VBA library and of the generated
# module, in lower case. An argument of such a name would be refused, or would hide the word.
VBA_WORDS = frozenset(
    """
    abs addressof and any array as attribute boolean byref byte byval call case cbool cbyte ccur
    cdate cdbl cdec cdecl cint circle clng clnglng clngptr close const csng cstr currency cvar cverr
    date debug decimal declare defbool defbyte defcur defdate defdbl defdec defint deflng deflnglng
    deflngptr defobj defsng defstr defvar dim do doevents double each else elseif empty end endif
    enum eqv erase event exit false fix for friend function get global gosub goto if imp implements
    in input inputb int integer is lbound len lenb let like lock long longlong longptr loop lset me
    mod new next not nothing null on open option optional or paramarray preserve print private pset
    public put raiseevent redim rem resume return rset scale seek select set sgn shared single spc
    static stop string sub tab then to true type typeof ubound unlock until variant wend while with
    withevents write xor
    application asc atn beep cells chdir chr chrw command cos createobject curdir day dir environ
    eof err error evaluate exp fileattr filter format freefile fv hex hour iif instr intersect ipmt
    irr isarray isdate isempty iserror ismissing isnull isnumeric isobject join kill lcase left loc
    lof log ltrim mid minute mirr month monthname msgbox name now nper npv object oct partition pmt
    ppmt pv range rate replace rgb right rnd round rtrim second selection send shell sin sln space
    split sqr str strcomp strconv strreverse switch syd tan text time timer timeserial timevalue
    trim typename ucase union val vartype weekday weekdayname workbooks worksheets year
    asks failure given i j notes value words xlpy
    """.split()  # noqa: SIM905
)


def argument_name(name: str) -> str:
    """The name of an argument in VBA: its own, with `_` behind where the word is taken.

    VBA knows no difference of case: an argument `takt` would hide, and respell, the function TAKT.

    >>> argument_name("height"), argument_name("time"), argument_name("bead_area")
    ('height', 'time_', 'bead_area_')
    """
    taken = name.lower() in VBA_WORDS or name.upper() in _functions.FUNCTIONS
    return f"{name}_" if taken else name


def argument_help(item: Field) -> str:
    """What the function wizard says of an argument, within Excel's 255 characters."""
    return _within(addin.argument_help(item))


def function_help(entry: Function) -> str:
    """What the function wizard says of a function, within Excel's 255 characters."""
    return _within(addin.function_help(entry))


def _within(text: str, most: int = 255) -> str:
    """The text, cut at a word where it is longer than the wizard takes."""
    text = " ".join(text.split())
    if len(text) <= most:
        return text
    return text[: most - 3].rpartition(" ")[0].rstrip(" ,;.") + "..."


def marked(value: Any) -> Any:
    """A result as it goes to the VBA: floats, texts, TRUE/FALSE; never None or NaN.

    >>> marked(CellError("#NUM!")) == MARK + "#NUM!", marked(None), marked(3)
    (True, '', 3.0)
    """
    if type(value) is float:
        return value if math.isfinite(value) else MARK + NUM
    if value is None:
        return ""
    if isinstance(value, CellError):
        return MARK + (str(value) if value in ERROR_NUMBERS else VALUE)
    if isinstance(value, str):
        return MARK + value if value.startswith(MARK) else value
    if isinstance(value, bool):
        return value
    number = float(value)
    return number if math.isfinite(number) else MARK + NUM


def unmarked(value: Any) -> Any:
    """What the VBA makes of a result: the same rule, in Python."""
    if isinstance(value, str) and value.startswith(MARK):
        rest = value[1:]
        return CellError(rest) if rest in ERROR_NUMBERS else rest
    return value


def _cell(value: Any) -> Any:
    """A cell as xlwings hands it over, as the registry wants it."""
    kind = type(value)
    if kind is float or value is None or kind is bool:
        return value
    if kind is str:
        return CellError(value) if value in ERROR_TEXTS else value
    if kind is int and value in _SCODES:  # an error newer than those xlwings can name
        return CellError(_SCODES[value])
    if isinstance(value, Decimal):  # a cell formatted as currency
        return float(value)
    return value


def _serial(
    year: int,
    month: int,
    day: int,
    hour: int = 0,
    minute: int = 0,
    second: int = 0,
    microsecond: int = 0,
    **_: Any,
) -> float:
    """The number behind a cell that is formatted as a date or a time."""
    moment = datetime(year, month, day, hour, minute, second, microsecond)
    return (moment - datetime(1899, 12, 30)).total_seconds() / 86400.0


def _given(block: Any) -> Any:
    """An argument: None where left out, one cell as a scalar, else rows of cells."""
    if not isinstance(block, list):
        return _cell(block)
    if len(block) == 1 and len(block[0]) == 1:
        return _cell(block[0][0])
    return [[_cell(value) for value in row] for row in block]


def _result(entry: Function, blocks: tuple) -> Any:
    """`blocks` are the arguments and behind them, where Excel told it, the cell that calls."""
    asked, place = blocks[: len(entry.arguments)], ""
    if len(blocks) > len(entry.arguments):
        place = str(_given(blocks[len(entry.arguments)]) or "")
    try:
        table = evaluate(entry, [_given(block) for block in asked], place).table()
    except Exception as error:  # a fault of the program: an error in the cell, its reason kept
        keep_fault(entry, error, place)
        table = [[CellError(VALUE)]]
    rows = [[marked(value) for value in row] for row in table]
    return rows[0][0] if len(rows) == 1 and len(rows[0]) == 1 else rows


def worksheet_function(entry: Function) -> Callable[..., Any]:
    """The function of one registry entry, named and described for xlwings."""

    def compute(*blocks: Any) -> Any:
        return _result(entry, blocks)

    parameters = [
        inspect.Parameter(
            argument_name(item.name),
            inspect.Parameter.POSITIONAL_OR_KEYWORD,
            default=inspect.Parameter.empty if item.is_required else None,
        )
        for item in entry.arguments
    ]
    compute.__name__ = compute.__qualname__ = entry.name
    compute.__doc__ = function_help(entry)
    compute.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]  # read by inspect
    if _xlwings is None:
        return compute
    for item in entry.arguments:
        compute = _xlwings.arg(
            argument_name(item.name), ndim=2, err_to_str=True, dates=_serial, doc=argument_help(item)
        )(compute)
    # last, because xlwings' other decorators set category and description back
    return _xlwings.func(category=f"Dispense {entry.category}", volatile=entry.table)(compute)


for _entry in _functions.FUNCTIONS.values():
    globals()[_entry.name] = worksheet_function(_entry)

__all__ = [
    "ERROR_NUMBERS",
    "MARK",
    "VBA_WORDS",
    "XLWINGS_VERSION",
    "argument_help",
    "argument_name",
    "function_help",
    "marked",
    "unmarked",
    "worksheet_function",
    *_functions.FUNCTIONS,
]
