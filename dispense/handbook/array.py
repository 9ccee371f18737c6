"""Arrays of round cells as one body: conductivity across their axes."""

from __future__ import annotations

import math

import numpy as np

from ..base.fields import choice, number
from ..base.numbers import Flags, Number
from .declare import example, out, requires, workbook_function

#: coefficients of the truncated formula: a·f^p·T/(T² − b·f^q), c·f^r/T
_SQUARE = (0.305827, 4, 1.402958, 8, 0.013362, 8)
_HEXAGONAL = (0.075422, 6, 1.060283, 12, 0.000076, 12)
_TOUCHING = {"square": math.pi / 4.0, "hexagonal": math.pi / math.sqrt(12.0)}
_SERIES = {"square": _SQUARE, "hexagonal": _HEXAGONAL}


def _apart(arrangement: str, fraction: Number) -> Flags:
    """Whether cells that fill a fraction do not touch."""
    touching = np.where(np.asarray(arrangement) == "square", _TOUCHING["square"], _TOUCHING["hexagonal"])
    return np.asarray(np.less(fraction, touching))


def _terms(arrangement: str) -> str:
    """What the truncated series takes away, in a spreadsheet."""
    a, p, b, q, c, r = _SERIES[arrangement]
    return f"({a}*fraction^{p}*inverse^2/(1-{b}*fraction^{q}*inverse^2)+{c:f}*fraction^{r}*inverse^2)"


@workbook_function(
    category="Cure and heat",
    arguments=(
        choice("arrangement", ("square", "hexagonal"), "how the cells stand"),
        number("fraction", "", "share of the area that the cells take", at_least=0.0, below=0.9069),
        number("ratio", "", "conductivity of a cell across its axis over that of the compound", at_least=0.0),
    ),
    returns=(out("factor", "", "conductivity of the array over that of the compound"),),
    equation="1 − 2f/(T + f − a·f^p·T/(T² − b·f^q) − c·f^q/T), T = (1 + σ)/(1 − σ)",
    source="W. T. Perrins, D. R. McKenzie, R. C. McPhedran, Proc. R. Soc. A 369 (1979) 207 (square: as "
    "quoted in public code; hexagonal coefficients from memory, equal to the full series)",
    valid="perfect contact. Cells far better than the compound: within 1e-5 up to f = 0.5 square, 0.6 "
    "hexagonal; 0.7 % low at 0.7 square, 6 % low at 0.75; touching (0.785, 0.907) it has no meaning",
    requires=(requires(_apart, "fraction", "below that of touching cells: 0.785 square, 0.907 hexagonal"),),
    examples=(
        example(("square", 0.5, 10), 2.41546212, "truncated formula, evaluated apart", 4e-9),
        example(("hexagonal", 0.6, 10), 2.93755099, "truncated formula, evaluated apart", 4e-9),
        example(("square", 0.3, 10), 1.65203601, "full multipole series and finite elements", 4e-9),
        example(("square", 0.3, 1), 1.0, "cells like the compound change nothing, by hand"),
    ),
    formula='LET(even,arrangement="square",inverse,(1-ratio)/(1+ratio),'
    f"inside,1+fraction*inverse-IF(even,{_terms('square')},{_terms('hexagonal')}),"
    "IF(fraction<IF(even,PI()/4,PI()/SQRT(12)),1-2*fraction*inverse/inside,SQRT(-1)))",
)
def array_conductivity(arrangement: str, fraction: Number, ratio: Number) -> Number:
    """Conductivity across an array of round cells, over that of the compound between them.

    >>> round(float(array_conductivity("hexagonal", 0.4, 0.0)), 6)  # holes
    0.428445
    """
    a, p, b, q, c, r = _SERIES[arrangement]
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = (1.0 - np.asarray(ratio, dtype=float)) / (1.0 + np.asarray(ratio, dtype=float))  # 1/T
        inverse = np.where(np.isinf(ratio), -1.0, inverse)
        # with 1/T in place of T, so that a ratio of 1 is no division by 0
        inside = 1.0 + fraction * inverse
        inside = inside - a * fraction**p * inverse**2 / (1.0 - b * fraction**q * inverse**2)
        inside = inside - c * fraction**r * inverse**2
        factor: Number = (1.0 - 2.0 * fraction * inverse / inside)[()]
        return factor


__all__ = ["array_conductivity"]
