"""Formulas of the open workbook that call the add-in: why some are errors, and which read whole columns.

A spreadsheet that does not tell an add-in which cell calls it cannot have LAST_PROBLEMS name that cell. So
each cell in error is reckoned again here, from what is on the screen, and its own reason is told of it.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..base.errors import Problem
from ..base.fields import CellError
from ..base.findings import NOTE, QUALITY
from ..base.language import translated
from ..base.printed import counted
from ..formulas.evaluate import Formula, TableRange, evaluate_sheets
from ..formulas.numbertext import moment_serial
from ..formulas.own import OwnFunctions
from ..handbook import catalogue
from ..handbook.in_formulas import OWN
from ..xlsx.formula_text import split_sheet
from ..xlsx.package import split_cell
from ..xlsx.snapshot import ERRORS
from .desk import Answers, Desk, asked, marks_of, spoken_in
from .document import CellValue, FormulaCell, Grid, Line, Pane, Question, problem_line

__all__ = ["cut_columns", "look_at_formulas", "reason"]

MOST_REASONS = 100  # cells in error that are reckoned again
LEAVE, CUT = "leave them", "cut them to the filled rows"
LARGEST = "1E+306"  # above every number of a column, so that MATCH finds the last of them

_CALL = re.compile(r"(?<![\w.])(?:_xll\.|_xludf\.|com\.sun\.star\.addin\.)?([A-Za-z_][\w.]*)\(")
_COLUMN = re.compile(
    r"(?<![\w.$:!'])((?:'(?:[^']|'')+'|[\w.]+)!)?\$?([A-Z]{1,3}):\$?([A-Z]{1,3})(?![\w(:.$])", re.IGNORECASE
)


class _Shown:
    """The sheets on the screen, of which one cell is a formula (`formulas.evaluate.Sheets`)."""

    date1904 = False

    def __init__(self, grids: Sequence[Grid]) -> None:
        self._values = {grid.name: dict(_values(grid)) for grid in grids}
        self._here: dict[tuple[str, int, int], Formula] = {}

    def only(self, sheet: str, row: int, column: int, text: str) -> None:
        """Take this cell, and no other, as a formula."""
        self._here = {(sheet, row, column): Formula(text.removeprefix("="))}

    def sheet_names(self) -> Sequence[str]:
        """All sheets."""
        return list(self._values)

    def values(self, sheet: str) -> Mapping[tuple[int, int], Any]:
        """What stands on a sheet, but for the formula."""
        return {
            place: value for place, value in self._values[sheet].items() if (sheet, *place) not in self._here
        }

    def formulas(self, sheet: str) -> Mapping[tuple[int, int], Formula]:
        """The formula, where it is on this sheet."""
        return {(row, column): one for (name, row, column), one in self._here.items() if name == sheet}

    def hidden_rows(self, sheet: str) -> frozenset[int]:
        """None that matters to our functions."""
        return frozenset()

    def tables(self) -> Sequence[TableRange]:
        """None: a program hands over references as cells."""
        return ()

    def name(self, name: str, sheet: str) -> str | None:
        """No names."""
        return None


def _values(grid: Grid) -> Iterator[tuple[tuple[int, int], Any]]:
    for row, cells in enumerate(grid.rows, 1):
        for column, value in enumerate(cells, 1):
            if value is not None and value != "":
                yield (row, column), _as_formulas_see(value)


def _as_formulas_see(value: CellValue) -> Any:
    if isinstance(value, datetime.datetime):
        return moment_serial(value)
    if isinstance(value, str) and value in ERRORS:
        return CellError(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    return value


def reason(shown: _Shown, cell: FormulaCell) -> Problem:
    """Why a cell is an error, told of that cell."""
    told: list[Problem] = []

    def compute(name: str, arguments: Sequence[Any]) -> Sequence[Sequence[Any]]:
        found = catalogue.evaluate(name, list(arguments))
        told.extend(found.problems)
        return found.table()

    sheet, address = split_sheet(cell.cell)
    row, column = split_cell(address)
    shown.only(sheet or "", row, column, cell.text)
    found = evaluate_sheets(shown, OwnFunctions(OWN.service, OWN.names, compute, OWN.refused))
    if told:
        return Problem(cell.cell, message=f"{told[0].where}: {_sentence(told[0])}", fix=told[0].fix)
    if found.problems:
        return Problem(cell.cell, message=f"{cell.error}: {found.problems[0].message}")
    return Problem(cell.cell, message=f"{cell.error}: no function of ours gives it")


def _sentence(problem: Problem) -> str:
    return str(Problem("", problem.argument, problem.value, problem.allowed, message=problem.message))


# ---------------------------------------------------------------------------------- whole columns


def cut_columns(cell: FormulaCell, grids: Sequence[Grid]) -> str:
    """A formula whose whole columns end with their last number, "" where nothing is to be cut.

    Columns of one call end at one row, that of the column of numbers which reaches furthest; a call in which
    another column reaches beyond it stays as it is.
    """
    text = cell.text
    own, _ = split_sheet(cell.cell)
    pieces, done = [], 0
    for start, end in _calls(text):
        if start < done:
            continue
        pieces += [text[done:start], _cut(text[start:end], own or "", grids)]
        done = end
    found = "".join([*pieces, text[done:]])
    return found if found != text else ""


def _calls(text: str) -> Iterator[tuple[int, int]]:
    """Where our functions begin and end in a formula."""
    for found in _CALL.finditer(text):
        if OWN.meaning(found[1]) is not None and text.count('"', 0, found.start()) % 2 == 0:
            yield found.start(), _closing(text, found.end())


def _closing(text: str, place: int) -> int:
    """The place behind the bracket that closes what was opened just before."""
    depth, quoted = 1, False
    while place < len(text) and depth:
        sign = text[place]
        quoted ^= sign == '"'
        if not quoted:
            depth += (sign == "(") - (sign == ")")
        place += 1
    return place


def _cut(call: str, own: str, grids: Sequence[Grid]) -> str:
    """One call of a function of ours."""
    columns = [found for found in _COLUMN.finditer(call) if found[2].upper() == found[3].upper()]
    ends = {found[0]: _end(_sheet_of(found[1], own), found[2], grids) for found in columns}
    numbers = {name: row for name, (row, is_number) in ends.items() if is_number}
    if not numbers:
        return call
    furthest = max(numbers, key=lambda name: numbers[name])
    if any(row > numbers[furthest] for row, _ in ends.values()):
        return call

    def cut(found: re.Match[str]) -> str:
        if found[0] not in ends:
            return found[0]
        sheet, letter = found[1] or "", found[2]
        return f"{sheet}{letter}1:INDEX({found[0]},MATCH({LARGEST},{furthest}))"

    return _COLUMN.sub(cut, call)


def _sheet_of(written: str | None, own: str) -> str:
    """The sheet that a reference names, else the formula's own."""
    if not written:
        return own
    name = written.removesuffix("!")
    return name[1:-1].replace("''", "'") if name.startswith("'") else name


def _end(sheet: str, letter: str, grids: Sequence[Grid]) -> tuple[int, bool]:
    """The last filled row of a column, 0 where none is, and whether a number stands there."""
    _, place = split_cell(f"{letter}1")
    for grid in grids:
        if grid.name.casefold() == sheet.casefold():
            for row in range(len(grid.rows), 0, -1):
                cells = grid.rows[row - 1]
                value = cells[place - 1] if place <= len(cells) else None
                if value not in (None, ""):
                    return row, isinstance(value, int | float) and not isinstance(value, bool)
    return 0, False


# ---------------------------------------------------------------------------------- the command


def look_at_formulas(desk: Desk, given: Answers) -> None:
    """Cells in error with their reasons, and whole columns, which are cut where the user says so."""
    host = desk.host
    grids = list(host.read())
    cells = [cell for cell in host.formulas() if next(_calls(cell.text), None) is not None]
    wrong = [cell for cell in cells if cell.error]
    shown = _Shown(grids)
    problems = [reason(shown, cell) for cell in wrong[:MOST_REASONS]]
    cuts = {cell.cell: new for cell in cells if not cell.error and (new := cut_columns(cell, grids))}
    done: Sequence[str] = ()
    if cuts:
        question = Question("columns", "Whole columns", (LEAVE, CUT), LEAVE, words=(LEAVE, CUT))
        told = asked(desk, "Look at formulas", [question], given)
        if told is not None and told["columns"] == CUT:
            done = host.rewrite(cuts)
    with spoken_in(desk):
        lines = [problem_line(problem) for problem in problems]
        for cell, new in cuts.items():
            words = (
                "reads no more than the filled rows now"
                if cell in done
                else "reads a million rows; quicker so"
            )
            lines.append(
                Line(f"{cell}: {translated(words)}: {new}", cell, kind=NOTE if cell in done else QUALITY)
            )
        size = translated(f"{counted(len(cells), 'formula')} with functions of the add-in")
        parts = [size, translated(counted(len(wrong), "error"))]
        if cuts:
            parts.append(translated(f"{len(cuts) - len(done)} with whole columns"))
        headline = ", ".join(parts)
        marks = marks_of(lines)
    if not desk.is_checking:
        host.mark(marks)
    host.show(Pane(headline, lines))
