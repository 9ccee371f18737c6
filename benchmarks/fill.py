"""Filling the sheets of shifts beside openpyxl loading and saving the same templates."""

from __future__ import annotations

import functools
import itertools
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from openpyxl import load_workbook

from dispense.books.plan import new_plan
from dispense.jobs.fill import Templates, fill, template_folder
from dispense.plan.build import build_plan
from dispense.plan.demo import DEMO
from dispense.plan.records import Plan, raw_table
from dispense.sheets.board import cure_board_content
from dispense.sheets.catalogue import SPECS
from dispense.sheets.check import shot_check_content
from dispense.sheets.material import shift_material_content
from dispense.shift.play import play_plan
from dispense.shift.results import ShiftResult

from . import Row, clock, take_turns

COUNT = 1000
STAMP = "2026-03-02 05:30"
KINDS: tuple[tuple[str, str, Callable], ...] = (
    ("shift material sheets", "shift_material", shift_material_content),
    ("cure boards", "cure_board", cure_board_content),
    ("shot-check sheets", "shot_check", shot_check_content),
)


def rows(quick: bool = False) -> Iterator[Row]:
    """Each kind on one process, fifty sheets a turn, and the first kind on two."""
    count, turns = (20, 1) if quick else (COUNT // 20, 3)
    plan, results = _played()
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        for what, key, make in KINDS:
            made = (make(plan, result, STAMP) for result in results)
            contents = [content for content in made if content is not None]  # a paste has no cure board
            run = _Run(key, contents, out, count)
            run.ours()
            own, reference = take_turns(run.ours, run.reference, turns=turns)
            yield Row(
                f"{what}: {COUNT:,} filled, computed and saved",
                own * COUNT / count,
                reference * COUNT / count,
                1.3,
                beside="openpyxl, template loaded and saved",
                note=f"measured on {count} a turn; every file is flushed to the disk, openpyxl's are not",
            )
            if key == "shift_material":
                yield _two(run, turns)
                yield _from_scratch(run, turns)
    if not quick:
        yield _demo()


def _played() -> tuple[Plan, list[ShiftResult]]:
    """The demo plant and its first shifts."""
    plan = build_plan({name: raw_table(name, table) for name, table in _tables().items()})
    return plan, list(itertools.islice(play_plan(plan), 40))


def _tables() -> dict[str, list[dict]]:
    """The demo's tables; the settings stand one a row."""
    settings = [{"setting": key, "value": value} for key, value in DEMO["Settings"][0].items()]
    return {**DEMO, "Settings": settings}


class _Run:
    """Sheets of one kind, by us and by openpyxl."""

    def __init__(self, key: str, contents: list, out: Path, count: int):
        self.key, self.contents, self.out, self.count = key, contents, out, count
        self.template = template_folder() / SPECS[key].file
        self.library = _library()

    def ours(self) -> None:
        _fill(self.contents, self.out, range(self.count))

    def reference(self) -> None:
        for number in range(self.count):
            load_workbook(self.template).save(self.out / f"reference{number}.xlsx")


@functools.cache
def _library() -> Templates:
    files = {key: template_folder() / spec.file for key, spec in SPECS.items()}
    return Templates(files, "A4", STAMP)


def _fill(contents: list, out: Path, numbers: range) -> None:
    for number in numbers:
        _library().fill(contents[number % len(contents)], out / f"sheet{number}.xlsx")


def _two(run: _Run, turns: int) -> Row:
    """The same sheets on two processes that have started."""
    with ProcessPoolExecutor(2) as pool:
        half = range(run.count // 2), range(run.count // 2, run.count)

        def both() -> None:
            for job in [pool.submit(_fill, run.contents, run.out, part) for part in half]:
                job.result()

        both()
        two, one = take_turns(both, run.ours, turns=turns)
    note = f"measured on {run.count} a turn" + ("" if two <= 0.6 * one else f"; {_between()}")
    return Row(
        f"shift material sheets: {COUNT:,} on two processes",
        two * COUNT / run.count,
        one * COUNT / run.count,
        0.6,
        beside="the same on one process",
        note=note,
    )


def _from_scratch(run: _Run, turns: int) -> Row:
    """The same cells written by XlsxWriter into new workbooks, with their formulas and values."""
    from xlsxwriter import Workbook

    run.ours()
    sheets = {}
    kept = load_workbook(run.out / "sheet0.xlsx", data_only=True)
    for sheet in load_workbook(run.out / "sheet0.xlsx"):
        cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
        sheets[sheet.title] = [
            (cell.row - 1, cell.column - 1, cell.value, kept[sheet.title][cell.coordinate].value)
            for cell in cells
        ]

    def written() -> None:
        for number in range(run.count):
            book = Workbook(run.out / f"scratch{number}.xlsx")
            for title, cells in sheets.items():
                sheet = book.add_worksheet(title)
                for row, column, value, known in cells:
                    if isinstance(value, str) and value.startswith("="):
                        sheet.write_formula(row, column, value, None, known)
                    elif isinstance(value, str):
                        sheet.write_string(row, column, value)
                    elif isinstance(value, int | float):
                        sheet.write_number(row, column, value)
                    else:
                        sheet.write_string(row, column, str(value))
            book.close()

    folders = (run.out / f"new{number}" for number in itertools.count())

    def filled() -> None:
        folder = next(folders)  # as the reference: no earlier sheet whose typed cells are carried on
        folder.mkdir()
        _fill(run.contents, folder, range(run.count))

    filled()
    own, reference = take_turns(filled, written, turns=turns, timer=time.process_time)
    return Row(
        "shift material sheets, one filled, computed and flushed",
        own / run.count,
        reference / run.count,
        1.5,
        beside="XlsxWriter, its cells without styles written from scratch",
        note=f"processor time; {sum(map(len, sheets.values()))} cells; ours keeps styles, charts, names and "
        "lists of a template, computes its formulas, fits texts, signs what it wrote and flushes",
    )


def _demo() -> Row:
    """All files of the demo, on two processes and on one; playing the plan is not in it."""
    with tempfile.TemporaryDirectory() as folder:
        plan = Path(folder) / "demo.xlsx"
        new_plan(plan, demo=True)

        def filled(processes: int) -> float:
            out = Path(folder) / f"{processes}"
            shutil.rmtree(out, ignore_errors=True)
            return clock(lambda: fill(plan, out, stamp=STAMP, processes=processes))

        two, one = filled(2), filled(1)
    return Row(
        "the demo's files, whole fill on two processes",
        two,
        one,
        0.5,
        beside="the same on one process",
        note=f"reading, playing and findings are done once in either; {_between()}",
    )


def _between() -> str:
    """What a busy machine leaves of its second processor, measured without any file."""
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(_count, (10, 10)))
        spent = []
        for jobs in (1, 2):
            begin = time.perf_counter()
            list(pool.map(_count, [2_000_000] * jobs))
            spent.append(time.perf_counter() - begin)
    return (
        "the machine: two processes that only count take "
        f"{spent[1] / spent[0] / 2:.2g}× the time of one that counts for both, and they share a disk"
    )


def _count(steps: int) -> int:
    total = 0
    for step in range(steps):
        total += step
    return total
