"""The fenced blocks of a page of the docs, and how each kind is tried.

A block begins with ``` and one word, its kind:

- `console`: lines `$ command`, each with what it prints below it; `...` stands for anything; a last
  line `(exit code 1)` where the command ends so. `dispense` and `cd` are run here, `python` by this
  Python, all else by a shell.
- `formula`: cells of a worksheet, `A1: 23`, and formulas with the value that a cell shows,
  `=BEAD_AREA("round",A1) -> 415.48`; a result over several cells is written `18 | 65`.
- `change FILE`: a table of sheet, row, column and value, to be typed into a plan.
- `rows FILE SHEET`: a table of rows, typed below its headers into a table of the plan that has none.
- `python`: lines at the prompt of Python, as in a docstring.

Any other kind is only shown.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import math
import os
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import openpyxl
from openpyxl.worksheet.formula import ArrayFormula

from dispense.cli import main
from dispense.formulas.evaluate import evaluate_package
from dispense.handbook.in_formulas import OWN
from dispense.xlsx.package import Package

ROOT = Path(__file__).resolve().parent.parent
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
CHECKER = doctest.OutputChecker()


@dataclass(frozen=True)
class Block:
    """One fenced block: kind, the rest of its first line, its lines and where it begins."""

    kind: str
    rest: str
    lines: tuple[str, ...]
    where: str


def blocks(page: Path) -> list[Block]:
    """The fenced blocks of a page, in order."""
    found, start, head = [], None, ""
    lines = page.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        text = line.strip()
        if not text.startswith("```"):
            continue
        if start is None:
            start, head = number, text[3:]
        else:
            kind, _, rest = head.partition(" ")
            body = tuple(lines[start + 1 : number])
            found.append(Block(kind, rest.strip(), body, f"{page.name}:{start + 1}"))
            start = None
    assert start is None, f"{page.name}: block of line {start} is not closed"
    return found


class Reader:
    """Tries the blocks of one page in one folder, as a reader would."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.names: dict = {}
        self.tried: dict[str, int] = {}

    def read(self, page: Path) -> None:
        """Try every block of a page; the first that differs fails."""
        before = Path.cwd()
        os.chdir(self.folder)
        try:
            for block in blocks(page):
                trial = getattr(self, block.kind, None) if block.kind in KINDS else None
                if trial is not None:
                    self.tried[block.kind] = self.tried.get(block.kind, 0) + 1
                    trial(block)
        finally:
            os.chdir(before)

    def console(self, block: Block) -> None:
        """Run the commands and compare what they print."""
        for command, expected in commands(block):
            code, printed = run(command)
            wanted = 0
            if expected and expected[-1].startswith("(exit code "):
                wanted = int(expected[-1].removeprefix("(exit code ").rstrip(")"))
                expected = expected[:-1]
            place = f"{block.where}: $ {command}\n"
            assert code == wanted, f"{place}exit code {code}, expected {wanted}\n{printed}"
            assert matches(expected, printed), (
                f"{place}expected:\n" + "\n".join(expected) + f"\nprinted:\n{printed}"
            )

    def formula(self, block: Block) -> None:
        """Compute the formulas and compare them to the digits that are printed."""
        book = openpyxl.Workbook()
        sheet = book.active
        wanted = []
        for number, line in enumerate(filter(None, map(str.strip, block.lines))):
            if not line.startswith("="):
                cell, _, value = line.partition(":")
                sheet[cell] = as_value(value.strip())
                continue
            formula, _, result = line.rpartition(" -> ")
            values = [as_value(text.strip()) for text in result.split("|")]
            row = 100 + number
            last = openpyxl.utils.get_column_letter(len(values))
            if len(values) == 1:
                sheet.cell(row, 1).value = formula.strip()
            else:
                sheet.cell(row, 1).value = ArrayFormula(f"A{row}:{last}{row}", formula.strip())
            wanted.append((line, row, values, result.split("|")))
        saved = io.BytesIO()
        book.save(saved)
        found = evaluate_package(Package.open(saved.getvalue()), OWN)
        assert not found.problems, f"{block.where}: {found.problems}"
        assert wanted, f"{block.where}: no formula"
        for line, row, values, texts in wanted:
            for column, (value, text) in enumerate(zip(values, texts, strict=True), 1):
                letter = openpyxl.utils.get_column_letter(column)
                shown = found.values[sheet.title, f"{letter}{row}"]
                assert same(shown, value, text.strip()), f"{block.where}: {line}\nshows {shown!r}"

    def change(self, block: Block) -> None:
        """Type the values into the plan."""
        book = openpyxl.load_workbook(block.rest)
        for line in block.lines[1:]:
            sheet, row, column, value = (part.strip() for part in line.split("|"))
            header, at = header_of(book[sheet], column)
            rows = [
                cells[0].row
                for cells in book[sheet].iter_rows(min_row=header + 1)
                if row in [str(cell.value) for cell in cells]
            ]
            assert rows, f"{block.where}: {line}: no such row"
            book[sheet].cell(rows[0], at).value = as_value(value)
        book.save(block.rest)

    def rows(self, block: Block) -> None:
        """Type whole rows into a table of the plan that is empty."""
        path, name = block.rest.split()
        book = openpyxl.load_workbook(path)
        sheet = book[name]
        heads = [part.strip() for part in block.lines[0].split("|")]
        places = [header_of(sheet, head) for head in heads]
        header = places[0][0]
        for row, line in enumerate(block.lines[1:], header + 1):
            for (_, column), value in zip(places, line.split("|"), strict=True):
                assert sheet.cell(row, column).value is None, f"{block.where}: {line}: the row is not empty"
                sheet.cell(row, column).value = as_value(value.strip())
        (table,) = sheet.tables.values()
        first, last = table.ref.split(":")
        table.ref = f"{first}:{last.rstrip('0123456789')}{header + len(block.lines) - 1}"
        book.save(path)

    def python(self, block: Block) -> None:
        """Run the lines at the prompt."""
        text = "\n".join(block.lines) + "\n"
        test = doctest.DocTestParser().get_doctest(text, self.names, block.where, block.where, 0)
        assert test.examples, f"{block.where}: no example"
        report = io.StringIO()
        runner = doctest.DocTestRunner(optionflags=FLAGS, verbose=False)
        runner.run(test, out=report.write, clear_globs=False)
        self.names.update(test.globs)
        assert runner.failures == 0, report.getvalue()


KINDS = ("console", "formula", "change", "rows", "python")


def commands(block: Block) -> list[tuple[str, list[str]]]:
    """The commands of a console block, each with the lines below it."""
    found: list[tuple[str, list[str]]] = []
    for line in block.lines:
        if line.startswith("$ "):
            found.append((line[2:].strip(), []))
        elif found:
            found[-1][1].append(line.rstrip())
    for _, expected in found:
        while expected and not expected[-1]:
            expected.pop()
    return found


def words_of(command: str) -> list[str]:
    """The words of a command; what follows # is a comment."""
    return shlex.split(command, comments=True)


def run(command: str) -> tuple[int, str]:
    """The exit code of a command and all it prints."""
    words = words_of(command)
    if words[0] == "cd":
        os.chdir(words[1])
        return 0, ""
    if words[0] != "dispense":
        program = [sys.executable, *words[1:]] if words[0] == "python" else ["sh", "-c", command]
        done = subprocess.run(
            program, capture_output=True, text=True, timeout=120, env={**os.environ, "PYTHONPATH": str(ROOT)}
        )
        return done.returncode, done.stdout + done.stderr
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(printed):
        try:
            code = main(words[1:])
        except SystemExit as end:
            code = int(end.code or 0)
    return code, printed.getvalue()


def matches(expected: list[str], printed: str) -> bool:
    """Whether the printed text is the expected one, spaces and `...` aside."""
    return CHECKER.check_output("\n".join(expected) + "\n", printed.rstrip() + "\n", FLAGS)


def as_value(text: str):
    """A number where the text is one."""
    with contextlib.suppress(ValueError):
        return float(text)
    return text


def same(shown, value, text: str) -> bool:
    """Whether a cell shows this value, to the digits of its text."""
    if not isinstance(value, float):
        return str(shown) == value
    digits, _, power = text.lower().partition("e")
    decimals = len(digits.partition(".")[2]) - int(power or 0)
    return math.isclose(shown, value, rel_tol=0.0, abs_tol=0.5000001 * 10.0**-decimals)


def header_of(sheet, column: str) -> tuple[int, int]:
    """Row and number of the column with that header."""
    for cells in sheet.iter_rows(max_row=20):
        for cell in cells:
            if cell.value == column:
                return cell.row, cell.column
    raise AssertionError(f"{sheet.title}: no column {column}")
