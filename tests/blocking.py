"""A line of stations with room between them, part by part: the recursion of blocking after service.

The planner plays whole stations, with mixers and breaks; this is what is left of a line for plain times.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from dispense.base.numbers import Floats


class LineTimes(NamedTuple):
    """When each part starts at, is finished at and leaves each station [s]: rows parts, columns stations."""

    starts: Floats
    finishes: Floats
    departs: Floats


def line_times(
    arrivals: Floats, work: Floats, waits: Sequence[float], room: Sequence[int | None]
) -> LineTimes:
    """Start, finish and departure of parts that pass stations in a row, first come, first served.

    start_j(n)  = max(finish_{j−1}(n) + wait_{j−1}, depart_j(n − 1))
    finish_j(n) = start_j(n) + work_j(n)
    depart_j(n) = max(finish_j(n), start_{j+1}(n − room_j))

    A finished part stays in its station until there is room for it before the next (blocking after
    service). Room 0 hands over from station to station; None is room without limit.

    Args:
        arrivals: when parts come to the first station [s], in order.
        work: time of each part (rows) at each station (columns) [s].
        waits: least time from each station's finish to the next one's start [s], one less than stations.
        room: parts that have room between them, one less than stations.

    Returns:
        Times of every part at every station [s].

    Source: the recursion of tandem queues with blocking after service, as in Buzacott and Shanthikumar,
    Stochastic Models of Manufacturing Systems (1993), ch. 5 (from memory).

    >>> line_times([0.0, 0.0, 0.0], [[1.0, 3.0]] * 3, [0.0], [0]).starts.tolist()
    [[0.0, 1.0], [1.0, 4.0], [4.0, 7.0]]
    """
    work = np.asarray(work, dtype=float)
    parts, stations = work.shape
    starts, finishes, departs = (np.zeros((parts, stations)) for _ in range(3))
    for n in range(parts):
        ready = float(arrivals[n])
        for j in range(stations):
            free = departs[n - 1, j] if n else ready
            starts[n, j] = max(ready, free)
            finishes[n, j] = starts[n, j] + work[n, j]
            ready = finishes[n, j] + (waits[j] if j < stations - 1 else 0.0)
        departs[n] = finishes[n]
        for j, places in enumerate(room):
            if places is not None and n >= places:
                departs[n, j] = max(finishes[n, j], starts[n - places, j + 1])
    return LineTimes(starts, finishes, departs)


__all__ = ["LineTimes", "line_times"]
