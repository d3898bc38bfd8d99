"""How evenly water falls: uniformity of irrigation, and what each spot then catches."""

from __future__ import annotations

from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilwater.words.errors import Faults
from soilwater.words.units import number_to_house, to_house


def low_quarter_uniformity(depths: ArrayLike) -> float:
    """Distribution uniformity: mean of the lowest quarter of catch-can depths over their mean.

    The usual definition of the trade (Burt et al. 1997, J. Irrig. Drain. Eng. 123:423-442, from
    memory). A quarter of a number of cans that four does not divide counts the last can in part.

    Parameters
    ----------
    depths : array_like
        Water caught in each can, in any one unit.

    Returns
    -------
    float
        Uniformity [1].

    Raises
    ------
    InputError
        For missing or negative depths, naming the first, or if nothing was caught at all.

    Examples
    --------
    >>> low_quarter_uniformity([4.0, 6.0, 7.0, 7.0])
    0.6666666666666666
    """
    caught = np.asarray(to_house(depths, "water_amount", "depths"), dtype=np.float64).ravel()
    faults = Faults("depths")
    negative = np.flatnonzero(caught < 0.0)
    if negative.size:
        first = int(negative[0])
        faults.add(f"{caught[first]:g} at position {first}", allowed="0 or more")
    elif caught.size < 4:
        faults.add(f"{caught.size} cans", allowed="4 or more")
    elif caught.sum() == 0.0:
        faults.add("nothing was caught in any can")
    faults.raise_if_any()
    return _low_quarter(np.sort(caught)) / float(caught.mean())


def uniformity_multipliers(uniformity: Any, spots: int) -> NDArray[np.float64]:
    """Spread one application over spots so that it has a given low-quarter uniformity.

    The multipliers are the quantiles of a lognormal distribution: never negative, and within a
    few per cent of the normal rule uniformity = 1 - 1.27 x coefficient of variation (Warrick
    1983, J. Irrig. Drain. Eng. 109:214-222, from memory) where that rule is used. Their mean is 1
    and their low-quarter uniformity is the one asked for, whatever the number of spots.

    Parameters
    ----------
    uniformity : float, str or Quantity
        Low-quarter distribution uniformity, above 0 and up to 1 [1].
    spots : int
        Number of spots, 4 or more.

    Returns
    -------
    array of float, shape (spots,)
        Multipliers from the driest spot to the wettest [1]. Which spot of a green is which is for
        you to say.

    Raises
    ------
    InputError
        If either is out of range.

    Examples
    --------
    >>> uniformity_multipliers(0.7, 4).round(2)
    array([0.7 , 0.89, 1.06, 1.35])
    """
    target = number_to_house(uniformity, "fraction", "uniformity")
    faults = Faults("uniformity_multipliers")
    if not 0.0 < target <= 1.0:
        faults.add(f"uniformity is {target:g}", allowed="above 0, up to 1")
    if isinstance(spots, bool) or spots != int(spots) or spots < 4:
        faults.add(f"spots is {spots!r}", allowed="a whole number, 4 or more")
    faults.raise_if_any()
    standard = NormalDist()
    scores = np.array([standard.inv_cdf((i + 0.5) / spots) for i in range(int(spots))])

    def spread(sigma: float) -> NDArray[np.float64]:
        # Shifted by the largest score, so that a wide spread does not overflow.
        raw = np.exp(sigma * (scores - scores[-1]))
        return np.asarray(raw / raw.mean())

    low, high = 0.0, 1.0
    while _low_quarter(spread(high)) > target:
        high *= 2.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _low_quarter(spread(middle)) > target else (low, middle)
    return spread(low)


def _low_quarter(ascending: NDArray[np.float64]) -> float:
    """Mean of the lowest quarter, the last value counted in part."""
    quarter = ascending.size / 4.0
    weight = np.clip(quarter - np.arange(ascending.size), 0.0, 1.0)
    return float(ascending @ weight / quarter)
