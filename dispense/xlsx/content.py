"""What a value is as the content of a cell: its type in the file and its text."""

from __future__ import annotations

import datetime as dt
import decimal
import fractions
import math
import numbers
import re
from typing import Any, NamedTuple

from lxml import etree

from dispense.base.fields import CellError
from dispense.base.printed import Printed
from dispense.xlsx.package import MAIN, Package

__all__ = [
    "BLANK",
    "CELL",
    "FORMULA",
    "INLINE",
    "LONGEST_TEXT",
    "SHARED",
    "VALUE",
    "Content",
    "clean_text",
    "encode",
    "number_text",
    "set_blank",
    "set_content",
]

# elements of a sheet
CELL, FORMULA, VALUE, INLINE = (f"{{{MAIN}}}{name}" for name in ("c", "f", "v", "is"))
SHARED = "s"  # the type of a cell whose text is one of those that cells share
LONGEST_TEXT = 32_767
_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


class Content(NamedTuple):
    """What a cell holds: its type in the file, and the text that stands for the value."""

    kind: str  # "" for a number
    text: str
    is_date: bool = False
    form: str = ""  # the number format that the cell must have


BLANK = Content("blank", "")


def clean_text(text: str) -> str:
    """The text as a cell may hold it: no control characters, line ends as `\\n`."""
    return _ILLEGAL.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


def encode(value: Any, date1904: bool = False) -> Content:
    """A value as a cell's content. `ValueError` says what is allowed instead."""
    if value is None or (type(value) is str and not value):
        return BLANK
    if isinstance(value, CellError):
        return Content("e", str(value))
    if isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            raise ValueError(f"a text of at most {LONGEST_TEXT} characters")
        return Content(SHARED, clean_text(value))
    if type(value) is float:
        return Content("", number_text(value))
    if isinstance(value, Printed):
        return Content("", number_text(float(value)), form=value.form)
    if isinstance(value, dt.date | dt.time | dt.timedelta):
        return Content("", _serial(value, date1904), True)
    if hasattr(value, "item") and not isinstance(value, numbers.Number | bool):
        value = value.item()
    if isinstance(value, bool):
        return Content("b", "1" if value else "0")
    if isinstance(value, int) and abs(value) < 2**53:
        return Content("", str(int(value)))
    if isinstance(value, numbers.Real | decimal.Decimal | fractions.Fraction):
        try:
            return Content("", number_text(float(value)))
        except OverflowError:
            raise ValueError("a number that a cell can hold") from None
    raise ValueError("a text, a number, TRUE or FALSE, a date, a time or blank")


def number_text(value: float) -> str:
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _serial(value: Any, date1904: bool) -> str:
    from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, to_excel

    if isinstance(value, dt.datetime | dt.time) and value.tzinfo is not None:
        value = value.replace(tzinfo=None)
    number = to_excel(value, CALENDAR_MAC_1904 if date1904 else CALENDAR_WINDOWS_1900)
    lowest = 0 if date1904 or isinstance(value, dt.time | dt.timedelta) else 1
    if number < lowest and not isinstance(value, dt.timedelta):
        raise ValueError(f"a date from {'1904' if date1904 else '1900'} on")
    return number_text(float(number))


def set_blank(cell: etree._Element) -> None:
    """Take away what a cell element holds; it keeps its style."""
    for child in list(cell):
        cell.remove(child)
    for key in ("t", "cm", "vm"):
        cell.attrib.pop(key, None)


def set_content(cell: etree._Element, content: Content, package: Package) -> None:
    """Put a content into a cell element of a package; the cell keeps its style."""
    set_blank(cell)
    if content.kind == "blank":
        return
    if content.kind:
        cell.set("t", content.kind)
    text = str(package.share(content.text)) if content.kind == SHARED else content.text
    etree.SubElement(cell, VALUE).text = text
