"""Soils from plain dictionaries, as they come out of JSON."""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from dataclasses import MISSING, fields
from typing import Any, TypeVar, cast

from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.dry_end import WithDryEnd
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.kosugi import Kosugi
from soilwater.soils.model import SoilModel
from soilwater.soils.two_component import TwoComponent
from soilwater.soils.van_genuchten import VanGenuchten
from soilwater.words.errors import Faults, InputError
from soilwater.words.renamed import mind_words

BUILT_IN = (VanGenuchten, BrooksCorey, Kosugi, TwoComponent, WithDryEnd, Hysteretic)
"""Models of this package."""
MODELS: dict[str, type[SoilModel]] = {model.__name__: model for model in BUILT_IN}
"""Every model by its name, those that were registered among them."""

Model = TypeVar("Model", bound=type[SoilModel])


@mind_words()
def register_soil_model(model: Model) -> Model:
    """Enter a soil model of your own, so that results know it again.

    Results carry their soils as text, in memory as in files: what reads a result has to know the
    model by its name. Write this above the class, as a decorator; a file that holds such soils is
    read in any process that has imported the module of the class.

    Parameters
    ----------
    model : type
        A frozen dataclass below `CapillaryModel` or `SoilModel`.

    Returns
    -------
    type
        The class itself.

    Raises
    ------
    InputError
        If it is no such class, or another model has its name.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> from soilwater.soils.serial import MODELS, register_soil_model
    >>> @register_soil_model
    ... @dataclass(frozen=True, repr=False)
    ... class DoublePore(VanGenuchten):
    ...     "Invented for this example."
    >>> soil_from_dict(DoublePore(0.05, 0.40, 0.047, 3.0, 40.0).to_dict()).alpha
    0.047
    >>> del MODELS["DoublePore"]
    """
    faults = Faults("register_soil_model")
    if not (isinstance(model, type) and issubclass(model, SoilModel)):
        faults.add(
            f"{model!r} is no soil model", allowed="a class below CapillaryModel or SoilModel"
        )
    elif not getattr(vars(model).get("__dataclass_params__"), "frozen", False):
        faults.add(
            f"{model.__name__} is no frozen dataclass of its own",
            cure="write @dataclass(frozen=True, repr=False) between it and @register_soil_model",
        )
    else:
        known = MODELS.get(model.__name__, model)
        # A cell of a notebook that is run again makes its class anew.
        if known.__module__ != model.__module__ or known in BUILT_IN:
            faults.add(
                f"another model is called {model.__name__}, in {known.__module__}",
                cure="give the class another name",
            )
        if inspect.isabstract(model):
            left = ", ".join(sorted(model.__abstractmethods__))
            faults.add(f"{model.__name__} does not write {left}", cure="write them")
    faults.raise_if_any()
    MODELS[model.__name__] = model
    return model


def is_built_in(soil: Any) -> bool:
    """Whether a soil, and all it is made of, is of a model of this package."""
    if type(soil) not in BUILT_IN:
        return False
    parts = [getattr(soil, each.name) for each in fields(soil)]
    return all(is_built_in(part) for part in parts if isinstance(part, SoilModel))


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
    >>> sand = VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    >>> soil_from_dict(sand.to_dict()) == sand
    True
    """
    model = MODELS.get(str(given.get("model")))
    if model is None:
        raise InputError(
            f'Soil dictionary: "model": {given.get("model")!r} is not known; '
            f"allowed: {', '.join(MODELS)}; a model of your own is known once it is entered with "
            "soilwater.register_soil_model: do so, or import the module in which it is."
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
