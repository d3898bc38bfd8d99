"""Soils from plain dictionaries, as they come out of JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from typing import Any, cast

from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.dry_end import WithDryEnd
from soilwater.soils.kosugi import Kosugi
from soilwater.soils.model import SoilModel
from soilwater.soils.two_component import TwoComponent
from soilwater.soils.van_genuchten import VanGenuchten
from soilwater.words.errors import Faults, InputError

MODELS: dict[str, type[SoilModel]] = {
    model.__name__: model for model in (VanGenuchten, BrooksCorey, Kosugi, TwoComponent, WithDryEnd)
}
"""Every model by its name; a new one is entered here."""


def soil_from_dict(given: Mapping[str, Any]) -> SoilModel:
    """Make a soil from the dictionary its `to_dict` wrote.

    Parameters
    ----------
    given : mapping
        ``"model"`` with the name of the model, and its parameters in house units or as strings
        with units.

    Returns
    -------
    SoilModel
        The soil; equal to the one that was written.

    Raises
    ------
    InputError
        If the model is unknown, or parameters are missing, unknown or not usable; all faults in
        one message.

    Examples
    --------
    >>> loam = VanGenuchten.texture_class("loam")
    >>> soil_from_dict(loam.to_dict()) == loam
    True
    """
    model = MODELS.get(str(given.get("model")))
    if model is None:
        raise InputError(
            f'Soil dictionary: "model": {given.get("model")!r} is not known; '
            f"allowed: {', '.join(MODELS)}."
        )
    parameters = fields(model)
    names = [each.name for each in parameters]
    faults = Faults("Soil dictionary")
    for name in given:
        if name not in ("model", *names):
            faults.add(f"{model.__name__} has no {name!r}", allowed=", ".join(names))
    for each in parameters:
        if each.default is MISSING and each.name not in given:
            faults.add(f"{each.name!r} is missing")
    faults.raise_if_any()
    values = {
        name: soil_from_dict(value) if isinstance(value, Mapping) else value
        for name, value in given.items()
        if name != "model"
    }
    soil: SoilModel = cast(Any, model)(**values)
    return soil
