"""Lengths at the stations of a line, and what is wrong at one of them or between two."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from soilwater.ground.linked import STEEPEST, least_depth
from soilwater.ground.profile import Profile
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.units import number_to_house


def station_name(i: int, distance: FloatArray) -> str:
    """Name of a station in messages."""
    return f"station {i + 1} ({distance[i]:g} cm)"


def at_stations(values: Any, name: str, faults: Faults) -> FloatArray:
    """Lengths at stations; NaN, and a fault, for each that is missing or no length."""
    if isinstance(values, str) or not (isinstance(values, Sequence) or np.ndim(values) == 1):
        faults.add(f"{name} is {values!r}", allowed="a list with one length a station")
        return np.zeros(0)
    if not len(values):
        faults.add(f"{name} is empty", allowed="a list with one length a station")
    found = np.full(len(values), np.nan)
    for i, value in enumerate(values):
        with faults.catching():
            found[i] = number_to_house(value, "length", f"{name} of station {i + 1}")
    return found


def check_stations(
    green: Profile,
    distance: FloatArray,
    level: FloatArray,
    depth: FloatArray,
    width: FloatArray,
    faults: Faults,
) -> None:
    """Note what is wrong at single stations and between neighbours.

    Parameters
    ----------
    green : Profile
        Its layers above the root zone need room.
    distance, level, depth, width : ndarray, shape (n,)
        Of the stations [cm].
    faults : Faults
        Takes what is wrong.
    """
    least = 0.0
    with faults.catching():
        least = least_depth(green)
    for i, each in enumerate(depth):
        if each < least:
            faults.add(
                f"probe_depth is {each:g} cm",
                where=station_name(i, distance),
                allowed=f"{least:g} cm or more",
                cure="the floor would lie above the surface" if each < 0.0 else "",
            )
    for i in np.flatnonzero(width <= 0.0).tolist():
        faults.add(f"width is {width[i]:g} cm", where=station_name(i, distance), allowed="above 0")
    gap = np.diff(distance)
    for i in np.flatnonzero(gap <= 0.0).tolist():
        what = "is met twice" if gap[i] == 0.0 else "comes before the last one"
        faults.add(
            f"distance {distance[i + 1]:g} cm {what}",
            where=f"station {i + 2}",
            allowed="distances that rise",
            cure="sort the stations along the line and keep one reading of each",
        )
    # What is wrong already is not told again as a slope.
    sound = (gap > 0.0) & (depth[1:] >= least) & (depth[:-1] >= least)
    run = np.where(sound, gap, 1.0)
    surface, floor = np.diff(level) / run, np.diff(level - depth) / run
    for i in np.flatnonzero(sound & (np.abs(floor) > STEEPEST)).tolist():
        jump = abs(surface[i]) > STEEPEST
        faults.add(
            f"the floor slopes {100.0 * abs(floor[i]):.0f} %",
            where=f"from {station_name(i, distance)} to {station_name(i + 1, distance)}",
            allowed=f"up to {100.0 * STEEPEST:.0f} %",
            cure="the levels jump: bring both to one mark"
            if jump
            else "check both probe depths: one may have met a stone or missed the gravel",
        )
