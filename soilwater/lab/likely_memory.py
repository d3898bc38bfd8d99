"""How much a sand may remember when nobody has measured it: equally likely memories."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import cast

import numpy as np

from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.soils import Soil
from soilwater.soils.hysteretic import Hysteretic, OneCurve
from soilwater.words.errors import InputError

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
MEMORY_SOURCE = "how it remembers: drawn from what sands were measured to do, not measured"


def likely_memories(sand: Sand, draws: int = 16, *, seed: int = 0) -> tuple[Hysteretic, ...]:
    """Give a sand equally likely memories, for want of a measured wetting curve.

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
        parts of either distribution is taken once. A soil whose curves forbid so large a ratio,
        as those of two pore systems can, has half of what it exceeds 1 by, or half of that.

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
    if isinstance(draws, bool) or not isinstance(draws, int | np.integer) or draws < 1:
        raise InputError(f"draws: {draws!r}; allowed: a whole number above 0.")
    _, soils = best_and_likely(sand, int(draws))
    middles = (np.arange(draws) + 0.5) / draws
    standard = np.array([NormalDist().inv_cdf(each) for each in middles])
    ratio = np.exp(_SPREAD * standard) * SUCTION_RATIO
    rewetted = np.clip(REWETTED_SATURATION + REWETTED_SPREAD * standard, _LEAST_REWETTED, 1.0)
    generator = np.random.default_rng(seed)
    # Which soil has which ratio is drawn too: their order may mean something.
    ratio = ratio if len(soils) == 1 else generator.permutation(ratio)
    rewetted = generator.permutation(rewetted)
    return tuple(
        _remembering(soils[i % len(soils)], max(float(ratio[i]), 1.0), float(rewetted[i]))
        for i in range(int(draws))
    )


def _remembering(soil: Soil, ratio: float, rewetted: float) -> Hysteretic:
    if isinstance(soil, Hysteretic):
        return soil
    source = f"{soil.source}; {MEMORY_SOURCE}" if soil.source else MEMORY_SOURCE
    drains = cast(OneCurve, soil)
    # Never below what holds any water beyond the dry end.
    rewetted = max(rewetted, 1.0 - 0.5 * (1.0 - soil.theta_r / soil.theta_s))
    for part in (1.0, 0.5, 0.25):
        try:
            return Hysteretic(drains, 1.0 + part * (ratio - 1.0), rewetted, source=source)
        except InputError:
            continue
    return Hysteretic(drains, 1.0, rewetted, source=source)
