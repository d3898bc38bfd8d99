"""Equally likely curves of a sand at rest, so many that quantiles hardly depend on chance.

Of 400 sets a band meant to hold 80 % holds 76 to 84, by chance; of 6000, 79 to 81. No soils are
made of these: the curves of a family are worked out side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.lab.equally_likely import Sand
from soilwater.lab.fit_result import FamilySample, FitResult
from soilwater.lab.fitting import more_sets
from soilwater.lab.posterior import curves
from soilwater.soils import Soil
from soilwater.soils.at_rest import RestCurves
from soilwater.words.arrays import FloatArray

DRAWS = 6005
"""Joint draws of sand and base: quantiles of so many hold what they say within one in a hundred,
and a tenth of the way is the middle of one."""
_EVEN_TO = 150.0
"""Suction [cm] up to which they stand evenly; root zones that drain are no drier at the surface."""
_FINE, _COARSE, _FEW = 0.05, 0.25, 50
"""How far suctions stand apart [cm] for so few curves, and for more."""
_GROWTH = 1.02
"""Ratio of suctions beyond."""


class LikelyAtRest(NamedTuple):
    """Curves at rest, and the number of the curve of each of many equally likely draws."""

    curves: RestCurves
    curve: NDArray[np.int64]

    def readings(self, depths: FloatArray, rod: float, bases: FloatArray) -> FloatArray:
        """Give the readings [1] of the draws, drained, by draw and depth.

        Parameters
        ----------
        depths : ndarray, shape (depths,) or (draws, depths)
            Depths of the root zone [cm].
        rod : float
            Length of the rods [cm].
        bases : ndarray, shape (draws,)
            Suction left at the base in each draw [cm].
        """
        return self.curves.reading(self.curve[:, None], depths + bases[:, None], rod)


def likely_at_rest(sand: Sand, draws: int, furthest: float) -> LikelyAtRest:
    """Draw curves of a sand at rest.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        Of several, each is drawn as often as the next.
    draws : int
        How many.
    furthest : float
        Suction [cm] up to which they are needed.
    """
    several = tuple(sand) if isinstance(sand, Sequence) else (sand,)
    return _likely_at_rest(several, draws, max(furthest, _EVEN_TO))


@lru_cache(maxsize=2)
def _likely_at_rest(
    several: tuple[Soil | FitResult, ...], draws: int, furthest: float
) -> LikelyAtRest:
    """Kept, for the calls that ask about one sand follow each other."""
    turns = np.arange(draws) * len(several) // draws
    counts = np.bincount(turns, minlength=len(several))
    few = len(several) <= _FEW and not any(isinstance(each, FitResult) for each in several)
    suction, even = _suctions(furthest, _FINE if few else _COARSE)
    water, curve, first = [], [], 0
    for one, count in zip(several, counts.tolist(), strict=True):
        if count == 0:
            continue
        rows = _water(one, count, suction)
        water.append(rows)
        curve.append(first + np.arange(count) % len(rows))
        first += len(rows)
    table = RestCurves.from_water(suction, even, np.concatenate(water))
    return LikelyAtRest(table, np.concatenate(curve))


def _suctions(furthest: float, step: float) -> tuple[FloatArray, int]:
    """Suctions [cm] of the table, and how many of them stand evenly."""
    even = np.arange(0.0, min(furthest, _EVEN_TO) + 2.0 * step, step)
    more = max(int(np.ceil(np.log(furthest / even[-1]) / np.log(_GROWTH))), 0)
    return np.concatenate([even, even[-1] * _GROWTH ** np.arange(1, more + 1)]), even.size


def _water(sand: Soil | FitResult, count: int, suction: FloatArray) -> FloatArray:
    """Water content [1] of `count` curves of a sand, one alone of a soil, by suction [cm]."""
    if not isinstance(sand, FitResult):
        return np.asarray(sand.water_content(suction), dtype=np.float64)[np.newaxis]
    if count <= sand.parameter_sample.shape[0]:
        parts = tuple(_first(part, count) for part in sand.mixture)
    else:
        parts = more_sets(sand, count)
    return np.concatenate(
        [curves(each.model, each.names, each.values, suction) for each in parts if len(each.values)]
    )


def _first(part: FamilySample, count: int) -> FamilySample:
    """Take what a family has among the first sets of a mixed sample, its curves alone."""
    kept = part.place < count
    return FamilySample(part.model, part.names[:-2], part.values[kept, :-2], part.place[kept])
