"""An idle time in which the mixer would pass its limit: purge, or take the mixer off.

No part comes for so long that the oldest material would reach its share of the pot life: what a crew does
that knows its breaks and its takt.

- It is purged when the limit is reached, in the idle time and not at the cost of the part after it. Nobody
  purges in a break: a purge that falls into one is made before it, as late as may be, if what is fresh then
  keeps the limit until work goes on. A purge after the break would push out what has stood past the limit.
- Where purging cannot keep the limit (the break is longer than it) the mixer comes off as soon as the part
  before is done, and a new one is put on for the next. To keep it closed saves nothing: it ages all the same.
- A long idle time is one through which one purge does not keep the limit, or in which the mixer would gel.
  Then both ways are weighed, purging at each limit against a new mixer: the fewer millilitres, then the less
  time, unless the station states what is done. In a shorter one the station's rule says what is done at the
  limit. Where that is to purge, and a new mixer takes less and is no slower, it is told. Where it is to
  change the mixer, it comes off at the limit, so that it does not harden on the outlets, and the next part
  gets a new one: what is in it is thrown away either way.

(What crews do: common practice, no source.)
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import NamedTuple

from ..base.clock import hhmm
from ..base.numbers import EQUAL
from ..base.units import duration_text, told_volume_text
from ..handbook.life import LifeClock
from ..plan.rows import Station
from ..plan.tables import CHANGE_MIXER, IDLE_OFF, IDLE_PURGE
from .calendar import SAME_TIME, Calendar
from .mixer import Mixer
from .store import NANO
from .visits import Piece

#: what is done with a mixer that comes off, whenever it does: what hardens on an open outlet stops it
#: (common practice, no source)
TAKE_OFF = "take the mixer off and close the outlets"
MOST_IDLE_PURGES = 1_000  # that one idle time is worth reckoning with


class Idle(NamedTuple):
    """An idle time from `since` to `until` [s], and what either way costs [nL, s]."""

    since: float
    until: float
    limit: float  # when what stands in the mixer reaches its limit
    life: LifeClock  # of what stands in the mixer
    share: float  # of its pot life that is the limit
    purges: tuple[float, ...] | None  # when to purge; None: purging does not keep the limit
    purge_count: int  # those that the part after it asks for among them
    purge_volume: int  # of all purges
    purge_time: float
    purged: float  # when the part may begin after them
    off_volume: int
    off_time: float
    is_long: bool  # more than one purge, or the mixer would gel
    off_at: float  # when the mixer comes off, if it does
    is_changed: bool = False  # a short one at a station that changes its mixer and does not purge

    def takes_off(self, rule: str) -> bool:
        """Whether the mixer is taken off: by the station's rule, or since it is the cheaper."""
        if self.purges is None or self.is_changed:
            return True
        if not self.is_long or rule == IDLE_PURGE:
            return False
        return rule == IDLE_OFF or self.cost_off <= self.cost_purge

    def is_dearer(self, rule: str) -> bool:
        """Whether a short one is purged though an allowed new mixer takes less and no longer."""
        is_allowed = not self.is_long and rule != IDLE_PURGE
        return is_allowed and self.off_volume < self.purge_volume and self.off_time <= self.purge_time

    @property
    def cost_off(self) -> tuple[int, float]:
        """What a new mixer costs, as it is weighed: volume [nL], then time [s]."""
        return self.off_volume, self.off_time

    @property
    def cost_purge(self) -> tuple[int, float]:
        """What purging costs."""
        return self.purge_volume, self.purge_time

    def delay(self, rule: str) -> float:
        """Time after its end until a part may begin [s]."""
        return self.off_time if self.takes_off(rule) else self.purged - self.until

    @property
    def words_off(self) -> str:
        """What taking the mixer off costs."""
        taken = told_volume_text(self.off_volume / NANO, 1)
        return f"a new mixer takes {taken} and {duration_text(self.off_time)}"

    @property
    def words_purge(self) -> str:
        """What purging through the idle time costs."""
        if self.purges is None:
            return "purging cannot keep the limit"
        each = told_volume_text(self.purge_volume / self.purge_count / NANO, 1)
        every = self.life.when(self.since, self.share) - self.since
        return (
            f"purging every {duration_text(every)} takes {self.purge_count} × {each} "
            f"and {duration_text(self.purge_time)}"
        )


def weigh_idle(
    mixer: Mixer,
    station: Station,
    calendar: Calendar,
    purge: int,
    since: float,
    until: float,
    pieces: Sequence[Piece],
) -> Idle | None:
    """An idle time in which the mixer would pass its limit, and what to do about it; None: nothing.

    `purge` is the volume of one [nL], `pieces` are those of the visit after it.
    """
    share, since = station.purge_share, max(since, calendar.start)
    if mixer.life is None or not mixer.contents or until <= since or mixer.keeps(share, pieces, until):
        return None
    limit = mixer.reaches(share)
    if limit >= until - SAME_TIME or mixer.is_lost_by(since):
        return None
    in_a_row = max(1, math.ceil(mixer.renewal / purge * (1.0 - EQUAL)))
    trial = mixer.copy()
    times = _purges(trial, station, calendar, purge, since, until, in_a_row, limit)
    count, purged = len(times or ()), until
    if times:
        purged = max(until, times[-1] + station.purge_time)
        most = count + in_a_row if trial.keeps_fresh(share, pieces, purged) else count
        while count < most and trial.passes(share, pieces, purged):  # what the part asks for besides
            trial.push(purge, purged, purged + station.purge_time)
            count, purged = count + 1, purged + station.purge_time
    is_long = times is None or count > in_a_row or mixer.is_lost_by(until)
    is_changed = not is_long and station.rule == CHANGE_MIXER
    return Idle(
        since,
        until,
        limit,
        mixer.life,
        share,
        times,
        count,
        count * purge,
        count * station.purge_time,
        purged,
        mixer.content,
        station.mixer_time,
        is_long,
        max(calendar.fit_before(limit, 0.0), since) if is_changed else since,
        is_changed,
    )


def _purges(
    mixer: Mixer,
    station: Station,
    calendar: Calendar,
    purge: int,
    since: float,
    until: float,
    in_a_row: int,
    first: float,
) -> tuple[float, ...] | None:
    """When to purge so that the mixer keeps its limit, reached at `first`; None where it cannot."""
    times: list[float] = []
    after, time = since, station.purge_time
    while len(times) < MOST_IDLE_PURGES:
        limit = max(mixer.reaches(station.purge_share) if times else first, after)
        if limit >= until:
            return tuple(times)
        at = calendar.fit(limit, time)
        if at <= limit:
            count = 1
        else:  # it falls into a break
            found = _before(mixer, station, calendar, purge, after, min(at, until), in_a_row)
            if found is None:
                return None
            at, count = found
        for _ in range(count):
            times.append(at)
            after = at + time
            mixer.push(purge, at, after)
            at = after
    return None


def _before(
    mixer: Mixer, station: Station, calendar: Calendar, purge: int, after: float, until: float, in_a_row: int
) -> tuple[float, int] | None:
    """From when to purge before a break, not before `after`, and how often, so that the limit is kept to its
    end; None where that cannot be."""
    limit = mixer.reaches(station.purge_share)
    for count in range(1, in_a_row + 1):
        begin = calendar.fit_before(max(limit, after), count * station.purge_time)
        if begin < after - SAME_TIME:
            return None
        trial, at = mixer.copy(), begin
        for _ in range(count):
            trial.push(purge, at, at + station.purge_time)
            at += station.purge_time
        if trial.reaches(station.purge_share) >= until:
            return max(begin, after), count
    return None


def off_text(idle: Idle, day: datetime.date) -> str:
    """What to do when the mixer comes off, by the clock of a day."""
    why = f"no part until {hhmm(idle.until, day)}, it reaches its limit at {hhmm(idle.limit, day)}"
    if idle.is_changed:
        return f"{TAKE_OFF}: {why}; the next part gets a new one"
    return f"{TAKE_OFF}: {why}; {idle.words_off}, {idle.words_purge}"


def purge_text(idle: Idle, day: datetime.date, *, with_other: bool = False) -> str:
    """Why it is purged, by the clock of a day; of a short one, if asked, with what a new mixer takes."""
    until = f"no part until {hhmm(idle.until, day)}"
    if idle.is_long:
        return f"{until}; {idle.words_purge}, {idle.words_off}"
    words = f"{until}, the mixer reaches its limit at {hhmm(idle.limit, day)}"
    if not with_other:
        return words
    purged = told_volume_text(idle.purge_volume / NANO, 1)
    return f"{words}; {idle.words_off}, purging {purged} and {duration_text(idle.purge_time)}"


__all__ = ["TAKE_OFF", "Idle", "off_text", "purge_text", "weigh_idle"]
