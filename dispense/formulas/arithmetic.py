"""ROUND, MOD, SQRT and other functions of numbers."""

from __future__ import annotations

import math

from .declare import elementwise
from .numbertext import round_half_away, snap
from .values import DIV0, NA, NUM, Fault, approx_add, power

for _names, _compute_one in {
    "ABS": abs,
    "SQRT": math.sqrt,
    "EXP": math.exp,
    "LN": math.log,
    "LOG10": math.log10,
    "SIN": math.sin,
    "COS": math.cos,
    "TAN": math.tan,
    "ACOS": math.acos,
    "ATAN": math.atan,
    "DEGREES": math.degrees,
    "RADIANS": math.radians,
    "INT": lambda x: float(math.floor(snap(x))),
}.items():
    elementwise(_names, "n")(_compute_one)

elementwise("POWER", "nn")(power)
elementwise("PI", "")(lambda: math.pi)
elementwise("TRUE", "")(lambda: True)
elementwise("FALSE", "")(lambda: False)
elementwise("NA", "")(lambda: NA)


@elementwise("LOG", "nn", 1)
def _log(x: float, base: float = 10.0) -> float:
    if base == 1:
        raise Fault(DIV0)
    return math.log10(x) if base == 10 else math.log(x) / math.log(base)


@elementwise("ROUND", "nn")
def _round(x: float, digits: float) -> float:
    return round_half_away(x, int(digits))


def _towards_zero(x: float, digits: int) -> float:
    scale = 10.0 ** abs(digits)
    shifted = snap(x * scale if digits >= 0 else x / scale)
    cut = float(math.trunc(shifted))
    return cut / scale if digits >= 0 else cut * scale


@elementwise("ROUNDDOWN TRUNC", "nn", 1)
def _round_down(x: float, digits: float = 0) -> float:
    return _towards_zero(x, int(digits))


@elementwise("ROUNDUP", "nn")
def _round_up(x: float, digits: float) -> float:
    places = int(digits)
    scale = 10.0 ** abs(places)
    shifted = snap(abs(x) * scale if places >= 0 else abs(x) / scale)
    cut = math.copysign(float(math.ceil(shifted)), x)
    return cut / scale if places >= 0 else cut * scale


@elementwise("CEILING", "nn")
def _ceiling(x: float, step: float) -> float:
    if step == 0 or x == 0:
        return 0.0
    if x > 0 > step:
        raise Fault(NUM)
    return math.ceil(snap(x / step)) * step


@elementwise("FLOOR", "nn")
def _floor(x: float, step: float) -> float:
    if x == 0:
        return 0.0
    if step == 0:
        raise Fault(DIV0)
    if x > 0 > step:
        raise Fault(NUM)
    return math.floor(snap(x / step)) * step


@elementwise("MROUND", "nn")
def _to_multiple(x: float, step: float) -> float:
    if step == 0 or x == 0:
        return 0.0
    if x * step < 0:
        raise Fault(NUM)
    return round_half_away(x / step, 0) * step


@elementwise("MOD", "nn")
def _mod(x: float, divisor: float) -> float:
    if divisor == 0:
        raise Fault(DIV0)
    return approx_add(x, -math.floor(snap(x / divisor)) * divisor)
