"""What people typed into a workbook that a program wrote, carried into the one that takes its place.

`sign` leaves in the document's own properties, which spreadsheets keep, who wrote the workbook and a
fingerprint of every cell that was written. `typed_cells` finds by it what has become different since.
`carry` puts that into the new workbook where the row still says the same; what no longer fits is
given back, for the caller to keep.
"""

from __future__ import annotations

import base64
import copy
import functools
import json
import os
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from hashlib import blake2b
from pathlib import Path
from typing import Any

from lxml import etree
from openpyxl.styles.numbers import BUILTIN_FORMATS
from openpyxl.utils.datetime import from_excel

from ..base.errors import FileError, Problem
from ..base.measures import NARROW
from .content import SHARED, encode, set_content
from .forms import is_date_form, style_formats
from .package import (
    MAIN,
    RELATIONS,
    Package,
    Sheet,
    cell_value,
    column_letters,
    formula_of,
    iter_cells,
    split_cell,
)
from .rows import Grid
from .templates import style_with
from .write import atomic_write, clean, refuse_overwrite

_PART = "docProps/custom.xml"
_PROPERTIES = "http://schemas.openxmlformats.org/officeDocument/2006/custom-properties"
_TYPES = "http://schemas.openxmlformats.org/officeDocument/2006/docPropsVTypes"
_KIND = f"{RELATIONS}/custom-properties"
_TYPE = "application/vnd.openxmlformats-officedocument.custom-properties+xml"
_FORMAT = "{D5CDD505-2E9C-101B-9397-08002B2CF9AE}"  # of custom properties, ECMA-376 part 1, 22.3
_WRITER = "dispense"
_CELLS = "dispense cells "
_LONGEST = 240  # characters of one property; spreadsheets show and keep 255
_FORMULA = "="
_APART = "*"  # a cell that is other each time, such as a stamp
_BELOW = 200  # rows under the last written one that go with it
_MOST_BYTES = 4_000_000  # of the properties
_F, _V = f"{{{MAIN}}}f", f"{{{MAIN}}}v"

Marks = dict[str, dict[str, str]]  # sheet, address: fingerprint


@dataclass(frozen=True, slots=True)
class TypedCell:
    """A cell that is not as it was written: its place, and what stands there now."""

    sheet: str
    address: str
    value: Any
    formula: str = ""
    form: str = ""  # number format of a date or time
    mark: str = ""  # the fingerprint of what was written there

    def __str__(self) -> str:
        return f"{self.sheet}!{self.address} {self.shown}"

    @property
    def shown(self) -> str:
        """What stands there as a reader sees it: a date and a time of day as such, "cleared" for nothing."""
        if self.value is None:
            return "cleared"
        if isinstance(self.value, float) and self.form:
            return _date_text(self.value, self.form)
        return f"{self.value:g}" if isinstance(self.value, float) else str(self.value)


_NOON_FORMS = "h"  # the letter of a number format that shows hours
_LAST_DAY = 2_958_466.0  # days: the end of the year 9999, after which no cell holds a date


def _date_text(days: float, form: str) -> str:
    """A date cell in words, of the 1900 system: 2026-03-02, 10:04, or both."""
    if not 0.0 <= days < _LAST_DAY:
        return f"{days:g}"
    if days < 1.0:
        minutes = round(days * 1440.0)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    moment = from_excel(round(days * 86400.0) / 86400.0)
    is_day = days == int(days) or _NOON_FORMS not in form.lower()
    return f"{moment:%Y-%m-%d}" if is_day else f"{moment:%Y-%m-%d %H:%M}"


# ------------------------------------------------------------------------------------- fingerprint


def _fingerprint(cell: etree._Element, package: Package) -> str:
    """What a cell holds in a few characters; a spreadsheet that saves it anew does not change it."""
    if formula_of(cell) is not None:
        return _FORMULA
    value = cell_value(cell, package)
    if value is None or value == "":
        return ""
    return _value_mark(value)


@functools.lru_cache(maxsize=1 << 14, typed=True)
def _value_mark(value: object) -> str:
    if isinstance(value, str):  # a blank typed anew is the blank that was printed, whatever its width
        value = value.replace(NARROW, " ").replace("\u00a0", " ")
    text = f"{value:.12g}" if isinstance(value, float) else f"{value!r}".replace("\\r\\n", "\\n")
    return base64.b64encode(blake2b(text.encode(), digest_size=3).digest()).decode()


def _marks(package: Package) -> Marks:
    found: Marks = {}
    for sheet in package.worksheets:
        cells = iter_cells(package.read_once(sheet.part))
        prints = {address: _fingerprint(cell, package) for _, _, address, cell in cells}
        found[sheet.name] = {address: mark for address, mark in prints.items() if mark}
    return found


def sign(package: Package, kind: str, apart: Collection[str] = ()) -> None:
    """Say in a workbook that this program wrote it, as what, and what its cells held.

    The cells of the defined names in `apart` may hold anything.
    """
    marks = _marks(package)
    for sheet, addresses in _named_cells(package, apart).items():
        marks[sheet].update(dict.fromkeys(addresses, _APART))
    packed = base64.b64encode(zlib.compress(json.dumps(marks).encode(), 9)).decode()
    pieces = [packed[place : place + _LONGEST] for place in range(0, len(packed), _LONGEST)]
    texts = {_WRITER: kind} | {f"{_CELLS}{number:06d}": piece for number, piece in enumerate(pieces)}
    root = etree.Element(f"{{{_PROPERTIES}}}Properties", nsmap={None: _PROPERTIES, "vt": _TYPES})
    others = [item for item in _properties(package) if not item.get("name", "").startswith(_WRITER)]
    for number, item in enumerate(map(copy.deepcopy, others), 2):
        item.set("pid", str(number))
        root.append(item)
    for number, (name, text) in enumerate(texts.items(), 2 + len(others)):
        item = etree.SubElement(root, f"{{{_PROPERTIES}}}property", fmtid=_FORMAT, pid=str(number), name=name)
        etree.SubElement(item, f"{{{_TYPES}}}lpwstr").text = text
    data = etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)
    known = package.related("", "custom-properties")
    if known:
        package.put(known[0], data)
        return
    package.put(_PART, data)
    package.declare(_PART, _TYPE)
    package.link("", _KIND, _PART)


def _properties(package: Package) -> list[etree._Element]:
    found = package.related("", "custom-properties")
    if not found:
        return []
    return list(package.tree(found[0]).iterchildren(f"{{{_PROPERTIES}}}property"))


def _texts(package: Package) -> dict[str, str]:
    return {item.get("name", ""): "".join(item.itertext()) for item in _properties(package)}


def _written(package: Package) -> Marks | None:
    """The fingerprints that were left at writing; None where there are none, or not all of them."""
    texts = _texts(package)
    packed = "".join(texts[name] for name in sorted(texts) if name.startswith(_CELLS))
    try:
        marks: Marks = json.loads(zlib.decompress(base64.b64decode(packed)))
    except (ValueError, zlib.error):
        return None
    return marks


# ------------------------------------------------------------------------------------- differences


def typed_cells(package: Package) -> list[TypedCell]:
    """The cells that are not as they were written, in the order of the sheets."""
    written = _written(package)
    if written is None:
        return []
    found, forms = [], _forms(package)
    for sheet in package.worksheets:
        marks = written.get(sheet.name, {})
        there = {address: cell for _, _, address, cell in iter_cells(package.read_once(sheet.part))}
        for address in sorted({*marks, *there}, key=split_cell):
            cell = there.get(address)
            now = "" if cell is None else _fingerprint(cell, package)
            if marks.get(address, "") not in (now, _APART):
                typed = _typed(package, sheet, address, cell, forms)
                found.append(replace(typed, mark=marks.get(address, "")))
    return found


def number_mark(value: float) -> str:
    """The fingerprint of a cell that a number was written into."""
    return _value_mark(value)


def _typed(
    package: Package, sheet: Sheet, address: str, cell: etree._Element | None, forms: list[str]
) -> TypedCell:
    if cell is None:
        return TypedCell(sheet.name, address, None)
    formula = formula_of(cell)
    text = "" if formula is None else formula.text or ""
    form = _form(cell, forms)
    value = cell_value(cell, package)
    return TypedCell(
        sheet.name, address, None if value == "" else value, text, form if is_date_form(form) else ""
    )


def _forms(package: Package) -> list[str]:
    """The number format of each cell style as a code."""
    known = style_formats(package)
    return [BUILTIN_FORMATS.get(int(number), "") if code is None else code for number, code in known]


def _form(cell: etree._Element, forms: list[str]) -> str:
    """The number format of a cell, of those of the workbook's styles."""
    style = cell.get("s", "0")
    return forms[int(style)] if style.isdigit() and int(style) < len(forms) else ""


# ------------------------------------------------------------------------------------------ carry


def carry(old: Package, new: Package) -> tuple[list[TypedCell], list[TypedCell]]:
    """Put what people typed into `old` into `new`, which is signed; what was carried, what was not.

    A cell is carried where its row holds what it held, and where nothing else was written into the
    cell itself meanwhile.
    """
    carried, left = [], []
    grids: dict[str, Grid] = {}
    was, now = _written(old) or {}, _written(new) or {}
    places = {sheet: _same_rows(was[sheet], now.get(sheet, {})) for sheet in was}
    for item in typed_cells(old):
        row, column = split_cell(item.address)
        place = places.get(item.sheet, {}).get(row)
        sheet = new.sheet(item.sheet)
        is_empty = item.value is None and not item.formula
        if place is None or sheet is None or is_empty or (item.formula and place != row):
            left.append(item)
            continue
        address = f"{column_letters(column)}{place}"
        meant = now.get(item.sheet, {}).get(address, "")
        if meant != was.get(item.sheet, {}).get(item.address, ""):
            left.append(item)
            continue
        if item.sheet not in grids:
            grids[item.sheet] = Grid(new.edit(sheet.part))
        _set(new, grids[item.sheet].cell(place, column), item)
        carried.append(item)
    return carried, left


def _set(package: Package, cell: etree._Element, item: TypedCell) -> None:
    set_content(cell, encode(item.value), package)
    if item.formula:
        formula = etree.Element(_F)
        formula.text = item.formula
        if cell.get("t") == SHARED:  # a formula gives its text as a value
            cell.set("t", "str")
            for held in cell.iterchildren(_V):
                held.text = str(item.value)
        cell.insert(0, formula)
    if item.form and not is_date_form(_form(cell, _forms(package))):
        cell.set("s", style_with(package, cell.get("s", "0"), item.form))


def _named_cells(package: Package, names: Collection[str]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    for name in package.defined_names:
        if name.name in names and name.place is not None:
            sheet, cell = name.place
            found[sheet].add(cell)
    return found


def _rows_of(marks: dict[str, str]) -> dict[int, tuple[tuple[int, str], ...]]:
    """What was written into each row, formulas and what is other each time left out."""
    rows: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for address, mark in marks.items():
        if mark not in (_FORMULA, _APART):
            row, column = split_cell(address)
            rows[row].append((column, mark))
    return {row: tuple(sorted(cells)) for row, cells in rows.items()}


def _same_rows(was: dict[str, str], now: dict[str, str]) -> dict[int, int]:
    """Rows of the old sheet and where the same row stands in the new one.

    A row in which nothing was written goes with the written row above it.
    """
    old, new = _rows_of(was), _rows_of(now)
    places: dict[tuple[tuple[int, str], ...], list[int]] = defaultdict(list)
    twins: dict[tuple[tuple[int, str], ...], int] = defaultdict(int)
    for row, cells in new.items():
        places[cells].append(row)
    for cells in old.values():
        twins[cells] += 1
    found: dict[int, int] = {}
    for row, cells in old.items():
        if new.get(row) == cells:
            found[row] = row
        elif twins[cells] == 1 == len(places[cells]):
            found[row] = places[cells][0]
    return dict(_with_blank_rows(found, old, new))


def _with_blank_rows(
    found: dict[int, int], old: dict[int, Any], new: dict[int, Any]
) -> Iterator[tuple[int, int]]:
    yield from found.items()
    written = sorted(old)
    for row, after in zip(written, [*written[1:], written[-1] + _BELOW] if written else [], strict=True):
        for blank in range(row + 1, after):
            place = found[row] + blank - row if row in found else None
            if place is None or place in new:
                break
            yield blank, place


# ------------------------------------------------------------------------------------------- guard


def kind_at(path: str | os.PathLike[str]) -> str:
    """As what this program wrote the workbook at a path; "" for any other file. Little of it is read."""
    try:
        with zipfile.ZipFile(path) as archive, archive.open(_PART) as part:
            root = etree.fromstring(part.read(_MOST_BYTES), etree.XMLParser(resolve_entities=False))
    except (
        OSError,
        KeyError,
        ValueError,
        RuntimeError,
        zipfile.BadZipFile,
        zlib.error,
        etree.XMLSyntaxError,
    ):
        return ""
    named = root.iterfind(f"{{{_PROPERTIES}}}property[@name='{_WRITER}']")
    return next(("".join(item.itertext()) for item in named), "")


def foreign(path: str | os.PathLike[str]) -> Problem:
    """What is said of a file that is not ours to replace."""
    return Problem(
        os.fspath(path),
        message="is there already, was not written by this command, and is not replaced",
        fix="choose another name or folder, or move that file away",
    )


def is_foreign(path: str | os.PathLike[str], kind: str) -> bool:
    """Whether something else than a workbook of this kind that we wrote stands at a path."""
    return os.path.lexists(path) and not os.path.isdir(path) and kind_at(path) != kind


def keep_filled_in(path: str | os.PathLike[str]) -> Path:
    """Keep the workbook at a path under a name beside it: shot_check_filled_in_1.xlsx."""
    source, number = Path(path), 1
    while (found := source.with_name(f"{source.stem}_filled_in_{number}{source.suffix}")).exists():
        number += 1
    return atomic_write(found, source.read_bytes(), new=True)


def save_signed(
    path: str | os.PathLike[str], data: bytes, kind: str, forbid: Iterable[str | os.PathLike[str]] = ()
) -> tuple[Path, Path | None]:
    """Write a workbook that is made anew each time, in the place of one of its kind or of none.

    Gives its path, and that of the copy that was kept where people had typed into the old one.
    """
    refuse_overwrite(path, forbid)
    clean(Path(path).parent)
    if is_foreign(path, kind):
        raise FileError(foreign(path))
    kept = keep_filled_in(path) if os.path.lexists(path) and typed_cells(Package.open(path)) else None
    package = Package.open(data, name=os.fspath(path))
    sign(package, kind)
    return package.save(path, forbid), kept


__all__ = [
    "TypedCell",
    "carry",
    "foreign",
    "is_foreign",
    "keep_filled_in",
    "kind_at",
    "save_signed",
    "sign",
    "typed_cells",
]
