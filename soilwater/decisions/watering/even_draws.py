"""A hundred draws paired, and their readings moved a little, so that they stand for thousands.

How many of a hundred draws read less than a line is uncertain by four in a hundred, and amounts of
water with it. But most of how dry a draw gets follows from what is known of it before it is run:
its sand at some suctions, its base, its weather. Where dry sands have met high bases by chance,
they are paired anew (Iman & Conover 1982, Communications in Statistics B 11:311, from memory); and
what these say of thousands of draws costs nothing (a distribution estimated by a model of the
values and what that misses: Chambers & Dunstan 1986, Biometrika 73:597, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.draws import Draw, drying
from soilwater.decisions.watering.trials import Trial
from soilwater.learning.calibration import Calibration
from soilwater.soils import Hysteretic, Soil
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray

ENOUGH = 50
"""Of fewer draws nothing is told of others (our own choice)."""
_HELD_AT = np.array([20.0, 30.0, 40.0, 60.0, 100.0])
_CONDUCTS_AT = np.array([40.0, 60.0, 100.0])
"""Suctions [cm] at which a sand is known: with base and weather they tell 91 to 95 % of the
variance of the lowest reading, at 30 to 45 cm under three forecasts."""
_OTHERS = 5
"""Features beside those of a sand: of weather two, then base, probe and what lies beyond it."""
_RIDGE = 0.3
"""What is added to the diagonal for features that hardly differ between draws."""
_SWEEPS = 4
"""How often each draw is offered an exchange with any other: after that hardly one is taken."""
_MISSES = 40
"""To what a model tells is added what it misses of so many draws."""


def paired_anew(drawn: Sequence[Draw]) -> list[Draw]:
    """Exchange bases and weather between draws until neither goes along with their sands.

    Parameters
    ----------
    drawn : sequence of Draw
        Paired by chance.

    Returns
    -------
    list of Draw
        The same sands, bases and weather; as they were where they are too few.
    """
    if len(drawn) < ENOUGH:
        return [*drawn]
    known = _standard(_features(drawn))
    sand, weather, base = known[:, :-_OTHERS], known[:, -_OTHERS:-3], known[:, -3:-2]
    of_base = _unlike(sand, base)
    of_weather = _unlike(np.column_stack([sand, base[of_base]]), weather)
    return [
        draw._replace(base=drawn[b].base, weather=drawn[w].weather)
        for draw, b, w in zip(drawn, of_base, of_weather, strict=True)
    ]


def _unlike(fixed: FloatArray, moved: FloatArray) -> NDArray[np.int64]:
    """Order `moved` so that its columns go along with those of `fixed` as little as can be."""
    order = np.arange(len(fixed))
    product = fixed.T @ moved
    for i in np.tile(order, _SWEEPS):
        # What each exchange with another would make of the products.
        apart, other = fixed[i] - fixed, moved[order] - moved[order[i]]
        tried = product + apart[:, :, None] * other[:, None, :]
        size = np.sum(tried**2, axis=(1, 2))
        best = int(np.argmin(size))
        if size[best] < (1.0 - 1e-9) * size[i]:
            product, order[[i, best]] = tried[best], order[[best, i]]
    return order


def evened(trial: Trial, own: FloatArray, every: FloatArray) -> Trial:
    """Move the readings of each draw so that the lowest of all are spread as those of many.

    Parameters
    ----------
    trial : Trial
        Spots without water by hand.
    own, every : ndarray, shape (spots, draws, features)
        What is known of the draws of the trial, and of as many as there may be; of one spot where
        all have the same.

    Returns
    -------
    Trial
        With the `shift` that moves them; as it was where it has too few draws.
    """
    if trial.draws < ENOUGH:
        return trial
    lowest = trial.reading[:, :, 1:].min(axis=2)
    moved = np.empty_like(lowest)
    for i, low in enumerate(lowest):
        order = np.argsort(low)
        moved[i, order] = _spread(own[i % len(own)], every[i % len(every)], low) - low[order]
    return replace(
        trial,
        shift=trial.shift + moved,
        reading=np.clip(trial.reading + moved[:, :, None], 0.0, 1.0),
    )


def features_of(drawn: Sequence[Draw], noise: FloatArray | None = None) -> FloatArray:
    """List what is known of draws before they are run, shape (spots, draws, features).

    Parameters
    ----------
    drawn : sequence of Draw
        Combinations.
    noise : ndarray, shape (spots, draws), or None
        Errors of the readings that spots start from, in standard deviations; None where they start
        drained, of which all spots have the same.
    """
    known = _features(drawn)[None]
    if noise is None:
        return known
    return np.concatenate([np.repeat(known, len(noise), axis=0), noise[:, :, None]], axis=2)


def features_learned(
    calibration: Calibration, known: Sequence[Spot], members: Sequence[Weather], rod: float
) -> FloatArray:
    """List what a calibration knows of its draws before they go on, as `features_of` does.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    known : sequence of Spot
        Spots of it.
    members : sequence of Weather
        Weathers, which its draws take in turn.
    rod : float
        Length of the rods [cm].
    """
    shared = calibration.unknowns.coordinates(calibration.shared)
    weather = np.array([_asked(each) for each in members])[np.arange(len(shared)) % len(members)]
    shift = calibration.shift(rod=rod)
    return np.array(
        [
            np.column_stack([shared, weather, calibration.own.depth[:, i], shift[:, i]])
            for i in map(calibration.number_of, known)
        ]
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
    known, wanted = (
        np.column_stack([np.ones(len(each)), _standard(each, every)]) for each in (own, every)
    )
    if not known[:, 1:].any() or float(np.ptp(low)) < 1e-9:
        return np.sort(low)
    ridge = _RIDGE * np.eye(known.shape[1])
    ridge[0, 0] = 0.0
    weights = np.linalg.solve(known.T @ known + ridge, known.T)
    told, told_of_all = known @ (weights @ low), wanted @ (weights @ low)
    # Where water runs out readings fall ever more slowly: what is told is bent to what was found.
    bent = np.polynomial.Polynomial.fit(told, low, 2)
    # A model misses less of what it was made from.
    free = max(low.size - float(np.trace(known @ weights)), 0.5 * low.size)
    order = np.argsort(told)
    misses = np.sqrt(low.size / free) * (low - bent(told))[order]
    # What it misses is not the same everywhere: those of the draws told nearest count.
    first = np.searchsorted(told[order], told_of_all) - _MISSES // 2
    nearest = np.clip(first, 0, low.size - _MISSES)[:, None] + np.arange(_MISSES)
    found = bent(np.clip(told_of_all, *bent.domain))[:, None] + misses[nearest]
    places = (np.arange(low.size) + 0.5) / low.size
    spread: FloatArray = np.quantile(found, places)
    return spread


def _features(drawn: Sequence[Draw]) -> FloatArray:
    """List what is known of draws before they are run, shape (draws, features)."""
    of_sand = {soil: _of_sand(soil) for soil in {draw.soil for draw in drawn}}
    weather = {id(draw.weather): draw.weather for draw in drawn}
    asked = {key: _asked(each) for key, each in weather.items()}
    return np.array(
        [
            (*of_sand[draw.soil], *asked[id(draw.weather)], draw.base, draw.probe, draw.beyond)
            for draw in drawn
        ]
    )


def _asked(weather: Weather) -> tuple[float, float]:
    """Tell what a weather asks for and brings [mm]."""
    return float(np.sum(weather.reference_et)), float(np.sum(weather.rain))


def _standard(features: FloatArray, of: FloatArray | None = None) -> FloatArray:
    """Features less their means, in standard deviations, of all or `of` others."""
    of = features if of is None else of
    middle, width = of.mean(axis=0), of.std(axis=0)
    differ = width > 1e-9 * (1.0 + np.abs(middle))
    found: FloatArray = np.where(differ, (features - middle) / np.where(differ, width, 1.0), 0.0)
    return found


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
