"""Weeks of builds turned into consumption, stock, orders and cost.

Imports `shift` and below.
"""

from __future__ import annotations

from ..base.offer import offer

_OFFERED = {"forecast": "model", "Forecast": "model"}

__all__ = list(_OFFERED)
__getattr__ = offer(__name__, _OFFERED)
