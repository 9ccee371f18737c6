"""A plan filled into its printed sheets: play the shifts, fill a template for each sheet, save.

    OUT/<date>_<shift>/<station>_material.xlsx, _cure_board.xlsx, _shot_check.xlsx, staging.xlsx
    OUT/<date>_<shift>/line.xlsx where parts pass stations by routes
    OUT/setup/<station>_setup.xlsx, from when it changes on also <station>_from_<date>_setup.xlsx
    OUT/results.xlsx
    OUT/manifest.json    what went in and came out
    OUT/superseded/...   sheets of the period that no longer hold

Everything that is wrong with the request is reported before anything is written; each file is
written whole or not at all; the same inputs give the same bytes.
"""

from __future__ import annotations

import contextlib
import datetime
import functools
import os
import re
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from ..base.errors import DispenseError, FileError, InputError, Problem, TemplateError
from ..base.fields import Field
from ..base.file_names import distinct_names, safe_name
from ..base.findings import FAILED, GRAVE, STOP, Finding, gravest_first
from ..base.language import ENGLISH, Language, printed_in, read_language, translated
from ..base.language import language as printed_language
from ..base.measures import Measures, measured_in, measures, spaced
from ..base.naming import fold
from ..base.paper import paper_code
from ..base.printed import Printed, PrintedLimits, counted, listed
from ..base.processes import check_processes
from ..base.spread import spread
from ..base.terminal import findings_text
from ..base.terminal import table as aligned
from ..base.units import unit_factor
from ..base.workers import Stopped, begin_worker
from ..journal.start import AsOf
from ..plan.holidays import built_on_holidays
from ..plan.records import Plan
from ..plan.sources import NO_SOURCES, Sources, load_plan_from
from ..plan.validity import CardPeriod, card_periods
from ..plan.weeks import is_free
from ..reports.findings import concerns, not_played, plan_findings
from ..sheets.catalogue import SHEETS, SPECS
from ..sheets.check import SHOT_CHECK, check_headline
from ..sheets.headings import Heading, Headings, headers_of, headings_of, keyed_headers
from ..sheets.litres import in_litres
from ..sheets.pieces import ALARM
from ..sheets.setup import STATION_SETUP, setup_headline
from ..sheets.spec import Content, MayGo, SheetSpec, Value, in_language
from ..shift.play import play_plan
from ..shift.results import ShiftResult
from ..shift.setup import SetupCard, setup_card, station_parts
from ..shift.today import Today
from ..xlsx.typed import carry, foreign, is_foreign, keep_filled_in, sign
from .now import read_today, reckoned_notes
from .release import list_of, revision_of
from .start import begun, journal_of
from .tables import content_tables, write_tables
from .unattended import (
    SUPERSEDED,
    Input,
    check_manifest,
    input_of,
    inputs_of,
    stamp_of,
    supersede,
    write_manifest,
)

if TYPE_CHECKING:
    from ..xlsx.package import Package
    from ..xlsx.templates import Template

__all__ = ["FillReport", "fill", "safe_name", "template_folder"]

Progress = Callable[[int, int], None]

KINDS = {sheet.spec.key: sheet.plural for sheet in SHEETS}
_some = partial(listed, most=12)  # names that a message offers to choose from
SETUP = "setup"  # the folder of setup cards
_SINCE = re.compile(r"_from_\d{4}-\d\d-\d\d(?=_)")  # in the name of a later setup card of a station
SHOWN_CELLS = 4  # of those filled in by hand that a note names
_FORMULA_KEPT = "holds a formula, which was kept"


# ------------------------------------------------------------------------------------------ report


@dataclass(slots=True)
class FillReport:
    """What was written, and what a planner should look at."""

    folder: Path
    files: list[Path] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    not_written: list[Problem] = field(default_factory=list)
    superseded: list[str] = field(default_factory=list)  # sheets that were moved away
    contents: list[Content] = field(default_factory=list)  # what stands on the sheets
    nothing: str = ""  # why there is nothing to fill
    seconds: float = 0.0
    tables: list[Path] = field(default_factory=list)
    measures: Measures = field(default_factory=Measures)  # in whose units a terminal tells it

    @property
    def warnings(self) -> list[dict[str, Any]]:
        """Where and what of each finding that is no note."""
        return [
            {"date": item.day, "shift": item.shift, "station": item.station, "warning": item.text}
            for item in self.findings
            if item.is_warning
        ]

    def as_json(self) -> dict[str, Any]:
        """The report for a script."""
        return {
            "folder": str(self.folder),
            "files": [str(path) for path in self.files],
            "counts": dict(self.counts),
            "findings": [item.as_json() for item in self.findings],
            "warnings": [{**item, "date": str(item["date"] or "")} for item in self.warnings],
            "notes": list(self.notes),
            "not_written": [str(problem) for problem in self.not_written],
            "superseded": list(self.superseded),
            "table_files": [str(path) for path in self.tables],
            "seconds": round(self.seconds, 3),
            "tables": {table.name: table.records() for table in content_tables(self.contents)},
        }

    def as_text(self) -> str:
        """The report for a terminal: what may hurt or stops the line first, then counts, then the rest."""
        total = len(self.files)
        grave = [item for item in self.findings if item.kind in GRAVE]
        others = [item for item in self.findings if item.kind not in GRAVE]
        lines = [findings_text(grave), ""] if grave else []
        lines += [self.nothing] if self.nothing else []
        lines += [f"{counted(total, 'file')} in {self.folder}"] if total else []
        first = next((path for path in self.files if path.name.endswith("_material.xlsx")), None)
        if first is not None:
            lines.append(f"  begin with {first.relative_to(self.folder)}")
        rows = [[f"  {KINDS[kind]}", count] for kind, count in self.counts.items() if count]
        lines += [line.rstrip() for line in aligned(["", ""], rows).splitlines()[1:] if rows]
        if others:
            lines += ["", findings_text(others, notes=False, more="all in results.xlsx")]
        if self.superseded:
            moved = f"{counted(len(self.superseded), 'sheet')} that no longer hold"
            moved += "s" if len(self.superseded) == 1 else ""
            lines.append(f"moved to {self.folder / SUPERSEDED}: {moved}: {listed(self.superseded)}")
        lines += [f"note: {words}" for words in self.notes]
        lines += [f"not written: {problem}" for problem in self.not_written]
        return "\n".join(lines)


# --------------------------------------------------------------------------------------- templates


@functools.cache
def template_folder() -> Path:
    """The folder of the templates that come with the planner."""
    here = Path(__file__).resolve().parents[1]
    for folder in (here / "workbook_templates", here.parent / "workbook_templates"):
        if all((folder / spec.file).is_file() for spec in SPECS.values()):
            return folder
    raise FileError(
        Problem(
            "templates",
            message="are not installed with the planner",
            fix="install it again, or give --templates FOLDER",
        )
    )


def _template_files(folder: str | os.PathLike[str] | None) -> dict[str, Path]:
    """The file of each template: the plant's own where its folder has one, else the packaged."""
    packaged = template_folder()
    if folder is None:
        return {key: packaged / spec.file for key, spec in SPECS.items()}
    own = Path(folder)
    if not own.is_dir():
        raise FileError(Problem(str(folder), message="is not a folder of templates"))
    return {
        key: (own if (own / spec.file).is_file() else packaged) / spec.file for key, spec in SPECS.items()
    }


def convert(heading: str, value: Any, unit: str) -> Any:
    """A figure in the unit that the header of a template states."""
    item: Field | None = getattr(heading, "field", None)
    if item is None or unit == item.unit:
        return value
    shop_factor, shop_offset = unit_factor(item.unit, item.unit)
    factor, offset = unit_factor(unit, item.unit)
    if isinstance(value, Printed):  # masses, flows and pressures: no offset
        return value.times(shop_factor / factor)
    return (value * shop_factor + shop_offset - offset) / factor


def _headed(content: Content, headings: Headings) -> dict[str, list[dict[str, Any]]]:
    """The rows of each table by heading."""
    return {
        name: [{headings[name][key]: value for key, value in row.items()} for row in rows]
        for name, rows in content.tables.items()
    }


def _by_name(content: Content) -> dict[str, Any]:
    """The values by defined name, each name knowing its unit."""
    names = {item.name: Heading.of(item, item.name) for item in content.spec.names}
    return {names[name]: value for name, value in content.values.items()}


def _template_problems(spec: SheetSpec, package: Package) -> list[Problem]:
    """What a template lacks, and what in it does not follow the units of its headers."""
    from ..xlsx.package import Package
    from ..xlsx.template_units import unit_problems
    from ..xlsx.templates import lacking

    headers = headers_of(package)
    headings = headings_of(spec, headers, keyed_headers(package))
    demands = _demands(spec, headings, headers)
    problems = lacking(package, demands)
    if problems:
        ours = Package.open(template_folder() / spec.file)
        known = [
            words for items in headings.values() for head in items.values() for words in head.field.headings
        ]
        problems = lacking(
            package, demands, [*known, *(head for table in ours.tables for head in table.columns)]
        )
    return problems + unit_problems(
        package,
        {
            table: {head: head.field.unit for head in items.values() if head.field.kind == "number"}
            for table, items in headings.items()
        },
        {item.name: item.unit for item in spec.names if item.kind == "number"},
        lambda unit, shop: unit_factor(unit, shop)[0],
    )


def _demands(spec: SheetSpec, headings: Headings, tables: Iterable[str]) -> list[str]:
    """Names and columns that a template with these tables must have, columns as it calls them."""
    there = set(map(fold, tables))
    return spec.demands({table: items for table, items in headings.items() if fold(table) in there})


class Templates:
    """The templates of one run, each read once, with paper and stamp set."""

    def __init__(
        self, files: Mapping[str, Path], paper: str, stamp: str, plants: Mapping[str, bytes] | None = None
    ) -> None:
        """`plants` are the plant's own templates where their files cannot be read here."""
        self.files, self.paper, self.stamp = dict(files), paper, stamp
        self._plants = dict(plants or {})
        self._read: dict[tuple[str, bool], Template] = {}
        self._called: dict[tuple[str, bool], Headings] = {}
        self._called_by_hand: dict[tuple[str, bool], Headings] = {}

    def is_ours(self, key: str) -> bool:
        """Whether a template is the one that comes with the planner."""
        return self.files[key] == template_folder() / SPECS[key].file

    def get(self, spec: SheetSpec) -> Template:
        """A template, read when first asked for."""
        key, called = spec.key, (spec.key, spec.in_litres)
        if called not in self._read:
            from ..books.form import STAMP_MARK
            from ..books.pages import hide_empty, set_paper, stamp_footers
            from ..xlsx.package import Package
            from ..xlsx.shapes import make_room
            from ..xlsx.templates import Template

            as_chosen = printed_language().code != ENGLISH or measures().units or spec.in_litres
            if self.is_ours(key) and as_chosen:
                from ..books.templates import make

                package = Package.open(make(key, in_litres=spec.in_litres), name=SPECS[key].file)
            else:
                package = Package.open(self._plants.get(key, self.files[key]), name=str(self.files[key]))
            set_paper(package, paper_code(self.paper, "fill"))
            stamp_footers(package, STAMP_MARK, self.stamp)
            make_room(package)
            # most files have them so, and then need not be written anew
            hide_empty(package, dict.fromkeys(spec.on_own_page, True))
            sign(package, key)
            self._read[called] = Template(Package.open(package.to_bytes(), name=str(self.files[key])))
        return self._read[called]

    def headings(self, spec: SheetSpec) -> Headings:
        """What a template calls each column."""
        called = spec.key, spec.in_litres
        if called not in self._called:
            package = self.get(spec).package
            self._called[called] = headings_of(spec, headers_of(package), keyed_headers(package))
        return self._called[called]

    def _by_hand(self, spec: SheetSpec) -> Headings:
        """The same with the columns that are filled in by hand."""
        called = spec.key, spec.in_litres
        if called not in self._called_by_hand:
            package = self.get(spec).package
            self._called_by_hand[called] = headings_of(
                spec, headers_of(package), keyed_headers(package), by_hand=True
            )
        return self._called_by_hand[called]

    def column(self, spec: SheetSpec, table: str, name: str) -> tuple[Heading, str]:
        """A column as a template calls it and its unit there, that of the plan where it states none."""
        from ..xlsx.template_units import HEADER

        heading = self.headings(spec)[table][name]
        found = self.get(spec).package.table(table)
        for header in map(HEADER.match, found.columns if found else ()):
            if header and fold(header["base"]) == fold(heading):
                return heading, header["unit"].strip()
        return heading, heading.field.unit

    def _masses(self, content: Content) -> tuple[PrintedLimits, str]:
        """Target and limits of the check shots in the unit of their column, and that unit."""
        heading, unit = self.column(content.spec, "CheckShots", "target")
        target = convert(heading, content.values["target"], unit)
        low, high = (
            None if (value := content.values[name]) is None else convert(heading, value, unit)
            for name in ("low", "high")
        )
        return PrintedLimits(target, low, high), unit

    def _headline(self, content: Content) -> Value:
        """The headline, its masses in the unit of the column they stand in."""
        alarm = ALARM if str(content.values["headline"]).startswith(ALARM) else ""
        if content.spec.key == SHOT_CHECK.key:
            count = cast(int, content.values["shots_together"])
            own = PrintedLimits(*(cast(Printed, content.values[name]) for name in ("target", "low", "high")))
            before = str(content.values["headline"]).removesuffix(check_headline(count, own))
            return before + check_headline(count, *self._masses(content))
        rows = content.tables.get("SetupShots", ())
        if content.spec.key == STATION_SETUP.key and rows:
            heading, unit = self.column(content.spec, "SetupShots", "mass")
            masses = [convert(heading, row["mass"], unit) for row in rows]
            return alarm + setup_headline(rows, content.tables["SetupFlows"], masses, unit)
        return content.values["headline"]

    def _optional(
        self, content: Content
    ) -> tuple[dict[str, tuple[Value, list[str]]], dict[str, dict[str, MayGo]]]:
        """Values with the labels that may stand above them, and columns that may go by their headers."""
        spec = content.spec
        values: dict[str, tuple[Value, list[str]]] = {
            item.name: (
                content.values.get(item.name),
                [
                    translated(words, known=False) + (f" [{measures().unit(item.unit)}]" if item.unit else "")
                    for words in item.headings
                ],
            )
            for item in spec.names
        }
        headers: dict[str, dict[str, MayGo]] = {}
        package = self.get(spec).package
        headings = self._by_hand(spec)
        for table in spec.optional.keys() | content.left_out.keys():
            found = package.table(table)
            called = headings.get(table, {})
            left = content.left_out.get(table, ())
            words = {
                str(called[name]): MayGo(name, name in left)
                for name in (*spec.optional.get(table, ()), *left)
                if name in called
            }
            headers[table] = {
                header: words[header.partition(" [")[0]]
                for header in (found.columns if found else ())
                if header.partition(" [")[0] in words
            }
        return values, headers

    def fill(self, content: Content, path: Path) -> list[str]:
        """Fill one sheet and save it; returns notes."""
        return self.save(*self.filled(content), path)

    def save(self, package: Package, notes: Sequence[str], path: Path) -> list[str]:
        """Save a sheet that was filled, with what people typed into an earlier one; returns all notes."""
        taken = take_over(path, package) if path.is_file() else []
        package.save(path, forbid=self.files.values())
        return [*notes, *taken]

    def filled(self, content: Content) -> tuple[Package, list[str]]:
        """One sheet filled, and notes."""
        from ..books.form import WHOSE_MARK
        from ..books.pages import fit_pages, fit_texts, hide_empty, leave_out, name_pages, set_scale
        from ..handbook.in_formulas import formula_values
        from ..xlsx.shapes import draw_pictures

        if self.is_ours(content.spec.key):
            content = in_litres(content)
        spec = content.spec
        filled = self.get(spec).fill(
            _by_name(content) | {"headline": _said_headline(self._headline(content))},
            _headed(content, self.headings(spec)),
            convert=convert,
            required=spec.required,
            evaluate=formula_values,
        )
        draw_pictures(filled.package, content.pictures)
        leave_out(filled.package, *self._optional(content))
        hide_empty(filled.package, {name: not content.tables.get(name) for name in spec.on_own_page})
        fit_texts(filled.package, labels=self.is_ours(spec.key))
        name_pages(filled.package, WHOSE_MARK, whose(content))
        fit_pages(filled.package)
        if spec.key == SHOT_CHECK.key:
            limits, _ = self._masses(content)
            set_scale(filled.package, limits.low or limits.target, limits.high or limits.target)
        notes = [f"{spec.file}: {note}" for note in filled.report.notes if _FORMULA_KEPT not in note]
        sign(filled.package, spec.key, apart=("stamp",))
        return filled.package, notes


def whose(content: Content) -> str:
    """What a page of a sheet is about, for its header: station, day and shift, or the period."""
    values = content.values
    day = values.get("day")
    when = language_day(day) if isinstance(day, datetime.date) else values.get("period")
    return " · ".join(str(item) for item in (values.get("station"), when, values.get("shift")) if item)


def language_day(day: datetime.date) -> str:
    """A day as the cells show it, in the language that is printed."""
    return printed_language().figures(f"{day:%a} {day.isoformat()}")


def take_over(path: Path, new: Package) -> list[str]:
    """What people typed into the sheet at a path goes into the new one, or is kept beside it; notes."""
    from ..handbook.in_formulas import formula_values
    from ..xlsx.package import Package
    from ..xlsx.templates import cache_values, refresh_charts

    carried, left = carry(Package.open(path), new)
    notes = []
    if carried:
        cache_values(new, formula_values)
        refresh_charts(new)
        notes.append(f"{path.name}: {_cells(len(carried))} filled in by hand carried over")
    if left:
        kept = keep_filled_in(path)
        shown = ", ".join(map(str, left[:SHOWN_CELLS])) + (", …" if len(left) > SHOWN_CELLS else "")
        notes.append(
            f"{path.name}: {_cells(len(left))} filled in by hand not carried, since the row says something "
            f"else now ({shown}); the old sheet is kept as {kept.name}"
        )
    return notes


def _cells(count: int) -> str:
    return "1 cell" if count == 1 else f"{count} cells"


def _said_headline(headline: Value) -> Value:
    """The headline in the language that is printed, what it warns of by itself."""
    if not isinstance(headline, str):
        return headline
    alarm = ALARM if headline.startswith(ALARM) else ""
    rest = spaced(translated(headline.removeprefix(ALARM)))
    return f"{translated(alarm.strip())} {rest}" if alarm else rest


# --------------------------------------------------------------------------------------------- jobs


@dataclass(slots=True)
class _Job:
    """One file to write."""

    path: Path
    content: Content


_worker: Templates | None = None


_worker_language = Language(ENGLISH)
_worker_measures = Measures()


def _start_worker(
    files: Mapping[str, Path], paper: str, stamp: str, spoken: Language, printed: Measures
) -> None:
    global _worker, _worker_language, _worker_measures
    begin_worker()
    _worker, _worker_language, _worker_measures = Templates(files, paper, stamp), spoken, printed


_Written = tuple[list[str], list[Problem]]  # notes, and why a file could not be written


def _work(path: Path, key: str, held: tuple[Any, ...]) -> _Written:
    assert _worker is not None
    with printed_in(_worker_language), measured_in(_worker_measures):
        return _write(_worker, Content(SPECS[key], *held), path)


def _write(templates: Templates, content: Content, path: Path) -> _Written:
    """One file: its notes, and the problem where it cannot be written; the others still go on."""
    return _kept_apart(lambda: templates.fill(in_language(content), path), path)


def _kept_apart(write: Callable[[], list[str]], path: Path) -> _Written:
    """The notes of a file that is written, or what went wrong with it alone."""
    try:
        return write(), []
    except FileError as error:
        return [], list(error.problems)
    except Exception as error:  # whatever one sheet stumbles over is kept to that sheet
        return [], [_failed(str(path), error)]


def _failed(where: str, error: Exception) -> Problem:
    """What is said of a fault that was kept to its station or file."""
    if isinstance(error, DispenseError):
        return error.problems[0]
    words = " ".join(str(error).split()) or "no words"
    return Problem(where, message=f"failed: {type(error).__name__}: {words}", fix="the others were made")


def _run(
    jobs: Sequence[_Job],
    templates: Templates,
    processes: int,
    executor: Executor | None,
    progress: Progress | None,
    report: FillReport,
) -> None:
    """Write all files; notes, each once, and files that were refused go to the report."""
    from ..xlsx.write import clean, make_folder

    notes: dict[str, None] = {}
    handled: list[_Job] = []

    def done(count: int, job: _Job, found: _Written) -> None:
        handled.append(job)
        notes.update(dict.fromkeys(found[0]))
        report.not_written += found[1]
        if not found[1]:
            report.files.append(job.path)
            report.counts[job.content.spec.key] += 1
        if progress is not None:
            progress(count, len(jobs))

    for folder in dict.fromkeys(job.path.parent for job in jobs):
        make_folder(folder)
        clean(folder)
    try:
        if executor is not None:
            _work_apart(jobs, templates, executor, done)
        elif processes > 1 and len(jobs) > 1:
            _work_together(jobs, templates, processes, done)
        for count, job in enumerate(jobs[len(handled) :], len(handled) + 1):
            done(count, job, _write(templates, job.content, job.path))
    except KeyboardInterrupt as error:
        left = [str(job.path.relative_to(report.folder)) for job in jobs[len(handled) :]]
        words = f"stopped: {counted(len(report.files), 'file')} of {len(jobs)} written in {report.folder}"
        raise Stopped(f"{words}; not written: {listed(left)}" if left else words) from error
    report.notes += notes
    if report.not_written and not report.files:
        raise FileError(report.not_written[0])


def _work_together(
    jobs: Sequence[_Job], templates: Templates, processes: int, done: Callable[[int, _Job, _Written], None]
) -> None:
    """Write files in several processes; where one of those dies, what is left is left to the caller."""
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    pool = ProcessPoolExecutor(
        processes,
        initializer=_start_worker,
        initargs=(templates.files, templates.paper, templates.stamp, printed_language(), measures()),
    )
    try:
        found = pool.map(
            _work,
            (job.path for job in jobs),
            (job.content.spec.key for job in jobs),
            (job.content.held for job in jobs),
            chunksize=max(1, min(16, len(jobs) // (4 * processes))),
        )
        with contextlib.suppress(BrokenProcessPool):
            for count, (job, item) in enumerate(zip(jobs, found, strict=True), 1):
                done(count, job, item)
    finally:
        pool.shutdown(cancel_futures=True)


_Filler = tuple[Templates, Language, Measures]
_Made = tuple[bytes, list[str], list[Problem]]  # a workbook, its notes, or why there is none


def _filler(
    plants: Mapping[str, tuple[str, bytes]], paper: str, stamp: str, spoken: Language, printed: Measures
) -> _Filler:
    """What a worker elsewhere fills with: the plant's own templates, by name and content, and those that
    come with the program, which it has itself."""
    files = _template_files(None) | {key: Path(name) for key, (name, _) in plants.items()}
    return Templates(files, paper, stamp, {key: data for key, (_, data) in plants.items()}), spoken, printed


def _make(filler: _Filler, given: tuple[str, tuple[Any, ...]]) -> _Made:
    """A workbook as a worker elsewhere makes it: it writes no file."""
    templates, spoken, printed = filler
    key, held = given
    data = b""

    def make() -> list[str]:
        nonlocal data
        package, notes = templates.filled(in_language(Content(SPECS[key], *held)))
        data = package.to_bytes()
        return notes

    with printed_in(spoken), measured_in(printed):
        notes, problems = _kept_apart(make, templates.files[key])
    return data, notes, problems


def _work_apart(
    jobs: Sequence[_Job],
    templates: Templates,
    executor: Executor,
    done: Callable[[int, _Job, _Written], None],
) -> None:
    """Workbooks made wherever an executor works, and written here."""
    from ..xlsx.package import Package

    packaged = _template_files(None)
    plants = {
        key: (str(path), path.read_bytes()) for key, path in templates.files.items() if path != packaged[key]
    }
    state = plants, templates.paper, templates.stamp, printed_language(), measures()
    given = [(job.content.spec.key, job.content.held) for job in jobs]
    found = spread(executor, _filler, state, _make, given)
    for count, (job, made) in enumerate(zip(jobs, found, strict=True), 1):
        data, notes, problems = made
        if not problems:
            package = Package.open(data, name=job.path.name)
            notes, problems = _kept_apart(partial(templates.save, package, notes, job.path), job.path)
        done(count, job, (notes, problems))


# ------------------------------------------------------------------------------------- what to fill


@dataclass(slots=True)
class _Chosen:
    """The part of a plan to fill."""

    date: datetime.date | None = None
    shift: str | None = None
    stations: list[str] | None = None
    is_idle: bool = False  # nothing is built on that date

    def has(self, result: ShiftResult) -> bool:
        """Whether a station's shift is asked for."""
        return (
            (self.date is None or result.date == self.date)
            and (self.shift is None or result.shift == self.shift)
            and (self.stations is None or result.station.station in self.stations)
        )


def _choose(
    plan: Plan, date: datetime.date | str | None, shift: str | None, stations: Iterable[str] | None
) -> _Chosen:
    """Dates, shifts and stations as the plan has them; all that is unknown is reported at once."""
    problems: list[Problem] = []
    chosen = _Chosen()
    days = plan.days()
    if date is not None:
        dates = sorted({day for day, _ in days})
        allowed = f"a day with builds ({_some(map(str, dates))})"
        try:
            chosen.date = date if isinstance(date, datetime.date) else datetime.date.fromisoformat(date)
        except ValueError:
            problems.append(Problem("fill", "date", date, allowed, "write it as 2026-03-31"))
        else:
            chosen.is_idle = chosen.date not in dates
            if chosen.is_idle and not _may_be_idle(plan, chosen.date, dates):
                problems.append(Problem("fill", "date", str(chosen.date), allowed))
    if shift is not None:
        names = [row.shift for row in plan.shifts]
        chosen.shift = _named(shift, names)
        if chosen.shift is None:
            problems.append(Problem("fill", "shift", shift, f"a shift of the plan ({_some(names)})"))
        elif (
            chosen.date is not None
            and not problems
            and not chosen.is_idle
            and (chosen.date, chosen.shift) not in days
        ):
            there = [name for day, name in days if day == chosen.date]
            problems.append(
                Problem("fill", "shift", shift, f"a shift with builds on {chosen.date} ({_some(there)})")
            )
    if stations is not None:
        names = [row.station for row in plan.stations]
        chosen.stations = []
        for name in stations:
            found = _named(name, names)
            if found is None:
                problems.append(Problem("fill", "station", name, f"a station of the plan ({_some(names)})"))
            else:
                chosen.stations.append(found)
    if problems:
        raise InputError(problems)
    return chosen


def _may_be_idle(plan: Plan, day: datetime.date, dates: Sequence[datetime.date]) -> bool:
    """Whether a day without builds is no slip: a holiday, one that no shift works, one between builds."""
    return not dates or dates[0] <= day <= dates[-1] or is_free(plan, day)


def _texts(done: int | str | Iterable[str] | None) -> list[str]:
    """What is told to be done, each as a text."""
    if done is None:
        return []
    return [str(done)] if isinstance(done, int | str) else list(done)


def _named(given: str, names: Sequence[str]) -> str | None:
    """The name as the plan has it; capitals and outer spaces do not count."""
    wanted = " ".join(str(given).split()).casefold()
    exact = [name for name in names if name == given]
    return next(iter(exact or [name for name in names if " ".join(name.split()).casefold() == wanted]), None)


def _until(plan: Plan, chosen: _Chosen) -> tuple[datetime.date, str] | None:
    """The last shift that must be played for what is chosen."""
    days = [
        (date, shift)
        for date, shift in plan.days()
        if (chosen.date is None or date == chosen.date) and (chosen.shift is None or shift == chosen.shift)
    ]
    return days[-1] if days else None


def _play(
    plan: Plan, chosen: _Chosen, today: Today | None
) -> tuple[list[ShiftResult], list[Problem], list[Finding]]:
    """The shifts that are asked for; a station that fails is left out, with those that hang on it."""
    until = _until(plan, chosen)
    try:
        played = list(play_plan(plan, until=until, stations=chosen.stations, today=today))
        return [result for result in played if chosen.has(result)], [], []
    except Exception as error:
        names = chosen.stations or [row.station for row in plan.stations]
        if len(names) < 2:
            raise
        first = error
    results: dict[str, list[ShiftResult]] = {}
    problems: list[Problem] = []
    findings: list[Finding] = []
    for name in names:
        try:
            played = list(play_plan(plan, until=until, stations=[name], today=today))
        except Exception as error:
            problem = _failed(name, error)
            problems.append(problem)
            findings.append(
                Finding(STOP, f"{name} could not be planned: {problem}", topic=FAILED, station=name)
            )
        else:
            results[name] = [result for result in played if result.station.station == name]
    if not any(results.values()):
        raise first
    kept = [result for group in results.values() for result in group if chosen.has(result)]
    order = {name: place for place, name in enumerate(names)}
    days = {key: place for place, key in enumerate(plan.days())}
    kept.sort(key=lambda result: (days[result.date, result.shift], order[result.station.station]))
    return kept, problems, findings


def _jobs(
    plan: Plan, results: Sequence[ShiftResult], chosen: _Chosen, out: Path, stamp: str
) -> Iterator[_Job | Problem]:
    """Every file in the order in which a planner reads them; in place of one that fails, why."""
    for path, make in _makers(plan, results, chosen, out, stamp):
        try:
            content = make()
        except Exception as error:  # kept to that file
            yield _failed(str(path), error)
        else:
            if content is not None:
                yield _Job(path, content)


def _makers(
    plan: Plan, results: Sequence[ShiftResult], chosen: _Chosen, out: Path, stamp: str
) -> Iterator[tuple[Path, Callable[[], Content | None]]]:
    """The path of every file, and what gives its content."""
    stems = distinct_names(row.station for row in plan.stations)
    shifts = distinct_names(row.shift for row in plan.shifts)
    days = {result.date for result in results}
    for sheet in SHEETS:
        if sheet.of_plan:
            yield out / sheet.file, partial(sheet.of_plan, plan, results, stamp)
    for row in plan.stations:
        name = row.station
        if (chosen.stations is None or name in chosen.stations) and station_parts(plan, name):
            yield from _card_makers(plan, name, days, out / SETUP, stems[name], stamp)
    by_shift: dict[tuple[datetime.date, str], list[ShiftResult]] = {}
    for result in results:
        by_shift.setdefault((result.date, result.shift), []).append(result)
    for (date, shift), group in by_shift.items():
        folder, held = out / f"{date}_{shifts[shift]}", plan.on(date)
        for sheet in SHEETS:
            if sheet.of_shift:
                yield folder / sheet.file, partial(sheet.of_shift, held, group, stamp)
        for result in group:
            stem = stems[result.station.station]
            for sheet in SHEETS:
                if sheet.of_station_shift:
                    yield (
                        folder / f"{stem}_{sheet.file}",
                        partial(sheet.of_station_shift, held, result, stamp),
                    )


def _card_makers(
    plan: Plan, station: str, days: set[datetime.date], folder: Path, stem: str, stamp: str
) -> Iterator[tuple[Path, Callable[[], Content | None]]]:
    """The same of the setup cards of a station: those that hold on the days that are filled."""
    for period in card_periods(plan, station):
        if days and not period.holds_on(days):
            continue
        since = f"_from_{period.since}" if period.since else ""
        for sheet in SHEETS:
            if sheet.of_station:
                yield (
                    folder / f"{stem}{since}_{sheet.file}",
                    partial(_of_card, sheet.of_station, period, station, stamp),
                )


def _of_card(
    make: Callable[[Plan, SetupCard, str], Content], period: CardPeriod, station: str, stamp: str
) -> Content:
    card = setup_card(period.plan, station)
    return make(period.plan, replace(card, findings=[*card.findings, *period.findings]), stamp)


def _covers(plan: Plan, chosen: _Chosen) -> Callable[[datetime.date | None, str, str], bool]:
    """Which sheets of a folder a run speaks for, by day, shift and name."""
    stems = distinct_names(row.station for row in plan.stations)
    shifts = distinct_names(row.shift for row in plan.shifts)
    first = min((day for day, _ in plan.days()), default=None)
    own = {
        f"{stems[name]}_{Path(sheet.file).stem}"
        for name in chosen.stations or ()
        for sheet in SHEETS
        if sheet.of_station or sheet.of_station_shift
    }

    def covers(day: datetime.date | None, shift: str, stem: str) -> bool:
        if chosen.stations is not None and _SINCE.sub("", stem) not in own:
            return False
        if day is None:
            return chosen.date is None and chosen.shift is None and first is not None
        if chosen.shift is not None and shift != shifts[chosen.shift]:
            return False
        return day == chosen.date if chosen.date is not None else first is not None and day >= first

    return covers


def fill(
    plan_path: str | os.PathLike[str],
    out: str | os.PathLike[str] | None = None,
    *,
    sources: Sources = NO_SOURCES,
    as_of: AsOf | str | None = None,
    date: datetime.date | str | None = None,
    shift: str | None = None,
    stations: Iterable[str] | None = None,
    templates: str | os.PathLike[str] | None = None,
    paper: str = "A4",
    processes: int = 1,
    executor: Executor | None = None,
    open_workbook: bool = False,
    progress: Progress | None = None,
    stamp: str | None = None,
    now: str | None = None,
    done: int | str | Iterable[str] | None = None,
    left: Mapping[str, float] | None = None,
    mounted: Mapping[str, str] | None = None,
    mixers: Iterable[str] = (),
    stops: Iterable[str] = (),
    language: str | Language | None = None,
    tables: str | os.PathLike[str] | None = None,
    table_form: str = "csv",
    saved_as: str | os.PathLike[str] | None = None,
) -> FillReport:
    """Play a plan and fill its sheets into the folder `out` (by default beside the plan).

    `sources` are builds, stock and orders in place of the plan's; `as_of` ("2026-03-03", or with a time) is
    today: what is before it is history, and what stands at stations then is as told by the table Standing and
    the journal beside the plan (`jobs.start`). `date`, `shift` and `stations` keep to
    a part of the plan; stock is carried from the first day all the same. `templates` is a folder with the
    plant's own templates; those that it lacks are the packaged ones. `stamp` is printed on each sheet; by
    default it follows from the inputs, so that no change of them changes no byte. With `open_workbook`
    the workbook that is open in the spreadsheet is filled, a template or what was made from one; files
    are then written only where `out` is given. With an `executor` the workbooks are made wherever it works
    and written here, with the same bytes. `language` is the code of a language, or the file of a word list;
    by default that of the plan's Settings.

    `now` ("10:40") gives the rest of one shift of the chosen date: `done` parts are started and done by
    then (47, "Drive lid=47"); `left` [mL] and `mounted` (lots) by component and `mixers` ("09:50" put on,
    or "25 min" old) are what was read off at the station. Where several stations are filled, or a line, each
    value names its own: "Hem robot:47". What is not told is taken from the shift as played till then, and a
    note says so. `stops` ("10:20 35 min") are times in which the line of that shift stands.

    `tables` is a folder for what stands on the sheets as tables for other programs, `table_form` "csv",
    "parquet" or "xlsx". Sheets of the period that are no longer asked for are moved to `superseded`.

    Where `plan_path` is a copy of a plan that is open, `saved_as` is where that one lies: journal, releases,
    word lists and, by default, the folder are those beside it.
    """
    began = time.perf_counter()
    paper_code(paper, "fill")
    check_processes(processes, "fill")
    source = Path(plan_path)
    home = source if saved_as is None else Path(saved_as)
    begin = begun(load_plan_from(source, sources), home, sources, as_of)
    plan = begin.plan
    chosen = _choose(plan, date, shift, None if stations is None else list(stations))
    today = read_today(
        plan,
        chosen.date,
        chosen.shift,
        chosen.stations,
        now=now,
        done=_texts(done),
        left=left,
        mounted=mounted,
        mixers=mixers,
        stops=stops,
    )
    files = _template_files(templates)
    plan.revision = revision_of(plan, home)
    own = sorted(set(files.values()) - set(_template_files(None).values()))
    inputs = inputs_of(source, sources, own, list_of(home))
    if begin.as_of is not None and (journal := journal_of(home)) is not None:
        inputs.append(input_of("journal", journal))
    stamp = stamp_of(inputs) if stamp is None else str(stamp)
    folder = Path(out) if out is not None else home.with_name(f"{home.stem}_sheets")
    forbidden = [source, home, *sources.files]
    results, problems, failed = ([], [], []) if chosen.is_idle else _play(plan, chosen, today)
    if not isinstance(language, Language):
        language = read_language(language or plan.settings["language"], home.parent)
    report = FillReport(folder, not_written=problems, measures=plan.measures)
    with printed_in(language), measured_in(plan.measures):
        jobs: list[_Job] = []
        if chosen.is_idle or not plan.builds:
            report.nothing = f"Nothing is built{f' on {chosen.date}' if chosen.date else ''}: no sheets."
        else:
            for made in _jobs(plan, results, chosen, folder, stamp):
                if isinstance(made, Problem):
                    report.not_written.append(made)
                else:
                    jobs.append(made)
        library = Templates(files, paper, stamp)
        _check_templates(library, {job.content.spec.key for job in jobs})
        _check_targets(jobs, forbidden, files.values())
        if os.path.isdir(folder):
            check_manifest(folder)
        if not report.nothing:
            told = [item for item in begin.findings if _is_of(plan, item, chosen)]
            report.findings = gravest_first([*told, *failed, *_findings(plan, results, chosen)])
        report.notes = [*([begin.words] if begin.words else []), *reckoned_notes(results, today)]
        report.contents = [job.content for job in jobs]
        if open_workbook:
            report.notes += _fill_open([in_language(job.content) for job in jobs])
            if out is None:
                return report
        report.counts = dict.fromkeys(KINDS, 0)
        _run(jobs, library, processes, executor, progress, report)
    moved = supersede(folder, [job.path for job in jobs], _covers(plan, chosen))
    report.superseded, report.not_written = moved.names, report.not_written + moved.left
    if tables is not None:
        report.tables = write_tables(content_tables(report.contents), tables, table_form, forbidden)
    if os.path.isdir(folder):
        asked: dict[str, Any] = {} if begin.as_of is None else {"as_of": begin.as_of}
        asked |= {"date": chosen.date, "shift": chosen.shift, "stations": chosen.stations, "stamp": stamp}
        _tell_manifest(report, inputs, asked)
    report.seconds = time.perf_counter() - began
    return report


def _is_of(plan: Plan, finding: Finding, chosen: _Chosen) -> bool:
    """Whether a finding is of what is filled."""
    return chosen.stations is None or concerns(plan, finding, chosen.stations)


def _tell_manifest(report: FillReport, inputs: Sequence[Input], asked: dict[str, Any]) -> None:
    """Write the manifest; where it cannot be written that is told as of any file."""
    try:
        write_manifest(
            report.folder, inputs, asked, report.files, report.not_written, report.superseded, report.findings
        )
    except FileError as error:
        report.not_written += error.problems


def _findings(plan: Plan, results: Iterable[ShiftResult], chosen: _Chosen) -> list[Finding]:
    """What is found of the plan and of the shifts that are filled, the gravest first."""
    played = [finding for result in results for finding in result.findings]
    of_plan = not_played(plan_findings(plan, chosen.stations), played)
    if chosen.date is not None:  # holidays of other days are none of its sheets'
        others = {item.text for item in built_on_holidays(plan) if item.day != chosen.date}
        of_plan = [item for item in of_plan if item.text not in others]
    return gravest_first([*of_plan, *played])


def _fill_open(contents: Sequence[Content], book: Any = None) -> list[str]:
    """Fill the workbook that is open in the spreadsheet; returns notes."""
    from ..xlsx.target import OpenWorkbookTarget, open_workbook, table_headers

    book = open_workbook() if book is None else book
    there = {str(table.name): table_headers(table) for sheet in book.sheets for table in sheet.tables}
    folded = set(map(fold, there))
    notes: list[str] = []
    wanted: list[Content] = []
    for spec in SPECS.values():
        if any(fold(name) in folded for name in spec.tables):
            fitting = [content for content in contents if content.spec is spec]
            if len(fitting) != 1:
                raise InputError(
                    Problem(
                        str(book.name),
                        message=f"{len(fitting)} {KINDS[spec.key]} would fit",
                        fix="choose one with --date, --shift and --station",
                    )
                )
            wanted += fitting
    if not wanted:
        raise TemplateError(
            Problem(
                str(book.name),
                message="has none of the tables of the sheets",
                fix=f"open a template from {template_folder()}",
            )
        )
    _check_open(book, wanted)
    for content in wanted:
        headings = headings_of(content.spec, there)
        demands = _demands(content.spec, headings, there)
        target = OpenWorkbookTarget(book, convert=convert, required=demands)
        for name, value in _by_name(content).items():
            target.set_name(name, value)
        for name, rows in _headed(content, headings).items():
            target.set_table(name, rows)
        notes += target.save()
    return [f"filled the open workbook {book.name}", *notes]


def _check_open(book: Any, contents: Iterable[Content]) -> None:
    """Refuse an open workbook whose formulas mix units, as far as its saved file shows them."""
    from ..xlsx.package import Package

    path = Path(str(getattr(book, "fullname", "")))
    if not path.is_file():  # never saved: its headers are followed, its formulas not looked at
        return
    package = Package.open(path)
    problems = [problem for content in contents for problem in _template_problems(content.spec, package)]
    if problems:
        raise TemplateError(problems)


def _check_templates(library: Templates, keys: Iterable[str]) -> None:
    """Every template is read, and lacks nothing it needs, before anything is written."""
    problems: list[Problem] = []
    for key in sorted(keys):
        spec = SPECS[key]
        try:
            package = library.get(SPECS[key]).package
        except (FileError, TemplateError) as error:
            problems.extend(error.problems)
            continue
        problems += _template_problems(spec, package)
    if problems:
        raise TemplateError(problems)


def _marks(path: str | os.PathLike[str]) -> Iterator[Any]:
    """What a file is known by: its full name, and its place on the disk, whatever it is called."""
    with contextlib.suppress(OSError, ValueError):
        yield os.path.normcase(os.path.realpath(path))
        found = os.stat(path)
        yield found.st_dev, found.st_ino


def _check_targets(jobs: Iterable[_Job], inputs: Iterable[Path], templates: Iterable[Path]) -> None:
    """No output may stand where an input stands, nor where a file stands that was not filled here."""
    kept = {mark for path in (*inputs, *templates) for mark in _marks(path)}
    problems = [
        Problem(str(job.path), message="is an input and is not overwritten", fix="choose another folder")
        for job in jobs
        if kept.intersection(_marks(job.path))
    ] or [foreign(job.path) for job in jobs if is_foreign(job.path, job.content.spec.key)]
    if problems:
        raise FileError(problems)
