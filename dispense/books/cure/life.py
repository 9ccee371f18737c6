"""Pot life on the day: pot life, open time and purges by the half hour, and a cell to play with."""

from __future__ import annotations

import math

from openpyxl import Workbook

from ...base.clock import hhmm
from ...base.printed import lower_figure
from ...base.units import duration_text
from ...reports.cure import CureReport, shop
from ...reports.day import COLDER, HOTTER, STATED, LifeDay, day_table
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page, is_figure, sentence
from .closing import GAS, Answer, close_sheet, under_title


def life_sheet(book: Workbook, data: Data, report: CureReport, day: LifeDay) -> list[Answer]:
    """Pot life and open time on the day, and what a hot afternoon does."""
    headers, rows = day_table(day)
    widths = [14, 14, *[11.5] * max(8, len(headers) - 2)]
    page = Page(book, "Pot life", "Pot life on the day", widths, under_title(report))
    answers = []
    charts = []
    if day.life is not None:
        page.answer(day.shortest_words)
        if day.hot_afternoon:
            page.text(sentence(day.hot_afternoon))
        page.row += 1
        charts.append(_life_chart(data, day))
        answers.append(("How long does a mixed batch live?", day.life_words, page.sheet.title, True))
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
            f"A limit is {lower_figure(100.0 * day.share)}% of the pot life, at which a mixer that stands "
            f"is purged or changed; counted from {hhmm(day.start)} to {hhmm(day.end)}.",
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
    close_sheet(page, report, notes)
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
