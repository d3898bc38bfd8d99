"""What is told of a spot before and after a change, as numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from soilwater.decisions.watering.ensembles import Runs, daily_share_met, first_at_or_below
from soilwater.decisions.watering.refill import rewetted_reading
from soilwater.decisions.watering.repellent_spots import drained_reading
from soilwater.decisions.watering.situations import Situation
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.profile import Profile
from soilwater.lab.likely_memory import likely_memories
from soilwater.runs.drained import drained_water_content
from soilwater.runs.wetted import USUAL_RAIN
from soilwater.soils import Soil
from soilwater.words.arrays import FloatArray

NUMBERS = {
    "drained": ("drained", "water_content"),
    "rewetted": ("drained, watered gently", "water_content"),
    "air_filled": ("air filled", "water_content"),
    "firm": ("firm", "days"),
    "watch": ("watch", "days"),
    "wilt": ("wilt", "days"),
    "short_of_water": ("short of water", "days"),
    "drainage": ("to gravel", "water_amount"),
}
"""What is told of every spot, as `Outcome` names it: its heading and quantity."""


def numbers_of(
    runs: Runs,
    situations: Sequence[Situation],
    thresholds: Thresholds,
    rod: float,
    shift: FloatArray,
) -> FloatArray:
    """Work out what is told of each spot, a row each in the order of `NUMBERS`.

    Parameters
    ----------
    runs : Runs
        Of the spots.
    situations : sequence of Situation
        The spots.
    thresholds : Thresholds
        Counted to.
    rod : float
        Length of the rods [cm].
    shift : ndarray, shape (spots,)
        What the meter adds to readings [1].
    """
    days = runs.hours / 24.0
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
    middles: FloatArray = np.arange(met.shape[1], dtype=np.float64) + 0.5
    flooded = [drained_water_content(each.at_rest, 0.0, rod) for each in situations]
    memories = [likely_memories(_root_zone(each), 3)[1] for each in situations]
    gentle = [
        rewetted_reading(each.remembering(memory).at_rest, USUAL_RAIN, rod)
        for each, memory in zip(situations, memories, strict=True)
    ]
    drained, rewetted = (
        np.array([drained_reading(*pair, rod) for pair in zip(situations, read, strict=True)])
        for read in (flooded, gentle)
    )
    space = np.array([_pore_space(each.profile, rod) for each in situations])
    lines = (thresholds.firm, thresholds.watch, thresholds.wilt)
    return np.column_stack(
        [
            drained + shift,
            rewetted + shift,
            space - drained,
            *(first_at_or_below(days, runs.reading + shift[:, None], line) for line in lines),
            first_at_or_below(middles, met, thresholds.demand_met),
            runs.drainage[:, -1],
        ]
    )


def _root_zone(spot: Situation) -> Soil:
    return spot.profile.layers[spot.profile.layer_index()].soil


def _pore_space(profile: Profile, depth: float) -> float:
    """Mean saturated water content down to a depth [1]."""
    ends = np.minimum(profile.interfaces, depth)
    space = [layer.soil.theta_s for layer in profile.layers]
    return float(np.diff(ends) @ np.array(space) / depth)
