"""Retention of sands as others measured it, and the expectations that come of it.

``tests/data/measured_sands.csv`` holds one row a sample with its first publication,
``measured_sands_water.csv`` its water contents on drying: sands and loamy sands of 12-28 % by
volume at 30 cm of suction, up to 1000 cm, of the measured unsaturated soil properties collected by
Leij et al. 1996 (EPA/600/R-96/095, public domain) and Nemes et al. 2001 (J. Hydrol. 251:151).
Left out are samples whose own values contradict each other by more than lab error (the checks of
`RetentionTable` refuse them) and three with errors of the source. Horizons of one place are alike,
so whatever is kept back is kept back by place.
"""

import csv
from pathlib import Path
from statistics import NormalDist
from typing import NamedTuple

import numpy as np

from soilwater.lab.expectations import PARAMETERS, from_axis
from soilwater.lab.fitting import FAMILIES
from soilwater.lab.posterior import Problem, posterior_sample, search
from soilwater.lab.retention import LAB_ERROR, SHEET_ERROR, RetentionPoints, RetentionTable

DATA = Path(__file__).parents[1] / "data"
WANTED = (10.0, 20.0, 30.0, 40.0)
NEAR = 6.0
ROUNDS = 4
NEAR_BAND, FAR_BAND = (45.0, 65.0), (66.0, 110.0)
START = {
    "VanGenuchten": ((0.045, 0.02), (0.41, 0.05), (0.04, 0.7), (3.6, 0.55)),
    "BrooksCorey": ((0.045, 0.02), (0.41, 0.05), (18.0, 0.7), (2.0, 0.6)),
    "Kosugi": ((0.045, 0.02), (0.41, 0.05), (30.0, 0.7), (0.55, 0.5)),
    "TwoComponent": (
        *((0.045, 0.02), (0.41, 0.05), (0.05, 0.7), (3.6, 0.55)),
        *((0.3, 0.2), (0.006, 1.0), (1.9, 0.6)),
    ),
}
"""Where the rounds start: centre and spread of each parameter, from texture classes (Carsel &
Parrish 1988, Water Resour. Res. 24:755, from memory) and common practice. Four rounds forget them
where the curves speak; the finer pores of the two components they only nudge."""


LEAST_SPREAD = {
    "theta_r": 0.035,
    "theta_s": 0.06,
    "alpha": 1.5,
    "entry_suction": 1.5,
    "median_suction": 1.5,
}
"""Spreads are widened to these, so that a sand unlike the measured ones is not pulled to them."""
STEEPNESS = ("n", "pore_size_index", "spread")
FINER_PORES = ("second_share", "second_alpha", "second_n")
NARROWED = 0.5
"""Spreads of the finer pores are narrowed by this. The rounds cannot learn them, for most curves
leave them open and give back what they were told. Narrowed to between 0.3 and 0.6, they foretell
held-out points of other places best (mean logarithm of the density, +0.03 a point)."""


class Sand(NamedTuple):
    """One sample: its place, suctions [cm] ascending and water contents [1]."""

    code: str
    place: str
    suction: np.ndarray
    water: np.ndarray


def sands():
    """Every sample, in the order of the table."""
    with (DATA / "measured_sands_water.csv").open() as lines:
        rows = list(csv.DictReader(lines))
    with (DATA / "measured_sands.csv").open() as lines:
        about = list(csv.DictReader(lines))
    made = []
    for each in about:
        own = [row for row in rows if row["code"] == each["code"]]
        suction = np.array([float(row["suction_cm"]) for row in own])
        water = np.array([float(row["water_content"]) for row in own])
        made.append(Sand(each["code"], each["place"], suction, water))
    return made


def usual_points(sand):
    """Indices of the points nearest to the usual suctions, within 6 cm."""
    nearest = {int(np.argmin(np.abs(sand.suction - at))) for at in WANTED}
    return sorted(i for i in nearest if min(abs(sand.suction[i] - at) for at in WANTED) <= NEAR)


def expected(model, measured, rounds=ROUNDS):
    """Expectations of one family from whole curves, every place counting once.

    Each round fits every sand under the expectations of the round before; the new centre is the
    mean over places, and the new variance what is left between sands and within each fit (the
    expectation-maximisation of a normal population: Dempster et al. 1977, J. R. Stat. Soc. B
    39:1, from memory). Steepness is centred at the median over places: two places with curves
    that are almost flat would else stand for all.
    """
    free = tuple(
        each._replace(centre=centre, spread=spread)
        for each, (centre, spread) in zip(
            PARAMETERS[model.__name__], START[model.__name__], strict=True
        )
    )
    places = [sand.place for sand in measured]
    weight = np.array([1.0 / places.count(place) for place in places])
    weight /= weight.sum()
    rng = np.random.default_rng(0)
    starts = [None] * len(measured)
    for _ in range(rounds):
        found, variance = [], []
        for i, sand in enumerate(measured):
            error = np.full(sand.suction.size, LAB_ERROR)
            points = RetentionPoints(sand.suction, sand.water, error, np.ones(error.size, int))
            problem = Problem(model, free, points, True, 0.0)
            if starts[i] is not None:
                problem.starts = lambda _, at=starts[i], p=problem: _inside(p, at)[np.newaxis]
            axes = search(problem, rng).axes
            starts[i] = axes
            jacobian = problem.jacobians(axes[np.newaxis])[0]
            found.append(axes)
            variance.append(np.diag(np.linalg.inv(jacobian.T @ jacobian)))
        found, variance = np.array(found), np.array(variance)
        centre = weight @ found
        for i, each in enumerate(free):
            if each.name in STEEPNESS:
                centre[i] = _median(found[:, i], weight)
        spread = np.sqrt(weight @ (variance + (found - centre) ** 2))
        free = tuple(
            each._replace(centre=float(from_axis(middle, each.scale)), spread=float(wide))
            for each, middle, wide in zip(free, centre, spread, strict=True)
        )
    return tuple(
        each._replace(
            spread=NARROWED * each.spread
            if each.name in FINER_PORES
            else max(each.spread, LEAST_SPREAD.get(each.name, 0.0))
        )
        for each in free
    )


def _median(values, weight):
    order = np.argsort(values)
    return np.interp(0.5, np.cumsum(weight[order]) - 0.5 * weight[order], values[order])


def _inside(problem, axes):
    edge = 1e-6 * (problem.upper - problem.lower)
    return np.clip(axes, problem.lower + edge, problem.upper - edge)


def all_expected(measured):
    """Expectations of every family, of the kind of `soilwater.lab.expectations.PARAMETERS`."""
    return {model.__name__: expected(model, measured) for model in FAMILIES}


def shares(expectations, measured):
    """Share of sands of each family, from the evidence of curves to 110 cm, by place.

    The mean over places of what each sand says where all families are as likely as the next.
    """
    places = [sand.place for sand in measured]
    total = dict.fromkeys(expectations, 0.0)
    for sand in measured:
        known = sand.suction <= FAR_BAND[1]
        error = np.full(known.sum(), LAB_ERROR)
        counts = np.ones(error.size, int)
        points = RetentionPoints(sand.suction[known], sand.water[known], error, counts)
        evidence = []
        for model in FAMILIES:
            problem = Problem(model, expectations[model.__name__], points, True, SHEET_ERROR)
            rng = np.random.default_rng(0)
            best = search(problem, rng).axes
            evidence.append(posterior_sample(problem, best, 1, rng).log_evidence)
        share = np.exp(np.array(evidence) - max(evidence))
        for model, own in zip(FAMILIES, share / share.sum(), strict=True):
            total[model.__name__] += own / places.count(sand.place) / len(set(places))
    return total


def reaches_the_usual(sand):
    """Whether it has three or four points at about 10, 20, 30 and 40 cm, the ends among them."""
    use = usual_points(sand)
    ends = sand.suction[use][[0, -1]] if use else (np.inf, 0.0)
    return len(use) >= 3 and ends[0] <= 16.0 and 34.0 <= ends[1] <= 44.0


def table(sand):
    """The sheet a lab with four suctions would have sent."""
    use = usual_points(sand)
    return RetentionTable(sand.suction[use], sand.water[use], k_sat=10.0)


def held_out(sand, fit, band):
    """Median minus measured, whether the 90 % band holds, and that in half bands, per point."""
    at = (sand.suction >= band[0]) & (sand.suction <= band[1])
    if not at.any():
        return np.zeros((0, 3))
    inside = fit.band(sand.suction[at], probability=0.9)
    water = sand.water[at]
    holds = (inside.lower <= water) & (water <= inside.upper)
    error = inside.median - water
    half = np.where(error > 0.0, inside.median - inside.lower, inside.upper - inside.median)
    return np.column_stack([error, holds, error / half])


USED = [sand for sand in sands() if reaches_the_usual(sand)]


class Scores(NamedTuple):
    """Held-out points of some suctions: how many, of how many places, and how the fits did.

    ``bias`` and ``rmse`` [% by volume], ``holds`` the share in the 90 % band [%], ``size`` the root
    mean square of errors in standard deviations of the band [1]: 1 where bands are as wide as the
    errors ask for, less where they are wider.
    """

    count: int
    places: int
    bias: float
    rmse: float
    holds: float
    size: float


def scores(fits, band):
    """Score the fits of all sands on their held-out points."""
    each = [held_out(sand, fit, band) for sand, fit in zip(USED, fits, strict=True)]
    places = {sand.place for sand, own in zip(USED, each, strict=True) if own.size}
    error, holds, half_bands = np.vstack(each).T
    deviations = NormalDist().inv_cdf(0.95)
    return Scores(
        error.size,
        len(places),
        100 * error.mean(),
        100 * np.sqrt(np.mean(error**2)),
        100 * holds.mean(),
        deviations * np.sqrt(np.mean(half_bands**2)),
    )
