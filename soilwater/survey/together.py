"""What is told of one spot taken together: what readings come to, and how wrong that may be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import TYPE_CHECKING

import numpy as np

from soilwater.words.arrays import FloatArray

if TYPE_CHECKING:
    from soilwater.survey.survey import Reading, Spot

METER_ERROR = 0.025
"""Standard error of one reading of a meter [1]: 2 to 3 % by volume (common practice, no source)."""
_SURE = 1e-6
"""Least error of a reading [1]: of a meter that is taken not to err, too."""
_SAME_ROD = 0.1
"""Rods whose lengths [cm] differ by less are written alike."""


def same_rod(one: float, other: float) -> bool:
    """Tell whether rods of two lengths [cm] are rods of one length."""
    return abs(one - other) < _SAME_ROD


def with_rod(spot: Spot, rod: float) -> list[Reading]:
    """List the usable readings of a spot with rods of one length [cm]."""
    return [each for each in spot.usable_readings if same_rod(each.rod, rod)]


def added_to(before: Spot, now: Spot) -> Spot:
    """Add to a spot what is told of it later: its readings, and what was measured there since.

    Parameters
    ----------
    before, now : Spot
        The spot as it was told before, and later. A depth that was told before stands.
    """
    told = {each.name: getattr(now, each.name) for each in fields(now) if each.name != "name"}
    fresh = {name: value for name, value in told.items() if value is not None}
    readings = (*before.readings, *(each for each in now.readings if each not in before.readings))
    if before.has_depth or not now.has_depth:
        fresh |= {"depth": before.depth, "depth_at_least": before.depth_at_least}
    if now.drop_time is not None:
        # One drop time goes with the tests it is the mean of.
        fresh["drop_tests"] = now.drop_tests
    return replace(before, **{**fresh, "readings": readings})


def mean_of(
    readings: Sequence[Reading],
    meter: float = METER_ERROR,
    values: Sequence[float] | None = None,
) -> float:
    """Mean of readings [1], each weighed by the inverse of its variance; NaN of none.

    Parameters
    ----------
    readings : sequence of Reading
        Some may have an `added_error`.
    meter : float, optional
        Standard error of one reading of the meter [1].
    values : sequence of float, optional
        What to take for their values [1], such as what they would be drained.
    """
    if not readings:
        return math.nan
    weights = 1.0 / _variances(readings, meter)
    # Of readings alike each weighs exactly 1: their mean is a plain one, to the last digit.
    weights /= weights.max()
    read = [each.value for each in readings] if values is None else values
    return float(np.sum(weights * read) / np.sum(weights))


def error_of_one(readings: Sequence[Reading], meter: float) -> float:
    """Tell the standard error of one reading among some [1], as they weigh in their mean."""
    weights = 1.0 / _variances(readings, meter)
    return float(np.sqrt(np.sum(weights) / np.sum(weights**2)))


def error_of_mean(readings: Sequence[Reading], meter: float) -> float:
    """Tell the standard error of the mean of readings [1]; 0 of none."""
    if not readings:
        return 0.0
    return float(1.0 / np.sqrt(np.sum(1.0 / _variances(readings, meter))))


def _variances(readings: Sequence[Reading], meter: float) -> FloatArray:
    added = np.array([each.added_error for each in readings])
    return np.maximum(meter**2 + added**2, _SURE**2)
