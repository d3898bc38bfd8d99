"""A whole green on a grid: levels of the surface and depths of the sand, cell by cell.

One line across a green is wrong where water leaves it sideways; on the map it has nowhere to hide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.linked import (
    STEEPEST,
    LinkedGround,
    grid_links,
    least_depth,
    stretched,
)
from soilwater.ground.profile import Profile
from soilwater.ground.surveyed import SurveyedGround
from soilwater.ground.turf import Turf
from soilwater.runs.case import columns_alone
from soilwater.runs.line_ends import above_gravel, beside_drains
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import StartingWater
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.several import numbers_of
from soilwater.words.units import positive_number, to_house
from soilwater.words.vocabulary import attach

MOST_COLUMNS = 20_000
"""Most cells of a map: a run of two weeks takes minutes."""
Across = tuple[tuple[float, float], tuple[float, float]]
"""Ends, each east and north [m], of a straight way across a green."""
_HEADER = ("", "least", "mean", "most")


@needs_all(
    "GreenMap([[10.0, 5.0], [5.0, 0.0]], [[30.0, 30.0], [30.0, 30.0]], "
    'Profile.over_gravel(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"), "12 '
    'in"), "1 m")'
)
@dataclass(frozen=True, eq=False, repr=False)
class GreenMap(Displayed):
    """A green as a grid of columns; `simulate` runs it with water passing from cell to cell.

    Parameters
    ----------
    surface_level : array, shape (n_y, n_x)
        Level of the surface in each cell above any common mark [cm]; rows run north, columns east.
        Not a number outside the green.
    probe_depth : array, shape (n_y, n_x)
        Depth of the sand [cm]; not a number outside the green.
    green : Profile
        Layers and base condition; its root zone is stretched to each depth.
    spacing : float, str or Quantity
        Distance of the cells' middles, both ways [cm]. 100 cm serves a green, 50 cm one with
        hollows of 1.5 m.
    mask : array of bool, shape (n_y, n_x), optional
        Where the green is; where both levels and depths are numbers when left out.
    name : str, optional
        Shown in tables and kept with results.
    corner : tuple of float, optional
        East and north [m] of the middle of the first cell.
    origin : tuple of float, optional
        Latitude and longitude [degrees] that these are counted from, where they are known.
    barriers : sequence of pairs of places, optional
        Ends, each east and north [m], of straight sheets, from the surface into the floor, that
        stop what runs sideways.
    drains : sequence of pairs of places, optional
        Ends, likewise, of straight trenches of gravel that are drained at their foot: they take
        what comes to them, as the gravel below does, and let nothing across.

    Raises
    ------
    InputError
        With every fault, by row and column from 1.

    Examples
    --------
    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> green = sw.Profile.over_gravel(sand, "12 in")
    >>> ground = sw.GreenMap([[6.0, 3.0, 0.0]] * 2, [[30.0, 29.0, 30.0]] * 2, green, "1 m")
    >>> ground.n_cells
    6
    """

    surface_level: FloatArray
    probe_depth: FloatArray
    green: Profile
    spacing: float
    mask: NDArray[np.bool_] | None = None
    name: str = field(default="", kw_only=True)
    corner: tuple[float, float] = field(default=(0.0, 0.0), kw_only=True)
    origin: tuple[float, float] | None = field(default=None, kw_only=True)
    barriers: Sequence[Across] = field(default=(), kw_only=True)
    drains: Sequence[Across] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'GreenMap "{self.name}"' if self.name else "GreenMap")
        level = _grid(self.surface_level, "surface_level", faults)
        depth = _grid(self.probe_depth, "probe_depth", faults)
        spacing = positive_number(self.spacing, "length", "spacing", faults)
        if not isinstance(self.green, Profile):
            faults.add(f"green is a {type(self.green).__name__}", allowed="a Profile")
        mask = np.isfinite(level) & np.isfinite(depth) if level.shape == depth.shape else None
        if self.mask is not None:
            mask = np.asarray(self.mask, dtype=bool)
        for name, grid in (("probe_depth", depth), ("mask", mask)):
            if grid is not None and grid.shape != level.shape and level.size and grid.size:
                faults.add(
                    f"{name} has the shape {grid.shape}",
                    allowed=f"{level.shape}, as surface_level",
                )
        across = {name: _ways(getattr(self, name), name, faults) for name in ("barriers", "drains")}
        faults.raise_if_any()
        assert mask is not None
        self._check_cells(level, depth, mask, spacing, faults)
        faults.raise_if_any()
        for name, value in (("surface_level", level), ("probe_depth", depth), ("mask", mask)):
            value.setflags(write=False)
            object.__setattr__(self, name, value)
        object.__setattr__(self, "spacing", spacing)
        for name, ways in across.items():
            object.__setattr__(self, name, ways)

    def _check_cells(
        self,
        level: FloatArray,
        depth: FloatArray,
        mask: NDArray[np.bool_],
        spacing: float,
        faults: Faults,
    ) -> None:
        """Note what is wrong in single cells and between neighbours."""
        count = int(np.count_nonzero(mask))
        if not 1 <= count <= MOST_COLUMNS:
            faults.add(
                f"the green has {count} cells",
                allowed=f"1 to {MOST_COLUMNS:,}",
                cure="take a larger spacing" if count else "give levels and depths",
            )
            return
        least = least_depth(self.green)
        for name, grid in (("surface_level", level), ("probe_depth", depth)):
            for i, j in np.argwhere(mask & ~np.isfinite(grid)).tolist():
                faults.add(
                    f"{name} is missing",
                    where=_cell(i, j),
                    cure="fill it from its neighbours on purpose, or leave the cell out of mask",
                )
        for i, j in np.argwhere(mask & (depth < least)).tolist():
            faults.add(
                f"probe_depth is {depth[i, j]:g} cm",
                where=_cell(i, j),
                allowed=f"{least:g} cm or more",
                cure="the floor would lie above the surface" if depth[i, j] < 0.0 else "",
            )
        # What is wrong already is not told again as a slope.
        floor = np.where(depth >= least, level - depth, np.nan)[mask]
        place = np.argwhere(mask)
        pairs = grid_links(mask)
        slope = np.abs(floor[pairs[:, 0]] - floor[pairs[:, 1]]) / spacing
        for k in np.flatnonzero(slope > STEEPEST).tolist():
            one, other = place[pairs[k, 0]].tolist(), place[pairs[k, 1]].tolist()
            faults.add(
                f"the floor slopes {100.0 * slope[k]:.0f} %",
                where=f"from {_cell(*one)} to {_cell(*other)}",
                allowed=f"up to {100.0 * STEEPEST:.0f} %",
                cure="check both depths, and whether all levels are over one mark",
            )

    @classmethod
    def from_survey(cls, surveyed: SurveyedGround, green: Profile) -> GreenMap:
        """Make the map of a green that was surveyed.

        Parameters
        ----------
        surveyed : SurveyedGround
            From `interpolate_survey`, looked at before.
        green : Profile
            Layers and base condition; its root zone is stretched to each depth.

        Returns
        -------
        GreenMap
            Of the same cells.

        Raises
        ------
        InputError
            As for the class.
        """
        if not isinstance(surveyed, SurveyedGround):
            raise InputError(
                f"surveyed is a {type(surveyed).__name__}; allowed: what "
                "interpolate_survey(survey, outline) gives, once it was looked at."
            )
        return cls(
            surveyed.surface_level,
            surveyed.probe_depth,
            green,
            surveyed.spacing,
            name=surveyed.survey.name,
            corner=surveyed.corner,
            origin=surveyed.survey.origin,
        )

    @property
    def n_cells(self) -> int:
        """Cells of the green."""
        return int(np.count_nonzero(np.asarray(self.mask)))

    @property
    def floor_level(self) -> FloatArray:
        """Level of the lower end of the sand [cm]; not a number outside the green."""
        level: FloatArray = np.where(
            np.asarray(self.mask), self.surface_level - self.probe_depth, np.nan
        )
        return level

    @property
    def axes(self) -> tuple[FloatArray, FloatArray]:
        """North of the rows and east of the columns [m]."""
        n_y, n_x = self.surface_level.shape
        side = self.spacing / 100.0
        east, north = self.corner
        return north + side * np.arange(float(n_y)), east + side * np.arange(float(n_x))

    def ground(self) -> LinkedGround:
        """Columns of the green and the faces they share."""
        mask = np.asarray(self.mask)
        place = np.argwhere(mask)
        y, x = self.axes
        pairs = grid_links(mask)
        middles = np.stack([x[place[:, 1]], y[place[:, 0]]], axis=-1)
        cut, drained = np.zeros(len(pairs), dtype=bool), np.zeros(len(pairs), dtype=bool)
        for ways, marked in ((self.barriers, cut), (self.drains, drained)):
            for ends in ways:
                one, other = middles[pairs[:, 0]], middles[pairs[:, 1]]
                marked |= _crosses(one, other, np.array(ends))
        trenches = pairs[drained & ~cut].tolist()
        pairs = pairs[~drained & ~cut]
        side = np.full(len(pairs), self.spacing)
        n = len(pairs)
        profiles = tuple(stretched(self.green, float(d)) for d in self.probe_depth[mask])
        level = self.surface_level[mask]
        beside = beside_drains(
            self.green, [(*pair, self.spacing, float(n + i)) for i, pair in enumerate(trenches)]
        )
        return LinkedGround(
            profiles=profiles,
            surface_level=level,
            area=np.full(len(place), self.spacing**2),
            pairs=pairs,
            width=side,
            distance=side,
            face_position=np.arange(float(len(pairs))),
            dimension="spot",
            coordinates={
                "spot": np.arange(float(len(place))),
                "y": y[place[:, 0]],
                "x": x[place[:, 1]],
            },
            names=tuple(_cell(*each) for each in place.tolist()),
            edge="closed",
            outside=above_gravel(beside, profiles, level),
        )

    def cases(
        self,
        weather: Weather,
        *,
        turf: Turf | None = None,
        start: StartingWater = "soaked",
        irrigation: Sequence[Event] = (),
    ) -> xr.DataArray:
        """Columns of the green as cases that share no water, for `simulate_many`.

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
            A `Case` for each cell, over ``spot``, with ``x`` and ``y`` [m].

        Raises
        ------
        InputError
            If an argument is of the wrong kind.
        """
        return columns_alone(self.ground(), weather, turf, start, irrigation)

    def on_map(self, values: xr.DataArray) -> xr.DataArray:
        """Spread values over ``spot`` onto the grid.

        Parameters
        ----------
        values : DataArray
            One a cell of the green, such as the reading of a run.

        Returns
        -------
        DataArray
            The same over ``y`` and ``x`` [m], not a number outside the green.

        Raises
        ------
        InputError
            If there is not one a cell.
        """
        if values.sizes.get("spot") != self.n_cells:
            raise InputError(
                f"GreenMap: {values.sizes.get('spot', 0)} values over spot; allowed: "
                f"{self.n_cells}, one a cell of this green."
            )
        ordered = values.transpose(..., "spot")
        grid = np.full((*ordered.shape[:-1], *self.surface_level.shape), np.nan)
        grid[..., np.asarray(self.mask)] = ordered.values
        y, x = self.axes
        dims = (*ordered.dims[:-1], "y", "x")
        kept = {d: ordered[d] for d in ordered.dims[:-1] if d in ordered.coords}
        spread = xr.DataArray(grid, {**kept, "y": y, "x": x}, dims, values.name, values.attrs)
        return spread if values.name is None else attach(spread).assign_attrs(values.attrs)

    def _rows(self) -> list[tuple[str, ...]]:
        rows = []
        for name, grid in (
            ("surface level", self.surface_level),
            ("probe depth", self.probe_depth),
            ("floor level", self.floor_level),
        ):
            inside = grid[np.asarray(self.mask)]
            figures = (inside.min(), inside.mean(), inside.max())
            rows.append((name, *(in_people_units(float(each), "length") for each in figures)))
        return rows

    def _title(self) -> str:
        title = f'GreenMap "{self.name}"' if self.name else "GreenMap"
        area = self.n_cells * (self.spacing / 100.0) ** 2
        return (
            f"{title}, {self.n_cells} cells of {in_people_units(self.spacing, 'length')}, "
            f"{area:.0f} m2, outline closed"
        )

    def _shown(self) -> Shown:
        return Shown(self._title(), _HEADER, self._rows(), set_in=True)


def _crosses(one: FloatArray, other: FloatArray, ends: FloatArray) -> NDArray[np.bool_]:
    """Tell which ways from one place to another, shape (n, 2), cross a straight line."""

    def side(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
        found: FloatArray = (b - a)[..., 0] * (c - a)[..., 1] - (b - a)[..., 1] * (c - a)[..., 0]
        return found

    # A line through the very middle of cells belongs to their far side.
    apart = (side(ends[0], ends[1], one) > 0.0) != (side(ends[0], ends[1], other) > 0.0)
    within = side(one, other, ends[0]) * side(one, other, ends[1]) <= 0.0
    crossed: NDArray[np.bool_] = apart & within
    return crossed


def _ways(given: Any, name: str, faults: Faults) -> tuple[Across, ...]:
    """Both ends of straight ways across a green, or a fault."""
    ends = numbers_of(given, name, f"write {name}=[((0.0, 0.0), (5.0, 0.0))], in metres", faults)
    if not ends.size and ends.ndim == 1:
        return ()
    if ends.shape[1:] != (2, 2) or not np.isfinite(ends).all():
        faults.add(
            f"{name} are no pairs of places", allowed="((east, north), (east, north)) in metres"
        )
        return ()
    return tuple(((a, b), (c, d)) for (a, b), (c, d) in ends.tolist())


def _cell(row: int, column: int) -> str:
    return f"row {row + 1}, column {column + 1}"


def _grid(values: Any, name: str, faults: Faults) -> FloatArray:
    """Lengths on a grid, where what is outside the green is not a number."""
    given = np.asarray(getattr(values, "values", values))
    if given.ndim != 2 or given.dtype.kind not in "fiu":
        faults.add(
            f"{name} is no grid of numbers",
            allowed="rows of levels in cm, as many in each, with nan outside the green",
        )
        return np.zeros((0, 0))
    grid = given.astype(np.float64)
    inside = np.isfinite(grid)
    with faults.catching():
        grid[inside] = to_house(grid[inside], "length", name)
    grid[np.isinf(grid)] = np.nan
    return grid
