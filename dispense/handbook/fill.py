"""Filling and standing: gaps that fill by themselves, bubbles, settling spheres, sag, hoses, ages.

What moves slowly by its own weight, by surface tension or by the stretch of a hose. All in SI units.
"""

from __future__ import annotations

import numpy as np

from ..base.fields import choice, number
from ..base.numbers import Floats, Number
from .declare import example, out, requires, validity, workbook_function

GRAVITY = 9.80665  # m/s², standard gravity (CGPM 1901)
HELD_SPHERE = 0.048  # yield stress over Δρgd that holds a sphere still
PACKED = 0.64  # share of the volume that spheres fill when they lie packed at random
CREEPING_REYNOLDS = 0.2  # of a sphere, up to which Stokes' law holds

_THIN_WALL = 0.1 * (1.0 + 1e-9)  # over the bore, up to which a wall is thin; a tenth itself is
_INERTIA = "it is over before the flow has grown (ρ·gap²/μ is longer): the true time is longer"

_VISCOSITY = number("viscosity", "Pa·s", "viscosity", above=0)
_DENSITY = number("density", "g/mL", "density", above=0)
_TENSION = number("surface_tension", "mN/m", "surface tension of the liquid", above=0)
_CONTACT = number("contact_angle", "deg", "contact angle on the faces", at_least=0, below=90)

SHAPES = ("slit", "tube")
_WASHBURN = "E. W. Washburn, Phys. Rev. 17 (1921) 273–283 (from memory)"


def front_time(
    distance: Number, permeability: Number, viscosity: Number, pressure: Number, weight: Number
) -> Number:
    """Time for a front to come a distance, driven by a pressure and helped by weight; SI units.

    t = (μ/k)·∫₀^z ζ/(p + wζ) dζ = (μ/k)·z²·(u − ln(1 + u))/(p·u²), u = wz/p; `weight` w is ρg along
    the way, negative against gravity. NaN where the front never comes that far.

    >>> round(float(front_time(0.01, 1e-9, 2.0, 0.0, 1e4)), 6)  # weight alone: μz/(kw)
    2000.0
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        lift = weight * distance / np.asarray(pressure, dtype=float)
        # u − ln(1 + u) over u², whose difference loses digits at small u
        series = 0.5 - lift * (1.0 / 3.0 - lift * (0.25 - lift * (0.2 - lift / 6.0)))
        share = np.where(np.abs(lift) < 1e-3, series, (lift - np.log1p(lift)) / lift**2)
        driven = viscosity / permeability * distance * (distance / np.asarray(pressure)) * share
        falling = viscosity / permeability * distance / np.asarray(weight)
        time = np.where((pressure > 0.0) & (lift > -1.0), driven, np.where(weight > 0.0, falling, np.nan))
    return np.where(np.asarray(pressure) >= 0.0, time, np.nan)[()]


_SIZE = number("size", "mm", "gap of a slit, inner diameter of a tube", above=0)


@workbook_function(
    category="Filling",
    arguments=(
        number("distance", "mm", "way of the front from the mouth", at_least=0),
        _SIZE,
        choice("shape", SHAPES, "slit between plates, or round tube"),
        _TENSION,
        _CONTACT,
        _VISCOSITY,
        number("density", "g/mL", "density; 0 leaves gravity out", default=0.0, at_least=0),
        number(
            "slope",
            "deg",
            "90 straight up, 0 level, −90 straight down",
            default=0.0,
            at_least=-90,
            at_most=90,
        ),
    ),
    returns=(out("time", "s", "time until the front is there"),),
    equation="level: slit z² = γb·cosθ·t/(3μ), tube z² = γR·cosθ·t/(2μ); else "
    "t = (μ/k)·∫dz·z/(p − ρg·sinφ·z), p = 2γcosθ/b, k = b²/12 (tube: 2γcosθ/R, R²/8)",
    source=_WASHBURN,
    valid="slow Newtonian flow from a full mouth, clean wetted walls, contact angle as at rest; nothing "
    "cures on the way",
    no_answer="the front never comes that high",
    validity=(
        validity(lambda time, size, viscosity, density: density * size**2 <= viscosity * time, _INERTIA),
    ),
    examples=(
        example((15, 0.08, "slit", 30, 25, 0.8), 248.2600318, "quadrature of the front's speed", 1e-9),
        example((15, 0.08, "tube", 30, 25, 0.8), 331.0133757, "the same", 1e-9),
        example((10, 0.08, "tube", 30, 25, 0.8, 1.15, 90), 155.7955997, "the same, upwards", 1e-9),
        example((10, 0.08, "slit", 30, 25, 0.8, 1.15, 90), 124.2948679, "the same", 1e-9),
    ),
    formula='LET(form,IF(shape="slit",12,32),drive,IF(shape="slit",2,4)*surface_tension'
    "*COS(RADIANS(contact_angle))/size,"
    "weight,IF(ISOMITTED(density),0,density)*SIN(RADIANS(IF(ISOMITTED(slope),0,slope))),"
    "lift,-9.80665*weight*distance/drive,"
    "form*viscosity*(distance/size)^2/drive*IF(lift<=-1,SQRT(-1),IF(ABS(lift)<0.05,"
    "1/2-lift*(1/3-lift*(1/4-lift*(1/5-lift*(1/6-lift*(1/7-lift*(1/8-lift*(1/9-lift*(1/10-lift/11)))))))),"
    "(lift-LN(1+lift))/lift^2)))",
)
def capillary_time(
    distance: Number,
    size: Number,
    shape: str,
    surface_tension: Number,
    contact_angle: Number,
    viscosity: Number,
    density: Number = 0.0,
    slope: Number = 0.0,
) -> Number:
    """Time that a liquid needs to creep into a narrow gap by itself.

    >>> round(float(capillary_time(0.015, 0.08e-3, "slit", 0.03, np.radians(25.0), 0.8)), 6)
    248.260032
    """
    permeability = size**2 / (12.0 if shape == "slit" else 32.0)
    pull = (2.0 if shape == "slit" else 4.0) * surface_tension * np.cos(contact_angle) / size
    return front_time(distance, permeability, viscosity, pull, -density * GRAVITY * np.sin(slope))


@workbook_function(
    category="Filling",
    arguments=(
        _SIZE,
        choice("shape", SHAPES, "slit between plates, or round tube"),
        _TENSION,
        _CONTACT,
        _DENSITY,
    ),
    returns=(out("height", "mm", "height at which the liquid stands still"),),
    equation="slit z = 2γcosθ/(ρgb), tube z = 4γcosθ/(ρgD)",
    source="J. Jurin 1718 (from memory): weight of the column against the pull at its rim",
    valid="narrow gaps, no evaporation; reached late, see CAPILLARY_TIME",
    no_answer="the height is beyond any number",
    validity=(
        validity(
            lambda size, surface_tension, density: density * GRAVITY * size**2 <= surface_tension,
            "gap above the capillary length √(γ/ρg): the face is no longer an arc, it stands lower",
        ),
    ),
    examples=(
        example((0.08, "tube", 30, 25, 1.15), 120.5447927, "weight against pull", 1e-9),
        example((0.08, "slit", 30, 25, 1.15), 60.27239637, "the same", 1e-9),
    ),
    formula='IF(shape="slit",2,4)*surface_tension*COS(RADIANS(contact_angle))/(density*9.80665*size)',
)
def capillary_height(
    size: Number, shape: str, surface_tension: Number, contact_angle: Number, density: Number
) -> Number:
    """Height to which a liquid climbs in a narrow gap.

    >>> round(float(capillary_height(0.08e-3, "slit", 0.03, np.radians(25.0), 1150.0)) * 1e3, 6)
    60.272396
    """
    pull = (2.0 if shape == "slit" else 4.0) * surface_tension * np.cos(contact_angle) / size
    return pull / (density * GRAVITY)


# -------------------------------------------------------------------------------- between the cells

LAYOUTS = ("hexagonal", "square")
WAYS = ("down", "up")
_TERMS = 12
_SPOTS, _PARTS = (0.5 * row for row in np.polynomial.legendre.leggauss(24))
_SPOTS = _SPOTS + 0.5  # on 0 … 1
_SPARROW = (
    "E. M. Sparrow, A. L. Loeffler, AIChE J. 5 (1959) 325–330 (from memory): flow along rods as a series "
    "that holds on the rod, fitted on the line between two rods"
)


def _corner(layout: str) -> tuple[float, int]:
    """Half the angle from one neighbour to the next, and how often the pattern repeats round a cell."""
    return (np.pi / 6.0, 6) if layout == "hexagonal" else (np.pi / 4.0, 4)


def _along_cells(pitch: Floats, layout: str) -> Floats:
    """Permeability along cells of diameter 2 on a pitch, over their free area."""
    wedge, fold = _corner(layout)
    powers = fold * np.arange(1, _TERMS + 1)
    half = np.asarray(pitch, dtype=float)[..., None] / 2.0
    area = half**2 * np.tan(wedge) / 2.0  # of a wedge from a cell's axis to the line between
    free = area - wedge / 2.0
    spread = area / wedge  # w = spread·ln r − (r² − 1)/4 + Σ b·(r^m − r^−m)·cos mθ
    angle = wedge * _SPOTS
    edge = half / np.cos(angle)
    far = edge[..., None] / half[..., None]  # powers are counted from the line, so that they stay small
    grow, fade = far**powers, (1.0 / (edge * half))[..., None] ** powers
    turn = angle[:, None] * powers
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    # ∂w/∂x on the line x = half, times r/m and by least squares zero
    slopes = (grow + fade) * np.cos(turn) * cos + (grow - fade) * np.sin(turn) * sin
    known = -(spread / edge - edge / 2.0) * np.cos(angle) * edge
    weight = np.sqrt(_PARTS)[:, None]
    table = slopes * powers * weight
    right = (known * np.sqrt(_PARTS))[..., None]
    first, rest = np.linalg.qr(table)
    found = np.linalg.solve(rest, np.swapaxes(first, -1, -2) @ right)[..., 0]
    # ∫ w·r dr from the cell to the line, over the wedge
    squared = edge**2
    plain = spread * (squared / 2.0 * np.log(edge) - (squared - 1.0) / 4.0)
    plain = plain - (squared**2 - 1.0) / 16.0 + (squared - 1.0) / 8.0
    scale = half[..., None] ** -powers
    rising = (grow * squared[..., None] - scale) / (powers + 2.0)
    falling = (fade * squared[..., None] - scale) / (2.0 - powers)
    waves = ((rising - falling) * np.cos(turn)) @ found[..., None]
    mean: Floats = (wedge * ((plain + waves[..., 0]) @ _PARTS)[..., None] / free)[..., 0]
    return mean


_DIAMETER = number("diameter", "mm", "diameter of the cells", above=0)
_CELL_PITCH = number("pitch", "mm", "distance of the cells' axes", above=0)
_APART = requires(lambda diameter, pitch: pitch >= diameter, "pitch", "diameter or more")


@workbook_function(
    category="Filling",
    arguments=(_DIAMETER, _CELL_PITCH, choice("layout", LAYOUTS, "how the cells stand", default="hexagonal")),
    returns=(out("permeability", "mm²", "k in v = (k/μ)·dp/dz, v the mean speed between the cells"),),
    equation="∇²w = −1 between the cells, w = 0 on them; k = mean of w over the free area",
    source=_SPARROW,
    valid="slow flow along the cells' axes in a regular field, far from walls; cells may touch",
    requires=(_APART,),
    no_answer="there is no room between the cells",
    examples=(
        example((18.4, 20, "square"), 3.122956, "finite elements of the gap, carried to fine meshes", 5e-5),
        example((18.4, 20), 0.8009586, "the same", 5e-5),
    ),
)
def cell_permeability(diameter: Number, pitch: Number, layout: str = "hexagonal") -> Number:
    """How easily compound flows along the gaps between round cells.

    >>> round(float(cell_permeability(18.4e-3, 20e-3, "square")) * 1e6, 3)
    3.123
    """
    return _along_cells(2.0 * np.asarray(pitch) / diameter, layout)[()] * (diameter / 2.0) ** 2


@workbook_function(
    category="Filling",
    arguments=(
        number("depth", "mm", "way of the front along the cells", at_least=0),
        _DIAMETER,
        _CELL_PITCH,
        _VISCOSITY,
        _DENSITY,
        choice("layout", LAYOUTS, "how the cells stand", default="hexagonal"),
        choice("way", WAYS, "down from the top, or up from the bottom", default="down"),
        number("head", "mm", "height of the pool over the mouth of the gaps, kept", default=0.0, at_least=0),
        number("surface_tension", "mN/m", "surface tension; 0 leaves it out", default=0.0, at_least=0),
        number("contact_angle", "deg", "contact angle on the cells", default=0.0, at_least=0, below=90),
    ),
    returns=(out("time", "s", "time until the front is there"),),
    equation="t = (μ/k)·∫dz·z/(p ± ρgz), p = ρgH + γcosθ·πd/(free area of one cell), k of CELL_PERMEABILITY",
    source=_SPARROW + "; " + _WASHBURN,
    valid="slow Newtonian compound, all gaps of the field fed alike, air escapes ahead of the front; cold "
    "cells chill the front and cure slows it, which is left out",
    requires=(_APART,),
    no_answer="the head does not lift it that high, or nothing drives it",
    validity=(
        validity(
            lambda time, pitch, diameter, viscosity, density: (
                density * (pitch - diameter) ** 2 <= viscosity * time
            ),
            _INERTIA,
        ),
    ),
    examples=(
        example(
            (65, 18.4, 20, 2, 1.2, "square"),
            3.5373299,
            "its own weight alone: μz/(kρg), k by finite elements",
            5e-5,
        ),
        example(
            (65, 18.4, 20, 2, 1.2, "square", "down", 20),
            1.96248997,
            "the front's speed summed in 100,000 steps, k by finite elements",
            5e-5,
        ),
        example((65, 18.4, 20, 2, 1.2, "square", "up", 100), 2.17585039, "the same, upwards", 5e-5),
    ),
)
def cell_fill_time(
    depth: Number,
    diameter: Number,
    pitch: Number,
    viscosity: Number,
    density: Number,
    layout: str = "hexagonal",
    way: str = "down",
    head: Number = 0.0,
    surface_tension: Number = 0.0,
    contact_angle: Number = 0.0,
) -> Number:
    """Time that compound needs to run along the gaps between round cells.

    >>> round(float(cell_fill_time(65e-3, 18.4e-3, 20e-3, 2.0, 1200.0, "square")), 3)
    3.537
    """
    wedge, _ = _corner(layout)
    free = np.pi / wedge * (pitch / 2.0) ** 2 * np.tan(wedge) - np.pi * diameter**2 / 4.0
    pull = surface_tension * np.cos(contact_angle) * np.pi * diameter / free
    weight = density * GRAVITY
    permeability = cell_permeability(diameter, pitch, layout)
    sign = 1.0 if way == "down" else -1.0
    return front_time(depth, permeability, viscosity, weight * head + pull, sign * weight)


# -------------------------------------------------------------------------------- bubbles and voids


_VOID = "Boyle's law with the pressure of a curved face, P. S. Laplace 1805 (from memory)"
_BUBBLE = number("diameter", "mm", "diameter of the bubble", above=0)
FACES = ("free", "rigid")


@workbook_function(
    category="Filling",
    arguments=(
        number("diameter", "mm", "diameter of the void at the first pressure", above=0),
        number("pressure_before", "bar", "first pressure, absolute", above=0),
        number("pressure_after", "bar", "second pressure, absolute", above=0),
        number("surface_tension", "mN/m", "surface tension; 0 leaves it out", default=0.0, at_least=0),
    ),
    returns=(
        out("diameter", "mm", "diameter at the second pressure"),
        out("ratio", "", "its volume over that at the first"),
    ),
    equation="(p₁ + 4γ/d₁)d₁³ = (p₂ + 4γ/d₂)d₂³; V₂/V₁ = p₁/p₂ without surface tension",
    source=_VOID,
    valid="round void of a gas that stays, constant temperature, liquid that gives way; nothing dissolves, "
    "boils or comes out of solution (a vacuum near the vapour pressure makes more)",
    no_answer="the diameter is beyond any number",
    examples=(
        example((0.6, 1.01325, 0.01), (2.797199581, 101.325), "0.6·101.325^(1/3), by hand", 1e-9),
        example((0.6, 1.01325, 0.01, 30), (2.759604966, 97.29421135), "root of the cubic", 1e-6),
    ),
    # Newton's steps, which only descend
    formula="LET(curve,IF(ISOMITTED(surface_tension),0,surface_tension)*4/(100000*diameter*pressure_after),"
    "gas,pressure_before/pressure_after+curve,"
    "growth,REDUCE(gas^(1/3),SEQUENCE(60),"
    "LAMBDA(g,turn,g-(g^3+curve*g^2-gas)/(3*g^2+2*curve*g))),"
    "CHOOSE({1,2},growth*diameter,growth^3))",
)
def void_growth(
    diameter: Number, pressure_before: Number, pressure_after: Number, surface_tension: Number = 0.0
) -> tuple[Number, Number]:
    """Size of a gas void when the pressure changes, as under a vacuum.

    >>> [round(float(value), 6) for value in void_growth(0.6e-3, 101325.0, 1000.0)]
    [0.002797, 101.325]
    """
    # g³ + 3cg² = k in the growth g = d₂/d₁: from the right Newton's steps only descend
    curve = 4.0 * surface_tension / (diameter * pressure_after)
    gas = pressure_before / pressure_after + curve
    growth = np.cbrt(gas)
    for _ in range(60):
        step = (growth**3 + curve * growth**2 - gas) / (3.0 * growth**2 + 2.0 * curve * growth)
        growth = growth - step
        if np.all(np.abs(step) <= 1e-15 * growth):
            break
    return growth * diameter, growth**3


@workbook_function(
    category="Filling",
    arguments=(
        _BUBBLE,
        _DENSITY,
        _VISCOSITY,
        choice("face", FACES, "free: the gas slips along; rigid: filmed over, as a solid", default="free"),
        number("yield_stress", "Pa", "yield stress of the compound", default=0.0, at_least=0),
    ),
    returns=(out("speed", "mm/s", "speed at which it rises; 0 where the yield stress holds it"),),
    equation="free v = ρgd²/(12μ), rigid v = ρgd²/(18μ); 0 where τ₀ ≥ 0.048·ρgd",
    source="J. S. Hadamard 1911, W. Rybczynski 1911; G. G. Stokes 1851; held: A. N. Beris et al., J. Fluid "
    "Mech. 158 (1985) 219 (all from memory)",
    rule="the yield stress that holds it is that of a solid sphere; a bubble that can stretch needs more",
    valid="slow rise (ρvd/μ under 1) far from walls and other bubbles; compounds with a skin or with "
    "surfactants count as rigid",
    no_answer="the speed is beyond any number",
    validity=(
        validity(
            lambda speed, diameter, density, viscosity: density * speed * diameter <= viscosity,
            "Reynolds number ρvd/μ of the bubble above 1: it rises more slowly than this",
        ),
    ),
    examples=(
        example((1.5, 1.15, 4, "rigid"), 0.3524264844, "drag 3πμdv", 1e-9),
        example((1.5, 1.15, 4), 0.5286397266, "drag 2πμdv", 1e-9),
        example((1.5, 1.15, 4, "free", 1), 0.0, "1 Pa against 0.048·16.9 Pa"),
    ),
    formula="IF(IF(ISOMITTED(yield_stress),0,yield_stress)>=0.048*density*9.80665*diameter,0,"
    'density*9.80665*diameter^2/(IF(IF(ISOMITTED(face),"free",face)="free",12,18)*viscosity))',
)
def bubble_speed(
    diameter: Number, density: Number, viscosity: Number, face: str = "free", yield_stress: Number = 0.0
) -> Number:
    """Speed at which an air bubble rises in a compound that stands.

    >>> round(float(bubble_speed(1.5e-3, 1150.0, 4.0)) * 1e3, 6)
    0.52864
    """
    lift = density * GRAVITY * diameter
    speed = lift * diameter / ((12.0 if face == "free" else 18.0) * viscosity)
    return np.where(yield_stress >= HELD_SPHERE * lift, 0.0, speed)[()]


@workbook_function(
    category="Filling",
    arguments=(
        number("depth", "mm", "depth of the pour", at_least=0),
        number("time", "min", "time it stays thin, such as the pot life", above=0),
        _DENSITY,
        _VISCOSITY,
        choice("face", FACES, "free: the gas slips along; rigid: filmed over, as a solid", default="free"),
    ),
    returns=(out("diameter", "mm", "smallest bubble that comes up from the bottom in the time"),),
    equation="free d = √(12μz/(ρgt)), rigid d = √(18μz/(ρgt))",
    source="BUBBLE_SPEED turned round",
    rule="the viscosity is taken as constant; as it grows, only larger bubbles come up",
    valid="as BUBBLE_SPEED; no yield stress",
    no_answer="the diameter is beyond any number",
    validity=(
        validity(
            lambda depth, time, diameter, density, viscosity: density * depth * diameter <= viscosity * time,
            "Reynolds number ρvd/μ of the bubble above 1: only larger ones come up in the time",
        ),
    ),
    examples=(
        example((30, 85.12413604 / 60, 1.15, 4, "rigid"), 1.5, "time of a rise of 30 mm, drag 3πμdv", 1e-9),
        example((30, 56.74942403 / 60, 1.15, 4), 1.5, "the same, drag 2πμdv", 1e-9),
    ),
    formula='SQRT(IF(IF(ISOMITTED(face),"free",face)="free",12,18)*viscosity*depth'
    "/(density*9.80665*time*60))",
)
def bubble_size(
    depth: Number, time: Number, density: Number, viscosity: Number, face: str = "free"
) -> Number:
    """Smallest air bubble that leaves a pour within a time.

    >>> round(float(bubble_size(0.03, 56.74942403, 1150.0, 4.0)) * 1e3, 6)
    1.5
    """
    return np.sqrt((12.0 if face == "free" else 18.0) * viscosity * depth / (density * GRAVITY * time))


# --------------------------------------------------------------------- spheres that settle or rise

_SPHERE_DENSITY = number("particle_density", "g/mL", "density of the spheres", above=0)
_LIQUID_DENSITY = number("liquid_density", "g/mL", "density of the liquid between them", above=0)
_RICHARDSON = "J. F. Richardson, W. N. Zaki, Trans. Inst. Chem. Eng. 32 (1954) 35–53 (from memory)"


@workbook_function(
    category="Filling",
    arguments=(number("reynolds", "", "Reynolds number of a single sphere, ρvd/μ", at_least=0),),
    returns=(out("exponent", "", "n in v = v₀(1 − φ)ⁿ"),),
    equation="4.65 to Re 0.2; 4.4·Re^−0.03 to 1; 4.4·Re^−0.1 to 500; 2.4 above",
    source=_RICHARDSON,
    valid="equal spheres far from the wall; the pieces do not quite join at 0.2 and 500",
    examples=(
        example((0.1,), 4.65, "as published"),
        example((0.5,), 4.492453353, "4.4·0.5^−0.03, by logarithms"),
        example((20,), 3.260991576, "4.4·20^−0.1, by logarithms"),
        example((800,), 2.4, "as published"),
    ),
    formula="IF(reynolds<0.2,4.65,IF(reynolds<1,4.4*reynolds^-0.03,IF(reynolds<=500,4.4*reynolds^-0.1,2.4)))",
)
def settling_exponent(reynolds: Number) -> Number:
    """How strongly crowding slows settling spheres.

    >>> float(settling_exponent(0.1))
    4.65
    """
    some = np.maximum(reynolds, CREEPING_REYNOLDS)
    small = np.where(reynolds < CREEPING_REYNOLDS, 4.65, np.where(reynolds < 1.0, 4.4 * some**-0.03, 2.4))
    return np.where((reynolds >= 1.0) & (reynolds <= 500.0), 4.4 * some**-0.1, small)


@workbook_function(
    category="Filling",
    arguments=(
        number("diameter", "mm", "diameter of the spheres", above=0),
        _SPHERE_DENSITY,
        _LIQUID_DENSITY,
        number("viscosity", "Pa·s", "viscosity of the liquid between them, at rest", above=0),
        number("fraction", "", "share of the volume that is spheres", default=0.0, at_least=0, below=1),
        number("yield_stress", "Pa", "yield stress of the liquid", default=0.0, at_least=0),
    ),
    returns=(out("speed", "mm/s", "speed downwards; negative where they rise, 0 where they are held"),),
    equation="v = (ρ_s − ρ)gd²/(18μ)·(1 − φ)ⁿ, n of SETTLING_EXPONENT; 0 where τ₀ ≥ 0.048·|ρ_s − ρ|gd",
    source="G. G. Stokes 1851; " + _RICHARDSON + "; held: A. N. Beris et al., J. Fluid Mech. 158 (1985) 219 "
    "(from memory)",
    valid="equal single spheres, ρvd/μ under 0.2 (above it Stokes' law is too fast); clusters move faster, "
    "a thixotropic liquid at rest holds more than its data sheet says",
    no_answer="the speed is beyond any number",
    validity=(
        validity(
            lambda speed, diameter, liquid_density, viscosity: (
                liquid_density * np.abs(speed) * diameter <= CREEPING_REYNOLDS * viscosity
            ),
            f"Reynolds number ρvd/μ of the spheres above {CREEPING_REYNOLDS}: they are slower than this",
        ),
    ),
    examples=(
        example((0.055, 0.25, 1.12, 3.5), -0.0004096611292, "drag balance", 1e-9),
        example((0.055, 0.25, 1.12, 3.5, 0.25), -0.0001075126663, "times 0.75^4.65", 1e-9),
    ),
    formula="LET(heavy,particle_density-liquid_density,share,IF(ISOMITTED(fraction),0,fraction),"
    "single,heavy*9.80665*diameter^2/(18*viscosity),"
    "reynolds,liquid_density*ABS(single)*diameter/viscosity/1000,"
    "IF(IF(ISOMITTED(yield_stress),0,yield_stress)>=0.048*ABS(heavy)*9.80665*diameter,0,"
    "single*(1-share)^IF(reynolds<0.2,4.65,IF(reynolds<1,4.4*reynolds^-0.03,"
    "IF(reynolds<=500,4.4*reynolds^-0.1,2.4)))))",
)
def settling_speed(
    diameter: Number,
    particle_density: Number,
    liquid_density: Number,
    viscosity: Number,
    fraction: Number = 0.0,
    yield_stress: Number = 0.0,
) -> Number:
    """Speed at which filler spheres settle, or rise, in a compound that stands.

    >>> round(float(settling_speed(55e-6, 250.0, 1120.0, 3.5, 0.25)) * 1e9, 6)
    -107.512666
    """
    excess = (particle_density - liquid_density) * GRAVITY * diameter
    single = excess * diameter / (18.0 * viscosity)
    reynolds = liquid_density * np.abs(single) * diameter / viscosity
    crowded = single * (1.0 - fraction) ** settling_exponent(reynolds)
    return np.where(yield_stress >= HELD_SPHERE * np.abs(excess), 0.0, crowded)[()]


_HEIGHT = number("height", "mm", "height of the compound that stands", above=0)
_SPEED = number("speed", "mm/s", "speed of the spheres, either way (SETTLING_SPEED)")
_FRACTION = number("fraction", "", "share of the volume that is spheres", above=0, below=PACKED)
_LAYERS = (
    "a clear layer grows where the spheres leave and a packed one (0.64 of the volume) where they come; in "
    "between nothing changes (G. J. Kynch, Trans. Faraday Soc. 48 (1952) 166, from memory)"
)


@workbook_function(
    category="Filling",
    arguments=(
        number("time", "h", "how long it stands", at_least=0),
        _HEIGHT,
        _SPEED,
        _FRACTION,
        _SPHERE_DENSITY,
        _LIQUID_DENSITY,
    ),
    returns=(
        out("bottom", "g/mL", "mean density of the lower half"),
        out("top", "g/mL", "mean density of the upper half"),
        out("clear", "mm", "thickness of the layer without spheres"),
    ),
    equation="clear c = |v|t up to h(1 − φ/0.64), packed c·φ/(0.64 − φ); each half the mean of its layers",
    source="volume balance; " + _LAYERS,
    valid="upright container or hose of even cross-section, equal spheres; spread sizes blur the layers",
    no_answer="the density is beyond any number",
    examples=(
        example(
            (8, 200, -0.0001075126663, 0.25, 0.25, 1.12),
            (0.9092345934, 0.8957654066, 3.09636479),
            "2·3.096/200 of the spheres leave the lower half, by hand",
            1e-8,
        ),
    ),
    formula=f"LET(gone,ABS(speed)*time*3600,most,height*(1-fraction/{PACKED}),clear,IF(gone<most,gone,most),"
    f"packed,clear*fraction/({PACKED}-fraction),half,height/2,"
    "upper,IF(height-packed<half,height-packed,half),"
    f"between,fraction*IF(upper>clear,upper-clear,0),leaving,(between+{PACKED}*IF(packed>half,packed-half,0))/half,"
    "lower,IF(speed>0,2*fraction-leaving,leaving),excess,particle_density-liquid_density,"
    "CHOOSE({1,2,3},liquid_density+excess*lower,liquid_density+excess*(2*fraction-lower),clear))",
)
def standing_density(
    time: Number,
    height: Number,
    speed: Number,
    fraction: Number,
    particle_density: Number,
    liquid_density: Number,
) -> tuple[Number, Number, Number]:
    """Density of the lower and the upper half of a compound that has stood.

    >>> low, high, clear = standing_density(28800.0, 0.2, -1.075126663e-7, 0.25, 250.0, 1120.0)
    >>> round(float(low), 4), round(float(high), 4)
    (909.2346, 895.7654)
    """
    clear = np.minimum(np.abs(speed) * time, height * (1.0 - fraction / PACKED))
    packed = clear * fraction / (PACKED - fraction)
    half = height / 2.0
    between = fraction * np.maximum(0.0, np.minimum(half, height - packed) - clear)
    left = (between + PACKED * np.maximum(0.0, packed - half)) / half  # where the spheres leave
    gained = 2.0 * fraction - left
    lower = np.where(speed > 0.0, gained, left)
    excess = particle_density - liquid_density
    return liquid_density + excess * lower, liquid_density + excess * (2.0 * fraction - lower), clear


@workbook_function(
    category="Filling",
    arguments=(
        _HEIGHT,
        _SPEED,
        _FRACTION,
        _SPHERE_DENSITY,
        _LIQUID_DENSITY,
        number("tolerance", "", "difference of the halves over the mean density", above=0, below=1),
    ),
    returns=(out("time", "h", "time after which it must be stirred"),),
    equation="t = tolerance·ρ̄·h/(4φ|ρ_s − ρ||v|), ρ̄ = ρ + φ(ρ_s − ρ)",
    source="STANDING_DENSITY turned round",
    valid="as STANDING_DENSITY",
    no_answer="the difference never gets that large, or nothing moves",
    examples=(
        example(
            (200, -0.0001075126663, 0.25, 0.25, 1.12, 0.0134691868 / 0.9025),
            8.0,
            "the densities after 8 h, by hand",
            1e-6,
        ),
    ),
    formula="LET(excess,particle_density-liquid_density,mean,liquid_density+fraction*excess,"
    "clear,tolerance*mean*height/(4*fraction*ABS(excess)),"
    "IF(clear<=height/2*IF(0.64<2*fraction,(0.64-fraction)/fraction,1),clear/ABS(speed)/3600,SQRT(-1)))",
)
def stir_time(
    height: Number,
    speed: Number,
    fraction: Number,
    particle_density: Number,
    liquid_density: Number,
    tolerance: Number,
) -> Number:
    """Time after which a standing filled compound must be stirred.

    >>> round(float(stir_time(0.2, -1.075126663e-7, 0.25, 250.0, 1120.0, 0.01)) / 3600.0, 3)
    5.36
    """
    excess = particle_density - liquid_density
    mean = liquid_density + fraction * excess
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        clear = tolerance * mean * height / (4.0 * fraction * np.abs(excess))
        most = height / 2.0 * np.minimum(1.0, (PACKED - fraction) / fraction)
        time = clear / np.abs(speed)
    return np.where((clear <= most) & np.isfinite(time), time, np.nan)[()]


# ------------------------------------------------------------------------------------------- walls

_SLOPE = number("slope", "deg", "slope of the face: 90 a wall, 0 lying", default=90.0, above=0, at_most=90)
_SAG = "balance of weight and shear stress at the face"


@workbook_function(
    category="Filling",
    arguments=(number("yield_stress", "Pa", "yield stress at rest", at_least=0), _DENSITY, _SLOPE),
    returns=(out("height", "mm", "largest thickness that stays"),),
    equation="h = τ₀/(ρg·sin φ)",
    source=_SAG,
    valid="a wide even layer; a narrow bead holds a little more (its mean height counts), a warm face less; "
    "the yield stress just after dispensing, before a thixotropic paste has set again, is lower",
    no_answer="the height is beyond any number",
    examples=(example((120, 1.35), 9.064144115, "120/(1350·9.80665), by hand", 1e-9),),
    formula="yield_stress/(density*9.80665*SIN(RADIANS(IF(ISOMITTED(slope),90,slope))))",
)
def sag_height(yield_stress: Number, density: Number, slope: Number = np.pi / 2.0) -> Number:
    """Thickness that a paste holds on a wall without sagging.

    >>> round(float(sag_height(120.0, 1350.0)) * 1e3, 6)
    9.064144
    """
    return yield_stress / (density * GRAVITY * np.sin(slope))


@workbook_function(
    category="Filling",
    arguments=(number("height", "mm", "thickness on the face", at_least=0), _DENSITY, _SLOPE),
    returns=(out("yield_stress", "Pa", "yield stress that holds it"),),
    equation="τ₀ = ρgh·sin φ",
    source=_SAG,
    valid="as SAG_HEIGHT",
    no_answer="the stress is beyond any number",
    examples=(example((12, 1.35), 158.86773, "1350·9.80665·0.012, by hand", 1e-9),),
    formula="density*9.80665*height*SIN(RADIANS(IF(ISOMITTED(slope),90,slope)))",
)
def sag_stress(height: Number, density: Number, slope: Number = np.pi / 2.0) -> Number:
    """Yield stress that holds a thickness on a wall.

    >>> round(float(sag_stress(0.012, 1350.0)), 5)
    158.86773
    """
    return density * GRAVITY * height * np.sin(slope)


@workbook_function(
    category="Filling",
    arguments=(
        number("height", "mm", "thickness on the face", at_least=0),
        _DENSITY,
        number("consistency", "Pa·sⁿ", "stress at a shear rate of 1/s; viscosity where n = 1", above=0),
        number("index", "", "flow index n", default=1.0, above=0),
        number("yield_stress", "Pa", "yield stress", default=0.0, at_least=0),
        _SLOPE,
    ),
    returns=(out("speed", "mm/s", "speed of the free face downwards; 0 where it holds"),),
    equation="v = n/(n + 1)·(ρg·sin φ/m)^{1/n}·(h − τ₀/(ρg·sin φ))^{(n+1)/n}; n = 1, τ₀ = 0: ρgh²/(2μ)",
    source="film down a slope, W. Nusselt 1916 (from memory), integrated for Herschel–Bulkley",
    valid="a wide even layer that is slow and thin against its length",
    no_answer="the speed is beyond any number",
    examples=(
        example((3, 1.2, 500), 0.1059118200, "ρgh²/(2μ), by hand", 1e-9),
        example((12, 1.35, 200, 0.5, 120), 0.03695999, "the sheared 2.94 mm summed in 200,000 steps", 1e-6),
    ),
    formula="LET(power,IF(ISOMITTED(index),1,index),"
    "weight,density*9806.65*SIN(RADIANS(IF(ISOMITTED(slope),90,slope))),"
    "over,height-IF(ISOMITTED(yield_stress),0,yield_stress)/weight*1000,"
    "IF(over>0,power/(power+1)*(weight*over/1000/consistency)^(1/power)*over,0))",
)
def sag_speed(
    height: Number,
    density: Number,
    consistency: Number,
    index: Number = 1.0,
    yield_stress: Number = 0.0,
    slope: Number = np.pi / 2.0,
) -> Number:
    """Speed at which the face of a layer runs down a wall.

    >>> round(float(sag_speed(3e-3, 1200.0, 500.0)) * 1e3, 6)
    0.105912
    """
    weight = density * GRAVITY * np.sin(slope)
    over = np.maximum(height - yield_stress / weight, 0.0)
    return index / (index + 1.0) * (weight * over / consistency) ** (1.0 / index) * over


# ------------------------------------------------------------------------------------------- hoses

_BORE = number("bore", "mm", "inner diameter", above=0)
_COMPLIANCE = number("compliance", "mL/bar", "volume that hose and meter give for each pressure", at_least=0)
_TIP_LENGTH = number("length", "mm", "length of the bore that throttles, such as the nozzle", above=0)
_LAG = "volume balance of an elastic vessel before a laminar throttle (Hagen–Poiseuille)"
_LAG_VALID = (
    "one elastic volume before one throttle, Newtonian, constant flow of the meter; a mixer adds its own "
    "resistance: take the length of bore that needs the same pressure"
)


@workbook_function(
    category="Filling",
    arguments=(
        _BORE,
        number("length", "mm", "length of the hose", above=0),
        number("wall", "mm", "thickness of its wall", above=0),
        number("modulus", "bar", "modulus of elasticity of the wall", above=0),
        number("bulk_modulus", "bar", "of the compound; blank: it does not give", default=None, above=0),
    ),
    returns=(out("compliance", "mL/bar", "volume that the hose gives for each pressure"),),
    equation="C = V·(D/(E·s) + 1/K), V = πD²L/4",
    source="thin cylinder under pressure: hoop strain pD/(2Es), twice in the area",
    rule="a braided hose is stiffer along the braid and softer at first: measure it where it counts",
    valid="thin wall (under a tenth of the bore) of one material, small strain; trapped air gives far more",
    no_answer="the compliance is beyond any number",
    validity=(
        validity(
            lambda wall, bore: wall <= _THIN_WALL * bore,
            "wall thicker than a tenth of the bore: it gives more than this",
        ),
    ),
    examples=(
        example((10, 3000, 1, 20000), 0.1178097245, "235.6 mL·(10/(20000·1)), by hand", 1e-9),
        example((10, 3000, 1, 20000, 15000), 0.1335176878, "and 235.6/15000, by hand", 1e-9),
    ),
    formula="PI()*bore^2*length/4000*(bore/(modulus*wall)+IF(ISOMITTED(bulk_modulus),0,1/bulk_modulus))",
)
def hose_compliance(
    bore: Number, length: Number, wall: Number, modulus: Number, bulk_modulus: Number | None = None
) -> Number:
    """Volume that a hose gives for each pressure.

    >>> round(float(hose_compliance(0.01, 3.0, 1e-3, 2e9)) * 1e11, 6)
    0.11781
    """
    squeezed = 0.0 if bulk_modulus is None else 1.0 / bulk_modulus
    return np.pi / 4.0 * bore**2 * length * (bore / (modulus * wall) + squeezed)


def hose_lag(compliance: Number, bore: Number, length: Number, viscosity: Number) -> Number:
    """Time constant of a flow behind a hose, SI units: τ = 128μL/(πD⁴)·C.

    >>> round(float(hose_lag(35e-14, 1.1e-3, 0.03, 12.0)), 6)
    3.506387
    """
    return 128.0 * viscosity * length / (np.pi * bore**4) * compliance


@workbook_function(
    category="Filling",
    arguments=(
        number("time", "s", "time since the meter started", at_least=0),
        number("flow", "mL/s", "flow of the meter", at_least=0),
        _COMPLIANCE,
        _BORE,
        _TIP_LENGTH,
        _VISCOSITY,
    ),
    returns=(out("flow", "mL/s", "flow that leaves the nozzle"),),
    equation="q = Q·(1 − e^{−t/τ}), τ = C·128μL/(πD⁴)",
    source=_LAG,
    valid=_LAG_VALID,
    no_answer="the flow is beyond any number",
    examples=(
        example((1.5, 0.025, 0.035, 1.1, 30, 12), 0.00870130397, "the balance integrated", 1e-8),
        example((1.5, 0.025, 0, 1.1, 30, 12), 0.025, "a stiff hose: at once"),
    ),
    formula="IF(compliance=0,flow,LET(late,time*PI()*bore^4/(1.28*viscosity*length*compliance),"
    "flow*IF(late<0.001,late*(1-late/2*(1-late/3*(1-late/4))),1-EXP(-late))))",
)
def hose_start(
    time: Number, flow: Number, compliance: Number, bore: Number, length: Number, viscosity: Number
) -> Number:
    """Flow from a nozzle after the meter started, behind a hose that stretches.

    >>> round(float(hose_start(1.5, 25e-9, 35e-14, 1.1e-3, 0.03, 12.0)) * 1e9, 6)
    8.701304
    """
    lag = hose_lag(compliance, bore, length, viscosity)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return flow * np.where(lag > 0.0, -np.expm1(-time / np.where(lag > 0.0, lag, 1.0)), 1.0)[()]


@workbook_function(
    category="Filling",
    arguments=(
        _COMPLIANCE,
        _BORE,
        _TIP_LENGTH,
        _VISCOSITY,
        number("share", "", "share of the flow to wait for", default=0.95, at_least=0, below=1),
    ),
    returns=(out("time", "s", "time until the nozzle gives that share of the meter's flow"),),
    equation="t = −τ·ln(1 − share), τ = C·128μL/(πD⁴)",
    source=_LAG,
    valid=_LAG_VALID,
    no_answer="the time is beyond any number",
    examples=(
        example((0.035, 1.1, 30, 12, 0.95), 10.504198, "the balance integrated", 1e-7),
        example((0.035, 1.1, 30, 12, 0.632120558829), 3.506387436, "1 − 1/e: τ itself", 1e-8),
    ),
    formula="-LN(1-IF(ISOMITTED(share),0.95,share))*1.28*viscosity*length*compliance/(PI()*bore^4)",
)
def hose_start_time(
    compliance: Number, bore: Number, length: Number, viscosity: Number, share: Number = 0.95
) -> Number:
    """Time until a nozzle behind a stretching hose gives a share of its flow.

    >>> round(float(hose_start_time(35e-14, 1.1e-3, 0.03, 12.0)), 4)
    10.5042
    """
    lags: Floats = -np.log1p(-np.asarray(share, dtype=float))
    return lags * hose_lag(compliance, bore, length, viscosity)


@workbook_function(
    category="Filling",
    arguments=(_COMPLIANCE, number("pressure", "bar", "pressure before the nozzle", at_least=0)),
    returns=(out("volume", "mL", "what still runs out after the meter stopped"),),
    equation="V = C·p",
    source="volume balance of an elastic vessel",
    valid="the hose relaxes wholly and no valve closes at the tip; a paste keeps part of it by its yield "
    "stress",
    no_answer="the volume is beyond any number",
    examples=(example((0.035, 2.504562454), 0.08765968589, "35 mm³/bar·2.5046 bar, by hand", 1e-9),),
    formula="compliance*pressure",
)
def drip_volume(compliance: Number, pressure: Number) -> Number:
    """Volume that drips from a nozzle after the meter stopped.

    >>> round(drip_volume(35e-14, 2.504562454e5) * 1e9, 5)
    87.65969
    """
    return compliance * pressure


# ------------------------------------------------------------------------------ ages in a tube

_TUBE_AGES = (
    "P. V. Danckwerts, Chem. Eng. Sci. 2 (1953) 1–13 (from memory); the laminar profile of a power-law "
    "liquid, weighted by flow"
)
_TUBE_RULE = (
    "an empty tube; elements of a static mixer stir across and narrow the spread, dead corners widen it: "
    "the tube is the safe side for elements without dead corners (common practice, no source)"
)
_FLOW_INDEX = number("index", "", "flow index n", default=1.0, above=0)
#: ln of the share that is younger, (1 − q)^a·(1 + aq), where q is small
_OLD_SERIES = "+".join(f"({(-1) ** (k + 1)}*a^{k}-a)*q^{k}/{k}" for k in range(2, 10))


@workbook_function(
    category="Filling",
    arguments=(number("age", "", "age over the mean age (DWELL_TIME)", above=0), _FLOW_INDEX),
    returns=(out("share", "", "share of what leaves that is younger"),),
    equation="n = 1: F = 1 − 1/(4θ²) from θ = ½; else F = (3n+1)/(n+1)·y^{2n/(n+1)}·(1 − 2ny/(3n+1)), "
    "y = 1 − (n+1)/((3n+1)θ)",
    source=_TUBE_AGES,
    rule=_TUBE_RULE,
    valid="laminar flow in a tube without mixing across",
    examples=(
        example((0.6,), 0.3055555556, "flow-weighted integral of the profile", 1e-9),
        example((5,), 0.99, "the same"),
        example((1, 0.5), 0.7600369326, "quadrature", 1e-9),
        example((0.6, 0.5), 0.0, "before the fastest: (n + 1)/(3n + 1) = 0.6"),
        example((5, 0.5), 0.9917728235, "quadrature", 1e-9),
    ),
    formula="LET(power,IF(ISOMITTED(index),1,index),fast,(power+1)/(3*power+1),within,1-fast/age,"
    "IF(within>0,within^(2*power/(power+1))*(1-2*power*within/(3*power+1))/fast,0))",
)
def residence_share(age: Number, index: Number = 1.0) -> Number:
    """Share of the material leaving a tube that is younger than an age.

    >>> float(residence_share(1.0))
    0.75
    """
    fast = (index + 1.0) / (3.0 * index + 1.0)
    within = np.maximum(1.0 - fast / age, 0.0)
    slower = 1.0 - 2.0 * index * within / (3.0 * index + 1.0)
    return within ** (2.0 * index / (index + 1.0)) * slower / fast


@workbook_function(
    category="Filling",
    arguments=(
        number("share", "", "share that is younger: 0.99 leaves the oldest hundredth", at_least=0, below=1),
        _FLOW_INDEX,
    ),
    returns=(out("age", "", "age of that share over the mean age"),),
    equation="n = 1: θ = 1/(2·√(1 − F)); else the root of RESIDENCE_SHARE",
    source=_TUBE_AGES,
    rule=_TUBE_RULE,
    valid="laminar flow in a tube without mixing across; also how many tube volumes renew that share",
    no_answer="the age is beyond any number",
    examples=(
        example((0.99,), 5.0, "1/(2·√0.01), by hand"),
        example((0.7600369326, 0.5), 1.0, "quadrature", 1e-8),
        example((0,), 0.5, "the fastest, at twice the mean speed"),
    ),
    # 80 halvings of the logarithm of the age over the youngest
    formula="LET(power,IF(ISOMITTED(index),1,index),fast,(power+1)/(3*power+1),a,2*power/(power+1),"
    f"older,LAMBDA(y,LET(q,EXP(-y),x,{_OLD_SERIES},"
    "IF(q<0.01,-x*(1+x/2*(1+x/3*(1+x/4*(1+x/5)))),1-(1-q)^a*(1+a*q)))),"
    "fast*EXP(REDUCE(50+0*(share+power),SEQUENCE(80),"
    "LAMBDA(y,turn,y+SIGN(older(y)-(1-share))*50/2^turn))))",
)
def residence_age(share: Number, index: Number = 1.0) -> Number:
    """Age that a share of the material leaving a tube stays under.

    >>> round(float(residence_age(0.99)), 9)
    5.0
    """
    share, index = np.broadcast_arrays(np.asarray(share, dtype=float), index)
    fast, power = (index + 1.0) / (3.0 * index + 1.0), 2.0 * index / (index + 1.0)
    # bisected in ln(age/fastest): e^100 times the mean lies beyond any share below 1
    low, high = np.zeros(share.shape), np.full(share.shape, 100.0)
    for _ in range(80):
        middle = 0.5 * (low + high)
        fastest = np.exp(-middle)  # q, the least age over this one: F = (1 − q)^a·(1 + aq), a the power
        with np.errstate(divide="ignore"):
            older = -np.expm1(power * np.log1p(-fastest) + np.log1p(power * fastest))
        is_younger = older < 1.0 - share
        low, high = np.where(is_younger, low, middle), np.where(is_younger, middle, high)
    return (fast * np.exp(low))[()]


__all__ = [
    "CREEPING_REYNOLDS",
    "GRAVITY",
    "HELD_SPHERE",
    "PACKED",
    "bubble_size",
    "bubble_speed",
    "capillary_height",
    "capillary_time",
    "cell_fill_time",
    "cell_permeability",
    "drip_volume",
    "front_time",
    "hose_compliance",
    "hose_lag",
    "hose_start",
    "hose_start_time",
    "residence_age",
    "residence_share",
    "sag_height",
    "sag_speed",
    "sag_stress",
    "settling_exponent",
    "settling_speed",
    "standing_density",
    "stir_time",
    "void_growth",
]
