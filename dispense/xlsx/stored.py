"""Values that a workbook stores beside what they follow from: those of formulas, and those of charts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Protocol

from lxml import etree

from dispense.base.errors import Problem
from dispense.base.fields import CellError
from dispense.base.naming import fold
from dispense.xlsx.content import (
    BLANK,
    FORMULA,
    INLINE,
    LONGEST_TEXT,
    VALUE,
    Content,
    clean_text,
    encode,
    number_text,
)
from dispense.xlsx.package import (
    MAIN,
    Package,
    Sheet,
    column_letters,
    formula_of,
    iter_cells,
    sound_xml,
    split_range,
)
from dispense.xlsx.rows import area_cells, chart_parts

__all__ = [
    "Evaluate",
    "Evaluated",
    "ask_for_calculation",
    "cache_values",
    "describe_charts",
    "refresh_charts",
    "store_values",
]


class Evaluated(Protocol):
    """What an evaluation found: values by sheet and cell, and why other formulas have none."""

    values: dict[tuple[str, str], Any]
    problems: list[Problem]


Evaluate = Callable[[Package], Mapping[tuple[str, str], Any] | Evaluated]


_CHART = "http://schemas.openxmlformats.org/drawingml/2006/chart"
_DRAWN = "http://schemas.openxmlformats.org/drawingml/2006/main"
_SHEET_DRAWING = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_C15 = "http://schemas.microsoft.com/office/drawing/2012/chart"
_CACHES = {  # what holds a reference in a chart, and what holds the values stored with it
    f"{{{_CHART}}}numRef": f"{{{_CHART}}}numCache",
    f"{{{_CHART}}}strRef": f"{{{_CHART}}}strCache",
    f"{{{_CHART}}}multiLvlStrRef": f"{{{_CHART}}}multiLvlStrCache",
    f"{{{_C15}}}datalabelsRange": f"{{{_C15}}}dlblRangeCache",
}


def cache_values(package: Package, evaluate: Evaluate | None) -> list[str]:
    """Store with every formula the value that `evaluate` gives it; returns notes.

    A formula that gets no value loses the stale one, and the workbook asks the spreadsheet to
    compute all formulas when it is opened.
    """
    found = {} if evaluate is None else evaluate(package)
    results = found if isinstance(found, Mapping) else found.values
    reasons = {problem.where: problem.message for problem in getattr(found, "problems", ())}
    values = {(sheet.lower(), cell): value for (sheet, cell), value in results.items()}
    missing: list[str] = []
    with sound_xml(package):
        _store_values(package, values, missing)
    if not missing:
        return []
    ask_for_calculation(package)
    shown = ", ".join(
        f"{place} ({reasons[place]})" if place in reasons else place for place in missing[:5]
    ) + (" and others" if len(missing) > 5 else "")
    count = len(missing)
    return [
        f"{count} formula{'s have' if count > 1 else ' has'} no value until a spreadsheet opens "
        f"the file: {shown}"
    ]


def store_values(package: Package, values: Mapping[tuple[str, str], Any]) -> None:
    """Store these values, by sheet and cell, with their formulas; every other formula keeps what it has."""
    date1904 = package.date1904
    for sheet in package.worksheets:
        mine = {cell: value for (name, cell), value in values.items() if name == sheet.name}
        for _, _, address, cell in iter_cells(package.edit(sheet.part)) if mine else ():
            if address in mine and formula_of(cell) is not None:
                _set_value(cell, _formula_content(mine[address], date1904))


def _store_values(package: Package, values: Mapping[tuple[str, str], Any], missing: list[str]) -> None:
    for sheet in package.worksheets:
        if next(package.read_once(sheet.part).iter(FORMULA), None) is None:
            continue
        root = package.tree(sheet.part)
        changes = _value_changes(package, sheet, values, missing)
        if not changes:
            continue
        if package.edit(sheet.part) is not root:
            cells = {address: cell for _, _, address, cell in iter_cells(package.edit(sheet.part))}
            changes = [(address, cells[address], content) for address, _, content in changes]
        for _, cell, content in changes:
            _set_value(cell, content)


def _value_changes(
    package: Package, sheet: Sheet, values: Mapping[tuple[str, str], Any], missing: list[str]
) -> list[tuple[str, etree._Element, Content]]:
    """Address, cell and content of each formula that stores something else now."""
    changes: list[tuple[str, etree._Element, Content]] = []
    date1904, name = package.date1904, sheet.name.lower()
    for address, cell in _computed(package.tree(sheet.part)):
        content = _formula_content(values.get((name, address)), date1904)
        if content.kind == "blank":
            missing.append(f"{sheet.name}!{address}")
        if content != _stored(cell):
            changes.append((address, cell, content))
    return changes


def _computed(root: etree._Element) -> Iterator[tuple[str, etree._Element]]:
    """Address and cell of each formula, and of each cell that a formula of a range fills."""
    formulas = list(root.iter(FORMULA))
    blocks = [
        split_range(formula.get("ref", "A1"))
        for formula in formulas
        if formula.get("t") in ("array", "dataTable") and ":" in formula.get("ref", "")
    ]
    cells = [formula.getparent() for formula in formulas]
    if not blocks and all(cell.get("r") for cell in cells):
        yield from ((cell.get("r"), cell) for cell in cells)
        return
    for row, column, address, cell in iter_cells(root):
        in_block = any(t <= row <= b and le <= column <= r for t, le, b, r in blocks)
        if in_block or formula_of(cell) is not None:
            yield address, cell


def _formula_content(value: Any, date1904: bool) -> Content:
    if isinstance(value, str) and not isinstance(value, CellError):
        return Content("str", clean_text(value)[:LONGEST_TEXT])
    try:
        return encode(value, date1904)._replace(is_date=False)
    except ValueError:
        return BLANK


def _stored(cell: etree._Element) -> Content:
    held = cell.find(VALUE)
    if held is None:
        return BLANK
    kind = cell.get("t", "n")
    text = held.text or ""
    if kind == "n":
        try:
            text = number_text(float(text))
        except ValueError:
            return Content("?", text)
    return Content("" if kind == "n" else kind, text)


def _set_value(cell: etree._Element, content: Content) -> None:
    """Give a formula cell its value; the formula stays."""
    for held in (*cell.findall(VALUE), *cell.findall(INLINE)):
        cell.remove(held)
    cell.attrib.pop("t", None)
    if content.kind == "blank":
        return
    if content.kind:
        cell.set("t", content.kind)
    value = etree.Element(VALUE)
    value.text = content.text
    formula = formula_of(cell)
    if formula is None:
        cell.insert(0, value)
    else:
        formula.addnext(value)


_BEFORE_CALC = (
    "fileVersion",
    "fileSharing",
    "workbookPr",
    "workbookProtection",
    "bookViews",
    "sheets",
    "functionGroups",
    "externalReferences",
    "definedNames",
)


def ask_for_calculation(package: Package) -> None:
    """Have the spreadsheet compute every formula when it opens the workbook."""
    listed = package.tree(package.workbook_part).find(f"{{{MAIN}}}calcPr")
    if listed is not None and listed.get("fullCalcOnLoad") in ("1", "true"):
        return
    root = package.edit(package.workbook_part)
    setting = root.find(f"{{{MAIN}}}calcPr")
    if setting is None:
        setting = etree.Element(f"{{{MAIN}}}calcPr")
        place = 0
        for number, child in enumerate(root, 1):
            if isinstance(child.tag, str) and child.tag.rpartition("}")[2] in (
                *_BEFORE_CALC,
                "AlternateContent",
            ):
                place = number
        root.insert(place, setting)
    setting.set("fullCalcOnLoad", "1")


def refresh_charts(package: Package) -> list[str]:
    """Bring the values stored in charts up to those of the cells; returns notes."""
    notes: list[str] = []
    with sound_xml(package):
        _refresh_all(package, notes)
    return notes


def _refresh_all(package: Package, notes: list[str]) -> None:
    lookup = _Lookup(package)
    for part in chart_parts(package):
        name = part.rpartition("/")[2]
        if package.tree(part).tag != f"{{{_CHART}}}chartSpace":
            notes.append(f"chart {name}: its stored values are left to the spreadsheet")
            continue
        was_edited = package.is_edited(part)
        root = package.edit(part)
        before = etree.tostring(root)
        for source, cache in _CACHES.items():
            for item in root.iter(source):
                formula = item.find(f"{source.partition('}')[0]}}}f")
                text = "" if formula is None else formula.text or ""
                areas = lookup.areas(text)
                if areas is None:
                    notes.append(f"chart {name}: the stored values of {text} were left as is")
                else:
                    _refresh_cache(item, formula, cache, areas, lookup)
        if not was_edited and etree.tostring(root) == before:
            package.revert(part)


def describe_charts(package: Package) -> None:
    """Give each chart that has none a text in words, for readers who do not see it.

    It says the title, what stands up and across with their units, and the names of the series.
    """
    for sheet in package.worksheets:
        for drawing in package.drawings(sheet):
            links = package.relationships(drawing)
            for frame in package.edit(drawing).iter(f"{{{_SHEET_DRAWING}}}graphicFrame"):
                named = frame.find(f"{{{_SHEET_DRAWING}}}nvGraphicFramePr/{{{_SHEET_DRAWING}}}cNvPr")
                link = next((item.get(_LINK) for item in frame.iter(f"{{{_CHART}}}chart")), None)
                if named is None or named.get("descr") or link not in links:
                    continue
                named.set("descr", _chart_words(package.tree(links[link].target)))


def _chart_words(root: etree._Element) -> str:
    """A chart in words: "Title; pressure [bar] against age [min]; series: 20 °C, limit"."""
    spaces = {"c": _CHART, "a": _DRAWN}

    def texts(place: str) -> list[str]:
        return [
            "".join(item.xpath(".//a:t/text()", namespaces=spaces)) for item in root.findall(place, spaces)
        ]

    words = texts("c:chart/c:title")
    # the axes stand as they are made, across first
    words.append(" against ".join(reversed([text for text in texts("c:chart/c:plotArea/*/c:title") if text])))
    names = root.xpath(".//c:ser/c:tx/c:v/text() | .//c:ser/c:tx//c:pt/c:v/text()", namespaces=spaces)
    words.append("series: " + ", ".join(dict.fromkeys(names)) if names else "")
    return "; ".join(text for text in words if text)


class _Lookup:
    """Cell values by sheet, read once."""

    def __init__(self, package: Package):
        self.package = package
        self._sheets: dict[str, dict[str, Any]] = {}

    def values(self, sheet: Sheet) -> dict[str, Any]:
        if sheet.name not in self._sheets:
            self._sheets[sheet.name] = self.package.cell_values(sheet)
        return self._sheets[sheet.name]

    def areas(self, text: str) -> list[tuple[Sheet, tuple[int, int, int, int]]] | None:
        """The areas a chart's reference names, or None where it is not plain cells."""
        areas = area_cells(text)
        if areas is None:
            bare = text.rpartition("!")[2]
            for name in self.package.defined_names:
                if fold(name.name) == fold(bare):
                    areas = area_cells(name.text)
        found = []
        for title, box in areas or ():
            sheet = self.package.sheet(title)
            size = (box[2] - box[0] + 1) * (box[3] - box[1] + 1)
            if sheet is None or sheet.kind != "worksheet" or size > 100_000:
                return None
            found.append((sheet, box))
        return found or None


def _refresh_cache(
    item: etree._Element,
    formula: etree._Element,
    name: str,
    areas: Sequence[tuple[Sheet, tuple[int, int, int, int]]],
    lookup: _Lookup,
) -> None:
    numeric = name.endswith("}numCache")
    cache = item.find(name)
    if cache is None:
        cache = etree.Element(name)
        formula.addnext(cache)
        if numeric:
            etree.SubElement(cache, f"{{{_CHART}}}formatCode").text = "General"
    for child in list(cache):
        if child.tag.rpartition("}")[2] in ("ptCount", "pt", "lvl"):
            cache.remove(child)
    extension = cache.find(f"{{{_CHART}}}extLst")
    place = len(cache) if extension is None else cache.index(extension)
    if name.endswith("}multiLvlStrCache"):
        pieces = _level_elements(areas[0], lookup)
    else:
        values = [value for area in areas for value in _area_values(area, lookup)]
        pieces = [_count_element(len(values)), *_point_elements(values, numeric)]
    for offset, piece in enumerate(pieces):
        cache.insert(place + offset, piece)


def _area_values(area: tuple[Sheet, tuple[int, int, int, int]], lookup: _Lookup) -> list[Any]:
    sheet, (top, left, bottom, right) = area
    values = lookup.values(sheet)
    return [
        values.get(f"{column_letters(column)}{row}")
        for row in range(top, bottom + 1)
        for column in range(left, right + 1)
    ]


def _level_elements(area: tuple[Sheet, tuple[int, int, int, int]], lookup: _Lookup) -> list[etree._Element]:
    """Labels in several columns: the last column is the innermost level and comes first."""
    sheet, (top, left, bottom, right) = area
    pieces = [_count_element(bottom - top + 1)]
    for column in range(right, left - 1, -1):
        level = etree.Element(f"{{{_CHART}}}lvl")
        values = _area_values((sheet, (top, column, bottom, column)), lookup)
        level.extend(_point_elements(values, False))
        pieces.append(level)
    return pieces


def _count_element(count: int) -> etree._Element:
    return etree.Element(f"{{{_CHART}}}ptCount", val=str(count))


def _point_elements(values: Sequence[Any], numeric: bool) -> list[etree._Element]:
    points = []
    for index, value in enumerate(values):
        text = _point_text(value, numeric)
        if text is None:
            continue
        point = etree.Element(f"{{{_CHART}}}pt", idx=str(index))
        etree.SubElement(point, f"{{{_CHART}}}v").text = text
        points.append(point)
    return points


def _point_text(value: Any, numeric: bool) -> str | None:
    if value is None or (numeric and isinstance(value, str) and not value.startswith("#")):
        return None
    if isinstance(value, bool):
        return ("1" if value else "0") if numeric else ("TRUE" if value else "FALSE")
    if isinstance(value, float):
        return number_text(value) if numeric else f"{value:.15g}"
    return clean_text(str(value))
