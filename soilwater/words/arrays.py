"""Arrays of numbers as this package passes them on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.words.units import to_house

FloatArray = NDArray[np.float64]
"""Numbers in house units."""


def lengths(values: Any, name: str) -> FloatArray:
    """Return `values` as an array of lengths [cm], called by their `name` in messages."""
    return np.atleast_1d(np.asarray(to_house(values, "length", name), dtype=np.float64))


_SPARSE = 8
"""Numbers up to so many times how many there are lie close enough to be ticked off."""


def which_occur(numbers: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Tell which numbers occur, and where each lies among these.

    As `numpy.unique` does, which sorts, and holds the interpreter for all that time.

    Parameters
    ----------
    numbers : ndarray of int
        Not below 0.

    Returns
    -------
    occurring : ndarray of int, shape (different,)
        In rising order.
    place : ndarray of int, shape of `numbers`
        So that ``occurring[place]`` gives them back.
    """
    beyond = int(numbers.max(initial=-1)) + 1
    if beyond > _SPARSE * numbers.size:
        occurring, place = np.unique(numbers, return_inverse=True)
        return occurring, place.reshape(numbers.shape)
    occurs = np.zeros(beyond, dtype=np.bool_)
    occurs[numbers] = True
    return np.flatnonzero(occurs), (np.cumsum(occurs) - 1)[numbers]


_FEW = 16
"""Values of which it takes next to nothing to repeat them plainly."""


def spread(values: NDArray[Any], counts: NDArray[np.int64]) -> NDArray[Any]:
    """Repeat each value as `numpy.repeat` does, which holds the interpreter for all that time.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of any kind.
    counts : ndarray of int, shape (n,)
        How often each is repeated, at least once.

    Returns
    -------
    ndarray, shape (sum of counts,)
    """
    if counts.size <= _FEW:
        return np.repeat(values, counts)
    if counts.min() == counts.max():
        return np.broadcast_to(values[:, np.newaxis], (values.size, counts[0])).flatten()
    which = np.zeros(counts.sum(), dtype=np.int64)
    which[np.cumsum(counts)[:-1]] = 1
    spread_out: NDArray[Any] = values[np.cumsum(which)]
    return spread_out
