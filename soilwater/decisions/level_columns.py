"""What level columns of any depth read under some weather: what a place on a contour is held to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soilwater.ground.linked import LEAST_DEPTH
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.meter import meter_reading
from soilwater.runs.simulate import compare_depths
from soilwater.soils import Soil
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import nothing_to_hand_back
from soilwater.words.forms import StartingWater
from soilwater.words.times import hours_between

DEPTHS = 30
"""Depths that are run; straight lines between them miss a reading by less than 0.1 %."""
DEEPEST = 120.0
"""Deepest column that is run [cm]: a place that reads drier than this is told as deeper."""


@dataclass(frozen=True, eq=False)
class LevelColumns:
    """Readings of level columns at the end of some weather.

    Attributes
    ----------
    depth : ndarray, shape (n_depths,)
        Depths of the root zone [cm].
    reading : ndarray, shape (n_sands, n_depths)
        What each reads [1]; it falls with depth.
    """

    depth: FloatArray
    reading: FloatArray

    def depth_that_reads(self, reading: FloatArray) -> FloatArray:
        """Find the depth of the level column that reads the same.

        Parameters
        ----------
        reading : ndarray, shape (n_sands, n_places)
            Readings [1].

        Returns
        -------
        ndarray, shape (n_sands, n_places)
            Depths [cm]; the ends of the range for what no level column reads.
        """
        found = [
            np.interp(-wanted, -np.maximum.accumulate(known[::-1])[::-1], self.depth)
            for wanted, known in zip(reading, self.reading, strict=True)
        ]
        return np.array(found)


def level_columns(
    green: Profile,
    soils: Sequence[Soil],
    weather: Weather,
    *,
    rod: float,
    turf: Turf | None,
    start: StartingWater,
    irrigation: Sequence[Event] = (),
    n_threads: int | None = None,
) -> LevelColumns:
    """Run level columns of many depths.

    Parameters
    ----------
    green : Profile
        Layers and base condition; its root zone gets each depth.
    soils : sequence of Soil
        Of its root zone.
    weather : Weather
        Up to the time of the reading.
    rod : float
        Length of the rods [cm].
    turf : Turf or None
        Roots and demand.
    start : str, float, DataArray or Dataset
        As for `simulate`; one suction is in [cm].
    irrigation : sequence of Event, optional
        Water applied.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    LevelColumns
    """
    above = float(green.interfaces[green.layer_index()])
    depth = np.geomspace(max(rod - above, LEAST_DEPTH), DEEPEST, DEPTHS)
    with nothing_to_hand_back():
        run = compare_depths(
            green,
            depth.tolist(),
            weather,
            sand=list(soils),
            turf=turf,
            start=start,
            irrigation=irrigation,
            output=float(hours_between(weather.start, weather.end)),
            keep=("node_suction",),
            n_threads=n_threads,
        )
    reading = meter_reading(run, rod=rod).isel(time=-1).transpose("sample", "root_zone_depth")
    return LevelColumns(depth + above, np.asarray(reading.values))
