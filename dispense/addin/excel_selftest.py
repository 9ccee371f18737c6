"""The checks of the first day in a real Excel: those that need no eyes are run, the others named.

`CHECKS` is the list of `docs/excel-first-day.md`. Nothing in it is taken as proven before somebody with Excel
has seen it; the report says of each whether it passed, failed, or is still to be looked at.
"""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from .. import __version__
from ..base.findings import BAD_INPUT, DONE, NOT_WRITTEN
from ..books.plan import new_plan
from ..xlsx.write import atomic_write

REPORT = "dispense-excel-selftest.txt"
PASSED, FAILED, EYES, NOT_RUN = "passed", "FAILED", "to be looked at", "not run"
FIRST_ANSWER, NEXT_ANSWER, COLUMN_ANSWER = 10.0, 0.5, 1.0  # s; common practice, no source
ROWS = 5000  # of a filled-down formula
FILLED = 20.0  # s for them; common practice, no source
ROUND_3 = 7.0686  # mm², π·3²/4


class Cells(Protocol):
    """A scratch sheet of Excel."""

    def show(self, formula: str) -> Any:
        """The value of a formula in a cell."""

    def fill(self, formula: str, rows: int) -> list[Any]:
        """The values of a formula filled down beside a column of 1, 2, 3 …"""

    def check_plan(self, path: Path) -> tuple[int, int, bool]:
        """Outlines and lines that the button Check makes, and whether the plan stays unchanged."""


@dataclass(frozen=True, slots=True)
class Check:
    """What is done, what must be seen, and how it is tried without eyes: None where it needs them."""

    do: str
    seen: str
    run: Callable[[Cells], str] | None = None


def _not_started(cells: Cells) -> str:
    said = str(cells.show("=LAST_PROBLEMS()"))
    return "" if "has not been started" in said else f"LAST_PROBLEMS says {said!r}"


def _first(cells: Cells) -> str:
    return _timed(cells, '=BEAD_AREA("round",3)', ROUND_3, FIRST_ANSWER)


def _second(cells: Cells) -> str:
    return _timed(cells, '=BEAD_AREA("mitre",4)', 8.0, NEXT_ANSWER)


def _column(cells: Cells) -> str:
    cells.fill("=ROW()", 20)
    # the used part of A:A is 1 … 20, and 1² + … + 20² is 20·21·41/6 = 2870: half of it in mitres
    return _timed(cells, '=SUM(BEAD_AREA("mitre",A:A))', 1435.0, COLUMN_ANSWER)


def _timed(cells: Cells, formula: str, wanted: float, most: float) -> str:
    begin = time.perf_counter()
    got = cells.show(formula)
    took = time.perf_counter() - begin
    if not isinstance(got, float | int) or abs(got - wanted) > 1e-4 * wanted:
        return f"{formula} is {got!r}, not {wanted}"
    return "" if took <= most else f"{formula} took {took:.1f} s, more than {most:g}"


def _reason(cells: Cells) -> str:
    cells.show('=BEAD_AREA("round",-3)')
    said = str(cells.show("=INDEX(LAST_PROBLEMS(1),1,4)"))
    place = str(cells.show("=INDEX(LAST_PROBLEMS(1),1,1)"))
    if not place.endswith("!H1"):
        return f"LAST_PROBLEMS names {place!r}"
    return "" if "above 0" in said else f"LAST_PROBLEMS says {said!r}"


def _filled(cells: Cells) -> str:
    begin = time.perf_counter()
    got = cells.fill('=BEAD_AREA("mitre",A1)', ROWS)
    took = time.perf_counter() - begin
    wrong = [row for row, value in enumerate(got, 1) if value != row**2 / 2 and not _near(value, row**2 / 2)]
    if wrong:
        return f"row {wrong[0]} is {got[wrong[0] - 1]!r}"
    return "" if took <= FILLED else f"{ROWS} rows took {took:.1f} s, more than {FILLED:g}"


def _near(value: Any, wanted: float) -> bool:
    return isinstance(value, float | int) and abs(value - wanted) <= 1e-12 * wanted


def _check(cells: Cells) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.xlsx"
        new_plan(path, demo=True)
        marks, lines, is_kept = cells.check_plan(path)
    if not lines:
        return "the pane has no lines"
    return "" if is_kept else f"{marks} outlines made the plan a changed one"


CHECKS = (
    Check(
        "Options > Advanced > General: Show add-in user interface errors; start Excel",
        "no message, and a tab Dispense with all its buttons, each with its picture and its words",
    ),
    Check("Alt+F11, Debug > Compile", "nothing is said"),
    Check("Alt+F11, Tools > References", "nothing is MISSING"),
    Check(
        "=LAST_PROBLEMS() as the first function of the day",
        "Python has not been started: nothing is computed when Excel starts",
        _not_started,
    ),
    Check('=BEAD_AREA("round",3)', "7.0686 within ten seconds", _first),
    Check('=BEAD_AREA("mitre",4) in another cell', "8 at once", _second),
    Check(
        "Start Excel again, type =BEAD_VOLUME( and press Ctrl+A",
        "every argument with its unit (mm, mm²) and its default; no Python in the Task Manager yet",
    ),
    Check('1 to 20 in A1:A20, =SUM(BEAD_AREA("mitre",A:A)) beside it', "1435 within a second", _column),
    Check(
        '=BEAD_AREA("round",-3), then =LAST_PROBLEMS()',
        "#NUM!, and sheet and cell whose width must be above 0 mm",
        _reason,
    ),
    Check(
        '=BEAD_AREA("mitre",A1) filled down 5000 rows beside 1, 2, 3 …',
        "every value within twenty seconds; note the seconds, and those of one formula over A1:A5000",
        _filled,
    ),
    Check("dispense.xlsm and dispense-calculations.xlsx: enable content, F9", "every check is ok or pass"),
    Check(
        "Open the demo's plan, press Check",
        "outlines, and lines that lead to their cells; closing it asks nothing",
        _check,
    ),
    Check("Print preview of a sheet with outlines; save, look at them again", "none on paper; there again"),
    Check("Fill sheets…: a day, a shift, a station; Esc while all are filled", "a filled sheet; stopped"),
    Check("Try a station…: type another takt", "figures follow within a second"),
    Check(
        "Rename python.exe, start Excel, fill 20 cells; name it back, press Start again",
        "#N/A in all within three seconds and Why tells the file; then values",
    ),
    Check("End python.exe in the Task Manager, F9 after a change", "values, after one start"),
    Check(
        "Open a workbook that somebody else saved with the add-in; one that lies on OneDrive",
        "values; no path before the names of functions",
    ),
    Check(
        "The same on a computer without the add-in", "the values as saved; #NAME? only where computed anew"
    ),
    Check("Close Excel", "no question about saving, no python.exe left in the Task Manager"),
)


# --------------------------------------------------------------------------------------- in Excel


class ExcelCells:
    """A scratch workbook in an Excel that xlwings holds."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.sheet = app.books.add().sheets[0]

    def show(self, formula: str) -> Any:
        """In a cell apart from the column."""
        cell = self.sheet.range("H1")
        cell.clear_contents()
        cell.api.Formula2 = formula
        return cell.options(err_to_str=True).value

    def fill(self, formula: str, rows: int) -> list[Any]:
        """In column B; the numbers stand in column A."""
        self.sheet.range("A1").options(transpose=True).value = [float(row) for row in range(1, rows + 1)]
        area = self.sheet.range((1, 2), (rows, 2))
        area.formula = formula
        return [value for (value,) in area.options(ndim=2, err_to_str=True).value]

    def check_plan(self, path: Path) -> tuple[int, int, bool]:
        """As the button does it."""
        from .excel_menu import MARK, command, desk_of

        book = self.app.books.open(str(path))
        book.api.Saved = True
        said = command(book, "check")
        if said:
            raise RuntimeError(said)
        shapes = [sheet.api.Shapes for sheet in book.sheets]
        names = [str(all_.Item(i).Name) for all_ in shapes for i in range(1, all_.Count + 1)]
        pane = desk_of(book).host.pane  # type: ignore[attr-defined]  # the host here is Excel's
        is_kept = bool(book.api.Saved)
        book.close()
        return sum(name.startswith(MARK) for name in names), len(pane.lines), is_kept


@contextmanager
def _excel(addin: Path) -> Iterator[ExcelCells]:
    """An Excel of its own with the add-in: one that a program starts opens no add-ins by itself."""
    import xlwings

    app = xlwings.App(visible=True, add_book=False)
    try:
        app.books.open(str(addin))
        yield ExcelCells(app)
    finally:
        app.kill()


def run_checks(cells: Cells | None, why_not: str = "") -> list[tuple[str, str]]:
    """Verdict and reason of each check; without an Excel none is run."""
    found = []
    for check in CHECKS:
        if check.run is None:
            found.append((EYES, ""))
        elif cells is None:
            found.append((NOT_RUN, why_not))
        else:
            try:
                reason = check.run(cells)
            except Exception as error:  # the next check is still of use
                reason = f"{type(error).__name__}: {error}"
            found.append((FAILED if reason else PASSED, reason))
    return found


def report_text(found: list[tuple[str, str]], about: str) -> str:
    """The report: a line a check, and what must be seen where eyes are needed."""
    lines = [f"dispense {__version__} in Excel: {about}", ""]
    for number, (check, (verdict, reason)) in enumerate(zip(CHECKS, found, strict=True), 1):
        lines.append(f"{number:2d}  {verdict}: {check.do}{f' ({reason})' if reason else ''}")
        if verdict != PASSED:
            lines.append(f"    must be seen: {check.seen}")
    counts = ", ".join(
        f"{sum(v == kind for v, _ in found)} {kind}" for kind in (PASSED, FAILED, EYES, NOT_RUN)
    )
    return "\n".join([*lines, "", counts, ""])


def selftest(addin: Path | None, out: str | os.PathLike[str] | None = None) -> dict[str, Any]:
    """Run what needs no eyes and write the report; `addin` is the installed add-in.

    `failures` and `exit_code` of what it gives say how it went, see `exit_code_of`.
    """
    if sys.platform != "win32":
        found, about = run_checks(None, "Excel on Windows is needed"), platform.platform()
    elif addin is None or not addin.is_file() or not zipfile.is_zipfile(addin):
        found, about = run_checks(None, "dispense addin install --host excel comes first"), "no add-in"
    else:
        try:
            with _excel(addin) as cells:
                about = f"{cells.app.version} on {platform.platform()}"
                found = run_checks(cells)
        except Exception as error:  # an Excel that does not start: the report says so
            about = "Excel did not start"
            found = run_checks(None, f"Excel did not start: {type(error).__name__}: {error}")
    path = Path(out or REPORT)
    atomic_write(path, report_text(found, about).encode())
    verdicts = [verdict for verdict, _ in found]
    return {
        "host": "excel",
        "report": str(path),
        "passed": verdicts.count(PASSED),
        "failed": verdicts.count(FAILED),
        "to_be_looked_at": verdicts.count(EYES),
        "not_run": verdicts.count(NOT_RUN),
        "failures": [
            f"check {number}: {reason}"
            for number, (verdict, reason) in enumerate(found, 1)
            if verdict == FAILED
        ],
        "exit_code": exit_code_of(verdicts),
    }


def exit_code_of(verdicts: Iterable[str]) -> int:
    """1 where a check failed, else 5 where one that needs no eyes was not run, else 0.

    >>> exit_code_of([PASSED, EYES]), exit_code_of([PASSED, NOT_RUN]), exit_code_of([NOT_RUN, FAILED])
    (0, 5, 1)
    """
    given = set(verdicts)
    if FAILED in given:
        return BAD_INPUT
    return NOT_WRITTEN if NOT_RUN in given else DONE


__all__ = ["CHECKS", "Cells", "Check", "ExcelCells", "exit_code_of", "report_text", "run_checks", "selftest"]
