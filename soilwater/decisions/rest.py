"""Drained statics of one soil in closed form: means over a rod as differences of one integral.

In a drained profile of one soil the suction falls by 1 cm each centimetre down, so the mean water
content over a rod is the mean of the retention curve between two suctions. With the integral of the
curve tabulated once, a reading costs two look-ups, and a depth can be found for any reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.errors import InputError
from soilwater.fitting import FitResult
from soilwater.soils import Soil
from soilwater.units import number_to_house, to_house

FloatArray = NDArray[np.float64]

_FINE = np.arange(0.0, 300.0, 0.05)
# The coarse part only serves profiles far drier than any that drains over gravel.
_SUCTION = np.concatenate([_FINE, np.geomspace(300.0, 1e5, 2000)])


@dataclass(frozen=True)
class BaseSuction:
    """Suction left at the base of a drained profile, with its band.

    Parameters
    ----------
    best, low, high : float, str or Quantity
        Suction [cm]: what is assumed, and between which limits it may lie. Negative where water
        stands above the base.
    why : str, optional
        Where the numbers come from; printed with every answer.

    Raises
    ------
    InputError
        If they are not in order.

    Examples
    --------
    >>> BaseSuction(30.0, 10.0, 60.0, "clay loam under the cap").high
    60.0
    """

    best: float
    low: float
    high: float
    why: str = ""

    def __post_init__(self) -> None:
        for name in ("best", "low", "high"):
            value = number_to_house(getattr(self, name), "suction", name)
            object.__setattr__(self, name, value)
        if not self.low <= self.best <= self.high:
            raise InputError(
                f"BaseSuction: low {self.low:g}, best {self.best:g}, high {self.high:g} cm; "
                "allowed: low at or below best, best at or below high."
            )

    def __str__(self) -> str:
        text = f"{self.best:g} cm"
        if self.low < self.high:
            text += f", between {self.low:g} and {self.high:g} cm"
        return f"{text} ({self.why})" if self.why else text

    def plus(self, extra: float) -> BaseSuction:
        """Return the same band with every value raised by `extra` [cm]."""
        return BaseSuction(self.best + extra, self.low + extra, self.high + extra, self.why)

    def spread(self, n: int) -> FloatArray:
        """Return `n` suctions [cm] evenly over the band, each as likely as the next."""
        return self.low + (self.high - self.low) * (np.arange(n) + 0.5) / n


OVER_GRAVEL = BaseSuction(
    3.0,
    0.0,
    9.0,
    "assumed over gravel: nobody measures it on site; 0 in text-books, about 9 cm in one trial",
)
"""Suction left over a gravel blanket [cm] (the 9 cm read in an abstract, the rest from memory)."""


def base_band(given: Any) -> BaseSuction:
    """Take a base suction however it is written.

    Parameters
    ----------
    given : BaseSuction, float, str, Quantity, or two of these
        A band, one value [cm], or low and high, of which the middle is the best.

    Returns
    -------
    BaseSuction

    Raises
    ------
    InputError
        If a value is no suction, or they are not in order.
    """
    if isinstance(given, BaseSuction):
        return given
    if isinstance(given, (tuple, list)):
        if len(given) != 2:
            raise InputError(
                f"base_suction: {len(given)} values; allowed: one, two (low and high), or "
                "BaseSuction(best, low, high)."
            )
        low, high = (number_to_house(each, "suction", "base_suction") for each in given)
        return BaseSuction(0.5 * (low + high), low, high, "as given")
    value = number_to_house(given, "suction", "base_suction")
    return BaseSuction(value, value, value, "as given")


class RestCurve:
    """Integral of the water content of one soil over suction.

    Parameters
    ----------
    soil : Soil
        Whose retention curve.
    """

    def __init__(self, soil: Soil) -> None:
        self.soil = soil
        water = np.asarray(soil.water_content(_SUCTION), dtype=np.float64)
        steps = 0.5 * (water[1:] + water[:-1]) * np.diff(_SUCTION)
        self._integral = np.concatenate([[0.0], np.cumsum(steps)])

    def _up_to(self, suction: FloatArray) -> FloatArray:
        below = np.minimum(suction, 0.0) * self.soil.theta_s
        total: FloatArray = np.interp(suction, _SUCTION, self._integral) + below
        return total

    def mean(self, low: Any, high: Any) -> FloatArray:
        """Mean water content [1] between two suctions [cm], `low` below `high`."""
        low, high = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
        mean: FloatArray = (self._up_to(high) - self._up_to(low)) / (high - low)
        return mean

    def reading(self, depth: Any, rod: float, base_suction: Any = 0.0) -> FloatArray:
        """Mean water content [1] of the top `rod` cm of drained soil `depth` cm deep.

        `base_suction` is the suction left at the base [cm].
        """
        surface = np.asarray(depth, dtype=np.float64) + base_suction
        return self.mean(surface - rod, surface)

    def surface_suction(self, water_content: float, rod: float) -> float:
        """Suction at the surface [cm] at which the top `rod` cm hold a mean water content [1].

        Minus infinity for more than saturation, infinity for less than the driest curve gives.
        """
        from scipy.optimize import brentq

        surface = _SUCTION[1:]
        means = self.reading(surface, rod)
        if water_content >= self.soil.theta_s:
            return -np.inf
        if water_content <= means[-1]:
            return np.inf
        first = int(np.argmax(means <= water_content))
        if first == 0:
            return 0.0
        # Between two points of the curve a mean bends where the other end of the rod meets a point.
        return float(
            brentq(
                lambda at: float(self.reading(at, rod)) - water_content,
                surface[first - 1],
                surface[first],
            )
        )


@lru_cache(maxsize=512)
def rest_curve(soil: Soil) -> RestCurve:
    """Return the `RestCurve` of a soil, made once."""
    return RestCurve(soil)


def best_and_samples(soil: Soil | FitResult, n: int) -> tuple[Soil, tuple[Soil, ...]]:
    """Return the soil itself and soils that stand for what is not known of it.

    Parameters
    ----------
    soil : Soil or FitResult
        One curve, or a fit with its posterior sample.
    n : int
        How many of the sample.

    Returns
    -------
    soil : Soil
        The curve, or the best of the fit.
    samples : tuple of Soil
        The curve alone, or `n` of the sample.

    Raises
    ------
    InputError
        If it is neither.
    """
    if isinstance(soil, FitResult):
        return soil.soil, soil.samples(min(n, soil.parameter_sample.shape[0]))
    if not hasattr(soil, "effective_saturation"):
        raise InputError(
            f"soil: {soil!r}; allowed: a soil such as VanGenuchten(...), or the result of "
            "RetentionTable.fit."
        )
    return soil, (soil,)


def lengths(values: Any, name: str) -> FloatArray:
    """Return `values` as an array of lengths [cm], called by their `name` in messages."""
    return np.atleast_1d(np.asarray(to_house(values, "length", name), dtype=np.float64))
