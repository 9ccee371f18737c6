"""Names as people type them: compared without case and kinds of blanks, and what one resembles."""

from __future__ import annotations

import difflib
import functools
import re
import unicodedata
from collections.abc import Iterable

ALIKE = 0.75  # share of letters that two names have in common where one resembles the other
LIKELY = 0.6  # the same for a name that is known to be wrong, where only a hint is given
LONGEST = 60  # characters of a name that are compared
_UNSEEN = dict.fromkeys(map(ord, "\u00ad\u200b\u200c\u200d\u2060\ufeff"))  # blanks without width


@functools.lru_cache(maxsize=1 << 14)
def fold(name: str) -> str:
    """A name without case, and with single plain blanks; two names that fold alike are one.

    >>> fold("  Hem\\u00a0 Robot"), fold("STRASSE") == fold("Straße")
    ('hem robot', True)
    """
    return " ".join(unicodedata.normalize("NFC", name).translate(_UNSEEN).split()).casefold()


_SYMBOL = re.compile(r"[^\W\d_](?:_\w+)? of ")  # a letter of an equation: a of exp(a·α)


def capital(words: str) -> str:
    """A text with a capital, but for a symbol that it begins with, which another letter would make another.

    >>> capital("height of a bead"), capital("a part"), capital("a of exp(a·α)")
    ('Height of a bead', 'A part', 'a of exp(a·α)')
    """
    return words if _SYMBOL.match(words) else words[:1].upper() + words[1:]


def field_name(header: str) -> str:
    """The name of a field behind a header or label without its unit: "Pot life" is pot_life."""
    return fold(header).replace(" ", "_")


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W_]+", fold(name[:LONGEST]))


def nearest(name: str, known: Iterable[str], least: float = ALIKE) -> str:
    """The known name that a name resembles, "" where it resembles none.

    It resembles a name whose words it holds or most of whose words it is, or one of nearly the same
    letters: "Scrap rate" and "Scrp" resemble "Scrap".

    >>> nearest("Scrap rate", ["Scrap", "Takt"]), nearest("Heal", ["Heel"]), nearest("Colour", ["Count"])
    ('Scrap', 'Heel', '')
    """
    given = _words(name)
    joined = "".join(given)
    if not joined:
        return ""
    best, found = 0.0, ""
    for item in known:
        words = _words(item)
        common = len(set(words) & set(given))
        holds = common == len(set(words)) or (common == len(set(given)) and 2 * common >= len(words))
        alike = difflib.SequenceMatcher(None, joined, "".join(words)).ratio()
        score = alike + (1.0 if holds and words else 0.0)
        if score > best and (holds or alike >= least):
            best, found = score, item
    return found


__all__ = ["ALIKE", "LIKELY", "capital", "field_name", "fold", "nearest"]
