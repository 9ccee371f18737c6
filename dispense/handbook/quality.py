"""Checks of shots and tolerances: capability, control limits, root sum of squares."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np

from ..base.fields import matrix, number, vector
from ..base.numbers import Number
from ..base.units import AS_GIVEN
from .declare import example, out, requires, workbook_function


def known(values: np.ndarray) -> np.ndarray:
    """The values that are not blank."""
    kept: np.ndarray = values[~np.isnan(values)]
    return kept


@workbook_function(
    category="Checks",
    arguments=(
        vector(
            "weights", "g", "shot weights, two or more; blanks are left out", at_least=0, may_be_blank=True
        ),
        number("low", "g", "lower limit of the shot"),
        number("high", "g", "upper limit of the shot"),
    ),
    returns=(
        out("mean", "g", "mean weight"),
        out("sd", "g", "standard deviation, n − 1"),
        out("cp", "", "limits over the spread"),
        out("cpk", "", "the nearer limit over half of it"),
    ),
    equation="Cp = (high − low)/6s; Cpk = min(high − mean, mean − low)/3s",
    source="NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6",
    valid="weights that are stable and normally distributed; s is over all weights, so slow drift "
    "counts (some call the result Pp and Ppk)",
    rule="few weights say little: at 30 the 95 % interval of Cp is still about ± 26 % (chi-square)",
    no_answer="the weights do not differ, so capability has no value",
    requires=(
        requires(lambda weights: len(known(weights)) > 1, "weights", "two weights or more"),
        requires(lambda low, high: high > low, "high", "above the lower limit"),
    ),
    examples=(
        example(
            ([14, 16, 18], 8, 20),
            (16.0, 2.0, 1.0, 0.6666666667),
            "NIST e-Handbook 6.1.6: mean 16, sd 2, limits 8 and 20 give 1.0 and 0.6667",
        ),
    ),
    formula="LET(mean,IF(high>low,AVERAGE(weights),SQRT(-1)),"
    "sd,IF((MAX(weights)>MIN(weights))*(high>low),STDEV(weights),SQRT(-1)),"
    "near,IF(high-mean<mean-low,high-mean,mean-low),"
    "CHOOSE({1,2,3,4},mean,sd,(high-low)/(6*sd),near/(3*sd)))",
)
def shot_capability(weights: np.ndarray, low: Number, high: Number) -> tuple[Number, Number, Number, Number]:
    """Mean, standard deviation, Cp and Cpk of shot weights.

    >>> [round(float(part), 6) for part in shot_capability(np.array([14, 16, 18.0]), 8, 20)]
    [16.0, 2.0, 1.0, 0.666667]
    """
    kept = known(weights)
    mean = kept.mean()
    # equal weights have no spread, whatever the rounding of their mean
    spread = kept.std(ddof=1) if np.ptp(kept) > 0 else np.nan
    cp = (high - low) / (6.0 * spread)
    cpk = np.minimum(high - mean, mean - low) / (3.0 * spread)
    return mean, spread, cp, cpk


@cache
def control_chart_factors() -> dict[int, dict[str, float]]:
    """Factors A2, D3, D4, d2, d3 for each size of subgroup."""
    path = Path(__file__).with_name("data").joinpath("control_chart_factors.csv")
    lines = path.read_text("utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {
        int(row["size"]): {name: float(row[name]) for name in ("A2", "D3", "D4", "d2", "d3")} for row in rows
    }


def _factor(name: str) -> str:
    """In a spreadsheet: the factor of a subgroup as wide as it is."""
    return f"CHOOSE(wide-1,{','.join(f'{row[name]:g}' for row in control_chart_factors().values())})"


def _full_rows(subgroups: np.ndarray) -> np.ndarray:
    """The subgroups without the rows that are wholly blank."""
    known: np.ndarray = subgroups[~np.isnan(subgroups).all(axis=1)]
    return known


@workbook_function(
    category="Checks",
    arguments=(
        matrix(
            "subgroups",
            AS_GIVEN,
            "one subgroup a row, 2 to 10 columns; blank rows are left out",
            may_be_blank=True,
        ),
    ),
    returns=(out("limits", AS_GIVEN, "rows mean and range; columns low limit, centre, high limit"),),
    equation="mean x̿ ± A₂R̄; range D₃R̄, R̄, D₄R̄",
    source="NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2; factors of ISO 7870-2",
    valid="three-sigma limits for subgroups of 2 to 10 taken close together",
    rule="20 subgroups or more before the limits are relied on (common practice, no source)",
    notes="The factors carry three decimals; they were compared with a printed copy of the table "
    "and with quadrature of the normal range, not with the standard itself.",
    whole=True,
    requires=(
        requires(lambda subgroups: 2 <= subgroups.shape[1] <= 10, "subgroups", "2 to 10 columns"),
        requires(lambda subgroups: len(_full_rows(subgroups)) > 0, "subgroups", "one full row or more"),
        requires(
            lambda subgroups: not np.isnan(_full_rows(subgroups)).any(),
            "subgroups",
            "rows that are full or wholly blank",
        ),
    ),
    examples=(
        example(
            ([[10, 12, 11, 13, 14], [11, 13, 12, 12, 12]],),
            [[10.269, 12.0, 13.731], [0.0, 3.0, 6.342]],
            "means 12, ranges 4 and 2; A₂ 0.577, D₃ 0, D₄ 2.114 of the printed table, by hand",
        ),
    ),
    formula='LET(wide,COLUMNS(subgroups),has,LAMBDA(i,SUM(--(INDEX(subgroups,i,0)<>""))),'
    "held,MAP(SEQUENCE(ROWS(subgroups)),LAMBDA(i,has(i))),"
    "many,SUM(IF(held>0,1,0)),torn,SUM((held>0)*(held<wide)),"
    "mean,AVERAGE(subgroups),"
    "spread,SUM(MAP(SEQUENCE(ROWS(subgroups)),"
    "LAMBDA(i,IF(has(i)=0,0,MAX(INDEX(subgroups,i,0))-MIN(INDEX(subgroups,i,0))))))/many,"
    f"reach,{_factor('A2')}*spread,"
    "IF((wide>1)*(wide<11)*(many>0)*(torn=0)=0,SQRT(-1),"
    "VSTACK(HSTACK(mean-reach,mean,mean+reach),"
    f"HSTACK({_factor('D3')}*spread,spread,{_factor('D4')}*spread))))",
)
def control_limits(subgroups: np.ndarray) -> Number:
    """Control limits of mean and range from subgroups.

    >>> control_limits(np.array([[10.0, 12, 11, 13, 14], [11, 13, 12, 12, 12]])).round(3).tolist()
    [[10.269, 12.0, 13.731], [0.0, 3.0, 6.342]]
    """
    rows = _full_rows(subgroups)
    factors = control_chart_factors()[rows.shape[1]]
    mean = rows.mean()
    spread = np.ptp(rows, axis=1).mean()
    return np.array(
        [
            [mean - factors["A2"] * spread, mean, mean + factors["A2"] * spread],
            [factors["D3"] * spread, spread, factors["D4"] * spread],
        ]
    )


@workbook_function(
    category="Checks",
    arguments=(
        vector(
            "parts", AS_GIVEN, "tolerances (half widths) in one unit; blanks are left out", may_be_blank=True
        ),
    ),
    returns=(out("tolerance", AS_GIVEN, "combined tolerance"),),
    equation="T = √Σtᵢ²",
    source="JCGM 100:2008 (GUM), 5.1.2, with all sensitivities 1 and no correlation",
    valid="independent parts that add up; the worst case is their plain sum",
    requires=(requires(lambda parts: len(known(parts)) > 0, "parts", "one tolerance or more"),),
    examples=(
        example(([0.10, 0.05, 0.20],), 0.2291287847, "√0.0525, by hand"),
        example(([25, 9.7, 2.9, 16.6],), 32.0, "GUM H.1, end gauge: 32 nm, from memory", 0.02),
    ),
    formula='IF(SUM(1*(parts<>""))>0,SQRT(SUMSQ(parts)),SQRT(-1))',
)
def tolerance_rss(parts: np.ndarray) -> Number:
    """Combined tolerance as the root sum of squares.

    >>> float(tolerance_rss(np.array([3.0, 4.0])))
    5.0
    """
    total: Number = np.sqrt(np.nansum(np.square(parts)))
    return total
