"""The two trials of a plan: cases that it is made on, and others that it is checked on."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np

from soilwater.decisions.drained_readings import (
    MEMORIES,
    PROBE_ERROR,
    by_depth,
    learned_readings,
)
from soilwater.decisions.watering.draws import Draw, drying
from soilwater.decisions.watering.ensembles import OUTPUT_HOURS
from soilwater.decisions.watering.even_draws import errors_dealt_out, make_halves, weather_dealt_out
from soilwater.decisions.watering.starts import (
    LEARNED_START,
    any_remembers,
    assumed_words,
    errors_of,
)
from soilwater.decisions.watering.trials import Trial, from_calibration, from_readings, from_rest
from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_at_rest import DRAWS
from soilwater.lab.likely_memory import as_watered
from soilwater.learning.calibration import Calibration
from soilwater.learning.halves import as_many_alike
from soilwater.runs.wetted import USUAL_RAIN, AfterRain
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.bands import ends_and_middle
from soilwater.words.errors import InputError
from soilwater.words.times import stamp

Tell = Callable[[int, int], object]
"""Takes how many cases are done, and of how many."""


class Trials(NamedTuple):
    """What a plan is made on and checked on.

    `sands` is how many sands they have between them where none is of both, else infinity;
    `assumed` and `said` are sentences about them; `drained` tells of a spot, by its number, what it
    reads as it starts when drained, and drained after gentle water on a dry green [1], as every
    other decision tells it.
    """

    made_on: Trial
    checked_on: Trial
    sands: float
    assumed: tuple[str, ...]
    said: str
    drained: Callable[[int], tuple[float, float]]


def from_learnt(
    known: Sequence[Spot],
    calibration: Calibration,
    members: Sequence[Weather],
    rod: float,
    n_threads: int | None,
    progress: Tell,
) -> Trials:
    """Take the two halves of what readings have taught.

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
    progress : callable
        As for `run_columns`, over both.
    """
    dealt = weather_dealt_out(calibration, members)
    learned = from_calibration(
        known, calibration, dealt, rod, n_threads, coarse=True, progress=progress
    )
    made_on, checked_on = (learned.take(numbers) for numbers in calibration.halves)
    numbers = [calibration.number_of(spot) for spot in known]

    @cache
    def readings(rain: AfterRain | None) -> list[float]:
        every: list[float] = learned_readings(calibration, rod, rain)[1, numbers].tolist()
        return every

    def drained(spot: int) -> tuple[float, float]:
        gentle = USUAL_RAIN if calibration.unknowns.remembers else None
        return readings(None)[spot], readings(gentle)[spot]

    return Trials(
        made_on,
        checked_on,
        _between([calibration.shared.soil[half].tolist() for half in calibration.halves]),
        (LEARNED_START,),
        f"made on {made_on.draws} cases the readings allow, checked on {checked_on.draws} others",
        drained,
    )


def from_likely(
    known: Sequence[Spot],
    sand: Sand,
    members: Sequence[Weather],
    base: BaseSuction,
    turf: Turf,
    start: str,
    after: AfterRain | None,
    rod: float,
    meter: float,
    draws: int,
    seed: int,
    n_threads: int | None,
    progress: Callable[[], Tell],
) -> Trials:
    """Draw two sets of sands, bases and weather, each of which stands for all there may be.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    sand, members, base, turf, draws, seed, rod
        As for `make_halves`.
    start, after
        As for `hand_water_plan`.
    meter : float
        Standard error of one reading [1].
    n_threads : int or None
        Threads to use.
    progress : callable
        Gives what each of the two tells how far it is.

    Raises
    ------
    InputError
        If visits of the crew would not fall on output times.
    """
    _check_start(members[0])
    remembering = as_watered(sand, 2 * draws)
    of_green = (turf, float(np.median([spot.depth for spot in known])), rod)
    halves = make_halves(sand, members, base, draws, seed, *of_green)
    rng = np.random.default_rng(seed)
    errors = errors_of(known, rod, meter)

    def begun(drawn: Sequence[Draw]) -> Trial:
        told = progress()
        if start == "drained":
            return from_rest(known, drawn, turf, after, rod, n_threads, coarse=True, progress=told)
        noise = errors * errors_dealt_out(drawn, *of_green, len(known), rng)
        return from_readings(
            known, drawn, turf, after, rod, noise, n_threads, coarse=True, progress=told
        )

    @cache
    def readings(rain: AfterRain | None) -> list[float]:
        count = DRAWS if rain is None else MEMORIES
        drawn = by_depth(known, sand, base, rod, PROBE_ERROR, count, seed, rain)
        every: list[float] = ends_and_middle(drawn)[1].tolist()
        return every

    def drained(spot: int) -> tuple[float, float]:
        if not any_remembers(remembering):
            return readings(None)[spot], readings(None)[spot]
        return readings(after if start == "drained" else None)[spot], readings(USUAL_RAIN)[spot]

    made_on, checked_on = (begun(drawn) for drawn in halves)
    return Trials(
        made_on,
        checked_on,
        _between([[drying(draw.soil) for draw in drawn] for drawn in halves]),
        assumed_words(start, after, base, remembering),
        f"made on {draws} cases (sand, base and {len(members)} weather "
        f"member{'' if len(members) == 1 else 's'}), checked on {draws} others",
        drained,
    )


def _between(halves: Sequence[Sequence[Hashable]]) -> float:
    """Count sands of two halves, as many as are alike often; infinity where they share any."""
    if set(halves[0]) & set(halves[1]):
        return math.inf
    every = [sand for half in halves for sand in half]
    number = {sand: i for i, sand in enumerate(dict.fromkeys(every))}
    return as_many_alike(np.array([number[sand] for sand in every]))


def _check_start(weather: Weather) -> None:
    """Visits fall on output times, which are counted from the start of the weather."""
    since = weather.start - weather.start.astype("datetime64[D]")
    if since % np.timedelta64(int(OUTPUT_HOURS), "h") != np.timedelta64(0, "h"):
        raise InputError(
            f"weather: it starts at {stamp(weather.start)}; allowed: a start at 0, 6, 12 or 18 h; "
            "cut it with Weather.between."
        )
