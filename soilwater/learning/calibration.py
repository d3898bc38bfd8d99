"""What was learnt of a green: one joint sample, its bands, and what the readings do not tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.profile import Profile, meshes_of
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_memory import likely_memories, with_memory_of
from soilwater.learning.columns import Green, at_hours, cases_of, run_cases, turf_with
from soilwater.learning.evidence import Evidence, Own
from soilwater.learning.telling import HeldBack, Learned
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.runs.case import Case
from soilwater.runs.settings import Settings
from soilwater.runs.starts import known_at_end
from soilwater.runs.wetted import AfterRain, Rewetted, WaterKnown
from soilwater.soils.at_rest import rest_curve
from soilwater.survey.survey import Spot
from soilwater.survey.together import same_rod
from soilwater.survey.too_short import depth_in_words
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines
from soilwater.words.copies import with_parts
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.forms import Length
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import stamp
from soilwater.words.units import number_to_house

_PARTS = np.linspace(0.0, 1.0, 60)
"""Parts of the depth at which water is read between two columns [1]."""


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
        Readings that fit badly and hardly count, spots that read what their depth does not give,
        and what was left out.
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
    first: int = field(repr=False)
    sand: Sand = field(repr=False)
    n_threads: int | None = field(default=None, repr=False)
    given: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def green(self) -> Green:
        """The green since its soaking."""
        return self.evidence.green

    @property
    def last_visit(self) -> np.datetime64:
        """When the last visit began: the first push since `now`; of sensors alone, their last."""
        begin = (self.now - self.green.weather.start) / np.timedelta64(1, "h")
        tracks = self.evidence.tracks
        pushes = [hour for each in tracks if not each.buried for hour in each.hours.tolist()]
        hour = min(
            (each for each in pushes if each >= begin),
            default=max(float(each.hours[-1]) for each in tracks),
        )
        return np.datetime64(at_hours(self.green.weather, [hour])[0])

    @property
    def turf(self) -> Turf:
        """The turf it was learnt with."""
        return self.green.turf

    @cached_property
    def turfs(self) -> tuple[Turf, ...]:
        """Turf of each draw."""
        crop = self.unknowns.values(self.shared, "crop_coefficient")
        return tuple(turf_with(self.turf, float(factor)) for factor in crop)

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
        now = np.array([self.now])
        return tuple(
            (tuple(cases), run_cases(cases, now, self.n_threads))
            for cases in cases_of(self.green, self.unknowns, self.shared, self._depths)
        )

    @cached_property
    def _held(self) -> FloatArray:
        """Own depths, held at the ends of those that were run [cm], shape (draws, spots)."""
        depths = self.green.groups[0].depths
        held: FloatArray = np.clip(self.own.depth, depths[0], depths[-1])
        return held

    @cached_property
    def _depths(self) -> tuple[FloatArray, ...]:
        """Depths of the columns of each group [cm], shape (draws, columns).

        Those of its spots, or, where these are more, depths between which they are read.
        """
        return tuple(
            self._held[:, group.spots] if group.alone else np.tile(group.depths, (self.draws, 1))
            for group in self.green.groups
        )

    def members(self, weather: Weather | Sequence[Weather]) -> tuple[Weather, ...]:
        """Cut equally likely weather to what comes after `now`.

        Parameters
        ----------
        weather : Weather or sequence of Weather
            It may begin before.

        Raises
        ------
        InputError
            If one begins later, or ends before.
        """
        given = (weather,) if isinstance(weather, Weather) else tuple(weather)
        faults = Faults("weather")
        for each in given:
            if not each.start <= self.now < each.end:
                faults.add(
                    f"it goes from {stamp(each.start)} to {stamp(each.end)}, and the calibration "
                    f"ends at {stamp(self.now)}",
                    allowed="weather that goes on from there",
                    cure="join it to the weather so far, join_weather(weather, forecast)"
                    if each.start > self.now
                    else "give a later forecast, or calibrate with earlier readings",
                )
        faults.raise_if_any()
        return tuple(each.between(self.now, each.end) for each in given)

    def ahead(self, group: int, members: Sequence[Weather]) -> list[Case]:
        """Make columns of every draw for a group, from `now` on, as `at_spots` takes them.

        Parameters
        ----------
        group : int
            Number of the group of spots.
        members : sequence of Weather
            Equally likely weather from `now` on, gone through in turn.

        Returns
        -------
        list of Case
            Depths are the first to change.
        """
        cases, _ = self._columns_now[group]
        columns = self._depths[group].shape[1]
        return [
            with_parts(
                case,
                weather=members[k // columns % len(members)],
                irrigation=self._water_left[group],
                start=self._starts[group][k],
            )
            for k, case in enumerate(cases)
        ]

    def column(self, draw: int, spot: int, members: Sequence[Weather]) -> Case:
        """Make the column of one spot in one draw, from `now` on.

        Where spots are many and the sand remembers, it is that of the next depth that was run.

        Parameters
        ----------
        draw, spot : int
            Their numbers.
        members : sequence of Weather
            As for `ahead`.
        """
        g = self.green.group_of(spot)
        group, depths = self.green.groups[g], self._depths[g][draw]
        first = draw * depths.size
        depth = float(self._held[draw, spot])
        place = float(np.interp(depth, group.depths, np.arange(group.depths.size)))
        whole: Case = self._columns_now[g][0][first]
        if group.alone or self.unknowns.remembers:
            k = first + (group.spots.index(spot) if group.alone else round(place))
            whole, start = self._columns_now[g][0][k], self._starts[g][k]
        else:
            left = min(int(place), depths.size - 2)
            # As far down by part of the depth: exact for what is at rest.
            beside = self._starts[g][first + left], self._starts[g][first + left + 1]
            upper, lower = (
                np.interp(_PARTS * end, known.depth, known.suction)
                for end, known in zip(depths[left : left + 2], beside, strict=True)
            )
            suction = (left + 1 - place) * upper + (place - left) * lower
            whole = with_parts(whole, profile=self.profile(draw, spot))
            # A mat is no mixture: that of the nearer column.
            start = WaterKnown(_PARTS * depth, suction, mat=beside[round(place - left)].mat)
        weather, water = members[draw % len(members)], self._water_left[g]
        return with_parts(whole, weather=weather, irrigation=water, start=start)

    @mind_words()
    def columns(self, spot: Spot, weather: Weather | Sequence[Weather]) -> list[Case]:
        """Make the columns of one spot from `now` on: every draw, whole, under every weather.

        Parameters
        ----------
        spot : Spot
            One of those that were learnt.
        weather : Weather or sequence of Weather
            Weather that goes on from `now`; it may begin before.

        Returns
        -------
        list of Case
            For `simulate_many`; weathers are the first to change.

        Raises
        ------
        InputError
            If the spot was not learnt, or the weather does not go on from `now`.
        """
        number, members = self.number_of(spot), self.members(weather)
        return [
            self.column(draw, number, (member,)) for draw in range(self.draws) for member in members
        ]

    def profile(self, draw: int, spot: int) -> Profile:
        """Make the root zone of one spot in one draw.

        Parameters
        ----------
        draw, spot : int
            Their numbers.
        """
        g = self.green.group_of(spot)
        whole: Profile = self._columns_now[g][0][draw * self._depths[g].shape[1]].profile
        # Within depths that were run, and no base that is held against them: not checked again.
        place = whole.layer_index()
        layers = list(whole.layers)
        layers[place] = with_parts(layers[place], thickness=float(self._held[draw, spot]))
        return with_parts(whole, layers=tuple(layers))

    @mind_words()
    def drained(self, *, rod: Length, after: AfterRain | None = None) -> FloatArray:
        """Tell what spots read when drained, as this meter shows it, shape (draws, spots) [1].

        Parameters
        ----------
        rod : float, str or Quantity
            Length of the rods [cm].
        after : AfterRain, optional
            How the green was wetted last, with `likely_memories` where the sand has none of its
            own; flooded when left out.
        """
        length = number_to_house(rod, "length", "rod")
        read = np.empty((self.draws, len(self.spots)))
        if after is None:
            for j in range(len(self.spots)):
                read[:, j] = self.unknowns.at_rest(self.shared, self._held[:, j], 0.0, length)
        else:
            wet, base = (
                self.unknowns.values(self.shared, n) for n in ("wet_factor", "base_suction")
            )
            for k, memory in enumerate(likely_memories(self.sand, self.draws)):
                sand = with_memory_of(self.unknowns.soil_of(self.shared, k, float(wet[k])), memory)
                left = rest_curve(Rewetted(sand, after))
                read[k] = left.reading(self._held[k], length, float(base[k]))
        shown: FloatArray = np.clip(read + self.shift(rod=length), 0.0, 1.0)
        return shown

    def number_of(self, spot: Spot) -> int:
        """Find the number of a spot by its name.

        Raises
        ------
        InputError
            If it was not among those that were learnt, or was told to be of another depth.
        """
        names = [each.name for each in self.spots]
        faults = Faults("calibration")
        if spot.name not in names:
            faults.add(
                f'spot "{spot.name}" was not part of it',
                allowed=", ".join(names),
                cure="calibrate with a survey that holds it, read or not",
            )
            raise faults.as_error()
        number = names.index(spot.name)
        known = self.spots[number]
        if (spot.depth, spot.depth_at_least) != (known.depth, known.depth_at_least):
            faults.add(
                f'spot "{spot.name}" is {depth_in_words(spot)} deep, and was learnt as '
                f"{depth_in_words(known)}",
                cure="calibrate with this survey, or give the one that was learnt",
            )
            raise faults.as_error()
        return number

    @property
    def halves(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Numbers of the draws in two halves that share no base, nor sand where many are left."""
        number = np.arange(self.draws)
        return number[: self.first], number[self.first :]

    @cached_property
    def _starts(self) -> tuple[list[WaterKnown], ...]:
        """Water at `now`, column by column of each group."""
        refinement = Settings.refinement
        return tuple(
            known_at_end(water, meshes_of([case.profile for case in cases], refinement))
            for cases, water in self._columns_now
        )

    @cached_property
    def _water_left(self) -> tuple[tuple[Event, ...], ...]:
        """Water of the record that each group was given after `now`, before the last reading."""
        return tuple(
            tuple(each.after(self.now) for each in group.irrigation if each.end > self.now)
            for group in self.green.groups
        )

    def at_spots(self, group: int, values: FloatArray) -> FloatArray:
        """Read what was found on the columns of a group at its spots.

        Parameters
        ----------
        group : int
            Number of the group.
        values : ndarray, shape (draws * columns, times)
            What was found on the columns of `ahead`.

        Returns
        -------
        ndarray, shape (spots of the group, draws, times)
        """
        of_group = self.green.groups[group]
        found = values.reshape(*self._depths[group].shape, -1)
        if of_group.alone:
            return np.swapaxes(found, 0, 1)
        weights = of_group.between(self.own.depth[:, of_group.spots])
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
            if not track.buried and same_rod(1.0 / track.per_rod, rod):
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
        lines += [f"doubtful: {each}" for each in self.doubts]
        lines += [f"assumed: {each}" for each in self.assumptions]
        lines += caution_lines(self.cautions)
        title = f"What the readings{place} say, up to {stamp(self.now)}: median (four in five)"
        return Shown(title, _HEADER, self._rows(), lines, set_in=True)


_HEADER = ("", "before", "after", "")
_UNITS = {"length": "cm", "suction": "cm", "water_content": "1", "fraction": "1"}


def _band(band: tuple[float, float, float], quantity: str) -> str:
    if quantity == "length":
        one = one_writing("length")
        low, high = one.figure(band[0]), one.figure(band[2])
        return f"{in_people_units(band[1], quantity)} ({low} to {high})"
    scale, unit, digits = {
        "suction": (1.0, " cm", 1),
        "water_content": (100.0, " %", 1),
        "fraction": (1.0, "", 2),
    }[quantity]
    low, middle, high = (f"{scale * value:.{digits}f}" for value in band)
    return f"{middle}{unit} ({low} to {high})"
