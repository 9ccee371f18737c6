"""Pot life: how temperature shortens it, and how much of it a batch has used.

Pot life is the working life of ISO 10364. A figure belongs to the method and the mass it was
measured with: a larger mass warms itself, and its life is shorter. All rates here are relative to the life
at a reference temperature, by Arrhenius where an activation energy is known and otherwise by the
halving rule of the trade (every so many kelvin halve a time).

`LifeClock` follows one temperature record for many batches; the worksheet functions are above it.
"""

from __future__ import annotations

import math
from bisect import bisect_right

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.fields import number, vector
from ..base.numbers import Floats, Number, Series
from .declare import example, out, requires, validity, workbook_function

HALVING_STEP = 10.0  # K, common practice, no source
# molar gas constant, N_A·k [J/(mol·K)]: exact since the SI of 2019; CODATA 2018
GAS_CONSTANT = 8.31446261815324
FAR = 30.0  # K from a known temperature past which a law through one point is a guess (no source)
NEAR_REFERENCE = validity(
    lambda temperature, reference_temperature: abs(temperature - reference_temperature) <= FAR,
    f"more than {FAR:.0f} K from the temperature of the known value: an extrapolation",
)
_LN2 = math.log(2.0)
_MOST = 700.0  # exponent that still is a number
_ASKED_AGAIN = 16  # of the shares asked for last: whoever plays a shift asks for some several times
_FLAT, _LIKE = 2.0, 1.25  # e-foldings of a rate, and ratio of its temperatures, over a piece of a record

_ARRHENIUS = "Arrhenius law; R = 8.31446261815324 J/(mol·K), CODATA 2018"
_RULE = (
    "where no activation energy is given: a life halves for every 10 K (common practice, no "
    "source); a rule of thumb that fits near one temperature only"
)
_CONVERT = "8.31446261815324"

_TEMPERATURE = number("temperature", "°C", "temperature", above=-273.15)
_REFERENCE_LIFE = number("reference_life", "min", "pot life at the reference temperature", above=0)
_REFERENCE_TEMPERATURE = number(
    "reference_temperature", "°C", "temperature the reference figure belongs to", above=-273.15
)
_ENERGY = number("activation_energy", "kJ/mol", "activation energy", at_least=0)
_ENERGY_OR_NONE = number(
    "activation_energy", "kJ/mol", "activation energy; blank takes the halving rule", default=None, at_least=0
)
_STEP = number(
    "halving_step",
    "K",
    "rise that halves a life; read where no activation energy is given",
    default=HALVING_STEP,
    above=0,
)
_TIMES = vector("times", "min", "times of the record, in order")
_TEMPERATURES = vector("temperatures", "°C", "temperature at each time", above=-273.15)


@workbook_function(
    category="Pot life",
    arguments=(
        vector("temperatures", "°C", "two temperatures or more", above=-273.15),
        vector("times", "min", "life, gel time or cure time at each temperature", above=0),
    ),
    returns=(out("activation_energy", "kJ/mol", "activation energy"),),
    equation="ln t = a + E/(R·T), least squares",
    source=_ARRHENIUS,
    valid="temperatures near those of use; one mechanism over the whole range",
    requires=(
        requires(
            lambda temperatures, times: len(times) == len(temperatures),
            "times",
            "as many as there are temperatures",
        ),
        requires(lambda temperatures: len(temperatures) >= 2, "temperatures", "two or more"),
    ),
    no_answer="the temperatures are all the same, so no energy follows from them",
    examples=(
        example(([23, 35], [60, 25]), 55.35635557, "R·ln(60/25)/(1/296.15 − 1/308.15), by hand"),
        example(([25, 35], [20, 10]), 52.94886216, "energy of a halving from 25 to 35 °C, by hand"),
    ),
    formula=f"SLOPE(LN(times), 1/(temperatures + 273.15))*{_CONVERT}/1000",
)
def activation_energy(temperatures: Floats, times: Floats) -> Number:
    """Activation energy from lives or times measured at two temperatures or more.

    >>> import numpy as np
    >>> round(float(activation_energy(np.array([296.15, 308.15]), np.array([3600.0, 1500.0]))), 1)
    55356.4
    """
    if np.ptp(temperatures) == 0.0:
        return np.nan
    inverse = 1.0 / temperatures
    inverse = inverse - inverse.mean()
    energy: Number = GAS_CONSTANT * (inverse @ np.log(times)) / (inverse @ inverse)
    return energy


@workbook_function(
    category="Pot life",
    arguments=(
        number("activation_energy", "kJ/mol", "activation energy", above=0),
        number("temperature", "°C", "temperature from which the rise counts", above=-273.15),
    ),
    returns=(out("halving_step", "K", "rise that halves a time"),),
    equation="E/R·(1/T − 1/(T + ΔT)) = ln 2",
    source=_ARRHENIUS,
    valid="any temperature; the step grows with it",
    no_answer="no rise, however great, halves a time at so low an activation energy",
    examples=(
        example((52.94886216, 25), 10.0, "energy of a halving from 25 to 35 °C, by hand", 1e-8),
        example((82.39709908, 100), 10.0, "energy of a halving from 100 to 110 °C, by hand", 1e-8),
    ),
    formula=f"LET(part, {_CONVERT}*LN(2)/1000/activation_energy*(temperature + 273.15), "
    "IF(part < 1, part*(temperature + 273.15)/(1 - part), SQRT(-1)))",
)
def halving_step(activation_energy: Number, temperature: Number) -> Number:
    """Rise from a temperature that halves a time.

    >>> round(float(halving_step(52948.86216, 298.15)), 6)
    10.0
    """
    part = GAS_CONSTANT * _LN2 / activation_energy * temperature
    return np.where(part < 1.0, temperature * part / (1.0 - part), np.nan)


@workbook_function(
    category="Pot life",
    arguments=(_TEMPERATURE, _REFERENCE_TEMPERATURE, _ENERGY),
    returns=(out("factor", "", "how many times faster than at the reference temperature"),),
    equation="k/k_ref = exp(E/R·(1/T_ref − 1/T))",
    source=_ARRHENIUS,
    valid="one mechanism between the two temperatures",
    examples=(
        example((35, 25, 50), 1.924264816, "exp(50000/R·(1/298.15 − 1/308.15)), by hand"),
        example((25, 25, 50), 1.0, "no difference, no change"),
    ),
    formula=f"EXP(activation_energy*1000/{_CONVERT}*(1/(reference_temperature + 273.15) "
    "- 1/(temperature + 273.15)))",
)
def rate_factor(temperature: Number, reference_temperature: Number, activation_energy: Number) -> Number:
    """How many times faster a reaction runs than at a reference temperature.

    >>> round(float(rate_factor(308.15, 298.15, 50e3)), 6)
    1.924265
    """
    exponent = activation_energy / GAS_CONSTANT * (1.0 / reference_temperature - 1.0 / temperature)
    if type(exponent) is float and exponent < _MOST:  # a cell of a sheet: ten times as quick as numpy's
        return math.exp(exponent)
    return np.exp(exponent)


@workbook_function(
    category="Pot life",
    arguments=(_TEMPERATURE, _REFERENCE_LIFE, _REFERENCE_TEMPERATURE, _ENERGY_OR_NONE, _STEP),
    returns=(out("pot_life", "min", "pot life"),),
    equation="t = t_ref·exp(E/R·(1/T − 1/T_ref)), or t = t_ref·2^((T_ref − T)/step)",
    source=_ARRHENIUS + "; halving rule: common practice, no source",
    rule=_RULE,
    valid="the mass and the method (ISO 10364) of the reference figure; a larger mass has a shorter life",
    validity=(NEAR_REFERENCE,),
    no_answer="the life is beyond any number",
    examples=(
        example((30, 60, 23, 55.35635557), 35.70288172, "ln t linear in 1/T, by hand"),
        example((40, 60, 23), 18.4671662, "60·2^(−17/10), by hand"),
        example((10, 60, 23), 147.7373296, "60·2^(13/10), by hand"),
    ),
    formula="IF(ISOMITTED(activation_energy), reference_life*2^((reference_temperature "
    "- temperature)/IF(ISOMITTED(halving_step), 10, halving_step)), reference_life*EXP("
    f"activation_energy*1000/{_CONVERT}*(1/(temperature + 273.15) "
    "- 1/(reference_temperature + 273.15))))",
    system=("min",),
)
def pot_life(
    temperature: Number,
    reference_life: Number,
    reference_temperature: Number,
    activation_energy: Number | None = None,
    halving_step: Number = HALVING_STEP,
) -> Number:
    """Pot life at a temperature.

    >>> round(float(pot_life(313.15, 3600.0, 296.15)), 3)
    1108.03
    """
    if activation_energy is None:
        return reference_life * np.exp2((reference_temperature - temperature) / halving_step)
    return reference_life * rate_factor(reference_temperature, temperature, activation_energy)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_NODES_8, _WEIGHTS_8 = (row.tolist() for row in np.polynomial.legendre.leggauss(8))
_FADED = 50.0  # exponent below the hot end past which the colder part adds nothing (2e-22)
_PANEL = 6.0  # exponent that one panel of 16 points spans
_MOST_CUTS = 1000  # of a segment in a spreadsheet, that a cell does not reckon for minutes (no source)


def along_record_formula(energy: str) -> str:
    """What a spreadsheet reckons along a record of `times` and `temperatures`, as variables of a LET.

    `sound` says whether the record is one, `base` is its hottest temperature [K], `spent` the time at it that
    does as much, with `energy` an expression of the activation energy [kJ/mol]. Gauss–Legendre points on each
    segment, which is cut until its exponent spans less than 1.
    """
    places = ";".join(f"{0.5 + 0.5 * node:.15g}" for node in _NODES_8)
    shares = ";".join(f"{0.5 * weight:.15g}" for weight in _WEIGHTS_8)
    return (
        "many,ROWS(times)*COLUMNS(times),lasts,LAMBDA(i,INDEX(times,i+1)-INDEX(times,i)),"
        "sound,IF(many=ROWS(temperatures)*COLUMNS(temperatures),"
        "IF(many>1,SUM(MAP(SEQUENCE(many-1),LAMBDA(i,IF(lasts(i)<0,1,0))))=0,TRUE),FALSE),"
        "kelvin,LAMBDA(i,INDEX(temperatures,i)+273.15),base,MAX(temperatures)+273.15,"
        f"steep,1000/{_CONVERT},places,{{{places}}},shares,{{{shares}}},"
        "mean,LAMBDA(e,i,LET(from,kelvin(i),rise,kelvin(i+1)-from,"
        "cuts,1+INT(ABS(e*steep*(1/from-1/(from+rise)))),"
        f"IF(cuts>{_MOST_CUTS},SQRT(-1),SUM(MAKEARRAY(cuts,8,LAMBDA(k,j,INDEX(shares,j)"
        "*EXP(e*steep*(1/base-1/(from+rise*(k-1+INDEX(places,j))/cuts))))))/cuts))),"
        f"spent,IF(many>1,MAP({energy},LAMBDA(e,SUM(MAP(SEQUENCE(many-1),LAMBDA(i,lasts(i)*mean(e,i)))))),0)"
    )


def _halving_means(first: Number, last: Number, base: Number, step: Number) -> np.ndarray:
    """Mean of 2^((T − base)/step) while T goes linearly from first to last: closed form."""
    hot = np.maximum(first, last)
    span = _LN2 * np.abs(last - first) / step
    shape = np.where(span > 0.0, -np.expm1(-span) / np.where(span > 0.0, span, 1.0), 1.0)
    return np.exp2((hot - base) / step) * shape


def _arrhenius_means(first: Number, last: Number, base: Number, energy: Number) -> np.ndarray:
    """Mean of exp(E/R·(1/base − 1/T)) while T goes linearly from first to last.

    Gauss–Legendre panels in ln T, where the integrand has no singular point; the part that is more
    than e⁻⁵⁰ slower than the hot end is left out.
    """
    slope = energy / GAS_CONSTANT
    hot, cold = np.maximum(first, last), np.minimum(first, last)
    low = np.maximum(cold, slope / (slope / hot + _FADED))
    stretch = np.log1p((hot - low) / low)
    span = np.max(stretch * np.maximum(1.0, slope / low / _PANEL), initial=1.0)
    panels = int(np.ceil(span))
    total = np.zeros(np.broadcast_shapes(np.shape(stretch), np.shape(slope)))
    for panel in range(panels):
        for node, weight in zip(_NODES, _WEIGHTS, strict=True):
            temperature = low * np.exp(stretch * (panel + 0.5 + 0.5 * node) / panels)
            rate = np.exp(slope * (1.0 / base - 1.0 / temperature))
            total += 0.5 * weight / panels * rate * temperature
    level = hot > cold
    return total * np.where(level, stretch / np.where(level, hot - cold, 1.0), 1.0 / hot)


def _means(first: Number, last: Number, base: Number, energy: Number | None, step: Number) -> np.ndarray:
    if energy is None:
        return _halving_means(first, last, base, step)
    return _arrhenius_means(first, last, base, energy)


@workbook_function(
    category="Pot life",
    arguments=(_TIMES, _TEMPERATURES, _REFERENCE_LIFE, _REFERENCE_TEMPERATURE, _ENERGY_OR_NONE, _STEP),
    returns=(out("share", "", "share of the pot life used, 1 is all of it"),),
    equation="∫ dt / t_life(T(t)), temperature linear between the points",
    source=_ARRHENIUS + "; halving rule: common practice, no source; adding up shares of life: "
    "the same reaction at another speed",
    rule=_RULE,
    valid="as POT_LIFE; the record is of the material, not of the air, where the two differ",
    requires=(
        requires(
            lambda times, temperatures: len(times) == len(temperatures),
            "temperatures",
            "as many as there are times",
        ),
        requires(lambda times: len(times) >= 2, "times", "two points or more"),
        requires(
            lambda times: bool(np.all(np.diff(times) >= 0.0)),
            "times",
            "in order, each at or after the one before",
        ),
    ),
    no_answer="the share is beyond any number",
    examples=(
        example(
            ([0, 60], [20, 30], 60, 20), 1.4426950408889634, "∫ 2^(t/60) dt/60 from 0 to 60 = 1/ln 2, by hand"
        ),
        example(
            ([0, 55], [25, 80], 100, 80, 60),
            0.1553664607,
            "exponential integral E₁ in closed form: 15.53664607 min at 80 °C",
        ),
        example(([0, 30, 90], [23, 23, 23], 60, 23), 1.5, "90 min of a life of 60 min"),
    ),
    formula="LET(step,IF(ISOMITTED(halving_step),10,halving_step),"
    f"{along_record_formula('IF(ISOMITTED(activation_energy),0,activation_energy)')},"
    "halves,LAMBDA(s,i,LET(hot,IF(kelvin(i)>kelvin(i+1),kelvin(i),kelvin(i+1)),"
    "span,LN(2)*ABS(kelvin(i+1)-kelvin(i))/s,"
    "2^((hot-base)/s)*IF(span>0.001,(1-EXP(-span))/span,1-span/2*(1-span/3*(1-span/4*(1-span/5)))))),"
    "halved,MAP(step,LAMBDA(s,SUM(MAP(SEQUENCE(many-1),LAMBDA(i,lasts(i)*halves(s,i)))))),"
    "IF(sound*(many>1)=0,SQRT(-1),IF(ISOMITTED(activation_energy),"
    "halved/(reference_life*2^((reference_temperature+273.15-base)/step)),"
    "spent/(reference_life*EXP(activation_energy*steep*(1/base-1/(reference_temperature+273.15)))))))",
)
def life_used(
    times: Floats,
    temperatures: Floats,
    reference_life: Number,
    reference_temperature: Number,
    activation_energy: Number | None = None,
    halving_step: Number = HALVING_STEP,
) -> Number:
    """Share of the pot life used along a temperature record.

    >>> import numpy as np
    >>> float(life_used(np.array([0.0, 1800.0]), np.array([296.15, 296.15]), 3600.0, 296.15))
    0.5
    """
    base = temperatures.max()
    given = halving_step if activation_energy is None else activation_energy
    values, place = np.unique(given, return_inverse=True)  # an integral for each different value
    energies = None if activation_energy is None else values[:, None]
    means = _means(temperatures[:-1], temperatures[1:], base, energies, values[:, None])
    spent = (means @ np.diff(times))[place].reshape(np.shape(given))  # at the base temperature
    life = pot_life(base, reference_life, reference_temperature, activation_energy, halving_step)
    return spent / life


def cumulative_life(
    times: Series,
    temperatures: Series,
    reference_life: Number,
    reference_temperature: Number,
    activation_energy: Number | None = None,
    halving_step: Number = HALVING_STEP,
) -> np.ndarray:
    """Share of life used from the first point of a record up to each of its points, SI units.

    >>> cumulative_life([0.0, 1800.0, 3600.0], [296.15] * 3, 3600.0, 296.15).tolist()
    [0.0, 0.5, 1.0]
    """
    times, temperatures = _record(times, temperatures)
    base = temperatures.max()
    means = _means(temperatures[:-1], temperatures[1:], base, activation_energy, halving_step)
    life = pot_life(base, reference_life, reference_temperature, activation_energy, halving_step)
    return np.concatenate([[0.0], np.cumsum(means * np.diff(times))]) / life


def time_to_share(
    start_time: float,
    share: float,
    times: Series,
    temperatures: Series,
    reference_life: float,
    reference_temperature: float,
    activation_energy: float | None = None,
    halving_step: float = HALVING_STEP,
) -> float:
    """Time at which a batch mixed at `start_time` has used `share` of its life, SI units.

    >>> time_to_share(0.0, 0.5, [0.0], [296.15], 3600.0, 296.15)
    1800.0
    """
    clock = LifeClock(
        times, temperatures, reference_life, reference_temperature, activation_energy, halving_step
    )
    return clock.when(start_time, share)


def _record(times: Series, temperatures: Series) -> tuple[np.ndarray, np.ndarray]:
    """A temperature record as two arrays, checked."""
    times = np.atleast_1d(np.asarray(times, dtype=float))
    temperatures = np.atleast_1d(np.asarray(temperatures, dtype=float))
    problems = []
    if times.ndim != 1 or times.shape != temperatures.shape or times.size == 0:
        problems.append(
            Problem(
                "temperature record",
                "temperatures",
                f"{temperatures.size} values",
                f"as many as there are times ({times.size})",
            )
        )
    if not (np.isfinite(times).all() and np.all(np.diff(times) >= 0.0)):
        problems.append(
            Problem(
                "temperature record",
                "times",
                f"{times.size} values",
                "numbers in order, each at or after the one before",
                code=NUM,
            )
        )
    if not (np.isfinite(temperatures).all() and np.all(temperatures > 0.0)):
        problems.append(
            Problem("temperature record", "temperatures", float(temperatures.min()), "above 0 K", code=NUM)
        )
    if problems:
        raise InputError(problems)
    return times, temperatures


_NEAR_8 = tuple(zip(_NODES_8, _WEIGHTS_8, strict=True))
#: three nodes err by 3e-5·(span/2)⁶ of the mean (Gauss–Legendre): below the last digit of a number
_NEAR_3 = ((-math.sqrt(0.6), 5.0 / 9.0), (0.0, 8.0 / 9.0), (math.sqrt(0.6), 5.0 / 9.0))
_FLAT_3 = 0.02


class LifeClock:
    """The pot life of batches along one temperature record; SI units (s, K, J/mol).

    The record is linear between its points; before the first and after the last one the
    temperature stays. The cumulative curve is computed once, so that `used` and `when` are quick;
    a constant temperature is quicker still.

    >>> clock = LifeClock([0.0, 3600.0], [293.15, 303.15], 3600.0, 293.15)
    >>> clock.used(0.0, 3600.0)  # 1/ln 2
    1.4426950408...
    >>> clock.used(0.0, clock.when(0.0, 0.8))
    0.8...
    """

    def __init__(
        self,
        times: Series,
        temperatures: Series,
        reference_life: float,
        reference_temperature: float,
        activation_energy: float | None = None,
        halving_step: float = HALVING_STEP,
    ) -> None:
        clock, heat = _record(times, temperatures)
        for name, value in (
            ("reference_life", reference_life),
            ("reference_temperature", reference_temperature),
            ("halving_step", halving_step),
        ):
            if not (math.isfinite(value) and value > 0.0):
                raise InputError(Problem("LifeClock", name, value, "above 0", code=NUM))
        self._times: list[float] = clock.tolist()
        self._heat: list[float] = heat.tolist()
        self._reference = (float(reference_life), float(reference_temperature))
        self._energy = None if activation_energy is None else float(activation_energy)
        self._step = float(halving_step)
        self._known: dict[tuple[float, float], float] = {}
        self._constant = self._rate(self._heat[0]) if np.ptp(heat) == 0.0 else None
        self._spent: list[float] = cumulative_life(
            clock, heat, reference_life, reference_temperature, self._energy, self._step
        ).tolist()

    def used(self, start: float, end: float) -> float:
        """Share of life that a batch mixed at `start` has used at `end`."""
        if self._constant is not None:
            return (end - start) * self._constant
        if end < start:
            return -self.used(end, start)
        known = self._known.get((start, end))
        if known is None:
            if len(self._known) >= _ASKED_AGAIN:
                self._known.clear()
            known = self._known[start, end] = self._used(start, end)
        return known

    def _used(self, start: float, end: float) -> float:
        """The same along a temperature that changes, from the earlier time to the later."""
        times = self._times
        first, last = bisect_right(times, start) - 1, bisect_right(times, end) - 1
        if first == last:
            return self._between(first, start, end)
        return (
            self._between(first, start, times[first + 1])
            + self._spent[last]
            - self._spent[first + 1]
            + self._between(last, times[last], end)
        )

    def when(self, start: float, share: float) -> float:
        """Time at which a batch mixed at `start` has used `share` of its life."""
        if not share >= 0.0:
            raise InputError(Problem("LifeClock", "share", share, "0 or more", code=NUM))
        if self._constant is not None:
            return start + share / self._constant if self._constant else math.inf
        times, spent = self._times, self._spent
        place = bisect_right(times, start) - 1
        if place < len(times) - 1:
            part = self._between(place, start, times[place + 1])
            if part < share:
                share -= part
                goal = spent[place + 1] + share
                onward = bisect_right(spent, goal, place + 1) - 1
                share = max(0.0, share - (spent[onward] - spent[place + 1]))
                place, start = onward, times[onward]
        return start + self._delay(place, start, share)

    def _rate(self, temperature: float) -> float:
        """Share of life used each second at a temperature."""
        life, reference = self._reference
        if self._energy is None:
            power = _LN2 * (temperature - reference) / self._step
        else:
            power = self._energy / GAS_CONSTANT * (1.0 / reference - 1.0 / temperature)
        return math.exp(min(power, _MOST)) / life

    def _temperature(self, place: int, time: float) -> float:
        """Temperature at a time that lies after point `place` (−1: before the first)."""
        times, heat = self._times, self._heat
        if place < 0 or place == len(times) - 1:
            return heat[max(place, 0)]
        part = (time - times[place]) / (times[place + 1] - times[place])
        return heat[place] + part * (heat[place + 1] - heat[place])

    def _between(self, place: int, start: float, end: float) -> float:
        """Share used between two times of one segment."""
        if end <= start:
            return 0.0
        return (end - start) * self._mean(self._temperature(place, start), self._temperature(place, end))

    def _mean(self, first: float, last: float) -> float:
        """Mean rate while the temperature goes linearly from first to last."""
        if first == last:
            return self._rate(first)
        if self._energy is None:
            span = _LN2 * abs(last - first) / self._step
            return self._rate(max(first, last)) * (-math.expm1(-span) / span if span else 1.0)
        slope = self._energy / GAS_CONSTANT
        # so flat that eight nodes hold the mean to the last digits
        span = slope * abs(1.0 / first - 1.0 / last)
        if span < _FLAT and 1.0 / _LIKE < first / last < _LIKE:
            middle, half = 0.5 * (first + last), 0.5 * (last - first)
            nodes = _NEAR_3 if span < _FLAT_3 else _NEAR_8
            return 0.5 * math.fsum([weight * self._rate(middle + half * node) for node, weight in nodes])
        hot = max(first, last)
        return self._rate(hot) * float(_arrhenius_means(first, last, hot, self._energy))

    def _delay(self, place: int, start: float, share: float) -> float:
        """Time after `start` in which `share` is used, within the segment after point `place`."""
        first = self._temperature(place, start)
        rate = self._rate(first)
        if share == 0.0:
            return 0.0
        if place < 0 or place == len(self._times) - 1:
            return share / rate if rate else math.inf
        length = self._times[place + 1] - start
        last = self._heat[place + 1]
        if first == last:
            return min(share / rate, length) if rate else length
        # as if the rate were exponential in time, which it is by the halving rule
        end_rate = self._rate(last)
        growth = math.log(end_rate / rate) / length if rate and end_rate else 0.0
        delay = 0.5 * length
        if growth and growth * share / rate > -1.0:
            delay = math.log1p(growth * share / rate) / growth
        elif rate:
            delay = share / rate
        delay = min(max(delay, 0.0), length)
        return delay if self._energy is None else self._newton(first, last, length, share, delay)

    def _newton(self, first: float, last: float, length: float, share: float, delay: float) -> float:
        """The root of used(delay) = share between 0 and length; a step outside is halved in."""
        low, high = 0.0, length
        for _ in range(100):
            heat = first + (last - first) * delay / length
            excess = delay * self._mean(first, heat) - share
            low, high = (low, delay) if excess > 0.0 else (delay, high)
            rate = self._rate(heat)
            step = excess / rate if rate else math.inf
            new = delay - step
            if not low <= new <= high:
                new = 0.5 * (low + high)
            if abs(new - delay) <= 4e-16 * length or new == delay:
                return new
            if abs(step) <= 1e-9 * delay:  # the next error is of the order of its square
                return new
            delay = new
        return delay


__all__ = [
    "FAR",
    "GAS_CONSTANT",
    "HALVING_STEP",
    "LifeClock",
    "NEAR_REFERENCE",
    "activation_energy",
    "cumulative_life",
    "halving_step",
    "life_used",
    "pot_life",
    "rate_factor",
    "time_to_share",
]
