"""`dispense forecast`: weeks of a plan workbook, and their workbook, CSV or JSON."""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

from ..base.errors import FileError, Problem
from ..base.findings import DANGER, NOTE, Finding, gravest_first
from ..base.paper import paper_code
from ..base.progress import WHOLE, Progress, stage
from ..books.forecast import book_bytes
from ..forecast.horizon import WEEKS, without_history
from ..forecast.model import forecast
from ..forecast.results import Forecast
from ..forecast.whatif import what_if_table
from ..journal.lessons import learned_values
from ..journal.start import AsOf, Start, from_counts, stated_as_of
from ..journal.store import journal_path, read_journal
from ..journal.used import WithLearned, with_learned
from ..plan.late import TWICE
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.sources import Source, Sources, load_plan_from
from ..reports.findings import plan_findings
from ..reports.routes import OF_ROUTES
from ..xlsx.typed import foreign, save_signed
from ..xlsx.write import atomic_write, clean, refuse_overwrite
from .start import journal_entries, read_as_of, started
from .tables import forecast_tables, write_table, write_tables
from .unattended import inputs_of, told_when_stopped, write_manifest_file
from .upload import order_table, upload_columns

RESPONSES = 75  # hundredths of the time that the shifts take, the rest is what if
OUTPUTS = (".xlsx", ".csv", ".json")


def forecast_file(
    plan: str | os.PathLike[str],
    *,
    weeks: int = WEEKS,
    out: str | os.PathLike[str] | None = None,
    builds: Source | None = None,
    stock: Source | None = None,
    orders: Source | None = None,
    standing: Source | None = None,
    draws: int = 500,
    seed: int = 1,
    what_if: bool = True,
    processes: int = 1,
    paper: str = "A4",
    as_of: AsOf | str | None = None,
    tables: str | os.PathLike[str] | None = None,
    table_form: str = "csv",
    upload: str | os.PathLike[str] | None = None,
    columns: str | None = None,
    progress: Progress | None = None,
    manifest: str | os.PathLike[str] | None = None,
    learned: Sequence[str] = (),
    executor: Executor | None = None,
    saved_as: str | os.PathLike[str] | None = None,
) -> Forecast:
    """Forecast a plan workbook and write the result: .xlsx, .csv or .json by the ending of `out`.

    `builds`, `stock` and `orders` take the place of the plan's tables: files, database addresses or data
    frames (`plan.sources`). `paper` is what the workbook is printed on, A4 or Letter; `as_of` is today,
    a day or a moment: what stands at stations then is as told by the table Standing and the journal.
    `tables` is a folder for every table, `table_form` "csv", "parquet" or "xlsx"; `upload` a .csv, .parquet
    or .xlsx file of the orders to place, with the `columns` that another system takes
    (`upload.upload_columns`; by default those of the plan's Settings). `manifest` is a .json file that says
    what went in and came out, by fingerprints. Where it is stopped, what was written is told. `learned`
    names figures of the journal to count on in place of the plan's, "scrap:Hem robot", or "all" that differ
    by more than noise. An `executor` plays the shifts in place of `processes` here. Where `plan` is a copy of
    one that is open, `saved_as` is where that one lies: its journal is the one beside it.
    """

    paper_code(paper, "forecast")
    if out is not None:
        _ending(out)
    sources = Sources(builds, stock, orders, standing)
    records = load_plan_from(plan, sources)
    headers = upload_columns(columns or records.settings["upload_columns"]) if upload is not None else []
    home = plan if saved_as is None else saved_as
    use = _learned(plan, home, learned)
    if use is not None:
        records = replace(
            records,
            stations=use.plan.stations,
            settings=use.plan.settings,
            purge_factors=use.plan.purge_factors,
            dated=use.plan.dated,
        )
    begin = _begin(records, home, sources, as_of, weeks)
    records, told = begin.plan, begin.findings
    today = None if begin.as_of is None else begin.as_of.date()
    found = forecast(
        records,
        weeks,
        draws=draws,
        seed=seed,
        processes=processes,
        executor=executor,
        as_of=today,
        progress=stage(progress, 0, RESPONSES),
    )
    found.stock_from = begin.words or (begin.counted.words if begin.counted is not None else "")
    found.learned = "" if use is None else use.words
    of_plan = plan_findings(records)
    told += [item for item in of_plan if item.kind == DANGER or item.topic in (*OF_ROUTES, TWICE)]
    found.findings = gravest_first([*told, *found.findings])
    if what_if:
        what_if_table(found, progress=stage(progress, RESPONSES, WHOLE))
    forbid = [plan, home, *sources.files]
    files: list[Path] = []
    with told_when_stopped(files, [one for one in (out, tables, upload, manifest) if one is not None]):
        if out is not None:
            files.append(write_forecast(found, out, paper=paper, forbid=forbid))
        if tables is not None:
            files += write_tables(forecast_tables(found), tables, table_form, forbid)
        if upload is not None:
            files.append(write_table(order_table(found, headers), upload, forbid))
        if manifest is not None:
            asked = {"weeks": weeks, "draws": draws, "seed": seed, "as_of": as_of, "what_if": what_if}
            inputs = inputs_of(plan, sources)
            write_manifest_file(manifest, inputs, asked, files, found.findings, [*forbid, *files])
    return found


def _learned(
    path: str | os.PathLike[str], home: str | os.PathLike[str], names: Sequence[str]
) -> WithLearned | None:
    """The figures of the journal that are to be counted on; they are learned from the plan as it is saved."""
    if not names:
        return None
    plan = load_plan(path)
    values = learned_values(plan, read_journal(journal_path(home)).current().values())
    return with_learned(plan, values, names)


def _begin(
    records: Plan, path: str | os.PathLike[str], sources: Sources, as_of: AsOf | str | None, weeks: int
) -> Start:
    """Where the forecast begins; without a day of today the stock is that of the journal all the same.

    Of a whole day it is the forecast that tells which builds are history.
    """
    as_of = read_as_of(as_of)
    if as_of is None and stated_as_of(records) is None:
        if sources.stock is not None:
            return Start(records)
        coming, _ = without_history(records, weeks)
        first = min((row.date for row in coming.builds), default=None)
        return from_counts(records, journal_entries(path), first)
    begin = started(records, path, sources, as_of)
    if not isinstance(as_of, datetime.datetime):
        begin.plan = replace(begin.plan, builds=records.builds)
    return begin


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
    clean(target.parent)
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
