"""Where a spot starts: drained, at what the meter read, or as a calibration leaves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from soilwater.decisions.watering.draws import Draw, drying
from soilwater.decisions.watering.ensembles import depth_in, memory_words
from soilwater.decisions.watering.refill import mean_of_top
from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.profile import Profile
from soilwater.runs.drained import drained_suctions
from soilwater.runs.wetted import (
    USUAL_RAIN,
    AfterFlooding,
    AfterRain,
    WaterKnown,
    check_rain,
    water_after,
)
from soilwater.soils import Hysteretic, Soil
from soilwater.soils.at_rest import rest_curve
from soilwater.survey.survey import Spot
from soilwater.survey.together import error_of_mean, mean_of, with_rod
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_one_unit


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
        Error of the reading of a spot [1], from `errors_of`.
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
        readings = with_rod(spot, rod)
        if not readings:
            starts.append([after or "drained"] * len(drawn))
            continue
        read = mean_of(readings) + errors
        depths = [depth_in(draw, spot, rod) for draw in drawn]
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
    return replace(rain, water=WaterKnown(mesh.depth, rest + by))


def usable(spot: Spot, rod: float) -> list[float]:
    """List the usable readings [1] of a spot with a rod of one length."""
    return [each.value for each in with_rod(spot, rod)]


def errors_of(known: Sequence[Spot], rod: float, meter: float) -> FloatArray:
    """Tell the standard error of the mean reading of every spot [1], shape (spots, 1).

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    rod : float
        Length of the rods [cm].
    meter : float
        Standard error of one reading of the meter [1].
    """
    return np.array([[error_of_mean(with_rod(spot, rod), meter)] for spot in known])


def dried_to(
    soil: Soil,
    depth: float,
    base_suction: float,
    rod: float,
    reading: float,
    *,
    flooded: bool = False,
) -> WaterKnown:
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
    WaterKnown
        Suction [cm] over depth.
    """
    surface = rest_curve(soil).surface_suction(reading, rod)
    surface = float(np.clip(surface, 0.0 if flooded else depth + base_suction, _DRIEST))
    ends = np.array([0.0, depth])
    return WaterKnown(ends, surface - ends)


_DRIEST, _PLACES = 5000.0, 57
FLOODED = 0.9
"""Share of the draws that must read more than drained for a spot to start flooded (a judgement)."""


STARTS = {
    "drained": "every spot starts drained to rest at its own depth, on level ground",
    "readings": "every spot starts at its reading, as a level column that was drained and has "
    "lost water to the turf since; well above its drained reading it starts flooded from the base "
    "up",
}


def any_remembers(soils: Sequence[Soil]) -> bool:
    """Tell whether one of some `soils` holds less once it was wetted."""
    return any(isinstance(each, Hysteretic) and each.remembers for each in soils)


def start_words(start: str, after: AfterRain | None, soils: Sequence[Soil]) -> str:
    """Tell what a start takes for granted after rain, of soils that may remember their wetting."""
    if not any_remembers(soils):
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


def assumed_words(
    start: str, after: AfterRain | None, base: BaseSuction, soils: Sequence[Soil]
) -> tuple[str, ...]:
    """Tell what is taken for granted of a `start` `after` rain, of the `base` and `soils`."""
    return (
        start_words(start, after, soils),
        f"suction left at the base: {base}",
        *memory_words(soils),
    )


def check_start(start: str, after: AfterRain | None, faults: Faults) -> None:
    """Add to the faults what is no start, and no rain that it comes after."""
    if start not in STARTS:
        faults.add(f"start is {start!r}", allowed='"drained" or "readings"')
    check_rain(after, faults)


LEARNED_START = "every spot starts as the calibration leaves it, readings as this meter shows them"
