"""The registry of workbook functions: one declaration serves cell, shell and Python.

A kernel (pure function on SI numbers and numpy arrays) is declared beside its body:

    @workbook_function(
        category="Beads",
        arguments=(choice("section", SECTIONS, "shape of the cross-section"),
                   number("width", "mm", "width on the base", above=0)),
        returns=(out("area", "mm²", "cross-section"),),
        equation="A = π w² / 8 (half circle)",
        source="elementary geometry",
        valid="any width above 0",
        examples=(example(("half-round", 6.0), 14.137166941, "π·6·3/4, by hand"),),
    )
    def bead_area(section, width): ...

The decorator registers `BEAD_AREA`, appends arguments, returns and the rest to the docstring and
returns the kernel unchanged: called directly it takes SI units and checks nothing.

What the registry does, and a kernel therefore need not:
- binds arguments, fills defaults, reads texts with units, converts to SI and results back;
- checks limits of each field and each `requires` condition, element by element;
- broadcasts scalars, rows and columns; one call over 10,000 rows is one kernel call. A kernel gets
  each `choice` as one plain text and each blank optional argument (default None) as None: where a
  range mixes them, the rows are grouped and the kernel is called once per group;
- turns NaN or an infinite number in a result into `#NUM!` with the text `no_answer`: a kernel
  returns NaN where there is no answer; a kernel with a text argument that finds the text in no
  table raises InputError with code `#N/A`, which stays in the cells of that text;
- keeps the reasons for `LAST_PROBLEMS`.

`system` names shop units of length and time, such as `("mm", "h")`, in which a homogeneous closed
form (one without a constant in metres or seconds) gives the same answer as in SI. Plain numbers and
plain columns then reach it as they stand: 10 mm × 5 mm is 50 mm² to the last digit, and a column is
read once instead of three times. `tests/test_columns.py` checks every function that says so.

Functions over whole ranges (`vector`, `matrix`, `record`, `points` arguments): the kernel gets each
whole argument as one float array (vector 1-D, matrix 2-D, record 1-D with NaN for blanks, points an
(n, 2 or 3) array and, as a further keyword `labels`, the texts of its last column or None). With
`whole=True` the kernel sees every argument as it was given and returns an array of its own shape; a
1-D result is laid along the argument named by `along`. Without it the remaining arguments are
iterated element by element as usual.
"""

from __future__ import annotations

import inspect
import math
from collections import deque, namedtuple
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from .errors import NA, NUM, VALUE, DispenseError, InputError, Problem, show
from .fields import ERROR_TEXTS, REQUIRED, CellError, Field
from .units import coherent_factor, describe_unit, si_symbol, to_si

FUNCTIONS: dict[str, Function] = {}
_RECENT: deque[Problem] = deque(maxlen=200)
_MOST_PROBLEMS = 20  # per argument of one call; further ones are counted
_BLANK = "blank"


@dataclass(frozen=True, slots=True)
class Out:
    """One result: name, shop unit, help; kind `number`, `whole` or `text`."""

    name: str
    unit: str = ""
    help: str = ""
    kind: str = "number"


@dataclass(frozen=True, slots=True)
class Requirement:
    """A condition between arguments, true where the values (SI) are possible."""

    check: Callable[..., Any]
    argument: str
    allowed: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """A call in shop units with the result that an outside source gives for it."""

    arguments: tuple
    result: Any
    source: str
    tolerance: float = 1e-9


def out(name: str, unit: str = "", help: str = "", kind: str = "number") -> Out:
    """A result of a workbook function."""
    return Out(name, unit, help, kind)


def example(arguments: Sequence, result: Any, source: str, tolerance: float = 1e-9) -> Example:
    """An example whose expected result does not come from this code."""
    return Example(tuple(arguments), result, source, tolerance)


def requires(check: Callable[..., Any], argument: str, allowed: str) -> Requirement:
    """A condition between arguments; `check` names the arguments it reads, in SI."""
    return Requirement(check, argument, allowed, tuple(inspect.signature(check).parameters))


@dataclass(frozen=True)
class Function:
    """A workbook function: its declaration and its kernel."""

    name: str
    category: str
    summary: str
    arguments: tuple[Field, ...]
    returns: tuple[Out, ...]
    kernel: Callable[..., Any]
    equation: str = ""
    source: str = ""
    valid: str = ""
    rule: str = ""  # said where a result rests on a rule of thumb or on extrapolation
    requires: tuple[Requirement, ...] = ()
    no_answer: str = "there is no answer for these values"
    whole: bool = False
    along: str = ""
    examples: tuple[Example, ...] = ()
    formula: str = ""  # the same closed form in a spreadsheet's own functions, in shop units
    table: bool = False  # the kernel returns rows of texts and numbers, as they are
    notes: str = ""  # further help, such as marks on table values
    system: tuple[str, ...] = ()  # shop units of length and time that the kernel may count in

    @cached_property
    def plan(self) -> tuple:
        """Per argument what the short ways need."""
        return tuple(_Short(item, self.system) for item in self.arguments)

    @cached_property
    def defaults(self) -> dict[str, Any]:
        """What each argument is where it is left out, as the kernel takes it; REQUIRED for some."""
        return {argument.name: argument.default for argument in self.plan}

    @cached_property
    def needed(self) -> int:
        """How many arguments must be given."""
        return sum(argument.is_needed for argument in self.plan)

    @cached_property
    def scale(self) -> tuple:
        """Per result the factor and offset to SI."""
        return tuple((*to_si(item.unit), item.kind) for item in self.returns)

    @cached_property
    def short_scale(self) -> tuple:
        """The same to the units that the short ways count in."""
        return tuple(
            (coherent_factor(item.unit, self.system), offset, kind)
            for item, (_, offset, kind) in zip(self.returns, self.scale, strict=True)
        )

    @cached_property
    def result_type(self) -> type:
        """The named tuple of several results."""
        return namedtuple(self.name.title().replace("_", ""), [item.name for item in self.returns])

    @cached_property
    def is_elementwise(self) -> bool:
        """Whether every argument is iterated element by element."""
        return not self.whole and not self.table and not any(
            item.is_whole_range for item in self.arguments
        )  # fmt: skip

    @property
    def signature(self) -> str:
        """The call as printed: BEAD_AREA(section, width, [height])."""
        parts = []
        for item in self.arguments:
            default = item.default_text()
            word = f"{item.label}={default}" if default else item.label
            parts.append(item.label if item.is_required else f"[{word}]")
        return f"{self.name}({', '.join(parts)})"


_NUMERIC = {"number", "whole", "vector", "matrix", "points"}


class _Short:
    """An argument as the short ways read it."""

    __slots__ = ("choices", "default", "factor", "high", "is_needed", "is_number", "is_plain",
                 "is_whole", "kind", "low", "name", "offset")  # fmt: skip

    def __init__(self, item: Field, system: tuple[str, ...]) -> None:
        self.name, self.kind, self.choices = item.name, item.kind, item.choices
        self.is_whole = item.kind == "whole"
        self.is_number = self.is_whole or item.kind == "number"
        self.is_needed = item.is_required
        in_si, self.offset = to_si(item.unit) if item.kind in _NUMERIC else (1.0, 0.0)
        self.factor = coherent_factor(item.unit, system) if self.is_number else in_si
        self.is_plain = self.factor == 1.0 and not self.offset
        self.default = REQUIRED if item.is_required else item.default_si()
        if isinstance(self.default, float) and self.factor != in_si:
            self.default *= self.factor / in_si
        self.low, self.high = item.ends(self.factor)

    def read(self, value: Any) -> Any:
        """A plain value as the kernel takes it; REQUIRED where it is none or out of its limits."""
        kind = type(value)
        if kind is float or kind is int:
            if not self.is_number or not self.low <= value <= self.high:
                return REQUIRED
            if self.is_whole and value != math.floor(value):
                return REQUIRED
            return value * self.factor + self.offset
        if kind is str and self.kind == "choice" and value in self.choices:
            return value
        if kind is bool and self.kind == "flag":
            return value
        return REQUIRED

    def read_part(self, part: np.ndarray, place: np.ndarray) -> np.ndarray | None:
        """Numbers as the kernel takes them, left in `place`; None where one is out of its limits.

        Where a unit changes nothing, these are the caller's own numbers, to be read only.
        """
        if not _all_within(part, self.low, self.high, self.is_whole):
            return None
        if self.is_plain:
            part.flags.writeable = False
            return part
        result, place = part, place[: len(part)]
        if self.factor != 1.0:
            result = np.multiply(part, self.factor, place)
        if self.offset:
            result = np.add(result, self.offset, place)
        return result


def _bits(number: float) -> int:
    return int(np.float64(number).view(np.uint64))


def _largest_bits(array: np.ndarray) -> int:
    """The largest of some doubles by their bits, in one pass.

    From 0 up bits rise with the number; infinity, NaN and then every number below 0 come after.
    """
    return int(array.view(np.uint64).max(initial=0))


_INFINITY = _bits(math.inf)


def workbook_function(
    *,
    category: str,
    arguments: Sequence[Field] = (),
    returns: Sequence[Out],
    equation: str = "",
    source: str = "",
    valid: str = "",
    rule: str = "",
    requires: Sequence[Requirement] = (),
    no_answer: str = "there is no answer for these values",
    whole: bool = False,
    along: str = "",
    examples: Sequence[Example] = (),
    formula: str = "",
    table: bool = False,
    notes: str = "",
    system: Sequence[str] = (),
) -> Callable:
    """Declare the decorated kernel as a workbook function of the same name in capitals."""

    def declare(kernel: Callable) -> Callable:
        summary = (kernel.__doc__ or "").strip().splitlines()[0]
        entry = Function(
            kernel.__name__.upper(), category, summary, tuple(arguments), tuple(returns), kernel,
            equation, source, valid, rule, tuple(requires), no_answer, whole, along,
            tuple(examples), formula, table, notes, tuple(system),
        )  # fmt: skip
        if entry.name in FUNCTIONS:
            raise ValueError(f"{entry.name} is declared twice")
        FUNCTIONS[entry.name] = entry
        kernel.__doc__ = inspect.cleandoc(kernel.__doc__ or "") + "\n\n" + _docstring(entry)
        return kernel

    return declare


def _docstring(entry: Function) -> str:
    """The sections of a kernel's docstring that the declaration knows; units are SI."""
    lines = []
    if entry.equation:
        lines += ["Equation", f"    {entry.equation}", ""]
    lines += ["Arguments (scalars or arrays that broadcast, unless said otherwise)"]
    for item in entry.arguments:
        unit = describe_unit(si_symbol(item.unit)) if item.kind in _NUMERIC else item.kind
        shape = {"vector": ", 1-D array", "matrix": ", 2-D array", "points": ", (n, 2 or 3) array"}
        lines.append(f"    {item.name} [{unit}{shape.get(item.kind, '')}]: {item.help}")
    lines += ["", "Returns"]
    for result in entry.returns:
        lines.append(f"    {result.name} [{describe_unit(si_symbol(result.unit))}]: {result.help}")
    texts = [item.name for item in entry.arguments if item.kind == "text"]
    raised = f"InputError where {texts[0]} is in no table" if texts else "nothing"
    lines += [
        "", "Raises",
        f"    {raised}; NaN where {entry.no_answer}. Limits are checked by "
        f"`dispense.call(\"{entry.name}\", …)`, which raises InputError.",
    ]  # fmt: skip
    for title, body in (("Valid range", entry.valid), ("Rule of thumb", entry.rule),
                        ("Notes", entry.notes), ("Source", entry.source)):  # fmt: skip
        if body:
            lines += ["", title, f"    {body}"]
    return "\n".join(lines)


# ---------------------------------------------------------------------------------------- calling


@dataclass(slots=True)
class Evaluation:
    """What a call gave: results in shop units, spreadsheet errors element by element, reasons."""

    function: Function
    values: tuple  # one float or array (NaN where there is none) per result; rows for a table
    codes: Any = None  # None, a text, or an object array of "" / "blank" / "#NUM!" …
    problems: tuple[Problem, ...] = ()

    def result(self) -> Any:
        """The value for Python: a float, an array, or a named tuple; raises where a value failed."""
        if self.problems:
            raise InputError(self.problems)
        if self.function.table:
            return self.values[0]
        if len(self.values) == 1:
            return self.values[0]
        return self.function.result_type(*self.values)

    def table(self) -> list[list[Any]]:
        """Rows of floats, texts, None for blank and CellError for errors, as a sheet shows them."""
        if isinstance(self.codes, str) and self.codes:
            return [[CellError(self.codes)]]
        if self.function.table:
            return [list(row) for row in self.values[0]]
        several = len(self.values) > 1
        arrays = [np.asarray(value) for value in self.values]
        if arrays[0].ndim == 0:
            return [[_plain(value) for value in arrays]]
        if arrays[0].ndim == 1:  # a 1-D array of Python is a column on a sheet
            arrays = [value[:, None] for value in arrays]
        codes = None if self.codes is None else np.asarray(self.codes, dtype=object)
        if codes is not None:
            codes = codes.reshape(arrays[0].shape)
        if several:
            rows, columns = arrays[0].shape
            if rows > 1 and columns > 1:
                return [[CellError(VALUE)]]
            axis = 0 if rows == 1 and columns > 1 else 1
            codes = None if codes is None else np.concatenate([codes] * len(arrays), axis)
            block = np.concatenate(arrays, axis)
        else:
            block = arrays[0]
        cells = block.tolist()
        if codes is not None:
            for i, j in np.argwhere(codes != ""):
                code = codes[i, j]
                cells[i][j] = None if code == _BLANK else CellError(code)
        return cells


def _plain(value: Any) -> Any:
    value = value.item() if hasattr(value, "item") else value
    return value


def lookup(name: str) -> Function:
    """The function of that name; a name that does not exist is an InputError with near names."""
    from . import functions as _functions  # noqa: F401  (declares every function)

    entry = FUNCTIONS.get(str(name).strip().upper())
    if entry is None:
        import difflib

        near = difflib.get_close_matches(str(name).upper(), FUNCTIONS, 3)
        hint = f"did you mean {' or '.join(near)}?" if near else "`dispense functions` lists them"
        raise InputError(
            Problem(str(name), code=NA, message="there is no function of that name", fix=hint)
        )
    return entry


def call(name: str, *arguments: Any, **named: Any) -> Any:
    """Evaluate a workbook function in shop units; raises InputError with every problem at once.

    >>> call("BEAD_VOLUME", 1200, "half-round", 6)  # doctest: +ELLIPSIS
    16.9646...
    """
    entry = FUNCTIONS.get(name)
    if entry is None:
        entry = lookup(name)
    if named:
        arguments = _bind(entry, arguments, named)
    if entry.is_elementwise:
        value = scalar(entry, arguments)
        if value is not None:
            return value
    return evaluate(entry, arguments).result()


def evaluate(function: Function | str, arguments: Sequence[Any]) -> Evaluation:
    """Evaluate without raising: errors stay in their cells and the reasons beside them."""
    entry = lookup(function) if isinstance(function, str) else function
    try:
        result = _evaluate(entry, tuple(arguments))
    except DispenseError as error:
        result = Evaluation(entry, (math.nan,) * len(entry.returns), error.code, error.problems)
    _RECENT.extend(result.problems)
    return result


def keep_fault(function: Function, error: Exception) -> None:
    """Keep a fault of the program among the recent problems, for an add-in that shows an error cell."""
    reason = f"fault in the program: {type(error).__name__}: {error}"
    _RECENT.append(Problem(function.name, message=reason))


def recent_problems(count: int) -> list[Problem]:
    """The latest problems of any call, newest first."""
    return list(_RECENT)[::-1][:count]


def _bind(entry: Function, arguments: tuple, named: dict[str, Any]) -> tuple:
    names = [item.label for item in entry.arguments]
    named = {name.removesuffix("_"): value for name, value in named.items()}
    unknown = [name for name in named if name not in names]
    if unknown:
        raise InputError(
            Problem(entry.name, message=f"there is no argument {unknown[0]}",
                    fix=f"the call is {entry.signature}")
        )  # fmt: skip
    bound = list(arguments) + [None] * (len(names) - len(arguments))
    for name, value in named.items():
        place = names.index(name)
        if place < len(arguments):
            raise InputError(Problem(entry.name, message=f"{name} is given twice"))
        bound[place] = value
    return tuple(bound)


def scalar(entry: Function, arguments: tuple) -> Any:
    """The short way of single cells: plain numbers and texts in, a float out; None: take the long way."""
    with np.errstate(all="ignore"):
        return loud_scalar(entry, arguments)


def loud_scalar(entry: Function, arguments: tuple) -> Any:
    """The same where numpy may warn: for a program that has silenced it once for all calls."""
    plan = entry.plan
    if len(arguments) > len(plan):
        return None
    values = entry.defaults.copy()
    needed = entry.needed
    for argument, value in zip(plan, arguments):  # noqa: B905  (what is left out has its default)
        if value is not None:
            value = argument.read(value)
            if value is REQUIRED:
                return None
            values[argument.name] = value
            needed -= argument.is_needed
    if needed:
        return None
    for condition in entry.requires:
        given = [values[name] for name in condition.names]
        if None not in given and not condition.check(*given):
            return None
    try:
        results = entry.kernel(**values)
    except (ZeroDivisionError, OverflowError, ValueError):
        return None
    scale = entry.short_scale
    if len(scale) == 1:
        return _shown(results, *scale[0])
    shown = [_shown(result, *each) for result, each in zip(results, scale, strict=True)]
    return None if None in shown else entry.result_type(*shown)


def _shown(result: Any, factor: float, offset: float, kind: str) -> float | int | None:
    """A result in its shop unit; None where it is no number."""
    number = (float(result) - offset) / factor
    if not math.isfinite(number):
        return None
    return int(number) if kind == "whole" else number


_ROWS = 25_000  # computed at a time: their numbers stay in the processor's cache from unit to result


def _columns(entry: Function, arguments: tuple) -> tuple[np.ndarray, ...] | None:
    """The short way of columns: plain numbers in arrays of one shape, all of them good.

    Limits, unit, kernel and result go part by part. None where the long way is needed: it says what
    is wrong with which element.
    """
    found = _short_arguments(entry, arguments)
    if found is None:
        return None
    given, values, shape = found
    size = math.prod(shape)
    step = min(size, _ROWS)
    if all(argument.is_plain for argument, _ in given):
        step = size  # no unit changes a number on its way in
    results = [np.empty(size) for _ in entry.returns] if step < size else []
    room = [np.empty(0 if argument.is_plain else step) for argument, _ in given]
    pieces: list[np.ndarray] = []
    try:
        with np.errstate(all="ignore"):
            for begin in range(0, size, step):
                end = begin + step
                for (argument, array), place in zip(given, room, strict=True):
                    part = argument.read_part(array[begin:end], place)
                    if part is None:
                        return None
                    values[argument.name] = part
                pieces = _compute_part(entry, values, [result[begin:end] for result in results])
                if not pieces:
                    return None
    except (ZeroDivisionError, OverflowError, ValueError):
        return None
    return tuple(result.reshape(shape) for result in results or [_own(p, size) for p in pieces])


def _own(piece: np.ndarray, size: int) -> np.ndarray:
    """The numbers in an array of that size that no other array shares."""
    if piece.shape == (size,) and piece.flags.owndata:
        return piece
    return np.array(np.broadcast_to(piece, size))


def _short_arguments(entry: Function, arguments: tuple) -> tuple | None:
    """Columns as flat arrays, single values as the kernel takes them, and the one shape."""
    plan = entry.plan
    if len(arguments) > len(plan):
        return None
    given: list[tuple[_Short, np.ndarray]] = []
    fixed: dict[str, Any] = {}
    shape = None
    for place, argument in enumerate(plan):
        value: Any = arguments[place] if place < len(arguments) else None
        if type(value) is np.ndarray:
            if value.dtype.kind not in "fiu" or not argument.is_number:
                return None
            if not value.size or value.ndim > 2 or value.shape != (shape or value.shape):
                return None
            shape = value.shape
            given.append((argument, value.astype(float, copy=False).ravel()))
            continue
        value = argument.default if value is None else argument.read(value)
        if value is REQUIRED:
            return None
        fixed[argument.name] = value
    return None if shape is None else (given, fixed, shape)


def _compute_part(entry: Function, values: dict, results: list[np.ndarray]) -> list[np.ndarray]:
    """Compute part of the rows, in shop units, in `results` where given; []: the long way is needed."""
    for condition in entry.requires:
        parts = [values[name] for name in condition.names]
        if not any(part is None for part in parts) and not np.all(condition.check(*parts)):
            return []
    found = entry.kernel(**values)
    pieces = []
    found = (found,) if len(entry.returns) == 1 else found
    for place, (piece, (factor, offset, _)) in enumerate(zip(found, entry.short_scale, strict=True)):
        result = results[place] if results else None
        if offset or factor != 1.0:
            piece = np.divide(piece - offset if offset else piece, factor, result)
        elif result is not None:
            result[...] = piece
            piece = result
        if not _all_finite(piece):
            return []
        pieces.append(piece)
    return pieces


def _evaluate(entry: Function, arguments: tuple) -> Evaluation:
    if entry.is_elementwise:
        columns = _columns(entry, arguments)
        if columns is not None:
            return Evaluation(entry, columns)
    return _evaluate_at_length(entry, arguments)


def _evaluate_at_length(entry: Function, arguments: tuple) -> Evaluation:
    if len(arguments) > len(entry.arguments):
        raise InputError(
            Problem(entry.name, message=f"{len(arguments)} arguments are given, "
                    f"at most {len(entry.arguments)} are allowed",
                    fix=f"the call is {entry.signature}")
        )  # fmt: skip
    given = arguments + (None,) * (len(entry.arguments) - len(arguments))
    problems: list[Problem] = []
    whole: dict[str, Any] = {}
    columns: dict[str, _Column] = {}
    shapes: dict[str, tuple[int, ...]] = {}
    for item, raw in zip(entry.arguments, given, strict=True):
        try:
            if item.is_whole_range:
                whole.update(_read_whole(item, raw, entry.name, shapes))
            else:
                columns[item.name] = _read_column(item, raw, entry.name)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    if entry.table:
        values = {name: column.one(entry.name) for name, column in columns.items()}
        return Evaluation(entry, (entry.kernel(**values, **whole),))
    if entry.whole:
        return _evaluate_whole(entry, whole, columns, shapes)
    return _evaluate_elements(entry, whole, columns)


def _evaluate_whole(entry: Function, whole: dict, columns: dict, shapes: dict) -> Evaluation:
    bad = [problem for column in columns.values() for problem in column.problems]
    if bad:
        raise InputError(bad)
    values = {name: column.plain() for name, column in columns.items()}
    _check_requirements(entry, {**whole, **values})
    with np.errstate(all="ignore"):
        results = entry.kernel(**whole, **values)
    if len(entry.returns) == 1 and not isinstance(results, tuple):
        results = (results,)
    shown = []
    codes: Any = None
    problems: list[Problem] = []
    for result, (factor, offset, _) in zip(results, entry.scale, strict=True):
        array = np.asarray(result, dtype=float)
        array = (array - offset) / factor if offset else array / factor
        if not np.isfinite(array).all():
            problems.append(Problem(entry.name, code=NUM, message=entry.no_answer))
            codes = np.where(np.isfinite(array), "", NUM).astype(object)
            if array.ndim == 0:
                codes = NUM
        if array.ndim == 1 and entry.along:
            shape = shapes.get(entry.along, ())
            if len(shape) == 2:
                array = array.reshape((1, -1) if shape[0] == 1 and shape[1] > 1 else (-1, 1))
                if isinstance(codes, np.ndarray):
                    codes = codes.reshape(array.shape)
        shown.append(float(array) if array.ndim == 0 else array)
    return Evaluation(entry, tuple(shown), codes, tuple(problems[:1]))


def _check_requirements(entry: Function, values: dict[str, Any]) -> None:
    problems = []
    for condition in entry.requires:
        parts = [values.get(name) for name in condition.names]
        if any(part is None for part in parts):
            continue
        if not np.all(condition.check(*parts)):
            problems.append(_requirement_problem(entry, condition, values.get(condition.argument)))
    if problems:
        raise InputError(problems)


def _requirement_problem(entry: Function, condition: Requirement, value: Any) -> Problem:
    item = next((item for item in entry.arguments if item.name == condition.argument), None)
    if isinstance(value, np.ndarray) and value.ndim:
        value = f"{value.shape[0]} values" if value.ndim == 1 else f"a {value.shape} block"
    elif value is not None and item is not None and item.kind in {"number", "whole"}:
        factor, offset = to_si(item.unit)
        value = round((float(value) - offset) / factor, 12)
    return Problem(entry.name, condition.argument, value, condition.allowed, code=NUM)


def _evaluate_elements(entry: Function, whole: dict, columns: dict[str, _Column]) -> Evaluation:
    try:
        shape = np.broadcast_shapes(*(column.shape for column in columns.values()))
    except ValueError:
        sizes = ", ".join(f"{name} {'×'.join(map(str, column.shape)) or '1'}"
                          for name, column in columns.items())  # fmt: skip
        raise InputError(
            Problem(entry.name, message=f"the sizes of the ranges do not fit: {sizes}",
                    fix="give ranges of one size, or a row against a column")
        ) from None  # fmt: skip
    codes = None
    problems: list[Problem] = []
    for column in columns.values():
        problems.extend(column.problems)
        if column.codes is not None:
            codes = _merge(codes, np.broadcast_to(column.codes, shape), shape)
    # conditions between arguments, on the elements that are still good
    for condition in entry.requires:
        parts = [whole[name] if name in whole else columns[name].filled() for name in condition.names]
        if any(part is None for part in parts):
            continue
        holds = np.broadcast_to(np.asarray(condition.check(*parts), dtype=bool), shape)
        blank = [columns[name].blank for name in condition.names
                 if name in columns and columns[name].blank is not None]  # fmt: skip
        for mask in blank:
            holds = holds | np.broadcast_to(mask, shape)
        if not holds.all():
            bad = ~holds if codes is None else ~holds & (codes == "")
            if bad.any():
                first = tuple(np.argwhere(bad)[0]) if shape else ()
                value = None
                if condition.argument in columns:
                    value = np.broadcast_to(columns[condition.argument].filled(), shape)[first]
                elif condition.argument in whole:
                    value = whole[condition.argument]
                problems.append(_requirement_problem(entry, condition, value))
                codes = _merge(codes, np.where(bad, NUM, "").astype(object), shape)
    results, codes = _run(entry, whole, columns, shape, codes, problems)
    shown = []
    for result, (factor, offset, kind) in zip(results, entry.scale, strict=True):
        with np.errstate(over="ignore"):
            result = (result - offset) / factor if offset else result / factor
        if not _all_finite(result):
            finite = np.isfinite(result)
            lost = ~finite if codes is None else ~finite & (codes == "")
            if lost.any():
                problems.append(_no_answer(entry, columns, shape, lost))
                codes = _merge(codes, np.where(lost, NUM, "").astype(object), shape)
        if not shape:
            number = float(result)
            shown.append(int(number) if kind == "whole" and math.isfinite(number) else number)
        else:
            shown.append(result)
    if not shape and codes is not None:
        codes = codes.item()
    return Evaluation(entry, tuple(shown), codes, tuple(problems))


def _no_answer(entry: Function, columns: dict, shape: tuple, lost: np.ndarray) -> Problem:
    first = tuple(np.argwhere(lost)[0]) if shape else ()
    words = []
    for item in entry.arguments:
        column = columns.get(item.name)
        if column is not None and column.values is not None:
            value = np.broadcast_to(column.filled(), shape)[first] if shape else column.scalar()
            if isinstance(value, float | np.floating):
                factor, offset = to_si(item.unit)
                value = float(f"{(value - offset) / factor:.12g}")
            if value is not None and not (isinstance(value, float) and math.isnan(value)):
                words.append(f"{item.name} {show(value)}")
    count = int(lost.sum())
    more = f" and {count - 1} more" if count > 1 else ""
    return Problem(entry.name, code=NUM,
                   message=f"{entry.no_answer}: {', '.join(words)}{more}")  # fmt: skip


def _merge(codes, new, shape):
    if codes is None:
        return np.array(np.broadcast_to(new, shape), dtype=object)
    # an error given by the user's cell wins over a blank; the first error found stays
    return np.where((codes == "") | ((codes == _BLANK) & (new != "")), new, codes)


def _run(
    entry: Function, whole: dict, columns: dict, shape: tuple, codes, problems: list[Problem]
) -> tuple[list[np.ndarray], Any]:
    """Call the kernel once per group of choices and of blanks; scatter where elements failed.

    A group for which the kernel raises InputError (a name that is not in its table) keeps that
    error's code in its cells, and the other groups their results.
    """
    size = math.prod(shape)
    keys = None  # integer group of each element
    for column in columns.values():
        if column.groups is not None:
            group = np.broadcast_to(column.groups, shape)
            keys = group if keys is None else keys * (int(group.max()) + 1) + group
    count = len(entry.returns)
    if keys is None and codes is None:
        values = {name: column.plain() for name, column in columns.items()}
        with np.errstate(all="ignore"):
            results = entry.kernel(**whole, **values)
        results = (results,) if count == 1 else results
        return [np.broadcast_to(np.asarray(result, float), shape) for result in results], codes
    keys = np.zeros(shape, dtype=int) if keys is None else keys
    good = np.ones(shape, dtype=bool) if codes is None else codes == ""
    results = [np.full(size, math.nan) for _ in range(count)]
    flat_keys, flat_good = keys.ravel(), good.ravel()
    for key in np.unique(flat_keys[flat_good]):
        chosen = flat_good & (flat_keys == key)
        values = {name: column.part(shape, chosen) for name, column in columns.items()}
        try:
            with np.errstate(all="ignore"):
                part = entry.kernel(**whole, **values)
        except InputError as error:
            problems.extend(error.problems)
            failed = np.where(chosen.reshape(shape), error.code, "").astype(object)
            codes = _merge(codes, failed, shape)
            continue
        for result, piece in zip(results, (part,) if count == 1 else part, strict=True):
            result[chosen] = piece
    return [result.reshape(shape) for result in results], codes


@dataclass(slots=True)
class _Column:
    """An argument that is iterated: values in SI, blanks, spreadsheet errors, groups."""

    item: Field
    values: Any  # float or object array (0-d for a scalar), or None when left out with default None
    blank: Any = None  # bool array where an optional argument without default is blank
    codes: Any = None  # object array of "", "blank" or an error
    groups: Any = None  # integer array where the kernel must be called group by group
    problems: list[Problem] = field(default_factory=list)

    @property
    def shape(self) -> tuple[int, ...]:
        return () if self.values is None else self.values.shape

    def plain(self) -> Any:
        """The values for a kernel when no grouping is needed."""
        if self.values is None:
            return None
        if self.values.ndim == 0:
            return self.values.item() if self.item.kind in _TEXTUAL else self.values[()]
        return self.values

    def scalar(self) -> Any:
        """The one value of a scalar or of a range of one cell."""
        value = self.plain()
        return value.ravel()[0] if isinstance(value, np.ndarray) and value.size == 1 else value

    def one(self, where: str) -> Any:
        """The one value; a range of several is refused, and so is a value that failed."""
        if self.problems:
            raise InputError(self.problems)
        if self.values is not None and self.values.size != 1:
            raise InputError(
                Problem(where, self.item.name, f"{self.values.size} cells", "a single cell")
            )
        if self.codes is not None:
            raise InputError(self.item.problem(where, None))
        return self.scalar()

    def filled(self) -> Any:
        """The values with NaN where blank."""
        return self.plain()

    def part(self, shape: tuple, chosen: np.ndarray) -> Any:
        """The values of the chosen elements; one plain text for a choice, None for blanks."""
        if self.values is None:
            return None
        if self.values.ndim == 0:
            return self.plain()
        values = np.broadcast_to(self.values, shape).ravel()[chosen]
        if self.item.kind in _TEXTUAL:
            return values[0]
        if self.blank is not None and np.broadcast_to(self.blank, shape).ravel()[chosen][0]:
            return None
        return values


_TEXTUAL = {"choice", "flag", "text"}


def _read_column(item: Field, raw: Any, where: str) -> _Column:
    """One iterated argument, from a scalar, a list, nested lists, an array or a pandas object."""
    array = _as_array(raw)
    if array is None:
        value = item.read(raw, where)
        if value is None:
            return _Column(item, None)
        kind = object if item.kind in _TEXTUAL else float
        return _Column(item, np.array(value, dtype=kind))
    if array.ndim > 2:
        raise InputError(Problem(where, item.name, f"{array.ndim}-D array", "one or two-dimensional"))
    if array.size == 0:
        raise InputError(Problem(where, item.name, "an empty range", "a range of one cell or more"))
    if array.dtype.kind in "fiu" and item.kind in {"number", "whole"}:
        return _read_numbers(item, array.astype(float, copy=False), where)
    return _read_cells(item, array, where)


def _read_numbers(item: Field, array: np.ndarray, where: str) -> _Column:
    factor, offset = to_si(item.unit)
    with np.errstate(over="ignore", invalid="ignore"):
        values = array * factor
        if offset:
            values += offset
    column = _Column(item, values)
    low, high = item.ends(factor)
    if _all_within(array, low, high, item.kind == "whole"):
        return column
    good = (array >= low) & (array <= high)  # NaN is neither
    if item.kind == "whole":
        good &= array == np.floor(array)
    if not good.all():
        column.codes = np.where(good, "", NUM).astype(object)
        places = np.argwhere(~good)
        for place in places[:_MOST_PROBLEMS]:
            given = float(array[tuple(place)])
            column.problems.append(item.problem(_element(where, place), given, NUM))
        _count_rest(column, places, where, item)
    return column


def _all_within(array: np.ndarray, low: float, high: float, whole: bool) -> bool:
    """Whether every number is from low to high: its smallest and largest are (NaN never is)."""
    if low == 0.0:
        good = _largest_bits(array) <= _bits(high)
    else:
        good = low <= array.min() and array.max() <= high
    return bool(good and (not whole or np.array_equal(array, np.floor(array))))


def _all_finite(array: np.ndarray) -> bool:
    """Whether every number is finite; a finite sum has only finite terms."""
    if _largest_bits(array) < _INFINITY:
        return True
    with np.errstate(all="ignore"):
        return bool(math.isfinite(array.sum()) or np.isfinite(array).all())


def _read_cells(item: Field, array: np.ndarray, where: str) -> _Column:
    """Cell by cell, for ranges that hold texts, blanks or errors."""
    textual = item.kind in _TEXTUAL
    flat: list[Any] = []
    codes: list[str] = []
    problems: list[Problem] = []
    failed = 0
    blanks = False
    default = item.default_si()
    known: dict[str, Any] = {}  # texts read before; they often repeat
    for place, raw in enumerate(array.ravel().tolist()):
        if type(raw) is str and raw in known:
            flat.append(known[raw])
            codes.append("")
            continue
        code = ""
        value = default
        try:
            if _is_blank(raw):
                blanks = True
                if item.is_required:
                    code = _BLANK
            elif type(raw) is str and raw in ERROR_TEXTS:
                raise InputError(item.problem(where, raw, raw, "mend the cell it reads"))
            else:
                value = item.read(raw, where)
        except InputError as error:
            code = error.code
            failed += 1
            if len(problems) < _MOST_PROBLEMS:
                index = np.unravel_index(place, array.shape)
                problem = error.problems[0]
                problems.append(Problem(_element(where, index), problem.argument, problem.value,
                                        problem.allowed, problem.fix, problem.code))  # fmt: skip
        codes.append(code)
        flat.append(value if not code else (default if textual else None))
        if not code and type(raw) is str and value is not default:
            known[raw] = value
    if textual:
        values = np.array(flat, dtype=object).reshape(array.shape)
        numbers: dict[str, int] = {}
        groups = np.array([numbers.setdefault(str(value), len(numbers)) for value in flat])
        column = _Column(item, values, groups=groups.reshape(array.shape))
    else:
        values = np.array([math.nan if value is None else value for value in flat], dtype=float)
        column = _Column(item, values.reshape(array.shape))
        if blanks and not item.is_required and default is None:
            column.blank = np.array(
                [_is_blank(raw) for raw in array.ravel().tolist()]
            ).reshape(array.shape)
            column.groups = column.blank.astype(int)
    if any(codes):
        column.codes = np.array(codes, dtype=object).reshape(array.shape)
    column.problems = problems
    if failed > len(problems):
        column.problems.append(
            Problem(where, message=f"{item.name} has {failed - len(problems)} more such cells")
        )
    return column


def _count_rest(column: _Column, places: np.ndarray, where: str, item: Field) -> None:
    if len(places) > _MOST_PROBLEMS:
        column.problems.append(
            Problem(where, code=NUM,
                    message=f"{item.name} has {len(places) - _MOST_PROBLEMS} more such cells")
        )  # fmt: skip


def _element(where: str, place: Iterable[Any]) -> str:
    numbers = [int(index) + 1 for index in place]
    if len(numbers) == 1:
        return f"{where} (row {numbers[0]})"
    return f"{where} (row {numbers[0]}, column {numbers[1]})" if numbers else where


def _as_array(raw: Any) -> np.ndarray | None:
    """An array for a range (list, tuple, array, pandas), None for a scalar."""
    if raw is None or isinstance(raw, str | bytes | int | float):
        return None
    if isinstance(raw, np.ndarray):
        return None if raw.ndim == 0 and raw.dtype.kind in "fiub" else raw
    if hasattr(raw, "to_numpy"):
        return raw.to_numpy()
    if isinstance(raw, list | tuple):
        try:
            array = np.array(raw)
        except ValueError:
            array = None
        if array is not None and array.dtype.kind in "fiu":
            return array if not _holds_flags(raw) else np.array(raw, dtype=object)
        nested = bool(raw) and isinstance(raw[0], list | tuple)
        rows = [list(row) if isinstance(row, list | tuple) else [row] for row in raw]
        if nested:
            width = max(len(row) for row in rows)
            if any(len(row) != width for row in rows):
                raise InputError(Problem("range", message="the rows of a range differ in length"))
            block = np.empty((len(rows), width), dtype=object)
            for place, row in enumerate(rows):
                block[place, :] = row
            return block
        column = np.empty(len(raw), dtype=object)
        column[:] = raw
        return column
    return None


def _holds_flags(raw: Sequence) -> bool:
    for row in raw:
        for value in row if isinstance(row, list | tuple) else (row,):
            if value is True or value is False:
                return True
    return False


def _read_whole(item: Field, raw: Any, where: str, shapes: dict) -> dict[str, Any]:
    """A range that is taken whole, in SI."""
    array = _as_array(raw)
    if array is None:
        if _is_blank(raw):
            if item.is_required:
                raise InputError(item.problem(where, None))
            return {item.name: None}
        if isinstance(raw, str) and raw in ERROR_TEXTS:
            raise InputError(item.problem(where, raw, raw, "mend the cell it reads"))
        array = np.array([raw], dtype=object)
    if array.size == 0:
        raise InputError(Problem(where, item.name, "an empty range", "a range of one cell or more"))
    shapes[item.name] = array.shape
    if array.ndim > 2:
        raise InputError(Problem(where, item.name, f"{array.ndim}-D array", "one or two-dimensional"))
    if item.kind == "record":
        return {item.name: _read_record(item, array, where)}
    if item.kind == "points":
        return _read_points(item, array, where)
    if item.kind == "vector" and array.ndim == 2 and 1 not in array.shape:
        raise InputError(
            Problem(where, item.name, "×".join(map(str, array.shape)) + " cells",
                    "one row or one column")
        )  # fmt: skip
    values = _read_block(item, array, where)
    return {item.name: values.ravel() if item.kind == "vector" else np.atleast_2d(values)
            if values.ndim != 1 else values[:, None]}  # fmt: skip


def _read_block(item: Field, array: np.ndarray, where: str) -> np.ndarray:
    """Numbers of a vector or block, each checked against the field's limits."""
    cell = Field(item.name, "number", item.unit, item.help,
                 None if item.may_be_blank else REQUIRED,
                 item.above, item.at_least, item.below, item.at_most)  # fmt: skip
    if array.dtype.kind in "fiu":
        column = _read_numbers(cell, array.astype(float), where)
    else:
        column = _read_cells(cell, array, where)
    if column.problems:
        raise InputError(column.problems)
    if column.codes is not None:
        place = np.argwhere(column.codes != "")[0]
        raise InputError(item.problem(_element(where, place), None))
    return column.values


def _read_record(item: Field, array: np.ndarray, where: str) -> np.ndarray:
    cells = array.ravel().tolist()
    if len(cells) > len(item.columns):
        raise InputError(
            Problem(where, item.name, f"{len(cells)} cells",
                    f"one row of {', '.join(part.title for part in item.columns)}")
        )  # fmt: skip
    cells += [None] * (len(item.columns) - len(cells))
    values: list[float] = []
    problems: list[Problem] = []
    for part, cell in zip(item.columns, cells, strict=True):
        if isinstance(cell, float) and math.isnan(cell):
            cell = None
        if isinstance(cell, str) and cell in ERROR_TEXTS:
            cell = CellError(cell)
        try:
            value = part.read(cell, where)
            values.append(math.nan if value is None else value)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return np.array(values, dtype=float)


def _read_points(item: Field, array: np.ndarray, where: str) -> dict[str, Any]:
    if array.ndim != 2:
        raise InputError(Problem(where, item.name, "one column", "two or three numeric columns"))
    labels = None
    if item.choices:
        last = [value for value in array[:, -1].tolist()]
        texts = [isinstance(value, str) and value.strip().lower() in item.choices for value in last]
        blank = [_is_blank(value) for value in last]
        wordy = [isinstance(value, str) and value.strip()[:1].isalpha() for value in last]
        if array.shape[1] > 2 and (any(texts) or any(wordy) or all(blank)):
            labels = []
            for place, value in enumerate(last):
                label = item.choices[0] if blank[place] else str(value).strip().lower()
                if label not in item.choices:
                    code = value if isinstance(value, str) and value in ERROR_TEXTS else NA
                    raise InputError(
                        Problem(_element(where, (place,)), item.name, value,
                                "one of " + ", ".join(item.choices), code=code)
                    )  # fmt: skip
                labels.append(label)
            array = array[:, :-1]
    if array.shape[1] not in (2, 3):
        raise InputError(
            Problem(where, item.name, f"{array.shape[1]} columns", "two or three numeric columns")
        )
    if array.dtype.kind not in "fiu" and not _any_special(array):
        with suppress(TypeError, ValueError):
            array = array.astype(float)
    found: dict[str, Any] = {item.name: _read_block(item, array, where)}
    if item.choices:
        found["labels"] = labels
    return found


def _is_blank(raw: Any) -> bool:
    """Whether a cell is empty or holds nothing but spaces."""
    return raw is None or (isinstance(raw, str) and not raw.strip())


def _any_special(array: np.ndarray) -> bool:
    return any(value is None or isinstance(value, str | bool) for value in array.ravel().tolist())
