"""What is whole of a damaged journal, read from the pages of the file itself.

SQLite refuses a file of which one page is bad. Rows are looked for in every page that may hold some, of
the file and of its log, and known as rows of a journal by their own fingerprints: nothing that is not
exactly as it was booked is taken over.

Source: the SQLite database file format (sqlite.org/fileformat2.html, from memory): b-tree leaf pages,
varints, serial types; log frames of a 24-byte head and one page.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from ..xlsx.write import atomic_write, clean, temporary_name
from .entries import (
    BOOK,
    BOOKING_FIELDS,
    ENTRY_FIELDS,
    TAKE_BACK,
    Booking,
    Cell,
    Entry,
    entry_digest,
    entry_of,
)
from .store import BESIDE, PAGE, alone, begin_again, damaged

_LEAF = 0x0D  # the first byte of a page of a table's rows
_FIRST_HEAD = 100  # bytes of the file's head, before the first page's own
_LOG_HEAD, _FRAME_HEAD = 32, 24
_PAGE_HEAD = 8
_MOST_CELLS = PAGE // 4
_INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}  # serial type: bytes


@dataclass(slots=True)
class Rescued:
    """What was found: bookings with their entries, and what is missing of each, in words."""

    bookings: list[tuple[Booking, list[Entry]]] = field(default_factory=list)
    about: list[tuple[str, str]] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    kept: str = ""  # the damaged file's new name


def _varint(data: bytes, place: int) -> tuple[int, int]:
    """A number of 1 to 9 bytes, and the place behind it."""
    value = 0
    for count in range(9):
        byte = data[place + count]
        if count == 8:
            return (value << 8) | byte, place + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, place + count + 1
    raise IndexError


def _cell(data: bytes, place: int, kind: int) -> tuple[Cell, int]:
    """A value of a serial type, and the place behind it."""
    if kind in _INTEGERS:
        size = _INTEGERS[kind]
        return int.from_bytes(data[place : place + size], "big", signed=True), place + size
    if kind == 7:
        return struct.unpack(">d", data[place : place + 8])[0], place + 8
    if kind in (8, 9):
        return kind - 8, place
    if kind == 0:
        return None, place
    if kind >= 13 and kind % 2:
        size = (kind - 13) // 2
        return data[place : place + size].decode(), place + size
    raise ValueError("no kind of a journal's cells")


def _rows(page: bytes, head: int) -> Iterator[tuple[int, list[Cell]]]:
    """The rows of a leaf page that can be read: number and cells."""
    count = int.from_bytes(page[head + 3 : head + 5], "big")
    for number in range(min(count, _MOST_CELLS)):
        slot = head + _PAGE_HEAD + 2 * number
        place = int.from_bytes(page[slot : slot + 2], "big")
        try:
            size, place = _varint(page, place)
            rowid, place = _varint(page, place)
            if size > len(page) - place:
                continue
            length, at = _varint(page, place)
            body, kinds = place + length, []
            while at < body and at < place + length:
                kind, at = _varint(page, at)
                kinds.append(kind)
            cells: list[Cell] = []
            for kind in kinds:
                value, body = _cell(page, body, kind)
                cells.append(value)
        except (IndexError, ValueError, struct.error):
            continue
        yield rowid, cells


def _pages(path: Path) -> Iterator[tuple[bytes, int]]:
    """Every page of the file and of its log, and where its own head begins."""
    data = path.read_bytes()
    for start in range(0, len(data), PAGE):
        yield data[start : start + PAGE], _FIRST_HEAD if start == 0 else 0
    log = Path(f"{path}{BESIDE[0]}")
    if log.is_file():
        frames = log.read_bytes()[_LOG_HEAD:]
        step = _FRAME_HEAD + PAGE
        for start in range(0, len(frames) - step + 1, step):
            head = frames[start : start + _FRAME_HEAD]
            is_first = int.from_bytes(head[:4], "big") == 1
            yield frames[start + _FRAME_HEAD : start + step], _FIRST_HEAD if is_first else 0


def _carved(
    path: Path,
) -> tuple[dict[int, Booking], dict[int, dict[int, tuple[Entry, str]]], list[tuple[str, str]]]:
    """All that looks like rows of a journal; entries only where their fingerprints hold."""
    bookings: dict[int, Booking] = {}
    entries: dict[int, dict[int, tuple[Entry, str]]] = {}
    about: dict[tuple[str, str], None] = {}
    for page, head in _pages(path):
        if len(page) <= head + _PAGE_HEAD or page[head] != _LEAF:
            continue
        for rowid, cells in _rows(page, head):
            if len(cells) == len(BOOKING_FIELDS) and cells[0] is None and cells[1] in (BOOK, TAKE_BACK):
                bookings[rowid] = Booking(rowid, *cells[1:])  # type: ignore[arg-type]
            elif len(cells) == len(ENTRY_FIELDS) + 3:
                _take_entry(cells, entries)
            elif len(cells) == 2 and cells[0] in ("identity", "place"):
                about[str(cells[0]), str(cells[1])] = None
    return bookings, entries, list(about)


def _take_entry(cells: Sequence[Cell], entries: dict[int, dict[int, tuple[Entry, str]]]) -> None:
    booking, place, *values, digest = cells
    if not (isinstance(booking, int) and isinstance(place, int) and isinstance(digest, str)):
        return
    try:
        entry = entry_of(values)
        if entry_digest(booking, place, entry) == digest:
            entries.setdefault(booking, {})[place] = entry, digest
    except (TypeError, ValueError):
        return


def rescued(path: Path) -> Rescued:
    """All bookings of a damaged journal that are whole, and what is whole of the others."""
    from .entries import sealed

    bookings, entries, about = _carved(path)
    found = Rescued(about=about)
    if not bookings and not entries:
        return found
    for number in range(1, max([*bookings, *entries]) + 1):
        here = [entries.get(number, {})[place] for place in sorted(entries.get(number, {}))]
        booking = bookings.get(number)
        is_whole = booking is not None and (
            sealed(booking, [digest for _, digest in here], "").digest == booking.digest
        )
        if booking is None or not is_whole:
            size = booking.size if booking is not None and isinstance(booking.size, int) else 0
            words = f"booking {number}: " + (
                f"{len(here)} of {size} entries are whole" if size else f"{len(here)} entries are whole"
            )
            found.lost.append(words)
            source = booking.source if booking is not None and isinstance(booking.source, str) else ""
            stamp = booking.stamp if booking is not None and isinstance(booking.stamp, str) else ""
            # without the fingerprint of its file, so that the file may be booked again
            booking = Booking(number, BOOK, stamp, source, reason=f"recovered: {words}")
        found.bookings.append((replace(booking, chain=""), [entry for entry, _ in here]))
    return found


def _free_name(path: Path) -> Path:
    number = 1
    while (found := path.with_name(f"{path.stem}_damaged_{number}{path.suffix}")).exists():
        number += 1
    return found


def recover(path: Path) -> Rescued:
    """Put a new journal with all that is whole in the place of a damaged one, which is kept beside it.

    A kill at any moment leaves the damaged one, or the new one with the damaged one beside it.
    """

    clean(path.parent)
    trial = path.with_name(f"{temporary_name(path.stem)}.tmp")

    def work() -> Rescued:
        found = rescued(path)
        if not found.bookings:
            raise damaged(path, "nothing of it can be read; it is left as it is")
        kept = _free_name(path)
        for ending in BESIDE[:1]:  # the log first: the file is then never without it
            if (log := Path(f"{path}{ending}")).is_file() and log.stat().st_size:
                atomic_write(f"{kept}{ending}", log.read_bytes())
        atomic_write(kept, path.read_bytes(), new=True)
        found.kept = kept.name
        trial.unlink(missing_ok=True)
        begin_again(trial, path, found.about, found.bookings)
        return found

    found = alone(path, work)
    for ending in BESIDE:
        Path(f"{path}{ending}").unlink(missing_ok=True)
    os.replace(trial, path)
    return found


__all__ = ["Rescued", "recover", "rescued"]
