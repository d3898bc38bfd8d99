"""What a hand-held moisture meter would show, and how long until it shows a given threshold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.runs.columns_of import Column, each_column
from soilwater.words.errors import Faults
from soilwater.words.forms import Date, Length, WaterContent
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.times import as_time, hours_between, stamp
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

_MOST_NAMED = 5
"""How many profiles that are too shallow for a rod a message names."""


@mind_words()
def meter_reading(run: xr.Dataset, *, rod: Length) -> xr.DataArray:
    """Read a meter whose rods are pushed in from the surface, fully.

    The mean water content over the rod, integrated exactly through the retention curve and across
    layers; at a front, where suction changes by more than twice the distance from node to node, as
    the water balance holds it. A real meter adds its own error: +-2 to 3 % by volume is common
    (common practice, no source), and salt, temperature and air gaps add more.

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
    columns = list(each_column(run))
    _check_rod(length, columns)
    values = [each.mean(0.0, min(length, each.profile.depth)) for each in columns]
    batch = run.profile.dims
    rest = [d for d in run.node_suction.dims if d not in (*batch, "node", "node_depth")]
    dims = (*batch, *rest)
    shape = [run.sizes[d] for d in dims]
    coords = {d: run[d] for d in dims if d in run.coords}
    reading = xr.DataArray(np.array(values).reshape(shape), coords, dims, name="reading")
    attached: xr.DataArray = attach(reading)
    attached.attrs["rod_length_cm"] = length
    return attached


@mind_words(reading="threshold")
def days_until(
    run: xr.Dataset, threshold: WaterContent, *, rod: Length, since: Date | None = None
) -> xr.DataArray:
    """Days until the meter first falls to a threshold.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many` or `compare_depths`.
    threshold : float, str or Quantity
        The reading [1], such as 0.12 or ``"12 %"``.
    rod : float, str or Quantity
        Length of the rods [cm].
    since : datetime64, str or Timestamp, optional
        Where the count starts; the start of the run when left out.

    Returns
    -------
    DataArray
        Days [d], straight between output times: 0 where the reading is at or below it
        from the start, infinity where it never falls to it within the run, NaN where the case
        has no result.

    Raises
    ------
    InputError
        If the run has no times or they do not go forward, `since` lies outside it, or as for
        `meter_reading`.
    """
    faults = Faults("Days until")
    line = 0.0
    with faults.catching():
        line = number_to_house(threshold, "water_content", "threshold")
    with faults.catching():
        series = meter_reading(run, rod=rod)
        if "time" not in series.dims:
            faults.add("the Dataset has no times", cure="give the result of a simulation")
        else:
            _check_forward(run.time.values, faults)
            begin = _time_within(run.time.values, since, faults)
    faults.raise_if_any()
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
    attached.attrs.update(threshold=line, rod_length_cm=series.attrs["rod_length_cm"])
    return attached


def _check_rod(length: float, columns: Sequence[Column]) -> None:
    """Refuse a rod that is no rod, or longer than some of the profiles are deep."""
    faults = Faults("Meter")
    told = in_people_units(length, "length")
    if length <= 0.0:
        faults.add(f"rod is {length:g} cm", allowed="above 0 cm")
    short = sorted({c.profile.depth for c in columns if length > c.profile.depth + 1e-9})
    if short:
        depths = ", ".join(in_people_units(depth, "length") for depth in short[:_MOST_NAMED])
        if len(short) > _MOST_NAMED:
            depths += f" and {len(short) - _MOST_NAMED} more"
        faults.add(
            f"rod is {told} and longer than the profile is deep: {depths}",
            allowed=f"up to {in_people_units(short[0], 'length')}",
            cure="take a shorter rod, or leave out the profiles that are too shallow",
        )
    faults.raise_if_any()


def _check_forward(times: NDArray[np.datetime64], faults: Faults) -> None:
    """Note where the times of a run stand still or go back."""
    for i in np.flatnonzero(np.diff(times) <= np.timedelta64(0, "ns"))[:1].tolist():
        faults.add(
            f"time does not go forward: {stamp(times[i])} is followed by {stamp(times[i + 1])}",
            cure='give run.sortby("time").drop_duplicates("time")',
        )


def _time_within(times: NDArray[np.datetime64], since: Any, faults: Faults) -> np.datetime64:
    """Time from which days are counted; the first of the run when `since` is None."""
    if since is None:
        return np.datetime64(times[0])
    begin = as_time(since, "since")
    if not times[0] <= begin <= times[-1]:
        faults.add(
            f"since is {stamp(begin)}, outside the run",
            allowed=f"{stamp(times[0])} to {stamp(times[-1])}",
        )
    return begin


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
