"""Closed-form functions as LAMBDA names, for workbooks that must compute without Python.

Each function of the registry that has a `formula` becomes a defined name: `BEAD_FLOW(area, speed)`
then works in that workbook, in any spreadsheet that knows LAMBDA (Excel of Microsoft 365 and of
2024, and others), with no add-in and no macro. The formula is wrapped so that it answers as the
registry does: limits and kinds of each argument are checked, an optional argument that is blank
takes its default, an error in an argument comes out as the same error, a blank row of a range gives
a blank. What a name cannot do: read a text with a unit ("3/16 in" is #VALUE! here) and tell the
reason of an error.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from lxml import etree
from openpyxl.formula.tokenizer import Token

from dispense import __version__
from dispense.addin.excel_udfs import function_help
from dispense.addin.listing import with_values, write_list
from dispense.base.errors import InputError, Problem, TemplateError
from dispense.base.fields import Field
from dispense.books.style import stable_bytes
from dispense.handbook.catalogue import FUNCTIONS
from dispense.handbook.declare import Function
from dispense.handbook.words import literal
from dispense.xlsx.formula_text import tokens
from dispense.xlsx.package import MAIN, Package
from dispense.xlsx.typed import save_signed

WORKBOOK = "dispense-names.xlsx"
MARK = "dispense: "  # begins the comment of each name of ours
MAX_FORMULA = 8192

# functions newer than the file format, which a file spells with a prefix
_NEWER = {
    "LAMBDA": "_xlfn.LAMBDA",
    "LET": "_xlfn.LET",
    "ISOMITTED": "_xlfn.ISOMITTED",
    "SWITCH": "_xlfn.SWITCH",
    "IFS": "_xlfn.IFS",
    "MAP": "_xlfn.MAP",
    "REDUCE": "_xlfn.REDUCE",
    "SEQUENCE": "_xlfn.SEQUENCE",
    "SCAN": "_xlfn.SCAN",
    "MAKEARRAY": "_xlfn.MAKEARRAY",
    "FILTER": "_xlfn._xlws.FILTER",
    "TOCOL": "_xlfn.TOCOL",
    "TAKE": "_xlfn.TAKE",
    "DROP": "_xlfn.DROP",
    "HSTACK": "_xlfn.HSTACK",
    "VSTACK": "_xlfn.VSTACK",
}


def closed_form() -> list[Function]:
    """The functions that a name can hold."""
    return [entry for entry in FUNCTIONS.values() if entry.formula]


# ----------------------------------------------------------------------------------------- formula


def _limits(item: Field, name: str) -> str:
    """The limits of a field as a product of conditions, element by element."""
    parts = []
    for bound, sign in ((item.above, ">"), (item.at_least, ">="), (item.below, "<"), (item.at_most, "<=")):
        if bound is not None:
            parts.append(f"({name}{sign}{bound!r})")
    if item.kind == "whole":
        parts.append(f"({name}=INT({name}))")
    return "*".join(parts)


def _parameter(item: Field) -> str:
    """The parameter's name; one that is also a function's name gets `_`, as a name hides it."""
    return f"{item.name}_" if item.name.upper() in FUNCTIONS else item.name


def _kind_test(item: Field, name: str, is_blank: str = "") -> str:
    """0 where a value is of the right kind and within the limits, else the error it means."""
    if item.kind == "choice":
        listed = ",".join(f'"{choice}"' for choice in item.choices)
        test = f"IF(ISNUMBER(MATCH(LOWER(TRIM({name})),{{{listed}}},0)),0,#N/A)"
    elif item.kind == "flag":
        test = f"IF(({name}=0)+({name}=1)+({name}=TRUE)+({name}=FALSE)>0,0,#VALUE!)"
    elif item.kind == "text":
        test = "0"  # what a text may be is the formula's to say
    elif item.kind in ("number", "whole", "vector", "matrix"):
        limits = _limits(item, name)
        inner = f"IF({limits},0,#NUM!)" if limits else "0"
        test = f"IF(ISNUMBER({name}),{inner},#VALUE!)"
    else:
        raise InputError(
            Problem("LAMBDA names", item.name, item.kind, "a number, a choice, a flag, a text or a vector")
        )
    if is_blank:
        test = f"IF({is_blank},0,{test})"
    return f"IF(ISERROR({name}),{name},{test})"


def _bindings(item: Field) -> Iterator[tuple[str, str]]:
    """The variables that go before the formula, for one argument.

    `x_bad` is 0 or an error; `x_none` tells whether it is blank or left out; `x_gap` whether it is
    a blank row of a range; `x_in` is the value, the default or the choice in small letters.
    """
    name = _parameter(item)
    if item.kind == "points":
        yield f"{name}_bad", _points_test(item, name)
        return
    if item.is_whole_range:
        cell = _kind_test(item, "cell", 'cell=""' if item.may_be_blank else "")
        bad = f"SUM(MAP({name},LAMBDA(cell,{cell})))"  # the first error, or 0
        if item.kind == "vector":
            bad = f"IF((ROWS({name})>1)*(COLUMNS({name})>1),#VALUE!,{bad})"
        yield f"{name}_bad", bad
        return
    blank = f'IF(ISERROR({name}),FALSE,{name}="")'
    test = _kind_test(item, name)
    if item.is_required:
        yield f"{name}_none", blank
        yield f"{name}_gap", f"{name}_none*(ROWS({name})*COLUMNS({name})>1)"
        # one blank cell is an error, a blank row of a range is not
        yield f"{name}_bad", f"IF({name}_gap,0,IF({name}_none,#VALUE!,{test}))"
    else:
        yield f"{name}_none", f"IF(ISOMITTED({name}),TRUE,{blank})"
        yield f"{name}_bad", f"IF({name}_none,0,{test})"
    value = f"LOWER(TRIM({name}))" if item.kind == "choice" else name
    if not item.is_required:
        default = '""' if item.kind == "choice" else "0"  # it stands for nothing and is not read
        if item.default is not None:
            default = literal(item.default)
        yield f"{name}_in", f"IF({name}_none,{default},{value})"
    elif item.kind == "choice":
        yield f"{name}_in", value


def _points_test(item: Field, name: str) -> str:
    """0 where rows are of two or three numbers, and of a word where the last column holds words."""
    number_test = _kind_test(replace(item, kind="number"), "cell")
    if not item.choices:
        cells = f"SUM(MAP({name},LAMBDA(cell,{number_test})))"
        return f"IF((COLUMNS({name})<2)+(COLUMNS({name})>3)>0,#VALUE!,{cells})"
    word_test = _kind_test(replace(item, kind="choice"), "cell", 'cell=""')
    return (
        f"LET(wide,COLUMNS({name}),last,INDEX({name},0,wide),"
        'worded,IF(wide>2,(SUM(MAP(last,LAMBDA(cell,IF(ISTEXT(cell),IF(cell="",0,1),0))))>0)'
        f'+(SUM(MAP(last,LAMBDA(cell,IF(ISERROR(cell),0,IF(cell="",1,0)))))=ROWS({name}))>0,FALSE),'
        "IF((wide<2)+(wide-IF(worded,1,0)>3)>0,#VALUE!,"
        f"SUM(MAKEARRAY(ROWS({name}),wide,LAMBDA(down,right,LET(cell,INDEX({name},down,right),"
        f"IF(worded*(right=wide)>0,{word_test},{number_test})))))))"
    )


def _body(entry: Function) -> str:
    """The registry's formula over the variables of `_bindings`."""
    spelled = {}
    for item in entry.arguments:
        name = _parameter(item)
        has_value = not item.is_whole_range and (not item.is_required or item.kind == "choice")
        spelled[item.name] = f"{name}_in" if has_value else name
    items = [item for item in tokens(entry.formula) if item.type != Token.WSPACE]
    out: list[str] = []
    place = 0
    while place < len(items):
        item = items[place]
        word = item.value.strip()
        if item.type == Token.FUNC and word.upper() == "ISOMITTED(":
            asked = next(
                (each for each in entry.arguments if each.name == items[place + 1].value.strip()), None
            )
            if asked is None or asked.is_required:
                raise InputError(
                    Problem(entry.name, message="its formula asks whether a required argument is there")
                )
            out.append(f"{_parameter(asked)}_none")
            place += 3
            continue
        is_name = item.type == Token.OPERAND and item.subtype == Token.RANGE
        out.append(spelled.get(word, item.value) if is_name else item.value)
        place += 1
    return "".join(out)


def typed_formula(entry: Function) -> str:
    """The LAMBDA as one would type it, for the name manager.

    >>> typed_formula(FUNCTIONS["BEAD_FLOW"])[:60]
    'LAMBDA(area,speed,LET(area_none,IF(ISERROR(area),FALSE,area='
    """
    variables = [pair for item in entry.arguments for pair in _bindings(item)]
    answer = "answer"
    while re.search(rf"\b{answer}\b", entry.formula):
        answer += "_"
    variables.append((answer, _body(entry)))
    by_table = any(item.kind == "text" for item in entry.arguments)  # what it does not know is #N/A
    result = answer if by_table else f"IF(ISERROR({answer}),#NUM!,{answer})"
    gaps = [
        f"{_parameter(item)}_gap" for item in entry.arguments if item.is_required and not item.is_whole_range
    ]
    if gaps:
        result = f'IF(({"+".join(gaps)})>0,"",{result})'
    for item in reversed(entry.arguments):
        bad = f"{_parameter(item)}_bad"
        result = f"IF(ISERROR({bad}),{bad},{result})"
    parameters = [
        _parameter(item) if item.is_required else f"[{_parameter(item)}]" for item in entry.arguments
    ]
    bound = ",".join(f"{name},{value}" for name, value in variables)
    return f"LAMBDA({','.join(parameters)},LET({bound},{result}))"


def file_formula(entry: Function) -> str:
    """The LAMBDA as a workbook file spells it: `_xlfn.LAMBDA(_xlpm.area,_xlop.height,…)`."""
    optional = {_parameter(item) for item in entry.arguments if not item.is_required}
    inner = typed_formula(entry).removeprefix("LAMBDA(")
    head, _, body = inner.partition("LET(")
    parameters = [word.strip("[]") for word in head.rstrip(",").split(",")]
    spelled = [("_xlop." if word in optional else "_xlpm.") + word for word in parameters]
    pieces = []
    own = set(re.findall(r"\b(\w+),LAMBDA\(", body))  # variables that are functions
    for item in tokens("LET(" + body[:-1]):
        is_call = item.type == Token.FUNC and item.subtype == Token.OPEN
        if is_call:
            written = item.value[:-1]
            name = written.upper()
            pieces.append((f"_xlpm.{written}" if written in own else _NEWER.get(name, name)) + "(")
        elif (
            item.type == Token.OPERAND
            and item.subtype == Token.RANGE
            and re.fullmatch(r"[A-Za-z]\w*", item.value.strip())
        ):
            pieces.append("_xlpm." + item.value.strip())
        else:
            pieces.append(item.value)
    text = f"_xlfn.LAMBDA({','.join(spelled)},{''.join(pieces)})"
    if len(text) > MAX_FORMULA:
        raise InputError(
            Problem(
                entry.name,
                message=f"its LAMBDA has {len(text)} characters, "
                f"more than the {MAX_FORMULA} that a name can hold",
            )
        )
    return text


# ------------------------------------------------------------------------------------------- files

_AFTER = (
    "calcPr",
    "oleSize",
    "customWorkbookViews",
    "pivotCaches",
    "smartTagPr",
    "smartTagTypes",
    "webPublishing",
    "fileRecoveryPr",
    "webPublishObjects",
    "extLst",
)


def put_names(package: Package, entries: Iterable[Function]) -> None:
    """Define the names in a workbook; a name the user gave to something else is refused."""
    entries = list(entries)
    root = package.edit(package.workbook_part)
    holder = root.find(f"{{{MAIN}}}definedNames")
    if holder is None:
        holder = etree.Element(f"{{{MAIN}}}definedNames")
        later = {f"{{{MAIN}}}{tag}" for tag in _AFTER}
        place = next((place for place, child in enumerate(root) if child.tag in later), len(root))
        root.insert(place, holder)
    ours = {entry.name for entry in entries}
    problems = []
    for item in list(holder):
        if str(item.get("name", "")).upper() not in ours or item.get("localSheetId") is not None:
            continue
        if str(item.get("comment", "")).startswith(MARK):
            holder.remove(item)
        else:
            problems.append(
                Problem(
                    package.name,
                    message=f"has a name {item.get('name')} already, for {(item.text or '')[:40]}",
                    fix="rename it, or use another workbook",
                )
            )
    if problems:
        raise TemplateError(problems)
    for entry in entries:
        item = etree.SubElement(holder, f"{{{MAIN}}}definedName", name=entry.name)
        item.set("comment", (MARK + function_help(entry))[:255])
        item.text = file_formula(entry)


def _new_workbook(entries: list[Function]) -> bytes:
    """A workbook that lists the names and checks each."""
    from openpyxl import Workbook

    book = Workbook()
    book.properties.creator = "dispense"
    write_list(
        book.active,
        f"Functions of dispense {__version__} as names",
        "These work in this workbook without an add-in, and go along when its sheets are copied. "
        "Plain numbers in the units shown. Where a check says that there is no answer here, this spreadsheet "
        "does not know LAMBDA.",
        entries,
        tries_at_load=True,
    )
    return stable_bytes(book)


def _settle(package: Package) -> None:
    """Fixed dates, so that the same functions give the same bytes; values beside the formulas."""
    core = package.find("docProps/core.xml")
    if core:
        for item in package.edit(core):
            if etree.QName(item).localname in ("created", "modified"):
                item.text = "2000-01-01T00:00:00Z"
    sheet = package.sheets[0].part
    package.put(sheet, with_values(package.read(sheet)))


def build_names(
    out: str | os.PathLike[str] = ".", workbook: str | os.PathLike[str] | None = None
) -> list[Path]:
    """Write a new workbook with the names, or a copy of `workbook` that has them.

    `out` is a folder, or the file to write when it ends in .xlsx or .xlsm. The given workbook is
    never written over, nor any other that is not a names workbook. Gives the path written.
    """
    target = Path(out)
    entries = closed_form()
    is_file = target.suffix.lower() in (".xlsx", ".xlsm", ".xltx", ".xltm")
    if not is_file:
        target.mkdir(parents=True, exist_ok=True)
        target = target / (WORKBOOK if workbook is None else Path(workbook).name)
    if workbook is None:
        package = Package.open(_new_workbook(entries), name=WORKBOOK)
        _settle(package)
    else:
        package = Package.open(workbook)
    put_names(package, entries)
    if workbook is not None:
        return [package.save(target, [workbook], new=True)]
    return [save_signed(target, package.to_bytes(), "names")[0]]


build = build_names

__all__ = ["build", "build_names", "closed_form", "file_formula", "put_names", "typed_formula"]
