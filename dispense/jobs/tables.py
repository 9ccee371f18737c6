"""What commands found out as tables for other programs: CSV or Parquet files, or one workbook of tables.

The first row is the header. Units and types stand in `datapackage.json` beside the CSV files (Data Package
standard, Table Schema), in the schema of Parquet files, and in the headers of the workbook, whose tables
are named and begin in cell A1.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Iterable, Sequence
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..base.errors import FileError, InputError, Problem
from ..base.fields import Field
from ..base.file_names import safe_name
from ..base.findings import Finding
from ..base.naming import field_name
from ..base.printed import csv_cell
from ..base.tidy import TYPES, TidyColumn, TidyTable, plain, table_of_rows
from ..base.units import AS_GIVEN
from ..reports.compare import Comparison
from ..sheets.spec import Content
from ..xlsx.typed import foreign, save_signed
from ..xlsx.write import atomic_write, clean, make_folder, refuse_overwrite

if TYPE_CHECKING:
    from ..forecast.results import Forecast

__all__ = [
    "FORMS",
    "compare_tables",
    "content_tables",
    "finding_table",
    "forecast_tables",
    "write_table",
    "write_tables",
]

FORMS = (CSV, PARQUET, WORKBOOK) = ("csv", "parquet", "xlsx")
PACKAGE = "datapackage.json"
MAKER = "dispense tables"  # by which a folder of tables is known as ours
BOOK = "tables.xlsx"
_KEYS = ("day", "shift", "station", "material")  # of a sheet, before the columns of its tables


# ------------------------------------------------------------------------------------------ writing


def write_tables(
    tables: Sequence[TidyTable],
    folder: str | os.PathLike[str],
    form: str = CSV,
    forbid: Iterable[str | os.PathLike[str]] = (),
) -> list[Path]:
    """Write each table into a folder, in place of tables that were written there before.

    Raises FileError where a file stands there that these tables did not write, before any is written.
    """
    if form not in FORMS:
        raise InputError(Problem("tables", "form", form, "one of " + ", ".join(FORMS)))
    target, kept = Path(folder), list(forbid)
    if form == WORKBOOK:
        make_folder(target)
        path, _ = save_signed(target / BOOK, _book(tables), "tables", kept)
        return [path]
    files = {f"{safe_name(table.name)}.{form}": _content(table, form) for table in tables}
    before = _written_before(target)
    for name in files:
        refuse_overwrite(target / name, kept)
        if (target / name).exists() and name not in before:
            raise FileError(foreign(target / name))
    if (target / PACKAGE).exists() and before is _NOTHING:
        raise FileError(foreign(target / PACKAGE))
    make_folder(target)
    clean(target)
    package = _described(tables, form, files)
    gone = {name: before[name] for name in before if name not in files}  # of a run that had a table more
    if gone or set(files) - set(before):  # first said: after a kill the next run knows what is ours
        atomic_write(target / PACKAGE, _with_gone(package, gone))
    for name, content in files.items():
        atomic_write(target / name, content)
    for name, fingerprint in gone.items():
        _drop(target / Path(name).name, fingerprint)
    atomic_write(target / PACKAGE, package)
    return [target / name for name in (*files, PACKAGE)]


def write_table(
    table: TidyTable, path: str | os.PathLike[str], forbid: Iterable[str | os.PathLike[str]] = ()
) -> Path:
    """Write one table to a file: CSV, Parquet or a workbook by its ending, in place of such a table only."""
    target, kept = Path(path), list(forbid)
    form = target.suffix.lower().removeprefix(".")
    if form not in FORMS:
        endings = ", ".join(f".{each}" for each in FORMS)
        raise FileError(
            Problem(
                str(path), message="is not a kind of file that is written", fix=f"one ending in {endings}"
            )
        )
    if form == WORKBOOK:
        return save_signed(target, _book([table]), "tables", kept)[0]
    content = _content(table, form)
    refuse_overwrite(target, kept)
    clean(target.parent)
    if target.exists() and not _is_such(target, content, form):
        raise FileError(_other_table(target, form))
    return atomic_write(target, content, forbid=kept)


def _other_table(target: Path, form: str) -> Problem:
    """That a file holds another table: of before with other columns, or of somebody else."""
    head = target.read_bytes().splitlines()[:1] if form == CSV else []
    words = head[0].decode("utf-8-sig", "replace")[:HEAD_SHOWN] if head else ""
    shown = f' (its columns are "{words}")' if words else ""
    return Problem(
        str(target),
        message=f"is there already with other columns than are written now{shown}, and is not replaced",
        fix="choose another name, move it away, or write the same columns",
    )


def _is_such(path: Path, new: bytes, form: str) -> bool:
    """Whether a file holds a table with the same header."""
    old = path.read_bytes()
    if form == CSV:
        return old.splitlines()[:1] == new.splitlines()[:1]
    from pyarrow import BufferReader, lib, parquet

    try:
        heads = [parquet.read_schema(BufferReader(data)).names for data in (old, new)]
    except (OSError, ValueError, lib.ArrowException):
        return False
    return bool(heads[0] == heads[1])


HEAD_SHOWN = 80  # characters of the first line of a file that a message shows

_NOTHING: dict[str, str] = {}


def _written_before(folder: Path) -> dict[str, str]:
    """The files of a run before and their fingerprints."""
    try:
        found = json.loads((folder / PACKAGE).read_bytes())
        if found["created_by"] != MAKER:
            return _NOTHING
        return {str(item["path"]): str(item["hash"]) for item in found["resources"]}
    except (OSError, ValueError, KeyError, TypeError):
        return _NOTHING


def _drop(path: Path, fingerprint: str) -> None:
    """Remove a file that nobody changed since it was written."""
    if path.is_file() and _hash(path.read_bytes()) == fingerprint:
        path.unlink()


def _hash(data: bytes) -> str:
    return f"sha256:{sha256(data).hexdigest()}"


def _described(tables: Sequence[TidyTable], form: str, files: dict[str, bytes]) -> bytes:
    """The tables, their columns, units and types, as the Data Package standard writes them."""
    resources = [
        {
            "name": field_name(table.name),
            "title": table.title,
            "path": path,
            "format": form,
            "hash": _hash(content),
            "bytes": len(content),
            "schema": {
                "fields": [
                    {"name": column.name, "type": TYPES[column.kind]}
                    | ({"unit": column.unit} if column.unit else {})
                    for column in table.columns
                ],
                "missingValues": [""],
            },
        }
        for table, (path, content) in zip(tables, files.items(), strict=True)
    ]
    package = {"name": "dispense", "created_by": MAKER, "resources": resources}
    return (json.dumps(package, ensure_ascii=False, indent=2) + "\n").encode()


def _with_gone(package: bytes, gone: dict[str, str]) -> bytes:
    """The same with files of a run before that will go."""
    found = json.loads(package)
    found["resources"] += [{"path": path, "hash": fingerprint} for path, fingerprint in gone.items()]
    return (json.dumps(found, ensure_ascii=False, indent=2) + "\n").encode()


def _content(table: TidyTable, form: str) -> bytes:
    return _csv(table) if form == CSV else _parquet(table)


def _csv(table: TidyTable) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([csv_cell(column.name) for column in table.columns])
    for row in table.rows:
        writer.writerow([_csv_value(plain(value)) for value in row])
    return out.getvalue().encode()


def _csv_value(value: Any) -> Any:
    if isinstance(value, bool):
        return "true" if value else "false"
    return csv_cell(value.isoformat() if hasattr(value, "isoformat") else value)


def _parquet(table: TidyTable) -> bytes:
    try:
        import pyarrow as arrow
        from pyarrow import parquet
    except ImportError as error:
        raise FileError(
            Problem(
                "tables", message="Parquet needs pyarrow, which is not installed", fix="pip install pyarrow"
            )
        ) from error
    types = {
        "number": arrow.float64(),
        "share": arrow.float64(),
        "whole": arrow.int64(),
        "date": arrow.date32(),
        "moment": arrow.timestamp("us"),
        "flag": arrow.bool_(),
    }
    columns, fields = [], []
    for place, column in enumerate(table.columns):
        kind = types.get(column.kind, arrow.string())
        values = [plain(row[place]) for row in table.rows]
        if kind == arrow.string():
            values = [None if value is None else str(value) for value in values]
        elif column.kind == "whole":
            values = [None if value is None else int(value) for value in values]
        columns.append(arrow.array(values, type=kind))
        fields.append(arrow.field(column.name, kind, metadata={"unit": column.unit}))
    sink = arrow.BufferOutputStream()
    parquet.write_table(arrow.Table.from_arrays(columns, schema=arrow.schema(fields)), sink)
    data: bytes = sink.getvalue().to_pybytes()
    return data


def _book(tables: Sequence[TidyTable]) -> bytes:
    """A workbook with a sheet for each table: an Excel table of its name from cell A1 on."""
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.table import Table

    from ..books.finish import finished
    from ..books.style import put_text

    book = Workbook()
    book.remove(book.active)
    for table in tables:
        sheet = book.create_sheet(safe_name(table.name)[:31])
        for place, column in enumerate(table.columns, 1):
            put_text(sheet.cell(1, place), column.title)
        for number, row in enumerate(table.rows, 2):
            for place, value in enumerate(map(plain, row), 1):
                if isinstance(value, str):
                    put_text(sheet.cell(number, place), value)
                elif value is not None:
                    sheet.cell(number, place, value)
        right = get_column_letter(len(table.columns))
        name = field_name(table.name).replace(".", "_")
        sheet.add_table(Table(displayName=name, name=name, ref=f"A1:{right}{max(len(table.rows), 1) + 1}"))
    return finished(book, BOOK, "A4")


# ---------------------------------------------------------------------------------------- the tables


def finding_table(findings: Iterable[Finding]) -> TidyTable:
    """Findings, one a row."""
    columns = [(name, "", "text") for name in ("Kind", "Topic", "Station", "Material", "Part")]
    columns += [("Day", "", "date"), ("Shift", "", "text"), ("Cell", "", "text")]
    columns += [("Finding", "", "text"), ("What to do", "", "text")]
    rows = [
        [
            *(one.kind, one.topic, one.station, one.material, one.part),
            *(one.day, one.shift, one.cell, one.text, one.fix),
        ]
        for one in findings
    ]
    return table_of_rows("findings", "What must be known first", columns, rows)


def forecast_tables(found: Forecast) -> list[TidyTable]:
    """The tables of a forecast, its findings, and the planned use shift by shift."""
    tables = [
        table_of_rows(each.name, each.question, each.columns, each.rows) for each in found.tables.values()
    ]
    frame = found.frame()
    kinds = {"date": "date", "volume [mL]": "number"}
    use = table_of_rows(
        "use",
        "Planned use by shift, station, component and cause",
        [
            (name.removesuffix(" [mL]").capitalize(), "mL" if "[mL]" in name else "", kinds.get(name, "text"))
            for name in frame.columns
        ],
        frame.itertuples(index=False, name=None),
    )
    return [*tables, use, finding_table(found.findings)]


def compare_tables(report: Comparison) -> list[TidyTable]:
    """Each set of what may be chosen, with what it uses and costs."""
    columns = [("Stations", "", "text"), ("Rank", "", "whole"), ("Choices", "", "text")]
    columns += [("Present", "", "flag"), ("Admissible", "", "flag")]
    units = {
        "cost": report.currency,
        "cost_of_waste": report.currency,
        "waste": "mL",
        "lost_in_containers": "mL",
        "left_at_end": "mL",
        "pressure": "bar",
        "pressure_limit": "bar",
        "hottest_pour": "°C",
    }
    counts = ("purges", "mixers", "containers", "stops", "cure_positions")
    parts = ("parts_asked", "parts_made", "parts_not_made")
    columns += [(name, unit, "number") for name, unit in units.items()]
    columns += [(name, "", "whole") for name in (*counts, *parts)]
    rows = []
    for station in report.as_json()["stations"]:
        for one in station["sets"]:
            head = [", ".join(station["stations"]), one["rank"], ", ".join(one["choices"])]
            rows.append(
                [
                    *(*head, one["present"], one["admissible"]),
                    *(one[name] for name in (*units, *counts, *parts)),
                ]
            )
    titled = [(name.replace("_", " ").capitalize(), unit, kind) for name, unit, kind in columns]
    sets = table_of_rows("sets", "What may be chosen, side by side", titled, rows)
    return [sets, finding_table(report.findings)]


def content_tables(contents: Iterable[Content]) -> list[TidyTable]:
    """What stands on filled sheets: of each kind its figures, a row a sheet, and each of its tables."""
    tables: dict[str, TidyTable] = {}
    for content in contents:
        spec = content.spec
        keys = [item for item in spec.names if item.name in _KEYS and item.name in content.values]
        figures = f"{spec.key}_figures"
        if figures not in tables:
            columns = _columns([*keys, *(item for item in spec.names if item not in keys)])
            tables[figures] = TidyTable(figures, f"{spec.title}: figures", columns)
        row = {**dict.fromkeys(item.name for item in spec.names), **content.values}
        names = [item.name for item in keys] + [item.name for item in spec.names if item not in keys]
        tables[figures].rows.append([row[name] for name in names])
        for name, items in spec.tables.items():
            own = {item.name for item in items}
            before = [item for item in keys if item.name not in own]
            if name not in tables:
                tables[name] = TidyTable(name, f"{spec.title}: {name}", _columns([*before, *items]))
            head = [content.values[item.name] for item in before]
            tables[name].rows += [
                [*head, *(each.get(item.name) for item in items)] for each in content.tables.get(name, ())
            ]
    return list(tables.values())


def _columns(items: Sequence[Field]) -> tuple[TidyColumn, ...]:
    """Fields as columns; of two that are headed alike each goes by its name."""
    heads = [item.heading for item in items]
    return tuple(
        TidyColumn(
            item.heading if heads.count(item.heading) == 1 else item.name,
            "" if item.unit == AS_GIVEN else item.unit,
            item.kind if item.kind in TYPES else "text",
        )
        for item in items
    )
