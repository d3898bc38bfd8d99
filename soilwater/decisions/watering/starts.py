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
from soilwater.ground.mesh import end_to_end
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
from soilwater.soils.at_rest import RestCurves, rest_curve
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
    starts: list[list[Any]] = [[after or "drained"] * len(drawn) for _ in known]
    readings = [with_rod(spot, rod) for spot in known]
    which = [i for i, of_spot in enumerate(readings) if of_spot]
    if not which:
        return starts
    read = np.array([mean_of(readings[i]) for i in which])[:, None] + noise[which]
    depths = np.array([[depth_in(draw, known[i], rod) for draw in drawn] for i in which])
    curves, every = RestCurves([drying(draw.soil) for draw in drawn]), np.arange(len(drawn))
    drained = depths + [draw.base for draw in drawn]
    # An error of the meter alone makes no spot flooded.
    at_rest = np.array([curves.reading(every, surface, rod) for surface in drained])
    flooded = np.mean(read >= at_rest, axis=1) >= FLOODED
    for place, i in enumerate(which):
        # One that reads more than drained starts drained; a flooded one with so much less suction
        # that water stands on its base.
        wettest = 0.0 if flooded[place] else drained[place]
        dried = np.clip(curves.surface_suctions(read[place], rod), wettest, _DRIEST)
        starts[i] = [
            AfterFlooding(_at_rest_to(*each))
            for each in zip(depths[place].tolist(), dried.tolist(), strict=True)
        ]
    unflooded = np.flatnonzero(~flooded)
    for k, draw in enumerate(drawn):
        if not unflooded.size or (after is None and k % 2 == 0):
            continue
        profiles = [draw.profile(depth) for depth in depths[unflooded, k].tolist()]
        if profiles[0].remembers:
            rained = rewetted_to(profiles, after or USUAL_RAIN, rod, read[unflooded, k].tolist())
            for place, start in zip(unflooded.tolist(), rained, strict=True):
                if start is not None:
                    starts[which[place]][k] = start
    return starts


def rewetted_to(
    profiles: Sequence[Profile], rain: AfterRain, rod: float, readings: Sequence[float]
) -> list[AfterRain | None]:
    """Give the starts of columns that were rained on while dry, drained and dried to readings.

    None where one reads more than it can drained after that rain, so that it was wetted harder, or
    so little that it is as dry as before.

    Parameters
    ----------
    profiles : sequence of Profile
        Their sands remember; those that share one are best given together.
    rain : AfterRain
        How they were wetted.
    rod : float
        Length of the rod [cm].
    readings : sequence of float
        What it shows in each [1].
    """
    meshes = [profile.mesh() for profile in profiles]
    # What lies below the rod is not read.
    tops = [mesh.above(rod) for mesh in meshes]
    rests = [drained_suctions(*each) for each in zip(profiles, meshes, strict=True)]
    rest = np.concatenate([each[: top.depth.size] for each, top in zip(rests, tops, strict=True)])
    dried_by = np.linspace(0.0, rain.dried_by, _PLACES)
    ends = water_after(end_to_end(tops), rest + dried_by[:, None], rain.rate, rest + rain.dried_by)
    starts: list[AfterRain | None] = []
    first = 0
    for mesh, top, at_rest, reading in zip(meshes, tops, rests, readings, strict=True):
        shown = mean_of_top(top, ends[..., first : first + top.soil.size], rod)
        first += top.depth.size
        start = None
        if shown[-1] < reading <= shown[0]:
            by = float(np.interp(-reading, -shown, dried_by))
            start = replace(rain, water=WaterKnown(mesh.depth, at_rest + by))
        starts.append(start)
    return starts


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
) -> WaterKnown:
    """Suction over depth of a column that has drained and lost water to the turf since.

    The column is at rest with so much more suction everywhere that the rod shows the reading; one
    that reads more than drained starts drained. In root-zone sands a column by early morning is
    that near to rest: days to a threshold counted from it agree with the run that led there
    (tested).

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

    Returns
    -------
    WaterKnown
        Suction [cm] over depth.
    """
    surface = rest_curve(soil).surface_suction(reading, rod)
    surface = float(np.clip(surface, depth + base_suction, _DRIEST))
    return _at_rest_to(depth, surface)


def _at_rest_to(depth: float, surface: float) -> WaterKnown:
    """Water of a column that is at rest with a suction [cm] at its surface."""
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
