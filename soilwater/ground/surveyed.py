"""From probe holes and levels to the ground of a whole green, with how well it is known.

Nothing here is used before it was seen: what comes out shows itself as a table and a picture, and
only then goes into a map of columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.cells import cells_in, middles, on_cells
from soilwater.ground.linked import LEAST_DEPTH
from soilwater.ground.surfaces import FEWEST_POINTS, Surface, thinned, through_points
from soilwater.ground.surveyed_spots import check_places, check_values, place_of, usable_spots
from soilwater.survey.earth import written_place
from soilwater.survey.line import places_of
from soilwater.survey.outline import distance_from, inside, read_outline
from soilwater.survey.survey import Spot, Survey
from soilwater.words.arrays import FloatArray
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length, Slope
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house, positive_number

DOUBTFUL = 3.5
"""A value this many standard errors from what all others say is doubted (our own choice)."""
_ROUND = "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW"
COMPASS = {name: 22.5 * i for i, name in enumerate(_ROUND.split())}


@dataclass(frozen=True, eq=False, repr=False)
class SurveyedGround(Displayed, Tabled):
    """Levels of the surface and depths of the sand over a green, with their standard errors.

    Attributes
    ----------
    survey : Survey
        Spots it was made from.
    outline : ndarray, shape (n, 2)
        Corners of the green, east and north [m].
    spacing : float
        Distance of the cells' middles, both ways [cm].
    corner : tuple of float
        East and north [m] of the middle of the south-western cell.
    mask : ndarray of bool, shape (n_y, n_x)
        Cells of the green; rows run north, columns east.
    surface_level, probe_depth : ndarray, shape (n_y, n_x)
        Level and depth in each cell [cm]; not a number outside the green.
    surface_level_error, probe_depth_error : ndarray, shape (n_y, n_x)
        Their standard errors [cm]; the error of a level says how well it is known beside the mark,
        not how good the mark is.
    notes : tuple of str
        What was taken for granted, left out, or does not fit.
    """

    survey: Survey
    outline: FloatArray
    spacing: float
    corner: tuple[float, float]
    mask: NDArray[np.bool_]
    surface_level: FloatArray
    probe_depth: FloatArray
    surface_level_error: FloatArray
    probe_depth_error: FloatArray
    notes: tuple[str, ...]
    _surfaces: tuple[Surface | None, Surface]

    @property
    def places(self) -> FloatArray:
        """East and north of each cell of the green [m], shape (n_cells, 2)."""
        return middles(self.mask, self.corner, self.spacing)

    @property
    def next_hole(self) -> tuple[float, float]:
        """East and north [m] of the place whose depth is known least."""
        east, north = self.places[int(np.argmax(self.probe_depth_error[self.mask]))]
        return float(east), float(north)

    def samples(self, draws: int, *, seed: int = 0) -> tuple[SurveyedGround, ...]:
        """Grounds that the points allow, each as likely as the next.

        Parameters
        ----------
        draws : int
            How many.
        seed : int, optional
            Of the random numbers.

        Returns
        -------
        tuple of SurveyedGround
            With levels and depths drawn together from cell to cell; depths no less than what
            columns are made of.

        Raises
        ------
        InputError
            If the green has too many cells for that.
        """
        rng = np.random.default_rng(seed)
        grids = []
        for surface, best in zip(
            self._surfaces, (self.surface_level, self.probe_depth), strict=True
        ):
            grid = np.repeat(best[None], draws, axis=0)
            if surface is not None:
                grid[:, self.mask] = surface.draw(self.places, draws, rng)
            grids.append(grid)
        return tuple(
            replace(self, surface_level=level, probe_depth=np.maximum(depth, LEAST_DEPTH))
            for level, depth in zip(*grids, strict=True)
        )

    def _columns(self) -> list[Column]:
        east, north = self.places.T
        grids = {
            "surface level": self.surface_level,
            "surface level error": self.surface_level_error,
            "probe depth": self.probe_depth,
            "probe depth error": self.probe_depth_error,
        }
        return [
            Column("east", east, "distance"),
            Column("north", north, "distance"),
            *(Column(name, grid[self.mask], "length") for name, grid in grids.items()),
        ]

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (name, *(in_people_units(float(f(grid[self.mask])), "length") for f in _FIGURES))
            for name, grid in (
                ("surface level", self.surface_level),
                ("  standard error", self.surface_level_error),
                ("probe depth", self.probe_depth),
                ("  standard error", self.probe_depth_error),
                ("floor level", self.surface_level - self.probe_depth),
            )
        ]

    def _shown(self) -> Shown:
        area = np.count_nonzero(self.mask) * (self.spacing / 100.0) ** 2
        title = (
            f'SurveyedGround "{self.survey.name}"' if self.survey.name else "SurveyedGround"
        ) + f", {np.count_nonzero(self.mask)} cells of {self.spacing:g} cm, {area:.0f} m2"
        east, north = self.next_hole
        lines = [f"- {note}" for note in self.notes]
        lines.append(f"- depth is known least {east:.1f} m east, {north:.1f} m north: probe there")
        return Shown(title, _HEADER, self._rows(), lines, set_in=True)


_HEADER = ("", "least", "mean", "most")
_FIGURES = (np.min, np.mean, np.max)


@mind_words()
def interpolate_survey(
    survey: Survey,
    outline: Any = None,
    *,
    spacing: Length = 100.0,
    levels: Survey | None = None,
    fall: Slope | None = None,
    towards: float | str | None = None,
    depth_error: Length = 1.0,
    level_error: Length = 0.5,
    one_mark: bool = False,
) -> SurveyedGround:
    """Make the ground of a green from spots with depths and levels: to be looked at, then run.

    Parameters
    ----------
    survey : Survey
        Spots with places and probe depths, and with levels unless these come otherwise.
    outline : sequence of pairs, path, DataFrame or mapping, optional
        Corners of the green in their order: pairs of metres east and north, a table with x and y or
        latitude and longitude, or a GeoJSON file of one polygon. The line around the spots, half a
        cell away from them, when left out.
    spacing : float, str or Quantity, optional
        Distance of the cells' middles, both ways [cm]. 100 cm serves a green, 50 cm one with
        hollows of 1.5 m.
    levels : Survey, optional
        Levels taken at other places, with a total station or from the air, over one mark.
    fall : float, str or Quantity, optional
        Fall of an even surface [1], where no levels were taken.
    towards : float or str, optional
        Bearing it falls to [degrees], clockwise from north, or a point of the compass (``"SE"``).
    depth_error, level_error : float, str or Quantity, optional
        Standard error of one probe hole and of one level [cm].
    one_mark : bool, optional
        Whether a step between two groups of spots is ground, and not a second mark of levels.

    Returns
    -------
    SurveyedGround
        To be shown, drawn (`plot.surveyed_ground`), and then given to `GreenMap.from_survey`.

    Raises
    ------
    InputError
        With every fault, by the names of the spots.

    Notes
    -----
    Kriging with an unknown plane (levels) or an unknown mean (depths), and a variation whose size,
    reach and scatter are those under which the points are likeliest (Rasmussen and Williams 2006,
    Gaussian Processes for Machine Learning, eq. 2.42 and 5.8). Errors are widened where leaving out
    one point after the other shows them to be too small.
    """
    faults = Faults(f'Survey "{survey.name}"' if survey.name else "Survey")
    side = positive_number(spacing, "length", "spacing", faults)
    errors = [
        positive_number(given, "length", name, faults)
        for name, given in (("depth_error", depth_error), ("level_error", level_error))
    ]
    slope = None
    with faults.catching():
        slope = _even_fall(fall, towards)
    leveled: Sequence[Spot] = survey.spots
    if levels is not None:
        with faults.catching("levels"):
            if (levels.origin is None) != (survey.origin is None):
                levels.seen_from(levels.origin or (0.0, 0.0))
                survey.seen_from(survey.origin or (0.0, 0.0))
            elif survey.origin is not None:
                levels = levels.seen_from(survey.origin)
        leveled = levels.spots
    faults.raise_if_any()
    notes = [] if survey.origin is None else [f"places counted from {written_place(survey.origin)}"]
    with_depth = usable_spots(survey.spots, "depth", faults, notes)
    with_level = [] if slope is not None else usable_spots(leveled, "surface_level", faults, notes)
    misplaced = check_places(survey.spots, faults)
    if levels is not None:
        misplaced |= check_places(leveled, faults)
    corners = _corners(survey, outline, with_depth, side, faults, notes)
    for spot in with_depth if corners.size else ():
        beyond = distance_from(corners, place_of(spot))[0]
        if beyond > side / 100.0 and not inside(corners, place_of(spot))[0]:
            misplaced.add(spot.name)
            faults.add(
                f"it lies {beyond:.1f} m outside the outline",
                where=spot.name,
                cure="correct its place or the outline, or leave it out",
            )
    placed, levelled = (
        [spot for spot in each if spot.name not in misplaced] for each in (with_depth, with_level)
    )
    check_values(placed, levelled, slope, one_mark, faults)
    faults.raise_if_any()
    if levels is not None:
        near = distance_from(corners, places_of(with_level)) <= 2.0 * side / 100.0
        near |= inside(corners, places_of(with_level))
        if not near.all():
            notes.append(f"{np.count_nonzero(~near)} levels far outside the outline left out")
        with_level = [spot for spot, taken in zip(with_level, near, strict=True) if taken]
    mask, corner = cells_in(corners, side, faults)
    faults.raise_if_any()
    cells = middles(mask, corner, side)
    depth = _surface(with_depth, "depth", errors[0], notes)
    level = None
    if slope is None:
        level = _surface(with_level, "surface_level", errors[1], notes)
    else:
        notes.append("an even fall was told, no levels taken: their error is not known")
    values = [
        (cells @ np.array(slope), np.zeros(len(cells))) if level is None else level.at(cells),
        depth.at(cells),
    ]
    (surface_level, level_scatter), (probe_depth, depth_scatter) = (
        [on_cells(each, mask) for each in pair] for pair in values
    )
    return SurveyedGround(
        survey, corners, side, corner, mask, surface_level, probe_depth, level_scatter,
        depth_scatter, tuple(dict.fromkeys(notes)), (level, depth),
    )  # fmt: skip


def _even_fall(fall: Any, towards: float | str | None) -> tuple[float, float] | None:
    """Rise of an even surface to the east and to the north [cm/m], where a fall was told."""
    if fall is None and towards is None:
        return None
    if fall is None or towards is None:
        missing = "towards" if towards is None else "fall"
        raise InputError(f'{missing} is missing; allowed: both, such as fall="2 %", towards="SE".')
    steep = number_to_house(fall, "slope", "fall")
    if isinstance(towards, str):
        bearing = COMPASS.get(towards.strip().upper())
    else:
        # True is no degree.
        bearing = None if isinstance(towards, (bool, np.bool_)) else float(towards)
    if bearing is None or not 0.0 <= bearing <= 360.0:
        raise InputError(
            f"towards: {towards!r}; allowed: 0 to 360 degrees clockwise from north, or one of "
            f"{', '.join(COMPASS)}."
        )
    angle = np.radians(bearing)
    return -100.0 * steep * float(np.sin(angle)), -100.0 * steep * float(np.cos(angle))


def _corners(
    survey: Survey,
    outline: Any,
    spots: Sequence[Spot],
    spacing: float,
    faults: Faults,
    notes: list[str],
) -> FloatArray:
    """Corners of the green: as told, or of the line around the spots."""
    if outline is not None:
        with faults.catching():
            return read_outline(outline, survey.origin)
        return np.zeros((0, 2))
    if len(spots) < FEWEST_POINTS or len(faults):
        return np.zeros((0, 2))
    from scipy.spatial import ConvexHull

    around = np.array([(1, 1), (1, -1), (-1, 1), (-1, -1)]) * 0.005 * spacing
    places = (places_of(spots)[:, None] + around).reshape(-1, 2)
    notes.append("no outline was given: the line around the spots, half a cell away from them")
    corners: FloatArray = places[ConvexHull(places).vertices]
    return corners


def _surface(spots: Sequence[Spot], what: str, error: float, notes: list[str]) -> Surface:
    """Surface through the depths or the levels of spots; what does not fit is noted."""
    values = np.array([getattr(spot, what) for spot in spots], dtype=np.float64)
    word = "depth" if what == "depth" else "level"
    places, averaged = thinned(places_of(spots), values)
    surface = through_points(places, averaged, error, sloping=what != "depth")
    if len(averaged) < len(values):
        notes.append(f"{len(values)} {word}s averaged to {len(averaged)}")
        return surface
    for spot, gap, scatter in zip(spots, surface.left_out_gap, surface.left_out_error, strict=True):
        if abs(gap) > DOUBTFUL * scatter:
            notes.append(
                f"{spot.name}: {word} {abs(gap):.0f} cm {'above' if gap > 0.0 else 'below'} what "
                f"all others say ({abs(gap) / scatter:.0f} standard errors): measure it again"
            )
    rms = float(np.sqrt(np.mean(surface.left_out_gap**2)))
    notes.append(f"a {word} left out is missed by {rms:.1f} cm (root mean square)")
    return surface
