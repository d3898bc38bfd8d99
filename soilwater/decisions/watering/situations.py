"""A spot or a ground as it is, or as it would be after a change."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from soilwater.ground.base import Sealed, WaterTable
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.lab.likely_memory import with_memory_of
from soilwater.runs.case import Case
from soilwater.runs.green_map import GreenMap
from soilwater.runs.repellent import Repellency
from soilwater.runs.transect import Transect
from soilwater.runs.wetted import AfterFlooding, AfterRain
from soilwater.soils import Soil
from soilwater.soils.hysteretic import Hysteretic
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather


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
    repellency : Repellency or None
        Of ground of which only a share takes water.
    """

    profile: Profile
    irrigation: tuple[Event, ...] = ()
    standing: float = 0.0
    notes: tuple[str, ...] = ()
    repellency: Repellency | None = None

    @property
    def at_rest(self) -> Profile:
        """Profile whose rest is that of this situation."""
        if self.standing == 0.0:
            return self.profile
        return replace(self.profile, base=WaterTable(self.profile.depth - self.standing))

    def remembering(self, memory: Soil) -> Situation:
        """Let layers without a memory of wetting remember as another sand does, if it does."""
        if not isinstance(memory, Hysteretic):
            return self
        layers = tuple(
            replace(each, soil=with_memory_of(each.soil, memory)) for each in self.profile.layers
        )
        return replace(self, profile=replace(self.profile, layers=layers))

    def case(self, weather: Weather, turf: Turf, after: AfterRain | None) -> Case:
        """Make the case that starts at rest, in some weather and turf, after rain or a flood."""
        if self.standing == 0.0:
            return Case(
                self.profile,
                weather,
                turf=turf,
                start=after or "drained",
                irrigation=self.irrigation,
            )
        depth = np.array([0.0, self.profile.depth])
        suction = xr.DataArray(
            self.profile.depth - self.standing - depth, {"depth": depth}, ("depth",), "suction"
        )
        sealed = replace(self.profile, base=Sealed())
        start = AfterFlooding(suction)
        return Case(sealed, weather, turf=turf, start=start, irrigation=self.irrigation)


@dataclass(frozen=True)
class GroundSituation:
    """A line or a green as it is, or as it would be.

    Attributes
    ----------
    ground : Transect or GreenMap
        Surface, floor, layers and base.
    irrigation : tuple of Event
        Water applied everywhere.
    """

    ground: Transect | GreenMap
    irrigation: tuple[Event, ...] = ()
