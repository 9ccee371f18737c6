"""How hot a pour gets: as planned and in one shot."""

from __future__ import annotations

import math

from openpyxl import Workbook

from ...reports.cure import CureReport, shop
from ...reports.pour import CAUTION, PourReport, PourTrace
from .. import style
from ..charts import LOOKS, Curve, scatter
from ..page import Data, Page, sentence
from .closing import Answer, close_sheet, under_title, warnings_of
from .pack import pack_answer, pack_charts, pack_tables


def pour_sheet(book: Workbook, data: Data, report: CureReport, pour: PourReport) -> Answer:
    """One pot: temperatures against time and depth, and its figures."""
    page = Page(book, "Exotherm", f"Exotherm: {pour.name}", (20, 14, *[12] * 9), under_title(report))
    if pour.pack is not None:
        answer, good = pack_answer(pour)
        page.answer(answer, good)
        pack_charts(page, data, pour, pour.pack)
        pack_tables(page, pour, pour.pack)
        _pour_figures(page, pour)
        close_sheet(page, report, pour.notes, warnings_of(pour.findings), CAUTION)
        return "How hot does the pour get?", sentence(f"{pour.name}: {answer}"), page.sheet.title, good
    planned = pour.shots_trace or pour.trace
    limit = "" if pour.limit is None else f", limit {shop(pour.limit, '°C'):.0f} °C"
    how = f"in {len(pour.shots)} shots" if pour.shots else "in one shot"
    good = pour.limit is None or pour.planned_peak <= pour.limit
    answer = f"{pour.planned_words} {how}{limit}; {pour.safe_label}: {pour.safe_words}"
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
    close_sheet(page, report, pour.notes, warnings_of(pour.findings), CAUTION)
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
    page.section("Figures" if pour.pack is None else "For comparison, a slab without cells")
    rows: list[tuple] = [
        ("Depth", shop(pour.depth, "mm"), "mm", "0.0", False),
        ("Poured at, and surroundings", shop(pour.start, "°C"), "°C", "0.0", False),
        ("Peak in one shot", shop(pour.peak, "°C"), "°C", "0.0", False),
        ("Time of that peak", shop(pour.peak_time, "min"), "min", "0", False),
        ("Height of that peak above the base", shop(pour.peak_height, "mm"), "mm", "0.0", False),
    ]
    if pour.shots:
        rows += [
            ("Shots", pour.shots_text, "", "@", False),
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
        (sentence(pour.safe_label)[:-1], pour.safe_words, "", "@", False),
    ]
    if pour.runaway is not None:
        rows += [
            ("Runaway criterion δ", pour.runaway.delta, "", "0.00", False),
            ("Critical δ of a slab", pour.runaway.critical, "", "0.00", False),
            ("Depth at which it is critical", shop(pour.runaway.half_thickness, "mm"), "mm", "0.0", False),
            ("Adiabatic time to the maximum rate", shop(pour.maximum_rate, "min"), "min", "0.0", False),
        ]
    page.figures(rows)
