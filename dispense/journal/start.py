"""Today as a start: what stands at the stations and lies in store, from plan, file and journal.

There is one place where it is told together, and one rule: of one thing the latest statement counts, be it a
row of the plan's table Standing (or of the file in its place) or a booking. What is told and cannot stand
there is named and left out; so is a station of which nothing is told, or nothing since its last shift.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from ..base.findings import NOTE, QUALITY, Finding
from ..base.printed import counted, listed
from ..plan.amounts import applied_at
from ..plan.late import with_late_orders
from ..plan.records import Plan
from ..plan.rows import Standing
from ..plan.standing import PARTS_IN_PROCESS, latest_rows, material_of, moment_of, wrong_with
from ..plan.tables import STANDING_CONTAINER, STANDING_IN_STORE, STANDING_MIXER
from .count_doubts import count_doubts
from .counted import CountedStock, counted_stock
from .dated import material_of_entry
from .entries import COUNTED, EMPTIED, OPENED, RECEIVED, STANDS, Entry
from .lots import lots_of
from .standing import row_of

TOPIC, NOT_RECEIVED, NOT_OPENED = "start", "not received", "opened when"
AsOf = datetime.date | datetime.datetime
Place = tuple[str, str]  # station and component


@dataclass(slots=True)
class Start:
    """A plan from a moment on: its stock and stations as they are then, its builds those still to come."""

    plan: Plan
    as_of: datetime.datetime | None = None
    counted: CountedStock | None = None
    told: int = 0  # things that stand at stations
    from_journal: int = 0
    findings: list[Finding] = field(default_factory=list)

    @property
    def words(self) -> str:
        """What playing begins with, in a line; "" where it begins with the plan's first build."""
        if self.as_of is None:
            return ""
        where = f" ({self.from_journal} by the journal)" if self.from_journal else ""
        stand = "stands" if self.told == 1 else "stand"
        told = f"{counted(self.told, 'thing')} that {stand} there{where}" if self.told else "empty stations"
        stock = self.counted.words.rstrip(".") if self.counted is not None else ""
        pieces = [piece for piece in (told, stock[:1].lower() + stock[1:]) if piece]
        return f"Begins {self.as_of:%Y-%m-%d %H:%M} with " + ", ".join(pieces) + "."


def stated_as_of(plan: Plan) -> datetime.datetime | None:
    """The moment that the plan itself states: the last one of its table Standing."""
    return max((moment_of(plan, row) for row in plan.standing), default=None)


def first_moment(plan: Plan, as_of: AsOf) -> datetime.datetime:
    """The moment that a day begins with: its first shift. A moment stays as it is."""
    if isinstance(as_of, datetime.datetime):
        return as_of
    start = min((row.start for row in plan.shifts), default=0.0)
    return datetime.datetime.combine(as_of, datetime.time()) + datetime.timedelta(seconds=start)


def from_today(plan: Plan, entries: Iterable[Entry], as_of: AsOf | None) -> Start:
    """The plan from a day or moment on, with what the entries of its journal tell of it.

    Without one the plan goes on from its first build, as it does by itself.
    """
    if as_of is None:
        return Start(plan)
    moment = first_moment(plan, as_of)
    entries = list(entries)
    known = [entry for entry in entries if _is_known(plan, entry, moment, as_of)]
    stock = counted_stock(plan, known, None)
    told = _told(plan, known, moment)
    coming = [row for row in plan.builds if _begins(plan, row.date, row.shift) >= moment]
    found: list[Finding] = []
    held, late = with_late_orders(stock.plan, moment.date())
    begun = replace(held, standing=told.rows, builds=coming, as_of=moment, at_start=found)
    rows = latest_rows(begun)
    found += [
        *late,
        *_without_lot(stock),
        *count_doubts(plan, known),
        *_not_counted(plan, known),
        *_not_received(begun, known, moment),
        *told.findings,
        *_not_opened(plan, rows),
        *_unknown_lots(plan, known, rows),
        *_untold(plan, begun, rows, moment, {item.station for item in told.findings}),
    ]
    journal = sum(1 for row in rows if id(row) in told.of_journal)
    return Start(begun, moment, stock, len(rows), journal, found)


def from_counts(plan: Plan, entries: Iterable[Entry], first: datetime.date | None = None) -> Start:
    """The plan from its first build, with the stock as it was counted and received last before it.

    `first` is the day of that build, where builds before it are history. What was counted or received later
    holds what these builds have used by then: it is left out and told, or their use would count twice.
    """
    first = first or min((row.date for row in plan.builds), default=None)
    entries = list(entries)
    if first is None:
        known, later = entries, []
    else:
        moment = first_moment(plan, first)
        known = [entry for entry in entries if _is_known(plan, entry, moment, moment)]
        here = {id(entry) for entry in known}
        later = [entry for entry in entries if entry.kind in (COUNTED, RECEIVED) and id(entry) not in here]
    stock = counted_stock(plan, known)
    found = [*_without_lot(stock), *count_doubts(plan, entries)]
    days = sorted(entry.date for entry in later if entry.date is not None)
    if first is not None and days:
        span = f"{days[0]}" if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
        found.append(
            Finding(
                QUALITY,
                f"what was counted or received on {span} is left out: the forecast begins with the builds of "
                f"{first}, whose use is in it",
                f"--as-of {days[-1] + datetime.timedelta(days=1)} begins after it",
                topic="later than the start",
                day=days[0],
                numbers={"left out": float(len(days))},
            )
        )
    return Start(stock.plan, counted=stock, findings=found)


def _begins(plan: Plan, date: datetime.date, shift: str) -> datetime.datetime:
    start, _ = plan.hours_of(date, shift)
    return datetime.datetime.combine(date, datetime.time()) + datetime.timedelta(seconds=start)


def _ends(plan: Plan, date: datetime.date, shift: str) -> datetime.datetime:
    _, end = plan.hours_of(date, shift)
    return datetime.datetime.combine(date, datetime.time()) + datetime.timedelta(seconds=end)


def _is_known(plan: Plan, entry: Entry, moment: datetime.datetime, as_of: AsOf) -> bool:
    """Whether an entry is told by then; of a whole day its counts are, whenever they were made."""
    if entry.date is None:
        return False
    if entry.kind == COUNTED and not isinstance(as_of, datetime.datetime):
        return entry.date <= as_of
    if entry.moment is not None:
        return entry.moment <= moment
    if entry.kind in (COUNTED, STANDS):
        return first_moment(plan, entry.date) <= moment
    return entry.date < moment.date()


def _without_lot(stock: CountedStock) -> Iterator[Finding]:
    for entry in stock.without_lot:
        yield Finding(
            QUALITY,
            f"count of {entry.material} {entry.component.upper()} on {entry.day} names no lot: left out",
            "count lot by lot, since each has its own last day",
            topic="counted without lot",
            material=entry.material,
            day=entry.date,
        )


def _not_counted(plan: Plan, entries: Sequence[Entry]) -> Iterator[Finding]:
    """Lots of Stock of which containers were opened and none was ever counted: Stock may be of before."""
    stock = {row.lot for row in plan.stock if row.quantity > 0.0}
    opened = {lot for entry in entries if entry.kind == OPENED for lot in lots_of(entry)}
    counts = {entry.lot for entry in entries if entry.kind == COUNTED}
    lots = sorted(opened & stock - counts)
    if lots:
        yield Finding(
            QUALITY,
            f"containers of {listed(lots)} were opened and none is counted since: taken as Stock states",
            "keep Stock up to date, or count these lots and book it",
            topic=TOPIC,
        )


def _not_received(plan: Plan, entries: Sequence[Entry], moment: datetime.datetime) -> Iterator[Finding]:
    """Deliveries that are due by then and of which nobody booked that they came, where others are booked."""
    if not any(entry.kind == RECEIVED for entry in entries):
        return
    seen = {
        (material_of_entry(plan, entry), entry.component or "a", lot)
        for entry in entries
        if entry.kind in (RECEIVED, COUNTED, OPENED)
        for lot in lots_of(entry)
    }
    for row in plan.stock:
        key = row.material, row.component, row.lot
        if row.arrival is not None and row.arrival < moment.date() and key not in seen:
            yield Finding(
                QUALITY,
                f"{row.material} {row.component.upper()} lot {row.lot} was due on {row.arrival} and it is "
                "not booked that it came: counted as here",
                "look for it in store; book its receipt, or give it a later day of arrival",
                topic=NOT_RECEIVED,
                material=row.material,
                cell=row.at,
            )


# --------------------------------------------------------------------------------------- stations


@dataclass(slots=True)
class _Told:
    """Rows of Standing that hold, which of them the journal told, and what of it was left out."""

    rows: list[Standing] = field(default_factory=list)
    of_journal: set[int] = field(default_factory=set)
    findings: list[Finding] = field(default_factory=list)


def _told(plan: Plan, entries: Sequence[Entry], moment: datetime.datetime) -> _Told:
    """What of the plan's table and the journal holds: not what was opened, emptied or told since."""
    told = _Told()
    journal = []
    for entry in entries:
        if entry.kind == STANDS:
            row = _row(plan, entry, told)
            if row is not None:
                journal.append(row)
    rows = [*plan.standing, *journal]
    ended = _ended(plan, entries)
    last: dict[str, datetime.datetime] = {}  # of parts and mixers: the last hand-over of the station
    for row in rows:
        when = moment_of(plan, row)
        if when <= moment and row.station:
            last[row.station] = max(last.get(row.station, when), when)
    for row in rows:
        when, place = moment_of(plan, row), (row.station, row.component)
        if when > moment:
            continue
        if row.what in (*PARTS_IN_PROCESS, STANDING_MIXER) and when < last[row.station]:
            continue  # it was told again what stands there, and this no longer
        since = ended.get(place) if row.what == STANDING_CONTAINER else None
        if since is None or since[0] < when:
            told.rows.append(replace(row, material=material_of(plan, row)))
    told.rows = _with_opened(plan, told.rows, rows, entries)
    cells = {row.at for row in journal}
    told.of_journal = {id(row) for row in told.rows if row.at in cells}
    told.findings += _opened_since(plan, told.rows, ended)
    return told


def _row(plan: Plan, entry: Entry, told: _Told) -> Standing | None:
    """A row from an entry; one that cannot be is named and left out."""
    known = entry.station in {row.station for row in plan.stations}
    row = row_of(plan, entry) if known else None
    faults = [words for _, words in wrong_with(plan, row)] if row is not None else []
    if row is not None and not faults:
        return row
    words = "; ".join(faults) or f'the plan has no station "{entry.station}"'
    told.findings.append(
        Finding(
            QUALITY,
            f"{entry.cell or entry.name}: what stands at {entry.station} is left out: {words}",
            "correct it and book it again, or tell it in the table Standing",
            topic=TOPIC,
            station=entry.station,
            day=entry.date,
            shift=entry.shift,
        )
    )
    return None


def _ended(plan: Plan, entries: Iterable[Entry]) -> dict[Place, tuple[datetime.datetime, Entry]]:
    """When the container of a place was last changed or thrown away, and by which entry."""
    found: dict[Place, tuple[datetime.datetime, Entry]] = {}
    for entry in entries:
        if entry.kind not in (OPENED, EMPTIED) or entry.date is None:
            continue
        when = entry.moment or first_moment(plan, entry.date)
        place = (entry.station, entry.component or "a")
        if place not in found or when >= found[place][0]:
            found[place] = when, entry
    return found


def _with_opened(
    plan: Plan, held: Iterable[Standing], rows: Iterable[Standing], entries: Iterable[Entry]
) -> list[Standing]:
    """Rows that hold, their containers with the day they were opened where a row or an entry says it.

    A row's own word counts; else the last day said of that lot at that place by then, by a booked opening or
    by an earlier of all `rows`.
    """
    said: dict[tuple[str, str, str], list[tuple[datetime.datetime, datetime.date]]] = {}
    for row in rows:
        if row.what == STANDING_CONTAINER and row.opened is not None:
            said.setdefault((row.station, row.component, row.lot), []).append(
                (moment_of(plan, row), row.opened)
            )
    for entry in entries:
        if entry.kind == OPENED and entry.date is not None:
            when = entry.moment or first_moment(plan, entry.date)
            for lot in lots_of(entry):
                said.setdefault((entry.station, entry.component or "a", lot), []).append((when, entry.date))
    found = []
    for row in held:
        if row.what == STANDING_CONTAINER and row.opened is None:
            known = said.get((row.station, row.component, row.lot), [])
            days = [day for when, day in known if when <= moment_of(plan, row)]
            row = replace(row, opened=max(days, default=None))
        found.append(row)
    return found


def _opened_since(
    plan: Plan, rows: Sequence[Standing], ended: dict[Place, tuple[datetime.datetime, Entry]]
) -> Iterator[Finding]:
    """Containers that were opened and of which nobody has told what is left."""
    here = {(row.station, row.component) for row in rows if row.what == STANDING_CONTAINER}
    for place, (when, entry) in ended.items():
        if entry.kind == OPENED and place not in here:
            yield Finding(
                QUALITY,
                f"{place[0]}: lot {', '.join(lots_of(entry))} of {place[1].upper()} was opened "
                f"{when:%Y-%m-%d %H:%M} and it is not told what is left in it: taken as none",
                "tick the hand-over of its shift, or tell it in the table Standing",
                topic=TOPIC,
                station=place[0],
                day=entry.date,
                shift=entry.shift,
            )


def _not_opened(plan: Plan, rows: Sequence[Standing]) -> Iterator[Finding]:
    """Containers that stand there with an open life and of which nobody has told when they were opened."""
    for row in rows:
        if row.what != STANDING_CONTAINER or row.opened is not None:
            continue
        name = material_of(plan, row)
        if plan.components_of(name)[row.component].open_life is not None:
            yield Finding(
                NOTE,
                f"it is not told when the container of {plan.component_words(name, row.component)} lot "
                f"{row.lot} was opened: taken as opened on {row.date}, when it stood there",
                "book when it was opened, or state Opened in the table Standing",
                topic=NOT_OPENED,
                station=row.station,
                material=name,
                day=row.date,
                cell=row.at,
                component=row.component,
            )


def _unknown_lots(plan: Plan, entries: Sequence[Entry], rows: Sequence[Standing]) -> Iterator[Finding]:
    """Containers that stand there of lots that nobody knows, so that their last day is not known either."""
    stock = {(lot.material, lot.component, lot.lot) for lot in plan.stock}
    came = {
        (material_of_entry(plan, entry), entry.component or "a", entry.lot)
        for entry in entries
        if entry.kind == RECEIVED
    }
    for row in rows:
        key = material_of(plan, row), row.component, row.lot
        if (
            row.what in (STANDING_CONTAINER, STANDING_IN_STORE)
            and row.expiry is None
            and key not in stock | came
        ):
            name = plan.component_words(key[0], row.component)
            yield Finding(
                QUALITY,
                f"lot {row.lot} of {name}, which stands {_where(row)}, is neither in Stock nor was "
                "it received: its last day is not known, and it is taken to keep",
                "look at the label; state its last day in Standing, or the lot in Stock",
                topic=f"standing lot {row.lot}",
                station=row.station,
                material=key[0],
                day=row.date,
                cell=row.at,
                component=row.component,
            )


def _where(row: Standing) -> str:
    return f"at {row.station}" if row.station else "opened in store"


def _untold(
    plan: Plan, begun: Plan, rows: Sequence[Standing], moment: datetime.datetime, said: Collection[str]
) -> Iterator[Finding]:
    """Stations that work from then on and of which nothing is told, or nothing since a shift of theirs.

    Those of `said` are named already, with what cannot be believed.
    """
    last: dict[str, datetime.datetime] = {}
    for row in rows:
        when = moment_of(plan, row)
        last[row.station] = max(last.get(row.station, when), when)
    at_work = _at_work(begun)
    known = {*last, *said}
    blank = [row.station for row in plan.stations if row.station in at_work and row.station not in known]
    for station in blank:
        yield Finding(
            NOTE,
            "nothing is told of what stands there: taken as empty, with no part in process",
            "tick the hand-over of the last shift, or tell it in the table Standing",
            topic=TOPIC,
            station=station,
        )
    before = [
        (_ends(plan, date, shift), date, shift)
        for date, shift in plan.days()
        if _begins(plan, date, shift) < moment
    ]
    for station, when in last.items():
        missed = [
            f"{date} {shift}"
            for end, date, shift in before
            if end > when and station in _at_work(plan, date, shift)
        ]
        if missed:
            yield Finding(
                QUALITY,
                f"{station}: what stands there was told {when:%Y-%m-%d %H:%M}, before {listed(missed)} ended",
                "tick the hand-over of the last shift and book it",
                topic=TOPIC,
                station=station,
            )


def _at_work(plan: Plan, date: datetime.date | None = None, shift: str = "") -> set[str]:
    """Stations that have something to do, in a shift or in any."""
    shifts = plan.days() if date is None else [(date, shift)]
    parts = {part for each in shifts for part, count in plan.builds_of(*each).items() if count}
    return {row.station for row in plan.stations if any(applied_at(plan, part, row) for part in parts)}


__all__ = ["AsOf", "Start", "first_moment", "from_counts", "from_today", "stated_as_of"]
