"""What decides a reading at one spot, and how possibilities of it are drawn.

A drained, level column of one sand has a suction at the surface equal to its depth plus the
suction left at its base, so the reading of a rod is one monotone function of that suction. Causes
(`soilwater.decisions.spots.causes`) move that suction, scale it, or add to the reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from soilwater.soils.at_rest import RestCurves
from soilwater.survey.survey import Spot
from soilwater.survey.together import error_of_one, with_rod
from soilwater.survey.too_short import BEYOND_REACH
from soilwater.words.arrays import FloatArray

UPTAKE_DEPTH = 12.0
"""Depth [cm] over which turf takes its water out (common practice, no source)."""
MOST_WATER = 0.65
"""Most a mat over sand can read [1] (common practice, no source)."""
SLOPE_ERROR, CATCH_ERROR, MAT_ERROR = 0.05, 0.05, 0.1
"""Errors of a measured slope, catch and mat, over what was measured [1] (no source)."""


class State(NamedTuple):
    """Everything that decides a reading, one entry a possibility; arrays of one shape.

    `draw` number of the draw of what spots share; `soil` number of the sand; `base` suction left at
    the base [cm]; `depth` [cm]; `extra` suction at the surface beyond depth and base [cm]; `scale`
    how strongly suction acts [1]; `mat_water` what the usual mat adds [cm]; `mat` thickness [cm],
    `mat_excess` what it holds more than sand [1]; `missing` water [mm]; `left` share of its drained
    water that the sand still holds [1]; `offset` of all readings, `spot_offset` of those here,
    `missed` what a level column misses of those [1]; `slope` [1]; `catch` water caught over that of
    the green [1].
    """

    draw: NDArray[np.int64]
    soil: NDArray[np.int64]
    base: FloatArray
    depth: FloatArray
    extra: FloatArray
    scale: FloatArray
    mat_water: FloatArray
    mat: FloatArray
    mat_excess: FloatArray
    missing: FloatArray
    left: FloatArray
    offset: FloatArray
    spot_offset: FloatArray
    missed: FloatArray
    slope: FloatArray
    catch: FloatArray

    def take(self, index: Any) -> State:
        """Pick entries by an index."""
        return State(*(values[index] for values in self))


def stacked(states: Iterable[State]) -> State:
    """Several states of one shape as one, along a new first axis."""
    return State(*(np.stack(values) for values in zip(*states, strict=True)))


def predict(table: RestCurves, state: State, rod: float) -> FloatArray:
    """Give the reading [1] of a rod [cm] in each state, from a table of the sands at rest."""
    suction = state.scale * (state.base + state.depth + state.extra)
    sand = table.reading(state.soil, suction, state.scale * rod)
    dried = state.missing / (10.0 * max(rod, UPTAKE_DEPTH))
    # The drier the sand, the less of the missing water it could have lost.
    sand = sand * np.exp(-dried / np.maximum(sand, 1e-3)) * state.left
    with_mat = sand + (state.mat_water + state.mat_excess * np.minimum(state.mat, rod)) / rod
    offset = state.offset + state.spot_offset + state.missed
    reading: FloatArray = np.clip(np.minimum(with_mat, MOST_WATER) + offset, 0.0, 1.0)
    return reading


def side_by_side(spot: Spot) -> tuple[float, int]:
    """Tell how far readings side by side stray: those of one rod, taken on one day.

    Readings with an error of their own, such as some run on from other days, tell nothing of it.

    Parameters
    ----------
    spot : Spot
        With its readings.

    Returns
    -------
    float, int
        Sum of their squared distances from their mean [1], and how many are independent: of four
        readings three.
    """
    visits: dict[Any, list[float]] = {}
    for each in spot.usable_readings:
        if each.added_error > 0.0:
            continue
        day = None if each.time is None else each.time.astype("datetime64[D]")
        visits.setdefault((each.rod, day), []).append(each.value)
    squares = sum(len(values) * float(np.var(values)) for values in visits.values())
    return squares, sum(len(values) - 1 for values in visits.values())


def reading_error(spot: Spot, rod: float, meter: float) -> float:
    """Tell the standard error of a reading at a spot [1], with what readings bring of their own.

    Parameters
    ----------
    spot : Spot
        With its readings.
    rod : float
        Length of the rods [cm].
    meter : float
        Standard error of one reading of the meter [1].
    """
    return error_of_one(with_rod(spot, rod), meter)


class Common(NamedTuple):
    """What all spots of a green share, one entry a draw, or one for all.

    `soil` number of the sand, `base` suction [cm], `offset` of all readings [1]; and of a green
    that was learnt its `draw`, `scale` how strongly suction acts [1], `mat_water` what the usual
    mat adds [cm] and `scatter` by how much spots behave otherwise than probed [cm].
    """

    soil: NDArray[np.int64]
    base: FloatArray
    offset: FloatArray
    draw: NDArray[np.int64] = np.zeros(1, np.int64)
    scale: FloatArray = np.ones(1)
    mat_water: FloatArray = np.zeros(1)
    scatter: FloatArray = np.zeros(1)


class Prior(NamedTuple):
    """What a diagnosis reckons with beforehand.

    Errors: probe [cm], usual depth and its spread [cm]; usual catch; and by spot the ends of what
    it behaves deeper by than it is [cm], where a run of the ground told it. Of the sands that are
    looked up, those beyond the first `drained` have drained after gentle water on dry sand:
    `rewetted` of them, the sands in turn. `probed` are depths found there when probed again [cm].
    """

    probe_error: float
    usual_depth: float
    usual_spread: float
    mean_catch: float
    extra_depth: Mapping[str, tuple[float, float]] | None = None
    drained: int = 1
    rewetted: int = 0
    probed: tuple[float, ...] = ()

    def extra(self, spot: Spot) -> tuple[float, float] | None:
        """Extra depth of a spot and its standard error [cm]; None where no run told it."""
        if self.extra_depth is None or spot.name not in self.extra_depth:
            return None
        low, high = self.extra_depth[spot.name]
        return 0.5 * (low + high), max(EXTRA_ERROR, (high - low) / FOUR_IN_FIVE)

    def catch(self, spot: Spot) -> float | None:
        """Water caught at a spot over that of the green [1]; None where it cannot be told."""
        if spot.catch_depth is None or not np.isfinite(self.mean_catch):
            return None
        return spot.catch_depth / self.mean_catch


class Spread(Protocol):
    """How a measured thing is spread over spots."""

    def draw(self, share: FloatArray) -> FloatArray:
        """Values below which these shares of the spots lie."""

    def log_density(self, value: FloatArray) -> FloatArray:
        """Logarithm of the density at a value."""


class Normal(NamedTuple):
    """A normal spread, by mean and standard deviation."""

    mean: float
    spread: float

    def draw(self, share: FloatArray) -> FloatArray:
        """Values below which these shares of the spots lie."""
        values: FloatArray = self.mean + self.spread * normal_quantile(share)
        return values

    def log_density(self, value: FloatArray) -> FloatArray:
        """Logarithm of the density at a value."""
        z = (value - self.mean) / self.spread
        return np.asarray(-0.5 * z**2 - np.log(self.spread * np.sqrt(2.0 * np.pi)))


class Lognormal(NamedTuple):
    """A lognormal spread, by its median and the spread of the logarithm."""

    median: float
    spread: float

    def draw(self, share: FloatArray) -> FloatArray:
        """Values below which these shares of the spots lie."""
        values: FloatArray = self.median * np.exp(self.spread * normal_quantile(share))
        return values

    def log_density(self, value: FloatArray) -> FloatArray:
        """Logarithm of the density at a value."""
        z = np.log(value / self.median) / self.spread
        return np.asarray(-0.5 * z**2 - np.log(self.spread * value * np.sqrt(2.0 * np.pi)))


class Even(NamedTuple):
    """Evenly between two ends; what is measured blurs these by an error."""

    low: float
    high: float
    error: float

    def draw(self, share: FloatArray) -> FloatArray:
        """Values below which these shares of the spots lie."""
        return between((self.low, self.high), share)

    def log_density(self, value: FloatArray) -> FloatArray:
        """Logarithm of the density at a value."""
        from scipy.special import ndtr

        inside = ndtr((value - self.low) / self.error) - ndtr((value - self.high) / self.error)
        return np.asarray(np.log(np.maximum(inside / (self.high - self.low), 1e-12)))


SLIP = 0.02
"""Share of what is measured that is wrong [1]: a figure miswritten, a stone under the probe, a rod
half in, another spot (our own choice). No one measurement can rule a cause out for good."""
WRONG_READING, WRONG_DEPTH = 0.10, 6.0
"""Standard errors of a reading [1] and a depth [cm] that are wrong (our own choice)."""
LEAST_PROBE_ERROR = 0.3
"""Least standard error of a depth probed again [cm], where it was said to have none (our own
choice)."""
EXTRA_ERROR = 1.0
"""Least standard error of an extra depth that a run told [cm] (our own choice)."""
FOUR_IN_FIVE = 2.56
"""Width of a band that holds four in five, in standard errors [1]."""
USUAL_SLOPE, USUAL_MAT = Lognormal(0.015, 0.7), Lognormal(0.8, 0.6)
"""Slopes [1] and thickness of the mat [cm] where neither is the cause (no source)."""
USUAL_CATCH = Normal(1.0, 0.12)
"""Catch over that of the green [1] where sprinkling is even (no source)."""


def may_be_wrong(log_density: FloatArray, wrong: FloatArray) -> FloatArray:
    """Mix a `log_density` of a measurement with that of one that is `wrong`, as slips happen."""
    either: FloatArray = np.logaddexp(np.log1p(-SLIP) + log_density, np.log(SLIP) + wrong)
    return either


class Draw(NamedTuple):
    """Random numbers for one spot under one cause, and the level spot they stand for.

    `strata` and `second` are shares between 0 and 1 of shape (draws, nodes): the first are
    stratified along nodes, so that few are enough, and are for the size of the cause.
    """

    spot: Spot
    prior: Prior
    level: State
    strata: FloatArray
    second: FloatArray
    rng: np.random.Generator

    def slope(self, spread: Spread) -> FloatArray:
        """Slope [1] around what was measured, or after a spread where nothing was."""
        return self._around(self.spot.slope, SLOPE_ERROR, spread)

    def catch(self, spread: Spread) -> FloatArray:
        """Catch over that of the green [1], likewise after a spread."""
        return self._around(self.prior.catch(self.spot), CATCH_ERROR, spread)

    def mat(self, spread: Spread) -> FloatArray:
        """Thickness of the mat [cm], likewise after a spread."""
        return self._around(self.spot.mat_thickness, MAT_ERROR, spread)

    def _around(self, measured: float | None, error: float, spread: Spread) -> FloatArray:
        if measured is None:
            return spread.draw(self.second)
        scattered = measured * (1.0 + error * self.rng.standard_normal(self.second.shape))
        return np.maximum(scattered, 0.0)


def draw_level(
    spot: Spot, common: Common, prior: Prior, nodes: int, rng: np.random.Generator
) -> Draw:
    """Draw what a spot would be were it level, drained and without any fault.

    Parameters
    ----------
    spot : Spot
        What was measured there.
    common : Common
        What the spots share, one entry a draw.
    prior : Prior
        Errors and usual values.
    nodes : int
        Sizes of the cause in each draw.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    Draw
        Arrays of shape (draws, nodes).
    """
    shape = (common.base.size, nodes)
    strata = (np.arange(nodes) + rng.random(shape)) / nodes
    second = rng.random(shape)
    zero = np.zeros(shape)
    told = prior.extra(spot)
    extra = zero if told is None else told[0] + told[1] * rng.standard_normal(shape)
    wide = {name: np.broadcast_to(getattr(common, name)[:, None], shape) for name in Common._fields}
    level = State(
        draw=wide["draw"],
        soil=wide["soil"],
        base=wide["base"],
        depth=_depths(spot, prior, wide["scatter"], rng),
        extra=extra,
        scale=wide["scale"],
        mat_water=wide["mat_water"],
        mat=zero,
        mat_excess=zero,
        missing=zero,
        left=np.ones(shape),
        offset=wide["offset"],
        spot_offset=zero,
        missed=zero,
        slope=zero,
        catch=zero,
    )
    draw = Draw(spot, prior, level, strata, second, rng)
    slope, catch, mat = draw.slope(USUAL_SLOPE), draw.catch(USUAL_CATCH), draw.mat(USUAL_MAT)
    return draw._replace(level=level._replace(slope=slope, catch=catch, mat=mat))


def level_spot(typical: Common, depth: float) -> State:
    """State, of one entry, of a spot that is typical of its green and has this depth [cm]."""
    zero, one = np.zeros(1), np.ones(1)
    return State(
        draw=typical.draw,
        soil=typical.soil,
        base=typical.base,
        depth=depth * one,
        extra=zero,
        scale=typical.scale,
        mat_water=typical.mat_water,
        mat=zero,
        mat_excess=zero,
        missing=zero,
        left=one,
        offset=typical.offset,
        spot_offset=zero,
        missed=zero,
        slope=zero,
        catch=one,
    )


def _depths(spot: Spot, prior: Prior, scatter: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Draw depths [cm]: as probed, and probed again, where each probing may be wrong."""
    shape = scatter.shape
    if not spot.has_depth:
        depth = prior.usual_depth + prior.usual_spread * rng.standard_normal(shape)
    elif spot.depth_at_least:
        depth = spot.depth + rng.exponential(BEYOND_REACH, shape)
    else:
        wrong = rng.random(shape) < (SLIP if prior.probe_error > 0.0 else 0.0)
        error = np.where(wrong, WRONG_DEPTH, np.hypot(prior.probe_error, scatter))
        depth = spot.depth + error * rng.standard_normal(shape)
    if prior.probed:
        weight, mean, spread = _probed(spot, prior)
        which = rng.choice(weight.size, size=shape, p=weight)
        again = mean[which] + np.hypot(spread[which], scatter) * rng.standard_normal(shape)
        # Where no probing met the gravel, it is as deep as before.
        depth = np.where((which == 0) & spot.depth_at_least, depth, again)
    return np.maximum(depth, 5.0)


def _probed(spot: Spot, prior: Prior) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weights, means and spreads [cm] of normal parts of a depth that was probed again.

    There is one for each choice of probings that may be wrong; first, that those made again are.
    """
    error = max(prior.probe_error, LEAST_PROBE_ERROR)
    if not spot.has_depth:
        parts = [(1.0, prior.usual_depth, prior.usual_spread)]
    elif spot.depth_at_least:
        # Nearly flat beside what a probe tells.
        parts = [(1.0, spot.depth + prior.usual_spread, 2.0 * prior.usual_spread)]
    else:
        parts = [(1.0 - SLIP, spot.depth, prior.probe_error), (SLIP, spot.depth, WRONG_DEPTH)]
    for value in prior.probed:
        parts = [
            _with_probe(part, value, chance, spread)
            for chance, spread in ((SLIP, WRONG_DEPTH), (1.0 - SLIP, error))
            for part in parts
        ]
    weights, means, spreads = np.array(parts).T
    return weights / weights.sum(), means, spreads


def _with_probe(
    part: tuple[float, float, float], value: float, chance: float, error: float
) -> tuple[float, float, float]:
    """Weight, mean and spread [cm] of a part after a probing that has an error, by a chance."""
    weight, mean, spread = part
    whole = spread**2 + error**2
    density = float(np.exp(-0.5 * (value - mean) ** 2 / whole) / np.sqrt(2.0 * np.pi * whole))
    middle = (mean * error**2 + value * spread**2) / whole
    return weight * chance * density, middle, spread * error / whole**0.5


def between(ends: tuple[float, float], share: FloatArray) -> FloatArray:
    """Values evenly between two ends, at a share of the way."""
    low, high = ends
    values: FloatArray = low + (high - low) * share
    return values


def log_between(ends: tuple[float, float], share: FloatArray) -> FloatArray:
    """Values evenly between two ends by their logarithms, at a share of the way."""
    low, high = ends
    values: FloatArray = low * (high / low) ** share
    return values


def normal_quantile(share: FloatArray) -> FloatArray:
    """Give the standard normal values below which these shares lie."""
    from scipy.special import ndtri

    return np.asarray(ndtri(np.clip(share, 1e-9, 1.0 - 1e-9)))
