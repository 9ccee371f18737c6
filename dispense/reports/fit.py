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
from ..base.terminal import table
from ..base.units import celsius_text, from_si, read_header
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
        """The activation energy and how well it is known."""
        energy = next(item for item in self.constants if item.name.startswith("E"))
        words = f"activation energy {energy.value:.3g} {energy.unit}"
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
            table(["constant", "value", "unit", "standard error", "95 % interval"], rows),
            f"standard deviation of the residuals ({self.residual_name}): {self.spread:.3g}",
            "For the plan, table Materials:\n"
            + "\n".join(f"  {header}: {value:.6g}" for header, value in self.plan_columns),
        ]
        if self.warnings:
            blocks.append("Warnings\n" + "\n".join(f"▲ {words}" for words in self.warnings))
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


def _arrhenius(path) -> FitReport:
    found = read_columns(path, (_TEMPERATURE, _TIME))
    temperatures, times = np.array(found["temperature"]), np.array(found["time"])
    fit = fit_activation_energy(temperatures, times)
    fitted = np.exp(np.log(times) - fit.residuals)
    known = math.isfinite(fit.low)
    free = max(1, len(times) - 2)
    middle = float(1.0 / np.mean(1.0 / temperatures))
    life = float(np.exp(np.mean(np.log(times))))
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
        list(fit.warnings),
        [f"line ln t = a + E/(R·T), R = {GAS_CONSTANT:.9g} J/(mol·K); valid near the temperatures measured"],
        curvature=fit.curvature,
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


def _kinetics(path: str | os.PathLike[str], form: str, glass: Sequence[float] | None) -> FitReport:
    found = read_columns(path, (_SINCE, _TEMPERATURE, _DEGREE))
    times, temperatures, degrees = (np.array(found[name]) for name in ("time", "temperature", "degree"))
    known = None
    if glass is not None:
        uncured, cured, ratio = (item.read(value, "glass") for item, value in zip(_GLASS, glass, strict=True))
        known = (uncured, cured, ratio)
    fit = fit_kinetics(times, degrees, temperatures, _KINETICS[form], glass=known)
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
        list(fit.warnings),
        [
            _words_of(form),
            "intervals by profile likelihood: a constant is moved and all others fitted again; they hold for "
            "errors of the degrees that are independent and alike",
            "a small sample does not tell of the heat of a pour: prove the first pour in a trial",
        ],
    )


def fit_report(
    path: str | os.PathLike[str], form: str = ARRHENIUS, glass: Sequence[float] | None = None
) -> FitReport:
    """The fit of a CSV of measurements by one of the forms in `CHOICES`.

    `glass` holds the glass transition uncured and cured [°C] and DiBenedetto's ratio, for a resistance.
    """
    return _arrhenius(path) if form == ARRHENIUS else _kinetics(path, form, glass)


__all__ = ["ARRHENIUS", "CHOICES", "KAMAL", "NTH", "Constant", "FitReport", "fit_report"]
