"""`dispense cure`: the report of a station, or of all, and its workbook."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

from ..base.errors import InputError, Problem
from ..base.file_names import distinct_names
from ..base.findings import NOTE, Finding
from ..base.paper import paper_code
from ..base.progress import Progress
from ..books.cure import cure_workbook
from ..plan.csv import read_record
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.sources import NO_SOURCES
from ..reports.cure import CureReport, CureSummary, cure_report, cure_reports
from ..xlsx.typed import save_signed
from ..xlsx.write import make_folder, refuse_overwrite
from .shots import write_shots as put_shots
from .unattended import check_manifest, inputs_of, supersede_alike, told_when_stopped, write_manifest

_ENDING = "_cure"  # of the names of workbooks in a folder of all stations


def cure_file(
    plan: str | os.PathLike[str] | Plan,
    station: str,
    *,
    record: str | os.PathLike[str] | None = None,
    log: str | os.PathLike[str] | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    write_shots: str | os.PathLike[str] | None = None,
    progress: Progress | None = None,
    date: datetime.date | None = None,
) -> CureReport:
    """The report of a station of a plan workbook, and with `out` a workbook of it.

    Where table Validity changes the station while the plan is built, the reports of what holds later are with
    it, and their workbooks beside it, named from their first day; `date` asks for one day alone.

    With `write_shots` the shots proposed for its pots go into a new plan workbook of that name.

    `record` is a CSV of times and shop temperatures, `log` a CSV of a thermocouple log;
    `paper` is what the workbook is printed on, A4 or Letter.
    """

    paper_code(paper, "cure")
    inputs = [Path(path) for path in (plan, record, log) if path is not None and not isinstance(path, Plan)]
    if out is not None:
        if Path(out).suffix.lower() != ".xlsx":
            raise InputError(Problem("out", "file", str(out), "a name that ends in .xlsx"))
        refuse_overwrite(out, inputs)
    loaded = plan if isinstance(plan, Plan) else load_plan(plan)
    report = cure_report(
        loaded,
        station,
        record=None if record is None else read_record(record),
        log=None if log is None else read_record(log),
        progress=progress,
        date=date,
    )
    if write_shots is not None:
        if isinstance(plan, Plan):
            raise InputError(Problem("write_shots", message="only a plan workbook can be written anew"))
        put_shots(plan, report.pours, write_shots)
    if out is not None:
        for one in report.all:
            _write(one, _path_of(Path(out), report, one), inputs, paper)
    return report


def _path_of(out: Path, first: CureReport, report: CureReport) -> Path:
    """Where the workbook of a report goes: that of what holds later beside the first."""
    if report is first:
        return out
    stem = out.stem.removesuffix(_ENDING)
    return out.with_stem(f"{stem}_from_{report.since}{out.stem[len(stem) :]}")


def cure_files(
    plan: str | os.PathLike[str] | Plan,
    *,
    record: str | os.PathLike[str] | None = None,
    log: str | os.PathLike[str] | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    write_shots: str | os.PathLike[str] | None = None,
    date: datetime.date | None = None,
) -> CureSummary:
    """The reports of all stations, and with `out` a folder with a workbook of each, and its manifest.

    Workbooks there of stations that the plan has no more are moved to `superseded`.

    A record or a log belongs to one station: with either, `cure_file` wants its name. `date` asks for a day.
    """

    paper_code(paper, "cure")
    problems = [
        Problem("cure", message=f"{name} belongs to one station", fix="give --station NAME too")
        for name, given in (("a record", record), ("a log", log), ("writing shots", write_shots))
        if given is not None
    ]
    if out is not None and (Path(out).suffix or Path(out).is_file()):
        problems.append(
            Problem(
                "out",
                "folder",
                str(out),
                "a folder for a workbook of each station",
                "for one workbook give --station NAME",
            )
        )
    if problems:
        raise InputError(problems)
    summary = cure_reports(plan if isinstance(plan, Plan) else load_plan(plan), date)
    if out is not None:
        names = distinct_names(report.station.station for report in summary.reports)
        inputs = [] if isinstance(plan, Plan) else [Path(plan)]
        folder = Path(out)
        make_folder(folder)
        check_manifest(folder)
        files: list[Path] = []
        with told_when_stopped(files, [out]):
            for report in summary.reports:
                own = folder / f"{names[report.station.station]}{_ENDING}.xlsx"
                for one in report.all:
                    path = _path_of(own, report, one)
                    _write(one, path, inputs, paper)
                    files.append(path)
        moved = supersede_alike(folder, files, "cure")
        if not isinstance(plan, Plan):
            found = [finding for report in summary.reports for finding in report.findings]
            given = inputs_of(plan, NO_SOURCES)
            write_manifest(folder, given, {"paper": paper}, files, moved.left, moved.names, found)
    return summary


def _write(report: CureReport, out: str | os.PathLike[str], inputs: list[Path], paper: str) -> None:

    report.out, kept = save_signed(out, cure_workbook(report, paper), "cure", inputs)
    if kept:
        words = f"the old report had been filled in and is kept as {kept.name}"
        report.findings.append(Finding(NOTE, words, topic="files"))


__all__ = ["cure_file", "cure_files", "cure_report", "cure_reports"]
