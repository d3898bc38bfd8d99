"""Draws that are kept of a calibration: two halves, each of which stands for thousands.

First what spots share is picked, and then, spot by spot, what is its own: of a few possibilities
that each draw leaves open one is kept. Picked in one go for all spots, none had its own share
spread as well.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.evidence import Evidence, Own, draw_own, shift_of
from soilwater.learning.representing import one_of_each, representing, standard
from soilwater.learning.unknowns import Shared
from soilwater.words.arrays import FloatArray

LOST = 40.0
"""Water [mm] that spots are taken to lose to turf that drinks as it was told to: eight days of
5 mm (our own choice)."""
_SPOTS = 6
"""However many spots there are, what they read then counts as much as that of six (our own
choice)."""
_TRIES = 10
"""How often what is each spot's own is drawn for a draw that is kept, and one of these chosen."""
_WEIGHT = 2.0
"""How much more what a spot reads counts there than any other feature (our own choice)."""
_AMONG = 1500
"""Draws that are told apart from all others there."""
_ROD = 7.6
_LEAST_SHARE = 1 / 3
FEW_SANDS = 4
"""Of fewer sands two halves that share none stand for other greens, and both have all (our own
choice). Of four to six dealt out, shares of draws near 0.8 err by 0.06 to 0.1, of eight by 0.015
where spots start drained and 0.03 where they were learnt (twenty-five spots each): a plan tells
less of them for certain."""


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
    known = known_of(evidence, shared, own)
    second = _of_second_half(evidence, shared)
    return (
        representing(known, np.flatnonzero(~second), count - count // 2, rng),
        representing(known, np.flatnonzero(second), count // 2, rng),
    )


def _of_second_half(evidence: Evidence, shared: Shared) -> NDArray[np.bool_]:
    """Tell which draws the second half may be picked of."""
    soils, number = np.unique(shared.soil, return_inverse=True)
    if evidence.unknowns.scores.shape[1] and as_many_alike(number) >= FEW_SANDS:
        of_second = dealt_evenly_to_two(evidence.unknowns.scores[soils])
        second: NDArray[np.bool_] = of_second[number]
        if _LEAST_SHARE < second.mean() < 1.0 - _LEAST_SHARE:
            return second
    # One that is there twice must not be in both.
    _, same = np.unique(shared.latent[:, 0], return_inverse=True)
    second = same % 2 == 1
    return second


def as_many_alike(numbers: NDArray[np.int64]) -> float:
    """Tell how many kinds that are alike often are worth those of draws, by their `numbers`."""
    return float(numbers.size**2 / np.sum(np.bincount(numbers).astype(np.float64) ** 2))


def dealt_evenly_to_two(known: FloatArray) -> NDArray[np.bool_]:
    """Deal sands out to two halves that are alike in all that is known of them.

    Of each two neighbours either half has one; which has which is told by what the halves differ
    in, in the mean and in the mean square, the pairs that are furthest apart first.

    Parameters
    ----------
    known : ndarray, shape (sands, features)
        What tells them apart; neighbours are next to each other by the first.

    Returns
    -------
    ndarray of bool, shape (sands,)
        Those of the second half.
    """
    order = np.argsort(known[:, 0], kind="stable")
    of_each = standard(known)
    of_each = np.column_stack([of_each, standard(of_each**2)])[order]
    second = np.arange(len(order)) % 2 == 1
    apart = of_each[1::2] - of_each[: len(order) // 2 * 2 : 2]
    off = np.zeros(of_each.shape[1])
    for pair in np.argsort(-np.sum(apart**2, axis=1), kind="stable").tolist():
        swap = np.sum((off - apart[pair]) ** 2) < np.sum((off + apart[pair]) ** 2)
        off += -apart[pair] if swap else apart[pair]
        if swap:
            second[2 * pair : 2 * pair + 2] = True, False
    dealt: NDArray[np.bool_] = np.empty(order.size, dtype=np.bool_)
    dealt[order] = second
    return dealt


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
    weight = np.sqrt(_SPOTS / len(evidence.green.spots))
    known = standard(unknowns.coordinates(shared))
    return np.column_stack([known, weight * standard(_dried(evidence, shared, own))])


def own_dealt_out(
    evidence: Evidence,
    many: tuple[Shared, Own],
    kept: Shared,
    halves: Sequence[NDArray[np.int64]],
    rng: np.random.Generator,
) -> Own:
    """Draw what is each spot's own, so that either half of the draws kept has it as all draws have.

    Given what they share, spots know nothing of one another: each is dealt with alone.

    Parameters
    ----------
    evidence : Evidence
        What the draws were weighed by.
    many : tuple of Shared, Own
        Equally likely draws, many times as many as are kept.
    kept : Shared
        Those that are kept.
    halves : sequence of ndarray of int
        Their numbers, half by half.
    rng : numpy.random.Generator
        Source of the draws.
    """
    unknowns, count = evidence.unknowns, kept.soil.size
    every = kept.take(np.repeat(np.arange(count), _TRIES))
    tried = draw_own(evidence, every, rng)
    own = tried.take(np.arange(count) * _TRIES)
    shared = unknowns.coordinates(many[0])
    middle, width = shared.mean(axis=0), np.maximum(shared.std(axis=0), 1e-9)
    dried, told = _dried(evidence, every, tried), _dried(evidence, *many)
    for j in range(len(evidence.green.spots)):
        # As many of every reading as there are.
        among = np.argsort(told[:, j])[:: max(1, len(told) // _AMONG)]
        scale = _WEIGHT / max(float(told[:, j].std()), 1e-9)
        features, all_of = (
            np.column_stack([(coordinates - middle) / width, scale * of_spot])
            for coordinates, of_spot in (
                (unknowns.coordinates(every), dried[:, j]),
                (shared[among], told[among, j]),
            )
        )
        of_each = features.reshape(count, _TRIES, -1)
        tracks = np.flatnonzero([track.spot == j for track in evidence.tracks])
        for half in halves:
            row = half * _TRIES + one_of_each(of_each[half], all_of)
            own.depth[half, j], own.node[half, j] = tried.depth[row, j], tried.node[row, j]
            own.shift[np.ix_(half, tracks)] = tried.shift[np.ix_(row, tracks)]
    return own


def _dried(evidence: Evidence, shared: Shared, own: Own) -> FloatArray:
    """Read a meter on each spot once it has dried, in each draw, shape (draws, spots) [1]."""
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
    return dried


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
    lost = LOST * unknowns.values(shared, "crop_coefficient")
    meter = next((track for track in evidence.tracks if not track.buried), None)
    rod = _ROD if meter is None else 1.0 / meter.per_rod
    dried = unknowns.dried(shared, depth, lost, rod)
    return dried if meter is None else dried + shift_of(unknowns, shared, meter)
