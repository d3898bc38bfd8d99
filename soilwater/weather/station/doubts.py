"""Units that the physics of a whole column speaks against.

A header may name the wrong unit, and every value of it still look possible. Whole columns do not:
no sky is a twentieth of a clear one for days, no gauge sees nothing but cloudbursts, no July at 45
degrees lies below freezing. Where that is so and another unit fits, both readings are shown and the
person says which it is. Bounds are wide: they have to let the extremes of real places through.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from soilwater.weather import evapotranspiration as terms
from soilwater.weather import sun
from soilwater.weather.reference_et import Site
from soilwater.weather.station.columns import QUANTITIES
from soilwater.weather.station.readings import Column, Readings, span_text
from soilwater.weather.station.sunlight import clear_sky_days
from soilwater.words.errors import Faults

_DAY_HOURS = 24.0
_CHUNK_DAYS = 30

# Extraterrestrial radiation [MJ m-2 day-1] some weeks before, and between what bounds the mean air
# temperature of days to weeks lies with it near sea level [degC]: highest anywhere, lowest by
# latitude [deg]. Our own reading of climate records, from memory, and wider than they are.
_LAG_DAYS = 25
_SUN_OF_WARMTH = (
    0.0,
    2.0,
    5.0,
    7.0,
    9.0,
    10.3,
    11.0,
    13.5,
    15.0,
    17.0,
    20.0,
    24.0,
    30.0,
    36.0,
    42.0,
)
_WARMEST = (8.0, 10.0, 12.0, 13.0, 13.3, 13.7, 15.0, 17.5, 18.5, 21.0, 25.0, 30.0, 38.0, 42.0, 46.0)
_SUN_OF_COLD = (10.0, 20.0, 30.0, 36.0, 40.0)
_LATITUDES = (20.0, 30.0, 40.0, 50.0, 60.0, 70.0)
_COLDEST = (
    (8.0, 8.0, 9.0, 12.0, 13.0),
    (-8.0, -6.0, 2.0, 8.0, 11.0),
    (-20.0, -15.0, -5.0, 3.0, 7.0),
    (-34.0, -25.0, -11.0, -1.0, 2.0),
    (-44.0, -35.0, -17.0, -7.0, -2.0),
    (-50.0, -42.0, -29.0, -15.0, -6.0),
)
_MILDER_SOUTH = 12.0  # [deg]
_LAPSE_RATE = 0.0065
"""Fall of temperature with height [K/m] (standard atmosphere, ISO 2533)."""
_SPELL_DAYS = (4.0, 5.0, 10.0, 14.0)
_SPELL = (6.0, 4.0, 2.0, 0.0)
"""How far [K] the mean of fewer days than a fortnight may lie beyond the bounds."""

# Largest mean range of temperature over a day [K] by the same radiation: high valleys of clear
# winters, deserts of any season; and the least in deep cold, which is clear and dry (from memory,
# wider than records of single months).
_SUN_OF_RANGE = (0.0, 5.0, 8.0, 10.0, 13.0, 15.0, 20.0)
_WIDEST = (12.0, 14.0, 15.0, 18.0, 21.0, 23.0, 26.0)
_DEEP_COLD, _NARROWEST = -15.0, 4.5
_STEP_OF_RANGE = 3.0  # [h] longer steps do not show the range of a day

# Vapour pressure over ice, 0.61115 kPa exp(a t / (t + b)) (after Buck 1981, J. Appl. Meteorol.
# 20:1527, from memory). Frost forms where there is more: below `_FROST` [degC] humidity over water
# stays beneath the quotient of both, but for the error of its sensor.
_ICE_A, _ICE_B, _FROST, _BEYOND_FROST = 22.452, 272.55, -8.0, 0.06

# Below this [degC] the air holds too little vapour for snow of more than this a day [mm of water],
# time and again (common practice, no source).
_TOO_COLD_TO_SNOW, _DEEP_COLD_SNOW = -10.0, 2.5

# Vapour pressure [kPa] of the highest dew point on record, 35 degC, and of 30 degC, which no place
# keeps for weeks (from memory).
_HIGHEST_VAPOUR, _HIGHEST_MEAN_VAPOUR = 5.7, 4.3

# Best days of a file against a clear sky: no day is brighter by more, and no run of days stays
# darker (thick cloud lets a tenth to a fifth through; FAO-56 puts full cloud at a third).
_BRIGHTEST, _DARKEST, _DARKEST_OF_FEW = 1.25, 0.12, 0.03
_RADIATION_UNITS = (
    "MJ/m2", "W/m2", "MJ/m2/day", "kJ/m2", "J/cm2", "ly/day", "ly", "Wh/m2", "kWh/m2", "kW/m2",
    "MJ/m2/h", "ly/min", "J/m2",
)  # fmt: skip

# Mean wind of days [m/s] beyond that of the windiest coasts (from memory).
_WINDIEST = 13.0


def doubt_units(given: Readings, faults: Faults) -> None:
    """Ask about every column whose unit physics speaks against.

    Parameters
    ----------
    given : Readings
        The file as it was read.
    faults : Faults
        Takes the questions.
    """
    if given.hours > _DAY_HOURS:
        return
    _doubt_temperature(given, faults)
    _doubt_moist_air(given, faults)
    _doubt_rain(given, faults)
    _doubt_radiation(given, faults)
    _doubt_reference_et(given, faults)
    _doubt_wind(given, faults)


def _ask(
    given: Readings, faults: Faults, quantities: Sequence[str], units: Sequence[str], why: str
) -> None:
    """Show a reading that cannot be and those that can, each with what to say for it."""
    said = [", ".join(f'"{q}": "{unit}"' for q in quantities) for unit in units]
    kept = ", ".join(f'"{q}": {span_text(given.values[q])}' for q in quantities)
    faults.add(
        why,
        where=", ".join(quantities),
        cure=f"say {' or '.join(f'units={{{text}}}' for text in said)} if that is what it is, or "
        f"ranges={{{kept}}} if the file is right",
    )


# --- air -----------------------------------------------------------------------------------------


TEMPERATURES = ("air_temperature", "maximum_air_temperature", "minimum_air_temperature")


def _mean_temperature(given: Readings, unit: str = "") -> Column | None:
    """Mean temperature of each day, as it was read or as if it had been in another `unit`."""

    def column(quantity: str) -> Column:
        return given.read_as(quantity, unit) if unit else given.values[quantity]

    if "air_temperature" in given.values:
        return given.days(column("air_temperature"), np.mean)
    if all(q in given.values for q in TEMPERATURES[1:]):
        high, low = (column(q) for q in TEMPERATURES[1:])
        return given.days((high + low) / 2.0, np.mean)
    return None


def _temperature_bounds(days: NDArray[np.datetime64], site: Site) -> tuple[Column, Column]:
    """Lowest and highest likely mean temperature of days at a site [degC]."""
    before = sun.day_of_year(days - np.timedelta64(_LAG_DAYS, "D"))
    top = sun.extraterrestrial_radiation(site.latitude, before)
    height = _LAPSE_RATE * max(site.elevation, 0.0)
    high = np.interp(top, _SUN_OF_WARMTH, _WARMEST) - 0.75 * height
    # Winters of the southern half, with its oceans, are those of places nearer the equator.
    latitude = site.latitude if site.latitude > 0.0 else max(-site.latitude - _MILDER_SOUTH, 0.0)
    table = np.array(_COLDEST)
    at = [np.interp(latitude, _LATITUDES, table[:, k]) for k in range(table.shape[1])]
    low = np.interp(top, _SUN_OF_COLD, at) - height
    return low, high


def _worst_spell(mean: Column, low: Column, high: Column) -> float:
    """How far the mean of a month, or of a shorter file, lies outside its bounds [K]."""
    worst = 0.0
    for i in range(0, max(mean.size, 1), _CHUNK_DAYS):
        part = slice(i, i + _CHUNK_DAYS)
        there = ~np.isnan(mean[part])
        if not there.any():
            continue
        slack = float(np.interp(there.sum(), _SPELL_DAYS, _SPELL))
        value = mean[part][there].mean()
        over = value - high[part][there].mean() - slack
        under = low[part][there].mean() - slack - value
        worst = max(worst, over, under)
    return worst


def _snows_in_deep_cold(given: Readings, mean: Column) -> bool:
    """Whether much falls, day after day, from air too cold to hold it."""
    if "rain" not in given.values:
        return False
    water = given.days(given.values["rain"], np.sum)[: mean.size]
    fallen = water[(mean < _TOO_COLD_TO_SNOW) & (water > 0.0)]
    return bool(fallen.size >= _FEW and fallen.mean() > _DEEP_COLD_SNOW)


def _range_of_days(given: Readings, unit: str) -> Column | None:
    """Range of temperature over each day [K], as if the numbers had been in a `unit`."""
    if all(q in given.values for q in TEMPERATURES[1:]) and given.hours >= _DAY_HOURS:
        high, low = (given.read_as(q, unit) for q in TEMPERATURES[1:])
        return np.asarray(high - low)
    if "air_temperature" in given.values and given.hours <= _STEP_OF_RANGE:
        return given.days(given.read_as("air_temperature", unit), np.ptp)
    return None


def _swings_too_much(given: Readings, mean: Column, unit: str) -> bool:
    """Whether days are wider apart in themselves than the sun makes them, or too even for cold."""
    ranges = _range_of_days(given, unit)
    if ranges is None or given.site is None:
        return False
    ranges = ranges[: mean.size]
    there = ~np.isnan(ranges) & ~np.isnan(mean)
    if there.sum() < _FEW:
        return False
    days = given.day_edges[: ranges.size] - np.timedelta64(_LAG_DAYS, "D")
    top = sun.extraterrestrial_radiation(given.site.latitude, sun.day_of_year(days))
    widest = np.interp(top, _SUN_OF_RANGE, _WIDEST)[there].mean()
    even = mean[there].mean() < _DEEP_COLD and ranges[there].mean() < _NARROWEST
    return bool(even or ranges[there].mean() > widest)


def _beyond_frost(given: Readings, mean: Column, unit: str) -> bool:
    """Whether cold air is damper than ice lets it be, time and again."""
    if {"air_temperature", "relative_humidity"} <= set(given.values):
        air, humidity = given.read_as("air_temperature", unit), given.values["relative_humidity"]
    elif "maximum_relative_humidity" in given.values and given.hours >= _DAY_HOURS:
        air, humidity = mean, given.values["maximum_relative_humidity"]
    else:
        return False
    most = 0.61115 * np.exp(_ICE_A * air / (air + _ICE_B))
    over = (humidity - most / terms.saturation_vapour_pressure(air))[air < _FROST]
    over = over[~np.isnan(over)]
    return bool(over.size >= _FEW and np.quantile(over, 0.9) > _BEYOND_FROST)


def _objections(given: Readings, mean: Column, low: Column, high: Column, unit: str) -> int:
    """Count what speaks against temperatures as if they had been in a `unit`."""
    return (
        2 * (_worst_spell(mean, low, high) > 0.0)
        + _snows_in_deep_cold(given, mean)
        + _swings_too_much(given, mean, unit)
        + _beyond_frost(given, mean, unit)
    )


def _doubt_temperature(given: Readings, faults: Faults) -> None:
    which = [q for q in TEMPERATURES if given.doubtful(q)]
    mean = _mean_temperature(given)
    if not which or mean is None or not mean.size or given.site is None:
        return
    low, high = _temperature_bounds(given.day_edges[: mean.size], given.site)
    against = _objections(given, mean, low, high, given.units[which[0]])
    if not against:
        return
    unit = given.units[which[0]]
    other = "degF" if unit in ("degc", "c", "celsius") else "degC"
    if any(given.units[q] != unit for q in which):
        return
    swapped = _mean_temperature(given, other.lower())
    assert swapped is not None
    if _objections(given, swapped, low, high, other.lower()) >= against:
        return
    _ask(
        given,
        faults,
        which,
        [other],
        f"the mean is {np.nanmean(mean):.1f} degC as read in {unit}, and "
        f"{np.nanmean(swapped):.1f} degC if the numbers are in {other}; at latitude "
        f"{given.site.latitude:g} this season lies between {np.nanmin(low):.0f} and "
        f"{np.nanmax(high):.0f} degC, days are no wider apart in themselves than their sun makes "
        f"them, air of deep cold holds little snow, and frost takes what is beyond ice",
    )


_MOIST = (
    ("air_temperature", "relative_humidity"),
    ("maximum_air_temperature", "minimum_relative_humidity"),
    ("minimum_air_temperature", "maximum_relative_humidity"),
)


def _doubt_moist_air(given: Readings, faults: Faults) -> None:
    """Ask where air would hold more vapour than air anywhere does, or than it can."""
    if len(faults):  # what is asked already would be asked again
        return
    for temperature, humidity in _MOIST:
        if not given.doubtful(temperature) or humidity not in given.values:
            continue
        vapour = terms.saturation_vapour_pressure(given.values[temperature])
        vapour = vapour * given.values[humidity]
        known = vapour[~np.isnan(vapour)]
        if not known.size:
            continue
        much = float(np.quantile(known, 0.95)), float(known.mean())
        unit = given.units[temperature]
        if much[0] <= _HIGHEST_VAPOUR and much[1] <= _HIGHEST_MEAN_VAPOUR:
            continue
        if unit in ("degc", "c", "celsius"):
            which = [q for q in TEMPERATURES if given.doubtful(q)]
            _ask(
                given,
                faults,
                which,
                ["degF"],
                f"with {humidity} the air holds {much[0]:.1f} kPa of vapour, more than anywhere on "
                f"Earth; the mean is {np.nanmean(given.values[temperature]):.1f} degC as read, and "
                f"{np.nanmean(given.read_as(temperature, 'degf')):.1f} degC if the numbers are in "
                f"degF",
            )
            return
    _doubt_saturation(given, faults)


def _doubt_saturation(given: Readings, faults: Faults) -> None:
    warmest = next((q for q in ("maximum_air_temperature", "air_temperature") if q in given.values),
                   "")  # fmt: skip
    if not warmest:
        return
    air = given.values[warmest]
    for quantity, units in (("dew_point", ("degF", "degC")), ("vapour_pressure", ("hPa", "kPa"))):
        if not given.doubtful(quantity):
            continue

        def above(column: Column, quantity: str = quantity) -> float:
            dew = quantity == "dew_point"
            most = air + 1.0 if dew else 1.1 * terms.saturation_vapour_pressure(air)
            there = ~np.isnan(column) & ~np.isnan(air)
            return float(np.mean(column[there] > most[there])) if there.any() else 0.0

        column = given.values[quantity]
        fitting = [u for u in units if above(given.read_as(quantity, u.lower())) < 0.05]
        if above(column) > 0.5 and fitting:
            kept = QUANTITIES[quantity].unit
            _ask(
                given,
                faults,
                [quantity],
                fitting,
                f"the mean is {np.nanmean(column):.3g} {kept}, more than air of "
                f"{np.nanmean(air):.1f} degC holds; in {fitting[0]} it would be "
                f"{np.nanmean(given.read_as(quantity, fitting[0].lower())):.3g} {kept}",
            )


def _doubt_wind(given: Readings, faults: Faults) -> None:
    if not given.doubtful("wind_speed"):
        return
    column = given.values["wind_speed"]
    mean = float(np.nanmean(column))
    slower = [
        unit
        for unit in ("km/h", "mph")
        if np.nanmean(given.read_as("wind_speed", unit)) < min(_WINDIEST, 0.9 * mean)
    ]
    if mean > _WINDIEST and slower and column.size * given.hours >= 2 * _DAY_HOURS:
        read = [f"{np.nanmean(given.read_as('wind_speed', u)):.1f} m/s in {u}" for u in slower]
        _ask(
            given,
            faults,
            ["wind_speed"],
            slower,
            f"the mean is {mean:.1f} m/s as read in {given.units['wind_speed']}, a gale for days; "
            f"it would be {' or '.join(read)}",
        )


# --- water ---------------------------------------------------------------------------------------

# Rain [mm]: means over wet days and wet hours that no climate keeps up, and those that it would
# take a cloudburst each time (our own choice, wider than monsoons, from memory).
_NO_CLIMATE_DAY, _NO_CLIMATE_HOUR = 120.0, 25.0
_CLOUDBURST_DAY, _CLOUDBURST_HOUR, _CLOUDBURST_ONCE = 40.0, 10.0, 150.0
_HARDLY_RAIN_DAY, _HARDLY_RAIN_MEAN = 3.0, 1.2
_FEW, _MANY_TENTHS = 3, 5
_INCHES, _MILLIMETRES = ("in", "inch", "inches"), ("mm", "l/m2", "kg/m2")


def _doubt_rain(given: Readings, faults: Faults) -> None:
    if not given.doubtful("rain"):
        return
    rain, unit = given.values["rain"], given.units["rain"]
    wet_steps = rain[rain > 0.0]
    days = given.days(rain, np.nansum)
    wet_days = days[days > 0.0] if days.size else wet_steps
    if not wet_steps.size or not wet_days.size:
        return
    if unit in _INCHES:
        other = "mm"
        written = wet_steps / 25.4
        # A gauge that counts inches counts hundredths; one that counts mm does not go so far.
        coarse = bool(np.all(np.abs(written * 10.0 - np.round(written * 10.0)) < 1e-6)) or (
            np.unique(written).size >= _FEW and bool(_whole_tips(written, 0.254).all())
        )
        few = wet_days.size < _FEW
        by_hour = given.hours <= 1.0 and wet_steps.size >= 2 * _FEW
        rate = float(wet_steps.mean()) / given.hours
        wrong = (
            (not few and wet_days.mean() > _NO_CLIMATE_DAY)
            or (by_hour and rate > _NO_CLIMATE_HOUR)
            or (coarse and not few and wet_days.mean() > _CLOUDBURST_DAY)
            or (coarse and few and wet_days.mean() > _CLOUDBURST_ONCE)
            or (coarse and by_hour and rate > _CLOUDBURST_HOUR)
            # Amounts of a gauge of hundredths are not all of them tenths by chance.
            or (coarse and wet_steps.size >= _MANY_TENTHS and np.unique(written).size >= 2)
        )
    elif unit in _MILLIMETRES:
        other = "in"
        # No bucket tips for less than 0.1 mm, and what shows hundredths sees more than drizzle.
        wrong = bool(np.any(~_of_a_bucket(wet_steps))) and (
            wet_days.max() < _HARDLY_RAIN_DAY or wet_days.mean() < _HARDLY_RAIN_MEAN
        )
    else:
        return
    if wrong:
        _ask(
            given,
            faults,
            ["rain"],
            [other],
            f"{wet_days.size} wet days bring {wet_days.mean():.3g} mm each as read in {unit}, and "
            f"{given.read_as('rain', other)[rain > 0].sum() / wet_days.size:.3g} mm if the "
            f"numbers are in {other}",
        )


def _of_a_bucket(amounts: Column) -> NDArray[np.bool_]:
    """Whether amounts [mm] are whole tips of a usual bucket: 0.1, 0.2, 0.25 or 0.254 mm."""
    return _whole_tips(amounts, 0.1) | _whole_tips(amounts, 0.25) | _whole_tips(amounts, 0.254)


def _whole_tips(amounts: Column, tip: float) -> NDArray[np.bool_]:
    # Files round to hundredths, which 0.254 mm does not bear exactly.
    slack = 0.0051 if tip == 0.254 else 1e-6
    return np.asarray(np.abs(amounts - tip * np.round(amounts / tip)) <= slack)


def _doubt_reference_et(given: Readings, faults: Faults) -> None:
    """Ask where demand is out of all proportion to the sun that pays for it."""
    if not given.doubtful("reference_et") or given.site is None:
        return
    unit = given.units["reference_et"]
    days = given.days(given.values["reference_et"], np.sum)
    days = days[: len(given.day_edges) - 1]
    if not days.size or np.isnan(days).all():
        return
    top, _ = clear_sky_days(given.day_edges[: days.size + 1], given.site)
    # Water that all the sun at the top of the atmosphere would evaporate (FAO-56 eq. 20).
    most = np.maximum(terms.MM_PER_MJ * top, 1.0)
    share = days / most
    best = float(np.nanmax(share))
    few = np.sum(~np.isnan(days)) < _FEW
    other = "in" if unit in _MILLIMETRES or unit.startswith("mm") else "mm"
    tail = unit[2:] if unit.startswith(("mm/", "in/")) else ""
    if not (best < (0.01 if few else 0.02) or float(np.nanmedian(share)) > 1.3):
        return
    swapped = given.days(given.read_as("reference_et", other + tail), np.sum)[: days.size]
    if 0.03 <= float(np.nanmax(swapped / most)) <= 1.3:
        _ask(
            given,
            faults,
            ["reference_et"],
            [other + tail],
            f"the most in a day is {np.nanmax(days):.3g} mm as read in {unit}, and "
            f"{np.nanmax(swapped):.3g} mm if the numbers are in {other + tail}; the sun of "
            f"that season could evaporate {np.max(most):.0f} mm",
        )


# --- radiation -----------------------------------------------------------------------------------


def _doubt_radiation(given: Readings, faults: Faults) -> None:
    if not given.doubtful("solar_radiation"):
        return
    column, unit = given.values["solar_radiation"], given.units["solar_radiation"]
    if given.site is None:
        # Without a place only this is sure: a sun of a few W/m2 at its highest is no day's.
        brightest = float(np.nanmax(column)) / given.hours / 3.6e-3
        whole_day = given.hours <= 3.0 and column.size * given.hours >= _DAY_HOURS
        if unit == "w/m2" and whole_day and 0.3 < brightest < 6.0:
            other = np.nanmax(given.read_as("solar_radiation", "mj/m2"))
            _ask(
                given,
                faults,
                ["solar_radiation"],
                ["MJ/m2"],
                f"the brightest step has {brightest:.2g} W/m2 as read, a thousandth of the sun, "
                f"and {other:.2g} MJ/m2 if the numbers are in MJ/m2",
            )
        return
    best, most, dark = _best_days(given, column)
    if np.isnan(best) or dark <= best <= _BRIGHTEST:
        return
    fitting = units_of_sky(given)[:2]
    if fitting:
        shown = " or ".join(f"{value:.3g} MJ/m2 in {told}" for told, value in fitting)
        _ask(
            given,
            faults,
            ["solar_radiation"],
            [told for told, _ in fitting],
            f"the brightest day has {most:.3g} MJ/m2 as read in {unit}, {best:.2g} of a clear sky "
            f"there; it would be {shown}",
        )


def _best_days(given: Readings, radiation: Column) -> tuple[float, float, float]:
    """Best days of a column of radiation: against a clear sky, in MJ/m2, and how dark they may be.

    NaN where there are no days, or the sun hardly rises.
    """
    days = given.days(radiation, np.sum)[: len(given.day_edges) - 1]
    there = ~np.isnan(days)
    if there.any() and given.site is not None:
        _, clear = clear_sky_days(given.day_edges[: days.size + 1], given.site)
        there &= clear > 1.0
        if there.any():
            share = float(np.quantile(days[there] / clear[there], 0.9))
            few = there.sum() < _FEW
            return share, float(days[there].max()), _DARKEST_OF_FEW if few else _DARKEST
    return np.nan, np.nan, np.nan


def units_of_sky(given: Readings) -> list[tuple[str, float]]:
    """Units in which a column of radiation would suit the sky of its place.

    Parameters
    ----------
    given : Readings
        With solar radiation and a site.

    Returns
    -------
    list of tuple
        Unit, and the radiation of the brightest day in it [MJ m-2].
    """
    now = _best_days(given, given.values["solar_radiation"])[0]
    fitting = []
    for text in _RADIATION_UNITS:
        best, most, _ = _best_days(given, given.read_as("solar_radiation", text.lower()))
        if 0.25 <= best <= 1.15 and abs(best - now) > 1e-9:
            fitting.append((text, most))
    return fitting
