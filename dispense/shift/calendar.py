"""Working time of a shift: clock seconds against seconds worked."""

from __future__ import annotations

import datetime
import math
from bisect import bisect_right
from collections.abc import Iterable

from ..plan.records import Plan

SAME_TIME = 1e-6  # s; clock times as near as this are one, since they are sums of many


class Calendar:
    """Working time of a shift: clock seconds after midnight against seconds worked.

    >>> day = Calendar(21600.0, 50400.0, [(36000.0, 37800.0)])  # 6:00 to 14:00, break 10:00-10:30
    >>> day.available, day.clock(4 * 3600.0), day.worked(37800.0)
    (27000.0, 37800.0, 14400.0)
    """

    def __init__(
        self,
        start: float,
        end: float,
        breaks: Iterable[tuple[float, float]] = (),
        stops: Iterable[tuple[float, float]] = (),
    ) -> None:
        """`stops` are times in which the line stands; as in a break nobody works."""
        self.start, self.end = start, end
        self.stops = self._within(stops)
        self.breaks = sorted([*self._within(breaks), *self.stops])  # both
        self.intervals: list[tuple[float, float]] = []
        at = start
        for a, b in self.breaks:
            if a > at:
                self.intervals.append((at, a))
            at = max(at, b)
        if at < end:
            self.intervals.append((at, end))
        self._starts = [a for a, _ in self.intervals]
        self._ends = [b + SAME_TIME for _, b in self.intervals]  # by when work in one of them is over
        self._before = [0.0]
        for a, b in self.intervals:
            self._before.append(self._before[-1] + b - a)
        self.available = self._before[-1]

    def _within(self, pauses: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        """Those that fall into the shift, as far as they do."""
        start, end = self.start, self.end
        return [(max(a, start), min(b, end)) for a, b in pauses if b > start and a < end]

    def pause(self, pause: tuple[float, float]) -> str:
        """What one of `breaks` is called: a break, or a stop of the line."""
        return "stop" if pause in self.stops else "break"

    @classmethod
    def of(cls, plan: Plan, shift: str, date: datetime.date | None = None) -> Calendar:
        """The calendar of a shift of the plan, by the hours of a date where one is given."""
        row = plan.shift(shift)
        start, end = (row.start, row.end) if date is None else plan.hours_of(date, shift)
        return cls(start, end, plan.breaks_of(shift))

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
        past = max(clock - self.end, 0.0)
        place = bisect_right(self._starts, clock) - 1
        if place < 0:  # it begins with a break
            return past
        a, b = self.intervals[place]
        return self._before[place] + min(clock, b) - a + past

    def until(self, clock: float) -> float:
        """Up to when one may work on from a clock time; the time itself where nobody works then."""
        place = bisect_right(self._starts, clock) - 1
        return max(self.intervals[place][1], clock) if place >= 0 else clock

    def add(self, clock: float, work: float) -> float:
        """Clock time when `work` seconds have been worked after a clock time."""
        return self.clock(self.worked(clock) + work)

    def fit(self, clock: float, duration: float) -> float:
        """The first time from `clock` on at which work of this duration is not broken; inf if none."""
        starts, ends = self._starts, self._ends
        place = bisect_right(starts, clock)
        if place and clock + duration <= ends[place - 1]:
            return clock
        for later in range(place, len(starts)):
            if starts[later] + duration <= ends[later]:
                return starts[later]
        return math.inf

    def fit_before(self, clock: float, duration: float) -> float:
        """The last time up to `clock` at which work of this duration is not broken; -inf if none."""
        for a, b in reversed(self.intervals):
            begin = min(b - duration, clock)
            if begin >= a:
                return begin
        return -math.inf
