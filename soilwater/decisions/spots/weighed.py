"""One spot weighed: how well causes explain what was measured there, and what that leaves open.

What all spots share is drawn once for the green. A spot that is measured further is weighed anew
from the start, in the same draws and with the same random numbers: what is then found may lie where
hardly any of the possibilities that were kept do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from soilwater.decisions.spots.cause import Cause
from soilwater.decisions.spots.causes import CAUSES, DEPTH, NAMES, SLOPE
from soilwater.decisions.spots.likelihood import dried_to, log_likelihood, with_missed
from soilwater.decisions.spots.odds import (
    CauseOdds,
    Found,
    SpotDiagnosis,
    grouped,
    outcome_sentence,
)
from soilwater.decisions.spots.shared import Basis, Reckoned, Told
from soilwater.decisions.spots.states import (
    WRONG_READING,
    Prior,
    State,
    draw_level,
    level_spot,
    may_be_wrong,
    predict,
    reading_error,
    stacked,
)
from soilwater.learning.drying import Drying
from soilwater.survey.survey import Reading
from soilwater.survey.together import mean_of, with_rod
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW
from soilwater.words.errors import InputError

NODES = 24
"""Sizes of each cause tried in each draw."""
PARTICLES = 256
"""Equally likely states kept for each spot and cause."""
AGAINST = 0.1
"""A cause whose share falls below this part of its usual share is called not consistent: ten to one
is strong evidence (Jeffreys 1961, Theory of Probability, from memory)."""
MISFIT_LIMIT = 2.5
"""Distance from the reading, in standard errors, beyond which a cause does not explain it."""
HOLES = 3
"""Fresh holes that the mean of a reading is taken over again."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """One spot and how well each cause explains it.

    Attributes
    ----------
    basis : Basis
        What it was weighed from, with what was found since.
    prior : Prior
        Errors and usual values, with what was found since.
    log_evidence : ndarray, shape (draws,)
        Logarithm of the evidence of each draw.
    by_cause : ndarray, shape (causes, draws)
        Evidence under each cause, up to a factor.
    likelihood : ndarray, shape (causes, draws, nodes)
        Of each state, up to the same factor.
    misfit : ndarray, shape (causes, draws, nodes)
        Distance from the readings, in standard errors.
    states : tuple of State
        One a cause.
    missed : bool
        Whether states hold what a level column misses.
    """

    basis: Basis
    prior: Prior
    log_evidence: FloatArray
    by_cause: FloatArray
    likelihood: FloatArray
    misfit: FloatArray
    states: tuple[State, ...]
    missed: bool

    @property
    def evidence(self) -> FloatArray:
        """Evidence of each draw, up to a factor."""
        found: FloatArray = np.maximum(self.by_cause.sum(axis=0), 1e-300)
        return found


def weigh(
    basis: Basis, reckoned: Reckoned, found: Sequence[Found], rng: np.random.Generator
) -> Weighed:
    """Weigh a spot by its readings and by what else was found there.

    Parameters
    ----------
    basis : Basis
        The spot.
    reckoned : Reckoned
        What the diagnosis reckons with.
    found : sequence of Found
        What further measurements showed, in their order.
    rng : numpy.random.Generator
        Source of the draws.

    Raises
    ------
    InputError
        If a reading found is one that a survey would leave out.
    """
    green, errors, shares = reckoned.green, reckoned.errors, reckoned.shares
    basis, prior = _with_found(basis, reckoned.prior, found)
    spot, dried = basis.spot, basis.dried
    later = [each for each in found if each.kind in ("read_again", "read_later", "outlet")]
    # Of its own, so that all else is drawn as it was before.
    aside = np.random.default_rng(len(later))
    likelihoods, misfits, states = [], [], []
    for cause in CAUSES:
        state = cause.draw(draw_level(spot, green.common, prior, NODES, rng))
        logs, misfit = log_likelihood(spot, green.table, state, errors, cause, dried)
        logs = logs + cause.log_density(spot, prior)
        if later:
            state = with_missed(state, spot, green.table, errors, cause, aside, dried)
            for each in later:
                logs = logs + _log_density(each, state, cause, basis, reckoned)
        likelihoods.append(logs)
        misfits.append(misfit)
        states.append(state)
    if prior.extra(spot) is not None:
        # What the slope does here is known, and part of every other cause.
        shares = np.where(np.array(NAMES) == SLOPE.name, 0.0, shares)
    logs = np.array(likelihoods) + np.log(np.maximum(shares, 1e-300))[:, None, None]
    largest = logs.max()
    likelihood = np.exp(logs - largest)
    by_cause = likelihood.mean(axis=2)
    log_evidence = np.log(np.maximum(by_cause.sum(axis=0), 1e-300)) + largest
    return Weighed(
        basis,
        prior,
        log_evidence,
        by_cause,
        likelihood,
        np.array(misfits),
        tuple(states),
        bool(later),
    )


def _with_found(basis: Basis, prior: Prior, found: Sequence[Found]) -> tuple[Basis, Prior]:
    """Note down what was found where a survey has a place for it."""
    spot, dried = basis.spot, basis.dried
    for kind, rod, value in found:
        if kind in ("probe", "longer_probe"):
            prior = prior._replace(probed=(*prior.probed, value))
        elif kind == "rod":
            reading = Reading(value, rod=rod)
            if reading.doubt:
                told = f"outcome: {100 * value:.1f} % is {reading.doubt}"
                raise InputError(f"{told}; read it again, rods fully in.")
            spot = replace(spot, readings=(*spot.readings, reading))
            if dried:
                # As dry along other rods as along those that were read last.
                dried = (*dried, _last(basis)._replace(reading=reading))
        elif kind == "drop_test":
            spot = replace(spot, drop_time=value, drop_tests=None)
        elif kind == "catch":
            spot, prior = replace(spot, catch_depth=value), prior._replace(mean_catch=1.0)
        elif kind == "slope":
            spot = replace(spot, slope=value)
        elif kind == "mat":
            spot = replace(spot, mat_thickness=value)
    return basis._replace(spot=spot, dried=dried), prior


def _log_density(
    found: Found, state: State, cause: Cause, basis: Basis, reckoned: Reckoned
) -> FloatArray:
    """Logarithm of the density of an outcome that a survey has no place for, in each state."""
    if found.kind == "outlet":
        slow = cause.outlet_slow
        return np.full(state.depth.shape, np.log(slow if found.value > 0.5 else 1.0 - slow))
    meter = float(np.hypot(reckoned.errors[0], cause.scatter))
    if found.kind == "read_again":
        state, meter = cause.in_fresh_holes(state), meter / np.sqrt(HOLES)
    else:
        state = cause.half_a_day_on(state, float(np.mean(reckoned.green.common.base)))
    if basis.dried:
        state = dried_to(state, _last(basis))
    off = found.value - predict(reckoned.green.table, state, basis.rod)

    def log_normal(error: float) -> FloatArray:
        density: FloatArray = -0.5 * (off / error) ** 2 - np.log(error * np.sqrt(2.0 * np.pi))
        return density

    return may_be_wrong(log_normal(meter), log_normal(float(np.hypot(meter, WRONG_READING))))


def _last(basis: Basis) -> Drying:
    return max(
        (each for each in basis.dried if each.reading.time is not None), key=lambda each: each.time
    )


def describe(
    weighed: Weighed, others: FloatArray, reckoned: Reckoned, rng: np.random.Generator
) -> SpotDiagnosis:
    """Put what was weighed at a spot into odds and words.

    Parameters
    ----------
    weighed : Weighed
        The spot.
    others : ndarray, shape (draws,)
        Weights of the draws by all that is known but at this spot, up to a factor.
    reckoned : Reckoned
        What the diagnosis reckons with.
    rng : numpy.random.Generator
        Source of the draws.
    """
    basis, prior, errors = weighed.basis, weighed.prior, reckoned.errors
    spot, table = basis.spot, reckoned.green.table
    weight = others * weighed.evidence
    weight = weight / weight.sum()
    told = basis.told or _told_of(weighed, weight, reckoned, rng)
    low, expected, high = _by_depth(weighed, told, reckoned)
    of_draw = weight / weighed.evidence
    shares = weighed.by_cause @ of_draw
    shares = shares / shares.sum()
    states, odds = [], []
    depth = spot.depth if spot.has_depth else prior.usual_depth
    depth = prior.probed[-1] if prior.probed else depth
    level = level_spot(reckoned.green.typical(weight), depth)
    level = level._replace(extra=level.extra + (prior.extra(spot) or (0.0,))[0])

    def reads(state: State) -> FloatArray:
        return predict(table, state, basis.rod)

    for i, cause in enumerate(CAUSES):
        chance = (weighed.likelihood[i] * of_draw[:, None]).ravel()
        picked = _pick(weighed.states[i], chance, weight, rng)
        if not weighed.missed:
            picked = with_missed(picked, spot, table, errors, cause, rng, basis.dried)
        if basis.dried:
            # What is read next is read on ground as dry as it was last.
            picked = dried_to(picked, _last(basis))
        states.append(picked)
        misfit = float(weight @ weighed.misfit[i].min(axis=1))
        size = cause.needed_size(level, told.reading, reads)
        if cause.name == DEPTH.name and np.isfinite(told.own_depth):
            size = told.own_depth
        contradicted = cause.contradicted(spot, prior)
        kept = shares[i] > AGAINST * cause.prior
        fits = bool(misfit < MISFIT_LIMIT and not contradicted and kept)
        sentence = cause.sentence(size, fits, contradicted)
        odds.append(CauseOdds(cause.name, cause.label, float(shares[i]), fits, size, sentence))
    odds.sort(key=lambda each: -each.probability)
    every = stacked(states)
    groups = grouped(odds, every)
    return SpotDiagnosis(
        spot=spot,
        reading=told.reading,
        expected=expected,
        band=(low, high),
        as_green_reads=(told.band[0], told.expected, told.band[1]),
        rod=basis.rod,
        own_depth=told.own_depth,
        causes=tuple(odds),
        groups=groups,
        sentence=outcome_sentence(groups, odds),
        states=every,
        basis=basis,
        others=others,
    )


def _by_depth(weighed: Weighed, told: Told, reckoned: Reckoned) -> tuple[float, float, float]:
    """Tell what a spot should read by its own depth, whatever the green reads, with its ends."""
    basis = weighed.basis
    if basis.told:
        return told.band[0], told.expected, told.band[1]
    if basis.by_depth and not weighed.prior.probed:
        return basis.by_depth
    alike = np.full(weighed.evidence.size, 1.0 / weighed.evidence.size)
    before = _told_of(weighed, alike, reckoned, np.random.default_rng(0))
    return before.band[0], before.expected, before.band[1]


def _told_of(
    weighed: Weighed, weight: FloatArray, reckoned: Reckoned, rng: np.random.Generator
) -> Told:
    """Tell what a spot read and what its depth should give, by draws and their weights."""
    rod = weighed.basis.rod
    read = with_rod(weighed.basis.spot, rod)
    expected = predict(reckoned.green.table, weighed.states[0], rod)
    error = reading_error(weighed.basis.spot, rod, reckoned.errors[0])
    scatter = float(np.hypot(error, reckoned.errors[1])) * rng.standard_normal(expected.shape)
    low, middle, high = _quantiles(
        np.clip(expected + scatter, 0.0, 1.0), weight[:, None], (LOW, 0.5, HIGH)
    )
    return Told(mean_of(read, reckoned.errors[0]), middle, (low, high))


def _quantiles(
    values: FloatArray, weight: FloatArray, shares: Sequence[float]
) -> tuple[float, ...]:
    flat = values.ravel()
    order = np.argsort(flat)
    heap = np.cumsum(np.broadcast_to(weight, values.shape).ravel()[order])
    return tuple(float(flat[order][np.searchsorted(heap, q * heap[-1])]) for q in shares)


def _pick(state: State, chance: FloatArray, weight: FloatArray, rng: np.random.Generator) -> State:
    """Equally likely states of one cause, by systematic resampling."""
    if chance.sum() <= 0.0:
        chance = np.repeat(weight, state.depth.shape[1])
    ladder = (np.arange(PARTICLES) + rng.random()) / PARTICLES
    heap = np.cumsum(chance)
    index = np.minimum(np.searchsorted(heap, ladder * heap[-1]), chance.size - 1)
    return state.take(np.unravel_index(index, state.depth.shape))
