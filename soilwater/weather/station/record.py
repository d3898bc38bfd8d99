"""A station file once it is understood: regular steps, known units, and gaps that stay gaps.

`StationRecord.fill_gaps` fills and flags; `StationRecord.to_weather` refuses to go on with a gap in
anything it needs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from soilwater.weather.made import from_days
from soilwater.weather.reference_et import Site
from soilwater.weather.series import Weather
from soilwater.weather.station.columns import QUANTITIES
from soilwater.weather.station.et import from_record
from soilwater.words.errors import Faults
from soilwater.words.stamps import daylight_saving_hint
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.times import hours_between, stamp
from soilwater.words.units import number_to_house

_DAY_HOURS = 24.0
_ROWS_SHOWN = 3
# Across a longer gap the course of the day matters more than its ends (our own choice).
_SHORT_GAP_HOURS = 3.0


@dataclass(frozen=True)
class Column:
    """One column as it was understood.

    Parameters
    ----------
    quantity : str
        What it measures.
    header : str
        What it was called in the file.
    unit : str
        Unit it was read in.
    """

    quantity: str
    header: str
    unit: str


@dataclass(frozen=True)
class Gap:
    """Consecutive steps in which something is missing.

    Parameters
    ----------
    quantities : tuple of str
        What is missing there.
    start, end : datetime64
        Span of the missing steps.
    steps : int
        How many.
    """

    quantities: tuple[str, ...]
    start: np.datetime64
    end: np.datetime64
    steps: int

    def __str__(self) -> str:
        steps = "1 step" if self.steps == 1 else f"{self.steps} steps"
        names = ", ".join(self.quantities)
        return f"{names}: {steps} missing, {stamp(self.start)} to {stamp(self.end)}"


@dataclass(frozen=True, eq=False, repr=False)
class StationRecord:
    """A station file on a regular step, in the units of `QUANTITIES`, with its gaps.

    Parameters
    ----------
    edges : array of datetime64, shape (n + 1,)
        Step boundaries in local standard time.
    values : mapping of str to array, shape (n,)
        Each quantity; NaN where missing.
    filled : mapping of str to array of bool, shape (n,)
        True where a value was filled in.
    columns : tuple of Column
        How the columns were understood.
    site : Site or None
        Where the station stands.
    notes : tuple of str
        Everything noticed on the way.
    name, source : str
        For people.
    """

    edges: NDArray[np.datetime64]
    values: Mapping[str, NDArray[np.float64]]
    filled: Mapping[str, NDArray[np.bool_]]
    columns: tuple[Column, ...]
    site: Site | None = None
    notes: tuple[str, ...] = ()
    name: str = ""
    source: str = ""

    @property
    def n(self) -> int:
        """Number of steps."""
        return len(self.edges) - 1

    @property
    def step(self) -> float:
        """Length of a step [h]."""
        return float(hours_between(self.edges[0], self.edges[1]))

    def gaps(self, quantities: Iterable[str] | None = None) -> tuple[Gap, ...]:
        """Find what is missing, in order of time; the same span in several columns is one gap.

        Parameters
        ----------
        quantities : iterable of str, optional
            Only these.
        """
        chosen = list(self.values if quantities is None else quantities)
        spans: dict[tuple[int, int], list[str]] = {}
        for quantity in chosen:
            for span in _runs(np.isnan(self.values[quantity])):
                spans.setdefault(span, []).append(quantity)
        return tuple(
            Gap(tuple(names), self.edges[i], self.edges[j], j - i)
            for (i, j), names in sorted(spans.items())
        )

    def fill_gaps(
        self,
        method: Literal["interpolate", "same hour", "zero"],
        limit: Any,
        *,
        quantities: Sequence[str] | None = None,
    ) -> StationRecord:
        """Return the record with its short gaps filled and flagged.

        Parameters
        ----------
        method : {"interpolate", "same hour", "zero"}
            A straight line across the gap; the mean of the same hour on the nearest days before
            and after (within a week); or nothing fell.
        limit : float, str or Quantity
            Longest gap that is filled [h]; longer ones stay.
        quantities : sequence of str, optional
            What to fill. Everything but rain when left out: rain can only be filled by name, with
            ``"zero"``, by somebody who knows that it was dry.

        Raises
        ------
        InputError
            For an unknown method or quantity, or a method that does not suit a quantity.
        """
        hours = number_to_house(limit, "duration", "limit")
        chosen = [q for q in self.values if q != "rain"] if quantities is None else list(quantities)
        faults = Faults("fill_gaps")
        if method not in ("interpolate", "same hour", "zero"):
            faults.add(f"method is {method!r}", allowed='"interpolate", "same hour" or "zero"')
        for quantity in chosen:
            if quantity not in self.values:
                faults.add(f'there is no "{quantity}"', allowed=", ".join(self.values))
            elif quantity == "rain" and method != "zero":
                faults.add(
                    f'rain cannot be filled by "{method}": it comes in showers',
                    cure='use a gauge nearby, or method="zero" if you know that it was dry',
                )
            elif method == "zero" and not QUANTITIES[quantity].per_step:
                faults.add(f"{quantity} is not zero when missing", allowed='"zero" for amounts')
        if method == "same hour" and (_DAY_HOURS / self.step) % 1.0 != 0.0:
            faults.add(f"a step of {self.step:g} h does not divide the day", where="same hour")
        faults.raise_if_any()
        values, filled, notes = dict(self.values), dict(self.filled), list(self.notes)
        for quantity in chosen:
            column = self.values[quantity]
            found = _fill(column, method, round(_DAY_HOURS / self.step))
            new = np.zeros(self.n, dtype=bool)
            for i, j in _runs(np.isnan(column)):
                if (j - i) * self.step <= hours:
                    new[i:j] = ~np.isnan(found[i:j])
            if new.any():
                values[quantity] = np.where(new, found, column)
                filled[quantity] = self.filled[quantity] | new
                notes.append(
                    f'{quantity}: {int(new.sum())} steps filled by "{method}" (gaps up to '
                    f"{hours:g} h)"
                )
        return replace(self, values=values, filled=filled, notes=tuple(notes))

    def to_weather(
        self,
        reference_et: Literal["file", "fao56", "asce", "hargreaves"] = "file",
        *,
        wind_height: Any = 2.0,
        coastal: bool = False,
        sunrise: float = 6.0,
        sunset: float = 18.0,
    ) -> Weather:
        """Make weather for a run.

        Parameters
        ----------
        reference_et : {"file", "fao56", "asce", "hargreaves"}, optional
            Where reference evapotranspiration comes from: the column of the file, or an equation,
            which needs the site.
        wind_height : float or str, optional
            Height of the wind measurement [m].
        coastal : bool, optional
            Whether the site lies near a large water body; matters only when daily radiation has to
            be estimated from temperature.
        sunrise, sunset : float, optional
            Hours of the day between which the demand of daily steps falls [h].

        Returns
        -------
        Weather
            With the assumptions in its notes, and the filled steps flagged.

        Raises
        ------
        InputError
            Naming every gap in what is needed, or what is missing for the equation.
        """
        faults = Faults(self.source or "Station record")
        if "rain" not in self.values:
            faults.add(
                "there is no rain",
                allowed=f"columns found: {', '.join(c.header for c in self.columns)}",
                cure='name the column: columns={"rain": "its header"}',
            )
        demand, used, notes = from_record(
            self.values,
            self.edges,
            self.site,
            reference_et,
            wind_height=wind_height,
            coastal=coastal,
            faults=faults,
        )
        used = [q for q in ("rain", *used) if q in self.values]
        nothing = np.logical_and.reduce([np.isnan(self.values[q]) for q in self.values])
        offset = None if self.site is None else self.site.utc_offset
        clock = daylight_saving_hint(self.edges[:-1][~nothing], offset)
        gaps = self.gaps(used)
        cure = clock or (self._filling(gaps) if gaps else "")
        for gap in gaps:
            faults.add(f"gap in {gap}", cure=cure)
        faults.raise_if_any()
        flags = np.logical_or.reduce([self.filled[q] for q in used])
        kept = (*self.notes, *notes)
        rain = np.asarray(self.values["rain"])
        if self.step >= _DAY_HOURS:
            return from_days(
                self.edges,
                rain,
                demand,
                sunrise=sunrise,
                sunset=sunset,
                filled=flags,
                name=self.name,
                source=self.source,
                notes=kept,
            )
        return Weather(
            self.edges, rain, demand, filled=flags, name=self.name, source=self.source, notes=kept
        )

    def _filling(self, gaps: Sequence[Gap]) -> str:
        """Say what would fill all of these gaps, so that it can be pasted as it is."""
        dry = [gap for gap in gaps if "rain" in gap.quantities]
        rest = [gap for gap in gaps if set(gap.quantities) - {"rain"}]
        steps, unfillable = [], set()
        if rest:
            names = list(dict.fromkeys(q for gap in rest for q in gap.quantities if q != "rain"))
            longest = max(gap.steps for gap in rest) * self.step
            short = longest <= _SHORT_GAP_HOURS or self.step >= _DAY_HOURS
            whole = (_DAY_HOURS / self.step) % 1.0 == 0.0
            methods = ("interpolate", "same hour") if short else ("same hour", "interpolate")
            per_day = round(_DAY_HOURS / self.step)
            left = {
                method: [q for q in names if np.isnan(_fill(self.values[q], method, per_day)).any()]
                for method in methods
                if whole or method != "same hour"
            }
            method = min(left, key=lambda each: len(left[each]))
            unfillable = set(left[method])
            steps.append(f'.fill_gaps("{method}", "{longest:g} h")')
        if dry:
            longest = max(gap.steps for gap in dry) * self.step
            steps.append(f'.fill_gaps("zero", "{longest:g} h", quantities=("rain",))')
        if unfillable:
            return f"supply the values: nothing in the file fills {', '.join(sorted(unfillable))}"
        known_dry = ", the last only if you know that it was dry" if dry else ""
        return f"supply the values, or fill it first with read_station(...){''.join(steps)}" + (
            known_dry
        )

    def _facts(self) -> list[tuple[str, str]]:
        days = self.n * self.step / _DAY_HOURS
        facts = [
            ("span", f"{stamp(self.edges[0])} to {stamp(self.edges[-1])} ({days:.4g} days)"),
            ("step", f"{self.step:g} h, local standard time"),
        ]
        gaps = self.gaps()
        facts.extend(("gap", str(gap)) for gap in gaps[:_ROWS_SHOWN])
        if len(gaps) > _ROWS_SHOWN:
            facts.append(("gap", f"... and {len(gaps) - _ROWS_SHOWN} more"))
        facts.extend(("note", note) for note in self.notes)
        return facts

    def _understood(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for column in self.columns:
            values = self.values[column.quantity]
            kind = QUANTITIES[column.quantity]
            seen = values[~np.isnan(values)]
            whole = "-"
            if seen.size:
                whole = f"sum {seen.sum():.1f}" if kind.per_step else f"mean {seen.mean():.3g}"
            rows.append(
                (
                    column.header,
                    column.unit,
                    column.quantity,
                    kind.unit,
                    f"{seen.min():.3g}" if seen.size else "-",
                    f"{seen.max():.3g}" if seen.size else "-",
                    whole,
                    str(values.size - seen.size),
                    str(int(self.filled[column.quantity].sum())),
                )
            )
        return rows

    def _first_rows(self) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
        names = list(self.values)
        rows = [
            (stamp(self.edges[i]), *(_cell(self.values[q][i]) for q in names))
            for i in range(min(_ROWS_SHOWN, self.n))
        ]
        return rows, ("from", *names)

    def __repr__(self) -> str:
        title = f'Station record "{self.name or self.source}"'
        blocks = [
            "\n".join(f"{label}: {text}" for label, text in self._facts()),
            echo_table(self._understood(), _UNDERSTOOD),
            echo_table(*self._first_rows()),
        ]
        lines = [line for block in blocks for line in (*block.splitlines(), "")]
        return "\n".join([title, *("  " + line if line else "" for line in lines[:-1])])

    def _repr_html_(self) -> str:
        title = f'Station record "{self.name or self.source}"'
        return (
            html_table(self._facts(), ("record", ""), caption=title)
            + html_table(self._understood(), _UNDERSTOOD, caption="columns as understood")
            + html_table(*self._first_rows(), caption="first rows")
        )


_UNDERSTOOD = (
    "column", "read in", "taken as", "kept in", "least", "most", "whole", "missing", "filled",
)  # fmt: skip


def _cell(value: float) -> str:
    return "missing" if np.isnan(value) else f"{value:.4g}"


# --- gaps ----------------------------------------------------------------------------------------


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end (exclusive) of each run of True."""
    padded = np.concatenate([[False], flags, [False]]).astype(np.int8)
    change = np.flatnonzero(np.diff(padded))
    return [(int(i), int(j)) for i, j in zip(change[::2], change[1::2], strict=True)]


def _fill(column: NDArray[np.float64], method: str, per_day: int) -> NDArray[np.float64]:
    """Values a method offers for every missing step; NaN where it has none."""
    known = ~np.isnan(column)
    if method == "zero":
        return np.where(known, column, 0.0)
    if method == "interpolate":
        at = np.arange(column.size)
        if not known.any():
            return column
        return np.asarray(
            np.interp(at, at[known], column[known], left=np.nan, right=np.nan), dtype=np.float64
        )
    offered = column.copy()
    for i in np.flatnonzero(~known):
        before = column[i::-per_day][1:8]
        after = column[i::per_day][1:8]
        nearest = [side[~np.isnan(side)][:1] for side in (before, after)]
        both = np.concatenate(nearest)
        if both.size:
            offered[i] = both.mean()
    return offered
