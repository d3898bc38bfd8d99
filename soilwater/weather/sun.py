"""Where the sun stands and what it sends above the air, by FAO-56 (Allen et al. 1998)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

SOLAR_CONSTANT = 0.0820
"""Solar constant [MJ m-2 min-1] (FAO-56 eq. 21)."""


_MINUTES_PER_DAY = 24.0 * 60.0


def day_of_year(time: Any) -> Any:
    """Day of the year [1], 1 January being 1, of a time: datetime64 values or a DataArray."""
    values = np.atleast_1d(np.asarray(time))
    day = np.asarray(pd.DatetimeIndex(values.ravel()).day_of_year, dtype=np.float64)
    day = day.reshape(values.shape)
    return time.copy(data=day) if isinstance(time, xr.DataArray) else day


def inverse_relative_distance(day: Any) -> Any:
    """Inverse relative distance of earth and sun [1] on a day of the year [1] (FAO-56 eq. 23)."""
    return 1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0)


def solar_declination(day: Any) -> Any:
    """Solar declination [rad] on a day of the year [1] (FAO-56 eq. 24)."""
    return 0.409 * np.sin(2.0 * np.pi * day / 365.0 - 1.39)


def sunset_hour_angle(latitude: Any, day: Any) -> Any:
    """Sunset hour angle [rad] at a latitude [deg] on a day of the year [1] (FAO-56 eq. 25).

    0 where the sun does not rise that day, pi where it does not set.
    """
    cosine = -np.tan(np.radians(latitude)) * np.tan(solar_declination(day))
    return np.arccos(np.minimum(np.maximum(cosine, -1.0), 1.0))


def daylight_hours(latitude: Any, day: Any) -> Any:
    """Possible sunshine [h] at a latitude [deg] on a day of the year [1] (FAO-56 eq. 34)."""
    return 24.0 / np.pi * sunset_hour_angle(latitude, day)


def extraterrestrial_radiation(latitude: Any, day: Any) -> Any:
    """Radiation at the top of the atmosphere [MJ m-2 day-1] (FAO-56 eq. 21).

    Parameters
    ----------
    latitude : float or array
        North positive [deg].
    day : float or array
        Day of the year [1].
    """
    phi, delta = np.radians(latitude), solar_declination(day)
    omega = sunset_hour_angle(latitude, day)
    geometry = omega * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(omega)
    return _MINUTES_PER_DAY / np.pi * SOLAR_CONSTANT * inverse_relative_distance(day) * geometry


def seasonal_time_correction(day: Any) -> Any:
    """Seasonal correction of solar time [h] on a day of the year [1] (FAO-56 eqs. 32 and 33)."""
    b = 2.0 * np.pi * (day - 81.0) / 364.0
    return 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)


def solar_time_angle(hour: Any, day: Any, longitude: Any, utc_offset: Any) -> Any:
    """Solar time angle [rad] at the middle of a period, 0 at solar noon (FAO-56 eq. 31).

    Parameters
    ----------
    hour : float or array
        Local standard time at the middle of the period [h].
    day : float or array
        Day of the year [1].
    longitude : float or array
        East positive [deg]; the paper counts west.
    utc_offset : float or array
        Local standard time minus UTC [h].
    """
    # 0.06667 h per degree is 1 h per 15 degrees, the paper's own rounding.
    east = 0.06667 * (longitude - 15.0 * utc_offset)
    return np.pi / 12.0 * (hour + east + seasonal_time_correction(day) - 12.0)


def extraterrestrial_radiation_of_period(
    latitude: Any, day: Any, time_angle: Any, hours: Any = 1.0
) -> Any:
    """Radiation at the top of the atmosphere in a period [MJ m-2] (FAO-56 eqs. 28 to 30).

    Parameters
    ----------
    latitude : float or array
        North positive [deg].
    day : float or array
        Day of the year [1].
    time_angle : float or array
        Solar time angle at the middle of the period [rad].
    hours : float or array, optional
        Length of the period [h].

    Returns
    -------
    float or array
        0 while the sun is below the horizon.
    """
    phi, delta = np.radians(latitude), solar_declination(day)
    omega = sunset_hour_angle(latitude, day)
    # Western local standard meridians can push the angle past midnight; bring it back.
    middle = (time_angle + np.pi) % (2.0 * np.pi) - np.pi
    half = np.pi * hours / 24.0
    begin = np.minimum(np.maximum(middle - half, -omega), omega)
    end = np.minimum(np.maximum(middle + half, -omega), omega)
    geometry = (end - begin) * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * (
        np.sin(end) - np.sin(begin)
    )
    scale = _MINUTES_PER_DAY / (2.0 * np.pi) * SOLAR_CONSTANT * inverse_relative_distance(day)
    return np.maximum(scale * geometry, 0.0)


def sun_elevation(latitude: Any, day: Any, time_angle: Any) -> Any:
    """Angle of the sun above the horizon [rad] (ASCE 2005; spherical trigonometry).

    Parameters
    ----------
    latitude : float or array
        North positive [deg].
    day : float or array
        Day of the year [1].
    time_angle : float or array
        Solar time angle [rad].
    """
    phi, delta = np.radians(latitude), solar_declination(day)
    sine = np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(time_angle)
    return np.arcsin(np.minimum(np.maximum(sine, -1.0), 1.0))
