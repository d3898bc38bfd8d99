"""Reference evapotranspiration of a table of weather, and what was assumed on the way.

Puts the terms of `soilwater.evapotranspiration` together for daily and shorter steps, after Allen,
Pereira, Raes & Smith (1998), FAO Irrigation and Drainage Paper 56 ("FAO-56"), and ASCE-EWRI (2005),
The ASCE standardized reference evapotranspiration equation ("ASCE 2005"), both from memory. A thing
that was not measured is replaced by the FAO-56 procedure for it, and the result says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import xarray as xr

from soilwater.weather import evapotranspiration as terms
from soilwater.weather import sun
from soilwater.words.errors import Faults, InputError, by_kind
from soilwater.words.forms import (
    DailyRadiation,
    Dates,
    Height,
    Radiation,
    Temperatures,
    VapourPressures,
    WindSpeeds,
)
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.several import number_of
from soilwater.words.units import number_to_house

DEFAULT_WIND_SPEED = 2.0
"""Wind speed at 2 m when none was measured [m/s]: average of 2000 stations (FAO-56, chapter 3)."""

# Below this sun elevation [rad] the ratio of measured to clear-sky radiation says nothing
# (ASCE 2005 eq. 45: about 17 degrees).
_LOW_SUN = 0.3
# Relative radiation of a night without any usable day beside it: middle of the 0.4-0.6 that
# FAO-56 (chapter 3, hourly net longwave) gives for humid climates.
_UNKNOWN_SKY = 0.5

Equation = Literal["fao56", "asce"]


@needs_all('Site(50.8, "100 m")')
@dataclass(frozen=True)
class Site:
    """Where a weather station stands.

    Parameters
    ----------
    latitude : float
        Degrees, north positive [deg].
    elevation : float or str
        Above sea level [m]; text with a unit such as ``"400 ft"`` is converted.
    longitude : float, optional
        Degrees, east positive [deg]; needed for steps shorter than a day.
    utc_offset : float, optional
        Local standard time minus UTC [h]; needed for steps shorter than a day.
    name : str, optional
        Shown to people.

    Raises
    ------
    InputError
        With every value out of range.

    Examples
    --------
    >>> Site(50.8, 100).elevation
    100.0
    """

    latitude: float
    elevation: float
    longitude: float | None = None
    utc_offset: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        faults = Faults(f'Site "{self.name}"' if self.name else "Site")
        elevation: float | None = None
        with faults.catching():
            elevation = _metres(self.elevation, "elevation")
        for label, value, low, high, unit in (
            ("latitude", self.latitude, -90.0, 90.0, "degrees, north positive"),
            ("longitude", self.longitude, -180.0, 180.0, "degrees, east positive"),
            ("utc_offset", self.utc_offset, -12.0, 14.0, "hours"),
            ("elevation", elevation, -450.0, 6000.0, "m"),
        ):
            optional = value is None and label != "latitude"
            if not optional and not low <= number_of(value) <= high:
                told = f"{value:g}" if isinstance(value, float) else by_kind(value)
                faults.add(f"{label} is {told}", allowed=f"{low:g} to {high:g} {unit}")
        faults.raise_if_any()
        object.__setattr__(self, "elevation", elevation)


@dataclass(frozen=True, eq=False)
class ReferenceET:
    """Reference evapotranspiration with what it was made from.

    Parameters
    ----------
    reference_et : array
        Evapotranspiration of the reference surface in each step [mm].
    net_radiation, soil_heat_flux, solar_radiation, clear_sky_radiation : array
        Radiation terms of each step [MJ m-2].
    vapour_pressure : array
        Actual vapour pressure [kPa].
    wind_speed : array
        Wind speed at 2 m [m/s].
    procedures : tuple of str
        What was assumed for things that were not measured, one sentence each.
    """

    reference_et: Any
    net_radiation: Any
    soil_heat_flux: Any
    solar_radiation: Any
    clear_sky_radiation: Any
    vapour_pressure: Any
    wind_speed: Any
    procedures: tuple[str, ...]


@mind_words()
def daily_reference_et(
    site: Site,
    time: Dates,
    *,
    temperature_max: Temperatures,
    temperature_min: Temperatures,
    vapour_pressure: VapourPressures | None = None,
    solar_radiation: DailyRadiation | None = None,
    wind_speed: WindSpeeds | None = None,
    wind_height: Height = 2.0,
    coastal: bool = False,
    equation: Equation = "fao56",
) -> ReferenceET:
    """Return daily reference evapotranspiration, with the FAO-56 procedures for what is missing.

    Parameters
    ----------
    site : Site
        Latitude and elevation.
    time : array of datetime64 or DataArray
        The days.
    temperature_max, temperature_min : array or DataArray
        Temperatures of each day [degC].
    vapour_pressure : array or DataArray, optional
        Actual vapour pressure [kPa]; from the lowest temperature when left out.
    solar_radiation : array or DataArray, optional
        Measured, or from sunshine [MJ m-2 day-1]; from the temperature range when left out.
    wind_speed : array or DataArray, optional
        Wind speed [m/s]; 2 m/s at 2 m when left out.
    wind_height : float or str, optional
        Height of the wind measurement above the grass [m].
    coastal : bool, optional
        Whether the site lies near a large water body; only used when radiation is missing.
    equation : {"fao56", "asce"}, optional
        FAO-56, or the ASCE 2005 short reference, whose cloudiness is bounded below as well.

    Returns
    -------
    ReferenceET
        In mm/day, with one sentence per assumption in ``procedures``.

    Raises
    ------
    InputError
        If a day is warmer at its lowest than at its highest, if a value is missing, or if the
        equation is unknown.
    """
    faults = Faults("Reference evapotranspiration")
    _check_equation(equation, faults)
    for label, values in (
        ("temperature_max", temperature_max),
        ("temperature_min", temperature_min),
        ("vapour_pressure", vapour_pressure),
        ("solar_radiation", solar_radiation),
        ("wind_speed", wind_speed),
    ):
        _check_present(label, values, faults)
    if not len(faults) and np.any(np.asarray(temperature_min > temperature_max)):
        first = int(np.argmax(np.asarray(temperature_min > temperature_max)))
        faults.add(
            "the lowest temperature is above the highest",
            where=f"position {first}",
            cure="check whether the two columns are swapped",
        )
    faults.raise_if_any()
    procedures: list[str] = []
    day = sun.day_of_year(time)
    extraterrestrial = sun.extraterrestrial_radiation(site.latitude, day)
    if solar_radiation is None:
        solar_radiation = terms.solar_radiation_from_temperature_range(
            temperature_max, temperature_min, extraterrestrial, coastal
        )
        place = "near a large water body" if coastal else "inland"
        procedures.append(
            f"solar radiation not measured: estimated from the temperature range, {place} "
            f"(FAO-56 eq. 50)"
        )
    if vapour_pressure is None:
        vapour_pressure = terms.vapour_pressure_from_minimum_temperature(temperature_min)
        procedures.append(
            "humidity not measured: dewpoint taken as the lowest temperature (FAO-56 eq. 48)"
        )
    wind, told = _wind_at_2m(wind_speed, wind_height, temperature_max)
    procedures += told
    clear_sky = terms.clear_sky_radiation(extraterrestrial, site.elevation)
    relative = _bounded(solar_radiation / np.maximum(clear_sky, 1e-9), equation)
    longwave = terms.net_longwave_radiation(
        temperature_max, temperature_min, vapour_pressure, relative
    )
    net = terms.net_shortwave_radiation(solar_radiation) - longwave
    pressure = terms.atmospheric_pressure(site.elevation)
    et = terms.penman_monteith_daily(
        net, temperature_max, temperature_min, wind, vapour_pressure, pressure
    )
    return ReferenceET(
        et, net, 0.0 * net, solar_radiation, clear_sky, vapour_pressure, wind, tuple(procedures)
    )


@mind_words()
def hourly_reference_et(
    site: Site,
    time: Dates,
    *,
    temperature: Temperatures,
    vapour_pressure: VapourPressures,
    solar_radiation: Radiation,
    wind_speed: WindSpeeds | None = None,
    wind_height: Height = 2.0,
    hours: float = 1.0,
    equation: Equation = "fao56",
) -> ReferenceET:
    """Return the reference evapotranspiration of steps of an hour or less.

    Nights, and hours with the sun lower than 0.3 rad (17 degrees), take the cloudiness of the last
    hour with a higher sun (ASCE 2005). Night values may be slightly below 0: dew.

    Parameters
    ----------
    site : Site
        Latitude, elevation, longitude and offset from UTC.
    time : array of datetime64, or DataArray with the dimension ``time``
        Start of each step, local standard time, in order.
    temperature : array or DataArray
        Mean of the step [degC]; time is the first axis of an array.
    vapour_pressure : array or DataArray
        Actual vapour pressure [kPa].
    solar_radiation : array or DataArray
        Solar radiation in the step [MJ m-2].
    wind_speed : array or DataArray, optional
        Wind speed [m/s]; 2 m/s at 2 m when left out.
    wind_height : float or str, optional
        Height of the wind measurement above the grass [m].
    hours : float, optional
        Length of a step [h], up to 1.
    equation : {"fao56", "asce"}, optional
        FAO-56, or the ASCE 2005 short reference.

    Returns
    -------
    ReferenceET
        In mm per step, radiation in MJ m-2 per step.

    Raises
    ------
    InputError
        If the site lacks a longitude or an offset from UTC, a value is missing, the step is longer
        than an hour, or the equation is unknown.
    """
    faults = Faults("Reference evapotranspiration")
    _check_equation(equation, faults)
    if site.longitude is None or site.utc_offset is None:
        faults.add(
            "the site has no longitude or utc_offset",
            cure="steps shorter than a day need both: Site(latitude, elevation, longitude, offset)",
        )
    if not 0.0 < hours <= 1.0:
        faults.add(
            f"the step is {hours:g} h",
            allowed="up to 1 h",
            cure="sum longer steps to days and use the daily equation",
        )
    for label, values in (
        ("temperature", temperature),
        ("vapour_pressure", vapour_pressure),
        ("solar_radiation", solar_radiation),
        ("wind_speed", wind_speed),
    ):
        _check_present(label, values, faults)
    faults.raise_if_any()
    day = sun.day_of_year(time)
    angle = sun.solar_time_angle(
        _hour_of_day(time) + hours / 2.0, day, site.longitude, site.utc_offset
    )
    extraterrestrial = sun.extraterrestrial_radiation_of_period(site.latitude, day, angle, hours)
    clear_sky = terms.clear_sky_radiation(extraterrestrial, site.elevation)
    usable = sun.sun_elevation(site.latitude, day, angle) >= _LOW_SUN
    relative, told = _carried_cloudiness(solar_radiation, clear_sky, usable)
    wind, told_wind = _wind_at_2m(wind_speed, wind_height, temperature)
    # The equations are per hour: rates inside, amounts of the step outside.
    solar = solar_radiation / hours
    longwave = terms.net_longwave_radiation_of_hour(
        temperature, vapour_pressure, _bounded(relative, equation)
    )
    net = terms.net_shortwave_radiation(solar) - longwave
    ground = terms.soil_heat_flux_of_hour(net)
    pressure = terms.atmospheric_pressure(site.elevation)
    equation_of_hour = (
        terms.penman_monteith_hourly if equation == "fao56" else terms.asce_short_hourly
    )
    et = equation_of_hour(net, temperature, wind, vapour_pressure, pressure, ground)
    return ReferenceET(
        et * hours,
        net * hours,
        ground * hours,
        solar_radiation,
        clear_sky,
        vapour_pressure,
        wind,
        (*told, *told_wind),
    )


def _check_equation(equation: str, faults: Faults) -> None:
    if equation not in ("fao56", "asce"):
        faults.add(f"equation is {equation!r}", allowed='"fao56" or "asce"')


def _check_present(label: str, values: Any, faults: Faults) -> None:
    if values is None:
        return
    missing = np.flatnonzero(~np.isfinite(np.asarray(values, dtype=np.float64)).ravel())
    if missing.size:
        faults.add(
            f"{missing.size} values are missing, the first at position {int(missing[0])}",
            where=label,
            cure="fill the gap in a step of its own first",
        )


def _bounded(relative: Any, equation: Equation) -> Any:
    """Solar over clear-sky radiation within the bounds of the equation."""
    # ASCE 2005 eq. 18 keeps the ratio within 0.3 and 1, FAO-56 only below 1.
    low = 0.3 if equation == "asce" else 0.0
    return np.minimum(np.maximum(relative, low), 1.0)


def _wind_at_2m(wind_speed: Any, height: Any, like: Any) -> tuple[Any, list[str]]:
    if wind_speed is None:
        told = f"wind not measured: {DEFAULT_WIND_SPEED:g} m/s at 2 m (FAO-56 chapter 3)"
        return 0.0 * like + DEFAULT_WIND_SPEED, [told]
    metres = _metres(height, "wind_height")
    if metres == 2.0:
        return wind_speed, []
    if metres <= 0.1:
        raise InputError(f"wind_height is {metres:g} m; allowed: above 0.1 m.")
    return terms.wind_speed_at_2m(wind_speed, metres), []


def _metres(value: Any, name: str) -> float:
    """Read a height: numbers are metres, as everywhere in FAO-56."""
    if isinstance(value, str):
        return number_to_house(value, "length", name) / 100.0
    return number_to_house(value, "fraction", name)


def _hour_of_day(time: Any) -> Any:
    values = np.atleast_1d(np.asarray(time)).astype("datetime64[ns]")
    hour = (values - values.astype("datetime64[D]")) / np.timedelta64(1, "h")
    return time.copy(data=hour) if isinstance(time, xr.DataArray) else hour


def _carried_cloudiness(solar: Any, clear_sky: Any, usable: Any) -> tuple[Any, list[str]]:
    """Relative radiation of each step, carried on from the last step with a usable sun."""
    told: list[str] = []
    if not np.any(np.asarray(usable)):
        told.append(
            f"the sun never stands high enough to judge cloudiness: relative radiation "
            f"{_UNKNOWN_SKY:g} (FAO-56 chapter 3)"
        )

    def carry(ratio: Any, good: Any) -> Any:
        # Time is the last axis here. Steps before the first good one look ahead to it.
        position = np.arange(good.shape[-1])
        last = np.maximum.accumulate(np.where(good, position, -1), axis=-1)
        first = np.argmax(good, axis=-1)[..., np.newaxis]
        source = np.where(last < 0, first, last)
        carried = np.take_along_axis(ratio, source, axis=-1)
        return np.where(good.any(axis=-1)[..., np.newaxis], carried, _UNKNOWN_SKY)

    ratio = np.minimum(solar / np.maximum(clear_sky, 1e-9), 1.0)
    good = usable & (ratio >= 0.0)
    if isinstance(ratio, xr.DataArray):
        kwargs: dict[str, Any] = {
            "input_core_dims": [["time"], ["time"]],
            "output_core_dims": [["time"]],
        }
        carried = xr.apply_ufunc(carry, ratio, good, **kwargs)
        return carried.transpose(*ratio.dims), told
    ratio, good = np.broadcast_arrays(ratio, good)
    carried = carry(np.moveaxis(ratio, 0, -1), np.moveaxis(good, 0, -1))
    return np.moveaxis(carried, -1, 0), told
