"""What a column feels: weather, irrigation and turf brought together as the kernel's intervals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.turf import Turf
from soilwater.kernels import rows
from soilwater.weather.irrigation import (
    Event,
    intercept,
    irrigation_amounts,
    merge_intervals,
    refined,
)
from soilwater.weather.series import Weather

LONGEST_SHOWER = 3.0
"""Longest interval [h] over which rain is taken to have fallen evenly while canopy and mat dried. A
day's total fell in some hours nobody wrote down: spread over all of them it would wet the canopy
as fast as it dries, and half a summer storm would be caught (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Forcing:
    """Intervals for the kernel, and what was applied and caught before it.

    Parameters
    ----------
    hours : ndarray, shape (n + 1,)
        Interval boundaries [h since start].
    intervals : ndarray, shape (n, N_FORCING)
        Rows for the kernel: start, end, water, demands, phases.
    rain, irrigation, interception, refused : ndarray, shape (n,)
        Amounts in each interval [mm]; what canopy and mat catch is in neither soil nor runoff, what
        a repellent mat refuses runs off before it comes to the kernel.
    mat_wet_for : float
        How long a mat that refuses water at the end has been wet [h]; not a number where it takes
        water, or there is none.
    """

    hours: NDArray[np.float64]
    intervals: NDArray[np.float64]
    rain: NDArray[np.float64]
    irrigation: NDArray[np.float64]
    interception: NDArray[np.float64]
    refused: NDArray[np.float64]
    mat_wet_for: float = np.nan

    def refusing(self, begin: float, end: float, most: float) -> Forcing:
        """Let no more than a rate [mm/h] in between two of its boundaries [h]; the rest is refused.

        Parameters
        ----------
        begin, end : float
            Since the start of the weather [h].
        most : float
            Rate that soaks in [mm/h].
        """
        length, middle = np.diff(self.hours), 0.5 * (self.hours[1:] + self.hours[:-1])
        water = self.intervals[:, rows.WATER_AMOUNT]
        over = np.where((middle > begin) & (middle < end), water - most * length, 0.0).clip(0.0)
        if not over.any():
            return self
        intervals = self.intervals.copy()
        intervals[:, rows.WATER_AMOUNT] -= over
        return replace(self, intervals=intervals, refused=self.refused + over)

    def cumulative(
        self, amounts: NDArray[np.float64], hours: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Sum of evenly spread amounts [mm] up to given hours."""
        total = np.concatenate([[0.0], np.cumsum(amounts)])
        return np.asarray(np.interp(hours, self.hours, total))


def make_forcing(weather: Weather, turf: Turf | None, events: Iterable[Event]) -> Forcing:
    """Bring weather, turf and irrigation together.

    Canopy and mat catch water first and lose it at the demand; the demand they meet is not asked
    of the soil. In an interval longer than `LONGEST_SHOWER`, rain comes before the demand, so that
    they catch no more of it than they hold.

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
    return forcing_on(*merge_intervals(weather, events), turf)


def forcing_maker() -> Callable[[Weather, Turf | None, Sequence[Event]], Forcing]:
    """Give what makes forcings as `make_forcing` does, for many columns under few weathers.

    Weather that was cut at the same events before, their amounts, and forcings with the water of
    the last call are taken up again. Weathers and turfs are told apart by identity: keep them while
    it is used.
    """
    finer: dict[Any, tuple[_Cut, bytes]] = {}
    amounts: dict[Any, NDArray[np.float64]] = {}
    numbers: dict[Any, int] = {}
    last: tuple[tuple[Event, ...], int, int, dict[Any, Forcing]] | None = None

    def forcing_of(weather: Weather, turf: Turf | None, events: Sequence[Event]) -> Forcing:
        nonlocal last
        given = tuple(events)
        # Under many weathers, and again further on, the same water comes one time after the other.
        if last is None or given != last[0]:
            times = tuple([(event.time, event.duration) for event in given])
            at, what = (numbers.setdefault(each, len(numbers)) for each in (times, given))
            last = given, at, what, {}
        _, at, what, made = last
        felt = id(weather), id(turf)
        if felt not in made:
            cut = id(weather), at
            if cut not in finer:
                among = _Cut.of(refined(weather, given))
                finer[cut] = among, among.weather.edges.tobytes()
            among, edges = finer[cut]
            if (edges, what) not in amounts:
                amounts[edges, what] = irrigation_amounts(given, among.weather.edges)
            made[felt] = among.forcing(amounts[edges, what], turf)
        return made[felt]

    return forcing_of


def forcing_on(finer: Weather, irrigation: NDArray[np.float64], turf: Turf | None) -> Forcing:
    """Make the forcing of weather with irrigation [mm] in its intervals, as `merge_intervals`."""
    return _Cut.of(finer).forcing(irrigation, turf)


class _Cut(NamedTuple):
    """Weather cut at events, its boundaries [h], and rows for the kernel without amounts."""

    weather: Weather
    hours: NDArray[np.float64]
    intervals: NDArray[np.float64]

    @classmethod
    def of(cls, weather: Weather) -> _Cut:
        """Lay out what forcings under all turfs share."""
        hours, intervals = weather.hours, np.zeros((weather.n, rows.N_FORCING))
        intervals[:, rows.START] = hours[:-1]
        intervals[:, rows.END] = hours[1:]
        intervals[:, rows.PHASE_START : rows.PHASE_END + 1] = weather.demand_shape
        return cls(weather, hours, intervals)

    def forcing(self, irrigation: NDArray[np.float64], turf: Turf | None) -> Forcing:
        """Make the forcing with irrigation [mm] in the intervals, and with a turf."""
        weather, hours = self.weather, self.hours
        water = weather.rain + irrigation
        through = water
        intervals = self.intervals.copy()
        if turf is not None:
            transpiration, evaporation = turf.demand(weather)
            if turf.interception > 0.0:
                demand = transpiration + evaporation
                rain_first = (np.diff(hours) > LONGEST_SHOWER) & (irrigation == 0.0)
                through, evaporated = _caught(water, demand, turf.interception, rain_first)
                met = np.divide(evaporated, demand, out=np.zeros(weather.n), where=demand > 0.0)
                # Round-off would leave less than nothing, which no column can be asked for.
                left = np.maximum(1.0 - met, 0.0)
                transpiration, evaporation = transpiration * left, evaporation * left
            intervals[:, rows.TRANSPIRATION_AMOUNT] = transpiration
            intervals[:, rows.EVAPORATION_AMOUNT] = evaporation
        intervals[:, rows.WATER_AMOUNT] = through
        caught = water - through
        return Forcing(hours, intervals, weather.rain, irrigation, caught, np.zeros(weather.n))


def _caught(
    water: NDArray[np.float64],
    demand: NDArray[np.float64],
    capacity: float,
    water_first: NDArray[np.bool_],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Water that passes canopy and mat, and demand met by them [mm], in each interval."""
    parts = np.where(water_first, 2, 1)
    first = np.cumsum(parts) - parts
    interval = np.repeat(np.arange(water.size), parts)
    falls, asks = water[interval], demand[interval]
    falls[first[water_first] + 1] = 0.0
    asks[first[water_first]] = 0.0
    through, evaporated, _ = intercept(falls, asks, capacity)
    return np.add.reduceat(through, first), np.add.reduceat(evaporated, first)
