"""Equally likely columns of every spot of a green, and how they go without water by hand.

A plan is made on one such trial and checked on another that shares no sand and no base with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import (
    Draw,
    Runs,
    between_depths,
    column,
    depth_grid,
    run_columns,
)
from soilwater.decisions.watering.plan_words import JUST_ABOVE
from soilwater.decisions.watering.refill import Refill
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.learning.calibration import Calibration
from soilwater.runs.case import Case
from soilwater.runs.wetted import AfterRain
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class Trial:
    """What a plan is tried on.

    Attributes
    ----------
    column, profile : callable
        Give the column of a spot in a draw, by their numbers, without water by hand; and its root
        zone alone.
    shift : ndarray, shape (spots, draws)
        What meter, mat and spot add to readings [1].
    hours, times : ndarray, shape (times,)
        Since the start [h], and as instants.
    reading : ndarray, shape (spots, draws, times)
        Readings without water by hand [1].
    storage, drainage : ndarray, shape (spots, draws, times)
        Water in the column, and water that has left it at the base [mm].
    rod : float
        Length of the rods [cm].
    """

    column: Callable[[int, int], Case]
    profile: Callable[[int, int], Profile]
    shift: FloatArray
    hours: FloatArray
    times: NDArray[np.datetime64]
    reading: FloatArray
    storage: FloatArray
    drainage: FloatArray
    rod: float

    @property
    def draws(self) -> int:
        """How many draws."""
        return int(self.shift.shape[1])

    def refill(self, spot: int) -> Refill:
        """Tell what a spot holds again after water, and reads drained, in each draw."""
        profiles = [self.profile(spot, k) for k in range(self.draws)]
        starts = [self.column(spot, k).start for k in range(self.draws)]
        found = Refill.of(profiles, starts, self.rod)
        return found._replace(drained=found.drained + self.shift[spot][:, None])


class Tried(NamedTuple):
    """A spot as its plan stands in each draw over time: what it reads; what it could be given back.

    `first` is the number of the output time from which the line is to be kept, `room` the water it
    would hold more [mm], `drained` what it would read after that [1].
    """

    first: int
    reading: FloatArray
    room: FloatArray
    drained: FloatArray
    refill: Refill

    def enter(self, draws: NDArray[np.int64], reading: FloatArray, storage: FloatArray) -> None:
        """Take over what draws read and hold."""
        refill = Refill(*(part[draws] for part in self.refill))
        full, self.drained[draws] = refill.again(storage)
        self.reading[draws], self.room[draws] = reading, full - storage

    def missed(self, line: float) -> NDArray[np.int64]:
        """Draws that fall to the line and could be kept above it."""
        low = self.reading[:, self.first :].min(axis=1) <= line
        return np.flatnonzero(low & self.can_stay(line))

    def can_stay(self, line: float) -> NDArray[np.bool_]:
        """Draws that water can keep above the line: those that start above it when drained."""
        above: NDArray[np.bool_] = self.drained[:, 0] > line + JUST_ABOVE
        return above


def trial_from_rest(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    after: AfterRain | None,
    rod: float,
    n_threads: int | None,
) -> Trial:
    """Let every spot start drained; columns are run on a grid of depths and read between them.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    drawn : sequence of Draw
        Equally likely combinations.
    turf : Turf
        Roots and demand.
    after : AfterRain or None
        How they were wetted last; flooded if None.
    rod : float
        Length of the rods [cm].
    n_threads : int or None
        Threads to use.
    """
    start = after or "drained"
    depths = np.array([spot.depth for spot in known])
    grid = depth_grid(depths, rod, 0.0)
    runs = run_columns(
        [column(draw, float(depth), turf, start=start) for draw in drawn for depth in grid],
        rod,
        n_threads=n_threads,
    )

    def at_spots(values: FloatArray) -> FloatArray:
        found = values.reshape(len(drawn), grid.size, -1)
        every = [between_depths(grid, found, np.full(len(drawn), depth)) for depth in depths]
        return np.array(every)

    def one(spot: int, draw: int) -> Case:
        return column(drawn[draw], known[spot].depth, turf, start=start)

    return _trial(known, drawn, one, runs, at_spots, rod)


def trial_from_readings(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    starts: Sequence[Sequence[Any]],
    rod: float,
    n_threads: int | None,
) -> Trial:
    """Let every spot start at its reading.

    Parameters
    ----------
    known, drawn, turf, rod, n_threads
        As for `trial_from_rest`.
    starts : sequence of sequence
        For each spot the start in each draw.
    """

    def one(spot: int, draw: int) -> Case:
        return column(drawn[draw], known[spot].depth, turf, start=starts[spot][draw])

    shape = (len(known), len(drawn))
    cases = [one(i, k) for i in range(shape[0]) for k in range(shape[1])]
    runs = run_columns(cases, rod, n_threads=n_threads)
    return _trial(known, drawn, one, runs, lambda values: values.reshape(*shape, -1), rod)


def trials_from_calibration(
    known: Sequence[Spot],
    calibration: Calibration,
    members: Sequence[Weather],
    rod: float,
    n_threads: int | None,
) -> tuple[Trial, Trial]:
    """Let every spot start as readings have taught, in two halves of what they left possible.

    Parameters
    ----------
    known : sequence of Spot
        Spots that were learnt.
    calibration : Calibration
        What was learnt.
    members : sequence of Weather
        Equally likely weather from its `now` on.
    rod : float
        Length of the rods [cm].
    n_threads : int or None
        Threads to use.
    """
    numbers = [calibration.number_of(spot) for spot in known]
    shift = calibration.shift(rod=rod).T
    groups = calibration.green.groups
    wanted = [g for g, group in enumerate(groups) if set(group.spots) & set(numbers)]
    runs = {g: run_columns(calibration.ahead(g, members), rod, n_threads=n_threads) for g in wanted}
    place = {i: (g, k) for g in wanted for k, i in enumerate(groups[g].spots)}

    def half(index: NDArray[np.int64]) -> Trial:
        def at_spots(name: str) -> FloatArray:
            of_groups = {g: calibration.at_spots(g, getattr(runs[g], name)) for g in wanted}
            return np.array([of_groups[place[i][0]][place[i][1]][index] for i in numbers])

        @cache
        def one(spot: int, draw: int) -> Case:
            return calibration.column(int(index[draw]), numbers[spot], members)

        @cache
        def root_zone(spot: int, draw: int) -> Profile:
            return calibration.profile(int(index[draw]), numbers[spot])

        of_half = shift[numbers][:, index]
        any_runs = runs[wanted[0]]
        return Trial(
            column=one,
            profile=root_zone,
            shift=of_half,
            hours=any_runs.hours,
            times=any_runs.times,
            reading=at_spots("reading") + of_half[:, :, None],
            storage=at_spots("storage"),
            drainage=at_spots("drainage"),
            rod=rod,
        )

    first, second = (half(index) for index in calibration.halves)
    return first, second


def _trial(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    one: Callable[[int, int], Case],
    runs: Runs,
    at_spots: Callable[[FloatArray], FloatArray],
    rod: float,
) -> Trial:
    return Trial(
        column=one,
        profile=lambda spot, draw: drawn[draw].profile(known[spot].depth),
        shift=np.zeros((len(known), len(drawn))),
        hours=runs.hours,
        times=runs.times,
        reading=at_spots(runs.reading),
        storage=at_spots(runs.storage),
        drainage=at_spots(runs.drainage),
        rod=rod,
    )
