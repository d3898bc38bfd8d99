"""Reference evapotranspiration of short grass from weather.

The equations are those of Allen, Pereira, Raes & Smith (1998), Crop evapotranspiration, FAO
Irrigation and Drainage Paper 56 ("FAO-56"; equation numbers below are of that paper), and of
ASCE-EWRI (2005), The ASCE standardized reference evapotranspiration equation ("ASCE 2005"), both
written from memory.

The functions of single terms take plain numbers, numpy arrays or xarray DataArrays in the units of
FAO-56 given in brackets, because that is how its tables and examples read; they convert nothing.
`soilwater.reference_et` puts them together.
"""

from __future__ import annotations

from typing import Any

import numpy as np

STEFAN_BOLTZMANN = 4.903e-9
"""Stefan-Boltzmann constant [MJ K-4 m-2 day-1] (FAO-56 eq. 39)."""

MM_PER_MJ = 0.408
"""Water evaporated by 1 MJ m-2 at a latent heat of 2.45 MJ/kg [mm] (FAO-56 eq. 20)."""

_ALBEDO = 0.23  # of the grass reference, FAO-56 eq. 38
_KELVIN = 273.16  # as FAO-56 eq. 39 writes it


# --- air -----------------------------------------------------------------------------------------


def atmospheric_pressure(elevation: Any) -> Any:
    """Atmospheric pressure [kPa] at an elevation [m] (FAO-56 eq. 7)."""
    return 101.3 * ((293.0 - 0.0065 * elevation) / 293.0) ** 5.26


def psychrometric_constant(pressure: Any) -> Any:
    """Psychrometric constant [kPa/degC] at an atmospheric pressure [kPa] (FAO-56 eq. 8)."""
    return 0.665e-3 * pressure


def saturation_vapour_pressure(temperature: Any) -> Any:
    """Saturation vapour pressure [kPa] over water at a temperature [degC] (FAO-56 eq. 11)."""
    return 0.6108 * np.exp(17.27 * temperature / (temperature + 237.3))


def mean_saturation_vapour_pressure(temperature_max: Any, temperature_min: Any) -> Any:
    """Mean saturation vapour pressure of a day [kPa] (FAO-56 eq. 12).

    From its temperature max and temperature min [degC].
    """
    high = saturation_vapour_pressure(temperature_max)
    return (high + saturation_vapour_pressure(temperature_min)) / 2.0


def vapour_pressure_slope(temperature: Any) -> Any:
    """Slope of saturation vapour pressure [kPa/degC] at a temperature [degC] (FAO-56 eq. 13)."""
    return 4098.0 * saturation_vapour_pressure(temperature) / (temperature + 237.3) ** 2


def vapour_pressure_from_dewpoint(dewpoint: Any) -> Any:
    """Actual vapour pressure [kPa] from the dewpoint [degC] (FAO-56 eq. 14)."""
    return saturation_vapour_pressure(dewpoint)


def vapour_pressure_from_psychrometer(
    dry_bulb: Any, wet_bulb: Any, pressure: Any, coefficient: float = 0.000662
) -> Any:
    """Actual vapour pressure from a wet and a dry thermometer (FAO-56 eqs. 15 and 16).

    Parameters
    ----------
    dry_bulb, wet_bulb : float or array
        Temperatures [degC].
    pressure : float or array
        Atmospheric pressure [kPa].
    coefficient : float, optional
        0.000662 ventilated, 0.000800 naturally ventilated, 0.001200 indoors [1/degC].

    Returns
    -------
    float or array
        Actual vapour pressure [kPa].
    """
    return saturation_vapour_pressure(wet_bulb) - coefficient * pressure * (dry_bulb - wet_bulb)


def vapour_pressure_from_humidity_range(
    temperature_max: Any, temperature_min: Any, humidity_max: Any, humidity_min: Any
) -> Any:
    """Actual vapour pressure from the extremes of temperature and humidity (FAO-56 eq. 17).

    Parameters
    ----------
    temperature_max, temperature_min : float or array
        Temperatures of the day [degC].
    humidity_max, humidity_min : float or array
        Relative humidities of the day [%].

    Returns
    -------
    float or array
        Actual vapour pressure [kPa].
    """
    at_dawn = saturation_vapour_pressure(temperature_min) * humidity_max / 100.0
    at_noon = saturation_vapour_pressure(temperature_max) * humidity_min / 100.0
    return (at_dawn + at_noon) / 2.0


def vapour_pressure_from_maximum_humidity(temperature_min: Any, humidity_max: Any) -> Any:
    """Actual vapour pressure [kPa] from the highest humidity of a day (FAO-56 eq. 18).

    From temperature min [degC] and humidity max [%].
    """
    return saturation_vapour_pressure(temperature_min) * humidity_max / 100.0


def vapour_pressure_from_mean_humidity(
    temperature_max: Any, temperature_min: Any, humidity_mean: Any
) -> Any:
    """Actual vapour pressure [kPa] from the mean humidity of a day (FAO-56 eq. 19).

    From temperature max and temperature min [degC] and humidity mean [%].
    """
    saturated = mean_saturation_vapour_pressure(temperature_max, temperature_min)
    return saturated * humidity_mean / 100.0


def vapour_pressure_from_minimum_temperature(temperature_min: Any) -> Any:
    """Actual vapour pressure [kPa] when humidity was not measured (FAO-56 eq. 48).

    Takes the dewpoint to be the temperature min of the day [degC], as over well-watered grass;
    in dry country the true value is lower.
    """
    return saturation_vapour_pressure(temperature_min)


def wind_speed_at_2m(wind_speed: Any, height: Any) -> Any:
    """Wind speed at 2 m [m/s] from that measured at a height [m] over grass (FAO-56 eq. 47)."""
    return wind_speed * 4.87 / np.log(67.8 * height - 5.42)


# --- sun and sky ---------------------------------------------------------------------------------


def solar_radiation_from_sunshine(
    sunshine: Any, possible: Any, extraterrestrial: Any, a: float = 0.25, b: float = 0.50
) -> Any:
    """Solar radiation from hours of bright sunshine (Angstrom's formula, FAO-56 eq. 35).

    Parameters
    ----------
    sunshine : float or array
        Bright sunshine [h].
    possible : float or array
        Possible sunshine [h].
    extraterrestrial : float or array
        Radiation at the top of the atmosphere [MJ m-2 day-1].
    a, b : float, optional
        Share reaching the ground under full cloud, and the further share under a clear sky [1].

    Returns
    -------
    float or array
        Solar radiation [MJ m-2 day-1].
    """
    return (a + b * sunshine / possible) * extraterrestrial


def solar_radiation_from_temperature_range(
    temperature_max: Any, temperature_min: Any, extraterrestrial: Any, coastal: bool = False
) -> Any:
    """Solar radiation when it was not measured (FAO-56 eq. 50, after Hargreaves).

    Parameters
    ----------
    temperature_max, temperature_min : float or array
        Temperatures of the day [degC].
    extraterrestrial : float or array
        Radiation at the top of the atmosphere [MJ m-2 day-1].
    coastal : bool, optional
        Coefficient 0.19 near a large water body instead of 0.16 inland [degC-0.5].

    Returns
    -------
    float or array
        Solar radiation, at most that of a clear sky near sea level (0.75 of the
        extraterrestrial) [MJ m-2 day-1].
    """
    coefficient = 0.19 if coastal else 0.16
    estimate = coefficient * np.sqrt(temperature_max - temperature_min) * extraterrestrial
    return np.minimum(estimate, 0.75 * extraterrestrial)


def clear_sky_radiation(extraterrestrial: Any, elevation: Any) -> Any:
    """Solar radiation under a clear sky [MJ m-2] at an elevation [m] (FAO-56 eq. 37).

    From the extraterrestrial radiation [MJ m-2].
    """
    return (0.75 + 2e-5 * elevation) * extraterrestrial


def net_shortwave_radiation(solar_radiation: Any) -> Any:
    """Solar radiation kept by the grass reference of albedo 0.23 [MJ m-2] (FAO-56 eq. 38)."""
    return (1.0 - _ALBEDO) * solar_radiation


def net_longwave_radiation(
    temperature_max: Any, temperature_min: Any, vapour_pressure: Any, relative_radiation: Any
) -> Any:
    """Net outgoing longwave radiation of a day [MJ m-2 day-1] (FAO-56 eq. 39).

    Parameters
    ----------
    temperature_max, temperature_min : float or array
        Temperatures of the day [degC].
    vapour_pressure : float or array
        Actual vapour pressure [kPa].
    relative_radiation : float or array
        Solar over clear-sky radiation [1]; more than 1 is taken as 1.
    """
    emitted = STEFAN_BOLTZMANN * (
        ((temperature_max + _KELVIN) ** 4 + (temperature_min + _KELVIN) ** 4) / 2.0
    )
    cloud = 1.35 * np.minimum(relative_radiation, 1.0) - 0.35
    return emitted * (0.34 - 0.14 * np.sqrt(vapour_pressure)) * cloud


def net_longwave_radiation_of_hour(
    temperature: Any, vapour_pressure: Any, relative_radiation: Any
) -> Any:
    """Net outgoing longwave radiation of an hour [MJ m-2 h-1] (FAO-56 eq. 39, constant over 24).

    Parameters
    ----------
    temperature : float or array
        Mean of the hour [degC].
    vapour_pressure : float or array
        Actual vapour pressure [kPa].
    relative_radiation : float or array
        Solar over clear-sky radiation [1]; at night that of the late afternoon before.
    """
    daily = net_longwave_radiation(temperature, temperature, vapour_pressure, relative_radiation)
    return daily / 24.0


def soil_heat_flux_of_month(temperature_before: Any, temperature_after: Any) -> Any:
    """Monthly soil heat flux [MJ m-2 day-1] from the months around it (FAO-56 eq. 43).

    From the mean temperature before and temperature after it [degC].
    """
    return 0.07 * (temperature_after - temperature_before)


def soil_heat_flux_since_month(temperature_before: Any, temperature: Any) -> Any:
    """Monthly soil heat flux [MJ m-2 day-1] when the next month is unknown (FAO-56 eq. 44).

    From the mean temperature before, in the last month, and the temperature of this one [degC].
    """
    return 0.14 * (temperature - temperature_before)


def soil_heat_flux_of_hour(net_radiation: Any) -> Any:
    """Hourly soil heat flux [MJ m-2 h-1] under grass (FAO-56 eqs. 45 and 46).

    A tenth of the net radiation [MJ m-2 h-1] by day, half of it by night; day is taken to be
    while net radiation is above 0 (ASCE 2005).
    """
    return net_radiation * (0.5 - 0.4 * (net_radiation > 0.0))


# --- evapotranspiration --------------------------------------------------------------------------


def penman_monteith_daily(
    net_radiation: Any,
    temperature_max: Any,
    temperature_min: Any,
    wind_speed: Any,
    vapour_pressure: Any,
    pressure: Any,
    soil_heat_flux: Any = 0.0,
) -> Any:
    """Daily reference evapotranspiration [mm/day] (FAO-56 eq. 6).

    The ASCE 2005 short reference has the same form and constants at the daily step.

    Parameters
    ----------
    net_radiation, soil_heat_flux : float or array
        Net radiation and soil heat flux, 0 for a day [MJ m-2 day-1].
    temperature_max, temperature_min : float or array
        Temperatures of the day [degC].
    wind_speed : float or array
        At 2 m [m/s].
    vapour_pressure, pressure : float or array
        Actual vapour pressure and atmospheric pressure [kPa].
    """
    mean = (temperature_max + temperature_min) / 2.0
    saturated = mean_saturation_vapour_pressure(temperature_max, temperature_min)
    deficit = saturated - vapour_pressure
    energy = net_radiation - soil_heat_flux
    return _combination(energy, mean, wind_speed, deficit, pressure, 900.0, 0.34)


def penman_monteith_hourly(
    net_radiation: Any,
    temperature: Any,
    wind_speed: Any,
    vapour_pressure: Any,
    pressure: Any,
    soil_heat_flux: Any,
) -> Any:
    """Hourly reference evapotranspiration [mm/h] (FAO-56 eq. 53).

    Parameters
    ----------
    net_radiation, soil_heat_flux : float or array
        Net radiation and soil heat flux [MJ m-2 h-1].
    temperature : float or array
        Mean of the hour [degC].
    wind_speed : float or array
        At 2 m [m/s].
    vapour_pressure, pressure : float or array
        Actual vapour pressure and atmospheric pressure [kPa].
    """
    deficit = saturation_vapour_pressure(temperature) - vapour_pressure
    energy = net_radiation - soil_heat_flux
    return _combination(energy, temperature, wind_speed, deficit, pressure, 37.0, 0.34)


def asce_short_hourly(
    net_radiation: Any,
    temperature: Any,
    wind_speed: Any,
    vapour_pressure: Any,
    pressure: Any,
    soil_heat_flux: Any,
) -> Any:
    """Hourly short-reference evapotranspiration [mm/h] (ASCE 2005 eq. 1 and table 1).

    Numerator constant 37; denominator constant 0.24 by day (net radiation above 0), 0.96 by night.

    Parameters
    ----------
    net_radiation, soil_heat_flux : float or array
        Net radiation and soil heat flux [MJ m-2 h-1].
    temperature : float or array
        Mean of the hour [degC].
    wind_speed : float or array
        At 2 m [m/s].
    vapour_pressure, pressure : float or array
        Actual vapour pressure and atmospheric pressure [kPa].
    """
    deficit = saturation_vapour_pressure(temperature) - vapour_pressure
    energy = net_radiation - soil_heat_flux
    resistance = 0.96 - 0.72 * (net_radiation > 0.0)
    return _combination(energy, temperature, wind_speed, deficit, pressure, 37.0, resistance)


def hargreaves(temperature_max: Any, temperature_min: Any, extraterrestrial: Any) -> Any:
    """Daily reference evapotranspiration from temperature alone [mm/day] (FAO-56 eq. 52).

    Hargreaves & Samani (1985), Appl. Eng. Agric. 1:96-99. Steady over weeks, rough for a day.

    Parameters
    ----------
    temperature_max, temperature_min : float or array
        Temperatures of the day [degC].
    extraterrestrial : float or array
        Radiation at the top of the atmosphere [MJ m-2 day-1].
    """
    mean = (temperature_max + temperature_min) / 2.0
    spread = np.sqrt(temperature_max - temperature_min)
    return 0.0023 * (mean + 17.8) * spread * MM_PER_MJ * extraterrestrial


def _combination(
    energy: Any,
    temperature: Any,
    wind_speed: Any,
    deficit: Any,
    pressure: Any,
    numerator: float,
    denominator: Any,
) -> Any:
    """Combine the energy and the drying term (FAO-56 eqs. 6 and 53, ASCE 2005 eq. 1)."""
    slope = vapour_pressure_slope(temperature)
    gamma = psychrometric_constant(pressure)
    by_energy = MM_PER_MJ * slope * energy
    by_drying = gamma * numerator / (temperature + 273.0) * wind_speed * deficit
    return (by_energy + by_drying) / (slope + gamma * (1.0 + denominator * wind_speed))
