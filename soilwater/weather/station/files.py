"""Weather station files: read, checked and echoed, then made weather.

`read_station` turns a file into a `StationRecord` in known units on a regular step and says what it
understood. Missing is never zero: a gap stays a gap until it is filled in a step of its own.
`read_weather` does both in one go for a file without gaps.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from soilwater.weather.reference_et import Site
from soilwater.weather.series import Weather
from soilwater.weather.station.columns import (
    QUANTITIES,
    WARM_DAY_REFERENCE_ET,
    Quantity,
    assign_columns,
    column_numbers,
    column_units,
    spell,
    unit_text,
)
from soilwater.weather.station.record import Column, StationRecord
from soilwater.words.errors import Faults
from soilwater.words.forms import Height
from soilwater.words.stamps import STANDARD, daylight_saving_hint, read_stamps, to_standard_time
from soilwater.words.text_tables import read_text_table
from soilwater.words.times import hours_between, interval_edges, stamp

MISSING_CODES: tuple[float | str, ...] = (-99.0, -99.9, -999.0, -999.9, -9999.0, -99999.0)
"""Numbers that stations write for "nothing measured"; common practice, no source."""

_DAY_HOURS = 24.0
# Slightly negative amounts of short steps: dew in evapotranspiration, the night offset of a
# radiation sensor. Beyond this [per hour] it is a fault (common practice, no source).
_DEW = {"reference_et": 0.1, "solar_radiation": 0.05}


def read_weather(
    source: Any,
    *,
    label: Literal["start", "end"] | None = None,
    site: Site | None = None,
    reference_et: Literal["file", "fao56", "asce", "hargreaves"] = "file",
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    time_zone: str = STANDARD,
    day_first: bool | None = None,
    cumulative: Sequence[str] = (),
    missing: Sequence[float | str] = MISSING_CODES,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    wind_height: Height = 2.0,
    coastal: bool = False,
    sunrise: float = 6.0,
    sunset: float = 18.0,
    sheet: str | None = None,
    name: str = "",
) -> Weather:
    """Read a station file without gaps and make weather of it.

    The same as `read_station` followed by `StationRecord.to_weather`, whose parameters it takes.
    A file with gaps needs the two steps, with `StationRecord.fill_gaps` between them.

    Parameters
    ----------
    source, label, site, columns, units, time_zone : optional
        As for `read_station`.
    day_first, cumulative, missing, ranges : optional
        As for `read_station`.
    reference_et, wind_height, coastal, sunrise, sunset : optional
        As for `StationRecord.to_weather`.
    sheet, name : str, optional
        As for `read_station`.

    Returns
    -------
    Weather
        Over the span of the file.

    Raises
    ------
    InputError
        As for the two steps.
    """
    record = read_station(
        source,
        label=label,
        site=site,
        columns=columns,
        units=units,
        time_zone=time_zone,
        day_first=day_first,
        cumulative=cumulative,
        missing=missing,
        ranges=ranges,
        sheet=sheet,
        name=name,
    )
    return record.to_weather(
        reference_et, wind_height=wind_height, coastal=coastal, sunrise=sunrise, sunset=sunset
    )


def read_station(
    source: Any,
    *,
    label: Literal["start", "end"] | None = None,
    site: Site | None = None,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    time_zone: str = STANDARD,
    day_first: bool | None = None,
    cumulative: Sequence[str] = (),
    missing: Sequence[float | str] = MISSING_CODES,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    sheet: str | None = None,
    name: str = "",
) -> StationRecord:
    """Read a weather station file, daily or of shorter steps.

    Parameters
    ----------
    source : path, DataFrame or mapping of name to sequence
        The file or table.
    label : {"start", "end"}, optional
        What a stamp marks: the start or the end of its step. Only stamps that are plain dates may
        leave it out; they name their day.
    site : Site, optional
        Needed to compute reference evapotranspiration and for UTC stamps.
    columns : mapping of str to str, optional
        Header of a quantity (a key of `QUANTITIES`, or ``"time"`` and ``"clock"``), where the
        usual headers do not do.
    units : mapping of str to str, optional
        Unit of a quantity, where the file gives none.
    time_zone : str, optional
        ``"standard"`` for stamps in local standard time, ``"UTC"``, or a zone such as
        ``"Europe/London"`` for stamps that follow daylight-saving time.
    day_first : bool, optional
        Order of dates such as 12/11/2026, where the dates themselves do not settle it.
    cumulative : sequence of str, optional
        Quantities that are running totals; a fall of the counter is a reset.
    missing : sequence of float or str, optional
        Codes for "nothing measured"; blanks always are.
    ranges : mapping of str to (lowest, highest), optional
        Allowed values of a quantity in its kept unit and per step, in place of the usual ones.
    sheet : str, optional
        Sheet of a workbook.
    name : str, optional
        For people.

    Returns
    -------
    StationRecord
        Its representation shows what was understood: look at it.

    Raises
    ------
    InputError
        With every fault of the file: columns without a unit, cells that are no numbers, stamps that
        cannot be read, repeat or go backwards, values out of range with their lines.
    """
    table = read_text_table(_with_time_column(source), sheet=sheet)
    subject = table.source
    chosen, time_at, clock_at, unused = assign_columns(table, columns or {})
    kinds = column_units(table, chosen, units or {}, subject)
    faults = Faults(subject)
    for quantity in (*cumulative, *(ranges or {})):
        if quantity not in QUANTITIES:
            faults.add(f'"{quantity}" is not a quantity', allowed=", ".join(QUANTITIES))
    notes = [*table.notes]
    raw: dict[str, NDArray[np.float64]] = {}
    for quantity, at in chosen.items():
        raw[quantity], told = column_numbers(table, at, quantity, missing, faults)
        notes += told
    faults.raise_if_any()

    order = np.arange(len(table.rows))
    dates = [row[time_at] for row in table.rows]
    clocks = None if clock_at is None else [row[clock_at] for row in table.rows]
    stamps = read_stamps(dates, clocks, table.line_numbers, day_first, subject)
    if len(order) > 1 and np.mean(np.diff(stamps.time) < np.timedelta64(0)) > 0.5:
        order = order[::-1]
        reverse = slice(None, None, -1)
        offsets = None if stamps.offsets is None else stamps.offsets[reverse]
        stamps = replace(stamps, time=stamps.time[reverse], offsets=offsets)
        notes.append("newest row first: turned round")
    lines = np.asarray(table.line_numbers)[order]
    offset = None if site is None else site.utc_offset
    stamps = to_standard_time(stamps, time_zone, offset, lines.tolist(), subject)
    notes += stamps.notes
    if label is None:
        if not stamps.date_only:
            faults.add(
                "the stamps have a time of day, and what they mark is not stated",
                cure='say label="start" or label="end" (of the step); the station\'s manual tells',
            )
        label = "start"
    elif label not in ("start", "end"):
        faults.add(f"label is {label!r}", allowed='"start" or "end"')
    faults.raise_if_any()
    rows = np.stack([raw[q][order] for q in raw]) if raw else np.empty((0, len(order)))
    keep, told = _drop_repeats(stamps.time, rows, lines, subject)
    notes += told
    time, rows, lines = stamps.time[keep], rows[:, keep], lines[keep]
    place, step = _on_grid(time, lines, subject)
    grid = time[0] + np.arange(place[-1] + 1) * step
    edges = interval_edges(grid, label, subject)
    hours = float(hours_between(edges[0], edges[1]))
    line_of = np.zeros(grid.size, dtype=np.int64)
    line_of[place] = lines
    absent = grid.size - place.size
    if absent:
        notes.append(f"{absent} rows are absent from the file")
        if hint := daylight_saving_hint(time):
            notes.append(hint)

    values: dict[str, NDArray[np.float64]] = {}
    for quantity, row in zip(raw, rows, strict=True):
        column = np.full(grid.size, np.nan)
        column[place] = row
        kind, unit = QUANTITIES[quantity], kinds[quantity]
        if quantity in cumulative:
            column, told = _differences(column, quantity)
            notes += told
        values[quantity] = _converted(column, kind, unit, hours)
    for quantity in cumulative:
        if quantity in QUANTITIES and quantity not in values:
            faults.add(f'cumulative names "{quantity}", and there is no such column')
    measured = [q for q in values if QUANTITIES[q].per_step and q not in cumulative]
    for quantity in measured:
        _suspect_running_total(values[quantity], quantity, hours, faults)
    notes += _check_ranges(values, edges, line_of, hours, site, ranges or {}, faults)
    faults.raise_if_any()
    if unused:
        notes.append(f"columns not used: {', '.join(unused)}")
    for quantity in chosen:
        if kinds[quantity] != spell(QUANTITIES[quantity].unit) and QUANTITIES[quantity].per_step:
            notes.append(
                f"{quantity} converted from {unit_text(table, chosen, units, quantity)}: "
                f"{np.nansum(values[quantity]):.1f} {QUANTITIES[quantity].unit} in all"
            )
    understood = tuple(
        Column(quantity, table.columns[at], unit_text(table, chosen, units, quantity))
        for quantity, at in chosen.items()
    )
    filled = {quantity: np.zeros(grid.size, dtype=bool) for quantity in values}
    return StationRecord(
        edges, values, filled, understood, site, tuple(notes), name=name, source=subject
    )


# --- time ----------------------------------------------------------------------------------------


def _with_time_column(source: Any) -> Any:
    """Keep the time index of a DataFrame, which as an index without a name would be lost."""
    if isinstance(source, pd.DataFrame) and isinstance(source.index, pd.DatetimeIndex):
        return source.rename_axis(index=str(source.index.name or "time"))
    return source


def _drop_repeats(
    time: NDArray[np.datetime64], rows: NDArray[np.float64], lines: NDArray[np.int64], subject: str
) -> tuple[NDArray[np.bool_], list[str]]:
    """Drop rows that say the same twice; refuse stamps that say two things or go backwards."""
    faults = Faults(subject)
    keep = np.ones(time.size, dtype=bool)
    hint = daylight_saving_hint(time)
    for i in np.flatnonzero(np.diff(time) <= np.timedelta64(0)):
        if time[i] == time[i + 1] and np.array_equal(rows[:, i], rows[:, i + 1], equal_nan=True):
            keep[i + 1] = False
        elif time[i] == time[i + 1]:
            faults.add(
                f"lines {lines[i]} and {lines[i + 1]} carry the same stamp {stamp(time[i])} with "
                f"different values",
                cure=hint or "delete the wrong one",
            )
        else:
            faults.add(
                f"time goes back from {stamp(time[i])} to {stamp(time[i + 1])}",
                where=f"line {lines[i + 1]}",
                cure=hint or "sort the rows",
            )
    faults.raise_if_any()
    dropped = int((~keep).sum())
    return keep, [f"{dropped} repeated rows dropped"] if dropped else []


def _on_grid(
    time: NDArray[np.datetime64], lines: NDArray[np.int64], subject: str
) -> tuple[NDArray[np.int64], np.timedelta64]:
    """Place of each row on a regular grid, and its step: the commonest one."""
    faults = Faults(subject)
    if time.size < 2:
        faults.add(f"{time.size} rows", allowed="2 or more, to know the step")
        faults.raise_if_any()
    steps, counts = np.unique(np.diff(time), return_counts=True)
    step = steps[np.argmax(counts)]
    off = np.flatnonzero((time - time[0]) % step != np.timedelta64(0))
    for i in off:
        faults.add(
            f"{stamp(time[i])} is not on the step of {hours_between(time[0], time[0] + step):g} h "
            f"that starts at {stamp(time[0])}",
            where=f"line {lines[i]}",
            cure="bring the stamps to one step",
        )
    faults.raise_if_any()
    return np.asarray((time - time[0]) // step, dtype=np.int64), step


# --- values --------------------------------------------------------------------------------------


def _converted(
    column: NDArray[np.float64], kind: Quantity, unit: str, hours: float
) -> NDArray[np.float64]:
    if unit in kind.rates:
        return column * kind.rates[unit] * hours
    factor, offset = kind.units[unit]
    return column * factor + offset


def _differences(
    column: NDArray[np.float64], quantity: str
) -> tuple[NDArray[np.float64], list[str]]:
    """Amounts of each step from a running total; after a reset the counter itself is the amount."""
    step = np.diff(column, prepend=np.nan)
    reset = step < 0.0
    amounts = np.where(reset, column, step)
    # Before the first row nothing is known, unless the counter starts at nothing.
    if column.size and column[0] == 0.0:
        amounts[0] = 0.0
    note = f"{quantity}: differences of a running total, {int(reset.sum())} resets"
    return amounts, [note]


def _suspect_running_total(
    column: NDArray[np.float64], quantity: str, hours: float, faults: Faults
) -> None:
    """Ask about amounts that keep climbing and seldom fall."""
    known = column[~np.isnan(column)]
    climbs, falls = int((np.diff(known) > 0.0).sum()), int((np.diff(known) < 0.0).sum())
    # Rain falls back to nothing after every shower; anything else may well climb for a week, but
    # not beyond what is possible.
    too_much = quantity == "rain" or known.max(initial=0.0) > _highest(QUANTITIES[quantity], hours)
    if climbs >= 6 and falls <= 0.2 * climbs and too_much:
        faults.add(
            f"{quantity} climbs {climbs} times and falls {falls} times: it looks like a running "
            f"total",
            cure=f'say cumulative=("{quantity}",), or give amounts per step',
        )


def _highest(kind: Quantity, hours: float) -> float:
    """Largest possible value in a step: of a state as it is, of an amount by the step's length."""
    if not kind.per_step:
        return kind.highest
    if hours >= _DAY_HOURS:
        return kind.highest * hours / _DAY_HOURS
    return min(kind.highest, kind.highest_hour * hours)


def _check_ranges(
    values: dict[str, NDArray[np.float64]],
    edges: NDArray[np.datetime64],
    lines: NDArray[np.int64],
    hours: float,
    site: Site | None,
    ranges: Mapping[str, tuple[float, float]],
    faults: Faults,
) -> list[str]:
    """Hold every value against what is physically possible; set slight negatives to 0."""
    notes = []
    month = edges[:-1].astype("datetime64[M]").astype(np.int64) % 12 + 1
    if site is not None and site.latitude < 0.0:
        month = (month + 5) % 12 + 1
    warm = (month >= 5) & (month <= 8)
    for quantity, column in values.items():
        kind = QUANTITIES[quantity]
        low = np.full(column.size, kind.lowest)
        high = _highest(kind, hours)
        if quantity in ranges:
            low[:], high = ranges[quantity]
        elif quantity == "reference_et" and hours == _DAY_HOURS:
            low[warm] = WARM_DAY_REFERENCE_ET
        slack = _DEW.get(quantity, 0.0) * hours if hours < _DAY_HOURS else 0.0
        wrong = np.flatnonzero((column < low - slack) | (column > high))
        if wrong.size:
            i = int(wrong[0])
            count = "1 value" if wrong.size == 1 else f"{wrong.size} values"
            span = "a day" if hours == _DAY_HOURS else f"in {hours:g} h"
            unit = f"{kind.unit} {span}" if kind.per_step else kind.unit
            faults.add(
                f"{quantity}: {count} outside {low[i]:g} to {high:g} {unit}, the first "
                f"{column[i]:.3g} in line {lines[i]} ({stamp(edges[i])})",
                cure=_range_cure(quantity, values),
            )
        slight = (column < 0.0) & kind.per_step
        if slight.any() and not wrong.size:
            values[quantity] = np.where(slight, 0.0, column)
            notes.append(
                f"{quantity}: {int(slight.sum())} slightly negative values set to 0 (dew, or a "
                f"sensor's night offset)"
            )
    pair = ("minimum_air_temperature", "maximum_air_temperature")
    if all(q in values for q in pair):
        wrong = np.flatnonzero(values[pair[0]] > values[pair[1]])
        if wrong.size:
            faults.add(
                f"the lowest temperature is above the highest in {wrong.size} rows, the first in "
                f"line {lines[int(wrong[0])]}",
                cure="check whether the two columns are swapped",
            )
    return notes


def _range_cure(quantity: str, values: Mapping[str, NDArray[np.float64]]) -> str:
    hint = "check the unit"
    if quantity == "reference_et":
        hint = "check the unit (in?)"
    other = {"wind_speed": "solar_radiation", "solar_radiation": "wind_speed"}.get(quantity)
    if other in values:
        hint = f"check the unit, and whether {quantity} and {other} are swapped"
    return f'{hint}; a true value is let through by ranges={{"{quantity}": (lowest, highest)}}'
