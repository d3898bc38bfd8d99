"""What the page works out, written in Python too, step by step as in ``page.js``.

Tests hold the two against each other in a browser, and this one against runs of the library: so
that a person may trust a number on the page as far as a run.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.explorer.bands import Bands
from soilwater.explorer.lattice import WATER_STEP, Lattice, levels
from soilwater.words.arrays import FloatArray

FLAT = 0.002
"""A reading this near a line [1] may be taken for it: about what the lattice is accurate to."""

SUNRISE = 6.0
"""Hour at which demand begins [h]; it ends twelve hours later, as in `steady_weather`."""


class Weights(NamedTuple):
    """Which points of an axis count for a place on it, and how much."""

    first: int
    shares: FloatArray


def weights(points: FloatArray, at: float, low: float = -np.inf, high: float = np.inf) -> Weights:
    """Weigh the four points around a place for the cubic through them (Lagrange).

    Parameters
    ----------
    points : ndarray, shape (n,)
        Ascending, four or more.
    at : float
        A place among them; held at the ends.
    low, high : float, optional
        Points outside are not used; four or more lie within.
    """
    at = min(max(at, float(points[0])), float(points[-1]))
    left = int(np.searchsorted(points, at, side="right")) - 1
    begin = int(np.searchsorted(points, low, side="left"))
    end = int(np.searchsorted(points, high, side="right"))
    first = min(max(left - 1, begin), end - 4)
    near = points[first : first + 4]
    shares = np.ones(4)
    for i in range(4):
        for j in range(4):
            if i != j:
                shares[i] *= (at - near[j]) / (near[i] - near[j])
    return Weights(first, shares)


def failure(lattice: Lattice, depth: float, demand: float) -> str:
    """Say why there is no answer for a depth [cm] and demand [mm/day]; empty where there is."""
    i, j = weights(lattice.depths, depth), weights(lattice.demands, demand)
    for a, b, reason in lattice.failed:
        row, column = a - i.first, b - j.first
        if 0 <= row < 4 and 0 <= column < 4 and i.shares[row] * j.shares[column] != 0.0:
            return reason
    return ""


def water_of(lattice: Lattice, depth: float, demand: float) -> FloatArray:
    """Water content of the cells at all stored hours [1], shape (hours, cells)."""
    i, j = weights(lattice.depths, depth), weights(lattice.demands, demand)
    return np.clip(WATER_STEP * _mix(lattice.water, i, j), 0.0, lattice.porosity)


def _mix(values: NDArray[np.int16], i: Weights, j: Weights) -> FloatArray:
    """Mix the sixteen columns around a place of a lattice; its axes come last."""
    near = values[..., i.first : i.first + 4, j.first : j.first + 4]
    mixed: FloatArray = np.einsum("i,j,...ij->...", i.shares, j.shares, near)
    return mixed


def rest_of(lattice: Lattice, depth: float) -> FloatArray:
    """Drained water content of the cells [1] at a depth [cm]."""
    i = weights(lattice.depths, depth)
    mixed: FloatArray = i.shares @ lattice.rest[i.first : i.first + 4]
    return mixed


def mean_to(water: FloatArray, depth: float, length: float) -> FloatArray:
    """Mean water content [1] from the surface down to a length [cm], cells along the last axis."""
    ends = levels(depth)
    held = np.cumsum(water * np.diff(ends), axis=-1)
    held = np.concatenate([np.zeros((*held.shape[:-1], 1)), held], axis=-1)
    k = weights(ends, length)
    mean: FloatArray = held[..., k.first : k.first + 4] @ k.shares / length
    return mean


def band_of(bands: Bands, depth: float, demand: float, rod: float) -> tuple[FloatArray, FloatArray]:
    """Lower and upper end of the band less the reading [1], at all stored hours.

    Straight between the rods for which they are kept.
    """
    i, j = weights(bands.depths, depth), weights(bands.demands, demand)
    ends = WATER_STEP * _mix(bands.offsets, i, j)
    k = min(int(np.searchsorted(bands.rods, rod, side="right")), bands.rods.size - 1)
    share = (rod - bands.rods[k - 1]) / (bands.rods[k] - bands.rods[k - 1])
    low, high = ((1.0 - share) * ends[:, k - 1] + share * ends[:, k]).T
    return np.minimum(low, 0.0), np.maximum(high, 0.0)


def at_hour(hours: FloatArray, values: FloatArray, hour: float) -> FloatArray:
    """Values along their first axis at an hour between the stored ones.

    Where the sun rises or sets a series bends: no cubic goes across.
    """
    half_day = 12.0 * np.floor((hour - SUNRISE) / 12.0) + SUNRISE
    t = weights(hours, hour, half_day, half_day + 12.0)
    mixed: FloatArray = np.tensordot(t.shares, values[t.first : t.first + 4], axes=1)
    return mixed


def every_hour(hours: FloatArray, values: FloatArray) -> FloatArray:
    """Read a series at every whole hour."""
    return np.array([at_hour(hours, values, h) for h in np.arange(hours[-1] + 1.0)])


def days_to(hourly: FloatArray, line: float) -> float:
    """Day on which an hourly series first falls to a line [d]; infinity where it never does."""
    below = np.flatnonzero(hourly <= line)
    if below.size == 0:
        return float("inf")
    i = int(below[0])
    if i == 0:
        return 0.0
    left, right = hourly[i - 1], hourly[i]
    return float(i - 1 + (left - line) / (left - right)) / 24.0


def millimetres_back(water: FloatArray, rest: FloatArray, depth: float, length: float) -> float:
    """Water [mm] that brings the top `length` cm back to what they hold drained; 0 or more.

    `water` and `rest` are those of the cells [1] in a root zone `depth` cm deep.
    """
    short = mean_to(rest, depth, length) - mean_to(water, depth, length)
    return max(0.0, 10.0 * length * float(short))
