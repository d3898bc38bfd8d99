"""Learn a green jointly from what was read on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.learning.calibration import Calibration
from soilwater.learning.columns import Green, Span, at_hours, groups_of, read_spans
from soilwater.learning.emulator import Terms, emulate
from soilwater.learning.evidence import Evidence, draw_own, log_evidence
from soilwater.learning.given import Record, take_record
from soilwater.learning.halves import dried_between, kept_halves, own_dealt_out
from soilwater.learning.representing import representing
from soilwater.learning.scale import scale_doubts
from soilwater.learning.telling import (
    cautions_of,
    depths_learned,
    doubts_of,
    held_back,
    quantities_learned,
)
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.learning.weighing import (
    LAST,
    Proposal,
    first_round,
    narrowed,
    next_round,
    pick,
    weights_of,
    worth,
)
from soilwater.survey.sensor import BuriedSensor, join_sensors
from soilwater.survey.survey import Survey
from soilwater.survey.together import added_to
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.forms import Date, Length, Suction, WaterContent
from soilwater.words.renamed import mind_words
from soilwater.words.several import many_times
from soilwater.words.units import number_to_house

SANDS = 400
"""Most equally likely sands that are gone through."""
RUN_BEFORE, RUN_AFTER = 256, (64, 192)
"""Draws the solver is run for: over all that was possible, and twice among what the readings allow,
as it is known by then."""
AMONG = 1500
"""Draws of which those that are run are picked to stand for all."""
TOLD = 6000
"""Draws behind the bands of what all spots share, of which those that are kept are picked."""
_FOR_EACH = 10
"""Draws among which each is picked that is kept, at least."""
DRAWS = 300
"""Equally likely possibilities that are kept."""


@mind_words()
def calibrate(
    survey: Survey,
    sand: Sand,
    weather: Weather,
    turf: Turf,
    *,
    soaked: Date | None = None,
    irrigation: Sequence[Event] | Mapping[str, Sequence[Event]] | None = None,
    sensors: Sequence[BuriedSensor] = (),
    base_suction: Suction = OVER_GRAVEL,
    meter_error: WaterContent = 0.025,
    meter_offset: WaterContent = 0.02,
    model_error: WaterContent = 0.01,
    probe_error: Length = 1.0,
    sensor_error: WaterContent = 0.015,
    doubtful: Literal["ask", "leave out"] = "ask",
    draws: int = DRAWS,
    seed: int = 0,
    n_threads: int | None = None,
) -> Calibration:
    """Learn sand, base, turf, mat, meter and each spot's own depth jointly, from readings.

    Parameters
    ----------
    survey : Survey
        Spots with probed depths, and their readings of one or more visits, each with its time.
    sand : Soil, FitResult or sequence of these
        The root-zone sand; of a fit, all that its points leave open is asked about.
    weather : Weather
        What the weather was from the soaking to the last reading; it may go on.
    turf : Turf
        Roots and demand.
    soaked : datetime64, str or Timestamp
        When rain or watering last filled the root zone throughout.
    irrigation : sequence of Event, or mapping of str to these
        Water applied since: to the whole green, or by the name of the spot, where ``""`` is the
        water of all. Say ``()`` if there was none: missing is not none.
    sensors : sequence of BuriedSensor, optional
        Sensors in the ground; their errors are taken to last, and for how long is learnt.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm]; the band is taken evenly.
    meter_error : float or str, optional
        Standard error of one reading [1].
    meter_offset : float or str, optional
        Standard error of an offset all readings share [1].
    model_error : float or str, optional
        Standard deviation of what a spot's readings miss for good [1].
    probe_error : float, str or Quantity, optional
        Standard error of a probed depth [cm].
    sensor_error : float or str, optional
        Standard error of a reading of a buried sensor [1].
    doubtful : {"ask", "leave out"}, optional
        What is done with readings that no sand can give, and with those told twice, more often
        than pushes of a meter agree by chance, which then count once; they are told in both cases.
    draws : int, optional
        Equally likely possibilities to keep.
    seed : int, optional
        Seed of the draws.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        If there is no known soaking or no record of water, readings have no times or lie outside
        the weather, doubtful ones are not left out, or something given cannot be used.
    RunError
        If a column cannot be carried through.

    Notes
    -----
    The solver runs some draws over all that is possible and some among what the readings allow,
    each picked so that they stand for all of these;
    between them every reading is a polynomial whose error counts (`soilwater.learning.emulator`).
    Tens of thousands of draws are weighed by the readings, and some of them kept, each whole
    (`soilwater.learning.weighing`). What is each spot's own is integrated out and drawn again, and
    of what is drawn that is kept which stands for all (`soilwater.learning.halves`).
    Where readings are far more likely as shares of the pore space, a doubt asks for the scale.
    ``benchmarks/learning_coverage.py`` measures how often bands hold readings that were not used.

    Examples
    --------
    >>> from soilwater.survey.survey import Reading, Spot
    >>> from soilwater.soils import VanGenuchten
    >>> from soilwater.weather.made import steady_weather
    >>> days = ["2025-07-02 06:00", "2025-07-04 06:00", "2025-07-06 06:00"]
    >>> read = [(0.20, 0.17, 0.14), (0.14, 0.12, 0.10)]
    >>> green = Survey([
    ...     Spot(name, depth, readings=[Reading(v, rod=7.6, time=t) for v, t in zip(values, days)])
    ...     for name, depth, values in zip("AB", (30.0, 40.0), read)
    ... ])
    >>> learned = calibrate(
    ...     green, VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), steady_weather(6, "5 mm/day"),
    ...     Turf("15 cm"), soaked="2025-07-01 00:00", irrigation=(),
    ... )
    >>> learned.quantity("wet_factor").learned, learned.quantity("base_suction").learned
    (True, False)
    """
    faults = Faults("calibrate")
    errors = _errors(
        {
            "meter_error": (meter_error, "water_content"),
            "meter_offset": (meter_offset, "water_content"),
            "model_error": (model_error, "water_content"),
            "probe_error": (probe_error, "length"),
            "sensor_error": (sensor_error, "water_content"),
        },
        draws,
        faults,
    )
    base = OVER_GRAVEL
    with faults.catching():
        base = base_band(base_suction)
    _, soils = best_and_likely(sand, SANDS)
    # Kept for the next morning too: what can be gone through once would be empty by then.
    sensors, irrigation = many_times(sensors), many_times(irrigation)
    if isinstance(irrigation, Mapping):
        irrigation = {name: many_times(events) for name, events in irrigation.items()}
    record = take_record(
        survey, weather, soaked, irrigation, sensors, soils, errors, doubtful, faults
    )
    unknowns = Unknowns.of(soils, base, errors["meter_offset"])
    rng = np.random.default_rng(seed)
    green = Green(
        record.spots,
        turf,
        record.weather,
        groups_of(record.spots, record.irrigation, max(span.bottom for span in record.spans)),
    )
    evidence = Evidence(
        green, unknowns, record.tracks, (), errors["probe_error"], errors["model_error"]
    )
    shared, weight, earlier = _weighed(evidence, record, rng, n_threads)
    evidence = earlier[0]
    # Bands are told from more draws than are kept: their ends would be rough.
    told = max(TOLD, _FOR_EACH * draws)
    many = shared.take(pick(weight, told, rng, dried_between(evidence, shared)))
    own_of_many = draw_own(evidence, many, rng)
    halves = kept_halves(evidence, many, own_of_many, draws, rng)
    kept = many.take(np.concatenate(halves))
    numbers = np.split(np.arange(draws), [halves[0].size])
    own = own_dealt_out(evidence, (many, own_of_many), kept, numbers, rng)
    checked = held_back(evidence, shared, earlier[1], rng)
    return Calibration(
        name=survey.name,
        now=record.now,
        quantities=quantities_learned(unknowns, many),
        depths=depths_learned(evidence, kept, own, rng),
        held_back=checked,
        doubts=(*record.notes, *scale_doubts(evidence), *doubts_of(evidence, kept, own)),
        assumptions=(
            f"soaked throughout at {record.soaked_text}",
            f"suction left at the base, before reading: {base}",
            f"errors (standard): reading {100 * errors['meter_error']:.1f} %, all readings "
            f"together {100 * errors['meter_offset']:.1f} %, a spot for good "
            f"{100 * errors['model_error']:.1f} %, probe {errors['probe_error']:.1f} cm",
            f"{draws} draws kept of {LAST}, worth {worth(weight):.0f}",
        ),
        cautions=cautions_of(evidence, checked, worth(weight), draws),
        evidence=evidence,
        shared=kept,
        own=own,
        first=halves[0].size,
        sand=sand,
        n_threads=n_threads,
        given={
            "survey": survey,
            "soaked": soaked,
            "irrigation": irrigation,
            "sensors": sensors,
            "base_suction": base_suction,
            **errors,
            "doubtful": doubtful,
            "draws": draws,
            "seed": seed,
            "n_threads": n_threads,
        },
    )


def calibrate_again(
    before: Calibration,
    survey: Survey,
    weather: Weather,
    irrigation: Mapping[str, Sequence[Event]],
    sensors: Sequence[BuriedSensor] = (),
    doubtful: Literal["ask", "leave out"] | None = None,
) -> Calibration:
    """Learn a green anew with what was read since.

    Parameters
    ----------
    before : Calibration
        What was learnt before, which holds all that went in.
    survey : Survey
        Its readings are added to those of before, and what else it tells of a spot takes the place
        of what was told before; spots it names anew are taken in.
    weather : Weather
        What the weather was, from the soaking on.
    irrigation : mapping of str to sequence of Event
        Water applied since, by the name of the spot, where ``""`` is the water of all.
    sensors : sequence of BuriedSensor, optional
        What sensors have read, of before too or since; new ones are taken in.
    doubtful : {"ask", "leave out"}, optional
        What is done with readings that no sand can give; as before when left out.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        As `calibrate`, or if a sensor is told to have read otherwise than before.
    """
    given = dict(before.given)
    given["doubtful"] = doubtful or given["doubtful"]
    old: Survey = given.pop("survey")
    new = {spot.name: spot for spot in survey.spots}
    spots = [added_to(spot, new[spot.name]) if spot.name in new else spot for spot in old.spots]
    known = {spot.name for spot in old.spots}
    spots += [spot for spot in survey.spots if spot.name not in known]
    water = given.pop("irrigation")
    applied = dict(water) if isinstance(water, Mapping) else {"": water}
    for name, events in irrigation.items():
        known_water = tuple(applied.get(name, ()))
        applied[name] = (*known_water, *(each for each in events if each not in known_water))
    faults = Faults("sensors")
    every = join_sensors(given.pop("sensors"), sensors, faults)
    faults.raise_if_any()
    return calibrate(
        replace(old, spots=tuple(spots)),
        before.sand,
        weather,
        before.turf,
        irrigation=applied,
        sensors=every,
        **given,
    )


def _errors(
    given: Mapping[str, tuple[WaterContent, str]], draws: int, faults: Faults
) -> dict[str, float]:
    values: dict[str, float] = {}
    for name, (value, quantity) in given.items():
        with faults.catching():
            values[name] = number_to_house(value, quantity, name)
            if not values[name] > 0.0:
                faults.add(f"{name} is {values[name]:g}", allowed="above 0")
    faults.need_whole("draws", draws, 10)
    return values


def _weighed(
    evidence: Evidence, record: Record, rng: np.random.Generator, n_threads: int | None
) -> tuple[Shared, FloatArray, tuple[Evidence, FloatArray]]:
    """Run, weigh, run where the readings are, and weigh again.

    The draws and their weights; the evidence, and the logarithm by which draws are to be weighed
    beside their likelihood.
    """
    unknowns, green = evidence.unknowns, evidence.green
    times = at_hours(green.weather, record.hours)
    ran = _spread_over(unknowns, unknowns.draw(AMONG, rng), RUN_BEFORE, rng)
    read = read_spans(green, unknowns, ran, record.spans, times, n_threads)
    known = _emulated(evidence, ran, record.spans, read, 0)
    shared, weight, ratio = narrowed(known, *first_round(known, rng), rng)
    for i, count in enumerate(RUN_AFTER):
        near = _spread_over(unknowns, shared.take(pick(weight, AMONG, rng)), count, rng)
        more = read_spans(green, unknowns, near, record.spans, times, n_threads)
        ran = Shared(*(np.concatenate(pair) for pair in zip(ran, near, strict=True)))
        read = [np.concatenate(pair) for pair in zip(read, more, strict=True)]
        known = _emulated(evidence, ran, record.spans, read, sum(RUN_AFTER[: i + 1]))
        weight = weights_of(ratio + log_evidence(known, shared))
        shared, weight, ratio = narrowed(known, shared, weight, ratio, rng)
    shared, weight, ratio = next_round(known, Proposal(unknowns, shared, weight), LAST, rng)
    return shared, weight, (known, ratio)


def _spread_over(
    unknowns: Unknowns, shared: Shared, count: int, rng: np.random.Generator
) -> Shared:
    """Pick draws to run that stand for all: what polynomials miss of them, they miss of all."""
    known = unknowns.coordinates(shared)
    return shared.take(representing(known, np.arange(shared.soil.size), count, rng))


def _emulated(
    evidence: Evidence,
    shared: Shared,
    spans: Sequence[Span],
    read: Sequence[FloatArray],
    near: int,
) -> Evidence:
    terms = Terms(evidence.unknowns, shared)
    emulators = tuple(
        emulate(terms, group, spans, each, near)
        for group, each in zip(evidence.green.groups, read, strict=True)
    )
    return replace(evidence, emulators=emulators)
