"""A plan of hand water made anew in the morning, from yesterday's and what was read today."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from soilwater.decisions.watering.ensembles import members_of
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.planning import WATERING_TIME
from soilwater.decisions.watering.visits import READ_FIRST
from soilwater.decisions.watering.water_plan import HandWatering, HandWaterPlan, SpotPlan
from soilwater.learning.calibrate import calibrate_again
from soilwater.learning.calibration import Calibration
from soilwater.learning.given import EVENT, begin_of_plan
from soilwater.runs.scheduling import Progress
from soilwater.survey.sensor import BuriedSensor, sensors_of
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, by_kind
from soilwater.words.quantities import in_one_unit
from soilwater.words.renamed import mind_words
from soilwater.words.several import items_of, many_times
from soilwater.words.times import as_time, stamp

_DAY_AHEAD = np.timedelta64(24, "h")
_SAME_DEPTH = 0.05
"""Depths [cm] that differ by less are written alike."""


@mind_words()
def replan(
    plan: HandWaterPlan,
    survey: Survey,
    weather: Weather,
    *,
    irrigation: Literal["as planned"] | Mapping[str, Sequence[Event]] | None = None,
    sensors: Sequence[BuriedSensor] = (),
    doubtful: Literal["ask", "leave out"] | None = None,
    forecast: Weather | Sequence[Weather] | None = None,
    asked: Mapping[str, object] | None = None,
    progress: Progress = False,
) -> HandWaterPlan:
    """Learn from this morning's readings, and make yesterday's plan anew.

    Parameters
    ----------
    plan : HandWaterPlan
        Yesterday's, made with a calibration or by `replan`.
    survey : Survey
        Spots with this morning's readings; those of before are kept with the plan. Where sensors
        were read, there need not be any.
    weather : Weather
        What the weather was from the soaking to this morning; it may go on.
    irrigation : "as planned", or mapping of str to sequence of Event
        Water applied since yesterday: what the plan said, or what was given by the name of the
        spot, where ``""`` is the water of all. Say ``{}`` if there was none: missing is not none.
        What the plan had for this morning, up to two hours before the first reading, is taken for
        not given yet, and planned anew.
    sensors : sequence of BuriedSensor, optional
        What buried sensors have read, since yesterday or in all: a value that was given before
        counts once. A sensor of yesterday that is not given keeps what it had read.
    doubtful : {"ask", "leave out"}, optional
        What is done with doubtful readings, as for `calibrate`; as yesterday when left out.
    forecast : Weather or sequence of Weather, optional
        What is to come, or several equally likely; `weather` itself, where it goes on, when left
        out. It reaches a day ahead or further.
    asked : mapping of str to object, optional
        What is asked otherwise than yesterday, by the arguments of `hand_water_plan`: an event that
        was moved is ``{"event_day": "2025-07-12"}``. Days that are past are forgotten.
    progress : bool or callable, optional
        As for `hand_water_plan`.

    Returns
    -------
    HandWaterPlan
        As asked for yesterday, but for what `asked` says; `changes` says what is other than
        yesterday, `calibration` what was learnt.

    Raises
    ------
    InputError
        If the plan was not made with a calibration, neither meter nor sensors were read since, the
        survey has other depths than before, water is not told, or twice, or of later than the last
        reading, the forecast does not reach a day ahead, or something given cannot be used.
    RunError
        If a column cannot be carried through.

    Examples
    --------
    ``today = replan(yesterday, survey, weather, irrigation="as planned")``
    """
    faults = Faults("replan")
    before = plan.calibration if isinstance(plan, HandWaterPlan) else None
    if before is None:
        faults.add(
            "the plan was not made with a calibration, so there is nothing that could learn",
            cure="make the first with hand_water_plan(..., calibration=calibrate(...))",
        )
        raise faults.as_error()
    since = {spot.name: _read_since(before, spot) for spot in survey.spots}
    today = {name: read for name, read in since.items() if read}
    fresh = [np.datetime64(each.time) for read in today.values() for each in read]
    sensors = sensors_of(sensors, faults)
    ends = {each.place: each.times[-1] for each in before.given["sensors"]}
    logged = [each for each in sensors if each.times[-1] > ends.get(each.place, before.now)]
    # Sensors read all the time: the last of it says how far the morning has gone.
    fresh += [max(each.times[-1] for each in logged)] if logged else []
    if not fresh:
        faults.add(
            "no usable reading is later than those the plan was made with",
            cure='read the green, each reading with its time, Reading(0.18, rod="3 in", time=...)',
        )
    if irrigation is None:
        faults.add(
            "water applied since yesterday is not told, and missing is not none",
            cure='give irrigation="as planned", irrigation={"C3": [Event(...)]}, or irrigation={} '
            "if there was none",
        )
    elif irrigation != "as planned" and not isinstance(irrigation, Mapping):
        faults.add(
            f"irrigation is {by_kind(irrigation)}",
            allowed='"as planned", or events by the name of the spot',
            cure=f'write irrigation={{"": [{EVENT}]}} for water of all spots',
        )
    _check_spots(before, survey, faults)
    otherwise = dict(asked or {})
    unknown = [name for name in otherwise if name not in plan.asked]
    if unknown:
        faults.add(f"asked: {', '.join(map(repr, unknown))}", allowed=", ".join(plan.asked))
    ahead = weather if forecast is None else forecast
    now = begin_of_plan(max(fresh)) if fresh else before.now
    _check_reach(ahead, now, faults)
    if isinstance(irrigation, Mapping):
        irrigation = {name: many_times(events) for name, events in irrigation.items()}
        _check_water(before, irrigation, max(fresh) if fresh else None, faults)
    faults.raise_if_any()
    given = irrigation if isinstance(irrigation, Mapping) else as_planned(plan, fresh)
    calibration = calibrate_again(before, survey, weather, given, sensors, doubtful)
    wanted = _not_past({**plan.asked, **otherwise}, calibration.now)
    threshold = wanted.pop("threshold")
    made = hand_water_plan(
        calibration.given["survey"],
        calibration.sand,
        ahead,
        calibration.turf,
        threshold,
        calibration=calibration,
        progress=progress,
        **wanted,
    )
    end = min(each.end for each in members_of(ahead))
    today |= {each.spot: today.get(each.spot, ()) for each in logged}
    return replace(made, changes=_changes(plan, made, today, calibration.now, end))


def _read_since(before: Calibration, spot: Spot) -> tuple[Reading, ...]:
    """List the readings of a spot that a calibration has not learnt from, in order of time."""
    known = {
        one
        for each in before.given["survey"].spots
        if each.name == spot.name
        for one in each.readings
    }
    fresh = [
        each
        for each in spot.usable_readings
        if each.time is not None and each.time > before.now and each not in known
    ]
    return tuple(sorted(fresh, key=lambda each: np.datetime64(each.time)))


def _check_spots(before: Calibration, survey: Survey, faults: Faults) -> None:
    """Note spots that were probed anew, or are written otherwise than before."""
    old = {spot.name: spot for spot in before.given["survey"].spots}
    alike = {name.casefold(): name for name in old}
    for spot in survey.spots:
        known = old.get(spot.name)
        if known is None:
            if spot.name.casefold() in alike:
                faults.add(f'spot "{spot.name}"', cure=f'write "{alike[spot.name.casefold()]}"')
        elif spot.has_depth and known.has_depth and abs(spot.depth - known.depth) > _SAME_DEPTH:
            # What was learnt of it stands on the depth of before.
            faults.add(
                f'spot "{spot.name}" is {spot.depth:.1f} cm deep, and was learnt with '
                f"{known.depth:.1f} cm",
                cure="give it the depth of before, or calibrate anew with the depth of now",
            )


def _check_reach(ahead: Weather | Sequence[Weather], now: np.datetime64, faults: Faults) -> None:
    """Note a forecast that leaves nothing to plan."""
    with faults.catching():
        end = min(each.end for each in members_of(ahead))
        if end < now + _DAY_AHEAD:
            faults.add(
                f"the forecast ends at {stamp(end)}, and this morning begins at {stamp(now)}",
                allowed=f"{stamp(now + _DAY_AHEAD)} or later",
                cure="give what is to come, forecast=read_forecast(...)",
            )


def _check_water(
    before: Calibration,
    irrigation: Mapping[str, Sequence[Event]],
    last: np.datetime64 | None,
    faults: Faults,
) -> None:
    """Note water that yesterday's plan knew of already, and such as came after the last reading."""
    record = before.given["irrigation"]
    known = record if isinstance(record, Mapping) else {"": record}
    for name, events in irrigation.items():
        there = {(each.time, each.amount) for each in known.get(name, ())}
        where = f' at "{name}"' if name else ""
        told = f'irrigation of "{name}"' if name else "irrigation of all spots"
        cure = f'write irrigation={{"{name}": [{EVENT}]}}, or [] if there was none'
        for each in items_of(events, told, cure, faults):
            if not isinstance(each, Event):
                continue
            if last is not None and each.time >= last:
                faults.add(
                    f"water of {stamp(each.time)}{where} is later than the last reading, of "
                    f"{stamp(last)}, which tells nothing of it",
                    cure="read the green after it, or give it tomorrow and water so much less",
                )
            elif (each.time, each.amount) in there:
                faults.add(
                    f"water of {stamp(each.time)}{where} was told already",
                    cure="give what was applied since yesterday's readings alone",
                )


def _not_past(asked: dict[str, Any], now: np.datetime64) -> dict[str, Any]:
    """Forget days that are past."""
    if asked["firm_by"] is not None and as_time(asked["firm_by"], "firm_by") < now:
        asked |= {"firm": None, "firm_by": None}
    today = now.astype("datetime64[D]")
    if asked["event_day"] is not None and as_time(asked["event_day"], "event_day") < today:
        asked["event_day"] = None
    return asked


def as_planned(
    plan: HandWaterPlan, fresh: Sequence[np.datetime64]
) -> Mapping[str, Sequence[Event]]:
    """Tell what water of a plan was given before the green was read again, spot by spot.

    Parameters
    ----------
    plan : HandWaterPlan
        Yesterday's.
    fresh : sequence of datetime64
        When the green was read since.

    Returns
    -------
    dict of str to sequence of Event
        By the name of the spot.
    """
    # Water of this morning is what is planned anew: who reads first has not given it.
    before = min(fresh) - READ_FIRST
    until = min(min(fresh), max(begin_of_plan(max(fresh)), before))
    given: dict[str, list[Event]] = {}
    for walk in plan.waterings:
        if walk.time < until:
            event = Event(walk.time, walk.amount, duration=WATERING_TIME, name="hand water")
            given.setdefault(walk.spot, []).append(event)
    return given


def _changes(
    before: HandWaterPlan,
    after: HandWaterPlan,
    today: Mapping[str, Sequence[Reading]],
    now: np.datetime64,
    end: np.datetime64,
) -> tuple[str, ...]:
    """Say spot by spot what is other than the plan before, between two instants."""
    old = {each.spot.name: each for each in before.spots}
    said, same = [], []
    for each in after.spots:
        name = each.spot.name
        walks = _between(each.waterings, now, end)
        if name not in old:
            said.append(f"{name}: {_water_text(walks)}; it was not in yesterday's plan.")
            continue
        planned = _between(old[name].waterings, now, end)
        if _as_pairs(planned) == _as_pairs(walks):
            same.append(name)
            continue
        why = _read_text(today.get(name, ()), old[name])
        said.append(
            f"{name}: {_water_text(walks)}, yesterday's plan had {_water_text(planned)}{why}."
        )
    if same:
        said.append(f"As in yesterday's plan: {', '.join(same)}.")
    unread = [each.spot.name for each in after.spots if each.spot.name not in today]
    if unread:
        said.append(f"Not read today, and planned from what was read before: {', '.join(unread)}.")
    if any(walk.time >= end for each in before.spots for walk in each.waterings):
        said.append(f"The forecast ends at {stamp(end)}, and so does this; yesterday's went on.")
    return tuple(said)


def _between(
    walks: Sequence[HandWatering], now: np.datetime64, end: np.datetime64
) -> list[HandWatering]:
    return [walk for walk in walks if now <= walk.time < end]


def _as_pairs(walks: Sequence[HandWatering]) -> list[tuple[np.datetime64, float]]:
    return [(walk.time, walk.amount) for walk in walks]


def _water_text(walks: Sequence[HandWatering]) -> str:
    """Tell the water of the first day and of all."""
    if not walks:
        return "no water"
    day = walks[0].time.astype("datetime64[D]")
    first = sum(walk.amount for walk in walks if walk.time.astype("datetime64[D]") == day)
    today = f"{in_one_unit(first, 'water_amount')} on {day}"
    every = sum(walk.amount for walk in walks)
    return today if every == first else f"{today}, {in_one_unit(every, 'water_amount')} in all"


def _read_text(read: Sequence[Reading], plan: SpotPlan) -> str:
    """Tell what a spot read last beside what the plan before expected of it."""
    if not read or plan.course is None:
        return ""
    times = np.array(plan.course.times)
    since = (times - times[0]) / np.timedelta64(1, "h")
    at = float((read[-1].time - times[0]) / np.timedelta64(1, "h"))
    expected = float(np.interp(at, since, plan.course.median))
    return f"; it read {100 * read[-1].value:.1f} % where {100 * expected:.1f} % was expected"
