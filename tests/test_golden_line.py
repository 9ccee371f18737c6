"""Lines drawn at random from the golden plan of routes, played by the planner and by the golden reckoning.

The reckoning (`golden/line.py`) plays each station for itself, round after round, until nothing changes; the
planner steps through all of them by the clock.
"""

from __future__ import annotations

import copy
import random
from pathlib import Path
from typing import Any

import pytest
from golden import line, plans, reading

from dispense.plan.read import load_plan
from dispense.shift.play import play_plan

#: what may stand in a table, row and column
DRAWN: dict[tuple[str, int, str], tuple[Any, ...]] = {
    ("Routes", 0, "Room"): (None, 0, 1, 2, 3),
    ("Routes", 1, "Room"): (None, 0, 1, 2, 3),
    ("Routes", 3, "Room"): (None, 0, 1, 2),
    ("Routes", 0, "Wait [min]"): (None, 0, 5, 30),
    ("Routes", 1, "Wait [min]"): (None, 0, 9, 50),
    **{("Stations", row, "Nozzles"): (1, 1, 2, 3) for row in range(3)},
    **{("Stations", row, "Scrap"): (0, 0.04, 0.1, 0.2) for row in range(3)},
    **{("Stations", row, "Handling time [s]"): (0, 47, 90) for row in range(3)},
    ("Stations", 0, "Takt [s]"): (None, None, 150, 420),
    ("Stations", 1, "After run"): ("throw away", "keep closed"),
    ("Shifts", 0, "End"): ("08:00", "08:45", "09:40"),
    ("Breaks", 0, "Start"): ("06:40", "07:10"),
    ("Breaks", 0, "End"): ("07:40", "07:55"),
    ("Builds", 0, "Quantity"): (5, 12, 19),
    ("Builds", 1, "Quantity"): (0, 3, 8),
    ("Builds", 2, "Part"): ("flange", "valve body"),
}


def drawn(seed: int) -> dict[str, plans.Table]:
    """The golden plan of routes with other figures."""
    rng = random.Random(seed)
    tables = copy.deepcopy(plans.ROUTED)
    for (name, row, head), values in DRAWN.items():
        heads, rows = tables[name]
        if head not in heads:
            heads.append(head)
            for cells in rows:
                cells.append(None)
        rows[row][heads.index(head)] = rng.choice(values)
    heads, rows = tables["Builds"]
    for row in rows[:2]:
        row[heads.index("End")] = None  # the end of the shift is drawn
    heads, rows = tables["Stations"]
    for row in rows:
        row[heads.index("Checks [1/h]")] = 0  # whether a part still comes by a check, a crew may guess
    return tables


@pytest.mark.parametrize("seed", (2, 4, 6, 7, 9, 10))
def test_the_planner_and_the_golden_reckoning_play_a_line_alike(seed: int, tmp_path: Path) -> None:
    tables = drawn(seed)
    plant, path = reading.Plant(tables), plans.write(tables, tmp_path / "plan.xlsx")
    runs, results = line.play(plant), list(play_plan(load_plan(path)))
    assert [(run.day, run.shift, run.station.station) for run in runs] == [
        (result.date, result.shift, result.station.station) for result in results
    ]
    for run, result in zip(runs, results, strict=True):
        where = f"{run.day} {run.station.station}"
        jobs = [(job.begun, job.finished, job.lost, job.thrown, job.carried) for job in run.jobs]
        assert jobs == [
            (job.begun, job.finished, job.scrapped, job.lost, job.carried) for job in result.jobs
        ], where
        times = [run.busy, run.starved, run.cures, run.blocked, run.run_end]
        assert [
            result.busy,
            result.starved,
            result.for_cure,
            result.blocked,
            result.run_end,
        ] == pytest.approx(times, abs=0.01), where
        events = sorted((round(event.at), event.kind) for event in run.events)
        assert sorted((round(event.clock), event.kind) for event in result.events) == events, where
        handed = [item["due"] for item in run.handed_over if "due" in item]
        assert [item.following for item in result.handed_over if item.part] == pytest.approx(handed), where
        for letter, used in run.used.items():
            volumes = {use: volume / 1e6 for use, volume in result.used[letter].items()}
            assert volumes == pytest.approx(used, abs=1e-3), where
