"""What a hand-held moisture meter would show, and how long until it shows a given line."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from soilwater.equilibrium import depth_range, mean_over_depth
from soilwater.errors import InputError
from soilwater.results import each_column
from soilwater.times import hours_between
from soilwater.units import number_to_house
from soilwater.vocabulary import attach


def meter_reading(run: xr.Dataset, rod: Any) -> xr.DataArray:
    """Read a meter whose rods are pushed in from the surface, fully.

    The mean water content over the rod, integrated exactly through the retention curve and across
    layers. A real meter adds its own error: +-2 to 3 % by volume is common (common practice, no
    source), and salt, temperature and air gaps add more.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many`, `compare_depths` or `drained_state`.
    rod : float, str or Quantity
        Length of the rods [cm].

    Returns
    -------
    DataArray
        Reading [1] over the batch and time of the run; NaN where a case has no result.

    Raises
    ------
    InputError
        If a rod is longer than a profile is deep, or `run` is no result.
    """
    length = number_to_house(rod, "length", "rod")
    values: list[np.ndarray[Any, Any]] = []
    for column in each_column(run):
        top, bottom = depth_range(0.0, length, column.profile)
        values.append(mean_over_depth(column.mesh, -column.node_suction, top, bottom))
    batch = run.profile.dims
    rest = [d for d in run.node_suction.dims if d not in (*batch, "node", "node_depth")]
    dims = (*batch, *rest)
    shape = [run.sizes[d] for d in dims]
    coords = {d: run[d] for d in dims if d in run.coords}
    reading = xr.DataArray(np.array(values).reshape(shape), coords, dims, name="reading")
    attached: xr.DataArray = attach(reading)
    attached.attrs["rod_length_cm"] = length
    return attached


def days_until(run: xr.Dataset, reading: Any, rod: Any, *, since: Any = None) -> xr.DataArray:
    """Days until the meter first falls to a reading.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many` or `compare_depths`.
    reading : float, str or Quantity
        The line [1], such as 0.12 or ``"12 %"``.
    rod : float, str or Quantity
        Length of the rods [cm].
    since : datetime64, str or Timestamp, optional
        Where the count starts; the start of the run when left out.

    Returns
    -------
    DataArray
        Days [d], straight between output times: 0 where the reading is at or below the line
        from the start, infinity where it never falls to it within the run, NaN where the case
        has no result.

    Raises
    ------
    InputError
        If the run has no times, `since` lies outside it, or as for `meter_reading`.
    """
    line = number_to_house(reading, "water_content", "reading")
    series = meter_reading(run, rod)
    if "time" not in series.dims:
        raise InputError("Dataset: it has no times; give the result of a simulation.")
    begin = np.datetime64(run.time.values[0] if since is None else since, "ns")
    inside = run.time.values >= begin
    if inside.sum() < 1 or begin < run.time.values[0]:
        raise InputError(
            f"since: {begin} lies outside the run; allowed: {run.time.values[0]} to "
            f"{run.time.values[-1]}."
        )
    days = np.asarray(hours_between(begin, run.time.values)) / 24.0
    values = series.transpose(..., "time").values
    result = np.empty(values.shape[:-1])
    for place in np.ndindex(result.shape):
        result[place] = _first_crossing(days, values[place], line)
    rest = [d for d in series.dims if d != "time"]
    crossing = xr.DataArray(
        result, {d: series[d] for d in rest if d in series.coords}, rest, name="days_until"
    )
    attached: xr.DataArray = attach(crossing)
    attached.attrs.update(reading=line, rod_length_cm=series.attrs["rod_length_cm"])
    return attached


def _first_crossing(days: Any, values: Any, line: float) -> float:
    """Day on which a series first falls to a line, at or after day 0."""
    if not np.isfinite(values).all():
        return float("nan")
    start = np.interp(0.0, days, values)
    if start <= line:
        return 0.0
    after = np.flatnonzero((days > 0.0) & (values <= line))
    if after.size == 0:
        return float("inf")
    i = int(after[0])
    if days[i - 1] <= 0.0:
        left_day, left = 0.0, start
    else:
        left_day, left = days[i - 1], values[i - 1]
    return float(left_day + (left - line) / (left - values[i]) * (days[i] - left_day))
