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
        Of the terms of `Terms`.
    missed : ndarray, shape (spans, times)
        Standard deviation of what it misses [1].
    """

    depths: FloatArray
    spans: tuple[Span, ...]
    coefficients: FloatArray
    missed: FloatArray

    def readings(self, terms: Terms) -> FloatArray:
        """Tell readings of draws, shape (draws, depths, spans, times) [1]."""
        depths, spans, _, times = self.coefficients.shape
        told = np.empty((terms.draws, depths, spans, times))
        for d, depth in enumerate(self.depths.tolist()):
            for s, span in enumerate(self.spans):
                told[:, d, s] = terms.at(depth, span) @ self.coefficients[d, s]
        return told


class Terms:
    """Terms of the polynomials for some draws, the same for all groups of spots.

    Parameters
    ----------
    unknowns : Unknowns
        What is not known.
    shared : Shared
        Draws.
    """

    def __init__(self, unknowns: Unknowns, shared: Shared) -> None:
        self.unknowns, self.shared = unknowns, shared
        self.draws = int(shared.soil.size)
        coordinates = unknowns.coordinates(shared)
        first, second = np.triu_indices(coordinates.shape[1])
        self._linear = np.hstack([np.ones((self.draws, 1)), coordinates])
        self._squares = coordinates[:, first] * coordinates[:, second]
        self._made: dict[tuple[float, Span], FloatArray] = {}

    def at(self, depth: float, span: Span) -> FloatArray:
        """Give the terms for a column of some depth [cm] and a span, shape (draws, terms)."""
        if (depth, span) not in self._made:
            rest = self.unknowns.at_rest(self.shared, depth, *span)[:, None]
            tied = rest * np.hstack([self._linear[:, 1:], rest])
            self._made[depth, span] = np.hstack([self._linear, rest, self._squares, tied])
        return self._made[depth, span]


def emulate(
    terms: Terms,
    group: Group,
    spans: Sequence[Span],
    readings: FloatArray,
    near: int,
) -> Emulator:
    """Fit an emulator to what was run.

    Parameters
    ----------
    terms : Terms
        Of the draws that were run.
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
    weight = np.ones(terms.draws)
    if near:
        weight[:-near] = FAR_WEIGHT
    coefficients, missed = [], []
    for d, depth in enumerate(group.depths.tolist()):
        for s, span in enumerate(spans):
            known = terms.at(depth, span)
            weighed = weight[:, None] * known
            # No product of large matrices and no decomposition: what libraries do in several
            # threads takes a hundred times as long where another program has one of the cores.
            squares = np.einsum("ij,ik->jk", weighed, known)
            squares[np.diag_indices_from(squares)] += HELD * np.trace(squares) / squares.shape[0]
            inverse = np.linalg.inv(squares)
            fitted = inverse @ (weighed.T @ readings[:, d, s])
            leverage = np.sum((known @ inverse) * weighed, axis=1)
            gap = readings[:, d, s] - known @ fitted
            coefficients.append(fitted)
            missed.append(gap / np.maximum(1.0 - leverage, 0.1)[:, None])
    shape = (group.depths.size, len(spans))
    errors = np.array(missed).reshape(*shape, *missed[0].shape)
    counted = errors[:, :, -near:] if near else errors
    spread = np.sqrt(np.mean(counted**2, axis=(0, 2)))
    every = np.array(coefficients).reshape(*shape, *coefficients[0].shape)
    return Emulator(group.depths, tuple(spans), every, spread)
