"""Weather as the solver needs it: rain and reference evapotranspiration over intervals of time.

Amounts belong to intervals, never to instants, so nothing is lost when a run takes steps of its
own choosing. Inside an interval rain falls evenly. Demand is either even, or follows a part of one
half-sine from sunrise to sunset: the part is stated by two phases, 0 at sunrise and 1 at sunset,
so that an interval can be cut anywhere and the pieces still add up exactly.

Times are local standard time without a zone; daylight-saving time is undone by the station reader.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from soilwater.weather.daylight import half_sine, nonzero
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Date, TimeSpan
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.several import numbers_of
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.times import (
    as_time,
    as_times,
    hours_between,
    stamp,
    to_timedelta,
)
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

_HOURS_PER_DAY = 24.0

# How many rows a representation shows before it only counts the rest.
_ROWS_SHOWN = 5


@needs_all('Weather(["2025-06-10", "2025-06-11"], [0.0], [5.0])')
@dataclass(frozen=True, eq=False, repr=False)
class Weather(Tabled):
    """Rain and reference evapotranspiration over consecutive intervals.

    Parameters
    ----------
    edges : array of datetime64, shape (n + 1,)
        Interval boundaries in local standard time, strictly increasing.
    rain : array of float, shape (n,)
        Rain in each interval [mm], spread evenly over it.
    reference_et : array of float, shape (n,)
        Reference evapotranspiration (short grass) in each interval [mm].
    demand_shape : array of float, shape (n, 2), optional
        Phases of the daylight half-sine at the start and end of each interval [1]: 0 at sunrise,
        1 at sunset; (0, 0) means that demand is even over the interval. Even when left out.
    filled : array of bool, shape (n,), optional
        True where a value of the interval was filled in rather than measured.
    name, source : str, optional
        Shown in the representation and kept with results.
    notes : tuple of str, optional
        What was assumed on the way from the measurements to here.

    Raises
    ------
    InputError
        With every fault of the table: lengths that do not match, times that go backwards, missing
        or negative amounts (naming the first stamp of each kind), phases outside 0..1.

    Examples
    --------
    >>> from soilwater.weather.made import steady_weather
    >>> day = steady_weather(1, "5 mm/day", first_day="2025-07-01")
    >>> day.n
    3
    >>> day.reference_et
    array([0., 5., 0.])
    """

    edges: NDArray[np.datetime64]
    rain: NDArray[np.float64]
    reference_et: NDArray[np.float64]
    demand_shape: NDArray[np.float64] = None  # type: ignore[assignment]  # set on creation
    filled: NDArray[np.bool_] = None  # type: ignore[assignment]  # set on creation
    name: str = field(default="", kw_only=True)
    source: str = field(default="", kw_only=True)
    notes: tuple[str, ...] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'Weather "{self.name}"' if self.name else "Weather")
        edges = as_times(self.edges, "edges")
        n = max(edges.size - 1, 0)
        if edges.ndim != 1 or n < 1:
            faults.add("edges must be one-dimensional with at least two times", where="edges")
            faults.raise_if_any()
        backwards = np.flatnonzero(np.diff(edges) <= np.timedelta64(0, "ns"))
        if backwards.size:
            first = int(backwards[0])
            faults.add(
                f"time does not go forward: {stamp(edges[first])} is followed by "
                f"{stamp(edges[first + 1])}",
                where="edges",
                cure="sort the table and remove repeated stamps",
            )
        rain = _amounts(self.rain, "rain", edges, faults)
        reference_et = _amounts(self.reference_et, "reference_et", edges, faults)
        # Frozen arrays are copied, so that nobody's own array is made read-only.
        shape = np.zeros((n, 2))
        if self.demand_shape is not None:
            cure = "write two phases for each interval, or leave it out"
            shape = numbers_of(self.demand_shape, "demand_shape", cure, faults).copy()
        if shape.shape != (n, 2):
            faults.add(f"demand_shape has shape {shape.shape}", allowed=f"({n}, 2)")
        else:
            even = (shape[:, 0] == 0.0) & (shape[:, 1] == 0.0)
            rising = (shape[:, 0] >= 0.0) & (shape[:, 0] < shape[:, 1]) & (shape[:, 1] <= 1.0)
            wrong = np.flatnonzero(~(even | rising))
            if wrong.size:
                first = int(wrong[0])
                faults.add(
                    f"demand_shape is ({shape[first, 0]:g}, {shape[first, 1]:g}) in the interval "
                    f"from {stamp(edges[first])}",
                    allowed="0 <= first < second <= 1, or (0, 0) for even demand",
                )
        filled = np.zeros(n, dtype=bool)
        if self.filled is not None:
            filled = np.array(self.filled, dtype=bool)
        if filled.shape != (n,):
            faults.add(f"filled has shape {filled.shape}", allowed=f"({n},)")
        faults.raise_if_any()
        self._hold(
            edges=edges, rain=rain, reference_et=reference_et, demand_shape=shape, filled=filled
        )

    def _hold(self, **arrays: NDArray[Any]) -> None:
        """Keep arrays that nobody else holds, and let nobody write to them."""
        for name, array in arrays.items():
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def n(self) -> int:
        """Number of intervals."""
        return int(self.rain.size)

    @property
    def start(self) -> np.datetime64:
        """First instant."""
        return np.datetime64(self.edges[0])

    @property
    def end(self) -> np.datetime64:
        """Last instant."""
        return np.datetime64(self.edges[-1])

    @property
    def hours(self) -> NDArray[np.float64]:
        """Interval boundaries [h since start], shape (n + 1,)."""
        return np.asarray(hours_between(self.start, self.edges))

    @property
    def daylight(self) -> NDArray[np.bool_]:
        """True where the demand of an interval follows the daylight half-sine, shape (n,)."""
        return self.demand_shape[:, 1] > self.demand_shape[:, 0]

    def shift(self, by: TimeSpan) -> Weather:
        """Return the same weather moved in time.

        Parameters
        ----------
        by : float, str or Quantity
            How much later [h]; negative for earlier.
        """
        hours = number_to_house(by, "duration", "by")
        step = to_timedelta(hours)
        return replace(self, edges=self.edges + step)

    def refine(self, times: ArrayLike) -> Weather:
        """Return the same weather with further interval boundaries; no amount changes.

        Parameters
        ----------
        times : array of datetime64
            Boundaries to add; those already there change nothing.

        Raises
        ------
        InputError
            If a time lies outside the weather.
        """
        extra = as_times(np.atleast_1d(np.asarray(times)), "times")
        outside = np.flatnonzero((extra < self.start) | (extra > self.end))
        if outside.size:
            raise InputError(
                f"times: {stamp(extra[int(outside[0])])} lies outside the weather; allowed: "
                f"{stamp(self.start)} to {stamp(self.end)}."
            )
        # Few times among many edges: they are put in their places, and the edges not sorted anew.
        known = self.edges[np.searchsorted(self.edges, extra)] == extra
        if known.all():
            return self
        new = np.unique(extra[~known])
        edges = np.insert(self.edges, np.searchsorted(self.edges, new), new)
        parent = np.searchsorted(self.edges, edges[:-1], side="right") - 1
        begin = self.edges[parent]
        length = hours_between(begin, self.edges[parent + 1])
        f0 = hours_between(begin, edges[:-1]) / length
        f1 = hours_between(begin, edges[1:]) / length
        whole = (f0 == 0.0) & (f1 == 1.0)
        p0, p1 = self.demand_shape[parent].T
        q0 = np.where(f0 == 0.0, p0, p0 + f0 * (p1 - p0))
        q1 = np.where(f1 == 1.0, p1, p0 + f1 * (p1 - p0))
        part = np.where(p1 > p0, half_sine(q0, q1) / nonzero(half_sine(p0, p1)), f1 - f0)
        # Parts of what was checked are not checked again: plans refine thousands of times.
        finer = copy(self)
        finer._hold(
            edges=edges,
            rain=self.rain[parent] * np.where(whole, 1.0, f1 - f0),
            reference_et=self.reference_et[parent] * np.where(whole, 1.0, part),
            demand_shape=np.stack([q0, q1], axis=1),
            filled=self.filled[parent],
        )
        return finer

    @mind_words(start="begin")
    def between(self, begin: Date, end: Date) -> Weather:
        """Return the part of the weather between two times, cutting intervals exactly.

        Parameters
        ----------
        begin, end : datetime64, str or Timestamp
            First and last instant, inside the weather.

        Raises
        ------
        InputError
            If a time lies outside the weather or `end` is not after `begin`.
        """
        first, last = as_time(begin, "begin"), as_time(end, "end")
        if last <= first:
            raise InputError(f"end: {stamp(last)} is not after begin {stamp(first)}.")
        cut = self.refine(np.array([first, last]))
        i, j = np.searchsorted(cut.edges, np.array([first, last]))
        return replace(
            cut,
            edges=cut.edges[i : j + 1],
            rain=cut.rain[i:j],
            reference_et=cut.reference_et[i:j],
            demand_shape=cut.demand_shape[i:j],
            filled=cut.filled[i:j],
        )

    def to_dataset(self) -> xr.Dataset:
        """Return the weather as a Dataset over ``time`` (interval starts) with ``time_bounds``."""
        dataset = xr.Dataset(
            {
                "rain": ("time", self.rain),
                "reference_et": ("time", self.reference_et),
                "filled": ("time", self.filled.astype(np.int8)),
            },
            coords={
                "time": ("time", self.edges[:-1]),
                "time_bounds": (
                    ("time", "bound"),
                    np.stack([self.edges[:-1], self.edges[1:]], axis=1),
                ),
            },
        )
        dataset = attach(dataset)
        dataset.attrs = {
            "name": self.name,
            "source": self.source,
            "notes": "\n".join(self.notes),
        }
        return dataset

    def _columns(self) -> list[Column]:
        return [
            Column("begin", self.edges[:-1]),
            Column("end", self.edges[1:]),
            Column("rain", self.rain, "water_amount"),
            Column("reference ET", self.reference_et, "water_amount"),
            Column("filled", self.filled),
        ]

    def _facts(self) -> list[tuple[str, str]]:
        days = float(self.hours[-1]) / _HOURS_PER_DAY
        steps = np.unique(np.diff(self.hours))
        step = f"{steps[0]:g} h" if steps.size == 1 else f"{steps[0]:g} to {steps[-1]:g} h"
        rain, demand = float(self.rain.sum()), float(self.reference_et.sum())
        per_day = f", {in_one_unit(demand / days, 'evapotranspiration')}" if days >= 1.0 else ""
        facts = [
            ("span", f"{stamp(self.start)} to {stamp(self.end)} ({days:.4g} days)"),
            ("intervals", f"{self.n} of {step}"),
            ("rain", in_people_units(rain, "water_amount")),
            (
                "reference evapotranspiration",
                f"{in_people_units(demand, 'water_amount')}{per_day}; turf uses it times its crop "
                "coefficient",
            ),
        ]
        if self.filled.any():
            facts.append(("filled intervals", f"{int(self.filled.sum())} of {self.n}"))
        if self.source:
            facts.append(("source", self.source))
        facts.extend(("note", note) for note in self.notes)
        return facts

    def _rows(self) -> list[tuple[str, ...]]:
        water = one_writing("water_amount")
        return [
            (
                stamp(self.edges[i]),
                *(
                    f"{water.of(each[i]):.{n}f}"
                    for each, n in ((self.rain, 2), (self.reference_et, 3))
                ),
            )
            for i in range(min(self.n, _ROWS_SHOWN))
        ]

    def __repr__(self) -> str:
        title = f'Weather "{self.name}"' if self.name else "Weather"
        lines = [title, *(f"  {label}: {text}" for label, text in self._facts())]
        table = echo_table(self._rows(), _header())
        rest = self.n - len(self._rows())
        more = [f"  ... and {rest} more intervals"] if rest else []
        return "\n".join([*lines, *("  " + line for line in table.splitlines()), *more])

    def _repr_html_(self) -> str:
        title = f'Weather "{self.name}"' if self.name else "Weather"
        facts = html_table(self._facts(), ("weather", ""), caption=title)
        return facts + html_table(self._rows(), _header(), caption="first intervals")


def _header() -> tuple[str, ...]:
    unit = one_writing("water_amount").unit
    return ("from", f"rain [{unit}]", f"reference ET [{unit}]")


def _amounts(
    values: ArrayLike, name: str, edges: NDArray[np.datetime64], faults: Faults
) -> NDArray[np.float64]:
    """Copy one column of amounts, noting what is wrong with it."""
    before = len(faults)
    array = numbers_of(values, name, "write plain numbers in mm, one an interval", faults).copy()
    n = edges.size - 1
    if len(faults) > before:
        return array
    if array.shape != (n,):
        faults.add(
            f"{array.shape} values for {n} intervals", where=name, allowed=f"one value each, ({n},)"
        )
        return array
    missing = np.flatnonzero(~np.isfinite(array))
    if missing.size:
        faults.add(
            f"missing (not a finite number) in {missing.size} of {n} intervals, first from "
            f"{stamp(edges[int(missing[0])])}",
            where=name,
            cure="missing is not zero: supply the values or fill the gap in a step of its own",
        )
    negative = np.flatnonzero(array < 0.0)
    if negative.size:
        first = int(negative[0])
        faults.add(
            f"{array[first]:g} mm in the interval from {stamp(edges[first])} "
            f"({negative.size} negative in all)",
            where=name,
            allowed="0 or more",
        )
    return array
