"""Pressed joints and beads: gap, time, coverage, resistance, width on the flange."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from openpyxl import Workbook

from ...base.errors import needed
from ...reports.cure import CureReport, shop
from ...reports.press import PASTE_RULE, JointReport, PressedBead
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page, sentence
from .closing import MOST_CURVES, Answer, close_sheet, under_title, warnings_of
from .pattern import pattern_pictures

_SHORT = 0.1  # s, below which a time is told as shorter than it


def joints_sheet(book: Workbook, data: Data, report: CureReport) -> list[Answer]:
    """Gap, time, coverage and resistance of the pressed joints."""
    joints = report.joints
    page = Page(
        book,
        "Pressed joints",
        "Pressed joints: from paste pattern to bond line",
        (27, *[12] * 13),
        under_title(report),
    )
    good = sum(joint.passes for joint in joints)
    slowest = max((joint.time_needed or 0.0 for joint in joints), default=0.0)
    page.answer(
        f"{good} of {len(joints)} joints reach their bond line"
        + (f", the slowest in {_seconds(slowest)}" if slowest else ""),
        good == len(joints),
    )
    pressed = [joint for joint in joints if joint.press is not None][:MOST_CURVES]
    if pressed:
        page.charts([_gap_chart(data, pressed), _cover_chart(data, pressed)])
    page.section("Gap, time, coverage")
    page.table(
        [
            "Joint",
            "Bond line [mm]",
            "Gap reached [mm]",
            "Low over the plate [mm]",
            "High over the plate [mm]",
            "Paste stops at [mm]",
            "Force alone, in the press time [mm]",
            "Time needed [s]",
            "Press time [s]",
            "Work of the part [s]",
            "Takt [s]",
            "Coverage",
            "Coverage, low",
            "Verdict",
        ],
        [
            [
                item.name,
                shop(item.joint.gap, "mm"),
                shop(item.gap, "mm"),
                shop(item.gap_low, "mm"),
                shop(item.gap_high, "mm"),
                shop(item.gap_limit, "mm"),
                shop(item.gap_pressed, "mm"),
                item.time_needed,
                item.joint.press_time,
                item.work,
                item.takt,
                item.coverage,
                item.coverage_low,
                "good" if item.passes else "▲ look",
            ]
            for item in joints
        ],
        ("@", *["0.00"] * 6, "0.0", "0", "0", "0", "0%", "0%", "@"),
        [not item.passes for item in joints],
    )
    page.section("Volume and squeeze-out")
    page.table(
        [
            "Joint",
            "Paste [mL]",
            "Low [mL]",
            "High [mL]",
            "Squeeze-out [mL]",
            "Squeeze-out, high [mL]",
            "Pressure [bar]",
            "Filled paste stays near [mm]",
        ],
        [
            [
                item.name,
                *(
                    shop(value, "mL")
                    for value in (
                        item.volume.nominal,
                        item.volume.low,
                        item.volume.high,
                        item.squeeze_out,
                        item.squeeze_out_high,
                    )
                ),
                shop(item.pressure, "bar"),
                shop(item.paste_gap, "mm"),
            ]
            for item in joints
        ],
        ("@", *["0.00"] * 5, "0.00", "0.000"),
    )
    if any(item.pattern for item in joints):
        pattern_pictures(page, data, joints)
        _pattern_table(page, [item for item in joints if item.pattern])
    known = [item for item in joints if item.resistance is not None]
    if known:
        _resistance_table(page, known)
    notes = [
        *dict.fromkeys(item.model for item in joints),
        "low and high over the plate are the gap tolerance about the gap reached",
        f"filled paste: {PASTE_RULE}",
    ]
    notes += [words for item in joints for words in item.notes]
    close_sheet(page, report, notes, warnings_of(finding for item in joints for finding in item.findings))
    answers = []
    for item in joints:
        words = f"{shop(item.gap_low, 'mm'):.2f} to {shop(item.gap_high, 'mm'):.2f} mm"
        if item.time_needed is not None:
            words += f", needs {_seconds(item.time_needed)}"
            words += f" of {item.joint.press_time:.0f} s" if item.joint.press_time else ""
        if item.resistance is not None:
            words += f", {item.resistance.nominal:.4f} K/W (up to {item.resistance.high:.4f})"
        answers.append(
            (
                "Does the paste reach its bond line?",
                sentence(f"{item.name}: {words}"),
                page.sheet.title,
                item.passes,
            )
        )
    return answers


def _seconds(time: float) -> str:
    """A time in seconds; no "0.0" for a short one."""
    return f"{time:.1f} s" if time >= _SHORT else f"under {_SHORT:g} s"


def _pattern_table(page: Page, joints: Sequence[JointReport]) -> None:
    page.section("Patterns: when they touch and cover, what fills last, air that is closed in")
    rows = []
    for item in joints:
        film = item.pattern
        if film is None:
            continue
        last = [shop(value, "mm") if math.isfinite(value) else None for value in film.last]
        rows.append(
            [
                item.name,
                shop(film.touch_gap, "mm") if math.isfinite(film.touch_gap) else None,
                item.touch_time,
                item.joint.coverage,
                shop(item.cover_gap, "mm"),
                item.cover_time,
                *last,
                shop(film.trapped, "mL"),
                shop(item.air, "mL"),
            ]
        )
    page.table(
        [
            "Joint",
            "Touches at [mm]",
            "after [s]",
            "Coverage asked",
            "Covered at [mm]",
            "after [s]",
            "Fills last, x [mm]",
            "Fills last, y [mm]",
            "Air closed in [mL]",
            "Air under the press [mL]",
        ],
        rows,
        ("@", "0.00", "0.0", "0%", "0.00", "0.0", "0", "0", "0.000", "0.000"),
    )


def _resistance_table(page: Page, known: Sequence[JointReport]) -> None:
    page.section("Thermal resistance (bond line, conductivity and contact may be changed)")
    head = page.row
    rows = []
    for number, item in enumerate(known):
        row, found = head + 1 + number, item.resistance
        if found is None:
            continue
        wetted = f"MIN($E{row},$F{row}/$B{row}*1000)"
        rows.append(
            [
                item.name,
                shop(item.gap, "mm"),
                item.material.conductivity,
                shop(item.joint.contact_resistance, "K·mm²/W"),
                shop(item.area if item.pattern is None else item.area * item.coverage, "mm²"),
                shop(item.volume.nominal, "mL"),
                style.Live(f"=($B{row}/$C{row}*1000+$D{row})/{wetted}"),
                found.low,
                found.high,
                found.worst_high,
                shop(item.joint.resistance_limit, "K/W"),
                style.Live(f'=IF($K{row}="","",IF($G{row}>$K{row},"▲ over","under"))'),
                found.main_driver.replace("_", " "),
            ]
        )
    first = page.table(
        [
            "Joint",
            "Gap [mm]",
            "Conductivity [W/(m·K)]",
            "Contact [K·mm²/W]",
            "Plate, as far as wetted [mm²]",
            "Paste [mL]",
            "Resistance [K/W]",
            "Low [K/W]",
            "High [K/W]",
            "Worst case [K/W]",
            "Limit [K/W]",
            "Verdict",
            "Main tolerance",
        ],
        rows,
        ("@", "0.000", "0.00", "0.0", "#,##0", "0.00", *["0.0000"] * 5, "@", "@"),
    )
    for row in range(first, first + len(rows)):
        for column in (2, 3, 4):
            style.input_cell(page.sheet.cell(row, column))
        style.result_cell(page.sheet.cell(row, 7))


def _gap_chart(data: Data, pressed: Sequence[JointReport]):
    """Gap against time under the force, on a time axis of powers of ten."""
    curves = []
    latest = 1.0
    for place, item in enumerate(pressed):
        if item.press is None:
            continue
        times, gaps = item.press.curve(min(item.gap, item.gap_pressed or item.gap))
        rows = [
            (time, gap) for time, gap in zip(times, gaps, strict=True) if time >= 1e-2 and math.isfinite(time)
        ]
        if len(rows) < 2:
            continue
        latest = max(latest, rows[-1][0])
        refs = data.block(
            f"{item.name}, gap",
            [("Time [s]", [row[0] for row in rows]), ("Gap [mm]", [shop(row[1], "mm") for row in rows])],
        )
        curves.append(Curve(item.name, refs[0], refs[1], *LOOKS[place % len(LOOKS)]))
    points = [item for item in pressed if item.time_needed]
    if points:
        refs = data.block(
            "Bond line reached",
            [
                ("Time [s]", [item.time_needed for item in points]),
                ("Gap [mm]", [shop(item.joint.gap, "mm") for item in points]),
            ],
        )
        curves.append(Curve("bond line reached", refs[0], refs[1], None, "diamond", style.DARK))
    top = 10.0 ** math.ceil(math.log10(latest))
    return scatter(
        "Gap under the force",
        "time [s]",
        "gap [mm]",
        curves,
        x_form="General",
        y_form="0.0",
        x_range=(0.01, top),
        y_range=(0, None),
        x_log=True,
    )


def _cover_chart(data: Data, pressed: Sequence[JointReport]):
    """Covered share against time under the force, on the same time axis as the gap."""
    curves = []
    latest = 1.0
    for place, item in enumerate(pressed):
        rows = [
            row for row in zip(*item.cover_curve(), strict=True) if row[0] >= 1e-2 and math.isfinite(row[0])
        ]
        if len(rows) < 2:
            continue
        latest = max(latest, rows[-1][0])
        refs = data.block(
            f"{item.name}, covered",
            [("Time [s]", [row[0] for row in rows]), ("Covered", [row[1] for row in rows])],
        )
        curves.append(Curve(item.name, refs[0], refs[1], *LOOKS[place % len(LOOKS)]))
    points = [item for item in pressed if item.cover_time]
    if points:
        refs = data.block(
            "Coverage reached",
            [
                ("Time [s]", [item.cover_time for item in points]),
                ("Covered", [item.joint.coverage for item in points]),
            ],
        )
        curves.append(Curve("coverage asked for", refs[0], refs[1], None, "diamond", style.DARK))
    met = [item for item in pressed if item.touch_time and item.pattern]
    if met:
        refs = data.block(
            "Beads or dots touch",
            [
                ("Time [s]", [item.touch_time for item in met]),
                ("Covered", [item.coverage_at(item.pattern.touch_gap) for item in met if item.pattern]),
            ],
        )
        curves.append(Curve("beads or dots touch", refs[0], refs[1], None, "square", style.GREY))
    return scatter(
        "Share of the plate covered",
        "time [s]",
        "covered",
        curves,
        x_form="General",
        y_form="0%",
        x_range=(0.01, 10.0 ** math.ceil(math.log10(latest))),
        y_range=(0, 1),
        x_log=True,
    )


def beads_sheet(book: Workbook, data: Data, report: CureReport) -> list[Answer]:
    """Width of the pressed beads on their flanges."""
    beads = report.beads
    page = Page(
        book, "Pressed beads", "Pressed beads: width on the flange", (26, *[12] * 10), under_title(report)
    )
    page.answer(_widest_words(beads), all(item.passes for item in beads))
    _bead_chart(page, data, beads[:MOST_CURVES])
    page.section("Width, squeeze-out, time")
    head = page.row
    rows = []
    for number, item in enumerate(beads):
        row = head + 1 + number
        rows.append(
            [
                item.name,
                shop(item.area, "mm²"),
                shop(item.bead.bond_line, "mm"),
                style.Live(f"=$B{row}/$C{row}"),
                shop(item.width_round, "mm"),
                shop(item.width_low, "mm"),
                shop(item.width_high, "mm"),
                shop(item.bead.flange_width, "mm"),
                shop(item.squeeze_out_high, "mL"),
                item.time_needed,
                "good" if item.passes else "▲ look",
            ]
        )
    first = page.table(
        [
            "Bead",
            "Cross-section [mm²]",
            "Bond line [mm]",
            "Width, square edges [mm]",
            "Width, round edges [mm]",
            "Width, low [mm]",
            "Width, high [mm]",
            "Flange [mm]",
            "Squeeze-out, high [mL]",
            "Closes in [s]",
            "Verdict",
        ],
        rows,
        ("@", "0.00", "0.00", *["0.0"] * 5, "0.00", "0.000", "@"),
        [not item.passes for item in beads],
    )
    for row in range(first, first + len(rows)):
        style.input_cell(page.sheet.cell(row, 3))
        style.result_cell(page.sheet.cell(row, 4))
    notes = [
        beads[0].model,
        "width = cross-section over bond line; low and high by the tolerances of the bead and the meter",
    ]
    notes += [words for item in beads for words in item.notes]
    close_sheet(page, report, notes, warnings_of(finding for item in beads for finding in item.findings))
    return [
        (
            "How wide does the bead get?",
            f"{item.name}: {shop(item.width_low, 'mm'):.1f} to {shop(item.width_high, 'mm'):.1f} mm at "
            f"{shop(item.bead.bond_line, 'mm'):.2f} mm" + _on_flange(item),
            page.sheet.title,
            item.passes,
        )
        for item in beads
    ]


def _widest_words(beads: Sequence[PressedBead]) -> str:
    """The bead that comes nearest to the edge of its flange, or the widest."""

    def spare(item: PressedBead) -> float:
        return (item.bead.flange_width or math.inf) - item.width_high

    item = min(beads, key=lambda each: (spare(each), -each.width_high))
    words = f"{shop(item.width_low, 'mm'):.1f} to {shop(item.width_high, 'mm'):.1f} mm wide"
    return words + _on_flange(item) + (f" ({item.name}, of {len(beads)} beads)" if len(beads) > 1 else "")


def _on_flange(item: PressedBead) -> str:
    width = item.bead.flange_width
    return f" on a flange of {shop(width, 'mm'):.1f} mm" if width else ""


def _bead_chart(page: Page, data: Data, beads: Sequence[PressedBead]) -> None:
    """Width against bond line about the stated one."""
    curves = []
    for place, item in enumerate(beads):
        gaps = np.linspace(0.5, 2.0, 31) * shop(needed(item.bead.bond_line, item.bead.at, "bond line"), "mm")
        refs = data.block(
            f"{item.name}, width", [("Bond line [mm]", gaps), ("Width [mm]", shop(item.area, "mm²") / gaps)]
        )
        curves.append(Curve(item.name, refs[0], refs[1], *LOOKS[place % len(LOOKS)]))
        point = data.block(
            f"{item.name}, stated",
            [("Bond line [mm]", [shop(item.bead.bond_line, "mm")]), ("Width [mm]", [shop(item.width, "mm")])],
        )
        curves.append(Curve(f"{item.bead.bead}, as stated", point[0], point[1], None, "diamond", style.DARK))
        if item.bead.flange_width is not None:
            line = data.block(
                f"{item.name}, flange",
                [
                    ("Bond line [mm]", [float(gaps[0]), float(gaps[-1])]),
                    ("Flange [mm]", [shop(item.bead.flange_width, "mm")] * 2),
                ],
            )
            curves.append(
                Curve(f"flange of {item.bead.bead}", line[0], line[1], "sysDash", "none", style.GREY, 1.0)
            )
    page.charts(
        [
            scatter(
                "Width of the pressed bead",
                "bond line [mm]",
                "width [mm]",
                curves,
                x_form="0.00",
                y_form="0",
                y_range=(0, None),
            )
        ]
    )
