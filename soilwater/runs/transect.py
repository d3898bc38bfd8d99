"""A line across ground that is not level: stations with a surface level and a probe depth.

Where the gravel floor slopes, water runs along it inside the sand for days, so a place on a slope
does not read as a level column does. What drives it is the slope of the floor; levels of the
surface and probe depths are both needed to know that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr

from soilwater.ground.linked import STEEPEST, LinkedGround, least_depth, stretched
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.case import columns_alone
from soilwater.runs.line_ends import (
    CLOSED,
    End,
    above_gravel,
    beside_drains,
    beyond_end,
    check_ends,
)
from soilwater.runs.stations import at_stations, check_stations, station_name
from soilwater.survey.line import line_of_spots
from soilwater.survey.survey import Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray, lengths
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.forms import Length, Slope, StartingWater
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.several import items_of
from soilwater.words.units import number_to_house, positive_number

FEWEST_STATIONS = 3
MOST_SHOWN = 12
"""Stations shown in a table; of more, every so many."""
SPACING = 25.0
"""Largest distance of columns along a line [cm]: twice that is good for a preview."""
_BRACKET = (
    "give surface_level, a level at every station, or bracket the answer with "
    'Transect.without_levels(distance, probe_depth, green, steepest_fall="3 %")'
)


@needs_all(
    'Transect(["0 m", "3 m", "6 m"], "2 %", ["12 in", "12 in", "12 in"], '
    'Profile.over_gravel(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"), "12 '
    'in"))'
)
@dataclass(frozen=True, eq=False, repr=False)
class Transect(Displayed):
    """A line of stations; `simulate` runs it as columns that pass water to their neighbours.

    Parameters
    ----------
    distance : sequence of float, str or Quantity
        Distance of each station along the line [cm], rising.
    surface_level : sequence of float, str or Quantity, or str
        Level of the surface at each station above any common mark [cm]; or the fall of an even
        surface along the line, such as ``"2 %"``.
    probe_depth : sequence of float, str or Quantity
        Depth of the sand at each station [cm].
    green : Profile
        Layers and base condition; its root zone is stretched to each depth.
    width : sequence of float, str or Quantity, optional
        Width of the ground the line stands for at each station [cm]: growing away from a knoll,
        shrinking into a bowl. The same everywhere when left out.
    ends : tuple of two, optional
        What lies beyond the first and the last station: "closed" (a crest, a wall, or a mirror
        image); "goes on" (the ground goes on as it is there, and so does the water in it);
        ``WaterTable(depth)`` (all is at rest over water that stands so deep below the turf);
        ``SeepageFace()`` or ``CapillaryBreak(entry_suction)`` (a drained edge, open or of gravel,
        which takes water and gives none).
    spacing : float, str or Quantity, optional
        Largest distance between columns [cm]. Stations farther apart get columns between them, with
        level, depth and width straight from one to the next.
    name : str, optional
        Shown in tables and kept with results.
    barriers : sequence of float, str or Quantity, optional
        Distances along the line [cm] at which a sheet, from the surface into the floor, stops what
        runs sideways.
    drains : sequence of float, str or Quantity, optional
        Distances along the line [cm] at which a trench of gravel, from the surface into the floor
        and drained at its foot, takes what comes to it, as the gravel below does, and lets nothing
        across.

    Raises
    ------
    InputError
        With every fault, by station.

    Examples
    --------
    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> green = sw.Profile.over_gravel(sand, "12 in")
    >>> line = sw.Transect(["0 m", "4 m", "8 m"], "2 %", ["12 in", "11 in", "12 in"], green)
    >>> float(line.floor_slope.max().round(3))
    0.026
    """

    distance: FloatArray
    surface_level: FloatArray
    probe_depth: FloatArray
    green: Profile
    width: FloatArray | None = None
    ends: tuple[End, End] = (CLOSED, CLOSED)
    spacing: float = field(default=SPACING, kw_only=True)
    name: str = field(default="", kw_only=True)
    barriers: Sequence[Length] = field(default=(), kw_only=True)
    drains: Sequence[Length] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'Transect "{self.name}"' if self.name else "Transect")
        distance = at_stations(self.distance, "distance", faults)
        depth = at_stations(self.probe_depth, "probe_depth", faults)
        level = self._levels(distance, faults)
        width = np.ones(distance.size)
        if self.width is not None:
            width = at_stations(self.width, "width", faults)
        spacing = positive_number(self.spacing, "length", "spacing", faults)
        across = {}
        for name in ("barriers", "drains"):
            cure = f'write {name}=["3 m"]'
            places = items_of(getattr(self, name), name, cure, faults)
            across[name] = at_stations(places, name, faults) if places else np.zeros(0)
        if not isinstance(self.green, Profile):
            faults.add(f"green is a {type(self.green).__name__}", allowed="a Profile")
        ends = check_ends(self.ends, faults)
        for name, values in (("surface_level", level), ("probe_depth", depth), ("width", width)):
            if values.size != distance.size and values.size and distance.size:
                faults.add(
                    f"{name} has {values.size} values for {distance.size} distances",
                    allowed="one a station",
                )
        if distance.size and distance.size < FEWEST_STATIONS:
            faults.add(
                f"it has {distance.size} station{'s' * (distance.size > 1)}",
                allowed=f"at least {FEWEST_STATIONS}: where the line begins, bends and ends",
            )
        sizes = {values.size for values in (distance, level, depth, width)}
        # What is missing somewhere hides no other fault.
        along = distance.size >= FEWEST_STATIONS and np.isfinite(distance).all()
        if along and len(sizes) == 1 and isinstance(self.green, Profile):
            check_stations(self.green, distance, level, depth, width, faults)
            for name, found in across.items():
                for at in found[np.isfinite(found)]:
                    if not distance[0] < at < distance[-1]:
                        faults.add(
                            f"a {name[:-1]} at {at:g} cm",
                            allowed=f"between {distance[0]:g} and {distance[-1]:g} cm, on the line",
                        )
        faults.raise_if_any()
        given = {
            "distance": distance,
            "surface_level": level,
            "probe_depth": depth,
            "width": None if self.width is None else width,
            "spacing": spacing,
            "ends": ends,
            **{name: tuple(found.tolist()) for name, found in across.items()},
        }
        for name, value in given.items():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)
            object.__setattr__(self, name, value)

    def _levels(self, distance: FloatArray, faults: Faults) -> FloatArray:
        """Level of each station: as given, or down an even fall."""
        given: Any = self.surface_level
        if given is None:
            faults.add("surface levels are missing", cure=_BRACKET)
            return np.zeros(0)
        if isinstance(given, str):
            with faults.catching():
                return 0.0 - number_to_house(given, "slope", "surface_level") * distance
            return np.zeros(0)
        return at_stations(given, "surface_level", faults)

    @classmethod
    def from_survey(
        cls,
        survey: Survey,
        green: Profile,
        *,
        spots: Sequence[str] | None = None,
        surface_level: Slope | None = None,
        spacing: Length = SPACING,
    ) -> Transect:
        """Make the line through spots of a survey, from one to the next.

        Parameters
        ----------
        survey : Survey
            With places, probe depths and levels of these spots.
        green : Profile
            Layers and base condition; its root zone is stretched to each depth.
        spots : sequence of str, optional
            Their names, in the order of the line; all spots in the order of the survey when left
            out.
        surface_level : float, str or Quantity, optional
            Fall of an even surface along the line, such as ``"2 %"``, in place of levels.
        spacing : float, str or Quantity, optional
            Largest distance between columns [cm].

        Returns
        -------
        Transect
            Named as the survey.

        Raises
        ------
        InputError
            With every fault, by the names of the spots.

        Examples
        --------
        >>> import soilwater as sw
        >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
        >>> green = sw.Profile.over_gravel(sand, "12 in")
        >>> table = {
        ...     "spot": ["front", "middle", "back"],
        ...     "x (m)": [0, 4, 8],
        ...     "y (m)": [0, 3, 6],
        ...     "level (cm)": [0, 6, 20],
        ...     "depth (in)": [12, 11, 12],
        ... }
        >>> sw.Transect.from_survey(sw.read_survey(table), green).distance.tolist()
        [0.0, 500.0, 1000.0]
        """
        found = line_of_spots(
            survey,
            spots,
            needs_levels=surface_level is None,
            least_depth=least_depth(green),
            steepest=STEEPEST,
        )
        level = found.surface_level
        if level is None:
            level = -number_to_house(surface_level, "slope", "surface_level") * found.distance
        return cls(
            found.distance,
            level,
            found.depth,
            green,
            spacing=number_to_house(spacing, "length", "spacing"),
            name=survey.name,
        )

    @classmethod
    def without_levels(
        cls,
        distance: Sequence[Length] | FloatArray,
        probe_depth: Sequence[Length] | FloatArray,
        green: Profile,
        *,
        steepest_fall: Slope,
    ) -> tuple[Transect, Transect]:
        """Bracket a line whose surface levels were not taken.

        If the floor is flat, depths alone make the surface, and nothing runs sideways. If the floor
        follows a surface that falls as steeply as it well may, most does. Truth lies between them,
        nearer to one than to the other; one level at each station, good to 1 cm, tells.

        Parameters
        ----------
        distance, probe_depth : sequence of float, str or Quantity
            As for the class [cm].
        green : Profile
            Layers and base condition.
        steepest_fall : float, str or Quantity
            Fall of the surface along the line [1] that is taken to be the most there is.

        Returns
        -------
        flat_floor, floor_parallel : Transect
            To be run one after the other.

        Raises
        ------
        InputError
            As for the class.
        """
        fall = number_to_house(steepest_fall, "slope", "steepest_fall")
        depth = lengths(probe_depth, "probe_depth")
        along = lengths(distance, "distance")
        flat = cls(along, depth, depth, green, name="flat floor")
        parallel = cls(along, -fall * along, depth, green, name="floor parallel to the surface")
        return flat, parallel

    @property
    def floor_level(self) -> FloatArray:
        """Level of the lower end of the sand at each station [cm]."""
        return self.surface_level - self.probe_depth

    @property
    def floor_slope(self) -> FloatArray:
        """Slope of the floor from station to station [1]."""
        slope: FloatArray = np.abs(np.diff(self.floor_level) / np.diff(self.distance))
        return slope

    def resample(self, spacing: Length) -> Transect:
        """Return the line with more stations, straight between the given ones, which it keeps.

        Parameters
        ----------
        spacing : float, str or Quantity
            Largest distance between stations, and so between columns [cm].

        Returns
        -------
        Transect
            A new line.

        Raises
        ------
        InputError
            If the spacing is no length above 0.
        """
        faults = Faults("Transect.resample")
        most = positive_number(spacing, "length", "spacing", faults)
        faults.raise_if_any()
        parts = np.maximum(1, np.ceil(np.diff(self.distance) / most - 1e-9)).astype(int)
        pieces = [
            np.linspace(a, b, n + 1)[:-1]
            for a, b, n in zip(self.distance[:-1], self.distance[1:], parts, strict=True)
        ]
        distance = np.concatenate([*pieces, self.distance[-1:]])

        def between(values: FloatArray) -> FloatArray:
            straight: FloatArray = np.interp(distance, self.distance, values)
            return straight

        return replace(
            self,
            distance=distance,
            surface_level=between(self.surface_level),
            probe_depth=between(self.probe_depth),
            width=None if self.width is None else between(self.width),
            spacing=most,
        )

    def ground(self) -> LinkedGround:
        """Columns of the line and the faces they share; stations `spacing` apart at most."""
        line = self.resample(self.spacing)
        x = line.distance
        width = np.ones(x.size) if line.width is None else line.width
        gap = np.diff(x)
        face = 0.5 * (width[1:] + width[:-1])
        area = np.zeros(x.size)
        area[:-1] += 0.25 * gap * (width[:-1] + face)
        area[1:] += 0.25 * gap * (width[1:] + face)
        middle = 0.5 * (x[1:] + x[:-1])
        kept = np.ones(x.size - 1, dtype=bool)
        drained = np.searchsorted(x, np.array(line.drains, dtype=np.float64)) - 1
        kept[np.searchsorted(x, np.array(line.barriers, dtype=np.float64)) - 1] = False
        kept[drained] = False
        first = np.flatnonzero(kept)
        level, fall = line.surface_level, -np.diff(line.floor_level) / gap
        last = x.size - 1
        outside = (
            *beyond_end(line.ends[0], 0, level[0], -fall[0], width[0], x[0]),
            *beyond_end(line.ends[1], last, level[-1], fall[-1], width[-1], x[-1]),
            *beside_drains(line.green, [(i, i + 1, face[i], middle[i]) for i in drained.tolist()]),
        )
        profiles = tuple(stretched(self.green, float(depth)) for depth in line.probe_depth)
        return LinkedGround(
            profiles=profiles,
            surface_level=level,
            area=area,
            pairs=np.stack([first, first + 1], axis=-1),
            width=face[first],
            distance=gap[first],
            face_position=middle[first],
            dimension="distance",
            coordinates={"distance": x},
            names=tuple(station_name(i, x) for i in range(x.size)),
            edge=" and ".join(map(str, self.ends)),
            outside=above_gravel(outside, profiles, level),
        )

    def cases(
        self,
        weather: Weather,
        *,
        turf: Turf | None = None,
        start: StartingWater = "soaked",
        irrigation: Sequence[Event] = (),
    ) -> xr.DataArray:
        """Columns of the line as cases that share no water, for `simulate_many`.

        What a run of the line reads less than these is what water sideways does.

        Parameters
        ----------
        weather : Weather
            Rain and reference evapotranspiration.
        turf : Turf, optional
            Roots and demand.
        start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
            As for `simulate`.
        irrigation : sequence of Event, optional
            Water applied.

        Returns
        -------
        DataArray
            A `Case` for each column, over ``distance`` [cm].

        Raises
        ------
        InputError
            If an argument is of the wrong kind.
        """
        return columns_alone(self.ground(), weather, turf, start, irrigation)

    def _rows(self) -> list[tuple[str, ...]]:
        floor = self.floor_level
        step = max(1, -(-self.distance.size // MOST_SHOWN))
        return [
            (
                str(i + 1),
                f"{self.distance[i] / 100.0:.2f} m",
                f"{self.surface_level[i]:.1f} cm",
                in_people_units(self.probe_depth[i], "length"),
                f"{floor[i]:.1f} cm",
            )
            for i in range(0, self.distance.size, step)
        ]

    def _title(self) -> str:
        title = f'Transect "{self.name}"' if self.name else "Transect"
        return (
            f"{title}, {self.distance.size} stations over "
            f"{(self.distance[-1] - self.distance[0]) / 100.0:.1f} m, floor slope up to "
            f"{100.0 * self.floor_slope.max():.1f} %, ends {self.ends[0]} and {self.ends[1]}"
        )

    def _shown(self) -> Shown:
        return Shown(self._title(), _HEADER, self._rows(), set_in=True)


_HEADER = ("station", "distance", "surface level", "probe depth", "floor level")
