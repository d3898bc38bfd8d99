"""Columns of a station file in kept units, and what they would be in others."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.weather.reference_et import Site
from soilwater.weather.station.columns import QUANTITIES, Quantity
from soilwater.words.errors import Faults

Column = NDArray[np.float64]

_DAY_HOURS = 24.0


@dataclass(frozen=True)
class Readings:
    """Columns of a file in kept units, with the units they were read in.

    Attributes
    ----------
    values : mapping of str to array, shape (n,)
        Each quantity in its kept unit; NaN where missing.
    units : mapping of str to str
        Unit each was read in.
    edges : array of datetime64, shape (n + 1,)
        Bounds of the steps.
    site : Site or None
        Where the file is from.
    trusted : frozenset of str
        Quantities whose range the person has stated: they are not doubted.
    headers : mapping of str to str
        Header of each quantity.
    """

    values: Mapping[str, Column]
    units: Mapping[str, str]
    edges: NDArray[np.datetime64]
    site: Site | None
    trusted: frozenset[str]
    headers: Mapping[str, str]

    @property
    def hours(self) -> float:
        """Length of a step [h]."""
        return float((self.edges[1] - self.edges[0]) / np.timedelta64(1, "h"))

    def doubtful(self, quantity: str) -> bool:
        """Whether there is a column of a `quantity` that may be doubted."""
        there = quantity in self.values and quantity not in self.trusted
        return there and not bool(np.isnan(self.values[quantity]).all())

    def read_as(self, quantity: str, unit: str) -> Column:
        """Column of a `quantity` as if its numbers were in another `unit`."""
        return read_as(self.values[quantity], QUANTITIES[quantity], self.units[quantity], unit,
                       self.hours)  # fmt: skip

    def days(self, column: Column, of: Callable[..., Any]) -> Column:
        """Sum or mean of a `column` over each whole day; NaN where a step of it is missing."""
        if self.hours >= _DAY_HOURS:
            return column
        per_day = round(_DAY_HOURS / self.hours)
        first = self.first_midnight
        whole = (column.size - first) // per_day
        part = column[first : first + whole * per_day].reshape(whole, per_day)
        return np.asarray(of(part, axis=1))

    @property
    def first_midnight(self) -> int:
        """Number of the first step that begins a day; 0 for days."""
        begin = self.edges[:-1]
        at = np.flatnonzero(begin == begin.astype("datetime64[D]"))
        return int(at[0]) if self.hours < _DAY_HOURS and at.size else 0

    @property
    def day_edges(self) -> NDArray[np.datetime64]:
        """Bounds of the whole days."""
        step = max(round(_DAY_HOURS / self.hours), 1)
        return self.edges[self.first_midnight :: step]


def read_as(column: Column, kind: Quantity, unit: str, other: str, hours: float) -> Column:
    """Numbers of a column that was read in one unit, as if they were in another.

    Parameters
    ----------
    column : array, shape (n,)
        In the kept unit.
    kind : Quantity
        What it is of.
    unit, other : str
        Spelled as in `kind`.
    hours : float
        Length of a step [h].
    """
    factor, offset = _conversion(kind, unit, hours)
    return read_in((column - offset) / factor, kind, other, hours)


def read_in(numbers: Column, kind: Quantity, unit: str, hours: float) -> Column:
    """Bring the numbers of a column to the kept unit.

    Parameters
    ----------
    numbers : array, shape (n,)
        As written.
    kind : Quantity
        What they are of.
    unit : str
        Unit they are in, spelled as in `kind`.
    hours : float
        Length of a step [h].
    """
    factor, offset = _conversion(kind, unit, hours)
    return numbers * factor + offset


def _conversion(kind: Quantity, unit: str, hours: float) -> tuple[float, float]:
    return (kind.rates[unit] * hours, 0.0) if unit in kind.rates else kind.units[unit]


def span_text(column: Column) -> str:
    """Range that lets a whole column through, as it is written in Python."""
    low, high = float(np.nanmin(column)), float(np.nanmax(column))
    room = 10.0 ** np.floor(np.log10(max(abs(low), abs(high), 1e-6)) - 1.0)
    return f"({np.floor(low / room) * room:g}, {np.ceil(high / room) * room:g})"


def ask_unit(
    given: Readings, faults: Faults, quantities: Sequence[str], units: Sequence[str], why: str
) -> None:
    """Show a reading that cannot be and those that can, each with what to say for it.

    Parameters
    ----------
    given : Readings
        The columns.
    faults : Faults
        Takes the question.
    quantities, units : sequence of str
        What is doubted, and the units it may be in.
    why : str
        What speaks against it.
    """
    said = [", ".join(f'"{q}": "{unit}"' for q in quantities) for unit in units]
    kept = ", ".join(f'"{q}": {span_text(given.values[q])}' for q in quantities)
    faults.add(
        why,
        where=", ".join(quantities),
        cure=f"say {' or '.join(f'units={{{text}}}' for text in said)} if that is what it is, or "
        f"ranges={{{kept}}} if the file is right",
    )
