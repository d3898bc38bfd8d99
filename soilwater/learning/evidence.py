"""How well draws of what spots share explain the readings, with what is each spot's own.

A spot behaves as if it were a little shallower or deeper than probed; its readings are shifted by
something of their own that stays; the rest is noise. Given a draw, spots know nothing of one
another. The depth is summed over nodes, which takes lower bounds and spots far out of line as they
are; the shift is followed from reading to reading. Errors of a buried sensor are remembered for a
time (first-order autoregression), which is drawn like everything else.

Any reading may be a blunder: a wrong spot, a rod in a stone's hole, a slip of the pen. It then says
nothing, and what it says otherwise counts by how likely it is no blunder.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.columns import DEEPER, SHALLOWER, Green
from soilwater.learning.emulator import Emulator, Terms
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.survey.survey import Spot
from soilwater.survey.too_short import BEYOND_REACH
from soilwater.words.arrays import FloatArray

NODES = 23
"""Depths at which a spot is tried in each draw, a centimetre apart."""
OUT_OF_LINE, FAR = 0.05, 8.0
"""Share of spots that are out of line, and by how many centimetres (our own choice)."""
BLUNDERS, ANYTHING = 0.03, 0.5
"""Share of readings that are blunders, and the width [1] they lie anywhere in: 1 to 10 % of routine
data are gross errors (Hampel et al. 1986, Robust Statistics, section 1.2c, from memory)."""
_CHUNK = 100_000


@dataclass(frozen=True, eq=False)
class Track:
    """Readings of one instrument at one spot.

    Attributes
    ----------
    spot : int
        Number of the spot.
    span : int
        Number of the depths it reads between.
    per_rod : float
        What a centimetre of water in the mat adds to its reading [1/cm]; 0 where buried.
    at : ndarray of int
        Numbers of the instants.
    hours : ndarray
        Hours since the start [h].
    value : ndarray
        What was read [1].
    error : ndarray
        Standard deviation of the noise of each reading [1].
    own : float
        Standard deviation of their lasting shift [1].
    buried : bool
        Whether it stays in the ground, so that its errors are remembered.
    """

    spot: int
    span: int
    per_rod: float
    at: NDArray[np.int64]
    hours: FloatArray
    value: FloatArray
    error: FloatArray
    own: float
    buried: bool

    def where(self, kept: NDArray[np.bool_]) -> Track:
        """Keep some of the readings."""
        parts = {name: getattr(self, name)[kept] for name in ("at", "hours", "value", "error")}
        return replace(self, **parts)


@dataclass(frozen=True, eq=False)
class Evidence:
    """Everything a draw is weighed by.

    Attributes
    ----------
    green : Green
        The green since its soaking.
    unknowns : Unknowns
        What is not known of it.
    tracks : tuple of Track
        Readings.
    emulators : tuple of Emulator
        One a group of spots.
    probe_error : float
        Standard deviation of a probed depth [cm].
    own_error : float
        Standard deviation of what a spot's readings miss for good [1].
    """

    green: Green
    unknowns: Unknowns
    tracks: tuple[Track, ...]
    emulators: tuple[Emulator, ...]
    probe_error: float
    own_error: float

    def without(self, hour: float) -> Evidence:
        """Return the evidence of what was read before an hour [h]."""
        return replace(self, tracks=tuple(each.where(each.hours < hour) for each in self.tracks))

    @cached_property
    def between(self) -> tuple[FloatArray, ...]:
        """Weights of the depths that are run at the nodes of each spot, shape (depths, nodes)."""
        green = self.green
        return tuple(
            green.groups[green.group_of(j)].between(depth_nodes(spot)).T
            for j, spot in enumerate(green.spots)
        )


def _deeper(at_least: bool) -> FloatArray:
    """By how much deeper a spot is tried [cm], which a probe found or did not find the end of."""
    return np.linspace(0.0, SHALLOWER + DEEPER, NODES) - (0.0 if at_least else SHALLOWER)


def depth_nodes(spot: Spot) -> FloatArray:
    """Depths [cm] at which a spot is tried."""
    return spot.depth + _deeper(spot.depth_at_least)


def log_depth_density(
    at_least: bool, scatter: FloatArray, probe_error: float, far: float = OUT_OF_LINE
) -> FloatArray:
    """Logarithm of how likely a spot behaves by so much deeper, shape (draws, nodes).

    A share `far` of spots is out of line [1].
    """
    off = _deeper(at_least)
    spread = np.hypot(scatter, probe_error)[:, None]
    if at_least:
        density = np.exp(-off / BEYOND_REACH) * np.ones_like(spread)
    else:
        usual = np.exp(-0.5 * (off / spread) ** 2) / spread
        density = (1.0 - far) * usual + far * np.exp(-0.5 * (off / FAR) ** 2) / FAR
    logs: FloatArray = np.log(np.maximum(density / density.sum(axis=1, keepdims=True), 1e-300))
    return logs


def shift_of(unknowns: Unknowns, shared: Shared, track: Track) -> FloatArray:
    """Give what meter and mat add to the readings of an instrument in each draw [1]."""
    if track.buried:
        return np.zeros(shared.soil.size)
    mat = unknowns.values(shared, "mat_water")
    shift: FloatArray = unknowns.values(shared, "meter_offset") + mat * track.per_rod
    return shift


def told_by(evidence: Evidence, shared: Shared) -> list[FloatArray]:
    """Ask the emulators what columns read in each draw, one array a group."""
    terms = Terms(evidence.unknowns, shared)
    return [each.readings(terms) for each in evidence.emulators]


def expected_of(
    evidence: Evidence, shared: Shared, track: Track, told: Sequence[FloatArray]
) -> FloatArray:
    """Give what an instrument should show at each depth, shape (readings, draws, nodes).

    `told` is what the emulators say of the draws, one array a group.
    """
    of_columns = told[evidence.green.group_of(track.spot)][:, :, track.span, track.at]
    columns_first = np.ascontiguousarray(np.moveaxis(of_columns, 2, 0))
    expected: FloatArray = columns_first @ evidence.between[track.spot]
    expected += shift_of(evidence.unknowns, shared, track)[:, None]
    return expected


def weigh_track(
    evidence: Evidence, shared: Shared, track: Track, told: Sequence[FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weigh what one instrument read.

    Returns
    -------
    log_likelihood : ndarray, shape (draws, nodes)
        Of its readings.
    mean, spread : ndarray, shape (draws, nodes)
        Of its lasting shift, given them [1].
    """
    gap = track.value[:, None, None] - expected_of(evidence, shared, track, told)
    missed = evidence.emulators[evidence.green.group_of(track.spot)].missed[track.span, track.at]
    variance = track.error**2 + np.mean(missed**2)
    ones = np.ones((track.at.size, shared.soil.size, 1))
    fresh = np.ones_like(ones)
    if track.buried and track.at.size > 1:
        hours = evidence.unknowns.values(shared, "error_hours")
        kept = np.exp(-np.diff(track.hours)[:, None] / hours)[:, :, None]
        fresh[1:] = np.sqrt(1.0 - kept**2)
        gap[1:] = (gap[1:] - kept * gap[:-1]) / fresh[1:]
        ones[1:] = (1.0 - kept) / fresh[1:]
    log_likelihood, mean, spread = follow_shift(gap, ones, fresh, variance, track.own)
    return log_likelihood - np.sum(np.log(fresh), axis=0), mean, spread


def follow_shift(
    gap: FloatArray, ones: FloatArray, fresh: FloatArray, variance: FloatArray, own: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Follow a lasting shift from reading to reading, each of which may be a blunder.

    After each reading the shift is taken to be normal with the mean and spread it then has, which
    is exact without blunders (assumed-density filtering; Minka 2001, from memory).

    Parameters
    ----------
    gap : ndarray, shape (readings, ...)
        Readings less what was expected, in which errors do not depend on one another.
    ones, fresh : ndarray, shape (readings, ...)
        How much of the shift each holds; what it was divided by.
    variance : ndarray, shape (readings,)
        Of a gap, were there no shift.
    own : float
        Standard deviation of the shift before.

    Returns
    -------
    log_likelihood, mean, spread : ndarray, shape (...)
        Of all gaps; and the shift after them.
    """
    mean = np.zeros(gap.shape[1:])
    left = np.full(gap.shape[1:], own**2)
    density, log_density = np.ones(gap.shape[1:]), np.zeros(gap.shape[1:])
    for k, (off, one, scale) in enumerate(zip(gap, ones, fresh, strict=True)):
        whole = one**2 * left + variance[k]
        surprise = off - one * mean
        usual = (1.0 - BLUNDERS) / np.sqrt(2.0 * np.pi) / np.sqrt(whole)
        usual *= np.exp(-0.5 * surprise**2 / whole)
        either = usual + BLUNDERS / ANYTHING * scale
        trust = usual / either
        gain = left * one / whole
        moved = gain * surprise
        mean += trust * moved
        left += trust * ((1.0 - trust) * moved**2 - gain * one * left)
        density *= either
        if k % 30 == 29:
            log_density += np.log(density)
            density[:] = 1.0
    return log_density + np.log(density), mean, np.sqrt(left)


def by_node(evidence: Evidence, shared: Shared, told: Sequence[FloatArray]) -> FloatArray:
    """Logarithm of prior times likelihood of every depth of every spot.

    Shape (spots, draws, nodes).
    """
    scatter = evidence.unknowns.values(shared, "scatter")
    at_least = [spot.depth_at_least for spot in evidence.green.spots]
    before = {one: log_depth_density(one, scatter, evidence.probe_error) for one in set(at_least)}
    logs = np.array([before[one] for one in at_least])
    for track in evidence.tracks:
        if track.at.size:
            logs[track.spot] += weigh_track(evidence, shared, track, told)[0]
    return logs


def log_evidence(evidence: Evidence, shared: Shared) -> FloatArray:
    """Logarithm of how well each draw explains all readings, shape (draws,)."""
    found = []
    for part in _parts(evidence, shared):
        logs = by_node(evidence, part, told_by(evidence, part))
        top = logs.max(axis=2, keepdims=True)
        summed = np.log(np.sum(np.exp(logs - top), axis=2)) + top[:, :, 0]
        found.append(summed.sum(axis=0))
    return np.concatenate(found)


def _parts(evidence: Evidence, shared: Shared) -> Iterator[Shared]:
    """Cut draws into so few that what is worked out of them stays close to the processor."""
    longest = max((track.at.size for track in evidence.tracks), default=1)
    step = max(1, _CHUNK // (NODES * max(longest, len(evidence.green.spots))))
    for begin in range(0, shared.soil.size, step):
        yield shared.take(slice(begin, begin + step))


@dataclass(frozen=True, eq=False)
class Own:
    """What is each spot's own in some draws.

    Attributes
    ----------
    depth : ndarray, shape (draws, spots)
        Depth it behaves as if it had [cm].
    shift : ndarray, shape (draws, tracks)
        Lasting shift of each instrument [1].
    node : ndarray of int, shape (draws, spots)
        Number of the node next to the depth.
    """

    depth: FloatArray
    shift: FloatArray
    node: NDArray[np.int64]

    def take(self, index: NDArray[np.int64]) -> Own:
        """Pick draws by their numbers."""
        return Own(self.depth[index], self.shift[index], self.node[index])


def draw_own(evidence: Evidence, shared: Shared, rng: np.random.Generator) -> Own:
    """Draw what is each spot's own, given the draws and the readings."""
    drawn = [_draw_own(evidence, part, rng) for part in _parts(evidence, shared)]
    depth, shift, node = (np.concatenate(each) for each in zip(*drawn, strict=True))
    return Own(depth, shift, node)


def _draw_own(
    evidence: Evidence, shared: Shared, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """Draw depths, shifts and nodes of so few draws, as `Own` holds them."""
    count = shared.soil.size
    told = told_by(evidence, shared)
    logs = by_node(evidence, shared, told)
    heap = np.cumsum(np.exp(logs - logs.max(axis=2, keepdims=True)), axis=2)
    at = rng.random((*logs.shape[:2], 1)) * heap[:, :, -1:]
    node = np.minimum(np.sum(heap < at, axis=2), NODES - 1)
    depth = np.empty((count, len(evidence.green.spots)))
    for j, spot in enumerate(evidence.green.spots):
        nodes = depth_nodes(spot)
        jitter = (rng.random(count) - 0.5) * (nodes[1] - nodes[0])
        depth[:, j] = np.maximum(nodes[node[j]] + jitter, nodes[0])
    shift = np.empty((count, len(evidence.tracks)))
    draws = np.arange(count)
    for k, track in enumerate(evidence.tracks):
        if track.at.size:
            _, mean, spread = weigh_track(evidence, shared, track, told)
            of_track = (draws, node[track.spot])
            shift[:, k] = mean[of_track] + spread[of_track] * rng.standard_normal(count)
        else:
            shift[:, k] = track.own * rng.standard_normal(count)
    return depth, shift, node.T
