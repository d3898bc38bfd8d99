"""Spots that were not read this morning: run on from when their water was last known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from soilwater.decisions.watering.starts import dried_to, usable
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.learning.unknowns import CROP_SPREAD
from soilwater.runs.meter import meter_reading
from soilwater.runs.simulate import simulate
from soilwater.site.file import Green, SiteFile
from soilwater.site.tables import GivenWater
from soilwater.soils import Soil
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.survey.together import mean_of, same_rod
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.displays import listed
from soilwater.words.errors import InputError
from soilwater.words.times import stamp

LONGEST = 7
"""Days after which nobody knows any more how wet a spot is (our own choice)."""
DRAINS = np.timedelta64(12, "h")
"""Time after a soaking at which a spot is taken as drained (common practice, no source)."""
MORNING = np.timedelta64(6, "h")
"""Hour of the morning at which a plan begins."""
CARRIED = "carried forward"
"""What a reading says in place of a meter that was run on and not taken."""
_HOURS = {"heads": 1.0, "hose": 0.25}
"""Time over which water falls, by its kind [h]."""


class Known(NamedTuple):
    """When the water of a spot was last known: by a reading [1], or drained where that is NaN."""

    time: np.datetime64
    reading: float


def carried_forward(site: SiteFile, green: Green, day: np.datetime64) -> tuple[Survey, list[str]]:
    """Give every spot of a green that was not read on a day what it would read on its morning.

    Parameters
    ----------
    site : SiteFile
        The site.
    green : Green
        One of its greens.
    day : datetime64
        The morning's day.

    Returns
    -------
    survey : Survey
        Of the day; spots whose water was known within `LONGEST` days carry a reading that was run
        on since then, or none where they have just been soaked.
    notes : list of str
        What was run on, and from when; which spots nobody knows anything of.

    Raises
    ------
    InputError
        If the weather since then is not known.

    Notes
    -----
    The best sand and base are run with the weather of the station, and where that ends of the
    forecast, and with the water of the table; members of a forecast are averaged. What the turf
    drank since then is known to `CROP_SPREAD` of it, which is added to the error of the meter.
    """
    survey = site.survey(green.name, day)
    begin = day.astype("datetime64[ns]") + MORNING
    known = {
        spot.name: _last_known(site, green.name, spot.name, begin)
        for spot in survey.spots
        if spot.has_depth and not usable(spot, site.rod)
    }
    if not any(known.values()) and not any(usable(spot, site.rod) for spot in survey.spots):
        raise InputError(
            f"it was neither read nor soaked in the {LONGEST} days before; read its spots, and add "
            "the readings to the table."
        )
    lost = [name for name, last in known.items() if last is None]
    told = [f"not read for {LONGEST} days, taken as drained: {listed(lost)}"] if lost else []
    found = {name: last for name, last in known.items() if last is not None}
    fresh = [
        name for name, last in found.items() if math.isnan(last.reading) and last.time >= begin
    ]
    if fresh:
        told.append(f"not read today, soaked since yesterday and taken as drained: {listed(fresh)}")
    old = {name: last for name, last in found.items() if name not in fresh}
    if not old:
        return survey, told
    oldest = min(last.time for last in old.values()).astype("datetime64[D]")
    ahead, notes = site.weather.ahead(oldest, days=int((day - oldest).astype(int)) + 1)
    by = (
        "the station's weather"
        if _measured(site, day)
        else f"weather ({'; '.join(map(str, notes))})"
    )
    column = _Column(
        site.sand(green.name).soil, green.turf, site.base_suction(green.name).best, site.rod
    )
    spots = []
    for spot in survey.spots:
        if spot.name in old:
            last = old[spot.name]
            given = _events(site.water, green.name, spot.name, last.time, begin)
            weather = _alike([each.between(last.time, begin) for each in ahead])
            value = float(np.mean([column.run_on(spot, last, each, given) for each in weather]))
            error = float(np.mean([_error_of(spot, each, green.turf) for each in weather]))
            read = Reading(value, rod=site.rod, time=begin, meter=CARRIED, added_error=error)
            spots.append(replace(spot, readings=(read,)))
        else:
            spots.append(spot)
    since: dict[str, list[str]] = {}
    for name, last in old.items():
        what = "drained after a soaking" if math.isnan(last.reading) else "read"
        since.setdefault(f"{what} on {stamp(last.time)[:10]}", []).append(name)
    told += [
        f"not read today, run on by {by} and the water given: {listed(names)}, {when}"
        for when, names in since.items()
    ]
    return replace(survey, spots=tuple(spots)), told


def _last_known(site: SiteFile, green: str, spot: str, begin: np.datetime64) -> Known | None:
    """Last reading of a spot, or its last soaking; None where both are too long ago."""
    read = [
        each
        for each in site.readings
        if each.green == green and each.spot == spot and each.time < begin
        if same_rod(each.reading.rod, site.rod) and not each.reading.doubt
    ]
    found = []
    if read:
        last = read[-1].time
        day = last.astype("datetime64[D]")
        same = [each.reading for each in read if each.time.astype("datetime64[D]") == day]
        found.append(Known(last, mean_of(same)))
    found += [
        Known(each.time, math.nan)
        for each in site.water
        if each.green == green and each.spot in ("", spot) and each.kind == "soaking"
        if each.time < begin
    ]
    latest = max(found, key=lambda each: each.time, default=None)
    if latest is None or begin - latest.time > np.timedelta64(LONGEST, "D"):
        return None
    return latest._replace(time=latest.time + DRAINS) if math.isnan(latest.reading) else latest


def _measured(site: SiteFile, day: np.datetime64) -> bool:
    """Whether the station tells of all but the dark hours before a morning."""
    return any(each.end >= day for each in site.weather.past)


def _alike(members: Sequence[Weather]) -> list[Weather]:
    """Drop members that are alike: of what was measured all are."""
    found: dict[tuple[bytes, bytes], Weather] = {}
    for each in members:
        found.setdefault((each.rain.tobytes(), each.reference_et.tobytes()), each)
    return list(found.values())


def _events(
    water: Sequence[GivenWater], green: str, spot: str, since: np.datetime64, until: np.datetime64
) -> list[Event]:
    """Water that a spot was given, so early that all of it has fallen at the end."""
    events = []
    for each in water:
        mine = each.green == green and each.spot in ("", spot) and each.kind in _HOURS
        if mine and since <= each.time < until:
            hours = _HOURS[each.kind]
            latest = until - np.timedelta64(round(60 * hours), "m")
            events.append(Event(min(each.time, latest), each.amount, duration=hours))
    return sorted(events, key=lambda each: each.time)


def _error_of(spot: Spot, weather: Weather, turf: Turf) -> float:
    """Tell what the demand, drawn from all of the root zone, adds to the standard error [1]."""
    demand = sum(float(each.sum()) for each in turf.demand(weather))
    return CROP_SPREAD * demand / (10.0 * spot.depth)


class _Column(NamedTuple):
    """What the spots of a green share: sand, turf, suction at the base [cm], rods [cm]."""

    soil: Soil
    turf: Turf
    base: float
    rod: float

    def run_on(self, spot: Spot, last: Known, weather: Weather, given: Sequence[Event]) -> float:
        """Run a spot through some weather, and read its meter [1] at the end."""
        start: Any = "drained"
        if not math.isnan(last.reading):
            start = dried_to(self.soil, spot.depth, self.base, self.rod, last.reading)
        run = simulate(
            Profile.over_gravel(self.soil, spot.depth, base_suction=self.base),
            weather,
            turf=self.turf,
            start=start,
            irrigation=given,
            output=[weather.end],
        )
        return float(meter_reading(run, rod=self.rod).isel(time=-1))
