"""The outline of a green: given as corners, a table or a file, or drawn around the spots."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.survey.columns import Sheet
from soilwater.survey.earth import metres_from
from soilwater.survey.geojson import is_geojson, ring_of
from soilwater.survey.place import slip_between
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError
from soilwater.words.text_tables import read_text_table
from soilwater.words.units import number_to_house

LIKE_DEGREES = 0.1
"""Distance of numbers from those of the spots' latitude and longitude at which they are degrees."""


def read_outline(source: Any, origin: tuple[float, float] | None) -> FloatArray:
    """Read the corners of an outline.

    Parameters
    ----------
    source : sequence of pairs, path, DataFrame or mapping
        Corners in their order: pairs of metres east and north; a GeoJSON file of one polygon; or a
        table with columns x and y (in any unit of length), or latitude and longitude.
    origin : tuple of float or None
        Latitude and longitude [degrees] that metres are counted from.

    Returns
    -------
    ndarray, shape (n, 2)
        East and north [m].

    Raises
    ------
    InputError
        If there are fewer than 3 corners, one is no place, sides cross, or the outline lies far
        from the origin.
    """
    faults = Faults("outline")
    if is_geojson(source):
        corners = _from_degrees(ring_of(source), origin)
    elif (
        isinstance(source, (str, Mapping)) or hasattr(source, "columns") or hasattr(source, "open")
    ):
        corners = _from_table(source, origin, faults)
    else:
        corners = _from_pairs(source, origin, faults)
    faults.raise_if_any()
    if len(corners) > 1 and np.array_equal(corners[0], corners[-1]):
        corners = corners[:-1]
    if len(corners) < 3:
        faults.add(f"it has {len(corners)} corners", allowed="3 or more")
        faults.raise_if_any()
    crossing = _crossing_sides(corners)
    if crossing is not None:
        one, other = crossing
        faults.add(
            f"the side after corner {one + 1} crosses the one after corner {other + 1}",
            cure="give the corners in the order in which one walks round the green",
        )
    faults.raise_if_any()
    return corners


def inside(corners: FloatArray, places: FloatArray) -> NDArray[np.bool_]:
    """Tell which places lie inside an outline, by the count of sides to the east of each.

    Parameters
    ----------
    corners : ndarray, shape (n, 2)
        Of the outline [m].
    places : ndarray, shape (m, 2)
        East and north [m].

    Returns
    -------
    ndarray of bool, shape (m,)
    """
    x, y = places.T
    within = np.zeros(len(places), dtype=bool)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        beside = (y0 > y) != (y1 > y)
        within ^= beside & (x < x0 + (x1 - x0) * (y - y0) / (y1 - y0))
    return within


def distance_from(corners: FloatArray, places: FloatArray) -> FloatArray:
    """Distance of places from the sides of an outline [m].

    Parameters
    ----------
    corners : ndarray, shape (n, 2)
        Of the outline [m].
    places : ndarray, shape (m, 2)
        East and north [m].

    Returns
    -------
    ndarray, shape (m,)
    """
    nearest = np.full(len(places), np.inf)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = np.clip((places - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-12), 0.0, 1.0)
        gap = np.linalg.norm(places - (a + along[:, None] * (b - a)), axis=1)
        nearest = np.minimum(nearest, gap)
    return nearest


def _from_degrees(
    ring: Sequence[tuple[float, float]], origin: tuple[float, float] | None
) -> FloatArray:
    if origin is None:
        raise InputError(
            "outline: it is in latitude and longitude, and the spots are in metres from a point "
            "nobody told; allowed: both in degrees, or both in metres."
        )
    middle = (float(np.mean([p[0] for p in ring])), float(np.mean([p[1] for p in ring])))
    slip = slip_between(middle, origin)
    if slip:
        raise InputError(f"outline: it lies {slip[0]} away from the spots; {slip[1]}.")
    return np.array([metres_from(origin, place) for place in ring])


def _from_table(source: Any, origin: tuple[float, float] | None, faults: Faults) -> FloatArray:
    sheet = Sheet(read_text_table(source), faults)
    sheet.columns_by_role(needed=())
    names = next(
        (
            pair
            for pair in (("latitude", "longitude"), ("x", "y"))
            if set(pair) <= set(sheet.columns)
        ),
        None,
    )
    if names is None:
        faults.add("no places in it", allowed="columns x and y, or latitude and longitude")
        return np.zeros((0, 2))
    corners = []
    for number, row in zip(sheet.text.line_numbers, sheet.text.rows, strict=True):
        place = []
        for name in names:
            where = f"{sheet.text.line_word} {number}"
            value, own = sheet.number(sheet.cell(row, name), where)
            if value is None:
                faults.add(f"{name} is missing", where=where)
                continue
            if name in ("x", "y"):
                unit = own or sheet.text.units[sheet.columns[name][0]] or "m"
                value = number_to_house(f"{value!r} {unit}", "length", name) / 100.0
            place.append(value)
        if len(place) == 2:
            corners.append((place[0], place[1]))
    if names[0] == "latitude" and not len(faults):
        return _from_degrees(corners, origin)
    return np.array(corners).reshape(-1, 2)


def _from_pairs(source: Any, origin: tuple[float, float] | None, faults: Faults) -> FloatArray:
    try:
        pairs = [(x, y) for x, y in source]
    except (TypeError, ValueError):
        faults.add(
            f"{source!r} is no outline",
            allowed="pairs of metres east and north, a table with x and y, or a GeoJSON file",
        )
        return np.zeros((0, 2))
    corners = np.zeros((len(pairs), 2))
    for i, pair in enumerate(pairs):
        for k, value in enumerate(pair):
            with faults.catching(f"corner {i + 1}"):
                metres = f"{float(value)!r} m" if isinstance(value, (int, float)) else value
                corners[i, k] = number_to_house(metres, "length", "xy"[k]) / 100.0
    if origin is not None and len(corners):
        for names, place in (
            (("latitude", "longitude"), origin),
            (("longitude", "latitude"), origin[::-1]),
        ):
            if np.abs(corners - place).max() < LIKE_DEGREES:
                told = ", ".join(
                    f'"{n}": {v.tolist()}' for n, v in zip(names, corners.T, strict=True)
                )
                faults.add(
                    f"corner 1 is {corners[0, 0]:g} m, {corners[0, 1]:g} m: degrees, as the spots "
                    "have them",
                    allowed="pairs of metres east and north",
                    cure=f"say which is which: outline={{{told}}}",
                )
    return corners


def _crossing_sides(corners: FloatArray) -> tuple[int, int] | None:
    """Numbers of two sides that cross, or nothing."""
    ends = np.roll(corners, -1, axis=0)

    def turn(a: FloatArray, b: FloatArray, c: FloatArray) -> float:
        return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    for i in range(len(corners)):
        for j in range(i + 2, len(corners)):
            if i == 0 and j == len(corners) - 1:
                continue
            a, b, c, d = corners[i], ends[i], corners[j], ends[j]
            if turn(a, b, c) * turn(a, b, d) < 0.0 and turn(c, d, a) * turn(c, d, b) < 0.0:
                return i, j
    return None
