"""Temperature, humidity and wind in units that the physics of a whole column speaks against."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.weather import evapotranspiration as terms
from soilwater.weather import sun
from soilwater.weather.reference_et import Site
from soilwater.weather.station.columns import QUANTITIES
from soilwater.weather.station.et import from_record
from soilwater.weather.station.readings import Column, Readings, ask_unit
from soilwater.words.errors import Faults

_DAY_HOURS = 24.0
_CHUNK_DAYS = 30
_FEW = 3

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

_DAYS_OF_DEMAND = 5
# Steps of wind that are not whole numbers by chance; how well the demand of a file is that of its
# own columns where they are read right, and how far it is off where they are not.
_MANY, _AGREES, _OFF = 24, 0.015, 0.08

# Mean wind [m/s] of a record below which no place is calm enough (our own choice).
_STILLEST = 1.0

# Mean wind of days [m/s] beyond that of the windiest coasts (from memory).
_WINDIEST = 13.0


def doubt_air(given: Readings, faults: Faults) -> None:
    """Ask about temperatures, humidity and wind.

    Parameters
    ----------
    given : Readings
        The file as it was read.
    faults : Faults
        Takes the questions.
    """
    _doubt_temperature(given, faults)
    _doubt_moist_air(given, faults)
    _doubt_wind(given, faults)


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
    ask_unit(
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
            ask_unit(
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
            ask_unit(
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
    if _asks_about_counts(given, column, faults) or _asks_about_demand(given, faults):
        return
    mean = float(np.nanmean(column))
    slower = [
        unit
        for unit in ("km/h", "mph")
        if np.nanmean(given.read_as("wind_speed", unit)) < min(_WINDIEST, 0.9 * mean)
    ]
    if mean > _WINDIEST and slower and column.size * given.hours >= 2 * _DAY_HOURS:
        read = [f"{np.nanmean(given.read_as('wind_speed', u)):.1f} m/s in {u}" for u in slower]
        ask_unit(
            given,
            faults,
            ["wind_speed"],
            slower,
            f"the mean is {mean:.1f} m/s as read in {given.units['wind_speed']}, a gale for days; "
            f"it would be {' or '.join(read)}",
        )


def _asks_about_counts(given: Readings, column: Column, faults: Faults) -> bool:
    """Ask where every wind is a whole number of m/s: knots, mph and km/h are counted so."""
    known = column[~np.isnan(column)]
    if given.units["wind_speed"] != "m/s" or known.size < _MANY or known.max() < _FEW:
        return False
    if not np.all(known == np.round(known)):
        return False
    means = {u: float(np.nanmean(given.read_as("wind_speed", u))) for u in ("mph", "km/h", "kn")}
    others = [unit for unit, mean in means.items() if mean >= _STILLEST]
    if not others:
        return False
    read = [f"{means[unit]:.1f} in {unit}" for unit in others]
    ask_unit(
        given,
        faults,
        ["wind_speed"],
        others,
        f"every wind is a whole number, of which the mean is {known.mean():.1f} m/s as read, but "
        f"{', '.join(read)}",
    )
    return True


def _asks_about_demand(given: Readings, faults: Faults) -> bool:
    """Ask where the demand of the file is the one of its own air with wind in another unit."""
    needed = {"reference_et", "solar_radiation", "wind_speed"}
    if given.site is None or given.hours != _DAY_HOURS or not needed <= set(given.values):
        return False
    told = given.values["reference_et"]

    def apart(unit: str) -> float:
        wind = given.read_as("wind_speed", unit)
        unread = Faults("")
        computed, _, _ = from_record(
            {**given.values, "wind_speed": wind}, given.edges, given.site, "fao56",
            wind_height=2.0, coastal=False, faults=unread,
        )  # fmt: skip
        there = (computed > 0.5) & (told > 0.5)
        if unread or there.sum() < _DAYS_OF_DEMAND:
            return np.inf
        return float(np.quantile(np.abs(np.log(computed[there] / told[there])), 0.9))

    unit = given.units["wind_speed"]
    now = apart(unit)
    if not _OFF < now < np.inf:
        return False
    others = {each: apart(each) for each in ("m/s", "mph", "km/h", "kn") if each != unit}
    best = min(others, key=lambda each: others[each])
    if others[best] > _AGREES:
        return False
    mean = np.nanmean(given.read_as("wind_speed", best))
    ask_unit(
        given,
        faults,
        ["wind_speed"],
        [best],
        f"the demand of the file is that of its own air, sun and wind (FAO-56) where the wind is "
        f"in {best}, {mean:.1f} m/s in the mean; as read in {unit} it would be off by "
        f"{np.expm1(now):.0%}",
    )
    return True
