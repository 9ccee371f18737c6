"""Declaring a workbook function: one declaration serves cell, shell and Python.

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

What binds, converts, checks and broadcasts is in `reading` (cells to SI arrays) and `evaluate`.
"""

from __future__ import annotations

import functools
import inspect
from collections import namedtuple
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from ..base.fields import Field
from ..base.units import coherent_factor, describe_unit, si_symbol, to_si
from .reading import NUMERIC, Short

FUNCTIONS: dict[str, Function] = {}


_Kernel = TypeVar("_Kernel", bound=Callable[..., Any])


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
class Validity:
    """What must hold of arguments and results (SI) for the answer to mean what it says.

    Where it does not, the function still answers and leaves a note (`LAST_NOTES`). The names are those of
    arguments and results; one that is blank is not looked at.
    """

    check: Callable[..., Any]
    words: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """A call in shop units with the result that an outside source gives for it."""

    arguments: tuple[Any, ...]
    result: Any
    source: str
    tolerance: float = 1e-9


def out(name: str, unit: str = "", help: str = "", kind: str = "number") -> Out:
    """A result of a workbook function."""
    return Out(name, unit, help, kind)


def example(arguments: Sequence[Any], result: Any, source: str, tolerance: float = 1e-9) -> Example:
    """An example whose expected result does not come from this code."""
    return Example(tuple(arguments), result, source, tolerance)


def requires(check: Callable[..., Any], argument: str, allowed: str) -> Requirement:
    """A condition between arguments; `check` names the arguments it reads, in SI."""
    return Requirement(check, argument, allowed, tuple(inspect.signature(check).parameters))


def validity(check: Callable[..., Any], words: str) -> Validity:
    """A range of validity; `check` names the arguments and results it reads, in SI, and is true inside."""
    return Validity(check, words, tuple(inspect.signature(check).parameters))


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
    validity: tuple[Validity, ...] = ()  # outside of which an answer leaves a note

    @cached_property
    def plan(self) -> tuple[Any, ...]:
        """Per argument what the short ways need."""
        return tuple(Short(item, self.system) for item in self.arguments)

    @cached_property
    def quick(self) -> tuple[tuple[Any, ...], ...]:
        """The same taken apart, for one call after another."""
        return tuple(argument.quick for argument in self.plan)

    @cached_property
    def defaults(self) -> dict[str, Any]:
        """What each argument is where it is left out, as the kernel takes it; REQUIRED for some."""
        return {argument.name: argument.default for argument in self.plan}

    @cached_property
    def needed(self) -> int:
        """How many arguments must be given."""
        return sum(argument.is_needed for argument in self.plan)

    @cached_property
    def scale(self) -> tuple[Any, ...]:
        """Per result the factor and offset to SI."""
        return tuple((*to_si(item.unit), item.kind) for item in self.returns)

    @cached_property
    def short_scale(self) -> tuple[Any, ...]:
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
    def result_names(self) -> tuple[str, ...]:
        """What each result is called."""
        return tuple(item.name for item in self.returns)

    @cached_property
    def judges_arguments(self) -> bool:
        """Whether the validity asks for no result."""
        return not any(name in self.result_names for item in self.validity for name in item.names)

    @cached_property
    def is_elementwise(self) -> bool:
        """Whether every argument is iterated element by element."""
        return not self.whole and not self.table and not any(item.is_whole_range for item in self.arguments)

    @property
    def signature(self) -> str:
        """The call as printed: BEAD_AREA(section, width, [height])."""
        parts = []
        for item in self.arguments:
            default = item.default_text()
            word = f"{item.label}={default}" if default else item.label
            parts.append(item.label if item.is_required else f"[{word}]")
        return f"{self.name}({', '.join(parts)})"


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
    validity: Sequence[Validity] = (),
    beside: Sequence[Field] = (),
) -> Callable[[_Kernel], _Kernel]:
    """Declare the decorated kernel as a workbook function of the same name in capitals.

    `beside` are further, optional arguments that only a `validity` reads: the kernel does not get them.
    """

    def declare(kernel: _Kernel) -> _Kernel:
        words = (kernel.__doc__ or "").strip()  # Python leaves it out where PYTHONOPTIMIZE is 2
        summary = words.partition("\n")[0] or kernel.__name__.replace("_", " ")
        entry = Function(
            kernel.__name__.upper(),
            category,
            summary,
            (*arguments, *beside),
            tuple(returns),
            _without(kernel, beside),
            equation,
            source,
            valid,
            rule,
            tuple(requires),
            no_answer,
            whole,
            along,
            tuple(examples),
            formula,
            table,
            notes,
            tuple(system),
            tuple(validity),
        )
        if entry.name in FUNCTIONS:
            raise ValueError(f"{entry.name} is declared twice")
        FUNCTIONS[entry.name] = entry
        kernel.__doc__ = inspect.cleandoc(kernel.__doc__ or "") + "\n\n" + _docstring(entry)
        entry.kernel.__doc__ = kernel.__doc__
        return kernel

    return declare


def _without(kernel: Callable[..., Any], beside: Sequence[Field]) -> Callable[..., Any]:
    """The kernel as it is called with arguments that it does not know."""
    if not beside:
        return kernel
    names = {item.name for item in beside}

    @functools.wraps(kernel)
    def known(**values: Any) -> Any:
        return kernel(**{name: value for name, value in values.items() if name not in names})

    return known


def _docstring(entry: Function) -> str:
    """The sections of a kernel's docstring that the declaration knows; units are SI."""
    lines = []
    if entry.equation:
        lines += ["Equation", f"    {entry.equation}", ""]
    lines += ["Arguments (scalars or arrays that broadcast, unless said otherwise)"]
    for item in entry.arguments:
        unit = describe_unit(si_symbol(item.unit)) if item.kind in NUMERIC else item.kind
        shape = {"vector": ", 1-D array", "matrix": ", 2-D array", "points": ", (n, 2 or 3) array"}
        lines.append(f"    {item.name} [{unit}{shape.get(item.kind, '')}]: {item.help}")
    lines += ["", "Returns"]
    for result in entry.returns:
        lines.append(f"    {result.name} [{describe_unit(si_symbol(result.unit))}]: {result.help}")
    texts = [item.name for item in entry.arguments if item.kind == "text"]
    raised = f"InputError where {texts[0]} is in no table" if texts else "nothing"
    lines += [
        "",
        "Raises",
        f"    {raised}; NaN where {entry.no_answer}. Limits are checked by "
        f'`dispense.call("{entry.name}", …)`, which raises InputError.',
    ]
    for title, body in (
        ("Valid range", entry.valid),
        ("Rule of thumb", entry.rule),
        ("Notes", entry.notes),
        ("Source", entry.source),
    ):
        if body:
            lines += ["", title, f"    {body}"]
    return "\n".join(lines)
