"""Draws that are kept of a calibration: two halves, each of which stands for thousands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.evidence import Evidence, Own, shift_of
from soilwater.learning.representing import representing, standard
from soilwater.learning.unknowns import Shared
from soilwater.words.arrays import FloatArray

LOST = 40.0
"""Water [mm] that spots are taken to lose to turf that drinks as it was told to: eight days of
5 mm (our own choice)."""
_SPOTS = 6
"""However many spots there are, what they read then counts as much as that of six (our own
choice)."""
_ROD = 7.6
_LEAST_SHARE = 1 / 3
FEW_SANDS = 8
"""Of fewer sands both halves have all: dealt out, four to six are so uneven that shares of draws
near 0.8 err by 0.06 to 0.1, and shared by 0.002 where spots start drained and 0.015 where they were
learnt; of eight dealt out they err by 0.015 and 0.03 (twenty-five spots each)."""


def kept_halves(
    evidence: Evidence, shared: Shared, own: Own, count: int, rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pick draws in two halves that each represent all, and share no base and no sand.

    Where few sands are left, or few that most draws have, they share these.

    Parameters
    ----------
    evidence : Evidence
        What the draws were weighed by.
    shared, own : Shared, Own
        Equally likely draws, many times as many as are kept.
    count : int
        How many to keep.
    rng : numpy.random.Generator
        Tells where the search for them starts.
    """
    known = _known(evidence, shared, own)
    second = _of_second_half(evidence, shared)
    return (
        representing(known, np.flatnonzero(~second), count - count // 2, rng),
        representing(known, np.flatnonzero(second), count // 2, rng),
    )


def _of_second_half(evidence: Evidence, shared: Shared) -> NDArray[np.bool_]:
    """Tell which draws the second half may be picked of."""
    soils, number = np.unique(shared.soil, return_inverse=True)
    if evidence.unknowns.scores.shape[1] and as_many_alike(number) >= FEW_SANDS:
        second: NDArray[np.bool_] = dealt_by_turns(evidence.unknowns.scores[soils, 0])[number]
        if _LEAST_SHARE < second.mean() < 1.0 - _LEAST_SHARE:
            return second
    # One that is there twice must not be in both.
    _, same = np.unique(shared.latent[:, 0], return_inverse=True)
    second = same % 2 == 1
    return second


def as_many_alike(numbers: NDArray[np.int64]) -> float:
    """Tell how many kinds that are alike often are worth those of draws, by their `numbers`."""
    return float(numbers.size**2 / np.sum(np.bincount(numbers).astype(np.float64) ** 2))


def dealt_by_turns(values: FloatArray) -> NDArray[np.bool_]:
    """Deal sands out to two halves, so that neither has the drier ones; tell those of the second.

    Parameters
    ----------
    values : ndarray, shape (sands,)
        What sorts them.
    """
    # Of each two neighbours one half has the drier, of the next two the other.
    second = np.empty(values.size, dtype=np.bool_)
    second[np.argsort(values, kind="stable")] = (np.arange(values.size) + 1) // 2 % 2 == 1
    return second


def _known(evidence: Evidence, shared: Shared, own: Own) -> FloatArray:
    """List what tells how dry draws get, as far apart as it tells them apart."""
    unknowns = evidence.unknowns
    lost = LOST * unknowns.values(shared, "crop_coefficient")
    meters = {track.spot: k for k, track in enumerate(evidence.tracks) if not track.buried}
    dried = np.empty(own.depth.shape)
    for j, depth in enumerate(own.depth.T):
        track = evidence.tracks[meters[j]] if j in meters else None
        rod = _ROD if track is None else 1.0 / track.per_rod
        dried[:, j] = unknowns.dried(shared, depth, lost, rod)
        if track is not None:
            dried[:, j] += own.shift[:, meters[j]] + shift_of(unknowns, shared, track)
    weight = np.sqrt(_SPOTS / len(evidence.green.spots))
    return np.column_stack([standard(unknowns.coordinates(shared)), weight * standard(dried)])
