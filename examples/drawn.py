"""What the charts of a sheet draw, in a few figures: says whether a picture of it is still of today.

python examples/drawn.py NAME BOOK SHEET drawn.json
"""

import json
import sys
from pathlib import Path
from typing import Any

import openpyxl


def drawn(book: Any, sheet: str) -> dict[str, dict[str, list[float]]]:
    """By chart and series: how many points it has, and both values of the first, the middle, the last."""
    found: dict[str, dict[str, list[float]]] = {}
    for chart in openpyxl.load_workbook(book)[sheet]._charts:
        title = "".join(run.t for part in chart.title.tx.rich.p for run in part.r or [])
        lines = found.setdefault(title, {})
        for series in chart.series:
            values = [
                [float(point.v) for point in sorted(reference.numRef.numCache.pt, key=lambda item: item.idx)]
                for reference in (series.xVal, series.yVal)
            ]
            count = len(values[1])
            lines[series.tx.v] = [
                count,
                *(round(line[place], 4) for line in values for place in (0, count // 2, count - 1)),
            ]
    return found


if __name__ == "__main__":
    name, book, sheet, target = sys.argv[1:]
    path = Path(target)
    known = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    known[name] = drawn(book, sheet)
    path.write_text(json.dumps(known, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
