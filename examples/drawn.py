"""What a page shows in words and figures: says whether a picture of it is still of today.

python examples/drawn.py NAME BOOK SHEET ROWS drawn.json
"""

import datetime
import json
import re
import sys
from pathlib import Path
from typing import Any

import openpyxl

COLOURS = 48  # of a picture: a page has few, and its file is a third as large then
#: stamps, fingerprints and versions
CHANGING = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d(?!:)|\b[0-9a-f]{8,}\b|\b\d+\.\d+\.\d+\w*\b")


def drawn(book: Any, sheet: str) -> dict[str, dict[str, list[float]]]:
    """By chart and series: how many points it has, and both values of the first, the middle, the last."""
    found: dict[str, dict[str, list[float]]] = {}
    for chart in openpyxl.load_workbook(book)[sheet]._charts:
        title = "".join(run.t for part in chart.title.tx.rich.p for run in part.r or [])
        lines = found.setdefault(title, {})
        for series in chart.series:
            lines[series.tx.v] = _ends(series)
    return found


def _ends(series: Any) -> list[float]:
    axes = [series.xVal, series.yVal] if getattr(series, "xVal", None) else [series.val]
    values = [
        [float(point.v) for point in sorted(axis.numRef.numCache.pt, key=lambda item: item.idx)]
        for axis in axes
    ]
    count = len(values[-1])
    places = (0, count // 2, count - 1)
    return [count, *(round(line[place], 4) for line in values for place in places)]


def shown(book: Any, sheet: str, last: int) -> list[str]:
    """Rows of a sheet down to the last one pictured: what visible cells say, without stamps and versions."""
    page = openpyxl.load_workbook(book, data_only=True)[sheet]
    rows = []
    for cells in page.iter_rows(max_row=last):
        visible = [
            _words(cell.value)
            for cell in cells
            if cell.value not in (None, "") and not page.column_dimensions[cell.column_letter].hidden
        ]
        if visible and not page.row_dimensions[cells[0].row].hidden:
            rows.append(" | ".join(visible))
    return rows


def _words(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.5g}"
    if isinstance(value, datetime.datetime):
        return value.isoformat(" ", "minutes").replace(" ", "T")
    return CHANGING.sub("…", str(value))


def small(path: Path) -> None:
    """The picture with few colours and no empty margin below."""
    from PIL import Image, ImageChops

    image = Image.open(path).convert("RGB")
    box = ImageChops.difference(image, Image.new("RGB", image.size, "white")).getbbox()
    image = image.crop((0, 0, image.width, min(image.height, box[3] + 12))) if box else image
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    name, book, sheet, rows, target = sys.argv[1:]
    path = Path(target)
    known = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    known[name] = shown(book, sheet, int(rows)) if int(rows) else drawn(book, sheet)
    path.write_text(json.dumps(known, indent=1, ensure_ascii=False, sort_keys=True) + "\n", encoding="utf-8")
    small(path.with_name(f"{name}.png"))
