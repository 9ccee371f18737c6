"""A plan filled into its printed sheets: play the shifts, fill a template for each sheet, save.

    OUT/<date>_<shift>/<station>_material.xlsx, _cure_board.xlsx, _shot_check.xlsx, staging.xlsx
    OUT/setup/<station>_setup.xlsx
    OUT/results.xlsx

Everything that is wrong with the request is reported before anything is written; each file is
written whole or not at all; the same plan gives the same bytes but for the stamp.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from . import sheets
from .dispenser import setup_card, station_parts
from .errors import FileError, InputError, Problem, TemplateError
from .fields import Field
from .paper import paper_code
from .shift import ShiftResult, play_plan
from .terminal import table as aligned
from .units import unit_factor

__all__ = ["FillReport", "fill", "safe_name", "template_folder"]

Progress = Callable[[int, int], None]

KINDS = {
    "shift_material": "shift material sheets", "cure_board": "cure boards",
    "shot_check": "shot-check sheets", "staging": "staging sheets",
    "station_setup": "station setup cards", "results": "results workbooks",
}  # fmt: skip
SHOWN_WARNINGS = 8
_FORMULA_KEPT = "holds a formula, which was kept"


# ------------------------------------------------------------------------------------------ report


@dataclass(slots=True)
class FillReport:
    """What was written, and what a planner should look at."""

    folder: Path
    files: list[Path] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    warnings: list[dict[str, Any]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """The report for a script."""
        return {
            "folder": str(self.folder), "files": [str(path) for path in self.files],
            "counts": dict(self.counts), "warnings": [
                {**item, "date": str(item["date"])} for item in self.warnings
            ], "notes": list(self.notes),
        }  # fmt: skip

    def as_text(self) -> str:
        """The report for a terminal: counts, then the warnings worth reading first."""
        total = len(self.files)
        lines = [f"{total} file{'s' if total != 1 else ''} in {self.folder}"] if total else []
        first = next((path for path in self.files if path.name.endswith("_material.xlsx")), None)
        if first is not None:
            lines.append(f"  begin with {first.relative_to(self.folder)}")
        rows = [[f"  {KINDS[kind]}", count] for kind, count in self.counts.items() if count]
        lines += [line.rstrip() for line in aligned(["", ""], rows).splitlines()[1:] if rows]
        groups = _grouped(self.warnings)
        if groups:
            count = f"{len(self.warnings)} warning{'s' if len(self.warnings) != 1 else ''}"
            lines += ["", f"Worth a look first ({count} in results.xlsx):"]
            lines += aligned(["  times", "station", "first on", "warning"], [
                [f"  {group.count}", group.station, f"{group.date} {group.shift}", group.text]
                for group in groups[:SHOWN_WARNINGS]
            ]).splitlines()  # fmt: skip
            if len(groups) > SHOWN_WARNINGS:
                more = len(groups) - SHOWN_WARNINGS
                lines.append(f"  and {more} more kind{'s' if more > 1 else ''}")
        lines += [f"note: {words}" for words in self.notes]
        return "\n".join(lines)


@dataclass(slots=True)
class _Group:
    """Warnings of one station that differ in their figures only."""

    station: str
    date: datetime.date
    shift: str
    text: str
    count: int = 0


_GRAVITY = (r"is short by|missing", r"may not be used|throw away", r"good parts are finished",
            r"miss(es)? the")  # fmt: skip


def _grouped(warnings: Iterable[Mapping[str, Any]]) -> list[_Group]:
    """The gravest kind first, the most frequent first among equals."""
    groups: dict[tuple[str, str], _Group] = {}
    for item in warnings:
        key = (item["station"], re.sub(r"\d[\d:.,–-]*", "#", item["warning"]))
        group = groups.setdefault(
            key, _Group(item["station"], item["date"], item["shift"], item["warning"])
        )
        group.count += 1

    def gravity(group: _Group) -> tuple[int, int]:
        found = [rank for rank, words in enumerate(_GRAVITY) if re.search(words, group.text)]
        return (found[0] if found else len(_GRAVITY), -group.count)

    return sorted(groups.values(), key=gravity)


# -------------------------------------------------------------------------------------- file names

_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f\s]+')
_LONGEST = 60  # characters; with at most 4 bytes each still a name that any disk takes


def safe_name(name: str) -> str:
    """A station or shift as part of a file name that every system takes; letters stay as they are.

    >>> safe_name("Füller 1/2: Deckel")
    'Füller_1_2_Deckel'
    """
    text = unicodedata.normalize("NFC", name.strip()[: 8 * _LONGEST])
    text = "".join(char for char in text if unicodedata.category(char)[0] != "C" or char in "\t\n\r")
    text = _NOT_IN_NAMES.sub("_", text).strip("._ ").lstrip("=+-@~")[:_LONGEST]
    while len(text.encode()) > 2 * _LONGEST:
        text = text[:-1]
    return text.rstrip("._ ") or "unnamed"


def _distinct(names: Iterable[str]) -> dict[str, str]:
    """A safe name for each name, no two alike even where capitals do not count."""
    taken: set[str] = set()
    found: dict[str, str] = {}
    for name in names:
        stem = base = safe_name(name)
        count = 1
        while stem.casefold() in taken:
            count += 1
            stem = f"{base}_{count}"
        taken.add(stem.casefold())
        found[name] = stem
    return found


# --------------------------------------------------------------------------------------- templates


def template_folder() -> Path:
    """The folder of the templates that come with the planner."""
    here = Path(__file__).resolve().parent
    for folder in (here / "workbook_templates", here.parent / "workbook_templates"):
        if (folder / sheets.RESULTS.file).is_file():
            return folder
    raise FileError(
        Problem("templates", message="are not installed with the planner",
                fix="install it again, or give --templates FOLDER")
    )  # fmt: skip


def _template_files(folder: str | os.PathLike[str] | None) -> dict[str, Path]:
    """The file of each template: the plant's own where its folder has one, else the packaged."""
    packaged = template_folder()
    if folder is None:
        return {key: packaged / spec.file for key, spec in sheets.SPECS.items()}
    own = Path(folder)
    if not own.is_dir():
        raise FileError(Problem(str(folder), message="is not a folder of templates"))
    return {key: (own if (own / spec.file).is_file() else packaged) / spec.file
            for key, spec in sheets.SPECS.items()}  # fmt: skip


class Heading(str):
    """A table header without its unit, which knows its field."""

    __slots__ = ("field",)
    field: Field

    @classmethod
    def of(cls, item: Field) -> Heading:
        """The heading of a field."""
        heading = cls(item.title.removesuffix(f" [{item.unit}]") if item.unit else item.title)
        heading.field = item
        return heading


_HEADINGS = {
    table: {item.name: Heading.of(item) for item in fields}
    for spec in sheets.SPECS.values() for table, fields in spec.tables.items()
}  # fmt: skip


def convert(heading: str, value: Any, unit: str) -> Any:
    """A figure in the unit that the header of a template states."""
    item: Field | None = getattr(heading, "field", None)
    if item is None or unit == item.unit:
        return value
    shop_factor, shop_offset = unit_factor(item.unit, item.unit)
    factor, offset = unit_factor(unit, item.unit)
    return (value * shop_factor + shop_offset - offset) / factor


def _headed(content: sheets.Content) -> dict[str, list[dict[str, Any]]]:
    """The rows of each table by heading."""
    return {
        name: [{headings[key]: value for key, value in row.items()} for row in rows]
        for name, rows in content.tables.items() for headings in (_HEADINGS[name],)
    }  # fmt: skip


class Templates:
    """The templates of one run, each read once, with paper and stamp set."""

    def __init__(self, files: Mapping[str, Path], paper: str, stamp: str):
        self.files, self.paper, self.stamp = dict(files), paper, stamp
        self._read: dict[str, Any] = {}

    def get(self, key: str):
        """A template, read when first asked for."""
        if key not in self._read:
            from .workbook.fill import Template
            from .workbook.form import STAMP_MARK
            from .workbook.package import Package
            from .workbook.pages import set_paper, stamp_footers

            package = Package.open(self.files[key])
            set_paper(package, paper_code(self.paper, "fill"))
            stamp_footers(package, STAMP_MARK, self.stamp)
            self._read[key] = Template(Package.open(package.to_bytes(), name=str(self.files[key])))
        return self._read[key]

    def fill(self, content: sheets.Content, path: Path) -> list[str]:
        """Fill one sheet and save it; returns notes."""
        from .workbook.evaluate import evaluate_package
        from .workbook.pages import fit_texts, set_scale

        spec = content.spec
        filled = self.get(spec.key).fill(content.values, _headed(content), convert=convert,
                                         required=spec.required, evaluate=evaluate_package)  # fmt: skip
        fit_texts(filled.package)
        if spec is sheets.SHOT_CHECK:
            set_scale(filled.package, content.values["low"], content.values["high"])
        filled.save(path, forbid=self.files.values())
        return [f"{spec.file}: {note}" for note in filled.report.notes if _FORMULA_KEPT not in note]


# --------------------------------------------------------------------------------------------- jobs


@dataclass(slots=True)
class _Job:
    """One file to write."""

    path: Path
    content: sheets.Content


_worker: Templates | None = None


def _start_worker(files: Mapping[str, Path], paper: str, stamp: str) -> None:
    global _worker
    _worker = Templates(files, paper, stamp)


def _work(path: Path, key: str, values: dict, tables: dict) -> list[str]:
    assert _worker is not None
    return _worker.fill(sheets.Content(sheets.SPECS[key], values, tables), path)


def _run(jobs: Sequence[_Job], templates: Templates, processes: int, progress: Progress | None) -> list[str]:
    """Write all files; returns the notes, each once."""
    notes: dict[str, None] = {}

    def done(count: int, found: Iterable[str]) -> None:
        notes.update(dict.fromkeys(found))
        if progress is not None:
            progress(count, len(jobs))

    for folder in dict.fromkeys(job.path.parent for job in jobs):
        _make_folder(folder)
    if processes <= 1 or len(jobs) < 2:
        for count, job in enumerate(jobs, 1):
            done(count, templates.fill(job.content, job.path))
        return list(notes)
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(processes, initializer=_start_worker, initargs=(
        templates.files, templates.paper, templates.stamp)) as pool:  # fmt: skip
        found = pool.map(
            _work, (job.path for job in jobs), (job.content.spec.key for job in jobs),
            (job.content.values for job in jobs), (job.content.tables for job in jobs),
            chunksize=max(1, min(16, len(jobs) // (4 * processes))),
        )  # fmt: skip
        for count, item in enumerate(found, 1):
            done(count, item)
    return list(notes)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError(Problem(str(folder), message=f"this folder cannot be made: {reason}")) from error


# ------------------------------------------------------------------------------------- what to fill


@dataclass(slots=True)
class _Chosen:
    """The part of a plan to fill."""

    date: datetime.date | None = None
    shift: str | None = None
    stations: list[str] | None = None

    def has(self, result: ShiftResult) -> bool:
        """Whether a station's shift is asked for."""
        return (
            (self.date is None or result.date == self.date)
            and (self.shift is None or result.shift == self.shift)
            and (self.stations is None or result.station.station in self.stations)
        )


def _choose(plan, date, shift: str | None, stations: Iterable[str] | None) -> _Chosen:
    """Dates, shifts and stations as the plan has them; all that is unknown is reported at once."""
    problems: list[Problem] = []
    chosen = _Chosen()
    days = plan.days()
    if date is not None:
        dates = sorted({day for day, _ in days})
        allowed = f"a day with builds ({_listed(map(str, dates))})"
        try:
            chosen.date = date if isinstance(date, datetime.date) else datetime.date.fromisoformat(date)
        except ValueError:
            problems.append(Problem("fill", "date", date, allowed, "write it as 2026-03-31"))
        else:
            if chosen.date not in dates:
                problems.append(Problem("fill", "date", str(chosen.date), allowed))
    if shift is not None:
        names = [row.shift for row in plan.shifts]
        chosen.shift = _named(shift, names)
        if chosen.shift is None:
            problems.append(Problem("fill", "shift", shift, f"a shift of the plan ({_listed(names)})"))
        elif chosen.date is not None and not problems and (chosen.date, chosen.shift) not in days:
            there = [name for day, name in days if day == chosen.date]
            problems.append(
                Problem("fill", "shift", shift, f"a shift with builds on {chosen.date} ({_listed(there)})")
            )
    if stations is not None:
        names = [row.station for row in plan.stations]
        chosen.stations = []
        for name in stations:
            found = _named(name, names)
            if found is None:
                problems.append(
                    Problem("fill", "station", name, f"a station of the plan ({_listed(names)})")
                )
            else:
                chosen.stations.append(found)
    if problems:
        raise InputError(problems)
    return chosen


def _named(given: str, names: Sequence[str]) -> str | None:
    """The name as the plan has it; capitals and outer spaces do not count."""
    wanted = " ".join(str(given).split()).casefold()
    exact = [name for name in names if name == given]
    return next(iter(exact or [name for name in names if " ".join(name.split()).casefold() == wanted]), None)


def _listed(names: Iterable[str], most: int = 12) -> str:
    names = list(names)
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _until(plan, chosen: _Chosen) -> tuple[datetime.date, str] | None:
    """The last shift that must be played for what is chosen."""
    days = [
        (date, shift) for date, shift in plan.days()
        if (chosen.date is None or date == chosen.date) and (chosen.shift is None or shift == chosen.shift)
    ]  # fmt: skip
    return days[-1] if days else None


def _jobs(plan, results: Sequence[ShiftResult], chosen: _Chosen, out: Path, stamp: str) -> Iterator[_Job]:
    """Every file in the order in which a planner reads them."""
    stems = _distinct(row.station for row in plan.stations)
    shifts = _distinct(row.shift for row in plan.shifts)
    yield _Job(out / "results.xlsx", sheets.results_content(plan, results, stamp))
    for row in plan.stations:
        name = row.station
        if (chosen.stations is None or name in chosen.stations) and station_parts(plan, name):
            yield _Job(out / "setup" / f"{stems[name]}_setup.xlsx",
                       sheets.station_setup_content(plan, setup_card(plan, name), stamp))  # fmt: skip
    by_shift: dict[tuple[datetime.date, str], list[ShiftResult]] = {}
    for result in results:
        by_shift.setdefault((result.date, result.shift), []).append(result)
    for (date, shift), group in by_shift.items():
        folder = out / f"{date}_{shifts[shift]}"
        yield _Job(folder / "staging.xlsx", sheets.staging_content(plan, group, stamp))
        for result in group:
            stem = stems[result.station.station]
            for suffix, content in (("material", sheets.shift_material_content),
                                    ("cure_board", sheets.cure_board_content),
                                    ("shot_check", sheets.shot_check_content)):  # fmt: skip
                yield _Job(folder / f"{stem}_{suffix}.xlsx", content(plan, result, stamp))


def fill(plan_path: str | os.PathLike[str], out: str | os.PathLike[str] | None = None, *,
         date: datetime.date | str | None = None, shift: str | None = None,
         stations: Iterable[str] | None = None, templates: str | os.PathLike[str] | None = None,
         paper: str = "A4", processes: int = 1, open_workbook: bool = False,
         progress: Progress | None = None, stamp: str | None = None) -> FillReport:  # fmt: skip
    """Play a plan and fill its sheets into the folder `out` (by default beside the plan).

    `date`, `shift` and `stations` keep to a part of the plan; stock is carried from the first day
    all the same. `templates` is a folder with the plant's own templates; those that it lacks are
    the packaged ones. `stamp` is the only text that differs between two runs. With `open_workbook`
    the workbook that is open in the spreadsheet is filled, a template or what was made from one;
    files are then written only where `out` is given.
    """
    from .workbook.read_plan import load_plan

    paper_code(paper, "fill")
    if isinstance(processes, bool) or not isinstance(processes, int) or processes < 1:
        raise InputError(Problem("fill", "processes", processes, "a whole number 1 or more"))
    plan = load_plan(plan_path)
    chosen = _choose(plan, date, shift, None if stations is None else list(stations))
    files = _template_files(templates)
    stamp = datetime.datetime.now().strftime("%Y-%m-%d %H:%M") if stamp is None else str(stamp)
    source = Path(plan_path)
    folder = Path(out) if out is not None else source.with_name(f"{source.stem}_sheets")
    results = [
        result for result in play_plan(plan, until=_until(plan, chosen), stations=chosen.stations)
        if chosen.has(result)
    ]  # fmt: skip
    jobs = list(_jobs(plan, results, chosen, folder, stamp))
    library = Templates(files, paper, stamp)
    _check_templates(library, {job.content.spec.key for job in jobs})
    _check_targets(jobs, source, files.values())
    report = FillReport(folder)
    if open_workbook:
        report.notes = _fill_open([job.content for job in jobs])
        if out is None:
            report.warnings = _warnings(results)
            return report
    report.files = [job.path for job in jobs]
    report.counts = {kind: sum(job.content.spec.key == kind for job in jobs) for kind in KINDS}
    report.warnings = _warnings(results)
    report.notes += _run(jobs, library, processes, progress)
    return report


def _warnings(results: Iterable[ShiftResult]) -> list[dict[str, Any]]:
    return [
        {"date": result.date, "shift": result.shift, "station": result.station.station, "warning": words}
        for result in results for words in result.warnings
    ]  # fmt: skip


def _fill_open(contents: Sequence[sheets.Content], book: Any = None) -> list[str]:
    """Fill the workbook that is open in the spreadsheet; returns notes."""
    from .workbook.target import OpenWorkbookTarget, open_workbook

    book = open_workbook() if book is None else book
    there = {str(table.name).casefold() for sheet in book.sheets for table in sheet.tables}
    notes: list[str] = []
    wanted: list[sheets.Content] = []
    for spec in sheets.SPECS.values():
        if any(name.casefold() in there for name in spec.tables):
            fitting = [content for content in contents if content.spec is spec]
            if len(fitting) != 1:
                raise InputError(
                    Problem(str(book.name), message=f"{len(fitting)} {KINDS[spec.key]} would fit",
                            fix="choose one with --date, --shift and --station")
                )  # fmt: skip
            wanted += fitting
    if not wanted:
        raise TemplateError(
            Problem(str(book.name), message="has none of the tables of the sheets",
                    fix=f"open a template from {template_folder()}")
        )  # fmt: skip
    for content in wanted:
        target = OpenWorkbookTarget(book, convert=convert, required=content.spec.required)
        for name, value in content.values.items():
            target.set_name(name, value)
        for name, rows in _headed(content).items():
            target.set_table(name, rows)
        notes += target.save()
    return [f"filled the open workbook {book.name}", *notes]


def _check_templates(library: Templates, keys: Iterable[str]) -> None:
    """Every template is read, and lacks nothing it needs, before anything is written."""
    problems: list[Problem] = []
    for key in sorted(keys):
        spec = sheets.SPECS[key]
        try:
            package = library.get(key).package
        except (FileError, TemplateError) as error:
            problems.extend(error.problems)
            continue
        names = {item.name.casefold() for item in package.defined_names}
        problems.extend(
            Problem(package.name, message=f"no defined name is called {name}",
                    fix="give the name back to its cell")
            for name in spec.required if name.casefold() not in names
        )  # fmt: skip
    if problems:
        raise TemplateError(problems)


def _marks(path: str | os.PathLike[str]) -> Iterator[Any]:
    """What a file is known by: its full name, and its place on the disk, whatever it is called."""
    with contextlib.suppress(OSError, ValueError):
        yield os.path.normcase(os.path.realpath(path))
        found = os.stat(path)
        yield found.st_dev, found.st_ino


def _check_targets(jobs: Iterable[_Job], plan: Path, templates: Iterable[Path]) -> None:
    """No output may stand where an input stands."""
    inputs = {mark for path in (plan, *templates) for mark in _marks(path)}
    problems = [
        Problem(str(job.path), message="is an input and is not overwritten", fix="choose another folder")
        for job in jobs if inputs.intersection(_marks(job.path))
    ]  # fmt: skip
    if problems:
        raise FileError(problems)


