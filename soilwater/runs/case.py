"""One column to be run: its profile, weather, turf, start and water applied."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr

from soilwater.ground.linked import LinkedGround
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.weather.irrigation import Event
from soilwater.weather.rules import Rule
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults
from soilwater.words.forms import StartingWater
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house


@needs_all('HeldSurface("10 cm")')
@dataclass(frozen=True)
class HeldSurface:
    """A surface kept at a suction, as under a tension disc, or under a pond kept at a depth.

    Parameters
    ----------
    suction : float, str or Quantity
        Suction at the surface [cm]; negative for the depth of a pond.

    Raises
    ------
    InputError
        If it is not a suction.
    """

    suction: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "suction", number_to_house(self.suction, "suction", "suction"))


@needs_all(
    'Case(Profile.over_gravel(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"), '
    '"12 in"), steady_weather(5, "5 mm/day"))'
)
@dataclass(frozen=True, eq=False)
class Case:
    """One column to simulate.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    weather : Weather
        Rain and demand; its span is the span of the run.
    turf : Turf, optional
        Roots and demand; without it nothing is taken up and nothing evaporates.
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        Water at the start. "soaked": saturated to the surface; "drained": at rest after
        drainage; a number or text with a unit: one suction [cm] everywhere; a DataArray over
        ``depth`` named ``suction`` [cm] or ``water_content`` [1]; an earlier result: its end;
        for sand that remembers, `AfterFlooding` or `AfterRain` around one of these.
    irrigation : sequence of Event, optional
        Water applied.
    rules : sequence of Rule, optional
        Irrigation decided within the run.

    Raises
    ------
    InputError
        With every argument of the wrong kind.
    """

    profile: Profile
    weather: Weather
    turf: Turf | None = field(default=None, kw_only=True)
    start: StartingWater = field(default="soaked", kw_only=True)
    irrigation: Sequence[Event] = field(default=(), kw_only=True)
    rules: Sequence[Rule] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("Case")
        single: tuple[tuple[str, Any, type], ...] = (
            ("profile", self.profile, Profile),
            ("weather", self.weather, Weather),
        )
        for name, value, kind in single:
            if not isinstance(value, kind):
                faults.add(f"{name} is a {type(value).__name__}", allowed=kind.__name__)
        turf: Any = self.turf
        if not isinstance(turf, Turf | None):
            faults.add(f"turf is a {type(turf).__name__}", allowed="Turf or None")
        elif isinstance(self.profile, Profile) and turf is not None:
            self._check_mat(turf, faults)
        several: tuple[tuple[str, Any, type], ...] = (
            ("irrigation", self.irrigation, Event),
            ("rules", self.rules, Rule),
        )
        for name, values, kind in several:
            if not isinstance(values, Iterable):
                what = f"one {kind.__name__}" if isinstance(values, kind) else repr(values)
                faults.add(
                    f"{name} is {what}",
                    allowed=f"a list of {kind.__name__}, or none",
                    cure=f"write {name}=[...] around it" if isinstance(values, kind) else "",
                )
                continue
            # A generator would be empty when the case is run a second time.
            object.__setattr__(self, name, tuple(values))
            for i, each in enumerate(getattr(self, name)):
                if not isinstance(each, kind):
                    faults.add(f"{each!r} is no {kind.__name__}", where=f"{name}, position {i}")
                elif isinstance(each, Rule) and isinstance(self.profile, Profile):
                    self._check_rod(each, f"{name}, position {i}", faults)
        faults.raise_if_any()

    def with_water(self, events: Sequence[Event]) -> Case:
        """Return the same column with more water applied.

        Parameters
        ----------
        events : iterable of Event
            Beside what it has.
        """
        more = replace(self, irrigation=events)
        return (
            replace(self, irrigation=(*self.irrigation, *more.irrigation))
            if self.irrigation
            else more
        )

    def _check_mat(self, turf: Turf, faults: Faults) -> None:
        """Note a mat that is thicker than the profile is deep, or can never be wet enough."""
        mat = turf.repellent_mat
        if mat is None:
            return
        holds = self.profile.layers[0].soil.theta_s
        if mat.threshold >= holds:
            faults.add(
                f"its repellent mat refuses water below {100.0 * mat.threshold:.3g} % by volume, "
                f"and {self.profile.layers[0].name} holds {100.0 * holds:.3g} % when full: it "
                "would never take any",
                where="turf",
                allowed="a threshold below that; sands are said to turn at 2 to 10 %",
            )
        if mat.thickness > self.profile.depth + 1e-9:
            deep = in_people_units(self.profile.depth, "length")
            faults.add(
                f"its repellent mat of {in_people_units(mat.thickness, 'length')} is thicker than "
                f"the profile is deep: {deep}",
                where="turf",
                allowed=f"up to {deep}",
            )

    def _check_rod(self, rule: Rule, where: str, faults: Faults) -> None:
        """Note a rule whose meter reaches below the profile."""
        if rule.rod > self.profile.depth + 1e-9:
            deep = in_people_units(self.profile.depth, "length")
            faults.add(
                f"its rod of {in_people_units(rule.rod, 'length')} is longer than the profile is "
                f"deep: {deep}",
                where=where,
                allowed=f"up to {deep}",
                cure="take a shorter rod",
            )


def columns_alone(
    ground: LinkedGround,
    weather: Weather,
    turf: Turf | None,
    start: StartingWater,
    irrigation: Sequence[Event],
) -> xr.DataArray:
    """Columns of a ground as cases that share no water, over its dimension and coordinates."""
    cases = np.empty(len(ground.profiles), dtype=object)
    cases[:] = [
        Case(each, weather, turf=turf, start=start, irrigation=irrigation)
        for each in ground.profiles
    ]
    along = ground.dimension
    coordinates = {name: (along, values) for name, values in ground.coordinates.items()}
    return xr.DataArray(cases, coordinates, (along,))
