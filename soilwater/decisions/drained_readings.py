"""What spots read drained, by their own depth: one set of draws, whichever decision asks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from soilwater.ground.base_suction import BaseSuction
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_at_rest import likely_at_rest
from soilwater.lab.likely_memory import likely_memories
from soilwater.learning.calibration import Calibration
from soilwater.runs.wetted import AfterRain, Rewetted
from soilwater.soils.at_rest import RestCurve
from soilwater.survey.survey import Spot
from soilwater.survey.too_short import beyond_reach
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import ends_and_middle

MEMORIES = 200
"""Likely memories of a sand, for what gentle water leaves."""
PROBE_ERROR = 1.0
"""Standard deviation of one probe depth [cm] (from memory)."""


def by_depth(
    spots: Sequence[Spot],
    sand: Sand,
    base: BaseSuction,
    rod: float,
    error: FloatArray | float,
    draws: int,
    seed: int,
    after: AfterRain | None = None,
) -> FloatArray:
    """Draw what spots read by their own depth alone, drained [1], by draw and spot.

    Parameters
    ----------
    spots : sequence of Spot
        With their depths; NaN where one has none.
    sand : Soil, FitResult or sequence of these
        The sand.
    base : BaseSuction
        Suction left at the base.
    rod : float
        Length of the rods [cm].
    error : ndarray, shape (spots,), or float
        Standard deviation of a probe depth [cm].
    draws : int
        Joint draws of sand, base suction and probe.
    seed : int
        Of the order of the probe's errors, and of memories.
    after : AfterRain, optional
        How the sand was wetted last, with likely memories; flooded when left out.
    """
    deeper = _depths(spots, rod, error, draws, seed)
    if after is not None:
        memories = likely_memories(sand, draws, seed=seed)
        bases = base.shuffled(draws)
        furthest = float(np.nanmax(deeper, initial=0.0)) + base.high
        return np.array(
            [
                RestCurve(Rewetted(each, after), furthest).reading(depths, rod, suction)
                for each, depths, suction in zip(memories, deeper, bases, strict=True)
            ]
        )
    known = np.isfinite(deeper).all(axis=0)
    readings = np.full(deeper.shape, np.nan)
    if known.any():
        furthest = float(deeper[:, known].max()) + base.high
        likely = likely_at_rest(sand, draws, furthest)
        readings[:, known] = likely.readings(deeper[:, known], rod, base.shuffled(draws))
    return readings


def _depths(
    spots: Sequence[Spot], rod: float, error: FloatArray | float, draws: int, seed: int
) -> FloatArray:
    """Draw depths of spots [cm], by draw and spot: as probed, or beyond a probe's reach."""
    from scipy.special import ndtri

    rng = np.random.default_rng((seed, 2))
    strata = (np.arange(draws) + 0.5) / draws
    probe = error * ndtri(rng.permutation(strata))[:, np.newaxis]
    beyond = beyond_reach(rng.permutation(strata))[:, np.newaxis]
    at_least = np.array([spot.depth_at_least for spot in spots])
    more = np.where(at_least, beyond, probe)
    probed: FloatArray = np.array([spot.depth for spot in spots])
    return np.maximum(probed + more, rod)


def learned_readings(
    calibration: Calibration, rod: float, after: AfterRain | None = None
) -> FloatArray:
    """Band of what spots read drained by what was learnt: low end, middle, high end of each [1].

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    rod : float
        Length of the rods [cm].
    after : AfterRain, optional
        How the green was wetted last; flooded when left out.

    Returns
    -------
    ndarray, shape (3, spots)
    """
    return ends_and_middle(calibration.drained(rod=rod, after=after))
