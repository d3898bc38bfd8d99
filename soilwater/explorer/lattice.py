"""Runs on a lattice of depths and demands: what a page can answer without running anything.

Water is kept as the mean water content of cells that follow the column: every centimetre from the
surface to 12 cm, where rods and roots are, and below that stretched to the base. Between the points
of the lattice water content is smooth; suction and its logarithm are not.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.base import Base
from soilwater.ground.layer import Layer
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.case import Case
from soilwater.runs.columns_of import Column, each_column
from soilwater.runs.drained import drained_state
from soilwater.runs.simulate import simulate_many
from soilwater.soils import Soil
from soilwater.weather.made import steady_weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import nothing_to_hand_back

SHALLOWEST, DEEPEST = 15.0, 60.0
"""Root zones [cm] for which the accuracy of the lattice was found out."""
MOST_DEMAND = 10.0
"""Reference demand [mm/day] up to which it was."""
MOST_DAYS = 14
"""Length of a dry-down [d] up to which it was."""
DEPTHS: FloatArray = np.array([*range(15, 22), *range(22, 61, 2)], dtype=np.float64)
"""Depths of the full lattice [cm]: closer where perched water ends within the fortnight."""
DEMANDS: FloatArray = np.concatenate(
    [[0.0, 0.25], np.arange(0.5, 3.0, 0.5), np.arange(3.0, 7.0, 0.25), np.arange(7.0, 10.1, 0.5)]
)
"""Demands of the full lattice [mm/day]: closer where a deep sand stops draining to feed roots."""
TOLERANCE = 5e-4
"""Local error of the runs [1]: at that of `simulate` their noise is half of what is promised."""
WATER_STEP = 5e-4
"""Steps in which water content is kept [1]."""
BESIDE_SURFACE, STRETCHED = 12, 13
"""Cells of 1 cm from the surface down, and cells from there to the base."""
STRETCH = 1.3
"""How much closer the stretched levels lie near the base, where the capillary fringe is."""


class Lattice(NamedTuple):
    """Water in columns of one sand on one base.

    `water`, in steps of `WATER_STEP`, lies over `hours` since the start, cells, `depths` [cm] and
    `demands` [mm/day], in this order; `rest`, shape (depths, cells), is the drained water content
    [1], `porosity` that of the sand [1]. `failed` holds places (depth, demand) without a result
    and the reason.
    """

    depths: FloatArray
    demands: FloatArray
    hours: FloatArray
    water: NDArray[np.int16]
    rest: FloatArray
    porosity: float
    failed: tuple[tuple[int, int, str], ...]


class Setting(NamedTuple):
    """What all columns of a page share: turf, days, first day, start, and the thread count."""

    turf: Turf
    days: int
    first_day: Any
    start: str
    n_threads: int | None


def levels(depth: float) -> FloatArray:
    """Depths of the ends of the cells in a root zone of some depth [cm], the surface first."""
    top = np.arange(BESIDE_SURFACE + 1.0)
    share = 1.0 - (1.0 - np.arange(1, STRETCHED + 1) / STRETCHED) ** STRETCH
    joined: FloatArray = np.concatenate([top, BESIDE_SURFACE + (depth - BESIDE_SURFACE) * share])
    return joined


def part_of(points: FloatArray, low: float, high: float) -> FloatArray:
    """Points of a full axis within two ends, and the ends; at least as many as a cubic needs."""
    inside = points[(points > low + 1e-9) & (points < high - 1e-9)]
    kept = np.concatenate([[low], inside, [high]])
    return kept if kept.size >= 4 else np.linspace(low, high, 4)


def stored_hours(days: int) -> FloatArray:
    """Hours that are kept: the first six one by one, when a soaking drains, then every second."""
    return np.concatenate([np.arange(6.0), np.arange(6.0, 24.0 * days + 1.0, 2.0)])


def profile_of(soil: Soil, depth: float, base: Base) -> Profile:
    """One root zone of a sand on a base."""
    return Profile((Layer(soil, depth, Profile.ROOT_ZONE),), base)


def case_of(profile: Profile, demand: float, setting: Setting) -> Case:
    """Make the case of one demand [mm/day]."""
    weather = steady_weather(setting.days, demand, first_day=setting.first_day)
    return Case(profile, weather, turf=setting.turf, start=setting.start)


def run(cases: list[Case], hours: FloatArray, setting: Setting, tolerance: float) -> xr.Dataset:
    """Run cases of a page with results at some hours since the start."""
    start = cases[0].weather.start
    times = start + np.round(hours * 60.0).astype(np.int64).astype("timedelta64[m]")
    with nothing_to_hand_back():
        return simulate_many(
            cases,
            output=times,
            keep=("node_suction",),
            tolerance=tolerance,
            n_threads=setting.n_threads,
        )


def make_lattice(
    soil: Soil, base: Base, depths: FloatArray, demands: FloatArray, setting: Setting
) -> Lattice:
    """Run every depth under every demand.

    Parameters
    ----------
    soil : Soil
        The sand.
    base : Base
        What the root zone stands on; it must come to a rest.
    depths, demands : ndarray
        Points of the lattice [cm] and [mm/day], four or more each.
    setting : Setting
        What all columns share.

    Returns
    -------
    Lattice
        Runs that failed are listed in it.
    """
    hours = stored_hours(setting.days)
    n_cells = BESIDE_SURFACE + STRETCHED
    water = np.zeros((hours.size, n_cells, depths.size, demands.size), dtype=np.int16)
    rest = np.empty((depths.size, n_cells))
    failed: list[tuple[int, int, str]] = []
    for i, depth in enumerate(depths.tolist()):
        profile = profile_of(soil, depth, base)
        result = run([case_of(profile, e, setting) for e in demands], hours, setting, TOLERANCE)
        (at_rest,) = each_column(drained_state(profile))
        rest[i] = cell_means(at_rest)[0]
        for j, column in enumerate(each_column(result)):
            if int(result.status.values[j]):
                failed.append((i, j, str(result.status_text.values[j])))
                continue
            water[:, :, i, j] = np.round(cell_means(column) / WATER_STEP)
    return Lattice(depths, demands, hours, water, rest, float(soil.theta_s), tuple(failed))


def cell_means(column: Column) -> FloatArray:
    """Mean water content of each cell [1], shape (times, cells)."""
    ends = levels(column.profile.depth)
    return np.stack(
        [column.mean(float(top), float(bottom)) for top, bottom in pairwise(ends)],
        axis=1,
    )
