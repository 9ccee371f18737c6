"""Flow: nozzles, tapers, static mixers, pressed joints, and the heat that crosses a joint.

A material is given by consistency m, index n and yield stress τ₀ (Herschel–Bulkley):
τ = τ₀ + m·γ̇ⁿ. Index 1 and yield stress 0 is a Newtonian liquid of viscosity m; yield stress 0
alone a power-law liquid. All flow here is laminar and slow; entry losses and slip at the wall are
left out. `reynolds_number` says whether a flow in a bore is laminar.
"""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ..base.errors import NA, InputError, Problem
from ..base.fields import choice, number, text
from ..base.numbers import Number
from .declare import example, out, requires, validity, workbook_function
from .life import GAS_CONSTANT, NEAR_REFERENCE

WALLS = ("regular", "thin", "extra-thin")
MIXER_FACTOR = 6.9  # helical (twisted tape) elements, laminar

_TUBE = (
    "R. P. Chhabra, J. F. Richardson, Non-Newtonian Flow and Applied Rheology, 2nd ed. 2008, "
    "ch. 3 (from memory; re-derived from the Rabinowitsch integral)"
)
LAMINAR_REYNOLDS = 2100.0  # generalised Reynolds number above which a flow in a bore turns turbulent
_LAMINAR = (
    f"laminar flow, REYNOLDS_NUMBER under {LAMINAR_REYNOLDS:.0f} (looked at where the "
    "density is given: a turbulent flow needs more pressure); long bore; entry loss, slip at the wall "
    "and heating are left out"
)

MIXER_REYNOLDS = 100.0  # in the tube of a static mixer, up to which its factor holds
THIN_FILM = 0.2  # gap over radius up to which a film is thin (common practice, no source)
_FLOW = number("flow", "mL/s", "flow", at_least=0)
_OWN_DENSITY = number(
    "density", "g/mL", "density, to see whether the flow is laminar (a note where not)", default=None, above=0
)
_BORE = number("bore", "mm", "inner diameter", above=0)
_LENGTH = number("length", "mm", "length of the bore", above=0)
_CONSISTENCY = number(
    "consistency",
    "Pa·sⁿ",
    "stress at a shear rate of 1/s without the yield stress; the viscosity where the index is 1",
    above=0,
)
_INDEX = number("index", "", "flow index n; below 1 thins under shear", default=1.0, above=0)
_YIELD = number("yield_stress", "Pa", "stress below which it does not flow", default=0.0, at_least=0)


#: `_wall_excess` in a spreadsheet: 60 halvings of the bracket of y, towards the change of sign
_EXCESS = (
    "power,IF(ISOMITTED(index),1,index),stiff,IF(ISOMITTED(yield_stress),0,yield_stress),"
    "rate,8000*flow/(PI()*bore^3),plain,consistency*((3*power+1)/power*rate)^power,"
    "top,power*LN(1+stiff/plain),"
    "turned,LAMBDA(y,LET(loose,plain*EXP(y),part,loose/(loose+stiff),plug,stiff/(loose+stiff),"
    "y/power+LN((3*power+1)*part*(part^2/(3*power+1)+2*plug*part/(2*power+1)+plug^2/(power+1))))),"
    "excess,IF(rate*stiff>0,plain*EXP(REDUCE(top/2,SEQUENCE(60),"
    "LAMBDA(y,turn,y-SIGN(turned(y))*top/2^(turn+1)))),plain),"
)


def _is_laminar(flow, bore, density, consistency, index, yield_stress):  # type: ignore[no-untyped-def]
    return reynolds_number(flow, bore, density, consistency, index, yield_stress) <= LAMINAR_REYNOLDS


_LAMINAR_ONLY = validity(
    _is_laminar,
    f"the flow is turbulent: Reynolds number (Metzner–Reed) above {LAMINAR_REYNOLDS:.0f}, the true pressure "
    "is higher than that of laminar flow",
)
_THIN = "gap above a fifth of the radius: no thin film, the figure is a guess"
FLAT_BEAD = validity(
    lambda gap_start, area: gap_start * gap_start <= 0.5 * area,
    "the bead is more than half as high as wide: the true time is longer",
)

# ------------------------------------------------------------------------------------ needle bores


@cache
def needle_bores() -> dict[tuple[int, str], dict[str, str]]:
    """The rows of the bore table by gauge and wall, as written in data/needle_bores.csv.

    >>> needle_bores()[30, "thin"]["bore_min_mm"]
    '0.165'
    """
    table = Path(__file__).with_name("data").joinpath("needle_bores.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(table.splitlines())
    return {(int(row["gauge"]), row["wall"]): row for row in rows}


def _bore_formula() -> str:
    """The table in a spreadsheet: a gauge as it may be written, matched with its wall."""
    keys = ";".join(f'"{gauge}/{wall}"' for gauge, wall in needle_bores())
    bores = ";".join(row["bore_min_mm"] for row in needle_bores().values())
    return (
        # what MATCH would take for a pattern is in no table
        'LET(given,SUBSTITUTE(SUBSTITUTE(SUBSTITUTE(LOWER(TRIM(gauge)),"~","|"),"*","|"),"?","|"),'
        'short,IF(RIGHT(given)=".",LEFT(given,LEN(given)-1),given),'
        'unit,IF(RIGHT(short,5)="gauge",5,IF(RIGHT(short,2)="ga",2,IF(RIGHT(short)="g",1,0))),'
        "bare,TRIM(LEFT(short,LEN(short)-unit)),"
        f'place,MATCH(bare&"/"&IF(ISOMITTED(wall),"regular",wall),{{{keys}}},0),'
        f"INDEX({{{bores}}},place))"
    )


def _bore_notes() -> str:
    """What is confirmed in the table and what is not, made from its marks."""
    confirmed = sorted({gauge for (gauge, _), row in needle_bores().items() if row["mark"] == "confirmed"})
    return (
        f"Confirmed against ISO 9626:2016: {' and '.join(f'{gauge} G' for gauge in confirmed)}. "
        "All other bores are from memory of ISO 9626:1991 + Amd 1:2001, not confirmed: compare "
        "with the standard or the maker's sheet, or measure. A minimum bore is smaller than the "
        "nominal one. Plastic and taper tips do not follow ISO 9626. Every other function takes the "
        "bore itself."
    )


@workbook_function(
    category="Flow",
    arguments=(
        text("gauge", "gauge number of steel tubing, such as 18 or 18G"),
        choice("wall", WALLS, "wall of the tubing", default="regular"),
    ),
    returns=(out("bore", "mm", "minimum inner diameter"),),
    equation="",
    source="ISO 9626, table of tubing sizes; edition and mark of each value in needle_bores.csv",
    valid="steel needle tubing of 10 to 33 G; not every gauge is listed in every wall",
    notes=_bore_notes(),
    examples=(
        example((30,), 0.133, "ISO 9626:2016, as in table III of DOI 10.1208/s12249-021-01949-4"),
        example(("32G", "thin"), 0.105, "the same table"),
        example(("30 G", "extra-thin"), 0.190, "the same table"),
    ),
    formula=_bore_formula(),
)
def needle_bore(gauge: Number, wall: str = "regular") -> Number:
    """Minimum bore of a steel needle of a gauge, by table.

    >>> round(needle_bore("18G", "thin") * 1e3, 3)
    0.91
    """
    match = re.fullmatch(r"(\d{1,2})(?:\.0)?\s*(?:g|ga|gauge)?\.?", str(gauge).strip().lower())
    row = needle_bores().get((int(match[1]), wall)) if match else None
    if row is None:
        listed = sorted(size for size, kind in needle_bores() if kind == wall)
        raise InputError(
            Problem(
                "NEEDLE_BORE",
                "gauge",
                gauge,
                f"{_ranges(listed)} where the wall is {wall}",
                "give the bore itself to the other functions",
                NA,
            )
        )
    return float(row["bore_min_mm"]) * 1e-3


def _ranges(numbers: list[int]) -> str:
    """10, 11, 12, 30 as "10 to 12 or 30"."""
    runs: list[list[int]] = []
    for value in numbers:
        if runs and value == runs[-1][1] + 1:
            runs[-1][1] = value
        else:
            runs.append([value, value])
    words = [f"{low} to {high}" if high > low else f"{low}" for low, high in runs]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + f" or {words[-1]}"


# ------------------------------------------------------------------------------- tubes and nozzles


@workbook_function(
    category="Flow",
    arguments=(
        number("temperature", "°C", "temperature", above=-273.15),
        number("reference_viscosity", "Pa·s", "viscosity at the reference temperature", above=0),
        number("reference_temperature", "°C", "temperature of the known viscosity", above=-273.15),
        number("activation_energy", "kJ/mol", "activation energy of flow, not of cure", at_least=0),
    ),
    returns=(out("viscosity", "Pa·s", "viscosity"),),
    equation="μ = μ_ref·exp(E/R·(1/T − 1/T_ref))",
    source="Arrhenius–Andrade; R = 8.31446261815324 J/(mol·K), CODATA 2018",
    valid="unreacted material well above its glass transition, tens of kelvin round the reference",
    no_answer="the viscosity is beyond any number",
    examples=(
        example((50, 40, 25, 55), 7.188164458, "40·exp(55000/R·(1/323.15 − 1/298.15)), by hand"),
        example(
            (30, 1.0016e-3, 20, 17.16953076),
            0.7939224287e-3,
            "water, two points of ISO/TR 3666 (from memory) carried on to 30 °C, by hand",
        ),
    ),
    validity=(NEAR_REFERENCE,),
    formula="reference_viscosity*EXP(activation_energy*1000/8.31446261815324"
    "*(1/(temperature + 273.15) - 1/(reference_temperature + 273.15)))",
)
def viscosity(
    temperature: Number, reference_viscosity: Number, reference_temperature: Number, activation_energy: Number
) -> Number:
    """Viscosity at a temperature.

    >>> round(float(viscosity(323.15, 40.0, 298.15, 55e3)), 6)
    7.188164
    """
    return reference_viscosity * np.exp(
        activation_energy / GAS_CONSTANT * (1.0 / temperature - 1.0 / reference_temperature)
    )


def _shape(part: Number, index: Number) -> Number:
    """(1−φ)·[(1−φ)²/(3n+1) + 2φ(1−φ)/(2n+1) + φ²/(n+1)], part = 1−φ, φ = yield/wall stress."""
    plug = 1.0 - part
    return part * (
        part**2 / (3.0 * index + 1.0) + 2.0 * plug * part / (2.0 * index + 1.0) + plug**2 / (index + 1.0)
    )


def _is_newtonian(index: Number, yield_stress: Number) -> Number:
    """Whether one plain viscosity describes the material: n = 1 and no yield stress."""
    given = type(index), type(yield_stress)
    return given == (float, float) and index == 1.0 and yield_stress == 0.0


_WIDEST = 60  # steps of the solver; a bisection alone would reach 1e-18 of its bracket


def _wall_excess(rate: Number, consistency: Number, index: Number, yield_stress: Number) -> Number:
    """Wall stress above the yield stress at a flow rate Q/(πR³); Herschel–Bulkley.

    Solved in y = ln(excess / power-law wall stress): y/n + ln((3n+1)·shape) = 0, increasing in y.
    The power-law stress is too small (y = 0), that of a plug flow too large (y = n·ln(1 + b), with
    b = yield stress / power-law stress). Newton steps that leave the bracket are bisected.
    """
    power_law = consistency * ((3.0 * index + 1.0) / index * rate) ** index
    if not np.any(yield_stress):
        return power_law
    log_b = (
        np.log(yield_stress)
        - np.log(consistency)
        - index * (np.log((3.0 * index + 1.0) / index) + np.log(rate))
    )
    low = np.zeros(np.shape(log_b))
    high = index * np.logaddexp(0.0, log_b)
    y = high.copy() if np.ndim(high) else high
    for _ in range(_WIDEST):
        log_part = -np.logaddexp(0.0, log_b - y)
        part = np.exp(log_part)
        plug = 1.0 - part
        inner = _shape(part, index) / np.where(part > 0.0, part, 1.0)
        inner = np.where(part > 0.0, inner, 1.0 / (index + 1.0))
        value = y / index + np.log(3.0 * index + 1.0) + log_part + np.log(inner)
        # d ln(shape)/d ln(part), and d ln(part)/dy = 1 − part
        bend = (
            (
                2.0 * part / (3.0 * index + 1.0)
                + 2.0 * (1.0 - 2.0 * part) / (2.0 * index + 1.0)
                - 2.0 * plug / (index + 1.0)
            )
            * part
            / inner
        )
        slope = 1.0 / index + (1.0 + bend) * plug
        low, high = np.where(value <= 0.0, y, low), np.where(value > 0.0, y, high)
        new = y - value / slope
        new = np.where((new >= low) & (new <= high), new, 0.5 * (low + high))
        done = np.abs(new - y) <= 1e-15 * np.maximum(1.0, np.abs(y))
        y = new
        if np.all(done | np.isnan(y)):
            break
    return np.where(rate > 0.0, power_law * np.exp(np.where(yield_stress > 0.0, y, 0.0)), 0.0)


@workbook_function(
    category="Flow",
    arguments=(_FLOW, _BORE, _LENGTH, _CONSISTENCY, _INDEX, _YIELD),
    returns=(out("pressure", "bar", "pressure drop along the bore"),),
    equation="the pressure at which NOZZLE_FLOW gives the flow; 128μLQ/(πD⁴) for n = 1, τ₀ = 0",
    source=_TUBE,
    valid=_LAMINAR + "; at flow 0 the pressure at which it starts",
    no_answer="the pressure is beyond any number",
    validity=(_LAMINAR_ONLY,),
    beside=(_OWN_DENSITY,),
    examples=(
        example(
            (0.05, 1, 25, 50, 0.5, 100), 1.386153595, "root of the Rabinowitsch integral by quadrature", 1e-8
        ),
        example((0.5, 6, 72, 5), 0.05658842421, "Hagen–Poiseuille 128μLQ/(πD⁴), by hand"),
        example(
            (2.5e6 / 1075 / 3.6, 25, 10000, 3, 0.5),
            1.101287743,
            "Chhabra & Richardson, 2500 kg/h of density 1075: about 110 kPa (from memory)",
        ),
    ),
    formula=f"LET({_EXCESS}4*length/bore*(stiff+excess)/100000)",
)
def nozzle_pressure(
    flow: Number,
    bore: Number,
    length: Number,
    consistency: Number,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Pressure drop of a flow in a round bore.

    >>> round(float(nozzle_pressure(0.05e-6, 1e-3, 25e-3, 50.0, 0.5, 100.0)), 2)
    138615.36
    """
    if _is_newtonian(index, yield_stress):
        return 128.0 * consistency * length / (np.pi * bore**4) * flow
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        rate = flow / (np.pi * (bore / 2.0) ** 3)
        excess = _wall_excess(rate, consistency, index, yield_stress)
        return 4.0 * length / bore * (yield_stress + excess)


@workbook_function(
    category="Flow",
    arguments=(
        number("pressure", "bar", "pressure drop along the bore", at_least=0),
        _BORE,
        _LENGTH,
        _CONSISTENCY,
        _INDEX,
        _YIELD,
    ),
    returns=(out("flow", "mL/s", "flow; 0 where the pressure does not reach the yield stress"),),
    equation="Q = πR³n(τ_w/m)^{1/n}(1−φ)^{(n+1)/n}[(1−φ)²/(3n+1) + 2φ(1−φ)/(2n+1) + φ²/(n+1)], "
    "τ_w = pR/(2L), φ = τ₀/τ_w",
    source=_TUBE,
    valid=_LAMINAR,
    no_answer="the flow is beyond any number",
    validity=(_LAMINAR_ONLY,),
    beside=(_OWN_DENSITY,),
    examples=(
        example((3, 1, 25, 50, 0.5, 100), 0.2597049908, "Rabinowitsch integral by quadrature"),
        example((4, 0.838, 25.4, 10), 0.0190608495, "Hagen–Poiseuille πpD⁴/(128μL), by hand"),
        example((0.099, 1, 25, 50, 0.5, 100), 0.0, "wall stress 99 Pa under a yield stress of 100"),
    ),
    formula="LET(power, IF(ISOMITTED(index), 1, index), "
    "start, IF(ISOMITTED(yield_stress), 0, yield_stress), "
    "wall, pressure*100000*bore/(4*length), over, wall - start, "
    "part, IF(over > 0, over/wall, 0), "
    "IF(over > 0, PI()*(bore/2)^3/1000*power*(over/consistency)^(1/power)*part"
    "*(part^2/(3*power + 1) + 2*(1 - part)*part/(2*power + 1) + (1 - part)^2/(power + 1)), 0))",
)
def nozzle_flow(
    pressure: Number,
    bore: Number,
    length: Number,
    consistency: Number,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Flow that a pressure drives through a round bore.

    >>> round(float(nozzle_flow(3e5, 1e-3, 25e-3, 50.0, 0.5, 100.0)) * 1e9, 4)
    259.705
    """
    wall = pressure * bore / (4.0 * length)
    excess = np.maximum(wall - yield_stress, 0.0)
    part = excess / np.where(excess > 0.0, wall, 1.0)
    rate = index * (excess / consistency) ** (1.0 / index) * _shape(part, index)
    return np.pi * (bore / 2.0) ** 3 * rate


@workbook_function(
    category="Flow",
    arguments=(
        _FLOW,
        number("bore_in", "mm", "inner diameter at the inlet", above=0),
        number("bore_out", "mm", "inner diameter at the outlet", above=0),
        number("length", "mm", "length of the taper", above=0),
        _CONSISTENCY,
        _INDEX,
    ),
    returns=(out("pressure", "bar", "pressure drop along the taper"),),
    equation="Δp = 2mL/(3n(R₁−R₂))·[(3n+1)/n·Q/π]ⁿ·(R₂^{−3n} − R₁^{−3n})",
    source="lubrication approximation: the power-law gradient of the local bore, integrated",
    valid="laminar flow, gentle taper (some 10 degrees from the axis), no yield stress; entry loss "
    "is left out",
    no_answer="the pressure is beyond any number",
    examples=(
        example((0.1, 4, 1, 30, 50, 0.6), 0.713421607, "quadrature of the local gradient"),
        example((0.5, 6, 6, 72, 5), 0.05658842421, "no taper: Hagen–Poiseuille, by hand"),
    ),
    formula="LET(power, IF(ISOMITTED(index), 1, index), tip, bore_out/2, "
    "slope, (bore_in - bore_out)/bore_out, fall, 3*power*LN(1 + slope), "
    "2*consistency*length/tip*((3*power + 1)/power*flow*1000/PI()/tip^3)^power"
    "*IF(slope = 0, 1, IF(ABS(fall) < 0.01, fall*(1 - fall/2*(1 - fall/3*(1 - fall/4*(1 - fall/5)))), "
    "1 - EXP(-fall))/(3*power*slope))/100000)",
)
def taper_pressure(
    flow: Number, bore_in: Number, bore_out: Number, length: Number, consistency: Number, index: Number = 1.0
) -> Number:
    """Pressure drop of a power-law flow in a tapered nozzle.

    >>> round(float(taper_pressure(0.1e-6, 4e-3, 1e-3, 30e-3, 50.0, 0.6)), 2)
    71342.16
    """
    tip = bore_out / 2.0
    widening = (bore_in - bore_out) / bore_out
    straight = widening == 0.0
    width = np.where(straight, 1.0, widening)
    # (1 − (R₁/R₂)^(−3n)) / (3n(R₁/R₂ − 1)), 1 for a straight bore
    share = np.where(straight, 1.0, -np.expm1(-3.0 * index * np.log1p(width)) / (3.0 * index * width))
    rate = (3.0 * index + 1.0) / index * flow / (np.pi * tip**3)
    return 2.0 * consistency * length / tip * rate**index * share


@workbook_function(
    category="Flow",
    arguments=(_FLOW, _BORE, _INDEX),
    returns=(out("shear_rate", "1/s", "shear rate at the wall"),),
    equation="γ̇ = (3n+1)/(4n)·32Q/(πD³) = (3 + 1/n)·8Q/(πD³)",
    source="Rabinowitsch–Mooney, power-law liquid; " + _TUBE,
    valid=_LAMINAR + "; no yield stress",
    no_answer="the shear rate is beyond any number",
    examples=(
        example(
            (2.5e6 / 1075 / 3.6, 25, 0.5),
            526.4039461,
            "(τ_w/m)^{1/n} with the wall stress of the same flow, by hand",
        ),
    ),
    formula="LET(power, IF(ISOMITTED(index), 1, index), (3*power + 1)/(4*power)*32000*flow/(PI()*bore^3))",
)
def wall_shear_rate(flow: Number, bore: Number, index: Number = 1.0) -> Number:
    """Shear rate at the wall of a round bore.

    >>> round(float(wall_shear_rate(1e-6, 2e-3)), 4)
    1273.2395
    """
    return (3.0 + 1.0 / index) * (8.0 * flow / (np.pi * bore**3))


@workbook_function(
    category="Flow",
    arguments=(_FLOW, _BORE, number("density", "g/mL", "density", above=0), _CONSISTENCY, _INDEX, _YIELD),
    returns=(out("reynolds", "", "generalised Reynolds number"),),
    equation="Re = 8ρv²/τ_w, v = 4Q/(πD²), τ_w the laminar stress at the wall; power law: "
    "ρv^{2−n}Dⁿ/(8^{n−1}·m·((3n+1)/(4n))ⁿ); Newtonian: ρvD/μ",
    source="A. B. Metzner, J. C. Reed, AIChE J. 1 (1955) 434–440 (from memory)",
    rule=f"above {LAMINAR_REYNOLDS:.0f} the flow turns turbulent and the laminar pressure is too low; shear-"
    "thinning liquids stay laminar somewhat longer",
    valid="round bores; a yield stress enters by the stress at the wall",
    no_answer="the number is beyond any number",
    examples=(
        example((500, 1, 1, 0.001), 636619.7724, "water: 4ρQ/(πDμ), by hand"),
        example(
            (2.5e6 / 1075 / 3.6, 25, 1.075, 3, 0.5),
            216.3893679,
            "Chhabra & Richardson, 2500 kg/h of density 1075: by hand",
        ),
    ),
    formula=f"LET({_EXCESS}IF(flow>0,8000*density*(4*flow/(PI()*bore^2))^2/(stiff+excess),0))",
)
def reynolds_number(
    flow: Number,
    bore: Number,
    density: Number,
    consistency: Number,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Generalised Reynolds number of a flow in a round bore, by which it is laminar or not.

    >>> round(float(reynolds_number(500e-6, 1e-3, 1000.0, 1e-3)), 1)
    636619.8
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        speed = 4.0 * flow / (np.pi * bore**2)
        rate = flow / (np.pi * (bore / 2.0) ** 3)
        wall = yield_stress + _wall_excess(rate, consistency, index, yield_stress)
        return np.where(speed > 0.0, 8.0 * density * speed**2 / wall, 0.0)[()]


@workbook_function(
    category="Flow",
    arguments=(number("index", "", "flow index n", default=1.0, above=0),),
    returns=(out("reynolds", "", "generalised Reynolds number at which laminar flow ends"),),
    equation="Re = 6464n(2 + n)^{(2+n)/(1+n)}/(1 + 3n)²",
    source="N. W. Ryan, M. M. Johnson, AIChE J. 5 (1959) 433–435, as quoted in lecture text after Chhabra & "
    "Richardson",
    rule="measurements do not follow the fall at small n: the same text takes 2000 to 2500 for all n, and "
    f"findings here {LAMINAR_REYNOLDS:.0f}",
    valid="power-law liquids in smooth round bores, REYNOLDS_NUMBER against it",
    no_answer="the number is beyond any number",
    examples=(
        example((1,), 2099.245579, "2100 as printed; log form", 1e-9),
        example((0.4,), 2396.109591, "about 2400 as printed; log form", 1e-9),
        example((0.1,), 1576.741758, "about 1600 as printed; log form", 1e-9),
    ),
    formula="LET(power,IF(ISOMITTED(index),1,index),6464*power*(2+power)^((2+power)/(1+power))"
    "/(1+3*power)^2)",
)
def critical_reynolds(index: Number = 1.0) -> Number:
    """Reynolds number at which the flow of a power-law liquid in a bore turns turbulent.

    >>> round(float(critical_reynolds(1.0)), 3)
    2099.246
    """
    return 6464.0 * index * (2.0 + index) ** ((2.0 + index) / (1.0 + index)) / (1.0 + 3.0 * index) ** 2


@workbook_function(
    category="Flow",
    arguments=(
        _FLOW,
        number("bore", "mm", "inner diameter of the mixer tube", above=0),
        number("length", "mm", "length of the mixing elements", above=0),
        number("viscosity", "Pa·s", "viscosity of the mix at the shear in the mixer", above=0),
        number(
            "factor", "", "pressure drop against that of the empty tube", default=MIXER_FACTOR, at_least=1
        ),
    ),
    returns=(out("pressure", "bar", "pressure drop along the mixer"),),
    equation="Δp = K·128μLQ/(πD⁴)",
    source="factor 6.9: E. L. Paul, V. A. Atiemo-Obeng, S. M. Kresta (eds.), Handbook of "
    "Industrial Mixing, 2004, ch. 7, as tabled in the fluids library",
    rule="factor 6.9 is for helical elements in laminar flow; others report 5.5 to 7 (from "
    "memory); take the maker's factor where there is one",
    valid="laminar flow, Reynolds number under about 100 (looked at where the density is given); a "
    "shear-thinning mix needs less",
    no_answer="the pressure is beyond any number",
    validity=(
        validity(
            lambda flow, bore, density, viscosity: (
                reynolds_number(flow, bore, density, viscosity) <= MIXER_REYNOLDS
            ),
            f"Reynolds number above {MIXER_REYNOLDS:.0f} in the mixer: its factor no longer holds, the true "
            "pressure is higher",
        ),
    ),
    beside=(_OWN_DENSITY,),
    examples=(
        example((0.5, 6, 72, 5), 0.3904601271, "6.9 × 5.658842421 kPa, by hand"),
        example((0.5, 6, 72, 5, 1), 0.05658842421, "factor 1: Hagen–Poiseuille, by hand"),
    ),
    formula=f"IF(ISOMITTED(factor), {MIXER_FACTOR}, factor)*128*viscosity*length*flow*1000"
    "/(PI()*bore^4)/100000",
)
def mixer_pressure(
    flow: Number, bore: Number, length: Number, viscosity: Number, factor: Number = MIXER_FACTOR
) -> Number:
    """Pressure drop of a static mixer with helical elements.

    >>> round(float(mixer_pressure(0.5e-6, 6e-3, 72e-3, 5.0)), 2)
    39046.01
    """
    return factor * 128.0 * viscosity * length * flow / (np.pi * bore**4)


@workbook_function(
    category="Flow",
    arguments=(
        number("volume", "mL", "volume of the empty tube", above=0),
        number("flow", "mL/s", "flow", above=0),
        number("void", "", "share of the tube that the elements leave free", default=1.0, above=0, at_most=1),
    ),
    returns=(out("time", "s", "mean time that material stays inside"),),
    equation="t = void·V/Q",
    source="volume balance",
    valid="the mean; material at a wall or in a dead corner stays longer",
    no_answer="the time is beyond any number",
    examples=(
        example((2.0357520395261855, 0.5, 0.9), 3.664353671, "0.9·π·6²/4·72 mm³ at 500 mm³/s, by hand"),
        example((10, 0.5), 20.0, "10/0.5"),
    ),
    formula="IF(ISOMITTED(void), 1, void)*volume/flow",
)
def dwell_time(volume: Number, flow: Number, void: Number = 1.0) -> Number:
    """Mean time that material stays in a mixer or a hose.

    >>> round(dwell_time(10e-6, 0.5e-6), 9)
    20.0
    """
    return void * volume / flow


# ----------------------------------------------------------------------------------- pressed joints

_SQUEEZE = (
    "J. Stefan 1874; J. R. Scott 1931; J. Engmann, C. Servais, A. S. Burbidge, J. "
    "Non-Newtonian Fluid Mech. 132 (2005) 1–27 (from memory)"
)
_GAP_START = number("gap_start", "mm", "gap at the start", above=0)
_GAP_END = number("gap_end", "mm", "gap to reach", above=0)
_NARROWER = requires(lambda gap_start, gap_end: gap_end <= gap_start, "gap_end", "gap_start or less")
_FORCE = number("force", "N", "force on the joint, constant", above=0)
_RADIUS = number("radius", "mm", "radius of the round pressed face, filled to its edge", above=0)


@workbook_function(
    category="Flow",
    arguments=(_FORCE, _RADIUS, _GAP_START, _GAP_END, _CONSISTENCY, _INDEX),
    returns=(out("time", "s", "time from the first gap to the second"),),
    equation="t = (2n+1)/n·[2πmR^{n+3}/((n+3)F)]^{1/n}·n/(n+1)·(h₁^{−(n+1)/n} − h₀^{−(n+1)/n}); "
    "n = 1: 3πμR⁴/(4F)·(1/h₁² − 1/h₀²)",
    source=_SQUEEZE,
    valid="thin film: gap far below the radius, above it the figure means nothing (a note says so); "
    "constant force, no yield stress, round face full to the edge from the start; a rectangle of the same "
    "area takes less: a square 0.88, 10 : 1 0.20 of the time",
    requires=(_NARROWER,),
    no_answer="the time is beyond any number",
    validity=(validity(lambda gap_start, radius: gap_start <= THIN_FILM * radius, _THIN),),
    examples=(
        example((100, 25, 1, 0.2, 10), 2.208932335, "Stefan; the film integrated numerically"),
        example((20, 10, 1, 0.2, 50, 0.5), 0.03330152233, "Scott; the film integrated numerically"),
    ),
    formula="LET(power, IF(ISOMITTED(index), 1, index), grow, (power + 1)/power, "
    "(2*power + 1)/power/grow*(2*PI()*consistency*radius^2/1000000*(radius/gap_end)^(power + 1)"
    "/((power + 3)*force))^(1/power)*IF(gap_end <= gap_start, 1 - (gap_end/gap_start)^grow, "
    "SQRT(-1)))",
)
def squeeze_time(
    force: Number,
    radius: Number,
    gap_start: Number,
    gap_end: Number,
    consistency: Number,
    index: Number = 1.0,
) -> Number:
    """Time to press a film between round faces from one gap to another.

    >>> round(float(squeeze_time(100.0, 25e-3, 1e-3, 0.2e-3, 10.0)), 6)
    2.208932
    """
    load = 2.0 * np.pi * consistency * radius**2 / ((index + 3.0) * force)
    scale = (load * (radius / gap_end) ** (index + 1.0)) ** (1.0 / index)
    return (2.0 * index + 1.0) / index * scale * _closing(gap_start, gap_end, (index + 1.0) / index)


def _closing(gap_start: Number, gap_end: Number, power: Number) -> Number:
    """(1 − (h₁/h₀)^power)/power, without loss where the gaps are close."""
    return -np.expm1(power * np.log(gap_end / gap_start)) / power


@workbook_function(
    category="Flow",
    arguments=(
        number("line_force", "N/mm", "force on each length of bead, constant", above=0),
        number("area", "mm²", "cross-section of the bead, which it keeps", above=0),
        _GAP_START,
        _GAP_END,
        number("viscosity", "Pa·s", "viscosity", above=0),
    ),
    returns=(out("time", "s", "time from the first gap to the second"),),
    equation="t = μA³/(5F′)·(1/h₁⁵ − 1/h₀⁵)",
    source="Reynolds' film equation for a long strip of width A/h; " + _SQUEEZE,
    valid="long bead, gap well below the width of the bead, Newtonian, no yield stress; says too "
    "little while the bead is still as high as wide",
    requires=(_NARROWER,),
    no_answer="the time is beyond any number",
    validity=(FLAT_BEAD,),
    examples=(example((2, 7, 3, 0.5, 100), 0.1097458848, "the film integrated numerically"),),
    formula="IF(gap_end <= gap_start, viscosity*area^3/(5*line_force*gap_end^5)"
    "*(1 - (gap_end/gap_start)^5)/1000000, SQRT(-1))",
)
def bead_squeeze_time(
    line_force: Number, area: Number, gap_start: Number, gap_end: Number, viscosity: Number
) -> Number:
    """Time to press a long bead from one gap to another.

    >>> round(float(bead_squeeze_time(2e3, 7e-6, 3e-3, 0.5e-3, 100.0)), 6)
    0.109746
    """
    full = viscosity * area**3 / (line_force * gap_end**5)
    return full * _closing(gap_start, gap_end, 5.0)


@workbook_function(
    category="Flow",
    arguments=(_FORCE, _RADIUS, number("yield_stress", "Pa", "yield stress", at_least=0)),
    returns=(out("gap", "mm", "gap at which the paste stops"),),
    equation="h = 2πR³τ₀/(3F)",
    source=_SQUEEZE,
    valid="thin film, face full to the edge; particles that bridge the gap stop it earlier",
    no_answer="the gap is beyond any number",
    validity=(validity(lambda gap, radius: gap <= THIN_FILM * radius, _THIN),),
    examples=(example((100, 25, 200), 0.06544984695, "quadrature of the pressure 2τ₀(R − r)/h"),),
    formula="2*PI()*radius^3*yield_stress/(3*force)/1000000",
)
def squeeze_limit(force: Number, radius: Number, yield_stress: Number) -> Number:
    """Gap at which a paste with a yield stress stops under a force.

    >>> round(float(squeeze_limit(100.0, 25e-3, 200.0)) * 1e3, 6)
    0.06545
    """
    return 2.0 * np.pi * radius**3 * yield_stress / (3.0 * force)


def strip_squeeze_time(
    line_force: Number,
    width: Number,
    gap_start: Number,
    gap_end: Number,
    consistency: Number,
    index: Number = 1.0,
) -> Number:
    """Time to press a long strip of fixed width from one gap to another, SI units (Scott).

    t = 2(2n+1)/n·[4m a^{n+2}/((n+2)F′)]^{1/n}·n/(n+1)·(h₁^{−(n+1)/n} − h₀^{−(n+1)/n}), a half the
    width; the ends are left out.

    >>> round(float(strip_squeeze_time(2000.0, 10e-3, 1e-3, 0.25e-3, 100.0)), 9)
    0.375
    """
    half = width / 2.0
    load = 4.0 * consistency * half / ((index + 2.0) * line_force)
    scale = (load * (half / gap_end) ** (index + 1.0)) ** (1.0 / index)
    return 2.0 * (2.0 * index + 1.0) / index * scale * _closing(gap_start, gap_end, (index + 1.0) / index)


def strip_squeeze_limit(line_force: Number, width: Number, yield_stress: Number) -> Number:
    """Gap at which a paste strip of fixed width stops, SI units: h = τ₀w²/(2F′).

    >>> strip_squeeze_limit(1000.0, 10e-3, 200.0)
    1e-05
    """
    return yield_stress * width**2 / (2.0 * line_force)


_POINTS, _SHARES = (0.5 * row for row in np.polynomial.legendre.leggauss(32))
_POINTS = _POINTS + 0.5  # on 0 … 1
_SETTLED = 1e-15  # of an integral on 0 … 1: the digits of a number
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


def slot_rate(excess: Number, consistency: Number, index: Number, yield_stress: Number) -> Number:
    """Flow in a slot for each unit of width, over (gap²/2); Herschel–Bulkley."""
    wall = excess + yield_stress
    return (
        index
        * (excess / consistency) ** (1.0 / index)
        * (excess / wall**2)
        * (excess / (2.0 * index + 1.0) + yield_stress / (index + 1.0))
    )


def _flow_share(excess: np.ndarray, index: Any, yield_stress: Any, power: int = 3) -> np.ndarray:
    """∫₀¹ (q(s·excess)/q(excess))^power ds, which lowers the force of a film against edge stress."""
    part, full = excess[..., None] * _POINTS, excess[..., None]
    n, start = np.asarray(index)[..., None], np.asarray(yield_stress)[..., None]
    yielded, stiff = 1.0 / (2.0 * n + 1.0), start / (n + 1.0)
    ratio = _POINTS ** (1.0 / n + 1.0) * ((full + start) / (part + start)) ** 2
    ratio = ratio * (part * yielded + stiff) / (full * yielded + stiff)
    mean: np.ndarray = ratio**power @ _SHARES
    return mean


def edge_excess(stress: Number, index: Number, yield_stress: Number, power: int = 3) -> Number:
    """Stress σ above the yield stress at the edge of a film: stress = τ₀ + σ·(1 − J).

    J = ∫₀¹ (q(s·σ)/q(σ))^power ds, with q the flow in the slot and the power of the force balance, 3 for a
    disc and 2 for a strip; 0 where nothing yields.
    """
    share = index / (index + power)
    for _ in range(40):  # J hardly depends on σ, so that each step gains about a digit
        excess = np.maximum(stress - yield_stress, 0.0) / (1.0 - share)
        new = _flow_share(np.maximum(excess, 1e-300), index, yield_stress, power)
        if np.all(np.abs(new - share) <= _SETTLED):
            break
        share = new
    return excess


def squeeze_gap(
    time: Number,
    force: Number,
    radius: Number,
    gap_start: Number,
    consistency: Number,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Gap that a round joint reaches under a constant force after a time, SI units.

    Film of a Herschel–Bulkley paste, radius filled to the edge. With yield stress 0 the inverse of
    `squeeze_time`; otherwise the film equation is integrated: the radial flow q = V·r/2 fixes the
    wall stress at every radius, and the force follows as
    F = 2πR³/(3h)·[τ_R − ∫(q/q_R)³dτ] from the yield stress to the edge stress τ_R. The gap never
    falls below `squeeze_limit`; a joint already there stays.

    >>> round(float(squeeze_gap(2.208932335, 100.0, 25e-3, 1e-3, 10.0)) * 1e3, 6)
    0.2
    """
    values = np.broadcast_arrays(time, force, radius, gap_start, consistency, index, yield_stress)
    shape = values[0].shape
    with np.errstate(all="ignore"):
        gap = _squeezed(*(np.asarray(value, dtype=float).ravel() for value in values))
    return gap.reshape(shape) if shape else float(gap[0])


def _squeezed(
    time: np.ndarray,
    force: np.ndarray,
    radius: np.ndarray,
    gap_start: np.ndarray,
    consistency: np.ndarray,
    index: np.ndarray,
    yield_stress: np.ndarray,
) -> np.ndarray:
    power = (index + 1.0) / index
    full = squeeze_time(force, radius, np.inf, gap_start, consistency, index)
    gap = gap_start * (1.0 + time / full) ** (-1.0 / power)  # no yield stress
    scale = 2.0 * np.pi * radius**3 / (3.0 * force)
    # a yield stress far below the stress at the edge changes nothing in the digits
    yields = scale * yield_stress > 1e-13 * gap
    moving = yields & (gap_start > scale * yield_stress) & (time > 0.0)
    gap = np.where(yields & ~moving, gap_start, gap)
    if moving.any():
        gap[moving] = _yielding(
            *(
                value[moving]
                for value in (time, radius, gap_start, consistency, index, yield_stress, scale, gap)
            )
        )
    return gap


def _yielding(
    time: np.ndarray,
    radius: np.ndarray,
    gap_start: np.ndarray,
    consistency: np.ndarray,
    index: np.ndarray,
    yield_stress: np.ndarray,
    scale: np.ndarray,
    guess: np.ndarray,
) -> np.ndarray:
    """Gap after a time, by Newton's method for the logarithm y of the excess stress at the edge."""

    def pace(y: Number) -> tuple[Number, Number]:
        """Gap and −dt/dy there."""
        excess = np.exp(y)
        share = _flow_share(excess, index, yield_stress)
        gap = scale * (yield_stress + excess * (1.0 - share))
        bend = (
            1.0 / index
            + 1.0
            - 2.0 * excess / (yield_stress + excess)
            + excess / (excess + yield_stress * (2 * index + 1.0) / (index + 1.0))
        )
        speed = gap**2 / radius * slot_rate(excess, consistency, index, yield_stress)
        return gap, 3.0 * scale * share * bend * excess / speed

    def lapse(high: Number, low: Number) -> Number:
        """Time while y falls from high to low (negative where it rises)."""
        panels = max(1, int(np.ceil(np.max(np.abs(high - low) * (1.0 + 1.0 / index)) / 4.0)))
        total = np.zeros_like(high)
        for panel in range(panels):
            for node, weight in zip(_NODES, _WEIGHTS, strict=True):
                y = low + (high - low) * (panel + 0.5 + 0.5 * node) / panels
                total += 0.5 * weight * pace(y)[1] / panels
        return total * (high - low)

    start = np.log(edge_excess(gap_start / scale, index, yield_stress))
    limit = scale * yield_stress
    near = limit + (gap_start - limit) * np.clip(guess / gap_start, 1e-3, 1.0 - 1e-9)
    y = np.log(edge_excess(near / scale, index, yield_stress))
    spent = lapse(start, y)
    for _ in range(60):
        # the logarithm of the time is nearly straight in y once the gap has changed
        late = spent > 0.1 * time
        step = np.where(late, np.log(spent / time) * spent, spent - time) / pace(y)[1]
        new = np.minimum(y + np.clip(step, -3.0, 3.0), start)
        spent = spent + lapse(y, new)
        done = np.abs(new - y) <= 1e-13 * np.maximum(1.0, np.abs(new))
        y = new
        if np.all(done):
            break
    open_gap: np.ndarray = np.maximum(pace(y)[0], guess)  # a yield stress can only hold it open
    return open_gap


# ------------------------------------------------------------------------------------ heat of paste


@workbook_function(
    category="Flow",
    arguments=(
        number("yield_stress", "Pa", "yield stress of the paste", above=0),
        number("pressure", "bar", "pressure on the joint", above=0),
    ),
    returns=(out("gap", "mm", "bond line reached under the pressure"),),
    equation="h = 1.31·10⁻⁴ m·(τ₀/p)^0.166",
    source="R. S. Prasher et al., J. Heat Transfer 125 (2003) 1170–1177 (constants from memory)",
    rule="a scaling law fitted to filled thermal pastes; the bond line of one paste can be off by "
    "a third and more (common practice, no source): measure it",
    valid="particle-filled thermal pastes, some 0.1 to 10 bar; size of the particles not counted",
    examples=(
        example((100, 1), 0.04161705033, "1.31e-4·(100/1e5)^0.166 m, by logarithms"),
        example((100, 10), 0.04161705033 * 0.6823386941, "ten times the pressure: × 10^−0.166"),
    ),
    formula="0.131*(yield_stress/(pressure*100000))^0.166",
)
def paste_gap(yield_stress: Number, pressure: Number) -> Number:
    """Bond line that a filled thermal paste reaches under a pressure.

    >>> round(float(paste_gap(100.0, 1e5)) * 1e3, 6)
    0.041617
    """
    return 1.31e-4 * (yield_stress / pressure) ** 0.166


@workbook_function(
    category="Flow",
    arguments=(
        number("gap", "mm", "thickness of the bond line", above=0),
        number("conductivity", "W/(m·K)", "thermal conductivity of the paste", above=0),
        number("area", "mm²", "area of the joint", above=0),
        number("contact", "K·mm²/W", "contact resistance of both faces together", default=0.0, at_least=0),
    ),
    returns=(out("resistance", "K/W", "thermal resistance of the joint"),),
    equation="R = (h/k + R_c)/A",
    source="conduction through a layer, as measured by ASTM D5470",
    valid="heat straight through a layer that is full; voids and spreading are left out",
    no_answer="the resistance is beyond any number",
    examples=(
        example((0.04161705033, 3, 100), 0.1387235011, "41.617 µm / 3 W/(m·K) on 100 mm², by hand"),
        example((0.3, 3, 1000, 20), 0.12, "(0.0003/3 + 20e-6)/0.001, by hand"),
    ),
    formula="(gap/conductivity*1000 + IF(ISOMITTED(contact), 0, contact))/area",
)
def interface_resistance(gap: Number, conductivity: Number, area: Number, contact: Number = 0.0) -> Number:
    """Thermal resistance of a joint filled with paste.

    >>> round(float(interface_resistance(0.3e-3, 3.0, 1e-3, 20e-6)), 6)
    0.12
    """
    return (gap / conductivity + contact) / area


def maxwell_conductivity(matrix: Number, filler: Number, fraction: Number) -> Number:
    """Conductivity of a matrix with few separate round particles, by Maxwell; SI units.

    >>> round(float(maxwell_conductivity(0.2, 30.0, 0.3)), 6)
    0.449953
    """
    lift = fraction * (filler - matrix)
    return matrix * (filler + 2.0 * matrix + 2.0 * lift) / (filler + 2.0 * matrix - lift)


def bruggeman_conductivity(matrix: Number, filler: Number, fraction: Number) -> Number:
    """Conductivity of two phases on an equal footing, by Bruggeman (symmetric); SI units.

    The root of φ(k_p−k)/(k_p+2k) + (1−φ)(k_m−k)/(k_m+2k) = 0. It differs by several times from
    `bruggeman_differential_conductivity` at high filling: say which one a figure rests on.

    >>> round(float(bruggeman_conductivity(0.2, 30.0, 0.3)), 6)
    1.171286
    """
    half = (3.0 * fraction - 1.0) * filler + (2.0 - 3.0 * fraction) * matrix
    root = np.sqrt(half**2 + 8.0 * matrix * filler)
    small = 2.0 * matrix * filler / np.where(half < 0.0, root - half, 1.0)  # no cancellation
    return np.where(half < 0.0, small, (half + root) / 4.0)


def bruggeman_differential_conductivity(matrix: Number, filler: Number, fraction: Number) -> Number:
    """Conductivity of a matrix filled step by step, by Bruggeman (differential); SI units.

    The root of (k_p−k)/(k_p−k_m)·(k_m/k)^{1/3} = 1−φ, which is z³ + bz = k_p in z = k^{1/3}.

    >>> round(float(bruggeman_differential_conductivity(0.2, 30.0, 0.3)), 6)
    0.562093
    """
    b = (1.0 - fraction) * (filler - matrix) / np.cbrt(matrix)
    z = np.cbrt(np.maximum(matrix, filler))  # right of the root, from where Newton only descends
    for _ in range(100):
        step = (z**3 + b * z - filler) / (3.0 * z**2 + b)
        z = z - step
        if np.all(np.abs(step) <= 1e-16 * z):
            break
    return z**3


__all__ = [
    "FLAT_BEAD",
    "THIN_FILM",
    "LAMINAR_REYNOLDS",
    "MIXER_FACTOR",
    "MIXER_REYNOLDS",
    "WALLS",
    "bead_squeeze_time",
    "bruggeman_conductivity",
    "bruggeman_differential_conductivity",
    "critical_reynolds",
    "dwell_time",
    "interface_resistance",
    "maxwell_conductivity",
    "mixer_pressure",
    "needle_bore",
    "needle_bores",
    "nozzle_flow",
    "nozzle_pressure",
    "paste_gap",
    "squeeze_gap",
    "squeeze_limit",
    "squeeze_time",
    "reynolds_number",
    "strip_squeeze_limit",
    "strip_squeeze_time",
    "taper_pressure",
    "viscosity",
    "wall_shear_rate",
]
