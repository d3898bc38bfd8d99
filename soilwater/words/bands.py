"""The one level of every band, interval and bracket that people are shown: four in five inside."""

from __future__ import annotations

import numpy as np

from soilwater.words.arrays import FloatArray

PROBABILITY = 0.8
"""That what a band stands for lies inside it [1]; eight in ten is a choice (no source).

A person bets on four in five and checks it within a season; the ends of nine in ten hang on the
rarest draws, which a hundred of them hardly tell.
"""
LOW, HIGH = 0.1, 0.9
"""Its ends, as shares of what is below them [1]."""
NORMAL_END = 1.2816
"""Where it ends if what it stands for is normal, in standard deviations from the middle [1]."""
_MIDDLE = (0.45, 0.55)
"""The middle of a band is the mean of what lies between these shares: the median, but where what is
possible falls in two heaps, as of two sands. There a median lies anywhere in the gap between them,
elsewhere in every call; this lies half way (our own choice)."""


def ends_and_middle(drawn: FloatArray) -> FloatArray:
    """Tell low end, middle and high end of what was drawn.

    Parameters
    ----------
    drawn : ndarray, shape (draws, ...)
        Equally likely finite values; NaN in a place where there are none.

    Returns
    -------
    ndarray, shape (3, ...)

    Examples
    --------
    >>> ends_and_middle(np.array([1.0, 2.0, 3.0, 4.0, 6.0])).tolist()
    [1.4, 3.0, 5.2]
    >>> two_heaps = np.concatenate([np.linspace(0.10, 0.12, 99), np.linspace(0.20, 0.22, 101)])
    >>> round(float(np.median(two_heaps)), 3), round(float(ends_and_middle(two_heaps)[1]), 2)
    (0.2, 0.16)
    """
    low, high = np.quantile(drawn, [LOW, HIGH], axis=0)
    ends = np.arange(len(drawn) + 1) / len(drawn)
    weight = np.diff(np.clip(ends, *_MIDDLE)) / (_MIDDLE[1] - _MIDDLE[0])
    weighed = np.moveaxis(weight * np.moveaxis(np.sort(drawn, axis=0), 0, -1), -1, 0)
    # One after the other: a sum would be another, to round-off, with other draws beside it.
    return np.stack([low, np.cumsum(weighed, axis=0)[-1], high])
