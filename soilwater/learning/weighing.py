"""Draws that the readings allow: importance sampling in rounds.

A first round is drawn from all that was possible before; the next to a fifth from that, and for the
rest about what the one before has found: sands more often that were found more often, or are like
these, and with each what goes along with such a sand, by linear regression on its scores and a
t distribution about it. Each draw is weighed by both (a mixture of proposals; Hesterberg 1995,
Technometrics 37:185, from memory). Draws stay whole: nothing is paired anew.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.evidence import Evidence, log_evidence
from soilwater.learning.unknowns import LATENT, Shared, Unknowns
from soilwater.words.arrays import FloatArray

FIRST, STEP, LAST = 6_000, 4_000, 32_000
"""Draws of the first round, of steps between and of the last."""
MOST_STEPS = 4
ENOUGH = 300
"""Equal draws that a round is worth which the last can be drawn about (our own choice)."""
_LEAST = 150
"""Equal draws that those are worth which the next are drawn about."""
_BEFORE = 0.2
"""Share of a round [1] that is drawn from all that was possible before."""
_AS_FOUND, _ALIKE = 0.45, 0.45
"""Shares of the rest [1] whose sands are drawn as often as they were found, and as often as sands
like those found; the others are any."""
_WIDER, _FLOOR = 1.1, 0.02
_TAIL = 8.0
"""Degrees of freedom of the t distribution: its tails keep weights bounded (our own choice)."""


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


def pick(
    weight: FloatArray, count: int, rng: np.random.Generator, along: FloatArray | None = None
) -> NDArray[np.int64]:
    """Choose draws by their weight, each as likely as the next (systematic resampling).

    Parameters
    ----------
    weight : ndarray, shape (draws,)
        Weights that add up to 1.
    count : int
        How many to choose.
    rng : numpy.random.Generator
        Tells where to begin, and the order of those chosen.
    along : ndarray, shape (draws,), optional
        Along its rising values as many are chosen as the weights have there, to one.
    """
    order = np.arange(weight.size) if along is None else np.argsort(along)
    ladder = (np.arange(count) + rng.random()) / count
    index = np.searchsorted(np.cumsum(weight[order]), ladder)
    return rng.permutation(order[np.minimum(index, weight.size - 1)])


def first_round(
    evidence: Evidence, rng: np.random.Generator
) -> tuple[Shared, FloatArray, FloatArray]:
    """Weigh draws from all that was possible, as `next_round`."""
    shared = evidence.unknowns.draw(FIRST, rng)
    return shared, weights_of(log_evidence(evidence, shared)), np.zeros(FIRST)


class Proposal:
    """A fifth of what was possible before, the rest about what weighted draws have found.

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
        scores = unknowns.scores
        count, known = scores.shape
        together = np.hstack([scores[shared.soil], shared.latent])
        mean = weight @ together
        off = together - mean
        spread = (off.T * weight) @ off
        of_scores = spread[:known, :known] + _FLOOR * np.eye(known)
        slope = np.linalg.solve(of_scores, spread[:known, known:])
        apart = scores - mean[:known]
        self.mean = mean[known:] + apart @ slope
        left = spread[known:, known:] - spread[:known, known:].T @ slope
        self.root = np.linalg.cholesky(_WIDER * left + _FLOOR * np.eye(len(LATENT)))
        # Scores of all sands have mean 0 and spread 1.
        alike = np.sum(scores**2, axis=1)
        alike -= np.sum(apart @ np.linalg.inv(_WIDER * of_scores) * apart, axis=1)
        found = np.bincount(shared.soil, weight, minlength=count)
        self.of_soil = _AS_FOUND * found + _ALIKE * weights_of(0.5 * alike)
        self.of_soil += (1.0 - _AS_FOUND - _ALIKE) / count

    def draw(self, count: int, rng: np.random.Generator) -> Shared:
        """Draw from it."""
        any_of_all = round(_BEFORE * count)
        size = count - any_of_all
        before = self.unknowns.draw(any_of_all, rng)
        soil = rng.choice(self.of_soil.size, size=size, p=self.of_soil / self.of_soil.sum())
        longer = np.sqrt(_TAIL / rng.chisquare(_TAIL, size))
        off = longer[:, None] * rng.standard_normal((size, len(LATENT)))
        latent = self.mean[soil] + off @ self.root.T
        return Shared(np.concatenate([before.soil, soil]), np.concatenate([before.latent, latent]))

    def log_ratio(self, shared: Shared) -> FloatArray:
        """Logarithm of how likely draws were before, over how likely they are drawn here."""
        from scipy.special import gammaln

        size = len(LATENT)
        before = -0.5 * np.sum(shared.latent**2, axis=1) - np.log(self.of_soil.size)
        before -= 0.5 * size * np.log(2.0 * np.pi)
        scaled = np.linalg.solve(self.root, (shared.latent - self.mean[shared.soil]).T)
        about = -0.5 * (_TAIL + size) * np.log1p(np.sum(scaled**2, axis=0) / _TAIL)
        about += gammaln(0.5 * (_TAIL + size)) - gammaln(0.5 * _TAIL)
        about -= 0.5 * size * np.log(_TAIL * np.pi) + np.sum(np.log(np.diag(self.root)))
        about += np.log(self.of_soil[shared.soil])
        every = np.logaddexp(before + np.log(_BEFORE), about + np.log(1.0 - _BEFORE))
        ratio: FloatArray = before - every
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


def narrowed(
    evidence: Evidence,
    shared: Shared,
    weight: FloatArray,
    log_ratio: FloatArray,
    rng: np.random.Generator,
) -> tuple[Shared, FloatArray, FloatArray]:
    """Step to where the readings are, until a round is worth enough to draw the next about it.

    Many good readings leave so little of all that was possible that it takes some.

    Parameters
    ----------
    evidence : Evidence
        What draws are weighed by.
    shared, weight, log_ratio
        A round.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    shared, weight, log_ratio
        The last round, as of `next_round`.
    """
    for _ in range(MOST_STEPS):
        if worth(weight) >= ENOUGH:
            break
        proposal = Proposal(evidence.unknowns, shared, weight)
        shared, weight, log_ratio = next_round(evidence, proposal, STEP, rng)
    return shared, weight, log_ratio
