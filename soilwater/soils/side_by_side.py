"""Many soils at once: one soil whose parameters are columns stands for all of a model.

The formulas of the models are written in array operations and broadcast, which is a hundred times
faster than a soil after the other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from functools import cache
from itertools import chain
from operator import attrgetter
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


def side_by_side(model: type[SoilModel], soils: Sequence[Any]) -> Any:
    """Make one soil of all of a model, whose parameters are arrays, shape (n_soils,).

    Parameters
    ----------
    model : type
        One of this package that is no other in its inside.
    soils : sequence of Soil
        Of that model.
    """
    names, values = _numbers(model)
    read = np.fromiter(chain.from_iterable(map(values, soils)), np.float64)
    return with_columns(
        model, dict(zip(names, read.reshape(len(soils), len(names)).T, strict=True))
    )


@cache
def _numbers(model: type[SoilModel]) -> tuple[list[str], Any]:
    """Names of the parameters of a model that are numbers, and what gives them."""
    names = [each.name for each in fields(model) if "quantity" in each.metadata]
    return names, attrgetter(*names)


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
    return curves_of(soils)(suction)


def curves_of(soils: Sequence[Soil]) -> Callable[[FloatArray], FloatArray]:
    """Read several soils off once, to ask of them what `water_contents` gives again and again.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.
    """
    places: dict[type, list[int]] = {}
    for i, model in enumerate(map(type, soils)):
        places.setdefault(model, []).append(i)
    alike: dict[type, Any] = {}
    for model, of_model in places.items():
        if model in _BROADCASTING:
            whole = side_by_side(model, [soils[i] for i in of_model])
            columns = {name: getattr(whole, name)[:, np.newaxis] for name in _numbers(model)[0]}
            alike[model] = with_columns(model, columns)

    def held_at(suction: FloatArray) -> FloatArray:
        suction = np.maximum(suction, 0.0)
        if len(places) == len(alike) == 1:
            of_all: FloatArray = next(iter(alike.values()))._water_content(suction)
            return of_all
        held = np.empty((len(soils), suction.shape[-1]))
        of_soil = np.broadcast_to(suction, held.shape)
        for model, of_model in places.items():
            if model in alike:
                at = suction if suction.ndim == 1 else suction[of_model]
                held[of_model] = alike[model]._water_content(at)
            else:
                for i in of_model:
                    held[i] = soils[i].water_content(of_soil[i])
        return held

    return held_at
