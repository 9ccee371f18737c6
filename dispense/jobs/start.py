"""Where a command begins: the plan as it is, or from a day on with what stands there by then."""

from __future__ import annotations

import datetime
import os
import re
from dataclasses import replace
from pathlib import Path

from ..base.errors import InputError, Problem
from ..forecast.horizon import WEEKS, without_history
from ..journal.count_doubts import count_doubts
from ..journal.entries import COUNTED, RECEIVED, Entry
from ..journal.start import AsOf, Start, from_today, stated_as_of
from ..journal.store import journal_path, read_journal
from ..plan.records import Plan
from ..plan.sources import Sources

_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def read_as_of(given: AsOf | str | None) -> AsOf | None:
    """A day, or a moment of it: 2026-03-02, or 2026-03-02 14:00."""
    if not isinstance(given, str):
        return given
    words = given.strip()
    try:
        if _DAY.fullmatch(words):
            return datetime.date.fromisoformat(words)
        if _DAY.match(words) and ":" in words:
            return datetime.datetime.fromisoformat(words).replace(tzinfo=None)
    except ValueError:
        pass
    raise InputError(Problem("", "as-of", given, "a day such as 2026-03-02, or a moment, 2026-03-02 14:00"))


def started(plan: Plan, path: str | os.PathLike[str], sources: Sources, as_of: AsOf | str | None) -> Start:
    """The plan from `as_of` on, by default from when its table Standing tells; as it is without either.

    Where the stock comes from elsewhere, counts and receipts of the journal are not asked.
    """
    moment = read_as_of(as_of) or stated_as_of(plan)
    entries = journal_entries(path)
    if sources.stock is not None:
        entries = [entry for entry in entries if entry.kind not in (COUNTED, RECEIVED)]
    if moment is None:
        return Start(plan, findings=count_doubts(plan, entries))
    return from_today(plan, entries, moment)


def begun(plan: Plan, path: str | os.PathLike[str], sources: Sources, as_of: AsOf | str | None) -> Start:
    """The same less builds that a mistyped date sets apart from the others, by the rule of the forecast."""
    begin = started(plan, path, sources, as_of)
    if begin.as_of is not None:
        return begin
    rest, findings = without_history(begin.plan, WEEKS)
    return replace(begin, plan=rest, findings=[*begin.findings, *findings])


def journal_entries(path: str | os.PathLike[str]) -> list[Entry]:
    """What counts of the journal beside a plan; nothing where there is none."""
    journal = journal_of(path)
    return [] if journal is None else [item.entry for item in read_journal(journal).current().values()]


def journal_of(path: str | os.PathLike[str]) -> Path | None:
    """The journal beside a plan; None where there is none."""
    journal = journal_path(path)
    return journal if journal.is_file() else None


__all__ = ["begun", "journal_entries", "journal_of", "read_as_of", "started"]
