"""Where the sun of a file stands: measured radiation held against that of a clear sky.

Light begins and ends with the sun whatever the clouds do, so first and last light tell by how much
a column of radiation is early or late; and the best days tell its unit, because no day is brighter
than a clear sky by much and no sky stays black for days. Sun and clear sky after FAO-56.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.weather import evapotranspiration as terms
from soilwater.weather import sun
from soilwater.weather.reference_et import Site

# Light of this much [MJ m-2 h-1], 5.6 W/m2, is above the night offset of usual sensors, and a thick
# cloud lets it through soon after sunrise (common practice, no source).
_LIGHT = 0.02
# What counts as half light [MJ m-2 h-1], 17 W/m2: soon after sunrise (our own choice).
_HALF_LIGHT = 0.06
# Share of clear-sky radiation that an ordinary sky lets through: for where its light begins.
_ORDINARY_SKY = 0.4
# Sunlit edges of clouds add to the sun for minutes, hardly beyond the top of the atmosphere.
_EDGE_OF_CLOUDS = 1.15
_CHUNK_DAYS = 15
# Within this [h] clouds of one half of the day, hills and rounding to steps explain a difference.
_TOLERANCE, _CLEAR_SHIFT = 0.75, 1.5
# The same where light lasts all day [h], for a sun that rises and sinks as at 70 degrees: the
# length of the mean of its light as arrows on the clock (our own choice).
_TOLERANCE_LIGHT, _COURSE = 0.6, 0.33
# Solar noon by the clock of a place whose longitude is not known, and how far it can be off [h]: no
# zone is more than this from its sun (common practice, no source).
_UNKNOWN_NOON, _UNKNOWN_TOLERANCE = 12.5, 4.0


def clear_sky_days(
    edges: NDArray[np.datetime64], site: Site
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Radiation of each day, at the top of the atmosphere and under a clear sky.

    Parameters
    ----------
    edges : array of datetime64, shape (days + 1,)
        Bounds of the days.
    site : Site
        Latitude and elevation.

    Returns
    -------
    top, clear : array, shape (days,)
        In MJ m-2 (FAO-56 eqs. 21 and 37).
    """
    top = sun.extraterrestrial_radiation(site.latitude, sun.day_of_year(edges[:-1]))
    return top, terms.clear_sky_radiation(top, site.elevation)


def hours_late(
    radiation: NDArray[np.float64], edges: NDArray[np.datetime64], site: Site | None
) -> float:
    """By how much the light of a file comes after that of its place.

    Parameters
    ----------
    radiation : array, shape (n,)
        Solar radiation of each step [MJ m-2], NaN where missing.
    edges : array of datetime64, shape (n + 1,)
        Bounds of the steps, local standard time.
    site : Site or None
        Where the file is from; without its longitude only gross shifts are seen.

    Returns
    -------
    float
        Hours, -12 to 12, negative where it comes before; 0 within what clouds can do, NaN where
        there is no telling (no night, no light, less than a day).
    """
    hours = float((edges[1] - edges[0]) / np.timedelta64(1, "h"))
    per_day = round(24.0 / hours)
    if hours > 3.0 or abs(per_day * hours - 24.0) > 1e-9 or radiation.size < per_day:
        return np.nan
    chunk = _CHUNK_DAYS * per_day
    starts = range(0, max(radiation.size - per_day + 1, 1), chunk)
    found = [
        _offset_of_days(radiation[i : i + chunk], edges[i : i + chunk + 1], site, per_day)
        for i in starts
        if radiation[i : i + chunk].size >= per_day
    ]
    told = [value for value in found if not np.isnan(value)]
    return max(told, key=abs) if told else np.nan


def most_of_sky(edges: NDArray[np.datetime64], site: Site | None) -> NDArray[np.float64] | None:
    """Most solar radiation that each step can have.

    Parameters
    ----------
    edges : array of datetime64, shape (n + 1,)
        Bounds of the steps, local standard time.
    site : Site or None
        Where the file is from.

    Returns
    -------
    array, shape (n,), or None
        In MJ m-2; None where the place, or for steps shorter than a day its longitude, is not
        known.
    """
    hours = float((edges[1] - edges[0]) / np.timedelta64(1, "h"))
    if site is None or 3.0 < hours != 24.0:
        return None
    if hours == 24.0:
        return _EDGE_OF_CLOUDS * clear_sky_days(edges, site)[0] + _LIGHT * hours
    if site.longitude is None or site.utc_offset is None:
        return None
    begin = edges[:-1]
    clock = (begin - begin.astype("datetime64[D]")) / np.timedelta64(1, "h")
    day = sun.day_of_year(begin)
    angle = sun.solar_time_angle(clock + hours / 2.0, day, site.longitude, site.utc_offset)
    top = sun.extraterrestrial_radiation_of_period(site.latitude, day, angle, hours)
    # Clocks of loggers go a little wrong: a step may have what its neighbours could.
    near = np.maximum(top, np.maximum(np.roll(top, 1), np.roll(top, -1)))
    return np.asarray(_EDGE_OF_CLOUDS * near + 3.0 * _LIGHT * hours)


def _offset_of_days(
    radiation: NDArray[np.float64],
    edges: NDArray[np.datetime64],
    site: Site | None,
    per_day: int,
) -> float:
    hours = 24.0 / per_day
    begin = edges[:-1]
    clock = (begin - begin.astype("datetime64[D]")) / np.timedelta64(1, "h")
    slot = np.asarray(np.floor(clock / hours), dtype=np.int64)
    measured = _envelope(radiation, slot, per_day)
    mean = _mean(radiation, slot, per_day)
    middles = 2.0 * np.pi * (np.arange(per_day) + 0.5) / per_day
    lit = measured > max(_LIGHT * hours, 0.02 * np.nanmax(measured, initial=0.0))
    if lit.sum() == 0:
        return np.nan
    if site is None or site.longitude is None or site.utc_offset is None:
        noon = _UNKNOWN_NOON * np.pi / 12.0
        late = _turn(_middle(middles, _as_light(measured, hours)) - noon)
        return late if abs(late) > _UNKNOWN_TOLERANCE else 0.0
    day = sun.day_of_year(begin)
    angle = sun.solar_time_angle(clock + hours / 2.0, day, site.longitude, site.utc_offset)
    top = sun.extraterrestrial_radiation_of_period(site.latitude, day, angle, hours)
    there = np.where(np.isnan(radiation), np.nan, terms.clear_sky_radiation(top, site.elevation))
    clear = _ORDINARY_SKY * _envelope(there, slot, per_day)
    bright = clear > _LIGHT * hours
    if bright.sum() == 0:
        return np.nan
    by_light = _turn(
        _middle(middles, _as_light(measured, hours)) - _middle(middles, _as_light(clear, hours))
    )
    by_energy = _turn(_middle(middles, mean) - _middle(middles, _mean(there, slot, per_day)))
    if max(lit.sum(), bright.sum()) >= per_day - 2:
        # Light all round the clock: only where most of it comes tells anything, in all and on the
        # brightest days, which clouds that come by the hour of day do not shift alike.
        by_best = _turn(_middle(middles, measured) - _middle(middles, clear))
        # The less the sun rises and sinks, the more clouds can shift.
        course = abs(np.sum(clear * np.exp(1j * middles))) / np.sum(clear)
        least = _TOLERANCE_LIGHT * max(1.0, _COURSE / float(course))
        alike = by_best * by_energy > 0.0 and min(abs(by_best), abs(by_energy)) > least
        return by_energy if alike or abs(by_energy) >= 2.0 else 0.0
    # No dusk is as light as half light while the sun is down for all of a step.
    in_the_dark = bool(np.any((clear == 0.0) & (measured > _HALF_LIGHT * hours)))
    if abs(by_light) >= _CLEAR_SHIFT or (in_the_dark and abs(by_light) > 0.5 * _TOLERANCE):
        return by_light
    # A foggy morning delays the energy and not the light, a ragged horizon the light alone.
    both = by_light * by_energy > 0.0 and min(abs(by_light), abs(by_energy)) > _TOLERANCE
    return by_light if both else 0.0


def _as_light(envelope: NDArray[np.float64], hours: float) -> NDArray[np.float64]:
    """Between 0, dark, and 1, light: a step that the sun rises in counts in part."""
    above = np.maximum(envelope - _LIGHT * hours, 0.0)
    return np.asarray(above / (above + _HALF_LIGHT * hours))


def _envelope(
    values: NDArray[np.float64], slot: NDArray[np.int64], per_day: int
) -> NDArray[np.float64]:
    """Largest value at each time of the day."""
    largest = np.zeros(per_day)
    np.fmax.at(largest, slot, values)
    return largest


def _mean(
    values: NDArray[np.float64], slot: NDArray[np.int64], per_day: int
) -> NDArray[np.float64]:
    """Mean value at each time of the day."""
    there = ~np.isnan(values)
    total = np.bincount(slot[there], weights=values[there], minlength=per_day)
    count = np.bincount(slot[there], minlength=per_day)
    return np.asarray(total / np.maximum(count, 1))


def _middle(angles: NDArray[np.float64], weight: NDArray[np.generic]) -> float:
    """Mean angle on the circle of the day [rad]."""
    return float(np.angle(np.sum(np.asarray(weight, dtype=float) * np.exp(1j * angles))))


def _turn(angle: float) -> float:
    """Bring an angle [rad] to hours between -12 and 12."""
    return float((angle * 12.0 / np.pi + 12.0) % 24.0 - 12.0)


def temperature_follows(
    temperature: NDArray[np.float64], edges: NDArray[np.datetime64], noon: float
) -> bool | None:
    """Whether the air is warmest in the afternoon of a sun that stands highest at `noon`.

    Parameters
    ----------
    temperature : array, shape (n,)
        Air temperature of each step, NaN where missing.
    edges : array of datetime64, shape (n + 1,)
        Bounds of the steps.
    noon : float
        Time of day at which the sun stands highest [h].

    Returns
    -------
    bool or None
        None where temperature has no course over the day to speak of.
    """
    begin = edges[:-1]
    hours = float((edges[1] - edges[0]) / np.timedelta64(1, "h"))
    per_day = round(24.0 / hours)
    clock = (begin - begin.astype("datetime64[D]")) / np.timedelta64(1, "h")
    slot = np.asarray(np.floor(clock / hours), dtype=np.int64)
    mean = _mean(temperature, slot, per_day)
    if np.ptp(mean) < 2.0:
        return None
    middles = 2.0 * np.pi * (np.arange(per_day) + 0.5) / per_day
    lag = _turn(_middle(middles, mean - mean.mean()) - noon * np.pi / 12.0)
    return 0.0 < lag < 6.0
