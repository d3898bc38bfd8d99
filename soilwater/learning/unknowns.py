"""What nobody knows of a green before it is read, and how much it may be.

Everything that all spots share is drawn from standard normal numbers, one a quantity, so that one
way of drawing, weighing and refining serves all of them. The sand is drawn from its equally likely
soils.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base_suction import BaseSuction
from soilwater.soils import Hysteretic, Soil
from soilwater.soils.at_rest import RestCurves
from soilwater.soils.scaling import with_suction_scaled
from soilwater.words.arrays import FloatArray

WET_FACTOR, WET_SPREAD = 1.2, 0.25
"""How much more strongly suction acts in the field than on the lab's drying curve [1], log-normal:
between the drying curve (1) and the usual wetting one (2; from memory)."""
CROP_SPREAD = 0.2
"""Spread of the logarithm of a crop coefficient about the one that is given [1]: monthly tables of
turf differ by so much (from memory)."""
MAT_WATER, MAT_SPREAD = 0.15, 0.8
"""Water a mat holds beyond what sand would [cm], log-normal: 1.5 cm of mat 10 % by volume wetter
(common practice, no source)."""
SCATTER, SCATTER_SPREAD = 2.0, 0.5
"""Depth [cm] by which spots behave otherwise than probed, log-normal over greens (our own
choice)."""
ERROR_HOURS, ERROR_HOURS_SPREAD = 24.0, 1.0
"""Time [h] over which the error of a buried sensor is forgotten, log-normal (our own choice)."""

SHARED = ("wet_factor", "base_suction", "crop_coefficient", "mat_water", "meter_offset")
"""Quantities all spots share, beside the sand."""
_BEHIND = ("scatter", "error_hours")
LATENT = (*SHARED, *_BEHIND)
"""Names of the standard normal numbers of a draw, in their order."""

_AT = np.array([5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0, 60.0, 80.0, 120.0])
_MOST_SCORES = 4
_LEAST_SHARE = 1e-3


class Shared(NamedTuple):
    """Draws of what all spots share: number of the soil, and standard normal numbers by `LATENT`.

    `soil` has shape (draws,), `latent` (draws, len(LATENT)).
    """

    soil: NDArray[np.int64]
    latent: FloatArray

    def take(self, index: Any) -> Shared:
        """Pick draws by an index."""
        return Shared(self.soil[index], self.latent[index])


@dataclass(frozen=True, eq=False)
class Unknowns:
    """What is not known, before any reading.

    Attributes
    ----------
    soils : tuple of Soil
        Equally likely sands, as the lab left them open.
    base : BaseSuction
        Suction left at the base [cm].
    offset : float
        Standard deviation of the offset of a meter [1].
    scores : ndarray, shape (soils, scores)
        What tells their curves apart, in standard deviations.
    """

    soils: tuple[Soil, ...]
    base: BaseSuction
    offset: float
    scores: FloatArray

    @classmethod
    def of(cls, soils: Sequence[Soil], base: BaseSuction, offset: float) -> Unknowns:
        """Make the unknowns of equally likely soils, a band of the base and an error of meters."""
        return cls(tuple(soils), base, offset, curve_scores(soils))

    @property
    def remembers(self) -> bool:
        """Whether the sand has a memory of wetting, so that no factor stands in for one."""
        return all(isinstance(soil, Hysteretic) for soil in self.soils)

    def draw(self, count: int, rng: np.random.Generator) -> Shared:
        """Draw from all that is possible, evenly over the soils."""
        soil = rng.permutation(np.arange(count) % len(self.soils))
        return Shared(soil, rng.standard_normal((count, len(LATENT))))

    def values(self, shared: Shared, name: str) -> FloatArray:
        """Values of one quantity in each draw, in its own unit."""
        z = shared.latent[:, LATENT.index(name)]
        if name == "wet_factor":
            factor = np.ones(z.size) if self.remembers else WET_FACTOR * np.exp(WET_SPREAD * z)
            return np.asarray(factor)
        if name == "base_suction":
            from scipy.special import ndtr

            ends = [self.base.low, self.base.best, self.base.high]
            return np.interp(ndtr(z), [0.0, 0.5, 1.0], ends)
        if name == "meter_offset":
            return np.asarray(self.offset * z)
        middle, spread = {
            "crop_coefficient": (1.0, CROP_SPREAD),
            "mat_water": (MAT_WATER, MAT_SPREAD),
            "scatter": (SCATTER, SCATTER_SPREAD),
            "error_hours": (ERROR_HOURS, ERROR_HOURS_SPREAD),
        }[name]
        return np.asarray(middle * np.exp(spread * z))

    def soil_of(self, shared: Shared, i: int, wet_factor: float) -> Soil:
        """Sand of one draw as it is in the field."""
        soil = self.soils[int(shared.soil[i])]
        return soil if self.remembers else with_suction_scaled(soil, wet_factor)

    def at_rest(
        self, shared: Shared, depth: float | FloatArray, top: float, bottom: float
    ) -> FloatArray:
        """Mean water content [1] between two depths of a column at rest [cm], in each draw."""
        wet = self.values(shared, "wet_factor")
        surface = depth + self.values(shared, "base_suction")
        return self._curves.reading(shared.soil, wet * (surface - top), wet * (bottom - top))

    def dried(self, shared: Shared, depth: FloatArray, lost: FloatArray, rod: float) -> FloatArray:
        """Read a `rod` [cm] in columns at rest that lost water [mm] and rest again [1]."""
        surface = depth + self.values(shared, "base_suction")
        wet = self.values(shared, "wet_factor")
        return self._curves.dried(shared.soil, surface, depth, lost, rod, wet)

    @cached_property
    def _curves(self) -> RestCurves:
        return RestCurves(self.soils)

    def coordinates(self, shared: Shared) -> FloatArray:
        """Give what decides the water of a column of some depth, shape (draws, coordinates)."""
        base = self.values(shared, "base_suction")
        width = max(self.base.high - self.base.low, 1e-6) / np.sqrt(12.0)
        columns = [
            self.scores[shared.soil],
            ((base - self.base.best) / width)[:, None],
            shared.latent[:, [LATENT.index("crop_coefficient")]],
        ]
        if not self.remembers:
            columns.append(shared.latent[:, [LATENT.index("wet_factor")]])
        return np.hstack(columns)


def curve_scores(soils: Sequence[Soil]) -> FloatArray:
    """Tell soils apart by a few numbers, whatever their models: principal components of curves.

    Parameters
    ----------
    soils : sequence of Soil
        Of any models.

    Returns
    -------
    ndarray, shape (soils, scores)
        Scores in standard deviations; none for a single soil.
    """
    rows = []
    for soil in soils:
        water = np.asarray(soil.water_content(_AT)) / 0.01
        flows = np.log(np.maximum(np.asarray(soil.conductivity(_AT)), 1e-12)) / 0.7
        memory = [0.0, 0.0]
        if isinstance(soil, Hysteretic):
            memory = [np.log(soil.suction_ratio) / 0.05, soil.rewetted_saturation / 0.01]
        rows.append([*water, *(flows * (water > 3.0)), *memory])
    curves = np.array(rows)
    curves -= curves.mean(axis=0)
    left, size, _ = np.linalg.svd(curves, full_matrices=False)
    kept = np.flatnonzero(size**2 > _LEAST_SHARE * max(float(np.sum(size**2)), 1e-9))
    return np.asarray(left[:, kept[:_MOST_SCORES]] * np.sqrt(len(rows)))
