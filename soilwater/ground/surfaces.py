"""A surface through scattered points, and how well it is known between them.

A Gaussian process (kriging): a level plane or a mean, both unknown, and on it a smooth variation
whose size and reach the points themselves tell. scikit-learn does the work.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np

from soilwater.words.arrays import FloatArray
from soilwater.words.errors import InputError

MOST_POINTS = 250
"""More points than this are averaged over squares: the work grows with the cube of their number."""
FEWEST_POINTS = 5
"""Fewer points tell no size and no reach of a variation (our own choice)."""
MOST_DRAWN = 4000
"""Most places a surface is drawn at: they need a matrix of all pairs."""
_VAGUE = 100.0
"""Variance of the unknown plane over that of the values [1]: as good as endless."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A surface through points.

    Attributes
    ----------
    left_out_gap : ndarray, shape (n_points,)
        Each value less what all other points say of it [cm].
    left_out_error : ndarray, shape (n_points,)
        Standard error of that [cm].
    """

    left_out_gap: FloatArray
    left_out_error: FloatArray
    _process: Any
    _scaling: tuple[FloatArray, float, float]
    _measured: float
    _widened: float

    def at(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value and its standard error [cm] at places, shape (n, 2) [m]."""
        middle, reach, mean = self._scaling
        value, error = self._process.predict((places - middle) / reach, return_std=True)
        # What points scatter by beyond their own error is ground that nobody probed.
        variance = np.maximum(error**2 - self._measured**2, 0.0)
        return mean + value, self._widened * np.sqrt(variance)

    def draw(self, places: FloatArray, draws: int, rng: np.random.Generator) -> FloatArray:
        """Equally likely surfaces, shape (draws, n), at places, shape (n, 2) [m]."""
        if len(places) > MOST_DRAWN:
            raise InputError(
                f"samples: {len(places):,} cells; allowed: {MOST_DRAWN:,}; take a larger spacing."
            )
        middle, reach, mean = self._scaling
        value, covariance = self._process.predict((places - middle) / reach, return_cov=True)
        covariance[np.diag_indices_from(covariance)] -= (1.0 - 1e-6) * self._measured**2
        drawn = rng.standard_normal((draws, len(value))) @ np.linalg.cholesky(covariance).T
        found: FloatArray = mean + value + self._widened * drawn
        return found


def through_points(
    places: FloatArray, values: FloatArray, error: float, *, sloping: bool
) -> Surface:
    """Find the surface through points.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        East and north [m].
    values : ndarray, shape (n,)
        Level or depth [cm].
    error : float
        Standard error of one measurement [cm]; points may be found to scatter more.
    sloping : bool
        Whether an unknown plane is taken out before, or an unknown mean only.

    Returns
    -------
    Surface

    Raises
    ------
    InputError
        If scikit-learn is not installed.
    """
    from scipy.linalg import cho_solve

    try:
        from sklearn.exceptions import ConvergenceWarning  # type: ignore[import-untyped]
        from sklearn.gaussian_process import (  # type: ignore[import-untyped]
            GaussianProcessRegressor,
        )
        from sklearn.gaussian_process.kernels import (  # type: ignore[import-untyped]
            ConstantKernel,
            DotProduct,
            Matern,
            WhiteKernel,
        )
    except ImportError:
        raise InputError(
            "a surface through survey points needs scikit-learn; install soilwater[survey]."
        ) from None
    middle = places.mean(axis=0)
    reach = float(np.ptp(places, axis=0).max()) or 1.0
    mean = float(values.mean())
    spread = max(float(values.std()) ** 2, error**2)
    scaled = (places - middle) / reach
    apart = np.linalg.norm(scaled[:, None] - scaled[None], axis=-1)
    np.fill_diagonal(apart, np.inf)
    nearest = float(np.median(apart.min(axis=1)))
    unknown = ConstantKernel(_VAGUE * spread, "fixed")
    if sloping:
        unknown = unknown * DotProduct(1.0, "fixed")
    kernel = (
        unknown
        + ConstantKernel(spread, (0.01 * spread, _VAGUE * spread))
        * Matern(min(3.0 * nearest, 1.0), (0.5 * nearest, 2.0), nu=1.5)
        + WhiteKernel(2.0 * error**2, (error**2, 4.0 * spread + error**2))
    )
    process = GaussianProcessRegressor(kernel, alpha=1e-9 * spread)
    with warnings.catch_warnings():
        # A size or a reach at the end of its range is an answer: little variation, or much scatter.
        warnings.simplefilter("ignore", ConvergenceWarning)
        process.fit(scaled, values - mean)
    inverse = cho_solve((process.L_, True), np.eye(len(values)))
    own = np.diag(inverse)
    gap, gap_error = process.alpha_ / own, np.sqrt(1.0 / own)
    widened = max(1.0, float(np.sqrt(np.mean((gap / gap_error) ** 2))))
    return Surface(gap, gap_error, process, (middle, reach, mean), error, widened)


def thinned(places: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Average points over squares until they are few enough.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        East and north [m].
    values : ndarray, shape (n,)
        One a point.

    Returns
    -------
    places, values : ndarray
        Means of the points in each square.
    """
    side = float(np.sqrt(np.prod(np.ptp(places, axis=0)) / MOST_POINTS)) if len(places) else 0.0
    square = np.arange(len(places))
    while len(np.unique(square)) > MOST_POINTS:
        _, square = np.unique(np.floor(places / side), axis=0, return_inverse=True)
        square = square.ravel()
        side *= 1.1
    count = np.bincount(square)
    means = [np.bincount(square, each) / count for each in (*places.T, values)]
    return np.stack(means[:2], axis=-1), means[2]
