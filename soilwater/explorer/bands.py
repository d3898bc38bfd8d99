"""Bands of readings over what the points of a lab sheet leave open, on a coarser lattice.

Kept for a few rods, as the distance of the ends from the reading of the best curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.explorer.lattice import (
    WATER_STEP,
    Setting,
    case_of,
    part_of,
    profile_of,
    run,
    stored_hours,
)
from soilwater.ground.base import Base
from soilwater.runs.columns_of import each_column
from soilwater.soils import Soil
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW

RODS: FloatArray = np.array([3.8, 7.6, 12.0, 20.0])
"""Rods for which bands are kept [cm]; the first and the last are the ends of the slider."""
DEPTHS: FloatArray = np.array(
    [15, 17, 19, 21, 24, 28, 32, 36, 39, 42, 45, 48, 51, 54, 57, 60], dtype=np.float64
)
DEMANDS: FloatArray = np.array([0, 1, 2, 3, 4, 5, 5.5, 6, 6.5, 7, 7.5, 8, 9, 10], dtype=np.float64)
"""Depths [cm] and demands [mm/day] of the full lattice of bands."""
TOLERANCE = 0.0015
"""Local error of the runs [1], that of `simulate`."""


class Bands(NamedTuple):
    """Ends of the bands of one sand on one base.

    `offsets`, in steps of water content, lies over the hours of a lattice, `rods` [cm], (lower,
    upper), `depths` [cm] and `demands` [mm/day], in this order.
    """

    rods: FloatArray
    depths: FloatArray
    demands: FloatArray
    offsets: NDArray[np.int16]


def make_bands(
    best: Soil,
    samples: Sequence[Soil],
    base: Base,
    depths: tuple[float, float],
    demands: tuple[float, float],
    setting: Setting,
) -> Bands:
    """Run every sample at some depths and demands, and find the ends of the bands of readings.

    A rod longer than the root zone reads all of it here: such bands are only ever mixed with
    others, since the page gives no reading there.
    """
    at_depths, at_demands = part_of(DEPTHS, *depths), part_of(DEMANDS, *demands)
    hours = stored_hours(setting.days)
    shape = (hours.size, RODS.size, 2, at_depths.size, at_demands.size)
    offsets = np.zeros(shape, dtype=np.int16)
    soils = (best, *samples)
    for i, depth in enumerate(at_depths.tolist()):
        profiles = [profile_of(soil, depth, base) for soil in soils]
        cases = [case_of(each, e, setting) for e in at_demands.tolist() for each in profiles]
        columns = list(each_column(run(cases, hours, setting, TOLERANCE)))
        for k, rod in enumerate(np.minimum(RODS, depth).tolist()):
            readings = np.array([c.mean(0.0, rod) for c in columns]).reshape(
                at_demands.size, len(soils), hours.size
            )
            for j, (own, *others) in enumerate(readings):
                # What could not be run counts neither below nor above.
                known = [each for each in others if np.isfinite(each).all()]
                if known and np.isfinite(own).all():
                    ends = np.quantile(known, (LOW, HIGH), axis=0) - own
                    offsets[:, k, :, i, j] = np.round(ends / WATER_STEP).T
    return Bands(RODS, at_depths, at_demands, offsets)
