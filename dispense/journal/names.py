"""What the facts of filled sheets are called: by their event and its printed time, not by the row.

Earlier versions named them by check number or row; what they booked goes by the name of today.
"""

from __future__ import annotations

from .entries import Entry

CHECK, TIMES, STAGED_ROW = "check", "times", "staged"  # what kind of rows a name is of
_HEAD = 4  # pieces of a name before what lies within the sheet: sheet, day, shift, station
_ROW_NAMED = {"shot_check": 6, "shift_material": 7}  # pieces that a name by row had
_STAGED_PIECES = 9
_STAGING_TABLES = frozenset({"StagingContainers", "MaterialLots"})


def twin_name(name: str, twin: int) -> str:
    """The name of the second and later of events that all else tells alike."""
    return name if twin == 1 else f"{name}|{twin}"


def twin_number(name: str) -> int:
    """Which of several alike events a name is of, where no number ends the name of the first.

    >>> twin_number(twin_name("mixer|", 2)), twin_number("mixer|")
    (2, 1)
    """
    last = name.rpartition("|")[2]
    return int(last) if last.isdecimal() else 1


def name_of_today(entry: Entry) -> str:
    """The name that an entry has today; its own where that is not one by row.

    >>> old = Entry("weight", "shot_check|2026-03-02|Early|Hem robot|check|3", time="2026-03-02T08:00:00")
    >>> name_of_today(old)
    'shot_check|2026-03-02|Early|Hem robot|check|2026-03-02T08:00:00'
    """
    pieces = entry.name.split("|")
    head, rest = pieces[:_HEAD], pieces[_HEAD:]
    if len(pieces) == _STAGED_PIECES and rest[3] in _STAGING_TABLES and rest[-1].isdigit():
        return "|".join([*head, STAGED_ROW, *rest[:3]])
    if len(pieces) != _ROW_NAMED.get(head[0]) or not entry.time:
        return entry.name
    if head[0] == "shot_check" and rest[0] == CHECK and "T" not in rest[1]:
        return "|".join([*head, CHECK, entry.time])
    if head[0] == "shift_material" and rest[-1].isdigit():
        return "|".join([*head, TIMES, rest[0], rest[1], entry.time])
    return entry.name


__all__ = ["CHECK", "STAGED_ROW", "TIMES", "name_of_today", "twin_name", "twin_number"]
