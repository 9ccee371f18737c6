"""One station through one shift in clock time, by the rules of the planner's docs; own code.

The rules: parts come at the takt (or evenly over the working time); a visit that a break or the end of the
shift would cut waits, and its purge with it; plug flow in the mixer: what stands in it is as old as it is
when its last drop leaves on the part; where that passes the share of the pot life a purge before the part
or, past the pot life or where the plan says so, a new mixer; a mixer that would reach its share while no
part comes is purged then, before a break that this falls into, and where that does not keep the share it
comes off; where it takes more than one purge or the mixer would gel, the cheaper; a container that cannot
finish the next part is changed before it, its rest and its heel are lost, unless it never could or the
plan says otherwise: then the nozzle stands on the part; lots leave first-expired first-out; a wait between
shots makes a visit of its own; scrap is spread evenly; check shots come at their rate; the run ends with
the last part. What is half done then is finished in the station's next shift or, past its open time, lost;
what is to be mated goes on in the next shift of the plan.
Volumes in mL as plain numbers: the planner counts whole nanolitres, a millionth of a millilitre.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field, replace
from typing import Any

from . import amounts, weather
from . import handbook as hb
from .reading import Plant, clock
from .weather import DAY
from .weighing import weigh

USES = ("parts", "scrap", "start", "end", "purge", "mixers", "checks", "heel", "rest", "expired")


class Hours:
    """Working time of a shift."""

    def __init__(
        self,
        plant: Plant,
        day: datetime.date,
        shift: str,
        days: int = 0,
        stops: tuple[tuple[float, float], ...] = (),
        only: tuple[float | None, float | None] = (None, None),
    ):
        """`days` later by the clock; with stops of the line, and of the shift `only` from and to a time."""
        row = next(row for row in plant.shifts if row.shift == shift)
        builds = [build for build in plant.builds if (build.date, build.shift) == (day, shift)]
        # a half shift or overtime: what a build of the day states holds for all of its shift
        start = min((clock(build.start) for build in builds if build.start), default=clock(row.start))
        end = max((clock(build.end) for build in builds if build.end), default=clock(row.end))
        start, end = start if only[0] is None else only[0], end if only[1] is None else only[1]
        pauses = [*((clock(b.start), clock(b.end)) for b in plant.breaks if b.shift == shift), *stops]
        on = days * DAY
        self.start, self.end = start + on, end + on
        self.breaks = sorted(
            (max(a, start) + on, min(b, end) + on) for a, b in pauses if b > start and a < end
        )
        edges = [self.start, *(edge for pair in self.breaks for edge in pair), self.end]
        self.stretches = list(zip(edges[::2], edges[1::2], strict=True))
        self.available = sum(b - a for a, b in self.stretches)

    def at(self, worked: float) -> float:
        """Clock time after so much work; after a break rather than before it."""
        if worked < 0:
            return self.start + worked
        for a, b in self.stretches:
            if worked < b - a:
                return a + worked
            worked -= b - a
        return self.end + worked

    def worked(self, at: float) -> float:
        """Work done up to a clock time."""
        if at < self.start:
            return at - self.start
        return sum(min(max(at - a, 0.0), b - a) for a, b in self.stretches) + max(at - self.end, 0.0)

    def fit(self, at: float, wide: float) -> float | None:
        """First time from which work of that length is not cut."""
        for a, b in self.stretches:
            begin = max(a, at)
            if begin + wide <= b + 1e-6:
                return begin
        return None

    def fit_before(self, at: float, wide: float) -> float | None:
        """Last time up to `at` at which work of that length is not cut."""
        found = [min(b - wide, at) for a, b in self.stretches if min(b - wide, at) >= a]
        return max(found, default=None)


@dataclass
class Lot:
    """A lot in store, mL."""

    name: str
    left: float
    expiry: datetime.date
    opened: datetime.date | None
    arrival: datetime.date | None

    def last_day(self, open_life: float | None) -> datetime.date:
        """Expiry, or for an opened one the whole days it keeps open."""
        if self.opened is None or open_life is None:
            return self.expiry
        return min(self.expiry, self.opened + datetime.timedelta(days=math.floor(open_life / DAY)))


@dataclass
class Nozzle:
    """What stands in its mixer as [volume, clock time it went in], when it is free, when it was last used."""

    number: int
    free: float
    used: float
    mixer: list[list[float]] = field(default_factory=list)
    starved: float = 0.0
    cures: float = 0.0  # of that, while the next part is in cure
    blocked: float = 0.0


Key = tuple[str, int, str]  # part, number, the shift that began it


@dataclass(frozen=True)
class Coming:
    """A part that the station before has finished, and when it may go on."""

    key: Key
    due: float
    finished: float
    fate: int  # place of its route at which it is lost
    bad: bool  # lost here


@dataclass
class Feed:
    """What a station of a line is told of the others."""

    fed: set[str]  # parts that come from another station
    passing: set[str]  # parts that go on to another one
    good: dict[str, int]  # good parts to pass on
    fates: dict[str, list[int]]  # of the parts whose route begins here
    place: dict[str, int]  # of the station in the route of each part
    comes: list[Coming] = field(default_factory=list)
    held: list[float] = field(default_factory=list)  # until when parts of the shift before hold nozzles
    leaves: dict[Key, float] = field(default_factory=dict)  # of finished parts
    on_the_way: list[str] = field(default_factory=list)  # parts in process that will come


@dataclass
class Passing:
    """A part that stands between two stations, or still in the one before; clock times of `day`."""

    day: datetime.date
    key: Key
    fate: int
    before: str
    after: str
    finished: float
    ready: float
    left: float | None  # None: it stands under its nozzle

    def on(self, day: datetime.date) -> Passing:
        """By the clock of another day."""
        less = (day - self.day).days * DAY
        left = None if self.left is None else self.left - less
        return replace(self, day=day, finished=self.finished - less, ready=self.ready - less, left=left)


@dataclass(frozen=True)
class Stretch:
    """A part of a shift played by itself: from and to, parts done before, most to start, stops."""

    start: float | None = None
    end: float | None = None
    skip: int = 0
    most: int | None = None
    stops: tuple[tuple[float, float], ...] = ()
    goes_on: bool = False
    put_on: float | None = None  # when the mixer in use was put on, as someone tells
    boards: tuple[tuple[str, str, int], ...] = ()  # batches on the cure board before, in their order


@dataclass
class Standing:
    """A container at a station."""

    lot: str
    usable: float
    heel: float
    last_day: datetime.date
    whole: float  # usable when it was put on


@dataclass
class Waiting:
    """A part that waits for its next visit or to be mated; clock times of `day`."""

    day: datetime.date
    origin: str
    part: str
    serial: int
    due: float
    begun: float
    bad: bool = False
    turn: int = 0
    latest: float | None = None
    fate: int = 0

    def on(self, day: datetime.date) -> Waiting:
        """By the clock of another day."""
        less = (day - self.day).days * DAY
        latest = None if self.latest is None else self.latest - less
        return replace(self, day=day, due=self.due - less, begun=self.begun - less, latest=latest)


@dataclass
class Store:
    """Lots, containers at stations, hoses: carried from shift to shift."""

    lots: dict[tuple[str, str], list[Lot]] = field(default_factory=dict)
    standing: dict[tuple[str, str], Standing] = field(default_factory=dict)
    hoses: dict[tuple[str, str], float] = field(default_factory=dict)
    mixers: dict[tuple[str, int], tuple[datetime.date, list[list[float]]]] = field(default_factory=dict)
    half_done: dict[str, list[Waiting]] = field(default_factory=dict)
    to_mate: dict[str, list[Waiting]] = field(default_factory=dict)
    between: dict[str, list[Passing]] = field(default_factory=dict)  # by the station that comes next


@dataclass
class Event:
    """Something at a clock time."""

    at: float
    kind: str
    letter: str = ""
    lot: str = ""
    volume: float = 0.0
    facts: dict[str, Any] = field(default_factory=dict)
    nozzle: int | None = None  # where there are several


@dataclass
class Batch:
    """Parts together on the cure board; `tracks` are (begun, ended) of each part."""

    part: str
    group: int
    origin: str = ""
    serials: list[int] = field(default_factory=list)
    tracks: list[tuple[float, float]] = field(default_factory=list)
    number: int = 0  # that it has on the board, all through the shift


@dataclass
class Job:
    """A part of the shift."""

    part: str
    good: int
    started: int
    shots: list[amounts.Shot]
    begun: int = 0
    finished: int = 0
    lost: int = 0
    taken: int = 0
    taken_good: int = 0
    resumed: int = 0  # of those taken over the good ones that the same shift began before now
    thrown: int = 0  # taken over, and past its open time
    carried: int = 0
    visits: dict[int, int] = field(default_factory=dict)  # how often good parts had each visit

    @property
    def put_on(self) -> list[tuple[amounts.Shot, int]]:
        """Shots on good parts, finished or not."""
        turn, found = -1, []
        for place, shot in enumerate(self.shots):
            turn += shot.wait > 0 or not place
            found.append((shot, self.visits.get(turn, 0)))
        return found


@dataclass
class Played:
    """All that happened."""

    day: datetime.date
    shift: str
    station: Any
    material: Any
    parts: dict[str, Any]
    hours: Hours
    jobs: list[Job]
    takt: float
    weather: weather.Day
    used: dict[str, dict[str, float]] = field(default_factory=dict)
    opening: dict[str, float] = field(default_factory=dict)
    mounted: dict[str, float] = field(default_factory=dict)
    containers: dict[str, int] = field(default_factory=dict)
    closing: dict[str, float] = field(default_factory=dict)
    left: dict[str, float] = field(default_factory=dict)
    missing: dict[str, int] = field(default_factory=dict)
    owed: dict[str, float] = field(default_factory=dict)  # stands here on paper only, from a shift before
    lots: list[dict[str, Any]] = field(default_factory=list)
    past: list[tuple] = field(default_factory=list)  # what went on parts from a container past its last day
    next_lots: dict[tuple[str, float], str] = field(default_factory=dict)  # by letter and end of a last day
    expired_lots: list[tuple[str, Lot, datetime.date]] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    later: list[tuple[str, int, int, str, float]] = field(default_factory=list)  # part, no., turn, earliest
    surfaces: list[tuple[str, int, float, float]] = field(default_factory=list)  # part, no., latest, begun
    mates: dict[tuple[str, int, str], tuple[float, float]] = field(default_factory=dict)  # latest, planned
    ends: dict[tuple[str, int, float], float] = field(default_factory=dict)  # dispensed, by its latest
    mate_order: list[tuple[str, int, str]] = field(default_factory=list)
    unreached: dict[str, list[str]] = field(default_factory=dict)  # cure times that an oven does not give
    purges: int = 0
    mixers: int = 0
    between: int = 0
    checks: int = 0
    check_volume: float = 0.0
    check: Any = None  # how it is weighed
    busy: float = 0.0
    run_end: float = 0.0
    emptied: list[tuple[str, float]] = field(
        default_factory=list
    )  # component, clock: in the middle of a part
    taken_over: list[dict[str, Any]] = field(default_factory=list)
    handed_over: list[dict[str, Any]] = field(default_factory=list)
    thrown: list[tuple[str, int, str, float, float]] = field(default_factory=list)  # latest, soonest
    last: bool = False  # the plan has no further shift
    since: float | None = None  # only the rest of the shift is played
    fed: bool = False  # all parts come from other stations
    starved: float = 0.0  # mean of the nozzles
    cures: float = 0.0  # of that, for parts in cure
    blocked: float = 0.0
    begins: dict[Key, float] = field(default_factory=dict)  # of parts from another station
    finishes: list[tuple[float, Key, int]] = field(default_factory=list)  # of those that go on, with fate
    passages: list[dict[str, Any]] = field(default_factory=list)
    pace: Any = None
    overlong: list[tuple[float, float]] = field(
        default_factory=list
    )  # begun, share of the pot life at its end
    aged: list[tuple[float, float]] = field(default_factory=list)  # of these before now, by the told mixer
    later_before: list[str] = field(default_factory=list)  # parts begun before now that have later shots
    boards_before: int = 0  # batches that stand on the board before

    @property
    def shares(self) -> dict[str, float]:
        """Of the mixed volume."""
        return hb.shares(self.material, self.parts)

    @property
    def density(self) -> float:
        """g/mL of the mix."""
        return hb.density(self.material, self.parts)

    def drawn(self, letter: str) -> float:
        """All that left the containers, heels with it."""
        return sum(self.used[letter].values())


def open_store(plant: Plant) -> Store:
    """What the Stock table says."""
    store = Store()
    for row in plant.stock:
        lot = Lot(row.lot, row.quantity, row.expiry, row.opened, row.arrival)
        store.lots.setdefault((row.material, row.component), []).append(lot)
    return store


WHOLE = Stretch()


@dataclass(frozen=True)
class Told:
    """What is told of a station of a shift under way; clock times, mL in containers, stops."""

    now: float
    done: int
    left: dict[str, float] = field(default_factory=dict)
    put_on: float | None = None
    stops: tuple[tuple[float, float], ...] = ()


def rest_of(plant: Plant, station: Any, told: Told) -> Played:
    """The rest of the plan's first shift at a station that no route joins, from what is told of it."""
    (day, shift), *later = plant.days()
    following = Hours(plant, *later[0], (later[0][0] - day).days)
    store = open_store(plant)
    over = Stretch(end=told.now, most=told.done, stops=told.stops, put_on=told.put_on)
    begun = Shift(plant, day, shift, station, store, following, stretch=over).play()
    for letter, volume in told.left.items():
        there = store.standing[station.station, letter]
        there.usable = volume - there.heel
        there.whole = max(there.whole, there.usable)
    boards = tuple((one.part, one.origin, one.group) for one in begun.batches)
    rest = Stretch(told.now, None, told.done, None, told.stops, True, told.put_on, boards)
    played = Shift(plant, day, shift, station, store, following, stretch=rest).play()
    played.aged, played.boards_before = begun.aged, len(boards)
    played.later_before = [
        job.part for job in begun.jobs if job.begun and any(shot.wait > 0 for shot in job.shots[1:])
    ]
    return played


def to_start(good: int, station: Any) -> int:
    """Parts to start so that so many come out good."""
    return math.ceil(good / (1 - station.scrap) - 1e-9)


def lost(started: int, good: int) -> list[bool]:
    """Which parts are lost: spread evenly."""
    bad = started - good
    return [
        math.floor((place + 1) * bad / started) > math.floor(place * bad / started)
        for place in range(started)
    ]


class Shift:
    """Plays."""

    def __init__(
        self,
        plant: Plant,
        day: datetime.date,
        shift: str,
        station: Any,
        store: Store,
        following: Hours | None = None,
        feed: Feed | None = None,
        takt: float | None = None,
        stretch: Stretch = WHOLE,
    ):
        """`takt` of a line where the station states none."""
        self.following, self.origin = following, f"{day:%a} {day} {shift}"
        self.plant, self.store, self.station, self.feed, self.stretch = plant, store, station, feed, stretch
        material = plant.material(station.material)
        hours = Hours(plant, day, shift, 0, stretch.stops, (stretch.start, stretch.end))
        self.whole = Hours(plant, day, shift, 0, stretch.stops)  # who mates goes on when a stretch is over
        jobs = []
        for part, good in plant.builds_of(day, shift).items():
            mine = [shot for shot in amounts.shots_of(plant, part) if shot.station == station.station]
            if mine and good:
                good = feed.good[part] if feed and part in feed.good else good
                jobs.append(Job(part, good, to_start(good, station), mine))
        every = sum(job.started for job in jobs)
        printed = station.takt or (self.whole.available / every if every else math.inf)
        self.works = self.line_up(jobs)[stretch.skip :][: stretch.most]
        if stretch.start is not None or stretch.end is not None:
            for job in jobs:
                mine_now = [bad for one, _, bad, _ in self.works if one is job]
                job.started, job.good = len(mine_now), mine_now.count(False)
            jobs = [job for job in jobs if job.started]
        self.taken = [item.on(day) for item in store.half_done.get(station.station, [])]
        more = [item.part for item in self.taken] + (feed.on_the_way if feed else [])
        for part in dict.fromkeys(more):
            if part not in [job.part for job in jobs]:
                mine = [shot for shot in amounts.shots_of(plant, part) if shot.station == station.station]
                jobs.append(Job(part, 0, 0, mine))
        started = sum(job.started for job in jobs)
        takt = station.takt or (takt or hours.available / started if started else math.inf)
        if stretch.end is not None and started:
            if (started - 1) * printed <= hours.available < (started + 1) * printed and not feed:
                takt = printed  # as the sheets said, while the count agrees with them to a part
            else:
                takt = min(takt, hours.available / started)  # what is done by then came evenly
        self.sky = weather.Day.of(plant, station)
        self.played = Played(
            day, shift, station, material, plant.parts_of(material.material), hours, jobs, takt, self.sky
        )
        ageing = material.pot_life_temperature, weather.energy_of(material), material.halving_step
        self.pot = None
        if material.pot_life and station.mixer_volume:
            self.pot = weather.room_ageing(self.sky, material.pot_life, *ageing)
        self.open = None
        if material.open_time:
            self.open = weather.room_ageing(self.sky, material.open_time, *ageing)
            if material.cure == "moisture":  # the skin comes with the water in the air
                self.open = weather.Skin.of(self.sky, material)
        self.nozzles = [Nozzle(number, hours.start, hours.start) for number in range(station.nozzles)]
        self.nozzle = self.nozzles[0]  # the one at work
        self.on_part: tuple[str, int] | None = None  # the part that material went on last, and its number
        self.on_since: float | None = None  # when the station was started
        self.pending = None if stretch.goes_on else stretch.put_on  # a mixer that someone tells of
        self.is_told = False  # it is on: no rule changed it since
        self.is_dear = False  # it was told that a new mixer takes less than a purge
        self.vain: dict[str, tuple[float, int]] = {}  # begun, though the plan is over before that shot

    @property
    def mixer(self) -> list[list[float]]:
        """What stands in the mixer of the nozzle at work, oldest first."""
        return self.nozzle.mixer

    @mixer.setter
    def mixer(self, inside: list[list[float]]) -> None:
        self.nozzle.mixer = inside

    @property
    def free(self) -> float:
        """When the nozzle at work is free."""
        return self.nozzle.free

    @free.setter
    def free(self, at: float) -> None:
        self.nozzle.free = at

    @property
    def used(self) -> float:
        """When material last went through the nozzle at work."""
        return self.nozzle.used

    @used.setter
    def used(self, at: float) -> None:
        self.nozzle.used = at

    def line_up(self, jobs: list[Job]) -> list[tuple[Job, int, bool, int]]:
        """Own parts to start: job, number, whether it is lost here, fate."""
        found = []
        for job in jobs:
            if self.feed and job.part in self.feed.fed:
                continue
            fates = self.feed.fates.get(job.part) if self.feed else None
            for place, bad in enumerate(lost(job.started, job.good)):
                fate = fates[place] if fates else 0
                assert fates is None or (fate == 0) == bad
                found.append((job, place + 1, bad, fate))
        return found

    def pause(self, start: float, end: float) -> str:
        """What nobody works in: a break, or a stop of the line."""
        return "stop" if (start, end) in self.stretch.stops else "break"

    def tell(self, event: Event) -> None:
        """Something happens at the nozzle at work; which one, where there are several."""
        if len(self.nozzles) > 1:
            event.nozzle = self.nozzle.number + 1
        self.played.events.append(event)

    # ------------------------------------------------------------------------------ material

    def standing(self, letter: str) -> Standing | None:
        """What stands at the station."""
        return self.store.standing.get((self.station.station, letter))

    def draw(self, volume: float, use: str, at: float, wide: float = 0.0) -> float:
        """Mixed material from the containers; returns for how long the nozzle stood for changes."""
        for letter, share in self.played.shares.items():
            self.played.used[letter][use] += volume * share
        return self.take({c: volume * share for c, share in self.played.shares.items()}, at, wide, use)

    def take(self, parts: dict[str, float], at: float, wide: float, use: str = "") -> float:
        """From the containers that stand there; the one that is empty first is changed first."""
        done, stood = 0.0, 0.0
        held = {c: self.standing(c).usable if self.standing(c) else 0.0 for c in parts}  # as it begins
        while True:
            ends = {}  # share of the draw at which a container has nothing more to give
            for letter, part in parts.items():
                there = self.standing(letter)
                usable = there.usable if there else 0.0
                if part > 1e-9 and part * (1 - done) > usable + 1e-7:
                    ends[letter] = done + usable / part
            stop = min(ends.values(), default=1.0)
            for letter, part in parts.items():
                if self.standing(letter) is not None:
                    if use in ("parts", "scrap") and part * (stop - done) > 1e-7:
                        self.note_past(letter, at + wide * done + stood, at + wide * stop + stood)
                    self.standing(letter).usable -= part * (stop - done)
            if not ends:
                return stood
            done, letter = stop, min(ends, key=lambda c: (ends[c], c))
            if self.standing(letter) is not None and use in ("parts", "scrap"):
                self.played.emptied.append((letter, at + wide * done + stood))
            had_one = self.standing(letter) is not None
            within = self.on_part if use in ("parts", "scrap") else None
            empties = (use, held[letter]) if held[letter] > 0.05 - 1e-6 else None
            self.change(letter, self.standing(letter), at + wide * done + stood, 0.0, within, empties)
            held[letter] = self.standing(letter).usable
            stood += self.station.container_time * had_one

    def note_past(self, letter: str, begin: float, end: float) -> None:
        """What goes on a part from a container whose last day, its date, ends before that is done."""
        there = self.standing(letter)
        if there.lot == "no stock":
            return
        over = ((there.last_day - self.played.day).days + 1) * DAY
        if end > over:
            held = there.usable + there.heel
            row = (letter, there.lot, there.last_day, over, max(begin, over), held, self.on_part)
            self.played.past.append(row)

    def next_lot(self, letter: str, over: float) -> str:
        """Of which lot the container is that comes after a time, else that would come next."""
        for event in sorted(self.played.events, key=lambda each: each.at):
            if (event.kind, event.letter) == ("container", letter) and event.at >= over:
                return event.lot
        component = self.played.parts[letter]
        day = self.played.day + datetime.timedelta(days=round(over / DAY))
        usable = [
            (lot.last_day(component.open_life), lot.opened is None, lot.name)
            for lot in self.store.lots.get((component.material, letter), [])
            if lot.left > 1e-9
            and (lot.arrival is None or lot.arrival <= day)
            and lot.last_day(component.open_life) >= day
        ]
        return min(usable)[2] if usable else ""

    def has_come(self, letter: str) -> bool:
        """Whether a lot is in store of which something can be drawn."""
        day, component = self.played.day, self.played.parts[letter]
        heel = component.heel * component.container
        return any(
            lot.left > heel + 1e-9
            and (lot.arrival is None or lot.arrival <= day)
            and lot.last_day(component.open_life) >= day
            for lot in self.store.lots.get((component.material, letter), [])
        )

    def change(
        self,
        letter: str,
        old: Standing | None,
        at: float,
        rest: float = 0.0,
        within: tuple[str, int] | None = None,
        empties: tuple[str, float] | None = None,
    ) -> None:
        """The heel of the old one is lost; the next lot that expires first is put on; `within` a part.

        `empties`: what the old one runs empty for, and what it held [mL].
        """
        played, component = self.played, self.played.parts[letter]
        if old is not None:
            played.used[letter]["heel"] += old.heel
            played.used[letter]["rest"] += rest
        heel = component.heel * component.container
        today = played.day + datetime.timedelta(days=int(max(at, 0.0) // DAY))  # after midnight the next
        while True:
            usable = [
                lot
                for lot in self.store.lots.get((component.material, letter), [])
                if lot.left > 1e-9
                and (lot.arrival is None or lot.arrival <= today)
                and lot.last_day(component.open_life) >= today
            ]
            usable.sort(key=lambda lot: (lot.last_day(component.open_life), lot.opened is None, lot.name))
            lot = usable[0] if usable else None
            if lot is None:
                content, name, last = component.container, "no stock", datetime.date.max
                played.missing[letter] = played.missing.get(letter, 0) + 1
                played.events.append(Event(at, "short", letter, name, content))
            else:
                content, name = min(lot.left, component.container), lot.name
                last = lot.last_day(component.open_life)
                lot.left -= content
            played.mounted[letter] += content
            played.containers[letter] += 1
            known = [row for row in played.lots if (row["letter"], row["lot"]) == (letter, name)]
            if known:
                known[0]["containers"] += 1
                known[0]["volume"] += content
            else:
                played.lots.append(
                    {
                        "letter": letter,
                        "lot": name,
                        "containers": 1,
                        "volume": content,
                        "first": at,
                        "last_day": None if lot is None else last,
                    }
                )
            if content > heel + 1e-9:
                break
            played.used[letter]["heel"] += content
        if component.open_life is not None and lot is not None and lot.opened is None:
            keeps = datetime.timedelta(days=math.floor(component.open_life / DAY))
            last = min(last, played.day + keeps)
        new = Standing(name, content - heel, heel, last, content - heel)
        self.store.standing[(self.station.station, letter)] = new
        if lot is not None:  # what is missing is not put on; the line goes on as if it were
            before = old.lot if old and old.lot != "no stock" else None
            facts = {"before": before, "rest": rest, "within": within if old else None}
            facts["empties"] = empties if old else None
            played.events.append(Event(at, "container", letter, name, content, facts))

    # --------------------------------------------------------------------------------- mixer

    def push(self, volume: float, begin: float, end: float) -> None:
        """Plug flow: as much leaves at the nozzle as goes in."""
        full = self.station.mixer_volume
        if not full or not volume:
            return
        if volume >= full - 1e-12:  # all that is inside went in over the last part of the visit
            self.mixer = [[full, end - (end - begin) * full / volume]]
            return
        self.mixer.append([volume, begin])
        while volume > 1e-12:
            out = min(volume, self.mixer[0][0])
            self.mixer[0][0] -= out
            volume -= out
            if self.mixer[0][0] <= 1e-12:
                self.mixer.pop(0)

    def fill_mixer(self, at: float) -> float:
        """A new mixer is filled; what was in the old one is lost with it at the end."""
        if self.station.mixer_volume:
            at += self.draw(self.station.mixer_volume, "mixers", at)
            self.mixer = [[self.station.mixer_volume, at]]
            self.played.mixers += 1
        return at

    def oldest(self, inside: list[list[float]], shots: list[list[float]], begin: float) -> float:
        """Share of the pot life of the oldest drop that leaves in shots of [volume, from, to after begin]."""
        worst = self.pot.used(inside[0][1], begin) if inside else 0.0
        gone = 0.0
        for volume, entered in inside:
            gone += volume  # when so much is out, the last of these drops leaves
            passed, leaves = 0.0, shots[-1][2]
            for size, start, end in shots:
                if passed + size >= gone - 1e-9:
                    leaves = start + (end - start) * min((gone - passed) / size, 1.0) if size else end
                    break
                passed += size
            worst = max(worst, self.pot.used(entered, begin + leaves))
            if gone >= sum(size for size, *_ in shots) - 1e-9:
                break
        return worst

    def asks(self, shots: list[list[float]], at: float, replaced: float) -> tuple[bool, float, float]:
        """Whether the mixer must be purged or changed for a visit; its age at the start and by the end."""
        limit, full = self.station.purge_share, self.station.mixer_volume
        now, by_end = self.pot.used(self.mixer[0][1], at), self.oldest(self.mixer, shots, at)
        fresh = self.oldest([[full, at]], shots, at)
        helps = fresh < limit and replaced < full - 1e-9
        return now >= limit or (by_end >= limit and helps), now, by_end

    def too_late(self, at: float) -> bool:
        """Whether what stands in the mixer has gelled before a purge from then on is done."""
        return self.pot.used(self.mixer[0][1], at + self.station.purge_time) >= 1.0

    def put_on_told(self, by: float) -> None:
        """The mixer in use was put on then, not when the rule would have it."""
        if self.pending is not None and self.pending <= by:
            self.fill_mixer(self.pending)
            self.pending, self.is_told = None, True

    def freshen(self, shots: list[list[float]], at: float, behind: str) -> float:
        """Purge or change until what leaves in the visit is within its share."""
        if self.pot is None:
            return at
        station, played, replaced = self.station, self.played, 0.0
        if self.is_told and (station.rule == "change mixer" or self.too_late(at)):
            return at
        helps = self.oldest([[station.mixer_volume, at]], shots, at) < station.purge_share
        while True:
            asked, share, by_end = self.asks(shots, at, replaced if helps else math.inf)
            if not asked:
                return at
            facts = {"share": share, "by_end": by_end, "after": behind}
            facts["reached"] = self.pot.when(self.mixer[0][1], station.purge_share)
            played.between += not behind
            late = self.too_late(at)
            if late or station.rule == "change mixer":
                self.tell(Event(at, "mixer", volume=station.mixer_volume, facts={**facts, "over": late}))
                at = self.fill_mixer(at + station.mixer_time)
                replaced += station.mixer_volume
            else:
                at = self.purge(at, facts)
                replaced += station.purge_volume or station.mixer_volume

    def purge(self, at: float, facts: dict[str, Any]) -> float:
        """One purge."""
        station, volume = self.station, self.station.purge_volume or self.station.mixer_volume
        self.tell(Event(at, "purge", volume=volume, facts=facts))
        end = at + station.purge_time + self.draw(volume, "purge", at, station.purge_time)
        self.push(volume, at, end)
        self.played.purges += 1
        return end

    def lasts(self) -> float:
        """Until when the oldest in the mixer is within its share."""
        return self.pot.when(self.mixer[0][1], self.station.purge_share)

    def try_purges(self, at: float, count: int) -> float:
        """Purges in a row, of which nothing is drawn; when they are done."""
        for _ in range(count):
            self.push(
                self.station.purge_volume or self.station.mixer_volume, at, at + self.station.purge_time
            )
            at += self.station.purge_time
        return at

    def purges_in_time(self, since: float, begin: float, most: int) -> list[float]:
        """When to purge, nobody being there in a break, so that the share is kept; none where it cannot."""
        hours, wide, times, after = self.played.hours, self.station.purge_time, [], since
        while (due := max(self.lasts(), after)) < begin:
            at, count = hours.fit(due, wide), 1
            if at is None or at > due:  # in a break: before it, as many as make it last to its end
                needed, before = begin if at is None else min(at, begin), [list(item) for item in self.mixer]
                for count in range(1, most + 1):
                    at, self.mixer = hours.fit_before(due, count * wide), [list(item) for item in before]
                    if at is None or at < after - 1e-6:
                        return []
                    self.try_purges(at, count)
                    if self.lasts() >= needed:
                        break
                else:
                    return []
                at, self.mixer = max(at, after), before
            times += [at + turn * wide for turn in range(count)]
            after = self.try_purges(at, count)
        return times

    def no_part(self, begin: float, shots: list[list[float]]) -> dict[str, Any] | None:
        """What is done while no part comes until then, where the mixer would reach its share."""
        station, since = self.station, max(self.used, self.played.hours.start)
        if self.pot is None or not self.mixer or begin <= since or self.is_told:
            return None
        limit, gelled = self.lasts(), self.pot.when(self.mixer[0][1], 1.0)
        if limit >= begin - 1e-6 or gelled <= since:
            return None
        volume = station.purge_volume or station.mixer_volume
        most = max(1, math.ceil(station.mixer_volume / volume - 1e-9))
        kept = [list(item) for item in self.mixer]
        times = self.purges_in_time(since, begin, most)
        count, extra = len(times), 0.0
        if times:
            extra = max(times[-1] + station.purge_time - begin, 0.0)
            renewed = 0.0  # the part may last so long that it asks for more
            if self.oldest([[station.mixer_volume, begin]], shots, begin) >= station.purge_share:
                renewed = math.inf
            while self.asks(shots, begin + extra, renewed)[0]:
                extra = self.try_purges(begin + extra, 1) - begin
                count, renewed = count + 1, renewed + volume
        self.mixer = kept
        long = not times or count > most or gelled <= begin
        # where it is not purged it is off when its share is reached, before it hardens on the outlets
        changed = not long and station.rule == "change mixer"
        lasts_in_work = self.played.hours.fit_before(limit, 0.0)  # nobody takes it off in a break
        purging = (count * volume, count * station.purge_time)
        fitting = (station.mixer_volume, station.mixer_time)
        off = changed or not times
        if times and long and station.idle != "purge":
            off = station.idle == "take off" or fitting <= purging
        return {
            "since": since,
            "until": begin,
            "limit": limit,
            "times": times,
            "count": count,
            "volume": volume,
            "every": self.pot.when(since, station.purge_share) - since,
            "long": long,
            "off": off,
            "off_at": max(lasts_in_work or since, since) if changed else since,
            "changed": changed,
            "fitting": fitting,
            "purging": purging,
            "extra": station.mixer_time if off else extra,
        }

    def wait(self, idle: dict[str, Any] | None, begin: float, behind: str) -> float:
        """No part until then: purge, or take the mixer off and put on another."""
        if idle is None:
            return begin
        if not idle["off"]:
            for at in idle["times"]:
                self.played.between += not behind
                less = idle["fitting"][0] < idle["purging"][0] and idle["fitting"][1] <= idle["purging"][1]
                dear = less and not idle["long"] and self.station.idle != "purge"
                facts = {"idle": idle, "after": "", "dear": dear and not self.is_dear}
                self.is_dear |= dear  # told once
                begin = max(begin, self.purge(at, facts))
            return begin
        self.tell(Event(idle["off_at"], "off", facts={"idle": idle}))
        self.played.between += not behind
        new = {"after": behind, "new": True}
        self.tell(Event(begin, "mixer", volume=self.station.mixer_volume, facts=new))
        return self.fill_mixer(begin + self.station.mixer_time)

    def behind(self, begin: float) -> str:
        """The break or stop since the nozzle was used."""
        pauses = [(a, b) for a, b in self.played.hours.breaks if self.used <= a + 1e-6 and begin >= b - 1e-6]
        return self.pause(*pauses[0]) if pauses else ""

    # ------------------------------------------------------------------------------ the shift

    def play(self) -> Played:
        """From the first purge to the last shot."""
        played, station, hours = self.played, self.station, self.played.hours
        for letter in played.parts:
            played.used[letter] = dict.fromkeys(USES, 0.0)
            played.mounted[letter] = 0.0
            played.containers[letter] = 0
        played.last = self.following is None
        played.taken_over = self.stands(self.stretch.goes_on)
        self.begin()
        played.since = self.stretch.start
        played.fed = bool(self.feed) and all(job.part in self.feed.fed for job in played.jobs)
        if self.feed:
            for nozzle, until in zip(self.nozzles, self.feed.held, strict=False):
                nozzle.free = max(until, hours.start)
                nozzle.blocked += hours.worked(min(nozzle.free, hours.end)) - hours.worked(hours.start)
        if not played.fed:
            self.start(hours.start)
        self.visits(hours.start)
        self.end()
        for a, b in hours.breaks:
            if a < played.run_end:
                played.events.append(Event(a, self.pause(a, b), facts={"until": b}))
        for letter, component in played.parts.items():
            standing = self.store.standing.get((station.station, letter))
            hose = self.store.hoses.get((station.station, letter), 0.0)
            played.left[letter] = standing.usable if standing else 0.0
            played.closing[letter] = hose + (standing.usable + standing.heel if standing else 0.0)
            played.closing[letter] += self.kept(letter)
            played.used[letter]["mixers"] -= self.kept(letter)
            for lot in self.store.lots.get((component.material, letter), []):
                if lot.left > 1e-9 and lot.last_day(component.open_life) < played.day:
                    played.expired_lots.append((letter, lot, lot.last_day(component.open_life)))
        played.next_lots = {(row[0], row[3]): self.next_lot(row[0], row[3]) for row in played.past}
        played.expired_lots = [
            (letter, Lot(lot.name, lot.left, lot.expiry, lot.opened, lot.arrival), last)
            for letter, lot, last in played.expired_lots
        ]
        for part, (first, shot) in self.vain.items():
            played.events.append(Event(first, "hold", facts={"part": part, "since": first, "shot": shot}))
        # of one time (to the millisecond) what is connected stands before what is done with it
        ready = ("expired", "short", "container")
        played.events.sort(key=lambda event: (round(event.at, 3), event.kind not in ready))
        played.handed_over = self.stands()
        return played

    def kept(self, letter: str) -> float:
        """What of a component stands in mixers that wait for the next start."""
        count = sum(name == self.station.station for name, _ in self.store.mixers)
        return count * self.station.mixer_volume * self.played.shares[letter]

    def start(self, at: float) -> None:
        """Each nozzle gets a mixer, or goes on with one that was kept closed; the first purge."""
        played, station = self.played, self.station
        self.on_since = at
        for nozzle in self.nozzles:
            self.nozzle = nozzle
            self.used = at
            kept = self.store.mixers.pop((station.station, self.nozzle.number), None)
            facts: dict[str, Any] = {"kept": None, "first": at <= played.hours.start}
            volume = station.start_volume
            if kept is not None:
                self.mixer = [[volume, at - (played.day - kept[0]).days * DAY] for volume, at in kept[1]]
                facts["kept"] = self.pot is None or self.pot.used(self.mixer[0][1], at) < station.purge_share
                facts["good"] = self.pot and self.pot.when(self.mixer[0][1], station.purge_share)
            if self.stretch.goes_on:
                facts, volume = {"kept": None, "done": self.stretch.skip}, 0.0
                self.used = self.mixer[-1][1] if self.mixer else at
            elif not facts["kept"]:
                self.mixer = []
            self.tell(Event(at, "start", volume=volume, facts=facts))
            if not self.mixer:
                self.fill_mixer(at)
            if volume:
                self.draw(volume, "start", at)
                self.push(volume, at, at)

    def end(self) -> None:
        """Mixers off or closed, pots emptied."""
        played, station, hours = self.played, self.station, self.played.hours
        played.run_end = hours.start
        if self.on_since is None:
            return
        # what is drawn at the end of each comes out of the containers in the order of the clock
        for nozzle in sorted(self.nozzles, key=lambda one: one.used if one.free == math.inf else one.free):
            self.nozzle = nozzle
            self.put_on_told(hours.end)
            end = self.used if self.free == math.inf else max(self.free, self.on_since)
            facts: dict[str, Any] = {"last": self.stretch.end is None}
            closed = bool(station.mixer_volume) and (station.after_run == "keep closed" or not facts["last"])
            if closed:
                good = self.pot and self.pot.when(self.mixer[0][1], station.purge_share)
                next_start = math.inf if self.following is None else self.following.at(0.0)
                if good and facts["last"] and good <= next_start:
                    closed = (
                        False  # its life is over before a next shift could go on with it, or none follows
                    )
                else:
                    self.store.mixers[station.station, self.nozzle.number] = (played.day, self.mixer)
                    facts["good"] = good
            facts["closed"] = closed
            volume = station.end_volume if facts["last"] else 0.0
            if volume:
                self.draw(volume, "end", end)
            self.tell(Event(end, "end", volume=volume, facts=facts))
            played.run_end = max(played.run_end, end)

    def stands(self, in_use: bool = False) -> list[dict[str, Any]]:
        """What is at the station between two shifts, or now: parts, a mixer closed or in use, containers."""
        name, day, found = self.station.station, self.played.day, []
        for items, sort in ((self.store.half_done, "half done"), (self.store.to_mate, "to be mated")):
            groups: dict[tuple, list[Waiting]] = {}
            for item in items.get(name, []):
                groups.setdefault((item.part, item.origin, item.turn), []).append(item.on(day))
            for (part, origin, turn), group in groups.items():
                latest = [item.latest for item in group if item.latest is not None]
                if sort == "half done" and self.open is not None:
                    latest = [self.open.when(item.begun) for item in group]
                facts = {"part": part, "origin": "" if origin == self.origin else origin, "turn": turn}
                facts |= {"serials": [item.serial for item in group], "latest": min(latest, default=None)}
                found.append({"sort": sort, "due": min(item.due for item in group), **facts})
        passing: dict[tuple, list[Passing]] = {}
        for item in self.store.between.get(name, []):
            passing.setdefault((item.key[0], item.key[2], item.before), []).append(item.on(day))
        for (part, origin, before), group in passing.items():
            facts = {"part": part, "origin": "" if origin == self.origin else origin, "before": before}
            facts |= {"serials": [item.key[1] for item in group], "latest": None}
            found.append({"sort": "in process", "due": min(item.ready for item in group), **facts})
        for nozzle in self.nozzles:
            if (name, nozzle.number) in self.store.mixers:
                since, inside = self.store.mixers[name, nozzle.number]
                entered = inside[0][1] - (day - since).days * DAY
                good = self.pot and self.pot.when(entered, self.station.purge_share)
                state = " in use, as reckoned" if in_use else ", closed"
                state = " in use, as told" if in_use and self.stretch.put_on is not None else state
                item = {"sort": "mixer", "state": state, "volume": self.station.mixer_volume}
                found.append({**item, "latest": good})
        for letter in self.played.parts:
            there = self.standing(letter)
            if there is not None and there.lot != "no stock":
                last = None if there.last_day == datetime.date.max else (there.last_day - day).days
                facts = {"volume": there.usable, "latest": None if last is None else (last + 1) * DAY - 60}
                found.append({"sort": "container", "letter": letter, "lot": there.lot, **facts})
        return found

    def begin(self) -> None:
        """What stands there; open too long is thrown away; hoses are filled."""
        played, store = self.played, self.store
        for letter in played.parts:
            key = (self.station.station, letter)
            standing = store.standing.get(key)
            if standing is not None and standing.lot == "no stock" and self.has_come(letter):
                standing = None  # nobody waits with a delivery until what never came is used up
                del store.standing[key]
            there = standing.usable + standing.heel if standing else 0.0
            played.opening[letter] = there + store.hoses.get(key, 0.0) + self.kept(letter)
            played.used[letter]["mixers"] += self.kept(
                letter
            )  # lost with its mixer, unless that is kept again
            if standing is not None and standing.lot == "no stock" and standing.usable > 1e-9:
                played.owed[letter] = standing.usable
            if standing is not None and standing.last_day < played.day:
                played.used[letter]["expired"] += there
                del store.standing[key]
                played.events.append(
                    Event(
                        played.hours.start,
                        "expired",
                        letter,
                        standing.lot,
                        there,
                        {"last_day": standing.last_day},
                    )
                )
            hose = getattr(self.station, f"hose_{letter}")
            missing = hose - store.hoses.get(key, 0.0)
            if missing > 1e-9:
                self.take({letter: missing}, played.hours.start, 0.0)
                store.hoses[key] = hose

    # written to be read beside the description of a shift, step after step, not cut as the package cuts it
    def visits(self, start: float) -> None:  # noqa: C901
        """Everything that is due, in that order; a check before a part that is due with it."""
        played, station, hours, feed = self.played, self.station, self.played.hours, self.feed
        queue: list[tuple[float, int, int, Any]] = []
        firsts: dict[Key, float] = {}
        earliest: dict[Key, float] = {}  # of the next visit of a part
        taken = {(item.part, item.serial, item.origin) for item in self.taken}
        self.store.half_done.pop(station.station, None)
        waiting = [item.on(played.day) for item in self.store.to_mate.pop(station.station, [])]
        if later := [item for item in waiting if item.due > hours.end]:
            self.store.to_mate[station.station] = later  # not mated in this shift either
        for place, item in enumerate(self.taken):
            job = next(job for job in played.jobs if job.part == item.part)
            job.taken += 1
            job.resumed += item.origin == self.origin and not item.bad
            firsts[(item.part, item.serial, item.origin)] = item.begun
            earliest[(item.part, item.serial, item.origin)] = item.due
            what = (job, item.serial, item.bad, item.turn, item.origin, item.fate, None)
            queue.append((max(start, item.due), 1, place - len(self.taken), what))
        for number, (job, serial, bad, fate) in enumerate(self.works):
            queue.append((hours.at(number * played.takt), 1, number, (job, serial, bad, 0, "", fate, None)))
        for place, coming in enumerate(feed.comes if feed else []):
            job = next(job for job in played.jobs if job.part == coming.key[0])
            origin = "" if coming.key[2] == self.origin else coming.key[2]
            what = (job, coming.key[1], coming.bad, 0, origin, coming.fate, coming)
            queue.append((max(start, coming.due), 1, len(self.works) + place, what))
        volume = station.check_volume or max(s.volume for job in played.jobs for s in job.shots)
        played.check = weigh(volume * played.density, station.meter_tolerance)
        played.check_volume = played.check.count * volume
        if station.checks:
            for turn in range(math.ceil(hours.available * station.checks / 3600 - 1e-9)):
                queue.append((hours.at(turn * 3600 / station.checks), 0, turn, None))
        holds: set[tuple[str, float]] = set()  # told once of each part and break
        last_begun, owed = -math.inf, False  # of the parts from other stations; a check before the start
        while queue:
            queue.sort(key=lambda item: item[:3])
            self.nozzle = min(self.nozzles, key=lambda nozzle: nozzle.free)
            if self.free == math.inf:
                break  # no nozzle is free again in this shift
            due, _, number, what = queue.pop(0)
            free = self.free
            if self.on_since is None:
                if what is None:
                    owed = True
                    continue
                first = hours.fit(max(self.free, due), self.time(self.visit(*what)))
                if first is not None:
                    self.start(first)
                    self.nozzle = min(self.nozzles, key=lambda nozzle: nozzle.free)
                    if owed:
                        self.check_first(first)
            if what is None:
                if any(
                    hours.fit(max(self.free, at), self.time(self.visit(*rest))) is not None
                    for at, _, _, rest in queue
                    if rest
                ):
                    coming_ones = [rest[6] for _, _, _, rest in queue if rest and rest[6] and not rest[3]]
                    finished = None
                    if played.fed and len(coming_ones) == sum(rest is not None for *_, rest in queue):
                        finished = min(coming.finished for coming in coming_ones)
                    if number == 0:
                        self.check_first(due)
                        continue
                    if finished is not None:
                        self.starve(self.nozzle, self.free, due, finished)  # the check stands in between
                    self.check(due)
                continue
            job, serial, bad, turn, origin, fate, coming = what
            visit = self.visit(*what)
            if (job.part, serial, origin) in taken and self.open is not None:
                soonest = hours.fit(max(self.free, due), self.time(visit))
                soonest = hours.end if soonest is None else soonest + self.time(visit)
                latest = self.open.when(firsts[(job.part, serial, origin)])
                if soonest > latest + 1e-6:
                    job.thrown += 1
                    played.thrown.append((job.part, serial, origin, latest, soonest))
                    continue
            self.put_on_told(max(self.free, due))
            arrives = coming is not None and turn == 0
            soonest = max(due, last_begun) if arrives else due  # first come, first served
            if turn == 0 and (pause := self.outlasted_by(soonest, job)) is not None:
                if (job.part, pause) not in holds:
                    holds.add((job.part, pause))
                    when = hours.fit(max(self.free, soonest), self.time(visit))
                    facts = {"part": job.part, "until": pause}
                    facts["pause"] = next(self.pause(a, b) for a, b in hours.breaks if b == pause)
                    played.events.append(Event(when, "hold", facts=facts))
                queue.append((pause, 1, number, what))  # nobody begins a part that cannot wait out a break
                continue
            begin = self.ready(soonest, visit)
            if begin is None:
                if turn:
                    self.leave_half_done(what, due, firsts[(job.part, serial, origin)])
                continue
            if arrives:
                last_begun = played.begins[coming.key] = begin
                self.starve(self.nozzle, free, coming.due, coming.finished)
            at = begin
            for shot in visit:
                self.on_part = job.part, serial
                stood = self.draw(shot.volume, "scrap" if bad else "parts", at, shot.seconds)
                self.push(shot.volume, at, at + shot.seconds + stood)
                at += shot.seconds + stood
            self.free = self.used = ended = at + station.handling_time
            played.busy += ended - begin
            first = firsts.setdefault((job.part, serial, origin), begin)
            if turn:
                played.later.append((job.part, serial, turn, origin, earliest[(job.part, serial, origin)]))
            if not bad:
                job.visits[turn] = job.visits.get(turn, 0) + 1
            if turn == 0:
                job.begun += 1
                if played.material.surface_window:
                    came = hours.worked(coming.due) if arrives else number * played.takt
                    treated = hours.at(came - station.treatment_lead)
                    played.surfaces.append(
                        (job.part, serial, treated + played.material.surface_window, begin)
                    )
            following = self.visit(job, serial, bad, turn + 1)
            if following:
                what = (job, serial, bad, turn + 1, origin, fate, coming)
                earliest[(job.part, serial, origin)] = ended + following[0].wait
                queue.append((ended + following[0].wait, 1, number, what))
                continue
            job.lost += bad
            job.finished += not bad
            is_other = (job.part, serial, origin) in taken and origin != self.origin
            job.taken_good += is_other and not bad
            if self.open is not None:
                planned, leaves = self.mating(first, ended)
                known = job.part, serial, "" if origin == self.origin else origin
                played.mates[known] = (self.open.when(first), planned)
                played.mate_order.append(known)
                played.ends[job.part, serial, self.open.when(first)] = ended
                if leaves:
                    waits = Waiting(played.day, origin or self.origin, job.part, serial, planned, first)
                    waits.latest = self.open.when(first)
                    self.store.to_mate.setdefault(station.station, []).append(waits)
            self.batch(job.part, serial, origin, first, ended)
            if feed and job.part in feed.passing and not bad:
                self.stands_in_the_way((job.part, serial, origin or self.origin), fate, ended)
        for due, _, _, what in queue:
            if what is not None and what[3]:
                self.leave_half_done(what, due, firsts[(what[0].part, what[1], what[4])])
        self.idle_till_the_end()

    def leave_half_done(self, what: tuple[Any, ...], due: float, first: float) -> None:
        """What cannot go on in this shift is left to the next, which may go on when it is due."""
        job, serial, bad, turn, origin, fate, _ = what
        job.carried += 1
        waits = Waiting(self.played.day, origin or self.origin, job.part, serial, due, first, bad, turn)
        waits.fate = fate
        is_own = (job.part, serial, origin) not in [(one.part, one.serial, one.origin) for one in self.taken]
        if is_own and self.following is None and self.stretch.end is None:
            shot = self.visit(job, serial, bad, turn)[0].number
            self.vain[job.part] = min(self.vain.get(job.part, (math.inf, 0)), (first, shot))
        self.store.half_done.setdefault(self.station.station, []).append(waits)

    def stands_in_the_way(self, key: Key, fate: int, ended: float) -> None:
        """A finished part holds its nozzle until there is room for it."""
        hours = self.played.hours
        self.played.finishes.append((ended, key, fate))
        self.free = self.feed.leaves.get(key, ended)
        self.nozzle.blocked += hours.worked(min(self.free, hours.end)) - hours.worked(ended)

    def starve(self, nozzle: Nozzle, since: float, until: float, finished: float) -> None:
        """Working time without a part that may go on; of it in cure, from when the next one is finished."""
        hours = self.played.hours
        until = min(max(until, hours.start), hours.end)
        nozzle.starved += max(hours.worked(until) - hours.worked(since), 0.0)
        cures = max(since, finished, hours.start)
        nozzle.cures += max(hours.worked(until) - hours.worked(cures), 0.0)

    def idle_till_the_end(self) -> None:
        """Working time without a part until the end of the shift, where parts are missing."""
        played, hours = self.played, self.played.hours
        missing = self.feed and any(
            job.part in self.feed.fed and job.begun < job.started for job in played.jobs
        )
        waiting = (
            [coming for coming in self.feed.comes if coming.key not in played.begins] if self.feed else []
        )
        following = min(waiting, key=lambda coming: coming.due, default=None)
        for nozzle in self.nozzles:
            if nozzle.free == math.inf:
                continue
            if following is not None:
                self.starve(nozzle, nozzle.free, following.due, following.finished)
            elif missing:
                self.starve(nozzle, nozzle.free, hours.end, math.inf)
        played.starved = sum(nozzle.starved for nozzle in self.nozzles) / len(self.nozzles)
        played.cures = sum(nozzle.cures for nozzle in self.nozzles) / len(self.nozzles)
        played.blocked = sum(nozzle.blocked for nozzle in self.nozzles) / len(self.nozzles)

    def mating(self, first: float, ended: float, may_stay: bool = True) -> tuple[float, bool]:
        """When a part is mated, and whether that is after what is played: in the next shift, or the rest."""
        whole = self.whole
        planned, stays = self.mated(ended), whole.at(whole.worked(ended) + self.station.mating_delay)
        # a crew stays a quarter of an hour for a part that would be lost till the morning
        if planned > self.open.when(first) >= stays and stays <= whole.end + 900:
            return stays, self.stretch.end is not None and stays > self.stretch.end
        at_once = ended + self.station.mating_delay  # into a break, just as long
        into = [a for a, b in whole.breaks if ended <= a < at_once <= a + 900][:1]
        if planned > self.open.when(first) >= at_once and into and may_stay:
            return at_once, self.stretch.end is not None and at_once > self.stretch.end
        return planned, planned > self.played.hours.end

    def spare(self, due: float, job: Job) -> tuple[float, float]:
        """When a part would be begun, nothing else in its way, and what is left of its open time."""
        first, at, turn = 0.0, max(self.free, due), 0
        while visit := self.visit(job, 0, False, turn):
            begin = self.played.hours.fit(at + (visit[0].wait if turn else 0.0), self.time(visit))
            if begin is None:
                return math.inf, 0.0  # not in this shift: the next begins it
            first, at, turn = first if turn else begin, begin + self.time(visit), turn + 1
        return first, self.open.when(first) - self.mating(first, at, may_stay=False)[0]

    def outlasted_by(self, due: float, job: Job) -> float | None:
        """The end of a break that is too long for the open part, if after it all is well."""
        if self.open is None:
            return None
        begin, spare = self.spare(due, job)
        if begin == math.inf or spare >= -1e-6:
            return None
        for a, b in sorted(self.played.hours.breaks):
            if begin < a < self.open.when(begin) and self.spare(b, job)[1] >= -1e-6:
                return b
        return None

    def mated(self, ended: float) -> float:
        """After the mating delay in working time, which goes on in the plan's next shift."""
        whole = self.whole
        over = whole.worked(ended) + self.station.mating_delay - whole.available
        if self.following is None or over <= 0 or ended >= whole.end:
            return whole.at(whole.worked(ended) + self.station.mating_delay)
        return max(self.following.at(over), whole.end)

    @staticmethod
    def visit(job: Job, serial: int, bad: bool, turn: int, *_: Any) -> list[amounts.Shot]:
        """The shots of one visit; none after the last."""
        starts = [place for place, shot in enumerate(job.shots) if shot.wait or not place]
        edges = [*starts, len(job.shots), len(job.shots)]
        return job.shots[edges[turn] : edges[turn + 1]] if turn < len(starts) else []

    def time(self, visit: list[amounts.Shot]) -> float:
        """At the nozzle, nothing running empty."""
        return sum(shot.seconds for shot in visit) + self.station.handling_time

    def leaving(self, visit: list[amounts.Shot]) -> list[list[float]]:
        """[volume, from, to] of what will leave the nozzle, with the stops for containers that run empty."""
        stops: list[tuple[int, float]] = []
        for letter, share in self.played.shares.items():
            component, there = self.played.parts[letter], self.standing(letter)
            whole = component.container * (1 - component.heel)
            left = there.usable if there else whole
            for place, shot in enumerate(visit):
                need = shot.volume * share
                while need > left + 1e-7:
                    need -= left
                    left = whole
                    stops.append((place, 1 - need / (shot.volume * share)))
                left -= need
        found: list[list[float]] = []
        at = 0.0
        for place, shot in enumerate(visit):
            done = 0.0
            for share in [*sorted(s for p, s in stops if p == place), 1.0]:
                wide = shot.seconds * (share - done)
                found.append([shot.volume * (share - done), at, at + wide])
                at += wide + (self.station.container_time if share < 1.0 else 0.0)
                done = share
        return found

    def ready(self, due: float, visit: list[amounts.Shot]) -> float | None:
        """Containers first, as soon as the nozzle is free; then the purge; then the part."""
        hours, station = self.played.hours, self.station
        begin = hours.fit(max(self.free, due), self.time(visit))
        while begin is not None:
            letters = self.too_little(visit)
            if letters:
                wide = station.container_time * len(letters)
                at = hours.fit(self.free, wide)
                begin = None if at is None else hours.fit(max(at + wide, due), self.time(visit))
                if begin is None:
                    return None
                for letter in letters:
                    self.change(letter, self.standing(letter), at, self.standing(letter).usable)
                    at += station.container_time
                self.free = at
            shots = self.leaving(visit)
            wide = self.time(visit) + shots[-1][2] - sum(shot.seconds for shot in visit)
            begin = hours.fit(begin, wide)
            if begin is None:
                return None
            idle = None
            while self.pot is not None and self.mixer:
                idle, extra = self.no_part(begin, shots), 0.0
                if idle is not None:
                    extra = idle["extra"]
                elif self.asks(shots, begin, 0.0)[0]:
                    new = self.too_late(begin) or station.rule == "change mixer"
                    extra = station.mixer_time if new else station.purge_time
                later = hours.fit(begin, wide + extra)
                if later is None:
                    return None
                if later == begin:
                    break
                begin = later  # and so no part comes for longer
            after = self.behind(begin)
            fresh = self.freshen(shots, self.wait(idle, begin, after), after)
            if fresh == begin and not self.too_little(visit):
                if self.pot is not None:
                    by_end = self.oldest(self.mixer, shots, begin)
                    if by_end >= station.purge_share:
                        self.played.overlong.append((begin, by_end))
                        if self.is_told and self.stretch.end is not None:
                            self.played.aged.append((begin, by_end))
                return begin
            self.free = self.used = fresh
            begin = hours.fit(fresh, self.time(visit))
        return None

    def too_little(self, visit: list[amounts.Shot]) -> list[str]:
        """Components whose container cannot finish the part, and could have when it was put on."""
        found = []
        for letter, share in self.played.shares.items():
            need, there = sum(shot.volume for shot in visit) * share, self.standing(letter)
            if there is None or there.usable >= need - 1e-7:
                continue
            could = there.whole >= need - 1e-7 and self.station.refill == "between parts"
            if there.usable < 1e-7 or could:
                found.append(letter)
        return found

    def batch(self, part: str, serial: int, origin: str, begun: float, ended: float) -> None:
        """Onto the cure board."""
        batches, own = self.played.batches, "" if origin == self.origin else origin
        key = (part, own, (serial - 1) // self.station.batch)
        mine = next((b for b in batches if (b.part, b.origin, b.group) == key), None)
        if mine is None:
            mine, before = Batch(part, key[2], own), self.stretch.boards
            news = sum((b.part, b.origin, b.group) not in before for b in batches)
            mine.number = before.index(key) + 1 if key in before else len(before) + news + 1
            batches.append(mine)
        mine.serials.append(serial)
        mine.tracks.append((begun, ended))

    def check_first(self, due: float) -> None:
        """The first check of a run is of each nozzle that is free."""
        for nozzle in self.nozzles:
            if nozzle.free <= due:
                self.nozzle = nozzle
                self.check(due)
        self.nozzle = min(self.nozzles, key=lambda nozzle: nozzle.free)

    def check(self, due: float) -> None:
        """A check shot."""
        played, station = self.played, self.station
        begin = played.hours.fit(max(self.free, due), 0.0)
        if begin is None:
            return
        wide = played.check_volume / station.flow if station.flow else 0.0
        shots = [[played.check_volume, 0.0, wide]]
        after = self.behind(begin)
        begin = self.freshen(shots, self.wait(self.no_part(begin, shots), begin, after), after)
        end = begin + wide + self.draw(played.check_volume, "checks", begin, wide)
        self.push(played.check_volume, begin, end)
        played.checks += 1
        self.tell(Event(begin, "check", volume=played.check_volume))
        self.free = self.used = end
