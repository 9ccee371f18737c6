"""The journal of a plan: one SQLite file beside it, to which bookings are only ever added.

A booking is one transaction: all of a file or nothing. Readers see the last whole state and wait for
nobody (write-ahead log); a second writer waits a little and is then told. When the last writer closes
the log is folded into the file, so that the file alone can be copied. Each booking holds a fingerprint
of itself, of its entries and of all before it: what was altered or lost is said.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

from ..base.errors import FileError, InputError, Problem
from .entries import (
    AS_PLANNED,
    BOOK,
    BOOKING_FIELDS,
    ENTRY_FIELDS,
    MOST_BYTES,
    REALS,
    TAKE_BACK,
    WHOLES,
    Booking,
    Entry,
    entry_digest,
    entry_of,
    sealed,
)
from .names import name_of_today, twin_name

_T = TypeVar("_T")

ENDING = ".journal"
APPLICATION = 0x64697370  # "disp": what SQLite keeps of whose file it is
FORMAT = 1
WAIT = 5.0  # seconds that a writer waits for another
PAUSE = 0.01  # seconds between two tries where SQLite does not wait by itself
HEADER = b"SQLite format 3\x00"
PAGE = 4096  # bytes; SQLite's own default, stated since a rescue reads pages
BESIDE = ("-wal", "-shm")  # what SQLite keeps beside its file while it is open


def _type(name: str) -> str:
    return "real" if name in REALS else "integer" if name in WHOLES else "text"


_BOOKING_TYPES = {"number": "integer primary key", "takes_back": "integer", "size": "integer"}
_SCHEMA = (
    "create table about (key text, value text)",
    "create table bookings ({})".format(
        ", ".join(f"{each} {_BOOKING_TYPES.get(each, 'text')}" for each in BOOKING_FIELDS)
    ),
    "create table entries (booking integer, place integer, {}, digest text)".format(
        ", ".join(f"{each} {_type(each)}" for each in ENTRY_FIELDS)
    ),
    *(
        f"create trigger {table}_{verb} before {verb} on {table} "
        f"begin select raise(abort, 'the journal is only added to'); end"
        for table in ("about", "bookings", "entries")
        for verb in ("update", "delete")
    ),
)


def _insert(table: str, columns: int) -> str:
    return f"insert into {table} values ({', '.join('?' * columns)})"


# ------------------------------------------------------------------------------------------ errors


def damaged(path: Path, what: str) -> FileError:
    """What is said of a journal that is not whole."""
    return FileError(
        Problem(
            str(path),
            message=f"the journal is damaged: {what}",
            fix="dispense book PLAN --recover keeps it under another name and begins a new one with all "
            "that is whole",
        )
    )


def _busy(path: Path) -> FileError:
    return FileError(
        Problem(
            str(path),
            message="another booking is under way; nothing was booked",
            fix="try again when it has ended",
        )
    )


def _failure(path: Path, error: sqlite3.Error) -> FileError:
    """What SQLite says, as a reader can act on it."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return _busy(path)
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return damaged(path, str(error))
    reasons = {
        sqlite3.SQLITE_FULL: ("the disk is full", "free some space; nothing was booked"),
        sqlite3.SQLITE_IOERR: (
            "the disk refuses it",
            "free some space, or mend the disk; nothing was booked",
        ),
        sqlite3.SQLITE_READONLY: ("not allowed to write here", "choose another folder for the plan"),
        sqlite3.SQLITE_CANTOPEN: ("not allowed to write here", "choose another folder for the plan"),
    }
    reason, fix = reasons.get(code, (str(error), ""))
    return FileError(Problem(str(path), message=f"cannot be written: {reason}", fix=fix))


# ----------------------------------------------------------------------------------------- loaded


@dataclass(frozen=True, slots=True)
class Booked:
    """An entry with the booking that holds it."""

    entry: Entry
    booking: Booking


@dataclass(slots=True)
class Journal:
    """A journal as read: all bookings with their entries, in order."""

    path: Path
    bookings: list[Booking] = field(default_factory=list)
    entries: dict[int, list[Entry]] = field(default_factory=dict)
    about: list[tuple[str, str]] = field(default_factory=list)

    @property
    def taken_back(self) -> set[int]:
        """Numbers of bookings that no longer count."""
        return {item.takes_back for item in self.bookings if item.takes_back is not None}

    @property
    def identity(self) -> str:
        """What tells this journal from all others; its copies share it."""
        return next((value for key, value in self.about if key == "identity"), "")

    @property
    def places(self) -> list[str]:
        """Where it was when something was booked, the last last."""
        return [value for key, value in self.about if key == "place"]

    @property
    def counting(self) -> list[Booking]:
        """The bookings that count."""
        gone = self.taken_back
        return [item for item in self.bookings if item.action == BOOK and item.number not in gone]

    def current(self) -> dict[tuple[str, str], Booked]:
        """What holds now: of each fact the last entry whose booking counts, by kind and name.

        Facts that earlier versions named by the row of their sheet go by the name they have today.
        """
        found: dict[tuple[str, str], Booked] = {}
        names: dict[tuple[str, str], tuple[str, str]] = {}
        twins: Counter[tuple[str, str]] = Counter()
        for booking in self.counting:
            for entry in self.entries[booking.number]:
                if entry.kind == AS_PLANNED:
                    continue
                key = entry.kind, entry.name
                if key not in names:
                    today = entry.kind, name_of_today(entry)
                    twins[today] += today != key
                    names[key] = today[0], twin_name(today[1], twins[today] if today != key else 1)
                found[names[key]] = Booked(entry, booking)
        return found

    def booked_as(self, content: str) -> Booking | None:
        """The booking that counts of a file with this content."""
        return next((item for item in self.counting if content and item.content == content), None)

    def news(self, entries: Sequence[Entry]) -> list[tuple[Entry, Entry | None]]:
        """Which entries say something that is not booked yet, and what each of them replaces."""
        known = self.current()
        found: list[tuple[Entry, Entry | None]] = []
        for entry in entries:
            old = known.get((entry.kind, entry.name))
            if old is None or old.entry.fact != entry.fact:
                found.append((entry, old.entry if old else None))
        return found


def journal_path(plan: str | os.PathLike[str]) -> Path:
    """The journal of a plan: plan.journal beside plan.xlsx."""
    return Path(plan).with_suffix(ENDING)


def _load(db: sqlite3.Connection, path: Path) -> Journal:
    """All of a journal; raises where anything of it is not as it was booked."""
    found = Journal(path)
    tables = {name for (name,) in db.execute("select name from sqlite_master where type = 'table'")}
    if not tables:
        return found  # begun, and nothing was booked
    owner = db.execute("pragma application_id").fetchone()[0]
    if owner != APPLICATION:
        raise FileError(Problem(str(path), message="is not a journal of a plan", fix="move that file away"))
    if (number := db.execute("pragma user_version").fetchone()[0]) > FORMAT:
        raise FileError(Problem(str(path), message=f"was written by a later version (format {number})"))
    for (words,) in db.execute("pragma quick_check(1)"):
        if words != "ok":
            raise damaged(path, words)
    found.about = list(db.execute("select key, value from about order by rowid"))
    digests: dict[int, list[str]] = {}
    for row in db.execute("select * from entries order by booking, place"):
        booking, place, *cells, digest = row
        entry = entry_of(cells)
        if entry_digest(booking, place, entry) != digest:
            raise damaged(path, f"entry {place} of booking {booking} is not what was booked")
        found.entries.setdefault(booking, []).append(entry)
        digests.setdefault(booking, []).append(digest)
    before = ""
    for row in db.execute("select * from bookings order by number"):
        booking = Booking(*row)
        here = digests.get(booking.number, [])
        if booking.number != len(found.bookings) + 1 or sealed(booking, here, before) != booking:
            raise damaged(path, f"booking {booking.number} is not what was booked")
        before = booking.chain
        found.bookings.append(booking)
        found.entries.setdefault(booking.number, [])
    if len(found.entries) != len(found.bookings):
        raise damaged(path, "a booking is missing")
    return found


def read_journal(path: str | os.PathLike[str]) -> Journal:
    """The journal at a path, the last whole state of it; an empty one where there is none."""
    target = Path(path)
    if not target.exists():
        return Journal(target)
    _refuse_foreign(target)
    address = target.resolve().as_uri()
    # a reader that may write folds a log away that a kill has left; elsewhere what can be read is read
    modes = ["rw", "ro"] if os.access(target, os.W_OK) and os.access(target.parent, os.W_OK) else ["ro"]
    if not any(Path(f"{target}{ending}").exists() for ending in BESIDE):
        modes.append("ro&immutable=1")
    try:
        for mode in modes[:-1]:
            with contextlib.suppress(sqlite3.OperationalError):
                return _read(f"{address}?mode={mode}", target)
        return _read(f"{address}?mode={modes[-1]}", target)
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY):
            raise FileError(Problem(str(target), message=f"cannot be read: {error}")) from error
        raise _failure(target, error) from error
    except (TypeError, ValueError) as error:  # a text where a number was, or the other way about
        raise damaged(target, str(error)) from error


def _read(address: str, target: Path) -> Journal:
    with contextlib.closing(sqlite3.connect(address, uri=True, timeout=WAIT, isolation_level=None)) as db:
        db.execute("pragma query_only = on")
        db.execute("begin")  # one state for all tables
        return _load(db, target)


def _refuse_foreign(path: Path) -> None:
    """Say of a file that SQLite would not open what it is."""
    try:
        if path.is_dir():
            raise FileError(Problem(str(path), message="is a folder, not a journal"))
        with path.open("rb") as stream:
            head = stream.read(len(HEADER))
    except OSError as error:
        raise FileError(Problem(str(path), message=f"cannot be read: {error.strerror}")) from error
    if head and head != HEADER:
        raise damaged(path, "it does not begin as one")


# ----------------------------------------------------------------------------------------- writing


@contextlib.contextmanager
def _writer(path: Path, wait: float, identity: str = "") -> Iterator[tuple[sqlite3.Connection, Journal]]:
    """A connection within a transaction that no other has, and the journal as it is then."""
    if path.exists():
        _refuse_foreign(path)
    try:
        db = sqlite3.connect(path, timeout=wait, isolation_level=None)
    except sqlite3.Error as error:
        raise _failure(path, error) from error
    try:
        db.execute(f"pragma page_size = {PAGE}")
        _to_wal(db, wait)
        db.execute("pragma synchronous = full")
        db.execute("begin immediate")
        journal = _load(db, path)
        if not journal.about:
            for statement in _SCHEMA:
                db.execute(statement)
            db.execute(f"pragma application_id = {APPLICATION}")
            db.execute(f"pragma user_version = {FORMAT}")
            _about(db, journal, "identity", identity or uuid.uuid4().hex)
        yield db, journal
        if db.in_transaction:
            db.execute("commit")
    except sqlite3.Error as error:
        raise _failure(path, error) from error
    except (TypeError, ValueError) as error:
        raise damaged(path, str(error)) from error
    finally:
        with contextlib.suppress(sqlite3.Error):
            if db.in_transaction:
                db.execute("rollback")
        with contextlib.suppress(sqlite3.Error):
            db.close()  # the last to close folds the log into the file


def _to_wal(db: sqlite3.Connection, wait: float) -> None:
    """Set the write-ahead log; SQLite does not wait by itself where two set it on a new file at once."""
    end = time.monotonic() + wait
    while True:
        try:
            db.execute("pragma journal_mode = wal")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > end:
                raise
        time.sleep(PAUSE)


def _about(db: sqlite3.Connection, journal: Journal, key: str, value: str) -> None:
    db.execute(_insert("about", 2), (key, value))
    journal.about.append((key, value))


def _append(db: sqlite3.Connection, journal: Journal, booking: Booking, entries: Sequence[Entry]) -> Booking:
    """Add a booking within the transaction."""
    here = os.path.realpath(journal.path)
    if journal.places[-1:] != [here]:
        _about(db, journal, "place", here)
    number = len(journal.bookings) + 1
    digests = [entry_digest(number, place, entry) for place, entry in enumerate(entries, 1)]
    before = journal.bookings[-1].chain if journal.bookings else ""
    whole = sealed(replace(booking, number=number), digests, before)
    db.execute(_insert("bookings", len(BOOKING_FIELDS)), whole.row)
    db.executemany(
        _insert("entries", len(ENTRY_FIELDS) + 3),
        [
            (number, place, *entry.row, digest)
            for (place, entry), digest in zip(enumerate(entries, 1), digests, strict=True)
        ],
    )
    journal.bookings.append(whole)
    journal.entries[number] = list(entries)
    return whole


def refuse_long(entries: Sequence[Entry]) -> None:
    """Refuse entries whose texts are longer than a row of the journal."""
    problems = [
        Problem(item.cell, message="holds a text too long to book", fix=f"at most {MOST_BYTES} bytes")
        for item in entries
        if sum(len(str(cell).encode()) for cell in item.row if cell is not None) > MOST_BYTES
    ]
    if problems:
        raise InputError(problems)


def book_entries(
    path: str | os.PathLike[str],
    booking: Booking,
    entries: Sequence[Entry],
    wait: float = WAIT,
    kept: Sequence[Entry] = (),
) -> Booking | None:
    """Book what is new of a file's entries, all or nothing; None where nothing of it is new.

    `kept` are shifts as they are planned now, which are kept with the booking.
    """
    refuse_long(entries)
    with _writer(Path(path), wait) as (db, journal):
        news = [entry for entry, _ in journal.news(entries)]
        if not news:
            db.execute("rollback")
            return None
        return _append(db, journal, booking, [*news, *kept])


def take_back(
    path: str | os.PathLike[str], number: int, stamp: str, reason: str, wait: float = WAIT
) -> Booking:
    """Take a booking back by a later one; what it replaced counts again."""
    with _writer(Path(path), wait) as (db, journal):
        counting = [item.number for item in journal.counting]
        if number not in counting:
            raise InputError(
                Problem(
                    str(path),
                    "take back",
                    number,
                    "the number of a booking that counts"
                    + (f" ({', '.join(map(str, counting[-12:]))})" if counting else "; there is none"),
                )
            )
        return _append(db, journal, Booking(0, TAKE_BACK, stamp, takes_back=number, reason=reason), [])


def begin_again(
    path: Path,
    home: Path,
    about: Sequence[tuple[str, str]],
    bookings: Sequence[tuple[Booking, Sequence[Entry]]],
) -> None:
    """A new journal file of these bookings, which are in their order, for the place `home`."""
    known = next((value for key, value in about if key == "identity"), "")
    with _writer(path, WAIT, known) as (db, journal):
        journal.path = home
        for key, value in about:
            if key != "identity":
                _about(db, journal, key, value)
        for booking, entries in bookings:
            _append(db, journal, booking, entries)


def alone(path: Path, work: Callable[[], _T], wait: float = WAIT) -> _T:
    """Do some work while nobody books; the file may be damaged."""
    try:
        with contextlib.closing(sqlite3.connect(path, timeout=wait, isolation_level=None)) as db:
            with contextlib.suppress(sqlite3.DatabaseError):
                try:
                    db.execute("begin immediate")
                except sqlite3.OperationalError as error:
                    if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
                        raise _busy(path) from error
            return work()
    except sqlite3.Error as error:
        raise _failure(path, error) from error


def copied_from(journal: Journal) -> str:
    """Where another journal of the same identity lies that this one is a copy of, or the other way."""
    here = os.path.realpath(journal.path)
    for place in reversed(journal.places):
        other = Path(place)
        if place != here and other.is_file():
            with contextlib.suppress(FileError):
                if read_journal(other).identity == journal.identity:
                    return place
    return ""


__all__ = [
    "BESIDE",
    "ENDING",
    "HEADER",
    "PAGE",
    "WAIT",
    "Booked",
    "Journal",
    "alone",
    "begin_again",
    "book_entries",
    "copied_from",
    "damaged",
    "journal_path",
    "read_journal",
    "refuse_long",
    "take_back",
]
