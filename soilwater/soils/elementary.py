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
    # Without `min` and `max`: an ensemble asks it of thousands.
    if suction < _SMALLEST_SCALE:
        return _SMALLEST_SCALE
    return _LARGEST_SCALE if suction > _LARGEST_SCALE else suction


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
    """Where a falling function takes the wanted values, between `low` and `high`.

    To round-off, by halving or by inverse quadratic interpolation, whichever is safe (Chandrupatla
    1997, Advances in Engineering Software 28:145): a dozen looks where halving takes sixty. Where
    it takes them nowhere, the end that comes nearest.
    """
    last, other = high, low
    beyond, above = falling(last) - wanted, falling(other) - wanted
    ends = [above <= 0.0, beyond >= 0.0]
    part = np.full(np.shape(beyond), 0.5)
    for _ in range(_LOOKS):
        looked = last + part * (other - last)
        found = falling(looked) - wanted
        same = (found > 0.0) == (beyond > 0.0)
        third, at_third = np.where(same, last, other), np.where(same, beyond, above)
        other, above = np.where(same, other, last), np.where(same, above, beyond)
        last, beyond = looked, found
        nearer = np.abs(beyond) < np.abs(above)
        best = np.where(nearer, last, other)
        width = np.abs(other - last)
        least = _ROUND_OFF * np.abs(best) + _SMALLEST
        if np.all((width <= 2.0 * least) | (np.where(nearer, beyond, above) == 0.0)):
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            along, across = (last - other) / (third - other), (beyond - above) / (at_third - above)
            smooth = (across**2 < along) & ((1.0 - across) ** 2 < 1.0 - along)
            aimed = beyond / (above - beyond) * at_third / (above - at_third) + (third - last) / (
                other - last
            ) * beyond / (at_third - beyond) * above / (at_third - above)
            margin = np.minimum(least / width, 0.5)
        part = np.clip(np.where(smooth, aimed, 0.5), margin, 1.0 - margin)
    return np.select(ends, [low, high], best)


_LOOKS = 100
"""More than it takes where every other look is a halving."""
_ROUND_OFF, _SMALLEST = 4.4e-16, 1e-300
"""Two units in the last place, and less than any number that is looked for."""
