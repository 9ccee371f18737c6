"""How a formula names the functions of an add-in in each spreadsheet program.

A workbook file holds function names as text. Excel finds an add-in's function by its plain name
(`BEAD_VOLUME`); LibreOffice Calc, reading an .xlsx file, finds it only by its programmatic name
(`SERVICE.METHOD`). Everything else in a formula is the same, so only these names are rewritten, by
the lexer, never inside texts, sheet names or structured references.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from openpyxl.formula.tokenizer import Token

from ..base.errors import InputError, Problem
from ..xlsx.formula_text import Unevaluable, tokens
from ..xlsx.package import MAIN, RELATIONS, Package
from .own import OwnFunctions

HOSTS = ("excel", "calc", "plain")


def spell(formula: str, host: str, own: OwnFunctions) -> str:
    """The formula (with or without `=`) with the functions of `own` named as `host` needs them.

    Spelling twice changes nothing more. A formula that cannot be read is returned as it is.
    """
    if host not in HOSTS:
        raise InputError(Problem("spell", "host", host, "one of " + ", ".join(HOSTS)))
    return _spell(formula, host, own) if "(" in formula else formula


@lru_cache(maxsize=8192)
def _spell(formula: str, host: str, own: OwnFunctions) -> str:
    try:
        items = tokens(formula)
    except Unevaluable:
        return formula
    if not any(item.type == Token.FUNC for item in items):
        return formula
    text = "".join(_spelled(item, host, own) for item in items)
    return f"={text}" if formula.startswith("=") else text


def _spelled(item: Token, host: str, own: OwnFunctions) -> str:
    if item.type != Token.FUNC or item.subtype != Token.OPEN:
        return item.value
    head, written = _split(item.value[:-1])
    name = own.meaning(written)
    if name is None:
        return item.value
    return f"{head}{own.calc_name(name) if host == 'calc' else name}("


def _split(value: str) -> tuple[str, str]:
    """A range's beginning that the lexer leaves before a function (`A1:`), and the function."""
    match = re.match(r"^([^'!\[]*:)(.*)$", value, re.DOTALL)
    return (match[1], match[2]) if match else ("", value)


_LINKED = re.compile(r"'?\[(\d+)\][^'!]*'?!([A-Za-z][\w.]*)\(")

# where the parts of a workbook hold formulas; charts hold references only and are not touched
_FORMULAS = {
    "worksheet": (
        f"{{{MAIN}}}f",
        f"{{{MAIN}}}formula",
        f"{{{MAIN}}}formula1",
        f"{{{MAIN}}}formula2",
        "{http://schemas.microsoft.com/office/excel/2006/main}f",
    ),
    "workbook": (f"{{{MAIN}}}definedName",),
    "table": (f"{{{MAIN}}}calculatedColumnFormula", f"{{{MAIN}}}totalsRowFormula"),
}


def respell(package: Package, host: str, own: OwnFunctions) -> int:
    """Spell every formula of a package for `host`; returns how many changed."""
    changed = 0
    linked = _links_of_own(package, own)
    for part, kind in list(_formula_parts(package)):
        if any(spell(e.text or "", host, own) != e.text for e in _elements(package.tree(part), kind)):
            for element in _elements(package.edit(part), kind):
                text = spell(element.text or "", host, own)
                if text != element.text:
                    element.text = text
                    changed += 1
    _drop_links(package, linked)
    return changed


def _links_of_own(package: Package, own: OwnFunctions) -> set[int]:
    """Numbers of the links by which Excel named the add-in of whoever wrote the workbook: `[1]!NAME(`."""
    found = set()
    for part, kind in _formula_parts(package):
        for element in _elements(package.tree(part), kind):
            for number, name in _LINKED.findall(element.text):
                if own.meaning(name) is not None:
                    found.add(int(number))
    return found


def _drop_links(package: Package, numbers: set[int]) -> None:
    """Take away links to an add-in that no formula names any more; others keep their numbers."""
    book = package.workbook_part
    links = package.tree(book).find(f"{{{MAIN}}}externalReferences")
    count = 0 if links is None else len(links)
    while count in numbers and not any(
        f"[{count}]" in element.text
        for part, kind in _formula_parts(package)
        for element in _elements(package.tree(part), kind)
    ):
        holder = package.edit(book).find(f"{{{MAIN}}}externalReferences")
        link = package.relationships(book)[holder[-1].get(f"{{{RELATIONS}}}id", "")]
        holder.remove(holder[-1])
        if not len(holder):
            holder.getparent().remove(holder)
        package.remove(link.target)
        count -= 1


def _formula_parts(package: Package) -> Iterator[tuple[str, str]]:
    yield package.workbook_part, "workbook"
    for sheet in package.worksheets:
        yield sheet.part, "worksheet"
    for table in package.tables:
        yield table.part, "table"


def _elements(root: Any, kind: str) -> Iterator[Any]:
    for element in root.iter(*_FORMULAS[kind]):
        if element.text:
            yield element


def respell_workbook(
    path: str | os.PathLike[str], host: str, out: str | os.PathLike[str], own: OwnFunctions
) -> int:
    """Write to `out` the workbook at `path` with its formulas spelled for `host`.

    Cells, defined names, conditional formats, validations and table columns are spelled; every
    other part stays byte for byte. No file is written over. Returns how many formulas changed.
    """
    package = Package.open(Path(path))
    changed = respell(package, host, own)
    package.save(out, forbid=[path], new=True)
    return changed
