"""A plan against its last good version: figures that jumped, rows that are gone, and what else is another;
and rows out of sight."""

from __future__ import annotations

import datetime
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator
from pathlib import Path

from ..base.errors import show
from ..base.findings import NOTE, QUALITY, Finding
from ..base.printed import counted, listed
from ..plan.records import Plan
from ..plan.revision import row_key, table_differences, told
from ..plan.rows import Build, Row
from ..plan.tables import SETTINGS, TABLES, Table
from ..xlsx.package import MAIN, Package

__all__ = ["against", "hidden_rows"]

JUMP = 2.0  # times as much or as little as before is worth a look; common practice, no source
TOPIC, CHANGE = "jump", "change"
MOST_TOLD = 20  # changes of a table
_HIDDEN = (b" hidden=", b"\thidden=", b"\nhidden=")
_ROW = f"{{{MAIN}}}row"


def against(plan: Plan, before: Plan) -> list[Finding]:
    """Numbers that jumped and rows that are gone since the version before, and all other changes as notes.

    Rows are told apart by their key, those of Builds by day, shift and part; of rows without a key, such as
    points of a path, the number within their name.
    """
    found: list[Finding] = []
    for table in TABLES:
        if table.key:
            found += _jumps(plan, before, table)
        elif table.name != Build.TABLE:
            found += _few(table.name, _unkeyed(plan, before, table))
    found += _few("Settings", _settings(plan, before))
    return [*found, *_builds(plan, before), *_few(Build.TABLE, _built(plan, before))]


def _few(table: str, changes: Iterable[Finding]) -> list[Finding]:
    """The first changes of a table, and how many there are more."""
    found = list(changes)
    more = len(found) - MOST_TOLD
    if more > 0:
        found[MOST_TOLD:] = [Finding(NOTE, f"{table}: {counted(more, 'more change')}", topic=CHANGE)]
    return found


def _settings(plan: Plan, before: Plan) -> Iterator[Finding]:
    for item in SETTINGS:
        then, now = (told(item, one.settings.get(item.name)) or "blank" for one in (before, plan))
        if then != now:
            yield Finding(NOTE, f"Settings: {item.words} {then} → {now}", topic=CHANGE)


def _unkeyed(plan: Plan, before: Plan, table: Table) -> Iterator[Finding]:
    for each in table_differences(plan, before, table):
        yield Finding(NOTE, each.text, topic=CHANGE)


def _built(plan: Plan, before: Plan) -> Iterator[Finding]:
    """Days of which more or fewer of a part are built than before."""
    sums: list[dict[tuple[datetime.date, str, str], int]] = []
    for one in (before, plan):
        of_day: dict[tuple[datetime.date, str, str], int] = defaultdict(int)
        for row in one.builds:
            of_day[row.date, row.shift, row.part] += row.quantity
        sums.append(of_day)
    then, now = sums
    for key in sorted(then.keys() | now.keys()):
        if then.get(key, 0) != now.get(key, 0):
            date, shift, part = key
            text = f"Builds {date} {shift} {part}: {then.get(key, 0)} → {now.get(key, 0)}"
            yield Finding(NOTE, text, topic=CHANGE, part=part, day=date, shift=shift)


def _jumps(plan: Plan, before: Plan, table: Table) -> Iterator[Finding]:
    rows = _stated(plan, table)
    old = {row_key(row, table.key): row for row in _stated(before, table)}
    new: list[Row] = []
    changes: list[Finding] = []
    for row in rows:
        was = old.pop(row_key(row, table.key), None)
        if was is None:
            new.append(row)
            continue
        for item in table.columns:
            now, then = getattr(row, item.name), getattr(was, item.name)
            words = (told(item, now) or "blank", told(item, then) or "blank")
            if words[0] == words[1]:
                continue
            cell = plan.cell(row, item.name)
            text = f"{cell}: {item.words} is {words[0]}, was {words[1]}"
            if item.kind in ("number", "whole") and item.unit != "°C" and _is_jump(now, then):
                yield Finding(QUALITY, text, "check it", topic=f"slip {TOPIC}", cell=cell)
            else:
                name = " ".join(show(getattr(row, key)).strip('"') for key in table.key)
                changes.append(
                    Finding(
                        NOTE,
                        f"{cell} ({name}): {item.words} {words[1]} → {words[0]}",
                        topic=CHANGE,
                        cell=cell,
                    )
                )
    if old:
        names = [_name(row, table) for row in old.values()]
        text = f"{table.name}: rows of before are gone: {listed(names)}"
        yield Finding(QUALITY, text, "look whether they shall be", topic=TOPIC)
    if new:
        names = [_name(row, table) for row in new]
        changes.append(Finding(NOTE, f"{table.name}: rows are new: {listed(names)}", topic=CHANGE))
    yield from _few(table.name, changes)


def _stated(plan: Plan, table: Table) -> list[Row]:
    """The rows that stand in a table: not what of Orders is still to come, which counts with Stock."""
    orders = {row.at for row in plan.orders}
    return [row for row in getattr(plan, table.attribute) if table.name == "Orders" or row.at not in orders]


def _name(row: Row, table: Table) -> str:
    return show(getattr(row, table.key[-1])).strip('"')


def _is_jump(now: float | None, then: float | None) -> bool:
    if not now or not then:
        return False
    return not 1.0 / JUMP < now / then < JUMP


def _builds(plan: Plan, before: Plan) -> Iterator[Finding]:
    """Parts of which a day has, on the mean, many more or fewer than before."""
    means = []
    for one in (plan, before):
        days = len({row.date for row in one.builds}) or 1
        sums: dict[str, int] = {}
        for row in one.builds:
            sums[row.part] = sums.get(row.part, 0) + row.quantity
        means.append({part: total / days for part, total in sums.items()})
    now, then = means
    for part in now.keys() & then.keys():
        if _is_jump(now[part], then[part]):
            text = f"Builds: {part} is {now[part]:.6g} a day on the mean, was {then[part]:.6g}"
            yield Finding(QUALITY, text, "check the quantities", topic=TOPIC, part=part)
    gone = sorted(then.keys() - now.keys())
    if gone:
        yield Finding(QUALITY, f"Builds: no longer built: {listed(gone)}", "check Builds", topic=TOPIC)


def hidden_rows(path: str | os.PathLike[str], plan: Plan) -> list[Finding]:
    """Rows of the plan that a spreadsheet does not show and that count all the same."""
    package = Package.open(Path(path))
    found = []
    for table in TABLES:
        sheet = package.sheet(plan.sheets.get(table.name, table.name))
        if sheet is None or not any(mark in package.read(sheet.part) for mark in _HIDDEN):
            continue
        hidden = {
            int(row.get("r", 0))
            for row in package.tree(sheet.part).iter(_ROW)
            if row.get("hidden") in ("1", "true")
        }
        cells = [row.at for row in getattr(plan, table.attribute) if _number(row.at, sheet.name) in hidden]
        if cells:
            text = f"{table.name}: {len(cells)} hidden rows count: {listed(cells)}"
            text = text.replace(" 1 hidden rows count", " 1 hidden row counts")
            found.append(Finding(QUALITY, text, "show them, and delete what is not meant", topic="hidden"))
    return found


def _number(cell: str, sheet: str) -> int:
    """The row of a cell of that sheet, 0 of any other."""
    name, _, address = cell.rpartition("!")
    digits = "".join(filter(str.isdigit, address))
    return int(digits) if name == sheet and digits else 0
