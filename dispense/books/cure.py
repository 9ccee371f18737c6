"""The cure report as a workbook: the answers first, then one sheet for each question.

Formulas that a reader may play with are live and hold their values too; charts are the spreadsheet's
own, told apart by dash and mark. What the charts draw stands on the last sheet. Same report, same
bytes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from ..base.clock import hhmm
from ..base.errors import needed
from ..base.findings import Finding, marked
from ..base.units import duration_text
from ..handbook.life import GAS_CONSTANT
from ..handbook.moisture import moisture_factor
from ..reports.cure import CureReport, LightReport, MoistureReport, moisture_words, shop
from ..reports.day import COLDER, HOTTER, STATED, LifeDay, day_table
from ..reports.pour import CAUTION, PourReport, PourTrace
from ..reports.press import PASTE_RULE, JointReport, PressedBead
from ..reports.runs import CureRun, run_findings
from ..shift.cure_times import cure_basis
from . import style
from .charts import LOOKS, Curve, scatter
from .finish import finished
from .page import Data, Page, is_figure, sentence

__all__ = ["cure_workbook"]

MOST_CURVES = 6  # joints or beads that one chart shows
RUN_POINTS = 120  # of a schedule's curves
GAS = repr(GAS_CONSTANT)


def cure_workbook(report: CureReport, paper: str = "A4") -> bytes:
    """The workbook of a report."""
    book = Workbook()
    book.remove(book.active)
    summary = Page(
        book, "Summary", f"{report.station.station}: {report.material.material}", (30, 92, 18), _under(report)
    )
    data = Data(book)
    answers: list[tuple[str, str, str, bool]] = []
    if report.day is not None:
        answers += _life_sheet(book, data, report, report.day)
    for run in report.runs:
        answers.append(_run_sheet(book, data, report, run))
    for pour in report.pours:
        answers.append(_pour_sheet(book, data, report, pour))
    if report.moisture is not None:
        answers += _moisture_sheet(book, data, report, report.moisture)
    if report.light is not None:
        answers.append(_light_sheet(book, data, report, report.light))
    if report.joints:
        answers += _joints_sheet(book, data, report)
    if report.beads:
        answers += _beads_sheet(book, data, report)
    if report.windows:
        answers.append(_windows_sheet(book, report))
    _summary(summary, report, answers)
    data.close()
    book.move_sheet(data.sheet, len(book.worksheets))
    if data.column == 1:
        book.remove(data.sheet)
    return finished(book, "cure.xlsx", paper)


def _under(report: CureReport) -> str:
    settings = report.plan.settings
    parts = [
        report.material.description,
        settings.get("plant", ""),
        settings.get("line", ""),
        f"temperatures: {report.record}",
    ]
    return " · ".join(part for part in parts if part)


def _summary(page: Page, report: CureReport, answers) -> None:
    wrong = [name for _, _, name, good in answers if not good]
    if wrong:
        page.answer(
            f"{len(wrong)} of {len(answers)} answers calls for action: {wrong[0]}"
            if len(wrong) == 1
            else f"{len(wrong)} of {len(answers)} answers call for action",
            False,
        )
    elif answers:
        page.answer("Every answer keeps its limits" + ("; read the warnings" if report.warnings else ""))
    page.section("Answers")
    rows = [[question, answer, sheet] for question, answer, sheet, _ in answers]
    if not rows:
        page.text("The data sheet states nothing that a cure report could be made of.")
    else:
        first = page.table(
            ["Question", "Answer", "Sheet"], rows, ("@", "@", "@"), [not good for *_, good in answers]
        )
        for place, (_, _, name, _) in enumerate(answers):
            cell = page.sheet.cell(first + place, 3)
            cell.hyperlink = f"#'{name}'!A1"
            cell.font = style.LINK
            answer = page.sheet.cell(first + place, 2)
            if not answers[place][3]:
                style.warning_cell(answer)
    page.texts("Warnings", _marked(report.findings), warning=True)
    page.texts("Notes", report.notes)
    page.section("Cautions")
    page.text(report.cautions, warning=True)
    page.close()


def _marked(findings: Iterable[Finding]) -> list[str]:
    """Warnings with the word of their kind; notes left out."""
    return [marked(finding) for finding in findings if finding.is_warning]


def _end(
    page: Page,
    report: CureReport,
    notes: Sequence[str] = (),
    warnings: Sequence[str] = (),
    caution: str = "",
    *,
    header_row: int = 0,
) -> None:
    """What closes each sheet: warnings, notes, cautions, print set-up."""
    page.texts("Warnings", warnings, warning=True)
    page.texts("Notes", notes)
    page.section("Cautions")
    page.text(" ".join(part for part in (sentence(caution), report.cautions) if part), warning=True)
    page.close(header_row=header_row)


# ------------------------------------------------------------------------------------ working life


def _life_sheet(book, data: Data, report: CureReport, day: LifeDay) -> list[tuple]:
    headers, rows = day_table(day)
    widths = [14, 14, *[11.5] * max(8, len(headers) - 2)]
    page = Page(book, "Working life", "Working life on the day", widths, _under(report))
    answers = []
    charts = []
    if day.life is not None:
        page.answer(day.shortest_words)
        if day.hot_afternoon:
            page.text(sentence(day.hot_afternoon))
        page.row += 1
        charts.append(_life_chart(data, day))
        answers.append(
            ("How long does a mixed batch live?", sentence(day.hot_afternoon), page.sheet.title, True)
        )
    charts.append(_clock_chart(data, day))
    page.charts(charts)
    if day.life is not None:
        _life_play(page, day)
    if day.comparisons:
        page.section("What a hot afternoon does")
        page.table(
            ["Case", "Temperature [°C]", "Life [min]", "Limits reached in the day"],
            [
                [item.name, shop(item.temperature, "°C"), shop(item.life, "min"), item.limits]
                for item in day.comparisons
            ],
            ("@", "0.0", "0.0", "0.0"),
        )
        page.text(
            f"A limit is {day.share:.0%} of the pot life, at which a mixer that stands is purged "
            f"or changed; counted from {hhmm(day.start)} to {hhmm(day.end)}.",
            style.NOTE,
        )
        page.row += 1
    page.turn()
    page.section("Half hour by half hour")
    forms = [
        "@" if not any(is_figure(row[place]) for row in rows) else "0.0" for place in range(len(headers))
    ]
    page.table([sentence(header)[:-1] for header in headers], rows, forms)
    notes = [words for words in report.notes if words.startswith("pot life")]
    mates = [row.mate_before - row.clock for row in day.rows if row.mate_before is not None]
    if mates:
        answers.append(
            (
                "How long after dispensing may parts be mated?",
                f"{duration_text(min(mates))} in the hottest half hour, "
                f"{duration_text(max(mates))} in the coolest",
                page.sheet.title,
                True,
            )
        )
        if day.life is None:
            page.answer(
                f"Mate within {duration_text(min(mates))} in the hottest half hour, within "
                f"{duration_text(max(mates))} in the coolest"
            )
    _end(page, report, notes)
    return answers


def _life_chart(data: Data, day: LifeDay):
    """Pot life against temperature: stated points, the part between them, and what is extrapolated."""
    curves = []
    looks = {
        STATED: ("solid", style.ACCENT),
        COLDER: ("sysDash", style.GREY),
        HOTTER: ("sysDash", style.GREY),
    }
    names = {
        STATED: "between data-sheet points",
        COLDER: "extrapolated, colder",
        HOTTER: "extrapolated, hotter",
    }
    for kind in (STATED, COLDER, HOTTER):
        rows = [(temperature, time) for temperature, time, sort in day.curve if sort == kind]
        if len(rows) < 2:
            continue
        x, y = data.block(
            f"Pot life, {names[kind]}",
            [
                ("Temperature [°C]", [shop(row[0], "°C") for row in rows]),
                ("Pot life [min]", [shop(row[1], "min") for row in rows]),
            ],
        )
        dash, ink = looks[kind]
        curves.append(Curve(names[kind], x, y, dash, "none", ink))
    x, y = data.block(
        "Pot life, stated",
        [
            ("Temperature [°C]", [shop(row[0], "°C") for row in day.points]),
            ("Pot life [min]", [shop(row[1], "min") for row in day.points]),
        ],
    )
    curves.append(Curve("data sheet", x, y, None, "diamond", style.DARK))
    inside = [shop(row[0], "°C") for row in day.curve]
    return scatter(
        "Pot life against temperature",
        "temperature [°C]",
        "pot life [min]",
        curves,
        x_form="0",
        y_form="0",
        x_range=(math.floor(min(inside)), math.ceil(max(inside))),
        y_range=(0, None),
    )


def _clock_chart(data: Data, day: LifeDay):
    """Life and open time through the day, against the hour."""
    hours = [row.clock / 3600.0 for row in day.rows]
    columns: list[tuple[str, list]] = [("Hour of the day [h]", hours)]
    names = []
    for name, values in (
        ("life of a batch mixed then", [shop(row.life, "min") for row in day.rows]),
        (
            "time to mate",
            [None if row.mate_before is None else (row.mate_before - row.clock) / 60.0 for row in day.rows],
        ),
        (
            "time to purge",
            [None if row.purge_at is None else (row.purge_at - row.clock) / 60.0 for row in day.rows],
        ),
    ):
        if any(value is not None for value in values):
            columns.append((f"{sentence(name)[:-1]} [min]", values))
            names.append(name)
    y_title = "time [min]"
    if not names:
        columns.append(("Temperature [°C]", [shop(row.temperature, "°C") for row in day.rows]))
        names, y_title = ["shop temperature"], "temperature [°C]"
    refs = data.block("Through the day", columns)
    curves = [
        Curve(name, refs[0], ref, *LOOKS[place])
        for place, (name, ref) in enumerate(zip(names, refs[1:], strict=True))
    ]
    return scatter(
        "Through the day",
        "hour of the day [h]",
        y_title,
        curves,
        x_form="0",
        y_form="0",
        x_range=(math.floor(hours[0]), math.ceil(hours[-1])),
        y_range=(0, None),
        x_step=2,
    )


def _life_play(page: Page, day: LifeDay) -> None:
    """A cell for a temperature of one's own."""
    page.section("At a temperature of your own")
    life = day.life
    if life is None:
        return
    rows: list[tuple] = [
        ("Stated pot life", shop(life.life, "min"), "min", "0.0", False),
        ("At", shop(life.temperature, "°C"), "°C", "0.0", False),
    ]
    if life.energy is None:
        rows.append(("A rise that halves it", life.halving_step, "K", "0.0", False))
    else:
        rows.append(("Activation energy", shop(life.energy, "kJ/mol"), "kJ/mol", "0.00", False))
    start = page.row
    rows.append(("Your temperature", round(shop(max(day.temperatures), "°C"), 1), "°C", "0.0", True))
    stated, at, rate, yours = (f"$C${start + place}" for place in range(4))
    formula = (
        f"={stated}*2^(({at}-{yours})/{rate})"
        if life.energy is None
        else f"={stated}*EXP({rate}*1000/{GAS}*(1/({yours}+273.15)-1/({at}+273.15)))"
    )
    rows.append(("Pot life there", style.Live(formula), "min", "0.0", False))
    page.figures(rows)


# --------------------------------------------------------------------------------------- schedules


def _thin(values: np.ndarray, count: int = RUN_POINTS) -> np.ndarray:
    """Places of some points, first and last among them."""
    return np.unique(np.linspace(0, len(values) - 1, min(count, len(values))).round().astype(int))


def _run_sheet(book, data: Data, report: CureReport, run: CureRun) -> tuple:
    name = {"oven": "Oven", "log": "Oven log", "room": "Room cure"}[run.kind]
    page = Page(book, name, f"Schedule: {run.name}", (18, 11, *[11.5] * 10), _under(report))
    in_hours = run.dwell > 6.0 * 3600.0
    unit, factor = ("h", 3600.0) if in_hours else ("min", 60.0)
    verdict = "every place passes" if run.passes else "not every place passes"
    page.answer(_run_headline(run), run.passes)
    page.text(sentence(f"{verdict}; {_run_words(run)}" if _run_words(run) else verdict))
    page.row += 1
    charts = []
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
            Curve(place.name, refs[0], ref, *LOOKS[(number + 1) % len(LOOKS)])
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
                )
            ]
        )
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
    _end(
        page,
        report,
        [*run.notes, f"equivalent time by the {run.energy_basis}"],
        _marked(run_findings(report.station, report.material, run)),
    )
    question = {
        "oven": "Does the oven cure it?",
        "log": "Did the oven cure it?",
        "room": "When is it cured in the room?",
    }[run.kind]
    return question, sentence(f"{run.name}: {_run_answer(run)}"), page.sheet.title, run.passes


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


# ----------------------------------------------------------------------------------------- exotherm


def _pour_sheet(book, data: Data, report: CureReport, pour: PourReport) -> tuple:
    page = Page(book, "Exotherm", f"Exotherm: {pour.name}", (20, 14, *[12] * 9), _under(report))
    planned = pour.shots_trace or pour.trace
    limit = "" if pour.limit is None else f", limit {shop(pour.limit, '°C'):.0f} °C"
    how = f"in {len(pour.shots)} shots" if pour.shots else "in one shot"
    good = pour.limit is None or pour.planned_peak <= pour.limit
    answer = f"{shop(pour.planned_peak, '°C'):.1f} °C {how}{limit}; deepest safe pour: {pour.safe_words}"
    page.answer(answer, good)
    heading = "As planned, " + how
    page.charts(
        [_pour_time_chart(data, pour, planned, heading), _pour_depth_chart(data, pour, planned, heading)]
    )
    second = [_pour_degree_chart(data, pour)]
    if pour.shots_trace is not None:
        second.insert(0, _pour_time_chart(data, pour, pour.trace, "For comparison, in one shot"))
    page.charts(second)
    _pour_figures(page, pour)
    _end(page, report, pour.notes, _marked(pour.findings), CAUTION)
    return "How hot does the pour get?", sentence(f"{pour.name}: {answer}"), page.sheet.title, good


def _pour_time_chart(data: Data, pour: PourReport, trace: PourTrace, title: str):
    minutes = trace.times / 60.0
    refs = data.block(
        f"{pour.name}, {title}",
        [
            ("Time [min]", minutes),
            *(
                (f"{name} [°C]", [shop(value, "°C") for value in values])
                for name, values in (("Base", trace.base), ("Middle", trace.middle), ("Free face", trace.top))
            ),
        ],
    )
    curves = [
        Curve(name, refs[0], ref, *LOOKS[place])
        for place, (name, ref) in enumerate(zip(("base", "middle", "free face"), refs[1:], strict=True))
    ]
    if pour.limit is not None:
        line = data.block(
            "Limit", [("Time [min]", [0.0, float(minutes[-1])]), ("Limit [°C]", [shop(pour.limit, "°C")] * 2)]
        )
        curves.append(Curve("cell limit", line[0], line[1], "lgDashDotDot", "none", style.DARK, 1.0))
    return scatter(
        f"{title}: temperature against time",
        "time since the first shot [min]",
        "temperature [°C]",
        curves,
        x_form="0",
        y_form="0",
        x_range=(0, math.ceil(float(minutes[-1]))),
    )


def _pour_depth_chart(data: Data, pour: PourReport, trace: PourTrace, title: str):
    refs = data.block(
        f"{pour.name}, through the depth",
        [
            ("Height above the base [mm]", [shop(value, "mm") for value in trace.heights]),
            *(
                (f"At {time / 60:.0f} min [°C]", [shop(value, "°C") for value in profile])
                for time, profile in zip(trace.profile_times, trace.profiles, strict=True)
            ),
        ],
    )
    curves = [
        Curve(f"at {time / 60:.0f} min", ref, refs[0], *LOOKS[place % len(LOOKS)])
        for place, (time, ref) in enumerate(zip(trace.profile_times, refs[1:], strict=True))
    ]
    return scatter(
        f"{title}: through the depth",
        "temperature [°C]",
        "height above the base [mm]",
        curves,
        x_form="0",
        y_form="0",
        y_range=(0, shop(pour.depth, "mm")),
    )


def _pour_degree_chart(data: Data, pour: PourReport):
    curves = []
    for place, (name, trace) in enumerate(
        (("in one shot", pour.trace), ("as planned, in shots", pour.shots_trace))
    ):
        if trace is not None:
            refs = data.block(
                f"{pour.name}, degree {name}",
                [("Time [min]", trace.times / 60.0), ("Mean degree of cure", trace.degree)],
            )
            curves.append(Curve(name, refs[0], refs[1], *LOOKS[place]))
    last = max(float((trace or pour.trace).times[-1]) for trace in (pour.trace, pour.shots_trace)) / 60.0
    return scatter(
        "Mean degree of cure of what is poured",
        "time since the first shot [min]",
        "degree of cure",
        curves,
        x_form="0",
        y_form="0.0",
        x_range=(0, math.ceil(last)),
        y_range=(0, 1),
    )


def _pour_figures(page: Page, pour: PourReport) -> None:
    page.section("Figures")
    rows: list[tuple] = [
        ("Depth", shop(pour.depth, "mm"), "mm", "0.0", False),
        ("Poured at, and surroundings", shop(pour.start, "°C"), "°C", "0.0", False),
        ("Peak in one shot", shop(pour.peak, "°C"), "°C", "0.0", False),
        ("Time of that peak", shop(pour.peak_time, "min"), "min", "0", False),
        ("Height of that peak above the base", shop(pour.peak_height, "mm"), "mm", "0.0", False),
    ]
    if pour.shots:
        shots = ", then ".join(
            f"{shop(depth, 'mm'):.1f} mm" + (f" after {duration_text(wait)}" if wait else "")
            for _, depth, wait in pour.shots
        )
        rows += [
            ("Shots", shots, "", "@", False),
            ("Peak in these shots", shop(pour.shots_peak, "°C"), "°C", "0.0", False),
            ("Time of that peak", shop(pour.shots_time, "min"), "min", "0", False),
        ]
    if pour.cells_peak is not None:
        rows.append(
            (
                f"Peak with the cells ({pour.cell_share:.0%} of the volume) as heat sinks",
                shop(pour.cells_peak, "°C"),
                "°C",
                "0.0",
                False,
            )
        )
    rows += [
        ("Without loss of heat", shop(pour.adiabatic, "°C"), "°C", "0.0", False),
        ("Limit of the cells", shop(pour.limit, "°C"), "°C", "0.0", False),
        ("Deepest safe pour", pour.safe_words, "", "@", False),
    ]
    if pour.runaway is not None:
        rows += [
            ("Runaway criterion δ", pour.runaway.delta, "", "0.00", False),
            ("Critical δ of a slab", pour.runaway.critical, "", "0.00", False),
            ("Depth at which it is critical", shop(pour.runaway.half_thickness, "mm"), "mm", "0.0", False),
            ("Adiabatic time to the maximum rate", shop(pour.maximum_rate, "min"), "min", "0", False),
        ]
    page.figures(rows)


# -------------------------------------------------------------------------------- moisture and light


def _moisture_sheet(book, data: Data, report: CureReport, moisture: MoistureReport) -> list[tuple]:
    page = Page(
        book,
        "Moisture cure",
        "Moisture cure: depth against time and humidity",
        (24, 11, *[11.5] * 8),
        _under(report),
    )
    count = len(moisture.humidities)
    hours = np.linspace(0.0, moisture.hours[-1], 60)
    scale = moisture_factor(
        moisture.temperature,
        np.array(moisture.humidities),
        moisture.stated_temperature,
        moisture.stated_humidity,
        moisture.energy or 0.0,
    )
    depths = shop(moisture.coefficient, "mm/√h") * np.sqrt(hours)[:, None] * scale
    refs = data.block(
        "Moisture cure",
        [
            ("Time [h]", hours),
            *(
                (f"Depth at {humidity:.0%} [mm]", depths[:, place])
                for place, humidity in enumerate(moisture.humidities)
            ),
        ],
    )
    curves = [
        Curve(f"{humidity:.0%} relative humidity", refs[0], refs[place + 1], *LOOKS[place % len(LOOKS)])
        for place, humidity in enumerate(moisture.humidities)
    ]
    page.charts(
        [
            scatter(
                "Depth cured from the free face",
                "time [h]",
                "depth [mm]",
                curves,
                x_form="0",
                y_form="0",
                x_range=(0, 168),
                y_range=(0, None),
                x_step=24,
            )
        ]
    )
    if moisture.needed:
        last = max(moisture.needed, key=lambda need: need.time)
        which = f" ({last.name}, the last of {len(moisture.needed)})" if len(moisture.needed) > 1 else ""
        page.answer(moisture_words(last) + which, math.isfinite(last.time))
    page.section("Coefficient")
    cells = page.figures(
        [
            ("Coefficient", shop(moisture.coefficient, "mm/√h"), "mm/√h", "0.000", True),
            ("Relative humidity it was measured at", moisture.stated_humidity, "", "0%", True),
            ("Temperature it was measured at", shop(moisture.stated_temperature, "°C"), "°C", "0.0", True),
            ("Activation energy", shop(moisture.energy or 0.0, "kJ/mol"), "kJ/mol", "0.0", True),
            ("Temperature of the air", shop(moisture.temperature, "°C"), "°C", "0.0", True),
        ]
    )
    k, stated = cells["Coefficient"], cells["Relative humidity it was measured at"]
    at, air = cells["Temperature it was measured at"], cells["Temperature of the air"]
    warmth = (
        f"SQRT(EXP(17.62*{air}/(243.12+{air})-17.62*{at}/(243.12+{at}))*({at}+273.15)/({air}+273.15)"
        f"*EXP({cells['Activation energy']}*1000/{GAS}*(1/({at}+273.15)-1/({air}+273.15))))"
    )
    factor = page.figures(
        [("Coefficient there, at the stated humidity", style.Live(f"={k}*{warmth}"), "mm/√h", "0.000", False)]
    )
    k = factor["Coefficient there, at the stated humidity"]
    page.section("Depth [mm] after a time, at a relative humidity")
    head = page.row
    for place, humidity in enumerate(moisture.humidities):
        style.put(page.sheet.cell(head, place + 2), humidity)
    rows = [
        [
            hour,
            *(
                style.Live(
                    f"={k}*SQRT($A{head + 1 + number})*SQRT({get_column_letter(place + 2)}${head}/{stated})"
                )
                for place in range(count)
            ),
        ]
        for number, hour in enumerate(moisture.hours)
    ]
    page.table(["Time [h]", *("" for _ in range(count))], rows, ("0", *["0.0"] * count))
    for place, humidity in enumerate(moisture.humidities):
        cell = page.sheet.cell(head, place + 2)
        cell.value, cell.number_format = humidity, "0%"
        style.header(cell, right=True)
    page.section("What this station puts on, dispensed at the slowest of the shift hours")
    page.table(
        [
            "Bead, pot or joint",
            "Depth to cure [mm]",
            "Dispensed",
            "Depth cured [h]",
            "Data sheet [h]",
            "Full cure [h]",
        ],
        [
            [
                need.name,
                shop(need.depth, "mm"),
                hhmm(need.start),
                _hours(need.depth_time),
                _hours(need.stated_time),
                _hours(need.time),
            ]
            for need in moisture.needed
        ],
        ("@", "0.0", "@", "0.0", "0.0", "0.0"),
    )
    _end(
        page,
        report,
        [
            "the depth grows as the root of time and of the water in the air, from a free face, "
            "along the temperature and humidity of the day; J. Comyn, Int. J. Adhesion & "
            "Adhesives 18 (1998) 247–253 (equation from memory)",
            "a closed flange is reached from both edges: half its width counts",
            "full cure is the later of the depth and the time of the data sheet",
            cure_basis(report.material, report.temperatures),
        ],
    )
    return [
        (
            "When has moisture cured it?",
            f"{need.name}: {moisture_words(need)}",
            page.sheet.title,
            math.isfinite(need.time),
        )
        for need in moisture.needed
    ]


def _hours(seconds: float | None) -> float | None:
    return seconds / 3600.0 if seconds is not None and math.isfinite(seconds) else None


def _light_sheet(book, data: Data, report: CureReport, light: LightReport) -> tuple:
    page = Page(
        book,
        "Light cure",
        "Light cure: time and belt speed for the dose",
        (24, 14, *[14] * 6),
        _under(report),
    )
    answer = (
        f"{shop(light.dose, 'J/cm²'):g} J/cm²: {light.times[1]:.0f} s at "
        f"{shop(light.irradiances[1], 'mW/cm²'):.0f} mW/cm²; measure the irradiance"
    )
    page.answer(answer)
    page.section("Dose")
    cells = page.figures(
        [("Dose", shop(light.dose, "J/cm²"), "J/cm²", "0.00", True), ("Takt", light.takt, "s", "0", False)]
    )
    grid = np.geomspace(30.0, 3000.0, 50)
    refs = data.block(
        "Light cure",
        [("Irradiance [mW/cm²]", grid), ("Time [s]", shop(light.dose, "J/cm²") / (grid / 1000.0))],
    )
    curves = [Curve("time for the dose", refs[0], refs[1], *LOOKS[0])]
    if light.takt is not None and light.takt < shop(light.dose, "J/cm²") / 0.03:
        line = data.block("Takt", [("Irradiance [mW/cm²]", [30.0, 3000.0]), ("Takt [s]", [light.takt] * 2)])
        curves.append(Curve("takt", line[0], line[1], "sysDash", "none", style.GREY, 1.0))
    page.charts(
        [
            scatter(
                "Time under the lamp",
                "irradiance at the part [mW/cm²]",
                "time [s]",
                curves,
                x_form="0",
                y_form="0",
                x_range=(10, 10000),
                y_range=(0, None),
                x_log=True,
            )
        ]
    )
    page.section("Time, and belt speed under a lit length")
    dose, head = cells["Dose"], page.row
    rows = [
        [
            shop(value, "mW/cm²"),
            style.Live(f"={dose}/($A{head + 1 + number}/1000)"),
            *(
                style.Live(f"=$A{head + 1 + number}/1000*{shop(length, 'mm'):g}/1000/{dose}*60")
                for length in light.windows
            ),
        ]
        for number, value in enumerate(light.irradiances)
    ]
    page.table(
        [
            "Irradiance at the part [mW/cm²]",
            "Time [s]",
            *(f"Belt, {shop(value, 'mm'):.0f} mm lit [m/min]" for value in light.windows),
        ],
        rows,
        ("0", "0.0", *["0.00"] * len(light.windows)),
    )
    _end(
        page,
        report,
        [
            "dose = irradiance × time; a lamp ages, glass and distance take light: measure "
            "the irradiance at the part with a radiometer for the lamp's band",
            "shadows are not reached by light: give them another way to cure",
        ],
    )
    return "How long under the lamp?", answer, page.sheet.title, True


# ------------------------------------------------------------------------------------ pressed joints


def _joints_sheet(book, data: Data, report: CureReport) -> list[tuple]:
    joints = report.joints
    page = Page(
        book,
        "Pressed joints",
        "Pressed joints: from paste pattern to bond line",
        (27, *[12] * 13),
        _under(report),
    )
    good = sum(joint.passes for joint in joints)
    slowest = max((joint.time_needed or 0.0 for joint in joints), default=0.0)
    page.answer(
        f"{good} of {len(joints)} joints reach their bond line"
        + (f", the slowest in {slowest:.1f} s" if slowest else ""),
        good == len(joints),
    )
    pressed = [joint for joint in joints if joint.press is not None][:MOST_CURVES]
    if pressed:
        page.charts([_gap_chart(data, pressed)])
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
    known = [item for item in joints if item.resistance is not None]
    if known:
        _resistance_table(page, known)
    notes = [
        joints[0].model,
        "low and high over the plate are the gap tolerance about the gap reached",
        f"filled paste: {PASTE_RULE}",
    ]
    notes += [words for item in joints for words in item.notes]
    _end(page, report, notes, _marked(finding for item in joints for finding in item.findings))
    answers = []
    for item in joints:
        words = f"{shop(item.gap_low, 'mm'):.2f} to {shop(item.gap_high, 'mm'):.2f} mm"
        if item.time_needed is not None:
            words += f", needs {item.time_needed:.1f} s"
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
                shop(item.area, "mm²"),
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
            "Plate [mm²]",
            "Paste [mL]",
            "Resistance [K/W]",
            "Low [K/W]",
            "High [K/W]",
            "Worst case [K/W]",
            "Limit [K/W]",
            "Verdict",
            "Matters most",
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


def _beads_sheet(book, data: Data, report: CureReport) -> list[tuple]:
    beads = report.beads
    page = Page(book, "Pressed beads", "Pressed beads: width on the flange", (26, *[12] * 10), _under(report))
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
    _end(page, report, notes, _marked(finding for item in beads for finding in item.findings))
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


# ------------------------------------------------------------------------------------- latest times


def _windows_sheet(book, report: CureReport) -> tuple:
    page = Page(
        book,
        "Latest times",
        "Latest clock times of surfaces and open parts",
        (14, 12, 12, 16, 82),
        _under(report),
    )
    late = [window for *_, window in report.windows if window.is_late]
    date, _, first = next((row for row in report.windows if row[2].is_late), report.windows[0])
    when = f"{hhmm(first.clock, date)} of {date.isoformat()}"
    page.answer(
        f"{len(late)} groups of parts come too late, the first at {when}"
        if late
        else f"None comes too late; the first by {when}",
        not late,
    )
    page.text("The shifts of the first day; of other days the parts that come too late.", style.NOTE)
    page.row += 1
    header_row = page.row
    page.table(
        ["Date", "Shift", "Latest", "Window", "What"],
        [
            [
                date.isoformat(),
                shift,
                hhmm(window.clock, date),
                window.kind,
                ("▲ " if window.is_late else "") + window.text,
            ]
            for date, shift, window in report.windows
        ],
        ("@",) * 5,
        [window.is_late for *_, window in report.windows],
    )
    material = report.material
    notes = []
    if material.surface_window is not None:
        notes.append(
            f"surface treatment ({material.surface_treatment or 'not named'}) keeps "
            f"{duration_text(material.surface_window)}, from treatment to dispensing; it runs on "
            "through a break"
        )
    if material.open_time is not None:
        notes.append(
            f"open time {duration_text(material.open_time)} at "
            f"{shop(material.pot_life_temperature, '°C'):.0f} °C, from dispensing to mating, "
            "shorter when it is hotter"
        )
    _end(page, report, notes, header_row=header_row)
    answer = (
        f"{len(late)} groups of parts come too late; first: {late[0].text}"
        if late
        else f"none comes too late; first: {report.windows[0][2].text}"
    )
    return "Do surfaces and open parts keep over the breaks?", answer, page.sheet.title, not late
