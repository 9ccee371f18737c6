"""Fuzz harness: damaged plans give valid results or a report with sheet and cell, nothing else.

    python tests/fuzz.py --cases 20000 --seed 1
    python tests/fuzz.py --replay tests/corpus/plans.json

Most cases change cells, headers, rows and tables of the demo plan as raw tables; every tenth changes
bytes of a real plan file, or of the XML in it. A case is a list of plain changes, so that a failure
can be kept in `tests/corpus` and played again.

What may come out of a case:
- a report: every problem on one line, with sheet and cell (or the file, where the file is damaged);
- results: every figure on every sheet finite, every date one that a sheet can hold, every text clean,
  and the balance of every component of every station closed to the last nanolitre.
Anything else is a failure: another exception, NaN, a sum that does not close, or no end in sight.
"""

from __future__ import annotations

import argparse
import collections
import copy
import datetime
import functools
import io
import json
import math
import random
import re
import signal
import sys
import tempfile
import time
import traceback
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from openpyxl import Workbook

from dispense.base.errors import DispenseError, FileError
from dispense.books.plan import plan_bytes
from dispense.forecast.model import forecast
from dispense.plan.build import read_plan
from dispense.plan.demo import DEMO
from dispense.plan.read import check_plan
from dispense.plan.records import RawTable, raw_table
from dispense.plan.tables import SETTINGS, TABLES
from dispense.reports.cure import cure_report
from dispense.sheets.board import cure_board_content
from dispense.sheets.check import shot_check_content
from dispense.sheets.material import shift_material_content
from dispense.sheets.results import results_content
from dispense.sheets.setup import station_setup_content
from dispense.sheets.spec import Content
from dispense.sheets.staging import staging_content
from dispense.shift.play import play_plan
from dispense.shift.setup import setup_card, station_parts
from dispense.xlsx.content import encode

CORPUS = Path(__file__).parent / "corpus" / "plans.json"
SECONDS = 20  # of processor, the most that one case may take
BUSY = 15  # times as long it may take by the clock, on a busy machine
FILE_SHARE = 0.1
CELL = re.compile(r"[^!]+![A-Z]{1,3}[1-9][0-9]*\Z")
NOT_FINITE = re.compile(r"(?<![A-Za-z])(nan|inf|infinity)(?![A-Za-z])", re.IGNORECASE)

Change = dict[str, Any]


class Failure(AssertionError):
    """What must never come out of a plan."""


# ---------------------------------------------------------------------------------- the base plan


def base_rows() -> dict[str, list[dict[str, Any]]]:
    """The demo with two shifts of few builds, so that a case is quick."""
    rows = copy.deepcopy({name: table for name, table in DEMO.items() if name != "Settings"})
    first = min(row["date"] for row in rows["Builds"])
    rows["Builds"] = [
        row | {"quantity": max(1, row["quantity"] // 6)} for row in rows["Builds"] if row["date"] == first
    ]
    return rows


def base_tables() -> dict[str, RawTable]:
    """The base plan as raw tables, headers as a workbook has them."""
    return {
        name: RawTable(name, list(raw.headers), [list(column) for column in raw.columns])
        for name, raw in _base_tables().items()
    }


@functools.cache
def _base_tables() -> dict[str, RawTable]:
    tables, rows = {}, base_rows()
    for table in TABLES:
        if table.name not in rows:  # an optional table that the demo has no need of
            continue
        raw = raw_table(table.name, rows[table.name])
        raw.headers = [table.column(name).title for name in raw.headers]
        tables[table.name] = raw
    values = DEMO["Settings"][0]
    tables["Settings"] = RawTable(
        "Settings",
        ["Setting", "Value"],
        [[item.title for item in SETTINGS], [values.get(item.name) for item in SETTINGS]],
    )
    return tables


# ---------------------------------------------------------------------------------------- changes

NASTY: list[Any] = [
    None,
    "",
    " ",
    "\t",
    0,
    -0.0,
    -1,
    1,
    0.5,
    1e-300,
    5e-324,
    1e-12,
    1e12,
    1e300,
    1.7e308,
    -1.7e308,
    math.nan,
    math.inf,
    -math.inf,
    10**30,
    10**400,
    True,
    False,
    "nan",
    "inf",
    "-inf",
    "1e400",
    "1e-400",
    "1e400 mm",
    "NaN mm",
    "3/16 in",
    "1/0 in",
    "75 degF",
    "12 m",
    "1 2/3 in",
    "5 %",
    "-5 %",
    "1,5",
    "1 000",
    "１２",
    "²",
    "0x10",
    "1_000",
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "'1",
    "#N/A",
    "#REF!",
    "#NUM!",
    "TRUE",
    "yes",
    "x",
    "a",
    "b",
    "A",
    "A\nB",
    "\x00",
    "\ud800",
    "￾",
    "é" * 40,
    "\U0001f9ea",
    "x" * 300,
    "x" * 3000,
    "9" * 400,
    "1/" + "9" * 400,
    "9" * 400 + "/1 in",
    "1 mm/0",
    "3 mm**400",
    "3 " + "(" * 300,
    "{0}",
    "%s",
    "%n",
    "../../x",
    "CON",
    "a/b\\c:d*e?f",
    "<b>&amp;",
    "]]>",
    "06:00",
    "24:00",
    "25:30",
    "99:99",
    "-1:00",
    "1e9:00",
    "06:00:61",
    "2026-02-30",
    "2026-03-02",
    "0001-01-01",
    "9999-12-31",
    datetime.date(1, 1, 1),
    datetime.date(9999, 12, 31),
    datetime.date(2026, 3, 2),
    datetime.datetime(2026, 3, 2, 6),
    datetime.datetime(9999, 12, 31, 23, 59, 59),
    datetime.time(6),
    datetime.time(23, 59, 59, 999999),
    datetime.timedelta(days=1, hours=6),
    datetime.timedelta(days=-1),
    46000,
    2958465,
    2958466,
    -1e9,
    1e9,
    60,
    61,
    "one-part",
    "two-part",
    "mass",
    "oven",
    "moisture",
    "light",
    "box",
    "cone",
    "lying-cylinder",
    "tray",
    "cylinder",
    "segment",
    "purge",
    "change mixer",
    "line",
    "arc",
    "travel",
    "rectangle",
    "round",
]

UNITS = [
    "mm",
    "in",
    "m",
    "µm",
    "mL",
    "L",
    "g",
    "kg",
    "min",
    "s",
    "h",
    "d",
    "K",
    "°C",
    "degF",
    "kelvin",
    "%",
    "",
    "bar",
    "Pa·s",
    "mPa·s",
    "cP",
    "J/g",
    "kJ/mol",
    "banana",
    "1",
    "mm mm",
    "m/m",
    "1/s",
    "mL/s",
    "cm3/min",
    "N",
    "lbf",
    "]",
    "[",
    "[[",
    "mm**9",
    "10 mm",
    "0 mm",
    "rad",
    "deg",
    "\x00",
    "(" * 200,
    "year",
    "dB",
    "delta_degC",
    "nm**0.5",
]


def changes(draw: random.Random) -> list[Change]:
    """One to four changes of the base plan."""
    tables = base_tables()
    count = draw.choice((1, 1, 1, 2, 2, 3, 4))
    return [_one_change(draw, tables) for _ in range(count)]


def _one_change(draw: random.Random, tables: dict[str, RawTable]) -> Change:
    name = draw.choice(list(tables))
    raw = tables[name]
    column = draw.choice(raw.headers)
    rows = len(raw.columns[0])
    row = draw.randrange(rows) if rows else 0
    kind = draw.choices(
        (
            "set",
            "plausible",
            "scale",
            "copy",
            "header",
            "unit",
            "swap",
            "double",
            "drop",
            "shuffle",
            "drop column",
            "drop table",
            "fill",
        ),
        (30, 22, 14, 6, 3, 8, 4, 3, 5, 2, 2, 1, 2),
    )[0]
    change: Change = {"do": kind, "table": name, "column": column, "row": row}
    if kind in ("set", "fill", "header"):
        change["value"] = draw.choice(NASTY)
    elif kind == "plausible":
        field = _field(name, column)
        change["value"] = _plausible(draw, field, tables)
        unset = [item for item in _columns(name) if item.title not in raw.headers]
        if unset and draw.random() < 0.4:  # a column that the demo leaves out
            field = draw.choice(unset)
            change |= {"column": field.title, "value": _plausible(draw, field, tables)}
    elif kind == "scale":
        change["value"] = draw.choice((-1.0, 10.0 ** draw.randint(-15, 15), draw.uniform(0.3, 3.0)))
    elif kind == "copy":
        other = draw.choice(list(tables))
        cells = draw.choice(tables[other].columns)
        change["value"] = draw.choice(cells) if cells else None
    elif kind == "unit":
        change["value"] = draw.choice(UNITS)
    elif kind in ("swap", "shuffle"):
        change["value"] = draw.randrange(2**32) if kind == "shuffle" else draw.randrange(max(rows, 1))
    return change


def _columns(table: str) -> tuple:
    return next((item.columns for item in TABLES if item.name == table), ())


def _field(table: str, title: str):
    return next((item for item in _columns(table) if item.title == title), None)


def _plausible(draw: random.Random, field: Any, tables: dict[str, RawTable]) -> Any:
    """A value that the column allows, of any size."""
    if field is None:
        return draw.choice(NASTY)
    if field.kind == "choice":
        return draw.choice(field.choices)
    if field.kind == "flag":
        return draw.choice((True, False))
    if field.kind == "clock":
        return f"{draw.randrange(31):02d}:{draw.randrange(60):02d}"
    if field.kind == "date":
        return datetime.date(2026, 3, 2) + datetime.timedelta(days=draw.randint(-40, 400))
    if field.kind == "text":
        if field.refers:
            return draw.choice(tables[field.refers].columns[0])
        return draw.choice(("", "A-1", "name with spaces", "ß/Ø", "21700", "18650"))
    low = next((value for value in (field.above, field.at_least) if value is not None), -1e6)
    high = next((value for value in (field.below, field.at_most) if value is not None), 1e9)
    if draw.random() < 0.3:
        return draw.choice((low, high, math.nextafter(low, high), math.nextafter(high, low)))
    size = 10.0 ** draw.uniform(-9, 9)
    value = min(max(low + size, low), high)
    return math.ceil(value) if field.kind == "whole" and math.isfinite(value) else value


def _change_row(raw: RawTable, place: int, do: str, row: int, value: Any) -> None:
    """A change of one row of a table."""
    cells, rows = raw.columns[place], len(raw.columns[0])
    if do in ("set", "plausible", "copy"):
        cells[row] = value
    elif do == "scale" and type(cells[row]) in (int, float):
        cells[row] = min(cells[row], 10**300) * value  # a larger whole number is no float
    elif do == "swap" and value < rows:
        cells[row], cells[value] = cells[value], cells[row]
    elif do == "double":
        for column in raw.columns:
            column.append(column[row])
    elif do == "drop":
        for column in raw.columns:
            del column[row]
    elif do == "shuffle":
        order = list(range(rows))
        random.Random(value).shuffle(order)
        raw.columns = [[column[index] for index in order] for column in raw.columns]


def apply(given: list[Change]) -> dict[str, RawTable]:
    """The base plan with the changes made; a change that finds no place does nothing."""
    tables = base_tables()
    for change in given:
        raw = tables.get(change["table"])
        if raw is None:
            continue
        do, row, value = change["do"], change["row"], change.get("value")
        if do == "drop table":
            del tables[change["table"]]
            continue
        rows = len(raw.columns[0]) if raw.columns else 0
        if change["column"] not in raw.headers and do in ("set", "plausible"):
            raw.headers.append(change["column"])
            raw.columns.append([None] * rows)
        if change["column"] not in raw.headers:
            continue
        place = raw.headers.index(change["column"])
        if do == "header":
            raw.headers[place] = value
        elif do == "unit":
            raw.headers[place] = f"{str(raw.headers[place]).partition(' [')[0]} [{value}]"
        elif do == "drop column":
            del raw.headers[place], raw.columns[place]
        elif do == "fill":
            raw.columns[place] = [value] * rows
        elif row < rows:
            _change_row(raw, place, do, row, value)
    return tables


# ------------------------------------------------------------------------------------- damaged files


def light_file() -> bytes:
    """The base plan as a plain workbook: tables from A1, nothing else."""
    book = Workbook()
    book.remove(book.active)
    for name, raw in base_tables().items():
        sheet = book.create_sheet(name)
        sheet.append(raw.headers)
        for row in zip(*raw.columns, strict=True):
            sheet.append([cell.isoformat() if isinstance(cell, datetime.date) else cell for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def full_file() -> bytes:
    """The base plan as the planner itself writes it."""
    return plan_bytes(base_rows() | {"Settings": DEMO["Settings"]})


TOKENS = [
    b"<f>1+1</f>",
    b"<v/>",
    b"<v>nan</v>",
    b"<v>1e999</v>",
    b"<v>99999999999999999999</v>",
    b't="e"',
    b't="b"',
    b't="d"',
    b't="s"',
    b't="str"',
    b't="inlineStr"',
    b't="x"',
    b"&#0;",
    b"&#x1F;",
    b"&amp;",
    b"&bad;",
    b"<!--",
    b"-->",
    b"<![CDATA[",
    b"]]>",
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b'r="A0"',
    b'r="XFE1"',
    b'r="A1048577"',
    b'r="-1"',
    b'r=""',
    b'spans="0:0"',
    b"<row>",
    b"</row>",
    b"</sheetData>",
    b"<c/>",
    b'state="veryHidden"',
    b'name=""',
    b'r:id="rId99"',
    b"-1",
    b"9" * 30,
    b"0",
    b"NaN",
    b"INF",
    b"true",
    b"\xc3\x28",
    b"<is><t>x</t></is>",
    b'ref="A1:A0"',
    b'ref="A1"',
    b'ref="A1:XFD1048576"',
    b'date1904="1"',
    b"xml:space",
    b"xmlns",
]


def damage(draw: random.Random, data: bytes) -> bytes:
    """Bytes of a workbook changed, either of the file or of one XML part in it."""
    if draw.random() < 0.25:
        return _bytes_changed(draw, data, draw.choice((1, 1, 2, 8)))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        name = draw.choice(list(parts))
        parts[name] = _xml_changed(draw, parts[name])
    if draw.random() < 0.05:
        del parts[draw.choice(list(parts))]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return out.getvalue()


def _bytes_changed(draw: random.Random, data: bytes, count: int) -> bytes:
    changed = bytearray(data)
    for _ in range(count):
        place = draw.randrange(len(changed))
        kind = draw.randrange(4)
        if kind == 0:
            changed[place] = draw.randrange(256)
        elif kind == 1:
            changed[place] ^= 1 << draw.randrange(8)
        elif kind == 2:
            del changed[place : place + draw.randint(1, 64)]
        else:
            changed[place:place] = bytes(draw.randrange(256) for _ in range(draw.randint(1, 16)))
        if not changed:
            break
    return bytes(changed[: draw.randrange(len(changed) + 1)] if draw.random() < 0.1 else changed)


def _xml_changed(draw: random.Random, text: bytes) -> bytes:
    places = [found.span() for found in re.finditer(rb'="[^"]*"|>[^<]+<|<[a-zA-Z:]+|\d+', text)]
    if not places or draw.random() < 0.15:
        return _bytes_changed(draw, text, 1) if text else text
    start, end = draw.choice(places)
    kind = draw.randrange(5)
    if kind == 0:  # an attribute value, text, name or number becomes a token
        return text[:start] + draw.choice(TOKENS) + text[end:]
    if kind == 1:
        return text[:start] + b" " + draw.choice(TOKENS) + b" " + text[start:]
    if kind == 2:  # a value keeps its quotes
        value = draw.choice((b"", b"-1", b"0", b"x", b"9" * 25, b"1e999", b"nan", b"A1:ZZZZ9", b"rId1"))
        quoted = text[start:end].startswith(b'="')
        return text[:start] + (b'="' + value + b'"' if quoted else value) + text[end:]
    other, stop = draw.choice(places)
    if kind == 3:
        return text[:start] + text[other:stop] + text[end:]
    low, high = sorted((start, other))
    return text[:low] + text[min(high, low + 400) :]


# ----------------------------------------------------------------------------------------- outcomes


def run_tables(tables: dict[str, RawTable], with_reports: bool = False) -> str:
    """A case of raw tables: "report" or "results", or Failure."""
    plan, problems = read_plan(tables)
    return _outcome(plan, problems, with_reports)


def run_file(data: bytes, path: Path) -> str:
    """A case of a file: "file" (the file is refused), "report" or "results", or Failure."""
    path.write_bytes(data)
    try:
        plan, problems = check_plan(path)
    except FileError as error:
        for problem in error.problems:
            _check_line(str(problem))
            if not str(problem).startswith(str(path)):
                raise Failure(f"the file is not named: {problem}") from error
        return "file"
    return _outcome(plan, problems)


def _outcome(plan: Any, problems: list, with_reports: bool = False) -> str:
    if problems:
        _check_report(problems)
        return "report"
    try:
        own = any(map(NOT_FINITE.search, plan_texts(plan)))  # a part may be called nan
        for content in filter(None, contents(plan)):  # a sheet that a station does not need is None
            check_content(content, check_texts=not own)
        if with_reports:
            check_reports(plan, check_texts=not own)
    except DispenseError as error:
        _check_report(error.problems)
        return "late report"
    return "results"


def _check_report(problems) -> None:
    for problem in problems:
        _check_line(str(problem))
        if not CELL.match(problem.where):
            raise Failure(f"no sheet and cell: {problem}")


def _check_line(line: str) -> None:
    if "\n" in line or "\r" in line or len(line) > 1000:
        raise Failure(f"not one short line: {line[:300]!r}")


def contents(plan: Any) -> Iterator[Content]:
    """Everything that `dispense fill` would print; the balance is checked on the way."""
    results = []
    for result in play_plan(plan):
        for letter in result.letters:
            used = result.used[letter]
            if result.balance(letter) != 0 or min(used.values()) < 0 or result.closing[letter] < 0:
                raise Failure(f"the balance of {letter} does not close: {used}")
        results.append(result)
        yield shift_material_content(plan, result, "stamp")
        yield cure_board_content(plan, result, "stamp")
        yield shot_check_content(plan, result, "stamp")
    if results:
        yield staging_content(plan, results, "stamp")
    yield results_content(plan, results, "stamp")
    for row in plan.stations:
        if station_parts(plan, row.station):
            yield station_setup_content(plan, setup_card(plan, row.station), "stamp")


def check_reports(plan: Any, check_texts: bool = True) -> None:
    """The forecast and the cure report of every station: JSON that standard JSON can hold, clean texts."""
    found = [forecast(plan, 1, draws=10), *(cure_report(plan, row.station) for row in plan.stations)]
    for report in found:
        try:
            json.dumps(report.as_json(), allow_nan=False)
        except (ValueError, TypeError) as error:
            raise Failure(f"{type(report).__name__}: {error}") from error
        text = report.as_text()
        if check_texts and NOT_FINITE.search(text):
            place = NOT_FINITE.search(text).start()
            raise Failure(f"{type(report).__name__}: {text[max(0, place - 80) : place + 40]!r}")


def plan_texts(plan: Any) -> Iterator[str]:
    """Every text of a plan."""
    for table in TABLES:
        names = [item.name for item in table.columns if item.kind == "text"]
        for row in getattr(plan, table.attribute):
            yield from (getattr(row, name) or "" for name in names)
    yield from (value for value in plan.settings.values() if isinstance(value, str))


def check_content(content: Content, check_texts: bool = True) -> None:
    """Every value of a sheet can stand in a cell, and none says NaN."""
    cells: list[tuple[str, Any]] = list(content.values.items())
    for table, rows in content.tables.items():
        cells.extend((f"{table}.{name}", value) for row in rows for name, value in row.items())
    for name, value in cells:
        try:
            encode(value)
        except (ValueError, TypeError, OverflowError) as error:
            raise Failure(f"{content.spec.key} {name}: {value!r} is no cell value: {error}") from error
        if check_texts and isinstance(value, str) and NOT_FINITE.search(value):
            raise Failure(f"{content.spec.key} {name}: {value!r}")


def guarded(run: Callable[[], str]) -> str:
    """The outcome of a case, or "failure: …"; a case without end is cut off."""

    def late(*_: object) -> None:
        raise TimeoutError(f"no end within {SECONDS} s")

    clocks = []
    if hasattr(signal, "setitimer"):
        clocks = [
            (signal.ITIMER_PROF, signal.SIGPROF, SECONDS),
            (signal.ITIMER_REAL, signal.SIGALRM, BUSY * SECONDS),
        ]
    before = [signal.signal(told, late) for _, told, _ in clocks]
    for clock, _, seconds in clocks:
        signal.setitimer(clock, seconds)
    try:
        return run()
    except Failure as failure:
        return f"failure: {failure}"
    except Exception:
        return f"failure: {traceback.format_exc(limit=-6)}"
    finally:
        for (clock, told, _), old in zip(clocks, before, strict=True):
            signal.setitimer(clock, 0)
            signal.signal(told, old)


def case(
    seed: int,
    number: int,
    folder: Path,
    files: dict[str, bytes],
    share: float = FILE_SHARE,
    with_reports: bool = False,
):
    """One case: its outcome, and what to keep to play it again."""
    draw = random.Random(f"{seed}/{number}")
    if draw.random() < share:
        key = draw.choice(("light", "light", "light", "full"))
        if key not in files:
            files[key] = light_file() if key == "light" else full_file()
        data = damage(draw, files[key])
        return guarded(lambda: run_file(data, folder / "plan.xlsx")), data
    given = changes(draw)
    return guarded(lambda: run_tables(apply(given), with_reports)), given


# ------------------------------------------------------------------------------------------- corpus


def dump_value(value: Any) -> Any:
    """A cell value as JSON."""
    for kind in (datetime.datetime, datetime.date, datetime.time):
        if type(value) is kind:
            return {kind.__name__: value.isoformat()}
    if isinstance(value, datetime.timedelta):
        return {"seconds": value.total_seconds()}
    if isinstance(value, float) and not math.isfinite(value):
        return {"float": repr(value)}
    return value


def load_value(value: Any) -> Any:
    """The inverse of `dump_value`."""
    if not isinstance(value, dict):
        return value
    kind, text = next(iter(value.items()))
    if kind == "seconds":
        return datetime.timedelta(seconds=text)
    return float(text) if kind == "float" else getattr(datetime, kind).fromisoformat(text)


def dump(given: list[Change]) -> list[Change]:
    """Changes as JSON."""
    return [
        change | ({"value": dump_value(change["value"])} if "value" in change else {}) for change in given
    ]


def load(given: list[Change]) -> list[Change]:
    """Changes from JSON."""
    return [
        change | ({"value": load_value(change["value"])} if "value" in change else {}) for change in given
    ]


def corpus() -> list[tuple[str, list[Change]]]:
    """Past failures: what was wrong, and the changes that showed it."""
    return [(item["was"], load(item["changes"])) for item in json.loads(CORPUS.read_text("utf-8"))]


def main() -> int:
    """Play many cases; print a count of outcomes and every failure."""
    options = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    options.add_argument("--cases", type=int, default=1000)
    options.add_argument("--first", type=int, default=0, help="number of the first case")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--files", type=float, default=FILE_SHARE, help="share of damaged files")
    options.add_argument("--reports", action="store_true", help="forecast and cure reports too")
    options.add_argument("--keep", type=Path, help="folder for what fails")
    options.add_argument("--most", type=int, default=20, help="failures printed in full")
    given = options.parse_args()
    counts: collections.Counter[str] = collections.Counter()
    slowest, began = (0.0, -1), time.perf_counter()
    files: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:
        for number in range(given.first, given.first + given.cases):
            start = time.perf_counter()
            outcome, kept = case(given.seed, number, Path(folder), files, given.files, given.reports)
            slowest = max(slowest, (time.perf_counter() - start, number))
            kind, _, text = outcome.partition(": ")
            counts[("file, " if isinstance(kept, bytes) else "tables, ") + kind] += 1
            if kind != "failure":
                continue
            shown = kept if isinstance(kept, bytes) else dump(kept)
            if counts["tables, failure"] + counts["file, failure"] <= given.most:
                print(f"case {number}: {text}\n  {'' if isinstance(shown, bytes) else shown}")
            if given.keep:
                given.keep.mkdir(parents=True, exist_ok=True)
                if isinstance(kept, bytes):
                    (given.keep / f"{given.seed}-{number}.xlsx").write_bytes(kept)
                else:
                    (given.keep / f"{given.seed}-{number}.json").write_text(json.dumps(shown), "utf-8")
    for name, count in sorted(counts.items()):
        print(f"{count:7d}  {name}")
    print(f"{time.perf_counter() - began:.0f} s; slowest case {slowest[1]} took {slowest[0]:.1f} s")
    return 1 if counts["tables, failure"] + counts["file, failure"] else 0


if __name__ == "__main__":
    sys.exit(main())
