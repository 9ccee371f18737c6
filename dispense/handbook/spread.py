"""Spreading: a film pressed between rectangular plates, and beads that merge on the way.

A rectangular plate is reckoned as a number of equal discs: their radius and number follow from two
exact solutions of the plate, the Newtonian film (torsion of a bar of that section) and the plastic one
(a roof of even slope over the plate), so that every law of a disc serves a plate. All in SI units.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..base.fields import choice, number, whole
from ..base.numbers import Number
from .beads import EDGES
from .declare import example, out, requires, validity, workbook_function
from .flow import FLAT_BEAD, THIN_FILM, bead_squeeze_time, squeeze_time

ATMOSPHERE = 101325.0  # Pa, standard atmosphere (ISO 2533, from memory)

_ANALOGY = (
    "J. Boussinesq, J. Math. Pures Appl. 13 (1868) 377 (duct of that section), S. P. Timoshenko, J. N. "
    "Goodier, Theory of Elasticity, torsion of rectangular bars (both from memory); the film obeys the "
    "same equation"
)
_ROOF = (
    "A. Nadai, Theory of Flow and Fracture of Solids (heap of sand, from memory): the pressure of a "
    "plastic film rises by 2τ₀/h with the distance from the rim"
)
_LENGTH = number("length", "mm", "length of the plate", above=0)
_WIDTH = number("width", "mm", "width of the plate", above=0)
_FORCE = number("force", "N", "force on the plate, constant", above=0)
_GAP_START = number("gap_start", "mm", "gap at the start", above=0)
_GAP_END = number("gap_end", "mm", "gap to reach", above=0)
_NARROWER = requires(lambda gap_start, gap_end: gap_end <= gap_start, "gap_end", "gap_start or less")
_NO_FILM = "gap above a tenth of the shorter side: no thin film, the figure is a guess"


def _is_film(gap: Number, length: Number, width: Number) -> Any:
    return gap <= THIN_FILM * 0.5 * np.minimum(length, width)


_AREA = number("area", "mm²", "cross-section of one bead", above=0)
_PITCH = number("pitch", "mm", "distance from bead to bead", above=0)
_GAP = number("gap", "mm", "gap between the faces", above=0)

_LEAST_INDEX, _MOST_INDEX = 0.25, 1.5  # of flow, between which discs press like the plate to 2 %

# Σ 1/k⁵ over odd k = 31·ζ(5)/32, less the terms by which tanh falls short of 1, which die out fast
_ODD_FIFTH = 31.0 / 32.0 * 1.0369277551433699
_ODD = np.array([1.0, 3.0, 5.0, 7.0])
_FACTOR_FORMULA = (
    "(1/3-64/PI()^5/slim*(1.00452376279514"
    + "".join(f"-2*EXP(-{k}*PI()*slim)/(1+EXP(-{k}*PI()*slim))/{k**5}" for k in (1, 3, 5, 7))
    + "))"
)
#: longer over shorter side; IF and not MAX, which would take the largest of a whole column
_SLIM = "slim,IF(length>width,length/width,width/length),"


@workbook_function(
    category="Spreading",
    arguments=(_LENGTH, _WIDTH),
    returns=(out("factor", "", "β: 0.1406 for a square, 1/3 for a long strip"),),
    equation="β = 1/3·[1 − 192w/(π⁵l)·Σ tanh(kπl/2w)/k⁵], k = 1, 3, 5 …; film force 3μβlw³·V/h³",
    source=_ANALOGY,
    valid="thin Newtonian film that fills a rectangular plate to its rim; the longer side counts as l",
    no_answer="the factor is beyond any number",
    examples=(
        example((30, 30), 0.140577015, "torsion of a square bar: series and finite elements", 1e-8),
        example((15, 10), 0.1957607089, "the same; 0.196 in Timoshenko's table (from memory)", 1e-8),
        example((10, 100), 0.3123250375, "the same; 0.312 in the table", 1e-8),
    ),
    formula=f"LET({_SLIM}{_FACTOR_FORMULA})",
)
def plate_factor(length: Number, width: Number) -> Number:
    """Factor of the force that presses a film out from under a rectangular plate.

    >>> round(float(plate_factor(0.03, 0.03)), 6)
    0.140577
    """
    slim = np.maximum(length, width) / np.minimum(length, width)
    fading = np.exp(-_ODD * np.pi * np.asarray(slim)[..., None])
    sums: Number = _ODD_FIFTH - np.sum(2.0 * fading / (1.0 + fading) / _ODD**5, axis=-1)
    return 1.0 / 3.0 - 64.0 / np.pi**5 / slim * sums


def plate_discs(length: Number, width: Number) -> tuple[Number, Number]:
    """Number and radius of the equal discs that press like a rectangular plate, SI units.

    N·πR⁴/8 = βlw³/4 (force of a Newtonian film) and N·πR³/3 = w²(3l − w)/12 (of a plastic one). Power-law
    films of index 0.25 to 1.5 agree with finite elements to 2 %, whatever the plate.

    >>> count, radius = plate_discs(1.0, 1.0)
    >>> round(float(count), 4), round(float(radius), 4)
    (0.8952, 0.5623)
    """
    wide, long = np.minimum(length, width), np.maximum(length, width)
    radius = 8.0 * plate_factor(length, width) * long * wide / (3.0 * long - wide)
    return wide**2 * (3.0 * long - wide) / (4.0 * np.pi * radius**3), radius


@workbook_function(
    category="Spreading",
    arguments=(
        _FORCE,
        _LENGTH,
        _WIDTH,
        _GAP_START,
        _GAP_END,
        number("consistency", "Pa·sⁿ", "stress at a shear rate of 1/s; viscosity where n = 1", above=0),
        number("index", "", "flow index n; below 1 thins under shear", default=1.0, above=0),
    ),
    returns=(out("time", "s", "time from the first gap to the second"),),
    equation="n = 1: t = 3μβlw³/(2F)·(1/h₁² − 1/h₀²), β of PLATE_FACTOR; else SQUEEZE_TIME of N discs of "
    "radius R = 8βlw/(3l − w), N = w²(3l − w)/(4πR³), each under F/N",
    source=_ANALOGY + "; " + _ROOF,
    rule="exact for n = 1; for n from 0.25 to 1.5 the force is within 2 %",
    valid="thin film (gap far below the width), plate full to its rim from the start, constant force, no "
    "yield stress",
    requires=(_NARROWER,),
    no_answer="the time is beyond any number",
    validity=(
        validity(lambda gap_start, length, width: _is_film(gap_start, length, width), _NO_FILM),
        validity(
            lambda index: (index >= _LEAST_INDEX) & (index <= _MOST_INDEX),
            f"flow index outside {_LEAST_INDEX:g} to {_MOST_INDEX:g}: discs in place of the plate were not "
            "tried there",
        ),
    ),
    examples=(
        example((200, 30, 30, 1, 0.15, 50), 1.855089434, "film with β by finite elements", 1e-7),
        example((200, 60, 40, 1, 0.15, 50), 12.24678995, "the same", 1e-7),
        example((200, 100, 10, 1, 0.15, 50), 0.5088295402, "the same", 1e-7),
    ),
    formula=f"LET(power,IF(ISOMITTED(index),1,index),grow,(power+1)/power,{_SLIM}"
    "long,IF(length>width,length,width),wide,IF(length>width,width,length),"
    f"radius,8*{_FACTOR_FORMULA}*long*wide/(3*long-wide),"
    "load,force/(wide/radius)^2/((3*long-wide)/radius)*4*PI(),"
    "(2*power+1)/power/grow*(2*PI()*consistency*radius^2/1000000*(radius/gap_end)^(power+1)"
    "/((power+3)*load))^(1/power)*IF(gap_end<=gap_start,1-(gap_end/gap_start)^grow,SQRT(-1)))",
)
def plate_squeeze_time(
    force: Number,
    length: Number,
    width: Number,
    gap_start: Number,
    gap_end: Number,
    consistency: Number,
    index: Number = 1.0,
) -> Number:
    """Time to press a film out from under a rectangular plate.

    >>> round(float(plate_squeeze_time(200.0, 0.03, 0.03, 1e-3, 0.15e-3, 50.0)), 6)
    1.855089
    """
    count, radius = plate_discs(length, width)
    return squeeze_time(force / count, radius, gap_start, gap_end, consistency, index)


@workbook_function(
    category="Spreading",
    arguments=(_FORCE, _LENGTH, _WIDTH, number("yield_stress", "Pa", "yield stress", at_least=0)),
    returns=(out("gap", "mm", "gap at which the paste stops"),),
    equation="h = τ₀w²(3l − w)/(6F), l the longer side",
    source=_ROOF,
    valid="thin film, plate full to its rim; particles that bridge the gap stop it earlier",
    no_answer="the gap is beyond any number",
    validity=(validity(lambda gap, length, width: _is_film(gap, length, width), _NO_FILM),),
    examples=(
        example((100, 40, 40, 200), 0.0426666666667, "pyramid of slope 2τ₀/h: volume a²/3·τ₀a/h, by hand"),
        example((1e6, 1e6, 10, 200), 0.01 - 1e-7 / 3.0, "a strip: τ₀w²/(2F′) less its ends, by hand"),
    ),
    formula="LET(long,IF(length>width,length,width),wide,IF(length>width,width,length),"
    "yield_stress*wide^2*(3*long-wide)/(6*force)/1000000)",
)
def plate_squeeze_limit(force: Number, length: Number, width: Number, yield_stress: Number) -> Number:
    """Gap at which a paste with a yield stress stops under a rectangular plate.

    >>> round(float(plate_squeeze_limit(100.0, 0.04, 0.04, 200.0)) * 1e3, 6)
    0.042667
    """
    wide, long = np.minimum(length, width), np.maximum(length, width)
    return yield_stress * wide**2 * (3.0 * long - wide) / (6.0 * force)


# ------------------------------------------------------------------------------- beads that merge


@workbook_function(
    category="Spreading",
    arguments=(_AREA, _PITCH, choice("edge", EDGES, "edges of the pressed bead", default="square")),
    returns=(out("gap", "mm", "gap at which neighbours touch"),),
    equation="square edges: h = A/s; round ones: h(s − h) + πh²/4 = A",
    source="elementary geometry",
    valid="straight parallel beads of even cross-section",
    no_answer="round beads of that cross-section overlap before they are pressed (A above πs²/4)",
    examples=(
        example((3, 8), 0.375, "3/8, by hand"),
        example((3, 8, "round"), 0.3788501566, "root of the stadium's area", 1e-9),
    ),
    formula='IF(IF(ISOMITTED(edge),"square",edge)="square",area/pitch,IF(area<=PI()*pitch^2/4,'
    "2*area/(pitch+SQRT(pitch^2-(4-PI())*area)),SQRT(-1)))",
)
def beads_touch_gap(area: Number, pitch: Number, edge: str = "square") -> Number:
    """Gap at which parallel beads touch their neighbours when they are pressed.

    >>> round(float(beads_touch_gap(3e-6, 8e-3, "round")) * 1e3, 6)
    0.37885
    """
    if edge == "square":
        return area / pitch
    apart = np.where(area <= np.pi / 4.0 * pitch**2, area, np.nan)
    return 2.0 * apart / (pitch + np.sqrt(pitch**2 - (4.0 - np.pi) * apart))


@workbook_function(
    category="Spreading",
    arguments=(
        _AREA,
        whole("count", "number of parallel beads", at_least=1),
        number("width", "mm", "width of the plate across the beads", above=0),
    ),
    returns=(out("gap", "mm", "gap at which the plate is covered"),),
    equation="h = N·A/w",
    source="volume balance",
    valid="beads as long as the plate; nothing has left at the ends, no air is held",
    no_answer="the gap is beyond any number",
    examples=(example((3, 5, 48), 0.3125, "5·3/48, by hand"),),
    formula="area*count/width",
)
def beads_cover_gap(area: Number, count: Number, width: Number) -> Number:
    """Gap at which parallel beads cover a plate.

    >>> round(beads_cover_gap(3e-6, 5, 48e-3) * 1e3, 6)
    0.3125
    """
    return area * count / width


@workbook_function(
    category="Spreading",
    arguments=(
        number("line_force", "N/mm", "force on each length of plate, for all beads, constant", above=0),
        _AREA,
        whole("count", "number of parallel beads", at_least=1),
        _PITCH,
        _GAP_START,
        _GAP_END,
        number("viscosity", "Pa·s", "viscosity", above=0),
    ),
    returns=(out("time", "s", "time from the first gap to the second"),),
    equation="single beads down to h_t = A/s: t = μA³/(5F′/N)·(1/h⁵ − 1/h₀⁵); then one strip: "
    "t = μ(NA)³/(5F′)·(1/h₁⁵ − 1/h⁵)",
    source="Reynolds' film equation for long strips; the force is shared by the beads until they touch",
    rule="the air between the beads escapes, and they merge at once along their length",
    valid="long Newtonian beads without yield stress, square edges, gap well below the width of a bead; "
    "until the outer beads reach the rim",
    requires=(_NARROWER,),
    no_answer="the time is beyond any number",
    validity=(FLAT_BEAD,),
    examples=(
        example((3, 3, 5, 8, 1.5, 0.375, 150), 0.1818666667, "film of one bead, quadrature", 1e-9),
        example((3, 3, 5, 8, 0.375, 0.3125, 150), 6.773509689, "film of the merged strip", 1e-9),
        example((3, 3, 5, 8, 1.5, 0.3125, 150), 6.9553763557, "the sum of both", 1e-9),
    ),
    formula="LET(touch,area/pitch,above,IF(touch>gap_end,touch,gap_end),middle,IF(above<gap_start,above,gap_start),"
    "IF(gap_end<=gap_start,viscosity*area/(5*line_force)/1000000*(count*(area/middle^2)^2/middle"
    "*(1-(middle/gap_start)^5)+count^3*(area/gap_end^2)^2/gap_end*(1-(gap_end/middle)^5)),SQRT(-1)))",
)
def merged_beads_time(
    line_force: Number,
    area: Number,
    count: Number,
    pitch: Number,
    gap_start: Number,
    gap_end: Number,
    viscosity: Number,
) -> Number:
    """Time to press parallel beads that merge on the way.

    >>> round(float(merged_beads_time(3e3, 3e-6, 5, 8e-3, 1.5e-3, 0.3125e-3, 150.0)), 6)
    6.955376
    """
    middle = np.clip(beads_touch_gap(area, pitch), gap_end, gap_start)
    return bead_squeeze_time(line_force / count, area, gap_start, middle, viscosity) + bead_squeeze_time(
        line_force, area * count, middle, gap_end, viscosity
    )


# --------------------------------------------------------------------------------------- held air


@workbook_function(
    category="Spreading",
    arguments=(
        _GAP,
        number("length", "mm", "length along which the beads touch", at_least=0),
        whole("contacts", "number of such contacts", default=1, at_least=0),
    ),
    returns=(out("volume", "mL", "air in the cusps over and under the line of contact"),),
    equation="V = (1 − π/4)h²·L for each contact",
    source="elementary geometry: two half circles of diameter h in touch",
    valid="pressed beads with round edges; what wets the faces well leaves less",
    no_answer="the volume is beyond any number",
    examples=(example((0.4, 100), 0.003433629386, "polygon areas; 0.16·0.2146·100 mm³", 1e-9),),
    formula="(1-PI()/4)*gap^2*length*IF(ISOMITTED(contacts),1,contacts)/1000",
)
def contact_air(gap: Number, length: Number, contacts: Number = 1) -> Number:
    """Air held where pressed beads with round edges touch.

    >>> round(float(contact_air(0.4e-3, 0.1)) * 1e9, 6)
    3.433629
    """
    return (1.0 - np.pi / 4.0) * gap**2 * length * contacts


@workbook_function(
    category="Spreading",
    arguments=(
        _AREA,
        _PITCH,
        _GAP,
        number("length", "mm", "length of the lanes", at_least=0),
        whole("lanes", "number of lanes between beads", default=1, at_least=0),
    ),
    returns=(out("volume", "mL", "air in the lanes"),),
    equation="V = max(0, s·h − A)·L for each lane",
    source="elementary geometry",
    valid="lanes that are closed at both ends when the gap is reached; open lanes hold no air",
    no_answer="the volume is beyond any number",
    examples=(example((3, 8, 0.45, 100, 4), 0.24, "4·(3.6 − 3)·100 mm³, by hand"),),
    formula="IF(pitch*gap>area,pitch*gap-area,0)*length*IF(ISOMITTED(lanes),1,lanes)/1000",
)
def lane_air(area: Number, pitch: Number, gap: Number, length: Number, lanes: Number = 1) -> Number:
    """Air held in lanes between parallel beads whose ends are closed.

    >>> round(float(lane_air(3e-6, 8e-3, 0.45e-3, 0.1, 4)) * 1e9, 6)
    240.0
    """
    return np.maximum(0.0, pitch * gap - area) * length * lanes


LAYOUTS = ("triangle", "square")


@workbook_function(
    category="Spreading",
    arguments=(
        number("radius", "mm", "radius of the pressed dots when they touch", above=0),
        _GAP,
        choice("layout", LAYOUTS, "three dots round the air, or four in a square", default="triangle"),
    ),
    returns=(out("volume", "mL", "air between the dots"),),
    equation="triangle V = (√3 − π/2)r²h; square V = (4 − π)r²h",
    source="elementary geometry",
    valid="equal round dots in touch",
    no_answer="the volume is beyond any number",
    examples=(
        example((6, 0.4), 0.002322064523, "polygon areas", 1e-9),
        example((6, 0.4, "square"), 0.01236106579, "polygon areas", 1e-9),
    ),
    formula='IF(IF(ISOMITTED(layout),"triangle",layout)="triangle",SQRT(3)-PI()/2,4-PI())*radius^2*gap/1000',
)
def dot_air(radius: Number, gap: Number, layout: str = "triangle") -> Number:
    """Air enclosed by pressed dots when they touch.

    >>> round(float(dot_air(6e-3, 0.4e-3)) * 1e9, 6)
    2.322065
    """
    share = np.sqrt(3.0) - np.pi / 2.0 if layout == "triangle" else 4.0 - np.pi
    return share * radius**2 * gap


@workbook_function(
    category="Spreading",
    arguments=(
        number("volume", "mL", "air when it was closed in, at the pressure round it", at_least=0),
        number("overpressure", "bar", "pressure of the paste above the pressure round it", at_least=0),
        number("ambient", "bar", "pressure round it, absolute", default=ATMOSPHERE / 1e5, above=0),
    ),
    returns=(out("volume", "mL", "air under the pressure"),),
    equation="V₂ = V·p/(p + Δp)",
    source="Boyle's law",
    valid="constant temperature; nothing dissolves or leaks",
    no_answer="the volume is beyond any number",
    examples=(example((0.24, 0.5), 0.1607004791, "0.24·101.325/151.325 mL, by hand", 1e-9),),
    formula="volume/(1+overpressure/IF(ISOMITTED(ambient),1.01325,ambient))",
)
def air_left(volume: Number, overpressure: Number, ambient: Number = ATMOSPHERE) -> Number:
    """Volume of closed-in air under the pressure of the paste.

    >>> round(float(air_left(240e-9, 50e3)) * 1e9, 6)
    160.700479
    """
    return volume / (1.0 + overpressure / ambient)


__all__ = [
    "ATMOSPHERE",
    "LAYOUTS",
    "air_left",
    "beads_cover_gap",
    "beads_touch_gap",
    "contact_air",
    "dot_air",
    "lane_air",
    "merged_beads_time",
    "plate_discs",
    "plate_factor",
    "plate_squeeze_limit",
    "plate_squeeze_time",
]
