"""Forecasts whose step grows on the way: hourly at first, then of three or six hours, or daily.

Services tell the days far ahead in coarser steps than those at hand. Each stretch of one step is
read as a station file is, and the next one goes on where it ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.weather.station.headers import assign_columns
from soilwater.words.errors import InputError
from soilwater.words.stamps import read_stamps
from soilwater.words.text_tables import TextTable

FEWEST = 2
"""Rows in a row that make a step: one alone may as well be a gap."""


def stretches(
    table: TextTable,
    *,
    label: str | None,
    columns: Mapping[str, str] | None,
    day_first: bool | None,
) -> list[TextTable]:
    """Cut a table where its step grows; one that keeps its step, or is not in order, stays whole.

    Parameters
    ----------
    table : TextTable
        Of one member.
    label : {"start", "end"} or None
        What the time of a row marks.
    columns, day_first : optional
        As for `read_station`.
    """
    try:
        _, time_at, clock_at, _ = assign_columns(table, dict(columns or {}))
        dates = [row[time_at] for row in table.rows]
        clocks = None if clock_at is None else [row[clock_at] for row in table.rows]
        time = read_stamps(dates, clocks, table.line_numbers, day_first, table.source).time
    except InputError:
        # What is wrong is told where the rows are read.
        return [table]
    bounds = _bounds(np.diff(time))
    if label == "end":
        # A row covers the time since the one before it.
        bounds = [0, *(each + 1 for each in bounds[1:-1]), len(table.rows)]
    return [
        replace(table, rows=table.rows[i:j], line_numbers=table.line_numbers[i:j])
        for i, j in pairwise(bounds)
    ]


def _bounds(steps: NDArray[Any]) -> list[int]:
    """Rows at which a new step begins, with the first and the end; no bounds where none grows."""
    whole = [0, steps.size + 1]
    if not steps.size or np.any(steps <= np.timedelta64(0)):
        return whole
    # A longer step between two equal ones is a gap, which the station reader tells.
    gap = np.flatnonzero((steps[:-2] == steps[2:]) & (steps[1:-1] > steps[:-2])) + 1
    steps = steps.copy()
    steps[gap] = steps[gap - 1]
    begins = [0, *(np.flatnonzero(np.diff(steps) != np.timedelta64(0)) + 1).tolist()]
    lengths = np.diff([*begins, steps.size])
    grows = bool(np.all(np.diff(steps[begins]) > np.timedelta64(0)))
    if len(begins) == 1 or not grows or np.any(lengths < FEWEST):
        return whole
    return [*begins, steps.size + 1]
