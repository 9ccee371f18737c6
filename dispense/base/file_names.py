"""Names of stations and shifts as parts of file names."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

__all__ = ["distinct_names", "safe_name"]

_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f\s]+')
_LONGEST = 60  # characters; with at most 4 bytes each still a name that any disk takes


def safe_name(name: str) -> str:
    """A station or shift as part of a file name that every system takes; letters stay as they are.

    >>> safe_name("Füller 1/2: Deckel")
    'Füller_1_2_Deckel'
    """
    text = unicodedata.normalize("NFC", name.strip()[: 8 * _LONGEST])
    text = "".join(char for char in text if unicodedata.category(char)[0] != "C" or char in "\t\n\r")
    text = _NOT_IN_NAMES.sub("_", text).strip("._ ").lstrip("=+-@~")[:_LONGEST]
    while len(text.encode()) > 2 * _LONGEST:
        text = text[:-1]
    return text.rstrip("._ ") or "unnamed"


def distinct_names(names: Iterable[str]) -> dict[str, str]:
    """A safe name for each name, no two alike even where capitals do not count."""
    taken: set[str] = set()
    found: dict[str, str] = {}
    for name in names:
        stem = base = safe_name(name)
        count = 1
        while stem.casefold() in taken:
            count += 1
            stem = f"{base}_{count}"
        taken.add(stem.casefold())
        found[name] = stem
    return found
