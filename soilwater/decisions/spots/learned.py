"""A diagnosis that stands on a calibration: what it takes from it, and what it tells of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from soilwater.decisions.calibrated import check_calibration
from soilwater.decisions.drained_readings import learned_readings
from soilwater.decisions.spots.expected import as_drained_with
from soilwater.decisions.spots.shared import DRAWS, Green, Told, green_of, turns
from soilwater.decisions.spots.states import Common, reading_error
from soilwater.lab.equally_likely import best_and_likely
from soilwater.lab.likely_memory import likely_memories, with_memory_of
from soilwater.learning.calibration import Calibration
from soilwater.learning.drying import Drying, dryings
from soilwater.survey.survey import Spot, Survey
from soilwater.words.bands import NORMAL_END
from soilwater.words.errors import Faults
from soilwater.words.times import stamp

LEARNED_GREEN = (
    "sand, base, mat and meter are as the calibration holds them, and each reading is weighed "
    "against a column that has dried since the soaking"
)


def take_learned(
    calibration: Any,
    survey: Survey,
    given: Mapping[str, tuple[Any, Any]],
    errors: Mapping[str, tuple[float, float]],
    faults: Faults,
) -> tuple[dict[str, float], Sequence[Spot], dict[str, tuple[Drying, ...]]]:
    """Check what was given beside a calibration, and find what of a survey it has learnt from.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    survey : Survey
        What is diagnosed.
    given : mapping of str to tuple
        As for `check_calibration`.
    errors : mapping of str to tuple
        By name, an error as it was given and as it is when left out.
    faults : Faults
        Takes what does not agree.

    Returns
    -------
    dict of str to float
        Errors as the calibration has them.
    sequence of Spot
        Those of the survey that were learnt, with the readings that were.
    dict of str to tuple of Drying
        By the name of the spot, how far it had dried at each.
    """
    check_calibration(calibration, given, faults)
    if not isinstance(calibration, Calibration):
        return {name: value for name, (value, _) in errors.items()}, survey.spots, {}
    for name, (value, usual) in errors.items():
        known = calibration.given[name]
        if not math.isclose(value, usual) and not math.isclose(value, known):
            faults.add(
                f"{name} is {value:g}, and the calibration was learnt with {known:g}",
                cure=f"leave {name} out",
            )
    seen = {spot.name: set(spot.readings) for spot in calibration.given["survey"].spots}
    spots: list[Spot] = []
    dried: dict[str, tuple[Drying, ...]] = {}
    for spot in survey.spots:
        if not spot.has_depth:
            continue
        new = [each for each in spot.usable_readings if each not in seen.get(spot.name, ())]
        if new:
            when = "without a time" if new[0].time is None else f"of {stamp(new[0].time)}"
            faults.add(
                f"the calibration has not learnt from its reading {when}",
                where=f'spot "{spot.name}"',
                cure="calibrate with this survey, each reading with its time",
            )
        elif spot.name in seen:
            dried[spot.name] = dryings(calibration, calibration.number_of(spot))
            known = tuple(each.reading for each in dried[spot.name])
            spots.append(replace(spot, readings=known))
    return dict(calibration.given), spots, dried


def learned_green(calibration: Calibration, seed: int, rng: np.random.Generator) -> Green:
    """Take a green as a calibration holds it: its draws whole, each as often as the next.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    seed : int
        Of the memories of the sand.
    rng : numpy.random.Generator
        Source of the order.
    """
    unknowns = calibration.unknowns
    times = -(-DRAWS // calibration.draws)
    draw = rng.permutation(np.tile(np.arange(calibration.draws), times))
    shared = calibration.shared.take(draw)
    used, soil = np.unique(shared.soil, return_inverse=True)
    soils = [unknowns.soils[k] for k in used.tolist()]
    best, _ = best_and_likely(calibration.sand, 1)
    likely = likely_memories(calibration.sand, turns(len(soils)), seed=seed)
    memories = [with_memory_of(soils[i % len(soils)], each) for i, each in enumerate(likely)]
    common = Common(
        soil=soil,
        base=unknowns.values(shared, "base_suction"),
        offset=unknowns.values(shared, "meter_offset"),
        draw=draw,
        scale=unknowns.values(shared, "wet_factor"),
        mat_water=unknowns.values(shared, "mat_water"),
        scatter=unknowns.values(shared, "scatter"),
    )
    return green_of([*soils, best], memories, common, seed)


def told_of(calibration: Calibration, spot: Spot, rod: float, meter_error: float) -> Told:
    """Tell what a spot read and should read by its depth, drained, as a calibration has it.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    spot : Spot
        One that was learnt.
    rod : float
        Length of the rods [cm].
    meter_error : float
        Standard error of a reading [1], which is added to what the draws leave open.
    """
    number = calibration.number_of(spot)
    low, expected, high = learned_readings(calibration, rod)[:, number].tolist()
    error = reading_error(spot, rod, meter_error)
    low, high = (
        min(max(expected + sign * math.hypot(end - expected, NORMAL_END * error), 0.0), 1.0)
        for sign, end in ((-1.0, low), (1.0, high))
    )
    reading = float(as_drained_with(calibration, number, rod))
    return Told(reading, expected, (low, high), calibration.quantity(spot.name).after[1])
