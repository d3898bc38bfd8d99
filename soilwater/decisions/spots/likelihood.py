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

    Meter errors are independent, the model error is shared by all readings of a spot; now and then
    readings are wrong, under any cause.

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
    total, squares = _residuals(spot, table, state, dried)
    n = len(spot.usable_readings)

    def density(meter: float) -> tuple[FloatArray, FloatArray]:
        whole = meter**2 + n * errors[1] ** 2
        quadratic = (squares - errors[1] ** 2 / whole * total**2) / meter**2
        determinant = 2.0 * (n - 1) * np.log(meter) + np.log(whole)
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
) -> tuple[FloatArray, FloatArray]:
    """Sum of what the readings of a spot are more than states say, and of its squares."""
    total, squares = np.zeros(state.depth.shape), np.zeros(state.depth.shape)
    drained = {rod: predict(table, state, rod) for rod in {r.rod for r in spot.usable_readings}}
    known = {each.reading: each for each in dried}
    for reading in spot.usable_readings:
        expected = drained[reading.rod]
        if reading in known:
            expected = predict(table, dried_to(state, known[reading]), reading.rod)
        total += reading.value - expected
        squares += (reading.value - expected) ** 2
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
    total, _ = _residuals(spot, table, state, dried)
    whole = meter**2 + len(spot.usable_readings) * model**2
    left = model * meter / np.sqrt(whole) * rng.standard_normal(total.shape)
    return state._replace(missed=model**2 / whole * total + left)
