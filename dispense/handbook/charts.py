"""Charts of weights in the order of time, and what a few weights can say of all."""

from __future__ import annotations

import numpy as np

from ..base.fields import number, vector, whole
from ..base.units import AS_GIVEN
from .declare import Requirement, example, out, requires, workbook_function
from .quality import control_chart_factors, known

_EHANDBOOK = "NIST/SEMATECH e-Handbook of Statistical Methods"
_NODES = 96  # of the Gauss–Legendre rule over the standardised mean; the integrand is smooth
_FAR = 8.5  # standard deviations of the mean beyond which nothing is left (1e-17)
_HALVINGS = 60
_FEW_VALUES = "values, one or more that are not blank"


def _single(*names: str) -> tuple[Requirement, ...]:
    """These arguments are one number each: a chart has one target."""
    return tuple(
        Requirement(lambda value: np.ndim(value) == 0, name, "one number", (name,)) for name in names
    )


_KEPT = 'kept,LET(all_,TOCOL(values),FILTER(all_,all_<>"")),'  # in a spreadsheet: what is not blank


def _one(*names: str) -> str:
    """In a spreadsheet: whether these are one number each."""
    return f"single,{'*'.join(f'ROWS({name})*COLUMNS({name})' for name in names)}=1"


@workbook_function(
    category="Checks",
    arguments=(vector("values", AS_GIVEN, "in the order of time; blanks are left out", may_be_blank=True),),
    returns=(out("limits", AS_GIVEN, "rows value and moving range; columns low limit, centre, high limit"),),
    equation="value x̄ ± 3·M̄R̄/d₂; moving range 0, M̄R̄, D₄·M̄R̄; d₂ and D₄ for two values",
    source=f"{_EHANDBOOK}, 6.3.2.2; factors of ISO 7870-2",
    valid="single values taken one after the other, roughly normal and without a drift",
    rule="20 values or more before the limits are relied on (common practice, no source)",
    whole=True,
    requires=(
        requires(lambda values: len(known(values)) > 1, "values", "two values or more that are not blank"),
    ),
    examples=(
        example(
            ([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1],),
            [[45.8159, 50.81, 55.8041], [0.0, 1.8778, 6.1347]],
            "NIST e-Handbook 6.3.2.2: centre 50.81, mean range 1.8778, limits 55.8041 and 45.8159; "
            "3.267·1.8778 by hand",
            5e-5,
        ),
    ),
    formula=f"LET({_KEPT}many,ROWS(kept),centre,AVERAGE(kept),"
    "spread,SUM(ABS(DROP(kept,1)-DROP(kept,-1)))/(many-1),"
    f"reach,3*spread/{control_chart_factors()[2]['d2']},"
    f"VSTACK(HSTACK(centre-reach,centre,centre+reach),HSTACK(0,spread,{control_chart_factors()[2]['D4']}*spread)))",
)
def moving_range_limits(values: np.ndarray) -> np.ndarray:
    """Control limits of single values and of their moving range.

    >>> moving_range_limits(np.array([10.0, 12.0, 11.0])).round(4).tolist()
    [[7.0106, 11.0, 14.9894], [0.0, 1.5, 4.9005]]
    """
    kept = known(values)
    factors = control_chart_factors()[2]
    centre, spread = kept.mean(), np.abs(np.diff(kept)).mean()
    reach = 3.0 * spread / factors["d2"]
    return np.array([[centre - reach, centre, centre + reach], [0.0, spread, factors["D4"] * spread]])


@workbook_function(
    category="Checks",
    arguments=(
        vector("values", AS_GIVEN, "in the order of time; a blank has no row of its own", may_be_blank=True),
        number("target", AS_GIVEN, "value that the chart starts from"),
        number("sd", AS_GIVEN, "standard deviation of one value while nothing is wrong", above=0),
        number("weight", "", "weight of the newest value", default=0.3, above=0, at_most=1),
        number("width", "", "standard deviations to each limit", default=3.0, above=0),
    ),
    returns=(out("chart", AS_GIVEN, "a row a value; columns low limit, weighted mean, high limit"),),
    equation="Eₜ = λxₜ + (1 − λ)Eₜ₋₁, E₀ = target; limits target ± k·s·√(λ/(2 − λ))",
    source=f"{_EHANDBOOK}, 6.3.2.4",
    valid="values that do not depend on one another; the limits are those after many values, a little "
    "wide for the first few",
    whole=True,
    requires=(
        requires(lambda values: len(known(values)) > 0, "values", _FEW_VALUES),
        *_single("target", "sd", "weight", "width"),
    ),
    examples=(
        example(
            ([52.0, 47.0], 50, 2.0539),
            [[47.4115, 50.60, 52.5884], [47.4115, 49.52, 52.5884]],
            "NIST e-Handbook 6.3.2.4: 50.60, 49.52, limits 52.5884 and 47.4115",
            2e-5,
        ),
    ),
    formula="LET(share,IF(ISOMITTED(weight),0.3,weight),wide,IF(ISOMITTED(width),3,width),"
    f"{_one('target', 'sd', 'share', 'wide')},{_KEPT}reach,wide*sd*SQRT(share/(2-share)),"
    "IF(single,HSTACK(0*kept+target-reach,SCAN(target,kept,LAMBDA(e,x,share*x+(1-share)*e)),"
    "0*kept+target+reach),SQRT(-1)))",
)
def ewma_limits(
    values: np.ndarray, target: float, sd: float, weight: float = 0.3, width: float = 3.0
) -> np.ndarray:
    """Exponentially weighted mean of values with its limits.

    >>> ewma_limits(np.array([52.0, 47.0]), 50.0, 2.0539).round(3).tolist()
    [[47.412, 50.6, 52.588], [47.412, 49.52, 52.588]]
    """
    kept = known(values)
    share = 1.0 - weight
    mean = np.empty(len(kept))
    last = float(target)
    for place, value in enumerate(kept):
        last = mean[place] = weight * value + share * last
    reach = width * sd * np.sqrt(weight / (2.0 - weight))
    low, high = np.full_like(mean, target - reach), np.full_like(mean, target + reach)
    return np.column_stack([low, mean, high])


@workbook_function(
    category="Checks",
    arguments=(
        vector("values", AS_GIVEN, "in the order of time; a blank has no row of its own", may_be_blank=True),
        number("target", AS_GIVEN, "value that is aimed at"),
        number("slack", AS_GIVEN, "k: half of the shift that must be found", at_least=0),
        number("decision", AS_GIVEN, "h: sum from which a shift is signalled", above=0),
    ),
    returns=(
        out("chart", AS_GIVEN, "a row a value; columns sum above, sum below, and 1 where one is above h"),
    ),
    equation="S⁺ = max(0, S⁺ + x − T − k); S⁻ = max(0, S⁻ + T − k − x); signal where one is above h",
    source=f"{_EHANDBOOK}, 6.3.2.3",
    valid="values that do not depend on one another; k and h follow from the shift to be found and the "
    "false alarms that are borne",
    rule="k half a standard deviation and h four to five of them where nothing better is known "
    "(common practice, no source)",
    whole=True,
    requires=(
        requires(lambda values: len(known(values)) > 0, "values", _FEW_VALUES),
        *_single("target", "slack", "decision"),
    ),
    examples=(
        example(
            ([10.5, 11.5, 9.0], 10, 0.5, 1.0),
            [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.5, 0.0]],
            "by hand; a sum that equals h is no signal",
        ),
    ),
    formula=f"LET({_one('target', 'slack', 'decision')},{_KEPT}"
    "rising,SCAN(0,kept-target-slack,LAMBDA(s,x,IF(s+x>0,s+x,0))),"
    "sinking,SCAN(0,target-slack-kept,LAMBDA(s,x,IF(s+x>0,s+x,0))),"
    "IF(single,HSTACK(rising,sinking,IF((rising>decision)+(sinking>decision)>0,1,0)),SQRT(-1)))",
)
def cusum(values: np.ndarray, target: float, slack: float, decision: float) -> np.ndarray:
    """Cumulative sums above and below a target, and where they signal a shift.

    >>> cusum(np.array([10.5, 11.5, 12.0]), 10.0, 0.5, 1.0).tolist()
    [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [2.5, 0.0, 1.0]]
    """
    kept = known(values)

    def sums(steps: np.ndarray) -> np.ndarray:
        # Sₜ = max(0, Sₜ₋₁ + step) is the plain sum less its smallest value so far, 0 included
        total = np.cumsum(steps)
        found: np.ndarray = total - np.minimum(np.minimum.accumulate(total), 0.0)
        return found

    above, below = sums(kept - target - slack), sums(target - slack - kept)
    return np.column_stack([above, below, (above > decision) | (below > decision)])


@workbook_function(
    category="Checks",
    arguments=(
        vector(
            "weights", "g", "shot weights, two or more; blanks are left out", at_least=0, may_be_blank=True
        ),
        number("low", "g", "lower limit of the shot"),
        number("high", "g", "upper limit of the shot"),
        number("confidence", "", "probability that the interval holds", default=0.95, above=0, below=1),
    ),
    returns=(
        out("cp_low", "", "Cp, lower end"),
        out("cp_high", "", "Cp, upper end"),
        out("cpk_low", "", "Cpk, lower end"),
        out("cpk_high", "", "Cpk, upper end"),
    ),
    equation="Cp·√(χ²(n − 1)/(n − 1)) at both ends; Cpk ± z·√(1/(9n) + Cpk²/(2(n − 1)))",
    source=f"{_EHANDBOOK}, 6.1.6; the interval of Cpk: A. F. Bissell, Applied Statistics 39 (1990) 331, "
    "from memory",
    valid="weights that are stable and normal; the interval of Cpk is an approximation for 25 weights or "
    "more",
    no_answer="the weights do not differ, so capability has no value",
    requires=(
        requires(lambda weights: len(known(weights)) > 1, "weights", "two weights or more"),
        requires(lambda low, high: high > low, "high", "above the lower limit"),
    ),
    examples=(
        example(
            ([14, 16, 18], 8, 20, 0.95),
            (0.1591157, 1.9206456, -0.0877237, 1.4210572),
            "χ² with 2 degrees of freedom is −2·ln(1 − p): √(−ln 0.975) and √(−ln 0.025); "
            "0.6667 ± 1.959964·√(1/27 + 0.6667²/4), by hand",
            1e-5,
        ),
    ),
    formula='LET(sure,IF(ISOMITTED(confidence),0.95,confidence),many,SUM(IF(weights="",0,1)),free,many-1,'
    "mean,AVERAGE(weights),sd,IF((MAX(weights)>MIN(weights))*(high>low),STDEV(weights),SQRT(-1)),"
    "cp,(high-low)/(6*sd),cpk,IF(high-mean<mean-low,high-mean,mean-low)/(3*sd),"
    "outside,(1-sure)/2,"
    # a spreadsheet's χ² and two of Newton's steps, since some hold eight digits only
    "dense,LAMBDA(x,GAMMADIST(x/2,free/2,1,FALSE)/2),"
    "least,SQRT(REDUCE(CHIINV(1-outside,free),{1;2},"
    "LAMBDA(x,turn,x-(GAMMADIST(x/2,free/2,1,TRUE)-outside)/dense(x)))/free),"
    "most,SQRT(REDUCE(CHIINV(outside,free),{1;2},"
    "LAMBDA(x,turn,x+(CHIDIST(x,free)-outside)/dense(x)))/free),"
    "reach,-NORMSINV(outside)*SQRT(1/(9*many)+cpk^2/(2*free)),"
    "CHOOSE({1,2,3,4},cp*least,cp*most,cpk-reach,cpk+reach))",
)
def capability_interval(
    weights: np.ndarray, low: float, high: float, confidence: float = 0.95
) -> tuple[float, float, float, float]:
    """Confidence intervals of Cp and Cpk of shot weights.

    >>> found = capability_interval(np.array([14.0, 16.0, 18.0]), 8.0, 20.0)
    >>> [round(float(part), 3) for part in found[:2]]
    [0.159, 1.921]
    """
    from scipy.special import chdtri, gammaincinv, ndtri

    from .quality import shot_capability

    _, _, cp, cpk = shot_capability(weights, low, high)
    count = len(known(weights))
    free = count - 1
    outside = 0.5 * (1.0 - confidence)
    # both tails by their own small share, which 1 − outside would round
    least, most = (
        np.sqrt(2.0 * gammaincinv(free / 2.0, outside) / free),
        np.sqrt(chdtri(free, outside) / free),
    )
    reach = -ndtri(outside) * np.sqrt(1.0 / (9.0 * count) + cpk**2 / (2.0 * free))
    return cp * least, cp * most, cpk - reach, cpk + reach


@workbook_function(
    category="Checks",
    arguments=(
        whole("count", "values that mean and standard deviation are from", at_least=2, at_most=100_000),
        number("coverage", "", "share of all values that must lie inside", default=0.95, above=0, below=1),
        number("confidence", "", "probability that they do", default=0.95, above=0, below=1),
        whole("sides", "1 for one limit, 2 for two", default=2, at_least=1, at_most=2),
    ),
    returns=(out("factor", "", "standard deviations from the mean to the limit"),),
    equation="one side: k = t′(γ; n − 1, z_p√n)/√n, t′ the non-central t; two sides: "
    "P(χ²(n − 1) > (n − 1)·r(x̄)²/k²) averaged over x̄ is γ, r half the width that holds p about x̄",
    source=f"{_EHANDBOOK}, 7.2.6.3; ISO 16269-6, from memory",
    valid="values from one normal distribution; both cases are exact, not the usual approximations",
    examples=(
        example(
            (43, 0.90, 0.99, 2),
            2.2228252,
            "two independent integrations (the e-Handbook's approximation 2.2173)",
            1e-6,
        ),
        example(
            (43, 0.90, 0.99, 1),
            1.8739536,
            "two independent integrations (the e-Handbook's approximation 1.8752)",
            1e-6,
        ),
        example(
            (10, 0.95, 0.95, 2),
            3.39,
            "Berthouex & Brown, Statistics for Environmental Engineers, table 21.1",
            3e-3,
        ),
    ),
)
def tolerance_factor(
    count: np.ndarray | float,
    coverage: np.ndarray | float = 0.95,
    confidence: np.ndarray | float = 0.95,
    sides: np.ndarray | float = 2,
) -> np.ndarray:
    """How many standard deviations from the mean hold a share of all values, from so many of them.

    >>> round(float(tolerance_factor(10)), 3)
    3.393
    """
    from scipy.special import ndtri

    size, inside, sure, ends = np.broadcast_arrays(
        *(np.asarray(item, float) for item in (count, coverage, confidence, sides))
    )
    one = _one_sided(size, ndtri(inside), sure)
    return np.where(ends == 1, one, _two_sided(size, inside, sure))


def _one_sided(count: np.ndarray, quantile: np.ndarray, confidence: np.ndarray) -> np.ndarray:
    """k with P(t′ ≤ k√n) = γ."""
    from scipy.special import nctdtrit

    root = np.sqrt(count)
    factor: np.ndarray = nctdtrit(count - 1.0, quantile * root, confidence) / root
    return factor


def _two_sided(count: np.ndarray, coverage: np.ndarray, confidence: np.ndarray) -> np.ndarray:
    """k that holds the share between mean ± k·s, the mean of the sample integrated over."""
    from scipy.special import chdtrc, ndtr, ndtri

    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    z = 0.5 * _FAR * (nodes + 1.0)  # of the mean, 0 to far out; the other half is its mirror
    density = _FAR * weights * 0.5 * np.sqrt(2.0 / np.pi) * np.exp(-0.5 * z**2)
    size = count[..., None]
    off = z / np.sqrt(size)
    share = coverage[..., None]
    low, high = np.zeros_like(off), off + ndtri(0.5 + 0.5 * share) + 1.0
    for _ in range(_HALVINGS):  # half width about a mean that is off
        middle = 0.5 * (low + high)
        short = ndtr(off + middle) - ndtr(off - middle) < share
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    half = 0.5 * (low + high)
    below, above = np.full(count.shape, 1e-6), np.full(count.shape, 1e9)
    for _ in range(2 * _HALVINGS):  # the factor, on a scale of ratios
        middle = np.sqrt(below * above)
        held = (density * chdtrc(size - 1.0, (size - 1.0) * (half / middle[..., None]) ** 2)).sum(axis=-1)
        below, above = np.where(held < confidence, middle, below), np.where(held < confidence, above, middle)
    factor: np.ndarray = np.sqrt(below * above)
    return factor


__all__ = ["capability_interval", "cusum", "ewma_limits", "moving_range_limits", "tolerance_factor"]
