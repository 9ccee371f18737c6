"""The picture of a path to hold against its drawing, as SVG and as a workbook with a chart to scale."""

from __future__ import annotations

import csv
import io
import itertools
from xml.sax.saxutils import escape

import numpy as np
from openpyxl import Workbook
from openpyxl.chart import ScatterChart

from ..base.numbers import Floats
from ..handbook.pattern import stretches
from ..plan.tables import BY_NAME
from ..reports.drawing import BEAD_HEADERS, NamedPath, PathReport
from . import style
from .charts import LOOKS, Curve, scatter
from .finish import finished
from .page import Data, Page
from .to_scale import lay_out, parted, round_length, to_scale

__all__ = ["path_svg", "path_workbook", "paths_csv"]

_MM = 1000.0
_WIDE = 1000.0  # units of the picture across its longer side


def paths_csv(report: PathReport) -> bytes:
    """The rows of the table Paths, as its sheet has them."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow([item.title for item in BY_NAME["Paths"].columns])
    writer.writerows(
        [name, *(f"{value:.6f}" for value in spot), motion] for name, *spot, motion in report.plan_rows()
    )
    return stream.getvalue().encode("utf-8-sig")


def _lines(path: NamedPath) -> list[Floats]:
    """The beads of a path as points [mm] on them, arcs as short chords."""
    found = []
    for bead in path.beads:
        parts = stretches(bead.rows, bead.motions)
        found.append(_MM * np.vstack([parts[:1, 0], parts[:, 1]]))
    return found


def _travels(path: NamedPath) -> list[Floats]:
    """The ways between the beads of a path [mm]."""
    return [
        _MM * np.array([before.rows[-1, :2], after.rows[0, :2]])
        for before, after in itertools.pairwise(path.beads)
    ]


def _alternative(report: PathReport) -> str:
    """What the picture shows, for who cannot see it."""
    return (
        f"{report.answer}. Beads are full lines numbered in their order, a ring marks where each starts, an "
        "arrow which way it runs; travel is dashed."
    )


def path_svg(report: PathReport) -> str:
    """A picture to scale: beads, their order, start and direction, travel, and a scale in mm."""
    lines = [line for path in report.paths for line in _lines(path)]
    every = np.vstack(lines)
    low, high = every.min(axis=0), every.max(axis=0)
    scale = _WIDE / max(float((high - low).max()), 1e-9)
    margin = 60.0

    def spot(point: Floats) -> tuple[float, float]:
        x, y = (point - low) * scale
        return float(x) + margin, float((high[1] - low[1]) * scale - y) + margin

    def polyline(line: Floats, look: str) -> str:
        text = " ".join(f"{x:.2f},{y:.2f}" for x, y in map(spot, line))
        return f'<polyline points="{text}" fill="none" {look}/>'

    wide, tall = (high - low) * scale + 2.0 * margin
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.1f} {tall + margin:.1f}" role="img">',
        f"<title>{escape(report.answer)}</title>",
        f"<desc>{escape(_alternative(report))}</desc>",
        f'<rect width="{wide:.1f}" height="{tall + margin:.1f}" fill="white"/>',
    ]
    for path in report.paths:
        drawn += [
            polyline(way, 'stroke="#767676" stroke-width="2" stroke-dasharray="10 8"')
            for way in _travels(path)
        ]
    for number, line in enumerate(lines, 1):
        drawn.append(polyline(line, f'stroke="#{style.ACCENT}" stroke-width="4"'))
        x, y = spot(line[0])
        drawn.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="9" fill="white" stroke="black" stroke-width="3"/>'
        )
        drawn.append(_arrow([spot(point) for point in line]))
        drawn.append(f'<text x="{x + 13:.2f}" y="{y - 11:.2f}" font-size="26">{number}</text>')
    length = round_length(float((high - low).max()) / 4.0)
    foot = tall + margin / 2.0
    drawn.append(
        f'<path d="M{margin:.1f},{foot - 12:.1f} v12 h{length * scale:.2f} v-12" fill="none" stroke="black" '
        'stroke-width="2"/>'
    )
    drawn.append(
        f'<text x="{margin + length * scale + 12:.1f}" y="{foot:.1f}" font-size="26">{length:g} mm</text>'
    )
    return "\n".join([*drawn, "</svg>", ""])


def _arrow(line: list[tuple[float, float]]) -> str:
    """An arrow head halfway along a line, the way it runs."""
    points = np.array(line)
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    place = int(np.searchsorted(np.cumsum(steps), steps.sum() / 2.0))
    place = min(place, len(steps) - 1)
    way = (points[place + 1] - points[place]) / max(float(steps[place]), 1e-12)
    middle = (points[place] + points[place + 1]) / 2.0
    aside = np.array([-way[1], way[0]])
    corners = [middle + 14.0 * way, middle - 8.0 * way + 9.0 * aside, middle - 8.0 * way - 9.0 * aside]
    text = " ".join(f"{x:.2f},{y:.2f}" for x, y in corners)
    return f'<polygon points="{text}" fill="black"/>'


# ----------------------------------------------------------------------------------------- workbook


def path_workbook(report: PathReport, paper: str = "A4") -> bytes:
    """The workbook of paths: beads with a chart to scale, and the rows for the table Paths of a plan."""
    book = Workbook()
    book.remove(book.active)
    page = Page(
        book,
        "Path",
        f"Path from {report.source}",
        (22, 8, 12, 12, 12, 12, 14, 9, 9, 12),
        "to hold against the drawing",
    )
    data = Data(book)
    page.answer(report.amount)
    chart = _chart(data, report)
    page.charts([chart])  # which gives the chart its width
    to_scale(chart, np.vstack([line for path in report.paths for line in _lines(path)]))
    page.section("Beads in their order")
    page.table(
        [header[:1].upper() + header[1:] for header in BEAD_HEADERS],
        report.bead_rows(),
        ("@", "0", "0.000", "0.000", "0.000", "0.000", "0.000", "@", "0", "0.0000"),
    )
    page.texts("Read and left out", report.remarks)
    page.close()
    columns = BY_NAME["Paths"].columns
    rows = Page(
        book, "Paths", "Paths", (22, 14, 14, 14, 12), "copy these rows into the table Paths of the plan"
    )
    head = rows.row
    rows.table(
        [item.title for item in columns],
        [list(row) for row in report.plan_rows()],
        ("@", "0.000000", "0.000000", "0.000000", "@"),
    )
    rows.close(header_row=head)
    data.close()
    return finished(book, "path.xlsx", paper)


def _chart(data: Data, report: PathReport) -> ScatterChart:
    """Beads, travel and starts, both axes to one scale."""
    lines = [line for path in report.paths for line in _lines(path)]
    ways = [way for path in report.paths for way in _travels(path)]
    starts = np.array([line[0] for line in lines])
    curves = []
    for name, points, look in (
        ("bead", parted(lines), LOOKS[0]),
        ("travel", parted(ways) if ways else None, LOOKS[2]),
        ("start", starts, (None, "circle", style.DARK)),
    ):
        if points is None:
            continue
        columns = [
            [None if np.isnan(value) else float(value) for value in points[:, axis]] for axis in range(2)
        ]
        x, y = data.block(name.capitalize(), [("X [mm]", columns[0]), ("Y [mm]", columns[1])], "0.000")
        curves.append(Curve(name, x, y, *look))
    chart = scatter("The path to scale", "x [mm]", "y [mm]", curves, x_form="0", y_form="0")
    lay_out(chart)
    return chart
