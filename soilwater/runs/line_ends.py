"""What lies beyond the ends of a line, and beside a trench across the slope."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from soilwater.ground.base import CapillaryBreak, Sealed, SeepageFace, WaterTable
from soilwater.ground.base_suction import OVER_GRAVEL
from soilwater.ground.linked import LinkedGround, Outside
from soilwater.ground.profile import Profile
from soilwater.kernels import linked_rows, rows
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_people_units

CLOSED, GOES_ON = "closed", "goes on"
THINNEST = 1.0e-6
"""Height [cm] above the gravel from which on sand has a face."""
End = str | WaterTable | CapillaryBreak | SeepageFace
"""What lies beyond an end of a line."""


def check_ends(ends: Any, faults: Faults) -> tuple[End, End]:
    """Both ends of a line, or a fault for each that cannot be used.

    Parameters
    ----------
    ends : sequence of two
        As for `Transect`.
    faults : Faults
        Takes what is wrong.

    Returns
    -------
    tuple
        As given; closed where it cannot be used.
    """
    given = (ends,) if isinstance(ends, str) or not isinstance(ends, Sequence) else tuple(ends)
    if len(given) != 2:
        faults.add(f"ends is {ends!r}", allowed='two, such as ("closed", "goes on")')
        return CLOSED, CLOSED
    for end, where in zip(given, ("first station", "last station"), strict=True):
        by_word = isinstance(end, str) and end in (CLOSED, GOES_ON)
        if not by_word and not isinstance(end, WaterTable | CapillaryBreak | SeepageFace):
            faults.add(
                f"the end is {end!r}",
                where=where,
                allowed='"closed", "goes on", WaterTable(depth), SeepageFace() or '
                "CapillaryBreak(entry_suction)",
                cure="let the line begin and end at a crest, a foot or a wall, which are closed",
            )
    return given


def beyond_end(
    end: End, column: int, surface_level: float, fall: float, width: float, position: float
) -> tuple[Outside, ...]:
    """Face at an end of a line with what lies beyond; none where it is closed.

    Parameters
    ----------
    end : str or base condition
        As for `Transect`.
    column : int
        The last one; 0 at the beginning of the line.
    surface_level : float
        There [cm].
    fall : float
        Fall of the floor outward, there [1].
    width, position : float
        Of the face, and along the line [cm].
    """
    if end == CLOSED:
        return ()
    if isinstance(end, str):
        beyond, value = linked_rows.GOES_ON, fall
    else:
        # Down from the surface, as under a profile of no depth.
        code, value = end.kernel_condition(0.0)
        beyond = linked_rows.OUTLET
        if code == rows.HELD_HEAD:
            beyond, value = linked_rows.WATER_LEVEL, surface_level + value
    forward = -1.0 if column == 0 else 1.0
    return (Outside(column, beyond, value, width, forward, position),)


def above_gravel(
    outside: Iterable[Outside], profiles: Sequence[Profile], surface_level: FloatArray
) -> tuple[Outside, ...]:
    """Let faces end where a blanket of gravel begins; ground that goes on takes its gravel along.

    Parameters
    ----------
    outside : iterable of Outside
        Faces that go down to the lower end of their columns.
    profiles : sequence of Profile
        One a column.
    surface_level : ndarray, shape (n,)
        Of each [cm].
    """
    return tuple(
        each
        if each.beyond == linked_rows.GOES_ON or profiles[each.column].blanket is None
        else each._replace(
            lower_end=surface_level[each.column] - profiles[each.column].depth + THINNEST
        )
        for each in outside
    )


def feeding_ends(ground: LinkedGround) -> list[str]:
    """Say where water beyond an end stands so high that it runs into gravel that drains.

    Parameters
    ----------
    ground : LinkedGround
        Of a line.

    Returns
    -------
    list of str
        One caution for each such end.
    """
    told = []
    for each in ground.outside:
        base, floor = ground.profiles[each.column].base, ground.floor_level[each.column]
        drains = not isinstance(base, Sealed | WaterTable)
        rest = base.resting_suction(ground.profiles[each.column].depth)
        lowest = -np.inf if rest is None else -rest
        if each.beyond == linked_rows.WATER_LEVEL and drains and each.value - floor > lowest:
            high = in_people_units(abs(each.value - floor), "length")
            where = "above" if each.value > floor else "below"
            told.append(
                f"the water beyond the {'last' if each.column else 'first'} end stands {high} "
                f"{where} the floor, over a base that drains ({base}): it runs in there and out "
                "below for as long as the run lasts; if the base stands in that water too, write "
                "it as a WaterTable, or let the end be closed"
            )
    return told


def beside_drains(
    green: Profile, faces: Iterable[tuple[int, int, float, float]]
) -> tuple[Outside, ...]:
    """Both sides of trenches of gravel in place of faces between columns.

    The gravel takes water as that below the green does.

    Parameters
    ----------
    green : Profile
        Its base tells the suction at which gravel takes no more.
    faces : iterable of tuple
        Column before and behind it, width [cm] and position of each face.
    """
    suction = OVER_GRAVEL.best
    if isinstance(green.base, CapillaryBreak | SeepageFace):
        suction = -green.base.kernel_condition(0.0)[1]
    return tuple(
        Outside(column, linked_rows.OUTLET, -suction, width, forward, position)
        for before, behind, width, position in faces
        for column, forward in ((before, 1.0), (behind, -1.0))
    )
