"""`dispense forecast`: weeks of a plan workbook, and their workbook, CSV or JSON."""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Sequence
from concurrent.futures import Executor
from pathlib import Path

from ..base.errors import FileError, Problem
from ..base.findings import DANGER, NOTE, QUALITY, Finding, gravest_first
from ..base.paper import paper_code
from ..books.forecast import book_bytes
from ..forecast.model import forecast
from ..forecast.results import Forecast
from ..forecast.whatif import what_if_table
from ..journal.counted import CountedStock, counted_stock
from ..journal.store import journal_path, read_journal
from ..plan.records import Plan
from ..plan.sources import Source, Sources, load_plan_from
from ..reports.findings import plan_findings
from ..reports.routes import OF_ROUTES
from ..xlsx.typed import foreign, save_signed
from ..xlsx.write import atomic_write, refuse_overwrite
from .tables import forecast_tables, write_table, write_tables
from .upload import order_table, upload_columns

OUTPUTS = (".xlsx", ".csv", ".json")


def forecast_file(
    plan: str | os.PathLike[str],
    *,
    weeks: int = 4,
    out: str | os.PathLike[str] | None = None,
    builds: Source | None = None,
    stock: Source | None = None,
    orders: Source | None = None,
    draws: int = 500,
    seed: int = 1,
    what_if: bool = True,
    processes: int = 1,
    paper: str = "A4",
    as_of: datetime.date | None = None,
    tables: str | os.PathLike[str] | None = None,
    table_form: str = "csv",
    upload: str | os.PathLike[str] | None = None,
    columns: str | None = None,
    executor: Executor | None = None,
) -> Forecast:
    """Forecast a plan workbook and write the result: .xlsx, .csv or .json by the ending of `out`.

    `builds`, `stock` and `orders` take the place of the plan's tables: files, database addresses or data
    frames (`plan.sources`). `paper` is what the workbook is printed on, A4 or Letter; `as_of` is today, as
    in `forecast`. `tables` is a folder for every table, `table_form` "csv", "parquet" or "xlsx"; `upload` a
    .csv, .parquet or .xlsx file of the orders to place, with the `columns` that another system takes
    (`upload.upload_columns`; by default those of the plan's Settings). An
    `executor` plays the shifts in place of `processes` here.
    """

    paper_code(paper, "forecast")
    if out is not None:
        _ending(out)
    sources = Sources(builds, stock, orders)
    records = load_plan_from(plan, sources)
    headers = upload_columns(columns or records.settings["upload_columns"]) if upload is not None else []
    counted, told = (CountedStock(records), []) if stock is not None else _counted(records, plan, as_of)
    records = counted.plan
    found = forecast(
        records, weeks, draws=draws, seed=seed, processes=processes, as_of=as_of, executor=executor
    )
    found.stock_from = counted.words
    of_plan = plan_findings(records)
    told += [item for item in of_plan if item.kind == DANGER or item.topic in OF_ROUTES]
    found.findings = gravest_first([*told, *found.findings])
    if what_if:
        what_if_table(found)
    forbid = [plan, *sources.files]
    if out is not None:
        write_forecast(found, out, paper=paper, forbid=forbid)
    if tables is not None:
        write_tables(forecast_tables(found), tables, table_form, forbid)
    if upload is not None:
        write_table(order_table(found, headers), upload, forbid)
    return found


def _counted(
    records: Plan, path: str | os.PathLike[str], as_of: datetime.date | None
) -> tuple[CountedStock, list[Finding]]:
    """The plan with the stock that the journal beside it knows of, and the counts that could not be used."""
    journal = journal_path(path)
    if not journal.is_file():
        return CountedStock(records), []
    counted = counted_stock(records, (item.entry for item in read_journal(journal).current().values()), as_of)
    told = [
        Finding(
            QUALITY,
            f"count of {entry.material} {entry.component.upper()} on {entry.day} names no lot: left out",
            "count lot by lot, since each has its own last day",
            topic="counted without lot",
            material=entry.material,
            day=entry.date,
        )
        for entry in counted.without_lot
    ]
    return counted, told


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
        _, kept = save_signed(target, book_bytes(found, paper), "forecast", forbid)
        if kept:
            words = f"the old workbook had been filled in and is kept as {kept.name}"
            found.findings.append(Finding(NOTE, words, topic="files"))
        found.written = str(target)
        return target
    if ending == ".csv":
        content = found.as_csv().encode("utf-8-sig")
    else:
        content = (json.dumps(found.as_json(), ensure_ascii=False, indent=2, allow_nan=False) + "\n").encode()
    refuse_overwrite(target, forbid)
    if target.exists() and not _alike(target.read_bytes(), content, ending):
        raise FileError(foreign(target))
    atomic_write(target, content, forbid=forbid)
    found.written = str(target)
    return target


def _alike(old: bytes, new: bytes, ending: str) -> bool:
    """Whether a file is a forecast of before: it has its header, or its keys."""
    if ending == ".csv":
        return old.splitlines()[:1] == new.splitlines()[:1]
    try:
        return set(json.loads(old)) == set(json.loads(new))
    except (ValueError, TypeError):
        return False


__all__ = ["forecast_file", "write_forecast"]
