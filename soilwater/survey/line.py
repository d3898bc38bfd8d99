"""Spots of a survey as stations of a line."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from soilwater.survey.survey import Spot, Survey
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults

STEP_OF_MARKS = 0.12
"""Steepest surface [1] between neighbouring spots that is taken for ground and not for levels over
two marks (our own choice: faces of tiers are as steep, spots on both sides lie farther apart)."""
SAME_PLACE = 0.05
"""Spots nearer than this [m] lie at one place (our own choice)."""


class LineOfSpots(NamedTuple):
    """Stations of a line: distances from the first, levels (or none) and depths [cm]."""

    distance: FloatArray
    surface_level: FloatArray | None
    depth: FloatArray


def line_of_spots(
    survey: Survey,
    names: Sequence[str] | None,
    *,
    needs_levels: bool,
    least_depth: float,
    steepest: float,
) -> LineOfSpots:
    """Lay spots along a line.

    Parameters
    ----------
    survey : Survey
        Spots with places and depths.
    names : sequence of str or None
        Spots in the order of the line; all of them in the order of the survey.
    needs_levels : bool
        Whether each must have a level.
    least_depth : float
        Least depth that can be used [cm].
    steepest : float
        Steepest floor between neighbours that can be used [1].

    Returns
    -------
    LineOfSpots

    Raises
    ------
    InputError
        With every fault, by the names of the spots.
    """
    faults = Faults(f'Survey "{survey.name}"' if survey.name else "Survey")
    spots: list[Spot] = list(survey.spots)
    if names is not None:
        spots = []
        for name in names:
            with faults.catching():
                spots.append(survey.spot(name))
    for i, spot in enumerate(spots):
        if spot.name in [other.name for other in spots[:i]]:
            faults.add("the line meets it twice", where=spot.name, cure="name it once")
        if spot.x is None or spot.y is None:
            faults.add("it has no place", where=spot.name, cure="give x and y in metres")
        if not spot.has_depth:
            faults.add("it has no depth", where=spot.name, cure="probe it, or leave it out")
        elif spot.depth_at_least:
            faults.add(
                f"only a least depth of {spot.depth:g} cm is known",
                where=spot.name,
                cure="probe it with a longer rod, or leave it out",
            )
        elif spot.depth < least_depth:
            faults.add(
                f"depth is {spot.depth:g} cm",
                where=spot.name,
                allowed=f"{least_depth:g} cm or more",
            )
    _check_course(spots, faults)
    if needs_levels and not any(spot.surface_level is not None for spot in spots):
        faults.add("no spot has a level", cure=_bracket(spots, faults))
    elif needs_levels:
        for spot in spots:
            if spot.surface_level is None:
                faults.add("it has no level", where=spot.name, cure="level it, or leave it out")
        _check_marks(spots, least_depth, steepest, faults)
    faults.raise_if_any()
    return LineOfSpots(
        _along(spots),
        np.array([spot.surface_level for spot in spots], dtype=np.float64)
        if needs_levels
        else None,
        np.array([spot.depth for spot in spots]),
    )


def places_of(spots: Sequence[Spot]) -> FloatArray:
    """East and north of `spots` [m], shape (n, 2); not a number where it is not known."""
    return np.array([(spot.x, spot.y) for spot in spots], dtype=np.float64).reshape(-1, 2)


def _along(spots: Sequence[Spot]) -> FloatArray:
    """Distance of each spot from the first, from one to the next [cm]."""
    legs = np.linalg.norm(np.diff(places_of(spots), axis=0), axis=1)
    distance: FloatArray = 100.0 * np.concatenate([[0.0], np.cumsum(legs)])
    return distance


def _check_course(spots: Sequence[Spot], faults: Faults) -> None:
    """Note spots at one place, and a line that turns back, and so may cross itself."""
    places = places_of(spots)
    if len(spots) < 2 or np.isnan(places).any():
        return
    middle = places - places.mean(axis=0)
    ahead = np.linalg.svd(middle)[2][0]
    ahead = ahead if (places[-1] - places[0]) @ ahead >= 0.0 else -ahead
    order = [spots[i].name for i in np.argsort(middle @ ahead, kind="stable")]
    for one, other, leg in zip(spots[:-1], spots[1:], np.diff(places, axis=0), strict=True):
        if np.linalg.norm(leg) < SAME_PLACE:
            faults.add(
                f"it lies at the place of {one.name}", where=other.name, cure="keep one of them"
            )
        elif leg @ ahead <= 0.0:
            faults.add(
                f"from {one.name} the line turns back",
                where=other.name,
                cure=f"name the spots along the line: spots={order}",
            )


def _check_marks(
    spots: Sequence[Spot], least_depth: float, steepest: float, faults: Faults
) -> None:
    """Note neighbours whose levels jump, or between whose floors no such slope is taken."""
    for one, other in pairwise(spots):
        if None in (one.surface_level, other.surface_level, one.x, one.y, other.x, other.y):
            continue
        assert one.surface_level is not None and other.surface_level is not None
        apart = float(_along([one, other])[1])
        if apart < 100.0 * SAME_PLACE:
            continue
        where = f"from {one.name} to {other.name}"
        step = other.surface_level - one.surface_level
        if abs(step) > STEP_OF_MARKS * apart:
            faults.add(
                f"levels jump by {abs(step):.0f} cm",
                where=where,
                cure="bring both to one mark; if the ground does step so, take a spot between them",
            )
            continue
        # A depth that is wrong already is not told again as a slope.
        sound = all(spot.has_depth and spot.depth >= least_depth for spot in (one, other))
        slope = abs(step - other.depth + one.depth) / apart
        if sound and slope > steepest:
            faults.add(
                f"the floor slopes {100.0 * slope:.0f} %",
                where=where,
                allowed=f"up to {100.0 * steepest:.0f} %",
                cure="check both depths: one may have met a stone or missed the gravel",
            )


def _bracket(spots: Sequence[Spot], faults: Faults) -> str:
    """Say what to paste where no levels were taken."""
    cure = 'level them, tell an even fall with surface_level="2 %", or bracket the answer'
    if len(faults):
        return cure
    distance = [round(float(each), 1) for each in _along(spots)]
    depth = [round(spot.depth, 1) for spot in spots]
    return f'{cure} with Transect.without_levels({distance}, {depth}, green, steepest_fall="3 %")'
