"""One station through one shift, event by event in clock time.

Parts come at the takt; breaks stop the nozzle; mixed material that stands in the mixer ages at the
temperature of that hour, and when the oldest of it would pass its share of the pot life on the next
part the rule asks for a purge or a new mixer before it; containers of A and B are changed between
parts and leave their heel and their rest; lots leave first-expired first-out; scrap, check shots, the
start and the end of the run draw material too.

Volumes are counted in whole nanolitres, so that the balance holds to the last digit:

    opening + mounted = on parts + scrap + start + end + purge + mixers + checks + heel + rest
                        + expired + closing

where opening and closing are what stands in containers, hoses and mixers that are kept closed. These, the
stock and parts in process go from shift to shift (`Store`, `play_plan`):

    begun + taken over = good + scrapped + lost + handed over

What is settled here, and why:
- a visit that would not be finished before a break or the end of the shift waits until after it;
- the mixer is filled in plug flow: what went in first comes out first (a stated oldest share: `Mixer`);
- the age that counts is that of the oldest material that leaves in a visit, when it leaves; where
  even a fresh mixer would pass the limit in the visit, that at its start, and the part is told;
- a purge and the part after it go together: neither is begun where both do not fit before a break;
- open time runs from the first material on the part, the delay to mating from the end of its visit;
- a part whose open time would end over a break is begun after it; for one begun before it all the same,
  since a purge or a container made it late, the crew stays a quarter of an hour into the break;
- a part that is half done at the end of a shift goes on in the station's next one, and what waits to be
  mated is mated in the plan's next shift; what cannot within its open time is lost, and named;
- the run ends with the last part: what is in the mixer then is thrown away, or kept closed;
- two stations of one material take whole containers from one store, in the order of the table.
"""

from __future__ import annotations

import datetime
import heapq
import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from ..base.clock import hhmm
from ..base.errors import NUM, InputError, Problem
from ..base.findings import Finding
from ..base.numbers import EQUAL
from ..base.printed import lower_figure
from ..base.units import DAY, told_volume_text
from ..handbook.life import LifeClock
from ..plan.amounts import applied_at, in_one_go, parts_started, spread_scrap
from ..plan.materials import working_life
from ..plan.records import Plan
from ..plan.routes import fates, passed_on, place_in_route, route_of
from ..plan.rows import Material, Station
from ..plan.tables import CHANGE_MIXER, KEEP_CLOSED
from ..plan.weather import shop_record
from .calendar import SAME_TIME, Calendar
from .cure_times import FIRST, OpenClock, cure_times, open_clock
from .findings import shift_findings
from .handover import on_the_way, origin_text, standing
from .idle import TAKE_OFF, Idle, off_text, purge_text, weigh_idle
from .mixer import Mixer, oldest_factor
from .pace import shift_takt
from .pressure import MixAtWork, purge_findings
from .results import (
    CATEGORIES,
    Batch,
    Event,
    FirstDone,
    Handover,
    Job,
    LaterShot,
    Lost,
    Mating,
    MixerAge,
    Purged,
    ShiftResult,
    TooOld,
    in_order,
)
from .setup import as_run, part_flows
from .store import NANO, NO_STOCK, Between, HalfDone, KeptMixer, Store, ToMate, hose_volume, nanolitres
from .supply import Supply
from .today import BatchKey, Before, Stretch, TooLong
from .visits import Piece, Visit, visits_of
from .weighing import Weighing

MOST_CHANGES = 20_000  # purges and mixer changes of a shift
#: s that a crew stays, into a break or after its shift, to mate a part that would else be lost
#: (common practice, no source)
CREW_STAYS = 900.0
WHOLE = Stretch()


def pot_clock(plan: Plan, station: Station, material: Material) -> LifeClock | None:
    """The clock of the pot life along a station's temperature, kept with the plan."""
    cache: dict[tuple[str, str], LifeClock | None] = plan.kept("pot clocks")
    key = (station.station, material.material)
    if key not in cache:
        life = working_life(material)
        cache[key] = life.clock(*shop_record(plan, station)) if life else None
    return cache[key]


def _open_clock(plan: Plan, station: Station, material: Material) -> OpenClock | None:
    """The clock of the open time at a station, kept with the plan."""
    cache: dict[tuple[str, str], OpenClock | None] = plan.kept("open clocks")
    key = (station.station, material.material)
    if key not in cache:
        cache[key] = open_clock(plan, station, material)
    return cache[key]


def _quickest(plan: Plan, station: Station, material: Material) -> float:
    """Share of pot life used each second at the hottest time of the day."""
    cache: dict[str, float] = plan.kept("quickest")
    if station.station not in cache:
        life = working_life(material)
        hottest = max(shop_record(plan, station)[1])
        cache[station.station] = 1.0 / life.at(hottest) if life else 0.0
    return cache[station.station]


def _check_of(plan: Plan, result: ShiftResult) -> Weighing:
    """What a check at a station weighs while it has these parts, kept with the plan."""
    cache: dict[tuple[str, ...], Weighing] = plan.kept("checks")
    key = (result.station.station, *(job.part for job in result.jobs))
    if key not in cache:
        cache[key] = result.check
    return cache[key]


@dataclass(slots=True)
class Nozzle:
    """One nozzle of a station: its mixer, when it is free, when material last went through it [s]."""

    number: int
    mixer: Mixer
    free: float
    idle_since: float
    starved: float = 0.0
    for_cure: float = 0.0  # of that, while the next part could not go on yet
    blocked: float = 0.0

    @property
    def is_blocked(self) -> bool:
        """Whether a finished part stands under it for which there is no room yet."""
        return self.free == math.inf


@dataclass(slots=True)
class Work:
    """A part on its way through a station: which visit is next, when it got its first material."""

    job: Job
    serial: int
    is_scrap: bool
    turn: int = 0
    begun: float = 0.0
    ended: float = 0.0
    origin: str = ""  # the shift that began it, where that is another
    is_lost: bool = False
    is_taken: bool = False  # half done from the shift before
    fate: int = 0  # place in its route at which it is lost
    came: Between | None = None  # from the station before

    @property
    def is_done(self) -> bool:
        """Whether it has had all its visits here."""
        return self.turn == self.job.visits


def _works(jobs: Iterable[Job], fates: Mapping[str, Sequence[int]]) -> Iterator[Work]:
    """Parts to start in their order, the scrap spread evenly among them."""
    for job in jobs:
        fate = fates.get(job.part)
        for place, is_scrap in enumerate(spread_scrap(job.started, job.started - job.quantity)):
            yield Work(job, place + 1, is_scrap, fate=fate[place] if fate else 0)


def _of_done(works: Iterable[Work], stretch: Stretch) -> list[Work]:
    """Of the parts of a shift those that a stretch of it starts."""
    counts: Counter[str] = Counter()
    mine: list[Work] = []
    for place, work in enumerate(works):
        part = work.job.part
        counts[part] += 1
        if stretch.is_last:
            is_mine = part not in stretch.before or counts[part] > stretch.before[part].begun
        elif isinstance(stretch.done, int):
            is_mine = place < stretch.done
        else:
            is_mine = stretch.done is None or counts[part] <= stretch.done.get(part, 0)
        if is_mine:
            mine.append(work)
    return mine


def _with_steps(words: str, steps: Sequence[str]) -> str:
    """What happens, and what is done then."""
    return f"{words}: {'; '.join(steps)}" if steps else words


Due = tuple[float, int, int, Work | None]  # when, rank among equals, number, a part or a check


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
        following: Calendar | None = None,
        stretch: Stretch = WHOLE,
        in_line: bool = False,
    ) -> None:
        """`following` is the plan's next shift by the clock of this day, None where there is none.

        A station `in_line` gets parts from others, as their routes say.
        """
        self.stretch, station = stretch, as_run(plan, station)
        self.plan, self.store, self.station, self.date = plan, store, station, date
        material = plan.material(station.material)
        components = plan.components_of(material.material)
        calendar = self.make_calendar(shift)
        #: parts are mated on, and nobody mates in a break, when the stretch that is played is over
        self.mating_calendar = calendar if stretch.is_last else self._shift_calendar(shift)
        jobs = []
        for part, quantity in builds.items():
            mine = applied_at(plan, part, station)
            if mine and quantity > 0:
                good = passed_on(plan, part, station.station, quantity)
                jobs.append(Job(part, good, parts_started(good, station), mine))
        self.works: list[Work] | None = None
        self.is_started = self.owes_check = False
        self.started_at = calendar.start  # when the run begins [s]
        self.last_begun = -math.inf  # when the last part from another station was begun
        places = (
            {job.part: place_in_route(plan, job.part, station.station) for job in jobs} if in_line else {}
        )
        self.fed = frozenset(part for part, place in places.items() if place)  # from another station
        self.fates = {part: fates(plan, part, builds[part]) for part, place in places.items() if place == 0}
        self.mixers = dict(stretch.mixers)  # put on by now as told and not by the rule, by nozzle [s]
        self.told: set[int] = set()  # nozzles of those that are on
        self.past_limit: list[TooLong] = []  # what went on parts from them
        self.is_compared = False  # whether it was told that a new mixer takes less than a purge
        self.holds: set[tuple[str, float]] = set()  # parts that wait for the end of a break, and it [s]
        self.too_late: dict[str, Work] = {}  # begun in the plan's last shift and not finished in it
        self.more_to_come: Callable[[], bool] = lambda: False  # from the stations before
        printed = self._printed_takt(shift, jobs) if stretch.done is not None else math.inf
        if not stretch.is_whole:
            jobs = self._of_stretch(jobs)
        self.taken = [item.on(date) for item in store.half_done.get(station.station, ())]
        taken = [item.part for item in self.taken]
        for part in dict.fromkeys((*taken, *on_the_way(plan, store, station.station))):
            if all(job.part != part for job in jobs):
                jobs.append(Job(part, 0, 0, applied_at(plan, part, station)))
        started = sum(job.started for job in jobs)
        # parts are spread over the whole shift where it is not told what was done
        spread_over = calendar if stretch.is_last or stretch.done is not None else self._shift_calendar(shift)
        takt = shift_takt(plan, station, spread_over, started)
        if stretch.done is not None and self.works:
            count, till_now = len(self.works), calendar.available
            takt = min(takt, till_now / count)  # what was done by then came evenly
            # as printed while the count agrees with it to a part; of a line else evenly up to now: no part is
            # taken to have cured, or to have waited for its next shot, for longer than it has
            is_on_plan = (count - 1) * printed <= till_now < (count + 1) * printed
            slow = printed if is_on_plan else till_now / count if in_line else takt
            takt = slow + stretch.hurry * (takt - slow)
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
        for letter in components:
            self.result.used[letter] = dict.fromkeys(CATEGORIES, 0)
            self.result.mounted[letter] = self.result.containers[letter] = 0
        self.supply = self.make_supply()
        self.open_clock = self.make_open_clock()
        life = pot_clock(plan, station, material) if station.mixer_volume > 0.0 else None
        quickest = _quickest(plan, station, material) if life is not None else 0.0
        content, factor = nanolitres(station.mixer_volume), oldest_factor(station, material)
        self.nozzles = [
            Nozzle(number, Mixer(content, life, quickest, factor), calendar.start, calendar.start)
            for number in range(station.nozzles)
        ]
        self.nozzle = self.nozzles[0]  # the one that is at work
        self.purge = nanolitres(station.purge_volume) or content
        self.check_count = 1  # shots of one check
        self.result.since, self.result.over = stretch.start, stretch.over
        self._note_before(stretch)
        self.following, self.result.has_following = following, following is not None
        self.origin = origin_text(date, shift)
        self.batches: dict[BatchKey, Batch] = {}
        self.batch_numbers: dict[BatchKey, int] = dict(stretch.batches)  # a batch keeps it through the shift

    def _note_before(self, stretch: Stretch) -> None:
        """What the sheets of a rest of a shift must say of that before it."""
        result = self.result
        result.past_limit, result.past_day = stretch.past_limit, list(stretch.past_day)
        result.batches_before = max(stretch.batches.values(), default=0)
        result.later_before = [
            part
            for part, before in stretch.before.items()
            if before.begun and len(in_one_go(applied_at(self.plan, part, self.station))) > 1
        ]

    def _of_stretch(self, jobs: list[Job]) -> list[Job]:
        """The jobs with the parts that are started in this stretch of the shift."""
        stretch = self.stretch
        self.works = _of_done(_works((job for job in jobs if job.part not in self.fed), self.fates), stretch)
        for job in jobs:
            if job.part in self.fed:
                before = stretch.before.get(job.part, Before(0, 0))
                job.started = max(job.started - before.begun, 0)
                job.quantity = max(job.quantity - before.good, 0)
                continue
            mine = [work for work in self.works if work.job is job]
            job.started = len(mine)
            job.quantity = sum(not work.is_scrap for work in mine)
        return [job for job in jobs if job.started]

    def _printed_takt(self, shift: str, jobs: Iterable[Job]) -> float:
        """The takt of the whole shift, as its sheets said before it began."""
        calendar = shift_calendar(self.plan, self.date, shift, stretch=Stretch(stops=self.stretch.stops))
        return shift_takt(self.plan, self.station, calendar, sum(job.started for job in jobs))

    def _shift_calendar(self, shift: str) -> Calendar:
        """The whole shift, with its stops."""
        return shift_calendar(self.plan, self.date, shift, stretch=Stretch(stops=self.stretch.stops))

    def make_supply(self) -> Supply:
        """The containers that are drawn from."""
        return Supply(self.plan, self.result, self.store)

    def make_calendar(self, shift: str) -> Calendar:
        """Working time of the shift, or of the stretch of it that is played."""
        return shift_calendar(self.plan, self.date, shift, stretch=self.stretch)

    def make_open_clock(self) -> OpenClock | None:
        """How long what was put on stays open."""
        return _open_clock(self.plan, self.station, self.result.material)

    # -- the shift --------------------------------------------------------------------------

    def play(self) -> ShiftResult:
        """Run the shift."""
        self.open_up()
        while self.queue:
            self.step()
        return self.close_up()

    def open_up(self) -> None:
        """All that comes before the first part."""
        result = self.result
        self.queue: list[Due] = []
        if result.jobs:
            self._change_over()
            result.taken_over = self._standing(result.calendar.start)
        self._open()
        if result.jobs:
            if not self.is_fed or self.stretch.goes_on:
                self._start(result.calendar.start)
            self._line_up()

    def close_up(self) -> ShiftResult:
        """All that comes after the last part."""
        result = self.result
        if result.jobs:
            for batch in result.batches:
                batch.cure = cure_times(self.plan, self.station, batch.part, batch.ended)
                self._first_move(batch)
            result.run_end = result.calendar.start
            if self.is_started:
                self._end()
        self._close()
        self._tell_too_late()
        if result.jobs:
            result.handed_over = self._standing(result.calendar.end)
            self._find()
            result.events.sort(key=in_order)
        return result

    def _first_move(self, batch: Batch) -> None:
        """On a line the first part of a batch goes on by itself: when it may be moved."""
        first, route = batch.first_done, route_of(self.plan, batch.part)
        if first is not None and any(row.station == self.station.station for row in route[:-1]):
            moved = cure_times(self.plan, self.station, batch.part, first.ended).milestones[FIRST]
            batch.first_done = first._replace(move=moved)

    def _open(self) -> None:
        """What stands at the station when the shift begins; what is too old is thrown away."""
        result, store = self.result, self.store
        result.mixers_before = self._in_mixers()
        for letter, component in result.components.items():
            key = (self.station.station, letter)
            hose = hose_volume(self.station, letter)
            store.replace_missing(self.station.station, component, self.date)
            container = store.mounted.get(key)
            standing = container.standing if container else 0
            result.opening[letter] = standing + store.hoses.get(key, 0) + result.mixers_before[letter]
            result.used[letter]["mixers"] += result.mixers_before[letter]  # lost, if it is not kept again
            if container is not None and container.lot.lot == NO_STOCK and container.usable and result.jobs:
                result.owed[letter] = container.usable
            if container is not None and container.last_day < self.date and result.jobs:
                result.used[letter]["expired"] += standing
                result.too_old[letter] = TooOld(container.lot.lot, container.last_day, standing)
                del store.mounted[key]
                text = (
                    f"throw away the open container of {self.supply.words(letter)} lot {container.lot.lot}: "
                    f"last day was {container.last_day}"
                )
                start = result.calendar.start
                result.events.append(Event(start, "expired", text, letter, container.lot.lot, standing))
            missing = hose - store.hoses.get(key, 0)
            if missing > 0 and result.jobs:
                self.supply.fill(letter, missing, result.calendar.start)
                store.hoses[key] = hose
                result.filled[letter] = missing

    def _change_over(self) -> None:
        """Take off what stands of another material that the station ran before."""
        start, before = self.result.calendar.start, self.store.ran.get(self.station.station, "")
        material = self.station.material
        taken = self.store.change_over(self.station.station, material)
        if before in ("", material):
            return
        rest = "empty the hose; clean what touches both"
        kept = [container for container in taken if container.lot.lot != NO_STOCK]
        if not kept:
            self.result.events.append(
                Event(start, "change over", f"change from {before} to {material}; {rest}")
            )
        for container in kept:
            letters = self.plan.components_of(before)
            letter = f" {container.lot.component.upper()}" if len(letters) > 1 else ""
            text = (
                f"from {before} to {material}: take off {before}{letter} lot "
                f"{container.lot.lot}, {told_volume_text(container.standing / NANO)} left, close and "
                f"keep it; {rest}"
            )
            event = Event(start, "change over", text, lot=container.lot.lot, volume=container.standing)
            self.result.events.append(event)

    def _close(self) -> None:
        """What stands at the station when the shift is over; what is in a mixer that is kept is not lost."""
        result, store = self.result, self.store
        result.mixers_after = self._in_mixers()
        for letter in result.components:
            key = (self.station.station, letter)
            container = store.mounted.get(key)
            kept = result.mixers_after[letter]
            result.hoses[letter] = store.hoses.get(key, 0)
            result.closing[letter] = result.hoses[letter] + (container.standing if container else 0) + kept
            result.used[letter]["mixers"] -= kept

    def _in_mixers(self) -> dict[str, int]:
        """What of each component stands in the mixers that are kept [nL]."""
        station = self.station
        count = sum(
            name == station.station and bool(kept.contents) for (name, _), kept in self.store.mixers.items()
        )
        return {
            letter: count * volume for letter, volume in self.supply.split(nanolitres(station.mixer_volume))
        }

    def _standing(self, now: float) -> list[Handover]:
        """What stands at the station between two shifts, or now [s]."""
        is_running = self.stretch.goes_on and not self.is_started
        told = self.stretch.mixers if is_running else None
        return standing(self.result, self.store, self.nozzle.mixer.life, self.open_clock, now, told)

    def _find(self) -> None:
        self.result.findings += shift_findings(self.result, self.store)
        self.result.findings += self._pressures()

    def _pressures(self) -> list[Finding]:
        """A purge that came later than the limit of its mix asks for, and needs too much: of a mixer that was
        told to be so old, or after a part that took so long."""
        result, station = self.result, self.station
        purged, life = result.oldest_purge, result.life
        if purged is None or life is None or station.pressure_limit is None:
            return []
        if not purged.share > station.purge_share * (1.0 + EQUAL):
            return []  # the setup card tells of it
        mix = MixAtWork.of(self.plan, station, life, result.temperatures[1])
        flows = part_flows(self.plan, station)
        when = f"{hhmm(purged.clock, self.date)}: "
        return [
            replace(item, day=self.date, shift=result.shift)
            for item in purge_findings(mix, flows, (when, purged.share))
        ]

    @property
    def is_fed(self) -> bool:
        """Whether all its parts come from other stations: it is started when the first one comes."""
        return all(job.part in self.fed for job in self.result.jobs)

    def _start(self, start: float) -> None:
        """The first purge, with a new mixer or with one that was kept closed; or the run goes on."""
        self.is_started, station, self.started_at = True, self.station, start
        for nozzle in self.nozzles:
            self.nozzle, mixer = nozzle, nozzle.mixer
            if start > self.result.calendar.start and not nozzle.is_blocked:
                nozzle.idle_since = start
            volume, kept = nanolitres(station.start_volume), self.store.mixers.pop(self._place, None)
            if kept is not None:
                mixer.contents.extend(kept.on(self.date))
            if self.stretch.goes_on:
                volume, nozzle.idle_since = 0, mixer.contents[-1][1] if mixer.contents else start
            self._tell(start, "start", partial(self._start_words, start, volume), volume)
            if not self.stretch.goes_on and mixer.share_used(start) >= station.purge_share:
                mixer.contents.clear()
            if not mixer.contents:
                self.new_mixer(start)
            self.supply.draw(volume, "start", start)
            mixer.push(volume, start, start)
            self._note_mixer(start)

    @property
    def _place(self) -> tuple[str, int]:
        """Station and number of the nozzle at work, under which its mixer is kept."""
        return self.station.station, self.nozzle.number

    def _start_words(self, start: float, volume: int) -> str:
        """What is done before the first part: which mixer goes on, and what is thrown away."""
        if self.stretch.goes_on:
            return f"from now on: {sum(item.begun for item in self.stretch.before.values())} started before"
        mixer, steps = self.nozzle.mixer, []
        words = "start of shift" if start <= self.result.calendar.start else "start, the first part comes"
        new = f"a new mixer, {told_volume_text(mixer.content / NANO, 1)} fill it"
        if mixer.contents and mixer.share_used(start) < self.station.purge_share:
            steps.append("go on with the mixer that was kept closed")
        elif mixer.contents:
            steps.append(f"the mixer that was kept closed was good until {self._good_until()}, take {new}")
        elif mixer.content:
            steps.append(f"put on {new}")
        if volume:
            steps.append(f"throw away the first {told_volume_text(volume / NANO, 1)}")
        return _with_steps(words, steps)

    def _end(self) -> None:
        """The run is over: mixers off, pot emptied; the time that is left is free."""
        result, station = self.result, self.station
        result.run_end = max(self.started_at, *(nozzle.free for nozzle in self.nozzles))
        is_kept = not self.stretch.is_last or station.after_run == KEEP_CLOSED
        for nozzle in sorted(self.nozzles, key=lambda nozzle: nozzle.free):  # they draw in that order
            # one of several that got no part was put on with the others
            self.nozzle, mixer, end = nozzle, nozzle.mixer, max(nozzle.free, self.started_at)
            self._put_on_told(result.calendar.end)
            volume = nanolitres(station.end_volume) if self.stretch.is_last else 0
            is_closed = bool(mixer.content) and is_kept
            is_closed = is_closed and not (self.stretch.is_last and self._is_over_by_next())
            if is_closed:
                self.store.mixers[self._place] = KeptMixer(self.date, tuple(mixer.contents))
            self.supply.draw(volume, "end", end)
            self._tell(end, "end", partial(self._end_words, end, volume, is_closed), volume)
            self._note_mixer(end, is_off=not is_kept)
        end = result.run_end
        for a, b in result.calendar.breaks:
            if a < end:
                kind = result.calendar.pause((a, b))
                text = f"{'the line stands' if kind == 'stop' else kind} until {hhmm(b, self.date)}"
                result.events.append(Event(a, kind, text))

    def _end_words(self, end: float, volume: int, is_closed: bool) -> str:
        """What is done after the last part: what is thrown away, the mixer among it or not."""
        mixer, calendar, steps = self.nozzle.mixer, self.result.calendar, list[str]()
        if volume:
            steps.append(f"throw away {told_volume_text(volume / NANO, 1)}")
        if is_closed:
            steps.append(
                "keep the mixer closed" + (f", good until {self._good_until()}" if mixer.life else "")
            )
        elif mixer.content:
            steps.append(f"{TAKE_OFF}, throw the mixer away")
        words = _with_steps("last part done", steps)
        is_free = calendar.worked(end) < calendar.available
        return f"{words}; free until {hhmm(calendar.end, self.date)}" if is_free else words

    def _tell(self, clock: float, kind: str, text: Callable[[], str], volume: int = 0) -> None:
        """Note what happens at a nozzle; which one, where there are several."""
        words = text()
        if len(self.nozzles) > 1:
            words = f"nozzle {self.nozzle.number + 1}: {words}"
        self.result.events.append(Event(clock, kind, words, volume=volume))

    def _note_mixer(self, clock: float, *, is_off: bool = False) -> None:
        """Keep how old the oldest material in the mixer at work is from a clock time on."""
        contents = self.nozzle.mixer.contents
        entered = contents[0][1] if contents and not is_off else None
        self.result.course.ages.append(MixerAge(self.nozzle.number, clock, entered))

    def _note_visit(self, begin: float, ended: float) -> None:
        """Keep when the nozzle at work is at a part, and what is in its mixer then."""
        self.result.course.work.append((self.nozzle.number, begin, ended))
        self._note_mixer(ended)

    def _note_purge(self, clock: float) -> None:
        """Keep the purge that found the oldest material."""
        purged, before = Purged(clock, self.nozzle.mixer.share_used(clock)), self.result.oldest_purge
        if before is None or before.share < purged.share:
            self.result.oldest_purge = purged

    def _is_over_by_next(self) -> bool:
        """Whether what ages in the mixer passes its limit before the plan's next shift, or none follows."""
        if self.nozzle.mixer.life is None:
            return False
        return (
            self.following is None
            or self.nozzle.mixer.reaches(self.station.purge_share) <= self.following.start
        )

    def _good_until(self) -> str:
        return hhmm(self.nozzle.mixer.reaches(self.station.purge_share), self.date)

    # -- mixer ------------------------------------------------------------------------------

    def new_mixer(self, clock: float) -> float:
        """Fill a new mixer; the old one was thrown away with what is in it. When it is done [s]."""
        if self.nozzle.mixer.content <= 0:
            return clock
        clock += self.supply.draw(self.nozzle.mixer.content, "mixers", clock)
        self.nozzle.mixer.fill(clock)
        self._note_mixer(clock)
        self.result.mixers += 1
        return clock

    def _put_on_told(self, clock: float) -> None:
        """The mixer that was put on by then, as told: what stands in it is no older."""
        put_on = self.mixers.get(self.nozzle.number)
        if self.stretch.is_last or put_on is None or put_on > clock:
            return
        del self.mixers[self.nozzle.number]
        self.told.add(self.nozzle.number)
        if put_on >= self.result.calendar.start:
            self.new_mixer(put_on)
        else:
            self.nozzle.mixer.fill(put_on)

    def freshen(self, clock: float, pieces: tuple[Piece, ...], why: str) -> float:
        """Purge or change the mixer before a visit where the rule asks; when the visit may begin [s]."""
        mixer, limit = self.nozzle.mixer, self.station.purge_share
        if mixer.keeps(limit, pieces, clock) or (self.nozzle.number in self.told and self._changes(clock)):
            return clock
        replaced = 0 if mixer.keeps_fresh(limit, pieces, clock) else mixer.renewal
        while self.result.purges + self.result.mixers < MOST_CHANGES:
            if not mixer.passes(limit, pieces, clock):
                return clock
            if replaced >= mixer.renewal and mixer.share_used(clock) < limit:
                return clock
            self.result.between += not why
            past = partial(self._past, clock, pieces)
            if self._changes(clock):
                clock = self._change_mixer(clock, past, why)
                replaced += mixer.renewal
            else:
                clock = self._purge(clock, past, why)
                replaced += self.purge
        raise InputError(
            Problem(
                self.plan.cell(self.station, "purge_share"),
                message=f"station {self.station.station}: material reaches its limit faster than a "
                f"{'purge' if self.station.rule == 'purge' else 'mixer change'} replaces it",
                fix="check pot life, temperatures, purge share, purge volume and times",
                code=NUM,
            )
        )

    def _note_age(self, begin: float, pieces: tuple[Piece, ...]) -> None:
        """A visit that passes the limit all the same."""
        if not self.nozzle.mixer.keeps(self.station.purge_share, pieces, begin):
            share = self.nozzle.mixer.worst_share(pieces, begin)
            if share >= self.station.purge_share:
                self.result.too_long.append(TooLong(begin, share))
                if self.nozzle.number in self.told:
                    self.past_limit.append(TooLong(begin, share))

    def _freshen_time(self, clock: float, pieces: tuple[Piece, ...]) -> float:
        """What the purge or mixer change takes that a visit asks for which passes the limit [s].

        None, where even a fresh mixer would pass it in the visit and the limit is not reached before it.
        """
        mixer, limit = self.nozzle.mixer, self.station.purge_share
        if not mixer.keeps_fresh(limit, pieces, clock) and mixer.share_used(clock) < limit:
            return 0.0
        return self.station.mixer_time if self._changes(clock) else self.station.purge_time

    def _changes(self, clock: float) -> bool:
        """Whether the mixer is changed, not purged: by the station's rule, or since a purge is too late."""
        return self.station.rule == CHANGE_MIXER or self._is_too_late(clock)

    def _is_too_late(self, clock: float) -> bool:
        """Whether a purge that begins then comes too late."""
        return self.nozzle.mixer.is_lost_by(clock + self.station.purge_time)

    def _past(self, clock: float, pieces: tuple[Piece, ...]) -> str:
        """How far the oldest material is, or would be on the next part."""
        mixer, limit = self.nozzle.mixer, self.station.purge_share
        share, shown = mixer.share_used(clock), f"limit {lower_figure(100.0 * limit)}%"
        if share >= limit:
            return f"{share:.0%} of pot life used, {shown} at {hhmm(mixer.reaches(limit), self.date)}"
        by_end = mixer.worst_share(pieces, clock)
        return f"the next part would end at {by_end:.0%} of pot life, {shown}"

    def _purge(self, clock: float, because: Callable[[], str], why: str = "") -> float:
        """Purge; when it is done [s]."""

        def text() -> str:
            return f"purge {told_volume_text(self.purge / NANO, 1)}{why}: {because()}"

        self._tell(clock, "purge", text, self.purge)
        self._note_purge(clock)
        time = self.station.purge_time
        end = clock + time + self.supply.draw(self.purge, "purge", clock, time)
        self.nozzle.mixer.push(self.purge, clock, end)
        self._note_mixer(end)
        self.result.purges += 1
        return end

    def _change_mixer(self, clock: float, past: Callable[[], str], why: str) -> float:
        """Change the mixer; it is filled when it is in place. When it is done [s]."""

        def text() -> str:
            reason = "limit reached"
            if self.nozzle.mixer.is_lost_by(clock):
                reason = "pot life is over"
            elif self._is_too_late(clock) and self.station.rule != CHANGE_MIXER:
                reason = "pot life would be over before a purge is through"
            return f"change the mixer{why}: {reason} ({past()})"

        self._tell(clock, "mixer", text, self.nozzle.mixer.content)
        return self.new_mixer(clock + self.station.mixer_time)

    def _weigh_idle(self, begin: float, pieces: tuple[Piece, ...]) -> Idle | None:
        """Nothing is dispensed from when the nozzle is free to `begin`: what the mixer asks for till then."""
        nozzle, calendar = self.nozzle, self.result.calendar
        if begin <= nozzle.idle_since or nozzle.number in self.told:
            return None
        return weigh_idle(nozzle.mixer, self.station, calendar, self.purge, nozzle.idle_since, begin, pieces)

    def _idle(self, idle: Idle | None, begin: float, why: str) -> float:
        """See that the mixer lasts through an idle time; when a visit may begin [s]."""
        if idle is None:
            return begin
        result = self.result
        result.idles.append(idle)
        if idle.takes_off(self.station.idle):
            self._tell(idle.off_at, "off", partial(off_text, idle, self.date))
            self._note_mixer(idle.off_at, is_off=True)
            self._tell(begin, "mixer", partial(self._put_on_words, why), self.nozzle.mixer.content)
            result.between += not why
            return self.new_mixer(begin + self.station.mixer_time)
        for at in idle.purges or ():
            result.between += not why
            begin = max(begin, self._purge(at, partial(self._purge_words, idle)))
        return begin

    def _put_on_words(self, why: str) -> str:
        """A new mixer after an idle time, and how much fills it."""
        return f"put on a new mixer{why}, {told_volume_text(self.nozzle.mixer.content / NANO, 1)} fill it"

    def _purge_words(self, idle: Idle) -> str:
        """Why it is purged; the first time that a new mixer would take less, this too."""
        with_other = not self.is_compared and idle.is_dearer(self.station.idle)
        self.is_compared |= with_other
        return purge_text(idle, self.date, with_other=with_other)

    # -- parts and checks -------------------------------------------------------------------

    def _line_up(self) -> None:
        """All parts and check shots that the shift begins with, in the order in which they are due."""
        result, station = self.result, self.station
        known: dict[tuple[str, str], list[Visit]] = self.plan.kept("visits")
        self.visits: dict[int, list[Visit]] = {}
        for job in result.jobs:
            key = (station.station, job.part)
            if key not in known:
                known[key] = visits_of(job.applications, self.supply.split, station.handling_time)
            self.visits[id(job)] = known[key]
        self.queue = list(self._parts())
        self.numbers = itertools.count(len(self.queue))  # of those that come later
        check = _check_of(self.plan, result)
        self.check_count, result.check_volume = check.count, check.count * nanolitres(check.volume)
        self.queue += self._checks()
        heapq.heapify(self.queue)

    def step(self) -> Work | None:
        """The next part or check shot; the part, where it is worked on."""
        due, rank, number, work = heapq.heappop(self.queue)
        if len(self.nozzles) > 1:
            self.nozzle = min(self.nozzles, key=lambda nozzle: nozzle.free)
        visits, free = self.visits, self.nozzle.free
        if not self.is_started:
            if work is None:
                self.owes_check = True  # to be made when the first part comes
                return None
            first = self._soonest(due, visits[id(work.job)][work.turn])
            if first < math.inf:
                chosen = self.nozzle
                self._start(first)
                self.nozzle = chosen
                if self.owes_check:
                    self._check_first(first)
        if work is None:
            parts = ((item[0], item[3]) for item in self.queue if item[3] is not None)
            if self.more_to_come() or any(
                self._soonest(at, visits[id(part.job)][part.turn]) < math.inf for at, part in parts
            ):
                if number == 0:
                    self._check_first(due)
                else:
                    self._wait_for_parts(due)
                    self._check(due)
            return None
        steps = visits[id(work.job)]
        if self.stretch.done is not None and not work.turn and self._is_all_done(work.job):
            return None
        if self.mixers:
            self._put_on_told(max(self.nozzle.free, due))
        came = None if work.turn else work.came
        soonest = due if came is None else max(due, self.last_begun)  # first come, first served
        held = None if self.open_clock is None else self._held_until(work, soonest, steps)
        if held is not None:
            self._tell_hold(work.job.part, self._soonest(soonest, steps[0]), held)
            heapq.heappush(self.queue, (held, rank, number, work))
            return None
        is_lost = work.is_taken and self._is_lost(work, due, steps[work.turn])
        begin = None if is_lost else self._ready(soonest, steps[work.turn])
        if begin is None:
            self._leave(work, due)
            return None
        if came is not None:
            self.last_begun = begin
            self._starve(self.nozzle, free, came)
        self._dispense(work, steps[work.turn], begin, number)
        work.turn += 1
        if work.turn < len(steps):
            heapq.heappush(self.queue, (work.ended + steps[work.turn].wait, rank, number, work))
        else:
            self._finish(work)
        return work

    def _is_all_done(self, job: Job) -> bool:
        """Whether so many parts are begun as are told to be by now."""
        done = self.stretch.done
        if isinstance(done, int):
            return sum(other.begun for other in self.result.jobs) >= done
        return done is not None and job.begun >= done.get(job.part, 0)

    def _starve(self, nozzle: Nozzle, since: float, came: Between) -> None:
        """A nozzle has waited for a part since it was free: first for its finish, then for its cure."""
        start, end = self.result.calendar.start, self.result.calendar.end
        until = min(max(came.ready, start), end)
        nozzle.starved += self._time_between(since, until)
        nozzle.for_cure += self._time_between(max(since, came.finished, start), until)

    def _wait_for_parts(self, until: float) -> None:
        """The nozzle has waited till a check, with no part of its own to come."""
        if not self.is_fed:
            return
        parts = [item[3] for item in self.queue if item[3] is not None]
        if any(part.came is None or part.turn for part in parts):
            return
        since, start = self.nozzle.free, self.result.calendar.start
        self.nozzle.starved += self._time_between(since, until)
        if parts:
            finished = min(part.came.finished for part in parts if part.came is not None)
            self.nozzle.for_cure += self._time_between(max(since, finished, start), until)

    def _time_between(self, since: float, until: float) -> float:
        """Working time from one clock time to a later one [s]."""
        worked = self.result.calendar.worked
        return max(worked(until) - worked(since), 0.0)

    # -- in a line --------------------------------------------------------------------------

    @property
    def is_blocked(self) -> bool:
        """Whether all its nozzles hold finished parts for which there is no room yet."""
        return all(nozzle.is_blocked for nozzle in self.nozzles)

    @property
    def next_clock(self) -> float:
        """When whatever is due next may begin: due, and a nozzle free [s]."""
        return max(self.queue[0][0], min(nozzle.free for nozzle in self.nozzles))

    def arrive(self, came: Between, is_scrap: bool) -> None:
        """A part that the station before has finished may be begun as soon as it may go on."""
        job = next(job for job in self.result.jobs if job.part == came.part)
        origin = "" if came.origin == self.origin else came.origin
        work = Work(job, came.serial, is_scrap, origin=origin, fate=came.fate, came=came)
        due = max(came.ready, self.result.calendar.start)
        heapq.heappush(self.queue, (due, 1, next(self.numbers), work))

    def release(self, nozzle: Nozzle, at: float) -> None:
        """A finished part leaves the nozzle that it held since its end, or since the shift began."""
        nozzle.free = max(at, self.result.calendar.start)
        nozzle.blocked += self._time_between(nozzle.idle_since, nozzle.free)

    def shut(self, waiting: Sequence[Between]) -> None:
        """The shift is over: nozzles that are blocked stay so, others starve where parts are missing.

        `waiting` are the parts that stand before the station, most of them in cure still.
        """
        end, count = self.result.calendar.end, len(self.nozzles)
        for due, _, _, work in sorted(self.queue, key=lambda item: item[:3]):
            if work is not None and work.turn:
                self._leave(work, due)
        is_short = any(job.part in self.fed and job.begun < job.started for job in self.result.jobs)
        came = min(waiting, key=lambda part: part.ready, default=None)
        for nozzle in self.nozzles:
            if nozzle.is_blocked:
                nozzle.blocked += self._time_between(nozzle.idle_since, end)
                nozzle.free = nozzle.idle_since
            elif came is not None:
                self._starve(nozzle, nozzle.free, came)
            elif is_short:
                nozzle.starved += self._time_between(nozzle.free, end)
        self.result.starved = math.fsum(nozzle.starved for nozzle in self.nozzles) / count
        self.result.for_cure = math.fsum(nozzle.for_cure for nozzle in self.nozzles) / count
        self.result.blocked = math.fsum(nozzle.blocked for nozzle in self.nozzles) / count

    # -- parts in their order ---------------------------------------------------------------

    def _take_over(self) -> Iterator[Due]:
        """Parts that the shift before left half done, those that wait longest first."""
        station, start = self.station.station, self.result.calendar.start
        self.store.half_done.pop(station, None)
        waiting = [item.on(self.date) for item in self.store.to_mate.pop(station, ())]
        if later := [item for item in waiting if item.planned > self.result.calendar.end]:
            self.store.to_mate[station] = later
        jobs = {job.part: job for job in self.result.jobs}
        for place, item in enumerate(self.taken):
            job = jobs[item.part]
            job.taken += 1
            job.resumed += item.origin == self.origin and not item.is_scrap
            work = Work(
                job,
                item.serial,
                item.is_scrap,
                item.turn,
                item.begun,
                item.ended,
                item.origin,
                is_taken=True,
                fate=item.fate,
            )
            yield max(start, item.due), 1, place - len(self.taken), work

    def _is_lost(self, work: Work, due: float, visit: Visit) -> bool:
        """Whether the open time of a part that was taken over ends before its visit could."""
        if self.open_clock is None:
            return False
        latest = self.open_clock.when(work.begun, 1.0)
        calendar = self.result.calendar
        soonest = calendar.fit(max(self.nozzle.free, due), visit.duration) + visit.duration
        if soonest == math.inf:
            soonest = calendar.end
        if soonest <= latest + SAME_TIME:
            return False
        self.result.lost.append(Lost(work.job.part, work.serial, work.origin, latest, soonest))
        work.job.lost += 1
        work.is_lost = True
        return True

    def _leave(self, work: Work, due: float) -> None:
        """What was begun and cannot go on in this shift is left to the next."""
        if work.is_lost or not work.turn:
            return
        work.job.carried += 1
        if self.following is None and self.stretch.is_last and not work.is_taken:
            known = self.too_late.setdefault(work.job.part, work)
            if work.begun < known.begun:
                self.too_late[work.job.part] = work
        self.store.half_done.setdefault(self.station.station, []).append(
            HalfDone(
                self.date,
                work.origin or self.origin,
                work.job.part,
                work.serial,
                work.is_scrap,
                work.turn,
                work.begun,
                work.ended,
                due,
                work.fate,
            )
        )

    def _parts(self) -> Iterator[Due]:
        """Parts taken over; then those to start in order, the scrap spread evenly among them."""
        yield from self._take_over()
        takt, clock = self.result.takt, self.result.calendar.clock
        own = (job for job in self.result.jobs if job.part not in self.fed)
        works = _works(own, self.fates) if self.works is None else self.works
        for number, work in enumerate(works):
            yield clock(number * takt), 1, number, work

    def _checks(self) -> Iterator[Due]:
        """Check shots at their rate over the working time."""
        calendar, rate = self.result.calendar, self.station.checks
        if rate:
            for turn in range(math.ceil(calendar.available * rate - EQUAL)):
                yield calendar.clock(turn / rate), 0, turn, None

    def _soonest(self, due: float, visit: Visit) -> float:
        """When a visit could be made, nothing changed or purged before; inf: not in this shift."""
        return self.result.calendar.fit(max(self.nozzle.free, due), visit.duration)

    def _ready(self, due: float, visit: Visit) -> float | None:
        """When a visit begins, containers changed and the mixer fresh; None: not in this shift.

        A container is changed as soon as the part before is done; a purge comes last.
        """
        supply, limit = self.supply, self.station.purge_share
        begin = self.result.calendar.fit(max(self.nozzle.free, due), visit.duration)
        while begin < math.inf:
            pieces = visit.pieces
            if not supply.suffices(visit.needs):
                begin = self._change_containers(due, begin, visit)
                pieces = supply.pieces(visit)
            if self.nozzle.mixer.keeps(limit, pieces, begin):
                return begin if begin < math.inf else None
            begin, is_steady = self._refresh(begin, pieces, visit)
            if is_steady:
                return begin
        return None

    def _change_containers(self, due: float, begin: float, visit: Visit) -> float:
        """Change the containers that cannot finish a visit; when it may begin, inf: not in this shift."""
        fit, supply, station = self.result.calendar.fit, self.supply, self.station
        letters = supply.cannot_finish(visit.needs)
        if letters:
            time = len(letters) * station.container_time
            at = fit(self.nozzle.free, time)
            begin = fit(max(at + time, due), visit.duration)
            if begin == math.inf:
                return begin
            self.nozzle.free = supply.change_before(letters, at)
        return fit(begin, self._duration(visit, supply.pieces(visit)))

    @staticmethod
    def _duration(visit: Visit, pieces: tuple[Piece, ...]) -> float:
        """Time of a visit, with the changes of containers that run empty in it."""
        return visit.duration + pieces[-1].end - visit.pieces[-1].end

    def _refresh(self, begin: float, pieces: tuple[Piece, ...], visit: Visit) -> tuple[float, bool]:
        """See that the mixer is fresh enough for a visit: when it may begin, and whether that is settled.

        It is not where the purge took time, or so much that the containers must be looked at again.
        """
        if not self.nozzle.mixer.passes(self.station.purge_share, pieces, begin):
            return begin, True
        fit, result = self.result.calendar.fit, self.result
        begin, idle = self._with_its_purge(begin, pieces, self._duration(visit, pieces))
        if begin == math.inf:
            return begin, False
        why, changes = self._why(begin), result.purges + result.mixers
        fresh = self.freshen(self._idle(idle, begin, why), pieces, why)
        if fresh == begin and (changes == result.purges + result.mixers or self.supply.suffices(visit.needs)):
            self._note_age(begin, pieces)
            return begin, True
        self.nozzle.free = self.nozzle.idle_since = fresh
        return fit(fresh, visit.duration), False

    def _with_its_purge(
        self, begin: float, pieces: tuple[Piece, ...], duration: float
    ) -> tuple[float, Idle | None]:
        """When a visit and what it asks for before it are not broken, inf: not in this shift; the idle time
        before it in which the mixer would pass its limit."""
        while begin < math.inf:
            idle = self._weigh_idle(begin, pieces)
            time = self._freshen_time(begin, pieces) if idle is None else idle.delay(self.station.idle)
            found = self.result.calendar.fit(begin, duration + time)
            if found == begin:
                return begin, idle
            begin = found  # a longer idle time
        return begin, None

    def _dispense(self, work: Work, visit: Visit, begin: float, number: int) -> None:
        """The material of one visit goes on."""
        if work.turn:
            self._wait_kept(work)
        category, on_part = "scrap" if work.is_scrap else "parts", f"{work.job.part} no. {work.serial}"
        draw, push, lost = self.supply.draw, self.nozzle.mixer.push, 0.0
        for volume, start, end in visit.pieces:
            at = begin + start + lost
            lost += draw(volume, category, at, end - start, on_part)
            push(volume, at, begin + end + lost)
        work.ended = begin + visit.duration + lost
        self._note_visit(begin, work.ended)
        self.nozzle.free = self.nozzle.idle_since = work.ended
        self.result.busy += visit.duration + lost
        if not work.is_scrap:
            work.job.done[work.turn] += 1
        if work.turn == 0:
            work.begun = begin
            work.job.begun += 1
            self._surface(work, number)

    def _wait_kept(self, work: Work) -> None:
        """From when on the next shot of a part may be poured."""
        visits = in_one_go(work.job.applications)
        before, now = visits[work.turn - 1][-1], visits[work.turn][0]
        self.result.later_shots.append(LaterShot(work.serial, now, before.shot, work.ended, work.origin))

    def _finish(self, work: Work) -> None:
        """A part is done."""
        if work.is_scrap:
            work.job.scrapped += 1
        else:
            work.job.finished += 1
            work.job.taken_finished += work.is_taken and work.origin != self.origin
        self._batch(work)

    def _check_first(self, due: float) -> None:
        """The first check of a run is of each nozzle that is free then: each has a mixer of its own."""
        for nozzle in self.nozzles:
            if nozzle.free <= due:
                self.nozzle = nozzle
                self._check(due)
        self.nozzle = min(self.nozzles, key=lambda nozzle: nozzle.free)

    def _check(self, due: float) -> None:
        """Check shots on one cup; a check that the shift has no time for is left out."""
        result, flow = self.result, self.station.flow
        begin = result.calendar.fit(max(self.nozzle.free, due), 0.0)
        if begin == math.inf:
            return
        volume = result.check_volume
        duration = volume / NANO / flow if flow else 0.0
        pieces = (Piece(volume, 0.0, duration),)
        if not self.nozzle.mixer.keeps(self.station.purge_share, pieces, begin):
            why = self._why(begin)
            begin = self.freshen(self._idle(self._weigh_idle(begin, pieces), begin, why), pieces, why)
        end = begin + duration + self.supply.draw(volume, "checks", begin, duration)
        self.nozzle.mixer.push(volume, begin, end)
        self._note_mixer(end)
        result.check_shots += 1
        count = self.check_count
        text = "check shot: weigh it" if count == 1 else f"check: weigh {count} shots together"
        self._tell(begin, "check", partial(str, text), volume)
        self.nozzle.free = self.nozzle.idle_since = end

    def _why(self, begin: float) -> str:
        for a, b in self.result.calendar.breaks:
            if self.nozzle.idle_since <= a + SAME_TIME and begin >= b - SAME_TIME:
                return f" after the {self.result.calendar.pause((a, b))}"
        return ""

    # -- windows and cure -------------------------------------------------------------------

    def _surface(self, work: Work, number: int) -> None:
        """From surface treatment to dispensing."""
        window = self.result.material.surface_window
        if window is None:
            return
        calendar = self.result.calendar
        came = number * self.result.takt if work.came is None else calendar.worked(work.came.ready)
        arrival = came - self.station.treatment_lead
        treated = calendar.clock(arrival)
        latest = treated + window
        part, serial = work.job.part, work.serial
        self.result.treated_until.append((part, serial, latest, work.begun))
        if work.begun > latest + SAME_TIME:
            self.result.late_surface.append((part, serial, latest, work.begun))

    def _batch(self, work: Work) -> None:
        """Put a part to its batch, in whichever order the parts are done."""
        part, serial = work.job.part, work.serial
        origin = "" if work.origin == self.origin else work.origin  # half done when a rest of it began
        key = (part, origin, (serial - 1) // self.station.batch)
        batch = self.batches.get(key)
        if batch is None:
            number = self.batch_numbers.setdefault(key, len(self.batch_numbers) + 1)
            batch = Batch(number, part, [], work.begun, work.ended, origin=origin)
            self.batches[key] = batch
            self.result.batches.append(batch)
        batch.serials.append(serial)
        if batch.first_done is None or work.ended < batch.first_done.ended:
            batch.first_done = FirstDone(serial, work.ended)
        batch.begun, batch.ended = min(batch.begun, work.begun), max(batch.ended, work.ended)
        self._mate(batch, work)

    def _mate(self, batch: Batch, work: Work) -> None:
        """From the first material on the part to mating; the delay runs from when it is done."""
        if self.open_clock is None:
            return
        latest, planned, is_left = self._mating(self.open_clock, work.begun, work.ended)
        mating = Mating(work.serial, latest, planned, work.ended)
        if is_left:
            origin = work.origin or self.origin
            self.store.to_mate.setdefault(self.station.station, []).append(
                ToMate(self.date, origin, batch.part, work.serial, mating.latest, mating.planned)
            )
        if batch.tightest is None or mating.latest < batch.tightest.latest - SAME_TIME:
            batch.tightest = mating
        if mating.late > SAME_TIME:
            batch.late.append(mating)
            self.result.late_mating.append((batch.part, work.serial, latest, planned))

    def _mating(
        self, clock: OpenClock, begun: float, ended: float, *, stays_in_break: bool = True
    ) -> tuple[float, float, bool]:
        """By when a part must be mated [s], when it is by plan, and whether what is played then is over.

        The crew stays for one that would else be lost, at the end of the shift or into a break.
        """
        calendar, delay = self.mating_calendar, self.station.mating_delay
        planned, latest = self._worked_on(ended, delay), clock.when(begun, 1.0)
        stays = [(calendar.add(ended, delay), calendar.end)]
        if stays_in_break and ended < calendar.end:
            stays.insert(0, (ended + delay, calendar.until(ended)))
        for mated, end in stays:
            if planned > latest and mated <= min(latest, end + CREW_STAYS):
                return latest, mated, not self.stretch.is_last and mated > self.result.calendar.end
        return latest, planned, planned > self.result.calendar.end

    def _held_until(self, work: Work, due: float, steps: Sequence[Visit]) -> float | None:
        """The end of a break over which the open time of a part would end, begun now; None: begin it."""
        if work.turn or self.open_clock is None:
            return None
        calendar, delay = self.result.calendar, self.station.mating_delay
        begin = calendar.fit(max(self.nozzle.free, due), steps[0].duration)
        if len(steps) == 1 and begin + steps[0].duration + delay <= calendar.until(begin):
            return None
        latest, planned = self._mating_of(self.open_clock, begin, steps)
        if planned <= latest + SAME_TIME:
            return None
        for start, end in calendar.breaks:
            if begin < start < latest:
                later, mated = self._mating_of(self.open_clock, end, steps)
                if mated <= later + SAME_TIME:
                    return end
        return None

    def _tell_hold(self, part: str, begin: float, until: float) -> None:
        """From when on parts of a sort are not begun before a break: told once of each."""
        if (part, until) in self.holds:
            return
        self.holds.add((part, until))
        calendar = self.result.calendar
        pause = next(calendar.pause(pause) for pause in calendar.breaks if pause[1] == until)
        words = (
            f"{part}: begin none before {hhmm(until, self.date)}, the open time would not outlast the {pause}"
        )
        self.result.events.append(Event(begin, "hold", words))

    def _tell_too_late(self) -> None:
        """From when on a part is better not begun: its next shot would come when the plan is over."""
        for part, work in self.too_late.items():
            shot = in_one_go(work.job.applications)[work.turn][0].shot
            since = hhmm(work.begun, self.date)
            words = f"{part}: begin none from {since} on, shot {shot} would come after the plan's last shift"
            self.result.events.append(Event(work.begun, "hold", words))

    def _mating_of(self, clock: OpenClock, begin: float, steps: Sequence[Visit]) -> tuple[float, float]:
        """The same of a part that is begun as soon as it can be from then on, nothing else in its way."""
        begun = ended = begin
        for turn, visit in enumerate(steps):
            begin = self.result.calendar.fit(ended + visit.wait if turn else begin, visit.duration)
            if begin == math.inf:
                return math.inf, math.inf
            begun, ended = begun if turn else begin, begin + visit.duration
        return self._mating(clock, begun, ended, stays_in_break=False)[:2]

    def _worked_on(self, clock: float, work: float) -> float:
        """When work that goes on in the next shift is done; without one the shift is taken to go on."""
        calendar, following = self.mating_calendar, self.following
        left = calendar.worked(clock) + work - calendar.available
        if following is None or left <= 0.0 or clock >= calendar.end:
            return calendar.add(clock, work)
        return max(following.clock(left), calendar.end)


def shift_calendar(
    plan: Plan, date: datetime.date, shift: str, days: int = 0, stretch: Stretch = WHOLE
) -> Calendar:
    """Working time of the shift of a date by the clock of so many days before, or of a stretch of it."""
    first, last = plan.hours_of(date, shift)
    later = days * DAY
    start = first if stretch.start is None else stretch.start
    end = last if stretch.end is None else stretch.end
    taken = () if stretch.through_breaks else plan.breaks_of(shift)
    breaks = ((a + later, b + later) for a, b in taken)
    stops = ((stop.start + later, stop.end + later) for stop in stretch.stops)
    return Calendar(start + later, end + later, breaks, stops)
