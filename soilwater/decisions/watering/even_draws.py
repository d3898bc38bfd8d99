"""Readings of a hundred draws moved a little, so that they are spread as thousands would be.

How many of a hundred draws read less than a line is uncertain by four in a hundred, and amounts of
water with it. But most of how dry a draw gets follows from what is known of it before it is run:
its sand at some suctions, its base, its weather. What that says of thousands of draws costs nothing
(regression estimation of a distribution: Rao, Kovar & Mantel 1990, Biometrika 77:365, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from soilwater.decisions.watering.draws import Draw, drying
from soilwater.decisions.watering.trials import Trial
from soilwater.ground.turf import Turf
from soilwater.soils import Hysteretic, Soil
from soilwater.words.arrays import FloatArray

ENOUGH = 50
"""Of fewer draws nothing is told of others (our own choice)."""
_HELD_AT = np.array([20.0, 30.0, 40.0, 60.0, 100.0])
_CONDUCTS_AT = np.array([40.0, 60.0, 100.0])
"""Suctions [cm] at which a sand is known: with base and weather they tell 91 to 95 % of the
variance of the lowest reading, at 30 to 45 cm under three forecasts."""
_RIDGE = 0.3
"""What is added to the diagonal for features that hardly differ between draws."""
_MISSES = 20
"""So many quantiles of what a model misses are added to what it tells."""


def evened(
    trial: Trial, drawn: Sequence[Draw], many: Sequence[Draw], turf: Turf, noise: FloatArray | None
) -> Trial:
    """Move the readings of each draw so that the lowest of all are spread as those of many.

    Parameters
    ----------
    trial : Trial
        Spots without water by hand.
    drawn, many : sequence of Draw
        Of the trial, and of as many as there may be.
    turf : Turf
        Roots and demand.
    noise : ndarray, shape (spots, draws), or None
        Errors of the readings that spots start from, in standard deviations; None where they start
        drained.

    Returns
    -------
    Trial
        With the `shift` that moves them; as it was where it has too few draws.
    """
    if trial.draws < ENOUGH:
        return trial
    lowest = trial.reading[:, :, 1:].min(axis=2)
    own, every = _features(drawn, turf), _features(many, turf)
    moved = np.empty_like(lowest)
    for i, low in enumerate(lowest):
        of_spot = own, every
        if noise is not None:
            errors = np.random.default_rng(i).standard_normal(len(many))
            of_spot = np.column_stack([own, noise[i]]), np.column_stack([every, errors])
        order = np.argsort(low)
        moved[i, order] = _spread(*of_spot, low) - low[order]
    return replace(
        trial,
        shift=trial.shift + moved,
        reading=np.clip(trial.reading + moved[:, :, None], 0.0, 1.0),
    )


def _spread(own: FloatArray, every: FloatArray, low: FloatArray) -> FloatArray:
    """Quantiles that as many draws as `low` has would have, of all there may be, rising.

    Parameters
    ----------
    own, every : ndarray, shape (draws, features)
        Of the draws, and of many.
    low : ndarray, shape (draws,)
        Lowest readings of the draws [1].
    """
    middle, width = every.mean(axis=0), every.std(axis=0)
    differ = width > 1e-9 * (1.0 + np.abs(middle))
    if not differ.any() or float(np.ptp(low)) < 1e-9:
        return np.sort(low)
    known, wanted = (
        np.column_stack(
            [np.ones(len(each)), ((each - middle) / np.where(differ, width, 1.0))[:, differ]]
        )
        for each in (own, every)
    )
    ridge = _RIDGE * np.eye(known.shape[1])
    ridge[0, 0] = 0.0
    weights = np.linalg.solve(known.T @ known + ridge, known.T)
    told, told_of_all = known @ (weights @ low), wanted @ (weights @ low)
    # Where water runs out readings fall ever more slowly: what is told is bent to what was found.
    bent = np.polynomial.Polynomial.fit(told, low, 2)
    misses = low - bent(told)
    # A model misses less of what it was made from.
    free = max(low.size - float(np.trace(known @ weights)), 0.5 * low.size)
    middles = (np.arange(_MISSES) + 0.5) / _MISSES
    missed = np.sqrt(low.size / free) * np.quantile(misses, middles)
    inside = np.clip(told_of_all, *bent.domain)
    found = bent(inside) + (told_of_all - inside)
    places = (np.arange(low.size) + 0.5) / low.size
    spread: FloatArray = np.quantile(found[:, None] + missed, places)
    return spread


def _features(drawn: Sequence[Draw], turf: Turf) -> FloatArray:
    """List what is known of draws before they are run, shape (draws, features)."""
    of_sand = {soil: _of_sand(soil) for soil in {draw.soil for draw in drawn}}
    weather = {id(draw.weather): draw.weather for draw in drawn}
    asked = {
        key: (float(np.sum(turf.demand(each))), float(np.sum(each.rain)))
        for key, each in weather.items()
    }
    return np.array(
        [
            (*of_sand[draw.soil], *asked[id(draw.weather)], draw.base, draw.probe, draw.beyond)
            for draw in drawn
        ]
    )


def _of_sand(soil: Soil) -> tuple[float, ...]:
    """List what a sand holds and conducts at some suctions, and how it remembers its wetting."""
    dries = drying(soil)
    memory = (
        (soil.suction_ratio, soil.rewetted_saturation)
        if isinstance(soil, Hysteretic)
        else (1.0, 1.0)
    )
    return (
        *dries.water_content(_HELD_AT).tolist(),
        *np.log(np.maximum(dries.conductivity(_CONDUCTS_AT), 1e-30)).tolist(),
        *memory,
    )
