"""Drained statics of one soil in closed form: means over a rod as differences of one integral.

In a drained profile of one soil the suction falls by 1 cm each centimetre down, so the mean water
content over a rod is the mean of the retention curve between two suctions. With the integral of the
curve tabulated once, a reading costs two look-ups, and a depth can be found for any reading.
`RestCurve` holds that integral for one soil; `RestCurves` looks it up for many at once.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from soilwater.words.arrays import FloatArray

_STEP = 0.05
_FINE = np.arange(0.0, 300.0, _STEP)
# The coarse part only serves profiles far drier than any that drains over gravel.
_SUCTION = np.concatenate([_FINE, np.geomspace(300.0, 1e5, 2000)])


class Curve(Hashable, Protocol):
    """What is needed of a soil at rest; it can be hashed."""

    @property
    def theta_s(self) -> float:
        """Saturated water content [m3/m3]."""

    def water_content(self, suction: FloatArray) -> FloatArray:
        """Water contents [m3/m3] at suctions [cm]."""


class RestCurve:
    """Integral of the water content of one soil over suction.

    Parameters
    ----------
    soil : Curve
        Whose retention curve.
    furthest : float, optional
        Suction [cm] up to which it is wanted; most of a table lies beyond any that drains.

    Attributes
    ----------
    suction : ndarray
        Of the table [cm].
    integral : ndarray
        Integral from zero up to each of these [cm].
    """

    def __init__(self, soil: Curve, furthest: float = np.inf) -> None:
        self.soil = soil
        self.suction = _SUCTION[: int(np.searchsorted(_SUCTION, furthest)) + 1]
        water = np.asarray(soil.water_content(self.suction), dtype=np.float64)
        steps = 0.5 * (water[1:] + water[:-1]) * np.diff(self.suction)
        self.integral = np.concatenate([[0.0], np.cumsum(steps)])

    def _up_to(self, suction: FloatArray) -> FloatArray:
        below = np.minimum(suction, 0.0) * self.soil.theta_s
        total: FloatArray = np.interp(suction, self.suction, self.integral) + below
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

        surface = self.suction[1:]
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
def rest_curve(soil: Curve) -> RestCurve:
    """Return the `RestCurve` of a soil, made once."""
    return RestCurve(soil)


class RestCurves:
    """The integrals of several soils, looked up in one call for any mixture of them.

    Parameters
    ----------
    soils : sequence of Curve
        Whose retention curves.
    """

    def __init__(self, soils: Sequence[Curve]) -> None:
        self.soils = tuple(soils)
        integrals = np.concatenate([rest_curve(soil).integral for soil in self.soils])
        self._hold(_SUCTION, _FINE.size, integrals)
        self.saturated = np.array([soil.theta_s for soil in self.soils])

    @classmethod
    def from_water(cls, suction: FloatArray, even: int, water: FloatArray) -> RestCurves:
        """Make them of water contents, where there are too many curves to make soils of.

        Parameters
        ----------
        suction : ndarray, shape (points,)
            Suctions [cm] from zero upward.
        even : int
            How many of them, from the first, are evenly spaced.
        water : ndarray, shape (curves, points)
            Water content [1] there.
        """
        steps = 0.5 * (water[:, 1:] + water[:, :-1]) * np.diff(suction)
        integrals = np.zeros(water.shape)
        np.cumsum(steps, axis=1, out=integrals[:, 1:])
        made = cls.__new__(cls)
        made.soils = ()
        made._hold(suction, even, integrals.ravel())
        # A view would keep all of them.
        made.saturated = water[:, 0].copy()
        return made

    def _hold(self, suction: FloatArray, even: int, integrals: FloatArray) -> None:
        self._suction, self._even, self._integrals = suction, even, integrals
        self._step = float(suction[1])

    def reading(
        self, soil: NDArray[np.int64], surface_suction: FloatArray, rod: FloatArray | float
    ) -> FloatArray:
        """Mean water content from the surface down along a rod [1].

        Parameters
        ----------
        soil : ndarray of int
            Number of the soil.
        surface_suction : ndarray
            Suction at the surface [cm]; it falls by one centimetre for each centimetre down.
        rod : ndarray or float
            Length of the rod [cm].
        """
        top = self._up_to(soil, surface_suction)
        bottom = self._up_to(soil, surface_suction - rod)
        mean: FloatArray = (top - bottom) / rod
        return mean

    def dried(
        self,
        soil: NDArray[np.int64],
        surface_suction: FloatArray,
        depth: FloatArray,
        lost: FloatArray,
        rod: float,
        factor: FloatArray | float = 1.0,
    ) -> FloatArray:
        """Mean water content along a rod [1] of drained columns that lost water, and rest again.

        No column dries so evenly; of two, the one that reads less here does so when it is run.

        Parameters
        ----------
        soil : ndarray of int
            Number of the soil.
        surface_suction : ndarray
            Suction at the surface [cm], drained.
        depth : ndarray
            Of the column [cm].
        lost : ndarray
            Water [mm].
        rod : float
            Length of the rod [cm].
        factor : ndarray or float, optional
            By which suction acts more strongly than on the curves [1].
        """
        least = self.reading(soil, factor * surface_suction, factor * depth) - lost / (10.0 * depth)
        wet, dry = np.zeros(soil.size), np.full(soil.size, _DRIED_BY)
        for _ in range(_HALVINGS):
            middle = surface_suction + 0.5 * (wet + dry)
            wetter = self.reading(soil, factor * middle, factor * depth) > least
            wet, dry = (
                np.where(wetter, 0.5 * (wet + dry), wet),
                np.where(wetter, dry, 0.5 * (wet + dry)),
            )
        return self.reading(soil, factor * (surface_suction + wet), factor * rod)

    def surface_suctions(self, water_content: FloatArray | float, rod: float) -> FloatArray:
        """Suction at the surface [cm] at which the top `rod` cm of each soil hold so much water.

        Minus infinity for saturation or more, infinity for less than a curve gives where it ends.

        Parameters
        ----------
        water_content : ndarray, shape (soils,), or float
            Mean water content [1].
        rod : float
            Length of the rod [cm].
        """
        every = np.arange(self.saturated.size)
        furthest = np.full(every.size, self._suction[-1])
        beyond = self.reading(every, furthest, rod) >= water_content
        # From a power of two, so that where a table ends does not show in the last digits.
        power = int(np.ceil(np.log2(furthest[0])))
        wet, dry = np.zeros(every.size), np.full(every.size, 2.0**power)
        for _ in range(power + _BINARY_PLACES):
            middle = 0.5 * (wet + dry)
            drier = self.reading(every, middle, rod) > water_content
            wet, dry = np.where(drier, middle, wet), np.where(drier, dry, middle)
        found = np.where(beyond, np.inf, 0.5 * (wet + dry))
        return np.where(self.saturated <= water_content, -np.inf, found)

    def _up_to(self, soil: NDArray[np.int64], suction: FloatArray) -> FloatArray:
        known = self._suction
        held = np.maximum(suction, 0.0)
        left = np.minimum(held / self._step, self._even - 1).astype(np.int64)
        coarse = held >= known[self._even - 1]
        if coarse.any():
            beyond = np.searchsorted(known, held[coarse], "right") - 1
            left[coarse] = np.minimum(beyond, known.size - 2)
        at = soil * known.size + left
        start = self._integrals[at]
        slope = (self._integrals[at + 1] - start) / (known[left + 1] - known[left])
        below = np.minimum(suction, 0.0) * self.saturated[soil]
        total: FloatArray = start + (held - known[left]) * slope + below
        return total


_DRIED_BY, _HALVINGS = 300.0, 14
"""Suction [cm] by which a column may dry, and in how many halvings it is found."""
_BINARY_PLACES = 36
"""Places behind the binary point to which a suction [cm] is found."""
