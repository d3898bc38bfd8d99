"""What pictures need from results: one column, its water, and names for the lines."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.accessor import dimension_names
from soilwater.ground.mesh import Mesh
from soilwater.runs.columns_of import Column, each_column
from soilwater.runs.meter import meter_reading
from soilwater.words.errors import InputError
from soilwater.words.forms import Length
from soilwater.words.times import as_time, hours_between, stamp

SPREAD = ("sample", "member")
"""Dimensions that say how sure we are, and are drawn as a band."""


class Through(NamedTuple):
    """Water through a profile: two points per cell, so that layers end where they end."""

    depth: NDArray[np.float64]
    water_content: NDArray[np.float64]
    saturated: NDArray[np.float64]


class Readings(NamedTuple):
    """Readings in per cent over days since they begin, a row per line."""

    days: NDArray[np.float64]
    names: list[str]
    middle: NDArray[np.float64]
    lower: NDArray[np.float64] | None
    upper: NDArray[np.float64] | None
    rod: float
    begin: np.datetime64


def only_column(run: xr.Dataset) -> Column:
    """Return the one column of `run`."""
    columns = list(each_column(run))
    if len(columns) != 1:
        dims = ", ".join(map(str, run.profile.dims))
        raise InputError(
            f"Dataset: it holds {len(columns)} columns along {dims}; allowed: one; pick it with "
            ".isel or .sel."
        )
    return columns[0]


def moments(run: xr.Dataset, at: Any) -> list[tuple[int, str]]:
    """Positions of the times `at` of `run`, and their names; the last when `at` is None."""
    if "time" not in run.dims:
        if at is not None:
            raise InputError("at: the Dataset has no times; leave `at` out.")
        return [(0, str(run.attrs.get("drained", "at rest")))]
    times = run.time.values
    if at is None:
        return [(times.size - 1, stamp(times[-1]))]
    listed = at if isinstance(at, (list, tuple, np.ndarray)) else [at]
    found = []
    for each in listed:
        wanted = as_time(each, "at")
        if not times[0] <= wanted <= times[-1]:
            raise InputError(
                f"at: {stamp(wanted)} lies outside the run; allowed: {stamp(times[0])} to "
                f"{stamp(times[-1])}."
            )
        i = int(np.argmin(np.abs(times - wanted)))
        found.append((i, stamp(times[i])))
    return found


def water_through(column: Column, i: int) -> Through:
    """Water content [%] of a column through the curve of each layer, at time number `i`."""
    mesh, suction = column.mesh, column.node_suction[i]
    if not np.isfinite(suction).all():
        raise InputError(
            "Dataset: it has no values at that time; the run had given up before, see status_text."
        )
    # A blanket of gravel below the layers is drawn as gravel.
    within = int(np.searchsorted(mesh.depth, column.profile.depth + 1e-9))
    mesh = Mesh(mesh.depth[:within], mesh.soil[: within - 1], mesh.soils)
    suction = suction[:within]
    depth = np.repeat(mesh.depth, 2)[1:-1]
    at_ends = np.repeat(suction, 2)[1:-1]
    if column.drying is not None:
        at_ends = column.drying[i, :, : within - 1].T.ravel()
    number = np.repeat(mesh.soil, 2)
    water, saturated = np.empty(depth.size), np.empty(depth.size)
    for k, soil in enumerate(mesh.soils):
        here = number == k
        water[here] = 100.0 * np.asarray(soil.water_content(at_ends[here]))
        saturated[here] = 100.0 * soil.theta_s
    return Through(depth, water, saturated)


def readings(run: xr.Dataset, rod: Length, since: Any, probability: float) -> Readings:
    """Take readings of a run with a rod [cm] as lines over the days since a time.

    Samples or members make a band that holds `probability` [1] of them.
    """
    if not 0.0 < probability < 1.0:
        raise InputError(f"probability: {probability!r}; allowed: between 0 and 1, such as 0.8.")
    series = meter_reading(run, rod=rod)
    if "time" not in series.dims:
        raise InputError("Dataset: it has no times; give the result of a simulation.")
    spread = [d for d in series.dims if d in SPREAD]
    along = [d for d in series.dims if d not in (*SPREAD, "time")]
    if len(along) > 1:
        raise InputError(
            f"Dataset: its columns lie along {', '.join(map(str, along))}; allowed: one dimension "
            "of lines; pick the others with .isel or .sel."
        )
    values = 100.0 * series.transpose(*along, *spread, "time").values
    values = values.reshape(series.sizes[along[0]] if along else 1, -1, series.sizes["time"])
    names = dimension_names(series, str(along[0])) if along else [""]
    begin = series.time.values[0] if since is None else as_time(since, "since")
    days = np.asarray(hours_between(begin, series.time.values)) / 24.0
    kept = days >= 0.0
    if not kept.any() or not days[0] <= 0.0:
        raise InputError(
            f"since: {stamp(begin)} lies outside the run; allowed: "
            f"{stamp(series.time.values[0])} to {stamp(series.time.values[-1])}."
        )
    days, values = days[kept], values[..., kept]
    lower = upper = None
    middle = values[:, 0]
    if spread:
        shares = [0.5 * (1.0 - probability), 0.5, 0.5 * (1.0 + probability)]
        # A sample that failed on the way is left out of the band as a whole, not from there on.
        whole = [line[np.isfinite(line).all(axis=1)] for line in values]
        lower, middle, upper = np.stack(
            [
                np.quantile(line, shares, axis=0) if len(line) else np.full((3, days.size), np.nan)
                for line in whole
            ],
            axis=1,
        )
    rod_length = float(series.attrs["rod_length_cm"])
    return Readings(days, names, middle, lower, upper, rod_length, begin)
