"""Columns of a green run from its last soaking, for draws of what its spots share.

Spots differ in their depth and in the water they were given, so columns are run on a few depths for
each record of water, and read between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.runs.case import Case
from soilwater.runs.columns_of import columns_of_profiles
from soilwater.runs.settings import COARSE_MESH, COARSE_TOLERANCE, Settings
from soilwater.runs.simulate import simulate_many
from soilwater.runs.standing import columns_failed
from soilwater.soils import Hysteretic
from soilwater.survey.survey import Spot
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import nothing_to_hand_back

SHALLOWER, DEEPER = 8.0, 14.0
"""How much less or more than probed a spot may behave [cm]."""
GRID = 5.5
"""Largest distance between depths that are run [cm]; a cubic runs between them."""
_LEAST_BELOW_ROD = 0.5
_FEWEST = 4


class Span(NamedTuple):
    """Depths between which an instrument reads: top and bottom [cm]."""

    top: float
    bottom: float


@dataclass(frozen=True, eq=False)
class Group:
    """Spots that were given the same water.

    Attributes
    ----------
    spots : tuple of int
        Their numbers.
    irrigation : tuple of Event
        Water applied to them.
    depths : ndarray, shape (depths,)
        Depths that are run [cm].
    """

    spots: tuple[int, ...]
    irrigation: tuple[Event, ...]
    depths: FloatArray

    def between(self, depth: FloatArray) -> FloatArray:
        """Weights of the depths that are run, for depths between them [cm].

        Shape (..., depths); held at the ends.
        """
        return weights_between(self.depths, depth)

    @property
    def alone(self) -> bool:
        """Whether its spots are fewer than the depths, so that each had better be run itself."""
        return len(self.spots) < self.depths.size


def weights_between(run: FloatArray, depth: FloatArray) -> FloatArray:
    """Weights of depths that are run, for depths between them [cm]: a cubic, held at the ends.

    Parameters
    ----------
    run : ndarray, shape (depths,)
        Three or more that are run; between three it is a parabola.
    depth : ndarray
        Those wanted.

    Returns
    -------
    ndarray, shape (..., depths)
    """
    from scipy.interpolate import CubicSpline

    weights: FloatArray = CubicSpline(run, np.eye(run.size))(np.clip(depth, run[0], run[-1]))
    return weights


@dataclass(frozen=True, eq=False)
class Green:
    """What is known of a green since its last soaking.

    Attributes
    ----------
    spots : tuple of Spot
        With depths.
    turf : Turf
        Roots and demand.
    weather : Weather
        From the soaking on.
    groups : tuple of Group
        Spots by the water they were given.
    """

    spots: tuple[Spot, ...]
    turf: Turf
    weather: Weather
    groups: tuple[Group, ...]

    def group_of(self, spot: int) -> int:
        """Find the number of the group a spot is in."""
        return next(g for g, group in enumerate(self.groups) if spot in group.spots)


def groups_of(
    spots: Sequence[Spot], irrigation: Sequence[tuple[Event, ...]], longest: float
) -> tuple[Group, ...]:
    """Put spots that were given the same water together, and choose the depths to run.

    Parameters
    ----------
    spots : sequence of Spot
        With depths.
    irrigation : sequence of tuple of Event
        Water applied to each.
    longest : float
        Greatest depth an instrument reads to [cm]; no column is shallower.
    """
    alike: dict[tuple[Event, ...], list[int]] = {}
    for i, events in enumerate(irrigation):
        alike.setdefault(events, []).append(i)
    depths = [spot.depth for spot in spots]
    low = max(min(depths) - SHALLOWER, longest + _LEAST_BELOW_ROD)
    high = max(max(depths) + DEEPER, low + 2.0)
    count = max(_FEWEST, int(np.ceil((high - low) / GRID)) + 1)
    # The same for all groups, so that columns and terms are made once.
    ladder = np.linspace(low, high, count)
    return tuple(Group(tuple(members), events, ladder) for events, members in alike.items())


def turf_with(turf: Turf, factor: float) -> Turf:
    """Return the turf with its crop coefficient multiplied [1]."""
    given = turf.crop_coefficient
    scaled = tuple(factor * each for each in given) if isinstance(given, tuple) else factor * given
    return replace(turf, crop_coefficient=scaled)


def cases_of(
    green: Green, unknowns: Unknowns, shared: Shared, depths: Sequence[FloatArray]
) -> tuple[list[Case], ...]:
    """Make columns of every draw for each group, from the soaking on.

    Parameters
    ----------
    green : Green
        The green.
    unknowns : Unknowns
        What is not known of it.
    shared : Shared
        Draws.
    depths : sequence of ndarray, shape (draws, columns)
        Depths for each group [cm], which are the first to change.
    """
    crop, wet, base = (
        unknowns.values(shared, name).tolist()
        for name in ("crop_coefficient", "wet_factor", "base_suction")
    )
    cases: tuple[list[Case], ...] = tuple([] for _ in green.groups)
    for i in range(shared.soil.size):
        soil, turf = unknowns.soil_of(shared, i, wet[i]), turf_with(green.turf, crop[i])
        made: dict[float, Profile] = {}
        for of_group, group, wanted in zip(cases, green.groups, depths, strict=True):
            for depth in wanted[i].tolist():
                if depth not in made:
                    made[depth] = Profile.over_gravel(soil, depth, base_suction=base[i])
                water = group.irrigation
                of_group.append(Case(made[depth], green.weather, turf=turf, irrigation=water))
    return cases


def run_cases(
    cases: Sequence[Case], times: Any, n_threads: int | None, *, coarse: bool = False
) -> xr.Dataset:
    """Run columns and keep what a meter and a start need.

    Parameters
    ----------
    cases : sequence of Case
        Columns.
    times : ndarray of datetime64, shape (times,)
        When.
    n_threads : int or None
        Threads to use.
    coarse : bool, optional
        Whether less than half of the work will do, as where polynomials are fitted to readings.

    Raises
    ------
    RunError
        If a column cannot be carried through.
    """
    keep = ["node_suction"]
    if any(isinstance(layer.soil, Hysteretic) for layer in cases[0].profile.layers):
        keep += ["drying_suction", "turning_suction"]
    with nothing_to_hand_back():
        result = simulate_many(
            cases,
            output=times,
            keep=keep,
            tolerance=COARSE_TOLERANCE if coarse else Settings.tolerance,
            refinement=COARSE_MESH if coarse else Settings.refinement,
            n_threads=n_threads,
        )
    failed = np.flatnonzero(result.status.values)
    if failed.size:
        raise columns_failed(failed.size, len(cases), str(result.status_text.values[failed[0]]))
    return result


def read_spans(
    green: Green,
    unknowns: Unknowns,
    shared: Shared,
    spans: Sequence[Span],
    times: Any,
    n_threads: int | None,
) -> list[FloatArray]:
    """Run draws from the soaking on, and read instruments on them.

    Parameters
    ----------
    green : Green
        The green.
    unknowns : Unknowns
        What is not known of it.
    shared : Shared
        Draws.
    spans : sequence of Span
        Depths between which instruments read.
    times : ndarray of datetime64, shape (times,)
        When.
    n_threads : int or None
        Threads to use.

    Returns
    -------
    list of ndarray, shape (draws, depths, spans, times)
        Water contents [1], one array a group.
    """
    # The water of most is run on every depth, what another adds to it on a few: that is smooth.
    most = max(range(len(green.groups)), key=lambda g: len(green.groups[g].spots))
    few = [
        np.arange(group.depths.size) if g == most else few_depths(green, group)
        for g, group in enumerate(green.groups)
    ]
    run = [group.depths[at] for group, at in zip(green.groups, few, strict=True)]
    every_draw = [np.tile(depths, (shared.soil.size, 1)) for depths in run]
    read = []
    for cases, depths in zip(cases_of(green, unknowns, shared, every_draw), run, strict=True):
        result = run_cases(cases, times, n_threads, coarse=True)
        columns = columns_of_profiles(result, (case.profile for case in cases), COARSE_MESH)
        values = [[one.mean(*span) for span in spans] for one in columns]
        every: FloatArray = np.array(values)
        read.append(every.reshape(-1, depths.size, *every.shape[1:]))
    usual = read[most]
    return [
        usual
        + np.einsum("kd,cd...->ck...", weights_between(depths, group.depths), own - usual[:, at])
        for group, at, depths, own in zip(green.groups, few, run, read, strict=True)
    ]


def few_depths(green: Green, group: Group) -> NDArray[np.int64]:
    """Find numbers of the depths on which the water of a group is run: every other about it."""
    probed = [green.spots[i].depth for i in group.spots]
    first, last = np.searchsorted(
        group.depths, [min(probed) - SHALLOWER, max(probed) + SHALLOWER]
    ).clip(0, group.depths.size - 1)
    first = min(first, max(0, last - 2))
    last = max(last, min(first + 2, group.depths.size - 1))
    count = max(3, int(last - first) // 2 + 1)
    return np.linspace(first, last, count).round().astype(np.int64)


def at_hours(weather: Weather, hours: Sequence[float]) -> NDArray[np.datetime64]:
    """Instants at hours since the start of the weather."""
    return np.array([weather.start + np.timedelta64(round(3600e9 * h), "ns") for h in hours])
