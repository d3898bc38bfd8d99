"""What was learnt of a green: one joint sample, its bands, and what the readings do not tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from soilwater.learning.columns import Green, cases_of, run_cases
from soilwater.learning.evidence import Evidence, Own
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.runs.case import Case
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.times import stamp

LEARNED_BELOW = 0.8
"""A quantity whose spread the readings leave above this part of what it was [1] was not learnt."""
LOW, HIGH = 0.1, 0.9
"""Ends of the bands: four in five lie inside."""


class Learned(NamedTuple):
    """One quantity before and after the readings.

    `name` and `label`; `before` and `after` its band: low end, median, high end, in the unit that
    `quantity` has in results; `spread` standard deviation after over before [1]; `learned` whether
    the readings tell it.
    """

    name: str
    label: str
    quantity: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    spread: float
    learned: bool

    @property
    def sentence(self) -> str:
        """Whether it was learnt, in words."""
        if self.learned:
            return f"learned: {100 * (1 - self.spread):.0f} % narrower"
        return "the readings do not tell"


class HeldBack(NamedTuple):
    """The last visit against what the ones before it said: its day, readings inside and in all."""

    day: np.datetime64
    inside: int
    read: int

    @property
    def share(self) -> float:
        """Share of its readings inside their 90 % bands [1]."""
        return self.inside / self.read

    @property
    def sentence(self) -> str:
        """The check in words."""
        return (
            f"Held back, {self.inside} of {self.read} readings of {self.day} lie inside the 90 % "
            "bands that the visits before give them."
        )


@dataclass(frozen=True, repr=False, eq=False)
class Calibration(Displayed, Tabled):
    """A green as its readings leave it: one joint sample, frozen.

    Sand, base, turf, mat, meter and the own depth of every spot belong together in each draw; hand
    the whole of it to `dry_down_outlook`, `hand_water_plan` and the rest as ``calibration=``, and
    they start from the morning of `now`.

    Attributes
    ----------
    name : str
        Of the survey.
    now : datetime64
        Where what comes next begins: the last full six hours before the last reading.
    quantities : tuple of Learned
        What all spots share, before and after.
    depths : tuple of Learned
        Depth each spot behaves as if it had [cm], before and after.
    held_back : HeldBack or None
        The last visit against the ones before it; None where there is but one.
    doubts : tuple of str
        Readings that fit badly; they were used.
    assumptions, cautions : tuple of str
        What was assumed, and what the person should know.
    """

    name: str
    now: np.datetime64
    quantities: tuple[Learned, ...]
    depths: tuple[Learned, ...]
    held_back: HeldBack | None
    doubts: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    evidence: Evidence = field(repr=False)
    shared: Shared = field(repr=False)
    own: Own = field(repr=False)
    n_threads: int | None = field(default=None, repr=False)

    @property
    def green(self) -> Green:
        """The green since its soaking."""
        return self.evidence.green

    @property
    def unknowns(self) -> Unknowns:
        """What was not known."""
        return self.evidence.unknowns

    @property
    def spots(self) -> tuple[Spot, ...]:
        """Spots with a depth."""
        return self.green.spots

    @property
    def draws(self) -> int:
        """How many equally likely possibilities are carried."""
        return int(self.shared.soil.size)

    def quantity(self, name: str) -> Learned:
        """Find a quantity, or the depth of a spot, by its name.

        Parameters
        ----------
        name : str
            Such as ``"base_suction"`` or the name of a spot.

        Raises
        ------
        InputError
            If there is none of that name.
        """
        every = (*self.quantities, *self.depths)
        found = next((each for each in every if each.name == name), None)
        if found is None:
            faults = Faults("Calibration")
            faults.add(f'no "{name}"', allowed=", ".join(each.name for each in every))
            raise faults.as_error()
        return found

    @cached_property
    def _columns_now(self) -> tuple[tuple[tuple[Case, ...], xr.Dataset], ...]:
        """Columns of each group from the soaking on, and their water at `now`."""
        found = []
        for group in self.green.groups:
            cases = cases_of(self.green, group, self.unknowns, self.shared)
            found.append((tuple(cases), run_cases(cases, np.array([self.now]), self.n_threads)))
        return tuple(found)

    def ahead(self, group: int, weather: Weather) -> list[Case]:
        """Columns of every draw on the depths of a group, from `now` on.

        Parameters
        ----------
        group : int
            Number of the group of spots.
        weather : Weather
            What is expected from `now` on.

        Returns
        -------
        list of Case
            Depths are the first to change.
        """
        cases, _ = self._columns_now[group]
        return [
            replace(case, weather=weather, irrigation=(), start=start)
            for case, start in zip(cases, self._starts(group), strict=True)
        ]

    def _starts(self, group: int) -> Sequence[xr.DataArray | xr.Dataset]:
        cases, water = self._columns_now[group]
        if self.unknowns.remembers:
            return [water.isel(case=[k]) for k in range(len(cases))]
        suction = water.node_suction.values[:, 0]
        starts = []
        for case, of_column in zip(cases, suction, strict=True):
            depth = case.profile.mesh().depth
            starts.append(
                xr.DataArray(of_column[: depth.size], {"depth": depth}, ("depth",), "suction")
            )
        return starts

    def at_spots(self, group: int, values: FloatArray) -> FloatArray:
        """Read what was found on the depths of a group at the own depths of its spots.

        Parameters
        ----------
        group : int
            Number of the group.
        values : ndarray, shape (draws * depths, times)
            What was found on the columns of `ahead`.

        Returns
        -------
        ndarray, shape (spots of the group, draws, times)
        """
        of_group = self.green.groups[group]
        weights = of_group.between(self.own.depth[:, of_group.spots])
        found = values.reshape(self.draws, of_group.depths.size, -1)
        read: FloatArray = np.einsum("nsd,ndt->snt", weights, found)
        return read

    def shift(self, *, rod: float) -> FloatArray:
        """Give what meter, mat and the spots themselves add to readings, shape (draws, spots) [1].

        Parameters
        ----------
        rod : float
            Length of the rods [cm].
        """
        common = self.unknowns.values(self.shared, "meter_offset")
        common = common + self.unknowns.values(self.shared, "mat_water") / rod
        # Where a spot was never read with such rods, its own shift is only known by its size.
        rng = np.random.default_rng(round(1000 * rod))
        shift = self.evidence.own_error * rng.standard_normal((self.draws, len(self.spots)))
        for k, track in enumerate(self.evidence.tracks):
            if not track.buried and abs(1.0 / track.per_rod - rod) < 0.1:
                shift[:, track.spot] = self.own.shift[:, k]
        total: FloatArray = shift + common[:, None]
        return total

    def _columns(self) -> list[Column]:
        """One row each; quantities differ in their unit, which stands beside them."""
        parts: list[tuple[str, Any, str]] = [
            ("quantity", lambda each: each.label, ""),
            ("unit", lambda each: _UNITS[each.quantity], ""),
        ]
        for when in ("before", "after"):
            for i, end in enumerate(("at least", "median", "at most")):
                parts.append((f"{when} {end}", lambda e, w=when, i=i: getattr(e, w)[i], "various"))
        parts += [
            ("spread left", lambda each: each.spread, "share"),
            ("learned", lambda each: each.learned, ""),
        ]
        return columns_of((*self.quantities, *self.depths), parts)

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (each.label, _band(each.before, each.quantity), _band(each.after, each.quantity),
             each.sentence)
            for each in (*self.quantities, *self.depths)
        ]  # fmt: skip

    def _shown(self) -> Shown:
        place = f' of "{self.name}"' if self.name else ""
        lines = [self.held_back.sentence] if self.held_back else []
        lines += [f"doubtful, and used: {each}" for each in self.doubts]
        lines += [f"assumed: {each}" for each in self.assumptions]
        lines += caution_lines(self.cautions)
        title = f"What the readings{place} say, up to {stamp(self.now)}: median (four in five)"
        return Shown(title, _HEADER, self._rows(), lines, set_in=True)


_HEADER = ("", "before", "after", "")
_UNITS = {"length": "cm", "suction": "cm", "water_content": "1", "fraction": "1"}


def _band(band: tuple[float, float, float], quantity: str) -> str:
    if quantity == "length":
        return f"{in_people_units(band[1], quantity)} ({band[0]:.1f} to {band[2]:.1f})"
    scale, unit, digits = {
        "suction": (1.0, " cm", 1),
        "water_content": (100.0, " %", 1),
        "fraction": (1.0, "", 2),
    }[quantity]
    low, middle, high = (f"{scale * value:.{digits}f}" for value in band)
    return f"{middle}{unit} ({low} to {high})"


def band_of(values: FloatArray) -> tuple[float, float, float]:
    """Low end, median and high end of equally likely values."""
    low, middle, high = np.quantile(values, [LOW, 0.5, HIGH])
    return float(low), float(middle), float(high)
