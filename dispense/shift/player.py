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
from collections import deque
from collections.abc import Iterable, Iterator
from typing import Any

from ..base.clock import hhmm
from ..base.errors import NUM, InputError, Problem
from ..base.findings import NOTE, QUALITY, SHORTAGE, STOP, Finding
from ..base.numbers import EQUAL
from ..base.printed import counted
from ..base.units import DAY
from ..handbook.life import LifeClock
from ..plan.amounts import Application, applied_at, parts_started
from ..plan.materials import mix_shares, open_life, working_life
from ..plan.records import Plan
from ..plan.rows import Material, Station
from ..plan.weather import shop_record
from .calendar import SAME_TIME, Calendar, shift_takt
from .cure_times import cure_times
from .findings import batch_findings
from .results import CATEGORIES, Batch, Event, Job, LotUse, Mating, ShiftResult
from .store import NANO, NO_STOCK, Lot, Mounted, Store, hose_volume, mount, nanolitres

GELLED = 1.0  # share of the pot life at which the mixer is lost
MOST_CHANGES = 20_000  # purges and mixer changes of a shift, and containers of one component
MOST_BETWEEN = 2  # purges and mixer changes between parts that are not worth a warning


def _clocks(plan: Plan, station: Station, material: Material) -> dict[str, LifeClock | None]:
    """Clocks of pot life and open time along a station's temperature, kept with the plan."""
    cache: dict[tuple[str, str], dict[str, LifeClock | None]] = plan.kept("clocks")
    key = (station.station, material.material)
    if key not in cache:
        record = shop_record(plan, station)
        lives = {"pot": working_life(material), "open": open_life(material)}
        cache[key] = {name: life.clock(*record) if life else None for name, life in lives.items()}
    return cache[key]


# ----------------------------------------------------------------------------------------- player


class Player:
    """Plays one station through one shift and fills a `ShiftResult`."""

    def __init__(
        self,
        plan: Plan,
        date: datetime.date,
        shift: str,
        station: Station,
        builds: dict[str, int],
        store: Store,
    ) -> None:
        self.plan, self.store, self.station, self.date = plan, store, station, date
        material = plan.material(station.material)
        components = plan.components_of(material.material)
        calendar = Calendar.of(plan, shift)
        jobs = []
        for part, quantity in builds.items():
            mine = applied_at(plan, part, station)
            if mine and quantity > 0:
                jobs.append(Job(part, quantity, parts_started(quantity, station), mine))
        takt = shift_takt(plan, station, calendar, sum(job.started for job in jobs))
        self.result = ShiftResult(
            date,
            shift,
            station,
            material,
            components,
            calendar,
            takt,
            shop_record(plan, station),
            working_life(material),
            jobs,
        )
        self.shares = list(mix_shares(material, components).items())
        for letter in components:
            self.result.used[letter] = dict.fromkeys(CATEGORIES, 0)
            self.result.mounted[letter] = self.result.containers[letter] = 0
        clocks = _clocks(plan, station, material)
        self.pot_clock = clocks["pot"] if station.mixer_volume > 0.0 else None
        self.open_clock = clocks["open"]
        self.mixer_content = nanolitres(station.mixer_volume)
        self.mixer: deque[tuple[int, float]] = deque()  # [volume, clock time at which it went in]
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

    def _change(self, letter: str, old: Mounted[Lot] | None, clock: float) -> Mounted[Lot]:
        """Put on the next container of a component; the heel of the old one is lost."""
        result, component = self.result, self.result.components[letter]
        key = (self.station.station, letter)
        if old is not None:
            result.used[letter]["heel"] += old.heel
            self.delay += self.station.container_time
        while True:
            if result.containers[letter] >= MOST_CHANGES:
                raise InputError(
                    Problem(
                        self.plan.cell(component, "container"),
                        message=f"shift {result.shift} of "
                        f"{result.date} empties more than {MOST_CHANGES} containers of "
                        f"{self._words(letter)} at station {self.station.station}",
                        fix="check the container, its heel and the volumes of the station",
                        code=NUM,
                    )
                )
            found, content = self.store.take(component, self._day_of(clock))
            lot = found or Lot.missing(component)
            if found is None:
                content = nanolitres(component.container)
                result.missing[letter] = result.missing.get(letter, 0) + content
                result.events.append(
                    Event(
                        clock,
                        "short",
                        f"no usable {self._words(letter)} left in store: one "
                        f"container of {component.container * 1e6:.0f} mL is missing",
                        letter,
                        NO_STOCK,
                        content,
                    )
                )
            result.mounted[letter] += content
            result.containers[letter] += 1
            self._note_lot(letter, lot, content, clock, found is None)
            new = mount(lot, content, component, self.date)
            if new is not None:
                break
            result.used[letter]["heel"] += content  # a rest smaller than the heel gives nothing
        self.store.mounted[key] = new
        before = f", after lot {old.lot.lot}" if old is not None and old.lot.lot != NO_STOCK else ""
        if found is not None:
            result.events.append(
                Event(
                    clock,
                    "container",
                    f"connect {self._words(letter)} lot {lot.lot}{before}",
                    letter,
                    lot.lot,
                    content,
                )
            )
        return new

    def _day_of(self, clock: float) -> datetime.date:
        """The day of a clock time: a night shift goes on into the next."""
        return self.date + datetime.timedelta(days=int(max(clock, 0.0) // DAY))

    def _words(self, letter: str) -> str:
        name = self.result.material.material
        return f"{name} {letter.upper()}" if len(self.result.components) > 1 else name

    def _note_lot(self, letter: str, lot: Lot, content: int, clock: float, is_missing: bool) -> None:
        """Count a container to its lot."""
        for use in self.result.lots:
            if (use.component, use.lot, use.is_missing) == (letter, lot.lot, is_missing):
                use.containers += 1
                use.volume += content
                return
        last_day = lot.last_day(self.result.components[letter].open_life)
        day = None if last_day == datetime.date.max else last_day
        self.result.lots.append(LotUse(letter, lot.lot, day, 1, content, clock, is_missing))

    # -- mixer ------------------------------------------------------------------------------

    def push(self, volume: int, start: float, end: float) -> None:
        """Material goes through the mixer: the oldest leaves, new goes in."""
        content = self.mixer_content
        if content <= 0 or volume <= 0:
            return
        if volume >= content:
            entered = end - (end - start) * content / volume
            self.mixer = deque([(content, entered)])
            return
        rest = volume
        while rest > 0:
            oldest, entered = self.mixer[0]
            part = min(oldest, rest)
            rest -= part
            if part == oldest:
                self.mixer.popleft()
            else:
                self.mixer[0] = (oldest - part, entered)
        self.mixer.append((volume, start))

    def new_mixer(self, clock: float) -> None:
        """Throw the mixer away with what is in it and fill a new one."""
        if self.mixer_content <= 0:
            return
        self.draw(self.mixer_content, "mixers", clock)
        self.mixer = deque([(self.mixer_content, clock)])
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
            past = (
                f"{share:.0%} of pot life used, limit {station.purge_share:.0%} at {hhmm(reached, self.date)}"
            )
            if share >= GELLED or station.rule == "change mixer":
                reason = "pot life is over" if share >= GELLED else "limit reached"
                self.result.events.append(
                    Event(
                        clock, "mixer", f"change the mixer{why}: {reason} ({past})", volume=self.mixer_content
                    )
                )
                clock += station.mixer_time
                self.new_mixer(clock)  # filled when it is in place
            else:
                self.result.events.append(
                    Event(clock, "purge", f"purge {self.purge / 1e6:.1f} mL{why}: {past}", volume=self.purge)
                )
                self.draw(self.purge, "purge", clock, station.purge_time)
                self.push(self.purge, clock, clock + station.purge_time)
                clock += station.purge_time
                self.result.purges += 1
        raise InputError(
            Problem(
                self.plan.cell(station, "purge_share"),
                message=f"station {station.station}: material reaches its limit faster than a "
                f"{'purge' if station.rule == 'purge' else 'mixer change'} replaces it",
                fix="check pot life, temperatures, purge share, purge volume and times",
                code=NUM,
            )
        )

    # -- the shift --------------------------------------------------------------------------

    def play(self) -> ShiftResult:
        """Run the shift."""
        result, calendar, station = self.result, self.result.calendar, self.station
        self._open()
        if not result.jobs:
            self._close()
            return result
        start = calendar.start
        result.events.append(Event(start, "start", "start of shift", volume=nanolitres(station.start_volume)))
        self.new_mixer(start)
        self.draw(nanolitres(station.start_volume), "start", start)
        self.push(nanolitres(station.start_volume), start, start)
        for a, b in calendar.breaks:
            result.events.append(Event(a, "break", f"break until {hhmm(b, self.date)}"))
        free = self._visits(start)
        end = max(free, calendar.end) if not result.is_short else calendar.end
        self.draw(nanolitres(station.end_volume), "end", end)
        result.events.append(Event(end, "end", "end of shift", volume=nanolitres(station.end_volume)))
        self._close()
        self._warn()
        result.events.sort(key=lambda event: event.clock)
        return result

    def _open(self) -> None:
        """What stands at the station when the shift begins; what is too old is thrown away."""
        result, store = self.result, self.store
        for letter in result.components:
            key = (self.station.station, letter)
            hose = hose_volume(self.station, letter)
            container = store.mounted.get(key)
            standing = container.standing if container else 0
            result.opening[letter] = standing + store.hoses.get(key, 0)
            if container is not None and container.last_day < self.date and result.jobs:
                result.used[letter]["expired"] += standing
                del store.mounted[key]
                result.events.append(
                    Event(
                        result.calendar.start,
                        "expired",
                        f"throw away the open container of "
                        f"{self._words(letter)} lot {container.lot.lot}: last day was "
                        f"{container.last_day}",
                        letter,
                        container.lot.lot,
                        standing,
                    )
                )
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
            result.closing[letter] = result.hoses[letter] + (container.standing if container else 0)

    def _visits(self, start: float) -> float:
        """All parts and check shots, in the order in which they are due."""
        result, calendar, station = self.result, self.result.calendar, self.station
        queue: list[tuple[float, int, int, tuple[Any, ...]]] = []  # due, rank, number, what
        number = 0
        for number, (job, serial, is_scrap) in enumerate(self._started()):
            due = calendar.clock(number * result.takt)
            heapq.heappush(queue, (due, 1, number, (job, serial, is_scrap, 0)))
        result.check_volume = result.check.count * nanolitres(result.check.volume)
        if station.checks:
            count = math.ceil(calendar.available * station.checks - EQUAL)
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
            if free <= a + SAME_TIME and begin >= b - SAME_TIME:
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
        if begin > latest + SAME_TIME:
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
        if mating.late > SAME_TIME:
            batch.late.append(mating)
            self.result.late_mating.append((batch.part, *mating))

    def _warn(self) -> None:
        result = self.result
        for job in result.jobs:
            if job.finished < job.quantity:
                self._find(
                    STOP,
                    f"{job.part}: {job.finished} of {job.quantity} good parts are finished by "
                    f"{hhmm(result.calendar.end, result.date)}",
                    "longer hours, a shorter takt, fewer parts, or a quicker or second station",
                    topic="output",
                    part=job.part,
                    finished=job.finished,
                    asked=job.quantity,
                )
            half_done = job.begun - job.finished - job.scrapped
            if half_done:
                self._find(
                    STOP,
                    f"{job.part}: {half_done} begun and not finished stand half done at the end",
                    "finish them within their times or scrap them: the next shift's sheet does not know them",
                    topic="half done",
                    part=job.part,
                    half_done=half_done,
                )
        for letter, volume in result.missing.items():
            self._find_shortage(letter, volume)
        for letter, component in result.components.items():
            for lot in self.store.expired(component, result.date):
                self._find(
                    QUALITY,
                    f"{self._words(letter)} lot {lot.lot} may not be used: last day was "
                    f"{lot.last_day(component.open_life)} ({lot.left / 1e6:.0f} mL)",
                    "set it aside",
                    topic="expired lot",
                    is_lasting=True,
                    volume_mL=lot.left / 1e6,
                )
        self._find_late("surface window", result.late_surface, "treat again before dispensing")
        self._find_late("open time", result.late_mating, "mate sooner or set aside")
        self._find_slow_flow()
        result.findings += batch_findings(result)
        if result.life is not None and self.pot_clock is not None:
            temperatures = result.temperatures[1]
            for mark in result.life.marks(min(temperatures), max(temperatures)):
                if not mark.startswith("rule of thumb"):  # the setup card says so
                    self._find(NOTE, f"pot life {mark}", topic="pot life", is_lasting=True)

    def _find(
        self,
        kind: str,
        text: str,
        fix: str = "",
        *,
        topic: str,
        part: str = "",
        is_lasting: bool = False,
        **numbers: float,
    ) -> None:
        """Add a finding of this shift; one that lasts carries no day, so that it is told once."""
        result = self.result
        self.result.findings.append(
            Finding(
                kind,
                text,
                fix,
                topic,
                result.station.station,
                result.material.material,
                part,
                None if is_lasting else result.date,
                "" if is_lasting else result.shift,
                numbers=numbers,
            )
        )

    def _find_shortage(self, letter: str, volume: int) -> None:
        """Stock that does not suffice, and from when it is missed."""
        count = round(volume / nanolitres(self.result.components[letter].container))
        first = min(
            event.clock for event in self.result.events if event.kind == "short" and event.component == letter
        )
        self._find(
            STOP,
            f"stock of {self._words(letter)} is short by {counted(count, 'container')} "
            f"({volume / 1e6:.0f} mL)",
            f"bring or order it, needed from {hhmm(first, self.result.date)}",
            topic=SHORTAGE,
            containers=count,
            volume_mL=volume / 1e6,
        )

    def _find_late(self, name: str, late: list[tuple[str, int, float, float]], fix: str) -> None:
        """Parts past a window: the first of them, and the one that is latest."""
        if not late:
            return
        part, serial, latest, actual = late[0]
        result = self.result
        many = "parts miss" if len(late) > 1 else "part misses"
        words = (
            f"{len(late)} {many} the {name}; first {part} no. {serial}: latest "
            f"{hhmm(latest, result.date)}, planned {hhmm(actual, result.date)}"
        )
        worst = max(late, key=lambda row: round(row[3] - row[2]))  # the first of equals
        if worst is not late[0]:
            words += f"; worst {worst[0]} no. {worst[1]}, {(worst[3] - worst[2]) / 60.0:.0f} min late"
        self._find(
            STOP,
            words,
            fix,
            topic=name,
            part=part,
            parts=len(late),
            latest_by_min=(worst[3] - worst[2]) / 60.0,
        )

    def _find_slow_flow(self) -> None:
        """Where the parts come too slowly to keep the mixer fresh, breaks are not the cause."""
        result = self.result
        if result.between > MOST_BETWEEN and result.life is not None:
            limit = self.station.purge_share * result.life.at(max(result.temperatures[1]))
            self._find(
                QUALITY,
                f"{result.between} purges and mixer changes fall between parts, not after "
                f"breaks: at a takt of {result.takt:.0f} s material stands longer in the mixer than "
                f"its limit, {limit / 60.0:.0f} min in the hottest hour",
                "a smaller mixer, a quicker takt or a cooler shop",
                topic="purges between parts",
                changes=result.between,
            )


def _visits_of(job: Job) -> list[list[Application]]:
    """Applications of a part grouped into visits: a wait begins a new one."""
    groups: list[list[Application]] = []
    for item in job.applications:
        if not groups or item.wait > 0.0:
            groups.append([item])
        else:
            groups[-1].append(item)
    return groups


# ------------------------------------------------------------------------------------ whole plans


def play_shift(
    plan: Plan, date: datetime.date, shift: str, station: str, store: Store | None = None
) -> ShiftResult:
    """One station through one shift, from a given store (that of the plan by default)."""
    row = plan.station(station)
    store = Store.of(plan) if store is None else store
    return Player(plan, date, shift, row, plan.builds_of(date, shift), store).play()


def play_plan(
    plan: Plan, *, until: tuple[datetime.date, str] | None = None, stations: Iterable[str] | None = None
) -> Iterator[ShiftResult]:
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
