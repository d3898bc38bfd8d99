"""Depths that a probe was too short for: how much deeper they may be, and how they are written."""

from __future__ import annotations

from typing import Any

import numpy as np

from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray
from soilwater.words.quantities import in_people_units

BEYOND_REACH = 6.0
"""Mean depth [cm] beyond what a probe that was too short has reached; odds fall off exponentially
(our own choice)."""


def beyond_reach(share: Any) -> FloatArray:
    """Depth [cm] beyond a probe's reach that a share [1] of such spots do not exceed."""
    deeper: FloatArray = -BEYOND_REACH * np.log1p(-np.asarray(share, dtype=np.float64))
    return deeper


def depth_in_words(spot: Spot) -> str:
    """Write the depth of a spot, of which a probe that was too short tells the least."""
    if not spot.has_depth:
        return "not found"
    depth = in_people_units(spot.depth, "length")
    return f"at least {depth}" if spot.depth_at_least else depth
