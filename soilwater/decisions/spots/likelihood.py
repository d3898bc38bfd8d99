"""How well what is possible at a spot explains its readings, and what that leaves open."""

from __future__ import annotations

from collections.abc import Sequence

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

    Meter errors are independent, and so are those that readings bring of their own; the model error
    is shared by all readings of a spot; now and then readings are wrong, under any cause.

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
    meter = float(np.hypot(errors[0], cause.scatter))
    added = np.array([reading.added_error for reading in spot.usable_readings])
    # As they are told, and were all of them wrong.
    each = np.hypot(meter, added), np.hypot(np.hypot(meter, added), WRONG_READING)
    total, squares = _misfits(spot, table, state, dried, np.array([own**-2 for own in each]))

    def density(which: int) -> tuple[FloatArray, FloatArray]:
        own = each[which]
        whole = 1.0 + errors[1] ** 2 * np.sum(own**-2)
        quadratic = squares[which] - errors[1] ** 2 / whole * total[which] ** 2
        determinant = np.log(whole) + np.sum(np.log(2.0 * np.pi * own**2))
        return -0.5 * (quadratic + determinant), quadratic

    right, quadratic = density(0)
    wrong, _ = density(1)
    likelihood = may_be_wrong(right, wrong)
    strayed, several = side_by_side(spot)
    if cause.patches > 0.0 and several > 0:
        wider = meter**2 + cause.patches**2
        less = strayed * (1.0 / meter**2 - 1.0 / wider)
        gained = 0.5 * (less - several * np.log(wider / meter**2))
        likelihood = likelihood + np.logaddexp(0.0, gained) - np.log(2.0)
        quadratic = quadratic - (less if gained > 0.0 else 0.0)
    return likelihood, np.sqrt(np.maximum(quadratic, 0.0) / added.size)


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


def _misfits(
    spot: Spot,
    table: RestCurves,
    state: State,
    dried: Sequence[Drying],
    weights: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Sum of what the readings of a spot are more than states say, and of its squares.

    Weighted, for each row of weights of the readings.
    """
    shape = (len(weights), *state.depth.shape)
    total, squares = np.zeros(shape), np.zeros(shape)
    drained = {rod: predict(table, state, rod) for rod in {r.rod for r in spot.usable_readings}}
    known = {each.reading: each for each in dried}
    for reading, weight in zip(spot.usable_readings, weights.T, strict=True):
        expected = drained[reading.rod]
        if reading in known:
            expected = predict(table, dried_to(state, known[reading]), reading.rod)
        off = reading.value - expected
        for i, one in enumerate(weight):
            total[i] += one * off
            squares[i] += one * off**2
    return total, squares


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
    own = [meter**2 + reading.added_error**2 for reading in spot.usable_readings]
    weights = 1.0 / np.array([own])
    total, _ = _misfits(spot, table, state, dried, weights)
    whole = 1.0 + model**2 * weights.sum()
    left = model / np.sqrt(whole) * rng.standard_normal(total[0].shape)
    return state._replace(missed=model**2 / whole * total[0] + left)
