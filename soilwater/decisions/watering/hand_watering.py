"""Which spots to water by hand, when and how much, checked by simulating it.

A spot can only be given back what its sand takes back on its wetting branch: beyond that, water
feeds the gravel. The plan is made on one set of equally likely sands, weathers and bases and
checked on another; what it claims is what the check shows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.calibrated import check_calibration
from soilwater.decisions.watering.aside import Odds, put_aside, spots_aside, told_below
from soilwater.decisions.watering.ensembles import (
    OUTPUT_HOURS,
    course_of,
    ground_and_demand,
    make_halves,
    members_of,
    memory_words,
    run_columns,
    spots_with_depth,
)
from soilwater.decisions.watering.plan_words import quiet, totals, walk, with_sentence
from soilwater.decisions.watering.starts import LEARNED_START, check_start, start_words
from soilwater.decisions.watering.trials import (
    Trial,
    Tried,
    from_calibration,
    from_readings,
    from_rest,
)
from soilwater.decisions.watering.visits import Visits
from soilwater.decisions.watering.water_plan import HandWaterPlan, SpotPlan
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_memory import likely_memories
from soilwater.learning.calibration import Calibration
from soilwater.runs.wetted import AfterRain
from soilwater.survey.rods import rod_of
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import LOW
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Date, Flow, Length, Suction, WaterAmount, WaterContent
from soilwater.words.quantities import in_one_unit
from soilwater.words.renamed import mind_words
from soilwater.words.times import as_time, stamp
from soilwater.words.units import number_to_house

DRAWS = 100
"""Equally likely combinations the plan is made on; it is checked on as many others."""
LEAST_AMOUNT = 1.0
"""Less than this [mm] is not worth a walk (common practice, no source)."""
FINEST_AMOUNT = 0.5
"""Amounts are multiples of this [mm]: no hose gives it finer (common practice, no source)."""
WATERING_TIME = 0.25
"""Time over which the water of one visit falls in the simulation [h]: to and fro, not in one go."""
DEPTH_CLASS = 2.0
"""Spots whose depths fall within so much [cm] of one another share a plan, made for the deepest."""


@mind_words(soil="sand", line="threshold", share="probability")
def hand_water_plan(
    survey: Survey,
    sand: Sand,
    weather: Weather | Sequence[Weather],
    turf: Turf,
    threshold: WaterContent,
    *,
    probability: float = 0.8,
    flow: Flow = None,
    calibration: Calibration | None = None,
    diagnosis: Odds | None = None,
    largest_amount: WaterAmount = 6.0,
    event_day: Date | None = None,
    start: Literal["drained", "readings"] = "drained",
    after: AfterRain | None = None,
    rod: Length = None,
    base_suction: Suction = OVER_GRAVEL,
    meter_error: WaterContent = 0.025,
    draws: int = DRAWS,
    seed: int = 0,
    n_threads: int | None = None,
) -> HandWaterPlan:
    """Plan hand water that keeps every spot above a line, within what the spot can hold.

    Parameters
    ----------
    survey : Survey
        Spots with probed depths; their areas give litres and hose times.
    sand : Soil, FitResult or sequence of these
        The root-zone sand.
    weather : Weather or sequence of Weather
        Forecast, or several equally likely ones, from the morning after the last soaking, or
        from the readings.
    turf : Turf
        Roots and demand.
    threshold : float or str
        Reading to stay above [1], such as that of wilt of this ground.
    probability : float, optional
        Share of the draws that shall stay above it all the time [1].
    flow : float, str or Quantity, optional
        Flow of the hose [L/min].
    calibration : Calibration, optional
        What readings have taught, from `calibrate`: spots start from it, and sand, base, turf and
        meter stay joint. Weather is taken from its `now` on.
    diagnosis : Diagnosis, optional
        Odds of `diagnose`. A spot that is likely repellent, or likely stands in water, is not
        watered by depth; nor is one on whose plug a drop sat for a minute.
    largest_amount : float, str or Quantity, optional
        Most water of one visit [mm]; what a spot can hold may be less.
    event_day : datetime64, str or Timestamp, optional
        A day on which no water is given by hand.
    start : {"drained", "readings"}, optional
        Whether spots start drained to rest, or at what they read early on the first morning.
    after : AfterRain, optional
        How the green was wetted last, if gently while dry. When left out, drained spots were
        flooded, and of spots at readings one way is as likely as the other.
    rod : float, str or Quantity, optional
        Length of the rods [cm]; that of the survey's readings when left out.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm]; the band is taken evenly.
    meter_error : float or str, optional
        Standard error of one reading [1].
    draws : int, optional
        Equally likely combinations of sand, weather and base suction the plan is made on; it is
        checked on as many others.
    seed : int, optional
        Seed of the draws.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    HandWaterPlan

    Raises
    ------
    InputError
        If no spot has a depth, or something given cannot be used.
    RunError
        If a column cannot be carried through.

    Notes
    -----
    Light and often: a spot is watered on the last morning before too many draws would fall to
    the line, with what the layer of the rods has lost, but no more than `largest_amount`. Where
    that does not last, it is given more, up to what nine in ten draws can hold without feeding the
    gravel, then a second time at midday, then on the morning before. The loop ends when the line
    is kept, or nothing more can be given: such a spot is said to be beyond watering. A spot that
    starts below the line is watered on the first morning, and is to be back above it after two
    days.

    Examples
    --------
    >>> from soilwater.survey.survey import Spot, Survey
    >>> from soilwater.soils import VanGenuchten
    >>> from soilwater.weather.made import steady_weather
    >>> sand = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
    >>> green = Survey([Spot("A1", 30.0), Spot("C3", 46.0, area="50 ft2")])
    >>> plan = hand_water_plan(
    ...     green, sand, steady_weather(6, "5 mm/day"), Turf("15 cm"), "12 %",
    ...     flow="15 gpm", rod="3 in", base_suction=3.0, draws=4,
    ... )
    >>> {walk.spot for walk in plan.waterings}
    {'C3'}
    """
    faults = Faults("hand_water_plan")
    wanted, litres, most = 0.0, float("nan"), 0.0
    with faults.catching():
        wanted = number_to_house(threshold, "water_content", "threshold")
    if flow is not None:
        with faults.catching():
            litres = number_to_house(flow, "flow", "flow")
            if litres <= 0.0:
                faults.add(f"flow is {litres:g} L/min", allowed="above 0")
    with faults.catching():
        most = number_to_house(largest_amount, "water_amount", "largest_amount")
        if most < LEAST_AMOUNT:
            faults.add(f"largest_amount is {most:g} mm", allowed=f"{LEAST_AMOUNT:g} or more")
    meter = 0.0
    with faults.catching():
        meter = number_to_house(meter_error, "water_content", "meter_error")
    dry: list[np.datetime64] = []
    if event_day is not None:
        with faults.catching():
            dry.append(as_time(event_day, "event_day").astype("datetime64[D]"))
    check_start(start, after, faults)
    if not 0.0 < probability < 1.0:
        faults.add(f"probability is {probability!r}", allowed="between 0 and 1")
    if draws < 2:
        faults.add(f"draws is {draws}", allowed="2 or more")
    check_calibration(
        calibration,
        {
            "sand": (sand, getattr(calibration, "sand", None)),
            "turf": (turf, getattr(calibration, "turf", None)),
            "base_suction": (base_suction, OVER_GRAVEL),
            "start": (start, "drained"),
            "after": (after, None),
        },
        faults,
    )
    faults.raise_if_any()
    length = rod_of(survey, rod)
    known, notes = spots_with_depth(survey, length)
    members = members_of(weather)
    base = base_band(base_suction)
    aside = spots_aside(known, diagnosis)
    # More is asked of the plan than it promises: it is checked on draws it has not seen.
    asked = probability + 0.5 * (1.0 - probability)
    if calibration is not None:
        members = calibration.members(members)
        learned = from_calibration(known, calibration, members, length, n_threads)
        made_on, checked_on = (learned.take(half) for half in calibration.halves)
        assumed: tuple[str, ...] = (LEARNED_START,)
        said = f"made on {made_on.draws} cases the readings allow, checked on {checked_on.draws} "
        said += "others"
    else:
        _check_start(members[0])
        remembering = likely_memories(sand, 2 * draws)
        halves = make_halves(remembering, members, base, draws, seed)
        rng = np.random.default_rng(seed)
        made_on, checked_on = (
            from_rest(known, drawn, turf, after, length, n_threads)
            if start == "drained"
            else from_readings(
                known,
                drawn,
                turf,
                after,
                length,
                meter * rng.standard_normal((len(known), draws)),
                n_threads,
            )
            for drawn in halves
        )
        assumed = (
            f"suction left at the base: {base}",
            start_words(start, after, remembering),
            *memory_words(remembering),
        )
        said = (
            f"made on {draws} cases (sand, base and {len(members)} weather "
            f"member{'' if len(members) == 1 else 's'}), checked on {draws} others"
        )
    visits = Visits.of(made_on.times, dry)
    in_need = _spots_in_need(made_on, wanted, asked, visits, aside)
    alike = calibration is None and start == "drained"
    shared = _deepest_of_class(known, in_need) if alike else {i: i for i in in_need}
    made = _planned(made_on, sorted(set(shared.values())), wanted, asked, most, visits, n_threads)
    events = {i: made[other] for i, other in shared.items()}
    plans = _checked(
        known, events, aside, checked_on, wanted, probability, litres, visits, n_threads
    )
    begun_below = start == "drained" and calibration is None
    plans = tuple(told_below(plan, wanted, length, begun_below) for plan in plans)
    return HandWaterPlan(
        name=survey.name,
        spots=plans,
        threshold=wanted,
        probability=probability,
        rod=length,
        totals=totals(plans),
        assumptions=(
            *assumed,
            said,
            f"at most {in_one_unit(most, 'water_amount')} at a visit",
            *(f"no water by hand on {day}" for day in dry),
            *ground_and_demand(sand, turf, members),
            *notes,
        ),
        cautions=_CAUTIONS,
    )


_CAUTIONS = (
    "water that runs off a repellent patch does not count: check with a probe, and water it slowly",
    *cautions_for("wilt", "heat", "water law", "backflow", "level ground", "accuracy"),
)


def _check_start(weather: Weather) -> None:
    """Visits fall on output times, which are counted from the start of the weather."""
    since = weather.start - weather.start.astype("datetime64[D]")
    if since % np.timedelta64(int(OUTPUT_HOURS), "h") != np.timedelta64(0, "h"):
        raise InputError(
            f"weather: it starts at {stamp(weather.start)}; allowed: a start at 0, 6, 12 or 18 h; "
            "cut it with Weather.between."
        )


def _deepest_of_class(known: Sequence[Spot], in_need: Sequence[int]) -> dict[int, int]:
    """For each spot the deepest spot of its class of depths, whose plan it shares."""
    classes: dict[int, list[int]] = {}
    for i in in_need:
        classes.setdefault(int(known[i].depth // DEPTH_CLASS), []).append(i)
    return {
        i: max(members, key=lambda j: known[j].depth)
        for members in classes.values()
        for i in members
    }


def _spots_in_need(
    trial: Trial, line: float, asked: float, visits: Visits, aside: Mapping[int, str]
) -> list[int]:
    """Spots that fall to the line without water."""
    # A little more than the line, for what is lost between the depths of a grid.
    lowest = trial.reading[:, :, visits.first :].min(axis=2)
    needy = np.flatnonzero((lowest > line + 0.002).mean(axis=1) < asked)
    return [int(i) for i in needy if int(i) not in aside]


def _planned(
    trial: Trial,
    numbers: Sequence[int],
    line: float,
    asked: float,
    most: float,
    visits: Visits,
    n_threads: int | None,
) -> dict[int, list[Event]]:
    """Add one watering after the other to each spot until it keeps the line, or holds no more.

    Draws that stay above the line stay above it with more water, and are not run again.
    """
    plan: dict[int, list[Event]] = {i: [] for i in numbers}
    tried = {}
    for i in numbers:
        first = visits.counted_from(trial.reading[i], line, asked)
        blank = np.empty_like(trial.reading[i])
        tried[i] = Tried(first, blank, blank.copy(), blank.copy(), trial.refill(i))
        tried[i].enter(np.arange(trial.draws), trial.reading[i], trial.storage[i])
    waiting = list(numbers)
    while waiting:
        again: list[tuple[int, NDArray[np.int64]]] = []
        for i in waiting:
            changed = _more_visits(tried[i], plan[i], line, asked, most, trial, visits)
            if changed is not None:
                plan[i] = changed
                again.append((i, tried[i].missed(line)))
        cases = [
            replace(trial.column(i, int(k)), irrigation=tuple(plan[i]))
            for i, draws in again
            for k in draws
        ]
        if cases:
            runs = run_columns(cases, trial.rod, n_threads=n_threads)
        row = 0
        for i, draws in again:
            rows = slice(row, row + draws.size)
            reading = runs.reading[rows] + trial.shift[i][draws, None]
            tried[i].enter(draws, reading, runs.storage[rows])
            row += draws.size
        waiting = [i for i, draws in again if draws.size]
    return plan


def _more_visits(
    tried: Tried,
    events: list[Event],
    line: float,
    asked: float,
    most: float,
    trial: Trial,
    visits: Visits,
) -> list[Event] | None:
    """Water a spot once more, or more; None where it keeps the line, or holds no more."""
    # No water helps a draw that reads below the line when it is drained.
    can = tried.can_stay(line)
    dry = tried.missed(line)
    if can.mean() < 0.5 or not dry.size:
        return None
    kept = (tried.reading[can, tried.first :] > line).mean(axis=0)
    # Light and often: what the layer of the rods has lost, within what the spot can hold.
    lost = tried.drained[dry] - tried.reading[dry]
    light = 10.0 * trial.rod * np.mean(lost, axis=0)
    plan = {event.time: event for event in events}
    failing_at = tried.first + np.flatnonzero(kept < asked)
    if tried.first > visits.first and not plan:
        # Below the line already: nobody waits for the last visit that would do.
        failing_at = np.concatenate([[visits.first], failing_at])
    for failing in failing_at:
        room = np.quantile(tried.room, LOW, axis=0)
        found = _one_more(trial.times, int(failing), plan, light, room, most, visits)
        if found is not None:
            at, amount = found
            before = plan[trial.times[at]].amount if trial.times[at] in plan else 0.0
            plan[trial.times[at]] = Event(
                trial.times[at], amount, duration=WATERING_TIME, name="hand water"
            )
            tried.room[:, at + 1 :] -= amount - before
            return sorted(plan.values(), key=lambda event: event.time)
    return None


def _one_more(
    times: NDArray[np.datetime64],
    failing: int,
    plan: Mapping[np.datetime64, Event],
    light: FloatArray,
    room: FloatArray,
    most: float,
    visits: Visits,
) -> tuple[int, float] | None:
    """Find the last visit before the line is missed and its water [mm]; None where full.

    A visit that was not enough is doubled up to what the spot can hold; then the same day's
    midday is watered as well, then the days before.
    """
    for at in visits.before(failing):
        before = plan[times[at]].amount if times[at] in plan else 0.0
        # What it was given before is no longer in the room behind it.
        space = float(room[at + 1]) + before if before else float(room[at])
        asked = max(2.0 * before, float(light[at]), LEAST_AMOUNT)
        amount = np.floor(min(asked, space, most) / FINEST_AMOUNT + 0.5) * FINEST_AMOUNT
        if amount >= max(LEAST_AMOUNT, before + FINEST_AMOUNT):
            return at, float(amount)
    return None


def _checked(
    known: Sequence[Spot],
    events: Mapping[int, Sequence[Event]],
    aside: Mapping[int, str],
    trial: Trial,
    line: float,
    share: float,
    flow: float,
    visits: Visits,
    n_threads: int | None,
) -> tuple[SpotPlan, ...]:
    """Simulate the plan on fresh draws; it claims what this shows."""
    n = trial.draws
    watered = [i for i in events if events[i]]
    cases = [
        replace(trial.column(i, k), irrigation=tuple(events[i])) for i in watered for k in range(n)
    ]
    runs = run_columns(cases, trial.rod, n_threads=n_threads) if cases else None
    plans = []
    for i, spot in enumerate(known):
        bare = trial.reading[i]
        first = visits.counted_from(bare, line, share)
        lowest_bare = bare[:, first:].min(axis=1)
        if i in aside:
            plans.append(put_aside(spot, aside[i], float(np.mean(lowest_bare > line))))
            continue
        if i not in events:
            plans.append(quiet(spot))
            continue
        reading, lost = bare, np.zeros(n)
        if i in watered and runs is not None:
            rows = slice(watered.index(i) * n, (watered.index(i) + 1) * n)
            reading = runs.reading[rows] + trial.shift[i][:, None]
            lost = runs.drainage[rows, -1] - trial.drainage[i][:, -1]
        lowest = reading[:, first:].min(axis=1)
        under = np.flatnonzero((bare > line).mean(axis=0) < share)
        day = float(trial.hours[under[0]] / 24.0) if under.size else float("inf")
        plan = SpotPlan(
            spot=spot,
            waterings=tuple(walk(spot, event, flow) for event in events[i]),
            kept=float(np.mean(lowest > line)),
            kept_without=float(np.mean(lowest_bare > line)),
            lowest=float(np.quantile(lowest, 0.2)),
            lowest_without=float(np.quantile(lowest_bare, 0.2)),
            first_below_without=day,
            to_gravel=float(lost.mean()),
            held=bool(np.mean(lowest > line) >= share),
            sentence="",
            course=course_of(trial.times, reading),
            course_without=course_of(trial.times, bare),
        )
        refill = trial.refill(i)
        drained, rewetted = (float(np.median(e)) for e in (refill.drained[:, 0], refill.usual))
        plans.append(with_sentence(plan, line, drained, rewetted))
    return tuple(plans)
