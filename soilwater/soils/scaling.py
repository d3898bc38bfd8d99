"""A soil on which suction acts more or less strongly: the curves of Miller-similar media."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, cast

import numpy as np

from soilwater.soils.dry_end import WithDryEnd
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.soil import Soil
from soilwater.words.errors import InputError

# What makes suction act more strongly, by parameter: inverse suctions grow, suctions shrink.
_INVERSE_SUCTIONS = {"alpha", "second_alpha"}
_SUCTIONS = {"entry_suction", "median_suction"}


def with_suction_scaled(soil: Soil, factor: float) -> Soil:
    """Return a soil on which suction acts `factor` times as strongly.

    Parameters
    ----------
    soil : Soil
        One of the soil models.
    factor : float
        Above 0 [1]: 2 for the textbook wetting branch, 1 / cos(contact angle) for repellent sand.

    Returns
    -------
    Soil
        With its water content at a suction that of the given soil at `factor` times it.

    Raises
    ------
    InputError
        If the model has no suction that could be scaled, or the factor is not above 0.
    """
    if not 0.0 < factor < np.inf:
        raise InputError(f"factor: {factor!r}; allowed: above 0.")
    if isinstance(soil, WithDryEnd | Hysteretic):
        return replace(soil, soil=cast(Any, with_suction_scaled(soil.soil, factor)))
    names = {each.name for each in fields(soil)}  # type: ignore[arg-type]
    scaled = {name: getattr(soil, name) * factor for name in _INVERSE_SUCTIONS & names}
    scaled |= {name: getattr(soil, name) / factor for name in _SUCTIONS & names}
    if not scaled:
        raise InputError(f"{type(soil).__name__}: it has no suction to scale.")
    changed: Soil = replace(soil, **scaled)  # type: ignore[type-var]
    return changed
