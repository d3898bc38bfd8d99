"""What is not known of sand, base, depth and weather, drawn together."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.profile import Profile
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.soils import Hysteretic, Soil
from soilwater.survey.too_short import beyond_reach
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray


class Draw(NamedTuple):
    """One equally likely combination.

    Sand, weather, base suction [cm], error of the probe [cm], and how far beyond its reach a root
    zone goes on where it was too short [cm].
    """

    soil: Soil
    weather: Weather
    base: float
    probe: float
    beyond: float

    def profile(self, depth: float) -> Profile:
        """Root zone of a depth [cm] over gravel in this draw."""
        return _over_gravel(self.soil, depth, self.base)


@lru_cache(maxsize=4096)
def _over_gravel(soil: Soil, depth: float, base: float) -> Profile:
    """Root zone over gravel, made once for all that is tried on it."""
    return Profile.over_gravel(soil, depth, base_suction=base)


def make_draws(
    sand: Sand,
    members: Sequence[Weather],
    base: BaseSuction,
    probe_error: float,
    count: int,
    seed: int,
) -> list[Draw]:
    """Pair sands, weather members and base suctions, each spread evenly over the draws.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand.
    members : sequence of Weather
        Equally likely weather.
    base : BaseSuction
        Band of the suction left at the base [cm].
    probe_error : float
        Standard error of a probed depth [cm].
    count : int
        How many draws.
    seed : int
        Of the draws.
    """
    _, soils = best_and_likely(sand, count)
    rng = np.random.default_rng(seed)
    return paired(soils, members, base.spread(count), probe_error, rng)


def paired(
    soils: Sequence[Soil],
    members: Sequence[Weather],
    bases: FloatArray,
    probe_error: float,
    rng: np.random.Generator,
) -> list[Draw]:
    """Pair sands and weather, gone through evenly, with bases and errors of probes.

    Parameters
    ----------
    soils : sequence of Soil
        The sands.
    members : sequence of Weather
        Equally likely weather.
    bases : ndarray, shape (draws,)
        Suction left at the base [cm].
    probe_error : float
        Standard error of a probed depth [cm].
    rng : numpy.random.Generator
        Source of the pairs.
    """
    order = np.arange(bases.size)
    which_soil = rng.permutation(in_turn(bases.size, len(soils)))
    which_member = rng.permutation(in_turn(bases.size, len(members)))
    shuffled = rng.permutation(bases)
    probes = probe_error * rng.standard_normal(bases.size)
    # Of its own, so that all else is drawn as if every probe had met the gravel.
    beyond = beyond_reach(rng.spawn(1)[0].permutation((order + 0.5) / bases.size))
    return [
        Draw(soils[s], members[m], *numbers)
        for s, m, *numbers in zip(
            which_soil, which_member, *(each.tolist() for each in (shuffled, probes, beyond)),
            strict=True,
        )
    ]  # fmt: skip


def in_turn(count: int, kinds: int) -> NDArray[np.int64]:
    """Tell which kind each of so many draws is of: each as often, to one.

    Lists may be sorted: the draws that are over are of kinds from all along.

    Parameters
    ----------
    count : int
        How many draws.
    kinds : int
        How many there are.
    """
    order = np.arange(count)
    over = count % kinds
    whole = order < count - over
    return np.where(whole, order % kinds, (order - count + over) * kinds // max(over, 1))


def drying(soil: Soil) -> Soil:
    """Return the soil as it drains, without what it remembers."""
    return soil.soil if isinstance(soil, Hysteretic) else soil
