"""Which spots to water by hand, when and how much, checked by simulating it.

A spot can only be given back what it has lost: beyond its own drained storage, water feeds the
gravel. The plan is made on one set of equally likely sands, weathers and bases and checked on
another; what it claims is what the check shows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import (
    LOW,
    OUTPUT_HOURS,
    Draw,
    column,
    course_of,
    depth_grid,
    make_draws,
    members_of,
    run_columns,
    spots_with_depth,
)
from soilwater.decisions.watering.plan_words import JUST_ABOVE, quiet, totals, walk, with_sentence
from soilwater.decisions.watering.starts import STARTS, starts_at_readings
from soilwater.decisions.watering.water_plan import (
    HandWaterPlan,
    SpotPlan,
)
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.runs.drained import drained_storage
from soilwater.soils.at_rest import rest_curve
from soilwater.survey.survey import Spot, Survey, rod_of
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Flow, Length, Suction, WaterContent
from soilwater.words.renamed import mind_words
from soilwater.words.times import stamp
from soilwater.words.units import number_to_house

DRAWS = 24
"""Equally likely combinations the plan is made on; it is checked on as many others."""
LEAST_AMOUNT = 1.0
"""Less than this [mm] is not worth a walk (common practice, no source)."""
WATERING_TIME = 0.25
"""Time over which the water of one visit falls in the simulation [h]: to and fro, not in one go."""
DEPTH_CLASS = 2.0
"""Spots whose depths fall within so much [cm] of one another share a plan, made for the deepest."""
MORNING, MIDDAY = 6, 12
"""Hours of the day at which a crew waters (common practice, no source)."""


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
    start: Literal["drained", "readings"] = "drained",
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
    start : {"drained", "readings"}, optional
        Whether spots start drained to rest, or at what they read early on the first morning.
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
    the line, with what the layer of the rods has lost. Where that does not last, it is given more,
    up to what nine in ten draws can hold without feeding the gravel, and then a second time at
    midday. The loop ends when the line is kept, or nothing more can be given: such a spot is said
    to be beyond watering.

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
    wanted, litres = 0.0, float("nan")
    with faults.catching():
        wanted = number_to_house(threshold, "water_content", "threshold")
    if flow is not None:
        with faults.catching():
            litres = number_to_house(flow, "flow", "flow")
            if litres <= 0.0:
                faults.add(f"flow is {litres:g} L/min", allowed="above 0")
    meter = 0.0
    with faults.catching():
        meter = number_to_house(meter_error, "water_content", "meter_error")
    if start not in ("drained", "readings"):
        faults.add(f"start is {start!r}", allowed='"drained" or "readings"')
    if not 0.0 < probability < 1.0:
        faults.add(f"probability is {probability!r}", allowed="between 0 and 1")
    if draws < 2:
        faults.add(f"draws is {draws}", allowed="2 or more")
    faults.raise_if_any()
    length = rod_of(survey, rod)
    known, notes = spots_with_depth(survey, length)
    members = members_of(weather)
    base = base_band(base_suction)
    _check_start(members[0])
    # More is asked of the plan than it promises: it is checked on draws it has not seen.
    asked = probability + 0.5 * (1.0 - probability)
    made_on = make_draws(sand, members, base, 0.0, draws, seed)
    checked_on = make_draws(sand, members, base, 0.0, draws, seed + 1)
    rng = np.random.default_rng(seed)
    begin, begin_check = (
        starts_at_readings(known, drawn, length, meter * rng.standard_normal((len(known), draws)))
        if start == "readings"
        else [["drained"] * draws] * len(known)
        for drawn in (made_on, checked_on)
    )
    if start == "drained":
        in_need = _spots_in_need(known, made_on, turf, wanted, length, asked, n_threads)
        shared = _deepest_of_class(known, in_need)
    else:
        # Each spot has a state of its own, so none can share the plan of another.
        in_need = list(range(len(known)))
        shared = {i: i for i in in_need}
    made = _planned(
        known, sorted(set(shared.values())), begin, made_on, turf, wanted, length, asked, n_threads
    )
    events = {i: made[other] for i, other in shared.items()}
    plans = _checked(
        known,
        in_need,
        events,
        begin_check,
        checked_on,
        turf,
        wanted,
        length,
        probability,
        litres,
        n_threads,
    )
    return HandWaterPlan(
        name=survey.name,
        spots=plans,
        threshold=wanted,
        probability=probability,
        rod=length,
        totals=totals(plans),
        assumptions=(
            f"suction left at the base: {base}",
            STARTS[start],
            f"made on {draws} cases (sand, base and {len(members)} weather "
            f"member{'' if len(members) == 1 else 's'}), checked on {draws} others",
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
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    line: float,
    rod: float,
    asked: float,
    n_threads: int | None,
) -> list[int]:
    """Spots that fall to the line without water; looked for on a grid of depths."""
    depths = np.array([spot.depth for spot in known])
    grid = depth_grid(depths, rod, 0.0)
    runs = run_columns(
        [column(draw, float(depth), turf) for depth in grid for draw in drawn],
        rod,
        n_threads=n_threads,
    )
    lowest = runs.reading.min(axis=1).reshape(grid.size, len(drawn))
    at = np.array([[np.interp(d, grid, row) for row in lowest.T] for d in depths])
    # A little more than the line, for what is lost between the depths of the grid.
    return [int(i) for i in np.flatnonzero((at > line + 0.002).mean(axis=1) < asked)]


def _planned(
    known: Sequence[Spot],
    numbers: Sequence[int],
    begin: Sequence[Sequence[Any]],
    drawn: Sequence[Draw],
    turf: Turf,
    line: float,
    rod: float,
    asked: float,
    n_threads: int | None,
) -> dict[int, list[Event]]:
    """Add one watering after the other to each spot until it keeps the line, or holds no more."""
    plan: dict[int, list[Event]] = {i: [] for i in numbers}
    open_spots = list(numbers)
    n = len(drawn)
    full = {
        i: np.array([drained_storage(draw.profile(known[i].depth)) for draw in drawn]) for i in plan
    }
    drained = {i: _drained_readings(drawn, known[i].depth, rod) for i in plan}
    while open_spots:
        cases = [
            column(draw, known[i].depth, turf, plan[i], begin[i][k])
            for i in open_spots
            for k, draw in enumerate(drawn)
        ]
        runs = run_columns(cases, rod, n_threads=n_threads)
        still = []
        for k, i in enumerate(open_spots):
            rows = slice(k * n, (k + 1) * n)
            reading = runs.reading[rows]
            # No water helps a draw that reads below the line when it is drained.
            can = drained[i] > line + JUST_ABOVE
            if can.mean() < 0.5:
                continue
            first = _after_first_visit(runs.times)
            failing = first + np.flatnonzero((reading[can, first:] > line).mean(axis=0) < asked)
            lost = np.quantile(full[i][:, None] - runs.storage[rows], LOW, axis=0)
            # Light and often: what the layer of the rods has lost, within what the spot can hold.
            light = 10.0 * rod * np.mean(drained[i][:, None] - reading, axis=0)
            for at in failing:
                more = _one_more(runs.times, int(at), plan[i], light, lost)
                if more is not None:
                    plan[i] = more
                    still.append(i)
                    break
        open_spots = still
    return plan


def _drained_readings(drawn: Sequence[Draw], depth: float, rod: float) -> FloatArray:
    """Tell the reading of each draw at rest [1]."""
    return np.array([float(rest_curve(d.soil).reading(depth, rod, d.base)) for d in drawn])


def _one_more(
    times: NDArray[np.datetime64],
    failing: int,
    events: list[Event],
    light: FloatArray,
    lost: FloatArray,
) -> list[Event] | None:
    """Water once more, or more, on the last visit before the line is missed; None where full.

    A visit that was not enough is doubled up to what the spot can hold; then the same day's
    midday is watered as well.
    """
    given = {event.time: event for event in events}
    for hour in (MORNING, MIDDAY):
        at = _last_visit(times, failing, hour)
        if at is None:
            continue
        before = given.get(times[at])
        most = float(lost[at])
        amount = max(float(light[at]), LEAST_AMOUNT) if before is None else 2.0 * before.amount
        amount = min(amount, most)
        if amount < LEAST_AMOUNT or (before is not None and amount < before.amount + 0.1):
            continue
        given[times[at]] = Event(times[at], amount, duration=WATERING_TIME, name="hand water")
        return sorted(given.values(), key=lambda event: event.time)
    return None


def _after_first_visit(times: NDArray[np.datetime64]) -> int:
    """First output time after the first morning: what comes before no crew can change."""
    at = _last_visit(times, min(times.size, 5), MORNING)
    return 1 if at is None else at + 1


def _last_visit(times: NDArray[np.datetime64], failing: int, hour: int) -> int | None:
    """Last output time at an hour of the day before the one at which the line is missed."""
    for at in range(failing - 1, -1, -1):
        if times[at] - times[at].astype("datetime64[D]") == np.timedelta64(hour, "h"):
            return at
    return None


def _checked(
    known: Sequence[Spot],
    in_need: Sequence[int],
    events: Mapping[int, Sequence[Event]],
    begin: Sequence[Sequence[Any]],
    drawn: Sequence[Draw],
    turf: Turf,
    line: float,
    rod: float,
    share: float,
    flow: float,
    n_threads: int | None,
) -> tuple[SpotPlan, ...]:
    """Simulate with and without the plan on fresh draws; the plan claims what this shows."""
    n = len(drawn)
    cases = [
        column(draw, known[i].depth, turf, given, begin[i][k])
        for i in in_need
        for given in (events[i], [])
        for k, draw in enumerate(drawn)
    ]
    runs = run_columns(cases, rod, n_threads=n_threads) if cases else None
    plans = []
    for i, spot in enumerate(known):
        if i not in events or runs is None:
            plans.append(quiet(spot))
            continue
        k = list(in_need).index(i)
        with_it = slice(2 * k * n, (2 * k + 1) * n)
        without = slice((2 * k + 1) * n, (2 * k + 2) * n)
        first_hour = _after_first_visit(runs.times)
        lowest = runs.reading[with_it, first_hour:].min(axis=1)
        bare = runs.reading[without]
        lowest_bare = bare[:, first_hour:].min(axis=1)
        under = np.flatnonzero((bare > line).mean(axis=0) < share)
        first = float(runs.hours[under[0]] / 24.0) if under.size else float("inf")
        lost = runs.drainage[with_it, -1] - runs.drainage[without, -1]
        walks = tuple(walk(spot, event, flow) for event in events[i])
        plan = SpotPlan(
            spot=spot,
            waterings=walks,
            kept=float(np.mean(lowest > line)),
            kept_without=float(np.mean(lowest_bare > line)),
            lowest=float(np.quantile(lowest, 0.2)),
            lowest_without=float(np.quantile(lowest_bare, 0.2)),
            first_below_without=first,
            to_gravel=float(lost.mean()),
            held=bool(np.mean(lowest > line) >= share),
            sentence="",
            course=course_of(runs.times, runs.reading[with_it]),
            course_without=course_of(runs.times, bare),
        )
        drained = float(np.median(_drained_readings(drawn, spot.depth, rod)))
        plans.append(with_sentence(plan, line, drained))
    return tuple(plans)
