"""What a diagnosis reckons with: what all spots of a green share, drawn beforehand, and more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from soilwater.decisions.spots.causes import DRIED_BY, REWETTING_RATES
from soilwater.decisions.spots.states import Common, Prior, between, log_between
from soilwater.ground.base_suction import BaseSuction
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.likely_memory import likely_memories
from soilwater.learning.drying import Drying
from soilwater.runs.wetted import AfterRain, Rewetted
from soilwater.soils.at_rest import Curve, RestCurves
from soilwater.soils.hysteretic import Hysteretic
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray

DRAWS = 512
"""Draws of what all spots share."""
SOILS = 100
"""Most sands of a fit's posterior sample that are used."""
MEMORIES = 64
"""Least number of sands rewetted gently while dry, for the wetting branch."""


class Green(NamedTuple):
    """A green before its spots are weighed.

    `table` of the sands at rest: equally likely ones, the best, and `rewetted` ones, which go
    through the first in turn; `common` one entry a draw.
    """

    table: RestCurves
    common: Common
    rewetted: int

    @property
    def drained(self) -> int:
        """Sands that were not rewetted."""
        return len(self.table.soils) - self.rewetted

    def typical(self, weight: FloatArray) -> Common:
        """Mean of what spots share over draws, by their weights, with the best sand.

        Parameters
        ----------
        weight : ndarray, shape (draws,)
            They add up to 1.
        """
        common = self.common
        return Common(
            soil=np.array([self.drained - 1]),
            **{
                name: np.array([weight @ np.broadcast_to(getattr(common, name), weight.shape)])
                for name in ("base", "offset", "scale", "mat_water")
            },
        )

    def sentence(self, weight: FloatArray, assumed: BaseSuction, offset_error: float) -> str:
        """Say what the green as a whole tells of meter and base, by the weights of its draws.

        Parameters
        ----------
        weight : ndarray, shape (draws,)
            They add up to 1.
        assumed : BaseSuction
            Suction left at the base, before reading.
        offset_error : float
            Standard deviation of the offset of the meter before reading [1].
        """
        mean = float(weight @ self.common.offset)
        error = float(np.sqrt(weight @ (self.common.offset - mean) ** 2))
        base = float(weight @ self.common.base)
        spread = float(np.sqrt(weight @ (self.common.base - base) ** 2))
        said = (
            f"The green as a whole: meter offset {100 * mean:+.1f} +- {100 * error:.1f} % by "
            f"volume, {base:.0f} +- {spread:.0f} cm of suction at the base"
        )
        before = (assumed.high - assumed.low) / np.sqrt(12.0)
        if error > 0.8 * offset_error and spread > 0.8 * before:
            return said + ": the survey says little about either."
        return said + ": the two, and the sand, can stand in for one another."


class Told(NamedTuple):
    """What is told of a spot: its mean reading, what its depth should give and its band [1].

    `own_depth` is the depth it behaves as if it had [cm]; NaN where nothing was learnt.
    """

    reading: float
    expected: float
    band: tuple[float, float]
    own_depth: float = float("nan")


class Basis(NamedTuple):
    """What a spot is weighed from, and weighed anew.

    `spot` with the readings that are weighed; `dried` how far it had dried at each, where that was
    learnt; `told` what is told of it, where that was learnt; `by_depth` low end, middle and high
    end of what its depth gives [1], as `expected_reading` tells it; `random` state of the random
    numbers.
    """

    spot: Spot
    dried: tuple[Drying, ...]
    told: Told | None
    by_depth: tuple[float, float, float] | None
    random: Mapping[str, Any]

    @property
    def rod(self) -> float:
        """Length of the rods [cm] of its first reading."""
        return self.spot.usable_readings[0].rod


class Reckoned(NamedTuple):
    """What a diagnosis reckons with.

    The `green`; `prior` errors and usual values; standard `errors` of a reading and of a level
    column [1]; expected `shares` of causes.
    """

    green: Green
    prior: Prior
    errors: tuple[float, float]
    shares: FloatArray


def before_reading(
    sand: Sand,
    base: BaseSuction,
    after: AfterRain | None,
    offset: float,
    seed: int,
    rng: np.random.Generator,
) -> Green:
    """Draw a green of which nothing was learnt.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand.
    base : BaseSuction
        Suction left at the base.
    after : AfterRain or None
        How it was wetted last; flooded if None.
    offset : float
        Standard deviation of the offset of the meter [1].
    seed : int
        Of the memories of the sand.
    rng : numpy.random.Generator
        Source of the draws.
    """
    best, soils = best_and_likely(sand, SOILS)
    count = len(soils)
    memories = likely_memories(sand, turns(count), seed=seed)
    drained: list[Curve] = [*soils, best]
    if after is not None:
        drained = [Rewetted(each, after) for each in memories]
        drained.append(Rewetted(likely_memories(best, 1)[0], after))
        count = len(memories)
        memories = likely_memories(sand, turns(count), seed=seed)
    common = Common(
        soil=rng.permutation(np.arange(DRAWS) % count),
        base=rng.permutation(base.spread(DRAWS)),
        offset=offset * rng.standard_normal(DRAWS),
    )
    return green_of(drained, memories, common, seed)


def turns(count: int) -> int:
    """Count of memories by which `count` sands are gone through in turn, `MEMORIES` or more."""
    return count * -(-MEMORIES // count)


def green_of(
    drained: Sequence[Curve], memories: Sequence[Hysteretic], common: Common, seed: int
) -> Green:
    """Make a green of its sands and of what its spots share.

    Parameters
    ----------
    drained : sequence of Curve
        Equally likely sands, the best last.
    memories : sequence of Hysteretic
        How they remember, going through the equally likely ones in turn.
    common : Common
        One entry a draw.
    seed : int
        Of how they were rewetted.
    """
    rewetted = _rewetted(memories, seed)
    return Green(RestCurves([*drained, *rewetted]), common, len(rewetted))


def _rewetted(memories: Sequence[Hysteretic], seed: int) -> list[Rewetted]:
    """Sands as they are after gentle water while dry."""
    rng = np.random.default_rng(seed)
    middles = (np.arange(len(memories)) + 0.5) / len(memories)
    rates = log_between(REWETTING_RATES, rng.permutation(middles))
    dried_by = between(DRIED_BY, rng.permutation(middles))
    return [
        Rewetted(each, AfterRain(rate, dried_by=dried))
        for each, rate, dried in zip(memories, rates.tolist(), dried_by.tolist(), strict=True)
    ]
