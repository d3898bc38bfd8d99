"""How much a sand may remember when nobody has measured it: equally likely memories."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import cast

import numpy as np

from soilwater.lab.equally_likely import Sand, best_and_likely, carries_fit
from soilwater.lab.fit_result import FitResult
from soilwater.lab.retention import RetentionTable
from soilwater.soils import Soil
from soilwater.soils.hysteretic import Hysteretic, OneCurve
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError
from soilwater.words.renamed import mind_words

SUCTION_RATIO = 1.5
"""Median ratio of drying to wetting suctions [1]. Measured on ten sands 1.12-2.02, median 1.44
(Leij et al. 1996, EPA/600/R-96/095); from memory, about 2.1 +- 0.5 over eight soils (Kool & Parker
1987, Water Resources Research 23:105) and 1.7 +- 0.9 for sands (Likos, Lu & Godt 2014, Journal of
Geotechnical and Geoenvironmental Engineering 140)."""
SUCTION_RATIO_BAND = (1.1, 2.2)
"""Between these lie nine of ten ratios, log-normal about the median: our reading of the same."""
REWETTED_SATURATION, REWETTED_SPREAD = 0.90, 0.06
"""Share of the saturated water content that wetting reaches, and its standard deviation [1]: on
those sands typically 0.9, 0.73-0.98; from memory, 0.85 +- 0.10 of
the porosity (Likos and others)."""

_BAND_IN_DEVIATIONS = 2.0 * NormalDist().inv_cdf(0.95)
_SPREAD = math.log(SUCTION_RATIO_BAND[1] / SUCTION_RATIO_BAND[0]) / _BAND_IN_DEVIATIONS
_LEAST_REWETTED = 0.6
_RATIOS, _REWETTED = np.geomspace(1.0, 4.0, 71), np.linspace(_LEAST_REWETTED, 1.0, 41)
"""What wetting points are weighed over."""
MEMORY_SOURCE = "how it remembers: drawn from what sands were measured to do, not measured"
POINTS_SOURCE = "points of its wetting branch"


@mind_words()
def likely_memories(sand: Sand, draws: int = 16, *, seed: int = 0) -> tuple[Hysteretic, ...]:
    """Give a sand equally likely memories, by its wetting points or for want of any.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        As it drains. Of a fit, or of several, the equally likely soils are gone through in turn.
        One that has a memory of its own keeps it.
    draws : int, optional
        How many.
    seed : int, optional
        Of the random numbers.

    Returns
    -------
    tuple of Hysteretic
        Each as likely as the next: ratio of suctions log-normal about 1.5, nine of ten within
        1.1-2.2; saturation when rewetted 0.90 +- 0.06. The middle of each of `draws` equal
        parts of either distribution is taken once. Of a fit whose table has points of the wetting
        branch these are what was expected before, and the points weigh them. A soil whose curves
        forbid so large a ratio, as those of two pore systems can, has half of what it exceeds 1 by,
        or half of that.

    Raises
    ------
    InputError
        If what is given is no sand, or `draws` is no number above 0.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> likely = likely_memories(VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 5)
    >>> [round(each.suction_ratio, 2) for each in likely]
    [1.15, 1.34, 1.5, 1.68, 1.96]
    """
    faults = Faults("likely_memories")
    faults.need_whole("draws", draws, 1)
    faults.raise_if_any()
    _, soils = best_and_likely(sand, int(draws))
    middles = (np.arange(draws) + 0.5) / draws
    standard = np.array([NormalDist().inv_cdf(each) for each in middles])
    ratio = np.exp(_SPREAD * standard) * SUCTION_RATIO
    rewetted = np.clip(REWETTED_SATURATION + REWETTED_SPREAD * standard, _LEAST_REWETTED, 1.0)
    generator = np.random.default_rng(seed)
    # Which soil has which ratio is drawn too: their order may mean something.
    ratio = ratio if len(soils) == 1 else _shuffled(ratio, generator)
    rewetted = generator.permutation(rewetted)
    measured = _measured_of(sand)
    order = generator.permutation(middles)
    drawn = []
    for i in range(int(draws)):
        soil, source = soils[i % len(soils)], MEMORY_SOURCE
        own, filled = max(float(ratio[i]), 1.0), float(rewetted[i])
        table = measured.get(soil)
        if table is not None:
            own, filled = _drawn_by_points(soil, table, float(order[i]))
            source = f"how it remembers: {table.wetting_suction.size} {POINTS_SOURCE}"
        drawn.append(_remembering(soil, own, filled, source))
    return tuple(drawn)


def _shuffled(values: FloatArray, generator: np.random.Generator) -> FloatArray:
    """Mix ordered values so that those at even and at odd places are spread alike."""
    pairs = generator.permutation(np.arange(values.size // 2))
    places = np.stack([2 * pairs, 2 * pairs + 1], axis=1)
    places[1::2] = places[1::2, ::-1]
    # Of an odd number the last has no neighbour.
    order = np.concatenate([places.ravel(), np.arange(2 * pairs.size, values.size)])
    shuffled: FloatArray = values[order]
    return shuffled


def _measured_of(sand: Sand) -> dict[Soil, RetentionTable]:
    """Tables with points of the wetting branch, by the soils that were fitted to them."""
    fits = sand if isinstance(sand, Sequence) else (sand,)
    found: dict[Soil, RetentionTable] = {}
    for each in fits:
        if not isinstance(each, FitResult) or not isinstance(each.table, RetentionTable):
            continue
        if each.table.wetting_suction.size:
            found |= dict.fromkeys((each.soil, *each.samples()), each.table)
    return found


def _drawn_by_points(soil: Soil, table: RetentionTable, place: float) -> tuple[float, float]:
    """Ratio and rewetted saturation at a place of their distribution, given wetting points.

    Of a core drained to the driest point of all and wetted again (Mualem 1974, see `Hysteretic`).
    """
    at, held = table.wetting_suction, table.wetting_water_content
    driest = max(float(at.max()), float(table.suction.max()))
    ratio, rewetted = _RATIOS[:, None, None], _REWETTED[None, :, None]
    theta_r, theta_s = soil.theta_r, soil.theta_s
    share = np.maximum(rewetted * theta_s - theta_r, 1e-3) / (theta_s - theta_r)
    dried = float(soil.effective_saturation(np.array([driest]))[0])
    wet = share * soil.effective_saturation(_RATIOS[:, None] * at)[:, None, :]
    wet_there = share * soil.effective_saturation(_RATIOS * driest)[:, None, None]
    kept_out = (dried - wet_there) / (1.0 - wet_there)
    there = wet + np.maximum(kept_out, 0.0) * (1.0 - wet)
    misfit = (theta_r + (theta_s - theta_r) * there - held) / table.lab_error
    log_ratio = np.log(ratio[..., 0] / SUCTION_RATIO) / _SPREAD
    expected = (rewetted[..., 0] - REWETTED_SATURATION) / REWETTED_SPREAD
    log_weight = -0.5 * (np.sum(misfit**2, axis=2) + log_ratio**2 + expected**2)
    heap = np.cumsum(np.exp(log_weight - log_weight.max()))
    i, k = np.unravel_index(np.searchsorted(heap, place * heap[-1]), log_weight.shape)
    return float(_RATIOS[i]), float(_REWETTED[k])


def as_watered(sand: Sand, draws: int) -> tuple[Soil, ...]:
    """Give the sands behind an answer about water that is given again and again.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        Of a fit, or of several, the sands remember how they were wetted, by `likely_memories`;
        soils given one by one are taken as they are.
    draws : int
        Most sands.
    """
    if carries_fit(sand):
        return likely_memories(sand, draws)
    return best_and_likely(sand, draws)[1]


def with_memory_of(soil: Soil, other: Hysteretic) -> Hysteretic:
    """Let a soil remember as another does; one that has a memory of its own keeps it.

    Parameters
    ----------
    soil : Soil
        As it drains.
    other : Hysteretic
        From `likely_memories`.
    """
    return _remembering(soil, other.suction_ratio, other.rewetted_saturation, MEMORY_SOURCE)


def _remembering(soil: Soil, ratio: float, rewetted: float, told: str) -> Hysteretic:
    if isinstance(soil, Hysteretic):
        return soil
    source = f"{soil.source}; {told}" if soil.source else told
    drains = cast(OneCurve, soil)
    # Never below what holds any water beyond the dry end.
    rewetted = max(rewetted, 1.0 - 0.5 * (1.0 - soil.theta_r / soil.theta_s))
    for part in (1.0, 0.5, 0.25):
        try:
            return Hysteretic(drains, 1.0 + part * (ratio - 1.0), rewetted, source=source)
        except InputError:
            continue
    return Hysteretic(drains, 1.0, rewetted, source=source)
