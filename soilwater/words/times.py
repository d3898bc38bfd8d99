"""Times: instants in local standard time outside, hours inside."""

from __future__ import annotations

import datetime
import re
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from soilwater.words.errors import Faults, InputError

YEARS = range(1678, 2262)
"""Whole years that nanoseconds in 64 bits reach; times beyond would wrap round."""
YEARS_ALLOWED = f"the years {YEARS[0]} to {YEARS[-1]}"

_NS_PER_HOUR = 3_600_000_000_000


def as_time(value: Any, name: str) -> np.datetime64:
    """Turn a date or time into a zone-free datetime64[ns].

    Parameters
    ----------
    value : datetime64, str, datetime or Timestamp
        An instant in local standard time.
    name : str
        Argument name for the message.

    Raises
    ------
    InputError
        If it is not one time, is missing, or carries a time zone.
    """
    times = as_times([value], name)
    if times.size > 1:
        raise InputError(
            f'{name}: {times.size} times where one is due; give one, such as "{stamp(times[0])}".'
        )
    return np.datetime64(times[0])


_HOUSE = np.dtype("datetime64[ns]")


def as_times(values: Any, name: str) -> NDArray[np.datetime64]:
    """Turn dates or times into a one-dimensional datetime64[ns] array without a zone.

    Parameters
    ----------
    values : sequence of datetime64, str, datetime or Timestamp
        Instants in local standard time.
    name : str
        Argument name for the message.

    Raises
    ------
    InputError
        If they are not times, one is missing, or they carry a time zone.
    """
    array = np.asarray(values)
    if array.dtype == _HOUSE and array.size and not np.isnat(array).any():
        return array.flatten()
    if not array.size:
        raise InputError(f'{name}: no times are given; write such as ["2025-07-01 06:00"].')
    if array.dtype.kind in "biufc":
        raise InputError(
            f"{name}: numbers ({array.ravel()[0]:g}) where times are due; allowed: datetime64 or "
            f'text such as "2025-07-01 06:00".'
        )
    if array.dtype.kind == "M" and np.isnat(array).any():
        place = int(np.flatnonzero(np.isnat(array))[0])
        raise InputError(f"{name}: the time at position {place} is missing.")
    if array.dtype.kind in "OU":
        array = np.array(_settled_dates(array.ravel(), name), dtype=object)
    try:
        given = array.ravel() if array.dtype.kind == "M" else list(array.ravel())
        # numpy would wrap round what nanoseconds do not reach.
        index = pd.DatetimeIndex(given).as_unit("ns")
    except pd.errors.OutOfBoundsDatetime as error:
        raise InputError(
            f"{name}: a time beyond what is kept ({str(error).rpartition(': ')[2] or error}); "
            f"allowed: {YEARS_ALLOWED}."
        ) from error
    except (ValueError, TypeError, OverflowError) as error:
        raise InputError(
            f"{name}: cannot be read as times ({error}); allowed: datetime64 or text such as "
            f'"2025-07-01 06:00".'
        ) from error
    if index.tz is not None:
        raise InputError(
            f"{name}: carries the time zone {index.tz}; allowed: local standard time without a "
            f"zone; convert first, or let the station reader do it."
        )
    missing = np.flatnonzero(index.isna())
    if missing.size:
        raise InputError(f"{name}: the time at position {int(missing[0])} is missing.")
    return np.array(index.to_numpy())


_NO_YEAR = re.compile(r"\d{1,2}(?::\d{2}){0,2}\s*(?:[ap]\.?m\.?)?", re.IGNORECASE)
_SHORT_YEAR = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})(?!\d)(.*)", re.DOTALL)


def _settled_dates(values: Any, name: str) -> list[Any]:
    """Write the year first where a text can be one date only; ask where it can be two, or none."""
    faults = Faults(name)
    settled = list(values)
    for i, value in enumerate(settled):
        if not isinstance(value, str):
            continue
        text = value.strip()
        if _NO_YEAR.fullmatch(text):
            faults.add(
                f'"{text}" is a time of day without a date',
                cure='write the date too, such as "2025-07-01 04:00"',
            )
        match = _SHORT_YEAR.match(text)
        if match is None:
            continue
        first, _, second, last, rest = match.groups()
        readings = dict.fromkeys(
            written
            for year, month, day in (
                (last, second, first),
                (last, first, second),
                *([(first, second, last)] if len(last) == 2 else []),
            )
            if (written := _written_date(year, month, day)) is not None
        )
        if len(readings) == 1:
            settled[i] = f"{next(iter(readings))}{rest}"
            continue
        shown = [f'"{written}{rest}"' for written in readings] or ['"2025-07-01"']
        faults.add(
            f'"{text}" can be {" or ".join(readings)}' if readings else f'"{text}" is no date',
            cure=f"write the year first: {' or '.join(shown)}",
        )
    faults.raise_if_any()
    return settled


def _written_date(year: str, month: str, day: str) -> str | None:
    """Write a date of the calendar with its year first; None for any other."""
    full = int(year) + (2000 if len(year) < 3 else 0)
    try:
        return datetime.date(full, int(month), int(day)).isoformat()
    except ValueError:
        return None


def hours_between(start: Any, end: Any) -> Any:
    """Hours from `start` to `end`, exact to the nanosecond over decades.

    Parameters
    ----------
    start, end : datetime64 or array of datetime64
        Instants.

    Returns
    -------
    float or array of float
        Hours [h].
    """
    nanoseconds = (end - start) / np.timedelta64(1, "ns")
    return nanoseconds / _NS_PER_HOUR


LONGEST_SPAN = 1_000_000.0
"""Longest time span [h], a little more than a century: stamps to the nanosecond end at three."""


def _refuse_long(hours: float) -> None:
    if not abs(hours) <= LONGEST_SPAN:
        raise InputError(f"a span of {hours:g} h; allowed: up to {LONGEST_SPAN:,.0f} h.")


def to_timedelta(hours: float) -> np.timedelta64:
    """Turn hours into a time span, rounded to the nanosecond.

    Parameters
    ----------
    hours : float
        Length [h].

    Raises
    ------
    InputError
        If it is more than `LONGEST_SPAN`.
    """
    _refuse_long(hours)
    return np.timedelta64(round(hours * _NS_PER_HOUR), "ns")


def to_timedeltas(hours: NDArray[np.float64]) -> NDArray[np.timedelta64]:
    """Turn many lengths [h] into time spans, each as `to_timedelta` turns one."""
    if np.size(hours):
        _refuse_long(float(np.max(np.abs(hours))))
    return np.rint(hours * _NS_PER_HOUR).astype("timedelta64[ns]")


def stamp(time: Any) -> str:
    """Write a time for a person, to the minute (or second where it matters)."""
    text = str(np.datetime64(time, "s")).replace("T", " ")
    return text[:-3] if text.endswith(":00") else text


def interval_edges(
    stamps: NDArray[np.datetime64], label: str, subject: str
) -> NDArray[np.datetime64]:
    """Turn regular stamps into interval boundaries.

    Parameters
    ----------
    stamps : array of datetime64, shape (n,)
        At least two stamps.
    label : {"start", "end"}
        What a stamp marks.
    subject : str
        What the stamps belong to, for the message.

    Raises
    ------
    InputError
        Naming every step that differs from the shortest one (a gap), or goes backwards.
    """
    steps = np.diff(stamps)
    faults = Faults(subject)
    for i in np.flatnonzero(steps <= np.timedelta64(0, "ns")):
        faults.add(
            f"time does not go forward: {stamp(stamps[i])} is followed by {stamp(stamps[i + 1])}",
            cure="sort the table and remove repeated stamps",
        )
    faults.raise_if_any()
    step = steps.min()
    for i in np.flatnonzero(steps != step):
        faults.add(
            f"gap: nothing between {stamp(stamps[i])} and {stamp(stamps[i + 1])} although the "
            f"step is {hours_between(stamps[0], stamps[0] + step):g} h",
            cure="supply the missing rows, or fill the gap in a step of its own",
        )
    faults.raise_if_any()
    if label == "start":
        return np.concatenate([stamps, stamps[-1:] + step])
    return np.concatenate([stamps[:1] - step, stamps])
