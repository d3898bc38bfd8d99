"""Where the spots of a survey lie: grid names and geographic positions in local metres."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np

from soilwater.survey.columns import number_in
from soilwater.survey.earth import METRES_PER_DEGREE, distance, metres_from
from soilwater.words.errors import Faults

FARTHEST = 2_000.0
"""Spots of one green, tee or field lie within this distance [m] (our own choice)."""
COARSEST = 1.2
"""Positions rounded to more than this [m] do not tell the spots of a green apart (our choice)."""


def grid_positions(names: Iterable[str], spacing: float) -> dict[str, tuple[float, float]]:
    """Positions of spots named by grid lines.

    Parameters
    ----------
    names : iterable of str
        Such as ``"B3"``; other names get no position.
    spacing : float
        Distance between lines [m].

    Returns
    -------
    dict of str to tuple of float
        East and north [m]; letters run east from A, numbers north from 1.
    """
    places = {}
    for name in names:
        match = re.fullmatch(r"([A-Za-z])[\s-]?(\d{1,2})", name)
        if match is not None:
            column = ord(match[1].upper()) - ord("A")
            places[name] = (column * spacing, (int(match[2]) - 1) * spacing)
    return places


def local_positions(
    cells: Mapping[str, tuple[str, str]],
    decimal: str,
    near: tuple[float, float] | None,
    faults: Faults,
) -> tuple[dict[str, tuple[float, float]], list[str], tuple[float, float] | None]:
    """Positions in metres from the south-west corner of the spots.

    Parameters
    ----------
    cells : mapping of str to tuple of str
        Latitude and longitude of each spot as written [degrees].
    decimal : str
        Decimal sign.
    near : tuple of float or None
        Latitude and longitude of the place [degrees].
    faults : Faults
        Takes what is wrong.

    Returns
    -------
    places : dict of str to tuple of float
        East and north [m].
    notes : list of str
        What was understood.
    origin : tuple of float or None
        Latitude and longitude of that corner [degrees].
    """
    places: dict[str, tuple[float, float]] = {}
    for spot, pair in cells.items():
        try:
            lat, lon = (number_in(cell, decimal)[0] for cell in pair)
        except ValueError:
            faults.add(f"{pair[0]!r}, {pair[1]!r} is no position", where=spot, cure="use degrees")
            continue
        if lat is None or lon is None:
            continue
        if abs(lat) > 90.0 or abs(lon) > 180.0:
            faults.add(
                f"latitude {lat:g}, longitude {lon:g}",
                where=spot,
                allowed="latitude -90 to 90, longitude -180 to 180",
                cure="latitude and longitude may be swapped",
            )
        else:
            places[spot] = (lat, lon)
    if not places:
        return {}, [], None
    middle = (
        float(np.median([lat for lat, _ in places.values()])),
        float(np.median([lon for _, lon in places.values()])),
    )
    target, whose = (middle, "the other spots") if near is None else (near, "the place given")
    for spot, place in places.items():
        slip = slip_between(place, target)
        if slip is not None:
            faults.add(f"it falls {slip[0]} away from {whose}", where=spot, cure=slip[1])
    notes = [f"positions around latitude {middle[0]:.5f}, longitude {middle[1]:.5f}"]
    decimals = max(_decimals(cell, decimal) for pair in cells.values() for cell in pair)
    rounding = METRES_PER_DEGREE * 10.0**-decimals
    if rounding > COARSEST:
        notes.append(
            f"positions have {decimals} decimals = {rounding:.0f} m, too coarse for a green"
        )
    south = min(lat for lat, _ in places.values())
    west = min(lon for _, lon in places.values())
    corner = (south, west)
    return {spot: metres_from(corner, place) for spot, place in places.items()}, notes, corner


def _decimals(cell: str, decimal: str) -> int:
    match = re.search(rf"\d\{decimal}(\d+)", cell)
    return len(match[1]) if match else 0


def slip_between(place: tuple[float, float], target: tuple[float, float]) -> tuple[str, str] | None:
    """How far a place is from where it should be and why, if too far; both latitude, longitude."""
    away = distance(place, target)
    return (_far(away), _mend(place, target)) if away > FARTHEST else None


def _far(away: float) -> str:
    return f"{away / 1000:,.0f} km" if away >= 10_000 else f"{away / 1000:.1f} km"


def _mend(place: tuple[float, float], target: tuple[float, float]) -> str:
    """Name the slip that would explain a place far from where it should be."""
    lat, lon = place
    slips = {
        "latitude and longitude are swapped": (lon, lat),
        "the minus of the longitude is lost": (lat, -lon),
        "the minus of the latitude is lost": (-lat, lon),
        "latitude and longitude are swapped and a minus is lost": (lon, -lat),
    }
    for what, candidate in slips.items():
        for tried in (candidate, (-candidate[0], candidate[1])):
            if abs(tried[0]) <= 90.0 and distance(tried, target) < 10 * FARTHEST:
                return f"it looks as if {what}"
    return "check the digits, the order of latitude and longitude, and the signs"
