"""A long idle time: purge every few minutes, or take the mixer off; the cheaper that keeps the limit.

It is long where the mixer would gel while nothing is dispensed. Each purge comes when the oldest material
reaches its share of the pot life; nobody purges in a break, so where that falls into one the purge comes
before it, and only where there is no time after it, as in work, while the mixer may still be purged
(`Mixer.is_lost_by`). Taking the mixer off costs its content and the time to put on another.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from ..base.clock import hhmm
from ..base.units import duration_text, told_volume_text
from ..plan.rows import Station
from ..plan.tables import IDLE_OFF, IDLE_PURGE
from .calendar import Calendar
from .mixer import GELLED, Mixer
from .store import NANO

MOST_IDLE_PURGES = 1_000  # that one idle time is worth reckoning with


@dataclass(frozen=True, slots=True)
class Idle:
    """An idle time from `since` to `until` [s], and what either way costs [nL, s]."""

    since: float
    until: float
    gelled: float  # when what stands in the mixer has used its pot life
    every: float  # how long what is fresh at its start keeps the limit [s]
    purges: tuple[float, ...] | None  # when to purge; None: purging does not keep the limit
    purge_volume: int  # of all purges
    purge_time: float
    off_volume: int
    off_time: float

    def takes_off(self, rule: str) -> bool:
        """Whether the mixer is taken off: by the station's rule, or since it is the cheaper."""
        if self.purges is None or rule == IDLE_OFF:
            return True
        if rule == IDLE_PURGE:
            return False
        return (self.off_volume, self.off_time) <= (self.purge_volume, self.purge_time)

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
        each = told_volume_text(self.purge_volume / len(self.purges) / NANO, 1)
        return (
            f"purging every {duration_text(self.every)} takes {len(self.purges)} × {each} "
            f"and {duration_text(self.purge_time)}"
        )


def weigh_idle(
    mixer: Mixer, station: Station, calendar: Calendar, purge: int, since: float, until: float
) -> Idle | None:
    """An idle time in which the mixer would gel, and what to do about it; None where it would not."""
    if mixer.life is None or not mixer.contents or mixer.share_used(until) < GELLED:
        return None
    gelled = mixer.reaches(GELLED)
    if gelled <= since:
        return None
    times = _purges(mixer.copy(), station, calendar, purge, since, until)
    every = mixer.life.when(since, station.purge_share) - since
    count = len(times or ())
    return Idle(
        since,
        until,
        gelled,
        every,
        times,
        count * purge,
        count * station.purge_time,
        mixer.content,
        station.mixer_time,
    )


def _purges(
    mixer: Mixer, station: Station, calendar: Calendar, purge: int, since: float, until: float
) -> tuple[float, ...] | None:
    """When to purge so that the mixer keeps its limit; None where it cannot."""
    times: list[float] = []
    after = since
    while len(times) < MOST_IDLE_PURGES:
        limit = max(mixer.reaches(station.purge_share), after)
        if limit >= until:
            return tuple(times) or None
        at = _purge_at(calendar, limit, after, station.purge_time)
        if at in times:  # one that takes no time is not made twice at once
            at = calendar.fit(limit, station.purge_time)
        if at >= until or mixer.is_lost_by(at + station.purge_time):
            return None
        times.append(at)
        after = at + station.purge_time
        mixer.push(purge, at, after)
    return None


def _purge_at(calendar: Calendar, limit: float, after: float, time: float) -> float:
    """When a purge that is due at `limit` is begun, not before `after`: before a break that it falls into."""
    at = calendar.fit(limit, time)
    before = calendar.fit_before(limit, time)
    return before if at > limit and before >= after else at


def off_text(idle: Idle, day: datetime.date) -> str:
    """What to do when the mixer comes off, by the clock of a day."""
    return (
        f"take the mixer off: no part until {hhmm(idle.until, day)}, its pot life is over at "
        f"{hhmm(idle.gelled, day)}; {idle.words_off}, {idle.words_purge}"
    )


__all__ = ["Idle", "off_text", "weigh_idle"]
