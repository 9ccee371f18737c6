"""`dispense cure`: the report of a station, or of all, and its workbook."""

from __future__ import annotations

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
from ..reports.cure import CureReport, CureSummary, cure_report, cure_reports
from ..xlsx.typed import save_signed
from ..xlsx.write import make_folder, refuse_overwrite
from .shots import write_shots as put_shots


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
) -> CureReport:
    """The report of a station of a plan workbook, and with `out` a workbook of it.

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
    )
    if write_shots is not None:
        if isinstance(plan, Plan):
            raise InputError(Problem("write_shots", message="only a plan workbook can be written anew"))
        put_shots(plan, report.pours, write_shots)
    if out is not None:
        _write(report, out, inputs, paper)
    return report


def cure_files(
    plan: str | os.PathLike[str] | Plan,
    *,
    record: str | os.PathLike[str] | None = None,
    log: str | os.PathLike[str] | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    write_shots: str | os.PathLike[str] | None = None,
) -> CureSummary:
    """The reports of all stations, and with `out` a folder with a workbook of each.

    A record or a log belongs to one station: with either, `cure_file` wants its name.
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
    summary = cure_reports(plan if isinstance(plan, Plan) else load_plan(plan))
    if out is not None:
        names = distinct_names(report.station.station for report in summary.reports)
        inputs = [] if isinstance(plan, Plan) else [Path(plan)]
        make_folder(Path(out))
        for report in summary.reports:
            _write(report, Path(out) / f"{names[report.station.station]}_cure.xlsx", inputs, paper)
    return summary


def _write(report: CureReport, out: str | os.PathLike[str], inputs: list[Path], paper: str) -> None:

    report.out, kept = save_signed(out, cure_workbook(report, paper), "cure", inputs)
    if kept:
        words = f"the old report had been filled in and is kept as {kept.name}"
        report.findings.append(Finding(NOTE, words, topic="files"))


__all__ = ["cure_file", "cure_files", "cure_report", "cure_reports"]
