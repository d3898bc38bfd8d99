"""Soils that a profile may be filled with: layer by layer, and what may lie on its gravel."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from soilwater.ground.base import GRAVEL, GravelBlanket, half_drained, soil_of
from soilwater.ground.layer import LAYER_CURE
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil
from soilwater.soils.side_by_side import water_contents
from soilwater.words.errors import Faults

if TYPE_CHECKING:
    from soilwater.ground.profile import Profile


def check_gravel(base: GravelBlanket, name: str, soil: Soil, faults: Faults) -> None:
    """Note a gravel that is no coarser than the layer above it.

    Parameters
    ----------
    base : GravelBlanket
        The gravel.
    name : str
        Of the layer above it.
    soil : Soil
        That fills it.
    faults : Faults
        Takes it.
    """
    gravel, sand = half_drained(base.gravel), half_drained(soil)
    if gravel >= sand:
        faults.add(
            f'the gravel gives up half of its water at {gravel:.3g} cm of suction, "'
            f'{name}" above it at {sand:.3g} cm',
            allowed="a gravel coarser than what lies on it",
            cure=f"write it out as a layer: Profile([*layers, Layer(gravel, "
            f'{base.thickness:g}, "{GRAVEL}")], SeepageFace())',
        )


def fillings_of(
    profile: Profile, soils: Iterable[Soil | FitResult], layer: str | None
) -> list[tuple[Soil, ...]]:
    """Soils of the layers of a profile with each of several in one of them.

    Only what a soil can put wrong is checked: an ensemble has thousands.

    Parameters
    ----------
    profile : Profile
        What is changed.
    soils : iterable of Soil or FitResult
        What fills the layer instead; of a fit its best.
    layer : str or None
        Name of the layer.

    Raises
    ------
    InputError
        If a soil is none, the layer is not found, or gravel below it is no coarser.
    """
    i = profile.layer_index(layer)
    own: list[Any] = list(soils)
    # A kind that has no curve is no soil: asked of each kind once.
    if not all(hasattr(kind, "effective_saturation") for kind in set(map(type, own))):
        faults = Faults(f'Layer "{profile.layers[i].name}"')
        for k, given in enumerate(own):
            own[k] = soil_of(given, "soil", LAYER_CURE, faults)
            if faults:
                raise faults.as_error()
    around = [each.soil for each in profile.layers]
    before, after = tuple(around[:i]), tuple(around[i + 1 :])
    fillings = [(*before, soil, *after) for soil in own]
    blanket = profile.blanket
    if blanket is None or after:
        return fillings
    # A sand that holds more than half a hair beyond where the gravel does not is far finer.
    beyond = np.array([1.001 * half_drained(blanket.gravel)])
    held = water_contents(own, beyond)[:, 0].tolist() if len(own) > 1 else [0.0]
    for filling, content in zip(fillings, held, strict=True):
        if content <= 0.5 * (filling[-1].theta_r + filling[-1].theta_s):
            faults = Faults(f'Profile "{profile.name}"' if profile.name else "Profile")
            check_gravel(blanket, profile.layers[-1].name, filling[-1], faults)
            faults.raise_if_any()
    return fillings
