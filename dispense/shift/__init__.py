"""One station through one shift in clock time, and what its dispenser is set to.

Imports `plan` and below.
"""

from __future__ import annotations

from ..base.offer import offer

_OFFERED = {
    "play_plan": "play",
    "play_shift": "play",
    "Calendar": "calendar",
    "Store": "store",
    "ShiftResult": "results",
    "NANO": "store",
    "hhmm": ".base.clock",
}

__all__ = list(_OFFERED)
__getattr__ = offer(__name__, _OFFERED)
