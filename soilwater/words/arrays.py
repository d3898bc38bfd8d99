"""Arrays of numbers as this package passes them on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.words.units import to_house

FloatArray = NDArray[np.float64]
"""Numbers in house units."""


def lengths(values: Any, name: str) -> FloatArray:
    """Return `values` as an array of lengths [cm], called by their `name` in messages."""
    return np.atleast_1d(np.asarray(to_house(values, "length", name), dtype=np.float64))
