"""A column whose unit changes on the way down: another logger, another setting, two files in one.

Its numbers leap at one row by what lies between two units and stay there, where weather comes back.
Where the leap is no more than weather makes, nothing is asked.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from soilwater.weather.station.air import TEMPERATURES
from soilwater.weather.station.doubts import RADIATION_UNITS, of_a_bucket
from soilwater.weather.station.ranges import without_codes
from soilwater.weather.station.readings import Column, Readings, span_text
from soilwater.words.errors import Faults
from soilwater.words.set_right import say_leave_out
from soilwater.words.times import stamp

_DAY_HOURS = 24.0

# Mean temperature of days that leaps by so much [K], most of it from one step to the next where
# there are steps within the day, and by no more than such a share of it in the other unit.
_LEAP, _LEAP_IN_A_STEP, _SHARE_LEFT = 12.0, 0.6, 0.35
_DAYS_OF_TEMPERATURE = 3
# A range of temperature grows with the unit, 1.8 times; weather that turns warm keeps it about, but
# for seasons, beyond so many days.
_WIDER, _SEASON_DAYS = (1.3, 2.6), 30
# Where winters leap so far every other week, one leap more is no other unit: it is larger than all.
_BEYOND_OTHERS = 1.15

_UNITS = {
    "relative_humidity": ("%", "1"),
    "maximum_relative_humidity": ("%", "1"),
    "minimum_relative_humidity": ("%", "1"),
    "vapour_pressure": ("kpa", "hpa"),
    "wind_speed": ("m/s", "km/h", "mph"),
    "solar_radiation": tuple(unit.lower() for unit in RADIATION_UNITS),
    "reference_et": ("mm", "in"),
}
_SPELLED = {u.lower(): u for u in (*RADIATION_UNITS, "degC", "degF", "kPa", "hPa")}
_WINDOW_DAYS = 10
_SMALL, _LARGE = np.log(5.0), np.log(50.0)
"""Logarithms of a factor between units that weather makes too, and of one that it never makes."""
_SPREADS, _MIXED = 2.5, 0.05
_FEW_WET = 3
_LIGHT = 1.2  # mean of a wet day [mm] that is drizzle day after day


@dataclass(frozen=True)
class _Change:
    """Where a unit changes: the first step after it, the last before, and what the parts are in."""

    first_after: int
    last_before: int
    before: str
    after: str


def ask_changed_units(
    given: Readings, written: Mapping[str, Column], lines: NDArray[np.int64], faults: Faults
) -> None:
    """Ask about every column whose unit changes at a row.

    Parameters
    ----------
    given : Readings
        The file as it was read.
    written : mapping of str to array, shape (n,)
        The numbers of the file.
    lines : array of int, shape (n,)
        Line of each step, 0 where the file has none.
    faults : Faults
        Takes the questions.
    """
    if given.hours > _DAY_HOURS:
        return
    given = replace(given, values=without_codes(given, written))
    found: dict[_Change, list[str]] = {}
    for quantity in filter(given.doubtful, given.values):
        if quantity in (*TEMPERATURES, "dew_point"):
            change = _of_temperature(given, quantity)
        elif quantity == "rain":
            change = _of_rain(given)
        else:
            change = _of_level(given, quantity)
        if change is not None:
            found.setdefault(change, []).append(quantity)
    for change, quantities in found.items():
        _ask(given, lines, change, quantities, faults)


def _ask(
    given: Readings,
    lines: NDArray[np.int64],
    change: _Change,
    quantities: list[str],
    faults: Faults,
) -> None:
    at = change.first_after
    parts = []
    ends = change.last_before + 1
    for left_out, rest, unit in (
        (lines[ends:], lines[:ends], change.before),
        (lines[:at], lines[at:], change.after),
    ):
        said = _say_part(left_out[left_out > 0], rest[rest > 0])
        if unit != given.units[quantities[0]]:
            named = ", ".join(
                f'"{quantity}": "{_SPELLED.get(unit, unit)}"' for quantity in quantities
            )
            said += f", units={{{named}}}"
        parts.append(said)
    after, before = (_SPELLED.get(unit, unit) for unit in (change.after, change.before))
    kept = ", ".join(f'"{q}": {span_text(given.values[q])}' for q in quantities)
    faults.add(
        f"from line {lines[at]} ({stamp(given.edges[at])}) on the numbers are others, as those in "
        f"{after} are beside those in {before}: did the unit change there?",
        where=", ".join(quantities),
        cure=f"write the column in one unit, or read the parts one by one: say {parts[0]} for the "
        f"first, or {parts[1]} for the second; or say ranges={{{kept}}} if the file is right",
    )


def _say_part(left_out: NDArray[np.int64], kept: NDArray[np.int64]) -> str:
    """Write the argument that leaves out a part of a file, with lines in it that hold no step."""
    apart = left_out.min() > kept.max() or left_out.max() < kept.min()
    return say_leave_out(range(left_out.min(), left_out.max() + 1) if apart else left_out)


def _block_means(column: Column, size: int) -> tuple[Column, Column]:
    """Mean of the `size` values before each place from `size` on, and of those from it on."""
    sums = np.concatenate([[0.0], np.cumsum(column)])
    means = (sums[size:] - sums[:-size]) / size
    return means[: -size or None], means[size:]


def _of_temperature(given: Readings, quantity: str) -> _Change | None:
    unit = given.units[quantity]
    other = "degf" if unit in ("degc", "c", "celsius") else "degc"
    # What is missing is taken as the last known: a gap must not hide a change.
    column = _carried(given.values[quantity])
    swapped = _carried(given.read_as(quantity, other))
    by_day = given.hours >= _DAY_HOURS
    size = _DAYS_OF_TEMPERATURE if by_day else round(_DAY_HOURS / given.hours)
    if by_day and column.size < 2 * size:
        size = 2
    if column.size < 2 * size:
        return None
    before, after = _block_means(column, size)
    before_swapped, after_swapped = _block_means(swapped, size)
    leap = np.abs(after - before)
    best: tuple[float, _Change] | None = None
    for left, first, last in (
        (np.abs(after_swapped - before), unit, other),
        (np.abs(after - before_swapped), other, unit),
    ):
        likely = np.flatnonzero((leap >= _LEAP) & (left <= _SHARE_LEFT * leap))
        for i in likely[np.argsort(left[likely] - leap[likely])][:5]:
            at = int(i) + size
            step = abs(column[at] - column[at - 1])
            if not by_day and step < _LEAP_IN_A_STEP * leap[i]:
                continue
            if by_day and not _grows_wider(given, at, first == unit):
                continue
            others = np.concatenate([leap[: max(i - size, 0)], leap[i + size + 1 :]])
            if leap[i] < _BEYOND_OTHERS * others.max(initial=0.0):
                continue
            # Seasons change within a long gap.
            last_known = np.flatnonzero(~np.isnan(given.values[quantity][:at]))[-1]
            if (at - last_known) * given.hours > _WINDOW_DAYS * _DAY_HOURS:
                continue
            gain = float(leap[i] - left[i])
            if best is None or gain > best[0]:
                best = gain, _Change(at, at - 1, first, last)
    return None if best is None else best[1]


def _grows_wider(given: Readings, at: int, after: bool) -> bool:
    """Whether the range of temperature over a day changes as the unit would have it."""
    if not all(quantity in given.values for quantity in TEMPERATURES[1:]):
        return True
    ranges = given.values[TEMPERATURES[1]] - given.values[TEMPERATURES[2]]
    first, last = ranges[max(at - _SEASON_DAYS, 0) : at], ranges[at : at + _SEASON_DAYS]
    if np.isnan(first).all() or np.isnan(last).all():
        return True
    ratio = float(np.nanmedian(last) / max(np.nanmedian(first), 0.1))
    low, high = _WIDER
    return bool(low <= (ratio if after else 1.0 / max(ratio, 1e-9)) <= high)


def _carried(column: Column) -> Column:
    known = np.flatnonzero(~np.isnan(column))
    at = np.maximum.accumulate(np.where(np.isnan(column), -1, np.arange(column.size)))
    return np.asarray(column[np.where(at < 0, known[0], at)])


def _of_level(given: Readings, quantity: str) -> _Change | None:
    """Find the day from which a quantity that is never below nothing stands on another level."""
    unit = given.units[quantity]
    of = np.sum if quantity in ("solar_radiation", "reference_et") else np.mean
    days = given.days(given.values[quantity], of)
    with np.errstate(divide="ignore", invalid="ignore"):
        level = np.log(days)
    level[~np.isfinite(level)] = np.nan
    top = int(np.nanargmax(given.values[quantity]))
    if given.values[quantity][top] <= 0.0:
        return None
    best: tuple[float, _Change] | None = None
    for other in _UNITS.get(quantity, ()):
        apart = float(np.log(given.read_as(quantity, other)[top] / given.values[quantity][top]))
        # A week of cloud is a quarter of a clear one, and hardly a twentieth.
        if abs(apart) < (_SMALL if quantity == "solar_radiation" else 0.5):
            continue
        for first, last, wanted in ((unit, other, -apart), (other, unit, apart)):
            # What weather makes too must last from there to the end of the file.
            window = level.size if abs(apart) < _SMALL else _WINDOW_DAYS
            for mixed in (0, 1):
                for at in map(int, _likely_days(level, mixed, wanted)):
                    before = level[max(at - window, 0) : at]
                    after = level[at + mixed : at + mixed + window]
                    spread = _spread_if_apart(before, after, wanted)
                    # A day that holds both units is counted only where it must be.
                    if spread is None or (best and spread + _MIXED * mixed >= best[0]):
                        continue
                    step = max(round(_DAY_HOURS / given.hours), 1)
                    begin = given.first_midnight + at * step
                    change = _Change(begin + mixed * step, begin - 1, first, last)
                    best = spread + _MIXED * mixed, change
    return None if best is None else best[1]


def _likely_days(level: Column, mixed: int, wanted: float) -> NDArray[np.int64]:
    """Days on whose two sides levels may lie as a change of unit puts them; the others do not."""
    if abs(wanted) < _SMALL:
        up = np.sign(wanted) * level
        before = np.fmax.accumulate(up)
        after = np.fmin.accumulate(up[::-1])[::-1]
        return 1 + np.flatnonzero(after[1 + mixed :] > before[: level.size - 1 - mixed])
    edge = np.full(_WINDOW_DAYS, np.nan)
    windows = sliding_window_view(np.concatenate([edge, level, edge]), _WINDOW_DAYS)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # windows without a value
        middle = np.nanmedian(windows, axis=1)
    days = np.arange(1, level.size)
    leap = middle[days + mixed + _WINDOW_DAYS] - middle[days]
    return 1 + np.flatnonzero(np.abs(leap - wanted) <= _slack(wanted))


def _slack(wanted: float) -> float:
    """How far a leap may be from that of a change of unit, both as logarithms."""
    size = abs(wanted)
    return 0.15 if size < _SMALL else 1.2 if size > _LARGE else 0.7


def _spread_if_apart(before: Column, after: Column, wanted: float) -> float | None:
    """How far levels lie from what a change of unit would make of them; None where it is none."""
    before, after = before[~np.isnan(before)], after[~np.isnan(after)]
    small, large = abs(wanted) < _SMALL, abs(wanted) > _LARGE
    least = 6 if small else 2 if large else 5
    if min(before.size, after.size) < least:
        return None
    leap = float(np.median(after) - np.median(before))
    if abs(leap - wanted) > _slack(wanted):
        return None
    spread = float(np.sqrt(0.5 * (before.var() + after.var())))
    gap = after.min() - before.max() if wanted > 0.0 else before.min() - after.max()
    if gap <= 0.1 * abs(wanted) if small else abs(leap) < _SPREADS * spread + 0.1:
        return None
    return spread + abs(leap - wanted)


def _of_rain(given: Readings) -> _Change | None:
    """Find where whole tips of a bucket in mm turn into hundredths of an inch, or the reverse."""
    rain, unit = given.values["rain"], given.units["rain"]
    if unit not in ("mm", "in"):
        return None
    millimetres = rain if unit == "mm" else given.read_as("rain", "mm")
    wet = np.flatnonzero(rain > 0.0)
    tips = of_a_bucket(millimetres[wet])
    if tips.all():
        return None
    for first, last, as_tips in (("mm", "in", tips), ("in", "mm", tips[::-1])):
        # The first amount that is no whole tip ends the part in mm; before it all are.
        length = int(np.argmin(as_tips))
        rest = np.sum(~as_tips[length:])
        if length < _FEW_WET or rest < max(_FEW_WET, 0.5 * (as_tips.size - length)):
            continue
        at = length if first == "mm" else wet.size - length
        light = millimetres[wet[at:]] if first == "mm" else millimetres[wet[:at]]
        hundredths = np.abs(100.0 * light - np.round(100.0 * light)) < 1e-6
        days = np.unique(given.edges[wet[at:] if first == "mm" else wet[:at]].astype("M8[D]"))
        if hundredths.all() and light.sum() < _LIGHT * days.size:
            return _Change(int(wet[at]), int(wet[at - 1]), first, last)
    return None
