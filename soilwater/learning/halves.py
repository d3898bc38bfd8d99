"""Draws that are kept of a calibration: two halves, each of which stands for thousands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.evidence import Evidence, Own, shift_of
from soilwater.learning.representing import representing, standard
from soilwater.learning.unknowns import Shared
from soilwater.words.arrays import FloatArray

LOST = (30.0, 60.0)
"""Water [mm] that spots are taken to lose to turf that drinks as it was told to: six and twelve
days of 5 mm (our own choice)."""
_SPOTS = 4
"""However many spots there are, what they read after either counts as much as that of four. With
these two the tenth lowest reading of watered spots moves by a tenth less than with 40 mm alone
(two calibrated greens)."""
_ROD = 7.6
_LEAST_SHARE = 1 / 3
FEW_SANDS = 4
"""Of fewer sands two halves that share none stand for other greens (our own choice)."""


def kept_halves(
    evidence: Evidence, shared: Shared, own: Own, count: int, rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pick draws in two halves that each represent all, and share no base and no sand.

    Where hardly any sands are left, two or three or one that most draws have, they share these.

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
    known = known_of(evidence, shared, own)
    second = _of_second_half(evidence, shared)
    return (
        representing(known, np.flatnonzero(~second), count - count // 2, rng),
        representing(known, np.flatnonzero(second), count // 2, rng),
    )


def _of_second_half(evidence: Evidence, shared: Shared) -> NDArray[np.bool_]:
    """Tell which draws the second half may be picked of."""
    soils, number = np.unique(shared.soil, return_inverse=True)
    if evidence.unknowns.scores.shape[1] and soils.size >= FEW_SANDS:
        order = np.argsort(evidence.unknowns.scores[soils, 0])
        # Of each two neighbours one half has the drier, of the next two the other.
        turn = np.empty(soils.size, dtype=np.int64)
        turn[order] = (np.arange(soils.size) + 1) // 2 % 2
        second: NDArray[np.bool_] = turn[number] == 1
        if _LEAST_SHARE < second.mean() < 1.0 - _LEAST_SHARE:
            return second
    # One that is there twice must not be in both.
    _, same = np.unique(shared.latent[:, 0], return_inverse=True)
    second = same % 2 == 1
    return second


def known_of(evidence: Evidence, shared: Shared, own: Own) -> FloatArray:
    """List what tells how dry draws get, as far apart as it tells them apart.

    Parameters
    ----------
    evidence : Evidence
        What the draws were weighed by.
    shared, own : Shared, Own
        Draws.

    Returns
    -------
    ndarray, shape (draws, features)
    """
    unknowns = evidence.unknowns
    asked = unknowns.values(shared, "crop_coefficient")
    meters = {track.spot: k for k, track in enumerate(evidence.tracks) if not track.buried}
    dried = []
    for j, depth in enumerate(own.depth.T):
        track = evidence.tracks[meters[j]] if j in meters else None
        rod = _ROD if track is None else 1.0 / track.per_rod
        shift = np.zeros(asked.size)
        if track is not None:
            shift += own.shift[:, meters[j]] + shift_of(unknowns, shared, track)
        dried += [shift + unknowns.dried(shared, depth, lost * asked, rod) for lost in LOST]
    weight = np.sqrt(_SPOTS / len(evidence.green.spots))
    known = standard(unknowns.coordinates(shared))
    return np.column_stack([known, weight * standard(np.column_stack(dried))])


def dried_between(evidence: Evidence, shared: Shared) -> FloatArray:
    """Read a meter on a spot of middle depth once it has dried, in each draw [1].

    What is each spot's own is left out.

    Parameters
    ----------
    evidence : Evidence
        What the draws are weighed by.
    shared : Shared
        Draws.
    """
    unknowns = evidence.unknowns
    depth = np.full(shared.soil.size, np.median([spot.depth for spot in evidence.green.spots]))
    lost = LOST[0] * unknowns.values(shared, "crop_coefficient")
    meter = next((track for track in evidence.tracks if not track.buried), None)
    rod = _ROD if meter is None else 1.0 / meter.per_rod
    dried = unknowns.dried(shared, depth, lost, rod)
    return dried if meter is None else dried + shift_of(unknowns, shared, meter)
