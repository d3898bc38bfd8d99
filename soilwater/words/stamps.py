"""Time stamps of station files: any usual spelling in, local standard time out.

Reads dates in year-month-day, day/month/year or month/day/year order with clock times beside or
behind them, and undoes daylight-saving time. Nothing is guessed: an order of day and month that the
dates themselves do not settle is asked for, and stamps that follow daylight-saving time say so.
"""

from __future__ import annotations

import datetime
import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from soilwater.words.errors import Faults, InputError
from soilwater.words.months import MONTHS, month_number
from soilwater.words.times import YEARS, YEARS_ALLOWED, stamp

STANDARD = "standard"
"""Time zone name for stamps that are in local standard time already."""

_HOUR = np.timedelta64(1, "h")
_DAY = np.timedelta64(1, "D")

_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ,]+(.+))?")
_YEAR_LAST = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})(?:[T ,]+(.+))?")
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})(?:[T ]?(\d{4}(?:\d{2})?))?")
_NAME = r"([^\W\d_]{3,10})"
_DAY_NAME_YEAR = re.compile(
    rf"(\d{{1,2}})(?:er)?[- .]+(?:de )?{_NAME}[- .,]+(?:de )?(\d{{4}})(?:[T ,]+(.+))?"
)
_NAME_DAY_YEAR = re.compile(rf"{_NAME}[- .]+(\d{{1,2}})[ ,]+(\d{{4}})(?:[T ,]+(.+))?")
_CLOCK = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.0*)?)?\s*([AaPp])?\.?(?:[Mm]\.?)?\s*"
    r"(Z|UTC|[+-]\d{2}:?\d{2})?"
)
_CLOCK_DIGITS = re.compile(r"(\d{1,2})(\d{2})(\d{2})?")


@dataclass(frozen=True, eq=False)
class Stamps:
    """Stamps as read.

    Parameters
    ----------
    time : array of datetime64
        In local standard time once `to_standard_time` has seen them.
    date_only : bool
        True when no stamp has a time of day.
    offsets : array of float or None
        Offsets from UTC that were written with the stamps [h].
    notes : tuple of str
        What was understood.
    """

    time: NDArray[np.datetime64]
    date_only: bool
    offsets: NDArray[np.float64] | None
    notes: tuple[str, ...]


def read_stamps(
    dates: Sequence[str],
    clocks: Sequence[str] | None,
    lines: Sequence[int],
    day_first: bool | None,
    subject: str,
) -> Stamps:
    """Read the stamps of a table.

    Parameters
    ----------
    dates : sequence of str
        Dates, with or without a time of day.
    clocks : sequence of str or None
        Times of day when they stand in a column of their own.
    lines : sequence of int
        Line number of each stamp, for messages.
    day_first : bool or None
        Order of dates such as 12/11/2026; None when the dates settle it.
    subject : str
        The file, for messages.

    Raises
    ------
    InputError
        Naming every line that cannot be read, or showing both readings of an unsettled order.
    """
    faults = Faults(subject)
    split = [_split_date(text.strip()) for text in dates]
    for text, line, parts in zip(dates, lines, split, strict=True):
        if parts is None:
            what = f'"{text}" is not a date' if text else "the time stamp is missing"
            faults.add(what, where=f"line {line}", allowed='such as "2025-07-01 06:00"')
    faults.raise_if_any()
    found = [parts for parts in split if parts is not None]
    notes: list[str] = []
    loose = [parts for parts in found if not parts.settled]
    short = [parts for parts in loose if parts.short]
    if short and day_first is None and all(parts.with_year_first is not None for parts in short):
        leads = _year_leads(short)
        if leads is None:
            faults.add(
                f'"{short[0].text}" has a year of two digits, which can be its first or its last '
                "number",
                cure=f'write years in full, such as "{short[0].with_year_first}"; or, if the '
                "year is last, say day_first=True or day_first=False",
            )
            faults.raise_if_any()
        if leads:
            notes.append("dates read as year/month/day")
            found = [parts.led_by_year if parts.short else parts for parts in found]
            loose = [parts for parts in found if not parts.settled]
    if loose:
        day_first = _settle_order(loose, day_first, subject)
        order = "day/month/year" if day_first else "month/day/year"
        notes.append(f"dates read as {order}")
    rest = [parts.clock for parts in found]
    if clocks is not None:
        rest = [f"{a or ''} {b}".strip() for a, b in zip(rest, clocks, strict=True)]
    seconds = np.zeros(len(found))
    offsets = np.full(len(found), np.nan)
    days = np.empty(len(found), dtype="datetime64[D]")
    for i, parts in enumerate(found):
        year, month, day = parts.numbers
        if not parts.settled and day_first:
            month, day = day, month
        try:
            days[i] = np.datetime64(datetime.date(year, month, day))
        except ValueError:
            faults.add(f'"{dates[i]}" is not a day of the calendar', where=f"line {lines[i]}")
        if year not in YEARS:
            where = f"line {lines[i]}"
            faults.add(f'"{dates[i]}" is too far off', where=where, allowed=YEARS_ALLOWED)
        text = rest[i]
        if not text:
            continue
        clock = _read_clock(text)
        if clock is None:
            faults.add(
                f'"{text}" is not a time of day',
                where=f"line {lines[i]}",
                allowed='such as "14:30"',
            )
            continue
        seconds[i], offsets[i] = clock
    faults.raise_if_any()
    time = days.astype("datetime64[ns]") + (seconds * 1e9).astype("timedelta64[ns]")
    if np.any(seconds >= 86400.0):
        notes.append("24:00 taken as the midnight that ends the day")
    written = ~np.isnan(offsets)
    if written.any() and not written.all():
        faults.add(
            "some stamps carry an offset from UTC and some do not",
            where=f"line {lines[int(np.argmin(written))]}",
        )
    faults.raise_if_any()
    return Stamps(time, not any(rest), offsets if written.all() else None, tuple(notes))


def to_standard_time(
    stamps: Stamps, time_zone: str, utc_offset: float | None, lines: Sequence[int], subject: str
) -> Stamps:
    """Bring stamps to local standard time.

    Parameters
    ----------
    stamps : Stamps
        As read.
    time_zone : str
        ``"standard"`` when they are in local standard time, ``"UTC"``, or the name of a zone such
        as ``"Europe/London"`` when they follow the clock on the wall.
    utc_offset : float or None
        Local standard time minus UTC [h]; needed for UTC stamps.
    lines : sequence of int
        Line number of each stamp, for messages.
    subject : str
        The file, for messages.

    Raises
    ------
    InputError
        If the zone is unknown or does not fit the stamps, or the offset is needed and missing.
    """
    faults = Faults(subject)
    if stamps.offsets is not None:
        target = float(stamps.offsets.min()) if utc_offset is None else utc_offset
        time = stamps.time + _hours(target - stamps.offsets)
        note = f"offsets from UTC in the stamps: local standard time taken as UTC{target:+g} h"
        return Stamps(time, stamps.date_only, None, (*stamps.notes, note))
    if time_zone == STANDARD:
        return stamps
    if stamps.date_only:
        return Stamps(stamps.time, True, None, (*stamps.notes, "whole days: no time zone applied"))
    if time_zone == "UTC":
        if utc_offset is None:
            faults.add(
                "the stamps are in UTC, and the offset of local standard time is not known",
                cure="give site=Site(latitude, elevation, longitude, utc_offset)",
            )
            faults.raise_if_any()
        assert utc_offset is not None
        note = f"UTC stamps moved to local standard time, {utc_offset:+g} h"
        return Stamps(stamps.time + _hours(utc_offset), False, None, (*stamps.notes, note))
    try:
        zone = ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise InputError(
            f'{subject}: time_zone "{time_zone}" is not known; allowed: "{STANDARD}", "UTC" or a '
            f'name such as "Europe/London".'
        ) from None
    year = int(str(stamps.time[0])[:4])
    offset = min(
        _utc_offset(zone, year, month) for month in (1, 7)
    )  # daylight-saving time is always the larger of the two
    index = pd.DatetimeIndex(stamps.time)
    try:
        aware = index.tz_localize(zone, ambiguous=_second_passes(index), nonexistent="raise")
    except ValueError as error:
        faults.add(
            f"the stamps do not fit the clock of {time_zone} ({error})",
            cure=f'if they are in standard time all year, say time_zone="{STANDARD}"',
        )
        raise faults.as_error() from None
    time = np.array(aware.tz_convert("UTC").tz_localize(None).to_numpy(), dtype="datetime64[ns]")
    time = time + _hours(offset)
    moved = int(np.sum(time != stamps.time))
    note = (
        f"{time_zone}: {moved} stamps in daylight-saving time moved to standard time "
        f"(UTC{offset:+g} h)"
    )
    return Stamps(time, False, None, (*stamps.notes, note))


def daylight_saving_hint(time: NDArray[np.datetime64], utc_offset: float | None = None) -> str:
    """Say where stamps jump like a clock set to daylight-saving time, or nothing.

    Parameters
    ----------
    time : array of datetime64
        Stamps in the order of the file.
    utc_offset : float, optional
        Local standard time minus UTC [h], where it is known: the zone named then has it.
    """
    steps = np.diff(time)
    if steps.size == 0:
        return ""
    usual = np.sort(steps)[steps.size // 2]
    if usual > _HOUR:
        return ""
    forward = [i for i in np.flatnonzero(steps == usual + _HOUR) if is_changeover(time[i])]
    back = [i for i in np.flatnonzero(steps == usual - _HOUR) if is_changeover(time[i])]
    told = [f"{stamp(time[i] + usual)} is missing" for i in forward[:1]]
    told += [f"{stamp(time[i + 1])} comes twice" for i in back[:1]]
    if not told:
        return ""
    jumps = np.array([*forward, *back])
    # A stamp may mark the end of its step, and then jumps one step later than its start.
    fitting = _zones_of(time, jumps, utc_offset) or _zones_of(time + usual, jumps, utc_offset)
    zone = fitting[0] if fitting else "Europe/London"
    return (
        f"{' and '.join(told)}: the stamps seem to follow daylight-saving time; say "
        f'time_zone="{zone}" (or your own zone)'
    )


# One zone for each set of dates on which clocks are set (IANA time zone database).
_ZONES = (
    "Europe/London", "Europe/Berlin", "Europe/Athens", "America/New_York", "America/Chicago",
    "America/Denver", "America/Los_Angeles", "America/Halifax", "America/Anchorage",
    "Australia/Sydney", "Australia/Adelaide", "Pacific/Auckland", "America/Santiago",
)  # fmt: skip


def zones_of_offset(utc_offset: float, summer: np.datetime64 | None = None) -> list[str]:
    """Zones with daylight-saving time of a standard time.

    Parameters
    ----------
    utc_offset : float
        Local standard time minus UTC [h].
    summer : datetime64, optional
        When daylight-saving time has to be in force.
    """
    year = 2025 if summer is None else int(str(summer)[:4])
    found = []
    for name in _ZONES:
        zone = ZoneInfo(name)
        standard = min(_utc_offset(zone, year, month) for month in (1, 7))
        month = None if summer is None else int(str(summer)[5:7])
        ahead = month is None or _utc_offset(zone, year, month) > standard
        if standard == utc_offset and ahead:
            found.append(name)
    return found


def _zones_of(
    time: NDArray[np.datetime64], jumps: NDArray[np.int64], utc_offset: float | None
) -> list[str]:
    """Zones on whose clock the stamps do not jump where they seem to."""
    index = pd.DatetimeIndex(time)
    known = _ZONES if utc_offset is None else zones_of_offset(utc_offset)
    usual = np.sort(np.diff(time))[(time.size - 1) // 2]
    fitting = []
    for name in known:
        try:
            aware = index.tz_localize(name, ambiguous=_second_passes(index), nonexistent="raise")
        except ValueError:
            continue
        steps = np.diff(aware.tz_convert("UTC").tz_localize(None).to_numpy())
        if np.all(steps > np.timedelta64(0)) and np.all(steps[jumps] == usual):
            fitting.append(name)
    return fitting


@dataclass(frozen=True)
class _Parts:
    numbers: tuple[int, int, int]
    settled: bool
    clock: str
    text: str
    short: bool = False

    @property
    def with_year_first(self) -> datetime.date | None:
        """The date if the first of three two-digit numbers is the year; None if it is none."""
        year, first, second = self.numbers
        return _date(2000 + first, second, year % 100)

    @property
    def led_by_year(self) -> _Parts:
        """The same with the first number taken as the year."""
        year, first, second = self.numbers
        return _Parts((2000 + first, second, year % 100), True, self.clock, self.text)


def _date(year: int, month: int, day: int) -> datetime.date | None:
    try:
        return datetime.date(year, month, day)
    except ValueError:
        return None


# Dates that go on by more than this [days] are years apart, not rows of one file (our own choice).
_LONGEST_STRIDE = 14


def _year_leads(short: list[_Parts]) -> bool | None:
    """Whether two-digit years come first: as then, or only then, dates follow one another.

    None where both readings go on from day to day, or there is only one date.
    """
    first = _goes_on([parts.with_year_first for parts in short])
    last = [
        _goes_on([_date(year, *pair) for year, pair in dates])
        for dates in (
            [(p.numbers[0], (p.numbers[1], p.numbers[2])) for p in short],
            [(p.numbers[0], (p.numbers[2], p.numbers[1])) for p in short],
        )
    ]
    return None if first == any(last) else first


def _goes_on(dates: list[datetime.date | None]) -> bool:
    """Whether dates are all of the calendar, more than one, and never far apart."""
    known = sorted({date for date in dates if date is not None})
    strides = [(b - a).days for a, b in itertools.pairwise(known)]
    return None not in dates and bool(strides) and max(strides) <= _LONGEST_STRIDE


def _split_date(text: str) -> _Parts | None:
    for pattern in (_YEAR_FIRST, _COMPACT):
        match = pattern.fullmatch(text)
        if match:
            year, month, day, rest = match.groups()
            return _Parts((int(year), int(month), int(day)), True, rest or "", text)
    match = _DAY_NAME_YEAR.fullmatch(text)
    if match:
        day, name, year, rest = match.groups()
        return _named(year, name, day, rest, text)
    match = _NAME_DAY_YEAR.fullmatch(text)
    if match:
        name, day, year, rest = match.groups()
        return _named(year, name, day, rest, text)
    match = _YEAR_LAST.fullmatch(text)
    if match:
        first, second, year, rest = match.groups()
        full = int(year) + (2000 if len(year) == 2 else 0)
        short = len(year) == 2
        return _Parts((full, int(first), int(second)), False, rest or "", text, short)
    return None


def _named(year: str, name: str, day: str, rest: str | None, text: str) -> _Parts | None:
    month = month_number(name)
    return None if month is None else _Parts((int(year), month, int(day)), True, rest or "", text)


def _settle_order(loose: list[_Parts], day_first: bool | None, subject: str) -> bool:
    """Whether the first of two numbers is the day; the dates decide, else the person."""
    if day_first is not None:
        return day_first
    first = any(parts.numbers[1] > 12 for parts in loose)
    second = any(parts.numbers[2] > 12 for parts in loose)
    if first != second:
        return first
    faults = Faults(subject)
    if first and second:
        faults.add(
            "day and month change places within the column of dates", cure="write them alike"
        )
        faults.raise_if_any()
    shown = loose[:3]
    readings = []
    for day_leads in (True, False):
        dates = []
        for parts in shown:
            year, a, b = parts.numbers
            month, day = (b, a) if day_leads else (a, b)
            dates.append(f"{day} {MONTHS[month - 1].title()} {year}")
        readings.append(", ".join(dates))
    texts = ", ".join(parts.text for parts in shown)
    faults.add(
        f"day or month first? {texts} can be {readings[0]} (day first) or {readings[1]} (month "
        f"first)",
        cure="say day_first=True or day_first=False",
    )
    raise faults.as_error()


def _read_clock(text: str) -> tuple[float, float] | None:
    """Seconds since midnight and offset from UTC [h] (NaN if none) of a time of day."""
    match = _CLOCK.fullmatch(text)
    if match:
        hour, minute, second = (int(part or 0) for part in match.groups()[:3])
        half, zone = match.group(4), match.group(5)
        if half:
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + (12 if half.lower() == "p" else 0)
        offset = np.nan
        if zone:
            offset = 0.0
            if zone[0] in "+-":
                digits = zone[1:].replace(":", "")
                offset = (int(digits[:2]) + int(digits[2:]) / 60.0) * (
                    -1.0 if zone[0] == "-" else 1.0
                )
    elif re.fullmatch(r"\d{1,2}", text):
        hour, minute, second, offset = int(text), 0, 0, np.nan
    else:
        match = _CLOCK_DIGITS.fullmatch(text)
        if not match:
            return None
        hour, minute, second = (int(part or 0) for part in match.groups())
        offset = np.nan
    end_of_day = hour == 24 and minute == 0 and second == 0
    if minute > 59 or second > 59 or (hour > 23 and not end_of_day):
        return None
    return hour * 3600.0 + minute * 60.0 + second, offset


def _second_passes(index: pd.DatetimeIndex) -> NDArray[np.bool_]:
    """For `tz_localize`: True where a stamp of the repeated autumn hour is in summer time.

    The first time a stamp is seen it is in summer time, the second time in standard time.
    """
    return ~np.asarray(index.duplicated(keep="first"))


def _utc_offset(zone: ZoneInfo, year: int, month: int) -> float:
    delta: Any = datetime.datetime(year, month, 1, 12, tzinfo=zone).utcoffset()
    return float(delta.total_seconds()) / 3600.0


def is_changeover(time: Any) -> bool:
    """Whether clocks are usually set on this day: a Sunday in spring or autumn, at night.

    Parameters
    ----------
    time : datetime64
        A stamp.
    """
    when = pd.Timestamp(time)
    return bool(when.day_of_week == 6 and when.month in (3, 4, 9, 10, 11) and when.hour <= 4)


def _hours(hours: Any) -> Any:
    return (np.asarray(hours) * 3600.0).round().astype("timedelta64[s]").astype("timedelta64[ns]")
