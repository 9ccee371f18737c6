"""`dispense book`: what came back from the floor, shown cell by cell and booked into the plan's journal."""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..base.errors import DispenseError, FileError, InputError, Problem
from ..base.findings import Finding
from ..base.printed import counted, csv_cell, listed
from ..base.terminal import findings_text, table
from ..base.workers import Stopped
from ..journal.count_doubts import count_doubts
from ..journal.doubts import doubts
from ..journal.entries import (
    AS_PLANNED,
    BOOK,
    BOOKING_FIELDS,
    ENTRY_FIELDS,
    WEIGHT,
    WEIGHT_A,
    WEIGHT_B,
    Booking,
    Entry,
)
from ..journal.lots import lot_findings
from ..journal.planned import to_keep
from ..journal.reading import Reading, content_of, read_floor_table
from ..journal.rescue import recover
from ..journal.store import (
    Journal,
    book_entries,
    copied_from,
    journal_path,
    read_journal,
    refuse_long,
    take_back,
)
from ..journal.weighed import weight_findings
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.sources import NO_SOURCES, Sources, load_plan_from
from ..sheets.catalogue import SPECS
from ..sheets.check import SHOT_CHECK
from ..sheets.filled import read_filled
from ..xlsx.package import Package
from ..xlsx.typed import kind_at
from ..xlsx.write import atomic_write_all, make_folder

WORKBOOKS = (".xlsx", ".xlsm")
TEXTS = (".csv", ".txt")
NEW, REPLACES, KNOWN = "new", "replaces", "already booked"
EXPORTS = ("bookings.csv", "entries.csv", "as_planned.csv")
SHOWN = 400  # entries of a file that a terminal shows; JSON has all


@dataclass(slots=True)
class BookedFile:
    """What was understood of one file, what of it is new, and the booking that it became."""

    path: Path
    reading: Reading
    states: list[str] = field(default_factory=list)  # of its entries, in their order
    booking: Booking | None = None
    known: Booking | None = None  # the booking of a file with the same content
    name: str = ""  # with its folder, where another file of the call is called the same

    @property
    def news(self) -> int:
        """How many of its entries are new or replace another."""
        return sum(state != KNOWN for state in self.states)

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "file": str(self.path),
            "kind": self.reading.kind,
            "entries": [
                {
                    name: value
                    for name, value in zip(ENTRY_FIELDS, entry.row, strict=True)
                    if value not in ("", None)
                }
                | {"state": state}
                for entry, state in zip(self.reading.entries, self.states, strict=True)
            ],
            "refused": [str(item) for item in self.reading.refused],
            "not_understood": [str(item) for item in self.reading.unread],
            "notes": list(self.reading.notes),
            "booking": self.booking.number if self.booking else None,
        }

    def lines(self, dry: bool) -> list[str]:
        """For a terminal: each cell and what it says, then what became of it."""
        reading = self.reading
        understood = counted(len(reading.entries), "cell")
        lines = [f"{self.name or self.path.name}: {reading.kind}, {understood} understood"]
        if reading.entries:
            rows = [
                [
                    f"  {entry.cell.removeprefix(reading.source).lstrip(' !')}",
                    _what(entry),
                    entry.words + (f" ({entry.by})" if entry.by else ""),
                    state,
                ]
                for entry, state in zip(reading.entries, self.states, strict=True)
            ]
            lines += table(["  cell", "what", "says", ""], rows[:SHOWN]).splitlines()
            if len(rows) > SHOWN:
                lines.append(f"  and {len(rows) - SHOWN} more")
        lines += [f"  not understood: {item}" for item in reading.unread]
        lines += [f"  wrong: {item}" for item in reading.refused]
        lines += [f"  note: {words}" for words in reading.notes]
        lines.append(f"  {self._became(dry)}")
        return lines

    def _became(self, dry: bool) -> str:
        if self.reading.refused:
            return "nothing of it is booked: mend what is wrong and book it again"
        if not self.news:
            if self.known is not None:
                return f"booked before as booking {self.known.number}: nothing changes"
            return "nothing new in it"
        if dry:
            return f"would book {counted(self.news, 'cell')}"
        if self.booking is None:
            return "booked by another meanwhile: nothing changes"
        return f"booked as booking {self.booking.number}"


@dataclass(slots=True)
class BookReport:
    """Files booked into a journal, and what is to know of the journal."""

    journal: Path
    dry: bool = False
    files: list[BookedFile] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    done: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Whether all was understood."""
        return not any(item.reading.refused or item.reading.unread for item in self.files)

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "journal": str(self.journal),
            "dry_run": self.dry,
            "files": [item.as_json() for item in self.files],
            "notes": list(self.notes),
            "done": list(self.done),
            "findings": [item.as_json() for item in self.findings],
        }

    def as_text(self) -> str:
        """For a terminal."""
        lines = [line for item in self.files for line in item.lines(self.dry)]
        if self.findings:
            lines += ["", findings_text(self.findings), ""]
        lines += [*self.done, *(f"note: {words}" for words in self.notes)]
        return "\n".join(lines)


def _what(entry: Entry) -> str:
    """What an entry is a fact of, in words."""
    moment = entry.moment
    pieces = [
        entry.kind,
        entry.station,
        entry.part,
        entry.application,
        entry.material if not entry.station else "",
        entry.component.upper(),
        f"lot {entry.lot}" if entry.lot else "",
        moment.strftime("%Y-%m-%d %H:%M") if moment else entry.day,
    ]
    return ", ".join(filter(None, pieces))


# ------------------------------------------------------------------------------------------ files


def _read(plan: Plan, path: Path) -> Reading:
    """What a file says; a filled sheet is known by what filling left in it."""
    if not path.is_file():
        raise FileError(Problem(str(path), message="does not exist, or is no file", fix="check the name"))
    ending = path.suffix.lower()
    if ending in TEXTS:
        return read_floor_table(plan, path)
    if ending not in WORKBOOKS:
        raise FileError(
            Problem(
                str(path),
                message="is not a kind of file that is booked",
                fix="one ending in " + ", ".join((*WORKBOOKS, *TEXTS)),
            )
        )
    package = Package.open(path)
    kind = kind_at(path)
    if kind in SPECS:
        return read_filled(plan, path, package, kind)
    return read_floor_table(plan, path, package)


def _states(journal: Journal, entries: Sequence[Entry]) -> list[str]:
    """What each entry would change."""
    known = journal.current()
    found = []
    for entry in entries:
        old = known.get((entry.kind, entry.name))
        if old is None:
            found.append(NEW)
        elif old.entry.fact == entry.fact:
            found.append(KNOWN)
        else:
            lot = f" of lot {old.entry.lot}" if old.entry.lot and old.entry.lot != entry.lot else ""
            found.append(f"{REPLACES} {old.entry.words}{lot} of booking {old.booking.number}")
    return found


def _gone(journal: Journal, reading: Reading) -> Iterator[str]:
    """Weights that are booked of a shot-check sheet and no longer stand in it: they still count."""
    if not reading.head.startswith(f"{SHOT_CHECK.key}|"):
        return
    here = {(entry.kind, entry.name) for entry in reading.entries}
    for key, item in journal.current().items():
        if key[0] in (WEIGHT, WEIGHT_A, WEIGHT_B) and key[1].startswith(reading.head) and key not in here:
            yield (
                f"{item.entry.words} of booking {item.booking.number} ({item.entry.cell}) is not in this "
                f"file and still counts; to drop it: dispense book PLAN --take-back {item.booking.number}, "
                "then book the file again"
            )


def _twice(files: Iterable[BookedFile]) -> None:
    """Name two cells that say the same thing of one file differently: only one of them can hold."""
    for item in files:
        seen: dict[tuple[str, str], Entry] = {}
        for entry in item.reading.entries:
            key = entry.kind, entry.name
            if key in seen and seen[key].fact != entry.fact:
                item.reading.refused.append(
                    Problem(entry.cell, message=f"says another thing of the same as {seen[key].cell}")
                )
            seen[key] = entry


def book_files(
    plan_path: str | os.PathLike[str],
    files: Sequence[str | os.PathLike[str]],
    *,
    dry_run: bool = False,
    stamp: str | None = None,
    sources: Sources = NO_SOURCES,
) -> BookReport:
    """Read filled sheets and tables of the floor, and book what is new into the plan's journal.

    Each file is booked whole or not at all, one after another; `dry_run` books nothing. `stamp` is the
    time of booking where it is not now. `sources` are builds, stock and orders in place of the plan's.
    """
    plan = load_plan_from(plan_path, sources)
    path = journal_path(plan_path)
    journal = read_journal(path)
    report = BookReport(path, dry_run)
    if not path.exists():
        report.notes.append(f"{path.name} is the journal of this plan; it is begun with the first booking")
    problems: list[Problem] = []
    for given in files:
        try:
            reading = _read(plan, Path(given))
            refuse_long(reading.entries)
        except (FileError, InputError) as error:
            problems.extend(error.problems)
            continue
        report.files.append(BookedFile(Path(given), reading))
    if problems:
        raise InputError(problems)
    _twice(report.files)
    _name_apart(report.files)
    try:
        for item in report.files:
            journal = _book_one(plan, Path(plan_path), journal, report, item, stamp)
    except KeyboardInterrupt as error:
        raise Stopped(_stopped(report)) from error
    _note_copy(journal, report)
    return report


def _book_one(
    plan: Plan, plan_path: Path, journal: Journal, report: BookReport, item: BookedFile, stamp: str | None
) -> Journal:
    """Book what is new in a file; the journal afterwards."""
    reading = item.reading
    item.states = _states(journal, reading.entries)
    if not reading.refused:
        known = [each.entry for each in journal.current().values()]
        report.findings += lot_findings(plan, reading.entries, known)
        report.findings += count_doubts(plan, reading.entries, known)
        report.findings += weight_findings(plan, reading.entries)
        report.findings += doubts(plan, reading.entries, known, _moment(_stamp(stamp)))
        reading.notes += _gone(journal, reading)
    item.known = journal.booked_as(reading.content)
    if report.dry or reading.refused or not item.news:
        return journal
    booking = Booking(
        0, BOOK, _stamp(stamp), reading.source, reading.content, Path(plan_path).name, content_of(plan_path)
    )
    kept = _kept(plan, reading.entries, journal, report)
    item.booking = book_entries(report.journal, booking, reading.entries, kept=kept)
    return read_journal(report.journal)


def _stopped(report: BookReport) -> str:
    """What is said where a booking of several files is stopped: each is booked whole or not at all."""
    done = [item.path.name for item in report.files if item.booking is not None]
    left = [item.path.name for item in report.files if item.booking is None]
    words = f"booked: {listed(done)}" if done else "nothing was booked"
    return f"stopped: {words}; not booked: {listed(left)}" if left else f"stopped: {words}"


def _kept(plan: Plan, entries: Sequence[Entry], journal: Journal, report: BookReport) -> list[Entry]:
    """The shifts of these entries as planned now; what a plan cannot play is booked all the same."""
    try:
        return to_keep(plan, entries, journal)
    except DispenseError as error:
        report.notes.append(f"what was planned could not be kept for dispense trace: {error}")
        return []


def _stamp(stamp: str | None) -> str:
    return datetime.datetime.now().strftime("%Y-%m-%d %H:%M") if stamp is None else str(stamp)


def _moment(stamp: str) -> datetime.datetime | None:
    """The time of a stamp; None where it is another text."""
    try:
        return datetime.datetime.fromisoformat(stamp).replace(tzinfo=None)
    except ValueError:
        return None


def _name_apart(files: Sequence[BookedFile]) -> None:
    """Show the folder of files whose names are alike."""
    names = Counter(item.path.name for item in files)
    for item in files:
        if names[item.path.name] > 1:
            item.name = str(Path(item.path.absolute().parent.name) / item.path.name)


def _note_copy(journal: Journal, report: BookReport) -> None:
    other = copied_from(journal)
    if other:
        report.notes.append(
            f"{journal.path.name} is a copy of {other}, or that of this one: what is booked into one does "
            "not reach the other"
        )


# ---------------------------------------------------------------------------- the rest of a journal


def take_booking_back(
    plan_path: str | os.PathLike[str], number: int, *, reason: str = "", stamp: str | None = None
) -> BookReport:
    """Take a booking back by a later one."""
    path = journal_path(plan_path)
    found = take_back(path, number, _stamp(stamp), reason)
    report = BookReport(path, done=[f"booking {number} is taken back by booking {found.number}"])
    try:
        changes = load_plan(plan_path).changes
    except (FileError, InputError):  # the booking is taken back, whatever the plan's state
        report.notes.append(
            "the plan cannot be read: whether a value of it rests on that booking is not known"
        )
        return report
    report.notes += [
        f"{change.table}, {change.row}, {change.column} was changed to "
        + f"{change.new:.6g} {change.unit}".rstrip()
        + f" on {change.date} from booking {number} ({change.at}): dispense learn PLAN says what holds now"
        for change in changes
        if str(number) in re.findall(r"\d+", change.bookings)
    ]
    return report


def recover_journal(plan_path: str | os.PathLike[str]) -> BookReport:
    """Put a new journal with all that is whole in the place of a damaged one."""
    path = journal_path(plan_path)
    if not path.is_file():
        raise FileError(Problem(str(path), message="does not exist: nothing was booked"))
    try:
        read_journal(path)
    except FileError:
        found = recover(path)
    else:
        return BookReport(path, done=[f"{path.name} is whole: there is nothing to recover"])
    entries = sum(map(_facts, (entries for _, entries in found.bookings)))
    return BookReport(
        path,
        done=[
            f"{path.name}: {counted(len(found.bookings), 'booking')} with {entries} entries recovered; the "
            f"damaged one is kept as {found.kept}",
            *(f"lost: {words}" for words in found.lost),
        ],
    )


def export_journal(plan_path: str | os.PathLike[str], folder: str | os.PathLike[str]) -> BookReport:
    """All of a journal as CSV: bookings, entries with whether they hold, and shifts as they were planned."""
    path = journal_path(plan_path)
    journal = read_journal(path)
    holds = {(item.booking.number, item.entry) for item in journal.current().values()}
    gone = journal.taken_back
    bookings = [[*item.row, "no" if item.number in gone else "yes"] for item in journal.bookings]
    entries: list[list[Any]] = []
    planned: list[list[Any]] = []
    for number, items in journal.entries.items():
        for place, entry in enumerate(items, 1):
            if entry.kind == AS_PLANNED:
                planned.append([number, place, *entry.row])
            else:
                entries.append([number, place, *entry.row, "yes" if (number, entry) in holds else "no"])
    target = Path(folder)
    names = [target / name for name in EXPORTS]
    contents = [
        _csv([*BOOKING_FIELDS, "counts"], bookings),
        _csv(["booking", "place", *ENTRY_FIELDS, "holds"], entries),
        _csv(["booking", "place", *ENTRY_FIELDS], planned),
    ]
    for name, content in zip(names, contents, strict=True):
        if name.exists() and name.read_bytes().splitlines()[:1] != content.splitlines()[:1]:
            raise FileError(
                Problem(str(name), message="is there already and is no export", fix="choose another folder")
            )
    make_folder(target)
    atomic_write_all(dict(zip(names, contents, strict=True)), forbid=[plan_path, path])
    report = BookReport(path, done=[f"wrote {name}" for name in names])
    _note_copy(journal, report)
    return report


def _facts(entries: Iterable[Entry]) -> int:
    """How many entries are facts of the floor."""
    return sum(entry.kind != AS_PLANNED for entry in entries)


def _csv(headers: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headers)
    writer.writerows([csv_cell(value) for value in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")


def list_bookings(plan_path: str | os.PathLike[str]) -> BookReport:
    """What was booked so far."""
    path = journal_path(plan_path)
    journal = read_journal(path)
    report = BookReport(path)
    if not journal.bookings:
        report.done = [f"{path.name}: nothing was booked"]
        return report
    gone = journal.taken_back
    rows = []
    for item in journal.bookings:
        words, facts = item.reason, _facts(journal.entries[item.number]) or None
        if item.takes_back is not None:
            words = f"takes back {item.takes_back}" + (f": {item.reason}" if item.reason else "")
        elif item.number in gone:
            words = "taken back"
        rows.append([item.number, item.stamp, item.source, facts, words])
    report.done = table(["booking", "at", "file", "entries", ""], rows).splitlines()
    _note_copy(journal, report)
    return report


__all__ = [
    "BookReport",
    "book_files",
    "export_journal",
    "list_bookings",
    "recover_journal",
    "take_booking_back",
]
