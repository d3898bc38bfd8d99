"""Changes of a profile, its turf or its water that can be tried before they are built."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any, cast

import numpy as np
import xarray as xr

from soilwater.ground.base import Sealed, WaterTable
from soilwater.ground.profile import Layer, Profile
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.case import Case
from soilwater.soils import Soil, WithDryEnd
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.errors import InputError
from soilwater.words.forms import Angle, Length
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

MAT = "mat"
"""Name of the layer that `remove_mat` takes away."""


TOPDRESSING = "topdressing"
"""Name of the layer that `topdress` adds."""


# What makes suction act more strongly, by parameter: inverse suctions grow, suctions shrink.
_INVERSE_SUCTIONS = {"alpha", "second_alpha"}


_SUCTIONS = {"entry_suction", "median_suction"}


@dataclass(frozen=True)
class Situation:
    """A spot as it is, or as it would be.

    Attributes
    ----------
    profile : Profile
        Layers and base.
    irrigation : tuple of Event
        Water applied.
    standing : float
        Water that stands above the base [cm] and cannot leave; 0 where the base is as it is.
    notes : tuple of str
        What a change asks the reader to keep in mind.
    """

    profile: Profile
    irrigation: tuple[Event, ...] = ()
    standing: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def at_rest(self) -> Profile:
        """Profile whose rest is that of this situation."""
        if self.standing == 0.0:
            return self.profile
        return replace(self.profile, base=WaterTable(self.profile.depth - self.standing))

    def case(self, weather: Weather, turf: Turf) -> Case:
        """Make the case that starts at rest, in some weather and turf."""
        if self.standing == 0.0:
            return Case(
                self.profile, weather, turf=turf, start="drained", irrigation=self.irrigation
            )
        depth = np.array([0.0, self.profile.depth])
        suction = xr.DataArray(
            self.profile.depth - self.standing - depth, {"depth": depth}, ("depth",), "suction"
        )
        sealed = replace(self.profile, base=Sealed())
        return Case(sealed, weather, turf=turf, start=suction, irrigation=self.irrigation)


@dataclass(frozen=True)
class Change:
    """Something that could be done to a spot.

    Attributes
    ----------
    name : str
        What is done, in words.
    apply : callable
        Takes a `Situation` and returns it changed.
    topics : tuple of str
        Cautions that belong to it, keys of `soilwater.words.cautions.CAUTIONS`.
    """

    name: str
    apply: Callable[[Situation], Situation] = field(repr=False, compare=False)
    topics: tuple[str, ...] = ()


def regrade(depth: Length) -> Change:
    """Cut or fill the root zone to a depth.

    Parameters
    ----------
    depth : float, str or Quantity
        New depth of the root zone [cm].

    Returns
    -------
    Change
        For `what_if`.

    Raises
    ------
    InputError
        If it is not above 0.
    """
    thickness = _above_zero(depth, "depth")

    def apply(before: Situation) -> Situation:
        profile = before.profile
        index = profile.layer_index()
        change = thickness - profile.layers[index].thickness
        told = one_writing("length")
        return replace(
            before,
            profile=profile.with_thickness(thickness),
            notes=(*before.notes, f"{told.of(change):+.1f} {told.unit} of root zone"),
        )

    return Change(f"root zone of {in_people_units(thickness, 'length')}", apply, ("construction",))


def remove_mat() -> Change:
    """Take away the layer called "mat"; the root zone below stays as it is.

    Returns
    -------
    Change
        For `what_if`.
    """

    def apply(before: Situation) -> Situation:
        layers = tuple(each for each in before.profile.layers if each.name != MAT)
        if len(layers) == len(before.profile.layers):
            names = ", ".join(each.name for each in before.profile.layers)
            raise InputError(
                f'remove_mat: no layer is called "{MAT}"; the layers are {names}; name it so.'
            )
        return replace(before, profile=replace(before.profile, layers=layers))

    return Change("mat removed", apply)


@mind_words(soil="sand")
def topdress(sand: Sand, thickness: Length) -> Change:
    """Add sand on top.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The topdressing sand; of a fit or several, the best.
    thickness : float, str or Quantity
        How much in all [cm].

    Returns
    -------
    Change
        For `what_if`.

    Raises
    ------
    InputError
        If the thickness is not above 0.
    """
    added = _above_zero(thickness, "thickness")
    soil, _ = best_and_likely(sand)

    def apply(before: Situation) -> Situation:
        layers = before.profile.layers
        if layers[0].soil == soil:
            # The same sand makes the top layer deeper rather than another layer.
            first = replace(layers[0], thickness=layers[0].thickness + added)
            return replace(before, profile=replace(before.profile, layers=(first, *layers[1:])))
        top = Layer(soil, added, TOPDRESSING)
        return replace(before, profile=replace(before.profile, layers=(top, *layers)))

    return Change(f"{in_people_units(added, 'length')} of topdressing", apply)


@mind_words(soil="sand")
def other_sand(sand: Sand) -> Change:
    """Build the root zone of another sand.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand instead; of a fit or several, the best.

    Returns
    -------
    Change
        For `what_if`.
    """
    soil, _ = best_and_likely(sand)

    def apply(before: Situation) -> Situation:
        profile = before.profile
        layers = list(profile.layers)
        index = profile.layer_index()
        layers[index] = replace(layers[index], soil=soil)
        return replace(before, profile=replace(profile, layers=tuple(layers)))

    return Change(f"root zone of {soil.name or 'another sand'}", apply, ("construction",))


def blocked_outlet(standing: Length) -> Change:
    """Let water stand in the root zone above the gravel; nothing leaves, the turf draws it down.

    Parameters
    ----------
    standing : float, str or Quantity
        Water above the base [cm].

    Returns
    -------
    Change
        For `what_if`.

    Raises
    ------
    InputError
        If it is not above 0.
    """
    height = _above_zero(standing, "standing")

    def apply(before: Situation) -> Situation:
        profile = before.profile
        if height >= profile.depth:
            raise InputError(
                f"blocked_outlet: {height:g} cm of water in {profile.depth:g} cm of root zone; "
                "allowed: less than the depth."
            )
        return replace(before, standing=height)

    return Change(f"{in_people_units(height, 'length')} of water standing", apply)


def wetting_agent(contact_angle_before: Angle, contact_angle_after: Angle = 0.0) -> Change:
    """Let water wet the sand better: the contact angle falls, suction acts less strongly.

    A changed wetting behaviour, not a product or a rate. The sand of the spot as it is must be
    the repellent one: what a capillary pore holds scales with the cosine of the contact angle
    (Miller & Miller 1956, J. Appl. Phys. 27:324, from memory).

    Parameters
    ----------
    contact_angle_before, contact_angle_after : float
        Contact angles of water on the sand [degrees], from 0 to below 90.

    Returns
    -------
    Change
        For `what_if`.

    Raises
    ------
    InputError
        If an angle is out of range, or the angle does not fall.
    """
    before_angle, after_angle = float(contact_angle_before), float(contact_angle_after)
    if not 0.0 <= after_angle < before_angle < 90.0:
        raise InputError(
            f"wetting_agent: contact angle from {before_angle:g} to {after_angle:g} degrees; "
            "allowed: 0 up to below 90, and falling."
        )
    factor = float(np.cos(np.radians(before_angle)) / np.cos(np.radians(after_angle)))

    def apply(before: Situation) -> Situation:
        layers = tuple(
            replace(each, soil=with_suction_scaled(each.soil, factor))
            for each in before.profile.layers
        )
        return replace(before, profile=replace(before.profile, layers=layers))

    return Change(
        f"contact angle {before_angle:g} to {after_angle:g} degrees", apply, ("label",)
    )  # fmt: skip


def irrigate(*events: Event) -> Change:
    """Water at other times: these events instead of those of the spot as it is.

    Parameters
    ----------
    *events : Event
        Water applied.

    Returns
    -------
    Change
        For `what_if`.
    """

    def apply(before: Situation) -> Situation:
        return replace(before, irrigation=tuple(events))

    total = sum(event.amount for event in events)
    often = "one irrigation" if len(events) == 1 else f"{len(events)} irrigations"
    return Change(f"{in_one_unit(total, 'water_amount')} in {often}", apply, ("water law",))


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
    if isinstance(soil, WithDryEnd):
        return replace(soil, soil=cast(Any, with_suction_scaled(soil.soil, factor)))
    names = {each.name for each in fields(soil)}  # type: ignore[arg-type]
    scaled = {name: getattr(soil, name) * factor for name in _INVERSE_SUCTIONS & names}
    scaled |= {name: getattr(soil, name) / factor for name in _SUCTIONS & names}
    if not scaled:
        raise InputError(f"{type(soil).__name__}: it has no suction to scale.")
    changed: Soil = replace(soil, **scaled)  # type: ignore[type-var]
    return changed


def _above_zero(value: Any, name: str) -> float:
    number = number_to_house(value, "length", name)
    if number <= 0.0:
        raise InputError(f"{name}: {number:g} cm; allowed: above 0.")
    return number
