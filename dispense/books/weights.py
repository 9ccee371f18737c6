"""Shot weights as a workbook: what to do, run chart, EWMA, CUSUM, what the weights follow."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from openpyxl import Workbook

from ..base.printed import counted
from ..journal.weights import CUSUM_DECISION, Weights, slope_reach, slope_unit, source_words, weights_findings
from . import style
from .charts import Curve, scatter
from .finish import finished
from .page import Data, Page

__all__ = ["weights_workbook"]

_DEVIATION = "deviation from target [%]"
_NUMBER = "weight no."
_CHANCE = '[<0.0001]"< 0.0001";0.0000'  # a probability is never nought


def weights_workbook(series: Sequence[Weights], notes: Sequence[str], paper: str = "A4") -> bytes:
    """The workbook of all series, `notes` those that hold for each; the same weights give the same bytes."""
    book = Workbook()
    book.remove(book.active)
    data = Data(book)
    for item in series:
        _page(book, data, item, [*item.notes, *notes])
    if not series:
        page = Page(book, "Weights", "Shot weights", (26, 14, 14))
        page.text("No weights are booked.")
        page.close()
    data.close()
    # the pages first, what the charts draw last
    book.move_sheet(data.sheet, len(book.worksheets) - 1)
    return finished(book, "weights.xlsx", paper)


def _page(book: Workbook, data: Data, item: Weights, notes: Sequence[str]) -> None:
    count = len(item.weights)
    page = Page(
        book,
        item.station,
        f"Shot weights of {item.station}, {item.what}",
        (7, 21, *[11] * 8, 34),
        counted(count, "weight"),
    )
    page.answer(item.sentence, item.action in ("nothing", "weigh"))
    page.texts("Findings", [str(each) for each in weights_findings(item) if each.is_warning], warning=True)
    charts = item.charts
    if charts:
        page.charts([_run_chart(data, item), _ewma_chart(data, item)])
        page.charts([_cusum_chart(data, item), _range_chart(data, item)])
    _figures(page, item)
    if item.effects:
        page.section("What the weights follow")
        page.table(
            [
                "Rank",
                "Follows",
                "Slope",
                "± 95 %",
                "Unit",
                "Range [%]",
                "Share",
                "By chance",
                "Beside others",
                "From",
                "Not told apart from",
            ],
            [
                [
                    place,
                    each.name,
                    each.slope,
                    slope_reach(item, each),
                    slope_unit(each) if each.slope is not None else "",
                    each.span,
                    each.share,
                    each.probability,
                    each.beside if each.beside == each.beside else None,
                    source_words(item, each),
                    ", ".join(each.like),
                ]
                for place, each in enumerate(item.effects, 1)
            ],
            ("0", "@", "0.000", "0.000", "@", "0.00", "0%", _CHANCE, _CHANCE, "@", "@"),
        )
        page.text(
            "Share: what of the squares it explains alone. By chance: how often an effect as large is seen "
            "where there is none; beside others: the same with all others in the model, blank where they "
            "leave nothing of it. ± is half of the 95 % interval. From: booked, or planned where "
            "nothing was booked.",
            style.NOTE,
        )
        page.row += 1
    page.section("Weights")
    page.table(
        [
            "No.",
            "Time",
            "Weighed [g]",
            "Target [g]",
            "Low [g]",
            "High [g]",
            "Deviation [%]",
            "EWMA [%]",
            "Shots",
            "By",
            "Cell",
        ],
        [
            [
                place,
                each.moment,
                each.grams,
                each.target,
                each.low,
                each.high,
                each.deviation,
                float(charts["ewma"][place - 1, 1]) if charts else None,
                each.count,
                each.entry.by,
                each.entry.cell,
            ]
            for place, each in enumerate(item.weights, 1)
        ],
        ("0", "yyyy-mm-dd hh:mm", *["0.000"] * 4, "0.00", "0.00", "0", "@", "@"),
        [place in item.outside for place in range(1, count + 1)],
    )
    page.texts("Notes", notes)
    page.close()


def _figures(page: Page, item: Weights) -> None:
    """Figures of the series; blank ones are told as not known."""
    rows: list[tuple[Any, ...]] = []
    if len(item.weights) > 1:
        rows += [
            ("Mean deviation", float(item.deviations.mean()), "%", "0.00", False),
            ("From one weight to the next (moving range)", item.sd, "%", "0.00", False),
        ]
    if item.level is not None:
        rows += [
            ("Level of the last run", item.level.mean, "%", "0.00", False),
            ("Standard error of that level", item.level.error, "%", "0.00", False),
            ("Last run since weight no.", item.level.since, "", "0", False),
            ("By chance", item.level.probability, "", _CHANCE, False),
        ]
    for name, value in zip(
        ("Cp", "Cpk", "Cp, low end of 95 %", "Cp, high end", "Cpk, low end of 95 %", "Cpk, high end"),
        item.capability,
        strict=False,
    ):
        rows.append((name, value, "", "0.00", False))
    if item.ratio is not None:
        rows += [
            ("A alone, from the plan", item.ratio.a[0], "%", "0.00", False),
            ("B alone, from the plan", item.ratio.b[0], "%", "0.00", False),
            ("B per A by mass, from the plan", item.ratio.ratio[0], "%", "0.00", False),
        ]
    if rows:
        page.section("Figures")
        page.figures(rows)


def _numbers(item: Weights) -> list[int]:
    return list(range(1, len(item.weights) + 1))


def _flat(value: float, count: int) -> list[float]:
    return [value] * count


def _run_chart(data: Data, item: Weights) -> Any:
    """Each weight with the control limits, and the limits of the shot."""
    count = len(item.weights)
    low, centre, high = (float(each) for each in item.charts["individuals"][0])
    limits = item.limits
    columns: list[tuple[str, Any]] = [
        ("Weight", _numbers(item)),
        ("Deviation [%]", item.deviations),
        ("Mean", _flat(centre, count)),
        ("Low control limit", _flat(low, count)),
        ("High control limit", _flat(high, count)),
    ]
    if limits is not None:
        columns += [("Low limit", _flat(limits[0], count)), ("High limit", _flat(limits[1], count))]
    refs = data.block(f"Run chart, {item.station}", columns, "0.000")
    curves = [
        Curve("weighed", refs[0], refs[1], "solid", "circle", style.DARK, 1.0),
        Curve("mean", refs[0], refs[2], "solid", "none", style.GREY),
        Curve("control limits", refs[0], refs[3], "dash", "none", style.ACCENT),
        Curve("control limit, high", refs[0], refs[4], "dash", "none", style.ACCENT),
    ]
    if limits is not None:
        curves += [
            Curve("limits of the shot", refs[0], refs[5], "lgDashDot", "none", style.DARK),
            Curve("limit of the shot, high", refs[0], refs[6], "lgDashDot", "none", style.DARK),
        ]
    return scatter("Run chart", _NUMBER, _DEVIATION, curves, x_form="0", y_form="0.0", x_range=(1, count))


def _ewma_chart(data: Data, item: Weights) -> Any:
    chart = item.charts["ewma"]
    refs = data.block(
        f"EWMA, {item.station}",
        [("Weight", _numbers(item)), ("EWMA [%]", chart[:, 1]), ("Low", chart[:, 0]), ("High", chart[:, 2])],
        "0.000",
    )
    curves = [
        Curve("weighted mean", refs[0], refs[1], "solid", "circle", style.DARK, 1.0),
        Curve("low limit", refs[0], refs[2], "dash", "none", style.ACCENT),
        Curve("high limit", refs[0], refs[3], "lgDash", "none", style.ACCENT),
    ]
    return scatter(
        "EWMA about the target",
        _NUMBER,
        _DEVIATION,
        curves,
        x_form="0",
        y_form="0.0",
        x_range=(1, len(chart)),
    )


def _cusum_chart(data: Data, item: Weights) -> Any:
    chart = item.charts["cusum"]
    count = len(chart)
    refs = data.block(
        f"CUSUM, {item.station}",
        [
            ("Weight", _numbers(item)),
            ("Sum above", chart[:, 0]),
            ("Sum below", chart[:, 1]),
            ("Signal", _flat(CUSUM_DECISION * item.sd, count)),
        ],
        "0.000",
    )
    curves = [
        Curve("sum above target", refs[0], refs[1], "solid", "none", style.DARK),
        Curve("sum below target", refs[0], refs[2], "sysDot", "none", style.DARK),
        Curve("signal", refs[0], refs[3], "dash", "none", style.ACCENT),
    ]
    return scatter(
        "CUSUM about the target", _NUMBER, "sum [%]", curves, x_form="0", y_form="0.0", x_range=(1, count)
    )


def _range_chart(data: Data, item: Weights) -> Any:
    ranges = np.abs(np.diff(item.deviations))
    _, mean, most = (float(each) for each in item.charts["individuals"][1])
    count = len(ranges)
    refs = data.block(
        f"Moving range, {item.station}",
        [
            ("Weight", list(range(2, count + 2))),
            ("Range [%]", ranges),
            ("Mean", _flat(mean, count)),
            ("Limit", _flat(most, count)),
        ],
        "0.000",
    )
    curves = [
        Curve("moving range", refs[0], refs[1], "solid", "circle", style.DARK, 1.0),
        Curve("mean", refs[0], refs[2], "solid", "none", style.GREY),
        Curve("limit", refs[0], refs[3], "dash", "none", style.ACCENT),
    ]
    return scatter(
        "Moving range", _NUMBER, "range [%]", curves, x_form="0", y_form="0.0", x_range=(1, count + 1)
    )
