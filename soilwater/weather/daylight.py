"""Demand within the hours of daylight: one half-sine from sunrise to sunset, cut anywhere."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilwater.words.errors import Faults, InputError

_HOURS_PER_DAY = 24.0


def cumulative_demand(
    hours: ArrayLike,
    edges: ArrayLike,
    amount: ArrayLike,
    demand_shape: ArrayLike,
) -> NDArray[np.float64]:
    """Demand summed from the first edge up to given times, exactly.

    In an interval of phases p0 to p1 the demand up to phase p is the amount times
    (cos(pi p0) - cos(pi p)) / (cos(pi p0) - cos(pi p1)): the integral of one half-sine
    (elementary calculus). In an even interval it grows in proportion to time.

    Parameters
    ----------
    hours : array_like
        Times at which the sum is wanted [h], inside the edges.
    edges : array_like, shape (n + 1,)
        Interval boundaries [h].
    amount : array_like, shape (n,)
        Demand in each interval [mm].
    demand_shape : array_like, shape (n, 2)
        Phases at the start and end of each interval [1]; (0, 0) for even.

    Returns
    -------
    array of float
        Sum since ``edges[0]`` [mm], in the shape of `hours`.

    Raises
    ------
    InputError
        If a time lies outside the edges.
    """
    when = np.asarray(hours, dtype=np.float64)
    bounds = np.asarray(edges, dtype=np.float64)
    each = np.asarray(amount, dtype=np.float64)
    shape = np.asarray(demand_shape, dtype=np.float64)
    if when.size and (when.min() < bounds[0] or when.max() > bounds[-1]):
        raise InputError(
            f"hours: from {when.min():g} to {when.max():g}; allowed: {bounds[0]:g} to "
            f"{bounds[-1]:g} h."
        )
    i = np.clip(np.searchsorted(bounds, when, side="right") - 1, 0, each.size - 1)
    fraction = (when - bounds[i]) / (bounds[i + 1] - bounds[i])
    p0, p1 = shape[i, 0], shape[i, 1]
    curved = half_sine(p0, p0 + fraction * (p1 - p0)) / nonzero(half_sine(p0, p1))
    before = np.concatenate([[0.0], np.cumsum(each)])
    total: NDArray[np.float64] = before[i] + each[i] * np.where(p1 > p0, curved, fraction)
    return total


def half_sine(p0: Any, p1: Any) -> Any:
    """(cos(pi p0) - cos(pi p1)) / 2, as a product so that narrow pieces keep their digits."""
    return np.sin(np.pi * (p0 + p1) / 2.0) * np.sin(np.pi * (p1 - p0) / 2.0)


def nonzero(values: NDArray[Any]) -> NDArray[np.float64]:
    """Make a divisor safe where the quotient is not used."""
    return np.where(values == 0.0, 1.0, values)


def check_daylight(sunrise: float, sunset: float, faults: Faults) -> None:
    """Note hours of sunrise and sunset that are not of one day."""
    if not 0.0 <= sunrise < sunset <= _HOURS_PER_DAY:
        faults.add(
            f"sunrise={sunrise:g}, sunset={sunset:g}",
            allowed="hours of one day, 0 <= sunrise < sunset <= 24",
        )
