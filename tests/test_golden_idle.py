"""Mixers that wait, drawn at random from the golden plan of the crew: the planner and the golden reckoning
purge them, take them off and keep them closed at the same clock times, and book the same.

The reckoning (`golden/player.py`) tries its purges on what it says stands in the mixer; breaks longer and
shorter than the limit, small purges in a row and mixers kept for the next shift are among what is drawn.
"""

from __future__ import annotations

import copy
import random
from collections import Counter
from pathlib import Path
from typing import Any

from golden import line, plans, reading

from dispense.plan.read import load_plan
from dispense.shift.play import play_plan

SEEDS = (0, 2, 11, 21, 27)  # which ask for each way at least once
#: what may stand in a table, row and column
DRAWN: dict[tuple[str, int, str], tuple[Any, ...]] = {
    ("Materials", 0, "Pot life [min]"): (14, 31, 46, 90),
    ("Materials", 1, "Pot life [min]"): (19, 33, 52, 85),
    **{("Stations", row, "Purge share"): (0.2, 0.45, 0.6, 0.9) for row in range(2)},
    **{("Stations", row, "Purge volume [mL]"): (6, 12, 24, 31) for row in range(2)},
    **{("Stations", row, "Purge time [s]"): (11, 35) for row in range(2)},
    **{("Stations", row, "Mixer time [s]"): (25, 170) for row in range(2)},
    **{("Stations", row, "Rule"): ("purge", "purge", "change mixer") for row in range(2)},
    **{("Stations", row, "Idle"): ("cheaper", "cheaper", "purge", "take off") for row in range(2)},
    **{("Stations", row, "After run"): ("throw away", "keep closed") for row in range(2)},
    **{("Stations", row, "Checks [1/h]"): (0, 0.4) for row in range(2)},
    ("Stations", 0, "Takt [s]"): (310, 760, 1300),
    ("Stations", 1, "Takt [s]"): (240, 700, 1750),
    ("Shifts", 1, "Start"): ("10:40", "12:55"),
    ("Breaks", 0, "Start"): ("07:20", "08:10"),
    ("Breaks", 0, "End"): ("08:25", "08:40"),
    ("Breaks", 1, "Start"): ("14:30", "15:05"),
    ("Builds", 3, "Quantity"): (0, 2, 6),
}


def drawn(seed: int) -> dict[str, plans.Table]:
    """The golden plan of the crew with other figures."""
    rng = random.Random(seed)
    tables = copy.deepcopy(plans.CREW)
    for (name, row, head), values in DRAWN.items():
        heads, rows = tables[name]
        if head not in heads:
            heads.append(head)
            for cells in rows:
                cells.append(None)
        rows[row][heads.index(head)] = rng.choice(values)
    return tables


def differences(tables: dict[str, plans.Table], folder: Path) -> tuple[list[str], Counter[str]]:
    """Where the two differ, and how often mixers were dealt with in each way."""
    plant, path = reading.Plant(tables), plans.write(tables, folder / "plan.xlsx")
    runs, results = line.play(plant), list(play_plan(load_plan(path)))
    assert len(runs) == len(results)
    found, ways = [], Counter[str]()
    for run, result in zip(runs, results, strict=True):
        where = f"{run.day} {run.shift} {run.station.station}"
        events = sorted((round(event.at), event.kind) for event in run.events)
        played = sorted((round(event.clock), event.kind) for event in result.events)
        found += [f"{where}: {one}" for one in set(events) ^ set(played)]
        for letter, used in run.used.items():
            mine = {use: volume / 1e6 for use, volume in result.used[letter].items()}
            mine |= {"opening": result.opening[letter] / 1e6, "closing": result.closing[letter] / 1e6}
            asked = used | {"opening": run.opening[letter], "closing": run.closing[letter]}
            found += [f"{where} {letter} {use}" for use in asked if abs(asked[use] - mine[use]) > 1e-3]
            assert result.balance(letter) == 0
        breaks = {start for start, _ in run.hours.breaks}
        for event in run.events:
            idle = event.facts.get("idle")
            if event.kind == "purge" and idle is not None:
                ways["long" if idle["long"] else "short"] += 1
                ways["before a break"] += any(
                    start - 120 < event.at < start and idle["until"] > start for start in breaks
                )
                ways["in a row"] += len(idle["times"]) > 1 and not idle["long"]
            ways["off, purging cannot"] += event.kind == "off" and not idle["times"]
            ways["off, cheaper"] += event.kind == "off" and bool(idle["times"])
            ways["kept"] += event.kind == "start" and bool(event.facts.get("kept"))
    return found, ways


def test_mixers_that_wait_are_dealt_with_alike(tmp_path: Path) -> None:
    ways = Counter[str]()
    for seed in SEEDS:
        found, mine = differences(drawn(seed), tmp_path)
        assert not found, f"seed {seed}:\n" + "\n".join(found)
        ways.update(mine)
    asked = {"long", "short", "before a break", "in a row", "off, purging cannot", "off, cheaper", "kept"}
    assert asked <= {way for way, count in ways.items() if count}
