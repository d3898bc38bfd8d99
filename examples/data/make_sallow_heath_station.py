"""Write the station year of Sallow Heath, an invented ground: hourly, seeded, reproducible.

The weather is made up: a sky that remembers the day before, showers on wet days, temperatures that
follow season, sun and hour. Run it to write `sallow_heath_station.csv` next to this file.
"""

from pathlib import Path

import numpy as np

from soilwater.weather import evapotranspiration as et
from soilwater.weather.reference_et import Site

SITE = Site(44.0, 140.0, -121.0, -8.0, "Sallow Heath")
SEED = 20250101


def make_year(site=SITE, seed=SEED):
    """Hourly arrays of one year: start of hour, temperature, humidity, wind, radiation, rain."""
    rng = np.random.default_rng(seed)
    days = 365
    day = np.arange(1, days + 1)
    season = np.cos(2.0 * np.pi * (day - 200) / 365.0)  # 1 in mid-July, -1 in mid-January
    chance_after_dry, chance_after_wet = 0.20 - 0.08 * season, 0.55 - 0.15 * season
    wet = np.zeros(days, dtype=bool)
    memory = np.zeros(days)
    for i in range(days):
        before = i > 0 and wet[i - 1]
        wet[i] = rng.random() < (chance_after_wet[i] if before else chance_after_dry[i])
        memory[i] = 0.75 * memory[i - 1] + rng.normal(0.0, 2.0) if i else 0.0
    clearness = np.clip(rng.beta(6.0, 2.0, days) - 0.35 * wet, 0.15, 1.0)
    mean = 12.5 + 9.5 * season + memory
    swing = 3.0 + 6.0 * clearness

    hour = np.tile(np.arange(24) + 0.5, days)
    doy = np.repeat(day, 24).astype(float)
    angle = et.solar_time_angle(hour, doy, site.longitude, site.utc_offset)
    top = et.extraterrestrial_radiation_of_period(site.latitude, doy, angle)
    flicker = np.clip(1.0 + 0.12 * rng.normal(size=24 * days), 0.3, 1.0 / 0.95)
    share = np.minimum(np.repeat(0.15 + 0.85 * clearness, 24) * flicker, 1.0)
    radiation = et.clear_sky_radiation(top, site.elevation) * share / 0.0036
    temperature = (
        np.repeat(mean, 24)
        + np.repeat(swing, 24) * np.cos(2.0 * np.pi * (hour - 15.0) / 24.0)
        + 0.4 * rng.normal(size=24 * days)
    )
    lowest = temperature.reshape(days, 24).min(axis=1)
    dew_point = np.repeat(lowest - 1.5 * clearness + 1.0 * wet, 24)
    humidity = 100.0 * et.saturation_vapour_pressure(dew_point)
    humidity = np.clip(humidity / et.saturation_vapour_pressure(temperature), 15.0, 100.0)
    breeze = np.repeat(rng.gamma(6.0, 0.3, days), 24)
    wind = breeze * (1.0 + 0.5 * np.cos(2.0 * np.pi * (hour - 14.0) / 24.0))
    rain = np.zeros(24 * days)
    for i in np.flatnonzero(wet):
        left = rng.gamma(0.8, 9.0) + 0.4
        for start in rng.integers(0, 24, rng.integers(1, 4)):
            length = int(rng.integers(1, 5))
            rain[24 * i + start : min(24 * i + start + length, 24 * days)] += left / 3.0 / length
    rain = 0.2 * np.round(rain / 0.2)  # a tipping bucket of 0.2 mm
    start = np.datetime64("2025-01-01T00", "h") + np.arange(24 * days)
    return start, temperature, humidity, wind, np.maximum(radiation, 0.0), rain


def write(path):
    """Write the year with a unit row under the header, stamped at the end of each hour."""
    start, temperature, humidity, wind, radiation, rain = make_year()
    lines = [
        "Sallow Heath (invented), synthetic hourly weather, local standard time UTC-8",
        "Time,Temp,RH,Wind,Solar,Rain",
        ",degC,%,m/s,W/m2,mm",
    ]
    for i, time in enumerate(start + np.timedelta64(1, "h")):
        stamp = str(time).replace("T", " ") + ":00"
        lines.append(
            f"{stamp},{temperature[i]:.1f},{humidity[i]:.0f},{wind[i]:.1f},{radiation[i]:.0f},"
            f"{rain[i]:.1f}"
        )
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write(Path(__file__).with_name("sallow_heath_station.csv"))
