"""Cure with water from the air: how deep, how soon, and what temperature and humidity do to it.

The cured depth grows with the root of time, z² = K²·t. Along a record the rate K² follows the density
of the water vapour and, where an activation energy is known, Arrhenius' law; `MoistureClock` plays a
repeating day. The same rate drives times that a data sheet states at one temperature and humidity.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..base.errors import NUM, InputError, Problem
from ..base.fields import number
from ..base.numbers import Number, Series
from ..base.units import CELSIUS_ZERO, DAY
from .declare import example, out, workbook_function
from .life import GAS_CONSTANT, rate_factor

MAGNUS = (611.2, 17.62, 243.12)  # Pa, –, °C
WATER = 0.01801528  # kg/mol
VAPOUR_CONSTANT = GAS_CONSTANT / WATER  # J/(kg·K)
STATED_HUMIDITY = 0.5  # of most data sheets (common practice, no source)
STATED_TEMPERATURE = 23.0  # °C, likewise

_MAGNUS_SOURCE = (
    "Magnus form of D. Sonntag, Z. Meteorol. 70 (1990) 340–344, recommended by the World "
    "Meteorological Organization 2008"
)
_COMYN = "J. Comyn, Int. J. Adhesion & Adhesives 18 (1998) 247–253 (equation from memory)"
_NO_LAW = (
    "a rule of thumb: the vapour alone where no activation energy is given; no published law "
    "was found for the part of temperature"
)
_COEFFICIENT = number(
    "coefficient", "mm/√h", "depth after the first hour; depth after 24 h over √24", above=0
)
_TEMPERATURE = number("temperature", "°C", "temperature of the air", at_least=-45, at_most=100)
_HUMIDITY = number("humidity", "", "relative humidity, as a share", at_least=0, at_most=1)
_DENSITY_FORMULA = "EXP(17.62*{0}/(243.12+{0}))/({0}+273.15)"


# ------------------------------------------------------------------------------ depth at one climate


@workbook_function(
    category="Cure and heat",
    arguments=(number("time", "h", "time since the bead met the air", at_least=0), _COEFFICIENT),
    returns=(out("depth", "mm", "depth cured from the free face"),),
    equation="z = k·√t",
    source=_COMYN,
    valid="one-part materials that cure with water from the air, at the humidity and temperature "
    "of the coefficient",
    rule="a sharp front; near a depth that moisture reaches from two sides it goes quicker",
    examples=(
        example((168, 0.6123724357), 7.937253933, "3 mm in 24 h, so 3·√7 mm in 7 d, by hand"),
        example((0, 1), 0.0, "no time, no depth"),
    ),
    formula="coefficient*SQRT(time)",
    system=("mm", "h"),
)
def moisture_depth(time: Number, coefficient: Number) -> Number:
    """Depth to which moisture has cured.

    >>> round(float(moisture_depth(86400.0, 0.6123724357e-3 / 60)) * 1e3, 6)
    3.0
    """
    return coefficient * np.sqrt(time)


@workbook_function(
    category="Cure and heat",
    arguments=(number("depth", "mm", "depth from the free face", at_least=0), _COEFFICIENT),
    returns=(out("time", "h", "time to cure to that depth"),),
    equation="t = (z/k)²",
    source=_COMYN,
    valid="as MOISTURE_DEPTH",
    rule="a sharp front; near a depth that moisture reaches from two sides it goes quicker",
    examples=(example((6, 0.6123724357), 96.0, "twice the depth of 24 h takes four times as long"),),
    formula="(depth/coefficient)^2",
    system=("mm", "h"),
)
def moisture_time(depth: Number, coefficient: Number) -> Number:
    """Time until moisture has cured to a depth.

    >>> round(float(moisture_time(0.006, 0.6123724357e-3 / 60)), 2)
    345600.0
    """
    return (depth / coefficient) ** 2


# -------------------------------------------------------------------------------- water in the air


def vapour_pressure(temperature: Number) -> Number:
    """Saturation pressure of water, Pa: e_s = 611.2·exp(17.62·t/(243.12 + t)), t in °C.

    Magnus form of D. Sonntag, Z. Meteorol. 70 (1990) 340–344; within 0.4 % of steam tables from 0 to
    60 °C. `temperature` K, above −243.12 °C.

    >>> round(float(vapour_pressure(273.15)), 1)
    611.2
    """
    pressure, slope, pole = MAGNUS
    celsius = np.asarray(temperature, dtype=float) - CELSIUS_ZERO
    return pressure * np.exp(slope * celsius / (pole + celsius))


@workbook_function(
    category="Cure and heat",
    arguments=(_TEMPERATURE, _HUMIDITY),
    returns=(out("density", "g/m³", "density of the water vapour"),),
    equation="ρ = φ·e_s(T)/(R_v·T), e_s = 611.2·exp(17.62·t/(243.12 + t)) Pa, t in °C",
    source=_MAGNUS_SOURCE + "; R_v = R/0.01801528 kg/mol",
    valid="over water, also below 0 °C; within 0.4 % of steam tables from 0 to 60 °C",
    examples=(
        example((23, 0.5), 10.25209028, "Magnus form, computed apart", 1e-8),
        example((35, 0.8), 31.57311575, "Magnus form, computed apart", 1e-8),
        example((10, 0.3), 2.814574121, "Magnus form, computed apart", 1e-8),
    ),
    formula=f"humidity*611.2/{VAPOUR_CONSTANT:.15g}*1000*" + _DENSITY_FORMULA.format("temperature"),
)
def vapour_density(temperature: Number, humidity: Number) -> Number:
    """Water in a cubic metre of air.

    >>> round(float(vapour_density(296.15, 0.5)) * 1e3, 5)  # g/m³
    10.25209
    """
    return humidity * vapour_pressure(temperature) / (VAPOUR_CONSTANT * temperature)


def moisture_rate(
    temperature: Number,
    humidity: Number,
    reference_temperature: Number,
    reference_humidity: Number,
    activation_energy: Number = 0.0,
) -> Number:
    """How many times quicker than at the reference the square of the depth grows, K²/K_ref².

    ρ_v(T, φ)/ρ_v(T_ref, φ_ref)·exp[−(E/R)(1/T − 1/T_ref)]; SI units, humidity as a share.

    >>> round(float(moisture_rate(296.15, 0.25, 296.15, 0.5)), 9)
    0.5
    """
    water = vapour_density(temperature, humidity)
    stated = vapour_density(reference_temperature, reference_humidity)
    return water / stated * rate_factor(temperature, reference_temperature, activation_energy)


@workbook_function(
    category="Cure and heat",
    arguments=(
        _TEMPERATURE,
        _HUMIDITY,
        number(
            "reference_temperature",
            "°C",
            "temperature the coefficient was measured at",
            default=STATED_TEMPERATURE,
            at_least=-45,
            at_most=100,
        ),
        number(
            "reference_humidity",
            "",
            "relative humidity it was measured at, as a share",
            default=STATED_HUMIDITY,
            above=0,
            at_most=1,
        ),
        number(
            "activation_energy",
            "kJ/mol",
            "activation energy of the permeation; blank takes the vapour alone",
            default=0.0,
            at_least=0,
        ),
    ),
    returns=(out("factor", "", "how many times the coefficient is at this climate"),),
    equation="k/k_ref = √(ρ/ρ_ref·exp(−E/R·(1/T − 1/T_ref))), ρ as VAPOUR_DENSITY",
    source=f"depth with the root of the water in the air: {_COMYN}; {_MAGNUS_SOURCE}",
    valid="as MOISTURE_DEPTH; one material, climates of a shop",
    rule=_NO_LAW,
    examples=(
        example((35, 0.8, 23, 0.5, 30), 2.224738429, "root of the rate, computed apart in logarithms", 1e-8),
        example((15, 0.35), 0.6609366645, "vapour alone, computed apart", 1e-8),
        example((23, 0.25), 0.7071067812, "half the water: 1/√2, by hand"),
    ),
    formula="SQRT(humidity/IF(ISOMITTED(reference_humidity),0.5,reference_humidity)*LET(stated,"
    "IF(ISOMITTED(reference_temperature),23,reference_temperature),"
    f"{_DENSITY_FORMULA.format('temperature')}/({_DENSITY_FORMULA.format('stated')})*EXP("
    "IF(ISOMITTED(activation_energy),0,activation_energy)*1000/8.31446261815324*"
    "(1/(stated+273.15)-1/(temperature+273.15)))))",
)
def moisture_factor(
    temperature: Number,
    humidity: Number,
    reference_temperature: Number = STATED_TEMPERATURE + CELSIUS_ZERO,
    reference_humidity: Number = STATED_HUMIDITY,
    activation_energy: Number = 0.0,
) -> Number:
    """How many times its stated value the coefficient of moisture cure is in other air.

    >>> round(float(moisture_factor(308.15, 0.8, 296.15, 0.5, 30e3)), 6)
    2.224738
    """
    return np.sqrt(
        moisture_rate(temperature, humidity, reference_temperature, reference_humidity, activation_energy)
    )


def moisture_coefficient(
    depth: Number, time: Number, *, humidity: Number | None = None, reference_humidity: Number | None = None
) -> Number:
    """Coefficient m/√s from a depth cured in a time; moved to another humidity by √φ.

    At one temperature: `moisture_factor` moves it to another one too.

    >>> k = moisture_coefficient(0.003, 86400.0, humidity=0.3, reference_humidity=0.5)
    >>> round(float(moisture_depth(86400.0, k)) * 1e3, 6)
    2.32379
    """
    coefficient = depth / np.sqrt(time)
    if humidity is not None and reference_humidity is not None:
        coefficient = coefficient * np.sqrt(humidity / reference_humidity)
    return coefficient


def permeation_coefficient(volume: Number, permeability: Number, pressure: Number) -> Number:
    """Coefficient m/√s of moisture cure, √(2·V·P·p): V m³ cured by a mole of water (Comyn).

    `permeability` mol/(m·s·Pa), `pressure` of water Pa.

    >>> k = permeation_coefficient(5e-3, 1.2e-11, 1405.0)
    >>> round(float(moisture_depth(86400.0, k)) * 1e3, 6)
    3.816679
    """
    return np.sqrt(2.0 * volume * permeability * pressure)


# ---------------------------------------------------------------------------------- along a record

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_SETTLED = 1e-9  # s, a step of Newton's search for a time that ends it
_PANEL = 5.0  # K that one panel of 8 points spans: the rest is below 1e-14


def _counts(temperatures: Series) -> np.ndarray:
    """Into how many panels each stretch of a record is cut."""
    return np.maximum(1, np.ceil(np.abs(np.diff(temperatures)) / _PANEL)).astype(int)


def _panels(times: Series, temperatures: Series, humidities: Series) -> tuple[np.ndarray, ...]:
    """A record with points between, `_PANEL` apart at most in temperature."""
    record = [np.atleast_1d(np.asarray(row, dtype=float)) for row in (times, temperatures, humidities)]
    counts = _counts(record[1])
    place = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[place]
    return tuple(np.append(row[place] + share * (row[place + 1] - row[place]), row[-1]) for row in record)


def _mean_rates(first: Sequence[Number], last: Sequence[Number], *reference: Number) -> np.ndarray:
    """Mean rate while temperature and humidity go linearly from `first` to `last`, each (T, φ)."""
    share = 0.5 + 0.5 * _NODES[:, None]
    heat, humidity = (a + share * (b - a) for a, b in zip(first, last, strict=True))
    return 0.5 * _WEIGHTS @ moisture_rate(heat, humidity, *reference)


def equivalent_moisture_time(
    times: Series,
    temperatures: Series,
    humidities: Series,
    reference_temperature: Number,
    reference_humidity: Number,
    activation_energy: Number = 0.0,
) -> Number:
    """Time at the reference climate that does the same, from the start of a record to each of its points.

    ∫ K²/K_ref² dt, temperature and humidity linear between the points; the depth there is
    K_ref·√(equivalent time). SI units.

    >>> equivalent_moisture_time([0.0, 3600.0, 7200.0], [296.15] * 3, [0.5, 0.5, 0.5], 296.15, 0.5).tolist()
    [0.0, 3600.0, 7200.0]
    """
    clock, heat, humidity = _panels(times, temperatures, humidities)
    means = _mean_rates(
        (heat[:-1], humidity[:-1]),
        (heat[1:], humidity[1:]),
        reference_temperature,
        reference_humidity,
        activation_energy,
    )
    spent = np.append(0.0, np.cumsum(means * np.diff(clock)))
    used: Number = spent[np.append(0, np.cumsum(_counts(temperatures)))]
    return used


class MoistureClock:
    """Moisture cure along a day of temperature and humidity that repeats itself for ever; SI units.

    Both are linear between the points, and from the last point to the first one of the next day; two
    points of one time are a jump. `when` is inf where the air holds no water.

    >>> clock = MoistureClock([0.0], [296.15], [0.25], 296.15, 0.5)
    >>> round(clock.equivalent(0.0, 7200.0), 6), round(clock.when(0.0, 86400.0), 6)
    (3600.0, 172800.0)
    """

    def __init__(
        self,
        times: Series,
        temperatures: Series,
        humidities: Series,
        reference_temperature: float,
        reference_humidity: float,
        activation_energy: float = 0.0,
        period: float = DAY,
    ) -> None:
        clock, heat, humidity = (
            np.atleast_1d(np.asarray(row, dtype=float)) for row in (times, temperatures, humidities)
        )
        self._check(clock, heat, humidity, period)
        self._reference = (reference_temperature, reference_humidity, activation_energy)
        self._first, self._period = float(clock[0]), period
        self._clock, self._heat, self._humidity = _panels(
            np.append(clock, clock[0] + period), np.append(heat, heat[0]), np.append(humidity, humidity[0])
        )
        means = _mean_rates(
            (self._heat[:-1], self._humidity[:-1]), (self._heat[1:], self._humidity[1:]), *self._reference
        )
        self._spent = np.append(0.0, np.cumsum(means * np.diff(self._clock)))

    @staticmethod
    def _check(clock: np.ndarray, heat: np.ndarray, humidity: np.ndarray, period: float) -> None:
        problems = []
        if not clock.size or clock.shape != heat.shape or clock.shape != humidity.shape:
            problems.append(
                Problem(
                    "MoistureClock",
                    "temperatures",
                    f"{heat.size} values",
                    f"as many as there are times ({clock.size}) and humidities",
                )
            )
        if not (np.isfinite(clock).all() and np.all(np.diff(clock) >= 0.0) and np.ptp(clock) <= period):
            problems.append(
                Problem(
                    "MoistureClock",
                    "times",
                    f"{clock.size} values",
                    "in order and within one period",
                    code=NUM,
                )
            )
        if not np.all(heat > CELSIUS_ZERO - MAGNUS[2]):
            problems.append(
                Problem(
                    "MoistureClock", "temperatures", float(np.min(heat)), f"above {-MAGNUS[2]} °C", code=NUM
                )
            )
        if not np.all((humidity >= 0.0) & (humidity <= 1.0)):
            problems.append(
                Problem("MoistureClock", "humidities", humidity.tolist(), "from 0 to 1", code=NUM)
            )
        if problems:
            raise InputError(problems)

    @property
    def day(self) -> float:
        """Time at the reference climate that one day is worth."""
        return float(self._spent[-1])

    def equivalent(self, start: float, end: float) -> float:
        """Time at the reference climate that does the same as from `start` to `end`."""
        return self._since(end) - self._since(start)

    def when(self, start: float, needed: float) -> float:
        """The time at which so much time at the reference climate has been had since `start`."""
        if not needed > 0.0:
            return start
        if self.day <= 0.0:
            return math.inf
        days, rest = divmod(self._since(start) + needed, self.day)
        place = min(int(np.searchsorted(self._spent, rest)), len(self._spent) - 1) - 1
        place = max(place, 0)
        inside = self._delay(place, rest - self._spent[place])
        return float(days * self._period + self._clock[place] + inside)

    def _since(self, clock: float) -> float:
        """Equivalent time from the first point of day 0 on; below 0 before it."""
        days, phase = divmod(clock - self._first, self._period)
        at = self._first + phase
        place = min(int(np.searchsorted(self._clock, at, "right")) - 1, len(self._clock) - 2)
        return days * self.day + float(self._spent[place]) + self._part(place, at - float(self._clock[place]))

    def _at(self, place: int, delay: float) -> tuple[float, float]:
        """Temperature and humidity so long after point `place`."""
        length = self._clock[place + 1] - self._clock[place]
        share = delay / length if length > 0.0 else 0.0
        rows = (self._heat, self._humidity)
        heat, humidity = (row[place] + share * (row[place + 1] - row[place]) for row in rows)
        return heat, humidity

    def _part(self, place: int, delay: float) -> float:
        """Equivalent time of the first `delay` seconds after point `place`."""
        means = _mean_rates(self._at(place, 0.0), self._at(place, delay), *self._reference)
        return delay * float(means[0])

    def _delay(self, place: int, wanted: float) -> float:
        """Inverse of `_part`: Newton's steps, halved where they leave the bracket."""
        low, high = 0.0, float(self._clock[place + 1] - self._clock[place])
        whole = float(self._spent[place + 1] - self._spent[place])
        if wanted <= 0.0 or whole <= 0.0:
            return 0.0
        delay = min(high, high * wanted / whole)
        for _ in range(100):
            excess = self._part(place, delay) - wanted
            low, high = (low, delay) if excess > 0.0 else (delay, high)
            rate = float(moisture_rate(*self._at(place, delay), *self._reference))
            new = delay - excess / rate if rate > 0.0 else math.inf
            if not low <= new <= high:
                new = 0.5 * (low + high)
            if abs(new - delay) <= _SETTLED:
                return new
            delay = new
        return delay


__all__ = [
    "MoistureClock",
    "equivalent_moisture_time",
    "moisture_coefficient",
    "moisture_depth",
    "moisture_factor",
    "moisture_rate",
    "moisture_time",
    "permeation_coefficient",
    "vapour_density",
    "vapour_pressure",
]
