"""`dispense compare`: what may be chosen, side by side, and its workbook."""

from __future__ import annotations

import datetime
import os
from concurrent.futures import Executor
from pathlib import Path

from ..base.errors import InputError, Problem
from ..base.findings import NOTE, Finding
from ..base.paper import paper_code
from ..books.compare import compare_workbook
from ..plan.records import Plan
from ..plan.sources import NO_SOURCES, Sources, load_plan_from
from ..reports.compare import Comparison, Progress, compare
from ..xlsx.typed import save_signed
from ..xlsx.write import refuse_overwrite
from .tables import compare_tables, write_tables


def compare_file(
    plan: str | os.PathLike[str] | Plan,
    *,
    station: str | None = None,
    sources: Sources = NO_SOURCES,
    first: datetime.date | None = None,
    last: datetime.date | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    processes: int = 1,
    executor: Executor | None = None,
    tables: str | os.PathLike[str] | None = None,
    table_form: str = "csv",
    progress: Progress | None = None,
) -> Comparison:
    """Every set of the plan's table Choices played over its builds, and with `out` a workbook of it.

    `sources` are builds, stock and orders in place of those of a plan's file. `first` and `last` are days:
    the builds between them count. `progress` is told how many sets are done and how many there are;
    `paper` is what the workbook is printed on, A4 or Letter. `processes` work side by side, or an
    `executor` does. `tables` is a folder for the sets as tables, `table_form` "csv", "parquet" or "xlsx".
    """

    paper_code(paper, "compare")
    inputs = [] if isinstance(plan, Plan) else [Path(plan), *sources.files]
    if out is not None:
        if Path(out).suffix.lower() != ".xlsx":
            raise InputError(Problem("out", "file", str(out), "a name that ends in .xlsx"))
        refuse_overwrite(out, inputs)
    loaded = plan if isinstance(plan, Plan) else load_plan_from(plan, sources)
    report = compare(
        loaded, station, first=first, last=last, processes=processes, executor=executor, progress=progress
    )
    if out is not None:
        report.out, kept = save_signed(out, compare_workbook(report, paper), "compare", inputs)
        if kept:
            words = f"the old workbook had been filled in and is kept as {kept.name}"
            report.findings.append(Finding(NOTE, words, topic="files"))
    if tables is not None:
        write_tables(compare_tables(report), tables, table_form, inputs)
    return report


__all__ = ["compare_file"]
