"""What a played shift gives: events, jobs, batches, lots, and the balance to the last nanolitre."""

from __future__ import annotations

import datetime
import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from ..base.findings import Finding, WithFindings
from ..plan.amounts import Amount, Application, in_one_go, total
from ..plan.materials import WorkingLife, mix_shares, mixed_density
from ..plan.rows import Component, Material, Station
from ..plan.weather import between
from .calendar import Calendar
from .cure_times import CureTimes
from .idle import Idle
from .pace import Pace
from .today import OverFull, PastDay, TooLong
from .weighing import Weighing, check_shot

CATEGORIES = ("parts", "scrap", "start", "end", "purge", "mixers", "checks", "heel", "rest", "expired")
UNMIXED = ("heel", "rest", "expired")  # lost in containers, never mixed


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens at a clock time [s]: kind, what it concerns, volume [nL]."""

    clock: float
    #: start, purge, mixer, off, container, check, hold, break, stop, end, short, expired, change over
    kind: str
    text: str
    component: str = ""
    lot: str = ""
    volume: int = 0


#: what makes ready for the rest of its minute stands before it: what is taken off, missing or connected
MAKES_READY = ("change over", "expired", "short", "container")


def in_order(event: Event) -> tuple[float, bool]:
    """Where an event stands in a list: by the clock; of one time what must be connected for the others first.

    >>> rows = [Event(0.0, "start", "purge"), Event(0.0, "container", "connect B"), Event(60.0, "end", "")]
    >>> [event.kind for event in sorted(rows, key=in_order)]
    ['container', 'start', 'end']
    """
    return event.clock, event.kind not in MAKES_READY


@dataclass(frozen=True, slots=True)
class RanEmpty:
    """A container that ran empty while material went on a part; clock time [s]."""

    letter: str
    clock: float


@dataclass(frozen=True, slots=True)
class Purged:
    """A purge as it was played, of the oldest mix; clock time [s]."""

    clock: float
    share: float  # of the pot life that the oldest material had used


@dataclass(frozen=True, slots=True)
class Lost:
    """A part that was taken over and cannot be finished within its open time; clock times [s]."""

    part: str
    serial: int
    origin: str
    latest: float
    soonest: float


@dataclass(frozen=True, slots=True)
class Handover:
    """What one shift leaves to the next at a station; clock times [s].

    Parts of one sort together, a mixer, or a container with what it holds [nL]. `following` is when its
    next step is due, at the earliest or as `is_planned`, `latest` until when that must be done.
    """

    what: str
    part: str = ""
    numbers: str = ""
    count: int = 0
    following: float | None = None
    latest: float | None = None
    volume: int = 0
    is_planned: bool = False


@dataclass(slots=True)
class Job:
    """A part in the shift: good parts asked for, and what became of those started and taken over.

    begun + taken = finished + scrapped + lost + carried. `finished` are good, those taken over among them,
    of another shift (`taken_finished`) and of this one (`resumed`); `done` counts the visits that good
    parts had, by their turn.
    """

    part: str
    quantity: int
    started: int
    applications: list[Application]
    finished: int = 0
    scrapped: int = 0
    begun: int = 0
    taken: int = 0
    taken_finished: int = 0
    resumed: int = 0  # good parts taken over that the same shift has begun, in a rest of it
    lost: int = 0
    carried: int = 0
    done: Counter[int] = field(default_factory=Counter)

    @property
    def shot(self) -> Amount:
        """What one part takes at this station."""
        return total(item.amount for item in self.applications)

    @property
    def visits(self) -> int:
        """How often one part comes under the nozzle."""
        return len(in_one_go(self.applications))

    @property
    def asked(self) -> int:
        """Good parts asked for, in a rest of a shift with those begun before it and not done yet."""
        return self.quantity + self.resumed

    @property
    def own_finished(self) -> int:
        """Good parts of this shift's own builds: of those that are `asked`."""
        return self.finished - self.taken_finished

    @property
    def on_parts(self) -> Amount:
        """What went on good parts, finished or not [m³]."""
        visits = in_one_go(self.applications)
        return total(
            item.amount.scaled(self.done[turn]) for turn, visit in enumerate(visits) for item in visit
        )


class Mating(NamedTuple):
    """Number of a part, the clock time [s] by which it must be mated, and when it is by plan.

    `ended` is when it is dispensed: from then on it can be mated.
    """

    serial: int
    latest: float
    planned: float
    ended: float

    @property
    def late(self) -> float:
        """Time by which the plan is too late [s]; below 0 where time is left."""
        return self.planned - self.latest


class LaterShot(NamedTuple):
    """A shot of a part that waits for the one before: from when [s] it may be poured, as played."""

    serial: int
    application: Application  # what is poured
    before: int  # the shot that it waits for
    poured: float  # when that was done
    origin: str = ""  # the shift that began the part, where that is another

    @property
    def part(self) -> str:
        """The part that it is poured on."""
        return self.application.part

    @property
    def shot(self) -> int:
        """Its number."""
        return self.application.shot

    @property
    def wait(self) -> float:
        """The least time after the shot before [s]."""
        return self.application.wait

    @property
    def earliest(self) -> float:
        """From when on it may be poured [s]."""
        return self.poured + self.wait


class FirstDone(NamedTuple):
    """The part of a batch that is done first: its number, when it is done and when it may be moved [s].

    `move` is told on a line, where the part goes on by itself; None: no handling time is stated.
    """

    serial: int
    ended: float
    move: float | None = None


@dataclass(slots=True)
class Batch:
    """Parts of one batch on the cure board; clock times [s], None where nothing is stated.

    The open time of each part runs on its own: `tightest` is the part whose ends first, so that no part
    of a batch that is mated by then is mated too late. `late` lists the parts that the plan mates too late.
    """

    number: int
    part: str
    serials: list[int]
    begun: float
    ended: float
    tightest: Mating | None = None
    late: list[Mating] = field(default_factory=list)
    origin: str = ""  # the shift that began its parts, where that is another
    cure: CureTimes = field(default_factory=CureTimes)
    first_done: FirstDone | None = None

    @property
    def first_move(self) -> float | None:
        """When its first part may be moved, where a line takes that on before the whole batch [s]."""
        first, whole = self.first_done, self.milestones.get("move")
        if first is None or first.move is None or whole is None or not first.move < whole:
            return None
        return first.move

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
        """By when the batch must be mated: the earliest of the latest matings of its parts."""
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


@dataclass(frozen=True, slots=True)
class Count:
    """How many parts stand somewhere through a shift: at most, and on the mean of its time."""

    peak: int = 0
    mean: float = 0.0


@dataclass(slots=True)
class Passage:
    """What stood between a station and the next in a shift, and what went through there.

    taken + entered = passed + handed. `between` counts parts that have left the one station and not begun
    at the next, `cure` those that may not go on yet; `stay` [s] is the mean time between the stations of
    those that went on.
    """

    before: str
    station: str
    room: int | None
    taken: int
    entered: int
    passed: int
    handed: int
    between: Count
    cure: Count
    stay: float | None


class MixerAge(NamedTuple):
    """At a clock time [s] the oldest material that stands in the mixer of a nozzle went in when it says.

    None: from then on no material ages there.
    """

    nozzle: int
    clock: float
    entered: float | None


@dataclass(slots=True)
class Course:
    """How a shift went, for who draws it; clock times [s].

    `work` are visits of parts: nozzle, start, end; `ages` what stood in the mixers; `levels` what could
    still be drawn [nL] from the container that was connected, by component.
    """

    work: list[tuple[int, float, float]] = field(default_factory=list)
    ages: list[MixerAge] = field(default_factory=list)
    levels: dict[str, list[tuple[float, int]]] = field(default_factory=dict)


class TooOld(NamedTuple):
    """A connected container that is thrown away as the shift begins: lot, last day, what was in it [nL]."""

    lot: str
    last_day: datetime.date
    volume: int


@dataclass(slots=True)
class ShiftResult(WithFindings):
    """A station's shift: what was used, when things happened, what was found."""

    date: datetime.date
    shift: str
    station: Station
    material: Material
    components: dict[str, Component]
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
    mixers_before: dict[str, int] = field(default_factory=dict)  # in mixers taken over, part of opening
    mixers_after: dict[str, int] = field(default_factory=dict)  # in mixers kept closed, part of closing
    filled: dict[str, int] = field(default_factory=dict)  # of the hoses, at the begin
    containers: dict[str, int] = field(default_factory=dict)
    #: what is drawn in its turn, whether for a part and of each component; kept where only volumes are wanted
    turns: list[tuple[bool, Mapping[str, int]]] = field(default_factory=list)
    missing: dict[str, int] = field(default_factory=dict)
    owed: dict[str, int] = field(default_factory=dict)  # what a shift before counted as here and lacked
    too_old: dict[str, TooOld] = field(default_factory=dict)
    past_day: list[PastDay] = field(default_factory=list)  # in a rest of a shift with what was before it
    lots: list[LotUse] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    late_surface: list[tuple[str, int, float, float]] = field(default_factory=list)
    late_mating: list[tuple[str, int, float, float]] = field(default_factory=list)
    #: part, number, until when its surface keeps, when it is begun
    treated_until: list[tuple[str, int, float, float]] = field(default_factory=list)
    purges: int = 0
    mixers: int = 0
    check_shots: int = 0
    check_volume: int = 0  # all shots of one check together
    between: int = 0  # purges and mixer changes that no break brought about
    busy: float = 0.0
    run_end: float = 0.0  # when the last part is done [s]
    ran_empty: list[RanEmpty] = field(default_factory=list)
    too_long: list[TooLong] = field(default_factory=list)
    oldest_purge: Purged | None = None
    idles: list[Idle] = field(default_factory=list)
    later_shots: list[LaterShot] = field(default_factory=list)
    lost: list[Lost] = field(default_factory=list)
    taken_over: list[Handover] = field(default_factory=list)
    handed_over: list[Handover] = field(default_factory=list)
    has_following: bool = True  # whether the plan has a shift after this one
    is_first: bool = False  # of the station, as playing begins
    since: float | None = None  # from when the rest of a shift is played [s]
    past_limit: tuple[TooLong, ...] = ()  # before that, by the age of a mixer that was told
    later_before: list[str] = field(default_factory=list)  # parts begun before that which have later shots
    batches_before: int = 0  # the highest number of a batch that was begun before that
    over: OverFull | None = None  # done before that, more than fits beside the breaks
    is_fed: bool = False  # whether all parts come from the stations before
    starved: float = 0.0  # working time without a part from the station before, mean of nozzles [s]
    for_cure: float = 0.0  # of that, while the part to come was in cure still [s]
    blocked: float = 0.0  # with a finished part for which there is no room, mean of nozzles [s]
    passages: list[Passage] = field(default_factory=list)  # from the stations before
    pace: Pace | None = None  # what sets the pace of the station's line
    course: Course = field(default_factory=Course)

    @property
    def shop_record(self) -> list[float]:
        """Temperatures from start to end of the shift [K], ends interpolated."""
        return between(self.temperatures, self.calendar.start, self.calendar.end)

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

    def left_in_container(self, letter: str) -> int:
        """What stands in the container at the end, its heel with it [nL]."""
        return self.closing[letter] - self.hoses[letter] - self.mixers_after[letter]

    def drawn(self, letter: str) -> int:
        """What the shift used up, thrown heels included [nL]."""
        return sum(self.used[letter].values())

    def balance(self, letter: str) -> int:
        """opening + mounted − everything it went to − closing; 0 by construction, and by test."""
        return self.opening[letter] + self.mounted[letter] - self.drawn(letter) - self.closing[letter]

    def staged(self, letter: str) -> list[LotUse]:
        """Lots to bring from store; what is missing there is not among them."""
        return [use for use in self.lots if use.component == letter and not use.is_missing]

    def lacking(self, letter: str) -> int:
        """Containers that no store holds: of this shift, and the one that an earlier shift still lacks."""
        missing = sum(use.containers for use in self.lots if use.component == letter and use.is_missing)
        return missing + (1 if self.owed.get(letter) else 0)

    def dispensed(self, category: str) -> int:
        """Mixed material of one category, all components together [nL]."""
        return sum(self.used[letter][category] for letter in self.used)

    @property
    def takt_stated(self) -> float | None:
        """The takt, None where no part is to be begun or all come from the stations before."""
        return self.takt if self.takt < math.inf and not self.is_fed else None

    @property
    def parts_amount(self) -> Amount:
        """What goes on good parts, with its spread [m³]."""
        return total(job.on_parts for job in self.jobs)

    @property
    def is_short(self) -> bool:
        """Whether fewer good parts are finished than asked for."""
        return any(job.own_finished < job.asked for job in self.jobs)
