"""The journal: only added to, all of a file or nothing, read while another books, rescued when damaged.

What a kill, a full disk and a lock do is the system's and SQLite's (sqlite.org: atomic commit, write-ahead
logging), not our own figures; what is booked is counted beside the journal by the test itself.
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import textwrap
import threading
from pathlib import Path

import pytest

from dispense.base.errors import FileError, InputError
from dispense.journal.entries import BOOK, WEIGHT, Booking, Entry
from dispense.journal.rescue import recover
from dispense.journal.store import PAGE, book_entries, copied_from, journal_path, read_journal, take_back

ROOT = Path(__file__).resolve().parents[1]
STAMP = "2026-03-02 14:00"
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals and limits")


def weights(count: int, first: float = 4.0, what: str = "check") -> list[Entry]:
    return [
        Entry(
            WEIGHT,
            f"{what} {number}",
            f"Checks!F{number}",
            "2026-03-02",
            value=first + number / 100,
            unit="g",
        )
        for number in range(count)
    ]


def book(path: Path, file: str, entries: list[Entry], **options) -> Booking | None:
    return book_entries(
        path, Booking(0, BOOK, STAMP, f"{file}.xlsx", f"content of {file}"), entries, **options
    )


@pytest.fixture
def path(tmp_path) -> Path:
    return journal_path(tmp_path / "plan.xlsx")


def values(path: Path) -> dict[str, float]:
    return {name: item.entry.value for (_, name), item in read_journal(path).current().items()}


def test_no_journal_is_an_empty_one(path):
    assert read_journal(path).bookings == [] and not path.exists()


def test_what_is_booked_is_read_again(path):
    entries = weights(3)
    assert book(path, "monday", entries).number == 1
    found = read_journal(path)
    assert found.entries == {1: entries}
    assert [item.source for item in found.bookings] == ["monday.xlsx"]
    assert [item.name for item in path.parent.iterdir()] == ["plan.journal"]  # one file, to be copied alone


def test_the_same_file_twice_changes_nothing(path):
    book(path, "monday", weights(3))
    before = path.read_bytes()
    assert book(path, "monday", weights(3)) is None
    assert book(path, "monday, saved again", weights(3)) is None  # other bytes, the same facts
    assert path.read_bytes() == before


def test_a_sheet_that_is_filled_in_further_books_what_is_new(path):
    book(path, "monday", weights(3))
    more = weights(5)
    more[1] = Entry(WEIGHT, "check 1", "Checks!F1", "2026-03-02", value=4.44, unit="g")
    assert book(path, "monday at noon", more).size == 3  # two new ones and the one that was corrected
    assert values(path) == {
        "check 0": 4.0,
        "check 1": 4.44,
        "check 2": 4.02,
        "check 3": 4.03,
        "check 4": 4.04,
    }


def test_a_booking_is_taken_back_by_a_later_one(path):
    book(path, "monday", weights(2))
    book(path, "wrong", weights(2, first=7.0))
    assert values(path) == {"check 0": 7.0, "check 1": 7.01}
    assert take_back(path, 2, STAMP, "the other line's sheet").number == 3
    assert values(path) == {"check 0": 4.0, "check 1": 4.01}
    assert len(read_journal(path).bookings) == 3  # nothing is gone
    with pytest.raises(
        InputError, match=r"take back is 2; it must be the number of a booking that counts \(1\)"
    ):
        take_back(path, 2, STAMP, "")
    assert book(path, "wrong", weights(2, first=7.0)).number == 4  # and may be booked again
    assert values(path) == {"check 0": 7.0, "check 1": 7.01}


def test_nothing_is_updated_or_deleted(path):
    book(path, "monday", weights(2))
    with sqlite3.connect(path) as db:
        for statement in ("update entries set value = 5", "delete from bookings", "delete from about"):
            with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                db.execute(statement)
    words = (ROOT / "dispense" / "journal" / "store.py").read_text("utf-8").lower()
    assert 'execute("update' not in words and 'execute("delete' not in words


def test_what_was_altered_behind_its_back_is_said(path):
    book(path, "monday", weights(4))
    book(path, "tuesday", weights(2, what="tuesday"))
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("drop trigger entries_update")
        db.execute("update entries set value = 5.5 where booking = 1 and place = 2")
    with pytest.raises(FileError, match=r"damaged: entry 2 of booking 1 is not what was booked .*--recover"):
        read_journal(path)
    with pytest.raises(FileError, match="damaged"):
        book(path, "wednesday", weights(1))
    found = recover(path)
    assert found.lost == ["booking 1: 3 of 4 entries are whole"]
    assert "check 1" not in values(path) and len(values(path)) == 5
    assert book(path, "monday", weights(4)).size == 1  # the file that was lost in part is booked again
    assert values(path)["check 1"] == 4.01


@pytest.mark.parametrize("table", ["bookings", "entries"])
def test_a_row_that_was_removed_is_said(path, table):
    book(path, "monday", weights(4))
    book(path, "tuesday", weights(4, what="tuesday"))
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute(f"drop trigger {table}_delete")
        db.execute(f"delete from {table} where rowid = 1")
    with pytest.raises(FileError, match="damaged"):
        read_journal(path)


@pytest.mark.parametrize("bad", range(11))
def test_a_journal_with_a_bad_page_is_said_and_the_rest_recovered(path, bad):
    """Whatever page is bad: what is recovered is what was booked, and all of the other pages."""
    booked = {}
    for day in range(6):
        entries = weights(40, what=f"day {day}, check")
        booked.update({entry.name: entry.value for entry in entries})
        book(path, f"day {day}", entries)
    identity = read_journal(path).identity
    data = bytearray(path.read_bytes())
    assert len(data) == 11 * PAGE
    data[bad * PAGE : (bad + 1) * PAGE] = os.urandom(PAGE)
    path.write_bytes(data)
    with pytest.raises(FileError, match="damaged"):
        read_journal(path)
    found = recover(path)
    assert path.with_name(found.kept).read_bytes() == bytes(data)
    here = values(path)
    assert set(here.items()) <= set(booked.items())
    on_a_page = PAGE // 100  # a row of an entry takes 100 bytes or more
    assert len(here) >= len(booked) - on_a_page
    assert bool(found.lost) == (len(here) < len(booked)) or bad < 4
    if bad > 3:  # not the pages of the tables' own heads
        assert read_journal(path).identity == identity
    assert book(path, "after", weights(1, what="after")) is not None


def test_a_file_that_is_no_journal(path):
    path.write_text("Monday: 4.2 g")
    with pytest.raises(FileError, match="damaged: it does not begin as one"):
        read_journal(path)
    with pytest.raises(FileError, match="nothing of it can be read; it is left as it is"):
        recover(path)
    assert path.read_text() == "Monday: 4.2 g"
    path.unlink()
    with sqlite3.connect(path) as db:
        db.execute("create table bookings (number)")
    with pytest.raises(FileError, match="is not a journal of a plan"):
        book(path, "monday", weights(1))


# -------------------------------------------------------------------------------- several at once


def test_another_booking_is_said_and_readers_are_not_held_up(path):
    book(path, "monday", weights(2))
    with sqlite3.connect(path, isolation_level=None) as other:
        other.execute("begin immediate")
        other.execute("insert into about values ('place', 'half done')")
        with pytest.raises(FileError, match=r"another booking is under way; nothing was booked \(try again"):
            book(path, "tuesday", weights(1, what="tuesday"), wait=0.05)
        done = []
        reader = threading.Thread(target=lambda: done.append(len(values(path))))
        reader.start()
        reader.join(10)
        assert done == [2]  # the last whole state, with the other's transaction still open
        other.execute("rollback")
    assert book(path, "tuesday", weights(1, what="tuesday")) is not None


BOOKERS = """
    import sys
    from pathlib import Path
    from dispense.journal.entries import BOOK, WEIGHT, Booking, Entry
    from dispense.journal.store import book_entries
    path, who = Path(sys.argv[1]), sys.argv[2]
    for turn in range(20):
        entries = [Entry(WEIGHT, f"{who} {turn} {n}", value=float(n), unit="g") for n in range(5)]
        assert book_entries(path, Booking(0, BOOK, "now", f"{who} {turn}", f"{who} {turn}"), entries, wait=60)
"""


def test_two_bookers_at_once(path):
    """Each books 20 files at once with the other, from no journal on: all 40 are there, one after another."""
    code = textwrap.dedent(BOOKERS)
    both = [subprocess.Popen([sys.executable, "-c", code, str(path), who], cwd=ROOT) for who in "ab"]
    assert [one.wait(120) for one in both] == [0, 0]
    found = read_journal(path)
    assert sorted(item.source for item in found.bookings) == sorted(
        f"{w} {n}" for w in "ab" for n in range(20)
    )
    assert {item.size for item in found.bookings} == {5}


KILLER = """
    import json, os, random, signal, sys, time
    from pathlib import Path
    from dispense.journal.entries import BOOK, WEIGHT, Booking, Entry
    from dispense.journal.store import book_entries, read_journal

    path, kills, draw = Path(sys.argv[1]), int(sys.argv[2]), random.Random(5)

    def work(turn):
        for file in range(3):
            name = f"{turn} {file}"
            entries = [Entry(WEIGHT, f"{name} {n}", value=float(n), unit="g") for n in range(30)]
            book_entries(path, Booking(0, BOOK, "now", name, name), entries)

    work("first")
    began = time.perf_counter()
    work("second")
    longest = time.perf_counter() - began
    killed, wrong, before = 0, [], 6
    for turn in range(5 * kills):
        if killed == kills:
            break
        child = os.fork()
        if not child:
            work(turn)
            os._exit(0)
        time.sleep(draw.uniform(0, longest))
        os.kill(child, signal.SIGKILL)
        killed += os.WIFSIGNALED(os.waitpid(child, 0)[1])
        if turn % 3 == 0:  # not each time: the next booking must find what a kill leaves too
            found = read_journal(path)  # raises where it is not whole
            if any(item.size != 30 for item in found.bookings) or len(found.bookings) < before:
                wrong.append([turn, len(found.bookings)])
            before = len(found.bookings)
    print(json.dumps([killed, wrong, len(read_journal(path).bookings)]))
"""


def killed_bookings(path: Path, kills: int) -> None:
    found = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(KILLER), str(path), str(kills)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=600,
    )
    assert found.returncode == 0, found.stderr
    killed, wrong, booked = json.loads(found.stdout)
    assert (killed, wrong) == (kills, [])
    assert booked > 6
    assert book(path, "after", weights(2)) is not None
    assert [item.name for item in path.parent.iterdir()] == ["plan.journal"]


@posix
def test_bookings_killed_at_30_random_moments(path):
    """Every file is booked whole or not at all, and nothing that was booked is lost."""
    killed_bookings(path, 30)


@posix
@pytest.mark.slow
def test_bookings_killed_at_200_random_moments(path):
    killed_bookings(path, 200)


# -------------------------------------------------------------------------------- what a disk refuses


@posix
def test_a_journal_that_grows_past_a_real_limit(path):
    """The system itself refuses the bytes (setrlimit, RLIMIT_FSIZE)."""
    book(path, "monday", weights(2))
    before = values(path)
    limit = path.stat().st_size
    code = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from test_journal import *\n"
        f"try: book(Path({str(path)!r}), 'tuesday', weights(2000, what='tuesday'))\n"
        "except FileError as error: print(error)"
    )
    found = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
    )
    assert "cannot be written: the disk" in found.stdout and "nothing was booked" in found.stdout, found
    assert values(path) == before
    assert book(path, "tuesday", weights(2000, what="tuesday")).size == 2000


@posix
def test_a_journal_on_a_disk_that_is_really_full(tmp_path):
    """A disk of 64 kB in memory, where the system lets us make one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    code = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from test_journal import *\n"
        f"path = Path({str(disk / 'plan.journal')!r})\n"
        "book(path, 'monday', weights(20))\n"
        "try: book(path, 'tuesday', weights(2000, what='tuesday'))\n"
        "except FileError as error: print(error)\n"
        "print(len(values(path)))"
    )
    unshare = shutil.which("unshare")
    if unshare is None or os.geteuid() != 0:
        pytest.skip("only root may mount a disk")
    script = f'mount -t tmpfs -o size=96k none {disk} || exit 99; exec {sys.executable} -c "$CODE"'
    found = subprocess.run(
        [unshare, "-m", "sh", "-c", script],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={**os.environ, "CODE": code},
    )
    if found.returncode == 99 or found.stderr.startswith("unshare"):
        pytest.skip("no right to mount a disk")
    assert "cannot be written: the disk" in found.stdout, found
    assert found.stdout.splitlines()[-1] == "20"


def test_a_folder_that_may_not_be_written_to_is_read(path, monkeypatch):
    book(path, "monday", weights(2))
    monkeypatch.setattr(os, "access", lambda *_: False)  # as for a reader without the right to write
    assert len(values(path)) == 2


# ------------------------------------------------------------------------------------------ copies


def test_a_copy_says_where_the_other_is(path, tmp_path):
    book(path, "monday", weights(2))
    assert copied_from(read_journal(path)) == ""
    (tmp_path / "copy").mkdir()
    copy = Path(shutil.copy(path, tmp_path / "copy" / "plan.journal"))
    assert values(copy) == values(path)
    assert copied_from(read_journal(copy)) == os.path.realpath(path)
    book(copy, "tuesday", weights(1, what="tuesday"))
    assert len(values(copy)) == 3 and len(values(path)) == 2
    path.unlink()  # it was moved, not copied
    assert copied_from(read_journal(copy)) == ""
    another = tmp_path / "another.journal"
    book(another, "monday", weights(2))
    assert read_journal(another).identity != read_journal(copy).identity


def test_a_log_that_a_kill_left_belongs_to_the_journal(path, tmp_path):
    """With the log beside it the copy has all; the file alone is the whole state before."""
    book(path, "monday", weights(2))
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("begin")
    reader.execute("select * from entries").fetchall()
    book(path, "tuesday", weights(2, what="tuesday"))  # the reader keeps it in the log
    both, alone = tmp_path / "both" / path.name, tmp_path / "alone" / path.name
    for target in (both, alone):
        target.parent.mkdir()
        shutil.copy(path, target)
    shutil.copy(f"{path}-wal", f"{both}-wal")
    reader.close()
    assert (len(values(both)), len(values(alone)), len(values(path))) == (4, 2, 4)
    assert not Path(f"{both}-wal").exists()  # folded in


def test_a_text_too_long_is_named_not_cut(path):
    with pytest.raises(InputError, match="Checks!F1: holds a text too long to book"):
        book(path, "monday", [Entry("noted", "n", "Checks!F1", text="x" * 4000)])
    assert not path.exists()
