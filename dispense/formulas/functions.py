"""The standard worksheet functions that `evaluate` knows, gathered from their families.

Where Excel and LibreOffice Calc disagree, a function refuses (`Unevaluable`) instead of choosing,
with one exception: TRUE and FALSE are a kind of their own, as the file format has them, and not the
numbers 1 and 0 as in Calc. A function that is not listed is refused by name.
"""

from __future__ import annotations

from . import arithmetic, choosing, conditions, counting, dates, looking_up, texts
from .declare import DATE_FUNCTIONS, FUNCTIONS, REFUSED

__all__ = ["DATE_FUNCTIONS", "FAMILIES", "FUNCTIONS", "REFUSED"]

FAMILIES = (counting, arithmetic, choosing, conditions, looking_up, texts, dates)
