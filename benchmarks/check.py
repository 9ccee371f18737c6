"""`dispense check` as a whole process: of the demo, and of a plan of 100,000 build rows beside openpyxl."""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from dispense.books.plan import new_plan, write_plan
from dispense.plan.demo import DEMO

from . import Row
from .imports import COMMAND, _environment
from .read_plan import _builds

COUNT, QUICK = 100_000, 5_000
LIMIT = 0.5  # s
READ = """
import sys
from openpyxl import load_workbook
book = load_workbook(sys.argv[1], read_only=True, data_only=True)
for sheet in book.worksheets:
    for _ in sheet.iter_rows(values_only=True):
        pass
"""
SECONDS = "processor seconds, the median of the turns"


def rows(quick: bool = False) -> Iterator[Row]:
    """The demo with what earlier runs kept and anew, then many rows."""
    turns = 3 if quick else 5
    with tempfile.TemporaryDirectory() as folder:
        environment = _environment(folder) | {"DISPENSE_KEPT": str(Path(folder) / "kept")}

        def spent(code: str, *arguments: str) -> float:
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(
                [sys.executable, "-c", code, *arguments], env=environment, capture_output=True, check=False
            )
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

        def medians(*works: tuple[str, ...]) -> list[float]:
            found = [[spent(*work) for work in works] for _ in range(turns + 1)]
            return [statistics.median(column) for column in zip(*found[1:], strict=True)]

        demo = str(Path(folder) / "demo.xlsx")
        new_plan(demo, demo=True)
        kept, anew, read, numpy = medians(
            (COMMAND, "check", demo), (COMMAND, "check", demo, "--anew"), (READ, demo), ("import numpy",)
        )
        between = "" if kept <= LIMIT else f"the machine: numpy alone takes {numpy:.2g} s now"
        yield Row(
            "dispense check of the demo, pours kept from an earlier run, whole process",
            kept,
            limit=LIMIT,
            note="; ".join(filter(None, (SECONDS, between))),
        )
        yield Row(
            "dispense check of the demo, pours kept",
            kept,
            numpy,
            beside="a process that imports numpy",
            note=SECONDS,
        )
        yield Row(
            "dispense check of the demo, pours kept",
            kept,
            read,
            beside="a process in which openpyxl reads its rows",
            note=SECONDS,
        )
        yield Row(
            "dispense check of the demo, all worked out anew",
            anew,
            kept,
            beside="pours kept",
            note=f"the first time; {SECONDS}; a pack of cells, a pour in three dimensions, takes most",
        )
        count = QUICK if quick else COUNT
        many = str(Path(folder) / "many.xlsx")
        write_plan({**DEMO, "Builds": _builds(count)}, many)
        turns = 1 if quick else 3
        ours, theirs = medians((COMMAND, "check", many), (READ, many))
        yield Row(
            f"dispense check of {count:,} build rows, whole process",
            ours,
            theirs,
            1.3,
            beside="a process in which openpyxl reads all rows",
            note=SECONDS + ("" if ours <= 1.3 * theirs else "; it makes records and checks them, too"),
        )
