"""Invented weather stations of very different places, for what a reader must let pass.

Sun after FAO-56 (Allen et al. 1998); temperatures, humidity, wind and rain are rough courses with
noise, to the order of magnitude of such places.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from soilwater.weather import evapotranspiration as terms
from soilwater.weather import sun
from soilwater.weather.reference_et import Site


@dataclass(frozen=True)
class Place:
    """A station and its season: mean and daily range [degC], humidity [%], sky, wind [m/s], rain.

    `sky` is the share of a clear sky on average, `fog` what morning fog takes of it until late
    morning, `wet` the share of days with rain and `rain` its mean on such a day [mm].
    """

    site: Site
    start: str
    mean: float
    swing: float
    humidity: tuple[float, float]
    sky: float
    wind: float
    wet: float
    rain: float
    fog: float = 0.0


PLACES = {
    "desert in July": Place(
        Site(33.4, 340, -112.0, -7), "2026-07-01", 36, 14, (8, 35), 0.97, 3, 0.05, 8
    ),
    "desert in January": Place(
        Site(24.5, 20, 54.4, 4), "2026-01-05", 19, 10, (35, 85), 0.9, 3, 0.1, 6
    ),
    "monsoon": Place(Site(11.0, 30, 76.0, 5.5), "2026-07-01", 26.5, 5, (78, 98), 0.4, 3, 0.9, 55),
    "humid tropics": Place(
        Site(1.3, 15, 103.8, 8), "2026-11-01", 27, 7, (62, 98), 0.65, 1.5, 0.6, 18
    ),
    "cold spring": Place(
        Site(64.8, 140, -147.7, -9), "2026-04-05", -4, 12, (40, 85), 0.75, 1.5, 0.1, 1
    ),
    "cold winter": Place(
        Site(53.5, 670, -113.5, -7), "2026-01-10", -19, 9, (60, 85), 0.6, 3, 0.2, 1
    ),
    "far north in June": Place(
        Site(69.6, 10, 18.9, 1), "2026-06-10", 9, 5, (60, 95), 0.5, 3, 0.4, 3
    ),
    "foggy coast": Place(
        Site(37.8, 20, -122.5, -8), "2026-07-01", 13.5, 4, (75, 100), 0.7, 5, 0.05, 0.4, 0.75
    ),
    "windy links in March": Place(
        Site(57.0, 10, -2.1, 0), "2026-03-01", 5, 4, (65, 95), 0.45, 9, 0.6, 5
    ),
    "high plateau": Place(
        Site(-16.5, 3800, -68.2, -4), "2026-01-05", 9, 11, (40, 90), 0.7, 3, 0.5, 6
    ),
    "southern winter": Place(
        Site(-37.8, 30, 145.0, 10), "2026-07-01", 9.5, 8, (55, 95), 0.5, 4, 0.45, 4
    ),
    "oven by the sea": Place(
        Site(25.3, 10, 51.5, 3), "2026-08-01", 36, 7, (35, 80), 0.9, 4, 0.0, 0
    ),
}


def hours_at(place: Place, days: int = 14, seed: int = 1) -> pd.DataFrame:
    """Hourly table of a place, stamps at the end of each hour, local standard time."""
    rng = np.random.default_rng(seed)
    site = place.site
    begin = pd.date_range(place.start, periods=24 * days, freq="1h")
    clock = begin.hour.to_numpy() + 0.5
    day = sun.day_of_year(begin.to_numpy())
    angle = sun.solar_time_angle(clock, day, site.longitude, site.utc_offset)
    top = sun.extraterrestrial_radiation_of_period(site.latitude, day, angle, 1.0)
    by_day = np.clip(place.sky + 0.25 * rng.standard_normal(days), 0.12, 1.0)
    sky = np.clip(np.repeat(by_day, 24) + 0.08 * rng.standard_normal(24 * days), 0.08, 1.05)
    sky = sky * np.where((clock < 11) & (place.fog > 0), 1.0 - place.fog, 1.0)
    solar = terms.clear_sky_radiation(top, site.elevation) * sky / 3.6e-3
    warm = np.cos(angle - 2.0 * np.pi * 2.5 / 24.0)
    drift = np.repeat(np.cumsum(rng.standard_normal(days)), 24)
    air = place.mean + place.swing / 2.0 * warm + drift - drift.mean()
    dry, damp = place.humidity
    humidity = np.clip(
        (dry + damp) / 2 - (damp - dry) / 2 * warm + rng.normal(0, 2, 24 * days), 4, 100
    )
    rain = np.zeros(24 * days)
    for i in np.flatnonzero(rng.random(days) < place.wet):
        length = int(rng.integers(2, 7))
        first = 24 * i + int(rng.integers(0, 24 - length))
        shares = rng.dirichlet(np.ones(length))
        rain[first : first + length] = np.minimum(rng.exponential(place.rain) * shares, 70.0)
    return pd.DataFrame(
        {
            "Time": begin + pd.Timedelta("1h"),
            "Temp (degC)": air.round(1),
            "RH (%)": humidity.round(0),
            "Wind (m/s)": np.abs(place.wind + 0.5 * place.wind * rng.standard_normal(24 * days))
            .clip(0, 25)
            .round(1),
            "Solar (W/m2)": (solar + rng.normal(0, 1, 24 * days)).round(0),
            "Rain (mm)": (rain / 0.2).round() * 0.2,
        }
    )


def days_at(place: Place, days: int = 14, seed: int = 1) -> pd.DataFrame:
    """Daily table of a place, with the equation of FAO-56 for its reference evapotranspiration."""
    hours = hours_at(place, days, seed)
    each = {name: hours[name].to_numpy().reshape(days, 24) for name in hours if name != "Time"}
    top = sun.extraterrestrial_radiation(
        place.site.latitude,
        sun.day_of_year(pd.date_range(place.start, periods=days).to_numpy()),
    )
    high, low = each["Temp (degC)"].max(axis=1), each["Temp (degC)"].min(axis=1)
    return pd.DataFrame(
        {
            "Date": pd.date_range(place.start, periods=days).strftime("%Y-%m-%d"),
            "Tmax (degC)": high,
            "Tmin (degC)": low,
            "RHmax (%)": each["RH (%)"].max(axis=1),
            "RHmin (%)": each["RH (%)"].min(axis=1),
            "Wind (m/s)": each["Wind (m/s)"].mean(axis=1).round(1),
            "Solar (MJ/m2)": (each["Solar (W/m2)"].clip(0).sum(axis=1) * 3.6e-3).round(2),
            "Rain (mm)": each["Rain (mm)"].sum(axis=1).round(1),
            "ETo (mm)": np.maximum(terms.hargreaves(high, low, top), 0.5).round(2),
        }
    )
