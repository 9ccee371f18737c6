"""One station through one shift, event by event in clock time.

Parts come at the takt; breaks stop the nozzle; mixed material that stands in the mixer ages at the
temperature of that hour, and when the oldest of it has used its share of the pot life the rule asks
for a purge or a new mixer; containers of A and B run empty at their own times and leave their heel;
lots leave first-expired first-out; scrap, check shots, the start and the end of the shift draw
material too.

Volumes are counted in whole nanolitres, so that the balance holds to the last digit:

    opening + mounted = on parts + scrap + start + end + purge + mixers + checks + heel + expired
                        + closing

where opening and closing are what stands in containers and hoses. Stock, mounted containers and
hoses are carried from shift to shift (`Store`, `play_plan`).

What is settled here, and why:
- a visit that would not be finished before a break or the end of the shift waits until after it;
- the mixer is filled in plug flow: what went in first comes out first;
- the age that counts is that of the oldest material when a visit begins;
- open time runs from the first material on the part, the delay to mating from the end of its visit;
- a mixer is filled anew at the start of each shift and thrown away full at its end;
- two stations of one material take whole containers from one store, in the order of the table.
"""

from __future__ import annotations

import datetime
import heapq
import math
from bisect import bisect_right
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from .amounts import Amount, Application, applications, total
from .cure_times import CureTimes, batch_findings, cure_times
from .errors import NUM, InputError, Problem
from .findings import NOTE, QUALITY, SHORTAGE, STOP, Finding, WithFindings
from .life import LifeClock
from .materials import (
    WorkingLife,
    mix_shares,
    mixed_density,
    open_life,
    working_life,
)
from .units import DAY
from .weather import shop_record
from .weighing import Weighing, check_shot

NANO = 10**12  # nanolitres in a cubic metre
CATEGORIES = ("parts", "scrap", "start", "end", "purge", "mixers", "checks", "heel", "expired")
GELLED = 1.0  # share of the pot life at which the mixer is lost
MOST_CHANGES = 20_000  # purges and mixer changes of a shift, and containers of one component
MOST_BETWEEN = 2  # purges and mixer changes between parts that are not worth a warning
NO_STOCK = "no stock"


def nanolitres(volume: float) -> int:
    """A volume [m³] in whole nanolitres."""
    return round(volume * NANO)


# --------------------------------------------------------------------------------------- calendar


class Calendar:
    """Working time of a shift: clock seconds after midnight against seconds worked.

    >>> day = Calendar(21600.0, 50400.0, [(36000.0, 37800.0)])  # 6:00 to 14:00, break 10:00-10:30
    >>> day.available, day.clock(4 * 3600.0), day.worked(37800.0)
    (27000.0, 37800.0, 14400.0)
    """

    def __init__(self, start: float, end: float, breaks: Iterable[tuple[float, float]] = ()):
        self.start, self.end = start, end
        self.breaks = [(max(a, start), min(b, end)) for a, b in sorted(breaks) if b > start and a < end]
        self.intervals: list[tuple[float, float]] = []
        at = start
        for a, b in self.breaks:
            if a > at:
                self.intervals.append((at, a))
            at = max(at, b)
        if at < end:
            self.intervals.append((at, end))
        self._starts = [a for a, _ in self.intervals]
        self._before = [0.0]
        for a, b in self.intervals:
            self._before.append(self._before[-1] + b - a)
        self.available = self._before[-1]

    def clock(self, worked: float) -> float:
        """Clock time after so many seconds of work; the later one where a break lies between."""
        if worked < 0.0:
            return self.start + worked
        place = bisect_right(self._before, worked) - 1
        if place >= len(self.intervals):
            return self.end + worked - self.available
        return self.intervals[place][0] + worked - self._before[place]

    def worked(self, clock: float) -> float:
        """Seconds worked up to a clock time."""
        if clock < self.start:
            return clock - self.start
        place = bisect_right(self._starts, clock) - 1
        a, b = self.intervals[place]
        past = max(clock - self.end, 0.0)
        return self._before[place] + min(clock, b) - a + past

    def add(self, clock: float, work: float) -> float:
        """Clock time when `work` seconds have been worked after a clock time."""
        return self.clock(self.worked(clock) + work)

    def fit(self, clock: float, duration: float) -> float:
        """The first time from `clock` on at which work of this duration is not broken; inf if none."""
        place = max(bisect_right(self._starts, clock) - 1, 0)
        for a, b in self.intervals[place:]:
            begin = max(a, clock)
            if begin + duration <= b + 1e-6:
                return begin
        return math.inf


# ------------------------------------------------------------------------------------------ store


def use_by(expiry: datetime.date, opened: datetime.date | None,
           open_life: float | None) -> datetime.date:  # fmt: skip
    """The last day on which a lot may be used, opened or not; the life of an open container in s."""
    if opened is None or open_life is None:
        return expiry
    return min(expiry, opened + datetime.timedelta(days=int(open_life // DAY)))


@dataclass(slots=True)
class Lot:
    """A lot in store; volumes in nanolitres."""

    material: str
    component: str
    lot: str
    left: int
    expiry: datetime.date
    opened: datetime.date | None = None
    arrival: datetime.date | None = None

    def last_day(self, open_life: float | None) -> datetime.date:
        """The last day on which it may be used."""
        return use_by(self.expiry, self.opened, open_life)


@dataclass(slots=True)
class Mounted:
    """A container at a station: its lot, what may still be drawn, and its heel; nanolitres."""

    lot: str
    usable: int
    heel: int
    mounted: datetime.date
    last_day: datetime.date


@dataclass(slots=True)
class Store:
    """Lots in store and what stands at each station; carried from shift to shift."""

    lots: dict[tuple[str, str], list[Lot]] = field(default_factory=dict)
    mounted: dict[tuple[str, str], Mounted] = field(default_factory=dict)  # (station, component)
    hoses: dict[tuple[str, str], int] = field(default_factory=dict)

    @classmethod
    def of(cls, plan) -> Store:
        """The store as the plan's Stock table gives it."""
        lots: dict[tuple[str, str], list[Lot]] = {}
        for row in plan.stock:
            lots.setdefault((row.material, row.component), []).append(
                Lot(row.material, row.component, row.lot, nanolitres(row.quantity), row.expiry,
                    row.opened, row.arrival)
            )  # fmt: skip
        return cls(lots)

    def take(self, component, date: datetime.date) -> tuple[Lot | None, int]:
        """The next container: first-expired first-out; None where nothing usable is left."""
        best: Lot | None = None
        best_day = datetime.date.max
        for lot in self.lots.get((component.material, component.component), ()):
            if lot.left <= 0 or (lot.arrival is not None and lot.arrival > date):
                continue
            day = lot.last_day(component.open_life)
            if day < date:
                continue
            # an opened container goes first among equals
            if best is None or (day, lot.opened is None, lot.lot) < (
                best_day, best.opened is None, best.lot
            ):  # fmt: skip
                best, best_day = lot, day
        if best is None:
            return None, 0
        content = min(best.left, nanolitres(component.container))
        best.left -= content
        return best, content

    def expired(self, component, date: datetime.date) -> list[Lot]:
        """Lots that hold material but may no longer be used."""
        return [lot for lot in self.lots.get((component.material, component.component), ())
                if lot.left > 0 and lot.last_day(component.open_life) < date]  # fmt: skip


# ---------------------------------------------------------------------------------------- results


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens at a clock time [s]: kind, what it concerns, volume [nL]."""

    clock: float
    kind: str  # start, purge, mixer, container, check, break, end, short, expired
    text: str
    component: str = ""
    lot: str = ""
    volume: int = 0


@dataclass(slots=True)
class Job:
    """A part in the shift: good parts asked for, started, scrapped, finished."""

    part: str
    quantity: int
    started: int
    applications: list[Application]
    finished: int = 0
    scrapped: int = 0
    begun: int = 0

    @property
    def shot(self) -> Amount:
        """What one part takes at this station."""
        return total(item.amount for item in self.applications)


class Mating(NamedTuple):
    """Number of a part, the clock time [s] by which it must be mated, and when it is by plan."""

    serial: int
    latest: float
    planned: float

    @property
    def late(self) -> float:
        """Time by which the plan is too late [s]; below 0 where time is left."""
        return self.planned - self.latest


@dataclass(slots=True)
class Batch:
    """Parts of one batch on the cure board; clock times [s], None where nothing is stated.

    The open time of each part runs on its own: `tightest` is the part with the least time left
    between its planned mating and its latest one, so that what holds for it holds for the batch.
    `late` lists the parts that the plan mates too late.
    """

    number: int
    part: str
    serials: list[int]
    begun: float
    ended: float
    tightest: Mating | None = None
    late: list[Mating] = field(default_factory=list)
    cure: CureTimes = field(default_factory=CureTimes)

    @property
    def first(self) -> int:
        """Lowest number of its parts."""
        return min(self.serials)

    @property
    def last(self) -> int:
        """Highest number of its parts."""
        return max(self.serials)

    @property
    def numbers(self) -> str:
        """The numbers of its parts: 1–10, 12."""
        return numbers_text(self.serials)

    @property
    def mate_before(self) -> float | None:
        """The latest mating of the tightest part."""
        return self.tightest.latest if self.tightest else None

    @property
    def mates(self) -> float | None:
        """The planned mating of the tightest part."""
        return self.tightest.planned if self.tightest else None

    @property
    def milestones(self) -> dict[str, float | None]:
        """When the whole batch may be moved, joined and tested; inf: never as planned."""
        return self.cure.milestones


def numbers_text(serials: Iterable[int]) -> str:
    """Numbers of parts, those in a row together.

    >>> numbers_text([3, 1, 2, 7])
    '1–3, 7'
    """
    runs: list[list[int]] = []
    for serial in sorted(serials):
        if runs and serial == runs[-1][-1] + 1:
            runs[-1][1:] = [serial]
        else:
            runs.append([serial])
    return ", ".join("–".join(map(str, run)) for run in runs)


@dataclass(slots=True)
class LotUse:
    """Containers of one lot put on in the shift."""

    component: str
    lot: str
    last_day: datetime.date | None
    containers: int
    volume: int
    first: float
    is_missing: bool = False  # needed, and no usable lot holds it


@dataclass(slots=True)
class ShiftResult(WithFindings):
    """A station's shift: what was used, when things happened, what was found."""

    date: datetime.date
    shift: str
    station: Any
    material: Any
    components: dict[str, Any]
    calendar: Calendar
    takt: float
    temperatures: tuple[list[float], list[float]]
    life: WorkingLife | None
    jobs: list[Job] = field(default_factory=list)
    used: dict[str, dict[str, int]] = field(default_factory=dict)
    opening: dict[str, int] = field(default_factory=dict)
    mounted: dict[str, int] = field(default_factory=dict)
    closing: dict[str, int] = field(default_factory=dict)
    hoses: dict[str, int] = field(default_factory=dict)
    containers: dict[str, int] = field(default_factory=dict)
    missing: dict[str, int] = field(default_factory=dict)
    lots: list[LotUse] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    late_surface: list[tuple[str, int, float, float]] = field(default_factory=list)
    late_mating: list[tuple[str, int, float, float]] = field(default_factory=list)
    treated_until: list[tuple[str, int, float]] = field(default_factory=list)
    purges: int = 0
    mixers: int = 0
    check_shots: int = 0
    check_volume: int = 0  # all shots of one check together
    between: int = 0  # purges and mixer changes that no break brought about
    oldest_share: float = 0.0
    busy: float = 0.0

    @property
    def letters(self) -> tuple[str, ...]:
        """Component letters of the material."""
        return tuple(self.components)

    @property
    def shares(self) -> dict[str, float]:
        """Volume share of each component in the mix."""
        return mix_shares(self.material, self.components)

    @property
    def density(self) -> float:
        """Density of the mixed material [kg/m³]."""
        return mixed_density(self.material, self.components)

    @property
    def check(self) -> Weighing:
        """What a check weighs."""
        items = [item for job in self.jobs for item in job.applications]
        return check_shot(self.station, items, self.density)

    def drawn(self, letter: str) -> int:
        """What the shift took from containers, thrown heels included [nL]."""
        return sum(self.used[letter].values())

    def balance(self, letter: str) -> int:
        """opening + mounted − everything it went to − closing; 0 by construction, and by test."""
        return (self.opening[letter] + self.mounted[letter] - self.drawn(letter)
                - self.closing[letter])  # fmt: skip

    def staged(self, letter: str) -> list[LotUse]:
        """Lots to bring from store; what is missing there is not among them."""
        return [use for use in self.lots if use.component == letter and not use.is_missing]

    def dispensed(self, category: str) -> int:
        """Mixed material of one category, all components together [nL]."""
        return sum(self.used[letter][category] for letter in self.used)

    @property
    def parts_amount(self) -> Amount:
        """What goes on good parts, with its spread [m³]."""
        return total(job.shot.scaled(job.finished) for job in self.jobs)

    @property
    def is_short(self) -> bool:
        """Whether fewer good parts are finished than asked for."""
        return any(job.finished < job.quantity for job in self.jobs)


def _clocks(plan, station, material) -> dict[str, LifeClock | None]:
    """Clocks of pot life and open time along a station's temperature, kept with the plan."""
    cache = plan.kept("clocks")
    key = (station.station, material.material)
    if key not in cache:
        record = shop_record(plan, station)
        lives = {"pot": working_life(material), "open": open_life(material)}
        cache[key] = {name: life.clock(*record) if life else None for name, life in lives.items()}
    return cache[key]


# ----------------------------------------------------------------------------------------- player


class Player:
    """Plays one station through one shift and fills a `ShiftResult`."""

    def __init__(self, plan, date: datetime.date, shift: str, station, builds: dict[str, int],
                 store: Store):  # fmt: skip
        self.plan, self.store, self.station, self.date = plan, store, station, date
        material = plan.material(station.material)
        components = plan.components_of(material.material)
        row = plan.shift(shift)
        calendar = Calendar(row.start, row.end, plan.breaks_of(shift))
        jobs = []
        for part, quantity in builds.items():
            mine = [item for item in applications(plan, part) if item.station == station.station]
            if mine and quantity > 0:
                started = math.ceil(quantity / (1.0 - station.scrap) - 1e-9)
                jobs.append(Job(part, quantity, started, mine))
        started = sum(job.started for job in jobs)
        spread = calendar.available / started if started else math.inf
        takt = station.takt or spread * plan.takt_factors.get(station.station, 1.0)
        self.result = ShiftResult(
            date, shift, station, material, components, calendar, takt,
            shop_record(plan, station), working_life(material), jobs,
        )  # fmt: skip
        self.shares = list(mix_shares(material, components).items())
        for letter in components:
            self.result.used[letter] = dict.fromkeys(CATEGORIES, 0)
            self.result.mounted[letter] = self.result.containers[letter] = 0
        clocks = _clocks(plan, station, material)
        self.pot_clock = clocks["pot"] if station.mixer_volume > 0.0 else None
        self.open_clock = clocks["open"]
        self.mixer_content = nanolitres(station.mixer_volume)
        self.mixer: deque[list] = deque()  # [volume, clock time at which it went in]
        self.purge = nanolitres(station.purge_volume) or self.mixer_content
        self.delay = 0.0  # time lost by changes during the visit under way
        self.batches: dict[tuple[str, int], Batch] = {}

    # -- material ---------------------------------------------------------------------------

    def draw(self, volume: int, category: str, clock: float, duration: float = 0.0) -> None:
        """Take mixed material from the containers and book it."""
        if volume <= 0:
            return
        for letter, part in self.split(volume):
            self._take(letter, part, clock, duration)
            self.result.used[letter][category] += part

    def split(self, volume: int) -> list[tuple[str, int]]:
        """What each component makes of a mixed volume; the last takes what rounding leaves."""
        parts, rest = [], volume
        for letter, share in self.shares[:-1]:
            parts.append((letter, round(volume * share)))
            rest -= parts[-1][1]
        return [*parts, (self.shares[-1][0], rest)]

    def _take(self, letter: str, volume: int, clock: float, duration: float) -> None:
        key = (self.station.station, letter)
        need = volume
        while need > 0:
            container = self.store.mounted.get(key)
            if container is None or container.usable <= 0:
                at = clock + duration * (volume - need) / volume
                container = self._change(letter, container, at)
            part = min(need, container.usable)
            container.usable -= part
            need -= part

    def _change(self, letter: str, old: Mounted | None, clock: float) -> Mounted:
        """Put on the next container of a component; the heel of the old one is lost."""
        result, component = self.result, self.result.components[letter]
        key = (self.station.station, letter)
        if old is not None:
            result.used[letter]["heel"] += old.heel
            self.delay += self.station.container_time
        while True:
            if result.containers[letter] >= MOST_CHANGES:
                raise InputError(
                    Problem(self.plan.cell(component, "container"), message=f"shift {result.shift} of "
                            f"{result.date} empties more than {MOST_CHANGES} containers of "
                            f"{self._words(letter)} at station {self.station.station}",
                            fix="check the container, its heel and the volumes of the station",
                            code=NUM)
                )  # fmt: skip
            lot, content = self.store.take(component, self.date)
            heel = nanolitres(component.heel * component.container)
            if lot is None:
                content, name, last_day = nanolitres(component.container), NO_STOCK, datetime.date.max
                result.missing[letter] = result.missing.get(letter, 0) + content
                result.events.append(
                    Event(clock, "short", f"no usable {self._words(letter)} left in store: one "
                          f"container of {component.container * 1e6:.0f} mL is missing", letter,
                          NO_STOCK, content)
                )  # fmt: skip
            else:
                name, last_day = lot.lot, lot.last_day(component.open_life)
            result.mounted[letter] += content
            result.containers[letter] += 1
            self._note_lot(letter, name, last_day, content, clock, lot is None)
            if content > heel:
                break
            result.used[letter]["heel"] += content  # a rest smaller than the heel gives nothing
        if component.open_life is not None and (lot is None or lot.opened is None):
            last_day = min(
                last_day, self.date + datetime.timedelta(days=int(component.open_life // DAY))
            )
        new = Mounted(name, content - heel, heel, self.date, last_day)
        self.store.mounted[key] = new
        before = f", before it lot {old.lot}" if old is not None and old.lot != NO_STOCK else ""
        if lot is not None:
            result.events.append(
                Event(clock, "container", f"put on {self._words(letter)} lot {name}{before}", letter,
                      name, content)
            )  # fmt: skip
        return new

    def _words(self, letter: str) -> str:
        name = self.result.material.material
        return f"{name} {letter.upper()}" if len(self.result.components) > 1 else name

    def _note_lot(self, letter, name, last_day, content, clock, is_missing) -> None:
        for use in self.result.lots:
            if (use.component, use.lot, use.is_missing) == (letter, name, is_missing):
                use.containers += 1
                use.volume += content
                return
        day = None if last_day == datetime.date.max else last_day
        self.result.lots.append(LotUse(letter, name, day, 1, content, clock, is_missing))

    # -- mixer ------------------------------------------------------------------------------

    def push(self, volume: int, start: float, end: float) -> None:
        """Material goes through the mixer: the oldest leaves, new goes in."""
        content = self.mixer_content
        if content <= 0 or volume <= 0:
            return
        if volume >= content:
            entered = end - (end - start) * content / volume
            self.mixer = deque([[content, entered]])
            return
        rest = volume
        while rest > 0:
            front = self.mixer[0]
            part = min(front[0], rest)
            front[0] -= part
            rest -= part
            if front[0] == 0:
                self.mixer.popleft()
        self.mixer.append([volume, start])

    def new_mixer(self, clock: float) -> None:
        """Throw the mixer away with what is in it and fill a new one."""
        if self.mixer_content <= 0:
            return
        self.draw(self.mixer_content, "mixers", clock)
        self.mixer = deque([[self.mixer_content, clock]])
        self.result.mixers += 1

    def share_used(self, clock: float) -> float:
        """Share of pot life that the oldest material in the mixer has used."""
        if self.pot_clock is None or not self.mixer:
            return 0.0
        return self.pot_clock.used(self.mixer[0][1], clock)

    def limit_clock(self) -> float:
        """When the oldest material reaches the share at which the rule acts."""
        if self.pot_clock is None:
            return math.inf
        return self.pot_clock.when(self.mixer[0][1], self.station.purge_share)

    def freshen(self, clock: float, why: str) -> float:
        """Purge or change the mixer where the rule asks; the time at which dispensing may go on."""
        if self.pot_clock is None:
            return clock
        station = self.station
        while self.result.purges + self.result.mixers < MOST_CHANGES:
            share = self.share_used(clock)
            self.result.oldest_share = max(self.result.oldest_share, share)
            if share < station.purge_share:
                return clock
            self.result.between += not why
            reached = self.limit_clock()
            past = (f"{share:.0%} of pot life used, limit {station.purge_share:.0%} at "
                    f"{hhmm(reached, self.date)}")  # fmt: skip
            if share >= GELLED or station.rule == "change mixer":
                reason = "pot life is over" if share >= GELLED else "limit reached"
                self.result.events.append(
                    Event(clock, "mixer", f"change the mixer{why}: {reason} ({past})",
                          volume=self.mixer_content)
                )  # fmt: skip
                clock += station.mixer_time
                self.new_mixer(clock)  # filled when it is in place
            else:
                self.result.events.append(
                    Event(clock, "purge", f"purge {self.purge / 1e6:.1f} mL{why}: {past}",
                          volume=self.purge)
                )  # fmt: skip
                self.draw(self.purge, "purge", clock, station.purge_time)
                self.push(self.purge, clock, clock + station.purge_time)
                clock += station.purge_time
                self.result.purges += 1
        raise InputError(
            Problem(self.plan.cell(station, "purge_share"),
                    message=f"station {station.station}: material reaches its limit faster than a "
                    f"{'purge' if station.rule == 'purge' else 'mixer change'} replaces it",
                    fix="check pot life, temperatures, purge share, purge volume and times", code=NUM)
        )  # fmt: skip

    # -- the shift --------------------------------------------------------------------------

    def play(self) -> ShiftResult:
        """Run the shift."""
        result, calendar, station = self.result, self.result.calendar, self.station
        self._open()
        if not result.jobs:
            self._close()
            return result
        start = calendar.start
        result.events.append(
            Event(start, "start", "start of shift", volume=nanolitres(station.start_volume))
        )
        self.new_mixer(start)
        self.draw(nanolitres(station.start_volume), "start", start)
        self.push(nanolitres(station.start_volume), start, start)
        for a, b in calendar.breaks:
            result.events.append(Event(a, "break", f"break until {hhmm(b, self.date)}"))
        free = self._visits(start)
        end = max(free, calendar.end) if not result.is_short else calendar.end
        self.draw(nanolitres(station.end_volume), "end", end)
        result.events.append(
            Event(end, "end", "end of shift", volume=nanolitres(station.end_volume))
        )
        self._close()
        self._warn()
        result.events.sort(key=lambda event: event.clock)
        return result

    def _open(self) -> None:
        """What stands at the station when the shift begins; what is too old is thrown away."""
        result, store = self.result, self.store
        for letter in result.components:
            key = (self.station.station, letter)
            hose = nanolitres(getattr(self.station, f"hose_{letter}"))
            container = store.mounted.get(key)
            standing = container.usable + container.heel if container else 0
            result.opening[letter] = standing + store.hoses.get(key, 0)
            if container is not None and container.last_day < self.date and result.jobs:
                result.used[letter]["expired"] += standing
                del store.mounted[key]
                result.events.append(
                    Event(result.calendar.start, "expired", f"throw away the open container of "
                          f"{self._words(letter)} lot {container.lot}: last day was "
                          f"{container.last_day}", letter, container.lot, standing)
                )  # fmt: skip
            missing = hose - store.hoses.get(key, 0)
            if missing > 0 and result.jobs:
                self._take(letter, missing, result.calendar.start, 0.0)
                store.hoses[key] = hose

    def _close(self) -> None:
        result, store = self.result, self.store
        for letter in result.components:
            key = (self.station.station, letter)
            container = store.mounted.get(key)
            result.hoses[letter] = store.hoses.get(key, 0)
            result.closing[letter] = result.hoses[letter] + (
                container.usable + container.heel if container else 0
            )

    def _visits(self, start: float) -> float:
        """All parts and check shots, in the order in which they are due."""
        result, calendar, station = self.result, self.result.calendar, self.station
        queue: list[tuple[float, int, int, tuple]] = []  # due, rank, number, what
        number = 0
        for number, (job, serial, is_scrap) in enumerate(self._started()):
            due = calendar.clock(number * result.takt)
            heapq.heappush(queue, (due, 1, number, (job, serial, is_scrap, 0)))
        result.check_volume = result.check.count * nanolitres(result.check.volume)
        if station.checks:
            count = math.ceil(calendar.available * station.checks - 1e-9)
            for turn in range(count):
                heapq.heappush(queue, (calendar.clock(turn / station.checks), 0, turn, ()))
        visits = {id(job): _visits_of(job) for job in result.jobs}
        tracks: dict[tuple[int, int], list[float]] = {}
        free = start
        while queue:
            due, _, number, what = heapq.heappop(queue)
            if not what:
                if any(item[3] for item in queue):  # after the last part there is nothing to check
                    free = self._check_shot(max(free, due))
                continue
            job, serial, is_scrap, turn = what
            group = visits[id(job)][turn]
            duration = math.fsum(item.time for item in group) + station.handling_time
            begin = calendar.fit(max(free, due), duration)
            if begin == math.inf:
                continue
            why = self._why(free, begin)
            begin = self.freshen(begin, why)
            begin = calendar.fit(begin, duration)
            if begin == math.inf:
                continue
            category = "scrap" if is_scrap else "parts"
            at = begin
            for item in group:
                shot = nanolitres(item.amount.nominal)
                self.draw(shot, category, at, item.time)
                self.push(shot, at, at + item.time)
                at += item.time
            ended = begin + duration
            result.busy += duration
            free = ended + self.delay
            self.delay = 0.0
            track = tracks.setdefault((id(job), serial), [begin, ended])
            track[1] = ended
            if turn == 0:
                job.begun += 1
                self._surface(job, serial, number, begin)
            if turn + 1 < len(visits[id(job)]):
                wait = visits[id(job)][turn + 1][0].wait
                heapq.heappush(queue, (ended + wait, 1, number, (job, serial, is_scrap, turn + 1)))
            else:
                if is_scrap:
                    job.scrapped += 1
                else:
                    job.finished += 1
                self._batch(job, serial, track)
        for batch in result.batches:
            batch.cure = cure_times(self.plan, station, batch.part, batch.ended)
        return free

    def _started(self) -> Iterator[tuple[Job, int, bool]]:
        """Started parts in order, the scrap spread evenly among them."""
        for job in self.result.jobs:
            lost = job.started - job.quantity
            for place in range(job.started):
                is_scrap = (place + 1) * lost // job.started > place * lost // job.started
                yield job, place + 1, is_scrap

    def _check_shot(self, due: float) -> float:
        begin = self.result.calendar.fit(due, 0.0)
        if begin == math.inf:
            return due
        begin = self.freshen(begin, "")
        volume = self.result.check_volume
        flow = self.station.flow
        duration = volume / NANO / flow if flow else 0.0
        self.draw(volume, "checks", begin, duration)
        self.push(volume, begin, begin + duration)
        self.result.check_shots += 1
        count = self.result.check.count
        text = "check shot: weigh it" if count == 1 else f"check: weigh {count} shots together"
        self.result.events.append(Event(begin, "check", text, volume=volume))
        free = begin + duration + self.delay
        self.delay = 0.0
        return free

    def _why(self, free: float, begin: float) -> str:
        for a, b in self.result.calendar.breaks:
            if free <= a + 1e-6 and begin >= b - 1e-6:
                return " after the break"
        return ""

    # -- windows and cure -------------------------------------------------------------------

    def _surface(self, job: Job, serial: int, number: int, begin: float) -> None:
        """From surface treatment to dispensing."""
        window = self.result.material.surface_window
        if window is None:
            return
        arrival = number * self.result.takt - self.station.treatment_lead
        treated = self.result.calendar.clock(arrival)
        latest = treated + window
        self.result.treated_until.append((job.part, serial, latest))
        if begin > latest + 1e-6:
            self.result.late_surface.append((job.part, serial, latest, begin))

    def _batch(self, job: Job, serial: int, track: list[float]) -> None:
        """Put a part to its batch, in whichever order the parts are done."""
        begun, ended = track
        key = (job.part, (serial - 1) // self.station.batch)
        batch = self.batches.get(key)
        if batch is None:
            batch = self.batches[key] = Batch(len(self.batches) + 1, job.part, [], begun, ended)
            self.result.batches.append(batch)
        batch.serials.append(serial)
        batch.begun, batch.ended = min(batch.begun, begun), max(batch.ended, ended)
        self._mate(batch, serial, begun, ended)

    def _mate(self, batch: Batch, serial: int, begun: float, ended: float) -> None:
        """From the first material on the part to mating; the delay runs from when it is done."""
        if self.open_clock is None:
            return
        planned = self.result.calendar.add(ended, self.station.mating_delay)
        mating = Mating(serial, self.open_clock.when(begun, 1.0), planned)
        if batch.tightest is None or mating.late > batch.tightest.late + 1.0:  # s: the first of equals
            batch.tightest = mating
        if mating.late > 1e-6:
            batch.late.append(mating)
            self.result.late_mating.append((batch.part, *mating))

    def _warn(self) -> None:
        result = self.result
        for job in result.jobs:
            if job.finished < job.quantity:
                self._find(STOP, f"{job.part}: {job.finished} of {job.quantity} good parts are finished by "
                           f"{hhmm(result.calendar.end, result.date)}",
                           "longer hours, fewer parts, or a quicker or second station", topic="output",
                           part=job.part, finished=job.finished, asked=job.quantity)  # fmt: skip
        for letter, volume in result.missing.items():
            self._find_shortage(letter, volume)
        for letter, component in result.components.items():
            for lot in self.store.expired(component, result.date):
                self._find(QUALITY, f"{self._words(letter)} lot {lot.lot} may not be used: last day was "
                           f"{lot.last_day(component.open_life)} ({lot.left / 1e6:.0f} mL)",
                           "set it aside", topic="expired lot", is_lasting=True,
                           volume_mL=lot.left / 1e6)  # fmt: skip
        self._find_late("surface window", result.late_surface, "treat again before dispensing")
        self._find_late("open time", result.late_mating, "mate sooner or set aside")
        self._find_slow_flow()
        result.findings += batch_findings(result)
        if result.life is not None and self.pot_clock is not None:
            temperatures = result.temperatures[1]
            for mark in result.life.marks(min(temperatures), max(temperatures)):
                if not mark.startswith("rule of thumb"):  # the setup card says so
                    self._find(NOTE, f"pot life {mark}", topic="pot life", is_lasting=True)

    def _find(self, kind: str, text: str, fix: str = "", *, topic: str, part: str = "",
              is_lasting: bool = False, **numbers: float) -> None:  # fmt: skip
        """Add a finding of this shift; one that lasts carries no day, so that it is told once."""
        result = self.result
        self.result.findings.append(
            Finding(kind, text, fix, topic, result.station.station, result.material.material, part,
                    None if is_lasting else result.date, "" if is_lasting else result.shift,
                    numbers=numbers)
        )  # fmt: skip

    def _find_shortage(self, letter: str, volume: int) -> None:
        """Stock that does not suffice, and from when it is missed."""
        count = round(volume / nanolitres(self.result.components[letter].container))
        first = min(event.clock for event in self.result.events
                    if event.kind == "short" and event.component == letter)  # fmt: skip
        self._find(STOP, f"stock of {self._words(letter)} is short by {count} container"
                   f"{'s' if count > 1 else ''} ({volume / 1e6:.0f} mL)",
                   f"bring or order it, needed from {hhmm(first, self.result.date)}", topic=SHORTAGE,
                   containers=count, volume_mL=volume / 1e6)  # fmt: skip

    def _find_late(self, name: str, late: list[tuple[str, int, float, float]], fix: str) -> None:
        """Parts past a window: the first of them, and the one that is latest."""
        if not late:
            return
        part, serial, latest, actual = late[0]
        result = self.result
        many = "parts miss" if len(late) > 1 else "part misses"
        words = (f"{len(late)} {many} the {name}; first {part} no. {serial}: latest "
                 f"{hhmm(latest, result.date)}, planned {hhmm(actual, result.date)}")  # fmt: skip
        worst = max(late, key=lambda row: row[3] - row[2])
        if worst is not late[0]:
            words += f"; worst {worst[0]} no. {worst[1]}, {(worst[3] - worst[2]) / 60.0:.0f} min late"
        self._find(STOP, words, fix, topic=name, part=part, parts=len(late),
                   latest_by_min=(worst[3] - worst[2]) / 60.0)  # fmt: skip

    def _find_slow_flow(self) -> None:
        """Where the parts come too slowly to keep the mixer fresh, breaks are not the cause."""
        result = self.result
        if result.between > MOST_BETWEEN and result.life is not None:
            limit = self.station.purge_share * result.life.at(max(result.temperatures[1]))
            self._find(QUALITY, f"{result.between} purges and mixer changes fall between parts, not after "
                       f"breaks: at a takt of {result.takt:.0f} s material stands longer in the mixer than "
                       f"its limit, {limit / 60.0:.0f} min in the hottest hour",
                       "a smaller mixer, a quicker takt or a cooler shop",
                       topic="purges between parts", changes=result.between)  # fmt: skip


def _visits_of(job: Job) -> list[list[Application]]:
    """Applications of a part grouped into visits: a wait begins a new one."""
    groups: list[list[Application]] = []
    for item in job.applications:
        if not groups or item.wait > 0.0:
            groups.append([item])
        else:
            groups[-1].append(item)
    return groups


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FAR = 180  # days from which the year is told too


def hhmm(clock: float, day: datetime.date | None = None) -> str:
    """Clock seconds as 13:05; a time of another day with its date, or as 01:05 +1 d where no day is given.

    `day` is the day that the clock seconds and the sheet belong to.

    >>> hhmm(47100.0), hhmm(90000.0), hhmm(90000.0, datetime.date(2026, 3, 2))
    ('13:05', '01:00 +1 d', 'Tue 3 Mar 01:00')
    """
    minutes = math.floor(clock / 60.0 + 1e-6)
    days, minutes = divmod(minutes, 1440)
    words = f"{minutes // 60:02d}:{minutes % 60:02d}"
    if not days:
        return words
    if day is None:
        return f"{words} {days:+d} d"
    date = day + datetime.timedelta(days=days)
    year = f" {date.year}" if abs(days) >= FAR else ""
    return f"{WEEKDAYS[date.weekday()]} {date.day} {MONTHS[date.month - 1]}{year} {words}"


# ------------------------------------------------------------------------------------ whole plans


def play_shift(plan, date: datetime.date, shift: str, station: str,
               store: Store | None = None) -> ShiftResult:  # fmt: skip
    """One station through one shift, from a given store (that of the plan by default)."""
    row = plan.station(station)
    store = Store.of(plan) if store is None else store
    return Player(plan, date, shift, row, plan.builds_of(date, shift), store).play()


def play_plan(plan, *, until: tuple[datetime.date, str] | None = None,
              stations: Iterable[str] | None = None) -> Iterator[ShiftResult]:  # fmt: skip
    """Every shift of the plan in order of time, stock and containers carried along.

    `until` ends with that date and shift; `stations` keeps those and the others that share their
    materials (they draw on the same store).
    """
    chosen = list(plan.stations)
    if stations is not None:
        names = set(stations)
        materials = {plan.station(name).material for name in names}
        chosen = [row for row in chosen if row.material in materials]
    store = Store.of(plan)
    for date, shift in plan.days():
        builds = plan.builds_of(date, shift)
        for row in chosen:
            player = Player(plan, date, shift, row, builds, store)
            if player.result.jobs:
                yield player.play()
        if until is not None and (date, shift) == until:
            return
