"""A plan against its last good version: figures that jumped, rows that are gone; and rows out of sight."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from ..base.errors import show
from ..base.findings import QUALITY, Finding
from ..base.printed import listed
from ..plan.records import Plan
from ..plan.revision import row_key, told
from ..plan.rows import Row
from ..plan.tables import TABLES, Table
from ..xlsx.package import MAIN, Package

__all__ = ["against", "hidden_rows"]

JUMP = 2.0  # times as much or as little as before is worth a look; common practice, no source
TOPIC = "jump"
_HIDDEN = (b" hidden=", b"\thidden=", b"\nhidden=")
_ROW = f"{{{MAIN}}}row"


def against(plan: Plan, before: Plan) -> list[Finding]:
    """Numbers that jumped and rows that are gone since the version before, table by table.

    Rows are told apart by their key; of tables without one, such as Builds, only the sum of what is built
    of each part is compared.
    """
    found: list[Finding] = []
    for table in TABLES:
        if table.key:
            found += _jumps(plan, before, table)
    return [*found, *_builds(plan, before)]


def _jumps(plan: Plan, before: Plan, table: Table) -> Iterator[Finding]:
    rows: list[Row] = getattr(plan, table.attribute)
    old = {row_key(row, table.key): row for row in getattr(before, table.attribute)}
    for row in rows:
        was = old.pop(row_key(row, table.key), None)
        if was is None:
            continue
        for item in table.columns:
            now, then = getattr(row, item.name), getattr(was, item.name)
            if item.kind not in ("number", "whole") or item.unit == "°C" or not _is_jump(now, then):
                continue
            cell = plan.cell(row, item.name)
            text = f"{cell}: {item.words} is {told(item, now)}, was {told(item, then)}"
            yield Finding(QUALITY, text, "check it", topic=f"slip {TOPIC}", cell=cell)
    if old:
        names = [show(getattr(row, table.key[-1])).strip('"') for row in old.values()]
        text = f"{table.name}: rows of before are gone: {listed(names)}"
        yield Finding(QUALITY, text, "look whether they shall be", topic=TOPIC)


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
