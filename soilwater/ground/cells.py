"""Cells of a green: those whose middles lie in its outline."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from soilwater.survey.outline import inside
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults

MOST_CELLS = 100_000
"""Most cells of the rectangle around a green; a run of so many columns takes gigabytes."""


def cells_in(
    corners: FloatArray, spacing: float, faults: Faults
) -> tuple[NDArray[np.bool_], tuple[float, float]]:
    """Find cells whose middles lie in the outline, and where the first of them lies [m]."""
    side = spacing / 100.0
    low, high = corners.min(axis=0), corners.max(axis=0)
    count = np.maximum(1, np.ceil((high - low) / side - 1e-9)).astype(int)
    if math.prod(count.tolist()) > MOST_CELLS:
        wide, long = (high - low).tolist()
        # The side at which a cell more each way than fit in is still allowed.
        root = math.sqrt((wide + long) ** 2 + 4.0 * wide * long * (MOST_CELLS - 1))
        enough = math.ceil(50.0 * (wide + long + root) / (MOST_CELLS - 1))
        faults.add(
            f"a spacing of {spacing:g} cm makes {math.prod(count.tolist()):,} cells",
            allowed=f"up to {MOST_CELLS:,}",
            cure=f'spacing="{enough} cm"',
        )
        return np.zeros((1, 1), dtype=bool), (0.0, 0.0)
    corner = (float(low[0] + 0.5 * side), float(low[1] + 0.5 * side))
    everywhere = np.ones((count[1], count[0]), dtype=bool)
    mask = inside(corners, middles(everywhere, corner, spacing)).reshape(everywhere.shape)
    if not mask.any():
        faults.add("no cell lies in the outline", cure="take a smaller spacing")
    return mask, corner


def middles(mask: NDArray[np.bool_], corner: tuple[float, float], spacing: float) -> FloatArray:
    """Give east and north of the cells' middles [m], shape (n_cells, 2)."""
    row, column = np.nonzero(mask)
    side = spacing / 100.0
    return np.stack([corner[0] + side * column, corner[1] + side * row], axis=-1)


def on_cells(values: FloatArray, mask: NDArray[np.bool_]) -> FloatArray:
    """Lay values of the cells out over the whole grid; not a number where there is no cell."""
    grid = np.full(mask.shape, np.nan)
    grid[mask] = values
    grid.setflags(write=False)
    return grid
