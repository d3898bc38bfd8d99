"""Before and after: what a change would do to one spot.

Each change is a function that takes the spot as it is and returns it changed; the table puts the
spots side by side: drained reading, air, days to the thresholds, water to the gravel.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from html import escape
from typing import Any, cast

import numpy as np
import xarray as xr

from soilwater.decisions.watering.ensembles import daily_share_met, first_at_or_below, run_columns
from soilwater.decisions.watering.outlook import Thresholds
from soilwater.ground.profile import Layer, Profile, Sealed, WaterTable
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.case import Case
from soilwater.runs.drained import drained_water_content
from soilwater.soils import Soil, WithDryEnd
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length
from soilwater.words.renamed import mind_words
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.units import in_people_units, number_to_house

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
        return replace(
            before,
            profile=profile.with_thickness(thickness),
            notes=(*before.notes, f"{change:+.1f} cm of root zone"),
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


def wetting_agent(contact_angle_before: Any, contact_angle_after: Any = 0.0) -> Change:
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
    return Change(f"{total:.1f} mm in {often}", apply, ("water law",))


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


@dataclass(frozen=True)
class Outcome:
    """One row of a before-and-after table.

    Attributes
    ----------
    name : str
        "as it is", or the change.
    drained : float
        Reading at rest [1].
    air_filled : float
        Air-filled porosity over the same depth at rest [1].
    firm, watch, wilt : float
        Days until the meter shows each threshold [d]; infinity is beyond the run.
    short_of_water : float
        Days until the turf first meets less of its demand than the threshold [d].
    drainage : float
        Water to the gravel over the run [mm].
    notes : tuple of str
        What to keep in mind.
    """

    name: str
    drained: float
    air_filled: float
    firm: float
    watch: float
    wilt: float
    short_of_water: float
    drainage: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class WhatIf:
    """Before and after, row by row; the first row is the spot as it is.

    Attributes
    ----------
    outcomes : tuple of Outcome
        Spot as it is, then one row a change.
    thresholds : Thresholds
        Thresholds counted to.
    rod : float
        Length of the rods [cm].
    horizon : float
        Length of the weather [d].
    cautions : tuple of str
        What the person should know.
    """

    outcomes: tuple[Outcome, ...]
    thresholds: Thresholds
    rod: float
    horizon: float
    cautions: tuple[str, ...]

    def _rows(self) -> list[tuple[str, ...]]:
        def days(value: float) -> str:
            return f"{value:.1f}" if np.isfinite(value) else f"> {self.horizon:.0f}"

        return [
            (
                each.name,
                f"{100 * each.drained:.1f}",
                f"{100 * each.air_filled:.1f}",
                *(days(v) for v in (each.firm, each.watch, each.wilt, each.short_of_water)),
                f"{each.drainage:.1f}",
                ", ".join(each.notes),
            )
            for each in self.outcomes
        ]

    def _header(self) -> tuple[str, ...]:
        return (
            "",
            "drained %",
            "air %",
            f"days to {100 * self.thresholds.firm:g} %",
            f"{100 * self.thresholds.watch:g} %",
            f"{100 * self.thresholds.wilt:g} %",
            f"turf gets < {100 * self.thresholds.demand_met:g} %",
            "to gravel mm",
            "",
        )

    def _title(self) -> str:
        return f"What if, {in_people_units(self.rod, 'length')} rods, {self.horizon:g} days"

    def __repr__(self) -> str:
        table = echo_table(self._rows(), self._header())
        lines = [self._title(), *("  " + line for line in table.splitlines())]
        return "\n".join([*lines, *(f"caution: {each}" for each in self.cautions)])

    def _repr_html_(self) -> str:
        listed = "".join(f"<li>caution: {escape(each)}</li>" for each in self.cautions)
        return html_table(self._rows(), self._header(), caption=self._title()) + (
            f"<ul>{listed}</ul>"
        )


@mind_words(lines="thresholds")
def what_if(
    profile: Profile,
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    changes: Sequence[Change],
    *,
    rod: Length,
    irrigation: Sequence[Event] = (),
    n_threads: int | None = None,
) -> WhatIf:
    """Put a spot as it is beside what each change would make of it.

    Parameters
    ----------
    profile : Profile
        The spot as it is.
    weather : Weather
        Weather after a soaking has drained.
    turf : Turf
        Roots and demand.
    thresholds : Thresholds
        Readings to count to.
    changes : sequence of Change
        From `regrade`, `remove_mat`, `topdress`, `other_sand`, `blocked_outlet`, `wetting_agent`
        or `irrigate`.
    rod : float, str or Quantity
        Length of the rods [cm].
    irrigation : sequence of Event, optional
        Water applied to the spot as it is.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    WhatIf

    Raises
    ------
    InputError
        If a change cannot be made to this spot, or something given cannot be used.
    RunError
        If a column cannot be carried through.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> from soilwater.weather.series import steady_weather
    >>> sand = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
    >>> pocket = Profile.over_gravel(sand, 46.0)
    >>> table = what_if(
    ...     pocket, steady_weather(10, "5 mm/day"), Turf("15 cm"),
    ...     Thresholds("18 %", "14 %", "12 %"), [regrade("38 cm")], rod="3 in",
    ... )
    >>> [round(100 * row.drained, 1) for row in table.outcomes]
    [15.7, 19.6]
    """
    length = number_to_house(rod, "length", "rod")
    faults = Faults("what_if")
    if length <= 0.0:
        faults.add(f"rod is {length:g} cm", allowed="above 0")
    situations = [Situation(profile, tuple(irrigation))]
    names = ["as it is"]
    for i, change in enumerate(changes):
        if not isinstance(change, Change):
            faults.add(
                f"{change!r} is no Change", where=f"changes[{i}]", allowed="regrade(...) ..."
            )
            continue
        with faults.catching():
            situations.append(change.apply(situations[0]))
            names.append(change.name)
    faults.raise_if_any()
    runs = run_columns(
        [each.case(weather, turf) for each in situations],
        length,
        n_threads=n_threads,
    )
    days = runs.hours / 24.0
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
    middles: FloatArray = np.arange(met.shape[1], dtype=np.float64) + 0.5
    firm, watch, wilt = (
        first_at_or_below(days, runs.reading, line)
        for line in (thresholds.firm, thresholds.watch, thresholds.wilt)
    )
    short = first_at_or_below(middles, met, thresholds.demand_met)
    outcomes = []
    for i, (name, each) in enumerate(zip(names, situations, strict=True)):
        drained = drained_water_content(each.at_rest, 0.0, length)
        outcomes.append(
            Outcome(
                name=name,
                drained=drained,
                air_filled=_pore_space(each.profile, length) - drained,
                firm=float(firm[i]),
                watch=float(watch[i]),
                wilt=float(wilt[i]),
                short_of_water=float(short[i]),
                drainage=float(runs.drainage[i, -1]),
                notes=each.notes,
            )
        )
    topics = dict.fromkeys(topic for change in changes for topic in change.topics)
    return WhatIf(
        outcomes=tuple(outcomes),
        thresholds=thresholds,
        rod=length,
        horizon=float(days[-1]),
        cautions=cautions_for(*topics, "wilt", "level ground", "base suction", "accuracy"),
    )


def _pore_space(profile: Profile, depth: float) -> float:
    """Mean saturated water content down to a depth [1]."""
    ends = np.minimum(profile.interfaces, depth)
    space = [layer.soil.theta_s for layer in profile.layers]
    return float(np.diff(ends) @ np.array(space) / depth)
