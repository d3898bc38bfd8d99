"""Changes of a profile, its turf or its water that can be tried before they are built."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from soilwater.decisions.watering.situations import GroundSituation, Situation
from soilwater.ground.layer import Layer
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.transect import Transect
from soilwater.soils import Soil
from soilwater.soils.hysteretic import Hysteretic, cosine_of
from soilwater.soils.scaling import with_suction_scaled
from soilwater.weather.irrigation import Event
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Angle, Length
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.unit_choice import worded
from soilwater.words.units import number_to_house

MAT = "mat"
"""Name of the layer that `remove_mat` takes away."""


TOPDRESSING = "topdressing"
"""Name of the layer that `topdress` adds."""


@dataclass(frozen=True)
class Change:
    """Something that could be done to a spot, or to a whole line or green.

    Attributes
    ----------
    name : str
        What is done, in words.
    apply : callable or None
        Takes a `Situation` and returns it changed; None where it is done to a ground only.
    topics : tuple of str
        Cautions that belong to it, keys of `soilwater.words.cautions.CAUTIONS`.
    to_ground : callable or None
        Takes a `GroundSituation` and returns it changed; None where it is done to a spot only.
    sand : Soil, FitResult, sequence of these, or None
        The sand it brings, if any.
    with_sand : callable or None
        Makes the same change with one soil as that sand, for each of those equally likely.
    """

    name: str
    apply: Callable[[Situation], Situation] | None = field(repr=False, compare=False)
    topics: tuple[str, ...] = ()
    to_ground: Callable[[GroundSituation], GroundSituation] | None = field(
        default=None, repr=False, compare=False
    )
    sand: Sand | None = field(default=None, repr=False, compare=False)
    with_sand: Callable[[Soil], Change] | None = field(default=None, repr=False, compare=False)


def _by_layers(apply: Callable[[Situation], Situation]) -> Any:
    """Make what a change does to the layers of a spot do the same everywhere on a ground."""

    def to_ground(before: GroundSituation) -> GroundSituation:
        after = apply(Situation(before.ground.green, before.irrigation))
        ground = replace(before.ground, green=after.profile)
        return GroundSituation(ground, after.irrigation)

    return to_ground


@mind_words()
def regrade(depth: Length) -> Change:
    """Cut or fill the root zone to a depth; on a line or a green, a floor that matches the surface.

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

        def told() -> str:
            length = one_writing("length")
            return f"{length.of(change):+.1f} {length.unit} of root zone"

        return replace(
            before,
            profile=profile.with_thickness(thickness),
            notes=(*before.notes, worded(told)),
        )

    def to_ground(before: GroundSituation) -> GroundSituation:
        depth = np.where(np.isfinite(before.ground.probe_depth), thickness, np.nan)
        return replace(before, ground=replace(before.ground, probe_depth=depth))

    name = worded(lambda: f"root zone of {in_people_units(thickness, 'length')}")
    return Change(name, apply, ("construction",), to_ground)


@mind_words()
def reshape(
    by: Length, at: Length | tuple[Length, Length], radius: Length, *, floor: bool = False
) -> Change:
    """Cut or fill the surface of a line or a green around a place, as of a mound or a hollow.

    Parameters
    ----------
    by : float, str or Quantity
        How much the surface rises at the place [cm]; below 0 it is cut. It runs out to nothing at
        the radius, without an edge.
    at : float, str or Quantity, or two of these
        Distance along the line, or east and north on the green [cm].
    radius : float, str or Quantity
        How far it reaches [cm].
    floor : bool, optional
        Whether the floor is moved with the surface, so that depths stay.

    Returns
    -------
    Change
        For `what_if` on a line or a green.

    Raises
    ------
    InputError
        If a length cannot be used.
    """
    rise = number_to_house(by, "length", "by")
    reach = _above_zero(radius, "radius")
    given = at if isinstance(at, tuple) else (at,)
    place = np.array([number_to_house(each, "length", "at") for each in given])

    def to_ground(before: GroundSituation) -> GroundSituation:
        ground = before.ground
        if isinstance(ground, Transect):
            # Without columns between its stations a line would follow the new shape at these only.
            ground = ground.resample(ground.spacing)
            where = [ground.distance]
        else:
            y, x = ground.axes
            where = [100.0 * each for each in np.meshgrid(x, y)]
        if len(where) != place.size:
            raise InputError(
                f"reshape: at has {place.size} lengths; allowed: a distance on a line, east and "
                "north on a green."
            )
        squared = sum((each - middle) ** 2 for each, middle in zip(where, place, strict=True))
        change = rise * np.maximum(0.0, 1.0 - squared / reach**2) ** 2
        depth = ground.probe_depth if floor else ground.probe_depth + change
        ground = replace(ground, surface_level=ground.surface_level + change, probe_depth=depth)
        return replace(before, ground=ground)

    word = "raised" if rise > 0.0 else "cut"
    whole = " with the floor" if floor else ""
    name = worded(lambda: f"surface {word} by {in_people_units(abs(rise), 'length')}{whole}")
    return Change(name, None, ("construction", "sloping ground"), to_ground)


@mind_words()
def barrier(at: Length | tuple[Length, Length], to: tuple[Length, Length] | None = None) -> Change:
    """Stop what runs sideways by a sheet from the surface into the floor.

    Parameters
    ----------
    at : float, str or Quantity, or two of these
        Distance along a line, or where the sheet begins on a green, east and north [cm].
    to : two of float, str or Quantity, optional
        Where it ends on a green, east and north [cm].

    Returns
    -------
    Change
        For `what_if` on a line or a green.

    Raises
    ------
    InputError
        If a length cannot be used, or only one end is told.
    """
    return _across("barrier", at, to)


@mind_words()
def drain(at: Length | tuple[Length, Length], to: tuple[Length, Length] | None = None) -> Change:
    """Catch what runs sideways in a trench of gravel, from the surface into the floor.

    It is drained at its foot and takes water as the gravel below the green does, so over a
    blanket of gravel it catches next to nothing of what runs in tension above that blanket: there
    it works as a barrier does. Over tight soil it drains what stands on it.

    Parameters
    ----------
    at : float, str or Quantity, or two of these
        Distance along a line, or where the trench begins on a green, east and north [cm].
    to : two of float, str or Quantity, optional
        Where it ends on a green, east and north [cm].

    Returns
    -------
    Change
        For `what_if` on a line or a green.

    Raises
    ------
    InputError
        If a length cannot be used, or only one end is told.
    """
    return _across("drain", at, to)


def _across(
    what: str, at: Length | tuple[Length, Length], to: tuple[Length, Length] | None
) -> Change:
    """Put a barrier or a drain across a line or a green."""
    begin = [number_to_house(e, "length", "at") for e in (at if isinstance(at, tuple) else (at,))]
    end = [number_to_house(each, "length", "to") for each in to or ()]
    if len(begin) not in (1, 2) or len(end) != (2 if len(begin) == 2 else 0):
        raise InputError(
            f"{what}: {len(begin)} and {len(end)} lengths; allowed: a distance along a line, or "
            "both ends on a green, each east and north."
        )

    def to_ground(before: GroundSituation) -> GroundSituation:
        ground: Any = before.ground
        line = isinstance(ground, Transect)
        if line != (len(begin) == 1):
            raise InputError(
                f"{what}: allowed: one distance on a line; two ends, east and north, on a green."
            )
        way = begin[0] if line else tuple(tuple(x / 100.0 for x in each) for each in (begin, end))
        built = {f"{what}s": (*getattr(ground, f"{what}s"), way)}
        return replace(before, ground=replace(ground, **built))

    return Change(f"a {what}", None, ("construction",), to_ground)


@mind_words()
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
        The topdressing sand; a fit or several carry their band.
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

    return Change(
        worded(lambda: f"{in_people_units(added, 'length')} of topdressing"),
        apply,
        sand=sand,
        with_sand=lambda drawn: topdress(drawn, added),
    )


@mind_words(soil="sand")
def other_sand(sand: Sand) -> Change:
    """Build the root zone of another sand.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand instead; a fit or several carry their band.

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

    name = f"root zone of {soil.name or 'a sand without a name'}"
    return Change(name, apply, ("construction",), _by_layers(apply), sand, other_sand)


@mind_words()
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

    name = worded(lambda: f"{in_people_units(height, 'length')} of water standing")
    return Change(name, apply)


@mind_words()
def wetting_agent(contact_angle_before: Angle, contact_angle_after: Angle = 0.0) -> Change:
    """Let water wet the sand better: the contact angle falls, suction acts less strongly.

    A changed wetting behaviour, not a product or a rate. The sand of the spot as it is must be
    the repellent one: what a capillary pore holds scales with the cosine of the contact angle
    (Miller & Miller 1956, J. Appl. Phys. 27:324, from memory). The wetting branch of sand that
    remembers moves, as of `Hysteretic.at_contact_angle`; sand of one curve has that curve moved.

    Parameters
    ----------
    contact_angle_before, contact_angle_after : float
        Contact angles of water on the sand [degrees], from 0 to below 85.

    Returns
    -------
    Change
        For `what_if`.

    Raises
    ------
    InputError
        If an angle is out of range, the angle does not fall, or the sand of a spot was wetted no
        harder than that.
    """
    before_angle, after_angle = float(contact_angle_before), float(contact_angle_after)
    faults = Faults("wetting_agent")
    cosines = [1.0, 1.0]
    for i, (name, angle) in enumerate(
        (("contact_angle_before", before_angle), ("contact_angle_after", after_angle))
    ):
        with faults.catching():
            cosines[i] = cosine_of(angle, name)
    if not after_angle < before_angle:
        faults.add(
            f"contact angle from {before_angle:g} to {after_angle:g} degrees",
            allowed="one that is falling",
        )
    faults.raise_if_any()
    factor = cosines[0] / cosines[1]

    def of(soil: Any) -> Any:
        if not isinstance(soil, Hysteretic):
            return with_suction_scaled(soil, factor)
        if soil.suction_ratio * factor < 1.0:
            raise InputError(
                f"wetting_agent: this sand wets at suctions {soil.suction_ratio:g} times smaller "
                f"than it drains, and {before_angle:g} degrees alone make that {1.0 / factor:.3g}; "
                f"give the sand as it is now, sand.at_contact_angle({before_angle:g})."
            )
        return replace(soil, suction_ratio=soil.suction_ratio * factor)

    def apply(before: Situation) -> Situation:
        layers = tuple(replace(each, soil=of(each.soil)) for each in before.profile.layers)
        return replace(before, profile=replace(before.profile, layers=layers))

    name = f"contact angle {before_angle:g} to {after_angle:g} degrees"
    return Change(name, apply, ("label",), _by_layers(apply))


@mind_words()
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
    name = worded(lambda: f"{in_one_unit(total, 'water_amount')} in {often}")
    return Change(name, apply, ("water law",), _by_layers(apply))


def _above_zero(value: Any, name: str) -> float:
    number = number_to_house(value, "length", name)
    if number <= 0.0:
        raise InputError(f"{name}: {number:g} cm; allowed: above 0.")
    return number
