"""Where a spot starts: drained, at what the meter read, or as a calibration leaves it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from soilwater.decisions.watering.ensembles import Draw, depth_in
from soilwater.soils import Soil
from soilwater.soils.at_rest import rest_curve
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray


def starts_at_readings(
    known: Sequence[Spot], drawn: Sequence[Draw], rod: float, noise: FloatArray
) -> list[list[Any]]:
    """Make columns start at the readings of their spots; drained where there is none.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    drawn : sequence of Draw
        Equally likely combinations.
    rod : float
        Length of the rods [cm].
    noise : ndarray, shape (spots, draws)
        Error of one reading [1].

    Returns
    -------
    list of list
        For each spot the start in each draw.
    """
    starts: list[list[Any]] = []
    for spot, errors in zip(known, noise, strict=True):
        values = usable(spot, rod)
        if not values:
            starts.append(["drained"] * len(drawn))
            continue
        read = np.mean(values) + errors / np.sqrt(len(values))
        depths = [depth_in(draw, spot, rod) for draw in drawn]
        at_rest = [
            float(rest_curve(draw.soil).reading(depth, rod, draw.base))
            for draw, depth in zip(drawn, depths, strict=True)
        ]
        # An error of the meter alone makes no spot flooded.
        flooded = bool(np.mean(read > at_rest) >= FLOODED)
        starts.append(
            [
                dried_to(draw.soil, depth, draw.base, rod, one, flooded=flooded)
                for draw, depth, one in zip(drawn, depths, read.tolist(), strict=True)
            ]
        )
    return starts


def usable(spot: Spot, rod: float) -> list[float]:
    """List the usable readings [1] of a spot with a rod of one length."""
    return [each.value for each in spot.usable_readings if abs(each.rod - rod) < 0.1]


def dried_to(
    soil: Soil,
    depth: float,
    base_suction: float,
    rod: float,
    reading: float,
    *,
    flooded: bool = False,
) -> Any:
    """Suction over depth of a column that has drained and lost water to the turf since.

    The column is at rest with so much more suction everywhere that the rod shows the reading; one
    that reads more than drained starts drained, or, where it is flooded, with so much less suction
    that water stands on its base. In root-zone
    sands a column by early morning is that near to rest: days to a threshold counted from it agree
    with the run that led there (tested).

    Parameters
    ----------
    soil : Soil
        The root-zone sand.
    depth : float
        Depth of the root zone [cm].
    base_suction : float
        Suction left at the base once drained [cm].
    rod : float
        Length of the rod [cm].
    reading : float
        What it shows [1].
    flooded : bool, optional
        Whether it may hold more than drained.

    Returns
    -------
    DataArray
        ``suction`` [cm] over ``depth``.
    """
    surface = rest_curve(soil).surface_suction(reading, rod)
    surface = float(np.clip(surface, 0.0 if flooded else depth + base_suction, _DRIEST))
    ends = np.array([0.0, depth])
    return xr.DataArray(surface - ends, {"depth": ends}, ("depth",), "suction")


_DRIEST = 5000.0
FLOODED = 0.9
"""Share of the draws that must read more than drained for a spot to start flooded (a judgement)."""


STARTS = {
    "drained": "every spot starts drained to rest at its own depth, on level ground",
    "readings": "every spot starts at its reading, as a level column that was drained and has "
    "lost water to the turf since; well above its drained reading it starts flooded from the base "
    "up",
}
LEARNED_START = "every spot starts as the calibration leaves it, readings as this meter shows them"
