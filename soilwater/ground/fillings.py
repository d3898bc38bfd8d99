"""Profiles filled with other soils, and what may lie on their gravel."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import GRAVEL, GravelBlanket, half_drained, soil_of
from soilwater.ground.layer import LAYER_CURE
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil
from soilwater.soils.side_by_side import ManySoils
from soilwater.words.copies import with_parts
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


def check_on_gravel(profile: Profile, i: int, soils: ManySoils, numbers: NDArray[np.int64]) -> None:
    """Refuse soils that are no finer than the gravel below their layer.

    Only what a soil can put wrong is checked: an ensemble has thousands.

    Parameters
    ----------
    profile : Profile
        What is filled.
    i : int
        Number of the layer.
    soils : ManySoils
        Any number of them.
    numbers : ndarray of int
        Which of these fill it.

    Raises
    ------
    InputError
        With the first.
    """
    blanket = profile.blanket
    if blanket is None or i + 1 < len(profile.layers):
        return
    suspect = numbers
    if numbers.size > 1:
        # A sand that holds more than half a hair beyond where the gravel does not is far finer.
        beyond = np.array([1.001 * half_drained(blanket.gravel)])
        suspect = numbers[soils.curves(numbers)(beyond)[:, 0] <= soils.half_drained[numbers]]
    for soil in soils.take(suspect):
        faults = Faults(f'Profile "{profile.name}"' if profile.name else "Profile")
        check_gravel(blanket, profile.layers[i].name, soil, faults)
        faults.raise_if_any()


def filled(profile: Profile, soils: Sequence[Soil]) -> Profile:
    """Return a profile with other soils in its layers, unchecked; itself where they are its own.

    Soils behind those of its layers are left out.
    """
    pairs = list(zip(profile.layers, soils, strict=False))
    if all(layer.soil is soil for layer, soil in pairs):
        return profile
    return with_parts(profile, layers=tuple([with_parts(each, soil=soil) for each, soil in pairs]))


def with_each_soil(
    profile: Profile, soils: Iterable[Soil | FitResult], layer: str | None
) -> list[Profile]:
    """Return profiles as `Profile.with_soil` makes of each soil.

    Parameters
    ----------
    profile : Profile
        What is changed.
    soils : iterable of Soil or FitResult
        What fills the layer instead; a fit stands for its best curve.
    layer : str or None
        Name of the layer.

    Raises
    ------
    InputError
        If a soil is none, the layer is not found, or gravel below it is no coarser.
    """
    i = profile.layer_index(layer)
    faults = Faults(f'Layer "{profile.layers[i].name}"')
    own: list[Soil] = []
    for given in soils:
        own.append(soil_of(given, "soil", LAYER_CURE, faults))
        faults.raise_if_any()
    check_on_gravel(profile, i, ManySoils(own), np.arange(len(own)))
    around = [each.soil for each in profile.layers]
    return [filled(profile, [*around[:i], soil, *around[i + 1 :]]) for soil in own]
