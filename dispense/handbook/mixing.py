"""Mixing: ratios by volume and by mass, densities, hardener, filled and foamed compounds."""

from __future__ import annotations

import numpy as np

from ..base.fields import choice, number, vector
from ..base.numbers import Number
from .declare import example, out, requires, workbook_function

BASES = ("volume", "mass")

_RATIO_A = number("ratio_a", "", "parts of A", above=0)
_RATIO_B = number("ratio_b", "", "parts of B", above=0)
_DENSITY_A = number("density_a", "g/mL", "density of A", above=0)
_DENSITY_B = number("density_b", "g/mL", "density of B", above=0)
_BASIS = choice("basis", BASES, "whether the ratio is by volume or by mass", default="volume")
_MASS_BALANCE = "conservation of mass; volumes of the components add"


def _volume_parts(
    ratio_a: Number, ratio_b: Number, density_a: Number, density_b: Number, basis: str
) -> tuple[Number, Number]:
    """Parts of A and B by volume."""
    if basis == "volume":
        return ratio_a, ratio_b
    return ratio_a / density_a, ratio_b / density_b


@workbook_function(
    category="Mixing",
    arguments=(
        number("volume", "mL", "mixed volume", at_least=0),
        _RATIO_A,
        _RATIO_B,
        _DENSITY_A,
        _DENSITY_B,
        _BASIS,
    ),
    returns=(
        out("volume_a", "mL", "volume of A"),
        out("volume_b", "mL", "volume of B"),
        out("mass_a", "g", "mass of A"),
        out("mass_b", "g", "mass of B"),
    ),
    equation="V_A = V·a/(a + b) with a, b by volume; m = ρ·V",
    source=_MASS_BALANCE,
    valid="no change of volume on mixing; shrinkage on cure comes after the mixing",
    examples=(
        example((300, 2, 1, 1.16, 0.98), (200, 100, 232, 98), "2:1 of 300 mL, by hand"),
        example(
            (100, 100, 45, 1.15, 1.02, "mass"),
            (66.34146341463415, 33.65853658536585, 76.29268292682927, 34.33170731707317),
            "volume ratio 1.15·45/(1.02·100) : 1 = 1 : 0.50735294, by hand",
        ),
    ),
    formula='LET(by_mass,IF(ISOMITTED(basis),FALSE,basis="mass"),'
    "part_a,ratio_a/IF(by_mass,density_a,1),part_b,ratio_b/IF(by_mass,density_b,1),"
    "share,part_a/(part_a+part_b),CHOOSE({1,2,3,4},volume*share,volume*(1-share),"
    "volume*share*density_a,volume*(1-share)*density_b))",
)
def mix_split(
    volume: Number,
    ratio_a: Number,
    ratio_b: Number,
    density_a: Number,
    density_b: Number,
    basis: str = "volume",
) -> tuple[Number, Number, Number, Number]:
    """Volumes and masses of A and B in a mixed volume.

    >>> [round(part * 1e6, 6) for part in mix_split(300e-6, 2, 1, 1160, 980)[:2]]
    [200.0, 100.0]
    """
    part_a, part_b = _volume_parts(ratio_a, ratio_b, density_a, density_b, basis)
    volume_a = volume * (part_a / (part_a + part_b))
    volume_b = volume * (part_b / (part_a + part_b))
    return volume_a, volume_b, volume_a * density_a, volume_b * density_b


@workbook_function(
    category="Mixing",
    arguments=(_RATIO_A, _RATIO_B, _DENSITY_A, _DENSITY_B),
    returns=(out("parts_b", "", "parts B per 100 A by mass"),),
    equation="100·b·ρ_B/(a·ρ_A)",
    source=_MASS_BALANCE,
    valid="a ratio by volume of both components at the temperature of the densities",
    examples=(
        example((2, 1, 1.16, 0.98), 42.24137931, "100·0.98/(2·1.16), by hand"),
        example((1, 1, 1.2, 1.2), 100.0, "equal densities keep the ratio"),
    ),
    formula="100*ratio_b*density_b/(ratio_a*density_a)",
)
def mass_ratio(ratio_a: Number, ratio_b: Number, density_a: Number, density_b: Number) -> Number:
    """Parts B per 100 A by mass, from a ratio by volume.

    >>> round(mass_ratio(2, 1, 1160, 980), 8)
    42.24137931
    """
    return 100.0 * ratio_b * density_b / (ratio_a * density_a)


@workbook_function(
    category="Mixing",
    arguments=(_RATIO_A, _RATIO_B, _DENSITY_A, _DENSITY_B),
    returns=(out("parts_b", "", "parts B per 100 A by volume"),),
    equation="100·(b/ρ_B)/(a/ρ_A)",
    source=_MASS_BALANCE,
    valid="a ratio by mass",
    examples=(example((100, 45, 1.15, 1.02), 50.73529412, "100/1.971014493, volume ratio by hand"),),
    formula="100*(ratio_b/density_b)/(ratio_a/density_a)",
)
def volume_ratio(ratio_a: Number, ratio_b: Number, density_a: Number, density_b: Number) -> Number:
    """Parts B per 100 A by volume, from a ratio by mass.

    >>> round(volume_ratio(100, 45, 1150, 1020), 8)
    50.73529412
    """
    return 100.0 * (ratio_b / density_b) / (ratio_a / density_a)


@workbook_function(
    category="Mixing",
    arguments=(_RATIO_A, _RATIO_B, _DENSITY_A, _DENSITY_B, _BASIS),
    returns=(out("density", "g/mL", "density of the mixture"),),
    equation="volume (aρ_A + bρ_B)/(a + b); mass (a + b)/(a/ρ_A + b/ρ_B)",
    source=_MASS_BALANCE,
    valid="liquid mixture without air; cured material is denser by the shrinkage",
    examples=(
        example((2, 1, 1.16, 0.98), 1.1, "(2·1.16 + 0.98)/3, by hand"),
        example((232, 98, 1.16, 0.98, "mass"), 1.1, "330 g in 300 mL, by hand"),
    ),
    formula='IF(IF(ISOMITTED(basis),"volume",basis)="volume",'
    "(ratio_a*density_a+ratio_b*density_b)/(ratio_a+ratio_b),"
    "(ratio_a+ratio_b)/(ratio_a/density_a+ratio_b/density_b))",
)
def mix_density(
    ratio_a: Number, ratio_b: Number, density_a: Number, density_b: Number, basis: str = "volume"
) -> Number:
    """Density of the mixed liquid.

    >>> round(mix_density(2, 1, 1160, 980), 6)
    1100.0
    """
    if basis == "mass":
        return (ratio_a + ratio_b) / (ratio_a / density_a + ratio_b / density_b)
    return (ratio_a * density_a + ratio_b * density_b) / (ratio_a + ratio_b)


@workbook_function(
    category="Mixing",
    arguments=(
        number("epoxide_weight", "g/eq", "epoxide equivalent weight of resin or blend", above=0),
        number("amine_weight", "g/eq", "weight of hardener per active hydrogen", above=0),
        number("stoichiometry", "", "active hydrogen per epoxide", default=1.0, above=0),
    ),
    returns=(out("parts", "", "parts of hardener per 100 of resin by mass"),),
    equation="phr = 100·s·AHEW/EEW",
    source="stoichiometry; Lee & Neville, Handbook of Epoxy Resins (1967), from memory; epoxide "
    "equivalent as in ISO 3001",
    valid="amine hardeners that add to the epoxide; catalysts are dosed otherwise. The supplier's "
    "ratio goes before this one",
    examples=(
        example((209, 43), 20.57416268, "published worked example: 20.6 parts"),
        example((200, 20.6), 10.3, "published worked example: M 103, five hydrogens, 10.3 parts"),
    ),
    formula="100*amine_weight/epoxide_weight*IF(ISOMITTED(stoichiometry),1,stoichiometry)",
    notes="Amines and epoxy resins burn and sensitize the skin: gloves, eye protection and the "
    "safety data sheet.",
)
def hardener_phr(epoxide_weight: Number, amine_weight: Number, stoichiometry: Number = 1.0) -> Number:
    """Parts of amine hardener per 100 of epoxy resin, by mass.

    >>> round(hardener_phr(0.200, 0.0206), 6)
    10.3
    """
    return 100.0 * amine_weight / epoxide_weight * stoichiometry


@workbook_function(
    category="Mixing",
    arguments=(
        vector("masses", "g", "mass of each ingredient, in any one unit", at_least=0, may_be_blank=True),
        vector(
            "epoxide_weights",
            "g/eq",
            "epoxide equivalent weight of each; blank for a filler",
            above=0,
            may_be_blank=True,
        ),
    ),
    returns=(out("epoxide_weight", "g/eq", "epoxide equivalent weight of the blend"),),
    equation="EEW = Σm/Σ(mᵢ/EEWᵢ)",
    source="stoichiometry; epoxide equivalent as in ISO 3001",
    valid="fillers and diluents without epoxide count in the mass only",
    no_answer="no ingredient carries epoxide",
    requires=(
        requires(
            lambda masses, epoxide_weights: len(masses) == len(epoxide_weights),
            "epoxide_weights",
            "as many cells as there are masses",
        ),
        requires(
            lambda masses, epoxide_weights: (
                len(masses) != len(epoxide_weights)
                or not np.any(np.isnan(masses) & ~np.isnan(epoxide_weights))
            ),
            "masses",
            "a mass for each ingredient that has an epoxide weight",
        ),
    ),
    examples=(
        example(([80, 10, 10], [189, 183, None]), 209.2377495, "published worked example: 209"),
        example(([1, 1], [200, 200]), 200.0, "equal ingredients"),
    ),
    formula="IF((ROWS(masses)=ROWS(epoxide_weights))*(COLUMNS(masses)=COLUMNS(epoxide_weights)),"
    'IF(SUM((masses="")*(epoxide_weights<>""))=0,'
    "SUM(masses)/SUM(IFERROR(masses/epoxide_weights,0)),SQRT(-1)),SQRT(-1))",
)
def blend_epoxide_weight(masses: Number, epoxide_weights: Number) -> Number:
    """Epoxide equivalent weight of a blend of resins and fillers.

    >>> blend = blend_epoxide_weight(np.array([80, 10, 10]), np.array([0.189, 0.183, np.nan]))
    >>> round(float(blend), 6)
    0.209238
    """
    return np.nansum(masses) / np.nansum(masses / epoxide_weights)


@workbook_function(
    category="Mixing",
    arguments=(
        number("mass_a", "g", "mass of A that was caught", above=0),
        number("mass_b", "g", "mass of B that was caught", at_least=0),
        _RATIO_A,
        _RATIO_B,
        number("density_a", "g/mL", "density of A, for a ratio by volume", default=None, above=0),
        number("density_b", "g/mL", "density of B, for a ratio by volume", default=None, above=0),
        _BASIS,
    ),
    returns=(out("error", "%", "how far B is off the target; above 0 is too much B"),),
    equation="e = (m_B/m_A)/(target m_B/m_A) − 1, target b/a by mass or bρ_B/(aρ_A)",
    source=_MASS_BALANCE,
    valid="both components caught over the same strokes",
    no_answer="a ratio by volume needs both densities",
    examples=(
        example((232, 102.9, 2, 1, 1.16, 0.98), 5.0, "2:1 is 232 g to 98 g; 102.9/98 − 1, by hand"),
        example((100, 47.25, 100, 45, None, None, "mass"), 5.0, "47.25/45 − 1, by hand"),
    ),
    formula='LET(scale,IF(IF(ISOMITTED(basis),"volume",basis)="mass",1,'
    "IF(OR(ISOMITTED(density_a),ISOMITTED(density_b)),SQRT(-1),density_a/density_b)),"
    "100*(mass_b/mass_a*ratio_a/ratio_b*scale-1))",
)
def ratio_error(
    mass_a: Number,
    mass_b: Number,
    ratio_a: Number,
    ratio_b: Number,
    density_a: Number | None = None,
    density_b: Number | None = None,
    basis: str = "volume",
) -> Number:
    """Error of a mixing ratio from two caught masses.

    >>> round(ratio_error(0.100, 0.04725, 100, 45, basis="mass"), 9)
    0.05
    """
    by_mass = mass_b * ratio_a / (mass_a * ratio_b) - 1.0
    if basis == "mass":
        return by_mass
    if density_a is None or density_b is None:
        return by_mass * np.nan
    return mass_b * ratio_a * density_a / (mass_a * ratio_b * density_b) - 1.0


@workbook_function(
    category="Mixing",
    arguments=(
        number("resin_density", "g/mL", "density of the compound without spheres", above=0),
        number("sphere_density", "g/mL", "true density of the hollow spheres", above=0),
        number("sphere_mass_fraction", "", "share of spheres by mass", at_least=0, at_most=1),
        number("void", "", "share of entrapped air by volume", default=0.0, at_least=0, below=1),
    ),
    returns=(out("density", "g/mL", "density of the filled compound"),),
    equation="1/ρ = (1 − w)/ρ_r + w/ρ_s, then ρ·(1 − void)",
    source=_MASS_BALANCE,
    valid="spheres that survive the mixing and the pump; broken ones raise the density",
    examples=(
        example((1.16, 0.15, 0.1), 0.6932270916, "1/(0.9/1.16 + 0.1/0.15), by hand"),
        example((1.2, 0.2, 0), 1.2, "no spheres leave the resin as it is"),
    ),
    formula="(1-IF(ISOMITTED(void),0,void))"
    "/((1-sphere_mass_fraction)/resin_density+sphere_mass_fraction/sphere_density)",
)
def foam_density(
    resin_density: Number, sphere_density: Number, sphere_mass_fraction: Number, void: Number = 0.0
) -> Number:
    """Density of a compound filled with hollow spheres.

    >>> round(foam_density(1160, 150, 0.1), 6)
    693.227092
    """
    weight = (1.0 - sphere_mass_fraction) / resin_density + sphere_mass_fraction / sphere_density
    return (1.0 - void) / weight
