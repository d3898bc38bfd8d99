"""Places on the Earth and metres between them, for grounds small enough to be flat."""

from __future__ import annotations

import math

import numpy as np

EARTH_RADIUS = 6_371_008.8
"""Mean radius of the Earth [m] (Moritz 2000, Geodetic Reference System 1980, J. Geod. 74:128)."""
METRES_PER_DEGREE = EARTH_RADIUS * math.pi / 180.0


def written_place(place: tuple[float, float]) -> str:
    """Latitude and longitude [degrees] in words that tell which is which."""
    latitude, longitude = place
    north, east = "NS"[latitude < 0.0], "EW"[longitude < 0.0]
    return f"{abs(latitude):.5f} {north}, {abs(longitude):.5f} {east}"


def distance(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Great-circle distance of two places, first and second [m].

    Haversine formula (Sinnott 1984, Sky and Telescope 68:159), on a sphere.
    """
    (lat1, lon1), (lat2, lon2) = np.radians(first), np.radians(second)
    a = (
        math.sin((lat2 - lat1) / 2) ** 2
        + math.cos(lat1) * math.cos(lat2) * math.sin((lon2 - lon1) / 2) ** 2
    )
    return 2.0 * EARTH_RADIUS * math.asin(min(1.0, math.sqrt(a)))


def metres_from(origin: tuple[float, float], place: tuple[float, float]) -> tuple[float, float]:
    """Metres east and north of an `origin` to a `place`, both latitude and longitude [degrees]."""
    (lat0, lon0), (lat, lon) = origin, place
    shrink = math.cos(math.radians(lat0))
    return METRES_PER_DEGREE * shrink * (lon - lon0), METRES_PER_DEGREE * (lat - lat0)


def place_at(origin: tuple[float, float], x: float, y: float) -> tuple[float, float]:
    """Latitude and longitude [degrees] of a place `x` east and `y` north [m] of an `origin`."""
    shrink = math.cos(math.radians(origin[0]))
    return origin[0] + y / METRES_PER_DEGREE, origin[1] + x / (METRES_PER_DEGREE * shrink)
