"""The sheet of a pour between cells: temperatures over time, the map of shots and waits, what it rests on."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ...base.units import celsius_text, duration_text
from ...handbook.pack import CUT_WORDS, Figure, PackHeat
from ...reports.cure import shop
from ...reports.pour import PourReport
from ...reports.shot_plan import ShotChoice, ShotMap
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page

_POINTS = 140  # of a curve over time
_MAP_COLUMN = 3  # of the sheet, where the waits of the map begin
_SIDES = {"left": (0, -1), "right": (0, 1), "top": (-1, 0), "bottom": (1, 0)}  # row, column of the neighbour
_AFTER = 2.5  # times the time of the latest peak, that the chart shows


def pack_answer(pour: PourReport) -> tuple[str, bool]:
    """What the reader came for, and whether it keeps the limit."""
    limit = "" if pour.limit is None else f", limit {shop(pour.limit, '°C'):.0f} °C"
    how = f"in {len(pour.shots)} shots" if pour.shots else "in one shot"
    good = pour.limit is None or pour.planned_peak <= pour.limit
    words = f"{pour.planned_words} {how}{limit}"
    if pour.limit is not None:
        words += f"; {pour.safe_label}: {pour.safe_words}"
    return words, good


def pack_charts(page: Page, data: Data, pour: PourReport, pack: PackHeat) -> None:
    """Temperatures over time, and the map of shots beside them."""
    charts = [_time_chart(data, pour, pack)]
    if pour.shot_map is not None:
        charts.append(_map_chart(data, pour, pour.shot_map))
    page.charts(charts)


def _time_chart(data: Data, pour: PourReport, pack: PackHeat) -> Any:
    cut = pack.cut("corner")
    last = max(peak.time for peak in (cut.compound_peak, cut.skin_peak, cut.mean_peak))
    keep = np.flatnonzero(cut.times <= max(_AFTER * last, cut.times[min(2, len(cut.times) - 1)]))
    keep = keep[np.unique(np.linspace(0, keep.size - 1, min(_POINTS, keep.size)).round().astype(int))]
    minutes = cut.times[keep] / 60.0
    names = ("hottest compound", "skin of the hottest cell", "mean of the hottest cell")
    refs = data.block(
        f"{pour.name}, between the cells",
        [
            ("Time [min]", minutes),
            *(
                (f"{name.capitalize()} [°C]", [shop(value, "°C") for value in row[keep]])
                for name, row in zip(names, (cut.compound, cut.skin, cut.mean), strict=True)
            ),
        ],
    )
    curves = [
        Curve(name, refs[0], ref, *LOOKS[place])
        for place, (name, ref) in enumerate(zip(names, refs[1:], strict=True))
    ]
    if pour.limit is not None:
        line = data.block(
            "Limit", [("Time [min]", [0.0, float(minutes[-1])]), ("Limit [°C]", [shop(pour.limit, "°C")] * 2)]
        )
        curves.append(Curve("limit of the cells", line[0], line[1], "lgDashDotDot", "none", style.DARK, 1.0))
    return scatter(
        "As planned: corner of the block",
        "time since the first shot [min]",
        "temperature [°C]",
        curves,
        x_form="0",
        y_form="0",
        x_range=(0, math.ceil(float(minutes[-1]))),
        y_range=(_below(cut.mean.min()), None),
    )


def _map_chart(data: Data, pour: PourReport, found: ShotMap) -> Any:
    waits = [shop(wait, "min") for wait in found.waits]
    curves = []
    for place, row in enumerate(found.rows):
        values = [_shown(one) for one in row]
        refs = data.block(
            f"{pour.name}, {row[0].shots} shots",
            [
                ("Wait [min]", waits),
                ("Skin [°C]", values if len(values) == len(waits) else values * len(waits)),
            ],
        )
        name = f"{row[0].shots} shots of {shop(row[0].depth, 'mm'):.1f} mm" if place else "one shot"
        curves.append(Curve(name, refs[0], refs[1], *LOOKS[place]))
    line = data.block(
        "Limit", [("Wait [min]", [waits[0], waits[-1]]), ("Limit [°C]", [shop(found.limit, "°C")] * 2)]
    )
    curves.append(Curve("limit of the cells", line[0], line[1], "lgDashDotDot", "none", style.DARK, 1.0))
    return scatter(
        "Skin of the cells: shots and waits",
        "wait between shots [min]",
        "highest temperature of the skin [°C]",
        curves,
        x_form="0",
        y_form="0",
        x_range=(0, waits[-1]),
        y_range=(_below(min(one.skin for row in found.rows for one in row)), None),
    )


def _below(temperature: float) -> float:
    """The ten degrees below a temperature, where its axis begins."""
    return 10.0 * math.floor(float(shop(temperature, "°C")) / 10.0)


def _shown(one: ShotChoice) -> float | None:
    return shop(one.skin, "°C") if math.isfinite(one.skin) else None


def pack_tables(page: Page, pour: PourReport, pack: PackHeat) -> None:
    """The figures with their cuts, and the map."""
    page.section("Between the cells, as planned")
    rows = [
        _figure_row(name, figure)
        for name, figure in (
            ("Hottest compound", pack.compound),
            ("Skin of a cell (judged)", pack.skin),
            ("Mean of a cell", pack.mean),
        )
    ]
    page.table(
        ["What", "Highest [°C]", "± [K]", "After [min]", "Height [mm]", "Read from"],
        rows,
        ("@", "0.0", "0.0", "0", "0.0", "@"),
    )
    if pour.shot_map is not None:
        map_table(page, pour.shot_map)


def _figure_row(name: str, figure: Figure) -> list[Any]:
    height = figure.peak.place[2]
    return [
        name,
        shop(figure.value, "°C"),
        figure.plus_minus,
        shop(figure.peak.time, "min"),
        shop(height, "mm") if math.isfinite(height) else None,
        CUT_WORDS[figure.cut],
    ]


def map_table(page: Page, found: ShotMap) -> None:
    page.section("Highest skin temperature: shots and waits")
    headers = ["Equal shots", "Depth of each [mm]", *(f"Wait {duration_text(wait)}" for wait in found.waits)]
    rows, marks = [], []
    for row in found.rows:
        values: list[Any] = [_map_cell(one, found.limit, one == found.choice) for one in row]
        values += [""] * (len(found.waits) - len(values))
        rows.append([f"{row[0].shots}", shop(row[0].depth, "mm"), *values])
        marks.append(all(one.skin > found.limit for one in row))
    first = page.table(headers, rows, ("@", "0.0", *["@"] * len(found.waits)), marks)
    _shade_map(page, found, first)
    page.text(
        f"✓ keeps {celsius_text(found.limit)}, ▲ does not, ● proposed; the darker the hotter, what is safe "
        f"within the thick line; °C at the cells' skin, followed on a coarse grid "
        f"and corrected by {found.off:+.1f} K, what it is off for the planned pour. Proposed: {found.words}.",
        style.NOTE,
    )
    if found.others:
        page.table(
            ["Also tried: shots", "Compound [°C]", "Shop [°C]", "Wait [min]", "Skin [°C]"],
            [
                [
                    f"{one.shots}",
                    shop(one.pour, "°C"),
                    shop(one.shop, "°C"),
                    shop(one.wait, "min"),
                    _map_cell(one, found.limit, one == found.choice),
                ]
                for one in found.others
            ],
            ("@", "0.0", "0.0", "0", "@"),
        )
    page.row += 1


def _shade_map(page: Page, found: ShotMap, first: int) -> None:
    """Shades by temperature, and a thick line about the region that keeps the limit."""
    safe = {
        (number, place)
        for number, row in enumerate(found.rows)
        for place, one in enumerate(row)
        if one.skin <= found.limit
    }
    coolest = min(one.skin for row in found.rows for one in row)
    room = found.limit - coolest
    for number, row in enumerate(found.rows):
        for place, one in enumerate(row):
            edges = [
                side
                for side, (down, across) in _SIDES.items()
                if (number, place) in safe and (number + down, place + across) not in safe
            ]
            warmth = (one.skin - coolest) / room if room > 0.0 else math.inf
            cell = page.sheet.cell(first + number, _MAP_COLUMN + place)
            style.map_cell(cell, warmth if one.skin > found.limit else min(warmth, 1.0), edges)


def _map_cell(one: ShotChoice, limit: float, proposed: bool = False) -> str:
    """A temperature with the mark of its side of the limit; no shade alone."""
    if not math.isfinite(one.skin):
        return "▲ runs away"
    return f"{'✓' if one.skin <= limit else '▲'} {shop(one.skin, '°C'):.1f}" + (" ●" if proposed else "")


__all__ = ["map_table", "pack_answer", "pack_charts", "pack_tables"]
