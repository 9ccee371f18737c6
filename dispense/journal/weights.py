"""Shot weights that were booked, against the plan: charts, capability, what moves them, what to do.

Weights are told as deviations from their target in per cent, so that one series holds where a target has
changed a little. What to do is decided by tests whose false alarms are stated; the usual charts stand
beside them with their usual limits.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..base.findings import NOTE, QUALITY, Finding
from ..base.numbers import Floats
from ..base.printed import counted, digits_of, listed
from ..base.units import CELSIUS_ZERO, DAY, HOUR
from ..handbook.charts import capability_interval, cusum, ewma_limits, moving_range_limits
from ..handbook.quality import shot_capability
from ..plan.records import Plan
from ..plan.rows import Station
from ..plan.weather import shop_record
from ..shift.play import play_plan
from ..shift.results import ShiftResult
from ..shift.setup import pressure_growth
from ..shift.weighing import SCALE
from .dated import material_of_entry
from .densities import MIX, NONE_MEASURED, NORMAL_95, Densities, Density, densities_of
from .entries import SETTING, WEIGHT_A, WEIGHT_B, Entry
from .history import BOOKED, MIXER, PLANNED, Times, changes
from .intervals import student
from .lessons import learned_values
from .statistics import FALSE_ALARMS, SHORTEST, Effect, Level, effects, level, short_term_sd, step_share
from .store import Booked
from .weighed import (
    CHECK_SHOTS,
    ONE_FIGURE,
    PERCENT,
    PRESSURE,
    component_targets,
    planned_shot,
    series_name,
    weighed,
)

WEIGH_MORE = 0.05  # share of looks at a series in control that ask for five more at most
TESTS = 3  # level, drift and ratio share the false alarms
FEW = 10  # weights below which nothing is set; common practice, no source
MORE = 5
EWMA_WEIGHT, EWMA_WIDTH = 0.3, 3.0  # as in the e-Handbook's example
CUSUM_SLACK, CUSUM_DECISION = 0.5, 5.0  # standard deviations; e-Handbook 6.3.2.3: one alarm in 465 in control
CAPABLE = 1.33  # of Cpk; common practice, no source


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

    @property
    def reach(self) -> float:
        """Half of the 95 % interval of B per A [%]."""
        found = student(*self.ratio, self.count - 1)
        return 0.5 * (found.high - found.low)

    def by_volume(self, densities: Densities) -> Ratio:
        """The same without what the measured densities make of it."""
        (a, off_a), (b, off_b) = (
            (found, PERCENT * math.log1p(found.deviation / PERCENT))
            for found in (densities.get("a", NONE_MEASURED), densities.get("b", NONE_MEASURED))
        )
        mean, error = self.ratio
        return replace(
            self,
            a=(self.a[0] - off_a, math.hypot(self.a[1], a.error)),
            b=(self.b[0] - off_b, math.hypot(self.b[1], b.error)),
            ratio=(mean - (off_b - off_a), math.hypot(error, a.error, b.error)),
        )


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

    def held(self, plan: Plan) -> Plan:
        """The plan as it holds on the day of the last weight."""
        return plan.on(self.weights[-1].entry.date) if self.weights else plan

    def material_by(self, plan: Plan) -> str:
        """The material that was weighed."""
        return self.held(plan).station(self.station).material

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


def _has_mixer(plan: Plan, station: Station) -> bool:
    """Whether a mixer stands at a station: of one part nothing is mixed, unless the plan describes one."""
    return plan.material(station.material).kind != "one-part" or station.mixer_bore is not None


def _with_factors(plan: Plan, name: str, weight: Weight, history: Mapping[str, Times]) -> Weight:
    """A weight with what was so when it was weighed, by the plan of its day."""
    station, moment = plan.station(name), weight.moment
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
        if last is None or (key == MIXER and not _has_mixer(plan, station)):
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
        key = entry.station, series_name(plan, entry)
        moment = entry.moment
        if targets is None or moment is None:
            why = "has no time of its own" if moment is None else "has no target"
            skipped.setdefault(key, []).append(f"{entry.cell}: {entry.words} {why} and is not in the charts")
            continue
        series.setdefault(key, []).append(Weight(entry, moment, *targets))
    found = []
    for key in dict.fromkeys([*series, *skipped]):
        mine = sorted(series.get(key, []), key=lambda item: item.moment)
        if mine:
            history = changes(key[0], entries, _played(plan, key[0], mine))
            mine = [_with_factors(plan.on(item.entry.date), key[0], item, history) for item in mine]
        found.append(Weights(*key, mine, notes=skipped.get(key, [])))
    return found


def _played(plan: Plan, station: str, weights: Sequence[Weight]) -> list[ShiftResult]:
    """The shifts of the plan on the days that were weighed."""
    days = {item.moment.date() for item in weights}
    until = [day for day in plan.days() if day[0] <= max(days)]
    if not until:
        return []
    return list(play_plan(plan, until=until[-1], stations=[station]))


# ---------------------------------------------------------------------------------------- judged


def _ratio(found: Weights, entries: Sequence[Entry], plan: Plan) -> Ratio | None:
    """A against B where both were weighed alone, three times or more."""
    alone: dict[str, dict[str, Entry]] = {WEIGHT_A: {}, WEIGHT_B: {}}
    for entry in entries:
        if entry.kind not in alone or entry.station != found.station or not entry.value:
            continue
        if series_name(plan, entry) == found.what:
            alone[entry.kind][entry.name] = entry
    shared = [name for name in alone[WEIGHT_A] if name in alone[WEIGHT_B]]
    pairs = []
    for name in shared:
        a, b = alone[WEIGHT_A][name], alone[WEIGHT_B][name]
        target_a = a.target or component_targets(plan, a.station, a.date).get("a")
        target_b = b.target or component_targets(plan, b.station, b.date).get("b")
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


def judge(
    found: Weights, plan: Plan, entries: Sequence[Entry], densities: Densities | None = None
) -> Weights:
    """Everything that a series says, and the one sentence of what to do.

    `densities` are those measured of the station's material; none: a weight cannot tell them from the amount.
    """
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
    _decide(found, plan, entries, densities or {})
    return found


def _decide(found: Weights, plan: Plan, entries: Sequence[Entry], densities: Densities) -> None:
    """The sentence: the first of these that holds."""
    at = found.level
    noise = max(found.sd, _scale(found)) if found.weights else math.nan
    tried = found.effects
    is_off = at is not None and at.probability < FALSE_ALARMS / TESTS
    moving = _moving(found, noise, is_off)
    leads = bool(moving) and not (is_off and at is not None and abs(at.mean) > moving[0].span)
    of_ratio = _of_ratio(found, plan, entries, densities)
    of_density = "" if at is None else _of_density(at, noise, is_off, densities.get(MIX))
    still = _still_words(moving, found) if moving else ""
    if of_ratio:
        _say(found, of_ratio[0], of_ratio[1] + still)
    elif len(found.weights) < FEW:
        _say(found, "weigh", f"weigh five more: {_count_words(len(found.weights))} too little")
    elif leads:
        _say(found, "look", "; ".join(filter(None, (_moving_words(moving, found), of_density))))
    elif of_density:
        _say(found, "look", of_density + still)
    elif at is not None and is_off:
        _of_level(found, at, noise, plan, entries, densities)
        found.sentence += still
    elif _is_unsure(at, tried):
        _say(found, "weigh", "weigh five more: something may have moved, and it is not yet sure")
    else:
        _say(found, "nothing", "nothing: the weights vary as they do from one to the next")


def _count_words(count: int) -> str:
    return f"{counted(count, 'weight')} {'says' if count == 1 else 'say'}"


def _moving(found: Weights, noise: float, is_off: bool) -> list[Effect]:
    """What the weights surely follow by more than one differs from the next, where no step says more."""
    at, tried = found.level, found.effects
    moving = [item for item in tried if item.probability < FALSE_ALARMS / TESTS / len(tried)]
    if not moving or abs(moving[0].span) <= noise:
        return []
    if at is not None and is_off and step_share(found.deviations, at.since) > moving[0].share:
        return []
    return moving


def _of_ratio(
    found: Weights, plan: Plan, entries: Sequence[Entry], densities: Densities
) -> tuple[str, str] | None:
    """What A and B alone ask for: an action and its words; None for nothing."""
    ratio = found.ratio
    if ratio is None:
        return None
    mean = ratio.ratio[0]
    off = [densities[letter] for letter in "ab" if letter in densities and densities[letter].differs]
    volumes = ratio.by_volume(densities)
    left = volumes.ratio[0]
    on_target = abs(left) <= max(ratio.scatter, volumes.reach)
    is_off = ratio.probability < FALSE_ALARMS / TESTS and abs(mean) > ratio.scatter
    if not is_off and (not off or on_target):
        return None
    if off and on_target:
        return "look", (
            f"look at the density, set nothing: {listed(item.words for item in off)}; that is why B per A "
            f"by mass is off by {mean:+.1f} %, by volume it is off by {left:+.1f} %, no more than noise"
        )
    if off:
        return "look", (
            f"look at the density first: {listed(item.words for item in off)}; then {_pump_words(volumes)} "
            f"by volume is off by {left:+.1f} % (A {volumes.a[0]:+.1f} %, B {volumes.b[0]:+.1f} %, "
            f"{ratio.count} pairs)"
        )
    if _targets_moved(found, plan, entries, mean):
        return "weigh", _AGAIN
    return "look", (
        f"look at {_pump_words(ratio)} by mass is off by {mean:+.1f} % (A {ratio.a[0]:+.1f} %, "
        f"B {ratio.b[0]:+.1f} %, {ratio.count} pairs)"
        + _measured_words(all(name.lower() in densities for name in ratio.pump.split(" and ")))
    )


def _pump_words(ratio: Ratio) -> str:
    pumps = "pumps" if ratio.pump == "A and B" else "pump"
    return f"{pumps} {ratio.pump}: B per A"


def _measured_words(is_measured: bool) -> str:
    """What a weight leaves open, where no measured density closes it."""
    return "; the density stands, as measured" if is_measured else f"; {ONE_FIGURE}"


_AGAIN = (
    "weigh five more against the targets of today: more than half of what is off is the plan, changed since "
    "the targets of these weights were printed"
)


def _targets_moved(found: Weights, plan: Plan, entries: Sequence[Entry], mean: float) -> bool:
    """Whether the plan's B per A has moved by more than half of what is off since targets were printed."""
    printed: dict[str, Entry] = {}
    for entry in entries:
        here = entry.station, material_of_entry(plan, entry)
        if (
            entry.kind in (WEIGHT_A, WEIGHT_B)
            and here == (found.station, found.material_by(plan))
            and entry.target
        ):
            printed[entry.kind] = entry
    if len(printed) < 2:
        return False
    today = component_targets(plan, found.station, printed[WEIGHT_B].date)
    if not {"a", "b"} <= set(today):
        return False
    was = (printed[WEIGHT_B].target or 1.0) / (printed[WEIGHT_A].target or 1.0)
    return abs(PERCENT * math.log(today["b"] / today["a"] / was)) > 0.5 * abs(mean)


def _target_moved(found: Weights, plan: Plan, mean: float) -> bool:
    """The same of the target of the last weight."""
    last = found.weights[-1]
    today = planned_shot(plan, last.entry) if last.entry.target else None
    if today is None:
        return False
    shot, count = today
    target = float(shot.limits.target) * count / shot.count
    return abs(PERCENT * (target / last.target - 1.0)) > 0.5 * abs(mean)


def _of_density(at: Level, noise: float, is_off: bool, density: Density | None) -> str:
    """What is said where the density of what was weighed is other than the plan's, as measured; "" else."""
    if density is None or not density.differs:
        return ""
    if abs(density.deviation) <= noise and not (is_off and abs(at.mean) > noise):
        return ""
    left = PERCENT * ((PERCENT + at.mean) / (PERCENT + density.deviation) - 1.0)
    if abs(left) <= max(noise, NORMAL_95 * math.hypot(at.error, density.error)):
        return (
            f"look at the density, set nothing: {density.words}; that is why the weights are off by "
            f"{at.mean:+.1f} %, the metered volume is off by {left:+.1f} %, no more than noise"
        )
    return (
        f"look at the density first: {density.words}; the weights are off by {at.mean:+.1f} %, so that the "
        f"metered volume is off by {left:+.1f} %: weigh against the new targets before anything is set"
    )


def _of_level(
    found: Weights, at: Level, noise: float, plan: Plan, entries: Sequence[Entry], densities: Densities
) -> None:
    """What a level that is surely off asks for."""
    if abs(at.mean) <= noise:
        _say(
            found,
            "nothing",
            f"nothing to set: the shots lean by {at.mean:+.2g} % since weight {at.since}, less than one "
            f"differs from the next ({noise:.2g} %)",
        )
    elif _target_moved(found, plan, at.mean):
        _say(found, "weigh", _AGAIN)
    else:
        _correct(found, at, plan, entries)
        found.sentence += _measured_words(MIX in densities)


def _still_words(moving: Sequence[Effect], found: Weights) -> str:
    """Beside what is off: what the weights follow all the same."""
    best = moving[0]
    if best.name == "day" and best.slope is not None and not best.like:
        return f"; the level still {'falls' if best.slope < 0.0 else 'rises'}: {_moving_words(moving, found)}"
    return f"; besides, {_moving_words(moving, found)}"


def _is_unsure(at: Level | None, tried: Sequence[Effect]) -> bool:
    """Whether something is as unlikely by chance as five more weights are worth."""
    found = [item.probability * len(tried) for item in tried] + ([at.probability] if at else [])
    return min(found, default=1.0) < WEIGH_MORE / 2.0  # half for the level, half for what moves it


def _say(found: Weights, action: str, sentence: str) -> None:
    found.action, found.sentence = action, sentence


def _scale(found: Weights) -> float:
    """What one step of the scale is of the smallest target [%]."""
    return PERCENT * SCALE / min(item.target for item in found.weights)


def slope_unit(effect: Effect) -> str:
    """The unit of a slope, shares in per cent."""
    return {"temperature": "%/K", "day": "%/day"}.get(effect.name, "%/h")


def slope_reach(found: Weights, effect: Effect) -> float | None:
    """Half of the 95 % interval of a slope, Student's t with two parameters fitted; None without a slope."""
    if effect.slope is None or effect.error is None:
        return None
    interval = student(effect.slope, effect.error, len(found.weights) - 2)
    return 0.5 * (interval.high - interval.low)


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
        if entry.kind == SETTING
        and (entry.station, material_of_entry(plan, entry)) == (found.station, found.material_by(plan))
        and entry.value
    }
    of_pressure = pressure_growth(found.held(plan), found.station, growth)
    if len(settings) == 1:
        old, unit = settings.pop()
        by = of_pressure if unit == PRESSURE else growth
        if by is not None:
            unit = f" {unit}" if unit else ""
            where = "" if by is of_pressure and unit else " where the shot grows with it"
            words += f"; from setting {old:g}{unit} to {old * by:.4g}{unit}{where}"
    material = plan.material(found.material_by(plan))
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
    of_what = "" if found.what == CHECK_SHOTS else f"{found.what}: "
    if found.outside:
        numbers = listed(map(str, found.outside))
        made.append(
            Finding(
                QUALITY,
                f"{of_what}{counted(len(found.outside), 'weight')} outside the limits: no. {numbers}",
                "keep the parts made since the last good weight apart",
                topic="weight",
                station=found.station,
            )
        )
    if found.capability and found.capability[4] < CAPABLE:
        cpk, low, high = found.capability[1], *found.capability[4:6]
        words = f"{of_what}Cpk {cpk:.2f}, 95 % interval {low:.2f} to {high:.2f}"
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


def weights_of(plan: Plan, booked: Iterable[Booked], station: str | None = None) -> list[Weights]:
    """All series of weights, judged, beside the densities that are learned of the same bookings."""
    booked = list(booked)
    entries = [item.entry for item in booked]
    found = gather(plan, entries, station)
    learned = learned_values(plan, booked) if found else []
    return [
        judge(item, plan, entries, densities_of(item.held(plan), item.station, learned)) for item in found
    ]


__all__ = [
    "MORE",
    "WEIGH_MORE",
    "Ratio",
    "Weight",
    "Weights",
    "judge",
    "slope_reach",
    "slope_unit",
    "source_words",
    "weights_findings",
    "weights_of",
]
