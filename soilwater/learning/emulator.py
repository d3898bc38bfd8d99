"""What the solver would say of any draw, from the few draws it was run for.

A reading is told by the coordinates of a draw up to second degree, and by the reading of the same
column at rest, which a closed form gives, times coordinates up to first degree. Least squares fit
both (a response surface; Box & Wilson 1951, J. R. Stat. Soc. B 13:1, from memory). What it misses
of draws it has not seen is told by leaving each out in turn, and goes into the variance of a
reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soilwater.learning.columns import Group, Span
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.words.arrays import FloatArray

FAR_WEIGHT = 0.3
"""Weight of a run far from what the readings allow beside one among it [1] (our own choice)."""
HELD = 1e-9
"""Share of a mean square that is added to each, so that terms which say the same can be fitted."""


@dataclass(frozen=True, eq=False)
class Emulator:
    """Readings of one group of spots, as polynomials.

    Attributes
    ----------
    depths : ndarray, shape (depths,)
        Depths of the columns [cm].
    spans : tuple of Span
        Depths instruments read between.
    coefficients : ndarray, shape (depths, spans, terms, times)
        Of the terms of `terms_of`.
    missed : ndarray, shape (spans, times)
        Standard deviation of what it misses [1].
    """

    depths: FloatArray
    spans: tuple[Span, ...]
    coefficients: FloatArray
    missed: FloatArray

    def readings(self, unknowns: Unknowns, shared: Shared) -> FloatArray:
        """Tell readings of draws, shape (draws, depths, spans, times) [1]."""
        depths, spans, _, times = self.coefficients.shape
        told = np.empty((shared.soil.size, depths, spans, times))
        coordinates = unknowns.coordinates(shared)
        for d, depth in enumerate(self.depths):
            for s, span in enumerate(self.spans):
                terms = terms_of(coordinates, unknowns.at_rest(shared, float(depth), *span))
                told[:, d, s] = terms @ self.coefficients[d, s]
        return told


def terms_of(coordinates: FloatArray, rest: FloatArray) -> FloatArray:
    """Give the terms of an emulator, shape (draws, terms).

    Parameters
    ----------
    coordinates : ndarray, shape (draws, coordinates)
        Of draws.
    rest : ndarray, shape (draws,)
        Reading of the column at rest [1].
    """
    first, second = np.triu_indices(coordinates.shape[1])
    one = np.ones((coordinates.shape[0], 1))
    linear = np.hstack([one, coordinates, rest[:, None]])
    squares = coordinates[:, first] * coordinates[:, second]
    return np.hstack([linear, squares, rest[:, None] * linear[:, 1:]])


def emulate(
    unknowns: Unknowns,
    shared: Shared,
    group: Group,
    spans: Sequence[Span],
    readings: FloatArray,
    near: int,
) -> Emulator:
    """Fit an emulator to what was run.

    Parameters
    ----------
    unknowns : Unknowns
        What is not known.
    shared : Shared
        The draws that were run.
    group : Group
        Spots the columns stand for.
    spans : sequence of Span
        Depths instruments read between.
    readings : ndarray, shape (draws, depths, spans, times)
        What the columns read [1].
    near : int
        How many draws, the last ones, lie where the readings are; the rest count less where there
        are any. 0 for all.
    """
    weight = np.ones(shared.soil.size)
    if near:
        weight[:-near] = FAR_WEIGHT
    coordinates = unknowns.coordinates(shared)
    coefficients, missed = [], []
    for d, depth in enumerate(group.depths):
        for s, span in enumerate(spans):
            terms = terms_of(coordinates, unknowns.at_rest(shared, float(depth), *span))
            weighed = weight[:, None] * terms
            # No product of large matrices and no decomposition: what libraries do in several
            # threads takes a hundred times as long where another program has one of the cores.
            squares = np.einsum("ij,ik->jk", weighed, terms)
            squares[np.diag_indices_from(squares)] += HELD * np.trace(squares) / squares.shape[0]
            inverse = np.linalg.inv(squares)
            fitted = inverse @ (weighed.T @ readings[:, d, s])
            leverage = np.sum((terms @ inverse) * weighed, axis=1)
            gap = readings[:, d, s] - terms @ fitted
            coefficients.append(fitted)
            missed.append(gap / np.maximum(1.0 - leverage, 0.1)[:, None])
    shape = (group.depths.size, len(spans))
    errors = np.array(missed).reshape(*shape, *missed[0].shape)
    counted = errors[:, :, -near:] if near else errors
    spread = np.sqrt(np.mean(counted**2, axis=(0, 2)))
    every = np.array(coefficients).reshape(*shape, *coefficients[0].shape)
    return Emulator(group.depths, tuple(spans), every, spread)
