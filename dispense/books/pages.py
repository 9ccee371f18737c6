"""Print set-up of a filled workbook: paper size, stamp in the footers, rows high enough for text."""

from __future__ import annotations

import copy
import functools
import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from lxml import etree

from ..base.measures import NARROW
from ..base.printed import Printed, digits_of
from ..sheets.spec import MayGo
from ..xlsx.content import SHARED, VALUE, set_blank
from ..xlsx.package import MAIN, Package, Sheet, Table, cell_value, column_letters, split_cell, split_range
from ..xlsx.rows import drop_calculation_chain
from ..xlsx.shapes import picture_places

__all__ = [
    "NOTE_ON",
    "ROW_OF",
    "fit_pages",
    "fit_texts",
    "hide_empty",
    "leave_out",
    "name_pages",
    "row_height",
    "set_paper",
    "set_scale",
    "stamp_footers",
    "text_lines",
    "text_width",
]

_CHART = "http://schemas.openxmlformats.org/drawingml/2006/chart"

NOTE_ON, ROW_OF = "_note", "_row"  # hidden names of what is said of a column, and reckoned with it

_POINTS = 1.32  # height of a line of text over its font size
_SHORT = 5  # characters that fit on a line anywhere


def set_paper(package: Package, code: str) -> None:
    """Set the paper size of every sheet that has a print set-up."""
    for sheet in package.worksheets:
        setup = package.tree(sheet.part).find(f"{{{MAIN}}}pageSetup")
        if setup is not None and setup.get("paperSize") != code:
            package.edit(sheet.part).find(f"{{{MAIN}}}pageSetup").set("paperSize", code)


def stamp_footers(package: Package, mark: str, stamp: str) -> None:
    """Put the stamp where the footers have its mark."""
    words = stamp.replace("&", "&&")
    for sheet in package.worksheets:
        found = package.tree(sheet.part).find(f"{{{MAIN}}}headerFooter")
        if found is None or not any(mark in (item.text or "") for item in found):
            continue
        for item in package.edit(sheet.part).find(f"{{{MAIN}}}headerFooter"):
            if item.text:
                item.text = item.text.replace(mark, words)


def name_pages(package: Package, mark: str, words: str) -> None:
    """Put what a sheet is about where the headers and footers of its pages have a mark."""
    stamp_footers(package, mark, words)


def leave_out(
    package: Package,
    values: Mapping[str, tuple[object, Collection[str]]],
    optional: Mapping[str, Mapping[str, MayGo]],
) -> None:
    """Take away the labels of values that are blank, and optional columns in which nothing stands.

    `values` gives for each defined name its value and the labels that it may have above it; `optional` for
    each table its columns that may go by their headers. At the end of a table they are cut off; elsewhere
    a column of the sheet is hidden where each table that has it lists it and has nothing in it. Notes on
    columns that are gone go too, and rows of labels and values where all of them are blank.
    """
    places: dict[str, list[tuple[int, int, bool, Collection[str]]]] = {}
    for item in package.defined_names:
        if item.name in values and item.place is not None:
            value, labels = values[item.name]
            row, column = split_cell(item.place[1])
            places.setdefault(item.place[0], []).append((row, column, value in (None, ""), labels))
    for sheet in package.worksheets:
        blanks = [place for place in places.get(sheet.name, ()) if place[2]]
        if blanks:
            _drop_labels(package, sheet, blanks, places[sheet.name])
        _leave_columns(package, sheet, optional)


def hide_empty(package: Package, tables: Mapping[str, bool]) -> None:
    """Hide the worksheets of tables that are empty, and show those of tables that are not."""
    for table in package.tables:
        if table.name in tables:
            place = table.sheet.index
            listed = package.tree(package.workbook_part).find(f"{{{MAIN}}}sheets")
            if listed[place].get("state") == ("hidden" if tables[table.name] else None):
                continue
            item = package.edit(package.workbook_part).find(f"{{{MAIN}}}sheets")[place]
            if tables[table.name]:
                item.set("state", "hidden")
            else:
                item.attrib.pop("state", None)


def _drop_labels(
    package: Package,
    sheet: Sheet,
    blanks: Sequence[tuple[int, int, bool, Collection[str]]],
    named: Sequence[tuple[int, int, bool, Collection[str]]],
) -> None:
    above = {(row - 1, column): labels for row, column, _, labels in blanks}
    taken: dict[int, int] = {}
    root = package.edit(sheet.part)
    rows = {int(row.get("r", "0")): row for row in root.iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row")}
    for number in {row for row, _ in above}:
        for cell in rows.get(number, ()):
            place = split_cell(cell.get("r"))
            if place in above and cell_value(cell, package) in above[place]:
                set_blank(cell)
                taken[number] = taken.get(number, 0) + 1
    for number, count in taken.items():
        if count == sum(row == number + 1 for row, *_ in named):
            for each in (number, number + 1):
                rows[each].set("hidden", "1")


def _leave_columns(package: Package, sheet: Sheet, optional: Mapping[str, Mapping[str, MayGo]]) -> None:
    tables = [table for table in package.tables if table.sheet.name == sheet.name]
    if not any(table.name in optional for table in tables):
        return
    root = package.edit(sheet.part)
    empty: set[int] = set()
    full: set[int] = set()
    gone: dict[str, set[str]] = {}
    rows = {int(row.get("r", "0")): row for row in root.iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row")}
    for table in tables:
        used = {
            split_cell(cell.get("r"))[1]
            for number in range(table.first_data_row, table.last_data_row + 1)
            for cell in rows.get(number, ())
            if cell_value(cell, package) not in (None, "")
        }
        may_go = optional.get(table.name, {})
        going = {
            column: may_go[header].name
            for column, header in enumerate(table.columns, table.first_column)
            if header in may_go and (may_go[header].at_all or column not in used)
        }
        last = table.last_column
        while last in going:
            last -= 1
        if table.first_column <= last < table.last_column:
            _cut(package, table, last, rows)
        columns = range(table.first_column, last + 1)
        empty |= going.keys() & set(columns)
        full |= set(columns) - going.keys()
        gone[table.name] = {name for column, name in going.items() if column > last}
        gone[table.name] |= {name for column, name in going.items() if column <= last and column not in full}
    before = _widths(root)
    for column in sorted(empty - full):
        _hide_column(root, column)
    freed = sum(before(column) for column in empty - full)
    if freed:
        _widen_texts(package, sheet, tables, rows, freed)
    _drop_notes(package, sheet, gone, rows)


def _widen_texts(
    package: Package, sheet: Sheet, tables: Sequence[Table], rows: Mapping[int, etree._Element], freed: float
) -> None:
    """Give the last printed column what hidden ones left free, where a text of a table wraps in it."""
    root, styles = package.edit(sheet.part), package.remember("wrapped", lambda: _wrapped(package))
    _, last = _printed_cells(package, sheet)
    width = _widths(root)(last)
    data = (
        number
        for table in tables
        if last <= table.last_column
        for number in range(table.first_data_row, table.last_data_row + 1)
    )
    cells = [cell for number in data for cell in rows.get(number, ()) if split_cell(cell.get("r"))[1] == last]
    looks = ((cell, styles.get(cell.get("s", "0"))) for cell in cells)
    if any(look and _lines(_text(cell, package.shared_strings), look, width) > 1 for cell, look in looks):
        _set_width(root, last, width + freed)


def _cut(package: Package, table: Table, last: int, rows: Mapping[int, etree._Element]) -> None:
    """Let a table end with its column `last`; what stood beyond goes with its look."""
    tree = copy.deepcopy(package.tree(table.part))
    area = f"{column_letters(table.first_column)}{table.first_row}:{column_letters(last)}{table.last_row}"
    for item in (tree, *tree.iterfind(f"{{{MAIN}}}autoFilter")):
        item.set("ref", area)
    listed = tree.find(f"{{{MAIN}}}tableColumns")
    for item in list(listed)[last - table.first_column + 1 :]:
        listed.remove(item)
    listed.set("count", str(len(listed)))
    package.put(table.part, etree.tostring(tree, xml_declaration=True, encoding="UTF-8", standalone=True))
    for number in range(table.first_row, table.last_row + 1):
        for cell in list(rows.get(number, ())):
            if last < split_cell(cell.get("r"))[1] <= table.last_column:
                cell.getparent().remove(cell)
    drop_calculation_chain(package)


def _drop_notes(
    package: Package, sheet: Sheet, gone: Mapping[str, Collection[str]], rows: Mapping[int, etree._Element]
) -> None:
    """Take away notes on columns that are gone, and rows that reckon with them."""
    for item in package.defined_names:
        kind, _, column = item.name.partition(".")
        table, _, name = column.partition(".")
        if item.place is None or item.place[0] != sheet.name or name not in gone.get(table, ()):
            continue
        row, place = split_cell(item.place[1])
        if kind == ROW_OF and row in rows:
            rows[row].set("hidden", "1")
        for cell in rows.get(row, ()) if kind == NOTE_ON else ():
            if split_cell(cell.get("r"))[1] == place:
                set_blank(cell)


def _hide_column(root: etree._Element, column: int) -> None:
    _set_column(root, column, {"hidden": "1"})


def _set_width(root: etree._Element, column: int, width: float) -> None:
    _set_column(root, column, {"width": f"{width:g}", "customWidth": "1"})


def _set_column(root: etree._Element, column: int, look: Mapping[str, str]) -> None:
    """Give one column a look, which a range of columns alike may hold."""
    columns = root.find(f"{{{MAIN}}}cols")
    for item in list(() if columns is None else columns):
        first, last = int(item.get("min", "1")), int(item.get("max", "1"))
        if not first <= column <= last:
            continue
        for start, end in ((first, column - 1), (column, column), (column + 1, last)):
            if start <= end:
                twin = copy.deepcopy(item)
                twin.set("min", str(start))
                twin.set("max", str(end))
                if start == column:
                    for name, value in look.items():
                        twin.set(name, value)
                item.addprevious(twin)
        columns.remove(item)


#: inches of the papers by their code in a file (ECMA-376 part 1, 18.3.1.63)
_PAPERS = {"1": (8.5, 11.0), "5": (8.5, 14.0), "8": (11.69, 16.54), "9": (8.27, 11.69), "3": (11.0, 17.0)}
LEAST_TYPE = 9.0  # points of what is read standing, as printed (common practice, no source)
_ROW = 15.0  # points of a row that states no height
_SQUEEZED = 0.95  # of what is a line or two too long: beyond the margin of _DRIFT, and not seen
_SHRUNK = 0.9  # of what is smaller anyhow, so that it fits on one page
_DRIFT = 1.01  # a spreadsheet's own heights and widths over those reckoned here; judged from rendered pages
_STANDARD_TYPE = (
    11.0  # points of the type whose digits the widths of columns count (Calibri, in all our books)
)


@dataclass(frozen=True, slots=True)
class OnPaper:
    """How a worksheet comes out on paper: scale by its width, by its height too, and its smallest type.

    `heights` [pt] of its rows by number, and `page`, what goes on a page at the scale of the width. `by_hand`
    is a scale to be set by hand, at which no spreadsheet finds the sheet too wide: widths are in digits,
    which one rounds to whole pixels and another does not.
    """

    by_width: float
    by_both: float
    by_hand: float
    smallest: float
    heights: dict[int, float]
    page: float

    def page_at(self, scale: float) -> float:
        """What goes on a page at a scale [pt]."""
        return self.page * self.by_width / scale


def printed_page(package: Package, sheet: Sheet) -> OnPaper | None:
    """How a worksheet that is fitted to the width of its paper is printed; None where it is not."""
    root = package.tree(sheet.part)
    setup, margins = (root.find(f"{{{MAIN}}}{name}") for name in ("pageSetup", "pageMargins"))
    paper = _PAPERS.get(setup.get("paperSize", "1")) if setup is not None else None
    if paper is None or margins is None or setup.get("fitToWidth", "1") != "1":
        return None
    wide, high = paper[::-1] if setup.get("orientation") == "landscape" else paper
    wide -= sum(float(margins.get(name, "0.7")) for name in ("left", "right"))
    high -= sum(float(margins.get(name, "0.75")) for name in ("top", "bottom"))
    last_row, last = _printed_cells(package, sheet)
    widths = _widths(root)
    columns = [width for column in range(1, last + 1) if (width := widths(column)) > 0.0]
    across = sum(map(_pixels, columns)) / 96.0
    unrounded = sum(columns) * text_width("0", _STANDARD_TYPE, bold=False) / 72.0
    sizes, smallest = package.remember("type sizes", lambda: _sizes(package)), math.inf
    heights = dict.fromkeys(range(1, last_row + 1), _ROW)  # points; rows without cells are not in the file
    for row in root.iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row"):
        number, is_hidden = int(row.get("r", "0")), row.get("hidden") in ("1", "true")
        if number > last_row:
            continue
        heights[number] = 0.0 if is_hidden else float(row.get("ht", _ROW))
        for cell in () if is_hidden else row:
            size = sizes[int(cell.get("s", "0"))]
            if size < smallest and len(cell) and split_cell(cell.get("r"))[1] <= last:
                smallest = size
    down = sum(heights.values())
    by_width = min(1.0, wide / across / _DRIFT) if across else 1.0
    by_hand = min(by_width, wide / unrounded / _DRIFT) if unrounded else by_width
    by_height = high * 72.0 / down / _DRIFT if down else 1.0
    page = high * 72.0 / by_width / _DRIFT
    return OnPaper(by_width, min(by_width, by_height), by_hand, smallest, heights, page)


def _printed_cells(package: Package, sheet: Sheet) -> tuple[int, int]:
    """Last row and column of what is printed."""
    for item in package.defined_names:
        if item.name == "_xlnm.Print_Area" and item.scope == sheet.name and item.place is not None:
            bottom, right = split_range(item.place[1])[2:]
            return bottom, right
    root = package.tree(sheet.part)
    rows = [row for row in root.iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row") if len(row)]
    cells = [split_cell(row[-1].get("r")) for row in rows]
    return max((row for row, _ in cells), default=1), max((column for _, column in cells), default=1)


def _pixels(width: float) -> int:
    """Pixels at 96 dpi of a column of so many characters (ECMA-376 part 1, 18.3.1.13)."""
    return math.trunc((256.0 * width + math.trunc(128.0 / 7.0)) / 256.0 * 7.0)


def _sizes(package: Package) -> list[float]:
    """Type size of each cell style."""
    root = package.tree(package.related(package.workbook_part, "styles")[0])
    sizes = [
        float(size.get("val", "11")) if (size := font.find(f"{{{MAIN}}}sz")) is not None else 11.0
        for font in root.iterfind(f"{{{MAIN}}}fonts/{{{MAIN}}}font")
    ]
    return [sizes[int(item.get("fontId", "0"))] for item in root.iterfind(f"{{{MAIN}}}cellXfs/{{{MAIN}}}xf")]


def fit_pages(package: Package) -> None:
    """Shrink a worksheet to one page where its type stays legible; else it goes on with its head repeated.

    A picture below a list is then not cut: it begins the next page, with what follows it.
    """
    for sheet in package.worksheets:
        setup = package.tree(sheet.part).find(f"{{{MAIN}}}pageSetup")
        if setup is None or setup.get("fitToHeight") != "0" or not package.is_edited(sheet.part):
            continue
        page = printed_page(package, sheet)
        if page is None or not math.isfinite(page.smallest):
            continue
        by_width = page.by_width * page.smallest
        goal = LEAST_TYPE if by_width >= LEAST_TYPE else _SHRUNK * by_width
        if page.by_both * page.smallest >= goal:
            package.edit(sheet.part).find(f"{{{MAIN}}}pageSetup").set("fitToHeight", "1")
        elif (found := _whole_from(package, sheet, page)) is not None:
            row, scale, is_second = found
            _begin_page(package.edit(sheet.part), row, scale)
            if is_second:  # no list goes on
                _repeat_nothing(package, sheet)


def _whole_from(package: Package, sheet: Sheet, page: OnPaper) -> tuple[int, float, bool] | None:
    """The row with which a new page begins, a picture below the lists keeping whole; scale; is it the second?

    Also where a page ends between list and picture: the head of the list would stand over the picture. A
    list that is a line or two too long for the first page is squeezed onto it, since not every spreadsheet
    would find it too long.
    """
    below = max((table.last_row for table in package.tables if table.sheet.name == sheet.name), default=0)
    tops = [top for name, (top, *_) in picture_places(package).values() if name == sheet.name and top > below]
    if not tops or not any(page.heights[row] for row in page.heights if row >= min(tops)):
        return None
    first = min(tops) - 1  # its heading
    before = sum(height for row, height in page.heights.items() if row < first)
    squeezed = min(1.0, page.page_at(page.by_hand) / before)
    is_second = squeezed >= _SQUEEZED
    scale = page.by_hand * squeezed if is_second else page.by_hand
    titles = sum(page.heights[row] for row in _title_rows(package, sheet))
    pages = (page.page, page.page_at(scale))
    if not any(row > below for room in pages for row in _page_ends(page.heights, room, titles)):
        return None
    return first, scale, is_second


def _page_ends(heights: Mapping[int, float], page: float, titles: float) -> list[int]:
    """The rows before which a page ends, those after the first with less room by what is repeated [pt]."""
    room, ends = page, []
    for row, height in heights.items():
        if height > room:
            ends.append(row)
            room = page - titles
        room -= height
    return ends


def _title_rows(package: Package, sheet: Sheet) -> range:
    """The rows that are repeated on each page."""
    for item in package.defined_names:
        if item.name == "_xlnm.Print_Titles" and item.scope == sheet.name:
            found = re.search(r"\$(\d+):\$(\d+)", item.text)
            return range(int(found[1]), int(found[2]) + 1) if found else range(0)
    return range(0)


def _repeat_nothing(package: Package, sheet: Sheet) -> None:
    names = package.edit(package.workbook_part).find(f"{{{MAIN}}}definedNames")
    for item in list(() if names is None else names):
        if item.get("name") == "_xlnm.Print_Titles" and item.get("localSheetId") == str(sheet.index):
            names.remove(item)


def _begin_page(root: etree._Element, row: int, scale: float) -> None:
    """Let a page begin with a row. A sheet fitted to its paper may not heed it: it is scaled by hand."""
    setup = root.find(f"{{{MAIN}}}pageSetup")
    for fitted in root.iter(f"{{{MAIN}}}pageSetUpPr"):
        fitted.attrib.pop("fitToPage", None)
    for name in ("fitToWidth", "fitToHeight"):
        setup.attrib.pop(name, None)
    setup.set("scale", f"{math.floor(100.0 * scale)}")
    breaks = etree.Element(f"{{{MAIN}}}rowBreaks", count="1", manualBreakCount="1")
    etree.SubElement(breaks, f"{{{MAIN}}}brk", id=f"{row - 1}", max="16383", man="1")
    after = root.find(f"{{{MAIN}}}headerFooter")
    (setup if after is None else after).addnext(breaks)


def set_scale(package: Package, low: float, high: float) -> None:
    """Give the charts whose value axis has a fixed scale one that shows `low` and `high` well apart.

    Half the distance is left free above and below; the steps are round figures, and the labels of
    the axis have the decimals that tell them apart.
    """
    span = high - low or abs(low) / 20.0  # no limits: some room all the same
    if not span > 0.0:
        return
    step = _round_step(span / 3.0)
    least = math.floor((low - span / 2.0) / step) * step
    most = math.ceil((high + span / 2.0) / step) * step
    scale = {"min": least, "max": most, "majorUnit": step}
    for part in [part for sheet in package.worksheets for part in package.charts(sheet)]:
        for axis in package.edit(part).iter(f"{{{_CHART}}}valAx"):
            if axis.find(f"{{{_CHART}}}scaling/{{{_CHART}}}min") is None:
                continue
            for name, value in scale.items():
                for item in axis.iter(f"{{{_CHART}}}{name}"):
                    item.set("val", f"{value:.10g}")
            for item in axis.iterchildren(f"{{{_CHART}}}numFmt"):
                item.set("formatCode", Printed(step, digits_of(step)).form)
                item.set("sourceLinked", "0")


def _round_step(step: float) -> float:
    """The next of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(step))
    return next((figure * power for figure in (1.0, 2.0, 5.0) if figure * power >= step), 10.0 * power)


def fit_texts(package: Package, labels: bool) -> None:
    """Make the rows of changed sheets high enough for their wrapped texts; no row gets lower.

    Those of `labels`, which the template came with, are looked at where it is ours; a plant has seen to
    its own.
    A spreadsheet does so by itself, but not where cells are merged, and some not on opening.
    """
    styles = package.remember("wrapped", lambda: _wrapped(package))
    for sheet in package.worksheets:
        if styles and package.is_edited(sheet.part):
            _fit(package, package.edit(sheet.part), styles, 0 if labels else package.first_added)


def _fit(
    package: Package, root: etree._Element, styles: Mapping[str, tuple[float, float, bool]], least: int
) -> None:
    """The rows of one sheet; of shared texts those from place `least` on."""
    widths, strings = _widths(root), package.shared_strings
    spans = {}
    for merged in root.iterfind(f"{{{MAIN}}}mergeCells/{{{MAIN}}}mergeCell"):
        first, _, last = merged.get("ref", "A1").partition(":")
        spans[first] = split_cell(last or first)[1]
    data = root.find(f"{{{MAIN}}}sheetData")
    for row in () if data is None else data:
        if row.get("hidden") in ("1", "true"):
            continue
        needed = 0.0
        for cell in row:
            look = styles.get(cell.get("s", "0"))
            text = _text(cell, strings, least) if look else ""
            if look is None or len(text) < _SHORT:
                continue
            address = cell.get("r")
            column = split_cell(address)[1]
            last = spans.get(address, column)
            lines = _lines(text, look, sum(widths(place) for place in range(column, last + 1)))
            if lines > 1:
                needed = max(needed, row_height(lines, look[0]))
        if needed > float(row.get("ht", "15")):
            row.set("ht", f"{needed:g}")
            row.set("customHeight", "1")


def _text(cell: etree._Element, strings: Sequence[str], least: int = 0) -> str:
    """The text of a cell, "" where it holds none or a shared one before place `least`."""
    if cell.get("t") == SHARED:
        place = int(cell.findtext(VALUE) or 0)
        return strings[place] if place >= least else ""
    return "".join(cell.itertext()) if cell.get("t") == "inlineStr" else ""


def _lines(text: str, look: tuple[float, float, bool], width: float) -> int:
    """Lines of a text in a cell that wraps; 0 where there is no width."""
    size, indent, bold = look
    return text_lines(text, width, size, indent, bold=bold) if width else 0


def _widths(root: etree._Element) -> Callable[[int], float]:
    standard = root.find(f"{{{MAIN}}}sheetFormatPr")
    default = float(standard.get("defaultColWidth", "8.43")) if standard is not None else 8.43
    listed = [
        (
            int(item.get("min", "1")),
            int(item.get("max", "1")),
            0.0 if item.get("hidden") in ("1", "true") else float(item.get("width", default)),
        )
        for item in root.iterfind(f"{{{MAIN}}}cols/{{{MAIN}}}col")
    ]

    @functools.cache
    def width(column: int) -> float:
        return next((size for first, last, size in listed if first <= column <= last), default)

    return width


def _wrapped(package: Package) -> dict[str, tuple[float, float, bool]]:
    """Font size, indent and weight of each cell style that wraps its text.

    What is indented stands in a table, whose rules may make it bold.
    """
    found: dict[str, tuple[float, float, bool]] = {}
    parts = package.related(package.workbook_part, "styles")
    if parts:
        root = package.tree(parts[0])
        sizes = [
            float(size.get("val", "11")) if (size := font.find(f"{{{MAIN}}}sz")) is not None else 11.0
            for font in root.iterfind(f"{{{MAIN}}}fonts/{{{MAIN}}}font")
        ]
        bold = [
            font.find(f"{{{MAIN}}}b") is not None for font in root.iterfind(f"{{{MAIN}}}fonts/{{{MAIN}}}font")
        ]
        for place, item in enumerate(root.iterfind(f"{{{MAIN}}}cellXfs/{{{MAIN}}}xf")):
            alignment = item.find(f"{{{MAIN}}}alignment")
            if alignment is not None and alignment.get("wrapText") in ("1", "true"):
                font, indent = int(item.get("fontId", "0")), float(alignment.get("indent", "0"))
                found[str(place)] = sizes[font], indent, bold[font] or indent > 0.0
    return found


#: widths of the letters from blank to ~ in thousandths of the type size: those of Carlito, which are those
#: of Calibri by its own description; read from its outlines
_LETTERS = (
    *(226, 326, 401, 498, 507, 715, 682, 221, 303, 303, 498, 498, 250, 306, 252, 386, 507, 507, 507, 507),
    *(507, 507, 507, 507, 507, 507, 268, 268, 498, 498, 498, 463, 894, 579, 544, 533, 615, 488, 459, 631),
    *(623, 252, 319, 520, 420, 855, 646, 662, 517, 673, 543, 459, 487, 642, 567, 890, 519, 487, 468, 307),
    *(386, 307, 498, 498, 291, 479, 525, 423, 525, 498, 305, 471, 525, 229, 239, 455, 229, 799, 525, 527),
    *(525, 525, 349, 391, 335, 525, 452, 715, 433, 453, 395, 314, 460, 314, 498),
)
_OTHER_LETTER = 560
_BOLD = 1.03  # of the same outlines: width of a bold text over a plain one
_FILLED = 0.99  # of its room that a line is filled to: spreadsheets round letters to pixels


@functools.lru_cache(maxsize=1 << 14)
def text_width(text: str, size: float, *, bold: bool = True) -> float:
    """Width of a text in type of a size, in points; bold type is the widest."""
    blank, count = ord(" "), len(_LETTERS)
    letters = (ord(letter) - blank for letter in text.replace(NARROW, " "))
    thousandths = sum(_LETTERS[place] if 0 <= place < count else _OTHER_LETTER for place in letters)
    return thousandths / 1000.0 * size * (_BOLD if bold else 1.0)


@functools.lru_cache(maxsize=1 << 14)
def text_lines(text: str, width: float, size: float, indent: float = 0.0, *, bold: bool = True) -> int:
    """Lines of a text in a cell of this width [characters], font size [pt] and indent."""
    room = _FILLED * 0.75 * (7.0 * width - 9.0 * indent)  # points: 7 pixels a character, 9 an indent
    blank, count = text_width(" ", size, bold=bold), 0
    for line in text.split("\n"):
        used, count = 0.0, count + 1
        for word in filter(None, line.split(" ")):  # no line ends at a blank of another kind
            wide = text_width(word, size, bold=bold)
            if used and used + blank + wide > room:
                used, count = 0.0, count + 1
            if wide > room:
                count += math.ceil(wide / max(room, 1.0)) - 1
            used += wide + (blank if used else 0.0)
    return count


def row_height(lines: int, size: float) -> float:
    """The height of a row [pt] that holds so many lines."""
    return round(lines * size * _POINTS + 3.0, 1)
