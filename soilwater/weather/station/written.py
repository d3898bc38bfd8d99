"""A station table as it was written, brought to one row a step with its stamp in one column.

Loggers give years, days and hours in columns of their own, seconds since 1970 or the day numbers of
workbooks; people add totals below.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from soilwater.words.set_right import without_lines
from soilwater.words.summaries import sums_up
from soilwater.words.text_tables import TextTable

_PARTS = {
    "year": r"years?|yyyy|yr|jahr|ann[ée]e|a[ñn]o",
    "month": r"months?|mon|mm|monat|mois|mes",
    "day": r"days?|dd|day of month|tag|jour|d[ií]a",
    "day of year": r"doy|jday|julian( day)?|day of (the )?year|jul|yearday|jour julien",
}
_FIRST_SECOND, _LAST_SECOND = 946_684_800, 4_102_444_800
"""Seconds since 1970 of the years 2000 and 2100."""
_FIRST_DAY, _LAST_DAY = 36_526, 73_051
"""The same years in the day numbers of workbooks, counted from 1899-12-30."""


def as_one_stamp(table: TextTable, leave_out: Sequence[int] = ()) -> TextTable:
    """Bring a table to one column of stamps and a row for each.

    Parameters
    ----------
    table : TextTable
        As read.
    leave_out : sequence of int, optional
        Lines that are left out.

    Returns
    -------
    TextTable
        Its notes say what was joined, counted or left out.

    Raises
    ------
    InputError
        If a line to leave out is not there.
    """
    return _counted(_joined(_without_summaries(without_lines(table, leave_out))))


def _without_summaries(table: TextTable) -> TextTable:
    """Leave out rows named "Total", "Mean" and the like instead of a date."""
    summing = sums_up([next(filter(None, row), "") for row in table.rows])
    if not any(summing) or all(summing):
        return table
    lines = [str(n) for n, summed in zip(table.line_numbers, summing, strict=True) if summed]
    kept = [i for i, summed in enumerate(summing) if not summed]
    return replace(
        table,
        rows=tuple(table.rows[i] for i in kept),
        line_numbers=tuple(table.line_numbers[i] for i in kept),
        notes=(*table.notes, f"sums up other rows, left out: {table.line_word} {', '.join(lines)}"),
    )


def _joined(table: TextTable) -> TextTable:
    """Join columns of year, month and day, or year and day of the year, into dates."""
    at: dict[str, int] = {}
    for i, header in enumerate(table.columns):
        plain = re.sub(r"[_\s]+", " ", header).strip().lower()
        for part, pattern in _PARTS.items():
            if re.fullmatch(pattern, plain):
                at.setdefault(part, i)
    calendar, ordinal = {"year", "month", "day"} <= set(at), {"year", "day of year"} <= set(at)
    if not (calendar or ordinal):
        return table
    used = ["year", "month", "day"] if calendar else ["year", "day of year"]
    places = [at[part] for part in used]
    dates = []
    for row in table.rows:
        numbers = [row[i] for i in places]
        if not all(re.fullmatch(r"\d{1,4}(\.0)?", cell) for cell in numbers):
            dates.append(" ".join(numbers))
            continue
        year, *rest = (int(float(cell)) for cell in numbers)
        if calendar:
            dates.append(f"{year:04d}-{rest[0]:02d}-{rest[1]:02d}")
        else:
            in_year = year > 0 and 1 <= rest[0] <= 366
            day = datetime(year, 1, 1) + timedelta(days=rest[0] - 1) if in_year else None
            dates.append(f"{day:%Y-%m-%d}" if day else " ".join(numbers))
    kept = [i for i in range(len(table.columns)) if i not in places]
    return replace(
        table,
        columns=("date", *(table.columns[i] for i in kept)),
        units=("", *(table.units[i] for i in kept)),
        rows=tuple(
            (date, *(row[i] for i in kept)) for date, row in zip(dates, table.rows, strict=True)
        ),
        notes=(*table.notes, f"dates from the columns {', '.join(used)}"),
    )


def _counted(table: TextTable) -> TextTable:
    """Turn seconds since 1970, and the day numbers of workbooks, into stamps."""
    for i, header in enumerate(table.columns):
        named = re.search(r"time|date|stamp|epoch|unix|datum|zeit|fecha|heure", header.lower())
        cells = [row[i] for row in table.rows]
        if not named or not cells or not all(re.fullmatch(r"\d+([.,]\d+)?", c) for c in cells):
            continue
        numbers = [float(cell.replace(",", ".")) for cell in cells]
        seconds = [n / 1000.0 if n > _LAST_SECOND else n for n in numbers]
        if all(_FIRST_SECOND <= n <= _LAST_SECOND for n in seconds):
            whole = [datetime.fromtimestamp(round(n), UTC) for n in seconds]
            stamps, what = [f"{t:%Y-%m-%dT%H:%M:%S}Z" for t in whole], "seconds since 1970, in UTC"
        elif all(_FIRST_DAY <= n <= _LAST_DAY for n in numbers):
            # To the second: a day number carries five or six decimals.
            days = [datetime(1899, 12, 30) + timedelta(seconds=round(n * 86400.0)) for n in numbers]
            near = [t + timedelta(seconds=30) for t in days]
            stamps = [f"{t:%Y-%m-%d %H:%M}" for t in near]
            if all(n.is_integer() for n in numbers):
                stamps = [f"{t:%Y-%m-%d}" for t in days]
            what = "day numbers of a workbook"
        else:
            continue
        return replace(
            table,
            rows=tuple(
                (*row[:i], s, *row[i + 1 :]) for s, row in zip(stamps, table.rows, strict=True)
            ),
            notes=(*table.notes, f'"{header}" read as {what}'),
        )
    return table
