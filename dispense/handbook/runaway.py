"""Runaway with a film at the face: critical values of Frank-Kamenetskii's criterion.

The well-known 0.88 of a slab holds where its faces are kept at the surroundings' temperature. A film of
air in between lets the face warm, and less makes it run away: δ_c falls from 0.88 for a large Biot number
Bi = h·r/k towards Bi/e for a small one.
"""

from __future__ import annotations

import math

_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_WIDEST = 3.0  # beyond the largest rise of any steady slab: 1.2 for faces held, below for a film


def slab_delta(middle: float, biot: float) -> float:
    """δ of a steady slab with a film, from its parameter c: 2c²·sech²c·exp(−2c·tanh c/Bi).

    >>> round(slab_delta(1.199678640, math.inf), 10)
    0.8784576798
    """
    return 2.0 * (middle / math.cosh(middle)) ** 2 * math.exp(-2.0 * middle * math.tanh(middle) / biot)


def critical_delta(biot: float) -> float:
    """Critical δ of a slab with a film at its faces (or at one, the other insulated); from Bi = h·r/k.

    The largest δ that a steady slab can have, by golden section; r is the half thickness, or the whole
    depth over an insulated base. Bi = ∞: faces held at the surroundings' temperature, 0.8785.

    Source: P. H. Thomas, Trans. Faraday Soc. 54 (1958) 60 (from memory).

    >>> round(critical_delta(math.inf), 6), round(critical_delta(1e-6) / 1e-6 * math.e, 4)
    (0.878458, 1.0)
    """
    if not biot > 0.0:
        return 0.0
    # δ has one maximum; its c lies below that of faces held and falls with the root of Bi
    low, high = 0.0, min(_WIDEST, 2.0 * math.sqrt(biot) + 1e-9)
    while high - low > 1e-9 * high:
        inner, outer = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if slab_delta(inner, biot) < slab_delta(outer, biot):
            low = inner
        else:
            high = outer
    return slab_delta(0.5 * (low + high), biot)


__all__ = ["critical_delta", "slab_delta"]
