"""Any thirty commands in any order over one folder: nothing lost, nothing torn, the same answers.

A machine of hypothesis (RuleBasedStateMachine) draws the commands: what a planner edits, fills, books, takes
back and asks, and what lies about in a folder. It knows three things of its own that no command tells it: the
plan as it last wrote it, every mark that it typed into a sheet, and every booking as it first saw it.

    DISPENSE_SEQUENCES=500 pytest tests/test_sequences.py    # 500 sequences, before a release
"""

from __future__ import annotations

import contextlib
import csv
import datetime
import functools
import io
import json
import os
import re
import shutil
import sqlite3
import tempfile
import zipfile
from hashlib import sha256
from pathlib import Path

from floor import type_in
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from plans import MONDAY, hand_rows, light_plan

from dispense import cli

COMMANDS = 30
SEQUENCES = int(os.environ.get("DISPENSE_SEQUENCES", "2"))
STAMP = "2026-03-02 15:00"
DAYS = [str(MONDAY + datetime.timedelta(days=day)) for day in range(2)]
CODES = {0, 1, 3, 4, 5}

quantities = st.sampled_from([21, 22, 8])
days = st.sampled_from(DAYS)
languages = st.sampled_from(["en", "de"])


def plan_rows(first: int, second: int) -> dict[str, list[dict]]:
    """The plan worked by hand over two days, with a choice to compare."""
    tables = hand_rows()
    tables["Builds"] = [
        {"date": day, "shift": "early", "part": "frame", "quantity": quantity}
        for day, quantity in zip(DAYS, (first, second), strict=True)
        if quantity
    ]
    tables["Choices"] = [
        {"material": "Bond 60", "component": "a", "what": "container", "value": f"{size} mL"}
        for size in (50, 200)
    ]
    return tables


def text_of(path: Path) -> bytes:
    """Everything that a workbook says, as it lies in its parts; raises where the file is torn."""
    state = path.stat()
    return _read(path, state.st_ino, state.st_mtime_ns, state.st_size)


@functools.lru_cache(maxsize=256)
def _read(path: Path, *_: int) -> bytes:
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None, path
        return b"".join(archive.read(name) for name in archive.namelist() if name.endswith(".xml"))


def without_times(text: str) -> str:
    """What was printed, without how long it took."""
    return re.sub(r'"seconds": [0-9.e-]+|in [0-9.]+ s\b', "", text)


class Folder(RuleBasedStateMachine):
    """One folder with a plan, and what is done in it."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="sequence_"))
        self.plan = self.folder / "plan.xlsx"
        self.sheets = self.folder / "sheets"
        self.typed: dict[tuple[str, int], str] = {}  # what stands in a cell that was typed into
        self.marks = self.balances = 0
        self.answers: dict[tuple, tuple] = {}
        self.booked: list[dict[str, str]] = []
        self.seen = ""  # the journal as it was last looked at

    def teardown(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    # ---------------------------------------------------------------- what a user does by hand

    @initialize(first=quantities, second=quantities)
    def begin(self, first: int, second: int) -> None:
        self._write_plan(first, second)

    @rule(first=quantities, second=st.sampled_from([0, 8, 21]))
    def edit_the_plan(self, first: int, second: int) -> None:
        self._write_plan(first, second)

    def _write_plan(self, first: int, second: int) -> None:
        light_plan(self.plan, plan_rows(first, second))
        self.bytes = self.plan.read_bytes()

    @rule(day=days, row=st.integers(0, 4))
    def type_initials(self, day: str, row: int) -> None:
        path = self.sheets / f"{day}_early" / "hem_material.xlsx"
        if not path.is_file():
            return
        self.marks += 1
        mark = f"mark{self.marks}z"
        type_in(path, "MaterialTimes", "Initials", [*[None] * row, mark])
        for key in [key for key in self.typed if key == (day, row)]:
            # written over by hand; kept beside, it may stand elsewhere all the same
            del self.typed[key]
        self.typed[day, row] = mark

    @rule(name=st.sampled_from([".dispense-abc123.tmp", "~$plan.tmp", "notes.txt"]))
    def leave_something(self, name: str) -> None:
        path = self.folder / name
        path.write_bytes(b"left over")
        os.utime(path, (0, 0))

    # ------------------------------------------------------------------- commands that write

    @rule(day=st.none() | days, language=languages)
    def fill(self, day: str | None, language: str) -> None:
        chosen = ["--date", day] if day else []
        self._run("fill", "--out", self.sheets, "--language", language, "--stamp", STAMP, *chosen)

    @rule(day=days, language=languages)
    def fill_elsewhere(self, day: str, language: str) -> None:
        """The same plan into a new folder gives the same bytes each time."""
        new = self.folder / "new"
        shutil.rmtree(new, ignore_errors=True)
        code, _ = self._run("fill", "--out", new, "--date", day, "--language", language, "--stamp", STAMP)
        made = tuple(
            (str(path.relative_to(new)), sha256(path.read_bytes()).hexdigest())
            for path in sorted(new.rglob("*.xlsx"))
        )
        self._same(("fill elsewhere", day, language, sha256(self.bytes).hexdigest()), (code, made))

    @rule(ending=st.sampled_from(["xlsx", "json", "csv"]))
    def forecast(self, ending: str) -> None:
        out = self.folder / f"forecast.{ending}"
        self._run("forecast", "--out", out, "--draws", "10", "--weeks", "1")

    @rule(command=st.sampled_from(["cure", "compare"]))
    def report(self, command: str) -> None:
        self._run(command, "--out", self.folder / f"{command}.xlsx")

    @rule(day=days, hour=st.integers(6, 9), grams=st.sampled_from([4.3, 4.4, 4.5]))
    def book_a_weight(self, day: str, hour: int, grams: float) -> None:
        self.balances += 1
        path = self.folder / f"balance{self.balances}.csv"
        path.write_text(f"Time,Weight [g],Station\n{day} {hour:02d}:{self.balances % 60:02d},{grams},hem\n")
        self._run("book", path, "--stamp", STAMP)

    @rule(day=days, pieces=st.integers(0, 9))
    def book_a_table(self, day: str, pieces: int) -> None:
        path = self.folder / "happened.csv"
        path.write_text(f"What,Date,Time,Station,Part,Pieces\nmade,{day},10:00,hem,frame,{pieces}\n")
        self._run("book", path, "--stamp", STAMP)

    @rule(day=days)
    def book_the_sheets(self, day: str) -> None:
        found = sorted((self.sheets / f"{day}_early").glob("*.xlsx"))
        if found:
            self._run("book", *found, "--stamp", STAMP)

    @rule(number=st.integers(1, 6))
    def take_back(self, number: int) -> None:
        self._run("book", "--take-back", number, "--reason", "wrong line", "--stamp", STAMP)

    @rule()
    def make_a_new_plan(self) -> None:
        """There is one: it is never written over."""
        code, _ = self._command(["new", str(self.plan), "--demo"])
        assert code == 1

    # --------------------------------------------------------------------- commands that ask

    @rule(
        words=st.sampled_from(
            [
                ("check",),
                ("check", "--json"),
                ("weights",),
                ("weights", "--json"),
                ("learn", "--json"),
                ("trace", "--lot", "A1"),
                ("trace", "--day", DAYS[0], "--json"),
                ("book",),
                ("compare",),
                ("forecast", "--draws", "10", "--weeks", "1", "--json"),
            ]
        )
    )
    def ask(self, words: tuple[str, ...]) -> None:
        """The same question of the same plan and journal gives the same answer, and changes nothing."""
        before = self._state()
        answer = self._run(words[0], *words[1:])
        assert self._state() == before, words
        self._same((words, before), answer)

    # ---------------------------------------------------------------------- what must hold

    @invariant()
    def nothing_is_torn(self) -> None:
        for path in self.folder.rglob("*"):
            if path.suffix == ".xlsx":
                text_of(path)
            elif path.suffix == ".json":
                json.loads(path.read_text(encoding="utf-8"))
            elif path.suffix == ".csv":
                list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
            elif path.suffix == ".journal":
                with contextlib.closing(sqlite3.connect(path)) as journal:
                    assert journal.execute("pragma integrity_check").fetchall() == [("ok",)]

    @invariant()
    def the_plan_is_as_it_was_written(self) -> None:
        if self.plan.exists():
            assert self.plan.read_bytes() == self.bytes

    @invariant()
    def what_was_typed_is_there(self) -> None:
        if self.typed:
            said = b"".join(text_of(path) for path in self.folder.rglob("*.xlsx"))
            lost = [mark for mark in self.typed.values() if mark.encode() not in said]
            assert not lost, lost

    @invariant()
    def what_was_booked_is_there(self) -> None:
        """A booking never changes but for whether it counts; numbers go on."""
        if not (self.folder / "plan.journal").is_file():
            assert not self.booked
            return
        if self.seen == self._state():
            return
        self.seen = self._state()
        out = self.folder / "exported"
        shutil.rmtree(out, ignore_errors=True)
        code, _ = self._command(["book", str(self.plan), "--export", str(out)])
        assert code == 0
        with (out / "bookings.csv").open(encoding="utf-8-sig", newline="") as file:
            rows = [{key: row[key] for key in row if key != "counts"} for row in csv.DictReader(file)]
        shutil.rmtree(out)
        assert rows[: len(self.booked)] == self.booked
        assert [int(row["number"]) for row in rows] == list(range(1, len(rows) + 1))
        self.booked = rows

    # -------------------------------------------------------------------------------- below

    def _run(self, command: str, *words: object) -> tuple[int, str]:
        return self._command([command, str(self.plan), *map(str, words)])

    def _command(self, words: list[str]) -> tuple[int, str]:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.main(words)
        said = without_times(out.getvalue() + err.getvalue())
        assert code in CODES and "Traceback" not in said, (words, said)
        return code, said

    def _state(self) -> str:
        """The hash of the plan and of what the journal holds."""
        digest = sha256(self.plan.read_bytes())
        journal = self.folder / "plan.journal"
        if journal.is_file():
            with contextlib.closing(sqlite3.connect(journal)) as found:
                digest.update("\n".join(found.iterdump()).encode())
        return digest.hexdigest()

    def _same(self, question: tuple, answer: tuple) -> None:
        assert self.answers.setdefault(question, answer) == answer, question


def test_any_commands_in_any_order():
    run_state_machine_as_test(
        Folder,
        settings=settings(
            max_examples=SEQUENCES,
            stateful_step_count=COMMANDS,
            deadline=None,
            derandomize=SEQUENCES <= 10,
            suppress_health_check=list(HealthCheck),
        ),
    )
