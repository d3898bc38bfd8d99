"""Equally likely columns of every spot of a green, and how they go without water by hand.

An outlook is read off one such trial; a plan is made on one and checked on another that shares no
sand and no base with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.draws import Draw
from soilwater.decisions.watering.ensembles import (
    Runs,
    beside_depths,
    between_depths,
    column,
    daily_share_met,
    depth_grid,
    depth_in,
    packed_columns,
    run_columns,
    run_packed,
)
from soilwater.decisions.watering.refill import Refill, refills_of
from soilwater.decisions.watering.starts import starts_at_readings
from soilwater.ground.mesh import Mesh
from soilwater.ground.turf import Turf
from soilwater.learning.calibration import Calibration
from soilwater.runs.case import Case
from soilwater.runs.scheduling import Progress
from soilwater.runs.standing import PackedColumns
from soilwater.runs.wetted import AfterRain
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class Trial:
    """Spots without water by hand, in draws that are equally likely.

    Attributes
    ----------
    column : callable
        Gives the column of a spot in a draw, by their numbers, without water by hand.
    shift : ndarray, shape (spots, draws)
        What meter, mat and spot add to readings [1].
    hours, times : ndarray, shape (times,)
        Since the start [h], and as instants.
    reading : ndarray, shape (spots, draws, times)
        Readings [1] as the meter shows them.
    met : ndarray, shape (spots, draws, days)
        Shares of each day's demand that are met [1].
    storage, drainage : ndarray, shape (spots, draws, times)
        Water in the column, and water that has left it at the base [mm].
    rod : float
        Length of the rods [cm].
    pack : callable
        Packs the columns of spots in draws, by their numbers; those of one spot after the other.
    """

    column: Callable[[int, int], Case]
    shift: FloatArray
    hours: FloatArray
    times: NDArray[np.datetime64]
    reading: FloatArray
    met: FloatArray
    storage: FloatArray
    drainage: FloatArray
    rod: float
    pack: Callable[[Sequence[int], NDArray[np.int64]], PackedColumns]

    @classmethod
    def of(
        cls,
        runs: Runs,
        rod: float,
        shift: FloatArray,
        at_spots: Callable[[FloatArray], FloatArray],
        column: Callable[[int, int], Case],
        pack: Callable[[Sequence[int], NDArray[np.int64]], PackedColumns] | None = None,
    ) -> Trial:
        """Read spots from the `runs` of their columns with a `rod` [cm], and add a `shift` [1].

        `at_spots` takes what was found on the columns, shape (columns, ...), to spots and draws,
        shape (spots, draws, ...); `column` is kept as it is, and columns are packed when they are
        asked for where nothing packs them.
        """

        def packed(spots: Sequence[int], draws: NDArray[np.int64]) -> PackedColumns:
            return packed_columns([column(i, k) for i in spots for k in draws.tolist()], rod)

        met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
        return cls(
            column=column,
            shift=shift,
            hours=runs.hours,
            times=runs.times,
            reading=np.clip(at_spots(runs.reading) + shift[:, :, None], 0.0, 1.0),
            met=at_spots(met),
            storage=at_spots(runs.storage),
            drainage=at_spots(runs.drainage),
            rod=rod,
            pack=pack or packed,
        )

    @property
    def draws(self) -> int:
        """How many draws."""
        return int(self.shift.shape[1])

    def take(self, draws: NDArray[np.int64]) -> Trial:
        """Keep some of the draws, by their numbers."""
        return replace(
            self,
            column=lambda spot, draw: self.column(spot, int(draws[draw])),
            shift=self.shift[:, draws],
            reading=self.reading[:, draws],
            met=self.met[:, draws],
            storage=self.storage[:, draws],
            drainage=self.drainage[:, draws],
            pack=lambda spots, some: self.pack(spots, draws[some]),
        )

    def packed(self, spots: Sequence[int]) -> PackedColumns:
        """Pack the columns of spots in all draws, those of one spot after the other."""
        return self.pack(spots, np.arange(self.draws))

    def refills(self, spots: Sequence[int], meshes: Sequence[Mesh]) -> dict[int, Refill]:
        """Tell what spots hold again after water, and read drained, in each draw.

        Parameters
        ----------
        spots : sequence of int
            Their numbers.
        meshes : sequence of Mesh
            Nodes of their columns, those of one spot after the other.

        Returns
        -------
        dict of int to Refill
            By the numbers of spots.
        """
        draws = range(self.draws)
        cases = [[self.column(spot, k) for k in draws] for spot in spots]
        nodes = [[meshes[at * len(draws) + k] for k in draws] for at in range(len(spots))]
        found = refills_of(cases, nodes, self.rod)
        return {
            spot: each._replace(drained=each.drained + self.shift[spot][:, None])
            for spot, each in zip(spots, found, strict=True)
        }


def from_rest(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    after: AfterRain | None,
    rod: float,
    n_threads: int | None,
    *,
    coarse: bool = False,
    progress: Progress = False,
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
    coarse, progress
        As for `run_columns`.
    """
    depths = np.array([[depth_in(draw, spot, rod) for draw in drawn] for spot in known])
    grid = depth_grid(depths)
    # Only what a spot lies between is run, a sand at all its depths in a row: its table stays close
    # to the processor.
    wanted = np.any([beside_depths(grid, of_spot) for of_spot in depths], axis=0)
    start = after or "drained"
    cases = [column(drawn[k], float(grid[g]), turf, start=start) for k, g in np.argwhere(wanted)]
    runs = run_columns(cases, rod, n_threads=n_threads, coarse=coarse, progress=progress)

    def at_spots(values: FloatArray) -> FloatArray:
        found = np.zeros((*wanted.shape, *values.shape[1:]))
        found[wanted] = values
        return np.array([between_depths(grid, found, of_spot) for of_spot in depths])

    return Trial.of(
        runs,
        rod,
        np.zeros(depths.shape),
        at_spots,
        cache(lambda spot, draw: column(drawn[draw], float(depths[spot, draw]), turf, start=start)),
    )


def from_readings(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    after: AfterRain | None,
    rod: float,
    noise: FloatArray,
    n_threads: int | None,
    *,
    coarse: bool = False,
    progress: Progress = False,
) -> Trial:
    """Let every spot start at its reading, drained where there is none.

    Parameters
    ----------
    known, drawn, turf, rod, n_threads, coarse, progress
        As for `from_rest`.
    after : AfterRain or None
        As for `starts_at_readings`.
    noise : ndarray, shape (spots, draws)
        As for `starts_at_readings`.
    """
    starts = starts_at_readings(known, drawn, rod, noise, after)

    def one(spot: int, draw: int) -> Case:
        depth = depth_in(drawn[draw], known[spot], rod)
        return column(drawn[draw], depth, turf, start=starts[spot][draw])

    shape = (len(known), len(drawn))
    columns = packed_columns(
        [one(i, k) for k in range(shape[1]) for i in range(shape[0])], rod, coarse=coarse
    )
    return Trial.of(
        run_packed(columns, n_threads, progress),
        rod,
        np.zeros(shape),
        lambda values: values.reshape(*shape[::-1], -1).swapaxes(0, 1),
        one,
        # They start where they started without water.
        lambda spots, draws: columns.part(
            np.add.outer(np.asarray(spots), shape[0] * draws).ravel()
        ),
    )


def from_calibration(
    known: Sequence[Spot],
    calibration: Calibration,
    members: Sequence[Weather],
    rod: float,
    n_threads: int | None,
    *,
    coarse: bool = False,
    progress: Progress = False,
) -> Trial:
    """Let every spot start as readings have taught, on the depths between which it is read.

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
    coarse, progress
        As for `run_columns`.
    """
    numbers = [calibration.number_of(spot) for spot in known]
    wanted = sorted({calibration.green.group_of(i) for i in numbers})
    cases = [calibration.ahead(g, members) for g in wanted]
    ends = np.cumsum([len(each) for each in cases])
    every = [case for each in cases for case in each]
    runs = run_columns(every, rod, n_threads=n_threads, coarse=coarse, progress=progress)

    def at_spots(values: FloatArray) -> FloatArray:
        parts = np.split(values, ends[:-1])
        found = {
            i: of_spot
            for g, part in zip(wanted, parts, strict=True)
            for i, of_spot in zip(
                calibration.green.groups[g].spots, calibration.at_spots(g, part), strict=True
            )
        }
        return np.array([found[i] for i in numbers])

    return Trial.of(
        runs,
        rod,
        calibration.shift(rod=rod).T[numbers],
        at_spots,
        cache(lambda spot, draw: calibration.column(draw, numbers[spot], members)),
    )
