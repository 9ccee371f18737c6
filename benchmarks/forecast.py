"""Time and memory of a forecast over a year: two shifts, 60 stations, 200 parts, 40 materials.

    python benchmarks/forecast.py [--draws 2000] [--weeks 52] [--processes 2] [--what-if]

The plan is made up: every part goes over one to three stations, quantities change from week to week
and with the day of the week. Peak memory is that of the process and of its largest worker.
"""

from __future__ import annotations

import argparse
import datetime
import random
import resource
import sys
import time
import tracemalloc
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from dispense.forecast import forecast, write_forecast
from dispense.plan import build_plan, raw_table
from dispense.whatif import what_if_table

FIRST = datetime.date(2026, 1, 5)


def rows(weeks: int, stations: int = 60, parts: int = 200, materials: int = 40, seed: int = 1):
    """Tables of a made-up plant."""
    rng = random.Random(seed)
    tables: dict[str, list[dict]] = {name: [] for name in (
        "Materials", "Components", "Parts", "Beads", "Stations", "Temperatures", "Shifts", "Breaks",
        "Builds", "Stock")}  # fmt: skip
    for number in range(materials):
        name, two = f"Material {number:02d}", number % 3 != 0
        tables["Materials"].append(
            dict(material=name, kind="two-part" if two else "one-part", ratio_a=rng.choice([1, 2, 10]),
                 ratio_b=1 if two else None, pot_life=rng.choice([15, 25, 45, 90]) if two else None,
                 pot_life_temperature=23)
        )  # fmt: skip
        for letter in "ab" if two else "a":
            tables["Components"].append(
                dict(material=name, component=letter, density=1.2, container=rng.choice([600, 5000, 20000]),
                     heel=0.03, shelf_life=270, open_life=60, lead_time=rng.choice([7, 14, 21]),
                     lead_time_spread=2, minimum_order=2, price=rng.choice([30, 120, 400]))
            )  # fmt: skip
            for lot in range(3):
                tables["Stock"].append(
                    dict(material=name, component=letter, lot=f"{number:02d}{letter}{lot}",
                         quantity=rng.uniform(2e4, 1e5),
                         expiry=FIRST + datetime.timedelta(days=60 + 90 * lot))
                )  # fmt: skip
    for number in range(stations):
        tables["Stations"].append(
            dict(station=f"Station {number:02d}", material=f"Material {number % materials:02d}", speed=100,
                 flow=2, handling_time=20, start_time=0.5, mixer_volume=10, purge_share=0.5,
                 purge_volume=12, purge_time=10, start_volume=8, end_volume=5, checks=1, check_volume=3,
                 container_time=120, hose_a=100, hose_b=100, scrap=rng.choice([0.0, 0.01, 0.03]),
                 meter_tolerance=0.02, record="Hall")
        )  # fmt: skip
    for number in range(parts):
        name = f"Part {number:03d}"
        tables["Parts"].append(dict(part=name))
        for turn in range(1 + number % 3):
            tables["Beads"].append(
                dict(bead=f"Bead {turn}", part=name, station=f"Station {(number + 17 * turn) % stations:02d}",
                     section="half-round", width=rng.uniform(3, 8), width_tolerance=0.3, height=3,
                     height_tolerance=0.2, length=rng.uniform(300, 1500))
            )  # fmt: skip
    for clock, celsius in (("00:00", 19), ("06:00", 18), ("12:00", 24), ("16:00", 29), ("22:00", 22)):
        tables["Temperatures"].append(dict(record="Hall", time=clock, temperature=celsius))
    tables["Shifts"] += [dict(shift="Early", start="06:00", end="14:00"),
                         dict(shift="Late", start="14:00", end="22:00")]  # fmt: skip
    tables["Breaks"] += [dict(shift="Early", start="10:00", end="10:30"),
                         dict(shift="Late", start="18:00", end="18:30")]  # fmt: skip
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
    settings = dict(service_level=0.95, order_cost=40, holding_rate=0.2, demand_spread=0.1,
                    temperature_spread=2, currency="EUR")  # fmt: skip
    raws = {name: raw_table(name, table) for name, table in tables.items()}
    raws["Settings"] = raw_table("Settings", [{"Setting": key, "Value": value}
                                              for key, value in settings.items()])  # fmt: skip
    return raws


def _processor() -> float:
    """Seconds that this process and its finished workers have computed."""
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in both)


def _peak() -> float:
    """Largest memory of this process or a worker [MB]."""
    both = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return max(both) / 1024.0


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--draws", type=int, default=2000)
    options.add_argument("--weeks", type=int, default=52)
    options.add_argument("--processes", type=int, default=2)
    options.add_argument("--what-if", action="store_true")
    options.add_argument("--trace", action="store_true", help="trace Python's own memory (slower)")
    options.add_argument("--out", help="also write the result")
    given = options.parse_args()
    started = time.perf_counter()
    plan = build_plan(rows(given.weeks))
    print(f"plan of {len(plan.builds):,} builds read in {time.perf_counter() - started:.1f} s, "
          f"{_peak():.0f} MB")  # fmt: skip
    if given.trace:
        tracemalloc.start()
    started, before = time.perf_counter(), _processor()
    found = forecast(plan, given.weeks, draws=given.draws, processes=given.processes)
    print(f"forecast of {len(found.shifts):,} station shifts ({len(found.keys):,} distinct), "
          f"{given.draws:,} futures of {len(found.components)} components: "
          f"{time.perf_counter() - started:.1f} s on the clock, {_processor() - before:.1f} s of "
          f"processor, {_peak():.0f} MB")  # fmt: skip
    if given.trace:
        print(f"traced peak {tracemalloc.get_traced_memory()[1] / 2**20:.0f} MB")
        tracemalloc.stop()
    if given.what_if:
        started = time.perf_counter()
        what_if_table(found)
        print(f"what-if: {time.perf_counter() - started:.1f} s")
    if given.out:
        started = time.perf_counter()
        write_forecast(found, given.out)
        print(f"wrote {given.out} in {time.perf_counter() - started:.1f} s, {_peak():.0f} MB")
    print(*found.headline(), sep="\n")


if __name__ == "__main__":
    main()
