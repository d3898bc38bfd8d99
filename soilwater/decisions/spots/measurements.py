"""Which one further measurement would settle the matter: the one expected to tell most a minute.

For every measurement that could be made at a spot, what it would show under each cause is worked
out from the possibilities a diagnosis has left; its expected gain is the mutual information between
its outcome and the cause (Lindley 1956, Ann. Math. Stat. 27:986, from memory). What readings of one
spot share - the meter's offset, what a level column misses there - each possibility holds, so that
no second reading is taken to be fresh in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from soilwater.decisions.spots.cause import ANY_DROP, LEAST_DROP, Cause
from soilwater.decisions.spots.causes import CAUSES, NAMES
from soilwater.decisions.spots.odds import CauseOdds, Diagnosis, SpotDiagnosis
from soilwater.decisions.spots.states import (
    LEAST_PROBE_ERROR,
    SLIP,
    may_be_wrong,
    predict,
    stacked,
)
from soilwater.decisions.spots.weighed import HOLES, PARTICLES
from soilwater.words.arrays import FloatArray, lengths
from soilwater.words.errors import Faults
from soilwater.words.forms import Length
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.several import number_of
from soilwater.words.unit_choice import worded

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
    minutes : float
        Minutes of work it takes [min], the walk there with it.
    """

    kind: str
    spot: str
    instruction: str
    reason: str
    gain: float
    rod: float = 0.0
    minutes: float = float("nan")


class _Kind(NamedTuple):
    """What to do, what its outcome is, and the minutes of work it takes [min]."""

    instruction: str
    quantity: str
    outcome: str
    minutes: float


KINDS: dict[str, _Kind] = {
    "probe": _Kind("probe the depth again, in three holes a step apart", "length", "depth", 4.0),
    "longer_probe": _Kind(
        "probe with a longer probe, until it meets the gravel", "length", "depth", 6.0
    ),
    "drop_test": _Kind(
        "take a plug, let it dry, and time how long a drop of water sits on it",
        "duration",
        "drop time in seconds",
        5.0,
    ),
    "rod": _Kind("read again with {rod} rods", "water_content", "reading", 4.0),
    "read_again": _Kind(
        "read again in fresh holes, rods fully in", "water_content", "mean of the new readings", 4.0
    ),
    "read_later": _Kind(
        "read again after another 12 h without water", "water_content", "reading", 6.0
    ),
    "outlet": _Kind(
        "look at the drain outlet while water is draining: does it run freely?",
        "fraction",
        "1 where it runs slowly or not at all, 0 where it runs freely",
        8.0,
    ),
    "catch": _Kind(
        "set out catch cans here and over the green",
        "fraction",
        "water caught here over that of the green",
        35.0,
    ),
    "slope": _Kind("measure the slope of the surface", "slope", "slope", 4.0),
    "mat": _Kind("cut a plug and measure the mat", "length", "thickness of the mat", 5.0),
}
"""Measurements by kind. Minutes of work are judgements (no source) and an argument: a plug dries by
itself, cans are set out over the green and the heads run."""


@mind_words()
def next_measurement(
    diagnosis: Diagnosis,
    spot: str | None = None,
    *,
    rods: Sequence[Length] | None = None,
    minutes: Mapping[str, float] | None = None,
) -> Measurement:
    """Find the measurement that is expected to tell most about the cause for its minutes of work.

    Parameters
    ----------
    diagnosis : Diagnosis
        From `diagnose`.
    spot : str, optional
        Where; over all spots when left out.
    rods : sequence of float, str or Quantity, optional
        Lengths of the rods you own [cm]; those the green was read with when left out.
    minutes : mapping of str to float, optional
        Minutes of work [min] by kind, in place of those in
        `soilwater.decisions.spots.measurements.KINDS`.

    Returns
    -------
    Measurement
        With its reason.

    Raises
    ------
    InputError
        If the spot is not in the diagnosis, or rods or minutes cannot be used.
    """
    return rank_measurements(diagnosis, spot, rods=rods, minutes=minutes)[0]


@mind_words()
def rank_measurements(
    diagnosis: Diagnosis,
    spot: str | None = None,
    *,
    rods: Sequence[Length] | None = None,
    minutes: Mapping[str, float] | None = None,
) -> tuple[Measurement, ...]:
    """All measurements that could be made, those expected to tell most a minute first.

    Parameters
    ----------
    diagnosis : Diagnosis
        From `diagnose`.
    spot : str, optional
        Where; over all spots when left out.
    rods : sequence of float, str or Quantity, optional
        Lengths of the rods you own [cm]; those the green was read with when left out.
    minutes : mapping of str to float, optional
        Minutes of work [min] by kind, in place of those in
        `soilwater.decisions.spots.measurements.KINDS`.

    Returns
    -------
    tuple of Measurement
        Where a depth is a lower bound, a longer probe comes before all else at that spot: what is
        measured there is weighed against a depth that is a guess until then.

    Raises
    ------
    InputError
        If the spot is not in the diagnosis, or rods or minutes cannot be used.
    """
    chosen = diagnosis.spots if spot is None else (diagnosis.spot(spot),)
    faults = Faults("rank_measurements")
    owned = {reading.rod for each in diagnosis.spots for reading in each.spot.readings}
    if rods is not None:
        with faults.catching():
            owned = set(lengths(rods, "rods").tolist())
            if min(owned, default=1.0) <= 0.0:
                faults.add(f"rods: {min(owned):g} cm", allowed="above 0")
    work = {kind: each.minutes for kind, each in KINDS.items()}
    for kind, value in (minutes or {}).items():
        if kind not in KINDS:
            faults.add(f'minutes: no measurement "{kind}"', allowed=", ".join(KINDS))
        elif not 0.0 < number_of(value) < np.inf:
            faults.add(f"minutes: {kind} takes {value!r}", allowed="numbers of minutes above 0")
        else:
            work[kind] = number_of(value)
    faults.raise_if_any()
    found = [
        _measurement(diagnosis, each, kind, rod, work[kind])
        for each in chosen
        for kind, rod in _possible(each, owned)
    ]
    return _in_order(found)


def _shares(spot: SpotDiagnosis) -> FloatArray:
    return np.array([spot.probability(name) for name in NAMES])


def _in_order(found: Sequence[Measurement]) -> tuple[Measurement, ...]:
    """Put what tells most a minute first, and a longer probe before all else at its spot."""
    probes = {each.spot: each for each in found if each.kind == "longer_probe"}
    ordered: list[Measurement] = []
    for each in sorted(found, key=lambda each: -each.gain / each.minutes):
        if each.spot in probes:
            ordered.append(probes.pop(each.spot))
        if each not in ordered:
            ordered.append(each)
    return tuple(ordered)


def _possible(spot: SpotDiagnosis, owned: set[float]) -> list[tuple[str, float]]:
    """Kinds of measurement, and rods of those owned, that have not been made at a spot."""
    at = spot.spot
    # The probe that was too short would be so again.
    probe = "longer_probe" if at.has_depth and at.depth_at_least else "probe"
    kinds: list[tuple[str, float]] = [
        (probe, 0.0), ("read_again", 0.0), ("read_later", 0.0), ("outlet", 0.0)
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
        for rod in sorted(owned)
        if rod < longest and all(abs(rod - other) > 1.0 for other in used)
    ]
    done = [(each.kind, each.rod) for each in spot.found]
    return [kind for kind in kinds if kind not in done]


class _OutcomeModel(NamedTuple):
    """Density of an outcome under each cause and possibility, and the classes to sort it into."""

    density: Callable[[float], FloatArray]
    edges: FloatArray
    share_below: Callable[[FloatArray], FloatArray]


def _outcome_model(
    diagnosis: Diagnosis, spot: SpotDiagnosis, kind: str, rod: float
) -> _OutcomeModel:
    states = spot.states
    meter, _ = diagnosis.reckoned.errors
    table = diagnosis.reckoned.green.table
    scatter = np.array([cause.scatter for cause in CAUSES])[:, None]
    if kind in ("probe", "longer_probe"):
        error = max(diagnosis.reckoned.prior.probe_error, LEAST_PROBE_ERROR)
        return _normal_model(states.depth, error)
    if kind == "rod":
        return _normal_model(predict(table, states, rod), np.hypot(meter, scatter))
    if kind == "read_again":
        again = stacked(cause.in_fresh_holes(states.take(i)) for i, cause in enumerate(CAUSES))
        error = np.hypot(meter, scatter) / np.sqrt(HOLES)
        return _normal_model(predict(table, again, spot.rod), error)
    if kind == "read_later":
        base = float(states.base[0].mean())
        later = stacked(cause.half_a_day_on(states.take(i), base) for i, cause in enumerate(CAUSES))
        return _normal_model(predict(table, later, spot.rod), np.hypot(meter, scatter))
    if kind == "catch":
        return _normal_model(states.catch, 0.05)
    if kind == "slope":
        return _normal_model(np.log(np.maximum(states.slope, 1e-3)), 0.05, floor=1e-3)
    if kind == "mat":
        return _normal_model(np.log(np.maximum(states.mat, 0.1)), 0.1, floor=0.1)
    if kind == "drop_test":
        return _drop_model()
    return _outlet_model()


def _normal_model(
    centre: FloatArray, error: FloatArray | float, *, floor: float | None = None
) -> _OutcomeModel:
    """Outcome scattered around a centre; of its logarithm where a floor is given."""
    from scipy.special import ndtr

    spread = np.broadcast_to(error, (centre.shape[0], 1))
    low, high = (centre - 3.0 * spread).min(), (centre + 3.0 * spread).max()

    def density(value: float) -> FloatArray:
        at = value if floor is None else float(np.log(max(value, floor)))
        # A little of everything: no measurement that may be wrong rules a cause out for good.
        z = (at - centre) / spread
        inside = np.exp(-0.5 * z**2) / (spread * np.sqrt(2.0 * np.pi))
        return np.asarray((1.0 - SLIP) * inside + SLIP / max(high - low, 1e-9))

    def share_below(edge: FloatArray) -> FloatArray:
        right = ndtr((edge - centre[..., None]) / spread[..., None]).mean(axis=1)
        return np.asarray((1.0 - SLIP) * right + SLIP * (edge - low) / max(high - low, 1e-9))

    return _OutcomeModel(density, np.linspace(low, high, BINS + 1), share_below)


def _drop_model() -> _OutcomeModel:
    def density(value: float) -> FloatArray:
        at = np.array(max(value, LEAST_DROP))
        rows = [float(np.exp(_drop_density(cause, at))) for cause in CAUSES]
        return np.repeat(np.array(rows)[:, None], PARTICLES, axis=1)

    edges = np.geomspace(0.01, 1e5, BINS + 1)
    middles = np.sqrt(edges[1:] * edges[:-1])
    heaps = np.array(
        [np.cumsum(np.exp(_drop_density(each, middles)) * np.diff(edges)) for each in CAUSES]
    )
    heaps = np.concatenate([np.zeros((len(NAMES), 1)), heaps / heaps[:, -1:]], axis=1)
    return _OutcomeModel(density, edges, lambda edge: heaps)


def _drop_density(cause: Cause, seconds: FloatArray) -> FloatArray:
    return may_be_wrong(cause.drop_time.log_density(seconds), ANY_DROP.log_density(seconds))


def _outlet_model() -> _OutcomeModel:
    slow = np.array([cause.outlet_slow for cause in CAUSES])

    def density(value: float) -> FloatArray:
        rows = slow if value > 0.5 else 1.0 - slow
        return np.repeat(rows[:, None], PARTICLES, axis=1)

    heaps = np.stack([np.zeros(slow.size), 1.0 - slow, np.ones(slow.size)], axis=1)
    return _OutcomeModel(density, np.array([-0.5, 0.5, 1.5]), lambda edge: heaps)


def _measurement(
    diagnosis: Diagnosis, spot: SpotDiagnosis, kind: str, rod: float, minutes: float
) -> Measurement:
    model = _outcome_model(diagnosis, spot, kind, rod)
    classes = np.maximum(np.diff(model.share_below(model.edges), axis=1), 1e-12)
    classes /= classes.sum(axis=1, keepdims=True)
    shares = _shares(spot)
    mixture = shares @ classes
    told = np.sum(classes * np.log2(classes / mixture), axis=1)
    gain = float(shares @ told)
    told_to = KINDS[kind].instruction
    text = worded(lambda: told_to.format(rod=in_people_units(rod, "length")))
    reason = f"{_reason(spot, shares, classes, gain)} in {minutes:g} min"
    return Measurement(kind, spot.spot.name, text, reason, gain, rod, minutes)


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
