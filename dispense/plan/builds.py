"""Builds from a CSV, Parquet or SQLite file, or from a pandas data frame.

Columns date, shift, part and quantity, in any order; further columns do no harm. Everything wrong
is reported at once, with the file and the row.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pandas as pd

from ..base.errors import NA, FileError, InputError, Problem
from .build import read_table, spell_as
from .records import Plan, RawTable
from .rows import Build
from .tables import BUILDS

ENDINGS = {
    ".csv": "csv",
    ".txt": "csv",
    ".parquet": "parquet",
    ".pq": "parquet",
    ".sqlite": "sqlite",
    ".sqlite3": "sqlite",
    ".db": "sqlite",
}
SQL_TABLE = "builds"
MOST_ROWS = 2_000_000
MOST_COLUMNS = 200
MOST_STEPS = 400_000_000  # of SQLite's machine: a view without end stops after some 10 s
_STEP = 100_000
_MIDNIGHT = re.compile(r"\d{4}-\d\d-\d\d[ T]00:00(:00(\.0+)?)?$")  # as databases keep dates


def read_frame(path: str | os.PathLike[str]) -> pd.DataFrame:
    """The table of builds in a file, as it stands."""
    target = Path(path)
    kind = ENDINGS.get(target.suffix.lower())
    if kind is None:
        raise FileError(
            Problem(
                str(target),
                message="is not a kind of file that builds are read from",
                fix="one ending in " + ", ".join(ENDINGS),
            )
        )
    if target.exists() and not target.is_file():
        what = "a folder" if target.is_dir() else "a pipe or device"
        raise FileError(Problem(str(target), message=f"is {what}, not a file", fix="save it as a file first"))
    if not target.is_file():
        raise FileError(Problem(str(target), message="is not there", fix="check the name"))
    try:
        if kind == "csv":
            return pd.read_csv(
                target,
                dtype=str,
                keep_default_na=False,
                encoding="utf-8-sig",
                sep=None,
                engine="python",
                skip_blank_lines=False,
            )
        if kind == "parquet":
            return pd.read_parquet(target)
        return _read_sqlite(target)
    except FileError:
        raise
    except ImportError as error:
        raise FileError(
            Problem(
                str(target),
                message="cannot be read: pyarrow is not installed",
                fix="pip install pyarrow, or save the builds as .csv",
            )
        ) from error
    except Exception as error:  # parsers and drivers let errors of many kinds through
        words = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise FileError(Problem(str(target), message=f"cannot be read: {words}")) from error


def _read_sqlite(target: Path) -> pd.DataFrame:
    connection = sqlite3.connect(f"{target.resolve().as_uri()}?mode=ro", uri=True)
    try:
        names = [
            row[0]
            for row in connection.execute(
                "select name from sqlite_master where type in ('table', 'view') order by name"
            )
        ]
        chosen = next((name for name in names if name.lower() == SQL_TABLE), None)
        if chosen is None:
            raise FileError(
                Problem(
                    str(target),
                    message=f"has no table {SQL_TABLE}; it has " + (", ".join(names) or "no tables"),
                    fix=f"name it {SQL_TABLE}",
                )
            )
        quoted = chosen.replace('"', '""')
        steps = iter(range(MOST_STEPS // _STEP))
        connection.set_progress_handler(lambda: next(steps, None) is None, _STEP)
        return pd.read_sql_query(f'select * from "{quoted}" limit {MOST_ROWS + 1}', connection)
    finally:
        connection.close()


def raw_builds(source: str | os.PathLike[str] | pd.DataFrame) -> RawTable:
    """Builds as a raw table that `read_plan` takes; its cells are named `builds.csv row 7`."""
    if isinstance(source, pd.DataFrame):
        frame, name, first = source, "builds", 0
    else:
        frame, name = read_frame(source), Path(source).name
        first = 2 if ENDINGS[Path(source).suffix.lower()] == "csv" else 1
    if len(frame) > MOST_ROWS:
        raise InputError(Problem(name, message=f"has more than {MOST_ROWS:,} rows"))
    frame = frame.iloc[:, :MOST_COLUMNS]
    columns = [[_plain(cell) for cell in frame.iloc[:, place].tolist()] for place in range(frame.shape[1])]
    numbers = range(first, first + len(frame))
    return RawTable("Builds", [str(column) for column in frame.columns], columns, numbers, sheet=name)


def _plain(cell: Any) -> Any:
    """Blank for a missing value, Python's own types for numpy's and pandas', midnight as a date."""
    if isinstance(cell, str):
        return cell[:10] if _MIDNIGHT.match(cell) else cell
    if cell is None or pd.isna(cell):
        return None
    if isinstance(cell, pd.Timestamp):
        return cell.to_pydatetime()
    return cell.item() if hasattr(cell, "item") else cell


def with_builds(plan: Plan, source: str | os.PathLike[str] | pd.DataFrame) -> Plan:
    """The plan with its builds replaced by those of a file or data frame."""
    raw = raw_builds(source)
    problems: list[Problem] = []
    if not raw.columns:
        raise InputError(
            Problem(raw.sheet, message="has no columns", fix="columns date, shift, part, quantity")
        )
    notes: list[Problem] = []
    records = read_table(BUILDS, raw, problems, {}, notes)
    builders = {row.part for row in plan.parts} | {row.assembly for row in plan.assemblies}
    names = {"shift": {row.shift for row in plan.shifts}, "part": builders}
    for argument, known in names.items():
        records = spell_as(records, argument, known)
    tables = {"shift": "Shifts", "part": "Parts or Assemblies"}
    for row in records:
        problems += [
            Problem(row.at, argument, getattr(row, argument), f"a name in {tables[argument]}", code=NA)
            for argument in names
            if getattr(row, argument) not in names[argument]
        ]
    if problems:
        raise InputError(by_row(problems, raw.sheet))
    return replace(
        plan, builds=cast(list[Build], records), warnings=[*plan.warnings, *by_row(notes, raw.sheet)]
    )


def by_row(problems: Iterable[Problem], name: str) -> list[Problem]:
    """Problems whose cells `builds.csv!C7` are told as row 7 of builds.csv, in order of rows."""
    told = []
    for problem in problems:
        place = problem.where.removeprefix(f"{name}!")
        row = int("".join(filter(str.isdigit, place)) or 0) if place != problem.where else 0
        told.append((row, replace(problem, where=f"{name} row {row}") if row else problem))
    return [problem for _, problem in sorted(told, key=lambda item: item[0])]


__all__ = ["by_row", "raw_builds", "read_frame", "with_builds"]
