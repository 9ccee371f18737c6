"""Which pattern of paste covers a plate soonest, and which closes in air?

python examples/patterns.py out.xlsx
"""

import sys
from typing import Any

from dispense.books.cure import cure_workbook
from dispense.plan.build import build_plan
from dispense.plan.records import raw_table
from dispense.reports.cure import cure_report

# x, y [mm] on a plate of 60 × 40 mm, and the motion that leads there
PATTERNS: dict[str, list[tuple[float, float, str]]] = {
    "X": [(6, 4, "line"), (54, 36, "line"), (6, 36, "travel"), (54, 4, "line")],
    "three lines": [(x, y, word) for y in (7, 20, 33) for x, word in ((5, "travel"), (55, "line"))],
    "six dots": [(x, y, "travel") for y in (10, 30) for x in (10, 30, 50)],
    "ring": [(10, 8, "line"), (50, 8, "line"), (50, 32, "line"), (10, 32, "line"), (10, 8, "line")],
}
JOINT = {
    "coverage": 0.97,
    "extra": 0.25,
    "part": "cooler",
    "station": "press",
    "length": 60,
    "width": 40,
    "gap": 0.3,
}
ROWS: dict[str, list[dict[str, Any]]] = {
    "Materials": [{"material": "paste", "kind": "one-part", "consistency": 150, "conductivity": 3}],
    "Components": [{"material": "paste", "component": "a", "density": 2.5, "container": 300}],
    "Parts": [{"part": "cooler"}],
    "Paths": [
        {"path": name, "x": x, "y": y, "motion": word}
        for name, points in PATTERNS.items()
        for x, y, word in points
    ],
    "Joints": [
        JOINT | {"joint": name, "pattern": name, "start_gap": 1.5, "force": 120, "press_time": 20}
        for name in PATTERNS
    ],
    "Stations": [{"station": "press", "material": "paste", "flow": 1, "takt": 120}],
    "Shifts": [{"shift": "early", "start": "06:00", "end": "14:00"}],
    "Builds": [{"date": "2026-03-02", "shift": "early", "part": "cooler", "quantity": 100}],
}

report = cure_report(build_plan({name: raw_table(name, rows) for name, rows in ROWS.items()}), "press")
with open(sys.argv[1], "wb") as book:
    book.write(cure_workbook(report))
for joint in report.joints:
    print(f"{joint.name}: {joint.coverage:.0%} covered, {(joint.air or 0.0) * 1e6:.2f} mL of air")
