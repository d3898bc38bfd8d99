"""Elementary steps of soil curves: logarithms that do not cancel, bisection, scales of a table."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from soilwater.words.arrays import FloatArray


def scale_for_table(suction: float) -> float:
    """Characteristic suction [cm], moved into the range whose table reaches from 0.01 to 1e7 cm.

    The kernels tabulate each curve over 2^-14 to 2^27 times this suction. A smooth curve is
    served as well by any scale, so that a fine clay, which loses conductivity from the first
    hundredth of a centimetre on, is given a smaller one than its own.
    """
    return min(max(suction, _SMALLEST_SCALE), _LARGEST_SCALE)


_SMALLEST_SCALE = 0.1


_LARGEST_SCALE = 100.0


def log_or_minus_infinity(suction: FloatArray) -> FloatArray:
    """Natural logarithm of suction; -inf, without a warning, at saturation."""
    with np.errstate(divide="ignore"):
        logarithm: FloatArray = np.log(suction)
    return logarithm


def log_one_plus_exp(power: FloatArray) -> FloatArray:
    """Logarithm of 1 + e^x without overflow.

    ``np.logaddexp(0, x)`` is the same, one number at a time; this takes a third of its time.
    """
    logarithm: FloatArray = np.maximum(power, 0.0) + np.log1p(np.exp(-np.abs(power)))
    return logarithm


def log_of(saturation: FloatArray, deficit: FloatArray) -> FloatArray:
    """Logarithm of a saturation from whichever of it and its deficit is the smaller."""
    wet = deficit < 0.5
    return np.where(wet, np.log1p(-np.where(wet, deficit, 0.0)), np.log(saturation))


def bisect(
    falling: Callable[[FloatArray], FloatArray],
    wanted: FloatArray,
    low: FloatArray,
    high: FloatArray,
) -> FloatArray:
    """Where a falling function takes the wanted values, between `low` and `high`."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        beyond = falling(middle) < wanted
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return 0.5 * (low + high)


_HALVINGS = 64
"""Enough to halve an interval of a hundred logarithms of suction down to round-off."""
