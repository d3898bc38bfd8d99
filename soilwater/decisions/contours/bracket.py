"""A line whose levels were not taken: how far apart its answers are, and what would close them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.meter import meter_reading
from soilwater.runs.simulate import simulate
from soilwater.runs.transect import Transect
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.forms import Length, Slope, StartingWater
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import hours_between, stamp

WORTH_CLOSING = 0.01
"""A bracket narrower than this [1] is below what any answer here is good to (our own choice)."""
METER_TELLS = 0.04
"""Readings [1] this far apart are told apart by a meter with an error of 2 to 3 % (common
practice, no source)."""


@dataclass(frozen=True, repr=False)
class LevelBracket(Displayed, Tabled):
    """Readings along a line without levels: between two floors that its depths allow.

    Attributes
    ----------
    flat_floor, floor_parallel : Transect
        The line over a flat floor, and over one that follows a surface with the steepest fall.
    flat_reading, parallel_reading : ndarray, shape (n,)
        Reading at each station at the end of the weather [1].
    when : str
        The end of the weather.
    cautions : tuple of str
        What must stand beside the answer.
    """

    flat_floor: Transect
    floor_parallel: Transect
    flat_reading: FloatArray
    parallel_reading: FloatArray
    when: str
    cautions: tuple[str, ...]

    @property
    def gap(self) -> FloatArray:
        """Reading over a flat floor less that over a floor like the surface [1]."""
        gap: FloatArray = self.flat_reading - self.parallel_reading
        return gap

    @property
    def closing_measurement(self) -> str:
        """Which measurement would close the bracket, and what it would show."""
        widest = int(np.argmax(np.abs(self.gap)))
        wide = abs(float(self.gap[widest]))
        if wide < WORTH_CLOSING:
            return f"no level would change a reading by more than {100.0 * wide:.1f} %: none needed"
        rises = [
            line.surface_level - line.surface_level[0]
            for line in (self.flat_floor, self.floor_parallel)
        ]
        told = int(np.argmax(np.abs(rises[1] - rises[0])))
        flat, parallel = (float(each[told]) for each in rises)
        one = one_writing("length")
        said = (
            f"take the level of {self._name(told)} against the first: {_level(flat)} says a flat "
            f"floor, {_level(parallel)} one like the surface, and 1 {one.unit} of error leaves "
            f"{100.0 * wide / one.of(abs(parallel - flat)):.1f} % open; a level at every station "
            "says what lies between"
        )
        if wide >= METER_TELLS:
            said += (
                f"; or read the meter at {self._name(widest)} at that time: about "
                f"{100.0 * self.flat_reading[widest]:.0f} % or "
                f"{100.0 * self.parallel_reading[widest]:.0f} %"
            )
        return said

    def _name(self, i: int) -> str:
        return f"station {i + 1} ({in_one_unit(self.flat_floor.distance[i] / 100.0, 'distance')})"

    def _columns(self) -> list[Column]:
        return [
            Column("along", self.flat_floor.distance / 100.0, "distance"),
            Column("probe depth", self.flat_floor.probe_depth, "length"),
            Column("reading over a flat floor", self.flat_reading, "water_content"),
            Column("over a floor like the surface", self.parallel_reading, "water_content"),
        ]

    def _shown(self) -> Shown:
        rows = [
            (
                self._name(i),
                in_people_units(float(self.flat_floor.probe_depth[i]), "length"),
                f"{100.0 * self.flat_reading[i]:.1f} %",
                f"{100.0 * self.parallel_reading[i]:.1f} %",
                f"{-100.0 * self.gap[i]:+.1f} %",
            )
            for i in range(self.gap.size)
        ]
        lines = [f"- to close it: {self.closing_measurement}", *caution_lines(self.cautions)]
        return Shown(f"Readings on {self.when}, by volume", _HEADER, rows, lines)


def _level(rise: float) -> str:
    """Write a rise [cm] to the centimetre, or a tenth of an inch."""
    one = one_writing("length")
    return f"{one.of(rise):+.{1 if one.unit == 'in' else 0}f} {one.unit}"


_HEADER = ("station", "depth", "flat floor", "floor like the surface", "difference")


@mind_words()
def level_bracket(
    distance: Sequence[Length],
    probe_depth: Sequence[Length],
    green: Profile,
    weather: Weather,
    *,
    steepest_fall: Slope,
    rod: Length,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
) -> LevelBracket:
    """Bracket the readings along a line whose levels were not taken, and say what would close it.

    Parameters
    ----------
    distance, probe_depth : sequence of float, str or Quantity
        Stations as for `Transect` [cm].
    green : Profile
        Layers and base condition; its root zone is stretched to each depth.
    weather : Weather
        Rain and reference evapotranspiration up to the time that is asked about.
    steepest_fall : float, str or Quantity
        Fall of the surface along the line [1] that is taken to be the most there is.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    turf : Turf, optional
        Roots and demand.
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        As for `simulate`; one suction is in [cm].
    irrigation : sequence of Event, optional
        Water applied.

    Returns
    -------
    LevelBracket

    Raises
    ------
    InputError
        As for `Transect` and `simulate`.
    """
    lines = Transect.without_levels(distance, probe_depth, green, steepest_fall=steepest_fall)
    readings = []
    for line in lines:
        run = simulate(
            line, weather, turf=turf, start=start, irrigation=irrigation,
            output=float(hours_between(weather.start, weather.end)), keep=("node_suction",),
        )  # fmt: skip
        reading = meter_reading(run, rod=rod).isel(time=-1)
        readings.append(reading.sel(distance=line.distance).values)
    said = cautions_for("sloping ground", "accuracy")
    return LevelBracket(*lines, readings[0], readings[1], stamp(weather.end), said)
