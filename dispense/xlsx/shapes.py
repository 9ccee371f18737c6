"""Pictures as vector shapes of a worksheet (DrawingML, ECMA-376 part 1, 20.1 and 20.5).

A picture goes where a hidden name of the template says: from the upper left of its cells, in its own size,
as one group with its words for who cannot see it. Rows of that room which it does not need are hidden.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

from lxml import etree

from ..base.picture import POINT, Area, Line, Picture, Shape, Spot, Words
from .package import MAIN, RELATIONS, Package, Sheet, split_range
from .shared import DECLARED

PICTURE = "_picture."  # hidden names that say where a picture goes begin so
HEADED = "_headed."  # and those of the rows of its heading, hidden with the room where nothing is drawn
_XDR = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
_A = "http://schemas.openxmlformats.org/drawingml/2006/main"
_KIND = "application/vnd.openxmlformats-officedocument.drawing+xml"
_EMU = 36000  # in a millimetre
_EMU_POINT = 12700
_FINE = 100  # units of a path in a millimetre
_LETTER = 0.62  # widest mean letter of a text over its type size
_LINE = 1.25  # height of a line over the type size
_STANDARD = 15.0  # points of a row that states no height
_FAMILY = "Calibri"
#: elements of a worksheet that stand behind its drawing (ECMA-376 part 1, 18.3.1.99)
_BEHIND: tuple[str, ...] = (
    "legacyDrawing",
    "legacyDrawingHF",
    "drawingHF",
    "picture",
    "oleObjects",
    "controls",
)
_BEHIND += ("webPublishItems", "tableParts", "extLst")


def make_room(package: Package) -> None:
    """Give each sheet that has room for a picture a drawing, so that a filling only writes into it."""
    sheets = {place[0] for place in picture_places(package).values()}
    for sheet in package.worksheets:
        if sheet.name in sheets and not package.drawings(sheet):
            _add_drawing(package, sheet)


def picture_places(package: Package) -> dict[str, tuple[str, tuple[int, int, int, int]]]:
    """For each picture that a template has room for its sheet and its cells: top, left, bottom, right."""
    places: dict[str, tuple[str, tuple[int, int, int, int]]] = package.remember(
        "picture places",
        lambda: {
            item.name.removeprefix(PICTURE): (item.place[0], split_range(item.place[1]))
            for item in package.defined_names
            if item.name.startswith(PICTURE) and item.place is not None
        },
    )
    return places


def draw_pictures(package: Package, pictures: Mapping[str, Picture]) -> None:
    """Draw the pictures that the template has room for; room that is not needed is hidden."""
    drawn: dict[str, list[str]] = {}
    sheets = {sheet.name: sheet for sheet in package.worksheets}
    headings = {
        item.name.removeprefix(HEADED): split_range(item.place[1])
        for item in package.defined_names
        if item.name.startswith(HEADED) and item.place is not None
    }
    for key, (name, (top, left, bottom, _)) in picture_places(package).items():
        picture, sheet = pictures.get(key), sheets.get(name)
        if sheet is None:
            continue
        _hide_rows(package, sheet, top, bottom, picture.high / POINT if picture else 0.0)
        if picture is None:
            if heading := headings.get(key):
                _hide_rows(package, sheet, heading[0], heading[2], 0.0)
            continue
        for part in package.drawings(sheet)[:1]:
            first = 2 + 1000 * sum(map(len, drawn.values()))
            drawn.setdefault(part, []).append(_anchored(picture, top, left, first))
    for part, anchors in drawn.items():
        root = package.edit(part)
        whole = f'<xdr:wsDr xmlns:xdr="{_XDR}" xmlns:a="{_A}">{"".join(anchors)}</xdr:wsDr>'
        for anchor in list(etree.fromstring(whole)):
            root.append(anchor)


def _hide_rows(package: Package, sheet: Sheet, top: int, bottom: int, needed: float) -> None:
    """Hide the rows of a picture's room that begin below `needed` points."""
    used = 0.0
    for row in package.edit(sheet.part).iterfind(f"{{{MAIN}}}sheetData/{{{MAIN}}}row"):
        if top <= int(row.get("r", "0")) <= bottom:
            if used >= needed:
                row.set("hidden", "1")
            used += float(row.get("ht", _STANDARD))


def _add_drawing(package: Package, sheet: Sheet) -> None:
    number = 1 + sum(part.startswith("xl/drawings/drawing") for part in package.parts)
    while package.find(f"xl/drawings/drawing{number}.xml"):
        number += 1
    part = f"xl/drawings/drawing{number}.xml"
    package.put(part, DECLARED + f'<xdr:wsDr xmlns:xdr="{_XDR}" xmlns:a="{_A}"></xdr:wsDr>'.encode())
    package.declare(part, _KIND)
    key = package.link(sheet.part, f"{RELATIONS}/drawing", f"/{part}", "rIdDrawing")
    root = package.edit(sheet.part)
    item = etree.Element(f"{{{MAIN}}}drawing")
    item.set(f"{{{RELATIONS}}}id", key)
    behind = next((child for child in root if etree.QName(child).localname in _BEHIND), None)
    if behind is None:
        root.append(item)
    else:
        behind.addprevious(item)


# ---------------------------------------------------------------------------------------- shapes


def _emu(length: float) -> int:
    return round(length * _EMU)


def _anchored(picture: Picture, top: int, left: int, first: int) -> str:
    """A picture as a group anchored at a cell; `first` is the first of its numbers."""
    wide, high = _emu(picture.wide), _emu(picture.high)
    frame = f'<a:off x="0" y="0"/><a:ext cx="{wide}" cy="{high}"/>'
    inner = frame.replace("a:off", "a:chOff").replace("a:ext", "a:chExt")
    shapes = "".join(_shape(item, picture, number) for number, item in enumerate(picture.shapes, first + 1))
    return (
        f"<xdr:oneCellAnchor><xdr:from><xdr:col>{left - 1}</xdr:col><xdr:colOff>0</xdr:colOff>"
        f"<xdr:row>{top - 1}</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:from>"
        f'<xdr:ext cx="{wide}" cy="{high}"/><xdr:grpSp><xdr:nvGrpSpPr><xdr:cNvPr id="{first}" '
        f"name={quoteattr(picture.title)} descr={quoteattr(picture.alternative)}/><xdr:cNvGrpSpPr/>"
        f"</xdr:nvGrpSpPr><xdr:grpSpPr><a:xfrm>{frame}{inner}</a:xfrm></xdr:grpSpPr>{shapes}</xdr:grpSp>"
        f"<xdr:clientData/></xdr:oneCellAnchor>"
    )


def _frame(left: float, top: float, wide: float, high: float) -> str:
    """Where a shape lies [mm]."""
    return (
        f'<a:xfrm><a:off x="{_emu(left)}" y="{_emu(top)}"/>'
        f'<a:ext cx="{_emu(wide)}" cy="{_emu(high)}"/></a:xfrm>'
    )


def _shape(item: Shape, picture: Picture, number: int) -> str:
    head = (
        f'<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="{number}" name="{number}"/>'
        "<xdr:cNvSpPr/></xdr:nvSpPr><xdr:spPr>"
    )
    if isinstance(item, Words):
        return head + _words(item) + "</xdr:sp>"
    spots = [spot for row in item.rows for spot in row]
    left, top = min(x for x, _ in spots), min(y for _, y in spots)
    wide = max(max(x for x, _ in spots) - left, 1.0 / _FINE)
    high = max(max(y for _, y in spots) - top, 1.0 / _FINE)
    is_area = isinstance(item, Area)
    path = "".join(_path(row, left, top, is_area) for row in item.rows)
    frame = _frame(left, top, wide, high)
    filled = "" if is_area else ' fill="none"'
    geometry = (
        f"{frame}<a:custGeom><a:avLst/><a:gdLst/><a:ahLst/><a:cxnLst/>"
        f'<a:rect l="0" t="0" r="r" b="b"/><a:pathLst><a:path w="{max(round(wide * _FINE), 1)}" '
        f'h="{max(round(high * _FINE), 1)}"{filled}>{path}</a:path></a:pathLst></a:custGeom>'
    )
    return f"{head}{geometry}{_look(item)}</xdr:spPr></xdr:sp>"


def _path(row: Sequence[Spot], left: float, top: float, closed: bool) -> str:
    spots = [f'<a:pt x="{round((x - left) * _FINE)}" y="{round((y - top) * _FINE)}"/>' for x, y in row]
    lines = "".join(f"<a:lnTo>{spot}</a:lnTo>" for spot in spots[1:])
    return f"<a:moveTo>{spots[0]}</a:moveTo>{lines}" + ("<a:close/>" if closed else "")


def _colour(ink: str) -> str:
    return f'<a:srgbClr val="{ink}"/>'


def _look(item: Line | Area) -> str:
    if isinstance(item, Line):
        dash = f'<a:prstDash val="{item.dash}"/>' if item.dash else ""
        return (
            f'<a:noFill/><a:ln w="{round(item.width * _EMU_POINT)}"><a:solidFill>{_colour(item.ink)}'
            f"</a:solidFill>{dash}</a:ln>"
        )
    if item.hatch:
        fill = (
            f'<a:pattFill prst="{item.hatch}"><a:fgClr>{_colour(item.fill)}</a:fgClr><a:bgClr>'
            f"{_colour('FFFFFF')}</a:bgClr></a:pattFill>"
        )
    else:
        fill = f"<a:solidFill>{_colour(item.fill)}</a:solidFill>"
    if not item.edge:
        return f"{fill}<a:ln><a:noFill/></a:ln>"
    edge = f"<a:solidFill>{_colour(item.edge)}</a:solidFill>"
    return f'{fill}<a:ln w="{round(item.width * _EMU_POINT)}">{edge}</a:ln>'


def _words(item: Words) -> str:
    wide, high = len(item.text) * item.size * _LETTER * POINT + 1.0, item.size * _LINE * POINT
    x, y = item.at
    left = x - {"l": 0.0, "ctr": wide / 2.0, "r": wide}[item.align]
    bold = ' b="1"' if item.bold else ""
    return (
        f"{_frame(left, y, wide, high)}"
        '<a:prstGeom prst="rect"><a:avLst/></a:prstGeom><a:noFill/><a:ln><a:noFill/></a:ln></xdr:spPr>'
        '<xdr:txBody><a:bodyPr wrap="none" lIns="0" tIns="0" rIns="0" bIns="0" anchor="t"/><a:p>'
        f'<a:pPr algn="{item.align}"/><a:r><a:rPr lang="en-US" sz="{round(item.size * 100)}"{bold}>'
        f'<a:solidFill>{_colour("1A1A1A")}</a:solidFill><a:latin typeface="{_FAMILY}"/></a:rPr>'
        f"<a:t>{escape(item.text)}</a:t></a:r></a:p></xdr:txBody>"
    )


__all__ = ["HEADED", "PICTURE", "draw_pictures", "make_room", "picture_places"]
