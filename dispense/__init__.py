"""Planner for adhesive, sealant, thermal paste and potting compound put onto parts at a takt."""

from __future__ import annotations

from .base.offer import offer
from .moved import offer_old_names

__version__ = "0.1.0"

# What the top level offers, loaded on first use so that importing the package stays quick.
_OFFERED = {
    "call": "handbook.catalogue",
    "evaluate": "handbook.catalogue",
    "lookup": "handbook.catalogue",
    "FUNCTIONS": "handbook.catalogue",
    "read_plan": "plan.read:load_plan",
    "DispenseError": "base.errors",
    "InputError": "base.errors",
}

__all__ = ["__version__", *_OFFERED]

offer_old_names()
__getattr__ = offer(__name__, _OFFERED)
