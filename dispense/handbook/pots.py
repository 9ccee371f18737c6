"""Pots: volumes of cavities, what cells displace, the level a fill reaches."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np

from ..base.errors import NA, InputError, Problem
from ..base.fields import choice, number, text, vector, whole
from ..base.numbers import Number
from .beads import segment_factor
from .declare import example, out, requires, workbook_function

SHAPES = ("box", "tray", "cylinder", "cone", "lying-cylinder")

_SHAPE = choice("shape", SHAPES, "shape of the cavity")
_LEVEL = number("level", "mm", "height of the liquid above the bottom", at_least=0)
_LENGTH = number(
    "length", "mm", "length at the bottom; (bottom) diameter of cylinder, cone, lying-cylinder", above=0
)
_WIDTH = number(
    "width", "mm", "width at the bottom of box and tray; axial width of lying-cylinder", default=None, above=0
)
_DRAFT = number(
    "draft",
    "deg",
    "angle by which the walls of tray and cone open upwards",
    default=0.0,
    at_least=0,
    below=90,
)
_DIAMETER = number("diameter", "mm", "diameter of a cell; measured, with its sleeve", above=0)
_PITCH = number("pitch", "mm", "distance between the axes of neighbouring cells", above=0)
_SHAPE_NEEDS = (
    "box, tray and lying-cylinder need a width, draft is for tray and cone only, and a "
    "lying-cylinder holds no more than its diameter"
)


def _half_angle(level: Number, diameter: Number) -> Number:
    """Half angle of the wetted arc of a lying cylinder: sin²(θ/2) = level/diameter."""
    return 2.0 * np.arcsin(np.sqrt(level / diameter))


@workbook_function(
    category="Pots",
    arguments=(_SHAPE, _LEVEL, _LENGTH, _WIDTH, _DRAFT),
    returns=(out("volume", "mL", "volume below the level"),),
    equation="box lbh; tray lbh + (l + b)h² tan δ + (4/3)h³ tan² δ; cylinder πd²h/4; cone "
    "πh(r₁² + r₁r₂ + r₂²)/3, r₂ = r₁ + h tan δ; lying-cylinder b·r²(θ − sin θ cos θ), "
    "cos θ = 1 − h/r",
    source="elementary geometry; lying cylinder: D. Jones, Computing fluid tank volumes, Chemical "
    "Processing (2002), as carried by the fluids library",
    valid="the level does not exceed the rim, which the function does not know",
    no_answer=_SHAPE_NEEDS,
    examples=(
        example(("box", 40, 200, 150), 1200.0, "200·150·40 mm³, by hand"),
        example(("tray", 25, 100, 60, 3), 155.2979982, "prismoidal rule; convex hull of a mesh"),
        example(("lying-cylinder", 50, 200, 500), 3070.924247, "fluids.geometry.TANK.V_from_h"),
    ),
    formula="LET(slope,TAN(RADIANS(IF(ISOMITTED(draft),0,draft))),"
    "broad,IF(ISOMITTED(width),SQRT(-1),width),"
    "top,length/2+level*slope,"
    "wetted,ACOS(1-2*level/length),"
    'IF((slope<>0)*(shape<>"tray")*(shape<>"cone"),SQRT(-1),'
    'SWITCH(shape,"box",length*broad*level,'
    '"tray",length*broad*level+(length+broad)*level^2*slope+4/3*level^3*slope^2,'
    '"cylinder",PI()*length^2*level/4,'
    '"cone",PI()*level*(length^2/4+length/2*top+top^2)/3,'
    '"lying-cylinder",broad*length^2/4*(wetted-SIN(wetted)*COS(wetted)))/1000))',
)
def cavity_volume(
    shape: str, level: Number, length: Number, width: Number | None = None, draft: Number = 0.0
) -> Number:
    """Volume of a cavity up to a level.

    >>> round(float(cavity_volume("box", 0.040, 0.200, 0.150)) * 1e6, 6)
    1200.0
    """
    slope = np.tan(draft)
    if width is None:
        if shape in {"box", "tray", "lying-cylinder"}:
            return level * length * np.nan
        width = np.nan  # the round shapes have none
    if shape == "tray":
        return length * width * level + (length + width) * level**2 * slope + 4.0 / 3.0 * level**3 * slope**2
    if shape == "cone":
        bottom = length / 2.0
        top = bottom + level * slope
        return np.pi * level * (bottom**2 + bottom * top + top**2) / 3.0
    if shape == "box":
        volume = length * width * level
    elif shape == "cylinder":
        volume = np.pi * length**2 / 4.0 * level
    else:  # above the diameter arcsin has no value and gives NaN
        volume = width * length**2 / 4.0 * segment_factor(_half_angle(level, length))
    return np.where(draft == 0, volume, np.nan)


def cavity_area(
    shape: str, level: Number, length: Number, width: Number | None = None, draft: Number = 0.0
) -> Number:
    """Area of the liquid's surface at a level [m²]: the slope of the volume over the level.

    >>> round(float(cavity_area("cylinder", 0.010, 0.100)), 9)
    0.007853982
    """
    slope = np.tan(draft)
    if width is None:
        if shape in {"box", "tray", "lying-cylinder"}:
            return level * length * np.nan
        width = np.nan  # the round shapes have none
    if shape == "tray":
        return (length + 2.0 * level * slope) * (width + 2.0 * level * slope)
    if shape == "cone":
        return np.pi * (length / 2.0 + level * slope) ** 2
    if shape == "box":
        return length * width + 0.0 * level
    if shape == "cylinder":
        return np.pi * length**2 / 4.0 + 0.0 * level
    return 2.0 * width * np.sqrt(level * (length - level))


@workbook_function(
    category="Pots",
    arguments=(
        vector("levels", "mm", "heights above the bottom, rising; a ledge is one height twice"),
        vector("areas", "mm²", "free area at each height", at_least=0),
        number("level", "mm", "height of the liquid, within the table"),
    ),
    returns=(out("volume", "mL", "volume from the first height of the table to the level"),),
    equation="V = ∫ A dh, A linear between the points",
    source="trapezoidal rule, exact for areas that are linear between the points",
    valid="two heights or more, as many areas as heights",
    no_answer="the level lies outside the table",
    requires=(
        requires(lambda levels: len(levels) > 1, "levels", "two heights or more"),
        requires(
            lambda levels, areas: len(levels) == len(areas), "areas", "as many areas as there are heights"
        ),
        requires(lambda levels: np.all(np.diff(levels) >= 0), "levels", "rising heights"),
    ),
    examples=(
        example(([0, 10, 30], [100, 100, 300], 20), 2.5, "1000 + 10·(100 + 200)/2 mm³, by hand"),
        example(([0, 10, 10, 20], [100, 100, 400, 400], 15), 3.0, "ledge: 1000 + 2000, by hand"),
    ),
    formula="LET(many,ROWS(levels)*COLUMNS(levels),"
    "rises,IF(many>1,SUM(MAP(SEQUENCE(many-1),LAMBDA(i,IF(INDEX(levels,i+1)<INDEX(levels,i),1,0))))=0,FALSE),"
    "IF(rises*(many=ROWS(areas)*COLUMNS(areas))=0,SQRT(-1),MAP(level,LAMBDA(h,"
    "IF((h<INDEX(levels,1))+(h>INDEX(levels,many))>0,SQRT(-1),SUM(MAP(SEQUENCE(many-1),LAMBDA(i,"
    "LET(low,INDEX(levels,i),high,INDEX(levels,i+1),face,INDEX(areas,i),more,INDEX(areas,i+1)-face,"
    "rise,IF(h<low,0,IF(h>high,high,h)-low),"
    "IF(high>low,rise*(face+more*rise/(high-low)/2),0)))))/1000)))))",
)
def level_volume(levels: np.ndarray, areas: np.ndarray, level: Number) -> Number:
    """Volume up to a level of a cavity given by its free areas.

    >>> float(level_volume(np.array([0.0, 2.0]), np.array([1.0, 1.0]), 1.0))
    1.0
    """
    steps = np.diff(levels)
    whole_steps = np.concatenate(([0.0], np.cumsum(steps * (areas[1:] + areas[:-1]) / 2.0)))
    place = np.clip(np.searchsorted(levels, level, side="right") - 1, 0, len(levels) - 2)
    rest = level - levels[place]
    run = np.where(steps[place] > 0, steps[place], 1.0)
    area = areas[place] + (areas[place + 1] - areas[place]) * rest / run
    volume = whole_steps[place] + rest * (areas[place] + area) / 2.0
    return np.where((level >= levels[0]) & (level <= levels[-1]), volume, np.nan)


# -------------------------------------------------------------------------------------- cells


@cache
def cell_table() -> dict[str, tuple[float, float]]:
    """Diameter and height [mm] of the cells whose code carries no size by rule."""
    lines = Path(__file__).with_name("data").joinpath("cell_sizes.csv").read_text("utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {row["designation"]: (float(row["diameter"]), float(row["height"])) for row in rows}


_CODE = re.compile(
    r"(?P<letters>[A-Z]{0,3}R)?-?"
    r"(?:(?P<wide>\d{1,3})/(?P<tall>\d{1,3})[A-Z]{0,3}|(?P<digits>\d{3,5})[A-Z]{0,3}(?:-[A-Z0-9]{1,6})?)"
)
_COIN_SIZES = ((4.0, 45.0), (0.9, 16.0), (0.02, 1.0))  # diameter, height [mm], height by diameter
_CELL_SIZES = ((7.0, 70.0), (15.0, 320.0), (1.0, 8.0))  # of tall cells; common practice, no source


def _is_size(
    size: tuple[float, float], kinds: tuple[tuple[tuple[float, float], ...], ...] = (_COIN_SIZES, _CELL_SIZES)
) -> bool:
    """Whether cells of about that diameter and height [mm] are made."""
    diameter, height = size
    if not diameter > 0.0:
        return False
    return any(
        all(
            low <= value <= high
            for value, (low, high) in zip((diameter, height, height / diameter), kind, strict=True)
        )
        for kind in kinds
    )


_WIDE = 30.0  # mm; how wider cells are numbered, see `_readings` (common practice, no source)


def _readings(letters: str | None, digits: str) -> list[tuple[float, float]]:
    """Diameter and height [mm] that a code's digits may stand for, the first that is a size counts.

    One letter before the R marks a primary cell (IEC 60086-1): the height is in tenths of a mm. LIR
    is a lithium-ion coin, numbered alike. Others of four digits, and those of five that are 30 mm or
    more wide, may give the height in whole mm.
    """
    split = 1 if len(digits) == 3 else 2
    diameter, height = float(digits[:split]), int(digits[split:])
    tenths, whole_mm = (diameter, height / 10.0), (diameter, float(height))
    if letters in ("R", "LIR") or (letters and len(letters) == 2):
        return [size for size in (tenths,) if _is_size(size)]
    if len(digits) == 4:
        return [size for size in (whole_mm,) if letters and _is_size(size, (_CELL_SIZES,))]
    found = [tenths] if _is_size(tenths, (_CELL_SIZES,)) else []
    return found + ([whole_mm] if diameter >= _WIDE and _is_size(whole_mm, (_CELL_SIZES,)) else [])


def read_designation(designation: str) -> tuple[tuple[float, float] | None, str]:
    """Diameter and height [mm] of a round cell from its code, or None and why it is not known."""
    code = re.sub(r"\s+", "", designation[:40].upper())
    table = cell_table()
    bare = re.sub(r"^[A-Z]{1,2}(?=R\d)", "", code.replace("-", ""))
    for name in (code, code.replace("-", ""), bare):
        if name in table:
            return table[name], ""
    found = _CODE.fullmatch(code)
    if found is None:
        return None, "give diameter and height instead"
    if found["wide"]:
        size = float(found["wide"]), float(found["tall"])
        return (size, "") if _is_size(size) else (None, _no_size(size))
    digits = found["digits"]
    if found["letters"] in ("BR", "LIR") and f"CR{digits}" in table:
        return table[f"CR{digits}"], ""
    sizes = _readings(found["letters"], digits)
    if sizes:
        return sizes[0], ""
    short = float(digits[:2]), float(digits[2:])
    if len(digits) == 4 and not found["letters"] and _is_size(short):
        return None, (
            f"{digits} may be {digits[:2]} × {int(digits[2:])} mm or "
            f"{digits[:2]} × {int(digits[2:]) / 10:g} mm: write the letters before it, or give "
            "diameter and height"
        )
    split = 1 if len(digits) == 3 else 2
    return None, _no_size((float(digits[:split]), int(digits[split:]) / 10.0))


def _size_formula() -> str:
    """`read_designation` in a spreadsheet: the table, then what the digits say."""
    table = cell_table()
    keys = ";".join(f'"{name}"' for name in table)
    wide, tall = (";".join(f"{size[place]:g}" for size in table.values()) for place in (0, 1))
    letters, digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZ", "0123456789"

    def within(kind: tuple[tuple[float, float], ...]) -> str:
        of = ("wide", "tall", "tall/wide")
        return "*".join(
            f"({name}>={low:g})*({name}<={high:g})" for name, (low, high) in zip(of, kind, strict=True)
        )

    return (
        'LET(code,UPPER(SUBSTITUTE(LEFT(designation&"",40)," ","")),flat,SUBSTITUTE(code,"-",""),'
        f'abc,"{letters}",numbers,"{digits}",'
        'among,LAMBDA(word,at,set,ISNUMBER(FIND(MID(word&"||||||||||",at,1),set))),'
        # how many characters of a set stand there one after the other, up to 8
        "run,LAMBDA(at,set,REDUCE(0,SEQUENCE(8),LAMBDA(n,i,n+(n=i-1)*among(code,at+n,set)))),"
        'bares,LAMBDA(at,(MID(flat,at,1)="R")*among(flat,at+1,numbers)*among(flat,1,abc)*among(flat,at-1,abc)),'
        "bare,IF(bares(3),MID(flat,3,40),IF(bares(2),MID(flat,2,40),flat)),"
        # what MATCH would take for a pattern is in no table
        'row_,LAMBDA(word,MATCH(SUBSTITUTE(SUBSTITUTE(SUBSTITUTE(word,"~","|"),"*","|"),"?","|"),'
        f"{{{keys}}},0)),"
        "lead,run(1,abc),maker,LEFT(code,lead),"
        'from,lead+1+(MID(code,lead+1,1)="-"),count,run(from,numbers),'
        'sloped,MID(code,from+count,1)="/",'
        "second,IF(sloped,run(from+count+1,numbers),0),"
        "body,from+count+sloped+second,tail,run(body,abc),"
        'extra,IF((MID(code,body+tail,1)="-")*(sloped=FALSE),run(body+tail+1,abc&numbers),0),'
        "ends,LEN(code)=body+tail-1+IF(extra>0,extra+1,0),"
        'led,IF(lead=0,TRUE,(lead<5)*(RIGHT(maker)="R")>0),'
        "fits,led*ends*(tail<4)*(extra<7)*"
        "IF(sloped,(count>0)*(count<4)*(second>0)*(second<4),(count>2)*(count<6))>0,"
        'coin,(maker="BR")+(maker="LIR")>0,'
        "place,IFERROR(row_(code),IFERROR(row_(flat),IFERROR(row_(bare),"
        'IF(fits*coin*(sloped=FALSE)>0,IFERROR(row_("CR"&MID(code,from,count)),0),0)))),'
        "split,IF(sloped,count,IF(count=3,1,2)),"
        "first,IF(fits,VALUE(MID(code,from,split)),0),"
        "rest,IF(fits,VALUE(IF(sloped,MID(code,from+count+1,second),MID(code,from+split,count-split))),0),"
        f"tall_,LAMBDA(wide,tall,IF(wide>0,{within(_CELL_SIZES)},0)),"
        f"coin_,LAMBDA(wide,tall,IF(wide>0,{within(_COIN_SIZES)},0)),"
        'primary,(maker="R")+(maker="LIR")+(lead=2)>0,'
        "height,IF(sloped,IF(tall_(first,rest)+coin_(first,rest)>0,rest,0),"
        "IF(primary,IF(tall_(first,rest/10)+coin_(first,rest/10)>0,rest/10,0),"
        "IF(count=4,IF((lead>0)*tall_(first,rest)>0,rest,0),"
        "IF(tall_(first,rest/10)>0,rest/10,"
        f"IF((first>={_WIDE:g})*tall_(first,rest)>0,rest,0))))),"
        f"found,IF(place>0,INDEX({{{wide}}},place),IF(fits*(height>0)>0,first,NA())),"
        f"CHOOSE({{1,2}},found,IF(place>0,INDEX({{{tall}}},place),IF(ISERROR(found),NA(),height))))"
    )


def _no_size(size: tuple[float, float]) -> str:
    return f"{size[0]:g} × {size[1]:g} mm is a size that no round cell has: give diameter and height"


@workbook_function(
    category="Pots",
    arguments=(
        text(
            "designation",
            "code of a round cell, as text or number: 18650, ICR18650, 21700, CR2032, CR17345, ICR19/66, LR6",
        ),
    ),
    returns=(out("diameter", "mm", "nominal diameter"), out("height", "mm", "nominal height")),
    equation="diameter in mm, then height in tenths of a mm: 18650 is 18 × 65.0; four digits of tall "
    "cells: height in mm, 2170 is 21 × 70",
    source="IEC 60086-1 (round primary cells) and IEC 61960-3:2017 (19/66: largest diameter and "
    "height in mm), rules from memory; five-digit codes and short forms: common practice, no source",
    valid="codes of round cells; blocks and pouches are not read",
    rule="nominal: real cells with their sleeve are larger (an 18650 about 18.3–18.6 × 65.2 mm, "
    "from memory), and a code not in the table cuts off halves: measure them",
    notes="Codes without a size by rule (R03, R6, R14, R20, R44, CR123A), coin cells whose code cuts "
    "off half a mm (CR2450 is 24.5 mm wide) and the four-digit short forms (2170, 4680, 4695 …) come "
    "from a table whose values are from memory, largest sizes of IEC 60086-2. A code of five digits 30 "
    "mm or more wide whose height in tenths would make it flat is read in whole mm (38120 is 38 × 120, "
    "55280 is 55 × 280): common practice, no source. A size that no cell has, and four digits that "
    "may mean two sizes, are #N/A with the reason.",
    examples=(
        example((18650,), (18.0, 65.0), "five-digit rule, common practice"),
        example(("CR2032",), (20.0, 3.2), "IEC 60086-1, from memory: 20 × 3.2 mm"),
        example(("CR17345",), (17.0, 34.5), "IEC 60086-1, from memory: 17 × 34.5 mm"),
    ),
    formula=_size_formula(),
)
def cell_size(designation: str) -> tuple[Number, Number]:
    """Nominal diameter and height of a round cell from its code.

    >>> cell_size("ICR18650")
    (0.018, 0.065)
    """
    size, reason = read_designation(str(designation))
    if size is None:
        raise InputError(
            Problem(
                "CELL_SIZE",
                "designation",
                designation,
                "the code of a round cell, such as 18650, 21700, CR2032 or ICR19/66",
                reason,
                NA,
            )
        )
    return size[0] / 1e3, size[1] / 1e3


@workbook_function(
    category="Pots",
    arguments=(
        whole("count", "number of cells", at_least=0),
        _DIAMETER,
        number("immersed", "mm", "height of a cell that stands in the liquid", at_least=0),
    ),
    returns=(out("volume", "mL", "volume the cells take up"),),
    equation="V = N·πd²/4·h",
    source="elementary geometry",
    valid="upright round cells with flat ends",
    examples=(
        example((1, 18, 65), 16.54048532, "fluids.geometry.V_cylinder"),
        example((1, 21, 70), 24.2452413, "fluids.geometry.V_cylinder"),
    ),
    formula="count*PI()*diameter^2/4*immersed/1000",
)
def cell_displacement(count: Number, diameter: Number, immersed: Number) -> Number:
    """Volume that upright cells take up in the liquid.

    >>> round(float(cell_displacement(1, 0.018, 0.065)) * 1e6, 8)
    16.54048532
    """
    return count * np.pi * diameter**2 / 4.0 * immersed


_APART = requires(lambda diameter, pitch: pitch >= diameter, "pitch", "the diameter or more")


@workbook_function(
    category="Pots",
    arguments=(_DIAMETER, _PITCH),
    returns=(out("void", "", "free share of the area between cells"),),
    equation="ε = 1 − πd²/(2√3·p²)",
    source="hexagonal packing of circles, Thue (1892, 1910)",
    valid="inside a large field of cells; the strip along the walls comes on top",
    requires=(_APART,),
    examples=(
        example((1, 1), 0.09310031788, "1 − π/(2√3), densest packing 0.9069"),
        example((18.4, 20), 0.2324001091, "triangle less three sectors, geometry library"),
    ),
    formula="IF(pitch>=diameter,1-PI()*diameter^2/(2*SQRT(3)*pitch^2),SQRT(-1))",
)
def hex_void(diameter: Number, pitch: Number) -> Number:
    """Free share between cells in a hexagonal field.

    >>> round(float(hex_void(0.0184, 0.020)), 10)
    0.2324001091
    """
    free: Number = 1.0 - np.pi * diameter**2 / (2.0 * np.sqrt(3.0) * pitch**2)
    return free


@workbook_function(
    category="Pots",
    arguments=(_DIAMETER, _PITCH),
    returns=(out("void", "", "free share of the area between cells"),),
    equation="ε = 1 − πd²/(4p²)",
    source="square packing of circles, elementary geometry",
    valid="inside a large field of cells; the strip along the walls comes on top",
    requires=(_APART,),
    examples=(
        example((18.4, 20), 0.3352389945, "1 − π·18.4²/(4·20²), by hand"),
        example((1, 1), 0.2146018366, "1 − π/4"),
    ),
    formula="IF(pitch>=diameter,1-PI()*diameter^2/(4*pitch^2),SQRT(-1))",
)
def square_void(diameter: Number, pitch: Number) -> Number:
    """Free share between cells in a square field.

    >>> round(float(square_void(0.0184, 0.020)), 10)
    0.3352389945
    """
    return 1.0 - np.pi * diameter**2 / (4.0 * pitch**2)


@workbook_function(
    category="Pots",
    arguments=(
        number("cavity", "mL", "volume of the empty cavity up to the level", at_least=0),
        number("displaced", "mL", "volume of cells and inserts below the level", at_least=0),
        number(
            "unfilled",
            "",
            "void share: share of the free volume that stays empty",
            default=0.0,
            at_least=0,
            below=1,
        ),
        number("extra", "mL", "what is poured on top, such as a meniscus or drips", default=0.0, at_least=0),
        number(
            "shrinkage", "", "share by which the liquid shrinks as it cures", default=0.0, at_least=0, below=1
        ),
    ),
    returns=(out("volume", "mL", "liquid to pour"),),
    equation="V = (cavity − displaced)(1 − unfilled)/(1 − shrinkage) + extra",
    source="conservation of volume; shrinkage by volume as in ISO 3521",
    valid="shrinkage by volume from liquid to cured; all of it is made up by the pour",
    notes="A pour heats as it cures, the more the larger it is, and cells must not get hot: check "
    "PEAK_TEMPERATURE before pouring round cells, and follow the cell maker's limit and the safety "
    "data sheet.",
    requires=(requires(lambda cavity, displaced: displaced <= cavity, "displaced", "at most the cavity"),),
    examples=(
        example((1200, 760, 0.02, 5, 0.04), 454.1666667, "440·0.98/0.96 + 5, by hand"),
        example((1200, 763.4070148), 436.5929852, "100 cells of 18 mm to 30 mm in 200 × 200 mm"),
    ),
    formula="IF(displaced<=cavity,cavity-displaced,SQRT(-1))*(1-IF(ISOMITTED(unfilled),0,unfilled))"
    "/(1-IF(ISOMITTED(shrinkage),0,shrinkage))+IF(ISOMITTED(extra),0,extra)",
)
def pot_fill(
    cavity: Number, displaced: Number, unfilled: Number = 0.0, extra: Number = 0.0, shrinkage: Number = 0.0
) -> Number:
    """Liquid to pour into a cavity with cells and inserts.

    >>> float(pot_fill(1.0, 0.5, 0.0, 0.0, 0.5))
    1.0
    """
    return (cavity - displaced) * (1.0 - unfilled) / (1.0 - shrinkage) + extra


# ------------------------------------------------------------------------------- level of a fill


def _rising_root(
    function: Callable[[np.ndarray], Number],
    slope: Callable[[np.ndarray], Number],
    low: np.ndarray,
    high: np.ndarray,
    rounds: int = 200,
) -> Number:
    """Root of a rising function between two bounds, element by element: Newton kept in its bracket.

    Each round shortens the bracket; a Newton step that leaves it becomes a bisection.
    """
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    root = high.copy()
    for _ in range(rounds):
        value = function(root)
        high = np.where(value >= 0, root, high)
        low = np.where(value <= 0, root, low)
        step = value / slope(root)
        guess = root - step
        inside = (guess > low) & (guess < high)
        following = np.where(value == 0, root, np.where(inside, guess, (low + high) / 2.0))
        done = np.abs(following - root) <= 4e-16 * np.abs(following)
        root = following
        if np.all(done | ~np.isfinite(root)):
            break
    return root


@workbook_function(
    category="Pots",
    arguments=(
        number("volume", "mL", "liquid in the cavity", at_least=0),
        _SHAPE,
        _LENGTH,
        _WIDTH,
        _DRAFT,
        whole("count", "number of upright cells in the cavity", default=0, at_least=0),
        number("diameter", "mm", "diameter of a cell", default=None, above=0),
        number("cell_height", "mm", "height of a cell", default=None, above=0),
        number(
            "cell_base", "mm", "height of the cells' lower ends above the bottom", default=0.0, at_least=0
        ),
    ),
    returns=(out("level", "mm", "height of the liquid above the bottom"),),
    equation="V = cavity(h) − N·πd²/4·min(max(h − base, 0), cell height), solved for h",
    source="conservation of volume; inverse of CAVITY_VOLUME, safeguarded Newton iteration",
    valid="upright cells that fit side by side in the cavity; the rim is not known here",
    no_answer="the cavity cannot hold this: box, tray and lying-cylinder need a width, draft is "
    "for tray and cone only, cells need diameter and height and must fit into the cavity, and a "
    "lying-cylinder holds no more than its volume less the cells",
    examples=(
        example(
            (500, "box", 120, 90, 0, 20, 18, 65),
            76.92682467,
            "root of V(h) by Brent's method, above the cells",
        ),
        example(
            (250, "box", 120, 90, 0, 20, 18, 65), 43.7780844, "root of V(h) by Brent's method, below the tops"
        ),
        example((120, "tray", 100, 60, 3), 19.46593802, "roots of the cubic"),
        example((5000, "lying-cylinder", 200, 500), 71.0505817, "fluids.geometry.TANK.h_from_V", 2e-7),
    ),
    # 60 halvings of the stretch in which the level lies: below the cells, beside them, above them
    formula="LET(slope,TAN(RADIANS(IF(ISOMITTED(draft),0,draft))),"
    "broad,IF(ISOMITTED(width),SQRT(-1),width),"
    "many,IF(ISOMITTED(count),0,count),"
    "bare,(many>0)*((ISOMITTED(diameter)+ISOMITTED(cell_height))>0),"
    "cells,many*PI()*IF(ISOMITTED(diameter),0,diameter)^2/4,"
    "base,(many>0)*IF(ISOMITTED(cell_base),0,cell_base),"
    "tall,(many>0)*IF(ISOMITTED(cell_height),0,cell_height),"
    "wetted,LAMBDA(h,ACOS(1-2*h/length)),"
    'holds,LAMBDA(h,SWITCH(shape,"box",length*broad*h,'
    '"tray",length*broad*h+(length+broad)*h^2*slope+4/3*h^3*slope^2,'
    '"cylinder",PI()*length^2*h/4,'
    '"cone",PI()*h*(length^2/4+length/2*(length/2+h*slope)+(length/2+h*slope)^2)/3,'
    '"lying-cylinder",broad*length^2/4*(wetted(h)-SIN(wetted(h))*COS(wetted(h))))),'
    'face,LAMBDA(h,SWITCH(shape,"box",length*broad,'
    '"tray",(length+2*h*slope)*(broad+2*h*slope),'
    '"cylinder",PI()*length^2/4,'
    '"cone",PI()*(length/2+h*slope)^2,'
    '"lying-cylinder",2*broad*SQRT(h*(length-h)))),'
    "narrow,IF(cells=0,FALSE,(cells>=face(base))+(cells>=face(base+tall))>0),"
    "below,holds(base),above,holds(base+tall)-cells*tall,"
    "full,1000*volume,"
    "beside,(full>below)*(full<above),"
    "taken,beside*cells,"
    'lies,(shape="lying-cylinder"),'
    "liquid,full+IF(full>=above,cells*tall,0)-taken*base,"
    "lost,IF(lies,IF(full>(holds(length)-cells*tall)*(1+1E-12),TRUE,FALSE),FALSE),"
    "rest,IF(lies,IF(liquid>holds(length),holds(length),liquid),liquid),"
    "low,IF(beside,base,IF(full>=above,base+tall,0)),"
    "most,IF(lies,length,IF(rest/face(0)>low,rest/face(0),low)),"
    "high,IF(beside,base+tall,IF(full>=above,most,base)),"
    'IF(bare+narrow+lost+(slope<>0)*(shape<>"tray")*(shape<>"cone")>0,SQRT(-1),'
    "IF(full>0,REDUCE((low+high)/2,SEQUENCE(60),"
    "LAMBDA(h,turn,h-SIGN(holds(h)-taken*h-rest)*(high-low)/2^(turn+1))),0)))",
)
def fill_level(
    volume: Number,
    shape: str,
    length: Number,
    width: Number | None = None,
    draft: Number = 0.0,
    count: Number = 0,
    diameter: Number | None = None,
    cell_height: Number | None = None,
    cell_base: Number = 0.0,
) -> Number:
    """Level that a volume reaches round the cells.

    >>> round(float(fill_level(120e-6, "tray", 0.100, 0.060, np.radians(3.0))) * 1e3, 6)
    19.465938
    """
    nowhere = volume * length * count * np.nan
    if shape in {"box", "tray", "lying-cylinder"} and width is None:
        return nowhere
    if diameter is None or cell_height is None:
        missing = np.asarray(count) > 0
        diameter = cell_height = 0.0
    else:
        missing = np.asarray(False)
    volume, length, width, draft, count, diameter, cell_height, base = np.broadcast_arrays(
        *(
            np.asarray(part, dtype=float)
            for part in (
                volume,
                length,
                1.0 if width is None else width,
                draft,
                count,
                diameter,
                cell_height,
                cell_base,
            )
        )
    )

    def cavity(level: Number) -> Number:
        return cavity_volume(shape, level, length, width, draft)

    def surface(level: Number) -> Number:
        return cavity_area(shape, level, length, width, draft)

    occupied = count * np.pi * diameter**2 / 4.0
    base = np.where(count > 0, base, 0.0)
    top = base + np.where(count > 0, cell_height, 0.0)
    fits = (occupied == 0) | (occupied < np.minimum(surface(base), surface(top)))
    bad = missing | ~fits | ((draft != 0) & (shape not in {"tray", "cone"}))
    # three stretches: below the cells, beside them, above them
    below = cavity(base)
    above = np.where(count > 0, cavity(top) - occupied * (top - base), below)
    beside = (volume > below) & (volume < above)
    taken = np.where(beside, occupied, 0.0)  # what each further millimetre loses to the cells
    liquid = volume + np.where(volume >= above, occupied * (top - base), 0.0)
    liquid = liquid - taken * base
    if shape in {"box", "cylinder"}:
        return np.where(bad, np.nan, liquid / (surface(0.0) - taken))
    low = np.where(beside, base, np.where(volume >= above, top, 0.0))
    if shape == "lying-cylinder":
        most = length
        full = cavity(length) - occupied * (top - base)
        # a cylinder filled to the last digit must not be refused for rounding
        bad = bad | (volume > full * (1.0 + 1e-12))
        liquid = np.minimum(liquid, cavity(length))
    else:
        most = liquid / surface(0.0)  # walls that open upwards hold at least a straight shaft
    high = np.where(beside, top, np.where(volume >= above, np.maximum(most, low), base))
    high = np.where(bad, low, high)
    level = _rising_root(lambda h: cavity(h) - taken * h - liquid, lambda h: surface(h) - taken, low, high)
    return np.where(bad, np.nan, np.where(volume > 0, level, 0.0))
