"""A moisture sensor that stays in the ground, and what it has read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.renamed import needs_all
from soilwater.words.several import items_of
from soilwater.words.times import as_times, stamp
from soilwater.words.units import number_to_house, to_house

_ALIKE = 5e-5
"""Water contents [1] that differ by less are written alike."""
_TELLING = 3
"""Times at which two sensors agree that tell of one (our own choice)."""
_TELLING_ELSEWHERE = 8
"""Different values in which sensors of two places agree that tell of one (our own choice)."""


@needs_all('BuriedSensor("C3", "2 in", ["2025-06-10 06:00"], ["16 %"])')
@dataclass(frozen=True, eq=False)
class BuriedSensor:
    """Readings of a sensor buried at one spot of a survey.

    Parameters
    ----------
    spot : str
        Name of the spot, as in the survey.
    depth : float, str or Quantity
        Depth of its middle below the turf surface [cm].
    times : sequence of datetime64
        When it read, local standard time, going forward.
    values : array_like, shape (times,)
        Water contents by volume [1].
    height : float, str or Quantity, optional
        Height of the soil it reads [cm].

    Raises
    ------
    InputError
        With every fault: depths, times that do not go forward, values that are missing, in a
        sensor's own units, or not as many as times.

    Examples
    --------
    >>> BuriedSensor("C3", "3 in", ["2025-07-01 06:00", "2025-07-01 12:00"], [0.21, 0.20]).depth
    7.62
    """

    spot: str
    depth: float
    times: NDArray[np.datetime64]
    values: FloatArray
    height: float = field(default=5.0, kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'BuriedSensor at "{self.spot}"')
        times: NDArray[np.datetime64] = np.array([], dtype="datetime64[ns]")
        values: FloatArray = np.array([])
        depth = height = np.nan
        with faults.catching():
            times = as_times(self.times, "times")
        with faults.catching():
            values = np.atleast_1d(np.asarray(to_house(self.values, "water_content", "values")))
        if not faults and times.size != values.size:
            faults.add(f"{values.size} values for {times.size} times", allowed="one each")
        with faults.catching():
            depth = number_to_house(self.depth, "length", "depth")
        with faults.catching():
            height = number_to_house(self.height, "length", "height")
        if height <= 0.0 or depth < 0.5 * height:
            faults.add(
                f"depth is {depth:g} cm and height {height:g} cm",
                allowed="a height above 0, and a middle at least half of it deep",
            )
        for i in np.flatnonzero(np.diff(times) <= np.timedelta64(0, "ns"))[:1].tolist():
            faults.add(
                f"time does not go forward: {stamp(times[i])} is followed by {stamp(times[i + 1])}",
                cure="sort the readings and drop repeated ones",
            )
        wrong = np.flatnonzero(~((values > 0.0) & (values < 1.0)))
        if wrong.size:
            faults.add(
                f"{wrong.size} values are missing or no water content, the first "
                f"{values[wrong[0]]:g}",
                allowed="above 0 and below 1 (0.21 for 21 %)",
                cure="leave missing ones out with their times; turn a sensor's own units into "
                "water content by its calibration",
            )
        faults.raise_if_any()
        for name, value in (
            ("times", times),
            ("values", values),
            ("depth", depth),
            ("height", height),
        ):
            object.__setattr__(self, name, value)

    @property
    def place(self) -> tuple[str, float, float]:
        """Spot, depth and height [cm]: where it stays."""
        return self.spot, self.depth, self.height

    def repeats(self, other: BuriedSensor) -> bool:
        """Whether another sensor says the same at all the times both have.

        One time, of many, at which they agree says nothing; nor do, of two places, a few values.

        Parameters
        ----------
        other : BuriedSensor
            Another one.
        """
        times, own, others = np.intersect1d(self.times, other.times, return_indices=True)
        if self.place == other.place:
            enough = times.size >= min(_TELLING, self.times.size, other.times.size)
        else:
            enough = np.unique(self.values[own]).size >= _TELLING_ELSEWHERE
        return enough and np.array_equal(self.values[own], other.values[others])


def sensors_of(given: Any, faults: Faults) -> tuple[BuriedSensor, ...]:
    """Take the sensors an argument holds, in their order, without what is none.

    Parameters
    ----------
    given : object
        What was given as `sensors`.
    faults : Faults
        Takes what is wrong.
    """
    write = 'write sensors=[BuriedSensor("C3", "3 in", times, values)]'
    found = items_of(given, "sensors", write, faults)
    for i, each in enumerate(found):
        if not isinstance(each, BuriedSensor):
            faults.add(f"{each!r} is no BuriedSensor", where=f"sensors[{i}]", cure=write)
    return tuple(each for each in found if isinstance(each, BuriedSensor))


def join_sensors(
    before: Sequence[BuriedSensor], later: Sequence[BuriedSensor], faults: Faults
) -> tuple[BuriedSensor, ...]:
    """Add what sensors have read since to what they read before, place by place.

    Parameters
    ----------
    before, later : sequence of BuriedSensor
        What both have of a place and time counts once.
    faults : Faults
        Takes values that are not those of before.

    Returns
    -------
    tuple of BuriedSensor
        Those of before, in their order, then new ones.
    """
    joined = list(before)
    for sensor in later:
        k = next((k for k, each in enumerate(joined) if each.place == sensor.place), None)
        if k is None:
            joined.append(sensor)
            continue
        known = joined[k]
        _, old, new = np.intersect1d(known.times, sensor.times, return_indices=True)
        other = np.flatnonzero(np.abs(known.values[old] - sensor.values[new]) > _ALIKE)
        if other.size:
            at = int(new[other[0]])
            faults.add(
                f"the sensor at {sensor.spot} read {100 * sensor.values[at]:.1f} % at "
                f"{stamp(sensor.times[at])}, and was told otherwise before",
                cure="give what it has read since",
            )
            continue
        times, first = np.unique(np.append(known.times, sensor.times), return_index=True)
        values = np.append(known.values, sensor.values)[first]
        joined[k] = replace(known, times=times, values=values)
    return tuple(joined)
