"""Activation energy and cure kinetics from a CSV of measurements, ready for the plan.

`arrhenius` takes columns temperature and time (pot lives, gel or cure times); the others, `n-th` and
`kamal` alone or with what slows them, take time, temperature and degree of cure, run below run, each
level or a ramp. The report says how well each constant is known, warns where the data cannot tell
constants apart, and names the plan's columns that take the results.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..base.fields import by_header, number
from ..base.naming import field_name
from ..base.printed import UP, rounded
from ..base.terminal import table
from ..base.units import LONGEST, celsius_text, from_si, read_header
from ..handbook.fitting import FORMS, KineticsFit, fit_kinetics
from ..handbook.kinetics import KINETICS
from ..handbook.life import GAS_CONSTANT
from ..handbook.schedule import Curvature, fit_activation_energy
from ..plan.csv import read_columns
from ..plan.materials import KINETICS_COLUMNS
from ..plan.tables import MATERIALS

ARRHENIUS, NTH, KAMAL = "arrhenius", "n-th", "kamal"
#: forms of kinetics by the word of the command
_KINETICS = {
    NTH: FORMS[0],
    KAMAL: FORMS[1],
    "kamal-ceiling": FORMS[2],
    "n-th-factor": FORMS[3],
    "kamal-factor": FORMS[4],
    "n-th-resistance": FORMS[5],
    "kamal-resistance": FORMS[6],
}
CHOICES = (ARRHENIUS, *_KINETICS)
_TEMPERATURE = number("temperature", "°C", "temperature of the test", above=-273.15)
_TIME = number("time", "min", "time to gel, to the end of the pot life, or to cure", above=0.0)
_SINCE = number("time", "min", "time since the start of the run", at_least=0.0)
_DEGREE = number("degree", "", "degree of cure, 0 to 1", at_least=-0.1, at_most=1.1)
_SHOP = number("at", "°C", "temperature at which the constants will be used", above=-273.15)
SHOP = 23.0  # °C, standard atmosphere 23/50 of ISO 291 (from memory)
NEAR_SHOP = 5.0  # K that data may lie away from the shop (common practice, no source)
SEEN = 0.05  # of the degree: nearer to 0 and 1 a row says little of the rate (no source)
HALF = 0.5  # the degree up to which the rate at the shop is told
HARDLY_KNOWN = 100.0  # a factor from which nothing is known
_GLASS = (
    number("uncured", "°C", "glass transition of the fresh mix", above=-273.15),
    number("cured", "°C", "glass transition at full cure", above=-273.15),
    number("ratio", "", "DiBenedetto's ratio", above=0.0, at_most=1.0),
)


@dataclass(frozen=True, slots=True)
class Constant:
    """A fitted constant with its standard error or interval, in shop units; None where not known."""

    name: str
    value: float
    unit: str
    error: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def interval(self) -> str:
        """The interval in words; an end that the data do not set is told so."""
        if self.low is None or self.high is None:
            return ""
        if math.isinf(self.low) and math.isinf(self.high):
            return "not limited by the data"
        if math.isinf(self.low):
            return f"up to {self.high:.5g}"
        return f"from {self.low:.5g}" if math.isinf(self.high) else f"{self.low:.5g} to {self.high:.5g}"


@dataclass(frozen=True, slots=True)
class AtShop:
    """What a fit says at the temperature of the shop, where the constants will be used; SI units."""

    temperature: float
    time: float  # of what was timed (arrhenius), or to `degree`
    degree: float | None
    factor: float  # within which that is known; infinite where the data do not set it
    low: float  # temperatures that the data speak of
    high: float

    @property
    def beyond(self) -> float:
        """How far the shop lies outside the data [K]."""
        return max(self.low - self.temperature, self.temperature - self.high, 0.0)

    @property
    def rate(self) -> float | None:
        """Mean rate to that degree [1/s]."""
        return None if self.degree is None else self.degree / self.time

    @property
    def factor_words(self) -> str:
        """How well it is known."""
        if not self.factor < HARDLY_KNOWN:
            return "hardly known"
        return f"known within a factor {1.0 + rounded(self.factor - 1.0, 2, UP):.3g}"

    @property
    def short(self) -> str:
        """For a headline."""
        what = "time" if self.degree is None else "rate"
        words = f"{what} at {celsius_text(self.temperature)} {self.factor_words}"
        return words + (f", extrapolated over {self.beyond:.0f} K" if self.warning else "")

    @property
    def words(self) -> str:
        """The rate there and its interval."""
        at = celsius_text(self.temperature)
        if not self.time < LONGEST:
            return f"at {at} the cure stops before a degree of {self.degree:.2g}"
        if self.rate is None:
            return f"time at {at}: {self.time / 60.0:.4g} min, {self.factor_words} (95 %)"
        return (
            f"rate at {at}, mean up to a degree of {self.degree:.2g}: {60.0 * self.rate:.3g} 1/min, "
            f"{self.factor_words} (95 %); that degree is reached after {self.time / 60.0:.4g} min"
        )

    @property
    def warning(self) -> str | None:
        """What is missing where the data do not reach the shop."""
        if self.beyond <= NEAR_SHOP:
            return None
        at = celsius_text(self.temperature)
        reach = f"the cure was seen from {celsius_text(self.low)} to {celsius_text(self.high)}"
        if self.degree is None:
            reach = f"times were measured from {celsius_text(self.low)} to {celsius_text(self.high)}"
        return (
            f"{reach}; {at} lies {self.beyond:.0f} K outside: what the plan reckons there is extrapolated, "
            "and another reaction may lead there: measure a level run near it before these constants are used"
        )


@dataclass(slots=True)
class FitReport:
    """What the measurements say; SI units but for the constants."""

    source: str
    form: str
    temperatures: np.ndarray
    times: np.ndarray
    measured: np.ndarray  # times (arrhenius) or degrees
    fitted: np.ndarray
    residuals: np.ndarray  # of ln time, or of the degree
    constants: list[Constant]
    plan_columns: list[tuple[str, float]]  # header of Materials, value in its unit
    spread: float
    warnings: list[str]
    notes: list[str] = field(default_factory=list)
    out: Path | None = None
    curvature: Curvature | None = None
    leading: str = "E"  # the activation energy that most of the rate rests on
    leading_share: float | None = None  # of the rate, where there are two
    at_shop: AtShop | None = None

    @property
    def is_bent(self) -> bool:
        """Whether one activation energy does not hold over the temperatures measured."""
        return self.curvature is not None and self.curvature.matters()

    @property
    def residual_name(self) -> str:
        """What a residual is."""
        return (
            "ln(time measured) − ln(time fitted)" if self.form == ARRHENIUS else ("degree measured − fitted")
        )

    @property
    def answer(self) -> str:
        """The activation energy that most of the rate rests on, and how well the shop's rate is known."""
        return self._energy_words + ("" if self.at_shop is None else f"; {self.at_shop.short}")

    @property
    def _energy_words(self) -> str:
        energy = next((item for item in self.constants if item.name == self.leading), None)
        if energy is None:  # all rows at one temperature
            return "no activation energy from one temperature"
        words = f"activation energy {energy.value:.3g} {energy.unit}"
        if self.leading_share is not None:
            words = (
                f"activation energy {energy.name} {energy.value:.3g} {energy.unit} (that term makes "
                f"{self.leading_share:.0%} of the rate)"
            )
        if self.is_bent:
            return f"{words} on the mean; one energy does not hold"
        if energy.low is not None and energy.high is not None:
            if math.isinf(energy.low) or math.isinf(energy.high):
                return f"{words}, 95 % {energy.interval}"
            return f"{words}, 95 % between {energy.low:.3g} and {energy.high:.3g}"
        return words + (f" ± {energy.error:.2g}" if energy.error is not None else "")

    def as_json(self) -> dict[str, Any]:
        """The report for a script."""
        return {
            "source": self.source,
            "form": self.form,
            "constants": [
                {
                    "name": item.name,
                    "value": item.value,
                    "unit": item.unit,
                    "error": item.error,
                    "low": _finite(item.low),
                    "high": _finite(item.high),
                }
                for item in self.constants
            ],
            "plan_columns": {_json_key(header): value for header, value in self.plan_columns},
            "spread": self.spread,
            "rows": [
                {
                    "temperature": float(from_si(temperature, "°C")),
                    "time": time / 60.0,
                    "measured": measured,
                    "fitted": fitted,
                    "residual": residual,
                }
                for temperature, time, measured, fitted, residual in zip(
                    self.temperatures.tolist(),
                    self.times.tolist(),
                    self.shown(self.measured),
                    self.shown(self.fitted),
                    self.residuals.tolist(),
                    strict=True,
                )
            ],
            "curvature": self._curvature_json(),
            "at_shop": self._shop_json(),
            "warnings": self.warnings,
            "notes": self.notes,
            "file": None if self.out is None else str(self.out),
        }

    def _curvature_json(self) -> dict[str, Any] | None:
        bend = self.curvature
        if bend is None:
            return None
        return {
            "t": bend.statistic,
            "degrees_of_freedom": bend.free,
            "chance": bend.chance,
            "line_misses": [
                {"temperature": float(from_si(at, "°C")), "share_of_time": miss} for at, miss in bend.misses
            ],
        }

    def _shop_json(self) -> dict[str, Any] | None:
        shop = self.at_shop
        if shop is None:
            return None
        return {
            "temperature": float(from_si(shop.temperature, "°C")),
            "degree": shop.degree,
            "time": _finite(shop.time / 60.0),
            "factor": _finite(shop.factor),
            "outside": shop.beyond,
        }

    def shown(self, values: np.ndarray) -> list[float]:
        """Measured or fitted values in shop units: minutes, or degrees."""
        return (values / 60.0 if self.form == ARRHENIUS else values).tolist()

    def as_text(self) -> str:
        """The report for a terminal."""
        rows = [
            [
                item.name,
                f"{item.value:.6g}",
                item.unit,
                "" if item.error is None else f"± {item.error:.2g}",
                item.interval,
            ]
            for item in self.constants
        ]
        blocks = [
            f"{self.source}: {self.form}, {len(self.times)} rows",
            *([] if self.at_shop is None else [self.at_shop.words]),
            table(["constant", "value", "unit", "standard error", "95 % interval"], rows),
            f"standard deviation of the residuals ({self.residual_name}): {self.spread:.3g}",
        ]
        if self.warnings:  # before what is offered to be taken over
            blocks.append("Warnings\n" + "\n".join(f"▲ {words}" for words in self.warnings))
        blocks.append(
            "For the plan, table Materials:\n"
            + "\n".join(f"  {header}: {value:.6g}" for header, value in self.plan_columns)
        )
        if self.notes:
            blocks.append("Notes\n" + "\n".join(f"- {words}" for words in self.notes))
        if self.out is not None:
            blocks.append(f"wrote {self.out}")
        return "\n\n".join(blocks)


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _header(name: str) -> str:
    return MATERIALS.column(name).title


def _json_key(header: str) -> str:
    """The header by the words of the column's name: keys of the JSON stay when a label changes."""
    item = by_header(MATERIALS.columns)[field_name(read_header(header)[0])]
    return header.replace(item.heading, item.headings[-1])


def _warned(at_shop: AtShop, warnings: Sequence[str]) -> list[str]:
    """The warnings of a fit, that of the shop's temperature first."""
    return [*([at_shop.warning] if at_shop.warning else []), *warnings]


def _time_at(temperature: float, temperatures: np.ndarray, times: np.ndarray) -> AtShop:
    """The time that a line through ln t on 1/T gives at a temperature, and the factor it is known within.

    s² = s_r²·(1/n + (x − x̄)²/Σ(x − x̄)²), Student's t with n − 2: N. R. Draper, H. Smith, Applied Regression
    Analysis, 3rd ed., 1998, section 3.1 (from memory).
    """
    place, logs = 1.0 / temperatures, np.log(times)
    apart = place - place.mean()
    squares = float(apart @ apart)
    slope = float(apart @ logs) / squares
    away = 1.0 / temperature - float(place.mean())
    missed = logs - logs.mean() - slope * apart
    free, factor = times.size - 2, math.inf
    if free > 0:
        from scipy.stats import t as student

        error = math.sqrt(float(missed @ missed) / free * (1.0 / times.size + away**2 / squares))
        factor = math.exp(float(student.ppf(0.975, free)) * error)
    time = math.exp(float(logs.mean()) + slope * away)
    return AtShop(temperature, time, None, factor, float(temperatures.min()), float(temperatures.max()))


def _rate_at(
    temperature: float, fit: KineticsFit, temperatures: np.ndarray, degrees: np.ndarray
) -> AtShop | None:
    """The mean rate of a fit at a temperature up to half the cure, or to what was measured."""
    seen = (degrees > SEEN) & (degrees < 1.0 - SEEN)
    if not fit.explains or not seen.any():
        return None
    told = temperatures[seen]
    degree = min(HALF, float(degrees.max()))
    time, factor = fit.time_to(degree, temperature)
    low, high = float(told.min()), float(told.max())
    if np.ptp(temperatures) == 0.0 and abs(temperature - low) > NEAR_SHOP:
        factor = math.inf  # one temperature tells nothing of another
    return AtShop(temperature, time, degree, factor, low, high)


def _arrhenius(path: str | os.PathLike[str], shop: float) -> FitReport:
    found = read_columns(path, (_TEMPERATURE, _TIME))
    temperatures, times = np.array(found["temperature"]), np.array(found["time"])
    fit = fit_activation_energy(temperatures, times)
    fitted = np.exp(np.log(times) - fit.residuals)
    known = math.isfinite(fit.low)
    free = max(1, len(times) - 2)
    middle = float(1.0 / np.mean(1.0 / temperatures))
    life = float(np.exp(np.mean(np.log(times))))
    at_shop = _time_at(shop, temperatures, times)
    return FitReport(
        Path(path).name,
        ARRHENIUS,
        temperatures,
        times,
        times,
        fitted,
        fit.residuals,
        [
            Constant(
                "E",
                fit.energy / 1e3,
                "kJ/mol",
                *(value / 1e3 if known else None for value in (fit.error, fit.low, fit.high)),
            ),
            Constant(f"time at {celsius_text(middle, 1)}", life / 60.0, "min"),
        ],
        [(_header("activation_energy"), fit.energy / 1e3)],
        float(np.sqrt(fit.residuals @ fit.residuals / free)),
        _warned(at_shop, fit.warnings),
        [f"line ln t = a + E/(R·T), R = {GAS_CONSTANT:.9g} J/(mol·K); valid near the temperatures measured"],
        curvature=fit.curvature,
        at_shop=at_shop,
    )


#: what a constant is measured in, and how many of it make its SI unit
_UNITS = {"E": ("kJ/mol", 1e-3), "alpha_cT": ("1/K", 1.0)}
_RATES = {NTH: "k1·(1 − α)^n", KAMAL: "(k1 + k2·α^m)·(1 − α)^n"}
_SLOWED = {
    "ceiling": "·(B − α)",
    "factor": "/(1 + exp(C·(α − α_c))), α_c = alpha_c0 + alpha_cT·(T/°C)",
    "resistance": ", k in series with k_d = kd0·10^[C1·(T − T_g)/(C2 + T − T_g)]",
}


def _words_of(form: str) -> str:
    """The law of a form in words."""
    chemistry = next(name for name in (KAMAL, NTH) if form.startswith(name))
    return f"rate dα/dt = {_RATES[chemistry]}{_SLOWED.get(form[len(chemistry) + 1 :], '')}, k = A·exp(−E/RT)"


def _constants(fit: KineticsFit) -> list[Constant]:
    """The constants of a fit in shop units; an end of an interval that the data do not set is infinite."""
    found = []
    rows = zip(fit.names, fit.values, fit.errors, fit.lows, fit.highs, strict=True)
    for name, value, error, low, high in rows:
        unit, factor = _UNITS.get("E" if name.startswith("E") else name, ("", 1.0))
        at = f" at {celsius_text(fit.reference, 1)}"
        words = f"{name}{at}, 1/s" if name.startswith("ln") else name
        words = f"{name}{at}" if name == "alpha_c" else words
        known = math.isfinite(low) or math.isfinite(high)
        ends = (float(low) * factor, float(high) * factor) if known else (None, None)
        found.append(Constant(words, float(value) * factor, unit, float(error) * factor, *ends))
    return found


def _kinetics(
    path: str | os.PathLike[str], form: str, glass: Sequence[float] | None, shop: float
) -> FitReport:
    found = read_columns(path, (_SINCE, _TEMPERATURE, _DEGREE))
    times, temperatures, degrees = (np.array(found[name]) for name in ("time", "temperature", "degree"))
    known = None
    if glass is not None:
        uncured, cured, ratio = (item.read(value, "glass") for item, value in zip(_GLASS, glass, strict=True))
        known = (uncured, cured, ratio)
    fit = fit_kinetics(times, degrees, temperatures, _KINETICS[form], glass=known)
    at_shop = _rate_at(shop, fit, temperatures, degrees)
    second = fit.share_of_second(temperatures)
    leading, share = ("E2", second) if second > 0.5 else ("E1", 1.0 - second if second else None)
    columns = [KINETICS_COLUMNS[item.name] for item in KINETICS.columns]
    return FitReport(
        Path(path).name,
        form,
        temperatures,
        times,
        degrees,
        fit.fitted,
        fit.residuals,
        _constants(fit),
        [(_header(name), value) for name, value in zip(columns, fit.row, strict=True) if value is not None],
        float(fit.spread),
        list(fit.warnings) if at_shop is None else _warned(at_shop, fit.warnings),
        [
            _words_of(form),
            "intervals by profile likelihood: a constant is moved and all others fitted again; they hold for "
            "errors of the degrees that are independent and alike",
            "a small sample does not tell of the heat of a pour: prove the first pour in a trial",
        ],
        leading=leading,
        leading_share=share,
        at_shop=at_shop,
    )


def fit_report(
    path: str | os.PathLike[str],
    form: str = ARRHENIUS,
    glass: Sequence[float] | None = None,
    at: float | str = SHOP,
) -> FitReport:
    """The fit of a CSV of measurements by one of the forms in `CHOICES`.

    `glass` holds the glass transition uncured and cured [°C] and DiBenedetto's ratio, for a resistance; `at`
    is the temperature [°C] at which the constants will be used, that of the shop or of the pour.
    """
    shop = _SHOP.read(at, "fit")
    return _arrhenius(path, shop) if form == ARRHENIUS else _kinetics(path, form, glass, shop)


__all__ = ["ARRHENIUS", "CHOICES", "KAMAL", "NTH", "SHOP", "AtShop", "Constant", "FitReport", "fit_report"]
