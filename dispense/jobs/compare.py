"""`dispense compare`: what may be chosen, side by side, and its workbook."""

from __future__ import annotations

import datetime
import os
from concurrent.futures import Executor
from pathlib import Path

from ..base.errors import InputError, Problem
from ..base.findings import NOTE, Finding, gravest_first
from ..base.paper import paper_code
from ..books.compare import compare_workbook
from ..journal.start import AsOf, Start
from ..plan.records import Plan
from ..plan.sources import NO_SOURCES, Sources, load_plan_from
from ..reports.compare import Comparison, Progress, compare
from ..xlsx.typed import save_signed
from ..xlsx.write import refuse_overwrite
from .start import begun
from .tables import compare_tables, write_tables
from .unattended import inputs_of, told_when_stopped, write_manifest_file


def compare_file(
    plan: str | os.PathLike[str] | Plan,
    *,
    station: str | None = None,
    sources: Sources = NO_SOURCES,
    as_of: AsOf | str | None = None,
    first: datetime.date | None = None,
    last: datetime.date | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    processes: int = 1,
    executor: Executor | None = None,
    tables: str | os.PathLike[str] | None = None,
    table_form: str = "csv",
    progress: Progress | None = None,
    manifest: str | os.PathLike[str] | None = None,
    saved_as: str | os.PathLike[str] | None = None,
) -> Comparison:
    """Every set of the plan's table Choices played over its builds, and with `out` a workbook of it.

    `sources` are builds, stock and orders in place of those of a plan's file; `as_of` is when it begins, with
    what stands at stations then (`jobs.start`). `first` and `last` are days:
    the builds between them count. `progress` is told how many sets are done and how many there are;
    `paper` is what the workbook is printed on, A4 or Letter. `processes` work side by side, or an
    `executor` does. `tables` is a folder for the sets as tables, `table_form` "csv", "parquet" or "xlsx".
    `manifest` is a .json file that says what went in and came out, by fingerprints. Where `plan` is a copy of
    one that is open, `saved_as` is where that one lies: its journal is the one beside it.
    """

    paper_code(paper, "compare")
    inputs = [] if isinstance(plan, Plan) else [Path(plan), *sources.files]
    if out is not None:
        if Path(out).suffix.lower() != ".xlsx":
            raise InputError(Problem("out", "file", str(out), "a name that ends in .xlsx"))
        refuse_overwrite(out, inputs)
    if isinstance(plan, Plan):
        begin = Start(plan)
    else:
        begin = begun(load_plan_from(plan, sources), saved_as or plan, sources, as_of)
    report = compare(
        begin.plan, station, first=first, last=last, processes=processes, executor=executor, progress=progress
    )
    if begin.words:
        report.findings.append(Finding(NOTE, begin.words, topic="start"))
    report.findings = gravest_first([*begin.findings, *report.findings])
    files: list[Path] = []
    with told_when_stopped(files, [one for one in (out, tables, manifest) if one is not None]):
        if out is not None:
            _write(report, out, inputs, paper)
            files.append(Path(out))
        if tables is not None:
            files += write_tables(compare_tables(report), tables, table_form, inputs)
        if manifest is not None and not isinstance(plan, Plan):
            asked = {"station": station, "first": first, "last": last, "as_of": as_of}
            given = inputs_of(plan, sources)
            write_manifest_file(manifest, given, asked, files, report.findings, [*inputs, *files])
    return report


def _write(report: Comparison, out: str | os.PathLike[str], inputs: list[Path], paper: str) -> None:
    report.out, kept = save_signed(out, compare_workbook(report, paper), "compare", inputs)
    if kept:
        words = f"the old workbook had been filled in and is kept as {kept.name}"
        report.findings.append(Finding(NOTE, words, topic="files"))


__all__ = ["compare_file"]
