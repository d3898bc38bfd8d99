"""Where the spots of a survey lie: grid names and geographic positions in local metres."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np

from soilwater.survey.columns import number_in
from soilwater.survey.earth import METRES_PER_DEGREE, distance, metres_from, written_place
from soilwater.words.errors import Faults
from soilwater.words.set_right import say_columns, say_missing
from soilwater.words.unit_texts import plain_characters

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
    units: Mapping[str, str],
    headers: tuple[str, str],
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
    units : mapping of str to str
        ``"W"`` and ``"S"`` of a longitude or latitude without its sign.
    headers : tuple of str
        Of the columns of latitude and longitude.

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
    swapped = say_columns(latitude=headers[1], longitude=headers[0])
    for spot, pair in cells.items():
        try:
            lat, lon = (
                _degrees(cell, decimal, units.get(name, ""))
                for cell, name in zip(pair, ("latitude", "longitude"), strict=True)
            )
        except ValueError:
            faults.add(
                f"{pair[0]!r}, {pair[1]!r} is no position",
                where=spot,
                allowed="degrees, or degrees, minutes and seconds",
                cure=f"if it was not found, say {say_missing(pair)}",
            )
            continue
        if lat is None or lon is None:
            continue
        if abs(lat) > 90.0 or abs(lon) > 180.0:
            faults.add(
                f"latitude {lat:g}, longitude {lon:g}",
                where=spot,
                allowed="latitude -90 to 90, longitude -180 to 180",
                cure=f"latitude and longitude may be swapped: then say {swapped}",
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
            # One among others is a slip of its own; all of them are one of the file.
            if near is None:
                cure = say_missing(cells[spot])
            elif "swapped" in slip[1]:
                cure = swapped
            elif "longitude" in slip[1]:
                cure = 'units={"longitude": "W"}'
            else:
                cure = 'units={"latitude": "S"}' if "minus" in slip[1] else say_missing(cells[spot])
            faults.add(
                f"it falls {slip[0]} away from {whose}", where=spot, cure=f"{slip[1]}: say {cure}"
            )
    notes = [f"places understood as around {written_place(middle)}"]
    written = [plain_characters(cell) for pair in cells.values() for cell in pair]
    decimals = max(_decimals(cell, decimal) for cell in written)
    parts = any(re.search(r"\d\s*[°d:\s]\s*\d", cell) for cell in written)
    rounding = METRES_PER_DEGREE * 10.0**-decimals / (60.0 if parts else 1.0)
    if rounding > COARSEST:
        notes.append(
            f"positions have {decimals} decimals = {rounding:.0f} m, too coarse for a green"
        )
    south = min(lat for lat, _ in places.values())
    west = min(lon for _, lon in places.values())
    corner = (south, west)
    return {spot: metres_from(corner, place) for spot, place in places.items()}, notes, corner


_PARTS = re.compile(
    r"([-+]?)\s*(\d{1,3})\s*[°d\s:]\s*(\d{1,2}(?:[.,]\d+)?)\s*['m\s:]?"
    r"\s*(?:(\d{1,2}(?:[.,]\d+)?)\s*(?:\"|''|s)?)?",
)


def _degrees(cell: str, decimal: str, side: str) -> float | None:
    """Degrees in a cell: a number, or degrees, minutes and seconds, with a letter for the side."""
    plain = plain_characters(cell)
    match = re.fullmatch(r"([NSEWO]?)\s*(.*?)\s*°?\s*([NSEWO]?)", plain, re.IGNORECASE)
    letters, number = "", plain
    if match is not None:
        letters, number = (match[1] + match[3]).upper(), match[2]
    parts = _PARTS.fullmatch(number)
    if parts is not None:
        minutes, seconds = (float((part or "0").replace(",", ".")) for part in parts.groups()[2:])
        value: float | None = float(parts[2]) + minutes / 60.0 + seconds / 3600.0
        value = -value if parts[1] == "-" and value is not None else value
    else:
        value = number_in(number, decimal)[0]
    if value is None:
        return None
    # "O" is west in French and Spanish, east in German: only its number can tell.
    west_or_south = (letters or side.upper()) in ("S", "W")
    if letters == "O":
        raise ValueError(cell)
    return -abs(value) if west_or_south else value


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
