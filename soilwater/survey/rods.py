"""Rods of a survey: the length its readings are about, and rods longer than the sand."""

from __future__ import annotations

from typing import Any

from soilwater.survey.survey import SHORT_OF_THE_ROD, Spot, Survey, rod_list
from soilwater.words.errors import Faults, InputError
from soilwater.words.quantities import in_people_units
from soilwater.words.units import number_to_house


def check_rods(spot: Spot, faults: Faults, leave_out: str = "") -> None:
    """Note readings whose rods went through the root zone into what lies below it.

    Parameters
    ----------
    spot : Spot
        With its depth and readings.
    faults : Faults
        Takes the rods that are too long.
    leave_out : str, optional
        What to say to leave the spot out.
    """
    for rod in sorted({reading.rod for reading in spot.readings}):
        if spot.has_depth and not spot.depth_at_least and rod > spot.depth + SHORT_OF_THE_ROD:
            faults.add(
                f"rods of {in_people_units(rod, 'length')} in "
                f"{in_people_units(spot.depth, 'length')} of root zone read what lies below it",
                where=f'spot "{spot.name}"',
                cure="correct the depth or the rod, or leave that reading out"
                + (f": {leave_out}" if leave_out else ""),
            )


def rod_of(survey: Survey, rod: Any = None) -> float:
    """Find the length of the rods a survey is about.

    Parameters
    ----------
    survey : Survey
        With readings of one rod length, where `rod` is not given.
    rod : float, str or Quantity, optional
        Length of the rods [cm]; it goes before the survey's.

    Returns
    -------
    float
        Length [cm].

    Raises
    ------
    InputError
        If it is neither given nor one alone in the survey.
    """
    if rod is not None:
        length = number_to_house(rod, "length", "rod")
        if length > 0.0:
            return length
        raise InputError(f"rod: {length:g} cm; allowed: above 0 cm.")
    if len(survey.rods) == 1:
        return survey.rods[0]
    found = rod_list(survey.rods) or "no readings"
    raise InputError(f'rod: the survey has {found}; say which is meant, such as rod="3 in".')
