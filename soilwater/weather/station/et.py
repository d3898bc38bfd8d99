"""Reference evapotranspiration from whatever a station measured, saying which equation was used."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.weather import evapotranspiration as terms
from soilwater.weather import sun
from soilwater.weather.reference_et import (
    Equation,
    ReferenceET,
    Site,
    daily_reference_et,
    hourly_reference_et,
)
from soilwater.words.errors import Faults
from soilwater.words.times import hours_between

SOURCES = ("file", "fao56", "asce", "hargreaves")
"""Where reference evapotranspiration can come from."""

_DAY_HOURS = 24.0

Values = Mapping[str, NDArray[np.float64]]
Result = tuple[NDArray[np.float64], list[str], list[str]]


def from_record(
    values: Values,
    edges: NDArray[np.datetime64],
    site: Site | None,
    choice: str,
    *,
    wind_height: Any,
    coastal: bool,
    faults: Faults,
) -> Result:
    """Take reference evapotranspiration from its column, or compute it.

    Parameters
    ----------
    values : mapping of str to array, shape (n,)
        Quantities of a station record, NaN where missing.
    edges : array of datetime64, shape (n + 1,)
        Step boundaries.
    site : Site or None
        Needed for every equation.
    choice : {"file", "fao56", "asce", "hargreaves"}
        Where it comes from.
    wind_height : float or str
        Height of the wind measurement [m].
    coastal : bool
        For radiation estimated from temperature.
    faults : Faults
        Takes note of what is missing; the result is then of no use.

    Returns
    -------
    reference_et : array, shape (n,)
        Amount of each step [mm]; NaN where something it needs is missing.
    used : list of str
        Quantities it was made from.
    notes : list of str
        What was assumed.
    """
    nothing = np.full(len(edges) - 1, np.nan)
    if choice not in SOURCES:
        faults.add(f"reference_et is {choice!r}", allowed=", ".join(f'"{s}"' for s in SOURCES))
        return nothing, [], []
    if choice == "file":
        if "reference_et" not in values:
            faults.add(
                "there is no column of reference evapotranspiration",
                allowed=f"found: {', '.join(values)}",
                cure='compute it: give site=Site(latitude, elevation) and reference_et="fao56"',
            )
            return nothing, [], []
        return values["reference_et"], ["reference_et"], []
    if site is None:
        faults.add(
            f'reference_et="{choice}" needs to know where the station stands',
            cure="give site=Site(latitude, elevation)",
        )
        return nothing, [], []
    hours = float(hours_between(edges[0], edges[1]))
    if choice == "hargreaves":
        return _hargreaves(values, edges, site, hours, faults)
    equation: Equation = "fao56" if choice == "fao56" else "asce"
    if hours == _DAY_HOURS:
        return _daily(values, edges, site, equation, wind_height, coastal, faults)
    return _hourly(values, edges, site, equation, wind_height, hours, faults)


def _need(values: Values, names: tuple[str, ...], what: str, faults: Faults) -> bool:
    lacking = [name for name in names if name not in values]
    if lacking:
        faults.add(
            f"{what} needs {', '.join(lacking)}",
            allowed=f"found: {', '.join(values)}",
            cure=f'name the column: columns={{"{lacking[0]}": "its header"}}',
        )
    return not lacking


_EXTREMES = ("maximum_air_temperature", "minimum_air_temperature")


def _hargreaves(
    values: Values, edges: NDArray[np.datetime64], site: Site, hours: float, faults: Faults
) -> Result:
    nothing = np.full(len(edges) - 1, np.nan)
    if hours != _DAY_HOURS:
        faults.add(f'"hargreaves" is for days, the step is {hours:g} h', cure='use "fao56"')
        return nothing, [], []
    if not _need(values, _EXTREMES, "the Hargreaves equation", faults):
        return nothing, [], []
    high, low = (values[q] for q in _EXTREMES)
    top = sun.extraterrestrial_radiation(site.latitude, sun.day_of_year(edges[:-1]))
    et = np.maximum(terms.hargreaves(high, low, top), 0.0)
    return et, list(_EXTREMES), ["reference evapotranspiration: Hargreaves (FAO-56 eq. 52)"]


def _daily(
    values: Values,
    edges: NDArray[np.datetime64],
    site: Site,
    equation: Equation,
    wind_height: Any,
    coastal: bool,
    faults: Faults,
) -> Result:
    nothing = np.full(len(edges) - 1, np.nan)
    if not _need(values, _EXTREMES, "the daily equation", faults):
        return nothing, [], []
    high, low = (values[q] for q in _EXTREMES)
    day = sun.day_of_year(edges[:-1])
    used, notes = list(_EXTREMES), [f"reference evapotranspiration: {_NAMES[equation]}, daily"]
    vapour, humidity, how = _daily_vapour(values, high, low)
    radiation = None
    if "solar_radiation" in values:
        radiation, sky = values["solar_radiation"], ["solar_radiation"]
    elif "sunshine" in values:
        top = sun.extraterrestrial_radiation(site.latitude, day)
        possible = sun.daylight_hours(site.latitude, day)
        radiation = terms.solar_radiation_from_sunshine(values["sunshine"], possible, top)
        sky = ["sunshine"]
        notes.append("solar radiation from hours of sunshine (FAO-56 eq. 35)")
    else:
        sky = []
    used += [*humidity, *sky]
    notes += how
    wind = values.get("wind_speed")
    if wind is not None:
        used.append("wind_speed")
    good = np.logical_and.reduce([~np.isnan(values[q]) for q in used])
    if not good.any():
        return nothing, used, notes
    result = daily_reference_et(
        site,
        edges[:-1][good],
        temperature_max=high[good],
        temperature_min=low[good],
        vapour_pressure=None if vapour is None else vapour[good],
        solar_radiation=None if radiation is None else radiation[good],
        wind_speed=None if wind is None else wind[good],
        wind_height=wind_height,
        coastal=coastal,
        equation=equation,
    )
    return _finish(nothing, good, result.reference_et, used, [*notes, *result.procedures])


def _daily_vapour(
    values: Values, high: NDArray[np.float64], low: NDArray[np.float64]
) -> tuple[Any, list[str], list[str]]:
    """Vapour pressure by the best of the measurements at hand, in the order FAO-56 prefers."""
    if "vapour_pressure" in values:
        return values["vapour_pressure"], ["vapour_pressure"], []
    if "dew_point" in values:
        pressure = terms.vapour_pressure_from_dewpoint(values["dew_point"])
        return pressure, ["dew_point"], ["vapour pressure from the dew point (FAO-56 eq. 14)"]
    pair = ["maximum_relative_humidity", "minimum_relative_humidity"]
    if all(q in values for q in pair):
        wet, dry = (100.0 * values[q] for q in pair)
        pressure = terms.vapour_pressure_from_humidity_range(high, low, wet, dry)
        return pressure, pair, ["vapour pressure from the range of humidity (FAO-56 eq. 17)"]
    if pair[0] in values:
        pressure = terms.vapour_pressure_from_maximum_humidity(low, 100.0 * values[pair[0]])
        return pressure, pair[:1], ["vapour pressure from the highest humidity (FAO-56 eq. 18)"]
    if "relative_humidity" in values:
        mean = 100.0 * values["relative_humidity"]
        pressure = terms.vapour_pressure_from_mean_humidity(high, low, mean)
        how = "vapour pressure from the mean humidity (FAO-56 eq. 19)"
        return pressure, ["relative_humidity"], [how]
    return None, [], []


def _hourly(
    values: Values,
    edges: NDArray[np.datetime64],
    site: Site,
    equation: Equation,
    wind_height: Any,
    hours: float,
    faults: Faults,
) -> Result:
    nothing = np.full(len(edges) - 1, np.nan)
    needed = ("air_temperature", "solar_radiation")
    if not _need(values, needed, "the hourly equation", faults):
        return nothing, [], []
    used, notes = list(needed), [f"reference evapotranspiration: {_NAMES[equation]}, hourly"]
    temperature = values["air_temperature"]
    if "vapour_pressure" in values:
        vapour = values["vapour_pressure"]
        used.append("vapour_pressure")
    elif "dew_point" in values:
        vapour = terms.vapour_pressure_from_dewpoint(values["dew_point"])
        used.append("dew_point")
        notes.append("vapour pressure from the dew point (FAO-56 eq. 14)")
    elif "relative_humidity" in values:
        # FAO-56 eq. 54.
        vapour = terms.saturation_vapour_pressure(temperature) * values["relative_humidity"]
        used.append("relative_humidity")
    else:
        faults.add(
            "the hourly equation needs relative_humidity, dew_point or vapour_pressure",
            allowed=f"found: {', '.join(values)}",
            cure="sum the file to days, where humidity can be estimated",
        )
        return nothing, [], []
    wind = values.get("wind_speed")
    if wind is not None:
        used.append("wind_speed")
    good = np.logical_and.reduce([~np.isnan(values[q]) for q in used])
    if not good.any():
        return nothing, used, notes
    found: list[ReferenceET] = []
    with faults.catching():
        result = hourly_reference_et(
            site,
            edges[:-1][good],
            temperature=temperature[good],
            vapour_pressure=vapour[good],
            solar_radiation=values["solar_radiation"][good],
            wind_speed=None if wind is None else wind[good],
            wind_height=wind_height,
            hours=hours,
            equation=equation,
        )
        found.append(result)
    if not found:
        return nothing, used, notes
    return _finish(nothing, good, found[0].reference_et, used, [*notes, *found[0].procedures])


_NAMES: dict[str, str] = {
    "fao56": "FAO-56 Penman-Monteith",
    "asce": "ASCE 2005 short reference",
}


def _finish(
    nothing: NDArray[np.float64],
    good: NDArray[np.bool_],
    computed: NDArray[np.float64],
    used: list[str],
    notes: list[str],
) -> Result:
    """Put the steps with data back in place; dew is no demand."""
    dew = -float(computed[computed < 0.0].sum())
    if dew > 0.0:
        notes = [*notes, f"{dew:.1f} mm of dew (negative evapotranspiration) set to 0"]
    nothing[good] = np.maximum(computed, 0.0)
    return nothing, used, notes
