"""Weather made of amounts: the same day again, whole days, or a clean table."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from soilwater.weather.daylight import check_daylight, half_sine, nonzero
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import DailyWater, Date
from soilwater.words.quantities import one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import (
    YEARS,
    YEARS_ALLOWED,
    as_time,
    as_times,
    hours_between,
    interval_edges,
    stamp,
    to_timedelta,
)
from soilwater.words.units import number_to_house

MOST_DAYS = 36_525
"""Most days of made weather."""


@mind_words(start="first_day")
def steady_weather(
    days: int,
    reference_et: DailyWater,
    *,
    rain: DailyWater = 0.0,
    first_day: Date = "2025-07-01",
    sunrise: float = 6.0,
    sunset: float = 18.0,
    name: str = "",
) -> Weather:
    """Make the same day again and again, with demand as one half-sine from sunrise to sunset.

    Parameters
    ----------
    days : int
        Number of whole days.
    reference_et : float, str or Quantity
        Reference evapotranspiration [mm/day].
    rain : float, str or Quantity, optional
        Rain, spread evenly over the 24 hours [mm/day].
    first_day : datetime64, str or Timestamp, optional
        The first day; the weather begins at its midnight.
    sunrise, sunset : float, optional
        Hours of the day between which all demand falls [h].
    name : str, optional
        Shown in the representation.

    Returns
    -------
    Weather
        From midnight to midnight.

    Raises
    ------
    InputError
        If days is not a whole positive number, the first day has a time of day, an amount is
        negative, or the sun does not set after it has risen on the same day.

    Examples
    --------
    >>> fortnight = steady_weather(14, "0.2 in/day")
    >>> round(float(fortnight.reference_et.sum()), 2)
    71.12
    """
    faults = Faults("steady_weather")
    number = isinstance(days, (int, float, np.integer, np.floating)) and not isinstance(days, bool)
    whole = number and np.isfinite(days) and days >= 1 and days == int(days)
    if not whole:
        cure = "write 14 for 14 days" if isinstance(days, str) else ""
        faults.add(f"days is {days!r}", allowed="a whole number of days, 1 or more", cure=cure)
    elif days > MOST_DAYS:
        faults.add(f"days is {days:g}", allowed=f"up to {MOST_DAYS:,} days, a century")
        whole = False
    per_day = number_to_house(reference_et, "evapotranspiration", "reference_et")
    rain_per_day = number_to_house(rain, "evapotranspiration", "rain")
    for label, value in (("reference_et", per_day), ("rain", rain_per_day)):
        if value < 0.0:
            faults.add(f"{label} is {value:g} mm/day", allowed="0 or more")
    check_daylight(sunrise, sunset, faults)
    midnight = np.datetime64("NaT", "ns")
    with faults.catching():
        begin = as_time(first_day, "first_day")
        midnight = begin.astype("datetime64[D]").astype("datetime64[ns]")
        end = begin.astype("datetime64[D]") + (int(days) if whole else 0)
        if end.astype(object).year not in YEARS:
            faults.add(f"days from first_day go on to {end}", allowed=YEARS_ALLOWED)
        elif begin != midnight:
            end = begin + np.timedelta64(int(days) if whole else 1, "D")
            faults.add(
                f"first_day is {stamp(begin)}, and whole days begin at midnight",
                cure=f'make a day more from first_day="{begin.astype("datetime64[D]")}" and cut it '
                f'with .between("{stamp(begin)}", "{stamp(end)}")',
            )
    faults.raise_if_any()
    demand = one_writing("evapotranspiration")
    edges = midnight + np.arange(int(days) + 1) * np.timedelta64(1, "D")
    return from_days(
        edges,
        np.full(int(days), rain_per_day),
        np.full(int(days), per_day),
        sunrise=sunrise,
        sunset=sunset,
        name=name or f"steady, {demand.of(per_day):.3g} {demand.unit}",
    )


def from_days(
    edges: NDArray[np.datetime64],
    rain: NDArray[np.float64],
    reference_et: NDArray[np.float64],
    *,
    sunrise: float = 6.0,
    sunset: float = 18.0,
    filled: NDArray[np.bool_] | None = None,
    name: str = "",
    source: str = "",
    notes: tuple[str, ...] = (),
) -> Weather:
    """Spread amounts of long intervals over the hours: rain evenly, demand by daylight.

    The demand of each interval goes to the parts of it that lie between sunrise and sunset, each
    part with its piece of the half-sine; an observation day from 09:00 to 09:00 is therefore cut
    into the afternoon of one day and the early morning of the next.

    Parameters
    ----------
    edges : array of datetime64, shape (n + 1,)
        Boundaries of the intervals, each at least as long as a night.
    rain, reference_et : array of float, shape (n,)
        Amounts in each interval [mm].
    sunrise, sunset : float, optional
        Hours of the day between which all demand falls [h].
    filled : array of bool, shape (n,), optional
        Flags carried on to the pieces.
    name, source, notes : optional
        As for `Weather`.

    Raises
    ------
    InputError
        For the faults of `Weather`, or an interval that holds demand but no daylight.
    """
    # Validated as even intervals first, so that faults are told in the caller's own table.
    flags = np.zeros(np.shape(rain), dtype=bool) if filled is None else filled
    whole = Weather(edges, rain, reference_et, filled=flags, name=name, source=source, notes=notes)
    faults = Faults(f'Weather "{name}"' if name else "Weather")
    check_daylight(sunrise, sunset, faults)
    faults.raise_if_any()
    first_day = whole.start.astype("datetime64[D]").astype("datetime64[ns]")
    last_day = whole.end.astype("datetime64[D]").astype("datetime64[ns]")
    midnights = np.arange(first_day, last_day + np.timedelta64(1, "ns"), np.timedelta64(1, "D"))
    rise = midnights + to_timedelta(sunrise)
    fall = midnights + to_timedelta(sunset)
    cuts = np.concatenate([rise, fall])
    pieces = whole.refine(cuts[(cuts > whole.edges[0]) & (cuts < whole.edges[-1])])
    parent = np.searchsorted(whole.edges, pieces.edges[:-1], side="right") - 1
    day = np.clip(np.searchsorted(rise, pieces.edges[:-1], side="right") - 1, 0, None)
    begin = pieces.edges[:-1]
    lit = np.logical_and(np.greater_equal(begin, rise[day]), np.less(begin, fall[day]))
    length = hours_between(rise[day], fall[day])
    phase0 = np.where(lit, hours_between(rise[day], begin) / length, 0.0)
    phase1 = np.where(lit, hours_between(rise[day], pieces.edges[1:]) / length, 0.0)
    weight = half_sine(phase0, phase1)
    total = np.bincount(parent, weights=weight, minlength=whole.n)
    dark = np.flatnonzero((total == 0.0) & (whole.reference_et > 0.0))
    if dark.size:
        raise InputError(
            f"Weather: the interval from {stamp(whole.edges[int(dark[0])])} holds demand but no "
            f"daylight between {sunrise:g} and {sunset:g} h; use the intervals as they are."
        )
    demand = whole.reference_et[parent] * (weight / nonzero(total)[parent])
    return replace(pieces, reference_et=demand, demand_shape=np.stack([phase0, phase1], axis=1))


@mind_words()
def weather_from_table(
    table: pd.DataFrame | xr.Dataset,
    *,
    label: Literal["start", "end"],
    rain: str = "rain",
    reference_et: str = "reference_et",
    sunrise: float = 6.0,
    sunset: float = 18.0,
    name: str = "",
    source: str = "",
) -> Weather:
    """Make weather from a clean table of regular steps in house units.

    Steps of a day or longer have their demand put into the daylight hours as a half-sine and
    their rain spread evenly; shorter steps are taken as even. For a raw station file (units,
    gaps, odd headers) use the station reader instead.

    Parameters
    ----------
    table : DataFrame or Dataset
        DataFrame with a time index (or a column ``time``), or Dataset over ``time``.
    label : {"start", "end"}
        What a stamp marks: the start or the end of its interval. There is no default, because
        a wrong guess moves the sun.
    rain, reference_et : str, optional
        Names of the columns, in mm per step.
    sunrise, sunset : float, optional
        Hours of the day between which the demand of daily steps falls [h].
    name, source : str, optional
        As for `Weather`.

    Returns
    -------
    Weather
        Over the steps of the table.

    Raises
    ------
    InputError
        For missing columns, a gap or an irregular step (naming the first), missing or negative
        values, an unknown label.
    """
    faults = Faults("Weather table")
    if label not in ("start", "end"):
        faults.add(f"label is {label!r}", allowed='"start" or "end"')
    frame = table.to_dataframe() if isinstance(table, xr.Dataset) else table
    if "time" in frame.columns:
        frame = frame.set_index("time")
    for column in (rain, reference_et):
        if column not in frame.columns:
            present = ", ".join(str(c) for c in frame.columns)
            faults.add(f'there is no column "{column}"', allowed=f"one of: {present}")
    if len(frame) < 2:
        faults.add(f"the table has {len(frame)} rows", allowed="2 or more, to know the step")
    faults.raise_if_any()
    edges = interval_edges(as_times(frame.index, "time"), label, "Weather table")
    water, demand = (_numbers(frame[c], c, faults) for c in (rain, reference_et))
    faults.raise_if_any()
    if edges[1] - edges[0] >= np.timedelta64(24, "h"):
        return from_days(
            edges, water, demand, sunrise=sunrise, sunset=sunset, name=name, source=source
        )
    return Weather(edges, water, demand, name=name, source=source)


def _numbers(column: Any, name: str, faults: Faults) -> NDArray[np.float64]:
    """One column of a clean table; every text in it is a fault."""
    cells = list(column)
    values = np.full(len(cells), np.nan)
    for i, cell in enumerate(cells):
        if isinstance(cell, str):
            faults.add(
                f'"{cell[:40]}" in column "{name}" is a text',
                where=f"row {i + 1}",
                cure="read the raw file with read_station, which understands texts and units",
            )
        elif cell is not None and not pd.isna(cell):
            values[i] = float(cell)
    return values
