"""Time and memory of a forecast over a year: two shifts, 60 stations, 200 parts, 40 materials.

The plan is made up: every part goes over one to three stations, quantities change from week to week
and with the day of the week. Peak memory is that of the process and of its largest worker; each case
is a process of its own.
"""

from __future__ import annotations

import datetime
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from dispense.forecast.model import forecast
from dispense.jobs.forecast import write_forecast
from dispense.plan.build import build_plan
from dispense.plan.records import raw_table

from . import Row, show

FIRST = datetime.date(2026, 1, 5)


def rows_of(weeks: int, stations: int = 60, parts: int = 200, materials: int = 40, seed: int = 1):
    """Rows of the tables of a made-up plant."""
    rng = random.Random(seed)
    tables: dict[str, list[dict]] = {
        name: []
        for name in (
            "Materials",
            "Components",
            "Parts",
            "Beads",
            "Stations",
            "Temperatures",
            "Shifts",
            "Breaks",
            "Builds",
            "Stock",
        )
    }
    for number in range(materials):
        name, two = f"Material {number:02d}", number % 3 != 0
        tables["Materials"].append(
            dict(
                material=name,
                kind="two-part" if two else "one-part",
                ratio_a=rng.choice([1, 2, 10]),
                ratio_b=1 if two else None,
                pot_life=rng.choice([15, 25, 45, 90]) if two else None,
                pot_life_temperature=23,
            )
        )
        for letter in "ab" if two else "a":
            tables["Components"].append(
                dict(
                    material=name,
                    component=letter,
                    density=1.2,
                    container=rng.choice([600, 5000, 20000]),
                    heel=0.03,
                    shelf_life=270,
                    open_life=60,
                    lead_time=rng.choice([7, 14, 21]),
                    lead_time_spread=2,
                    minimum_order=2,
                    price=rng.choice([30, 120, 400]),
                )
            )
            for lot in range(3):
                tables["Stock"].append(
                    dict(
                        material=name,
                        component=letter,
                        lot=f"{number:02d}{letter}{lot}",
                        quantity=rng.uniform(2e4, 1e5),
                        expiry=FIRST + datetime.timedelta(days=60 + 90 * lot),
                    )
                )
    for number in range(stations):
        tables["Stations"].append(
            dict(
                station=f"Station {number:02d}",
                material=f"Material {number % materials:02d}",
                speed=100,
                flow=2,
                handling_time=20,
                start_time=0.5,
                mixer_volume=10,
                purge_share=0.5,
                purge_volume=12,
                purge_time=10,
                start_volume=8,
                end_volume=5,
                checks=1,
                check_volume=3,
                container_time=120,
                hose_a=100,
                hose_b=100,
                scrap=rng.choice([0.0, 0.01, 0.03]),
                meter_tolerance=0.02,
                record="Hall",
            )
        )
    for number in range(parts):
        name = f"Part {number:03d}"
        tables["Parts"].append(dict(part=name))
        for turn in range(1 + number % 3):
            tables["Beads"].append(
                dict(
                    bead=f"Bead {turn}",
                    part=name,
                    station=f"Station {(number + 17 * turn) % stations:02d}",
                    section="half-round",
                    width=rng.uniform(3, 8),
                    width_tolerance=0.3,
                    height=3,
                    height_tolerance=0.2,
                    length=rng.uniform(300, 1500),
                )
            )
    for clock, celsius in (("00:00", 19), ("06:00", 18), ("12:00", 24), ("16:00", 29), ("22:00", 22)):
        tables["Temperatures"].append(dict(record="Hall", time=clock, temperature=celsius))
    tables["Shifts"] += [
        dict(shift="Early", start="06:00", end="14:00"),
        dict(shift="Late", start="14:00", end="22:00"),
    ]
    tables["Breaks"] += [
        dict(shift="Early", start="10:00", end="10:30"),
        dict(shift="Late", start="18:00", end="18:30"),
    ]
    usual = [rng.randint(6, 20) for _ in range(parts)]
    for week in range(weeks):
        season = [rng.uniform(0.7, 1.3) for _ in range(parts)]
        for day in range(5):
            date = FIRST + datetime.timedelta(days=7 * week + day)
            for shift, share in (("Early", 1.0), ("Late", 0.8 if day < 4 else 0.5)):
                for number in range(parts):
                    count = round(usual[number] * season[number] * share)
                    tables["Builds"].append(
                        dict(date=date, shift=shift, part=f"Part {number:03d}", quantity=count)
                    )
    settings = dict(
        service_level=0.95,
        order_cost=40,
        holding_rate=0.2,
        demand_spread=0.1,
        temperature_spread=2,
        currency="EUR",
    )
    tables["Settings"] = [{"Setting": key, "Value": value} for key, value in settings.items()]
    return tables


def tables_of(weeks: int):
    """Raw tables of a made-up plant."""
    return {name: raw_table(name, rows) for name, rows in rows_of(weeks).items()}


def _processor() -> float:
    """Seconds that this process and its finished workers have computed."""
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in both)


def _peak() -> float:
    """Largest memory of this process or a worker [MB]."""
    both = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return max(both) / 1024.0


def rows(quick: bool = False) -> Iterator[Row]:
    """A year with 2,000 futures, and a quarter of it to see what grows."""
    for weeks, draws, processes in ((4, 200, 1),) if quick else ((13, 2000, 2), (52, 2000, 2)):
        result = _apart(weeks, draws, processes)
        note = (
            f"{result['shifts']:,} station shifts ({result['distinct']:,} distinct), "
            f"{result['components']} components; {show(result['processor'])} of processor, "
            f"{result['memory']:.0f} MB at most; plan of {result['builds']:,} builds read in "
            f"{show(result['plan'])}, workbook {show(result['written'])}"
        )
        yield Row(
            f"forecast: {weeks} weeks of 60 stations, 200 parts, {draws:,} futures, {processes} processes",
            result["clock"],
            note=note,
        )


def _apart(weeks: int, draws: int, processes: int) -> dict:
    """One case in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.forecast", str(weeks), str(draws), str(processes)],
        cwd=Path(__file__).resolve().parents[1],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def main(weeks: int, draws: int, processes: int) -> None:
    """Measure one case and print it as JSON."""
    started = time.perf_counter()
    plan = build_plan(tables_of(weeks))
    read = time.perf_counter() - started
    started, before = time.perf_counter(), _processor()
    found = forecast(plan, weeks, draws=draws, processes=processes)
    clock, processor = time.perf_counter() - started, _processor() - before
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        write_forecast(found, Path(folder) / "forecast.xlsx")
    print(
        json.dumps(
            {
                "plan": read,
                "clock": clock,
                "processor": processor,
                "written": time.perf_counter() - started,
                "memory": _peak(),
                "builds": len(plan.builds),
                "shifts": len(found.shifts),
                "distinct": len(found.keys),
                "components": len(found.components),
            }
        )
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
