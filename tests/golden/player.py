"""One station through one shift in clock time, by the rules of the planner's docs; own code.

The rules: parts come at the takt (or evenly over the working time); a visit that a break or the end of
the shift would cut waits; the oldest material in the mixer sets its age, plug flow; at the share of the
pot life a purge or, past the pot life or where the plan says so, a new mixer; components run empty at
their own times, the heel of a container is lost when it is changed; lots leave first-expired first-out;
a wait between shots makes a visit of its own; scrap is spread evenly; check shots come at their rate.
Volumes in mL as plain numbers: the planner counts whole nanolitres, a millionth of a millilitre.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field
from typing import Any

from . import amounts, weather
from . import handbook as hb
from .reading import Plant, clock
from .weather import DAY
from .weighing import weigh

USES = ("parts", "scrap", "start", "end", "purge", "mixers", "checks", "heel", "expired")


class Hours:
    """Working time of a shift."""

    def __init__(self, plant: Plant, shift: str):
        row = next(row for row in plant.shifts if row.shift == shift)
        self.start, self.end = clock(row.start), clock(row.end)
        self.breaks = sorted((clock(b.start), clock(b.end)) for b in plant.breaks if b.shift == shift)
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
class Standing:
    """A container at a station."""

    lot: str
    usable: float
    heel: float
    last_day: datetime.date


@dataclass
class Store:
    """Lots, containers at stations, hoses: carried from shift to shift."""

    lots: dict[tuple[str, str], list[Lot]] = field(default_factory=dict)
    standing: dict[tuple[str, str], Standing] = field(default_factory=dict)
    hoses: dict[tuple[str, str], float] = field(default_factory=dict)


@dataclass
class Event:
    """Something at a clock time."""

    at: float
    kind: str
    letter: str = ""
    lot: str = ""
    volume: float = 0.0
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass
class Batch:
    """Parts together on the cure board; `tracks` are (begun, ended) of each part."""

    part: str
    group: int
    serials: list[int] = field(default_factory=list)
    tracks: list[tuple[float, float]] = field(default_factory=list)


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
    lots: list[dict[str, Any]] = field(default_factory=list)
    expired_lots: list[tuple[str, Lot, datetime.date]] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    surfaces: list[tuple[str, int, float, float]] = field(default_factory=list)  # part, no., latest, begun
    mates: dict[tuple[str, int], tuple[float, float]] = field(default_factory=dict)  # latest, planned
    mate_order: list[tuple[str, int]] = field(default_factory=list)
    unreached: dict[str, list[str]] = field(default_factory=dict)  # cure times that an oven does not give
    purges: int = 0
    mixers: int = 0
    between: int = 0
    checks: int = 0
    check_volume: float = 0.0
    check: Any = None  # how it is weighed
    busy: float = 0.0

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


class Shift:
    """Plays."""

    def __init__(self, plant: Plant, day: datetime.date, shift: str, station: Any, store: Store):
        self.plant, self.store, self.station = plant, store, station
        material = plant.material(station.material)
        hours = Hours(plant, shift)
        jobs = []
        for part, good in plant.builds_of(day, shift).items():
            mine = [shot for shot in amounts.shots_of(plant, part) if shot.station == station.station]
            if mine and good:
                jobs.append(Job(part, good, math.ceil(good / (1 - station.scrap) - 1e-9), mine))
        started = sum(job.started for job in jobs)
        takt = station.takt or (hours.available / started if started else math.inf)
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
        self.mixer: list[list[float]] = []  # [volume, clock time it went in], oldest first
        self.delay = 0.0

    # ------------------------------------------------------------------------------ material

    def draw(self, volume: float, use: str, at: float, wide: float = 0.0) -> None:
        """Mixed material from the containers."""
        for letter, share in self.played.shares.items():
            self.take(letter, volume * share, at, wide)
            self.played.used[letter][use] += volume * share

    def take(self, letter: str, volume: float, at: float, wide: float) -> None:
        """From the container that stands there; the next one where it is empty."""
        key = (self.station.station, letter)
        need = volume
        while need > 1e-9:
            standing = self.store.standing.get(key)
            if standing is None or standing.usable <= 1e-9:
                standing = self.change(letter, standing, at + wide * (volume - need) / volume)
            part = min(need, standing.usable)
            standing.usable -= part
            need -= part

    def change(self, letter: str, old: Standing | None, at: float) -> Standing:
        """The heel of the old one is lost; the next lot that expires first is put on."""
        played, component = self.played, self.played.parts[letter]
        if old is not None:
            played.used[letter]["heel"] += old.heel
            self.delay += self.station.container_time
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
        if component.open_life is not None and (lot is None or lot.opened is None):
            keeps = datetime.timedelta(days=math.floor(component.open_life / DAY))
            last = min(last, played.day + keeps)
        new = Standing(name, content - heel, heel, last)
        self.store.standing[(self.station.station, letter)] = new
        if lot is not None:  # what is missing is not put on; the line goes on as if it were
            before = old.lot if old and old.lot != "no stock" else None
            played.events.append(Event(at, "container", letter, name, content, {"before": before}))
        return new

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

    def fill_mixer(self, at: float) -> None:
        """A new mixer is filled; what was in the old one is lost with it at the end."""
        if self.station.mixer_volume:
            self.draw(self.station.mixer_volume, "mixers", at)
            self.mixer = [[self.station.mixer_volume, at]]
            self.played.mixers += 1

    def freshen(self, at: float, after_break: bool) -> float:
        """Purge or change until the oldest material is within its share."""
        if self.pot is None:
            return at
        station, played = self.station, self.played
        while True:
            share = self.pot.used(self.mixer[0][1], at)
            if share < station.purge_share:
                return at
            reached = self.pot.when(self.mixer[0][1], station.purge_share)
            played.between += not after_break
            facts = {"share": share, "reached": reached, "after_break": after_break}
            if share >= 1.0 or station.rule == "change mixer":
                played.events.append(
                    Event(at, "mixer", volume=station.mixer_volume, facts={**facts, "over": share >= 1.0})
                )
                at += station.mixer_time
                self.fill_mixer(at)
            else:
                volume = station.purge_volume or station.mixer_volume
                played.events.append(Event(at, "purge", volume=volume, facts=facts))
                self.draw(volume, "purge", at, station.purge_time)
                self.push(volume, at, at + station.purge_time)
                at += station.purge_time
                played.purges += 1

    # ------------------------------------------------------------------------------ the shift

    def play(self) -> Played:
        """From the first purge to the last shot."""
        played, station, hours = self.played, self.station, self.played.hours
        for letter in played.parts:
            played.used[letter] = dict.fromkeys(USES, 0.0)
            played.mounted[letter] = 0.0
            played.containers[letter] = 0
        self.begin()
        start = hours.start
        played.events.append(Event(start, "start", volume=station.start_volume))
        self.fill_mixer(start)
        if station.start_volume:
            self.draw(station.start_volume, "start", start)
            self.push(station.start_volume, start, start)
        for a, b in hours.breaks:
            played.events.append(Event(a, "break", facts={"until": b}))
        free = self.visits(start)
        short = any(job.finished < job.good for job in played.jobs)
        end = hours.end if short else max(free, hours.end)
        if station.end_volume:
            self.draw(station.end_volume, "end", end)
        played.events.append(Event(end, "end", volume=station.end_volume))
        for letter, component in played.parts.items():
            standing = self.store.standing.get((station.station, letter))
            hose = self.store.hoses.get((station.station, letter), 0.0)
            played.left[letter] = standing.usable if standing else 0.0
            played.closing[letter] = hose + (standing.usable + standing.heel if standing else 0.0)
            for lot in self.store.lots.get((component.material, letter), []):
                if lot.left > 1e-9 and lot.last_day(component.open_life) < played.day:
                    played.expired_lots.append((letter, lot, lot.last_day(component.open_life)))
        played.expired_lots = [
            (letter, Lot(lot.name, lot.left, lot.expiry, lot.opened, lot.arrival), last)
            for letter, lot, last in played.expired_lots
        ]
        played.events.sort(key=lambda event: event.at)
        return played

    def begin(self) -> None:
        """What stands there; open too long is thrown away; hoses are filled."""
        played, store = self.played, self.store
        for letter in played.parts:
            key = (self.station.station, letter)
            standing = store.standing.get(key)
            there = standing.usable + standing.heel if standing else 0.0
            played.opening[letter] = there + store.hoses.get(key, 0.0)
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
                self.take(letter, missing, played.hours.start, 0.0)
                store.hoses[key] = hose

    # written to be read beside the description of a shift, step after step, not cut as the package cuts it
    def visits(self, start: float) -> float:  # noqa: C901
        """Everything that is due, in that order; a check before a part that is due with it."""
        played, station, hours = self.played, self.station, self.played.hours
        queue: list[tuple[float, int, int, Any]] = []
        number = 0
        for job in played.jobs:
            lost = job.started - job.good
            for place in range(job.started):
                bad = math.floor((place + 1) * lost / job.started) > math.floor(place * lost / job.started)
                queue.append((hours.at(number * played.takt), 1, number, (job, place + 1, bad, 0)))
                number += 1
        volume = station.check_volume or max(s.volume for job in played.jobs for s in job.shots)
        played.check = weigh(volume * played.density, station.meter_tolerance)
        played.check_volume = played.check.count * volume
        if station.checks:
            for turn in range(math.ceil(hours.available * station.checks / 3600 - 1e-9)):
                queue.append((hours.at(turn * 3600 / station.checks), 0, turn, None))
        free, tracks = start, {}
        while queue:
            queue.sort(key=lambda item: item[:3])
            due, _, number, what = queue.pop(0)
            if what is None:
                if any(item[3] for item in queue):
                    free = self.check(max(free, due))
                continue
            job, serial, bad, turn = what
            groups: list[list[amounts.Shot]] = []
            for shot in job.shots:
                if shot.wait or not groups:
                    groups.append([])
                groups[-1].append(shot)
            wide = sum(shot.seconds for shot in groups[turn]) + station.handling_time
            begin = hours.fit(max(free, due), wide)
            if begin is None:
                continue
            after = any(free <= a + 1e-6 and begin >= b - 1e-6 for a, b in hours.breaks)
            begin = hours.fit(self.freshen(begin, after), wide)
            if begin is None:
                continue
            at = begin
            for shot in groups[turn]:
                self.draw(shot.volume, "scrap" if bad else "parts", at, shot.seconds)
                self.push(shot.volume, at, at + shot.seconds)
                at += shot.seconds
            ended = begin + wide
            played.busy += wide
            free, self.delay = ended + self.delay, 0.0
            first = tracks.setdefault((job.part, serial), begin)
            if turn == 0:
                job.begun += 1
                if played.material.surface_window:
                    treated = hours.at(number * played.takt - station.treatment_lead)
                    played.surfaces.append(
                        (job.part, serial, treated + played.material.surface_window, begin)
                    )
            if turn + 1 < len(groups):
                queue.append((ended + groups[turn + 1][0].wait, 1, number, (job, serial, bad, turn + 1)))
                continue
            job.lost += bad
            job.finished += not bad
            if self.open is not None:
                planned = hours.at(hours.worked(ended) + station.mating_delay)
                played.mates[(job.part, serial)] = (self.open.when(first), planned)
                played.mate_order.append((job.part, serial))
            self.batch(job.part, serial, first, ended)
        return free

    def batch(self, part: str, serial: int, begun: float, ended: float) -> None:
        """Onto the cure board."""
        batches, group = self.played.batches, (serial - 1) // self.station.batch
        mine = next((batch for batch in batches if (batch.part, batch.group) == (part, group)), None)
        if mine is None:
            mine = Batch(part, group)
            batches.append(mine)
        mine.serials.append(serial)
        mine.tracks.append((begun, ended))

    def check(self, due: float) -> float:
        """A check shot."""
        played, station = self.played, self.station
        begin = played.hours.fit(due, 0.0)
        if begin is None:
            return due
        begin = self.freshen(begin, False)
        wide = played.check_volume / station.flow if station.flow else 0.0
        self.draw(played.check_volume, "checks", begin, wide)
        self.push(played.check_volume, begin, begin + wide)
        played.checks += 1
        played.events.append(Event(begin, "check", volume=played.check_volume))
        free, self.delay = begin + wide + self.delay, 0.0
        return free


def play(plant: Plant) -> list[Played]:
    """Every shift and station with parts, in order of time."""
    store, found = open_store(plant), []
    for day, shift in plant.days():
        for station in plant.stations:
            player = Shift(plant, day, shift, station, store)
            if player.played.jobs:
                found.append(player.play())
    return found
