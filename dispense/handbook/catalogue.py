"""Every workbook function, gathered: importing this module declares them all.

`FUNCTIONS` maps each name to its declaration; `call` evaluates one in shop units.
"""

from __future__ import annotations

from typing import Any

from ..base.errors import show
from ..base.fields import whole
from . import (
    array,
    beads,
    charts,
    cure,
    fill,
    flow,
    heat,
    life,
    line,
    mixing,
    moisture,
    pack,
    pattern,
    pots,
    quality,
    spread,
    thickening,
)
from .declare import FUNCTIONS, out, workbook_function
from .evaluate import call, evaluate, evaluate_noted, lookup, recent_notes, recent_problems

CATEGORIES = (
    "Beads",
    "Pots",
    "Mixing",
    "Flow",
    "Spreading",
    "Filling",
    "Pot life",
    "Cure and heat",
    "Line and stock",
    "Checks",
)

TOPICS = (
    *(beads, pots, mixing, flow, spread, pattern, fill, life, cure, thickening, moisture, heat, array, pack),
    *(line, quality, charts),
)


@workbook_function(
    category="Checks",
    arguments=(whole("count", "how many to show, newest first", default=20, at_least=1, at_most=200),),
    returns=(out("function"), out("argument"), out("value"), out("allowed")),
    table=True,
    valid="the calls made since the program started",
    source="none; it reports, it does not compute",
)
def last_problems(count: int = 20) -> list[list[Any]]:
    """Recent reasons why a function gave an error: function, argument, value given, what is allowed."""
    rows = [
        [
            problem.where,
            problem.argument,
            show(problem.value) if problem.argument else "",
            problem.message or problem.allowed + (f" ({problem.fix})" if problem.fix else ""),
        ]
        for problem in recent_problems(int(count))
    ]
    return rows or [["no problem yet", "", "", ""]]


@workbook_function(
    category="Checks",
    arguments=(whole("count", "how many to show, newest first", default=20, at_least=1, at_most=200),),
    returns=(out("function"), out("argument"), out("value"), out("note")),
    table=True,
    valid="the calls made since the program started",
    source="none; it reports, it does not compute",
)
def last_notes(count: int = 20) -> list[list[Any]]:
    """Recent answers outside of a range of validity: function, argument, value given, what it means."""
    rows = [[note.where, note.argument, show(note.value), note.message] for note in recent_notes(int(count))]
    return rows or [["no note yet", "", "", ""]]


def _in_order_of_topics() -> None:
    """Functions stand in the order of the topics, whichever module was imported first."""
    place = {topic.__name__: number for number, topic in enumerate(TOPICS)}
    for name in sorted(FUNCTIONS, key=lambda name: place.get(FUNCTIONS[name].kernel.__module__, len(TOPICS))):
        FUNCTIONS[name] = FUNCTIONS.pop(name)


_in_order_of_topics()

__all__ = [
    "CATEGORIES",
    "FUNCTIONS",
    "call",
    "evaluate",
    "evaluate_noted",
    "last_notes",
    "last_problems",
    "lookup",
]
