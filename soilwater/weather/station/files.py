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
from soilwater.weather.station.changes import ask_changed_units
from soilwater.weather.station.columns import (
    QUANTITIES,
    column_numbers,
    column_units,
    part_of_unit,
    spell,
    unit_text,
)
from soilwater.weather.station.doubts import doubt_units
from soilwater.weather.station.headers import assign_columns, quantities_named
from soilwater.weather.station.ranges import check_ranges, check_sky, highest
from soilwater.weather.station.readings import Readings, read_in
from soilwater.weather.station.record import Column, StationRecord
from soilwater.weather.station.shifts import ask_about_sun, moved_back
from soilwater.weather.station.steps import drop_repeats, on_grid, shuffled
from soilwater.weather.station.totals import differences, suspect_running_total
from soilwater.weather.station.written import as_one_stamp
from soilwater.words.errors import Faults
from soilwater.words.forms import Height, TimeSpan
from soilwater.words.renamed import mind_words
from soilwater.words.set_right import Columns, Missing
from soilwater.words.stamps import STANDARD, daylight_saving_hint, read_stamps, to_standard_time
from soilwater.words.text_tables import TextTable, read_text_table
from soilwater.words.times import hours_between, interval_edges

MISSING_CODES: tuple[float | str, ...] = (-99.0, -99.9, -999.0, -999.9, -9999.0, -99999.0)
"""Numbers that stations write for "nothing measured"; common practice, no source."""


@mind_words()
def read_weather(
    source: Any,
    *,
    label: Literal["start", "end"] | None = None,
    site: Site | None = None,
    reference_et: Literal["file", "fao56", "asce", "hargreaves"] = "file",
    columns: Columns | None = None,
    units: Mapping[str, str] | None = None,
    time_zone: str = STANDARD,
    day_first: bool | None = None,
    cumulative: str | Sequence[str] = (),
    missing: Missing = (),
    leave_out: Sequence[int] = (),
    ranges: Mapping[str, tuple[float, float]] | None = None,
    late: Mapping[str, TimeSpan] | None = None,
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
    day_first, cumulative, missing, leave_out, ranges, late : optional
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
        leave_out=leave_out,
        ranges=ranges,
        late=late,
        sheet=sheet,
        name=name,
    )
    return record.to_weather(
        reference_et, wind_height=wind_height, coastal=coastal, sunrise=sunrise, sunset=sunset
    )


@mind_words()
def read_station(
    source: Any,
    *,
    label: Literal["start", "end"] | None = None,
    site: Site | None = None,
    columns: Columns | None = None,
    units: Mapping[str, str] | None = None,
    time_zone: str = STANDARD,
    day_first: bool | None = None,
    cumulative: str | Sequence[str] = (),
    missing: Missing = (),
    leave_out: Sequence[int] = (),
    ranges: Mapping[str, tuple[float, float]] | None = None,
    late: Mapping[str, TimeSpan] | None = None,
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
    columns : mapping of str to str or sequence of str, optional
        Header of a quantity (a key of `QUANTITIES`, or ``"time"`` and ``"clock"``), where the
        usual headers do not do; ``"unused"`` has one or several that are left out.
    units : mapping of str to str, optional
        Unit of a quantity, where the file gives none.
    time_zone : str, optional
        ``"standard"`` for stamps in local standard time, ``"UTC"``, or a zone such as
        ``"Europe/London"`` for stamps that follow daylight-saving time.
    day_first : bool, optional
        Order of dates such as 12/11/2026, where the dates themselves do not settle it.
    cumulative : str or sequence of str, optional
        Quantities that are running totals, by their names here or by their headers; where the
        counter falls to half or less it was reset.
    missing : float, str or sequence of either, optional
        Further codes for "nothing measured", besides blanks and `MISSING_CODES`.
    leave_out : sequence of int, optional
        Lines of the file (rows of a table in memory) that are left out, counted as messages do.
    ranges : mapping of str to (lowest, highest), optional
        Allowed values of a quantity in its kept unit and per step, in place of the usual ones; its
        unit is then not doubted.
    late : mapping of str to float or str, optional
        Quantities whose values come later than their stamps, and by how much [h]: radiation from
        elsewhere, in another time zone. They are moved back by whole steps.
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
        cannot be read, repeat or go backwards, values out of range with their lines; and with
        both readings of a column whose unit, total or time of day physics speaks against.
    """
    table = source
    if not isinstance(source, TextTable):
        table = as_one_stamp(read_text_table(_with_time_column(source), sheet=sheet), leave_out)
    subject = table.source
    chosen, time_at, clock_at, unused = assign_columns(table, columns or {})
    headers = {quantity: table.columns[at] for quantity, at in chosen.items()}
    faults = Faults(subject)

    def by_quantity(argument: str, given: Any) -> dict[str, Any]:
        named = quantities_named(argument, given, table, chosen, faults)
        whole = isinstance(given, Mapping)
        return {quantity: given[name] if whole else True for name, quantity in named.items()}

    units = by_quantity("units", units or {})
    totals = by_quantity("cumulative", [cumulative] if isinstance(cumulative, str) else cumulative)
    allowed = by_quantity("ranges", ranges or {})
    delays = by_quantity("late", late or {})
    faults.raise_if_any()
    kinds = column_units(table, chosen, units, subject)
    codes = (*MISSING_CODES, *([missing] if isinstance(missing, (str, int, float)) else missing))
    notes = [*table.notes]
    raw: dict[str, NDArray[np.float64]] = {}
    for quantity, at in chosen.items():
        raw[quantity], told = column_numbers(table, at, quantity, codes, faults)
        factor, _ = part_of_unit(unit_text(table, chosen, units, quantity))
        raw[quantity] *= factor
        notes += [*told, *([f"{quantity}: numbers times {factor:g}"] if factor != 1.0 else [])]
    faults.raise_if_any()

    order = np.arange(len(table.rows))
    dates = [row[time_at] for row in table.rows]
    clocks = None if clock_at is None else [row[clock_at] for row in table.rows]
    stamps = read_stamps(dates, clocks, table.line_numbers, day_first, subject)
    if len(order) > 1 and np.mean(np.diff(stamps.time) < np.timedelta64(0)) > 0.5:
        order = order[::-1]
        notes.append("newest row first: turned round")
    in_order = shuffled(stamps.time[order])
    if in_order is not None:
        order = order[in_order]
        notes.append("rows brought into the order of their stamps, which leave no gap")
    offsets = None if stamps.offsets is None else stamps.offsets[order]
    stamps = replace(stamps, time=stamps.time[order], offsets=offsets)
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
    keep, told = drop_repeats(stamps.time, rows, lines, offset, subject)
    notes += told
    time, rows, lines = stamps.time[keep], rows[:, keep], lines[keep]
    place, step = on_grid(time, lines, subject)
    grid = time[0] + np.arange(place[-1] + 1) * step
    edges = interval_edges(grid, label, subject)
    hours = float(hours_between(edges[0], edges[1]))
    line_of = np.zeros(grid.size, dtype=np.int64)
    line_of[place] = lines
    absent = grid.size - place.size
    if absent:
        notes.append(f"{absent} rows are absent from the file")
        if hint := daylight_saving_hint(time, offset):
            notes.append(hint)

    written: dict[str, NDArray[np.float64]] = {}
    values: dict[str, NDArray[np.float64]] = {}
    for quantity, row in zip(raw, rows, strict=True):
        column = np.full(grid.size, np.nan)
        column[place] = row
        if quantity in totals:
            column, told = differences(column, quantity, grid)
            notes += told
        written[quantity] = column
        values[quantity] = read_in(column, QUANTITIES[quantity], kinds[quantity], hours)
    for quantity in values:
        kind = QUANTITIES[quantity]
        told_so = quantity in totals or (quantity == "rain" and quantity in allowed)
        if kind.per_step and not told_so:
            most = highest(kind, hours)
            suspect_running_total(values[quantity], quantity, grid, hours, most, faults)
    cut, told = moved_back(values, delays, hours, faults)
    notes += told
    faults.raise_if_any()
    if cut != slice(None):
        values = {quantity: column[cut] for quantity, column in values.items()}
        written = {quantity: column[cut] for quantity, column in written.items()}
        line_of = line_of[cut]
        edges = np.append(edges[:-1][cut], edges[1:][cut][-1:])
    given = Readings(values, kinds, edges, site, frozenset(allowed), headers)
    ask_changed_units(given, written, line_of, faults)
    faults.raise_if_any()
    values, told = check_ranges(given, written, line_of, allowed, faults)
    notes += told
    faults.raise_if_any()
    given = replace(given, values=values)
    numbers = written.get("solar_radiation")
    if numbers is not None:
        check_sky(given, numbers, line_of, faults, codes=True)
        faults.raise_if_any()
    doubt_units(given, faults)
    faults.raise_if_any()
    if numbers is not None:
        if "solar_radiation" not in delays:
            ask_about_sun(given, label, time_zone, faults)
            faults.raise_if_any()
        check_sky(given, numbers, line_of, faults, codes=False)
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
    filled = {quantity: np.zeros(column.size, dtype=bool) for quantity, column in values.items()}
    return StationRecord(
        edges, values, filled, understood, site, tuple(notes), name=name, source=subject
    )


def _with_time_column(source: Any) -> Any:
    """Keep the time index of a DataFrame, which as an index without a name would be lost."""
    if isinstance(source, pd.DataFrame) and isinstance(source.index, pd.DatetimeIndex):
        return source.rename_axis(index=str(source.index.name or "time"))
    return source
