"""Planned and actual use of each component, week by week, and what explains the difference.

    actual − planned = builds + scrap + shot weight + purges + thrown with rest + unexplained

in whole nanolitres, so that the causes add up to the last digit. Planned is what the shift model draws from
containers, on parts and all losses: as it was kept when the shift was booked, else by the plan of today.
Actual is what is no longer there,

    counted before + received − counted after − (standing after − standing before)

where the lots of a component were counted twice, else what was opened in the week less what stands more. Of
each cause only what was booked counts; a shift of which nothing is booked is taken as planned, and what no
cause explains is said as such.
"""

from __future__ import annotations

import datetime
import itertools
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from ..plan.records import Plan
from ..plan.rows import Component
from ..shift.store import NANO, nanolitre_price, nanolitres
from .counted import entry_volume
from .dated import material_of_entry
from .entries import COUNTED, DONE, EMPTIED, OPENED, PURGED, RECEIVED, STANDS, WEIGHT_A, WEIGHT_B, Entry
from .history import MIXER_EVENTS, moment_at
from .lessons import LEAST, counts_of
from .planned import PlannedShift, used_shifts
from .planned_use import ComponentUse, PlannedUse
from .standing import row_of
from .store import Booked
from .weighed import component_targets, weighed

BUILDS, SCRAP, SHOT, PURGES, THROWN, UNEXPLAINED = CAUSES = (
    "builds",
    "scrap",
    "shot weight",
    "purges",
    "thrown with rest",
    "unexplained",
)
BOOKED = CAUSES[:-1]
CAUSE_HELP = {
    BUILDS: "more or fewer good parts than planned",
    SCRAP: "more or fewer parts scrapped than planned",
    SHOT: "shots heavier or lighter than planned, on parts and check shots",
    PURGES: "more or fewer purges and mixer changes than planned",
    THROWN: "what was left in containers that were thrown away, beyond the heel, against rest and expired as "
    "planned",
    UNEXPLAINED: "what none of these explains: shots that were not booked, leaks, counts that are off",
}
BY_COUNT, BY_CONTAINERS, NOT_KNOWN = "counted", "containers opened", "not known"
IMPOSSIBLE = "cannot be"  # the use by counts or containers is below nothing: one of them is wrong
Key = tuple[str, str]  # material, component


@dataclass(frozen=True, slots=True)
class Explained:
    """One component in one period: planned and actual use, and the causes of the difference [nL].

    `basis` is how the actual use is known; None where it is not. `booked` of its `shifts` have what was made,
    `kept` are planned as they were kept when booked, the others by the plan of today.
    """

    component: Component
    period: str
    first: datetime.date
    last: datetime.date
    basis: str
    planned: int
    actual: int | None
    causes: Mapping[str, int]
    shifts: int = 0
    booked: int = 0
    kept: int = 0
    refused: int | None = None  # what the use comes out as [nL] where that cannot be

    @property
    def key(self) -> Key:
        """Material and component."""
        return self.component.material, self.component.component

    @property
    def difference(self) -> int | None:
        """Actual less planned [nL]."""
        return None if self.actual is None else self.actual - self.planned

    @property
    def unexplained(self) -> int | None:
        """What no booked cause explains [nL]."""
        difference = self.difference
        return None if difference is None else difference - sum(self.causes.values())

    @property
    def all_causes(self) -> dict[str, int]:
        """All causes, what is unexplained with them [nL]; booked ones alone where the actual is not known."""
        unexplained = self.unexplained
        return {**self.causes, **({} if unexplained is None else {UNEXPLAINED: unexplained})}

    def mass(self, volume: int) -> float:
        """A volume [nL] of it as mass [kg]."""
        return volume / NANO * self.component.density

    def money(self, volume: int) -> float:
        """A volume [nL] of it at its price."""
        return volume * nanolitre_price(self.component)


@dataclass(frozen=True, slots=True)
class _Shift:
    """A station's shift as planned, with the moments of its begin and end."""

    planned: PlannedShift
    use: PlannedUse
    begins: datetime.datetime
    ends: datetime.datetime

    @property
    def station(self) -> str:
        return self.planned.station

    @property
    def key(self) -> tuple[str, str, str]:
        """Station, day and shift."""
        return self.planned.station, self.planned.date.isoformat(), self.planned.shift

    def of(self, letter: str) -> ComponentUse:
        """What it uses of a component of its material."""
        return self.use.components[letter]


@dataclass(slots=True)
class _Facts:
    """What the journal says, ready to be asked of a shift or a time."""

    plan: Plan
    made: dict[tuple[str, str, str, str], int] = field(default_factory=dict)  # station, day, shift, part
    scrapped: dict[tuple[str, str, str, str], int] = field(default_factory=dict)
    purges: dict[tuple[str, str, str], Mapping[str, int]] = field(default_factory=dict)  # by kind
    entries: list[Entry] = field(default_factory=list)
    places: set[tuple[str, str, str]] = field(default_factory=set)  # of which something is booked
    _by_key: dict[tuple[str, Key], list[Entry]] = field(default_factory=dict)

    def of(self, kind: str, key: Key) -> list[Entry]:
        """The entries of a kind that are of a component."""
        if not self._by_key:
            for entry in self.entries:
                self._by_key.setdefault((entry.kind, self.key(entry)), []).append(entry)
        return self._by_key.get((kind, key), [])

    def counts(self, key: Key) -> dict[datetime.datetime, int]:
        """What was in store of a component [nL], by the time of the last count of each day it was counted on.

        A lot that was counted twice on a day is taken as it was counted last.
        """
        days: dict[str, dict[str, Entry]] = {}
        for entry in sorted(self.of(COUNTED, key), key=self.when):
            days.setdefault(entry.day, {})[entry.lot] = entry
        return {
            max(self.when(entry) for entry in lots.values()): sum(
                _volume(self, entry) for entry in lots.values()
            )
            for lots in days.values()
        }

    def key(self, entry: Entry) -> Key:
        """Material and component of an entry."""
        return material_of_entry(self.plan, entry), entry.component or "a"

    def when(self, entry: Entry) -> datetime.datetime:
        """When it was: of a day alone before its first shift."""
        day = entry.date or datetime.date.min
        start = min((row.start for row in self.plan.shifts), default=0.0)
        return entry.moment or moment_at(day, start)


def explained(
    plan: Plan, booked: Iterable[Booked], planned: Sequence[PlannedShift] | None = None
) -> list[Explained]:
    """Each component in each week, or from count to count where that spans more, in order of time.

    `planned` are the shifts with what they use, in order of time; by default all as the plan of today has
    them. Weeks and components of which nothing at all is booked are left out.
    """
    rows = list(booked)
    shifts = [
        _Shift(item, item.use, moment_at(item.date, item.use.begins), moment_at(item.date, item.use.ends))
        for item in (used_shifts(plan, {}) if planned is None else planned)
        if item.use is not None
    ]
    facts = _facts(plan, rows)
    found: list[Explained] = []
    for component in plan.components:
        mine = [
            item
            for item in shifts
            if item.use.material == component.material and component.component in item.use.components
        ]
        found += _of_component(facts, component, mine)
    return sorted(found, key=lambda item: (item.first, item.key))


def _facts(plan: Plan, booked: Sequence[Booked]) -> _Facts:
    facts = _Facts(plan, entries=[item.entry for item in booked])
    for key, count in counts_of(plan, booked).items():
        if count.made is not None:
            facts.made[key] = count.made
        if count.scrapped is not None:
            facts.scrapped[key] = count.scrapped
    ticked: dict[tuple[str, str, str], Counter[str]] = defaultdict(Counter)
    counted: dict[tuple[str, str, str], Counter[str]] = defaultdict(Counter)
    for entry in facts.entries:
        place = entry.station, entry.day, entry.shift
        if entry.kind == PURGED:
            counted[place][PURGED] += entry.count or 0
        elif entry.kind == DONE and entry.text in MIXER_EVENTS | {"end"}:
            ticked[place][entry.text] += 1
    facts.purges = {**ticked, **counted}
    facts.places = {key[:3] for key in (*facts.made, *facts.scrapped)}
    facts.places |= {(entry.station, entry.day, entry.shift) for entry in facts.entries if entry.station}
    return facts


# ---------------------------------------------------------------------------------------- periods


def _of_component(facts: _Facts, component: Component, shifts: Sequence[_Shift]) -> list[Explained]:
    """A component from count to count, and week by week where it was not counted twice."""
    key = component.material, component.component
    counts = facts.counts(key)
    bounds = sorted(counts) if len(counts) > 1 else []
    found = []
    for before, after in itertools.pairwise(bounds):
        mine = [item for item in shifts if before <= item.begins < after]
        if mine:
            use = _counted_use(facts, key, shifts, mine, before, after)
            found.append(_period(facts, component, mine, use))
    rest = [item for item in shifts if not bounds or not bounds[0] <= item.begins < bounds[-1]]
    weeks: dict[tuple[int, int, bool], list[_Shift]] = defaultdict(list)
    for item in rest:
        year, week, _ = item.planned.date.isocalendar()
        weeks[year, week, bool(bounds) and item.begins >= bounds[-1]].append(item)
    for mine in weeks.values():
        row = _period(facts, component, mine, _opened_use(facts, key, shifts, mine))
        if row.booked or row.actual is not None or any(row.causes.values()):
            found.append(row)
    return found


def _week(date: datetime.date) -> str:
    year, week, _ = date.isocalendar()
    return f"{year}-W{week:02d}"


def _period(
    facts: _Facts, component: Component, shifts: Sequence[_Shift], use: tuple[str, int | None]
) -> Explained:
    days = [item.planned.date for item in shifts]
    first, last = min(days), max(days)
    name = _week(first) if _week(first) == _week(last) else f"{_week(first)} to {_week(last)}"
    letter = component.component
    booked = [item for item in shifts if any((*item.key, row.part) in facts.made for row in item.use.parts)]
    refused = use[1] if use[1] is not None and use[1] < 0 else None  # nobody draws less than nothing
    basis, actual = use if refused is None else (IMPOSSIBLE, None)
    return Explained(
        facts.plan.on(first).components_of(component.material)[letter],
        name,
        first,
        last,
        basis,
        sum(item.of(letter).drawn for item in shifts),
        actual,
        _causes(facts, component, shifts),
        len(shifts),
        len(booked),
        sum(item.planned.booking is not None for item in shifts),
        refused,
    )


# ------------------------------------------------------------------------------------- actual use


def _volume(facts: _Facts, entry: Entry) -> int:
    """The volume of an entry [nL]."""
    material, letter = facts.key(entry)
    return nanolitres(entry_volume(facts.plan.components_of(material)[letter], entry))


def _standing_more(
    facts: _Facts,
    key: Key,
    shifts: Sequence[_Shift],
    before: datetime.datetime | None,
    after: datetime.datetime | None,
) -> int:
    """What stands more in containers at stations after than before [nL]; None: before all, after all."""
    names = dict.fromkeys(item.station for item in shifts)
    return sum(
        _standing(facts, key, name, shifts, after) - _standing(facts, key, name, shifts, before)
        for name in names
    )


def _standing(
    facts: _Facts, key: Key, station: str, shifts: Sequence[_Shift], at: datetime.datetime | None
) -> int:
    """What is in a station's container at a time [nL]: as told since its shift before, else as planned."""
    letter = key[1]
    mine = [item for item in shifts if item.station == station]
    over = [item for item in mine if at is not None and item.ends <= at]
    since = over[-1].ends if over else datetime.datetime.min
    told = [
        entry
        for entry in facts.of(STANDS, key)
        if entry.station == station and at is not None and since <= facts.when(entry) <= at
    ]
    row = row_of(facts.plan, max(told, key=facts.when)) if told else None
    if row is not None and row.left is not None:
        return nanolitres(row.left)
    return over[-1].of(letter).closing if over else mine[0].of(letter).opening


def _counted_use(
    facts: _Facts,
    key: Key,
    all_shifts: Sequence[_Shift],
    shifts: Sequence[_Shift],
    before: datetime.datetime,
    after: datetime.datetime,
) -> tuple[str, int | None]:
    """Use from count to count: all lots of the component are taken to have been counted."""
    counts = facts.counts(key)
    first, last = counts[before], counts[after]
    received = sum(
        _volume(facts, entry) for entry in facts.of(RECEIVED, key) if before < facts.when(entry) <= after
    )
    hoses = sum(item.of(key[1]).filled for item in shifts)
    more = _standing_more(facts, key, all_shifts, before, after)
    return BY_COUNT, first + received - last - more - hoses


def _opened_use(
    facts: _Facts, key: Key, all_shifts: Sequence[_Shift], shifts: Sequence[_Shift]
) -> tuple[str, int | None]:
    """Use by the containers that were opened in these shifts, where any were and each shift has been booked.

    One of which nothing is booked may have opened some too.
    """
    places = {item.key for item in shifts}
    opened = [entry for entry in facts.of(OPENED, key) if (entry.station, entry.day, entry.shift) in places]
    if not opened or places - facts.places:
        return NOT_KNOWN, None
    first, last = min(item.begins for item in shifts), max(item.ends for item in shifts)
    following = min(
        (item.begins for item in all_shifts if item.begins >= last), default=datetime.datetime.max
    )
    more = _standing_more(facts, key, all_shifts, first, following)
    hoses = sum(item.of(key[1]).filled for item in shifts)
    return BY_CONTAINERS, sum(_volume(facts, entry) for entry in opened) - more - hoses


# ----------------------------------------------------------------------------------------- causes


def _causes(facts: _Facts, component: Component, shifts: Sequence[_Shift]) -> dict[str, int]:
    """What the booked facts explain [nL]."""
    letter = component.component
    found = dict.fromkeys(BOOKED, 0)
    by_station: dict[str, list[_Shift]] = defaultdict(list)
    for item in shifts:
        by_station[item.station].append(item)
    for mine in by_station.values():
        dispensed = purges = 0.0
        for item in mine:
            share = item.of(letter).share
            builds, scrap, shots = _parts(facts, item)
            found[BUILDS] += round(builds * share)
            found[SCRAP] += round(scrap * share)
            dispensed += (shots + item.use.checks) * share
            if item.key in facts.purges:
                purges += item.use.purged_more(facts.purges[item.key]) * share
        found[SHOT] += round((_ratio(facts, mine, letter) - 1.0) * dispensed)
        found[PURGES] += round(purges)
    found[THROWN] = _thrown(facts, component, shifts)
    return found


def _parts(facts: _Facts, item: _Shift) -> tuple[float, float, float]:
    """Of a shift: good parts and scrap more than planned, and what all parts take [nL mixed]."""
    builds = scrap = shots = 0.0
    for row in item.use.parts:
        place = (*item.key, row.part)
        made, lost = facts.made.get(place, row.finished), facts.scrapped.get(place, row.scrapped)
        builds += (made - row.finished) * row.shot
        scrap += (lost - row.scrapped) * row.shot
        shots += (made + lost) * row.shot
    return builds, scrap, shots


def _ratio(facts: _Facts, shifts: Sequence[_Shift], letter: str) -> float:
    """Mean of weights over their targets at a station, of the component alone where it was weighed alone."""
    station = shifts[0].station
    days = {item.key[1:] for item in shifts}
    here = [
        entry
        for entry in facts.entries
        if entry.station == station and (entry.day, entry.shift) in days and entry.text != "setup"
    ]
    kind = {"a": WEIGHT_A, "b": WEIGHT_B}[letter]
    alone = [
        entry.value / target
        for entry in here
        if entry.kind == kind
        and not entry.part
        and entry.value
        and (target := entry.target or component_targets(facts.plan, station, entry.date).get(letter))
    ]
    if len(alone) >= LEAST:
        return sum(alone) / len(alone)
    mixed = [
        (entry.value or 0.0) / found[1] for entry, found in weighed(facts.plan, here) if found is not None
    ]
    return sum(mixed) / len(mixed) if len(mixed) >= LEAST else 1.0


def _thrown(facts: _Facts, component: Component, shifts: Sequence[_Shift]) -> int:
    """What was left in containers that were thrown away, beyond the heel, against what the plan leaves [nL].

    Where of none it is told what was left in it, all are taken to have held what is planned.
    """
    letter = component.component
    places = {item.key for item in shifts}
    thrown = [
        entry
        for entry in facts.of(EMPTIED, (component.material, letter))
        if entry.value is not None and (entry.station, entry.day, entry.shift) in places
    ]
    if not thrown:
        return 0
    heel = nanolitres(component.heel * component.container)
    planned = sum(item.of(letter).used.get(cause, 0) for item in shifts for cause in ("rest", "expired"))
    return sum(_volume(facts, entry) - heel for entry in thrown) - planned


__all__ = [
    "BY_CONTAINERS",
    "BY_COUNT",
    "CAUSES",
    "CAUSE_HELP",
    "IMPOSSIBLE",
    "NOT_KNOWN",
    "UNEXPLAINED",
    "Explained",
    "explained",
]
