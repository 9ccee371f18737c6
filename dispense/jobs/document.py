"""A plan that is open in a spreadsheet: what a job asks of the program that shows it.

A host (LibreOffice, Excel, or a file for tests) knows how to read cells as they stand on the screen, to
lay marks over them, to ask, to show lines in a pane and to open a file. It knows nothing of dispensing:
all texts and all logic are in `on_screen` and `live`.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol, TypeAlias

from ..base.errors import DispenseError, FileError, InputError, Problem
from ..base.findings import NOTE, STOP
from ..base.language import said_problem, translated

#: a value as a cell holds it: an error is its text ("#N/A"), a blank None
CellValue: TypeAlias = (
    str | float | int | bool | datetime.datetime | datetime.date | datetime.time | datetime.timedelta | None
)

TEXT, CHOICE, FILES = "text", "choice", "files"  # how a question is answered


@dataclass(frozen=True, slots=True)
class Grid:
    """A sheet from its cell A1 on: rows of values, and the named tables on it by their range (A1:D7)."""

    name: str
    rows: Sequence[Sequence[CellValue]]
    tables: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Mark:
    """A cell to draw an outline round ("Beads!D7"), of which kind (as a finding), and why."""

    cell: str
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class FormulaCell:
    """A cell's formula as Excel writes it in English (`=BEAD_AREA("round",Line!D4)`), its error or ""."""

    cell: str
    text: str
    error: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the pane: its text, and the cell to jump to or the file to open with it, "" for none."""

    text: str
    cell: str = ""
    file: str = ""
    kind: str = NOTE


@dataclass(frozen=True, slots=True)
class Pane:
    """What the pane shows: a headline, and lines of which some lead to a cell."""

    headline: str
    lines: Sequence[Line] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to ask: its key, the words before it, what may be answered and what stands there first."""

    key: str
    label: str
    choices: Sequence[str] = ()
    default: str = ""
    kind: str = CHOICE
    words: Sequence[str] = ()  # choices that are no names of the plan, but words of ours


class Host(Protocol):
    """The spreadsheet program, seen from one open workbook."""

    def place(self) -> Path | None:
        """Where the workbook was saved last; None where it never was."""

    def language(self) -> str:
        """The language of the program's windows as a code ("de-AT"), "" where it is not told."""

    def read(self) -> Sequence[Grid]:
        """All sheets as they stand on the screen."""

    def formulas(self) -> Sequence[FormulaCell]:
        """Formulas that call the add-in; where the program cuts whole columns itself only those in error."""

    def rewrite(self, formulas: Mapping[str, str]) -> Sequence[str]:
        """Put formulas into cells, in one undo step; those whose value changes by it stay as they were.

        The cells that were changed.
        """

    def mark(self, marks: Sequence[Mark]) -> None:
        """Outline these cells and no others: marks of before go."""

    def show(self, pane: Pane) -> None:
        """Put this into the pane."""

    def ask(self, title: str, questions: Sequence[Question]) -> Mapping[str, str] | None:
        """Ask all of it at once; None where the user went back."""

    def release(self, path: Path) -> None:
        """Close the workbook at a place, or those below a folder, in which nothing was typed."""

    def open(self, path: Path) -> None:
        """Open a workbook beside the one that is open."""

    def progress(self, done: int, total: int) -> bool:
        """Show how far a job is; whether it is to go on."""

    def write(self, values: Mapping[str, CellValue]) -> None:
        """Put values into cells ("Station!B7"), without an undo step."""


class Stopped(DispenseError):
    """The user stopped a job."""


def going_on(host: Host) -> Callable[[int, int], None]:
    """Progress of a job as jobs tell it; raises Stopped where the user stops it."""

    def tell(done: int, total: int) -> None:
        if not host.progress(done, total):
            raise Stopped("stopped; what is written so far is whole")

    return tell


def saved_place(host: Host) -> Path:
    """Where the workbook lies; raises FileError where it was never saved, since results lie beside it."""
    place = host.place()
    if place is None:
        raise FileError(
            Problem(
                "the open workbook",
                message="was never saved, so there is no folder for what is made of it",
                fix="save it once; after that it need not be saved again",
            )
        )
    return place


def answers(
    host: Host, title: str, questions: Sequence[Question], given: Mapping[str, str]
) -> dict[str, str] | None:
    """The answers to all questions: those given, and the rest from the user; None where he went back.

    They are asked in the language that is printed. Raises InputError for an answer that is none of the
    choices.
    """
    open_ones = [item for item in questions if item.key not in given]
    asked = host.ask(translated(title), [_worded(item) for item in open_ones]) if open_ones else {}
    if asked is None:
        return None
    asked = {key: _meant(value, key, open_ones) for key, value in asked.items()}
    found = {item.key: {**asked, **given}.get(item.key, item.default) for item in questions}
    problems = [
        Problem(title, item.label, found[item.key], f"one of {', '.join(item.choices)}")
        for item in questions
        if item.choices and found[item.key] not in item.choices
    ]
    if problems:
        raise InputError(problems)
    return found


def _worded(item: Question) -> Question:
    """A question in the language that is printed; names of the plan stay as they are."""

    def choice(text: str) -> str:
        return translated(text) if text in item.words else text

    choices = [choice(text) for text in item.choices]
    return replace(item, label=translated(item.label), choices=choices, default=choice(item.default))


def _meant(answer: str, key: str, questions: Sequence[Question]) -> str:
    """An answer in our own words, whatever language it was asked in."""
    words = next((item.words for item in questions if item.key == key), ())
    return next((text for text in words if answer == translated(text)), answer)


def problem_line(problem: Problem) -> Line:
    """A problem as a line of the pane, in the language that is printed; one that names a cell leads there."""
    is_cell = "!" in problem.where
    return Line(said_problem(problem), problem.where if is_cell else "", kind=STOP)


__all__ = [
    "CHOICE",
    "FILES",
    "TEXT",
    "CellValue",
    "FormulaCell",
    "Grid",
    "Host",
    "Line",
    "Mark",
    "Pane",
    "Question",
    "Stopped",
    "answers",
    "going_on",
    "problem_line",
    "saved_place",
]
