"""Which one further measurement would settle the matter: the one expected to tell most.

For every measurement that could be made at a spot, what it would show under each cause is worked
out from the possibilities a diagnosis has left; its expected gain is the mutual information between
its outcome and the cause (Lindley 1956, Ann. Math. Stat. 27:986, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from soilwater.decisions.spots.cause import LEAST_DROP
from soilwater.decisions.spots.causes import CAUSES, NAMES
from soilwater.decisions.spots.diagnosis import AGAINST, PARTICLES
from soilwater.decisions.spots.odds import (
    CauseOdds,
    Diagnosis,
    SpotDiagnosis,
    outcome_sentence,
    updated,
)
from soilwater.decisions.spots.states import State, predict, stacked
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import InputError
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

RODS = (3.8, 7.6, 12.0, 20.0)
"""Usual lengths of rods [cm]: 1.5, 3, 4.8 and 8 in."""
BINS = 60
"""Classes an outcome is sorted into when its information is counted."""


@dataclass(frozen=True)
class Measurement:
    """One measurement that could be made at a spot.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    spot : str
        Where.
    instruction : str
        What to do, and what to note down.
    reason : str
        What it is expected to tell apart.
    gain : float
        Expected gain in information about the cause [bit].
    rod : float
        Length of the rods [cm] for another rod length; 0 otherwise.
    """

    kind: str
    spot: str
    instruction: str
    reason: str
    gain: float
    rod: float = 0.0


class _Kind(NamedTuple):
    instruction: str
    quantity: str
    outcome: str


KINDS: dict[str, _Kind] = {
    "probe": _Kind("probe the depth again, in three holes a step apart", "length", "depth"),
    "drop_test": _Kind(
        "take a plug, let it dry, and time how long a drop of water sits on it",
        "duration",
        "drop time in seconds",
    ),
    "rod": _Kind("read again with {rod} rods", "water_content", "reading"),
    "read_again": _Kind(
        "read again in fresh holes, rods fully in", "water_content", "mean of the new readings"
    ),
    "read_later": _Kind("read again after another 12 h without water", "water_content", "reading"),
    "outlet": _Kind(
        "look at the drain outlet while water is draining: does it run freely?",
        "fraction",
        "1 where it runs slowly or not at all, 0 where it runs freely",
    ),
    "catch": _Kind(
        "set out catch cans here and over the green",
        "fraction",
        "water caught here over that of the green",
    ),
    "slope": _Kind("measure the slope of the surface", "slope", "slope"),
    "mat": _Kind("cut a plug and measure the mat", "length", "thickness of the mat"),
}


@mind_words()
def next_measurement(diagnosis: Diagnosis, spot: str | None = None) -> Measurement:
    """Find the measurement with the largest expected gain in information about the cause.

    Parameters
    ----------
    diagnosis : Diagnosis
        From `diagnose`.
    spot : str, optional
        Where; over all spots when left out.

    Returns
    -------
    Measurement
        With its reason.

    Raises
    ------
    InputError
        If the spot is not in the diagnosis.
    """
    return rank_measurements(diagnosis, spot)[0]


@mind_words()
def rank_measurements(diagnosis: Diagnosis, spot: str | None = None) -> tuple[Measurement, ...]:
    """All measurements that could be made, those expected to tell most first.

    Parameters
    ----------
    diagnosis : Diagnosis
        From `diagnose`.
    spot : str, optional
        Where; over all spots when left out.

    Returns
    -------
    tuple of Measurement

    Raises
    ------
    InputError
        If the spot is not in the diagnosis.
    """
    chosen = diagnosis.spots if spot is None else (diagnosis.spot(spot),)
    found = [
        _measurement(diagnosis, each, kind, rod) for each in chosen for kind, rod in _possible(each)
    ]
    return tuple(sorted(found, key=lambda each: -each.gain))


@mind_words()
def with_finding(diagnosis: Diagnosis, measurement: Measurement, outcome: Any) -> Diagnosis:
    """Count in what a further measurement showed.

    Parameters
    ----------
    diagnosis : Diagnosis
        Before the measurement.
    measurement : Measurement
        What was done, from `next_measurement` or `rank_measurements`.
    outcome : float, str or Quantity
        What it showed: depth or mat thickness [cm], reading [1], slope [1], drop time (a number
        is seconds), catch over that of the green [1], or for the outlet 1 (slow) or 0 (free).

    Returns
    -------
    Diagnosis
        With new odds at that spot; the other spots keep theirs.

    Raises
    ------
    InputError
        If the outcome cannot be used or the spot is not in the diagnosis.

    Notes
    -----
    Only this spot is weighed again. Where the survey has a place for the outcome (drop time,
    catch depth, slope, mat), writing it there and diagnosing again is the fuller way.
    """
    before = diagnosis.spot(measurement.spot)
    kind = KINDS[measurement.kind]
    if measurement.kind == "drop_test":
        value = (
            3600.0 * number_to_house(outcome, "duration", "outcome")
            if isinstance(outcome, str)
            else float(outcome)
        )
    else:
        value = number_to_house(outcome, kind.quantity, "outcome")
    if not np.isfinite(value) or value < 0.0:
        raise InputError(f"outcome: {outcome!r}; allowed: {kind.outcome}, 0 or more.")
    model = _outcome_model(diagnosis, before, measurement.kind, measurement.rod)
    chance = model.density(value)
    shares = _shares(before) * chance.mean(axis=1)
    if shares.sum() <= 0.0:
        raise InputError(
            f"outcome: {outcome!r} is impossible under every cause; check it, or the survey."
        )
    shares = shares / shares.sum()
    rng = np.random.default_rng(0)
    odds = []
    for cause in before.causes:
        share = float(shares[NAMES.index(cause.cause)])
        usual = CAUSES[NAMES.index(cause.cause)].prior
        kept = cause.consistent and share > AGAINST * usual
        odds.append(replace(cause, probability=share, consistent=kept))
    odds.sort(key=lambda each: -each.probability)
    told = f"{measurement.instruction}: {_told(measurement.kind, value)}"
    after = replace(
        before,
        causes=tuple(odds),
        sentence=outcome_sentence(odds),
        findings=(*before.findings, told),
        states=_resampled(before.states, chance, rng),
        done=(*before.done, (measurement.kind, measurement.rod)),
    )
    return updated(diagnosis, after)


def _told(kind: str, value: float) -> str:
    if kind == "outlet":
        return "slow" if value > 0.5 else "free"
    if kind == "drop_test":
        return f"{value:.0f} s"
    if kind == "catch":
        return f"{100 * value:.0f} % of the green's"
    return in_people_units(value, KINDS[kind].quantity)


def _shares(spot: SpotDiagnosis) -> FloatArray:
    return np.array([spot.probability(name) for name in NAMES])


def _possible(spot: SpotDiagnosis) -> list[tuple[str, float]]:
    """Kinds of measurement, and rods, that have not been made at a spot."""
    at = spot.spot
    kinds: list[tuple[str, float]] = [
        ("probe", 0.0), ("read_again", 0.0), ("read_later", 0.0), ("outlet", 0.0)
    ]  # fmt: skip
    if at.drop_time is None:
        kinds.append(("drop_test", 0.0))
    if at.catch_depth is None:
        kinds.append(("catch", 0.0))
    if at.slope is None:
        kinds.append(("slope", 0.0))
    if at.mat_thickness is None:
        kinds.append(("mat", 0.0))
    used = [reading.rod for reading in at.readings]
    longest = at.depth if at.has_depth else 20.0
    kinds += [
        ("rod", rod)
        for rod in RODS
        if rod < longest and all(abs(rod - other) > 1.0 for other in used)
    ]
    return [kind for kind in kinds if kind not in spot.done]


class _OutcomeModel(NamedTuple):
    """Density of an outcome under each cause and possibility, and the classes to sort it into."""

    density: Callable[[float], FloatArray]
    edges: FloatArray
    share_below: Callable[[FloatArray], FloatArray]


def _outcome_model(
    diagnosis: Diagnosis, spot: SpotDiagnosis, kind: str, rod: float
) -> _OutcomeModel:
    states = spot.states
    meter, model = diagnosis.errors
    error = float(np.hypot(meter, model))
    if kind == "probe":
        return _normal_model(states.depth, diagnosis.prior.probe_error)
    if kind == "rod":
        return _normal_model(predict(diagnosis.table, states, rod), error)
    if kind == "read_again":
        again = stacked(cause.in_fresh_holes(states.take(i)) for i, cause in enumerate(CAUSES))
        # The mean of three holes.
        error = float(np.hypot(meter / np.sqrt(3.0), model))
        return _normal_model(predict(diagnosis.table, again, spot.rod), error)
    if kind == "read_later":
        base = float(states.base[0].mean())
        later = stacked(cause.half_a_day_on(states.take(i), base) for i, cause in enumerate(CAUSES))
        return _normal_model(predict(diagnosis.table, later, spot.rod), error)
    if kind == "catch":
        return _normal_model(states.catch, 0.05)
    if kind == "slope":
        return _normal_model(np.log(np.maximum(states.slope, 1e-3)), 0.05, floor=1e-3)
    if kind == "mat":
        return _normal_model(np.log(np.maximum(states.mat, 0.1)), 0.1, floor=0.1)
    if kind == "drop_test":
        return _drop_model()
    return _outlet_model()


def _normal_model(centre: FloatArray, error: float, *, floor: float | None = None) -> _OutcomeModel:
    """Outcome scattered around a centre; of its logarithm where a floor is given."""
    from scipy.special import ndtr

    low, high = centre.min() - 3.0 * error, centre.max() + 3.0 * error

    def density(value: float) -> FloatArray:
        at = value if floor is None else float(np.log(max(value, floor)))
        # A little of everything, so that no slip of a measurement rules a cause out for good.
        blunder = 0.01 / max(high - low, 1e-9)
        z = (at - centre) / error
        inside = np.exp(-0.5 * z**2) / (error * np.sqrt(2.0 * np.pi))
        return np.asarray(0.99 * inside + blunder)

    def share_below(edge: FloatArray) -> FloatArray:
        return np.asarray(ndtr((edge - centre[..., None]) / error).mean(axis=1))

    return _OutcomeModel(density, np.linspace(low, high, BINS + 1), share_below)


def _drop_model() -> _OutcomeModel:
    def density(value: float) -> FloatArray:
        at = np.array(max(value, LEAST_DROP))
        rows = [float(np.exp(cause.drop_time.log_density(at))) for cause in CAUSES]
        return np.repeat(np.array(rows)[:, None], PARTICLES, axis=1)

    edges = np.geomspace(0.01, 1e5, BINS + 1)
    middles = np.sqrt(edges[1:] * edges[:-1])
    heaps = np.array(
        [np.cumsum(np.exp(each.drop_time.log_density(middles)) * np.diff(edges)) for each in CAUSES]
    )
    heaps = np.concatenate([np.zeros((len(NAMES), 1)), heaps / heaps[:, -1:]], axis=1)
    return _OutcomeModel(density, edges, lambda edge: heaps)


def _outlet_model() -> _OutcomeModel:
    slow = np.array([cause.outlet_slow for cause in CAUSES])

    def density(value: float) -> FloatArray:
        rows = slow if value > 0.5 else 1.0 - slow
        return np.repeat(rows[:, None], PARTICLES, axis=1)

    heaps = np.stack([np.zeros(slow.size), 1.0 - slow, np.ones(slow.size)], axis=1)
    return _OutcomeModel(density, np.array([-0.5, 0.5, 1.5]), lambda edge: heaps)


def _measurement(diagnosis: Diagnosis, spot: SpotDiagnosis, kind: str, rod: float) -> Measurement:
    model = _outcome_model(diagnosis, spot, kind, rod)
    classes = np.maximum(np.diff(model.share_below(model.edges), axis=1), 1e-12)
    classes /= classes.sum(axis=1, keepdims=True)
    shares = _shares(spot)
    mixture = shares @ classes
    told = np.sum(classes * np.log2(classes / mixture), axis=1)
    gain = float(shares @ told)
    text = KINDS[kind].instruction.format(rod=in_people_units(rod, "length"))
    return Measurement(kind, spot.spot.name, text, _reason(spot, shares, classes, gain), gain, rod)


def _reason(spot: SpotDiagnosis, shares: FloatArray, classes: FloatArray, gain: float) -> str:
    """Name the two causes an outcome tells apart best, weighted by how probable they are."""
    root = np.sqrt(classes)
    apart = (1.0 - root @ root.T) * np.sqrt(np.outer(shares, shares))
    first, second = np.unravel_index(int(np.argmax(apart)), apart.shape)
    if shares[first] < shares[second]:
        first, second = second, first
    by_name: dict[str, CauseOdds] = {odds.cause: odds for odds in spot.causes}
    known = shares[shares > 0.0]
    doubt = float(-np.sum(known * np.log2(known)))
    settled = gain / doubt if doubt > 0.0 else 0.0
    one, other = by_name[NAMES[first]], by_name[NAMES[second]]
    return (
        f"it tells {one.label} ({100 * one.probability:.0f} %) from {other.label} "
        f"({100 * other.probability:.0f} %); expected to settle {100 * settled:.0f} % of the doubt"
    )


def _resampled(states: State, chance: FloatArray, rng: np.random.Generator) -> State:
    """States of each cause in proportion to how well they fit the outcome."""
    rows = []
    for row in chance:
        ladder = (np.arange(PARTICLES) + rng.random()) / PARTICLES
        heap = np.cumsum(row)
        rows.append(np.minimum(np.searchsorted(heap, ladder * heap[-1]), PARTICLES - 1))
    index = np.array(rows)
    return states.take((np.arange(index.shape[0])[:, None], index))
