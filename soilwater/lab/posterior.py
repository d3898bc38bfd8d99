"""What the points of one sheet leave open in one family of curves, as a sample with its evidence.

The posterior density of a family is written on the search axes of its parameters: misfits of the
points, whose errors are each point's own and one that all points of the sheet share, and distances
from what is expected of sands. It is searched, sampled, and its integral taken: the evidence, by
which one family is believed against another.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist
from typing import NamedTuple, Protocol

import numpy as np

from soilwater.lab.core import Core
from soilwater.lab.expectations import Parameter, from_axis, to_axis
from soilwater.soils.model import SoilModel
from soilwater.soils.side_by_side import with_columns
from soilwater.words.arrays import FloatArray

STARTS = 10
"""Number of starting points of the search."""

SCATTER = 0.7
"""Scatter of the points of a usual sheet as a share of the lab error it states [1]: labs are
credited with 1 % by volume, the measured sands of `soilwater.lab.expectations` scatter by 0.53 %
(median) about curves fitted to all their points, and this is the middle of the two."""

SCATTER_SPREAD = 0.4
"""Standard deviation of the logarithm of that scatter, between sheets (the same sands: 0.47, a
part of which is owed to their few points)."""

POINT = Core()
"""No height: the curve itself, at the suction of each point."""

_SCATTER_DRAWS = 7
"""Sizes of scatter, each as likely as the next, that stand for all."""

PLAIN_SHARE = 0.15
"""Share of the draws that are of the expectation itself [1]."""

MOST_STEPS = 200
"""Steps after which a start that has not arrived is left where it is."""


class Points(Protocol):
    """Measurements gathered by suction, ascending."""

    @property
    def suction(self) -> FloatArray:
        """Suction [cm]."""

    @property
    def water_content(self) -> FloatArray:
        """Mean water content [1]."""

    @property
    def standard_error(self) -> FloatArray:
        """Standard error of each mean [1]."""


class Search(NamedTuple):
    """Optimum of one family: where, its cost, and how many of the starts led to it."""

    axes: FloatArray
    cost: float
    agreeing: int


class Draws(NamedTuple):
    """Equally likely parameter sets on the search axes, and what they are worth.

    ``effective`` counts the independent draws they are worth; ``log_evidence`` is the logarithm of
    the integral of likelihood times expectation, up to a constant that families share.
    """

    axes: FloatArray
    effective: float
    log_evidence: float


class Problem:
    """Residuals of one fit on the search axes, for one parameter set or for many at once."""

    def __init__(
        self,
        model: type[SoilModel],
        free: Sequence[Parameter],
        points: Points,
        priors: bool,
        sheet_error: float,
        core: Core = POINT,
    ) -> None:
        self.model, self.free, self.points, self.priors = model, tuple(free), points, priors
        self.core = core
        self.names = tuple(each.name for each in free)
        self.lower = np.array([to_axis(each.lower, each.scale) for each in free])
        self.upper = np.array([to_axis(each.upper, each.scale) for each in free])
        self.centre = np.array([to_axis(each.centre, each.scale) for each in free])
        self.spread = np.array([each.spread for each in free])
        stated = np.diag(points.standard_error**2)
        # Multiplied with the misfits, it makes them independent of each other and of size one.
        self.whitening = _whitening(stated + sheet_error**2)
        normal = NormalDist()
        shares = (np.arange(_SCATTER_DRAWS) + 0.5) / _SCATTER_DRAWS
        scatter = [SCATTER * np.exp(SCATTER_SPREAD * normal.inv_cdf(share)) for share in shares]
        self.whitenings = [_whitening(size**2 * stated + sheet_error**2) for size in scatter]

    def values(self, axes: FloatArray) -> FloatArray:
        """Parameters in their own units; the last axis is the parameter."""
        return np.stack(
            [from_axis(axes[..., i], each.scale) for i, each in enumerate(self.free)], axis=-1
        )

    def curve(self, axes: FloatArray) -> FloatArray:
        """Water content of the core at the measured suctions, shape (sets, points)."""
        values = np.atleast_2d(self.values(axes))
        return self.core.mean(
            lambda suction: curves(self.model, self.names, values, suction), self.points.suction
        )

    def residuals(self, axes: FloatArray) -> FloatArray:
        """Misfits in standard errors, then distances from the expectations in spreads."""
        misfit = (self.curve(axes) - self.points.water_content) @ self.whitening.T
        if self.priors:
            misfit = np.hstack([misfit, (np.atleast_2d(axes) - self.centre) / self.spread])
        return misfit[0] if axes.ndim == 1 else misfit

    def jacobians(self, axes: FloatArray) -> FloatArray:
        """Central differences of the residuals, shape (sets, residuals, parameters)."""
        sets, dimension = axes.shape
        steps = np.diag(np.minimum(1e-5 * self.spread, 0.25 * (self.upper - self.lower)))
        moved = axes[:, np.newaxis, :] + np.vstack([steps, -steps])
        moved = np.clip(moved, self.lower, self.upper)
        there = self.residuals(moved.reshape(-1, dimension)).reshape(sets, 2, dimension, -1)
        ends = moved.reshape(sets, 2, dimension, dimension)
        change = np.einsum("sii->si", ends[:, 0] - ends[:, 1])
        slopes = (there[:, 0] - there[:, 1]) / change[:, :, np.newaxis]
        return np.asarray(slopes.transpose(0, 2, 1))

    def starts(self, rng: np.random.Generator) -> FloatArray:
        """Start at the expectation, and at further points, one in each slice of every axis."""
        slices = np.array([rng.permutation(STARTS - 1) for _ in self.free]).T
        share = (slices + 0.5) / (STARTS - 1)
        low = np.maximum(self.lower, self.centre - 2.0 * self.spread)
        high = np.minimum(self.upper, self.centre + 2.0 * self.spread)
        inside = 1e-3 * (self.upper - self.lower)
        points = np.vstack([self.centre, low + share * (high - low)])
        return np.asarray(np.clip(points, self.lower + inside, self.upper - inside))

    def log_density(self, axes: FloatArray) -> FloatArray:
        """Logarithm of the posterior density of many sets, up to a constant.

        Averaged over what the scatter of the points may be, so that points on a smooth curve are
        believed more than points that go up and down.
        """
        inside = np.all((axes >= self.lower) & (axes <= self.upper), axis=1)
        within = np.clip(axes, self.lower, self.upper)
        misfit = self.curve(within) - self.points.water_content
        likelihood = np.stack(
            [
                np.sum(np.log(np.diag(each))) - 0.5 * np.sum((misfit @ each.T) ** 2, axis=1)
                for each in self.whitenings
            ]
        )
        highest = likelihood.max(axis=0)
        density = highest + np.log(np.mean(np.exp(likelihood - highest), axis=0))
        if self.priors:
            density -= 0.5 * np.sum(((within - self.centre) / self.spread) ** 2, axis=1)
        return np.where(inside, density, -np.inf)

    def at_bound(self, axes: FloatArray) -> tuple[str, ...]:
        """Names of the parameters that sit on a bound, with the bound."""
        near = 1e-4 * (self.upper - self.lower)
        found = []
        for i, each in enumerate(self.free):
            if axes[i] <= self.lower[i] + near[i]:
                found.append(f"{each.name} at its lower bound {each.lower:g}")
            elif axes[i] >= self.upper[i] - near[i]:
                found.append(f"{each.name} at its upper bound {each.upper:g}")
        return tuple(found)


def _whitening(covariance: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def curves(
    model: type[SoilModel], names: Sequence[str], values: FloatArray, suction: FloatArray
) -> FloatArray:
    """Water content [1] of many parameter sets, shape (sets, suctions)."""
    given = {name: values[:, i : i + 1] for i, name in enumerate(names)}
    soil = with_columns(model, {"k_sat": 1.0, **given})
    return np.asarray(soil._water_content(suction[np.newaxis, :]), dtype=np.float64)


def search(problem: Problem, rng: np.random.Generator) -> Search:
    """Find the highest posterior density from several starting points.

    Parameters
    ----------
    problem : Problem
        What is to be searched.
    rng : numpy.random.Generator
        Places the starting points.

    Returns
    -------
    Search

    Notes
    -----
    Damped Gauss-Newton steps (Levenberg 1944, Q. Appl. Math. 2:164; Marquardt 1963, J. Soc. Ind.
    Appl. Math. 11:431, from memory), all starts side by side. A parameter on a bound that its
    slope pushes against stands still.
    """
    axes = problem.starts(rng)
    residuals = problem.residuals(axes)
    costs = 0.5 * np.sum(residuals**2, axis=1)
    damping = np.full(axes.shape[0], 1e-3)
    walking = np.arange(axes.shape[0])
    diagonal = np.arange(axes.shape[1])
    for _ in range(MOST_STEPS):
        if walking.size == 0:
            break
        at = axes[walking]
        # In spreads, so that all parameters are of one size.
        slopes = problem.jacobians(at) * problem.spread
        gradient = np.einsum("srp,sr->sp", slopes, residuals[walking])
        held = (at <= problem.lower) & (gradient > 0.0) | (at >= problem.upper) & (gradient < 0.0)
        slopes[np.broadcast_to(held[:, np.newaxis, :], slopes.shape)] = 0.0
        gradient[held] = 0.0
        curvature = np.einsum("srp,srq->spq", slopes, slopes)
        own = curvature[:, diagonal, diagonal]
        curvature[:, diagonal, diagonal] += damping[walking, np.newaxis] * (own + 1e-3) + 1e-12
        step = -np.linalg.solve(curvature, gradient[:, :, np.newaxis])[:, :, 0]
        tried = np.clip(at + step * problem.spread, problem.lower, problem.upper)
        then = problem.residuals(tried)
        cost = 0.5 * np.sum(then**2, axis=1)
        gain = costs[walking] - cost
        better = gain > 0.0
        moved = np.max(np.abs(tried - at) / problem.spread, axis=1)
        took = walking[better]
        axes[took], residuals[took], costs[took] = tried[better], then[better], cost[better]
        damping[walking] *= np.where(better, 0.2, 5.0)
        arrived = (moved < 1e-9) | better & (gain < 1e-13 * (1.0 + cost)) & (moved < 1e-6)
        walking = walking[~arrived]
    best = int(np.argmin(costs))
    agreeing = int(np.sum(costs <= costs[best] + 1e-4 * (1.0 + costs[best])))
    return Search(axes[best], float(costs[best]), agreeing)


def posterior_sample(
    problem: Problem, best: FloatArray, size: int, rng: np.random.Generator
) -> Draws:
    """Equally likely parameter sets around the optimum, with the evidence of the family.

    Parameters
    ----------
    problem : Problem
        The family and its points.
    best : ndarray, shape (parameters,)
        Optimum on the search axes.
    size : int
        How many sets.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    Draws

    Notes
    -----
    Importance sampling with a Student t proposal (5 degrees of freedom) that starts from the
    curvature at the optimum and is moved to the weighted mean and covariance of its own draws
    three times; the last draws are resampled systematically. (Adaptive importance sampling: Oh &
    Berger 1992, J. Stat. Comput. Simul. 41:143, doi 10.1080/00949659208810398, from memory.) A
    share of the draws is of the expectation itself, which bounds the weights (a defensive mixture:
    Hesterberg 1995, Technometrics 37:185, from memory). The mean of the weights is the evidence,
    of which the factors that all families share are left out.
    """
    from scipy.special import gammaln

    jacobian = problem.jacobians(best[np.newaxis])[0]
    width = (problem.upper - problem.lower) / 4.0
    covariance = np.linalg.inv(jacobian.T @ jacobian + np.diag(width**-2))
    centre = best
    freedom, dimension = 5.0, best.size
    student_norm = (
        gammaln(0.5 * (freedom + dimension))
        - gammaln(0.5 * freedom)
        - 0.5 * dimension * np.log(freedom * np.pi)
    )
    expectation_norm = -np.sum(np.log(problem.spread)) - 0.5 * dimension * np.log(2.0 * np.pi)
    plain = PLAIN_SHARE if problem.priors else 0.0
    for count in (1000, 1000, 1000, max(4000, 2 * size)):
        root = np.linalg.cholesky(covariance)
        normal = rng.standard_normal((count, dimension))
        stretch = np.sqrt(freedom / rng.chisquare(freedom, count))[:, np.newaxis]
        draws = centre + (normal * stretch) @ root.T
        as_expected = round(plain * count)
        draws[:as_expected] = problem.centre + problem.spread * normal[:as_expected]
        offset = np.linalg.solve(root, (draws - centre).T)
        log_proposal = (
            student_norm
            - np.sum(np.log(np.diag(root)))
            - 0.5 * (freedom + dimension) * np.log1p(np.sum(offset**2, axis=0) / freedom)
        )
        if as_expected:
            distance = np.sum(((draws - problem.centre) / problem.spread) ** 2, axis=1)
            log_proposal = np.logaddexp(
                np.log(1.0 - plain) + log_proposal,
                np.log(plain) + expectation_norm - 0.5 * distance,
            )
        log_weight = problem.log_density(draws) + expectation_norm - log_proposal
        top = log_weight.max()
        weight = np.exp(log_weight - top)
        mean_weight = weight.mean()
        weight /= weight.sum()
        centre = weight @ draws
        offset = draws - centre
        # Ten per cent wider than the draws themselves, so that the tails stay covered.
        covariance = 1.1 * (offset * weight[:, np.newaxis]).T @ offset
        covariance += np.diag((1e-4 * problem.spread) ** 2)
    effective = float(1.0 / np.sum(weight**2))
    ladder = (np.arange(size) + rng.random()) / size
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), ladder), weight.size - 1)
    return Draws(draws[rng.permutation(chosen)], effective, float(top + np.log(mean_weight)))
