"""Reading a plan of many build rows, checks included, beside openpyxl's read-only rows."""

from __future__ import annotations

import datetime
import itertools
import tempfile
from collections.abc import Iterator
from pathlib import Path

from openpyxl import load_workbook

from dispense.books.plan import write_plan
from dispense.plan.demo import DEMO, FIRST_DAY
from dispense.plan.read import check_plan

from . import Row, take_turns

COUNT = 20_000


def rows(quick: bool = False) -> Iterator[Row]:
    """The demo plant with 20,000 build rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.xlsx"
        write_plan({**DEMO, "Builds": _builds()}, path)

        def ours() -> None:
            plan, problems = check_plan(path)
            assert len(plan.builds) == COUNT and not problems

        def all_sheets() -> None:
            book = load_workbook(path, read_only=True, data_only=True)
            for sheet in book.worksheets:
                for _ in sheet.iter_rows(values_only=True):
                    pass
            book.close()

        def builds_only() -> None:
            book = load_workbook(path, read_only=True, data_only=True)
            assert sum(1 for _ in book["Builds"].iter_rows(values_only=True)) >= COUNT
            book.close()

        own, builds, sheets = take_turns(ours, builds_only, all_sheets, turns=3 if quick else 7)
        yield Row(
            f"plan with {COUNT:,} build rows, read and checked",
            own,
            builds,
            1.3,
            beside="openpyxl read-only, rows of Builds only",
            note="ours reads every sheet and checks it",
        )
        yield Row(
            f"plan with {COUNT:,} build rows, read and checked",
            own,
            sheets,
            1.3,
            beside="openpyxl read-only, rows of all sheets",
        )


def _builds(count: int = COUNT) -> list[dict]:
    """Rows of builds, day after day."""
    parts = list(dict.fromkeys(row["part"] for row in DEMO["Builds"]))
    shifts = [row["shift"] for row in DEMO["Shifts"]]
    days = (FIRST_DAY + datetime.timedelta(days=day) for day in itertools.count())
    cells = ((day, shift, part) for day in days for shift in shifts for part in parts)
    return [
        dict(date=day, shift=shift, part=part, quantity=1 + number % 9)
        for number, (day, shift, part) in enumerate(itertools.islice(cells, count))
    ]
