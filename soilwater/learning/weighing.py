"""Draws that the readings allow: importance sampling in rounds.

A first round is drawn from all that was possible before; the next half from that, half from a
normal distribution about what the one before has found, each weighed by both (a mixture of
proposals; Hesterberg 1995, Technometrics 37:185, from memory). Draws stay whole: nothing is paired
anew.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.evidence import Evidence, log_evidence
from soilwater.learning.unknowns import LATENT, Shared, Unknowns
from soilwater.words.arrays import FloatArray

FIRST, STEP, LAST = 6_000, 4_000, 16_000
"""Draws of the first round, of steps between and of the last."""
MOST_STEPS = 3
_LEAST = 64
"""Equal draws that those are worth which the next are drawn about."""
_WIDER = 1.5
_FLOOR = 0.02


def weights_of(log_weight: FloatArray) -> FloatArray:
    """Weights that add up to 1."""
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def worth(weight: FloatArray) -> float:
    """How many equal draws weighted ones are worth (Kong 1992, from memory)."""
    return float(1.0 / np.sum(weight**2))


def drawn_together(weight: FloatArray, least: float) -> FloatArray:
    """Raise weights to a power up to 1, so that they are worth a number of equal draws or more.

    A few draws alone would have the next ones drawn about themselves, and nowhere else.

    Parameters
    ----------
    weight : ndarray
        Weights that add up to 1.
    least : float
        How many equal draws they shall be worth.
    """
    log_weight = np.log(np.maximum(weight, 1e-300))
    low, high = 0.0, 1.0
    if worth(weight) >= least:
        return weight
    for _ in range(30):
        power = 0.5 * (low + high)
        low, high = (
            (power, high) if worth(weights_of(power * log_weight)) >= least else (low, power)
        )
    return weights_of(low * log_weight)


def pick(weight: FloatArray, count: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Choose draws by their weight, each as likely as the next (systematic resampling)."""
    ladder = (np.arange(count) + rng.random()) / count
    index = np.searchsorted(np.cumsum(weight), ladder)
    return rng.permutation(np.minimum(index, weight.size - 1))


def first_round(evidence: Evidence, rng: np.random.Generator) -> tuple[Shared, FloatArray]:
    """Weigh draws from all that was possible: the draws, and their weights."""
    shared = evidence.unknowns.draw(FIRST, rng)
    return shared, weights_of(log_evidence(evidence, shared))


class Proposal:
    """Half of what was possible before, half about what weighted draws have found.

    Parameters
    ----------
    unknowns : Unknowns
        What was possible.
    shared : Shared
        Draws.
    weight : ndarray
        Their weights.
    """

    def __init__(self, unknowns: Unknowns, shared: Shared, weight: FloatArray) -> None:
        self.unknowns = unknowns
        weight = drawn_together(weight, _LEAST)
        count = len(unknowns.soils)
        found = np.bincount(shared.soil, weight, minlength=count)
        self.of_soil = 0.5 * found + 0.5 / count
        self.mean = weight @ shared.latent
        off = shared.latent - self.mean
        self.covariance = _WIDER * (off.T * weight) @ off + _FLOOR * np.eye(len(LATENT))

    def draw(self, count: int, rng: np.random.Generator) -> Shared:
        """Draw from it."""
        half = count // 2
        before = self.unknowns.draw(half, rng)
        soil = rng.choice(len(self.unknowns.soils), size=count - half, p=self.of_soil)
        latent = rng.multivariate_normal(self.mean, self.covariance, size=count - half)
        return Shared(np.concatenate([before.soil, soil]), np.concatenate([before.latent, latent]))

    def log_ratio(self, shared: Shared) -> FloatArray:
        """Logarithm of how likely draws were before, over how likely they are drawn here."""
        count = len(self.unknowns.soils)
        before = -0.5 * np.sum(shared.latent**2, axis=1) - np.log(count)
        root = np.linalg.cholesky(self.covariance)
        scaled = np.linalg.solve(root, (shared.latent - self.mean).T)
        about = -0.5 * np.sum(scaled**2, axis=0) - np.sum(np.log(np.diag(root)))
        about += np.log(self.of_soil[shared.soil])
        ratio: FloatArray = before - (np.logaddexp(before, about) - np.log(2.0))
        return ratio


def next_round(
    evidence: Evidence, proposal: Proposal, count: int, rng: np.random.Generator
) -> tuple[Shared, FloatArray, FloatArray]:
    """Weigh draws of a proposal.

    Parameters
    ----------
    evidence : Evidence
        What they are weighed by.
    proposal : Proposal
        Where they are drawn.
    count : int
        How many.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    shared : Shared
        The draws.
    weight : ndarray, shape (draws,)
        Their weights.
    log_ratio : ndarray, shape (draws,)
        By what they are weighed beside their likelihood, as logarithms.
    """
    shared = proposal.draw(count, rng)
    ratio = proposal.log_ratio(shared)
    return shared, weights_of(ratio + log_evidence(evidence, shared)), ratio
