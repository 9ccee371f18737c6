"""The core behind a spreadsheet's menu, as a process of its own: one JSON message a line, both ways.

A program that cannot hold this package (its Python is another) starts `dispense addin serve` and talks to
it. It sends what its user asks:

    {"do": "check", "book": "7", "place": "/plans/plan.xlsx", "language": "de-AT", "given": {}}
    {"do": "changed", "book": "7", "place": …}         a cell was edited
    {"do": "closed", "book": "7"}

and answers what the core asks of it, each with the number of the asking:

    {"ask": 3, "book": "7", "what": "read"}            -> {"answer": 3, "value": [sheet, …]}
    {"ask": 4, "book": "7", "what": "mark", "value": […]}  -> {"answer": 4}

`WHAT` lists all that is asked. Values of cells: numbers, texts, true, false, null; a date is a number of days
and stands in a block that the sheet lists under `dates`.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from itertools import count
from pathlib import Path
from queue import Queue
from time import perf_counter
from typing import IO, Any

from .. import __version__
from ..base.errors import DispenseError, Problem
from ..base.findings import Finding
from ..base.language import translated
from ..jobs.desk import Desk, spoken_in, worked_out
from ..jobs.document import CellValue, FormulaCell, Grid, Mark, Pane, Question, problem_line
from ..jobs.live import follow
from ..jobs.on_screen import COMMANDS, SOON, run, show_check
from ..plan.records import Plan
from ..xlsx.package import split_range

#: all that is asked of the program, and what it answers
WHAT = {
    "read": "its sheets: name, rows, tables (name to range), dates (ranges)",
    "formulas": "formulas that call the add-in: cell, text as Excel writes it, error",
    "rewrite": "the cells that were changed; value: cell to formula",
    "mark": "nothing; value: cell, kind, text of each mark",
    "show": "nothing; value: headline, lines of text, cell, file, kind",
    "ask": "key to answer, or null; value: title, questions of key, label, choices, default, kind",
    "release": "nothing; value: a path",
    "open": "nothing; value: a path",
    "progress": "whether to go on; value: done, total",
    "write": "nothing; value: cell to value",
}
CHANGED = "changed"  # what is done where a cell was edited
FIRST_DAY = datetime.datetime(1899, 12, 30)
FIRST_DATE, LAST_DATE = 61, 2_958_466  # 1 March 1900, from where all spreadsheets agree, to the year 9999
DAY_SECONDS = 86_400


class Lost(Exception):
    """The program has gone, or the workbook was closed while a job asked for it."""


class Wire:
    """Messages to the program, and its answers by their number."""

    def __init__(self, out: IO[str]) -> None:
        self._out = out
        self._lock = threading.Lock()
        self._numbers = count(1)
        self._waiting: dict[int, Queue[Any]] = {}

    def tell(self, message: Mapping[str, Any]) -> None:
        """Send one message."""
        text = json.dumps(message, ensure_ascii=True, default=str)
        with self._lock:
            self._out.write(text + "\n")
            self._out.flush()

    def ask(self, book: str, what: str, value: Any = None) -> Any:
        """Ask something and wait for the answer; raises Lost where there is none."""
        number = next(self._numbers)
        place: Queue[Any] = Queue()
        self._waiting[number] = place
        self.tell({"ask": number, "book": book, "what": what, "value": value})
        answer = place.get()
        if answer is None or "error" in answer:
            raise Lost("" if answer is None else str(answer["error"]))
        return answer.get("value")

    def answered(self, message: Mapping[str, Any]) -> None:
        """Hand an answer to whoever waits for it."""
        place = self._waiting.pop(int(message["answer"]), None)
        if place is not None:
            place.put(message)

    def end(self) -> None:
        """Nobody will be answered any more."""
        for place in list(self._waiting.values()):
            place.put(None)


class WireHost:
    """A workbook that is open in the program at the other end (`jobs.document.Host`)."""

    def __init__(self, wire: Wire, book: str) -> None:
        self._wire, self._book = wire, book
        self.where: Path | None = None
        self.speaks = ""

    def place(self) -> Path | None:
        """Where it was saved last, as the program said."""
        return self.where

    def language(self) -> str:
        """That of the program's windows, as it said."""
        return self.speaks

    def read(self) -> list[Grid]:
        """Its sheets."""
        return [grid_of(item) for item in self._wire.ask(self._book, "read")]

    def formulas(self) -> list[FormulaCell]:
        """Its formulas with functions of the add-in."""
        found = self._wire.ask(self._book, "formulas")
        return [FormulaCell(str(one["cell"]), str(one["text"]), str(one["error"])) for one in found]

    def rewrite(self, formulas: Mapping[str, str]) -> list[str]:
        """Other formulas in its cells."""
        return [str(cell) for cell in self._wire.ask(self._book, "rewrite", dict(formulas))]

    def mark(self, marks: Sequence[Mark]) -> None:
        """Its marks."""
        rows = [{"cell": item.cell, "kind": item.kind, "text": item.text} for item in marks]
        self._wire.ask(self._book, "mark", rows)

    def show(self, pane: Pane) -> None:
        """Its pane."""
        lines = [
            {"text": item.text, "cell": item.cell, "file": item.file, "kind": item.kind}
            for item in pane.lines
        ]
        self._wire.ask(self._book, "show", {"headline": pane.headline, "lines": lines})

    def ask(self, title: str, questions: Sequence[Question]) -> Mapping[str, str] | None:
        """A dialog."""
        rows = [
            {
                "key": item.key,
                "label": item.label,
                "choices": list(item.choices),
                "default": item.default,
                "kind": item.kind,
            }
            for item in questions
        ]
        found = self._wire.ask(self._book, "ask", {"title": title, "questions": rows})
        return None if found is None else {str(key): str(value) for key, value in found.items()}

    def release(self, path: Path) -> None:
        """What is open there and was not changed is closed."""
        self._wire.ask(self._book, "release", str(path))

    def open(self, path: Path) -> None:
        """Another workbook."""
        self._wire.ask(self._book, "open", str(path))

    def progress(self, done: int, total: int) -> bool:
        """How far."""
        return bool(self._wire.ask(self._book, "progress", {"done": done, "total": total}))

    def write(self, values: Mapping[str, CellValue]) -> None:
        """Values into cells."""
        self._wire.ask(self._book, "write", dict(values))


def grid_of(sheet: Mapping[str, Any]) -> Grid:
    """A sheet as it came: whole numbers whole, days as dates where the sheet says so."""
    rows = [[_plain(value) for value in row] for row in sheet["rows"]]
    for block in sheet.get("dates", ()):
        top, left, bottom, right = split_range(block)
        for row in rows[top - 1 : bottom]:
            for place in range(left - 1, min(right, len(row))):
                row[place] = moment_of(row[place])
    return Grid(str(sheet["name"]), rows, dict(sheet.get("tables", {})))


def _plain(value: CellValue) -> CellValue:
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return None if value == "" else value


def moment_of(value: CellValue) -> CellValue:
    """A number of days as a date, with its clock time; a clock time alone and any other value as it is.

    >>> moment_of(46083), moment_of(46083.25), moment_of(0.25)
    (datetime.datetime(2026, 3, 2, 0, 0), datetime.datetime(2026, 3, 2, 6, 0), 0.25)
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not FIRST_DATE <= value < LAST_DATE:
        return value
    return FIRST_DAY + datetime.timedelta(seconds=round(value * DAY_SECONDS))


class Server:
    """The desks of all workbooks that are open at the other end, and the work asked for.

    Jobs of one workbook run one after another in a thread of its own; what follows an edit runs there too,
    so that a cell edited during a job is looked at after it. Of several edits that wait one is looked at.
    """

    def __init__(self, wire: Wire) -> None:
        self._wire = wire
        self._desks: dict[str, _BookDesk] = {}

    def take(self, message: Mapping[str, Any]) -> None:
        """One message of the program."""
        if "answer" in message:
            self._wire.answered(message)
            return
        book, do = str(message["book"]), str(message["do"])
        if do == "closed":
            gone = self._desks.pop(book, None)
            if gone is not None:
                gone.end()
            return
        if book not in self._desks:
            self._desks[book] = _BookDesk(self._wire, book)
        place = message.get("place")
        given = {str(key): str(value) for key, value in (message.get("given") or {}).items()}
        desk = self._desks[book]
        desk.host.speaks = str(message.get("language") or "")
        desk.put(do, Path(place) if place else None, given)

    def end(self) -> None:
        """No more messages come."""
        self._wire.end()
        for desk in self._desks.values():
            desk.end()


class _BookDesk:
    """The work on one workbook, in its own thread; findings after an edit are sought in another."""

    def __init__(self, wire: Wire, book: str) -> None:
        self.host = WireHost(wire, book)
        self.desk = Desk(self.host)
        self._waiting: Queue[Callable[[], None] | None] = Queue()
        self._edits = 0  # that wait
        self._is_seeking = False
        threading.Thread(target=self._work, name=f"book {book}", daemon=True).start()

    def put(self, do: str, place: Path | None, given: dict[str, str]) -> None:
        """Something to do when all before it is done."""
        if do == CHANGED:
            self._edits += 1
        self._waiting.put(partial(self._do, do, place, given))

    def end(self) -> None:
        """The workbook was closed."""
        self._waiting.put(None)

    def _work(self) -> None:
        while (work := self._waiting.get()) is not None:
            try:
                work()
            except Lost:
                continue
            except Exception as error:  # whatever it is, the user must read it and go on
                self._tell_fault(error)

    def _do(self, do: str, place: Path | None, given: dict[str, str]) -> None:
        self.host.where = place
        if do == CHANGED:
            self._edits -= 1
            if not self._edits:  # else it is looked at with the edit that waits
                self._follow_edit()
        elif do in COMMANDS:
            run(self.desk, do, given)
        else:
            self._not_done(Problem("menu", "command", do, f"one of {', '.join(COMMANDS)}"))

    def _not_done(self, problem: Problem) -> None:
        with spoken_in(self.desk):
            pane = Pane(translated("not done"), [problem_line(problem)])
        self.host.show(pane)

    def _follow_edit(self) -> None:
        """Problems at once, findings when they are worked out, those of quick stations before."""
        if not self.desk.is_checking:
            follow(self.desk)
        elif self.desk.look():
            if self.desk.problems:
                show_check(self.desk)
            self._seek()

    def _seek(self) -> None:
        plan = self.desk.plan
        if plan is None or self.desk.problems or self.desk.findings is not None or self._is_seeking:
            return
        self._is_seeking = True

        def seek() -> None:
            found: list[Finding] = []
            begun = perf_counter()
            try:
                for found, waiting in worked_out(plan, self.desk.lasted):
                    if self.desk.plan is not plan:
                        break
                    if waiting and perf_counter() - begun > SOON:
                        self._waiting.put(partial(self._so_far, plan, found, waiting))
                        begun = perf_counter()
            except Exception as error:  # told where all faults are told
                self._waiting.put(partial(self._tell_fault, error))
            self._waiting.put(partial(self._found, plan, found))

        threading.Thread(target=seek, name="findings", daemon=True).start()

    def _so_far(self, plan: Plan, findings: list[Finding], waiting: list[str]) -> None:
        """Findings of some stations, while others are worked out."""
        if self.desk.plan is plan:
            self.desk.findings, self.desk.waiting = findings, waiting
            self._show()

    def _show(self) -> None:
        if self.desk.is_checking:
            show_check(self.desk)

    def _found(self, plan: Plan, findings: list[Finding]) -> None:
        """Findings of the plan as it was when they were begun: shown if it is still so, else sought anew."""
        self._is_seeking = False
        if self.desk.plan is plan:
            self.desk.findings, self.desk.waiting = findings, ()
            self._show()
        else:
            self._seek()

    def _tell_fault(self, error: Exception) -> None:
        words = str(error) if isinstance(error, DispenseError) else f"{type(error).__name__}: {error}"
        with contextlib.suppress(Lost):
            self._not_done(Problem("", message=words))


def serve(lines: Iterable[str], out: IO[str]) -> None:
    """Work on messages until they end."""
    wire = Wire(out)
    server = Server(wire)
    wire.tell({"hello": __version__, "commands": list(COMMANDS)})
    for line in lines:
        if line.strip():
            server.take(json.loads(line))
    server.end()


__all__ = ["WHAT", "Server", "Wire", "grid_of", "moment_of", "serve"]
