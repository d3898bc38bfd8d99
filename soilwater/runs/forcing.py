"""What a column feels: weather, irrigation and turf brought together as the kernel's intervals."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.turf import Turf
from soilwater.kernels import rows
from soilwater.weather.irrigation import Event, intercept, merge_intervals
from soilwater.weather.series import Weather


@dataclass(frozen=True, eq=False)
class Forcing:
    """Intervals for the kernel, and what was applied and caught before it.

    Parameters
    ----------
    hours : ndarray, shape (n + 1,)
        Interval boundaries [h since start].
    intervals : ndarray, shape (n, N_FORCING)
        Rows for the kernel: start, end, water, demands, phases.
    rain, irrigation, interception : ndarray, shape (n,)
        Amounts in each interval [mm]; what canopy and mat catch is in neither soil nor runoff.
    """

    hours: NDArray[np.float64]
    intervals: NDArray[np.float64]
    rain: NDArray[np.float64]
    irrigation: NDArray[np.float64]
    interception: NDArray[np.float64]

    def cumulative(
        self, amounts: NDArray[np.float64], hours: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Sum of evenly spread amounts [mm] up to given hours."""
        total = np.concatenate([[0.0], np.cumsum(amounts)])
        return np.asarray(np.interp(hours, self.hours, total))


def make_forcing(weather: Weather, turf: Turf | None, events: Iterable[Event]) -> Forcing:
    """Bring weather, turf and irrigation together.

    Canopy and mat catch water first and lose it at the demand; the demand they meet is not asked
    of the soil.

    Parameters
    ----------
    weather : Weather
        Rain and reference evapotranspiration.
    turf : Turf or None
        Bare and unplanted without one: no demand at all.
    events : iterable of Event
        Irrigation, wholly inside the weather.

    Returns
    -------
    Forcing
        Intervals in hours since the start of the weather.

    Raises
    ------
    InputError
        Naming every event outside the weather.
    """
    finer, irrigation = merge_intervals(weather, events)
    water = finer.rain + irrigation
    through = water
    transpiration = evaporation = np.zeros(finer.n)
    if turf is not None:
        transpiration, evaporation = turf.demand(finer)
        if turf.interception > 0.0:
            demand = transpiration + evaporation
            through, evaporated, _ = intercept(water, demand, turf.interception)
            left = 1.0 - np.divide(evaporated, demand, out=np.zeros(finer.n), where=demand > 0.0)
            transpiration, evaporation = transpiration * left, evaporation * left
    hours = finer.hours
    intervals = np.empty((finer.n, rows.N_FORCING))
    intervals[:, rows.START] = hours[:-1]
    intervals[:, rows.END] = hours[1:]
    intervals[:, rows.WATER_AMOUNT] = through
    intervals[:, rows.TRANSPIRATION_AMOUNT] = transpiration
    intervals[:, rows.EVAPORATION_AMOUNT] = evaporation
    intervals[:, rows.PHASE_START : rows.PHASE_END + 1] = finer.demand_shape
    return Forcing(hours, intervals, finer.rain, irrigation, water - through)
