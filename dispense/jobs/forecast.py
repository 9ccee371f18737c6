"""`dispense forecast`: weeks of a plan workbook, and their workbook, CSV or JSON."""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Sequence
from pathlib import Path

from ..base.errors import FileError, InputError, Problem
from ..base.findings import DANGER, gravest_first
from ..base.paper import paper_code
from ..books.forecast import book_bytes
from ..forecast.model import Forecast, forecast
from ..forecast.whatif import what_if_table
from ..plan.build import read_plan
from ..plan.builds import by_row, raw_builds
from ..plan.read import load_plan, read_tables
from ..reports.findings import plan_findings
from ..xlsx.write import atomic_write

OUTPUTS = (".xlsx", ".csv", ".json")


def forecast_file(
    plan: str | os.PathLike[str],
    *,
    weeks: int = 4,
    out: str | os.PathLike[str] | None = None,
    builds: str | os.PathLike[str] | None = None,
    draws: int = 500,
    seed: int = 1,
    what_if: bool = True,
    processes: int = 1,
    paper: str = "A4",
    as_of: datetime.date | None = None,
) -> Forecast:
    """Forecast a plan workbook and write the result: .xlsx, .csv or .json by the ending of `out`.

    `paper` is what the workbook is printed on, A4 or Letter; `as_of` is today, as in `forecast`.
    """

    paper_code(paper, "forecast")
    if out is not None:
        _ending(out)
    if builds is None:
        records = load_plan(plan)
    else:
        tables = read_tables(plan)
        tables["Builds"] = raw_builds(builds)
        records, problems = read_plan(tables, may_be_empty=("Builds",))
        if problems:
            raise InputError(by_row(problems, tables["Builds"].sheet))
    found = forecast(records, weeks, draws=draws, seed=seed, processes=processes, as_of=as_of)
    dangers = [item for item in plan_findings(records) if item.kind == DANGER]
    found.findings = gravest_first([*dangers, *found.findings])
    if what_if:
        what_if_table(found)
    if out is not None:
        write_forecast(found, out, paper=paper, forbid=[plan] + ([builds] if builds is not None else []))
    return found


def _ending(out: str | os.PathLike[str]) -> str:
    """The ending of a file that can be written."""
    ending = Path(out).suffix.lower()
    if ending not in OUTPUTS:
        raise FileError(
            Problem(
                str(out),
                message="is not a kind of file that is written",
                fix="one ending in " + ", ".join(OUTPUTS),
            )
        )
    return ending


def write_forecast(
    found: Forecast,
    out: str | os.PathLike[str],
    forbid: Sequence[str | os.PathLike[str]] = (),
    paper: str = "A4",
) -> Path:
    """Write a forecast in the form that the file's ending asks for."""

    target = Path(out)
    ending = _ending(target)
    if ending == ".xlsx":
        content = book_bytes(found, paper)
    elif ending == ".csv":
        content = found.as_csv().encode("utf-8-sig")
    else:
        content = (json.dumps(found.as_json(), ensure_ascii=False, indent=2, allow_nan=False) + "\n").encode()
    atomic_write(target, content, forbid=forbid)
    found.written = str(target)
    return target


__all__ = ["forecast_file", "write_forecast"]
