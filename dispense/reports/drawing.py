"""A path from a drawing or from points: its beads in order, what was joined, and what was left out."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..base.errors import InputError, Problem
from ..base.findings import Finding
from ..base.numbers import Floats
from ..base.terminal import table
from ..handbook.beads import path_length
from ..handbook.drawings import Bead, Joined, Piece, in_order, join, path_rows

JOINED_WITHIN = 0.05e-3  # m; a tenth of a fine bead's width, common practice, no source
MOST_ROWS = 200_000  # a sheet holds a million; a path of more rows is a mesh, no bead
_DIGITS = 6  # of a millimetre in the rows written
_ROUNDED = 1e-6  # of the length, by which rows may differ from the curves of the drawing
_TOLD = 6  # names in a list, the rest is counted
_MM = 1000.0


@dataclass(frozen=True, slots=True)
class NamedPath:
    """One path: its beads in order, and its rows [m] with their motions."""

    name: str
    beads: tuple[Bead, ...]
    rows: Floats
    motions: tuple[str, ...]
    travel: float

    @property
    def length(self) -> float:
        """Length with material [m]."""
        return sum(bead.length for bead in self.beads)


@dataclass(slots=True)
class PathReport:
    """The paths made from a file."""

    source: str
    unit: str
    tolerance: float | None
    paths: list[NamedPath]
    twice: list[str] = field(default_factory=list)
    short: list[str] = field(default_factory=list)
    meetings: list[tuple[float, float, float]] = field(default_factory=list)
    unread: Counter[tuple[str, str]] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def answer(self) -> str:
        """How much there is to lay, and from which file."""
        return f"{self.source}: {self.amount}"

    @property
    def amount(self) -> str:
        """How much there is to lay."""
        beads = [bead for path in self.paths for bead in path.beads]
        closed = sum(bead.closed for bead in beads)
        kinds = f"{_counted(len(beads), 'bead')}, " + (
            f"{closed} of them closed, " if 0 < closed < len(beads) else "closed, " if closed else ""
        )
        length = _MM * sum(path.length for path in self.paths)
        travel = _MM * sum(path.travel for path in self.paths)
        between = f" and {travel:,.3f} mm of travel between them" if travel else ""
        return f"{kinds}{length:,.3f} mm with material{between}"

    @property
    def remarks(self) -> list[str]:
        """What was joined, left out and not read."""
        said = [f"coordinates read in {self.unit}, written in mm"]
        if self.tolerance is not None:
            widest = max((bead.gap for path in self.paths for bead in path.beads), default=0.0)
            closed = f"; the widest gap closed was {_MM * widest:.4g} mm" if widest else "; no gap was closed"
            said.append(f"ends within {_MM * self.tolerance:g} mm of each other are joined{closed}")
        for names, words in ((self.twice, "drawn twice and taken once"), (self.short, "shorter than that")):
            if names:
                said.append(f"{_counted(len(names), 'curve')} {words}: {_few(names)}")
        for x, y, _ in self.meetings[:_TOLD]:
            said.append(
                f"more than two curves meet at {_MM * x:.3f}, {_MM * y:.3f}: the bead goes on where it leads "
                "on most nearly straight; look whether that is meant"
            )
        if len(self.meetings) > _TOLD:
            said.append(f"and {len(self.meetings) - _TOLD} more places where more than two curves meet")
        said += [
            f"not read: {count} × {kind} on layer {layer}" for (kind, layer), count in self.unread.items()
        ]
        return [*said, *self.notes]

    def plan_rows(self) -> list[tuple[str, float, float, float, str]]:
        """Rows of the table Paths: path, x, y, z [mm] and motion."""
        return [
            (path.name, float(x), float(y), float(z), motion)
            for path in self.paths
            for (x, y, z), motion in zip(np.round(_MM * path.rows, _DIGITS) + 0.0, path.motions, strict=True)
        ]

    def bead_rows(self) -> list[list[Any]]:
        """A row for each bead in its order: path, number, from, to, length, closed, curves, gap closed."""
        return [
            [
                path.name,
                number,
                *(np.round(_MM * bead.rows[[0, -1], :2], 3) + 0.0).ravel().tolist(),
                round(_MM * bead.length, _DIGITS),
                "yes" if bead.closed else "no",
                bead.pieces,
                round(_MM * bead.gap, _DIGITS),
            ]
            for path in self.paths
            for number, bead in enumerate(path.beads, 1)
        ]

    def as_text(self) -> str:
        """The report for a terminal."""
        rows = [
            [name, number, f"{a:.3f}", f"{b:.3f}", f"{c:.3f}", f"{d:.3f}", f"{length:.3f}", closed, pieces]
            for name, number, a, b, c, d, length, closed, pieces, _ in self.bead_rows()
        ]
        lines = [self.answer, "", table([*BEAD_HEADERS[:-1]], rows), ""]
        lines += [f"- {words}" for words in self.remarks]
        return "\n".join([*lines, *(f"wrote {path}" for path in self.written)])

    def as_json(self) -> dict[str, Any]:
        """The report for a script; lengths and places in mm."""
        return {
            "source": self.source,
            "unit": self.unit,
            "joined_within": None if self.tolerance is None else _MM * self.tolerance,
            "paths": [
                {"path": path.name, "length": _MM * path.length, "travel": _MM * path.travel}
                for path in self.paths
            ],
            "beads": [
                dict(
                    zip(
                        ("path", "bead", "x", "y", "to_x", "to_y", "length", "closed", "curves", "gap"),
                        row,
                        strict=True,
                    )
                )
                for row in self.bead_rows()
            ],
            "rows": [
                dict(zip(("path", "x", "y", "z", "motion"), row, strict=True)) for row in self.plan_rows()
            ],
            "drawn_twice": self.twice,
            "too_short": self.short,
            "meetings": [[_MM * value for value in spot] for spot in self.meetings],
            "not_read": [
                {"what": kind, "layer": layer, "count": count} for (kind, layer), count in self.unread.items()
            ],
            "notes": self.notes,
            "written": [str(path) for path in self.written],
        }


BEAD_HEADERS = (
    "path",
    "bead",
    "from x [mm]",
    "from y [mm]",
    "to x [mm]",
    "to y [mm]",
    "length [mm]",
    "closed",
    "curves",
    "gap closed [mm]",
)


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}{'s' * (count != 1)}"


def _few(names: Sequence[str]) -> str:
    more = len(names) - _TOLD
    return ", ".join(names[:_TOLD]) + (f" and {more} more" if more > 0 else "")


def drawn_paths(
    pieces: Sequence[Piece], name: str, tolerance: float, start: Sequence[float], *, each: bool = False
) -> tuple[list[NamedPath], Joined]:
    """Pieces of a drawing joined and put in order: one path, or with `each` one for each bead."""
    joined = join(pieces, tolerance)
    if not joined.beads:
        raise InputError(
            Problem(
                name,
                message=f"every curve is shorter than {_MM * tolerance:g} mm, within which ends are joined",
                fix="give the drawing's unit with --units, or a smaller --join",
            )
        )
    beads, travel = in_order(joined.beads, start)
    if not each:
        return [_path(name, beads, travel)], joined
    single = len(beads) == 1
    return [
        _path(name if single else f"{name} {number}", [bead], 0.0) for number, bead in enumerate(beads, 1)
    ], joined


def _path(name: str, beads: Sequence[Bead], travel: float) -> NamedPath:
    rows, motions = path_rows(beads)
    _check(
        name, rows, motions, sum(bead.length for bead in beads), sum(bead.gap * bead.pieces for bead in beads)
    )
    return NamedPath(name, tuple(beads), rows, tuple(motions), travel)


def _check(name: str, rows: Floats, motions: Sequence[str], length: float, gaps: float) -> None:
    """The rows as they are written have the length of the drawing's curves."""
    if len(rows) > MOST_ROWS:
        raise InputError(Problem(name, message=f"the path has {len(rows):,} rows, at most {MOST_ROWS:,}"))
    written = float(path_length(np.round(rows, _DIGITS + 3), labels=list(motions)))
    digits = len(rows) * 10.0 ** -(_DIGITS + 3)
    if not abs(written - length) <= _ROUNDED * length + 2.0 * gaps + digits:
        raise InputError(
            Problem(
                name,
                message=f"the rows of the path are {_MM * written:.6g} mm long, the curves of the drawing "
                f"{_MM * length:.6g} mm",
                fix="a gap as wide as an arc is long cannot be closed: give a smaller --join",
            )
        )


def given_paths(points: dict[str, tuple[list[list[float]], list[str]]], name: str) -> list[NamedPath]:
    """Paths of points that are in order already; a path without a name takes `name`."""
    return [_given(rows, motions, own or name) for own, (rows, motions) in points.items()]


def _given(points: Sequence[Sequence[float]], motions: Sequence[str], name: str) -> NamedPath:
    rows, words = np.array(points, dtype=float), ["line", *motions[1:]]
    whole = float(path_length(rows, labels=words)) if len(rows) > 1 else np.nan
    if not whole > 0.0:
        raise InputError(
            Problem(
                name,
                message="these points have no length",
                fix="two points or more; an arc row stands between the start and the end of its arc",
            )
        )
    cuts = [0, *(place for place, word in enumerate(words) if word == "travel"), len(rows)]
    beads = []
    for first, last in itertools.pairwise(cuts):
        part, own = rows[first:last], ("line", *words[first + 1 : last])
        length = float(path_length(part, labels=list(own))) if len(part) > 1 else 0.0
        closed = len(part) > 2 and bool(np.array_equal(part[0], part[-1]))
        beads.append(Bead(part, own, length, 1, 0.0, closed))
    travel = sum(
        float(np.linalg.norm(after.rows[0] - before.rows[-1])) for before, after in itertools.pairwise(beads)
    )
    _check(name, rows, words, whole, 0.0)
    return NamedPath(name, tuple(beads), rows, tuple(words), travel)


__all__ = ["BEAD_HEADERS", "JOINED_WITHIN", "NamedPath", "PathReport", "drawn_paths", "given_paths"]
