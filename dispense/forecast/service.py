"""Many futures of one component's stock at once: how often it runs short, with orders and without.

Lots are pooled here, first expired first out; what stands in open containers is not told apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..shift.store import NANO
from .orders import StockRule

NOTHING = 1.0 / NANO  # m³: what is less than the nanolitre that is counted is no stock and no shortage


def project(lots: Sequence[tuple[float, int, int]], need: np.ndarray) -> np.ndarray:
    """Stock that may be used at the end of each day, taken first-expired first-out.

    >>> project([(5.0, 0, 1), (5.0, 0, 9)], np.array([2.0, 2.0, 2.0, 2.0, 2.0]))
    array([8., 5., 3., 1., 0.])
    """
    return draw_stock(lots, need[None, :])[0][0]


def draw_stock(lots: Sequence[tuple], need: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stock at the end of each day and the shortage of each day, for many futures at once.

    `lots` are (volume, first day, last day); the first day may be an array with one value a future.
    `need` has a row for each future and a column for each day.
    """
    futures, days = need.shape
    order = sorted(range(len(lots)), key=lambda place: (lots[place][2], place))
    left = [np.full(futures, float(lots[place][0])) for place in order]
    stock, short = np.zeros((futures, days)), np.zeros((futures, days))
    for day in range(days):
        wanted = need[:, day].copy()
        usable = np.zeros(futures)
        for place, rest in zip(order, left, strict=True):
            _, arrives, last = lots[place]
            if last < day:
                continue
            here = np.asarray(arrives) <= day
            if not here.any():
                continue
            taken = np.where(here, np.minimum(rest, wanted), 0.0)
            rest -= taken
            wanted -= taken
            if last > day:
                usable += np.where(here, rest, 0.0)
        stock[:, day], short[:, day] = usable, wanted
    return stock, short


def simulate_service(
    lots: Sequence[tuple],
    need: np.ndarray,
    planned: np.ndarray,
    rule: StockRule,
    order: float,
    rng: np.random.Generator,
) -> tuple[float, int]:
    """Order cycles without a shortage as a share, and the number of cycles, in many futures.

    In each future stock is looked at in the evening: where stock and open orders less the planned use
    of the lead time fall below the safety stock, `order` [m³] is ordered, and arrives after a lead
    time drawn from its normal distribution. A cycle ends with an arrival. Cycles whose order is late
    from the start are left out: no rule could have saved them. `planned` reaches a lead time beyond
    the days of `need`.
    """
    futures, days = need.shape
    lead = max(rule.lead_time, 0.0)
    ahead = math.ceil(lead)
    first = sorted(
        ((float(volume), int(arrives), int(last)) for volume, arrives, last in lots), key=lambda lot: lot[2]
    )
    left = [np.full(futures, volume) for volume, _, _ in first]
    bought = np.zeros(futures)
    due = np.zeros((futures, days))
    open_orders = np.zeros(futures)
    clean = np.ones(futures, dtype=bool)
    good = count = 0
    late_until = np.full(futures, -1)  # when an order that was late from the start arrives
    for day in range(days):
        arrived = due[:, day] > 0.0
        bought += due[:, day]
        open_orders -= due[:, day]
        cycles = arrived & (day > late_until)
        count += int(cycles.sum())
        good += int((cycles & clean).sum())
        clean |= arrived
        wanted = need[:, day].copy()
        usable = np.zeros(futures)
        for (_, arrives, last), rest in zip(first, left, strict=True):
            if arrives <= day <= last:
                taken = np.minimum(rest, wanted)
                rest -= taken
                wanted -= taken
                if last > day:
                    usable += rest
            elif day < arrives <= day + ahead:
                usable += rest  # an open order of the plan
        taken = np.minimum(bought, wanted)
        bought -= taken
        wanted -= taken
        clean &= wanted <= NOTHING
        position = usable + bought + open_orders - planned[day + 1 : day + 1 + ahead].sum()
        lacking = rule.safety_stock - position
        placing = lacking > 0.0
        if placing.any() and order > 0.0:
            times = np.where(placing, np.maximum(np.ceil(lacking / order), 1.0), 0.0)
            delay = np.ceil(np.maximum(lead + rule.lead_spread * rng.standard_normal(futures), 1.0))
            arrival = day + delay.astype(int)
            inside = placing & (arrival < days)
            due[inside, arrival[inside]] += times[inside] * order
            if day == 0:
                late_until = np.where(placing, arrival, late_until)
            open_orders += times * order
    return (good / count if count else math.nan), count


__all__ = ["NOTHING", "draw_stock", "project", "simulate_service"]
