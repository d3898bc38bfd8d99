"""Spots of a survey that ground can be laid through: what they lack, and what cannot be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from soilwater.ground.linked import LEAST_DEPTH, STEEPEST
from soilwater.ground.surfaces import FEWEST_POINTS, MOST_POINTS
from soilwater.survey.line import SAME_PLACE, STEP_OF_MARKS, places_of
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults


def usable_spots(spots: Sequence[Spot], what: str, faults: Faults, notes: list[str]) -> list[Spot]:
    """List spots whose depth or level and place are known.

    Parameters
    ----------
    spots : sequence of Spot
        Of a survey.
    what : {"depth", "surface_level"}
        What is to be known.
    faults : Faults
        Takes spots without a place, and too few of them, or all along one line.
    notes : list of str
        Takes what is left out.
    """
    word = "a depth" if what == "depth" else "a level"
    found = [
        spot
        for spot in spots
        if (spot.has_depth if what == "depth" else spot.surface_level is not None)
    ]
    if what == "depth":
        least = [spot.name for spot in found if spot.depth_at_least]
        if least:
            notes.append(f"only a least depth is known and left out: {', '.join(least)}")
        found = [spot for spot in found if not spot.depth_at_least]
    for spot in found:
        if spot.x is None or spot.y is None:
            faults.add(
                f"it has {word} and no place", where=spot.name, cure="give x and y in metres"
            )
    placed = [spot for spot in found if spot.x is not None and spot.y is not None]
    if len(placed) < FEWEST_POINTS:
        few = len(placed)
        cure = 'or tell an even fall: fall="2 %", towards="SE"' if what != "depth" else ""
        faults.add(
            f"{few or 'no'} spot{'s' * (few != 1)} with {word} and a place",
            allowed=f"{FEWEST_POINTS} or more",
            cure=cure,
        )
        return placed
    centred = places_of(placed) - places_of(placed).mean(axis=0)
    across = np.linalg.svd(centred, compute_uv=False)
    if across[1] < 0.02 * across[0]:
        faults.add(
            f"all spots with {word} lie along one line",
            cure="take Transect.from_survey, or probe beside the line",
        )
    return placed


def check_places(spots: Sequence[Spot], faults: Faults) -> set[str]:
    """Note pairs of spots at one place; of a table of very many levels they are averaged.

    Parameters
    ----------
    spots : sequence of Spot
        Of a survey.
    faults : Faults
        Takes them.

    Returns
    -------
    set of str
        The names of the later ones.
    """
    from scipy.spatial import cKDTree

    placed = [spot for spot in spots if spot.x is not None and spot.y is not None]
    if not 1 < len(placed) <= MOST_POINTS:
        return set()
    pairs = sorted(cKDTree(places_of(placed)).query_pairs(SAME_PLACE))
    for i, j in pairs:
        faults.add(
            f"it lies at the place of {placed[i].name}",
            where=placed[j].name,
            cure="several visits to one spot share its name; correct the place of one",
        )
    return {placed[j].name for _, j in pairs}


def check_values(
    with_depth: Sequence[Spot],
    with_level: Sequence[Spot],
    slope: tuple[float, float] | None,
    one_mark: bool,
    faults: Faults,
) -> None:
    """Note depths too thin, floors too steep and levels over two marks, by spots.

    Parameters
    ----------
    with_depth, with_level : sequence of Spot
        Of which that is known, with their places.
    slope : tuple of float or None
        Rise of an even surface to the east and to the north [cm/m], in place of levels.
    one_mark : bool
        Whether all levels are told to be over one mark.
    faults : Faults
        Takes them.
    """
    for spot in with_depth:
        if spot.depth < LEAST_DEPTH:
            faults.add(
                f"depth is {spot.depth:g} cm",
                where=spot.name,
                allowed=f"{LEAST_DEPTH:g} cm or more",
            )
    first, *others = _groups(with_level) if with_level else [[]]
    for group in () if one_mark else others:
        step = _mean_level(group) - _mean_level(first)
        faults.add(
            f"levels jump by {abs(step):.0f} cm between {_named(first)} and {_named(group)}",
            cure="bring both to one mark; if the ground does step so, say one_mark=True",
        )
    if others and not one_mark:
        return
    # What is wrong already is not told again as a slope.
    sound = [spot for spot in with_depth if spot.depth >= LEAST_DEPTH]
    levels = {spot.name: spot.surface_level for spot in with_level}
    if slope is not None:
        levels = {spot.name: float(place_of(spot)[0] @ np.array(slope)) for spot in sound}
    for one, other in _neighbours(sound) if sound else ():
        a, b = levels.get(one.name), levels.get(other.name)
        if a is None or b is None:
            continue
        steep = abs((a - one.depth) - (b - other.depth)) / (100.0 * _apart(one, other))
        if steep > STEEPEST:
            faults.add(
                f"the floor slopes {100.0 * steep:.0f} %",
                where=f"from {one.name} to {other.name}",
                allowed=f"up to {100.0 * STEEPEST:.0f} %",
                cure="check both depths: one may have met a stone or missed the gravel",
            )


def _mean_level(spots: Sequence[Spot]) -> float:
    return float(np.mean([spot.surface_level for spot in spots if spot.surface_level is not None]))


def _groups(spots: Sequence[Spot]) -> list[list[Spot]]:
    """Spots in groups that neighbours of a credible slope join; the largest first."""
    number = {id(spot): i for i, spot in enumerate(spots)}
    group = list(range(len(spots)))

    def head(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    for one, other in _neighbours(spots):
        assert one.surface_level is not None and other.surface_level is not None
        step = abs(one.surface_level - other.surface_level)
        if step <= STEP_OF_MARKS * 100.0 * _apart(one, other):
            group[head(number[id(one)])] = head(number[id(other)])
    heads = [head(i) for i in range(len(spots))]
    found = [[s for s, h in zip(spots, heads, strict=True) if h == each] for each in set(heads)]
    return sorted(found, key=len, reverse=True)


def _neighbours(spots: Sequence[Spot]) -> Iterator[tuple[Spot, Spot]]:
    """Pairs of spots with no third nearer to both than they are to each other (Toussaint 1980)."""
    from scipy.spatial import Delaunay, QhullError

    places = places_of(spots)
    try:
        triangles = Delaunay(places).simplices
    except QhullError:
        return
    pairs = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, ::2]]))
    for i, j in np.unique(pairs, axis=0).tolist():
        beside = np.maximum(*(np.linalg.norm(places - places[k], axis=1) for k in (i, j)))
        if not np.any(beside < (1.0 - 1e-9) * np.linalg.norm(places[i] - places[j])):
            yield spots[i], spots[j]


def _named(spots: Sequence[Spot]) -> str:
    names = [spot.name for spot in spots]
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def _apart(one: Spot, other: Spot) -> float:
    """Distance of two spots [m]."""
    return max(float(np.linalg.norm(place_of(one) - place_of(other))), SAME_PLACE)


def place_of(spot: Spot) -> FloatArray:
    """Place of a `spot` [m], shape (1, 2)."""
    return np.array([[spot.x, spot.y]], dtype=np.float64)
