"""Shot weights that were booked, against the plan: charts, capability, what moves them, what to do.

Weights are told as deviations from their target in per cent, so that one series holds where a target has
changed a little. What to do is decided by tests whose false alarms are stated; the usual charts stand
beside them with their usual limits.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..base.findings import NOTE, QUALITY, Finding
from ..base.numbers import Floats
from ..base.printed import counted, digits_of, listed
from ..base.units import CELSIUS_ZERO, DAY, HOUR, from_si
from ..handbook.charts import capability_interval, cusum, ewma_limits, moving_range_limits
from ..handbook.quality import shot_capability
from ..plan.amounts import Application, applied_at
from ..plan.records import Plan
from ..plan.rows import Station
from ..plan.weather import shop_record
from ..shift.play import play_plan
from ..shift.results import ShiftResult
from ..shift.setup import pressure_growth, setup_card, station_parts
from ..shift.weighing import SCALE, Weighing, check_shot, weigh
from .entries import SETTING, WEIGHT, WEIGHT_A, WEIGHT_B, Entry
from .history import BOOKED, MIXER, PLANNED, Times, changes
from .statistics import SHORTEST, Effect, Level, effects, level, short_term_sd, step_share

FALSE_ALARMS = 0.01  # of a series in control: share of looks that ask for something to be set or looked at
WEIGH_MORE = 0.05  # share of looks at a series in control that ask for five more at most
TESTS = 3  # level, drift and ratio share the false alarms
FEW = 10  # weights below which nothing is set; common practice, no source
MORE = 5
EWMA_WEIGHT, EWMA_WIDTH = 0.3, 3.0  # as in the e-Handbook's example
CUSUM_SLACK, CUSUM_DECISION = 0.5, 5.0  # standard deviations; e-Handbook 6.3.2.3: one alarm in 465 in control
CAPABLE = 1.33  # of Cpk; common practice, no source
PERCENT = 100.0
PRESSURE = "bar"  # unit of a setting that is a pressure
FAR_OFF = 2.0  # times the target, beyond which a weight is taken for a slip; common practice, no source


@dataclass(frozen=True, slots=True)
class Weight:
    """One weighing: mass of so many shots, its target and limits, and what was so at that time.

    `factors` are hours since the mixer was new, since a container was connected, the hour of the day, the
    temperature; `lots` the lot of each component; `sources` say of each whether it was booked or is the
    plan's.
    """

    entry: Entry
    moment: datetime.datetime
    count: int
    target: float
    low: float | None
    high: float | None
    factors: Mapping[str, float] = field(default_factory=dict)
    lots: Mapping[str, str] = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)

    @property
    def grams(self) -> float:
        """The mass weighed."""
        return self.entry.value or 0.0

    @property
    def deviation(self) -> float:
        """From the target [%]."""
        return PERCENT * (self.grams / self.target - 1.0)


@dataclass(frozen=True, slots=True)
class Ratio:
    """A and B weighed alone: their deviations from the plan [%], and how sure that B : A is off."""

    count: int
    a: tuple[float, float]  # mean and standard error
    b: tuple[float, float]
    ratio: tuple[float, float]
    scatter: float  # of one ratio
    probability: float

    @property
    def pump(self) -> str:
        """The pump whose share is off in its own standard errors; both where neither stands out."""
        sure = {name: abs(mean) / max(error, 1e-12) for name, (mean, error) in (("A", self.a), ("B", self.b))}
        near, far = sorted(sure, key=lambda name: sure[name])
        return "A and B" if sure[near] > 3.0 else far


@dataclass(slots=True)
class Weights:
    """One series of weights of a station, what it says, and what to do in one sentence."""

    station: str
    what: str
    weights: list[Weight]
    level: Level | None = None
    effects: list[Effect] = field(default_factory=list)
    ratio: Ratio | None = None
    capability: tuple[float, ...] = ()  # cp, cpk, then both intervals
    action: str = "nothing"  # nothing, weigh, correct, look
    sentence: str = ""
    correction: float | None = None  # per cent by which the shot must grow
    notes: list[str] = field(default_factory=list)

    @property
    def deviations(self) -> Floats:
        """In the order of time [%]."""
        return np.array([item.deviation for item in self.weights])

    @property
    def sd(self) -> float:
        """Standard deviation from one weight to the next [%]."""
        return short_term_sd(self.deviations) if len(self.weights) > 1 else float("nan")

    @property
    def limits(self) -> tuple[float, float] | None:
        """Limits of the last weight that has some [%]."""
        for item in reversed(self.weights):
            if item.low is not None and item.high is not None:
                low, high = (PERCENT * (each / item.target - 1.0) for each in (item.low, item.high))
                return low, high
        return None

    @property
    def charts(self) -> dict[str, Floats]:
        """Individuals and moving range (low, centre, high), EWMA and CUSUM, a row a weight."""
        values, sd = self.deviations, self.sd
        if len(values) < 2 or not sd > 0.0:
            return {}
        return {
            "individuals": moving_range_limits(values),
            "ewma": ewma_limits(values, 0.0, sd, EWMA_WEIGHT, EWMA_WIDTH),
            "cusum": cusum(values, 0.0, CUSUM_SLACK * sd, CUSUM_DECISION * sd),
        }

    @property
    def signals(self) -> dict[str, list[int]]:
        """Numbers of the weights at which a chart signals."""
        charts, values = self.charts, self.deviations
        if not charts:
            return {}
        (low, _, high), (_, _, most) = charts["individuals"]
        ranges = np.abs(np.diff(values))
        ewma = charts["ewma"]
        return {
            "individuals": _numbers((values < low) | (values > high)),
            "moving range": [number + 1 for number in _numbers(ranges > most)],
            "EWMA": _numbers((ewma[:, 1] < ewma[:, 0]) | (ewma[:, 1] > ewma[:, 2])),
            "CUSUM": _numbers(charts["cusum"][:, 2] > 0.0),
        }

    @property
    def outside(self) -> list[int]:
        """Numbers of the weights outside their own limits."""
        return [
            number
            for number, item in enumerate(self.weights, 1)
            if (item.low is not None and item.grams < item.low)
            or (item.high is not None and item.grams > item.high)
        ]


def _numbers(found: NDArray[np.bool_]) -> list[int]:
    return [int(place) + 1 for place in np.flatnonzero(found)]


# ---------------------------------------------------------------------------------------- gathered


def _planned(plan: Plan, station: Station, entry: Entry) -> tuple[Weighing, int] | None:
    """What the plan says of a weight that has no target of its own, and how many shots it is."""
    density = setup_card(plan, station.station).density
    items: list[Application] = [
        item
        for part in ([entry.part] if entry.part else station_parts(plan, station.station))
        for item in applied_at(plan, part, station)
        if not entry.application or item.name == entry.application
    ]
    if not items:
        return None
    if entry.part:
        found = weigh(station, max((item.amount for item in items), key=lambda each: each.nominal), density)
    else:
        found = check_shot(station, items, density)
    return found, entry.count or found.count


#: shots together, target, low and high limit [g]
Targets = tuple[int, float, float | None, float | None]


def _targets(plan: Plan, station: Station, entry: Entry) -> Targets | None:
    """Shots together, target and limits of a weight: as printed on its sheet, else the plan's of today."""
    if entry.target:
        return entry.count or 1, entry.target, entry.low, entry.high
    planned = _planned(plan, station, entry)
    if planned is None:
        return None
    shot, count = planned
    share = count / shot.count
    limits = shot.limits
    return (
        count,
        float(limits.target) * share,
        None if limits.low is None else float(limits.low) * share,
        None if limits.high is None else float(limits.high) * share,
    )


def weighed(plan: Plan, entries: Iterable[Entry]) -> Iterator[tuple[Entry, Targets | None]]:
    """The weights among entries, with their targets where they have some above zero."""
    known = {row.station: row for row in plan.stations}
    for entry in entries:
        if entry.kind == WEIGHT and entry.station in known and entry.value is not None:
            targets = _targets(plan, known[entry.station], entry)
            yield entry, targets if targets is not None and targets[1] > 0.0 else None


def weight_findings(plan: Plan, entries: Iterable[Entry]) -> list[Finding]:
    """Weights so far from their target that a unit or a decimal point is more likely than a shot."""
    found = []
    for entry, targets in weighed(plan, entries):
        if targets is None:
            continue
        grams, target = entry.value or 0.0, targets[1]
        if not target / FAR_OFF <= grams <= target * FAR_OFF:
            found.append(
                Finding(
                    QUALITY,
                    f"{entry.cell}: {grams:.4g} g weighed at {entry.station}, the target is {target:.4g} g",
                    "look at unit and decimal point; mend it and book it again, or take the booking back",
                    topic="weight",
                    station=entry.station,
                    part=entry.part,
                    day=entry.date,
                    shift=entry.shift,
                )
            )
    return found


def _with_factors(plan: Plan, station: Station, weight: Weight, history: Mapping[str, Times]) -> Weight:
    """A weight with what was so when it was weighed."""
    moment = weight.moment
    seconds = (moment - datetime.datetime.combine(moment.date(), datetime.time())).total_seconds()
    factors = {"hour of the day": seconds / HOUR}
    lots: dict[str, str] = {}
    sources = {"hour of the day": BOOKED}
    times, temperatures = shop_record(plan, station)
    if len(temperatures) > 1:
        factors["temperature"] = float(np.interp(seconds, times, temperatures)) - CELSIUS_ZERO
        sources["temperature"] = PLANNED
    for key, found in history.items():
        last = found.last(moment)
        if last is None:
            continue
        hours, what, source = last
        letter = key.upper()
        name = "time since mixer change" if key == MIXER else f"time since container change of {letter}"
        factors[name] = hours
        sources[name] = source
        if key != MIXER and what:
            lots[f"lot of {letter}"] = what
            sources[f"lot of {letter}"] = source
    return Weight(
        weight.entry, moment, weight.count, weight.target, weight.low, weight.high, factors, lots, sources
    )


def gather(plan: Plan, entries: Sequence[Entry], station: str | None = None) -> list[Weights]:
    """The series of weights that entries hold: one for a station's check shots and each shot of a part."""
    series: dict[tuple[str, str], list[Weight]] = {}
    skipped: dict[tuple[str, str], list[str]] = {}
    of_station = (entry for entry in entries if station in (None, entry.station))
    for entry, targets in weighed(plan, of_station):
        key = entry.station, " / ".join(filter(None, (entry.part, entry.application))) or "check shots"
        moment = entry.moment
        if targets is None or moment is None:
            why = "has no time of its own" if moment is None else "has no target"
            skipped.setdefault(key, []).append(f"{entry.cell}: {entry.words} {why} and is not in the charts")
            continue
        series.setdefault(key, []).append(Weight(entry, moment, *targets))
    found = []
    for key in dict.fromkeys([*series, *skipped]):
        row = plan.station(key[0])
        mine = sorted(series.get(key, []), key=lambda item: item.moment)
        if mine:
            history = changes(row.station, entries, _played(plan, row, mine))
            mine = [_with_factors(plan, row, item, history) for item in mine]
        found.append(Weights(*key, mine, notes=skipped.get(key, [])))
    return found


def _played(plan: Plan, station: Station, weights: Sequence[Weight]) -> list[ShiftResult]:
    """The shifts of the plan on the days that were weighed."""
    days = {item.moment.date() for item in weights}
    until = [day for day in plan.days() if day[0] <= max(days)]
    if not until:
        return []
    return list(play_plan(plan, until=until[-1], stations=[station.station]))


# ---------------------------------------------------------------------------------------- judged


def _ratio(found: Weights, entries: Sequence[Entry], plan: Plan) -> Ratio | None:
    """A against B where both were weighed alone, three times or more."""
    alone: dict[str, dict[str, Entry]] = {WEIGHT_A: {}, WEIGHT_B: {}}
    for entry in entries:
        if entry.kind in alone and entry.station == found.station and entry.value:
            alone[entry.kind][entry.name] = entry
    shared = [name for name in alone[WEIGHT_A] if name in alone[WEIGHT_B]]
    shares = _component_targets(plan, found.station)
    pairs = []
    for name in shared:
        a, b = alone[WEIGHT_A][name], alone[WEIGHT_B][name]
        target_a, target_b = a.target or shares.get("a"), b.target or shares.get("b")
        if a.value and b.value and target_a and target_b:
            pairs.append((a.value / target_a, b.value / target_b))
    if len(pairs) < 3:
        return None
    off = PERCENT * np.log(np.array(pairs))  # per cent, for small deviations
    ratios = off[:, 1] - off[:, 0]
    count = len(pairs)

    def told(values: Floats) -> tuple[float, float]:
        return float(values.mean()), float(values.std(ddof=1) / math.sqrt(count))

    from scipy.special import stdtr

    mean, error = told(ratios)
    probability = 2.0 * float(stdtr(count - 1, -abs(mean) / error)) if error > 0.0 else 1.0
    return Ratio(
        count, told(off[:, 0]), told(off[:, 1]), (mean, error), float(ratios.std(ddof=1)), probability
    )


def _component_targets(plan: Plan, station: str) -> dict[str, float]:
    """Masses of A and B in a check shot of today [g], where the plan has one."""
    card = setup_card(plan, station)
    row = plan.station(station)
    items = [item for part in station_parts(plan, station) for item in applied_at(plan, part, row)]
    if not items:
        return {}
    shot = check_shot(row, items, card.density)
    components = plan.components_of(card.material.material)
    return {
        letter: float(from_si(shot.volume * share * components[letter].density, "g")) * shot.count
        for letter, share in card.shares.items()
    }


def _factors(found: Weights) -> dict[str, Floats]:
    """What is known of every weight, as columns; lots as classes."""
    first = found.weights[0].moment
    days = [(item.moment - first).total_seconds() / DAY for item in found.weights]
    columns: dict[str, Floats] = {"day": np.array(days)}
    names = dict.fromkeys(name for item in found.weights for name in item.factors)
    for name in names:
        if all(name in item.factors for item in found.weights):
            columns[name] = np.array([item.factors[name] for item in found.weights])
    for name in dict.fromkeys(name for item in found.weights for name in item.lots):
        if all(name in item.lots for item in found.weights):
            lots = sorted({item.lots[name] for item in found.weights})
            classes = [[float(item.lots[name] == lot) for lot in lots[1:]] for item in found.weights]
            if len(lots) > 1:
                columns[name] = np.array(classes)
    return columns


def judge(found: Weights, plan: Plan, entries: Sequence[Entry]) -> Weights:
    """Everything that a series says, and the one sentence of what to do."""
    values = found.deviations
    found.ratio = _ratio(found, entries, plan)
    if len(values) > SHORTEST:
        found.level = level(values, _scale(found) / math.sqrt(12.0))  # of a step, values lie evenly within it
        found.effects = effects(values, _factors(found))
    limits = found.limits
    if limits is not None and len(values) > 1 and np.ptp(values) > 0.0:
        shot = PERCENT + values, PERCENT + limits[0], PERCENT + limits[1]
        cp, cpk = (float(item) for item in shot_capability(*shot)[2:])
        found.capability = (cp, cpk, *(float(item) for item in capability_interval(*shot)))
    _decide(found, plan, entries)
    return found


def _decide(found: Weights, plan: Plan, entries: Sequence[Entry]) -> None:
    """The sentence: the first of these that holds."""
    alarm = FALSE_ALARMS / TESTS
    ratio, at = found.ratio, found.level
    noise = max(found.sd, _scale(found)) if found.weights else math.nan
    tried = found.effects
    moving = [item for item in tried if item.probability < alarm / len(tried)]
    is_off = at is not None and at.probability < alarm
    if moving and at is not None and is_off:
        is_step = step_share(found.deviations, at.since) > moving[0].share
        if is_step or abs(at.mean) > moving[0].span:
            moving = []  # a step says more of it than what goes on, or the level is the larger matter
    if ratio is not None and ratio.probability < alarm and abs(ratio.ratio[0]) > ratio.scatter:
        _say(found, "look", _ratio_words(ratio))
    elif len(found.weights) < FEW:
        _say(found, "weigh", f"weigh five more: {counted(len(found.weights), 'weight')} say too little")
    elif moving and abs(moving[0].span) > noise:
        _say(found, "look", _moving_words(moving, found))
    elif at is not None and is_off and abs(at.mean) > noise:
        _correct(found, at, plan, entries)
    elif at is not None and is_off:
        _say(
            found,
            "nothing",
            f"nothing to set: the shots lean by {at.mean:+.2g} % since weight {at.since}, less than one "
            f"differs from the next ({noise:.2g} %)",
        )
    elif _is_unsure(at, tried):
        _say(found, "weigh", "weigh five more: something may have moved, and it is not yet sure")
    else:
        _say(found, "nothing", "nothing: the weights vary as they do from one to the next")


def _is_unsure(at: Level | None, tried: Sequence[Effect]) -> bool:
    """Whether something is as unlikely by chance as five more weights are worth."""
    found = [item.probability * len(tried) for item in tried] + ([at.probability] if at else [])
    return min(found, default=1.0) < WEIGH_MORE / 2.0  # half for the level, half for what moves it


def _say(found: Weights, action: str, sentence: str) -> None:
    found.action, found.sentence = action, sentence


def _scale(found: Weights) -> float:
    """What one step of the scale is of the smallest target [%]."""
    return PERCENT * SCALE / min(item.target for item in found.weights)


def _ratio_words(ratio: Ratio) -> str:
    pump = ratio.pump
    shares = f"A {ratio.a[0]:+.1f} %, B {ratio.b[0]:+.1f} %"
    pumps = "pumps" if pump == "A and B" else "pump"
    return (
        f"look at {pumps} {pump}: B per A by mass is off by {ratio.ratio[0]:+.1f} % ({shares}, "
        f"{ratio.count} pairs)"
    )


def slope_unit(effect: Effect) -> str:
    """The unit of a slope, shares in per cent."""
    return {"temperature": "%/K", "day": "%/day"}.get(effect.name, "%/h")


def source_words(found: Weights, effect: Effect) -> str:
    """Where it is known from: booked, planned, or both."""
    return " and ".join(sorted({item.sources.get(effect.name, BOOKED) for item in found.weights}))


def _rate(effect: Effect) -> str:
    """How strongly the weights follow something."""
    if effect.slope is None:
        return f"by {effect.span:.2g} % from one to another"
    return f"by {effect.slope:+.2g} {slope_unit(effect)}"


_LOOK = {
    "temperature": "hold material and meter at one temperature, or correct with it",
    "day": "look at the pump and its valves",
    "hour of the day": "look at what changes through the day",
    "time since mixer change": "change or purge the mixer earlier",
}


def _moving_words(moving: Sequence[Effect], found: Weights) -> str:
    """What the weights follow, what cannot be told apart from it, and where to look."""
    best = moving[0]
    names = {item.name for item in moving}
    like = [name for name in best.like if name in names]
    what = "the day" if best.name == "day" else best.name
    if like:
        apart = listed([what, *like])
        return (
            f"look at what the weights follow ({_rate(best)}): these data cannot tell apart {apart}; weigh "
            "five more where they differ, such as just after a change"
        )
    if best.name.startswith("lot"):
        lot = _heaviest(found, best.name)
        return f"look at {best.name}: the weights differ {_rate(best)}, {lot}"
    look = _LOOK.get(best.name, "look at the container and its pump")
    return f"{look}: the weights move {_rate(best)} with {what}"


def _heaviest(found: Weights, name: str) -> str:
    means: dict[str, list[float]] = {}
    for item in found.weights:
        means.setdefault(item.lots[name], []).append(item.deviation)
    told = sorted(
        ((float(np.mean(each)), lot) for lot, each in means.items()), key=lambda pair: -abs(pair[0])
    )
    return ", ".join(f"{lot} {mean:+.1f} %" for mean, lot in told[:3])


def _correct(found: Weights, at: Level, plan: Plan, entries: Sequence[Entry]) -> None:
    """By how much the shot must grow, and the setting where it is known."""
    change = PERCENT * (PERCENT / (PERCENT + at.mean) - 1.0)
    digits = digits_of(at.error)
    found.correction = round(change, digits)
    off = f"{at.mean:+.{digits}f} % off since weight {at.since}"
    words = f"correct the shot by {change:+.{digits}f} %: it is {off}"
    growth = 1.0 + change / PERCENT
    settings = {
        (entry.value, entry.unit)
        for entry in entries
        if entry.kind == SETTING and entry.station == found.station and entry.value
    }
    of_pressure = pressure_growth(plan, found.station, growth)
    if len(settings) == 1:
        old, unit = settings.pop()
        by = of_pressure if unit == PRESSURE else growth
        if by is not None:
            unit = f" {unit}" if unit else ""
            where = "" if by is of_pressure and unit else " where the shot grows with it"
            words += f"; from setting {old:g}{unit} to {old * by:.4g}{unit}{where}"
    material = plan.material(plan.station(found.station).material)
    if material.yield_stress:
        words += "; " + _with_yield(of_pressure, digits)
    elif material.index != 1.0 and of_pressure is not None:
        pressure = PERCENT * (of_pressure - 1.0)
        words += f"; where a pressure sets the flow, by {pressure:+.{digits}f} % of it"
        words += f" (flow index {material.index:g})"
    _say(found, "correct", words)


def _with_yield(of_pressure: float | None, digits: int) -> str:
    """What is said of a pressure where a part of it moves nothing."""
    words = "where a pressure sets the flow, "
    if of_pressure is None:
        return words + "in small steps: with a yield stress it is not in proportion"
    return (
        words
        + f"by {PERCENT * (of_pressure - 1.0):+.{digits}f} % of it (Herschel-Bulkley, with its yield stress)"
    )


def weights_findings(found: Weights) -> list[Finding]:
    """What a reader of the weights must know: weights out of limits, a capability too low, false alarms."""
    made = []
    if found.outside:
        numbers = listed(map(str, found.outside))
        made.append(
            Finding(
                QUALITY,
                f"{counted(len(found.outside), 'weight')} outside the limits: no. {numbers}",
                "keep the parts made since the last good weight apart",
                topic="weight",
                station=found.station,
            )
        )
    if found.capability and found.capability[4] < CAPABLE:
        cpk, low, high = found.capability[1], *found.capability[4:6]
        words = f"Cpk {cpk:.2f}, 95 % interval {low:.2f} to {high:.2f}"
        sure = high < CAPABLE
        made.append(
            Finding(
                QUALITY if sure else NOTE,
                words + (f": below {CAPABLE}" if sure else f": not yet sure to be above {CAPABLE}"),
                topic="capability",
                station=found.station,
            )
        )
    return made


def weights_of(plan: Plan, entries: Sequence[Entry], station: str | None = None) -> list[Weights]:
    """All series of weights, judged."""
    return [judge(item, plan, entries) for item in gather(plan, entries, station)]


__all__ = [
    "FALSE_ALARMS",
    "MORE",
    "PERCENT",
    "PRESSURE",
    "WEIGH_MORE",
    "Ratio",
    "Weight",
    "Weights",
    "judge",
    "slope_unit",
    "source_words",
    "weighed",
    "weight_findings",
    "weights_findings",
    "weights_of",
]
