"""`dispense path`: paths from a drawing or from points, their rows, and a picture to hold against it."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path

from ..base.errors import FileError, InputError, Problem
from ..base.paper import paper_code
from ..base.units import to_si, unit_factor
from ..books.drawing import path_svg, path_workbook, paths_csv
from ..plan.csv import read_points
from ..plan.drawing import chosen, read_drawing
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.tables import BY_NAME, TABLES
from ..reports.drawing import JOINED_WITHIN, NamedPath, PathReport, drawn_paths, given_paths
from ..xlsx.typed import save_signed
from ..xlsx.write import atomic_write, refuse_overwrite, scratch
from .rewrite import with_rows

_MM = to_si("mm")[0]
_CLOSE = 1e-9  # m, of coordinates that are read back
_POINTS = (".csv", ".txt", ".tsv")


def path_file(
    source: str | os.PathLike[str],
    *,
    layers: Sequence[str] = (),
    colours: Sequence[str] = (),
    unit: str | None = None,
    join_within: float | None = None,
    start: str = "0,0",
    name: str | None = None,
    each: bool = False,
    out: str | os.PathLike[str] | None = None,
    picture: str | os.PathLike[str] | None = None,
    plan: str | os.PathLike[str] | None = None,
    write_plan: str | os.PathLike[str] | None = None,
    paper: str = "A4",
) -> PathReport:
    """Paths from a DXF drawing or a CSV of points, written where a file is named.

    `join_within` [mm] joins ends of curves, `start` "X,Y" [mm] is where the first bead is looked for,
    `unit` that of the coordinates where it is not the file's. `out` is a workbook or a CSV with rows of the
    table Paths, `picture` an SVG, `write_plan` a new plan workbook: `plan` with the paths. Only a workbook
    of paths is ever replaced.
    """
    source = Path(source)
    paper_code(paper, "path")
    _check_names(source, out, picture, plan, write_plan)
    if unit is not None:
        unit_factor(unit, "mm")
    spot, within = _spot(start), _within(join_within)
    name = name or source.stem
    if source.suffix.lower() in _POINTS:
        given = [
            ("--layer", layers),
            ("--colour", colours),
            ("--join", join_within is not None),
            ("--each", each),
        ]
        _refuse([option for option, asked in given if asked])
        paths = given_paths(read_points(source, unit), name)
        report = PathReport(source.name, unit or "the units of its headers", None, paths)
    else:
        drawing = read_drawing(source, unit)
        pieces = [item.piece for item in chosen(drawing, layers, colours)]
        paths, joined = drawn_paths(pieces, name, within, spot, each=each)
        report = PathReport(
            source.name,
            drawing.unit,
            within,
            paths,
            list(joined.twice),
            list(joined.short),
            list(joined.meetings),
            drawing.unread,
            drawing.notes,
        )
    _write(report, source, out, picture, paper)
    if plan is not None and write_plan is not None:
        report.written.append(_into_plan(report, plan, write_plan))
    return report


def _check_names(source: Path, *files: str | os.PathLike[str] | None) -> None:
    """All that is wrong with the names of files, before any work."""
    out, picture, plan, write_plan = (None if name is None else Path(name) for name in files)
    problems = []
    if out is not None and out.suffix.lower() not in (".xlsx", ".csv"):
        problems.append(Problem("out", "file", str(out), "a name that ends in .xlsx or .csv"))
    if picture is not None and picture.suffix.lower() != ".svg":
        problems.append(Problem("picture", "file", str(picture), "a name that ends in .svg"))
    if (plan is None) != (write_plan is None):
        problems.append(
            Problem(
                "path",
                message="--plan and --write-plan go together",
                fix="the plan is read, the new workbook is written",
            )
        )
    if problems:
        raise InputError(problems)
    for name in (out, picture, write_plan):
        if name is not None:
            refuse_overwrite(name, [source] if plan is None else [source, plan])


def _spot(text: str) -> tuple[float, float, float]:
    try:
        x, y = (float(part) * _MM for part in text.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise InputError(Problem("path", "start", text, "two numbers of mm, such as 120,40"))
    return x, y, 0.0


def _within(millimetres: float | None) -> float:
    if millimetres is None:
        return JOINED_WITHIN
    if not 0.0 < millimetres < math.inf:
        raise InputError(Problem("path", "join", millimetres, "more than 0 mm"))
    return millimetres * _MM


def _refuse(options: Sequence[str]) -> None:
    if options:
        raise InputError(
            Problem(
                "path",
                message=f"{', '.join(options)}: points of a CSV are taken as they stand",
                fix="only a drawing has layers, colours and pieces to be joined",
            )
        )


def _write(
    report: PathReport,
    source: Path,
    out: str | os.PathLike[str] | None,
    picture: str | os.PathLike[str] | None,
    paper: str,
) -> None:
    """The rows and the picture, each where it is asked for."""
    if out is not None and Path(out).suffix.lower() == ".csv":
        report.written.append(atomic_write(out, paths_csv(report), new=True))
    elif out is not None:
        written, kept = save_signed(out, path_workbook(report, paper), "path", [source])
        report.written.append(written)
        if kept:
            report.notes.append(f"the old workbook had been filled in and is kept as {kept.name}")
    if picture is not None:
        report.written.append(atomic_write(picture, path_svg(report).encode(), new=True))


def _into_plan(report: PathReport, plan: str | os.PathLike[str], write_plan: str | os.PathLike[str]) -> Path:
    """A new plan workbook with the paths below those of the old one, read again before it is put in place."""
    old = load_plan(plan)
    there = {row.path.casefold() for row in old.paths}
    known = [path.name for path in report.paths if path.name.casefold() in there]
    if known:
        raise InputError(
            Problem("Paths", message=f"the plan has a path {known[0]}", fix="choose another with --name")
        )
    columns = [item.name for item in BY_NAME["Paths"].columns]
    content = with_rows(Path(plan), "Paths", columns, report.plan_rows(), new=True)
    with scratch() as folder:
        trial = folder / "plan.xlsx"
        trial.write_bytes(content)
        _check_plan(old, load_plan(trial), report.paths)
    return atomic_write(write_plan, content, forbid=[plan], new=True)


def _check_plan(old: Plan, new: Plan, paths: Sequence[NamedPath]) -> None:
    """The new plan holds these paths, and all other records of the old one."""
    wanted = [
        (path.name, *spot, motion)
        for path in paths
        for spot, motion in zip(path.rows.tolist(), path.motions, strict=True)
    ]
    written = [(row.path, row.x, row.y, row.z, row.motion) for row in new.paths[len(old.paths) :]]
    same = new.paths[: len(old.paths)] == old.paths and len(written) == len(wanted)
    same = same and all(
        (one[0], one[4]) == (other[0], other[4])
        and all(abs(a - b) <= _CLOSE for a, b in zip(one[1:4], other[1:4], strict=True))
        for one, other in zip(written, wanted, strict=True)
    )
    others = [table.attribute for table in TABLES if table.name != "Paths"]
    if not same or any(getattr(old, name) != getattr(new, name) for name in others):
        raise FileError(
            Problem(
                "Paths",
                message="the table Paths of this workbook cannot be written safely",
                fix="copy the rows of --out into it",
            )
        )


__all__ = ["path_file"]
