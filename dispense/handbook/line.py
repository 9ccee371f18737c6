"""Line, shift and stock: takt, stations, containers, safety stock."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..base.fields import number
from ..base.numbers import EQUAL, Number
from ..base.units import AS_GIVEN, DAY
from .declare import example, out, workbook_function

_TAKT = number("takt", "s", "time between parts", above=0)
_CURE_TIME = number("cure_time", "min", "time a part stays in cure", at_least=0)
_LEAD_TIME = number("lead_time", "d", "time from order to receipt", at_least=0)
_LEAD_SD = number("lead_sd", "d", "standard deviation of the lead time", default=0.0, at_least=0)
_SERVICE = number(
    "service",
    "",
    "probability that no shortage occurs before the order arrives",
    default=0.95,
    at_least=0.5,
    below=1,
)
_NORMAL = (
    "demand over the lead time is taken as normally distributed and days as independent; "
    "lumpy or trending demand needs more"
)
_STOCK_SOURCE = (
    "Silver, Pyke & Peterson, Inventory Management and Production Planning and Scheduling, from memory"
)


def whole_up(share: Number) -> Number:
    """The whole number at or above, where a number within 1e-9 of a whole one is that whole one.

    A quotient that is exact on paper must not become one more by rounding.

    >>> float(whole_up(3.0000000001)), float(whole_up(3.01))
    (3.0, 4.0)
    """
    nearest = np.rint(share)
    return np.where(np.abs(share - nearest) <= EQUAL * share, nearest, np.ceil(share))


def _whole_up_formula(share: str) -> str:
    """`whole_up` in a spreadsheet's own functions."""
    return f"LET(share,{share},IF(ABS(share-ROUND(share,0))<=1E-9*share,ROUND(share,0),ROUNDUP(share,0)))"


@workbook_function(
    category="Line and stock",
    arguments=(
        number("available", "min", "working time, without breaks and planned stops", above=0),
        number("demand", "", "parts wanted in that time", above=0),
    ),
    returns=(out("takt", "s", "time between parts"),),
    equation="takt = available/demand",
    source="definition",
    valid="a steady rate over the working time",
    examples=(example((450, 300), 90.0, "27,000 s over 300 parts, by hand"),),
    formula="60*available/demand",
)
def takt(available: Number, demand: Number) -> Number:
    """Takt: working time for each part wanted.

    >>> takt(27000.0, 300)
    90.0
    """
    return available / demand


@workbook_function(
    category="Line and stock",
    arguments=(
        number("length", "mm", "length of beads", at_least=0),
        number("speed", "mm/s", "speed while dispensing", above=0),
        number("starts", "", "number of starts", default=1, at_least=0),
        number("start_time", "s", "time lost at each start and stop", default=0.0, at_least=0),
        number("travel", "mm", "length moved without material", default=0.0, at_least=0),
        number("travel_speed", "mm/s", "speed of that travel", default=None, above=0),
    ),
    returns=(out("time", "s", "time at the station"),),
    equation="t = length/speed + starts·start_time + travel/travel_speed",
    source="sum of times",
    valid="steady speeds; acceleration belongs to the start time",
    no_answer="travel needs a travel_speed",
    examples=(
        example((1200, 100, 3, 0.4, 600, 300), 15.2, "12 + 1.2 + 2 s, by hand"),
        example((1200, 100), 12.0, "1200/100, by hand"),
    ),
    formula="length/speed+IF(ISOMITTED(starts),1,starts)*IF(ISOMITTED(start_time),0,start_time)"
    "+IF(ISOMITTED(travel),0,IF(travel=0,0,IF(ISOMITTED(travel_speed),SQRT(-1),"
    "travel/travel_speed)))",
)
def dispense_time(
    length: Number,
    speed: Number,
    starts: Number = 1,
    start_time: Number = 0.0,
    travel: Number = 0.0,
    travel_speed: Number | None = None,
) -> Number:
    """Time to dispense a part.

    >>> round(float(dispense_time(1.2, 0.1, 3, 0.4, 0.6, 0.3)), 9)
    15.2
    """
    moving = np.where(travel > 0, np.nan, 0.0) if travel_speed is None else travel / travel_speed
    return length / speed + starts * start_time + moving


@workbook_function(
    category="Line and stock",
    arguments=(
        number("work", "s", "work for each part", at_least=0),
        _TAKT,
        number("uptime", "", "share of the time a nozzle works", default=1.0, above=0, at_most=1),
    ),
    returns=(out("nozzles", "", "nozzles or stations in parallel", "whole"),),
    equation="n = ⌈work/(takt·uptime)⌉",
    source="definition",
    valid="work that divides over nozzles; within 1e-9 of a whole number counts as whole",
    examples=(
        example((90, 45), 2, "exactly two, by hand"),
        example((90, 45, 0.85), 3, "90/38.25 = 2.35, by hand"),
    ),
    formula=_whole_up_formula("work/(takt*IF(ISOMITTED(uptime),1,uptime))"),
)
def nozzles_needed(work: Number, takt: Number, uptime: Number = 1.0) -> Number:
    """Nozzles needed to keep the takt.

    >>> float(nozzles_needed(90.0, 45.0, 0.85))
    3.0
    """
    return whole_up(work / (takt * uptime))


@workbook_function(
    category="Line and stock",
    arguments=(_CURE_TIME, _TAKT),
    returns=(out("positions", "", "places for parts in cure", "whole"),),
    equation="L = λW: n = ⌈cure time/takt⌉",
    source="J. D. C. Little, Operations Research 9 (1961) 383",
    valid="parts enter at the takt and all stay as long; loading and waiting belong to the time",
    examples=(
        example((180, 200), 54, "18 parts an hour for 3 h, by hand"),
        example((30, 90), 20, "exactly 20, by hand"),
    ),
    formula=_whole_up_formula("60*cure_time/takt"),
)
def cure_positions(cure_time: Number, takt: Number) -> Number:
    """Places that parts in cure take up.

    >>> float(cure_positions(10800.0, 200.0))
    54.0
    """
    return whole_up(cure_time / takt)


@workbook_function(
    category="Line and stock",
    arguments=(_CURE_TIME, _TAKT, number("pitch", "mm", "distance between parts on the belt", above=0)),
    returns=(out("length", "m", "heated length of a continuous oven"),),
    equation="L = pitch·cure time/takt",
    source="J. D. C. Little, Operations Research 9 (1961) 383",
    valid="one lane at steady speed pitch/takt; the time to warm through belongs to the cure time",
    examples=(example((30, 90, 400), 8.0, "20 parts at 0.4 m, by hand"),),
    formula="60*cure_time/takt*pitch/1000",
)
def oven_length(cure_time: Number, takt: Number, pitch: Number) -> Number:
    """Length of a continuous oven.

    >>> oven_length(1800.0, 90.0, 0.4)
    8.0
    """
    return cure_time / takt * pitch


@workbook_function(
    category="Line and stock",
    arguments=(
        number("parts", "", "good parts", at_least=0),
        number("shot", "mL", "material on one part", at_least=0),
        number("scrap", "", "share of started parts that is lost", default=0.0, at_least=0, below=1),
        number("purges", "", "number of purges", default=0, at_least=0),
        number("purge_volume", "mL", "material of one purge", default=0.0, at_least=0),
        number(
            "start_volume", "mL", "material to fill mixer and lines at the start", default=0.0, at_least=0
        ),
        number("check_shots", "", "shots weighed or measured", default=0, at_least=0),
    ),
    returns=(out("volume", "mL", "material used in the shift"),),
    equation="V = (parts/(1 − scrap) + check_shots)·shot + purges·purge_volume + start_volume",
    source="conservation of volume",
    valid="scrapped parts carry a whole shot; what stays in the containers is not in it, see CONTAINERS",
    examples=(
        example((300, 12, 0.04, 6, 15, 40, 8), 3976.0, "312.5·12 + 96 + 90 + 40, by hand"),
        example((300, 12), 3600.0, "300·12, by hand"),
    ),
    formula="(parts/(1-IF(ISOMITTED(scrap),0,scrap))+IF(ISOMITTED(check_shots),0,check_shots))*shot"
    "+IF(ISOMITTED(purges),0,purges)*IF(ISOMITTED(purge_volume),0,purge_volume)"
    "+IF(ISOMITTED(start_volume),0,start_volume)",
)
def shift_use(
    parts: Any,
    shot: Number,
    scrap: Number = 0.0,
    purges: Number = 0,
    purge_volume: Number = 0.0,
    start_volume: Number = 0.0,
    check_shots: Number = 0,
) -> Number:
    """Material used in a shift.

    >>> shift_use(300, 12e-6, scrap=0.25, check_shots=100) * 1e6
    6000.0
    """
    started = parts / (1.0 - scrap)
    volume: Number = (started + check_shots) * shot + purges * purge_volume + start_volume
    return volume


@workbook_function(
    category="Line and stock",
    arguments=(
        number("volume", "mL", "material used", at_least=0),
        number("container", "mL", "content of one container", above=0),
        number("heel", "", "share left in each container", default=0.0, at_least=0, below=1),
    ),
    returns=(out("containers", "", "containers to have ready", "whole"),),
    equation="n = ⌈V/(container·(1 − heel))⌉",
    source="conservation of volume",
    valid="within 1e-9 of a whole number counts as whole; each component has its own count",
    examples=(
        example((3976, 1000, 0.03), 5, "3976/970 = 4.099, by hand"),
        example((3880, 1000, 0.03), 4, "3880/970 is 4 exactly, by hand"),
    ),
    formula=_whole_up_formula("volume/(container*(1-IF(ISOMITTED(heel),0,heel)))"),
)
def containers(volume: Number, container: Number, heel: Number = 0.0) -> Number:
    """Containers to have ready.

    >>> float(containers(3.880e-3, 1e-3, 0.03))
    4.0
    """
    return whole_up(volume / (container * (1.0 - heel)))


# ------------------------------------------------------------------------------------------ stock


def _deviation(
    daily_sd: Number, lead_time: Number, daily_use: Number, lead_sd: Number, service: Number
) -> Number:
    """z·√(L σ_d² + d² σ_L²), lead time in seconds, use by the day."""
    from scipy.special import ndtri

    days, spread = lead_time / DAY, lead_sd / DAY
    stock: Number = ndtri(service) * np.hypot(np.sqrt(days) * daily_sd, daily_use * spread)
    return stock


@workbook_function(
    category="Line and stock",
    arguments=(
        number("daily_sd", AS_GIVEN, "standard deviation of one day's use", at_least=0),
        _LEAD_TIME,
        number("daily_use", AS_GIVEN, "mean use in a day", default=0.0, at_least=0),
        _LEAD_SD,
        _SERVICE,
    ),
    returns=(out("stock", AS_GIVEN, "stock above the expected use over the lead time"),),
    equation="z(service)·√(L·σ_d² + d²·σ_L²)",
    source=_STOCK_SOURCE,
    valid="working or calendar days, as long as all arguments count the same days",
    rule=_NORMAL,
    examples=(
        example((4, 9), 19.73824352, "1.644853627·4·3, by hand"),
        example((4, 9, 20, 1.5), 53.14684719, "1.644853627·√(9·16 + 400·2.25), by hand"),
    ),
    formula="NORMSINV(IF(ISOMITTED(service),0.95,service))*SQRT(lead_time*daily_sd^2"
    "+(IF(ISOMITTED(daily_use),0,daily_use)*IF(ISOMITTED(lead_sd),0,lead_sd))^2)",
)
def safety_stock(
    daily_sd: Number,
    lead_time: Number,
    daily_use: Number = 0.0,
    lead_sd: Number = 0.0,
    service: Number = 0.95,
) -> Number:
    """Safety stock that covers the spread of use and of lead time.

    >>> round(float(safety_stock(4.0, 9 * 86400.0)), 8)
    19.73824352
    """
    return _deviation(daily_sd, lead_time, daily_use, lead_sd, service)


@workbook_function(
    category="Line and stock",
    arguments=(
        number("daily_use", AS_GIVEN, "mean use in a day", at_least=0),
        _LEAD_TIME,
        number("daily_sd", AS_GIVEN, "standard deviation of one day's use", default=0.0, at_least=0),
        _LEAD_SD,
        _SERVICE,
    ),
    returns=(out("stock", AS_GIVEN, "stock, with open orders, at which to order"),),
    equation="d·L + z(service)·√(L·σ_d² + d²·σ_L²)",
    source=_STOCK_SOURCE,
    valid="stock is watched all the time; a weekly review adds a week to the lead time",
    rule=_NORMAL,
    examples=(
        example((20, 9), 180.0, "20·9, no spread"),
        example((20, 9, 4, 1.5), 233.14684719, "180 and 1.644853627·√(144 + 900), by hand"),
    ),
    formula="daily_use*lead_time+NORMSINV(IF(ISOMITTED(service),0.95,service))*SQRT(lead_time"
    "*IF(ISOMITTED(daily_sd),0,daily_sd)^2+(daily_use*IF(ISOMITTED(lead_sd),0,lead_sd))^2)",
)
def reorder_point(
    daily_use: Number,
    lead_time: Number,
    daily_sd: Number = 0.0,
    lead_sd: Number = 0.0,
    service: Number = 0.95,
) -> Number:
    """Stock level at which to order.

    >>> float(reorder_point(20.0, 9 * 86400.0))
    180.0
    """
    expected = daily_use * lead_time / DAY
    return expected + _deviation(daily_sd, lead_time, daily_use, lead_sd, service)


def order_quantity(demand: Number, order_cost: Number, holding_cost: Number) -> Number:
    """Economic order quantity √(2DK/h), in the unit of the demand.

    `demand` and `holding_cost` are over the same period, `holding_cost` for one unit held.
    Source: F. W. Harris (1913). Valid for steady demand without price breaks or expiry: shelf life
    may call for smaller orders.

    >>> round(float(order_quantity(1200.0, 50.0, 4.0)), 7)
    173.2050808
    """
    return np.sqrt(2.0 * demand * order_cost / holding_cost)


def normal_loss(k: Number) -> Number:
    """Unit normal loss G(k) = φ(k) − k(1 − Φ(k)): mean shortage in standard deviations.

    Source: Silver, Pyke & Peterson, from memory. Above 0 it is computed from the scaled
    complementary error function, which keeps its digits in the tail.

    >>> round(float(normal_loss(1.0)), 8)
    0.08331547
    """
    from scipy.special import erfcx

    size = np.abs(k)
    density = np.exp(-(size**2) / 2.0) / np.sqrt(2.0 * np.pi)
    loss = density * (1.0 - size * np.sqrt(np.pi / 2.0) * erfcx(size / np.sqrt(2.0)))
    place: Number = np.where(np.asarray(k) >= 0, loss, loss + size)
    return place
