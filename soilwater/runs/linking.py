"""Which columns share water, and the room to solve them in, as the arrays of the kernel."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.linked import Outside
from soilwater.kernels import rows
from soilwater.kernels.linked_rows import A_COLUMN, MOST_KRYLOV, N_PARTS, Links, Room
from soilwater.words.arrays import FloatArray

OUTSIDE = 2
"""Colour of what is no column."""


def make_links(
    pairs: NDArray[np.int64],
    width_by_distance: FloatArray,
    area: FloatArray,
    elevation: FloatArray,
    n_times: int,
    outside: Sequence[Outside] = (),
) -> Links:
    """Links between columns, for `soilwater.kernels.linked_march.march_linked`.

    Parameters
    ----------
    pairs : ndarray of int, shape (n_links, 2)
        Columns that share water.
    width_by_distance : ndarray, shape (n_links,)
        Width of their common face over their distance [1].
    area : ndarray, shape (n_columns,)
        Plan area of each [cm2].
    elevation : ndarray, shape (n_columns, n_nodes)
        Of the nodes [cm].
    n_times : int
        Output times.
    outside : sequence of Outside, optional
        Faces of columns with what lies beyond them; they come behind the pairs.

    Returns
    -------
    Links
        With nothing moved yet.
    """
    n_columns, n_nodes = elevation.shape
    outer = np.array([(each.column, n_columns) for each in outside], dtype=np.int64)
    pairs = np.concatenate([pairs, outer.reshape(-1, 2)])
    n_links = pairs.shape[0]
    ends = pairs.ravel()
    order = np.argsort(ends, kind="stable")
    start = np.searchsorted(ends[order], np.arange(n_columns + 1))
    order = order[: start[-1]]
    neighbour = pairs[:, ::-1].ravel()[order]
    between = n_links - len(outside)
    return Links(
        first=np.ascontiguousarray(pairs[:, 0]),
        second=np.ascontiguousarray(pairs[:, 1]),
        beyond=np.array([A_COLUMN] * between + [each.beyond for each in outside], dtype=np.int64),
        beyond_value=np.array([0.0] * between + [each.value for each in outside]),
        beyond_nodes=np.array([0] * between + [_faces(each, elevation) for each in outside]),
        width_by_distance=np.concatenate([width_by_distance, [each.width for each in outside]]),
        area=area,
        elevation=np.ascontiguousarray(elevation),
        neighbour_start=start.astype(np.int64),
        neighbour=neighbour,
        neighbour_link=(order // 2).astype(np.int64),
        neighbour_takes=np.where(order % 2 == 0, 1.0, -1.0) / area[ends[order]],
        red=_red_columns(start, neighbour, elevation),
        flow=np.zeros((n_links, N_PARTS, n_nodes)),
        moved=np.zeros((n_links, 2)),
        out_moved=np.full((n_times, n_links), np.nan),
    )


def _faces(outside: Outside, elevation: FloatArray) -> int:
    """Nodes of a column with a face to the outside: those above its lower end."""
    return int(np.count_nonzero(elevation[outside.column] >= outside.lower_end))


def _red_columns(
    start: NDArray[np.int64], neighbour: NDArray[np.int64], elevation: FloatArray
) -> NDArray[np.int64]:
    """Mark columns no two of which are neighbours; every second one of a line or a grid.

    Which half is red hangs on the ground and not on how its columns are numbered, so that ground
    turned round gives the same answer turned round: the larger half, or else the higher one.
    """
    n_columns = start.size - 1
    red = np.full(n_columns + 1, -1, dtype=np.int64)
    red[n_columns] = OUTSIDE
    height = elevation.mean(axis=1)
    for begin in range(n_columns):
        waiting = [begin] if red[begin] < 0 else []
        members, two_colours = [], True
        while waiting:
            following = []
            for column in waiting:
                if red[column] >= 0:
                    continue
                members.append(column)
                beside = red[neighbour[start[column] : start[column + 1]]]
                red[column] = 0 if np.any(beside == 1) else 1
                two_colours &= not np.any(beside == red[column])
                beyond = neighbour[start[column] : start[column + 1]]
                following.extend(beyond[beside < 0].tolist())
            waiting = following
        colours = red[members]
        sides = [
            (np.sum(colours == 1 - c), height[members][colours == 1 - c].sum()) for c in (0, 1)
        ]
        if two_colours and sides[1] > sides[0]:
            red[members] = 1 - colours
    return red


def make_room(n_columns: int, n_nodes: int) -> Room:
    """Room in which a set of columns is solved.

    Parameters
    ----------
    n_columns, n_nodes : int
        Sizes.

    Returns
    -------
    Room
        Empty.
    """
    return Room(
        work=np.zeros((n_columns, rows.N_WORK, n_nodes)),
        flows=np.zeros((n_columns, rows.N_RATES)),
        norm=np.zeros(n_columns),
        active=np.zeros(n_columns + 1, dtype=np.int64),
        order=np.zeros(n_columns, dtype=np.int64),
        change=np.zeros((n_columns, n_nodes)),
        left=np.zeros((n_columns, n_nodes)),
        directions=np.zeros((MOST_KRYLOV, n_columns, n_nodes)),
        images=np.zeros((MOST_KRYLOV, n_columns, n_nodes)),
        squared=np.zeros(MOST_KRYLOV),
    )
