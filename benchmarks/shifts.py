"""The demo's station shifts, and those of 60 stations, played by this tree and by another one in turns.

`OTHER=folder python -m benchmarks shifts` names the other tree, a checkout of an earlier state; without
it only ours is told. Each turn is a process of its own, the turns alternate, and the least time of each
counts: processor seconds, since the machine has other work.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from . import Row
from .forecast import rows_of

LIMIT = 1.5  # times the time of the other tree
TURNS = 7
WEEKS, QUICK_WEEKS = 52, 1  # of 60 stations
NOTE = "processor seconds, the least of all turns"

PROBE = """
import json, sys, time
sys.path.insert(0, sys.argv[1])
from dispense.forecast.response import occurrences, play_lean
from dispense.plan.build import build_plan
from dispense.plan.demo import DEMO
from dispense.plan.records import raw_table
try:
    from dispense.shift.play import play_plan
except ImportError:  # where it stood before
    from dispense.shift.player import play_plan

plan = build_plan({name: raw_table(name, table) for name, table in DEMO.items()})
keys, _ = occurrences(plan)


def least(work, count):
    times = []
    for _ in range(count):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


shifts = len(list(play_plan(plan)))
whole = least(lambda: list(play_plan(plan)), 3)
lean = least(lambda: [play_lean(plan, key) for key in keys], 6)
print(json.dumps([shifts, whole, lean]))
"""

YEAR = """
import json, sys, time
sys.path.insert(0, sys.argv[1])
from dispense.plan.build import build_plan
from dispense.plan.records import raw_table
try:
    from dispense.shift.play import play_plan
except ImportError:  # where it stood before
    from dispense.shift.player import play_plan

tables = json.load(open(sys.argv[2]))
plan = build_plan({name: raw_table(name, table) for name, table in tables.items()})
start = time.process_time()
count = sum(1 for _ in play_plan(plan))
print(json.dumps([count, time.process_time() - start]))
"""


def _turn(folder: Path) -> tuple[int, float, float]:
    """Shifts, seconds to play them, and seconds to play the distinct ones as the forecast does."""
    done = subprocess.run(
        [sys.executable, "-c", PROBE, str(folder)], stdout=subprocess.PIPE, text=True, check=True, cwd="/"
    )
    shifts, whole, lean = json.loads(done.stdout)
    return shifts, whole, lean


def _year(folder: Path, tables: Path) -> tuple[int, float]:
    """Shifts of the large plan, and seconds to play them once."""
    done = subprocess.run(
        [sys.executable, "-c", YEAR, str(folder), str(tables)],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        cwd="/",
    )
    count, seconds = json.loads(done.stdout)
    return count, seconds


def _year_row(ours: Path, other: str | None, weeks: int) -> Row:
    """Weeks of 60 stations: once each, since it takes minutes."""
    with tempfile.TemporaryDirectory() as folder:
        tables = Path(folder) / "tables.json"
        tables.write_text(json.dumps(rows_of(weeks), default=str), encoding="utf-8")
        count, mine = _year(ours, tables)
        what = f"{weeks} weeks of 60 stations, {count:,} station shifts, played"
        if not other:
            return Row(what, mine)
        _, before = _year(Path(other), tables)
    beside = "the tree named in OTHER"
    return Row(what, mine, before, limit=LIMIT, beside=beside, note="processor seconds, once each")


def rows(quick: bool = False) -> Iterator[Row]:
    """Whole shifts, and the forecast's."""
    ours, other = Path(__file__).resolve().parents[1], os.environ.get("OTHER")
    mine: list[tuple[int, float, float]] = []
    theirs: list[tuple[int, float, float]] = []
    for _ in range(1 if quick else TURNS):
        mine.append(_turn(ours))
        if other:
            theirs.append(_turn(Path(other)))
    for place, what in (
        (1, f"the demo's {mine[0][0]} station shifts, played"),
        (2, "its distinct ones, as a forecast plays them"),
    ):
        least = min(turn[place] for turn in mine)
        if theirs:
            before = min(turn[place] for turn in theirs)
            yield Row(what, least, before, limit=LIMIT, beside="the tree named in OTHER, in turns", note=NOTE)
        else:
            yield Row(what, least)
    yield _year_row(ours, other, QUICK_WEEKS if quick else WEEKS)
