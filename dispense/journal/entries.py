"""What is booked: an entry is one fact of the floor, a booking the entries of one file."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from hashlib import blake2b

from ..base.printed import counted

Cell = str | int | float | None  # as SQLite keeps it

WEIGHT, WEIGHT_A, WEIGHT_B = "weight", "weight a", "weight b"
VOLUME, VOLUME_A, VOLUME_B = "volume", "volume a", "volume b"
SETTING, DONE, STAGED, SIGNED, NOTED = "setting", "done", "staged", "signed", "noted"
RECEIVED, COUNTED, OPENED, EMPTIED = "received", "counted", "opened", "emptied"
MADE, SCRAPPED, PURGED = "made", "scrapped", "purged"
STANDS = "stands"
AS_PLANNED = "as planned"
#: what kinds of entries there are, in words
KINDS = {
    WEIGHT: "shots weighed together",
    WEIGHT_A: "component A of the shots weighed alone",
    WEIGHT_B: "component B of the shots weighed alone",
    VOLUME: "volume of the shots weighed",
    VOLUME_A: "volume of component A of them",
    VOLUME_B: "volume of component B of them",
    SETTING: "what a dispenser was set to",
    DONE: "ticked as done",
    STAGED: "containers brought to a station",
    SIGNED: "who did it, initials",
    NOTED: "written by hand into any other cell",
    RECEIVED: "came into store",
    COUNTED: "counted in store",
    OPENED: "container opened or connected",
    EMPTIED: "container empty or thrown away",
    MADE: "good parts made",
    SCRAPPED: "parts scrapped",
    PURGED: "purges and mixer changes of a shift, counted",
    STANDS: "what stands at a station: a container, a mixer, parts in process",
    AS_PLANNED: "the shift as it was planned when it was booked: no fact of the floor",
}
BOOK, TAKE_BACK = "book", "take back"
MOST_BYTES = 3000  # of an entry: its row stays within one page of the file, so that it can be rescued
_DIGEST = 16  # bytes of a fingerprint


@dataclass(frozen=True, slots=True)
class Entry:
    """One fact, and the cell that says it; figures in the unit named.

    `name` tells what it is a fact of: booked again under one name it is the same fact, and the later one
    counts. `count` is a number of pieces: shots on one cup, containers, parts.
    """

    kind: str
    name: str
    cell: str = ""
    day: str = ""  # 2026-03-02
    shift: str = ""
    time: str = ""  # 2026-03-02T06:30:00
    station: str = ""
    part: str = ""
    application: str = ""
    material: str = ""
    component: str = ""
    lot: str = ""
    value: float | None = None
    unit: str = ""
    count: int | None = None
    target: float | None = None
    low: float | None = None
    high: float | None = None
    text: str = ""
    by: str = ""

    @property
    def moment(self) -> datetime.datetime | None:
        """When it happened, where that is known."""
        return datetime.datetime.fromisoformat(self.time) if self.time else None

    @property
    def date(self) -> datetime.date | None:
        """The day that it belongs to."""
        return datetime.date.fromisoformat(self.day) if self.day else None

    @property
    def fact(self) -> tuple[Cell, ...]:
        """What it says, whichever cell says it: two entries of one fact are one."""
        return replace(self, cell="", name="").row

    @property
    def row(self) -> tuple[Cell, ...]:
        """Its fields in their order; a whole number given as a figure is a float too."""
        return tuple(
            float(value) if item in REALS and value is not None else value
            for item in ENTRY_FIELDS
            for value in (getattr(self, item),)
        )

    @property
    def words(self) -> str:
        """The figure or text with its unit."""
        pieces = []
        if self.value is not None:
            pieces.append(f"{self.value:.6g} {self.unit}".strip())
        if self.kind.startswith(WEIGHT):
            if self.count is not None and self.count > 1:
                pieces.append(f"{self.count} shots together")
        elif self.count is not None:
            what = {MADE: "part", SCRAPPED: "part", STANDS: "part", PURGED: "purge"}.get(
                self.kind, "container"
            )
            pieces.append(counted(self.count, what))
        return ", ".join([*pieces, *([self.text] if self.text else [])]) or "yes"


ENTRY_FIELDS: tuple[str, ...] = tuple(item.name for item in fields(Entry))
REALS = frozenset({"value", "target", "low", "high"})  # of an entry; SQLite may keep 4.0 as 4
WHOLES = frozenset({"count"})


def entry_of(row: Sequence[Cell]) -> Entry:
    """An entry from its row."""
    return Entry(*row)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Booking:
    """The entries of one file, or the taking back of a booking before.

    `content` is the fingerprint of the file (SHA-256), `size` the number of its entries, `digest` that
    of the booking with its entries, `chain` that of all bookings up to it.
    """

    number: int
    action: str
    stamp: str
    source: str = ""
    content: str = ""
    plan: str = ""  # the plan's file
    plan_content: str = ""
    takes_back: int | None = None
    reason: str = ""
    size: int = 0
    digest: str = ""
    chain: str = ""

    @property
    def row(self) -> tuple[Cell, ...]:
        """Its fields in their order."""
        return tuple(getattr(self, item) for item in BOOKING_FIELDS)


BOOKING_FIELDS: tuple[str, ...] = tuple(item.name for item in fields(Booking))


def fingerprint(*parts: object) -> str:
    """A short text that any change of the parts changes."""
    text = json.dumps(parts, ensure_ascii=False, separators=(",", ":"))
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=_DIGEST).hexdigest()


def entry_digest(booking: int, place: int, entry: Entry) -> str:
    """The fingerprint of an entry at its place."""
    return fingerprint(booking, place, *entry.row)


def sealed(booking: Booking, digests: Sequence[str], before: str) -> Booking:
    """A booking with the fingerprints of itself and of all up to it."""
    plain = replace(booking, size=len(digests), digest="", chain="")
    digest = fingerprint(*plain.row, *digests)
    return replace(plain, digest=digest, chain=fingerprint(before, digest))


__all__ = [
    "AS_PLANNED",
    "BOOK",
    "BOOKING_FIELDS",
    "COUNTED",
    "DONE",
    "EMPTIED",
    "ENTRY_FIELDS",
    "KINDS",
    "MADE",
    "MOST_BYTES",
    "NOTED",
    "OPENED",
    "PURGED",
    "REALS",
    "RECEIVED",
    "SCRAPPED",
    "SETTING",
    "SIGNED",
    "STAGED",
    "STANDS",
    "TAKE_BACK",
    "VOLUME",
    "VOLUME_A",
    "VOLUME_B",
    "WEIGHT",
    "WEIGHT_A",
    "WEIGHT_B",
    "WHOLES",
    "Booking",
    "Cell",
    "Entry",
    "entry_digest",
    "entry_of",
    "fingerprint",
    "sealed",
]
