"""Where a dry-down starts: at rest after drainage, or at what the meter read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from soilwater.decisions.watering.ensembles import (
    Draw,
    between_depths,
    column,
    daily_share_met,
    depth_grid,
    drying,
    run_columns,
)
from soilwater.decisions.watering.refill import mean_of_top
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.learning.calibration import Calibration
from soilwater.runs.drained import drained_suctions
from soilwater.runs.wetted import USUAL_RAIN, AfterFlooding, AfterRain, check_rain, water_after
from soilwater.soils import Hysteretic, Soil
from soilwater.soils.at_rest import rest_curve
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_one_unit


def from_rest(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    after: AfterRain | None,
    rod: float,
    probe_error: float,
    n_threads: int | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Run spots that start drained, on a grid of depths between which they are read.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    drawn : sequence of Draw
        Equally likely combinations.
    turf : Turf
        Roots and demand.
    after : AfterRain or None
        How they were wetted last; flooded if None.
    rod : float
        Length of the rods [cm].
    probe_error : float
        Standard error of a probed depth [cm].
    n_threads : int or None
        Threads to use.

    Returns
    -------
    hours : ndarray, shape (times,)
        Times of the run [h].
    reading : ndarray, shape (spots, draws, times)
        Readings [1].
    met : ndarray, shape (spots, draws, days)
        Shares of each day's demand that are met [1].
    """
    grid = depth_grid(np.array([spot.depth for spot in known]), rod, 2.0 * probe_error)
    # A sand at all depths in a row: its table stays close to the processor.
    start = after or "drained"
    cases = [column(draw, float(depth), turf, start=start) for draw in drawn for depth in grid]
    runs = run_columns(cases, rod, n_threads=n_threads)
    shape = (len(drawn), grid.size, -1)
    reading = runs.reading.reshape(shape)
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand).reshape(shape)
    probes = np.array([draw.probe for draw in drawn])
    at = [np.clip(spot.depth + probes, grid[0], grid[-1]) for spot in known]
    return (
        runs.hours,
        np.array([between_depths(grid, reading, depth) for depth in at]),
        np.array([between_depths(grid, met, depth) for depth in at]),
    )


def from_readings(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    rod: float,
    noise: FloatArray,
    after: AfterRain | None,
    n_threads: int | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Run spots that start at their readings.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    drawn : sequence of Draw
        Equally likely combinations.
    turf : Turf
        Roots and demand.
    rod : float
        Length of the rods [cm].
    noise : ndarray, shape (spots, draws)
        Error of one reading [1].
    after : AfterRain or None
        As for `starts_at_readings`.
    n_threads : int or None
        Threads to use.

    Returns
    -------
    hours : ndarray, shape (times,)
        Times of the run [h].
    reading : ndarray, shape (spots, draws, times)
        Readings [1].
    met : ndarray, shape (spots, draws, days)
        Shares of each day's demand that are met [1].
    """
    starts = starts_at_readings(known, drawn, rod, noise, after)
    cases = [
        column(draw, max(spot.depth + draw.probe, rod + 0.5), turf, start=of_spot[k])
        for k, draw in enumerate(drawn)
        for spot, of_spot in zip(known, starts, strict=True)
    ]
    runs = run_columns(cases, rod, n_threads=n_threads)
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
    shape = (len(drawn), len(known), -1)
    return (
        runs.hours,
        runs.reading.reshape(shape).swapaxes(0, 1),
        met.reshape(shape).swapaxes(0, 1),
    )


def from_calibration(
    known: Sequence[Spot],
    calibration: Calibration,
    members: Sequence[Weather],
    rod: float,
    n_threads: int | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Run spots from what was learnt of them, on the depths between which they are read.

    Parameters
    ----------
    known : sequence of Spot
        Spots that were learnt.
    calibration : Calibration
        What was learnt.
    members : sequence of Weather
        Equally likely weather from its `now` on.
    rod : float
        Length of the rods [cm].
    n_threads : int or None
        Threads to use.

    Returns
    -------
    hours : ndarray, shape (times,)
        Times of the run [h].
    reading : ndarray, shape (spots, draws, times)
        Readings [1] as this meter shows them.
    met : ndarray, shape (spots, draws, days)
        Shares of each day's demand that are met [1].
    """
    numbers = [calibration.number_of(spot) for spot in known]
    shift = calibration.shift(rod=rod)
    found: dict[int, tuple[FloatArray, FloatArray]] = {}
    for g, group in enumerate(calibration.green.groups):
        if not set(group.spots) & set(numbers):
            continue
        runs = run_columns(calibration.ahead(g, members), rod, n_threads=n_threads)
        met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
        reading, share = (calibration.at_spots(g, each) for each in (runs.reading, met))
        for k, i in enumerate(group.spots):
            found[i] = (np.clip(reading[k] + shift[:, i, None], 0.0, 1.0), share[k])
    return (
        runs.hours,
        np.array([found[i][0] for i in numbers]),
        np.array([found[i][1] for i in numbers]),
    )


def starts_at_readings(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    rod: float,
    noise: FloatArray,
    after: AfterRain | None,
) -> list[list[Any]]:
    """Make columns start at the readings of their spots; drained where there is none.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    drawn : sequence of Draw
        Equally likely combinations.
    rod : float
        Length of the rods [cm].
    noise : ndarray, shape (spots, draws)
        Error of one reading [1].
    after : AfterRain or None
        How the green was wetted last; where that is not known, sand that remembers was flooded in
        every other draw, and wetted as usual in the rest.

    Returns
    -------
    list of list
        For each spot the start in each draw.
    """
    starts: list[list[Any]] = []
    for spot, errors in zip(known, noise, strict=True):
        values = usable(spot, rod)
        if not values:
            starts.append([after or "drained"] * len(drawn))
            continue
        read = np.mean(values) + errors / np.sqrt(len(values))
        depths = [max(spot.depth + draw.probe, rod + 0.5) for draw in drawn]
        at_rest = [
            float(rest_curve(drying(draw.soil)).reading(depth, rod, draw.base))
            for draw, depth in zip(drawn, depths, strict=True)
        ]
        # An error of the meter alone makes no spot flooded.
        flooded = bool(np.mean(read > at_rest) >= FLOODED)
        of_spot: list[Any] = []
        for k, (draw, depth, one) in enumerate(zip(drawn, depths, read.tolist(), strict=True)):
            profile, rain = draw.profile(depth), after or USUAL_RAIN
            rained = profile.remembers and (after is not None or k % 2 == 1) and not flooded
            start = rewetted_to(profile, rain, rod, one) if rained else None
            dried = dried_to(drying(draw.soil), depth, draw.base, rod, one, flooded=flooded)
            of_spot.append(start or AfterFlooding(dried))
        starts.append(of_spot)
    return starts


def rewetted_to(profile: Profile, rain: AfterRain, rod: float, reading: float) -> AfterRain | None:
    """Give the start of a column that was rained on while dry, drained and dried to a reading.

    None where it reads more than it can drained after that rain, so that it was wetted harder, or
    so little that it is as dry as before.

    Parameters
    ----------
    profile : Profile
        Its sand remembers.
    rain : AfterRain
        How it was wetted.
    rod : float
        Length of the rod [cm].
    reading : float
        What it shows [1].
    """
    mesh = profile.mesh()
    rest = drained_suctions(profile, mesh)
    dried_by = np.linspace(0.0, rain.dried_by, _PLACES)
    ends = water_after(mesh, rest + dried_by[:, None], rain.rate, rest + rain.dried_by)
    shown = mean_of_top(mesh, ends, rod)
    if not shown[-1] < reading <= shown[0]:
        return None
    by = float(np.interp(-reading, -shown, dried_by))
    suction = xr.DataArray(rest + by, {"depth": mesh.depth}, ("depth",), "suction")
    return replace(rain, water=suction)


def usable(spot: Spot, rod: float) -> list[float]:
    """List the usable readings [1] of a spot with a rod of one length."""
    return [each.value for each in spot.usable_readings if abs(each.rod - rod) < 0.1]


def dried_to(
    soil: Soil,
    depth: float,
    base_suction: float,
    rod: float,
    reading: float,
    *,
    flooded: bool = False,
) -> Any:
    """Suction over depth of a column that has drained and lost water to the turf since.

    The column is at rest with so much more suction everywhere that the rod shows the reading; one
    that reads more than drained starts drained, or, where it is flooded, with so much less suction
    that water stands on its base. In root-zone
    sands a column by early morning is that near to rest: days to a threshold counted from it agree
    with the run that led there (tested).

    Parameters
    ----------
    soil : Soil
        The root-zone sand.
    depth : float
        Depth of the root zone [cm].
    base_suction : float
        Suction left at the base once drained [cm].
    rod : float
        Length of the rod [cm].
    reading : float
        What it shows [1].
    flooded : bool, optional
        Whether it may hold more than drained.

    Returns
    -------
    DataArray
        ``suction`` [cm] over ``depth``.
    """
    surface = rest_curve(soil).surface_suction(reading, rod)
    surface = float(np.clip(surface, 0.0 if flooded else depth + base_suction, _DRIEST))
    ends = np.array([0.0, depth])
    return xr.DataArray(surface - ends, {"depth": ends}, ("depth",), "suction")


_DRIEST, _PLACES = 5000.0, 57
FLOODED = 0.9
"""Share of the draws that must read more than drained for a spot to start flooded (a judgement)."""


STARTS = {
    "drained": "every spot starts drained to rest at its own depth, on level ground",
    "readings": "every spot starts at its reading, as a level column that was drained and has "
    "lost water to the turf since; well above its drained reading it starts flooded from the base "
    "up",
}


def start_words(start: str, after: AfterRain | None, soils: Sequence[Soil]) -> str:
    """Tell what a start takes for granted, of sands that may remember how they were wetted."""
    if not any(isinstance(each, Hysteretic) and each.remembers for each in soils):
        return STARTS[start]
    if after is not None:
        rate = in_one_unit(after.rate, "water_rate")
        return f"{STARTS[start]}; last wetted at {rate} while dry"
    if start == "readings":
        return (
            f"{STARTS[start]}; whether it was flooded or watered gently before is not known, and "
            "each is in half of the cases"
        )
    return f"{STARTS[start]}, after a flood, as a lab soaks"


def check_start(start: str, after: AfterRain | None, faults: Faults) -> None:
    """Note what is no start, and what is no rain before it."""
    if start not in STARTS:
        faults.add(f"start is {start!r}", allowed='"drained" or "readings"')
    check_rain(after, faults)


LEARNED_START = "every spot starts as the calibration leaves it, readings as this meter shows them"
