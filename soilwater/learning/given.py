"""What a person gives to learn from, checked: readings, water applied, soaking, sensors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from soilwater.learning.columns import Span
from soilwater.learning.evidence import Track
from soilwater.soils import Soil
from soilwater.survey.repeats import told_of_repeats, without_repeats
from soilwater.survey.rods import check_rods
from soilwater.survey.sensor import BuriedSensor, sensors_of
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_people_units
from soilwater.words.several import items_of
from soilwater.words.times import as_time, hours_between, stamp

CLOCK = 0.25
"""Readings are taken to the nearest such time [h], in which drying sand changes by 0.05 % or
less."""
RELATIVE = 1.0 / 3.0
"""More than two readings and this part of all [1] above the pore space are no slip, but another
scale (our own choice)."""
NOW_HOURS = 6
"""What comes next begins at a multiple of so many hours [h] of the day."""
MOST_OF_A_SENSOR = 60
"""Readings used of one sensor, evenly over its time: what lies between says little more."""
EVENT = 'Event("2025-07-03 05:00", "8 mm", rate="10 mm/h")'
"""How water applied is written."""
SENSOR_OWN = 0.02
"""Standard deviation of the offset of a buried sensor [1] (common practice, no source)."""


class Record(NamedTuple):
    """What was read and applied since the soaking.

    `spots` with depths; `irrigation` for each; `weather` from the soaking to `now` or the last
    reading; `hours` the instants of all readings [h]; `spans` the depths they were read between;
    `tracks` the readings; `notes` what was left out.
    """

    spots: tuple[Spot, ...]
    irrigation: tuple[tuple[Event, ...], ...]
    weather: Weather
    hours: list[float]
    spans: tuple[Span, ...]
    tracks: tuple[Track, ...]
    now: np.datetime64
    soaked_text: str
    notes: tuple[str, ...]


def take_record(
    survey: Survey,
    weather: Weather,
    soaked: Any,
    irrigation: Any,
    sensors: Sequence[BuriedSensor],
    soils: Sequence[Soil],
    errors: Mapping[str, float],
    doubtful: str,
    faults: Faults,
) -> Record:
    """Check what was given, as in `calibrate`, beside faults found before, and put it in order.

    Raises
    ------
    InputError
        With every fault.
    """
    if not isinstance(weather, Weather):
        faults.add(f"weather is a {type(weather).__name__}", allowed="one Weather, as it was")
    if doubtful not in ("ask", "leave out"):
        faults.add(f"doubtful is {doubtful!r}", allowed='"ask" or "leave out"')
    sensors = sensors_of(sensors, faults)
    spots = tuple(spot for spot in survey.spots if spot.has_depth)
    notes = []
    unprobed = [spot.name for spot in survey.spots if not spot.has_depth]
    if not spots:
        faults.add("no spot has a depth", cure="probe the root zone")
    elif unprobed:
        notes.append(f"left out, no depth found: {', '.join(unprobed)}")
    if irrigation is None:
        faults.add(
            "water applied since the soaking is not told, and missing is not none",
            cure=f"give irrigation=[{EVENT}], or irrigation=() if there was none",
        )
    begin: np.datetime64 = np.datetime64("NaT", "ns")
    if soaked is None:
        faults.add(
            "there is no known soaking, from which the water in the ground could be counted",
            cure='say when rain or watering last filled the root zone, soaked="2025-07-01 20:00"',
        )
    else:
        with faults.catching():
            begin = as_time(soaked, "soaked")
    spots = _said_once(spots, sensors, doubtful, faults, notes)
    porosity = max(float(soil.theta_s) for soil in soils)
    readings, sensors = _readings(spots, sensors, porosity, doubtful, faults, notes)
    for spot in spots:
        check_rods(spot, faults)
    named = {spot.name: spot for spot in spots}
    for sensor in sensors:
        bottom = sensor.depth + 0.5 * sensor.height
        if sensor.spot not in named:
            faults.add(f'a sensor at "{sensor.spot}"', allowed=", ".join(named))
        elif not named[sensor.spot].depth_at_least and bottom > named[sensor.spot].depth:
            faults.add(
                f"a sensor that reads down to {in_people_units(bottom, 'length')} in "
                f"{in_people_units(named[sensor.spot].depth, 'length')} of root zone",
                where=f'spot "{sensor.spot}"',
                cure="correct its depth, that of its middle, or the depth of the spot",
            )
    faults.raise_if_any()
    times = [reading.time for _, reading in readings if reading.time is not None]
    times += [time for sensor in sensors for time in (sensor.times[0], sensor.times[-1])]
    _check_span(begin, weather, times, faults)
    faults.raise_if_any()
    last = max(times)
    now = begin_of_plan(last)
    if now <= begin:
        faults.add(
            f"all readings were taken within {NOW_HOURS} h of the soaking",
            cure="read the green again once it has drained, the morning after",
        )
    faults.raise_if_any()
    of_spots = _irrigation(irrigation, spots, begin, last, weather, faults)
    faults.raise_if_any()
    late = _given_after(irrigation, last)
    if late:
        notes.append(f"water after the last reading is not counted: {_few(late)}")
    # Water may have been on while the last was read.
    ends = [event.end for events in of_spots for event in events]
    cut = weather.between(begin, min(max([*ends, last + np.timedelta64(1, "h")]), weather.end))
    spans, tracks, hours = _tracks(spots, readings, sensors, cut, errors)
    return Record(spots, of_spots, cut, hours, spans, tracks, now, stamp(begin), tuple(notes))


def begin_of_plan(last: np.datetime64) -> np.datetime64:
    """Find when what comes next begins, from the time of the last reading."""
    day = last.astype("datetime64[D]")
    step = np.timedelta64(NOW_HOURS, "h")
    now: np.datetime64 = day + ((last - day) // step) * step
    return now


def _said_once(
    spots: tuple[Spot, ...],
    sensors: Sequence[BuriedSensor],
    doubtful: str,
    faults: Faults,
    notes: list[str],
) -> tuple[Spot, ...]:
    """Ask about what is told twice; give spots with each such reading once, where that is said."""
    for k, sensor in enumerate(sensors):
        before = next((each for each in sensors[:k] if sensor.repeats(each)), None)
        if before is not None:
            faults.add(
                f"a second sensor at {sensor.spot} has the values of that before it at "
                f"{before.spot}, at all times that both have",
                cure="give it once, where it lies: what is told twice would count twice",
            )
    told = told_of_repeats(spots)
    if told and doubtful != "leave out":
        faults.add(
            f"readings {told}",
            cure='let each count once with doubtful="leave out"; if they are two pushes, give them '
            "times a minute apart",
        )
    elif told:
        notes.append(f"counted once: {told}")
        spots = without_repeats(spots)
    return spots


def _readings(
    spots: Sequence[Spot],
    sensors: Sequence[BuriedSensor],
    porosity: float,
    doubtful: str,
    faults: Faults,
    notes: list[str],
) -> tuple[list[tuple[int, Reading]], list[BuriedSensor]]:
    """List readings with the number of their spot, and note what is wrong with them and sensors."""
    kept: list[tuple[int, Reading]] = []
    undated: list[str] = []
    odd: list[str] = []
    too_wet = f"more than the pore space of the sand, {100 * porosity:.1f} %"
    for i, spot in enumerate(spots):
        for reading in spot.readings:
            told = f"{spot.name} {100 * reading.value:.1f} %"
            doubt = reading.doubt
            if not doubt and reading.value > porosity:
                doubt = too_wet
            if reading.time is None:
                undated.append(told)
            elif doubt:
                odd.append(f"{told} at {stamp(reading.time)} ({doubt})")
            else:
                kept.append((i, reading))
    if undated:
        faults.add(
            f"readings without a time: {_few(undated)}",
            cure='give each its time, Reading(0.18, rod="3 in", time="2025-07-02 06:00")',
        )
    read = [reading.value for spot in spots for reading in spot.readings]
    scales = [_relative(np.array(read), "readings are", porosity)]
    left = []
    for sensor in sensors:
        told = f"values of the sensor at {sensor.spot} are"
        scales.append(_relative(sensor.values, told, porosity))
        wet = sensor.values > porosity
        if wet.any():
            first = stamp(sensor.times[wet][0])
            odd.append(f"{wet.sum()} of the sensor at {sensor.spot} from {first} on ({too_wet})")
        if not wet.all():
            left.append(replace(sensor, times=sensor.times[~wet], values=sensor.values[~wet]))
    if any(scales):
        faults.add(
            "; ".join(each for each in scales if each),
            cure="set the meter to water content by volume, or turn its numbers into that with a "
            "wet and a dry core of this sand",
        )
    elif odd and doubtful == "ask":
        faults.add(
            f"readings that no sand gives: {_few(odd)}",
            cure='correct them, or keep them out with doubtful="leave out"',
        )
    elif odd:
        notes.append(f"left out: {_few(odd)}")
    days = {str(each.time)[:10] for _, each in kept if str(each.time)[11:19] == "00:00:00"}
    if days:
        notes.append(
            f"readings of {_few(sorted(days))} have a day and no hour, and count as of 00:00: give "
            'the hour of those taken late in the day, time="2025-07-02 15:00"'
        )
    return kept, left


def _relative(values: FloatArray, told: str, porosity: float) -> str:
    """Say that values of one instrument look like those of another scale; nothing otherwise."""
    beyond = int(np.sum(values > porosity))
    if beyond <= max(2.0, RELATIVE * values.size):
        return ""
    return (
        f"{beyond} {told} above the pore space of the sand, {100 * porosity:.1f} %: this looks "
        "like a relative scale, of saturation or of the meter's own"
    )


def _few(texts: Sequence[str]) -> str:
    more = f" and {len(texts) - 5} more" if len(texts) > 5 else ""
    return ", ".join(texts[:5]) + more


def _check_span(
    begin: np.datetime64, weather: Weather, times: Sequence[np.datetime64], faults: Faults
) -> None:
    if not weather.start <= begin < weather.end:
        faults.add(
            f"soaked is {stamp(begin)}, outside the weather",
            allowed=f"{stamp(weather.start)} to {stamp(weather.end)}",
            cure="give the weather from the soaking on, or say a later soaking",
        )
    if not times:
        faults.add("there are no readings", cure="read the green, each reading with its time")
        return
    early = [time for time in times if time <= begin]
    if early:
        faults.add(
            f"a reading of {stamp(min(early))} was taken at or before the soaking "
            f"of {stamp(begin)}",
            cure="leave it out, or say an earlier soaking",
        )
    if max(times) > weather.end:
        faults.add(
            f"the weather ends at {stamp(weather.end)}, before the reading of {stamp(max(times))}",
            cure="give the weather up to the last reading; a gap in it cannot be learnt through",
        )


def _irrigation(
    given: Any,
    spots: Sequence[Spot],
    begin: np.datetime64,
    last: np.datetime64,
    weather: Weather,
    faults: Faults,
) -> tuple[tuple[Event, ...], ...]:
    """Water each spot was given between the soaking and the last reading."""
    by_name: Mapping[str, Any] = given if isinstance(given, Mapping) else {"": given}
    names = {spot.name for spot in spots}
    for name, events in by_name.items():
        if name and name not in names:
            faults.add(f'irrigation of "{name}"', allowed=", ".join(sorted(names)))
        told = f'irrigation of "{name}"' if name else "irrigation"
        cure = (
            f'write irrigation={{"{name}": [{EVENT}]}}' if name else f"write irrigation=[{EVENT}]"
        )
        if events is None:
            faults.add(
                f"{told} is None, and missing is not none",
                cure=f'write {{"{name}": []}} if there was none',
            )
            continue
        every = items_of(events, told, cure, faults)
        for k, event in enumerate(every):
            if not isinstance(event, Event):
                faults.add(f"{event!r} is no Event", cure=cure)
            elif event in every[:k]:
                faults.add(
                    f"{told} holds the water of {stamp(event.time)} twice",
                    cure="give it once, or as one Event of both amounts if it was given twice",
                )
            elif event.time < begin < event.end:
                faults.add(
                    f"water from {stamp(event.time)} to {stamp(event.end)} goes on after the "
                    f"soaking of {stamp(begin)}",
                    cure=f'if it is the soaking, say its end, soaked="{stamp(event.end)}"',
                )
            elif event.time < last and event.end > weather.end:
                faults.add(
                    f"water from {stamp(event.time)} to {stamp(event.end)} goes on after the "
                    f"weather, which ends at {stamp(weather.end)}",
                    cure="give the weather up to its end",
                )
    if faults:
        return ()

    def since(events: Sequence[Event]) -> list[Event]:
        return [each for each in events if begin <= each.time < last]

    common = since(by_name.get("", ()))
    return tuple(
        tuple(sorted([*common, *since(by_name.get(spot.name, ()))], key=lambda event: event.time))
        for spot in spots
    )


def _given_after(given: Any, last: np.datetime64) -> list[str]:
    """Tell of water that came when all was read."""
    by_name: Mapping[str, Sequence[Event]] = given if isinstance(given, Mapping) else {"": given}
    return [
        f"{stamp(each.time)}{f' at {name}' if name else ''}"
        for name, events in by_name.items()
        for each in events
        if each.time >= last
    ]


def _tracks(
    spots: Sequence[Spot],
    readings: Sequence[tuple[int, Reading]],
    sensors: Sequence[BuriedSensor],
    weather: Weather,
    errors: Mapping[str, float],
) -> tuple[tuple[Span, ...], tuple[Track, ...], list[float]]:
    """Sort readings by instrument and spot; find the instants and depths they need.

    Each sensor is an instrument of its own, with an offset of its own; the meter is one.
    """
    taken: dict[tuple[int, Span, int], list[tuple[float, float, float]]] = {}
    for i, reading in readings:
        hour = on_the_clock(hours_between(weather.start, reading.time))
        error = float(np.hypot(errors["meter_error"], reading.added_error))
        read = (hour, reading.value, error)
        taken.setdefault((i, Span(0.0, reading.rod), 0), []).append(read)
    numbers = {spot.name: i for i, spot in enumerate(spots)}
    for n, sensor in enumerate(sensors, start=1):
        span = Span(sensor.depth - 0.5 * sensor.height, sensor.depth + 0.5 * sensor.height)
        count = min(sensor.times.size, MOST_OF_A_SENSOR)
        which = np.unique(np.linspace(0, sensor.times.size - 1, count).round().astype(int))
        every_hour = [on_the_clock(hours_between(weather.start, t)) for t in sensor.times[which]]
        # Of what is logged faster than that clock the first counts: errors of one instant are one.
        hours, first = np.unique(every_hour, return_index=True)
        values = sensor.values[which][first].tolist()
        taken[numbers[sensor.spot], span, n] = [
            (hour, value, errors["sensor_error"])
            for hour, value in zip(hours.tolist(), values, strict=True)
        ]
    spans = tuple(sorted({span for _, span, _ in taken}))
    instants = sorted({hour for every in taken.values() for hour, *_ in every})
    number = {hour: k for k, hour in enumerate(instants)}
    tracks = []
    for (i, span, sensor_number), every in taken.items():
        buried = sensor_number > 0
        hours, values, spreads = np.array(sorted(every)).T
        tracks.append(
            Track(
                spot=i,
                span=spans.index(span),
                per_rod=0.0 if buried else 1.0 / span.bottom,
                at=np.array([number[hour] for hour in hours.tolist()]),
                hours=hours,
                value=values,
                error=spreads,
                own=SENSOR_OWN if buried else errors["model_error"],
                buried=buried,
            )
        )
    return spans, tuple(tracks), instants


def on_the_clock(hours: Any) -> float:
    """Round hours to the times readings are taken at [h]."""
    value: FloatArray = np.asarray(hours, dtype=np.float64)
    return float(max(CLOCK, CLOCK * np.round(float(value) / CLOCK)))
