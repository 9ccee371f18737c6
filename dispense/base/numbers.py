"""What the handbook reckons with: one number, or an array of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

#: an array of numbers
Floats = NDArray[np.float64]
#: an array of TRUE and FALSE
Flags = NDArray[np.bool_]
#: one number, or an array that broadcasts with the other arguments
Number = float | Floats
#: numbers in a row: times, temperatures, readings
Series = Sequence[float] | Floats

#: relative; numbers that are nearer are one, since sums, quotients and units converted leave so much
EQUAL = 1e-9

__all__ = ["EQUAL", "Flags", "Floats", "Number", "Series"]
