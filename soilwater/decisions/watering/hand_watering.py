"""Which spots to water by hand, when and how much, checked by simulating it.

A spot can only be given back what its sand takes back on its wetting branch: beyond that, water
feeds the gravel. The plan is made on one set of equally likely sands, weathers and bases and
checked on another; what it claims is what the check shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.calibrated import check_calibration
from soilwater.decisions.watering.aside import Odds, spots_aside, told_below
from soilwater.decisions.watering.checking import DEPTH_CLASS, checked
from soilwater.decisions.watering.ensembles import (
    ground_and_demand,
    members_of,
    need_within_pores,
    share_of,
    spots_with_depth,
)
from soilwater.decisions.watering.plan_words import (
    borderline_text,
    firm_text,
    short_text,
    time_text,
    totals,
    walk,
)
from soilwater.decisions.watering.planning import LEAST_AMOUNT, Wish, planned, spots_in_need
from soilwater.decisions.watering.starts import check_start
from soilwater.decisions.watering.two_trials import from_learnt, from_likely
from soilwater.decisions.watering.visits import CREW_HOURS, Visits, within_crew_time
from soilwater.decisions.watering.water_plan import HandWaterPlan
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.learning.calibration import Calibration
from soilwater.runs.scheduling import Progress, reporting
from soilwater.runs.wetted import AfterRain
from soilwater.survey.rods import rod_of
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.cautions import cautions_for
from soilwater.words.displays import listed
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Date, Flow, Length, Suction, TimeSpan, WaterAmount, WaterContent
from soilwater.words.quantities import in_one_unit
from soilwater.words.renamed import mind_words
from soilwater.words.several import number_of
from soilwater.words.times import as_time, stamp
from soilwater.words.unit_choice import worded
from soilwater.words.units import number_to_house

DRAWS = 150
"""Equally likely combinations the plan is made on; it is checked on as many others."""


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
    firm: WaterContent = None,
    firm_by: Date | None = None,
    crew_hours: Sequence[float] = CREW_HOURS,
    crew_time: TimeSpan = None,
    start: Literal["drained", "readings"] = "drained",
    after: AfterRain | None = None,
    rod: Length = None,
    base_suction: Suction = OVER_GRAVEL,
    meter_error: WaterContent = 0.025,
    draws: int = DRAWS,
    seed: int = 0,
    n_threads: int | None = None,
    progress: Progress = False,
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
        Share of the draws that shall stay above it all the time [1]. The plan is made for half of
        what is missing to 1 more, for it is checked on draws it has not seen.
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
    firm : float, str or Quantity, optional
        Reading at which the surface is firm [1]; wanted with `firm_by`.
    firm_by : datetime64, str or Timestamp, optional
        When the surface is to be firm. From then on no visit lifts a spot above `firm`, and the
        plan tells which spots are firm by then.
    crew_hours : sequence of float, optional
        Hours of the day at which the crew waters [h]. An hour that was past by more than two when
        a `calibration` was last read is none any more.
    crew_time : float, str or Quantity, optional
        Time at the hose there is at each of these hours [h], such as ``"45 min"``, of all people
        together, walking not counted. Where it is not enough it goes where it keeps most spots,
        what is left over to the driest of the others, and last to those that no water keeps; the
        plan tells which are left out, and what time would do. `flow` and areas of spots give the
        time.
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
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all. A spot in a
        draw counts four times: without water in both halves, planned, and checked.

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
    the line, with what is missing until the crew is back, but no more than `largest_amount`. Where
    that does not last, it is given more, up to what three in four draws can hold, now and at the
    visits that follow, without feeding the gravel, then at the crew's next hour, then on the day
    before. The loop ends when the line is kept, or nothing more can be given; draws are run until
    the crew is back, and at its end through all the weather. A spot that holds too
    little to keep the line gets the smallest amount that buys nine tenths of the hours above it
    that can be bought, or more, the nearer it comes to the share asked for; the plan says how many
    these are, and what of the water feeds the gravel. A spot that starts below the line is watered
    on the first morning, and is to be back above it after two days.

    How much a hundred draws ask for moves with their seed. Draws are therefore picked, of 2000, so
    that what is known of them before they run, sand, base and weather, or all that a `calibration`
    has drawn, is spread as in all of these (`soilwater.learning.representing`): amounts of a spot
    move by up to 5 % (standard deviation). Shares that are kept are told by all draws near the
    line, by half the error of a count; within two standard errors, 0.03 of 150 draws where spots
    start drained and 0.04 where they start from readings, a spot is "borderline", and within more
    where a plan and its check have few sands each. Fewer than four are in both.

    Nobody is sent for less than is worth a walk, 1 mm, where a visit that is made anyhow can bring
    as little more.

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
    litres, meter, have = float("nan"), 0.0, float("inf")
    wish = _wish(threshold, probability, largest_amount, firm, firm_by, faults)
    if flow is not None:
        with faults.catching():
            litres = number_to_house(flow, "flow", "flow")
            if litres <= 0.0:
                faults.add(f"flow is {litres:g} L/min", allowed="above 0")
    with faults.catching():
        meter = number_to_house(meter_error, "water_content", "meter_error")
    if crew_time is not None:
        with faults.catching():
            have = 3600.0 * number_to_house(crew_time, "duration", "crew_time")
            if not have > 0.0:
                faults.add(
                    f"crew_time is {crew_time!r}",
                    allowed="above 0",
                    cure='write crew_time="45 min", or leave it out and read what is needed',
                )
        if flow is None:
            faults.add("crew_time is given, and no flow to count by", cure='give flow="15 gpm"')
        bare = [spot.name for spot in survey.spots if spot.has_depth and spot.area is None]
        if bare:
            faults.add(
                f"crew_time is given, and no area to count by of {listed(bare)}",
                cure=f'give each its area, Spot("{bare[0]}", ..., area="50 ft2"), or leave '
                "crew_time out",
            )
    given = crew_hours if isinstance(crew_hours, Iterable) else ()
    hours = sorted({number_of(each) for each in given})
    if not hours or not all(0.0 <= each < 24.0 for each in hours):
        faults.add(
            f"crew_hours is {crew_hours!r}",
            allowed="hours of the day from 0 to below 24",
            cure="write crew_hours=(6, 12)",
        )
    dry: list[np.datetime64] = []
    if event_day is not None:
        with faults.catching():
            dry.append(as_time(event_day, "event_day").astype("datetime64[D]"))
    check_start(start, after, faults)
    faults.need_whole("draws", draws, 2)
    need_within_pores({"threshold": wish.line}, sand, faults)
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
    cells = len(known) * (draws if calibration is None else calibration.draws // 2)
    with reporting(progress, 4 * cells) as tell:
        planning, checking = share_of(tell, cells), share_of(tell, cells)
        if calibration is not None:
            members = calibration.members(members)
        found = (
            from_learnt(known, calibration, members, length, n_threads, share_of(tell, 2 * cells))
            if calibration is not None
            else from_likely(
                known,
                sand,
                members,
                base,
                turf,
                start,
                after,
                length,
                meter,
                draws,
                seed,
                n_threads,
                lambda: share_of(tell, cells),
            )
        )
        made_on, checked_on = found.made_on, found.checked_on
        _check_firm_by(wish, made_on.times)
        read = None if calibration is None else calibration.last_visit
        visits = Visits.of(made_on.times, hours, dry, read)
        in_need = spots_in_need(made_on, wish, visits, aside)
        alike = calibration is None and start == "drained"
        begins = [visits.counted_from(each, wish.line, wish.asked) for each in made_on.reading]
        shared = _deepest_of_class(known, begins, in_need) if alike else {i: i for i in in_need}
        distinct = sorted(set(shared.values()))
        settled = planned(made_on, distinct, wish, visits, n_threads, planning)
        # Where the deepest is not kept, others of its class may be: each has a plan of its own.
        alone = [i for i, other in shared.items() if i != other and other in settled.short]
        if alone:
            shared |= {i: i for i in alone}
            own = planned(made_on, alone, wish, visits, n_threads, planning)
            settled.events.update(own.events)
            settled.reading.update(own.reading)
            settled.short.update(own.short)

        def dryness(i: int, event: Event) -> tuple[float, ...]:
            at = int(visits.at[visits.time == event.time][0])
            return float(settled.reading[shared[i]][at]), float(
                np.median(made_on.reading[i][:, at])
            )

        short = {i: settled.short.get(other) for i, other in shared.items()}
        events, left_out = within_crew_time(
            {i: settled.events[other] for i, other in shared.items()},
            lambda i, event: walk(known[i], event, litres).seconds,
            dryness,
            {i for i, why in short.items() if why is not None and why.holds_too_little},
            have,
        )
        plans = checked(
            known,
            events,
            left_out,
            short,
            aside,
            checked_on,
            wish,
            litres,
            begins,
            alike,
            found.sands,
            found.drained,
            n_threads,
            checking,
        )
        # Where nothing was run, that is done too.
        planning(1, 1)
        checking(1, 1)
    plans = tuple(
        told_below(plan, wish.line, length, start == "drained" and calibration is None)
        for plan in plans
    )
    return HandWaterPlan(
        name=survey.name,
        spots=plans,
        threshold=wish.line,
        probability=probability,
        rod=length,
        totals=(
            *totals(plans),
            *borderline_text(plans, wish),
            *short_text(plans, wish.line),
            *time_text(plans, have),
            *firm_text(plans, wish),
        ),
        assumptions=(
            *found.assumed,
            found.said,
            f"made for {100 * wish.asked:g} % of its cases, so that {100 * probability:g} % of "
            "others are kept",
            worded(lambda: f"at most {in_one_unit(wish.most, 'water_amount')} at a visit"),
            *(_dry_day(day, made_on.times) for day in dry),
            *ground_and_demand(sand, turf, members),
            *notes,
        ),
        cautions=_CAUTIONS,
        calibration=calibration,
        asked={
            "threshold": threshold,
            "probability": probability,
            "flow": flow,
            "diagnosis": diagnosis,
            "largest_amount": largest_amount,
            "event_day": event_day,
            "firm": firm,
            "firm_by": firm_by,
            "crew_hours": crew_hours,
            "crew_time": crew_time,
            "rod": length,
            "n_threads": n_threads,
        },
    )


_CAUTIONS = cautions_for(
    "repellent", "wilt", "heat", "water law", "backflow", "level ground", "accuracy"
)


def _wish(
    threshold: WaterContent,
    probability: float,
    largest_amount: WaterAmount,
    firm: WaterContent,
    firm_by: Date | None,
    faults: Faults,
) -> Wish:
    line, most, surface = 0.0, 0.0, float("inf")
    by: np.datetime64 = np.datetime64("NaT", "ns")
    with faults.catching():
        line = number_to_house(threshold, "water_content", "threshold")
    with faults.catching():
        most = number_to_house(largest_amount, "water_amount", "largest_amount")
        if most < LEAST_AMOUNT:
            faults.add(f"largest_amount is {most:g} mm", allowed=f"{LEAST_AMOUNT:g} or more")
    if not 0.0 < probability < 1.0:
        faults.add(f"probability is {probability!r}", allowed="between 0 and 1")
    if (firm is None) != (firm_by is None):
        faults.add(
            "firm and firm_by belong together",
            cure='give both, firm="18 %", firm_by="2025-07-09 06:00", or none',
        )
    elif firm_by is not None:
        with faults.catching():
            by = as_time(firm_by, "firm_by")
        with faults.catching():
            surface = number_to_house(firm, "water_content", "firm")
            if surface <= line:
                faults.add(
                    f"firm is {100 * surface:g} %, and spots are to stay above {100 * line:g} %",
                    allowed="above the threshold",
                )
    return Wish(line, probability, most, surface, by)


def _check_firm_by(wish: Wish, times: NDArray[np.datetime64]) -> None:
    if not np.isnat(wish.firm_by) and not times[0] <= wish.firm_by <= times[-1]:
        raise InputError(
            f"hand_water_plan: firm_by is {stamp(wish.firm_by)}; allowed: within the weather, "
            f"{stamp(times[0])} to {stamp(times[-1])}."
        )


def _dry_day(day: np.datetime64, times: NDArray[np.datetime64]) -> str:
    """Tell of a day without water, and where the weather does not reach it."""
    beyond = day + np.timedelta64(1, "D") <= times[0] or day >= times[-1]
    return f"no water by hand on {day}" + (", which is outside the weather given" if beyond else "")


def _deepest_of_class(
    known: Sequence[Spot], begins: Sequence[int], in_need: Sequence[int]
) -> dict[int, int]:
    """For each spot the deepest of its class of depths, whose plan it shares.

    Of those whose line counts from the same time on: one that starts below it is given time.
    """
    classes: dict[tuple[int, bool, int], list[int]] = {}
    for i in in_need:
        of_spot = (int(known[i].depth // DEPTH_CLASS), known[i].depth_at_least, begins[i])
        classes.setdefault(of_spot, []).append(i)
    return {
        i: max(members, key=lambda j: known[j].depth)
        for members in classes.values()
        for i in members
    }
