"""The dated tables beside a site file: what was read, and what water was given."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from soilwater.site.parts import unknown_word
from soilwater.survey.survey import Reading
from soilwater.words.cells import parse_number
from soilwater.words.errors import Faults, InputError
from soilwater.words.grids import decimal_of, grid_of_text
from soilwater.words.safe_files import append_rows, header_of, named_column
from soilwater.words.stamps import read_stamps
from soilwater.words.times import stamp
from soilwater.words.units import number_to_house

READINGS = ("date", "time", "green", "spot", "reading (%)", "rod", "meter", "note")
"""Columns of the table of readings."""
WATER = ("date", "time", "green", "spot", "kind", "amount (mm)", "note")
"""Columns of the table of water."""
KINDS = ("soaking", "heads", "hose")
"""Kinds of water: until the profile drains; by the sprinkler heads; by hand."""


class DatedReading(NamedTuple):
    """A reading, and where it was taken."""

    green: str
    spot: str
    reading: Reading

    @property
    def time(self) -> np.datetime64:
        """When it was taken; a row without a date is refused."""
        time: Any = self.reading.time
        return np.datetime64(time)


class GivenWater(NamedTuple):
    """Water given at a time to a green, or to one spot of it; `amount` [mm], NaN if not known."""

    green: str
    spot: str
    time: np.datetime64
    kind: str
    amount: float


class _Row(NamedTuple):
    """One row under the columns of its table."""

    where: str
    time: np.datetime64
    green: str
    spot: str
    cells: Mapping[str, str]
    units: Mapping[str, str]
    decimal: str


def read_readings(
    path: Path,
    spots: Mapping[str, Collection[str]],
    rod: float,
    now: np.datetime64,
    day_first: bool | None,
    faults: Faults,
) -> tuple[DatedReading, ...]:
    """Read the table of readings, in order of time.

    Parameters
    ----------
    path : Path
        The table; none is as good as an empty one.
    spots : mapping of str to collection of str
        Names of spots by green.
    rod : float
        Length of the rods of a reading without its own [cm].
    now : datetime64
        Nothing was read later than this.
    day_first : bool or None
        Order of day and month, where the dates leave it open.
    faults : Faults
        Takes what is wrong, with its line.
    """

    def one(row: _Row) -> DatedReading:
        value = _quantity(row, "reading", "water_content")
        length = _quantity(row, "rod", "length")
        if math.isnan(value):
            raise InputError("the reading is missing; take the row out if nothing was read.")
        if not row.spot:
            raise InputError("the spot is missing; a reading is taken at one.")
        used = rod if math.isnan(length) else length
        meter = row.cells.get("meter", "")
        return DatedReading(
            row.green, row.spot, Reading(value, rod=used, time=row.time, meter=meter)
        )

    return tuple(
        sorted(
            _each(path, READINGS, spots, now, day_first, faults, one),
            key=lambda each: each.time,
        )
    )


def read_water(
    path: Path,
    spots: Mapping[str, Collection[str]],
    now: np.datetime64,
    day_first: bool | None,
    faults: Faults,
) -> tuple[GivenWater, ...]:
    """Read the table of water, in order of time; its arguments are those of `read_readings`."""

    def one(row: _Row) -> GivenWater:
        kind = row.cells.get("kind", "")
        if kind not in KINDS:
            raise InputError(f'kind is "{kind}"; allowed: {", ".join(KINDS)}.')
        amount = _quantity(row, "amount", "water_amount")
        if math.isnan(amount) and kind != "soaking":
            raise InputError("the amount is missing; only that of a soaking may be.")
        return GivenWater(row.green, row.spot, row.time, kind, amount)

    return tuple(
        sorted(_each(path, WATER, spots, now, day_first, faults, one), key=lambda each: each.time)
    )


def add_to(path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows to a table, numbers as it writes them: with its decimal sign, without its units.

    Parameters
    ----------
    path : Path
        The table; made where there is none.
    columns : sequence of str
        Its header, where it has to be made.
    rows : sequence of mapping
        Cells by column; numbers with a point and their unit.
    """
    units = dict(named_column(each) for each in columns)
    comma = False
    if path.exists():
        header, separator = header_of(path)
        units = dict(header)
        comma = separator == ";"
    append_rows(
        path,
        columns,
        [
            {
                name: _as_written(cell, units.get(name, ""), comma) if name in _MEASURED else cell
                for name, cell in row.items()
            }
            for row in rows
        ],
    )


_ASKED = "say day_first=True or day_first=False"
_ANSWERED = "write day_first = true or day_first = false below [tables] in the site file"
_MEASURED = ("reading", "rod", "amount")


def _as_written(cell: str, unit: str, comma: bool) -> str:
    bare = cell.removesuffix(unit).strip() if unit else cell
    return bare.replace(".", ",") if comma else bare


def _each(
    path: Path,
    columns: Sequence[str],
    spots: Mapping[str, Collection[str]],
    now: np.datetime64,
    day_first: bool | None,
    faults: Faults,
    make: Callable[[_Row], Any],
) -> list[Any]:
    """Make something of every row; whatever is wrong is noted with its line."""
    found: list[Any] = []
    if not path.exists():
        return found
    own = Faults(path.name)
    with own.catching():
        for row in _rows(path, columns, spots, day_first, own):
            if row.time > now:
                own.add(f"{stamp(row.time)} is in the future, now is {stamp(now)}", where=row.where)
            with own.catching(row.where):
                found.append(make(row))
    if len(own):
        for fault in own.as_error().faults:
            faults.add(fault, where=path.name)
    return found


def _rows(
    path: Path,
    columns: Sequence[str],
    spots: Mapping[str, Collection[str]],
    day_first: bool | None,
    faults: Faults,
) -> list[_Row]:
    """Rows of a table with their times and places; the first line is its header."""
    grid = grid_of_text(path)
    lines = [(number, cells) for number, cells in grid.lines if any(cells)]
    if not lines:
        return []
    (_, header), *body = lines
    known = [named_column(each)[0] for each in columns]
    names, units = zip(*(named_column(each) for each in header), strict=True)
    for name, written in zip(names, header, strict=True):
        if name and name not in known:
            unknown_word(written, known, "line 1", faults)
    for needed in known[:3]:
        if needed not in names:
            faults.add(f'the column "{needed}" is missing', where="line 1")
    if len(faults) or not body:
        return []
    unfinished = not path.read_bytes().endswith(b"\n")
    whole = []
    for number, cells in body:
        last = number == body[-1][0]
        if len(cells) < len(header) and last and unfinished:
            faults.add(
                f'the last line ends in the middle: "{", ".join(cells)}"',
                where=f"line {number}",
                cure="write it to its end, or take it out",
            )
        elif any(cells[len(header) :]):
            faults.add(
                f"{len(cells)} cells under {len(header)} columns",
                where=f"line {number}",
                cure="where a comma is the decimal sign, separate cells by ;",
            )
        else:
            filled = [*cells, *[""] * len(header)][: len(header)]
            whole.append((number, dict(zip(names, filled, strict=True))))
    decimal = decimal_of([(n, [row.get(each, "") for each in _MEASURED]) for n, row in whole], "")
    return _dated(whole, dict(zip(names, units, strict=True)), decimal, spots, day_first, faults)


def _dated(
    rows: Sequence[tuple[int, dict[str, str]]],
    units: Mapping[str, str],
    decimal: str,
    spots: Mapping[str, Collection[str]],
    day_first: bool | None,
    faults: Faults,
) -> list[_Row]:
    """Put the times to the rows, and find their greens and spots."""
    if not rows:
        return []
    numbers = [number for number, _ in rows]
    dates, clocks = ([row[name] for _, row in rows] for name in ("date", "time"))
    try:
        times = read_stamps(dates, clocks, numbers, day_first, "dates").time
    except InputError as error:
        for fault in error.faults:
            faults.add(fault.replace(_ASKED, _ANSWERED))
        times = np.full(len(rows), np.datetime64("1900-01-01", "ns"))
    made = []
    for number, time, row in zip(numbers, times, (row for _, row in rows), strict=True):
        where = f"line {number}"
        green, spot = row["green"], row.get("spot", "")
        with faults.catching(where):
            known_spot(green, spot, spots)
        made.append(_Row(where, np.datetime64(time), green, spot, row, units, decimal))
    return made


def known_spot(green: str, spot: str, spots: Mapping[str, Collection[str]]) -> None:
    """Refuse a green, or a spot of it, that the site does not have; no spot is the whole green.

    Raises
    ------
    InputError
        With the names there are.
    """
    if green not in spots:
        given = f'no green "{green}"' if green else "the green is missing"
        raise InputError(f"{given}; allowed: {', '.join(spots)}.")
    if spot and spot not in spots[green]:
        raise InputError(
            f'no spot "{spot}" on green "{green}"; allowed: {", ".join(spots[green])}.'
        )


def _quantity(row: _Row, name: str, quantity: str) -> float:
    """Quantity in a cell, in its house unit; NaN where the cell is empty."""
    cell, unit = row.cells.get(name, ""), row.units.get(name, "")
    try:
        number, own = parse_number(cell, row.decimal)
    except ValueError:
        raise InputError(f'{name}: "{cell}" is not a number with a unit.') from None
    if number is None:
        return math.nan
    if not (own or unit):
        raise InputError(
            f'{name}: "{cell}" has no unit; write it in the cell, or in line 1 behind the name, '
            f'such as "{name} ({_USUAL[name]})".'
        )
    return number_to_house(f"{number!r} {own or unit}", quantity, name)


_USUAL = {"reading": "%", "rod": "in", "amount": "mm"}
