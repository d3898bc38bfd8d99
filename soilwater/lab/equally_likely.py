"""A soil, a fit or several soils as one best soil and equally likely ones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from soilwater.lab.fitting import FitResult
from soilwater.soils import Soil
from soilwater.words.errors import InputError


def best_and_samples(soil: Soil | FitResult, n: int) -> tuple[Soil, tuple[Soil, ...]]:
    """Return the soil itself and soils that stand for what is not known of it.

    Parameters
    ----------
    soil : Soil or FitResult
        One curve, or a fit with its posterior sample.
    n : int
        How many of the sample.

    Returns
    -------
    soil : Soil
        The curve, or the best of the fit.
    samples : tuple of Soil
        The curve alone, or `n` of the sample.

    Raises
    ------
    InputError
        If it is neither.
    """
    if isinstance(soil, FitResult):
        return soil.soil, soil.samples(min(n, soil.parameter_sample.shape[0]))
    if not hasattr(soil, "effective_saturation"):
        raise InputError(
            f"soil: {soil!r}; allowed: a soil such as VanGenuchten(...), or the result of "
            "RetentionTable.fit."
        )
    return soil, (soil,)


def equally_likely_soils(
    soil: FitResult | Soil | Sequence[Soil], samples: int
) -> tuple[Soil, tuple[Soil, ...]]:
    """Best sand, and equally likely sands with it.

    Parameters
    ----------
    soil : FitResult, Soil or sequence of Soil
        A fit with what its points leave open, one sand taken for certain, or equally likely
        sands, of which the middle one stands for all.
    samples : int
        Most sands wanted.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if isinstance(soil, Sequence):
        if not soil or not all(hasattr(each, "water_content") for each in soil):
            raise InputError(
                "soil: the sequence holds something else than soil models, or nothing."
            )
        chosen = np.linspace(0, len(soil) - 1, min(samples, len(soil))).round().astype(int)
        held = [float(each.water_content(40.0)) for each in soil]
        middle = soil[int(np.argsort(held)[len(held) // 2])]
        return middle, tuple(soil[int(i)] for i in chosen)
    return best_and_samples(soil, samples)
