"""Several sands side by side: windows of depth, or what each does at depths on the table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Any

import numpy as np
import xarray as xr

from soilwater.decisions.building.depth import (
    AS_TESTED,
    DepthWindow,
    Range,
    depth_window,
    more_or_less,
    window_columns,
)
from soilwater.decisions.targets import (
    Target,
)
from soilwater.ground.base_suction import OVER_GRAVEL
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_at_rest import DRAWS
from soilwater.runs.case import Case
from soilwater.runs.meter import days_until
from soilwater.runs.simulate import simulate_many
from soilwater.runs.standing import columns_failed
from soilwater.runs.wetted import gently
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray, lengths
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown, listed
from soilwater.words.errors import InputError, nothing_to_hand_back
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words


@dataclass(frozen=True)
class SandAtDepth:
    """What a sand does in a root zone of one depth.

    Attributes
    ----------
    sand : str
        Its name.
    depth : float
        Of the root zone [cm].
    reading, air_filled : float
        Drained reading and air-filled porosity of the root layer [1], the middle of their bands.
    reading_band, air_band : (float, float)
        Where these lie in 80 % of the joint draws of sand and base [1].
    days : float
        Days until the reading falls to the low end of the target [d]; infinity beyond the weather,
        NaN where none was given.
    probability : float
        Share of the joint draws that meet both targets [1].
    """

    sand: str
    depth: float
    reading: float
    air_filled: float
    reading_band: tuple[float, float]
    air_band: tuple[float, float]
    days: float
    probability: float


@dataclass(frozen=True, eq=False, repr=False)
class SandComparison(Displayed, Tabled):
    """Several sands under the same targets.

    Attributes
    ----------
    windows : tuple of DepthWindow
        One per sand, in the order given.
    at_depths : tuple of SandAtDepth
        Each sand at each of the depths asked about; empty where none was.
    horizon : float
        Length of the weather that days are counted in [d]; 0 without.
    """

    windows: tuple[DepthWindow, ...]
    at_depths: tuple[SandAtDepth, ...] = ()
    horizon: float = 0.0

    @property
    def common(self) -> Range | None:
        """Depths [cm] that suit every one of the sands, or None."""
        low = max(window.low for window in self.windows)
        high = min(window.high for window in self.windows)
        return Range(low, high) if low <= high else None

    @property
    def sentence(self) -> str:
        """What the sands have in common, in words."""
        if len(self.windows) == 1:
            return f"{self.windows[0].name}: {self.windows[0].sentence}"
        if self.common is None:
            return "no depth suits all of these sands: the depth must follow the sand delivered"
        return f"{self.common} suits all of these sands, by the middle of the band of each"

    @property
    def suits(self) -> tuple[str, ...]:
        """Which sand suits which depth, a sentence for each depth that was asked about."""
        said = []
        for depth in dict.fromkeys(each.depth for each in self.at_depths):
            there = sorted(
                (each for each in self.at_depths if each.depth == depth),
                key=lambda each: -each.probability,
            )
            odds = "; ".join(self._odds(each) for each in there)
            said.append(
                f"{in_people_units(depth, 'length')}: {_who_suits(there)} (reads as wanted and "
                f"keeps its air: {odds})"
            )
        return tuple(said)

    def _odds(self, each: SandAtDepth) -> str:
        """Odds of a sand at a depth, with what is wrong where they are low."""
        told = f"{each.sand} {100 * each.probability:.0f} %"
        target, least = self.windows[0].target, self.windows[0].air.least
        if each.probability >= _LIKELY:
            return told
        if each.reading < target.low:
            return f"{told}, too dry"
        if each.reading > target.high:
            return f"{told}, too wet"
        return f"{told}, {'too little air' if each.air_filled < least else 'near the edge'}"

    def to_dataset(self, depths: Sequence[Length]) -> xr.Dataset:
        """Stack the curves of all sands over the same depths [cm] along ``sand``."""
        names = np.array([window.name for window in self.windows], dtype=object)
        return xr.concat(
            [window.to_dataset(depths) for window in self.windows],
            xr.Variable("sand", names),
            combine_attrs="drop_conflicts",
        )

    def _columns(self) -> list[Column]:
        if not self.at_depths:
            return window_columns(self.windows)
        parts: list[tuple[str, Any, str]] = [
            ("sand", lambda each: each.sand, ""),
            ("depth", lambda each: each.depth, "length"),
        ]
        for name, band, told in (
            ("reading", "reading_band", "reading"),
            ("air_filled", "air_band", "air filled"),
        ):
            parts.append((told, attrgetter(name), "water_content"))
            for i, end in enumerate(("at least", "at most")):
                parts.append(
                    (f"{told} {end}", lambda e, b=band, i=i: getattr(e, b)[i], "water_content")
                )
        parts += [
            ("days", lambda each: each.days, "days"),
            ("probability", lambda each: each.probability, "probability"),
        ]
        return columns_of(self.at_depths, parts)

    def _rows_at_depths(self) -> list[tuple[str, ...]]:
        def told(value: float, band: tuple[float, float]) -> str:
            return f"{100 * value:.1f} ({100 * band[0]:.1f} to {100 * band[1]:.1f})"

        def days(value: float) -> str:
            if np.isnan(value):
                return "-"
            return f"{value:.1f}" if np.isfinite(value) else f"> {self.horizon:.0f}"

        return [
            (
                each.sand,
                in_people_units(each.depth, "length"),
                told(each.reading, each.reading_band),
                told(each.air_filled, each.air_band),
                days(each.days),
                f"{100 * each.probability:.0f} %",
            )
            for each in self.at_depths
        ]

    def _rows(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for window in self.windows:
            if window.exists:
                shown = (
                    str(Range(window.low, window.high)),
                    in_people_units(window.best, "length"),
                    more_or_less(window.tolerance),
                    str(window.best_band),
                    window.rewetted or "-",
                )
            else:
                shown = ("none", "-", "-", "-", "-")
            rows.append((window.name, *shown))
        return rows

    def _lines(self) -> list[str]:
        first = self.windows[0]
        shared = [c for c in first.cautions if all(c in each.cautions for each in self.windows)]
        own = [
            f"caution: {each.name}: {caution}"
            for each in self.windows
            for caution in each.cautions
            if caution not in shared
        ]
        return [*first._asked(), AS_TESTED, *own, *caution_lines(shared)]

    def _shown(self) -> Shown:
        if self.at_depths:
            low = 100.0 * self.windows[0].target.low
            header = ("sand", "depth", "reads %", "air %", f"days to {low:g} %", "meets both")
            own = [f"{each.name}: {each.sentence}" for each in self.windows]
            lines = [*self.suits, *own, *self._lines()]
            return Shown("Sands at these depths", header, self._rows_at_depths(), lines)
        header = (*_COMPARED, f"reads there after {gently()}")
        return Shown(self.sentence, header, self._rows(), self._lines())


def _who_suits(there: Sequence[SandAtDepth]) -> str:
    """Say which of some sands suits a depth, the most probable first."""
    likely = [each.sand for each in there if each.probability >= _LIKELY]
    if not likely:
        return "none is likely to suit"
    if len(there) == 1:
        return f"{likely[0]} suits"
    alike = [each.sand for each in there if each.probability > there[0].probability - _ALIKE]
    alike = [name for name in likely if name in alike]
    said = f"{alike[0]} suits best" if len(alike) == 1 else f"{listed(alike)} suit alike"
    others = likely[len(alike) :]
    return f"{said}, {listed(others)} may do too" if others else said


_LIKELY = 0.5
"""Share of the draws from which a sand is said to suit a depth [1]."""
_ALIKE = 0.05
"""Difference between shares of the draws that is not told [1]."""
_COMPARED = ("sand", "window", "best", "tolerance it can stand", "best, with its band")


@mind_words(reading="target", samples="draws")
def compare_sands(
    sands: Mapping[str, Sand] | Sequence[Sand],
    target: Target,
    *,
    rod: Length,
    air_filled: WaterContent,
    base_suction: Suction = OVER_GRAVEL,
    root_layer: Length = None,
    depths: Sequence[Length] | None = None,
    weather: Weather | None = None,
    turf: Turf | None = None,
    draws: int = DRAWS,
) -> SandComparison:
    """Find the depth window of several sands, or what they do at given depths, side by side.

    Parameters
    ----------
    sands : mapping of str to sands, or sequence of sands
        Sands by name, or sands that have names; each a soil, a fit, or equally likely ones.
    target : two of float, str or Quantity, ReadingTarget, or str
        As in `depth_window` [1].
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    air_filled : float, str, Quantity or AirTarget
        Least air-filled porosity of the root layer [1].
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm], the same for all.
    root_layer : float, str or Quantity, optional
        Thickness of the layer whose air counts [cm].
    depths : sequence of float, str or Quantity, optional
        Depths of the root zone that are on the table [cm]: readings, air and odds of each sand.
    weather : Weather, optional
        Weather after a soaking has drained, to count days to the low end of the target in.
    turf : Turf, optional
        Roots and demand; needed with the weather.
    draws : int, optional
        Joint draws of sand and base suction that carry the bands.

    Returns
    -------
    SandComparison
        The windows, and the depths that suit all; with `depths`, what suits which.

    Raises
    ------
    InputError
        If there are no sands or depths, two sands have one name, a depth is less than the rods
        or more than 100 cm, weather comes without depths or turf, or as for `depth_window`.
    RunError
        If a column cannot be carried through.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> mix = VanGenuchten(0.05, 0.42, 0.039, 3.0, "28 cm/h", name="mix")
    >>> coarse = VanGenuchten(0.025, 0.37, 0.041, 4.5, "60 cm/h", name="coarse sand")
    >>> compared = compare_sands(
    ...     [mix, coarse], (0.15, 0.25), rod="3 in", air_filled="10 %", depths=["10 in", "14 in"]
    ... )
    >>> print(compared.suits[1])
    35.6 cm (14.0 in): mix suits best (reads as wanted and keeps its air: mix 100 %; coarse sand \
0 %, too dry)
    """
    named = _by_name(sands)
    windows = []
    for name, each in named.items():
        window = depth_window(
            each,
            target,
            rod=rod,
            air_filled=air_filled,
            base_suction=base_suction,
            root_layer=root_layer,
            draws=draws,
        )
        windows.append(replace(window, name=name))
    if depths is None:
        if weather is not None or turf is not None:
            raise InputError(
                "compare_sands: weather or turf without depths; say depths=[...] that days are "
                "counted at."
            )
        return SandComparison(tuple(windows))
    at = np.array(list(dict.fromkeys(lengths(depths, "depths").tolist())))
    if at.size == 0:
        raise InputError("compare_sands: depths: there are none; allowed: one or more.")
    days = np.full((len(windows), at.size), np.nan)
    if weather is not None and turf is not None:
        days = _days_at(windows, at, weather, turf)
    elif weather is not None or turf is not None:
        raise InputError("compare_sands: days need weather and turf; give both, or neither.")
    horizon = 0.0 if weather is None else float(weather.hours[-1]) / 24.0
    return SandComparison(
        tuple(windows),
        tuple(
            each
            for window, lasts in zip(windows, days, strict=True)
            for each in _at_depths(window, at, lasts)
        ),
        horizon,
    )


def _by_name(sands: Mapping[str, Sand] | Sequence[Sand]) -> dict[str, Sand]:
    if isinstance(sands, Mapping):
        named = dict(sands)
    else:
        names = [
            str(getattr(getattr(each, "soil", each), "name", "")) or f"sand {i}"
            for i, each in enumerate(sands, start=1)
        ]
        for name in names:
            if names.count(name) > 1:
                raise InputError(
                    f'compare_sands: {names.count(name)} sands are named "{name}"; allowed: a name '
                    f'each, such as sands={{"{name} A": ..., "{name} B": ...}}.'
                )
        named = dict(zip(names, sands, strict=True))
    if not named:
        raise InputError("sands: there are none; allowed: one or more.")
    return named


def _at_depths(window: DepthWindow, depths: FloatArray, days: FloatArray) -> list[SandAtDepth]:
    curve = window.to_dataset(list(depths))
    names = ("expected_reading", "air_filled_porosity")
    ends = [[curve[f"{name}_{end}"].values for end in ("lower", "upper")] for name in names]
    return [
        SandAtDepth(
            sand=window.name,
            depth=float(depth),
            reading=float(curve.expected_reading[i]),
            air_filled=float(curve.air_filled_porosity[i]),
            reading_band=(float(ends[0][0][i]), float(ends[0][1][i])),
            air_band=(float(ends[1][0][i]), float(ends[1][1][i])),
            days=float(days[i]),
            probability=float(curve.probability[i]),
        )
        for i, depth in enumerate(depths)
    ]


def _days_at(
    windows: Sequence[DepthWindow], depths: FloatArray, weather: Weather, turf: Turf
) -> FloatArray:
    """Days until the best of each sand reads the low end of its target, by sand and depth [d]."""
    cases = [
        Case(
            Profile.over_gravel(window.sand, depth, base_suction=window.base_suction.best),
            weather,
            turf=turf,
            start="drained",
        )
        for window in windows
        for depth in depths.tolist()
    ]
    with nothing_to_hand_back():
        runs = simulate_many(cases, output=6.0, keep=("node_suction",))
    failed = np.flatnonzero(runs.status.values)
    if failed.size:
        raise columns_failed(failed.size, len(cases), str(runs.status_text.values[failed[0]]))
    found = days_until(runs, windows[0].target.low, rod=windows[0].rod).values
    days: FloatArray = found.reshape(len(windows), depths.size)
    return days
