"""An oven, a log of one, or the room: the course of each place, what it reaches, positions."""

from __future__ import annotations

import numpy as np
from openpyxl import Workbook
from openpyxl.chart import ScatterChart

from ...base.units import duration_text
from ...reports.cure import CureReport, shop
from ...reports.runs import CureRun, run_findings
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page, sentence
from .closing import Answer, close_sheet, under_title, warnings_of

RUN_POINTS = 120  # of a schedule's curves


def _thin(values: np.ndarray, count: int = RUN_POINTS) -> np.ndarray:
    """Places of some points, first and last among them."""
    return np.unique(np.linspace(0, len(values) - 1, min(count, len(values))).round().astype(int))


def run_sheet(book: Workbook, data: Data, report: CureReport, run: CureRun) -> Answer:
    """One oven, log or room: temperature, degree and glass point of each place."""
    name = {"oven": "Oven", "log": "Oven log", "room": "Room cure"}[run.kind]
    page = Page(book, name, f"Schedule: {run.name}", (18, 11, *[11.5] * 10), under_title(report))
    in_hours = run.dwell > 6.0 * 3600.0
    unit, factor = ("h", 3600.0) if in_hours else ("min", 60.0)
    verdict = "every place passes" if run.passes else "not every place passes"
    page.answer(_run_headline(run), run.passes)
    page.text(sentence(f"{verdict}; {_run_words(run)}" if _run_words(run) else verdict))
    page.row += 1
    charts = []
    first = (
        1 if run.kind == "oven" else 0
    )  # the look of the first place, the same in every chart; air is before
    keep = _thin(run.times)
    columns = [(f"Time [{unit}]", run.times[keep] / factor)]
    if run.kind == "oven":
        columns.append(("Air [°C]", [shop(value, "°C") for value in run.air[keep]]))
    columns += [
        (f"{place.name} [°C]", [shop(value, "°C") for value in place.temperatures[keep]])
        for place in run.places
    ]
    refs = data.block(f"{run.name}, temperature", columns)
    names = (["air"] if run.kind == "oven" else []) + [place.name for place in run.places]
    curves = [
        Curve(each, refs[0], ref, *LOOKS[place % len(LOOKS)])
        for place, (each, ref) in enumerate(zip(names, refs[1:], strict=True))
    ]
    end = float(run.times[-1]) / factor
    charts.append(
        scatter(
            "Temperature",
            f"time [{unit}]",
            "temperature [°C]",
            curves,
            x_form="0",
            y_form="0",
            x_range=(0, end),
        )
    )
    if run.places[0].degrees is not None:
        columns = [(f"Time [{unit}]", run.times[keep] / factor)]
        columns += [
            (f"{place.name}, degree", place.degrees[keep])
            for place in run.places
            if place.degrees is not None
        ]
        refs = data.block(f"{run.name}, degree of cure", columns)
        curves = [
            Curve(place.name, refs[0], ref, *LOOKS[(number + first) % len(LOOKS)])
            for number, (place, ref) in enumerate(zip(run.places, refs[1:], strict=True))
        ]
        if run.requirement.degree is not None:
            goal = data.block(
                "Degree asked for", [(f"Time [{unit}]", [0.0, end]), ("Degree", [run.requirement.degree] * 2)]
            )
            curves.append(Curve("asked for", goal[0], goal[1], "sysDash", "none", style.GREY, 1.0))
        charts.append(
            scatter(
                "Degree of cure",
                f"time [{unit}]",
                "degree of cure",
                curves,
                x_form="0",
                y_form="0.0",
                x_range=(0, end),
                y_range=(0, 1),
            )
        )
    page.charts(charts)
    if run.places[0].glass_points is not None:
        columns = [(f"Time [{unit}]", run.times[keep] / factor)]
        for place in run.places:
            if place.glass_points is None:
                continue
            columns += [
                (f"{place.name}, part [°C]", [shop(value, "°C") for value in place.temperatures[keep]]),
                (
                    f"{place.name}, glass point [°C]",
                    [shop(value, "°C") for value in place.glass_points[keep]],
                ),
            ]
        refs = data.block(f"{run.name}, glass point", columns)
        names = [f"{place.name}, {what}" for place in run.places for what in ("part", "glass point")]
        curves = [
            Curve(each, refs[0], ref, *LOOKS[place % len(LOOKS)])
            for place, (each, ref) in enumerate(zip(names, refs[1:], strict=True))
        ]
        met = [item for place in run.places for item in place.crossings]
        if met:
            marks = data.block(
                f"{run.name}, glass transition passes the part",
                [
                    (f"Time [{unit}]", [item.time / factor for item in met]),
                    ("Temperature [°C]", [shop(item.temperature, "°C") for item in met]),
                ],
            )
            curves.append(Curve("passes the part", marks[0], marks[1], None, "diamond", style.DARK))
        page.charts(
            [
                scatter(
                    "Glass point and temperature of the part (where they meet, cure slows)",
                    f"time [{unit}]",
                    "temperature [°C]",
                    curves,
                    x_form="0",
                    y_form="0",
                    x_range=(0, end),
                ),
                _glass_map(data, run, keep, first),
            ]
        )
        if met:
            page.text(sentence("; ".join(_crossing_words(run, unit, factor))), style.NOTE)
    page.section("Each place")
    rows = [
        [
            row.name,
            shop(float(row.temperatures.max()), "°C"),
            row.at_cure / factor,
            None if row.equivalent is None else float(row.equivalent[-1]) / factor,
            None if row.degrees is None else float(row.degrees[-1]),
            None if row.glass_points is None else shop(float(row.glass_points[-1]), "°C"),
            *(
                None if value is None else value / factor
                for value in (row.gel, row.handling, row.milestones.get("join"), row.full_cure)
            ),
            row.verdict if row.passes else f"▲ {row.verdict}",
        ]
        for row in run.places
    ]
    page.table(
        [
            "Place",
            "Highest [°C]",
            f"At cure temperature [{unit}]",
            f"Equivalent time [{unit}]",
            "Degree of cure",
            "Glass point [°C]",
            f"Gel at [{unit}]",
            f"Handling at [{unit}]",
            f"Join at [{unit}]",
            f"Full cure at [{unit}]",
            "Verdict",
        ],
        rows,
        ("@", "0.0", "0.0", "0.0", "0.000", "0.0", "0.0", "0.0", "0.0", "0.0", "@"),
        [not row.passes for row in run.places],
    )
    _run_figures(page, run)
    close_sheet(
        page,
        report,
        [*run.notes, f"equivalent time by the {run.energy_basis}"],
        warnings_of(run_findings(report.station, report.material, run)),
    )
    question = {
        "oven": "Does the oven cure it?",
        "log": "Did the oven cure it?",
        "room": "When is it cured in the room?",
    }[run.kind]
    return question, sentence(f"{run.name}: {_run_answer(run)}"), page.sheet.title, run.passes


def _glass_map(data: Data, run: CureRun, keep: np.ndarray, first: int) -> ScatterChart:
    """Degree of cure against the temperature of the part, and the degree at which it is a glass there."""
    curves = []
    for number, place in enumerate(run.places):
        if place.degrees is None:
            continue
        refs = data.block(
            f"{run.name}, {place.name}, degree against temperature",
            [
                ("Part [°C]", [shop(value, "°C") for value in place.temperatures[keep]]),
                ("Degree", place.degrees[keep]),
            ],
        )
        curves.append(Curve(place.name, refs[0], refs[1], *LOOKS[(number + first) % len(LOOKS)]))
    place = run.places[0]
    if place.degrees is not None and place.glass_points is not None:
        # the degrees that were passed, each at its own glass transition
        order = np.argsort(place.glass_points[keep])
        refs = data.block(
            f"{run.name}, degree at which the part is a glass",
            [
                ("Glass transition [°C]", [shop(value, "°C") for value in place.glass_points[keep][order]]),
                ("Degree", place.degrees[keep][order]),
            ],
        )
        curves.append(Curve("glass above this line", refs[0], refs[1], "sysDash", "none", style.GREY, 1.0))
    return scatter(
        "Degree against temperature of the part",
        "temperature of the part [°C]",
        "degree of cure",
        curves,
        x_form="0",
        y_form="0.0",
        y_range=(0, 1),
    )


def _crossing_words(run: CureRun, unit: str, factor: float) -> list[str]:
    """Where each place turns into a glass or softens again."""
    return [
        f"{place.name} {'turns into a glass' if item.hardens else 'softens again'} after "
        f"{item.time / factor:.1f} {unit} at {shop(item.temperature, '°C'):.0f} °C"
        for place in run.places
        for item in place.crossings
    ]


def _run_answer(run: CureRun) -> str:
    if run.kind != "room":
        return f"{_passes(run)}; {_run_words(run)}" if _run_words(run) else _passes(run)
    place = run.places[0]
    parts = []
    if place.handling is not None:
        parts.append(f"may be moved after {duration_text(place.handling)}")
    if place.full_cure is not None:
        parts.append(f"full cure after {duration_text(place.full_cure)}")
    return ", ".join(parts) or "no time is reached"


def _run_headline(run: CureRun) -> str:
    """The answer without what only matters once it is known."""
    if run.kind == "room":
        return _run_answer(run)
    if run.hold_needed is None or run.hold is None:
        return _passes(run)
    return f"{_passes(run)}: holds {run.hold / 60:.1f} min and needs {run.hold_needed / 60:.1f} min"


def _passes(run: CureRun) -> str:
    return "passes" if run.passes else "does not pass"


def _run_words(run: CureRun) -> str:
    parts = []
    if run.hold_needed is not None and run.hold is not None:
        parts.append(
            f"hold {run.hold / 60:.1f} min, the shortest that passes is {run.hold_needed / 60:.1f} min"
        )
    if run.positions is not None:
        parts.append(
            f"{run.positions} positions at a takt of {run.takt:.0f} s"
            + (" until it may be moved" if run.kind == "room" else "")
        )
    if run.length is not None:
        parts.append(f"oven length {run.length:.2f} m")
    return ", ".join(parts)


def _run_figures(page: Page, run: CureRun) -> None:
    need = run.requirement
    rows: list[tuple] = []
    if need.equivalent is not None:
        rows.append(("Time asked for", shop(need.equivalent, "min"), "min", "0.0", False))
        rows.append(("At the cure temperature", shop(need.reference, "°C"), "°C", "0.0", False))
    if need.degree is not None:
        rows.append(("Degree of cure asked for", need.degree, "", "0.00", False))
    if need.service is not None:
        rows.append(("Glass transition asked for", shop(need.service, "°C"), "°C", "0.0", False))
    if run.hold is not None:
        rows.append(("Hold of the profile", shop(run.hold, "min"), "min", "0.0", False))
        rows.append(
            (
                "Shortest hold that passes",
                shop(run.hold_needed, "min") if run.hold_needed is not None else run.hold_words or None,
                "min",
                "0.0",
                False,
            )
        )
    if run.takt is not None and run.positions is not None:
        time = run.dwell if run.kind != "room" else run.places[0].handling
        start = page.row + 1 + len(rows)  # below the heading
        rows.append(("Time in cure", shop(time, "min"), "min", "0.0", run.kind != "room"))
        rows.append(("Takt", run.takt, "s", "0", True))
        rows.append(
            ("Positions", style.Live(f"=ROUNDUP(ROUND($C${start}*60/$C${start + 1},6),0)"), "", "0", False)
        )
        if run.pitch is not None:
            rows.append(("Pitch of parts on the belt", shop(run.pitch, "mm"), "mm", "0", True))
            rows.append(
                (
                    "Oven length",
                    style.Live(f"=$C${start}*60/$C${start + 1}*$C${start + 3}/1000"),
                    "m",
                    "0.00",
                    False,
                )
            )
    if rows:
        page.section("Asked for, hold, positions")
        page.figures(rows)
