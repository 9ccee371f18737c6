"""The texts of a workbook as its cells share them: the part `sharedStrings`, written with texts added.

ECMA-376 part 1, 18.4: an item `si` holds a text, cells of the type `s` hold its place, `count` says how many
cells do, `uniqueCount` how many items there are.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Sequence

from lxml import etree

__all__ = ["EMPTY", "PART", "RELATION", "TYPE", "references", "references_once", "share_inline", "with_texts"]

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PART = "xl/sharedStrings.xml"
TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
DECLARED = b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
EMPTY = DECLARED + f'<sst xmlns="{_MAIN}" count="0" uniqueCount="0"/>'.encode()

_LINK = "sharedStrings"  # the name of a relationship, as no program numbers its own
_ITEM = f"{{{_MAIN}}}si"
_REFERENCE = re.compile(rb"""<(?:\w+:)?c\s[^<>]*?\bt=["']s["']""")
_INLINE = re.compile(rb'<c(\s(?:[^<>]*?\s)?)t="inlineStr"([^<>]*)><is>(.*?)</is></c>', re.DOTALL)
_LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")


def references(sheet: bytes) -> int:
    """How many cells of a sheet's part share a text.

    >>> references(b'<c r="A1" s="2" t="s"><v>0</v></c><c r="B1"><v>1</v></c><c t="str"><v>t="s"</v></c>')
    1
    """
    return len(_REFERENCE.findall(sheet))


#: the same of sheets that many files of one run have alike
references_once = functools.lru_cache(maxsize=256)(references)


def with_texts(part: bytes, texts: Iterable[str], count: int) -> bytes:
    """The part with further texts behind its own, and how many cells share one.

    >>> with_texts(EMPTY, ["a < b", " c"], 3).partition(b"count")[2]
    b'="3" uniqueCount="2"><si><t>a &lt; b</t></si><si><t xml:space="preserve"> c</t></si></sst>'
    """
    prefix = _opened(part).prefix
    return _with_items(part, [_item(text, prefix) for text in texts], count)


def share_inline(parts: dict[str, bytes]) -> None:
    """Have the cells of a workbook's parts share their texts, where each has its own in the sheet.

    openpyxl writes it so; a spreadsheet changes it when it saves. A text of its own and one that is shared
    are of one type, CT_Rst (ECMA-376 part 1, 18.4.8 and 18.3.1.53), so that formats go along.

    >>> cell = b'<c r="A%d" t="inlineStr"><is><t>one</t></is></c>'
    >>> parts = {"xl/worksheets/sheet1.xml": cell % 1 + cell % 2, PART: EMPTY}
    >>> share_inline(parts)
    >>> parts["xl/worksheets/sheet1.xml"]
    b'<c r="A1" t="s"><v>0</v></c><c r="A2" t="s"><v>0</v></c>'
    >>> parts[PART].partition(b"count")[2]
    b'="2" uniqueCount="1"><si><t>one</t></si></sst>'
    """
    before = _opened(parts.get(PART, EMPTY)).items
    places: dict[bytes, int] = {}

    def shared(cell: re.Match[bytes]) -> bytes:
        place = places.setdefault(cell[3], before + len(places))
        return b'<c%bt="s"%b><v>%d</v></c>' % (cell[1], cell[2], place)

    sheets = [name for name in parts if name.startswith("xl/worksheets/") and name.endswith(".xml")]
    for name in sheets:
        parts[name] = _INLINE.sub(shared, parts[name])
    if not places:
        return
    if PART not in parts:
        link = f'<Relationship Id="{_LINK}" Type="{RELATION}" Target="/{PART}"/>'
        kind = f'<Override PartName="/{PART}" ContentType="{TYPE}"/>'
        for name, end, words in (
            ("xl/_rels/workbook.xml.rels", b"</Relationships>", link),
            ("[Content_Types].xml", b"</Types>", kind),
        ):
            head, _, tail = parts[name].rpartition(end)
            parts[name] = head + words.encode() + end + tail
    items = [f"<si>{text.decode()}</si>" for text in places]
    count = sum(references(parts[name]) for name in sheets)
    parts[PART] = _with_items(parts.get(PART, EMPTY), items, count)


def _with_items(part: bytes, items: Sequence[str], count: int) -> bytes:
    opened = _opened(part)
    head = opened.head % (count, opened.items + len(items))
    return b"".join((DECLARED, head, opened.own, "".join(items).encode(), opened.tail))


class _Opened:
    """The part taken apart where texts are put in."""

    def __init__(self, part: bytes):
        root = etree.fromstring(part, etree.XMLParser(resolve_entities=False, strip_cdata=False))
        self.prefix = f"{root.prefix}:" if root.prefix else ""
        own = [item for item in root if item.tag == _ITEM]
        self.items = len(own)
        self.own, rest = (
            b"".join(etree.tostring(item, with_tail=False) for item in group)
            for group in (own, [item for item in root if item.tag != _ITEM])
        )
        for item in list(root):
            root.remove(item)
        for name in ("count", "uniqueCount"):
            root.attrib.pop(name, None)
        root.text = None
        bare = etree.tostring(root).removesuffix(b"/>").replace(b"%", b"%%")
        self.head = bare + b' count="%d" uniqueCount="%d">'
        self.tail = rest + f"</{self.prefix}sst>".encode()


#: those of the templates of a run
_opened = functools.lru_cache(maxsize=16)(_Opened)


@functools.lru_cache(maxsize=1 << 12)
def _item(text: str, prefix: str) -> str:
    """A text as an item: blanks at its ends and line ends are kept, what looks like an escape stands."""
    kept = ' xml:space="preserve"' if text != text.strip() or "\n" in text else ""
    plain = _LOOKS_ESCAPED.sub("_x005F_", text) if "_x" in text else text
    plain = plain.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return f"<{prefix}si><{prefix}t{kept}>{plain}</{prefix}t></{prefix}si>"
