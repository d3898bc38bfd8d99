"""Many soils at once: one soil whose parameters are columns stands for all of a model.

The formulas of the models are written in array operations and broadcast, which is a hundred times
faster than a soil after the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.kosugi import Kosugi
from soilwater.soils.model import SoilModel
from soilwater.soils.soil import Soil
from soilwater.soils.two_component import TwoComponent
from soilwater.soils.van_genuchten import VanGenuchten
from soilwater.words.arrays import FloatArray

_BROADCASTING = (VanGenuchten, BrooksCorey, Kosugi, TwoComponent)
"""A model is known by its exact class: one derived from it elsewhere may have other curves."""


def with_columns(model: type[SoilModel], values: Mapping[str, Any]) -> Any:
    """Make a soil whose parameters are arrays, unchecked.

    Parameters
    ----------
    model : type
        Its model.
    values : mapping of str to array
        Parameters by name; what is left out has its default.

    Returns
    -------
    SoilModel
        Its formulas broadcast.
    """
    soil = object.__new__(model)
    for each in fields(model):
        object.__setattr__(soil, each.name, values.get(each.name, each.default))
    return soil


def water_contents(soils: Sequence[Soil], suction: FloatArray) -> FloatArray:
    """Water contents of several soils, bit for bit as each gives them alone.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.
    suction : ndarray, shape (n_suctions,) or (n_soils, n_suctions)
        Suctions [cm], the same for all or a row for each soil.

    Returns
    -------
    ndarray, shape (n_soils, n_suctions)
        Water contents [1].
    """
    held = np.empty((len(soils), suction.shape[-1]))
    of_soil = np.broadcast_to(suction, held.shape)
    places: dict[Any, list[int]] = {}
    for i, soil in enumerate(soils):
        if type(soil) in _BROADCASTING:
            places.setdefault(type(soil), []).append(i)
        else:
            held[i] = soil.water_content(of_soil[i])
    for model, of_model in places.items():
        alike: list[Any] = [soils[i] for i in of_model]
        columns = {
            each.name: np.array([getattr(soil, each.name) for soil in alike])[:, np.newaxis]
            for each in fields(model)
            if "quantity" in each.metadata
        }
        at = np.maximum(suction[np.newaxis] if suction.ndim == 1 else suction[of_model], 0.0)
        held[of_model] = with_columns(model, columns)._water_content(at)
    return held
