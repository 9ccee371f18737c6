"""Working time of a shift: clock seconds against seconds worked."""

from __future__ import annotations

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

    def __init__(self, start: float, end: float, breaks: Iterable[tuple[float, float]] = ()) -> None:
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

    @classmethod
    def of(cls, plan: Plan, shift: str) -> Calendar:
        """The calendar of a shift of the plan."""
        row = plan.shift(shift)
        return cls(row.start, row.end, plan.breaks_of(shift))

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

    def add(self, clock: float, work: float) -> float:
        """Clock time when `work` seconds have been worked after a clock time."""
        return self.clock(self.worked(clock) + work)

    def fit(self, clock: float, duration: float) -> float:
        """The first time from `clock` on at which work of this duration is not broken; inf if none."""
        place = max(bisect_right(self._starts, clock) - 1, 0)
        for a, b in self.intervals[place:]:
            begin = max(a, clock)
            if begin + duration <= b + SAME_TIME:
                return begin
        return math.inf
