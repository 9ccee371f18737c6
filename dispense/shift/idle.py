"""A long idle time: purge every few minutes, or take the mixer off; the cheaper that keeps the limit.

It is long where the mixer would gel while nothing is dispensed. A purge keeps the limit where each
falls in working time before the oldest material is past its share of the pot life by so much that it
gels; nobody purges in a break. Taking the mixer off costs its content and the time to put on another.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..base.clock import hhmm
from ..base.units import duration_text
from ..plan.rows import Station
from ..plan.tables import IDLE_OFF, IDLE_PURGE
from .calendar import Calendar
from .mixer import GELLED, Mixer

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
        return f"a new mixer takes {self.off_volume / 1e6:.1f} mL and {duration_text(self.off_time)}"

    @property
    def words_purge(self) -> str:
        """What purging through the idle time costs."""
        if self.purges is None:
            return "purging cannot keep the limit"
        return (
            f"purging every {duration_text(self.every)} takes {len(self.purges)} × "
            f"{self.purge_volume / len(self.purges) / 1e6:.1f} mL and {duration_text(self.purge_time)}"
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
        at = calendar.fit(limit, station.purge_time)
        if at >= until or mixer.share_used(at) >= GELLED:
            return None
        times.append(at)
        after = at + station.purge_time
        mixer.push(purge, at, after)
    return None


def off_text(idle: Idle) -> str:
    """What to do when the mixer comes off."""
    return (
        f"take the mixer off: no part until {hhmm(idle.until)}, its pot life is over at {hhmm(idle.gelled)}; "
        f"{idle.words_off}, {idle.words_purge}"
    )


__all__ = ["Idle", "off_text", "weigh_idle"]
