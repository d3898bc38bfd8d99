"""How well what is possible at a spot explains its readings, and what that leaves open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from soilwater.decisions.spots.cause import Cause
from soilwater.decisions.spots.states import (
    WRONG_READING,
    State,
    may_be_wrong,
    predict,
    side_by_side,
)
from soilwater.learning.drying import Drying
from soilwater.soils.at_rest import RestCurves
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray


def log_likelihood(
    spot: Spot,
    table: RestCurves,
    state: State,
    errors: tuple[float, float],
    cause: Cause,
    dried: Sequence[Drying] = (),
) -> tuple[FloatArray, FloatArray]:
    """Log-likelihood of a spot's readings, and their mean distance in standard errors.

    Meter errors are independent, with what a reading adds of its own; the model error is shared
    by all readings of a spot; now and then readings are wrong, under any cause.

    Parameters
    ----------
    spot : Spot
        What was read there.
    table : RestCurves
        Readings of the sands.
    state : State
        Possibilities.
    errors : (float, float)
        Standard errors of a reading and of a level column [1].
    cause : Cause
        Whose possibilities they are.
    dried : sequence of Drying, optional
        How far the spot had dried at its readings; drained when left out.
    """
    gaps = _residuals(spot, table, state, dried)
    n = len(spot.usable_readings)

    def density(meter: float) -> tuple[FloatArray, FloatArray]:
        weight, total, squares, logs = _weighed(gaps, meter)
        whole = 1.0 + weight * errors[1] ** 2
        quadratic = squares - errors[1] ** 2 / whole * total**2
        determinant = logs + np.log(whole)
        return -0.5 * (quadratic + determinant + n * np.log(2.0 * np.pi)), quadratic

    meter = float(np.hypot(errors[0], cause.scatter))
    right, quadratic = density(meter)
    wrong, _ = density(float(np.hypot(meter, WRONG_READING)))
    likelihood = may_be_wrong(right, wrong)
    strayed, several = side_by_side(spot)
    if cause.patches > 0.0 and several > 0:
        wider = meter**2 + cause.patches**2
        less = strayed * (1.0 / meter**2 - 1.0 / wider)
        gained = 0.5 * (less - several * np.log(wider / meter**2))
        likelihood = likelihood + np.logaddexp(0.0, gained) - np.log(2.0)
        quadratic = quadratic - (less if gained > 0.0 else 0.0)
    return likelihood, np.sqrt(np.maximum(quadratic, 0.0) / n)


def dried_to(state: State, dried: Drying) -> State:
    """Give states as they were when a reading was taken, each by what its draw says of its depth.

    Parameters
    ----------
    state : State
        Possibilities, drained.
    dried : Drying
        The reading.
    """
    return state._replace(left=dried.share_left(state.draw, state.depth + state.extra))


def _residuals(
    spot: Spot, table: RestCurves, state: State, dried: Sequence[Drying]
) -> dict[float, tuple[int, FloatArray, FloatArray]]:
    """Sum of what the readings of a spot are more than states say, and of its squares.

    By the error their readings add of their own [1], each with how many they are.
    """
    drained = {rod: predict(table, state, rod) for rod in {r.rod for r in spot.usable_readings}}
    known = {each.reading: each for each in dried}
    found: dict[float, tuple[int, FloatArray, FloatArray]] = {}
    for reading in spot.usable_readings:
        expected = drained[reading.rod]
        if reading in known:
            expected = predict(table, dried_to(state, known[reading]), reading.rod)
        gap = reading.value - expected
        count, total, squares = found.get(reading.added_error, (0, 0.0, 0.0))
        found[reading.added_error] = (count + 1, total + gap, squares + gap**2)
    return found


def _weighed(
    gaps: Mapping[float, tuple[int, FloatArray, FloatArray]], meter: float
) -> tuple[float, FloatArray, FloatArray, float]:
    """Add up `gaps` weighed by one over their variances, with a standard error of the meter [1].

    The weights, weighed gaps and their squares; and the logarithms of all variances.
    """
    weight, total, squares, logs = 0.0, np.zeros(()), np.zeros(()), 0.0
    for added, (count, gap, square) in gaps.items():
        variance = meter**2 + added**2
        weight += count / variance
        total = total + gap / variance
        squares = squares + square / variance
        logs += count * float(np.log(variance))
    return weight, total, squares, logs


def with_missed(
    state: State,
    spot: Spot,
    table: RestCurves,
    errors: tuple[float, float],
    cause: Cause,
    rng: np.random.Generator,
    dried: Sequence[Drying] = (),
) -> State:
    """Give states what a level column misses here, as the readings leave it open.

    All further readings of the spot share it. Closed form: a normal mean with known variances.

    Parameters
    ----------
    state : State
        Possibilities.
    spot : Spot
        What was read there.
    table : RestCurves
        Readings of the sands.
    errors : (float, float)
        Standard errors of a reading and of a level column [1].
    cause : Cause
        Whose possibilities they are.
    rng : numpy.random.Generator
        Source of the draws.
    dried : sequence of Drying, optional
        How far the spot had dried at its readings; drained when left out.
    """
    meter, model = float(np.hypot(errors[0], cause.scatter)), errors[1]
    weight, total, _, _ = _weighed(_residuals(spot, table, state, dried), meter)
    whole = 1.0 + weight * model**2
    left = model / np.sqrt(whole) * rng.standard_normal(state.depth.shape)
    return state._replace(missed=model**2 / whole * total + left)
